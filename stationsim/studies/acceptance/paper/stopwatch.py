"""Times as a stopwatch shows them, with colons: 2:13, 0:02:13; and what a spreadsheet makes of it.

A spreadsheet takes 2:13 for a time of the day and keeps it as 2:13:00. Which of the two was meant
is told by what is expected, sixty times apart as they are; what could as well be the time of the
day at which somebody read it is refused.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from stationsim.errors import QuantityError
from stationsim.records.csv_rows import quoted
from stationsim.records.written import plain_signs

_BEGINS = re.compile(r"(?:[0-9]+ days?, )?[0-9]+:[0-9]")
_SHOWN = re.compile(
    r"(?:([0-9]+) days?, )?([0-9]{1,3}):([0-9]{2})(?::([0-9]{2}))?(?:[.,]([0-9]{1,6}))?"
    r" ?(h|min)?\.?",
    re.IGNORECASE,
)
_NEAR = 3.0
"""A time is near what is expected within this factor [-]; the two ways to read one differ by 60."""
_WORK_BEGINS_H, _DAY_H = 6, 24
_LONGEST_S = 12.0 * 3600.0


class Shown(NamedTuple):
    """A time of a stopwatch.

    Parameters
    ----------
    value_s
        How long [s].
    told
        The same in words, such as ``2 min 13 s``.
    """

    value_s: float
    told: str


def is_shown(text: str) -> bool:
    """Return whether a text begins as a time with colons does.

    Parameters
    ----------
    text
        What a cell holds.
    """
    return _BEGINS.match(plain_signs(text)) is not None


def shown_time(text: str, expected_s: float) -> Shown:
    """Return the time that a text with colons stands for.

    Parameters
    ----------
    text
        What a cell holds.
    expected_s
        What is expected [s]; NaN for nothing.

    Raises
    ------
    QuantityError
        When it is none, or could be two.
    """
    found = _SHOWN.fullmatch(plain_signs(text))
    if found is None:
        message = f"{quoted(text)} is not a time of a stopwatch"
        raise QuantityError(f"{message} (accepted: such as 133 s, 2 min 13 s, or 2:13)")
    ways = _ways(found)
    parts = [int(part) for part in found.groups()[2:4] if part is not None]
    if not ways or any(part > 59 for part in parts):
        first = ways[0].value_s if ways else 60.0 * int(found[2]) + int(found[3])
        message = f"{quoted(text)} is not a time of a stopwatch: 59 comes before the next minute"
        raise QuantityError(f"{message} (accepted: such as {_words(first)}, or {first:g} s)")
    near = [one for one in ways if expected_s / _NEAR <= one.value_s <= expected_s * _NEAR]
    if len(near) == 1:
        return near[0]
    short = [one for one in ways if one.value_s <= _LONGEST_S]
    of_day = found[5] is None and found[6] is None and _of_day(found)
    by_hand = found[4] is None  # not through a spreadsheet: min:s is how a stopwatch shows it
    if short and not of_day and (by_hand or len(short) == 1):
        return short[0]
    told = [one.told for one in ways] + (["a time of the day"] if of_day else [])
    message = f"{quoted(text)} is unclear: {' or '.join(told)}?"
    raise QuantityError(
        f"{message} (accepted: such as {' or '.join(one.told for one in ways)}, or in seconds:"
        f" {ways[0].value_s:g} s)"
    )


def _of_day(found: re.Match[str]) -> bool:
    """Return whether it could be a time of the day at which people work."""
    return found[1] is None and _WORK_BEGINS_H <= int(found[2]) < _DAY_H


def _ways(found: re.Match[str]) -> list[Shown]:
    """Return what a time with colons may mean, the likelier first."""
    days, first, second, third, part, unit = found.groups()
    large, small = _DAY_H * int(days or 0) + int(first), int(second)
    decimals = float(f"0.{part or 0}")
    of_minutes = 60.0 * large + small + decimals
    of_hours = 3600.0 * large + 60.0 * small
    unit = (unit or "").casefold()
    if third is None:
        ways = [of_minutes, of_hours] if part is None else [of_minutes]
        if unit:
            ways = [of_minutes] if unit == "min" else [of_hours]
    else:
        ways = [of_hours + int(third) + decimals]
        if int(third) == 0 and part is None and unit != "h":
            ways.insert(0, of_minutes)
        if unit == "min":
            ways = [of_minutes] if int(third) == 0 else []
    return [Shown(one, _words(one)) for one in dict.fromkeys(ways)]


def _words(value_s: float) -> str:
    """Return a time in hours, minutes and seconds."""
    minutes, seconds = divmod(value_s, 60.0)
    hours, minutes = divmod(round(minutes), 60)
    parts = ((hours, "h"), (minutes, "min"), (round(seconds, 6), "s"))
    return " ".join(f"{number:g} {unit}" for number, unit in parts if number) or "0 s"

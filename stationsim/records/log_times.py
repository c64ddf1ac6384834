"""Times as a log gives them: clock times, stamps with a date, or seconds; and their order.

Only what lies between two lines counts, so a clock may be wrong, and a clock time goes on past
midnight by the shorter way round.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import QuantityError, RecordError
from stationsim.records.csv_rows import CsvRows, quoted
from stationsim.records.gaps import count
from stationsim.records.stamps import read_stamps
from stationsim.records.written import number_of, plain_signs

if TYPE_CHECKING:
    from collections.abc import Sequence

TIMES_ACCEPTED = (
    "accepted: a clock time such as 14:03:20, a stamp such as 2027-03-01 14:03:20, or seconds"
)
"""What messages say of times."""

_CLOCK = re.compile(
    r"(?:(\d+) days?, )?(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?"
    r"\s*(?:([ap])\.?\s?(?:m\.?)?)?",
    re.IGNORECASE,
)
_BY_HAND = re.compile(
    r"(\d{1,4}[./-]\d{1,2}[./-]\d{1,4}[ T]+)(\d{1,2})(:\d{2}(?::\d{2}(?:\.\d+)?)?)"
    r"(?:\s*([ap])\.?\s?m\.?)?",
    re.IGNORECASE,
)
"""A date, and a clock time with one figure for the hour, or of one half of the day."""
_HALF_DAY_S, _DAY_S = 43_200.0, 86_400.0
_MINUTE_S = 60.0
_MOST_S = 1e7
_FEW = 4


class When(NamedTuple):
    """A time as it was written.

    Parameters
    ----------
    kind
        Clock times, stamps (with an offset or without), or seconds.
    at_s
        The time [s].
    with_seconds
        Whether seconds were written.
    comma
        Whether a decimal comma was read as a point.
    """

    kind: str
    at_s: float
    with_seconds: bool
    comma: bool = False


class Placed(NamedTuple):
    """A line at its place in the order of times.

    Parameters
    ----------
    place
        Which line it is of those that were given [-].
    at_s
        When, on a clock that goes on past midnight [s].
    resolution_s
        To how many seconds times are written there [s]; 0 when they have seconds.
    """

    place: int
    at_s: float
    resolution_s: float


def read_time(cell: str) -> When:
    """Return a time as a log gives it: of the day, since a fixed day, or plain seconds.

    Parameters
    ----------
    cell
        What the cell holds.

    Raises
    ------
    QuantityError
        When it is no time.
    """
    text = plain_signs(cell)
    clock = _CLOCK.fullmatch(text)
    if clock:
        return _clock_time(cell, clock)
    if not re.search(r"[:/T]|\d[.-]\d+[.-]\d", text):
        number = number_of(text) if re.match(r"[+-]?[\d.,]", text) else None
        if number is None or number.behind.casefold() not in ("", "s", "sec", "seconds"):
            raise QuantityError(f"the time is {quoted(cell)}; {TIMES_ACCEPTED}")
        seconds = float(number.text)
        if not 0.0 <= seconds <= _MOST_S:
            message = f"the time is {quoted(cell)}, no time of a test; {TIMES_ACCEPTED}"
            raise QuantityError(message)
        return When("seconds", seconds, with_seconds=True, comma=bool(number.repairs))
    by_hand = _BY_HAND.fullmatch(text)
    if by_hand:
        day, hour, rest, half = by_hand.groups()
        text = f"{day}{_hour(cell, int(hour), half) if half else int(hour):02d}{rest}"
    start = datetime(2000, 1, 1, tzinfo=UTC)
    rows = CsvRows("", ("time",), [[text]], [0], ",", ())
    try:
        at_s = float(read_stamps(rows, 0, start, [])[0])
    except RecordError as error:
        hint = re.search(r": write year, month, day: [^;]*", str(error))
        message = f"the time is {quoted(cell)}{hint.group() if hint else ''}; {TIMES_ACCEPTED}"
        raise QuantityError(message) from error
    offset = re.search(r":\d.*(?:[+-]\d\d(?::?\d\d)?|Z)$", text)
    kind = "stamps with an offset" if offset else "stamps"
    return When(kind, at_s, len(re.findall(r":\d\d", text.split("+")[0])) > 1)


def _clock_time(cell: str, clock: re.Match[str]) -> When:
    days, hour, minute, second, part, half = clock.groups()
    hours = _hour(cell, int(hour), half) if half else int(hour)
    if hours > 23 or int(minute) > 59 or int(second or 0) > 59:
        raise QuantityError(f"the time is {quoted(cell)}, no time of a day; {TIMES_ACCEPTED}")
    at_s = 3600.0 * hours + 60.0 * int(minute) + float(f"{second or 0}.{part or 0}")
    comma = bool(part) and "," in cell
    return When("clock times", _DAY_S * int(days or 0) + at_s, second is not None, comma)


def _hour(cell: str, hour: int, half: str) -> int:
    """Return the hour of the day of one of its halves, ``a`` or ``p``."""
    if not 1 <= hour <= 12:
        raise QuantityError(f"the time is {quoted(cell)}; {TIMES_ACCEPTED}")
    return hour % 12 + (12 if half in "pP" else 0)


def what_is_mixed(whens: Sequence[When]) -> tuple[int, str] | None:
    """Return where times of one test do not go together, and why; None when they do.

    Parameters
    ----------
    whens
        The times of a test in the order of the file.
    """
    kinds = list(dict.fromkeys(when.kind for when in whens))
    if len(kinds) > 1:
        other = next(at for at, when in enumerate(whens) if when.kind != kinds[0])
        return other, f"are {' and '.join(kinds)} (accepted: one kind within a sequence)"
    below = all(when.at_s < 1.0 for when in whens)
    if len(whens) > 1 and kinds == ["seconds"] and below:
        why = "are all below one second: parts of a day? Show them as times in the spreadsheet"
        return 0, f"{why} ({TIMES_ACCEPTED})"
    return None


def _step_s(first: When, then: When) -> float:
    """Return the time from one line to another [s]; of clock times, the shorter way round."""
    step = then.at_s - first.at_s
    if first.kind == "clock times" and abs(step) > _HALF_DAY_S:
        step -= _DAY_S if step > 0.0 else -_DAY_S
    return step


def in_order(tests: Sequence[Sequence[When]], repairs: list[str]) -> list[list[Placed]]:
    """Return the lines of each test in the order of their times.

    Parameters
    ----------
    tests
        The times of each test in the order of the file.
    repairs
        What was read otherwise than it stands is added here, in words.
    """
    steps = [_step_s(first, then) for own in tests for first, then in pairwise(own)]
    turned = sum(step < 0.0 for step in steps) > sum(step > 0.0 for step in steps)
    if turned:
        repairs.append("the newest line stands first; read from the bottom up")
    found: list[list[Placed]] = []
    past = late = coarse = 0
    for own in tests:
        order = list(range(len(own)))[:: -1 if turned else 1]
        times = [own[order[0]].at_s]
        for first, then in pairwise(order):
            step = _step_s(own[first], own[then])
            past += step > 0.0 and own[then].at_s < own[first].at_s
            late += step < 0.0
            times.append(times[-1] + step)
        resolution_s = 0.0 if _tells_seconds(own, times) else _MINUTE_S
        coarse += len(own) if resolution_s else 0
        placed = [Placed(at, at_s, resolution_s) for at, at_s in zip(order, times, strict=True)]
        found.append(sorted(placed, key=lambda one: one.at_s))
    if past:
        times_told = "once" if past == 1 else f"{past} times"
        repairs.append(f"the clock goes past midnight {times_told}; read on into the next day")
    if late:
        repairs.append(f"{count(late, 'row')} below a later one; put in the order of their times")
    if coarse:
        repairs.append(
            f"{count(coarse, 'time')} with hours and minutes only: little is told of seconds"
        )
    return found


def _tells_seconds(whens: Sequence[When], times_s: Sequence[float]) -> bool:
    """Return whether the times of a test are written to the second."""
    if whens[0].kind == "seconds":
        return True
    on_minutes = len(whens) >= _FEW and all(at_s % _MINUTE_S == 0.0 for at_s in times_s)
    return any(when.with_seconds for when in whens) and not on_minutes

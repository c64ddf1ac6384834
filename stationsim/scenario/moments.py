"""The moments of a scenario as text: when something happens.

::

    [day N | Mon..Sun | YYYY-MM-DD] HH:MM[:SS]     or     after 26 h

A clock time is of the first day unless a day is given. A weekday is the first one that lies at or
after the start.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from stationsim import units
from stationsim.errors import QuantityError

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_CLOCK = r"(?P<hour>\d{1,2}):(?P<minute>\d\d)(?::(?P<second>\d\d(?:\.\d{1,9})?))?"
_WHEN = re.compile(
    rf"""(?:(?:day\s+(?P<number>\d{{1,5}}) | (?P<weekday>[A-Za-z]{{3,9}})
            | (?P<date>\d{{4}}-\d\d-\d\d))[\sT]+)?{_CLOCK}(?=\s|$)""",
    re.VERBOSE,
)
_AFTER = re.compile(r"after\s+(?P<delay>[\d.+-][\d.eE+-]*\s*[A-Za-z]+(?:\s+[\d.]+\s*[A-Za-z]+)*)")
_BARE_NUMBER = re.compile(r"[\d.eE+-]+")
_HALF_DAY = re.compile(
    r"(?:(?:day\s+\d+|[a-z]{3,9}|\d{4}-\d\d-\d\d)[\sT]+)?"
    r"(\d{1,2})(?::(\d\d))?(?::\d\d)?\s*([ap])\.?m\b",
    re.IGNORECASE,
)

MOMENTS = ("07:10", "day 3 07:10", "Wed 07:10", "2027-03-03 07:10", "after 26 h")
"""How a time can be said."""

_WHEN_ACCEPTED = ", ".join(f"'{one}'" for one in MOMENTS[:-1]) + f" or '{MOMENTS[-1]}' are accepted"


class EventTextError(ValueError):
    """What is wrong with the text of an event, in one sentence without a final stop."""


def read_moment(text: str, start: datetime) -> float:
    """Return a moment written as text, in seconds since the start of the episode [s].

    Parameters
    ----------
    text
        Such as ``day 3 14:00`` or ``after 26 h``.
    start
        Local time at which the episode begins.

    Raises
    ------
    EventTextError
        When it cannot be read; it may lie outside the episode.
    """
    at_s, rest = split_moment(" ".join(text.split()), start)
    if rest:
        message = f"'{rest}' is left over after the time"
        raise EventTextError(message)
    return at_s


def split_moment(text: str, start: datetime) -> tuple[float, str]:
    """Return the moment that a text begins with [s since the start], and what stands behind it.

    Parameters
    ----------
    text
        Such as ``day 3 14:00 P2 fails``, with single blanks.
    start
        Local time at which the episode begins.

    Raises
    ------
    EventTextError
        When it does not begin with a moment.
    """
    after = _AFTER.match(text)
    if after:
        words = text[after.start("delay") :].split()
        shortest = 2 if _BARE_NUMBER.fullmatch(words[0]) else 1
        for size in range(len(after.group("delay").split()), shortest - 1, -1):
            # the longest reading counts: "after 1 d 2 h P2 off" must leave "P2 off"
            try:
                at_s = units.parse(" ".join(words[:size]), "duration")
            except QuantityError as error:
                if size == shortest:
                    raise EventTextError(str(error)) from error
                continue
            return at_s, " ".join(words[size:])
    half_day = _HALF_DAY.match(text)
    if half_day:
        raise EventTextError(_by_24_hours(half_day))
    found = _WHEN.match(text)
    if not found:
        message = f"'{text}' does not begin with a time; {_WHEN_ACCEPTED}"
        raise EventTextError(message)
    return _clock_moment(found, start), text[found.end() :].strip()


def _clock_moment(found: re.Match[str], start: datetime) -> float:
    hour, minute = int(found.group("hour")), int(found.group("minute"))
    second = float(found.group("second") or 0.0)
    if hour > 23 or minute > 59 or second >= 60.0:
        message = f"'{found.group(0).strip()}' is no time of day (00:00 to 23:59:59)"
        raise EventTextError(message)
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    clock_s = hour * 3600.0 + minute * 60.0 + second
    offset_s = (start - midnight).total_seconds()
    if found.group("number"):
        days = int(found.group("number")) - 1
        if days < 0:
            message = "the first day is day 1"
            raise EventTextError(message)
    elif found.group("weekday"):
        days = _days_to(found.group("weekday"), start)
        if days == 0 and clock_s < offset_s:
            days = 7
    elif found.group("date"):
        try:
            day = date.fromisoformat(found.group("date"))
        except ValueError as error:
            message = f"'{found.group('date')}' is no date of the calendar"
            raise EventTextError(message) from error
        days = (day - start.date()) // timedelta(days=1)
    else:
        days = 0
    return days * 86400.0 + clock_s - offset_s


def _days_to(word: str, start: datetime) -> int:
    short = word.lower()[:3]
    full = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    if short not in _DAYS or not full[_DAYS.index(short)].startswith(word.lower()):
        message = f"'{word}' is no day; {_WHEN_ACCEPTED}"
        raise EventTextError(message)
    return (_DAYS.index(short) - start.weekday()) % 7


def _by_24_hours(found: re.Match[str]) -> str:
    hour, minute, half = int(found.group(1)), found.group(2) or "00", found.group(3).lower()
    hint = ""
    if 1 <= hour <= 12:
        hint = f": '{hour % 12 + (12 if half == 'p' else 0):02d}:{minute}'"
    return f"'{found.group(0)}' cannot be read; write the time by the 24-hour clock{hint}"


def begins_with_moment(text: str) -> bool:
    """Tell whether a text begins with a time.

    Parameters
    ----------
    text
        With single blanks.
    """
    return bool(_AFTER.match(text) or _HALF_DAY.match(text) or _WHEN.match(text))


def too_early(at_s: float, start: datetime) -> str:
    """Say that a moment lies before the start of the episode.

    Parameters
    ----------
    at_s
        The moment, below nought [s].
    start
        Local time at which the episode begins.
    """
    return (
        f"the moment lies {units.show(-at_s, 'duration', 'si')} before the start, "
        f"{start:%a %Y-%m-%d %H:%M}; a clock time is of the first day unless a day is given, "
        f"such as 'day 2'"
    )

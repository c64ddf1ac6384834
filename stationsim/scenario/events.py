"""Scripted events as text: when, who, what, for how long.

::

    [day N | Mon..Sun | YYYY-MM-DD] HH:MM[:SS]     or     after 26 h
        grid loss for 4 h
        P2 out of service [for 3 h]
        P2 fails [for 2 h] [until reset]
        P2 high temperature for 40 min [until reset]
        P2 seal leak
        P2 in hand | P2 off | P2 in auto | P2 reset

A clock time is of the first day unless a day is given. A weekday is the first one that lies at or
after the start. With 'until reset' a trip waits for a reset by hand, which is refused while the
stated time lasts; without it the pump is free again by itself when the time is over.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from stationsim import units
from stationsim.episode import EventKind, ScriptedEvent
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
_DURATION_END = re.compile(r"\s+for\s+(?P<time>.+)$")
_UNTIL_RESET = re.compile(r"\s+until\s+reset$")

WHAT: dict[str, EventKind] = {
    "out of service": "out of service",
    "fails": "fails",
    "high temperature": "high temperature",
    "seal leak": "seal leak",
    "in hand": "hand",
    "off": "off",
    "in auto": "auto",
    "reset": "reset",
}
"""What can happen to a machine, as written -> kind of event."""

_LASTING = ("out of service", "fails", "high temperature")
_TRIPS = ("fails", "high temperature")
_WHEN_ACCEPTED = (
    "'07:10', 'day 3 07:10', 'Wed 07:10', '2027-03-03 07:10' or 'after 26 h' are accepted"
)
WHAT_ACCEPTED = "'grid loss for 4 h', or a pump and one of: " + ", ".join(
    f"'{word}'" for word in WHAT
)


class EventTextError(ValueError):
    """What is wrong with the text of an event, in one sentence without a final stop."""


def read_event(
    text: str, *, start: datetime, duration_s: float, machines: Sequence[str]
) -> ScriptedEvent:
    """Return the event that a text describes.

    Parameters
    ----------
    text
        Such as ``day 3 07:10 grid loss for 4 h``.
    start
        Local time at which the episode begins.
    duration_s
        How long the episode lasts [s].
    machines
        Names of the pumps.

    Raises
    ------
    EventTextError
        When it cannot be read, or lies outside the episode.
    """
    flat = " ".join(text.split())
    at_s, rest = _split_moment(flat, start)
    if not 0.0 <= at_s < duration_s:
        message = (
            f"the moment lies {units.show(at_s - duration_s, 'duration', 'si')} after the end of "
            f"the episode, which lasts {units.show(duration_s, 'duration', 'si')}"
            if at_s > 0.0
            else _too_early(at_s, start)
        )
        if at_s == duration_s:
            message = "the moment is the very end of the episode: nothing would come of it"
        raise EventTextError(message)
    if not rest:
        message = f"nothing is said to happen; accepted: {WHAT_ACCEPTED}"
        raise EventTextError(message)
    return _read_what(rest, at_s, machines)


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
    at_s, rest = _split_moment(" ".join(text.split()), start)
    if rest:
        message = f"'{rest}' is left over after the time"
        raise EventTextError(message)
    return at_s


def _split_moment(text: str, start: datetime) -> tuple[float, str]:
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


def _too_early(at_s: float, start: datetime) -> str:
    return (
        f"the moment lies {units.show(-at_s, 'duration', 'si')} before the start, "
        f"{start:%a %Y-%m-%d %H:%M}; a clock time is of the first day unless a day is given, "
        f"such as 'day 2'"
    )


def _read_what(text: str, at_s: float, machines: Sequence[str]) -> ScriptedEvent:
    rest = text
    until_reset = bool(_UNTIL_RESET.search(rest))
    rest = _UNTIL_RESET.sub("", rest)
    duration_s: float | None = None
    lasting = _DURATION_END.search(rest)
    if lasting:
        try:
            duration_s = units.parse(lasting.group("time"), "duration")
        except QuantityError as error:
            raise EventTextError(str(error)) from error
        if duration_s <= 0.0:
            message = f"'for {lasting.group('time')}' must be more than nought"
            raise EventTextError(message)
        rest = rest[: lasting.start()]
    if rest.lower() == "grid loss":
        if duration_s is None:
            message = "a grid loss needs its duration, such as 'grid loss for 4 h'"
            raise EventTextError(message)
        if until_reset:
            message = "'until reset' goes with 'fails' and 'high temperature' only"
            raise EventTextError(message)
        return ScriptedEvent(at_s, "grid loss", "grid", duration_s)
    subject, _, word = rest.partition(" ")
    kind = WHAT.get(word.lower())
    if subject not in machines:
        raise EventTextError(_no_such_machine(rest, subject, machines, known=kind is not None))
    if kind is None:
        near = difflib.get_close_matches(word.lower(), WHAT, n=1)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        found = f"'{word}' is nothing that happens to {subject}" if word else "what happens?"
        message = f"{found}{hint}; accepted: {', '.join(WHAT)}"
        raise EventTextError(message)
    if duration_s is not None and kind not in _LASTING:
        message = f"'{word}' takes no duration; 'for' goes with {', '.join(_LASTING)}"
        raise EventTextError(message)
    if until_reset and kind not in _TRIPS:
        message = "'until reset' goes with 'fails' and 'high temperature' only"
        raise EventTextError(message)
    if kind == "high temperature" and duration_s is None:
        message = "a high temperature needs its duration, such as 'for 40 min'"
        raise EventTextError(message)
    resets_itself = not until_reset and not (kind == "fails" and duration_s is None)
    return ScriptedEvent(at_s, kind, subject, duration_s, resets_itself)


def _no_such_machine(text: str, subject: str, machines: Sequence[str], *, known: bool) -> str:
    if not known:
        words = [*WHAT, "grid loss"]
        near_all = difflib.get_close_matches(text.lower(), words, n=1, cutoff=0.7)
        if near_all:
            return f"'{text}' cannot be read; did you mean '{near_all[0]}'?"
    near = difflib.get_close_matches(subject, machines, n=1, cutoff=0.4)
    hint = f"; did you mean '{near[0]}'?" if near else ""
    return (
        f"no pump is called '{subject}'{hint}; this station has {', '.join(machines)}; "
        f"accepted: {WHAT_ACCEPTED}"
    )

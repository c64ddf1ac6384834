"""Scripted events as text: when, who, what, for how long.

::

    [day N | Mon..Sun | YYYY-MM-DD] HH:MM[:SS]     or     after 26 h
        grid loss for 4 h
        P2 out of service [for 3 h]
        P2 fails [for 2 h] [until reset]
        P2 high temperature for 40 min [until reset]
        P2 seal leak
        P2 fails to start [for 3 h]
        P2 clogged to 60 % [for 3 h]
        level signal frozen [for 2 h]
        level signal lost [for 2 h]
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
from stationsim.scenario.slips import nearest_name

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
_CLOGGED = re.compile(r"clogged(?:\s+to\s+(?P<left>.*))?$", re.IGNORECASE)
_PERCENT = re.compile(r"(\d{1,3}(?:\.\d+)?)\s*%")
_UNTIL_RESET = re.compile(r"\s+until\s+reset$")

WHAT: dict[str, EventKind] = {
    "out of service": "out of service",
    "fails": "fails",
    "high temperature": "high temperature",
    "seal leak": "seal leak",
    "fails to start": "fails to start",
    "clogged to 60 %": "clogged",
    "in hand": "hand",
    "off": "off",
    "in auto": "auto",
    "reset": "reset",
}
"""What can happen to a machine, as written -> kind of event."""

PHRASES = {
    "grid loss for 4 h": "the supply from the grid fails; the duration must be given",
    "P2 out of service for 3 h": "taken out of use; without a duration it is to the end of the run",
    "P2 fails for 2 h": "trips, and is free again by itself after the time; without one, or with "
    "'until reset' behind it, the trip waits for a reset by hand",
    "P2 high temperature for 40 min": "trips on hot windings, and is free again by itself after "
    "the time; with 'until reset' behind it, it waits for a reset by hand",
    "P2 seal leak": "moisture in the seal chamber, to the end of the run",
    "P2 fails to start for 3 h": "does not start when called, and the panel takes it for failed; "
    "an engine cranks in vain; without a duration to the end of the run",
    "P2 clogged to 60 % for 3 h": "rags hold it back: that part of its flow is left at the same "
    "head; without a duration to the end of the run",
    "level signal frozen for 2 h": "the level signal stands still at what it shows; without a "
    "duration to the end of the run",
    "level signal lost for 2 h": "there is no level signal; without a duration to the end of the "
    "run",
    "P2 in hand": "a person runs it whatever the level, until a later 'P2 in auto' or 'P2 off'",
    "P2 off": "a person sets it to off, until a later 'P2 in auto' or 'P2 in hand'",
    "P2 in auto": "a person gives it back to the controller",
    "P2 reset": "a person clears a trip that waits for it",
}
"""What can be said of an event behind its time, and what it means."""

MOMENTS = ("07:10", "day 3 07:10", "Wed 07:10", "2027-03-03 07:10", "after 26 h")
"""How a time can be said."""

_OTHER_WORDS = {
    "fails": "fail failed failure trip trips tripped breaks fault",
    "fails to start": "does not start|will not start|won't start|no start|start fails",
    "clogged to 60 %": "clogs clogged clogging blocked ragged rags ragging",
    "high temperature": "hot overheats overheated",
    "in hand": "hand manual on run runs start starts",
    "off": "stop stops stopped",
    "in auto": "auto automatic",
    "out of service": "out removed maintenance repair",
    "seal leak": "leak leaks leaking",
}
"""What people say -> what is accepted; for suggestions."""
_GRID_WORDS = re.compile(
    r"(power|mains|grid|electricity|supply)( supply)?( is)? ?"
    r"(cut|loss|lost|failure|fails|failed|out|outage|off|down)?|(power )?outage|black ?out"
    r"|loss of (power|grid|mains|supply)|no (power|grid|mains)",
    re.IGNORECASE,
)
_HALF_DAY = re.compile(
    r"(?:(?:day\s+\d+|[a-z]{3,9}|\d{4}-\d\d-\d\d)[\sT]+)?"
    r"(\d{1,2})(?::(\d\d))?(?::\d\d)?\s*([ap])\.?m\b",
    re.IGNORECASE,
)

SIGNAL: dict[str, EventKind] = {
    "level signal frozen": "level signal frozen",
    "level signal lost": "level signal lost",
}
"""What can happen to the level signal, as written -> kind of event."""
_SIGNAL_SUBJECT = "level sensor"
_SIGNAL_WORDS = re.compile(
    r"(the )?(level )?(signal|sensor|transducer|transmitter|level|float)s?( is)? "
    r"(?P<what>frozen|freezes|froze|stuck|sticks|hangs|stands still|lost|gone|fails|failed|dead)",
    re.IGNORECASE,
)
_STILL = ("fr", "st", "ha")

_LASTING = ("out of service", "fails", "high temperature", "fails to start", "clogged")
_TRIPS = ("fails", "high temperature")
_WHEN_ACCEPTED = ", ".join(f"'{one}'" for one in MOMENTS[:-1]) + f" or '{MOMENTS[-1]}' are accepted"
WHAT_ACCEPTED = (
    "'grid loss for 4 h', 'level signal frozen', 'level signal lost', or a pump and one of: "
    + ", ".join(f"'{word}'" for word in WHAT)
)


class EventTextError(ValueError):
    """What is wrong with the text of an event, in one sentence without a final stop."""


def read_event(
    text: str, *, start: datetime, duration_s: float | None, machines: Sequence[str] | None
) -> ScriptedEvent:
    """Return the event that a text describes.

    Parameters
    ----------
    text
        Such as ``day 3 07:10 grid loss for 4 h``.
    start
        Local time at which the episode begins.
    duration_s
        How long the episode lasts [s]; None when that is not known, and the moment is not checked.
    machines
        Names of the pumps; None when they are not known, and the name is not checked.

    Raises
    ------
    EventTextError
        When it cannot be read, or lies outside the episode.
    """
    flat = " ".join(text.split())
    at_s, rest = _split_moment(flat, start)
    if duration_s is not None and not 0.0 <= at_s < duration_s:
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


def _too_early(at_s: float, start: datetime) -> str:
    return (
        f"the moment lies {units.show(-at_s, 'duration', 'si')} before the start, "
        f"{start:%a %Y-%m-%d %H:%M}; a clock time is of the first day unless a day is given, "
        f"such as 'day 2'"
    )


def _read_what(text: str, at_s: float, machines: Sequence[str] | None) -> ScriptedEvent:
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
    if rest.lower() in ("grid loss", *SIGNAL):
        return _read_of_station(rest.lower(), at_s, duration_s, until_reset=until_reset)
    subject, _, word = rest.partition(" ")
    clogged = _CLOGGED.match(word)
    kind: EventKind | None = "clogged" if clogged else WHAT.get(word.lower())
    if machines is None:
        machines = (subject,)
    if subject not in machines:
        raise EventTextError(_no_such_machine(rest, subject, machines, known=kind is not None))
    flow_left = 1.0 if clogged is None else _flow_left(clogged.group("left"))
    if kind is None:
        near = _near_what(word)
        hint = f"; did you mean '{near}'?" if near else ""
        found = f"'{word}' is nothing that happens to {subject}" if word else "what happens?"
        message = f"{found}{hint}; accepted: {', '.join(WHAT)}"
        raise EventTextError(message)
    if duration_s is not None and kind not in _LASTING:
        raise EventTextError(_no_duration(subject, word, kind))
    if until_reset and kind not in _TRIPS:
        message = "'until reset' goes with 'fails' and 'high temperature' only"
        raise EventTextError(message)
    if kind == "high temperature" and duration_s is None:
        message = "a high temperature needs its duration, such as 'for 40 min'"
        raise EventTextError(message)
    resets_itself = not until_reset and not (kind == "fails" and duration_s is None)
    return ScriptedEvent(at_s, kind, subject, duration_s, resets_itself, flow_left)


def _flow_left(text: str | None) -> float:
    """Return the part of the flow that a clogged pump has left [-]."""
    found = None if text is None else _PERCENT.fullmatch(text)
    left = 0.0 if found is None else float(found.group(1)) / 100.0
    if not 0.01 <= left < 1.0:
        said = "nothing" if text is None else f"'{text}'"
        message = (
            f"{said} is said to be left of the flow, in percent; from 1 % to less than 100 % "
            f"is accepted, such as 'clogged to 60 %'"
        )
        raise EventTextError(message)
    return left


def _read_of_station(
    word: str, at_s: float, duration_s: float | None, *, until_reset: bool
) -> ScriptedEvent:
    """Return what happens to the grid or to the level signal."""
    if word == "grid loss" and duration_s is None:
        message = "a grid loss needs its duration, such as 'grid loss for 4 h'"
        raise EventTextError(message)
    if until_reset:
        message = "'until reset' goes with 'fails' and 'high temperature' only"
        raise EventTextError(message)
    if word == "grid loss":
        return ScriptedEvent(at_s, "grid loss", "grid", duration_s)
    return ScriptedEvent(at_s, SIGNAL[word], _SIGNAL_SUBJECT, duration_s)


def _no_duration(subject: str, word: str, kind: EventKind) -> str:
    """Say why an event takes no duration, and what to write in its place."""
    lasts = ""
    if kind in ("hand", "off"):
        lasts = f": it lasts until a later event, so add one such as '{subject} in auto'"
    elif kind == "seal leak":
        lasts = ": it lasts to the end of the run"
    takers = ", ".join(("grid loss", *_LASTING, *SIGNAL))
    return f"'{word}' takes no duration{lasts}; 'for' goes with {takers}"


def _near_what(word: str) -> str:
    """Return what somebody is likely to mean that happens to a machine; empty when nobody knows."""
    asked = word.lower()
    for known, others in _OTHER_WORDS.items():
        if asked in (others.split("|") if "|" in others else others.split()):
            return known
    near = difflib.get_close_matches(asked, WHAT, n=1, cutoff=0.7)
    return near[0] if near else ""


def _no_such_machine(text: str, subject: str, machines: Sequence[str], *, known: bool) -> str:
    if not known:
        asked = text.lower()
        if _GRID_WORDS.fullmatch(asked) or difflib.get_close_matches(asked, ["grid loss"], 1, 0.7):
            return f"'{text}' cannot be read; did you mean 'grid loss'? (as in 'grid loss for 2 h')"
        signal = _SIGNAL_WORDS.fullmatch(asked)
        close = difflib.get_close_matches(asked, SIGNAL, 1, 0.7)
        if signal is not None:
            still = signal.group("what").startswith(_STILL)
            close = ["level signal frozen" if still else "level signal lost"]
        if close:
            meant = close[0]
            return f"'{text}' cannot be read; did you mean '{meant}'?"
        if asked in WHAT or difflib.get_close_matches(asked, WHAT, n=1, cutoff=0.8):
            return f"'{text}' names no pump; this station has {', '.join(machines)}"
    near = nearest_name(subject, machines)
    hint = f"; did you mean '{near}'?" if near else ""
    return f"no pump is called '{subject}'{hint}; this station has {', '.join(machines)}" + (
        "" if known else f"; accepted: {WHAT_ACCEPTED}"
    )

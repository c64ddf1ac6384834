"""Scripted events as text: when, who, what, for how long.

::

    [day N | Mon..Sun | YYYY-MM-DD] HH:MM[:SS]     or     after 26 h
        WHAT [NUMBER] [for D] [until reset] [and WHAT ...]

What can happen stands in the catalogue of ``equipment.faults``, each entry with how it is written:
``grid loss for 4 h``, ``P2 clogged to 60 % for 3 h``, ``start float stuck up``. Several things that
happen at one instant are joined by *and*; each has its own number and its own duration.

With 'until reset' a trip waits for a reset by hand, which is refused while the stated time lasts;
without it the pump is free again by itself when the time is over.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from stationsim import units
from stationsim.episode import ScriptedEvent
from stationsim.equipment.faults import BY_KIND, CATALOGUE, ENGINE, FLOATS, PUMP, Fault
from stationsim.errors import QuantityError
from stationsim.scenario import event_sayings as sayings
from stationsim.scenario import event_words as words
from stationsim.scenario.event_amounts import Number, read_number
from stationsim.scenario.moments import (
    MOMENTS,
    EventTextError,
    begins_with_moment,
    read_moment,
    split_moment,
    too_early,
)

__all__ = [
    "MOMENTS",
    "PHRASES",
    "EventTextError",
    "join_pieces",
    "read_event",
    "read_events",
    "read_moment",
    "read_what",
]

_AND = re.compile(r"\s+and\s+", re.IGNORECASE)
_DURATION_END = re.compile(r"\s+for\s+(?P<time>.+)$")
_UNTIL_RESET = re.compile(r"\s+until\s+reset$")
_RIGHT = " put right"

PHRASES = {words.whole_sample(one): one.truth for one in CATALOGUE}
"""What can be said of an event behind its time, and what it does."""

_TRIPS = [one.phrase for one in CATALOGUE if one.until_reset]
_TRIPS_TOLD = ", ".join(f"'{one}'" for one in _TRIPS[:-1]) + f" and '{_TRIPS[-1]}'"


@dataclass(frozen=True)
class Names:
    """Who there is at the station.

    Parameters
    ----------
    machines
        Names of all pumps; None when they are not known, and a name is not checked.
    engine
        Name of the engine-driven pump; None for none, or when that is not known.
    known
        Whether it is known which of the machines is engine-driven.
    floats
        Names of the floats that can fail.
    bypass
        Name of the bypass pump; None for none, or when that is not known.
    """

    machines: Sequence[str] | None = None
    engine: str | None = None
    known: bool = False
    floats: tuple[str, ...] = FLOATS
    bypass: str | None = None

    @property
    def with_engine(self) -> tuple[str, ...]:
        """Names of the pumps that have an engine."""
        return tuple(one for one in (self.engine, self.bypass) if one is not None)


def read_event(
    text: str, *, start: datetime, duration_s: float | None, machines: Sequence[str] | None
) -> ScriptedEvent:
    """Return the one event that a text describes.

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
        When it cannot be read, lies outside the episode, or tells of more than one thing.
    """
    found = read_events(text, start=start, duration_s=duration_s, names=Names(machines))
    if len(found) > 1:
        message = f"'{text}' tells of {len(found)} things, and one is needed"
        raise EventTextError(message)
    return found[0]


def read_events(
    text: str,
    *,
    start: datetime,
    duration_s: float | None,
    names: Names,
    system: units.System = "si",
) -> tuple[ScriptedEvent, ...]:
    """Return all that a text says happens at one instant, in its order.

    Parameters
    ----------
    text
        Such as ``02:00 control breaker open for 6 h and telemetry lost for 6 h``.
    start
        Local time at which the episode begins.
    duration_s
        How long the episode lasts [s]; None when that is not known, and the moment is not checked.
    names
        Who there is at the station.
    system
        Units of the file, in which ranges are told besides.

    Raises
    ------
    EventTextError
        When it cannot be read, or lies outside the episode.
    """
    at_s, rest = split_moment(" ".join(text.split()), start)
    if duration_s is not None and not 0.0 <= at_s < duration_s:
        message = (
            f"the moment lies {units.show(at_s - duration_s, 'duration', 'si')} after the end of "
            f"the episode, which lasts {units.show(duration_s, 'duration', 'si')}"
            if at_s > 0.0
            else too_early(at_s, start)
        )
        if at_s == duration_s:
            message = "the moment is the very end of the episode: nothing would come of it"
        raise EventTextError(message)
    if not rest:
        message = f"nothing is said to happen; accepted: {words.WHAT_ACCEPTED}"
        raise EventTextError(message)
    return tuple(
        replace(_read_clause(clause, names, system), at_s=at_s) for clause in _AND.split(rest)
    )


def read_what(
    text: str, names: Names, system: units.System = "si", *, lasts: bool
) -> tuple[ScriptedEvent, ...]:
    """Return what a text without a time and without a duration says happens.

    Parameters
    ----------
    text
        Such as ``P1 fails and P2 fails``.
    names
        Who there is at the station.
    system
        Units of the file, in which ranges are told besides.
    lasts
        Whether a duration is said elsewhere.

    Raises
    ------
    EventTextError
        When it cannot be read, has a time or a duration, or should have one and has none.
    """
    flat = " ".join(text.split())
    if begins_with_moment(flat):
        message = f"'{flat}' begins with a time, and chance has none: say only what happens"
        raise EventTextError(message)
    clauses = _AND.split(flat)
    for clause in clauses:
        if _DURATION_END.search(_UNTIL_RESET.sub("", clause)):
            message = f"'{clause}' says how long: write that as lasts"
            raise EventTextError(message)
    found = [
        _read_clause(text, names, system)
        for text in (_with_pieces(clauses, "1 s", until_reset=False) if lasts else clauses)
    ]
    return tuple(replace(one, duration_s=None) for one in found)


def join_pieces(at: str, what: str, lasting: str | None, *, until_reset: bool) -> str:
    """Return the text of an event that is given in pieces.

    Parameters
    ----------
    at, what
        When, and what; several things joined by *and*.
    lasting
        How long: of each thing that can last; None when it is not said.
    until_reset
        Whether each trip waits for a reset by hand.
    """
    return f"{at} " + " and ".join(
        _with_pieces(_AND.split(what.strip()), lasting, until_reset=until_reset)
    )


def _with_pieces(clauses: list[str], lasting: str | None, *, until_reset: bool) -> list[str]:
    """Return clauses with what is said of all of them, each where it can be; else everywhere."""
    bare = [_UNTIL_RESET.sub("", clause) for clause in clauses]
    own = [bool(_DURATION_END.search(text)) for text in bare]
    entries = [_entry_in(_DURATION_END.sub("", text)) for text in bare]
    last = [
        not has and (one is None or one.lasts != "never")
        for has, one in zip(own, entries, strict=True)
    ]
    trip = [one is not None and one.until_reset for one in entries]
    made = []
    for clause, text, may_last, may_trip in zip(clauses, bare, last, trip, strict=True):
        waits = clause != text or (until_reset and (may_trip or not any(trip)))
        adds = lasting is not None and (may_last or not any(last))
        made.append(text + (f" for {lasting}" if adds else "") + (" until reset" if waits else ""))
    return made


def _entry_in(clause: str) -> Fault | None:
    """Return the entry that a clause is likely to be of; None when it is not plain."""
    found = _of_station(clause)
    if found is not None:
        return found[0]
    if clause.lower().endswith(_RIGHT):
        return BY_KIND["put right"]
    for kind in words.OF_SETS:
        if clause.lower().removesuffix(f" {kind}") in words.SETS:
            return BY_KIND[kind]
    split = _of_machine(clause.partition(" ")[2])
    return None if split is None else split[0]


def _read_clause(text: str, names: Names, system: units.System) -> ScriptedEvent:
    """Return one thing that happens, at the start."""
    if begins_with_moment(text):
        message = f"'{text}' begins with a time: a text has one; write another event for it"
        raise EventTextError(message)
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
    subject, phrase, fault, number = _read_subject(rest, names, system)
    if duration_s is not None and fault.lasts == "never":
        raise EventTextError(_no_duration(subject, phrase, fault))
    if until_reset and not fault.until_reset:
        message = f"'until reset' goes with {_TRIPS_TOLD} only"
        raise EventTextError(message)
    if duration_s is None and fault.lasts == "must":
        raise EventTextError(_needs_duration(phrase, fault))
    resets_itself = not until_reset and not (fault.until_reset and duration_s is None)
    return ScriptedEvent(
        at_s=0.0,
        kind=fault.kind,
        subject=subject,
        duration_s=duration_s,
        resets_itself=resets_itself,
        flow_left=number.flow_left,
        amount=number.amount,
        per_s=number.per_s,
    )


def _read_subject(text: str, names: Names, system: units.System) -> tuple[str, str, Fault, Number]:
    """Return whom a text speaks of, the phrase, the entry and its number."""
    found = _of_station(text)
    if found is not None:
        fault, subject, phrase, behind = found
        return subject, phrase, fault, read_number(fault, phrase, behind, system)
    subject, _, word = text.partition(" ")
    thing = text.lower().removesuffix(_RIGHT)
    if thing != text.lower() and thing in words.THINGS:
        return words.THINGS[thing], _RIGHT.strip(), BY_KIND["put right"], Number()
    for kind in words.OF_SETS:
        if (one := text.lower().removesuffix(f" {kind}")) in words.SETS and one != text.lower():
            return one, kind, BY_KIND[kind], Number()
    if without := sayings.float_without_name(text, names.floats):
        raise EventTextError(without)
    split = _of_machine(word)
    machines = (subject,) if names.machines is None else names.machines
    if subject not in machines:
        known = split is not None and not sayings.near_of_station(text)
        raise EventTextError(sayings.no_such_machine(text, subject, machines, known=known))
    if split is None:
        near = sayings.near_of_machine(word)
        hint = f"; did you mean '{near}'?" if near else ""
        said = f"'{word}' is nothing that happens to {subject}" if word else "what happens?"
        message = f"{said}{hint}; accepted: {words.MACHINE_ACCEPTED}"
        raise EventTextError(message)
    fault, phrase, behind = split
    _refuse_wrong_drive(subject, fault, phrase, names)
    return subject, phrase, fault, read_number(fault, phrase, behind, system)


def _of_station(text: str) -> tuple[Fault, str, str, str] | None:
    """Return entry, subject, phrase and what stands behind it, of what befalls no machine."""
    phrase, behind = _longest(text, words.STATION_PHRASES)
    if not phrase:
        return None
    fault, subject = words.STATION_PHRASES[phrase]
    return None if behind and fault.amount is None else (fault, subject, phrase, behind)


def _of_machine(word: str) -> tuple[Fault, str, str] | None:
    """Return entry, phrase and what stands behind it, of what stands behind a machine's name."""
    phrase, behind = _longest(word, words.MACHINE_PHRASES)
    if not phrase:
        return None
    fault = words.MACHINE_PHRASES[phrase]
    return None if behind and fault.amount is None else (fault, phrase, behind)


def _longest(text: str, phrases: Mapping[str, object]) -> tuple[str, str]:
    """Return the longest phrase that a text begins with, and what stands behind it."""
    lower = text.lower()
    fitting = [one for one in phrases if lower == one or lower.startswith(f"{one} ")]
    phrase = max(fitting, key=len, default="")
    return phrase, text[len(phrase) :].strip()


def _refuse_wrong_drive(subject: str, fault: Fault, phrase: str, names: Names) -> None:
    """Refuse what only an engine can suffer of an electric pump, and the other way round."""
    engines = names.with_engine
    if names.known and fault.kind == "refuelled" and subject not in engines:
        tanks = ", ".join((*words.SETS, *engines))
        message = f"'{phrase}' happens to what has a tank, and {subject} is electric; try {tanks}"
        raise EventTextError(message)
    if not names.known or fault.subject not in (PUMP, ENGINE):
        return
    engine_driven = subject in engines
    if fault.subject == ENGINE and not engine_driven:
        message = f"'{phrase}' happens to the engine-driven pump only, which is {names.engine}"
        if not engines:
            message = f"'{phrase}' happens to an engine-driven pump only, and this station has none"
        elif names.bypass:
            message = f"'{phrase}' happens to a pump with an engine only: {' or '.join(engines)}"
        raise EventTextError(message)
    if fault.subject == PUMP and engine_driven:
        electric = ", ".join(one for one in names.machines or () if one not in engines)
        message = (
            f"'{phrase}' happens to an electric pump only, and {subject} is engine-driven; "
            f"accepted: {electric}"
        )
        raise EventTextError(message)


def _needs_duration(phrase: str, fault: Fault) -> str:
    """Say that a duration is lacking, with an example."""
    if fault.kind == "high temperature":
        return "a high temperature needs its duration, such as 'for 40 min'"
    article = "the loss of a phase" if fault.kind == "phase lost" else f"a {phrase}"
    return f"{article} needs its duration, such as '{phrase} {words.lasting_sample(fault)}'"


def _no_duration(subject: str, phrase: str, fault: Fault) -> str:
    """Say why an event takes no duration, and what to write in its place."""
    lasts = ""
    if fault.kind == "seal leak":
        lasts = f": it lasts to the end of the run, or until '{subject} put right'"
    elif fault.kind in ("mobile generator connected", "bypass pump connected"):
        lasts = f": it lasts until a later '{fault.subject} disconnected'"
    elif fault.kind == "auto":
        lasts = f": it lasts until a later event such as '{subject} off'"
    takers = ", ".join(
        one.phrase for one in CATALOGUE if one.lasts != "never" and "{" not in one.phrase
    )
    return f"'{phrase}' takes no duration{lasts}; 'for' goes with {takers}"

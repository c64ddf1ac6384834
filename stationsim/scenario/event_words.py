"""How the things that happen are written, and what somebody is likely to mean.

All of it follows from the catalogue, but for what people say in their own words.
"""

from __future__ import annotations

from collections.abc import Iterator

from stationsim import vocabulary
from stationsim.equipment.faults import (
    CATALOGUE,
    ENGINE,
    FLOATS,
    MACHINE,
    PUMP,
    Fault,
)
from stationsim.scenario.event_amounts import sample_of

NAMED_MACHINE = (PUMP, ENGINE, MACHINE)
"""Subjects that stand for the name of a machine in the text."""

ALARM_NAMES = tuple(entry.word for entry in vocabulary.ENTRIES if entry.kind == "alarm")
"""Alarms that can be switched off."""

_NAMED = ("reset", "put right", "refuelled")
"""Kinds that are written behind the name of a machine, or of some other thing."""

OF_MACHINES = tuple(one for one in CATALOGUE if one.subject in NAMED_MACHINE or one.kind in _NAMED)
"""What can happen to a machine."""

OF_STATION = tuple(one for one in CATALOGUE if one not in OF_MACHINES)
"""What happens to anything else."""

THINGS = {
    "level signal": "level sensor",
    **{one: one for one in FLOATS},
    "controller": "panel",
    "panel": "panel",
    "control breaker": "panel",
    "telemetry": "telemetry",
    "transfer switch": "transfer switch",
    "generator": "generator",
    "force main": "force main",
    "downstream": "downstream station",
    **{f"{one} alarm": one for one in ALARM_NAMES},
}
"""What a crew can put right beside machines, as written -> subject of the event."""


SETS = ("generator", "mobile generator")
"""Generator sets, which can be reset and refuelled as a machine can."""

OF_SETS = ("reset", "refuelled")
"""What is written behind the name of a generator set as behind that of a machine."""


def written(fault: Fault) -> Iterator[tuple[str, str]]:
    """Yield each way in which an entry is written without its number, and its subject.

    Parameters
    ----------
    fault
        The entry; one that names a machine is written behind its name, and has no subject here.
    """
    if fault in OF_MACHINES:
        yield fault.phrase, ""
    elif "{float}" in fault.phrase:
        for name in FLOATS:
            yield fault.phrase.format(float=name), name
    elif "{alarm}" in fault.phrase:
        for name in ALARM_NAMES:
            yield fault.phrase.format(alarm=name), name
    else:
        yield fault.phrase, fault.subject


MACHINE_PHRASES: dict[str, Fault] = {
    phrase: fault for fault in OF_MACHINES for phrase, _ in written(fault)
}
"""What can happen to a machine, as written without its number -> entry."""

STATION_PHRASES: dict[str, tuple[Fault, str]] = {
    phrase: (fault, subject) for fault in OF_STATION for phrase, subject in written(fault)
}
"""What can happen to anything else, as written without its number -> entry and subject."""


def with_number(fault: Fault, phrase: str) -> str:
    """Return a phrase with a sample of its number where it must have one.

    Parameters
    ----------
    fault, phrase
        The entry, and how it is written.
    """
    if fault.amount is None or fault.amount.default is not None:
        return phrase
    return f"{phrase} {sample_of(fault.amount)}"


MACHINE_ACCEPTED = ", ".join(with_number(one, phrase) for phrase, one in MACHINE_PHRASES.items())
_OWN = ("grid loss for 4 h", "level signal frozen", "force main leaking 8 %")
WHAT_ACCEPTED = (
    ", ".join(f"'{one}'" for one in _OWN)
    + ", a pump and one of: "
    + ", ".join(f"'{with_number(one, phrase)}'" for phrase, one in MACHINE_PHRASES.items())
    + ", and more: 'stationsim explain event' lists all"
)

_LASTS = {
    "high temperature": "40 min",
    "grid sag": "0.4 s",
    "phase lost": "1 h",
    "mobile generator disconnected": "10 min",
}
_HOW_LONG = "3 h"


def lasting_sample(fault: Fault) -> str:
    """Return a well-written duration of an entry: ``for 4 h``.

    Parameters
    ----------
    fault
        The entry.
    """
    return f"for {_LASTS.get(fault.kind, '4 h' if fault.kind == 'grid loss' else _HOW_LONG)}"


def whole_sample(fault: Fault) -> str:
    """Return an entry as it is written, with its duration where it has one as a rule.

    Parameters
    ----------
    fault
        The entry.
    """
    subject = {"reset": "P2 ", "put right": "P2 ", "refuelled": "generator "}.get(fault.kind, "")
    return f"{subject}{fault.sample}" + (
        f" {lasting_sample(fault)}" if fault.lasts != "never" and not fault.stays else ""
    )


def find_entries(text: str) -> list[Fault]:
    """Return the entries of the catalogue that a text names; none when it names none.

    Parameters
    ----------
    text
        A kind, a phrase, or a phrase behind the name of a machine.
    """
    asked = " ".join(text.split()).lower()
    exact = [one for one in CATALOGUE if asked in (one.kind, one.phrase, one.sample.lower())]
    if exact:
        return exact
    tails = [fault for phrase, fault in MACHINE_PHRASES.items() if asked == f"p2 {phrase}"]
    return tails or [fault for phrase, (fault, _) in STATION_PHRASES.items() if asked == phrase]


def phrases() -> list[str]:
    """Return every way in which something that happens is written without its number."""
    return [*MACHINE_PHRASES, *STATION_PHRASES]

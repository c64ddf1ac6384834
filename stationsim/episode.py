"""Episode: what happens to a station.

Start state, calendar, inflow, scripted events and what people do. Times are seconds since the
start of the episode, except where a name says ``clock``: that is seconds since the midnight before
the first day, in the station's local time at one fixed offset from UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from stationsim.chance import Range
from stationsim.equipment.faults import EventKind
from stationsim.people.response import Response

if TYPE_CHECKING:
    from stationsim.inflow.segments import InflowSource

__all__ = ["Episode", "EventKind", "RandomFault", "ScriptedEvent"]

Basis = Literal["calendar", "running", "demand"]


@dataclass(frozen=True)
class ScriptedEvent:
    """One thing that happens at a stated time.

    Parameters
    ----------
    at_s
        When [s since the start of the episode].
    kind
        What: an entry of ``equipment.faults.CATALOGUE``.
    subject
        The machine (``P2``), or what the entry names: ``grid``, ``level sensor``, ``start float``.
    duration_s
        How long it lasts [s]. None: to the end of the run, or until it is put right; a trip is over
        at once and waits for a reset by hand; the change back from a mobile generator lasts as long
        as the break of the transfer switch. Meaningless for auto, reset and put right.
    resets_itself
        For a trip (fails, high temperature): True when the pump is free again by itself after
        ``duration_s``; False when it waits for a reset by hand, which is refused while
        ``duration_s`` lasts.
    flow_left
        What a number in percent says of a pump, a valve or the main: the part of the flow that is
        left [-].
    amount
        Any other number that goes with it, in SI as the catalogue's ``Amount`` says [any].
    per_s
        The time that the amount belongs to: 10 % in 2 h [s].
    cause
        Why, in trade words.
    """

    at_s: float
    kind: EventKind
    subject: str
    duration_s: float | None = None
    resets_itself: bool = True
    flow_left: float = 1.0
    amount: float = 0.0
    per_s: float = 0.0
    cause: str = "scripted"


@dataclass(frozen=True)
class RandomFault:
    """Something that happens by chance, at a rate.

    Parameters
    ----------
    name
        Key of its stream of random numbers, and its name in the scenario.
    events
        What happens, all at one instant; their ``at_s`` and ``duration_s`` don't count.
    basis
        Exposure that the rate is counted by: the ``calendar``; ``running`` of the machine that the
        first event names; or each ``demand`` on it (a call, a crank, an exercise).
    rate
        Times in a second of the calendar or of running [1/s]; of a demand, the probability [-].
    lasts
        How long it lasts [s]; None: to the end of the run, or until it is put right.
    """

    name: str
    events: tuple[ScriptedEvent, ...]
    basis: Basis
    rate: float
    lasts: Range | None = None


@dataclass(frozen=True)
class Episode:
    """What happens.

    Parameters
    ----------
    start
        Local time at which the episode begins, with its fixed offset from UTC.
    duration_s
        How long it lasts [s].
    inflow
        Sources; their flows add.
    start_level_m
        Level in the well at the start [m above floor].
    events
        Scripted events, in any order; of events at one instant the one named first comes first.
    table_interval_s
        How often the level is written into the table of levels [s].
    seed
        Root of every random stream of this episode.
    name
        What people call it; names the folder of results.
    notes
        What is worth knowing of how it was read.
    random
        What may happen by chance; nothing does unless it is said here.
    replicate
        Which of many runs of the same chances this is [-].
    response
        Who is called when the station is in trouble, and what they do; None: nobody comes.
    """

    start: datetime
    duration_s: float
    inflow: tuple[InflowSource, ...]
    start_level_m: float
    events: tuple[ScriptedEvent, ...] = ()
    table_interval_s: float = 300.0
    seed: int = 1
    name: str = "episode"
    notes: Mapping[str, str] = field(default_factory=dict)
    random: tuple[RandomFault, ...] = ()
    replicate: int = 0
    response: Response | None = None

    @property
    def clock_offset_s(self) -> float:
        """Seconds from the midnight before the first day to the start of the episode [s]."""
        start = self.start
        return start.hour * 3600.0 + start.minute * 60.0 + start.second + start.microsecond / 1e6

    def moment(self, at_s: float) -> datetime:
        """Return the local date and time of a moment.

        Parameters
        ----------
        at_s
            Seconds since the start of the episode [s].
        """
        return self.start + timedelta(seconds=at_s)

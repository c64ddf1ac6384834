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

if TYPE_CHECKING:
    from stationsim.inflow.segments import InflowSource

EventKind = Literal[
    "grid loss",
    "out of service",
    "fails",
    "high temperature",
    "seal leak",
    "fails to start",
    "clogged",
    "level signal frozen",
    "level signal lost",
    "hand",
    "off",
    "auto",
    "reset",
]


@dataclass(frozen=True)
class ScriptedEvent:
    """One thing that happens at a stated time.

    Parameters
    ----------
    at_s
        When [s since the start of the episode].
    kind
        What: a grid loss; a machine taken out of service, failing, getting too hot, leaking at its
        seal, not starting when called, or partly clogged; a level signal that stands still or is
        gone; or a person's hand on a selector (hand, off, auto) or on the reset button.
    subject
        The machine (``P2``), ``grid`` for a grid loss, ``level sensor`` for a level signal.
    duration_s
        How long it lasts [s]. None: out of service, or a leaking seal, lasts to the end of the run;
        a trip is over at once and waits for a reset by hand. Meaningless for hand, off, auto and
        reset.
    resets_itself
        For a trip (fails, high temperature): True when the pump is free again by itself after
        ``duration_s``; False when it waits for a reset by hand, which is refused while
        ``duration_s`` lasts.
    flow_left
        For a clogged pump: the part of its flow at the same head that is left [-].
    """

    at_s: float
    kind: EventKind
    subject: str
    duration_s: float | None = None
    resets_itself: bool = True
    flow_left: float = 1.0


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

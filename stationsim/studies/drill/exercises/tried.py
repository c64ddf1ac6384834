"""Whether an exercise is worth it: what comes of it with nobody, by the plan, and by acting."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.simulation.session import simulate
from stationsim.studies.drill.exercises.remedies import acts_of, there_at

if TYPE_CHECKING:
    from stationsim.episode import Episode, ScriptedEvent
    from stationsim.station import Station
    from stationsim.studies.drill.exercises.troubles import Trouble
    from stationsim.trace import Trace

Acting = Literal["acting counts", "runs by itself", "little can be done"]
"""What acting in time does in an exercise."""

_LEAST_SPILL_M3 = 0.1
_HIGH_S = 600.0
_SAVED = 1.0 / 3.0
"""From which spill, and which time of high water, an exercise is worth playing; and which part of
it acting must save; own choices."""


class Figures(NamedTuple):
    """What comes of a run of an exercise.

    Parameters
    ----------
    spilled_m3
        What is lost [m3].
    alarm_s
        When the first alarm is raised after the trouble has begun [s since the start]; infinity for
        none, as below.
    high_s
        When the high-level alarm is raised, or stands, first [s].
    spill_s
        When the first spill begins [s].
    high_lasts_s
        How long the high-level alarm stands after the trouble has begun [s].
    """

    spilled_m3: float
    alarm_s: float
    high_s: float
    spill_s: float
    high_lasts_s: float


class Tried(NamedTuple):
    """What an exercise comes to.

    Parameters
    ----------
    nobody
        With nobody acting.
    plan
        With the people of the file, by their plan; None where there is none.
    acted
        When all that can be done is done once somebody could be there.
    there_s
        When somebody could be there [s].
    acts
        What is done then.
    """

    nobody: Figures
    plan: Figures | None
    acted: Figures
    there_s: float
    acts: tuple[ScriptedEvent, ...]

    @property
    def worth(self) -> bool:
        """True when doing nothing leads to a spill, or to high water for a while."""
        return self.nobody.spilled_m3 >= _LEAST_SPILL_M3 or self.nobody.high_lasts_s >= _HIGH_S

    @property
    def saved(self) -> float:
        """Which part of the spill, or of the time of high water, acting saves [-]."""
        ways = [self.acted] if self.plan is None else [self.acted, self.plan]
        lost, high = self.nobody.spilled_m3, self.nobody.high_lasts_s
        if lost >= _LEAST_SPILL_M3:
            return max(0.0, 1.0 - min(one.spilled_m3 for one in ways) / lost)
        return max(0.0, 1.0 - min(one.high_lasts_s for one in ways) / high) if high > 0.0 else 0.0

    @property
    def acting(self) -> Acting:
        """Say what acting in time does: much, nothing that was needed, or too little."""
        if not self.worth:
            return "runs by itself"
        return "acting counts" if self.saved >= _SAVED else "little can be done"


def try_out(
    station: Station, episode: Episode, troubles: tuple[Trouble, ...], at_s: float
) -> Tried:
    """Return what comes of an exercise: with nobody, by the plan, and with all that can be done.

    Parameters
    ----------
    station, episode
        What stands there, and what happens.
    troubles
        What is wrong in it.
    at_s
        When the main trouble begins [s].
    """
    alone = replace(episode, response=None)
    trace = simulate(station, alone).trace
    nobody = figures(trace, at_s)
    there_s = there_at(episode, trace, at_s)
    plan = None
    if episode.response is not None:
        plan = figures(simulate(station, episode).trace, at_s)
    acts = acts_of(station, episode, troubles, there_s)
    acted = nobody
    if acts:
        acted = figures(
            simulate(station, replace(alone, events=(*alone.events, *acts))).trace, at_s
        )
    return Tried(nobody, plan, acted, there_s, acts)


def figures(trace: Trace, at_s: float) -> Figures:
    """Return the figures of a run.

    Parameters
    ----------
    trace
        What it left behind.
    at_s
        When the main trouble begins [s].
    """
    since = [row for row in trace.alarms if not row.cleared_s < at_s]
    high = [row for row in since if row.alarm == "high level"]
    lasts_s = sum(
        (trace.end_s if math.isnan(row.cleared_s) else row.cleared_s) - max(row.raised_s, at_s)
        for row in high
    )
    return Figures(
        spilled_m3=trace.spilled_m3,
        alarm_s=min((row.raised_s for row in since if row.raised_s >= at_s), default=math.inf),
        high_s=min((max(row.raised_s, at_s) for row in high), default=math.inf),
        spill_s=min((row.start_s for row in trace.spills), default=math.inf),
        high_lasts_s=lasts_s,
    )

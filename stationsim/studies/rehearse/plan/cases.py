"""The cases of a plan: with one source alone, with all of them, and with each one left out.

A case is a station and a response. It is rehearsed by a run: the grid fails at the hour and stays
out, nothing else is scripted, and people do what the plan says. So the plan is the same as a run of
the same station in which the power goes at that hour.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from stationsim.episode import Episode, ScriptedEvent
from stationsim.errors import InputError
from stationsim.inflow.known import KnownInflow
from stationsim.people.response import Pace, Response, TaskKind
from stationsim.simulation.session import Session, simulate
from stationsim.studies.rehearse.days import moved, read_days
from stationsim.studies.rehearse.hours import HoursAsked

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.equipment.power import StandbyPower
    from stationsim.inflow.segments import Segments
    from stationsim.station import Station
    from stationsim.trace import Trace

WHOLE = "whole plan"
"""What the plan is called where it stands among its sources."""

PACES: tuple[Pace, ...] = ("low", "typical", "high")

ENGINE, GENERATOR = "engine-driven pump", "generator"
MOBILE, BYPASS, TANKER = "mobile generator", "bypass pump", "tanker"
"""The sources of pumping that a plan may have while the grid is out."""

TASK_OF: dict[str, TaskKind] = {
    MOBILE: "connect mobile generator",
    BYPASS: "connect bypass pump",
    TANKER: "haul",
}
"""The step of the plan that brings a source."""

_TRIPS_AFTER_S = 0.5
_LAST_HOUR = 23
_LONGEST_S = 72.0 * 3600.0
_TANKER_TAKES = "tanker takes"
_AT_ONCE_S = 1.0
"""A pump that stops within this of its start has drawn nothing: it tripped what feeds it [s]."""

_LOOKS_EVERY_S = 1800.0


@dataclass(frozen=True)
class PlanAsked(HoursAsked):
    """What is asked of a plan; all that the table by hour asks, and more.

    Parameters
    ----------
    outage_s
        How long the grid stays out [s].
    hour
        The hour whose sequence is drawn; None for the worst.
    late_s
        How much later the crew may be than it would be [s].
    """

    days: tuple[str, ...] = ("wednesday",)
    outage_s: float = 8.0 * 3600.0
    hour: int | None = None
    late_s: tuple[float, ...] = (900.0, 1800.0, 3600.0)

    def __post_init__(self) -> None:
        """Check what is asked.

        Raises
        ------
        InputError
            When there is no such hour or day, or a time makes no sense.
        """
        if self.hour is not None and not 0 <= self.hour <= _LAST_HOUR:
            raise InputError(f"hour: {self.hour} cannot be used; accepted: 0 to {_LAST_HOUR}")
        if not self.days:
            raise InputError("days: there is none; name one, such as 'wednesday'")
        days = [day for text in self.days for day in read_days(text)]
        object.__setattr__(self, "days", tuple(dict.fromkeys(days)))
        for name, times_s in (("late_s", self.late_s), ("outage_s", (self.outage_s,))):
            for time_s in times_s:
                if not 0.0 < time_s <= _LONGEST_S:
                    message = f"{name}: {time_s:g} s cannot be used; accepted: more than 0, to 72 h"
                    raise InputError(message)
        object.__setattr__(self, "late_s", tuple(dict.fromkeys(self.late_s)))


class Case(NamedTuple):
    """A station and who answers for it.

    Parameters
    ----------
    name
        What is different about it.
    station
        What stands there.
    response
        Who answers; None for nobody.
    events
        What else happens, from the moment on at which the power goes.
    """

    name: str
    station: Station
    response: Response | None
    events: tuple[ScriptedEvent, ...] = ()


class Outcome(NamedTuple):
    """What came of a case at an hour.

    Parameters
    ----------
    spilled_m3
        What was lost until the grid is back [m3].
    spill_s
        When it began, from the power loss on [s]; infinity for never.
    flow_s
        When something first drew water out again [s]; infinity for never.
    greatest_level_m
        Highest level [m above floor].
    trace
        The run.
    """

    spilled_m3: float
    spill_s: float
    flow_s: float
    greatest_level_m: float
    trace: Trace


def sources_of(station: Station, response: Response) -> tuple[str, ...]:
    """Return the sources that a station has in its plan.

    Parameters
    ----------
    station, response
        What stands there, and who answers.
    """
    power = station.standby_power
    there = {
        ENGINE: station.engine_pump is not None,
        GENERATOR: power is not None and power.generator is not None,
        MOBILE: power is not None and power.mobile is not None,
        BYPASS: station.bypass_pump is not None,
        TANKER: True,
    }
    return tuple(
        name
        for name, has in there.items()
        if has and (name not in TASK_OF or response.task(TASK_OF[name]) is not None)
    )


def without(station: Station, *names: str) -> Station:
    """Return a station without some of the sources that stand there.

    Parameters
    ----------
    station
        What stands there.
    names
        Which sources.
    """
    if ENGINE in names:
        station = replace(station, engine_pump=None)
    power = station.standby_power
    if GENERATOR in names and power is not None:
        station = replace(station, standby_power=replace(power, generator=None))
    return replace(station, exercise=None)


def at_pace(station: Station, pace: Pace) -> Station:
    """Return a station whose engines fire at the first crank, or at the last when all goes slowly.

    Parameters
    ----------
    station
        What stands there.
    pace
        ``high`` for slowly.
    """
    if pace != "high":
        return station
    engine, bypass = _by_last_crank(station.engine_pump), _by_last_crank(station.bypass_pump)
    power: StandbyPower | None = station.standby_power
    if power is not None and power.generator is not None:
        what = power.generator
        tries = what.crank_tries
        crank_s = tries * what.crank_s + (tries - 1) * what.crank_rest_s
        power = replace(power, generator=replace(what, crank_s=crank_s))
    return replace(station, engine_pump=engine, bypass_pump=bypass, standby_power=power)


def _by_last_crank(engine: EnginePump | None) -> EnginePump | None:
    if engine is None:
        return None
    more_s = (engine.crank_tries - 1) * (engine.crank_s + engine.crank_rest_s)
    return replace(engine, start_delay_s=engine.start_delay_s + more_s)


def nobody(station: Station) -> Case:
    """Return the case in which nothing runs and nobody comes.

    Parameters
    ----------
    station
        What stands there.
    """
    return Case("nobody", without(station, ENGINE, GENERATOR), None)


def alone(station: Station, response: Response, source: str, pace: Pace) -> Case:
    """Return the case in which one source has to carry it alone.

    Parameters
    ----------
    station, response
        What stands there, and who answers.
    source
        Which source.
    pace
        How quickly all goes.
    """
    stands = without(station, *(name for name in (ENGINE, GENERATOR) if name != source))
    others = {kind for name, kind in TASK_OF.items() if name != source}
    kept = tuple(task for task in response.tasks if task.kind not in others)
    people = replace(response, tasks=kept, pace=pace) if source in TASK_OF else None
    return Case(source, at_pace(stands, pace), people)


def whole(station: Station, response: Response, pace: Pace) -> Case:
    """Return the case of the whole plan.

    Parameters
    ----------
    station, response
        What stands there, and who answers.
    pace
        How quickly all goes.
    """
    return Case(WHOLE, at_pace(without(station), pace), replace(response, pace=pace))


def fed_from(trace: Trace) -> dict[str, float]:
    """Return when each generator set first fed the pumps [s].

    Parameters
    ----------
    trace
        A run of the whole plan.
    """
    found: dict[str, float] = {}
    for row in trace.power:
        if row.source == "busbar" and row.state in (GENERATOR, MOBILE):
            found.setdefault(row.state, row.start_s)
    return found


def left_out(station: Station, response: Response, asked: PlanAsked, usual: Outcome) -> list[Case]:
    """Return the whole plan with each single thing missing, or going wrong.

    Parameters
    ----------
    station, response
        What stands there, and who answers.
    asked
        How late the crew may be.
    usual
        What came of the whole plan at its typical pace.
    """
    stands, typical = without(station), replace(response, pace="typical")
    found = [
        Case(f"without {name}", without(station, name), typical)
        for name in sources_of(station, response)
        if name not in TASK_OF
    ]
    found += [
        Case(
            f"without '{task.kind}'",
            stands,
            replace(typical, tasks=tuple(one for one in typical.tasks if one is not task)),
        )
        for task in typical.tasks
    ]
    found += [
        Case(
            f"crew {late_s / 60.0:g} min late",
            stands,
            replace(typical, late_s=typical.late_s + late_s),
        )
        for late_s in asked.late_s
    ]
    taken = next((row.person for row in usual.trace.crew if row.outcome == "acknowledged"), "")
    found += _gone_wrong(stands, typical, fed_from(usual.trace), taken)
    return found


def _gone_wrong(
    station: Station, response: Response, fed_from: Mapping[str, float], taken: str
) -> list[Case]:
    """Return the whole plan with one thing that goes wrong with it."""
    found = []
    for engine in (station.engine_pump, station.bypass_pump):
        brought = response.task("connect bypass pump") is not None
        if engine is not None and (engine is station.engine_pump or brought):
            name = engine.pump.name
            event = ScriptedEvent(0.0, "fails to start", name)
            found.append(Case(f"{name} fails to start", station, response, (event,)))
    power = station.standby_power
    if power is not None and power.generator is not None:
        event = ScriptedEvent(0.0, "generator fails to start", GENERATOR)
        found.append(Case("generator fails to start", station, response, (event,)))
    found += [
        Case(
            f"{name} trips on the first start",
            station,
            response,
            (ScriptedEvent(fed_s + _TRIPS_AFTER_S, "generator fails", name, resets_itself=False),),
        )
        for name, fed_s in fed_from.items()
    ]
    lost = ScriptedEvent(0.0, "telemetry lost", "telemetry")
    found.append(Case("telemetry lost with the power", station, response, (lost,)))
    if taken in response.call_list:
        people = tuple(
            replace(one, answers=False) if one.name == taken else one for one in response.people
        )
        case = Case(f"{taken} does not answer", station, replace(response, people=people))
        found.append(case)
    return found


@dataclass(frozen=True)
class Hour:
    """An hour at which the power goes.

    Parameters
    ----------
    episode
        The one that is asked about; its name and its seed count.
    midnight
        The midnight at which its day begins.
    at_s
        When the power goes [s since midnight].
    arriving
        All that arrives, from that midnight on.
    level_m
        Where the water stands then [m above floor].
    out_s
        How long the grid stays out [s].
    """

    episode: Episode
    midnight: datetime
    at_s: float
    arriving: Segments
    level_m: float
    out_s: float

    def rehearse(self, case: Case, level_m: float | None = None) -> Outcome:
        """Run a case from the power loss until the grid is back.

        Parameters
        ----------
        case
            The station, and who answers.
        level_m
            Where the water stands when the power goes, if elsewhere [m above floor].
        """
        trace = simulate(case.station, self.episode_of(case, level_m)).trace
        spills = [row.start_s for row in trace.spills]
        flows = [run.start_s for run in trace.runs if run.stop_s - run.start_s > _AT_ONCE_S]
        flows += [row.t_s for row in trace.events if row.event == _TANKER_TAKES]
        return Outcome(
            trace.spilled_m3,
            min(spills, default=math.inf),
            min(flows, default=math.inf),
            trace.greatest_level_m,
            trace,
        )

    def first_water_s(self, case: Case) -> float:
        """Run a case until something draws water; return when that is [s], infinity for never.

        Parameters
        ----------
        case
            The station, and who answers.
        """
        session = Session(case.station, self.episode_of(case))
        started: dict[str, float] = {}
        while not session.done:
            for row in session.advance(session.now_s + _LOOKS_EVERY_S):
                if row.event == _TANKER_TAKES:
                    return min([row.t_s, *started.values()])
                if row.event == "start":
                    started[row.subject] = row.t_s
                elif row.event == "stop" and row.t_s - started.get(row.subject, -math.inf) <= (
                    _AT_ONCE_S
                ):
                    del started[row.subject]  # it dropped out at once: it drew nothing
            lasting = [at_s for at_s in started.values() if session.now_s - at_s > _AT_ONCE_S]
            if lasting:
                return min(lasting)
        return math.inf

    @cached_property
    def _inflow(self) -> KnownInflow:
        """What arrives from the power loss on, cut out once for all cases."""
        to_s = self.at_s + self.out_s
        return KnownInflow(moved(self.arriving.between(self.at_s, to_s), -self.at_s))

    def episode_of(self, case: Case, level_m: float | None = None) -> Episode:
        """Return the episode in which the power goes at this hour.

        Parameters
        ----------
        case
            The station, and who answers.
        level_m
            Where the water stands then, if elsewhere [m above floor].
        """
        loss = ScriptedEvent(0.0, "grid loss", "grid", self.out_s + 1.0)
        return replace(
            self.episode,
            start=self.midnight + timedelta(seconds=self.at_s),
            duration_s=self.out_s,
            inflow=(self._inflow,),
            start_level_m=self.level_m if level_m is None else level_m,
            events=(*case.events, loss),
            random=(),
            response=case.response,
        )

"""All criteria of a station, and what came of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from stationsim.inflow.segments import DAY_S
from stationsim.simulation.session import simulate
from stationsim.studies.check import text
from stationsim.studies.check.capacity import capacity, velocity
from stationsim.studies.check.criterion import SI_UNITS, Case, Judged
from stationsim.studies.check.cycles import starts
from stationsim.studies.check.electrical import bypass, generator, supply
from stationsim.studies.check.growth import Growth, YearRow, growth_of
from stationsim.studies.check.levels import engine_suction, levels, submergence
from stationsim.studies.check.sanity import balances, surge
from stationsim.studies.check.steady import Rates, rates_of
from stationsim.studies.check.times import alarm_to_spill, filling, hours_of
from stationsim.study_result import Source, StudyResult

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.studies.rehearse.hours import StationHours
    from stationsim.units import System

_RUN_S = 7.0 * DAY_S

CRITERIA = (
    "firm capacity", "least velocity", "cleaning velocity", "greatest velocity", "active volume",
    "starts in an hour", "motor starts by size", "rest between runs", "fill time",
    "detention in the well", "age in the main", "order of levels", "spacing of levels",
    "alarm under the inlet", "time from alarm to spill", "alarm to spill at peak",
    "storage for the outage", "submergence at the stop level", "entrance velocity", "suction head",
    "suction lift", "priming", "running current", "starting current",
    "starting current, all at once", "generator output", "generator apparent output",
    "generator start", "generator fuel", "engine fuel", "bypass flow", "bypass lift",
    "surge, screening", "water balance", "energy",
)  # fmt: skip
"""What is asked of a station, by the name of each criterion, in the order of the table."""


@dataclass(frozen=True)
class Fitness:
    """What came of all criteria.

    Parameters
    ----------
    case
        The station.
    judged
        Every criterion, in the order of the table.
    hours
        The 24-hour table; None without alarm, spill or whole days.
    growth
        The years to come; None when growth is not given.
    """

    case: Case
    judged: tuple[Judged, ...]
    hours: StationHours | None
    growth: Growth | None


def criteria_of(station: Station, episode: Episode, result: Result | None = None) -> Fitness:
    """Return every criterion of a station, judged.

    It is judged as it is built: a bypass pump that can be brought does not count.

    Parameters
    ----------
    station, episode
        What stands there, and what arrives.
    result
        The episode as run; None to have it run here (a week of it at most).
    """
    case = Case(station.as_built(), episode)
    rates = rates_of(case)
    hours = hours_of(case)
    if result is None:
        short = episode
        if episode.duration_s > _RUN_S:
            events = tuple(event for event in episode.events if event.at_s < _RUN_S)
            short = replace(episode, duration_s=_RUN_S, events=events)
        result = simulate(station, short)
    judged = tuple(_all(case, rates, hours, result))
    return Fitness(case, judged, hours, growth_of(case, rates))


def _all(case: Case, rates: Rates, hours: StationHours | None, result: Result) -> Iterator[Judged]:
    yield from capacity(case)
    yield from velocity(case)
    yield from starts(case, rates)
    yield from filling(case)
    yield from levels(case)
    yield from alarm_to_spill(case, hours)
    yield from submergence(case)
    yield from engine_suction(case)
    yield from supply(case)
    yield from generator(case)
    yield from bypass(case)
    yield from surge(case)
    yield from balances(case, result)


def check(
    name: str, station: Station, episode: Episode, sources: Sequence[Source] = ()
) -> StudyResult:
    """Return the criteria of a station as a study.

    Parameters
    ----------
    name
        What the scenario is called.
    station, episode
        What stands there, and what arrives.
    sources
        The scenario that they came from.
    """
    fitness = criteria_of(station, episode)
    draw = {"margins": partial(_margins, fitness)}
    if fitness.growth is not None:
        draw["growth"] = partial(_growth, fitness)
    return StudyResult(
        study="check",
        subject=station.name,
        tables=_tables(name, fitness),
        tell=partial(text.sentences, fitness),
        show=partial(text.lines, fitness),
        draw=draw,
        findings=tuple(one.finding(_SI) for one in fitness.judged),
        asked={},
        sources=tuple(sources),
    )


_SI: System = "si"


def _margins(fitness: Fitness, system: System) -> Figure:
    from stationsim.plots import check as drawn  # heavy, and not needed with --no-plots

    return drawn.margins_figure(fitness, system)


def _growth(fitness: Fitness, system: System) -> Figure:
    from stationsim.plots import check as drawn

    return drawn.growth_figure(fitness, system)


def _tables(name: str, fitness: Fitness) -> dict[str, pd.DataFrame]:
    criteria = pd.DataFrame(
        [
            {
                "station": name,
                "criterion": one.criterion,
                "subject": one.subject,
                "verdict": one.verdict,
                "value": one.value,
                "side": one.side if one.verdict != "not judged" else "",
                "limit": one.limit,
                "margin": one.margin,
                "unit": SI_UNITS.get(one.unit, one.unit),
                "reason": one.reason,
                "source": one.source,
            }
            for one in fitness.judged
        ]
    )
    rows = [] if fitness.hours is None else fitness.hours.hours
    allowed = pd.DataFrame(
        [
            (name, row.day, row.date, row.weather, row.hour, row.inflow_m3s, row.from_alarm_s)
            for row in rows
        ],
        columns=["station", "day", "date", "weather", "hour", "inflow_m3s", "from_alarm_s"],
    )
    years = [] if fitness.growth is None else fitness.growth.years
    growth = pd.DataFrame([(name, *year) for year in years], columns=["station", *YearRow._fields])
    return {"criteria": criteria, "allowable_time": allowed, "growth": growth}

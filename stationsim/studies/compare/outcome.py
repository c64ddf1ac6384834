"""One setting, run: a task goes in, plain figures come out, in this process or in another.

Of a run only what is compared is kept; trace and tables go as soon as the figures are taken, so a
grid of two hundred years needs no more memory than one of them.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationsim import metrics
from stationsim.errors import InputError, StationSimError
from stationsim.inflow.known import KnownInflow
from stationsim.inflow.segments import Segments
from stationsim.simulation.session import simulate
from stationsim.studies.processes import each_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.station import Station

    Floats = NDArray[np.float64]

Row = tuple[str, str, float, str]
"""Metric, subject, value, unit."""

_HOUR_S = 3600.0
_DAY_POINT_S = 120.0
_BEHIND_THE_LEAD = ("lag", "second lag", "third lag", "standby")


@dataclass(frozen=True)
class Task:
    """One setting to be run.

    Parameters
    ----------
    label
        What the setting is called.
    station, episode
        What stands there and what happens.
    from_s, to_s
        The day whose levels are kept [s].
    """

    label: str
    station: Station
    episode: Episode
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Outcome:
    """What one setting came to.

    Parameters
    ----------
    label
        What the setting is called.
    rows
        Its figures.
    day_s, day_m
        Times of the chosen day [s] and levels above the floor [m].
    """

    label: str
    rows: tuple[Row, ...]
    day_s: Floats
    day_m: Floats

    def value(self, metric: str, subject: str = "station") -> float:
        """Return one figure; NaN when there is none.

        Parameters
        ----------
        metric, subject
            Of what.
        """
        found = (row[2] for row in self.rows if row[0] == metric and row[1] == subject)
        return next(found, math.nan)


def run_one(task: Task) -> Outcome:
    """Run one setting and return its figures.

    Parameters
    ----------
    task
        The setting.

    Raises
    ------
    StationSimError
        When the run cannot be made; it names the setting.
    """
    try:
        result = simulate(task.station, task.episode)
        times = _day_times(task, result)
        levels = result.level_at(times)
        return Outcome(task.label, tuple(figures(result)), times, levels)
    except StationSimError as error:
        kind = InputError if isinstance(error, InputError) else StationSimError
        raise kind(f"setting '{task.label}': {error}") from error


def run_all(
    tasks: Sequence[Task],
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> list[Outcome]:
    """Run every setting and return what each came to, in their order.

    Parameters
    ----------
    tasks
        The settings.
    processes
        How many processes may run at once; further ones are started only when the first run shows
        that they pay. What comes out does not depend on it.
    progress
        Told after each run how many are done, of how many.

    Raises
    ------
    StationSimError
        When a run cannot be made; it names the setting, and what still ran is given up.
    """
    return each_of(run_one, tasks, processes, progress)


def figures(result: Result) -> list[Row]:
    """Return the figures of a run that are compared.

    Parameters
    ----------
    result
        The run.
    """
    station = result.station
    rows: list[Row] = []
    worst: dict[str, float] = {}
    unproven_h: dict[str, float] = {}
    for own in result.pump_totals.to_dict("records"):
        name = str(own["pump"])
        idle_s = metrics.longest_not_run_s(result.pump_runs, name, result.trace.end_s)
        worst[name], unproven_h[name] = float(own["max_starts_per_hour"]), idle_s / _HOUR_S
        rows += [
            ("run hours", name, float(own["hours_h"]), "h"),
            ("starts", name, float(own["starts"]), ""),
            ("worst starts in an hour", name, worst[name], "1/h"),
            ("shortest off time", name, float(own["shortest_off_s"]), "s"),
            ("longest time not run", name, unproven_h[name], "h"),
            ("energy", name, float(own["energy_kwh"]), "kWh"),
        ]
    names = [pump.name for pump in station.pumps]
    rows += [(m, "station", float(v), u) for m, v, u in _of_station(result)]
    rows += [
        (
            "worst starts of one pump in an hour",
            "station",
            max(worst[name] for name in names),
            "1/h",
        ),
        ("longest time not run", "station", max(unproven_h[name] for name in names), "h"),
    ]
    return rows


def _of_station(result: Result) -> list[tuple[str, float, str]]:
    station, trace, runs = result.station, result.trace, result.pump_runs
    course, episode = result.course, result.episode
    hours = trace.end_s / _HOUR_S
    starts = np.sort(runs["start_s"].to_numpy(dtype=float))
    behind = int(runs["role"].isin(_BEHIND_THE_LEAD).sum())
    cycles = metrics.cycles_s(runs)
    none = len(cycles) == 0
    totals = result.pump_totals
    electric = totals["pump"].isin([pump.name for pump in station.pumps])
    energy = float(totals.loc[electric, "energy_kwh"].sum())
    lifted = float(totals.loc[electric, "volume_m3"].sum())
    monday_s = episode.start.weekday() * 86_400.0 + episode.clock_offset_s
    alarm_m = station.alarms.high_level_m
    above_h = math.nan if alarm_m is None else course.seconds_above(alarm_m) / _HOUR_S
    spills = trace.spills
    return [
        ("run hours", float(totals["hours_h"].sum()), "h"),
        ("starts", len(runs), ""),
        ("starts per hour", len(runs) / hours, "1/h"),
        ("worst starts in an hour", metrics.worst_in_window(starts), "1/h"),
        ("lag starts", behind, ""),
        ("lag starts per hour", behind / hours, "1/h"),
        ("mean cycle", math.nan if none else float(np.mean(cycles)), "s"),
        ("least cycle", math.nan if none else float(np.min(cycles)), "s"),
        ("greatest cycle", math.nan if none else float(np.max(cycles)), "s"),
        ("energy", energy, "kWh"),
        ("energy per volume", energy / lifted if lifted > 0.0 else math.nan, "kWh/m3"),
        ("energy cost", metrics.energy_cost(station, runs, monday_s), ""),
        ("least level", trace.least_level_m, "m"),
        ("mean level", course.mean_level_m(), "m"),
        ("greatest level", trace.greatest_level_m, "m"),
        ("hours above high-level alarm", above_h, "h"),
        ("spills", len(spills), ""),
        ("spill hours", sum(one.stop_s - one.start_s for one in spills) / _HOUR_S, "h"),
        ("volume spilled", trace.spilled_m3, "m3"),
        ("least time to spill", course.least_time_to_spill()[0], "s"),
        ("volume in", trace.inflow_m3, "m3"),
    ]


def _day_times(task: Task, result: Result) -> Floats:
    """Return a grid over the chosen day, and every switch in it: the corners of the level."""
    switches = np.asarray(result.trace.leg_t_s, dtype=float)
    grid = np.append(np.arange(task.from_s, task.to_s, _DAY_POINT_S), task.to_s)
    inside = switches[(switches > task.from_s) & (switches < task.to_s)]
    found: Floats = np.unique(np.concatenate((grid, inside)))
    return found


def with_known_inflow(episode: Episode, pieces: Segments) -> Episode:
    """Return an episode whose inflow is worked out already.

    Parameters
    ----------
    episode
        What happens.
    pieces
        The sum of its sources.
    """
    return dataclasses.replace(episode, inflow=(KnownInflow(pieces),))

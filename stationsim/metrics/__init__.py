"""What a run comes to in numbers: functions of tables and of the course of the water.

Every number is made from recorded switch times and from the exact solution between them, none from
the table interval.
The names of the metrics stand in :mod:`stationsim.vocabulary`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from stationsim.metrics.call_outs import of_people
from stationsim.metrics.main_age import main_ages
from stationsim.metrics.meters import lost_m3
from stationsim.physics.tariff import KWH_J

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stationsim.metrics.course import Course
    from stationsim.people.response import Response
    from stationsim.station import Station
    from stationsim.trace import Trace

    Floats = NDArray[np.float64]

HOUR_S = 3600.0
ONE_INSTANT_S = 1e-6
"""Closer than this is one instant (the same rule by which the simulation orders events) [s]."""

PUMP_TOTALS = (
    "pump",
    "hours_h",
    "starts",
    "max_starts_per_hour",
    "shortest_off_s",
    "longest_run_s",
    "volume_m3",
    "energy_kwh",
    "trips",
    "unavailable_h",
    "volume_by_hours_m3",
)
"""Columns of the table ``pump_totals``."""


def worst_in_window(times_s: Floats, window_s: float = HOUR_S) -> int:
    """Return the most events that any sliding window holds.

    Parameters
    ----------
    times_s
        Times of the events, rising [s].
    window_s
        Length of the window [s].

    Notes
    -----
    The window holds its beginning and not its end: events exactly one window apart are not in the
    same one. Some window that begins at an event is always among the worst, so only those are
    counted.
    """
    if len(times_s) == 0:
        return 0
    ends = np.searchsorted(times_s, times_s + (window_s - ONE_INSTANT_S), side="left")
    return int(np.max(ends - np.arange(len(times_s))))


def pump_totals(
    runs: pd.DataFrame,
    machines: Sequence[str],
    trips: Sequence[int],
    unavailable_s: Sequence[float],
) -> pd.DataFrame:
    """Return the table ``pump_totals``: one row for each machine, also for one that never ran.

    Parameters
    ----------
    runs
        Table ``pump_runs``.
    machines
        Names of the machines, in order.
    trips
        Trips of each machine.
    unavailable_s
        How long each machine could not be run by the controller [s].
    """
    rows: list[tuple[object, ...]] = []
    known = "volume_by_hours_m3" in runs
    for name, part in _by_machine(runs, machines):
        start, stop = part["start_s"].to_numpy(), part["stop_s"].to_numpy()
        rests = start[1:] - stop[:-1]
        which = len(rows)
        rows.append(
            (
                name,
                float(np.sum(stop - start)) / HOUR_S,
                len(start),
                worst_in_window(start),
                float(np.min(rests)) if len(rests) else np.nan,
                float(np.max(stop - start)) if len(start) else np.nan,
                float(part["volume_m3"].sum()),
                float(part["energy_kwh"].sum()),
                trips[which] if which < len(trips) else 0,
                unavailable_s[which] / HOUR_S,
                float(np.sum(part["volume_by_hours_m3"])) if known else np.nan,
            )
        )
    return pd.DataFrame(rows, columns=list(PUMP_TOTALS))


def cycles_s(runs: pd.DataFrame) -> Floats:
    """Return the cycle times of the station: from one start of a lead to the next [s].

    Parameters
    ----------
    runs
        Table ``pump_runs``.
    """
    starts = np.sort(runs.loc[runs["role"] == "lead", "start_s"].to_numpy(dtype=float))
    return np.diff(starts)


def seconds_by_number(runs: pd.DataFrame, end_s: float) -> dict[int, float]:
    """Return how long exactly none, one, two ... pumps ran [s].

    Parameters
    ----------
    runs
        Table ``pump_runs``.
    end_s
        Where the run ended [s].
    """
    times, counts = running_over_time(runs)
    edges = np.append(times, end_s)
    spans = np.diff(edges)
    return {
        int(number): float(np.sum(spans[counts == number]))
        for number in np.unique(counts[spans > ONE_INSTANT_S])
    }


def running_over_time(runs: pd.DataFrame) -> tuple[Floats, NDArray[np.int64]]:
    """Return the times at which the number of running pumps changes [s], and the number from then.

    Parameters
    ----------
    runs
        Table ``pump_runs``.
    """
    times = np.concatenate(
        ([0.0], runs["start_s"].to_numpy(dtype=float), runs["stop_s"].to_numpy(dtype=float))
    )
    steps = np.concatenate(([0], np.ones(len(runs), int), -np.ones(len(runs), int)))
    order = np.argsort(times, kind="stable")
    times, counts = times[order], np.cumsum(steps[order])
    # of several changes at one instant only the last counts
    last = np.append(np.diff(times) > ONE_INSTANT_S, np.True_)
    return times[last], counts[last]


def longest_not_run_s(runs: pd.DataFrame, machine: str, end_s: float) -> float:
    """Return the longest time for which a machine went without a run [s].

    Parameters
    ----------
    runs
        Table ``pump_runs``.
    machine
        Its name.
    end_s
        Where the run ended [s].
    """
    own = runs.loc[runs["pump"] == machine]
    begins = np.append(own["start_s"].to_numpy(dtype=float), end_s)
    ends = np.concatenate(([0.0], own["stop_s"].to_numpy(dtype=float)))
    return float(np.max(begins - ends))


def fuel_m3(station: Station, name: str, engine_hours_h: float, filled_m3: float = 0.0) -> float:
    """Return the fuel that a pump with an engine burnt [m3], never more than there was.

    Parameters
    ----------
    station
        What stands there.
    name
        The pump; nought for one without an engine.
    engine_hours_h
        How long it ran [h].
    filled_m3
        What was filled into its tank meanwhile [m3].
    """
    engine = station.engine_named(name)
    if engine is None:
        return 0.0
    return min(engine.fuel_m3_per_s * engine_hours_h * HOUR_S, engine.tank_m3 + filled_m3)


def energy_cost(station: Station, runs: pd.DataFrame, monday_s: float) -> float:
    """Return what the energy of all runs costs, in the currency of the tariff; NaN without one.

    Parameters
    ----------
    station
        What stands there.
    runs
        Table ``pump_runs``.
    monday_s
        From the midnight before the week's Monday to the start of the run, by the local clock [s].
    """
    tariff = station.tariff
    if tariff is None:
        return np.nan
    drawn = runs.loc[runs["energy_kwh"] > 0.0]
    starts, stops = drawn["start_s"] + monday_s, drawn["stop_s"] + monday_s
    energies = drawn["energy_kwh"] * KWH_J
    return sum(map(tariff.cost, energies.tolist(), starts.tolist(), stops.tolist()), 0.0)


def summary(
    station: Station,
    trace: Trace,
    tables: dict[str, pd.DataFrame],
    course: Course,
    *,
    monday_s: float = 0.0,
    response: Response | None = None,
) -> pd.DataFrame:
    """Return the table ``summary``; a metric that does not apply has no value.

    Parameters
    ----------
    station, trace
        What stood there, and what the run left behind.
    tables
        ``pump_runs``, ``pump_totals``, ``alarms``, ``spills`` and ``meters``.
    course
        The course of the water.
    monday_s
        From the midnight before the week's Monday to the start of the run, by the local clock [s];
        matters where energy has a price by the hour.
    response
        Who answers for the station; None for nobody.
    """
    rows: list[tuple[str, str, float, str]] = []
    for name in station.machine_names():
        rows.extend(_of_machine(station, name, tables, trace))
    for name, burnt_m3 in trace.fuel_m3.items():
        rows.append(("fuel burnt", name, burnt_m3, "m3"))
    rows.extend(_of_station(station, trace, tables, course))
    rows.extend(_of_cost_and_age(station, tables, course, monday_s))
    rows.extend(of_people(trace, response))
    for number, seconds in seconds_by_number(tables["pump_runs"], trace.end_s).items():
        rows.append(("hours with n running", f"{number} running", seconds / HOUR_S, "h"))
    return pd.DataFrame(rows, columns=["metric", "subject", "value", "unit"])


def _of_machine(
    station: Station, name: str, tables: dict[str, pd.DataFrame], trace: Trace
) -> list[tuple[str, str, float, str]]:
    runs, totals = tables["pump_runs"], tables["pump_totals"]
    own = totals.loc[totals["pump"] == name].iloc[0]
    leads = runs.loc[runs["role"] == "lead", "pump"]
    rows = [
        ("run hours", name, own["hours_h"], "h"),
        ("starts", name, own["starts"], ""),
        ("worst starts in an hour", name, own["max_starts_per_hour"], "1/h"),
        ("shortest off time", name, own["shortest_off_s"], "s"),
        ("longest run", name, own["longest_run_s"], "s"),
        ("volume pumped", name, own["volume_m3"], "m3"),
        ("trips", name, own["trips"], ""),
        ("unavailable hours", name, own["unavailable_h"], "h"),
        ("longest time not run", name, longest_not_run_s(runs, name, trace.end_s) / HOUR_S, "h"),
    ]
    if station.engine_named(name) is not None:
        filled_m3 = trace.filled_m3.get(name, 0.0)
        burnt_m3 = fuel_m3(station, name, own["hours_h"], filled_m3)
        rows.append(("fuel burnt", name, burnt_m3, "m3"))
    else:
        share = float((leads == name).mean()) if len(leads) else np.nan
        per_volume = own["energy_kwh"] / own["volume_m3"] if own["volume_m3"] > 0.0 else np.nan
        rows += [
            ("energy", name, own["energy_kwh"], "kWh"),
            ("energy per volume", name, per_volume, "kWh/m3"),
            ("share of lead", name, share, ""),
        ]
    return [(metric, subject, float(value), unit) for metric, subject, value, unit in rows]


def _of_station(
    station: Station,
    trace: Trace,
    tables: dict[str, pd.DataFrame],
    course: Course,
) -> list[tuple[str, str, float, str]]:
    runs, totals, spills = tables["pump_runs"], tables["pump_totals"], tables["spills"]
    cycles = cycles_s(runs)
    none = len(cycles) == 0
    electric = totals.loc[totals["pump"].isin([pump.name for pump in station.pumps])]
    lifted, energy = float(electric["volume_m3"].sum()), float(electric["energy_kwh"].sum())
    engines = zip(totals["pump"], totals["hours_h"], strict=True)
    burnt_m3 = sum(
        fuel_m3(station, name, float(hours_h), trace.filled_m3.get(name, 0.0))
        for name, hours_h in engines
    )
    alarm_m = station.alarms.high_level_m
    above = np.nan if alarm_m is None else course.seconds_above(alarm_m) / HOUR_S
    least, least_at = course.least_time_to_spill()
    _, counts = running_over_time(runs)
    values: list[tuple[str, float, str]] = [
        ("run hours", float(totals["hours_h"].sum()), "h"),
        ("starts", float(totals["starts"].sum()), ""),
        ("worst starts in an hour", worst_in_window(np.sort(runs["start_s"].to_numpy())), "1/h"),
        ("mean cycle", np.nan if none else float(np.mean(cycles)), "s"),
        ("least cycle", np.nan if none else float(np.min(cycles)), "s"),
        ("greatest cycle", np.nan if none else float(np.max(cycles)), "s"),
        ("fuel burnt", burnt_m3 + sum(trace.fuel_m3.values()), "m3"),
        ("energy", energy, "kWh"),
        ("energy per volume", energy / lifted if lifted > 0.0 else np.nan, "kWh/m3"),
        ("volume in", trace.inflow_m3, "m3"),
        ("volume pumped", trace.pumped_m3, "m3"),
        ("volume spilled", trace.spilled_m3, "m3"),
        ("volume run back", trace.run_back_m3, "m3"),
        ("volume by the station meter", float(tables["meters"]["station_meter_m3"].sum()), "m3"),
        ("volume by the plant meter", float(tables["meters"]["plant_meter_m3"].sum()), "m3"),
        ("volume lost from the main", lost_m3(course), "m3"),
        ("balance error", trace.balance_error, ""),
        ("hours above high-level alarm", above, "h"),
        ("spills", len(spills), ""),
        ("spill hours", float(spills["duration_s"].sum()) / HOUR_S, "h"),
        ("least level", trace.least_level_m, "m"),
        ("mean level", course.mean_level_m(), "m"),
        ("greatest level", trace.greatest_level_m, "m"),
        ("time of greatest level", trace.greatest_level_s, "s"),
        ("least time to spill", least, "s"),
        ("time of least time to spill", least_at, "s"),
        ("alarms", len(tables["alarms"]), ""),
        ("most pumps running", int(np.max(counts)), ""),
    ]
    if trace.hauled_m3 > 0.0:
        values.append(("volume hauled", trace.hauled_m3, "m3"))
    return [(metric, "station", float(value), unit) for metric, value, unit in values]


def _of_cost_and_age(
    station: Station, tables: dict[str, pd.DataFrame], course: Course, monday_s: float
) -> list[tuple[str, str, float, str]]:
    totals = tables["pump_totals"]
    electric = totals["pump"].isin([pump.name for pump in station.pumps])
    lifted = float(totals.loc[electric, "volume_m3"].sum())
    cost = energy_cost(station, tables["pump_runs"], monday_s)
    ages = main_ages(station, course)
    return [
        ("energy cost", "station", cost, ""),
        ("energy cost per volume", "station", cost / lifted if lifted > 0.0 else np.nan, "1/m3"),
        ("mean age of water leaving the main", "station", ages.mean_s / HOUR_S, "h"),
        ("greatest age of water leaving the main", "station", ages.greatest_s / HOUR_S, "h"),
    ]


def _by_machine(runs: pd.DataFrame, machines: Sequence[str]) -> list[tuple[str, pd.DataFrame]]:
    """Return the runs of each machine in the order of time."""
    groups = dict(list(runs.sort_values("start_s", kind="stable").groupby("pump", sort=False)))
    return [(name, groups.get(name, runs.iloc[:0])) for name in machines]

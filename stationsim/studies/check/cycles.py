"""Criteria of starts: active volume, starts in an hour and rest at the worst steady inflow.

The starts are counted in runs of the station itself, controller and rotation included, at steady
inflows: at half of what each lineup adds, where a cycle is shortest, and between. So delays, unlike
pumps, staged stops and rotations by the clock count as they are.

References
----------
Shortest cycle T = 4 V / D at an inflow of half the pump's flow D: MIL-HDBK-1005/9A (1997) 2.5.3.6;
half the volume when two pumps alternate: US Army EI 11C201 (1997), 7.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from stationsim.episode import Episode
from stationsim.inflow.daily import Constant
from stationsim.outline import set_levels
from stationsim.physics.electrics import start_limit
from stationsim.simulation.session import simulate
from stationsim.studies.check.capacity import Age, ages, flow_m3s
from stationsim.studies.check.criterion import Case, Judged, judge, limit_source, not_judged
from stationsim.units import show

_CYCLES, _RUN_IN = 14, 4
_BETWEEN = (0.1, 0.25, 0.4, 0.6, 0.75, 0.9)
_LONGEST_S = 4.0 * 86_400.0

MG10 = "NEMA MG 10, Table 2-3, as reprinted in the EASA handbook (read 2026)"
VOLUME_SOURCE = "MIL-HDBK-1005/9A (1997) 2.5.3.6: T = 4 V / D; halved by alternation, EI 11C201"


class Worst(NamedTuple):
    """The worst that steady inflows do to one pump.

    Parameters
    ----------
    per_hour, at_m3s
        Most starts in an hour [1/h], and at which inflow [m3/s].
    rest_s, rest_at_m3s
        Shortest rest [s], and at which inflow [m3/s].
    """

    per_hour: float
    at_m3s: float
    rest_s: float
    rest_at_m3s: float


Rates = dict[float, dict[str, tuple[float, float]]]
"""Steady inflow [m3/s] -> pump -> starts in an hour [1/h] and shortest rest [s]."""


def rates_of(case: Case) -> Rates:
    """Return starts and rest of each pump at each steady inflow.

    Parameters
    ----------
    case
        The station.
    """
    return {inflow: _starts_at(case, inflow) for inflow in steady_inflows(case)}


def worst_starts(case: Case, rates: Rates) -> dict[str, Worst]:
    """Return the most starts in an hour and the shortest rest of each pump over steady inflows.

    Parameters
    ----------
    case
        The station.
    rates
        What :func:`rates_of` found.
    """
    found = {pump.name: Worst(0.0, math.nan, math.inf, math.nan) for pump in case.station.pumps}
    for inflow, by_pump in rates.items():
        for name, (per_hour, rest_s) in by_pump.items():
            worst = found[name]
            if per_hour > worst.per_hour:
                worst = worst._replace(per_hour=per_hour, at_m3s=inflow)
            if rest_s < worst.rest_s:
                worst = worst._replace(rest_s=rest_s, rest_at_m3s=inflow)
            found[name] = worst
    return found


def steady_inflows(case: Case) -> list[float]:
    """Return the steady inflows that are tried: half of what each lineup adds, and between [m3/s].

    Parameters
    ----------
    case
        The station.
    """
    age = Age("", case.station.force_main)
    levels = dict(set_levels(case.station))
    low, high = levels.get("stop", 0.0), levels.get("lead start", 1.0)
    count = len(case.station.pumps)
    edges = [0.0]
    edges += [
        flow_m3s(case, age, tuple(range(number)), 0.5 * (low + high))
        for number in range(1, count + 1)
    ]
    found = []
    for below, above in itertools.pairwise(edges):
        step = above - below
        if step > 1e-9:
            found += [below + part * step for part in sorted((0.5, *_BETWEEN))]
    return found


def _starts_at(case: Case, inflow_m3s: float) -> dict[str, tuple[float, float]]:
    """Return starts in an hour and the shortest rest of each pump, once the cycle repeats."""
    station = case.station
    volume = station.well.volume_at(_top_start(case)) - station.well.volume_at(0.0)
    cycle_s = max(volume / inflow_m3s, 60.0)
    count = len(station.pumps)
    episode = Episode(
        start=case.episode.start,
        duration_s=min(_CYCLES * count * cycle_s, _LONGEST_S),
        inflow=(Constant(inflow_m3s),),
        start_level_m=_top_start(case),
    )
    runs = simulate(station, episode).trace.runs
    names = station.machine_names()
    found = {}
    for index in range(count):
        own = sorted((run.start_s, run.stop_s) for run in runs if run.machine == index)
        starts = np.array([start for start, _ in own][_RUN_IN // 2 :])
        stops = np.array([stop for _, stop in own][_RUN_IN // 2 :])
        if len(starts) < 3:
            found[names[index]] = (0.0, math.inf)
            continue
        per_hour = 3600.0 * (len(starts) - 1) / (starts[-1] - starts[0])
        found[names[index]] = (float(per_hour), float(np.min(starts[1:] - stops[:-1])))
    return found


def _top_start(case: Case) -> float:
    stages = getattr(case.station.control.settings, "stages", None)
    starts = [start for _role, start, _stop in stages()] if callable(stages) else []
    return max(starts, default=0.5 * case.station.well.levels_m[-1])


def starts(case: Case, rates: Rates) -> Iterator[Judged]:
    """Judge active volume, starts in an hour and rest at the worst steady inflow.

    Parameters
    ----------
    case
        The station.
    rates
        What :func:`rates_of` found.
    """
    worst = worst_starts(case, rates)
    limits = case.ratings.limits
    yield from _active_volume(case, limits.most_starts_per_hour)
    for name, one in worst.items():
        reason = "worst of steady inflows"
        if not math.isnan(one.at_m3s):
            reason += f", at {show(one.at_m3s, 'flow', 'si')}"
        reason += f", with the rotation '{case.station.control.rotation}'"
        plate = case.ratings.plates.get(name)
        own = plate.most_starts_per_hour if plate is not None else None
        limit = limits.most_starts_per_hour if own is None else own
        source = limit_source(case, "most_starts_per_hour") if own is None else "maker's plate"
        yield judge(
            "starts in an hour", name, one.per_hour, "at most", limit, "1/h", reason, source
        )
        if plate is None or plate.rated_w is None or plate.poles is None:
            yield not_judged(
                "motor starts by size", name, f"pump.{name}.plate: rated_power, poles", MG10
            )
            continue
        size = start_limit(plate.rated_w, plate.poles, plate.load_inertia_kgm2)
        if size is None:
            needs = "a motor of 2, 4 or 6 poles up to 250 hp, or the maker's own limit"
            yield not_judged("motor starts by size", name, needs, MG10)
            continue
        inertia = "" if plate.load_inertia_kgm2 else ", inertia of the load left out"
        which = f"{size.size_hp:g} hp, {plate.poles} poles{inertia}"
        yield judge(
            "motor starts by size", name, one.per_hour, "at most", size.per_hour, "1/h", which, MG10
        )
        rest = one.rest_s
        off = max(size.off_s, plate.least_off_s or 0.0)
        yield judge("rest between runs", name, rest, "at least", off, "duration", which, MG10)


def turns(case: Case) -> int:
    """Return how many pumps share the starts of the lead under the rotation in use.

    Parameters
    ----------
    case
        The station.
    """
    shared = case.station.control.rotation in ("each cycle", "run hours")
    return len(case.station.pumps) if shared else 1


def _active_volume(case: Case, most_per_hour: float) -> Iterator[Judged]:
    """Judge the volume between stop and lead start against T D / (4 n)."""
    levels = dict(set_levels(case.station))
    if "stop" not in levels or "lead start" not in levels:
        yield not_judged("active volume", "station", "a stop level and a lead start")
        return
    low, high = levels["stop"], levels["lead start"]
    well = case.station.well
    volume = well.volume_at(high) - well.volume_at(low)
    n = turns(case)
    for age in ages(case)[:1]:  # new pipe draws most, and needs most
        every = range(len(case.station.pumps))
        draws = max(flow_m3s(case, age, (i,), 0.5 * (low + high)) for i in every)
        needed = 3600.0 / most_per_hour * draws / (4.0 * n)
        yield judge(
            "active volume",
            "station",
            volume,
            "at least",
            needed,
            "volume",
            f"T D / (4 n): {most_per_hour:g} starts an hour, D {show(draws, 'flow', 'si')},"
            f" {n} taking turns",
            VOLUME_SOURCE,
        )

"""Starts and rest of each pump at steady inflows, counted in runs of the station itself.

The inflow goes up in steps: at half of what each lineup adds, where a cycle is often shortest, and
between. A second run goes in finer steps about the inflows at which a pump starts most; not so for
a controller that tells no calls. Controller and rotation are the station's own, so delays, unlike
pumps, staged stops and rotations by the clock count as they are. Between two steps nothing arrives
for a while and all pumps stop. Where it depends on the rotation which pump takes the starts, a step
comes as often as there are pumps.

References
----------
Shortest cycle T = 4 V / D at an inflow of half the pump's flow D, the same of a lag pump with what
it adds: MIL-HDBK-1005/9A (1997) 2.5.3.6; US Army EI 11C201 (1997), 7.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.control.staging import ALL_TOGETHER, LAST_ON_FIRST_OFF
from stationsim.episode import Episode
from stationsim.inflow.segments import Segments, from_points
from stationsim.outline import set_levels
from stationsim.simulation.session import simulate
from stationsim.studies.check.capacity import Age, flow_m3s
from stationsim.studies.check.criterion import Case, high_water, low_water, stages_of

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.station import Station
    from stationsim.trace import PumpRun

FIRST = (0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9)
"""Parts of the flow of the lead that are tried [-]."""

FURTHER = (0.25, 0.5, 0.75, 0.95)
"""Parts of what each further pump adds [-]."""

FINER = 5
"""Inflows of the second run on either side of the worst of the first, up to its neighbours [-]."""

_SHORTEST = 0.5
_FEW = (0.25, 0.5, 0.75)
_RUN_IN = 2
_ALIKE = 0.01
_SAME = 1e-6
_NEARLY = 0.85
"""Part of the most starts from which an inflow is looked at more finely [-]."""

_SPARE = 1.2
_FIRST_S = 60.0
_LEAST_FLOW_M3S = 1e-7
_LEAST_RISE_M = 0.01


class Count(NamedTuple):
    """What a steady inflow makes of one pump.

    Parameters
    ----------
    per_hour
        Starts in an hour [1/h].
    rest_s
        Shortest rest between two runs [s].
    """

    per_hour: float
    rest_s: float


Rates = dict[float, dict[str, Count]]
"""Steady inflow [m3/s] -> pump -> what it makes of it; a pump that does not cycle is left out."""


@dataclass(frozen=True)
class Steps:
    """An inflow that holds, and then changes at once.

    Parameters
    ----------
    times_s
        When each flow begins [s].
    flows_m3s
        The flows [m3/s].
    """

    times_s: tuple[float, ...]
    flows_m3s: tuple[float, ...]

    def segments(self, start: datetime, duration_s: float) -> Segments:
        """Return the inflow over an episode.

        Parameters
        ----------
        start
            Local time at which the episode begins; of no account.
        duration_s
            How long it lasts [s]; of no account.
        """
        del start, duration_s
        return from_points(self.times_s, self.flows_m3s, steps=True)


class _Step(NamedTuple):
    """One steady inflow: how long it lasts, how long nothing arrives after it, and how often.

    ``group`` is after how many starts of a pump its intervals repeat.
    """

    inflow_m3s: float
    lasts_s: float
    pause_s: float
    times: int
    group: int


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
        for name, one in by_pump.items():
            worst = found[name]
            if one.per_hour > worst.per_hour:
                worst = worst._replace(per_hour=one.per_hour, at_m3s=inflow)
            if one.rest_s < worst.rest_s:
                worst = worst._replace(rest_s=one.rest_s, rest_at_m3s=inflow)
            found[name] = worst
    return found


def rates_of(case: Case) -> Rates:
    """Return starts and rest of each pump at each steady inflow.

    Parameters
    ----------
    case
        The station.
    """
    first = _run(case, _steps(case))
    if not stages_of(case.station):  # a panel that scans every second is slow to follow
        return first
    finer = [step for inflow in _about_the_worst(case, first) if (step := _step_at(case, inflow))]
    return dict(sorted((first | _run(case, finer)).items()))


def _about_the_worst(case: Case, rates: Rates) -> list[float]:
    """Return the inflows about those at which each pump starts most, up to their neighbours."""
    tried = sorted(rates)
    ends = [0.0, *tried, max((flows[-1] for flows in _lineups(case).flows), default=0.0)]
    tops: set[int] = set()
    for name, worst in worst_starts(case, rates).items():
        made = [rates[q][name].per_hour if name in rates[q] else 0.0 for q in tried]
        beside = [0.0, *made, 0.0]
        tops |= {
            n
            for n, rate in enumerate(made)
            if rate > 0.0
            and rate >= _NEARLY * worst.per_hour
            and rate >= max(beside[n], beside[n + 2])
        }
    found: list[float] = []
    for n in sorted(tops):
        for end in (ends[n], ends[n + 2]):
            for part in range(1, FINER + 1):
                inflow = tried[n] + part / (FINER + 1) * (end - tried[n])
                if not any(abs(inflow - one) < _SAME * inflow for one in [*tried, *found]):
                    found.append(inflow)
    return sorted(found)


def _run(case: Case, steps: list[_Step]) -> Rates:
    """Return what comes of some steady inflows, one after the other, in one run."""
    times, flows = [0.0], [0.0]
    windows: list[_Window] = []
    now = _FIRST_S
    for step in steps:
        for _ in range(step.times):
            windows.append(_Window(step.inflow_m3s, now, now + step.lasts_s, step.group))
            times += [now, now + step.lasts_s]
            flows += [step.inflow_m3s, 0.0]
            now += step.lasts_s + step.pause_s
    if not windows:
        return {}
    episode = Episode(
        start=case.episode.start,
        duration_s=now,
        inflow=(Steps(tuple(times), tuple(flows)),),
        start_level_m=low_water(case.station).level_m,
    )
    as_it_works = replace(case.station, exercise=None)  # an exercise run is no cycle
    return _counted(case, windows, simulate(as_it_works, episode).trace.runs)


class _Window(NamedTuple):
    """While a steady inflow holds."""

    inflow_m3s: float
    from_s: float
    to_s: float
    group: int


def _counted(case: Case, windows: list[_Window], runs: list[PumpRun]) -> Rates:
    """Return what came of each steady inflow; of its repetitions the worst for each pump."""
    found: Rates = {}
    for index, pump in enumerate(case.station.pumps):
        own = sorted((run.start_s, run.stop_s) for run in runs if run.machine == index)
        starts = np.array([start for start, _stop in own])
        stops = np.array([stop for _start, stop in own])
        for inflow, from_s, to_s, group in windows:
            by_pump = found.setdefault(inflow, {})
            low, high = np.searchsorted(starts, (from_s, to_s))
            begun = starts[low + _RUN_IN : high]
            # whole turns of the rotation, so that unequal intervals within one do not matter
            whole = (len(begun) - 1) // group * group
            if whole < 1:
                continue
            if _takes_turns(case):
                per_hour = 3600.0 * whole / float(begun[whole] - begun[0])
            else:  # under the clock a pump leads for a while, and then it does not
                per_hour = 3600.0 / float(np.min(np.diff(begun)))
            rest_s = float(np.min(begun[1:] - stops[low + _RUN_IN : high - 1]))
            before = by_pump.get(pump.name, Count(0.0, math.inf))
            by_pump[pump.name] = Count(max(per_hour, before.per_hour), min(rest_s, before.rest_s))
    return found


def steady_inflows(case: Case) -> list[float]:
    """Return the steady inflows that are tried, rising [m3/s].

    Parameters
    ----------
    case
        The station.
    """
    return sorted({step.inflow_m3s for step in _steps(case)})


def _takes_turns(case: Case) -> bool:
    """Return whether the lead may change from one cycle to the next."""
    return case.station.control.rotation not in ("fixed", "clock")


class _Call(NamedTuple):
    """One call: the levels at which its pump starts and stops [m above floor]."""

    start_m: float
    stop_m: float


def _calls(case: Case) -> list[_Call]:
    """Return the calls that can be filled; of an unknown controller one pair of levels for all."""
    station = case.station
    count = len(station.pumps)
    stages = stages_of(station)
    if stages:
        return [_Call(start, stop) for _role, start, stop in stages[:count]]
    levels = dict(set_levels(station))
    stop = levels.get("stop", 0.0)
    start = levels.get("lead start", high_water(station).level_m)
    return [_Call(max(start, stop + _LEAST_RISE_M), stop)] * count


def _steps(case: Case) -> list[_Step]:
    """Return the steady inflows in the order in which they come, the lead's own first."""
    calls, orders, flows = _lineups(case)
    known = bool(stages_of(case.station))
    tried: list[float] = []
    found = []
    for n in range(len(calls)):
        for order, given in zip(orders, flows, strict=True):
            below, above = given[n], given[n + 1]
            if above - below <= _LEAST_FLOW_M3S:
                continue
            parts: tuple[float, ...] = (_SHORTEST,)
            if order is orders[0]:
                parts = FIRST if n == 0 else FURTHER
            if not known:  # a panel that scans every second is slow to follow
                parts = _FEW if n == 0 else (_SHORTEST,)
            for part in parts:
                inflow = below + part * (above - below)
                if any(abs(inflow - one) < _ALIKE * inflow for one in tried):
                    continue
                tried.append(inflow)
                if _cycle(case, calls[: n + 1], order, inflow) is not None:
                    found.append(_step(case, calls, n + 1, orders, inflow))
    return found


class _Lineups(NamedTuple):
    """The calls, the orders in which pumps may follow them, and what each order gives [m3/s]."""

    calls: list[_Call]
    orders: list[list[int]]
    flows: list[list[float]]


def _lineups(case: Case) -> _Lineups:
    """Return who may run with whom, whichever pump leads."""
    calls, count = _calls(case), len(case.station.pumps)
    leads = range(count if case.station.control.rotation != "fixed" else 1)
    orders = [[(lead + n) % count for n in range(count)] for lead in leads]
    return _Lineups(calls, orders, [_together(case, calls, order) for order in orders])


def _step_at(case: Case, inflow_m3s: float) -> _Step | None:
    """Return an inflow as a step by the first lineup that cycles at it; None where none does."""
    calls, orders, flows = _lineups(case)
    for n in range(len(calls)):
        for order, given in zip(orders, flows, strict=True):
            within = given[n] < inflow_m3s < given[n + 1]
            if within and _cycle(case, calls[: n + 1], order, inflow_m3s) is not None:
                return _step(case, calls, n + 1, orders, inflow_m3s)
    return None


def _together(case: Case, calls: list[_Call], order: list[int]) -> list[float]:
    """Return what none, one, two ... pumps give together, half-way up from stop to start [m3/s]."""
    age = Age("", case.station.force_main)
    flows = [0.0]
    for n, call in enumerate(calls, start=1):
        middle = 0.5 * (call.start_m + call.stop_m)
        flows.append(max(flow_m3s(case, age, order[:n], middle), flows[-1]))
    return flows


class _Cycle(NamedTuple):
    """How long the water takes to the last start level at first, and a cycle from then on [s]."""

    rise_s: float
    cycle_s: float


def _cycle(case: Case, calls: list[_Call], order: list[int], inflow_m3s: float) -> _Cycle | None:
    """Return how long a cycle takes in which all these calls come.

    None where there is none: the pumps that are called are too weak at the stop level, or those
    that run before hold the water below the last start level.
    """
    station = case.station
    called, last = len(calls), calls[-1]

    def takes_s(low_m: float, high_m: float, running: int) -> float:
        """Return how long the water takes over a height while some pumps run [s]."""
        volume = station.well.volume_at(high_m) - station.well.volume_at(low_m)
        age = Age("", station.force_main)
        found = 0.0
        for level, weight in ((low_m, 1.0), (0.5 * (low_m + high_m), 4.0), (high_m, 1.0)):
            net = flow_m3s(case, age, order[:running], level) - inflow_m3s
            gap = net if running == called else -net
            if gap <= _LEAST_FLOW_M3S:
                return math.inf
            found += weight / 6.0 / gap
        return volume * found

    levels = [low_water(station).level_m, *(call.start_m for call in calls)]
    rise_s = sum(
        takes_s(low, high, running)
        for running, (low, high) in enumerate(itertools.pairwise(levels))
    )
    again_s = rise_s
    if _staged(station, called):
        again_s = takes_s(last.stop_m, last.start_m, called - 1)
    cycle_s = again_s + takes_s(last.stop_m, last.start_m, called)
    return _Cycle(rise_s, cycle_s) if math.isfinite(rise_s + cycle_s) else None


def _staged(station: Station, called: int) -> bool:
    """Return whether the last of some calls ends at a stop level of its own."""
    policy = getattr(station.control.settings, "stop_policy", ALL_TOGETHER)
    return called > 1 and policy != ALL_TOGETHER


def _step(
    case: Case, calls: list[_Call], called: int, orders: list[list[int]], inflow_m3s: float
) -> _Step:
    """Return how long an inflow must hold for the cycles that are counted, and how often."""
    station = case.station
    settings, rotation = station.control.settings, station.control.rotation
    # the slowest of the pumps that may lead; one that is too weak calls the next
    slowest = [
        _cycle(case, calls[:called], order, inflow_m3s)
        or _cycle(case, calls[: called + 1], order, inflow_m3s)
        or _Cycle(0.0, 0.0)
        for order in orders
    ]
    rise_s, cycle_s = (max(one[n] for one in slowest) for n in (0, 1))
    delays = ("start_delay_s", "stop_delay_s", "stagger_s")
    cycle_s += 2.0 * sum(getattr(settings, name, 0.0) for name in delays)
    cycle_s += max(pump.min_off_s for pump in station.pumps)
    staged, count = _staged(station, called), len(station.pumps)
    takes_turns = _takes_turns(case)
    last_first = getattr(settings, "stop_policy", "") == LAST_ON_FIRST_OFF
    alternates = takes_turns and not (staged and last_first)
    group = called if alternates and not staged else 1
    cycles = (_RUN_IN + group + 1) * (count / group if alternates else 1.0) + 1.0
    lasts_s = rise_s + _SPARE * cycles * cycle_s
    every_s = getattr(station.control.rotation_settings, "every_s", 0.0)
    if 0.0 < every_s < 2.0 * lasts_s:  # the clock changes the lead meanwhile: each has its turn
        lasts_s = 2.0 * lasts_s + 2.0 * count * every_s
    known = bool(stages_of(station))
    often = 1 if rotation == "fixed" or (takes_turns and not staged and known) else count
    # time for all that stands in the well to be pumped out, and for the clock to change the lead
    empty_s = station.well.volume_at(calls[called - 1].start_m) / inflow_m3s
    return _Step(inflow_m3s, lasts_s, 2.0 * empty_s + cycle_s + every_s, often, group)

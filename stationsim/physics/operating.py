"""The flow of a lineup at a level, and the bands in which it is straight over volume.

A lineup is the set of machines that run together. Each pump's curve, less the loss of its own
branch, meets one header head; the sum of their flows makes the loss of the force main, above the
static lift from the well's level. Check valves keep any flow from being negative.

Bands. The balance wants the outflow as straight lines over the stored volume. Chords of a curve
err to one side, and over many cycles that error adds up: a pump that is always taken for 0.01 % too
strong is minutes ahead after a month. So the knots are moved off the curve by two thirds of the
greatest error of the chords beside them, which makes the mean error nought for a parabola, and the
inner knots of each stretch between marks (control levels, kinks of the well, kinks of the curves)
are then shifted together so that the mean error of the stretch is nought in fact. What is left is
of second order. Bands are halved until the greatest error of any chord is below ``FINENESS`` of the
outflow; there is nothing to set.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from scipy.optimize import brentq

from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import HydraulicError
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well

FINENESS = 1e-5
"""Greatest error of a chord before the knots are moved, as a part of the outflow [-]."""

_WEIR_FINENESS = 5e-4
_LEAST_FLOW = 1e-7
_MOST_HALVINGS = 12


@dataclass(frozen=True)
class OperatingPoint:
    """Where a lineup works at one level.

    Parameters
    ----------
    flows_m3s
        Flow of each machine [m3/s].
    pump_heads_m
        Total head of each machine [m]; NaN for one of fixed flow.
    header_m
        Head at the header above the well's level [m]; NaN when there is no force main.
    total_m3s
        Flow of them all [m3/s].
    """

    flows_m3s: tuple[float, ...]
    pump_heads_m: tuple[float, ...]
    header_m: float
    total_m3s: float


@dataclass(frozen=True)
class Lineup:
    """One lineup over stored volume, straight in bands.

    Parameters
    ----------
    running
        Indices of the machines that run.
    edge_m3
        Lower edge of each band [m3], rising from 0; the last band is open.
    out_m3s, out_slope
        All that leaves at the lower edge [m3/s], and its change with volume [1/s].
    pump_m3s, pump_slope
        The same for each running machine.
    power_w, power_slope
        Electrical input of each running machine [W], and its change with volume [W/m3].
    spill_m3s, spill_slope
        The same for what goes over the weir; plain loss is no function of volume and is not here.
    """

    running: tuple[int, ...]
    edge_m3: tuple[float, ...]
    out_m3s: tuple[float, ...]
    out_slope: tuple[float, ...]
    pump_m3s: tuple[tuple[float, ...], ...]
    pump_slope: tuple[tuple[float, ...], ...]
    power_w: tuple[tuple[float, ...], ...]
    power_slope: tuple[tuple[float, ...], ...]
    spill_m3s: tuple[float, ...]
    spill_slope: tuple[float, ...]


class _Supply:
    """One pump as the header sees it: flow over header head."""

    def __init__(self, unit: PumpUnit) -> None:
        self.fixed = unit.fixed_flow_m3s
        curve = unit.curve_now()
        self.curve = curve
        self.pipe: Pipe | None = None
        self.net: HeadCurve | None = None
        if curve is None:
            return
        branch = unit.branch
        self.net = curve if branch is None else curve.less_loss(branch.fittings_s2m5)
        if branch is not None and branch.friction != "none" and branch.length_m > 0.0:
            self.pipe = branch

    def flow_at(self, header_m: float) -> float:
        """Return the flow that the pump delivers against a head at the header [m3/s]."""
        if self.fixed is not None:
            return self.fixed
        assert self.net is not None  # noqa: S101  (a pump has a fixed flow or a curve)
        most = self.net.flow_at(header_m)
        pipe = self.pipe
        if pipe is None or most <= 0.0:
            return most
        net = self.net

        def off(flow: float) -> float:
            return net.head_at(flow) - pipe.friction_m(flow) - header_m

        return _root(off, 0.0, most)

    def header_at(self, flow_m3s: float) -> float:
        """Return the head at the header at a flow of this pump [m]."""
        assert self.net is not None  # noqa: S101  (asked of pumps with a curve only)
        lost = self.pipe.friction_m(flow_m3s) if self.pipe is not None else 0.0
        return self.net.head_at(flow_m3s) - lost


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return the root between two bounds that bracket it."""
    if function(low) <= 0.0:
        return low
    if function(high) >= 0.0:
        return high
    return float(brentq(function, low, high, xtol=1e-16, rtol=8.9e-16, maxiter=200))


def operating_point(
    pumps: Sequence[PumpUnit],
    main: ForceMain | None,
    level_m: float,
    total_by_number_m3s: Sequence[float] | None = None,
) -> OperatingPoint:
    """Return the flow and head of each pump of a lineup at one level.

    Parameters
    ----------
    pumps
        The pumps that run; order is kept.
    main
        The force main; may be None when no pump has a curve.
    level_m
        Level in the well [m above floor].
    total_by_number_m3s
        The station's total with one, two ... running [m3/s], shared equally by the pumps that have
        neither a curve nor a fixed flow; None when all have.

    Raises
    ------
    HydraulicError
        When a pump with a curve has no force main to pump into, or a pump no flow at all.
    """
    supplies = [_Supply(pump) for pump in pumps]
    flows = _flows(supplies, main, level_m, total_by_number_m3s)
    total = sum(flows)
    heads = tuple(
        supply.curve.head_at(flow) if supply.curve is not None else math.nan
        for supply, flow in zip(supplies, flows, strict=True)
    )
    header = math.nan
    if main is not None:
        header = main.discharge_level_m - level_m + main.loss_m(total)
    return OperatingPoint(tuple(flows), heads, header, total)


def _flows(
    supplies: Sequence[_Supply],
    main: ForceMain | None,
    level_m: float,
    total_by_number_m3s: Sequence[float] | None,
) -> list[float]:
    if not supplies:
        return []
    plain = sum(supply.fixed is None and supply.curve is None for supply in supplies)
    if plain:
        if total_by_number_m3s is None or plain > len(total_by_number_m3s):
            raise HydraulicError(f"no flow is given for {plain} pumps that run together")
        share = total_by_number_m3s[plain - 1] / plain
        for supply in supplies:
            if supply.fixed is None and supply.curve is None:
                supply.fixed = share
    fixed = sum(supply.fixed or 0.0 for supply in supplies)
    if all(supply.fixed is not None for supply in supplies):
        return [supply.fixed or 0.0 for supply in supplies]
    if main is None:
        raise HydraulicError("a pump with a head-flow curve needs a force main to pump into")
    lift = main.discharge_level_m - level_m

    def off(total: float) -> float:
        header = lift + main.loss_m(total)
        return sum(supply.flow_at(header) for supply in supplies) - total

    most = sum(supply.flow_at(lift + main.loss_m(fixed)) for supply in supplies)
    total = _root(off, fixed, most) if most > fixed else fixed
    header = lift + main.loss_m(total)
    return [supply.flow_at(header) for supply in supplies]


def kink_levels(pumps: Sequence[PumpUnit], main: ForceMain | None) -> list[float]:
    """Return the levels at which the flow of a lineup bends [m above floor].

    They are where a pump passes from one piece of its curve to the next, or where its check valve
    opens.

    Parameters
    ----------
    pumps
        The pumps that run.
    main
        The force main.
    """
    if main is None:
        return []
    supplies = [_Supply(pump) for pump in pumps]
    levels = []
    for supply in supplies:
        if supply.net is None:
            continue
        for flow in supply.net.flows_m3s:
            header = supply.header_at(flow)
            total = sum(other.flow_at(header) for other in supplies)
            levels.append(main.discharge_level_m - (header - main.loss_m(total)))
    return levels


def lay_bands(
    running: Sequence[int],
    pumps: Sequence[PumpUnit],
    main: ForceMain | None,
    well: Well,
    spillway: Spillway | None,
    top_m: float,
    marks_m: Sequence[float],
    total_by_number_m3s: Sequence[float] | None = None,
    fineness: float = FINENESS,
) -> Lineup:
    """Return a lineup whose flows are straight in bands of the stored volume.

    Parameters
    ----------
    running
        Indices of the machines that run, for the record.
    pumps
        The pumps that run, in the same order.
    main
        The force main; None when no pump has a curve.
    well
        Stage-storage.
    spillway
        Where it spills; None for nowhere.
    top_m
        Highest level that matters [m above floor]; the last band goes on above it.
    marks_m
        Levels between which the mean error shall be nought, such as start and stop levels [m].
    total_by_number_m3s
        The station's total with one, two ... running [m3/s]; None when the pumps' own data count.
    fineness
        See ``FINENESS`` [-].

    Returns
    -------
    Lineup
        Bands from the floor upwards.
    """
    supplies = [_Supply(pump) for pump in pumps]
    count = len(pumps)

    @cache
    def values(volume_m3: float) -> tuple[float, ...]:
        """Return the pumps' flows, then their powers, then the weir's flow."""
        level = well.level_at(volume_m3)
        flows = _flows(supplies, main, level, total_by_number_m3s)
        powers = [
            pump.power.input_at(
                flow, supply.curve.head_at(flow) if supply.curve is not None else 0.0
            )
            for pump, supply, flow in zip(pumps, supplies, flows, strict=True)
        ]
        spill = spillway.flow_m3s(level) if spillway is not None else 0.0
        return (*flows, *powers, spill)

    weir = spillway is not None and spillway.length_m is not None
    has_curve = any(s.curve is not None for s in supplies)
    levels = {0.0, top_m}
    if spillway is not None and 0.0 < spillway.crest_m < top_m:
        levels.add(spillway.crest_m)
    if has_curve:
        inside = (*marks_m, *well.levels_m, *kink_levels(pumps, main))
        levels.update(x for x in inside if 0.0 < x < top_m)
    elif weir:
        levels.update(x for x in well.levels_m if 0.0 < x < top_m)
    stretches = [well.volume_at(x) for x in sorted(levels)]
    edges: list[float] = [stretches[0]]
    ends = [0]
    for low, high in pairwise(stretches):
        if high - low > 1e-9:
            edges.extend(_split(values, low, high, count, fineness))
            ends.append(len(edges) - 1)
    knots = _move_knots(values, edges, ends, count)
    return _as_lineup(tuple(running), edges, knots, count)


def _split(
    values: Callable[[float], tuple[float, ...]],
    low: float,
    high: float,
    count: int,
    fineness: float,
) -> list[float]:
    """Return the upper edges of the bands between two volumes."""

    def halve(
        a: float, at_a: tuple[float, ...], b: float, at_b: tuple[float, ...], depth: int
    ) -> list[float]:
        middle = 0.5 * (a + b)
        at_middle = values(middle)
        error = [abs(at_middle[m] - 0.5 * (at_a[m] + at_b[m])) for m in range(len(at_middle))]
        fine = all(e <= fineness * sum(at_middle[:count]) + _LEAST_FLOW for e in error[:count])
        fine = fine and error[-1] <= _WEIR_FINENESS * at_middle[-1] + _LEAST_FLOW
        if fine or depth >= _MOST_HALVINGS:
            return [b]
        return [
            *halve(a, at_a, middle, at_middle, depth + 1),
            *halve(middle, at_middle, b, at_b, depth + 1),
        ]

    found = halve(low, values(low), high, values(high), 0)
    if len(found) == 1:
        at_low, at_high, at_middle = values(low), values(high), values(0.5 * (low + high))
        straight = all(
            abs(at_middle[m] - 0.5 * (at_low[m] + at_high[m]))
            <= 1e-12 * (abs(at_low[m]) + abs(at_high[m]))
            for m in range(len(at_low))
        )
        if not straight:  # an inner knot, so that the mean error of the stretch can be made nought
            return [0.5 * (low + high), high]
    return found


def _move_knots(
    values: Callable[[float], tuple[float, ...]], edges: list[float], ends: list[int], count: int
) -> list[list[float]]:
    """Return the value of each quantity at each edge, moved so that the mean error is nought."""
    exact = [values(v) for v in edges]
    bands = len(edges) - 1
    means = []
    for n in range(bands):
        a, b = edges[n], edges[n + 1]
        inner = [values(a + part * (b - a)) for part in (0.25, 0.5, 0.75)]
        ya, yb = exact[n], exact[n + 1]
        # Boole's rule, less the mean of the chord
        means.append(
            [
                (7.0 * (ya[m] + yb[m]) + 32.0 * (inner[0][m] + inner[2][m]) + 12.0 * inner[1][m])
                / 90.0
                - 0.5 * (ya[m] + yb[m])
                for m in range(len(ya))
            ]
        )
    knots: list[list[float]] = []
    for m in range(len(exact[0])):
        shift = [0.0] * len(edges)
        is_spill = m == 2 * count
        for n in range(len(edges)):
            beside = [means[x][m] for x in (n - 1, n) if 0 <= x < bands]
            shift[n] = sum(beside) / len(beside) if beside else 0.0
            if is_spill and (exact[n][m] <= 0.0):
                shift[n] = 0.0
        for first, last in pairwise(ends):
            if last - first < 2:
                continue
            width = [edges[n + 1] - edges[n] for n in range(first, last)]
            wanted = sum(w * means[first + x][m] for x, w in enumerate(width))
            given = sum(
                w * 0.5 * (shift[first + x] + shift[first + x + 1]) for x, w in enumerate(width)
            )
            inner_weight = sum(0.5 * (width[x - 1] + width[x]) for x in range(1, last - first))
            more = (wanted - given) / inner_weight
            for n in range(first + 1, last):
                shift[n] += more
        knots.append([max(exact[n][m] + shift[n], 0.0) for n in range(len(edges))])
    return knots


def _as_lineup(
    running: tuple[int, ...], edges: list[float], knots: list[list[float]], count: int
) -> Lineup:
    """Return the bands as lower edges, values and slopes; neighbours of one slope are joined."""
    bands = len(edges) - 1
    slopes = [
        [(row[n + 1] - row[n]) / (edges[n + 1] - edges[n]) for n in range(bands)] for row in knots
    ]
    keep = [0]
    for n in range(1, bands):
        if any(row[n] != row[keep[-1]] for row in slopes):
            keep.append(n)

    def rows(first: int, last: int) -> tuple[tuple[float, ...], ...]:
        return tuple(tuple(knots[m][n] for n in keep) for m in range(first, last))

    def slope_rows(first: int, last: int) -> tuple[tuple[float, ...], ...]:
        return tuple(tuple(slopes[m][n] for n in keep) for m in range(first, last))

    flows, flow_slopes = rows(0, count), slope_rows(0, count)
    spill, spill_slope = rows(2 * count, 2 * count + 1)[0], slope_rows(2 * count, 2 * count + 1)[0]
    out = tuple(sum(row[n] for row in flows) + spill[n] for n in range(len(keep)))
    out_slope = tuple(sum(row[n] for row in flow_slopes) + spill_slope[n] for n in range(len(keep)))
    return Lineup(
        running,
        tuple(edges[n] for n in keep),
        out,
        out_slope,
        flows,
        flow_slopes,
        rows(count, 2 * count),
        slope_rows(count, 2 * count),
        spill,
        spill_slope,
    )

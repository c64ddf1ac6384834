"""The bands in which the flows of a lineup are straight over the stored volume.

The balance wants the outflow as straight lines. Chords of a curve err to one side, and over many
cycles that error adds up: a pump that is always taken for 0.01 % too strong is minutes ahead after
a month. So the knots are moved off the curve by two thirds of the greatest error of the chords
beside them, which makes the mean error nought for a parabola, and the inner knots of each stretch
between marks (control levels, kinks of the well, kinks of the curves) are then shifted together so
that the mean error of the stretch is nought in fact. What is left is of second order. Bands are
halved until the greatest error of any chord is below ``FINENESS`` of the flow (``WEIR_FINENESS``
for a weir); there is nothing to set.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import pairwise

from stationsim.physics.forcemain import ForceMain
from stationsim.physics.operating import (
    Pump,
    RunsBack,
    flows_and_back,
    kink_levels,
    lineup_flows,
    supplies_of,
)
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well

FINENESS = 1e-5
"""Greatest error of a chord before the knots are moved, as a part of the pumped flow [-]."""

WEIR_FINENESS = 5e-4
"""The same for the flow over a weir [-]."""

_LEAST_FLOW_M3S = 1e-7
_MOST_HALVINGS = 12
_LEAST_STRETCH_M3 = 1e-9

Values = Callable[[float], tuple[float, ...]]
Fine = Callable[[tuple[float, ...], list[float]], bool]


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
        All that leaves at the lower edge, less what runs back [m3/s], and its change with volume
        [1/s].
    pump_m3s, pump_slope
        The same for each running machine [m3/s], [1/s].
    power_w, power_slope
        Electrical input of each running machine [W], and its change with volume [W/m3].
    spill_m3s, spill_slope
        The same for what goes over the weir [m3/s], [1/s]; plain loss is no function of volume and
        is not here.
    back_m3s, back_slope
        The same for what runs back through pumps that stand [m3/s], [1/s]; empty for nothing.
    hauled_m3s
        What tankers take besides, at any volume [m3/s]; it is part of ``out_m3s``.
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
    back_m3s: tuple[float, ...] = ()
    back_slope: tuple[float, ...] = ()
    hauled_m3s: float = 0.0

    def hauling(self, flow_m3s: float) -> Lineup:
        """Return this lineup while tankers take so much besides.

        Parameters
        ----------
        flow_m3s
            All that they take together, while there is enough [m3/s].
        """
        out = tuple(flow + flow_m3s for flow in self.out_m3s)
        return replace(self, out_m3s=out, hauled_m3s=flow_m3s)

    @property
    def stands_dry(self) -> bool:
        """True when no pump of it moves any water on an empty well."""
        return not any(row[0] for row in self.pump_m3s)

    def hauled_m3(self, wet_s: float, dry_m3: float, dry_s: float) -> float:
        """Return what the tankers took [m3].

        On an empty well they take what arrives, and what runs back; with pumps that draw too all
        shrink alike.

        Parameters
        ----------
        wet_s
            How long there was enough for them [s].
        dry_m3, dry_s
            What arrived while the well was empty [m3], and how long it was [s].
        """
        taken = self.hauled_m3s * wet_s
        if dry_s > 0.0 and self.stands_dry:
            returned = self.back_m3s[0] * dry_s if self.back_m3s else 0.0
            taken += min(dry_m3 + returned, self.hauled_m3s * dry_s)
        elif dry_m3 > 0.0:
            taken += dry_m3 * self.hauled_m3s / self.out_m3s[0]
        return taken


@dataclass(frozen=True)
class Lines:
    """Several quantities over stored volume, each continuous and straight between knots.

    Parameters
    ----------
    edges_m3
        Knots, rising [m3].
    rows
        Value of each quantity at each knot, as [m3/s] for flows and [W] for powers.
    """

    edges_m3: tuple[float, ...]
    rows: tuple[tuple[float, ...], ...]

    def at(self, volume_m3: float) -> tuple[float, ...]:
        """Return each quantity at a volume, beyond the last knot along the last line.

        Parameters
        ----------
        volume_m3
            Stored volume [m3].
        """
        edges = self.edges_m3
        n = min(max(bisect_right(edges, volume_m3) - 1, 0), len(edges) - 2)
        if volume_m3 == edges[n]:
            return tuple(row[n] for row in self.rows)
        part = (volume_m3 - edges[n]) / (edges[n + 1] - edges[n])
        return tuple(row[n] + part * (row[n + 1] - row[n]) for row in self.rows)


def lay_bands(
    running: Sequence[int],
    pumps: Sequence[Pump],
    main: ForceMain | None,
    well: Well,
    spillway: Spillway | None,
    top_m: float,
    marks_m: Sequence[float],
    total_by_number_m3s: Sequence[float] | None = None,
    fineness: float = FINENESS,
    back: RunsBack | None = None,
) -> Lineup:
    """Return a lineup whose flows are straight in bands of the stored volume.

    Parameters
    ----------
    running
        Indices of the machines that run, for the record [-].
    pumps
        The pumps that run, in the same order [-].
    main
        The force main [-]; None when no pump has a curve.
    well
        Stage-storage [-].
    spillway
        Where it spills [-]; None for nowhere.
    top_m
        Highest level that matters [m above floor]; the last band goes on above it.
    marks_m
        Levels between which the mean error shall be nought, such as start and stop levels [m].
    total_by_number_m3s
        The station's total with one, two ... running [m3/s]; None when the pumps' own data count.
    fineness
        See ``FINENESS`` [-].
    back
        What may run back into the well; None for nothing.

    Returns
    -------
    Lineup
        Bands from the floor upwards.
    """
    totals = None if total_by_number_m3s is None else tuple(total_by_number_m3s)
    return _lineup(
        tuple(running),
        tuple(pumps),
        main,
        well,
        spillway,
        top_m,
        tuple(marks_m),
        totals,
        fineness,
        back,
    )


@lru_cache(maxsize=256)  # a study runs the same station again and again
def _lineup(
    running: tuple[int, ...],
    pumps: tuple[Pump, ...],
    main: ForceMain | None,
    well: Well,
    spillway: Spillway | None,
    top_m: float,
    marks_m: tuple[float, ...],
    totals: tuple[float, ...] | None,
    fineness: float,
    back: RunsBack | None,
) -> Lineup:
    """Return a lineup; whoever asks for the same again gets the same one."""
    pumped = _pump_lines(pumps, main, well, top_m, marks_m, totals, fineness, back)
    over = weir_lines(well, spillway, top_m)
    edges = [0.0]
    for edge in sorted({*pumped.edges_m3, *over.edges_m3}):
        if edge - edges[-1] > _LEAST_STRETCH_M3:
            edges.append(edge)
    at = [(*pumped.at(edge), *over.at(edge)) for edge in edges]
    return _as_lineup(running, edges, at, len(pumps), runs_back=back is not None)


@lru_cache(maxsize=256)  # a study runs the same station again and again
def _pump_lines(
    pumps: tuple[Pump, ...],
    main: ForceMain | None,
    well: Well,
    top_m: float,
    marks_m: tuple[float, ...],
    total_by_number_m3s: tuple[float, ...] | None,
    fineness: float,
    back: RunsBack | None,
) -> Lines:
    """Return the flows, then the input powers, of the pumps; then what runs back, if anything."""
    supplies = supplies_of(pumps, total_by_number_m3s)
    count = len(pumps)

    @cache
    def values(volume_m3: float) -> tuple[float, ...]:
        level = well.level_at(volume_m3)
        returned: tuple[float, ...] = ()
        if back is None:
            flows = lineup_flows(supplies, main, level)
        else:
            flows, returning = flows_and_back(supplies, main, level, back)
            returned = (returning,)
        powers = [
            pump.input_w(flow, supply.curve.head_at(flow) if supply.curve is not None else 0.0)
            for pump, supply, flow in zip(pumps, supplies, flows, strict=True)
        ]
        return (*flows, *powers, *returned)

    def fine(at_middle: tuple[float, ...], error: list[float]) -> bool:
        accepted = fineness * sum(at_middle[:count]) + _LEAST_FLOW_M3S
        return all(e <= accepted for e in (*error[:count], *error[2 * count :]))

    levels = {0.0, top_m}
    with_head = back is not None and back.per_root > 0.0
    if with_head or any(supply.curve is not None for supply in supplies):
        inside = (*marks_m, *well.corners_m, *kink_levels(supplies, main, back))
        levels.update(x for x in inside if 0.0 < x < top_m)
    return fit_lines(values, [well.volume_at(x) for x in sorted(levels)], fine)


@lru_cache(maxsize=64)
def weir_lines(well: Well, spillway: Spillway | None, top_m: float) -> Lines:
    """Return the flow over the weir; nought everywhere for plain loss or no spill at all.

    Parameters
    ----------
    well
        Stage-storage [-].
    spillway
        Where it spills [-].
    top_m
        Highest level that matters [m above floor].
    """
    top = well.volume_at(top_m)
    if spillway is None or spillway.length_m is None or spillway.crest_m >= top_m:
        return Lines((0.0, top), ((0.0, 0.0),))
    given = spillway
    crest_m3 = well.volume_at(given.crest_m)

    def values(volume_m3: float) -> tuple[float, ...]:
        if volume_m3 <= crest_m3:  # its level, computed back, may lie a rounding above the crest
            return (0.0,)
        return (given.flow_m3s(well.level_at(volume_m3)),)

    def fine(at_middle: tuple[float, ...], error: list[float]) -> bool:
        return error[0] <= WEIR_FINENESS * at_middle[0] + _LEAST_FLOW_M3S

    # marks that grow with the head, so that halving is never asked to do it all
    heads = (0.02 * 2.5**n for n in range(40))
    inside = (*well.corners_m, *(given.crest_m + head for head in heads))
    levels = {0.0, given.crest_m, top_m, *(x for x in inside if given.crest_m < x < top_m)}
    return fit_lines(values, [well.volume_at(x) for x in sorted(levels)], fine)


def fit_lines(values: Values, stretches_m3: Sequence[float], fine: Fine) -> Lines:
    """Return straight lines that follow curves, with no mean error in any stretch.

    Parameters
    ----------
    values
        The curves: several quantities at a volume [m3], none of them negative.
    stretches_m3
        Ends of the stretches, rising [m3]; the curves have no kink inside one.
    fine
        Says of the values in the middle of a chord and of its errors there whether it will do [-].
    """
    edges: list[float] = [stretches_m3[0]]
    ends = [0]
    for low, high in pairwise(stretches_m3):
        if high - low > _LEAST_STRETCH_M3:
            edges.extend(_split(values, low, high, fine))
            ends.append(len(edges) - 1)
    return Lines(tuple(edges), _move_knots(values, edges, ends))


def _split(values: Values, low: float, high: float, fine: Fine) -> list[float]:
    """Return the upper edges of the bands between two volumes."""

    def halve(
        a: float, at_a: tuple[float, ...], b: float, at_b: tuple[float, ...], depth: int
    ) -> list[float]:
        middle = 0.5 * (a + b)
        at_middle = values(middle)
        error = [abs(m - 0.5 * (x + y)) for m, x, y in zip(at_middle, at_a, at_b, strict=True)]
        if depth == 0:
            straight = all(
                e <= 1e-12 * (abs(x) + abs(y)) for e, x, y in zip(error, at_a, at_b, strict=True)
            )
            if straight:
                return [b]
        # a curved stretch gets an inner knot, so that its mean error can be made nought
        if (depth > 0 and fine(at_middle, error)) or depth >= _MOST_HALVINGS:
            return [b]
        return [
            *halve(a, at_a, middle, at_middle, depth + 1),
            *halve(middle, at_middle, b, at_b, depth + 1),
        ]

    return halve(low, values(low), high, values(high), 0)


def _move_knots(
    values: Values, edges: list[float], ends: list[int]
) -> tuple[tuple[float, ...], ...]:
    """Return each quantity at each edge, moved so that the mean error is nought."""
    exact = [values(v) for v in edges]
    bands = len(edges) - 1
    means = []
    for n in range(bands):
        a, b = edges[n], edges[n + 1]
        inner = [values(a + part * (b - a)) for part in (0.25, 0.5, 0.75)]
        # Boole's rule, less the mean of the chord
        means.append(
            [
                (7.0 * (ya + yb) + 32.0 * (y1 + y3) + 12.0 * y2) / 90.0 - 0.5 * (ya + yb)
                for ya, y1, y2, y3, yb in zip(exact[n], *inner, exact[n + 1], strict=True)
            ]
        )
    rows = []
    for m in range(len(exact[0])):
        shift = [0.0] * len(edges)
        for n in range(len(edges)):
            beside = [means[x][m] for x in (n - 1, n) if 0 <= x < bands]
            if beside and exact[n][m] > 0.0:  # nothing flows below a crest or above shut-off
                shift[n] = sum(beside) / len(beside)
        shift[-1] = 0.0  # at a crest that nothing rises above the water may stand for hours
        for first, last in pairwise(ends):
            if last - first < 2:
                continue
            width = [edges[n + 1] - edges[n] for n in range(first, last)]
            wanted = sum(w * means[first + x][m] for x, w in enumerate(width))
            given = sum(
                w * 0.5 * (shift[first + x] + shift[first + x + 1]) for x, w in enumerate(width)
            )
            weight = sum(0.5 * (width[x - 1] + width[x]) for x in range(1, last - first))
            for n in range(first + 1, last):
                shift[n] += (wanted - given) / weight
        rows.append(tuple(max(exact[n][m] + shift[n], 0.0) for n in range(len(edges))))
    return tuple(rows)


def _as_lineup(
    running: tuple[int, ...],
    edges: list[float],
    at: list[tuple[float, ...]],
    count: int,
    *,
    runs_back: bool,
) -> Lineup:
    """Return the bands as lower edges, values and slopes; neighbours of one slope are joined."""
    slopes = [
        tuple((y - x) / (b - a) for x, y in zip(at_a, at_b, strict=True))
        for (a, at_a), (b, at_b) in pairwise(zip(edges, at, strict=True))
    ]
    keep = [0]
    keep += [n for n in range(1, len(slopes)) if slopes[n] != slopes[n - 1]]

    def rows(
        of: Sequence[tuple[float, ...]], first: int, last: int
    ) -> tuple[tuple[float, ...], ...]:
        return tuple(tuple(of[n][m] for n in keep) for m in range(first, last))

    flows, flow_slopes = rows(at, 0, count), rows(slopes, 0, count)
    last = 2 * count + runs_back
    (spill,), (spill_slope,) = (rows(of, last, last + 1) for of in (at, slopes))
    out = tuple(sum(row[n] for row in flows) + spill[n] for n in range(len(keep)))
    out_slope = tuple(sum(row[n] for row in flow_slopes) + spill_slope[n] for n in range(len(keep)))
    back: tuple[float, ...] = ()
    back_slope: tuple[float, ...] = ()
    if runs_back:
        (back,), (back_slope,) = (rows(of, 2 * count, last) for of in (at, slopes))
        out = tuple(x - y for x, y in zip(out, back, strict=True))
        out_slope = tuple(x - y for x, y in zip(out_slope, back_slope, strict=True))
    return Lineup(
        running,
        tuple(edges[n] for n in keep),
        out,
        out_slope,
        flows,
        flow_slopes,
        rows(at, count, 2 * count),
        rows(slopes, count, 2 * count),
        spill,
        spill_slope,
        back,
        back_slope,
    )

"""The flow of a lineup at a level.

A lineup is the set of machines that run together. Each pump's curve, less the loss of its own
branch, meets one header head; the sum of their flows makes the loss of the force main, above the
static lift from the well's level. Check valves keep any flow from being negative.

Through a check valve that has failed, water runs back from the header through a pump that stands.
That way is a resistance: it passes its part of the pump's own flow at the header head of that flow,
and goes with the root of the head. Then the pumps make the flow of the main *and* what runs back,
which circulates. The water in the main itself stands while a pump moves any water; when none does,
it runs back by its static head (:func:`drain_m3s`).

References
----------
Pump and system curves, pumps in parallel: worked examples stand in ``tests/published``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from stationsim.errors import HydraulicError
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve

_MOST_ROUNDS = 200
_LAST_DIGITS = 2.220446049250313e-16


class Pump(Protocol):
    """What is asked of a pump here; ``equipment.pumps.PumpUnit`` answers it."""

    @property
    def fixed_flow_m3s(self) -> float | None:
        """Flow whatever the level [m3/s]; None when a curve counts."""
        ...

    @property
    def branch(self) -> Pipe | None:
        """Pipe from the pump to the header; None for none."""
        ...

    def curve_now(self) -> HeadCurve | None:
        """Return the curve at its speed and in its condition, before the branch loss."""
        ...

    def input_w(self, flow_m3s: float, head_m: float) -> float:
        """Return the electrical input [W].

        Parameters
        ----------
        flow_m3s
            Flow of the pump [m3/s].
        head_m
            Its total head at that flow [m].
        """
        ...


class RunsBack(NamedTuple):
    """What runs back into the well through pumps that stand.

    Parameters
    ----------
    flow_m3s
        Through pumps of plain flow, while others pump at least as much [m3/s].
    per_root
        Through pumps with a curve: flow over the root of the header head [m3/s/m^0.5].
    drains_m3s
        Flow at which the main itself runs back, with no pump that moves any water [m3/s].
    """

    flow_m3s: float = 0.0
    per_root: float = 0.0
    drains_m3s: float = 0.0

    def at(self, header_m: float) -> float:
        """Return the flow that runs back while pumps run [m3/s].

        Parameters
        ----------
        header_m
            Head at the header above the well's level [m].
        """
        return self.flow_m3s + self.per_root * math.sqrt(max(header_m, 0.0))


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


class Supply:
    """One pump as the header sees it: flow over header head.

    Parameters
    ----------
    unit
        The pump.
    """

    def __init__(self, unit: Pump) -> None:
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

    def is_like(self, other: Supply) -> bool:
        """Return whether another pump delivers the same at every head.

        Parameters
        ----------
        other
            The other pump.
        """
        return (self.fixed, self.curve, self.pipe, self.net) == (
            other.fixed,
            other.curve,
            other.pipe,
            other.net,
        )

    def flow_at(self, header_m: float) -> float:
        """Return the flow that the pump delivers [m3/s].

        Parameters
        ----------
        header_m
            Head at the header above the well's level [m].
        """
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
        """Return the head at the header [m].

        Parameters
        ----------
        flow_m3s
            Flow of this pump [m3/s].
        """
        assert self.net is not None  # noqa: S101  (asked of pumps with a curve only)
        lost = self.pipe.friction_m(flow_m3s) if self.pipe is not None else 0.0
        return self.net.head_at(flow_m3s) - lost


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return the root between two bounds that bracket it, to the last digits of a float.

    Chandrupatla's method: inverse quadratic interpolation where the last three points allow it,
    halving where they do not (T. R. Chandrupatla, Advances in Engineering Software 28, 1997). The
    library that has one takes longer to load than an answer may take at night; the tests hold this
    one against it.
    """
    a, fa, b, fb = high, function(high), low, function(low)
    if fb <= 0.0:
        return low
    if fa >= 0.0:
        return high
    part = 0.5
    for _ in range(_MOST_ROUNDS):
        x = a + part * (b - a)
        fx = function(x)
        if (fx > 0.0) == (fa > 0.0):
            c, fc = a, fa
        else:
            c, fc = b, fb
            b, fb = a, fa
        a, fa = x, fx
        best = a if abs(fa) < abs(fb) else b
        tolerance = 2.0 * _LAST_DIGITS * abs(best) + 1e-17
        width = abs(b - c)
        if fa == 0.0 or fb == 0.0 or abs(b - a) <= 2.0 * tolerance or width == 0.0:
            return best
        span = (a - b) / (c - b)
        height = (fa - fb) / (fc - fb)
        part = 0.5
        if height * height < span and (1.0 - height) * (1.0 - height) < 1.0 - span:
            part = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (
                fc - fb
            )
        least = tolerance / abs(b - a)
        part = min(max(part, least), 1.0 - least)
    return best


def operating_point(
    pumps: Sequence[Pump],
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
    supplies = supplies_of(pumps, total_by_number_m3s)
    flows = lineup_flows(supplies, main, level_m)
    total = sum(flows)
    heads = tuple(
        supply.curve.head_at(flow) if supply.curve is not None else math.nan
        for supply, flow in zip(supplies, flows, strict=True)
    )
    header = math.nan
    if main is not None:
        header = main.discharge_level_m - level_m + main.loss_m(total)
    return OperatingPoint(tuple(flows), heads, header, total)


def supplies_of(pumps: Sequence[Pump], total_by_number_m3s: Sequence[float] | None) -> list[Supply]:
    """Return the pumps of a lineup as the header sees them.

    Parameters
    ----------
    pumps
        The pumps that run.
    total_by_number_m3s
        As in :func:`operating_point` [m3/s].

    Raises
    ------
    HydraulicError
        When a pump has neither a curve nor a flow of its own, and no share of a total.
    """
    supplies: list[Supply] = []
    for pump in pumps:
        own = Supply(pump)
        alike = (one for one in supplies if one.is_like(own))
        supplies.append(next(alike, own))
    plain = [supply for supply in supplies if supply.fixed is None and supply.curve is None]
    if plain:
        if total_by_number_m3s is None or len(plain) > len(total_by_number_m3s):
            raise HydraulicError(f"no flow is given for {len(plain)} pumps that run together")
        for supply in plain:
            supply.fixed = total_by_number_m3s[len(plain) - 1] / len(plain)
    return supplies


def lineup_flows(supplies: Sequence[Supply], main: ForceMain | None, level_m: float) -> list[float]:
    """Return the flow of each pump of a lineup at one level [m3/s].

    Parameters
    ----------
    supplies
        The pumps as the header sees them.
    main, level_m
        As in :func:`operating_point` [m].
    """
    if not supplies:
        return []
    fixed = sum(supply.fixed or 0.0 for supply in supplies)
    if all(supply.fixed is not None for supply in supplies):
        return [supply.fixed or 0.0 for supply in supplies]
    if main is None:
        raise HydraulicError("a pump with a head-flow curve needs a force main to pump into")
    if main.shut:
        return [supply.fixed or 0.0 for supply in supplies]
    lift = main.discharge_level_m - level_m

    def off(total: float) -> float:
        return sum(_flows_at(supplies, lift + main.loss_m(total))) - total

    most = sum(_flows_at(supplies, lift + main.loss_m(fixed)))
    total = _root(off, fixed, most) if most > fixed else fixed
    return _flows_at(supplies, lift + main.loss_m(total))


def flows_and_back(
    supplies: Sequence[Supply], main: ForceMain | None, level_m: float, back: RunsBack
) -> tuple[list[float], float]:
    """Return the flow of each pump of a lineup, and what runs back meanwhile [m3/s].

    No more runs back than is pumped: the main is not drawn upon while a pump moves water.

    Parameters
    ----------
    supplies
        The pumps that run, as the header sees them.
    main, level_m
        As in :func:`operating_point` [m].
    back
        What may run back.
    """
    if back.drains_m3s > 0.0 or not supplies:
        return lineup_flows(supplies, main, level_m), back.drains_m3s
    if back.per_root == 0.0 or main is None:
        flows = lineup_flows(supplies, main, level_m)
        return flows, min(back.flow_m3s, sum(flows))

    def over(header_m: float) -> float:
        return sum(_flows_at(supplies, header_m)) - back.at(header_m)

    if not main.shut:
        lift = main.discharge_level_m - level_m

        def off(total: float) -> float:
            return over(lift + main.loss_m(total)) - total

        most = off(0.0)
        if most > 0.0:
            header = lift + main.loss_m(_root(off, 0.0, most))
            return _flows_at(supplies, header), back.at(header)
    # the main takes nothing: all that is pumped comes back
    flows = _flows_at(supplies, circulating_m(supplies, back))
    return flows, sum(flows)


def circulating_m(supplies: Sequence[Supply], back: RunsBack) -> float:
    """Return the header head at which as much runs back as is pumped [m].

    Parameters
    ----------
    supplies
        The pumps that run, as the header sees them.
    back
        What may run back; through a pump with a curve at least.
    """

    def over(header_m: float) -> float:
        return sum(_flows_at(supplies, header_m)) - back.at(header_m)

    most = max((s.net.shutoff_m for s in supplies if s.net is not None), default=0.0)
    plain = max(sum(s.fixed or 0.0 for s in supplies) - back.flow_m3s, 0.0) / back.per_root
    return _root(over, 0.0, max(most, plain * plain) + 1.0)


def drain_m3s(main: ForceMain | None, level_m: float, back: RunsBack) -> float:
    """Return the flow at which the main runs back when no pump moves any water [m3/s].

    The static head of the full main drives it, against the way through the pumps that stand and the
    loss of the main itself. As the main empties that head falls, by how its profile lies: nobody
    says how. So the flow at the beginning is kept; it is the greatest that can be.

    Parameters
    ----------
    main
        The force main; None when no pump has a curve.
    level_m
        Level in the well when it begins [m above floor].
    back
        What may run back.
    """
    if main is None or back.per_root == 0.0:
        return back.flow_m3s
    lift = main.discharge_level_m - level_m
    if main.shut or lift <= 0.0:
        return 0.0

    def off(flow: float) -> float:
        return lift - main.loss_m(flow) - (flow / back.per_root) ** 2

    return back.flow_m3s + _root(off, 0.0, back.per_root * math.sqrt(lift))


def _flows_at(supplies: Sequence[Supply], header_m: float) -> list[float]:
    """Return what each delivers into a header; pumps that are alike are asked once."""
    found: dict[int, float] = {}
    for supply in supplies:
        if id(supply) not in found:
            found[id(supply)] = supply.flow_at(header_m)
    return [found[id(supply)] for supply in supplies]


def kink_levels(
    supplies: Sequence[Supply], main: ForceMain | None, back: RunsBack | None = None
) -> list[float]:
    """Return the levels at which the flow of a lineup bends [m above floor].

    They are where a pump passes from one piece of its curve to the next, or where its check valve
    opens; and where all that is pumped runs back.

    Parameters
    ----------
    supplies
        The pumps that run, as the header sees them.
    main
        The force main.
    back
        What may run back; None for nothing.
    """
    if main is None or main.shut:
        return []
    levels = []
    for supply in supplies:
        if supply.net is None:
            continue
        for flow in supply.net.flows_m3s:
            header = supply.header_at(flow)
            total = sum(other.flow_at(header) for other in supplies)
            if back is not None:
                total = max(total - back.at(header), 0.0)
            levels.append(main.discharge_level_m - (header - main.loss_m(total)))
    if back is not None and back.per_root > 0.0:
        header = circulating_m(supplies, back)
        levels.append(main.discharge_level_m - (header - main.loss_m(0.0)))
    return levels

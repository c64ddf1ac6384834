"""Head, flow and power of one pump.

A head-flow curve is kept as pieces in each of which the head is a quadratic of the flow,
``H = c0 + c1 Q + c2 Q^2``. Measured points give straight pieces, published coefficients give one
piece, and the loss of the pump's own branch, a change of speed and wear all map a quadratic onto a
quadratic, so the flow at a given head stays in closed form.

References
----------
Affinity laws: any pump text; worked values (Fox & McDonald 10.7, Douglas 23.1) stand in
``tests/published``. Water power ``rho g Q H``: the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

G = 9.80665
"""Standard acceleration of gravity [m/s2]."""

RHO = 1000.0
"""Density that turns head into power [kg/m3]."""


@dataclass(frozen=True)
class HeadCurve:
    """Total head over flow, falling, as quadratic pieces.

    Parameters
    ----------
    flows_m3s
        Start of each piece, rising, the first 0 [m3/s]. The last piece goes on without end.
    pieces
        ``(c0, c1, c2)`` of each piece: head ``c0 + c1 Q + c2 Q^2`` [m], Q the flow itself [m3/s].
    end_m3s
        Last flow for which the curve was given [m3/s]; beyond it is extrapolation.
    """

    flows_m3s: tuple[float, ...]
    pieces: tuple[tuple[float, float, float], ...]
    end_m3s: float = math.inf

    @classmethod
    def from_points(cls, flows_m3s: Sequence[float], heads_m: Sequence[float]) -> HeadCurve:
        """Return the curve through points, straight between them.

        Parameters
        ----------
        flows_m3s
            Flows, rising; the first 0 [m3/s].
        heads_m
            Heads, falling [m].

        Notes
        -----
        Beyond the last point the last straight goes on. Straight lines, not splines: between the
        points of a maker's sheet nothing is known that a spline would add.
        """
        pieces = []
        for i in range(len(flows_m3s) - 1):
            slope = (heads_m[i + 1] - heads_m[i]) / (flows_m3s[i + 1] - flows_m3s[i])
            pieces.append((heads_m[i] - slope * flows_m3s[i], slope, 0.0))
        return cls(tuple(flows_m3s[:-1]), tuple(pieces), flows_m3s[-1])

    @classmethod
    def from_coefficients(cls, c0: float, c1: float, c2: float) -> HeadCurve:
        """Return ``H = c0 + c1 Q + c2 Q^2``.

        Parameters
        ----------
        c0
            Shut-off head [m].
        c1, c2
            Coefficients [m/(m3/s)] and [m/(m3/s)^2]; a falling curve has them at or below nought.
        """
        return cls((0.0,), ((c0, c1, c2),))

    @property
    def shutoff_m(self) -> float:
        """Head at no flow [m]."""
        return self.pieces[0][0]

    def head_at(self, flow_m3s: float) -> float:
        """Return the head at a flow [m].

        Parameters
        ----------
        flow_m3s
            Flow [m3/s], nought or more.
        """
        i = len(self.flows_m3s) - 1
        while i > 0 and self.flows_m3s[i] > flow_m3s:
            i -= 1
        c0, c1, c2 = self.pieces[i]
        return c0 + flow_m3s * (c1 + flow_m3s * c2)

    def flow_at(self, head_m: float) -> float:
        """Return the flow at a head [m3/s]; 0 from the shut-off head on (the check valve holds).

        Parameters
        ----------
        head_m
            Head that the pump works against [m].
        """
        if head_m >= self.shutoff_m:
            return 0.0
        i = 0
        last = len(self.flows_m3s) - 1
        while i < last and self.head_at(self.flows_m3s[i + 1]) > head_m:
            i += 1
        c0, c1, c2 = self.pieces[i]
        fall = c0 - head_m
        # c2 q^2 + c1 q + fall = 0, the root that grows from 0 as the head falls
        if c2 == 0.0:
            return fall / -c1
        return 2.0 * fall / (-c1 + math.sqrt(c1 * c1 - 4.0 * c2 * fall))

    def scaled(self, flow: float = 1.0, head: float = 1.0) -> HeadCurve:
        """Return the curve with flows and heads multiplied: ``H'(Q) = head H(Q / flow)``.

        Parameters
        ----------
        flow, head
            Factors [-]. Wear and rags lower both; a speed ratio n gives ``flow=n, head=n*n``.
        """
        return HeadCurve(
            tuple(q * flow for q in self.flows_m3s),
            tuple(
                (c0 * head, c1 * head / flow, c2 * head / (flow * flow))
                for c0, c1, c2 in self.pieces
            ),
            self.end_m3s * flow,
        )

    def at_speed(self, ratio: float) -> HeadCurve:
        """Return the curve at another speed by the affinity laws.

        Parameters
        ----------
        ratio
            Speed over the speed of the curve [-].
        """
        return self.scaled(ratio, ratio * ratio)

    def less_loss(self, k: float) -> HeadCurve:
        """Return the curve less a loss ``k Q^2`` of the pump's own branch.

        Parameters
        ----------
        k
            Loss coefficient [s2/m5].
        """
        return HeadCurve(
            self.flows_m3s, tuple((c0, c1, c2 - k) for c0, c1, c2 in self.pieces), self.end_m3s
        )


@dataclass(frozen=True)
class FlowTable:
    """A value over flow, straight between points and level beyond them: efficiency or power.

    Parameters
    ----------
    flows_m3s
        Flows, rising [m3/s].
    values
        Value at each flow, in the unit that its owner names [any].
    """

    flows_m3s: tuple[float, ...]
    values: tuple[float, ...]

    def at(self, flow_m3s: float) -> float:
        """Return the value at a flow.

        Parameters
        ----------
        flow_m3s
            Flow [m3/s].
        """
        flows, values = self.flows_m3s, self.values
        if flow_m3s <= flows[0]:
            return values[0]
        for i in range(1, len(flows)):
            if flow_m3s <= flows[i]:
                part = (flow_m3s - flows[i - 1]) / (flows[i] - flows[i - 1])
                return values[i - 1] + part * (values[i] - values[i - 1])
        return values[-1]


@dataclass(frozen=True)
class PowerDraw:
    """What a running pump draws from its supply.

    Exactly one of the three is given; none at all means that energy is not counted.

    Parameters
    ----------
    input_w
        A plain draw whatever the flow [W].
    input_curve
        Electrical input over flow [W].
    efficiency
        Pump efficiency over flow [-]; the input is then ``rho g Q H / (efficiency motor)``.
    motor_efficiency
        Motor (and drive) efficiency [-].
    """

    input_w: float | None = None
    input_curve: FlowTable | None = None
    efficiency: FlowTable | None = None
    motor_efficiency: float = 1.0

    def input_at(
        self, flow_m3s: float, head_m: float, flow_of_table_m3s: float | None = None
    ) -> float:
        """Return the input power [W].

        Parameters
        ----------
        flow_m3s
            Flow of the pump [m3/s].
        head_m
            Its total head at that flow [m].
        flow_of_table_m3s
            Flow at which the efficiency is read [m3/s], when the pump runs at another speed than
            that of the table; None for the flow itself.

        Notes
        -----
        Where the efficiency is nought (at shut-off) the input is not known from it, and 0 is given.
        """
        if self.input_w is not None:
            return self.input_w
        if self.input_curve is not None:
            return self.input_curve.at(flow_m3s)
        if self.efficiency is not None:
            at = flow_m3s if flow_of_table_m3s is None else flow_of_table_m3s
            efficiency = self.efficiency.at(at)
            if efficiency <= 0.0:
                return 0.0
            return water_power_w(flow_m3s, head_m) / (efficiency * self.motor_efficiency)
        return 0.0


def water_power_w(flow_m3s: float, head_m: float) -> float:
    """Return the power that reaches the water, ``rho g Q H`` [W].

    Parameters
    ----------
    flow_m3s
        Flow [m3/s].
    head_m
        Total head [m].
    """
    return RHO * G * flow_m3s * head_m

"""The oracle's well and its pumps: areas over level, flows by Brent's method."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from numpy.polynomial.chebyshev import chebinterpolate
from scipy.optimize import brentq

G = 9.80665

CELL_M = 0.25
"""Height of the cells over which flows are drawn as polynomials of the level [m]."""
DEGREE = 12
SAME_FLOW = 2e-14
"""A polynomial stands for Brent's method where it gives the same flow, within so much [m3/s]."""
FAR_M = 200.0
HALVINGS = 4
"""A cell with a kink is halved so often; what is left goes to Brent's method each time."""


# ------------------------------------------------------------------ the well


class Storage:
    """Plan area over level, from the parts as they are described."""

    def __init__(self, parts: tuple[Any, ...]) -> None:
        self.parts = parts
        finite = [x for p in parts for x in (p.from_m, p.to_m) if 0.0 < x < math.inf]
        self.breaks = sorted(set(finite))
        self.top = math.inf
        if all(p.to_m < math.inf for p in parts):
            self.top = max(p.to_m for p in parts)
            self.last_area = sum(
                self._area_of(p, self.top) for p in parts if p.to_m > self.top - 1e-9
            )

    @staticmethod
    def _area_of(part: Any, z: float) -> float:
        h = z - part.from_m
        return float(part.a0_m2 + part.a1_m * h + part.a2 * h * h)

    def area_beside(self, z: float, way: int) -> Callable[[float], float]:
        """Return the plan area of the layer that begins at z in a direction, as a function."""
        inside = z + way * 1e-7
        if inside > self.top:
            return lambda _z: self.last_area
        active = [p for p in self.parts if p.from_m < inside < p.to_m]
        if all(p.a1_m == 0.0 and p.a2 == 0.0 for p in active):
            whole = sum(p.a0_m2 for p in active)
            return lambda _z: whole
        return lambda z: sum(self._area_of(p, z) for p in active)


# ------------------------------------------------------------------ flows


class Cell:
    """Flows over one range of levels: a Chebyshev polynomial where it is seen to be right."""

    def __init__(
        self, flows: Callable[[float], list[float]], low: float, high: float, halvings: int
    ) -> None:
        self.flows = flows
        self.middle, self.half = (low + high) / 2.0, (high - low) / 2.0
        self.halves: tuple[Cell, Cell] | None = None
        self.series: list[list[float]] = []

        def scaled(x: Any) -> Any:
            return [flows(self.middle + self.half * float(each)) for each in x]

        rows = chebinterpolate(scaled, DEGREE).T
        self.series = [row[::-1].tolist() for row in rows]
        tried = (-0.9973, -0.871, -0.411, 0.0557, 0.333, 0.762, 0.989)
        right = all(
            abs(mine - his) <= SAME_FLOW
            for x in tried
            for mine, his in zip(
                self(self.middle + self.half * x), flows(self.middle + self.half * x), strict=True
            )
        )
        if right:
            return
        self.series = []
        if halvings:
            self.halves = (
                Cell(flows, low, self.middle, halvings - 1),
                Cell(flows, self.middle, high, halvings - 1),
            )

    def __call__(self, z: float) -> list[float]:
        if self.halves is not None:
            return self.halves[int(z > self.middle)](z)
        if not self.series:
            return self.flows(z)
        x2 = 2.0 * (z - self.middle) / self.half
        found = []
        for row in self.series:  # Clenshaw's sum, highest degree first
            one = two = 0.0
            for c in row:
                one, two = c + x2 * one - two, one
            found.append(one - x2 * two / 2.0)
        return found


class Hydraulics:
    """Flows of the machines that run at a level."""

    def __init__(self, station: Any) -> None:
        self.main = station.force_main
        self.by_number = station.total_by_number_m3s
        self.units = list(station.pumps)
        self.units += [one.pump for one in (station.engine_pump, station.bypass_pump) if one]
        self.clean = tuple(self.units)
        self.drawn: dict[Any, Cell] = {}
        self.open = [0.0] * len(self.units)
        self.left, self.air, self.way = 1.0, 0.0, 1.0
        self.drain = 0.0
        self.duty = getattr(station.control.settings, "lead_start_m", 0.0)
        self.own: dict[int, tuple[float, float]] = {}

    def leave(self, i: int, part: float) -> None:
        """Leave a machine a part of its flow at the same head."""
        unit = self.clean[i]
        if unit.fixed_flow_m3s is not None:
            self.units[i] = replace(unit, fixed_flow_m3s=part * unit.fixed_flow_m3s)
        else:
            self.units[i] = replace(unit, flow_factor=part * unit.flow_factor)

    @property
    def state(self) -> tuple[Any, ...]:
        """What valves and main are like now."""
        return (tuple(self.open), self.left, self.air, self.way, self.drain)

    def standing_open(self, running: tuple[int, ...]) -> list[int]:
        """Return the machines that stand and let water back."""
        return [i for i, part in enumerate(self.open) if part > 0.0 and i not in running]

    def alone(self, i: int) -> tuple[float, float]:
        """Return flow and header head of a sound pump alone on the sound main, at its duty."""
        if i not in self.own:
            unit = self.clean[i]
            lift = self.main.discharge_level_m - self.duty

            def header(q: float) -> float:
                return float(lift + sum(self.loss(p, q) for p in self.main.pipes))

            high = float(
                brentq(lambda q: self.head(unit, q) - header(q) - self._branch(unit, q), 1e-6, 1.0,
                       xtol=1e-15, rtol=1e-14)
            )  # fmt: skip
            self.own[i] = (high, header(high))
        return self.own[i]

    def _branch(self, unit: Any, q: float) -> float:
        return self.loss(unit.branch, q) if unit.branch is not None else 0.0

    def back_at(self, through: list[int], header: float) -> float:
        """Return what runs back through machines that stand, at a head at the header."""
        total = 0.0
        for i in through:
            if self.clean[i].curve is None:
                total += self.open[i] * (self.clean[i].fixed_flow_m3s or 0.0)
            else:
                flow, head = self.alone(i)
                total += self.open[i] * flow * math.sqrt(max(header, 0.0) / head)
        return total

    def lift(self, z: float) -> float:
        """Return the static lift to where the water leaves the main."""
        end = self.main.discharge_level_m
        return float(self.duty + self.way * (end - self.duty) - z)

    def main_loss(self, q: float) -> float:
        """Return what the main costs in its condition."""
        part = sum(self.loss(p, q / self.left) for p in self.main.pipes)
        return float(self.way * part + self.air)

    def drains(self, z: float) -> float:
        """Return the flow at which the full main runs back while nobody pumps."""
        through = self.standing_open(())
        if self.main is None:
            return self.back_at(through, 0.0) * self.left
        lift = self.lift(round(z, 2))
        if self.left == 0.0 or lift <= self.air:
            return 0.0

        def over(h: float) -> float:
            return h + self.main_loss(self.back_at(through, h)) - lift

        return self.back_at(through, float(brentq(over, 0.0, lift, xtol=1e-15, rtol=1e-14)))

    @staticmethod
    def friction(pipe: Any, q: float) -> float:
        """Return friction alone."""
        if q <= 0.0 or pipe.friction == "none" or pipe.length_m == 0.0:
            return 0.0
        if pipe.friction == "hazen-williams":
            head = 10.67 * pipe.length_m * q**1.852
            return float(head / (pipe.c_factor**1.852 * pipe.diameter_m**4.8704))
        v = q / (math.pi * pipe.diameter_m**2 / 4.0)
        re = v * pipe.diameter_m / pipe.viscosity_m2s
        if re < 2040.0:
            f = 64.0 / re
        else:  # Colebrook, by repetition
            x = 8.0
            for _ in range(60):
                rough = pipe.roughness_m / (3.7 * pipe.diameter_m)
                x, before = -2.0 * math.log10(rough + 2.51 * x / re), x
                if abs(x - before) < 1e-15 * x:
                    break
            f = 1.0 / (x * x)
        return float(f * pipe.length_m / pipe.diameter_m * v * v / (2.0 * G))

    @classmethod
    def loss(cls, pipe: Any, q: float) -> float:
        """Return friction and fittings."""
        v = q / (math.pi * pipe.diameter_m**2 / 4.0)
        return cls.friction(pipe, q) + float(pipe.fittings_k) * v * v / (2.0 * G)

    @staticmethod
    def head(unit: Any, q: float) -> float:
        """Return the head of a pump at its speed and in its condition."""
        raw = q / (unit.speed_ratio * unit.flow_factor)
        starts = unit.curve.flows_m3s
        piece = max(i for i, x in enumerate(starts) if x <= raw or i == 0)
        c0, c1, c2 = unit.curve.pieces[piece]
        h = c0 + c1 * raw + c2 * raw * raw
        return float(h * unit.speed_ratio**2 * unit.head_factor)

    def _own(self, unit: Any, header: float) -> float:
        """Return the flow of one pump against a head at the header."""
        branch = unit.branch

        def left(q: float) -> float:
            lost = self.loss(branch, q) if branch is not None else 0.0
            return self.head(unit, q) - lost - header

        if left(0.0) <= 0.0:
            return 0.0
        high = 0.05
        while left(high) > 0.0:
            high *= 2.0
        return float(brentq(left, 0.0, high, xtol=1e-15, rtol=1e-14))

    def drawn_flows(self, running: tuple[int, ...]) -> Callable[[float], list[float]]:
        """Return the flows of the machines that run, as a quick function of the level."""
        units = tuple((self.units[i], i) for i in running)
        cells = self.drawn

        def at(z: float) -> list[float]:
            if abs(z) > FAR_M:  # a step that is tried, and will not stand
                return self.flows(running, z)
            n = math.floor(z / CELL_M)
            cell = cells.get((units, self.state, n))
            if cell is None:
                low = n * CELL_M
                cell = Cell(lambda x: self.flows(running, x), low, low + CELL_M, HALVINGS)
                cells[units, self.state, n] = cell
            return cell(z)

        return at

    def flows(self, running: tuple[int, ...], z: float) -> list[float]:
        """Return the flow of each running machine; then, below nought, what runs back."""
        if self.drain > 0.0:
            return [*self._forward(running, z), -self.drain]
        through = self.standing_open(running)
        if not running or not through:
            return self._forward(running, z)
        if all(self.clean[i].curve is None for i in (*running, *through)):
            flows = self._forward(running, z)
            return [*flows, -min(self.back_at(through, 0.0), sum(flows))]
        return self._with_back(running, through, z)

    def _with_back(self, running: tuple[int, ...], through: list[int], z: float) -> list[float]:
        """Return flows where pumps, main and what runs back meet at one head."""
        lift = self.lift(z)

        def given(h: float) -> list[float]:
            return [self._own(self.units[i], h) for i in running]

        def into_main(h: float) -> float:
            if self.left == 0.0 or h <= lift + self.air:
                return 0.0
            high = 0.01
            while self.main_loss(high) < h - lift:
                high *= 2.0
            return float(
                brentq(lambda q: self.main_loss(q) - (h - lift), 0.0, high, xtol=1e-16, rtol=1e-14)
            )

        def over(h: float) -> float:
            return sum(given(h)) - self.back_at(through, h) - into_main(h)

        most = max(self.head(self.units[i], 0.0) for i in running)
        h = float(brentq(over, 0.0, most, xtol=1e-13, rtol=1e-14))
        flows = given(h)
        taken = into_main(h)
        return [*flows, -(sum(flows) if taken == 0.0 else self.back_at(through, h))]

    def _forward(self, running: tuple[int, ...], z: float) -> list[float]:
        """Return the flow of each running machine, with nothing that runs back."""
        units = [self.units[i] for i in running]
        plain = [u for u in units if u.curve is None and u.fixed_flow_m3s is None]
        share = self.left * self.by_number[len(plain) - 1] / len(plain) if plain else 0.0
        curved = [u for u in units if u.curve is not None]
        if not curved:
            return [
                share if u.fixed_flow_m3s is None else self.left * u.fixed_flow_m3s for u in units
            ]
        if self.left == 0.0:
            return [0.0] * len(units)
        lift = self.lift(z)
        fixed = sum(self.left * (u.fixed_flow_m3s or 0.0) for u in units) + share * len(plain)
        kinds = {(u.curve, u.speed_ratio, u.flow_factor, u.head_factor, u.branch) for u in curved}

        def header(total: float) -> float:
            return lift + self.main_loss(total)

        if len(kinds) == 1:  # one unknown: the flow of each
            unit, n = curved[0], len(curved)

            def off(q: float) -> float:
                lost = self.loss(unit.branch, q) if unit.branch is not None else 0.0
                return self.head(unit, q) - lost - header(fixed + n * q)

            each = 0.0
            if off(0.0) > 0.0:
                high = 0.05
                while off(high) > 0.0:
                    high *= 2.0
                each = float(brentq(off, 0.0, high, xtol=1e-15, rtol=1e-14))
            found = {id(u): each for u in curved}
        else:

            def over(h: float) -> float:
                return h - header(fixed + sum(self._own(u, h) for u in curved))

            low = header(fixed)
            high_h = max(self.head(u, 0.0) for u in curved)
            h = low
            if high_h > low:
                h = float(brentq(over, low, high_h, xtol=1e-14, rtol=1e-14))
            found = {id(u): self._own(u, h) for u in curved}
        for u in units:
            if u.curve is None:
                own = u.fixed_flow_m3s
                found[id(u)] = share if own is None else self.left * own
        return [found[id(u)] for u in units]

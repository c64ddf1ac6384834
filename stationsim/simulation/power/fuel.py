"""Fuel of a generator set, by its load.

The electrical input of the pumps is integrated exactly (``Machine.run_j``). A piece lasts from one
change of the lineup to the next; of each the fuel is taken from the table at its mean load. That is
exact while the load stays between two points of the table, where fuel is straight over load, and so
for pumps of constant power always. For a pump whose power changes with the level and crosses a
point within a piece it errs by less than the bend of the table at that point.

When the tank will be empty is foreseen at each change, with the greatest power that the lineup
draws at any level, so never too late; at that moment what is left is looked at again.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from stationsim.simulation.clock import SAME_INSTANT_S, SUPPLY
from stationsim.simulation.following import Follower

if TYPE_CHECKING:
    from stationsim.simulation.machines import Machine
    from stationsim.simulation.power.generator import Generator

REFUELLED, REFUELLING_REFUSED = "refuelled", "refuelling refused"
"""What happens when somebody fills a tank, or has none to fill."""

NOT_COUNTED = "its fuel is not counted"
"""Why a tank is not filled."""


class Fuel(Follower):
    """The tank of a generator set.

    Parameters
    ----------
    generator
        The set.
    """

    def __init__(self, generator: Generator) -> None:
        self.generator = generator
        self.what = generator.what
        self.plant = generator.plant
        self.burnt_m3 = 0.0
        self.filled_m3 = 0.0  # what somebody filled in
        self._burns = False
        self._loaded = False
        self._since_s = 0.0
        self._marks: dict[int, float] = {}
        self._piece = 0

    @property
    def left_m3(self) -> float:
        """What was left at the last change [m3]."""
        return max(self.what.tank_m3 + self.filled_m3 - self.burnt_m3, 0.0)

    @property
    def counted(self) -> bool:
        """True when it has a tank whose fuel is counted."""
        return bool(self.what.fuel_loads) and self.what.tank_m3 < math.inf

    @property
    def part_left(self) -> float:
        """Part of what the tank held at the start that is left at this moment [-]; nothing changes.

        One where its fuel is not counted.
        """
        if not self.counted:
            return 1.0
        if self.what.tank_m3 <= 0.0:
            return 0.0
        left_m3 = self.what.tank_m3 + self.filled_m3 - self.burnt_m3 - self._burnt_since()[0]
        return max(left_m3, 0.0) / self.what.tank_m3

    @property
    def empty(self) -> bool:
        """True when it is not enough for another instant."""
        rate = self.what.fuel_rate_m3_per_s(self._most_w())
        return rate > 0.0 and self.left_m3 <= rate * SAME_INSTANT_S

    def burns(self, *, on: bool, loaded: bool = False) -> None:
        """Take note that the engine of the set runs from now on, with or without load, or stands.

        Parameters
        ----------
        on
            Whether it runs.
        loaded
            Whether it feeds the busbar.
        """
        if not self.what.fuel_loads:
            return
        self.take_stock()
        if on and loaded and not self._loaded:
            self.plant.join(self)
        if self._loaded and not (on and loaded):
            self.plant.leave(self)
        self._burns, self._loaded = on, on and loaded
        self._foresee()

    def take_stock(self) -> None:
        """Count what has been burnt since the last change."""
        burnt_m3, drawn_j = self._burnt_since()
        self._marks.update(drawn_j)
        self.burnt_m3 += burnt_m3
        self._since_s = self.plant.t_s

    def _burnt_since(self) -> tuple[float, dict[int, float]]:
        """Return what has been burnt since the last change [m3], and the marks of now [J]."""
        lasted_s = self.plant.t_s - self._since_s
        used_j = 0.0
        marks = {}
        for machine in self.plant.electric:
            used_j += machine.run_j - self._marks.get(machine.index, 0.0)
            marks[machine.index] = machine.run_j
        if not self._burns or lasted_s <= 0.0:
            return 0.0, marks
        load_w = used_j / lasted_s if self._loaded else 0.0
        return self.what.fuel_rate_m3_per_s(load_w) * lasted_s, marks

    def fill(self) -> float:
        """Fill the tank to what it held at the start; return what went in [m3]."""
        self.take_stock()
        filled_m3 = self.burnt_m3 - self.filled_m3
        self.filled_m3 = self.burnt_m3
        self._foresee()
        return filled_m3

    def started(self, machine: Machine) -> None:
        """A new run begins with nothing drawn; what was drawn by the last one is counted."""
        self._marks[machine.index] = 0.0

    def stopped(self, machine: Machine) -> None:  # noqa: ARG002  (whichever it was)
        """Count what has been burnt while it ran."""
        self.take_stock()

    def lined_up(self) -> None:
        """Count what the last lineup has burnt, and look ahead with the new one."""
        self.take_stock()
        self._foresee()

    def _most_w(self) -> float:
        """Return the greatest power that the lineup draws, at any level [W]."""
        if not self._loaded:
            return 0.0
        lineup, machines = self.plant.water.lineup, self.plant.machines
        total = 0.0
        for n, index in enumerate(lineup.running):
            if machines[index].engine_driven:
                continue
            power, slope = lineup.power_w[n], lineup.power_slope[n]
            ends = [
                at + rise * (high - low)
                for at, rise, (low, high) in zip(
                    power, slope, pairwise(lineup.edge_m3), strict=False
                )
            ]
            total += max([*power, *ends])
        return total

    def _foresee(self) -> None:
        self._piece += 1
        rate = self.what.fuel_rate_m3_per_s(self._most_w())
        if self._burns and rate > 0.0 and self.left_m3 < math.inf:
            at_s = self.plant.t_s + self.left_m3 / rate
            method = f"{self.generator.path}.fuel.looked_at"
            self.plant.at(at_s, SUPPLY, method, self._piece)

    def looked_at(self, piece: int) -> None:
        """See whether the tank is empty now; else foresee it anew.

        Parameters
        ----------
        piece
            For which piece it was foreseen.
        """
        if piece != self._piece:
            return
        self.take_stock()
        if not self.empty:
            self._foresee()
            return
        self.burnt_m3 = self.what.tank_m3 + self.filled_m3
        self.generator.out_of_fuel()

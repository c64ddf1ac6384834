"""Tankers that take water out of the well and drive it away.

Each takes its load evenly in its time, whatever the level; several may take at once. What they take
together is part of the lineup, beside what the machines pump, so the balance stays exact. An empty
well gives no more than what arrives (``Lineup.hauled_m3``); a tanker then leaves with less.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

TANKER = "tanker"
TAKES, FULL, NOT_FULL = "tanker takes", "tanker full", "tanker not full"

_MISSED_PART = 1e-9
"""A tanker that lacks no more than this part of its load is full [-]: a float's rounding."""


class _Load(NamedTuple):
    """A tanker at the well: the flow that it takes [m3/s], and its load [m3]."""

    flow_m3s: float
    load_m3: float


class Hauling:
    """The tankers at a well.

    Parameters
    ----------
    plant
        The plant that they come to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.flow_m3s = 0.0  # all that they take together, while there is enough
        self._loads: dict[int, _Load] = {}
        self._taken_m3: dict[int, float] = {}
        self._mark_m3 = 0.0
        self._came = 0

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {TAKES: self._takes}

    def _takes(self, event: ScriptedEvent, _over_s: float) -> None:
        plant = self.plant
        self._share_out()
        self._came += 1
        self._loads[self._came] = _Load(event.amount / event.per_s, event.amount)
        self._taken_m3[self._came] = 0.0
        self._add_up()
        lasts = show(event.per_s, "duration", "si")
        plant.note(TANKER, TAKES, event.cause, f"{event.amount:g} m3 in {lasts}")
        plant.at(plant.t_s + event.per_s, FAULT, "hauling.over", self._came)

    def over(self, number: int) -> None:
        """A tanker has had its time and drives away.

        Parameters
        ----------
        number
            Which tanker, counted from the first that came [-].
        """
        self._share_out()
        load, taken_m3 = self._loads.pop(number), self._taken_m3.pop(number)
        self._add_up()
        full = taken_m3 >= load.load_m3 * (1.0 - _MISSED_PART)
        self.plant.note(
            TANKER,
            FULL if full else NOT_FULL,
            "loaded" if full else "the well gave no more",
            f"{taken_m3:.3f} m3 taken",
        )

    def _share_out(self) -> None:
        """Give each tanker its part of what has been taken since they were last looked at."""
        hauled_m3 = self.plant.water.hauled_m3
        if self._loads:
            part = (hauled_m3 - self._mark_m3) / self.flow_m3s
            for number, load in self._loads.items():
                self._taken_m3[number] += load.flow_m3s * part
        self._mark_m3 = hauled_m3

    def _add_up(self) -> None:
        # in one order, so that what came first changes no digit
        self.flow_m3s = sum(sorted(load.flow_m3s for load in self._loads.values()))

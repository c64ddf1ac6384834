"""The electric supply of a plant: the grid, and what stands in for it.

``live`` says whether the pumps' busbar has voltage. The engine-driven pump needs none.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import SUPPLY
from stationsim.simulation.stories import grid_outage

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble import Handlers

RETURN_BREAK = "short break after the return"
"""Why the supply fails once more when the grid is back."""


class Supply:
    """The electric supply of a plant.

    Parameters
    ----------
    plant
        The plant that is supplied.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.grid_on = True
        self.live = True
        self._grid_back_s = -math.inf
        self._in_break = False

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {"grid loss": self._scripted_loss}

    def _scripted_loss(self, event: ScriptedEvent, over_s: float) -> None:
        self.grid_lost(over_s, event.cause)

    def grid_lost(self, back_s: float, cause: str = "scripted") -> None:
        """The grid fails; electric pumps stop.

        Parameters
        ----------
        back_s
            When it is back [s].
        cause
            Why it fails.
        """
        plant = self.plant
        self._in_break = cause == RETURN_BREAK
        if not self.grid_on:
            if back_s > self._grid_back_s:
                self._grid_back_s = back_s
                plant.tell(grid_outage(plant, back_s))
            return
        self._grid_back_s = back_s
        self.grid_on = self.live = False
        plant.power_changed()
        plant.recorder.power(plant.t_s, "grid", "out", "grid lost")
        plant.note("grid", "grid lost", cause)
        for machine in plant.electric:
            plant.stop(machine, "power lost")
        delay = plant.station.alarms.power_failed_delay_s
        plant.alarms.condition("power failed", "station", delay, "grid lost", on=True)
        plant.panel_changed()
        plant.tell(grid_outage(plant, back_s))

    def grid_back(self) -> None:
        """The grid is on again, unless a longer outage has begun meanwhile."""
        plant = self.plant
        if plant.clock.now < self._grid_back_s - 1e-6:
            return
        self.grid_on = self.live = True
        plant.power_changed()
        plant.recorder.power(plant.t_s, "grid", "on", "grid back")
        plant.note("grid", "grid back", RETURN_BREAK if self._in_break else "scripted")
        again = plant.station.return_break
        if again is not None and not self._in_break:
            plant.at(plant.t_s + again.after_s, SUPPLY, "supply.breaks", self._grid_back_s)
        plant.alarms.condition("power failed", "station", 0.0, "grid back", on=False)
        if plant.engine is not None:
            plant.engine.grid_back()
        plant.panel_changed()

    def breaks(self, after_return_s: float) -> None:
        """Break the supply for a moment, some time after the grid is back.

        Parameters
        ----------
        after_return_s
            The return that it follows [s]; nothing breaks when the grid was lost again since.
        """
        again = self.plant.station.return_break
        if again is None or not self.grid_on or after_return_s != self._grid_back_s:
            return
        self.grid_lost(self.plant.t_s + again.length_s, RETURN_BREAK)

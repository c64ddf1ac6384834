"""Air in a pump: it runs and moves nothing, until it has stood under water or is vented.

A pump with a level ``air_bound_below_m`` draws air when it runs while the level is at or below it.
It is free by itself when it has stood for ``vent_s`` in one go with the level at or above that
level; without such a level any level does.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

KIND = "air-bound"


class AirBound(Follower):
    """The air in the pumps of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        well = plant.station.well
        self._limit_m3 = {
            machine.index: well.volume_at(machine.unit.air_bound_below_m)
            for machine in plant.electric
            if machine.unit.air_bound_below_m is not None
        }
        self._bound: dict[int, int] = {}  # machine -> number of the time that it stands
        self._numbers = 0
        if self._limit_m3:
            plant.join(self)

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {KIND: self._scripted}

    def _scripted(self, event: ScriptedEvent, over_s: float) -> None:
        self._binds(self.plant.machine(event.subject), event.cause, over_s)

    def _binds(self, machine: Machine, cause: str, over_s: float) -> None:
        plant, name = self.plant, machine.unit.name
        plant.note(name, KIND, cause, "moves nothing")
        plant.conditions.lose(machine.index, KIND, 0.0)
        plant.standing.begin(name, KIND, over_s, "air.vented")
        plant.join(self)
        self._bound[machine.index] = 0
        self._stands(machine)

    def started(self, machine: Machine) -> None:
        """See whether it draws air; the time that it stood is over."""
        if machine.index in self._bound:
            self._bound[machine.index] = 0
        elif self._draws_air(machine):
            self._binds(machine, "drew air", math.inf)

    def stopped(self, machine: Machine) -> None:
        """Its air may rise out from now on."""
        if machine.index in self._bound:
            self._stands(machine)

    def lined_up(self) -> None:
        """The water may turn round where it stands."""
        for index in self._bound:
            self._stands(self.plant.machines[index])

    def level_passed(self) -> None:
        """The level has passed a limit, on its way up or down."""
        for machine in self.plant.electric:
            if machine.index not in self._limit_m3:
                continue
            if machine.index in self._bound:
                self._stands(machine)
            elif machine.running and self._draws_air(machine):
                self._binds(machine, "drew air", math.inf)

    def _draws_air(self, machine: Machine) -> bool:
        return self.plant.v_m3 <= self._limit_m3.get(machine.index, -math.inf)

    def _under_water(self, machine: Machine) -> bool:
        limit = self._limit_m3.get(machine.index, -math.inf)
        water = self.plant.water
        return water.v_m3 > limit or (water.v_m3 == limit and water.direction >= 0)

    def _stands(self, machine: Machine) -> None:
        """Count the time that it stands under water, from the moment at which both hold."""
        plant, index = self.plant, machine.index
        if machine.running or not self._under_water(machine):
            self._bound[index] = 0
        elif self._bound[index] == 0 and machine.unit.vent_s < math.inf:
            self._numbers += 1
            self._bound[index] = self._numbers
            plant.at(plant.t_s + machine.unit.vent_s, FAULT, "air.out", index, self._numbers)

    def out(self, index: int, number: int) -> None:
        """Let a pump be free that has stood long enough.

        Parameters
        ----------
        index
            Which machine.
        number
            Number of the time that it stands; it may have run since.
        """
        if self._bound.get(index) == number:
            name = self.plant.machines[index].unit.name
            self.plant.standing.end(name, KIND, "stood under water")

    def vented(self, subject: str, kind: str, cause: str) -> None:
        """Let the air out of a pump (see ``Standing.begin``)."""
        plant = self.plant
        machine = plant.machine(subject)
        del self._bound[machine.index]
        if not self._bound and not self._limit_m3:
            plant.leave(self)
        plant.conditions.regain(machine.index, kind)
        plant.note(subject, "air let out", cause)
        if machine.running and self._draws_air(machine):
            self._binds(machine, "drew air", math.inf)

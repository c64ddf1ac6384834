"""Motor temperatures while the station runs: when each trips, and when it has cooled.

A temperature is known in closed form from the last change on (start, stop, a clog, the level
passing the motor's top), so nothing is stepped: at each change the temperature is brought up to
date, and the moment of the trip is put into the timetable anew.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim.simulation.clock import FAULT
from stationsim.simulation.machines import Machine

if TYPE_CHECKING:
    from stationsim.physics.motor import MotorHeat
    from stationsim.simulation.plant import Plant


@dataclass
class MotorState:
    """One motor.

    Parameters
    ----------
    what
        How it heats and cools.
    temperature_c, at_s
        Its temperature [degC] at a moment [s].
    heat
        Heat of the piece of a run that goes on, over that of full load [-]; None while it stands.
    piece
        Number of the piece, so that a trip foreseen for another piece is void.
    resets
        Resets that happened by themselves since the last one by hand.
    """

    what: MotorHeat
    temperature_c: float
    at_s: float = 0.0
    heat: float | None = None
    piece: int = 0
    resets: int = 0


class Heating:
    """The motors of a plant that have a thermal model.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.motors = {
            machine.index: MotorState(machine.unit.motor_heat, machine.unit.motor_heat.ambient_c)
            for machine in plant.machines
            if machine.unit.motor_heat is not None
        }

    def temperature_c(self, machine: int) -> float:
        """Return the temperature of a motor at the committed moment [degC]; NaN without a model.

        Parameters
        ----------
        machine
            Index of the machine.
        """
        motor = self.motors.get(machine)
        if motor is None:
            return math.nan
        for_s = self.plant.t_s - motor.at_s
        if motor.heat is None:
            return motor.what.after_standing_c(motor.temperature_c, for_s)
        return motor.what.after_running_c(motor.temperature_c, for_s, motor.heat)

    def look(self, machine: Machine) -> None:
        """Take note that a machine starts, stops, or heats otherwise from now on.

        Parameters
        ----------
        machine
            Which machine.
        """
        motor = self.motors.get(machine.index)
        if motor is None:
            return
        plant, unit = self.plant, machine.unit
        motor.temperature_c = self.temperature_c(machine.index)
        motor.at_s = plant.t_s
        motor.piece += 1
        motor.heat = None
        if not machine.running:
            return
        submerged = unit.motor_top_m is None or self._covered(unit.motor_top_m)
        motor.heat = motor.what.heat(
            ragged=plant.conditions.ragged(machine.index), submerged=submerged
        )
        trips_s = plant.t_s + motor.what.time_to_trip_s(motor.temperature_c, motor.heat)
        if trips_s < math.inf:
            plant.at(trips_s, FAULT, "heating.trips", machine.index, motor.piece)

    def _covered(self, top_m: float) -> bool:
        level, direction = self.plant.level_m, self.plant.water.direction
        return level > top_m or (level == top_m and direction >= 0)

    def look_at_all(self) -> None:
        """Take note that something has changed for every motor that runs."""
        for index in self.motors:
            if self.plant.machines[index].running:
                self.look(self.plant.machines[index])

    def trips(self, index: int, piece: int) -> None:
        """Trip a motor whose time has come, if it is still the same piece of its run.

        Parameters
        ----------
        index
            Which machine.
        piece
            For which piece the trip was foreseen.
        """
        machine = self.plant.machines[index]
        motor = self.motors[index]
        if motor.piece != piece or not machine.running:
            return
        motor.temperature_c, motor.at_s, motor.heat = motor.what.trip_c, self.plant.t_s, None
        motor.piece += 1
        most = machine.unit.most_resets
        again = most is None or motor.resets < most
        cooled_s = self.plant.t_s + motor.what.time_to_reset_s(motor.what.trip_c)
        motor.resets += 1
        self.plant.blocks.too_hot(machine, cooled_s, resets_itself=again)
        motor.temperature_c, motor.at_s = motor.what.trip_c, self.plant.t_s

    def reset_by_hand(self, machine: Machine) -> None:
        """Let a motor have all its tries again.

        Parameters
        ----------
        machine
            Which machine.
        """
        if machine.index in self.motors:
            self.motors[machine.index].resets = 0

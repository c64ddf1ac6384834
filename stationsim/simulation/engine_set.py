"""The engine-driven pump while it runs: its own start rule, its phases, its fuel.

Phases: stopped, starting, running, failed, out of fuel. It has its own start panel and battery, so
it asks neither the grid nor the controller. In auto it is called when the grid is out and the level
is at or above its start level; in hand it is called at once.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.equipment.engine_pump import EnginePump
from stationsim.signals import level_text
from stationsim.simulation.clock import SAME_INSTANT_S, SUPPLY
from stationsim.simulation.machines import FAILED, Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


class EngineSet:
    """The engine-driven pump of a plant.

    Parameters
    ----------
    what
        What stands there.
    machine
        Its running state.
    plant
        The plant that it serves.
    """

    def __init__(self, what: EnginePump, machine: Machine, plant: Plant) -> None:
        self.what = what
        self.machine = machine
        self.plant = plant
        self.phase = "stopped"
        self.fuel_m3 = what.tank_m3
        self._run = 0
        self._start_m3 = plant.station.well.volume_at(what.start_level_m)
        self._stop_m3 = plant.station.well.volume_at(what.stop_level_m)

    @property
    def name(self) -> str:
        """Its name."""
        return self.machine.unit.name

    @property
    def waits(self) -> str:
        """What it waits for: ``may start``, ``runs``, or nothing."""
        if self.phase == "running":
            return "runs" if self.machine.mode == "auto" else ""
        if self.phase == "stopped" and self.machine.able and not self.plant.supply.live:
            return "may start"
        return ""

    def called(self) -> bool:
        """Return whether its start panel wants it to run now."""
        machine, plant = self.machine, self.plant
        if not machine.able:
            return False
        if machine.mode == "hand":
            return True
        return not plant.supply.live and plant.v_m3 >= self._start_m3

    def look(self) -> None:
        """See whether it has to start or to stop."""
        machine, plant = self.machine, self.plant
        if self.phase == "running":
            if not machine.able:
                self.stop(machine.why_not)
            elif machine.mode == "auto" and plant.v_m3 <= self._stop_m3:
                self.stop(f"level at stop {level_text(self.what.stop_level_m)}")
        if self.phase == "failed" and FAILED not in machine.blocks:
            self._turn("stopped", "reset")
        if self.phase == "stopped" and FAILED in machine.blocks:
            self._turn("failed", machine.why_not)
        if self.phase == "stopped" and self.called():
            cause = (
                "selector in hand"
                if machine.mode == "hand"
                else f"grid out, level at start {level_text(self.what.start_level_m)}"
            )
            if self.fuel_m3 <= self.what.fuel_m3_per_s * SAME_INSTANT_S:
                self._tank_empty()
                return
            what = self.what
            takes_s = what.start_delay_s + what.crank_s + what.warm_up_s + what.prime_s
            if takes_s <= 0.0 and not machine.will_not_start:
                self.run(cause)
                return
            from stationsim.simulation.stories import engine_start  # the story names this class

            self._turn("starting", cause)
            plant.note(self.name, "engine called", cause)
            plant.tell(engine_start(self, cause))

    def run(self, cause: str) -> None:
        """The engine is up: the pump draws."""
        plant, machine = self.plant, self.machine
        plant.start(machine, "engine-driven", cause)
        if not machine.running:
            self._turn("stopped", machine.why_not)
            return
        self._turn("running", cause)
        self._run += 1
        if self.what.fuel_m3_per_s > 0.0 and self.fuel_m3 < math.inf:
            empty_s = plant.t_s + self.fuel_m3 / self.what.fuel_m3_per_s
            plant.at(empty_s, SUPPLY, "engine.out_of_fuel", self._run)

    def no_longer_wanted(self) -> bool:
        """Return whether the start has been overtaken; if so, give it up and settle."""
        machine, plant = self.machine, self.plant
        if self.phase == "starting" and not machine.able:
            self.give_up(machine.why_not)
        elif self.phase == "starting" and machine.mode == "auto" and plant.supply.live:
            self.give_up("grid back")
        if self.phase == "starting":
            return False
        plant.settle()
        return True

    def failed_to_start(self) -> None:
        """It has cranked in vain as often as it may: failed, until it is reset by hand."""
        self.plant.blocks.fails_to_start(self.machine)
        self._turn("failed", "did not fire")

    def give_up(self, cause: str) -> None:
        """The call is gone before the engine was up."""
        self._turn("stopped", cause)
        self.plant.note(self.name, "call given up", cause)

    def stop(self, cause: str) -> None:
        """Stop the engine and take stock of the fuel."""
        self._burn()
        self.plant.stop(self.machine, cause)
        self._turn("failed" if FAILED in self.machine.blocks else "stopped", cause)

    def out_of_fuel(self, run: int) -> None:
        """The tank is empty, if it is still the same run."""
        if run != self._run or self.phase != "running":
            return
        self.plant.stop(self.machine, "out of fuel")
        self._tank_empty()

    def _tank_empty(self) -> None:
        self.fuel_m3 = 0.0
        self._turn("out of fuel", "tank empty")
        self.plant.note(self.name, "out of fuel", "tank empty")
        self.plant.alarms.condition("engine failed", self.name, 0.0, "out of fuel", on=True)

    def grid_back(self) -> None:
        """The grid is on again."""
        stops = self.what.at_grid_return == "stop" and self.machine.mode == "auto"
        if self.phase == "running" and stops:
            self.stop("grid back")

    def close(self) -> None:
        """Take stock of the fuel at the end of the run."""
        if self.phase == "running":
            self._burn()

    def _burn(self) -> None:
        ran_s = self.plant.t_s - self.machine.started_s
        self.fuel_m3 = max(self.fuel_m3 - ran_s * self.what.fuel_m3_per_s, 0.0)

    def _turn(self, phase: str, cause: str) -> None:
        self.phase = phase
        self.plant.recorder.power(self.plant.t_s, self.name, phase, cause)

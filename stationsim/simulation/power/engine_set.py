"""The engine-driven pump while it runs: its own start rule, its phases, its fuel.

Phases: stopped, starting, running, failed, out of fuel. It has its own start panel and battery, so
it asks neither the grid nor the controller. In auto it is called when the pumps' busbar is dead and
the level is at or above its start level; in hand it is called at once.

With a flat battery it does not crank at all and is failed as soon as it is called. One that fails
to prime runs, burns fuel and moves nothing; priming begins once it is warm, and after its limit the
panel stops it as failed. A pump that was primed when the trouble began stays so until it stops.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.signals import level_text
from stationsim.simulation.clock import SAME_INSTANT_S, SUPPLY
from stationsim.simulation.machines import FAILED, Machine
from stationsim.simulation.power.fuel import NOT_COUNTED, REFUELLED, REFUELLING_REFUSED
from stationsim.simulation.power.transfer import DEAD, GRID
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

NOT_PRIMED = "fails to prime"
"""The condition of a pump that draws no water, and why it stops."""


class EngineSet:
    """The engine-driven pump of a plant, and what it has in common with a bypass pump.

    Parameters
    ----------
    what
        What stands there.
    machine
        Its running state.
    plant
        The plant that it serves.
    """

    path = "engine"
    """How a timetable of the plant finds it."""
    role = "engine-driven"
    """Role of its runs."""
    first_phase = "stopped"
    """How it stands at time nought."""

    def __init__(self, what: EnginePump, machine: Machine, plant: Plant) -> None:
        self.what = what
        self.machine = machine
        self.plant = plant
        self.phase = self.first_phase
        self.fuel_m3 = what.tank_m3
        self.battery_flat = False
        self.will_not_prime = False
        self.exercising = False
        self._dry = False
        self._call = 0
        self._run = 0
        self._start_m3 = plant.station.well.volume_at(what.start_level_m)
        self.stop_m3 = plant.station.well.volume_at(what.stop_level_m)

    @property
    def at_stop(self) -> str:
        """Why it stops at its stop level, in trade words."""
        return f"level at stop {level_text(self.what.stop_level_m)}"

    @property
    def name(self) -> str:
        """Its name."""
        return self.machine.unit.name

    @property
    def waits(self) -> str:
        """What it waits for: ``may start``, ``runs``, or nothing."""
        if self.phase == "running":
            return "runs" if self.machine.mode == "auto" else ""
        if self.phase == "stopped" and self.machine.able and self.needed():
            return "may start"
        return ""

    def needed(self) -> bool:
        """Return whether things are so that it starts at its start level."""
        return self.plant.supply.source == DEAD

    def no_longer_needed(self) -> str:
        """Return why a start in auto is given up; empty when it goes on."""
        source = self.plant.supply.source
        if source == DEAD:
            return ""
        return "grid back" if source == GRID else "supply back"

    def why_called(self) -> str:
        """Return why it is called in auto, in trade words."""
        out = "busbar dead" if self.plant.supply.grid_on else "grid out"
        return f"{out}, level at start {level_text(self.what.start_level_m)}"

    def called(self) -> bool:
        """Return whether its start panel wants it to run now."""
        machine, plant = self.machine, self.plant
        if not machine.able:
            return False
        if machine.mode == "hand":
            return True
        return self.needed() and plant.v_m3 >= self._start_m3

    def look(self) -> None:
        """See whether it has to start or to stop."""
        machine, plant = self.machine, self.plant
        if self.phase == "running":
            if not machine.able:
                self.stop(machine.why_not)
            elif machine.mode == "auto" and plant.v_m3 <= self.stop_m3:
                self.stop(self.at_stop)
        if self.phase == "failed" and FAILED not in machine.blocks:
            self._turn("stopped", "reset")
        if self.phase == "stopped" and FAILED in machine.blocks:
            self._turn("failed", machine.why_not)
        if self.phase == "stopped" and self.called():
            self._call_it("selector in hand" if machine.mode == "hand" else self.why_called())

    # ------------------------------------------------------------------ starting

    def _call_it(self, cause: str) -> None:
        machine, plant, what = self.machine, self.plant, self.what
        if plant.luck.armed:
            plant.luck.demand(self.name)
            if not machine.able:  # chance has taken it out
                if FAILED in machine.blocks:
                    self._turn("failed", machine.why_not)
                self._exercised("failed")
                return
        if self.fuel_m3 <= what.fuel_m3_per_s * SAME_INSTANT_S:
            self._tank_empty()
            return
        takes_s = what.start_delay_s + what.crank_s + what.warm_up_s + what.prime_s
        if takes_s <= 0.0 and not machine.will_not_start and not self.battery_flat:
            self.run(cause)
            return
        self._turn("starting", cause)
        plant.note(self.name, "engine called", cause)
        if self.battery_flat:
            plant.note(self.name, "does not crank", "battery flat")
            self._failed_to_start("battery flat")
            return
        self._call += 1
        first_s = plant.t_s + (what.start_delay_s + what.crank_s)
        plant.at(first_s, SUPPLY, f"{self.path}.cranked", self._call, 1, cause)

    def cranked(self, call: int, tried: int, cause: str) -> None:
        """One crank is over: it has fired, or not.

        Parameters
        ----------
        call
            Which call it belongs to.
        tried
            Which try it was.
        cause
            Why it was called.
        """
        what, plant = self.what, self.plant
        if call != self._call or self._no_longer_wanted():
            return
        if not self.machine.will_not_start:
            if what.warm_up_s + what.prime_s > 0.0:
                up_s = plant.t_s + (what.warm_up_s + what.prime_s)
                plant.at(up_s, SUPPLY, f"{self.path}.up", call, cause)
            else:
                self.run(cause)
            return
        plant.note(self.name, "crank failed", f"try {tried} of {what.crank_tries}")
        if tried < what.crank_tries:
            again_s = plant.t_s + (what.crank_rest_s + what.crank_s)
            plant.at(again_s, SUPPLY, f"{self.path}.cranked", call, tried + 1, cause)
        else:
            self._failed_to_start("did not fire")

    def up(self, call: int, cause: str) -> None:
        """It is warm, and primed if it can be.

        Parameters
        ----------
        call
            Which call it belongs to.
        cause
            Why it was called.
        """
        if call == self._call and not self._no_longer_wanted():
            self.run(cause)

    def run(self, cause: str) -> None:
        """The engine is up: the pump draws, unless it could not be primed."""
        plant, machine, what = self.plant, self.machine, self.what
        role = "exercise" if self.exercising else self.role
        plant.start(machine, role, cause)
        if not machine.running:
            self._turn("stopped", machine.why_not)
            self._exercised(f"left out: {machine.why_not}")
            return
        self._turn("running", cause)
        self._run += 1
        if what.fuel_m3_per_s > 0.0 and self.fuel_m3 < math.inf:
            empty_s = plant.t_s + self.fuel_m3 / what.fuel_m3_per_s
            plant.at(empty_s, SUPPLY, f"{self.path}.out_of_fuel", self._run)
        if self.exercising and plant.exercises is not None:
            plant.exercises.runs(self.name)
        if self.will_not_prime:
            self._dry = True
            plant.conditions.lose(machine.index, NOT_PRIMED, 0.0)
            primes_s = max(what.prime_limit_s - what.prime_s, 0.0)
            plant.at(plant.t_s + primes_s, SUPPLY, f"{self.path}.not_primed", self._run)

    def not_primed(self, run: int) -> None:
        """It has primed for as long as it may: its panel stops it as failed.

        Parameters
        ----------
        run
            Which run it belongs to.
        """
        if run == self._run and self.phase == "running" and self._dry:
            self.plant.note(self.name, "not primed", NOT_PRIMED)
            self.plant.blocks.fails_to_start(self.machine)
            self.stop(NOT_PRIMED)

    def _no_longer_wanted(self) -> bool:
        """Return whether the start has been overtaken; if so, give it up."""
        machine = self.machine
        if self.phase == "starting" and not machine.able:
            self.give_up(machine.why_not)
        elif self.phase == "starting" and machine.mode == "auto" and not self.exercising:
            why = self.no_longer_needed()
            if why:
                self.give_up(why)
        return self.phase != "starting"

    def _failed_to_start(self, cause: str) -> None:
        """It does not run: failed, until it is reset by hand."""
        self.plant.blocks.fails_to_start(self.machine)
        self._turn("failed", cause)
        self._exercised("failed")

    def give_up(self, cause: str) -> None:
        """The call is gone before the engine was up."""
        self._turn("stopped", cause)
        self.plant.note(self.name, "call given up", cause)
        self._exercised(f"cut short: {cause}")

    # ------------------------------------------------------------------ stopping

    def stop(self, cause: str) -> None:
        """Stop the engine and take stock of the fuel."""
        self._burn()
        self.plant.stop(self.machine, cause)
        self._primed()
        failed = FAILED in self.machine.blocks
        self._turn("failed" if failed else "stopped", cause)
        ran = cause == "exercise over" or cause.startswith("level at stop")
        self._exercised("failed" if failed else "ran" if ran else f"cut short: {cause}")

    def out_of_fuel(self, run: int) -> None:
        """The tank is empty, if it is still the same run."""
        if run != self._run or self.phase != "running":
            return
        if self._left_m3() > self.what.fuel_m3_per_s * SAME_INSTANT_S:
            return  # somebody has filled it meanwhile
        self.plant.stop(self.machine, "out of fuel")
        self._primed()
        self._tank_empty()

    def _tank_empty(self) -> None:
        self.fuel_m3 = 0.0
        self._turn("out of fuel", "tank empty")
        self.plant.note(self.name, "out of fuel", "tank empty")
        self.plant.alarms.condition("engine failed", self.name, 0.0, "out of fuel", on=True)
        self._exercised("failed")

    @property
    def fuel_part(self) -> float:
        """Part of what the tank held at the start that is left at this moment [-].

        One where its fuel is not counted.
        """
        tank_m3 = self.what.tank_m3
        if not self._counted:
            return 1.0
        return self._left_m3() / tank_m3 if tank_m3 > 0.0 else 0.0

    @property
    def _counted(self) -> bool:
        return self.what.fuel_m3_per_s > 0.0 and self.what.tank_m3 < math.inf

    def _left_m3(self) -> float:
        if self.phase != "running":
            return self.fuel_m3
        ran_s = self.plant.t_s - self.machine.started_s
        return max(self.fuel_m3 - ran_s * self.what.fuel_m3_per_s, 0.0)

    def refuel(self, cause: str) -> None:
        """Somebody fills its tank; if it stood for want of fuel it can run again.

        Parameters
        ----------
        cause
            Why.
        """
        plant, what, name = self.plant, self.what, self.name
        if not self._counted:
            plant.note(name, REFUELLING_REFUSED, NOT_COUNTED)
            return
        filled_m3 = what.tank_m3 - self._left_m3()
        filled = plant.trace.filled_m3
        if filled_m3 > 0.0:
            filled[name] = filled.get(name, 0.0) + filled_m3
        plant.note(name, REFUELLED, cause, f"{show(filled_m3, 'fuel', 'si')} filled")
        self.fuel_m3 = what.tank_m3
        if self.phase == "running":
            # as if it had begun its run with what it has burnt since on top
            self.fuel_m3 += (plant.t_s - self.machine.started_s) * what.fuel_m3_per_s
            empty_s = plant.t_s + what.tank_m3 / what.fuel_m3_per_s
            plant.at(empty_s, SUPPLY, f"{self.path}.out_of_fuel", self._run)
        elif self.phase == "out of fuel":
            if FAILED not in self.machine.blocks:
                plant.alarms.condition("engine failed", name, 0.0, REFUELLED, on=False)
            self._turn("stopped", REFUELLED)

    def supply_back(self, source: str) -> None:
        """The busbar is live again.

        Parameters
        ----------
        source
            What feeds it.
        """
        stops = self.what.at_grid_return == "stop" and self.machine.mode == "auto"
        if self.phase == "running" and stops and not self.exercising:
            self.stop("grid back" if source == GRID else "supply back")

    def close(self) -> None:
        """Take stock of the fuel at the end of the run."""
        if self.phase == "running":
            self._burn()

    # ------------------------------------------------------------------ exercise

    def why_no_exercise(self) -> str:
        """Return why it cannot be exercised now; empty when it can."""
        if self.phase != "stopped":
            return self.phase
        if self.plant.v_m3 <= self.stop_m3:
            return "level at stop"
        return ""

    def exercise(self) -> None:
        """Start it for an exercise run, as if it had been called."""
        self.exercising = True
        self._call_it("exercise")

    def exercise_over(self, cause: str) -> None:
        """The time of its exercise is over; in hand it runs on.

        Parameters
        ----------
        cause
            Why it stops.
        """
        if self.phase == "running" and self.machine.mode == "auto":
            self.stop(cause)
        else:
            self._exercised("ran")

    def exercise_cut_short(self, cause: str) -> None:
        """Its exercise ends; if its own rule calls it now it runs on, or goes on starting.

        Parameters
        ----------
        cause
            Why.
        """
        self._exercised(f"cut short: {cause}")
        if self.called():
            return
        if self.phase == "running":
            self.stop(cause)
        elif self.phase == "starting":
            self.give_up(cause)

    def _exercised(self, outcome: str) -> None:
        if self.exercising:
            self.exercising = False
            if self.plant.exercises is not None:
                self.plant.exercises.ended(self.name, outcome)

    # ------------------------------------------------------------------ trouble

    def goes_wrong(self, event: ScriptedEvent, over_s: float) -> None:
        """Its battery is flat, or it will not prime, from now on.

        Parameters
        ----------
        event
            What happens.
        over_s
            When it is over [s].
        """
        if event.kind == NOT_PRIMED:
            self.will_not_prime = True
        else:
            self.battery_flat = True
        self.plant.note(self.name, event.kind, event.cause, "nobody knows until it is called")
        self.plant.standing.begin(event.subject, event.kind, over_s, f"{self.path}.mended")

    def mended(self, _subject: str, kind: str, cause: str) -> None:
        """Let it crank, or prime, again (see ``Standing.begin``)."""
        if kind == "battery flat":
            self.battery_flat = False
            self.plant.note(self.name, "can start again", cause)
        else:
            self.will_not_prime = False
            self._primed()
            self.plant.note(self.name, "can prime again", cause)

    def _primed(self) -> None:
        if self._dry:
            self._dry = False
            self.plant.conditions.regain(self.machine.index, NOT_PRIMED)

    def _burn(self) -> None:
        ran_s = self.plant.t_s - self.machine.started_s
        self.fuel_m3 = max(self.fuel_m3 - ran_s * self.what.fuel_m3_per_s, 0.0)

    def _turn(self, phase: str, cause: str) -> None:
        self.phase = phase
        self.plant.recorder.power(self.plant.t_s, self.name, phase, cause)

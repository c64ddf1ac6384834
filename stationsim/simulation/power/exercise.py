"""Exercise runs: what is run at a set time, one after another, so that dormant faults are found.

At each time come the electric pumps that have not run since the last one, then the engine-driven
pump, then the fixed generator without load. A pump under exercise shows as running and not ready,
so the controller neither stops nor counts it; it stops when its time is over, or when the level has
fallen to the controller's stop level. What cannot be run is left out and the reason told. A loss of
the grid ends an exercise: an engine that its own start rule then calls pumps on, and a generator
runs on for the transfer switch.

That a machine ran is all that the panel can tell: one that is air-bound, not primed or shut in has
'ran' as well. The truth is told beside it, as an event that nobody notices.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.physics.balance import REACHED_TIME
from stationsim.signals import level_text
from stationsim.simulation.clock import CONTROLLER, CROSSING, SAME_INSTANT_S
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Machine
from stationsim.simulation.power.transfer import GENERATOR, GRID

if TYPE_CHECKING:
    from stationsim.equipment.exercise import Exercise
    from stationsim.simulation.plant import Plant

EXERCISE = "exercise"
"""Role of an exercise run, and why it began."""

OVER = "exercise over"

MOVED_NOTHING = "moved nothing"
"""What is told, and nobody notices, of a pump that ran for its exercise and moved no water."""

_NO_WATER_M3 = 1e-9


class Exercises(Follower):
    """The exercise runs of a plant.

    Parameters
    ----------
    what
        When what is exercised.
    plant
        The plant that it belongs to.
    """

    def __init__(self, what: Exercise, plant: Plant) -> None:
        self.what = what
        self.plant = plant
        self.under = ""  # what is under exercise now
        self._queue: list[str] = []
        self._last_s = 0.0
        self._piece = 0
        self._look = 0
        stop_m = getattr(plant.station.control.settings, "stop_m", None)
        self._stop_m: float | None = stop_m if isinstance(stop_m, float) else None

    def begin(self) -> None:
        """Foresee the first time, at time nought."""
        behind_s = self.plant.episode.clock_offset_s - self.what.first_clock_s
        self._foresee(max(math.ceil(behind_s / self.what.every_s), 0))

    def _foresee(self, number: int) -> None:
        clock_s = self.what.first_clock_s + number * self.what.every_s
        at_s = clock_s - self.plant.episode.clock_offset_s
        self.plant.at(at_s, CONTROLLER, "exercises.due", number)

    def due(self, number: int) -> None:
        """The time of an exercise has come.

        Parameters
        ----------
        number
            Which time it is.
        """
        self._foresee(number + 1)
        if self.under:
            return  # the last one still goes on
        plant, what = self.plant, self.what
        queue: list[str] = []
        if what.pump_s > 0.0:
            queue += [m.unit.name for m in plant.electric if not self._has_run(m)]
        if what.engine_s > 0.0 and plant.engine is not None:
            queue.append(plant.engine.name)
        if what.generator_s > 0.0 and plant.supply.generator is not None:
            queue.append(GENERATOR)
        self._queue, self._last_s = queue, plant.t_s
        self._next()

    def _has_run(self, machine: Machine) -> bool:
        ran = machine.stopped_s > self._last_s and machine.role != EXERCISE
        return machine.running or ran

    def _next(self) -> None:
        self.under = ""
        while self._queue and not self.under:
            name = self._queue.pop(0)
            why = self._why_not(name)
            if why:
                self._note_end(name, f"left out: {why}")
                continue
            self.plant.note(name, "exercise begins", EXERCISE)
            self.under = name
            self._piece += 1
            if name == GENERATOR:
                self._start_generator()
            elif name in {m.unit.name for m in self.plant.electric}:
                self._start_pump(self.plant.machine(name))
            elif self.plant.engine is not None:
                self.plant.engine.exercise()

    def _why_not(self, name: str) -> str:
        """Return why something cannot be exercised now; empty when it can."""
        plant = self.plant
        if plant.supply.source != GRID:
            return "not on the grid"
        generator = plant.supply.generator
        if name == GENERATOR and generator is not None:
            return "" if generator.phase == "stopped" else generator.phase
        machine = plant.machine(name)
        if machine.why_not or machine.mode != "auto":
            return machine.why_not or f"selector in {machine.mode}"
        if machine.engine_driven and plant.engine is not None:
            return plant.engine.why_no_exercise()
        return self._why_not_electric(machine)

    def _why_not_electric(self, machine: Machine) -> str:
        plant, stop_m = self.plant, self._stop_m
        rested_s = machine.stopped_s + machine.unit.min_off_s
        reasons = (
            (machine.running, "it runs"),
            (machine.called, "no run signal yet"),
            (bool(machine.held), machine.held),
            (not plant.powered, "no supply"),
            (plant.t_s < rested_s - SAME_INSTANT_S, "minimum off time not over"),
            (stop_m is not None and plant.level_m <= stop_m, "level at stop"),
        )
        return next((why for holds, why in reasons if holds), "")

    # ------------------------------------------------------------------ electric pumps

    def _start_pump(self, machine: Machine) -> None:
        plant = self.plant
        machine.exercised = True
        plant.panel_changed()
        plant.start(machine, EXERCISE, EXERCISE)
        if machine.running:
            plant.join(self)
            plant.at(plant.t_s + self.what.pump_s, CONTROLLER, "exercises.over", self._piece)
            return
        machine.exercised = False
        name = machine.unit.name
        self._note_end(name, "failed" if machine.called or machine.blocks else "left out: refused")
        self.under = ""

    def stopped(self, machine: Machine) -> None:
        """Its run is over, whoever has stopped it."""
        if machine.unit.name == self.under and machine.exercised:
            machine.exercised = False
            self.plant.panel_changed()
            why = machine.stopped_by
            ran = why == OVER or why.startswith("level at stop")
            self._done("failed" if machine.blocks else "ran" if ran else f"cut short: {why}")

    def lined_up(self) -> None:
        """Look ahead to the moment at which the level reaches the stop level."""
        plant = self.plant
        if self._stop_m is None or not self.under or not plant.machine(self.under).exercised:
            return
        self._look += 1
        ends_s = min(plant.machine(self.under).started_s + self.what.pump_s, plant.end_s)
        plant.water.clear()
        low_m3 = plant.station.well.volume_at(self._stop_m)
        found = plant.water.advance(ends_s, (low_m3,))
        plant.water.clear()
        if found.reached != REACHED_TIME:
            low = found.reached == 0
            plant.at(found.t_s, CROSSING, "exercises.looks", self._look, low)

    def looks(self, look: int, low: bool) -> None:  # noqa: FBT001
        """The level is at the stop level, or at another turn of its way.

        Parameters
        ----------
        look
            For which look ahead it was foreseen.
        low
            Whether it is at the stop level.
        """
        if look != self._look or not self.under or self._stop_m is None:
            return
        if low:
            self._stop(f"level at stop {level_text(self._stop_m)}")
        else:
            self.lined_up()

    # ------------------------------------------------------------------ engine and generator

    def _start_generator(self) -> None:
        generator = self.plant.supply.generator
        if generator is not None:
            generator.exercising = True
            generator.start(EXERCISE)
            if generator.phase not in ("starting", "running") and self.under == GENERATOR:
                generator.exercising = False
                self._done("failed")

    def runs(self, name: str) -> None:
        """Engine or generator is up: its time counts from now on.

        Parameters
        ----------
        name
            Which.
        """
        if name == self.under:
            lasts_s = self.what.generator_s if name == GENERATOR else self.what.engine_s
            self.plant.at(self.plant.t_s + lasts_s, CONTROLLER, "exercises.over", self._piece)

    def ended(self, name: str, outcome: str) -> None:
        """The exercise of engine or generator has ended by itself.

        Parameters
        ----------
        name
            Which.
        outcome
            ``ran``, ``failed``, or what cut it short.
        """
        if name == self.under:
            self._done(outcome)

    def grid_lost(self) -> None:
        """A loss of the grid ends the exercise; pumps have stopped by then."""
        plant, name = self.plant, self.under
        if name == GENERATOR and plant.supply.generator is not None:
            plant.supply.generator.exercising = False
            self._done("cut short: grid lost")
        elif plant.engine is not None and name == plant.engine.name:
            plant.engine.exercise_cut_short("grid lost")

    # ------------------------------------------------------------------ the end of one

    def over(self, piece: int) -> None:
        """The time of an exercise is over.

        Parameters
        ----------
        piece
            Which exercise it was foreseen for.
        """
        if piece == self._piece and self.under:
            self._stop(OVER)

    def _stop(self, cause: str) -> None:
        plant, name = self.plant, self.under
        if name == GENERATOR:
            generator = plant.supply.generator
            if generator is not None:
                generator.exercising = False
                generator.stop(cause)
            self._done("ran")
        elif plant.engine is not None and name == plant.engine.name:
            plant.engine.exercise_over(cause)
        else:
            machine = plant.machine(name)
            if machine.mode == "auto":
                plant.stop(machine, cause)
            else:  # a hand has taken it over
                machine.exercised = False
                self._done("ran")

    def _done(self, outcome: str) -> None:
        """Write down how it ended, and go on to the next once this instant's starts are told."""
        plant, name = self.plant, self.under
        if outcome == "ran" and name != GENERATOR and plant.machine(name).run_m3 <= _NO_WATER_M3:
            plant.note(name, MOVED_NOTHING, EXERCISE)
        self._note_end(name, outcome)
        self._piece += 1
        self._look += 1
        plant.at(plant.t_s, CONTROLLER, "exercises.next_one", self._piece)

    def next_one(self, piece: int) -> None:
        """Go on to the next that is to be exercised.

        Parameters
        ----------
        piece
            What it was foreseen for.
        """
        if piece != self._piece:
            return
        self.plant.leave(self)
        self._next()

    def _note_end(self, name: str, outcome: str) -> None:
        self.plant.note(name, "exercise ends", outcome)

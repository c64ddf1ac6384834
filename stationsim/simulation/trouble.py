"""Trouble and hands: what goes wrong, who puts it right, and what the panel makes of it.

A *block* is a reason why a machine may not run. It comes with a condition (too hot, failed,
leaking, taken out) that is over after a time or not at all; then the machine is free by itself, or
waits for a reset by hand. A reset is refused while the condition lasts.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT, SAME_INSTANT_S, SUPPLY
from stationsim.simulation.machines import FAILED, HOT, LEAK, OUT_OF_SERVICE, Block, Machine, Mode
from stationsim.simulation.stories import grid_outage
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

RETURN_BREAK = "short break after the return"
"""Why the supply fails once more when the grid is back."""

_EVENT_OF_BLOCK = {
    OUT_OF_SERVICE: "out of service",
    FAILED: "trip",
    HOT: "trip",
    LEAK: "seal leak",
}


class Trouble:
    """Everything that people and bad luck do to a plant.

    Parameters
    ----------
    plant
        The plant that it happens to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._grid_back_s = -math.inf
        self._in_break = False
        self._leak_over_s: dict[int, float] = {}
        self._hidden: dict[tuple[int, str], float] = {}

    def happen(self, event: ScriptedEvent) -> None:
        """Let a scripted event happen now.

        Parameters
        ----------
        event
            What happens.
        """
        plant = self.plant
        over_s = math.inf if event.duration_s is None else plant.t_s + event.duration_s
        if event.kind == "grid loss":
            self.grid_lost(over_s)
            return
        if event.kind in ("level signal frozen", "level signal lost"):
            plant.signal.fail(event.kind, over_s)
            return
        machine = next(m for m in plant.machines if m.unit.name == event.subject)
        if event.kind in ("hand", "off", "auto"):
            self._selector(machine, event.kind)
        elif event.kind == "reset":
            self._reset(machine)
        elif event.kind == "out of service":
            self._block(machine, OUT_OF_SERVICE, over_s, resets_itself=True)
        elif event.kind == "fails to start":
            self._will_not_start(machine, over_s)
        elif event.kind == "clogged":
            self._clogged(machine, event.flow_left, over_s)
        elif event.kind == "seal leak":
            self._seal_leak(machine, over_s, resets_itself=event.resets_itself)
        else:
            kind = FAILED if event.kind == "fails" else HOT
            if event.duration_s is None:  # nothing says how long: a reset by hand ends it
                self._block(machine, kind, plant.t_s, resets_itself=False)
            else:
                self._block(machine, kind, over_s, resets_itself=event.resets_itself)

    # ------------------------------------------------------------------ the grid

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
        if not plant.grid_on:
            if back_s > self._grid_back_s:
                self._grid_back_s = back_s
                plant.tell(grid_outage(plant, back_s))
            return
        self._grid_back_s = back_s
        plant.grid_on = False
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
        plant.grid_on = True
        plant.recorder.power(plant.t_s, "grid", "on", "grid back")
        plant.note("grid", "grid back", RETURN_BREAK if self._in_break else "scripted")
        again = plant.station.return_break
        if again is not None and not self._in_break:
            plant.at(plant.t_s + again.after_s, SUPPLY, "supply_breaks", self._grid_back_s)
        plant.alarms.condition("power failed", "station", 0.0, "grid back", on=False)
        if plant.engine is not None:
            plant.engine.grid_back()
        plant.panel_changed()

    def supply_breaks(self, after_return_s: float) -> None:
        """Break the supply for a moment, some time after the grid is back.

        Parameters
        ----------
        after_return_s
            The return that it follows [s]; nothing breaks when the grid was lost again since.
        """
        again = self.plant.station.return_break
        if again is None or not self.plant.grid_on or after_return_s != self._grid_back_s:
            return
        self.grid_lost(self.plant.t_s + again.length_s, RETURN_BREAK)

    # ------------------------------------------------------------------ blocks

    def too_hot(self, machine: Machine, cooled_s: float, *, resets_itself: bool) -> None:
        """Take out a motor that has reached its trip temperature.

        Parameters
        ----------
        machine
            Which machine.
        cooled_s
            When it will have cooled to its reset temperature [s].
        resets_itself
            Whether it is free again then, or waits for a reset by hand.
        """
        self._block(machine, HOT, cooled_s, resets_itself=resets_itself)

    def _alarm_of(self, machine: Machine, kind: str) -> str:
        if kind == FAILED and machine.engine_driven:
            return "engine failed"
        return kind

    def _block(
        self, machine: Machine, kind: str, over_s: float, *, resets_itself: bool, alarm: bool = True
    ) -> None:
        plant = self.plant
        before = machine.blocks.get(kind)
        if before is not None:  # the longer one counts, and a latch stays a latch
            over_s = max(over_s, before.over_s)
            resets_itself = resets_itself and before.resets_itself
            if before == Block(over_s, resets_itself):
                return
        machine.blocks[kind] = Block(over_s, resets_itself)
        plant.recorder.unavailable(plant.t_s, machine.index, kind)
        if over_s == math.inf:
            until = "to the end of the run"
        elif resets_itself:
            until = f"for {show(over_s - plant.t_s, 'duration', 'si')}"
        else:
            until = "until reset by hand"
        if kind != LEAK:
            plant.note(machine.unit.name, _EVENT_OF_BLOCK[kind], kind, until)
        if kind != OUT_OF_SERVICE and before is None:
            plant.trace.trips[machine.index] += 1
        if machine.running and not machine.engine_driven:
            plant.stop(machine, kind)
        if alarm and kind != OUT_OF_SERVICE:
            name = machine.unit.name
            plant.alarms.condition(self._alarm_of(machine, kind), name, 0.0, until, on=True)
        if over_s < math.inf and resets_itself:
            plant.at(over_s, FAULT, "condition_over", machine.index, kind, over_s)
        plant.panel_changed()

    def over(self, machine: Machine, kind: str, over_s: float) -> None:
        """The condition behind a block is over; the machine is free by itself.

        Parameters
        ----------
        machine
            Which machine.
        kind
            Which block.
        over_s
            When it was to be over [s]; a block that has been renewed meanwhile stays.
        """
        block = machine.blocks.get(kind)
        if block is not None and block.over_s == over_s and block.resets_itself:
            how = "back in service" if kind == OUT_OF_SERVICE else "reset"
            self._free(machine, kind, how, "by itself" if how == "reset" else "work done")
        elif block is None and kind == LEAK and self._leak_over_s.get(machine.index) == over_s:
            self.plant.alarms.condition(LEAK, machine.unit.name, 0.0, "dry again", on=False)

    def _free(self, machine: Machine, kind: str, event: str, cause: str) -> None:
        plant = self.plant
        del machine.blocks[kind]
        name = machine.unit.name
        plant.note(name, event, cause, kind)
        if kind != OUT_OF_SERVICE:
            plant.alarms.condition(self._alarm_of(machine, kind), name, 0.0, cause, on=False)
        if machine.able:
            plant.recorder.available(plant.t_s, machine.index)
        plant.panel_changed()

    def _seal_leak(self, machine: Machine, over_s: float, *, resets_itself: bool) -> None:
        plant = self.plant
        name = machine.unit.name
        stops = machine.unit.seal_leak == "stop" and not machine.engine_driven
        plant.note(name, "seal leak", "probe in the seal chamber", "stops" if stops else "runs on")
        if stops:
            self._block(machine, LEAK, over_s, resets_itself=resets_itself)
            return
        over_s = max(over_s, self._leak_over_s.get(machine.index, over_s))
        self._leak_over_s[machine.index] = over_s
        plant.alarms.condition(LEAK, name, 0.0, "probe in the seal chamber", on=True)
        if over_s < math.inf:
            plant.at(over_s, FAULT, "condition_over", machine.index, LEAK, over_s)
        plant.panel_changed()

    # ------------------------------------------------------------------ conditions that hide

    def _will_not_start(self, machine: Machine, over_s: float) -> None:
        plant = self.plant
        machine.will_not_start = True
        self._hidden[machine.index, "fails to start"] = over_s
        plant.note(
            machine.unit.name, "fails to start", "scripted", "nobody knows until it is called"
        )
        if over_s < math.inf:
            plant.at(over_s, FAULT, "free_again", machine.index, "fails to start", over_s)

    def _clogged(self, machine: Machine, flow_left: float, over_s: float) -> None:
        plant = self.plant
        machine.flow_left = flow_left
        self._hidden[machine.index, "clogged"] = over_s
        plant.note(
            machine.unit.name, "clogged", "scripted", f"{100.0 * flow_left:g} % of its flow left"
        )
        plant.condition_changed()
        if over_s < math.inf:
            plant.at(over_s, FAULT, "free_again", machine.index, "clogged", over_s)

    def free_again(self, machine: Machine, kind: str, over_s: float) -> None:
        """A condition that is no block is over, unless it has been renewed meanwhile.

        Parameters
        ----------
        machine
            Which machine.
        kind
            ``clogged`` or ``fails to start``.
        over_s
            When it was to be over [s].
        """
        if self._hidden.get((machine.index, kind)) != over_s:
            return
        plant = self.plant
        if kind == "clogged":
            machine.flow_left = 1.0
            plant.condition_changed()
            plant.note(machine.unit.name, "clear again", "work done")
        else:
            machine.will_not_start = False
            plant.note(machine.unit.name, "can start again", "work done")

    def called_in_vain(self, machine: Machine, role: str) -> None:
        """The panel calls a pump that will not start; it waits for the run signal.

        Parameters
        ----------
        machine
            Which machine.
        role
            The part that it was called to play.
        """
        plant = self.plant
        machine.called = True
        plant.note(
            machine.unit.name, "no run signal", "called, does not start", f"called as {role}"
        )
        wait_s = max(machine.unit.fail_to_start_s, 2.0 * SAME_INSTANT_S)
        plant.at(plant.t_s + wait_s, FAULT, "no_run_signal", machine.index, plant.t_s)

    def no_run_signal(self, machine: Machine, called_s: float) -> None:
        """The panel has waited long enough: the pump is failed until it is reset by hand.

        Parameters
        ----------
        machine
            Which machine.
        called_s
            When it was called [s].
        """
        machine.called = False
        self.plant.panel_changed()
        still = machine.will_not_start and machine.able and machine.started_s < called_s
        if still and self.plant.grid_on:
            self.fails_to_start(machine)

    def fails_to_start(self, machine: Machine) -> None:
        """Take a machine out that did not start; a reset by hand frees it.

        Parameters
        ----------
        machine
            Which machine.
        """
        self._block(machine, FAILED, self.plant.t_s, resets_itself=False)

    # ------------------------------------------------------------------ hands

    def _selector(self, machine: Machine, mode: Mode) -> None:
        plant = self.plant
        if machine.mode == mode:
            return
        was = machine.mode
        machine.mode = mode
        event = {"hand": "in hand", "off": "off", "auto": "in auto"}[mode]
        plant.note(machine.unit.name, event, "by hand", f"was in {was}")
        if mode == "off":
            plant.recorder.unavailable(plant.t_s, machine.index, "selector in off")
        elif machine.able:
            plant.recorder.available(plant.t_s, machine.index)
        if machine.running and not machine.engine_driven and mode != "hand":
            plant.stop(machine, f"selector in {mode}")
        elif machine.running and mode == "hand":
            machine.role = machine.role or "hand"
        plant.panel_changed()

    def _reset(self, machine: Machine) -> None:
        plant = self.plant
        waiting = [kind for kind in machine.blocks if kind != OUT_OF_SERVICE]
        if not waiting:
            plant.note(machine.unit.name, "reset refused", "nothing to reset")
            return
        for kind in waiting:
            if machine.blocks[kind].over_s > plant.t_s + 1e-6:
                plant.note(machine.unit.name, "reset refused", f"{kind} lasts")
            else:
                if kind == HOT:
                    plant.heating.reset_by_hand(machine)
                self._free(machine, kind, "reset", "by hand")

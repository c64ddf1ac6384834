"""Blocks and hands: why a machine may not run, and who frees it.

A *block* is a reason why a machine may not run. It comes with a condition (too hot, failed,
leaking, taken out) that is over after a time or not at all; then the machine is free by itself, or
waits for a reset by hand. A reset is refused while the condition lasts.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT, PEOPLE
from stationsim.simulation.machines import (
    FAILED,
    HOT,
    LEAK,
    LOW_VOLTAGE,
    MOISTURE,
    NO_FLOW,
    OUT_OF_SERVICE,
    OVERLOAD,
    Block,
    Machine,
    Mode,
)
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

_EVENT_OF_BLOCK = {
    OUT_OF_SERVICE: "out of service",
    FAILED: "trip",
    HOT: "trip",
    LEAK: "seal leak",
    OVERLOAD: "trip",
    MOISTURE: "trip",
    NO_FLOW: "trip",
    LOW_VOLTAGE: "trip",
}

BLOCK_OF_KIND = {
    "out of service": OUT_OF_SERVICE,
    "fails": FAILED,
    "high temperature": HOT,
    "overload": OVERLOAD,
}
"""Kind of event -> the block that it makes."""


class Blocks:
    """What takes the machines of a plant out, and the hands on their selectors.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._leak_over_s: dict[int, float] = {}
        # of each selector how often it was turned, and where it goes back to after a stated time
        self._hands: dict[int, tuple[int, Mode | None]] = {}

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {
            "out of service": self._out_of_service,
            "fails": self._trips,
            "high temperature": self._trips,
            "overload": self._trips,
            "seal leak": self._leaks,
            "seal leak into motor": self._moisture,
            "hand": self._turned,
            "off": self._turned,
            "auto": self._turned,
            "reset": self._pressed,
        }

    def _out_of_service(self, event: ScriptedEvent, over_s: float) -> None:
        machine = self.plant.machine(event.subject)
        self._block(machine, OUT_OF_SERVICE, over_s, resets_itself=True)

    def _trips(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        machine = plant.machine(event.subject)
        kind = BLOCK_OF_KIND[event.kind]
        if event.duration_s is None:  # nothing says how long: a reset by hand ends it
            self._block(machine, kind, plant.t_s, resets_itself=False)
        else:
            self._block(machine, kind, over_s, resets_itself=event.resets_itself)

    def _leaks(self, event: ScriptedEvent, over_s: float) -> None:
        machine = self.plant.machine(event.subject)
        self._seal_leak(machine, over_s, resets_itself=event.resets_itself)
        self.plant.standing.begin(event.subject, event.kind, math.inf, "blocks.dried")

    def _moisture(self, event: ScriptedEvent, over_s: float) -> None:
        """Moisture in the motor: out until the motor is dry, whatever is reset."""
        plant = self.plant
        machine = plant.machine(event.subject)
        if event.duration_s is None:
            until = "until put right on site"
        else:
            until = f"for {show(event.duration_s, 'duration', 'si')}"
        self._block(machine, MOISTURE, math.inf, resets_itself=True, until=until)
        plant.standing.begin(event.subject, event.kind, over_s, "blocks.dried")

    def dried(self, subject: str, kind: str, cause: str) -> None:
        """The moisture of a seal that leaked is out (see ``Standing.begin``)."""
        machine = self.plant.machine(subject)
        block = MOISTURE if kind == "seal leak into motor" else LEAK
        if block in machine.blocks:
            self.freed(machine, block, "dry again", cause)
        elif block == LEAK and self._leak_over_s.pop(machine.index, None) is not None:
            self.plant.alarms.condition(LEAK, subject, 0.0, "dry again", on=False)
            self.plant.note(subject, "dry again", cause, block)

    def _turned(self, event: ScriptedEvent, over_s: float) -> None:
        """A hand on a selector: for a stated time, or until the next one."""
        plant, machine = self.plant, self.plant.machine(event.subject)
        number, before = self._hands.get(machine.index, (0, None))
        back = machine.mode if before is None else before  # renewed, it goes back to the first
        lasts = event.kind != "auto" and over_s < math.inf
        self._hands[machine.index] = (number + 1, back if lasts else None)
        self._selector(machine, event.kind)  # type: ignore[arg-type]
        if lasts:
            plant.at(over_s, PEOPLE, "blocks.turned_back", machine.index, number + 1)

    def goes_back_to(self, machine: Machine) -> Mode:
        """Return where a selector stands when the stated time of a hand on it is over.

        Parameters
        ----------
        machine
            Whose selector.
        """
        before = self._hands.get(machine.index, (0, None))[1]
        return machine.mode if before is None else before

    def turned_back(self, index: int, number: int) -> None:
        """Set a selector back to where it stood, unless it has been turned meanwhile.

        Parameters
        ----------
        index
            Which machine.
        number
            Which hand on it this is the end of [-].
        """
        found, before = self._hands[index]
        if found == number and before is not None:
            self._hands[index] = (number, None)
            self._selector(self.plant.machines[index], before)

    def _pressed(self, event: ScriptedEvent, _over_s: float) -> None:
        if event.subject not in self.plant.by_name:  # a generator set
            self.plant.power.reset(event.subject)
            return
        self._reset(self.plant.machine(event.subject))

    def low_voltage(self, machine: Machine) -> None:
        """Take out a pump whose protection has seen too low a voltage; a reset by hand frees it.

        Parameters
        ----------
        machine
            Which machine.
        """
        self._block(machine, LOW_VOLTAGE, self.plant.t_s, resets_itself=False)

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

    def overloaded(self, machine: Machine, over_s: float, until: str) -> None:
        """Take out a pump whose overload relay has tripped; a reset by hand frees it.

        Parameters
        ----------
        machine
            Which machine.
        over_s
            Until when a reset is refused [s].
        until
            The same in words.
        """
        self._block(machine, OVERLOAD, over_s, resets_itself=False, until=until)

    def moves_nothing(self, machine: Machine) -> None:
        """Take out a pump that the panel has stopped for want of flow; a reset by hand frees it.

        Parameters
        ----------
        machine
            Which machine.
        """
        self._block(machine, NO_FLOW, self.plant.t_s, resets_itself=False)

    def prolong(self, machine: Machine, kind: str, over_s: float) -> None:
        """Have the condition behind a block last until later; nothing is said of it.

        Parameters
        ----------
        machine
            Which machine.
        kind
            Which block.
        over_s
            When it is over now [s].
        """
        machine.blocks[kind] = Block(over_s, machine.blocks[kind].resets_itself)

    def _alarm_of(self, machine: Machine, kind: str) -> str:
        if kind == FAILED and machine.engine_driven:
            return "engine failed"
        return kind

    def _block(
        self, machine: Machine, kind: str, over_s: float, *, resets_itself: bool, until: str = ""
    ) -> None:
        plant = self.plant
        before = machine.blocks.get(kind)
        block = Block(over_s, resets_itself).upon(before)
        if block == before:
            return
        over_s, resets_itself = block.over_s, block.resets_itself
        machine.blocks[kind] = block
        plant.recorder.unavailable(plant.t_s, machine.index, kind)
        if until:
            pass
        elif over_s == math.inf:
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
        if kind != OUT_OF_SERVICE:
            name = machine.unit.name
            plant.alarms.condition(self._alarm_of(machine, kind), name, 0.0, until, on=True)
        if over_s < math.inf and resets_itself:
            plant.at(over_s, FAULT, "blocks.over", machine.index, kind, over_s)
        plant.panel_changed()

    def over(self, index: int, kind: str, over_s: float) -> None:
        """The condition behind a block is over; the machine is free by itself.

        Parameters
        ----------
        index
            Which machine.
        kind
            Which block.
        over_s
            When it was to be over [s]; a block that has been renewed meanwhile stays.
        """
        machine = self.plant.machines[index]
        block = machine.blocks.get(kind)
        if block is not None and block.over_s == over_s and block.resets_itself:
            how = "back in service" if kind == OUT_OF_SERVICE else "reset"
            self.freed(machine, kind, how, "by itself" if how == "reset" else "work done")
        elif block is None and kind == LEAK and self._leak_over_s.get(machine.index) == over_s:
            del self._leak_over_s[machine.index]
            self.plant.standing.forget(machine.unit.name, "seal leak")
            self.plant.alarms.condition(LEAK, machine.unit.name, 0.0, "dry again", on=False)

    def freed(self, machine: Machine, kind: str, event: str, cause: str) -> None:
        """Free a machine of a block.

        Parameters
        ----------
        machine
            Which machine.
        kind
            Which block.
        event, cause
            How that is called, and why it is so.
        """
        plant = self.plant
        del machine.blocks[kind]
        name = machine.unit.name
        if kind == LEAK:
            plant.standing.forget(name, "seal leak")
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
            plant.at(over_s, FAULT, "blocks.over", machine.index, LEAK, over_s)
        plant.panel_changed()

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
                self.freed(machine, kind, "reset", "by hand")

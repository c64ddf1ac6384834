"""The controller's turn: what it is shown, what it says, and what shall wake it next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.errors import ControllerError
from stationsim.signals import Decision, Snapshot
from stationsim.simulation.clock import CONTROLLER, SAME_INSTANT_S

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

NEVER = math.inf


class Deciding:
    """The turns of the controller of a plant.

    Parameters
    ----------
    plant
        The plant that is controlled.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._name = plant.station.control.controller
        self._clock_offset_s = plant.episode.clock_offset_s
        self.levels_m: tuple[float, ...] = ()  # levels at which it wants its turn
        self.wake_s = NEVER  # when it wants its turn at the latest

    def turn(self) -> None:
        """Let the controller decide, and carry out what it says."""
        plant = self.plant
        now = plant.t_s
        panel, floats = plant.panel, plant.floats
        seen = Snapshot(
            plant.signal.read(plant.level_m),
            plant.switchgear.shown(),
            panel.supply,
            now + self._clock_offset_s,
            floats.start,
            floats.stop,
            panel.controller_on,
        )
        decision = plant.controller.decide(now, seen)
        plant.trace.decisions += 1
        for note in decision.notes:
            plant.note(note.subject, note.event, note.cause, note.detail)
            plant.signal.heed(note)
        for command in decision.commands:
            if not 0 <= command.pump < len(plant.electric):
                self._blame(f"named pump {command.pump}; there are {len(plant.electric)}")
            machine = plant.electric[command.pump]
            if command.verb == "start":
                plant.start(machine, command.role, command.cause)
            elif command.verb == "stop":
                if machine.mode == "auto":  # in hand the selector bypasses the controller
                    plant.stop(machine, command.cause)
            else:
                self._blame(f"gave the unknown order '{command.verb}'")
        self._set_wakes(decision, now)
        if not panel.controller_on:
            panel.told()

    def _set_wakes(self, decision: Decision, now: float) -> None:
        plant = self.plant
        levels = decision.wake_at_levels_m
        if levels != self.levels_m:
            for level in levels:
                if not 0.0 <= level <= plant.water.top_m:
                    self._blame(
                        f"asked to be woken at {level:g} m; "
                        f"the well goes from 0 to {plant.water.top_m:g} m"
                    )
            self.levels_m = levels
        wake = decision.wake_at_s
        if wake != self.wake_s:
            if not wake > now:
                self._blame(f"asked at {now:.3f} s to be woken at {wake:.3f} s, in the past")
            self.wake_s = wake
            if wake < plant.end_s:
                # within this instant it would be this turn again, and time would stand still
                turn_s = max(wake, now + 2.0 * SAME_INSTANT_S)
                plant.at(turn_s, CONTROLLER, "deciding.wakes", wake)

    def wakes(self, wake_s: float) -> None:
        """Give the controller the turn that it asked for, if it still wants it."""
        if wake_s == self.wake_s:
            self.wake_s = NEVER
            self.plant.controller_due = True

    def _blame(self, what: str) -> None:
        raise ControllerError(f"controller '{self._name}' {what}")

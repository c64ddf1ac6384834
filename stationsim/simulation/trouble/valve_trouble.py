"""Trouble with the valves behind a pump, and a pump that turns the wrong way round.

All are conditions of the truth: the panel sees a run signal, and a level that tells another story.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import SUPPLY
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

_OVER = {
    "check valve open": "check valve holds",
    "check valve slow": "check valve holds",
    "plug valve closed": "plug valve opened",
    "turning backwards": "turns the right way",
}


class ValveTrouble(Follower):
    """Check valves, plug valves and the sense of rotation of the pumps of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._open: dict[int, float] = {}
        self._slow_s: dict[int, float] = {}
        self._closing: dict[int, int] = {}
        self._pieces = 0

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {
            "check valve open": self._check_open,
            "check valve slow": self._check_slow,
            "plug valve closed": self._moves_less,
            "turning backwards": self._moves_less,
        }

    # ------------------------------------------------------------------ moves less, or nothing

    def _moves_less(self, event: ScriptedEvent, over_s: float) -> None:
        plant, left = self.plant, event.flow_left
        index = plant.machine(event.subject).index
        backwards = event.kind == "turning backwards"
        what = "flow and head" if backwards else "flow"
        plant.note(event.subject, event.kind, event.cause, f"{100.0 * left:g} % of its {what} left")
        plant.conditions.lose(index, event.kind, left, left if backwards else 1.0)
        plant.standing.begin(event.subject, event.kind, over_s, "valves.moves_again")

    def moves_again(self, subject: str, kind: str, cause: str) -> None:
        """Give a pump back what it lost (see ``Standing.begin``)."""
        self.plant.conditions.regain(self.plant.machine(subject).index, kind)
        self.plant.note(subject, _OVER[kind], cause)

    # ------------------------------------------------------------------ lets water back

    def _check_open(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        index = plant.machine(event.subject).index
        plant.running_back.arm()
        self._open[index] = event.amount
        part = f"{100.0 * event.amount:g} % of its own flow runs back"
        plant.note(event.subject, event.kind, event.cause, part)
        self._set(index)
        plant.standing.begin(event.subject, event.kind, over_s, "valves.holds")

    def _check_slow(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        plant.running_back.arm()
        if not self._slow_s:
            plant.join(self)
        machine = plant.machine(event.subject)
        self._slow_s[machine.index] = event.amount
        plant.note(event.subject, event.kind, event.cause, f"by {event.amount:g} s")
        if machine.stopped_s == plant.t_s and not machine.running:
            self.stopped(machine)  # of two things at one instant the order does not count
        plant.standing.begin(event.subject, event.kind, over_s, "valves.holds")

    def holds(self, subject: str, kind: str, cause: str) -> None:
        """Let a check valve hold again (see ``Standing.begin``)."""
        plant = self.plant
        index = plant.machine(subject).index
        if kind == "check valve open":
            self._open.pop(index, None)
        else:
            del self._slow_s[index]
            self._closing.pop(index, None)
            if not self._slow_s:
                plant.leave(self)
        self._set(index)
        plant.note(subject, _OVER[kind], cause)

    def stopped(self, machine: Machine) -> None:
        """A check valve that is slow stands open for a while after the stop."""
        index = machine.index
        if index not in self._slow_s:
            return
        plant = self.plant
        self._pieces += 1
        self._closing[index] = self._pieces
        self._set(index)
        shuts_s = plant.t_s + self._slow_s[index]
        plant.at(shuts_s, SUPPLY, "valves.shuts", index, self._pieces)

    def shuts(self, index: int, piece: int) -> None:
        """A slow check valve is shut at last, unless its pump has stopped once more meanwhile.

        Parameters
        ----------
        index
            Which machine.
        piece
            For which stop that was foreseen.
        """
        if self._closing.get(index) == piece:
            del self._closing[index]
            self._set(index)

    def _set(self, index: int) -> None:
        part = 1.0 if index in self._closing else self._open.get(index, 0.0)
        self.plant.conditions.run_back(index, part)

"""What goes wrong with a pump and does not show: it will not start, or it moves less.

These are conditions of the truth. The panel learns of them by what comes of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT, SAME_INSTANT_S
from stationsim.simulation.machines import Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers


class PumpTrouble:
    """The hidden conditions of the machines of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {"fails to start": self._will_not_start, "clogged": self._clogged}

    def _will_not_start(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        plant.machine(event.subject).will_not_start = True
        plant.note(event.subject, event.kind, event.cause, "nobody knows until it is called")
        plant.standing.begin(event.subject, event.kind, over_s, "pumps.starts_again")

    def starts_again(self, subject: str, _kind: str, cause: str) -> None:
        """Let a machine start again when it is called (see ``Standing.begin``)."""
        self.plant.machine(subject).will_not_start = False
        self.plant.note(subject, "can start again", cause)

    def _clogged(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        left = f"{100.0 * event.flow_left:g} % of its flow left"
        plant.note(event.subject, event.kind, event.cause, left)
        plant.conditions.lose(plant.machine(event.subject).index, event.kind, event.flow_left)
        plant.standing.begin(event.subject, event.kind, over_s, "pumps.clear")

    def clear(self, subject: str, kind: str, cause: str) -> None:
        """Give a pump its flow back (see ``Standing.begin``)."""
        self.plant.conditions.regain(self.plant.machine(subject).index, kind)
        self.plant.note(subject, "clear again", cause)

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
        plant.at(plant.t_s + wait_s, FAULT, "pumps.no_run_signal", machine.index, plant.t_s)

    def no_run_signal(self, index: int, called_s: float) -> None:
        """The panel has waited long enough: the pump is failed until it is reset by hand.

        Parameters
        ----------
        index
            Which machine.
        called_s
            When it was called [s].
        """
        machine = self.plant.machines[index]
        machine.called = False
        self.plant.panel_changed()
        still = machine.will_not_start and machine.able and machine.started_s < called_s
        if still and self.plant.powered:
            self.plant.blocks.fails_to_start(machine)

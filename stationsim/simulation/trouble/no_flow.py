"""No flow: the panel looks whether a pump that runs moves anything.

A flow switch or a meter tells it. What counts is the truth: next to nothing is left of the pump's
flow (a shut valve, air), or of the main's. The panel bears that for its waiting time in one go;
then it raises the alarm, and may stop the pump too until it is reset.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.simulation.clock import INSTRUMENT
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import NO_FLOW, Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

NEXT_TO_NOTHING = 0.02
"""Part of the flow that a flow switch does not tell from nothing [-]; own choice, no source."""


class NoFlow(Follower):
    """What the panel of a plant does about pumps that run and move nothing.

    Parameters
    ----------
    plant
        The plant that it looks after.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._since: dict[int, tuple[float, float]] = {}
        self._looked_at = tuple(m for m in plant.electric if m.unit.no_flow_after_s is not None)
        if self._looked_at:
            plant.join(self)

    def lined_up(self) -> None:
        """See which pumps move nothing from now on."""
        plant = self.plant
        shut = plant.conditions.main.flow_left <= NEXT_TO_NOTHING
        for machine in self._looked_at:
            since = self._since.get(machine.index)
            left = plant.conditions.of(machine.index).flow_left
            if machine.running and (shut or left <= NEXT_TO_NOTHING):
                if since is None or since[1] != machine.started_s:
                    self._over(machine)
                    self._begins(machine)
            elif since is not None:
                self._over(machine)

    def _begins(self, machine: Machine) -> None:
        plant = self.plant
        since = self._since[machine.index] = (plant.t_s, machine.started_s)
        after_s = machine.unit.no_flow_after_s
        assert after_s is not None  # noqa: S101  (only such pumps are looked at)
        plant.at(plant.t_s + after_s, INSTRUMENT, "no_flow.due", machine.index, since)

    def _over(self, machine: Machine) -> None:
        """It stands, or flows again: an alarm that stopped nothing goes."""
        if self._since.pop(machine.index, None) is not None and NO_FLOW not in machine.blocks:
            why = "flows again" if machine.running else "stopped"
            self.plant.alarms.condition(NO_FLOW, machine.unit.name, 0.0, why, on=False)

    def due(self, index: int, since: tuple[float, float]) -> None:
        """The panel has waited long enough, if the pump has moved nothing ever since.

        Parameters
        ----------
        index
            Which machine.
        since
            When that began, and when the run began [s].
        """
        machine = self.plant.machines[index]
        if self._since.get(index) != since or not machine.running:
            return
        if machine.unit.no_flow == "stop":
            self.plant.blocks.moves_nothing(machine)
        else:
            self.plant.alarms.condition(
                NO_FLOW, machine.unit.name, 0.0, "runs and moves nothing", on=True
            )

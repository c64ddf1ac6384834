"""Wear: a pump loses head and flow with the hours that it runs, a hundredth at a time.

Wear is slow and steady; a stair of hundredths errs by half a step at most, and each step comes at
the very second of running at which that hundredth is gone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.machines import Machine
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

MOST_STEPS = 95
"""A hundredth each: a pump that has lost more than this lifts nothing any more [-]."""


@dataclass
class Worn:
    """What has become of one pump.

    Parameters
    ----------
    steps
        Hundredths that are gone.
    step_s
        Running time that wears off one [s].
    since_s
        Reading of its hour meter at which nothing would have been gone [s].
    cause
        Why it wears.
    key
        What it waits for (see ``Exposure.call_at``).
    """

    steps: int
    step_s: float
    since_s: float
    cause: str
    key: int = 0


class Wearing:
    """The wear of the pumps of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._worn: dict[int, Worn] = {}

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {"wearing": self._wears}

    def _wears(self, event: ScriptedEvent, over_s: float) -> None:
        """Let a pump wear from now on; what is worn already stays, another rate goes on from it."""
        plant = self.plant
        machine = plant.machine(event.subject)
        before = self._worn.get(machine.index)
        steps = 0
        if before is not None:
            plant.exposure.cancel(before.key)
            steps = before.steps
        step_s = event.per_s * 0.01 / event.amount
        worn = Worn(steps, step_s, plant.exposure.run_s(machine) - steps * step_s, event.cause)
        self._worn[machine.index] = worn
        rate = f"{100.0 * event.amount:g} % in {show(event.per_s, 'duration', 'si')} of running"
        plant.note(event.subject, event.kind, event.cause, rate)
        plant.standing.begin(event.subject, event.kind, over_s, "wearing.renewed")
        self._wait(machine, worn)

    def _wait(self, machine: Machine, worn: Worn) -> None:
        if worn.steps < MOST_STEPS:
            due_s = worn.since_s + (worn.steps + 1) * worn.step_s
            worn.key = self.plant.exposure.call_at(machine, due_s, "wearing.step", machine.index)

    def step(self, index: int) -> None:
        """Another hundredth is gone.

        Parameters
        ----------
        index
            Of which machine.
        """
        plant, worn = self.plant, self._worn[index]
        machine = plant.machines[index]
        worn.steps += 1
        left = (100 - worn.steps) / 100
        plant.conditions.lose(index, "wearing", left, left)
        left_text = f"{100 - worn.steps} % of its flow and head left"
        plant.note(machine.unit.name, "worn", worn.cause, left_text)
        self._wait(machine, worn)

    def renewed(self, subject: str, kind: str, cause: str) -> None:
        """Give a pump its flow and head back (see ``Standing.begin``)."""
        plant = self.plant
        index = plant.machine(subject).index
        plant.exposure.cancel(self._worn.pop(index).key)
        plant.conditions.regain(index, kind)
        plant.note(subject, "renewed", cause)

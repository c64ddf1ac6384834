"""Rags: they gather while a pump runs, and go when it stops, is reversed, or a crew comes.

They take its flow in even steps of running time. When less than ``overload_below`` is left, the
overload trips. A panel that reverses then holds the pump out for a while and tries whether that has
cleared it; after the last try in vain the overload waits for a reset by hand. At every stop that is
no trip they may fall off. From a clean pump they gather anew as long as the condition stands.

Chance: a try and a stop draw from streams of their own; the number of a try is its count, that of a
stop the count of the run that it ends. So nothing else shifts them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import OVERLOAD, Machine
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

KIND = "ragging"
GREATEST_STEP = 0.02
"""Most of the flow that goes in one step [-]."""

LEAST_LEFT = 0.05
"""Rags leave at least this part of the flow [-]; own choice, no source."""

TRIP_AGAIN_S = 10.0
"""How long the relay bears a pump that starts with more rags than it may have [s]. An overload
relay of class 10 trips a stalled motor within ten seconds (IEC 60947-4-1, from memory)."""

_HAIR = 1e-12


@dataclass
class Rags:
    """The rags in one pump.

    Parameters
    ----------
    step
        Part of the flow that goes at a step [-].
    step_s
        Running time from one step to the next [s].
    since_s
        Reading of its hour meter when it was clean [s].
    steps
        Steps since then.
    step_key, trip_key
        What it waits for (see ``Exposure.call_at``).
    """

    step: float
    step_s: float
    since_s: float
    steps: int = 0
    step_key: int = 0
    trip_key: int = 0

    @property
    def left(self) -> float:
        """Part of the flow that is left [-]."""
        return max(1.0 - self.steps * self.step, LEAST_LEFT)


class Ragging(Follower):
    """The rags in the pumps of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._rags: dict[int, Rags] = {}
        self._tries: dict[int, int] = {}

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {KIND: self._gathers}

    def _gathers(self, event: ScriptedEvent, over_s: float) -> None:
        """Let rags gather from now on; what hangs in it already stays, another rate goes on."""
        plant = self.plant
        machine = plant.machine(event.subject)
        before = self._rags.get(machine.index)
        step = min(event.amount, GREATEST_STEP)
        step_s = event.per_s * step / event.amount
        rags = Rags(step, step_s, plant.exposure.run_s(machine))
        if before is not None:
            self._forget(before)
            rags.steps = round((1.0 - before.left) / step)
            rags.since_s -= rags.steps * step_s
        elif not self._rags:
            plant.join(self)
        self._rags[machine.index] = rags
        rate = f"{100.0 * event.amount:g} % in {show(event.per_s, 'duration', 'si')} of running"
        plant.note(event.subject, event.kind, event.cause, rate)
        plant.standing.begin(event.subject, event.kind, over_s, "rags.removed")
        self._wait(machine, rags)
        if rags.steps:
            plant.conditions.lose(machine.index, KIND, rags.left)

    def _wait(self, machine: Machine, rags: Rags) -> None:
        due_s = rags.since_s + (rags.steps + 1) * rags.step_s
        rags.step_key = self.plant.exposure.call_at(machine, due_s, "rags.step", machine.index)

    def _forget(self, rags: Rags) -> None:
        self.plant.exposure.cancel(rags.step_key)
        self.plant.exposure.cancel(rags.trip_key)

    def step(self, index: int) -> None:
        """Another part of the flow is gone.

        Parameters
        ----------
        index
            Of which machine.
        """
        machine, rags = self.plant.machines[index], self._rags[index]
        rags.steps += 1
        self.plant.conditions.lose(index, KIND, rags.left)
        self._wait(machine, rags)
        if self._too_much(machine, rags):
            self.trip(index)

    def _too_much(self, machine: Machine, rags: Rags) -> bool:
        return rags.left < machine.unit.overload_below - _HAIR

    def trip(self, index: int) -> None:
        """The overload of a ragged pump trips; its panel may reverse it.

        Parameters
        ----------
        index
            Which machine.
        """
        plant, machine = self.plant, self.plant.machines[index]
        if not machine.running:
            return
        tries = machine.unit.reverse_tries
        if tries == 0:
            plant.blocks.overloaded(machine, plant.t_s, "until reset by hand")
            return
        plant.blocks.overloaded(machine, self._try(machine, 1), f"reversing, try 1 of {tries}")

    def _try(self, machine: Machine, number: int) -> float:
        over_s = self.plant.t_s + machine.unit.reverse_s
        self.plant.at(over_s, FAULT, "rags.tried", machine.index, number, over_s)
        return over_s

    def tried(self, index: int, number: int, over_s: float) -> None:
        """See whether reversing has cleared the pump; a panel without supply has given it up.

        Parameters
        ----------
        index
            Which machine.
        number
            Which try it was, from 1.
        over_s
            Until when the overload was to last [s]; another one that lasts longer ends the tries.
        """
        plant, machine = self.plant, self.plant.machines[index]
        block = machine.blocks.get(OVERLOAD)
        if block is None or block.over_s != over_s:
            return
        name, unit = machine.unit.name, machine.unit
        why_not = "" if machine.mode == "auto" else f"selector in {machine.mode}"
        why_not = why_not if plant.powered else "no supply"
        if why_not or len(machine.blocks) > 1:
            plant.note(name, "reversing given up", why_not or machine.why_not, "until reset")
            return
        count = self._tries.get(index, 0)
        self._tries[index] = count + 1
        rags = self._rags.get(index)
        part = plant.luck.streams.stream(name, "reversing").number(count)
        if rags is None or part < unit.reverse_clears:
            if rags is not None:
                self._clean(machine, rags)
            plant.blocks.freed(machine, OVERLOAD, "reversed and clear", f"try {number}")
            return
        more = number < unit.reverse_tries
        then = f"{number} of {unit.reverse_tries}" + ("" if more else ", until reset by hand")
        plant.note(name, "reversed in vain", f"try {number}", then)
        if more:
            plant.blocks.prolong(machine, OVERLOAD, self._try(machine, number + 1))

    def started(self, machine: Machine) -> None:
        """Trip it again soon when it starts with more rags than it may have."""
        rags = self._rags.get(machine.index)
        if rags is not None and self._too_much(machine, rags):
            exposure = self.plant.exposure
            exposure.cancel(rags.trip_key)
            at_s = exposure.run_s(machine) + TRIP_AGAIN_S
            rags.trip_key = exposure.call_at(machine, at_s, "rags.trip", machine.index)

    def stopped(self, machine: Machine) -> None:
        """At a stop that is no trip the rags may fall off."""
        rags = self._rags.get(machine.index)
        if rags is None or rags.steps == 0 or machine.blocks:
            return
        stream = self.plant.luck.streams.stream(machine.unit.name, "rags fall off")
        if stream.number(machine.starts - 1) < machine.unit.stop_clears:
            self._clean(machine, rags)
            self.plant.note(machine.unit.name, "rags fell off", "at a stop")

    def _clean(self, machine: Machine, rags: Rags) -> None:
        self._forget(rags)
        rags.steps = 0
        rags.since_s = self.plant.exposure.run_s(machine)
        self.plant.conditions.regain(machine.index, KIND)
        self._wait(machine, rags)

    def removed(self, subject: str, _kind: str, cause: str) -> None:
        """No rags gather any more, and those that hang in the pump are out (see ``Standing``)."""
        plant = self.plant
        machine = plant.machine(subject)
        self._forget(self._rags.pop(machine.index))
        if not self._rags:
            plant.leave(self)
        plant.conditions.regain(machine.index, KIND)
        plant.note(subject, "clear again", cause)

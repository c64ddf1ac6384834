"""Exposure: how long each machine has run and how often it was called, and who waits for that.

Time of running is read from the hour meter, so what is due after so many hours is due at an exact
moment of a run. In the timetable there is at most one look for a machine: at the earliest moment at
which its next threshold can come if the machine runs without a stop. When it has not run enough by
then, it is looked at again later; so a threshold months away costs a run next to nothing, however
often the machine starts.
"""

from __future__ import annotations

from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from stationsim.simulation.clock import FAULT, SAME_INSTANT_S
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


class Waiting(NamedTuple):
    """Somebody who waits for a machine to have run for so long.

    Parameters
    ----------
    total_s
        Reading of its hour meter that is waited for [s].
    key
        Number of the waiting; of two at one reading the lower is called first.
    method, arguments
        What is called then: path from the plant, and arguments.
    """

    total_s: float
    key: int
    method: str
    arguments: tuple[Any, ...]


class Exposure(Follower):
    """Running time and demands of a plant, and thresholds on them.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._waiting: dict[int, list[Waiting]] = {}
        self._looks_s: dict[int, float] = {}
        self._keys = 0
        self._demands: dict[str, int] = {}

    def run_s(self, machine: Machine) -> float:
        """Return what the hour meter of a machine shows at the committed moment [s].

        Parameters
        ----------
        machine
            Which machine.
        """
        if not machine.running:
            return machine.hours_s
        return machine.hours_s + (self.plant.t_s - machine.started_s)

    def demand(self, name: str) -> int:
        """Count a demand and return its number, from 0 [-].

        Parameters
        ----------
        name
            What is called: ``P2``, ``generator``.
        """
        number = self._demands.get(name, 0)
        self._demands[name] = number + 1
        return number

    def call_at(self, machine: Machine, total_s: float, method: str, *arguments: Any) -> int:
        """Have a method called when a machine has run for so long.

        Parameters
        ----------
        machine
            Which machine.
        total_s
            Reading of its hour meter [s]: ``run_s(machine)`` and so much more.
        method
            Path of the method, from the plant.
        arguments
            Its arguments.

        Returns
        -------
        int
            Key to :meth:`cancel` it by.
        """
        if not self._waiting:
            self.plant.join(self)
        self._keys += 1
        waiting = self._waiting.setdefault(machine.index, [])
        waiting.append(Waiting(total_s, self._keys, method, arguments))
        waiting.sort()
        self._look_later(machine)
        return self._keys

    def cancel(self, key: int) -> None:
        """Have nothing called; nothing happens when it has been called already.

        Parameters
        ----------
        key
            What :meth:`call_at` returned.
        """
        for index, waiting in self._waiting.items():
            kept = [one for one in waiting if one.key != key]
            if len(kept) < len(waiting):
                self._waiting[index] = kept
                break
        self._leave()

    def started(self, machine: Machine) -> None:
        """Look when its next threshold can come."""
        if machine.index in self._waiting:
            self._look_later(machine)

    def look(self, index: int, at_s: float) -> None:
        """Call whoever has waited for what a machine has run by now.

        Parameters
        ----------
        index
            Which machine.
        at_s
            For when this look was put into the timetable [s]; another may have taken its place.
        """
        if self._looks_s.get(index) != at_s:
            return
        del self._looks_s[index]
        machine = self.plant.machines[index]
        ran_s = self.run_s(machine) + 2.0 * SAME_INSTANT_S
        for one in [one for one in self._waiting.get(index, ()) if one.total_s <= ran_s]:
            if one in self._waiting.get(index, ()):  # the one before may have cancelled it
                self._waiting[index].remove(one)
                attrgetter(one.method)(self.plant)(*one.arguments)
        self._leave()
        self._look_later(machine)

    def _look_later(self, machine: Machine) -> None:
        waiting = self._waiting.get(machine.index)
        if not waiting or not machine.running:
            return
        due_s = machine.started_s + (waiting[0].total_s - machine.hours_s)
        looks_s = self._looks_s.get(machine.index)
        if looks_s is not None and looks_s <= due_s:
            return
        looks_s = self._looks_s[machine.index] = max(due_s, self.plant.t_s)
        self.plant.at(looks_s, FAULT, "exposure.look", machine.index, looks_s)

    def _leave(self) -> None:
        for index in [index for index, waiting in self._waiting.items() if not waiting]:
            del self._waiting[index]
        if not self._waiting:
            self.plant.leave(self)

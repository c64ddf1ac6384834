"""Luck: what happens by chance, at the rates that an episode states.

Each random fault has a stream of its own, by its name. The gap before its n-th time, and whether it
comes at the n-th demand, is the n-th number of that stream and of nothing else. So one more event
of any other kind shifts no draw: times by the calendar stay what they are, and so does the answer
at each demand; times by running come at the same reading of the hour meter.

While the condition that a fault has brought still stands, no new one of the same fault comes: a
time, an hour or a demand at which it would have come goes by.

References
----------
Exponential gaps at a constant rate, and one chance at each demand, are in any text on reliability.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING

from stationsim.chance import Stream, Streams, until_failure
from stationsim.episode import RandomFault, ScriptedEvent
from stationsim.equipment.faults import BY_KIND
from stationsim.errors import ActionError
from stationsim.simulation.trouble.blocks import BLOCK_OF_KIND
from stationsim.simulation.trouble.happening import order_of, rank_of

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

CAUSE = "by chance"


@dataclasses.dataclass
class Fate:
    """One random fault while the plant runs.

    Parameters
    ----------
    fault
        What may happen.
    draws, lasts
        Its streams: when, and for how long.
    number
        Number of the next gap [-].
    exposed
        Time [s], or reading of the hour meter [s], at which it comes next.
    until_s
        When what it has brought is over, if nothing else tells it [s].
    looked_at
        Of what it has brought last, that which can be looked at.
    timed
        Whether there is more, of which only the time is known.
    """

    fault: RandomFault
    draws: Stream
    lasts: Stream
    number: int = 0
    exposed: float = 0.0
    until_s: float = -math.inf
    looked_at: tuple[ScriptedEvent, ...] = ()
    timed: bool = False

    @property
    def subject(self) -> str:
        """Whose exposure counts."""
        return self.fault.events[0].subject

    def next(self) -> int:
        """Go on to the next gap and return the number of the one that is over."""
        over = self.number
        self.number += 1
        self.exposed += until_failure(self.draws.number(self.number), self.fault.rate)
        return over


class Luck:
    """All that happens to a plant by chance.

    Parameters
    ----------
    plant
        The plant that it happens to.

    Raises
    ------
    ActionError
        When a fault that goes by running names no machine, or two names can't be told apart.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        episode = plant.episode
        self.streams = Streams(episode.seed, episode.replicate)
        self.fates: list[Fate] = []
        self._on_demand: dict[str, list[Fate]] = {}
        for fault in episode.random:
            subject = fault.events[0].subject
            try:
                draws = self.streams.stream(subject, f"random: {fault.name}")
                lasts = self.streams.stream(subject, f"random: {fault.name} lasts")
            except ValueError as error:
                raise ActionError(f"random fault '{fault.name}': {error}") from error
            fate = Fate(fault, draws, lasts)
            self.fates.append(fate)
            if fault.basis == "demand":
                self._on_demand.setdefault(subject, []).append(fate)
            elif fault.basis == "running" and subject not in plant.by_name:
                raise ActionError(
                    f"random fault '{fault.name}' goes by running time, and '{subject}' is no "
                    f"machine; there are {', '.join(plant.by_name)}"
                )
        self.armed = bool(self._on_demand)  # while something may happen at a demand

    def begin(self) -> None:
        """Foresee the first time of each, at time nought."""
        for index, fate in enumerate(self.fates):
            if fate.fault.basis != "demand":
                fate.exposed = until_failure(fate.draws.number(0), fate.fault.rate)
                self._foresee(index, fate)

    def _foresee(self, index: int, fate: Fate) -> None:
        if fate.fault.basis == "calendar":
            order = min(order_of(event) for event in fate.fault.events)
            self.plant.at(fate.exposed, order, "luck.comes", index)
        elif fate.exposed < math.inf:
            machine = self.plant.machine(fate.subject)
            self.plant.exposure.call_at(machine, fate.exposed, "luck.comes", index)

    def comes(self, index: int) -> None:
        """The time of a fault has come, by the calendar or by running.

        Parameters
        ----------
        index
            Which of the random faults.
        """
        fate = self.fates[index]
        number = fate.next()
        self._foresee(index, fate)
        self._happens(fate, number)

    def demand(self, name: str) -> None:
        """Something is called: what fails at a demand may fail now, before the call takes effect.

        Whoever calls it looks afterwards whether it may, and can, still run.

        Parameters
        ----------
        name
            What is called: a machine, or ``generator``.
        """
        fates = self._on_demand.get(name)
        if fates is None:
            return
        number = self.plant.exposure.demand(name)
        for fate in fates:
            if fate.draws.number(number) < fate.fault.rate:
                self._happens(fate, number)

    def _happens(self, fate: Fate, number: int) -> None:
        if self._stands(fate):
            return
        plant, fault = self.plant, fate.fault
        lasts_s = None
        if fault.lasts is not None:
            lasts_s = fault.lasts.at(fate.lasts.number(number))
        fate.until_s = plant.t_s if lasts_s is None else plant.t_s + lasts_s
        plant.note(fate.subject, "random fault", CAUSE, fault.name)
        for event in sorted(fault.events, key=rank_of):
            for_s = None if BY_KIND[event.kind].lasts == "never" else lasts_s
            plant.trouble.happen(
                dataclasses.replace(event, at_s=plant.t_s, duration_s=for_s, cause=CAUSE)
            )
        fate.looked_at = tuple(event for event in fault.events if self._holds(event))
        fate.timed = len(fate.looked_at) < len(fault.events)

    def _stands(self, fate: Fate) -> bool:
        """Return whether anything that a fault has brought still stands.

        What lasts until it is put right or reset is looked at; of all else its time counts.
        """
        if fate.timed and fate.until_s > self.plant.t_s:
            return True
        return any(self._holds(event) for event in fate.looked_at)

    def _holds(self, event: ScriptedEvent) -> bool:
        block = BLOCK_OF_KIND.get(event.kind)
        if block is not None:
            return block in self.plant.machine(event.subject).blocks
        return self.plant.standing.stands(event.subject, event.kind)

"""Stories of people: what they do, with waits, in the place of an instant that they have."""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import simpy

from stationsim.simulation.clock import CREW, Due

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

Steps = Generator[simpy.Event, Any, None]


class Stories:
    """How stories of people live beside those of a plant.

    Parameters
    ----------
    plant
        The plant.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant

    def live(self, steps: Steps) -> Steps:
        """Let a story of people live in the order of an instant that people have.

        The plant is brought up to the moment before each step, and settled after it.

        Parameters
        ----------
        steps
            What is done, with waits.
        """
        plant = self.plant
        yield plant.clock.moment(plant.clock.now, CREW)
        plant.commit(plant.clock.now)
        try:
            event = next(steps)
            while True:
                plant.settle()
                value = yield event
                if not isinstance(event, Due):  # a person acts in the order that people have
                    yield plant.clock.moment(plant.clock.now, CREW)
                plant.commit(plant.clock.now)
                event = steps.send(value)
        except StopIteration:
            plant.settle()

    def until(self, at_s: float) -> simpy.Event:
        """Return the moment at which something is over.

        Parameters
        ----------
        at_s
            When [s]; at the end of the run or beyond, it never comes.
        """
        clock = self.plant.clock
        return clock.moment(at_s, CREW) if at_s < self.plant.end_s else clock.event()

    def before(self, change: simpy.Event, at_s: float) -> Steps:
        """Wait for something, or until a time, whichever comes first.

        Parameters
        ----------
        change
            What is waited for.
        at_s
            Until when at most [s].
        """
        timer = self.until(at_s)
        yield change | timer
        if isinstance(timer, Due):
            timer.overtaken = True  # a session that was resumed knows nothing of it

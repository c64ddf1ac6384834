"""Long sequences with waits, told in the order in which they happen.

Each is a SimPy process. What happens at one moment is in the plant; what waits for it is here.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import simpy

from stationsim.simulation.clock import SUPPLY

if TYPE_CHECKING:
    from stationsim.simulation.engine_set import EngineSet
    from stationsim.simulation.plant import Plant

Story = Generator[simpy.Event, Any, Any]


def grid_outage(plant: Plant, back_s: float) -> Story:
    """The grid fails now and comes back at a stated time.

    Parameters
    ----------
    plant
        The plant that loses its supply.
    back_s
        When the grid is back [s]; a time beyond the end never comes.
    """
    if back_s < plant.end_s:
        yield plant.clock.moment(back_s, SUPPLY)
        plant.commit(plant.clock.now)
        plant.supply.grid_back()
        plant.settle()
    else:
        yield plant.clock.moment(plant.end_s, SUPPLY)


def engine_start(engine: EngineSet, cause: str) -> Story:
    """The engine is called, cranks until it fires, warms up, primes, and pumps if still wanted.

    Parameters
    ----------
    engine
        The engine-driven pump.
    cause
        Why it was called.
    """
    what, plant = engine.what, engine.plant
    waits = [what.start_delay_s + what.crank_s]
    waits += [what.crank_rest_s + what.crank_s] * (what.crank_tries - 1)
    fired = False
    for tried, wait_s in enumerate(waits, start=1):
        yield from _wait(plant, wait_s)
        if engine.no_longer_wanted():
            return
        fired = not engine.machine.will_not_start
        if fired:
            break
        plant.note(engine.name, "crank failed", f"try {tried} of {what.crank_tries}")
        plant.settle()
    if not fired:
        engine.failed_to_start()
        plant.settle()
        return
    if what.warm_up_s + what.prime_s > 0.0:
        plant.settle()
        yield from _wait(plant, what.warm_up_s + what.prime_s)
        if engine.no_longer_wanted():
            return
    engine.run(cause)
    plant.settle()


def _wait(plant: Plant, wait_s: float) -> Story:
    """Wait, and bring the plant up to that moment; what lies beyond the end never comes."""
    at_s = plant.t_s + wait_s
    if at_s >= plant.end_s:
        yield plant.clock.moment(plant.end_s, SUPPLY)  # nothing is processed at the end
    yield plant.clock.moment(at_s, SUPPLY)
    plant.commit(plant.clock.now)

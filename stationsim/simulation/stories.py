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
        plant.trouble.grid_back()
        plant.settle()
    else:
        yield plant.clock.moment(plant.end_s, SUPPLY)


def engine_start(engine: EngineSet, cause: str) -> Story:
    """The engine is called, needs its time, and runs if it is still wanted.

    Parameters
    ----------
    engine
        The engine-driven pump.
    cause
        Why it was called.
    """
    plant = engine.plant
    up_s = plant.t_s + engine.what.start_delay_s
    if up_s >= plant.end_s:
        yield plant.clock.moment(plant.end_s, SUPPLY)
        return
    yield plant.clock.moment(up_s, SUPPLY)
    plant.commit(plant.clock.now)
    if engine.phase == "starting":
        machine = engine.machine
        if not machine.able:
            engine.give_up(machine.why_not)
        elif machine.mode == "auto" and plant.grid_on:
            engine.give_up("grid back")
        else:
            engine.run(cause)
    plant.settle()

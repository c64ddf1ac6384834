"""Long sequences with waits, told in the order in which they happen.

Each is a SimPy process. What happens at one moment is in the plant; what waits for it is here.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import simpy

from stationsim.simulation.clock import SUPPLY

if TYPE_CHECKING:
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

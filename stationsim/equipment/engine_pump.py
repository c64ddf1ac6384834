"""The engine-driven pump, as it stands there: a pump, its own start rule, and its fuel.

It has its own start panel and battery: it needs no grid, and it does not ask the controller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from stationsim.equipment.pumps import PumpUnit

AtGridReturn = Literal["run on to stop level", "stop"]


@dataclass(frozen=True)
class EnginePump:
    """The engine-driven pump and the rule it starts by.

    Parameters
    ----------
    pump
        The pump itself; its power draw is not electrical and is ignored.
    start_level_m
        While the grid is out, it starts when the level is at or above this [m above floor].
    stop_level_m
        It stops when the level falls to this [m above floor].
    start_delay_s
        From the call to the first crank [s].
    crank_tries
        How often it cranks before it gives up and is failed [-].
    crank_s, crank_rest_s
        How long one crank lasts, and the rest before the next [s].
    warm_up_s, prime_s
        From running engine to coupled pump, and from there to full flow [s].
    prime_limit_s
        How long it may prime before its panel stops it as failed [s]; infinity: it never does.
    at_grid_return
        What it does when the grid comes back while it runs.
    fuel_m3_per_s
        Fuel burnt while it runs [m3/s].
    tank_m3
        Fuel in the tank at the start [m3]; infinity when it is not counted.
    """

    pump: PumpUnit
    start_level_m: float
    stop_level_m: float
    start_delay_s: float = 0.0
    crank_tries: int = 1
    crank_s: float = 0.0
    crank_rest_s: float = 0.0
    warm_up_s: float = 0.0
    prime_s: float = 0.0
    prime_limit_s: float = math.inf
    at_grid_return: AtGridReturn = "run on to stop level"
    fuel_m3_per_s: float = 0.0
    tank_m3: float = math.inf

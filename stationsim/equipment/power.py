"""What feeds the electric pumps when the grid does not: transfer switch and generator sets.

The usual sequence: the grid is lost; a start delay lets a sag go by; the set cranks and runs up;
when its voltage is good the transfer switch moves over; the panel boots; its restart delay and
stagger follow. When the grid has been good for long enough the switch moves back, with a break of
its own, and the set cools down and stops. Common practice, no source: the seconds are the user's.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class GeneratorSet:
    """A generator set while it runs.

    Parameters
    ----------
    rated_w, rated_va
        Rated output [W] and apparent output [VA]; infinity for what is not given.
    start_va
        The most apparent power that it can carry while a motor starts [VA]; infinity for no limit.
    most_running
        How many electric pumps may run on it at once; None for all.
    may_start
        Names of the pumps that may run on it; empty for all.
    crank_tries
        How often it cranks before it has failed [-].
    crank_s, crank_rest_s
        How long one crank lasts, and the rest before the next [s].
    run_up_s
        From the engine that fires to good voltage [s].
    fuel_loads, fuel_rates_m3_per_s
        Fuel over load: part of the rated output [-], rising, and fuel [m3/s]; straight between, and
        beyond the ends along the last lines. Empty: fuel is not counted.
    tank_m3
        Fuel in its tank at the start [m3]; infinity when it never runs out.
    """

    rated_w: float = math.inf
    rated_va: float = math.inf
    start_va: float = math.inf
    most_running: int | None = None
    may_start: tuple[str, ...] = ()
    crank_tries: int = 1
    crank_s: float = 0.0
    crank_rest_s: float = 0.0
    run_up_s: float = 0.0
    fuel_loads: tuple[float, ...] = ()
    fuel_rates_m3_per_s: tuple[float, ...] = ()
    tank_m3: float = math.inf

    def fuel_rate_m3_per_s(self, load_w: float) -> float:
        """Return what it burns at a load [m3/s]; never less than nought.

        Parameters
        ----------
        load_w
            Electrical output [W].
        """
        loads, rates = self.fuel_loads, self.fuel_rates_m3_per_s
        if not loads:
            return 0.0
        if len(loads) == 1:
            return rates[0]
        load = load_w / self.rated_w
        n = min(max(bisect_right(loads, load) - 1, 0), len(loads) - 2)
        slope = (rates[n + 1] - rates[n]) / (loads[n + 1] - loads[n])
        return max(rates[n] + slope * (load - loads[n]), 0.0)


@dataclass(frozen=True)
class TransferSwitch:
    """The switch between grid and fixed generator.

    Parameters
    ----------
    start_delay_s
        From the loss of the grid to the start signal of the generator [s]: a sag goes by.
    transfer_s
        From good voltage of the generator to its load [s].
    return_after_s
        How long the grid must have been good before the switch moves back [s].
    return_break_s
        Break of the supply when it moves back [s].
    cool_down_s
        How long the generator runs on without load [s].
    """

    start_delay_s: float = 0.0
    transfer_s: float = 0.0
    return_after_s: float = 0.0
    return_break_s: float = 0.0
    cool_down_s: float = 0.0


@dataclass(frozen=True)
class MotorLoad:
    """What the motor of a pump asks of a generator.

    Parameters
    ----------
    running_va
        Apparent power at full load [VA].
    start_va
        Apparent power while it starts, with its starter [VA].
    start_s
        How long it takes to run up [s].
    """

    running_va: float
    start_va: float
    start_s: float = 0.0


@dataclass(frozen=True)
class StandbyPower:
    """What stands in for the grid.

    Parameters
    ----------
    generator
        The fixed set; None for none.
    transfer
        Its transfer switch.
    mobile
        A set that may be brought and connected; None for none.
    boot_s
        From voltage on the busbar to a panel that decides [s]; with a fixed set only.
    loads
        What the motor of each pump asks, by the pump's name; those without a plate are left out.
    """

    generator: GeneratorSet | None = None
    transfer: TransferSwitch = field(default_factory=TransferSwitch)
    mobile: GeneratorSet | None = None
    boot_s: float = 0.0
    loads: Mapping[str, MotorLoad] = field(default_factory=dict)

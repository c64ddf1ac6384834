"""What plates and drawings say of things, for criteria: motors, supply, generator, suction, bypass.

Criteria use all of it, a run only what motors ask of a generator. Everything may be left out, and a
criterion that lacks what it needs says so instead of passing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.physics.electrics import START_RATIO, apparent_va, motor_current_a

if TYPE_CHECKING:
    from stationsim.physics.forcemain import Pipe
    from stationsim.physics.pumps import FlowTable

Starter = Literal["direct", "star-delta", "autotransformer", "soft starter", "variable speed"]


class MotorDraw(NamedTuple):
    """What a motor draws.

    Parameters
    ----------
    running_a, starting_a
        Current while it runs and while it starts [A].
    input_w
        What it draws from the supply at its rating [W]; NaN when not known.
    """

    running_a: float
    starting_a: float
    input_w: float


@dataclass(frozen=True)
class MotorPlate:
    """What the plate of a motor says.

    Parameters
    ----------
    rated_w
        Rated output at the shaft [W].
    current_a
        Full-load current [A].
    efficiency, power_factor
        At full load [-].
    poles
        Number of poles [-].
    starter
        How it is started.
    start_ratio
        Current at the start over full-load current, as seen by the line with this starter [-]; None
        for the usual one of the starter.
    load_inertia_kgm2
        Moment of inertia of what it turns [kg m2].
    most_starts_per_hour
        What the maker allows [1/h].
    least_off_s
        Least rest that the maker asks for [s].
    no_load_a
        Current with no load at the shaft [A]; None for a usual part of the full-load current.
    rated_speed
        Speed at full load [1/s].
    run_up_s
        How long it takes to run up [s].
    """

    rated_w: float | None = None
    current_a: float | None = None
    efficiency: float | None = None
    power_factor: float | None = None
    poles: int | None = None
    starter: Starter = "direct"
    start_ratio: float | None = None
    load_inertia_kgm2: float | None = None
    most_starts_per_hour: float | None = None
    least_off_s: float | None = None
    no_load_a: float | None = None
    rated_speed: float | None = None
    run_up_s: float = 0.0

    def draw(self, service: Service) -> MotorDraw | None:
        """Return what the motor draws while it runs and while it starts.

        Parameters
        ----------
        service
            The supply.

        Returns
        -------
        MotorDraw or None
            None when the plate says too little.
        """
        current = self.full_load_a(service)
        if current is None:
            return None
        ratio = START_RATIO[self.starter] if self.start_ratio is None else self.start_ratio
        watts = math.nan
        if self.rated_w is not None and self.efficiency is not None:
            watts = self.rated_w / self.efficiency
        elif self.power_factor is not None:
            watts = apparent_va(current, service.voltage_v, service.phases) * self.power_factor
        return MotorDraw(current, current * max(ratio, 1.0), watts)

    def full_load_a(self, service: Service) -> float | None:
        """Return the full-load current, as the plate says or as it follows from it [A].

        Parameters
        ----------
        service
            The supply.

        Returns
        -------
        float or None
            None when the plate says too little.
        """
        rated, eta, factor = self.rated_w, self.efficiency, self.power_factor
        if self.current_a is not None or rated is None or eta is None or factor is None:
            return self.current_a
        return motor_current_a(rated, service.voltage_v, eta, factor, service.phases)

    def factor_at_full_load(self, service: Service) -> float | None:
        """Return the power factor at full load, as the plate says or as it follows from it [-].

        Parameters
        ----------
        service
            The supply.

        Returns
        -------
        float or None
            None when the plate says too little.
        """
        if self.power_factor is not None:
            return self.power_factor
        if self.current_a is None or self.rated_w is None or self.efficiency is None:
            return None
        apparent = apparent_va(self.current_a, service.voltage_v, service.phases)
        return min(self.rated_w / self.efficiency / apparent, 1.0)


@dataclass(frozen=True)
class PumpInlet:
    """The inlet of a pump.

    Parameters
    ----------
    level_m
        Level of the suction opening [m above floor].
    diameter_m
        Diameter of the suction opening or bell [m].
    least_submergence_m
        Water over the opening that the maker asks for [m].
    npsh_required
        Net positive suction head required over flow [m over m3/s].
    """

    level_m: float | None = None
    diameter_m: float | None = None
    least_submergence_m: float | None = None
    npsh_required: FlowTable | None = None


@dataclass(frozen=True)
class SuctionLine:
    """The suction line of a pump that stands above the water.

    Parameters
    ----------
    eye_m
        Level of the eye of the impeller [m above floor].
    pipe
        The suction pipe with its fittings.
    npsh_required_m
        Net positive suction head required at its flow [m].
    most_priming_lift_m
        The highest lift that it primes from [m].
    """

    eye_m: float
    pipe: Pipe | None = None
    npsh_required_m: float | None = None
    most_priming_lift_m: float | None = None

    def lift_m(self, level_m: float) -> float:
        """Return how high the eye stands over the water [m].

        Parameters
        ----------
        level_m
            The level [m above floor].
        """
        return self.eye_m - level_m

    def asked_m(self, level_m: float, flow_m3s: float) -> float | None:
        """Return lift, loss in the suction line and head required together [m].

        Parameters
        ----------
        level_m
            The level [m above floor].
        flow_m3s
            The flow [m3/s].

        Returns
        -------
        float or None
            None when the line or the head required is not known.
        """
        if self.pipe is None or self.npsh_required_m is None:
            return None
        return self.lift_m(level_m) + self.pipe.loss_m(flow_m3s) + self.npsh_required_m


@dataclass(frozen=True)
class Service:
    """The supply from the grid.

    Parameters
    ----------
    voltage_v
        Between phases [V].
    phases
        1 or 3 [-].
    main_fuse_a
        Rating of the main fuse or breaker [A].
    other_load_w
        All that is not a pump: controls, heating, fans [W].
    most_running
        How many electric pumps may run at once [-]; None for all.
    """

    voltage_v: float
    phases: int = 3
    main_fuse_a: float | None = None
    other_load_w: float = 0.0
    most_running: int | None = None


@dataclass(frozen=True)
class Generator:
    """A generator set for the electric pumps.

    Parameters
    ----------
    rated_w
        Rated output [W].
    rated_va
        Rated apparent output [VA].
    start_va
        The most apparent power that it can start, at the voltage dip allowed [VA].
    most_running
        How many electric pumps may run on it at once [-]; None for all.
    fuel_m3_per_s
        Fuel burnt at the load of the criteria [m3/s].
    tank_m3
        Fuel in its tank [m3].
    """

    rated_w: float
    rated_va: float | None = None
    start_va: float | None = None
    most_running: int | None = None
    fuel_m3_per_s: float | None = None
    tank_m3: float | None = None


@dataclass(frozen=True)
class BypassConnection:
    """The connection for a hired bypass pump.

    Parameters
    ----------
    diameter_m
        Diameter of the connection [m].
    flow_m3s
        Flow of the pump that is meant for it [m3/s].
    suction_lift_m
        From the lowest water it shall pump down to, up to the eye of that pump [m].
    npsh_required_m
        Net positive suction head required at its flow [m].
    """

    diameter_m: float
    flow_m3s: float | None = None
    suction_lift_m: float | None = None
    npsh_required_m: float | None = None


@dataclass(frozen=True)
class DesignFlows:
    """What the station is designed for.

    Parameters
    ----------
    average_m3s, peak_m3s, least_m3s
        Average, peak and least flow by design [m3/s]; None for what the episode brings.
    growth_per_year
        Growth of all three, compounded [-].
    year
        Year in which they hold.
    until_year
        Last year that is looked at; None for 40 years on.
    outage_s
        Outage that the storage shall carry [s].
    response_s
        Time until alternate power or a pump works [s].
    """

    average_m3s: float | None = None
    peak_m3s: float | None = None
    least_m3s: float | None = None
    growth_per_year: float = 0.0
    year: int | None = None
    until_year: int | None = None
    outage_s: float | None = None
    response_s: float | None = None


@dataclass(frozen=True)
class MainAges:
    """What the force main may be, new and old, and what it stands.

    Parameters
    ----------
    new_c, old_c
        Hazen-Williams C of new and of old pipe [-]; None for the one of the force main.
    wave_speed_ms
        Speed of a pressure wave in the main [m/s].
    pressure_rating_m
        Highest head that the main stands [m].
    """

    new_c: float | None = None
    old_c: float | None = None
    wave_speed_ms: float | None = None
    pressure_rating_m: float | None = None

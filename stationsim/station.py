"""Station: the frozen description of what stands there.

Everything is in SI and measured from the floor of the wet well. A Station knows nothing of a run:
the same one can be simulated a thousand times, in any number of processes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from stationsim.control.backup import BackupSettings
from stationsim.control.contract import ControlPlan
from stationsim.equipment.acceptance import AcceptancePlan
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.exercise import Exercise
from stationsim.equipment.power import StandbyPower
from stationsim.equipment.pumps import PumpUnit
from stationsim.equipment.ratings import (
    BypassConnection,
    DesignFlows,
    Generator,
    MainAges,
    MotorPlate,
    PumpInlet,
    Service,
    SuctionLine,
)
from stationsim.limits import Limits
from stationsim.physics.forcemain import ForceMain
from stationsim.physics.spill import Spillway
from stationsim.physics.tariff import Tariff
from stationsim.physics.well import Well

LevelsShown = Literal["above floor", "elevation", "below cover"]


@dataclass(frozen=True)
class AlarmSettings:
    """Levels and delays of the alarms; the others need no setting.

    Parameters
    ----------
    high_level_m
        High-level alarm [m above floor]; None for none.
    low_level_m
        Low-level alarm [m above floor]; None for none.
    high_level_delay_s, low_level_delay_s, power_failed_delay_s
        How long the condition must last before the alarm is raised [s].
    telemetry_lost_delay_s
        How long telemetry must be silent before the far end raises its alarm [s].
    supply
        Whether the alarms have a supply of their own (a battery), or share that of the controls.
    battery_s
        How long alarms and telemetry go on without supply [s]; infinity: for good.
    """

    high_level_m: float | None = None
    low_level_m: float | None = None
    high_level_delay_s: float = 0.0
    low_level_delay_s: float = 0.0
    power_failed_delay_s: float = 0.0
    telemetry_lost_delay_s: float = 0.0
    supply: Literal["own", "control"] = "own"
    battery_s: float = math.inf


@dataclass(frozen=True)
class ReturnBreak:
    """The short break of the supply some time after the grid is back.

    A transfer switch that goes back to the grid makes one, and so may a recloser of the line.

    Parameters
    ----------
    after_s
        From the return of the grid to the break [s].
    length_s
        How long it lasts [s].
    """

    after_s: float
    length_s: float


@dataclass(frozen=True)
class Ratings:
    """What plates and drawings say beyond what a run needs; criteria use it.

    Parameters
    ----------
    plates, inlets
        Motor plate and inlet of each electric pump, by its name.
    service, generator, bypass
        Supply, generator set and bypass connection; None when not given.
    engine_suction
        Suction line of the engine-driven pump; None when not given.
    main
        The force main new and old, and what it stands.
    design
        Design flows.
    limits
        Limits of the criteria.
    set_limits
        Names of the limits that the file sets itself.
    acceptance
        How the day of acceptance is to go.
    """

    plates: Mapping[str, MotorPlate] = field(default_factory=dict)
    inlets: Mapping[str, PumpInlet] = field(default_factory=dict)
    service: Service | None = None
    generator: Generator | None = None
    bypass: BypassConnection | None = None
    engine_suction: SuctionLine | None = None
    main: MainAges = field(default_factory=MainAges)
    design: DesignFlows = field(default_factory=DesignFlows)
    limits: Limits = field(default_factory=Limits)
    set_limits: tuple[str, ...] = ()
    acceptance: AcceptancePlan = field(default_factory=AcceptancePlan)


@dataclass(frozen=True)
class Station:
    """What stands there.

    Parameters
    ----------
    name
        What people call it.
    well
        Stage-storage of the wet well and all that backs up with it.
    pumps
        The electric pumps, P1 first.
    control
        Which controller and which rotation, each with its settings.
    force_main
        The common main; None when every pump has a fixed flow or ``total_by_number`` is given.
    total_by_number_m3s
        Flow of the whole station with one, two, three ... electric pumps running [m3/s], shared
        equally; None when the pumps' own data count.
    engine_pump
        The engine-driven pump; None for none.
    spillway
        Lowest point where it spills; None means that the level may rise without limit.
    alarms
        Alarm levels and delays.
    backup_floats
        Floats that run the station when the level signal cannot be trusted; None for none.
    tariff
        What energy costs by the hour; None when nobody asks.
    inlet_invert_m
        Invert of the incoming sewer [m above floor], for drawings and rules; None when not given.
    cover_m
        Underside of the cover [m above floor]; None when not given.
    floor_elevation_m
        Elevation of the floor above the site's datum [m]; None when not given.
    levels_shown
        What levels are counted from where a person reads them: sentences, plots, messages. Inside,
        and in tables, a level is always above the floor. ``elevation`` needs ``floor_elevation_m``,
        ``below cover`` needs ``cover_m``.
    ratings
        What plates and drawings say beyond what a run needs.
    return_break
        The short break of the supply some time after the grid is back; None for none.
    standby_power
        What feeds the electric pumps when the grid does not; None for nothing.
    exercise
        What is run at a set time to prove it; None for nothing.
    scan_s
        How often a level signal that drifts, jumps or lags is read [s]; others need no reading.
    main_water_m3
        Water of the force main that runs back when a check valve stays open [m3].
    bypass_pump
        A pump that can be brought and connected to the force main behind the check valves; None
        for none. Until it is connected it is not there.
    """

    name: str
    well: Well
    pumps: tuple[PumpUnit, ...]
    control: ControlPlan
    force_main: ForceMain | None = None
    total_by_number_m3s: tuple[float, ...] | None = None
    engine_pump: EnginePump | None = None
    spillway: Spillway | None = None
    alarms: AlarmSettings = field(default_factory=AlarmSettings)
    backup_floats: BackupSettings | None = None
    tariff: Tariff | None = None
    inlet_invert_m: float | None = None
    cover_m: float | None = None
    floor_elevation_m: float | None = None
    levels_shown: LevelsShown = "above floor"
    ratings: Ratings = field(default_factory=Ratings)
    return_break: ReturnBreak | None = None
    standby_power: StandbyPower | None = None
    exercise: Exercise | None = None
    scan_s: float = 10.0
    main_water_m3: float = 0.0
    bypass_pump: EnginePump | None = None

    def shown_m(self, level_m: float) -> float:
        """Return a level as a person reads it [m]: above the floor, as elevation, or below cover.

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        if self.levels_shown == "elevation":
            return level_m + (self.floor_elevation_m or 0.0)
        if self.levels_shown == "below cover":
            return (self.cover_m or 0.0) - level_m
        return level_m

    def pumps_alike(self, among: Sequence[int] | None = None) -> bool:
        """Return whether electric pumps differ in nothing but their names.

        Parameters
        ----------
        among
            Indices of those that are looked at; None for all.
        """
        looked_at = range(len(self.pumps)) if among is None else among
        return len({replace(self.pumps[index], name="") for index in looked_at}) <= 1

    def machine_names(self) -> tuple[str, ...]:
        """Return the names of all machines: electric pumps, engine-driven pump, bypass pump."""
        return (*(pump.name for pump in self.pumps), *(one.pump.name for one in self.engines()))

    def engines(self) -> tuple[EnginePump, ...]:
        """Return what has an engine of its own: the engine-driven pump, then the bypass pump."""
        return tuple(one for one in (self.engine_pump, self.bypass_pump) if one is not None)

    def engine_named(self, name: str) -> EnginePump | None:
        """Return what has an engine of its own by its name; None when nothing is called so.

        Parameters
        ----------
        name
            ``E1`` or ``B1``.
        """
        return next((one for one in self.engines() if one.pump.name == name), None)

    def as_built(self) -> Station:
        """Return the station as it is built, without the bypass pump that can be brought."""
        return self if self.bypass_pump is None else replace(self, bypass_pump=None)

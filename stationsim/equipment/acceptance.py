"""How a station is tested on its day of acceptance: water, gauges, grades, what readings can tell.

A run does not use any of this. All of it may be left out; what is not given is not predicted, and
stands on the sheet as a blank without an expected value.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

WaterGoes = Literal["downstream", "back to the well"]
InflowMeanwhile = Literal["shut off", "comes in"]
Grade = Literal["1U", "1E", "1B", "2B", "2U", "3B"]


@dataclass(frozen=True)
class Gauge:
    """A pressure gauge.

    Parameters
    ----------
    level_m
        Level of its dial, or of the transmitter [m above floor].
    bore_m
        Bore of the pipe at its tapping [m]; None for the pipe that it sits on.
    branch_part
        Part of the loss of the pump's own branch that lies between the pump and the tapping [-];
        only of gauges at pumps.
    """

    level_m: float
    bore_m: float | None = None
    branch_part: float = 0.0


@dataclass(frozen=True)
class Uncertainties:
    """How far a reading may be off, one for each way to read, at two standard deviations.

    Common practice, no source: of handheld and panel instruments in fair order.

    Parameters
    ----------
    flow_meter, current, speed
        Part of the reading [-].
    pressure_pa
        Of a gauge [Pa].
    level_m
        Of a level read by tape or stick [m].
    time_s
        Of a time by stopwatch [s].
    area
        Of the area of the well, as a part [-].
    """

    flow_meter: float = 0.02
    pressure_pa: float = 2000.0
    current: float = 0.03
    speed: float = 0.005
    level_m: float = 0.005
    time_s: float = 1.0
    area: float = 0.01


@dataclass(frozen=True)
class AcceptancePlan:
    """How the day of acceptance is to go.

    Parameters
    ----------
    start_clock_s
        When the day begins [s after midnight].
    water_m3s
        Rate at which clean water can be brought [m3/s].
    water_goes
        Where the pumped water goes: on through the main, or back to the well.
    main_full
        Whether the force main is full when the day begins.
    inflow
        What the sewer brings while pumps are timed: shut off (plugged), or coming in.
    drop_m
        Drop of the level over which a pump is timed [m].
    levels_m
        Levels at which pressures and flows are read [m above floor]; empty for those of the
        control: lead start, middle, stop.
    header_gauge, pump_gauge
        Gauges on the common header and at each pump; None for none.
    grade
        Published grade of tolerance; None for the one that goes by the size of the motor.
    flow_tolerance, head_tolerance
        Tolerances of the user's own, as parts [-]; None for those of the grade.
    current_tolerance, speed_tolerance
        As parts [-].
    level_tolerance_m
        Of set-points, floats and the level sensor [m].
    time_tolerance_s, time_part
        Of times in a sequence of events: at least so many seconds [s], or a part of the wait [-].
    uncertainty
        How far readings may be off.
    """

    start_clock_s: float = 8 * 3600.0
    water_m3s: float | None = None
    water_goes: WaterGoes = "downstream"
    main_full: bool = False
    inflow: InflowMeanwhile = "shut off"
    drop_m: float | None = None
    levels_m: tuple[float, ...] = ()
    header_gauge: Gauge | None = None
    pump_gauge: Gauge | None = None
    grade: Grade | None = None
    flow_tolerance: float | None = None
    head_tolerance: float | None = None
    current_tolerance: float = 0.10
    speed_tolerance: float = 0.02
    level_tolerance_m: float = 0.02
    time_tolerance_s: float = 2.0
    time_part: float = 0.10
    uncertainty: Uncertainties = field(default_factory=Uncertainties)

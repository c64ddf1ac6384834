"""What a scenario file may say of the day of acceptance: water, gauges, tolerances, instruments.

Part of the schema; see ``schema``. All of it may be left out: what is not given is not predicted.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stationsim.equipment.acceptance import AcceptancePlan, Grade, Uncertainties
from stationsim.scenario import quantities as q
from stationsim.scenario.table import LEFT_OUT, Table, left_out

_DAY = AcceptancePlan()
_OFF = Uncertainties()


class HeaderGaugePart(Table):
    """The pressure gauge on the common header."""

    level: q.Level = Field(
        description="Level of its dial, or of the transmitter; it may lie above the cover."
    )
    bore: q.PipeDiameter | None = left_out(
        "that of the pipe it sits on", "Bore of the pipe at its tapping."
    )


class PumpGaugePart(HeaderGaugePart):
    """A pressure gauge at each pump."""

    branch_part: q.Share = Field(
        0.0,
        description="Part of the loss of the pump's branch that lies between the pump and the "
        "tapping: 0 right at the pump, 1 where the branch ends.",
    )


class UncertaintyPart(Table):
    """How far a reading may be off, at two standard deviations; the instrument's papers say it."""

    flow_meter: q.Share = Field(_OFF.flow_meter, description="Of a flow meter, part of the flow.")
    pressure: q.PressureError = Field(_OFF.pressure_pa, description="Of a pressure gauge.")
    current: q.Share = Field(_OFF.current, description="Of a current, part of the reading.")
    speed: q.Share = Field(_OFF.speed, description="Of a speed, part of the reading.")
    level: q.LevelError = Field(_OFF.level_m, description="Of a level read by tape or stick.")
    time: q.ShortWait = Field(_OFF.time_s, description="Of a time by stopwatch.")
    area: q.Share = Field(_OFF.area, description="Of the plan area of the well, part of it.")


class AcceptancePart(Table):
    """How the day of acceptance is to go; a run does not use it."""

    start: q.Clock | None = left_out("08:00", "When the day begins.")
    water: q.FlowOfPump | None = left_out(
        "not known; no time to fill is told", "Rate at which clean water can be brought."
    )
    water_goes: Literal["downstream", "back to the well"] = Field(
        _DAY.water_goes,
        description="Where the pumped water goes: on through the main, or back to the well.",
    )
    main_full: bool = Field(
        default=_DAY.main_full, description="Whether the force main is full when the day begins."
    )
    inflow: Literal["shut off", "comes in"] = Field(
        _DAY.inflow,
        description="What the sewer brings while pumps are timed: shut off by a plug, or coming "
        "in.",
    )
    drop: q.Drop | None = left_out(
        "0.5 m, or down to the stop level when that is less",
        "Drop of the level over which a pump is timed, from the lead start down.",
    )
    levels: list[q.Level] | None = left_out(
        "lead start, middle and stop of the control",
        "Levels of the water at which pressures and flows are read.",
        min_length=1,
        max_length=12,
    )
    grade: Grade | None = left_out(
        "the one that goes by the size of the motor",
        "Acceptance grade of ISO 9906 (ANSI/HI 14.6 has the same) whose tolerances of flow and "
        "head the pumps are held to.",
    )
    flow_tolerance: q.Ratio | None = left_out(
        "that of the grade", "Tolerance of a flow of your own, as a part."
    )
    head_tolerance: q.Ratio | None = left_out(
        "that of the grade", "Tolerance of a head of your own, as a part."
    )
    current_tolerance: q.Ratio = Field(
        _DAY.current_tolerance, description="Tolerance of a current as a part."
    )
    speed_tolerance: q.Ratio = Field(
        _DAY.speed_tolerance, description="Tolerance of a speed as a part."
    )
    level_tolerance: q.LevelTolerance = Field(
        _DAY.level_tolerance_m,
        description="Tolerance of set-points, floats and the level sensor.",
    )
    time_tolerance: q.ShortWait = Field(
        _DAY.time_tolerance_s,
        description="Tolerance of a wait between two events: at least so long.",
    )
    time_part: q.Share = Field(
        _DAY.time_part, description="Tolerance of a wait as a part of it; the wider of the two."
    )
    header_gauge: HeaderGaugePart | None = left_out(
        "none", "The pressure gauge on the common header."
    )
    pump_gauge: PumpGaugePart | None = left_out("none", "A pressure gauge at each pump.")
    uncertainty: UncertaintyPart = Field(
        default_factory=UncertaintyPart,
        description="How far readings may be off, at two standard deviations.",
        json_schema_extra={LEFT_OUT: "that of handheld and panel instruments in fair order"},
    )

"""What a scenario file may say: one model for each table, one description for each key.

The loader checks a file against these models, ``explain`` prints the descriptions, and ``schema``
prints them all as JSON Schema. Defaults are nought or off. Levels are kept here as they were
written; ``build`` turns them into metres above the floor.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from stationsim.scenario import quantities as q


class Table(BaseModel):
    """A table of the file: unknown keys are refused, values are never bent into shape."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class StationPart(Table):
    """The station as a whole."""

    name: q.Name = Field(description="What people call the station.")
    levels_are: Literal["above floor", "elevation", "below cover"] = Field(
        "above floor",
        description="What every level of this file is measured from: the floor of the wet well "
        "upwards; the datum of the site (needs floor_elevation); the underside of the cover "
        "downwards (needs depth).",
    )
    floor_elevation: q.Level | None = Field(
        None, description="Elevation of the floor of the wet well above the datum of the site."
    )
    depth: q.Height | None = Field(
        None, description="From the floor of the wet well up to the underside of its cover."
    )
    cover: q.Level | None = Field(
        None, description="Level of the underside of the cover; or give the depth of the well."
    )
    inlet_invert: q.Level | None = Field(
        None, description="Level of the invert of the incoming sewer, for drawings and warnings."
    )
    total_flow: list[q.Flow] | None = Field(
        None,
        description="Flow of the whole station with one, two, ... electric pumps running, one "
        "value for each pump; shared equally. Takes the place of pump flows and curves.",
    )


class CylinderPart(Table):
    """A round shaft."""

    shape: Literal["cylinder"] = Field(description="A round shaft.")
    diameter: q.Span = Field(description="Inside diameter.")
    from_level: q.Level | None = Field(
        None, alias="from", description="Level of its foot; the floor when left out."
    )
    to_level: q.Level | None = Field(
        None, alias="to", description="Level of its top; no end when left out."
    )


class BoxPart(Table):
    """A rectangular shaft."""

    shape: Literal["box"] = Field(description="A rectangular shaft.")
    length: q.Span = Field(description="Inside length in plan.")
    width: q.Span = Field(description="Inside width in plan.")
    from_level: q.Level | None = Field(
        None, alias="from", description="Level of its foot; the floor when left out."
    )
    to_level: q.Level | None = Field(
        None, alias="to", description="Level of its top; no end when left out."
    )


class ConePart(Table):
    """A piece whose diameter changes evenly with height: a hopper floor."""

    shape: Literal["cone"] = Field(
        description="A piece whose diameter changes evenly with height, such as a hopper floor."
    )
    bottom_diameter: q.SpanOrNone = Field(description="Inside diameter at its foot; may be 0 m.")
    top_diameter: q.Span = Field(description="Inside diameter at its top.")
    from_level: q.Level | None = Field(
        None, alias="from", description="Level of its foot; the floor when left out."
    )
    to_level: q.Level = Field(alias="to", description="Level of its top.")


class StoragePart(Table):
    """Storage that fills evenly between two levels: a sewer and manholes that back up."""

    shape: Literal["storage"] = Field(
        description="Storage that fills evenly between two levels, such as a sewer that backs up."
    )
    volume: q.Volume = Field(description="What it holds when full.")
    from_level: q.Level = Field(alias="from", description="Level at which it begins to fill.")
    to_level: q.Level = Field(alias="to", description="Level at which it is full.")


class AreaTablePart(Table):
    """Plan area given at levels."""

    shape: Literal["table"] = Field(description="Plan area given at levels.")
    levels: list[q.Level] = Field(
        min_length=2, max_length=2000, description="Levels, rising, the first at the floor."
    )
    areas: list[q.Area] = Field(
        min_length=2, max_length=2000, description="Plan area at each of the levels."
    )
    between: Literal["straight", "steps"] = Field(
        "straight",
        description="Between two levels the area changes evenly (straight), or the area of the "
        "lower one holds (steps). Above the last level its area goes on.",
    )


WellPart = Annotated[
    CylinderPart | BoxPart | ConePart | StoragePart | AreaTablePart, Field(discriminator="shape")
]


class SpillPart(Table):
    """The lowest point where it spills, often a manhole and not the cover of the well."""

    level: q.Level = Field(description="Level of the lowest point where water leaves the system.")
    weir_length: q.WeirLength | None = Field(
        None,
        description="Length of the edge it leaves over. Left out: all that arrives above the "
        "level is lost at once.",
    )
    weir_coefficient: q.WeirCoefficient = Field(
        1.7, description="C of Q = C L h^1.5 in m^0.5/s: about 1.7 broad-crested, 1.84 sharp."
    )


class CurvePart(Table):
    """Head over flow, by points or by coefficients."""

    flow: list[q.Flow] | None = Field(
        None, min_length=2, max_length=200, description="Flows of the points, rising from 0."
    )
    head: list[q.Head] | None = Field(
        None, min_length=2, max_length=200, description="Heads of the points, falling."
    )
    shutoff_head: q.ShutoffHead | None = Field(
        None, description="Head at no flow, for a curve by coefficients H = H0 + a Q + b Q^2."
    )
    linear: q.HeadPerFlow | None = Field(
        None, description="Coefficient a of the flow; nought or negative."
    )
    square: q.HeadPerFlowSquared | None = Field(
        None, description="Coefficient b of the flow squared; nought or negative."
    )


class PowerCurvePart(Table):
    """Electrical input over flow."""

    flow: list[q.Flow] = Field(min_length=2, max_length=200, description="Flows, rising.")
    power: list[q.Power] = Field(
        min_length=2, max_length=200, description="Electrical input at each of the flows."
    )


class EfficiencyPart(Table):
    """Efficiency of the pump over flow."""

    flow: list[q.Flow] = Field(min_length=1, max_length=200, description="Flows, rising.")
    efficiency: list[q.Efficiency] = Field(
        min_length=1, max_length=200, description="Efficiency of the pump at each of the flows."
    )


def _plain_efficiency(value: Any) -> Any:
    """Let a plain number stand for an efficiency that is the same at every flow."""
    if isinstance(value, str) or (isinstance(value, int | float) and not isinstance(value, bool)):
        return {"flow": ["0 L/s"], "efficiency": [value]}
    return value


class PipePart(Table):
    """A pipe with its fittings."""

    length: q.PipeLength = Field(description="Length of the pipe.")
    diameter: q.PipeDiameter = Field(description="Inside diameter of the pipe.")
    friction: Literal["hazen-williams", "darcy-weisbach", "none"] = Field(
        "hazen-williams", description="Which formula gives the friction loss."
    )
    c_factor: q.CFactor | None = Field(
        None, description="Hazen-Williams C: about 140 new smooth pipe, 100 old; 120 if left out."
    )
    roughness: q.Roughness | None = Field(
        None, description="Height of roughness, for Darcy-Weisbach; 0 if left out."
    )
    viscosity: q.Viscosity | None = Field(
        None,
        description="Kinematic viscosity, for Darcy-Weisbach; that of water at 15 C if left out.",
    )
    fittings_k: q.Fittings = Field(
        0.0, description="Sum of the loss coefficients of bends, valves, outlet, in velocity heads."
    )


class MachinePart(Table):
    """What an electric pump and an engine-driven pump have in common."""

    flow: q.FlowOfPump | None = Field(
        None, description="Flow of the pump whatever the level; or give its curve."
    )
    curve: CurvePart | None = Field(
        None,
        description="Head over flow as new: points {flow = [...], head = [...]} or coefficients "
        "{shutoff_head, linear, square}.",
    )
    speed: q.Condition = Field(1.0, description="Speed over the speed of the curve.")
    flow_factor: q.Condition = Field(1.0, description="What wear leaves of the flow; 1 as new.")
    head_factor: q.Condition = Field(1.0, description="What wear leaves of the head; 1 as new.")
    branch: PipePart | None = Field(
        None, description="Pipe and fittings from the pump to the common header."
    )


class PumpPart(MachinePart):
    """An electric pump."""

    like: q.Name | None = Field(
        None, description="Another pump of the file whose keys this one takes, save those given."
    )
    power: q.Power | None = Field(
        None, description="Electrical input while it runs, whatever the flow."
    )
    power_curve: PowerCurvePart | None = Field(
        None, description="Electrical input over flow: {flow = [...], power = [...]}."
    )
    efficiency: Annotated[EfficiencyPart, BeforeValidator(_plain_efficiency)] | None = Field(
        None,
        description="Efficiency of the pump: {flow = [...], efficiency = [...]}, or one number.",
    )
    motor_efficiency: q.Ratio | None = Field(
        None, description="Efficiency of the motor and its drive; 1 if left out."
    )
    min_off_time: q.Delay = Field(
        0.0, description="How long it rests after a stop before it may start again."
    )
    seal_leak: Literal["alarm", "stop"] = Field(
        "alarm", description="What a seal leak does: raise the alarm only, or stop the pump too."
    )


class ForceMainPart(Table):
    """The common main. A single pipe may be given here directly; several as [force_main.pipe.A]."""

    discharge: q.Level = Field(
        description="Level of the free discharge, or of the highest point of the main."
    )
    pipe: dict[str, PipePart] | None = Field(
        None, min_length=1, description="Pipes in series, each carrying the whole flow."
    )
    length: q.PipeLength | None = Field(None, description="Length of the single pipe.")
    diameter: q.PipeDiameter | None = Field(None, description="Inside diameter of the single pipe.")
    friction: Literal["hazen-williams", "darcy-weisbach", "none"] | None = Field(
        None, description="Which formula gives the friction loss; hazen-williams if left out."
    )
    c_factor: q.CFactor | None = Field(None, description="Hazen-Williams C of the single pipe.")
    roughness: q.Roughness | None = Field(
        None, description="Height of roughness of the single pipe, for Darcy-Weisbach."
    )
    viscosity: q.Viscosity | None = Field(
        None, description="Kinematic viscosity, for Darcy-Weisbach."
    )
    fittings_k: q.Fittings | None = Field(
        None, description="Sum of the loss coefficients of its fittings, in velocity heads."
    )


class EnginePumpPart(MachinePart):
    """The engine-driven pump: own start panel, own fuel; called while the grid is out."""

    name: q.Name = Field("E1", description="What people call it.")
    start: q.Level = Field(description="While the grid is out it starts at or above this level.")
    stop: q.Level = Field(description="It stops when the level falls to this.")
    start_delay: q.Delay = Field(0.0, description="From the call to full flow.")
    at_grid_return: Literal["run on to stop level", "stop"] = Field(
        "run on to stop level", description="What it does when the grid comes back while it runs."
    )
    fuel_rate: q.FuelRate = Field(0.0, description="Fuel burnt while it runs.")
    tank: q.FuelVolume | None = Field(
        None, description="Fuel in the tank at the start; not counted if left out."
    )


class AlarmsPart(Table):
    """Levels and delays of the alarms."""

    high_level: q.Level | None = Field(None, description="High-level alarm.")
    high_level_delay: q.Delay = Field(
        0.0, description="How long the level must stay high before the alarm is raised."
    )
    low_level: q.Level | None = Field(None, description="Low-level alarm.")
    low_level_delay: q.Delay = Field(
        0.0, description="How long the level must stay low before the alarm is raised."
    )
    power_failed_delay: q.Delay = Field(
        0.0, description="How long the supply must be out before the alarm is raised."
    )


class EpisodePart(Table):
    """When the run begins, how long it lasts, and how it starts."""

    start: q.Moment = Field(
        datetime(2027, 3, 1, tzinfo=UTC),
        description="Local date and time of the start with its offset from UTC; +00:00 when no "
        "offset is given. A Monday midnight, 2027-03-01, if left out.",
    )
    duration: q.Duration = Field(description="How long the run lasts.")
    start_level: q.Level = Field(description="Level in the well at the start.")
    table_interval: q.Interval = Field(
        300.0, description="How often the level is written to the table; no effect on the run."
    )
    seed: q.Count = Field(1, description="Root of every random stream of the run.")


class ConstantPart(Table):
    """A flow that does not change."""

    kind: Literal["constant"] = Field(description="A flow that does not change.")
    flow: q.Flow = Field(description="The flow.")


class DailyPart(Table):
    """A daily pattern by the hour."""

    kind: Literal["daily"] = Field(description="A daily pattern by the hour.")
    weekday: list[q.FlowOrFactor] = Field(
        min_length=24,
        max_length=24,
        description="24 flows, at 00:00, 01:00, ...; plain factors when mean is given.",
    )
    weekend: list[q.FlowOrFactor] | None = Field(
        None,
        min_length=24,
        max_length=24,
        description="The same for Saturday and Sunday; as on weekdays if left out.",
    )
    between: Literal["straight", "steps"] = Field(
        "straight",
        description="Linear from hour to hour, over midnight to the first of the next day "
        "(straight), or held for the hour (steps).",
    )
    mean: q.Flow | None = Field(
        None, description="Mean flow of the day that the pattern is scaled to."
    )
    weekend_mean: q.Flow | None = Field(
        None, description="The same for the weekend; as mean if left out."
    )


class RecordedPart(Table):
    """A recorded series from a CSV file."""

    kind: Literal["recorded"] = Field(description="A recorded series from a CSV file.")
    file: q.Name = Field(description="Path of the CSV file, from the folder of the scenario.")
    column: q.Name | None = Field(
        None, description="Column of the flow; may be left out when only one can be meant."
    )
    time_column: q.Name | None = Field(
        None, description="Column of the time; the first if left out."
    )
    unit: q.Name | None = Field(
        None, description="Unit of the flow; may be left out when the column's name has it."
    )
    time_unit: q.Name | None = Field(
        None, description="Unit of elapsed times; may be left out when the column's name has it."
    )
    factor: q.Factor = Field(1.0, description="What every flow is multiplied by.")
    gaps: Literal["refuse", "straight", "hold"] = Field(
        "refuse", description="Missing values: refuse the file, go straight over, or hold."
    )
    between: Literal["straight", "steps"] = Field(
        "straight", description="Between two rows: linear, or the earlier value holds."
    )


class HydrographPart(Table):
    """A storm as points; no flow before the first and after the last."""

    kind: Literal["hydrograph"] = Field(description="A storm as points of time and flow.")
    points: list[
        Annotated[
            tuple[q.Elapsed, q.Flow],
            Field(strict=False),
        ]
    ] = Field(
        min_length=2,
        max_length=100_000,
        description='Points of time since `at` and flow: [["0 h", "0 L/s"], ["2 h", "15 L/s"]].',
    )
    at: q.Name = Field(
        "day 1 00:00",
        description='When its time 0 is: "day 3 14:00", "Wed 14:00", a date and time, or '
        '"after 26 h".',
    )


InflowPart = Annotated[
    ConstantPart | DailyPart | RecordedPart | HydrographPart, Field(discriminator="kind")
]


class EventPart(Table):
    """One thing that happens, as one text or in pieces."""

    text: q.Name | None = Field(
        None, description='The whole in one text: "day 3 07:10 grid loss for 4 h".'
    )
    at: q.Name | None = Field(
        None, description='When: "day 3 07:10", "Wed 07:10", a date and time, or "after 26 h".'
    )
    what: q.Name | None = Field(
        None,
        description='What: "grid loss", "P2 out of service", "P2 fails", "P2 high temperature", '
        '"P2 seal leak", "P2 in hand", "P2 off", "P2 in auto", "P2 reset".',
    )
    for_: q.Name | None = Field(None, alias="for", description='How long: "4 h".')
    until_reset: bool = Field(
        default=False, description="A trip waits for a reset by hand when this is true."
    )


class Scenario(Table):
    """A scenario: a station, and what happens to it."""

    title: q.Name | None = Field(None, description="What this scenario shows, in one line.")
    station: StationPart = Field(description="The station as a whole.")
    well: dict[str, WellPart] = Field(
        min_length=1, description="Parts of the storage; where they overlap their areas add."
    )
    spill: SpillPart | None = Field(
        None, description="The lowest point where it spills; without it the level has no limit."
    )
    pump: dict[str, PumpPart] = Field(
        min_length=1, max_length=12, description="The electric pumps: [pump.P1], [pump.P2], ..."
    )
    force_main: ForceMainPart | None = Field(
        None, description="The common main; needed by pumps with a curve."
    )
    engine_pump: EnginePumpPart | None = Field(None, description="The engine-driven pump.")
    control: dict[str, Any] = Field(
        description="Which controller decides (kind), and its settings."
    )
    rotation: dict[str, Any] = Field(
        default_factory=lambda: {"kind": "each cycle"},
        description="Who leads next (kind), and its settings.",
    )
    alarms: AlarmsPart = Field(
        default_factory=AlarmsPart, description="Levels and delays of the alarms."
    )
    episode: EpisodePart = Field(description="When the run begins, and how long it lasts.")
    inflow: dict[str, InflowPart] = Field(
        min_length=1, description="What arrives: sources by name; their flows add."
    )
    event: dict[str, EventPart] = Field(
        default_factory=dict, description="What happens at stated times."
    )

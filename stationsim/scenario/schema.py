"""What a scenario file may say: one model for each table, one description for each key.

The loader checks a file against these models, ``explain`` prints the descriptions, and ``schema``
prints them all as JSON Schema. Defaults are nought or off. Levels are kept here as they were
written; ``build`` turns them into metres above the floor.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from stationsim.scenario import quantities as q
from stationsim.scenario.acceptance_tables import AcceptancePart
from stationsim.scenario.machine_tables import (
    BypassPumpPart,
    EnginePumpPart,
    ForceMainPart,
    PumpPart,
)
from stationsim.scenario.protection_tables import BackupFloatsPart, GridPart, TariffPart
from stationsim.scenario.rain_tables import RainDerivedPart, RainPart
from stationsim.scenario.rating_tables import (
    BypassPart,
    DesignPart,
    LimitsPart,
    ServicePart,
)
from stationsim.scenario.response_tables import (
    CallOutPart,
    PasserByPart,
    PersonPart,
    TaskKey,
    TaskPart,
    ToolPart,
    VisitPart,
)
from stationsim.scenario.sewer_tables import SewerPart
from stationsim.scenario.standby_tables import (
    ExercisePart,
    GeneratorPart,
    MobileGeneratorPart,
    RandomPart,
    TransferPart,
)
from stationsim.scenario.table import LEFT_OUT, Table, left_out


class StationPart(Table):
    """The station as a whole."""

    name: q.Name = Field(description="What people call the station.")
    levels_are: Literal["above floor", "elevation", "below cover"] = Field(
        "above floor",
        description="What every level of this file is measured from: the floor of the wet well "
        "upwards; the datum of the site (needs floor_elevation); the underside of the cover "
        "downwards (needs depth). Sentences, plots and messages show levels in the same way; in "
        "the tables of results a level is always above the floor.",
    )
    floor_elevation: q.Level | None = left_out(
        "not known", "Elevation of the floor of the wet well above the datum of the site."
    )
    depth: q.Height | None = left_out(
        "as cover says; not known without it",
        "From the floor of the wet well up to the underside of its cover.",
    )
    cover: q.Level | None = left_out(
        "as depth says; not known without it",
        "Level of the underside of the cover; or give the depth of the well.",
    )
    inlet_invert: q.Level | None = left_out(
        "not known",
        "Level of the invert of the incoming sewer, for drawings and warnings; [sewer] "
        "begins there and needs it.",
    )
    level_scan: q.ScanTime = Field(
        10.0,
        description="How often the panel reads a level signal that drifts, jumps or lags; one that "
        "is right needs no reading.",
    )
    total_flow: list[q.Flow] | None = left_out(
        "the flows or curves of the pumps count",
        "Flow of the whole station with one, two, ... electric pumps running, one "
        "value for each pump; shared equally. Takes the place of pump flows and curves.",
    )


class CylinderPart(Table):
    """A round shaft."""

    shape: Literal["cylinder"] = Field(description="A round shaft.")
    diameter: q.Span = Field(description="Inside diameter.")
    from_level: q.Level | None = left_out("the floor", "Level of its foot.", alias="from")
    to_level: q.Level | None = left_out("no end", "Level of its top.", alias="to")


class BoxPart(Table):
    """A rectangular shaft."""

    shape: Literal["box"] = Field(description="A rectangular shaft.")
    length: q.Span = Field(description="Inside length in plan.")
    width: q.Span = Field(description="Inside width in plan.")
    from_level: q.Level | None = left_out("the floor", "Level of its foot.", alias="from")
    to_level: q.Level | None = left_out("no end", "Level of its top.", alias="to")


class ConePart(Table):
    """A piece whose diameter changes evenly with height: a hopper floor."""

    shape: Literal["cone"] = Field(
        description="A piece whose diameter changes evenly with height, such as a hopper floor."
    )
    bottom_diameter: q.SpanOrNone = Field(description="Inside diameter at its foot; may be 0 m.")
    top_diameter: q.Span = Field(description="Inside diameter at its top.")
    from_level: q.Level | None = left_out("the floor", "Level of its foot.", alias="from")
    to_level: q.Level = Field(alias="to", description="Level of its top.")


class FrustumPart(Table):
    """A rectangular piece whose length and width change evenly with height: a benched floor."""

    shape: Literal["frustum"] = Field(
        description="A rectangular piece whose length and width change evenly with height, such as "
        "a benched floor; equal lengths make a trough. The round one is a cone."
    )
    bottom_length: q.SpanOrNone = Field(
        description="Inside length in plan at its foot; may be 0 m."
    )
    bottom_width: q.SpanOrNone = Field(description="Inside width in plan at its foot; may be 0 m.")
    top_length: q.Span = Field(description="Inside length in plan at its top.")
    top_width: q.Span = Field(description="Inside width in plan at its top.")
    from_level: q.Level | None = left_out("the floor", "Level of its foot.", alias="from")
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
    CylinderPart | BoxPart | ConePart | FrustumPart | StoragePart | AreaTablePart,
    Field(discriminator="shape"),
]


class SpillPart(Table):
    """The lowest point where it spills, often a manhole and not the cover of the well."""

    level: q.Level = Field(description="Level of the lowest point where water leaves the system.")
    weir_length: q.WeirLength | None = left_out(
        "all that arrives above the level is lost at once", "Length of the edge it leaves over."
    )
    weir_coefficient: q.WeirCoefficient = Field(
        1.7, description="C of Q = C L h^1.5 in m^0.5/s: about 1.7 broad-crested, 1.84 sharp."
    )


class AlarmsPart(Table):
    """Levels and delays of the alarms."""

    high_level: q.Level | None = left_out("no such alarm", "High-level alarm.")
    high_level_delay: q.Delay = Field(
        0.0, description="How long the level must stay high before the alarm is raised."
    )
    low_level: q.Level | None = left_out("no such alarm", "Low-level alarm.")
    low_level_delay: q.Delay = Field(
        0.0, description="How long the level must stay low before the alarm is raised."
    )
    power_failed_delay: q.Delay = Field(
        0.0, description="How long the supply must be out before the alarm is raised."
    )
    telemetry_lost_delay: q.Delay = Field(
        0.0,
        description="How long telemetry must be silent before the far end raises its alarm: so "
        "many polls in vain.",
    )
    supply: Literal["own", "control"] = Field(
        "own",
        description="Whether the alarms have a supply of their own, such as a battery, or share "
        "that of the controls and are dead with it.",
    )
    battery: q.BatteryTime | None = left_out(
        "for good",
        "How long alarms and telemetry go on while nothing feeds the pumps' busbar; then both are "
        "silent until something does. After each such return it counts as full again.",
    )


class EpisodePart(Table):
    """When the run begins, how long it lasts, and how it starts."""

    start: q.Moment = Field(
        datetime(2027, 3, 1, tzinfo=UTC),
        description="Local date and time of the start with its offset from UTC; +00:00 when no "
        "offset is given. The default is a Monday.",
    )
    duration: q.Duration = Field(description="How long the run lasts.")
    start_level: q.Level = Field(description="Level in the well at the start.")
    table_interval: q.Interval = Field(
        300.0, description="How often the level is written to the table; no effect on the run."
    )
    seed: q.Count = Field(
        1,
        description="Root of every random stream: of [random], and of a level signal that jumps; "
        "another seed, another run.",
    )


_GROWTH: Any = Field(
    0.0, description='Growth each year as a part, compounded: 0.02 or "2 %"; below 0 it shrinks.'
)
_GROWTH_SINCE: Any = left_out(
    "the start of the episode", "When the flows as given hold; they grow from there."
)


class ConstantPart(Table):
    """A flow that does not change."""

    kind: Literal["constant"] = Field(description="A flow that does not change.")
    flow: q.Flow = Field(description="The flow.")
    growth_per_year: q.Growth = _GROWTH
    growth_since: q.Moment | None = _GROWTH_SINCE


class DailyPart(Table):
    """A daily pattern by the hour."""

    kind: Literal["daily"] = Field(description="A daily pattern by the hour.")
    weekday: list[q.FlowOrFactor] = Field(
        min_length=24,
        max_length=24,
        description="24 flows, at 00:00, 01:00, ...; plain factors when mean is given.",
    )
    weekend: list[q.FlowOrFactor] | None = left_out(
        "as on weekdays", "The same for Saturday and Sunday.", min_length=24, max_length=24
    )
    between: Literal["straight", "steps"] = Field(
        "straight",
        description="Linear from hour to hour, over midnight to the first of the next day "
        "(straight), or held for the hour (steps).",
    )
    mean: q.Flow | None = left_out(
        "the pattern is given as flows", "Mean flow of the day that the pattern is scaled to."
    )
    weekend_mean: q.Flow | None = left_out("as mean", "The same for the weekend.")
    growth_per_year: q.Growth = _GROWTH
    growth_since: q.Moment | None = _GROWTH_SINCE


class RecordedPart(Table):
    """A recorded series from a CSV file."""

    kind: Literal["recorded"] = Field(description="A recorded series from a CSV file.")
    file: q.FileName = Field(description="Path of the CSV file, from the folder of the scenario.")
    column: q.ColumnName | None = left_out("the one that can be meant", "Column of the flow.")
    time_column: q.ColumnName | None = left_out(
        "found by its name, else the first", "Column of the time."
    )
    unit: q.UnitName | None = left_out("as the name of the column says", "Unit of the flow.")
    time_unit: q.UnitName | None = left_out(
        "as the name of the column says", "Unit of elapsed times."
    )
    factor: q.Factor = Field(1.0, description="What every flow is multiplied by.")
    gaps: Literal["refuse", "straight", "hold"] = Field(
        "refuse", description="Missing values: refuse the file, go straight over, or hold."
    )
    between: Literal["straight", "steps"] = Field(
        "straight", description="Between two rows: linear, or the earlier value holds."
    )
    growth_per_year: q.Growth = _GROWTH
    growth_since: q.Moment | None = _GROWTH_SINCE


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
    at: q.EventMoment = Field(
        "day 1 00:00",
        description='When its time 0 is: "day 3 14:00", "Wed 14:00", a date and time, or '
        '"after 26 h".',
    )
    growth_per_year: q.Growth = _GROWTH
    growth_since: q.Moment | None = _GROWTH_SINCE


InflowPart = Annotated[
    ConstantPart | DailyPart | RecordedPart | HydrographPart, Field(discriminator="kind")
]


class EventPart(Table):
    """One thing that happens, as one text or in pieces."""

    text: q.EventText | None = left_out(
        "given in pieces: at, what, for", 'The whole in one text: "day 3 07:10 grid loss for 4 h".'
    )
    at: q.EventMoment | None = left_out(
        "given as text", 'When: "day 3 07:10", "Wed 07:10", a date and time, or "after 26 h".'
    )
    what: q.EventWhat | None = left_out(
        "given as text",
        'What: "grid loss", "P2 out of service", "P2 clogged to 60 %", "level signal frozen", '
        '"start float stuck up", "generator fails to start", "force main leaking 8 %", "P2 reset", '
        '"P2 put right" and more, as "stationsim explain event" lists; several things at one '
        'instant are joined by "and".',
    )
    for_: q.EventSpan | None = left_out(
        "as the event says; see 'explain event'",
        'How long: "4 h"; of several things joined by "and", each that can last.',
        alias="for",
    )
    until_reset: bool = Field(
        default=False, description="A trip waits for a reset by hand when this is true."
    )


class Scenario(Table):
    """A scenario: a station, and what happens to it."""

    title: q.Name | None = left_out("none", "What this scenario shows, in one line.")
    station: StationPart = Field(description="The station as a whole.")
    well: dict[str, WellPart] = Field(
        min_length=1, description="Parts of the storage; where they overlap their areas add."
    )
    sewer: SewerPart | None = left_out(
        "no sewer is counted, but what [well] gives as storage",
        "The incoming sewer as storage: its pipes and manholes, in which the water stands level "
        "with the well. Give it here or as storage in [well], not in both.",
    )
    spill: SpillPart | None = left_out(
        "it never spills, and the level has no limit", "The lowest point where it spills."
    )
    pump: dict[str, PumpPart] = Field(
        min_length=1, max_length=12, description="The electric pumps: [pump.P1], [pump.P2], ..."
    )
    force_main: ForceMainPart | None = left_out(
        "none; pumps then need a plain flow", "The common main; needed by pumps with a curve."
    )
    engine_pump: EnginePumpPart | None = left_out("none", "The engine-driven pump.")
    bypass_pump: BypassPumpPart | None = left_out(
        "none", "A pump that may be brought to the force main: 'bypass pump connected'."
    )
    rain_derived: RainDerivedPart | None = left_out(
        "no rain can be given",
        "How rain comes into the sewer: an area, and a quick, a middle and a slow response.",
    )
    control: dict[str, Any] = Field(
        description="Which controller decides (kind), and its settings."
    )
    rotation: dict[str, Any] = Field(
        default_factory=lambda: {"kind": "each cycle"},
        description="Who leads next (kind), and its settings.",
        json_schema_extra={LEFT_OUT: "each cycle"},
    )
    backup_floats: BackupFloatsPart | None = left_out(
        "none", "Floats that run the station when the level signal cannot be trusted."
    )
    grid: GridPart | None = left_out(
        "when the grid is back it stays", "What the supply does once more when the grid is back."
    )
    tariff: dict[str, TariffPart] = Field(
        default_factory=dict,
        description="What energy costs by the hour: bands by name, [tariff.night].",
        json_schema_extra={LEFT_OUT: "no cost is counted"},
    )
    alarms: AlarmsPart = Field(
        default_factory=AlarmsPart,
        description="Levels and delays of the alarms.",
        json_schema_extra={LEFT_OUT: "no alarms of level; the others come without a delay"},
    )
    service: ServicePart | None = left_out(
        "not known",
        "The supply from the grid: voltage, main fuse; for criteria, and for what motors ask of a "
        "generator.",
    )
    generator: GeneratorPart | None = left_out(
        "none",
        "A fixed generator set for the electric pumps. Criteria judge it; a run uses it only when "
        "[transfer] is given too.",
    )
    transfer: TransferPart | None = left_out(
        "no generator feeds the station in a run",
        "The transfer switch between grid and generator; it needs [generator], and with it a run "
        "uses the generator.",
    )
    mobile_generator: MobileGeneratorPart | None = left_out(
        "none", "A generator set that may be brought: 'mobile generator connected'."
    )
    exercise: ExercisePart | None = left_out(
        "nothing is exercised", "Exercise runs at a set time, which find dormant faults."
    )
    bypass: BypassPart | None = left_out(
        "none", "The connection for a hired bypass pump; for criteria."
    )
    design: DesignPart | None = left_out(
        "what the episode brings",
        "Design flows, growth, and the outage to be carried; for criteria.",
    )
    limits: LimitsPart | None = left_out(
        "published examples, each with its source",
        "Limits of the criteria. Those they start from are examples of published practice: the "
        "rule that holds where the station stands counts.",
    )
    acceptance: AcceptancePart | None = left_out(
        "what is not given is not predicted",
        "How the day of acceptance is to go: water, gauges, grade, how sure readings are; a run "
        "does not use it.",
    )
    episode: EpisodePart = Field(description="When the run begins, and how long it lasts.")
    inflow: dict[str, InflowPart] = Field(
        min_length=1, description="What arrives: sources by name; their flows add."
    )
    rain: dict[str, RainPart] = Field(
        default_factory=dict,
        description="Rain by name, which becomes inflow by [rain_derived]; on the command line "
        '--rain "20 mm in 6 h from 14:00" adds even rain.',
        json_schema_extra={LEFT_OUT: "it does not rain"},
    )
    event: dict[str, EventPart] = Field(
        default_factory=dict,
        description="What happens at stated times.",
        json_schema_extra={LEFT_OUT: "nothing happens"},
    )
    random: dict[str, RandomPart] = Field(
        default_factory=dict,
        description="What may happen by chance, by name: [random.rags].",
        json_schema_extra={LEFT_OUT: "nothing happens by chance"},
    )
    call_out: CallOutPart | None = left_out(
        "nobody is called", "Who is called when an alarm leaves the station, and how they work."
    )
    person: dict[str, PersonPart] = Field(
        default_factory=dict,
        description="Who can be called, by key: [person.first].",
        json_schema_extra={LEFT_OUT: "nobody comes"},
    )
    tool: dict[str, ToolPart] = Field(
        default_factory=dict,
        description="What tasks need, by key: [tool.mobile_generator].",
        json_schema_extra={LEFT_OUT: "nothing is brought"},
    )
    task: dict[TaskKey, TaskPart] = Field(
        default_factory=dict,
        description="The steps of the plan, in their order, each once: [task.reset], "
        "[task.set_right], [task.clear_rags], [task.pull_a_pump], [task.connect_mobile_generator], "
        "[task.connect_bypass_pump], [task.refuel], [task.haul].",
        json_schema_extra={LEFT_OUT: "whoever comes does nothing"},
    )
    visit: VisitPart | None = left_out("nobody does", "A round that passes by at a set time.")
    passer_by: PasserByPart | None = left_out(
        "nobody does", "Somebody who sees that something is wrong, and rings."
    )

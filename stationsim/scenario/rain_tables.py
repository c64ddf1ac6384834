"""What a scenario file may say of rain: how it falls, and how it comes into the sewer.

``[rain_derived]`` is of what stands there: an area and its three triangular unit hydrographs.
``[rain.NAME]`` is of what happens: one storm, or one record. Neither knows how often a storm comes
back; depth, distribution and intensity law are for the rainfall statistics of the place to say.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from stationsim.scenario import quantities as q
from stationsim.scenario.table import Table, left_out


class ResponsePart(Table):
    """One response to rain: a triangular unit hydrograph."""

    fraction: q.Share = Field(
        description="Part of the rain on the area that arrives this way; all fractions together "
        "at most 1."
    )
    time_to_peak: q.TimeToPeak = Field(
        description="From the rain of an instant to the greatest flow that it brings."
    )
    fall_ratio: q.FallRatio = Field(
        description="Time of fall over time to peak: the response ends (1 + fall_ratio) times the "
        "time to peak after the rain."
    )


class RainDerivedPart(Table):
    """How rain comes into the sewer: rain-derived inflow by unit hydrographs."""

    area: q.Catchment = Field(description="Area that the rain falls on and that is sewered.")
    quick: ResponsePart | None = left_out(
        "no such response", "Quick response: drains, covers and what is wrongly connected."
    )
    middle: ResponsePart | None = left_out(
        "no such response", "Middle response, between the quick and the slow one."
    )
    slow: ResponsePart | None = left_out(
        "no such response", "Slow response: infiltration, through the ground."
    )


class BlockRain(Table):
    """Rain that falls evenly."""

    kind: Literal["block"] = Field(description="Rain that falls evenly.")
    at: q.EventMoment = Field(description='When it begins: "day 2 14:00", or as an event says it.')
    depth: q.RainDepth = Field(description="Depth in all.")
    duration: q.RainSpan = Field(description="How long it rains.")


class DayRain(Table):
    """A depth spread over 24 hours by one of four tabulated distributions."""

    kind: str = Field(description="Which of them.")
    at: q.EventMoment = Field(
        description='When the 24 hours begin: "day 2 00:00", or as an event says it.'
    )
    depth: q.RainDepth = Field(description="Depth in all.")


class TypeIRain(DayRain):
    """The 24-hour NRCS distribution of type I."""

    kind: Literal["type I"] = Field(
        description="The 24-hour NRCS distribution of type I, hardest near 10 h."
    )


class TypeIARain(DayRain):
    """The 24-hour NRCS distribution of type IA."""

    kind: Literal["type IA"] = Field(
        description="The 24-hour NRCS distribution of type IA, the gentlest, hardest near 8 h."
    )


class TypeIIRain(DayRain):
    """The 24-hour NRCS distribution of type II."""

    kind: Literal["type II"] = Field(
        description="The 24-hour NRCS distribution of type II, the sharpest, hardest near 12 h."
    )


class TypeIIIRain(DayRain):
    """The 24-hour NRCS distribution of type III."""

    kind: Literal["type III"] = Field(
        description="The 24-hour NRCS distribution of type III, hardest near 12 h."
    )


class LawPart(Table):
    """An intensity law as handbooks print it: i = a / (d + b)^n, d in minutes."""

    a: q.LawScale = Field(description="Coefficient a of i = a / (d + b)^n, d in minutes.")
    b: q.LawNumber = Field(description="What is added to the duration, in minutes.")
    n: q.LawExponent = Field(description="Exponent.")
    intensity: Literal["mm/h", "in/h"] = Field(description="Unit of the intensity i.")


class ChicagoRain(Table):
    """A storm that holds the depth of an intensity law about its peak, whatever the window."""

    kind: Literal["chicago"] = Field(
        description="A storm that holds the depth of an intensity law in every window about its "
        "peak."
    )
    at: q.EventMoment = Field(description='When it begins: "day 2 14:00", or as an event says it.')
    duration: q.RainSpan = Field(description="How long it rains.")
    peak_at: q.Share = Field(description="Where its peak lies, as a part of the duration.")
    interval: q.RainSpan = Field(
        300.0, description="Within each interval the rain is even; its peak is the mean of one."
    )
    law: LawPart = Field(
        description="Intensity over duration, i = a / (d + b)^n, for one frequency at one place: "
        'law = { a = 1000, b = 10, n = 0.8, intensity = "mm/h" }.'
    )


class SeriesRain(Table):
    """Depths by equal intervals."""

    kind: Literal["series"] = Field(description="Depths by equal intervals.")
    at: q.EventMoment = Field(
        description='When the first interval begins: "day 2 14:00", or as an event says it.'
    )
    interval: q.RainSpan = Field(description="Length of each interval.")
    depths: list[q.IntervalDepth] = Field(
        min_length=1, max_length=100_000, description="Depth that falls in each interval, evenly."
    )


class RecordedRain(Table):
    """A rain record from a CSV file."""

    kind: Literal["recorded"] = Field(description="A rain record from a CSV file.")
    file: q.FileName = Field(description="Path of the CSV file, from the folder of the scenario.")
    column: q.RainColumn | None = left_out("the one that can be meant", "Column of the rain.")
    time_column: q.ColumnName | None = left_out(
        "found by its name, else the first", "Column of the time."
    )
    unit: q.RainUnitName | None = left_out(
        "as the name of the column says",
        "Unit of the rain: mm or in for the depth of each interval, mm/h or in/h for its "
        "intensity.",
    )
    time_unit: q.UnitName | None = left_out(
        "as the name of the column says", "Unit of elapsed times."
    )
    gaps: Literal["refuse", "dry"] = Field(
        "refuse", description="Missing rows or values: refuse the file, or take them as dry."
    )
    stamped: Literal["start", "end"] = Field(
        "start", description="Whether the time of a row is the start or the end of its interval."
    )
    factor: q.Factor = Field(1.0, description="What every depth is multiplied by.")


RainPart = Annotated[
    BlockRain
    | TypeIRain
    | TypeIARain
    | TypeIIRain
    | TypeIIIRain
    | ChicagoRain
    | SeriesRain
    | RecordedRain,
    Field(discriminator="kind"),
]

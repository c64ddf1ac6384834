"""What a scenario file may say of the incoming sewer as storage: its pipes and manholes."""

from __future__ import annotations

from pydantic import Field

from stationsim.scenario import quantities as q
from stationsim.scenario.table import LEFT_OUT, Table, left_out


class SewerPipePart(Table):
    """One straight round pipe of the incoming sewer, rising away from the well."""

    diameter: q.Span = Field(description="Inside diameter.")
    length: q.SewerLength = Field(description="Length along the pipe.")
    slope: q.Slope = Field(
        description="Rise over the distance in plan, away from the well; a plain number."
    )
    above: q.Name | None = left_out(
        "it follows on the pipe before it in the file; the first begins at the well",
        "The pipe at whose upper end it begins, for a sewer that branches.",
    )


class ManholePart(Table):
    """A round shaft on a pipe of the sewer."""

    pipe: q.Name = Field(description="The pipe on which it stands.")
    at: q.Along = Field(description="Distance along the pipe from its lower end.")
    diameter: q.Span = Field(description="Inside diameter.")
    cover: q.Level = Field(
        description="Level of its cover, where water would leave; not below the spill."
    )


class SewerPart(Table):
    """The incoming sewer, in which water backs up: it stands level with the well."""

    pipe: dict[str, SewerPipePart] = Field(
        min_length=1,
        description="Pipes from the well upwards, in the order of the file; the first begins at "
        "station.inlet_invert.",
    )
    manhole: dict[str, ManholePart] = Field(
        default_factory=dict,
        description="Manholes on the pipes; the lowest cover is where it may spill.",
        json_schema_extra={LEFT_OUT: "none"},
    )

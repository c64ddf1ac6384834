"""What a scenario file may say of plates and drawings, for criteria.

Part of the schema; see ``schema``. All of it may be left out, and a criterion that lacks what it
needs says so. A run uses plates and voltage where a generator feeds the pumps, and nothing else.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator, Field, create_model

from stationsim import limits
from stationsim.scenario import quantities as q
from stationsim.scenario.table import Table, left_out

_NOT_JUDGED = "not known; what needs it is not judged"


class PlatePart(Table):
    """The plate of a motor."""

    rated_power: q.RatedPower | None = left_out(_NOT_JUDGED, "Rated output at the shaft.")
    current: q.Current | None = left_out(
        "reckoned from rated_power, efficiency and power_factor", "Full-load current."
    )
    efficiency: q.Ratio | None = left_out(_NOT_JUDGED, "Efficiency of the motor at full load.")
    power_factor: q.Ratio | None = left_out(_NOT_JUDGED, "Power factor at full load.")
    poles: q.Poles | None = left_out(
        _NOT_JUDGED,
        "Number of poles: a motor of 4 turns at nearly 1500 in a minute on 50 Hz, 1800 on 60 Hz.",
    )
    starter: Literal[
        "direct", "star-delta", "autotransformer", "soft starter", "variable speed"
    ] = Field("direct", description="How the motor is started.")
    start_ratio: q.StartRatio | None = left_out(
        "the usual one of the starter",
        "Current while it starts over full-load current, as the line sees it with this starter.",
    )
    load_inertia: q.Inertia | None = left_out(
        _NOT_JUDGED, "Moment of inertia of what the motor turns: impeller, water in it, coupling."
    )
    most_starts_per_hour: q.PerHour | None = left_out(
        "limits.most_starts_per_hour and the size of the motor count",
        "Starts in an hour that its maker allows.",
    )
    least_off_time: q.Delay | None = left_out(
        _NOT_JUDGED, "Rest between a stop and the next start that its maker asks for."
    )
    no_load_current: q.Current | None = left_out(
        "a usual part of the full-load current",
        "Current with no load at the shaft; for the day of acceptance.",
    )
    rated_speed: q.RatedSpeed | None = left_out(
        "not known; no speed is predicted", "Speed at full load; for the day of acceptance."
    )
    run_up_time: q.Delay = Field(
        0.0,
        description="How long it takes to run up; so long it asks a generator for its starting "
        "load.",
    )


class NpshPart(Table):
    """Net positive suction head required over flow."""

    flow: list[q.Flow] = Field(min_length=1, max_length=200, description="Flows, rising.")
    head: list[q.NpshRequired] = Field(
        min_length=1,
        max_length=200,
        description="Net positive suction head required at each of the flows.",
    )


def _plain_head(value: Any) -> Any:
    """Let one head stand for the same at every flow."""
    plain = isinstance(value, str | int | float) and not isinstance(value, bool)
    return {"flow": ["0 L/s"], "head": [value]} if plain else value


class _OrOneHead:
    """Tells the JSON Schema what ``_plain_head`` takes beside the table."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {"anyOf": [handler(schema), {"type": "string", "examples": ["3.5 m"]}]}


class InletPart(Table):
    """The inlet of a pump."""

    level: q.Level | None = left_out(
        _NOT_JUDGED, "Level of the suction opening; it lies below the stop level."
    )
    diameter: q.PipeDiameter | None = left_out(
        _NOT_JUDGED, "Inside diameter of the suction opening or bell."
    )
    least_submergence: q.SpanOrNone | None = left_out(
        "reckoned from the diameter and the flow", "Water over the opening that its maker asks for."
    )
    npsh_required: Annotated[NpshPart, BeforeValidator(_plain_head), _OrOneHead()] | None = (
        left_out(
            _NOT_JUDGED,
            "Net positive suction head required: {flow = [...], head = [...]}, or one head.",
        )
    )


class SuctionPart(Table):
    """The suction line of a pump that stands above the water."""

    eye_level: q.Level = Field(description="Level of the eye of the impeller.")
    length: q.PipeLength | None = left_out(
        "no suction pipe is known, and no loss in it", "Length of the suction pipe."
    )
    diameter: q.PipeDiameter | None = left_out(
        "no suction pipe is known, and no loss in it", "Inside diameter of the suction pipe."
    )
    friction: Literal["hazen-williams", "darcy-weisbach", "none"] | None = left_out(
        "hazen-williams", "Which formula gives the friction loss."
    )
    c_factor: q.CFactor | None = left_out(
        "120", "Hazen-Williams C of the suction pipe: about 140 new smooth pipe, 100 old."
    )
    roughness: q.Roughness | None = left_out(
        "0 mm, a smooth pipe", "Height of roughness, for Darcy-Weisbach."
    )
    viscosity: q.Viscosity | None = left_out(
        "1.14e-6 m2/s, that of water at 15 C", "Kinematic viscosity, for Darcy-Weisbach."
    )
    fittings_k: q.Fittings | None = left_out(
        "0", "Sum of the loss coefficients of its fittings, in velocity heads."
    )
    npsh_required: q.NpshRequired | None = left_out(
        _NOT_JUDGED, "Net positive suction head required at the flow of this pump."
    )
    most_priming_lift: q.PrimingLift | None = left_out(
        _NOT_JUDGED, "The highest lift that it primes from."
    )


class ServicePart(Table):
    """The supply from the grid: for criteria, and for what motors ask of a generator."""

    voltage: q.Voltage = Field(description="Voltage between phases.")
    phases: q.Phases = Field(3, description="Number of phases.")
    main_fuse: q.Current | None = left_out(_NOT_JUDGED, "Rating of the main fuse or breaker.")
    other_load: q.PlainPower = Field(
        0.0, description="All that is not a pump: controls, heating, fans, light."
    )
    most_running: q.MostRunning | None = left_out(
        "all of them", "How many electric pumps may run at once."
    )


class BypassPart(Table):
    """The connection for a hired bypass pump, for criteria; a run uses [bypass_pump]."""

    diameter: q.PipeDiameter = Field(description="Inside diameter of the connection.")
    flow: q.FlowOfPump | None = left_out(
        _NOT_JUDGED, "Flow of the pump that is meant to be connected."
    )
    suction_lift: q.SpanOrNone | None = left_out(
        _NOT_JUDGED,
        "From the lowest water that the pump shall draw down to, up to its eye.",
    )
    npsh_required: q.NpshRequired | None = left_out(
        _NOT_JUDGED, "Net positive suction head required at the flow of that pump."
    )


class DesignPart(Table):
    """What the station is designed for; for criteria only, a run takes what arrives."""

    average_flow: q.FlowOfPump | None = left_out(
        "the mean of the episode", "Average flow by design."
    )
    peak_flow: q.FlowOfPump | None = left_out(
        "the greatest flow of the episode", "Peak flow by design."
    )
    least_flow: q.Flow | None = left_out("the least flow of the episode", "Least flow by design.")
    growth_per_year: q.Growth = Field(
        0.0, description='Growth of all three each year as a part, compounded: 0.02 or "2 %".'
    )
    year: q.CalendarYear | None = left_out(
        "the year in which the episode starts", "Year in which the flows hold."
    )
    until_year: q.CalendarYear | None = left_out("40 years on", "Last year that is looked at.")
    outage: q.Elapsed | None = left_out(
        _NOT_JUDGED, "Outage that the storage shall carry with no pump running."
    )
    response: q.Elapsed | None = left_out(
        _NOT_JUDGED, "From the alarm until alternate power or a pump works."
    )


_LIMIT_KINDS: dict[limits.LimitKind, Any] = {
    "ratio": q.PartOf,
    "percent": q.PartOf,
    "count": q.Count,
    "per hour": q.PerHour,
    "duration": q.Elapsed,
    "velocity": q.Velocity,
    "length": q.SpanOrNone,
}


def _limits_table() -> type[Table]:
    """Return the model of ``[limits]``: a key for each limit, with its meaning and its source."""
    keys: dict[str, Any] = {}
    for field in dataclasses.fields(limits.Limits):
        meaning, source = field.metadata["meaning"], field.metadata["source"]
        told = f"{meaning[:1].upper()}{meaning[1:]}. Source of the default: {source}."
        keys[limits.key_of(field.name)] = (
            _LIMIT_KINDS[field.metadata["kind"]],
            Field(field.default, description=told),
        )
    made: type[Table] = create_model("LimitsPart", __base__=Table, **keys)
    made.__doc__ = "Limits of the criteria."
    return made


if TYPE_CHECKING:

    class LimitsPart(Table):
        """Limits of the criteria; made from ``stationsim.limits``."""

else:
    LimitsPart = _limits_table()

"""What a scenario file may say of machines and pipes: pumps, curves, branches, the force main.

Part of the schema; see ``schema``.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from stationsim.scenario import quantities as q
from stationsim.scenario.protection_tables import MotorPart
from stationsim.scenario.rating_tables import InletPart, PlatePart, SuctionPart
from stationsim.scenario.table import Table, left_out


class CurvePart(Table):
    """Head over flow, by points or by coefficients."""

    flow: list[q.Flow] | None = left_out(
        "the curve is given by coefficients",
        "Flows of the points, rising from 0.",
        min_length=2,
        max_length=200,
    )
    head: list[q.Head] | None = left_out(
        "the curve is given by coefficients",
        "Heads of the points, falling.",
        min_length=2,
        max_length=200,
    )
    shutoff_head: q.ShutoffHead | None = left_out(
        "the curve is given by points",
        "Head at no flow, for a curve by coefficients H = H0 + a Q + b Q^2.",
    )
    linear: q.HeadPerFlow | None = left_out(
        "0 m/(m3/s)",
        "Coefficient a of the flow; nought or negative.",
    )
    square: q.HeadPerFlowSquared | None = left_out(
        "0 m/(m3/s)^2",
        "Coefficient b of the flow squared; nought or negative.",
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


class _OrOneNumber:
    """Tells the JSON Schema what ``_plain_efficiency`` takes beside the table."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {"anyOf": [handler(schema), *q.EFFICIENCY.json_schema["anyOf"]]}


class PipePart(Table):
    """A pipe with its fittings."""

    length: q.PipeLength = Field(description="Length of the pipe.")
    diameter: q.PipeDiameter = Field(description="Inside diameter of the pipe.")
    friction: Literal["hazen-williams", "darcy-weisbach", "none"] = Field(
        "hazen-williams", description="Which formula gives the friction loss."
    )
    c_factor: q.CFactor | None = left_out(
        "120",
        "Hazen-Williams C: about 140 new smooth pipe, 100 old.",
    )
    roughness: q.Roughness | None = left_out(
        "0 mm, a smooth pipe",
        "Height of roughness, for Darcy-Weisbach.",
    )
    viscosity: q.Viscosity | None = left_out(
        "1.14e-6 m2/s, that of water at 15 C",
        "Kinematic viscosity, for Darcy-Weisbach.",
    )
    fittings_k: q.Fittings = Field(
        0.0, description="Sum of the loss coefficients of bends, valves, outlet, in velocity heads."
    )


class MachinePart(Table):
    """What an electric pump and an engine-driven pump have in common."""

    flow: q.FlowOfPump | None = left_out(
        "as the curve says, or station.total_flow",
        "Flow of the pump whatever the level; or give its curve.",
    )
    curve: CurvePart | None = left_out(
        "none; the pump then needs its flow",
        "Head over flow as new: points {flow = [...], head = [...]} or coefficients "
        "{shutoff_head, linear, square}.",
    )
    speed: q.Condition = Field(1.0, description="Speed over the speed of the curve.")
    flow_factor: q.Condition = Field(1.0, description="What wear leaves of the flow; 1 as new.")
    head_factor: q.Condition = Field(1.0, description="What wear leaves of the head; 1 as new.")
    branch: PipePart | None = left_out(
        "none, and no loss in it",
        "Pipe and fittings from the pump to the common header.",
    )


class PumpPart(MachinePart):
    """An electric pump."""

    like: q.Name | None = left_out(
        "none",
        "Another pump of the file whose keys this one takes, save those given.",
    )
    power: q.Power | None = left_out(
        "as power_curve or efficiency says; without either no energy is counted",
        "Electrical input while it runs, whatever the flow.",
    )
    power_curve: PowerCurvePart | None = left_out(
        "as power or efficiency says; without either no energy is counted",
        "Electrical input over flow: {flow = [...], power = [...]}.",
    )
    efficiency: (
        Annotated[EfficiencyPart, BeforeValidator(_plain_efficiency), _OrOneNumber()] | None
    ) = left_out(
        "as power or power_curve says; without either no energy is counted",
        "Efficiency of the pump: {flow = [...], efficiency = [...]}, or one number.",
    )
    motor_efficiency: q.Ratio | None = left_out(
        "1",
        "Efficiency of the motor and its drive.",
    )
    min_off_time: q.Delay = Field(
        0.0, description="How long it rests after a stop before it may start again."
    )
    fail_to_start_time: q.Delay = Field(
        0.0,
        description="How long the panel waits for the run signal of a pump that it has called, "
        "before it takes it for failed.",
    )
    motor: MotorPart | None = left_out(
        "no thermal model: the motor never trips by itself",
        "How the motor heats and cools: [pump.P1.motor].",
    )
    plate: PlatePart | None = left_out(
        "not known; criteria that need it are not judged",
        "What the plate of its motor says, for criteria: [pump.P1.plate].",
    )
    inlet: InletPart | None = left_out(
        "not known; criteria that need it are not judged",
        "Its suction opening, for criteria: [pump.P1.inlet].",
    )
    seal_leak: Literal["alarm", "stop"] = Field(
        "alarm", description="What a seal leak does: raise the alarm only, or stop the pump too."
    )
    no_flow_after: q.Delay | None = left_out(
        "the panel does not look for it",
        "How long the panel bears a pump that runs and moves nothing, before its alarm.",
    )
    no_flow: Literal["alarm", "stop"] = Field(
        "alarm",
        description="What it does then: raise the alarm only, or stop the pump too until it is "
        "reset.",
    )
    air_bound_below: q.Level | None = left_out(
        "it draws no air by itself",
        "A pump that runs with the level at or below this draws air and is air-bound from then on.",
    )
    vent_time: q.Delay | None = left_out(
        "it stays air-bound until it is vented by hand",
        "How long an air-bound pump must stand under water until it is free by itself.",
    )
    overload_below: q.Share = Field(
        0.0,
        description="Rags that leave less than this part of its flow make its overload trip; "
        "0: never.",
    )
    reverse_tries: q.Count = Field(
        0,
        description="How often the panel reverses a pump that rags have tripped and tries again, "
        "before it waits for a reset by hand.",
    )
    reverse_time: q.Delay = Field(0.0, description="How long one such try takes.")
    reverse_clears: q.Share = Field(0.0, description="Chance that such a try clears the rags.")
    stop_clears: q.Share = Field(0.0, description="Chance that an ordinary stop clears the rags.")
    rides_through: q.Delay = Field(
        0.0, description="The longest sag of the grid that its contactor bears."
    )
    after_sag: Literal["restarts", "waits for reset"] = Field(
        "restarts",
        description="After a longer one: whether the panel may start it again, or its voltage "
        "relay has latched, though the pump stood, and waits for a reset.",
    )


class ForceMainPart(Table):
    """The common main. A single pipe may be given here directly; several as [force_main.pipe.A]."""

    discharge: q.Level = Field(
        description="Level of the free discharge, or of the highest point of the main."
    )
    pipe: dict[str, PipePart] | None = left_out(
        "a single pipe, by length and diameter",
        "Pipes in series, each carrying the whole flow.",
        min_length=1,
    )
    length: q.PipeLength | None = left_out(
        "named pipes",
        "Length of the single pipe.",
    )
    diameter: q.PipeDiameter | None = left_out(
        "named pipes",
        "Inside diameter of the single pipe.",
    )
    friction: Literal["hazen-williams", "darcy-weisbach", "none"] | None = left_out(
        "hazen-williams",
        "Which formula gives the friction loss.",
    )
    c_factor: q.CFactor | None = left_out(
        "120, with a warning",
        "Hazen-Williams C of the single pipe: about 140 new smooth pipe, 100 old.",
    )
    roughness: q.Roughness | None = left_out(
        "0 mm, a smooth pipe",
        "Height of roughness of the single pipe, for Darcy-Weisbach.",
    )
    viscosity: q.Viscosity | None = left_out(
        "1.14e-6 m2/s, that of water at 15 C",
        "Kinematic viscosity, for Darcy-Weisbach.",
    )
    fittings_k: q.Fittings | None = left_out(
        "0",
        "Sum of the loss coefficients of its fittings, in velocity heads.",
    )
    runs_back: q.VolumeOrNone | None = left_out(
        "what the bore of its pipes holds",
        "Water that runs back out of the main when a check valve stays open and no pump runs.",
    )
    new_c: q.CFactor | None = left_out(
        "the C of its pipes", "Hazen-Williams C of the main when new, for criteria."
    )
    old_c: q.CFactor | None = left_out(
        "the C of its pipes", "Hazen-Williams C of the main when old, for criteria."
    )
    wave_speed: q.WaveSpeed | None = left_out(
        "not known; criteria that need it are not judged",
        "Speed of a pressure wave in the main: about 1000 m/s in metal, 300 to 500 m/s in plastic.",
    )
    pressure_rating: q.ShutoffHead | None = left_out(
        "not known; criteria that need it are not judged",
        "Highest pressure that the main stands, as a head of water: 10 bar are about 102 m, 150 "
        "psi about 346 ft.",
    )


class EngineSetPart(MachinePart):
    """A pump with an engine, a start panel and a tank of its own."""

    name: q.Name = Field(description="What people call it.")
    start: q.Level = Field(description="It starts when the level is at or above this.")
    stop: q.Level = Field(description="It stops when the level falls to this.")
    start_delay: q.Delay = Field(0.0, description="From the call to the first crank.")
    crank_tries: q.Count = Field(
        1, description="How often it cranks before it gives up and is failed."
    )
    crank_time: q.Delay = Field(0.0, description="How long one crank lasts.")
    crank_rest: q.Delay = Field(0.0, description="Rest between two cranks.")
    warm_up: q.Delay = Field(0.0, description="From the running engine to the coupled pump.")
    prime: q.Delay = Field(0.0, description="From the coupled pump to full flow.")
    prime_limit: q.Delay | None = left_out(
        "it runs on, however long it draws no water",
        "How long it may prime before its panel stops it as failed.",
    )
    fuel_rate: q.FuelRate = Field(0.0, description="Fuel burnt while it runs.")
    tank: q.FuelVolume | None = left_out(
        "fuel is not counted down, and never runs out",
        "Fuel in the tank at the start.",
    )


class EnginePumpPart(EngineSetPart):
    """The engine-driven pump: own start panel, own fuel; called while the grid is out."""

    name: q.Name = Field("E1", description="What people call it.")
    start: q.Level = Field(description="While the grid is out it starts at or above this level.")
    at_grid_return: Literal["run on to stop level", "stop"] = Field(
        "run on to stop level", description="What it does when the grid comes back while it runs."
    )
    suction: SuctionPart | None = left_out(
        "not known; criteria that need it are not judged",
        "Its suction line, for criteria: [engine_pump.suction].",
    )


class BypassPumpPart(EngineSetPart):
    """A pump that may be brought and connected to the force main: own engine, floats and fuel.

    It is not there until 'bypass pump connected'; its connection stands in [bypass].
    """

    name: q.Name = Field("B1", description="What people call it.")
    start: q.Level = Field(
        description="Once it is connected its own floats start it at or above this level, whether "
        "the grid is on or not."
    )

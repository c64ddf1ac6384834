"""From checked tables to pumps, curves, pipes and the engine-driven pump."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.findings import Finding
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import FlowTable, HeadCurve, PowerDraw
from stationsim.scenario import machine_tables as s
from stationsim.scenario.case import PRACTICE

if TYPE_CHECKING:
    from collections.abc import Callable

    from stationsim.scenario.built import Built

C_FACTOR = 120.0
"""Hazen-Williams C of a pipe that is given none: between new and smooth and old."""

_WATER_15C_M2S = 1.14e-6


def make_pump(name: str, part: s.MachinePart, place: str, built: Built) -> PumpUnit:
    """Return a pump; what is wrong with it is noted.

    Parameters
    ----------
    name
        The machine.
    part
        Its table.
    place
        Key path of the table.
    built
        Takes what is refused.
    """
    curve = None if part.curve is None else _curve(part.curve, f"{place}.curve", built)
    if part.flow is not None and part.curve is not None:
        built.refuse(f"{place}.flow", "a flow and a curve are two answers", fix="keep one of them")
    return PumpUnit(
        name=name,
        curve=curve,
        fixed_flow_m3s=part.flow,
        speed_ratio=part.speed,
        flow_factor=part.flow_factor,
        head_factor=part.head_factor,
        branch=None if part.branch is None else make_pipe(part.branch, f"{place}.branch", built),
        power=_power(part, place, built) if isinstance(part, s.PumpPart) else PowerDraw(),
        min_off_s=part.min_off_time if isinstance(part, s.PumpPart) else 0.0,
        seal_leak=part.seal_leak if isinstance(part, s.PumpPart) else "alarm",
    )


def _curve(part: s.CurvePart, place: str, built: Built) -> HeadCurve | None:
    by_points = part.flow is not None or part.head is not None
    coefficients = (part.shutoff_head, part.linear, part.square)
    by_coefficients = any(one is not None for one in coefficients)
    if by_points == by_coefficients:
        built.refuse(
            place,
            "points and coefficients are both given" if by_points else "is empty",
            limit="{flow = [...], head = [...]} or {shutoff_head, linear, square}",
        )
        return None
    if by_points:
        return _curve_by_points(part.flow, part.head, place, built)
    if part.shutoff_head is None:
        built.refuse(
            f"{place}.shutoff_head",
            "is missing",
            fix=f'add it, such as shutoff_head = "{built.example("24 m", "79 ft")}"',
        )
        return None
    linear, square = part.linear or 0.0, part.square or 0.0
    for key, value in (("linear", linear), ("square", square)):
        if value > 0.0:
            built.refuse(
                f"{place}.{key}",
                "the head would rise with the flow",
                f"{value:g} in SI",
                "nought or negative",
                "turn its sign",
            )
            return None
    if linear == 0.0 and square == 0.0:
        built.refuse(place, "the head does not fall with the flow", fix="give linear or square")
        return None
    return HeadCurve.from_coefficients(part.shutoff_head, linear, square)


def _curve_by_points(
    flows: list[float] | None, heads: list[float] | None, place: str, built: Built
) -> HeadCurve | None:
    if flows is None or heads is None:
        missing = "flow" if flows is None else "head"
        rows = {"flow": ("0 L/s", "30 L/s"), "head": ("24 m", "14 m")}
        if built.system == "us":
            rows = {"flow": ("0 gpm", "475 gpm"), "head": ("79 ft", "46 ft")}
        row = ", ".join(f'"{one}"' for one in rows[missing])
        built.refuse(f"{place}.{missing}", "is missing", fix=f"add it, such as {missing} = [{row}]")
        return None
    if len(flows) != len(heads):
        built.refuse(
            f"{place}.head", "flows and heads are not as many", f"{len(heads)}", f"{len(flows)}"
        )
        return None
    if flows[0] != 0.0:
        built.refuse(
            f"{place}.flow",
            "does not begin at no flow",
            built.flow(flows[0]),
            built.flow(0.0),
            "add the shut-off head as the first point",
        )
        return None
    for i in range(1, len(flows)):
        if flows[i] <= flows[i - 1]:
            built.refuse(f"{place}.flow", "does not rise all the way", built.flow(flows[i]))
            return None
        if heads[i] >= heads[i - 1]:
            built.refuse(
                f"{place}.head",
                "the head does not fall between "
                f"{built.flow(flows[i - 1])} and {built.flow(flows[i])}",
                f"{built.head(heads[i - 1])}, then {built.head(heads[i])}",
                "a head that falls with the flow",
                "check the sheet; drop the points on the left of the highest head",
            )
            return None
    return HeadCurve.from_points(flows, heads)


def _power(part: s.PumpPart, place: str, built: Built) -> PowerDraw:
    given = [
        key for key in ("power", "power_curve", "efficiency") if getattr(part, key) is not None
    ]
    if len(given) > 1:
        built.refuse(
            f"{place}.{given[1]}", f"{' and '.join(given)} are two answers", fix="keep one"
        )
    if part.motor_efficiency is not None and part.efficiency is None:
        built.refuse(
            f"{place}.motor_efficiency", "has no effect without 'efficiency'", fix="take it out"
        )
    curve = part.power_curve
    efficiency = part.efficiency
    if efficiency is not None and max(efficiency.efficiency) <= 0.0:
        built.refuse(f"{place}.efficiency", "is nowhere more than nought")
    return PowerDraw(
        input_w=part.power,
        input_curve=None
        if curve is None
        else make_flow_table(curve.flow, curve.power, f"{place}.power_curve", built),
        efficiency=None
        if efficiency is None
        else make_flow_table(efficiency.flow, efficiency.efficiency, f"{place}.efficiency", built),
        motor_efficiency=1.0 if part.motor_efficiency is None else part.motor_efficiency,
    )


def make_flow_table(flows: list[float], values: list[float], place: str, built: Built) -> FlowTable:
    """Return values over flow; what is wrong with the two lists is noted.

    Parameters
    ----------
    flows
        Flows, rising [m3/s].
    values
        What belongs to each of them, in SI.
    place
        Key path of the table.
    built
        Takes what is refused.
    """
    if len(flows) != len(values):
        built.refuse(place, "its two lists are not as many", f"{len(flows)} and {len(values)}")
    elif any(later <= one for one, later in pairwise(flows)):
        built.refuse(f"{place}.flow", "does not rise all the way")
    return FlowTable(tuple(flows), tuple(values))


def make_pipe(part: s.PipePart, place: str, built: Built) -> Pipe:
    """Return a pipe with its fittings; what has no effect in it is noted.

    Parameters
    ----------
    part
        Its table.
    place
        Key path of the table.
    built
        Takes what is refused.
    """
    used = {"hazen-williams": ("c_factor",), "darcy-weisbach": ("roughness", "viscosity")}
    for key in ("c_factor", "roughness", "viscosity"):
        if getattr(part, key) is not None and key not in used.get(part.friction, ()):
            built.refuse(
                f"{place}.{key}",
                f'has no effect with friction = "{part.friction}"',
                fix="take it out, or choose the other formula",
            )
    return Pipe(
        length_m=part.length,
        diameter_m=part.diameter,
        friction=part.friction,
        c_factor=C_FACTOR if part.c_factor is None else part.c_factor,
        roughness_m=part.roughness or 0.0,
        viscosity_m2s=_WATER_15C_M2S if part.viscosity is None else part.viscosity,
        fittings_k=part.fittings_k,
    )


def make_force_main(
    part: s.ForceMainPart | None, above_floor: Callable[[float], float], built: Built
) -> ForceMain | None:
    """Return the force main, or None when there is none; what is wrong with it is noted.

    Parameters
    ----------
    part
        Its table.
    above_floor
        Turns a level as written into metres above the floor.
    built
        Takes what is refused.
    """
    if part is None:
        return None
    own = ("length", "diameter", "friction", "c_factor", "roughness", "viscosity", "fittings_k")
    given = [key for key in own if getattr(part, key) is not None]
    pipes: tuple[Pipe, ...] = ()
    if part.pipe is not None:
        if given:
            built.refuse(
                f"force_main.{given[0]}",
                "belongs to a single pipe, and named pipes are given",
                fix="move it into [force_main.pipe.NAME]",
            )
        for key, one in part.pipe.items():
            _tell_c_factor(one, f"force_main.pipe.{key}", built)
        pipes = tuple(
            make_pipe(one, f"force_main.pipe.{key}", built) for key, one in part.pipe.items()
        )
    elif part.length is None or part.diameter is None:
        missing = "length" if part.length is None else "diameter"
        sample = (
            built.example("420 m", "1400 ft")
            if missing == "length"
            else built.example("200 mm", "8 in")
        )
        built.refuse(
            f"force_main.{missing}",
            "is missing",
            fix=f'add it, such as {missing} = "{sample}", or give pipes as [force_main.pipe.NAME]',
        )
    else:
        single = s.PipePart.model_construct(**{key: getattr(part, key) for key in given})
        _tell_c_factor(single, "force_main", built)
        pipes = (make_pipe(single, "force_main", built),)
    return ForceMain(pipes, above_floor(part.discharge))


def main_water_m3(part: s.ForceMainPart | None, main: ForceMain | None) -> float:
    """Return the water that runs back out of the main when a check valve stays open [m3].

    Parameters
    ----------
    part
        Its table; None for no main.
    main
        The main as made.
    """
    if part is None or main is None:
        return 0.0
    if part.runs_back is not None:
        return part.runs_back
    return sum(math.pi / 4.0 * pipe.diameter_m**2 * pipe.length_m for pipe in main.pipes)


def _tell_c_factor(part: s.PipePart, place: str, built: Built) -> None:
    """Tell which friction factor is taken where a long pipe is given none: much hangs on it."""
    if part.friction == "hazen-williams" and part.c_factor is None:
        built.findings.append(
            Finding(
                f"{place}.c_factor",
                "warning",
                f"is left out: {C_FACTOR:g} is taken",
                fix=f"write c_factor = {C_FACTOR:g}, or what suits the pipe: about 140 new and "
                "smooth, 100 old",
                source=PRACTICE,
            )
        )


def make_engine(
    part: s.EngineSetPart | None,
    place: str,
    above_floor: Callable[[float], float],
    built: Built,
) -> EnginePump | None:
    """Return a pump with an engine, or None when there is none; what is wrong with it is noted.

    Parameters
    ----------
    part
        Its table.
    place
        Where that stands in the file: ``engine_pump`` or ``bypass_pump``.
    above_floor
        Turns a level as written into metres above the floor.
    built
        Takes what is refused.
    """
    if part is None:
        return None
    made = EnginePump(
        pump=make_pump(part.name, part, place, built),
        start_level_m=above_floor(part.start),
        stop_level_m=above_floor(part.stop),
        start_delay_s=part.start_delay,
        crank_tries=part.crank_tries,
        crank_s=part.crank_time,
        crank_rest_s=part.crank_rest,
        warm_up_s=part.warm_up,
        prime_s=part.prime,
        prime_limit_s=math.inf if part.prime_limit is None else part.prime_limit,
        fuel_m3_per_s=part.fuel_rate,
        tank_m3=math.inf if part.tank is None else part.tank,
    )
    if isinstance(part, s.EnginePumpPart):
        return replace(made, at_grid_return=part.at_grid_return)
    return made

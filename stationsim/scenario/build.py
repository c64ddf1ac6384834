"""From checked tables to a Station and an Episode in SI, with levels above the floor.

What can only be seen when things are put together (a well with a gap, a curve that rises, a CSV
file that cannot be read) is found here; everything is looked at before anything is refused.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any, Literal

from stationsim.control.contract import ControlPlan, controller_class, rotation_class
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import InputError
from stationsim.findings import Finding
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.segments import InflowSource
from stationsim.inflow.storm import Hydrograph
from stationsim.physics import well as wells
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import FlowTable, HeadCurve, PowerDraw
from stationsim.physics.spill import Spillway
from stationsim.records.inflow_csv import read_inflow_csv
from stationsim.scenario import schema as s
from stationsim.scenario.events import EventTextError, read_event, read_moment
from stationsim.scenario.settings import make_settings
from stationsim.station import AlarmSettings, Station

_WATER_15C_M2S = 1.14e-6


@dataclass
class Built:
    """What came of building.

    Parameters
    ----------
    station, episode
        None when something was refused.
    findings
        What was refused, and what is worth telling.
    files
        Data files that were read.
    """

    station: Station | None = None
    episode: Episode | None = None
    findings: list[Finding] = field(default_factory=list)
    files: list[FilePath] = field(default_factory=list)

    def refuse(
        self, place: str, reason: str, value: str = "", limit: str = "", fix: str = ""
    ) -> None:
        """Note an error."""
        self.findings.append(Finding(place, "error", reason, value, limit, fix))


def build(
    scenario: s.Scenario,
    control: s.Table,
    rotation: s.Table,
    *,
    folder: FilePath,
    name: str,
    explicit_offset: bool,
) -> Built:
    """Return the station and the episode that a scenario describes, or why there are none.

    Parameters
    ----------
    scenario
        The checked tables.
    control, rotation
        The checked tables of the controller and the rotation, whose keys are their own.
    folder
        Folder of the scenario file, from which data files are found.
    name
        Name of the episode; names the folder of results.
    explicit_offset
        False when the start had no offset from UTC and +00:00 was taken.
    """
    built = Built()
    above_floor = _level_reader(scenario.station, built)
    if above_floor is None:
        return built
    well = _well(scenario, above_floor, built)
    pumps = tuple(_pump(key, part, f"pump.{key}", built) for key, part in scenario.pump.items())
    engine = _engine(scenario.engine_pump, above_floor, built)
    machines = [pump.name for pump in pumps]
    if engine is not None:
        if engine.pump.name in machines:
            built.refuse("engine_pump.name", f"'{engine.pump.name}' is a name of another pump")
        machines.append(engine.pump.name)
    force_main = _force_main(scenario.force_main, above_floor, built)
    plan = _plan(control, rotation, above_floor, built)
    inflow = _inflow(scenario, folder, built)
    events = _events(scenario, machines, built)
    part = scenario.station
    alarms, spill = scenario.alarms, scenario.spill
    if well is None or plan is None or any(one.verdict == "error" for one in built.findings):
        return built
    built.station = Station(
        name=part.name,
        well=well,
        pumps=pumps,
        control=plan,
        force_main=force_main,
        total_by_number_m3s=None if part.total_flow is None else tuple(part.total_flow),
        engine_pump=engine,
        spillway=None
        if spill is None
        else Spillway(above_floor(spill.level), spill.weir_length, spill.weir_coefficient),
        alarms=AlarmSettings(
            high_level_m=_maybe(above_floor, alarms.high_level),
            low_level_m=_maybe(above_floor, alarms.low_level),
            high_level_delay_s=alarms.high_level_delay,
            low_level_delay_s=alarms.low_level_delay,
            power_failed_delay_s=alarms.power_failed_delay,
        ),
        inlet_invert_m=_maybe(above_floor, part.inlet_invert),
        cover_m=part.depth,
        floor_elevation_m=part.floor_elevation,
    )
    notes = {one.place: one.reason for one in built.findings if one.verdict == "ok"}
    if not explicit_offset:
        notes["episode.start"] = "no offset from UTC is given: +00:00 is taken"
    built.episode = Episode(
        start=scenario.episode.start,
        duration_s=scenario.episode.duration,
        inflow=tuple(inflow),
        start_level_m=above_floor(scenario.episode.start_level),
        events=tuple(events),
        table_interval_s=scenario.episode.table_interval,
        seed=scenario.episode.seed,
        name=name,
        notes=notes,
    )
    return built


def _level_reader(part: s.StationPart, built: Built) -> Callable[[float], float] | None:
    """Return what turns a level as written into metres above the floor."""
    if part.levels_are == "above floor":
        return float
    if part.levels_are == "elevation":
        floor = part.floor_elevation
        if floor is None:
            built.refuse(
                "station.floor_elevation",
                "is missing, and levels are given as elevation",
                "",
                'a length such as "12.40 m"',
                "add it",
            )
            return None
        # rounded to a micrometre: 13.9 - 12.4 is not 1.5 in floats
        return lambda level: round(level - floor, 6)
    depth = part.depth
    if depth is None:
        built.refuse(
            "station.depth",
            "is missing, and levels are given below the cover",
            "",
            'a length such as "5.0 m"',
            "add it",
        )
        return None
    return lambda level: round(depth - level, 6)


def _maybe(above_floor: Callable[[float], float], level: float | None) -> float | None:
    return None if level is None else above_floor(level)


def _well(
    scenario: s.Scenario, above_floor: Callable[[float], float], built: Built
) -> wells.Well | None:
    parts: list[wells.Part] = []
    before = len(built.findings)
    for key, part in scenario.well.items():
        place = f"well.{key}"
        if isinstance(part, s.AreaTablePart):
            parts.extend(_area_table(part, place, above_floor, built))
            continue
        low = 0.0 if part.from_level is None else above_floor(part.from_level)
        high = math.inf if part.to_level is None else above_floor(part.to_level)
        if low < 0.0:
            built.refuse(f"{place}.from", "lies below the floor", f"{low:g} m", "0 m and more")
        if high <= low:
            built.refuse(
                f"{place}.to",
                "must lie above its foot",
                f"{high:g} m above the floor",
                f"more than {low:g} m",
                "give the lower level as 'from'",
            )
        elif isinstance(part, s.CylinderPart):
            parts.append(wells.cylinder(part.diameter, low, high))
        elif isinstance(part, s.BoxPart):
            parts.append(wells.box(part.length, part.width, low, high))
        elif isinstance(part, s.ConePart):
            parts.append(wells.cone(part.bottom_diameter, part.top_diameter, low, high))
        else:
            parts.append(wells.store(part.volume, low, high))
    if len(built.findings) > before:
        return None
    try:
        return wells.Well(tuple(parts))
    except ValueError as error:
        built.refuse("well", str(error), fix="let the parts follow on each other from the floor up")
        return None


def _area_table(
    part: s.AreaTablePart, place: str, above_floor: Callable[[float], float], built: Built
) -> tuple[wells.Part, ...]:
    levels, areas = [above_floor(level) for level in part.levels], list(part.areas)
    if len(levels) != len(areas):
        built.refuse(
            f"{place}.areas", "levels and areas are not as many", f"{len(areas)}", f"{len(levels)}"
        )
        return ()
    if levels[0] > levels[-1]:  # depths below the cover are naturally written downwards
        levels.reverse()
        areas.reverse()
    for one, next_one in zip(levels, levels[1:], strict=False):
        if next_one <= one:
            built.refuse(f"{place}.levels", "do not rise all the way", f"{next_one:g} m")
            return ()
    if levels[0] < 0.0:
        built.refuse(f"{place}.levels", "begin below the floor", f"{levels[0]:g} m", "0 m")
        return ()
    return wells.table(levels, areas, steps=part.between == "steps")


def _pump(name: str, part: s.MachinePart, place: str, built: Built) -> PumpUnit:
    curve = None if part.curve is None else _curve(part.curve, f"{place}.curve", built)
    if part.flow is not None and part.curve is not None:
        built.refuse(f"{place}.flow", "a flow and a curve are two answers", fix="keep one of them")
    electric = isinstance(part, s.PumpPart)
    return PumpUnit(
        name=name,
        curve=curve,
        fixed_flow_m3s=part.flow,
        speed_ratio=part.speed,
        flow_factor=part.flow_factor,
        head_factor=part.head_factor,
        branch=None if part.branch is None else _pipe(part.branch, f"{place}.branch", built),
        power=_power(part, place, built) if isinstance(part, s.PumpPart) else PowerDraw(),
        min_off_s=part.min_off_time if isinstance(part, s.PumpPart) else 0.0,
        seal_leak=part.seal_leak if electric else "alarm",
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
        built.refuse(f"{place}.shutoff_head", "is missing", fix="add it")
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
        built.refuse(f"{place}.{missing}", "is missing", fix="add it")
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
            _flow(flows[0]),
            "0 L/s",
            "add the shut-off head as the first point",
        )
        return None
    for i in range(1, len(flows)):
        if flows[i] <= flows[i - 1]:
            built.refuse(f"{place}.flow", "does not rise all the way", _flow(flows[i]))
            return None
        if heads[i] >= heads[i - 1]:
            built.refuse(
                f"{place}.head",
                f"the head does not fall between {_flow(flows[i - 1])} and {_flow(flows[i])}",
                f"{heads[i - 1]:g} m, then {heads[i]:g} m",
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
        else _table(curve.flow, curve.power, f"{place}.power_curve", built),
        efficiency=None
        if efficiency is None
        else _table(efficiency.flow, efficiency.efficiency, f"{place}.efficiency", built),
        motor_efficiency=1.0 if part.motor_efficiency is None else part.motor_efficiency,
    )


def _table(flows: list[float], values: list[float], place: str, built: Built) -> FlowTable:
    if len(flows) != len(values):
        built.refuse(place, "its two lists are not as many", f"{len(flows)} and {len(values)}")
    elif any(later <= one for one, later in zip(flows, flows[1:], strict=False)):
        built.refuse(f"{place}.flow", "does not rise all the way")
    return FlowTable(tuple(flows), tuple(values))


def _pipe(part: s.PipePart, place: str, built: Built) -> Pipe:
    return _make_pipe(
        part, part.length, part.diameter, part.friction, part.fittings_k, place, built
    )


def _make_pipe(
    part: s.PipePart | s.ForceMainPart,
    length: float,
    diameter: float,
    friction: Literal["hazen-williams", "darcy-weisbach", "none"],
    fittings_k: float,
    place: str,
    built: Built,
) -> Pipe:
    used = {"hazen-williams": ("c_factor",), "darcy-weisbach": ("roughness", "viscosity")}
    for key in ("c_factor", "roughness", "viscosity"):
        if getattr(part, key) is not None and key not in used.get(friction, ()):
            built.refuse(
                f"{place}.{key}",
                f'has no effect with friction = "{friction}"',
                fix="take it out, or choose the other formula",
            )
    return Pipe(
        length_m=length,
        diameter_m=diameter,
        friction=friction,
        c_factor=120.0 if part.c_factor is None else part.c_factor,
        roughness_m=part.roughness or 0.0,
        viscosity_m2s=_WATER_15C_M2S if part.viscosity is None else part.viscosity,
        fittings_k=fittings_k,
    )


def _force_main(
    part: s.ForceMainPart | None, above_floor: Callable[[float], float], built: Built
) -> ForceMain | None:
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
        pipes = tuple(_pipe(one, f"force_main.pipe.{key}", built) for key, one in part.pipe.items())
    elif part.length is None or part.diameter is None:
        missing = "length" if part.length is None else "diameter"
        built.refuse(f"force_main.{missing}", "is missing", fix="add it, or [force_main.pipe.NAME]")
    else:
        friction = part.friction or "hazen-williams"
        k = part.fittings_k or 0.0
        pipes = (_make_pipe(part, part.length, part.diameter, friction, k, "force_main", built),)
    return ForceMain(pipes, above_floor(part.discharge))


def _engine(
    part: s.EnginePumpPart | None, above_floor: Callable[[float], float], built: Built
) -> EnginePump | None:
    if part is None:
        return None
    return EnginePump(
        pump=_pump(part.name, part, "engine_pump", built),
        start_level_m=above_floor(part.start),
        stop_level_m=above_floor(part.stop),
        start_delay_s=part.start_delay,
        at_grid_return=part.at_grid_return,
        fuel_m3_per_s=part.fuel_rate,
        tank_m3=math.inf if part.tank is None else part.tank,
    )


def _plan(
    control: s.Table, rotation: s.Table, above_floor: Callable[[float], float], built: Built
) -> ControlPlan | None:
    made: dict[str, Any] = {}
    for place, table, find in (
        ("control", control, controller_class),
        ("rotation", rotation, rotation_class),
    ):
        kind = str(table.kind)  # type: ignore[attr-defined]
        try:
            made[place] = kind, make_settings(find(kind).Settings, table, above_floor)
        except (ValueError, TypeError, InputError) as error:
            built.refuse(place, f"{kind} refuses its settings: {error}")
    if len(made) < 2:
        return None
    return ControlPlan(*made["control"], *made["rotation"])


def _inflow(scenario: s.Scenario, folder: FilePath, built: Built) -> list[InflowSource]:
    sources: list[InflowSource] = []
    for key, part in scenario.inflow.items():
        place = f"inflow.{key}"
        try:
            source = _source(scenario, part, place, folder, built)
        except (ValueError, InputError) as error:
            built.refuse(place, str(error))
            continue
        if source is not None:
            sources.append(source)
    return sources


def _source(
    scenario: s.Scenario, part: Any, place: str, folder: FilePath, built: Built
) -> InflowSource | None:
    if isinstance(part, s.ConstantPart):
        return Constant(part.flow)
    if isinstance(part, s.DailyPart):
        return _daily(part, place, built)
    if isinstance(part, s.HydrographPart):
        try:
            at_s = read_moment(part.at, scenario.episode.start)
        except EventTextError as error:
            built.refuse(f"{place}.at", str(error), f'"{part.at}"')
            return None
        times, flows = zip(*part.points, strict=True)
        if any(later < one for one, later in zip(times, times[1:], strict=False)):
            built.refuse(f"{place}.points", "their times do not rise")
            return None
        return Hydrograph(at_s, tuple(times), tuple(flows))
    path = folder / part.file
    series = read_inflow_csv(
        path,
        column=part.column,
        time_column=part.time_column,
        unit=part.unit,
        time_unit=part.time_unit,
        gaps=part.gaps,
        start=scenario.episode.start,
    )
    built.files.append(path)
    if series.repairs:
        built.findings.append(Finding(place, "ok", "; ".join(series.repairs)))
    return series.source(factor=part.factor, steps=part.between == "steps")


def _daily(part: s.DailyPart, place: str, built: Built) -> Daily | None:
    weekend = part.weekday if part.weekend is None else part.weekend
    days: list[tuple[float, ...]] = []
    means = (part.mean, part.mean if part.weekend_mean is None else part.weekend_mean)
    for key, values, mean in zip(
        ("weekday", "weekend"), (part.weekday, weekend), means, strict=True
    ):
        kinds = {kind for kind, _ in values}
        if len(kinds) > 1:
            built.refuse(f"{place}.{key}", "mixes flows and plain factors", fix="keep one of them")
            return None
        numbers = [value for _, value in values]
        if mean is None:
            if "factor" in kinds:
                built.refuse(
                    f"{place}.mean",
                    "is missing, and the pattern is given by plain factors",
                    "",
                    'a flow such as "10 L/s"',
                    "add it, or write flows with their unit",
                )
                return None
            days.append(tuple(numbers))
            continue
        average = sum(numbers) / 24.0
        if average <= 0.0:
            built.refuse(f"{place}.{key}", "is nought all day and cannot be scaled to a mean")
            return None
        days.append(tuple(value * (mean / average) for value in numbers))
    return Daily(days[0], days[1], steps=part.between == "steps")


def _events(scenario: s.Scenario, machines: list[str], built: Built) -> list[ScriptedEvent]:
    events: list[ScriptedEvent] = []
    for key, part in scenario.event.items():
        place = f"event.{key}"
        text = _event_text(part, place, built)
        if text is None:
            continue
        try:
            events.append(
                read_event(
                    text,
                    start=scenario.episode.start,
                    duration_s=scenario.episode.duration,
                    machines=machines,
                )
            )
        except EventTextError as error:
            built.refuse(place, str(error), f'"{text}"')
    return _joined_losses(events, built)


def _joined_losses(events: list[ScriptedEvent], built: Built) -> list[ScriptedEvent]:
    """Join grid losses that overlap: the grid is back when the last of them is over."""
    losses = sorted((one for one in events if one.kind == "grid loss"), key=lambda loss: loss.at_s)
    joined: list[ScriptedEvent] = []
    for loss in losses:
        last = joined[-1] if joined else None
        last_end = -math.inf if last is None else last.at_s + (last.duration_s or 0.0)
        if last is None or loss.at_s > last_end:
            joined.append(loss)
            continue
        end = max(last_end, loss.at_s + (loss.duration_s or 0.0))
        joined[-1] = replace(last, duration_s=end - last.at_s)
        built.findings.append(
            Finding(
                "event",
                "warning",
                "grid losses overlap or touch: they are taken as one",
                value=f"one from {last.at_s:g} s to {last_end:g} s, one from {loss.at_s:g} s",
                fix="write one grid loss, or leave time between them",
            )
        )
    first = {loss.at_s: loss for loss in reversed(joined)}
    kept: list[ScriptedEvent] = []
    for one in events:  # of events at one instant the one named first comes first
        if one.kind != "grid loss":
            kept.append(one)
        elif one.at_s in first:
            kept.append(first.pop(one.at_s))
    return kept


def _event_text(part: s.EventPart, place: str, built: Built) -> str | None:
    pieces = (part.at, part.what, part.for_)
    if part.text is not None:
        if any(piece is not None for piece in pieces) or part.until_reset:
            built.refuse(place, "'text' says it all, and pieces are given too", fix="keep one form")
            return None
        return part.text
    for key, piece in (("at", part.at), ("what", part.what)):
        if piece is None:
            built.refuse(f"{place}.{key}", "is missing", fix="add it, or the whole as 'text'")
    if part.at is None or part.what is None:
        return None
    lasting = "" if part.for_ is None else f" for {part.for_}"
    return f"{part.at} {part.what}{lasting}{' until reset' if part.until_reset else ''}"


def _flow(flow_m3s: float) -> str:
    return f"{flow_m3s * 1000.0:g} L/s"

"""From checked tables to a Station and an Episode in SI, with levels above the floor.

What can only be seen when things are put together (a well with a gap, a curve that rises, a CSV
file that cannot be read) is found here; everything is looked at before anything is refused.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path as FilePath
from typing import Any

from stationsim.control.contract import ControlPlan, controller_class, rotation_class
from stationsim.episode import Episode, ScriptedEvent
from stationsim.errors import InputError
from stationsim.findings import Finding
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.segments import InflowSource
from stationsim.inflow.storm import Hydrograph
from stationsim.physics import well as wells
from stationsim.physics.spill import Spillway
from stationsim.records.inflow_csv import read_inflow_csv
from stationsim.scenario import schema as s
from stationsim.scenario.built import Built
from stationsim.scenario.events import EventTextError, read_event, read_moment
from stationsim.scenario.machines import make_engine, make_force_main, make_pump
from stationsim.scenario.settings import make_settings
from stationsim.station import AlarmSettings, Station


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
    pumps = tuple(make_pump(key, part, f"pump.{key}", built) for key, part in scenario.pump.items())
    engine = make_engine(scenario.engine_pump, above_floor, built)
    machines = [pump.name for pump in pumps]
    if engine is not None:
        if engine.pump.name in machines:
            built.refuse("engine_pump.name", f"'{engine.pump.name}' is a name of another pump")
        machines.append(engine.pump.name)
    force_main = make_force_main(scenario.force_main, above_floor, built)
    plan = _plan(control, rotation, above_floor, built)
    inflow = _inflow(scenario, folder, built)
    events = _events(scenario, machines, built)
    part = scenario.station
    alarms, spill = scenario.alarms, scenario.spill
    cover = _cover(part, above_floor, built)
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
        cover_m=cover,
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


def _cover(
    part: s.StationPart, above_floor: Callable[[float], float], built: Built
) -> float | None:
    if part.cover is None:
        return part.depth
    if part.depth is not None:
        built.refuse("station.cover", "cover and depth are two answers", fix="keep one of them")
    return above_floor(part.cover)


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
    for one, next_one in pairwise(levels):
        if next_one <= one:
            built.refuse(f"{place}.levels", "do not rise all the way", f"{next_one:g} m")
            return ()
    if levels[0] < 0.0:
        built.refuse(f"{place}.levels", "begin below the floor", f"{levels[0]:g} m", "0 m")
        return ()
    return wells.table(levels, areas, steps=part.between == "steps")


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
        if any(later < one for one, later in pairwise(times)):
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

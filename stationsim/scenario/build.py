"""From checked tables to a Station and an Episode in SI, with levels above the floor.

What can only be seen when things are put together (a well with a gap, a curve that rises, a CSV
file that cannot be read) is found here; everything that could be read is looked at before anything
is refused.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from stationsim.control.contract import ControlPlan, controller_class, rotation_class
from stationsim.episode import Episode
from stationsim.errors import InputError
from stationsim.physics.spill import Spillway
from stationsim.scenario import schema as s
from stationsim.scenario.built import Built
from stationsim.scenario.chances import make_random
from stationsim.scenario.happenings import make_events, make_inflow
from stationsim.scenario.machines import (
    main_water_m3,
    make_engine,
    make_force_main,
    make_pump,
)
from stationsim.scenario.protection import make_backup_floats, make_tariff, with_protection
from stationsim.scenario.protection_tables import GridPart
from stationsim.scenario.rainfall import make_rain_derived
from stationsim.scenario.ratings import make_ratings
from stationsim.scenario.reference import Reference
from stationsim.scenario.response import make_response
from stationsim.scenario.settings import make_settings
from stationsim.scenario.sewers import make_sewer
from stationsim.scenario.standby import make_exercise, make_standby_power
from stationsim.scenario.storage import make_well
from stationsim.station import AlarmSettings, ReturnBreak, Station

if TYPE_CHECKING:
    from pathlib import Path as FilePath

    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.scenario.parts import Parts

_SURELY_ELEVATION_M = 10.0
"""A floor as high above the datum as this lies higher than any station is deep, or nearly so."""


def build(parts: Parts, built: Built, *, folder: FilePath, name: str) -> None:
    """Make the station and the episode that a scenario describes, as far as it could be read.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    built
        Takes what is made, and what is refused.
    folder
        Folder of the scenario file, from which data files are found.
    name
        Name of the episode; names the folder of results.
    """
    reference = parts.reference(built.system, built.findings)
    if reference is not None and _frame_does_not_fit(parts, reference, built):
        reference = None  # whatever else is found of levels would be of the same mistake
    _build_station(parts, reference, built)
    before = sum(one.verdict == "error" for one in built.findings)
    inflow = make_inflow(parts, folder, built)
    inflow += make_rain_derived(parts, folder, built)
    events = make_events(parts, built)
    random = make_random(parts, built)
    response = make_response(parts, built)
    refused = sum(one.verdict == "error" for one in built.findings) > before
    if refused or reference is None or not parts.episode_whole:
        return
    part: s.EpisodePart = parts.single["episode"]
    notes = {one.place: one.reason for one in built.findings if one.verdict == "ok"}
    built.episode = Episode(
        start=part.start,
        duration_s=part.duration,
        inflow=tuple(inflow),
        start_level_m=reference.above_floor(part.start_level),
        events=tuple(events),
        table_interval_s=part.table_interval,
        seed=part.seed,
        name=name,
        notes=notes,
        random=tuple(random),
        response=response,
    )


def _make_engine(
    parts: Parts, place: str, levels: Reference, names: list[str], built: Built
) -> EnginePump | None:
    """Return what has an engine of its own, by a name that no other pump has."""
    engine = make_engine(parts.single.get(place), place, levels.above_floor, built)
    if engine is not None:
        if engine.pump.name in names:
            built.refuse(f"{place}.name", f"'{engine.pump.name}' is a name of another pump")
        names.append(engine.pump.name)
    return engine


def _build_station(parts: Parts, reference: Reference | None, built: Built) -> None:
    """Make the station; each part is looked at, though the others may be missing."""
    levels = reference if reference is not None else Reference()
    before = len(built.findings)
    well = None
    if reference is not None:
        well = make_well(
            parts.named["well"],
            levels,
            built,
            whole=parts.has("well"),
            sewer=make_sewer(parts, levels, built),
        )
    pumps = tuple(
        with_protection(make_pump(key, part, f"pump.{key}", built), part, levels.above_floor, built)
        for key, part in parts.named["pump"].items()
    )
    names = list(parts.pumps or ())
    engine, bypass = (
        _make_engine(parts, place, levels, names, built) for place in ("engine_pump", "bypass_pump")
    )
    main_part = parts.single.get("force_main")
    force_main = make_force_main(main_part, levels.above_floor, built)
    ratings = make_ratings(parts, levels.above_floor, built)
    tariff = make_tariff(parts.named["tariff"], built, whole=parts.has("tariff"))
    return_break = _return_break(parts, built)
    standby_power = make_standby_power(parts, ratings, built)
    exercise = make_exercise(parts, built)
    part: s.StationPart | None = parts.single.get("station")
    if part is not None and part.cover is not None and part.depth is not None:
        built.refuse("station.cover", "cover and depth are two answers", fix="keep one of them")
    plan = None if reference is None else _plan(parts, reference, built)
    refused = any(one.verdict == "error" for one in built.findings[before:])
    if refused or not parts.station_whole or part is None or well is None or plan is None:
        return
    alarms: s.AlarmsPart = parts.single.get("alarms") or s.AlarmsPart()
    spill: s.SpillPart | None = parts.single.get("spill")
    above_floor = levels.above_floor
    built.station = Station(
        name=part.name,
        well=well,
        pumps=pumps,
        control=plan,
        force_main=force_main,
        total_by_number_m3s=None if part.total_flow is None else tuple(part.total_flow),
        engine_pump=engine,
        bypass_pump=bypass,
        spillway=None
        if spill is None
        else Spillway(above_floor(spill.level), spill.weir_length, spill.weir_coefficient),
        alarms=AlarmSettings(
            high_level_m=_maybe(levels, alarms.high_level),
            low_level_m=_maybe(levels, alarms.low_level),
            high_level_delay_s=alarms.high_level_delay,
            low_level_delay_s=alarms.low_level_delay,
            power_failed_delay_s=alarms.power_failed_delay,
            telemetry_lost_delay_s=alarms.telemetry_lost_delay,
            supply=alarms.supply,
            battery_s=math.inf if alarms.battery is None else alarms.battery,
        ),
        backup_floats=make_backup_floats(parts.single.get("backup_floats"), above_floor),
        tariff=tariff,
        inlet_invert_m=_maybe(levels, part.inlet_invert),
        cover_m=part.depth if part.cover is None else above_floor(part.cover),
        floor_elevation_m=part.floor_elevation,
        levels_shown=levels.shown,
        ratings=ratings,
        return_break=return_break,
        standby_power=standby_power,
        exercise=exercise,
        scan_s=part.level_scan,
        main_water_m3=main_water_m3(main_part, force_main),
    )


def _return_break(parts: Parts, built: Built) -> ReturnBreak | None:
    """Return the short break after the grid's return; one of no length is refused."""
    grid: GridPart | None = parts.single.get("grid")
    if grid is None:
        return None
    if "transfer" in parts.document:
        built.refuse(
            "grid",
            "and [transfer] are two answers: the transfer switch makes the break when it goes back",
            fix="give transfer.return_after and transfer.return_break, and take [grid] out",
        )
        return None
    if grid.break_length <= 0.0:
        built.refuse(
            "grid.break_length", "is nought", limit="more than 0 s", fix="or leave [grid] out"
        )
        return None
    return ReturnBreak(grid.break_after, grid.break_length)


def _frame_does_not_fit(parts: Parts, reference: Reference, built: Built) -> bool:
    """Tell, and refuse, when levels and what they are said to be measured from do not fit.

    A floor elevation is given, and a level that is taken as above the floor lies at or above it.
    Near the sea that may be right: a file that says in so many words that its levels are above the
    floor is believed, save when all of them lie above a floor that lies high. Or all levels are
    taken as elevations, and lie below the floor.
    """
    part: s.StationPart | None = parts.single.get("station")
    floor = None if part is None else part.floor_elevation
    if part is None or floor is None or floor <= 0.0 or reference.shown == "below cover":
        return False
    levels: dict[str, float] = {}
    for table, key in (
        ("spill", "level"),
        ("control", "lead_start"),
        ("control", "stop"),
        ("episode", "start_level"),
    ):
        value = getattr(parts.single.get(table), key, None)
        if isinstance(value, float):
            levels[f"{table}.{key}"] = value
    if reference.shown == "elevation":
        if not levels or max(levels.values()) > floor:
            return False
        told = ", ".join(f"{key} = {reference.plain(level)}" for key, level in levels.items())
        built.refuse(
            "station.levels_are",
            "says elevation, and all levels lie below the floor: they look like levels above it",
            f"floor_elevation = {reference.plain(floor)}, {told}",
            fix='write levels_are = "above floor", or give the levels as elevations',
        )
        return True
    high = {key: level for key, level in levels.items() if level >= floor}
    if not high:
        return False
    beyond = part.depth is not None and any(level > part.depth for level in high.values())
    believed = "levels_are" in part.model_fields_set
    if believed and not (len(high) == len(levels) and (floor >= _SURELY_ELEVATION_M or beyond)):
        return False
    told = ", ".join(f"{key} = {reference.number(level)}" for key, level in high.items())
    fix = 'write levels_are = "elevation" in [station]'
    if not believed:
        fix += ', or levels_are = "above floor" if they are meant so'
    built.refuse(
        "station.floor_elevation",
        "is given, and levels are taken as above the floor: they look like elevations",
        f"floor_elevation = {reference.number(floor)}, {told}",
        fix=fix,
    )
    return True


def _maybe(reference: Reference, level: float | None) -> float | None:
    return None if level is None else reference.above_floor(level)


def _plan(parts: Parts, reference: Reference, built: Built) -> ControlPlan | None:
    made: dict[str, Any] = {}
    for place, find in (("control", controller_class), ("rotation", rotation_class)):
        table: Any = parts.single.get(place)
        if table is None:
            continue  # told already
        try:
            settings = make_settings(find(table.kind).Settings, table, reference.above_floor)
            made[place] = table.kind, settings
        except (ValueError, TypeError, InputError) as error:
            built.refuse(place, f"{table.kind} refuses its settings: {error}")
    if len(made) < 2:
        return None
    return ControlPlan(*made["control"], *made["rotation"])

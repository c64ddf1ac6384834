"""What wakes the plant: the volumes that somebody waits for, and who it is."""

from __future__ import annotations

from typing import NamedTuple

from stationsim.station import Station


class WakePlan(NamedTuple):
    """Volumes that somebody waits for.

    Parameters
    ----------
    volumes_m3
        Rising [m3].
    levels_m
        The level that each was asked for as [m]: handed back exactly, never computed back.
    tags
        Who waits for it.
    """

    volumes_m3: tuple[float, ...]
    levels_m: tuple[float, ...]
    tags: tuple[frozenset[str], ...]


def wake_plan(
    station: Station,
    controller_levels_m: tuple[float, ...],
    engine_waits: str,
    bypass_waits: str,
    cap_m3: float,
) -> WakePlan:
    """Return all that is waited for: by the controller, the alarms, the spill and the engines.

    Parameters
    ----------
    station
        What stands there.
    controller_levels_m
        What the controller asked for [m above floor].
    engine_waits, bypass_waits
        ``may start``, ``runs`` or nothing (see ``EngineSet.waits``).
    cap_m3
        Volume that is never exceeded [m3].
    """
    alarms = station.alarms
    wanted: list[tuple[float | None, str]] = [(x, "controller") for x in controller_levels_m]
    wanted += [
        (alarms.high_level_m, "high level"),
        (alarms.low_level_m, "low level"),
        (station.spillway.crest_m if station.spillway is not None else None, "crest"),
        (0.0, "floor"),
    ]
    if station.backup_floats is not None:
        wanted += [
            (station.backup_floats.start_m, "float"),
            (station.backup_floats.stop_m, "float"),
        ]
    wanted += [(pump.motor_top_m, "motor top") for pump in station.pumps]
    wanted += [(pump.air_bound_below_m, "air") for pump in station.pumps]
    for engine, waits in (
        (station.engine_pump, engine_waits),
        (station.bypass_pump, bypass_waits),
    ):
        if engine is not None and waits == "may start":
            wanted.append((engine.start_level_m, "engine"))
        if engine is not None and waits == "runs":
            wanted.append((engine.stop_level_m, "engine"))
    merged: dict[float, tuple[float, set[str]]] = {}
    for level, tag in wanted:
        if level is not None:
            merged.setdefault(station.well.volume_at(level), (level, set()))[1].add(tag)
    volumes = sorted(v for v in merged if v <= cap_m3)
    return WakePlan(
        tuple(volumes),
        tuple(merged[v][0] for v in volumes),
        tuple(frozenset(merged[v][1]) for v in volumes),
    )


def marks(station: Station) -> tuple[float, ...]:
    """Return the levels between which the bands of a lineup shall have no mean error [m].

    Parameters
    ----------
    station
        What stands there.
    """
    found: list[float | None] = [station.alarms.high_level_m, station.alarms.low_level_m]
    stages = getattr(station.control.settings, "stages", None)
    if callable(stages):
        for _role, start, stop in stages():
            found += [start, stop]
    if station.backup_floats is not None:
        found += [station.backup_floats.start_m, station.backup_floats.stop_m]
    for engine in (station.engine_pump, station.bypass_pump):
        if engine is not None:
            found += [engine.start_level_m, engine.stop_level_m]
    return tuple(sorted({x for x in found if x is not None}))


def top_level(station: Station, greatest_inflow_m3s: float = 0.0) -> float:
    """Return the highest level that matters [m]: cover, spill, or a metre above all else.

    Parameters
    ----------
    station
        What stands there.
    greatest_inflow_m3s
        The most that ever arrives [m3/s]: a weir must be able to carry it below that level.
    """
    spillway = station.spillway
    cover = station.cover_m or 0.0
    if spillway is not None and spillway.length_m is None:
        return max(spillway.crest_m, cover)
    above = max(*marks(station), cover, station.well.levels_m[-1]) + 1.0
    if spillway is None or spillway.length_m is None:
        return above
    head: float = (greatest_inflow_m3s / (spillway.coefficient * spillway.length_m)) ** (2.0 / 3.0)
    return max(above, spillway.crest_m + max(1.5, 1.1 * head))

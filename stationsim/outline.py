"""The station before any run: its levels from the floor up, and what lies between them.

Between two neighbouring levels stands a volume; at the least and at the greatest inflow of the
episode it takes so many minutes to fill, by hand arithmetic (volume over a steady flow, nothing
pumped). It tells at a glance whether the levels are far enough apart; how long the water really
takes, with an inflow that changes meanwhile, only a run can tell.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.inflow.segments import Segments
from stationsim.station import Station
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.units import System


class Step(NamedTuple):
    """One level, and what lies between it and the next one above.

    Parameters
    ----------
    name
        What is set at it, such as ``lead start``; several joined by 'and'.
    level_m
        The level [m above floor].
    volume_m3
        Volume from it to the next level above [m3]; NaN at the highest.
    slow_s, fast_s
        Time to fill that volume at the least and at the greatest inflow [s]; infinity when nothing
        arrives, NaN at the highest level.
    """

    name: str
    level_m: float
    volume_m3: float
    slow_s: float
    fast_s: float


def set_levels(station: Station) -> list[tuple[str, float]]:
    """Return the names and levels [m] of everything that is set at a level, from the floor up.

    Parameters
    ----------
    station
        What stands there.
    """
    found: list[tuple[str, float | None]] = []
    settings = station.control.settings
    if dataclasses.is_dataclass(settings):
        for field in dataclasses.fields(settings):
            if field.metadata.get("kind") == "level":
                name = field.name.removesuffix("_m").replace("_", " ")
                found.append((name, getattr(settings, field.name)))
    engine, floats, alarms = station.engine_pump, station.backup_floats, station.alarms
    if engine is not None:
        found += [("engine start", engine.start_level_m), ("engine stop", engine.stop_level_m)]
    if floats is not None:
        found += [("backup start float", floats.start_m), ("backup stop float", floats.stop_m)]
    found += [
        ("low-level alarm", alarms.low_level_m),
        ("high-level alarm", alarms.high_level_m),
        ("inlet invert", station.inlet_invert_m),
        ("spill", None if station.spillway is None else station.spillway.crest_m),
    ]
    given = [(name, float(level)) for name, level in found if level is not None]
    return sorted(given, key=lambda pair: pair[1])


def inflow_range(inflow: Segments, until_s: float) -> tuple[float, float]:
    """Return the least and the greatest inflow of an episode [m3/s].

    Parameters
    ----------
    inflow
        All that arrives.
    until_s
        End of the episode [s].
    """
    inside = inflow.start_s < until_s
    ends = np.append(inflow.start_s[inside][1:], until_s)
    first = inflow.flow_m3s[inside]
    last = first + inflow.slope_m3s2[inside] * (ends - inflow.start_s[inside])
    return float(min(first.min(), last.min())), float(max(first.max(), last.max()))


def steps(station: Station, least_m3s: float, greatest_m3s: float) -> list[Step]:
    """Return the levels of a station from the floor up, with what lies between them.

    Parameters
    ----------
    station
        What stands there.
    least_m3s, greatest_m3s
        Least and greatest inflow [m3/s].
    """
    merged: dict[float, list[str]] = {0.0: ["floor"]}
    for name, level in set_levels(station):
        merged.setdefault(level, []).append(name)
    levels = sorted(merged)
    found = []
    for n, level in enumerate(levels):
        volume = slow = fast = float("nan")
        if n + 1 < len(levels):
            volume = station.well.volume_at(levels[n + 1]) - station.well.volume_at(level)
            slow = volume / least_m3s if least_m3s > 0.0 else float("inf")
            fast = volume / greatest_m3s if greatest_m3s > 0.0 else float("inf")
        found.append(Step(" and ".join(merged[level]), level, volume, slow, fast))
    return found


def lines(
    station: Station, least_m3s: float, greatest_m3s: float, system: System = "si"
) -> list[str]:
    """Return the station in lines of text: levels and what lies between them, and each lineup.

    Parameters
    ----------
    station
        What stands there.
    least_m3s, greatest_m3s
        Least and greatest inflow of the episode [m3/s].
    system
        ``si`` or ``us``.
    """
    slow, fast = (show(x, "flow", system) for x in (least_m3s, greatest_m3s))
    counted = {
        "above floor": "above the floor",
        "elevation": "as elevations",
        "below cover": "below the cover",
    }[station.levels_shown]
    found = [
        f"{station.name}: levels {counted}, from the top down; minutes to fill up to the next",
        f"level with nothing pumped, at the least inflow ({slow}) and at the greatest ({fast})",
        "",
    ]
    width = max(len(step.name) for step in steps(station, least_m3s, greatest_m3s))
    for step in reversed(steps(station, least_m3s, greatest_m3s)):
        if not math.isnan(step.volume_m3):
            volume = show(step.volume_m3, "volume", system)
            times = f"{minutes(step.slow_s):>9}  {minutes(step.fast_s):>9}"
            found.append(f"{'':{width}}  {'':>9}  {volume:>9}  {times}")
        level = show(station.shown_m(step.level_m), "level", system)
        found.append(f"{step.name:{width}}  {level:>9}")
    return found


def minutes(seconds: float) -> str:
    """Return a time to fill as text: minutes, or never.

    Parameters
    ----------
    seconds
        The time [s].
    """
    if not math.isfinite(seconds):
        return "never"
    found = seconds / 60.0
    return f"{found:.0f} min" if found >= 10.0 else f"{found:.1f} min"

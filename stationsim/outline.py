"""The station before any run: its levels from the floor up, and what lies between them.

Between two neighbouring levels stands a volume; at the least and at the greatest inflow of the
episode it takes so many minutes to fill, by hand arithmetic (volume over a steady flow, nothing
pumped). It tells at a glance whether the levels are far enough apart; how long the water really
takes, with an inflow that changes meanwhile, only a run can tell.
"""

from __future__ import annotations

import dataclasses
import math
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.inflow.segments import DAY_S, Segments, total_inflow
from stationsim.inflow.unit_hydrographs import RainDerived
from stationsim.station import Station
from stationsim.units import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.episode import Episode
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
    floats, alarms = station.backup_floats, station.alarms
    for who, engine in (("engine", station.engine_pump), ("bypass", station.bypass_pump)):
        if engine is not None:
            found += [(f"{who} start", engine.start_level_m), (f"{who} stop", engine.stop_level_m)]
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


class RainyDay(NamedTuple):
    """A day of an episode, from midnight to midnight, on which rain brings water.

    Parameters
    ----------
    number
        Which day of the episode; the first is 1.
    begin_s, end_s
        Its ends within the episode [s since the start].
    without, together
        Inflow without what the rain brings, and with it.
    brought_m3
        What all rain brings on that day [m3].
    """

    number: int
    begin_s: float
    end_s: float
    without: Segments
    together: Segments
    brought_m3: float

    def hours_s(self, clock_offset_s: float) -> list[float]:
        """Return its ends and the full hours between them [s].

        Parameters
        ----------
        clock_offset_s
            Seconds from the midnight before the first day to the start of the episode [s].
        """
        first = math.floor((self.begin_s + clock_offset_s) / _HOUR_S) + 1.0
        full = np.arange(first * _HOUR_S - clock_offset_s, self.end_s, _HOUR_S)
        return [self.begin_s, *(float(x) for x in full), self.end_s]


_HOUR_S = 3600.0


def rainy_day(episode: Episode, added: int = 0) -> RainyDay | None:
    """Return the day on which rain brings the most water; None when it brings none.

    Parameters
    ----------
    episode
        What happens.
    added
        How many rains were added to those of the scenario: the day is the one on which these bring
        the most, if they bring anything at all.
    """
    derived = tuple(source for source in episode.inflow if isinstance(source, RainDerived))
    if not derived:
        return None
    others = tuple(source for source in episode.inflow if not isinstance(source, RainDerived))
    end_s = episode.duration_s
    midnights = np.arange(DAY_S - episode.clock_offset_s, end_s, DAY_S)
    edges = [0.0, *(float(x) for x in midnights), end_s]
    brought = counted = _by_day(episode, derived, edges)
    if added and (of_added := _by_day(episode, derived[-added:], edges)).any():
        counted = of_added
    day = int(np.argmax(counted))
    if not counted[day] > 0.0:
        return None
    return RainyDay(
        day + 1,
        edges[day],
        edges[day + 1],
        total_inflow(dataclasses.replace(episode, inflow=others)),
        total_inflow(episode),
        float(brought[day]),
    )


def _by_day(
    episode: Episode, sources: tuple[RainDerived, ...], edges: list[float]
) -> NDArray[np.float64]:
    """Return what sources bring from each edge to the next [m3]."""
    flow = total_inflow(dataclasses.replace(episode, inflow=sources))
    volumes: NDArray[np.float64] = np.diff([flow.volume_m3(edge) for edge in edges])
    return volumes


def rain_lines(day: RainyDay, episode: Episode, system: System = "si") -> list[str]:
    """Return the inflow of a rainy day in lines of text, hour by hour.

    Parameters
    ----------
    day
        As :func:`rainy_day` found it.
    episode
        What happens.
    system
        ``si`` or ``us``.
    """
    date = episode.moment(day.begin_s).date().isoformat()
    brought = show(day.brought_m3, "volume", system)
    found = [
        f"Inflow of day {day.number} ({date}), on which rain brings {brought}:",
        "mean of each hour, and the greatest flow",
        "",
        f"{'':8}  {'without rain':>12}  {'by rain':>12}  {'together':>12}",
    ]
    for begin, end in pairwise(day.hours_s(episode.clock_offset_s)):
        without, together = (
            (flow.volume_m3(end) - flow.volume_m3(begin)) / (end - begin)
            for flow in (day.without, day.together)
        )
        flows = (without, max(together - without, 0.0), together)
        texts = (f"{show(flow, 'flow', system):>12}" for flow in flows)
        found.append(f"{episode.moment(begin):%H:%M}     " + "  ".join(texts))
    tops = (greatest(flow, day.begin_s, day.end_s) for flow in (day.without, day.together))
    (least_at, least), (most_at, most) = tops
    texts = (f"{show(flow, 'flow', system):>12}" for flow in (least, most))
    found.append("greatest  " + f"  {'':12}  ".join(texts))
    at = (f"{'at ' + _clock(episode, day, t_s):>12}" for t_s in (least_at, most_at))
    found.append(f"{'':8}  " + f"  {'':12}  ".join(at))
    return found


def greatest(inflow: Segments, from_s: float, to_s: float) -> tuple[float, float]:
    """Return when the inflow of a span is greatest [s], and how great [m3/s]; the first of equals.

    Parameters
    ----------
    inflow
        What arrives.
    from_s, to_s
        The span [s].
    """
    pieces = inflow.between(from_s, to_s)
    ends = np.append(pieces.start_s[1:], to_s)
    last = pieces.flow_m3s + pieces.slope_m3s2 * (ends - pieces.start_s)
    times = np.column_stack((pieces.start_s, ends)).ravel()
    flows = np.column_stack((pieces.flow_m3s, last)).ravel()
    top = int(np.argmax(flows))
    return float(times[top]), float(flows[top])


def _clock(episode: Episode, day: RainyDay, at_s: float) -> str:
    """Return the clock to the nearest minute; the midnight at the end of the day is 24:00."""
    clock = f"{episode.moment(at_s) + timedelta(seconds=30.0):%H:%M}"
    return "24:00" if clock == "00:00" and at_s > day.begin_s + 60.0 else clock


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

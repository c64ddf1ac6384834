"""The station sheet for the night: one page that hangs in the van and in the panel.

What is known of a station stands there as numbers, and what the file does not say is a blank to be
filled in by hand: nothing is guessed. Minutes are those of the 24-hour table, volumes those of the
well; steps and people are those of the response.

References
----------
What such a page holds (levels with volumes, minutes by hour, pumps and starts, connections, access,
order of steps): common practice, no source.
"""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from stationsim.forms import PART_COLUMNS, Form
from stationsim.outline import set_levels, steps
from stationsim.people.response import WAY
from stationsim.studies.ahead import Ahead, crest_of
from stationsim.studies.rehearse import sheet_power
from stationsim.studies.rehearse.hours import HoursAsked, station_hours
from stationsim.studies.rehearse.routine import ROUTINE
from stationsim.studies.rehearse.sheet_text import (
    CAUTIONS,
    FOOTER,
    clock_span,
    fields,
    litres_a_minute,
    table,
    three_minutes,
)
from stationsim.studies.rehearse.text import whole_minutes
from stationsim.units import show
from stationsim.wording import level_text

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.forms import Laid, Value
    from stationsim.people.response import Person, Response, Task
    from stationsim.station import Station
    from stationsim.studies.rehearse.hours import HourRow, StationHours
    from stationsim.studies.rehearse.sheet_text import Places
    from stationsim.study_result import Source
    from stationsim.units import System

NAME = "station_sheet"
"""Stem of its file, and name of its sheet in a workbook."""

SPILL = "The spill"
LEVELS = "Levels and volumes"
HOURS = "Minutes to alarm and to spill"
STARTS = "Starts"
SITE = "Site"
STEPS = "Steps, in order"
CALLS = "Who is called, in order"

_LAID: dict[str, Laid] = {
    HOURS: "beside",
    sheet_power.PUMPS: "half",
    CALLS: "half",
    sheet_power.SETS: "half",
    STEPS: "across",
}
_EMPTY_STEPS, _EMPTY_CALLS = 4, 3
_MOST_TRIED = 6
_SHORT_DIGEST = 12


def station_sheet(
    station: Station,
    episode: Episode,
    system: System,
    hours: StationHours | None = None,
    asked: HoursAsked | None = None,
    source: Source | None = None,
) -> Form:
    """Return the station sheet for the night, one page to print and to fill in by hand.

    Parameters
    ----------
    station, episode
        What stands there, what arrives, and who answers for it.
    system
        ``si`` or ``us``.
    hours
        The 24-hour table; None: it is made.
    asked
        What was asked of it; None for the usual.
    source
        The scenario that it came from; None for a station that was set up in Python.

    Raises
    ------
    InputError
        When the station has no level of spill, a level is not set, or a record does not cover a
        day.
    """
    asked = HoursAsked() if asked is None else asked
    name = station.name if source is None else source.name
    crest_of(station, name)
    found = (
        station_hours(name, station, episode, asked, pump_down=False) if hours is None else hours
    )
    greatest = max(row.inflow_m3s for row in found.hours)
    level_m = _start_level(station, found)
    rows = [
        *_spill(station, found, system),
        *_levels(station, found, system),
        *_by_hour(found),
        *_site(),
        *_starts(station, episode, found, level_m, system),
        *sheet_power.carried(station, episode),
        *sheet_power.bypass(station, system),
        *sheet_power.pumps(station, system),
        *_calls(episode.response),
        *sheet_power.sets(station, system, level_m, greatest),
        *_steps(episode.response),
    ]
    return Form(
        name=NAME,
        title=f"Station sheet for the night: {station.name}",
        columns=PART_COLUMNS,
        rows=tuple(rows),
        blank=("entry",),
        notes=_notes(found, asked, source, system),
        room={"entry": 24},
        cautions=CAUTIONS,
        footer=FOOTER,
        parts={part: _LAID.get(part, "short") for part, *_ in rows},
    )


def _notes(
    found: StationHours, asked: HoursAsked, source: Source | None, system: System
) -> tuple[str, ...]:
    import stationsim

    version = getattr(stationsim, "__version__", "unknown")
    of = "a station set up in Python"
    if source is not None:
        of = f"scenario {source.name}"
        of += f", digest {source.digest[:_SHORT_DIGEST]}" if source.digest else ""
    days = ", ".join(dict.fromkeys(f"{row.day} {row.date}" for row in found.hours))
    told = [
        f"Made by stationsim {version} from {of}; inflow of {days}.",
        (
            "What the file does not say is blank, to be filled in by hand on site; '-': nothing"
            " there."
        ),
        (
            "Minutes count from power lost at the hour, nothing pumped, water"
            f" {_start_text(found, asked, system)}. Steps and people: low-typical-high minutes."
        ),
    ]
    if any(plate.starter == "direct" for plate in found.station.ratings.plates.values()):
        told.append("A starter that the file does not name counts as direct: look at the panel.")
    return tuple(told)


def _start_level(station: Station, found: StationHours) -> float:
    """Return the level at which pumps are looked at: the lead start, or where the table begins."""
    levels = dict(set_levels(station))
    return levels.get("lead start", min(row.start_level_m for row in found.hours))


def _peak(found: StationHours, weather: str) -> HourRow | None:
    rows = [row for row in found.hours if row.weather == weather]
    return max(rows, key=lambda row: row.inflow_m3s) if rows else None


def _spill(station: Station, found: StationHours, system: System) -> Places:
    crest_m = crest_of(station, found.name)
    alarm_m = station.alarms.high_level_m
    above = " above the floor" if station.levels_shown == "above floor" else ""
    volume: Value = "no such alarm is set"
    if alarm_m is not None:
        stored = station.well.volume_at(crest_m) - station.well.volume_at(alarm_m)
        volume = show(stored, "volume", system) if stored > 0.0 else "none: it comes with the spill"
    entries: dict[str, Value] = {
        "lowest spill level": f"{level_text(station, crest_m, system)}{above}",
        "where, and how it shows": None,
        "receiving water": None,
        "alarm level to spill": volume,
    }
    for weather in ("dry", "wet"):
        row = _peak(found, weather)
        if row is not None:
            once = litres_a_minute(row.inflow_m3s, system)
            entries[f"spills at the {weather} peak"] = f"{once} ({row.day} {row.hour:02d}:00)"
    entries["reporting threshold (local rules decide)"] = None
    return fields(SPILL, entries)


def _levels(station: Station, found: StationHours, system: System) -> Places:
    """Return the levels from the top down, with what is stored below each and up to the next."""
    flows = [row.inflow_m3s for row in found.hours]
    lines: dict[str, dict[str, Value]] = {}
    for step in reversed(steps(station, min(flows), max(flows))):
        up = "" if math.isnan(step.volume_m3) else show(step.volume_m3, "volume", system)
        lines[step.name] = {
            "level": show(station.shown_m(step.level_m), "level", system),
            "stored": show(station.well.volume_at(step.level_m), "volume", system),
            "to next": up or "-",
        }
    counted = {
        "above floor": "above the floor",
        "elevation": "as elevations",
        "below cover": "below the cover",
    }[station.levels_shown]
    return table(f"{LEVELS}; levels {counted}", lines)


def _by_hour(found: StationHours) -> Places:
    """Return the minutes to alarm and spill at each hour."""
    alarms = any(not math.isnan(row.alarm_s) for row in found.hours)
    lines: dict[str, dict[str, Value]] = {f"{hour:02d}:00": {} for hour in range(24)}
    for row in found.hours:
        head = f"{row.day} {row.weather}" if found.has_wet else row.day
        entries = lines[f"{row.hour:02d}:00"]
        if alarms:
            entries[f"{head} alarm"] = whole_minutes(row.alarm_s)
        entries[f"{head} spill"] = whole_minutes(row.spill_s)
    return table(HOURS, lines)


def _start_text(found: StationHours, asked: HoursAsked, system: System) -> str:
    if isinstance(asked.start_level, str) and asked.start_level in ROUTINE:
        return f"where the routine has it at that hour ({asked.start_level})"
    level = level_text(found.station, found.hours[0].start_level_m, system)
    return (
        f"at {asked.start_level}, {level}" if isinstance(asked.start_level, str) else f"at {level}"
    )


def _starts(
    station: Station, episode: Episode, found: StationHours, level_m: float, system: System
) -> Places:
    entries: dict[str, Value] = {
        "supply": sheet_power.supply_text(station),
        "after power is back": sheet_power.starts_text(station, episode),
    }
    for weather in ("dry", "wet"):
        row = _peak(found, weather)
        if row is not None:
            flow = show(row.inflow_m3s, "flow", system)
            must = pumps_that_carry(station, row.inflow_m3s, level_m)
            entries[f"{weather} peak, {flow}"] = must
    return fields(STARTS, entries)


def pumps_that_carry(station: Station, flow_m3s: float, level_m: float) -> str | None:
    """Return how many electric pumps carry a flow, whichever they are; a blank for many pumps.

    Parameters
    ----------
    station
        What stands there.
    flow_m3s
        What arrives [m3/s].
    level_m
        Where the water stands [m above floor].
    """
    every = range(len(station.pumps))
    if len(every) > _MOST_TRIED:
        return None
    ahead, volume = Ahead(station, 2.0 * flow_m3s), station.well.volume_at(level_m)
    for number in range(1, len(every) + 1):
        groups = [every[:number]] if station.pumps_alike() else list(combinations(every, number))
        if all(ahead.flow_m3s(tuple(group), volume) >= flow_m3s for group in groups):
            if number == len(every):
                return f"all {number} pumps" if number > 1 else station.pumps[0].name
            return f"any {number} of {len(every)} pumps"
    return f"not even all {len(every)} carry it" if len(every) > 1 else "the pump does not carry it"


def _site() -> Places:
    return fields(
        SITE,
        {
            "downstream limit": None,
            "access, parking": None,
            "key, gate, code": None,
            "power supplier": None,
        },
    )


def _steps(response: Response | None) -> Places:
    lines: dict[str, dict[str, Value]] = {}
    if response is None:
        for number in range(1, _EMPTY_STEPS + 1):
            lines[f"{number}"] = dict.fromkeys(("what", "people", "tool", "minutes", "done at"))
        return table(STEPS, lines)
    before = (
        ("alarm to the first phone", three_minutes(response.picked_up, response.on_phone)),
        ("look around on site", three_minutes(response.assesses)),
    )
    told: list[tuple[Value, ...]] = [(what, "-", "-", took) for what, took in before]
    told += [_task(response, task) for task in response.tasks]
    for number, (what, people, tool, took) in enumerate(told, 1):
        lines[f"{number}"] = {
            "what": what, "people": people, "tool": tool, "minutes": took, "done at": None,
        }  # fmt: skip
    return table(STEPS, lines)


def _task(response: Response, task: Task) -> tuple[Value, ...]:
    people: Value = f"{task.people}" if task.people else "who brings it"
    return task.kind, people, _tool(response, task), three_minutes(task.takes, task.starts)


def _tool(response: Response, task: Task) -> str:
    """Return what a step takes, where it comes from and how long that takes."""
    if task.tool is None:
        return "-"
    found = next((one for one in response.tools if one.name == task.tool), None)
    if found is None:
        return task.tool
    if found.number == 0:
        return f"{found.name}: none to be had"
    how, span = ("fetched", found.fetched)
    if span is None:
        how, span = ("delivered", found.delivered)
    took = three_minutes(span)
    return found.name if took is None else f"{found.name}, {how} {took}"


def _calls(response: Response | None) -> Places:
    lines: dict[str, dict[str, Value]] = {}
    if response is None or not response.call_list:
        for number in range(1, _EMPTY_CALLS + 1):
            lines[f"{number}"] = dict.fromkeys(("who", "phone", "answers", "to site", "at night"))
        return table(CALLS, lines)
    for number, name in enumerate(response.call_list, 1):
        lines[f"{number}"] = _called(response.person(name))
    return table(CALLS, lines)


def _called(person: Person) -> dict[str, Value]:
    by_day, at_night = ([person.takes(p, night=night) for p in WAY] for night in (False, True))
    day_way = three_minutes(*by_day[1:])
    answers = three_minutes(by_day[0])
    dark_told = None if day_way is None else "as by day"
    if at_night[1:] != by_day[1:]:
        dark_told = three_minutes(*at_night[1:])
    if at_night[0] != by_day[0]:
        answers = f"{answers or '-'}; night {three_minutes(at_night[0]) or '-'}"
    return {
        "who": f"{person.name}{clock_span(person.on_call)}",
        "phone": None,
        "answers": answers,
        "to site": day_way,
        "at night": dark_told,
    }

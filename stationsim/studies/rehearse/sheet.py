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
from typing import TYPE_CHECKING

from stationsim.forms import PART_COLUMNS, Form
from stationsim.outline import set_levels, steps
from stationsim.studies.ahead import crest_of
from stationsim.studies.rehearse import sheet_people, sheet_power
from stationsim.studies.rehearse.hours import HoursAsked, station_hours
from stationsim.studies.rehearse.routine import ROUTINE
from stationsim.studies.rehearse.sheet_peaks import Peak, heads_of, peaks_of, pumps_that_carry
from stationsim.studies.rehearse.sheet_text import (
    CAUTIONS,
    FOOTER,
    fields,
    litres_a_minute,
    table,
)
from stationsim.studies.rehearse.text import whole_minutes
from stationsim.units import show
from stationsim.wording import level_text

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.forms import Laid, Value
    from stationsim.station import Station
    from stationsim.studies.rehearse.hours import StationHours
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

_LAID: dict[str, Laid] = {
    HOURS: "beside",
    sheet_power.PUMPS: "half",
    sheet_people.CALLS: "half",
    sheet_power.SETS: "half",
    sheet_people.STEPS: "across",
}
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
    peaks = peaks_of(episode, found, asked)
    greatest = max(peak.arrives_m3s for peak in peaks.values())
    level_m = _start_level(station, found)
    rows = [
        *_spill(station, found, peaks, system),
        *_levels(station, found, system),
        *_by_hour(found),
        *_site(),
        *_starts(station, episode, peaks, level_m, system),
        *sheet_power.carried(station, episode),
        *sheet_power.bypass(station, system),
        *sheet_power.pumps(station, system),
        *sheet_people.calls(episode.response),
        *sheet_power.sets(station, system, level_m, greatest),
        *sheet_people.steps(episode.response, system),
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
        parts={part: _LAID.get(part.split(";")[0], "short") for part, *_ in rows},
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
        ("What the file does not say is blank, to fill in by hand; '-': nothing there."),
        (
            "Minutes count from power lost at the hour, nothing pumped, water"
            f" {_start_text(found, asked, system)}. Steps and people: low-typical-high minutes."
        ),
    ]
    if asked.storm_peak_s and found.storms:
        after = show(asked.storm_peak_s, "duration", "si")
        told.append(f"Wet: the storm brings most {after} after the power is lost.")
    if asked.upstream:
        part = f"{asked.upstream * 100.0:.3g} %"
        told.append(f"{part} of the inflow counts as gone: stations upstream that go dark too.")
    if any(plate.starter == "direct" for plate in found.station.ratings.plates.values()):
        told.append("A starter that the file does not name counts as direct: look at the panel.")
    return tuple(told)


def _start_level(station: Station, found: StationHours) -> float:
    """Return the level at which pumps are looked at: the lead start, or where the table begins."""
    levels = dict(set_levels(station))
    return levels.get("lead start", min(row.start_level_m for row in found.hours))


def _spill(station: Station, found: StationHours, peaks: dict[str, Peak], system: System) -> Places:
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
    for weather, peak in peaks.items():
        once = litres_a_minute(peak.spills_m3s, system)
        entries[f"spills at the {weather} peak"] = f"{once} ({peak.when})"
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
    alarms, heads = any(not math.isnan(row.alarm_s) for row in found.hours), heads_of(found)
    lines: dict[str, dict[str, Value]] = {f"{hour:02d}:00": {} for hour in range(24)}
    for row in found.hours:
        head = f"{heads[row.date]} {row.weather}" if found.has_wet else heads[row.date]
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
    station: Station, episode: Episode, peaks: dict[str, Peak], level_m: float, system: System
) -> Places:
    entries: dict[str, Value] = {
        "supply": sheet_power.supply_text(station),
        "after power is back": sheet_power.starts_text(station, episode),
    }
    for weather, peak in peaks.items():
        flow = show(peak.arrives_m3s, "flow", system)
        must = pumps_that_carry(station, peak.arrives_m3s, level_m)
        entries[f"at the {weather} peak of {flow}"] = must
    return fields(STARTS, entries)


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

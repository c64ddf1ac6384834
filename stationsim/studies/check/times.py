"""Criteria of time: filling, age in the main, alarm to spill, and storage for an outage.

References
----------
Time from the high-level alarm to the overflow, as a worst value or as 24 hourly values:
9VAC25-790-390 A.2; at the design peak: 9VAC25-790-990 B (Virginia Administrative Code, read 2026).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

from stationsim.errors import InputError
from stationsim.inflow.segments import DAY_S
from stationsim.outline import set_levels
from stationsim.studies.check.criterion import (
    Case,
    Judged,
    Told,
    judge,
    limit_source,
    not_judged,
)
from stationsim.studies.rehearse.hours import HoursAsked, StationHours, station_hours

if TYPE_CHECKING:
    from stationsim.studies.rehearse.hours import HourRow

FIFTH = 0.2
"""Part of the average flow with which a station often begins its life [-]."""

ALLOWED_SOURCE = "9VAC25-790-390 A.2 (read 2026): alternate power works before this time runs out"
PEAK_SOURCE = "9VAC25-790-990 B (read 2026): response shorter than the time at the design peak"
OUTAGE_SOURCE = "the outage asked for in design.outage of the scenario"


def hours_of(case: Case) -> StationHours | None:
    """Return the 24-hour table from the lead start and from the alarm level.

    Parameters
    ----------
    case
        The station.

    Returns
    -------
    StationHours or None
        None without a spill, without any level to start from, or when no whole day is known.
    """
    station = case.station
    levels = dict(set_levels(station))
    start = next((name for name in ("lead start", "high-level alarm") if name in levels), None)
    if station.spillway is None or start is None:
        return None
    asked = HoursAsked(start_level=start)
    begins = case.episode.start
    first = begins.replace(hour=0, minute=0, second=0, microsecond=0)
    if first < begins:
        first += timedelta(days=1)
    days = [asked.days]
    # a short record has no whole Wednesday or Saturday: its first whole day has to do
    if (first - begins).total_seconds() + DAY_S <= case.episode.duration_s:
        days.append((first.date().isoformat(),))
    for some in days:
        try:
            return station_hours(
                station.name, station, case.episode, replace(asked, days=some), pump_down=False
            )
        except InputError:
            continue
    return None


def filling(case: Case) -> Iterator[Judged]:
    """Judge how long the well takes to fill, and how old sewage gets in the main.

    Parameters
    ----------
    case
        The station.
    """
    levels = dict(set_levels(case.station))
    well, main = case.station.well, case.station.force_main
    if "stop" not in levels or "lead start" not in levels:
        for name in ("fill time", "detention in the well"):
            yield not_judged(name, "wet well", "a stop level and a lead start")
    else:
        volume = well.volume_at(levels["lead start"]) - well.volume_at(levels["stop"])
        held = (volume, "from stop to lead start")
        yield _held(case, "fill time", "wet well", held, "longest_fill_s")
        yield _held(case, "detention in the well", "wet well", held, "longest_detention_s")
    if main is None:
        yield not_judged("age in the main", "force main", "[force_main]")
    else:
        volume = sum(pipe.volume_m3 for pipe in main.pipes)
        yield _held(case, "age in the main", "force main", (volume, "of main"), "longest_in_main_s")


def _held(
    case: Case,
    name: str,
    subject: str,
    held: tuple[float, str],
    limit: Literal["longest_fill_s", "longest_detention_s", "longest_in_main_s"],
) -> Judged:
    """Judge a volume over the average flow; tell it at less, for which no limit is published."""
    average, (volume, what) = case.average_m3s, held
    if average <= 0.0:
        return not_judged(name, subject, "an inflow, or design.average_flow")
    least = case.least_m3s
    return judge(
        name,
        subject,
        volume / average,
        "at most",
        getattr(case.ratings.limits, limit),
        "duration",
        (
            Told(volume, "volume"), f" {what} at the average of the",
            f" {case.flow_from(case.ratings.design.average_m3s)}, ", Told(average, "flow"),
            "; ", Told(volume / least if least > 0.0 else math.inf, "duration"),
            " at the least flow, ", Told(volume / (FIFTH * average), "duration"),
            " at a fifth of the average",
        ),
        limit_source(case, limit),
    )  # fmt: skip


def alarm_to_spill(case: Case, hours: StationHours | None) -> Iterator[Judged]:
    """Judge the time from the alarm to the spill against the response, and the storage.

    Parameters
    ----------
    case
        The station.
    hours
        Its 24-hour table.
    """
    station, design = case.station, case.ratings.design
    spill, alarm = station.spillway, station.alarms.high_level_m
    lacking = [
        key
        for key, value in (
            ("[spill]", spill),
            ("alarms.high_level", alarm),
            ("design.response", design.response_s),
        )
        if value is None
    ]
    name = "time from alarm to spill"
    worst = None if hours is None else min(hours.hours, key=lambda row: row.from_alarm_s)
    if worst is None or lacking or design.response_s is None:
        needs = ", ".join(lacking) or "a whole day of inflow"
        missing = not_judged(name, "station", needs, ALLOWED_SOURCE)
        if worst is not None and alarm is not None:
            found = ("; it is ", Told(worst.from_alarm_s, "duration"), ", ", *_of_hour(worst))
            missing = missing._replace(why=(missing.reason, *found))
        yield missing
    else:
        yield judge(
            name, "station", worst.from_alarm_s, "at least", design.response_s, "duration",
            _of_hour(worst), ALLOWED_SOURCE,
        )  # fmt: skip
    yield _at_peak(case, lacking)
    yield _outage(case, hours)


def _at_peak(case: Case, lacking: list[str]) -> Judged:
    name, station, response_s = (
        "alarm to spill at peak",
        case.station,
        case.ratings.design.response_s,
    )
    spill, alarm = station.spillway, station.alarms.high_level_m
    if spill is None or alarm is None or response_s is None:
        return not_judged(name, "station", ", ".join(lacking), PEAK_SOURCE)
    stored = station.well.volume_at(spill.crest_m) - station.well.volume_at(alarm)
    peak = case.peak_m3s
    return judge(
        name, "station", stored / peak if peak > 0.0 else math.inf, "at least", response_s,
        "duration",
        (
            Told(stored, "volume"), " from the high-level alarm to the spill, at the peak of the",
            f" {case.flow_from(case.ratings.design.peak_m3s)}, ", Told(peak, "flow"),
        ),
        PEAK_SOURCE,
    )  # fmt: skip


def _outage(case: Case, hours: StationHours | None) -> Judged:
    name, outage_s = "storage for the outage", case.ratings.design.outage_s
    lacking = [] if case.station.spillway is not None else ["[spill]"]
    if "lead start" not in dict(set_levels(case.station)):
        lacking.append("a lead start")
    if outage_s is None:
        lacking.append("design.outage")
    if lacking or hours is None or outage_s is None:
        needs = ", ".join(lacking) or "a whole day of inflow"
        return not_judged(name, "station", needs, OUTAGE_SOURCE)
    worst = min(hours.hours, key=lambda row: row.spill_s)
    return judge(
        name, "station", worst.spill_s, "at least", outage_s, "duration",
        ("from the lead start to the spill, ", *_of_hour(worst)), OUTAGE_SOURCE,
    )  # fmt: skip


def _of_hour(row: HourRow) -> tuple[str | Told, ...]:
    when = f"worst hour {row.day} {row.hour:02d}:00 ({row.weather}), "
    return (when, Told(row.inflow_m3s, "flow"), " arriving, nothing pumped")

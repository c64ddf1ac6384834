"""Criteria of time: filling, age in the main, alarm to spill, and storage for an outage.

References
----------
Time from the high-level alarm to the overflow, as a worst value or as 24 hourly values:
9VAC25-790-390 A.2; at the design peak: 9VAC25-790-990 B (Virginia Administrative Code, read 2026).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from stationsim.errors import InputError
from stationsim.outline import set_levels
from stationsim.studies.check.criterion import Case, Judged, judge, limit_source, not_judged
from stationsim.studies.rehearse.hours import HoursAsked, StationHours, station_hours
from stationsim.units import show

FIFTH = 0.2
"""Part of the design flow with which a station often begins its life [-]."""

ALLOWED_SOURCE = "9VAC25-790-390 A.2 (read 2026): alternate power works before this time runs out"
PEAK_SOURCE = "9VAC25-790-990 B (read 2026): response shorter than the time at the design peak"
OUTAGE_SOURCE = "the outage asked for in design.outage of the scenario"


def hours_of(case: Case) -> StationHours | None:
    """Return the 24-hour table from the alarm level, or None without alarm, spill or whole days.

    Parameters
    ----------
    case
        The station.
    """
    station = case.station
    if station.spillway is None or "lead start" not in dict(set_levels(station)):
        return None
    try:
        return station_hours("it", station, case.episode, HoursAsked())
    except InputError:
        pass
    begins = case.episode.start
    # a short record has no whole Wednesday or Saturday: take its first whole day
    first = begins.date() if (begins.hour, begins.minute) == (0, 0) else None
    if first is None:
        return None
    try:
        return station_hours("it", station, case.episode, HoursAsked(days=(first.isoformat(),)))
    except InputError:
        return None


def filling(case: Case) -> Iterator[Judged]:
    """Judge how long the well takes to fill, and how old sewage gets in the main.

    Parameters
    ----------
    case
        The station.
    """
    levels = dict(set_levels(case.station))
    limits = case.ratings.limits
    average = case.average_m3s
    of = f"average of the {case.flow_from(case.ratings.design.average_m3s)}"
    if "stop" not in levels or "lead start" not in levels:
        yield not_judged("fill time", "wet well", "a stop level and a lead start")
    elif average <= 0.0:
        yield not_judged("fill time", "wet well", "an inflow")
    else:
        well = case.station.well
        volume = well.volume_at(levels["lead start"]) - well.volume_at(levels["stop"])
        fills = f"{show(volume, 'volume', 'si')} from stop to lead start"
        for name, limit in (
            ("fill time", "longest_fill_s"),
            ("detention in the well", "longest_detention_s"),
        ):
            yield judge(
                name,
                "wet well",
                volume / average,
                "at most",
                getattr(limits, limit),
                "duration",
                f"{fills} at the {of}, {show(average, 'flow', 'si')}",
                limit_source(case, limit),
            )
        yield from _told_only(case, "fill time", "wet well", volume)
    main = case.station.force_main
    if main is None:
        yield not_judged("age in the main", "force main", "[force_main]")
    elif average > 0.0:
        volume = sum(pipe.volume_m3 for pipe in main.pipes)
        yield judge(
            "age in the main",
            "force main",
            volume / average,
            "at most",
            limits.longest_in_main_s,
            "duration",
            f"{show(volume, 'volume', 'si')} of main at the {of}, {show(average, 'flow', 'si')}",
            limit_source(case, "longest_in_main_s"),
        )
        yield from _told_only(case, "age in the main", "force main", volume)


def _told_only(case: Case, name: str, subject: str, volume_m3: float) -> Iterator[Judged]:
    """Tell a time at least flow and at a fifth of the average, for which no limit is published."""
    flows = (
        ("at least flow", case.least_m3s),
        ("with a fifth of the average", FIFTH * case.average_m3s),
    )
    for when, flow in flows:
        time = show(volume_m3 / flow if flow > 0.0 else math.inf, "duration", "si")
        reason = f"{time} at {show(flow, 'flow', 'si')}; no limit is published for it"
        told = not_judged(f"{name} {when}", subject, "a limit")
        yield told._replace(reason=f"not judged: {reason}")


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
    needs = []
    if station.spillway is None:
        needs.append("[spill]")
    if station.alarms.high_level_m is None:
        needs.append("alarms.high_level")
    if needs or hours is None:
        lacking = ", ".join(needs) or "a whole day of inflow"
        yield not_judged("time from alarm to spill", "station", lacking, ALLOWED_SOURCE)
        yield not_judged("storage for the outage", "station", lacking, OUTAGE_SOURCE)
        return
    worst = min(hours.hours, key=lambda row: row.from_alarm_s)
    told = (
        f"worst of the hours, {worst.day} {worst.hour:02d}:00 {worst.weather},"
        f" {show(worst.inflow_m3s, 'flow', 'si')} arriving, nothing pumped"
    )
    if design.response_s is None:
        reason = f"{show(worst.from_alarm_s, 'duration', 'si')}, {told}"
        untold = not_judged("time from alarm to spill", "station", "", ALLOWED_SOURCE)
        yield untold._replace(reason=f"not judged: needs design.response; {reason}")
    else:
        yield judge(
            "time from alarm to spill", "station", worst.from_alarm_s, "at least",
            design.response_s, "duration", told, ALLOWED_SOURCE,
        )  # fmt: skip
        spill, alarm = station.spillway, station.alarms.high_level_m
        assert spill is not None and alarm is not None  # noqa: S101, PT018 - looked at above
        stored = station.well.volume_at(spill.crest_m) - station.well.volume_at(alarm)
        peak = case.peak_m3s
        of = case.flow_from(design.peak_m3s)
        yield judge(
            "time from alarm to spill at peak", "station",
            stored / peak if peak > 0.0 else math.inf, "at least", design.response_s, "duration",
            f"{show(stored, 'volume', 'si')} at the peak of the {of}", PEAK_SOURCE,
        )  # fmt: skip
    if design.outage_s is None:
        yield not_judged("storage for the outage", "station", "design.outage", OUTAGE_SOURCE)
        return
    worst = min(hours.hours, key=lambda row: row.spill_s)
    yield judge(
        "storage for the outage",
        "station",
        worst.spill_s,
        "at least",
        design.outage_s,
        "duration",
        f"from the lead start, worst of the hours, {worst.day} {worst.hour:02d}:00"
        f" {worst.weather}, nothing pumped",
        OUTAGE_SOURCE,
    )

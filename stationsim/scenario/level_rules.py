"""Rules of levels: their order, their spacing, and where alarms and spill lie among them."""

from __future__ import annotations

from itertools import pairwise

from stationsim.control.staging import ALL_TOGETHER
from stationsim.findings import Finding
from stationsim.scenario.case import LOGIC, PRACTICE, START_KEYS, Case, Findings

LEAST_SPACING_M = 0.15
"""Levels closer than this are hard to tell apart with floats and waves."""


def stop_above_floor(case: Case) -> Findings:
    """Check that the stop level lies above the floor, or the pumps would never be told to stop."""
    settings = case.staging
    if settings is not None and settings.stop_m <= 0.0:
        yield Finding(
            "control.stop",
            "error",
            "does not lie above the floor",
            case.level(settings.stop_m),
            case.reference.above(0.0),
            "raise it",
            source=LOGIC,
        )


def starts_in_order(case: Case) -> Findings:
    """Check that start levels rise: stop < lead < lag < ... < standby."""
    if case.staging is None:
        return
    steps = [("control.stop", case.staging.stop_m), *case.starts()]
    for (low_key, low), (key, level) in pairwise(steps):
        if level <= low:
            yield Finding(
                key,
                "error",
                f"must lie above {low_key}",
                case.level(level),
                case.reference.above(low),
                "raise this level or lower the other",
                margin=level - low,
                unit="m",
                source=LOGIC,
            )


def starts_without_gap(case: Case) -> Findings:
    """Check that no lag is left out before a later one."""
    given = [key for key, _ in case.starts()]
    missing = ""
    for key in (f"control.{one}" for one in START_KEYS[1:-1]):
        if key not in given:
            missing = missing or key
        elif missing:
            yield Finding(
                key,
                "error",
                f"is given, and {missing} is not",
                fix=f"give {missing} first",
                source=LOGIC,
            )


def starts_spaced(case: Case) -> Findings:
    """Check that levels lie at least 0.15 m apart."""
    if case.staging is None:
        return
    steps = [("control.stop", case.staging.stop_m), *case.starts()]
    if case.station.alarms.high_level_m is not None:
        steps.append(("alarms.high_level", case.station.alarms.high_level_m))
    for (low_key, low), (key, level) in pairwise(steps):
        gap = level - low
        if 0.0 < gap < LEAST_SPACING_M - 1e-9:
            yield Finding(
                key,
                "warning",
                f"lies close above {low_key}",
                case.height(gap),
                f"{case.height(LEAST_SPACING_M)} or more apart",
                "waves and floats may not tell the two apart; widen the gap",
                margin=gap - LEAST_SPACING_M,
                unit="m",
                source=PRACTICE,
            )


def no_more_calls_than_pumps(case: Case) -> Findings:
    """Check that there is a pump for each start level."""
    starts, pumps = case.starts(), len(case.station.pumps)
    if len(starts) > pumps:
        yield Finding(
            starts[pumps][0],
            "error",
            "no pump is left for this start level",
            f"{len(starts)} start levels",
            f"{pumps}, one for each electric pump",
            "take it out, or add a pump",
            source=LOGIC,
        )


def starts_below_spill(case: Case) -> Findings:
    """Check that start levels lie below the spill, or water is lost before they are reached."""
    if case.crest_m is None:
        return
    for key, level in case.starts():
        if level >= case.crest_m:
            yield Finding(
                key,
                "error",
                "must lie below the spill",
                case.level(level),
                case.reference.below(case.crest_m),
                "lower it",
                source=LOGIC,
                margin=case.crest_m - level,
                unit="m",
            )


def staged_stops_in_order(case: Case) -> Findings:
    """Check that with staged stop calls end below their start levels, later calls higher."""
    settings = case.staging
    if settings is None:
        return
    keys = ("lag", "second_lag", "third_lag", "standby")
    staged = settings.stop_policy != ALL_TOGETHER
    last_key, last = "control.stop", settings.stop_m
    for key in keys:
        start, stop = getattr(settings, f"{key}_start_m"), getattr(settings, f"{key}_stop_m")
        place = f"control.{key}_stop"
        if stop is None:
            if staged and start is not None:
                yield Finding(
                    place,
                    "warning",
                    "is left out: this call ends at control.stop with the lead",
                    fix="give its stop level, or stop all together",
                    source=PRACTICE,
                )
            continue
        if start is None:
            yield Finding(
                place,
                "error",
                f"has no start level to go with it (control.{key}_start)",
                fix="add the start level or take this out",
                source=LOGIC,
            )
            continue
        if not staged:
            yield Finding(
                place,
                "warning",
                f'has no effect with stop_policy = "{ALL_TOGETHER}"',
                fix="take it out, or choose a staged stop",
                source=LOGIC,
            )
            continue
        if stop >= start:
            yield Finding(
                place,
                "error",
                f"must lie below control.{key}_start",
                case.level(stop),
                case.reference.below(start),
                "lower it",
                margin=start - stop,
                unit="m",
                source=LOGIC,
            )
        if stop < last:
            yield Finding(
                place,
                "error",
                f"must not lie below {last_key}",
                case.level(stop),
                case.reference.at_or_above(last),
                "raise it",
                margin=stop - last,
                unit="m",
                source=LOGIC,
            )
        last_key, last = place, stop


def high_alarm_in_order(case: Case) -> Findings:
    """Check that the high-level alarm lies above every start level and below the spill."""
    alarm = case.station.alarms.high_level_m
    if alarm is None:
        return
    for key, level in case.starts():
        if alarm <= level:
            yield Finding(
                "alarms.high_level",
                "error",
                f"must lie above {key}",
                case.level(alarm),
                case.reference.above(level),
                "raise it",
                margin=alarm - level,
                unit="m",
                source=LOGIC,
            )
            break
    if case.crest_m is not None and alarm >= case.crest_m:
        yield Finding(
            "alarms.high_level",
            "error",
            "must lie below the spill",
            case.level(alarm),
            case.reference.below(case.crest_m),
            "lower it",
            margin=case.crest_m - alarm,
            unit="m",
            source=LOGIC,
        )
    invert = case.station.inlet_invert_m
    if invert is not None and alarm > invert + 1e-9:
        yield Finding(
            "alarms.high_level",
            "warning",
            "lies above the inlet invert: the sewer backs up before anybody is told",
            case.level(alarm),
            case.reference.at_or_below(invert),
            "lower it, unless the sewer is meant as storage",
            margin=invert - alarm,
            unit="m",
            source=PRACTICE,
        )


def low_alarm_below_stop(case: Case) -> Findings:
    """Check that the low-level alarm lies below the stop level, or every pump-down raises it."""
    alarm = case.station.alarms.low_level_m
    if alarm is None:
        return
    if alarm <= 0.0:
        yield Finding(
            "alarms.low_level",
            "error",
            "does not lie above the floor",
            case.level(alarm),
            case.reference.above(0.0),
            "raise it",
            source=LOGIC,
        )
    if case.staging is not None and alarm >= case.staging.stop_m:
        yield Finding(
            "alarms.low_level",
            "warning",
            "does not lie below control.stop: every pump-down raises it",
            case.level(alarm),
            case.reference.below(case.staging.stop_m),
            "lower it",
            margin=case.staging.stop_m - alarm,
            unit="m",
            source=PRACTICE,
        )


def spill_in_place(case: Case) -> Findings:
    """Check that the spill lies above the floor, and no higher than the cover."""
    crest, cover = case.crest_m, case.station.cover_m
    if crest is None:
        return
    if crest <= 0.0:
        yield Finding(
            "spill.level",
            "error",
            "does not lie above the floor",
            case.level(crest),
            case.reference.above(0.0),
            "raise it",
            source=LOGIC,
        )
    if cover is not None and crest > cover:
        yield Finding(
            "spill.level",
            "warning",
            "lies above the cover of the well",
            case.level(crest),
            case.reference.at_or_below(cover),
            "water would leave at the cover first",
            margin=cover - crest,
            unit="m",
            source=PRACTICE,
        )


def start_level_in_range(case: Case) -> Findings:
    """Check that the run begins with the level between the floor and the spill."""
    level, crest = case.episode.start_level_m, case.crest_m
    if level < 0.0:
        yield Finding(
            "episode.start_level",
            "error",
            "lies below the floor",
            case.level(level),
            case.reference.at_or_above(0.0),
            "raise it",
            source=LOGIC,
        )
    if crest is not None and level > crest:
        yield Finding(
            "episode.start_level",
            "error",
            "lies above the spill",
            case.level(level),
            case.reference.at_or_below(crest),
            "lower it",
            margin=crest - level,
            unit="m",
            source=LOGIC,
        )

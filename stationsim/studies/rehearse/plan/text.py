"""The plan in words: a table by hour, the chain of an hour, what each missing thing costs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.people.response import Pace
from stationsim.studies.rehearse.plan.cases import (
    BYPASS,
    ENGINE,
    GENERATOR,
    MOBILE,
    TANKER,
    TASK_OF,
)
from stationsim.studies.rehearse.plan.rows import NO_SPILL_M3, WHOLE, Key
from stationsim.studies.rehearse.sheet_text import CAUTIONS as SHEET_CAUTIONS
from stationsim.studies.rehearse.text import minutes, whole_minutes
from stationsim.units import show
from stationsim.wording import level_text, listed

if TYPE_CHECKING:
    from stationsim.studies.rehearse.plan.rows import Found, SourceRow
    from stationsim.units import System

_PACE_WORDS: dict[Pace, str] = {"low": "the fastest", "high": "the slowest"}
_CLOSE_S = 60.0
_HALF = 0.5
_MOST_WITH_RANGES = 2


def told_of(source: str) -> str:
    """Return what a source is called in a sentence.

    Parameters
    ----------
    source
        Which.
    """
    return {
        ENGINE: "the engine-driven pump",
        GENERATOR: "the fixed generator",
        MOBILE: "the crew with the mobile generator",
        BYPASS: "the crew with the bypass pump",
        TANKER: "the tanker",
        WHOLE: "the whole plan",
    }[source]


def signed(seconds: float) -> str:
    """Return a margin in whole minutes with its sign; ``-`` where there is none.

    Parameters
    ----------
    seconds
        The margin [s].
    """
    if math.isnan(seconds):
        return "-"
    if math.isinf(seconds):
        return "no spill" if seconds > 0 else "never"
    number = seconds / 60.0
    return f"{number:+.1f}" if abs(number) < _HALF else f"{number:+.0f}"


def short(seconds: float) -> str:
    """Return a duration in minutes, with a half where it matters.

    Parameters
    ----------
    seconds
        The duration [s].
    """
    if math.isinf(seconds):
        return "never"
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    number = seconds / 60.0
    if number >= 100.0:
        return f"{number:.0f} min"
    return f"{number:.1f} min".replace(".0 min", " min")


def when(key: Key, *, wet: bool) -> str:
    """Return an hour as a sentence names it.

    Parameters
    ----------
    key
        Day, weather and hour.
    wet
        True when both weathers were rehearsed.
    """
    day, weather, hour = key
    return f"{day} {hour:02d}:00{f', {weather}' if wet else ''}"


# ---------------------------------------------------------------------------- lines


def lines(found: Found, system: System) -> list[str]:
    """Return the table for the screen.

    Parameters
    ----------
    found
        The rows.
    system
        ``si`` or ``us``.
    """
    out = show(found.asked.outage_s, "duration", system)
    told = [
        f"The power goes at the hour and stays out for {out}; nothing else goes wrong.",
        (
            "Margin: minutes from a source's first water to the spill that comes when nobody does"
            " anything:"
        ),
        "+ in time, - too late, * in time and not enough alone. Typical, (fastest to slowest) with",
        "one source or two. Spilled: by the whole plan, fastest / typical / slowest.",
    ]
    blocks = list(dict.fromkeys((day, weather) for day, weather, _ in found.cuts))
    for day, weather in blocks:
        told += ["", *_block(found, day, weather, system)]
    for part in (_chain(found), _missing(found, system)):
        told += ["", *part] if part else []
    return [line.rstrip() for line in told]


def _block(found: Found, day: str, weather: str, system: System) -> list[str]:
    keys = [key for key in found.cuts if key[:2] == (day, weather)]
    brief = len(found.names) > _MOST_WITH_RANGES
    width = 20 if brief else 23
    heads = "".join(f"{name:>{width}}" for name in found.names)
    levels = {found.cuts[key].level_m for key in keys}
    told = [
        f"{day} {weather}" + _from_where(found, levels, system),
        f"{'hour':6}{'spill':>7}{heads}{'spilled':>30}",
    ]
    for key in keys:
        typical = found.row(key, WHOLE, "typical")
        cells = "".join(
            f"{_margins(found, key, name, brief=brief):>{width}}" for name in found.names
        )
        spilled = " / ".join(
            show(found.row(key, WHOLE, pace).spilled_m3, "volume", system)
            if found.row(key, WHOLE, pace).spilled_m3 > NO_SPILL_M3
            else "0"
            for pace in ("low", "typical", "high")
        )
        told.append(
            f"{key[2]:02d}:00 {whole_minutes(typical.nobody_spill_s):>7}{cells}{spilled:>30}"
        )
    return told


def _from_where(found: Found, levels: set[float], system: System) -> str:
    if len(levels) != 1:
        return ", the water where the routine has it"
    return f", the water at {level_text(found.station, next(iter(levels)), system)}"


def _margins(found: Found, key: Key, source: str, *, brief: bool) -> str:
    rows = [found.row(key, source, pace) for pace in ("low", "typical", "high")]
    low, typical, high = (
        signed(row.margin_s) + ("*" if row.verdict == "not enough" else "") for row in rows
    )
    if brief or low == typical == high:
        return typical
    return f"{typical} ({low} to {high})"


def shown_hour(found: Found) -> Key:
    """Return the hour that is drawn and told step by step.

    Parameters
    ----------
    found
        The rows.
    """
    if found.asked.hour is None:
        return found.worst
    day, weather, _ = found.worst
    return day, weather, found.asked.hour


def _chain(found: Found) -> list[str]:
    """Return the chain of each source that people bring, at the hour that is shown."""
    key = shown_hour(found)
    steps = [row for row in found.steps if (row.day, row.weather, row.hour) == key]
    if not steps:
        return []
    told = [
        (
            f"Step by step, power lost {when(key, wet=found.hours.has_wet)}: how long each step"
            " takes, and the margin"
        ),
        "when this one step is fast, typical or slow and all others are typical.",
        f"{'':50}{'fast':>9}{'typical':>9}{'slow':>9}{'margin [min]':>26}",
    ]
    for source in dict.fromkeys(row.source for row in steps):
        told.append(source)
        for row in (one for one in steps if one.source == source):
            margins = " / ".join(
                signed(one) for one in (row.margin_low_s, row.margin_s, row.margin_high_s)
            )
            name = f"  {row.number}. {row.step}{f' ({row.who})' if row.who else ''}"
            told.append(
                f"{name:50}{short(row.low_s):>9}{short(row.typical_s):>9}{short(row.high_s):>9}"
                f"{margins:>26}"
            )
    return told


def _missing(found: Found, system: System) -> list[str]:
    key = shown_hour(found)
    rows = [row for row in found.left_out if (row.day, row.weather, row.hour) == key]
    if not rows:
        return []
    told = [
        (
            f"The whole plan at its typical pace with one thing missing, power lost"
            f" {when(key, wet=found.hours.has_wet)}:"
        ),
        f"{'':44}{'first water':>13}{'spilled':>12}{'more than as planned':>23}",
    ]
    for row in sorted(rows, key=lambda one: -one.spilled_m3):
        more = "as planned"
        if abs(row.more_m3) > NO_SPILL_M3:
            more = f"{'+' if row.more_m3 > 0 else '-'}{show(abs(row.more_m3), 'volume', system)}"
        flow = "never" if math.isinf(row.flow_s) else short(row.flow_s)
        lost = show(row.spilled_m3, "volume", system) if row.spilled_m3 > NO_SPILL_M3 else "none"
        told.append(f"  {row.left_out:42}{flow:>13}{lost:>12}{more:>23}")
    return told


# ---------------------------------------------------------------------------- sentences


def sentences(found: Found, system: System) -> list[str]:
    """Return what a person would say.

    Parameters
    ----------
    found
        The rows.
    system
        ``si`` or ``us``.
    """
    key = shown_hour(found)
    told = [_worst(found, key, system)]
    told += [_source(found, key, source, system) for source in found.names]
    told += [
        _whole(found),
        _best_hour(found, key),
        _dearest(found, key, system),
        _allowed(found, system),
    ]
    told.append(_taken_as_strong(found))
    return [one for one in told if one]


def _worst(found: Found, key: Key, system: System) -> str:
    row = next(h for h in found.hours.hours if (h.day, h.weather, h.hour) == key)
    level = level_text(found.station, row.start_level_m, system)
    if math.isinf(row.spill_s):
        return f"Power lost {when(key, wet=found.hours.has_wet)}: it does not spill by itself."
    alarm = ""
    if not math.isnan(row.alarm_s):
        alarm = f"the high-level alarm after {minutes(row.alarm_s)}, "
    return (
        f"Power lost {when(key, wet=found.hours.has_wet)}, the water at {level}: {alarm}the spill"
        f" after {minutes(row.spill_s)} if nobody does anything."
    )


def _source(found: Found, key: Key, source: str, system: System) -> str:
    """Return what one source alone comes to at an hour, typical, fastest and slowest."""
    rows = {pace: found.row(key, source, pace) for pace in ("low", "typical", "high")}
    typical = rows["typical"]
    name = told_of(source)
    if typical.verdict == "not needed":
        return ""
    if math.isinf(typical.flow_s):
        return f"{_upper(name)} alone never moves water within that time."
    told = f"{_upper(name)} alone moves the first water after {short(typical.flow_s)}"
    told += _outcome(typical, system)
    others = []
    for pace in ("low", "high"):
        row = rows[pace]
        if row.flow_s != typical.flow_s:
            others.append(f"{_PACE_WORDS[pace]} ({short(row.flow_s)}){_in_short(row, system)}")
    return f"{told}{'; ' if others else ''}{', '.join(others)}."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _outcome(row: SourceRow, system: System) -> str:
    spilled = show(row.spilled_m3, "volume", system)
    if row.verdict == "saves":
        return f" and wins by {minutes(row.margin_s)}"
    if row.verdict == "not enough":
        return f", in time by {minutes(row.margin_s)}, and is not enough: {spilled} spill"
    return f" and comes {minutes(-row.margin_s)} too late: {spilled} spill"


def _in_short(row: SourceRow, system: System) -> str:
    spilled = show(row.spilled_m3, "volume", system)
    if row.verdict == "saves":
        return " just avoids it" if row.margin_s < _CLOSE_S else f" wins by {minutes(row.margin_s)}"
    if row.verdict == "never":
        return f" does not come in that time, {spilled}"
    return f" spills {spilled}"


def _whole(found: Found) -> str:
    """Return at how many hours the whole plan keeps the water in, by pace."""
    told = []
    count = len(found.cuts)
    for pace in ("typical", "low", "high"):
        rows = [r for r in found.sources if r.source == WHOLE and r.pace == pace]
        dry = sum(row.spilled_m3 <= NO_SPILL_M3 for row in rows)
        word = {"typical": "At its typical pace", "low": "at the fastest", "high": "at the slowest"}
        told.append(f"{word[pace]} {dry}")
    return (
        f"{told[0]} of {count} hours pass without a spill under the whole plan; {told[1]},"
        f" {told[2]}."
    )


def _best_hour(found: Found, key: Key) -> str:
    """Return the hour at which the same crew does best, when it is too late at the hour shown."""
    if found.row(key, WHOLE, "typical").spilled_m3 <= NO_SPILL_M3:
        return ""
    for source in found.names:
        row = found.row(key, source, "typical")
        if source not in TASK_OF or row.verdict != "too late":
            continue
        saved = [
            one
            for one in found.sources
            if (one.source, one.pace, one.verdict) == (source, "typical", "saves")
            and (one.day, one.weather) == key[:2]
            and math.isfinite(one.margin_s)
        ]
        if saved:
            best = max(saved, key=lambda one: one.margin_s)
            hour = when((best.day, best.weather, best.hour), wet=found.hours.has_wet)
            return (
                f"The same response at {hour} wins by {minutes(best.margin_s)}: it is the hour that"
                " decides."
            )
    return ""


def _dearest(found: Found, key: Key, system: System) -> str:
    rows = [row for row in found.left_out if (row.day, row.weather, row.hour) == key]
    dear = sorted((r for r in rows if r.more_m3 > NO_SPILL_M3), key=lambda row: -row.more_m3)
    if not dear:
        return ""
    told = [f"{row.left_out} (+{show(row.more_m3, 'volume', system)})" for row in dear[:3]]
    return f"What would cost most at that hour: {listed(told)}."


def _allowed(found: Found, system: System) -> str:
    """Return how the response compares with the time that a rule allows from the alarm on."""
    rows = [row for row in found.allowed if row.pace == "typical"]
    if not rows:
        return ""
    worst = min(rows, key=lambda row: row.allowed_s)
    longest_s = max(row.response_s for row in rows)
    missed = sum(not row.in_time for row in rows)
    key = (worst.day, worst.weather, worst.hour)
    if longest_s > worst.allowed_s:
        verdict = "is longer"
    elif worst.in_time:
        verdict = "is shorter"
    else:
        lost = show(worst.spilled_m3, "volume", system)
        verdict = f"is shorter, but what comes then is not enough: {lost} spill"
    return (
        "Counted from the alarm level at the hour, as one state's rule does (9VAC25-790-390), the"
        f" worst allowable time is {minutes(worst.allowed_s)}"
        f" ({when(key, wet=found.hours.has_wet)}); the typical response, at most"
        f" {short(longest_s)}, {verdict}. By 24 values a day it does not do at {missed} of"
        f" {len(rows)} hours. Local rules decide."
    )


def _taken_as_strong(found: Found) -> str:
    """Return that a set has no limit given, so that nothing is known of what it can start."""
    power = found.station.standby_power
    sets = {} if power is None else {GENERATOR: power.generator, MOBILE: power.mobile}
    named = [
        f"the {name}"
        for name, what in sets.items()
        if name in found.names
        and what is not None
        and math.isinf(min(what.start_va, what.rated_va))
    ]
    if not named:
        return ""
    verb = "is" if len(named) == 1 else "are"
    return (
        f"No limit in kVA is given for {listed(named)}: {'it' if verb == 'is' else 'they'} {verb}"
        " taken as strong enough for what the panel starts."
    )


CAUTIONS = (
    *SHEET_CAUTIONS,
    "A typical duration is no promise: drill the plan, and put in the times that you measured.",
)
"""One line each: screen, page and folder show them."""

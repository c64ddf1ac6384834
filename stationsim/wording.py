"""What a person would say about a run: three to six plain sentences, in either unit system.

Each sentence takes its numbers from the tables, so it can't say what they don't. The order is that
in which somebody asks: did it spill; was there trouble; how was the work shared; how near was it.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, cast

import numpy as np

from stationsim.metrics import worst_in_window
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from stationsim.results import Result
    from stationsim.units import System

_MOST_SENTENCES = 6
_MOST_NAMED = 3
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def sentences(result: Result, system: str = "si") -> list[str]:
    """Return what a person would say about the run.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    """
    units = cast("System", system)
    found = [
        _of_spills(result, units),
        _of_outages(result, units),
        _of_trouble(result),
        _of_work(result),
        _of_level(result, units),
        _of_time_to_spill(result, units),
    ]
    told = [sentence for sentence in found if sentence]
    if len(told) < _MOST_SENTENCES:
        told.append(_of_water(result, units))
    return told[:_MOST_SENTENCES]


def moment(result: Result, t_s: float) -> str:
    """Return a moment as people say it: weekday and clock, with the date in a long run.

    Parameters
    ----------
    result
        The run.
    t_s
        Seconds since the start of the episode [s].
    """
    when = result.episode.moment(t_s) + timedelta(seconds=30.0)
    date = f" {date_of(when)}" if result.trace.end_s > 7 * 86400.0 else ""
    return f"{day_of(when)}{date} {when:%H:%M}"


def day_of(when: datetime) -> str:
    """Return the day of the week in three letters, whatever the computer's language.

    Parameters
    ----------
    when
        A moment.
    """
    return _DAYS[when.weekday()]


def date_of(when: datetime) -> str:
    """Return day and month: ``3 Mar``.

    Parameters
    ----------
    when
        A moment.
    """
    return f"{when.day} {month_of(when)}"


def month_of(when: datetime) -> str:
    """Return the month in three letters, whatever the computer's language.

    Parameters
    ----------
    when
        A moment.
    """
    return _MONTHS[when.month - 1]


def listed(words: Sequence[str]) -> str:
    """Return words joined as in a sentence: ``P1, P2 and P3``.

    Parameters
    ----------
    words
        At least one.
    """
    if len(words) == 1:
        return words[0]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def times(count: int) -> str:
    """Return how often, in words for small numbers.

    Parameters
    ----------
    count
        How often.
    """
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _of_spills(result: Result, units: System) -> str:
    spills = result.spills
    if result.station.spillway is None:
        return "No point of spill was given, so the level could rise without limit."
    if spills.empty:
        return "It did not spill."
    volume = show(float(spills["volume_m3"].sum()), "volume", units)
    if len(spills) == 1:
        only = spills.iloc[0]
        span = f"from {moment(result, only['start_s'])} to {moment(result, only['stop_s'])}"
        lasted = show(only["duration_s"], "duration", units)
        return f"It spilled {volume} {span} ({lasted}; method: {_method(spills, units, result)})."
    hours = show(float(spills["duration_s"].sum()), "duration", units)
    worst = spills.iloc[int(np.argmax(spills["volume_m3"].to_numpy()))]
    most = show(worst["volume_m3"], "volume", units)
    first, last = spills["start_s"].iloc[0], spills["stop_s"].iloc[-1]
    return (
        f"It spilled {times(len(spills))}, {volume} in {hours} in all between"
        f" {moment(result, first)} and {moment(result, last)}, the most {most} from"
        f" {moment(result, worst['start_s'])} to {moment(result, worst['stop_s'])}"
        f" (method: {_method(spills, units, result)})."
    )


def _method(spills: pd.DataFrame, units: System, result: Result) -> str:
    spillway = result.station.spillway
    if spillway is not None and spillway.length_m is not None:
        return f"weir, {show(spillway.length_m, 'length', units)} long"
    return str(spills["method"].iloc[0])


def _of_outages(result: Result, units: System) -> str:
    power = result.power
    out = power.loc[(power["source"] == "grid") & (power["state"] == "out")]
    if out.empty:
        return ""
    lasted = show(float((out["stop_s"] - out["start_s"]).sum()), "duration", units)
    begins = moment(result, out["start_s"].iloc[0])
    head = (
        f"The grid was out for {lasted} from {begins}"
        if len(out) == 1
        else f"The grid was out {times(len(out))}, for {lasted} in all, first from {begins}"
    )
    engine = result.station.engine_pump
    if engine is None:
        return f"{head}, and no pump could run meanwhile."
    name = engine.pump.name
    runs = result.pump_runs.loc[result.pump_runs["pump"] == name]
    if runs.empty:
        return f"{head}; the engine-driven pump {name} did not run."
    hours = float(runs["duration_s"].sum())
    fuel = result.value("fuel burnt", name)
    burnt = f" and burnt {show(fuel, 'fuel', units)} of fuel" if fuel > 0.0 else ""
    ran = f"{head}; the engine-driven pump {name} ran for {show(hours, 'duration', units)}{burnt}"
    peak = _peak_during(result, out)
    return f"{ran}, and the level rose to {show(peak, 'level', units)} meanwhile."


def _peak_during(result: Result, spans: pd.DataFrame) -> float:
    water = result.water
    inside = np.zeros(len(water.t_s), dtype=bool)
    for start, stop in zip(spans["start_s"], spans["stop_s"], strict=True):
        inside |= (water.t_s >= start) & (water.t_s <= stop)
    return float(np.max(water.level_m[inside]))


def _of_trouble(result: Result) -> str:
    events = result.events
    told = []
    for word, said in (
        ("trip", "tripped"),
        ("seal leak", "showed a seal leak"),
        ("out of service", "was taken out of service"),
        ("engine failed", "failed to start or to run on"),
        ("out of fuel", "ran out of fuel"),
    ):
        rows = events.loc[events["event"] == word]
        for subject in rows["subject"].unique()[:_MOST_NAMED]:
            own = rows.loc[rows["subject"] == subject]
            first = moment(result, own["t_s"].iloc[0])
            when = f"at {first}" if len(own) == 1 else f"{times(len(own))}, first at {first}"
            cause = str(own["cause"].iloc[0])
            why = f" ({cause})" if word == "trip" and cause else ""
            told.append(f"{subject} {said} {when}{why}")
    return f"{listed(told)}." if told else ""


def _of_work(result: Result) -> str:
    totals = result.pump_totals
    electric = {pump.name for pump in result.station.pumps}
    own = totals.loc[totals["pump"].isin(electric)]
    ran, idle = own.loc[own["starts"] > 0], own.loc[own["starts"] == 0]
    if ran.empty:
        return "No electric pump ran."
    hours = [_hours(h) for h in ran["hours_h"]]
    starts = [f"{n:,}" for n in ran["starts"]]
    one = len(ran) == 1
    only = "1 start" if one and ran["starts"].iloc[0] == 1 else f"{listed(starts)} starts"
    rest = f"; {listed(list(idle['pump']))} did not run" if len(idle) else ""
    worst = max(
        worst_in_window(np.sort(g["start_s"].to_numpy()))
        for name, g in result.pump_runs.groupby("pump")
        if name in electric
    )
    most = f", at most {worst} in any hour" + ("" if one else " for one pump")
    verb = "ran for" if one else "shared the work:"
    return f"{listed(list(ran['pump']))} {verb} {listed(hours)} h, {only}{most}{rest}."


def _hours(hours: float) -> str:
    return f"{hours:,.0f}" if hours >= 1000.0 else f"{hours:.1f}" if hours >= 1 else f"{hours:.2f}"


def _of_level(result: Result, units: System) -> str:
    peak = result.trace.greatest_level_m
    when = moment(result, result.trace.greatest_level_s)
    said = f"The level was highest at {when}, at {show(peak, 'level', units)}"
    spillway = result.station.spillway
    if spillway is not None:
        below = spillway.crest_m - peak
        if below > 0.0:
            said += f", {show(below, 'level', units)} below the spill"
        else:
            said += (
                f", {show(-below, 'level', units)} over the edge"
                if below < -0.005
                else (", at the edge of the spill")
            )
    alarm = result.station.alarms.high_level_m
    if alarm is not None:
        hours = result.value("hours above high-level alarm")
        if hours > 0.0:
            lasted = show(hours * 3600.0, "duration", units)
            said += f"; it stood at or above the high-level alarm for {lasted} in all"
        else:
            said += "; it never reached the high-level alarm"
    return said + "."


def _of_time_to_spill(result: Result, units: System) -> str:
    if result.station.spillway is None or not result.spills.empty:
        return ""
    least = result.value("least time to spill")
    if not np.isfinite(least):
        return "Had all pumping stopped at any moment, the inflow would not have brought a spill."
    when = moment(result, result.value("time of least time to spill"))
    return (
        f"If all pumping had stopped at the worst moment ({when}), it would have spilled after"
        f" {show(least, 'duration', units)}."
    )


def _of_water(result: Result, units: System) -> str:
    trace = result.trace
    came, went = (show(x, "volume", units) for x in (trace.inflow_m3, trace.pumped_m3))
    said = f"In all {came} arrived and {went} was pumped"
    energy = result.value("energy")
    if energy > 0.0:
        each = result.value("energy per volume")
        said += f" with {energy:,.0f} kWh" if energy >= 10.0 else f" with {energy:.2g} kWh"
        if units == "us":
            per_thousand_gallons = each * 3.785411784
            said += f" ({per_thousand_gallons:.2f} kWh per 1,000 gal)"
        else:
            said += f" ({each:.3f} kWh/m3)"
    return said + "."

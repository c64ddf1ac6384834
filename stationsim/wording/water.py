"""Sentences about the water: did it spill and why, how high it stood, how near it was, totals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.units import show
from stationsim.wording.spill_causes import alarm_of_spills, cause_of_spill
from stationsim.wording.words import at_end, level_text, listed, moment, times, until

if TYPE_CHECKING:
    import pandas as pd

    from stationsim.results import Result
    from stationsim.units import System

_MOST_CAUSES = 50
_LEAST_TOLD_M3 = 1e-3
_WORTH_TELLING_M3 = 0.005


def of_spills(result: Result, units: System) -> str:
    """Return whether it spilled: how much, when, by which method, and why when that is evident.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    spills = result.spills
    if result.station.spillway is None:
        rises = "No point of spill was given, so the level could rise without limit"
        return f"{rises}{_lost(result, units, '; ')}."
    if spills.empty:
        return f"It did not spill{_lost(result, units, ', but ')}."
    volume = _spilled(float(spills["volume_m3"].sum()), units)
    method = _method(spills, units, result)
    last = float(spills["stop_s"].iloc[-1])
    still = ", and was still spilling at the end" if at_end(result, last) else ""
    if len(spills) == 1:
        only = spills.iloc[0]
        span = f"from {moment(result, only['start_s'])} {until(result, last)}"
        lasted = show(only["duration_s"], "duration", units)
        why = _comma(cause_of_spill(result, float(only["start_s"])))
        alarm = alarm_of_spills(result)
        more = alarm + _lost(result, units, "; ")
        return f"It spilled {volume} {span} ({lasted}; method: {method}){why}{still}{more}."
    hours = show(float(spills["duration_s"].sum()), "duration", units)
    worst = spills.iloc[int(np.argmax(spills["volume_m3"].to_numpy()))]
    most = show(worst["volume_m3"], "volume", units)
    causes = {cause_of_spill(result, float(t)) for t in spills["start_s"].iloc[:_MOST_CAUSES]}
    each = len(causes) == 1 and len(spills) <= _MOST_CAUSES and causes != {""}
    why = "" if each else _comma(cause_of_spill(result, float(worst["start_s"])))
    always = f", each time {causes.pop()}" if each else ""
    if why and len(causes) > 1:
        still += "; not all of them began for that reason"
    more = alarm_of_spills(result) + _lost(result, units, "; ")
    return (
        f"It spilled {times(len(spills))}, {volume} in {hours} in all between"
        f" {moment(result, spills['start_s'].iloc[0])} and"
        f" {'the end' if at_end(result, last) else moment(result, last)}, the most {most} from"
        f" {moment(result, worst['start_s'])} {until(result, worst['stop_s'])}{why}"
        f" (method: {method}){always}{still}{more}."
    )


def _spilled(volume_m3: float, units: System) -> str:
    """Return a volume that was lost; one of less than a litre is not told to the drop."""
    if volume_m3 < _LEAST_TOLD_M3:
        return "less than 1 L" if units == "si" else "less than 0.3 gal"
    return show(volume_m3, "volume", units)


def _lost(result: Result, units: System, joined: str) -> str:
    """Return what left the force main on the way, joined to what was said before; or nothing."""
    lost = result.value("volume lost from the main")
    if not lost >= _WORTH_TELLING_M3:
        return ""
    return f"{joined}{show(lost, 'volume', units)} left the force main on the way"


def of_level(result: Result, units: System) -> str:
    """Return how high the water stood, how far from the spill, how long above the alarm.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    station = result.station
    peak = result.trace.greatest_level_m
    when = moment(result, result.trace.greatest_level_s)
    said = f"The level was highest at {when}, at {level_text(station, peak, units)}"
    if station.spillway is not None:
        below = station.spillway.crest_m - peak
        if below > 0.0:
            said += f", {show(below, 'level', units)} below the spill"
        elif below < -0.005:
            said += f", {show(-below, 'level', units)} over the edge"
        else:
            said += ", at the edge of the spill"
    if station.alarms.high_level_m is not None:
        hours = result.value("hours above high-level alarm")
        if hours > 0.0:
            lasted = show(hours * 3600.0, "duration", units)
            said += f"; it stood at or above the high-level alarm for {lasted} in all"
        else:
            said += "; it never reached the high-level alarm"
    return said + "."


def of_time_to_spill(result: Result, units: System) -> str:
    """Return how soon it would have spilled at the worst moment; nothing when it did spill.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
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


def of_water(result: Result, units: System) -> str:
    """Return what arrived and where it went.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    trace = result.trace
    came, went = (show(x, "volume", units) for x in (trace.inflow_m3, trace.pumped_m3))
    said = [f"{came} arrived", f"{went} was pumped"]
    if trace.hauled_m3 > 0.0:
        said.append(f"{show(trace.hauled_m3, 'volume', units)} hauled away")
    if trace.spilled_m3 > 0.0:
        said.append(f"{show(trace.spilled_m3, 'volume', units)} spilled")
    return f"In all {listed(said)}."


def _method(spills: pd.DataFrame, units: System, result: Result) -> str:
    spillway = result.station.spillway
    if spillway is not None and spillway.length_m is not None:
        return f"weir, {show(spillway.length_m, 'length', units)} long"
    return str(spills["method"].iloc[0])


def _comma(clause: str) -> str:
    return f", {clause}" if clause else ""

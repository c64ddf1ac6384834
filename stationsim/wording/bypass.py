"""What is said of a bypass pump: that it was connected, how long it ran, what it pumped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.metrics import fuel_m3
from stationsim.units import show
from stationsim.wording.spells import Happened
from stationsim.wording.words import moment, times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.results import Result
    from stationsim.units import System

_CONNECTED, _DISCONNECTED = "bypass pump connected", "bypass pump disconnected"


def of_bypass(result: Result, units: System) -> str:
    """Return what became of a bypass pump that was brought; nothing when none was.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    bypass = result.station.bypass_pump
    if bypass is None:
        return ""
    name = bypass.pump.name
    happened = Happened(result, units)
    came = happened.of(_CONNECTED, subject=name)
    spells = happened.spells(came, happened.of(_DISCONNECTED, subject=name), lambda _r, _e: True)
    if not spells:
        return ""
    said = f"The bypass pump {name} was connected {happened.often(came)}"
    if happened.ends(spells[-1]):
        said += " and was still there at the end"
    else:
        at_last = "" if len(spells) == 1 else " for the last time"
        said += f" and taken off{at_last} at {moment(result, spells[-1].stop_s)}"
    own = result.pump_runs.loc[result.pump_runs["pump"] == name]
    if own.empty:
        peak_m = max(result.course.greatest_level_m(one.start_s, one.stop_s) for one in spells)
        low = " (the level stayed below its start level)" if peak_m < bypass.start_level_m else ""
        return f"{said}; it did not run{low}."
    ran_s, pumped_m3 = float(own["duration_s"].sum()), float(own["volume_m3"].sum())
    filled_m3 = result.trace.filled_m3.get(name, 0.0)
    fuel = fuel_m3(result.station, name, ran_s / 3600.0, filled_m3)
    ran = f"it ran for {show(ran_s, 'duration', units)}"
    if len(own) > 1:
        ran = f"it ran {times(len(own))}, for {show(ran_s, 'duration', units)} in all"
    pumped = f"pumped {show(pumped_m3, 'volume', units)}"
    if fuel > 0.0:
        return f"{said}; {ran}, {pumped} and burnt {show(fuel, 'fuel', units)} of fuel."
    return f"{said}; {ran} and {pumped}."


def by_bypass(result: Result, spans_s: Sequence[tuple[float, float]], units: System) -> list[str]:
    """Return that a bypass pump ran in some spans of time, as a clause; nothing when it did not.

    Parameters
    ----------
    result
        The run.
    spans_s
        From and to of each [s]; none overlaps another.
    units
        ``si`` or ``us``.
    """
    bypass = result.station.bypass_pump
    if bypass is None:
        return []
    name, runs = bypass.pump.name, result.pump_runs
    own = runs.loc[runs["pump"] == name]
    ran_s = sum(
        max(0.0, min(stop_s, to_s) - max(start_s, from_s))
        for start_s, stop_s in zip(own["start_s"], own["stop_s"], strict=True)
        for from_s, to_s in spans_s
    )
    if ran_s <= 0.0:
        return []
    return [f"the bypass pump {name} ran for {show(ran_s, 'duration', units)}"]

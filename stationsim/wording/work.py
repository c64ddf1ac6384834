"""The sentence about the work: who ran, how often, with how much energy, and who alternated."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.metrics import worst_in_window
from stationsim.units import show
from stationsim.wording.words import listed, moment

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from stationsim.results import Result
    from stationsim.units import System

_LONG_RUN_S = 2.0 * 3600.0
_FEWEST_STARTS = 6
_NEARLY_ALL = 0.8
_EVENLY = 0.5
_M3_PER_THOUSAND_GAL = 3.785411784


def of_work(result: Result, units: System) -> str:
    """Return how the electric pumps shared the work, and what it took.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    totals, runs = result.pump_totals, result.pump_runs
    electric = [pump.name for pump in result.station.pumps]
    own = totals.loc[totals["pump"].isin(electric)]
    ran, idle = own.loc[own["starts"] > 0], own.loc[own["starts"] == 0]
    if ran.empty:
        return "No electric pump ran."
    hours = [_hours(h) for h in ran["hours_h"]]
    starts = [f"{n:,}" for n in ran["starts"]]
    one = len(ran) == 1
    only = "1 start" if one and ran["starts"].iloc[0] == 1 else f"{listed(starts)} starts"
    worst = max(
        worst_in_window(np.sort(part["start_s"].to_numpy()))
        for name, part in runs.groupby("pump")
        if name in electric
    )
    most = f", at most {worst} in any hour" + ("" if one else " for one pump")
    alone = no_alternation(result)
    even = ran["hours_h"].min() >= _EVENLY * ran["hours_h"].max()
    verb = "shared the work:" if even and not one and not alone else "ran for"
    rest = f"; {listed(list(idle['pump']))} did not run" if len(idle) else ""
    return (
        f"{listed(list(ran['pump']))} {verb} {listed(hours)} h, {only}{most}"
        f"{_energy(result, units)}{alone}{rest}."
    )


def no_alternation(result: Result) -> str:
    """Return a clause when one pump ran on for hours while another took nearly all the starts.

    Parameters
    ----------
    result
        The run.

    Notes
    -----
    A rotation moves on when all pumps have stopped. While the lead never stops (in a storm, or
    with staged stops), it stands still, and one pump takes every start. Told of the one run of two
    hours or more in which another pump took the most starts, when these are six or more and four
    fifths of all.
    """
    runs = result.pump_runs
    electric = [pump.name for pump in result.station.pumps]
    own = runs.loc[runs["pump"].isin(electric) & (runs["role"] != "hand")]
    long = own.loc[own["duration_s"] >= _LONG_RUN_S]
    if long.empty or len(electric) < 2:
        return ""
    begin, end = long["start_s"].to_numpy(), long["stop_s"].to_numpy()
    counts = np.array([_starts_between(own, name, begin, end) for name in electric])
    itself = np.array([[pump == name for pump in long["pump"]] for name in electric])
    counts[itself] = 0
    most, every = counts.max(axis=0), counts.sum(axis=0)
    clear = (most >= _FEWEST_STARTS) & (most >= _NEARLY_ALL * every)
    if not np.any(clear):
        return ""
    which = int(np.argmax(np.where(clear, most, 0)))
    run = long.iloc[which]
    other = electric[int(np.argmax(counts[:, which]))]
    taken = "all" if most[which] == every[which] else f"{most[which]} of the"
    lasted = show(run["duration_s"], "duration", "si")
    return (
        f"; they did not alternate while {run['pump']} ran on for {lasted} from"
        f" {moment(result, run['start_s'])} and {other} took {taken} {every[which]} starts"
    )


def _starts_between(
    runs: pd.DataFrame, name: str, begin_s: NDArray[np.float64], end_s: NDArray[np.float64]
) -> NDArray[np.int64]:
    starts = np.sort(runs.loc[runs["pump"] == name, "start_s"].to_numpy())
    found: NDArray[np.int64] = np.searchsorted(starts, end_s, side="left") - np.searchsorted(
        starts, begin_s, side="right"
    )
    return found


def _energy(result: Result, units: System) -> str:
    energy = result.value("energy")
    if not energy > 0.0:
        return ""
    each = result.value("energy per volume")
    drawn = f", {energy:,.0f} kWh" if energy >= 10.0 else f", {energy:.2g} kWh"
    if not np.isfinite(each):
        return drawn
    if units == "us":
        return f"{drawn} ({each * _M3_PER_THOUSAND_GAL:.2f} kWh per 1,000 gal)"
    return f"{drawn} ({each:.3f} kWh/m3)"


def _hours(hours: float) -> str:
    return f"{hours:,.0f}" if hours >= 1000.0 else f"{hours:.1f}" if hours >= 1 else f"{hours:.2f}"

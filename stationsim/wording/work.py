"""Sentences about the work: who ran, how often, with how much energy; where alternation stopped."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.metrics import worst_in_window
from stationsim.units import show
from stationsim.wording.words import at_end, listed, moment, times, until

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.units import System

_LONG_RUN_S = 2.0 * 3600.0
_FEWEST_STARTS = 6
_ORDINARY_S = 3600.0
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
    alone = bool(spans_without_swap(result))
    even = ran["hours_h"].min() >= _EVENLY * ran["hours_h"].max()
    verb = "shared the work:" if even and not one and not alone else "ran for"
    rest = f"; {listed(list(idle['pump']))} did not run" if len(idle) else ""
    return (
        f"{listed(list(ran['pump']))} {verb} {listed(hours)} h, {only}{most}"
        f"{_energy(result, units)}{rest}."
    )


class NoSwap(NamedTuple):
    """A time in which the lead never stopped, so that no swap could come, while lags came and went.

    Parameters
    ----------
    lead
        Who led on.
    start_s, stop_s
        The run of the lead [s].
    lag_starts
        Starts of each other pump within it, the most first.
    """

    lead: str
    start_s: float
    stop_s: float
    lag_starts: dict[str, int]


def spans_without_swap(result: Result) -> list[NoSwap]:
    """Return the times in which alternation stopped.

    Parameters
    ----------
    result
        The run.

    Notes
    -----
    A rotation moves the lead on when all pumps have stopped. While the lead never comes down to its
    stop level (with staged stop in a storm) no swap can come: the lead runs on, and a lag takes all
    the starts. On a dry day nobody sees it.

    Counted is a run as lead of two hours or more in which one other pump made six starts or more,
    and at least one for each hour of the run: with fewer, the lag starts no more often than a pump
    that alternates on an ordinary day. Not counted are a run that ended in a swap, one no longer
    than the panel allows, and one in which a rotation by the clock had no set time; and nothing
    where the order is fixed. The thresholds are our own judgement.
    """
    station, runs = result.station, result.pump_runs
    electric = [pump.name for pump in station.pumps]
    if len(electric) < 2 or station.control.rotation == "fixed":
        return []
    own = runs.loc[runs["pump"].isin(electric) & (runs["role"] != "hand")]
    leads = own.loc[(own["role"] == "lead") & (own["duration_s"] >= _LONG_RUN_S)]
    starts = {name: np.sort(own.loc[own["pump"] == name, "start_s"]) for name in electric}
    found = []
    most_s = getattr(station.control.settings, "max_run_s", None) or 0.0
    columns = (leads[name] for name in ("pump", "start_s", "stop_s", "stopped_by"))
    for lead, start_s, stop_s, stopped_by in zip(*columns, strict=True):
        if stopped_by == "maximum run time" or stop_s - start_s <= most_s:
            continue
        if not _swap_was_due(result, start_s, stop_s):
            continue
        counts = {
            name: int(np.searchsorted(at, stop_s) - np.searchsorted(at, start_s, side="right"))
            for name, at in starts.items()
            if name != lead
        }
        most = max(counts.values())
        if most >= max(_FEWEST_STARTS, (stop_s - start_s) / _ORDINARY_S):
            some = sorted((-n, name) for name, n in counts.items() if n)
            found.append(NoSwap(lead, start_s, stop_s, {name: -n for n, name in some}))
    return found


def _swap_was_due(result: Result, start_s: float, stop_s: float) -> bool:
    """Return whether a rotation by the clock had a set time within a run; others always have."""
    control = result.station.control
    if control.rotation != "clock":
        return True
    settings, offset_s = control.rotation_settings, result.episode.clock_offset_s
    gone = [(t + offset_s - settings.at_s) // settings.every_s for t in (start_s, stop_s)]
    return bool(gone[1] > gone[0])


def of_alternation(result: Result, units: System) -> str:
    """Return where alternation stopped, for how long, and what might cure it; else nothing.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    spans = spans_without_swap(result)
    if not spans:
        return ""
    longest = max(spans, key=lambda span: span.stop_s - span.start_s)
    lasted = show(longest.stop_s - longest.start_s, "duration", units)
    ends = until(result, longest.stop_s)
    before = "" if at_end(result, longest.stop_s) else " before then"
    lags = longest.lag_starts
    counts = listed([f"{n:,}" for n in lags.values()])
    head = f"Alternation stopped from {moment(result, longest.start_s)} {ends} ({lasted})"
    if len(spans) > 1:
        in_all = show(sum(span.stop_s - span.start_s for span in spans), "duration", units)
        head = (
            f"Alternation stopped {times(len(spans))}, for {in_all} in all, the longest from"
            f" {moment(result, longest.start_s)} {ends} ({lasted})"
        )
    return (
        f"{head}: {longest.lead} led on, for the water did not come down to its stop level{before},"
        f" and no swap is made before that; meanwhile {listed(list(lags))} made {counts} starts."
        f" {_cure(result.station)}."
    )


def _cure(station: Station) -> str:
    """Return what would let the others lead: a hint, and no order."""
    settings = station.control.settings
    policy = getattr(settings, "stop_policy", "")
    ways = []
    if getattr(settings, "max_run_s", None) is not None:
        ways.append("a shorter longest run (control.max_run)")
    elif hasattr(settings, "max_run_s"):
        ways.append("a longest run with a forced swap (control.max_run)")
    if policy == "last on, first off":
        ways.append('the stop policy "all together"')
        ways.append('"first on, first off"')
    if not ways:
        return "What would let the others lead is a matter of its controller"
    either = ways[0] if len(ways) == 1 else f"{', '.join(ways[:-1])} or {ways[-1]}"
    return f"Worth a try: {either}; each has its price"


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

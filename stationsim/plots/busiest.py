"""The day of a long run with the most happening: it is drawn in detail below the overview."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.equipment.faults import BY_KIND
from stationsim.plots import style
from stationsim.wording import date_of, day_of, listed
from stationsim.wording.sayings import STANDING, begins

if TYPE_CHECKING:
    from stationsim.plots.style import Floats
    from stationsim.results import Result


def busiest_day(result: Result) -> tuple[float, float, str]:
    """Return from when to when [s] the day with the most happening lasts, and what happened.

    Parameters
    ----------
    result
        The run.

    Notes
    -----
    Days run from midnight to midnight. First comes the day that spilled most, then the one with
    the most alarms, losses of the grid, trips and the like, then the one with the highest level.
    """
    end_s = result.trace.end_s
    offset = result.episode.clock_offset_s % style.DAY_S
    edges = np.arange(-offset, end_s - 1.0, style.DAY_S)
    edges = np.append(edges, edges[-1] + style.DAY_S)
    count = len(edges) - 1
    spilled, alarms, events, tops = (np.zeros(count) for _ in range(4))
    spills = result.spills
    for at_s, volume in zip(spills["start_s"], spills["volume_m3"], strict=True):
        spilled[_day(edges, at_s)] += volume
    for at_s in result.alarms["raised_s"]:
        alarms[_day(edges, at_s)] += 1
    table = result.events
    unusual = table.loc[table["event"].isin(UNUSUAL)]
    for at_s in unusual["t_s"]:
        events[_day(edges, at_s)] += 1
    times, volumes = result.course.knots
    days = np.clip(np.searchsorted(edges, times, "right") - 1, 0, count - 1)
    np.maximum.at(tops, days, volumes)
    ranks = [(spilled[i], alarms[i] + events[i], tops[i], -i) for i in range(count)]
    day = max(range(count), key=lambda i: ranks[i])
    here = unusual.loc[(unusual["t_s"] >= edges[day]) & (unusual["t_s"] < edges[day + 1])]
    what = [
        _short_text(result, subject, event)
        for subject, event in zip(here["subject"], here["event"], strict=True)
    ]
    what = list(dict.fromkeys(what))[:4]
    if alarms[day]:
        what.append("1 alarm" if alarms[day] == 1 else f"{int(alarms[day])} alarms")
    why = listed(what) if what else "the highest level"
    when = result.episode.moment(max(float(edges[day]), 0.0))
    low, high = max(float(edges[day]), 0.0), min(float(edges[day + 1]), end_s)
    return low, high, f"{day_of(when)} {date_of(when)}, the busiest day: {why}"


UNUSUAL = frozenset(
    {
        "spill begins", "grid lost", "grid sag", "phase lost", "trip", "seal leak", "does not move",
        "out of service", "out of fuel", "in hand", "off", "bypass pump connected",
        *(word for kind in STANDING if kind != "wearing" for word in begins(kind)),
    }
)  # fmt: skip
"""Events that make a day worth a closer look."""


def _short_text(result: Result, subject: str, event: str) -> str:
    """Return an unusual event in few words, with its subject where that says more."""
    if event == "spill begins":
        return "a spill"
    if event in BY_KIND and "{" in BY_KIND[event].phrase:
        return BY_KIND[event].phrase.format(float=subject, alarm=subject)
    named = subject in result.station.machine_names() or event == "does not move"
    named = named and not event.startswith("bypass pump")
    return f"{subject} {event}" if named else event


def _day(edges: Floats, at_s: float) -> int:
    return min(max(int(np.searchsorted(edges, at_s, "right")) - 1, 0), len(edges) - 2)

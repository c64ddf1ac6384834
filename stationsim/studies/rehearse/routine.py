"""Where the routine has the water at an hour: least, mean and greatest level of an ordinary day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from stationsim.episode import Episode
from stationsim.inflow.segments import DAY_S, Segments
from stationsim.simulation.session import simulate

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.station import Station
    from stationsim.studies.rehearse.days import DayFlows

ROUTINE = ("least", "mean", "greatest")
"""Words for where the routine has the water."""

_HALF_S, _STEP_S = 1800.0, 60.0


@dataclass(frozen=True)
class _Given:
    """An inflow that is known in pieces already."""

    pieces: Segments

    def segments(self, start: datetime, duration_s: float) -> Segments:  # noqa: ARG002
        return self.pieces


def routine_levels(station: Station, day: DayFlows, which: str) -> list[float]:
    """Return the least, mean or greatest level around each hour of a dry day [m above floor].

    The station runs as it is set, without trouble, on the dry inflow of the day, after one such day
    to settle; the level is looked at each minute from half an hour before the hour to half an hour
    after it.

    Parameters
    ----------
    station
        What stands there.
    day
        What arrives.
    which
        ``least``, ``mean`` or ``greatest``.
    """
    once = day.dry.between(0.0, DAY_S)
    after = day.dry.between(0.0, DAY_S + 2.0 * _HALF_S)
    pieces = Segments(
        np.append(once.start_s, after.start_s + DAY_S),
        np.append(once.flow_m3s, after.flow_m3s),
        np.append(once.slope_m3s2, after.slope_m3s2),
    )
    episode = Episode(
        start=day.midnight - timedelta(days=1),
        duration_s=2.0 * DAY_S + _HALF_S,
        inflow=(_Given(pieces),),
        start_level_m=0.5 * station.well.levels_m[-1]
        if station.spillway is None
        else 0.25 * station.spillway.crest_m,
    )
    result = simulate(station, episode)
    around = np.arange(-_HALF_S, _HALF_S + _STEP_S / 2.0, _STEP_S)
    times = DAY_S + np.arange(24)[:, None] * 3600.0 + around
    flat = np.unique(times)  # half past is the end of one hour's look and the start of the next
    rows = result.level_at(flat)[np.searchsorted(flat, times)]
    if which == "mean":
        return [float(value) for value in rows.mean(axis=1)]
    found = rows.min(axis=1) if which == "least" else rows.max(axis=1)
    return [float(value) for value in found]

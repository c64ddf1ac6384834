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
    to settle; what counts is the half hour before the hour and the half hour after it (the mean is
    taken from looks a minute apart, the extremes are exact).

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
    course = simulate(station, episode).course
    spans = [
        (DAY_S + hour * 3600.0 - _HALF_S, DAY_S + hour * 3600.0 + _HALF_S) for hour in range(24)
    ]
    if which == "mean":
        looks = np.arange(0.0, 2.0 * _HALF_S + _STEP_S / 2.0, _STEP_S)
        return [float(course.level_at(begin + looks).mean()) for begin, _ in spans]
    knots, volumes = course.knots
    found = []
    for begin, end in spans:
        inside = volumes[(knots >= begin) & (knots <= end)]
        ends = course.sampled(np.array([begin, end])).volume_m3
        every = np.concatenate((inside, ends))
        extreme = every.min() if which == "least" else every.max()
        found.append(station.well.level_at(float(extreme)))
    return found

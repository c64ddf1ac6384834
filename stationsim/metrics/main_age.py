"""How old the water is when it leaves the force main of a run.

The flow of the pumps is laid as pieces over the legs of the run. A short leg without a spill is one
piece that carries exactly what was pumped in it: what arrived, less what the well gained and what
tankers took. Longer legs are cut into pieces linear in time, each looked at in two points. From
there on :mod:`stationsim.physics.waterage` is exact.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.metrics.meters import besides_m3
from stationsim.physics.waterage import MainAges, MainFlow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.metrics.course import Course
    from stationsim.station import Station

    Floats = NDArray[np.float64]

_LONGEST_PIECE_S = 600.0
_SHORTEST_PIECE_S = 1e-6
_GAUSS = 0.5 / math.sqrt(3.0)
"""Half the distance of the two points at which a piece is looked at, over its length."""

NOT_KNOWN = MainAges(0.0, math.nan, math.nan, math.nan)


def main_volume_m3(station: Station) -> float:
    """Return the water that the force main holds [m3]; 0 without one.

    Parameters
    ----------
    station
        What stands there.
    """
    main = station.force_main
    pipes = () if main is None else main.pipes
    return sum(math.pi / 4.0 * pipe.diameter_m**2 * pipe.length_m for pipe in pipes)


def main_flow(station: Station, course: Course) -> MainFlow | None:
    """Return the flow through the force main over a run; None when it holds or moves nothing.

    Parameters
    ----------
    station
        What stood there.
    course
        The course of the water.
    """
    volume = main_volume_m3(station)
    legs = _legs(course)
    if volume <= 0.0 or not len(legs.begin_s):
        return None
    which, edges = _cut(legs)
    lasts = np.diff(edges)
    mean, slope = legs.flow_m3s[which], np.zeros(len(which))
    looked = legs.long[which]
    if looked.any():
        middle, half = edges[:-1][looked] + 0.5 * lasts[looked], _GAUSS * lasts[looked]
        points = np.stack([middle - half, middle + half], axis=1)
        drawn = course.sampled(points.ravel())
        pumped = np.maximum(drawn.pumped_m3s + (drawn.other_m3s - drawn.hauled_m3s), 0.0).reshape(
            -1, 2
        )
        mean[looked] = pumped.mean(axis=1)
        rises = (pumped[:, 1] - pumped[:, 0]) / (2.0 * half)
        # a piece must not end below nought: there it has its mean flow throughout
        fits = np.abs(rises) * lasts[looked] / 2.0 <= mean[looked]
        slope[looked] = np.where(fits, rises, 0.0)
    return MainFlow(edges, np.maximum(mean - slope * lasts / 2.0, 0.0), slope, volume)


def main_ages(station: Station, course: Course) -> MainAges:
    """Return mean and greatest age of the water that left the main in a run.

    What stood in the main at the start is left out: nobody knows its age. No value where there is
    no main, or no water went all the way through it.

    Parameters
    ----------
    station
        What stood there.
    course
        The course of the water.
    """
    flow = main_flow(station, course)
    return NOT_KNOWN if flow is None else flow.ages()


class _Legs(NamedTuple):
    """The legs of a run: when, the mean flow of the pumps, and which must be looked into."""

    begin_s: Floats
    end_s: Floats
    flow_m3s: Floats
    long: NDArray[np.bool_]


def _legs(course: Course) -> _Legs:
    begin, end = course.t_s[:-1], course.t_s[1:]
    kept = end - begin > _SHORTEST_PIECE_S
    lasts = np.where(kept, end - begin, 1.0)
    gained = np.diff(course.v_m3)
    flow = (np.diff(_arrived_m3(course)) - gained) / lasts
    idle = ~course.pumping
    spilling = np.maximum(course.v_m3[:-1], course.v_m3[1:]) >= course.crest_m3
    hauled = np.array([lineup.hauled_m3s > 0.0 for lineup in course.trace.lineups], dtype=bool)
    for n in np.flatnonzero(hauled[course.lineup_of] & kept & ~idle).tolist():
        besides = besides_m3(
            course,
            lineup_of=int(course.lineup_of[n]),
            t_s=float(begin[n]),
            v_m3=float(course.v_m3[n]),
            until_s=float(end[n]),
        )
        flow[n] -= besides.hauled / lasts[n]
    long = ~idle & ((lasts > _LONGEST_PIECE_S) | spilling)
    flow = np.where(idle, 0.0, np.maximum(flow, 0.0))
    return _Legs(begin[kept], end[kept], flow[kept], long[kept])


def _arrived_m3(course: Course) -> Floats:
    """Return what has arrived by each switch [m3]."""
    inflow = course.trace.inflow
    lasts = np.diff(inflow.start_s)
    brought = lasts * (inflow.flow_m3s[:-1] + inflow.slope_m3s2[:-1] * lasts / 2.0)
    totals = np.concatenate(([0.0], np.cumsum(brought)))
    piece = np.clip(np.searchsorted(inflow.start_s, course.t_s, side="right") - 1, 0, None)
    s = course.t_s - inflow.start_s[piece]
    arrived: Floats = totals[piece] + s * (
        inflow.flow_m3s[piece] + inflow.slope_m3s2[piece] * s / 2.0
    )
    return arrived


def _cut(legs: _Legs) -> tuple[NDArray[np.int64], Floats]:
    """Return the leg of each piece and the edges of the pieces: long legs are cut."""
    lasts = legs.end_s - legs.begin_s
    many = np.maximum(np.ceil(lasts / _LONGEST_PIECE_S), 1.0)
    count = np.where(legs.long, many, 1.0).astype(np.int64)
    which = np.repeat(np.arange(len(count)), count)
    step = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    begins = legs.begin_s[which] + step * (lasts / count)[which]
    return which, np.append(begins, legs.end_s[-1])

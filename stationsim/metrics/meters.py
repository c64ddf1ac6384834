"""What two meters would count: one behind the header of the station, one where its main ends.

The first counts all that goes into the main, what the pumps move less what circulates through a
check valve that fails; it does not count backwards while the main runs back. The second counts what
arrives: a leak takes its part on the way, a break takes all, and a main that has run back is filled
first. The volumes follow from the balance of the well between the switches of the run: what
arrived, less what it gained, less what spilled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.physics.balance import advance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stationsim.metrics.course import Course

    Floats = NDArray[np.float64]
    Whole = NDArray[np.int64]

DAY_S = 86_400.0
_ROUNDING_M3S = 1e-9


class Counted(NamedTuple):
    """What both meters count, day by day.

    Parameters
    ----------
    begin_s
        Start of each calendar day, or of the run [s].
    station_m3, plant_m3
        What the meter behind the header counts, and the one at the far end [m3].
    lost_m3
        What leaves the main on the way, through a leak or a break [m3].
    """

    begin_s: Floats
    station_m3: Floats
    plant_m3: Floats
    lost_m3: Floats


class _Passed(NamedTuple):
    """What goes into the main from each time to the next, what comes through, and what is lost."""

    times_s: Floats
    forward_m3: Floats
    arriving_m3: Floats
    lost_m3: Floats


def counted(course: Course, clock_offset_s: float = 0.0) -> Counted:
    """Return what both meters count in each calendar day of a run.

    Parameters
    ----------
    course
        The course of the water.
    clock_offset_s
        From the midnight before the first day to the start of the run [s].
    """
    begin_s, end_s = float(course.t_s[0]), float(course.t_s[-1])
    midnights = np.arange(1.0, np.ceil((end_s + clock_offset_s) / DAY_S)) * DAY_S - clock_offset_s
    days = np.concatenate(([begin_s], midnights[(midnights > begin_s) & (midnights < end_s)]))
    passed = _passed(course, days[1:])
    of_day = np.searchsorted(days, passed.times_s[:-1], side="right") - 1

    def by_day(volumes_m3: Floats) -> Floats:
        return np.bincount(of_day, weights=volumes_m3, minlength=len(days)).astype(float)

    return Counted(
        days,
        by_day(np.maximum(passed.forward_m3, 0.0)),
        by_day(passed.arriving_m3),
        by_day(passed.lost_m3),
    )


def lost_m3(course: Course, spans_s: Sequence[tuple[float, float]] | None = None) -> float:
    """Return what left the main on the way, through a leak or a break [m3].

    What fills a main that has run back is not lost.

    Parameters
    ----------
    course
        The course of the water.
    spans_s
        From and to of each time that counts, none over another [s]; None for the whole run.
    """
    if not course.trace.arriving:
        return 0.0
    if spans_s is None:
        return float(np.sum(_passed(course).lost_m3))
    edges = np.unique(np.array(spans_s, dtype=float).ravel())
    passed = _passed(course, edges)
    begins = passed.times_s[:-1]
    within = np.zeros(len(begins), dtype=bool)
    for start_s, stop_s in spans_s:
        within |= (begins >= start_s) & (begins < stop_s)
    return float(np.sum(passed.lost_m3[within]))


def _passed(course: Course, also_s: Floats | None = None) -> _Passed:
    """Return what goes into the main and comes through, between all times that matter."""
    trace = course.trace
    begin_s, end_s = float(course.t_s[0]), float(course.t_s[-1])
    more = np.array([] if also_s is None else also_s, dtype=float)
    more = more[(more > begin_s) & (more < end_s)]
    changes = np.array([t for t, _part in trace.arriving if begin_s < t < end_s])
    inner = np.setdiff1d(np.concatenate((more, changes)), course.t_s)
    times = np.concatenate((course.t_s, inner))
    volumes = np.concatenate((course.v_m3, course.sampled(inner).volume_m3))
    order = np.argsort(times, kind="stable")
    times, volumes = times[order], volumes[order]
    leg = np.searchsorted(course.t_s, times[:-1], side="right") - 1
    forward = _forward_m3(course, times, volumes, leg)
    through = _less_refilling(forward)
    arriving = through
    if trace.arriving:
        since = np.array([t for t, _part in trace.arriving])
        parts = np.array([1.0, *(part for _t, part in trace.arriving)])
        arriving = through * parts[np.searchsorted(since, times[:-1], side="right")]
    return _Passed(times, forward, arriving, through - arriving)


def _forward_m3(course: Course, times_s: Floats, volumes_m3: Floats, leg: Whole) -> Floats:
    """Return what goes into the main between each time and the next, less what comes back [m3]."""
    trace = course.trace
    moves = np.array([bool(x.running or x.back_m3s) for x in trace.lineups], dtype=bool)
    arrived = trace.inflow.arrived_m3(times_s)
    forward: Floats = np.where(
        moves[course.lineup_of[leg]], np.diff(arrived) - np.diff(volumes_m3), 0.0
    )
    hauled = np.zeros_like(forward)
    hauls = np.array([m and x.hauled_m3s > 0.0 for m, x in zip(moves, trace.lineups, strict=True)])
    for n in np.flatnonzero(hauls[course.lineup_of[leg]]).tolist():
        hauled[n] = besides_m3(
            course,
            lineup_of=int(course.lineup_of[leg[n]]),
            t_s=float(times_s[n]),
            v_m3=float(volumes_m3[n]),
            until_s=float(times_s[n + 1]),
        ).hauled
    forward -= hauled
    for spill in trace.spills:
        first = int(np.searchsorted(times_s, spill.start_s, side="right")) - 1
        last = int(np.searchsorted(times_s, spill.stop_s, side="left"))
        for n in range(max(first, 0), min(last, len(forward))):
            lineup = trace.lineups[course.lineup_of[leg[n]]]
            if lineup.running or lineup.back_m3s:
                spilled = besides_m3(
                    course,
                    lineup_of=int(course.lineup_of[leg[n]]),
                    t_s=float(times_s[n]),
                    v_m3=float(volumes_m3[n]),
                    until_s=float(times_s[n + 1]),
                ).spilled
                gained = volumes_m3[n + 1] - volumes_m3[n]
                forward[n] = arrived[n + 1] - arrived[n] - gained - spilled - hauled[n]
    # nothing but a main that runs back goes below nought: the rest is rounding
    drains = np.array(
        [x.out_m3s[0] - x.hauled_m3s < -_ROUNDING_M3S for x in trace.lineups], dtype=bool
    )
    return np.where(drains[course.lineup_of[leg]], forward, np.maximum(forward, 0.0))


class Besides(NamedTuple):
    """What spills, and what tankers take [m3]."""

    spilled: float
    hauled: float


def besides_m3(
    course: Course, *, lineup_of: int, t_s: float, v_m3: float, until_s: float
) -> Besides:
    """Return what leaves beside the main between two times while one lineup draws [m3].

    Parameters
    ----------
    course
        The course of the water.
    lineup_of
        Which lineup.
    t_s, v_m3, until_s
        From when [s], with which volume [m3], until when [s].
    """
    lineup, inflow = course.trace.lineups[lineup_of], course.trace.inflow
    band_s, band_vs = [0.0] * len(lineup.edge_m3), [0.0] * len(lineup.edge_m3)
    seg_t, seg_q, seg_b = (x.tolist() for x in (inflow.start_s, inflow.flow_m3s, inflow.slope_m3s2))
    segment = max(int(np.searchsorted(inflow.start_s, t_s, side="right")) - 1, 0)
    over = dry = dry_s = 0.0
    while t_s < until_s:
        found = advance(
            t_s,
            v_m3,
            segment,
            until_s,
            seg_t,
            seg_q,
            seg_b,
            lineup.edge_m3,
            lineup.out_m3s,
            lineup.out_slope,
            (),
            course.cap_m3,
            band_s,
            band_vs,
            (np.inf,),
            [],
            0,
        )
        t_s, v_m3, segment, over = found.t_s, found.v_m3, found.segment, over + found.over_m3
        dry, dry_s = dry + found.dry_m3, dry_s + found.dry_s
    weir = zip(lineup.spill_m3s, lineup.spill_slope, band_s, band_vs, strict=True)
    return Besides(
        over + sum(flow * s + slope * vs for flow, slope, s, vs in weir),
        lineup.hauled_m3(sum(band_s), dry, dry_s),
    )


def _less_refilling(forward_m3: Floats) -> Floats:
    """Return what comes through: less what fills a main that has run back [m3]."""
    if not np.any(forward_m3 < 0.0):
        return forward_m3
    short = 0.0
    through = np.zeros_like(forward_m3)
    for n, volume in enumerate(forward_m3.tolist()):
        through[n] = max(volume - short, 0.0)
        short = max(short - volume, 0.0)
    return through

"""What has spilled by some time of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.metrics.course import Course

    Floats = NDArray[np.float64]

_POINTS = 600


def spilled_by(course: Course, times_s: Floats) -> Floats:
    """Return what has spilled by each of some times [m3].

    Parameters
    ----------
    course
        The course of the water.
    times_s
        When [s].

    Notes
    -----
    Within a spill its flow is added up by the midpoint rule between the switches and the knots of
    the inflow, and the sum is set to the volume that the run has for it. At its very beginning and
    end a spill may have no flow yet, by rounding; no midpoint lies there.
    """
    total = np.zeros(len(times_s))
    knots = np.concatenate((course.knots[0], course.trace.inflow.start_s))
    for row in course.trace.spills:
        inner = knots[(knots > row.start_s) & (knots < row.stop_s)]
        asked = times_s[(times_s > row.start_s) & (times_s < row.stop_s)]
        even = np.linspace(row.start_s, row.stop_s, _POINTS)
        grid = np.unique(np.concatenate((even, inner, asked)))
        parts = course.sampled(0.5 * (grid[1:] + grid[:-1])).spill_m3s * np.diff(grid)
        sums = np.concatenate(([0.0], np.cumsum(parts)))
        if sums[-1] <= 0.0:
            total += np.where(times_s >= row.stop_s, row.volume_m3, 0.0)
            continue
        total += np.interp(times_s, grid, sums * (row.volume_m3 / sums[-1]))
    return total

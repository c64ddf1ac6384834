"""A storm as a hydrograph of points: what it adds, from when on.

Between the points the flow is straight; before the first and after the last it is nought.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim.inflow.segments import Segments, from_points

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime


@dataclass(frozen=True)
class Hydrograph:
    """Flow that a storm adds, by points.

    Parameters
    ----------
    at_s
        When its time 0 is [s since the start of the episode]; may be before the start.
    times_s
        Times of the points since ``at_s``, never falling [s]; two points or more. A time given
        twice is a step.
    flows_m3s
        Flow at each point [m3/s], 0 or more.
    """

    at_s: float
    times_s: Sequence[float]
    flows_m3s: Sequence[float]

    def __post_init__(self) -> None:
        times = tuple(float(time) for time in self.times_s)
        flows = tuple(float(flow) for flow in self.flows_m3s)
        object.__setattr__(self, "times_s", times)
        object.__setattr__(self, "flows_m3s", flows)
        if len(times) != len(flows):
            message = (
                f"a storm needs as many flows as times ({len(times)} times, {len(flows)} flows)"
            )
            raise ValueError(message)
        if len(times) < 2:
            message = f"a storm needs two points or more (found {len(times)})"
            raise ValueError(message)
        if not all(map(math.isfinite, (self.at_s, *times))):
            message = "the times of a storm must be finite numbers"
            raise ValueError(message)
        for before, after in itertools.pairwise(times):
            if after < before:
                message = f"the times of a storm must not fall ({after:g} s follows {before:g} s)"
                raise ValueError(message)
        if times[-1] == times[0]:
            message = "a storm must last longer than 0 s"
            raise ValueError(message)
        for time, flow in zip(times, flows, strict=True):
            if not 0.0 <= flow < math.inf:
                message = (
                    f"the flow of a storm at {time:g} s is {flow:g} m3/s"
                    " (accepted: 0 or more, finite)"
                )
                raise ValueError(message)

    @property
    def volume_m3(self) -> float:
        """What it brings in all [m3]."""
        points = list(zip(self.times_s, self.flows_m3s, strict=True))
        return math.fsum(
            (later - time) * (flow + next_flow) / 2.0
            for (time, flow), (later, next_flow) in itertools.pairwise(points)
        )

    def segments(self, start: datetime, duration_s: float) -> Segments:  # noqa: ARG002
        """Return its flow over an episode: a piece between each two points.

        Parameters
        ----------
        start
            Local time at which the episode begins.
        duration_s
            How long it lasts [s].
        """
        times = [self.at_s + time for time in self.times_s]
        first, last = times[0], times[-1]
        return from_points([min(first, 0.0), first, *times, last], [0.0, 0.0, *self.flows_m3s, 0.0])

"""The drawdown test: a pump's flow from a falling level, with the inflow that goes on meanwhile.

Pumps off, the level is timed over a rise: that gives the inflow. Pump on, it is timed over a fall.
Pumps off again, a second rise. The pump gives what the well lost and what came in meanwhile::

    flow = volume of the fall / time of the fall + mean inflow

Leaving the inflow out reads low by the inflow over the flow: nothing about the pump is wrong then.

References
----------
The method and its worked examples by several hands stand in ``tests/published/drawdown.json``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple


class Timed(NamedTuple):
    """A volume, and the time in which it came or went.

    Parameters
    ----------
    volume_m3
        The volume [m3].
    time_s
        The time [s].
    """

    volume_m3: float
    time_s: float

    @property
    def flow_m3s(self) -> float:
        """Volume over time [m3/s]."""
        return self.volume_m3 / self.time_s


class Drawdown(NamedTuple):
    """What a drawdown test came to.

    Parameters
    ----------
    flow_m3s
        Flow of what was pumped [m3/s].
    uncertainty_m3s
        How far it may be off, at two standard deviations [m3/s].
    inflow_m3s
        Mean inflow meanwhile [m3/s].
    """

    flow_m3s: float
    uncertainty_m3s: float
    inflow_m3s: float

    @property
    def without_inflow_m3s(self) -> float:
        """What one would have read without the inflow [m3/s]."""
        return self.flow_m3s - self.inflow_m3s

    @property
    def part_left_out(self) -> float:
        """By which part one reads low without the inflow [-]; NaN when nothing is pumped."""
        return self.inflow_m3s / self.flow_m3s if self.flow_m3s != 0.0 else math.nan


def drawdown(
    fall: Timed,
    rises: Sequence[Timed] = (),
    *,
    volume_uncertainty_m3: float = 0.0,
    time_uncertainty_s: float = 0.0,
    area_uncertainty: float = 0.0,
) -> Drawdown:
    """Return the flow that a falling level tells.

    Parameters
    ----------
    fall
        Volume and time of the fall; the volume is below nought when the level rose with the pump
        running.
    rises
        Volume and time of each rise with all pumps off; none when nothing comes in.
    volume_uncertainty_m3, time_uncertainty_s
        How far each volume [m3] and each time [s] may be off, at two standard deviations; taken as
        independent of one another: levels read by tape, a stopwatch.
    area_uncertainty
        How far all volumes may be off together, as a part of them, at two standard deviations [-]:
        a well that is wider or narrower than its drawing. It goes with the whole flow.

    Notes
    -----
    The rises count alike, however long they last: one before and one after a fall give the inflow
    half-way between when it changes steadily.

    Raises
    ------
    ValueError
        When a time is not a number of seconds above nought.
    """
    for one in (fall, *rises):
        if not 0.0 < one.time_s < math.inf:
            raise ValueError(f"a level cannot change in {one.time_s:g} s")

    def off(one: Timed) -> float:
        return math.hypot(
            volume_uncertainty_m3 / one.time_s,
            one.volume_m3 * time_uncertainty_s / one.time_s**2,
        )

    inflow = sum(one.flow_m3s for one in rises) / len(rises) if rises else 0.0
    of_inflow = math.hypot(*(off(one) for one in rises)) / len(rises) if rises else 0.0
    flow = fall.flow_m3s + inflow
    return Drawdown(flow, math.hypot(off(fall), of_inflow, area_uncertainty * flow), inflow)

"""Inflow as segments linear in time: the one form in which water arrives.

Whatever a source is by nature, it hands over a list of pieces; sources add, on the union of their
break points, so nothing is resampled; the balance integrates the pieces exactly.

Beyond the end of an episode the last day repeats. That is said here once, in `total_inflow`, for
the sum of all sources; a source needs to cover the episode only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from stationsim.physics import balance

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import ArrayLike, NDArray

DAY_S = 86400.0
"""One day [s]."""

INSTANT_S = 1e-6
"""Points closer than this are at one instant, so they make a step, not a piece [s]."""

REPEATED_DAYS = 2
"""How many days beyond the end of an episode are written out before the mean takes over [d]."""

MOST_COPIES = 2880
"""Copies of a last 'day' at most; reached only by an episode shorter than a minute [-]."""

ROUNDING = 1e-9
"""A flow below nought by no more than this part of the greatest flow is rounding [-]."""


@dataclass(frozen=True, eq=False)
class Segments:
    """Pieces of flow, each linear in time; the last one goes on without end.

    Parameters
    ----------
    start_s
        Start of each piece, strictly rising, the first at or before 0 [s].
    flow_m3s
        Flow at the start of each piece [m3/s].
    slope_m3s2
        Change of the flow within each piece [m3/s2].
    """

    start_s: NDArray[np.float64]
    flow_m3s: NDArray[np.float64]
    slope_m3s2: NDArray[np.float64]

    def at(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the flow at each of many times [m3/s]; at a step, the flow after it.

        Parameters
        ----------
        times_s
            Times since the start of the episode [s].
        """
        which = np.clip(np.searchsorted(self.start_s, times_s, side="right") - 1, 0, None)
        flow: NDArray[np.float64] = self.flow_m3s[which] + self.slope_m3s2[which] * (
            times_s - self.start_s[which]
        )
        return flow

    def arrived_m3(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what has arrived since the first piece by each of many times [m3].

        Parameters
        ----------
        times_s
            Times since the start of the episode, not before the first piece [s].
        """
        pieces = (self.start_s, self.flow_m3s, self.slope_m3s2)
        return balance.arrived_m3(*pieces, balance.running_totals(*pieces), times_s)

    def greatest(self, from_s: float, to_s: float) -> tuple[float, float]:
        """Return the greatest flow of a span [m3/s], and when it is first reached [s].

        Parameters
        ----------
        from_s, to_s
            The span, since the start of the episode [s].
        """
        part = self.between(from_s, to_s)
        ends = np.append(part.start_s[1:], to_s)
        last = part.flow_m3s + part.slope_m3s2 * (ends - part.start_s)
        flows, times = np.append(part.flow_m3s, last), np.append(part.start_s, ends)
        at = int(np.argmax(flows))
        return float(flows[at]), float(times[at])

    def volume_m3(self, until_s: float) -> float:
        """Return what arrives from 0 until a time [m3].

        Parameters
        ----------
        until_s
            Time since the start of the episode [s].
        """
        inside = self.start_s < until_s
        begin = np.maximum(self.start_s[inside], 0.0)
        end = np.append(self.start_s[inside][1:], until_s)
        length = np.maximum(end - begin, 0.0)
        first = self.flow_m3s[inside] + self.slope_m3s2[inside] * (begin - self.start_s[inside])
        return float(np.sum(length * (first + self.slope_m3s2[inside] * length / 2.0)))

    def between(self, from_s: float, to_s: float) -> Segments:
        """Return the pieces of a span, with the first one starting exactly at its beginning.

        Parameters
        ----------
        from_s, to_s
            The span, since the start of the episode [s]; what starts at ``to_s`` or later is left
            out, and the last piece is open.
        """
        first = max(int(np.searchsorted(self.start_s, from_s, side="right")) - 1, 0)
        last = max(int(np.searchsorted(self.start_s, to_s, side="left")), first + 1)
        start = self.start_s[first:last].copy()
        flow = self.flow_m3s[first:last].copy()
        slope = self.slope_m3s2[first:last].copy()
        flow[0] += slope[0] * (from_s - start[0])
        start[0] = from_s
        return Segments(start, flow, slope)


class InflowSource(Protocol):
    """Anything that water arrives from."""

    def segments(self, start: datetime, duration_s: float) -> Segments:
        """Return its flow over an episode.

        Parameters
        ----------
        start
            Local time at which the episode begins, at one fixed offset from UTC.
        duration_s
            How long it lasts [s]. The pieces must cover it; what they say of the time after it is
            not used, since `total_inflow` lets the last day repeat.
        """
        ...


class HasInflow(Protocol):
    """What `total_inflow` needs to know of an episode."""

    @property
    def start(self) -> datetime:
        """Local time at which it begins."""
        ...

    @property
    def duration_s(self) -> float:
        """How long it lasts [s]."""
        ...

    @property
    def inflow(self) -> tuple[InflowSource, ...]:
        """Sources; their flows add."""
        ...


def from_points(times_s: ArrayLike, flows_m3s: ArrayLike, *, steps: bool = False) -> Segments:
    """Return the pieces through points; after the last point its flow holds.

    Parameters
    ----------
    times_s
        Times of the points, never falling [s]; the first at or before 0. A time given twice
        (within a microsecond) is a step, from the flow named first to the flow named last.
    flows_m3s
        Flow at each [m3/s].
    steps
        True when a flow holds until the next point, False when it goes straight to the next.
    """
    time = np.asarray(times_s, dtype=np.float64)
    flow = np.asarray(flows_m3s, dtype=np.float64)
    length = np.diff(time)
    kept = np.append(length >= INSTANT_S, True)
    slope = np.zeros_like(flow)
    if not steps:
        rising = kept[:-1]
        slope[:-1][rising] = np.diff(flow)[rising] / length[rising]
    start = time[kept]
    start[0] = time[0]  # the first may be one instant with those dropped before it
    return Segments(start, flow[kept], slope[kept])


def add(parts: Sequence[Segments]) -> Segments:
    """Return the sum of several inflows from 0 on, exact on the union of their break points.

    Parameters
    ----------
    parts
        What is added; an empty list gives no flow at all.
    """
    if not parts:
        return Segments(np.zeros(1), np.zeros(1), np.zeros(1))
    if len(parts) == 1:
        return parts[0].between(0.0, math.inf)
    starts = np.unique(np.concatenate([part.start_s for part in parts]))
    starts = np.append(0.0, starts[starts > 0.0])
    flow = np.zeros_like(starts)
    slope = np.zeros_like(starts)
    for part in parts:
        which = np.clip(np.searchsorted(part.start_s, starts, side="right") - 1, 0, None)
        slope += part.slope_m3s2[which]
        flow += part.flow_m3s[which] + part.slope_m3s2[which] * (starts - part.start_s[which])
    return Segments(starts, flow, slope)


def total_inflow(episode: HasInflow) -> Segments:
    """Return the flow of all sources together, over an episode and without end after it.

    Beyond the end the last day repeats (the whole episode when that is shorter than a day): two
    more days are written out, then the mean of the last day holds for ever. What happens after the
    end matters only for the time that the water would take to reach the spill.

    Parameters
    ----------
    episode
        Its start, its duration and its sources.

    Raises
    ------
    ValueError
        When the sum falls below nought anywhere, or is not a number.
    RecordError
        When a recorded series doesn't cover the episode.
    """
    end = episode.duration_s
    if not 0.0 < end < math.inf:
        message = f"an episode must last longer than 0 s, and not for ever (found {end:g} s)"
        raise ValueError(message)
    parts = [source.segments(episode.start, end) for source in episode.inflow]
    within = add(parts).between(0.0, end)
    _refuse_below_nought(within, end)

    period = min(DAY_S, end)
    day = within.between(end - period, end)
    mean = (within.volume_m3(end) - within.volume_m3(end - period)) / period
    copies = min(math.ceil(REPEATED_DAYS * DAY_S / period), MOST_COPIES)
    shift = end + period * np.arange(copies)
    since = day.start_s - (end - period)
    start = np.concatenate(
        [within.start_s, (shift[:, None] + since).ravel(), [end + copies * period]]
    )
    flow = np.concatenate([within.flow_m3s, np.tile(day.flow_m3s, copies), [max(mean, 0.0)]])
    slope = np.concatenate([within.slope_m3s2, np.tile(day.slope_m3s2, copies), [0.0]])
    # A break within rounding of the end of a day may land on the first one of the next.
    kept = np.append(np.diff(start) > 0.0, True)
    return Segments(start[kept], flow[kept], slope[kept])


def _refuse_below_nought(flow: Segments, end_s: float) -> None:
    """Raise when a flow is below nought, or not a number, before the end."""
    length = np.diff(np.append(flow.start_s, end_s))
    ends = np.stack([flow.flow_m3s, flow.flow_m3s + flow.slope_m3s2 * length])
    if not bool(np.all(np.isfinite(ends))):
        message = "the inflow is not a number everywhere (accepted: finite flows)"
        raise ValueError(message)
    least = float(ends.min())
    # points closer than an instant are one: a piece may run on by that much
    allowed = ROUNDING * float(np.abs(ends).max()) + INSTANT_S * float(
        np.abs(flow.slope_m3s2).max()
    )
    if least < -allowed:
        which = int(ends.min(axis=0).argmin())
        message = (
            f"the inflow falls to {least:.6g} m3/s about {flow.start_s[which]:g} s after the start"
            " (accepted: 0 or more at all times)"
        )
        raise ValueError(message)

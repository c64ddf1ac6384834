"""Rain-derived inflow and infiltration: three triangular unit hydrographs on an area.

Of the rain on the area a fraction comes into the sewer, by three ways: a quick response (drains
and covers), a middle one and a slow one (through the ground). Each is a triangle in time: it rises
straight to its peak, falls straight to nought, and holds its fraction of the depth. With ``R`` the
fraction, ``T`` the time to peak and ``K`` the fall ratio, the time of fall over the time to peak,
its base is ``T (1 + K)`` and the peak of a unit of volume ``2 / (T (1 + K))``. (Some texts call the
ratio of the time to peak to the whole base ``K``; here it is fall over rise.)

Rain is uniform within its intervals (`stationsim.inflow.rain`), not an impulse at their starts: the
two conventions give different peaks, and the same volume. A triangle under uniform rain is
quadratic in time between the ends of the intervals and of the triangles' limbs. Each such piece is
handed over as straight pieces whose ends lie on the curve, in pairs whose common point is moved by
what keeps the volume exact; the flow is continuous and nowhere below nought, and departs from the
curve by no more than ``SHAPE`` of the greatest flow of the wet spell.

What this leaves out: how wet the ground is (the fractions are the same for the first storm and the
tenth), a first loss, snow, and water that arrives through a swollen river. The nine numbers that
fit a flow record are not unique: judge them by volume and peak, not one by one. They come from
flow measurement in the sewer concerned.

References
----------
Definitions of fraction, time to peak and fall ratio: as in studies that follow Camp Dresser & McKee
(1985), read in an openly published one of sewers in Illinois (Authorea 285304 and 441739). The
convolution is our own; its parabolas are exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationsim.inflow.segments import INSTANT_S, Segments, from_points

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import ArrayLike, NDArray

    from stationsim.inflow.rain import Rain

SHAPE = 1e-4
"""The pieces depart from the exact flow by no more than this part of its greatest value [-]."""

LEAST_LIMB_S = 1.0
"""Shortest rise and fall of a response [s]."""

FRACTION_ROUNDING = 1e-9
"""Fractions may exceed 1 in all by no more than this, which is rounding [-]."""

MOST_ORIGINS = 100_000
"""Most origins from which the depth of one wet spell is counted [-]."""

_STRAIGHT = 1e-13
"""A piece that bends by no more than this part of the greatest flow is straight [-]."""


@dataclass(frozen=True)
class Response:
    """How one part of the rain arrives: a triangular unit hydrograph.

    Parameters
    ----------
    fraction
        Part of the rain's volume on the area that arrives this way [-], 0 to 1.
    time_to_peak_s
        From the start of an instant's rain to the peak [s].
    fall_ratio
        Time of fall over time to peak [-].
    name
        What it is called: quick, middle or slow response.
    """

    fraction: float
    time_to_peak_s: float
    fall_ratio: float
    name: str = "response"

    def __post_init__(self) -> None:
        if not 0.0 <= self.fraction <= 1.0:
            message = f"{self.name}: the fraction is {self.fraction:g} (accepted: 0 to 1)"
            raise ValueError(message)
        if not LEAST_LIMB_S <= self.time_to_peak_s < math.inf:
            message = (
                f"{self.name}: the time to peak is {self.time_to_peak_s:g} s"
                f" (accepted: {LEAST_LIMB_S:g} s or more)"
            )
            raise ValueError(message)
        if not LEAST_LIMB_S <= self.fall_ratio * self.time_to_peak_s < math.inf:
            message = (
                f"{self.name}: the fall ratio is {self.fall_ratio:g}, a fall of"
                f" {self.fall_ratio * self.time_to_peak_s:g} s"
                f" (accepted: {LEAST_LIMB_S:g} s or more)"
            )
            raise ValueError(message)

    @property
    def base_s(self) -> float:
        """From the start of an instant's rain to the end of what it brings [s]."""
        return self.time_to_peak_s * (1.0 + self.fall_ratio)


@dataclass(frozen=True)
class RainDerived:
    """Rain-derived inflow from an area.

    Parameters
    ----------
    rain
        What falls; before and after its intervals it is dry. It may begin before the episode.
    area_m2
        Area that it falls on [m2].
    responses
        Quick, middle and slow response, in any order; their fractions must not exceed 1 in all.
    """

    rain: Rain
    area_m2: float
    responses: tuple[Response, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "responses", tuple(self.responses))
        if not 0.0 <= self.area_m2 < math.inf:
            message = f"the area is {self.area_m2:g} m2 (accepted: 0 or more, finite)"
            raise ValueError(message)
        if self.fraction > 1.0 + FRACTION_ROUNDING:
            parts = " + ".join(f"{response.fraction:g}" for response in self.responses)
            message = (
                f"the fractions of the responses are {parts} = {self.fraction:g}; more water cannot"
                " arrive than falls (accepted: up to 1 in all)"
            )
            raise ValueError(message)

    @property
    def fraction(self) -> float:
        """Part of the rain that arrives, in all [-]."""
        return math.fsum(response.fraction for response in self.responses)

    @property
    def volume_m3(self) -> float:
        """What arrives in all, however late [m3]."""
        return self.fraction * self.rain.depth_m * self.area_m2

    def flow_at_m3s(self, times_s: ArrayLike) -> NDArray[np.float64]:
        """Return the exact flow at each of many times, by the parabolas [m3/s].

        Parameters
        ----------
        times_s
            Times since the start of the episode [s].
        """
        times = np.asarray(times_s, dtype=np.float64)
        flow = np.zeros_like(times)
        for storm in self._storms():
            inside = (times > storm.starts_s[0]) & (times < storm.starts_s[-1] + self._longest_s)
            flow[inside] = storm.flow_m3s(times[inside])
        return flow

    def segments(self, start: datetime, duration_s: float) -> Segments:  # noqa: ARG002
        """Return its flow over an episode, with what earlier rain still brings.

        Parameters
        ----------
        start
            Local time at which the episode begins; the rain is counted from it.
        duration_s
            How long it lasts [s].
        """
        times, flows = [np.zeros(1)], [np.zeros(1)]
        for storm in self._storms():
            begins, ends = storm.starts_s[0], storm.starts_s[-1] + self._longest_s
            if min(ends, duration_s) - max(begins, 0.0) > INSTANT_S:
                storm_times, storm_flows = storm.points(0.0, duration_s)
                times.append(storm_times)
                flows.append(storm_flows)
        return from_points(np.concatenate(times), np.concatenate(flows))

    @property
    def _arriving(self) -> tuple[Response, ...]:
        return tuple(response for response in self.responses if response.fraction > 0.0)

    @property
    def _longest_s(self) -> float:
        return max((response.base_s for response in self._arriving), default=0.0)

    def _storms(self) -> list[_Storm]:
        """Return the rain cut where a dry spell outlasts the longest response.

        Each part is worked out from its own beginning, so that a year of rain rounds no worse than
        its longest wet spell, and a dry day has no inflow at all.
        """
        intensity = self.rain.intensity_ms
        wet = np.flatnonzero(intensity > 0.0)
        if not wet.size or not self.area_m2 or not self.fraction:
            return []
        edges = self.rain.at_s + np.asarray(self.rain.times_s)
        fallen = np.asarray(self.rain.fallen_m)
        dry_s = edges[wet[1:]] - edges[wet[:-1] + 1]
        cuts = np.flatnonzero(dry_s > self._longest_s) + 1
        return [
            _Storm(
                edges[part[0] : part[-1] + 2],
                fallen[part[0] : part[-1] + 2] - fallen[part[0]],
                self.area_m2,
                self._arriving,
            )
            for part in np.split(wet, cuts)
        ]


@dataclass(frozen=True, eq=False)
class _Storm:
    """One wet spell, as knots of cumulative depth counted from its own beginning."""

    starts_s: NDArray[np.float64]
    fallen_m: NDArray[np.float64]
    area_m2: float
    responses: tuple[Response, ...]

    def flow_m3s(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the exact flow at times within the storm or the longest base after it."""
        since = times_s - self.starts_s[0]
        depth = np.zeros_like(since)
        for response in self.responses:
            depth += response.fraction * self._arriving_ms(response, since)
        flow: NDArray[np.float64] = np.maximum(self.area_m2 * depth, 0.0)
        return flow

    def _arriving_ms(self, response: Response, since: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the rain under a triangle, as if all of it arrived [m/s].

        A triangle's slope is constant on each limb, so by parts the convolution is the mean of the
        depth fallen over the span of the rising limb less that over the falling one's, times the
        triangle's peak. Depths are counted from origins that stand a base or more apart, for each
        time from the last origin but one: counted from the beginning of a wet month, the difference
        of two means would drown in rounding.
        """
        rise, base = response.time_to_peak_s, response.base_s
        knots = self.starts_s - self.starts_s[0]
        apart = max(base, (knots[-1] + base) / MOST_ORIGINS)
        origins = apart * np.arange(math.ceil((knots[-1] + base) / apart) + 1)
        marks = np.union1d(knots, origins)
        fallen = np.interp(marks, knots, self.fallen_m)
        at_origin = np.interp(origins, knots, self.fallen_m)
        counted_from = at_origin[np.searchsorted(origins, marks[:-1], side="right") - 1]
        low, high = fallen[:-1] - counted_from, fallen[1:] - counted_from
        length = np.diff(marks)
        whole = np.append(0.0, np.cumsum(length * (low + high) / 2.0))
        slope = (high - low) / length

        own = np.clip(np.searchsorted(origins, since, side="right") - 1, 0, None)
        before = np.maximum(own - 1, 0)
        until_before = whole[np.searchsorted(marks, origins)][before]
        step = at_origin[own] - at_origin[before]

        def depth_time(to: NDArray[np.float64]) -> NDArray[np.float64]:
            which = np.clip(np.searchsorted(marks, to, side="right") - 1, 0, slope.size - 1)
            after = np.maximum(to - marks[which], 0.0)
            total: NDArray[np.float64] = (
                whole[which]
                + after * (low[which] + slope[which] * after / 2.0)
                - until_before
                + step * np.maximum(to - origins[own], 0.0)
            )
            return total

        at_peak = depth_time(since - rise)
        rising = (depth_time(since) - at_peak) / rise
        falling = (at_peak - depth_time(since - base)) / (base - rise)
        arriving: NDArray[np.float64] = 2.0 / base * (rising - falling)
        return arriving

    def points(self, from_s: float, to_s: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the times and flows of points, straight between which the volume is exact."""
        edges = self._breaks(from_s, to_s)
        begin, length = edges[:-1], np.diff(edges)
        at_edges = self.flow_m3s(edges)
        if edges[-1] >= self.starts_s[-1] + max(r.base_s for r in self.responses):
            at_edges[-1] = 0.0
        middle = self.flow_m3s(begin + length / 2.0)
        bend = np.abs(at_edges[:-1] - 2.0 * middle + at_edges[1:])  # curvature x length^2 / 4
        greatest = max(float(at_edges.max()), float(middle.max()))
        # A pair of straight pieces departs by bend / 6, and bend falls with the square of a cut.
        cuts = np.ceil(np.sqrt(bend / (6.0 * SHAPE * (greatest or 1.0)))).astype(np.int64)
        cuts = np.where(bend <= _STRAIGHT * greatest, 0, np.maximum(cuts, 1))

        parts = np.maximum(cuts, 1)
        owner = np.repeat(np.arange(length.size), parts)
        nth = np.arange(owner.size) - np.repeat(np.cumsum(parts) - parts, parts)
        step = length[owner] / parts[owner]
        first = begin[owner] + nth * step
        half = first + step / 2.0
        at_first = np.where(nth == 0, at_edges[owner], self.flow_m3s(first))
        at_last = np.append(at_first[1:], at_edges[-1])
        # Simpson's rule gives a parabola's volume exactly; the trapezoids must give the same.
        at_half = np.maximum((8.0 * self.flow_m3s(half) - at_first - at_last) / 6.0, 0.0)
        times = np.append(np.stack([first, half], axis=1).ravel(), edges[-1])
        flows = np.append(np.stack([at_first, at_half], axis=1).ravel(), at_edges[-1])
        bent = np.append(np.stack([nth >= 0, cuts[owner] > 0], axis=1).ravel(), True)
        return times[bent], flows[bent]

    def _breaks(self, from_s: float, to_s: float) -> NDArray[np.float64]:
        """Return the times between which the flow is quadratic, within a span."""
        slope = np.diff(self.fallen_m) / np.diff(self.starts_s)
        changes = np.diff(slope, prepend=0.0, append=0.0) != 0.0
        knots = self.starts_s[changes]
        shifts = [0.0]
        for response in self.responses:
            shifts += [response.time_to_peak_s, response.base_s]
        breaks = np.unique(np.add.outer(np.unique(shifts), knots))
        low, high = max(from_s, float(breaks[0])), min(to_s, float(breaks[-1]))
        breaks = np.concatenate(
            [[low], breaks[(breaks > low + INSTANT_S) & (breaks < high - INSTANT_S)], [high]]
        )
        # Breaks within an instant of each other bend the flow by nothing that a float can tell.
        apart: NDArray[np.float64] = breaks[np.append(True, np.diff(breaks) >= INSTANT_S)]
        return apart

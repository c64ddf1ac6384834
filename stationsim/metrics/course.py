"""The course of the water over a run: what happened to it between the rows of any table.

A run leaves behind legs: from each switch on one lineup draws, and the balance gives the volume at
any moment. Here the extremes are found on that solution itself, so no metric hangs on the table
interval. Most legs need no look inside, because their course is known beforehand: where all that
may arrive is less than the pumps draw, the water falls throughout. Only the others are sampled.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.physics.balance import fill_times
from stationsim.trace import sample

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from stationsim.station import Station
    from stationsim.trace import Sampled, Trace

    Floats = NDArray[np.float64]
    Whole = NDArray[np.int64]

LEAST_FOUND_WITHIN_S = 0.05
"""How far the least time to spill may stand above the true one [s]."""

_LONGEST_PIECE_S = 900.0
_LEAST_PIECES = 500.0
_CUTS = 16
_MOST_CUT = 4_000
_ROUNDS = 12


class _Spans(NamedTuple):
    """Parts of legs: time, volume and time to spill at both ends."""

    leg: Whole
    begin_s: Floats
    end_s: Floats
    v_begin_m3: Floats
    v_end_m3: Floats
    left_begin_s: Floats
    left_end_s: Floats


def _pairs(*rows: Floats) -> list[Floats]:
    """Return the beginnings and the ends of neighbours along the last axis of each."""
    return [side.ravel() for row in rows for side in (row[..., :-1], row[..., 1:])]


class Course:
    """The volume in the well over a run, as the exact solution has it.

    Parameters
    ----------
    station, trace
        What stood there, and what the run left behind.
    """

    def __init__(self, station: Station, trace: Trace) -> None:
        self.well = station.well
        self.trace = trace
        spillway = station.spillway
        self.crest_m3 = np.inf if spillway is None else self.well.volume_at(spillway.crest_m)
        plain = spillway is not None and spillway.length_m is None
        self.cap_m3 = self.crest_m3 if plain else np.inf
        begins, end_s = np.asarray(trace.leg_t_s, dtype=float), trace.end_s
        kept = np.append(np.diff(begins) > 0.0, np.True_) & (begins < end_s)
        self._leg = np.flatnonzero(kept)
        self.t_s: Floats = np.append(begins[kept], end_s)
        """The switches, from the start to the end of the run [s]."""
        last = self.sampled(np.array([end_s])).volume_m3
        self.v_m3: Floats = np.append(np.asarray(trace.leg_v_m3, dtype=float)[kept], last)
        """Volume at each [m3]."""
        self.lineup_of: Whole = np.asarray(trace.leg_lineup, dtype=np.int64)[kept]
        """Which lineup draws from each switch to the next."""
        runs = np.array([bool(lineup.running) for lineup in trace.lineups], dtype=bool)
        self.pumping: NDArray[np.bool_] = runs[self.lineup_of]
        """Whether any pump runs from each switch to the next."""
        inflow = trace.inflow
        length = np.diff(inflow.start_s, append=inflow.start_s[-1:])
        after = inflow.flow_m3s + inflow.slope_m3s2 * length
        self._most_m3s = np.append(np.maximum(inflow.flow_m3s, after), 0.0)
        self._fewest_m3s = np.append(np.minimum(inflow.flow_m3s, after), 0.0)

    def sampled(self, times_s: Floats) -> Sampled:
        """Return volume and flows at any times, exact at each.

        Parameters
        ----------
        times_s
            Times, never falling [s].
        """
        return sample(self.trace, self.cap_m3, times_s)

    def level_at(self, times_s: Floats) -> Floats:
        """Return the level at any times, exact at each [m above floor].

        Parameters
        ----------
        times_s
            Times, never falling [s].
        """
        return self.well.levels_at(self.sampled(times_s).volume_m3)

    def time_to_spill(self, times_s: Floats, volumes_m3: Floats) -> Floats:
        """Return how long the inflow alone takes from a volume to the spill [s]; infinity: never.

        Parameters
        ----------
        times_s
            Times [s].
        volumes_m3
            Volume at each [m3].
        """
        if not np.isfinite(self.crest_m3):
            return np.full_like(times_s, np.inf)
        inflow = self.trace.inflow
        to_go = self.crest_m3 - volumes_m3
        return fill_times(inflow.start_s, inflow.flow_m3s, inflow.slope_m3s2, times_s, to_go)

    @cached_property
    def knots(self) -> tuple[Floats, Floats]:
        """Times [s] and volumes [m3] between which the water only falls, only rises, or stands.

        They are the switches, and in legs that may go either way also the breaks of the inflow and
        the moments at which the water turns. Between two breaks the flow is straight, so the change
        of the volume changes its sign once at most.
        """
        low, high = self._range_m3s(self.t_s[:-1], self.t_s[1:])
        least, most = self._drawn_m3s
        either = np.flatnonzero((high > least[self.lineup_of]) & (low < most[self.lineup_of]))
        breaks = self.trace.inflow.start_s
        breaks = breaks[(breaks > self.t_s[0]) & (breaks < self.t_s[-1])]
        leg = np.searchsorted(self.t_s, breaks, side="right") - 1
        inside = np.isin(leg, either) & (breaks > self.t_s[leg])
        breaks, leg = breaks[inside], leg[inside]
        v_breaks = self._volumes_at(breaks, leg)
        # pieces of straight inflow in those legs: from a switch or a break to the next
        times = np.concatenate((self.t_s[either], breaks))
        volumes = np.concatenate((self.v_m3[either], v_breaks))
        of = np.concatenate((either, leg))
        order = np.argsort(times, kind="stable")
        times, volumes, of = times[order], volumes[order], of[order]
        if len(times) == 0:
            return self.t_s, self.v_m3
        same = np.append(of[1:] == of[:-1], np.False_)
        ends = np.where(same, np.append(times[1:], 0.0), self.t_s[of + 1])
        v_ends = np.where(same, np.append(volumes[1:], 0.0), self.v_m3[of + 1])
        inflow = self.trace.inflow
        piece = np.searchsorted(inflow.start_s, times, side="right") - 1
        slope = inflow.slope_m3s2[piece]
        first_m3s = inflow.flow_m3s[piece] + slope * (times - inflow.start_s[piece])

        def net(t_s: Floats, v_m3: Floats, which: NDArray[np.bool_]) -> Floats:
            arriving: Floats = first_m3s[which] + slope[which] * (t_s - times[which])
            return arriving - self._out_m3s(self.lineup_of[of[which]], v_m3)

        every = np.ones(len(times), dtype=bool)
        begins_with, ends_with = net(times, volumes, every), net(ends, v_ends, every)
        turning = begins_with * ends_with < 0.0
        found = _roots(
            lambda t_s: net(t_s, self._volumes_at(t_s, of[turning]), turning),
            (times[turning], ends[turning]),
            (begins_with[turning], ends_with[turning]),
        )
        v_found = self._volumes_at(found, of[turning])
        all_t = np.concatenate((self.t_s, breaks, found))
        all_v = np.concatenate((self.v_m3, v_breaks, v_found))
        all_t, once = np.unique(all_t, return_index=True)
        return all_t, all_v[once]

    def spans_above(self, level_m: float) -> tuple[Floats, Floats]:
        """Return when the water came to a level or above it, and when it fell below again [s].

        Parameters
        ----------
        level_m
            The level [m above floor].
        """
        limit = self.well.volume_at(level_m) * (1.0 - 1e-12)  # a level that was waited for counts
        t, v = self.knots
        above = v >= limit
        crossing = np.flatnonzero(above[:-1] != above[1:])
        leg = np.searchsorted(self.t_s, t[crossing], side="right") - 1
        at = _roots(
            lambda t_s: self._volumes_at(t_s, leg) - limit,
            (t[crossing], t[crossing + 1]),
            (v[crossing] - limit, v[crossing + 1] - limit),
        )
        rising = ~above[crossing]
        begins = np.concatenate((t[:1] if above[0] else t[:0], at[rising]))
        ends = np.concatenate((at[~rising], t[-1:] if above[-1] else t[:0]))
        return begins, ends

    def seconds_above(self, level_m: float) -> float:
        """Return how long the water stood at or above a level [s].

        Parameters
        ----------
        level_m
            The level [m above floor].
        """
        begins, ends = self.spans_above(level_m)
        return float(np.sum(ends - begins))

    def greatest_level_m(self, from_s: float, to_s: float) -> float:
        """Return the highest level of a part of the run [m above floor].

        Parameters
        ----------
        from_s, to_s
            The part [s].
        """
        t, v = self.knots
        inside = v[(t >= from_s) & (t <= to_s)]
        ends = self.sampled(np.array([from_s, to_s])).volume_m3
        return float(self.well.level_at(float(np.max(np.concatenate((inside, ends))))))

    def mean_level_m(self) -> float:
        """Return the mean level over time [m above floor].

        Simpson's rule on pieces of each leg, none longer than a quarter of an hour nor than a five
        hundredth of the run.
        """
        spans = np.diff(self.t_s)
        longest_s = min(_LONGEST_PIECE_S, (self.t_s[-1] - self.t_s[0]) / _LEAST_PIECES)
        halves = 2 * np.maximum(np.ceil(spans / longest_s), 1.0).astype(np.int64)
        leg = np.repeat(np.arange(len(spans)), halves)
        step = np.arange(len(leg)) - np.repeat(np.cumsum(halves) - halves, halves)
        times = self.t_s[leg] + spans[leg] * step / halves[leg]
        volumes = self.v_m3[leg]
        inner = step > 0
        volumes[inner] = self.sampled(times[inner]).volume_m3
        levels = self.well.levels_at(np.append(volumes, self.v_m3[-1]))
        weight = np.where(step == 0, 1.0, np.where(step % 2 == 1, 4.0, 2.0))
        third = spans / (3.0 * halves)
        ends = levels[np.append(np.flatnonzero(step == 0)[1:], len(step))]
        total = np.sum(weight * levels[:-1] * third[leg]) + np.sum(ends * third)
        return float(total / (self.t_s[-1] - self.t_s[0]))

    def least_time_to_spill(self) -> tuple[float, float]:
        """Return the shortest time to spill of the run and when that was [s]; NaN for never.

        Notes
        -----
        Pumping puts off the moment at which it would spill. While ``t`` passes, the time to spill
        falls by ``t``, less what the pumps draw meanwhile over the greatest flow around that
        moment; between two knots they draw no less than at one of its ends. Spans that can't go
        below the least that is known are left alone; the others are cut up again and again. What
        is returned is at most :data:`LEAST_FOUND_WITHIN_S` above the true least.
        """
        if self.trace.spills:
            return 0.0, min(spill.start_s for spill in self.trace.spills)
        t, v = self.knots
        left = self.time_to_spill(t, v)
        best = unseen = float(np.min(left))
        if not np.isfinite(best):
            return np.nan, np.nan
        times, values = [t], [left]
        leg = np.searchsorted(self.t_s, t[:-1], side="right") - 1
        spans = _Spans(leg, *_pairs(t, v, left))
        for rounds_left in range(_ROUNDS, -1, -1):
            lowest = self._lowest_s(spans)
            open_ = np.flatnonzero(lowest < best - LEAST_FOUND_WITHIN_S)
            if len(open_) == 0:
                break
            worst_first = open_[np.argsort(lowest[open_], kind="stable")]
            cut = np.sort(worst_first[: _MOST_CUT if rounds_left else 0])
            if len(cut) < len(open_):  # too many to look into: then the bound itself is told
                unseen = min(unseen, float(lowest[worst_first[len(cut)]]))
                if len(cut) == 0:
                    break
            spans, inner_t, inner_left = self._cut(spans, cut)
            times.append(inner_t)
            values.append(inner_left)
            best = min(best, float(np.min(inner_left)))
        all_t, all_left = np.concatenate(times), np.concatenate(values)
        # of moments that are equally bad to a millisecond, the first
        return min(best, unseen), float(np.min(all_t[all_left <= best + 1e-3]))

    def _lowest_s(self, spans: _Spans) -> Floats:
        """Return what the time to spill of each span can't fall below [s]."""
        lineup = self.lineup_of[spans.leg]
        draws = np.minimum(
            self._out_m3s(lineup, spans.v_begin_m3), self._out_m3s(lineup, spans.v_end_m3)
        )
        # on an empty well the pumps draw only what arrives
        empty = np.minimum(spans.v_begin_m3, spans.v_end_m3) <= 0.0
        draws[empty] = np.minimum(draws[empty], 0.0)
        begin, end = spans.begin_s + spans.left_begin_s, spans.end_s + spans.left_end_s
        _, greatest = self._range_m3s(begin, end)
        with np.errstate(divide="ignore", invalid="ignore"):
            falls = np.where(greatest > draws, 1.0 - draws / greatest, 0.0)
        lowest: Floats = spans.left_begin_s - (spans.end_s - spans.begin_s) * falls
        # while more runs back than is pumped the time to spill falls all the while
        return np.where(draws < 0.0, spans.left_end_s, lowest)

    def _cut(self, spans: _Spans, which: Whole) -> tuple[_Spans, Floats, Floats]:
        """Return the parts of some spans, and the moments between with their time to spill [s]."""
        parts = np.arange(1, _CUTS) / _CUTS
        begin, end = spans.begin_s[which, None], spans.end_s[which, None]
        inner = begin + (end - begin) * parts
        v_inner = self.sampled(inner.ravel()).volume_m3
        left = self.time_to_spill(inner.ravel(), v_inner)
        t, v, rest = (
            np.column_stack((first[which], middle.reshape(inner.shape), last[which]))
            for first, middle, last in (
                (spans.begin_s, inner, spans.end_s),
                (spans.v_begin_m3, v_inner, spans.v_end_m3),
                (spans.left_begin_s, left, spans.left_end_s),
            )
        )
        return _Spans(np.repeat(spans.leg[which], _CUTS), *_pairs(t, v, rest)), inner.ravel(), left

    @cached_property
    def _drawn_m3s(self) -> tuple[Floats, Floats]:
        """Least and most that each lineup draws at the volumes of this run [m3/s]."""
        top = max(self.well.volume_at(self.trace.greatest_level_m), float(np.max(self.v_m3)))
        least, most = [], []
        for lineup in self.trace.lineups:
            edge = np.minimum(np.append(lineup.edge_m3, top), top)
            out, slope = np.asarray(lineup.out_m3s), np.asarray(lineup.out_slope)
            ends = np.concatenate((out, out + slope * np.diff(edge)))
            used = np.tile(np.asarray(lineup.edge_m3) <= top, 2)
            least.append(float(np.min(ends[used])))
            most.append(float(np.max(ends[used])))
        return np.array(least), np.array(most)

    def _range_m3s(self, from_s: Floats, to_s: Floats) -> tuple[Floats, Floats]:
        """Return least and greatest inflow of spans in rising order, or a little beyond [m3/s]."""
        start = self.trace.inflow.start_s
        first = np.clip(np.searchsorted(start, from_s, side="right") - 1, 0, None)
        last = np.clip(np.searchsorted(start, to_s, side="right") - 1, 0, None)
        ends = np.column_stack((first, last + 1)).ravel()
        if len(ends) == 0:
            return np.zeros(0), np.zeros(0)
        return (
            np.minimum.reduceat(self._fewest_m3s, ends)[::2],
            np.maximum.reduceat(self._most_m3s, ends)[::2],
        )

    def _out_m3s(self, lineup_of: Whole, volumes_m3: Floats) -> Floats:
        """Return all that a lineup draws at a volume, were there enough of it [m3/s]."""
        drawn = np.zeros_like(volumes_m3)
        for index in np.unique(lineup_of):
            lineup = self.trace.lineups[index]
            here = lineup_of == index
            edge = np.asarray(lineup.edge_m3)
            band = np.clip(np.searchsorted(edge, volumes_m3[here], side="right") - 1, 0, None)
            above = volumes_m3[here] - edge[band]
            out, slope = np.asarray(lineup.out_m3s), np.asarray(lineup.out_slope)
            drawn[here] = out[band] + slope[band] * above
        return drawn

    def _volumes_at(self, times_s: Floats, leg: Whole) -> Floats:
        """Return the volume at times in rising order that lie in known legs [m3]."""
        trace = self.trace
        legs = self._leg[np.unique(leg)].tolist()
        if not legs:
            return np.zeros(0)
        part = replace(
            trace,
            leg_t_s=[trace.leg_t_s[i] for i in legs],
            leg_v_m3=[trace.leg_v_m3[i] for i in legs],
            leg_lineup=[trace.leg_lineup[i] for i in legs],
        )
        return sample(part, self.cap_m3, times_s).volume_m3


def _roots(
    value_at: Callable[[Floats], Floats],
    ends_s: tuple[Floats, Floats],
    values: tuple[Floats, Floats],
    within_s: float = 1e-7,
) -> Floats:
    """Return where values of unlike sign at the ends of spans meet nought [s], for many at once.

    False position with halved weights (the Illinois rule): a bracket always, and few rounds.
    """
    low, high = (x.copy() for x in ends_s)
    f_low, f_high = (x.copy() for x in values)
    at = high.copy()
    if len(at) == 0:
        return at
    stayed = np.zeros(len(at))  # -1: the low end did not move in the last round; 1: the high end
    for _ in range(60):
        before = at
        with np.errstate(divide="ignore", invalid="ignore"):
            at = high - f_high * (high - low) / (f_high - f_low)
        at = np.clip(np.where(np.isfinite(at), at, 0.5 * (low + high)), low, high)
        if np.all(np.abs(at - before) <= within_s):
            break
        f_at = value_at(at)
        is_low = (f_at >= 0.0) == (f_low >= 0.0)
        # an end that stays twice weighs half
        f_high = np.where(is_low, np.where(stayed > 0.0, 0.5 * f_high, f_high), f_at)
        f_low = np.where(is_low, f_at, np.where(stayed < 0.0, 0.5 * f_low, f_low))
        low, high = np.where(is_low, at, low), np.where(is_low, high, at)
        stayed = np.where(is_low, 1.0, -1.0)
    return at

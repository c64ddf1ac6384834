"""How old the water is when it leaves the force main: plug flow, without mixing.

What enters first leaves first, and the main is always full. So the water that leaves now entered
when the running total of the flow was less by one volume of the main. The running total is known in
closed form (pieces linear in time), and so is its inverse: ages are exact, at any time and in
the mean over the water, with no sampling. Where the pumps stand still the water in the main
stands too, and ages.

Long stays turn sewage septic; how long is too long depends on its strength and warmth, and on local
rules. Left out: mixing along the main, water that runs back into the well, a main that empties
beyond a high point, and what the water's age was when it entered.

References
----------
Plug flow in a full pipe, and the mean as a difference of first moments: own derivation. A main
passed through at a constant flow ages its water by volume over flow (checked in ``tests``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]


class MainAges(NamedTuple):
    """The age of all the water of known age that left the main in a run.

    Parameters
    ----------
    left_m3
        How much of it there was [m3].
    mean_s
        Its mean age, weighed by volume [s]; NaN when there was none.
    greatest_s
        The greatest age [s]; NaN when there was none.
    greatest_at_s
        When water of that age left [s].
    """

    left_m3: float
    mean_s: float
    greatest_s: float
    greatest_at_s: float


@dataclass(frozen=True, eq=False)
class MainFlow:
    """The flow through a full main over a run, as pieces linear in time.

    Parameters
    ----------
    edges_s
        Where the pieces begin, and the end of the last, rising [s]; one more than pieces.
    flow_m3s
        Flow at the beginning of each piece [m3/s].
    slope_m3s2
        Its change with time in each piece [m3/s2]; the flow may not fall below 0.
    main_m3
        Water that the main holds [m3].
    start_age_s
        Age of all the water in the main at the beginning [s]; NaN when it isn't known: then the
        water of the first filling is left out of every number.

    Raises
    ------
    ValueError
        When the edges don't rise, counts don't fit, a flow falls below 0 or the main holds nothing.
    """

    edges_s: Floats
    flow_m3s: Floats
    slope_m3s2: Floats
    main_m3: float
    start_age_s: float = math.nan

    def __post_init__(self) -> None:
        for name in ("edges_s", "flow_m3s", "slope_m3s2"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), dtype=float))
        count = len(self.flow_m3s)
        if count == 0 or len(self.edges_s) != count + 1 or len(self.slope_m3s2) != count:
            message = "a main's flow needs one more edge than it has pieces, and at least one piece"
            raise ValueError(message)
        lasts = np.diff(self.edges_s)
        if not (np.all(lasts > 0.0) and np.all(np.isfinite(self.edges_s))):
            raise ValueError("the edges of a main's flow must rise and be finite")
        last = self.flow_m3s + self.slope_m3s2 * lasts
        # a piece that falls to nought may end below it by what rounding leaves
        if not (np.all(self.flow_m3s >= 0.0) and np.all(last >= -1e-12 * (1.0 + self.flow_m3s))):
            raise ValueError("the flow through a main must not fall below 0")
        if not 0.0 < self.main_m3 < math.inf:
            message = f"a main must hold more than nothing (found {self.main_m3:g} m3)"
            raise ValueError(message)

    @classmethod
    def from_volumes(
        cls,
        times_s: ArrayLike,
        volumes_m3: ArrayLike,
        main_m3: float,
        start_age_s: float = math.nan,
    ) -> MainFlow:
        """Return the flow whose running total is known at some times, constant between them.

        Parameters
        ----------
        times_s
            Times, rising [s].
        volumes_m3
            Volume that has passed by each of them, never falling [m3].
        main_m3
            Water that the main holds [m3].
        start_age_s
            Age of all the water in the main at the beginning [s]; NaN when it isn't known.
        """
        edges, totals = np.asarray(times_s, dtype=float), np.asarray(volumes_m3, dtype=float)
        with np.errstate(divide="ignore", invalid="ignore"):
            flows = np.diff(totals) / np.diff(edges)
        return cls(edges, flows, np.zeros_like(flows), main_m3, start_age_s)

    @property
    def totals_m3(self) -> Floats:
        """What has passed by each edge [m3], from 0."""
        s = np.diff(self.edges_s)
        passed = np.maximum(s * (self.flow_m3s + 0.5 * self.slope_m3s2 * s), 0.0)
        return np.concatenate(([0.0], np.cumsum(passed)))

    def passed_m3(self, at_s: ArrayLike) -> Floats:
        """Return what has passed by a time [m3]; before the first edge 0, after the last all.

        Parameters
        ----------
        at_s
            Times [s].
        """
        at = np.clip(np.asarray(at_s, dtype=float), self.edges_s[0], self.edges_s[-1])
        totals = self.totals_m3
        piece = np.clip(np.searchsorted(self.edges_s, at, side="right") - 1, 0, len(totals) - 2)
        s = at - self.edges_s[piece]
        passed = totals[piece] + s * (self.flow_m3s[piece] + 0.5 * self.slope_m3s2[piece] * s)
        clipped: Floats = np.clip(passed, totals[piece], totals[piece + 1])
        return clipped

    def ages_at(self, at_s: ArrayLike) -> Floats:
        """Return the age of the water at the outlet [s]: what leaves now, or would leave next.

        Parameters
        ----------
        at_s
            Times within the run [s].

        Notes
        -----
        NaN where that water was in the main at the beginning and ``start_age_s`` isn't known.
        """
        at = np.asarray(at_s, dtype=float)
        totals = self.totals_m3
        entered_m3 = self.passed_m3(at) - self.main_m3
        # the water next to leave entered at the end of a stop, not before it
        piece = np.clip(np.searchsorted(totals, entered_m3, side="right") - 1, 0, len(totals) - 2)
        within = np.maximum(entered_m3, 0.0)
        ages: Floats = np.where(
            entered_m3 >= 0.0,
            at - self._time_of(totals, piece, within),
            at - self.edges_s[0] + self.start_age_s,
        )
        return ages

    def ages(self) -> MainAges:
        """Return mean and greatest age of the water that left, exactly."""
        totals = self.totals_m3
        low, high, out_piece = self._stretches(totals)
        of_start = low < 0.0
        in_piece = np.searchsorted(totals, (low + high) / 2.0, side="right") - 1
        in_piece = np.clip(in_piece, 0, len(totals) - 2)
        left = float(np.sum(high - low))
        if left <= 0.0:
            return MainAges(0.0, math.nan, math.nan, math.nan)
        # in a stretch the age is smooth: its greatest is at an end, or where the flow at which the
        # water enters equals that at which it leaves, linear in the volume
        greatest_s, greatest_at_s = -math.inf, math.nan
        turn = self._turns(totals, low, high, out_piece, in_piece)
        for volume in (low, high, turn):
            leaves = self._time_of(totals, out_piece, volume + self.main_m3)
            enters = np.where(
                of_start,
                self.edges_s[0] - self.start_age_s,
                self._time_of(totals, in_piece, np.maximum(volume, 0.0)),
            )
            n = int(np.argmax(leaves - enters))
            if leaves[n] - enters[n] > greatest_s:
                greatest_s, greatest_at_s = float(leaves[n] - enters[n]), float(leaves[n])
        out_moment = self._moments(totals, out_piece, low + self.main_m3, high + self.main_m3)
        in_moment = np.where(
            of_start,
            -self.start_age_s * (high - low),
            self._moments(totals, in_piece, np.maximum(low, 0.0), np.maximum(high, 0.0)),
        )
        # both moments are counted from the first edge, so that a late start costs no digits
        mean = float(np.sum(out_moment - in_moment)) / left
        return MainAges(left, mean, greatest_s, greatest_at_s)

    def _stretches(self, totals: Floats) -> tuple[Floats, Floats, NDArray[np.intp]]:
        """Return the volumes that left, split wherever a piece begins at either end of the main.

        A volume is counted by the running total when it entered; what was in the main at the
        beginning counts below 0, and is left out when its age isn't known.
        """
        begin = 0.0 if math.isnan(self.start_age_s) else -self.main_m3
        end = totals[-1] - self.main_m3
        marks = np.concatenate((totals, totals - self.main_m3))
        marks = np.unique(marks[(marks >= begin) & (marks <= end)])
        low, high = marks[:-1], marks[1:]
        middle = (low + high) / 2.0 + self.main_m3
        piece = np.clip(np.searchsorted(totals, middle, side="right") - 1, 0, len(totals) - 2)
        return low, high, piece

    def _time_of(self, totals: Floats, piece: NDArray[np.intp], total_m3: Floats) -> Floats:
        """Return when the running total reaches a value within a piece."""
        q, b = self.flow_m3s[piece], self.slope_m3s2[piece]
        rest = np.maximum(total_m3 - totals[piece], 0.0)
        both = q + np.sqrt(np.maximum(q * q + 2.0 * b * rest, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            s = np.where(both > 0.0, 2.0 * rest / both, 0.0)
        lasts = self.edges_s[piece + 1] - self.edges_s[piece]
        times: Floats = self.edges_s[piece] + np.minimum(s, lasts)
        return times

    def _turns(
        self,
        totals: Floats,
        low: Floats,
        high: Floats,
        out_piece: NDArray[np.intp],
        in_piece: NDArray[np.intp],
    ) -> Floats:
        """Return where in each stretch both flows are equal; the lower end where nowhere."""
        b_out, b_in = self.slope_m3s2[out_piece], self.slope_m3s2[in_piece]
        square_out = self.flow_m3s[out_piece] ** 2 + 2.0 * b_out * (
            self.main_m3 - totals[out_piece]
        )
        square_in = self.flow_m3s[in_piece] ** 2 - 2.0 * b_in * totals[in_piece]
        with np.errstate(divide="ignore", invalid="ignore"):
            turn = (square_in - square_out) / (2.0 * (b_out - b_in))
        inside: Floats = np.where((turn > low) & (turn < high), turn, low)
        return inside

    def _moments(
        self, totals: Floats, piece: NDArray[np.intp], low: Floats, high: Floats
    ) -> Floats:
        """Return the time since the first edge integrated over the running total [s m3]."""
        edge = self.edges_s[piece]
        s1 = self._time_of(totals, piece, low) - edge
        s2 = self._time_of(totals, piece, high) - edge
        q, b = self.flow_m3s[piece], self.slope_m3s2[piece]
        within = q * (s2 * s2 - s1 * s1) / 2.0 + b * (s2**3 - s1**3) / 3.0
        moments: Floats = (edge - self.edges_s[0]) * (high - low) + within
        return moments

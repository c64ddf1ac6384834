"""The exact advance of the stored volume: the one place where anything is integrated.

The volume obeys ``dV/dt = Qin(t) - Qout(V)`` with an inflow that is linear in time within each
segment and an outflow that is linear in volume within each band. Within one segment and one band
the equation is linear and has a closed form, so :func:`advance` strides from edge to edge: no time
step, and no error that grows with one. It goes on over as many segments and bands as it takes to
reach the next volume that somebody waits for, so that whatever calls it is called once for each
thing that happens and not once for each five minutes of rain.

What it is exact for
    Piecewise linear inflow and outflow: crossings to about 1e-14 of the time elapsed since the last
    one, limited by the resolution of a float of seconds (4 ns after a year). The error of a
    crossing time is the error of the volume over the net flow, so a stall or a tangent is found
    less sharply.
What it is not exact for
    A pump curve over volume is not linear; :mod:`stationsim.physics.bands` lays bands whose
    mean error is nought, and states how fine they are.

One piece. With W(s) the volume gained after s, ``dV/dt = r + b s - k W`` has the solution
``W = s (r p1 + b s p2)`` at ``x = -k s`` where ``p1 = (e^x - 1)/x``, ``p2 = (e^x - 1 - x)/x^2`` and
``p3 = (e^x - 1 - x - x^2/2)/x^3``; its integral is ``s^2 (r p2 + b s p3)``. Its slope changes sign
at most once, at ``log1p(-k r / b) / k``; a piece is cut there, so that each is monotone and its end
tells whether a bound was reached.

The code uses scalars, indexing and ``math`` alone, so that the same source can be compiled.
"""

from __future__ import annotations

import math
from collections.abc import MutableSequence, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

REACHED_TIME = -1
"""``Advance.reached``: the time was reached and no volume of interest on the way."""

LEFT_CAP = -2
"""``Advance.reached``: the volume stood at the cap, and nothing goes over it any more."""

BEGAN_OVER = -3
"""``Advance.reached``: the volume stood at the cap, and more begins to arrive than leaves."""

LOST = -4
"""``Advance.reached``: no progress after very many pieces; never seen, kept so that it shows."""

_MOST_PIECES = 50_000_000
_SAFE_EXPONENT = 600.0


class Advance(NamedTuple):
    """Where :func:`advance` came to, and what went by on the way.

    Parameters
    ----------
    t_s, v_m3, segment
        Time [s], volume [m3] and index of the inflow segment at the end.
    reached
        Index of the wake volume reached, or ``REACHED_TIME``, ``LEFT_CAP`` or ``BEGAN_OVER``.
    direction
        1 while rising at the end, -1 while falling, 0 at rest [-].
    least_m3, least_s, greatest_m3, greatest_s
        Extremes of the volume on the way [m3], and when [s].
    over_m3, over_peak_m3s
        What was lost at the cap [m3], and the greatest flow of it [m3/s].
    dry_m3, dry_s
        What arrived while the volume stood at nought and the pumps took it all [m3], and how long
        that lasted [s].
    low_band, high_band
        Lowest and highest band that was passed [-].
    sampled
        Index of the next sample time not yet passed [-].
    """

    t_s: float
    v_m3: float
    segment: int
    reached: int
    direction: int
    least_m3: float
    least_s: float
    greatest_m3: float
    greatest_s: float
    over_m3: float
    over_peak_m3s: float
    dry_m3: float
    dry_s: float
    low_band: int
    high_band: int
    sampled: int


def _phi(x: float) -> tuple[float, float, float]:
    """Return p1, p2 and p3 of the module's docstring."""
    if -0.02 < x < 0.02:
        p3 = 1.0 / 6.0 + x * (
            1.0 / 24.0
            + x * (1.0 / 120.0 + x * (1.0 / 720.0 + x * (1.0 / 5040.0 + x * (1.0 / 40320.0))))
        )
    elif -0.4 < x < 0.4:
        p3 = 1.0 / 6227020800.0 + x * (1.0 / 87178291200.0 + x / 1307674368000.0)
        p3 = 1.0 / 39916800.0 + x * (1.0 / 479001600.0 + x * p3)
        p3 = 1.0 / 362880.0 + x * (1.0 / 3628800.0 + x * p3)
        p3 = 1.0 / 5040.0 + x * (1.0 / 40320.0 + x * p3)
        p3 = 1.0 / 120.0 + x * (1.0 / 720.0 + x * p3)
        p3 = 1.0 / 6.0 + x * (1.0 / 24.0 + x * p3)
    else:
        p1 = math.expm1(x) / x
        p2 = (p1 - 1.0) / x
        return p1, p2, (p2 - 0.5) / x
    p2 = 0.5 + x * p3
    return 1.0 + x * p2, p2, p3


def _crossing(r: float, b: float, k: float, goal: float, s_most: float) -> float:
    """Return the time at which a monotone piece has gained ``goal``; it does by ``s_most``."""
    bend = b - k * r
    root = r * r + 2.0 * bend * goal
    root = math.sqrt(root) if root > 0.0 else 0.0
    s = 2.0 * goal / (r + root) if goal > 0.0 else 2.0 * goal / (r - root)
    if k == 0.0:
        return s if 0.0 <= s <= s_most else s_most
    low, high = 0.0, s_most
    if not 0.0 < s < s_most:
        s = 0.5 * s_most
    rising = goal > 0.0
    for n in range(100):
        p1, p2, _p3 = _phi(-k * s)
        gained = s * (r * p1 + b * s * p2)
        off = gained - goal
        if off == 0.0:
            return s
        if (off > 0.0) == rising:
            high = s
        else:
            low = s
        slope = r + b * s - k * gained
        if slope == 0.0:
            following = 0.5 * (low + high)
        else:
            ratio = off / slope
            turn = 1.0 - 0.5 * ratio * (b - k * slope) / slope
            following = s - ratio / turn if 0.5 < turn < 2.0 else s - ratio
        # Newton creeps where the volume runs away exponentially: then halve the bracket
        if n >= 24 or not low < following < high:
            following = 0.5 * (low + high)
        step = following - s
        s = following
        if -1e-11 < step < 1e-11 or high - low <= 4e-16 * high:
            break
    return s


def advance(  # noqa: C901, PLR0912, PLR0915  (one loop, kept whole to be compiled)
    t: float,
    v: float,
    i: int,
    t_until: float,
    seg_t: Sequence[float],
    seg_q: Sequence[float],
    seg_b: Sequence[float],
    edge: Sequence[float],
    out: Sequence[float],
    slope: Sequence[float],
    wake: Sequence[float],
    cap: float,
    band_s: MutableSequence[float],
    band_vs: MutableSequence[float],
    sample_t: Sequence[float],
    sample_v: MutableSequence[float],
    n: int,
) -> Advance:
    """Advance the volume until a time, or until it reaches a volume that somebody waits for.

    Parameters
    ----------
    t
        Time at the start [s].
    v
        Volume at the start [m3].
    i
        Index of the inflow segment at the start, or of an earlier one [-].
    t_until
        Go no further than this [s].
    seg_t, seg_q, seg_b
        Inflow segments: start [s], flow at the start [m3/s], slope [m3/s2]; the last is open.
    edge, out, slope
        Bands of the outflow: lower edge [m3], outflow there [m3/s], change with volume [1/s];
        continuous; the first edge is 0, the last band is open. An outflow below nought is water
        that runs back; the volume then never stands at nought.
    wake
        Volumes of interest, rising [m3]. One that equals the volume at the start does not count
        until the volume has left it, or has stood still on it: then leaving it is told. A volume at
        which the net flow vanishes, to within about 1e-16 of the flows, is approached and not
        reached.
    cap
        Volume that is never exceeded: what is too much is lost there [m3]; infinity for none.
        Reaching it, or reaching 0, is told only when it is among ``wake``; that something begins or
        ceases to go over, while it stands there, always is.
    band_s, band_vs
        Added to: time spent in each band [s], and the integral of the volume above its lower edge
        [m3 s]. From these every flow that is linear in the bands gets its exact total.
    sample_t, sample_v, n
        Sample times, rising, ending in infinity [s]; where to write the volume at each [m3]; the
        first one to write [-]. Times before the end are written; one at the end is not.

    Returns
    -------
    Advance
        Where it came to.
    """
    seg_last = len(seg_t) - 1
    band_last = len(edge) - 1
    wake_count = len(wake)
    least = greatest = v
    least_s = greatest_s = t
    over = over_peak = dry = dry_s = 0.0
    direction = 0
    reached = REACHED_TIME
    held = went_over = rested = False
    up = 0
    while up < wake_count and wake[up] <= v:
        up += 1
    down = up - 1
    while down >= 0 and wake[down] >= v:
        down -= 1
    j = 0
    while j < band_last and edge[j + 1] <= v:
        j += 1
    low_band = high_band = j
    for _piece in range(_MOST_PIECES):
        while i < seg_last and seg_t[i + 1] <= t:
            i += 1
        t_end = t_until
        if i < seg_last and seg_t[i + 1] < t_end:
            t_end = seg_t[i + 1]
        s_end = t_end - t
        if s_end <= 0.0:
            break
        b = seg_b[i]
        q = seg_q[i] + b * (t - seg_t[i])
        k = slope[j]
        leaving = out[j] + k * (v - edge[j])
        r = q - leaving
        size = leaving if leaving >= 0.0 else -leaving  # negative: water runs back into the well
        nought = 4e-16 * (q + size) + 4e-16 * t * (b if b >= 0.0 else -b)
        if r > nought:
            direction = 1
        elif r < -nought:
            direction = -1
        else:
            r = 0.0
            direction = 1 if b > 0.0 else (-1 if b < 0.0 else 0)

        # held at the cap, or empty: the volume stands still until the net flow turns
        if (v >= cap and direction >= 0) or (v <= 0.0 and direction <= 0):
            if held and went_over != (direction > 0):
                reached = LEFT_CAP if went_over else BEGAN_OVER
                break
            went_over = v >= cap and direction > 0
            s = s_end
            turned = False
            turns = b < 0.0 if v >= cap else b > 0.0
            if turns and -r / b < s_end:
                s, turned = -r / b, True
            t_next = t + s if turned else t_end
            while sample_t[n] < t_next:
                sample_v[n] = v
                n += 1
            if v >= cap:
                band_s[j] += s
                band_vs[j] += (v - edge[j]) * s
                over += s * (r + 0.5 * b * s)
                if r > over_peak:
                    over_peak = r
                if r + b * s > over_peak:
                    over_peak = r + b * s
            else:
                dry += s * (q + 0.5 * b * s)
                dry_s += s
            t = t_next
            direction = 0
            held = v >= cap
            if turned and v >= cap:
                direction = -1
                reached = LEFT_CAP
                break
            continue
        if held:  # the inflow has stepped down, or begun to fall
            reached = LEFT_CAP
            break
        if rested and direction != 0 and up > 0 and wake[up - 1] == v:
            reached = up - 1
            break
        rested = direction == 0

        if direction < 0 and v == edge[j] and j > 0:
            j -= 1
            k = slope[j]
            if j < low_band:
                low_band = j
        if direction > 0:
            bound = edge[j + 1] if j < band_last else math.inf
            wakes = up < wake_count and wake[up] <= bound
            if wakes:
                bound = wake[up]
            if bound > cap:
                bound = cap
                wakes = False
        else:
            bound = edge[j]
            wakes = down >= 0 and wake[down] >= bound
            if wakes:
                bound = wake[down]
        goal = bound - v

        s = s_end
        t_next = t_end
        if k < 0.0 and -k * s > _SAFE_EXPONENT:
            s = _SAFE_EXPONENT / -k
            t_next = t + s
        if r != 0.0 and (b > 0.0) != (r > 0.0) and b != 0.0:
            if k == 0.0:
                s_turn = -r / b
            else:
                ratio = -k * r / b
                s_turn = math.log1p(ratio) / k if ratio > -1.0 else math.inf
            if s_turn < s:
                s = s_turn
                t_next = t + s
        if k == 0.0:
            gained = s * (r + 0.5 * b * s)
        else:
            p1, p2, p3 = _phi(-k * s)
            gained = s * (r * p1 + b * s * p2)
        arrives = direction != 0 and (v + gained >= bound if direction > 0 else v + gained <= bound)
        if arrives:
            s = _crossing(r, b, k, goal, s)
            t_next = t + s
            if k != 0.0:
                p1, p2, p3 = _phi(-k * s)
        if k == 0.0:
            area = s * s * (0.5 * r + b * s / 6.0)
        else:
            area = s * s * (r * p2 + b * s * p3)
        band_s[j] += s
        band_vs[j] += (v - edge[j]) * s + area
        while sample_t[n] < t_next:
            ds = sample_t[n] - t
            if k == 0.0:
                sample_v[n] = v + ds * (r + 0.5 * b * ds)
            else:
                f1, f2, _f3 = _phi(-k * ds)
                sample_v[n] = v + ds * (r * f1 + b * ds * f2)
            n += 1
        t = t_next
        v = bound if arrives else v + gained
        if v > greatest:
            greatest, greatest_s = v, t
        if v < least:
            least, least_s = v, t
        if arrives:
            if wakes:
                reached = up if direction > 0 else down
                break
            if direction > 0 and j < band_last and v >= edge[j + 1]:
                j += 1
                if j > high_band:
                    high_band = j
            # falling to the lower edge: the next pass steps down a band if it still falls
        # having moved, a wake volume that was stood on counts again
        while up > 0 and wake[up - 1] > v:
            up -= 1
        while up < wake_count and wake[up] <= v:
            up += 1
        while down + 1 < wake_count and wake[down + 1] < v:
            down += 1
        while down >= 0 and wake[down] >= v:
            down -= 1
    else:
        reached = LOST
    return Advance(
        t,
        v,
        i,
        reached,
        direction,
        least,
        least_s,
        greatest,
        greatest_s,
        over,
        over_peak,
        dry,
        dry_s,
        low_band,
        high_band,
        n,
    )


def running_totals(
    seg_t: NDArray[np.float64], seg_q: NDArray[np.float64], seg_b: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return what has arrived by the start of each inflow segment, since the first one [m3].

    Parameters
    ----------
    seg_t, seg_q, seg_b
        Inflow segments: start [s], flow at the start [m3/s], slope [m3/s2].
    """
    length = np.diff(seg_t)
    return np.concatenate(([0.0], np.cumsum(length * (seg_q[:-1] + 0.5 * seg_b[:-1] * length))))


def arrived_m3(
    seg_t: NDArray[np.float64],
    seg_q: NDArray[np.float64],
    seg_b: NDArray[np.float64],
    running_m3: NDArray[np.float64],
    t_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return what has arrived by each of many times, since the start of the first segment [m3].

    Parameters
    ----------
    seg_t, seg_q, seg_b
        Inflow segments: start [s], flow at the start [m3/s], slope [m3/s2]; the last is open.
    running_m3
        Their :func:`running_totals` [m3].
    t_s
        The times [s].
    """
    where = np.clip(np.searchsorted(seg_t, t_s, side="right") - 1, 0, None)
    s = t_s - seg_t[where]
    found: NDArray[np.float64] = running_m3[where] + s * (seg_q[where] + 0.5 * seg_b[where] * s)
    return found


def fill_times(
    seg_t: NDArray[np.float64],
    seg_q: NDArray[np.float64],
    seg_b: NDArray[np.float64],
    t_s: NDArray[np.float64],
    to_go_m3: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return how long the inflow alone takes to bring each of many volumes [s].

    With nothing leaving, the balance is the running total of the inflow; here it is inverted for
    many starts at once. The result is infinite where the inflow never brings that much.

    Parameters
    ----------
    seg_t, seg_q, seg_b
        Inflow segments: start [s], flow at the start [m3/s], slope [m3/s2]; the last is open.
    t_s
        Starts [s].
    to_go_m3
        Volume to be brought from each start [m3]; nought or less gives 0.
    """
    running = running_totals(seg_t, seg_q, seg_b)
    goal = arrived_m3(seg_t, seg_q, seg_b, running, t_s) + to_go_m3
    where = np.clip(np.searchsorted(running, goal, side="left") - 1, 0, None)
    rest = goal - running[where]
    q, b = seg_q[where], seg_b[where]
    root = np.sqrt(np.maximum(q * q + 2.0 * b * rest, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        s = np.where(q + root > 0.0, 2.0 * rest / (q + root), np.inf)
    never = (where == len(seg_t) - 1) & (q + np.zeros_like(rest) <= 0.0) & (b <= 0.0)
    reached = seg_t[where] + s
    times = np.where(to_go_m3 <= 0.0, 0.0, np.where(never, np.inf, reached - t_s))
    return np.maximum(times, 0.0)

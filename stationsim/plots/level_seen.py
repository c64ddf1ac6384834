"""The level as the panel saw it, drawn beside the true one where the two differ."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from stationsim.plots import style
from stationsim.trace import seen_levels

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stationsim.plots.style import Floats
    from stationsim.results import Result

_SAME_LEVEL_M = 1e-6
_LEAST_SEEN = 0.003
"""Narrowest line of a level seen, as a part of the axis: shorter spans are drawn as long."""

_MOVING = ("off", "held")
"""What a level signal does that moves and is wrong (``Trace.signal``)."""

_MOST_READINGS = 4000
"""A course with more points than this is thinned [-]."""

_SEEN, _NO_SIGNAL = "level as the panel saw it", "panel had no level signal"
_NO_SIGNAL_AT = 0.02
"""How high above the foot of the axes the time without a signal is marked, as a part of them."""

_FROZEN: dict[str, Any] = {"color": style.PURPLE, "linewidth": 2.4, "linestyle": (0, (4, 1.2))}
_WRONG: dict[str, Any] = {"color": style.PURPLE, "linewidth": 1.0}
_LOST: dict[str, Any] = {"color": style.PURPLE, "linewidth": 4.0, "linestyle": (0, (0.6, 0.6))}


def astray_s(result: Result, ends_s: tuple[float, float]) -> list[tuple[float, float, float]]:
    """Return when the panel saw another level than the true one, and which.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is asked for [s].

    Returns
    -------
    list
        From and to [s], and the level seen [m above floor]; NaN where there was no signal. A frozen
        signal that the water never leaves is none of these, nor is one that moves
        (:func:`courses_seen`).
    """
    signal = result.trace.signal
    found = []
    for n, (begin, mode, value) in enumerate(signal):
        until = signal[n + 1][0] if n + 1 < len(signal) else result.trace.end_s
        low, high = max(begin, ends_s[0]), min(until, ends_s[1])
        if mode in ("right", *_MOVING) or low >= high:
            continue
        if mode == "lost" or _leaves(result, value, low, high):
            found.append((low, high, value))
    return found


def courses_seen(result: Result, ends_s: tuple[float, float]) -> list[tuple[Floats, Floats]]:
    """Return the courses of a level seen that moves and is not the true one: off, or scanned.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is asked for [s].

    Returns
    -------
    list
        Times [s] and levels seen [m above floor] of each. One with more readings than can be seen
        is thinned to the least and the greatest of each short span.
    """
    rows_ = result.trace.signal
    moving = [row[1] in _MOVING for row in rows_]
    begins = np.array([row[0] for row in rows_])
    found = []
    for first in [n for n, is_so in enumerate(moving) if is_so and not (n and moving[n - 1])]:
        last = next((n for n in range(first, len(rows_)) if not moving[n]), len(rows_))
        until = begins[last] if last < len(rows_) else result.trace.end_s
        low, high = max(float(begins[first]), ends_s[0]), min(float(until), ends_s[1])
        if low >= high:
            continue
        read = begins[first:last]
        knots = result.course.knots[0]
        inside = np.concatenate(
            (np.linspace(low, high, 400), read, np.nextafter(read, -1.0), knots)
        )
        times = np.unique(inside[(inside >= low) & (inside < high)])
        found.append(_thinned(times, seen_levels(result.trace, times, result.level_at(times))))
    return found


def _thinned(times: Floats, values: Floats) -> tuple[Floats, Floats]:
    if len(times) <= _MOST_READINGS:
        return times, values
    parts = np.array_split(np.arange(len(times)), _MOST_READINGS // 2)
    ends = [
        sorted((part[np.argmin(values[part])], part[np.argmax(values[part])])) for part in parts
    ]
    kept = np.array(ends).ravel()
    return times[kept], values[kept]


def _leaves(result: Result, level_m: float, low: float, high: float) -> bool:
    """Tell whether the true level is another one at any time of a span."""
    knots = result.course.knots[0]
    inside = knots[(knots > low) & (knots < high)]
    times = np.unique(np.concatenate((np.linspace(low, high, 50), inside)))
    return bool(np.any(np.abs(result.level_at(times) - level_m) > _SAME_LEVEL_M))


def draw_seen(axes: Axes, result: Result, system: str, ends_s: tuple[float, float]) -> None:
    """Draw the level that the panel saw where it was not the true one, and explain the lines.

    Parameters
    ----------
    axes
        Where.
    result
        The run.
    system
        ``si`` or ``us``.
    ends_s
        From and to of what is shown [s].
    """
    astray, courses = astray_s(result, ends_s), courses_seen(result, ends_s)
    if not (astray or courses):
        return
    depth = style.level_axis(result.station, system)
    least = _LEAST_SEEN * (ends_s[1] - ends_s[0])
    for low, high, value in astray:
        x = style.day_numbers(result.episode.start, [low, max(high, low + least)])
        if np.isnan(value):
            axes.plot(
                x,
                [_NO_SIGNAL_AT, _NO_SIGNAL_AT],
                transform=axes.get_xaxis_transform(),
                label=_NO_SIGNAL,
                **_LOST,
            )
        else:
            axes.plot(x, depth([value, value]), label=_SEEN, **_FROZEN)
    for times, levels in courses:
        x = style.day_numbers(result.episode.start, times)
        axes.plot(x, depth(levels), label=_SEEN, **_WRONG)
    handles, labels = axes.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))  # one entry, however often it happened
    axes.legend(
        once.values(),
        once.keys(),
        loc="upper right",
        bbox_to_anchor=(1.0, 0.0),  # between the level and the flows, where nothing else stands
        ncols=len(once),
        borderpad=0.0,
        borderaxespad=0.7,
        handlelength=3.0,
    )

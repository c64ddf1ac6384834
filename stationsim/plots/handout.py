"""The plot of a hand-out: the level as the panel saw it, who ran, and which alarms stood.

A long run has an overview, and below it a day: the one in which most alarms were raised, else the
one with the longest run of a pump. Nothing that was hidden has a say in which day it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.handout import dark_spans, seen_tables
from stationsim.outline import set_levels
from stationsim.plots import people, rows, style
from stationsim.plots.levels import (
    MOST_STARTS_AS_LINE,
    explain,
    finish_level,
    ranges,
    rows_in,
    span_edges,
    span_text,
    stacked,
)
from stationsim.trace import seen_levels
from stationsim.wording import date_of, day_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result

_POINTS = 4000


def handout_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of what an observer would have: no truth is in it.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    """
    ends_s = (0.0, result.trace.end_s)
    long = ends_s[1] > style.DAY_S and len(result.pump_runs) > MOST_STARTS_AS_LINE
    with style.styled():
        names = rows.row_names(result, ends_s, seen_only=True)
        tall, gaps = [3.3, rows_in(names)], [0.62, 0.28]
        lanes = people.lanes(result, ends_s, words=not long)
        if lanes:
            tall, gaps = [*tall, people.tall_in(lanes, words=not long)], [*gaps, 0.28]
        first = len(tall)
        if long:
            low, high, why = day_to_look_at(result)
            below = rows.row_names(result, (low, high), seen_only=True)
            tall, gaps = [*tall, 3.0, rows_in(below)], [0.85, *gaps[1:], 0.8, 0.28]
            on_the_day = people.lanes(result, (low, high))
            if on_the_day:
                tall, gaps = [*tall, people.tall_in(on_the_day)], [*gaps, 0.28]
        figure, axes = stacked(tall, gaps, [*names, *(lane.name for lane in lanes)])
        if long:
            _overview(result, system, axes[:first])
            _detail(result, system, axes[first:], (low, high))
            axes[first].set_title(why)
            begin, end = style.day_numbers(result.episode.start, [low, high])
            for axis in axes[:first]:
                axis.axvspan(begin, end, facecolor="#fff3c4", zorder=-1)
        else:
            _detail(result, system, axes, ends_s)
        title = f"{result.station.name}: level as the panel saw it, runs and alarms"
        style.head(figure, title, span_text(result, ends_s))
        return figure


def day_to_look_at(result: Result) -> tuple[float, float, str]:
    """Return from when to when [s] the day lasts that is drawn in detail, and why it is this one.

    Parameters
    ----------
    result
        The run.
    """
    tables, end_s = seen_tables(result), result.trace.end_s
    offset = result.episode.clock_offset_s % style.DAY_S
    edges = np.arange(-offset, end_s - 1.0, style.DAY_S)
    edges = np.append(edges, edges[-1] + style.DAY_S)
    raised = np.histogram(tables["alarms"]["raised_s"].to_numpy(dtype=float), edges)[0]
    runs = tables["pump_runs"].dropna(subset=["start_s", "stop_s"])
    if raised.max() > 0:
        day = int(np.argmax(raised))
        why = "the most alarms"
    elif len(runs):
        start_s = runs["start_s"].to_numpy(dtype=float)
        longest = start_s[int(np.argmax(runs["duration_s"].to_numpy(dtype=float)))]
        day = int(np.clip(np.searchsorted(edges, longest, "right") - 1, 0, len(edges) - 2))
        why = "the longest run of a pump"
    else:
        day, why = 0, "the first day"
    low, high = max(float(edges[day]), 0.0), min(float(edges[day + 1]), end_s)
    when = result.episode.moment(low)
    return low, high, f"{day_of(when)} {date_of(when)}: {why}"


def _seen(result: Result, times: Floats) -> Floats:
    """Return the level that the panel saw, and recorded [m above floor]; else NaN."""
    seen: Floats = seen_levels(result.trace, times, result.level_at(times))
    for begin, end in dark_spans(result):
        seen[(times >= begin) & (times < end)] = np.nan
    return seen


def _times(result: Result, low: float, high: float) -> Floats:
    legs = result.course.knots[0]
    signal = [row[0] for row in result.trace.signal]
    times = np.unique(np.concatenate((np.linspace(low, high, _POINTS), legs, signal)))
    return times[(times >= low) & (times <= high)]


def _detail(result: Result, system: str, axes: list[Axes], ends_s: tuple[float, float]) -> None:
    """Draw part of a run: the level as a line, each run as a bar, what people did."""
    level, runs, *strip = axes
    times = _times(result, *ends_s)
    seen = _seen(result, times)
    depth = _prepare(result, system, (level, runs), ends_s, seen)
    x = style.day_numbers(result.episode.start, times)
    level.plot(x, depth(seen), color=style.BLACK, linewidth=1.0)
    rows.draw_runs(runs, result, *ends_s, seen_only=True)
    patches = rows.role_patches(result, ends_s) + rows.mark_patches(result, ends_s, seen_only=True)
    explain(runs, [*patches, *people.reached_marks(result, ends_s)])
    for axis in strip:
        people.draw(axis, result, ends_s)
        runs.tick_params(labelbottom=False)


def _overview(result: Result, system: str, axes: list[Axes]) -> None:
    """Draw a whole run: range of the level that was seen, and how much each pump ran."""
    level, runs, *strip = axes
    ends_s = (0.0, result.trace.end_s)
    edges = span_edges(ends_s[1])
    times = np.union1d(_times(result, *ends_s), edges)
    seen = _seen(result, times)
    known = np.isfinite(seen)
    depth = _prepare(result, system, (level, runs), ends_s, seen)
    least, greatest = ranges(times[known], seen[known], edges)
    level.fill_between(
        style.day_numbers(result.episode.start, edges),
        depth(np.append(least, least[-1])),
        depth(np.append(greatest, greatest[-1])),
        step="post",
        facecolor="#9fb8c8",
        edgecolor=style.DARK,
        linewidth=0.3,
    )
    span_h = (edges[1] - edges[0]) / 3600.0
    span = {24.0: "day", 168.0: "week", 1.0: "hour"}.get(span_h, f"{span_h:g} h")
    level.set_title(
        f"Whole run: range of the level that the panel saw in each {span};"
        f" height of a pump's row: part of the {span} in which it ran"
    )
    rows.draw_shares(runs, result, edges, seen_only=True)
    marks = people.reached_marks(result, ends_s)
    explain(runs, [*rows.mark_patches(result, ends_s, seen_only=True), *marks])
    for axis in strip:
        people.draw(axis, result, ends_s, words=False)
        runs.tick_params(labelbottom=False)


def _prepare(
    result: Result,
    system: str,
    axes: tuple[Axes, Axes],
    ends_s: tuple[float, float],
    seen_m: Floats,
) -> style.LevelAxis:
    """Give both axes their scales: how high the water truly came is no business of theirs."""
    level, _runs = axes
    for axis in axes:
        style.time_axis(axis, result.episode.start, *ends_s)
        rows.shade_outages(axis, result)
    depth = style.level_axis(result.station, system)
    finish_level(level, result, system)
    set_m = [value for _name, value in set_levels(result.station)]
    top_m = max(*set_m, float(np.nanmax(seen_m, initial=0.0)))
    level.set_ylim(float(depth(0.0)), float(depth(1.06 * top_m)))
    level.tick_params(labelbottom=False)
    return depth

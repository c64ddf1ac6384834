"""Level, flows, and who ran: the plot to look at first.

A short run is drawn as it was. In a long one the level swings too often for a line, so an overview
shows its range in each span of time, and below it stands the day with the most happening.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import numpy as np

from stationsim.errors import InputError
from stationsim.outline import set_levels
from stationsim.plots import people, rows, style
from stationsim.plots.busiest import busiest_day
from stationsim.plots.level_seen import draw_seen
from stationsim.units import show
from stationsim.wording import date_of, day_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result
    from stationsim.units import System

MOST_STARTS_AS_LINE = 150
"""With more starts than this the level is drawn as a range per span of time."""

_SPANS_H = (1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 168.0)
_MOST_SPANS = 130
_MOST_DAYS_AS_SPANS = 1100
_THINNEST = 0.012
"""Half the least height of the band of levels, over that of the plot: a steady level shows too."""

_BACK = "runs back"
_RUNS_BACK: dict[str, Any] = {
    "color": style.PURPLE,
    "linewidth": 1.2,
    "linestyle": (0, (3, 1.2, 1, 1.2)),
}

_LEFT_IN, _RIGHT_IN = 0.9, 1.75
_WIDTH_IN = 11.0


def levels_figure(
    result: Result, system: str = "si", from_s: float | None = None, to_s: float | None = None
) -> Figure:
    """Return the figure of level, flows and runs.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    from_s, to_s
        Draw this part of the run in detail, each run of a pump as it was [s since the start];
        None for the start and for the end. With neither, a long run is drawn as an overview with
        the day with the most happening below it.

    Raises
    ------
    InputError
        When the part does not lie within the run.

    Examples
    --------
    Tuesday from 06:00 to 12:00 of a run that begins on Monday at midnight:
    ``levels_figure(result, "si", 30 * 3600, 36 * 3600)``.
    """
    end_s = result.trace.end_s
    if from_s is not None or to_s is not None:
        low, high = 0.0 if from_s is None else float(from_s), end_s if to_s is None else float(to_s)
        if not 0.0 <= low < high <= end_s:
            raise InputError(
                f"from {low:g} s to {high:g} s is no part of this run; accepted: from 0 s or later,"
                f" to {end_s:g} s or earlier, and the end after the beginning"
            )
        with style.styled():
            return _short(result, system, (low, high))
    with style.styled():
        long = end_s > style.DAY_S and len(result.pump_runs) > MOST_STARTS_AS_LINE
        return _long(result, system) if long else _short(result, system, (0.0, end_s))


def _short(result: Result, system: str, ends_s: tuple[float, float]) -> Figure:
    names = rows.row_names(result, ends_s)
    tall, gaps = [3.3, 1.5, rows_in(names)], [0.62, 0.28, 0.28]
    lanes = people.lanes(result, ends_s)
    if lanes:
        tall, gaps = [*tall, people.tall_in(lanes)], [*gaps, 0.28]
    figure, axes = stacked(tall, gaps, [*names, *(lane.name for lane in lanes)])
    _detail(result, system, axes, ends_s)
    style.head(figure, f"{result.station.name}: level, flows and runs", span_text(result, ends_s))
    return figure


def _long(result: Result, system: str) -> Figure:
    low, high, why = busiest_day(result)
    names = rows.row_names(result, (0.0, result.trace.end_s))
    tall, gaps = [2.3, 1.2, rows_in(names)], [0.85, 0.28, 0.28]
    lanes = people.lanes(result, (0.0, result.trace.end_s), words=False)
    if lanes:
        tall, gaps = [*tall, people.tall_in(lanes, words=False)], [*gaps, 0.28]
    first = len(tall)
    tall += [2.5, 1.2, rows_in(rows.row_names(result, (low, high)))]
    gaps += [0.8, 0.28, 0.28]
    on_the_day = people.lanes(result, (low, high))
    if on_the_day:
        tall, gaps = [*tall, people.tall_in(on_the_day)], [*gaps, 0.28]
    figure, axes = stacked(tall, gaps, [*names, *(lane.name for lane in lanes)])
    edges = span_edges(result.trace.end_s)
    _overview(result, system, axes[:first], edges)
    _detail(result, system, axes[first:], (low, high))
    axes[first].set_title(why)
    span_h = (edges[1] - edges[0]) / 3600.0
    span = {24.0: "day", 168.0: "week", 1.0: "hour"}.get(span_h, f"{span_h:g} h")
    axes[0].set_title(
        f"Whole run: range of the level and mean flows of each {span};"
        f" height of a pump's row: part of the {span} in which it ran"
    )
    low_n, high_n = style.day_numbers(result.episode.start, [low, high])
    for axis in axes[:first]:
        axis.axvspan(low_n, high_n, facecolor="#fff3c4", zorder=-1)
    below = span_text(result, (0.0, result.trace.end_s))
    style.head(figure, f"{result.station.name}: level, flows and runs", below)
    return figure


def span_edges(end_s: float) -> Floats:
    """Return edges of at most a few hundred even spans over a run, the last cut at its end [s].

    Parameters
    ----------
    end_s
        Where the run ended [s].
    """
    span_h = next((h for h in _SPANS_H if end_s / (h * 3600.0) <= _MOST_SPANS), _SPANS_H[-1])
    if span_h > 24.0 and end_s <= _MOST_DAYS_AS_SPANS * style.DAY_S:
        span_h = 24.0
    span_s = span_h * 3600.0
    return np.append(np.arange(0.0, end_s - 1.0, span_s), end_s)


def ranges(t_s: Floats, values: Floats, edges_s: Floats) -> tuple[Floats, Floats]:
    """Return least and greatest value in each span; NaN for a span with none.

    Parameters
    ----------
    t_s
        Times, rising [s].
    values
        Value at each.
    edges_s
        Edges of the spans [s].
    """
    which = np.clip(np.searchsorted(edges_s, t_s, "right") - 1, 0, len(edges_s) - 2)
    least = np.full(len(edges_s) - 1, np.inf)
    greatest = np.full(len(edges_s) - 1, -np.inf)
    np.minimum.at(least, which, values)
    np.maximum.at(greatest, which, values)
    empty = greatest < least
    least[empty], greatest[empty] = np.nan, np.nan
    return least, greatest


def span_text(result: Result, ends_s: tuple[float, float]) -> str:
    """Return what part of a run is shown, in words.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to [s].
    """
    begin, end = (result.episode.moment(t_s) for t_s in ends_s)
    span = show(ends_s[1] - ends_s[0], "duration", "si")
    return (
        f"{day_of(begin)} {date_of(begin)} {begin.year} {begin:%H:%M} to {day_of(end)}"
        f" {date_of(end)} {end.year} {end:%H:%M} ({span}), local time"
    )


def rows_in(names: list[str]) -> float:
    """Return how much room rows take [in].

    Parameters
    ----------
    names
        What stands at their left.
    """
    return 0.26 * len(names) + 0.1


def stacked(heights: list[float], gaps: list[float], names: list[str]) -> tuple[Figure, list[Axes]]:
    """Return a figure and axes one below the other.

    Parameters
    ----------
    heights, gaps
        Height of each, and the gap above it [in].
    names
        What stands at the left of the rows: they need room.
    """
    foot = 0.72
    total = sum(heights) + sum(gaps) + foot
    figure = style.new_figure(_WIDTH_IN, total)
    left = max(_LEFT_IN, 0.25 + 0.072 * max(len(name) for name in names))
    wide = _WIDTH_IN - left - _RIGHT_IN
    axes, y = [], total
    for height, gap in zip(heights, gaps, strict=True):
        y -= gap + height
        axes.append(
            figure.add_axes((left / _WIDTH_IN, y / total, wide / _WIDTH_IN, height / total))
        )
    return figure, axes


def _detail(result: Result, system: str, axes: list[Axes], ends_s: tuple[float, float]) -> None:
    """Draw part of a run as it was: the level as a line, the flows, each run as a bar."""
    level, flows, runs, *strip = axes
    low, high = ends_s
    start = result.episode.start
    legs = result.course.knots[0]
    times = np.unique(
        np.concatenate((np.linspace(low, high, 1200), legs[(legs >= low) & (legs <= high)]))
    )
    x = style.day_numbers(start, times)
    for axis in axes:
        style.time_axis(axis, start, low, high)
        rows.shade_outages(axis, result)
    depth = style.level_axis(result.station, system)
    flow = style.scale("flow", system)
    level.plot(x, depth(result.level_at(times)), color=style.BLACK, linewidth=1.0, label="level")
    finish_level(level, result, system)
    draw_seen(level, result, system, ends_s)
    drawn = result.sampled(times)
    flows.step(
        x, flow(drawn.pumped_m3s), where="post", color=style.BLUE, linewidth=1.0, label="pumped"
    )
    flows.plot(x, flow(drawn.inflow_m3s), color=style.BLACK, linewidth=1.3, label="inflow")
    if len(result.spills):
        flows.plot(
            x,
            flow(drawn.spill_m3s),
            color=style.VERMILION,
            linewidth=1.3,
            linestyle=":",
            label="spill",
        )
    back = np.minimum(drawn.other_m3s - drawn.hauled_m3s, 0.0)
    if np.any(back < 0.0):
        beside = np.convolve(back < 0.0, np.ones(3), "same") > 0.0  # no line along nought
        shown = flow(np.where(beside, back, np.nan))
        flows.step(x, shown, where="post", label=_BACK, **_RUNS_BACK)
    most = float(np.max([drawn.pumped_m3s, drawn.inflow_m3s]))
    _finish_flows(flows, flow, most, float(np.min(back)))
    rows.draw_runs(runs, result, low, high)
    _share_time_labels(axes)
    patches = rows.role_patches(result, (low, high)) + rows.mark_patches(result, (low, high))
    explain(runs, [*patches, *people.reached_marks(result, ends_s)])
    for axis in strip:
        people.draw(axis, result, ends_s)


def _overview(result: Result, system: str, axes: list[Axes], edges: Floats) -> None:
    """Draw a whole run: range of the level, mean flows, and how much each pump ran."""
    level, flows, runs, *strip = axes
    start, end_s = result.episode.start, result.trace.end_s
    for axis in axes:
        style.time_axis(axis, start, 0.0, end_s)
        rows.shade_outages(axis, result)
    depth = style.level_axis(result.station, system)
    flow = style.scale("flow", system)
    x = style.day_numbers(start, edges)
    least, greatest = _band_m(result, edges)
    level.stairs(
        depth(greatest),
        x,
        baseline=depth(least),
        fill=True,
        facecolor="#9fb8c8",
        edgecolor=style.DARK,
        linewidth=0.3,
        label="range of the level",
    )
    finish_level(level, result, system)
    draw_seen(level, result, system, (0.0, end_s))
    spans = np.diff(edges)
    pumped = np.zeros(len(spans))
    for name in result.station.machine_names():
        own = result.pump_runs.loc[result.pump_runs["pump"] == name]
        pumped += rows.by_span(own, edges, own["volume_m3"].to_numpy())
    arrived = np.array([result.trace.inflow.volume_m3(float(e)) for e in edges])
    flows.stairs(
        flow(pumped / spans), x, color=style.BLUE, linewidth=1.0, label="pumped", baseline=None
    )
    flows.stairs(
        flow(np.diff(arrived) / spans),
        x,
        color=style.BLACK,
        linewidth=1.2,
        linestyle=(0, (4, 1.5)),
        label="inflow",
        baseline=None,
    )
    back = _back_m3(result, edges) / spans
    if np.any(back < 0.0):
        flows.stairs(flow(back), x, label=_BACK, baseline=None, **_RUNS_BACK)
    most = max(float(np.max(pumped / spans)), float(np.max(np.diff(arrived) / spans)))
    _finish_flows(flows, flow, most, float(np.min(back)))
    rows.draw_shares(runs, result, edges)
    _share_time_labels(axes)
    marks = people.reached_marks(result, (0.0, end_s))
    explain(runs, [*rows.mark_patches(result, (0.0, end_s)), *marks])
    for axis in strip:
        people.draw(axis, result, (0.0, end_s), words=False)


def explain(axes: Axes, patches: Sequence[Artist]) -> None:
    """Write the legend of the rows at their right."""
    if patches:
        axes.legend(
            handles=list(patches),
            loc="upper left",
            bbox_to_anchor=(1.01, 1.03),
            borderpad=0.0,
            handlelength=1.8,
            handleheight=1.1,
        )


def _band_m(result: Result, edges: Floats) -> tuple[Floats, Floats]:
    """Return the range of the level in each span [m above floor], never thinner than a line."""
    times, volumes = result.course.knots
    at_edges = result.sampled(edges).volume_m3
    least, greatest = ranges(np.append(edges[:-1], times), np.append(at_edges[:-1], volumes), edges)
    well = result.station.well
    least = well.levels_at(np.minimum(least, at_edges[1:]))
    greatest = well.levels_at(np.maximum(greatest, at_edges[1:]))
    # a steady level would be a line of no height, on the floor or under the line of a set-point
    thin = _THINNEST * _top_m(result)
    middle = np.maximum(0.5 * (least + greatest), thin)
    return np.minimum(least, middle - thin), np.maximum(greatest, middle + thin)


def _top_m(result: Result) -> float:
    return max(
        [result.trace.greatest_level_m, *(level for _name, level in set_levels(result.station))]
    )


def _share_time_labels(axes: tuple[Axes, ...] | list[Axes]) -> None:
    for axis in axes[:-1]:
        axis.tick_params(labelbottom=False)


def finish_level(axes: Axes, result: Result, system: str) -> None:
    """Give axes of level their scale, and draw the levels that are set.

    Parameters
    ----------
    axes
        Where.
    result
        The run.
    system
        ``si`` or ``us``.
    """
    station = result.station
    depth = style.level_axis(station, system)
    points = set_levels(station)
    axes.set_ylim(float(depth(0.0)), float(depth(1.06 * _top_m(result))))
    axes.set_ylabel(depth.label)
    labels, units = [], cast("System", system)
    for name, level in points:
        y = float(depth(level))
        colour, dashes, width = _line(name)
        axes.axhline(y, color=colour, linestyle=dashes, linewidth=width, zorder=1.5)
        labels.append((y, f"{name} {show(station.shown_m(level), 'level', units)}", colour))
    style.right_labels(axes, labels)


def _line(name: str) -> tuple[str, tuple[float, tuple[float, ...]] | str, float]:
    if name == "spill":
        return style.VERMILION, "-", 1.8
    if "alarm" in name:
        return "#9a6a00", (0, (7, 2, 1.5, 2)), 1.1
    if name.endswith("start"):
        return style.BLUE, (0, (5, 3)), 0.8
    if name.endswith("stop"):
        return style.DARK, (0, (1.2, 2.2)), 0.9
    return style.GREY, (0, (2, 4)), 0.8


def _back_m3(result: Result, edges: Floats) -> Floats:
    """Return how much runs back in each span, as less than nought [m3]."""
    if result.trace.run_back_m3 <= 0.0:
        return np.zeros(len(edges) - 1)
    knots = np.union1d(result.course.knots[0], edges)
    middles = 0.5 * (knots[:-1] + knots[1:])
    drawn = result.sampled(middles)
    flows = np.minimum(drawn.other_m3s - drawn.hauled_m3s, 0.0)
    which = np.clip(np.searchsorted(edges, middles, "right") - 1, 0, len(edges) - 2)
    found: Floats = np.bincount(
        which, weights=flows * np.diff(knots), minlength=len(edges) - 1
    ).astype(float)
    return found


def _finish_flows(axes: Axes, flow: style.Scale, most_m3s: float, least_m3s: float = 0.0) -> None:
    axes.set_ylabel(f"flow [{flow.unit}]")
    low = 1.15 * float(flow(least_m3s)) if least_m3s < 0.0 else 0.0
    axes.set_ylim(low, 1.1 * float(flow(most_m3s)) if most_m3s > 0.0 else 1.0)
    if low < 0.0:
        axes.axhline(0.0, color=style.DARK, linewidth=0.6, zorder=0.9)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.03), borderpad=0.0)

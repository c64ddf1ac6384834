"""Minutes to spill over a run, if all pumping stopped now: the overflow risk of one run."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import numpy as np

from stationsim.plots import rows, style
from stationsim.plots.levels import MOST_STARTS_AS_LINE, ranges, span_edges
from stationsim.units import show
from stationsim.wording import level_text, moment

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result
    from stationsim.units import System

_WIDTH_IN, _HEIGHT_IN = 11.0, 4.6
_EVEN_POINTS = 1500


def time_to_spill_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of the time to spill.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``; times are the same in both.
    """
    with style.styled():
        figure = style.new_figure(_WIDTH_IN, _HEIGHT_IN)
        axes = figure.add_axes((0.075, 0.16, 0.875, 0.685))
        title = f"{result.station.name}: time to spill if all pumping stopped at that moment"
        if result.station.spillway is None:
            _say(axes, "No point of spill was given, so there is no time to spill.")
            style.head(figure, title)
            return figure
        style.time_axis(axes, result.episode.start, 0.0, result.trace.end_s)
        long = result.trace.end_s > style.DAY_S and len(result.pump_runs) > MOST_STARTS_AS_LINE
        _draw(axes, result, cast("System", system), long=long)
        crest_m = result.station.spillway.crest_m
        crest = level_text(result.station, crest_m, cast("System", system))
        note = f"Spill at {crest}. Inflow as in the episode; beyond its end the last day repeats."
        if long:
            note += " The shaded range goes from the least to the greatest of each span of time."
        style.head(figure, title, note)
        return figure


def _draw(axes: Axes, result: Result, system: System, *, long: bool) -> None:
    start, end_s = result.episode.start, result.trace.end_s
    t_s, left_s = _left(result)
    known = np.isfinite(left_s)
    if not np.any(known):
        _say(axes, "The inflow would never bring a spill, whenever all pumping stopped.")
        return
    hours = float(np.nanmax(left_s[known])) > 3.0 * 3600.0
    per = 3600.0 if hours else 60.0
    if long:
        edges = span_edges(end_s)
        least, greatest = ranges(t_s[known], left_s[known] / per, edges)
        x = style.day_numbers(start, edges)
        bare = np.isnan(least)
        axes.stairs(
            np.where(bare, 0.0, greatest),
            x,
            baseline=np.where(bare, 0.0, least),
            fill=True,
            facecolor="#c9d6de",
            linewidth=0.0,
        )
        axes.stairs(least, x, baseline=None, color=style.BLUE, linewidth=1.2)
    else:
        x = style.day_numbers(start, t_s)
        axes.plot(x, np.where(known, left_s / per, np.nan), color=style.BLUE, linewidth=1.1)
    rows.shade_outages(axes, result)
    for begin, end in zip(result.spills["start_s"], result.spills["stop_s"], strict=True):
        low, high = style.day_numbers(start, [begin, end])
        axes.axvspan(
            low, high, facecolor="none", edgecolor=style.VERMILION, hatch="xxxx", linewidth=0.0
        )
    top = float(np.max(left_s[known])) / per
    axes.set_ylim(0.0, 1.22 * top if top > 0.0 else 1.0)
    axes.set_ylabel(f"time to spill [{'h' if hours else 'min'}]")
    if not np.all(known):
        axes.text(
            1.0,
            1.015,
            "gaps: never, as far as the inflow is known",
            transform=axes.transAxes,
            ha="right",
            va="bottom",
            fontsize=8.0,
            color=style.DARK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
    _mark_least(axes, result, system, per)


def _left(result: Result) -> tuple[Floats, Floats]:
    """Return times [s] and the time to spill at each [s], the least of the run among them."""
    course = result.course
    least_at = [t for t in [result.value("time of least time to spill")] if np.isfinite(t)]
    even = np.linspace(0.0, result.trace.end_s, _EVEN_POINTS)
    t_s = np.unique(np.concatenate((course.knots[0], even, least_at)))
    return t_s, course.time_to_spill(t_s, result.sampled(t_s).volume_m3)


def _mark_least(axes: Axes, result: Result, system: System, per: float) -> None:
    least_s = result.value("least time to spill")
    at_s = result.value("time of least time to spill")
    x = float(style.day_numbers(result.episode.start, at_s))
    text = f"least: {show(least_s, 'duration', system)} at {moment(result, at_s)}"
    if len(result.spills):
        first = result.spills["start_s"].iloc[0]
        text = f"it spilled, first at {moment(result, first)}"
        x, least_s = float(style.day_numbers(result.episode.start, first)), 0.0
    low, high = axes.get_xlim()
    right = (x - low) / (high - low) < 0.6
    axes.plot([x], [least_s / per], marker="o", color=style.BLACK, markersize=5.0, clip_on=False)
    axes.annotate(
        text,
        (x, least_s / per),
        xytext=(x, 0.985 * axes.get_ylim()[1]),
        ha="left" if right else "right",
        va="top",
        fontsize=9.0,
        weight="bold",
        bbox={"facecolor": "white", "edgecolor": style.DARK, "linewidth": 0.6, "pad": 2.5},
        arrowprops={
            "arrowstyle": "-",
            "color": style.BLACK,
            "linewidth": 1.0,
            "relpos": (0.0 if right else 1.0, 0.0),
            "shrinkA": 0.0,
        },
    )


def _say(axes: Axes, text: str) -> None:
    axes.set_axis_off()
    axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", va="center", fontsize=11.0)

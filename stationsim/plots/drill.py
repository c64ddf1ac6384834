"""A drill in one picture: the level of each course, what was decided when, and who was where.

The course of the person who played is the heavy line; the others differ by colour and dashes and
are named. Decisions are numbered as in the table. Below stands what has spilled by then.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from stationsim.metrics.spilled import spilled_by
from stationsim.outline import set_levels
from stationsim.plots import people, style
from stationsim.plots.level_seen import draw_seen
from stationsim.plots.levels import span_text, stacked
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result
    from stationsim.units import System

_POINTS = 1500
_LEAST_WIDE = 0.022
"""Room of a number above the level, as a part of the axis."""

_WIDE_LETTERS = 18
"""Letters that fit beside the axes, in a line of the legend."""

_LINES: tuple[dict[str, Any], ...] = (
    {"color": style.VERMILION, "linewidth": 1.2, "linestyle": (0, (1.2, 1.6))},
    {"color": style.BLUE, "linewidth": 1.2, "linestyle": (0, (5, 2))},
)
_YOURS: dict[str, Any] = {"color": style.BLACK, "linewidth": 2.4}
"""Heavy, and below the thin ones: where they are one, both can be seen."""
_DRAWN_LEVELS = ("high-level alarm", "spill")


class Mark(NamedTuple):
    """A decision: its number, when it was made [s], and what was typed."""

    number: int
    t_s: float
    line: str


def drill_figure(
    runs: Mapping[str, Result],
    marks: Sequence[Mark],
    ends_s: tuple[float, float],
    system: System,
) -> Figure:
    """Return the figure of a drill.

    Parameters
    ----------
    runs
        The courses by name; the last one is that of the person who played.
    marks
        What was decided.
    ends_s
        From and to of what is shown [s].
    system
        ``si`` or ``us``.
    """
    yours = list(runs.values())[-1]
    with style.styled():
        lanes = people.lanes(yours, ends_s)
        tall, gaps = [3.4, 1.4], [0.95, 0.3]
        if lanes:
            tall, gaps = [*tall, people.tall_in(lanes)], [*gaps, 0.3]
        figure, axes = stacked(tall, gaps, [lane.name for lane in lanes] or [""])
        _levels(axes[0], runs, ends_s, system)
        _numbers(axes[0], yours, marks, ends_s, system)
        _spilled(axes[1], runs, ends_s, system)
        for axis in axes[2:]:
            people.draw(axis, yours, ends_s)
        for axis in axes[:-1]:
            axis.tick_params(labelbottom=False)
        below = span_text(yours, ends_s)
        if marks:
            below += "; numbers: decisions, as in the table"
        style.head(figure, f"{yours.station.name}: a drill, and what else could have come", below)
        return figure


def _looks(runs: Mapping[str, Result]) -> list[tuple[str, Result, dict[str, Any]]]:
    names = list(runs)
    looks = [*_LINES[: len(names) - 1], _YOURS]
    return [
        (name, runs[name], {**look, "zorder": 3.0 if look is _YOURS else 3.2})
        for name, look in zip(names, looks, strict=True)
    ]


def _times(result: Result, ends_s: tuple[float, float]) -> Floats:
    low, high = ends_s
    knots = result.course.knots[0]
    even = np.linspace(low, high, _POINTS)
    found: Floats = np.unique(np.concatenate((even, knots[(knots >= low) & (knots <= high)])))
    return found


def _levels(
    axes: Axes, runs: Mapping[str, Result], ends_s: tuple[float, float], system: System
) -> None:
    yours = list(runs.values())[-1]
    start, station = yours.episode.start, yours.station
    depth = style.level_axis(station, system)
    style.time_axis(axes, start, *ends_s)
    lows, highs = [], []
    for name, result, look in _looks(runs):
        times = _times(result, ends_s)
        levels = result.level_at(times)
        axes.plot(style.day_numbers(start, times), depth(levels), label=name, **look)
        lows.append(float(np.min(levels)))
        highs.append(float(np.max(levels)))
    labels = []
    for name, level_m in set_levels(station):
        if name in _DRAWN_LEVELS:
            colour = style.VERMILION if name == "spill" else "#9a6a00"
            axes.axhline(float(depth(level_m)), color=colour, linewidth=1.2, zorder=1.5)
            text = f"{name} {show(station.shown_m(level_m), 'level', system)}"
            labels.append((float(depth(level_m)), text, colour))
            highs.append(level_m)
    span = max(max(highs) - min(lows), 0.1)
    axes.set_ylim(float(depth(min(lows) - 0.04 * span)), float(depth(max(highs) + 0.06 * span)))
    axes.set_ylabel(depth.label)
    style.right_labels(axes, labels)
    draw_seen(axes, yours, system, ends_s)
    handles, names = axes.get_legend_handles_labels()
    axes.legend(
        handles, [textwrap.fill(str(name), _WIDE_LETTERS) for name in names],
        loc="lower left", bbox_to_anchor=(1.01, 0.0), borderpad=0.0,
    )  # fmt: skip


def _numbers(
    axes: Axes,
    result: Result,
    marks: Sequence[Mark],
    ends_s: tuple[float, float],
    system: System,
) -> None:
    """Write the number of each decision above the level at its time, and dot the level there."""
    shown = [mark for mark in marks if ends_s[0] <= mark.t_s <= ends_s[1]]
    if not shown:
        return
    times = np.array([mark.t_s for mark in shown])
    depth = style.level_axis(result.station, system)
    x = style.day_numbers(result.episode.start, times)
    axes.plot(
        x, depth(result.level_at(times)), linestyle="none", marker="o", markersize=4.5,
        markerfacecolor="white", markeredgecolor=style.BLACK, zorder=3.6,
    )  # fmt: skip
    left, right = axes.get_xlim()
    wanted = [float(at - left) / (right - left) for at in x]
    for mark, at, to in zip(
        shown, wanted, style.spread(wanted, _LEAST_WIDE, 0.0, 1.0), strict=True
    ):
        axes.annotate(
            str(mark.number), xy=(at, 1.0), xytext=(to, 1.065), xycoords="axes fraction",
            textcoords="axes fraction", ha="center", va="center", fontsize=7.5,
            annotation_clip=False,
            bbox={"boxstyle": "circle,pad=0.22", "facecolor": "white", "edgecolor": style.DARK,
                  "linewidth": 0.7},
            arrowprops={"arrowstyle": "-", "color": style.GREY, "linewidth": 0.6, "shrinkA": 0.0,
                        "shrinkB": 0.0},
        )  # fmt: skip
        axes.axvline(
            float(x[shown.index(mark)]), color=style.GREY, linewidth=0.6, zorder=1.2,
            linestyle=(0, (2, 2)),
        )  # fmt: skip


def _spilled(
    axes: Axes, runs: Mapping[str, Result], ends_s: tuple[float, float], system: System
) -> None:
    start = list(runs.values())[-1].episode.start
    volume = style.scale("volume", system)
    style.time_axis(axes, start, *ends_s)
    labels, most = [], 0.0
    for name, result, look in _looks(runs):
        times = _times(result, ends_s)
        spilled = volume(spilled_by(result.course, times))
        axes.plot(style.day_numbers(start, times), spilled, **look)
        most = max(most, float(spilled[-1]))
        text = show(result.trace.spilled_m3, "volume", system)
        labels.append((float(spilled[-1]), f"{name} {text}", look["color"]))
    axes.set_ylim(0.0, 1.12 * most if most > 0.0 else 1.0)
    axes.set_ylabel(f"spilled [{volume.unit}]")
    if most > 0.0:
        style.right_labels(axes, labels)
    else:
        axes.text(
            0.5, 0.5, "nothing spilled in any course", transform=axes.transAxes, ha="center",
            va="center", color=style.GREY,
        )  # fmt: skip

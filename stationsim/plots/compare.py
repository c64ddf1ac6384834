"""Settings side by side: two courses of the level, shared work, and a grid of combinations."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.ticker import FuncFormatter

from stationsim.outline import set_levels
from stationsim.plots import style

if TYPE_CHECKING:
    from datetime import datetime

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.station import Station

_WIDTH_IN = 11.0
_LEVELS_SHOWN = ("stop", "lead start", "lag start", "high-level alarm", "spill")
_HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "||||")
_LOOKS: tuple[tuple[str, Any, float], ...] = (
    (style.SKY, "-", 3.0),
    (style.BLACK, "-", 0.9),
)
"""Colour, dashes and width of the two settings: broad and pale, thin and dark."""


@dataclass(frozen=True)
class Course:
    """The level of one setting over a day.

    Parameters
    ----------
    label
        What the setting is called.
    station
        What stood there.
    t_s, level_m
        Times since the start of the episode [s] and levels above the floor [m].
    """

    label: str
    station: Station
    t_s: Floats
    level_m: Floats


@dataclass(frozen=True)
class Panel:
    """One figure over a grid of settings.

    Parameters
    ----------
    title
        What it is, with its unit.
    values
        A row of numbers for each row of the grid.
    texts
        The same as text.
    least_span
        A range no wider than this is not worth a change of colour.
    """

    title: str
    values: Sequence[Sequence[float]]
    texts: Sequence[Sequence[str]]
    least_span: float = 0.0


def day_figure(
    courses: Sequence[Course],
    start: datetime,
    span_s: tuple[float, float],
    title: str,
    below: str,
    system: str = "si",
) -> Figure:
    """Return the figure of the levels of two settings on one axis.

    Parameters
    ----------
    courses
        The two settings; levels are counted as the first one's people count them.
    start
        Local time at which the episode begins.
    span_s
        Beginning and end of the day [s].
    title, below
        What it shows, and what to know when reading it.
    system
        ``si`` or ``us``.
    """
    with style.styled():
        tall = 5.2
        figure = style.new_figure(_WIDTH_IN, tall)
        axes = figure.add_axes((0.075, 0.62 / tall, 0.745, (tall - 1.55) / tall))
        axis = style.level_axis(courses[0].station, system)
        for course, (colour, dashes, width) in zip(courses, _LOOKS, strict=False):
            axes.plot(
                style.day_numbers(start, course.t_s),
                axis(course.level_m),
                color=colour,
                linestyle=dashes,
                linewidth=width,
                label=course.label,
            )
        style.time_axis(axes, start, *span_s)
        axes.set_ylabel(axis.label)
        marks = _levels_to_mark(courses)
        ends = (
            [float(np.min(c.level_m)) for c in courses],
            [float(np.max(c.level_m)) for c in courses],
        )
        heights = [m for _, m, _ in marks]
        low = min(*ends[0], *[m for m in heights if m > min(ends[0]) - 0.4])
        high = max(*ends[1], *[m for m in heights if m < max(ends[1]) + 0.6])
        room = 0.05 * (high - low) + 0.01
        edges = sorted(float(axis(x)) for x in (low - room, high + room))
        axes.set_ylim(*(edges if axis.upwards > 0.0 else edges[::-1]))
        labels = []
        for name, level, colour in marks:
            if low - 1e-9 <= level <= high + 1e-9:
                at = float(axis(level))
                axes.axhline(at, color=colour, linewidth=0.8, linestyle=(0, (1, 2)))
                labels.append((at, name, colour))
        style.right_labels(axes, labels)
        axes.legend(
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=2,
            handlelength=3.4,
            borderaxespad=0.3,
        )
        style.head(figure, title, below)
        return figure


def _levels_to_mark(courses: Sequence[Course]) -> list[tuple[str, float, str]]:
    """Return name, level [m] and colour of what is set; apart where the two settings differ."""
    sets = [{n: m for n, m in set_levels(c.station) if _shown(n)} for c in courses]
    found = []
    for name in dict.fromkeys(name for one in sets for name in one):
        levels = [one.get(name) for one in sets]
        if len(set(levels)) == 1:
            found.append((name, levels[0], style.DARK))
            continue
        for n, level in enumerate(levels):
            if level is not None:
                which = ("first", "second")[n]
                found.append((f"{name} ({which})", level, (style.BLUE, style.BLACK)[n]))
    return [(name, level, colour) for name, level, colour in found if level is not None]


def _shown(name: str) -> bool:
    return name in _LEVELS_SHOWN or name.endswith((" start", " stop"))


def shares_figure(
    labels: Sequence[str],
    machines: Sequence[str],
    hours: Sequence[Sequence[float]],
    starts: Sequence[Sequence[float]],
    title: str,
    below: str,
) -> Figure:
    """Return the figure of run hours and starts of each pump in each setting.

    Parameters
    ----------
    labels
        The settings.
    machines
        The pumps.
    hours, starts
        For each setting a number for each pump [h], [-]; NaN for a pump that is not there.
    title, below
        What it shows, and what to know when reading it.
    """
    with style.styled():
        each = 0.17 * len(machines) + 0.16
        high = max(each * len(labels), 1.0)
        tall = high + 1.6
        figure = style.new_figure(_WIDTH_IN, tall)
        names = [_broken(label, 26) for label in labels]
        for n, (values, name) in enumerate(((hours, "run hours [h]"), (starts, "starts"))):
            box = (0.205 + 0.405 * n, 0.62 / tall, 0.365, high / tall)
            axes = figure.add_axes(box)
            _grouped(axes, np.asarray(values, dtype=float), machines, whole=n == 1)
            axes.set_xlabel(name)
            axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:,.0f}"))
            axes.set_yticks(np.arange(len(labels)), names if n == 0 else [""] * len(labels))
        handles = [
            mpl.patches.Patch(facecolor=_face(i), edgecolor=style.DARK, hatch=_hatch(i), label=name)
            for i, name in enumerate(machines)
        ]
        figure.legend(
            handles=handles,
            loc="upper left",
            bbox_to_anchor=(0.2, 1.0 - 0.62 / tall),
            ncols=max(len(machines), 1),
            handlelength=2.2,
        )
        style.head(figure, title, below)
        return figure


def _broken(text: str, wide: int) -> str:
    """Return a label on several lines, broken between its parts where it can be."""
    parts = text.split(" / ") if len(text) > wide else [text]
    return "\n".join(line for part in parts for line in textwrap.wrap(part, wide))


def _face(i: int) -> str:
    colour: str = style.MACHINES[i % len(style.MACHINES)][0]
    # black hides every hatching; a pale grey stands for the third machine
    return style.PALE if colour == style.BLACK else colour


def _hatch(i: int) -> str:
    return _HATCHES[i % len(_HATCHES)]


def _grouped(axes: Axes, values: Floats, machines: Sequence[str], *, whole: bool) -> None:
    thick = 0.8 / len(machines)
    most = float(np.nanmax(values)) if np.any(np.isfinite(values)) else 0.0
    most = most if most > 0.0 else 1.0
    for i in range(len(machines)):
        places = np.arange(len(values)) + (i - (len(machines) - 1) / 2.0) * thick
        own = np.nan_to_num(values[:, i])
        axes.barh(
            places,
            own,
            height=0.88 * thick,
            color=_face(i),
            hatch=_hatch(i),
            edgecolor=style.DARK,
            linewidth=0.5,
        )
        for place, value in zip(places, values[:, i], strict=True):
            if np.isnan(value):
                text = f"no {machines[i]}"
            else:
                text = f"{value:,.0f}" if whole or value >= 1000.0 else f"{value:.1f}"
            axes.annotate(
                text,
                (0.0 if np.isnan(value) else value, place),
                xytext=(3.0, 0.0),
                textcoords="offset points",
                va="center",
                fontsize=7.0,
            )
    axes.set_ylim(len(values) - 0.45, -0.55)
    axes.set_xlim(0.0, 1.14 * most)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")


def grid_figure(
    panels: Sequence[Panel],
    down: tuple[str, Sequence[str]],
    across: tuple[str, Sequence[str]],
    marks: Sequence[Sequence[str]],
    title: str,
    below: str,
) -> Figure:
    """Return the heat maps of a grid of two keys; each cell has its number written in it.

    Parameters
    ----------
    panels
        What is shown, one map each.
    down, across
        Name and values of the key of the rows, and of the columns.
    marks
        For each cell a word about a limit that did not hold; empty for none.
    title, below
        What it shows, and what to know when reading it.
    """
    with style.styled():
        cells = len(across[1])
        wide = max(_WIDTH_IN, len(panels) * (0.62 * cells + 0.5) + 1.9)
        high = max(0.5 * len(down[1]), 1.1)
        tall = high + 1.95
        figure = style.new_figure(wide, tall)
        left, gap = 1.55, 0.32
        each = (wide - left - 0.2 - gap * (len(panels) - 1)) / len(panels)
        for n, panel in enumerate(panels):
            box = ((left + n * (each + gap)) / wide, 0.95 / tall, each / wide, high / tall)
            axes = figure.add_axes(box)
            _heat(axes, panel, marks)
            axes.set_title(panel.title)
            axes.set_xlabel(across[0])
            axes.set_xticks(
                np.arange(cells) + 0.5, ["\n".join(textwrap.wrap(v, 12)) for v in across[1]]
            )
            rows = ["\n".join(textwrap.wrap(v, 14)) for v in down[1]]
            axes.set_yticks(np.arange(len(rows)) + 0.5, rows if n == 0 else [""] * len(rows))
            if n == 0:
                axes.set_ylabel(down[0])
        style.head(figure, title, below)
        return figure


def _heat(axes: Axes, panel: Panel, marks: Sequence[Sequence[str]]) -> None:
    values = np.asarray(panel.values, dtype=float)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    # a map whose numbers hardly differ has one pale colour: there is no range to exaggerate
    low, span = (low, high - low) if high - low > panel.least_span else (high, 1.0)
    part = 0.12 + 0.80 * np.clip((values - low) / span, 0.0, 1.0)
    colours = mpl.colormaps["cividis_r"]
    axes.pcolormesh(part, cmap=colours, vmin=0.0, vmax=1.0, edgecolor="white", linewidth=2.0)
    for (i, j), shade in np.ndenumerate(part):
        ink = "white" if shade > 0.55 else style.BLACK
        x, y, mark = j + 0.5, i + 0.5, marks[i][j]
        told = f"{panel.texts[i][j]}\n" if mark else panel.texts[i][j]
        axes.text(x, y, told, ha="center", va="center", fontsize=9.0, color=ink)
        if mark:
            axes.text(x, y + 0.2, mark, ha="center", va="center", fontsize=6.5, color=ink)
    axes.set_ylim(values.shape[0], 0.0)
    axes.grid(visible=False)
    axes.tick_params(length=0)
    for side in axes.spines.values():
        side.set_visible(False)

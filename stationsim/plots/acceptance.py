"""Figures of the day of acceptance: where lineups should work and where they do; deviations."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib.patches import Rectangle

from stationsim.plots import style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats

_WIDTH_IN = 11.0
_MOST_AWAY = 3.0
_MARKS = {"pass": ("o", style.BLUE), "unclear": ("s", style.DARK), "fail": ("X", style.VERMILION)}


class Read(NamedTuple):
    """A value that was read, and how far it may be off."""

    value: float
    off: float


class Working(NamedTuple):
    """Where a lineup should work, what is accepted, and what was read.

    Parameters
    ----------
    name
        Which pumps run.
    number
        How many of them [-].
    flow_m3s, head_m
        Flow, and head at the header above the level in the well [m3/s], [m]; NaN for no head.
    flow_low_m3s, flow_high_m3s, head_low_m, head_high_m
        What is accepted [m3/s], [m].
    curve_m3s, curve_m
        Flows and heads of its pumps together at the header [m3/s], [m]; empty without curves.
    meter, drawn
        Flow by meter and by drawdown [m3/s]; None when not read.
    head_read
        Head at the header by gauge [m]; None when not read.
    """

    name: str
    number: int
    flow_m3s: float
    head_m: float
    flow_low_m3s: float
    flow_high_m3s: float
    head_low_m: float
    head_high_m: float
    curve_m3s: Floats
    curve_m: Floats
    meter: Read | None = None
    drawn: Read | None = None
    head_read: Read | None = None


class Asked(NamedTuple):
    """What the main asks for: its name, flows [m3/s] and heads above the level [m]."""

    name: str
    flow_m3s: Floats
    head_m: Floats


class Away(NamedTuple):
    """How far a reading is from what is expected, in half widths of what is accepted.

    Parameters
    ----------
    name
        The reading.
    value, off
        Deviation, and how far the reading may be off [-].
    standing
        ``pass``, ``unclear`` or ``fail``.
    """

    name: str
    value: float
    off: float
    standing: str


def points_figure(
    title: str,
    note: str,
    working: Sequence[Working],
    asked: Sequence[Asked],
    system: str = "si",
) -> Figure:
    """Return the figure of working points and flows.

    Parameters
    ----------
    title, note
        What stands above it.
    working
        The lineups.
    asked
        What the main asks for; none when pumps have no curves.
    system
        ``si`` or ``us``.
    """
    with style.styled():
        height = max(4.8 if asked else 2.4, 1.7 + 0.34 * len(working))
        figure = style.new_figure(_WIDTH_IN, height)
        low, tall = 0.85 / height, 1.0 - 1.75 / height
        place = (0.68, low, 0.30, tall) if asked else (0.16, low, 0.80, tall)
        if asked:
            _draw_heads(figure.add_axes((0.065, low, 0.36, tall)), working, asked, system)
        _draw_flows(figure.add_axes(place), working, system)
        style.head(figure, title, note)
        return figure


def _draw_heads(
    axes: Axes, working: Sequence[Working], asked: Sequence[Asked], system: str
) -> None:
    flow, head = style.scale("flow", system), style.scale("head", system)
    alike: dict[tuple[float, ...], list[Working]] = {}
    for one in working:
        if one.curve_m3s.size:
            alike.setdefault(tuple(np.round(one.curve_m3s, 7)), []).append(one)
    for number, each in enumerate(alike.values()):
        colour, dashes = style.MACHINES[number % len(style.MACHINES)]
        axes.plot(
            flow(each[0].curve_m3s), head(each[0].curve_m), color=colour, linestyle=dashes,
            linewidth=1.2, label=", ".join(one.name.removesuffix(" alone") for one in each),
        )  # fmt: skip
    for number, one in enumerate(working):
        _draw_box(axes, one, system, first=number == 0)
    for one_asked, dashes in zip(asked, ("-", (0, (6, 3))), strict=False):
        axes.plot(
            flow(one_asked.flow_m3s), head(one_asked.head_m), color=style.BLACK, linestyle=dashes,
            linewidth=1.3, label=one_asked.name,
        )  # fmt: skip
    if any(one.head_read is not None for one in working):
        axes.plot([], [], marker="o", color=style.VERMILION, markerfacecolor="white", linestyle="",
                  label="read")  # fmt: skip
    axes.set_xlim(0.0, float(flow(asked[0].flow_m3s[-1])))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(f"flow of the station [{flow.unit}]")
    axes.set_ylabel(f"head at the header above the level [{head.unit}]")
    axes.legend(
        loc="upper left",
        bbox_to_anchor=(1.02, 1.0),
        fontsize=7.0,
        handlelength=3.0,
        borderaxespad=0.0,
    )


def _draw_box(axes: Axes, one: Working, system: str, *, first: bool) -> None:
    """Draw what is expected and accepted of a lineup, and what was read."""
    if np.isnan(one.head_m):
        return
    flow, head = style.scale("flow", system), style.scale("head", system)
    corner = (float(flow(one.flow_low_m3s)), float(head(one.head_low_m)))
    wide = float(flow(one.flow_high_m3s - one.flow_low_m3s))
    tall = float(head(one.head_high_m - one.head_low_m))
    axes.add_patch(
        Rectangle(corner, wide, tall, facecolor=style.PALE, edgecolor=style.GREY, alpha=0.55,
                  linewidth=0.6, zorder=0.9, label="accepted" if first else None)
    )  # fmt: skip
    axes.plot(
        [flow(one.flow_m3s)], [head(one.head_m)], marker="+", color=style.BLACK, markersize=8.0,
        linestyle="", zorder=4, label="expected" if first else None,
    )  # fmt: skip
    read = one.meter or one.drawn
    if read is not None and one.head_read is not None:
        axes.errorbar(
            [float(flow(read.value))], [float(head(one.head_read.value))],
            xerr=[float(flow(read.off))], yerr=[float(head(one.head_read.off))], marker="o",
            markersize=5.0, markerfacecolor="white", markeredgecolor=style.VERMILION,
            ecolor=style.VERMILION, linestyle="", zorder=5, elinewidth=1.0,
        )  # fmt: skip


def _draw_flows(axes: Axes, working: Sequence[Working], system: str) -> None:
    flow = style.scale("flow", system)
    for row, one in enumerate(working):
        low, high = float(flow(one.flow_low_m3s)), float(flow(one.flow_high_m3s))
        axes.barh(row, high - low, left=low, height=0.6, color=style.PALE, edgecolor=style.GREY,
                  linewidth=0.6)  # fmt: skip
        axes.plot(
            [flow(one.flow_m3s)] * 2, [row - 0.3, row + 0.3], color=style.BLACK, linewidth=1.4
        )
        for read, up, marker, colour in (
            (one.drawn, -0.13, "D", style.VERMILION),
            (one.meter, 0.13, "o", style.BLUE),
        ):
            if read is not None:
                axes.errorbar(
                    [float(flow(read.value))], [row + up], xerr=[float(flow(read.off))],
                    marker=marker, markersize=4.5, markerfacecolor="white", color=colour,
                    linestyle="", elinewidth=1.0,
                )  # fmt: skip
    names = ["accepted", "expected"]
    axes.plot([], [], color=style.GREY, linewidth=6.0, alpha=0.5, label=names[0])
    axes.plot([], [], color=style.BLACK, linewidth=1.4, label=names[1])
    for name, marker, colour, there in (
        ("by drawdown", "D", style.VERMILION, any(one.drawn for one in working)),
        ("by meter", "o", style.BLUE, any(one.meter for one in working)),
    ):
        if there:
            axes.plot([], [], marker=marker, color=colour, markerfacecolor="white", linestyle="",
                      label=name)  # fmt: skip
    axes.set_yticks(range(len(working)), [one.name for one in working])
    axes.set_ylim(len(working) - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel(f"flow [{flow.unit}]")
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=4, handlelength=1.2,
                columnspacing=1.0, borderaxespad=0.2)  # fmt: skip


def deviations_figure(title: str, away: Sequence[Away]) -> Figure:
    """Return the figure of deviations: each reading from what is expected, in what is accepted.

    Parameters
    ----------
    title
        What stands above it.
    away
        The readings; those with one-sided limits are left out by whoever makes them.
    """
    with style.styled():
        height = 1.7 + 0.19 * max(len(away), 4)
        figure = style.new_figure(_WIDTH_IN, height)
        axes = figure.add_axes((0.36, 0.75 / height, 0.60, 1.0 - 1.65 / height))
        axes.axvspan(-1.0, 1.0, color=style.PALE, alpha=0.55, linewidth=0.0)
        axes.axvline(0.0, color=style.BLACK, linewidth=1.0)
        for row, one in enumerate(away):
            marker, colour = _MARKS[one.standing]
            value = float(np.clip(one.value, -_MOST_AWAY, _MOST_AWAY))
            axes.errorbar(
                [value], [row], xerr=[one.off], marker=marker, markersize=5.0, color=colour,
                markerfacecolor="white" if one.standing == "pass" else colour, linestyle="",
                elinewidth=0.9,
            )  # fmt: skip
            if value != one.value:
                side, inwards = ("left", 6.0) if value < 0.0 else ("right", -6.0)
                axes.annotate(
                    f"{one.value:+.1f}", (value, row), xytext=(inwards, 0.0),
                    textcoords="offset points", ha=side, va="center", fontsize=7.0,
                )  # fmt: skip
        for standing, (marker, colour) in _MARKS.items():
            axes.plot([], [], marker=marker, color=colour, linestyle="", label=standing,
                      markerfacecolor="white" if standing == "pass" else colour)  # fmt: skip
        axes.set_yticks(range(len(away)), [one.name for one in away], fontsize=7.5)
        axes.set_ylim(len(away) - 0.4, -0.6)
        axes.set_xlim(-_MOST_AWAY - 0.2, _MOST_AWAY + 0.2)
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("deviation from the expected value, in half widths of what is accepted")
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3, borderaxespad=0.2)
        note = (
            "Bars: how far the reading may be off. Shaded: accepted. Beyond 3, the value is told."
        )
        style.head(figure, title, note)
        return figure

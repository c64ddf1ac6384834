"""The sequence of an outage: what starts by itself in seconds, who comes in minutes, the level.

Each step is a bar of its own with its name before it and its length behind it, so nothing has to
be read from colour. Where something starts by itself, its first seconds stand in a panel of their
own: on one axis of minutes they would be a line.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.plots import style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.results import Result
    from stationsim.units import System

_MOST_ROWS = 22
_PASSED_OVER = ("looks on", "is away with a load")
_STANDS = ("stopped", "not connected", "on", "grid")
_LEAST_S = 60.0
_ROOM = 0.86
"""A bar that ends before this part of the axis has room for its length behind it [-]."""
_MOST_SECONDS = 600.0


class Bar(NamedTuple):
    """One step: whose, what, from when to when [s], and whether it comes by itself."""

    who: str
    what: str
    start_s: float
    stop_s: float
    by_itself: bool


def sequence_figure(result: Result, hour: str, nobody_s: float, system: System) -> Figure:
    """Return the sequence of an outage that begins with the run.

    Parameters
    ----------
    result
        The run.
    hour
        When the power goes, in words.
    nobody_s
        When it would spill if nobody did anything [s].
    system
        ``si`` or ``us``.
    """
    with style.styled():
        bars = _bars(result)
        every = _rows(bars)
        rows = every[:_MOST_ROWS]
        left_out = len(every) - len(rows)
        more = f" {left_out} later ones are left out." if left_out else ""
        ends = _until(result, bars, nobody_s)
        seconds = _seconds(bars)
        height = 3.4 + 0.235 * max(len(rows), 3)
        figure = style.new_figure(12.4, height + 2.6)
        columns = 2 if seconds else 1
        panels = figure.subplots(
            2, columns, squeeze=False, sharey="row",
            gridspec_kw={
                "height_ratios": [height - 2.2, 3.0],
                "width_ratios": [1.0, 2.6] if seconds else [1.0],
            },
        )  # fmt: skip
        full = height + 2.6
        figure.subplots_adjust(
            left=0.235, right=0.985, top=1.0 - 0.85 / full, bottom=0.78 / full, hspace=0.07,
            wspace=0.05,
        )  # fmt: skip
        for column in range(columns):
            first = column == 0
            in_seconds = bool(seconds) and first
            until = seconds if in_seconds else ends
            per = 1.0 if in_seconds else 60.0
            _strip(panels[0][column], rows, until, per, named=first)
            _level(panels[1][column], result, until, per, nobody_s, system, named=first)
            unit = "seconds" if in_seconds else "minutes"
            panels[1][column].set_xlabel(f"{unit} from power loss [{'s' if in_seconds else 'min'}]")
        axis = style.level_axis(result.station, system)
        panels[1][0].set_ylabel(axis.label)
        handles, labels = panels[1][-1].get_legend_handles_labels()
        figure.legend(handles, labels, loc="lower right", ncols=4, frameon=False)
        style.head(
            figure,
            f"{result.station.name}: the plan at its typical pace, power lost {hour}",
            "Above: what comes by itself (hatched) and what people do, each step with its length."
            " Below: the level as it is, and as the panel sees it." + more,
        )
        return figure


def _bars(result: Result) -> list[Bar]:
    """Return the steps in the order in which they begin."""
    found = []
    for row in result.trace.power:
        if row.source in ("grid", "busbar") or row.state in _STANDS:
            continue
        found.append(Bar(row.source, row.state, row.start_s, row.stop_s, by_itself=True))
    for alarm in result.trace.alarms:
        if math.isfinite(alarm.reached_s):
            text = f"{alarm.alarm}, until somebody knows"
            found.append(Bar("alarm", text, alarm.raised_s, alarm.reached_s, by_itself=True))
    for task in result.trace.crew:
        if task.task in _PASSED_OVER or task.stop_s <= task.start_s:
            continue
        who = task.person or task.tool
        what = f"fetches {task.tool}" if task.task == "fetches" else task.task
        if not task.person and task.task == "comes":
            what = "is brought"
        found.append(Bar(who, what, task.start_s, task.stop_s, by_itself=False))
    found.sort(key=lambda bar: (bar.start_s, bar.stop_s))
    return found


def _rows(bars: Sequence[Bar]) -> list[list[Bar]]:
    """Return the bars by row: what comes again and again has one."""
    found: dict[tuple[str, str, bool], list[Bar]] = {}
    for bar in bars:
        found.setdefault((bar.who, bar.what, bar.by_itself), []).append(bar)
    return list(found.values())


def _until(result: Result, bars: Sequence[Bar], nobody_s: float) -> float:
    """Return where the axis of minutes ends [s]: all steps of the people, and the spill."""
    people = [bar.stop_s for bar in bars if not bar.by_itself and bar.stop_s < result.trace.end_s]
    ends = [*people, nobody_s if math.isfinite(nobody_s) else 0.0]
    ends += [row.stop_s for row in result.trace.spills]
    return min(max(1.12 * max(ends), 1800.0), result.trace.end_s)


def _seconds(bars: Sequence[Bar]) -> float:
    """Return how far the panel of seconds goes [s]; 0 where nothing starts by itself."""
    starts = [
        bar.stop_s for bar in bars if bar.by_itself and bar.what in ("starting", "failed")
        and bar.start_s < _MOST_SECONDS
    ]  # fmt: skip
    return 0.0 if not starts else min(max(1.6 * min(starts), _LEAST_S), _MOST_SECONDS)


def _strip(
    axes: Axes, rows: Sequence[Sequence[Bar]], until_s: float, per_s: float, *, named: bool
) -> None:
    for row, bars in enumerate(rows):
        shown = [bar for bar in bars if bar.start_s < until_s]
        for bar in shown:
            start, stop = bar.start_s / per_s, min(bar.stop_s, until_s) / per_s
            axes.barh(
                row, stop - start, left=start, height=0.62,
                color="white" if bar.by_itself else style.SKY,
                edgecolor=style.DARK if bar.by_itself else style.BLUE,
                hatch="////" if bar.by_itself else "", linewidth=0.8,
            )  # fmt: skip
        if len(bars) > 1 and shown:
            axes.annotate(
                f"{len(bars)} times", (shown[0].start_s / per_s, row), xytext=(-4.0, 0.0),
                textcoords="offset points", ha="right", va="center", fontsize=7.5,
                color=style.DARK,
            )  # fmt: skip
        elif shown:
            _length(axes, row, shown[0], until_s, per_s)
    axes.set_ylim(max(len(rows), 1) - 0.4, -0.6)
    axes.set_xlim(0.0, until_s / per_s)
    axes.tick_params(labelbottom=False, length=0)
    if named:
        names = [f"{bars[0].who}: {bars[0].what}" for bars in rows]
        axes.set_yticks(range(len(rows)), names, fontsize=8.0)
    axes.grid(visible=False, axis="y")


def _length(axes: Axes, row: int, bar: Bar, until_s: float, per_s: float) -> None:
    """Write how long a step takes behind its bar, or before it where there is no room."""
    lasts = bar.stop_s - bar.start_s
    text = f"{lasts:.0f} s" if lasts < 120.0 else f"{lasts / 60.0:.0f} min"
    end, inside = min(bar.stop_s, until_s) / per_s, False
    if bar.stop_s > until_s:
        text, inside = "goes on", True
    left = end < _ROOM * until_s / per_s
    if not (left or inside) and bar.start_s < (1.0 - _ROOM) * until_s:
        inside = True
    at = end if left or inside else bar.start_s / per_s
    axes.annotate(
        text, (at, row), xytext=(3.0 if left else -4.0, 0.0), textcoords="offset points",
        ha="left" if left else "right", va="center", fontsize=7.5, color=style.DARK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6} if inside else None,
    )  # fmt: skip


def _level(
    axes: Axes,
    result: Result,
    until_s: float,
    per_s: float,
    nobody_s: float,
    system: System,
    *,
    named: bool,
) -> None:
    levels, axis = result.levels, style.level_axis(result.station, system)
    t = levels["t_s"].to_numpy() / per_s
    axes.plot(t, axis(levels["level_m"]), color=style.BLUE, linewidth=1.8, label="level")
    axes.plot(
        t, axis(levels["level_seen_m"]), color=style.BLACK, linewidth=1.2,
        linestyle=(0, (2, 2)), label="level as the panel sees it",
    )  # fmt: skip
    station = result.station
    lines = []
    if station.alarms.high_level_m is not None:
        lines.append(("high-level alarm", station.alarms.high_level_m, style.ORANGE))
    if station.spillway is not None:
        lines.append(("spill", station.spillway.crest_m, style.VERMILION))
    for name, level, colour in lines:
        axes.axhline(axis(level), color=colour, linewidth=1.0, linestyle=(0, (5, 2)))
        if named:
            axes.annotate(
                name, (0.0, float(axis(level))), xytext=(3.0, 2.0), textcoords="offset points",
                fontsize=7.5, color=colour, va="bottom",
            )  # fmt: skip
    if math.isfinite(nobody_s) and nobody_s < until_s:
        axes.axvline(
            nobody_s / per_s,
            color=style.VERMILION,
            linewidth=1.0,
            linestyle=(0, (1.2, 1.6)),
            label="spill if nobody acts",
        )
    for number, row in enumerate(result.trace.spills):
        if row.start_s < until_s:
            axes.axvspan(
                row.start_s / per_s, min(row.stop_s, until_s) / per_s, facecolor="none",
                edgecolor=style.VERMILION, hatch="....", linewidth=0.0, alpha=0.6,
                label="it spills" if number == 0 else None,
            )  # fmt: skip
    shown = levels["level_m"].to_numpy()[t <= until_s / per_s]
    low = np.nanmin(shown)
    ends = [float(axis(low)), float(axis(result.trace.greatest_level_m))]
    ends += [float(axis(level)) for _n, level, _c in lines]
    span = max(ends) - min(ends)
    bottom, top = min(ends) - 0.06 * span, max(ends) + 0.14 * span
    axes.set_ylim((bottom, top) if axis.upwards > 0 else (max(ends) + 0.06 * span,
                                                          min(ends) - 0.14 * span))  # fmt: skip
    axes.set_xlim(0.0, until_s / per_s)

"""Alternation: who led when, and whether the hours and starts of the pumps draw apart or together.

Above, a row for each electric pump: when it ran as lead, as lag, as standby. Over long times single
runs are too thin to be seen; then a row shows the part of each span of time in which the pump ran
in each role. Below, how far the run hours and the starts of each pump lie from the mean of all: of
pumps that share the work the lines stay together, and where alternation stops they draw apart.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Patch

from stationsim.plots import style
from stationsim.wording.work import spans_without_swap

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result

_WIDTH_IN, _LEFT_IN, _RIGHT_IN = 11.0, 0.75, 1.75
_ROW_IN, _TALL_IN, _GAP_IN, _HEAD_IN, _FOOT_IN = 0.56, 1.75, 0.42, 0.92, 0.68
_MOST_RUNS = 150
_MOST_SPANS = 130
_SPANS_H = (0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 72.0, 168.0, 336.0)
_FULL = (0.1, 0.2, 0.25, 0.5, 1.0)
_EACH = 16
"""Points of each span over which a curve is averaged."""

_LEAST_WIDTH = 0.0012
_LETTER = 0.0105
_NO_SWAP: dict[str, Any] = {"facecolor": "#fbe9dd", "edgecolor": style.VERMILION, "linewidth": 0.0}


def alternation_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of who led when, and of hours and starts drawing apart or together.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``; hours and starts are the same in both.
    """
    del system
    names = [pump.name for pump in result.station.pumps]
    spans = [(span.start_s, span.stop_s) for span in spans_without_swap(result)]
    with style.styled():
        strip_in = _ROW_IN * len(names) + 0.1
        total = _HEAD_IN + strip_in + 2.0 * (_GAP_IN + _TALL_IN) + _FOOT_IN
        figure = style.new_figure(_WIDTH_IN, total)
        wide = (_WIDTH_IN - _LEFT_IN - _RIGHT_IN) / _WIDTH_IN
        top = total - _HEAD_IN - strip_in
        box = (_LEFT_IN / _WIDTH_IN, top / total, wide, strip_in / total)
        strip = figure.add_axes(box)
        long = result.trace.end_s > style.DAY_S and len(result.pump_runs) > _MOST_RUNS
        each_h, full = _strip(strip, result, names, long=long)
        legend = _legend(result, names, no_swap=bool(spans))
        figure.legend(
            handles=legend,
            loc="upper right",
            bbox_to_anchor=(1.0 - _RIGHT_IN / _WIDTH_IN, 1.0 - 0.52 / total),
            ncols=max(len(legend), 1),
            handlelength=1.8,
            columnspacing=1.2,
        )
        curves = _Curves(result, names, _edges(result, each_h) if long else None)
        for values, totals, title, unit in (
            (curves.hours, curves.totals_h, "Run hours less the mean of all pumps", "h"),
            (curves.starts, curves.totals, "Starts less the mean of all pumps", "starts"),
        ):
            top -= _GAP_IN + _TALL_IN
            axes = figure.add_axes((box[0], top / total, wide, _TALL_IN / total))
            _apart(axes, result, curves, values, [*zip(names, totals, strict=True)], unit)
            axes.set_title(f"{title}, mean of each {_span_text(each_h)}" if long else title)
        for axes in figure.axes:
            _mark(axes, result, spans)
        for axes in figure.axes[:-1]:  # one time axis for all
            axes.tick_params(axis="x", labelbottom=False)
        rotation = result.station.control.rotation
        kind = f"rotation: {rotation}" if ":" not in rotation else "a rotation of its own"
        if len(names) == 1:
            kind = "one pump, so there is nothing to alternate"
        rows = "each bar is a run"
        if each_h:
            rows = (
                f"each bar is {_span_text(each_h)}, its height the part in which the pump ran"
                f" (a full row is {100.0 * full:.0f} % of the time)"
            )
        style.head(figure, f"{result.station.name}: who led when", f"{kind.capitalize()}; {rows}.")
        return figure


# ---------------------------------------------------------------------- the strip


def _strip(axes: Axes, result: Result, names: list[str], *, long: bool) -> tuple[float, float]:
    """Draw who ran in which role.

    Returns
    -------
    tuple
        How long a bar is [h], 0 where each is a run; and what part of it a full row stands for.
    """
    start, end_s = result.episode.start, result.trace.end_s
    style.time_axis(axes, start, 0.0, end_s)
    each_h = 0.0
    if long:
        each_h = next((h for h in _SPANS_H if end_s / 3600.0 / h <= _MOST_SPANS), _SPANS_H[-1])
    parts = [result.pump_runs.loc[result.pump_runs["pump"] == name] for name in names]
    edges = _edges(result, each_h) if long else np.array([0.0, end_s])
    most = max(float(np.max(_part(own, edges))) for own in parts)
    full = next((part for part in _FULL if most <= part), 1.0) if long else 1.0
    for y, own in enumerate(parts):
        if long:
            _shares(axes, result, own, y, edges, full)
        else:
            _runs(axes, result, own, y)
        axes.axhline(y + 0.42, color=style.GREY, linewidth=0.5)
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    return each_h, full


def _edges(result: Result, each_h: float) -> Floats:
    """Return the edges of spans that begin at whole hours of the clock [s]."""
    end_s, each_s = result.trace.end_s, each_h * 3600.0
    offset_s = result.episode.clock_offset_s % each_s
    inner = np.arange(each_s - offset_s, end_s, each_s)
    found: Floats = np.concatenate(([0.0], inner[(inner > 0.0) & (inner < end_s)], [end_s]))
    return found


def _part(runs: pd.DataFrame, edges_s: Floats) -> Floats:
    """Return the part of each span for which some runs of one machine lasted [-]."""
    found: Floats = np.diff(_hours_at(runs, edges_s)) * 3600.0 / np.diff(edges_s)
    return found


def _roles(runs: pd.DataFrame) -> list[tuple[str, style.RoleLook]]:
    """Return the roles of some runs and their looks, in the order of the vocabulary."""
    ran = set(runs["role"])
    known = [(role, look) for role, look in style.ROLES.items() if role in ran]
    return known + [(role, style.OTHER_ROLE) for role in sorted(ran - set(style.ROLES))]


def _runs(axes: Axes, result: Result, own: pd.DataFrame, y: int) -> None:
    """Draw each run of a pump as a bar from the foot of its row, tall as its role is weighty."""
    low, high = (float(end) for end in axes.get_xlim())
    for role, look in _roles(own):
        part = own.loc[own["role"] == role, ["start_s", "stop_s"]].to_numpy(dtype=float)
        places = style.day_numbers(result.episode.start, part)
        axes.broken_barh(
            [(a, max(b - a, _LEAST_WIDTH * (high - low))) for a, b in places],
            (y + 0.42 - look.height, look.height),
            facecolor=look.face,
            hatch=look.hatch,
            edgecolor=style.DARK,
            linewidth=0.4,
        )
        for a, b in places:
            if b - a > _LETTER * len(role) * (high - low):
                axes.text(
                    0.5 * (a + b),
                    y + 0.42 - 0.5 * look.height,
                    role,
                    fontsize=7.0,
                    ha="center",
                    va="center",
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
                )


def _shares(
    axes: Axes, result: Result, own: pd.DataFrame, y: int, edges_s: Floats, full: float
) -> None:
    """Draw for each span of time the part in which a pump ran, one role upon the other."""
    x = style.day_numbers(result.episode.start, edges_s)
    below = np.zeros(len(edges_s) - 1)
    for role, look in _roles(own):
        ran = _part(own.loc[own["role"] == role], edges_s) / full
        axes.stairs(
            y + 0.42 - 0.84 * (below + ran),
            x,
            baseline=y + 0.42 - 0.84 * below,
            fill=True,
            facecolor=look.face,
            hatch=look.hatch,
            edgecolor=style.DARK,
            linewidth=0.0,
        )
        below = below + ran


def _legend(result: Result, names: list[str], *, no_swap: bool) -> list[Patch]:
    runs = result.pump_runs
    patches = [
        Patch(
            facecolor=look.face, hatch=look.hatch, edgecolor=style.DARK, linewidth=0.6, label=role
        )
        for role, look in _roles(runs.loc[runs["pump"].isin(names)])
    ]
    if no_swap:
        patches.append(Patch(**_NO_SWAP, label="no swap: the lead led on"))
    return patches


def _mark(axes: Axes, result: Result, spans: list[tuple[float, float]]) -> None:
    """Shade the times in which no swap could come, with an edge at both sides."""
    for span in spans:
        low, high = style.day_numbers(result.episode.start, span)
        axes.axvspan(low, high, zorder=0, **_NO_SWAP)
        for x in (low, high):
            axes.axvline(x, color=style.VERMILION, linewidth=0.8, linestyle=(0, (4, 2)), zorder=0.5)


# ---------------------------------------------------------------------- apart or together


class _Curves:
    """Run hours and starts of each pump so far, at the same times.

    Over long times they are means over parts of the spans of the strip: the steps of single cycles
    would fill the picture and hide what matters.

    Parameters
    ----------
    result
        The run.
    names
        The pumps.
    edges_s
        Edges of the spans of the strip [s]; None for the steps of single runs.
    """

    def __init__(self, result: Result, names: list[str], edges_s: Floats | None) -> None:
        runs, end_s = result.pump_runs, result.trace.end_s
        parts = [runs.loc[runs["pump"] == name] for name in names]
        self.smooth = edges_s is not None
        if edges_s is None:
            knots = [part[["start_s", "stop_s"]].to_numpy(dtype=float).ravel() for part in parts]
            times = np.unique(np.concatenate(([0.0], *knots, [end_s])))
        else:
            spans = np.diff(edges_s)[:, None]
            times = (edges_s[:-1, None] + spans * (np.arange(_EACH) + 0.5) / _EACH).ravel()
            times = np.concatenate(([0.0], times, [end_s]))
        hours = np.array([_hours_at(part, times) for part in parts])
        starts = np.array([_starts_at(part, times) for part in parts])
        self.totals_h, self.totals = hours[:, -1], starts[:, -1]
        self.times_s, self.hours, self.starts = times, hours, starts
        if self.smooth:
            self.times_s, self.hours, self.starts = (
                np.atleast_2d(_means(x)) for x in (times, hours, starts)
            )
            self.times_s = self.times_s[0]


def _means(values: Floats) -> Floats:
    """Return the first and last values, and between them the means over each span."""
    inner = values[..., 1:-1]
    means = inner.reshape(*inner.shape[:-1], -1, _EACH).mean(axis=-1)
    found: Floats = np.concatenate((values[..., :1], means, values[..., -1:]), axis=-1)
    return found


def _starts_at(runs: pd.DataFrame, times_s: Floats) -> Floats:
    """Return the starts of some runs of one machine up to each time."""
    begun = np.sort(runs["start_s"].to_numpy(dtype=float))
    return np.searchsorted(begun, times_s, side="right").astype(float)


def _hours_at(runs: pd.DataFrame, times_s: Floats) -> Floats:
    """Return the run hours of some runs of one machine up to each time [h]."""
    if len(runs) == 0:
        return np.zeros(len(times_s))
    knots = runs[["start_s", "stop_s"]].to_numpy(dtype=float)
    lasted = np.cumsum(knots[:, 1] - knots[:, 0]) / 3600.0
    so_far = np.column_stack((np.append(0.0, lasted)[:-1], lasted)).ravel()
    found: Floats = np.interp(times_s, knots.ravel(), so_far)
    return found


def _apart(
    axes: Axes,
    result: Result,
    curves: _Curves,
    values: Floats,
    totals: list[tuple[str, float]],
    unit: str,
) -> None:
    """Draw how far each pump lies from the mean of all."""
    start = result.episode.start
    style.time_axis(axes, start, 0.0, result.trace.end_s)
    x = style.day_numbers(start, curves.times_s)
    off = values - values.mean(axis=0)
    labels = []
    steps = "steps-post" if unit == "starts" and not curves.smooth else "default"
    for i, (name, total) in enumerate(totals):
        colour, dashes = style.MACHINES[i % len(style.MACHINES)]
        axes.plot(x, off[i], color=colour, linestyle=dashes, linewidth=1.5, drawstyle=steps)
        shown = f"{total:,.0f}" if unit == "starts" or total >= 1000.0 else f"{total:.1f}"
        labels.append((float(off[i, -1]), f"{name}: {shown} {unit} in all", style.BLACK))
    least = 1.0 if unit == "h" else 5.0 if curves.smooth else 2.0
    most = max(float(np.max(np.abs(off))), least)
    axes.set_ylim(-1.12 * most, 1.12 * most)
    axes.axhline(0.0, color=style.DARK, linewidth=0.7)
    axes.set_ylabel(f"apart [{unit}]")
    style.right_labels(axes, labels, size=8.5)


def _span_text(hours: float) -> str:
    if hours < 1.0:
        return f"{60.0 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"

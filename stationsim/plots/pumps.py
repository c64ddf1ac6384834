"""How the pumps shared the work: run hours and starts, in all and over time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.plots import style

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result

_WIDTH_IN, _LEFT_IN, _GAP_IN, _RIGHT_IN = 11.0, 0.75, 1.05, 1.0
_BARS_IN = 3.0


def pumps_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of run hours and starts of each pump.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``; hours and starts are the same in both.
    """
    del system
    with style.styled():
        names = result.station.machine_names()
        tall = max(2.1, 0.42 * len(names) + 0.6)
        total = 2.0 * tall + 2.35
        figure = style.new_figure(_WIDTH_IN, total)
        totals = result.pump_totals
        hours, starts = totals["hours_h"].to_numpy(), totals["starts"].to_numpy()
        worst = totals["max_starts_per_hour"].to_numpy()
        top, low = (total - 0.85 - tall) / total, 0.65 / total
        notes_h = [_hours(h) for h in hours]
        notes_n = [
            f"{n:,} (at most {w} in an hour)" if n else "0"
            for n, w in zip(starts, worst, strict=True)
        ]
        for y, values, notes, title, unit in (
            (top, hours, notes_h, "Run hours of each pump", "run hours [h]"),
            (low, starts, notes_n, "Starts of each pump", "starts"),
        ):
            box = (_LEFT_IN / _WIDTH_IN, y, _BARS_IN / _WIDTH_IN, tall / total)
            _bars(figure.add_axes(box), names, values, notes)
            figure.axes[-1].set_title(title)
            figure.axes[-1].set_xlabel(unit)
            wide = _WIDTH_IN - _LEFT_IN - _BARS_IN - _GAP_IN - _RIGHT_IN
            box = (
                (_LEFT_IN + _BARS_IN + _GAP_IN) / _WIDTH_IN,
                y,
                wide / _WIDTH_IN,
                tall / total,
            )
            growth = _hours_so_far if values is hours else _starts_so_far
            _growth(figure.add_axes(box), result, growth, unit)
            figure.axes[-1].set_title("Cumulative over the run")
        style.head(
            figure,
            f"{result.station.name}: how the pumps shared the work",
            "Starts in an hour: the worst of any sliding hour, not of clock hours.",
        )
        return figure


def _bars(axes: Axes, names: tuple[str, ...], values: Floats, notes: list[str]) -> None:
    places = np.arange(len(names))
    most = float(np.max(values)) if len(values) and np.max(values) > 0.0 else 1.0
    for y, value, note in zip(places, values, notes, strict=True):
        colour, _dashes = style.MACHINES[int(y) % len(style.MACHINES)]
        axes.barh(y, value, height=0.62, color=colour, edgecolor=style.DARK, linewidth=0.4)
        inside = value > 0.62 * most
        axes.annotate(
            note,
            (value, y),
            xytext=(-4.0 if inside else 4.0, 0.0),
            textcoords="offset points",
            ha="right" if inside else "left",
            va="center",
            fontsize=8.0,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )
    axes.set_yticks(places, names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlim(0.0, 1.05 * most)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")


def _growth(
    axes: Axes,
    result: Result,
    growth: Callable[[pd.DataFrame, float], tuple[Floats, Floats]],
    unit: str,
) -> None:
    end_s = result.trace.end_s
    start = result.episode.start
    style.time_axis(axes, start, 0.0, end_s, narrow=True)
    labels = []
    for i, name in enumerate(result.station.machine_names()):
        own = result.pump_runs.loc[result.pump_runs["pump"] == name]
        t_s, so_far = growth(own, end_s)
        colour, dashes = style.MACHINES[i % len(style.MACHINES)]
        axes.plot(
            style.day_numbers(start, t_s), so_far, color=colour, linestyle=dashes, linewidth=1.5
        )
        labels.append((float(so_far[-1]), name))
    most = max(y for y, _name in labels)
    axes.set_ylim(0.0, 1.06 * most if most > 0.0 else 1.0)
    axes.set_ylabel(unit)
    style.right_labels(axes, [(y, name, style.BLACK) for y, name in labels], size=8.5)


def _hours_so_far(runs: pd.DataFrame, end_s: float) -> tuple[Floats, Floats]:
    """Return times [s] and run hours until then [h] of one machine."""
    knots = runs[["start_s", "stop_s"]].to_numpy(dtype=float).ravel()
    lasted = np.cumsum(runs["duration_s"].to_numpy(dtype=float)) / 3600.0
    values = np.column_stack((np.append(0.0, lasted)[:-1], lasted)).ravel()
    last = float(lasted[-1]) if len(lasted) else 0.0
    return np.concatenate(([0.0], knots, [end_s])), np.concatenate(([0.0], values, [last]))


def _starts_so_far(runs: pd.DataFrame, end_s: float) -> tuple[Floats, Floats]:
    """Return times [s] and starts until then of one machine, as steps."""
    starts = runs["start_s"].to_numpy(dtype=float)
    numbers = np.arange(1.0, len(starts) + 1.0)
    values = np.column_stack((numbers - 1.0, numbers)).ravel()
    times = np.repeat(starts, 2)
    return (
        np.concatenate(([0.0], times, [end_s])),
        np.concatenate(([0.0], values, [float(len(starts))])),
    )


def _hours(hours: float) -> str:
    return f"{hours:,.0f} h" if hours >= 1000.0 else f"{hours:.1f} h"

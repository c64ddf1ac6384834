"""The plan over the hours of a day: when each source draws its first water, and when it spills."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

import numpy as np

from stationsim.plots import style
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.units import System

_MARKS = ("o", "s", "D", "^", "v")
_WHOLE = "whole plan"
_TOP_OVER = 1.6
_NO_SPILL_M3 = 1e-6


class Row(Protocol):
    """One source at an hour and a pace."""

    @property
    def day(self) -> str:
        """The day."""
        ...

    @property
    def weather(self) -> str:
        """Dry or wet."""
        ...

    @property
    def hour(self) -> int:
        """The hour [h]."""
        ...

    @property
    def source(self) -> str:
        """Which source, or the whole plan."""
        ...

    @property
    def pace(self) -> str:
        """Low, typical or high."""
        ...

    @property
    def nobody_spill_s(self) -> float:
        """When it spills if nobody does anything [s]."""
        ...

    @property
    def flow_s(self) -> float:
        """When the source draws its first water [s]."""
        ...

    @property
    def spilled_m3(self) -> float:
        """What is lost until the grid is back [m3]."""
        ...


def hours_figure(
    station: str, rows: Sequence[Row], sources: Sequence[str], outage_s: float, system: System
) -> Figure:
    """Return the figure of a plan: minutes above, volume spilled below; a column a day and weather.

    Parameters
    ----------
    station
        Its name.
    rows
        All rows: hours, sources and paces.
    sources
        Names of the sources.
    outage_s
        How long the grid stays out [s].
    system
        ``si`` or ``us``.
    """
    with style.styled():
        blocks = list(dict.fromkeys((row.day, row.weather) for row in rows))
        figure = style.new_figure(4.6 + 5.4 * len(blocks), 6.6)
        grid = figure.subplots(
            2, len(blocks), sharex=True, sharey="row", squeeze=False,
            gridspec_kw={"height_ratios": [2.1, 1.0]},
        )  # fmt: skip
        wide = 4.6 + 5.4 * len(blocks)
        figure.subplots_adjust(
            left=0.75 / wide, right=1.0 - 2.5 / wide, top=0.865, bottom=0.105, hspace=0.09,
            wspace=0.05,
        )  # fmt: skip
        top = _top(rows)
        for column, block in enumerate(blocks):
            own = [row for row in rows if (row.day, row.weather) == block]
            _minutes(grid[0][column], own, sources, top)
            _spilled(grid[1][column], own, system)
            grid[0][column].set_title(f"{block[0]} {block[1]}")
        grid[0][0].set_ylabel("minutes from power loss [min]")
        grid[1][0].set_ylabel(f"spilled [{style.scale('volume', system).unit}]")
        for row in grid:
            row[-1].legend(
                loc="upper left", bbox_to_anchor=(1.02, 1.0), borderaxespad=0.0, handlelength=2.2
            )
        out = show(outage_s, "duration", system)
        style.head(
            figure,
            f"{station}: the plan against the clock",
            f"The power goes at the hour and stays out for {out}. A mark: a source alone draws its"
            " first water, bar from the fastest to the slowest; filled: nothing spills.",
        )
        return figure


def _top(rows: Sequence[Row]) -> float:
    """Return the top of the axis of minutes: the spill and the typical response must show."""
    spills = [row.nobody_spill_s for row in rows if math.isfinite(row.nobody_spill_s)]
    typical = [
        row.flow_s for row in rows if row.pace == "typical" and math.isfinite(row.flow_s)
    ]  # fmt: skip
    most = max([*(spills or [3600.0]), *typical])
    median = float(np.median(spills)) if spills else 3600.0
    return min(1.1 * most, max(3.0 * median, _TOP_OVER * max(typical, default=0.0))) / 60.0


def _of(rows: Sequence[Row], source: str, pace: str) -> list[Row]:
    return [row for row in rows if row.source == source and row.pace == pace]


def _minutes(axes: Axes, rows: Sequence[Row], sources: Sequence[str], top: float) -> None:
    spill = _of(rows, _WHOLE, "typical")
    hours = np.array([row.hour for row in spill], dtype=float)
    until = np.array([row.nobody_spill_s for row in spill]) / 60.0
    shown = np.where(np.isfinite(until), until, np.nan)
    axes.plot(hours, shown, color=style.BLACK, linewidth=1.8, label="spill, nobody acts")
    axes.fill_between(hours, 0.0, np.nan_to_num(shown, nan=top), color=style.PALE, alpha=0.35)
    for number, source in enumerate(sources):
        colour = style.MACHINES[number % len(style.MACHINES)][0]
        shift = 0.0 if len(sources) == 1 else 0.62 * (number / (len(sources) - 1) - 0.5)
        low, typical, high = (_of(rows, source, pace) for pace in ("low", "typical", "high"))
        at = hours + shift
        ends = [
            np.array([min(row.flow_s / 60.0, 10.0 * top) for row in one]) for one in (low, high)
        ]
        axes.vlines(at, ends[0], ends[1], color=colour, linewidth=1.3, alpha=0.75)
        flow = np.array([row.flow_s for row in typical]) / 60.0
        dry = np.array([row.spilled_m3 <= _NO_SPILL_M3 for row in typical])
        mark = _MARKS[number % len(_MARKS)]
        axes.plot(
            at[dry], flow[dry], linestyle="none", marker=mark, markersize=5.0, color=colour,
            label=f"{source}, nothing spills",
        )  # fmt: skip
        axes.plot(
            at[~dry], flow[~dry], linestyle="none", marker=mark, markersize=5.0, color=colour,
            markerfacecolor="white", label=f"{source}, it spills",
        )  # fmt: skip
    longest = max((row.flow_s / 60.0 for row in rows if math.isfinite(row.flow_s)), default=0.0)
    if longest > top:
        axes.text(
            1.0, 1.01, f"bars go on to {longest:.0f} min", transform=axes.transAxes, ha="right",
            va="bottom", fontsize=8.0, color=style.DARK,
        )  # fmt: skip
    axes.set_ylim(-0.02 * top, top)
    axes.set_xlim(-0.6, 23.6)


def _spilled(axes: Axes, rows: Sequence[Row], system: System) -> None:
    scale = style.scale("volume", system)
    low, typical, high = (
        _of(rows, _WHOLE, pace) for pace in ("low", "typical", "high")
    )  # fmt: skip
    hours = np.array([row.hour for row in typical], dtype=float)
    values = [scale([row.spilled_m3 for row in one]) for one in (low, typical, high)]
    axes.bar(
        hours, values[1], width=0.62, color=style.SKY, edgecolor=style.BLUE, linewidth=0.8,
        label="whole plan, typical",
    )  # fmt: skip
    axes.vlines(
        hours, values[0], values[2], color=style.DARK, linewidth=1.0, label="fastest to slowest"
    )
    if max(max(one, default=0.0) for one in values) <= 0.0:
        axes.set_ylim(0.0, 1.0)
        axes.text(0.5, 0.5, "nothing spills", transform=axes.transAxes, ha="center", va="center")
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("power lost at")
    axes.set_xticks(range(0, 24, 3), [f"{hour:02d}:00" for hour in range(0, 24, 3)])
    axes.set_xticks(range(24), minor=True)

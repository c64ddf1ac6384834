"""The station before any run: levels to scale beside the plan area, and what lies between them.

Also the inflow of a rainy day, with the rain above it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import numpy as np

from stationsim.inflow.unit_hydrographs import RainDerived
from stationsim.outline import Step, minutes, steps
from stationsim.plots import style
from stationsim.units import factor, show
from stationsim.wording import date_of, day_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.episode import Episode
    from stationsim.outline import RainyDay
    from stationsim.station import Station
    from stationsim.units import System

_WIDTH_IN, _HEIGHT_IN = 11.0, 7.0


def station_figure(
    station: Station, least_m3s: float, greatest_m3s: float, system: str = "si"
) -> Figure:
    """Return the figure of levels, plan area, and the volumes and times between the levels.

    Parameters
    ----------
    station
        What stands there.
    least_m3s, greatest_m3s
        Least and greatest inflow of the episode [m3/s].
    system
        ``si`` or ``us``.
    """
    units = cast("System", system)
    rows = steps(station, least_m3s, greatest_m3s)
    top_m = max(rows[-1].level_m * 1.06, station.cover_m or 0.0)
    with style.styled():
        figure = style.new_figure(_WIDTH_IN, _HEIGHT_IN)
        axes = figure.add_axes((0.075, 0.10, 0.30, 0.74))
        _draw_area(axes, station, rows, top_m, system)
        beside = figure.add_axes((0.375, 0.10, 0.60, 0.74))
        _write_steps(beside, station, rows, top_m, units)
        flows = f"{show(least_m3s, 'flow', units)} and {show(greatest_m3s, 'flow', units)}"
        style.head(
            figure,
            f"{station.name}: levels, and what lies between them",
            f"Minutes to fill by hand: volume over a steady inflow, nothing pumped, at {flows}, "
            "the least and the greatest of the episode.",
        )
        return figure


def _draw_area(axes: Axes, station: Station, rows: list[Step], top_m: float, system: str) -> None:
    depth = style.level_axis(station, system)
    metre = style.scale("level", system)
    levels = np.unique(
        [*np.linspace(0.0, top_m, 400), *(x for x in station.well.levels_m if x < top_m)]
    )
    both = np.repeat(levels, 2)
    both[1::2] = np.nextafter(both[1::2], np.inf)  # a step of the area shows as a step
    areas = np.array([station.well.area_at(x) for x in both]) / metre.per_unit**2
    heights = depth(both)
    axes.fill_betweenx(heights, 0.0, areas, color="#d5e6f2", linewidth=0.0)
    axes.plot(areas, heights, color=style.BLUE, linewidth=1.6)
    axes.set_xlim(0.0, 1.08 * float(areas.max()))
    axes.set_ylim(float(depth(0.0)), float(depth(top_m)))
    axes.set_xlabel(f"plan area [{metre.unit}2]")
    axes.set_ylabel(depth.label)
    for row in rows:
        axes.axhline(
            float(depth(row.level_m)), color=style.DARK, linewidth=0.9, linestyle=(0, (4, 3))
        )


def _write_steps(
    axes: Axes, station: Station, rows: list[Step], top_m: float, units: System
) -> None:
    axes.set_axis_off()
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, 1.0)
    heights = [row.level_m / top_m for row in rows]
    placed = style.spread(heights, 0.075, 0.0, 0.96)
    columns = (0.07, 0.52, 0.68, 0.85)
    names = ("level", "up to the next", "least inflow", "greatest inflow")
    for x, name in zip(columns, names, strict=True):
        axes.text(x, 1.045, name, fontsize=8.5, weight="bold", va="bottom")
    for row, height, y in zip(rows, heights, placed, strict=True):
        axes.plot((0.0, 0.055), (height, y), color=style.GREY, linewidth=0.7, clip_on=False)
        level = show(station.shown_m(row.level_m), "level", units)
        axes.text(columns[0], y, f"{level}  {row.name}", fontsize=9.0, va="center")
    for n, row in enumerate(rows[:-1]):
        y = 0.5 * (placed[n] + placed[n + 1])
        texts = (show(row.volume_m3, "volume", units), minutes(row.slow_s), minutes(row.fast_s))
        for x, text in zip(columns[1:], texts, strict=True):
            axes.text(x, y, text, fontsize=9.0, va="center", color=style.DARK)


def rainy_day_figure(
    station: Station, episode: Episode, day: RainyDay, system: str = "si"
) -> Figure:
    """Return the figure of the inflow of a rainy day, and of the rain above it.

    Parameters
    ----------
    station, episode
        What stands there, and what happens.
    day
        As ``outline.rainy_day`` found it.
    system
        ``si`` or ``us``.
    """
    with style.styled():
        figure = style.new_figure(_WIDTH_IN, 5.6)
        rain = figure.add_axes((0.075, 0.71, 0.76, 0.15))
        flows = figure.add_axes((0.075, 0.13, 0.76, 0.54))
        for axes in (rain, flows):
            style.time_axis(axes, episode.start, day.begin_s, day.end_s)
        rain.tick_params(labelbottom=False)
        _draw_rain(rain, episode, day, system)
        _draw_inflow(flows, episode, day, system)
        when = episode.moment(day.begin_s)
        brought = show(day.brought_m3, "volume", cast("System", system))
        style.head(
            figure,
            f"{station.name}: rain and inflow of a day",
            f"Day {day.number}, {day_of(when)} {date_of(when)} {when.year}; rain brings {brought}.",
        )
        return figure


def _draw_rain(axes: Axes, episode: Episode, day: RainyDay, system: str) -> None:
    """Draw how hard it rains; several rains fall on top of each other."""
    depth = "mm" if system == "si" else "in"
    rains = [source.rain for source in episode.inflow if isinstance(source, RainDerived)]
    knots = np.concatenate([rain.at_s + np.asarray(rain.times_s) for rain in rains])
    inside = knots[(knots > day.begin_s) & (knots < day.end_s)]
    edges = np.unique([day.begin_s, *inside, day.end_s])
    fallen = np.sum(
        [np.interp(edges, rain.at_s + np.asarray(rain.times_s), rain.fallen_m) for rain in rains],
        axis=0,
    )
    intensity = np.diff(fallen) / np.diff(edges) * 3600.0 / factor(depth, "length")
    axes.stairs(
        intensity,
        style.day_numbers(episode.start, edges),
        fill=True,
        facecolor=style.SKY,
        edgecolor=style.BLUE,
        linewidth=0.4,
    )
    axes.set_ylim(0.0, 1.1 * float(intensity.max()) or 1.0)
    axes.set_ylabel(f"rain [{depth}/h]")


def _draw_inflow(axes: Axes, episode: Episode, day: RainyDay, system: str) -> None:
    flow = style.scale("flow", system)
    both = np.concatenate((day.without.start_s, day.together.start_s))
    inside = both[(both > day.begin_s) & (both < day.end_s)]
    before = np.nextafter(inside, -np.inf)  # a step of the flow shows as a step
    last = np.nextafter(day.end_s, -np.inf)
    times = np.unique([day.begin_s, *before, *inside, last])
    x = style.day_numbers(episode.start, times)
    without, together = flow(day.without.at(times)), flow(day.together.at(times))
    axes.fill_between(
        x,
        without,
        together,
        facecolor="#d5e6f2",
        edgecolor=style.SKY,
        hatch="....",
        linewidth=0.0,
        label="by rain",
    )
    axes.plot(x, together, color=style.BLUE, linewidth=1.6, label="together")
    axes.plot(
        x,
        without,
        color=style.BLACK,
        linewidth=1.2,
        linestyle=(0, (4, 1.5)),
        label="without rain",
    )
    axes.set_ylim(0.0, 1.1 * float(together.max()))
    axes.set_ylabel(f"inflow [{flow.unit}]")
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.03), borderpad=0.0)

"""What the two meters counted day by day: drawn only for a run in which they disagree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.plots import style
from stationsim.wording import date_of, day_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.results import Result

WORTH_SHOWING = 0.01
"""Difference of the meters in a day, over what the first counts, from which it is drawn [-]."""

_MOST_BARS = 31
_MOST_DATES = 12
_WIDTH_IN, _HEIGHT_IN = 11.0, 3.8


def disagree(result: Result) -> bool:
    """Return whether the meters differ by enough in any day to be drawn.

    Parameters
    ----------
    result
        The run.
    """
    return bool((result.meters["difference_part"].abs() > WORTH_SHOWING).any())


def meters_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of the two meters: bars of each day, with what the second counts less.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    """
    volume = style.scale("volume", system)
    table = result.meters
    begins = table["t_s"].to_numpy(dtype=float)
    station, plant = (
        table[f"{name}_meter_m3"].to_numpy(dtype=float) for name in ("station", "plant")
    )
    per = max(1, -(-len(begins) // _MOST_BARS))
    firsts = np.arange(0, len(begins), per)
    station, plant = (np.add.reduceat(values, firsts) for values in (station, plant))
    with style.styled():
        figure = style.new_figure(_WIDTH_IN, _HEIGHT_IN)
        left, wide = 0.85 / _WIDTH_IN, (_WIDTH_IN - 0.85 - 2.0) / _WIDTH_IN
        axes = figure.add_axes((left, 0.72 / _HEIGHT_IN, wide, (_HEIGHT_IN - 1.5) / _HEIGHT_IN))
        places = np.arange(len(firsts), dtype=float)
        for shift, values, face, hatch, label in (
            (-0.2, station, style.BLUE, "", "station meter"),
            (0.2, plant, "white", "////", "meter at the far end"),
        ):
            axes.bar(
                places + shift,
                volume(values),
                width=0.4,
                facecolor=face,
                hatch=hatch,
                edgecolor=style.DARK,
                linewidth=0.5,
                label=label,
            )
        _write_differences(axes, places, volume(np.maximum(station, plant)), station, plant)
        shown = firsts[:: max(1, -(-len(firsts) // _MOST_DATES))]
        dates = [result.episode.moment(float(begins[n])) for n in shown]
        axes.set_xticks(shown / per, [f"{day_of(when)}\n{date_of(when)}" for when in dates])
        axes.tick_params(axis="x", length=0)
        axes.grid(visible=False, axis="x")
        axes.set_xlim(-0.6, len(firsts) - 0.4)
        each = "each day" if per == 1 else f"each {per} days"
        axes.set_ylabel(f"volume of {each} [{volume.unit}]")
        top = float(np.max(volume(np.maximum(station, plant))))
        axes.set_ylim(0.0, 1.15 * top if top > 0.0 else 1.0)
        axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.03), borderpad=0.0, handleheight=1.1)
        title = f"{result.station.name}: what the two meters counted"
        below = "Above the bars: by how much the meter at the far end counted less, in percent."
        style.head(figure, title, below)
        return figure


def _write_differences(
    axes: Axes, places: Floats, tops: Floats, station: Floats, plant: Floats
) -> None:
    small = 7.0 if len(places) > 16 else 8.0
    for x, top, first, second in zip(places, tops, station, plant, strict=True):
        if first <= 0.0:
            continue
        part = 100.0 * (1.0 - second / first)
        text = f"{part:.1f}" if abs(part) >= 0.05 else "0"
        axes.annotate(
            text,
            (x, top),
            xytext=(0.0, 3.0),
            textcoords="offset points",
            ha="center",
            fontsize=small,
        )

"""Plots: functions that take a result and return a figure, one file a family, one shared style."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.plots.alternation import alternation_figure
from stationsim.plots.curves import curves_figure, levels_between, station_curves_figure
from stationsim.plots.handout import handout_figure
from stationsim.plots.levels import levels_figure
from stationsim.plots.meters import disagree, meters_figure
from stationsim.plots.pumps import pumps_figure
from stationsim.plots.station import rainy_day_figure, station_figure
from stationsim.plots.style import save
from stationsim.plots.time_to_spill import time_to_spill_figure

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from matplotlib.figure import Figure

    from stationsim.episode import Episode
    from stationsim.outline import RainyDay
    from stationsim.results import Result
    from stationsim.station import Station

__all__ = [
    "FIGURES",
    "alternation_figure",
    "curves_figure",
    "draw_all",
    "figures_of",
    "handout_figure",
    "levels_figure",
    "meters_figure",
    "pumps_figure",
    "rainy_day_figure",
    "save_all",
    "save_handout",
    "save_rainy_day",
    "save_station",
    "station_curves_figure",
    "station_figure",
    "time_to_spill_figure",
]

FIGURES = {
    "levels": levels_figure,
    "pumps": pumps_figure,
    "alternation": alternation_figure,
    "curves": curves_figure,
    "time_to_spill": time_to_spill_figure,
}
"""The plots of every run: name of the file -> function; ``figures_of`` adds that of the meters."""


def save_station(
    station: Station, least_m3s: float, greatest_m3s: float, folder: Path, system: str = "si"
) -> list[Path]:
    """Write the pictures of a station before any run as PNG; return the files.

    Parameters
    ----------
    station
        What stands there.
    least_m3s, greatest_m3s
        Least and greatest inflow of the episode [m3/s].
    folder
        An existing folder.
    system
        ``si`` or ``us``.
    """
    files = [folder / "station.png"]
    save(station_figure(station, least_m3s, greatest_m3s, system), files[0])
    between = levels_between(station)
    if between is not None:
        files.append(folder / "curves.png")
        save(station_curves_figure(station, between, system), files[-1])
    return files


def save_handout(result: Result, folder: Path, system: str = "si") -> Path:
    """Write the plot of a hand-out as PNG; return the file.

    Parameters
    ----------
    result
        The run.
    folder
        An existing folder.
    system
        ``si`` or ``us``.
    """
    file = folder / "levels.png"
    save(handout_figure(result, system), file)
    return file


def save_rainy_day(
    station: Station, episode: Episode, day: RainyDay, folder: Path, system: str = "si"
) -> Path:
    """Write the picture of a rainy day before any run as PNG; return the file.

    Parameters
    ----------
    station, episode
        What stands there, and what happens.
    day
        As ``outline.rainy_day`` found it.
    folder
        An existing folder.
    system
        ``si`` or ``us``.
    """
    file = folder / "inflow.png"
    save(rainy_day_figure(station, episode, day, system), file)
    return file


def figures_of(result: Result) -> dict[str, Callable[[Result, str], Figure]]:
    """Return what is drawn of a run: name of the file -> function.

    Parameters
    ----------
    result
        The run.
    """
    return {**FIGURES, "meters": meters_figure} if disagree(result) else dict(FIGURES)


def draw_all(result: Result, system: str = "si") -> dict[str, Figure]:
    """Return every plot of a run by the stem of its file.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    """
    return {name: draw(result, system) for name, draw in figures_of(result).items()}


def save_all(
    result: Result,
    folder: Path,
    system: str = "si",
    figures: Mapping[str, Figure] | None = None,
) -> list[Path]:
    """Write every plot of a run as PNG; return the files.

    Parameters
    ----------
    result
        The run.
    folder
        An existing folder.
    system
        ``si`` or ``us``.
    figures
        The plots, when they are drawn already.
    """
    files = []
    for name, figure in (draw_all(result, system) if figures is None else figures).items():
        files.append(folder / f"{name}.png")
        save(figure, files[-1])
    return files

"""Plots: functions that take a result and return a figure, one file a family, one shared style."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.plots.curves import curves_figure
from stationsim.plots.levels import levels_figure
from stationsim.plots.pumps import pumps_figure
from stationsim.plots.style import save
from stationsim.plots.time_to_spill import time_to_spill_figure

if TYPE_CHECKING:
    from pathlib import Path

    from stationsim.results import Result

__all__ = [
    "FIGURES",
    "curves_figure",
    "levels_figure",
    "pumps_figure",
    "save_all",
    "time_to_spill_figure",
]

FIGURES = {
    "levels": levels_figure,
    "pumps": pumps_figure,
    "curves": curves_figure,
    "time_to_spill": time_to_spill_figure,
}
"""The plots of a run: name of the file -> function."""


def save_all(result: Result, folder: Path, system: str = "si") -> list[Path]:
    """Write every plot of a run as PNG; return the files.

    Parameters
    ----------
    result
        The run.
    folder
        An existing folder.
    system
        ``si`` or ``us``.
    """
    files = []
    for name, draw in FIGURES.items():
        files.append(folder / f"{name}.png")
        save(draw(result, system), files[-1])
    return files

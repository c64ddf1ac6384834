"""The benchmark of pages: what ``--page`` costs on top of a run, and how large the page is.

    python tests/benchmarks/page_week.py [SCENARIO ...]

For each scenario (a week of Alder Lane and a year of Quarry Row unless others are given) it prints
the seconds of the run with its tables, of drawing and writing the plots as PNG, and of the page of
these plots, with the ratio of the page to both; then how large the page is, and its plots of that.

Timings are printed, never asserted; what comes out is, so that the benchmark cannot rot.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from stationsim.pages import page_of, write_page
from stationsim.plots import draw_all, save_all
from stationsim.results import Result
from stationsim.scenario.load import Loaded, load
from stationsim.simulation.session import simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHIPPED = ("alder-lane", "quarry-row-us")


def run(loaded: Loaded) -> tuple[float, Result]:
    """Return the seconds of a run with its tables, and what it came to."""
    began = time.perf_counter()
    result = simulate(loaded.station, loaded.episode)
    result.text, result.digest = loaded.text, loaded.digest
    assert len(result.tables) >= 9
    return time.perf_counter() - began, result


def page(result: Result, loaded: Loaded, folder: Path) -> tuple[float, float, Path]:
    """Return the seconds of the plots alone and of the page, and the page."""
    began = time.perf_counter()
    figures = draw_all(result, loaded.system)
    save_all(result, folder, loaded.system, figures)
    plots = time.perf_counter() - began
    began = time.perf_counter()
    file = write_page(result, folder, loaded.system, figures=figures)
    return plots, time.perf_counter() - began, file


def main(files: list[Path]) -> None:
    """Run and print."""
    for path in files:
        loaded = load(path)
        took, result = run(loaded)
        with tempfile.TemporaryDirectory() as folder:
            plots, paged, file = page(result, loaded, Path(folder))
            size = file.stat().st_size
        bare = len(page_of(result, loaded.system, figures={}).encode("utf-8"))
        assert 20_000 < bare < size
        print(f"{path.stem}: run {took:.2f} s, plots as PNG {plots:.2f} s, page {paged:.2f} s")
        print(f"   page over run {paged / took:.2f}, over plots {paged / plots:.2f}")
        print(f"   {size / 1e6:.2f} MB, of which plots {(size - bare) / 1e6:.2f} MB")


if __name__ == "__main__":
    main([Path(a) for a in sys.argv[1:]] or [SCENARIOS / f"{name}.toml" for name in SHIPPED])

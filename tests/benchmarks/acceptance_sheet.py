"""The benchmark of ``acceptance``: the sheet with workbook and page, and the verdict on readings.

    python tests/benchmarks/acceptance_sheet.py [SCENARIO ...]

One run (1.00) is the simulation of the episode, a week of it at most, without tables. What is
measured is the whole study from a loaded scenario on: lineups, points, sequences, tables, forms as
CSV and workbook, the plot and the page; and from a filled-in sheet to the verdict with its causes.
Nothing is imported meanwhile, and bands of lineups that were laid are forgotten before each. Time
is that of the processor, so that what else the machine does matters less.

Timings are printed, never asserted; what comes out is, so that the benchmark cannot rot.
"""

from __future__ import annotations

import csv
import dataclasses
import importlib
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from stationsim.pages import write_page
from stationsim.physics import bands
from stationsim.scenario.load import load_scenario
from stationsim.simulation.session import simulate
from stationsim.studies.acceptance import acceptance

SCENARIOS = Path(__file__).parents[2] / "scenarios"
WEEK_S = 7.0 * 86_400.0


def _timed(call: Callable[[], Any]) -> tuple[float, Any]:
    bands._pump_lines.cache_clear()
    began = time.process_time()
    found = call()
    return time.process_time() - began, found


def sheet(path: Path, folder: Path) -> Path:
    """Write the sheet with workbook and page; return the form of the readings."""
    result = acceptance(*load_scenario(path))
    result = dataclasses.replace(result, draw={n: cache(d) for n, d in result.draw.items()})
    result.write_into(folder, ("csv", "xlsx"))
    write_page(result, folder)
    return folder / "fill_in_readings.csv"


def as_expected(form: Path) -> Path:
    """Fill in a form with what it expects."""
    lines = [line for line in form.read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    rows = list(csv.DictReader(lines))
    filled = form.with_name("filled.csv")
    with filled.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows({**row, "read": row["expected"]} for row in rows)
    return filled


class Took(NamedTuple):
    """Seconds of the processor for one run, for the sheet and for the verdict; what came out."""

    run_s: float
    sheet_s: float
    verdict_s: float
    readings: int
    passed: int


def measure(path: Path) -> Took:
    """Return what a scenario takes."""
    station, episode = load_scenario(path)
    short_s = min(episode.duration_s, WEEK_S)
    events = tuple(event for event in episode.events if event.at_s < short_s)
    short = dataclasses.replace(episode, duration_s=short_s, events=events)
    run_s, _ = _timed(lambda: simulate(station, short))
    with tempfile.TemporaryDirectory() as folder:
        sheet_s, form = _timed(lambda: sheet(path, Path(folder)))
        filled = as_expected(form)
        verdict_s, judged = _timed(lambda: acceptance(station, episode, readings=filled))
    verdicts = [finding.verdict for finding in judged.findings]
    assert "fail" not in verdicts
    return Took(run_s, sheet_s, verdict_s, len(judged.tables["readings"]), verdicts.count("pass"))


def main(paths: list[Path]) -> None:
    """Measure and print."""
    for name in ("stationsim.plots.acceptance", "openpyxl", "jinja2", "pandas"):
        importlib.import_module(name)
    measure(SCENARIOS / "reference-station.toml")  # what is done once in a process, done before
    for path in paths:
        took = measure(path)
        print(
            f"{path.stem:24} sheet {took.sheet_s:5.2f} s ="
            f" {took.sheet_s / max(took.run_s, 1e-3):5.2f} of a run; verdict"
            f" {took.verdict_s:5.2f} s; {took.readings} readings, {took.passed} pass"
        )


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]] or sorted(SCENARIOS.glob("*.toml")))

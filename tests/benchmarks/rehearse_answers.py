"""How long ``rehearse`` takes: the table by hour in this process, and from now with its start-up.

    PYTHONPATH=. python tests/benchmarks/rehearse_answers.py

Aims on a quiet machine: a table with dry, wet and weekend within 1 s; the answer from now within
1 s, start of Python and imports included. Only reported; counts are asserted.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from stationsim.scenario.load import load_scenario
from stationsim.studies.rehearse.hours import HoursAsked, rehearse

SCENARIOS = Path(__file__).parents[2] / "scenarios"
STORM = SCENARIOS / "mill-reach-rain.toml"
REPEATS = 5


def table() -> float:
    """Return the best time of the whole table [s]."""
    station, episode = load_scenario(STORM)
    best = float("inf")
    for _ in range(REPEATS):
        began = time.perf_counter()
        result = rehearse([("it", station, episode)], HoursAsked(response_s=4680.0))
        hours = result.tables["hours"]
        best = min(best, time.perf_counter() - began)
        if len(hours) != 96:
            raise RuntimeError(f"a table of {len(hours)} hours")
    return best


def from_now() -> float:
    """Return the best time of the answer from now, start-up included [s]."""
    words = ["rehearse", str(SCENARIOS / "reference-station.toml"), "--at", "02:40"]
    command = [sys.executable, "-m", "stationsim", *words, "--level", "2.30 m"]
    best = float("inf")
    for _ in range(REPEATS):
        began = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        best = min(best, time.perf_counter() - began)
        if "132 min" not in done.stdout:
            raise RuntimeError(done.stdout)
    return best


def main() -> None:
    """Print both."""
    print(f"table of 96 hours, four-pump station with a storm: {table():.2f} s (aim 1 s)")
    print(f"from now, start-up included:                       {from_now():.2f} s (aim 1 s)")


if __name__ == "__main__":
    main()

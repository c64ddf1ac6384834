"""The benchmark of ``check``: every shipped scenario, beside one run of its episode.

    python tests/benchmarks/check_stations.py [SCENARIO ...]

One run (1.00) is the simulation of the episode, a week of it at most, without tables. ``check``
does that too, and two runs through steady inflows, the 24-hour table, and the criteria themselves.
Bands of lineups that were laid once are kept, so they are forgotten before each measurement. Plots
are not drawn and nothing is imported meanwhile. Time is that of the processor, so that what else
the machine does matters less.

Timings are printed, never asserted; what comes out is, so that the benchmark cannot rot.
"""

from __future__ import annotations

import dataclasses
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from stationsim.physics import bands
from stationsim.scenario.load import load_scenario
from stationsim.simulation.session import simulate
from stationsim.studies.check.criterion import Case
from stationsim.studies.check.fitness import CRITERIA, criteria_of
from stationsim.studies.check.steady import rates_of

SCENARIOS = Path(__file__).parents[2] / "scenarios"
WEEK_S = 7.0 * 86_400.0


class Took(NamedTuple):
    """Seconds of the processor for one run, the steady inflows and all criteria; what came out."""

    run_s: float
    steady_s: float
    all_s: float
    inflows: int
    judged: int


def _timed(call: Callable[[], Any]) -> tuple[float, Any]:
    bands._pump_lines.cache_clear()
    began = time.process_time()
    found = call()
    return time.process_time() - began, found


def measure(path: Path) -> Took:
    """Return what a scenario takes."""
    station, episode = load_scenario(path)
    short_s = min(episode.duration_s, WEEK_S)
    events = tuple(event for event in episode.events if event.at_s < short_s)
    short = dataclasses.replace(episode, duration_s=short_s, events=events)
    run_s, _ = _timed(lambda: simulate(station, short))
    steady_s, rates = _timed(lambda: rates_of(Case(station, episode)))
    all_s, fitness = _timed(lambda: criteria_of(station, episode))
    assert {one.criterion for one in fitness.judged} <= set(CRITERIA)
    return Took(run_s, steady_s, all_s, len(rates), len(fitness.judged))


def main(paths: list[Path]) -> None:
    """Measure and print."""
    for path in paths:
        took = measure(path)
        print(
            f"{path.stem:24} check {took.all_s:5.2f} s = {took.all_s / max(took.run_s, 1e-3):5.2f}"
            f" of a run; {took.inflows} steady inflows {took.steady_s:5.2f} s; {took.judged} judged"
        )


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]] or sorted(SCENARIOS.glob("*.toml")))

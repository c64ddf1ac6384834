"""The benchmark of ``compare``: five rotations over a year, beside one run of it.

    python tests/benchmarks/compare_rotations.py [DAYS] [PROCESSES]

The station is that of ``station_year.py`` with constant pumps. One run (1.0) is what ``stationsim
run`` does before it writes: the simulation, its tables and its sentences. ``compare`` runs five
rotations (each cycle, run hours, fixed, the clock daily, and shares), lays them side by side and
says what came of it. Plots are not drawn. In one process the time is that of the processor, so that
what else the machine does matters less; in several it is that of the clock on the wall.

Timings are printed, never asserted; what comes out is, so that the benchmark cannot rot.
"""

from __future__ import annotations

import dataclasses
import os
import sys
import time
from collections.abc import Callable
from typing import Any, NamedTuple

import station_year

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import ClockSettings, NoSettings, SharesSettings
from stationsim.episode import Episode
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.studies.compare import compare
from stationsim.study_result import StudyResult

DAY_S = 86_400.0
ROTATIONS = {
    "each cycle": ("each cycle", NoSettings()),
    "run hours": ("run hours", NoSettings()),
    "fixed": ("fixed", NoSettings()),
    "clock, daily": ("clock", ClockSettings(DAY_S)),
    "shares": ("shares", SharesSettings()),
}


def settings(days: int) -> list[tuple[str, Station, Episode]]:
    """Return the five settings."""
    base, when = station_year.station(curves=False), station_year.episode(days)
    found = []
    for label, (kind, own) in ROTATIONS.items():
        plan = ControlPlan("staging", base.control.settings, kind, own)
        found.append((label, dataclasses.replace(base, control=plan), when))
    return found


class Took(NamedTuple):
    """Seconds of the processor, and by the clock on the wall."""

    processor_s: float
    wall_s: float


def _timed(call: Callable[[], Any]) -> tuple[Took, Any]:
    before, began = time.process_time(), time.perf_counter()
    found = call()
    return Took(time.process_time() - before, time.perf_counter() - began), found


def one_run(days: int) -> tuple[Took, Took, int]:
    """Return what the simulation alone takes, what the whole run takes, and its starts."""
    _, what, when = settings(days)[0]
    alone, result = _timed(lambda: simulate(what, when))
    after, _ = _timed(lambda: (result.tables, result.sentences()))
    whole = Took(*(a + b for a, b in zip(alone, after, strict=True)))
    return alone, whole, len(result.pump_runs)


def compared(days: int, processes: int) -> tuple[Took, StudyResult]:
    """Return what the comparison takes, and what it came to."""

    def whole() -> StudyResult:
        result = compare(settings(days), processes=processes)
        result.sentences()
        result.lines()
        return result

    return _timed(whole)


def starts_of(result: StudyResult) -> dict[str, int]:
    """Return the starts of each setting."""
    table = result.tables["compared"]
    rows = table[(table["metric"] == "starts") & (table["subject"] == "station")]
    return dict(zip(rows["setting"], rows["value"].astype(int), strict=True))


def main(days: int, processes: int) -> None:
    """Run and print."""
    alone, whole, starts = one_run(days)
    print(f"{days} days; one run: {whole.processor_s:.2f} s of the processor  = 1.00")
    print(f"   its simulation alone: {alone.processor_s / whole.processor_s:.2f}")
    for many in sorted({1, processes}):
        took, result = compared(days, many)
        counts = starts_of(result)
        assert counts["each cycle"] == starts
        if many == 1:
            ratio = took.processor_s / whole.processor_s
            print(f"compare, five rotations, one process: {took.processor_s:.2f} s  = {ratio:.2f}")
        else:
            ratio = took.wall_s / whole.wall_s
            print(f"compare, {many} processes, on the wall: {took.wall_s:.2f} s  = {ratio:.2f}")
    print(f"   starts: {counts}")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 365,
        int(sys.argv[2]) if len(sys.argv) > 2 else os.cpu_count() or 1,
    )

"""The benchmark of a drill: how soon each order is answered, through a storm night.

    PYTHONPATH=tests python tests/benchmarks/drill_commands.py [LINES] [SEED]

The triplex station of the tests that has everything (engine, generator, mobile set, bypass pump,
floats, motors, an exercise, pump curves) through a night of twelve hours with a storm and an
outage, and with every trouble of the catalogue armed that can befall it, at rates at which dozens
come. The level signal jumps about from the third hour to the ninth, so that it is read at every
scan. Random lines are typed, as somebody would who never tires. The yardstick is the plain run of
the same night, in the same process.

Timings are printed, never asserted; the counts are (``tests/test_benchmarks.py``).
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import armed_year
from any_drill import orders
from everything import HOUR, event_of, everything, subject_of

from stationsim.chance import Range
from stationsim.episode import Episode, RandomFault, ScriptedEvent
from stationsim.equipment.faults import CATALOGUE
from stationsim.errors import ActionError
from stationsim.inflow.storm import Hydrograph
from stationsim.people.response import Person, Response, Task, Tool, Visit
from stationsim.simulation.session import simulate
from stationsim.studies.drill import Drill
from stationsim.testing import episode

if TYPE_CHECKING:
    from stationsim.station import Station

HOURS = 12.0
ANSWERS_WITHIN_S = 0.2
"""What somebody who types takes for at once [s]."""

SCANNED = ("level signal drifting", "level signal noisy", "level signal late")


class Took(NamedTuple):
    """What the lines took.

    Parameters
    ----------
    each_s
        Each line: how long, and what it was [s].
    drill
        The drill, finished.
    plain_s
        How long the plain run of the night took [s].
    """

    each_s: list[tuple[float, str]]
    drill: Drill
    plain_s: float


def minutes(low: float, typical: float, high: float) -> Range:
    """Return a range that is written in minutes."""
    return Range(low * 60.0, typical * 60.0, high * 60.0)


def response() -> Response:
    """Return two people with every step."""
    people = tuple(
        Person(name, minutes(1, 3, 9), minutes(2, 5, 9), minutes(4, 9, 20))
        for name in ("anna", "bert")
    )
    tanker = Tool(
        "tanker", delivered=minutes(9, 20, 40), holds_m3=6.0, round_trip=minutes(9, 15, 20)
    )
    tasks = (
        Task("reset", minutes(1, 1, 2)), Task("set right", minutes(3, 6, 9)),
        Task("clear rags", minutes(6, 9, 20)), Task("pull a pump", minutes(20, 40, 60), people=2),
        Task("connect mobile generator", minutes(5, 10, 20), takes_down=minutes(2, 3, 4)),
        Task("connect bypass pump", minutes(5, 10, 20), takes_down=minutes(2, 3, 4)),
        Task("refuel", minutes(3, 5, 9)), Task("haul", minutes(3, 5, 9), people=0, tool="tanker"),
    )  # fmt: skip
    return Response(
        people, ("anna", "bert"), picked_up=minutes(0, 1, 2), on_phone=minutes(0, 1, 2),
        assesses=minutes(1, 2, 3), tools=(tanker,), tasks=tasks, visit=Visit("bert", 0.0, 4 * HOUR),
        pace="drawn",
    )  # fmt: skip


def night(seed: int = 1) -> tuple[Station, Episode]:
    """Return the station, and the night with all that can befall it armed.

    Parameters
    ----------
    seed
        Of all that comes by chance.
    """
    what = everything(curved=True)
    storm = Hydrograph(
        0.0, (0.0, 2 * HOUR, 4 * HOUR, 8 * HOUR, HOURS * HOUR), (0.01, 0.02, 0.09, 0.05, 0.015)
    )
    noisy = replace(event_of("level signal noisy", 3 * HOUR), duration_s=6 * HOUR)
    cut = ScriptedEvent(5 * HOUR, "grid loss", "grid", 2 * HOUR)
    faults = []
    for entry in CATALOGUE:
        if not entry.trouble or entry.kind in SCANNED:
            continue
        rate = armed_year.RATES[entry.kind]
        event = replace(event_of(entry.kind, 0.0), duration_s=None)
        per = 0.1 if rate.basis == "demand" else 1.0 / (HOURS * HOUR)
        lasts = Range(0.2, 0.4, 0.8) if entry.kind == "grid sag" else minutes(5, 30, 120)
        name = f"{subject_of(entry)} {entry.kind}"
        faults.append(RandomFault(name, (event,), rate.basis, per, lasts))
    when = episode(HOURS * HOUR, storm, noisy, cut)
    return what, replace(when, random=tuple(faults), response=response(), seed=seed)


def measure(lines: int, seed: int = 1) -> Took:
    """Type random lines until the night is over, in as many drills as it takes.

    Parameters
    ----------
    lines
        How many [-].
    seed
        Of the lines and of the night.
    """
    what, when = night(seed)
    began = time.perf_counter()
    simulate(what, replace(when, response=None))
    plain_s = time.perf_counter() - began
    draw = random.Random(seed)  # noqa: S311  (no secret)
    each: list[tuple[float, str]] = []
    drill = Drill(what, when, on_site=True)
    drill.opening()  # as the command does; it loads what knows units
    while len(each) < lines:
        if drill.over:
            drill = Drill(what, when, on_site=len(each) % 2 == 0)
        line = orders(drill, draw)
        began = time.perf_counter()
        try:
            drill.type(line)
        except ActionError:
            continue
        each.append((time.perf_counter() - began, line))
    drill.finish()
    return Took(each, drill, plain_s)


def main(lines: int, seed: int) -> None:
    """Print what they took."""
    found = measure(lines, seed)
    each = sorted(found.each_s)
    took = [one for one, _line in each]
    slow = sum(one > ANSWERS_WITHIN_S for one in took)
    print(f"the plain night of {HOURS:g} h: {found.plain_s:.2f} s  = 1.00")
    print(
        f"{len(each)} lines: median {1e3 * statistics.median(took):.2f} ms, nine of ten below"
        f" {1e3 * took[int(0.9 * len(took))]:.1f} ms, the slowest {1e3 * took[-1]:.0f} ms"
        f"  = {took[-1] / found.plain_s:.2f} of the night"
    )
    print(f"   {slow} took more than {1e3 * ANSWERS_WITHIN_S:.0f} ms; the slowest:")
    for one, line in each[-5:]:
        print(f"   {1e3 * one:7.1f} ms  {line}")
    counts = armed_year.came(found.drill.episode, found.drill.finish().trace)
    print(f"   in the last night {sum(counts.values())} troubles of {len(counts)} kinds came")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 600,
        int(sys.argv[2]) if len(sys.argv) > 2 else 1,
    )

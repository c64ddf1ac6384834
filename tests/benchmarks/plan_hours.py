"""The benchmark of a plan: 24 hours, each source, each step, each thing left out in turn.

    python tests/benchmarks/plan_hours.py

Two stations: the reference station with one crew and a mobile generator, and the same with an
engine-driven pump, a generator, a bypass pump and a tanker. The yardstick is one run of a week of
the reference station without people, in the same process. From loaded objects to all rows; no
tables, no figures. Timings are printed, never asserted; the counts are asserted.
"""

from __future__ import annotations

import time

from plan_chain import chain, station, week
from test_rehearse_plan import rich_response, rich_station

from stationsim.simulation.session import simulate
from stationsim.studies.rehearse.plan import PlanAsked
from stationsim.studies.rehearse.plan.rows import Found, find

HOURS = 24


def timed_week() -> float:
    """Return how long a week takes without people [s]."""
    began = time.process_time()
    simulate(station(), week(None))
    return time.process_time() - began


def timed(name: str, response: object, stands: object) -> tuple[Found, float]:
    """Return the rows of a plan, and how long they took [s]."""
    began = time.process_time()
    found = find(name, stands, week(response), PlanAsked())  # type: ignore[arg-type]
    return found, time.process_time() - began


def main() -> None:
    """Print how long the two plans take."""
    timed_week()
    yard_s = min(timed_week() for _ in range(3))
    for name, response, stands in (
        ("one crew", chain(), station()),
        ("every source", rich_response(), rich_station()),
    ):
        found, took_s = timed(name, response, stands)
        assert len(found.cuts) == HOURS
        assert len(found.sources) == HOURS * 3 * (len(found.names) + 1)
        print(
            f"{name}: {took_s:.2f} s of processor time, {took_s / yard_s:.0f} times a week of the"
            f" station; {len(found.left_out) // HOURS} things left out at each of {HOURS} hours"
        )


if __name__ == "__main__":
    main()

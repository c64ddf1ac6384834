"""The benchmark of a plan: 24 hours, each source, each step, each thing left out in turn.

    PYTHONPATH=tests python tests/benchmarks/plan_hours.py

Two stations: the reference station with one crew and a mobile generator, and the same with an
engine-driven pump, a generator, a bypass pump and a tanker. The yardstick is one week of the
reference station without people, in the same process. From loaded objects to all rows; no tables,
no figures, one process. Timings are printed, never asserted; the counts are
(``tests/test_benchmarks.py``).
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from plan_chain import chain, rich_response, rich_station, station, week

from stationsim.simulation.session import simulate
from stationsim.studies.rehearse.plan import PlanAsked
from stationsim.studies.rehearse.plan.rows import Found, find

if TYPE_CHECKING:
    from stationsim.people.response import Response
    from stationsim.station import Station

HOURS = 24


def week_s() -> float:
    """Return how long a week takes without people, the best of three [s]."""
    took = []
    for _ in range(3):
        began = time.process_time()
        simulate(station(), week(None))
        took.append(time.process_time() - began)
    return min(took)


def measure(name: str, response: Response, stands: Station) -> tuple[Found, float]:
    """Return the rows of a plan, and how long they took in processor time [s].

    Parameters
    ----------
    name
        What it is called.
    response, stands
        Who answers, and what stands there.
    """
    began = time.process_time()
    found = find(name, stands, week(response), PlanAsked())
    return found, time.process_time() - began


def main() -> None:
    """Print how long the two plans take."""
    week_s()
    yard_s = week_s()
    for name, response, stands in (
        ("one crew", chain(), station()),
        ("every source", rich_response(), rich_station()),
    ):
        found, took_s = measure(name, response, stands)
        print(
            f"{name}: {took_s:.2f} s of processor time, {took_s / yard_s:.0f} times a week of the"
            f" station; {len(found.left_out) // HOURS} things left out at each of {HOURS} hours"
        )


if __name__ == "__main__":
    main()

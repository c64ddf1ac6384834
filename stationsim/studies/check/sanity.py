"""Screening of surge, and sanity of mass and energy in a run of the episode."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from stationsim.physics.pumps import RHO, G
from stationsim.physics.surge import head_rise_m, wave_time_s
from stationsim.studies.check.capacity import ages, flow_m3s, most_together, strongest, subject_of
from stationsim.studies.check.criterion import Case, Judged, Told, high_water, judge, not_judged
from stationsim.wording import listed

if TYPE_CHECKING:
    from stationsim.results import Result

SURGE_SOURCE = "Joukowsky (1898), dH = a dV / g; screening only, not a transient study"
MASS_SOURCE = "own rule: the water balance closes to 1e-9 of the volume handled"
ENERGY_SOURCE = "own rule: no pump lifts water for less energy than its lift takes"
_RUN = "run of the episode"


def surge(case: Case) -> Iterator[Judged]:
    """Screen the surge when all pumps stop at once.

    Parameters
    ----------
    case
        The station.
    """
    rated, main = case.ratings.main, case.station.force_main
    keys = (("wave_speed", rated.wave_speed_ms), ("pressure_rating", rated.pressure_rating_m))
    lacking = ", ".join(key for key, value in keys if value is None)
    if main is None or rated.wave_speed_ms is None or rated.pressure_rating_m is None:
        needs = "[force_main]" if main is None else f"force_main: {lacking}"
        yield not_judged("surge, screening", "force main", needs, SURGE_SOURCE)
        return
    age, water = ages(case)[0], high_water(case.station)  # new pipe: it is faster
    assert age.main is not None  # noqa: S101 - there is a force main
    running = strongest(case, age, water.level_m, most_together(case.station))
    flow = flow_m3s(case, age, running, water.level_m)
    names = listed([case.station.pumps[index].name for index in running])
    velocity = max(pipe.velocity_ms(flow) for pipe in main.pipes)
    rise = head_rise_m(rated.wave_speed_ms, velocity)
    steady = age.main.discharge_level_m + age.main.loss_m(flow)
    there_and_back = wave_time_s(sum(pipe.length_m for pipe in main.pipes), rated.wave_speed_ms)
    yield judge(
        "surge, screening", subject_of("force main", age), steady + rise, "at most",
        rated.pressure_rating_m, "head",
        (
            Told(rise, "head"), " of rise on ", Told(steady, "head"),
            f" over the floor, if the flow of {names}, ", Told(velocity, "velocity"),
            f", is stopped within {there_and_back:.1f} s; a transient study decides",
        ),
        SURGE_SOURCE,
    )  # fmt: skip


def balances(case: Case, result: Result) -> Iterator[Judged]:
    """Judge mass and energy of a run.

    Parameters
    ----------
    case
        The station.
    result
        The episode as run.
    """
    trace, main = result.trace, case.station.force_main
    yield judge(
        "water balance", _RUN, trace.balance_error, "at most", 1e-9, "",
        "what the balance leaves open over the volume handled", MASS_SOURCE,
    )  # fmt: skip
    electric = [run for run in trace.runs if run.machine < len(case.station.pumps)]
    joules, pumped = (sum(run.energy_j for run in electric), sum(run.volume_m3 for run in electric))
    if main is None or not joules > 0.0 or not pumped > 0.0:
        lacking = "[force_main]" if main is None else "power of the pumps, and a run that pumps"
        yield not_judged("energy", _RUN, lacking, ENERGY_SOURCE)
        return
    lift = max(main.discharge_level_m - trace.greatest_level_m, 0.0)
    yield judge(
        "energy", _RUN, 100.0 * RHO * G * lift * pumped / joules, "at most", 100.0, "%",
        ("what lifting it from ", Told(trace.greatest_level_m, "level"), " over the floor takes, ",
         "as part of what the electric pumps drew"),
        ENERGY_SOURCE,
    )  # fmt: skip

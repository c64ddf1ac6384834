"""Screening of surge, and sanity of mass and energy in a run of the episode."""

from __future__ import annotations

from collections.abc import Iterator

from stationsim.physics.pumps import RHO, G
from stationsim.physics.surge import head_rise_m, wave_time_s
from stationsim.results import Result
from stationsim.studies.check.capacity import ages, flow_m3s, high_water_m, subject_of
from stationsim.studies.check.criterion import Case, Judged, judge, not_judged
from stationsim.units import show

SURGE_SOURCE = "Joukowsky (1898), dH = a dV / g; screening only, not a transient study"
MASS_SOURCE = "own rule: the water balance closes to 1e-9 of the volume handled"
ENERGY_SOURCE = "own rule: no pump lifts water for less energy than its lift takes"


def surge(case: Case) -> Iterator[Judged]:
    """Screen the surge when all pumps stop at once.

    Parameters
    ----------
    case
        The station.
    """
    rated, main = case.ratings.main, case.station.force_main
    if main is None or rated.wave_speed_ms is None or rated.pressure_rating_m is None:
        lacking = "[force_main]" if main is None else "force_main: wave_speed, pressure_rating"
        yield not_judged("surge, screening", "force main", lacking, SURGE_SOURCE)
        return
    age = ages(case)[0]
    assert age.main is not None  # noqa: S101 - there is a force main
    every = tuple(range(len(case.station.pumps)))
    flow = flow_m3s(case, age, every, high_water_m(case))
    velocity = max(pipe.velocity_ms(flow) for pipe in main.pipes)
    rise = head_rise_m(rated.wave_speed_ms, velocity)
    steady = age.main.discharge_level_m + age.main.loss_m(flow)
    there_and_back = wave_time_s(sum(pipe.length_m for pipe in main.pipes), rated.wave_speed_ms)
    yield judge(
        "surge, screening",
        subject_of("force main", age),
        steady + rise,
        "at most",
        rated.pressure_rating_m,
        "head",
        f"{show(rise, 'head', 'si')} of rise on {show(steady, 'head', 'si')} if all pumps stop"
        f" within {there_and_back:.1f} s",
        SURGE_SOURCE,
    )


def balances(case: Case, result: Result) -> Iterator[Judged]:
    """Judge mass and energy of a run.

    Parameters
    ----------
    case
        The station.
    result
        The episode as run.
    """
    yield judge(
        "water balance", "run of the episode", result.trace.balance_error, "at most", 1e-9, "",
        "what the balance leaves open over the volume handled", MASS_SOURCE,
    )  # fmt: skip
    main = case.station.force_main
    energy, pumped = result.value("energy"), result.value("volume pumped")
    if main is None or not energy > 0.0 or not pumped > 0.0:
        lacking = "[force_main]" if main is None else "power of the pumps, and a run that pumps"
        yield not_judged("energy", "run of the episode", lacking, ENERGY_SOURCE)
        return
    lift = main.discharge_level_m - result.value("greatest level")
    least_kwh = RHO * G * max(lift, 0.0) / 3.6e6
    yield judge(
        "energy", "run of the episode", 100.0 * least_kwh * pumped / energy, "at most", 100.0, "%",
        f"the lift alone takes {least_kwh:.3f} kWh/m3, the pumps drew {energy / pumped:.3f} kWh/m3",
        ENERGY_SOURCE,
    )  # fmt: skip

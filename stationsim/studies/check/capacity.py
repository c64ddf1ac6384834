"""Criteria of flow: firm capacity, and velocity in the main, with new pipe and with old."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from stationsim.physics.forcemain import ForceMain
from stationsim.physics.operating import operating_point
from stationsim.studies.check.criterion import Case, Judged, judge, limit_source, not_judged
from stationsim.units import show

FIRM_SOURCE = (
    "MIL-HDBK-1005/9A (1997) 2.5.3.2: greatest flow with one of the largest pumps out; likewise"
    " 9VAC25-790-380 (read 2026)"
)


class Age(NamedTuple):
    """The force main at one age: what it is called, and what it is then."""

    name: str
    main: ForceMain | None


def ages(case: Case) -> list[Age]:
    """Return the force main new and old, or as it is given when neither is told.

    Parameters
    ----------
    case
        The station.
    """
    main, rated = case.station.force_main, case.ratings.main
    if main is None:
        return [Age("", None)]
    found = []
    for name, c_factor in (("new pipe", rated.new_c), ("old pipe", rated.old_c)):
        if c_factor is not None:
            pipes = tuple(
                replace(pipe, c_factor=c_factor) if pipe.friction == "hazen-williams" else pipe
                for pipe in main.pipes
            )
            found.append(Age(name, replace(main, pipes=pipes)))
    return found or [Age("pipe as given", main)]


def subject_of(what: str, age: Age) -> str:
    """Return what a criterion is about, with the age of the pipe where there is one.

    Parameters
    ----------
    what
        Such as ``station``.
    age
        The force main.
    """
    return f"{what}, {age.name}" if age.name else what


def flow_m3s(case: Case, age: Age, machines: tuple[int, ...], level_m: float) -> float:
    """Return the flow of some electric pumps at a level [m3/s].

    Parameters
    ----------
    case, age
        The station, and its main.
    machines
        Indices of the pumps that run.
    level_m
        Level of the water [m above floor].
    """
    if not machines:
        return 0.0
    station = case.station
    pumps = [station.pumps[index] for index in machines]
    return operating_point(pumps, age.main, level_m, station.total_by_number_m3s).total_m3s


def high_water_m(case: Case) -> float:
    """Return the level at which the capacity counts: the alarm, or else the highest start level.

    Parameters
    ----------
    case
        The station.
    """
    alarm = case.station.alarms.high_level_m
    if alarm is not None:
        return alarm
    stages = getattr(case.station.control.settings, "stages", None)
    starts = [start for _role, start, _stop in stages()] if callable(stages) else []
    return max(starts, default=0.5 * case.station.well.levels_m[-1])


def low_water_m(case: Case) -> float:
    """Return the lowest level at which a pump runs: the stop level, or else the floor.

    Parameters
    ----------
    case
        The station.
    """
    stages = getattr(case.station.control.settings, "stages", None)
    stops = [stop for _role, _start, stop in stages()] if callable(stages) else []
    return min(stops, default=0.0)


def firm(case: Case, age: Age) -> tuple[float, str]:
    """Return the firm capacity [m3/s], and the pump that is out.

    Parameters
    ----------
    case, age
        The station, and its main.
    """
    level, every = high_water_m(case), range(len(case.station.pumps))
    flows = {out: flow_m3s(case, age, tuple(i for i in every if i != out), level) for out in every}
    worst = min(flows, key=lambda out: flows[out])
    return flows[worst], case.station.pumps[worst].name


def capacity(case: Case) -> Iterator[Judged]:
    """Judge the firm capacity at the peak flow.

    Parameters
    ----------
    case
        The station.
    """
    peak = case.peak_m3s
    of = case.flow_from(case.ratings.design.peak_m3s)
    for age in ages(case):
        flow, out = firm(case, age)
        yield judge(
            "firm capacity",
            subject_of("station", age),
            flow,
            "at least",
            peak,
            "flow",
            f"{out} out, the others at the high-level alarm, against the peak of the {of}",
            FIRM_SOURCE,
        )


def velocity(case: Case) -> Iterator[Judged]:
    """Judge the velocity in the main: with the smallest pump alone, and with all.

    Parameters
    ----------
    case
        The station.
    """
    if case.station.force_main is None:
        yield not_judged("least velocity", "force main", "[force_main]")
        yield not_judged("cleaning velocity", "force main", "[force_main]")
        yield not_judged("greatest velocity", "force main", "[force_main]")
        return
    limits = case.ratings.limits
    every = tuple(range(len(case.station.pumps)))
    low, high = low_water_m(case), high_water_m(case)
    for age in ages(case):
        main = age.main
        assert main is not None  # noqa: S101 - there is a force main
        widest = max(main.pipes, key=lambda pipe: pipe.diameter_m)
        narrowest = min(main.pipes, key=lambda pipe: pipe.diameter_m)
        alone = {i: flow_m3s(case, age, (i,), low) for i in every}
        smallest = min(alone, key=lambda i: alone[i])
        name = case.station.pumps[smallest].name
        subject = subject_of("force main", age)
        yield judge(
            "least velocity",
            subject,
            widest.velocity_ms(alone[smallest]),
            "at least",
            limits.least_velocity_ms,
            "velocity",
            f"{name} alone at the stop level in {show(widest.diameter_m, 'diameter', 'si')}",
            limit_source(case, "least_velocity_ms"),
        )
        together = flow_m3s(case, age, every, high)
        yield judge(
            "cleaning velocity",
            subject,
            widest.velocity_ms(together),
            "at least",
            limits.cleaning_velocity_ms,
            "velocity",
            f"all {len(every)} electric pumps at the high-level alarm",
            limit_source(case, "cleaning_velocity_ms"),
        )
        yield judge(
            "greatest velocity",
            subject,
            narrowest.velocity_ms(together),
            "at most",
            limits.most_velocity_ms,
            "velocity",
            f"all {len(every)} electric pumps at the high-level alarm",
            limit_source(case, "most_velocity_ms"),
        )

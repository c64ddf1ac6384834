"""Criteria of flow: firm capacity, and velocity in the main, with new pipe and with old."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from stationsim.physics.forcemain import ForceMain
from stationsim.physics.operating import operating_point
from stationsim.studies.check.criterion import (
    Case,
    Judged,
    Told,
    high_water,
    judge,
    limit_source,
    low_water,
    not_judged,
    stages_of,
)
from stationsim.wording import listed

if TYPE_CHECKING:
    from stationsim.station import Station

FIRM_SOURCE = (
    "MIL-HDBK-1005/9A (1997) 2.5.3.2: greatest flow with one of the largest pumps out; likewise"
    " 9VAC25-790-380 (read 2026)"
)


class Age(NamedTuple):
    """The force main at one age: what it is called, and what it is then."""

    name: str
    main: ForceMain | None


def ages(case: Case) -> list[Age]:
    """Return the force main, new before old; as it is given when that makes no difference.

    Parameters
    ----------
    case
        The station.
    """
    main, rated = case.station.force_main, case.ratings.main
    if main is None:
        return [Age("", None)]
    # roughness of a pipe by other rules than Hazen-Williams does not change with C
    ages_by_c = any(pipe.friction == "hazen-williams" for pipe in main.pipes)
    if not ages_by_c or (rated.new_c is None and rated.old_c is None):
        return [Age("pipe as given", main)]
    return [
        Age("new pipe", with_c(main, rated.new_c)),
        Age("old pipe", with_c(main, rated.old_c)),
    ]


def with_c(main: ForceMain, c_factor: float | None) -> ForceMain:
    """Return the main with another C where friction goes by Hazen-Williams.

    Parameters
    ----------
    main
        The force main.
    c_factor
        Hazen-Williams C [-]; None for the main as it is.
    """
    if c_factor is None:
        return main
    return replace(
        main,
        pipes=tuple(
            replace(pipe, c_factor=c_factor) if pipe.friction == "hazen-williams" else pipe
            for pipe in main.pipes
        ),
    )


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


def flow_m3s(case: Case, age: Age, machines: Sequence[int], level_m: float) -> float:
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
    key = (age.main, tuple(machines), level_m)
    if key not in case.flows_m3s:
        station = case.station
        pumps = [station.pumps[index] for index in machines]
        point = operating_point(pumps, age.main, level_m, station.total_by_number_m3s)
        case.flows_m3s[key] = point.total_m3s
    return case.flows_m3s[key]


def most_together(station: Station) -> int:
    """Return how many electric pumps run together at most: by number, by calls and by supply.

    Parameters
    ----------
    station
        What stands there.
    """
    service, stages = station.ratings.service, stages_of(station)
    limits = [len(station.pumps)]
    if stages:
        limits.append(len(stages))
    if service is not None and service.most_running is not None:
        limits.append(service.most_running)
    return min(limits)


def strongest(
    case: Case, age: Age, level_m: float, number: int, out: int | None = None
) -> tuple[int, ...]:
    """Return the electric pumps that give most by themselves at a level, in their own order.

    Parameters
    ----------
    case, age
        The station, and its main.
    level_m
        Level of the water [m above floor].
    number
        How many of them [-].
    out
        The index of one that is out; None for none.
    """
    able = [index for index in range(len(case.station.pumps)) if index != out]
    able.sort(key=lambda index: -flow_m3s(case, age, (index,), level_m))
    return tuple(sorted(able[:number]))


class Firm(NamedTuple):
    """The firm capacity.

    Parameters
    ----------
    flow_m3s
        What is left [m3/s].
    out
        The pump that is out.
    running
        The pumps that run.
    """

    flow_m3s: float
    out: str
    running: tuple[str, ...]


def firm(case: Case, age: Age) -> Firm:
    """Return the firm capacity: the least that is left with any one electric pump out.

    Parameters
    ----------
    case, age
        The station, and its main.
    """
    level, number = high_water(case.station).level_m, most_together(case.station)
    pumps = case.station.pumps
    found = []
    for out in range(len(pumps)):
        running = strongest(case, age, level, number, out)
        found.append(
            Firm(
                flow_m3s(case, age, running, level),
                pumps[out].name,
                tuple(pumps[index].name for index in running),
            )
        )
    return min(found, key=lambda one: one.flow_m3s)


def capacity(case: Case) -> Iterator[Judged]:
    """Judge the firm capacity at the peak flow.

    Parameters
    ----------
    case
        The station.
    """
    peak, water = case.peak_m3s, high_water(case.station)
    of = case.flow_from(case.ratings.design.peak_m3s)
    for age in ages(case):
        found = firm(case, age)
        left = f"{_run(found.running)} at {water.name}" if found.running else "nothing is left"
        yield judge(
            "firm capacity",
            subject_of("station", age),
            found.flow_m3s,
            "at least",
            peak,
            "flow",
            f"{found.out} out, {left}, against the peak of the {of}",
            FIRM_SOURCE,
        )


def velocity(case: Case) -> Iterator[Judged]:
    """Judge the velocity in the main: with the weakest pump alone, and with all that may run.

    Parameters
    ----------
    case
        The station.
    """
    if case.station.force_main is None:
        for name in ("least velocity", "cleaning velocity", "greatest velocity"):
            yield not_judged(name, "force main", "[force_main]")
        return
    limits, pumps = case.ratings.limits, case.station.pumps
    low, high = low_water(case.station), high_water(case.station)
    for age in ages(case):
        main = age.main
        assert main is not None  # noqa: S101 - there is a force main
        widest = max(main.pipes, key=lambda pipe: pipe.diameter_m)
        narrowest = min(main.pipes, key=lambda pipe: pipe.diameter_m)
        alone = [flow_m3s(case, age, (index,), low.level_m) for index in range(len(pumps))]
        least = min(alone)
        subject = subject_of("force main", age)
        yield judge(
            "least velocity", subject, widest.velocity_ms(least), "at least",
            limits.least_velocity_ms, "velocity",
            (
                f"{pumps[alone.index(least)].name} alone at {low.name}, ", Told(least, "flow"),
                " in ", Told(widest.diameter_m, "diameter"),
            ),
            limit_source(case, "least_velocity_ms"),
        )  # fmt: skip
        running = strongest(case, age, high.level_m, most_together(case.station))
        together = flow_m3s(case, age, running, high.level_m)
        names = _run(tuple(pumps[index].name for index in running))
        for name, pipe, side, limit in (
            ("cleaning velocity", widest, "at least", "cleaning_velocity_ms"),
            ("greatest velocity", narrowest, "at most", "most_velocity_ms"),
        ):
            yield judge(
                name, subject, pipe.velocity_ms(together),
                "at least" if side == "at least" else "at most",
                getattr(limits, limit), "velocity",
                (
                    f"{names} at {high.name}, ", Told(together, "flow"),
                    " in ", Told(pipe.diameter_m, "diameter"),
                ),
                limit_source(case, limit),
            )  # fmt: skip


def _run(names: tuple[str, ...]) -> str:
    return f"{listed(list(names))} {'run' if len(names) > 1 else 'runs'}"

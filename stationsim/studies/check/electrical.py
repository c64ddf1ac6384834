"""Criteria of supply: running and starting current, generator, fuel, and the bypass connection.

Screening by nameplate figures. The electrical design, its protection and its selectivity are the
work of somebody licensed for it. Currents are added as numbers, whatever their angles: that errs to
the careful side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from stationsim.equipment.ratings import Generator, Service
from stationsim.physics.electrics import apparent_va, line_current_a
from stationsim.studies.check.criterion import (
    Case,
    Judged,
    Told,
    judge,
    limit_source,
    not_judged,
    not_needed,
)

CLOSED_FORM = "closed form: I = P / (sqrt(3) U eta cos phi)"
CAPACITY_SOURCE = (
    "35 IAC 370.450 (read 2026): standby power starts and carries every pump that is rated to run"
)
BYPASS_SOURCE = (
    "common practice, no source; 35 IAC 370.450 (read 2026) asks for a connection, not for a flow"
)


class Drawn(NamedTuple):
    """What a motor draws.

    Parameters
    ----------
    name
        The pump.
    running_a, starting_a
        Current while it runs and while it starts [A].
    input_w
        What it draws from the supply at its rating [W]; NaN when not known.
    """

    name: str
    running_a: float
    starting_a: float
    input_w: float

    @property
    def extra_a(self) -> float:
        """What its start adds to its running current [A]."""
        return self.starting_a - self.running_a


def drawn(case: Case, service: Service) -> tuple[list[Drawn], list[str]]:
    """Return what each motor draws, and the names of those for which it cannot be told.

    Parameters
    ----------
    case, service
        The station, and its supply.
    """
    found, lacking = [], []
    for pump in case.station.pumps:
        plate = case.ratings.plates.get(pump.name)
        draw = None if plate is None else plate.draw(service)
        if draw is None:
            lacking.append(pump.name)
            continue
        found.append(Drawn(pump.name, *draw))
    return found, lacking


def heaviest(motors: list[Drawn], most_running: int | None) -> list[Drawn]:
    """Return the motors that draw most, as many as may run at once.

    Parameters
    ----------
    motors
        All of them.
    most_running
        How many may run; None for all [-].
    """
    count = len(motors) if most_running is None else min(most_running, len(motors))
    return sorted(motors, key=lambda one: one.running_a, reverse=True)[:count]


def one_by_one(case: Case) -> bool | None:
    """Return whether the panel lets pumps start one by one after the supply returns.

    Parameters
    ----------
    case
        The station.

    Returns
    -------
    bool or None
        None for a controller that has no such setting.
    """
    settings = case.station.control.settings
    gap = getattr(settings, "restart_stagger_s", None)
    if gap is None:
        gap = getattr(settings, "stagger_s", None)
    return None if gap is None else float(gap) > 0.0


def _plate_needs(names: list[str]) -> str:
    return f"pump.{names[0]}.plate: current, or rated_power with efficiency and power_factor"


def supply(case: Case) -> Iterator[Judged]:
    """Judge running and starting current against the main fuse.

    Parameters
    ----------
    case
        The station.
    """
    service = case.ratings.service
    names = ("running current", "starting current", "starting current, all at once")
    lacking = "" if service is not None else "[service]"
    motors: list[Drawn] = []
    if service is not None:
        motors, missing = drawn(case, service)
        if service.main_fuse_a is None:
            lacking = "service.main_fuse"
        elif missing:
            lacking = _plate_needs(missing)
    if service is None or service.main_fuse_a is None or lacking:
        for name in names:
            yield not_judged(name, "service", lacking, CLOSED_FORM)
        return
    limits, fuse = case.ratings.limits, service.main_fuse_a
    running = heaviest(motors, service.most_running)
    other = line_current_a(service.other_load_w, service.voltage_v, service.phases)
    total = sum(one.running_a for one in running) + other
    of = f"main fuse of {fuse:g} A"
    pumps = f"{len(running)} pump{'s' if len(running) > 1 else ''}"
    yield judge(
        "running current", "service", total, "at most", limits.fuse_part * fuse, "A",
        (f"{pumps} and ", Told(other, "current"), f" of other load, against the {of}"),
        limit_source(case, "fuse_part"),
    )  # fmt: skip
    last = max(running, key=lambda one: one.extra_a)
    most = limits.start_of_fuse * fuse
    times = f"{limits.start_of_fuse:g} times the {of}"
    beside = f"{last.name} starts last, the others run"
    if len(running) == 1:
        beside = f"{last.name} starts"
    yield judge(
        "starting current", "service", total + last.extra_a, "at most", most, "A",
        f"{beside}, against {times}", limit_source(case, "start_of_fuse"),
    )  # fmt: skip
    staggered = one_by_one(case)
    if staggered is None:
        needs = "a controller that says how starts are staggered after a power loss"
        yield not_judged(names[2], "service", needs)
    elif staggered or len(running) == 1:
        why = "a stagger is set" if staggered else "one pump runs at a time"
        yield not_needed(names[2], "service", why)
    else:
        together = other + sum(one.starting_a for one in running)
        yield judge(
            names[2], "service", together, "at most", most, "A",
            f"no stagger is set, so after a power loss {pumps} may start together, against {times}",
            limit_source(case, "start_of_fuse"),
        )  # fmt: skip


def generator(case: Case) -> Iterator[Judged]:
    """Judge the generator, and the fuel of whatever burns some.

    Parameters
    ----------
    case
        The station.
    """
    yield from _generator_load(case)
    yield _generator_fuel(case)
    engine = case.station.engine_pump
    if engine is None:
        return
    if engine.fuel_m3_per_s > 0.0 and math.isfinite(engine.tank_m3):
        yield _lasts(case, "engine fuel", engine.pump.name, engine.tank_m3, engine.fuel_m3_per_s)
    else:
        yield not_judged("engine fuel", engine.pump.name, "engine_pump: fuel_rate, tank")


def _generator_fuel(case: Case) -> Judged:
    """Judge how long the tank of the generator lasts: at its fuel rate, or by its table of fuel."""
    name, plant, power = "generator fuel", case.ratings.generator, case.station.standby_power
    if plant is None:
        return not_judged(name, "generator", "[generator]")
    table = None if power is None else power.generator
    tabled = table is not None and bool(table.fuel_loads)
    if plant.tank_m3 is None or not (plant.fuel_m3_per_s or tabled):
        lacking = [] if plant.fuel_m3_per_s or tabled else ["fuel_rate"]
        lacking += ["tank"] if plant.tank_m3 is None else []
        return not_judged(name, "generator", f"generator: {', '.join(lacking)}")
    if plant.fuel_m3_per_s:
        return _lasts(case, name, "generator", plant.tank_m3, plant.fuel_m3_per_s)
    assert table is not None  # noqa: S101  (tabled)
    running, lacking_load = _running_on(case, plant)
    watts = _watts(case, running)
    if lacking_load or math.isnan(watts):
        return not_judged(name, "generator", lacking_load or _WATT_NEEDS)
    rate = table.fuel_rate_m3_per_s(watts)
    if rate <= 0.0:
        return not_needed(name, "generator", "by its table of fuel it burns nothing at that load")
    load = (", which its table of fuel gives for ", Told(watts, "power"))
    return _lasts(case, name, "generator", plant.tank_m3, rate, load)


def _lasts(
    case: Case,
    name: str,
    subject: str,
    tank_m3: float,
    fuel_m3_per_s: float,
    load: tuple[str | Told, ...] = (),
) -> Judged:
    return judge(
        name, subject, tank_m3 / fuel_m3_per_s, "at least", case.ratings.limits.fuel_s, "duration",
        (
            "a full tank of ", Told(tank_m3, "fuel"), " at ", Told(fuel_m3_per_s, "fuel rate"),
            *load,
        ),
        limit_source(case, "fuel_s"),
    )  # fmt: skip


_WATT_NEEDS = "plates: power_factor, or rated_power and efficiency"


def _running_on(case: Case, plant: Generator) -> tuple[list[Drawn], str]:
    """Return the motors that run on a generator at most, or what is lacking to tell."""
    service = case.ratings.service
    if service is None:
        return [], "[service]"
    motors, missing = drawn(case, service)
    return heaviest(motors, plant.most_running), _plate_needs(missing) if missing else ""


def _watts(case: Case, running: list[Drawn]) -> float:
    """Return what some motors and the other load draw [W]; NaN when not known."""
    service = case.ratings.service
    other = 0.0 if service is None else service.other_load_w
    return sum(one.input_w for one in running) + other


_GENERATOR = ("generator output", "generator apparent output", "generator start")


def _generator_load(case: Case) -> Iterator[Judged]:
    plant, service = case.ratings.generator, case.ratings.service
    running, lacking = ([], "[generator]") if plant is None else _running_on(case, plant)
    if plant is None or service is None or lacking:
        for name in _GENERATOR:
            yield not_judged(name, "generator", lacking, CAPACITY_SOURCE)
        return
    fewer = len(running) < len(case.station.pumps)
    source = "generator.most_running of the scenario" if fewer else CAPACITY_SOURCE
    all_asked = "; the rule read asks for all pumps" if fewer else ""
    what = (
        f"{len(running)} pump{'s' if len(running) > 1 else ''} and ",
        Told(service.other_load_w, "power"),
        f" of other load{all_asked}",
    )
    watts = _watts(case, running)
    if math.isnan(watts):
        yield not_judged(_GENERATOR[0], "generator", _WATT_NEEDS, source)
    else:
        yield judge(
            _GENERATOR[0], "generator", plant.rated_w, "at least", watts, "power", what, source,
        )  # fmt: skip
    amperes = sum(one.running_a for one in running)
    running_va = apparent_va(amperes, service.voltage_v, service.phases) + service.other_load_w
    if plant.rated_va is None:
        needs = "generator: rated_apparent_power"
        yield not_judged(_GENERATOR[1], "generator", needs, source)
    else:
        yield judge(
            _GENERATOR[1], "generator", plant.rated_va, "at least", running_va, "VA", what, source,
        )  # fmt: skip
    name = _GENERATOR[2]
    if plant.start_va is None:
        needs = "generator: start_apparent_power"
        yield not_judged(name, "generator", needs, source)
        return
    start_va, how = _starting(case, service, running)
    yield judge(
        name, "generator", plant.start_va, "at least", running_va + start_va, "VA",
        f"{how}; at the voltage dip that the rating is for{all_asked}", source,
    )  # fmt: skip


def _starting(case: Case, service: Service, running: list[Drawn]) -> tuple[float, str]:
    """Return what the start adds to what runs [VA], and in words which start."""
    last = max(running, key=lambda one: one.extra_a)
    extra_a, how = last.extra_a, f"{last.name} starts last, the others run"
    if len(running) == 1:
        how = f"{last.name} starts"
    elif not one_by_one(case):
        extra_a, how = sum(one.extra_a for one in running), "no stagger is set: all start together"
    return apparent_va(extra_a, service.voltage_v, service.phases), how


def bypass(case: Case) -> Iterator[Judged]:
    """Judge the bypass connection: its flow against the peak, and its lift.

    Parameters
    ----------
    case
        The station.
    """
    connection, subject = case.ratings.bypass, "bypass connection"
    if connection is None or connection.flow_m3s is None:
        lacking = "[bypass]" if connection is None else "bypass.flow"
        yield not_judged("bypass flow", subject, lacking, BYPASS_SOURCE)
    else:
        area = math.pi * connection.diameter_m**2 / 4.0
        yield judge(
            "bypass flow", subject, connection.flow_m3s, "at least", case.peak_m3s, "flow",
            (
                f"against the peak of the {case.flow_from(case.ratings.design.peak_m3s)}; ",
                Told(connection.flow_m3s / area, "velocity"), " in the connection of ",
                Told(connection.diameter_m, "diameter"),
            ),
            BYPASS_SOURCE,
        )  # fmt: skip
    lift = None if connection is None else connection.suction_lift_m
    required = None if connection is None else connection.npsh_required_m
    if lift is None or required is None:
        keys = (("suction_lift", lift), ("npsh_required", required))
        lacking = ", ".join(f"bypass.{key}" for key, value in keys if value is None)
        yield not_judged("bypass lift", subject, "[bypass]" if connection is None else lacking)
    else:
        yield judge(
            "bypass lift", subject, lift + required, "at most",
            case.ratings.limits.most_priming_lift_m, "head",
            (
                "lift ", Told(lift, "head"), " from the lowest water up to the eye, head required ",
                Told(required, "head"), "; the loss in its hose comes on top",
            ),
            limit_source(case, "most_priming_lift_m"),
        )  # fmt: skip

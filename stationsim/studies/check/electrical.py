"""Criteria of supply: running and starting current, generator, fuel, and the bypass connection.

Screening by nameplate figures. The electrical design, its protection and its selectivity are the
work of somebody licensed for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from stationsim.equipment.ratings import Service
from stationsim.physics.electrics import (
    START_RATIO,
    apparent_va,
    line_current_a,
    motor_current_a,
)
from stationsim.studies.check.criterion import Case, Judged, judge, limit_source, not_judged
from stationsim.units import show

CLOSED_FORM = "closed form: I = P / (sqrt(3) U eta cos phi)"
CAPACITY_SOURCE = (
    "35 IAC 370.450 (read 2026): standby starts and carries the total rated running capacity"
)
BYPASS_SOURCE = "35 IAC 370.450 (read 2026): a portable pump can be connected"


class Drawn(NamedTuple):
    """What a motor draws.

    Parameters
    ----------
    name
        The pump.
    running_a, starting_a
        Current while it runs and while it starts [A].
    rated_w
        Output of its motor [W]; NaN when not known.
    input_w
        What it draws from the supply [W]; NaN when not known.
    """

    name: str
    running_a: float
    starting_a: float
    rated_w: float
    input_w: float


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
        current = None if plate is None else plate.current_a
        rated = None if plate is None else plate.rated_w
        if plate is not None and current is None and plate.rated_w is not None:
            eta, factor = plate.efficiency, plate.power_factor
            if eta is not None and factor is not None:
                current = motor_current_a(
                    plate.rated_w, service.voltage_v, eta, factor, service.phases
                )
        if plate is None or current is None:
            lacking.append(pump.name)
            continue
        ratio = START_RATIO[plate.starter] if plate.start_ratio is None else plate.start_ratio
        cos_phi = plate.power_factor if plate.power_factor is not None else math.nan
        watts = apparent_va(current, service.voltage_v, service.phases) * cos_phi
        found.append(
            Drawn(
                pump.name,
                current,
                current * max(ratio, 1.0),
                math.nan if rated is None else rated,
                watts,
            )
        )
    return found, lacking


def supply(case: Case) -> Iterator[Judged]:
    """Judge running and starting current against the main fuse.

    Parameters
    ----------
    case
        The station.
    """
    service = case.ratings.service
    names = ("running current", "starting current")
    if service is None or service.main_fuse_a is None:
        lacking = "[service]" if service is None else "service.main_fuse"
        for name in names:
            yield not_judged(name, "service", lacking, CLOSED_FORM)
        return
    motors, missing = drawn(case, service)
    if missing:
        needs = ", ".join(
            f"pump.{name}.plate: current, or rated_power with efficiency and power_factor"
            for name in missing[:1]
        )
        for name in names:
            yield not_judged(name, "service", needs, CLOSED_FORM)
        return
    limits = case.ratings.limits
    motors.sort(key=lambda one: one.running_a, reverse=True)
    count = min(service.most_running or len(motors), len(motors))
    running = motors[:count]
    other = line_current_a(service.other_load_w, service.voltage_v, service.phases)
    total = sum(one.running_a for one in running) + other
    of = f"main fuse of {service.main_fuse_a:g} A"
    yield judge(
        "running current", "service", total, "at most",
        limits.fuse_part * service.main_fuse_a, "A",
        f"{count} pumps and {other:.0f} A of other load, against the {of}",
        limit_source(case, "fuse_part"),
    )  # fmt: skip
    last = max(running, key=lambda one: one.starting_a)
    starting = total - last.running_a + last.starting_a
    yield judge(
        "starting current", "service", starting, "at most",
        limits.start_of_fuse * service.main_fuse_a, "A",
        f"{last.name} starts last, the others run, against the {of}; the order of starts is one"
        " by one", limit_source(case, "start_of_fuse"),
    )  # fmt: skip
    together = other + sum(one.starting_a for one in running)
    if _one_by_one(case):
        return
    yield judge(
        "starting current, all at once", "service", together, "at most",
        limits.start_of_fuse * service.main_fuse_a, "A",
        f"no stagger or start delay is set, so after a power loss {count} pumps may start together",
        limit_source(case, "start_of_fuse"),
    )  # fmt: skip


def _one_by_one(case: Case) -> bool:
    """Return whether the panel lets pumps start one by one after the supply returns."""
    settings = case.station.control.settings
    after_loss = getattr(settings, "restart_stagger_s", None)
    gap = getattr(settings, "stagger_s", 0.0) if after_loss is None else after_loss
    return float(gap or 0.0) > 0.0


def generator(case: Case) -> Iterator[Judged]:
    """Judge the generator: output, starting, fuel.

    Parameters
    ----------
    case
        The station.
    """
    plant, service = case.ratings.generator, case.ratings.service
    limits = case.ratings.limits
    if plant is None:
        for name in ("generator output", "generator start", "generator fuel"):
            yield not_judged(name, "generator", "[generator]", CAPACITY_SOURCE)
    else:
        motors, missing = ([], ["all"]) if service is None else drawn(case, service)
        if service is None or missing:
            needs = "[service]" if service is None else f"pump.{missing[0]}.plate: current"
            yield not_judged("generator output", "generator", needs, CAPACITY_SOURCE)
            yield not_judged("generator start", "generator", needs, CAPACITY_SOURCE)
        else:
            motors.sort(key=lambda one: one.running_a, reverse=True)
            count = min(plant.most_running or len(motors), len(motors))
            running = motors[:count]
            watts = sum(one.input_w for one in running) + service.other_load_w
            if math.isnan(watts):
                yield not_judged(
                    "generator output", "generator", "pump plates: power_factor", CAPACITY_SOURCE
                )
            else:
                yield judge(
                    "generator output", "generator", plant.rated_w, "at least", watts, "power",
                    f"{count} pumps and other load", CAPACITY_SOURCE,
                )  # fmt: skip
            yield from _generator_start(case, service, running)
        if plant.fuel_m3_per_s and plant.tank_m3 is not None:
            yield judge(
                "generator fuel", "generator", plant.tank_m3 / plant.fuel_m3_per_s, "at least",
                limits.fuel_s, "duration", f"tank of {show(plant.tank_m3, 'fuel', 'si')}",
                limit_source(case, "fuel_s"),
            )  # fmt: skip
        else:
            yield not_judged("generator fuel", "generator", "generator: fuel_rate, tank")
    engine = case.station.engine_pump
    if engine is not None:
        if engine.fuel_m3_per_s > 0.0 and math.isfinite(engine.tank_m3):
            yield judge(
                "fuel", engine.pump.name, engine.tank_m3 / engine.fuel_m3_per_s, "at least",
                limits.fuel_s, "duration", f"tank of {show(engine.tank_m3, 'fuel', 'si')}",
                limit_source(case, "fuel_s"),
            )  # fmt: skip
        else:
            yield not_judged("fuel", engine.pump.name, "engine_pump: fuel_rate, tank")


def _generator_start(case: Case, service: Service, running: list[Drawn]) -> Iterator[Judged]:
    plant = case.ratings.generator
    assert plant is not None  # noqa: S101 - looked at by the caller
    if plant.start_va is None:
        yield not_judged(
            "generator start", "generator", "generator: start_apparent_power", CAPACITY_SOURCE
        )
        return
    last = max(running, key=lambda one: one.starting_a)
    current = sum(one.running_a for one in running) - last.running_a + last.starting_a
    needed = apparent_va(current, service.voltage_v, service.phases) + service.other_load_w
    yield judge(
        "generator start", "generator", plant.start_va, "at least", needed, "VA",
        f"{last.name} starts last, the others run; at the voltage dip that the rating is for",
        CAPACITY_SOURCE,
    )  # fmt: skip


def bypass(case: Case) -> Iterator[Judged]:
    """Judge the bypass connection: its flow against the peak, and its lift.

    Parameters
    ----------
    case
        The station.
    """
    connection = case.ratings.bypass
    if connection is None or connection.flow_m3s is None:
        lacking = "[bypass]" if connection is None else "bypass.flow"
        yield not_judged("bypass flow", "bypass connection", lacking, BYPASS_SOURCE)
    else:
        yield judge(
            "bypass flow", "bypass connection", connection.flow_m3s, "at least", case.peak_m3s,
            "flow", f"against the peak of the {case.flow_from(case.ratings.design.peak_m3s)}",
            BYPASS_SOURCE,
        )  # fmt: skip
    if connection is None or connection.suction_lift_m is None:
        lacking = "[bypass]" if connection is None else "bypass.suction_lift"
        yield not_judged("bypass lift", "bypass connection", lacking)
    else:
        yield judge(
            "bypass lift", "bypass connection", connection.suction_lift_m, "at most",
            case.ratings.limits.most_priming_lift_m, "head",
            "from the lowest water up to the eye of the pump; losses and head required come on top",
            limit_source(case, "most_priming_lift_m"),
        )  # fmt: skip

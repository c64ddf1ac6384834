"""From checked tables to standby power and exercise runs."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from stationsim import units
from stationsim.equipment.exercise import Exercise
from stationsim.equipment.power import GeneratorSet, MotorLoad, StandbyPower, TransferSwitch
from stationsim.equipment.ratings import Service
from stationsim.findings import Finding
from stationsim.physics.electrics import apparent_va
from stationsim.scenario.case import LOGIC
from stationsim.scenario.moments import EventTextError, read_moment
from stationsim.scenario.slips import nearest_name

if TYPE_CHECKING:
    from stationsim.equipment.ratings import MotorPlate
    from stationsim.scenario.built import Built
    from stationsim.scenario.parts import Parts
    from stationsim.scenario.standby_tables import (
        ExercisePart,
        MobileGeneratorPart,
        TransferPart,
    )
    from stationsim.station import Ratings

_SOME_START = datetime(2027, 3, 1, tzinfo=UTC)
_ANY_SERVICE = Service(400.0)
"""Apparent power by output, efficiency and power factor is the same at every voltage."""

_MOST_CRANK_TRIES = 50


def make_standby_power(parts: Parts, ratings: Ratings, built: Built) -> StandbyPower | None:
    """Return what feeds the pumps when the grid does not; None for nothing; mistakes are noted.

    A fixed set counts in a run only with a transfer switch.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    ratings
        What plates and drawings say.
    built
        Takes what is refused.
    """
    sets: dict[str, GeneratorSet] = {}
    for place in ("generator", "mobile_generator"):
        part: MobileGeneratorPart | None = parts.single.get(place)
        if part is not None:
            sets[place] = _generator_set(part, place, parts, built)
    transfer: TransferPart | None = parts.single.get("transfer")
    if transfer is not None and "generator" not in parts.document:
        built.refuse(
            "transfer",
            "switches to a generator, and there is none",
            fix="add [generator] with its rated_power, or take [transfer] out",
        )
    mobile = sets.get("mobile_generator")
    if transfer is None and mobile is None:
        return None
    return StandbyPower(
        generator=None if transfer is None else sets.get("generator"),
        transfer=TransferSwitch() if transfer is None else _transfer(transfer),
        mobile=mobile,
        boot_s=0.0 if transfer is None else transfer.boot_time,
        loads=_loads(parts, ratings, built),
    )


def _transfer(part: TransferPart) -> TransferSwitch:
    return TransferSwitch(
        start_delay_s=part.start_delay,
        transfer_s=part.transfer_time,
        return_after_s=part.return_after,
        return_break_s=part.return_break,
        cool_down_s=part.cool_down,
    )


def _generator_set(
    part: MobileGeneratorPart, place: str, parts: Parts, built: Built
) -> GeneratorSet:
    loads, rates = _fuel(part, place, built)
    _check_may_start(part, place, parts, built)
    tries = getattr(part, "crank_tries", 1)
    if not 1 <= tries <= _MOST_CRANK_TRIES:
        built.refuse(
            f"{place}.crank_tries",
            "an engine is cranked once or a few times",
            f"{tries}",
            f"1 to {_MOST_CRANK_TRIES}",
            "3 is usual",
        )
    return GeneratorSet(
        rated_w=part.rated_power,
        rated_va=math.inf if part.rated_apparent_power is None else part.rated_apparent_power,
        start_va=math.inf if part.start_apparent_power is None else part.start_apparent_power,
        most_running=part.most_running,
        may_start=tuple(part.may_start or ()),
        crank_tries=tries,
        crank_s=getattr(part, "crank_time", 0.0),
        crank_rest_s=getattr(part, "crank_rest", 0.0),
        run_up_s=getattr(part, "run_up", 0.0),
        fuel_loads=loads,
        fuel_rates_m3_per_s=rates,
        tank_m3=math.inf if part.tank is None else part.tank,
    )


def _fuel(
    part: MobileGeneratorPart, place: str, built: Built
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return loads [-] and fuel rates [m3/s]; a plain rate holds at every load."""
    loads, rates = part.fuel_loads, part.fuel_rates
    if loads is None and rates is None:
        return ((), ()) if part.fuel_rate is None else ((0.0, 1.0), (part.fuel_rate,) * 2)
    if loads is None or rates is None:
        given, missing = ("fuel_rates", "fuel_loads") if loads is None else (
            "fuel_loads",
            "fuel_rates",
        )  # fmt: skip
        rows = {
            "fuel_loads": '"0 %", "50 %", "100 %"',
            "fuel_rates": built.example(
                '"3 L/h", "6 L/h", "10 L/h"', '"0.8 gal/h", "1.6 gal/h", "2.6 gal/h"'
            ),
        }
        built.refuse(
            f"{place}.{missing}",
            f"is missing, and {given} is given",
            fix=f"add it, such as {missing} = [{rows[missing]}]",
        )
        return (), ()
    if len(loads) != len(rates):
        built.refuse(
            f"{place}.fuel_rates",
            "loads and rates are not as many",
            f"{len(rates)}",
            f"{len(loads)}, one for each of fuel_loads",
        )
        return (), ()
    for one, later in pairwise(loads):
        if later <= one:
            built.refuse(
                f"{place}.fuel_loads",
                "do not rise all the way",
                f"{100.0 * one:g} %, then {100.0 * later:g} %",
                "each more than the one before",
            )
            return (), ()
    for one, later in pairwise(rates):
        if later < one:
            shown = [units.show(rate, "fuel rate", built.system) for rate in (one, later)]
            built.refuse(
                f"{place}.fuel_rates",
                "fall: a set burns no less at more load",
                ", then ".join(shown),
                "each no less than the one before",
            )
            return (), ()
    return tuple(loads), tuple(rates)


def _check_may_start(part: MobileGeneratorPart, place: str, parts: Parts, built: Built) -> None:
    """Refuse names of pumps that may run on a generator and do not exist."""
    pumps = parts.pumps
    for name in part.may_start or () if pumps is not None else ():
        if name in (pumps or ()):
            continue
        near = nearest_name(name, pumps or ())
        told = f"no electric pump is called '{name}'"
        built.refuse(
            f"{place}.may_start",
            told,
            limit=", ".join(pumps or ()),
            fix=f"did you mean '{near}'?" if near else "",
        )


_SETS = ("generator", "mobile_generator")
"""Tables of the sets that a run may use."""


def _loads(parts: Parts, ratings: Ratings, built: Built) -> dict[str, MotorLoad]:
    """Return what the motor of each pump asks; those of which too little is known are told."""
    found: dict[str, MotorLoad] = {}
    counts = any(_has_limit(parts.single.get(table)) for table in _SETS)
    for name in parts.named["pump"]:
        plate = ratings.plates.get(name)
        load = None if plate is None else motor_load(plate, ratings.service)
        if load is not None:
            found[name] = load
            continue
        if not counts:  # no set has a limit that it could count towards
            continue
        needs = "current, or rated_power with efficiency and power_factor"
        if plate is not None and plate.current_a is not None:
            place, reason, needs = "service", "is missing", "voltage"
            fix = f"add [service] with its {needs}, or take current out of pump.{name}.plate"
        else:
            place, reason = f"pump.{name}.plate", "says too little"
            fix = f"give it {needs}"
        built.findings.append(
            Finding(
                place,
                "warning",
                f"{reason}: {name} counts nought on the generator",
                fix=fix,
                source=LOGIC,
            )
        )
    return found


def _has_limit(part: MobileGeneratorPart | None) -> bool:
    """Return whether a set trips when the pumps ask for too much."""
    return part is not None and not (
        part.rated_apparent_power is None and part.start_apparent_power is None
    )


def motor_load(plate: MotorPlate, service: Service | None) -> MotorLoad | None:
    """Return what a motor asks of a generator; None when too little is known.

    Parameters
    ----------
    plate
        What its plate says.
    service
        The supply; None when not known: then a plate that gives its current says too little.
    """
    if service is None and plate.current_a is not None:
        return None
    supply = service or _ANY_SERVICE
    draw = plate.draw(supply)
    if draw is None:
        return None
    running, starting = (
        apparent_va(amperes, supply.voltage_v, supply.phases)
        for amperes in (draw.running_a, draw.starting_a)
    )
    return MotorLoad(running, starting, plate.run_up_s)


def make_exercise(parts: Parts, built: Built) -> Exercise | None:
    """Return what is run at a set time; None for nothing; mistakes are noted.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    built
        Takes what is refused.
    """
    part: ExercisePart | None = parts.single.get("exercise")
    if part is None:
        return None
    start = parts.start or _SOME_START
    try:
        at_s = read_moment(part.at, start)
    except EventTextError as error:
        built.refuse("exercise.at", str(error), f'"{part.at}"')
        return None
    if at_s < 0.0:
        at_s += math.ceil(-at_s / part.every) * part.every
    needs = (
        ("engine_time", "engine_pump", "an engine-driven pump: [engine_pump]"),
        ("generator_time", "transfer", "a generator that a run uses: [generator] and [transfer]"),
    )
    for key, table, what in needs:
        if getattr(part, key) > 0.0 and table not in parts.document:
            built.refuse(f"exercise.{key}", f"needs {what}", fix="add it, or take this key out")
    if part.pump_time == part.engine_time == part.generator_time == 0.0:
        built.findings.append(
            Finding(
                "exercise",
                "warning",
                "nothing is exercised",
                fix="add pump_time, engine_time or generator_time",
                source=LOGIC,
            )
        )
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    return Exercise(
        first_clock_s=at_s + (start - midnight).total_seconds(),
        every_s=part.every,
        pump_s=part.pump_time,
        engine_s=part.engine_time,
        generator_s=part.generator_time,
    )

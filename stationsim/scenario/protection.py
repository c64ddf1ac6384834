"""From checked tables to motors that heat, backup floats and the tariff."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from stationsim import units
from stationsim.control.backup import BackupSettings
from stationsim.physics.motor import MotorHeat
from stationsim.physics.tariff import Band, Tariff

if TYPE_CHECKING:
    from stationsim.equipment.pumps import PumpUnit
    from stationsim.scenario.built import Built
    from stationsim.scenario.machine_tables import PumpPart
    from stationsim.scenario.protection_tables import BackupFloatsPart, MotorPart, TariffPart

_DAYS = {"weekday": ("all", "weekdays"), "weekend": ("all", "weekend")}


def with_protection(
    pump: PumpUnit, part: PumpPart, above_floor: Callable[[float], float], built: Built
) -> PumpUnit:
    """Return a pump with the heat of its motor, and what its panel and protection do.

    Parameters
    ----------
    pump
        The pump without them.
    part
        Its table.
    above_floor
        Turns a level as written into metres above the floor.
    built
        Takes what is refused.
    """
    motor = part.motor
    below = part.air_bound_below
    pump = replace(
        pump,
        fail_to_start_s=part.fail_to_start_time,
        no_flow_after_s=part.no_flow_after,
        no_flow=part.no_flow,
        air_bound_below_m=None if below is None else above_floor(below),
        vent_s=math.inf if part.vent_time is None else part.vent_time,
        overload_below=part.overload_below,
        reverse_tries=part.reverse_tries,
        reverse_s=part.reverse_time,
        reverse_clears=part.reverse_clears,
        stop_clears=part.stop_clears,
        rides_through_s=part.rides_through,
        after_sag=part.after_sag,
    )
    if motor is None:
        return pump
    return replace(
        pump,
        motor_heat=_heat(motor, f"pump.{pump.name}.motor", built),
        motor_top_m=None if motor.top is None else above_floor(motor.top),
        most_resets=motor.most_resets,
    )


def _heat(part: MotorPart, place: str, built: Built) -> MotorHeat | None:
    if part.reset >= part.trip:
        built.refuse(
            f"{place}.reset",
            "must lie below the trip",
            _degrees(part.reset, built),
            f"below {_degrees(part.trip, built)}",
            "lower it, or raise the trip",
        )
        return None
    if part.reset <= part.ambient:
        built.refuse(
            f"{place}.reset",
            "does not lie above ambient: the motor would never cool down to it",
            _degrees(part.reset, built),
            f"above {_degrees(part.ambient, built)}",
            "raise it",
        )
        return None
    return MotorHeat(
        ambient_c=part.ambient,
        full_rise_k=part.full_rise,
        heating_time_constant_s=part.heating_time,
        cooling_time_constant_s=part.cooling_time,
        trip_c=part.trip,
        reset_c=part.reset,
        ragged_factor=part.ragged_factor,
        not_submerged_factor=part.not_submerged_factor,
    )


def _degrees(temperature_c: float, built: Built) -> str:
    unit = units.shown_unit("temperature", built.system)
    return f"{units.from_si(temperature_c, unit, 'temperature'):.6g} {unit}"


def make_backup_floats(
    part: BackupFloatsPart | None, above_floor: Callable[[float], float]
) -> BackupSettings | None:
    """Return the backup floats, or None when there are none.

    Parameters
    ----------
    part
        Their table.
    above_floor
        Turns a level as written into metres above the floor.
    """
    if part is None:
        return None
    return BackupSettings(
        start_m=above_floor(part.start),
        stop_m=above_floor(part.stop),
        lag_delay_s=part.lag_delay,
        frozen_after_s=part.frozen_after,
        disagrees_by_m=part.disagrees_by,
        agree_for_s=part.agree_for,
        rotation=part.rotation,
        supply=part.supply,
    )


def make_tariff(parts: Mapping[str, TariffPart], built: Built, *, whole: bool) -> Tariff | None:
    """Return the tariff, or None when there is none; what is wrong with it is noted.

    Parameters
    ----------
    parts
        Its bands by name.
    built
        Takes what is refused.
    whole
        Whether all of its bands could be read.
    """
    if not parts or not whole:
        return None
    bands = {
        days: tuple(
            Band(part.from_clock, part.to_clock, part.price, name)
            for name, part in parts.items()
            if part.days in fitting
        )
        for days, fitting in _DAYS.items()
    }
    early = [name for name, part in parts.items() if part.from_clock >= 86400.0]
    for name in early:
        built.refuse(
            f"tariff.{name}.from", "begins at the end of the day", '"24:00"', 'before "24:00"'
        )
    lacking = {"weekday": "weekdays", "weekend": "the weekend"}
    for days, of_them in bands.items():
        if not of_them:
            built.refuse(
                "tariff",
                f"no band holds on {lacking[days]}",
                fix='add one for these days, or write days = "all"',
            )
    if early or not all(bands.values()):
        return None
    try:
        return Tariff(bands["weekday"], bands["weekend"])
    except ValueError as error:
        reason = str(error).removeprefix("tariff, ")
        built.refuse(
            "tariff",
            reason,
            limit="bands that cover each day exactly once, from 00:00 to 24:00",
            fix="move the ends of the bands together",
        )
        return None

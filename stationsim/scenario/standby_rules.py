"""Rules of what helps against trouble: air, rags, no flow, priming, generators."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim import units
from stationsim.errors import HydraulicError
from stationsim.findings import Finding
from stationsim.physics.operating import operating_point
from stationsim.scenario.case import LOGIC, PRACTICE, Case, Findings

if TYPE_CHECKING:
    from stationsim.equipment.pumps import PumpUnit

MOST_TRIES = 50
"""A panel that reverses a pump more often than this is taken for a slip."""


def air_below_stop(case: Case) -> Findings:
    """Check that a pump draws no air in ordinary work, from its start down to its stop."""
    cover = case.station.cover_m
    for pump in case.station.pumps:
        below = pump.air_bound_below_m
        if below is None:
            continue
        if cover is not None and below >= cover:
            yield Finding(
                f"pump.{pump.name}.air_bound_below",
                "error",
                "does not lie below the cover of the well: the pump could never move water",
                case.level(below),
                case.reference.below(cover),
                "lower it",
                source=LOGIC,
            )
            continue
        if case.staging is None:
            continue
        starts = [(key, level) for key, level in case.starts() if level <= below]
        if starts:
            key, level = starts[0]
            reason = f"lies at or above {key}: the pump would be air-bound as soon as it starts"
        elif below >= case.staging.stop_m:
            key, level = "control.stop", case.staging.stop_m
            reason = f"lies at or above {key}: the pump would be air-bound after each pump-down"
        else:
            continue
        yield _warned(
            f"pump.{pump.name}.air_bound_below",
            reason,
            case.level(below),
            case.reference.below(min(level, case.staging.stop_m)),
            "lower it, or raise control.stop",
        )


def settings_have_effect(case: Case) -> Findings:
    """Check that what is set of a pump has what it goes with."""
    for pump in case.station.pumps:
        place = f"pump.{pump.name}"
        if pump.no_flow == "stop" and pump.no_flow_after_s is None:
            yield _warned(
                f"{place}.no_flow", "has no effect without no_flow_after", "", "", "add it"
            )
        if pump.reverse_tries > MOST_TRIES:
            yield Finding(
                f"{place}.reverse_tries",
                "error",
                "a panel tries a few times",
                f"{pump.reverse_tries}",
                f"0 to {MOST_TRIES}",
                "3 is usual",
                source=LOGIC,
            )
        given = [
            key
            for key, value in (
                ("reverse_tries", pump.reverse_tries),
                ("reverse_time", pump.reverse_s),
                ("reverse_clears", pump.reverse_clears),
            )
            if value
        ]
        if given and not pump.overload_below:
            yield _warned(
                f"{place}.{given[0]}",
                "has no effect without overload_below: rags never trip this pump",
                "",
                "",
                'add overload_below, such as overload_below = "50 %"',
            )
        elif given and not pump.reverse_tries:
            yield _warned(
                f"{place}.{given[0]}", "has no effect without reverse_tries", "", "", "add it"
            )


def signal_read_before_frozen(case: Case) -> Findings:
    """Check that a level signal is read more than once before it counts as frozen."""
    floats = case.station.backup_floats
    if floats is None or floats.frozen_after_s is None:
        return
    if floats.frozen_after_s < case.station.scan_s:
        yield _warned(
            "backup_floats.frozen_after",
            "is shorter than station.level_scan: a signal that is read so seldom counts as frozen "
            "before it is read again",
            units.show(floats.frozen_after_s, "duration", case.system),
            f"{units.show(case.station.scan_s, 'duration', case.system)} or more",
            "lengthen it, or have the signal read more often",
        )


def battery_feeds_alarms(case: Case) -> Findings:
    """Check that an alarm battery is given for alarms that live on it, and lasts for a while."""
    alarms = case.station.alarms
    if alarms.battery_s == math.inf:
        return
    lasts = units.show(alarms.battery_s, "duration", case.system)
    if alarms.supply == "control":
        yield Finding(
            "alarms.battery",
            "error",
            "means nothing with alarms.supply = 'control': those alarms share the supply of the "
            "controls and have no battery",
            lasts,
            "alarms.battery with alarms.supply = 'own'",
            "take one of the two out",
            source=LOGIC,
        )
    elif alarms.battery_s <= alarms.power_failed_delay_s:
        yield _warned(
            "alarms.battery",
            "is empty before 'power failed' is raised: that alarm never leaves the station",
            lasts,
            f"more than {units.show(alarms.power_failed_delay_s, 'duration', case.system)}",
            "shorten alarms.power_failed_delay",
        )


def engine_can_prime(case: Case) -> Findings:
    """Check that the engine-driven pump can draw the water up to itself, down to its stop level."""
    engine, line = case.station.engine_pump, case.station.ratings.engine_suction
    if engine is None or line is None:
        return
    primes = line.most_priming_lift_m
    start = line.lift_m(engine.start_level_m)
    if primes is not None and start > primes:
        yield _warned(
            "engine_pump.suction.eye_level",
            "stands higher over the start level than this pump primes from",
            case.height(start),
            f"up to {case.height(primes)}",
            "raise engine_pump.start, or check the eye and most_priming_lift",
        )
    flow = case.flow_of([engine.pump], engine.stop_level_m, engine_driven=True)
    asked = None if flow is None else line.asked_m(engine.stop_level_m, flow)
    limit = case.station.ratings.limits.most_priming_lift_m
    if asked is not None and asked > limit:
        yield Finding(
            "engine_pump.suction",
            "warning",
            "lift, loss and head required at the stop level are more than a pump primes from with "
            "certainty",
            units.show(asked, "head", case.system),
            f"up to {units.show(limit, 'head', case.system)} (limits.most_priming_lift)",
            "raise engine_pump.stop, or check the suction line",
            source=PRACTICE,
        )


def generators_start_each_pump(case: Case) -> Findings:
    """Check that a generator that a run uses can start the largest pump that may run on it."""
    power = case.station.standby_power
    if power is None:
        return
    for place, one in (("generator", power.generator), ("mobile_generator", power.mobile)):
        if one is None:
            continue
        loads = {
            name: load
            for name, load in power.loads.items()
            if not one.may_start or name in one.may_start
        }
        if not loads:
            if one.start_va < math.inf:
                yield _warned(
                    f"{place}.start_apparent_power",
                    "has no effect in a run: no pump that may run on it has a plate, and without "
                    "one nothing is known of what its motor asks",
                    f"{one.start_va / 1e3:.3g} kVA",
                    "",
                    "give pumps a plate, such as [pump.P1.plate] with rated_power, and [service]",
                )
            continue
        for key, most_va, asked in (
            ("start_apparent_power", one.start_va, {n: v.start_va for n, v in loads.items()}),
            ("rated_apparent_power", one.rated_va, {n: v.running_va for n, v in loads.items()}),
        ):
            name = max(asked, key=lambda pump: asked[pump])
            if asked[name] <= most_va:
                continue
            does = "start" if key.startswith("start") else "carry"
            yield _warned(
                f"{place}.{key}",
                f"is too little to {does} {name}: the set would trip",
                f"{most_va / 1e3:.3g} kVA",
                f"{asked[name] / 1e3:.3g} kVA or more",
                f"raise it, give {name} another starter, or leave it out of may_start",
            )


def generators_carry_one_pump(case: Case) -> Findings:
    """Check that a generator that a run uses is rated for the smallest pump that may run on it.

    A run compares apparent power alone, where both the set and the motors have it; a set of which
    only the rated power is known carries whatever the panel starts.

    Parameters
    ----------
    case
        What is to be looked at.
    """
    power = case.station.standby_power
    if power is None:
        return
    takes = {pump.name: _input_w(pump, case) for pump in case.station.pumps}
    for place, one in (("generator", power.generator), ("mobile_generator", power.mobile)):
        if one is None:
            continue
        least = min(
            (
                (watts, name)
                for name, watts in takes.items()
                if watts is not None and (not one.may_start or name in one.may_start)
            ),
            default=None,
        )
        if least is None or one.rated_w >= least[0]:
            continue
        watts, name = least
        yield _warned(
            f"{place}.rated_power",
            f"is less than {name} alone takes: such a set carries no pump, and a run that does not "
            "know its apparent power takes it for strong enough",
            units.show(one.rated_w, "power", case.system),
            f"{units.show(watts, 'power', case.system)} or more",
            "check the power of both, or bring a larger set",
        )


def _input_w(pump: PumpUnit, case: Case) -> float | None:
    """Return what a pump takes, the least of what is known of it [W]; None for nothing."""
    known = []
    plate = case.station.ratings.plates.get(pump.name)
    if plate is not None:
        service = case.station.ratings.service
        draw = None if service is None else plate.draw(service)
        if draw is not None and draw.input_w > 0.0:
            known.append(draw.input_w)
        elif plate.rated_w is not None:
            known.append(plate.rated_w / (plate.efficiency or 1.0))
    known += [watts for watts in [_drawn_w(pump, case)] if watts > 0.0]
    return min(known, default=None)


def _drawn_w(pump: PumpUnit, case: Case) -> float:
    """Return what a pump draws alone at the first start level; nought when it is not known [W]."""
    if pump.power.input_w is not None:
        return pump.input_w(0.0, 0.0)
    starts = [level_m for _key, level_m in case.starts()]
    if not starts or case.station.total_by_number_m3s is not None:
        return 0.0
    try:
        point = operating_point([pump], case.station.force_main, min(starts))
    except HydraulicError:
        return 0.0
    drawn_w = pump.input_w(point.flows_m3s[0], point.pump_heads_m[0])
    return drawn_w if math.isfinite(drawn_w) else 0.0


def mobile_generator_in_order(case: Case) -> Findings:
    """Check that generators that a run uses give no more power than apparent power."""
    power = case.station.standby_power
    mobile = None if power is None else power.mobile
    if mobile is None:
        return
    if mobile.rated_w > mobile.rated_va:
        yield Finding(
            "mobile_generator.rated_power",
            "error",
            "is more than mobile_generator.rated_apparent_power: the power factor would be above 1",
            f"{mobile.rated_w / 1e3:g} kW",
            f"up to {mobile.rated_va / 1e3:g} kW",
            "check which of the two is in kW and which in kVA",
            source=LOGIC,
        )
    if mobile.tank_m3 != float("inf") and not mobile.fuel_loads:
        yield _warned(
            "mobile_generator.tank",
            "has no effect without mobile_generator.fuel_rate",
            "",
            "",
            "add the fuel rate, or fuel_loads and fuel_rates",
        )


def _warned(place: str, reason: str, value: str, limit: str, fix: str) -> Finding:
    return Finding(place, "warning", reason, value, limit, fix, source=LOGIC)

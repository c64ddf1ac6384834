"""Rules of plates, supply, bypass, design and limits: only what contradicts itself.

Whether they are good enough for the station is for its criteria to say.
"""

from __future__ import annotations

from itertools import pairwise

from stationsim import limits, units
from stationsim.findings import Finding
from stationsim.scenario.case import LOGIC, Case, Findings


def design_flows_in_order(case: Case) -> Findings:
    """Check that least, average and peak flow by design rise, and that the years do."""
    design = case.station.ratings.design
    flows = [
        ("least_flow", design.least_m3s),
        ("average_flow", design.average_m3s),
        ("peak_flow", design.peak_m3s),
    ]
    known = [(key, flow) for key, flow in flows if flow is not None]
    for (lower, low), (key, flow) in pairwise(known):
        if flow < low:
            yield _refused(
                f"design.{key}",
                f"must not be less than design.{lower}",
                case.flow(flow),
                f"{case.flow(low)} or more",
                "raise it, or lower the other; check the units of both",
            )
    first, last = design.year, design.until_year
    if first is not None and last is not None and last < first:
        yield _refused(
            "design.until_year",
            "lies before design.year",
            f"{last}",
            f"{first} or later",
            "give the last year that is looked at",
        )


def main_ages_in_order(case: Case) -> Findings:
    """Check that old pipe is not smoother than new pipe, and that either counts at all."""
    ages, main = case.station.ratings.main, case.station.force_main
    if ages.new_c is not None and ages.old_c is not None and ages.old_c > ages.new_c:
        yield _refused(
            "force_main.old_c",
            "is more than force_main.new_c: a main gets rougher with the years",
            f"{ages.old_c:g}",
            f"{ages.new_c:g} or less",
            "swap the two, or lower it",
        )
    given = [key for key in ("new_c", "old_c") if getattr(ages, key) is not None]
    if main is None or not given:
        return
    if all(pipe.friction != "hazen-williams" for pipe in main.pipes):
        yield _warned(
            f"force_main.{given[0]}",
            'has no effect: no pipe of the main has friction = "hazen-williams"',
            "",
            "",
            "take it out, or choose the other formula",
        )


def generator_in_order(case: Case) -> Findings:
    """Check that a generator gives no more power than apparent power, and that its tank counts."""
    generator = case.station.ratings.generator
    if generator is None:
        return
    apparent = generator.rated_va
    if apparent is not None and generator.rated_w > apparent:
        yield _refused(
            "generator.rated_power",
            "is more than generator.rated_apparent_power: the power factor would be above 1",
            f"{generator.rated_w / 1e3:g} kW",
            f"up to {apparent / 1e3:g} kW",
            "check which of the two is in kW and which in kVA",
        )
    power = case.station.standby_power
    tabled = power is not None and power.generator is not None and power.generator.fuel_loads
    if generator.tank_m3 is not None and generator.fuel_m3_per_s is None and not tabled:
        yield _warned(
            "generator.tank",
            "has no effect without generator.fuel_rate",
            "",
            "",
            "add the fuel rate",
        )


def as_many_running_as_pumps(case: Case) -> Findings:
    """Check that no more pumps may run at once than there are."""
    count = len(case.station.pumps)
    power = case.station.standby_power
    supplies = {
        "service": case.station.ratings.service,
        "generator": case.station.ratings.generator,
        "mobile_generator": None if power is None else power.mobile,
    }
    for place, supply in supplies.items():
        most = None if supply is None else supply.most_running
        if most is not None and most > count:
            yield _warned(
                f"{place}.most_running",
                "is more than there are electric pumps",
                f"{most}",
                f"1 to {count}",
                "lower it, or leave it out when all may run",
            )


def inlets_under_water(case: Case) -> Findings:
    """Check that each suction opening lies in the well and below the stop level."""
    for name, inlet in case.station.ratings.inlets.items():
        level = inlet.level_m
        if level is None:
            continue
        place = f"pump.{name}.inlet.level"
        if level < 0.0:
            yield _refused(
                place,
                "lies below the floor",
                case.level(level),
                case.reference.at_or_above(0.0),
                "raise it",
            )
        elif case.staging is not None and level > case.staging.stop_m:
            yield _warned(
                place,
                "lies above the stop level: the pump would draw air before it stops",
                case.level(level),
                case.reference.at_or_below(case.staging.stop_m),
                "raise control.stop, or check the level of the opening",
            )


def limits_in_order(case: Case) -> Findings:
    """Check that the greatest velocity of the limits is not less than the others."""
    ratings = case.station.ratings
    most = ratings.limits.most_velocity_ms
    most_text = units.show(most, "velocity", case.system)
    for name in ("least_velocity_ms", "cleaning_velocity_ms"):
        value = getattr(ratings.limits, name)
        if value <= most:
            continue
        key, text = limits.key_of(name), units.show(value, "velocity", case.system)
        if name in ratings.set_limits:
            reason, fix = "is more than limits.most_velocity", "lower it, or set the other too"
            yield _refused(f"limits.{key}", reason, text, f"up to {most_text}", fix)
        else:
            reason, fix = f"is less than limits.{key}", "raise it, or set the other too"
            yield _refused("limits.most_velocity", reason, most_text, f"{text} or more", fix)


def _refused(place: str, reason: str, value: str, limit: str, fix: str) -> Finding:
    return Finding(place, "error", reason, value, limit, fix, source=LOGIC)


def _warned(place: str, reason: str, value: str, limit: str, fix: str) -> Finding:
    return Finding(place, "warning", reason, value, limit, fix, source=LOGIC)

"""Rules of the day of acceptance, and of what plates say for it: only what contradicts itself.

Whether the pumps are good enough is for the readings of the day to say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim import units
from stationsim.findings import Finding
from stationsim.physics.electrics import no_load_limits_a
from stationsim.scenario.case import LOGIC, PRACTICE, Case, Findings

if TYPE_CHECKING:
    from stationsim.equipment.acceptance import Gauge
    from stationsim.equipment.ratings import MotorPlate
    from stationsim.station import Station

SYNCHRONOUS = "synchronous speed 2 f / poles: closed form; how far below it, common practice"
WATTLESS = "at most the wattless part of the full-load current, I sin phi: closed form"

MOST_SLIP = 0.10
"""A motor at full load that turns more slowly than this below its synchronous speed [-] is taken
for a slip."""

FAR_BELOW_M = 5.0
"""A gauge that lies deeper than this under the floor of the well is taken for a slip."""

_DAY_S = 86_400.0
_SAME_M = 1e-9
_GRIDS_HZ = (50.0, 60.0)


def day_begins_before_it_ends(case: Case) -> Findings:
    """Check that the day of acceptance does not begin at its own end."""
    if case.station.ratings.acceptance.start_clock_s >= _DAY_S:
        yield Finding(
            "acceptance.start",
            "error",
            "is the end of the day",
            '"24:00"',
            '"00:00" to "23:59"',
            'give when work begins, such as start = "08:00"',
            source=LOGIC,
        )


def timed_drop_fits(case: Case) -> Findings:
    """Check that the drop over which a pump is timed leaves water in the well."""
    drop, staging = case.station.ratings.acceptance.drop_m, case.staging
    if drop is None:
        return
    if staging is None:
        top = _top(case.station)
        if top is not None and drop >= top:
            yield Finding(
                "acceptance.drop",
                "error",
                "is as much as the well is deep: it leaves no water",
                case.height(drop),
                f"less than {case.height(top)}",
                "lower it",
                source=LOGIC,
            )
        return
    active = staging.lead_start_m - staging.stop_m
    if drop >= staging.lead_start_m:
        yield Finding(
            "acceptance.drop",
            "error",
            "is as much as from control.lead_start down to the floor: it leaves no water",
            case.height(drop),
            f"less than {case.height(staging.lead_start_m)}",
            f"lower it; from the lead start to the stop level it is {case.height(active)}",
            source=LOGIC,
        )
    elif drop > active + _SAME_M:
        yield Finding(
            "acceptance.drop",
            "warning",
            "is more than from control.lead_start to control.stop: the pump stops before its end",
            case.height(drop),
            f"up to {case.height(active)}",
            "lower it",
            margin=active - drop,
            unit="m",
            source=LOGIC,
        )


def reading_levels_fit(case: Case) -> Findings:
    """Check that there is water at the levels of the readings, and that none is lost there."""
    levels = case.station.ratings.acceptance.levels_m
    crest, cover = case.crest_m, case.station.cover_m
    dry = [level for level in levels if level <= 0.0]
    if dry:
        yield _of_levels(
            case, dry, "leaves no water in the well", case.reference.above(0.0), "raise it"
        )
    top = crest if crest is not None else cover
    high = [] if top is None else [level for level in levels if level >= top]
    if high and top is not None:
        what = "the spill" if crest is not None else "the cover"
        reason = f"does not lie below {what}"
        yield _of_levels(case, high, reason, case.reference.below(top), "lower it")
    again = [level for place, level in enumerate(levels) if level in levels[:place]]
    if again:
        yield _of_levels(case, again, "stands there twice", "each level once", "take one out")
    yield from _over_the_openings(case, [level for level in levels if level > 0.0])


def _over_the_openings(case: Case, levels_m: list[float]) -> Findings:
    """Check that pumps have water over their suction openings at the levels of the readings."""
    inlets = case.station.ratings.inlets
    known = {name: one.level_m for name, one in inlets.items() if one.level_m is not None}
    if not known:
        return
    lowest, (name, highest) = min(known.values()), max(known.items(), key=lambda one: one[1])
    every = all(pump.name in known for pump in case.station.pumps)
    bare = [level for level in levels_m if level <= lowest] if every else []
    if bare:
        reason = "leaves no water over the suction opening of any pump"
        yield _of_levels(case, bare, reason, case.reference.above(lowest), "raise it")
        return
    some = [level for level in levels_m if level <= highest]
    if some:
        reason = f"leaves no water over the suction opening of {name}"
        limit = case.reference.above(highest)
        yield _of_levels(case, some, reason, limit, "raise it", error=False)


def gauges_fit(case: Case) -> Findings:
    """Check that gauges lie where water under pressure reaches them, and that they are of use."""
    station, plan = case.station, case.station.ratings.acceptance
    has_curve = any(pump.curve is not None for pump in station.pumps)
    if plan.header_gauge is not None:
        place = "acceptance.header_gauge"
        if station.force_main is None:
            yield _warned(
                place, "is of no use without [force_main]: no pressure is predicted for it"
            )
        else:
            yield from _gauge_in_place(case, place, plan.header_gauge)
    if plan.pump_gauge is not None:
        place = "acceptance.pump_gauge"
        if not has_curve:
            yield _warned(
                place, "is of no use: no pump has a curve, and no pressure is predicted for it"
            )
            return
        yield from _gauge_in_place(case, place, plan.pump_gauge)
        if plan.pump_gauge.branch_part and all(pump.branch is None for pump in station.pumps):
            yield _warned(
                f"{place}.branch_part", "has no effect: no pump has a branch", "add the branches"
            )


def _gauge_in_place(case: Case, place: str, gauge: Gauge) -> Findings:
    main, level = case.station.force_main, gauge.level_m
    if main is not None and level >= main.discharge_level_m:
        yield Finding(
            f"{place}.level",
            "warning",
            "does not lie below force_main.discharge: with the pumps at rest it would read less "
            "than the air",
            case.level(level),
            case.reference.below(main.discharge_level_m),
            "check both levels",
            source=LOGIC,
        )
    elif level < -FAR_BELOW_M:
        yield Finding(
            f"{place}.level",
            "warning",
            "lies far below the floor of the well",
            case.level(level),
            case.reference.at_or_above(-FAR_BELOW_M),
            "check what the level is measured from",
            source=PRACTICE,
        )


def no_load_current_fits(case: Case) -> Findings:
    """Check that a motor draws less with no load than at full load, as its power factor says."""
    service = case.station.ratings.service
    for name, plate in case.station.ratings.plates.items():
        full = plate.current_a if service is None else plate.full_load_a(service)
        if plate.no_load_a is None or full is None:
            continue
        place, value = f"pump.{name}.plate.no_load_current", _current(case, plate.no_load_a)
        factor = plate.power_factor if service is None else plate.factor_at_full_load(service)
        if plate.no_load_a >= full:
            yield Finding(
                place,
                "error",
                "must be less than the full-load current",
                value,
                f"less than {_current(case, full)}",
                "check which of the two is which",
                source=LOGIC,
            )
            continue
        if factor is None:
            continue
        least, most = no_load_limits_a(full, factor)
        if not least <= plate.no_load_a <= most:
            yield Finding(
                place,
                "error",
                f"does not go with {_current(case, full)} at full load and a power factor of "
                f"{factor:.3g}",
                value,
                f"from {units.limit_text(least, 'A', 'current', least=True)} to "
                f"{units.limit_text(most, 'A', 'current', least=False)} A",
                "check it, the full-load current and the power factor",
                source=WATTLESS,
            )


def rated_speed_goes_with_poles(case: Case) -> Findings:
    """Check that a speed at full load lies a little below one that its poles allow on the grid."""
    for name, plate in case.station.ratings.plates.items():
        speed, poles = plate.rated_speed, plate.poles
        if speed is None or poles is None or plate.starter == "variable speed":
            continue
        fitting = [2.0 * hertz / poles for hertz in _GRIDS_HZ]
        if any((1.0 - MOST_SLIP) * top <= speed < top for top in fitting):
            continue
        said = [
            f"{_speed((1.0 - MOST_SLIP) * top)} to less than {_speed(top)} rpm on {hertz:g} Hz"
            for top, hertz in zip(fitting, _GRIDS_HZ, strict=True)
        ]
        yield Finding(
            f"pump.{name}.plate.rated_speed",
            "warning",
            _slip_reason(plate),
            f"{_speed(speed)} rpm",
            ", ".join(said),
            "check the plate; it is the speed at full load, not the synchronous one",
            source=SYNCHRONOUS,
        )


def _slip_reason(plate: MotorPlate) -> str:
    return f"is no speed at full load of a motor of {plate.poles} poles on the grid"


def _top(station: Station) -> float | None:
    """Return the level of the spill, or of the cover [m]; None when neither is known."""
    return station.cover_m if station.spillway is None else station.spillway.crest_m


def _current(case: Case, current_a: float) -> str:
    return units.show(current_a, "current", case.system)


def _speed(speed: float) -> str:
    return f"{units.from_si(speed, 'rpm', 'rotation speed'):.6g}"


def _of_levels(
    case: Case, levels_m: list[float], reason: str, limit: str, fix: str, *, error: bool = True
) -> Finding:
    """Return one finding of some of the levels of the readings, with all of them as found."""
    return Finding(
        "acceptance.levels",
        "error" if error else "warning",
        f"holds a level that {reason}",
        ", ".join(case.level(level) for level in levels_m),
        limit,
        fix,
        source=LOGIC,
    )


def _warned(place: str, reason: str, fix: str = "take it out, or add what it needs") -> Finding:
    return Finding(place, "warning", reason, fix=fix, source=LOGIC)

"""Parts of the station sheet that are about pumps, power, fuel and the bypass.

What a plate or a drawing does not say stays blank. The reckoning of what a generator must carry is
that of the criteria of supply: currents are added as numbers, and the heaviest motors count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from stationsim.equipment.power import GeneratorSet
from stationsim.physics.electrics import apparent_va
from stationsim.studies.ahead import Ahead
from stationsim.studies.check.criterion import Case, stages_of
from stationsim.studies.check.electrical import Drawn, drawn, heaviest, one_by_one
from stationsim.studies.rehearse.sheet_text import NOT_HERE, fields, kilo, table
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.equipment.ratings import Generator, Service
    from stationsim.forms import Value
    from stationsim.station import Station
    from stationsim.studies.rehearse.sheet_text import Places
    from stationsim.units import System

PUMPS = "Pumps"
CARRIED = "What a generator must carry"
SETS = "Generators, engines, fuel"
BYPASS = "Bypass"
MOST_LINES = 6
"""Pumps that are told one by one, and numbers of pumps on a generator; the sheet is one page."""

_NO_SET = GeneratorSet()
"""A set of which nothing is known."""


@dataclass(frozen=True)
class Burning:
    """Fuel of something that burns it.

    Parameters
    ----------
    tank_m3, rate_m3_per_s
        What its tank holds [m3] and what it burns at full load [m3/s]; None when not given.
    """

    tank_m3: float | None
    rate_m3_per_s: float | None

    @property
    def lasts_s(self) -> float | None:
        """How long a full tank lasts at full load [s]; None when it cannot be told."""
        if self.tank_m3 is None or self.rate_m3_per_s is None:
            return None
        return self.tank_m3 / self.rate_m3_per_s


def pumps(station: Station, system: System) -> Places:
    """Return name, power, starter and current of each pump.

    Parameters
    ----------
    station
        What stands there.
    system
        ``si`` or ``us``.
    """
    service, plates = station.ratings.service, station.ratings.plates
    lines: dict[str, dict[str, Value]] = {}
    for pump in station.pumps:
        plate = plates.get(pump.name)
        power = None if plate is None or plate.rated_w is None else plate.rated_w
        current = None if plate is None else plate.current_a
        running = starting = None
        if plate is not None and service is not None:
            draw = plate.draw(service)
            if draw is not None:
                current = draw.running_a
                running, starting = (
                    apparent_va(amperes, service.voltage_v, service.phases)
                    for amperes in (draw.running_a, draw.starting_a)
                )
        lines[pump.name] = {
            "output": None if power is None else show(power, "power", system),
            "starter": None if plate is None else plate.starter,
            "current": None if current is None else show(current, "current", system),
            "running": kilo(running, "kVA"),
            "starting": kilo(starting, "kVA"),
        }
    return table(PUMPS, _together(lines))


def _together(lines: dict[str, dict[str, Value]]) -> dict[str, dict[str, Value]]:
    """Return lines with alike ones told together when there are many."""
    if len(lines) <= MOST_LINES:
        return lines
    names: dict[tuple[Value, ...], list[str]] = {}
    for name, entries in lines.items():
        names.setdefault(tuple(entries.values()), []).append(name)
    return {", ".join(each): lines[each[0]] for each in names.values()}


def most_at_once(station: Station) -> int:
    """Return how many electric pumps may be called at once: calls, pumps and supply allow [-].

    Parameters
    ----------
    station
        What stands there.
    """
    service, calls = station.ratings.service, stages_of(station)
    found = min(len(station.pumps), len(calls)) if calls else len(station.pumps)
    allowed = None if service is None else service.most_running
    return found if allowed is None else min(found, allowed)


def starts_text(station: Station, episode: Episode) -> str | None:
    """Return how pumps start when power is back; a blank for a controller that does not say.

    Parameters
    ----------
    station, episode
        What stands there, and what arrives.
    """
    staggered = one_by_one(Case(station, episode))
    if staggered is None:
        return None
    settings, most = station.control.settings, most_at_once(station)
    gap_s = getattr(settings, "restart_stagger_s", None)
    gap_s = float(getattr(settings, "stagger_s", 0.0) if gap_s is None else gap_s)
    first_s = getattr(settings, "restart_delay_s", 0.0)
    told = f"first after {show(first_s, 'duration', 'si')}, " if first_s else ""
    if most == 1:
        return f"{told}one pump"
    if staggered:
        return f"{told}one by one, {show(gap_s, 'duration', 'si')} apart, up to {most}"
    return f"{told}no stagger: up to {most} start AT ONCE"


def carried(station: Station, episode: Episode) -> Places:
    """Return what a generator must carry: with one pump, two and so on, and all at once.

    Parameters
    ----------
    station, episode
        What stands there, and what arrives.
    """
    case, service = Case(station, episode), station.ratings.service
    motors: list[Drawn] = []
    if service is not None:
        motors, lacking = drawn(case, service)
        motors = [] if lacking else motors
    lines: dict[str, dict[str, Value]] = {}
    most = most_at_once(station)
    for number in sorted({*range(1, min(most, MOST_LINES) + 1), most}):
        lines[_counted(number)] = _load(motors, number, service, at_once=False)
    if most > 1 and not one_by_one(case):
        lines[f"{_counted(most)}, started at once"] = _load(motors, most, service, at_once=True)
    return table(CARRIED, lines)


def _counted(number: int) -> str:
    return "1 pump" if number == 1 else f"{number} pumps"


def _load(
    motors: list[Drawn], number: int, service: Service | None, *, at_once: bool
) -> dict[str, Value]:
    """Return what so many of the heaviest motors ask for, and the other load with them."""
    if service is None or not motors:
        return {"running": None, "draws": None, "at the last start": None}
    running = heaviest(motors, number)
    other = service.other_load_w
    running_va = _va(sum(one.running_a for one in running), service) + other
    extra = [one.extra_a for one in running]
    start_va = running_va + _va(sum(extra) if at_once else max(extra), service)
    watts = sum(one.input_w for one in running) + other
    return {
        "running": kilo(running_va, "kVA"),
        "draws": kilo(watts, "kW"),
        "at the last start": kilo(start_va, "kVA"),
    }


def _va(amperes: float, service: Service) -> float:
    return apparent_va(amperes, service.voltage_v, service.phases)


def supply_text(station: Station) -> str | None:
    """Return voltage and phases of the supply; a blank when not given.

    Parameters
    ----------
    station
        What stands there.
    """
    service = station.ratings.service
    if service is None:
        return None
    phases = "3 phases" if service.phases == 3 else "1 phase"
    return f"{show(service.voltage_v, 'voltage', 'si')}, {phases}"


def sets(station: Station, system: System, level_m: float, greatest_m3s: float) -> Places:
    """Return what generators and engines are and what they burn; a column each.

    Parameters
    ----------
    station
        What stands there.
    system
        ``si`` or ``us``.
    level_m
        At which level flows of engine-driven pumps are told [m above floor].
    greatest_m3s
        The most that arrives [m3/s].
    """
    columns: dict[str, dict[str, Value]] = {}
    power = station.standby_power
    running = None if power is None else power.generator
    plate = station.ratings.generator
    if plate is not None or running is not None:
        columns["fixed set"] = _fixed(plate, running, system)
    columns["mobile set"] = _mobile(None if power is None else power.mobile, system)
    for name, engine in (("", station.engine_pump), ("bypass ", station.bypass_pump)):
        if engine is not None:
            flow = alone_m3s(station, engine, level_m, greatest_m3s)
            level = show(station.shown_m(level_m), "level", system)
            columns[f"{name}{engine.pump.name}"] = _engine(engine, flow, level, system)
    names = dict.fromkeys(name for column in columns.values() for name in column)
    return table(
        SETS,
        {
            name: {head: column.get(name, NOT_HERE) for head, column in columns.items()}
            for name in names
        },
    )


def _fixed(
    plate: Generator | None, running: GeneratorSet | None, system: System
) -> dict[str, Value]:
    """Return the column of the fixed set, by its plate and by its table of fuel."""
    known = None if running is None else _burning(running)
    if plate is None:
        assert running is not None  # noqa: S101  (one of them is there)
        return _set_of(running, known, system)
    fuel = Burning(plate.tank_m3, plate.fuel_m3_per_s or None)
    if known is not None and known.rate_m3_per_s is not None:
        fuel = replace(fuel, rate_m3_per_s=known.rate_m3_per_s)
    as_set = replace(
        running or _NO_SET,
        rated_w=plate.rated_w,
        rated_va=math.inf if plate.rated_va is None else plate.rated_va,
        start_va=math.inf if plate.start_va is None else plate.start_va,
        most_running=plate.most_running,
    )
    return _set_of(as_set, fuel, system)


def _mobile(mobile: GeneratorSet | None, system: System) -> dict[str, Value]:
    return _set_of(_NO_SET if mobile is None else mobile, None, system)


def _burning(what: GeneratorSet) -> Burning:
    """Return the fuel of a set at its rated output."""
    rate = what.fuel_rate_m3_per_s(what.rated_w) if math.isfinite(what.rated_w) else 0.0
    return Burning(what.tank_m3 if math.isfinite(what.tank_m3) else None, rate or None)


def _set_of(what: GeneratorSet, fuel: Burning | None, system: System) -> dict[str, Value]:
    allowed: list[str] = []
    if what.most_running is not None:
        allowed.append(f"{what.most_running} at once")
    if what.may_start:
        allowed.append(", ".join(what.may_start))
    return {
        "rated output": kilo(what.rated_w, "kW"),
        "rated apparent output": kilo(what.rated_va, "kVA"),
        "carries at a start": kilo(what.start_va, "kVA"),
        "pumps that may run on it": "; ".join(allowed) or None,
        "plug / connector": None,
        "phase rotation": None,
        **_fuel_lines(_burning(what) if fuel is None else fuel, system),
    }


def _engine(engine: EnginePump, flow_m3s: float, level: str, system: System) -> dict[str, Value]:
    fuel = Burning(
        engine.tank_m3 if math.isfinite(engine.tank_m3) else None, engine.fuel_m3_per_s or None
    )
    return {
        f"flow of one set alone at {level}": show(flow_m3s, "flow", system),
        **_fuel_lines(fuel, system),
    }


def _fuel_lines(fuel: Burning, system: System) -> dict[str, Value]:
    tank, rate, lasts = fuel.tank_m3, fuel.rate_m3_per_s, fuel.lasts_s
    return {
        "fuel tank": None if tank is None else show(tank, "fuel", system),
        "burns at full load": None if rate is None else show(rate, "fuel rate", system),
        "full tank lasts": None if lasts is None else show(lasts, "duration", system),
    }


def alone_m3s(station: Station, engine: EnginePump, level_m: float, greatest_m3s: float) -> float:
    """Return what an engine-driven pump moves when nothing else runs [m3/s].

    Parameters
    ----------
    station
        What stands there.
    engine
        The pump that stands there, or that is brought.
    level_m
        At which level [m above floor].
    greatest_m3s
        The most that arrives [m3/s].
    """
    ahead = Ahead(replace(station, engine_pump=engine), greatest_m3s)
    return ahead.flow_m3s((len(station.pumps),), station.well.volume_at(level_m))


def bypass(station: Station, system: System) -> Places:
    """Return what is known of the bypass connection.

    Parameters
    ----------
    station
        What stands there.
    system
        ``si`` or ``us``.
    """
    known = station.ratings.bypass
    size = lift = flow = None
    if known is not None:
        size = show(known.diameter_m, "diameter", system)
        if known.suction_lift_m is not None:
            lift = show(known.suction_lift_m, "head", system)
        if known.flow_m3s is not None:
            flow = show(known.flow_m3s, "flow", system)
    return fields(
        BYPASS,
        {
            "riser size": size,
            "thread or coupling": None,
            "suction hose length": None,
            "lift from lowest water": lift,
            "flow meant for it": flow,
        },
    )

"""From checked tables to what plates and drawings say beyond what a run needs."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from stationsim import limits
from stationsim.equipment.ratings import (
    BypassConnection,
    DesignFlows,
    Generator,
    MainAges,
    MotorPlate,
    PumpInlet,
    Service,
    SuctionLine,
)
from stationsim.scenario import machine_tables as m
from stationsim.scenario.acceptance import make_acceptance
from stationsim.scenario.machines import make_flow_table, make_pipe
from stationsim.station import Ratings

if TYPE_CHECKING:
    from collections.abc import Callable

    from stationsim.physics.forcemain import Pipe
    from stationsim.scenario import rating_tables as t
    from stationsim.scenario import standby_tables as b
    from stationsim.scenario.built import Built
    from stationsim.scenario.parts import Parts

_PIPE_KEYS = (
    *("length", "diameter", "friction", "c_factor"),
    *("roughness", "viscosity", "fittings_k"),
)


def make_ratings(parts: Parts, above_floor: Callable[[float], float], built: Built) -> Ratings:
    """Return what plates and drawings say; what is wrong with it is noted.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    above_floor
        Turns a level as written into metres above the floor.
    built
        Takes what is refused.
    """
    pumps: dict[str, m.PumpPart] = parts.named["pump"]
    engine: m.EnginePumpPart | None = parts.single.get("engine_pump")
    main: m.ForceMainPart | None = parts.single.get("force_main")
    set_limits, set_names = _limits(parts.single.get("limits"))
    suction = None if engine is None else engine.suction
    return Ratings(
        plates={name: _plate(part.plate) for name, part in pumps.items() if part.plate is not None},
        inlets={
            name: _inlet(part.inlet, f"pump.{name}.inlet", above_floor, built)
            for name, part in pumps.items()
            if part.inlet is not None
        },
        service=_service(parts.single.get("service")),
        generator=_generator(parts.single.get("generator")),
        bypass=_bypass(parts.single.get("bypass")),
        engine_suction=None if suction is None else _suction(suction, above_floor, built),
        main=MainAges()
        if main is None
        else MainAges(main.new_c, main.old_c, main.wave_speed, main.pressure_rating),
        design=_design(parts.single.get("design")),
        limits=set_limits,
        set_limits=set_names,
        acceptance=make_acceptance(parts.single.get("acceptance"), above_floor),
    )


def _plate(part: t.PlatePart) -> MotorPlate:
    return MotorPlate(
        rated_w=part.rated_power,
        current_a=part.current,
        efficiency=part.efficiency,
        power_factor=part.power_factor,
        poles=part.poles,
        starter=part.starter,
        start_ratio=part.start_ratio,
        load_inertia_kgm2=part.load_inertia,
        most_starts_per_hour=part.most_starts_per_hour,
        least_off_s=part.least_off_time,
        no_load_a=part.no_load_current,
        rated_speed=part.rated_speed,
        run_up_s=part.run_up_time,
    )


def _inlet(
    part: t.InletPart, place: str, above_floor: Callable[[float], float], built: Built
) -> PumpInlet:
    npsh = part.npsh_required
    return PumpInlet(
        level_m=None if part.level is None else above_floor(part.level),
        diameter_m=part.diameter,
        least_submergence_m=part.least_submergence,
        npsh_required=None
        if npsh is None
        else make_flow_table(npsh.flow, npsh.head, f"{place}.npsh_required", built),
    )


def _suction(
    part: t.SuctionPart, above_floor: Callable[[float], float], built: Built
) -> SuctionLine:
    return SuctionLine(
        eye_m=above_floor(part.eye_level),
        pipe=_suction_pipe(part, built),
        npsh_required_m=part.npsh_required,
        most_priming_lift_m=part.most_priming_lift,
    )


def _suction_pipe(part: t.SuctionPart, built: Built) -> Pipe | None:
    place = "engine_pump.suction"
    given = [key for key in _PIPE_KEYS if getattr(part, key) is not None]
    if not given:
        return None
    samples = {"length": ("6 m", "20 ft"), "diameter": ("200 mm", "8 in")}
    lacking = [key for key in samples if key not in given]
    for key in lacking:
        built.refuse(
            f"{place}.{key}",
            f"is missing, and {given[0]} of the suction pipe is given",
            fix=f'add it, such as {key} = "{built.example(*samples[key])}"',
        )
    if lacking:
        return None
    pipe = m.PipePart.model_construct(**{key: getattr(part, key) for key in given})
    return make_pipe(pipe, place, built)


def _service(part: t.ServicePart | None) -> Service | None:
    if part is None:
        return None
    return Service(
        voltage_v=part.voltage,
        phases=part.phases,
        main_fuse_a=part.main_fuse,
        other_load_w=part.other_load,
        most_running=part.most_running,
    )


def _generator(part: b.GeneratorPart | None) -> Generator | None:
    if part is None:
        return None
    return Generator(
        rated_w=part.rated_power,
        rated_va=part.rated_apparent_power,
        start_va=part.start_apparent_power,
        most_running=part.most_running,
        fuel_m3_per_s=part.fuel_rate,
        tank_m3=part.tank,
    )


def _bypass(part: t.BypassPart | None) -> BypassConnection | None:
    if part is None:
        return None
    return BypassConnection(part.diameter, part.flow, part.suction_lift, part.npsh_required)


def _design(part: t.DesignPart | None) -> DesignFlows:
    if part is None:
        return DesignFlows()
    return DesignFlows(
        average_m3s=part.average_flow,
        peak_m3s=part.peak_flow,
        least_m3s=part.least_flow,
        growth_per_year=part.growth_per_year,
        year=part.year,
        until_year=part.until_year,
        outage_s=part.outage,
        response_s=part.response,
    )


def _limits(part: t.LimitsPart | None) -> tuple[limits.Limits, tuple[str, ...]]:
    """Return the limits, and the names of those that the file sets itself."""
    given: dict[str, Any] = {}
    if part is not None:
        for field in dataclasses.fields(limits.Limits):
            key = limits.key_of(field.name)
            if key in part.model_fields_set:
                given[field.name] = getattr(part, key)
    return limits.Limits(**given), tuple(given)

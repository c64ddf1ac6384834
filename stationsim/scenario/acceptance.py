"""From the checked table to the plan of the day of acceptance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.equipment.acceptance import AcceptancePlan, Gauge, Uncertainties

if TYPE_CHECKING:
    from collections.abc import Callable

    from stationsim.scenario import acceptance_tables as t


def make_acceptance(
    part: t.AcceptancePart | None, above_floor: Callable[[float], float]
) -> AcceptancePlan:
    """Return how the day of acceptance is to go; the usual day when nothing is said of it.

    Parameters
    ----------
    part
        The table; None when it was left out.
    above_floor
        Turns a level as written into metres above the floor.
    """
    if part is None:
        return AcceptancePlan()
    header, pump, off = part.header_gauge, part.pump_gauge, part.uncertainty
    return AcceptancePlan(
        start_clock_s=AcceptancePlan.start_clock_s if part.start is None else part.start,
        water_m3s=part.water,
        water_goes=part.water_goes,
        main_full=part.main_full,
        inflow=part.inflow,
        drop_m=part.drop,
        levels_m=tuple(above_floor(level) for level in part.levels or ()),
        header_gauge=None if header is None else Gauge(above_floor(header.level), header.bore),
        pump_gauge=None
        if pump is None
        else Gauge(above_floor(pump.level), pump.bore, pump.branch_part),
        grade=part.grade,
        flow_tolerance=part.flow_tolerance,
        head_tolerance=part.head_tolerance,
        current_tolerance=part.current_tolerance,
        speed_tolerance=part.speed_tolerance,
        level_tolerance_m=part.level_tolerance,
        time_tolerance_s=part.time_tolerance,
        time_part=part.time_part,
        uncertainty=Uncertainties(
            flow_meter=off.flow_meter,
            pressure_pa=off.pressure,
            current=off.current,
            speed=off.speed,
            level_m=off.level,
            time_s=off.time,
            area=off.area,
        ),
    )

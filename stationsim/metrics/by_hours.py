"""What the hour meters make of the volumes: the book of somebody who does not know of the trouble.

Hours times the flow that the pump should have, alone, at the middle of its working range: that is
what is written down where there is no flow meter. A pump that is clogged, worn or air-bound, one
that runs beside another, and water that runs back, all make the true volume a different one.

References
----------
Common practice, no source.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.errors import HydraulicError
from stationsim.physics.operating import operating_point

if TYPE_CHECKING:
    from stationsim.equipment.pumps import PumpUnit
    from stationsim.station import Station

_AROUND_M = 1.0


def flows_by_book(station: Station) -> tuple[float, ...]:
    """Return the flow that each machine should have, sound and alone [m3/s].

    It is taken at the middle between start and stop level: of the lead for electric pumps, its own
    for a pump with an engine. With a controller that has no such settings it is the middle between
    the levels that are set otherwise; a single one, or a missing one, counts half a metre below.

    Parameters
    ----------
    station
        What stands there.

    Returns
    -------
    tuple of float
        One for each machine, in the order of ``Station.machine_names``; NaN for one that has no
        flow of its own.
    """
    middle = _middle_m(station)
    flows = [_alone(station, unit, middle) for unit in station.pumps]
    for engine in station.engines():
        middle = (engine.start_level_m + engine.stop_level_m) / 2.0
        flows.append(_alone(station, engine.pump, middle))
    return tuple(flows)


def _alone(station: Station, unit: PumpUnit, level_m: float) -> float:
    totals = station.total_by_number_m3s
    try:
        return operating_point([unit], station.force_main, level_m, totals).total_m3s
    except HydraulicError:
        return math.nan


def _middle_m(station: Station) -> float:
    settings = station.control.settings
    start, stop = getattr(settings, "lead_start_m", None), getattr(settings, "stop_m", None)
    if isinstance(start, (int, float)):
        low = stop if isinstance(stop, (int, float)) else start - _AROUND_M
        return (start + low) / 2.0
    floats, alarms = station.backup_floats, station.alarms
    found = [alarms.high_level_m, alarms.low_level_m]
    if floats is not None:
        found += [floats.start_m, floats.stop_m]
    levels = [level for level in found if level is not None]
    if len(levels) < 2:
        levels.append(max((levels or [_AROUND_M])[0] - _AROUND_M, 0.0))
    return sum(levels) / len(levels)

"""Flows by drawdown, from the times that the crew took."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stationsim.physics.drawdown import Drawdown, Timed, drawdown
from stationsim.studies.check.criterion import stages_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Taken
    from stationsim.studies.acceptance.rig import Rig

_USUAL_DROP_M = 0.5
_TIMES = ("fall", "rise before", "rise after")


class Fall(NamedTuple):
    """From which level to which pumps are timed.

    Parameters
    ----------
    from_m, to_m
        The levels [m above floor].
    """

    from_m: float
    to_m: float

    @property
    def drop_m(self) -> float:
        """How far the level falls [m]."""
        return self.from_m - self.to_m


def planned_fall(station: Station) -> Fall:
    """Return from which level to which pumps are timed by plan.

    It begins at the lead start level; the drop is the plan's, or half a metre, or what the lead
    pump draws down when that is less.

    Parameters
    ----------
    station
        What stands there.
    """
    plan = station.ratings.acceptance
    stages = stages_of(station)
    if stages:
        _role, high, stop = min(stages, key=lambda stage: stage[1])
    else:
        crest = station.spillway.crest_m if station.spillway is not None else 1.0
        high, stop = 0.8 * crest, 0.2 * crest
    drop = min(_USUAL_DROP_M, high - stop) if plan.drop_m is None else min(plan.drop_m, high)
    return Fall(high, high - drop)


class DrawnFlow(NamedTuple):
    """The flow of a lineup by drawdown.

    Parameters
    ----------
    test
        The test that it belongs to.
    machines
        The machines that ran.
    fall
        From which level to which.
    found
        The flow, its uncertainty, and the inflow that counts in it.
    rises
        How many rises were timed for the inflow [-].
    """

    test: str
    machines: tuple[int, ...]
    fall: Fall
    found: Drawdown
    rises: int


def drawdowns(taken: Sequence[Taken], station: Station) -> list[DrawnFlow]:
    """Return the flow of each lineup whose fall was timed.

    Parameters
    ----------
    taken
        The readings taken.
    station
        What stands there.
    """
    plan = station.ratings.acceptance
    fall = planned_fall(station)
    drops = [one.value for one in taken if one.reading.what == "drop"]
    if drops:
        fall = Fall(fall.from_m, fall.from_m - drops[0])
    volume_at = station.well.volume_at
    volume = volume_at(fall.from_m) - volume_at(fall.to_m)
    of_marks = math.sqrt(2.0) * plan.uncertainty.level_m / fall.drop_m
    by_test: dict[str, dict[str, Taken]] = {}
    for one in taken:
        by_test.setdefault(one.reading.test, {})[one.reading.what] = one
    found = []
    for test, read in by_test.items():
        if "fall" not in read or not read["fall"].value > 0.0:
            continue
        rises = [
            Timed(volume, read[what].value)
            for what in ("rise before", "rise after")
            if what in read and read[what].value > 0.0
        ]
        timed = drawdown(
            Timed(volume, read["fall"].value),
            rises,
            volume_uncertainty_m3=0.0 if rises else of_marks * volume,
            time_uncertainty_s=max(read[what].uncertainty for what in _TIMES if what in read),
            # rises go by the marks of the fall: a mark that is off is off in all of them
            area_uncertainty=math.hypot(plan.uncertainty.area, of_marks if rises else 0.0),
        )
        machines = read["fall"].reading.machines
        found.append(DrawnFlow(test, machines, fall, timed, len(rises)))
    return found


def at_level(drawn: DrawnFlow, rig: Rig, level_m: float) -> tuple[float, float] | None:
    """Return a flow by drawdown, the mean over its fall, and its uncertainty at one level [m3/s].

    Parameters
    ----------
    drawn
        The flow of a lineup by drawdown.
    rig
        The station as it should be: says how the flow goes with the level.
    level_m
        The level [m above floor].

    Returns
    -------
    tuple or None
        None for a lineup that should not draw the level down at all.
    """
    mean = rig.drawn_m3s(drawn.machines, *drawn.fall)
    if mean <= 0.0:
        return None
    part = rig.point(drawn.machines, level_m).total_m3s / mean
    return drawn.found.flow_m3s * part, drawn.found.uncertainty_m3s * part

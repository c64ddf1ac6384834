"""Which pumps are tested together, at which levels, and where each lineup should work."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from stationsim.studies.acceptance.drawn import planned_fall
from stationsim.studies.acceptance.rig import AsBuilt, Rig
from stationsim.studies.check.capacity import most_together, with_c
from stationsim.studies.check.criterion import stages_of

if TYPE_CHECKING:
    from stationsim.station import Station

MOST_TOGETHER = 11
"""Combinations of more than one pump that are tested at most: all that four pumps have."""


class Lineup(NamedTuple):
    """Pumps that are tested together.

    Parameters
    ----------
    name
        What the test is called: ``P1 alone``, ``P1 + P2``.
    machines
        Their indices: the electric pumps, then the engine-driven one.
    """

    name: str
    machines: tuple[int, ...]


def lineups_of(station: Station) -> tuple[list[Lineup], list[tuple[str, str]]]:
    """Return each pump alone, then the combinations that may run; and what is left out, with why.

    Parameters
    ----------
    station
        What stands there.
    """
    names, electric = station.machine_names(), range(len(station.pumps))
    found = [Lineup(f"{names[index]} alone", (index,)) for index in range(len(names))]
    left_out: list[tuple[str, str]] = []
    most = most_together(station)
    together = [
        machines for count in range(2, most + 1) for machines in combinations(electric, count)
    ]
    if len(together) > MOST_TOGETHER:
        # each pump with its neighbour, and as many as may run, with each of them left out in turn
        count = len(station.pumps)
        chosen = {tuple(sorted((n, (n + 1) % count))) for n in electric}
        chosen |= {tuple(sorted((first + n) % count for n in range(most))) for first in electric}
        left_out.append((
            f"{len(together) - len(chosen)} of {len(together)} combinations",
            "each pump is tested with its neighbour and among as many as may run",
        ))  # fmt: skip
        together = sorted(chosen, key=lambda machines: (len(machines), machines))
    found += [
        Lineup(" + ".join(names[index] for index in machines), machines) for machines in together
    ]
    if most < len(station.pumps):
        left_out.append((
            f"more than {most} pump{'s' if most > 1 else ''} at once",
            "neither the start levels nor the supply let them run together",
        ))  # fmt: skip
    if station.engine_pump is not None:
        left_out.append((
            f"{names[-1]} with electric pumps",
            "it runs when the grid is out; on the day it is tested by itself",
        ))  # fmt: skip
    return found, left_out


def levels_of(station: Station) -> tuple[float, ...]:
    """Return the levels at which pressures and flows are read, from the highest [m above floor].

    Parameters
    ----------
    station
        What stands there.
    """
    plan, fall = station.ratings.acceptance, planned_fall(station)
    if plan.levels_m:
        return tuple(sorted(set(plan.levels_m), reverse=True))
    stages = stages_of(station)
    low = min((stop for _role, _start, stop in stages), default=fall.to_m)
    levels = (fall.from_m, 0.5 * (fall.from_m + low), low)
    return tuple(dict.fromkeys(round(level, 3) for level in levels))


def middle_of(levels_m: tuple[float, ...]) -> float:
    """Return the level at which combinations are read [m above floor].

    Parameters
    ----------
    levels_m
        The levels of the day, from the highest [m above floor].
    """
    return levels_m[len(levels_m) // 2]


def of_the_day(station: Station) -> Station:
    """Return the station as it stands on its first day: with its force main new.

    Parameters
    ----------
    station
        What stands there.
    """
    new_c, main = station.ratings.main.new_c, station.force_main
    if main is None or new_c is None:
        return station
    return replace(station, force_main=with_c(main, new_c))


def when_old(station: Station) -> Station | None:
    """Return the station with its force main old; None when that is not given.

    Parameters
    ----------
    station
        What stands there.
    """
    old_c, main = station.ratings.main.old_c, station.force_main
    if main is None or old_c is None:
        return None
    return replace(station, force_main=with_c(main, old_c))


class PointRow(NamedTuple):
    """Where a lineup should work at a level: a row of the table of points."""

    lineup: str
    pipe: str
    level_m: float
    flow_m3s: float
    header_m: float
    header_gauge_pa: float


class PumpRow(NamedTuple):
    """Where one pump of a lineup should work: a row of the table of pumps at points."""

    lineup: str
    pipe: str
    level_m: float
    pump: str
    flow_m3s: float
    head_m: float
    gauge_pa: float
    shut_off_m: float
    shut_off_gauge_pa: float
    current_a: float
    speed_per_s: float


def points_of(
    station: Station, lineups: list[Lineup], levels_m: tuple[float, ...]
) -> tuple[list[PointRow], list[PumpRow]]:
    """Return where each lineup should work at each level, with the main new and old.

    Parameters
    ----------
    station
        What stands there.
    lineups
        Which pumps run.
    levels_m
        Levels [m above floor].
    """
    points, pumps = [], []
    old = when_old(station)
    day = of_the_day(station)
    pipe = "as given" if day is station else "new"
    rigs = [(pipe, Rig(AsBuilt(day)))]
    if old is not None:
        rigs.append(("old", Rig(AsBuilt(old))))
    for pipe, rig in rigs:
        for name, machines in lineups:
            for level in levels_m:
                point = rig.point(machines, level)
                above = point.header_m - level
                header = rig.header_pa(machines, level)
                points.append(PointRow(name, pipe, level, point.total_m3s, above, header))
                for place, machine in enumerate(machines):
                    curve = rig.units[machine].curve_now()
                    pumps.append(
                        PumpRow(
                            name,
                            pipe,
                            level,
                            rig.units[machine].name,
                            point.flows_m3s[place],
                            point.heads_m[place],
                            rig.pump_pa(machines, machine, level),
                            math.nan if curve is None else curve.shutoff_m,
                            rig.shut_off_pa(machine, level),
                            rig.current_a(machines, machine, level),
                            rig.speed(machines, machine, level),
                        )
                    )
    return points, pumps

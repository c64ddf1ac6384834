"""A rig that is quick to ask what a fault changes, for the search for causes.

It asks its hydraulics only for the lineups that a fault touches, at the highest and the lowest
level that are read of each pump alone and at the middle one of several together. What the fault
changes there is laid upon what the station shows as it should be, straight over the level; and for
this change alone the friction in the short pipe of each pump is taken as going with the square of
the flow. Tests hold it all against the rig itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from stationsim.physics.pumps import G
from stationsim.studies.acceptance.rig import AsBuilt, Point, Rig

if TYPE_CHECKING:
    from stationsim.equipment.pumps import PumpUnit
    from stationsim.physics.forcemain import Pipe

Machines = tuple[int, ...]
Touches = Callable[[Machines], bool]

_SAME_LEVEL_M = 1e-6


def everywhere(_machines: Machines) -> bool:
    """Return that every lineup pumps otherwise."""
    return True


def nowhere(_machines: Machines) -> bool:
    """Return that no lineup pumps otherwise: only what is shown differs."""
    return False


def plain_branches(rig: Rig, level_m: float) -> dict[str, Pipe]:
    """Return the pipe of each pump with friction that goes with the square of the flow.

    Parameters
    ----------
    rig
        The station as it should be.
    level_m
        Level at which it is as the pipe has it, with the pump alone [m above floor].

    Returns
    -------
    dict
        By the name of the pump.
    """
    found = {}
    for machine, unit in enumerate(rig.units):
        pipe = unit.branch
        if pipe is None or pipe.friction == "none" or unit.curve is None:
            continue
        flow = rig.point((machine,), level_m).total_m3s
        if flow > 0.0:
            further = pipe.friction_m(flow) / flow**2 * 2.0 * G * pipe.area_m2**2
            found[unit.name] = replace(pipe, friction="none", fittings_k=pipe.fittings_k + further)
    return found


class Eased(Rig):
    """A rig whose pumps have pipes of a plain loss.

    Parameters
    ----------
    built
        What stands there.
    branches
        The plain pipes, by the name of the pump.
    """

    def __init__(self, built: AsBuilt, branches: Mapping[str, Pipe]) -> None:
        super().__init__(built)
        self.branches = branches

    def piped(self) -> tuple[PumpUnit, ...]:
        """Return the pumps as they stand, each with the pipe to the header that it is given."""
        return tuple(
            replace(unit, branch=self.branches.get(unit.name, unit.branch)) for unit in self.units
        )


class Between(Eased):
    """A rig that asks its hydraulics at two levels of each lineup, and only where it differs.

    Parameters
    ----------
    built
        What stands there.
    sound, eased
        The station as it should be; the same with plain pipes.
    ends
        Lowest and highest level of each lineup [m].
    touches
        Whether a lineup pumps otherwise.
    """

    def __init__(
        self,
        built: AsBuilt,
        sound: Rig,
        eased: Eased,
        ends: dict[Machines, tuple[float, float]],
        touches: Touches,
    ) -> None:
        super().__init__(built, eased.branches)
        self._sound = sound
        self._base = eased
        self._ends = ends
        self._touches = touches
        self._shifts: dict[tuple[Machines, float], Point] = {}

    def point(self, machines: Machines, level_m: float) -> Point:
        """Return where a lineup works.

        Parameters
        ----------
        machines
            The machines that run.
        level_m
            Level in the well [m above floor].
        """
        if not self._touches(machines):
            return self._sound.point(machines, level_m)
        key = (machines, level_m)
        found = self._points.get(key)
        if found is None:
            found = self._points[key] = self._shifted(machines, level_m)
        return found

    def _marks(self, machines: Machines, level_m: float) -> tuple[float, float]:
        """Return the levels of a lineup between which a level lies [m], of those asked for."""
        low, high = self._ends[machines]
        air = self.built.inlet_air
        if air is None:
            middle = 0.5 * (low + high)
            return (low, high) if len(machines) == 1 else (middle, middle)
        if level_m >= air.from_m:
            return level_m, level_m
        high = min(high, air.from_m)
        middle = 0.5 * (low + high)
        return (low, middle) if level_m < middle else (middle, high)

    def _shifted(self, machines: Machines, level_m: float) -> Point:
        low, high = self._marks(machines, level_m)
        apart = high - low > _SAME_LEVEL_M
        first = self._shift(machines, low)
        last = self._shift(machines, high) if apart else first
        part = (level_m - low) / (high - low) if apart else 0.0
        base = self._sound.point(machines, level_m)

        def at(value: float, a: float, b: float) -> float:
            return value + a + part * (b - a)

        flows = tuple(
            max(at(*three), 0.0)
            for three in zip(base.flows_m3s, first.flows_m3s, last.flows_m3s, strict=True)
        )
        heads = tuple(
            at(*three) for three in zip(base.heads_m, first.heads_m, last.heads_m, strict=True)
        )
        total = max(at(base.total_m3s, first.total_m3s, last.total_m3s), 0.0)
        return Point(flows, total, heads, at(base.header_m, first.header_m, last.header_m))

    def _shift(self, machines: Machines, level_m: float) -> Point:
        """Return by what a point differs from that of the station as it should be."""
        key = (machines, level_m)
        if key in self._shifts:
            return self._shifts[key]
        air = self.built.inlet_air
        if air is not None and level_m >= air.from_m:
            none = (0.0,) * len(machines)
            return Point(none, 0.0, none, 0.0)
        own, base = self._find(machines, level_m), self._base.point(machines, level_m)
        found = self._shifts[key] = Point(
            tuple(a - b for a, b in zip(own.flows_m3s, base.flows_m3s, strict=True)),
            own.total_m3s - base.total_m3s,
            tuple(a - b for a, b in zip(own.heads_m, base.heads_m, strict=True)),
            own.header_m - base.header_m,
        )
        return found

"""What each reading would show with something wrong, fast enough to try many things.

All of it goes through :class:`Rig`. For the search a rig asks its hydraulics only for the lineups
that a fault touches, at the highest and the lowest level that are read of each pump alone and at
the middle one of several together. What the fault changes there is laid upon what the station shows
as it should be, straight over the level; and for this change alone the friction in the short pipe
of each pump is taken as going with the square of the flow. Tests hold it all against the rig itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stationsim.physics.pumps import G
from stationsim.studies.acceptance.drawn import Fall, drawdowns, planned_fall
from stationsim.studies.acceptance.lineups import of_the_day
from stationsim.studies.acceptance.rig import AsBuilt, Point, Rig

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.equipment.pumps import PumpUnit
    from stationsim.physics.forcemain import Pipe
    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Reading, Taken

Machines = tuple[int, ...]
Touches = Callable[[Machines], bool]

_SAME_LEVEL_M = 1e-6
_PRESSURES = ("pump pressure", "shut-off pressure")
_HYDRAULIC = ("meter flow", "header pressure", *_PRESSURES, "fall", "current", "speed")


@dataclass(frozen=True)
class Item:
    """A reading that can be foreseen, and what was read.

    Parameters
    ----------
    reading
        Which.
    machine
        Index of the machine that it is of; None for one of a whole lineup.
    value
        What was read, in SI; of a fall, the flow that it tells [m3/s]. NaN when it was not read.
    off
        How far the value may be off, at one standard deviation, in SI.
    rises
        How many rises were timed with it: inflow that is counted [-]; only of a fall.
    """

    reading: Reading
    machine: int | None
    value: float
    off: float
    rises: int = 0

    @property
    def was_read(self) -> bool:
        """Whether there is a value."""
        return not math.isnan(self.value)


class Outlook:
    """The readings of a sheet that can be foreseen, and what they show when nothing is wrong.

    Parameters
    ----------
    station
        What stands there.
    sheet
        The readings of the sheet.
    taken
        Those that were taken.
    """

    def __init__(self, station: Station, sheet: Sequence[Reading], taken: Sequence[Taken]) -> None:
        self.station = of_the_day(station)
        self.plan = station.ratings.acceptance
        self.rig = Rig(AsBuilt(self.station))
        self._eased = Eased(AsBuilt(self.station), self._branches())
        self._drawn = {one.test: one for one in drawdowns(taken, station)}
        self.fall = self._fall()
        self._names = station.machine_names()
        read = {one.reading.name: one for one in taken}
        wanted = {one.name: one for one in (*(one.reading for one in taken), *sheet)}
        items = [self._item(one, read.get(name)) for name, one in wanted.items()]
        likely = [one for one in items if one is not None]
        values = [self.shown(self.rig, one) for one in likely]
        known = [i for i, value in enumerate(values) if math.isfinite(value)]
        self.items = [likely[i] for i in known]
        self.sound: NDArray[np.float64] = np.array([values[i] for i in known])
        self.values: NDArray[np.float64] = np.array([one.value for one in self.items])
        self.was_read: NDArray[np.bool_] = np.array([one.was_read for one in self.items], bool)
        self._ends = self._levels()

    def _branches(self) -> dict[str, Pipe]:
        """Return the pipe of each pump with friction that goes with the square of the flow."""
        level = planned_fall(self.station).to_m
        found = {}
        for machine, unit in enumerate(self.rig.units):
            pipe = unit.branch
            if pipe is None or pipe.friction == "none" or unit.curve is None:
                continue
            flow = self.rig.point((machine,), level).total_m3s
            if flow > 0.0:
                head = pipe.friction_m(flow) / flow**2
                further = head * 2.0 * G * pipe.area_m2**2
                found[unit.name] = replace(
                    pipe, friction="none", fittings_k=pipe.fittings_k + further
                )
        return found

    def _fall(self) -> Fall:
        """Return from which level to which pumps were timed."""
        for one in self._drawn.values():
            return one.fall
        return planned_fall(self.station)

    def _item(self, reading: Reading, taken: Taken | None) -> Item | None:
        """Return a reading as it is compared; None when it tells nothing about pumps and water."""
        if reading.what not in _HYDRAULIC or not reading.machines:
            return None
        machine = None
        if reading.what in {"current", "speed", *_PRESSURES}:
            machine = self._machine_of(reading)
            if machine is None:
                return None
        if reading.what == "fall":
            drawn = self._drawn.get(reading.test)
            if taken is None or drawn is None:
                off = self._off_of_a_fall(reading)
                return Item(reading, machine, math.nan, off)
            found = drawn.found
            return Item(reading, machine, found.flow_m3s, 0.5 * found.uncertainty_m3s, drawn.rises)
        if taken is None:
            return Item(reading, machine, math.nan, 0.5 * reading.uncertainty)
        return Item(reading, machine, taken.value, 0.5 * taken.uncertainty)

    def _machine_of(self, reading: Reading) -> int | None:
        if (
            reading.subject in self._names
            and self._names.index(reading.subject) in reading.machines
        ):
            return self._names.index(reading.subject)
        return reading.machines[0] if len(reading.machines) == 1 else None

    def _off_of_a_fall(self, reading: Reading) -> float:
        """Return how far a flow by drawdown may be off that was not taken [m3/s]."""
        off = self.plan.uncertainty
        flow = self.rig.drawn_m3s(reading.machines, *self.fall)
        well = self.station.well
        volume = well.volume_at(self.fall.from_m) - well.volume_at(self.fall.to_m)
        level, time = math.sqrt(2.0) * off.level_m / self.fall.drop_m, off.time_s * flow / volume
        return 0.5 * flow * math.hypot(level, time, off.area)

    def _levels(self) -> dict[Machines, tuple[float, float]]:
        """Return the lowest and the highest level that are read of each lineup [m]."""
        levels: dict[Machines, list[float]] = {}
        for item in self.items:
            own = levels.setdefault(item.reading.machines, [])
            if item.reading.what == "fall":
                own += self.fall
            elif item.reading.what != "shut-off pressure":
                own.append(item.reading.level_m)
        return {machines: (min(own), max(own)) for machines, own in levels.items() if own}

    @property
    def lineups(self) -> list[Machines]:
        """The lineups that are read while they pump."""
        return list(self._ends)

    @property
    def lowest_m(self) -> float:
        """The lowest level at which anything is read [m above floor]."""
        return min((low for low, _high in self._ends.values()), default=self.fall.to_m)

    @property
    def highest_m(self) -> float:
        """The highest level at which anything is read [m above floor]."""
        return max((high for _low, high in self._ends.values()), default=self.fall.from_m)

    def shown(self, rig: Rig, item: Item) -> float:
        """Return what a reading shows, of a fall the flow that it tells, in SI; or NaN.

        Parameters
        ----------
        rig
            What stands there.
        item
            Which reading.
        """
        reading = item.reading
        machines, level, what = reading.machines, reading.level_m, reading.what
        if what == "meter flow":
            return rig.meter_m3s(machines, level)
        if what == "header pressure":
            return rig.header_pa(machines, level)
        if what == "fall":
            took_s = rig.fall_s(machines, *self.fall)
            well = self.station.well
            return (well.volume_at(self.fall.from_m) - well.volume_at(self.fall.to_m)) / took_s
        machine = item.machine or 0
        if what in {"current", "speed"} and not rig.point(machines, level).total_m3s > 0.0:
            return math.nan  # of a pump that gets nothing through, too little is known
        if what == "pump pressure":
            return rig.pump_pa(machines, machine, level)
        if what == "shut-off pressure":
            return rig.shut_off_pa(machine, level)
        if what == "current":
            return rig.current_a(machines, machine, level)
        return rig.speed(machines, machine, level)

    def flow_m3s(self, built: AsBuilt, machines: Machines, level_m: float) -> float:
        """Return the flow of a lineup with something wrong [m3/s].

        Parameters
        ----------
        built
            What stands there.
        machines
            The machines that run.
        level_m
            Level in the well [m above floor].
        """
        return Rig(built).point(machines, level_m).total_m3s

    def under(
        self, built: AsBuilt, touches: Touches, shut_off: int | None = None
    ) -> NDArray[np.float64]:
        """Return what every reading shows with something wrong, in SI.

        Parameters
        ----------
        built
            What stands there.
        touches
            Whether a lineup pumps otherwise for it; instruments touch none.
        shut_off
            Whose pressure against a closed valve it changes; None for nobody's.
        """
        rig = Between(built, self.rig, self._eased, self._ends, touches)
        changes = _changes(built)
        values = self.sound.copy()
        for place, item in enumerate(self.items):
            reading = item.reading
            if reading.what == "shut-off pressure":
                if item.machine != shut_off and "pump pressure" not in changes:
                    continue
            elif reading.what not in changes and not touches(reading.machines):
                continue
            elif reading.what == "fall" and item.rises and built.unseen_m3s:
                continue  # inflow that was counted
            values[place] = self.shown(rig, item)
        return values

    def told_as(self, item: Item, value: float) -> float:
        """Return a value as the sheet asks for it: of a fall its time [s]; NaN if not known.

        Parameters
        ----------
        item
            Which reading.
        value
            What it shows in SI; of a fall, the flow [m3/s].
        """
        if item.reading.what != "fall":
            return value
        well, drawn = self.station.well, self._drawn.get(item.reading.test)
        volume = well.volume_at(self.fall.from_m) - well.volume_at(self.fall.to_m)
        inflow = math.nan if self.plan.inflow == "comes in" else 0.0
        if drawn is not None and drawn.rises:
            inflow = drawn.found.inflow_m3s
        elif item.was_read:
            inflow = 0.0
        net = value - inflow
        return volume / net if not net <= 0.0 else math.inf


def _changes(built: AsBuilt) -> set[str]:
    """Return which readings change though no lineup pumps otherwise."""
    return {
        what
        for what, changed in (
            ("meter flow", built.meter_part != 1.0),
            ("header pressure", built.header_off_pa != 0.0),
            ("pump pressure", built.pump_off_pa != 0.0 or bool(built.own_off_pa)),
            ("fall", built.area_part != 1.0 or built.unseen_m3s != 0.0),
        )
        if changed
    }


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
        middle = 0.5 * (low + high)
        if self.built.inlet_air is None:
            return (low, high) if len(machines) == 1 else (middle, middle)
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
        own, base = self._find(machines, level_m), self._base.point(machines, level_m)
        found = self._shifts[key] = Point(
            tuple(a - b for a, b in zip(own.flows_m3s, base.flows_m3s, strict=True)),
            own.total_m3s - base.total_m3s,
            tuple(a - b for a, b in zip(own.heads_m, base.heads_m, strict=True)),
            own.header_m - base.header_m,
        )
        return found

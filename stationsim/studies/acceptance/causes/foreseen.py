"""What each reading of a sheet would show, as it should be and with something wrong.

All of it goes through :class:`Rig`; what a fault changes, through :class:`Between`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from stationsim.studies.acceptance.causes.between import (
    Between,
    Eased,
    Machines,
    Touches,
    plain_branches,
)
from stationsim.studies.acceptance.drawn import Fall, drawdowns, planned_fall
from stationsim.studies.acceptance.lineups import of_the_day
from stationsim.studies.acceptance.rig import AsBuilt, Rig

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Reading, Taken

_STILL = 1e-3
"""Less than this part of the flow as it should be is none [-]."""

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
        self._eased = Eased(
            AsBuilt(self.station), plain_branches(self.rig, planned_fall(self.station).to_m)
        )
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
        level = math.sqrt(2.0) * off.level_m / self.fall.drop_m
        time = off.time_s * flow / self.volume_m3
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

    @cached_property
    def volume_m3(self) -> float:
        """Volume between the levels that pumps were timed over [m3]."""
        well = self.station.well
        return well.volume_at(self.fall.from_m) - well.volume_at(self.fall.to_m)

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

    @property
    def middle_m(self) -> float:
        """Half-way between the two [m above floor]."""
        return 0.5 * (self.lowest_m + self.highest_m)

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
        machine = item.machine or 0
        if what in {"current", "speed"}:
            least = _STILL * self.rig.point(machines, level).total_m3s
            if not rig.point(machines, level).total_m3s > least:
                return math.nan  # of a pump that gets nothing through, too little is known
        ask: dict[str, Callable[[], float]] = {
            "meter flow": lambda: rig.meter_m3s(machines, level),
            "header pressure": lambda: rig.header_pa(machines, level),
            "pump pressure": lambda: rig.pump_pa(machines, machine, level),
            "shut-off pressure": lambda: rig.shut_off_pa(machine, level),
            "fall": lambda: self.volume_m3 / rig.fall_s(machines, *self.fall),
            "current": lambda: rig.current_a(machines, machine, level),
            "speed": lambda: rig.speed(machines, machine, level),
        }
        return ask[what]()

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
        drawn = self._drawn.get(item.reading.test)
        inflow = math.nan if self.plan.inflow == "comes in" else 0.0
        if drawn is not None and drawn.rises:
            inflow = drawn.found.inflow_m3s
        elif item.was_read:
            inflow = 0.0
        net = value - inflow
        return self.volume_m3 / net if not net <= 0.0 else math.inf


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

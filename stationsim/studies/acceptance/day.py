"""The day of acceptance, whole: lineups, steps, water, readings and scripted sequences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from stationsim.inflow.segments import DAY_S, total_inflow
from stationsim.studies.acceptance.drawn import Fall, planned_fall
from stationsim.studies.acceptance.expected import Expected
from stationsim.studies.acceptance.lineups import (
    Lineup,
    PointRow,
    PumpRow,
    levels_of,
    lineups_of,
    of_the_day,
    points_of,
)
from stationsim.studies.acceptance.panel.script import PanelTest
from stationsim.studies.acceptance.panel.sequences import sequences_of
from stationsim.studies.acceptance.panel.setpoints import float_checks
from stationsim.studies.acceptance.reading import Reading, both
from stationsim.studies.acceptance.rig import AsBuilt, Rig
from stationsim.studies.acceptance.steps import Scripted as Needs
from stationsim.studies.acceptance.steps import Step, Water, steps_of, water_of

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.inflow.segments import Segments
    from stationsim.station import Station

WENT = "went as the list of events says"


class FallRow(NamedTuple):
    """How long a lineup takes to draw the level down: a row of the table of falls.

    Parameters
    ----------
    lineup
        Which pumps run.
    from_level_m, to_level_m
        From which level to which [m above floor].
    volume_m3
        Volume between them [m3].
    flow_m3s
        Mean flow of the lineup over the fall, with nothing coming in [m3/s].
    fall_s
        Time of the fall with nothing coming in [s].
    clock_s
        When it is timed, by the order of the day [s after midnight].
    inflow_m3s
        What the sewer would bring at that hour [m3/s].
    with_inflow_s
        Time of the fall with that inflow [s]; infinity when the level would not fall.
    reads_low_part
        By which part the flow reads low when that inflow is left out [-].
    """

    lineup: str
    from_level_m: float
    to_level_m: float
    volume_m3: float
    flow_m3s: float
    fall_s: float
    clock_s: float
    inflow_m3s: float
    with_inflow_s: float
    reads_low_part: float


class BusyHour(NamedTuple):
    """The hour of the day in which a pump starts most.

    Parameters
    ----------
    pump
        Which.
    number
        How often [-].
    from_s
        When that hour begins [s after midnight].
    most
        How often it may, by its plate or by the limits of the scenario [-].
    """

    pump: str
    number: int
    from_s: float
    most: float


class Shallow(NamedTuple):
    """How low the water is drawn.

    Parameters
    ----------
    pump
        Which.
    level_m
        Lowest level of the tests [m above floor].
    least_m
        Least level for its suction [m above floor].
    """

    pump: str
    level_m: float
    least_m: float


@dataclass(frozen=True)
class Day:
    """The day of a station.

    Parameters
    ----------
    ordered
        The station as its file describes it.
    episode
        What arrives at which hour.
    """

    ordered: Station
    episode: Episode

    @cached_property
    def station(self) -> Station:
        """The station as it stands on its first day."""
        return of_the_day(self.ordered)

    @cached_property
    def rig(self) -> Rig:
        """The station with its instruments, with nothing wrong."""
        return Rig(AsBuilt(self.station))

    @cached_property
    def fall(self) -> Fall:
        """From which level to which pumps are timed."""
        return planned_fall(self.station)

    @cached_property
    def levels_m(self) -> tuple[float, ...]:
        """Levels at which pressures and flows are read, from the highest [m above floor]."""
        return levels_of(self.station)

    @cached_property
    def lineups(self) -> list[Lineup]:
        """Which pumps are tested together."""
        return lineups_of(self.station)[0]

    @cached_property
    def _scripted(self) -> tuple[list[PanelTest], list[tuple[str, str]]]:
        return sequences_of(self.station, self.episode.start)

    @property
    def sequences(self) -> list[PanelTest]:
        """The sequences that run by the panel."""
        return self._scripted[0]

    @cached_property
    def left_out(self) -> list[tuple[str, str]]:
        """What is not tested, with why."""
        found = [*lineups_of(self.station)[1], *self._scripted[1]]
        plan, main = self.rig.plan, self.station.force_main
        if plan.header_gauge is None:
            found.append(("pressure in the header", "needs [acceptance.header_gauge]"))
        elif main is None:
            found.append(("expected pressure in the header", "needs [force_main]"))
        if plan.pump_gauge is None:
            found.append(("gauges of the pumps, shut-off head", "needs [acceptance.pump_gauge]"))
        curves = [unit for unit in self.rig.units if unit.curve is None]
        if plan.pump_gauge is not None and curves:
            names = ", ".join(unit.name for unit in curves)
            found.append((f"expected pressure at {names}", "needs a curve of the pump"))
        blank = [
            reading.subject
            for reading in self.sheet
            if reading.what == "current" and reading.is_baseline
        ]
        if blank:
            names = ", ".join(dict.fromkeys(blank))
            needs = "needs [service], and of the pump a power or an efficiency and a plate with"
            found.append((f"expected current of {names}", f"{needs} current and power factor"))
        if plan.water_goes != "downstream":
            found.append(
                (
                    "flows, pressures and times of the fall",
                    "the water goes back to the well, past the main, and the level stays",
                )
            )
        if not plan.water_m3s:
            rates = {one.inflow_m3s for one in self.sequences}
            said = "; ".join(both(rate, "flow") for rate in sorted(rates))
            reckoned = f"; the sequences are reckoned with {said}" if rates else ""
            found.append(
                ("waits for water and hours of the tests", f"needs acceptance.water{reckoned}")
            )
        if self.station.ratings.bypass is None:
            found.append(("bypass connection", "needs [bypass]"))
        return found

    @cached_property
    def steps(self) -> list[Step]:
        """The steps of the day in their order."""
        needs = [
            Needs(
                one.name,
                " ".join(one.how),
                one.start_level_m,
                one.end_level_m,
                one.duration_s,
                one.water_m3,
                one.pumped_m3,
            )
            for one in self.sequences
        ]
        inflow = self.inflow_m3s(self.rig.plan.start_clock_s)
        return steps_of(self.rig, self.lineups, self.levels_m, self.fall, needs, inflow)

    @cached_property
    def water(self) -> Water:
        """The clean water of the day."""
        return water_of(self.rig, self.steps, self.lineups)

    def inflow_m3s(self, clock_s: float) -> float:
        """Return what the sewer brings at an hour of the episode's first day [m3/s].

        Parameters
        ----------
        clock_s
            The hour [s after midnight].
        """
        import numpy as np

        at_s = (clock_s - self.episode.clock_offset_s) % DAY_S
        return float(self._arrives.at(np.array([at_s]))[0])

    @cached_property
    def _arrives(self) -> Segments:
        return total_inflow(self.episode)

    @cached_property
    def falls(self) -> list[FallRow]:
        """How long each lineup takes to draw the level down."""
        rig, (high, low) = self.rig, self.fall
        starts = {step.test: step.clock_s for step in self.steps}
        volume = self.station.well.volume_at(high) - self.station.well.volume_at(low)
        rows = []
        for name, machines in self.lineups:
            clock = starts.get(name, math.nan)
            clock = self.rig.plan.start_clock_s if math.isnan(clock) else clock
            inflow, flow = self.inflow_m3s(clock), rig.drawn_m3s(machines, high, low)
            rows.append(
                FallRow(
                    name,
                    high,
                    low,
                    volume,
                    flow,
                    rig.fall_s(machines, high, low),
                    clock,
                    inflow,
                    rig.fall_s(machines, high, low, inflow),
                    inflow / flow if flow > 0.0 else math.nan,
                )
            )
        return rows

    @cached_property
    def starts(self) -> list[BusyHour]:
        """The busiest hour of each electric pump, by the order of the day."""
        begun: dict[str, list[float]] = {pump.name: [] for pump in self.station.pumps}
        by_test = {one.name: one for one in self.sequences}
        machines = dict(self.lineups)
        names = self.station.machine_names()
        for step in self.steps:
            if math.isnan(step.clock_s):
                continue
            for machine in machines.get(step.test, ()):
                if names[machine] in begun:
                    begun[names[machine]].append(step.clock_s)
            if step.test in by_test:
                for run in by_test[step.test].result.trace.runs:
                    if names[run.machine] in begun:
                        begun[names[run.machine]].append(step.clock_s + run.start_s)
        found = []
        for name, at_s in begun.items():
            at_s.sort()
            counts = [sum(t <= u < t + 3600.0 for u in at_s) for t in at_s]
            if counts:
                number = max(counts)
                plate = self.station.ratings.plates.get(name)
                most = None if plate is None else plate.most_starts_per_hour
                allowed = self.station.ratings.limits.most_starts_per_hour
                found.append(
                    BusyHour(
                        name, number, at_s[counts.index(number)], allowed if most is None else most
                    )
                )
        return found

    @cached_property
    def shallow(self) -> list[Shallow]:
        """How low the water is drawn, beside what each pump needs over its suction."""
        levels = [step.to_level_m for step in self.steps if not math.isnan(step.to_level_m)]
        lowest = min(levels, default=math.nan)
        return [
            Shallow(name, lowest, inlet.level_m + inlet.least_submergence_m)
            for name, inlet in self.station.ratings.inlets.items()
            if inlet.level_m is not None and inlet.least_submergence_m is not None
        ]

    @cached_property
    def _points(self) -> tuple[list[PointRow], list[PumpRow]]:
        return points_of(self.ordered, self.lineups, self.levels_m)

    @property
    def points(self) -> list[PointRow]:
        """Where each lineup should work."""
        return self._points[0]

    @property
    def pump_points(self) -> list[PumpRow]:
        """Where each pump of each lineup should work."""
        return self._points[1]

    @cached_property
    def expected(self) -> Expected:
        """What should be read."""
        return Expected(self.rig, self.fall, self.levels_m)

    @cached_property
    def sheet(self) -> Sequence[Reading]:
        """All readings, in the order of the day."""
        expected = self.expected
        found = [*expected.of_the_well(), *float_checks(self.station)]
        for machine in range(len(self.rig.units)):
            found += expected.shut_off(machine)
        if self.rig.plan.water_goes == "downstream":
            found.append(expected.drop())
        inflows = {row.lineup: row.inflow_m3s for row in self.falls}
        for lineup in self.lineups:
            found += expected.of_lineup(lineup, inflows[lineup.name])
        for one in self.sequences:
            found.append(
                Reading(
                    f"{one.name}: {WENT}",
                    one.name,
                    "yes or no",
                    "panel",
                    expected=1.0,
                    low=1.0,
                    high=1.0,
                    how="see the list of expected events; a log of the panel tells more",
                    source="the station's own settings, as simulated",
                )
            )
        found += expected.bypass()
        names = [reading.name for reading in found]
        if len(set(names)) != len(names):
            twice = sorted({name for name in names if names.count(name) > 1})
            raise AssertionError(f"readings that share a name: {', '.join(twice)}")
        return found

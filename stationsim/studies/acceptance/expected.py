"""The readings of the day: what each should be, and what is accepted."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Literal, NamedTuple

from stationsim.physics.gauge import pressure_pa
from stationsim.physics.grades import GRADES, SOURCE, default_grade
from stationsim.studies.acceptance.drawn import Fall
from stationsim.studies.acceptance.lineups import Lineup, middle_of
from stationsim.studies.acceptance.reading import Reading, both
from stationsim.studies.acceptance.rig import Rig

_LEVELS = {
    1: ("level of the tests",),
    2: ("high level", "low level"),
    3: ("high level", "middle level", "low level"),
}
PHASES = ("L1", "L2", "L3")
METER_PART = 0.10
"""How far the flow meter may be from the drawdown, as a part [-]."""
METER_SOURCE = "common practice, no source: the meter within 5 to 10 % of the drawdown"
IMBALANCE_PART = 0.05
"""Greatest part by which the current of a phase may be off the mean of the three [-]."""
IMBALANCE_SOURCE = "common practice, no source: within 5 to 10 % of the mean of the phases"
OWN = "acceptance.{} of the scenario"
LEVEL_SOURCE = "common practice, no source: 10 to 20 mm"
CURRENT_SOURCE = "common practice, no source"
TIGHT_M = 0.005
"""Fall of a level that a tape shows, in a well that should be tight [m]."""
TIGHT_SOURCE = "one municipal specification (read 2026): no loss in 24 h; 5 mm is our own choice"


class Tolerance(NamedTuple):
    """What is accepted of flow and head, as parts of what is expected.

    Parameters
    ----------
    flow_low, flow_high, head_low, head_high
        By which part the value may be below, and above [-].
    source
        Where it comes from.
    """

    flow_low: float
    flow_high: float
    head_low: float
    head_high: float
    source: str


class Expected:
    """The readings of a station.

    Parameters
    ----------
    rig
        The station as it should be on the day.
    fall
        From which level to which pumps are timed.
    levels_m
        Levels at which pressures and flows are read, from the highest [m above floor].
    """

    def __init__(self, rig: Rig, fall: Fall, levels_m: Sequence[float]) -> None:
        self.rig = rig
        self.plan = rig.plan
        self.fall = fall
        self.levels_m = tuple(levels_m)

    @cached_property
    def _tolerances(self) -> dict[int, Tolerance]:
        return {index: self._of_pump(index) for index in range(len(self.rig.units))}

    def _of_pump(self, machine: int) -> Tolerance:
        plan, unit = self.plan, self.rig.units[machine]
        plate = self.rig.station.ratings.plates.get(unit.name)
        rated = None if plate is None else plate.rated_w
        _name, grade, source = default_grade(rated)
        if plan.grade is not None:
            grade = GRADES[plan.grade]
            source = f"{plan.grade}, as {OWN.format('grade')} asks; {SOURCE}"
        flow = (abs(grade.flow_low), abs(grade.flow_high))
        head = (abs(grade.head_low), abs(grade.head_high))
        own = []
        if plan.flow_tolerance is not None:
            flow = (plan.flow_tolerance, plan.flow_tolerance)
            own.append(OWN.format("flow_tolerance"))
        if plan.head_tolerance is not None:
            head = (plan.head_tolerance, plan.head_tolerance)
            own.append(OWN.format("head_tolerance"))
        if len(own) == 2:
            source = ", ".join(own)
        elif own:
            source = f"{own[0]}; else {source}"
        return Tolerance(*flow, *head, source)

    def tolerance(self, machines: Sequence[int]) -> Tolerance:
        """Return what is accepted of a lineup: the widest of its pumps.

        Parameters
        ----------
        machines
            The machines that run.
        """
        found = [self._tolerances[machine] for machine in machines]
        return Tolerance(
            max(one.flow_low for one in found),
            max(one.flow_high for one in found),
            max(one.head_low for one in found),
            max(one.head_high for one in found),
            "; ".join(dict.fromkeys(one.source for one in found)),
        )

    def of_lineup(self, lineup: Lineup, inflow_m3s: float) -> Iterator[Reading]:
        """Yield the readings of one lineup.

        Parameters
        ----------
        lineup
            Which pumps run.
        inflow_m3s
            What comes in while they are timed, by reckoning [m3/s].
        """
        machines = lineup.machines
        alone = len(machines) == 1
        downstream = self.plan.water_goes == "downstream"
        for level in self.levels_m if alone else (middle_of(self.levels_m),):
            if not downstream:
                break  # the water does not pass the main: nothing is expected of it
            yield self._flow(lineup, level)
            if self.plan.header_gauge is not None:
                yield self._header(lineup, level)
            if self.plan.pump_gauge is not None and alone:
                yield self._gauge(lineup, level)
        if downstream:
            yield from self._timed(lineup, inflow_m3s)
        if alone and machines[0] < len(self.rig.station.pumps):
            yield from self._motor(lineup)

    def shut_off(self, machine: int) -> Iterator[Reading]:
        """Yield the reading of a pump against a closed valve.

        Parameters
        ----------
        machine
            Which pump.
        """
        if self.plan.pump_gauge is None:
            return
        level, name = self.levels_m[0], self.rig.units[machine].name
        expected = self.rig.shut_off_pa(machine, level)
        curve, tolerance = self.rig.units[machine].curve_now(), self._tolerances[machine]
        head = math.nan if curve is None else curve.shutoff_m
        yield Reading(
            f"{name} shut off: gauge of the pump",
            "shut-off head", "shut-off pressure", name, (machine,), level, expected,
            expected - pressure_pa(head * tolerance.head_low),
            expected + pressure_pa(head * tolerance.head_high),
            self.plan.uncertainty.pressure_pa,
            f"{self._water(level)}: for 10 to 15 s, against its closed valve",
            tolerance.source,
        )  # fmt: skip

    def _at(self, level_m: float) -> str:
        """Return in words at which of the levels of the day, so that names need no unit."""
        words = _LEVELS.get(len(self.levels_m))
        place = self.levels_m.index(level_m)
        return f"at level {place + 1} from the top" if words is None else f"at the {words[place]}"

    def _water(self, level_m: float) -> str:
        return f"at {both(self.rig.station.shown_m(level_m), 'level')}"

    def _flow(self, lineup: Lineup, level_m: float) -> Reading:
        name, machines = lineup
        expected, tolerance = self.rig.meter_m3s(machines, level_m), self.tolerance(machines)
        return Reading(
            f"{name}: flow meter {self._at(level_m)}",
            name, "meter flow", name.removesuffix(" alone"), machines, level_m, expected,
            expected * (1.0 - tolerance.flow_low), expected * (1.0 + tolerance.flow_high),
            self.plan.uncertainty.flow_meter * expected,
            f"{self._water(level_m)}: mean of some seconds; leave blank without a meter",
            tolerance.source,
        )  # fmt: skip

    def _header(self, lineup: Lineup, level_m: float) -> Reading:
        name, machines = lineup
        expected, tolerance = self.rig.header_pa(machines, level_m), self.tolerance(machines)
        point = self.rig.point(machines, level_m)
        heads = [head for head in point.heads_m if not math.isnan(head)]
        head = max(heads) if heads else point.header_m - level_m
        return Reading(
            f"{name}: gauge on the header {self._at(level_m)}",
            name, "header pressure", name.removesuffix(" alone"), machines, level_m, expected,
            expected - pressure_pa(head * tolerance.head_low),
            expected + pressure_pa(head * tolerance.head_high),
            self.plan.uncertainty.pressure_pa,
            f"{self._water(level_m)}: mean of the swing of the needle",
            tolerance.source,
        )  # fmt: skip

    def _gauge(self, lineup: Lineup, level_m: float) -> Reading:
        name, (machine,) = lineup
        expected = self.rig.pump_pa((machine,), machine, level_m)
        head, tolerance = self.rig.point((machine,), level_m).heads_m[0], self._tolerances[machine]
        return Reading(
            f"{name}: gauge of the pump {self._at(level_m)}",
            name, "pump pressure", self.rig.units[machine].name, (machine,), level_m, expected,
            expected - pressure_pa(head * tolerance.head_low),
            expected + pressure_pa(head * tolerance.head_high),
            self.plan.uncertainty.pressure_pa,
            f"{self._water(level_m)}: mean of the swing of the needle",
            tolerance.source,
        )  # fmt: skip

    def _timed(self, lineup: Lineup, inflow_m3s: float) -> Iterator[Reading]:
        name, machines = lineup
        fall, off_s, well = self.fall, self.plan.uncertainty.time_s, self.rig.station.well
        subject, tolerance = name.removesuffix(" alone"), self.tolerance(machines)
        volume = well.volume_at(fall.from_m) - well.volume_at(fall.to_m)
        drop = both(fall.drop_m, "level")
        begins = both(self.rig.station.shown_m(fall.from_m), "level")
        comes = self.plan.inflow == "comes in"
        inflow = inflow_m3s if comes else 0.0
        expected = self.rig.fall_s(machines, fall.from_m, fall.to_m, inflow)
        flow = self.rig.drawn_m3s(machines, fall.from_m, fall.to_m)
        how = f"a rise of {drop}, all pumps off, up to where the fall begins"
        rise = _over(volume, inflow)
        if comes:
            yield self._rise("rise before", name, subject, rise, f"{how}; no clean water")
        yield Reading(
            f"{name}: time of the fall",
            name, "fall", subject, machines, fall.from_m, expected,
            _over(volume, flow * (1.0 + tolerance.flow_high) - inflow),
            _over(volume, flow * (1.0 - tolerance.flow_low) - inflow),
            off_s, f"a fall of {drop} from {begins}, clean water shut off", tolerance.source,
        )  # fmt: skip
        if comes:
            yield self._rise("rise after", name, subject, rise, f"{how}; no clean water")

    def _rise(
        self,
        what: Literal["rise before", "rise after"],
        name: str,
        subject: str,
        expected_s: float,
        how: str,
    ) -> Reading:
        return Reading(
            f"{name}: time of the {what}",
            name, what, subject, (), self.fall.to_m, expected_s, 0.0, math.inf,
            self.plan.uncertainty.time_s, how, "tells the inflow; any value will do",
        )  # fmt: skip

    def _motor(self, lineup: Lineup) -> Iterator[Reading]:
        name, (machine,) = lineup
        level, unit = middle_of(self.levels_m), self.rig.units[machine]
        service = self.rig.station.ratings.service
        phases = PHASES if service is None or service.phases == 3 else ("",)
        expected, part = self.rig.current_a((machine,), machine, level), self.plan.current_tolerance
        for phase in phases:
            of = f"current {phase}".strip()
            yield Reading(
                f"{name}: {of} {self._at(level)}",
                name, "current", unit.name, (machine,), level, expected,
                expected * (1.0 - part), expected * (1.0 + part),
                0.0 if math.isnan(expected) else self.plan.uncertainty.current * expected,
                f"{self._water(level)}: at the panel, by somebody licensed for it", CURRENT_SOURCE,
            )  # fmt: skip
        expected, part = self.rig.speed((machine,), machine, level), self.plan.speed_tolerance
        if not math.isnan(expected):
            yield Reading(
                f"{name}: speed {self._at(level)}",
                name, "speed", unit.name, (machine,), level, expected,
                expected * (1.0 - part), expected * (1.0 + part),
                self.plan.uncertainty.speed * expected,
                f"{self._water(level)}: from the drive, or by frequency and slip", CURRENT_SOURCE,
            )  # fmt: skip

    def drop(self) -> Reading:
        """Return the reading of the drop that pumps are timed over: the planned one holds if blank.

        Any drop will do; the flow is reckoned with the one that was used.
        """
        return Reading(
            "drop that pumps were timed over",
            "timing", "drop", "well", (), math.nan, self.fall.drop_m, 0.0, math.inf,
            self.plan.uncertainty.level_m, "leave blank if it was the planned one",
            "any value will do",
        )  # fmt: skip

    def of_the_well(self) -> Iterator[Reading]:
        """Yield the readings of the level sensor and of the tightness of the well."""
        low, high = self.fall.to_m, self.levels_m[0]
        off, tolerance = self.plan.uncertainty.level_m, self.plan.level_tolerance_m
        for level, where in ((low, "low"), (0.5 * (low + high), "middle"), (high, "high")):
            yield Reading(
                f"level sensor: {where} water",
                "fill and level sensor", "level shown", "level sensor", (), level, level,
                level - tolerance, level + tolerance, off,
                "what the panel shows when the tape reads this level", LEVEL_SOURCE,
            )  # fmt: skip
        if self.plan.inflow == "comes in":
            return
        yield Reading(
            "watertightness: level after the wait",
            "watertightness", "level shown", "well", (), high, high, high - TIGHT_M, high + TIGHT_M,
            off, "by tape, the same level before; note how long it stood; no pump run meanwhile",
            TIGHT_SOURCE,
        )  # fmt: skip

    def bypass(self) -> Iterator[Reading]:
        """Yield the readings of the bypass connection."""
        bypass = self.rig.station.ratings.bypass
        if bypass is None:
            return
        part, flow = METER_PART, math.nan if bypass.flow_m3s is None else bypass.flow_m3s
        yield Reading(
            "bypass connection: a portable pump was connected and pumped through it",
            "bypass connection", "yes or no", "bypass connection",
            expected=1.0, low=1.0, high=1.0,
            how="valves, coupling and hose fit, no leak",
            source="35 IAC 370.450 (read 2026): a riser for a portable pump",
        )  # fmt: skip
        yield Reading(
            "bypass connection: time to the first flow",
            "bypass connection", "wait", "bypass connection",
            uncertainty=self.plan.uncertainty.time_s, how="from the arrival of the pump",
        )  # fmt: skip
        yield Reading(
            "bypass connection: flow",
            "bypass connection", "meter flow", "bypass connection", (), math.nan, flow,
            flow * (1.0 - part), math.inf if flow > 0.0 else math.nan,
            0.0 if math.isnan(flow) else self.plan.uncertainty.flow_meter * flow,
            "station meter, or level and time", "bypass.flow of the scenario, less a tenth",
        )  # fmt: skip


def _over(volume_m3: float, flow_m3s: float) -> float:
    """Return volume over flow [s]; infinity when nothing is left of the flow."""
    return volume_m3 / flow_m3s if flow_m3s > 0.0 else math.inf

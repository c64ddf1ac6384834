"""The order of the day: what is done after what, how much clean water it takes, and the waits.

Between two tests the well is brought to the level at which the next begins: filled, with all pumps
off, at the rate at which clean water can be brought, or drawn down by one pump in hand. What has no
rate has no waits: they are left blank.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stationsim.outline import set_levels
from stationsim.studies.acceptance.reading import both
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.acceptance.drawn import Fall
    from stationsim.studies.acceptance.lineups import Lineup
    from stationsim.studies.acceptance.rig import Rig

SETUP_S = 300.0
"""Time that people take before each test [s]: our own choice."""
BY_HAND_S = 1800.0
"""Time that is counted for what lasts as long as the crew needs [s]: our own choice."""
SHUT_OFF_S = 60.0
"""Time for one pump against its closed valve, with its rest [s]: our own choice."""
ABOVE_M = 0.10
"""How far above the highest level of the tests the well is filled, so that a lineup has settled
when it is read [m]: our own choice."""

_NO_WATER_M3 = 1e-6
"""Less than this is rounding [m3]."""


class Step(NamedTuple):
    """One step of the day: a row of the table of steps.

    Parameters
    ----------
    step
        Number, from 1.
    test
        What the step is called; readings name it.
    what
        What is done, in a sentence.
    brought_m3
        Clean water that is brought, before it and while it lasts [m3].
    wait_s
        How long it takes to bring the level to where it begins [s]; NaN when the rate of the water
        is not given.
    clock_s
        When the test itself begins, after midnight of the day [s]; NaN from the first unknown wait
        on.
    lasts_s
        How long it lasts [s]; NaN for what is left to another day.
    pumped_m3
        Water that is pumped, before it and while it lasts [m3].
    from_level_m, to_level_m
        Level of the water before and after [m above floor]; NaN when it does not matter.
    """

    step: int
    test: str
    what: str
    brought_m3: float
    wait_s: float
    clock_s: float
    lasts_s: float
    pumped_m3: float
    from_level_m: float
    to_level_m: float


class Scripted(NamedTuple):
    """What a scripted sequence needs of the day.

    Parameters
    ----------
    name, what
        What it is called, and what is done.
    start_level_m, end_level_m
        Level of the water when it begins and when it ends [m above floor].
    lasts_s
        How long it lasts [s].
    brought_m3, pumped_m3
        Water that runs in and that is pumped meanwhile [m3].
    """

    name: str
    what: str
    start_level_m: float
    end_level_m: float
    lasts_s: float
    brought_m3: float
    pumped_m3: float


@dataclass
class _Course:
    """The well over the day."""

    rig: Rig
    now_s: float
    stored_m3: float = 0.0

    def __post_init__(self) -> None:
        self.steps: list[Step] = []
        self.back = self.rig.plan.water_goes == "back to the well"

    @property
    def level_m(self) -> float:
        """The level now [m above floor]."""
        return self.rig.station.well.level_at(self.stored_m3)

    def _bring(self, level_m: float, further_m3: float) -> tuple[float, float, float]:
        """Bring the level to where a step begins: water brought, water pumped, and the time."""
        wanted = self.rig.station.well.volume_at(level_m)
        missing, over = wanted - self.stored_m3, self.stored_m3 - wanted
        brought = further_m3 + (missing if missing > _NO_WATER_M3 else 0.0)
        pumped = over if over > _NO_WATER_M3 else 0.0
        rate = self.rig.plan.water_m3s
        wait = 0.0 if brought == 0.0 else (brought / rate if rate else math.nan)
        if pumped > 0.0:
            took = self.rig.fall_s((0,), self.level_m, level_m)
            wait += 0.0 if math.isinf(took) else took
        self.stored_m3 = wanted
        return brought, pumped, wait

    def add(
        self,
        test: str,
        what: str,
        *,
        at_m: float = math.nan,
        to_m: float = math.nan,
        lasts_s: float = 0.0,
        filled_m3: float = 0.0,
        runs_in_m3: float = 0.0,
    ) -> None:
        """Add a step.

        It begins at a level (NaN: wherever the water stands) and ends at one (NaN: where it
        begins); before it, some water fills something else; while it lasts, some runs in.
        """
        well = self.rig.station.well
        begins = self.level_m if math.isnan(at_m) else at_m
        brought, pumped, wait = self._bring(begins, filled_m3)
        ends = begins if math.isnan(to_m) else to_m
        pumped += filled_m3
        if not self.back:
            after = well.volume_at(ends)
            pumped += self.stored_m3 + runs_in_m3 - after
            self.stored_m3 = after
        self.now_s += wait + (SETUP_S if lasts_s > 0.0 else 0.0)
        wet = not (math.isnan(at_m) and math.isnan(to_m))
        self.steps.append(
            Step(
                len(self.steps) + 1,
                test,
                what,
                brought + runs_in_m3,
                wait,
                self.now_s,
                lasts_s,
                max(pumped, 0.0),
                begins if wet else math.nan,
                ends if wet else math.nan,
            )
        )
        self.now_s += 0.0 if math.isnan(lasts_s) else lasts_s


def steps_of(
    rig: Rig,
    lineups: Sequence[Lineup],
    levels_m: Sequence[float],
    fall: Fall,
    scripted: Sequence[Scripted],
    inflow_m3s: float,
) -> list[Step]:
    """Return the steps of the day in their order.

    Parameters
    ----------
    rig
        The station on the day.
    lineups
        Which pumps are tested together, in order.
    levels_m
        Levels at which pressures and flows are read [m above floor].
    fall
        From which level to which pumps are timed.
    scripted
        The sequences that run by the panel.
    inflow_m3s
        What the sewer brings when the day begins [m3/s].
    """
    station, plan = rig.station, rig.plan
    day = _Course(rig, plan.start_clock_s)
    plugged = plan.inflow == "shut off"
    day.add(
        "before any water",
        "Supply locked out and proved dead, by somebody licensed for it: insulation, tightness of"
        " terminals. Valves, labels, gas test, rescue gear. Then, everybody clear and told, the"
        " direction of rotation by the maker's way, hands off.",
        lasts_s=BY_HAND_S,
    )
    if plugged:
        day.add("shut the sewer off", _plug_text(rig, inflow_m3s), lasts_s=BY_HAND_S)
    top = highest(rig, levels_m, fall)
    day.add(
        "fill and level sensor",
        "Fill slowly; stop at three levels, and compare the level shown with one read by tape from"
        " outside.",
        at_m=top,
        lasts_s=BY_HAND_S,
    )
    if plugged:
        day.add(
            "watertightness",
            "Let the well stand, with all valves shut, and read the level again: over the night"
            " before, if the specification asks for 24 hours.",
            lasts_s=math.nan,
        )
    main = station.force_main
    if main is not None and not plan.main_full and not day.back:
        day.add(
            "fill the main",
            "Fill the force main with one pump, its valve opened until it runs near the flow that"
            " it is made for, air valves open; pause to fill the well, and enter no valve chamber.",
            at_m=top,
            lasts_s=0.0 if plan.water_m3s else math.nan,
            filled_m3=sum(pipe.volume_m3 for pipe in main.pipes),
        )
    if plan.pump_gauge is not None:
        day.add(
            "shut-off head",
            "Each pump for 10 to 15 s, never longer than its maker allows, and never one of"
            " positive displacement, against its closed valve; read its gauge, and let it rest.",
            at_m=top,
            lasts_s=SHUT_OFF_S * len(rig.units),
        )
    _add_lineups(day, lineups, levels_m, fall, top, 0.0 if plugged else inflow_m3s)
    _add_set_points(day, top)
    for one in scripted:
        begins = both(station.shown_m(one.start_level_m), "level")
        day.add(
            one.name,
            f"Selectors in off, the level brought to {begins}; then: {one.what}",
            at_m=one.start_level_m,
            to_m=one.end_level_m,
            lasts_s=one.lasts_s,
            runs_in_m3=one.brought_m3,
        )
    if station.ratings.bypass is not None:
        day.add(
            "bypass connection",
            "Connect a portable pump as the plan says; read the time to the first flow, and the"
            " flow.",
            at_m=top,
            lasts_s=BY_HAND_S,
        )
    day.add(
        "put back in order",
        ("The plug out of the sewer, from outside, nobody below it. " if plugged else "")
        + "Selectors to auto, valves as the plan says, alarms on, covers and locks closed; write"
        " down hours and counts of starts.",
        lasts_s=BY_HAND_S,
    )
    return day.steps


def highest(rig: Rig, levels_m: Sequence[float], fall: Fall) -> float:
    """Return the level to which the well is filled for the tests by hand [m above floor].

    Parameters
    ----------
    rig
        The station on the day.
    levels_m
        Levels at which pressures and flows are read [m above floor].
    fall
        From which level to which pumps are timed.
    """
    top, spillway = max(*levels_m, fall.from_m), rig.station.spillway
    above = top + ABOVE_M
    return above if spillway is None or above < spillway.crest_m else top


def _plug_text(rig: Rig, inflow_m3s: float) -> str:
    station = rig.station
    said = (
        "Plug the sewer, by people trained for it, or show that none is connected yet: nobody"
        " downstream of a plug, and somebody watches the sewer above it all day."
    )
    if inflow_m3s <= 0.0 or station.spillway is None or station.inlet_invert_m is None:
        return said
    well = station.well
    room = well.volume_at(station.spillway.crest_m) - well.volume_at(station.inlet_invert_m)
    fills = show(max(room, 0.0) / inflow_m3s, "duration", "si")
    return (
        f"{said} With the {both(inflow_m3s, 'flow')} of that hour what stands above the inlet"
        f" ({both(room, 'volume')}, the shaft counted) is full in {fills} at most, and then it"
        " spills: a day behind a plug needs pumping around it, or a sewer without water."
    )


def _add_lineups(
    day: _Course,
    lineups: Sequence[Lineup],
    levels_m: Sequence[float],
    fall: Fall,
    top_m: float,
    inflow_m3s: float,
) -> None:
    low = min(*levels_m, fall.to_m)
    for name, machines in lineups:
        lasts = day.rig.fall_s(machines, top_m, low, inflow_m3s)
        day.add(
            name,
            "In hand, the water running back to the well: read currents and speeds, with somebody"
            " at the selector all the time."
            if day.back
            else "Clean water shut off. In hand, with somebody at the selector all the time: draw"
            " down from the highest level to the lowest; time the fall, read flow and pressures at"
            " each level, and stop.",
            at_m=top_m,
            to_m=low,
            lasts_s=SHUT_OFF_S if math.isinf(lasts) else lasts,
        )


def _add_set_points(day: _Course, top_m: float) -> None:
    station = day.rig.station
    crest = math.inf if station.spillway is None else station.spillway.crest_m
    levels = [
        level
        for name, level in set_levels(station)
        if name not in ("inlet invert", "spill") and 0.0 < level < crest
    ]
    day.add(
        "floats and set-points",
        "Selectors in off, pumps stay so: fill past each start level and alarm, and read on the"
        " panel what it calls for; lift each float by hook from outside. Then draw down, one pump"
        " in hand, past each stop level. Tell the control room before each alarm is tried, and"
        " after.",
        at_m=max([*levels, top_m]),
        to_m=min([*levels, top_m]),
        lasts_s=BY_HAND_S,
    )


class Water(NamedTuple):
    """The clean water of the day.

    Parameters
    ----------
    brought_m3
        All that is brought [m3].
    first_m3
        What must be there to begin with: the first filling [m3].
    pumped_m3
        All that is pumped [m3].
    most_m3s
        The greatest flow at the far end of the main [m3/s].
    waits_s
        All waits for the level [s]; NaN when the rate of the water is not given.
    """

    brought_m3: float
    first_m3: float
    pumped_m3: float
    most_m3s: float
    waits_s: float


def water_of(rig: Rig, steps: Sequence[Step], lineups: Sequence[Lineup]) -> Water:
    """Return how much clean water the day takes.

    Parameters
    ----------
    rig
        The station on the day.
    steps
        The steps of the day.
    lineups
        Which pumps are tested together.
    """
    first = next((step.brought_m3 for step in steps if step.brought_m3 > 0.0), 0.0)
    level = max(step.from_level_m for step in steps if not math.isnan(step.from_level_m))
    return Water(
        sum(step.brought_m3 for step in steps),
        first,
        sum(step.pumped_m3 for step in steps),
        max(rig.point(machines, level).total_m3s for _name, machines in lineups),
        sum(step.wait_s for step in steps),
    )

"""The order of the day: what is done after what, how much clean water it takes, and the waits.

Between two tests the well is filled again, with the inflow shut off, at the rate at which clean
water can be brought. What has no rate has no waits: they are left blank.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.acceptance.drawn import Fall
    from stationsim.studies.acceptance.lineups import Lineup
    from stationsim.studies.acceptance.rig import Rig

_SETTLE_S = 60.0
"""Time for a lineup to settle before it is read [s]: common practice, no source."""

WATERTIGHT_S = 24 * 3600.0
"""How long a well stands full to show that it is tight [s]: one city's specification."""


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
        Clean water that is brought before it can begin [m3].
    wait_s
        How long that takes [s]; NaN when the rate is not given.
    clock_s
        When it begins, after midnight of the day [s]; NaN from the first unknown wait on.
    lasts_s
        How long it lasts by reckoning [s]; NaN when it depends on the crew.
    pumped_m3
        Water that it pumps [m3].
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


@dataclass
class _Course:
    """The well over the day."""

    rig: Rig
    now_s: float
    stored_m3: float = 0.0

    def __post_init__(self) -> None:
        self.steps: list[Step] = []

    def add(
        self,
        test: str,
        what: str,
        *,
        level_m: float = math.nan,
        to_m: float = math.nan,
        lasts_s: float = 0.0,
        further_m3: float = 0.0,
        back: bool = False,
    ) -> None:
        """Add a step that begins at a level, ends at one, and takes further water meanwhile."""
        well, rate = self.rig.station.well, self.rig.plan.water_m3s
        brought = further_m3
        before = math.nan
        if not math.isnan(level_m):
            before = max(level_m, well.level_at(self.stored_m3))
            brought += max(well.volume_at(level_m) - self.stored_m3, 0.0)
            self.stored_m3 = max(self.stored_m3, well.volume_at(level_m))
        wait = 0.0 if brought == 0.0 else (math.nan if not rate else brought / rate)
        self.now_s += wait
        pumped = further_m3
        if not math.isnan(to_m) and not back:
            end = well.volume_at(to_m)
            pumped += max(self.stored_m3 - end, 0.0)
            self.stored_m3 = min(self.stored_m3, end)
        step = Step(
            len(self.steps) + 1, test, what, brought, wait, self.now_s, lasts_s, pumped, before,
            to_m,
        )  # fmt: skip
        self.steps.append(step)
        if not math.isnan(lasts_s):
            self.now_s += lasts_s


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


def steps_of(
    rig: Rig,
    lineups: Sequence[Lineup],
    levels_m: Sequence[float],
    fall: Fall,
    scripted: Sequence[Scripted],
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
    """
    station, plan = rig.station, rig.plan
    back = plan.water_goes == "back to the well"
    day = _Course(rig, plan.start_clock_s)
    nothing = math.nan
    day.add(
        "before any water",
        "Supply locked out: insulation, tightness of terminals, direction of rotation by the"
        " maker's way, valves, labels, gas test and rescue gear.",
        lasts_s=nothing,
    )
    top = max(*levels_m, fall.from_m)
    day.add(
        "fill and level sensor",
        "Fill slowly; stop at three levels, and compare the level shown with one read by tape.",
        level_m=top,
    )
    day.add(
        "watertightness",
        "Let the well stand, with all valves shut, and read the level again: the day before, if the"
        " specification asks for 24 hours.",
        lasts_s=nothing,
    )
    day.add("floats and set-points", "Lift each float by hook; read what acts.", lasts_s=nothing)
    main = station.force_main
    if main is not None and not plan.main_full and not back:
        volume = sum(pipe.volume_m3 for pipe in main.pipes)
        day.add(
            "fill the main",
            "Fill the force main with one pump against a valve that is opened little by little, air"
            " valves open; refill the well meanwhile.",
            level_m=top,
            lasts_s=0.0 if plan.water_m3s else nothing,
            further_m3=volume,
        )
    if plan.pump_gauge is not None:
        day.add(
            "shut-off head",
            "Each pump for some seconds, never longer than its maker allows, against its closed"
            " valve; read its gauge.",
            lasts_s=_SETTLE_S * len(rig.units),
            level_m=top,
        )
    low = min(*levels_m, fall.to_m)
    for name, machines in lineups:
        lasts = rig.fall_s(machines, top, low)
        day.add(
            name,
            "By hand, with the inflow shut off: read flow and pressures at each level."
            if back
            else "By hand: draw down from the highest level to the lowest; time the fall, read flow"
            " and pressures at each level.",
            level_m=top,
            to_m=low,
            lasts_s=_SETTLE_S + (0.0 if math.isinf(lasts) else lasts),
            back=back,
        )
    for one in scripted:
        # what stands above the level at which it begins is pumped away by hand first
        over_m3 = max(day.stored_m3 - station.well.volume_at(one.start_level_m), 0.0)
        day.stored_m3 -= over_m3
        day.add(
            one.name,
            one.what,
            level_m=one.start_level_m,
            to_m=min(one.end_level_m, one.start_level_m),
            lasts_s=one.lasts_s,
            back=back,
        )
        last = day.steps[-1]
        day.steps[-1] = last._replace(
            brought_m3=last.brought_m3 + one.brought_m3,
            pumped_m3=over_m3 + one.pumped_m3,
            to_level_m=one.end_level_m,
        )
        day.stored_m3 = station.well.volume_at(one.end_level_m)
    if station.ratings.bypass is not None:
        day.add(
            "bypass connection",
            "Connect a portable pump as the plan says; read the time to the first flow, and the"
            " flow.",
            level_m=top,
            lasts_s=nothing,
        )
    day.add(
        "leave it safe",
        "Selectors to auto, valves as the plan says, alarms on, covers and locks closed; write down"
        " hours and counts of starts.",
        lasts_s=nothing,
    )
    return day.steps


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
        All waits for water [s]; NaN when the rate is not given.
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

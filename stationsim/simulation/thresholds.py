"""Thresholds: what happens when the water passes a level that somebody waits for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.physics.balance import BEGAN_OVER, LEFT_CAP
from stationsim.signals import level_text
from stationsim.simulation.wakes import WakePlan, wake_plan

if TYPE_CHECKING:
    from stationsim.physics.balance import Advance
    from stationsim.simulation.plant import Plant


class Thresholds:
    """The levels of a plant at which something happens by itself.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._plans: dict[tuple[tuple[float, ...], str], WakePlan] = {}
        # where it matters on which side the water leaves; a cap is looked at by itself
        self._sided = tuple(
            (volume, level, tags)
            for volume, level, tags in zip(
                *wake_plan(plant.station, (), "", plant.spilling.cap_m3), strict=True
            )
            if tags & {"high level", "low level", "float", "motor top"}
            or ("crest" in tags and plant.spilling.weir)
        )

    def plan(self, controller_levels_m: tuple[float, ...]) -> WakePlan:
        """Return all that is waited for now.

        Parameters
        ----------
        controller_levels_m
            What the controller waits for [m above floor]; a signal that fails never reaches it.
        """
        plant = self.plant
        waits = plant.engine.waits if plant.engine is not None else ""
        key = (controller_levels_m if plant.signal.right else (), waits)
        plan = self._plans.get(key)
        if plan is None:
            plan = self._plans[key] = wake_plan(plant.station, *key, plant.spilling.cap_m3)
        return plan

    def heed(self, found: Advance, plan: WakePlan) -> None:
        """Act on a volume that was reached; the controller's part waits for its turn.

        Parameters
        ----------
        found
            Where the balance came to.
        plan
            What was waited for.
        """
        plant = self.plant
        if found.reached == BEGAN_OVER:
            plant.spilling.begin()
            return
        if found.reached == LEFT_CAP:
            plant.spilling.end("less arrives than is pumped")
            return
        level, tags = plan.levels_m[found.reached], plan.tags[found.reached]
        plant.water.asked_level_m = level
        if "controller" in tags:
            plant.controller_due = True
            if len(tags) == 1:
                return
        self._passed(tags, level, rising=found.direction > 0)

    def turned(self) -> None:
        """Heed a change that turns the water round right on a threshold.

        The balance reports a level on the way through only; a level from which the water goes back
        to where it came from has to be looked at here.
        """
        water = self.plant.water
        for volume, level, tags in self._sided:
            if volume == water.v_m3:
                direction = water.direction
                if direction != 0:
                    self._passed(tags - {"floor"}, level, rising=direction > 0)

    def first_look(self) -> None:
        """Raise what holds at the very start."""
        plant, alarms = self.plant, self.plant.station.alarms
        if alarms.high_level_m is not None and plant.level_m >= alarms.high_level_m:
            self._level_alarm("high level", alarms.high_level_m, on=True)
        if alarms.low_level_m is not None and plant.level_m <= alarms.low_level_m:
            self._level_alarm("low level", alarms.low_level_m, on=True)
        if plant.spilling.weir and plant.v_m3 > plant.spilling.crest_m3:
            plant.spilling.begin()

    def _passed(self, tags: frozenset[str], level_m: float, *, rising: bool) -> None:
        plant = self.plant
        if "high level" in tags:
            self._level_alarm("high level", level_m, on=rising)
        if "low level" in tags:
            self._level_alarm("low level", level_m, on=not rising)
        if "float" in tags:
            plant.signal.float_moves(level_m, covered=rising)
        if "motor top" in tags:
            plant.heating.look_at_all()
        if "crest" in tags:
            if rising:
                plant.spilling.begin()
            else:
                plant.spilling.end("level below the crest")
        if "floor" in tags and not rising:
            plant.note("station", "well empty", "pumped down to the floor")

    def _level_alarm(self, alarm: str, level_m: float, *, on: bool) -> None:
        plant, settings = self.plant, self.plant.station.alarms
        high = alarm == "high level"
        delay = settings.high_level_delay_s if high else settings.low_level_delay_s
        cause = f"level {'above' if high == on else 'below'} {level_text(level_m)}"
        plant.alarms.condition(alarm, "station", delay, cause, on=on)

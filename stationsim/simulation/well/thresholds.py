"""Thresholds: what happens when the water passes a level that somebody waits for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.physics.balance import BEGAN_OVER, LEFT_CAP
from stationsim.simulation.panel.floats import HIGH, LOW
from stationsim.simulation.well.wakes import WakePlan, wake_plan

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
        self._plans: dict[tuple[tuple[float, ...], str, str], WakePlan] = {}
        # where it matters on which side the water leaves; a cap is looked at by itself
        self._sided = tuple(
            (volume, level, tags)
            for volume, level, tags in zip(
                *wake_plan(plant.station, (), "", "", plant.spilling.cap_m3), strict=True
            )
            if tags & {"high level", "low level", "float", "motor top", "air"}
            or ("crest" in tags and plant.spilling.weir)
        )

    def plan(self, controller_levels_m: tuple[float, ...]) -> WakePlan:
        """Return all that is waited for now.

        Parameters
        ----------
        controller_levels_m
            What the controller waits for, as the panel reads it [m above floor]; a signal that
            fails or is scanned never wakes it.
        """
        plant = self.plant
        waits = plant.engine.waits if plant.engine is not None else ""
        signal = plant.signal
        levels = controller_levels_m if signal.right else signal.waited_for(controller_levels_m)
        key = (levels, waits, plant.bypass.waits if plant.bypass is not None else "")
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
        plant = self.plant
        plant.floats.first_look()
        if plant.spilling.weir and plant.v_m3 > plant.spilling.crest_m3:
            plant.spilling.begin()

    def _passed(self, tags: frozenset[str], level_m: float, *, rising: bool) -> None:
        plant = self.plant
        if "high level" in tags:
            plant.floats.passed(HIGH, covered=rising)
        if "low level" in tags:
            plant.floats.passed(LOW, covered=rising)
        if "float" in tags:
            plant.floats.passed_at(level_m, covered=rising)
        if "motor top" in tags:
            plant.heating.look_at_all()
        if "air" in tags:
            plant.air.level_passed()
        if "crest" in tags:
            if rising:
                plant.spilling.begin()
            else:
                plant.spilling.end("level below the crest")
        if "floor" in tags and not rising:
            plant.note("station", "well empty", "pumped down to the floor")

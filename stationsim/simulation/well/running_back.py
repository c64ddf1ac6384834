"""Water that runs back into the well through pumps that stand and whose check valves do not hold.

While another pump moves water, part of what it moves comes back and circulates: the lineup has it.
While none does, what stands in the main runs back at a constant flow (``physics.operating.
drain_m3s``), until the main is empty down to where it can run, a pump moves water again, or the
valve holds. The main is then short of that much, and the next pumping fills it first: so much does
not arrive at the far end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.simulation.clock import SAME_INSTANT_S, SUPPLY

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.conditions import MainCondition

_TOLD_M3 = 1e-6


class RunningBack:
    """The water of a main that runs back.

    Parameters
    ----------
    plant
        The plant that it belongs to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.armed = False
        self.short_m3 = 0.0
        self._forward_m3 = 0.0
        self._state: tuple[tuple[tuple[int, float], ...], MainCondition] | None = None
        self._piece = 0
        self._since_s = 0.0
        self._since_m3 = 0.0
        self._through = ""

    def arm(self) -> None:
        """Look at each change from now on: some check valve may let water through."""
        if not self.armed:
            self.armed = True
            self._forward_m3 = self._forward()

    def _forward(self) -> float:
        """Return all that has gone into the main since the start, less what came back [m3]."""
        plant = self.plant
        running = sum(machine.run_m3 for machine in plant.machines if machine.running)
        return plant.trace.pumped_m3 + running - plant.water.back_m3

    def _take_stock(self) -> None:
        forward = self._forward()
        self.short_m3 = max(self.short_m3 - (forward - self._forward_m3), 0.0)
        self._forward_m3 = forward

    def look(self) -> None:
        """See whether the main begins or ceases to run back at this moment."""
        plant = self.plant
        self._take_stock()
        pumps, main = plant.conditions.key
        mask, through = 0, []
        for machine in plant.machines:
            if machine.running:
                mask |= 1 << machine.index
            elif pumps[machine.index].runs_back > 0.0:
                through.append((machine.index, pumps[machine.index].runs_back))
        state = None
        if through:
            main = main._replace(drains_m3s=0.0)
            if not mask or plant.water.moves_m3s((mask, (pumps, main), 0.0)) <= 0.0:
                state = (tuple(through), main)
        if state == self._state:
            return
        self._tell()
        self._state = state
        self._piece += 1
        self._since_s, self._since_m3 = plant.t_s, self.short_m3
        flow = 0.0
        if state is not None:
            left_m3 = plant.station.main_water_m3 * main.way - self.short_m3
            # a machine that runs and moves nothing lets nothing through
            shut = tuple(
                pump._replace(runs_back=0.0) if mask >> index & 1 else pump
                for index, pump in enumerate(pumps)
            )
            flow = plant.water.drains_m3s(shut, main) if left_m3 > 0.0 else 0.0
            if left_m3 <= 2.0 * SAME_INSTANT_S * flow:
                flow = 0.0
            if flow > 0.0:
                names = [plant.machines[index].unit.name for index, _part in through]
                self._through = " and ".join(names)
                over_s = plant.t_s + left_m3 / flow
                plant.at(over_s, SUPPLY, "running_back.has_run_back", self._piece)
        if plant.conditions.main.drains_m3s != flow:
            plant.conditions.drain(flow)

    def has_run_back(self, piece: int) -> None:
        """All that could run back has, if nothing has changed meanwhile.

        Parameters
        ----------
        piece
            For which piece that was foreseen.
        """
        if piece != self._piece:
            return
        self._take_stock()
        self._tell()
        self._since_m3 = self.short_m3
        self.plant.conditions.drain(0.0)

    def _tell(self) -> None:
        plant = self.plant
        came_m3 = self.short_m3 - self._since_m3
        if self._state is not None and came_m3 > _TOLD_M3:
            took_s = plant.t_s - self._since_s
            plant.note(
                "force main",
                "water ran back",
                f"check valve of {self._through}",
                f"{came_m3:.3f} m3 in {took_s:.0f} s",
            )

"""Permits: how many electric pumps may run at once, and which.

A generator carries so many, a station downstream takes so many. Whatever is asked for beyond that
is held back by the panel, with the reason, and free again when another pump stops: so a pump that
is locked out while the others run is released when one of them fails. A selector in hand bypasses
the panel: such a pump counts, and is never held or stopped.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Machine

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


class Permits(Follower):
    """The permits of the electric pumps of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._limits: dict[str, tuple[int, tuple[str, ...], bool]] = {}

    def limit(
        self, reason: str, most: int, only: tuple[str, ...] = (), *, stops: bool = True
    ) -> None:
        """Let no more than so many electric pumps run at once; it takes the place of its like.

        Parameters
        ----------
        reason
            Why, in trade words: ``held by the station downstream``.
        most
            How many.
        only
            Names of those that may run at all; empty for any.
        stops
            Whether pumps that run already, and may not any more, stop; else they run on.
        """
        if not self._limits:
            self.plant.join(self)
        self._limits[reason] = (most, only, stops)
        for machine in sorted(
            (m for m in self.plant.electric if m.running and m.mode == "auto"),
            key=lambda m: (-m.started_s, -m.index),
        ):
            why = self._why_not(machine, self._running() - 1, stopping=True)
            if why:
                self.plant.stop(machine, why)
        self._hold()
        self.plant.panel_changed()

    def lift(self, reason: str) -> None:
        """Take a limit away.

        Parameters
        ----------
        reason
            Its reason.
        """
        if self._limits.pop(reason, None) is None:
            return
        if not self._limits:
            self.plant.leave(self)
        self._hold()
        self.plant.panel_changed()

    def started(self, machine: Machine) -> None:
        """Hold back what may not run beside it."""
        if not machine.engine_driven:
            self._hold()
            self.plant.panel_changed()

    def stopped(self, machine: Machine) -> None:
        """Free what may run in its place."""
        if not machine.engine_driven:
            self._hold()
            self.plant.panel_changed()

    def _running(self) -> int:
        return sum(machine.running for machine in self.plant.electric)

    def _why_not(self, machine: Machine, beside: int, *, stopping: bool = False) -> str:
        """Return why a pump may not run beside so many others; empty when it may."""
        for reason, (most, only, stops) in self._limits.items():
            if stopping and not stops:
                continue
            if beside >= most or (only and machine.unit.name not in only):
                return reason
        return ""

    def _hold(self) -> None:
        running = self._running()
        for machine in self.plant.electric:
            machine.held = "" if machine.running else self._why_not(machine, running)

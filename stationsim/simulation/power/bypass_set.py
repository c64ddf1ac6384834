"""The bypass pump: brought to the station and connected to the force main behind the check valves.

Until it is connected it is not there. From then on it starts by its own floats whenever the level
is at or above its start level, whether the grid is on or not, and stops at its stop level. It
cranks, warms up, primes, fails and burns fuel as the engine-driven pump does. The panel of the
station neither calls nor counts it; that it did not start reaches the alarms all the same, for such
sets call out by themselves (common practice, no source).

Taken off, it keeps what is wrong with it and what is left in its tank.
"""

from __future__ import annotations

from stationsim.signals import level_text
from stationsim.simulation.power.engine_set import EngineSet

CONNECTED, DISCONNECTED = "bypass pump connected", "bypass pump disconnected"
NOT_CONNECTED = "not connected"
"""Its state while it is not there."""


class BypassSet(EngineSet):
    """The bypass pump of a plant (parameters as of :class:`EngineSet`)."""

    path = "bypass"
    role = "bypass"
    first_phase = NOT_CONNECTED

    def needed(self) -> bool:
        """Return whether things are so that it starts at its start level: when it is there."""
        return self.phase != NOT_CONNECTED

    def no_longer_needed(self) -> str:
        """Return why a start in auto is given up; empty when it goes on."""
        return self.at_stop if self.plant.v_m3 <= self.stop_m3 else ""

    def why_called(self) -> str:
        """Return why it is called in auto, in trade words."""
        return f"level at start {level_text(self.what.start_level_m)}"

    def look(self) -> None:
        """See whether it has to start or to stop; what is not there does neither."""
        if self.phase != NOT_CONNECTED:
            super().look()

    def supply_back(self, source: str) -> None:
        """Whatever feeds the busbar is nothing to it."""

    # ------------------------------------------------------------------ brought and taken off

    def connect(self, cause: str) -> None:
        """Somebody has brought it and connected it.

        Parameters
        ----------
        cause
            Why.
        """
        if self.phase != NOT_CONNECTED:
            self.plant.note(self.name, "connection refused", "it is connected")
            return
        self.plant.note(self.name, CONNECTED, cause)
        self._turn("stopped", CONNECTED)

    def disconnect(self, cause: str) -> None:
        """Somebody stops it and takes it off.

        Parameters
        ----------
        cause
            Why.
        """
        if self.phase == NOT_CONNECTED:
            self.plant.note(self.name, "connection refused", "it is not connected")
            return
        if self.phase == "running":
            self.stop(DISCONNECTED)
        elif self.phase == "starting":
            self.give_up(DISCONNECTED)
        elif self.phase == "out of fuel":  # found anew when it is called again
            self.plant.alarms.condition("engine failed", self.name, 0.0, DISCONNECTED, on=False)
        self.plant.note(self.name, DISCONNECTED, cause)
        self._turn(NOT_CONNECTED, DISCONNECTED)

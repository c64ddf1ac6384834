"""The level signal while the station runs: what the panel reads, and the floats behind it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.signals import Note, level_text
from stationsim.simulation.clock import FAULT

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble import Handlers

NAME = "level sensor"
_ALARM = "level signal failed"


class LevelSignal:
    """What the panel reads of the level.

    Parameters
    ----------
    plant
        The plant that it belongs to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._mode = "right"
        self.right = True  # while the signal tells the truth
        self._value_m = math.nan
        self._over_s = -math.inf
        level = plant.episode.start_level_m
        floats = plant.station.backup_floats
        self.start_float = floats is not None and level >= floats.start_m
        self.stop_float = floats is None or level >= floats.stop_m
        plant.trace.signal.append((0.0, "right", math.nan))

    def read(self, level_m: float) -> float:
        """Return what the panel reads [m above floor]; NaN when there is no signal.

        Parameters
        ----------
        level_m
            The true level [m above floor].
        """
        return level_m if self.right else self._value_m

    def float_moves(self, level_m: float, *, covered: bool) -> None:
        """Take note that the water has covered or left a float.

        Parameters
        ----------
        level_m
            Level at which it hangs [m above floor].
        covered
            Whether the water rises past it.
        """
        floats = self.plant.station.backup_floats
        if floats is None:
            return
        if level_m == floats.start_m:
            self.start_float = covered
        if level_m == floats.stop_m:
            self.stop_float = covered
        self.plant.panel_changed()

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {"level signal frozen": self._scripted, "level signal lost": self._scripted}

    def _scripted(self, event: ScriptedEvent, over_s: float) -> None:
        self.fail(event.kind, over_s)

    def fail(self, kind: str, over_s: float) -> None:
        """Let the signal fail now.

        Parameters
        ----------
        kind
            ``level signal frozen`` or ``level signal lost``.
        over_s
            When it is right again [s]; infinity for not within the run.
        """
        plant = self.plant
        self.right = False
        self._mode = "lost" if kind == "level signal lost" else "frozen"
        self._value_m = math.nan if self._mode == "lost" else plant.level_m
        self._over_s = over_s
        plant.trace.signal.append((plant.t_s, self._mode, self._value_m))
        at = "" if self._mode == "lost" else f"at {level_text(self._value_m)}"
        plant.note(NAME, kind, "scripted", at)
        if self._mode == "lost":
            plant.alarms.condition(_ALARM, NAME, 0.0, "no signal", on=True)
        if over_s < math.inf:
            plant.at(over_s, FAULT, "signal.restored", over_s)
        plant.panel_changed()

    def restored(self, over_s: float) -> None:
        """Let the signal be right again, unless it has failed anew meanwhile.

        Parameters
        ----------
        over_s
            When it was to be right again [s].
        """
        plant = self.plant
        if over_s != self._over_s or self.right:
            return
        self.right, self._mode, self._value_m = True, "right", math.nan
        plant.trace.signal.append((plant.t_s, "right", math.nan))
        plant.note(NAME, "level signal right", "by itself")
        if plant.station.backup_floats is None:
            plant.alarms.condition(_ALARM, NAME, 0.0, "signal back", on=False)
        plant.panel_changed()

    def heed(self, note: Note) -> None:
        """Raise or clear the alarm of the signal when the panel says that it trusts it or not.

        Parameters
        ----------
        note
            What the controller wants on record.
        """
        if note.event == "level signal distrusted":
            self.plant.alarms.condition(_ALARM, NAME, 0.0, note.cause, on=True)
        elif note.event == "level signal trusted":
            self.plant.alarms.condition(_ALARM, NAME, 0.0, note.cause, on=False)

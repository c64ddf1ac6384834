"""What goes wrong with the panel itself: its controller stops, or its control breaker opens.

*Controller stopped*: nobody decides. Its outputs drop, so pumps in auto stop; hands go on. Backup
floats take over by themselves. When it runs again it begins with no calls, as after a power loss.

*Control breaker open*: no contactor holds, so no electric pump runs, in hand neither. When the
backup floats have a supply of their own (``BackupSettings.supply``), that supply feeds the coils of
the contactors as well: the breaker then takes the controller by level only, pumps in auto stop, the
floats start and stop them, and hands go on. Alarms that share the supply of the controls are dead
as long as it is open (see ``alarms``).

The busbar of the pumps is another matter: when that is dead nothing runs in any case. Contactors
drop when all else of that instant has happened: what stops a pump otherwise is the cause then.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT
from stationsim.simulation.trouble.standing import told_of_end

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

NAME = "panel"
STOPPED, OPEN = "controller stopped", "control breaker open"
POWER_LOST = "control power lost"
_POWER_ALARM = "control power failed"


class Panel:
    """The controls of a plant.

    Parameters
    ----------
    plant
        The plant that it controls.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.live = True  # contactors can hold
        self.controller_on = True  # the controller by level decides
        self.supply = True  # whoever decides has supply, as it sees it
        self.asked = True  # somebody is there to be asked
        self._stopped = False
        self._open = False
        self._floats = plant.station.backup_floats is not None
        floats = plant.station.backup_floats
        self._own_supply = floats is not None and floats.supply == "own"

    @property
    def dark(self) -> bool:
        """True while the control breaker is open: the panel shows nothing."""
        return self._open

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {STOPPED: self._stops, OPEN: self._opens}

    def _stops(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        plant.note(NAME, STOPPED, event.cause)
        plant.standing.begin(NAME, STOPPED, over_s, "panel.runs_again")
        self._stopped = True
        plant.alarms.condition(STOPPED, NAME, 0.0, "nobody decides", on=True)
        self._changed()

    def runs_again(self, _subject: str, _kind: str, cause: str) -> None:
        """Let the controller run again (see ``Standing.begin``)."""
        plant = self.plant
        told = told_of_end(cause)
        plant.note(NAME, "controller runs again", told)
        self._stopped = False
        plant.alarms.condition(STOPPED, NAME, 0.0, told, on=False)
        self._changed()

    def _opens(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        plant.note(NAME, OPEN, event.cause)
        plant.standing.begin(NAME, OPEN, over_s, "panel.closes")
        self._open = True
        if plant.station.alarms.supply == "control":
            plant.alarms.dies()
        plant.alarms.condition(_POWER_ALARM, NAME, 0.0, OPEN, on=True)
        self._changed()

    def closes(self, _subject: str, _kind: str, cause: str) -> None:
        """Close the control breaker (see ``Standing.begin``)."""
        plant = self.plant
        told = told_of_end(cause)
        plant.note(NAME, "control breaker closed", told)
        self._open = False
        plant.alarms.condition(_POWER_ALARM, NAME, 0.0, told, on=False)
        plant.alarms.lives()
        self._changed()

    def _changed(self) -> None:
        """Take note that controls are live or dead, or that the controller decides or does not."""
        plant = self.plant
        self.live = self._own_supply or not self._open
        was_on, self.controller_on = self.controller_on, not (self._stopped or self._open)
        plant.power_changed()
        if not self.live or (was_on and not self.controller_on):
            plant.at(plant.t_s, FAULT, "panel.drops")  # when all of this instant has happened
        if self.controller_on or was_on:  # it is told once that it has no supply
            self.asked = True
        plant.panel_changed()

    def drops(self) -> None:
        """Let the contactors drop that nothing holds any more."""
        plant = self.plant
        if self.controller_on:  # put right within the instant
            return
        cause = POWER_LOST if self._open else STOPPED
        for machine in plant.electric:
            if not self.live or machine.mode == "auto":
                plant.stop(machine, cause)
        plant.panel_changed()

    def power_changed(self) -> None:
        """Take note of what whoever decides sees of the supply."""
        self.supply = self.plant.powered and (self.controller_on or self._floats)

    def told(self) -> None:
        """Ask nobody any more once the controller has been told, while nobody decides."""
        self.asked = self.controller_on or self._floats

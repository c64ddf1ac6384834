"""What befalls transfer switch, generator, engine and bypass pump: their events, by kind.

An event for what the station does not have is written down and changes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.power.fuel import REFUELLED, REFUELLING_REFUSED

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

_NONE_THERE = "the station has none"


class PowerTrouble:
    """The troubles of transfer switch, generator and engine of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {
            "transfer switch stuck": self._sticks,
            "generator fails": self._fails,
            "generator fails to start": self._will_not_start,
            "generator late": self._late,
            "battery flat": self._engine,
            "fails to prime": self._engine,
            "bypass pump connected": self._bypass_connected,
            "bypass pump disconnected": self._bypass_disconnected,
            REFUELLED: self._refuelled,
        }

    def _engine(self, event: ScriptedEvent, over_s: float) -> None:
        engine = self.plant.engine_set(event.subject)
        if engine is None:
            self.plant.note(event.subject, event.kind, event.cause, _NONE_THERE)
        else:
            engine.goes_wrong(event, over_s)

    def _bypass_connected(self, event: ScriptedEvent, _over_s: float) -> None:
        if self.plant.bypass is None:
            self.plant.note(event.subject, "connection refused", _NONE_THERE)
        else:
            self.plant.bypass.connect(event.cause)

    def _bypass_disconnected(self, event: ScriptedEvent, _over_s: float) -> None:
        if self.plant.bypass is None:
            self.plant.note(event.subject, "connection refused", _NONE_THERE)
        else:
            self.plant.bypass.disconnect(event.cause)

    def _refuelled(self, event: ScriptedEvent, _over_s: float) -> None:
        plant = self.plant
        tank = plant.supply.set_named(event.subject) or plant.engine_set(event.subject)
        if tank is None:
            machine = event.subject in plant.by_name
            why = "it burns no fuel" if machine else _NONE_THERE
            plant.note(event.subject, REFUELLING_REFUSED, why)
        else:
            tank.refuel(event.cause)

    def _sticks(self, event: ScriptedEvent, over_s: float) -> None:
        transfer = self.plant.supply.transfer
        if transfer is None:
            self.plant.note(event.subject, event.kind, event.cause, _NONE_THERE)
        else:
            transfer.sticks(event, over_s)

    def _fails(self, event: ScriptedEvent, over_s: float) -> None:
        generator = self.plant.supply.set_named(event.subject)
        if generator is None:
            self.plant.note(event.subject, event.kind, event.cause, _NONE_THERE)
        else:
            generator.fails(event, over_s)

    def _will_not_start(self, event: ScriptedEvent, over_s: float) -> None:
        plant, generator = self.plant, self.plant.supply.generator
        if generator is None:
            plant.note(event.subject, event.kind, event.cause, _NONE_THERE)
            return
        generator.will_not_start = True
        plant.note(event.subject, event.kind, event.cause, "nobody knows until it is called")
        plant.standing.begin(event.subject, event.kind, over_s, "power.starts_again")

    def starts_again(self, subject: str, _kind: str, cause: str) -> None:
        """Let the generator start again when it is called (see ``Standing.begin``)."""
        generator = self.plant.supply.generator
        if generator is not None:
            generator.will_not_start = False
        self.plant.note(subject, "can start again", cause)

    def _late(self, event: ScriptedEvent, over_s: float) -> None:
        plant, generator = self.plant, self.plant.supply.generator
        if generator is None:
            plant.note(event.subject, event.kind, event.cause, _NONE_THERE)
            return
        generator.late_s = event.amount
        plant.note(event.subject, event.kind, event.cause, f"by {event.amount:g} s")
        plant.standing.begin(event.subject, event.kind, over_s, "power.in_time")

    def in_time(self, subject: str, _kind: str, cause: str) -> None:
        """Let the generator run up as it should (see ``Standing.begin``)."""
        generator = self.plant.supply.generator
        if generator is not None:
            generator.late_s = 0.0
        self.plant.note(subject, "in time again", cause)

    def reset(self, subject: str) -> None:
        """Somebody presses the reset of a generator set.

        Parameters
        ----------
        subject
            ``generator`` or ``mobile generator``.
        """
        generator = self.plant.supply.set_named(subject)
        if generator is None:
            self.plant.note(subject, "reset refused", _NONE_THERE)
        else:
            generator.reset()

"""Alarms: a condition, a delay, whether the alarm stands, and whether it was sent.

Things that keep an alarm from being raised, or from being sent:

* *telemetry lost*: alarms are raised at the station and reach nobody outside; when it is back, all
  that still stand are sent. The far end misses the station after its own waiting time
  (``AlarmSettings.telemetry_lost_delay_s``) and raises 'telemetry lost' itself.
* *an alarm switched off*: it is not raised; when it is switched on again and its condition still
  holds, it is. One that stands already when it is switched off stands on.
* *alarms on the supply of the controls* (``AlarmSettings.supply``) are dead while the control
  breaker is open. What holds meanwhile is raised when they are live again, if it still holds;
  delays count anew from then. What stood already is written down as cleared when its condition is
  over.
* *an alarm battery that is empty* (``AlarmSettings.battery_s``): from the moment at which nothing
  feeds the busbar alarms and telemetry live on their battery for so long. Then the alarms are dead
  as above, and telemetry is lost until something feeds the busbar again. After each such return the
  battery counts as full: how it is charged is not modelled.

An alarm that is raised at the very instant at which telemetry is lost was not sent, nor is one that
clears at the instant at which telemetry is back. Otherwise events at one instant count in their
order.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import INSTRUMENT, RECORDER, SUPPLY
from stationsim.simulation.trouble.standing import told_of_end

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

TELEMETRY = "telemetry"
BATTERY_EMPTY = "alarm battery empty"
TELEMETRY_LOST, ALARM_OFF = "telemetry lost", "alarm off"
"""Troubles of the alarms; the first is also the name of the alarm that the far end raises."""


class AlarmBoard:
    """All alarms of a station.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        # what waits for its delay: since when [s], the delay [s] and the cause
        self._pending: dict[tuple[str, str], tuple[float, float, str]] = {}
        # what holds and cannot be raised: the delay that is still to come [s] and the cause
        self._held: dict[tuple[str, str], tuple[float, str]] = {}
        self._off: set[str] = set()
        self._dead = False
        self._lost = False  # telemetry is lost by itself
        self._empty = False  # the battery of alarms and telemetry is empty
        self._outage = 0

    @property
    def silent(self) -> bool:
        """True while nothing leaves the station: telemetry is lost, or its battery is empty."""
        return self._lost or self._empty

    @property
    def dead(self) -> bool:
        """True while the alarms have no supply."""
        return self._dead

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {TELEMETRY_LOST: self._goes_silent, ALARM_OFF: self._switched_off}

    def condition(self, alarm: str, subject: str, delay_s: float, cause: str, *, on: bool) -> None:
        """Take note that the condition of an alarm holds from now on, or no longer does.

        Parameters
        ----------
        alarm, subject
            Which alarm, and of what.
        delay_s
            How long the condition must last before the alarm is raised [s].
        cause
            Why, in trade words.
        on
            Whether the condition holds.
        """
        plant, key = self.plant, (alarm, subject)
        if on:
            if plant.recorder.alarm_stands(alarm, subject) or key in self._pending:
                return
            if key in self._held:
                return
            if self._dead and alarm != TELEMETRY_LOST:
                self._held[key] = (delay_s, cause)
            elif delay_s <= 0.0:
                self._raise(alarm, subject, cause)
            else:
                self._pending[key] = (plant.t_s, delay_s, cause)
                plant.at(
                    plant.t_s + delay_s, INSTRUMENT, "alarms.due", alarm, subject, cause, plant.t_s
                )
            return
        self._pending.pop(key, None)
        self._held.pop(key, None)
        if plant.recorder.alarm_stands(alarm, subject):
            plant.recorder.alarm_cleared(plant.t_s, alarm, subject)
            plant.note(subject, "alarm cleared", f"{alarm}: {cause}")

    def due(self, alarm: str, subject: str, cause: str, since_s: float) -> None:
        """Raise an alarm whose delay is over, if its condition has held since then.

        Parameters
        ----------
        alarm, subject, cause
            Which, of what, why.
        since_s
            Since when the condition would have had to hold [s].
        """
        waiting = self._pending.get((alarm, subject))
        if waiting is not None and waiting[0] == since_s:
            del self._pending[alarm, subject]
            self._raise(alarm, subject, cause)

    def _raise(self, alarm: str, subject: str, cause: str) -> None:
        plant = self.plant
        if alarm in self._off:
            self._held[alarm, subject] = (0.0, cause)
            return
        sent = not self.silent or alarm == TELEMETRY_LOST
        plant.recorder.alarm_raised(plant.t_s, alarm, subject, sent=sent)
        detail = "" if sent else "not sent: telemetry is lost"
        plant.note(subject, "alarm raised", f"{alarm}: {cause}", detail)
        if plant.people is not None:
            plant.people.raised(alarm, subject, sent=sent)

    def _raise_held(self, alarms: set[str] | None) -> None:
        """Raise what could not be raised and still holds.

        Parameters
        ----------
        alarms
            Names of those that are looked at; None for all.
        """
        if self._dead:
            return
        for alarm, subject in [key for key in self._held if alarms is None or key[0] in alarms]:
            delay_s, cause = self._held.pop((alarm, subject))
            self.condition(alarm, subject, delay_s, cause, on=True)

    # ------------------------------------------------------------------ the supply of the alarms

    def dies(self) -> None:
        """The alarms have no supply from now on."""
        self._dead = True
        for key in [key for key in self._pending if key[0] != TELEMETRY_LOST]:
            _since_s, delay_s, cause = self._pending.pop(key)
            self._held[key] = (delay_s, cause)

    def lives(self) -> None:
        """The alarms have supply again; nothing happens when they had, or have none yet."""
        if self._dead and not self._empty:
            self._dead = False
            self._raise_held(None)

    def busbar_dead(self) -> None:
        """Nothing feeds the busbar from now on: the battery has to."""
        plant = self.plant
        lasts_s = plant.station.alarms.battery_s
        if plant.station.alarms.supply != "own" or lasts_s == math.inf:
            return
        self._outage += 1
        if lasts_s <= 0.0:
            self.battery_empty(self._outage)
        else:
            plant.at(plant.t_s + lasts_s, SUPPLY, "alarms.battery_empty", self._outage)

    def battery_empty(self, outage: int) -> None:
        """The battery of alarms and telemetry is empty.

        Parameters
        ----------
        outage
            For which time without supply that was foreseen; nothing happens when it is over.
        """
        if outage != self._outage:
            return
        self.plant.note(TELEMETRY, BATTERY_EMPTY, "nothing fed it")
        self.dies()
        self._empty = True
        self._falls_silent()

    def busbar_live(self) -> None:
        """Something feeds the busbar again, and so the alarms."""
        self._outage += 1
        if not self._empty:
            return
        self._empty = False
        self.plant.note(TELEMETRY, "alarms live again", "supply back")
        self.lives()
        self._speaks("supply back")

    # ------------------------------------------------------------------ telemetry

    def _falls_silent(self) -> None:
        """Nothing leaves the station from now on; the far end waits, and misses it."""
        plant = self.plant
        plant.recorder.alarms_unsent(plant.t_s, but=TELEMETRY_LOST)
        delay_s = plant.station.alarms.telemetry_lost_delay_s
        self.condition(TELEMETRY_LOST, TELEMETRY, delay_s, "no answer", on=True)

    def _speaks(self, cause: str) -> None:
        """Send what stands, unless the station is silent for another reason."""
        plant = self.plant
        if not self.silent:
            self.condition(TELEMETRY_LOST, TELEMETRY, 0.0, cause, on=False)
            plant.at(plant.t_s, RECORDER, "alarms.send")  # when all of this instant has happened

    def _goes_silent(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        plant.note(TELEMETRY, TELEMETRY_LOST, event.cause)
        plant.standing.begin(TELEMETRY, TELEMETRY_LOST, over_s, "alarms.heard_again")
        self._lost = True
        self._falls_silent()

    def heard_again(self, _subject: str, _kind: str, cause: str) -> None:
        """Let alarms be sent again, and send those that stand (see ``Standing.begin``)."""
        plant = self.plant
        self._lost = False
        told = told_of_end(cause)
        plant.note(TELEMETRY, "telemetry back", told, BATTERY_EMPTY if self._empty else "")
        self._speaks(told)

    def send(self) -> None:
        """Send what stands and has not been sent."""
        plant = self.plant
        if not self.silent:
            for alarm, subject in plant.recorder.send_alarms(plant.t_s):
                plant.note(subject, "alarm sent", f"{alarm}: telemetry is back")
                if plant.people is not None:
                    plant.people.sent(alarm, subject)

    # ------------------------------------------------------------------ one alarm switched off

    def _switched_off(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        plant.note(event.subject, "alarm off", event.cause)
        plant.standing.begin(event.subject, ALARM_OFF, over_s, "alarms.switched_on")
        self._off.add(event.subject)

    def switched_on(self, subject: str, _kind: str, cause: str) -> None:
        """Let an alarm be raised again (see ``Standing.begin``)."""
        told = told_of_end(cause)
        self.plant.note(subject, "alarm on", told)
        self._off.discard(subject)
        self._raise_held({subject})

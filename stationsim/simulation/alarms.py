"""Alarms: a condition, a delay, and whether the alarm stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.simulation.clock import INSTRUMENT

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


class AlarmBoard:
    """All alarms of a station.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._pending: dict[tuple[str, str], float] = {}

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
            if delay_s <= 0.0:
                self._raise(alarm, subject, cause)
            else:
                self._pending[key] = plant.t_s
                plant.at(
                    plant.t_s + delay_s, INSTRUMENT, "alarms.due", alarm, subject, cause, plant.t_s
                )
            return
        self._pending.pop(key, None)
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
        if self._pending.get((alarm, subject)) == since_s:
            del self._pending[alarm, subject]
            self._raise(alarm, subject, cause)

    def _raise(self, alarm: str, subject: str, cause: str) -> None:
        plant = self.plant
        plant.recorder.alarm_raised(plant.t_s, alarm, subject)
        plant.note(subject, "alarm raised", f"{alarm}: {cause}")

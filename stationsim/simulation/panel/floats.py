"""The floats of a station while it runs: the two of the backup, and those of the level alarms.

A float hangs at one level and shows whether water covers it. It can be stuck up (it shows water
whatever the level), stuck down, or late. A stuck float that is freed shows the truth at once, and
so does a late one that is put right. Stuck up and stuck down take each other's place; at one
instant stuck up counts.

A high-level alarm is raised while its float shows water, a low-level alarm while its float shows
none. The backup start float and the backup stop float are the panel's own to heed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.signals import level_text
from stationsim.simulation.clock import INSTRUMENT
from stationsim.simulation.trouble.standing import told_of_end
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

START, STOP = "start float", "stop float"
HIGH, LOW = "high level float", "low level float"

STUCK_UP, STUCK_DOWN, LATE = "float stuck up", "float stuck down", "float late"


@dataclass
class Float:
    """One float.

    Parameters
    ----------
    name
        Which.
    level_m
        Where it hangs [m above floor].
    water
        Whether water covers it, in truth.
    shown
        Whether it shows water.
    stuck
        ``STUCK_UP``, ``STUCK_DOWN``, or empty while it moves.
    stuck_s
        Since when it is stuck [s].
    late_s
        How long after the water it moves [s].
    piece
        Number of what holds of it, so that a late move from before is void [-].
    """

    name: str
    level_m: float
    water: bool
    shown: bool
    stuck: str = ""
    stuck_s: float = 0.0
    late_s: float = 0.0
    piece: int = 0


class Floats:
    """All floats of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        station, level = plant.station, plant.episode.start_level_m
        real = plant.level_m  # no higher than the crest
        backup, alarms = station.backup_floats, station.alarms
        hung: list[tuple[str, float, bool]] = []
        if backup is not None:
            hung += [
                (START, backup.start_m, level >= backup.start_m),
                (STOP, backup.stop_m, level >= backup.stop_m),
            ]
        if alarms.high_level_m is not None:
            hung.append((HIGH, alarms.high_level_m, real >= alarms.high_level_m))
        if alarms.low_level_m is not None:
            hung.append((LOW, alarms.low_level_m, real > alarms.low_level_m))
        self._floats = {name: Float(name, at_m, water, water) for name, at_m, water in hung}
        self.start = START in self._floats and self._floats[START].shown
        self.stop = STOP not in self._floats or self._floats[STOP].shown

    def first_look(self) -> None:
        """Raise the alarms that hold at the very start."""
        for name in (HIGH, LOW):
            one = self._floats.get(name)
            if one is not None and one.shown == (name == HIGH):
                self._shows(one, water=one.shown)

    def passed(self, name: str, *, covered: bool) -> None:
        """Take note that the water has covered or left a float.

        Parameters
        ----------
        name
            Which float.
        covered
            Whether the water rises past it.
        """
        one = self._floats[name]
        moved = one.water != covered
        one.water = covered
        if one.stuck:
            return
        if one.late_s <= 0.0:
            self._shows(one, water=covered)
        elif moved:
            at_s = self.plant.t_s + one.late_s
            self.plant.at(at_s, INSTRUMENT, "floats.follows", name, covered, one.piece)

    def passed_at(self, level_m: float, *, covered: bool) -> None:
        """Take note that the water has passed the level of a float of the backup, or of both.

        Parameters
        ----------
        level_m
            That level [m above floor].
        covered
            Whether the water rises past it.
        """
        for name in (START, STOP):
            one = self._floats.get(name)
            if one is not None and one.level_m == level_m:
                self.passed(name, covered=covered)

    def follows(self, name: str, covered: bool, piece: int) -> None:  # noqa: FBT001  (a timetable)
        """Let a late float move as the water did some time ago.

        Parameters
        ----------
        name, covered, piece
            Which float, how, and for which piece it was foreseen [-].
        """
        one = self._floats[name]
        if piece == one.piece:
            self._shows(one, water=covered)

    def _shows(self, one: Float, *, water: bool) -> None:
        plant = self.plant
        one.shown = water
        if one.name == START:
            self.start = water
            plant.panel_changed()
        elif one.name == STOP:
            self.stop = water
            plant.panel_changed()
        else:
            high = one.name == HIGH
            settings = plant.station.alarms
            cause = f"level {'above' if water else 'below'} {level_text(one.level_m)}"
            if water != one.water:
                cause = f"{one.name} shows {'water' if water else 'no water'}"
            plant.alarms.condition(
                "high level" if high else "low level",
                "station",
                settings.high_level_delay_s if high else settings.low_level_delay_s,
                cause,
                on=water == high,
            )

    # ------------------------------------------------------------------ what goes wrong

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {STUCK_UP: self._goes_wrong, STUCK_DOWN: self._goes_wrong, LATE: self._goes_wrong}

    def _goes_wrong(self, event: ScriptedEvent, over_s: float) -> None:
        plant, kind = self.plant, event.kind
        one = self._floats.get(event.subject)
        if one is None:
            plant.note(event.subject, kind, event.cause, "there is none")
            return
        if kind == LATE:
            one.late_s = event.amount
            plant.note(one.name, kind, event.cause, f"by {show(event.amount, 'duration', 'si')}")
        else:
            up_now = one.stuck == STUCK_UP and one.stuck_s == plant.t_s
            if kind == STUCK_DOWN and up_now:
                plant.note(one.name, kind, event.cause, "and up at once")
                return
            if one.stuck and one.stuck != kind:
                plant.standing.forget(one.name, one.stuck)
            one.stuck, one.stuck_s = kind, plant.t_s
            plant.note(one.name, kind, event.cause)
        plant.standing.begin(one.name, kind, over_s, "floats.freed")
        self._look(one)

    def freed(self, subject: str, kind: str, cause: str) -> None:
        """Let a float move again, or in time again (see ``Standing.begin``).

        Parameters
        ----------
        subject, kind, cause
            Which float, what was wrong with it, and why it no longer is.
        """
        one = self._floats[subject]
        if kind == LATE:
            one.late_s = 0.0
        else:
            one.stuck = ""
        told = told_of_end(cause)
        self.plant.note(subject, "float right", told, f"no longer: {kind}")
        self._look(one)

    def _look(self, one: Float) -> None:
        """Let a float show what it has to show from now on."""
        one.piece += 1
        water = one.stuck == STUCK_UP if one.stuck else one.water
        if water != one.shown:
            self._shows(one, water=water)

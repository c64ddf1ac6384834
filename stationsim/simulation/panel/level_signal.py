"""The level signal while the station runs: what the panel reads.

A sound signal tells the level itself, and no time is spent on it. What can be wrong with it:

* *off*: it is wrong by a constant. That needs no scanning either: the levels that the controller
  waits for are shifted, and where the water reaches one of them the panel reads just the level that
  it asked for.
* *drifting*, *noisy*, *late*: the signal is read every ``Station.scan_s``, at whole multiples of it
  from time nought, and holds what was read until the next time. Each reading gives the controller
  its turn; no level wakes it meanwhile. It is also read at the instant at which one of these
  begins or ends, so that two of them at one instant come to the same in either order. A late signal
  shows what was read so long ago; until it has lasted that long it stands still.
* *frozen*, *lost*: these win over all others. Frozen, it stands at what it showed before the
  instant at which it froze. Of these two the later one counts, and at one instant the loss.

All but the last two add up. A transducer reads no less than its zero, so neither does the panel.
"""

from __future__ import annotations

import math
from collections import deque
from statistics import NormalDist
from typing import TYPE_CHECKING

from stationsim.chance import Streams
from stationsim.episode import ScriptedEvent
from stationsim.signals import Note, level_text
from stationsim.simulation.clock import INSTRUMENT, SAME_INSTANT_S
from stationsim.simulation.trouble.standing import told_of_end
from stationsim.simulation.well.wakes import wake_plan
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

NAME = "level sensor"
_ALARM = "level signal failed"

FROZEN, LOST = "level signal frozen", "level signal lost"
OFF, DRIFTING = "level signal off", "level signal drifting"
NOISY, LATE = "level signal noisy", "level signal late"

_NORMAL = NormalDist()
_LEAST_PART = 2.0**-54
_ONE_LEVEL_M = 1e-9
"""Levels closer than this are one: a shifted level that meets a float's is that float's [m]."""


class LevelSignal:
    """What the panel reads of the level.

    Parameters
    ----------
    plant
        The plant that it belongs to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.right = True  # while the signal tells the truth
        self._failed = ""  # FROZEN or LOST
        self._failed_s = -math.inf
        self._value_m = math.nan
        self._before_s = -math.inf
        self._before_m = math.nan
        self._off_m = 0.0
        self._drift_since_s, self._drift_m_per_s = 0.0, 0.0
        self._noise_m = 0.0
        self._late_s = 0.0
        self._scanned = False
        self._piece = 0  # a scan that was foreseen for an earlier piece is void
        self._held_m = math.nan
        self._distrusted = False  # the panel has said so; its alarm goes when it trusts it again
        self._kept: deque[tuple[float, float]] = deque()
        self._streams = Streams(plant.episode.seed, plant.episode.replicate)
        self._shifted: dict[tuple[float, ...], tuple[float, ...]] = {}
        self._exact: dict[float, float] = {}
        plant.trace.signal.append((0.0, "right", math.nan))

    # ------------------------------------------------------------------ what is read

    def read(self, level_m: float) -> float:
        """Return what the panel reads [m above floor]; NaN when there is no signal.

        Parameters
        ----------
        level_m
            The true level [m above floor].
        """
        if self.right:
            return level_m
        return self._value_m if self._failed else self._unfailed(level_m)

    def _unfailed(self, level_m: float) -> float:
        """Return what is read were it neither frozen nor lost [m above floor]."""
        if self._scanned:
            return self._held_m
        if self._off_m == 0.0:
            return level_m
        exact = self._exact.get(level_m)
        return max(level_m + self._off_m, 0.0) if exact is None else exact

    def waited_for(self, levels_m: tuple[float, ...]) -> tuple[float, ...]:
        """Return the true levels at which the panel reads those that its controller waits for.

        Parameters
        ----------
        levels_m
            What the controller waits for [m above floor].
        """
        if self._failed or self._scanned:
            return ()
        if self._off_m == 0.0:
            return levels_m
        found = self._shifted.get(levels_m)
        if found is None:
            true = [(self._beside(level - self._off_m), level) for level in levels_m]
            within = [(at, level) for at, level in true if 0.0 <= at <= self.plant.water.top_m]
            for at, level in within:
                self._exact.setdefault(at, level)
            found = self._shifted[levels_m] = tuple(sorted({at for at, _level in within}))
        return found

    def _beside(self, level_m: float) -> float:
        """Return a level, or the one of the station that it is but for the last digits [m]."""
        plant = self.plant
        for waits in ("may start", "runs"):
            for own in wake_plan(plant.station, (), waits, waits, plant.spilling.cap_m3).levels_m:
                if abs(own - level_m) < _ONE_LEVEL_M:
                    return own
        return level_m

    # ------------------------------------------------------------------ what goes wrong

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {
            FROZEN: self._fails,
            LOST: self._fails,
            OFF: self._goes_wrong,
            DRIFTING: self._goes_wrong,
            NOISY: self._goes_wrong,
            LATE: self._goes_wrong,
        }

    def _fails(self, event: ScriptedEvent, over_s: float) -> None:
        plant, kind = self.plant, event.kind
        self._look_before()
        lost_now = self._failed == LOST and self._failed_s == plant.t_s
        if kind == FROZEN and lost_now:
            plant.note(NAME, kind, event.cause, "and lost at once")
            return
        if self._failed and self._failed != kind:
            plant.standing.forget(NAME, self._failed)
        self._failed, self._failed_s = kind, plant.t_s
        self._value_m = math.nan if kind == LOST else self._before_m
        at = "" if kind == LOST else f"at {level_text(self._value_m)}"
        self._changed()
        plant.note(NAME, kind, event.cause, at)
        if kind == LOST:
            plant.alarms.condition(_ALARM, NAME, 0.0, "no signal", on=True)
        plant.standing.begin(NAME, kind, over_s, "signal.ends")

    def _goes_wrong(self, event: ScriptedEvent, over_s: float) -> None:
        plant, kind, amount = self.plant, event.kind, event.amount
        self._look_before()
        side = "too high" if amount > 0.0 else "too low"
        # a length in full: wording turns it into other units
        size = show(amount, "duration", "si") if kind == LATE else f"{abs(amount):.6g} m"
        if kind == OFF:
            self._off_m = amount
            detail = f"{size} {side}"
        elif kind == DRIFTING:
            self._drift_since_s, self._drift_m_per_s = plant.t_s, amount / event.per_s
            detail = f"{size} {side} in {show(event.per_s, 'duration', 'si')}"
        elif kind == NOISY:
            self._noise_m = amount
            detail = f"{size} about the level (standard deviation)"
        else:
            self._late_s = amount
            detail = f"{size} late"
        plant.note(NAME, kind, event.cause, detail)
        plant.standing.begin(NAME, kind, over_s, "signal.ends")
        self._changed()

    def ends(self, _subject: str, kind: str, cause: str) -> None:
        """Let one fault of the signal be over (see ``Standing.begin``).

        Parameters
        ----------
        kind, cause
            Which fault, and why it is over.
        """
        plant = self.plant
        self._look_before()
        if kind in (FROZEN, LOST):
            self._failed, self._value_m = "", math.nan
        elif kind == OFF:
            self._off_m = 0.0
        elif kind == DRIFTING:
            self._drift_m_per_s = 0.0
        elif kind == NOISY:
            self._noise_m = 0.0
        else:
            self._late_s = 0.0
        self._changed()
        told = told_of_end(cause)
        if self.right:
            plant.note(NAME, "level signal right", told)
        else:
            plant.note(NAME, "level signal less wrong", told, f"no longer: {kind}")
        if kind in (FROZEN, LOST) and not self._distrusted:
            plant.alarms.condition(_ALARM, NAME, 0.0, "signal back", on=False)

    def _look_before(self) -> None:
        """Keep what was read before anything changed at this instant."""
        t_s = self.plant.t_s
        if self._before_s != t_s:
            self._before_s, self._before_m = t_s, self._unfailed(self.plant.level_m)

    def _changed(self) -> None:
        plant = self.plant
        scanned = self._drift_m_per_s != 0.0 or self._noise_m != 0.0 or self._late_s != 0.0
        if scanned != self._scanned:
            self._piece += 1
            self._kept.clear()
            self._scanned = scanned
            if scanned:
                self._next_scan()
        if scanned:
            self._held_m = self._measured_m()
        self._shifted.clear()
        self._exact.clear()
        self.right = not (self._failed or scanned or self._off_m != 0.0)
        self._write()
        plant.panel_changed()

    def _write(self) -> None:
        """Write down what the signal tells from now on."""
        row = ("right", math.nan)
        if self._failed:
            row = ("lost" if self._failed == LOST else "frozen", self._value_m)
        elif self._scanned:
            row = ("held", self._held_m)
        elif self._off_m != 0.0:
            row = ("off", self._off_m)
        self.plant.trace.signal.append((self.plant.t_s, *row))

    # ------------------------------------------------------------------ scanning

    def _scan_number(self) -> int:
        """Return the number of the last scan, counted from time nought [-]."""
        return int((self.plant.t_s + SAME_INSTANT_S) / self.plant.station.scan_s)

    def _next_scan(self) -> None:
        at_s = (self._scan_number() + 1) * self.plant.station.scan_s
        self.plant.at(at_s, INSTRUMENT, "signal.scan", self._piece)

    def scan(self, piece: int) -> None:
        """Read the signal, and give the controller its turn.

        Parameters
        ----------
        piece
            For which piece of scanning it was foreseen [-].
        """
        if piece != self._piece:
            return
        self._next_scan()
        before_m, self._held_m = self._held_m, self._measured_m()
        if self._failed:
            return
        if self._held_m != before_m:
            self._write()
        self.plant.controller_due = True

    def _measured_m(self) -> float:
        """Return what the signal tells now, with all that is wrong with it [m above floor]."""
        plant = self.plant
        t_s, kept = plant.t_s, self._kept
        if not kept or kept[-1][0] < t_s:
            kept.append((t_s, plant.level_m))
        then_s = t_s - self._late_s + SAME_INSTANT_S
        while len(kept) > 1 and kept[1][0] <= then_s:
            kept.popleft()
        told = kept[0][1] + self._off_m
        told += self._drift_m_per_s * (t_s - self._drift_since_s)
        if self._noise_m != 0.0:
            part = self._streams.stream(NAME, "noise").number(self._scan_number())
            told += self._noise_m * _NORMAL.inv_cdf(max(part, _LEAST_PART))
        return max(told, 0.0)

    # ------------------------------------------------------------------ what the panel makes of it

    def heed(self, note: Note) -> None:
        """Raise or clear the alarm of the signal when the panel says that it trusts it or not.

        Parameters
        ----------
        note
            What the controller wants on record.
        """
        if note.event == "level signal distrusted":
            self._distrusted = True
            self.plant.alarms.condition(_ALARM, NAME, 0.0, note.cause, on=True)
        elif note.event == "level signal trusted":
            self._distrusted = False
            self.plant.alarms.condition(_ALARM, NAME, 0.0, note.cause, on=False)

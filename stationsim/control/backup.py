"""Float backup: two floats that run the station when the level signal cannot be trusted.

The floats are wired past the level signal: a *backup stop float* near the suction and a *backup
start float* above the start levels. While the signal is good the controller by level decides, and
the floats only look on. They take over when

* the signal is lost,
* it has stood at one value for ``frozen_after_s`` while a pump ran,
* it contradicts a float by more than ``disagrees_by_m``, or
* the controller by level is stopped, or its supply is gone while the floats have their own.

Then the start float starts one pump at once and another each time it stays covered for
``lag_delay_s``; the stop float, uncovered, stops them all, and none starts within the next
``PAUSE_S``. The controller by level comes back when
the signal has moved, has contradicted no float for ``agree_for_s``, and the floats' own cycle is
over. While it is
stopped nobody compares the signal with the floats.

With a supply of their own the floats start and stop pumps while the control breaker is open: that
supply feeds the contactors too, and the breaker takes the controller by level only. With the supply
of the controls they are dead with it.

Pumps start in the order of the controller by level. With the rotation *each cycle* that order moves
on by one each time that the stop float has stopped pumps; with *fixed* it stays as it is.

Common practice, no source: two floats, or one float and a timer, are usual; a backup should share
neither supply nor fuse with what it backs up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stationsim.control.contract import Decider, setting
from stationsim.signals import Command, Decision, Note, Snapshot, level_text

FIXED = "fixed"
EACH_CYCLE = "each cycle"

_DUE_S = 1e-6

PAUSE_S = 10.0
"""How long the floats wait with a start after the stop float has stopped pumps [s]: else a start
float that hangs would have them start and stop without end while the water stands at the stop
float."""


@dataclass(frozen=True)
class BackupSettings:
    """Where the floats hang, and when they are believed."""

    start_m: float = setting("level", meaning="level of the backup start float")
    stop_m: float = setting("level", meaning="level of the backup stop float")
    lag_delay_s: float = setting(
        "duration",
        0.0,
        meaning="how long the start float stays covered before one more pump starts",
    )
    frozen_after_s: float | None = setting(
        "duration",
        None,
        meaning="a signal that stands still so long while a pump runs is not trusted any more",
    )
    disagrees_by_m: float = setting(
        "length", 0.1, meaning="by how much a good signal may contradict a float"
    )
    rotation: str = setting(
        "choice",
        FIXED,
        meaning="whether the pump that the floats start first changes after each of their cycles",
        choices=(FIXED, EACH_CYCLE),
    )
    supply: str = setting(
        "choice",
        "own",
        meaning="whether the floats have a supply of their own, or share that of the controls",
        choices=("own", "control"),
    )
    agree_for_s: float = setting(
        "duration",
        0.0,
        meaning="how long a signal that is not trusted must contradict no float until it is again",
    )


class FloatBackup:
    """A controller by level with two floats behind it.

    Parameters
    ----------
    settings
        Where the floats hang, and when they are believed.
    inner
        The controller by level.
    """

    Settings = BackupSettings

    def __init__(self, settings: BackupSettings, inner: Decider) -> None:
        self.settings = settings
        self.inner = inner
        self._by_floats = False
        self._reading = math.nan
        self._since_s = 0.0
        self._lag_due_s = math.inf
        self._bad_m = math.nan
        self._distrusted = False
        self._moved = 0
        self._paused_until_s = -math.inf
        self._agrees_since_s = math.nan  # since when a signal that is not trusted contradicts none

    @property
    def by_floats(self) -> bool:
        """True while the panel goes by its floats."""
        return self._by_floats

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        """Return what to do now and what should wake the controller next."""
        if not seen.supply:
            self._by_floats = False
            self._lag_due_s = math.inf
            return self.inner.decide(now_s, seen)
        notes: list[Note] = []
        on = [n for n, pump in enumerate(seen.pumps) if pump.running and pump.ready]
        stopped = not seen.controller_on
        if stopped:
            why, self._reading = "", math.nan  # nobody compares
        else:
            why = self._distrust(now_s, seen, running=bool(on))
        if why and not (self._by_floats and self._distrusted):
            self._distrusted = True
            self._bad_m = seen.level_m
            notes.append(Note("level sensor", "level signal distrusted", why))
        if (why or stopped) and not self._by_floats:
            self._by_floats = True
            self._agrees_since_s = math.nan
            self._lag_due_s = now_s + self.settings.lag_delay_s
            self.inner.decide(now_s, seen._replace(supply=False))  # it forgets its calls
            if stopped:
                self._bad_m = math.nan
                notes.append(Note("panel", "floats take over", "nobody decides by level"))
        elif self._may_hand_back(now_s, seen, why, stopped=stopped, on=bool(on)):
            self._by_floats = False
            if not self._distrusted:
                notes.append(Note("panel", "floats hand back", "the controller decides again"))
        if self._distrusted and not (self._by_floats or why):
            self._distrusted = False
            notes.append(Note("level sensor", "level signal trusted", "it agrees with the floats"))
        if self._by_floats:
            turn = self._float_turn(now_s, seen, on, notes)
            agreed_s = self._agrees_since_s + self.settings.agree_for_s
            if now_s < agreed_s - _DUE_S:
                turn = turn._replace(wake_at_s=min(turn.wake_at_s, agreed_s))
            return turn
        decision = self.inner.decide(now_s, seen)
        wake_s = min(decision.wake_at_s, self._look_again_s(decision, on))
        return decision._replace(wake_at_s=wake_s, notes=(*notes, *decision.notes))

    def _may_hand_back(
        self, now_s: float, seen: Snapshot, why: str, *, stopped: bool, on: bool
    ) -> bool:
        """Return whether the controller by level may decide again."""
        if why or stopped or not self._by_floats:
            self._agrees_since_s = math.nan
            return False
        if math.isnan(self._agrees_since_s):
            self._agrees_since_s = now_s
        if self._distrusted and now_s < self._agrees_since_s + self.settings.agree_for_s - _DUE_S:
            return False
        return not on and seen.level_m != self._bad_m

    def _distrust(self, now_s: float, seen: Snapshot, *, running: bool) -> str:
        """Return why the signal cannot be trusted; empty when it can."""
        settings, level = self.settings, seen.level_m
        if level != self._reading or not (running or self._by_floats):
            self._reading, self._since_s = level, now_s
        if math.isnan(level):
            return "no signal"
        if seen.start_float and level < settings.start_m - settings.disagrees_by_m:
            return f"start float covered, signal {level_text(level)}"
        if not seen.stop_float and level > settings.stop_m + settings.disagrees_by_m:
            return f"stop float uncovered, signal {level_text(level)}"
        frozen = settings.frozen_after_s
        if frozen is not None and now_s >= self._since_s + frozen - _DUE_S:
            return f"it stood at {level_text(level)} while a pump ran"
        if not seen.stop_float and running and not self._by_floats:  # their own cycle ends there
            return "stop float uncovered"
        return ""

    def _look_again_s(self, decision: Decision, on: list[int]) -> float:
        """Return when to see whether the signal has moved [s]; infinity while nothing runs."""
        frozen = self.settings.frozen_after_s
        starts = any(command.verb == "start" for command in decision.commands)
        if frozen is None or not (on or starts):
            return math.inf
        return self._since_s + frozen

    def _float_turn(
        self, now_s: float, seen: Snapshot, on: list[int], notes: list[Note]
    ) -> Decision:
        if not seen.stop_float:
            self._lag_due_s = math.inf
            stops = [Command("stop", n, "", "backup stop float") for n in reversed(on)]
            if stops:
                self._paused_until_s = now_s + PAUSE_S
            if stops and self.settings.rotation == EACH_CYCLE:
                self._moved = (self._moved + 1) % len(seen.pumps)
            return Decision(tuple(stops), notes=tuple(notes))
        if not seen.start_float:
            self._lag_due_s = math.inf
            return Decision(notes=tuple(notes))
        if now_s < self._paused_until_s - _DUE_S:
            return Decision(wake_at_s=self._paused_until_s, notes=tuple(notes))
        if self._lag_due_s == math.inf:
            self._lag_due_s = now_s + self.settings.lag_delay_s
        if on and now_s < self._lag_due_s - _DUE_S:
            return Decision(wake_at_s=self._lag_due_s, notes=tuple(notes))
        order = tuple(getattr(self.inner, "order", range(len(seen.pumps))))
        rested_s = math.inf
        for n in (*order[self._moved :], *order[: self._moved]):
            pump = seen.pumps[n]
            if pump.running or not pump.ready:
                continue
            if now_s < pump.stopped_s + pump.min_off_s - _DUE_S:
                rested_s = min(rested_s, pump.stopped_s + pump.min_off_s)
                continue
            role = "lag" if on else "lead"
            self._lag_due_s = now_s + max(self.settings.lag_delay_s, _DUE_S * 2.0)
            start = Command("start", n, role, "backup start float")
            return Decision((start,), wake_at_s=self._lag_due_s, notes=tuple(notes))
        return Decision(wake_at_s=rested_s, notes=tuple(notes))

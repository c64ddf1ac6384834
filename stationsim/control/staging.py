"""Lead, lag and standby by level: starts, stops, delays and limits.

Words
    A *call* is a start level that has been reached and not yet ended by its stop level. Call 1 is
    filled by the lead (duty) pump, the next by the lag (assist) pumps, the last by the standby
    (reserve) pump: the roles belong to the calls, and the rotation settles which machine plays
    which. A pump that is not ready is passed over, so whoever stands next in the order, in the end
    the standby, takes its place.

Stop policies
    *all together*: every call ends at the one stop level. *last on, first off* and *first on, first
    off* (staged stop): each call ends at its own stop level, and the pump that started last, or the
    one that started first, stops.

Rules that practice leaves open, as they are settled here
    Delays hold for each level by itself: the level must stay beyond it for the whole delay. A pump
    inside its minimum off time is passed over when another one is ready, and waited for when none
    is. After a power loss all calls are forgotten and the level decides anew. The rotation is asked
    when all calls have ended and the last pump stops.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from stationsim.control.contract import Occasion, Rotation, setting
from stationsim.control.memory import Memory, hindered
from stationsim.signals import Command, Decision, Note, Snapshot, level_text

ROLES = ("lead", "lag", "second lag", "third lag", "standby")
"""Roles in the order in which they are called."""

ALL_TOGETHER = "all together"
LAST_ON_FIRST_OFF = "last on, first off"
FIRST_ON_FIRST_OFF = "first on, first off"

MOVES_ON = "moves on"
STAYS = "stays"
STARTS_OVER = "starts over"

_HOUR_S = 3600.0
_DUE_S = 1e-6  # one instant: a turn within it must not ask to be woken within it again


@dataclass(frozen=True)
class StagingSettings:
    """Levels, stop policy and delays."""

    lead_start_m: float = setting("level", meaning="level at which the lead pump starts")
    stop_m: float = setting(
        "level", meaning="level at which every pump stops; with staged stop, the last one"
    )
    lag_start_m: float | None = setting("level", None, meaning="level at which the lag pump starts")
    second_lag_start_m: float | None = setting(
        "level", None, meaning="level at which a second lag pump starts"
    )
    third_lag_start_m: float | None = setting(
        "level", None, meaning="level at which a third lag pump starts"
    )
    standby_start_m: float | None = setting(
        "level", None, meaning="level at which the standby pump starts"
    )
    lag_stop_m: float | None = setting(
        "level", None, meaning="staged stop: level at which the call of the lag pump ends"
    )
    second_lag_stop_m: float | None = setting(
        "level", None, meaning="staged stop: level at which the call of the second lag pump ends"
    )
    third_lag_stop_m: float | None = setting(
        "level", None, meaning="staged stop: level at which the call of the third lag pump ends"
    )
    standby_stop_m: float | None = setting(
        "level", None, meaning="staged stop: level at which the call of the standby pump ends"
    )
    stop_policy: str = setting(
        "choice",
        ALL_TOGETHER,
        meaning="whether all pumps stop at one level, or one by one, and which one first",
        choices=(ALL_TOGETHER, LAST_ON_FIRST_OFF, FIRST_ON_FIRST_OFF),
    )
    start_delay_s: float = setting(
        "duration",
        0.0,
        meaning="how long the level must stay at a start level before a pump starts",
    )
    stop_delay_s: float = setting(
        "duration", 0.0, meaning="how long the level must stay at a stop level before a pump stops"
    )
    stagger_s: float = setting("duration", 0.0, meaning="least time from one start to the next")
    max_run_s: float | None = setting(
        "duration", None, meaning="longest run in one go before another pump takes over"
    )
    most_starts_per_hour: float | None = setting(
        "number", None, meaning="most starts of one pump in any hour; a pump at its limit waits"
    )
    restart_delay_s: float = setting(
        "duration", 0.0, meaning="how long the panel waits with the first start after a power loss"
    )
    restart_stagger_s: float | None = setting(
        "duration",
        None,
        meaning="least time from one start to the next after a power loss; as stagger if left out",
    )
    at_power_loss: str = setting(
        "choice",
        MOVES_ON,
        meaning="what a power loss under running pumps does to the rotation",
        choices=(MOVES_ON, STAYS, STARTS_OVER),
    )

    def stages(self) -> tuple[tuple[str, float, float], ...]:
        """Return role, start level and stop level [m] of each call, in order."""
        staged = self.stop_policy != ALL_TOGETHER
        rows = (
            (self.lead_start_m, None),
            (self.lag_start_m, self.lag_stop_m),
            (self.second_lag_start_m, self.second_lag_stop_m),
            (self.third_lag_start_m, self.third_lag_stop_m),
            (self.standby_start_m, self.standby_stop_m),
        )
        return tuple(
            (role, start, stop if staged and stop is not None else self.stop_m)
            for role, (start, stop) in zip(ROLES, rows, strict=True)
            if start is not None
        )


class Staging:
    """Lead, lag and standby by level."""

    Settings = StagingSettings

    def __init__(self, settings: StagingSettings, rotation: Rotation, pump_count: int) -> None:
        self.settings = settings
        self.rotation = rotation
        self.order: tuple[int, ...] = tuple(range(pump_count))
        stages = settings.stages()
        self._roles = tuple(role for role, _start, _stop in stages)
        self._starts = tuple(start for _role, start, _stop in stages)
        self._stops = tuple(stop for _role, _start, stop in stages)
        self._last_off_first = settings.stop_policy == LAST_ON_FIRST_OFF
        self._calls = 0
        self._on: list[tuple[int, int]] = []  # (pump, call) in the order of their starts
        self._start_since: dict[int, float] = {}
        self._stop_since: dict[int, float] = {}
        self._last_start_s = -math.inf
        self._supply = True
        self._first = True
        self._refused: tuple[int, str] | None = None
        self._overdue: set[int] = set()
        self._hold_s = -math.inf
        self._restarting = False
        self._begun: list[list[float]] = [[] for _ in range(pump_count)]
        self._wakes = [self._wake_levels(n) for n in range(len(stages) + 1)]
        self._start_cause = tuple(
            f"level at {role} start {level_text(start)}"
            for role, start in zip(self._roles, self._starts, strict=True)
        )
        self._stop_cause = tuple(
            f"level at {'' if stop == settings.stop_m else f'{role} '}stop {level_text(stop)}"
            for role, stop in zip(self._roles, self._stops, strict=True)
        )

    def _wake_levels(self, calls: int) -> tuple[float, ...]:
        """Return the levels that matter while so many calls stand."""
        starts = self._starts[calls:]
        stops = self._stops[:calls]
        if self.settings.start_delay_s == 0.0:
            starts = starts[:1]
        if self.settings.stop_delay_s == 0.0:
            stops = stops[-1:]
        return tuple(sorted({*starts, *stops}))

    def memory(self) -> Memory:
        """Return what the controller holds in mind; looking changes nothing."""
        return Memory(
            self.order,
            self._calls,
            tuple(self._on),
            tuple(sorted(self._start_since.items())),
            max(self._last_start_s + self._stagger_s(), self._hold_s),
            self._restarting,
            tuple(self._under_limit_s(pump) for pump in range(len(self.order))),
        )

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        """Return what to do now and what should wake the controller next."""
        if self._first:  # the rotation counts its set times from here, idle or not
            self._first = False
            self.rotation.next_time_s(now_s, seen)
        if not seen.supply:
            return self._no_supply(now_s, seen)
        returned = not self._supply
        self._supply = True
        notes: list[Note] = []
        pumps = seen.pumps
        lost = [pair for pair in self._on if not (pumps[pair[0]].running and pumps[pair[0]].ready)]
        if lost:
            self._on = [pair for pair in self._on if pair not in lost]
        was_running = bool(self._on) or bool(lost)

        wake_s = self._count_calls(now_s, seen.level_m)
        commands = self._stop_surplus(was_running, now_s, seen)
        if not self._on:  # none runs: a set time that passed, in an outage too, counts now
            due = self.rotation.next_time_s(now_s, seen)
            if now_s >= due - _DUE_S:
                self._rotate("time", now_s, seen)
                due = self.rotation.next_time_s(now_s, seen)
            if not self._calls:
                wake_s = min(wake_s, due)
        if returned:
            self._hold_s = now_s + self.settings.restart_delay_s
            self._restarting = True
        if self.settings.most_starts_per_hour is not None:
            self._count_starts(now_s, seen)
        if len(self._on) < self._calls:
            wake_s = min(wake_s, self._fill(now_s, seen, commands, notes, lost))
        if len(self._on) == self._calls:
            self._refused = None
            self._restarting = False
        if self.settings.max_run_s is not None:
            wake_s = min(
                wake_s, self._relieve(self.settings.max_run_s, now_s, seen, commands, notes)
            )
        return Decision(tuple(commands), self._wakes[self._calls], wake_s, tuple(notes))

    def _no_supply(self, now_s: float, seen: Snapshot) -> Decision:
        if self._supply:
            self._supply = False
            if self.settings.at_power_loss == STARTS_OVER:
                self.order = tuple(range(len(self.order)))
            elif self._on and self.settings.at_power_loss == MOVES_ON:
                self._rotate("power lost", now_s, seen)
            self._calls = 0
            self._on = []
            self._start_since.clear()
            self._stop_since.clear()
            self._last_start_s = -math.inf
            self._refused = None
        return Decision()

    def _rotate(self, occasion: Occasion, now_s: float, seen: Snapshot) -> None:
        self.order = self.rotation.order(occasion, now_s, seen, self.order)

    def _count_calls(self, now_s: float, level_m: float) -> float:
        """Bring the number of calls up to date; return when a delay ends at the earliest."""
        settings = self.settings
        wake_s = math.inf
        if settings.start_delay_s == 0.0:
            while self._calls < len(self._starts) and level_m >= self._starts[self._calls]:
                self._calls += 1
        else:
            wake_s = self._delayed_starts(now_s, level_m)
        if settings.stop_delay_s == 0.0:
            while self._calls and level_m <= self._stops[self._calls - 1]:
                self._calls -= 1
        else:
            wake_s = min(wake_s, self._delayed_stops(now_s, level_m))
        return wake_s

    def _delayed_starts(self, now_s: float, level_m: float) -> float:
        since = self._start_since
        for n in range(self._calls, len(self._starts)):
            start = self._starts[n]
            # standing on the level again later means that it has come back to it from above
            back = level_m == start and n in since and since[n] < now_s
            delay_over = back and now_s >= since[n] + self.settings.start_delay_s - _DUE_S
            if not level_m >= start or (back and not delay_over):  # no signal is not above
                since.pop(n, None)
            else:
                since.setdefault(n, now_s)
        delay_s = self.settings.start_delay_s
        while self._calls in since and now_s >= since[self._calls] + delay_s - _DUE_S:
            since.pop(self._calls)
            self._calls += 1
        at = since.get(self._calls)  # calls come in order: a later one waits for this one
        return math.inf if at is None else at + delay_s

    def _delayed_stops(self, now_s: float, level_m: float) -> float:
        since = self._stop_since
        for n in range(self._calls):
            stop = self._stops[n]
            back = level_m == stop and n in since and since[n] < now_s
            delay_over = back and now_s >= since[n] + self.settings.stop_delay_s - _DUE_S
            if not level_m <= stop or (back and not delay_over):  # nor is it below
                since.pop(n, None)
            else:
                since.setdefault(n, now_s)
        while self._calls:
            n = self._calls - 1
            if n not in since or now_s < since[n] + self.settings.stop_delay_s - _DUE_S:
                break
            since.pop(n)
            self._calls -= 1
        for n in [n for n in since if n >= self._calls]:
            since.pop(n)
        at = since.get(self._calls - 1)  # calls end in order, the last one first
        return math.inf if at is None else at + self.settings.stop_delay_s

    def _stop_surplus(self, was_running: bool, now_s: float, seen: Snapshot) -> list[Command]:  # noqa: FBT001
        """Stop pumps until no more run than are called; ask the rotation when none is left."""
        commands: list[Command] = []
        if self._calls == 0 and (self._on or was_running):
            # those that stop together are named last started first
            for pump, call in reversed(self._on):
                commands.append(Command("stop", pump, "", self._stop_cause[call]))
            self._rotate("all stopped", now_s, seen)
            self._on = []
            return commands
        while len(self._on) > self._calls:
            cause = self._stop_cause[self._calls]
            if self._last_off_first:
                pump, _call = self._on.pop()
            else:
                pump, _call = self._on.pop(0)
            commands.append(Command("stop", pump, "", cause))
        self._on = [(pump, min(call, self._calls - 1)) for pump, call in self._on]
        if commands and not self._last_off_first:
            self._on = [(pump, call) for call, (pump, _old) in enumerate(self._on)]
        return commands

    def _fill(
        self,
        now_s: float,
        seen: Snapshot,
        commands: list[Command],
        notes: list[Note],
        lost: list[tuple[int, int]],
    ) -> float:
        """Start pumps for the calls that stand open; return when to try again at the earliest."""
        wake_s = math.inf
        stagger_s = self._stagger_s()
        while len(self._on) < self._calls:
            ready_s = max(self._last_start_s + stagger_s, self._hold_s)
            if now_s < ready_s - _DUE_S:
                return ready_s
            taken = {call for _pump, call in self._on}
            call = next(n for n in range(self._calls) if n not in taken)
            pump, resting_s = self._next_pump(now_s, seen)
            if pump is None:
                self._note_refusal(call, now_s, seen, resting_s, notes)
                return resting_s
            cause = self._start_cause[call]
            if lost:
                cause = f"takes the place of {seen.pumps[lost.pop(0)[0]].name}"
            elif self._restarting:
                cause = f"power back, {cause.replace(' at ', ' above ', 1)}"
            commands.append(Command("start", pump, self._roles[call], cause))
            self._on.append((pump, call))
            self._last_start_s = now_s
            self._refused = None
        return wake_s

    def _stagger_s(self) -> float:
        """Return the least time from one start to the next, as it holds now [s]."""
        if self._restarting and self.settings.restart_stagger_s is not None:
            return self.settings.restart_stagger_s
        return self.settings.stagger_s

    def _next_pump(
        self, now_s: float, seen: Snapshot, told_to_stop: Collection[int] = ()
    ) -> tuple[int | None, float]:
        """Return the next pump that may start, or None and when one has rested enough."""
        on = {pump for pump, _call in self._on}
        resting_s = math.inf
        for pump in self.order:
            state = seen.pumps[pump]
            stops = pump in told_to_stop
            if pump in on or not state.ready or (state.running and not stops):
                continue
            stopped_s = now_s if stops else state.stopped_s
            free_s = max(stopped_s + state.min_off_s, self._under_limit_s(pump))
            if now_s >= free_s - _DUE_S:
                return pump, now_s
            resting_s = min(resting_s, free_s)
        return None, resting_s

    def _count_starts(self, now_s: float, seen: Snapshot) -> None:
        """Remember the starts of the last hour, a hand's included."""
        for begun, pump in zip(self._begun, seen.pumps, strict=True):
            if pump.started_s > -math.inf and (not begun or pump.started_s > begun[-1]):
                begun.append(pump.started_s)
            while begun and begun[0] <= now_s - _HOUR_S:
                begun.pop(0)

    def _under_limit_s(self, pump: int) -> float:
        """Return when a pump may start without exceeding its starts in an hour [s]."""
        most, begun = self.settings.most_starts_per_hour, self._begun[pump]
        if most is None or len(begun) < most:
            return -math.inf
        return begun[-int(most)] + _HOUR_S

    def _relieve(
        self,
        max_run_s: float,
        now_s: float,
        seen: Snapshot,
        commands: list[Command],
        notes: list[Note],
    ) -> float:
        """Swap pumps that have run too long; return when the next one has, at the earliest."""
        wake_s = math.inf
        fresh = {command.pump for command in commands if command.verb == "start"}
        for pump, call in list(self._on):
            if pump in fresh:
                wake_s = min(wake_s, now_s + max_run_s)
                continue
            name = seen.pumps[pump].name
            due_s = seen.pumps[pump].started_s + max_run_s
            if now_s < due_s - _DUE_S:
                wake_s = min(wake_s, due_s)
                continue
            # whoever is told to stop at this turn may take over too, once it has rested
            stopping = {command.pump for command in commands if command.verb == "stop"}
            other, resting_s = self._next_pump(now_s, seen, stopping)
            if other is None:
                if pump not in self._overdue:
                    self._overdue.add(pump)
                    why = self._hindered(now_s, seen)
                    notes.append(Note(name, "swap skipped", "no other pump is ready", why))
                wake_s = min(wake_s, resting_s)
                continue
            self._overdue.discard(pump)
            self._on.remove((pump, call))
            self._on.append((other, call))
            self._last_start_s = now_s
            commands.append(Command("stop", pump, "", "maximum run time"))
            commands.append(
                Command(
                    "start", other, self._roles[call], f"takes over from {name}, maximum run time"
                )
            )
            wake_s = min(wake_s, now_s + max_run_s)
        self._overdue &= {pump for pump, _call in self._on}
        return wake_s

    def _hindered(self, now_s: float, seen: Snapshot) -> str:
        limits = [self._under_limit_s(pump) for pump in range(len(self.order))]
        return hindered(now_s, seen.pumps, self.order, {pump for pump, _ in self._on}, limits)

    def _note_refusal(
        self, call: int, now_s: float, seen: Snapshot, resting_s: float, notes: list[Note]
    ) -> None:
        why = "no pump is ready"
        if resting_s < math.inf:
            why = "minimum off time not over"
            if self.settings.most_starts_per_hour is not None:
                why = "resting, or at the starts-per-hour limit"
        if self._refused != (call, why):
            self._refused = (call, why)
            role = self._roles[call]
            cause = f"call of the {role} pump: {why}"
            notes.append(Note("station", "start refused", cause, self._hindered(now_s, seen)))

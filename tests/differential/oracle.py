"""A second opinion that shares no code with stationsim: scipy's ``solve_ivp`` with events.

It reads the plain data of a `Station` and an `Episode` (dataclass fields; of the inflow the arrays
of its segments) and does everything else its own way:

* it integrates the *level*, ``dz/dt = (q - Q(z)) / A(z)``, not the volume, by Dormand-Prince of
  order 8 (rtol 1e-10), begun anew at every break of the inflow and of the well;
* flows come from Brent's method, or from a polynomial that gives the same to 2e-14 m3/s: no bands;
* each leg is monotone (it ends where the net flow turns), so only the nearest level of interest in
  the direction of movement has to be found;
* the panel keeps, for each start and stop level, since when the level has been beyond it, and has
  its turn when something that it sees has changed or a moment that it waits for has come;
* a level signal that is frozen or lost, and two floats behind it (``_floats``);
* water that runs back, and a main in trouble, by the head at the header (``oracle_water.py``);
* a motor's temperature is one exponential from its last change on (``oracle_units.py``).

Not in here: energy and alarms. What stays open (``fragile``) and is not compared: two things nearer
than 5 ms, one of them a crossing; starts by float at a limit of starts in an hour, of which the
panel knows the last only; a right signal that stands still until the panel distrusts it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from oracle_units import Unit, Winding
from oracle_water import Hydraulics, Storage
from scipy.integrate import solve_ivp

INSTANT = 1e-6
CLOSE = 5e-3
"""Two things nearer than this, one of them a crossing, may come in either order [s]."""


class Event(NamedTuple):
    """A start or a stop, and how well its time can be known at all."""

    t_s: float
    what: str
    machine: int
    slack_s: float


class Spill(NamedTuple):
    """One spill."""

    start_s: float
    stop_s: float
    volume_m3: float


@dataclass
class Answer:
    """What the oracle found."""

    events: list[Event] = field(default_factory=list)
    grid: list[tuple[float, str]] = field(default_factory=list)
    spills: list[Spill] = field(default_factory=list)
    volumes_m3: list[float] = field(default_factory=list)
    end_level_m: float = 0.0
    fragile: str = ""
    slack_s: float = 0.0
    legs: int = 0


class Oracle:
    """One run."""

    def __init__(self, station: Any, episode: Any, inflow: Any, flow_error: float) -> None:
        self.station, self.episode = station, episode
        self.flow_error = flow_error
        self.store = Storage(station.well.parts)
        self.water = Hydraulics(station)
        self.seg = list(
            zip(
                inflow.start_s.tolist(),
                inflow.flow_m3s.tolist(),
                inflow.slope_m3s2.tolist(),
                strict=True,
            )
        )
        self.si = 0
        self.end = episode.duration_s
        s = station.control.settings
        roles = ("lead", "lag", "second_lag", "third_lag", "standby")
        given = [(r, getattr(s, f"{r}_start_m")) for r in roles]
        self.starts = [z for _r, z in given if z is not None]
        staged = s.stop_policy != "all together"
        self.stops = [
            (getattr(s, f"{r}_stop_m", None) if staged and r != "lead" else None)
            for r, z in given
            if z is not None
        ]
        self.stops = [s.stop_m if z is None else z for z in self.stops]
        self.settings = s
        self.n_electric = len(station.pumps)
        self.units = [Unit() for _ in self.water.units]
        for unit, what in zip(self.units, self.water.units, strict=True):
            if what.motor_heat is not None:
                unit.winding = Winding(
                    what.motor_heat, what.motor_top_m, what.most_resets, what.motor_heat.ambient_c
                )
        self.order = list(range(self.n_electric))
        self.calls = 0
        self.on: list[int] = []
        self.above: list[float | None] = [None] * len(self.starts)
        self.below: list[float | None] = [None] * len(self.starts)
        self.last_start = -math.inf
        self.t, self.z = 0.0, episode.start_level_m
        self.way = 0
        spill = station.spillway
        self.crest = spill.crest_m if spill is not None else math.inf
        self.plain = spill is not None and spill.length_m is None
        if self.plain:
            self.z = min(self.z, self.crest)
        self.spill_since: float | None = None
        self.spilled = 0.0
        self.grid = True
        self.grid_back = -math.inf
        # either of the two, never both
        self.bypass = station.engine_pump is None and station.bypass_pump is not None
        self.engine = station.bypass_pump if self.bypass else station.engine_pump
        self.connected = not self.bypass
        self.engine_state = "stopped"
        self.engine_phase, self.engine_tries = "", 0
        self.engine_up = math.inf
        self.fuel = self.engine.tank_m3 if self.engine is not None else 0.0
        self.script = sorted(episode.events, key=lambda e: e.at_s)
        self.answer = Answer(volumes_m3=[0.0] * len(self.units))
        self.clock_done = self._clock_gone(0.0)
        self.slack_m3 = 1e-9
        self.slack_s = 0.0
        self.net_before = 1.0
        self.turn = True
        self.has_supply = True  # as the panel by level knows it: the floats take it away too
        self.restarting = False
        self.hold = -math.inf
        self.arrived: float | None = None
        # a timer that a crossing has set moves with it
        self.crossed = -math.inf
        self.delays = {s.start_delay_s, s.stop_delay_s}
        self.floats = getattr(station, "backup_floats", None)
        self.shown: float | None = None  # what a failed signal shows; None while it is right
        self.shown_until = math.inf
        self.still_from = 0.0
        self.by_floats = False
        self.float_cycles = 0  # that have moved the order of starts by float
        self.disbelieved = math.nan  # a signal has to move before it is believed again
        self.next_float_start = math.inf
        self.covered_start, self.covered_stop = False, True
        if self.floats is not None:
            self.covered_start = self.z >= self.floats.start_m
            self.covered_stop = self.z >= self.floats.stop_m
            self.delays |= {self.floats.lag_delay_s, self.floats.frozen_after_s or 0.0}
        if self.engine is not None:
            self.delays.add(self.engine.start_delay_s)
        self.last_instant = (-1.0, "")
        self.kind = ""
        self.main_over: dict[str, float] = {}
        self.short = 0.0  # what the main lacks of being full
        self.drain_over = math.inf
        self.draining: Any = None
        self.tankers: list[tuple[float, float]] = []  # until when, and at which flow

    # -------------------------------------------------------------- the run

    def run(self) -> Answer:
        for n in range(len(self.starts)):
            self._stand(n)
        if self.crest < self.z and not self.plain:
            self.spill_since = 0.0
        for unit in self.units:
            if unit.winding is not None and unit.winding.top_m is not None:
                unit.winding.covered = self.z > unit.winding.top_m
        self._instant()
        while self.t < self.end:
            self._leg(min(self._next_timer(), self.end))
            if self.t < self.end:
                self._instant()
        if self.spill_since is not None:
            self._spill_ends()
        self.answer.end_level_m = self.z
        return self.answer

    @property
    def seen(self) -> float:
        """What the level signal shows: not a number when it is lost."""
        return self.z if self.shown is None else self.shown

    def _stand(self, n: int) -> None:
        """Take note of where the level is seen against call n, with no past."""
        self.above[n] = self.t if self.seen >= self.starts[n] else None
        self.below[n] = self.t if self.seen <= self.stops[n] else None

    def _due(self, t: float) -> bool:
        return t <= self.t + INSTANT

    # -------------------------------------------------------------- what waits by the clock

    def _timers(self) -> list[float]:
        times = [e.at_s for e in self.script]
        if not self.grid:
            times.append(self.grid_back)
        times += [over for over, _flow in self.tankers]
        if self.shown is not None:
            times.append(self.shown_until)
        return times + self._panel_timers() + self._memory_timers()

    def _memory_timers(self) -> list[float]:
        """Return times that hang on an earlier start, stop or crossing."""
        times = [over for u in self.units for over, itself in u.blocks.values() if itself]
        times += [over for u in self.units for over in u.hidden.values()]
        times += [u.called_over for u in self.units]
        times += [u.winding.trips_at() for u in self.units if u.winding is not None]
        times += [self.engine_up, self.drain_over, *self.main_over.values()]
        if self.engine_state == "running" and self.engine.fuel_m3_per_s > 0.0:
            run_s = self.fuel / self.engine.fuel_m3_per_s
            times.append(self.units[-1].started + run_s)
        return times + (self._waits() if self.grid else [])

    def _panel_timers(self) -> list[float]:
        """Return when the panel wants its turn for the sake of a level or of the clock."""
        s = self.settings
        times: list[float] = []
        if not self.grid:
            return times
        if self.floats is not None:
            times.append(self.next_float_start)
            if self.shown is not None and not self.by_floats:
                times.append(self.still_from + (self.floats.frozen_after_s or math.inf))
        if self.by_floats:
            return times
        if s.start_delay_s and self.calls < len(self.starts):
            since = self.above[self.calls]
            times += [] if since is None else [since + s.start_delay_s]
        if s.stop_delay_s and self.calls:
            since = self.below[self.calls - 1]
            times += [] if since is None else [since + s.stop_delay_s]
        if self.station.control.rotation == "clock" and not self.on and not self.calls:
            settings = self.station.control.rotation_settings
            due = settings.at_s + (self.clock_done + 1) * settings.every_s
            times.append(due - self.episode.clock_offset_s)
        return times

    def _waits(self) -> list[float]:
        """Return when the panel wants its turn for the sake of a start that has to wait."""
        s = self.settings
        times: list[float] = []
        for i in range(self.n_electric):
            unit = self.units[i]
            if unit.mode == "hand" and unit.free and not unit.running and not unit.called:
                times.append(unit.stopped + self.station.pumps[i].min_off_s)
        idle = [i for i in range(self.n_electric) if self._idle(i)]
        if self.by_floats:
            return times + [self.units[i].stopped + self.station.pumps[i].min_off_s for i in idle]
        rests = [self._rested(i) for i in idle]
        if len(self.on) < self.calls:
            times += [self.last_start + self._stagger(), self.hold, *rests]
        if s.max_run_s is not None:
            due = [self.units[p].started + s.max_run_s for p in self.on if self.units[p].running]
            times += due
            if any(self._due(t) for t in due):
                times += rests
        return times

    def _stagger(self) -> float:
        s = self.settings
        again = self.restarting and s.restart_stagger_s is not None
        return float(s.restart_stagger_s if again else s.stagger_s)

    def _idle(self, i: int) -> bool:
        return self.units[i].ready and not self.units[i].running and i not in self.on

    def _rested(self, i: int) -> float:
        """Return from when on the panel may start a pump, by its rest and its starts."""
        rested = self.units[i].stopped + self.station.pumps[i].min_off_s
        most, begun = self.settings.most_starts_per_hour, self.units[i].begun
        if most is not None and len(begun) >= most:
            rested = max(rested, begun[-int(most)] + 3600.0)
        return float(rested)

    def _woken(self) -> bool:
        """Return whether the panel wanted a turn at this level or time."""
        if not self.grid:
            return False
        if self.arrived is not None and self.shown is None and not self.by_floats:
            starts, stops = self.starts[self.calls :], self.stops[: self.calls]
            if not self.settings.start_delay_s:
                starts = starts[:1]
            if not self.settings.stop_delay_s:
                stops = stops[-1:]
            if self.arrived in (*starts, *stops):
                return True
        return any(abs(x - self.t) <= INSTANT for x in (*self._panel_timers(), *self._waits()))

    def _next_timer(self) -> float:
        return min((x for x in self._timers() if x > self.t + INSTANT), default=math.inf)

    def _clock_gone(self, t: float) -> int:
        control = self.station.control
        if control.rotation != "clock":
            return 0
        settings = control.rotation_settings
        clock = t + self.episode.clock_offset_s
        return math.floor((clock - settings.at_s + INSTANT) / settings.every_s)

    # -------------------------------------------------------------- one instant

    def _instant(self) -> None:
        if any(abs(x - self.t) <= INSTANT for x in self._memory_timers()):
            # what hangs on an earlier moment is known no better than that one
            self.slack_s = max(self.slack_s, self.answer.slack_s)
        if self.kind == "crossing" and any(abs(x - self.t) < CLOSE for x in self._timers()):
            self.answer.fragile = f"a crossing at {self.t} s when something else is due"
        self._mark_instant()
        self.tankers = [one for one in self.tankers if not self._due(one[0])]
        self.turn = self.turn or self._woken()
        self.arrived = None
        self._supply()
        if self.engine_state == "starting":
            self._engine_comes_up()
        self._people()
        self._faults()
        for i in range(self.n_electric):
            unit = self.units[i]
            rested = unit.stopped + self.station.pumps[i].min_off_s
            hand = unit.mode == "hand" and unit.free and self.grid and not unit.running
            if hand and not unit.called and self.t >= rested - INSTANT:
                self._start(i)
        if self.grid and self.turn:
            self._panel()
        self.turn = False
        if self.engine is not None:
            self._engine()
        if self._float_turns_over() and self.grid:
            self._panel()
        self._drains()
        for unit in self.units:
            if unit.winding is not None:
                unit.winding.change(self.t, unit.running, unit.left < 1.0)
        net = self._net()
        if self.plain and self.z >= self.crest:
            # at the moment when it turns the net flow is nought but for rounding
            if net > 1e-12 * self._arriving()[0] and self.spill_since is None:
                self.spill_since = self.t
            elif net < 0.0 and self.spill_since is not None:
                self._spill_ends()
        if self.kind == "crossing":
            self.slack_m3 *= abs(net) / max(abs(self.net_before), 1e-300)
        else:
            with_crossing = self.slack_s * abs(net)
            tied = any(abs(self.t - delay - self.crossed) < INSTANT for delay in self.delays)
            self.slack_m3 = with_crossing if tied else max(self.slack_m3, with_crossing)
        self.slack_m3 = max(self.slack_m3, 0.0) + 1e-10

    def _mark_instant(self) -> None:
        t, kind = self.last_instant
        gap = self.t - t
        both = self.kind == "timer" and kind == "timer"
        if gap < CLOSE and not (both and gap <= 3.0 * INSTANT) and t >= 0.0 and self.kind and kind:
            self.answer.fragile = f"{kind} at {t} s and {self.kind} at {self.t} s"
        self.last_instant = (self.t, self.kind)
        self.answer.slack_s = max(self.answer.slack_s, self.slack_s)

    def _supply(self) -> None:
        back = not self.grid and self._due(self.grid_back)
        losses = [e for e in self.script if e.kind == "grid loss" and self._due(e.at_s)]
        if back and not losses:
            self.grid = self.turn = True
            self.answer.grid.append((self.t, "back"))
            for n in range(len(self.starts)):
                self._stand(n)
            auto = self.units[-1].mode == "auto"  # in hand it runs on
            if self.engine_state == "running" and auto and self.engine.at_grid_return == "stop":
                self._stop(len(self.units) - 1)
                self.engine_state = "stopped"
        for event in losses:
            self.script.remove(event)
            over = math.inf if event.duration_s is None else event.at_s + event.duration_s
            self.grid_back = over if self.grid else max(self.grid_back, over)
            if not self.grid:
                continue
            self.grid = False
            self.answer.grid.append((self.t, "lost"))
            for i in range(self.n_electric):
                self._stop(i)
            self._forget()
            self.by_floats, self.next_float_start = False, math.inf

    def _forget(self) -> None:
        """Let the panel by level lose its supply, unless it has none as it is."""
        if not self.has_supply:
            return
        self.has_supply = False
        if self.settings.at_power_loss == "starts over":
            self.order = list(range(self.n_electric))
        elif self.on and self.settings.at_power_loss == "moves on":
            self._rotate()
        self.calls, self.on, self.last_start = 0, [], -math.inf

    def _signal(self) -> None:
        """Let the level signal fail, or be right again."""
        changed = False
        if self.shown is not None and self._due(self.shown_until):
            self.shown, self.shown_until = None, math.inf
            changed = True
        for event in [e for e in self.script if self._due(e.at_s)]:
            if event.kind in ("level signal frozen", "level signal lost"):
                self.script.remove(event)
                self.shown = self.z if event.kind == "level signal frozen" else math.nan
                lasts = math.inf if event.duration_s is None else event.duration_s
                self.shown_until = event.at_s + lasts
                self.still_from = self.t
                changed = True
        if changed:
            self.turn = True
            for n in range(len(self.starts)):  # it may show another level than before
                if (self.seen >= self.starts[n]) != (self.above[n] is not None):
                    self.above[n] = self.t if self.seen >= self.starts[n] else None
                if (self.seen <= self.stops[n]) != (self.below[n] is not None):
                    self.below[n] = self.t if self.seen <= self.stops[n] else None

    def _people(self) -> None:
        self._signal()
        for event in [e for e in self.script if self._due(e.at_s)]:
            self.script.remove(event)
            if event.subject == "force main":
                self._in_main(event)
                continue
            if event.kind == "tanker takes":
                self.tankers.append((event.at_s + event.per_s, event.amount / event.per_s))
                continue
            if event.subject == "bypass pump":
                self._brought(event.kind == "bypass pump connected")
                continue
            names = [u.name for u in self.water.units]
            i = names.index(event.subject)
            unit = self.units[i]
            over = math.inf if event.duration_s is None else event.at_s + event.duration_s
            if event.kind in ("hand", "off", "auto"):
                if unit.mode != event.kind:
                    unit.mode, self.turn = event.kind, True
                    if event.kind != "hand" and i < self.n_electric:
                        self._stop(i)
            elif event.kind == "reset":
                self._reset(unit)
            elif event.kind == "clogged":
                unit.left = event.flow_left
                unit.hidden["clogged"] = over
                self.water.leave(i, event.flow_left)
            elif event.kind == "check valve open":
                self.water.open[i] = event.amount
                unit.hidden["open"] = over
            elif event.kind == "fails to start":
                unit.dead = True
                unit.hidden["dead"] = over
            elif event.kind == "seal leak" and (
                self.water.units[i].seal_leak != "stop" or i >= self.n_electric
            ):
                self.turn = True  # an alarm, which the panel sees
            else:
                itself = event.kind == "out of service" or event.resets_itself
                if event.duration_s is None and event.kind in ("fails", "high temperature"):
                    over, itself = event.at_s, False
                self._block(i, event.kind, over, itself)

    def _in_main(self, event: Any) -> None:
        water = self.water
        if event.kind == "main air":
            water.air = event.amount
        elif event.kind == "main plugged":
            water.left = event.flow_left
        elif event.kind == "main broken":
            water.way = event.amount
        self.main_over[event.kind] = (
            math.inf if event.duration_s is None else event.at_s + event.duration_s
        )

    def _main_heals(self) -> None:
        water = self.water
        for kind in [k for k, over in self.main_over.items() if self._due(over)]:
            del self.main_over[kind]
            if kind == "main air":
                water.air = 0.0
            elif kind == "main plugged":
                water.left = 1.0
            elif kind == "main broken":
                water.way = 1.0

    def _drains(self) -> None:
        """See whether the main begins to run back, or ceases to."""
        water = self.water
        running = self._running()
        state: Any = None
        if self._due(self.drain_over):
            self.drain_over, water.drain = math.inf, 0.0
        held, water.drain = water.drain, 0.0
        through = water.standing_open(running)
        if through and sum(water.flows(running, self.z)[: len(running)]) <= 0.0:
            state = (through, water.state)
        if state == self.draining:
            water.drain = held
            return
        self.draining, self.drain_over = state, math.inf
        left = self.station.main_water_m3 * water.way - self.short
        if state is None or left <= 1e-9:
            return
        rate = water.drains(self.z)
        if rate > 0.0:
            water.drain, self.drain_over = rate, self.t + left / rate
            self.delays.add(left / rate)

    def _reset(self, unit: Unit) -> None:
        for kind in list(unit.blocks):
            if kind != "out of service" and unit.blocks[kind][0] <= self.t + INSTANT:
                del unit.blocks[kind]
                self.turn = True
                if kind == "high temperature" and unit.winding is not None:
                    unit.winding.resets = 0

    def _block(self, i: int, kind: str, over: float, itself: bool) -> None:
        unit = self.units[i]
        older, latch = unit.blocks.get(kind, (-math.inf, True))
        unit.blocks[kind] = (max(over, older), itself and latch)
        self.turn = True
        if i < self.n_electric:
            self._stop(i)

    def _faults(self) -> None:
        """Let go what is over, and trip what is too hot."""
        self._main_heals()
        for i, unit in enumerate(self.units):
            for kind, (over, itself) in list(unit.blocks.items()):
                if itself and self._due(over):
                    del unit.blocks[kind]
                    self.turn = True
            for kind, over in list(unit.hidden.items()):
                if self._due(over):
                    del unit.hidden[kind]
                    if kind == "dead":
                        unit.dead = False
                    elif kind == "open":
                        self.water.open[i] = 0.0
                    else:
                        unit.left = 1.0
                        self.water.leave(i, 1.0)
            if unit.called and self._due(unit.called_over):
                unit.called_over, self.turn = math.inf, True
                if unit.dead and unit.free and unit.started < unit.called_at and self.grid:
                    self._block(i, "fails", self.t, itself=False)
            winding = unit.winding
            if winding is not None and unit.running and self._due(winding.trips_at()):
                self._block(i, "high temperature", *winding.trip(self.t))

    # -------------------------------------------------------------- the panel

    def _floats(self) -> bool:
        """Let the floats decide where the signal cannot be believed; tell whether they do."""
        if self.floats is None:
            return False
        on = [
            p
            for p in range(self.n_electric)
            if self.units[p].running and self.units[p].mode == "auto" and self.units[p].free
        ]
        believed = self._believed(on)
        if not believed and not self.by_floats:
            self.by_floats, self.disbelieved = True, self.seen
            self.next_float_start = self.t + self.floats.lag_delay_s
            self._forget()
        elif believed and self.by_floats and not on and self.seen != self.disbelieved:
            self.by_floats, self.next_float_start = False, math.inf
            for n in range(len(self.starts)):
                self._stand(n)
        if self.by_floats:
            self._float_turn(on)
        return self.by_floats

    def _believed(self, on: list[int]) -> bool:
        """Tell whether the panel may believe what the level signal shows."""
        floats = self.floats
        seen = self.seen
        frozen = self.shown is not None and not math.isnan(seen)
        if not frozen or not (on or self.by_floats):
            self.still_from = self.t
        patience = floats.frozen_after_s
        return not (
            math.isnan(seen)
            or (self.covered_start and seen < floats.start_m - floats.disagrees_by_m)
            or (not self.covered_stop and seen > floats.stop_m + floats.disagrees_by_m)
            or (frozen and patience is not None and self._due(self.still_from + patience))
            or (bool(on) and not self.covered_stop)
        )

    def _float_turn(self, on: list[int]) -> None:
        """Start and stop by the floats alone."""
        if not self.covered_stop:
            for p in reversed(on):
                self._stop(p)
            if on and self.floats.rotation == "each cycle":
                self.float_cycles += 1
        if not (self.covered_stop and self.covered_start):
            self.next_float_start = math.inf
            return
        if self.next_float_start == math.inf:
            self.next_float_start = self.t + self.floats.lag_delay_s
        if on and not self._due(self.next_float_start):
            return
        first = self.float_cycles % self.n_electric
        for p in self.order[first:] + self.order[:first]:
            unit = self.units[p]
            rested = self.t >= unit.stopped + self.station.pumps[p].min_off_s - INSTANT
            if unit.ready and not unit.running and rested:
                self._start(p)
                if self.settings.most_starts_per_hour is not None:
                    self.answer.fragile = "starts by float, of which the panel knows the last only"
                self.next_float_start = self.t + max(self.floats.lag_delay_s, 2.0 * INSTANT)
                return

    def _float_reached(self, level: float, way: int) -> bool:
        """Let the water cover or leave a float; tell whether one hangs here."""
        if self.floats is None:
            return False
        if level == self.floats.start_m:
            self.covered_start = way > 0
        if level == self.floats.stop_m:
            self.covered_stop = way > 0
        here = level in (self.floats.start_m, self.floats.stop_m)
        self.turn = self.turn or here
        return here

    def _float_turns_over(self) -> bool:
        """See whether the water now turns at a float; tell whether one has changed by that."""
        before = self.covered_start, self.covered_stop
        if self.floats is not None:
            net = self._net()
            if self.z == self.floats.start_m and net != 0.0:
                self.covered_start = net > 0.0
            if self.z == self.floats.stop_m and net != 0.0:
                self.covered_stop = net > 0.0
        return before != (self.covered_start, self.covered_stop)

    def _panel(self) -> None:
        if self._floats():
            return
        s, t = self.settings, self.t
        returned, self.has_supply = not self.has_supply, True
        dropped = [p for p in self.on if not (self.units[p].running and self.units[p].ready)]
        self.on = [p for p in self.on if p not in dropped]
        had = bool(self.on) or bool(dropped)
        while self.calls < len(self.starts):
            since = self.above[self.calls]
            if since is None or t < since + s.start_delay_s - INSTANT:
                break
            self.calls += 1
        while self.calls:
            since = self.below[self.calls - 1]
            if since is None or t < since + s.stop_delay_s - INSTANT:
                break
            self.calls -= 1
        if self.calls == 0 and had:
            self._rotate()
            for p in reversed(self.on):
                self._stop(p)
            self.on = []
        while len(self.on) > self.calls:
            self._stop(self.on.pop(-1 if s.stop_policy == "last on, first off" else 0))
        if not self.on and self.station.control.rotation == "clock":
            self._rotate()
        if returned:
            self.restarting = True
            self.hold = t + s.restart_delay_s
        fresh = []
        while len(self.on) < self.calls:
            if t < max(self.last_start + self._stagger(), self.hold) - INSTANT:
                break
            able = self._able()
            if not able:
                break
            self._start(able[0])
            self.on.append(able[0])
            fresh.append(able[0])
            self.last_start = t
        if len(self.on) == self.calls:
            self.restarting = False
        if s.max_run_s is not None:
            self._relieve(s.max_run_s, fresh)

    def _able(self) -> list[int]:
        """Return the pumps that the panel may start now, in their order."""
        return [p for p in self.order if self._idle(p) and self.t >= self._rested(p) - INSTANT]

    def _relieve(self, longest: float, fresh: list[int]) -> None:
        for p in list(self.on):
            if p in fresh or self.t < self.units[p].started + longest - INSTANT:
                continue
            able = self._able()
            if able:
                self.on.remove(p)
                self._stop(p)
                self._start(able[0])
                self.on.append(able[0])
                self.last_start = self.t

    def _rotate(self) -> None:
        rotation = self.station.control.rotation
        if rotation == "each cycle":
            self.order = self.order[1:] + self.order[:1]
        elif rotation == "clock":
            gone = self._clock_gone(self.t)
            for _ in range(gone - self.clock_done):
                self.order = self.order[1:] + self.order[:1]
            self.clock_done = gone
        elif rotation == "run hours":
            hours = [
                u.hours + (self.t - u.started if u.running else 0.0)
                for u in self.units[: self.n_electric]
            ]
            for h in hours:
                if abs((h * 1e3) % 1.0 - 0.5) < 0.02:
                    self.answer.fragile = f"hours {h} s stand between two milliseconds"
            self.order.sort(key=lambda p: (round(hours[p] * 1e3), p))
        elif rotation != "fixed":
            raise NotImplementedError(rotation)

    # -------------------------------------------------------------- switching

    def _start(self, i: int) -> None:
        unit = self.units[i]
        if unit.dead and i < self.n_electric:
            waits = max(self.station.pumps[i].fail_to_start_s, 2.0 * INSTANT)
            unit.called_at, unit.called_over = self.t, self.t + waits
            return
        unit.running, unit.started = True, self.t
        unit.begun.append(self.t)
        self.answer.events.append(Event(self.t, "start", i, self.slack_s))

    def _stop(self, i: int) -> None:
        unit = self.units[i]
        if unit.running:
            unit.running, unit.stopped = False, self.t
            unit.hours += self.t - unit.started
            self.answer.events.append(Event(self.t, "stop", i, self.slack_s))

    def _brought(self, connected: bool) -> None:
        if self.connected and not connected:
            i = len(self.units) - 1
            ran = self.t - self.units[i].started
            if self.engine_state == "running":
                self._stop(i)
                self.fuel = max(self.fuel - self.engine.fuel_m3_per_s * ran, 0.0)
            self.engine_state, self.engine_up = "stopped", math.inf
        self.connected = connected

    def _engine(self) -> None:
        what, i = self.engine, len(self.units) - 1
        unit = self.units[i]
        rate = what.fuel_m3_per_s
        if self.engine_state == "running":
            empty = rate > 0.0 and self._due(unit.started + self.fuel / rate)
            low = unit.mode == "auto" and self.z <= what.stop_level_m
            if empty or low or not unit.free:
                self._stop(i)
                self.fuel = 0.0 if empty else max(self.fuel - rate * (self.t - unit.started), 0.0)
                self.engine_state = "out of fuel" if empty else "stopped"
        may = self.bypass or not self.grid
        wanted = unit.mode == "hand" or (may and self.z >= what.start_level_m)
        wanted = wanted and self.connected
        if self.engine_state == "stopped" and wanted and unit.free and self.fuel > 0.0:
            self.engine_state, self.engine_phase = "starting", "cranks"
            self.engine_up = self.t + what.start_delay_s + what.crank_s
            self.engine_tries = what.crank_tries
            if self._due(self.engine_up):
                self._engine_comes_up()
                self._engine()

    def _engine_comes_up(self) -> None:
        """Go on with the start: crank, crank again, warm up and prime, run; or give up."""
        what, i = self.engine, len(self.units) - 1
        unit = self.units[i]
        while self.engine_state == "starting" and self._due(self.engine_up):
            gone = self.z <= what.stop_level_m if self.bypass else self.grid
            if not unit.free or (unit.mode == "auto" and gone):
                self.engine_state, self.engine_up = "stopped", math.inf
            elif self.engine_phase == "cranks" and unit.dead:
                self.engine_tries -= 1
                self.engine_up = self.t + what.crank_rest_s + what.crank_s
                if not self.engine_tries:
                    self.engine_state, self.engine_up = "stopped", math.inf
                    self._block(i, "fails", self.t, itself=False)
            elif self.engine_phase == "cranks" and what.warm_up_s + what.prime_s > 0.0:
                self.engine_phase = "warms up"
                self.engine_up = self.t + what.warm_up_s + what.prime_s
            else:
                self.engine_state, self.engine_up = "running", math.inf
                self._start(i)

    def _spill_ends(self) -> None:
        assert self.spill_since is not None
        self.answer.spills.append(Spill(self.spill_since, self.t, self.spilled))
        self.spill_since, self.spilled = None, 0.0

    # -------------------------------------------------------------- the water

    def _running(self) -> tuple[int, ...]:
        return tuple(i for i, u in enumerate(self.units) if u.running)

    def _arriving(self) -> tuple[float, float]:
        while self.si + 1 < len(self.seg) and self.seg[self.si + 1][0] <= self.t:
            self.si += 1
        t0, q0, b = self.seg[self.si]
        # a tanker is an inflow below nought; it does not know of a well that runs dry
        return q0 + b * (self.t - t0) - sum(flow for _over, flow in self.tankers), b

    def _weir(self, z: float) -> float:
        spill = self.station.spillway
        if spill is None or self.plain or z <= self.crest:
            return 0.0
        return float(spill.coefficient * spill.length_m * (z - self.crest) ** 1.5)

    def _net(self) -> float:
        out = sum(self.water.flows(self._running(), self.z))
        return self._arriving()[0] - out - self._weir(self.z)

    def _levels_of_interest(self) -> set[float]:
        levels = {0.0, *self.store.breaks, *self.starts, *self.stops}
        if self.crest < math.inf:
            levels.add(self.crest)
        if self.engine is not None:
            levels |= {self.engine.start_level_m, self.engine.stop_level_m}
        if self.floats is not None:
            levels |= {self.floats.start_m, self.floats.stop_m}
        return levels | self._tops()

    def _tops(self) -> set[float]:
        """Return the levels below which some motor heats more."""
        found = {u.winding.top_m for u in self.units if u.winding is not None}
        return {x for x in found if x is not None}

    def _leg(self, until: float) -> None:
        """Go on to a time, to the next level of interest, or to where the net flow turns."""
        self.answer.legs += 1
        q, b = self._arriving()
        self.kind = "timer"
        if self.si + 1 < len(self.seg) and self.seg[self.si + 1][0] < until:
            until = self.seg[self.si + 1][0]
            self.kind = ""
        running = self._running()
        flows = self.water.flows(running, self.z)
        out = sum(flows) + self._weir(self.z)
        net = q - out
        if abs(net) <= 1e-13 * (q + out):
            net = 0.0
        way = (net > 0.0) - (net < 0.0) or (b > 0.0) - (b < 0.0)
        if self.plain and self.z >= self.crest and way >= 0:
            self._held(until, net, b, running, flows)
        elif self.z <= 0.0 and way <= 0:
            self._dry(until, q, b, out, running, flows)
        elif way == 0:
            for i, flow in zip(running, flows, strict=False):
                self.answer.volumes_m3[i] += flow * (until - self.t)
            self._went(sum(flows) * (until - self.t))
            self.spilled += self._weir(self.z) * (until - self.t)
            self.t = until
        else:
            self._move(until, q, b, way, running, flows)

    def _held(
        self, until: float, net: float, b: float, running: tuple[int, ...], flows: list[float]
    ) -> None:
        """Stand at the crest, where what is too much is lost at once."""
        s = until - self.t
        turns = b < 0.0 and -net / b < s
        if turns:
            s = -net / b
            self.kind = "crossing"
        self._stands_still()
        self.spilled += s * (net + b * s / 2.0)
        for i, flow in zip(running, flows, strict=False):
            self.answer.volumes_m3[i] += flow * s
        self._went(sum(flows) * s)
        self.t = self.t + s if turns else until
        if turns:
            # how well that moment is known: error of the flow over its slope
            self.slack_s = 1e-12 / abs(b)
        # the level stands at the crest exactly: no error is handed on
        self.net_before = max(abs(net), 1e-6)
        self.slack_m3 = 0.0
        ahead = self._arriving()[0] - sum(flows)
        if self.spill_since is not None and (turns or ahead < 0.0):
            self._spill_ends()

    def _went(self, volume: float) -> None:
        """So much went into the main: what it lacks is filled first."""
        self.short = max(self.short - volume, 0.0)

    def _stands_still(self) -> None:
        if self.floats is not None and self.floats.frozen_after_s is not None:
            self.answer.fragile = "a right signal that stands still"

    def _dry(
        self,
        until: float,
        q: float,
        b: float,
        out: float,
        running: tuple[int, ...],
        flows: list[float],
    ) -> None:
        """Stand at the floor, where the pumps take what arrives."""
        self._stands_still()
        s = until - self.t
        if b > 0.0 and (out - q) / b < s:
            s = (out - q) / b
            self.kind = ""
        for i, flow in zip(running, flows, strict=False):
            if out > 0.0:
                self.answer.volumes_m3[i] += s * (q + b * s / 2.0) * flow / out
        self._went(s * (q + b * s / 2.0))
        self.t += s
        self.slack_m3 = 1e-9

    def _move(
        self,
        until: float,
        q: float,
        b: float,
        way: int,
        running: tuple[int, ...],
        flows: list[float],
    ) -> None:
        through = self.water.standing_open(running) if running and not self.water.drain else []
        curved = any(self.water.units[i].curve is not None for i in (*running, *through))
        spilling = not self.plain and self.z >= self.crest and self.station.spillway is not None
        area = self.store.area_beside(self.z, way)
        t0, z0 = self.t, self.z
        for n in range(len(self.starts)):  # a level that is stood on is left
            if z0 == self.starts[n] and way < 0:
                self.above[n] = None
            if z0 == self.stops[n] and way > 0:
                self.below[n] = None
        ahead = [x for x in self._levels_of_interest() if (x - z0) * way > 0.0]
        goal = min(ahead, key=lambda x: abs(x - z0), default=None)
        width = len(flows) if curved else 0

        drawn = self.water.drawn_flows(running)

        def at(z: float) -> tuple[list[float], float]:
            of_pumps = drawn(z) if curved else flows
            return of_pumps, self._weir(z) if spilling else 0.0

        def net(s: float, y: Any) -> float:
            of_pumps, weir = at(y[0])
            return q + b * s - sum(of_pumps) - weir

        def rates(s: float, y: Any) -> list[float]:
            of_pumps, weir = at(y[0])
            moved = (q + b * s - sum(of_pumps) - weir) / area(y[0])
            return [moved, *(of_pumps if curved else ()), *((weir,) if spilling else ())]

        def reaches(_s: float, y: Any) -> float:
            return float(y[0]) - (goal if goal is not None else math.inf)

        def turns(s: float, y: Any) -> float:
            return net(s, y)

        reaches.terminal, reaches.direction = True, way  # type: ignore[attr-defined]
        turns.terminal, turns.direction = True, -way  # type: ignore[attr-defined]
        start = [z0] + [0.0] * (width + spilling)
        watched = [turns, reaches] if goal is not None else [turns]

        begun = abs(rates(0.0, start)[0])
        near = 0.2 if curved or spilling else math.inf
        guess = min(near, math.inf if goal is None else 1.02 * abs(goal - z0)) / max(begun, 1e-30)

        def solve(span: float, events: list[Any]) -> Any:
            # the first step is offered whole; the error that it shows decides whether it stands
            return solve_ivp(
                rates, (0.0, span), start, method="DOP853", events=events,
                rtol=1e-10, atol=1e-12, first_step=min(span, guess),
            )  # fmt: skip

        found = solve(until - t0, watched)
        y = found.y[:, -1]
        s = float(found.t[-1])
        hit = goal is not None and len(found.t_events[1]) > 0
        turned = not hit and len(found.t_events[0]) > 0
        if turned and goal is not None and (y[0] - goal) * way > 0.0:
            # passed and come back within one step: look again, up to the turn
            found = solve(s, [reaches])
            y, s = found.y[:, -1], float(found.t[-1])
            hit, turned = True, False
        for n, i in enumerate(running):
            self.answer.volumes_m3[i] += float(y[1 + n]) if curved else flows[n] * s
        self._went(float(sum(y[1 : 1 + width])) if curved else sum(flows) * s)
        if spilling:
            self.spilled += float(y[-1])
        self.t, self.z = (t0 + s, float(y[0])) if hit or turned else (until, float(y[0]))
        if turned:
            self.kind = ""
        end_net = net(s, y)
        moved = q * s + b * s * s / 2.0 - float(sum(y[1:])) - (0.0 if curved else sum(flows) * s)
        if (curved or spilling) and abs(moved) > 1e-9:
            # where the outflow grows with the volume, an error of the volume dies away
            before = sum(flows) + (self._weir(z0) if spilling else 0.0)
            growth = (q + b * s - end_net - before) / moved
            self.slack_m3 *= math.exp(-max(growth, 0.0) * s)
        pumped = float(sum(y[1 : 1 + width]))
        self.slack_m3 += 1e-10 + self.flow_error * pumped
        if hit:
            self.net_before = end_net
            assert goal is not None
            self._arrive(goal, way)
        else:
            self.net_before = self._net()

    def _arrive(self, level: float, way: int) -> None:
        self.z, self.way, self.arrived = level, way, level
        matters = level in (*self.starts, *self.stops, self.crest, *self._tops())
        if self.engine is not None:
            matters = matters or level in (self.engine.start_level_m, self.engine.stop_level_m)
        matters = self._float_reached(level, way) or matters
        self.kind = "crossing" if matters else ""
        if matters:
            self.crossed = self.t
        if matters:
            self.slack_s = self.slack_m3 / max(abs(self.net_before), 1e-300)
        for n in range(len(self.starts)):
            if self.shown is not None:
                break  # the panel does not see it
            if level == self.starts[n]:
                self.above[n] = self.t if way > 0 else None
            if level == self.stops[n]:
                self.below[n] = self.t if way < 0 else None
        for unit in self.units:
            if unit.winding is not None and level == unit.winding.top_m:
                unit.winding.covered = way > 0
        if level == self.crest:
            if way > 0 and self.spill_since is None:
                self.spill_since = self.t
            elif way < 0 and self.spill_since is not None:
                self._spill_ends()


def second_opinion(station: Any, episode: Any, inflow: Any, flow_error: float = 0.0) -> Answer:
    """Return what happens to a station, by other means.

    Parameters
    ----------
    station, episode
        The plain data.
    inflow
        Arrays of the inflow's segments.
    flow_error
        Error of the other side's pump curves, as a part of the flow: enters ``slack_s`` only [-].
    """
    return Oracle(station, episode, inflow, flow_error).run()

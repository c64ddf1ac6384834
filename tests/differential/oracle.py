"""A second opinion that shares no code with stationsim: scipy's ``solve_ivp`` with events.

It reads the plain data of a `Station` and an `Episode` (dataclass fields; of the inflow the arrays
of its segments) and does everything else its own way:

* it integrates the *level*, ``dz/dt = (q - Q(z)) / A(z)``, not the volume, by Dormand-Prince of
  order 8 (rtol 1e-10), begun anew at every break of the inflow and of the well;
* flows come from Brent's method at every stage of every step: no bands;
* each leg is monotone (it ends where the net flow turns), so only the nearest level of interest in
  the direction of movement has to be found;
* the panel keeps, for each start and stop level, since when the level has been beyond it.

Not in here: energy, alarms, an engine-driven pump that fails.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

G = 9.80665
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


# ------------------------------------------------------------------ the well


class Storage:
    """Plan area over level, from the parts as they are described."""

    def __init__(self, parts: tuple[Any, ...]) -> None:
        self.parts = parts
        finite = [x for p in parts for x in (p.from_m, p.to_m) if 0.0 < x < math.inf]
        self.breaks = sorted(set(finite))
        self.top = math.inf
        if all(p.to_m < math.inf for p in parts):
            self.top = max(p.to_m for p in parts)
            self.last_area = sum(
                self._area_of(p, self.top) for p in parts if p.to_m > self.top - 1e-9
            )

    @staticmethod
    def _area_of(part: Any, z: float) -> float:
        h = z - part.from_m
        return float(part.a0_m2 + part.a1_m * h + part.a2 * h * h)

    def area_beside(self, z: float, way: int) -> Callable[[float], float]:
        """Return the plan area of the layer that begins at z in a direction, as a function."""
        inside = z + way * 1e-7
        if inside > self.top:
            return lambda _z: self.last_area
        active = [p for p in self.parts if p.from_m < inside < p.to_m]
        if all(p.a1_m == 0.0 and p.a2 == 0.0 for p in active):
            whole = sum(p.a0_m2 for p in active)
            return lambda _z: whole
        return lambda z: sum(self._area_of(p, z) for p in active)


# ------------------------------------------------------------------ flows


class Hydraulics:
    """Flows of the machines that run at a level."""

    def __init__(self, station: Any) -> None:
        self.main = station.force_main
        self.by_number = station.total_by_number_m3s
        self.units = list(station.pumps)
        if station.engine_pump is not None:
            self.units.append(station.engine_pump.pump)

    @staticmethod
    def friction(pipe: Any, q: float) -> float:
        """Return friction alone."""
        if q <= 0.0 or pipe.friction == "none" or pipe.length_m == 0.0:
            return 0.0
        if pipe.friction == "hazen-williams":
            head = 10.67 * pipe.length_m * q**1.852
            return float(head / (pipe.c_factor**1.852 * pipe.diameter_m**4.8704))
        v = q / (math.pi * pipe.diameter_m**2 / 4.0)
        re = v * pipe.diameter_m / pipe.viscosity_m2s
        if re < 2040.0:
            f = 64.0 / re
        else:  # Colebrook, by repetition
            x = 8.0
            for _ in range(60):
                rough = pipe.roughness_m / (3.7 * pipe.diameter_m)
                x, before = -2.0 * math.log10(rough + 2.51 * x / re), x
                if abs(x - before) < 1e-15 * x:
                    break
            f = 1.0 / (x * x)
        return float(f * pipe.length_m / pipe.diameter_m * v * v / (2.0 * G))

    @classmethod
    def loss(cls, pipe: Any, q: float) -> float:
        """Return friction and fittings."""
        v = q / (math.pi * pipe.diameter_m**2 / 4.0)
        return cls.friction(pipe, q) + float(pipe.fittings_k) * v * v / (2.0 * G)

    @staticmethod
    def head(unit: Any, q: float) -> float:
        """Return the head of a pump at its speed and in its condition."""
        raw = q / (unit.speed_ratio * unit.flow_factor)
        starts = unit.curve.flows_m3s
        piece = max(i for i, x in enumerate(starts) if x <= raw or i == 0)
        c0, c1, c2 = unit.curve.pieces[piece]
        h = c0 + c1 * raw + c2 * raw * raw
        return float(h * unit.speed_ratio**2 * unit.head_factor)

    def _own(self, unit: Any, header: float) -> float:
        """Return the flow of one pump against a head at the header."""
        branch = unit.branch

        def left(q: float) -> float:
            lost = self.loss(branch, q) if branch is not None else 0.0
            return self.head(unit, q) - lost - header

        if left(0.0) <= 0.0:
            return 0.0
        high = 0.05
        while left(high) > 0.0:
            high *= 2.0
        return float(brentq(left, 0.0, high, xtol=1e-15, rtol=1e-14))

    def flows(self, running: tuple[int, ...], z: float) -> list[float]:
        """Return the flow of each running machine."""
        units = [self.units[i] for i in running]
        plain = [u for u in units if u.curve is None and u.fixed_flow_m3s is None]
        share = self.by_number[len(plain) - 1] / len(plain) if plain else 0.0
        curved = [u for u in units if u.curve is not None]
        if not curved:
            return [share if u.fixed_flow_m3s is None else u.fixed_flow_m3s for u in units]
        lift = self.main.discharge_level_m - z
        fixed = sum(u.fixed_flow_m3s or 0.0 for u in units) + share * len(plain)
        kinds = {(u.curve, u.speed_ratio, u.flow_factor, u.head_factor, u.branch) for u in curved}

        def header(total: float) -> float:
            return lift + sum(self.loss(p, total) for p in self.main.pipes)

        if len(kinds) == 1:  # one unknown: the flow of each
            unit, n = curved[0], len(curved)

            def off(q: float) -> float:
                lost = self.loss(unit.branch, q) if unit.branch is not None else 0.0
                return self.head(unit, q) - lost - header(fixed + n * q)

            each = 0.0
            if off(0.0) > 0.0:
                high = 0.05
                while off(high) > 0.0:
                    high *= 2.0
                each = float(brentq(off, 0.0, high, xtol=1e-15, rtol=1e-14))
            found = {id(u): each for u in curved}
        else:

            def over(h: float) -> float:
                return h - header(fixed + sum(self._own(u, h) for u in curved))

            low = header(fixed)
            high_h = max(self.head(u, 0.0) for u in curved)
            h = low
            if high_h > low:
                h = float(brentq(over, low, high_h, xtol=1e-14, rtol=1e-14))
            found = {id(u): self._own(u, h) for u in curved}
        for u in units:
            if u.curve is None:
                found[id(u)] = share if u.fixed_flow_m3s is None else u.fixed_flow_m3s
        return [found[id(u)] for u in units]


# ------------------------------------------------------------------ one machine


@dataclass
class Unit:
    """One machine while it runs."""

    running: bool = False
    mode: str = "auto"
    blocks: dict[str, tuple[float, bool]] = field(default_factory=dict)
    started: float = -math.inf
    stopped: float = -math.inf
    hours: float = 0.0

    @property
    def free(self) -> bool:
        return not self.blocks and self.mode != "off"


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
        self.engine = station.engine_pump
        self.engine_state = "stopped"
        self.engine_up = math.inf
        self.fuel = self.engine.tank_m3 if self.engine is not None else 0.0
        self.script = sorted(episode.events, key=lambda e: e.at_s)
        self.answer = Answer(volumes_m3=[0.0] * len(self.units))
        self.clock_done = self._clock_gone(0.0)
        self.slack_m3 = 1e-9
        self.slack_s = 0.0
        self.net_before = 1.0
        # a timer that a crossing has set moves with it
        self.crossed = -math.inf
        self.delays = {s.start_delay_s, s.stop_delay_s}
        if self.engine is not None:
            self.delays.add(self.engine.start_delay_s)
        self.last_instant = (-1.0, "")
        self.kind = ""

    # -------------------------------------------------------------- the run

    def run(self) -> Answer:
        for n in range(len(self.starts)):
            self._stand(n)
        if self.crest < self.z and not self.plain:
            self.spill_since = 0.0
        self._instant()
        while self.t < self.end:
            self._leg(min(self._next_timer(), self.end))
            if self.t < self.end:
                self._instant()
        if self.spill_since is not None:
            self._spill_ends()
        self.answer.end_level_m = self.z
        return self.answer

    def _stand(self, n: int) -> None:
        """Take note of where the level stands against call n, with no past."""
        self.above[n] = self.t if self.z >= self.starts[n] else None
        self.below[n] = self.t if self.z <= self.stops[n] else None

    def _due(self, t: float) -> bool:
        return t <= self.t + INSTANT

    # -------------------------------------------------------------- what waits by the clock

    def _timers(self) -> list[float]:
        s = self.settings
        times = [e.at_s for e in self.script]
        times += [over for u in self.units for over, itself in u.blocks.values() if itself]
        if not self.grid:
            times.append(self.grid_back)
        if self.grid:
            if s.start_delay_s:
                times += [a + s.start_delay_s for a in self.above[self.calls :] if a is not None]
            if s.stop_delay_s:
                times += [a + s.stop_delay_s for a in self.below[: self.calls] if a is not None]
            if len(self.on) < self.calls:
                times.append(self.last_start + s.stagger_s)
            if self.station.control.rotation == "clock" and not self.on:
                settings = self.station.control.rotation_settings
                due = settings.at_s + (self.clock_done + 1) * settings.every_s
                times.append(due - self.episode.clock_offset_s)
            for i in range(self.n_electric):
                times.append(self.units[i].stopped + self.station.pumps[i].min_off_s)
        times.append(self.engine_up)
        if self.engine_state == "running" and self.engine.fuel_m3_per_s > 0.0:
            run_s = self.fuel / self.engine.fuel_m3_per_s
            times.append(self.units[-1].started + run_s)
        return times

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
        self._mark_instant()
        self._supply()
        self._people()
        for i in range(self.n_electric):
            unit = self.units[i]
            rested = unit.stopped + self.station.pumps[i].min_off_s
            hand = unit.mode == "hand" and unit.free and self.grid and not unit.running
            if hand and self.t >= rested - INSTANT:
                self._start(i)
        if self.grid:
            self._panel()
        if self.engine is not None:
            self._engine()
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
        if gap < CLOSE and not (both and gap <= INSTANT) and t >= 0.0 and self.kind and kind:
            self.answer.fragile = f"{kind} at {t} s and {self.kind} at {self.t} s"
        self.last_instant = (self.t, self.kind)
        self.answer.slack_s = max(self.answer.slack_s, self.slack_s)

    def _supply(self) -> None:
        back = not self.grid and self._due(self.grid_back)
        losses = [e for e in self.script if e.kind == "grid loss" and self._due(e.at_s)]
        if back and not losses:
            self.grid = True
            self.answer.grid.append((self.t, "back"))
            for n in range(len(self.starts)):
                self._stand(n)
            auto = self.units[-1].mode == "auto"  # in hand it runs on
            if self.engine_state == "running" and auto and self.engine.at_grid_return == "stop":
                self._stop(len(self.units) - 1)
                self.engine_state = "stopped"
            elif self.engine_state == "starting" and auto:
                self.engine_state, self.engine_up = "stopped", math.inf
        for event in losses:
            self.script.remove(event)
            over = math.inf if event.duration_s is None else event.at_s + event.duration_s
            self.grid_back = over if self.grid else max(self.grid_back, over)
            if not self.grid:
                continue
            self.grid = False
            self.answer.grid.append((self.t, "lost"))
            was_on = bool(self.on)
            for i in range(self.n_electric):
                self._stop(i)
            if was_on:
                self._rotate()
            self.calls, self.on, self.last_start = 0, [], -math.inf

    def _people(self) -> None:  # noqa: PLR0912  (one branch for each kind of event)
        for event in [e for e in self.script if self._due(e.at_s)]:
            self.script.remove(event)
            names = [u.name for u in self.water.units]
            i = names.index(event.subject)
            unit = self.units[i]
            if event.kind in ("hand", "off", "auto"):
                if unit.mode != event.kind:
                    unit.mode = event.kind
                    if event.kind != "hand" and i < self.n_electric:
                        self._stop(i)
                continue
            if event.kind == "reset":
                for kind in list(unit.blocks):
                    if kind != "out of service" and unit.blocks[kind][0] <= self.t + INSTANT:
                        del unit.blocks[kind]
                continue
            if event.kind == "seal leak" and (
                self.water.units[i].seal_leak != "stop" or i >= self.n_electric
            ):
                continue
            over = math.inf if event.duration_s is None else event.at_s + event.duration_s
            itself = event.kind == "out of service" or event.resets_itself
            if event.duration_s is None and event.kind in ("fails", "high temperature"):
                over, itself = event.at_s, False
            older, latch = unit.blocks.get(event.kind, (-math.inf, True))
            unit.blocks[event.kind] = (max(over, older), itself and latch)
            if i < self.n_electric:
                self._stop(i)
        for unit in self.units:
            for kind, (over, itself) in list(unit.blocks.items()):
                if itself and self._due(over):
                    del unit.blocks[kind]

    # -------------------------------------------------------------- the panel

    def _panel(self) -> None:
        s, t = self.settings, self.t
        dropped = [
            p for p in self.on if not (self.units[p].running and self.units[p].mode == "auto")
        ]
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
        while len(self.on) < self.calls and t >= self.last_start + s.stagger_s - INSTANT:
            able = [
                p
                for p in self.order
                if self.units[p].mode == "auto"
                and not self.units[p].blocks
                and not self.units[p].running
                and t >= self.units[p].stopped + self.station.pumps[p].min_off_s - INSTANT
            ]
            if not able:
                break
            self._start(able[0])
            self.on.append(able[0])
            self.last_start = t

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
        unit.running, unit.started = True, self.t
        self.answer.events.append(Event(self.t, "start", i, self.slack_s))

    def _stop(self, i: int) -> None:
        unit = self.units[i]
        if unit.running:
            unit.running, unit.stopped = False, self.t
            unit.hours += self.t - unit.started
            self.answer.events.append(Event(self.t, "stop", i, self.slack_s))

    def _engine(self) -> None:
        what, i = self.engine, len(self.units) - 1
        unit = self.units[i]
        rate = what.fuel_m3_per_s
        if self.engine_state == "starting" and self._due(self.engine_up):
            self.engine_state, self.engine_up = "running", math.inf
            self._start(i)
        if self.engine_state == "running":
            empty = rate > 0.0 and self._due(unit.started + self.fuel / rate)
            low = unit.mode == "auto" and self.z <= what.stop_level_m
            if empty or low or not unit.free:
                self._stop(i)
                self.fuel = 0.0 if empty else max(self.fuel - rate * (self.t - unit.started), 0.0)
                self.engine_state = "out of fuel" if empty else "stopped"
        wanted = unit.mode == "hand" or (not self.grid and self.z >= what.start_level_m)
        if self.engine_state == "stopped" and wanted and unit.free and self.fuel > 0.0:
            self.engine_state, self.engine_up = "starting", self.t + what.start_delay_s
            if what.start_delay_s <= 0.0:
                self._engine()

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
        return q0 + b * (self.t - t0), b

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
        return levels

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
            for i, flow in zip(running, flows, strict=True):
                self.answer.volumes_m3[i] += flow * (until - self.t)
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
        self.spilled += s * (net + b * s / 2.0)
        for i, flow in zip(running, flows, strict=True):
            self.answer.volumes_m3[i] += flow * s
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
        s = until - self.t
        if b > 0.0 and (out - q) / b < s:
            s = (out - q) / b
            self.kind = ""
        for i, flow in zip(running, flows, strict=True):
            if out > 0.0:
                self.answer.volumes_m3[i] += s * (q + b * s / 2.0) * flow / out
        self.t += s
        self.slack_m3 = 1e-9

    def _move(  # noqa: C901  (one leg, kept whole)
        self,
        until: float,
        q: float,
        b: float,
        way: int,
        running: tuple[int, ...],
        flows: list[float],
    ) -> None:
        curved = any(self.water.units[i].curve is not None for i in running)
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
        width = len(running) if curved else 0

        def at(z: float) -> tuple[list[float], float]:
            of_pumps = self.water.flows(running, z) if curved else flows
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

        def solve(span: float, events: list[Any]) -> Any:
            return solve_ivp(
                rates, (0.0, span), start, method="DOP853", events=events, rtol=1e-10, atol=1e-12
            )

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
        self.z, self.way = level, way
        matters = level in (*self.starts, *self.stops, self.crest)
        if self.engine is not None:
            matters = matters or level in (self.engine.start_level_m, self.engine.stop_level_m)
        self.kind = "crossing" if matters else ""
        if matters:
            self.crossed = self.t
        if matters:
            self.slack_s = self.slack_m3 / max(abs(self.net_before), 1e-300)
        for n in range(len(self.starts)):
            if level == self.starts[n]:
                self.above[n] = self.t if way > 0 else None
            if level == self.stops[n]:
                self.below[n] = self.t if way < 0 else None
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

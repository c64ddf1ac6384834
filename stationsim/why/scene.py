"""The scene at one moment of a run: what stood and ran, what the panel saw, what was out."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.trace import PumpRun, seen_levels
from stationsim.why.said import clock, lasting
from stationsim.wording import at_end, level_text

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.trace import EventRow, PowerRow
    from stationsim.units import System
    from stationsim.why.watching import Turn, Watched

SAME_INSTANT_S = 1e-6
_JUST_AFTER_S = 1e-3
_SEEN_OTHERWISE_M = 0.005


@dataclass(frozen=True)
class Answer:
    """What is answered of one machine.

    Parameters
    ----------
    machine
        Its name.
    verdict
        The answer in one sentence.
    more
        What else belongs to it, a sentence each.
    """

    machine: str
    verdict: str
    more: list[str] = field(default_factory=list)


class Spell(NamedTuple):
    """A time for which a machine could not be run: when, why, what the record says of it."""

    start_s: float
    stop_s: float
    kind: str
    begun: EventRow
    ended: EventRow | None


class Peak(NamedTuple):
    """Highest level of a span [m above floor], and when [s]."""

    level_m: float
    at_s: float


class Scene:
    """One moment of a run.

    Parameters
    ----------
    seen
        The run, and the turns of its controller.
    at_s
        The moment [s]; what happened at that very instant has happened.
    system
        ``si`` or ``us``.
    """

    def __init__(self, seen: Watched, at_s: float, system: System) -> None:
        self.result: Result = seen.result
        self.station = seen.result.station
        self.trace = seen.result.trace
        self.system = system
        self.at_s = at_s
        self.turns = seen.turns
        times = [turn.t_s for turn in seen.turns]
        self.last_turn = bisect_right(times, at_s + SAME_INSTANT_S) - 1
        self.names = self.station.machine_names()

    # ------------------------------------------------------------------ the record

    @cached_property
    def events(self) -> list[EventRow]:
        """Everything that happened, in the order of time."""
        return sorted(self.trace.events, key=lambda row: row.t_s)

    def of(self, subject: str, *kinds: str) -> list[EventRow]:
        """Return the events of a subject, of some kinds, in the order of time.

        Parameters
        ----------
        subject
            A machine, ``grid`` or ``level sensor``.
        kinds
            Events of the vocabulary.
        """
        return [row for row in self.events if row.subject == subject and row.event in kinds]

    def before(self, rows: list[EventRow]) -> EventRow | None:
        """Return the last of some events that had happened by the moment; None when none had."""
        past = [row for row in rows if row.t_s <= self.at_s + SAME_INSTANT_S]
        return past[-1] if past else None

    @cached_property
    def turn(self) -> Turn:
        """The last turn of the controller up to the moment."""
        return self.turns[max(self.last_turn, 0)]

    # ------------------------------------------------------------------ runs

    def runs(self, machine: str) -> list[PumpRun]:
        """Return the runs of a machine, in the order of time."""
        index = self.names.index(machine)
        return sorted(
            (run for run in self.trace.runs if run.machine == index), key=lambda run: run.start_s
        )

    def run_now(self, machine: str) -> PumpRun | None:
        """Return the run that goes on at the moment; None when it stands."""
        for run in self.runs(machine):
            begun = run.start_s <= self.at_s + SAME_INSTANT_S
            if begun and (
                run.stop_s > self.at_s + SAME_INSTANT_S or at_end(self.result, run.stop_s)
            ):
                return run
        return None

    def last_run(self, machine: str) -> PumpRun | None:
        """Return the last run that was over by the moment; None when there was none."""
        over = [run for run in self.runs(machine) if run.stop_s <= self.at_s + SAME_INSTANT_S]
        return over[-1] if over else None

    def next_run(self, machine: str) -> PumpRun | None:
        """Return the first run that began after the moment; None when there was none."""
        later = (run for run in self.runs(machine) if run.start_s > self.at_s + SAME_INSTANT_S)
        return next(later, None)

    # ------------------------------------------------------------------ what keeps a machine

    def unable(self, machine: str) -> list[Spell]:
        """Return what kept a machine from being run at the moment, the latest first."""
        found = []
        leaks = [row for row in self.of(machine, "seal leak") if row.detail == "stops"]
        outs = self.of(machine, "out of service")
        freed = self.of(machine, "reset", "back in service", "reversed and clear", "dry again")
        begins = [(row, row.cause) for row in self.of(machine, "trip")]
        begins += [(row, "seal leak") for row in leaks] + [(row, "out of service") for row in outs]
        for row, kind in begins:
            ended = next((r for r in freed if r.detail == kind and r.t_s >= row.t_s), None)
            found.append(self._spell(row, kind, ended))
        turned = self.of(machine, "off", "in hand", "in auto")
        for n, row in enumerate(turned):
            if row.event == "off":
                after = turned[n + 1] if n + 1 < len(turned) else None
                found.append(self._spell(row, "off", after))
        here = [s for s in found if s.start_s <= self.at_s + SAME_INSTANT_S < s.stop_s]
        here.sort(key=lambda spell: spell.start_s)
        first: dict[str, Spell] = {}
        for spell in here:  # what is renewed while it stands began with the first
            first.setdefault(spell.kind, spell)
        return sorted(first.values(), key=lambda spell: -spell.start_s)

    def _spell(self, row: EventRow, kind: str, ended: EventRow | None) -> Spell:
        stop_s = math.inf if ended is None else ended.t_s
        return Spell(row.t_s, stop_s, kind, row, ended)

    def selector(self, machine: str) -> tuple[str, float]:
        """Return where the selector of a machine stood, and since when [s]."""
        row = self.before(self.of(machine, "in hand", "off", "in auto"))
        if row is None:
            return "auto", 0.0
        return {"in hand": "hand", "off": "off", "in auto": "auto"}[row.event], row.t_s

    @property
    def grid_out(self) -> tuple[float, float] | None:
        """From when to when the grid was out at the moment [s]; None when it was on."""
        row = self.source("grid")
        if row is None or row.state != "out":
            return None
        return row.start_s, (math.inf if at_end(self.result, row.stop_s) else row.stop_s)

    @property
    def grid_cause(self) -> str:
        """Why the grid is as it is at the moment."""
        row = self.source("grid")
        return "" if row is None else row.cause

    @property
    def busbar(self) -> PowerRow | None:
        """What fed the busbar of the pumps at the moment; None where only the grid can."""
        return self.source("busbar")

    def source(self, source: str) -> PowerRow | None:
        """Return the state of a source of power at the moment; None when the record has none.

        Parameters
        ----------
        source
            ``grid``, ``busbar``, or the name of a set.
        """
        rows = [row for row in self.trace.power if row.source == source]
        begun = [row for row in rows if row.start_s <= self.at_s + SAME_INSTANT_S]
        return max(begun, key=lambda row: row.start_s, default=None)

    # ------------------------------------------------------------------ the water

    def level_at(self, t_s: float) -> float:
        """Return the true level at a moment [m above floor]."""
        return float(self.result.level_at(np.array([t_s]))[0])

    def seen_at(self, t_s: float) -> float:
        """Return the level that the panel saw at a moment [m above floor]; NaN for no signal."""
        times = np.array([t_s])
        return float(seen_levels(self.trace, times, self.result.level_at(times))[0])

    @property
    def signal_wrong(self) -> bool:
        """True while the panel sees another level than the true one, or none."""
        seen = self.seen_at(self.at_s)
        return not abs(seen - self.level_at(self.at_s)) <= _SEEN_OTHERWISE_M

    def peak(self, from_s: float, to_s: float) -> Peak:
        """Return the highest true level of a span, and when it first stood there.

        Parameters
        ----------
        from_s, to_s
            The span [s].
        """
        t, v = self.result.course.knots
        inside = (t > from_s) & (t < to_s)
        ends = self.result.sampled(np.array([from_s, to_s])).volume_m3
        times = np.concatenate(([from_s], t[inside], [to_s]))
        volumes = np.concatenate((ends[:1], v[inside], ends[1:]))
        top = int(np.argmax(volumes >= np.max(volumes) * (1.0 - 1e-12)))
        return Peak(float(self.station.well.level_at(float(volumes[top]))), float(times[top]))

    def seen_peak(self, from_s: float, to_s: float) -> Peak:
        """Return the highest level that the panel saw in a span, and when; NaN for no signal.

        Parameters
        ----------
        from_s, to_s
            The span [s].
        """
        best = Peak(math.nan, from_s)
        begins = [row[0] for row in self.trace.signal]
        for (t, mode, value), until in zip(self.trace.signal, [*begins[1:], math.inf], strict=True):
            low, high = max(t, from_s), min(until, to_s)
            if low > high or until <= low or mode == "lost":  # the next one holds where one ends
                continue
            if mode == "right":
                found = self.peak(low, high)
            elif mode == "off":
                true = self.peak(low, high)
                found = Peak(max(true.level_m + value, 0.0), true.at_s)
            else:
                found = Peak(value, low)
            if not best.level_m >= found.level_m:
                best = found
        return best

    @property
    def trend(self) -> str:
        """``rising``, ``falling`` or ``steady``, just after the moment."""
        later = min(self.at_s + 1.0, self.trace.end_s)
        before, after = self.result.level_at(np.array([max(later - 1.0, 0.0), later]))
        if abs(after - before) < 1e-6:
            return "steady"
        return "rising" if after > before else "falling"

    # ------------------------------------------------------------------ words

    def level(self, level_m: float) -> str:
        """Return a level as the people of this station say it."""
        return level_text(self.station, level_m, self.system)

    def clock(self, t_s: float) -> str:
        """Return a moment to the second."""
        return clock(self.result, t_s)

    def until(self, t_s: float) -> str:
        """Return an end and how long it was still to go: ``until Wed 07:10 (40 s more)``."""
        if t_s >= self.trace.end_s:
            return "to the end of the run"
        return f"until {self.clock(t_s)} ({lasting(t_s - self.at_s)} more)"

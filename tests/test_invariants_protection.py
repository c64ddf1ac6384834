"""What must hold in every run of what protects a station: limits of the panel, motor heat, floats.

As in ``test_invariants.py`` the rules are read from the station and the script. Where a rule needs
to know what a run itself brought about (a motor that tripped, a pump that gave no run signal), it
is worked out here once more, or the rows say it and another check holds them to account.

One thing is left open on purpose: the floats are wired past the panel, so that a start by float
heeds neither the limit of starts in an hour, nor the longest run, the restart delay or a stagger.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from station_strategies import ALL_KINDS
from test_invariants import FEW, INSTANT, MANY, Run, any_run, forbidden, overlap

from stationsim.episode import ScriptedEvent
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.trace import PumpRun, Trace, sample

HOUR = 3600.0
Spans = list[tuple[float, float]]


@dataclass
class Story:
    """A run, and what its script says."""

    run: Run
    trace: Trace

    @property
    def station(self) -> Station:
        return self.run[0]

    def name(self, machine: int) -> str:
        return self.station.machine_names()[machine]

    def script(self, kind: str, subject: str) -> list[ScriptedEvent]:
        found = [e for e in self.run[1].events if (e.kind, e.subject) == (kind, subject)]
        return sorted(found, key=lambda e: e.at_s)

    @cached_property
    def electric(self) -> list[PumpRun]:
        """Runs of electric pumps in the order of their starts."""
        count = len(self.station.pumps)
        return sorted((r for r in self.trace.runs if r.machine < count), key=lambda r: r.start_s)

    @cached_property
    def by_panel(self) -> list[PumpRun]:
        """Those that the panel started by level."""
        return [r for r in self.electric if r.role != "hand" and not by_float(r)]

    @cached_property
    def outages(self) -> Spans:
        return [
            (e.at_s, math.inf if e.duration_s is None else e.at_s + e.duration_s)
            for e in self.script("grid loss", "grid")
        ]

    @cached_property
    def distrusted(self) -> Spans:
        """When the floats had the say, from the panel's own notes; a power loss ends it."""
        spans, since = [], None
        words = ("level signal distrusted", "level signal trusted", "grid lost")
        for row in self.trace.events:
            if row.event not in words:
                continue
            if row.event == words[0]:
                assert since is None
                since = row.t_s
            elif since is not None:
                spans.append((since, row.t_s))
                since = None
        return spans if since is None else [*spans, (since, math.inf)]

    def not_in_auto(self, machine: int) -> Spans:
        """When the selector of a machine stands in hand or off."""
        spans, since = [], None
        moved = [e for e in self.run[1].events if e.kind in ("hand", "off", "auto")]
        for event in sorted(moved, key=lambda e: e.at_s):
            if event.subject != self.name(machine):
                continue
            if event.kind == "auto" and since is not None:
                spans.append((since, event.at_s))
                since = None
            elif event.kind != "auto" and since is None:
                since = event.at_s
        return spans if since is None else [*spans, (since, math.inf)]

    def not_ready(self, machine: int) -> Spans:
        """When the panel could not have started an electric pump."""
        pump, name = self.station.pumps[machine], self.name(machine)
        spans = [*forbidden(self.run, machine), *self.not_in_auto(machine)]
        spans += [(u.start_s, u.stop_s) for u in self.trace.unavailable if u.machine == machine]
        own = [r for r in self.electric if r.machine == machine]
        spans += [(r.start_s, r.stop_s + pump.min_off_s) for r in own]
        for row in self.trace.events:
            if (row.event, row.subject) == ("no run signal", name):
                spans.append((row.t_s, row.t_s + max(pump.fail_to_start_s, 2e-6)))
        most = self.station.control.settings.most_starts_per_hour
        if most is not None:
            begun = [r.start_s for r in own]
            spans += [(begun[n], begun[n - most + 1] + HOUR) for n in range(most - 1, len(begun))]
        return spans

    def ragged(self, machine: int) -> Spans:
        """When a pump is partly clogged: the last clog that was scripted counts."""
        spans: Spans = []
        clogs = self.script("clogged", self.name(machine))
        for n, event in enumerate(clogs):
            over = math.inf if event.duration_s is None else event.at_s + event.duration_s
            following = clogs[n + 1].at_s if n + 1 < len(clogs) else math.inf
            spans.append((event.at_s, min(over, following)))
        return spans


def by_float(row: PumpRun) -> bool:
    return row.started_by == "backup start float"


def touches(span: tuple[float, float], spans: Spans) -> bool:
    return any(overlap(span, other) > 0.0 for other in spans)


def left_over(span: tuple[float, float], taken: Spans) -> float:
    """Return the longest part of a span that nothing takes [s]."""
    at, longest = span[0], 0.0
    for begin, end in sorted(taken):
        if begin >= span[1]:
            break
        longest = max(longest, begin - at)
        at = max(at, end)
    return max(longest, span[1] - at)


# ------------------------------------------------------------------ the panel


def check_starts_in_an_hour(story: Story) -> None:
    most = story.station.control.settings.most_starts_per_hour
    if most is None:
        return
    for row in story.by_panel:
        hour = [
            r
            for r in story.electric
            if r.machine == row.machine and row.start_s - HOUR + INSTANT < r.start_s < row.start_s
        ]
        if not any(by_float(r) for r in hour):
            assert len(hour) < most, (row, hour)


def check_longest_run(story: Story) -> None:
    longest = story.station.control.settings.max_run_s
    if longest is None:
        return
    for row in story.by_panel:
        over = (row.start_s + longest, row.stop_s)
        whole = (row.start_s, row.stop_s)
        if touches(whole, story.not_in_auto(row.machine)) or touches(whole, story.distrusted):
            continue
        for other in range(len(story.station.pumps)):
            if other != row.machine and over[1] > over[0] + INSTANT:
                assert left_over(over, story.not_ready(other)) <= 1e-5, (row, other)


def check_after_a_power_loss(story: Story) -> None:
    control = story.station.control.settings
    for _lost, back in story.outages:
        for row in story.by_panel:
            if row.start_s >= back - INSTANT:
                assert row.start_s >= back + control.restart_delay_s - INSTANT, row
    if story.distrusted:  # the panel by level begins anew after the floats
        return
    again = control.restart_stagger_s
    for one, two in pairwise(story.by_panel):
        if touches((one.start_s, two.start_s), story.outages):
            continue
        if two.started_by.startswith("takes over from"):  # a swap waits for nobody
            continue
        gap = two.start_s - one.start_s
        assert gap >= min(control.stagger_s, control.stagger_s if again is None else again) - 1e-6
        if two.started_by.startswith("power back") and again is not None:
            assert gap >= again - INSTANT, (one, two)
        if two.started_by.startswith("level at"):
            assert gap >= control.stagger_s - INSTANT, (one, two)


# ------------------------------------------------------------------ motors


def toward(start_c: float, final_c: float, for_s: float, constant_s: float) -> float:
    return final_c + (start_c - final_c) * math.exp(-for_s / constant_s)


def check_heat(story: Story, session: Session) -> None:
    """Work every temperature out again; with a motor top, between two bounds."""
    for machine, pump in enumerate(story.station.pumps):
        heat = pump.motor_heat
        if heat is None:
            continue
        dry = 1.0 if pump.motor_top_m is None else heat.not_submerged_factor
        ragged = story.ragged(machine)
        changes = sorted(t for span in ragged for t in span)
        low = high = heat.ambient_c
        at = 0.0
        resets = 0
        free_s, latched = -math.inf, False
        hands = [e.at_s for e in story.script("reset", story.name(machine))]
        freed = [
            e.t_s
            for e in story.trace.events
            if (e.subject, e.event, e.cause) == (story.name(machine), "reset", "by hand")
            and e.detail == "high temperature"
        ]
        for row in [r for r in story.electric if r.machine == machine]:
            assert row.start_s >= free_s - INSTANT, (row, free_s)
            if latched:
                assert any(free_s - INSTANT <= t <= row.start_s + INSTANT for t in hands)
            if any(at <= t <= row.start_s for t in freed):
                resets = 0
            rest = row.start_s - at
            low, high = (
                toward(x, heat.ambient_c, rest, heat.cooling_time_constant_s) for x in (low, high)
            )
            at = row.start_s
            inner = [t for t in changes if row.start_s < t < row.stop_s]
            for until in [*inner, row.stop_s]:
                middle = (at + until) / 2.0
                factor = heat.ragged_factor if touches((middle, middle + 1e-9), ragged) else 1.0
                least, most = sorted((factor, factor * dry))
                constant = heat.heating_time_constant_s
                low = toward(low, heat.ambient_c + least * heat.full_rise_k, until - at, constant)
                high = toward(high, heat.ambient_c + most * heat.full_rise_k, until - at, constant)
                at = until
                assert low <= heat.trip_c + 1e-6, (row, low)
                high = min(high, heat.trip_c)
            scripted = story.script("high temperature", story.name(machine))
            by_itself = not any(abs(e.at_s - row.stop_s) < INSTANT for e in scripted)
            latched = False
            if row.stopped_by == "high temperature" and by_itself:
                assert high >= heat.trip_c - 1e-6, (row, high)
                low = high = heat.trip_c
                over = (heat.trip_c - heat.ambient_c) / (heat.reset_c - heat.ambient_c)
                free_s = row.stop_s + heat.cooling_time_constant_s * math.log(over)
                latched = pump.most_resets is not None and resets >= pump.most_resets
                resets += 1
        end = story.run[1].duration_s
        running = any(r.machine == machine and r.stop_s == end for r in story.electric)
        if not running:
            low, high = (
                toward(x, heat.ambient_c, end - at, heat.cooling_time_constant_s)
                for x in (low, high)
            )
        told = session._plant.heating.temperature_c(machine)
        assert low - 1e-6 <= told <= high + 1e-6
        assert told <= heat.trip_c + 1e-6


# ------------------------------------------------------------------ the level signal and the floats


def check_floats(story: Story) -> None:
    floats = story.station.backup_floats
    if floats is None:
        assert not story.distrusted
        assert not any(by_float(r) for r in story.electric)
        return
    rows = story.trace.events
    for row in rows:
        if row.event == "start" and row.cause == "backup start float":
            assert row.level_m >= floats.start_m - 1e-9, row
            assert row.level_m > floats.stop_m
            assert any(a - INSTANT <= row.t_s <= b + INSTANT for a, b in story.distrusted)
        if row.event == "stop" and row.cause == "backup stop float":
            assert row.level_m <= floats.stop_m + 1e-9, row
    for run in story.by_panel:  # the controller by level has no say meanwhile
        assert not any(a - INSTANT < run.start_s < b - INSTANT for a, b in story.distrusted), run


def stood_still(story: Story, until_s: float) -> bool:
    """Return whether the panel found the level where it was, after as long as it allows.

    The panel looks at its turns only: water that leaves the crest and comes back to it within that
    time is taken to have stood there.
    """
    station = story.station
    floats, spillway = station.backup_floats, station.spillway
    assert floats is not None
    assert floats.frozen_after_s is not None
    cap = math.inf
    if spillway is not None and spillway.length_m is None:
        cap = station.well.volume_at(spillway.crest_m)
    times = np.array([until_s - floats.frozen_after_s, until_s])
    begins, ends = sample(story.trace, cap, times).volume_m3
    return abs(float(ends - begins)) < 1e-9


def check_signal(story: Story) -> None:
    """A signal that is right is trusted, but for a pump that runs below the stop float."""
    failures = [e for k in ("frozen", "lost") for e in story.script(f"level signal {k}", SENSOR)]
    first = min((e.at_s for e in failures), default=math.inf)
    for row in story.trace.events:
        if row.event == "level signal distrusted" and row.t_s < first - INSTANT:
            if row.cause.startswith("it stood at"):  # and so it did
                assert stood_still(story, row.t_s), row
            else:
                assert row.cause == "stop float uncovered", row
    modes = [mode for _t, mode, _value in story.trace.signal]
    assert modes[0] == "right"
    assert len(modes) <= 1 + 2 * len(failures)


SENSOR = "level sensor"


def check_protection(run: Run) -> Story:
    session = Session(*run)
    story = Story(run, session.finish().trace)
    check_starts_in_an_hour(story)
    check_longest_run(story)
    check_after_a_power_loss(story)
    check_heat(story, session)
    check_floats(story)
    check_signal(story)
    return story


NEW_WORDS = (
    "no run signal",
    "fails to start",
    "clogged",
    "clear again",
    "crank failed",
    "swap skipped",
    "level signal frozen",
    "level signal lost",
    "level signal right",
    "level signal distrusted",
    "level signal trusted",
)
NEW_CAUSES = (
    "maximum run time",
    "backup start float",
    "backup stop float",
    "high temperature",
    "resting, or at the starts-per-hour limit",
    "power back",
)


def test_every_run_keeps_the_rules_of_protection_and_all_that_is_new_is_met() -> None:
    met: Counter[str] = Counter()

    @given(any_run)
    @settings(FEW, max_examples=300)
    def every_run(run: Run) -> None:
        story = check_protection(run)
        for row in story.trace.events:
            met[row.event] += 1
            met.update({cause for cause in NEW_CAUSES if cause in row.cause})
        met["tripped by itself"] += sum(
            row.stopped_by == "high temperature"
            and not any(abs(e.at_s - row.stop_s) < INSTANT for e in run[1].events)
            for row in story.trace.runs
        )
        met["rain"] += len(run[1].inflow) > 1

    every_run()
    wanted = (*NEW_WORDS, *NEW_CAUSES, "tripped by itself", "rain")
    assert {word: met[word] for word in wanted if met[word] < 2} == {}


@pytest.mark.slow
@given(any_run)
@MANY
def test_every_run_keeps_the_rules_of_protection_of_many(run: Run) -> None:
    check_protection(run)


def test_the_kinds_that_are_drawn_are_known_to_an_episode() -> None:
    from typing import get_args

    from stationsim.episode import EventKind

    # the others are tried in pairs, by the catalogue
    assert set(ALL_KINDS) < set(get_args(EventKind))


# ------------------------------------------------------------------ found by the above


@pytest.mark.parametrize("delays", [{"start_delay_s": 10.0}, {"stop_delay_s": 10.0}])
def test_no_level_signal_is_neither_above_a_start_nor_below_a_stop(
    delays: dict[str, float],
) -> None:
    station = duplex(levels={"stop_m": 0.7, "lead_start_m": 1.5, **delays})
    lost = ScriptedEvent(10.0, "level signal lost", SENSOR)
    idle = Session(station, episode(4 * HOUR, 0.02, lost, start_level_m=0.8)).finish().trace
    assert not idle.runs
    lost = ScriptedEvent(60.0, "level signal lost", SENSOR)
    going = Session(station, episode(HOUR, 0.02, lost, start_level_m=1.6)).finish().trace
    assert [row.stopped_by for row in going.runs] == ["end of run"]


def test_a_pump_told_to_stop_takes_over_from_one_that_has_run_too_long() -> None:
    # both run from 2.60 m down to the lag stop at 2.30 m: 3 m3 at 5 L/s, twice the longest run
    levels = {"stop_policy": "last on, first off", "lag_stop_m": 2.3, "max_run_s": 300.0}
    station = duplex((0.03, 0.03), levels=levels)
    trace = Session(station, episode(HOUR, 0.055, start_level_m=2.6)).finish().trace
    one, two, three = sorted(trace.runs, key=lambda r: (r.start_s, r.machine))[:3]
    assert (one.start_s, two.start_s) == (0.0, 0.0)
    assert two.stop_s == pytest.approx(600.0, abs=1e-6)
    assert two.stopped_by.startswith("level at lag stop")
    assert one.stop_s == pytest.approx(two.stop_s, abs=1e-5)
    assert (three.machine, three.started_by) == (1, "takes over from P1, maximum run time")

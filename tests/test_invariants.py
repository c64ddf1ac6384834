"""What must hold in every run, whatever stands there and whatever happens to it.

The rules are read from the script of the episode, not from what the simulation says of itself.
"""

from __future__ import annotations

import dataclasses
import math
from collections import defaultdict
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from station_strategies import PointInflow, between, runs

from stationsim.control.contract import ControlPlan, rotation_class
from stationsim.control.rotation import ClockSettings, NoSettings
from stationsim.control.staging import StagingSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import ActionError
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.physics.well import Well, box
from stationsim.signals import PumpSeen, Snapshot
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.trace import Trace, sample

Run = tuple[Station, Episode]
HOURS = 5.0
INSTANT = 1e-6

FEW = settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
MANY = settings(FEW, max_examples=1500)

any_run = st.one_of(runs(hours=HOURS), runs(hours=HOURS), runs(curved=True, hours=2.0))


def ran(run: Run) -> Trace:
    return Session(*run).finish().trace


def rows(trace: Trace) -> list[str]:
    """Return every row and leg, to the last bit (how often the balance was asked may differ)."""
    kept = [
        trace.leg_t_s,
        trace.leg_v_m3,
        trace.leg_lineup,
        [(x.running, x.edge_m3, x.out_m3s, x.out_slope) for x in trace.lineups],
        trace.runs,
        trace.events,
        trace.alarms,
        trace.spills,
        trace.power,
        trace.unavailable,
        trace.trips,
        trace.signal,
        trace.decisions,
        (trace.inflow_m3, trace.pumped_m3, trace.spilled_m3, trace.other_m3),
        (trace.start_m3, trace.end_m3, trace.end_s),
        (trace.least_level_m, trace.greatest_level_m),
        (trace.least_level_s, trace.greatest_level_s),
    ]
    return [repr(x) for x in kept]


def overlap(a: tuple[float, float], b: tuple[float, float]) -> float:
    return min(a[1], b[1]) - max(a[0], b[0])


def off_spans(episode: Episode, name: str) -> list[tuple[float, float]]:
    """Return when the selector of a machine stands in off."""
    spans, since = [], None
    for event in sorted(episode.events, key=lambda e: e.at_s):
        if event.subject != name or event.kind not in ("hand", "off", "auto"):
            continue
        if event.kind == "off" and since is None:
            since = event.at_s
        elif event.kind != "off" and since is not None:
            spans.append((since, event.at_s))
            since = None
    return spans if since is None else [*spans, (since, math.inf)]


def forbidden(run: Run, machine: int) -> list[tuple[float, float]]:
    """Return spans in which a machine may not run, from the script alone."""
    station, episode = run
    name = station.machine_names()[machine]
    electric = machine < len(station.pumps)
    spans = off_spans(episode, name)
    for event in episode.events:
        over = math.inf if event.duration_s is None else event.at_s + event.duration_s
        if event.kind == "grid loss" and electric:
            spans.append((event.at_s, over))
        if event.subject != name:
            continue
        if event.kind == "out of service":
            spans.append((event.at_s, over))
        elif event.kind in ("fails", "high temperature"):
            resets = [
                e.at_s
                for e in episode.events
                if e.kind == "reset" and e.subject == name and e.at_s >= event.at_s
            ]
            if event.duration_s is None or not event.resets_itself:  # waits for a reset by hand
                least = event.at_s if event.duration_s is None else over
                over = min((t for t in resets if t >= least), default=math.inf)
            spans.append((event.at_s, over))
        elif event.kind == "seal leak" and electric:
            leaks = (event.at_s, over)
            spans += [leaks] if station.pumps[machine].seal_leak == "stop" else []
    return spans


def check_that_it_may_run(run: Run, trace: Trace) -> None:
    station, _episode = run
    for row in trace.runs:
        for span in forbidden(run, row.machine):
            assert overlap((row.start_s, row.stop_s), span) <= INSTANT, (row, span)
    by_machine = defaultdict(list)
    for row in sorted(trace.runs, key=lambda r: r.start_s):
        by_machine[row.machine].append(row)
    for machine, listed in by_machine.items():
        rest = station.pumps[machine].min_off_s if machine < len(station.pumps) else 0.0
        for one, two in pairwise(listed):
            assert two.start_s - one.stop_s >= rest - INSTANT


def check_water(run: Run, trace: Trace) -> None:
    station, episode = run
    plain = station.spillway is not None and station.spillway.length_m is None
    cap = math.inf
    if plain and station.spillway is not None:
        cap = station.well.volume_at(station.spillway.crest_m)
        assert trace.greatest_level_m <= station.spillway.crest_m + 1e-9
    assert trace.least_level_m >= 0.0
    times = np.linspace(0.0, episode.duration_s, 301)
    seen = sample(trace, cap, times)
    assert seen.volume_m3.min() >= 0.0
    assert seen.volume_m3.max() <= cap
    least = station.well.volume_at(trace.least_level_m)
    greatest = station.well.volume_at(trace.greatest_level_m)
    assert seen.volume_m3.min() >= least - 1e-9
    assert seen.volume_m3.max() <= greatest + 1e-9
    assert min(seen.pumped_m3s.min(), seen.spill_m3s.min()) >= -1e-12

    assert trace.balance_error <= 1e-9
    pumped = math.fsum(row.volume_m3 for row in trace.runs)
    spilled = math.fsum(row.volume_m3 for row in trace.spills)
    assert min((row.volume_m3 for row in [*trace.runs, *trace.spills]), default=0.0) >= 0.0
    handled = trace.inflow_m3 + pumped + spilled
    left = trace.inflow_m3 - pumped - spilled - (trace.end_m3 - trace.start_m3)
    assert abs(left) <= 1e-9 * max(handled, 1.0)
    assert trace.end_m3 == pytest.approx(float(seen.volume_m3[-1]), abs=1e-9)


def check_spans(run: Run, trace: Trace) -> None:
    station, episode = run
    end = episode.duration_s
    sources = defaultdict(list)
    for row in trace.power:
        sources[row.source].append(row)
    engine = station.engine_pump
    assert set(sources) == {"grid", *(() if engine is None else (engine.pump.name,))}
    for listed in sources.values():
        assert (listed[0].start_s, listed[-1].stop_s) == (0.0, end)
        for one, two in pairwise(listed):
            assert one.stop_s == two.start_s
            assert one.state != two.state
    assert trace.leg_t_s[0] == 0.0
    assert all(a < b for a, b in pairwise(trace.leg_t_s))
    for spans in (
        [((row.machine,), row.start_s, row.stop_s) for row in trace.unavailable],
        [((row.machine,), row.start_s, row.stop_s) for row in trace.runs],
        [((), row.start_s, row.stop_s) for row in trace.spills],
        [
            (
                (row.alarm, row.subject),
                row.raised_s,
                end if math.isnan(row.cleared_s) else row.cleared_s,
            )
            for row in trace.alarms
        ],
    ):
        grouped: dict[Any, list[tuple[float, float]]] = defaultdict(list)
        for key, start, stop in spans:
            assert 0.0 <= start <= stop <= end
            grouped[key].append((start, stop))
        for group in grouped.values():
            assert all(a[1] <= b[0] for a, b in pairwise(sorted(group)))
    assert all(a.t_s <= b.t_s for a, b in pairwise(trace.events))


def check_runs(run: Run, trace: Trace, session: Session) -> None:
    station, episode = run
    lineups = {x: set(lineup.running) for x, lineup in enumerate(trace.lineups)}
    ends = [*trace.leg_t_s[1:], episode.duration_s]
    for machine in session._plant.machines:
        listed = [row for row in trace.runs if row.machine == machine.index]
        hours = math.fsum(row.stop_s - row.start_s for row in listed)
        assert hours == pytest.approx(machine.hours_s, abs=1e-6)
        assert len(listed) == machine.starts
        by_legs = math.fsum(
            stop - start
            for start, stop, which in zip(trace.leg_t_s, ends, trace.leg_lineup, strict=True)
            if machine.index in lineups[which]
        )
        assert hours == pytest.approx(by_legs, abs=1e-6)
    controller: Any = session._plant.controller
    order = getattr(controller, "inner", controller).order
    assert sorted(order) == list(range(len(station.pumps)))


def check_all(run: Run) -> None:
    session = Session(*run)
    trace = session.finish().trace
    check_that_it_may_run(run, trace)
    check_water(run, trace)
    check_spans(run, trace)
    check_runs(run, trace, session)


@given(any_run)
@FEW
def test_every_run_keeps_the_rules(run: Run) -> None:
    check_all(run)


@pytest.mark.slow
@given(any_run)
@MANY
def test_every_run_keeps_the_rules_of_many(run: Run) -> None:
    check_all(run)


# ------------------------------------------------------------------ the same bytes


@given(runs(hours=HOURS))
@settings(FEW, max_examples=10)
def test_equal_seeds_give_equal_rows(run: Run) -> None:
    assert rows(ran(run)) == rows(ran(run))


moments = st.lists(between(1.0, HOURS * 3600.0 - 1.0), min_size=1, max_size=12, unique=True)


def check_pieces(run: Run, times: list[float]) -> None:
    session = Session(*run)
    for t in sorted(times):
        session.advance(t)
        level = session.level_m
        assert session.level_m == level
        assert set(session.running) <= set(run[0].machine_names())
    assert rows(session.finish().trace) == rows(ran(run))


@given(runs(hours=HOURS), moments)
@FEW
def test_in_pieces_with_peeking_equals_in_one_go(run: Run, times: list[float]) -> None:
    check_pieces(run, times)


@pytest.mark.slow
@given(st.one_of(runs(hours=HOURS), runs(curved=True, hours=HOURS)), moments)
@settings(MANY, max_examples=400)
def test_in_pieces_with_peeking_equals_in_one_go_of_many(run: Run, times: list[float]) -> None:
    check_pieces(run, times)


@given(runs(hours=HOURS))
@settings(FEW, max_examples=15)
def test_stopping_at_each_notice_equals_in_one_go(run: Run) -> None:
    session = Session(*run)
    for _ in range(10_000):
        if session.done:
            break
        session.advance()
    assert session.done
    assert rows(session.finish().trace) == rows(ran(run))


acts = st.lists(
    st.tuples(
        between(1.0, HOURS * 3600.0 - 1.0),
        st.sampled_from(["hand", "off", "auto", "reset"]),
        st.integers(0, 4),
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda x: x[0],
)


@given(runs(hours=HOURS), acts)
@FEW
def test_replay_of_an_acted_session_equals_it(run: Run, acted: list[Any]) -> None:
    station, episode = run
    session = Session(station, episode)
    names = station.machine_names()
    for t, verb, which in sorted(acted):
        session.advance(t)
        session.act(verb, names[which % len(names)])
    acted_rows = rows(session.finish().trace)
    again = session.replay()
    assert len(again.events) == len(episode.events) + len(acted)
    assert rows(ran((station, again))) == acted_rows


@given(runs(hours=HOURS), between(1.0, HOURS * 3600.0 - 1.0))
@FEW
def test_resuming_a_frozen_session_equals_going_on(run: Run, t: float) -> None:
    session = Session(*run)
    session.advance(t)
    try:
        state = session.freeze()
    except ActionError:
        assume(False)  # a story is open
    twins = [Session.resume(state), Session.resume(state)]
    assert twins[0].level_m == session.level_m
    assert twins[0].now_s == session.now_s
    whole = rows(ran(run))
    assert rows(session.finish().trace) == whole  # freezing changes nothing
    twins[0].advance(min(t + 777.7, run[1].duration_s))
    for twin in twins:
        assert rows(twin.finish().trace) == whole


# ------------------------------------------------------------------ rotations


@given(
    st.lists(between(0.0, 1e6), min_size=1, max_size=5),
    st.sampled_from(["each cycle", "run hours", "clock", "fixed"]),
    st.lists(
        st.tuples(st.sampled_from(["all stopped", "power lost", "time"]), between(0.0, 9e4)),
        max_size=8,
    ),
)
@settings(FEW, max_examples=100)
@example([5.0, 5.0, 5.0], "run hours", [("all stopped", 10.0)])
def test_every_rotation_answers_a_permutation(
    hours: list[float], name: str, asked: list[tuple[Any, float]]
) -> None:
    given_settings: Any = ClockSettings(every_s=1234.5) if name == "clock" else NoSettings()
    rotation = rotation_class(name)(given_settings)
    order = tuple(range(len(hours)))
    now = 0.0
    for occasion, later in asked:
        now += later
        pumps = tuple(
            PumpSeen(f"P{n}", False, True, h, 1, now - 9.0, now - 5.0, 0.0)
            for n, h in enumerate(hours)
        )
        seen = Snapshot(1.0, pumps, True, now + 333.0)
        assert rotation.next_time_s(now, seen) >= now
        order = rotation.order(occasion, now, seen, order)
        assert sorted(order) == list(range(len(hours)))


# ------------------------------------------------------------------ places where it is awkward


def bare(pump: PumpUnit, **more: Any) -> Station:
    plan = ControlPlan(
        "staging", StagingSettings(lead_start_m=1.0, stop_m=0.4), "fixed", NoSettings()
    )
    return Station("Reed Bank", Well((box(2.0, 1.0),)), (pump,), plan, **more)


def over(inflow: PointInflow, level_m: float, *events: ScriptedEvent) -> Episode:
    start = datetime(2027, 3, 1, tzinfo=UTC)
    return Episode(start, 7200.0, (inflow,), level_m, tuple(events))


def test_pump_that_cannot_lift_in_an_empty_well_moves_nothing() -> None:
    weak = PumpUnit("P1", curve=HeadCurve.from_coefficients(5.0, 0.0, -900.0))
    station = bare(weak, force_main=ForceMain((Pipe(10.0, 0.1),), 9.0))
    episode = over(PointInflow((0.0,), (0.0,), False), 0.0, ScriptedEvent(60.0, "hand", "P1"))
    trace = ran((station, episode))
    assert [row.volume_m3 for row in trace.runs] == [0.0]
    assert trace.end_m3 == 0.0


def test_pump_in_hand_runs_the_well_dry_and_takes_what_arrives() -> None:
    station = bare(PumpUnit("P1", fixed_flow_m3s=0.01))
    episode = over(PointInflow((0.0,), (0.002,), False), 0.5, ScriptedEvent(0.0, "hand", "P1"))
    trace = ran((station, episode))
    # 1 m3 in the well and 0.002 m3/s for two hours
    assert math.fsum(row.volume_m3 for row in trace.runs) == pytest.approx(1.0 + 14.4, abs=1e-9)
    assert trace.least_level_m == 0.0
    assert "well empty" in [row.event for row in trace.events]


def test_spill_ends_when_the_inflow_steps_down_and_an_event_falls_on_that_instant() -> None:
    from stationsim.physics.spill import Spillway

    station = bare(PumpUnit("P1", fixed_flow_m3s=0.01), spillway=Spillway(1.5))
    steps = PointInflow((0.0, 1800.0), (0.05, 0.001), True)
    for events in ((), (ScriptedEvent(1800.0, "seal leak", "P1", 60.0),)):
        trace = ran((station, over(steps, 0.5, *events)))
        assert [row.stop_s for row in trace.spills] == [1800.0]
        assert trace.balance_error <= 1e-9


def test_same_run_under_another_seed_differs_in_nothing_that_is_not_random() -> None:
    station = bare(PumpUnit("P1", fixed_flow_m3s=0.01))
    episode = over(PointInflow((0.0,), (0.004,), False), 0.5)
    other = dataclasses.replace(episode, seed=99)
    assert rows(ran((station, episode))) == rows(ran((station, other)))

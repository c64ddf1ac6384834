"""The engine-driven pump: its own start rule, its delay, its fuel, and what ends a run of it.

10 L/s in, 10 m2, engine-driven pump 40 L/s, start 3.2 m, stop 1.2 m, 60 s from the call to full
flow. From 1.0 m with the grid out: called after 2200 s, running after 2260 s at 3.26 m, down to the
stop level after another 2.06 m / 0.003 m/s = 686.667 s. Own closed forms, worked by hand.
The start rule is common practice (no source); the rest is this project's own, as documented.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.physics.spill import Spillway
from stationsim.simulation.session import Session
from stationsim.testing import duplex, engine_pump, episode
from stationsim.trace import PumpRun, Trace

UP_S = 2260.0
DOWN_S = UP_S + 2.06 / 0.003
ABS = 1e-6


def event(
    at_s: float, kind: EventKind, subject: str, lasts_s: float | None = None
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, lasts_s)


def outage(at_s: float = 0.0, lasts_s: float | None = None) -> ScriptedEvent:
    return event(at_s, "grid loss", "grid", lasts_s)


def run(
    *events: ScriptedEvent, duration_s: float = 4000.0, level_m: float = 1.0, **engine: Any
) -> tuple[Session, Trace]:
    # the crest stands above all that these cases reach
    station = replace(duplex(engine_pump=engine_pump(**engine)), spillway=Spillway(6.0))
    session = Session(station, episode(duration_s, 0.01, *events, start_level_m=level_m))
    trace = session.finish().trace
    assert trace.balance_error < 1e-9
    return session, trace


def engine_runs(trace: Trace) -> list[PumpRun]:
    return [r for r in trace.runs if r.machine == 2]


def engine_states(trace: Trace) -> list[tuple[str, float, str]]:
    return [(p.state, round(p.start_s, 6), p.cause) for p in trace.power if p.source == "E1"]


def words(trace: Trace, subject: str = "E1") -> list[tuple[float, str, str]]:
    return [(round(e.t_s, 6), e.event, e.cause) for e in trace.events if e.subject == subject]


def test_it_starts_after_its_delay_and_runs_to_its_stop_level() -> None:
    _session, trace = run(outage())
    (only,) = engine_runs(trace)
    assert (only.role, only.energy_j) == ("engine-driven", 0.0)
    assert only.start_s == pytest.approx(UP_S, abs=ABS)
    assert only.stop_s == pytest.approx(DOWN_S, abs=ABS)
    assert only.volume_m3 == pytest.approx(0.04 * (DOWN_S - UP_S), rel=1e-9)
    assert only.started_by.startswith("grid out, level at start 3.2")
    assert only.stopped_by.startswith("level at stop 1.2")
    assert trace.greatest_level_m == pytest.approx(3.26, abs=1e-9)
    assert [(state, at) for state, at, _cause in engine_states(trace)] == [
        ("stopped", 0.0),
        ("starting", 2200.0),
        ("running", UP_S),
        ("stopped", round(DOWN_S, 6)),
    ]
    assert [word for _t, word, _cause in words(trace)] == ["engine called", "start", "stop"]


def test_power_intervals_of_each_source_tile_the_run() -> None:
    _session, trace = run(outage(100.0, 2500.0))
    for source in ("grid", "E1"):
        spans = [(p.start_s, p.stop_s) for p in trace.power if p.source == source]
        assert spans[0][0] == 0.0
        assert spans[-1][1] == 4000.0
        assert all(a[1] == b[0] for a, b in itertools.pairwise(spans))


def test_without_a_delay_it_runs_at_its_start_level() -> None:
    _session, trace = run(outage(), start_delay_s=0.0)
    assert engine_runs(trace)[0].start_s == pytest.approx(2200.0, abs=ABS)
    assert trace.greatest_level_m == pytest.approx(3.2, abs=1e-9)


def test_it_does_not_start_while_the_grid_is_on() -> None:
    # both electric pumps out: the level climbs past its start level, but the grid is on
    _session, trace = run(event(0.0, "off", "P1"), event(0.0, "off", "P2"))
    assert engine_runs(trace) == []
    assert trace.greatest_level_m > 3.2


def test_a_grid_loss_with_the_level_already_high_calls_it_at_once() -> None:
    off = (event(0.0, "off", "P1"), event(0.0, "off", "P2"))
    _session, trace = run(*off, outage(3000.0), level_m=1.0)
    assert engine_runs(trace)[0].start_s == pytest.approx(3060.0, abs=ABS)


def test_it_starts_again_when_the_level_is_back_at_its_start_level() -> None:
    _session, trace = run(outage(), duration_s=7000.0)
    first, second = engine_runs(trace)
    assert second.start_s - first.stop_s == pytest.approx(2000.0 + 60.0, abs=ABS)


# ---------------------------------------------------------------------- the grid is back


def test_it_runs_on_to_its_stop_level_when_the_grid_is_back() -> None:
    _session, trace = run(outage(0.0, 2400.0))
    (only,) = engine_runs(trace)
    assert only.stopped_by.startswith("level at stop 1.2")
    # at 2400 s: 3.26 - 140 * 0.003 = 2.84 m, above both starts: 100 L/s against 10
    level_m = 3.26 - (2400.0 - UP_S) * 0.003
    assert only.stop_s == pytest.approx(2400.0 + (level_m - 1.2) / 0.009, abs=ABS)
    assert sorted(r.start_s for r in trace.runs if r.machine < 2)[:2] == [2400.0, 2400.0]


def test_it_stops_when_the_grid_is_back_if_that_is_its_rule() -> None:
    _session, trace = run(outage(0.0, 2400.0), at_grid_return="stop")
    (only,) = engine_runs(trace)
    assert (only.stop_s, only.stopped_by) == (2400.0, "grid back")
    assert engine_states(trace)[-1] == ("stopped", 2400.0, "grid back")


def test_a_call_is_given_up_when_the_grid_returns_within_the_delay() -> None:
    _session, trace = run(outage(0.0, 2230.0))
    assert engine_runs(trace) == []
    assert [(word, cause) for _t, word, cause in words(trace)][-1] == (
        "call given up",
        "grid back",
    )
    assert engine_states(trace)[-1][0] == "stopped"
    assert {r.start_s for r in trace.runs[:2]} == {2230.0}


def test_a_later_outage_calls_it_again_after_a_call_given_up() -> None:
    off = (event(0.0, "off", "P1"), event(0.0, "off", "P2"))
    _session, trace = run(*off, outage(0.0, 2230.0), outage(2500.0))
    assert [round(r.start_s, 6) for r in engine_runs(trace)] == [2560.0]


# ---------------------------------------------------------------------- fuel


def test_fuel_burnt_is_time_run_by_rate() -> None:
    session, trace = run(outage(), fuel_m3_per_s=2e-6, tank_m3=0.1, duration_s=7000.0)
    engine = session._plant.engine
    assert engine is not None
    ran_s = sum(r.stop_s - r.start_s for r in engine_runs(trace))
    assert len(engine_runs(trace)) == 2
    assert engine.fuel_m3 == pytest.approx(0.1 - 2e-6 * ran_s, rel=1e-12)
    assert ran_s == pytest.approx(2.0 * (DOWN_S - UP_S), abs=1e-5)


def test_out_of_fuel_stops_it_with_an_alarm_and_it_stays_stopped() -> None:
    _session, trace = run(outage(), fuel_m3_per_s=2e-6, tank_m3=2e-6 * 300.0, duration_s=8000.0)
    (only,) = engine_runs(trace)
    assert only.stop_s - only.start_s == pytest.approx(300.0, abs=ABS)
    assert only.stopped_by == "out of fuel"
    assert [
        (a.subject, round(a.raised_s, 6)) for a in trace.alarms if a.alarm == "engine failed"
    ] == [("E1", UP_S + 300.0)]
    assert engine_states(trace)[-1] == ("out of fuel", UP_S + 300.0, "tank empty")
    assert (UP_S + 300.0, "out of fuel", "tank empty") in words(trace)


def test_a_tank_lasts_over_several_runs() -> None:
    first_s = DOWN_S - UP_S
    _session, trace = run(
        outage(), fuel_m3_per_s=2e-6, tank_m3=2e-6 * (first_s + 100.0), duration_s=8000.0
    )
    first, second = engine_runs(trace)
    assert first.stop_s - first.start_s == pytest.approx(first_s, abs=ABS)
    assert second.stop_s - second.start_s == pytest.approx(100.0, abs=1e-5)
    assert second.stopped_by == "out of fuel"


# ---------------------------------------------------------------------- trouble and hands


def test_it_fails_in_mid_run_and_starts_again_when_reset() -> None:
    _session, trace = run(outage(), event(2300.0, "fails", "E1", 600.0))
    first, second = engine_runs(trace)
    assert (first.stop_s, first.stopped_by) == (2300.0, "pump failed")
    assert [(a.alarm, a.subject, a.raised_s, a.cleared_s) for a in trace.alarms][-1] == (
        "engine failed",
        "E1",
        2300.0,
        2900.0,
    )
    # 3.14 m at 2300 s, back at 3.2 m 60 s later: called the moment it is free again
    assert second.start_s == pytest.approx(2960.0, abs=ABS)
    assert ("failed", 2300.0, "pump failed") in engine_states(trace)
    assert [(u.machine, u.start_s, u.stop_s) for u in trace.unavailable] == [(2, 2300.0, 2900.0)]


def test_one_that_has_failed_is_not_called() -> None:
    _session, trace = run(outage(), event(100.0, "fails", "E1"))
    assert engine_runs(trace) == []
    assert all(word != "engine called" for _t, word, _cause in words(trace))


def test_one_that_fails_during_its_start_does_not_run() -> None:
    _session, trace = run(outage(), event(2230.0, "fails", "E1"))
    assert engine_runs(trace) == []
    assert words(trace)[-1][1:] == ("call given up", "pump failed")


def test_off_keeps_it_from_starting_and_stops_it() -> None:
    _session, trace = run(outage(), event(100.0, "off", "E1"))
    assert engine_runs(trace) == []
    _session, trace = run(outage(), event(2400.0, "off", "E1"))
    assert [(r.stop_s, r.stopped_by) for r in engine_runs(trace)] == [(2400.0, "selector in off")]


def test_in_hand_it_runs_with_the_grid_on_and_past_its_stop_level() -> None:
    _session, trace = run(event(100.0, "hand", "E1"), duration_s=1000.0)
    (only,) = engine_runs(trace)
    assert (only.start_s, only.stop_s) == (160.0, 1000.0)
    assert only.started_by == "selector in hand"
    assert trace.least_level_m == 0.0


def test_back_in_auto_below_its_stop_level_it_stops() -> None:
    _session, trace = run(event(100.0, "hand", "E1"), event(200.0, "auto", "E1"), duration_s=1000.0)
    assert [(r.start_s, r.stop_s) for r in engine_runs(trace)] == [(160.0, 200.0)]
    assert engine_runs(trace)[0].stopped_by.startswith("level at stop")


def test_out_of_service_in_mid_run_stops_it() -> None:
    _session, trace = run(outage(), event(2400.0, "out of service", "E1", 300.0))
    assert (engine_runs(trace)[0].stop_s, engine_runs(trace)[0].stopped_by) == (
        2400.0,
        "out of service",
    )

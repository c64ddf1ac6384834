"""Pumps that do not start, pumps that are partly clogged, engines that crank in vain."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from stationsim.episode import ScriptedEvent
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, engine_pump, episode
from stationsim.trace import Trace

HOUR = 3600.0


def run(station: Station, hours: float, *events: ScriptedEvent, inflow: Any = 0.02) -> Trace:
    trace = Session(station, episode(hours * HOUR, inflow, *events)).finish().trace
    assert trace.balance_error < 1e-12
    return trace


def waiting(station: Station, seconds: float) -> Station:
    pumps = tuple(replace(pump, fail_to_start_s=seconds) for pump in station.pumps)
    return replace(station, pumps=pumps)


def told(trace: Trace, subject: str) -> list[tuple[float, str, str]]:
    return [(row.t_s, row.event, row.cause) for row in trace.events if row.subject == subject]


def test_a_pump_that_does_not_start_is_failed_after_its_time_and_the_next_one_runs() -> None:
    station = waiting(duplex(), 10.0)
    trace = run(station, 6.0, ScriptedEvent(0.0, "fails to start", "P1"))
    called = 500.0  # (2.00 - 1.00) m x 10 m2 / 20 L/s
    assert (called, "no run signal", "called, does not start") in told(trace, "P1")
    assert (called + 10.0, "trip", "pump failed") in told(trace, "P1")
    first = trace.runs[0]
    assert first.machine == 1
    assert first.start_s == pytest.approx(called + 10.0, abs=1e-9)
    assert {r.machine for r in trace.runs} == {1}
    (alarm,) = [row for row in trace.alarms if row.alarm == "pump failed"]
    assert alarm.raised_s == called + 10.0
    assert trace.trips == [1, 0]


def test_a_reset_frees_it_and_it_fails_again_until_it_has_been_repaired() -> None:
    events = [
        ScriptedEvent(0.0, "fails to start", "P1", 3 * HOUR),
        ScriptedEvent(2 * HOUR, "reset", "P1"),
        ScriptedEvent(4 * HOUR, "reset", "P1"),
    ]
    trace = run(waiting(duplex(), 10.0), 8.0, *events)
    trips = [t for t, event, _cause in told(trace, "P1") if event == "trip"]
    assert len(trips) == 2
    assert trips[1] > 2 * HOUR
    assert min(r.start_s for r in trace.runs if r.machine == 0) > 4 * HOUR


def test_in_hand_it_is_called_once_and_not_at_every_turn() -> None:
    events = [
        ScriptedEvent(0.0, "fails to start", "P1"),
        ScriptedEvent(60.0, "hand", "P1"),
    ]
    trace = run(waiting(duplex(), 30.0), 4.0, *events)
    assert [t for t, event, _c in told(trace, "P1") if event == "no run signal"] == [60.0]


def test_a_clogged_pump_moves_its_part_and_is_clear_again_after_its_time() -> None:
    station = duplex((0.03,), levels={"lag_start_m": None})
    clogged = replace(ScriptedEvent(0.0, "clogged", "P1", 3 * HOUR), flow_left=0.8)
    trace = run(station, 6.0, clogged, inflow=0.012)
    for r in trace.runs:
        if r.stop_s < 3 * HOUR:
            assert r.volume_m3 / (r.stop_s - r.start_s) == pytest.approx(0.024, rel=1e-9)
        elif r.start_s > 3 * HOUR:
            assert r.volume_m3 / (r.stop_s - r.start_s) == pytest.approx(0.030, rel=1e-9)
    assert ("clear again", "work done") in [(e, c) for _t, e, c in told(trace, "P1")]


def test_clogged_in_mid_run_bends_the_run_there_and_nowhere_else() -> None:
    station = duplex((0.03,), levels={"lag_start_m": None})
    clogged = replace(ScriptedEvent(700.0, "clogged", "P1"), flow_left=0.9)
    trace = run(station, 2.0, clogged, inflow=0.02)
    first = trace.runs[0]
    # started at 500 s; 200 s at 30 L/s take the level down by 0.2 m, the rest goes at 7 L/s net
    assert first.start_s == 500.0
    assert first.stop_s == pytest.approx(700.0 + (10.0 - 2.0) / 0.007, rel=1e-9)


def cut(at_s: float, for_s: float) -> ScriptedEvent:
    return ScriptedEvent(at_s, "grid loss", "grid", for_s)


def cranking(**more: Any) -> Station:
    what = engine_pump(
        start_delay_s=5.0,
        crank_tries=3,
        crank_s=10.0,
        crank_rest_s=20.0,
        warm_up_s=15.0,
        prime_s=60.0,
    )
    return duplex(engine_pump=replace(what, **more))


def test_an_engine_cranks_warms_up_and_primes_before_it_pumps() -> None:
    trace = run(cranking(), 4.0, cut(1000.0, 2 * HOUR))
    called = next(t for t, event, _c in told(trace, "E1") if event == "engine called")
    first = next(r for r in trace.runs if r.machine == 2)
    assert first.start_s == pytest.approx(called + 5.0 + 10.0 + 15.0 + 60.0, abs=1e-6)


def test_an_engine_that_does_not_fire_gives_up_after_its_tries_and_is_failed() -> None:
    trace = run(cranking(), 4.0, ScriptedEvent(0.0, "fails to start", "E1"), cut(1000.0, 2 * HOUR))
    called = next(t for t, event, _c in told(trace, "E1") if event == "engine called")
    cranks = [t for t, event, _c in told(trace, "E1") if event == "crank failed"]
    assert cranks == pytest.approx([called + 15.0, called + 45.0, called + 75.0], abs=1e-6)
    assert any(row.alarm == "engine failed" for row in trace.alarms)
    assert [row.state for row in trace.power if row.source == "E1"] == [
        "stopped",
        "starting",
        "failed",
    ]


def test_an_engine_that_fires_at_the_second_try_runs() -> None:
    events = [ScriptedEvent(0.0, "fails to start", "E1", 1600.0), cut(1000.0, 2 * HOUR)]
    station = cranking(start_level_m=1.6)
    reference = run(station, 4.0, events[1])
    called = next(t for t, event, _c in told(reference, "E1") if event == "engine called")
    events[0] = replace(events[0], duration_s=called + 30.0)  # mended during the first rest
    trace = run(station, 4.0, *events)
    assert len([1 for _t, event, _c in told(trace, "E1") if event == "crank failed"]) == 1
    first = next(r for r in trace.runs if r.machine == 2)
    assert first.start_s == pytest.approx(called + 15.0 + 30.0 + 75.0, abs=1e-6)


def test_the_grid_that_comes_back_while_it_cranks_ends_the_start() -> None:
    trace = run(cranking(start_level_m=1.2), 3.0, cut(1000.0, 30.0))
    if any(event == "engine called" for _t, event, _c in told(trace, "E1")):
        assert any(event == "call given up" for _t, event, _c in told(trace, "E1"))
    assert not any(r.machine == 2 for r in trace.runs)

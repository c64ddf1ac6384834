"""Exercise runs: who is run, for how long, what ends it, and what it finds.

Two pumps of 30 L/s in a tank of 10 m2, stop 1.0 m, lead start 2.0 m, an engine-driven pump of
40 L/s that stops at 1.2 m; nothing arrives unless it is said. Worked by hand; the rules are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from stationsim import vocabulary
from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.exercise import Exercise
from stationsim.equipment.power import GeneratorSet, StandbyPower, TransferSwitch
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings, Station
from stationsim.testing import duplex, engine_pump, episode
from stationsim.trace import Trace
from stationsim.wording import sentences

ABS = 1e-6
WEEKLY = Exercise(600.0, 10_000.0, pump_s=10.0, engine_s=30.0, generator_s=120.0)
ENGINE = engine_pump(
    start_delay_s=2.0, crank_s=3.0, crank_rest_s=5.0, crank_tries=2, warm_up_s=10.0, prime_s=5.0,
    fuel_m3_per_s=1e-6, tank_m3=1.0,
)  # fmt: skip
SET = GeneratorSet(crank_s=5.0, run_up_s=7.0, fuel_loads=(0.0,), fuel_rates_m3_per_s=(1e-6,))
POWER = StandbyPower(SET, TransferSwitch(3.0, 2.0, 300.0, 4.0, 60.0), boot_s=20.0)


def happens(
    at_s: float, kind: EventKind, subject: str, lasts_s: float | None = None
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, lasts_s)


def loss(at_s: float, lasts_s: float) -> ScriptedEvent:
    return happens(at_s, "grid loss", "grid", lasts_s)


def station(exercise: Exercise = WEEKLY, **more: Any) -> Station:
    given: dict[str, Any] = {"engine_pump": ENGINE, "standby_power": POWER, **more}
    return replace(duplex(**given), alarms=AlarmSettings(), exercise=exercise)


def run(
    *events: ScriptedEvent,
    what: Station | None = None,
    duration_s: float = 3000.0,
    inflow: float = 0.0,
    level_m: float = 1.8,
    start: datetime = datetime(2027, 3, 1, tzinfo=UTC),
) -> Trace:
    given = episode(duration_s, inflow, *events, start_level_m=level_m, start=start)
    trace = simulate(what or station(), given).trace
    assert trace.balance_error < 1e-9
    return trace


def told(trace: Trace) -> list[tuple[Any, str, str, str]]:
    return [
        (pytest.approx(e.t_s, abs=ABS), e.subject, e.event.removeprefix("exercise "), e.cause)
        for e in trace.events
        if e.event.startswith("exercise")
    ]


def in_vain(trace: Trace) -> list[tuple[Any, str, str]]:
    near = pytest.approx
    rows = [e for e in trace.events if e.event == "moved nothing"]
    return [(near(e.t_s, abs=ABS), e.subject, e.cause) for e in rows]


def runs(trace: Trace) -> list[tuple[int, str, Any, Any]]:
    near = pytest.approx
    return [
        (r.machine, r.role, near(r.start_s, abs=ABS), near(r.stop_s, abs=ABS))
        for r in sorted(trace.runs, key=lambda r: r.start_s)
    ]


def ends(trace: Trace) -> list[tuple[str, str]]:
    return [(e.subject, e.cause) for e in trace.events if e.event == "exercise ends"]


# ---------------------------------------------------------------------- what runs, and when


def test_one_after_another_pumps_then_engine_then_generator() -> None:
    trace = run()
    # engine: 2 + 3 + 10 + 5 s from the call to its flow; generator: 5 + 7 s to good voltage
    assert runs(trace) == [
        (0, "exercise", 600.0, 610.0),
        (1, "exercise", 610.0, 620.0),
        (2, "exercise", 640.0, 670.0),
    ]
    assert told(trace) == [
        (600.0, "P1", "begins", "exercise"),
        (610.0, "P1", "ends", "ran"),
        (610.0, "P2", "begins", "exercise"),
        (620.0, "P2", "ends", "ran"),
        (620.0, "E1", "begins", "exercise"),
        (670.0, "E1", "ends", "ran"),
        (670.0, "generator", "begins", "exercise"),
        (802.0, "generator", "ends", "ran"),
    ]
    assert [(round(r.start_s, 6), r.state) for r in trace.power if r.source == "generator"] == [
        (0.0, "stopped"),
        (670.0, "starting"),
        (682.0, "running"),
        (802.0, "stopped"),
    ]
    assert {r.state for r in trace.power if r.source == "busbar"} == {"grid"}
    assert trace.alarms == []


def test_times_go_by_the_clock_and_come_again() -> None:
    daily = Exercise(30_600.0, 3600.0, pump_s=5.0)  # 08:30, and every hour
    at_nine = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
    trace = run(what=station(daily), start=at_nine, duration_s=6000.0)
    assert [r[2] for r in runs(trace)] == [1800.0, 1805.0, 5400.0, 5405.0]


def test_a_pump_that_has_run_since_is_left_in_peace() -> None:
    every = Exercise(700.0, 1000.0, pump_s=10.0)
    trace = run(what=station(every), inflow=0.01, level_m=1.9, duration_s=1800.0)
    # at 700 s P1 has led; 1.08 m at 710 s, so P2 leads from 1630 s on, and P1 has stood since
    assert [r[:3] for r in runs(trace)] == [
        (0, "lead", 100.0),
        (1, "exercise", 700.0),
        (1, "lead", 1630.0),
        (0, "exercise", 1700.0),
    ]


def test_an_exercise_stops_at_the_stop_level() -> None:
    trace = run(what=station(Exercise(600.0, 1e4, pump_s=100.0)), level_m=1.15)
    # 0.15 m at 3 mm/s; the other pump finds the level at the stop level
    assert runs(trace) == [(0, "exercise", 600.0, 650.0)]
    assert ends(trace) == [("P1", "ran"), ("P2", "left out: level at stop")]
    assert trace.least_level_m == pytest.approx(1.0, abs=1e-9)


def test_the_stop_level_is_met_with_water_arriving_and_another_pump_running() -> None:
    what = station(Exercise(600.0, 1e4, pump_s=400.0), engine_pump=None)
    trace = run(happens(620.0, "hand", "P2"), what=what, inflow=0.01, level_m=0.6)
    # 1.2 m at 600 s; down 2 mm/s to 1.16 m at 620 s, then 5 mm/s
    assert runs(trace)[0] == (0, "exercise", 600.0, 620.0 + 0.16 / 0.005)


def test_the_engine_stops_at_its_own_stop_level() -> None:
    trace = run(what=station(Exercise(600.0, 1e4, engine_s=300.0)), level_m=1.4)
    assert runs(trace) == [(2, "exercise", 620.0, 670.0)]
    assert ends(trace) == [("E1", "ran")]
    low = run(what=station(Exercise(600.0, 1e4, engine_s=300.0)), level_m=1.1)
    assert runs(low) == []
    assert ends(low) == [("E1", "left out: level at stop")]


def test_the_controller_neither_stops_nor_counts_it() -> None:
    """P1 runs for an exercise against 40 L/s: the lead start comes meanwhile, and P2 leads."""
    late = station(Exercise(450.0, 1e4, pump_s=400.0), engine_pump=None)
    trace = run(what=late, inflow=0.04, level_m=0.0, duration_s=2000.0)
    # 1.8 m at 450 s, then 1 mm/s: the lead start at 650 s
    assert runs(trace)[0] == (0, "exercise", 450.0, 850.0)
    assert runs(trace)[1][:3] == (1, "lead", 650.0)


@pytest.mark.parametrize(
    ("kind", "why"),
    [("off", "selector in off"), ("hand", "selector in hand"), ("fails", "pump failed")],
)
def test_who_cannot_be_exercised_is_left_out(kind: EventKind, why: str) -> None:
    # in hand it has run since, so it is not even asked
    trace = run(happens(10.0, kind, "P1"), what=station(Exercise(600.0, 1e4, pump_s=10.0)))
    expected = [] if kind == "hand" else [("P1", f"left out: {why}")]
    assert ends(trace)[: len(expected)] == expected
    assert all(r[0] == 1 for r in runs(trace) if r[1] == "exercise")


# ---------------------------------------------------------------------- what it finds


def test_a_pump_that_fails_to_start_is_found() -> None:
    what = station(Exercise(600.0, 1e4, pump_s=10.0))
    slow = replace(what, pumps=tuple(replace(p, fail_to_start_s=8.0) for p in what.pumps))
    trace = run(happens(10.0, "fails to start", "P1"), what=slow)
    assert ends(trace) == [("P1", "failed"), ("P2", "ran")]
    assert [(a.alarm, a.subject, a.raised_s) for a in trace.alarms] == [
        ("pump failed", "P1", 608.0)
    ]


@pytest.mark.parametrize(
    ("kind", "at_s"),
    [("battery flat", 600.0), ("fails to start", 613.0), ("fails to prime", 675.0)],
)
def test_what_is_wrong_with_the_engine_is_found(kind: EventKind, at_s: float) -> None:
    what = station(
        Exercise(600.0, 1e4, engine_s=300.0), engine_pump=replace(ENGINE, prime_limit_s=60.0)
    )
    trace = run(happens(10.0, kind, "E1"), what=what)
    assert ends(trace) == [("E1", "failed")]
    # fires at 605 s, warm at 615 s; cranks again from 610 s to 613 s
    assert [(a.alarm, a.raised_s) for a in trace.alarms] == [
        ("engine failed", pytest.approx(at_s, abs=ABS))
    ]


def test_without_a_prime_limit_the_exercise_finds_nothing() -> None:
    what = station(Exercise(600.0, 1e4, engine_s=300.0))
    trace = run(happens(10.0, "fails to prime", "E1"), what=what)
    assert ends(trace) == [("E1", "ran")]
    assert trace.alarms == []
    assert trace.pumped_m3 == 0.0
    assert in_vain(trace) == [(920.0, "E1", "exercise")]


@pytest.mark.parametrize("kind", ["air-bound", "plug valve closed"])
def test_a_pump_that_ran_and_moved_nothing_has_proved_nothing(kind: EventKind) -> None:
    """The panel sees both run; one 30 L/s pump of them moves water for its ten seconds."""
    what = station(Exercise(600.0, 1e4, pump_s=10.0))
    trouble = replace(happens(10.0, kind, "P1"), flow_left=0.0)
    result = simulate(what, episode(1500.0, 0.0, trouble, start_level_m=1.2))
    assert ends(result.trace) == [("P1", "ran"), ("P2", "ran")]
    assert in_vain(result.trace) == [(610.0, "P1", "exercise")]
    assert result.trace.pumped_m3 == pytest.approx(0.3, abs=1e-9)
    (seen,) = {entry.seen for entry in vocabulary.EVENTS if entry.word == "moved nothing"}
    assert seen == "nobody"
    text = "\n".join(sentences(result))
    assert "P1 ran for its exercise and moved nothing" in text
    assert "exercise runs proved P2 (once)" in text


def test_a_pump_that_a_hand_has_taken_over_is_judged_by_what_it_moved_until_then() -> None:
    what = station(Exercise(600.0, 1e4, pump_s=20.0))
    hand = ScriptedEvent(605.0, "hand", "P1", None)
    trace = run(hand, what=what)
    assert ("P1", "ran") in ends(trace)
    assert in_vain(trace) == []


def test_a_generator_that_fails_to_start_is_found() -> None:
    what = station(Exercise(600.0, 1e4, generator_s=60.0))
    trace = run(happens(10.0, "generator fails to start", "generator"), what=what)
    assert ends(trace) == [("generator", "failed")]
    assert [(a.alarm, a.raised_s) for a in trace.alarms] == [("generator failed", 605.0)]
    assert {r.state for r in trace.power if r.source == "busbar"} == {"grid"}


def test_a_generator_burns_at_no_load_in_its_exercise() -> None:
    what = station(Exercise(600.0, 1e4, generator_s=60.0))
    session = Session(what, episode(3000.0, 0.0, start_level_m=1.8))
    session.finish()
    generator = session._plant.supply.generator
    assert generator is not None
    assert generator.fuel.burnt_m3 == pytest.approx(1e-6 * (7.0 + 60.0), rel=1e-9)


# ---------------------------------------------------------------------- a grid that is lost


def test_a_grid_loss_ends_the_exercise_of_a_pump_and_leaves_the_rest_out() -> None:
    trace = run(loss(605.0, 500.0))
    assert ends(trace) == [
        ("P1", "cut short: power lost"),
        ("P2", "left out: not on the grid"),
        ("E1", "left out: not on the grid"),
        ("generator", "left out: not on the grid"),
    ]
    assert runs(trace)[0] == (0, "exercise", 600.0, 605.0)


def test_a_grid_loss_ends_the_exercise_of_the_engine() -> None:
    what = station(Exercise(600.0, 1e4, engine_s=300.0), standby_power=None)
    trace = run(loss(640.0, 500.0), what=what)
    assert ends(trace) == [("E1", "cut short: grid lost")]
    assert runs(trace) == [(2, "exercise", 620.0, 640.0)]
    # above its start level it is wanted now, and pumps on to its stop level
    high = replace(what, engine_pump=replace(ENGINE, start_level_m=1.5))
    trace = run(loss(640.0, 500.0), what=high)
    assert ends(trace) == [("E1", "cut short: grid lost")]
    assert runs(trace) == [(2, "exercise", 620.0, 620.0 + 0.6 / 0.004)]


def test_a_generator_under_exercise_goes_on_load() -> None:
    what = station(Exercise(600.0, 1e4, generator_s=600.0))
    trace = run(loss(700.0, 500.0), what=what)
    assert ends(trace) == [("generator", "cut short: grid lost")]
    # called at 703 s with good voltage already
    assert [(round(r.start_s, 6), r.state) for r in trace.power if r.source == "busbar"] == [
        (0.0, "grid"),
        (700.0, "dead"),
        (705.0, "generator"),
        (1500.0, "dead"),
        (1504.0, "grid"),
    ]
    short = run(loss(700.0, 2.0), what=what)
    assert [(round(r.start_s, 6), r.state) for r in short.power if r.source == "generator"][
        -2:
    ] == [(702.0, "cooling down"), (762.0, "stopped")]


@pytest.mark.parametrize("at_s", [300.0, 605.0, 622.0, 645.0, 672.0, 700.0])
def test_frozen_within_an_exercise_and_resumed(at_s: float) -> None:
    given = episode(3000.0, 0.001, start_level_m=1.8)
    whole = simulate(station(), given).trace
    session = Session(station(), given)
    session.advance(at_s)
    again = Session.resume(session.freeze()).finish().trace
    for rows in ("runs", "events", "power", "alarms"):
        assert repr(getattr(again, rows)) == repr(getattr(whole, rows))

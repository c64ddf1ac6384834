"""What happens by chance: its rates, and that nothing shifts the draws of anything else.

Where a count is compared with its mean, four standard deviations are allowed; the seeds are fixed,
so that a test that passes once passes always. The event of those tests is 'P1 in auto', which
changes nothing and leaves nothing behind.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import pytest

from stationsim import vocabulary
from stationsim.chance import Range, Streams
from stationsim.episode import Episode, RandomFault, ScriptedEvent
from stationsim.errors import ActionError
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, engine_pump, episode
from stationsim.trace import Trace

HOUR = 3600.0
DAY = 86400.0
NOTHING = ScriptedEvent(0.0, "auto", "P1")


def clog(subject: str = "P1", left: float = 0.7) -> ScriptedEvent:
    return ScriptedEvent(0.0, "clogged", subject, flow_left=left)


def fault(
    name: str, basis: Any, rate: float, *events: ScriptedEvent, lasts: Range | None = None
) -> RandomFault:
    return RandomFault(name, events or (NOTHING,), basis, rate, lasts)


def given(seconds: float, *faults: RandomFault, inflow: Any = 0.01, **more: Any) -> Episode:
    events = more.pop("events", ())
    return replace(episode(seconds, inflow, *events), random=faults, **more)


def run(what: Episode, station: Station | None = None) -> Trace:
    trace = Session(station or duplex(), what).finish().trace
    assert trace.balance_error < 1e-9
    return trace


def came(trace: Trace, name: str) -> list[float]:
    rows = [row for row in trace.events if row.event == "random fault" and row.detail == name]
    assert all(row.cause == "by chance" for row in rows)
    return [row.t_s for row in rows]


def rows(trace: Trace) -> str:
    return repr((trace.events, trace.runs, trace.alarms, trace.leg_t_s, trace.leg_v_m3))


def by_calendar(what: Episode, name: str, rate: float, subject: str = "P1") -> list[float]:
    """Return the times at which a fault is due by the calendar, by the formula of its gaps."""
    stream = Streams(what.seed, what.replicate).stream(subject, f"random: {name}")
    times: list[float] = []
    at_s = 0.0
    for n in itertools.count():
        at_s += -math.log(1.0 - stream.number(n)) / rate
        if at_s >= what.duration_s:
            return times
        times.append(at_s)
    raise AssertionError


# ---------------------------------------------------------------------- rates


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_by_the_calendar_it_comes_as_often_as_its_rate_says(seed: int) -> None:
    rate = 1.0 / (2.0 * HOUR)
    what = given(100 * DAY, fault("x", "calendar", rate), inflow=0.0, seed=seed)
    times = came(run(what), "x")
    mean = rate * 100 * DAY  # 1200; Poisson
    assert abs(len(times) - mean) < 4.0 * math.sqrt(mean)
    assert times == pytest.approx(by_calendar(what, "x", rate), abs=1e-5)
    # gaps of an exponential: as wide as they are long
    gaps = [b - a for a, b in itertools.pairwise(times)]
    m = sum(gaps) / len(gaps)
    spread = math.sqrt(sum((g - m) ** 2 for g in gaps) / len(gaps))
    assert spread / m == pytest.approx(1.0, abs=4.0 / math.sqrt(len(gaps)) * math.sqrt(2.0))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_by_running_it_comes_as_often_as_the_hours_say(seed: int) -> None:
    rate = 1.0 / (0.25 * HOUR)
    trace = run(given(40 * DAY, fault("x", "running", rate), seed=seed))
    hours_s = sum(r.stop_s - r.start_s for r in trace.runs if r.machine == 0)
    times = came(trace, "x")
    mean = rate * hours_s
    assert mean > 500.0
    assert abs(len(times) - mean) < 4.0 * math.sqrt(mean)
    # and only while it runs
    spans = [(r.start_s, r.stop_s) for r in trace.runs if r.machine == 0]
    assert all(any(a <= t <= b + 1e-6 for a, b in spans) for t in times)


def test_by_running_it_comes_at_the_exact_reading_of_the_hour_meter() -> None:
    rate = 1.0 / HOUR
    trace = run(given(20 * DAY, fault("x", "running", rate)))
    stream = Streams(1).stream("P1", "random: x")
    total = 0.0
    times = came(trace, "x")
    assert len(times) > 40
    for n, at_s in enumerate(times):
        total += -math.log(1.0 - stream.number(n)) / rate
        ran = sum(max(min(r.stop_s, at_s) - r.start_s, 0.0) for r in trace.runs if r.machine == 0)
        assert ran == pytest.approx(total, abs=2e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_on_demand_it_comes_as_often_as_the_demands_say(seed: int) -> None:
    trace = run(given(40 * DAY, fault("x", "demand", 0.2), seed=seed))
    demands = sum(r.machine == 0 for r in trace.runs)
    times = came(trace, "x")
    assert demands > 1000
    assert abs(len(times) - 0.2 * demands) < 4.0 * math.sqrt(0.2 * 0.8 * demands)
    stream = Streams(seed).stream("P1", "random: x")
    starts = sorted(r.start_s for r in trace.runs if r.machine == 0)
    assert times == [t for n, t in enumerate(starts) if stream.number(n) < 0.2]


@pytest.mark.parametrize("basis", ["calendar", "running", "demand"])
def test_a_rate_of_nought_never_comes(basis: str) -> None:
    assert came(run(given(10 * DAY, fault("x", basis, 0.0))), "x") == []


def test_how_long_it_lasts_follows_its_range() -> None:
    lasts = Range(60.0, 600.0, 3000.0)
    what = given(100 * DAY, fault("x", "calendar", 1.0 / (3 * HOUR), clog(), lasts=lasts))
    trace = run(what, duplex((0.03,), levels={"lag_start_m": None}))
    begins = came(trace, "x")
    ends = [row.t_s for row in trace.events if row.event == "clear again"]
    lasted = [b - a for a, b in zip(begins, ends, strict=False)]
    assert len(lasted) > 500
    assert min(lasted) >= 60.0 - 1e-6
    assert max(lasted) <= 3000.0 + 1e-6
    variance = (60.0**2 + 600.0**2 + 3000.0**2 - 60 * 600 - 60 * 3000 - 600 * 3000) / 18.0
    mean = sum(lasted) / len(lasted)
    assert abs(mean - lasts.mean) < 4.0 * math.sqrt(variance / len(lasted))


# ---------------------------------------------------------------------- nothing shifts a draw


def test_one_more_scripted_event_shifts_no_time_of_the_calendar() -> None:
    faults = (
        fault("a", "calendar", 1.0 / (5 * HOUR)),
        fault("b", "calendar", 1.0 / (9 * HOUR), clog("P2"), lasts=Range.point(900.0)),
    )
    plain = given(20 * DAY, *faults)
    more = replace(plain, events=(ScriptedEvent(2 * DAY, "fails", "P1", 5 * HOUR),))
    one, other = run(plain), run(more)
    assert rows(one) != rows(other)
    for name in ("a", "b"):
        assert came(one, name) == pytest.approx(came(other, name), abs=1e-6)
        assert len(came(one, name)) > 30


def test_one_more_scripted_event_leaves_the_answer_at_each_demand() -> None:
    faults = (fault("a", "demand", 0.3), fault("b", "running", 1.0 / HOUR))
    plain = given(20 * DAY, *faults)
    more = replace(plain, events=(ScriptedEvent(2 * DAY, "out of service", "P1", 5 * HOUR),))
    one, other = run(plain), run(more)
    answers = []
    readings = []
    for trace in (one, other):
        starts = sorted(r.start_s for r in trace.runs if r.machine == 0)
        answers.append([t in set(came(trace, "a")) for t in starts])
        readings.append(
            [
                sum(max(min(r.stop_s, t) - r.start_s, 0.0) for r in trace.runs if r.machine == 0)
                for t in came(trace, "b")
            ]
        )
    fewer = min(map(len, answers))
    assert len(answers[0]) != len(answers[1])
    assert answers[0][:fewer] == answers[1][:fewer]
    fewer = min(map(len, readings))
    assert readings[0][:fewer] == pytest.approx(readings[1][:fewer], abs=1e-5)


def test_one_more_random_fault_shifts_no_other_and_their_order_does_not_matter() -> None:
    a, b = fault("a", "calendar", 1.0 / (5 * HOUR)), fault("b", "demand", 0.3)
    c = fault("c", "calendar", 1.0 / (4 * HOUR), clog("P2"), lasts=Range.point(900.0))
    alone = came(run(given(20 * DAY, a)), "a")
    beside = came(run(given(20 * DAY, c, b, a)), "a")
    assert alone == pytest.approx(beside, abs=1e-6)
    assert rows(run(given(20 * DAY, a, b, c))) == rows(run(given(20 * DAY, c, a, b)))


def test_equal_seeds_give_equal_rows_and_others_do_not() -> None:
    faults = (
        fault("a", "calendar", 1.0 / DAY, clog(), lasts=Range(600.0, HOUR, 3 * HOUR)),
        fault("b", "demand", 0.05, ScriptedEvent(0.0, "fails", "P2"), lasts=Range.point(HOUR)),
        fault("c", "running", 1.0 / (5 * HOUR), ScriptedEvent(0.0, "overload", "P1", 0.0)),
    )
    what = given(10 * DAY, *faults)
    assert rows(run(what)) == rows(run(what))
    assert rows(run(what)) != rows(run(replace(what, seed=2)))


def test_replicate_seven_alone_is_replicate_seven_of_twenty() -> None:
    faults = (
        fault("a", "calendar", 1.0 / DAY, clog(), lasts=Range(600.0, HOUR, 3 * HOUR)),
        fault("b", "demand", 0.05, ScriptedEvent(0.0, "fails", "P2"), lasts=Range.point(HOUR)),
    )
    what = given(3 * DAY, *faults)
    twenty = [rows(run(replace(what, replicate=n))) for n in range(20)]
    assert rows(run(replace(what, replicate=7))) == twenty[7]
    assert len(set(twenty)) == 20


def test_in_pieces_and_frozen_the_same_rows_come_out() -> None:
    faults = (
        fault("a", "calendar", 1.0 / DAY, clog(), lasts=Range(600.0, HOUR, 3 * HOUR)),
        fault("b", "demand", 0.1, ScriptedEvent(0.0, "fails to start", "P2")),
        fault("c", "running", 1.0 / HOUR, ScriptedEvent(0.0, "air-bound", "P1")),
    )
    crew = tuple(ScriptedEvent(n * DAY, "put right", p) for n in (1, 2, 3) for p in ("P1", "P2"))
    what = given(4 * DAY, *faults, events=crew)
    whole = run(what)
    assert all(came(whole, name) for name in "abc")
    session = Session(duplex(), what)
    for at_s in (0.3 * DAY, 1.1 * DAY, 2.7 * DAY):
        session.advance(at_s)
        session = Session.resume(session.freeze())
    assert rows(session.finish().trace) == rows(whole)


# ---------------------------------------------------------------------- what it brings


def test_while_it_stands_no_new_one_of_the_same_comes() -> None:
    rate = 1.0 / HOUR
    lasts = Range.point(2.5 * HOUR)
    what = given(5 * DAY, fault("x", "calendar", rate, clog(), lasts=lasts))
    expected: list[float] = []
    for at_s in by_calendar(what, "x", rate):
        if not expected or at_s >= expected[-1] + 2.5 * HOUR:
            expected.append(at_s)
    times = came(run(what), "x")
    assert times == pytest.approx(expected, abs=1e-5)
    assert 20 < len(times) < len(by_calendar(what, "x", rate))


def test_put_right_it_may_come_again() -> None:
    rate = 1.0 / (2 * HOUR)
    what = given(2 * DAY, fault("x", "calendar", rate, clog()))
    due = by_calendar(what, "x", rate)
    assert came(run(what), "x") == pytest.approx(due[:1], abs=1e-5)
    crew = replace(what, events=(ScriptedEvent(DAY, "put right", "P1"),))
    after = next(t for t in due if t > DAY)
    assert came(run(crew), "x") == pytest.approx([due[0], after], abs=1e-5)


def test_a_grid_loss_has_nothing_to_look_at_and_its_time_counts() -> None:
    rate = 1.0 / HOUR
    loss = ScriptedEvent(0.0, "grid loss", "grid")
    what = given(2 * DAY, fault("x", "calendar", rate, loss, lasts=Range.point(4 * HOUR)))
    trace = run(what)
    out = [row for row in trace.power if row.source == "grid" and row.state == "out"]
    assert len(out) > 3
    for row in out[:-1]:
        assert row.stop_s - row.start_s == pytest.approx(4 * HOUR, abs=1e-6)


def test_a_common_cause_brings_all_of_it_at_one_instant() -> None:
    both = (clog("P1"), ScriptedEvent(0.0, "fails", "P2"), ScriptedEvent(0.0, "hand", "P1"))
    trace = run(
        given(3 * DAY, fault("x", "calendar", 1.0 / (4 * HOUR), *both, lasts=Range.point(HOUR)))
    )
    at_s = came(trace, "x")[0]
    told = {(row.subject, row.event) for row in trace.events if row.t_s == at_s}
    assert {("P1", "clogged"), ("P2", "trip"), ("P1", "in hand")} <= told


def test_a_pump_that_trips_as_it_is_called_does_not_run_and_the_next_one_does() -> None:
    trips = fault("x", "demand", 1.0, ScriptedEvent(0.0, "fails", "P1"), lasts=Range.point(HOUR))
    trace = run(given(6 * HOUR, trips))
    refused = [row for row in trace.events if row.event == "start refused"]
    assert (refused[0].t_s, refused[0].subject, refused[0].cause) == (1000.0, "P1", "pump failed")
    assert (trace.runs[0].machine, trace.runs[0].start_s) == (1, 1000.0)
    assert not [r for r in trace.runs if r.machine == 0]


def test_a_pump_that_fails_to_start_on_demand_gives_no_run_signal() -> None:
    station = duplex()
    pumps = tuple(replace(pump, fail_to_start_s=10.0) for pump in station.pumps)
    never = fault("x", "demand", 1.0, ScriptedEvent(0.0, "fails to start", "P1"))
    trace = run(given(6 * HOUR, never), replace(station, pumps=pumps))
    told = [(row.t_s, row.event) for row in trace.events if row.subject == "P1"]
    assert (1000.0, "no run signal") in told
    assert (1010.0, "trip") in told
    assert (trace.runs[0].machine, trace.runs[0].start_s) == (1, 1010.0)


def test_a_pump_in_hand_that_gives_no_run_signal_is_one_demand() -> None:
    station = duplex()
    pumps = tuple(replace(pump, fail_to_start_s=300.0) for pump in station.pumps)
    events = (
        ScriptedEvent(0.0, "fails to start", "P1"),
        ScriptedEvent(60.0, "hand", "P1"),
        ScriptedEvent(100.0, "off", "P2"),
        ScriptedEvent(120.0, "auto", "P2"),
    )
    what = given(200.0, fault("x", "demand", 1.0), events=events)
    assert came(run(what, replace(station, pumps=pumps)), "x") == [60.0]


def test_a_call_without_supply_is_no_demand() -> None:
    dark = ScriptedEvent(500.0, "grid loss", "grid", 2000.0)
    trace = run(given(3000.0, fault("x", "demand", 1.0), events=(dark,)))
    assert came(trace, "x") == [2500.0]


def test_the_hours_of_the_engine_driven_pump_count_as_well() -> None:
    dark = ScriptedEvent(100.0, "grid loss", "grid", 20 * DAY)
    stop = ScriptedEvent(0.0, "fails", "E1")
    what = given(
        10 * DAY,
        fault("x", "running", 1.0 / (2 * HOUR), stop, lasts=Range.point(HOUR)),
        events=(dark,),
    )
    trace = run(what, duplex(engine_pump=engine_pump()))
    times = came(trace, "x")
    assert len(times) > 10
    stops = [r.stop_s for r in trace.runs if r.machine == 2]
    assert all(any(abs(t - s) < 1e-6 for s in stops) for t in times)


def test_a_call_of_the_engine_driven_pump_is_a_demand_on_it() -> None:
    dark = ScriptedEvent(100.0, "grid loss", "grid", 2 * DAY)
    flat = fault("x", "demand", 1.0, ScriptedEvent(0.0, "battery flat", "E1"))
    trace = run(given(DAY, flat, events=(dark,)), duplex(engine_pump=engine_pump()))
    (at_s,) = came(trace, "x")
    # from 1.0 m at 10 L/s in 10 m2 the level is at its start, 3.2 m, after 2200 s
    assert at_s == pytest.approx(2200.0, abs=1e-6)
    assert not [r for r in trace.runs if r.machine == 2]
    assert [row.alarm for row in trace.alarms if row.subject == "E1"] == ["engine failed"]


# ---------------------------------------------------------------------- without it


def test_an_unarmed_run_draws_nothing_and_follows_nobody() -> None:
    session = Session(duplex(), episode(DAY, 0.01))
    session.finish()
    plant = session._plant
    assert plant.luck.streams._streams == {}
    assert not plant.luck.armed
    assert plant.followers == []
    assert plant.exposure._demands == {}


def test_running_time_of_what_is_no_machine_is_refused() -> None:
    dark = fault("x", "running", 1.0, ScriptedEvent(0.0, "grid loss", "grid"), lasts=Range.point(1))
    with pytest.raises(ActionError, match="'grid' is no machine"):
        Session(duplex(), given(DAY, dark))


def test_a_fault_of_a_pump_that_is_not_there_is_refused() -> None:
    with pytest.raises(ActionError, match="no machine is called 'P9'"):
        Session(duplex(), given(DAY, fault("x", "calendar", 1.0, clog("P9"))))


def test_what_happens_by_chance_is_known_to_the_vocabulary() -> None:
    assert vocabulary.seen_by("random fault") == "nobody"
    assert vocabulary.cause_of("by chance") is not None

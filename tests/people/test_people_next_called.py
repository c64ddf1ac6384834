"""Who is called, in which order, and who goes: times by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from crews import HOUR, MINUTE, at_once, just, moments, rows_of

from stationsim.episode import Episode, ScriptedEvent
from stationsim.metrics.call_outs import call_outs
from stationsim.people.response import ClockSpan, Person, Response, Task, Visit
from stationsim.simulation.session import simulate
from stationsim.testing import MONDAY, duplex, episode
from stationsim.trace import Trace

NIGHT = ClockSpan(22 * HOUR, 6 * HOUR)
ANNA = Person("anna", acknowledges=just(1800.0), travels=just(600.0))
BERT = Person("bert", acknowledges=just(120.0), travels=just(1200.0))
CARL = Person("carl", acknowledges=just(60.0))


def called(*people: Person, **changes: object) -> Response:
    """Return a response that calls these people in this order, the phone ringing at once."""
    response = Response(people=people, call_list=tuple(one.name for one in people))
    return replace(response, **changes)  # type: ignore[arg-type]


def dark(response: Response, *, at: float = 0.0, hours: float = 6.0, lost_s: float = 5 * HOUR,
         start_hour: float = 12.0, days: int = 0) -> Trace:  # fmt: skip
    """Run a station that loses the grid at a time [s], from an hour of a day after Monday on."""
    lost = ScriptedEvent(at, "grid loss", "grid", lost_s)
    case = episode(
        hours * HOUR, 0.0005, lost, start=MONDAY + timedelta(days=days, hours=start_hour)
    )
    return simulate(duplex(), replace(case, response=response)).trace


def tolls(trace: Trace) -> list[tuple[str, float, float, str]]:
    """Return who was rung, from when to when, and what came of it."""
    return [(r.person, r.start_s, r.stop_s, r.outcome) for r in rows_of(trace, "called")]


def test_the_second_is_called_when_the_first_has_not_answered_in_time() -> None:
    # anna would need 30 min; at 15 min bert is called too and needs 2 min: 17 min
    trace = dark(called(ANNA, BERT, next_after_s=900.0))
    assert tolls(trace) == [
        ("anna", 0.0, 1020.0, "another one took it"), ("bert", 900.0, 1020.0, "acknowledged"),
    ]  # fmt: skip
    (row,) = rows_of(trace, "travels")
    assert (row.person, row.start_s, row.stop_s) == ("bert", 1020.0, 2220.0)


def test_the_first_may_answer_after_the_second_was_called_and_before_them() -> None:
    # bert is called at 29 min and would answer at 31; anna answers at 30
    trace = dark(called(ANNA, BERT, next_after_s=1740.0))
    assert tolls(trace) == [
        ("anna", 0.0, 1800.0, "acknowledged"), ("bert", 1740.0, 1800.0, "another one took it"),
    ]  # fmt: skip
    assert rows_of(trace, "travels")[0].person == "anna"


def test_who_answers_at_the_very_moment_at_which_the_next_would_be_called_is_enough() -> None:
    trace = dark(called(ANNA, BERT, next_after_s=1800.0))
    assert tolls(trace) == [("anna", 0.0, 1800.0, "acknowledged")]


def test_without_a_limit_nobody_but_the_first_is_called() -> None:
    deaf = replace(ANNA, answers=False)
    trace = dark(called(deaf, BERT))
    assert tolls(trace) == [("anna", 0.0, 600.0, "no answer")]
    assert math.isnan(trace.alarms[0].reached_s)
    assert moments(trace, "nobody reached") == []  # the call waits on
    assert tolls(dark(called(deaf), hours=0.1)) == [("anna", 0.0, 360.0, "end of run")]


def test_nobody_answers_and_the_list_is_gone_through_as_often_as_it_says() -> None:
    deaf = tuple(replace(one, answers=False) for one in (ANNA, BERT))
    trace = dark(called(*deaf, next_after_s=600.0, rounds=2))
    assert [row[:2] for row in tolls(trace)] == [
        ("anna", 0.0), ("bert", 600.0), ("anna", 1200.0), ("bert", 1800.0),
    ]  # fmt: skip
    assert {row[2:] for row in tolls(trace)} == {(2400.0, "no answer")}
    assert moments(trace, "nobody reached") == [2400.0]
    assert all(math.isnan(row.reached_s) for row in trace.alarms)


def test_an_alarm_that_comes_while_phones_ring_in_vain_rings_them_anew() -> None:
    # carl hears nothing before six; the high level at 5:30 rings again, and at 6:10 he answers
    sleeper = replace(CARL, answers_at_night=False)
    response = called(sleeper, night=NIGHT)
    lost = ScriptedEvent(0.0, "grid loss", "grid", 8 * HOUR)
    stopped = ScriptedEvent(7800.0, "fails", "P1", None)
    case = episode(4 * HOUR, 1e-5, lost, stopped, start=MONDAY + timedelta(hours=4))
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert tolls(trace) == [
        ("carl", 0.0, 600.0, "no answer"), ("carl", 7800.0, 7860.0, "acknowledged"),
    ]  # fmt: skip
    reached = {row.alarm: row.reached_s for row in trace.alarms}
    assert reached["pump failed"] == 7860.0
    assert moments(trace, "crew on site") == [7860.0]
    assert moments(trace, "nobody reached") == [7800.0]
    (one,) = call_outs(trace, response)  # the phone was silent meanwhile, and the call waited
    assert (one.start_s, one.known_s, one.raised_s) == (0.0, 7860.0, 0.0)


def test_a_call_that_still_waits_and_the_round_that_comes_then_are_one_call_out() -> None:
    # the power fails at 0, a pump at 2 h: anna hears neither, and comes by at 4 h
    deaf = replace(ANNA, answers=False)
    fails = ScriptedEvent(2 * HOUR, "fails", "P1")
    response = called(deaf, visit=Visit("anna", 16 * HOUR))
    lost = ScriptedEvent(0.0, "grid loss", "grid", 5 * HOUR)
    case = episode(6 * HOUR, 0.0005, lost, fails, start=MONDAY + timedelta(hours=12))
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert [row[1:3] for row in tolls(trace)] == [(0.0, 600.0), (2 * HOUR, 2 * HOUR + 600.0)]
    (one,) = call_outs(trace, response)
    assert (one.start_s, one.raised_s, one.on_site_s) == (0.0, 0.0, 4 * HOUR)


def test_a_phone_that_somebody_is_slow_to_hear_rings_until_they_do() -> None:
    slow = replace(ANNA, acknowledges=just(1800.0))
    assert tolls(dark(called(slow))) == [("anna", 0.0, 1800.0, "acknowledged")]


def test_an_alarm_that_reaches_a_phone_after_the_list_was_given_up_is_not_lost() -> None:
    # given up at 300 s; sent at 299 s, the second alarm reaches a phone at 359 s and rings anew
    deaf = replace(ANNA, answers=False)
    response = called(deaf, next_after_s=240.0, on_phone=just(60.0))
    lost = ScriptedEvent(0.0, "grid loss", "grid", 8 * HOUR)
    stopped = ScriptedEvent(299.0, "fails", "P1", None)
    case = replace(episode(4 * HOUR, 1e-5, lost, stopped), response=response)
    trace = simulate(duplex(), case).trace
    assert tolls(trace) == [
        ("anna", 60.0, 300.0, "no answer"), ("anna", 359.0, 599.0, "no answer"),
    ]  # fmt: skip


def test_who_is_not_on_call_is_not_called() -> None:
    by_day = replace(ANNA, on_call=ClockSpan(7 * HOUR, 16 * HOUR))
    response = called(by_day, BERT, next_after_s=900.0)
    assert [row[0] for row in tolls(dark(response, start_hour=3.0))] == ["bert"]
    assert [row[0] for row in tolls(dark(response, start_hour=12.0))] == ["anna", "bert"]
    nobody = dark(called(by_day, next_after_s=900.0), start_hour=20.0)
    assert tolls(nobody) == []
    assert moments(nobody, "nobody reached") == [0.0]
    why = [row.cause for row in nobody.events if row.event == "nobody reached"]
    assert why == ["nobody is on call"]


@pytest.mark.parametrize(
    ("start_hour", "days", "weekend", "way_s"),
    [
        (12.0, 0, True, 600.0),  # Monday noon
        (21.99, 0, True, 600.0),  # rings 36 s before ten
        (22.0, 0, True, 1500.0),
        (5.99, 1, True, 1500.0),
        (6.0, 1, True, 600.0),
        (12.0, 5, True, 1500.0),  # Saturday noon
        (12.0, 5, False, 600.0),
        (12.0, 6, True, 1500.0),  # Sunday noon
    ],
)
def test_night_and_weekend_by_the_clock(
    start_hour: float, days: int, *, weekend: bool, way_s: float
) -> None:
    one = Person("anna", travels=just(600.0), night_travels=just(1500.0))
    response = called(one, night=NIGHT, weekend_as_night=weekend)
    trace = dark(response, start_hour=start_hour, days=days)
    (row,) = rows_of(trace, "travels")
    assert row.stop_s - row.start_s == pytest.approx(way_s)


def test_each_link_of_the_night_counts_from_when_it_begins() -> None:
    # called by day at 21:50, ready at 22:10, so the way is that of the night
    one = Person(
        "anna", just(600.0), just(600.0), just(300.0),
        night_acknowledges=just(1.0), night_gets_ready=just(900.0), night_travels=just(1500.0),
    )  # fmt: skip
    trace = dark(called(one, night=NIGHT), start_hour=21.0 + 50.0 / 60.0)
    spans = {row.task: row.stop_s - row.start_s for row in trace.crew if row.task != "looks on"}
    assert spans["called"] == pytest.approx(600.0)  # until 22:00
    assert spans["gets ready"] == pytest.approx(900.0)
    assert spans["travels"] == pytest.approx(1500.0)


@pytest.mark.parametrize(("lost_s", "goes"), [(299.0, False), (301.0, True)])
def test_nobody_goes_when_all_is_clear_at_the_acknowledgement(lost_s: float, *, goes: bool) -> None:
    trace = dark(called(replace(CARL, acknowledges=just(300.0), travels=just(60.0))), lost_s=lost_s)
    assert bool(rows_of(trace, "travels")) is goes
    assert moments(trace, "stood down") == ([] if goes else [300.0])
    assert trace.alarms[0].reached_s == 300.0


@pytest.mark.parametrize(("lost_s", "goes"), [(899.0, False), (901.0, True)])
def test_nobody_leaves_when_all_is_clear_before(lost_s: float, *, goes: bool) -> None:
    one = replace(CARL, acknowledges=just(300.0), gets_ready=just(600.0), travels=just(60.0))
    trace = dark(called(one), lost_s=lost_s)
    assert bool(rows_of(trace, "travels")) is goes
    assert moments(trace, "stood down") == ([] if goes else [900.0])


def test_only_alarms_that_call_out_do() -> None:
    trace = dark(called(CARL, alarms=("high level",)))
    assert trace.crew == []
    assert [row.alarm for row in trace.alarms] == ["power failed"]


def test_who_stays_behind_is_called_to_help_and_those_who_do_not_answer_are_left_out() -> None:
    deaf = replace(ANNA, answers=False)
    response = called(CARL, deaf, BERT, tasks=(Task("set right", takes=just(300.0), people=2),))
    stuck = ScriptedEvent(0.0, "controller stopped", "panel")
    case = replace(episode(3 * HOUR, 1e-5, stuck), response=response)
    trace = simulate(duplex(), case).trace
    # carl is there at 60 s; bert takes 2 min to answer and 20 to come
    assert [(r.person, r.subject) for r in rows_of(trace, "called")] == [
        ("carl", "controller stopped"), ("bert", "to help"),
    ]  # fmt: skip
    done = rows_of(trace, "set right")
    assert [(r.person, r.start_s, r.stop_s) for r in sorted(done, key=lambda r: r.person)] == [
        ("bert", 60.0 + 120.0 + 1200.0, 1680.0), ("carl", 1380.0, 1680.0),
    ]  # fmt: skip
    assert {row.waited_s for row in done} == {1320.0}


def test_a_day_of_many_alarms_calls_once_for_each_incident() -> None:
    losses = [ScriptedEvent(n * HOUR, "grid loss", "grid", 1200.0) for n in range(1, 6)]
    case = Episode(MONDAY, 8 * HOUR, episode(1.0, 1e-5).inflow, 1.0, tuple(losses))
    response = at_once("anna", picked_up=just(30.0), on_phone=just(30.0))
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert moments(trace, "acknowledged") == [n * HOUR + MINUTE for n in range(1, 6)]
    assert len(moments(trace, "crew leaves")) == 5

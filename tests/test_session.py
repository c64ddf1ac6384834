"""Stepping a session: in pieces as in one go, looking without touching, acting, freezing.

Two pumps of 30 L/s in a tank of 10 m2, 10 L/s in (``stationsim.testing.duplex``): from 1.0 m the
lead starts after 1000 s and stops 500 s later.
"""

from __future__ import annotations

import dataclasses
import itertools
from typing import Any

import pytest

from stationsim.episode import Episode, ScriptedEvent
from stationsim.errors import ActionError, InputError
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings, Station
from stationsim.testing import (
    duplex,
    engine_pump,
    episode,
    reference_inflow,
    reference_station,
    triplex,
)
from stationsim.trace import Trace


def rows(trace: Trace) -> str:
    """Return everything that a run left behind, to the last bit of every float."""
    kept = {
        field.name: getattr(trace, field.name)
        for field in dataclasses.fields(trace)
        if field.name not in ("inflow", "lineups", "advances")
    }
    return repr(kept)


def eventful() -> tuple[Station, Episode]:
    """Return a station and a day on which everything happens."""
    station = triplex(
        min_off_s=30.0,
        engine_pump=engine_pump(fuel_m3_per_s=2e-6, tank_m3=0.05),
        alarms=AlarmSettings(high_level_m=3.0, high_level_delay_s=20.0, power_failed_delay_s=60.0),
        levels={"start_delay_s": 5.0, "stop_delay_s": 2.0, "stagger_s": 10.0},
    )
    events = (
        ScriptedEvent(5000.0, "high temperature", "P1", 1800.0),
        ScriptedEvent(9000.0, "grid loss", "grid", 4000.0),
        ScriptedEvent(20000.0, "seal leak", "P2", 600.0),
        ScriptedEvent(30000.0, "hand", "P3"),
        ScriptedEvent(30500.0, "auto", "P3"),
        ScriptedEvent(40000.0, "grid loss", "grid", 3600.0),
        ScriptedEvent(50000.0, "out of service", "P1", 20000.0),
    )
    return station, episode(86400.0, reference_inflow(0.018), *events)


# ---------------------------------------------------------------------- in pieces


@pytest.mark.parametrize("step_s", [60.0, 617.3, 3600.0, 50000.0])
def test_in_pieces_the_same_rows_come_out_as_in_one_go(step_s: float) -> None:
    station, given = eventful()
    whole = simulate(station, given).trace
    session = Session(station, given)
    reported = []
    t = 0.0
    while not session.done:
        t += step_s
        reported += session.advance(t)
        _ = session.level_m
        assert 0.0 <= session.level_m <= 4.0 + 1e-9
    trace = session.finish().trace
    assert rows(trace) == rows(whole)
    # what happened at time nought is on record before the first step
    assert [e for e in whole.events if e.t_s > 0.0] == [e for e in reported if e.t_s > 0.0]
    assert len(whole.events) > 100
    assert len(whole.runs) > 40


def test_from_notice_to_notice_the_same_rows_come_out() -> None:
    station, given = eventful()
    session = Session(station, given)
    stops = []
    while not session.done:
        session.advance()
        stops.append(session.now_s)
    assert rows(session.finish().trace) == rows(simulate(station, given).trace)
    assert all(b > a for a, b in itertools.pairwise(stops))


def test_the_same_episode_twice_gives_the_same_rows() -> None:
    station, given = eventful()
    assert rows(simulate(station, given).trace) == rows(simulate(station, given).trace)


# ---------------------------------------------------------------------- looking


def test_the_level_between_two_events_is_that_of_the_moment() -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    for t, level in ((0.0, 1.0), (250.0, 1.25), (1000.0, 2.0), (1250.0, 1.5), (1500.0, 1.0)):
        session.advance(t)
        assert session.now_s == t
        assert session.level_m == pytest.approx(level, abs=1e-9)
    session.advance(1700.0)
    assert session.level_m == pytest.approx(1.2, abs=1e-9)


def test_who_runs_and_whether_the_grid_is_on_can_be_seen() -> None:
    given = episode(3000.0, 0.01, ScriptedEvent(1200.0, "grid loss", "grid", 600.0))
    session = Session(duplex(), given)
    assert (session.running, session.grid_on) == ((), True)
    session.advance(1100.0)
    assert session.running == ("P1",)
    session.advance(1300.0)
    assert (session.running, session.grid_on) == ((), False)
    session.advance(1801.0)
    assert session.grid_on


def test_what_is_due_at_the_very_time_is_still_to_come() -> None:
    given = episode(3000.0, 0.01, ScriptedEvent(600.0, "off", "P1"))
    session = Session(duplex(), given)
    assert session.advance(600.0) == ()
    (happened,) = session.advance(600.5)
    assert (happened.event, happened.t_s) == ("off", 600.0)


def test_advance_without_a_time_goes_to_the_next_thing_to_be_noticed() -> None:
    given = episode(3000.0, 0.01, ScriptedEvent(700.0, "seal leak", "P2"))
    session = Session(duplex(), given)
    found = session.advance()
    assert {e.event for e in found} == {"seal leak", "alarm raised"}
    assert session.now_s == pytest.approx(700.0, abs=1e-5)
    (start,) = session.advance()
    assert (start.subject, start.event, start.cause) == (
        "P1",
        "start",
        "level at lead start 2.00 m",
    )
    assert session.now_s == pytest.approx(1000.0, abs=1e-5)
    assert session.now_s > start.t_s
    session.advance()
    session.advance()
    session.advance()
    assert session.now_s == 3000.0
    assert session.done


def test_beyond_the_end_is_the_end() -> None:
    session = Session(duplex(), episode(1200.0, 0.01))
    session.advance(99999.0)
    assert session.now_s == 1200.0
    assert session.done
    assert session.advance() == ()


# ---------------------------------------------------------------------- acting


def test_what_a_person_does_is_recorded_and_can_be_replayed() -> None:
    station, given = eventful()
    session = Session(station, given)
    session.advance(3333.3)
    session.act("hand", "P2")
    session.advance(3800.0)
    session.act("auto", "P2")
    session.advance()
    session.act("off", "P3")
    session.advance(45000.0)
    session.act("auto", "P3")
    session.act("hand", "E1")
    session.advance(45200.0)
    session.act("auto", "E1")
    result = session.finish()
    done = result.episode.events[len(given.events) :]
    assert [(e.kind, e.subject) for e in done] == [
        ("hand", "P2"),
        ("auto", "P2"),
        ("off", "P3"),
        ("auto", "P3"),
        ("hand", "E1"),
        ("auto", "E1"),
    ]
    assert done[0].at_s == 3333.3
    assert result.episode == session.replay()
    assert rows(simulate(station, result.episode).trace) == rows(result.trace)


def test_an_action_takes_effect_at_its_own_moment() -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    session.advance(400.0)
    session.act("hand", "P2")
    assert session.running == ()  # not before time goes on
    (start,) = [e for e in session.advance(401.0) if e.event == "start"]
    assert (start.t_s, start.subject, start.cause) == (400.0, "P2", "selector in hand")
    assert session.running == ("P2",)


@pytest.mark.parametrize("resets_itself", [True, False])
def test_an_action_at_the_very_moment_of_something_scripted_is_replayed_alike(
    resets_itself: bool,
) -> None:
    """The reset falls on the moment at which the condition ends."""
    trip = ScriptedEvent(200.0, "high temperature", "P1", 600.0, resets_itself)
    session = Session(duplex(), episode(3000.0, 0.01, trip))
    session.advance(800.0)
    session.act("reset", "P1")
    result = session.finish()
    resets = [(e.t_s, e.event, e.cause) for e in result.trace.events if "reset" in e.event]
    assert resets == [(800.0, "reset", "by hand")]
    assert rows(simulate(duplex(), result.episode).trace) == rows(result.trace)


def test_a_reset_by_a_person_ends_a_latched_trip() -> None:
    session = Session(duplex(), episode(3000.0, 0.01, ScriptedEvent(1100.0, "fails", "P1")))
    session.advance(2000.0)
    session.act("reset", "P1")
    trace = session.finish().trace
    assert [(u.machine, u.start_s, u.stop_s) for u in trace.unavailable] == [(0, 1100.0, 2000.0)]


# ---------------------------------------------------------------------- freezing


@pytest.mark.parametrize("at_s", [0.0, 1234.5, 5001.0, 30200.0, 60000.0])
def test_frozen_and_resumed_it_goes_on_as_if_nothing_had_been(at_s: float) -> None:
    station, given = eventful()
    session = Session(station, given)
    session.advance(at_s)
    state = session.freeze()
    again = Session.resume(state)
    assert again.now_s == at_s
    assert again.level_m == session.level_m
    assert again.running == session.running
    whole = rows(simulate(station, given).trace)
    assert rows(again.finish().trace) == whole
    assert rows(session.finish().trace) == whole  # freezing does not touch the original
    assert rows(Session.resume(state).finish().trace) == whole  # more than once


def test_two_futures_can_be_tried_from_one_state() -> None:
    session = Session(reference_station(), episode(7200.0, 0.036, start_level_m=0.7))
    session.advance(1800.0)
    state = session.freeze()
    left, right = Session.resume(state), Session.resume(state)
    right.act("off", "P2")
    assert left.finish().trace.spilled_m3 == 0.0
    trace = right.finish().trace
    assert trace.greatest_level_m > left.finish().trace.greatest_level_m
    assert [e.kind for e in right.finish().episode.events] == ["off"]


def test_actions_before_the_freeze_stay_on_record() -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    session.advance(100.0)
    session.act("off", "P1")
    again = Session.resume(session.freeze())
    assert again.replay() == session.replay()
    assert rows(again.finish().trace) == rows(simulate(duplex(), session.replay()).trace)


def test_an_open_story_cannot_be_frozen() -> None:
    station, given = eventful()
    session = Session(station, given)
    session.advance(9500.0)  # within the outage
    with pytest.raises(ActionError, match="a story is open"):
        session.freeze()
    session.advance(14000.0)
    assert rows(Session.resume(session.freeze()).finish().trace) == rows(
        simulate(station, given).trace
    )


# ---------------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("verb", "subject", "said"),
    [
        ("kick", "P1", "no action is called 'kick'; there are hand, off, auto, reset"),
        ("", "P1", "no action is called ''"),
        ("hand", "P9", "no machine is called 'P9'; there are P1, P2"),
        ("hand", "grid", "no machine is called 'grid'"),
        ("hand", "E1", "no machine is called 'E1'"),
    ],
)
def test_an_action_that_does_not_exist_is_refused(verb: Any, subject: str, said: str) -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    with pytest.raises(ActionError) as caught:
        session.act(verb, subject)
    assert said in str(caught.value)
    assert isinstance(caught.value, InputError)
    assert session.replay() == session.episode


def test_a_session_cannot_go_back() -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    session.advance(500.0)
    assert session.advance(500.0) == ()
    with pytest.raises(ActionError, match="stands at 500 s and cannot go back to 499 s"):
        session.advance(499.0)
    with pytest.raises(ActionError, match="nan"):
        session.advance(float("nan"))
    assert session.now_s == 500.0


def test_after_the_end_nothing_can_be_done() -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    session.advance(3000.0)
    with pytest.raises(ActionError, match="the end of the episode has been reached"):
        session.act("hand", "P1")


def test_a_finished_session_is_finished() -> None:
    session = Session(duplex(), episode(3000.0, 0.01))
    result = session.finish()
    assert session.finish() is result
    for refused in (
        lambda: session.advance(5000.0),
        session.advance,
        lambda: session.act("hand", "P1"),
        session.freeze,
    ):
        with pytest.raises(ActionError, match="the session is finished"):
            refused()


def test_an_event_of_an_unknown_machine_is_refused_at_once() -> None:
    with pytest.raises(ActionError, match="no machine is called 'P7'"):
        Session(duplex(), episode(3000.0, 0.01, ScriptedEvent(1.0, "off", "P7")))


def test_what_belongs_to_one_instant_comes_in_the_documented_order() -> None:
    """Supply, then crossings, then people, then faults that end, then the controller.

    At 1000 s the level reaches the lead start; the grid is lost and P1 is switched off then too.
    """
    given = episode(
        2000.0,
        0.01,
        ScriptedEvent(1000.0, "off", "P1"),
        ScriptedEvent(1000.0, "grid loss", "grid", 100.0),
    )
    trace = simulate(duplex(), given).trace
    at_once = [e.event for e in trace.events if abs(e.t_s - 1000.0) < 1e-6]
    assert at_once == ["grid lost", "alarm raised", "off"]
    assert [(r.machine, r.start_s) for r in trace.runs] == [(1, 1100.0)]


@pytest.mark.parametrize("hair_s", [-2e-7, -1e-12, 0.0, 1e-12, 2e-7])
def test_an_action_within_an_instant_of_a_start_is_replayed_alike(hair_s: float) -> None:
    """Round times meet round times: what differs by rounding only must not come out differently."""
    given = episode(4000.0, 0.01)
    session = Session(duplex(), given)
    session.advance(1000.0 + hair_s)
    session.act("off", "P1")
    session.act("hand", "P2")
    result = session.finish()
    assert rows(simulate(duplex(), result.episode).trace) == rows(result.trace)


def test_an_action_before_anything_has_happened_comes_just_after_the_first_turn() -> None:
    session = Session(duplex(), episode(3000.0, 0.01, start_level_m=2.1))
    session.act("off", "P1")
    result = session.finish()
    assert 0.0 < result.episode.events[0].at_s < 1e-5
    first = result.trace.runs[0]
    assert (first.machine, first.stopped_by) == (0, "selector in off")
    assert rows(simulate(duplex(), result.episode).trace) == rows(result.trace)

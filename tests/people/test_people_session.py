"""Sessions with people: in pieces, frozen, ended in the middle of anything, and replayed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from crews import HOUR, MINUTE, at_once, bytes_of, chain, just, moments, wednesday, with_mobile

from stationsim.episode import ScriptedEvent
from stationsim.errors import ActionError
from stationsim.people.response import Person, Task, Tool, Visit
from stationsim.simulation.session import Session, simulate
from stationsim.testing import duplex, episode, reference_station

STATION = with_mobile(reference_station())
CASE = wednesday(7.0, chain("drawn"))
STOPS_MIN = (0.0, 1.0, 3.0, 8.0, 20.0, 50.0, 80.0, 300.0, 480.0, 490.0)


def test_in_pieces_it_is_the_same() -> None:
    session = Session(STATION, CASE)
    for minute in STOPS_MIN:
        session.advance(minute * MINUTE)
        assert session.level_m > 0.0
    assert bytes_of(session.finish()) == bytes_of(simulate(STATION, CASE))


def test_from_one_notice_to_the_next_it_is_the_same() -> None:
    session = Session(STATION, CASE)
    while not session.done:
        session.advance()
    assert bytes_of(session.finish()) == bytes_of(simulate(STATION, CASE))


@pytest.mark.parametrize("ends_min", [1.0, 3.0, 4.0, 10.0, 20.0, 40.0, 65.0, 78.0, 90.0, 481.0])
def test_a_run_may_end_in_the_middle_of_anything(ends_min: float) -> None:
    whole = simulate(STATION, wednesday(7.0, chain())).trace
    end_s = ends_min * MINUTE
    cut = simulate(STATION, replace(wednesday(7.0, chain()), duration_s=end_s)).trace
    expected = [
        row if row.stop_s < end_s else row._replace(stop_s=end_s, outcome="end of run")
        for row in whole.crew
        if row.start_s < end_s
    ]
    assert [repr(row) for row in cut.crew] == [repr(row) for row in expected]
    assert [row.t_s for row in cut.events if row.subject == "call-out"] == [
        row.t_s for row in whole.events if row.subject == "call-out" and row.t_s < end_s
    ]


def test_what_is_due_within_the_last_instant_pulls_nothing_over_the_end() -> None:
    # something happens 0.4 us before the end; the work that would last beyond it is not done
    end_s = 6000.0
    soon = ScriptedEvent(end_s - 4e-7, "hand", "P1", None)
    stopped = ScriptedEvent(60.0, "controller stopped", "panel")
    response = at_once("anna", tasks=(Task("set right", takes=just(9000.0)),))
    case = replace(episode(end_s, 1e-5, stopped, soon), response=response)
    trace = simulate(duplex(), case).trace
    assert [row.outcome for row in trace.crew if row.task == "set right"] == ["end of run"]
    assert not moments(trace, "controller back")


def test_it_is_frozen_before_and_after_people_and_refused_between() -> None:
    # a failed pump that anna resets: nobody is at it before 1000 s and after 3000 s
    one = Person("anna", acknowledges=just(300.0), gets_ready=just(300.0), travels=just(600.0))
    response = replace(
        at_once("anna", tasks=(Task("reset", takes=just(800.0)),), visit=Visit("anna", 3 * HOUR)),
        people=(one,),
    )
    fails = ScriptedEvent(1000.0, "fails", "P1")
    case = replace(episode(6 * HOUR, 0.004, fails), response=response)
    whole = bytes_of(simulate(duplex(), case))
    for at_s, open_ in (
        (0.0, False), (999.0, False), (1001.0, True), (1299.0, True), (1500.0, True),
        (2100.0, True), (2900.0, True), (3001.0, False), (4 * HOUR, False),
    ):  # fmt: skip
        session = Session(duplex(), case)
        session.advance(at_s)
        if open_:
            with pytest.raises(ActionError, match="people at work"):
                session.freeze()
            continue
        frozen = session.freeze()
        assert bytes_of(Session.resume(frozen).finish()) == whole
        assert bytes_of(session.finish()) == whole


def test_a_driver_whose_tanker_is_no_longer_needed_keeps_no_story_open() -> None:
    lost = ScriptedEvent(60.0, "grid loss", "grid", HOUR)
    response = at_once(
        "anna", look_again_s=1800.0,
        tasks=(Task("haul", takes=just(300.0), people=0, tool="tanker",
                    brought_for=("power failed",)),),
        tools=(Tool("tanker", delivered=just(60.0), holds_m3=30.0),),
    )  # fmt: skip
    case = replace(episode(6 * HOUR, 1e-5, lost), response=response)
    session = Session(duplex(), case)
    session.advance(5000.0)
    (left_s,) = moments(session.finish().trace, "crew leaves")
    again = Session(duplex(), case)
    again.advance(left_s + 1.0)
    assert again.freeze()


def test_a_hand_at_the_very_moment_of_the_crew_is_replayed_as_it_was() -> None:
    # anna resets P1 at 3000 s; at that same moment somebody sets it to off, before her
    fails = ScriptedEvent(1000.0, "fails", "P1")
    response = at_once("anna", tasks=(Task("reset", takes=just(2000.0)),))
    case = replace(episode(2 * HOUR, 0.004, fails), response=response)
    session = Session(duplex(), case)
    session.advance(3000.0)
    session.act("off", "P1")
    acted = session.finish()
    order = [row.event for row in acted.trace.events if row.t_s == 3000.0]
    assert "off" in order
    assert "reset" in order
    assert bytes_of(simulate(duplex(), session.replay())) == bytes_of(acted)

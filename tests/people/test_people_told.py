"""What is said of people: the chain in sentences, figures of the summary, words, and hand-outs.

Moments and minutes are hand sums of the durations in ``crews``; the volume that spills is an own
computation, checked in ``test_people_chain``.
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from crews import (
    CONNECT,
    HOUR,
    MINUTE,
    MOBILE,
    OPERATOR,
    chain,
    just,
    minutes,
    reference,
    reference_station,
    with_mobile,
)
from everything import day, event_of, everything

from stationsim import handout, vocabulary
from stationsim.episode import Episode, ScriptedEvent
from stationsim.metrics.call_outs import call_outs
from stationsim.people.response import (
    ClockSpan,
    PasserBy,
    Person,
    Response,
    Task,
    Tool,
    Visit,
)
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import MONDAY, reference_inflow
from stationsim.vocabulary.crew import CALL_OUT_EVENTS
from stationsim.wording import sentences

OF_PEOPLE = {
    "call-outs",
    "longest time until known",
    "longest time from alarm to site",
    "alarms that reached nobody",
    "crew hours",
}
CALLS = ("power failed", "high level")
LOST = ScriptedEvent(0.0, "telemetry lost", "telemetry")
FITTER = Person("A. Fitter", minutes(1, 5, 30), minutes(5, 10, 20), minutes(10, 25, 90))
FULL = Response(
    people=(OPERATOR, FITTER),
    call_list=("operator", "A. Fitter"),
    on_phone=just(180.0),
    tools=(
        MOBILE,
        Tool("lifting gear", delivered=minutes(30, 60, 90)),
        Tool("tanker", delivered=minutes(10, 20, 30), holds_m3=3.0, round_trip=just(1200.0)),
    ),
    tasks=(
        Task("set right", minutes(5, 10, 20)),
        Task("reset", minutes(2, 5, 10)),
        Task("clear rags", minutes(10, 20, 40), people=2),
        Task("pull a pump", minutes(60, 90, 120), people=2, tool="lifting gear"),
        CONNECT,
        Task("refuel", minutes(5, 10, 15)),
        Task("haul", minutes(5, 8, 10), people=0, tool="tanker"),
    ),
    look_again_s=300.0,
    assesses=just(300.0),
)


@functools.cache
def told(hour: float, response: Response, *events: ScriptedEvent) -> Result:
    return reference(hour, response, *events)


@functools.cache
def troubled(*kinds: str) -> Result:
    """Run a day at the station that has everything, with troubles that last until mended."""
    events = [event_of(kind, 600.0 + 60.0 * n) for n, kind in enumerate(kinds)]
    events = [replace(event, duration_s=None) for event in events]
    return simulate(everything(), replace(day(*events, hours=8.0), response=FULL))


def about_people(result: Result) -> list[str]:
    quiet = ("It ", "The grid", "P1", "The level", "If all", "In all", "Telemetry", "No electric")
    return [line for line in sentences(result) if not line.startswith(quiet)]


# ---------------------------------------------------------------------- the chain


def test_the_chain_is_told_in_one_sentence() -> None:
    (line,) = about_people(told(7.0, chain()))
    assert line == (
        "The power failed at Wed 07:00; the alarm reached the operator at 07:08 and they stood on"
        " site at 07:58, 58 min after it; the mobile generator fed the station from 08:18, 1 h"
        " 18 min after it; 38.6 m3 spilled meanwhile, from 07:39 on."
    )
    assert sentences(told(7.0, chain())).index(line) == 2  # behind the spill and the supply


def test_us_units_and_no_spill() -> None:
    (line,) = about_people(told(3.0, chain()))
    assert line.endswith("from 04:18, 1 h 18 min after it; nothing spilled meanwhile.")
    us = [line for line in sentences(told(7.0, chain()), "us") if line.startswith("The power")]
    assert "10,205 gal spilled meanwhile" in us[0]


def test_what_took_another_time_than_planned_is_told_and_nothing_else() -> None:
    chained, plan = about_people(told(7.0, chain("high")))
    assert "on site at 10:05, 3 h 5 min after it" in chained
    assert plan == (
        "Against the plan, it took 30 min instead of 5 min until somebody acknowledged, 20 min"
        " instead of 10 min to get ready, 30 min instead of 15 min to fetch the mobile generator,"
        " 1 h 30 min instead of 25 min for the way and 50 min instead of 20 min to connect the"
        " mobile generator."
    )
    person = replace(OPERATOR, acknowledges=minutes(1, 2, 2.9), travels=minutes(10, 25, 27))
    _chained, plan = about_people(told(7.0, chain("high", people=(person,))))
    assert "until somebody acknowledged" not in plan  # 54 s: within the minute
    assert "27 min instead of 25 min for the way" in plan


def test_never_more_than_six_sentences_and_two_of_people_beside_trouble() -> None:
    response = chain("high", alarms=CALLS)
    late = replace(LOST, duration_s=1200.0)
    assert len(sentences(told(7.0, response, late))) <= 6


def test_nobody_answers() -> None:
    deaf = replace(OPERATOR, answers=False)
    forever = chain(people=(deaf,), alarms=("power failed",))
    (line,) = about_people(told(7.0, forever))
    assert "the operator was called from 07:03 on, and nobody had answered by the end" in line
    response = replace(forever, next_after_s=600.0)
    (line,) = about_people(told(7.0, response))
    assert line.startswith(
        "The power failed at Wed 07:00; the operator was called from 07:03 on and did not answer:"
        " nobody came; 315 m3 spilled meanwhile"
    )


def test_nobody_is_on_call() -> None:
    response = chain(people=(replace(OPERATOR, on_call=ClockSpan(20 * HOUR, 22 * HOUR)),))
    (line,) = about_people(told(7.0, response))
    assert "at 07:03 nobody was on call, and nobody came" in line


def test_the_next_one_is_called() -> None:
    deaf = Person("first one", answers=False)
    response = chain(
        people=(deaf, OPERATOR), call_list=("first one", "operator"), next_after_s=600.0
    )
    (line,) = about_people(told(7.0, response))
    assert (
        "the alarm reached the operator at 07:18, for the first one did not answer in time, and"
        " they stood on site at 08:08, 1 h 8 min after it" in line
    )


def test_all_was_clear_before_anybody_went() -> None:
    lost = ScriptedEvent(0.0, "grid loss", "grid", 4.0 * MINUTE)
    flow = reference_inflow()
    episode = Episode(MONDAY, 2 * HOUR, (flow,), 1.0, events=(lost,), response=chain())
    (line,) = about_people(simulate(with_mobile(reference_station()), episode))
    assert line == (
        "The power failed at Mon 00:00; the alarm reached the operator at 00:08, and nobody had to"
        " go: all was clear by then; nothing spilled meanwhile."
    )


# ---------------------------------------------------------------------- the slow ways


def test_the_round_came_by() -> None:
    response = chain(alarms=CALLS, visit=Visit("operator", 9.0 * HOUR))
    chained, plan = about_people(told(7.0, response, LOST))
    assert chained.startswith(
        "The power failed at Wed 07:00; nobody knew until the operator came by on the round at"
        " 09:00, 2 h after it; the mobile generator fed the station from 10:25, 3 h 25 min after it"
    )
    # to the yard and back, 25 min each, and 15 min there
    assert plan == (
        "Against the plan, the step 'connect mobile generator' waited 1 h 5 min for hands or a"
        " tool."
    )


def test_the_round_found_nothing_that_calls() -> None:
    """Water spills slowly with all pumps off: no alarm has left, and the round finds it."""
    off = tuple(ScriptedEvent(0.0, "off", name) for name in ("P1", "P2"))
    episode = Episode(
        MONDAY,
        12 * HOUR,
        (reference_inflow(),),
        1.0,
        events=(*off, ScriptedEvent(0.0, "alarm off", "high level")),
        response=chain(visit=Visit("operator", 9.0 * HOUR)),
    )
    told = sentences(simulate(with_mobile(reference_station()), episode))
    (line,) = [line for line in told if "on the round" in line]
    assert line.startswith("It began to spill at Mon ")
    assert "; the operator came by on the round at 09:00, " in line
    assert "nobody knew" not in line  # no alarm was raised that anybody could have known of


def test_nobody_answers_in_time_and_nobody_has_to_go() -> None:
    lost = ScriptedEvent(0.0, "grid loss", "grid", 5.0 * MINUTE)
    deaf = Person("first one", answers=False)
    response = chain(
        people=(deaf, OPERATOR), call_list=("first one", "operator"), next_after_s=600.0
    )
    episode = Episode(MONDAY, HOUR, (reference_inflow(),), 1.0, events=(lost,), response=response)
    (line,) = about_people(simulate(with_mobile(reference_station()), episode))
    assert (
        "the alarm reached the operator at 00:18, for the first one did not answer in time, and"
        " nobody had to go: all was clear by then" in line
    )


def test_a_passer_by_rang() -> None:
    response = chain(alarms=CALLS, passer_by=PasserBy(minutes(20, 30, 60)))
    chained, _plan = about_people(told(7.0, response, LOST))
    assert (
        "nobody knew until somebody who passed by and saw a spill rang at 08:09, 1 h 9 min after"
        " it; the call reached the operator at 08:14 and they stood on site at 08:49" in chained
    )


def test_an_alarm_never_left_and_nobody_knew() -> None:
    result = told(7.0, chain(alarms=CALLS), LOST)
    (line,) = about_people(result)
    assert line == (
        "Nobody knew of the alarm 'high level', which stood from Wed 07:06 for 8 h 12 min: it never"
        " left the station; nor of 1 more alarm; nobody came."
    )
    assert result.value("alarms that reached nobody") == 2
    assert math.isnan(result.value("longest time until known"))
    assert result.value("crew hours") == 0.0


def test_an_alarm_left_late() -> None:
    back = replace(LOST, duration_s=90.0 * MINUTE)
    line = about_people(told(7.0, chain(alarms=CALLS), back))[0]
    assert (
        "no alarm left the station until 08:30; the alarm reached the operator at 08:38 and they"
        " stood on site at 09:28" in line
    )


# ---------------------------------------------------------------------- other troubles


def test_trouble_that_the_crew_set_right_is_the_cause_that_is_told() -> None:
    line = about_people(troubled("control breaker open"))[0]
    assert line == (
        "The control breaker was open from Mon 00:10 on; the alarm 'control power failed' reached"
        " the operator at 00:18 and they stood on site at 00:53, 43 min after it; the panel was set"
        " right at 01:08, 58 min after it; nothing spilled meanwhile."
    )


def test_two_hands_at_one_thing_are_told_once() -> None:
    lines = about_people(troubled("seal leak into motor", "clogged"))
    assert lines[0].count("P1 was clear of rags at") == 1
    assert "P1 was clear of rags at 02:03" in lines[0]
    assert lines[1] == "Against the plan, the step 'clear rags' waited 45 min for hands or a tool."


def test_several_call_outs_are_counted_and_the_one_that_mattered_is_told() -> None:
    events = tuple(
        ScriptedEvent(at_h * HOUR, "grid loss", "grid", lasts_h * HOUR)
        for at_h, lasts_h in ((7.0, 0.05), (31.0, 3.0), (55.0, 2.0))
    )
    episode = Episode(
        MONDAY, 4 * 24 * HOUR, (reference_inflow(),), 1.0, events=events, response=chain()
    )
    result = simulate(with_mobile(reference_station()), episode)
    counted, chained = about_people(result)[:2]
    assert counted.startswith(
        "People were called, or came by, 3 times between Mon 07:03 and Wed 07:03; somebody stood on"
        " site twice, 58 min after the first alarm; once all was clear before anybody had come."
    )
    assert chained.startswith("The one that mattered most: the power failed at Wed 07:00;")
    assert len(call_outs(result.trace, chain())) == 3


# ---------------------------------------------------------------------- nothing happens


@pytest.mark.parametrize("response", [chain(), chain(visit=Visit("operator", 9.0 * HOUR))])
def test_people_who_have_nothing_to_do_are_not_told_of(response: Response) -> None:
    quiet = Episode(MONDAY, 36 * HOUR, (reference_inflow(),), 1.0)
    station = with_mobile(reference_station())
    alone, served = simulate(station, quiet), simulate(station, replace(quiet, response=response))
    assert sentences(served) == sentences(alone)
    old = served.summary.loc[~served.summary["metric"].isin(OF_PEOPLE)].reset_index(drop=True)
    pd.testing.assert_frame_equal(old, alone.summary, check_exact=True)
    assert not set(alone.summary["metric"]) & OF_PEOPLE
    assert served.value("call-outs") == 0
    assert served.value("crew hours") == 0.0


def test_without_people_a_night_is_told_as_ever() -> None:
    lines = sentences(reference(7.0, None))
    assert not any("operator" in line or "Nobody knew" in line for line in lines)
    assert [line.split()[0] for line in lines] == ["It", "The", "P1", "The", "In"]


# ---------------------------------------------------------------------- figures


def test_figures_of_the_chain_by_hand() -> None:
    result = told(7.0, chain())
    assert result.value("call-outs") == 1
    assert result.value("longest time until known", "power failed") == pytest.approx(8 * MINUTE)
    # its phone rings three minutes after it, as somebody is on the way: that ends its wait
    assert result.value("longest time until known", "high level") == pytest.approx(3 * MINUTE)
    assert result.value("longest time until known") == pytest.approx(8 * MINUTE)
    assert result.value("longest time from alarm to site") == pytest.approx(58 * MINUTE)
    assert result.value("alarms that reached nobody") == 0
    # from 07:08 until the last has left
    leaves_s = next(row.t_s for row in result.trace.events if row.event == "crew leaves")
    assert result.value("crew hours") == pytest.approx((leaves_s - 8 * MINUTE) / HOUR)


def test_hours_of_two_people_add_up() -> None:
    result = troubled("seal leak into motor", "clogged")
    # 00:18 and 01:03 (5 min after 00:58, as hands were missed), both until 02:03
    assert result.value("crew hours") == pytest.approx((105 + 60) / 60, abs=1e-6)


# ---------------------------------------------------------------------- words


def runs() -> list[Result]:
    deaf = chain(people=(replace(OPERATOR, answers=False),))
    away = chain(people=(replace(OPERATOR, on_call=ClockSpan(20 * HOUR, 22 * HOUR)),))
    return [
        told(7.0, chain()),
        told(7.0, chain("high")),
        told(7.0, deaf),
        told(7.0, away),
        told(7.0, chain(tools=(replace(MOBILE, number=0),))),
        told(7.0, chain(alarms=CALLS, visit=Visit("operator", 9.0 * HOUR)), LOST),
        told(7.0, chain(alarms=CALLS, passer_by=PasserBy(minutes(20, 30, 60))), LOST),
        troubled("control breaker open"),
        troubled("fails"),
        troubled("seal leak into motor", "clogged"),
        troubled("grid loss", "generator fails"),
    ]


def test_a_run_with_people_says_nothing_that_does_not_stand_in_the_vocabulary() -> None:
    events = {entry.word for entry in vocabulary.EVENTS}
    tasks = {entry.word for entry in vocabulary.TASKS}
    outcomes = tuple(entry.word for entry in vocabulary.OUTCOMES)
    metrics = {entry.word: entry.unit for entry in vocabulary.METRICS}
    seen_tasks: set[str] = set()
    seen_events: set[str] = set()
    for result in runs():
        assert set(result.events["event"]) <= events
        assert (result.events["seen"] != "").all()
        assert [c for c in result.events["cause"] if vocabulary.cause_of(c) is None] == []
        assert set(result.crew["task"]) <= tasks
        assert [o for o in result.crew["outcome"] if not o.startswith(outcomes)] == []
        for metric, unit in zip(result.summary["metric"], result.summary["unit"], strict=True):
            assert metrics[metric] == unit
        assert set(result.summary["metric"]) >= OF_PEOPLE
        seen_tasks |= set(result.crew["task"])
        seen_events |= set(result.events["event"])
    # the runs above are no empty ones
    assert seen_tasks >= {"called", "gets ready", "fetches", "comes", "travels", "looks around"}
    assert seen_tasks >= {"looks on", "visits", "reset", "set right", "clear rags"}
    assert seen_events >= {entry.word for entry in CALL_OUT_EVENTS} - {"stood down"}


@pytest.mark.parametrize(
    ("word", "kinds"),
    [
        ("acknowledged", {"event", "outcome"}),
        ("by the crew", {"cause"}),
        ("looks on", {"task"}),
        ("stood down", {"event", "task"}),
        ("waited_s", {"column"}),
        ("person", {"column"}),
        ("crew hours", {"metric"}),
        ("another one took it", {"outcome"}),
    ],
)
def test_words_of_people_are_explained(word: str, kinds: set[str]) -> None:
    assert {entry.kind for entry in vocabulary.lookup_all(word)} == kinds


# ---------------------------------------------------------------------- hand-outs


def test_a_hand_out_has_what_people_did_and_were_told() -> None:
    result = told(7.0, chain())
    tables = handout.seen_tables(result)
    assert list(tables["crew"]["task"]) == list(result.crew["task"])
    own = tables["events"].loc[tables["events"]["subject"] == "call-out", "event"]
    assert list(own) == ["acknowledged", "crew on site", "crew leaves"]
    assert "mobile generator connected" in set(tables["events"]["event"])  # by the crew
    reached = tables["alarms"].set_index("alarm")["reached_s"]
    assert reached["power failed"] == 480.0
    assert len(tables["events"]) + len(handout.key_table(result)) == len(result.events) + len(
        result.spills
    )


def test_what_a_crew_mended_it_knows_and_what_nobody_found_stays_in_the_key() -> None:
    result = troubled("control breaker open")
    events = handout.seen_tables(result)["events"]
    assert "control breaker closed" in set(events["event"])
    key = handout.key_table(result)
    assert "control breaker open" in set(key["event"])
    assert "control breaker closed" not in set(key["event"])


def test_without_people_a_hand_out_is_as_ever(tmp_path) -> None:
    result = reference(7.0, None)
    assert "crew" not in handout.seen_tables(result)
    handout.write_into(result, tmp_path)
    assert not (tmp_path / "crew.csv").exists()
    with_people = tmp_path / "served"
    with_people.mkdir()
    handout.write_into(told(7.0, chain()), with_people)
    crew = pd.read_csv(with_people / "crew.csv")
    assert np.isclose(crew.loc[crew["task"] == "travels", "stop_s"], 58 * MINUTE).all()

"""Orders of a drill: how long each takes, who can do it, what is told; and a drill by the plan.

Times are hand sums from the ranges of each test, in minutes; 'ms' of an order that is felt an
instant later are left out. Where a response exists, the run by the plan is the other judge: who
orders what the plan does, when it does it, gets the same events. The minutes of the chain of
``plan_chain`` are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from any_drill import SCENARIOS, scenario
from plan_chain import chain, rich_station, station, week

from stationsim.chance import Range
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.errors import ActionError, InputError
from stationsim.people.response import ClockSpan, PasserBy, Person, Response, Task, Tool, Visit
from stationsim.scenario.load import load_scenario
from stationsim.simulation.session import simulate
from stationsim.station import AlarmSettings, Station
from stationsim.studies.drill import Drill, Told
from stationsim.studies.drill.crew.hands import SITE
from stationsim.testing import MONDAY, bypass_pump, duplex, engine_pump, episode

MIN, HOUR = 60.0, 3600.0
NEAR = 0.01
"""Of a moment: orders are felt an instant after they are given [s]."""


def just(minutes: float) -> Range:
    return Range.point(minutes * MIN)


def said_by(drill: Drill, text: str) -> list[Told]:
    return [one for one in drill.told if text in one.text]


def minutes_of(drill: Drill, text: str) -> list[float]:
    return [round(one.t_s / MIN, 3) for one in said_by(drill, text)]


def at(drill: Drill, minute: float, line: str) -> list[Told]:
    """Type a line at a minute."""
    drill.wait_until(minute * MIN)
    return drill.type(line)


def refused(told: Sequence[Told]) -> str:
    assert [one.by for one in told] == ["refused"], told
    return told[0].text


def moments(drill: Drill, event: str, subject: str | None = None) -> list[float]:
    """Return when an event of the run was, in minutes."""
    rows = drill.session.events_since(0)
    return [
        round(row.t_s / MIN, 3)
        for row in rows
        if row.event == event and subject in (None, row.subject)
    ]


ANNA = Person("anna", just(5), just(10), just(20))
BERT = Person("bert", just(3), just(6), just(15))


def answer(**changes: Any) -> Response:
    """Return anna, who plays, and bert: the far end takes 2 min and a phone 1 min more."""
    fields: dict[str, Any] = {
        "people": (ANNA, BERT), "call_list": ("anna", "bert"), "picked_up": just(2),
        "on_phone": just(1),
    }  # fmt: skip
    return Response(**{**fields, **changes})


def drilled(
    *events: ScriptedEvent,
    stands: Station | None = None,
    flow_m3s: float = 0.01,
    hours: float = 6.0,
    on_site: bool = False,
    level_m: float = 1.0,
    start_hours: float = 0.0,
    **changes: Any,
) -> Drill:
    """Return a drill at a tank of 10 m2 with two pumps of 30 L/s, which start at 2 m."""
    case = episode(
        hours * HOUR, flow_m3s, *events, start_level_m=level_m,
        start=MONDAY + timedelta(hours=start_hours),
    )  # fmt: skip
    case = replace(case, response=answer(**changes))
    return Drill(stands or duplex(), case, on_site=on_site)


def failed(minute: float = 1.0) -> ScriptedEvent:
    """Return P1 that fails, until it is reset: alarm 'pump failed' at once."""
    return ScriptedEvent(minute * MIN, "fails", "P1")


# ---------------------------------------------------------------------- a drill by the plan


def by_the_plan(stands: Station, case: Episode) -> tuple[Drill, Any]:
    """Order what the plan did, when it did it; return the drill, and the run by the plan."""
    plan = simulate(stands, case)
    drill = Drill(stands, case)
    response = case.response
    assert response is not None
    me = drill.crew.me.name
    leaves = [
        (row.t_s, f"send {row.detail} home")
        for row in plan.trace.events
        if row.event == "crew leaves"
    ]
    lines: list[tuple[float, str]] = []
    done: set[tuple[str, str, float]] = set()
    for row in plan.trace.crew:
        tools = [
            one.tool
            for one in plan.trace.crew
            if (one.task, one.person, one.start_s) == ("fetches", row.person, row.stop_s)
        ]
        key = (row.task, row.subject, row.start_s)
        if key in done:
            continue
        done.add(key)
        if row.task == "gets ready":
            lines.append(
                (row.start_s, f"send {row.person}" + (f" for {tools[0]}" if tools else ""))
            )
        elif row.task == "comes":
            lines.append((row.start_s, f"call {row.tool}"))
        elif row.task == "looks around" and row.person == me:
            lines.append((row.start_s, "look"))
        elif row.task.startswith(("connect ", "disconnect ")):
            lines.append((row.start_s, row.task))
        elif row.task in ("reset", "refuel"):
            lines.append((row.start_s, f"{row.task} {row.subject}"))
        elif row.task == "haul":
            lines.append((row.start_s, "haul"))
        elif row.task in ("set right", "clear rags", "pull a pump"):
            lines.append((row.start_s, f"mend {row.subject}"))
    for at_s, line in sorted([*lines, *leaves], key=lambda one: one[0]):
        drill.wait_until(at_s)
        if line.endswith(" home") and drill.crew.hands[line[5:-5]].place != SITE:
            continue  # the round of the plan looks in where all is well, too
        told = drill.type(line)
        while told[0].by == "refused" and drill.now_s < at_s + 0.5:  # hands are free in an instant
            drill.wait_until(drill.now_s + 1e-3)
            told = drill.type(line)
        assert all(one.by != "refused" for one in told), (line, told)
    drill.wait_until(case.duration_s)
    return drill, plan


@pytest.mark.parametrize(
    ("name", "sets"),
    [
        ("reference-plan", ()),
        ("reference-plan", ("call_out.pace=low",)),
        ("woad-quay", ()),
        ("madder-holm", ()),
        ("madder-holm", ("call_out.pace=high",)),
        ("hemp-staithe", ("person.first.answers_at_night=true",)),
        ("sedge-hythe", ()),
    ],
)
def test_who_orders_what_the_plan_does_gets_the_run_by_the_plan(
    name: str, sets: tuple[str, ...]
) -> None:
    stands, case = load_scenario(SCENARIOS / f"{name}.toml", sets=list(sets))
    drill, plan = by_the_plan(stands, case)
    result = drill.finish()

    def told(trace: Any) -> list[tuple[float, str, str]]:
        rows = [row for row in trace.events if row.subject != "call-out"]
        return [(row.t_s, row.subject, row.event) for row in rows]

    ours, theirs = told(result.trace), told(plan.trace)
    assert [row[1:] for row in ours] == [row[1:] for row in theirs]
    assert [row[0] for row in ours] == pytest.approx([row[0] for row in theirs], abs=0.5)
    assert len(drill.decided) >= 2
    assert result.trace.spilled_m3 == pytest.approx(plan.trace.spilled_m3, abs=0.02)
    assert result.trace.hauled_m3 == pytest.approx(plan.trace.hauled_m3, abs=1e-6)


def test_the_chain_of_the_reference_station_takes_its_78_minutes() -> None:
    # 1 + 2 + 5 until told, 10 ready, 15 collected, 25 way, 15 connected + 5 started
    drill = Drill(station(), replace(week(chain()), events=(
        ScriptedEvent(0.0, "grid loss", "grid", 8 * HOUR),)))  # fmt: skip
    drill.type("wait")
    assert minutes_of(drill, "alarm power failed") == [8.0]
    drill.type("send me for mobile generator")
    drill.wait_until(58.2 * MIN)
    assert minutes_of(drill, "you stand on site") == [58.0]
    assert moments(drill, "mobile generator connected") == []
    at(drill, 58.5, "connect mobile generator")
    drill.wait_until(79 * MIN)
    assert moments(drill, "mobile generator connected") == [78.5]
    assert [row.task for row in drill.crew.diary.rows] == [
        "gets ready", "fetches", "travels", "connect mobile generator",
    ]  # fmt: skip


# ---------------------------------------------------------------------- phones


def test_an_alarm_rings_after_its_poll_and_wakes_whoever_plays_once() -> None:
    second = ScriptedEvent(20 * MIN, "fails", "P2")
    drill = drilled(failed(1), second)
    drill.wait_until(2 * HOUR)
    # 1 + 2 + 1 + 5 to pick up the phone; then 20 + 2 + 1
    assert minutes_of(drill, "pump failed") == [9.0, 23.0]
    assert sorted(drill.reached.values())[:2] == pytest.approx([540.0, 1380.0], abs=NEAR)


def test_an_alarm_that_comes_while_the_phone_rings_is_told_with_it() -> None:
    drill = drilled(failed(1), ScriptedEvent(4 * MIN, "fails", "P2"))
    drill.wait_until(2 * HOUR)
    assert minutes_of(drill, "pump failed") == [9.0, 9.0]


def test_by_night_whoever_plays_takes_longer_to_pick_up() -> None:
    slow = replace(ANNA, night_acknowledges=just(12))
    drill = drilled(failed(1), people=(slow, BERT), night=ClockSpan(22 * HOUR, 6 * HOUR))
    drill.wait_until(2 * HOUR)
    assert minutes_of(drill, "pump failed") == [16.0]


def test_the_end_of_an_alarm_is_told_and_never_before_the_alarm() -> None:
    short = ScriptedEvent(MIN, "fails", "P1", 2 * MIN)  # over at 3 min, and told of at 6 min
    drill = drilled(short, failed(60))
    drill.wait_until(2 * HOUR)
    told = [(one.text, round(one.t_s / MIN, 3)) for one in drill.told]
    assert told == [
        ("alarm pump failed, P1", 9.0), ("alarm pump failed, P1: over", 9.0),
        ("alarm pump failed, P1", 63.0),
    ]  # fmt: skip
    assert [one.text for one in drill.type("ask alarms")] == ["alarm pump failed, P1"]


def test_an_alarm_that_ends_sooner_by_a_draw_does_not_stand_for_ever() -> None:
    for seed in range(20):
        case = episode(HOUR, 0.01, ScriptedEvent(MIN, "fails", "P1", 5.0))
        spans = {"picked_up": Range(0, 60, 600), "on_phone": Range(0, 60, 600)}
        case = replace(case, response=answer(pace="drawn", **spans), seed=seed + 1)
        drill = Drill(duplex(), case)
        drill.wait_until(0.99 * HOUR)
        assert [one.text for one in drill.told] == [
            "alarm pump failed, P1", "alarm pump failed, P1: over",
        ]  # fmt: skip


def test_alarms_that_call_nobody_come_to_no_phone() -> None:
    drill = drilled(failed(1), alarms=("high level",))
    drill.wait_until(2 * HOUR)
    assert drill.told == []


LOST = ScriptedEvent(0.5 * MIN, "telemetry lost", "telemetry", 60 * MIN)


def test_while_telemetry_is_lost_nothing_comes_and_later_what_stands() -> None:
    ended = ScriptedEvent(5 * MIN, "fails", "P2", 2 * MIN)
    stands = duplex(alarms=AlarmSettings(high_level_m=3.0, telemetry_lost_delay_s=10 * MIN))
    drill = drilled(LOST, failed(1), ended, stands=stands)
    drill.wait_until(2 * HOUR)
    # the far end misses the station at 10.5: + 2 + 1 + 5. Back at 60.5: + 2 + 1
    assert [(one.text, round(one.t_s / MIN, 3)) for one in drill.told] == [
        ("alarm telemetry lost, telemetry".removesuffix(", telemetry"), 18.5),
        ("alarm telemetry lost: over", 63.5), ("alarm pump failed, P1", 63.5),
    ]  # fmt: skip


def test_the_panel_knows_nothing_of_an_alarm_that_the_far_end_raises() -> None:
    stands = duplex(alarms=AlarmSettings(high_level_m=3.0))
    drill = drilled(LOST, stands=stands, on_site=True, passer_by=PasserBy(just(1), "alarm light"))
    drill.wait_until(40 * MIN)
    assert [one.by for one in said_by(drill, "telemetry")] == ["phone"]
    assert [one.text for one in drill.type("ask")][-1] == "alarms: none"
    assert said_by(drill, "passer-by") == []


def test_an_empty_battery_silences_the_station() -> None:
    cut = ScriptedEvent(MIN, "grid loss", "grid", 60 * MIN)
    alarms = AlarmSettings(high_level_m=3.0, battery_s=10 * MIN, power_failed_delay_s=5 * MIN)
    drill = drilled(cut, failed(20), stands=duplex(alarms=alarms))
    drill.wait_until(2 * HOUR)
    told = [(one.text, round(one.t_s / MIN, 3)) for one in drill.told]
    # power failed at 6: + 3 + 5. Empty at 11; the far end misses it at once: + 2 + 1, and the
    # phone is answered at 14 too. At 61 all is live: what failed meanwhile comes at 64
    assert told[:2] == [("alarm power failed", 14.0), ("alarm telemetry lost", 14.0)]
    assert ("alarm pump failed, P1", 64.0) in told
    assert all(minute >= 64.0 for _text, minute in told[2:])


def test_alarms_without_supply_do_not_say_that_something_is_over() -> None:
    breaker = ScriptedEvent(10 * MIN, "control breaker open", "panel", 30 * MIN)
    free = ScriptedEvent(MIN, "fails", "P1", 20 * MIN)  # over at 21 min, while all is dead
    alarms = AlarmSettings(high_level_m=3.0, supply="control")
    for on_site in (False, True):
        drill = drilled(free, breaker, stands=duplex(alarms=alarms), on_site=on_site)
        drill.wait_until(39 * MIN)
        assert said_by(drill, "pump failed, P1: over") == []
        drill.wait_until(50 * MIN)
        if not on_site:
            assert minutes_of(drill, "pump failed, P1: over") == [43.0]


def test_who_is_called_answers_or_does_not() -> None:
    deaf = Person("carl", just(3), answers=False)
    late = Person("dora", just(3), just(1), just(1), on_call=ClockSpan(8 * HOUR, 16 * HOUR))
    people = (ANNA, BERT, deaf, late)
    drill = drilled(people=people)
    drill.type("call bert")
    assert refused(drill.type("call bert")) == "the phone of bert rings already"
    drill.type("call carl")
    assert "not on call" in refused(drill.type("call dora"))
    assert refused(drill.type("call anna")) == "that is you"
    drill.wait_until(30 * MIN)
    assert minutes_of(drill, "answers, and stands by") == [3.0]
    assert minutes_of(drill, "carl does not answer") == [10.0]  # nobody is to be called next
    assert "answered already" in refused(drill.type("call bert"))
    next_one = drilled(people=people, next_after_s=4 * MIN)
    next_one.type("call carl")
    next_one.wait_until(30 * MIN)
    assert minutes_of(next_one, "carl does not answer") == [4.0]
    by_day = drilled(people=people, start_hours=9.0)
    by_day.type("send dora")
    by_day.wait_until(30 * MIN)
    assert minutes_of(by_day, "on site") == [5.0]  # 3 + 1 + 1


def test_at_night_some_do_not_hear_their_phone_and_others_take_longer() -> None:
    deaf = Person("carl", just(3), answers_at_night=False)
    slow = replace(BERT, night_acknowledges=just(9), night_gets_ready=just(11))
    drill = drilled(people=(ANNA, deaf, slow), call_list=("anna",),
                    night=ClockSpan(22 * HOUR, 6 * HOUR))  # fmt: skip
    drill.type("call carl")
    drill.type("send bert")
    drill.wait_until(60 * MIN)
    assert len(said_by(drill, "carl does not answer")) == 1
    assert minutes_of(drill, "answers, and sets out") == [9.0]
    assert [one.t_s for one in drill.told if (one.text, one.who) == ("on site", "bert")] == (
        pytest.approx([(9 + 11 + 15) * MIN], abs=NEAR)
    )


# ---------------------------------------------------------------------- ways and tools

GEAR = Tool("lifting gear", fetched=just(7))
HIRED = Tool("tanker", delivered=just(30), holds_m3=4.0, round_trip=just(25))


def test_ways_by_the_yard_and_back() -> None:
    drill = drilled(tools=(GEAR, HIRED), late_s=5 * MIN)
    drill.type("send me")
    drill.type("send bert for lifting gear")
    drill.wait_until(30 * MIN)
    assert drill.place == "on the way"
    drill.wait_until(60 * MIN)
    assert minutes_of(drill, "you stand on site") == [35.0]  # 10 + 20, and the tree
    assert minutes_of(drill, "on site")[1] == 36.0  # bert: 3 + 6 + 7 + 15, and the tree
    assert "on site already" in refused(drill.type("send bert"))
    assert drill.type("send me for lifting gear")[0].by == "answer"
    drill.wait_until(70 * MIN)
    assert refused(drill.type("send me home")) == "you are not on site"
    drill.wait_until(150 * MIN)
    # there 20; there is none left; back 20; the tree lies on the first way only
    assert minutes_of(drill, "no lifting gear in the yard") == [80.0]
    assert minutes_of(drill, "back on site") == [100.0]
    drill.type("send me home")
    assert drill.place == "away"
    drill.type("send me")
    drill.wait_until(drill.now_s + 31 * MIN)
    assert drill.place == SITE  # 10 + 20: once is enough for a tree


def test_a_tool_that_is_delivered_is_called_and_others_are_not() -> None:
    drill = drilled(tools=(GEAR, HIRED, Tool("cans")))
    assert "send NAME for" in refused(drill.type("call lifting gear"))
    assert "is on site" in refused(drill.type("call cans"))
    drill.type("call tanker")
    assert "ordered already" in refused(drill.type("call tanker"))
    assert "call tanker" in refused(drill.type("send me for tanker"))
    drill.wait_until(HOUR)
    assert minutes_of(drill, "tanker is on site") == [30.0]


def test_a_tanker_takes_its_loads_and_drives_between_them() -> None:
    tasks = (Task("haul", just(5), people=0, tool="tanker"),)
    drill = drilled(failed(0.1), ScriptedEvent(6.0, "fails", "P2"), tools=(HIRED,), tasks=tasks,
                    level_m=1.5)  # fmt: skip
    assert "no tanker on site" in refused(drill.type("haul"))
    drill.type("call tanker")
    at(drill, 10, "wait 1 min")
    assert "not on site yet" in refused(drill.type("haul"))
    at(drill, 40, "haul 3")
    assert "in use" in refused(drill.type("haul"))
    drill.wait_until(3 * HOUR)
    assert moments(drill, "tanker takes") == [40.0, 70.0, 100.0]  # 5 + 25 from one to the next
    assert minutes_of(drill, "is on its way") == [45.0, 75.0, 105.0]
    assert minutes_of(drill, "is back, empty") == [70.0, 100.0, 130.0]
    assert drill.finish().trace.hauled_m3 == pytest.approx(12.0, rel=1e-9)


def test_a_load_waits_for_no_hands_that_have_gone() -> None:
    tasks = (Task("haul", just(5), people=1, tool="tanker"),)
    drill = drilled(on_site=True, tools=(replace(HIRED, delivered=None),), tasks=tasks, level_m=1.5)
    drill.type("haul 2")
    at(drill, 10, "send me home")
    drill.wait_until(HOUR)
    assert moments(drill, "tanker takes") == [0.0]
    assert minutes_of(drill, "no hands are free") == [30.0]


def test_an_empty_well_gives_a_tanker_less() -> None:
    tasks = (Task("haul", just(5), people=0, tool="tanker"),)
    tools = (replace(HIRED, delivered=None, holds_m3=30.0),)
    drill = drilled(on_site=True, tools=tools, tasks=tasks, level_m=0.5, flow_m3s=0.001)
    drill.type("haul")
    drill.wait_until(HOUR)
    assert said_by(drill, "tanker not full") != []


# ---------------------------------------------------------------------- work


def test_a_selector_is_turned_at_once_by_somebody_who_is_there() -> None:
    drill = drilled()
    assert "nobody is on site" in refused(drill.type("hand P1"))
    here = drilled(on_site=True)
    here.type("hand P1")
    assert "P1 running, in hand" in "; ".join(one.text for one in here.type("ask"))
    assert here.type("hand P1")[0].text == "P1 is in hand already"
    assert "bert is not on site" in refused(here.type("off P1 by bert"))
    at(here, 2, "off P1")
    at(here, 3, "auto P1")
    assert moments(here, "in hand") == [0.0]
    assert moments(here, "off") == [2.0]
    assert moments(here, "in auto") == [3.0]


def test_a_reset_is_pressed_at_once_or_takes_what_the_plan_says() -> None:
    at_once = drilled(failed(1), on_site=True)
    at(at_once, 2, "reset P1")
    assert moments(at_once, "reset") == [2.0]
    slow = drilled(failed(1), on_site=True, tasks=(Task("reset", just(5)),))
    at(slow, 2, "reset P1")
    assert refused(at(slow, 3, "hand P1")) == "all on site are at work: reset"
    slow.wait_until(10 * MIN)
    assert moments(slow, "reset") == [7.0]
    hot = drilled(ScriptedEvent(MIN, "high temperature", "P1", 30 * MIN), on_site=True)
    at(hot, 2, "reset P1")
    assert said_by(hot, "reset refused") != []


RAGS = (Task("set right", just(10)), Task("clear rags", just(20)))


def test_rags_are_cleared_from_a_pump_that_is_heard_and_then_isolated() -> None:
    ragged = ScriptedEvent(MIN, "ragging", "P1", amount=0.2, per_s=900.0)
    drill = drilled(ragged, on_site=True, tasks=RAGS, level_m=1.99, flow_m3s=0.02)
    at(drill, 5, "look")
    assert said_by(drill, "amiss with: P1") != []
    assert drill.type("mend P1")[0].text == "you begin: clear rags"
    drill.wait_until(40 * MIN)
    assert moments(drill, "off", "P1") == [5.0]
    assert moments(drill, "clear again") == [25.0]
    assert moments(drill, "in auto", "P1") == [25.0]
    assert minutes_of(drill, "clear rags, P1: done") == [25.0]


def test_a_fault_that_does_not_show_is_not_found() -> None:
    hidden = ScriptedEvent(MIN, "fails to start", "P1")
    drill = drilled(hidden, on_site=True, tasks=RAGS, flow_m3s=1e-5)
    at(drill, 5, "mend P1")
    drill.wait_until(20 * MIN)
    assert minutes_of(drill, "set right, P1: nothing amiss was found") == [15.0]
    assert moments(drill, "can start again") == []
    assert moments(drill, "in auto", "P1") == [15.0]


def test_a_frozen_signal_is_set_right_and_nobody_away_is_told_of_it() -> None:
    frozen = ScriptedEvent(MIN, "level signal frozen", "level sensor")
    drill = drilled(frozen, on_site=True, tasks=RAGS)
    at(drill, 5, "mend level sensor")
    drill.wait_until(20 * MIN)
    assert moments(drill, "level signal right") == [15.0]
    away = drilled(frozen, tasks=RAGS)
    at(away, 5, "ask")
    assert "nobody is on site" in refused(away.type("mend level sensor"))
    assert "frozen" not in " ".join(one.text for one in away.told)


def test_a_refusal_from_afar_is_the_same_whatever_is_wrong() -> None:
    for fault in ((), (ScriptedEvent(MIN, "ragging", "P1", amount=0.2, per_s=900.0),)):
        drill = drilled(*fault, tasks=(), level_m=1.99, flow_m3s=0.02)
        text = refused(at(drill, 5, "mend P1"))
        assert text == "nobody is on site; send somebody, or go yourself: send me"


def test_pulling_a_pump_takes_two_people_and_the_gear() -> None:
    wet = ScriptedEvent(MIN, "seal leak into motor", "P1")
    tasks = (Task("pull a pump", just(40), people=2, tool="lifting gear"),)
    drill = drilled(wet, on_site=True, tools=(GEAR,), tasks=tasks)
    assert refused(at(drill, 2, "mend P1")) == "it takes 2 people, and 1 on site have hands free"
    drill.type("send bert")
    drill.wait_until(40 * MIN)
    assert "no lifting gear on site" in refused(drill.type("mend P1"))
    drill.type("send bert for lifting gear")
    drill.wait_until(80 * MIN)  # 15 + 7 + 15
    assert drill.type("mend P1")[0].text == "anna and bert begin: pull a pump"
    assert "at work" in refused(drill.type("send bert home"))
    drill.wait_until(3 * HOUR)
    assert moments(drill, "dry again") == moments(drill, "in auto", "P1") == [120.0]


def with_engine(**changes: Any) -> Station:
    return duplex(
        engine_pump=engine_pump(fuel_m3_per_s=3e-6, tank_m3=0.05, crank_s=20.0, **changes),
        bypass_pump=bypass_pump(fuel_m3_per_s=3e-6, tank_m3=0.05),
        standby_power=StandbyPower(
            mobile=GeneratorSet(fuel_loads=(0.0,), fuel_rates_m3_per_s=(3e-6,), tank_m3=0.05)
        ),
    )


CONNECTS = (
    Task("refuel", just(6)),
    Task("connect mobile generator", just(10), just(5), takes_down=just(8)),
    Task("connect bypass pump", just(10), takes_down=just(8)),
)
CUT = ScriptedEvent(MIN, "grid loss", "grid", 5 * HOUR)


def test_an_engine_is_isolated_while_its_tank_is_filled() -> None:
    drill = drilled(CUT, stands=with_engine(), on_site=True, tasks=CONNECTS, flow_m3s=0.03)
    at(drill, 60, "refuel E1")
    assert moments(drill, "off", "E1") == [60.0]
    assert refused(drill.type("hand E1")) == "all on site are at work: refuel"
    drill.wait_until(70 * MIN)
    assert moments(drill, "refuelled", "E1") == moments(drill, "in auto", "E1") == [66.0]


def test_whoever_looks_reads_the_tank_of_an_engine_that_runs() -> None:
    drill = drilled(CUT, stands=with_engine(), on_site=True, flow_m3s=0.039)  # as it pumps, nearly
    drill.wait_until(3.7 * HOUR)
    (started_s, *_more) = (60.0 * one for one in moments(drill, "start", "E1"))
    assert moments(drill, "stop", "E1") == []
    drill.type("look")
    # of 50 L it burns 3 mL a second
    part = 1.0 - 3e-6 * (drill.now_s - started_s) / 0.05
    told = said_by(drill, "E1: tank at")[0].text
    assert told == f"E1: tank at {100.0 * part:.0f} % of its fill"
    assert 0.1 < part < 0.6


def test_a_mobile_set_is_connected_filled_off_load_and_taken_off() -> None:
    drill = drilled(CUT, stands=with_engine(), on_site=True, tasks=CONNECTS)
    assert "not connected" in refused(at(drill, 2, "disconnect mobile generator"))
    drill.type("connect mobile generator")
    at(drill, 20, "refuel mobile generator")
    drill.wait_until(30 * MIN)
    # 2 + 10 + 5; off from 20 while it is filled; 20 + 6
    assert moments(drill, "mobile generator connected") == [17.0, 26.0]
    assert moments(drill, "mobile generator disconnected") == [20.0]
    assert moments(drill, "refuelled") == [26.0]
    assert "connected already" in refused(drill.type("connect mobile generator"))
    drill.type("disconnect mobile generator")
    assert moments(drill, "mobile generator disconnected") == [20.0, 30.0]
    assert drill.prompt().endswith("disconnect mobile generator")
    drill.wait_until(39 * MIN)
    assert minutes_of(drill, "disconnect mobile generator: done") == [38.0]


def test_a_set_is_not_connected_to_a_live_busbar() -> None:
    drill = drilled(stands=with_engine(), on_site=True, tasks=CONNECTS)
    drill.type("connect mobile generator")
    drill.wait_until(20 * MIN)
    assert minutes_of(drill, "connection refused") == [15.0]
    assert said_by(drill, "connect mobile generator: done") == []


def test_nobody_lays_hand_on_what_another_works_on() -> None:
    drill = drilled(CUT, stands=with_engine(), on_site=True, tasks=CONNECTS, assesses=just(0))
    drill.type("send bert")
    drill.wait_until(30 * MIN)
    drill.type("connect bypass pump by bert")
    for line in ("hand B1", "off B1", "reset B1", "connect bypass pump", "refuel B1"):
        assert refused(drill.type(line)) == "somebody is at work on B1"
    drill.type("refuel E1 by me")
    assert "at work" in refused(drill.type("off E1"))


def test_an_engine_is_set_to_off_while_it_cranks() -> None:
    drill = drilled(CUT, stands=with_engine(start_delay_s=1.0), on_site=True, flow_m3s=0.05)
    while not moments(drill, "engine called") and not drill.over:
        drill.type("wait 10 s")
    drill.type("off E1")
    drill.wait_until(drill.now_s + 2 * MIN)
    assert moments(drill, "start", "E1") == []
    assert drill.finish().trace.balance_error < 1e-9


def test_a_step_that_the_file_does_not_have_is_refused() -> None:
    drill = drilled(on_site=True)
    assert "[task.refuel]" in refused(drill.type("refuel P1"))
    assert "[task.connect_bypass_pump]" in refused(drill.type("connect bypass pump"))
    assert drill.decided == []


def test_the_answer_to_an_order_comes_before_what_comes_of_it() -> None:
    drill = drilled(failed(1), on_site=True, tasks=(Task("reset", Range(0, 0, 1)),))
    told = at(drill, 2, "reset P1")
    assert told[0].text == "you begin: reset"
    assert [one.t_s for one in told] == sorted(one.t_s for one in told)
    assert any("P1: reset" in one.text for one in told)


# ---------------------------------------------------------------------- the slow ways


def test_a_round_finds_what_stands_and_what_is_dark_and_goes_by_otherwise() -> None:
    visit = Visit("bert", 2 * HOUR, HOUR)
    well = drilled(visit=visit, tasks=RAGS)
    well.wait_until(5 * HOUR)
    assert well.told == []
    alarms = AlarmSettings(high_level_m=3.0, supply="control")
    dark = drilled(ScriptedEvent(130 * MIN, "control breaker open", "panel"), visit=visit,
                   stands=duplex(alarms=alarms), assesses=just(4))  # fmt: skip
    dark.wait_until(5 * HOUR)
    assert minutes_of(dark, "the round finds") == [180.0]
    assert [one.t_s / MIN for one in dark.told if one.text == "on site"] == [184.0]
    assert said_by(dark, "panel is dark") != []
    assert [row.task for row in dark.crew.diary.rows] == ["visits", "looks around"]


def test_a_passer_by_sees_a_spill_in_waking_hours_only() -> None:
    # 30 L/s into 10 m2 from 1.0 m with no pump: 4.0 m after 1000 s
    both = (failed(0.01), ScriptedEvent(0.6, "fails", "P2"))
    silent = ScriptedEvent(0.1, "telemetry lost", "telemetry")
    alarms = AlarmSettings(high_level_m=3.0, telemetry_lost_delay_s=48 * HOUR)
    passer = PasserBy(just(20), "spill", ClockSpan(6 * HOUR, 22 * HOUR))
    drill = drilled(*both, silent, flow_m3s=0.03, stands=duplex(alarms=alarms), hours=10,
                    passer_by=passer)  # fmt: skip
    drill.type("wait")
    assert [(one.by, round(one.t_s / MIN, 3)) for one in drill.told] == [("passer-by", 380.0)]
    by_day = drilled(*both, silent, flow_m3s=0.03, stands=duplex(alarms=alarms), hours=10,
                     passer_by=passer, start_hours=12.0)  # fmt: skip
    by_day.type("wait")
    assert by_day.told[0].t_s == pytest.approx(1000.0 + 20 * MIN, abs=NEAR)


# ---------------------------------------------------------------------- edges


def test_orders_at_the_very_end_and_after_it() -> None:
    drill = drilled(on_site=True, hours=1.0, tasks=RAGS)
    drill.wait_until(HOUR - 1e-6)
    assert not drill.over
    drill.type("hand P1")
    drill.type("mend P1") if not drill.over else None
    drill.wait_until(HOUR)
    assert drill.over
    with pytest.raises(ActionError, match="over"):
        drill.type("wait")
    result = drill.finish()
    assert drill.finish() is result
    assert result.trace.end_s == HOUR
    early = drilled(on_site=True)
    early.type("done")
    with pytest.raises(ActionError, match="over"):
        early.type("hand P1")


def test_an_order_at_time_nought_is_felt_at_once() -> None:
    drill = drilled(on_site=True)
    assert [one.text for one in drill.type("off P2")] == ["P2: off"]
    assert drill.now_s < 1e-4


def test_work_that_is_open_at_the_end_is_closed_with_it() -> None:
    drill = drilled(on_site=True, hours=1.0, tasks=RAGS)
    at(drill, 55, "mend P1")
    rows = drill.finish().trace.crew
    assert [(row.task, row.outcome, row.stop_s) for row in rows] == [
        ("set right", "end of run", HOUR)
    ]


def test_nobody_is_sent_in_circles() -> None:
    drill = drilled(tools=(GEAR,))
    for line in ("send me", "send me for lifting gear", "send me home", "send me"):
        drill.type(line)
    assert [one.by for one in drill.told] == ["answer", "refused", "refused", "refused"]
    drill.wait_until(31 * MIN)
    for _ in range(5):
        drill.type("send me home")
        drill.type("send me")
        drill.wait_until(drill.now_s + 31 * MIN)
        assert drill.place == SITE
    assert len(drill.decided) == 11


def test_a_start_that_is_not_at_midnight_and_an_offset() -> None:
    drill = drilled(start_hours=31.25, hours=30)  # a Tuesday, 07:15
    assert drill.clock() == "Tue 07:15"
    drill.type("wait until 07:10")  # tomorrow's
    assert drill.now_s == pytest.approx(23 * HOUR + 55 * MIN)
    drill.type("wait until 08:00")
    assert drill.now_s == pytest.approx(24 * HOUR + 45 * MIN)
    for line in ("wait until Tue 07:20", "wait until day 1 09:00", "wait until 25:00",
                 "wait until", "wait 0 s", "wait -5 min", "wait nan h", "wait 5"):  # fmt: skip
        with pytest.raises(ActionError):
            drill.type(line)
    for line in ("wait 1e6 h", "wait until day 9 09:00"):  # no slip of the hand ends a drill
        (told,) = drill.type(line)
        assert told.by == "refused"
        assert "ends at Wed 13:15" in told.text
    drill.type("wait until Wed 13:15")
    assert drill.over


def test_a_long_drill_tells_the_date() -> None:
    stands, case = scenario("woad-quay")
    drill = Drill(stands, replace(case, duration_s=8 * 86_400.0))
    assert drill.clock(0.0) == "Mon 14 Jun 00:00"


ODD = (
    "by", "for", "and", "home", "wait", "send", "Ann, the second", "man by the gate", "José",
    "operator for pumps", "pump and hose man", "the one with keys", "ann", "Ann", "plan",
)  # fmt: skip


def test_people_of_any_name_can_be_sent_called_and_told() -> None:
    people = (ANNA, *(Person(name) for name in ODD))
    tools = (Tool("rods, long and short", fetched=just(1)), Tool("hose for pumps", fetched=just(1)),
             Tool("kit", fetched=just(1)))  # fmt: skip
    for name in ODD:
        drill = drilled(people=people, call_list=("anna",), tools=tools)
        told = drill.type(f"send {name} for rods, long and short, hose for pumps and kit")
        assert told[0].by == "answer", name
        hand = drill.crew.hands[name]
        assert hand.brings == [tool.name for tool in tools]
        drill.wait_until(10 * MIN)
        assert hand.place == SITE
        assert drill.type(f"hand P1 by {name}")[0].by in ("answer", "crew"), name
        assert drill.type(f"send {name} home")[0].by == "answer", name
        assert hand.place == "away"
        assert "answered already" in refused(drill.type(f"call {name}"))


def test_a_name_that_means_whoever_types_is_refused_up_front() -> None:
    with pytest.raises(InputError, match="'Me'"):
        drilled(people=(ANNA, BERT, Person("Me")))
    alone = drilled(people=(Person("me"), BERT), call_list=("me",))
    assert alone.type("send me")[0].text == "you get ready to go"


def test_whoever_plays_is_named_or_refused() -> None:
    case = drilled().episode
    assert Drill(duplex(), case, who="bert").crew.me.name == "bert"
    with pytest.raises(InputError, match="anna, bert"):
        Drill(duplex(), case, who="nobody")
    alone = Drill(duplex(), replace(case, response=None), who="carla")
    assert alone.place == SITE
    assert alone.type("hand P1 by carla")[0].by == "panel"
    nameless = Drill(duplex(), replace(case, response=None))
    assert nameless.opening()[6].startswith("You are the person who answers")


@pytest.mark.parametrize(
    "line",
    ["", " ", "hnad P1", "hand", "hand P9", "hand P1 by", "hand P1 by carl", "ask", "look now",
     "call", "send", "send for kit", "haul 0", "haul 99", "haul two", "note", "reset",
     "mend P1 by P1",
     "wait soon", "x" * 600, "hand P1 \x00", "\x1b[2J", "send anna home for kit", "done now",
     "\N{LATIN CAPITAL LETTER I WITH DOT ABOVE}" * 60, "hand \ud800"],
)  # fmt: skip
def test_a_line_that_cannot_be_read_does_not_count(line: str) -> None:
    drill = drilled()
    if line == "ask":
        drill.type(line)
        return
    with pytest.raises(ActionError) as caught:
        drill.type(line)
    assert "\n" not in str(caught.value)
    assert str(caught.value).isprintable() or "\ud800" in line
    assert drill.actions == []
    assert drill.told == []


def test_ranges_without_end_do_not_hang_a_drill() -> None:
    never = Range.point(math.inf)
    drill = drilled(people=(ANNA, Person("carl", never), Person("dora", just(1), never)),
                    call_list=("anna",), tasks=(Task("set right", never),),
                    on_site=True)  # fmt: skip
    for line in ("call carl", "send dora", "mend P1"):
        assert drill.type(line)[0].by == "answer"
    drill.type("wait")
    result = drill.finish()
    assert {row.outcome for row in result.trace.crew} == {"acknowledged", "end of run"}


def test_a_rich_station_takes_any_order_at_once() -> None:
    case = replace(week(chain()), events=(CUT,), duration_s=6 * HOUR)
    drill = Drill(rich_station(), case, on_site=True)
    names = drill.names
    for verb in ("hand", "off", "auto", "reset", "mend"):
        for name in (*names.machines, *names.sets):
            try:
                drill.type(f"{verb} {name}")
            except ActionError as error:
                assert "generator" in str(error) or "known" in str(error)  # noqa: PT017
    drill.wait_until(5.9 * HOUR)
    assert drill.finish().trace.balance_error < 1e-9


def test_somebody_on_site_speaks_up_when_what_they_see_has_changed() -> None:
    stands, case = scenario("sedge-hythe")
    drill = Drill(stands, case)
    drill.type("wait")  # the phone, at 21:05
    drill.type("send second operator")
    drill.wait_until(5.0 * HOUR)
    told = [one for one in drill.told if one.who == "second operator"]
    stands_at = [one for one in told if one.text.startswith("the water stands at about")]
    levels = [float(one.text.split()[-2]) for one in stands_at]
    assert len(levels) >= 3
    assert levels == sorted(levels)  # the panel reads the same level all the while
    gaps = {
        round((two.t_s - one.t_s) / case.response.look_again_s, 6)
        for one, two in pairwise(stands_at[1:])
    }
    assert all(gap == pytest.approx(round(gap)) for gap in gaps)


def test_whoever_leaves_is_told_what_they_leave_in_hand_or_off() -> None:
    drill = drilled(on_site=True)
    for line in ("hand P1", "off P2"):
        drill.type(line)
    told = [one.text for one in drill.type("done")]
    assert told[0] == "P1 is left in hand: nothing stops it when nobody is there"
    assert told[1] == "P2 is left off: nothing starts it when nobody is there"
    tidy = drilled(on_site=True)
    for line in ("hand P1", "auto P1"):
        tidy.type(line)
    assert not any("left" in one.text for one in tidy.type("done"))


def test_words_that_are_no_orders_are_answered_with_those_that_are() -> None:
    drill = drilled(on_site=True)
    for word, hint in (("quit", "'done'"), ("start P1", "'hand P1'"), ("stop P1", "'off P1'")):
        with pytest.raises(ActionError, match=hint):
            drill.type(word)
    assert drill.actions == []


def test_a_fixed_set_that_runs_is_filled_only_where_its_maker_allows_it() -> None:
    """Common practice, no source: others are stopped and cooled first."""
    stands, case = scenario("hemp-staithe")
    case = replace(
        case,
        events=(ScriptedEvent(HOUR, "grid loss", "grid", 4 * HOUR),),
        response=replace(case.response, tasks=(Task("refuel", just(6)),)),
    )
    drill = Drill(stands, case, on_site=True)
    drill.wait_until(2 * HOUR)
    told = [one.text for one in drill.type("refuel generator")]
    assert "its engine runs: it is filled so only where its maker allows it" in told
    still = Drill(stands, case, on_site=True)
    assert not any("its engine runs" in one.text for one in still.type("refuel generator"))

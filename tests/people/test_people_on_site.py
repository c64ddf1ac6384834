"""On site: hands, tools, and what is done once, twice, or not at all; times by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from crews import (
    HOUR,
    MINUTE,
    at_once,
    chain,
    just,
    moments,
    no_tool_twice,
    reference,
    rows_of,
)

from stationsim.episode import ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower, TransferSwitch
from stationsim.people.response import PasserBy, Person, Response, Task, Tool, Visit
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import bypass_pump, duplex, engine_pump, episode
from stationsim.trace import CrewRow, Trace

WET = ScriptedEvent(60.0, "seal leak into motor", "P1")
GEAR = Tool("lifting gear")
LOST = ScriptedEvent(60.0, "grid loss", "grid", 3 * HOUR)


def run(
    response: Response, *events: ScriptedEvent, station: Station | None = None,
    flow: float = 0.002, hours: float = 6.0, level_m: float = 1.0,
) -> Trace:  # fmt: skip
    """Run a duplex in trouble."""
    case = episode(hours * HOUR, flow, *events, start_level_m=level_m)
    return simulate(station or duplex(), replace(case, response=response)).trace


def spans(rows: list[CrewRow]) -> list[tuple[str, float, float, str]]:
    """Return whose, from when to when, and what came of it."""
    return [(row.person, row.start_s, row.stop_s, row.outcome) for row in rows]


# ------------------------------------------------------------------ hands and tools


def ragged_and_wet() -> tuple[ScriptedEvent, ...]:
    """Return a first pump that is wet and ragged, and a second that is wet."""
    return (
        WET,
        ScriptedEvent(60.0, "seal leak into motor", "P2"),
        ScriptedEvent(60.0, "clogged", "P1", flow_left=0.5),
    )


TWO = at_once(
    "anna", "bert", visit=Visit("bert", 90.0),
    tasks=(Task("clear rags", takes=just(600.0)), Task("pull a pump", takes=just(1800.0))),
)  # fmt: skip


def test_nobody_lays_hand_on_a_pump_that_another_works_on() -> None:
    trace = run(TWO, *ragged_and_wet())
    (rags,) = rows_of(trace, "clear rags")
    pulled = rows_of(trace, "pull a pump")
    # what clears the rags puts right the whole pump, so of the two only P2 is left to be pulled
    assert rags.subject == "P1"
    assert [(row.subject, row.start_s) for row in pulled] == [("P2", 90.0)]
    in_auto = [row.t_s for row in trace.events if (row.subject, row.event) == ("P1", "in auto")]
    assert in_auto == [660.0]


def test_one_gear_serves_one_of_two_tasks_at_a_time() -> None:
    both = tuple(replace(task, tool="lifting gear") for task in TWO.tasks)
    trace = run(replace(TWO, tasks=both, tools=(GEAR,)), *ragged_and_wet())
    (rags,), (pulled,) = rows_of(trace, "clear rags"), rows_of(trace, "pull a pump")
    assert pulled.start_s == rags.stop_s == 660.0
    assert pulled.waited_s == 570.0
    two_gears = replace(TWO, tasks=both, tools=(replace(GEAR, number=2),))
    trace = run(two_gears, *ragged_and_wet())
    assert rows_of(trace, "pull a pump")[0].start_s == 90.0


def test_only_one_of_two_drives_for_a_tool() -> None:
    gear = replace(GEAR, fetched=just(300.0))
    people = tuple(Person(name, travels=just(600.0)) for name in ("anna", "bert"))
    response = replace(
        TWO, people=people, tools=(gear,), tasks=(Task("pull a pump", tool="lifting gear"),)
    )
    trace = run(response, WET)
    yard = [row for row in rows_of(trace, "travels") if row.subject == "yard"]
    assert len(yard) == 1
    assert len(rows_of(trace, "fetches")) == 1
    assert rows_of(trace, "pull a pump")[0].outcome == "done"


def test_who_comes_to_help_finds_that_the_first_has_waited() -> None:
    # the one who is there waits while the other still looks around, and both begin together
    response = at_once(
        "anna", "bert", assesses=just(600.0), tasks=(Task("pull a pump", just(900.0), people=2),)
    )
    trace = run(response, WET)
    assert sorted(spans(rows_of(trace, "pull a pump"))) == [
        ("anna", 1260.0, 2160.0, "done"), ("bert", 1260.0, 2160.0, "done"),
    ]  # fmt: skip
    assert len(moments(trace, "crew leaves")) == 2


def test_who_was_called_to_help_does_not_go_when_all_have_left() -> None:
    people = (Person("anna"), Person("bert", acknowledges=just(600.0)))
    response = replace(
        at_once("anna", "bert", tasks=(Task("set right", just(900.0), people=2),)), people=people
    )
    stuck = ScriptedEvent(60.0, "controller stopped", "panel", 300.0)
    trace = run(response, stuck)
    assert [row.person for row in rows_of(trace, "stood down")] == ["bert"]
    assert moments(trace, "stood down") == [660.0]


def test_a_step_that_takes_more_than_there_are_is_never_done_and_nobody_waits_for_it() -> None:
    # nor does anybody come for nothing, and leave, and call the one who has just left
    response = at_once("anna", "bert", tasks=(Task("pull a pump", just(900.0), people=3),))
    trace = run(response, WET)
    assert rows_of(trace, "pull a pump") == []
    assert moments(trace, "crew leaves") == [60.0]


def test_a_tool_of_which_there_is_none_is_not_driven_for_and_not_waited_for() -> None:
    for tool in (replace(GEAR, number=0), replace(GEAR, number=0, delivered=just(60.0)),
                 replace(GEAR, number=0, fetched=just(60.0))):  # fmt: skip
        task = Task("pull a pump", just(9.0), tool="lifting gear", brought_for=("overload",))
        trace = run(at_once("anna", tools=(tool,), tasks=(task,)), WET)
        assert rows_of(trace, "pull a pump") == []
        assert [row.subject for row in rows_of(trace, "travels")] == ["station"]
        assert moments(trace, "crew leaves") == [60.0]


@pytest.mark.parametrize("way", [{}, {"fetched": just(60.0)}, {"delivered": just(60.0)}])
def test_a_step_of_nobody_is_done_by_the_driver_or_by_whoever_is_there(
    way: dict[str, object],
) -> None:
    gear = replace(GEAR, **way)  # type: ignore[arg-type]
    task = Task("pull a pump", just(600.0), tool="lifting gear", people=0,
                brought_for=("moisture in motor",))  # fmt: skip
    (row,) = rows_of(run(at_once("anna", tools=(gear,), tasks=(task,)), WET), "pull a pump")
    assert row.outcome == "done"
    assert row.person == ("" if "delivered" in way else "anna")


def test_a_driver_does_only_what_their_own_tool_is_for() -> None:
    tanker = Tool("tanker", delivered=just(60.0), holds_m3=2.0, round_trip=just(1200.0))
    van = Tool("van", delivered=just(6000.0))
    haul = Task("haul", just(600.0), people=0, tool="tanker", brought_for=("power failed",))
    reset = Task("reset", just(300.0), people=0, tool="van", brought_for=("power failed",))
    station = duplex(engine_pump=engine_pump())
    dead = ScriptedEvent(0.0, "fails to start", "E1")
    response = at_once("anna", tools=(tanker, van), tasks=(reset, haul))
    trace = run(response, LOST, dead, station=station, flow=0.01, level_m=3.1)
    assert rows_of(trace, "haul")
    # she came for the high level; each is ordered when she finds that it is needed
    ordered = {row.tool: row.start_s for row in rows_of(trace, "comes")}
    assert ordered == {"tanker": 0.0, "van": moments(trace, "trip")[0]}
    assert rows_of(trace, "reset")[0].start_s == pytest.approx(ordered["van"] + 6000.0)
    assert {row.person for row in trace.crew if row.task in ("haul", "reset")} == {""}


def test_what_a_driver_does_is_left_to_them() -> None:
    # there is a load from 900 s on; anna, who has just reset a pump at 1060 s, finds it first
    tanker = Tool("tanker", delivered=just(130.0), holds_m3=8.0)
    haul = Task("haul", just(600.0), people=0, tool="tanker", brought_for=("power failed",))
    response = at_once("anna", tools=(tanker,), tasks=(haul, Task("reset", just(1000.0))))
    fails = ScriptedEvent(60.0, "fails", "P1")
    trace = run(response, LOST, fails, flow=1.0 / 300.0, level_m=0.5)
    assert [row.stop_s for row in rows_of(trace, "reset")] == [1060.0]
    first = rows_of(trace, "haul")[0]
    assert (first.person, first.start_s) == ("", 1060.0)


def test_a_tool_that_is_delivered_after_all_have_left_goes_back() -> None:
    mobile = Tool("mobile generator", delivered=just(2 * HOUR))
    station = duplex(standby_power=StandbyPower(mobile=GeneratorSet()))
    connect = Task("connect mobile generator", just(60.0), tool="mobile generator",
                   brought_for=("power failed",))  # fmt: skip
    response = at_once("anna", tools=(mobile,), tasks=(connect,))
    short = ScriptedEvent(60.0, "grid loss", "grid", 600.0)
    again = ScriptedEvent(3 * HOUR, "grid loss", "grid", 3 * HOUR)
    trace = run(response, short, again, station=station, hours=8.0)
    assert [row.stop_s for row in rows_of(trace, "comes")] == [60.0 + 2 * HOUR, 5 * HOUR]
    assert moments(trace, "mobile generator connected") == [5 * HOUR + 60.0]


def test_a_tanker_with_its_load_is_not_to_be_had_for_the_next_call_out() -> None:
    tanker = Tool("tanker", delivered=just(60.0), holds_m3=2.0, round_trip=just(2 * HOUR))
    haul = Task("haul", just(600.0), people=0, tool="tanker", brought_for=("power failed",))
    response = at_once("anna", tools=(tanker,), tasks=(haul,))
    first = ScriptedEvent(60.0, "grid loss", "grid", 900.0)
    again = ScriptedEvent(3000.0, "grid loss", "grid", 3 * HOUR)
    trace = run(response, first, again, level_m=1.5)
    (away, *_rest) = rows_of(trace, "is away with a load")
    assert (away.start_s, away.stop_s) == (720.0, 7920.0)
    comes = rows_of(trace, "comes")
    assert [(row.start_s, row.waited_s) for row in comes] == [(60.0, 0.0), (7920.0, 4920.0)]
    no_tool_twice(trace.crew, response)


def test_an_alarm_that_was_not_sent_is_seen_when_somebody_is_back_from_the_yard() -> None:
    gear = replace(GEAR, fetched=just(300.0))
    response = replace(
        at_once(
            "anna", tools=(gear,), tasks=(Task("pull a pump", just(60.0), tool="lifting gear"),)
        ),
        people=(Person("anna", travels=just(600.0)),),
    )
    silent = ScriptedEvent(700.0, "telemetry lost", "telemetry")
    second = ScriptedEvent(800.0, "fails", "P2")
    station = duplex()
    mute = replace(station.alarms, telemetry_lost_delay_s=1e9)
    trace = run(response, WET, silent, second, station=replace(station, alarms=mute))
    reached = {row.alarm: row.reached_s for row in trace.alarms}
    # on site at 660, in the yard from 1260 to 1560, back at 2160
    assert reached["pump failed"] == 2160.0


def test_what_has_not_come_to_a_phone_by_the_departure_brings_nothing() -> None:
    # the pump fails at 0 and calls at 600 s; that power failed at 60 s is told at 660, on the way
    station = duplex(standby_power=StandbyPower(mobile=GeneratorSet()))
    response = replace(
        at_once(
            "anna", on_phone=just(600.0), tools=(Tool("mobile generator", fetched=just(300.0)),),
            tasks=(Task("connect mobile generator", tool="mobile generator",
                        brought_for=("power failed",)),),
        ),
        people=(Person("anna", travels=just(900.0)),),
    )  # fmt: skip
    trace = run(response, ScriptedEvent(0.0, "fails", "P1"), LOST, station=station, flow=1e-6)
    assert {row.alarm: row.reached_s for row in trace.alarms} == {
        "pump failed": 600.0, "power failed": 660.0,
    }  # fmt: skip
    assert [row.subject for row in rows_of(trace, "travels")] == ["station", "yard", "station"]
    assert moments(trace, "mobile generator connected") == [600.0 + 3 * 900.0 + 300.0]


# ------------------------------------------------------------------ what is done, and how often


def test_a_thing_is_reset_twice_in_one_incident_and_no_more() -> None:
    fails = [ScriptedEvent(60.0 + 600.0 * n, "fails", "P1") for n in range(4)]
    response = at_once("anna", look_again_s=60.0, tasks=(Task("reset", just(60.0)),))
    # the outage keeps them there, so that it stays one incident
    trace = run(response, replace(LOST, at_s=30.0), *fails)
    assert [row.stop_s for row in rows_of(trace, "reset")] == [120.0, 720.0]
    apart = run(response, *fails)  # each is an incident of its own
    assert [row.stop_s for row in rows_of(apart, "reset")] == [120.0, 720.0, 1320.0, 1920.0]


@pytest.mark.parametrize("name", ["E1", "B1"])
def test_what_can_be_set_right_is_before_it_is_reset(name: str) -> None:
    station = duplex(engine_pump=engine_pump()) if name == "E1" else duplex(
        bypass_pump=bypass_pump()
    )  # fmt: skip
    dead = ScriptedEvent(0.0, "fails to start", name)
    tasks = (Task("reset", just(60.0)), Task("set right", just(600.0)), Task("connect bypass pump"))
    if name == "E1":
        tasks = tasks[:2]
    response = at_once("anna", look_again_s=60.0, tasks=tasks)
    trace = run(response, dead, LOST, station=station, flow=0.02, level_m=3.1)
    rows = [(row.task, row.subject) for row in trace.crew if row.task in ("reset", "set right")]
    assert rows[:2] == [("set right", name), ("reset", name)]
    machine = station.machine_names().index(name)
    assert [run_.machine for run_ in trace.runs].count(machine) >= 1


def test_the_bypass_pump_is_taken_off_when_it_has_stood_for_half_an_hour() -> None:
    station = duplex(bypass_pump=bypass_pump())
    response = at_once(
        "anna", look_again_s=60.0, tasks=(Task("connect bypass pump", takes_down=just(600.0)),)
    )
    trace = run(response, LOST, station=station, flow=0.01, level_m=2.9)
    (off,) = rows_of(trace, "disconnect bypass pump")
    stood_s = max(row.stop_s for row in trace.runs if row.machine == 2)
    back_s = LOST.at_s + 3 * HOUR
    since_s = max(stood_s, back_s - 1800.0)
    assert since_s + 1800.0 <= off.start_s < since_s + 1800.0 + 60.0
    assert moments(trace, "bypass pump disconnected") == [off.start_s]
    assert (off.stop_s, off.outcome) == (off.start_s + 600.0, "done")


def test_a_load_that_takes_no_time_takes_a_second() -> None:
    tanker = Tool("tanker", holds_m3=2.0, round_trip=just(600.0))
    response = at_once("anna", tools=(tanker,), tasks=(Task("haul", tool="tanker"),))
    trace = run(response, LOST, level_m=1.5)
    rows = rows_of(trace, "haul")
    assert {row.stop_s - row.start_s for row in rows} == {1.0}
    assert trace.hauled_m3 == pytest.approx(2.0 * len(rows))


def test_a_tank_that_holds_nothing_is_not_filled_without_end() -> None:
    station = duplex(engine_pump=engine_pump(fuel_m3_per_s=1e-6, tank_m3=0.0))
    response = at_once("anna", look_again_s=600.0, tasks=(Task("refuel"),))
    trace = run(response, LOST, station=station)
    begins = [row.start_s for row in rows_of(trace, "refuel")]
    assert begins
    assert all(b - a >= 600.0 for a, b in pairwise(begins))


def test_a_set_beside_a_transfer_switch_that_is_stuck_stays_connected() -> None:
    # the switch sticks on its way back: the grid is there, and the busbar is dead
    station = duplex(
        standby_power=StandbyPower(
            GeneratorSet(), TransferSwitch(return_after_s=300.0), GeneratorSet()
        )
    )
    stuck = ScriptedEvent(600.0, "transfer switch stuck", "transfer switch", 3 * HOUR)
    dead = ScriptedEvent(700.0, "generator fails", "generator")
    lost = ScriptedEvent(60.0, "grid loss", "grid", 1200.0)
    response = at_once("anna", tasks=(Task("connect mobile generator"),))
    trace = run(response, lost, stuck, dead, station=station)
    connected = moments(trace, "mobile generator connected")
    off = moments(trace, "mobile generator disconnected")
    assert len(connected) == 1
    assert off == [] or off[0] >= 600.0 + 3 * HOUR


def test_what_is_over_by_itself_before_the_work_is_done_is_left_alone() -> None:
    stuck = ScriptedEvent(60.0, "controller stopped", "panel", 300.0)
    trace = run(at_once("anna", tasks=(Task("set right", just(900.0)),)), stuck)
    assert [row.outcome for row in rows_of(trace, "set right")] == ["no longer needed"]
    assert not [row for row in trace.events if row.event == "nothing to put right"]


def test_a_set_that_is_wanted_again_while_it_is_taken_off_is_connected_anew() -> None:
    # it is off from the first look after 8 h on; the grid that goes again finds nothing connected
    again = ScriptedEvent(8 * HOUR + 600.0, "grid loss", "grid", HOUR)
    task = replace(chain().tasks[0], takes_down=just(1200.0))
    trace = reference(7.0, chain(tasks=(task,)), again).trace
    first, last = rows_of(trace, "disconnect mobile generator")
    assert 8 * HOUR <= first.start_s < 8 * HOUR + 300.0
    assert first.stop_s == first.start_s + 1200.0
    assert first.outcome == "done"
    second = rows_of(trace, "connect mobile generator")[1]
    assert second.start_s == first.stop_s
    busbar = [(row.start_s, row.state) for row in trace.power if row.source == "busbar"]
    assert busbar[1:] == [
        (78 * MINUTE, "mobile generator"), (first.start_s, "dead"),
        (second.stop_s, "mobile generator"), (last.start_s, "dead"), (last.stop_s, "grid"),
    ]  # fmt: skip


def test_steps_are_taken_in_the_order_of_the_plan() -> None:
    fails = ScriptedEvent(60.0, "fails", "P2")
    stuck = ScriptedEvent(60.0, "controller stopped", "panel")
    steps = (Task("reset", just(600.0)), Task("set right", just(60.0)))
    for tasks in (steps, steps[::-1]):
        trace = run(at_once("anna", tasks=tasks), fails, stuck)
        done = [row.task for row in trace.crew if row.task in ("reset", "set right")]
        assert done == [task.kind for task in tasks]


# ------------------------------------------------------------------ descriptions that cannot be


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"call_list": ("dora",)}, "nobody among the people is called 'dora'"),
        ({"visit": Visit("dora", 0.0)}, "nobody among the people is called 'dora'"),
        ({"visit": Visit("anna", 0.0, 0.0)}, "every_s of visits is more than nought, not 0"),
        ({"look_again_s": 0.0}, "look_again_s is more than nought, not 0"),
        ({"look_again_s": math.nan}, "look_again_s is more than nought, not nan"),
        ({"tasks": (Task("haul", tool="tub"),)}, "'haul' takes the tool 'tub', and there is none"),
    ],
)
def test_a_response_that_cannot_be_is_refused(changes: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        at_once("anna", **changes)


def test_a_passer_by_who_rings_while_somebody_is_there_changes_nothing() -> None:
    response = at_once("anna", passer_by=PasserBy(just(10 * MINUTE), "alarm light"))
    trace = run(response, LOST, flow=1e-6)
    assert moments(trace, "a passer-by rings") == [660.0]
    assert moments(trace, "acknowledged") == [60.0]

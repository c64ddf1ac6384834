"""One crew for two plants on one clock: nobody is in two places, and no tool is."""

from __future__ import annotations

from dataclasses import replace

from crews import (
    HOUR,
    at_once,
    just,
    minutes,
    nobody_in_two_places,
    rows_of,
)

from stationsim.episode import ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.inflow.segments import total_inflow
from stationsim.people.response import Person, Response, Task, Tool
from stationsim.simulation.clock import PEOPLE, Clock
from stationsim.simulation.people.team import Team
from stationsim.simulation.plant import Plant
from stationsim.simulation.trouble.happening import order_of
from stationsim.testing import MONDAY, duplex, episode
from stationsim.trace import Trace

STATION = duplex(standby_power=StandbyPower(mobile=GeneratorSet()))


def shared(
    response: Response, *troubles: tuple[ScriptedEvent, ...], hours: float = 12.0
) -> list[Trace]:
    """Run plants side by side, all answered for by one team."""
    clock = Clock()
    team = Team(response, MONDAY, 1, 0)
    plants = []
    for events in troubles:
        case = episode(hours * HOUR, 0.0005, *events)
        plant = Plant(STATION, case, total_inflow(case), clock, team)
        for event in events:
            plant.at(event.at_s, order_of(event), "scripted", event)
        plant.begin()
        plants.append(plant)
    clock.run_before(hours * HOUR)
    return [plant.finish() for plant in plants]


def outage(at_s: float, lasts_s: float = 3 * HOUR) -> ScriptedEvent:
    """Return a loss of the grid."""
    return ScriptedEvent(at_s, "grid loss", "grid", lasts_s)


CONNECT = Task("connect mobile generator", just(600.0), tool="mobile generator",
               brought_for=("power failed",))  # fmt: skip
SET = Tool("mobile generator", fetched=just(900.0))


def test_the_only_one_goes_to_one_plant_and_then_to_the_other() -> None:
    people = (Person("anna", just(60.0), just(300.0), just(600.0)),)
    response = replace(at_once("anna", tools=(SET,), tasks=(CONNECT,)), people=people)
    one, other = shared(response, (outage(0.0),), (outage(1800.0, 6 * HOUR),))
    nobody_in_two_places([*one.crew, *other.crew])
    # at 1800 s anna is at the first plant: there is nobody to be called for the second
    assert rows_of(one, "connect mobile generator")
    assert [row.cause for row in other.events if row.event == "nobody reached"] == [
        "nobody is on call"
    ]
    assert other.crew == []


def test_the_second_plant_is_served_by_the_second_person_without_the_tool_of_the_first() -> None:
    people = tuple(Person(n, just(60.0), just(300.0), just(600.0)) for n in ("anna", "bert"))
    response = replace(at_once("anna", "bert", tools=(SET,), tasks=(CONNECT,)), people=people)
    one, other = shared(response, (outage(0.0),), (outage(1800.0, 6 * HOUR),))
    both = [*one.crew, *other.crew]
    nobody_in_two_places(both)
    assert {row.person for row in one.crew} == {"anna"}
    assert {row.person for row in other.crew} == {"bert"}
    fetched = [row for row in other.crew if row.task == "fetches"]
    assert [row.outcome for row in fetched] == ["not to be had", "done"]
    # anna leaves when her grid is back; then bert drives for the set that has come free
    (left_s,) = (row.t_s for row in one.events if row.event == "crew leaves")
    assert fetched[1].start_s >= left_s
    (connected,) = rows_of(other, "connect mobile generator")
    assert connected.outcome == "done"
    assert connected.start_s > left_s


def test_two_of_a_tool_serve_two_plants_at_once() -> None:
    people = tuple(Person(n, just(60.0), just(300.0), just(600.0)) for n in ("anna", "bert"))
    two = replace(SET, number=2)
    response = replace(at_once("anna", "bert", tools=(two,), tasks=(CONNECT,)), people=people)
    one, other = shared(response, (outage(0.0),), (outage(1800.0, 6 * HOUR),))
    nobody_in_two_places([*one.crew, *other.crew])
    for trace in (one, other):
        assert [row.outcome for row in rows_of(trace, "fetches")] == ["done"]
        assert [row.outcome for row in rows_of(trace, "connect mobile generator")] == ["done"]


def test_two_alarms_at_one_instant_share_three_people() -> None:
    people = tuple(Person(n, minutes(1, 2, 9), minutes(1, 2, 9)) for n in ("anna", "bert", "carl"))
    stuck = ScriptedEvent(0.0, "controller stopped", "panel")
    response = Response(
        people=people, call_list=("anna", "bert", "carl"), next_after_s=60.0, pace="drawn",
        tasks=(Task("set right", takes=just(900.0), people=2),), look_again_s=300.0,
    )  # fmt: skip
    one, other = shared(response, (stuck,), (stuck,))
    nobody_in_two_places([*one.crew, *other.crew])
    done = [row for trace in (one, other) for row in rows_of(trace, "set right")]
    assert {row.outcome for row in done} == {"done"}
    assert len({(row.person, row.start_s) for row in done}) == 4  # two at each plant


def test_a_plant_whose_team_serves_others_too_runs_as_one_that_has_its_own() -> None:
    people = (Person("anna", just(60.0), just(300.0), just(600.0)),)
    response = replace(at_once("anna", tools=(SET,), tasks=(CONNECT,)), people=people)
    alone = shared(response, (outage(60.0),))[0]
    beside = shared(response, (outage(60.0),), ())[0]
    assert alone.crew == beside.crew
    assert [row[:3] for row in alone.events] == [row[:3] for row in beside.events]


def test_a_person_is_engaged_from_the_acknowledgement_on() -> None:
    clock = Clock()
    team = Team(at_once("anna"), MONDAY, 1, 0)
    anna = team.response.person("anna")
    assert team.free(clock, anna)
    request = team.of_person(clock, anna).request()
    clock.moment(0.0, PEOPLE)
    clock.run_before(1.0)
    assert not team.free(clock, anna)
    team.of_person(clock, anna).release(request)
    assert team.free(clock, anna)

"""A run with people is a run in which the same things are scripted at the same times."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import pandas as pd
import pytest
from crews import CONNECT, HOUR, chain, just, minutes, wednesday, with_mobile

from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.people.response import Person, Response, Task, Tool
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import bypass_pump, duplex, engine_pump, episode, reference_station
from stationsim.trace import CrewRow

ANNA = Person("anna", minutes(1, 5, 30), minutes(5, 10, 20), minutes(10, 25, 90))
BERT = Person("bert", minutes(1, 4, 20), minutes(2, 6, 12), minutes(5, 12, 30))
TANKER = Tool("tanker", delivered=minutes(10, 20, 60), holds_m3=6.0, round_trip=minutes(9, 14, 30))
WORK = minutes(7, 11, 31)


def plan(*tasks: Task, tools: tuple[Tool, ...] = ()) -> Response:
    """Return a response of two people, any point of whose ranges is uneven."""
    return Response(
        people=(ANNA, BERT), call_list=("anna", "bert"), picked_up=minutes(0, 1.3, 5),
        on_phone=minutes(0.5, 2.1, 10), next_after_s=777.0, assesses=minutes(1, 3.3, 9),
        look_again_s=301.0, tools=tools, tasks=tasks,
    )  # fmt: skip


@dataclass(frozen=True)
class Situation:
    """A station in trouble, a plan for it, and the step that is looked at."""

    station: Station
    case: Episode
    response: Response
    kind: str
    least: int = 1  # how often the step is done


ISOLATED = ("set right", "refuel", "clear rags", "pull a pump")


def _mobile() -> Situation:
    response = chain(tasks=(replace(CONNECT, takes_down=minutes(5, 11, 31)),))
    return Situation(
        with_mobile(reference_station()), wednesday(7.0, None), response, "connect mobile generator"
    )


def _reset() -> Situation:
    fails = [ScriptedEvent(HOUR, "fails", name) for name in ("P1", "P2")]
    return Situation(
        duplex(), episode(6 * HOUR, 0.004, *fails), plan(Task("reset", takes=WORK)), "reset", 2
    )


def _rags() -> Situation:
    rags = ScriptedEvent(600.0, "clogged", "P1", flow_left=0.1)
    return Situation(
        duplex(), episode(9 * HOUR, 0.04, rags), plan(Task("clear rags", takes=WORK)),
        "clear rags",
    )  # fmt: skip


def _pulled() -> Situation:
    wet = ScriptedEvent(600.0, "seal leak into motor", "P1")
    return Situation(
        duplex(), episode(9 * HOUR, 0.04, wet),
        plan(
            Task("pull a pump", takes=WORK, people=2, tool="lifting gear"),
            tools=(Tool("lifting gear", fetched=minutes(3, 8, 9)),),
        ),
        "pull a pump",
    )  # fmt: skip


def _breaker() -> Situation:
    opened = ScriptedEvent(600.0, "control breaker open", "panel")
    return Situation(
        duplex(), episode(6 * HOUR, 0.01, opened), plan(Task("set right", takes=WORK)), "set right"
    )


def _bypass() -> Situation:
    lost = ScriptedEvent(600.0, "grid loss", "grid", 5 * HOUR)
    return Situation(
        duplex(bypass_pump=bypass_pump()), episode(12 * HOUR, 0.006, lost),
        plan(
            Task(
                "connect bypass pump", takes=WORK, starts=minutes(1, 2, 5), takes_down=WORK,
                tool="bypass pump", brought_for=("power failed",),
            ),
            tools=(Tool("bypass pump", fetched=minutes(10, 13, 20)),),
        ),
        "connect bypass pump",
    )  # fmt: skip


def _refuel() -> Situation:
    lost = ScriptedEvent(600.0, "grid loss", "grid", 9 * HOUR)
    engine = engine_pump(fuel_m3_per_s=4e-6, tank_m3=0.012)
    return Situation(
        duplex(engine_pump=engine), episode(12 * HOUR, 0.02, lost),
        plan(
            Task("refuel", takes=WORK, tool="cans", fuel_below=0.5),
            tools=(Tool("cans", fetched=minutes(1, 2, 3)),),
        ),
        "refuel",
    )  # fmt: skip


def _refuel_mobile() -> Situation:
    tank = GeneratorSet(fuel_loads=(0.0,), fuel_rates_m3_per_s=(1.51e-6,), tank_m3=0.02)
    station = replace(reference_station(), standby_power=StandbyPower(mobile=tank))
    refuel = Task("refuel", takes=WORK, fuel_below=0.5)
    response = chain(tasks=(replace(CONNECT, takes_down=minutes(5, 11, 31)), refuel))
    return Situation(station, wednesday(7.0, None), response, "refuel", 2)


def _refuel_bypass() -> Situation:
    found = _bypass()
    bypass = bypass_pump(fuel_m3_per_s=4e-6, tank_m3=0.012)
    response = replace(
        found.response, tasks=(*found.response.tasks, Task("refuel", takes=WORK, fuel_below=0.7))
    )
    return replace(
        found, station=duplex(bypass_pump=bypass), response=response, kind="refuel",
        case=episode(
            14 * HOUR, 0.02, ScriptedEvent(600.0, "grid loss", "grid", 9 * HOUR)
        ),
    )  # fmt: skip


def _valve() -> Situation:
    shut = ScriptedEvent(600.0, "plug valve closed", "P1", flow_left=0.0)
    return Situation(
        duplex(), episode(6 * HOUR, 0.04, shut), plan(Task("set right", takes=WORK)), "set right"
    )


def _haul() -> Situation:
    lost = ScriptedEvent(600.0, "grid loss", "grid", 5 * HOUR)
    return Situation(
        duplex(), episode(9 * HOUR, 0.004, lost),
        plan(
            Task("haul", takes=minutes(4, 8, 15), people=0, tool="tanker",
                 brought_for=("power failed",)),
            tools=(TANKER,),
        ),
        "haul", 3,
    )  # fmt: skip


SITUATIONS: dict[str, Callable[[], Situation]] = {
    "connect mobile generator": _mobile, "reset": _reset, "clear rags": _rags,
    "pull a pump": _pulled, "set right": _breaker, "connect bypass pump": _bypass,
    "refuel": _refuel, "haul": _haul, "refuel a mobile set": _refuel_mobile,
    "refuel a bypass pump": _refuel_bypass, "set a pump right": _valve,
}  # fmt: skip


def scripted(rows: list[CrewRow], result: Result) -> list[ScriptedEvent]:
    """Return what the crew did, as anybody would write it into a script."""
    reset_s = {(r.subject, r.t_s) for r in result.trace.events if r.event == "reset"}
    again_s = {r.t_s for r in result.trace.events if r.event == "mobile generator connected"}
    machines = result.station.machine_names()
    found = []
    seen = set()
    for row in rows:
        begin_s, end_s, what = row.start_s, row.stop_s, row.subject
        if (row.task, what, begin_s) in seen:  # several pairs of hands, one work
            continue
        seen.add((row.task, what, begin_s))
        if row.task == "haul":
            took_s = end_s - begin_s
            found.append(ScriptedEvent(begin_s, "tanker takes", "tanker", amount=6.0, per_s=took_s))
        off = "mobile generator disconnected"
        filled = row.task == "refuel" and what == "mobile generator"
        if row.task == "disconnect mobile generator" or filled:
            found.append(ScriptedEvent(begin_s, off, "mobile generator", end_s - begin_s))
        if row.task == "disconnect bypass pump":
            found.append(ScriptedEvent(begin_s, "bypass pump disconnected", "bypass pump"))
        isolated = row.task in ISOLATED and what in machines
        if isolated:
            found.append(ScriptedEvent(begin_s, "off", what))
        if row.outcome != "done":
            continue
        if row.task in ("clear rags", "pull a pump"):
            found.append(ScriptedEvent(end_s, "put right", what))
            if (what, end_s) in reset_s:
                found.append(ScriptedEvent(end_s, "reset", what))
        kinds = {
            "reset": ("reset", what),
            "set right": ("put right", what),
            "refuel": ("refuelled", what),
            "connect mobile generator": ("mobile generator connected", "mobile generator"),
            "connect bypass pump": ("bypass pump connected", "bypass pump"),
        }
        if row.task in kinds:
            kind, subject = kinds[row.task]
            found.append(ScriptedEvent(end_s, kind, subject))  # type: ignore[arg-type]
        if isolated:
            found.append(ScriptedEvent(end_s, "auto", what))
        if filled and end_s in again_s:
            found.append(ScriptedEvent(end_s, "mobile generator connected", what))
    return found


def same_in_every_old_column(one: Result, other: Result) -> None:
    """Fail when two runs differ in anything but causes, people and who knew.

    A person who only looks on has the water committed once more at that moment, so the last digits
    of a float may differ, and nothing else.
    """
    for name, table in one.tables.items():
        if name == "crew":
            continue
        left, right = table, other.tables[name]
        if name == "events":
            left = left[left.subject != "call-out"].reset_index(drop=True)
        if name == "summary":
            left = left[left.metric.isin(right.metric)].reset_index(drop=True)
        leave = [c for c in left.columns if c in ("cause", "reached_s", "reached_time")]
        pd.testing.assert_frame_equal(
            left.drop(columns=leave), right.drop(columns=leave), rtol=1e-9, atol=1e-6, obj=name
        )
    assert one.trace.leg_t_s == pytest.approx(other.trace.leg_t_s, abs=1e-6)
    assert one.trace.leg_v_m3 == pytest.approx(other.trace.leg_v_m3, rel=1e-9)


@pytest.mark.parametrize("pace", ["typical", "drawn"])
@pytest.mark.parametrize("name", SITUATIONS)
def test_people_are_a_script_that_writes_itself(name: str, pace: str) -> None:
    situation = SITUATIONS[name]()
    response = replace(situation.response, pace=pace)  # type: ignore[arg-type]
    with_people = simulate(situation.station, replace(situation.case, response=response))
    rows = with_people.trace.crew
    done = [row for row in rows if row.task == situation.kind and row.outcome == "done"]
    assert len(done) >= situation.least, [(r.task, r.outcome) for r in rows]
    events = scripted(rows, with_people)
    alone = simulate(
        situation.station,
        replace(situation.case, events=(*situation.case.events, *events)),
    )
    same_in_every_old_column(with_people, alone)
    # and what they did made a difference
    nobody = simulate(situation.station, situation.case)
    assert nobody.trace.leg_v_m3 != with_people.trace.leg_v_m3


@pytest.mark.parametrize("name", SITUATIONS)
def test_a_step_that_is_left_out_is_a_run_without_it(name: str) -> None:
    situation = SITUATIONS[name]()
    without = replace(situation.response, tasks=())
    with_people = simulate(situation.station, replace(situation.case, response=without))
    assert [row for row in with_people.trace.crew if row.task == "looks on"]
    same_in_every_old_column(with_people, simulate(situation.station, situation.case))


def test_of_two_steps_the_one_that_is_left_out_changes_nothing_for_the_other() -> None:
    opened = ScriptedEvent(600.0, "control breaker open", "panel")
    case = episode(6 * HOUR, 0.01, opened)
    idle = Task("clear rags", takes=just(600.0))
    both = plan(idle, Task("set right", takes=WORK))
    one = plan(Task("set right", takes=WORK))
    runs = [simulate(duplex(), replace(case, response=each)) for each in (both, one)]
    assert runs[0].trace.events == runs[1].trace.events
    assert runs[0].trace.crew == runs[1].trace.crew

"""What somebody works on stands still meanwhile: pumps, engines, tanks, a set that is taken off.

10 L/s in, 10 m2 of well: 1 mm/s up while nothing pumps. People here do at once all that no time is
given for; times by hand.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from crews import HOUR, at_once, just, moments, rows_of

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.people.response import Response, Task, Visit
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import bypass_pump, duplex, engine_pump, episode
from stationsim.trace import Trace

MOBILE = "mobile generator"
LOST = ScriptedEvent(60.0, "grid loss", "grid", 3 * HOUR)
SET_RIGHT = Task("set right", just(900.0))


def run(
    response: Response, *events: ScriptedEvent, station: Station | None = None,
    flow: float = 0.01, hours: float = 6.0, level_m: float = 1.0,
) -> Trace:  # fmt: skip
    """Run a duplex in trouble."""
    case = episode(hours * HOUR, flow, *events, start_level_m=level_m)
    return simulate(station or duplex(), replace(case, response=response)).trace


def busbar(trace: Trace) -> list[tuple[float, str]]:
    """Return what fed the busbar from when on."""
    return [(row.start_s, row.state) for row in trace.power if row.source == "busbar"]


def turned(trace: Trace, name: str) -> list[tuple[float, str]]:
    """Return when the selector of a machine was turned, and where to."""
    words = ("off", "in auto", "in hand")
    return [(r.t_s, r.event) for r in trace.events if r.subject == name and r.event in words]


def ran(trace: Trace, machine: int, from_s: float, to_s: float) -> bool:
    """Return whether a machine ran within a span."""
    return any(
        row.machine == machine and row.start_s < to_s - 1e-6 and row.stop_s > from_s + 1e-6
        for row in trace.runs
    )


# ------------------------------------------------------------------ taken off


def with_mobile(**changes: object) -> Station:
    """Return a duplex that takes a mobile set."""
    return duplex(standby_power=StandbyPower(mobile=GeneratorSet(**changes)))  # type: ignore[arg-type]


def test_while_a_set_is_taken_off_nothing_feeds_and_no_pump_runs() -> None:
    task = Task("connect mobile generator", just(540.0), takes_down=just(1500.0))
    trace = run(at_once("anna", look_again_s=60.0, tasks=(task,)), LOST, station=with_mobile())
    (off,) = rows_of(trace, "disconnect mobile generator")
    assert off.stop_s == off.start_s + 1500.0
    assert moments(trace, "mobile generator disconnected") == [off.start_s]
    assert busbar(trace) == [
        (0.0, "grid"), (60.0, "dead"), (600.0, MOBILE), (off.start_s, "dead"), (off.stop_s, "grid"),
    ]  # fmt: skip
    assert not any(ran(trace, machine, off.start_s, off.stop_s) for machine in (0, 1))
    # 1.5 m in 1500 s: at its end both are due at once
    assert ran(trace, 0, off.stop_s, off.stop_s + 1.0)
    assert ran(trace, 1, off.stop_s, off.stop_s + 1.0)


def test_that_it_is_dark_while_a_set_is_taken_off_calls_for_nothing_else() -> None:
    station = replace(with_mobile(), bypass_pump=bypass_pump())
    tasks = (
        Task("connect mobile generator", just(540.0), takes_down=just(900.0)),
        Task("connect bypass pump", just(60.0), people=2),
    )
    response = at_once("anna", "bert", look_again_s=60.0, tasks=tasks, visit=Visit("bert", 3000.0))
    trace = run(response, LOST, station=station, flow=0.001)
    (off,) = rows_of(trace, "disconnect mobile generator")
    assert off.outcome == "done"
    assert not [row for row in rows_of(trace, "connect bypass pump") if row.start_s >= off.start_s]


def test_a_bypass_pump_is_off_before_its_hose_is_loosened() -> None:
    task = Task("connect bypass pump", just(60.0), takes_down=just(3 * HOUR))
    station = duplex(bypass_pump=bypass_pump())
    trace = run(
        at_once("anna", look_again_s=60.0, tasks=(task,)), LOST,
        ScriptedEvent(6 * HOUR, "fails", "P1"), ScriptedEvent(6 * HOUR, "fails", "P2"),
        station=station, level_m=2.9, hours=9.0,
    )  # fmt: skip
    (off,) = rows_of(trace, "disconnect bypass pump")
    assert off.start_s < 6 * HOUR < off.stop_s == off.start_s + 3 * HOUR
    states = [(row.start_s, row.state) for row in trace.power if row.source == "B1"]
    assert (off.start_s, "not connected") in states
    assert not ran(trace, 2, off.start_s, off.stop_s)


# ------------------------------------------------------------------ tanks


def engine_station(name: str) -> Station:
    """Return a duplex with an engine-driven pump, or a bypass pump, that burns 14.4 L/h of 12 L."""
    fuel = {"fuel_m3_per_s": 4e-6, "tank_m3": 0.012}
    if name == "E1":
        return duplex(engine_pump=engine_pump(**fuel))
    return duplex(bypass_pump=bypass_pump(**fuel))


@pytest.mark.parametrize("name", ["E1", "B1"])
def test_no_tank_of_a_running_engine_is_filled(name: str) -> None:
    station = engine_station(name)
    tasks = (Task("connect bypass pump"), Task("refuel", just(600.0), fuel_below=0.8))
    trace = run(
        at_once("anna", look_again_s=60.0, tasks=tasks[name == "E1" :]), LOST, station=station,
        flow=0.02,
    )  # fmt: skip
    rows = rows_of(trace, "refuel")
    assert rows
    assert {(row.subject, row.outcome) for row in rows} == {(name, "done")}
    assert moments(trace, "refuelled") == pytest.approx([row.stop_s for row in rows])
    machine = 2
    for row in rows:
        assert not ran(trace, machine, row.start_s, row.stop_s)
    # it ran when the work began at least once, so that it was stopped for it, and runs again after
    assert any(
        r.machine == machine
        and r.stop_s == pytest.approx(row.start_s)
        and r.stopped_by == "selector in off"
        for r in trace.runs
        for row in rows
    )
    marks = [mark for row in rows for mark in ((row.start_s, "off"), (row.stop_s, "in auto"))]
    assert [word for _at_s, word in turned(trace, name)] == [word for _at_s, word in marks]
    assert [at_s for at_s, _ in turned(trace, name)] == pytest.approx([at_s for at_s, _ in marks])


def test_an_engine_in_hand_is_in_hand_again_when_its_tank_is_full() -> None:
    station = engine_station("E1")
    hand = ScriptedEvent(60.0, "hand", "E1")
    trace = run(
        at_once("anna", look_again_s=60.0, tasks=(Task("refuel", just(600.0), fuel_below=0.8),)),
        LOST, hand, station=station, flow=0.02, hours=2.0,
    )  # fmt: skip
    row = rows_of(trace, "refuel")[0]
    assert turned(trace, "E1")[:3] == [
        (60.0, "in hand"), (row.start_s, "off"), (row.stop_s, "in hand"),
    ]  # fmt: skip
    assert not ran(trace, 2, row.start_s, row.stop_s)
    assert ran(trace, 2, row.stop_s, row.stop_s + 300.0)


def test_a_stated_time_of_a_hand_does_not_end_while_somebody_works() -> None:
    # off for 1200 s from 300 s on; the work lasts from 600 to 1800 s, and then it is in auto
    shut = ScriptedEvent(600.0, "plug valve closed", "P1", flow_left=0.0)
    off = ScriptedEvent(300.0, "off", "P1", 1200.0)
    caller = ScriptedEvent(600.0, "fails", "P2", 60.0)
    trace = run(at_once("anna", tasks=(Task("set right", just(1200.0)),)), off, caller, shut)
    assert [(r.start_s, r.stop_s) for r in rows_of(trace, "set right")] == [(600.0, 1800.0)]
    assert turned(trace, "P1") == [(300.0, "off"), (1800.0, "in auto")]


TANK = {"fuel_loads": (0.0,), "fuel_rates_m3_per_s": (1.51e-6,), "tank_m3": 0.01}
"""A mobile set that has burnt half its tank after 3311 s."""
CONNECT = Task("connect mobile generator")
FILL = Task("refuel", just(600.0), fuel_below=0.5)


def test_a_mobile_set_that_runs_is_stopped_for_its_tank_and_connected_again() -> None:
    response = at_once("anna", look_again_s=60.0, tasks=(CONNECT, FILL))
    trace = run(response, LOST, station=with_mobile(**TANK))
    first, *rest = rows_of(trace, "refuel")
    assert rest
    assert first.outcome == "done"
    half_s = 60.0 + 0.5 * 0.01 / 1.51e-6
    assert half_s <= first.start_s < half_s + 60.0
    assert busbar(trace)[1:4] == [
        (60.0, MOBILE), (first.start_s, "dead"), (first.stop_s, MOBILE),
    ]  # fmt: skip
    assert first.stop_s == first.start_s + 600.0
    assert not any(ran(trace, n, first.start_s, first.stop_s) for n in (0, 1))
    assert moments(trace, "refuelled")[0] == first.stop_s
    assert not [row for row in trace.events if row.event == "connection refused"]


def test_a_grid_that_is_back_while_a_tank_is_filled_feeds_and_the_set_stays_off() -> None:
    # filled from about 3372 to 3972 s; the grid is back at 3600 s
    lost = replace(LOST, duration_s=3540.0)
    response = at_once("anna", look_again_s=60.0, tasks=(CONNECT, FILL))
    trace = run(response, lost, station=with_mobile(**TANK))
    (row,) = rows_of(trace, "refuel")
    assert row.start_s < 3600.0 < row.stop_s
    assert busbar(trace)[2:] == [(row.start_s, "dead"), (row.stop_s, "grid")]
    assert rows_of(trace, "disconnect mobile generator") == []
    assert moments(trace, "crew leaves") == [row.stop_s]


def test_nobody_connects_a_set_whose_tank_another_fills() -> None:
    both = at_once("anna", "bert", look_again_s=60.0, tasks=(CONNECT, FILL),
                   visit=Visit("bert", 120.0))  # fmt: skip
    trace = run(both, LOST, station=with_mobile(**TANK), hours=2.0)
    first = rows_of(trace, "refuel")[0]
    begins = [row.start_s for row in rows_of(trace, "connect mobile generator")]
    assert begins == [60.0]
    assert moments(trace, "mobile generator connected")[:2] == [60.0, first.stop_s]


def test_a_set_that_is_to_be_taken_off_is_not_filled_before() -> None:
    lost = replace(LOST, duration_s=3000.0)
    tasks = (replace(FILL, fuel_below=0.6), replace(CONNECT, takes_down=just(60.0)))
    response = at_once("anna", look_again_s=4000.0, tasks=tasks)
    trace = run(response, lost, station=with_mobile(**TANK))
    (off,) = rows_of(trace, "disconnect mobile generator")
    assert all(row.start_s >= off.stop_s for row in rows_of(trace, "refuel"))


# ------------------------------------------------------------------ pumps


@pytest.mark.parametrize("kind", ["plug valve closed", "check valve open", "check valve slow"])
def test_a_pump_is_set_right_with_its_selector_in_off(kind: EventKind) -> None:
    wrong = ScriptedEvent(30.0, kind, "P1", flow_left=0.0, amount=0.5)
    caller = ScriptedEvent(60.0, "fails", "P2", 60.0)
    trace = run(at_once("anna", tasks=(SET_RIGHT,)), wrong, caller, flow=0.03, level_m=2.5)
    (row,) = rows_of(trace, "set right")
    assert (row.subject, row.start_s, row.stop_s, row.outcome) == ("P1", 60.0, 960.0, "done")
    assert turned(trace, "P1") == [(60.0, "off"), (960.0, "in auto")]
    assert ran(trace, 0, 30.0, 60.0)
    assert not ran(trace, 0, 60.0, 960.0)
    assert ran(trace, 0, 960.0, 2000.0)


def test_an_engine_is_set_right_with_its_selector_in_off() -> None:
    flat = ScriptedEvent(30.0, "battery flat", "E1")
    station = duplex(engine_pump=engine_pump())
    trace = run(
        at_once("anna", look_again_s=60.0, tasks=(SET_RIGHT, Task("reset"))), flat, LOST,
        station=station, level_m=3.3,
    )  # fmt: skip
    (row,) = rows_of(trace, "set right")
    assert turned(trace, "E1") == [(row.start_s, "off"), (row.stop_s, "in auto")]
    assert not ran(trace, 2, row.start_s, row.stop_s)
    assert ran(trace, 2, row.stop_s, row.stop_s + 600.0)


def test_a_pump_that_is_right_by_itself_meanwhile_is_given_back_all_the_same() -> None:
    shut = ScriptedEvent(30.0, "plug valve closed", "P1", 300.0, flow_left=0.0)
    caller = ScriptedEvent(60.0, "fails", "P2", 60.0)
    trace = run(at_once("anna", tasks=(SET_RIGHT,)), shut, caller, level_m=2.5)
    (row,) = rows_of(trace, "set right")
    assert row.outcome == "no longer needed"
    assert turned(trace, "P1") == [(60.0, "off"), (960.0, "in auto")]
    assert moments(trace, "nothing to put right") == []


def test_what_is_no_machine_is_set_right_as_it_stands() -> None:
    stuck = ScriptedEvent(60.0, "controller stopped", "panel")
    trace = run(at_once("anna", tasks=(SET_RIGHT,)), stuck)
    assert [row.outcome for row in rows_of(trace, "set right")] == ["done"]
    assert not [row for row in trace.events if row.event in ("off", "in auto")]


def test_a_pump_that_does_not_start_is_found_in_the_panel_once_it_has_failed() -> None:
    wrong = ScriptedEvent(0.0, "fails to start", "P1")
    caller = ScriptedEvent(60.0, "fails", "P2", 60.0)
    tasks = (Task("pull a pump", just(1800.0)), SET_RIGHT, Task("reset", just(60.0)))
    trace = run(at_once("anna", look_again_s=60.0, tasks=tasks), wrong, caller, level_m=1.0)
    assert rows_of(trace, "pull a pump") == []
    (right,) = rows_of(trace, "set right")
    failed = [row for row in trace.events if (row.subject, row.event) == ("P1", "trip")]
    assert right.subject == "P1"
    assert right.start_s >= failed[0].t_s
    assert [row.subject for row in rows_of(trace, "reset")] == ["P1"]
    assert ran(trace, 0, right.stop_s, 6 * HOUR)


def test_a_pump_is_not_pulled_for_its_check_valve() -> None:
    wrong = ScriptedEvent(30.0, "check valve open", "P1", amount=0.5)
    trips = ScriptedEvent(60.0, "fails", "P1")
    pull = Task("pull a pump", just(900.0))
    assert rows_of(run(at_once("anna", tasks=(pull,)), wrong, trips), "pull a pump") == []
    rows = rows_of(run(at_once("anna", tasks=(pull, SET_RIGHT)), wrong, trips), "set right")
    assert [(row.subject, row.outcome) for row in rows] == [("P1", "done")]

"""What a generator set carries, which pumps it lets run, and what it burns.

Three pumps of 30 L/s and 10 kW in a tank of 10 m2. The grid is lost at nought with the water above
all starts, and the set feeds a second later, so that the pumps start by the restart stagger.
Hand sums and hand integrals; the kVA are round and invented.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, MotorLoad, StandbyPower, TransferSwitch
from stationsim.physics.forcemain import ForceMain
from stationsim.physics.pumps import FlowTable, HeadCurve, PowerDraw
from stationsim.physics.spill import Spillway
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings, Station
from stationsim.testing import duplex, episode, triplex
from stationsim.trace import Trace

LOAD = MotorLoad(running_va=20e3, start_va=60e3, start_s=3.0)
LOADS = {"P1": LOAD, "P2": LOAD, "P3": LOAD}
TABLE = {"fuel_loads": (0.0, 0.5, 1.0), "fuel_rates_m3_per_s": (1e-6, 2e-6, 4e-6)}


def happens(
    at_s: float, kind: EventKind, subject: str, lasts_s: float | None = None
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, lasts_s)


def loss(at_s: float = 0.0, lasts_s: float = 1e9) -> ScriptedEvent:
    return happens(at_s, "grid loss", "grid", lasts_s)


def station(
    generator: GeneratorSet, *, stagger_s: float = 10.0, loads: Any = LOADS, **transfer: float
) -> Station:
    power = StandbyPower(generator, TransferSwitch(**{"transfer_s": 1.0, **transfer}), loads=loads)
    return replace(
        triplex(levels={"restart_stagger_s": stagger_s}),
        standby_power=power,
        spillway=Spillway(9.0),
        alarms=AlarmSettings(),
    )


def run(
    what: Station,
    *events: ScriptedEvent,
    duration_s: float = 600.0,
    level_m: float = 5.0,
    inflow: float = 0.04,
) -> tuple[Session, Trace]:
    given = episode(duration_s, inflow, *events, start_level_m=level_m)
    session = Session(what, given)
    trace = session.finish().trace
    assert trace.balance_error < 1e-9
    return session, trace


def generator_of(session: Session) -> Any:
    return session._plant.supply.generator


def starts(trace: Trace, after_s: float = 0.5) -> list[tuple[int, float]]:
    found = sorted((r.start_s, r.machine) for r in trace.runs if r.start_s > after_s)
    return [(machine, round(at_s, 6)) for at_s, machine in found]


def states(trace: Trace, source: str = "generator") -> list[tuple[float, str]]:
    rows = sorted((r.start_s, r.state) for r in trace.power if r.source == source)
    return [(round(at_s, 6), state) for at_s, state in rows]


def notes(trace: Trace, *events: str) -> list[tuple[float, str, str]]:
    return [(round(e.t_s, 6), e.cause, e.detail) for e in trace.events if e.event in events]


# ---------------------------------------------------------------------- kVA


def test_the_sum_during_a_staggered_start_is_the_hand_sum() -> None:
    session = Session(
        station(GeneratorSet(start_va=100e3)), episode(600.0, 0.04, loss(), start_level_m=5.0)
    )
    sums = {2.0: 60.0, 3.9: 60.0, 4.5: 20.0, 11.5: 80.0, 14.5: 40.0, 21.5: 100.0, 24.5: 60.0}
    for at_s, kva in sums.items():
        session.advance(at_s)
        assert generator_of(session).load_va(at_s) == pytest.approx(kva * 1e3, rel=1e-12), at_s
        assert generator_of(session).load_va(at_s, starts=False) == pytest.approx(
            20e3 * len(session.running), rel=1e-12
        )
    # at its limit it does not trip
    assert states(session.finish().trace)[-1][1] == "running"


def test_two_at_once_trip_it_and_staggered_ones_do_not() -> None:
    small = GeneratorSet(start_va=110e3)
    session, trace = run(station(small, stagger_s=0.0), loss())
    assert notes(trace, "trip") == [
        (1.0, "more than it can carry", "180.0 kVA asked, 110.0 kVA at most")
    ]
    assert states(trace)[-1] == (1.0, "tripped")
    assert [r.stopped_by for r in trace.runs if r.start_s == 1.0] == ["generator tripped"] * 3
    assert [(a.alarm, a.raised_s) for a in trace.alarms][-1] == ("generator failed", 1.0)
    assert generator_of(session).at_voltage is False
    _session, trace = run(station(small), loss())
    assert starts(trace) == [(0, 1.0), (1, 11.0), (2, 21.0)]
    assert notes(trace, "trip") == []


def test_those_that_still_run_up_count_with_their_start() -> None:
    _session, trace = run(station(GeneratorSet(start_va=110e3), stagger_s=2.0), loss())
    assert notes(trace, "trip") == [
        (3.0, "more than it can carry", "120.0 kVA asked, 110.0 kVA at most")
    ]
    _session, trace = run(station(GeneratorSet(start_va=110e3), stagger_s=3.0), loss())
    assert notes(trace, "trip") == []


def test_it_trips_when_they_have_run_up_beyond_its_plate() -> None:
    too_much = ("more than it can carry", "60.0 kVA asked, 50.0 kVA at most")
    small = GeneratorSet(rated_va=50e3)
    _session, trace = run(station(small), loss())  # the third starts at 21 s, and runs up for 3 s
    assert notes(trace, "trip") == [(24.0, *too_much)]
    # while one still runs up, nobody asks for the plate: three starts, 2 s apart, from 1 s on
    _session, trace = run(station(small, stagger_s=2.0), loss())
    assert notes(trace, "trip") == [(8.0, *too_much)]
    # one that is stopped before it has run up trips nothing; at the limit neither
    _session, trace = run(station(small), loss(), happens(23.0, "off", "P3"))
    assert notes(trace, "trip") == []
    _session, trace = run(station(GeneratorSet(rated_va=60e3)), loss())
    assert notes(trace, "trip") == []
    # with no time to run up it is looked at at once
    at_once = {name: replace(LOAD, start_s=0.0) for name in LOADS}
    _session, trace = run(station(small, loads=at_once), loss())
    assert notes(trace, "trip") == [(21.0, *too_much)]


def test_it_trips_when_the_last_that_ran_up_stops_before_it_has() -> None:
    """P3 starts at 21 s, and by hand P4's like, P2, is slow to run up until it is set to off."""
    loads = {**LOADS, "P2": MotorLoad(20e3, 60e3, 30.0)}
    small = station(GeneratorSet(rated_va=35e3), loads=loads)
    # P2 starts at 11 s and would have run up at 41 s; P3 has, at 24 s; P2 is set to off at 30 s
    _session, trace = run(small, loss(), happens(30.0, "off", "P2"))
    assert notes(trace, "trip") == [
        (30.0, "more than it can carry", "40.0 kVA asked, 35.0 kVA at most")
    ]


def test_a_tripped_set_is_reset_and_starts_anew() -> None:
    cranks = GeneratorSet(start_va=110e3, crank_s=5.0)
    _session, trace = run(
        station(cranks, stagger_s=2.0), loss(), happens(100.0, "reset", "generator")
    )
    assert states(trace)[:5] == [
        (0.0, "starting"), (5.0, "running"), (8.0, "tripped"),
        (100.0, "starting"), (105.0, "running"),
    ]  # fmt: skip
    assert notes(trace, "reset") == [(100.0, "by hand", "tripped")]
    assert notes(trace, "trip")[1][0] == 107.0  # nothing else has changed
    alarm = next(a for a in trace.alarms if a.alarm == "generator failed")
    assert (alarm.raised_s, alarm.cleared_s) == (8.0, 100.0)


def test_pumps_without_a_plate_count_nought() -> None:
    _session, trace = run(station(GeneratorSet(start_va=1.0), loads={}), loss())
    assert notes(trace, "trip") == []


def test_the_order_of_what_starts_at_one_instant_does_not_matter() -> None:
    """Two hands, and the controller at its stagger, at one instant: they add up."""
    small = station(GeneratorSet(start_va=110e3))
    hands = (happens(11.0, "hand", "P2"), happens(11.0, "hand", "P3"))
    for order in (hands, hands[::-1]):
        _session, trace = run(small, loss(), *order)
        assert notes(trace, "trip") == [
            (11.0, "more than it can carry", "140.0 kVA asked, 110.0 kVA at most")
        ]


# ---------------------------------------------------------------------- who may run


def test_the_last_pump_is_locked_out_and_released_when_one_fails() -> None:
    two = station(GeneratorSet(most_running=2))
    _session, trace = run(two, loss(), happens(100.0, "fails", "P2"))
    first, second, third = starts(trace)
    assert [at for _m, at in (first, second)] == [1.0, 11.0]
    assert third[1] == 100.0
    assert {m for m, _at in (first, second, third)} == {0, 1, 2}
    held = [e for e in trace.events if e.event == "start refused" and e.t_s < 100.0]
    assert held
    assert "held by the generator" in held[0].detail


def test_only_those_named_run_and_all_are_free_on_the_grid() -> None:
    named = station(GeneratorSet(may_start=("P3",)), return_break_s=4.0)
    _session, trace = run(named, loss(lasts_s=100.0))
    assert {r.machine for r in trace.runs if r.start_s < 100.0} == {2}
    assert starts(trace, 100.0) == [(1, 104.0), (2, 114.0), (0, 124.0)]


# ---------------------------------------------------------------------- fuel


def test_the_table_is_straight_between_and_beyond_its_ends() -> None:
    what = GeneratorSet(rated_w=100.0, fuel_loads=(0.25, 0.5, 1.0), fuel_rates_m3_per_s=(2, 3, 7))
    found = [what.fuel_rate_m3_per_s(w) for w in (0.0, 25.0, 40.0, 50.0, 75.0, 100.0, 125.0)]
    assert found == pytest.approx([1.0, 2.0, 2.6, 3.0, 5.0, 7.0, 9.0], rel=1e-14)
    steep = replace(what, fuel_rates_m3_per_s=(0, 3, 7))
    assert steep.fuel_rate_m3_per_s(0.0) == 0.0  # never less than nought
    one = GeneratorSet(fuel_loads=(0.5,), fuel_rates_m3_per_s=(2.0,))
    assert one.fuel_rate_m3_per_s(1e6) == 2.0
    assert GeneratorSet().fuel_rate_m3_per_s(1e6) == 0.0


def by_hand_m3(trace: Trace, begin_s: float, end_s: float) -> float:
    """Integrate the table over the pumps that ran, 10 kW each of 40 kW."""
    marks = sorted({begin_s, end_s, *(t for r in trace.runs for t in (r.start_s, r.stop_s))})
    total = 0.0
    for low, high in itertools.pairwise(t for t in marks if begin_s <= t <= end_s):
        running = sum(r.start_s <= low and r.stop_s >= high for r in trace.runs)
        load = 0.25 * running
        total += (1e-6 + 2e-6 * load if load < 0.5 else 4e-6 * load) * (high - low)
    return total


def test_fuel_burnt_is_the_table_integrated_by_hand() -> None:
    what = station(
        GeneratorSet(rated_w=40e3, run_up_s=7.0, tank_m3=1.0, **TABLE),
        start_delay_s=3.0, transfer_s=2.0, return_after_s=50.0, return_break_s=4.0,
        cool_down_s=60.0,
    )  # fmt: skip
    session, trace = run(what, loss(100.0, 2000.0), duration_s=4000.0, level_m=1.5, inflow=0.08)
    assert states(trace)[1:] == [
        (103.0, "starting"), (110.0, "running"), (2150.0, "cooling down"), (2210.0, "stopped"),
    ]  # fmt: skip
    at_once = {sum(r.start_s <= t < r.stop_s for r in trace.runs) for t in np.arange(112.0, 2150.0)}
    assert at_once == {0, 1, 2, 3}
    without = 1e-6 * ((112.0 - 103.0) + 60.0)
    hand = by_hand_m3(trace, 112.0, 2150.0) + without
    fuel = generator_of(session).fuel
    assert fuel.burnt_m3 == pytest.approx(hand, rel=1e-9)
    assert fuel.left_m3 == pytest.approx(1.0 - hand, rel=1e-9)


def test_out_of_fuel_comes_at_the_hand_worked_moment() -> None:
    tank_m3 = 1e-6 * 1.0 + 1.5e-6 * 10.0 + 2e-6 * 10.0 + 3e-6 * 100.0
    what = station(GeneratorSet(rated_w=40e3, tank_m3=tank_m3, **TABLE))
    _session, trace = run(what, loss(), duration_s=2000.0)
    # no load for 1 s, one pump for 10 s, two for 10 s, three for 100 s
    assert states(trace)[-1] == (121.0, "out of fuel")
    assert states(trace, "busbar")[-1] == (121.0, "dead")
    assert {r.stopped_by for r in trace.runs if r.stop_s > 22.0} == {"out of fuel"}
    assert [(a.alarm, round(a.raised_s, 6)) for a in trace.alarms][-1] == (
        "generator failed",
        121.0,
    )


def test_a_pump_that_stops_puts_the_empty_tank_off() -> None:
    tank_m3 = 1e-6 * 1.0 + 1.5e-6 * 10.0 + 2e-6 * 10.0 + 3e-6 * 100.0
    what = station(GeneratorSet(rated_w=40e3, tank_m3=tank_m3, **TABLE))
    _session, trace = run(what, loss(), happens(71.0, "off", "P3"), duration_s=2000.0)
    # 50 s at 3e-6 are left when P3 goes: 75 s at 2e-6
    assert states(trace)[-1] == (71.0 + 75.0, "out of fuel")


def test_with_power_that_changes_with_the_level_it_is_never_late() -> None:
    """Between two points of the table fuel is straight over energy, whatever the power does."""
    curve = HeadCurve.from_points((0.0, 0.02, 0.04), (14.0, 11.0, 5.0))
    draw = PowerDraw(input_curve=FlowTable((0.0, 0.04), (6e3, 12e3)))
    plain = duplex(rotation="fixed")
    unit = replace(plain.pumps[0], curve=curve, fixed_flow_m3s=None, power=draw)
    table = {"fuel_loads": (0.0, 1.0), "fuel_rates_m3_per_s": (1e-6, 5e-6)}
    tank_m3 = 4e-3
    what = replace(
        plain,
        pumps=(unit, replace(unit, name="P2")),
        force_main=ForceMain((), 9.0),
        standby_power=StandbyPower(GeneratorSet(rated_w=40e3, tank_m3=tank_m3, **table)),
    )
    given = episode(3000.0, 0.02, loss(), start_level_m=2.2)
    session = Session(what, given)
    trace = session.finish().trace
    empty_s = next(r.start_s for r in trace.power if r.state == "out of fuel")
    spent = 1e-6 * empty_s + 4e-6 / 40e3 * sum(r.energy_j for r in trace.runs)
    assert spent == pytest.approx(tank_m3, abs=5e-6 * 1e-6)
    assert len(trace.runs) >= 2
    inputs = [w for lineup in trace.lineups for row in lineup.power_w for w in row]
    assert max(inputs) > 1.1 * min(inputs)  # it does change with the level
    assert math.isclose(generator_of(session).fuel.left_m3, 0.0, abs_tol=1e-15)


def test_equal_runs_give_equal_fuel_with_and_without_looking() -> None:
    what = station(GeneratorSet(rated_w=40e3, tank_m3=1.0, **TABLE))
    given = episode(600.0, 0.04, loss(), start_level_m=5.0)
    whole = Session(what, given)
    whole.finish()
    stepped = Session(what, given)
    for at_s in range(0, 600, 7):
        stepped.advance(float(at_s))
    stepped.finish()
    assert generator_of(whole).fuel.burnt_m3 == generator_of(stepped).fuel.burnt_m3


def test_a_mobile_set_trips_and_burns_by_the_same_rules() -> None:
    mobile = GeneratorSet(start_va=110e3, rated_w=40e3, tank_m3=1.0, **TABLE)
    what = replace(station(GeneratorSet()), standby_power=StandbyPower(mobile=mobile, loads=LOADS))
    connect = happens(100.0, "mobile generator connected", "mobile generator")
    session, trace = run(what, loss(), connect, duration_s=300.0)
    assert states(trace, "mobile generator") == [(0.0, "stopped"), (100.0, "running")]
    running = session._plant.supply.mobile
    assert running is not None
    assert running.fuel.burnt_m3 == pytest.approx(
        1.5e-6 * 10.0 + 2e-6 * 10.0 + 3e-6 * 180.0, rel=1e-9
    )
    at_once = replace(
        triplex(),
        standby_power=what.standby_power,
        spillway=Spillway(9.0),
    )
    trace = simulate(at_once, episode(300.0, 0.04, loss(), connect, start_level_m=5.0)).trace
    assert states(trace, "mobile generator")[-1] == (100.0, "tripped")

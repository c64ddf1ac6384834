"""Grid, transfer switch and mobile set: sequences worked by hand to the microsecond.

Two pumps of 30 L/s in a tank of 10 m2, 20 L/s in, from 1.9 m: the lead starts at 50 s, and at 100 s
the level stands at 1.95 m. The grid is lost then for 600 s. Start delay 3 s, crank 5 s, run-up 7 s,
transfer 2 s, boot 20 s: called at 103 s, good voltage at 115 s, moved at 117 s, panel up at 137 s
at 2.024 m, where the lead starts at once. Back at 700 s, return after 300 s with a break of 4 s, up
again at 1024 s; the set cools down for 60 s. Own closed forms; the rules are common practice.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from stationsim import vocabulary
from stationsim.episode import EventKind, RandomFault, ScriptedEvent
from stationsim.equipment.exercise import Exercise
from stationsim.equipment.power import GeneratorSet, MotorLoad, StandbyPower, TransferSwitch
from stationsim.physics.spill import Spillway
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings, ReturnBreak, Station
from stationsim.testing import duplex, engine_pump, episode
from stationsim.trace import Trace
from stationsim.why import answer, watched

ABS = 1e-6
SWITCH = TransferSwitch(3.0, 2.0, 300.0, 4.0, 60.0)
SET = GeneratorSet(crank_tries=3, crank_s=5.0, crank_rest_s=4.0, run_up_s=7.0)
POWER = StandbyPower(SET, SWITCH, boot_s=20.0)


def happens(
    at_s: float, kind: EventKind, subject: str, lasts_s: float | None = None, **more: Any
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, lasts_s, **more)


def loss(at_s: float = 100.0, lasts_s: float = 600.0) -> ScriptedEvent:
    return happens(at_s, "grid loss", "grid", lasts_s)


def station(power: StandbyPower | None = POWER, **more: Any) -> Station:
    return replace(
        duplex(standby_power=power, spillway=Spillway(6.0)),
        alarms=AlarmSettings(),
        **more,
    )


def run(
    *events: ScriptedEvent,
    what: Station | None = None,
    duration_s: float = 3000.0,
    inflow: float = 0.02,
    level_m: float = 1.9,
) -> Trace:
    given = episode(duration_s, inflow, *events, start_level_m=level_m)
    trace = simulate(what or station(), given).trace
    assert trace.balance_error < 1e-9
    dead = [(r.start_s, r.stop_s) for r in trace.power if (r.source, r.state) == ("busbar", "dead")]
    for ran, (begin, end) in itertools.product(trace.runs, dead):
        if ran.machine < 2:
            assert ran.stop_s <= begin + ABS or ran.start_s >= end - ABS
    return trace


def states(trace: Trace, source: str) -> list[tuple[Any, str]]:
    rows = sorted((r for r in trace.power if r.source == source), key=lambda r: r.start_s)
    assert rows[0].start_s == 0.0
    assert rows[-1].stop_s == trace.end_s
    assert all(a.stop_s == b.start_s for a, b in itertools.pairwise(rows))
    return [(pytest.approx(r.start_s, abs=ABS), r.state) for r in rows]


def told(trace: Trace, *events: str) -> list[tuple[Any, str, str]]:
    return [
        (pytest.approx(e.t_s, abs=ABS), e.event, e.cause) for e in trace.events if e.event in events
    ]


def runs(trace: Trace) -> list[tuple[int, Any, Any, str]]:
    found = sorted(trace.runs, key=lambda r: r.start_s)
    near = pytest.approx
    return [
        (r.machine, near(r.start_s, abs=ABS), near(r.stop_s, abs=ABS), r.stopped_by) for r in found
    ]


def alarms(trace: Trace) -> list[tuple[str, Any, Any]]:
    near = pytest.approx
    return [
        (a.alarm, near(a.raised_s, abs=ABS), near(a.cleared_s, abs=ABS, nan_ok=True))
        for a in trace.alarms
    ]


NEVER = float("nan")

# ---------------------------------------------------------------------- the whole sequence


def test_the_whole_sequence_there_and_back() -> None:
    trace = run(loss())
    assert states(trace, "grid") == [(0.0, "on"), (100.0, "out"), (700.0, "on")]
    assert states(trace, "generator") == [
        (0.0, "stopped"), (103.0, "starting"), (115.0, "running"), (1000.0, "cooling down"),
        (1060.0, "stopped"),
    ]  # fmt: skip
    assert states(trace, "busbar") == [
        (0.0, "grid"), (100.0, "dead"), (117.0, "generator"), (1000.0, "dead"), (1004.0, "grid"),
    ]  # fmt: skip
    # up at 137 s at 2.024 m: the next pump leads, down 1 mm/s; at 1000 s the level is 1.161 m
    again_s = 1000.0 + (2.0 - 1.161) / 0.002
    assert runs(trace)[:3] == [
        (0, 50.0, 100.0, "power lost"),
        (1, 137.0, 1000.0, "transfer back"),
        (0, again_s, again_s + 1000.0, "level at stop 1.00 m"),
    ]
    assert trace.runs[1].started_by.startswith("power back, level above lead start")
    assert told(trace, "panel up", "transferred") == [
        (117.0, "transferred", "to the generator"),
        (137.0, "panel up", "boot over"),
        (1000.0, "transferred", "back to the grid"),
        (1024.0, "panel up", "boot over"),
    ]
    assert alarms(trace) == [("power failed", 100.0, 700.0)]


def test_restart_delay_follows_the_boot() -> None:
    slow = replace(
        duplex(levels={"restart_delay_s": 15.0}, spillway=Spillway(6.0)), standby_power=POWER
    )
    assert runs(run(loss(), what=slow))[1][:2] == (1, 152.0)


def test_a_loss_within_the_start_delay_starts_nothing() -> None:
    for lasts_s in (2.0, 3.0):
        trace = run(loss(lasts_s=lasts_s))
        assert states(trace, "generator") == [(0.0, "stopped")]
        assert states(trace, "busbar") == [
            (0.0, "grid"), (100.0, "dead"), (100.0 + lasts_s, "grid"),
        ]  # fmt: skip
        # 20 s of boot after that; the level is still below the lead start then: 1.95 m + 2 mm/s
        assert runs(trace)[1][1] == pytest.approx(125.0, abs=ABS)


def test_a_grid_that_is_back_while_it_cranks_gives_the_call_up() -> None:
    trace = run(loss(lasts_s=6.0))
    assert states(trace, "generator") == [(0.0, "stopped"), (103.0, "starting"), (106.0, "stopped")]
    assert told(trace, "call given up") == [(106.0, "call given up", "grid back")]
    assert states(trace, "busbar")[-1] == (106.0, "grid")


def test_a_grid_that_is_back_before_the_transfer_lets_it_cool_down() -> None:
    trace = run(loss(lasts_s=16.0))
    assert states(trace, "generator")[2:] == [
        (115.0, "running"), (116.0, "cooling down"), (176.0, "stopped"),
    ]  # fmt: skip
    assert states(trace, "busbar")[-1] == (116.0, "grid")


def test_a_loss_before_the_return_makes_it_wait_anew() -> None:
    trace = run(loss(), loss(800.0, 100.0))
    assert states(trace, "busbar")[-2:] == [(1200.0, "dead"), (1204.0, "grid")]
    # nobody on the busbar has noticed
    assert runs(trace)[1][2:] == (pytest.approx(137.0 + 1024.0, abs=ABS), "level at stop 1.00 m")


def test_a_loss_while_it_cools_down_needs_no_crank() -> None:
    trace = run(loss(), loss(1030.0, 50.0))
    assert states(trace, "generator")[3:] == [
        (1000.0, "cooling down"), (1033.0, "running"), (1380.0, "cooling down"),
        (1440.0, "stopped"),
    ]  # fmt: skip
    assert states(trace, "busbar")[5:7] == [(1030.0, "dead"), (1035.0, "generator")]
    assert states(trace, "busbar")[7:] == [(1380.0, "dead"), (1384.0, "grid")]


def test_a_loss_within_the_break_of_the_return() -> None:
    trace = run(loss(), loss(1002.0, 500.0))
    # it arrives at a dead grid at 1004 s; the start delay has run since 1002 s
    assert states(trace, "busbar")[3:] == [
        (1000.0, "dead"), (1007.0, "generator"), (1802.0, "dead"), (1806.0, "grid"),
    ]  # fmt: skip


def test_a_return_without_a_break_stops_no_pump() -> None:
    soft = replace(POWER, transfer=replace(SWITCH, return_break_s=0.0))
    trace = run(loss(), what=station(soft))
    assert states(trace, "busbar")[2:] == [(117.0, "generator"), (1000.0, "grid")]
    assert runs(trace)[1][2:] == (pytest.approx(1161.0, abs=ABS), "level at stop 1.00 m")


@pytest.mark.parametrize("power", [POWER, None])
def test_a_grid_lost_by_chance_is_back_by_itself(power: StandbyPower | None) -> None:
    by_chance = replace(loss(), cause="by chance")
    for events, how in (
        ((by_chance,), "by itself"),
        ((loss(),), "scripted"),
        # of two that overlap the one counts that ends last
        ((by_chance, loss(200.0, 700.0)), "scripted"),
        ((loss(), replace(loss(200.0, 700.0), cause="by chance")), "by itself"),
        ((by_chance, loss(200.0, 300.0)), "by itself"),
    ):
        (back,) = told(run(*events, what=station(power)), "grid back")
        assert back[2] == how


def test_the_break_after_the_return_is_for_stations_without_a_switch() -> None:
    trace = run(loss(), what=station(return_break=ReturnBreak(60.0, 3.0)))
    assert len(told(trace, "grid lost")) == 1


# ---------------------------------------------------------------------- its faults


def test_a_generator_that_fails_to_start_is_found_at_the_call() -> None:
    dormant = happens(10.0, "generator fails to start", "generator")
    trace = run(dormant, loss())
    assert told(trace, "crank failed") == [
        (108.0, "crank failed", "try 1 of 3"),
        (117.0, "crank failed", "try 2 of 3"),
        (126.0, "crank failed", "try 3 of 3"),
    ]
    assert states(trace, "generator")[1:] == [(103.0, "starting"), (126.0, "failed")]
    assert states(trace, "busbar") == [(0.0, "grid"), (100.0, "dead"), (700.0, "grid")]
    assert alarms(trace) == [
        ("power failed", 100.0, 700.0),
        ("generator failed", 126.0, NEVER),
    ]
    # mended and reset while it is still wanted
    trace = run(
        dormant,
        loss(),
        happens(200.0, "put right", "generator"),
        happens(210.0, "reset", "generator"),
    )
    assert states(trace, "generator")[2:5] == [
        (126.0, "failed"), (210.0, "starting"), (222.0, "running"),
    ]  # fmt: skip
    assert states(trace, "busbar")[2] == (224.0, "generator")
    assert alarms(trace)[1] == ("generator failed", 126.0, 210.0)


def test_one_that_fails_to_start_for_a_time_starts_at_a_later_try() -> None:
    trace = run(happens(10.0, "generator fails to start", "generator", 105.0), loss())
    assert states(trace, "generator")[1:3] == [(103.0, "starting"), (124.0, "running")]


def test_a_late_generator_is_late_by_so_much() -> None:
    trace = run(happens(10.0, "generator late", "generator", amount=45.0), loss())
    assert states(trace, "generator")[2] == (160.0, "running")
    assert states(trace, "busbar")[2] == (162.0, "generator")
    trace = run(
        happens(10.0, "generator late", "generator", amount=45.0),
        happens(50.0, "put right", "generator"),
        loss(),
    )
    assert states(trace, "busbar")[2] == (117.0, "generator")


def test_a_stuck_switch_is_found_when_it_has_to_move() -> None:
    stuck = happens(10.0, "transfer switch stuck", "transfer switch")
    trace = run(stuck, loss())
    assert states(trace, "busbar") == [(0.0, "grid"), (100.0, "dead"), (700.0, "grid")]
    assert states(trace, "generator")[2:] == [
        (115.0, "running"), (700.0, "cooling down"), (760.0, "stopped"),
    ]  # fmt: skip
    assert alarms(trace)[1] == ("transfer failed", 117.0, 700.0)
    trace = run(stuck, loss(), happens(400.0, "put right", "transfer switch"))
    assert states(trace, "busbar")[2] == (400.0, "generator")
    assert told(trace, "panel up")[0][0] == 420.0
    assert alarms(trace)[1] == ("transfer failed", 117.0, 400.0)


def test_a_switch_stuck_on_the_generator_stays_until_it_is_put_right() -> None:
    stuck = happens(500.0, "transfer switch stuck", "transfer switch")
    trace = run(stuck, loss(), happens(1500.0, "put right", "transfer switch"))
    assert states(trace, "busbar")[2:] == [
        (117.0, "generator"), (1500.0, "dead"), (1504.0, "grid"),
    ]  # fmt: skip
    assert states(trace, "generator")[3:] == [(1500.0, "cooling down"), (1560.0, "stopped")]
    assert ("transfer failed", 1000.0, 1500.0) in alarms(trace)


def test_a_generator_that_fails_on_load_comes_back_by_itself_where_the_switch_stands() -> None:
    trace = run(happens(400.0, "generator fails", "generator", 200.0), loss())
    assert states(trace, "generator")[2:6] == [
        (115.0, "running"), (400.0, "failed"), (600.0, "starting"), (612.0, "running"),
    ]  # fmt: skip
    assert states(trace, "busbar")[2:5] == [
        (117.0, "generator"), (400.0, "dead"), (612.0, "generator"),
    ]  # fmt: skip
    assert runs(trace)[1][2:] == (400.0, "generator fails")
    assert alarms(trace)[1] == ("generator failed", 400.0, 600.0)


def test_a_generator_that_fails_with_a_good_grid_is_left_at_once() -> None:
    trace = run(happens(800.0, "generator fails", "generator"), loss())
    assert states(trace, "busbar")[3:] == [(800.0, "dead"), (804.0, "grid")]
    assert told(trace, "panel up")[-1][0] == 824.0
    # and when the grid returns to one that has failed
    trace = run(happens(400.0, "generator fails", "generator"), loss())
    assert states(trace, "busbar")[3:] == [(400.0, "dead"), (704.0, "grid")]


def test_one_that_fails_before_its_call_is_called_when_it_is_free() -> None:
    trace = run(loss(), happens(101.0, "generator fails", "generator", 50.0))
    assert states(trace, "generator")[1:4] == [
        (101.0, "failed"), (151.0, "starting"), (163.0, "running"),
    ]  # fmt: skip
    assert states(trace, "busbar")[2] == (165.0, "generator")


def test_a_second_failure_lasts_the_longer_and_a_latch_stays() -> None:
    trace = run(
        loss(),
        happens(400.0, "generator fails", "generator", 100.0),
        happens(450.0, "generator fails", "generator", 20.0),
    )
    assert states(trace, "generator")[3:5] == [(400.0, "failed"), (500.0, "starting")]
    trace = run(
        loss(),
        happens(400.0, "generator fails", "generator"),
        happens(450.0, "generator fails", "generator", 20.0),
    )
    assert [state for _at, state in states(trace, "generator")][3:] == ["failed"]


def test_until_reset_means_until_reset() -> None:
    waits = happens(400.0, "generator fails", "generator", 100.0, resets_itself=False)
    trace = run(
        waits, loss(), happens(450.0, "reset", "generator"), happens(550.0, "reset", "generator")
    )
    assert told(trace, "reset", "reset refused") == [
        (450.0, "reset refused", "failed lasts"),
        (550.0, "reset", "by hand"),
    ]
    assert states(trace, "generator")[3:5] == [(400.0, "failed"), (550.0, "starting")]


# ---------------------------------------------------------------------- sag and phase


BOTH_RUN: dict[str, Any] = {"level_m": 2.6, "inflow": 0.055}


def test_a_sag_trips_everything_and_no_outage_is_seen() -> None:
    trace = run(happens(100.0, "grid sag", "grid", 0.4), what=station(None), **BOTH_RUN)
    assert runs(trace)[:2] == [(0, 0.0, 100.0, "grid sag"), (1, 0.0, 100.0, "grid sag")]
    # nothing starts during the sag; then both at once, for the controller saw no outage
    assert [r[1] for r in runs(trace)[2:4]] == [100.4, 100.4]
    assert told(trace, "grid lost", "grid back", "alarm raised") == []
    assert states(trace, "grid") == [(0.0, "on")]
    assert trace.power[-1].source == "grid"  # no other source has rows


def test_who_rides_through_runs_on() -> None:
    plain = station(None)
    tough = replace(plain.pumps[1], rides_through_s=0.4)
    mixed = replace(plain, pumps=(plain.pumps[0], tough))
    trace = run(happens(100.0, "grid sag", "grid", 0.4), what=mixed, **BOTH_RUN)
    assert (0, 0.0, 100.0, "grid sag") in runs(trace)
    assert runs(trace)[1][0] == 1
    assert [r[2] for r in runs(trace) if r[0] == 1][:1] == [trace.end_s]


def test_a_protection_that_waits_for_a_reset_waits() -> None:
    plain = station(None)
    latched = replace(
        plain, pumps=tuple(replace(p, after_sag="waits for reset") for p in plain.pumps)
    )
    sag = happens(100.0, "grid sag", "grid", 0.4)
    trace = run(sag, happens(400.0, "reset", "P2"), what=latched, **BOTH_RUN)
    assert [r[:2] for r in runs(trace)[2:]] == [(1, 400.0)]
    assert alarms(trace) == [("low voltage", 100.0, 400.0), ("low voltage", 100.0, NEVER)]
    assert told(trace, "grid lost") == []


def test_a_voltage_relay_latches_whether_its_motor_runs_or_not() -> None:
    plain = station(None)
    latched = replace(
        plain, pumps=tuple(replace(p, after_sag="waits for reset") for p in plain.pumps)
    )
    trace = run(happens(20.0, "grid sag", "grid", 0.4), what=latched)  # nobody runs yet
    assert alarms(trace) == [("low voltage", 20.0, NEVER), ("low voltage", 20.0, NEVER)]
    assert runs(trace) == []


def test_a_pump_in_hand_waits_for_the_end_of_the_sag_too() -> None:
    hand = happens(0.0, "hand", "P1")
    trace = run(hand, happens(50.5, "grid sag", "grid", 2.0), what=station(None))
    assert [r[:2] for r in runs(trace) if r[0] == 0][:2] == [(0, 0.0), (0, 52.5)]


def test_a_long_sag_is_a_loss_for_a_transfer_switch() -> None:
    short = run(happens(100.0, "grid sag", "grid", 2.9))
    assert states(short, "busbar") == [(0.0, "grid")]
    assert [r[:2] for r in runs(short)[:2]] == [(0, 50.0), (0, 102.9)]
    long = run(happens(100.0, "grid sag", "grid", 30.0))
    assert states(long, "busbar")[:3] == [(0.0, "grid"), (100.0, "dead"), (117.0, "generator")]
    assert told(long, "grid lost") == [(100.0, "grid lost", "grid sag")]


def test_sag_and_phase_of_the_grid_touch_nobody_on_the_generator() -> None:
    quiet = runs(run(loss()))
    trace = run(
        loss(),
        happens(710.0, "grid sag", "grid", 1.0),
        happens(720.0, "phase lost", "grid", 10.0),
    )
    assert runs(trace)[1][:2] == quiet[1][:2]
    # but the grid was not good: 300 s from 730 s on
    assert states(trace, "busbar")[3:] == [(1030.0, "dead"), (1034.0, "grid")]
    assert [a for a in alarms(trace) if a[0] == "phase lost"] == []


def test_a_lost_phase_stops_every_motor_and_calls_the_engine() -> None:
    what = station(None, engine_pump=engine_pump(start_level_m=2.0, start_delay_s=5.0))
    trace = run(happens(100.0, "phase lost", "grid", 100.0), what=what)
    assert runs(trace)[0] == (0, 50.0, 100.0, "phase lost")
    # 2.0 m at 125 s, pumping 5 s later: 40 L/s against 20, down from 2.01 m
    assert runs(trace)[1][:2] == (2, 130.0)
    assert alarms(trace) == [("phase lost", 100.0, 200.0)]
    assert told(trace, "phase lost", "phases back", "grid lost") == [
        (100.0, "phase lost", "scripted"),
        (200.0, "phases back", "by itself"),
    ]
    # the engine runs on to its stop level; nothing is above the lead start then
    assert [r[0] for r in runs(trace)[:3]] == [0, 2, 1]


def test_a_lost_phase_is_a_loss_for_the_transfer_switch() -> None:
    trace = run(happens(100.0, "phase lost", "grid", 600.0))
    assert states(trace, "busbar") == states(run(loss()), "busbar")
    assert alarms(trace) == [("phase lost", 100.0, 700.0)]


def test_loss_and_lost_phase_overlap() -> None:
    trace = run(happens(100.0, "phase lost", "grid", 300.0), loss(200.0, 400.0), what=station(None))
    assert states(trace, "grid") == [(0.0, "on"), (100.0, "out"), (600.0, "on")]
    assert alarms(trace) == [("phase lost", 100.0, 400.0), ("power failed", 200.0, 600.0)]


def test_a_phase_that_outlasts_the_grid_loss_is_told_when_the_grid_is_back() -> None:
    dead = happens(150.0, "phase lost", "grid", 100.0)
    trace = run(loss(100.0, 100.0), dead, what=station(None))
    assert states(trace, "grid") == [(0.0, "on"), (100.0, "out"), (250.0, "on")]
    assert alarms(trace) == [("power failed", 100.0, 200.0), ("phase lost", 200.0, 250.0)]
    assert told(trace, "grid back", "phases back") == [
        (200.0, "grid back", "scripted"),
        (250.0, "phases back", "by itself"),
    ]
    # one that is over with the loss, or before it, is never told: nobody could see it
    for lasts_s in (30.0, 50.0):
        short = happens(150.0, "phase lost", "grid", lasts_s)
        trace = run(loss(100.0, 100.0), short, what=station(None))
        assert alarms(trace) == [("power failed", 100.0, 200.0)]


def test_a_phase_is_told_when_what_fed_the_station_feeds_it_no_more() -> None:
    lost = happens(650.0, "phase lost", "grid", 1000.0)
    trace = run(loss(), lost)
    assert [a for a in alarms(trace) if a[0] == "phase lost"] == []
    trace = run(loss(), lost, happens(900.0, "generator fails", "generator"))
    assert ("phase lost", 900.0, 1650.0) in alarms(trace)
    # and within the break of the return, where it arrives at a grid that is not good
    trace = run(loss(), happens(1002.0, "phase lost", "grid", 500.0))
    assert ("phase lost", 1002.0, 1502.0) in alarms(trace)


@pytest.mark.parametrize("power", [None, POWER])
@pytest.mark.parametrize(
    ("kinds", "first"),
    [
        (("grid loss", "phase lost"), "power failed"),
        (("grid loss", "grid sag"), "power failed"),
        (("phase lost", "grid sag"), "phase lost"),
        (("phase lost", "grid loss", "grid sag"), "power failed"),
    ],
)
def test_of_two_troubles_of_the_grid_at_one_instant_the_greater_is_seen(
    kinds: tuple[EventKind, ...], first: str, power: StandbyPower | None
) -> None:
    lasts_s = {"grid loss": 600.0, "phase lost": 300.0, "grid sag": 0.4}
    plain = station(power)
    what = replace(plain, pumps=tuple(replace(p, after_sag="waits for reset") for p in plain.pumps))
    found = []
    for order in itertools.permutations(kinds):
        trace = run(
            *(happens(100.0, kind, "grid", lasts_s[kind]) for kind in order), what=what, **BOTH_RUN
        )
        assert {a.alarm for a in trace.alarms if a.alarm != "high level"} == {first}
        found.append((trace.runs, trace.power, trace.alarms, trace.events))
        by_chance = RandomFault(
            "storm",
            tuple(happens(0.0, kind, "grid", lasts_s[kind]) for kind in order),
            "calendar",
            1e-3,
            None,
        )
        given = replace(episode(3000.0, 0.055, start_level_m=2.6), random=(by_chance,))
        assert "low voltage" not in {a.alarm for a in simulate(what, given).trace.alarms}
    assert all(one == found[0] for one in found)


# ---------------------------------------------------------------------- mobile set


MOBILE = "mobile generator"


def connect(at_s: float) -> ScriptedEvent:
    return happens(at_s, "mobile generator connected", MOBILE)


def disconnect(at_s: float) -> ScriptedEvent:
    return happens(at_s, "mobile generator disconnected", MOBILE)


def test_a_mobile_set_feeds_a_dead_busbar_until_it_is_taken_off() -> None:
    what = station(StandbyPower(mobile=GeneratorSet()))
    trace = run(loss(), connect(400.0), disconnect(900.0), what=what)
    assert states(trace, "busbar") == [
        (0.0, "grid"), (100.0, "dead"), (400.0, MOBILE), (900.0, "dead"), (900.000002, "grid"),
    ]  # fmt: skip
    assert states(trace, MOBILE) == [(0.0, "stopped"), (400.0, "running"), (900.0, "stopped")]
    # 2.55 m at 400 s: lead and lag at once; taken off, they stop and start anew
    assert [r[1] for r in runs(trace)[1:3]] == [400.0, 400.0]
    # the grid was back at 700 s, behind the interlock
    assert states(trace, "grid")[-1] == (700.0, "on")


def test_the_change_back_lasts_as_long_as_it_is_said_to() -> None:
    what = station(StandbyPower(mobile=GeneratorSet()))
    off = replace(disconnect(900.0), duration_s=600.0)
    trace = run(loss(), connect(400.0), off, what=what, inflow=0.05)
    # the grid is back at 700 s and feeds when the change is over
    assert states(trace, "busbar")[2:] == [(400.0, MOBILE), (900.0, "dead"), (1500.0, "grid")]
    assert states(trace, MOBILE)[-1] == (900.0, "stopped")
    assert not [r for r in trace.runs if r.start_s < 1500.0 - 1e-6 and r.stop_s > 900.0 + 1e-6]
    assert [r.stopped_by for r in trace.runs if r.stop_s == 900.0] == [
        "mobile generator disconnected"
    ] * 2
    (row,) = [row for row in trace.events if row.event == "mobile generator disconnected"]
    assert row.detail.startswith("nothing feeds for 10 min")


def test_a_set_that_is_connected_again_puts_an_end_to_the_change_back() -> None:
    # taken off at 900 s for 600 s, connected at 1100 s, taken off at 1300 s for 600 s
    what = station(StandbyPower(mobile=GeneratorSet()))
    offs = [replace(disconnect(at_s), duration_s=600.0) for at_s in (900.0, 1300.0)]
    trace = run(loss(), connect(400.0), offs[0], connect(1100.0), offs[1], what=what)
    assert states(trace, "busbar")[2:] == [
        (400.0, MOBILE), (900.0, "dead"), (1100.0, MOBILE), (1300.0, "dead"), (1900.0, "grid"),
    ]  # fmt: skip


def test_the_interlock_refuses() -> None:
    what = station(StandbyPower(mobile=GeneratorSet()))
    trace = run(connect(50.0), disconnect(60.0), loss(), connect(200.0), connect(210.0), what=what)
    assert told(trace, "connection refused") == [
        (50.0, "connection refused", "the busbar is live"),
        (60.0, "connection refused", "it is not connected"),
        (210.0, "connection refused", "it is connected"),
    ]
    trace = run(loss(), connect(200.0), what=station(None))
    assert told(trace, "connection refused") == [
        (200.0, "connection refused", "the station has none")
    ]


def test_a_mobile_set_stands_in_for_a_generator_that_failed() -> None:
    what = station(replace(POWER, mobile=GeneratorSet()))
    trace = run(
        happens(10.0, "generator fails to start", "generator"), loss(), connect(400.0), what=what
    )
    assert states(trace, "busbar")[1:3] == [(100.0, "dead"), (400.0, MOBILE)]
    assert told(trace, "panel up") == [(420.0, "panel up", "boot over")]


# ---------------------------------------------------------------------- engine-driven pump


def test_the_engine_is_not_called_while_a_generator_feeds() -> None:
    what = station(POWER, engine_pump=engine_pump(start_level_m=2.0, start_delay_s=0.0))
    assert [r.machine for r in run(loss(), what=what).runs if r.machine == 2] == []
    late = happens(10.0, "generator late", "generator", amount=300.0)
    trace = run(late, loss(), what=what)
    # busbar dead to 417 s; the engine starts at 2.0 m, at 125 s
    assert [(r.machine, round(r.start_s, 6)) for r in trace.runs][1] == (2, 125.0)


def test_a_flat_battery_fails_at_the_call() -> None:
    what = station(None, engine_pump=engine_pump(start_level_m=2.0))
    flat = happens(10.0, "battery flat", "E1")
    trace = run(flat, loss(), what=what)
    assert told(trace, "engine called", "does not crank") == [
        (125.0, "engine called", "grid out, level at start 2.00 m"),
        (125.0, "does not crank", "battery flat"),
    ]
    assert states(trace, "E1")[-1] == (125.0, "failed")
    assert ("engine failed", 125.0, NEVER) in alarms(trace)
    mended = (happens(200.0, "put right", "E1"), happens(200.0, "reset", "E1"))
    trace = run(flat, loss(), *mended, what=what)
    assert [r[1] for r in runs(trace) if r[0] == 2][:1] == [260.0]


def dry(**engine: Any) -> Station:
    times = {"start_delay_s": 2.0, "crank_s": 3.0, "warm_up_s": 10.0, "prime_s": 20.0}
    pump = engine_pump(start_level_m=2.0, **{**times, **engine})
    return station(None, engine_pump=pump)


def test_one_that_fails_to_prime_is_stopped_after_its_limit() -> None:
    what = dry(prime_limit_s=90.0, fuel_m3_per_s=1e-6, tank_m3=1.0)
    trace = run(happens(10.0, "fails to prime", "E1"), loss(), what=what)
    # called at 125 s, fires at 130 s, warm at 140 s: it may prime to 230 s
    ran = next(r for r in trace.runs if r.machine == 2)
    assert (ran.start_s, ran.stop_s) == (pytest.approx(160.0), pytest.approx(230.0))
    assert (ran.volume_m3, ran.stopped_by) == (0.0, "fails to prime")
    assert ("engine failed", 230.0, NEVER) in alarms(trace)
    assert told(trace, "not primed") == [(230.0, "not primed", "fails to prime")]


def test_without_a_limit_it_runs_on_dry_until_it_is_put_right() -> None:
    trace = run(
        happens(10.0, "fails to prime", "E1"),
        loss(),
        happens(400.0, "put right", "E1"),
        what=dry(),
    )
    ran = next(r for r in trace.runs if r.machine == 2)
    assert ran.start_s == pytest.approx(160.0)
    assert ran.volume_m3 == pytest.approx(0.04 * (ran.stop_s - 400.0), rel=1e-9)


def test_a_primed_pump_keeps_its_prime_until_it_stops() -> None:
    trace = run(loss(), happens(200.0, "fails to prime", "E1"), what=dry(prime_limit_s=90.0))
    ran = next(r for r in trace.runs if r.machine == 2)
    assert ran.volume_m3 == pytest.approx(0.04 * (ran.stop_s - ran.start_s), rel=1e-9)


# ---------------------------------------------------------------------- freezing


@pytest.mark.parametrize("at_s", [101.0, 104.0, 116.0, 120.0, 500.0, 715.5, 800.0, 1002.0, 1030.0])
def test_frozen_and_resumed_gives_the_same_bytes(at_s: float) -> None:
    fuelled = replace(SET, rated_w=40e3, fuel_loads=(0.0, 1.0), fuel_rates_m3_per_s=(1e-6, 4e-6))
    what = station(replace(POWER, generator=replace(fuelled, most_running=1)))
    given = episode(
        3000.0,
        0.02,
        happens(10.0, "generator late", "generator", 2000.0, amount=1.0),
        loss(),
        happens(715.0, "grid sag", "grid", 1.0),
        happens(1040.0, "transfer switch stuck", "transfer switch", 100.0),
        start_level_m=1.9,
    )
    whole = simulate(what, given).trace
    session = Session(what, given)
    session.advance(at_s)
    again = Session.resume(session.freeze()).finish().trace
    for rows in ("runs", "events", "power", "alarms"):
        assert repr(getattr(again, rows)) == repr(getattr(whole, rows))


def test_a_generator_can_be_reset_by_a_person_in_the_session() -> None:
    given = episode(
        1000.0, 0.02, loss(), happens(400.0, "generator fails", "generator"), start_level_m=1.9
    )
    session = Session(station(), given)
    session.advance(500.0)
    session.act("reset", "generator")
    trace = session.finish().trace
    assert states(trace, "generator")[3:5] == [(400.0, "failed"), (500.0, "starting")]


# ---------------------------------------------------------------------- at one instant


def test_a_change_that_takes_no_time_is_a_break_all_the_same() -> None:
    at_once = StandbyPower(GeneratorSet(), TransferSwitch())
    slow = replace(
        duplex(levels={"restart_delay_s": 15.0}, spillway=Spillway(6.0)), standby_power=at_once
    )
    trace = run(loss(), what=slow, level_m=2.2)
    # the panel has seen no supply, and begins with its restart delay
    assert [r[:2] for r in runs(trace)[:2]] == [(0, 0.0), (1, 115.000002)]


@pytest.mark.parametrize("turned", [False, True])
def test_the_order_of_events_at_one_instant_does_not_matter(turned: bool) -> None:
    together = (
        happens(100.0, "phase lost", "grid", 300.0),
        loss(100.0, 600.0),
        happens(100.0, "generator late", "generator", amount=45.0),
        happens(100.0, "transfer switch stuck", "transfer switch", 200.0),
    )
    trace = run(*(together[::-1] if turned else together))
    assert states(trace, "busbar")[1:3] == [(100.0, "dead"), (300.0, "generator")]
    assert states(trace, "grid")[1:] == [(100.0, "out"), (700.0, "on")]
    assert ("transfer failed", 162.0, 300.0) in alarms(trace)


# ---------------------------------------------------------------------- by chance


def by_chance(subject: str, kind: EventKind, what: Station, lasts: Any = None) -> Trace:
    fault = RandomFault("bad luck", (happens(0.0, kind, subject),), "demand", 1.0, lasts)
    given = replace(episode(1000.0, 0.02, loss(), start_level_m=1.9), random=(fault,))
    return simulate(what, given).trace


def test_chance_is_asked_at_each_call_of_generator_and_engine() -> None:
    trace = by_chance("generator", "generator fails to start", station())
    assert states(trace, "generator")[1:3] == [(103.0, "starting"), (126.0, "failed")]
    trace = by_chance("generator", "generator fails", station())
    assert states(trace, "generator")[1:] == [(103.0, "failed")]
    what = station(None, engine_pump=engine_pump(start_level_m=2.0))
    trace = by_chance("E1", "battery flat", what)
    assert states(trace, "E1")[1:] == [(125.0, "failed")]
    assert [e.t_s for e in trace.events if e.event == "does not crank"] == [125.0]
    trace = by_chance("E1", "fails", what)
    assert states(trace, "E1")[1:] == [(125.0, "failed")]
    assert [e for e in trace.events if e.event == "engine called"] == []


# ---------------------------------------------------------------------- as it is told


def test_what_is_said_of_it_stands_in_the_vocabulary() -> None:
    carries = GeneratorSet(
        crank_tries=2, crank_s=5.0, start_va=1.5, fuel_loads=(0.0,), fuel_rates_m3_per_s=(1e-6,),
        tank_m3=1e-3, most_running=1,
    )  # fmt: skip
    loads = {"P1": MotorLoad(1.0, 2.0), "P2": MotorLoad(1.0, 1.0)}
    what = replace(
        station(StandbyPower(carries, SWITCH, GeneratorSet(), 20.0, loads)),
        engine_pump=replace(engine_pump(start_level_m=2.1), prime_limit_s=90.0),
    )
    latched = tuple(replace(p, after_sag="waits for reset") for p in what.pumps)
    events = (
        happens(60.0, "grid sag", "grid", 1.0),
        happens(70.0, "reset", "P1"),
        loss(),
        happens(150.0, "phase lost", "grid", 400.0),
        happens(160.0, "fails to prime", "E1", 1000.0),
        happens(161.0, "battery flat", "E1", 1.0),
        happens(400.0, "reset", "generator"),
        happens(450.0, "generator fails", "generator", 10.0, resets_itself=False),
        happens(451.0, "reset", "generator"),
        connect(480.0),
        disconnect(800.0),
        happens(1950.0, "transfer switch stuck", "transfer switch", 400.0),
        happens(795.0, "generator late", "generator", 10.0, amount=3.0),
        happens(796.0, "generator fails to start", "generator", 10.0),
        connect(900.0),
        loss(950.0, 1000.0),
        happens(2700.0, "reset", "generator"),
    )
    what = replace(what, pumps=latched)
    exercised = replace(what, exercise=Exercise(10.0, 1000.0, 5.0, 20.0, 20.0))
    stuck = (happens(10.0, "transfer switch stuck", "transfer switch", 500.0), loss())
    told_events: set[str] = set()
    for where, script in ((what, events), (exercised, events), (station(), stuck)):
        result = simulate(where, episode(3000.0, 0.02, *script, start_level_m=1.9))
        told_events |= set(result.events["event"])
        assert set(result.alarms["alarm"]) <= {entry.word for entry in vocabulary.ALARMS}
        assert set(result.power["state"]) <= {entry.word for entry in vocabulary.STATES}
        assert set(result.pump_runs["role"]) <= {entry.word for entry in vocabulary.ROLES}
        causes = {
            *result.events["cause"],
            *result.pump_runs["started_by"],
            *result.pump_runs["stopped_by"],
            *result.power["cause"],
        }
        assert sorted(cause for cause in causes if vocabulary.cause_of(cause) is None) == []
    assert told_events <= {entry.word for entry in vocabulary.EVENTS}
    assert {"trip", "does not move", "connection refused", "exercise ends"} <= told_events


def test_sentences_and_why_know_of_the_generator() -> None:
    given = episode(3000.0, 0.02, loss(), start_level_m=1.9)
    said = " ".join(simulate(station(), given).sentences("si"))
    # 117 s to 1000 s: 300 s of a good grid are waited for
    assert "the generator fed the pumps for 15 min" in said
    seen = watched(station(), given)
    verdicts = [answer(seen, at_s)[0].verdict for at_s in (110.0, 125.0, 400.0)]
    assert "its busbar was dead" in verdicts[0]
    assert "the panel was booting" in verdicts[1]
    assert "fed by the generator" in verdicts[1]
    assert "the level" in verdicts[2]

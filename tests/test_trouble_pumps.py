"""Pumps that overload, leak, wear, gather rags, stand full of air, and run without flow.

Tanks of 10 m2 and pumps of 30 L/s (``stationsim.testing.duplex``), so that every time below follows
by hand: the lead starts at 2.0 m, all stop at 1.0 m.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from stationsim import vocabulary
from stationsim.chance import Streams
from stationsim.episode import ScriptedEvent
from stationsim.physics.motor import MotorHeat
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.trace import Trace

HOUR = 3600.0
NEAR = 1e-6


def single(levels: dict[str, Any] | None = None, **unit: Any) -> Station:
    """Return a tank with one pump of 30 L/s."""
    station = duplex((0.03,), levels={"lag_start_m": None} | (levels or {}))
    return replace(station, pumps=(replace(station.pumps[0], **unit),))


def pair(**unit: Any) -> Station:
    station = duplex()
    return replace(station, pumps=tuple(replace(pump, **unit) for pump in station.pumps))


def run(station: Station, seconds: float, *events: ScriptedEvent, inflow: Any = 0.01) -> Trace:
    trace = Session(station, episode(seconds, inflow, *events)).finish().trace
    assert trace.balance_error < 1e-9
    for row in trace.events:
        assert vocabulary.seen_by(row.event), row.event
        assert vocabulary.cause_of(row.cause) is not None, row.cause
    return trace


def times(trace: Trace, event: str, subject: str = "P1") -> list[float]:
    return [row.t_s for row in trace.events if (row.subject, row.event) == (subject, event)]


def alarms(trace: Trace, alarm: str) -> list[tuple[float, float]]:
    return [(row.raised_s, row.cleared_s) for row in trace.alarms if row.alarm == alarm]


def ran_s(trace: Trace, until_s: float, machine: int = 0) -> float:
    """Return how long a machine has run until then."""
    return sum(
        max(min(r.stop_s, until_s) - r.start_s, 0.0) for r in trace.runs if r.machine == machine
    )


# ---------------------------------------------------------------------- overload, moisture


def test_an_overload_stops_the_pump_and_is_free_by_itself_after_its_time() -> None:
    trace = run(pair(), 6000.0, ScriptedEvent(1100.0, "overload", "P1", 600.0))
    assert (trace.runs[0].machine, trace.runs[0].stop_s) == (0, 1100.0)
    assert trace.runs[0].stopped_by == "overload"
    assert (trace.runs[1].machine, trace.runs[1].start_s) == (1, 1100.0)
    assert alarms(trace, "overload") == [(1100.0, 1700.0)]
    assert times(trace, "reset") == [1700.0]
    assert trace.trips == [1, 0]


def test_an_overload_until_reset_waits_for_it_and_refuses_it_while_it_lasts() -> None:
    events = (
        ScriptedEvent(1100.0, "overload", "P1", 600.0, resets_itself=False),
        ScriptedEvent(1300.0, "reset", "P1"),
        ScriptedEvent(4000.0, "reset", "P1"),
    )
    trace = run(pair(), 6000.0, *events)
    assert times(trace, "reset refused") == [1300.0]
    assert times(trace, "reset") == [4000.0]
    assert alarms(trace, "overload") == [(1100.0, 4000.0)]
    assert not [r for r in trace.runs if r.machine == 0 and 1100.0 < r.start_s < 4000.0]


@pytest.mark.parametrize("seal_leak", ["alarm", "stop"])
def test_moisture_in_the_motor_stops_it_whatever_the_panel_does_about_seals(seal_leak: Any) -> None:
    events = (
        ScriptedEvent(1100.0, "seal leak into motor", "P1"),
        ScriptedEvent(2000.0, "reset", "P1"),
        ScriptedEvent(5000.0, "put right", "P1"),
    )
    trace = run(pair(seal_leak=seal_leak), 12000.0, *events)
    assert trace.runs[0].stop_s == 1100.0
    assert alarms(trace, "moisture in motor") == [(1100.0, 5000.0)]
    assert times(trace, "reset refused") == [2000.0]
    assert times(trace, "dry again") == [5000.0]
    starts = [r.start_s for r in trace.runs if r.machine == 0]
    assert starts[1] > 5000.0
    # the panel cannot have it meanwhile
    (out,) = [row for row in trace.unavailable if row.machine == 0]
    assert (out.start_s, out.stop_s, out.cause) == (1100.0, 5000.0, "moisture in motor")


def test_moisture_in_the_motor_is_over_with_its_duration() -> None:
    trace = run(pair(), 6000.0, ScriptedEvent(1100.0, "seal leak into motor", "P1", 900.0))
    assert alarms(trace, "moisture in motor") == [(1100.0, 2000.0)]
    assert times(trace, "dry again") == [2000.0]


@pytest.mark.parametrize("seal_leak", ["alarm", "stop"])
def test_a_seal_that_leaks_is_put_right_on_site_and_not_by_a_reset(seal_leak: Any) -> None:
    events = (
        ScriptedEvent(1100.0, "seal leak", "P1"),
        ScriptedEvent(1200.0, "reset", "P1"),
        ScriptedEvent(3000.0, "put right", "P1"),
        ScriptedEvent(3100.0, "put right", "P1"),
    )
    trace = run(pair(seal_leak=seal_leak), 6000.0, *events)
    assert alarms(trace, "seal leak") == [(1100.0, 3000.0)]
    assert times(trace, "reset refused") == [1200.0]
    assert times(trace, "nothing to put right") == [3100.0]
    assert (trace.runs[0].stop_s == 1100.0) == (seal_leak == "stop")


def test_a_seal_leak_whose_time_is_over_leaves_nothing_to_put_right() -> None:
    events = (
        ScriptedEvent(1100.0, "seal leak", "P1", 600.0),
        ScriptedEvent(3000.0, "put right", "P1"),
    )
    trace = run(pair(), 6000.0, *events)
    assert alarms(trace, "seal leak") == [(1100.0, 1700.0)]
    assert times(trace, "nothing to put right") == [3000.0]


# ---------------------------------------------------------------------- wear


def test_wear_takes_a_hundredth_at_its_exact_time_of_running() -> None:
    # 5 % in 5000 s: a hundredth in 1000 s of running; each run takes 10 m3 / (flow - 10 L/s)
    wearing = ScriptedEvent(0.0, "wearing", "P1", amount=0.05, per_s=5000.0)
    trace = run(single(), 40000.0, wearing)
    steps = times(trace, "worn")
    assert len(steps) >= 8
    for count, step_s in enumerate(steps, start=1):
        assert ran_s(trace, step_s) == pytest.approx(1000.0 * count, abs=NEAR)
    for r in trace.runs:
        # volume by hand: 30 L/s less a hundredth for each step before that moment
        cuts = [r.start_s, *[s for s in steps if r.start_s < s < r.stop_s], r.stop_s]
        by_hand = 0.0
        for a, b in itertools.pairwise(cuts):
            gone = sum(s <= a for s in steps)
            by_hand += (b - a) * 0.03 * (1.0 - 0.01 * gone)
        assert r.volume_m3 == pytest.approx(by_hand, rel=1e-9)
    assert alarms(trace, "pump failed") == []


def test_wear_is_gone_when_the_pump_is_put_right_and_stops_at_ninety_five_hundredths() -> None:
    events = (
        ScriptedEvent(0.0, "wearing", "P1", amount=0.5, per_s=10.0),
        ScriptedEvent(1500.0, "put right", "P1"),
    )
    trace = run(single(), 9000.0, *events, inflow=0.02)
    # it starts at 500 s and wears off a hundredth in 0.2 s: after 19 s it is at the floor
    steps = times(trace, "worn")
    assert len(steps) == 95
    assert steps[-1] == pytest.approx(500.0 + 95 * 0.2, abs=NEAR)
    assert times(trace, "renewed") == [1500.0]
    first = trace.runs[0]
    held = sum(0.2 * 0.03 * (1.0 - 0.01 * n) for n in range(95)) + (1500.0 - 519.0) * 0.03 * 0.05
    # what was held back has to be pumped afterwards at 10 L/s net
    level_m3 = 20.0 + 0.02 * 1000.0 - held
    assert first.stop_s == pytest.approx(1500.0 + (level_m3 - 10.0) / 0.01, abs=1e-5)


def test_another_rate_of_wear_goes_on_from_what_is_worn_already() -> None:
    events = (
        ScriptedEvent(0.0, "wearing", "P1", amount=0.01, per_s=100.0),
        ScriptedEvent(1250.0, "wearing", "P1", amount=0.01, per_s=1000.0),
    )
    trace = run(single(), 20000.0, *events)
    # it runs from 1000 s on: two steps until 1250 s, then one in 1000 s of running
    steps = times(trace, "worn")
    assert steps[:2] == pytest.approx([1100.0, 1200.0], abs=NEAR)
    assert [ran_s(trace, s) for s in steps[2:5]] == pytest.approx([1250, 2250, 3250], abs=NEAR)


# ---------------------------------------------------------------------- rags

RAGS = ScriptedEvent(0.0, "ragging", "P1", amount=0.10, per_s=1000.0)  # 2 % in 200 s of running
HELD = 0.0289
START = 10.0 / HELD  # from 1.0 m to 2.0 m


def test_rags_take_their_part_in_even_steps_until_the_overload_trips() -> None:
    trace = run(single(overload_below=0.85), 9000.0, RAGS, inflow=HELD)
    first = trace.runs[0]
    assert first.start_s == pytest.approx(START, abs=NEAR)
    # 0.86 is left after seven steps, 0.84 after eight
    assert first.stop_s == pytest.approx(START + 8 * 200.0, abs=NEAR)
    assert first.stopped_by == "overload"
    assert first.volume_m3 == pytest.approx(
        sum(200.0 * 0.03 * (1.0 - 0.02 * n) for n in range(8)), rel=1e-9
    )
    assert alarms(trace, "overload")[0][0] == pytest.approx(first.stop_s, abs=NEAR)
    assert len(trace.runs) == 1


def test_reset_but_still_ragged_it_runs_and_trips_again_soon() -> None:
    events = (RAGS, ScriptedEvent(3000.0, "reset", "P1"), ScriptedEvent(4000.0, "put right", "P1"))
    late = ScriptedEvent(4500.0, "reset", "P1")
    trace = run(single(overload_below=0.85), 9000.0, *events, late, inflow=HELD)
    again, clean = trace.runs[1], trace.runs[2]
    assert (again.start_s, again.stop_s) == (3000.0, pytest.approx(3010.0, abs=NEAR))
    assert again.volume_m3 == pytest.approx(10.0 * 0.03 * 0.84, rel=1e-9)
    # a crew has taken the rags out, and the reset lets it run with all its flow
    assert times(trace, "clear again") == [4000.0]
    assert clean.start_s == 4500.0
    assert clean.volume_m3 == pytest.approx(0.03 * (clean.stop_s - clean.start_s), rel=1e-9)
    assert trace.trips == [2]


@pytest.mark.parametrize("seed", range(6))
def test_reverse_and_retry_goes_by_its_own_stream(seed: int) -> None:
    unit = {"overload_below": 0.85, "reverse_tries": 3, "reverse_s": 60.0, "reverse_clears": 0.4}
    given = replace(episode(6000.0, HELD, RAGS), seed=seed)
    trace = Session(single(**unit), given).finish().trace
    tripped = START + 1600.0
    draws = Streams(seed).stream("P1", "reversing")
    cleared = next((n for n in range(3) if draws.number(n) < 0.4), None)
    in_vain = 3 if cleared is None else cleared
    assert times(trace, "reversed in vain")[:in_vain] == pytest.approx(
        [tripped + 60.0 * n for n in range(1, in_vain + 1)], abs=NEAR
    )
    if cleared is None:
        assert len(trace.runs) == 1
        assert times(trace, "reversed and clear") == []
    else:
        free = tripped + 60.0 * (cleared + 1)
        assert times(trace, "reversed and clear")[0] == pytest.approx(free, abs=NEAR)
        assert trace.runs[1].start_s == pytest.approx(free, abs=NEAR)
        # clean again: the next eight steps take as long as the first eight
        assert trace.runs[1].stop_s == pytest.approx(free + 1600.0, abs=NEAR)
        assert alarms(trace, "overload")[0] == (
            pytest.approx(tripped, abs=NEAR), pytest.approx(free, abs=NEAR)
        )  # fmt: skip


def test_a_reset_is_refused_while_it_is_reversed_and_taken_after_the_last_try() -> None:
    unit = {"overload_below": 0.85, "reverse_tries": 2, "reverse_s": 100.0}
    tripped = START + 1600.0
    events = (
        RAGS,
        ScriptedEvent(tripped + 50.0, "reset", "P1"),
        ScriptedEvent(tripped + 150.0, "reset", "P1"),
        ScriptedEvent(tripped + 300.0, "reset", "P1"),
    )
    trace = run(single(**unit), 4000.0, *events, inflow=HELD)
    assert len(times(trace, "reversed in vain")) >= 2
    assert times(trace, "reset refused") == pytest.approx([tripped + 50.0, tripped + 150.0])
    assert times(trace, "reset") == pytest.approx([tripped + 300.0])


def test_a_panel_without_supply_gives_reversing_up() -> None:
    unit = {"overload_below": 0.85, "reverse_tries": 3, "reverse_s": 60.0, "reverse_clears": 1.0}
    dark = ScriptedEvent(START + 1650.0, "grid loss", "grid", 30.0)
    trace = run(single(**unit), 4000.0, RAGS, dark, inflow=HELD)
    assert times(trace, "reversed and clear") == []
    assert times(trace, "reversing given up") == pytest.approx([START + 1660.0], abs=NEAR)
    assert len(trace.runs) == 1


@pytest.mark.parametrize("clears", [0.0, 0.35, 1.0])
def test_at_each_stop_the_rags_fall_off_by_chance(clears: float) -> None:
    # one run of about 500 s in 1500 s: at least two steps in each
    trace = run(single(stop_clears=clears), 60000.0, RAGS)
    draws = Streams(1).stream("P1", "rags fall off")
    steps, clean_s, ran = 0, 0.0, 0.0
    expected = []
    for n, r in enumerate(trace.runs):
        if r.stopped_by == "end of run":
            break
        ran += r.stop_s - r.start_s
        steps = int((ran - clean_s) / 200.0 + 1e-9)
        if steps and draws.number(n) < clears:
            expected.append(r.stop_s)
            clean_s = ran
    assert times(trace, "rags fell off") == expected
    assert bool(expected) == (clears > 0.0)
    if clears == 0.0:
        # rags never take more than their floor, and the balance knows it: 1.5 L/s at the end
        last = trace.runs[-1]
        assert last.volume_m3 < 0.03 * (last.stop_s - last.start_s) * 0.5


def test_a_stop_by_a_trip_lets_no_rags_fall_off() -> None:
    events = (RAGS, ScriptedEvent(START + 500.0, "fails", "P1", 100.0))
    trace = run(single(stop_clears=1.0), 4000.0, *events, inflow=HELD)
    assert times(trace, "rags fell off") == []


def test_rags_heat_the_motor_more() -> None:
    heat = MotorHeat(20.0, 80.0, 1800.0, 3600.0, 120.0, 80.0, ragged_factor=1.6)
    trace = run(single(motor_heat=heat), 9000.0, RAGS, inflow=HELD)
    # clean for 200 s, then 1.6 times the heat
    at = heat.after_running_c(20.0, 200.0)
    trips = START + 200.0 + heat.time_to_trip_s(at, 1.6)
    assert times(trace, "trip")[0] == pytest.approx(trips, abs=1e-3)


def test_rags_go_with_the_time_that_they_were_given() -> None:
    trace = run(single(), 9000.0, replace(RAGS, duration_s=START + 1000.0), inflow=HELD)
    assert times(trace, "clear again") == pytest.approx([START + 1000.0])
    last = trace.runs[0]
    held = sum(200.0 * 0.03 * (1.0 - 0.02 * n) for n in range(5))
    free_m3 = last.volume_m3 - held
    assert free_m3 == pytest.approx(0.03 * (last.stop_s - START - 1000.0), rel=1e-9)


# ---------------------------------------------------------------------- air


def test_an_air_bound_pump_moves_nothing_until_it_has_stood_long_enough() -> None:
    station = pair(vent_s=700.0)
    trace = run(station, 12000.0, ScriptedEvent(1100.0, "air-bound", "P1"))
    first = next(r for r in trace.runs if r.machine == 0)
    assert first.volume_m3 == pytest.approx(100.0 * 0.03, rel=1e-9)
    # the lag comes at 2.5 m, and both stop at the common stop level; P1 is free 700 s later
    assert first.stop_s == pytest.approx(1800.0 + 15.0 / 0.02, abs=NEAR)
    assert times(trace, "air let out") == [pytest.approx(first.stop_s + 700.0, abs=NEAR)]
    again = next(r for r in trace.runs if r.machine == 0 and r.start_s > first.stop_s + 700.0)
    assert again.volume_m3 == pytest.approx(0.03 * (again.stop_s - again.start_s), rel=1e-9)


def test_a_start_ends_the_time_that_it_has_stood() -> None:
    trace = run(pair(vent_s=4000.0), 40000.0, ScriptedEvent(1100.0, "air-bound", "P1"))
    # it is called again before 4000 s are over, every time: it never comes free
    assert len([r for r in trace.runs if r.machine == 0]) > 4
    assert times(trace, "air let out") == []


@pytest.mark.parametrize("how", ["put right", "time"])
def test_air_is_let_out_by_a_crew_or_after_its_time(how: str) -> None:
    bound = ScriptedEvent(1100.0, "air-bound", "P1", 900.0 if how == "time" else None)
    crew = ScriptedEvent(2000.0, "put right", "P1")
    events = (bound,) if how == "time" else (bound, crew)
    trace = run(pair(), 6000.0, *events)
    assert times(trace, "air let out") == [2000.0]
    # between 1100 s and 2000 s the tank fills as if it stood: 2.7 m at 2000 s without the lag
    lag = next(r for r in trace.runs if r.machine == 1)
    level_at_1100 = 2.0 - 100.0 * 0.002
    assert lag.start_s == pytest.approx(1100.0 + (2.5 - level_at_1100) / 0.001, abs=NEAR)


def test_a_pump_that_runs_when_the_level_falls_to_its_limit_draws_air() -> None:
    station = single(air_bound_below_m=1.2, vent_s=300.0)
    trace = run(station, 9000.0)
    # from 2.0 m at 1000 s it falls by 2 mm/s and is at 1.2 m after 400 s
    assert times(trace, "air-bound")[0] == pytest.approx(1400.0, abs=NEAR)
    assert trace.runs[0].volume_m3 == pytest.approx(12.0, rel=1e-9)
    # it runs on and never stops: nobody lets the air out, and the well fills
    assert trace.runs[0].stopped_by == "end of run"
    assert trace.end_m3 == pytest.approx(min(12.0 + 0.01 * 7600.0, 40.0), rel=1e-9)


def test_its_time_under_water_counts_only_while_the_level_is_above_its_limit() -> None:
    station = single(air_bound_below_m=1.2, vent_s=300.0)
    events = (
        ScriptedEvent(1450.0, "off", "P1"),  # at 1.25 m: it was bound at 1400 s, at 1.2 m
        ScriptedEvent(2100.0, "auto", "P1"),
    )
    trace = run(station, 2300.0, *events)
    assert times(trace, "air let out") == [pytest.approx(1750.0, abs=NEAR)]
    low = single(air_bound_below_m=1.2, vent_s=300.0)
    start_low = replace(episode(4000.0, 0.01, ScriptedEvent(0.0, "air-bound", "P1")))
    trace = Session(low, start_low).finish().trace
    # it stands at 1.0 m; at 200 s the water is at 1.2 m, and 300 s later it is free
    assert times(trace, "air let out")[0] == pytest.approx(500.0, abs=NEAR)


def test_a_fall_below_the_limit_begins_the_time_anew() -> None:
    # P2 in hand draws down past 1.5 m while P1 stands with air; P1 is free 600 s after the rise
    station = pair(vent_s=600.0)
    limited = replace(station.pumps[0], air_bound_below_m=1.5)
    station = replace(station, pumps=(limited, station.pumps[1]))
    events = (
        ScriptedEvent(0.0, "off", "P1"),
        ScriptedEvent(0.0, "air-bound", "P1"),
        ScriptedEvent(700.0, "hand", "P2"),
        ScriptedEvent(900.0, "off", "P2"),
    )
    trace = run(station, 3000.0, *events)
    # 1.5 m at 500 s on the way up; 1.7 m at 700 s; 1.5 m again at 800 s on the way down; 1.3 m at
    # 900 s; 1.5 m at 1100 s on the way up
    assert times(trace, "air let out") == [pytest.approx(1700.0, abs=NEAR)]


def test_a_pump_that_starts_below_its_limit_draws_air_at_once() -> None:
    station = single(air_bound_below_m=1.5)
    trace = run(station, 3000.0, ScriptedEvent(200.0, "hand", "P1"))
    assert times(trace, "air-bound") == [200.0]
    assert trace.runs[0].volume_m3 == pytest.approx(0.0, abs=1e-12)


# ---------------------------------------------------------------------- no flow


def test_no_flow_is_told_after_its_waiting_time_and_cleared_when_it_flows_again() -> None:
    events = (
        ScriptedEvent(1100.0, "air-bound", "P1"),
        ScriptedEvent(1500.0, "put right", "P1"),
    )
    trace = run(single(no_flow_after_s=60.0), 3000.0, *events)
    assert alarms(trace, "no flow") == [(1160.0, 1500.0)]
    assert len([r for r in trace.runs if r.start_s < 1500.0]) == 1


def test_no_flow_that_is_over_in_time_is_not_told() -> None:
    events = (
        ScriptedEvent(1100.0, "air-bound", "P1"),
        ScriptedEvent(1159.0, "put right", "P1"),
    )
    trace = run(single(no_flow_after_s=60.0), 3000.0, *events)
    assert alarms(trace, "no flow") == []


def test_no_flow_stops_the_pump_until_it_is_reset_and_the_next_takes_over() -> None:
    station = pair(no_flow_after_s=60.0, no_flow="stop")
    events = (
        ScriptedEvent(1100.0, "air-bound", "P1"),
        ScriptedEvent(5000.0, "reset", "P1"),
    )
    trace = run(station, 9000.0, *events)
    assert (trace.runs[0].stop_s, trace.runs[0].stopped_by) == (1160.0, "no flow")
    assert (trace.runs[1].machine, trace.runs[1].start_s) == (1, 1160.0)
    assert alarms(trace, "no flow")[0] == (1160.0, 5000.0)
    assert not [r for r in trace.runs if r.machine == 0 and 1160.0 < r.start_s < 5000.0]
    # still air-bound: 60 s after its next start the panel stops it again
    again = next(r for r in trace.runs if r.machine == 0 and r.start_s >= 5000.0)
    assert again.stop_s == pytest.approx(again.start_s + 60.0, abs=NEAR)


def test_a_clog_that_leaves_some_flow_is_not_no_flow() -> None:
    clog = replace(ScriptedEvent(1100.0, "clogged", "P1"), flow_left=0.05)
    assert alarms(run(single(no_flow_after_s=60.0), 6000.0, clog), "no flow") == []
    clog = replace(clog, flow_left=0.015)
    assert alarms(run(single(no_flow_after_s=60.0), 6000.0, clog), "no flow")[0][0] == 1160.0


def test_a_shut_valve_and_a_shut_main_are_no_flow_too() -> None:
    shut = replace(ScriptedEvent(1100.0, "plug valve closed", "P1"), flow_left=0.0)
    assert alarms(run(single(no_flow_after_s=60.0), 3000.0, shut), "no flow")[0][0] == 1160.0
    plugged = replace(ScriptedEvent(1100.0, "main plugged", "force main", 500.0), flow_left=0.0)
    trace = run(single(no_flow_after_s=60.0), 3000.0, plugged)
    assert alarms(trace, "no flow") == [(1160.0, 1600.0)]


# ---------------------------------------------------------------------- all of them


def rows(trace: Trace) -> str:
    return repr((trace.events, trace.runs, trace.alarms, trace.leg_t_s, trace.leg_v_m3))


def test_frozen_while_all_of_them_stand_the_same_rows_come_out() -> None:
    unit = {
        "overload_below": 0.8, "reverse_tries": 2, "reverse_s": 45.0, "reverse_clears": 0.5,
        "stop_clears": 0.3, "vent_s": 250.0, "no_flow_after_s": 30.0, "no_flow": "stop",
    }  # fmt: skip
    station = pair(**unit)
    events = (
        RAGS,
        replace(RAGS, subject="P2", at_s=300.0, amount=0.04),
        ScriptedEvent(100.0, "wearing", "P1", amount=0.05, per_s=8000.0),
        ScriptedEvent(9000.0, "air-bound", "P2"),
        ScriptedEvent(15000.0, "seal leak into motor", "P1", 2000.0),
        ScriptedEvent(24000.0, "reset", "P2"),
        ScriptedEvent(24000.0, "reset", "P1"),
    )
    given = episode(40000.0, 0.02, *events)
    whole = Session(station, given).finish().trace
    told = {row.event for row in whole.events}
    assert {"worn", "rags fell off", "trip", "dry again", "air-bound"} <= told
    session = Session(station, given)
    for at_s in (1777.7, 9100.0, 15500.0, 23000.0):
        session.advance(at_s)
        session = Session.resume(session.freeze())
    assert rows(session.finish().trace) == rows(whole)


def test_the_order_in_which_they_are_written_changes_no_outcome() -> None:
    at = (
        ScriptedEvent(1100.0, "wearing", "P1", amount=0.05, per_s=500.0),
        ScriptedEvent(1100.0, "ragging", "P1", amount=0.05, per_s=300.0),
        ScriptedEvent(1100.0, "air-bound", "P1", 40.0),
        ScriptedEvent(1100.0, "overload", "P2", 300.0),
    )
    outcomes = set()
    for events in itertools.permutations(at):
        trace = run(pair(stop_clears=0.5), 12000.0, *events)
        outcomes.add(repr((trace.runs, trace.alarms, trace.leg_t_s, trace.leg_v_m3)))
    assert len(outcomes) == 1

"""Motor heat in a run: trips and resets come when the first-order formula says, to a millisecond.

The formula itself is checked against printed examples in tests/published; here it is written out
once more: rise(t) = F - (F - r0) exp(-t / T).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stationsim.episode import ScriptedEvent
from stationsim.physics.motor import MotorHeat
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.trace import Trace

HOUR = 3600.0
# ambient 20, full rise 130, trip 130 (rise 110), reset 90 (rise 70); 60 and 120 min
HEAT = MotorHeat(20.0, 130.0, HOUR, 2.0 * HOUR, 130.0, 90.0)
TRIP_S = HOUR * math.log(130.0 / (130.0 - 110.0))
COOL_S = 2.0 * HOUR * math.log(110.0 / 70.0)
AGAIN_S = HOUR * math.log((130.0 - 70.0) / (130.0 - 110.0))


def hot(station: Station, **changes: object) -> Station:
    pumps = [replace(station.pumps[0], motor_heat=HEAT, **changes), *station.pumps[1:]]
    return replace(station, pumps=tuple(pumps))


def run(station: Station, hours: float, inflow: float, *events: ScriptedEvent) -> Trace:
    trace = (
        Session(station, episode(hours * HOUR, inflow, *events, start_level_m=2.0)).finish().trace
    )
    assert trace.balance_error < 1e-12
    return trace


def alone(**changes: object) -> Station:
    return hot(duplex((0.03,), levels={"lag_start_m": None}), **changes)


def times(trace: Trace, word: str) -> list[float]:
    return [row.t_s for row in trace.events if row.event == word]


def test_a_motor_that_never_stops_trips_and_resets_to_the_millisecond() -> None:
    trace = run(alone(), 12.0, 0.03)  # the inflow holds the level: P1 runs from the start
    trips, resets = times(trace, "trip"), times(trace, "reset")
    assert trips[0] == pytest.approx(TRIP_S, abs=1e-3)
    assert resets[0] == pytest.approx(TRIP_S + COOL_S, abs=1e-3)
    assert trips[1] == pytest.approx(TRIP_S + COOL_S + AGAIN_S, abs=1e-3)
    assert trace.runs[0].stopped_by == "high temperature"


def test_a_second_pump_takes_over_at_the_trip() -> None:
    trace = run(hot(duplex()), 6.0, 0.03)
    first = trace.runs[0]
    following = min((r for r in trace.runs if r.machine == 1), key=lambda r: r.start_s)
    assert following.start_s == first.stop_s
    assert following.started_by == "takes the place of P1"


def test_it_resets_itself_as_often_as_it_may_and_then_waits_for_a_hand() -> None:
    station = alone(most_resets=1)
    by_hand = ScriptedEvent(20 * HOUR, "reset", "P1")
    trace = run(station, 24.0, 0.03, by_hand)
    assert len(times(trace, "trip")) == 4  # the hand gives it back its one try
    causes = [row.cause for row in trace.events if row.event == "reset"]
    assert causes == ["by itself", "by hand", "by itself"]


def test_latched_from_the_first_trip_a_reset_is_refused_while_it_is_hot() -> None:
    early = ScriptedEvent(TRIP_S + 60.0, "reset", "P1")
    late = ScriptedEvent(TRIP_S + COOL_S + 60.0, "reset", "P1")
    trace = run(alone(most_resets=0), 8.0, 0.03, early, late)
    assert times(trace, "reset refused") == pytest.approx([early.at_s], abs=1e-6)
    assert times(trace, "reset") == pytest.approx([late.at_s], abs=1e-6)


def test_a_clog_in_mid_run_brings_the_trip_forward_by_the_formula() -> None:
    heat = replace(HEAT, ragged_factor=1.4)
    station = alone()
    station = replace(station, pumps=(replace(station.pumps[0], motor_heat=heat),))
    clogged = replace(ScriptedEvent(1800.0, "clogged", "P1"), flow_left=0.999)
    trace = run(station, 6.0, 0.03, clogged)
    rise = 130.0 * (1.0 - math.exp(-0.5))
    expected = 1800.0 + HOUR * math.log((182.0 - rise) / (182.0 - 110.0))
    assert times(trace, "trip")[0] == pytest.approx(expected, abs=1e-3)


def test_below_the_motor_top_it_heats_more_from_the_crossing_on() -> None:
    heat = replace(HEAT, full_rise_k=100.0, not_submerged_factor=1.5)
    station = duplex((0.03,), levels={"lag_start_m": None, "stop_m": 0.2})
    pump = replace(station.pumps[0], motor_heat=heat, motor_top_m=1.6)
    trace = run(replace(station, pumps=(pump,)), 6.0, 0.029)
    crossing = (2.0 - 1.6) * 10.0 / 0.001
    rise = 100.0 * (1.0 - math.exp(-crossing / HOUR))
    expected = crossing + HOUR * math.log((150.0 - rise) / (150.0 - 110.0))
    assert times(trace, "trip")[0] == pytest.approx(expected, abs=1e-3)


def test_pieces_and_freezes_change_nothing() -> None:
    station = hot(duplex(), most_resets=2)
    when = episode(30 * HOUR, 0.035, start_level_m=2.0)
    whole = Session(station, when).finish().trace
    session = Session(station, when)
    for n in range(1, 60):
        session.advance(n * 1777.0)
        if n % 9 == 0:
            session = Session.resume(session.freeze())
    pieces = session.finish().trace
    assert pieces.events == whole.events
    assert pieces.runs == whole.runs

"""The slow ways: the round, and somebody who sees a spill or the light and rings; hand sums."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from crews import HOUR, MINUTE, at_once, chain, just, moments, reference, rows_of

from stationsim.episode import ScriptedEvent
from stationsim.people.response import ClockSpan, PasserBy, Person, Task, Visit
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import MONDAY, duplex, episode
from stationsim.trace import Trace

AWAKE = ClockSpan(7 * HOUR, 22 * HOUR)
SILENT = ScriptedEvent(0.0, "telemetry lost", "telemetry")
RESET = Task("reset", takes=just(300.0))


def from_hour(
    hour: float, response: object, *events: ScriptedEvent, flow: float = 1e-5, hours: float = 36.0,
    station: Station | None = None, start_level_m: float = 1.0,
) -> Trace:  # fmt: skip
    """Run a station that tells nobody anything, from an hour of Monday on."""
    case = episode(
        hours * HOUR, flow, SILENT, *events, start=MONDAY + timedelta(hours=hour),
        start_level_m=start_level_m,
    )  # fmt: skip
    mute = duplex() if station is None else station
    mute = replace(mute, alarms=replace(mute.alarms, telemetry_lost_delay_s=1e9))
    return simulate(mute, replace(case, response=response)).trace


# ------------------------------------------------------------------ the round


def test_without_telemetry_the_round_at_nine_finds_it() -> None:
    response = at_once("anna", visit=Visit("anna", 9 * HOUR), tasks=(RESET,), call_list=())
    trace = from_hour(2.0, response, ScriptedEvent(HOUR, "fails", "P1", None))
    (alarm,) = (row for row in trace.alarms if row.alarm == "pump failed")
    assert alarm.raised_s == HOUR
    assert alarm.reached_s == 7 * HOUR  # from two to nine
    assert math.isnan(alarm.sent_s)
    assert alarm.cleared_s == 7 * HOUR + 300.0
    assert moments(trace, "visited") == [7 * HOUR, 31 * HOUR]
    assert [row.outcome for row in rows_of(trace, "visits")] == ["found: pump failed", "all well"]
    assert [row.cause for row in trace.events if row.event == "crew on site"] == ["the round"] * 2


@pytest.mark.parametrize(
    ("start_hour", "first_h"), [(2.0, 7.0), (9.0, 0.0), (9.5, 23.5), (23.0, 10.0)]
)
def test_the_round_comes_by_the_clock(start_hour: float, first_h: float) -> None:
    response = at_once("anna", visit=Visit("anna", 9 * HOUR), call_list=())
    trace = from_hour(start_hour, response, hours=72.0)
    came = [first_h * HOUR]
    while came[-1] + 24 * HOUR < 72 * HOUR:
        came.append(came[-1] + 24 * HOUR)
    assert moments(trace, "visited") == came


def test_the_round_does_not_come_while_whoever_makes_it_is_there() -> None:
    # the grid is lost over nine: anna is called at eight, and stays until ten
    lost = ScriptedEvent(6 * HOUR, "grid loss", "grid", 2 * HOUR)
    case = episode(36 * HOUR, 1e-5, lost, start=MONDAY + timedelta(hours=2))
    response = at_once("anna", visit=Visit("anna", 9 * HOUR))
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert moments(trace, "visited") == [31 * HOUR]
    assert moments(trace, "crew on site") == [6 * HOUR, 31 * HOUR]


def test_the_round_that_comes_while_the_phone_rings_does_not_send_its_maker_twice() -> None:
    # it rings at 8:50 and is answered at 9:10, by anna who came by at nine
    lost = ScriptedEvent(6 * HOUR + 50 * MINUTE, "grid loss", "grid", 2 * HOUR)
    case = episode(12 * HOUR, 1e-5, lost, start=MONDAY + timedelta(hours=2))
    slow = Person("anna", acknowledges=just(20 * MINUTE), travels=just(600.0))
    response = replace(at_once("anna", visit=Visit("anna", 9 * HOUR)), people=(slow,))
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert moments(trace, "crew on site") == [7 * HOUR]
    assert rows_of(trace, "travels") == []
    assert [row.outcome for row in rows_of(trace, "called")] == ["acknowledged"]
    assert moments(trace, "crew leaves") == [pytest.approx(9 * HOUR - 10 * MINUTE, abs=300.0)]


# ------------------------------------------------------------------ somebody who rings


def spilling(hour: float, passer: PasserBy, **changes: object) -> Trace:
    """Run a station whose grid is lost at once, and that spills from an hour of Monday on."""
    lost = ScriptedEvent(0.0, "grid loss", "grid", 30 * HOUR)
    response = replace(at_once("anna", passer_by=passer), **changes)  # type: ignore[arg-type]
    return from_hour(hour, response, lost, flow=0.005, start_level_m=4.0)


@pytest.mark.parametrize(
    ("hour", "after_h", "rings_h"),
    [
        (12.0, 2.0, 2.0),  # it is day
        (2.0, 2.0, 7.0),  # from two to seven nobody passes: at nine
        (21.0, 2.0, 11.0),  # one hour until ten, the other one after seven: at eight
        (21.5, 0.5, 0.5),  # just until ten
        (7.0, 15.0, 15.0),  # the whole day
        (8.0, 16.0, 25.0),  # 14 h today, 2 h from seven on: at nine
    ],
)
def test_only_waking_hours_count_for_a_passer_by(
    hour: float, after_h: float, rings_h: float
) -> None:
    trace = spilling(hour, PasserBy(just(after_h * HOUR), awake=AWAKE))
    (begins_s,) = moments(trace, "spill begins")
    assert begins_s == 0.0
    assert moments(trace, "a passer-by rings") == [pytest.approx(rings_h * HOUR)]
    assert moments(trace, "crew on site") == [pytest.approx(rings_h * HOUR)]
    assert [row.cause for row in trace.events if row.event == "a passer-by rings"] == ["a spill"]


def test_somebody_who_is_always_awake_rings_after_the_time_alone() -> None:
    trace = spilling(2.0, PasserBy(just(HOUR)))
    assert moments(trace, "a passer-by rings") == [HOUR]


def test_a_span_of_which_rounding_leaves_a_sliver_ends_all_the_same() -> None:
    # 0.1 and its like are no binary numbers: the end of a span is met to the last bit but one
    awake = ClockSpan(7.1 * HOUR, 22.7 * HOUR)
    trace = spilling(12.3, PasserBy(just(12.1 * HOUR), awake=awake))
    # 10.4 h today, 1.7 h from 7:06 on: 8.8 h after midnight, 20.5 h after the start
    assert moments(trace, "a passer-by rings") == [pytest.approx(20.5 * HOUR)]


def test_nobody_rings_for_a_spill_that_is_over() -> None:
    lost = ScriptedEvent(0.0, "grid loss", "grid", 1800.0)
    response = at_once("anna", passer_by=PasserBy(just(HOUR)))
    trace = from_hour(12.0, response, lost, flow=0.005, start_level_m=4.0, hours=6.0)
    assert moments(trace, "spill begins") == [0.0]
    assert moments(trace, "a passer-by rings") == []


@pytest.mark.parametrize(("again_s", "rings_s"), [(None, 4200.0), (1800.0, 1800.0 + 3600.0)])
def test_the_light_counts_from_the_alarm_that_stands(again_s: float | None, rings_s: float) -> None:
    # the pump fails at 600 s; where it was free for a moment meanwhile the light was off
    events = [ScriptedEvent(600.0, "fails", "P1", None if again_s is None else 300.0)]
    if again_s is not None:
        events.append(ScriptedEvent(again_s, "fails", "P1", None))
    response = at_once("anna", passer_by=PasserBy(just(HOUR), "alarm light"))
    trace = from_hour(12.0, response, *events, hours=6.0)
    assert moments(trace, "a passer-by rings") == [rings_s]


def test_no_light_tells_that_telemetry_is_lost() -> None:
    case = episode(6 * HOUR, 1e-5, SILENT)
    response = at_once("anna", passer_by=PasserBy(just(HOUR), "alarm light"), alarms=())
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert [row.alarm for row in trace.alarms] == ["telemetry lost"]
    assert moments(trace, "a passer-by rings") == []


def test_who_is_rung_up_by_a_passer_by_does_not_know_what_to_bring() -> None:
    # telemetry fails first: the set stays in the yard until somebody has seen the dark panel
    mute = ScriptedEvent(0.0, "telemetry lost", "telemetry")
    response = chain(passer_by=PasserBy(just(600.0)), alarms=("power failed",))
    trace = reference(7.0, response, mute).trace
    (spill_s,) = moments(trace, "spill begins")
    rings_s = spill_s + 600.0
    assert moments(trace, "a passer-by rings") == [pytest.approx(rings_s)]
    way = [(row.task, row.subject) for row in trace.crew if row.person == "operator"]
    assert way[:7] == [
        ("called", "a spill"), ("gets ready", "station"), ("travels", "station"),
        ("travels", "yard"), ("fetches", "mobile generator"), ("travels", "station"),
        ("connect mobile generator", "station"),
    ]  # fmt: skip
    # 5 + 10 + 25, then 25 + 15 + 25, then 15 + 5 minutes
    connected_s = rings_s + (40.0 + 65.0 + 20.0) * MINUTE
    assert moments(trace, "mobile generator connected") == [pytest.approx(connected_s)]


def test_a_passer_by_who_rings_while_the_list_is_called_in_vain_wakes_it_again() -> None:
    # called at four nobody hears; the spill is seen from seven on, and at eight somebody rings
    sleeper = Person("anna", answers_at_night=False)
    response = replace(
        at_once("anna", passer_by=PasserBy(just(HOUR), awake=AWAKE)),
        people=(sleeper,), night=ClockSpan(22 * HOUR, 6 * HOUR),
    )  # fmt: skip
    lost = ScriptedEvent(0.0, "grid loss", "grid", 30 * HOUR)
    case = episode(24 * HOUR, 0.005, lost, start=MONDAY + timedelta(hours=4), start_level_m=4.0)
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert [(row.start_s, row.outcome) for row in rows_of(trace, "called")] == [
        (0.0, "no answer"), (4 * HOUR, "acknowledged"),
    ]  # fmt: skip
    assert moments(trace, "crew on site") == [4 * HOUR]


def test_nobody_goes_for_a_spill_that_nobody_told_of() -> None:
    # the alarm that called is over; that it spills nobody off site can know
    lost = ScriptedEvent(0.0, "grid loss", "grid", 200.0)
    stuck = ScriptedEvent(0.0, "controller stopped", "panel")
    one = Person("anna", acknowledges=just(300.0))
    response = replace(at_once("anna", alarms=("power failed",)), people=(one,))
    case = episode(6 * HOUR, 0.005, lost, stuck, start_level_m=4.0)
    trace = simulate(duplex(), replace(case, response=response)).trace
    assert len(moments(trace, "spill begins")) == 1
    assert moments(trace, "stood down") == [300.0]

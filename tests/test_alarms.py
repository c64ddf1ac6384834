"""Alarms: raised at the level or after a delay, cleared, and not raised by what is too short.

One tank of 10 m2 (``stationsim.testing.duplex``): 10 L/s in raises the level by 1 mm/s, so all
times follow by hand. Alarm delays are common practice (no source for the seconds).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stationsim.episode import ScriptedEvent
from stationsim.inflow.segments import InflowSource
from stationsim.inflow.storm import Hydrograph
from stationsim.physics.spill import Spillway
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings
from stationsim.testing import duplex, episode
from stationsim.trace import AlarmRow, Trace

ABS = 1e-6
DARK = ScriptedEvent(0.0, "grid loss", "grid", 2500.0)


def run(
    alarms: AlarmSettings,
    *events: ScriptedEvent,
    inflow: float | InflowSource = 0.01,
    duration_s: float = 4000.0,
    level_m: float = 1.0,
) -> Trace:
    station = duplex(alarms=alarms)
    return simulate(station, episode(duration_s, inflow, *events, start_level_m=level_m)).trace


def of(trace: Trace, alarm: str) -> list[AlarmRow]:
    return [row for row in trace.alarms if row.alarm == alarm]


def test_high_level_is_raised_at_its_level_and_cleared_on_the_way_down() -> None:
    trace = run(AlarmSettings(high_level_m=3.0), DARK)
    (row,) = of(trace, "high level")
    assert row.subject == "station"
    assert row.raised_s == pytest.approx(2000.0, abs=ABS)
    # 3.5 m when the grid is back at 2500 s, both pumps: 50 L/s net, 0.5 m in 100 s
    assert row.cleared_s == pytest.approx(2600.0, abs=ABS)
    said = [
        (e.event, e.cause) for e in trace.events if e.subject == "station" and "high" in e.cause
    ]
    assert [word for word, _cause in said] == ["alarm raised", "alarm cleared"]
    assert said[0][1].startswith("high level: level above 3")
    assert said[1][1].startswith("high level: level below 3")
    assert math.isnan(row.reached_s)


@pytest.mark.parametrize("delay_s", [10.0, 599.0])
def test_a_delay_postpones_the_alarm_by_just_that(delay_s: float) -> None:
    trace = run(AlarmSettings(high_level_m=3.0, high_level_delay_s=delay_s), DARK)
    (row,) = of(trace, "high level")
    assert row.raised_s == pytest.approx(2000.0 + delay_s, abs=ABS)
    assert row.cleared_s == pytest.approx(2600.0, abs=ABS)


@pytest.mark.parametrize("delay_s", [601.0, 5000.0])
def test_a_condition_shorter_than_its_delay_raises_none(delay_s: float) -> None:
    trace = run(AlarmSettings(high_level_m=3.0, high_level_delay_s=delay_s), DARK)
    assert of(trace, "high level") == []
    assert all("high level" not in e.cause for e in trace.events)


def test_each_new_crossing_begins_the_delay_anew() -> None:
    # out, back for a moment so that the level dips below 3 m, out again
    dips = (
        ScriptedEvent(0.0, "grid loss", "grid", 2100.0),
        ScriptedEvent(2140.0, "grid loss", "grid", 1500.0),
    )
    trace = run(AlarmSettings(high_level_m=3.0, high_level_delay_s=150.0), *dips)
    # 3.1 m at 2100 s, 50 L/s net: below 3 m at 2120, 2.9 m at 2140, 3 m again at 2240
    (row,) = of(trace, "high level")
    assert row.raised_s == pytest.approx(2240.0 + 150.0, abs=ABS)


def test_a_level_that_begins_above_the_alarm_raises_it_at_once() -> None:
    trace = run(AlarmSettings(high_level_m=3.0), level_m=3.2)
    (row,) = of(trace, "high level")
    assert row.raised_s == 0.0
    assert row.cleared_s == pytest.approx(0.2 / 0.005, abs=ABS)


def test_a_level_that_begins_on_the_alarm_and_falls_clears_at_once() -> None:
    trace = run(AlarmSettings(high_level_m=3.0), level_m=3.0)
    (row,) = of(trace, "high level")
    assert row.raised_s == 0.0
    assert row.cleared_s == 0.0


@pytest.mark.parametrize("delay_s", [0.0, 5.0])
def test_a_pump_that_turns_the_level_round_on_the_alarm_clears_it(delay_s: float) -> None:
    """The lag starts at the very alarm level, and from there the level falls."""
    settings = AlarmSettings(high_level_m=2.5, high_level_delay_s=delay_s)
    trace = run(settings, inflow=0.04)
    lag = next(r for r in trace.runs if r.role == "lag")
    assert trace.greatest_level_m == pytest.approx(2.5, abs=1e-9)
    rows = of(trace, "high level")
    if delay_s:
        assert rows == []
    else:
        assert rows[0].raised_s == rows[0].cleared_s == lag.start_s


def test_a_pump_that_turns_the_level_round_on_the_low_level_alarm_clears_it() -> None:
    trace = run(AlarmSettings(low_level_m=1.0), level_m=1.5)
    low = of(trace, "low level")
    stops = [r.stop_s for r in trace.runs if r.stopped_by.startswith("level")]
    assert [(r.raised_s, r.cleared_s) for r in low] == [(t, t) for t in stops]


def test_a_pump_that_turns_the_level_round_on_the_crest_of_a_weir_ends_the_spill() -> None:
    station = replace(duplex(levels={"lag_start_m": 3.5}), spillway=Spillway(3.5, 2.0))
    trace = simulate(station, episode(6000.0, 0.04)).trace
    assert [e.event for e in trace.events if "spill" in e.event][:2] == [
        "spill begins",
        "spill ends",
    ]
    assert trace.spills == []
    assert trace.spilled_m3 == 0.0


def test_low_level_is_raised_on_the_way_down_and_cleared_on_the_way_up() -> None:
    hand = (ScriptedEvent(0.0, "hand", "P1"), ScriptedEvent(100.0, "off", "P1"))
    trace = run(AlarmSettings(low_level_m=0.5), *hand, level_m=1.5)
    # 20 L/s net: 0.5 m after 500 s is not reached by 100 s; with a longer hand run it is
    assert of(trace, "low level") == []
    hand = (ScriptedEvent(0.0, "hand", "P1"), ScriptedEvent(600.0, "off", "P1"))
    trace = run(AlarmSettings(low_level_m=0.5), *hand, level_m=1.5)
    (row,) = of(trace, "low level")
    assert row.raised_s == pytest.approx(500.0, abs=ABS)
    assert row.cleared_s == pytest.approx(600.0 + 0.2 / 0.001, abs=ABS)


def test_a_low_level_delay_longer_than_the_dip_raises_none() -> None:
    hand = (ScriptedEvent(0.0, "hand", "P1"), ScriptedEvent(600.0, "off", "P1"))
    trace = run(AlarmSettings(low_level_m=0.5, low_level_delay_s=301.0), *hand, level_m=1.5)
    assert of(trace, "low level") == []


def test_power_failed_waits_for_its_delay_and_not_for_a_sag() -> None:
    settings = AlarmSettings(power_failed_delay_s=60.0)
    sag = ScriptedEvent(500.0, "grid loss", "grid", 0.75)
    outage = ScriptedEvent(1000.0, "grid loss", "grid", 300.0)
    trace = run(settings, sag, outage)
    assert [(r.raised_s, r.cleared_s) for r in of(trace, "power failed")] == [(1060.0, 1300.0)]
    assert [p.state for p in trace.power] == ["on", "out", "on", "out", "on"]


def test_an_alarm_that_stands_at_the_end_is_not_cleared() -> None:
    trace = run(AlarmSettings(high_level_m=3.0), ScriptedEvent(0.0, "grid loss", "grid"))
    (row,) = of(trace, "high level")
    assert math.isnan(row.cleared_s)


def test_no_alarm_level_means_no_alarm() -> None:
    trace = run(AlarmSettings(), ScriptedEvent(0.0, "grid loss", "grid"))
    assert {row.alarm for row in trace.alarms} == {"power failed"}


def test_a_level_that_only_touches_the_alarm_is_no_more_than_a_moment() -> None:
    # the inflow ends just as the level is at 3 m: it stands there, at the alarm
    inflow = Hydrograph(0.0, (0.0, 2000.0), (0.01, 0.01))
    dark = ScriptedEvent(0.0, "grid loss", "grid")
    short = Hydrograph(0.0, (0.0, 1999.0), (0.01, 0.01))
    below = run(AlarmSettings(high_level_m=3.0), dark, inflow=short)
    assert of(below, "high level") == []
    above = run(
        AlarmSettings(high_level_m=3.0), dark, inflow=Hydrograph(0.0, (0.0, 2001.0), (0.01, 0.01))
    )
    assert of(above, "high level")[0].raised_s == pytest.approx(2000.0, abs=ABS)
    standing = run(AlarmSettings(high_level_m=3.0), dark, inflow=inflow)
    assert standing.greatest_level_m == pytest.approx(3.0, abs=1e-9)


def test_a_pending_alarm_survives_freezing() -> None:
    station = duplex(alarms=AlarmSettings(high_level_m=1.5, high_level_delay_s=300.0))
    given = episode(3000.0, 0.01)
    session = Session(station, given)
    session.advance(600.0)  # above 1.5 m since 500 s; due at 800 s
    assert session._plant.trace.alarms == []
    again = Session.resume(session.freeze())
    ours, theirs = again.finish().trace, simulate(station, given).trace
    assert ours.alarms == theirs.alarms
    assert ours.alarms[0].raised_s == pytest.approx(800.0, abs=ABS)
    assert ours.events == theirs.events

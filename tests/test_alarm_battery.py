"""The battery of alarms and telemetry: silent after its time, to the second, and back with supply.

One tank of 10 m2 (``stationsim.testing.duplex``): 10 L/s in raises the level by 1 mm/s from 1.0 m;
the grid is lost at 1000 s, before any pump runs, so 3.0 m is reached at 2000 s. Delays are common
practice (no source for the seconds).
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower, TransferSwitch
from stationsim.handout import alarms_dead_spans, seen_tables
from stationsim.results import Result
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings
from stationsim.testing import duplex, episode
from stationsim.trace import AlarmRow


def alarms(battery_s: float = 600.0, **more: Any) -> AlarmSettings:
    return AlarmSettings(
        high_level_m=3.0, telemetry_lost_delay_s=300.0, battery_s=battery_s, **more
    )


def at(
    at_s: float, kind: EventKind, subject: str, duration_s: float | None = None
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, duration_s)


def dark(at_s: float, lasts_s: float) -> ScriptedEvent:
    return at(at_s, "grid loss", "grid", lasts_s)


def silent(at_s: float, lasts_s: float) -> ScriptedEvent:
    return at(at_s, "telemetry lost", "telemetry", lasts_s)


def run(
    *events: ScriptedEvent,
    settings: AlarmSettings | None = None,
    duration_s: float = 6000.0,
    **more: Any,
) -> Result:
    station = duplex(alarms=settings or alarms(), **more)
    return simulate(station, episode(duration_s, 0.01, *events))


def rows(result: Result, alarm: str) -> list[tuple[float, float, float]]:
    def near(value: float) -> Any:
        return pytest.approx(value, abs=1e-6, nan_ok=True)

    found: list[AlarmRow] = [row for row in result.trace.alarms if row.alarm == alarm]
    return [(near(row.raised_s), near(row.sent_s), near(row.cleared_s)) for row in found]


def told(result: Result, *words: str) -> list[tuple[float, str]]:
    return [(row.t_s, row.event) for row in result.trace.events if row.event in words]


EMPTY, LIVE = "alarm battery empty", "alarms live again"


def test_the_battery_is_empty_to_the_second_and_the_far_end_misses_the_station() -> None:
    result = run(dark(1000.0, 4000.0))
    assert told(result, EMPTY, LIVE) == [(1600.0, EMPTY), (5000.0, LIVE)]
    assert rows(result, "power failed") == [(1000.0, 1000.0, 5000.0)]
    assert rows(result, "telemetry lost") == [(1900.0, 1900.0, 5000.0)]
    # 3.0 m was reached at 2000 s; nobody knew until the supply was back, with 4.0 m and a spill
    assert rows(result, "high level") == [(5000.0, 5000.0, 5200.0)]
    assert alarms_dead_spans(result) == [(1600.0, 5000.0)]


def test_a_short_loss_leaves_it_alone_and_each_loss_counts_anew() -> None:
    result = run(dark(1000.0, 599.0), dark(1700.0, 599.0), dark(2400.0, 601.0))
    assert told(result, EMPTY, LIVE) == [(3000.0, EMPTY), (3001.0, LIVE)]
    assert rows(result, "telemetry lost") == []


def test_left_out_it_lasts_for_good_and_nothing_is_another() -> None:
    events = (dark(1000.0, 4000.0), silent(1500.0, 300.0))
    plain, ample = run(*events, settings=alarms(math.inf)), run(*events, settings=alarms(4001.0))
    assert told(plain, EMPTY, LIVE) == told(ample, EMPTY, LIVE) == []
    assert repr(plain.trace.events) == repr(ample.trace.events)
    assert repr(plain.trace.alarms) == repr(ample.trace.alarms)
    assert plain.trace.leg_v_m3 == ample.trace.leg_v_m3


def test_without_a_battery_even_the_loss_is_not_told() -> None:
    result = run(dark(1000.0, 4000.0), settings=alarms(0.0))
    assert told(result, EMPTY, LIVE) == [(1000.0, EMPTY), (5000.0, LIVE)]
    assert rows(result, "power failed") == []
    assert rows(result, "telemetry lost") == [(1300.0, 1300.0, 5000.0)]


def test_a_delay_that_the_battery_does_not_outlast_counts_anew() -> None:
    """High level with a delay of 100 s: at 3.0 m at 2000 s, the battery empty at 2050 s."""
    settings = alarms(1050.0, high_level_delay_s=100.0)
    result = run(dark(1000.0, 4000.0), settings=settings)
    assert told(result, EMPTY)[0][0] == 2050.0
    # back at 5000 s; 4.0 m with 50 L/s net out is at 3.0 m after 200 s
    assert rows(result, "high level") == [(5100.0, 5100.0, 5200.0)]


def test_telemetry_that_is_lost_too_stays_lost_until_both_are_over() -> None:
    longer = run(dark(1000.0, 2000.0), silent(1200.0, 3000.0))
    # lost at 1200 s, so missed at 1500 s; the supply is back at 3000 s, the link at 4200 s
    assert rows(longer, "telemetry lost") == [(1500.0, 1500.0, 4200.0)]
    assert rows(longer, "power failed") == [(1000.0, 1000.0, 3000.0)]
    assert told(longer, EMPTY, LIVE, "telemetry back") == [
        (1600.0, EMPTY), (3000.0, LIVE), (4200.0, "telemetry back"),
    ]  # fmt: skip
    shorter = run(dark(1000.0, 2000.0), silent(1200.0, 1000.0))
    # the link is mended at 2200 s, and the station is silent all the same
    assert rows(shorter, "telemetry lost") == [(1500.0, 1500.0, 3000.0)]
    (back,) = [row for row in shorter.trace.events if row.event == "telemetry back"]
    assert (back.t_s, back.detail) == (2200.0, EMPTY)


def test_what_was_not_sent_goes_out_once_both_are_over() -> None:
    """Telemetry is lost from 900 s on; 'power failed' at 1000 s stands unsent."""
    result = run(dark(1000.0, 2000.0), silent(900.0, 600.0))
    # missed at 1200 s; the link is back at 1500 s, before the battery is empty: sent then
    assert rows(result, "power failed") == [(1000.0, 1500.0, 3000.0)]
    assert rows(result, "telemetry lost") == [(1200.0, 1200.0, 1500.0), (1900.0, 1900.0, 3000.0)]
    late = run(dark(1000.0, 2000.0), silent(900.0, 2500.0))
    assert rows(late, "power failed") == [(1000.0, math.nan, 3000.0)]
    # 4.0 m at 3000 s, 50 L/s net out: over before the link is back at 3400 s
    assert rows(late, "high level") == [(3000.0, math.nan, 3200.0)]


@pytest.mark.parametrize("order", [1, -1])
def test_telemetry_that_is_lost_as_the_battery_is_empty_counts_once(order: int) -> None:
    events = (dark(1000.0, 2000.0), silent(1600.0, 1400.0))[::order]
    result = run(*events)
    assert rows(result, "telemetry lost") == [(1900.0, 1900.0, 3000.0)]


def test_a_generator_feeds_the_alarms_too() -> None:
    """It feeds from 700 s after the loss on: the battery of 600 s is empty for 100 s."""
    power = StandbyPower(GeneratorSet(run_up_s=700.0), TransferSwitch(return_break_s=5.0))
    result = run(dark(1000.0, 2000.0), standby_power=power)
    assert told(result, EMPTY, LIVE) == [(1600.0, EMPTY), (1700.0, LIVE)]
    assert rows(result, "power failed")[-1][2] == 3000.0
    # the grid is still out when the alarms live again: 'power failed' stood all the time
    assert len(rows(result, "power failed")) == 1


def test_a_control_breaker_that_closes_wakes_no_alarm_without_supply() -> None:
    result = run(dark(1000.0, 3000.0), at(1700.0, "control breaker open", "panel", 500.0))
    assert told(result, LIVE) == [(4000.0, LIVE)]
    assert [row[0] for row in rows(result, "high level")] == [4000.0]


def test_alarms_on_the_supply_of_the_controls_have_no_battery() -> None:
    plain = run(dark(1000.0, 4000.0), settings=alarms(math.inf, supply="control"))
    given = run(dark(1000.0, 4000.0), settings=alarms(600.0, supply="control"))
    assert repr(plain.trace.events) == repr(given.trace.events)


def test_a_run_that_is_frozen_on_its_battery_goes_on_alike() -> None:
    what = episode(6000.0, 0.01, dark(1000.0, 3000.0), silent(1200.0, 1000.0))
    station = duplex(alarms=alarms(), standby_power=StandbyPower())  # its outages are no stories
    whole = Session(station, what).finish().trace
    assert told(run(*what.events), EMPTY) == [(1600.0, EMPTY)]
    for at_s in (1100.0, 1600.0, 1700.0, 2200.0, 4000.0):
        session = Session(station, what)
        session.advance(at_s)
        trace = Session.resume(session.freeze()).finish().trace
        assert repr(trace.events) == repr(whole.events)
        assert repr(trace.alarms) == repr(whole.alarms)


def test_an_observer_knows_of_no_alarm_while_the_battery_is_empty() -> None:
    result = run(dark(1000.0, 4000.0))
    log = seen_tables(result)["events"]
    assert EMPTY not in set(log["event"])
    raised = log.loc[log["event"] == "alarm raised", ["t_s", "subject"]].to_numpy().tolist()
    assert raised == [[1000.0, "station"], [1900.0, "telemetry"], [5000.0, "station"]]


def test_when_an_alarm_ended_that_nobody_heard_of_is_not_told() -> None:
    """A phase is lost at 900 s and back at 2000 s, while the grid is out and the battery empty."""
    result = run(at(900.0, "phase lost", "grid", 1100.0), dark(1000.0, 4000.0))
    (row,) = rows(result, "phase lost")
    assert row == (900.0, 900.0, 2000.0)
    table = seen_tables(result)["alarms"]
    cleared = table.loc[table["alarm"] == "phase lost", "cleared_s"]
    assert cleared.isna().all()

"""The float backup: what happens when the level signal freezes, is lost, or contradicts a float."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stationsim.control.backup import BackupSettings
from stationsim.episode import ScriptedEvent
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, episode, reference_station, triplex
from stationsim.trace import Trace, sample, seen_levels

HOUR = 3600.0


def run(station: Station, hours: float, inflow: Any, *events: ScriptedEvent, start: float) -> Trace:
    trace = (
        Session(station, episode(hours * HOUR, inflow, *events, start_level_m=start)).finish().trace
    )
    assert trace.balance_error < 1e-12
    return trace


def signal(kind: str, at_s: float, for_s: float | None = None) -> ScriptedEvent:
    return ScriptedEvent(at_s, f"level signal {kind}", "level sensor", for_s)  # type: ignore[arg-type]


def events(trace: Trace, *words: str) -> list[tuple[float, str, str]]:
    return [(row.t_s, row.event, row.cause) for row in trace.events if row.event in words]


FLOATS = BackupSettings(start_m=2.45, stop_m=0.45)


def test_frozen_at_1_20_m_the_stop_float_stops_the_lead_265_s_later_and_the_log_says_1_20_m() -> (
    None
):
    # Own closed form: (1.20 - 0.45) m x 7.0686 m2 / (30 - 10) L/s = 265.07 s
    station = replace(reference_station(), backup_floats=FLOATS)
    area = math.pi * 9.0 / 4.0
    falls_at = (1.50 - 1.20) * area / 0.020  # from the lead start down to 1.20 m
    trace = run(station, 1.0, 0.010, signal("frozen", falls_at), start=1.50)
    first = trace.runs[0]
    assert first.stopped_by == "backup stop float"
    assert first.stop_s - falls_at == pytest.approx((1.20 - 0.45) * area / 0.020, abs=1e-3)
    assert first.stop_s - falls_at == pytest.approx(265.0, abs=0.1)
    times = np.array([falls_at + 10.0, first.stop_s - 1.0, first.stop_s + 60.0])
    true = station.well.levels_at(sample(trace, np.inf, times).volume_m3)
    assert true[1] == pytest.approx(0.453, abs=1e-3)
    assert seen_levels(trace, times, true) == pytest.approx([1.20, 1.20, 1.20])


def test_frozen_low_the_start_float_starts_the_pumps_one_after_the_other() -> None:
    floats = replace(FLOATS, lag_delay_s=60.0)
    station = duplex(backup_floats=floats, levels={"stop_m": 0.7, "lead_start_m": 1.5})
    trace = run(station, 3.0, 0.045, signal("frozen", 60.0), start=0.8)
    begun = [(r.role, r.started_by) for r in trace.runs[:2]]
    assert sorted(begun) == [("lag", "backup start float"), ("lead", "backup start float")]
    lead, lag = sorted(trace.runs, key=lambda r: r.start_s)[:2]
    assert lead.start_s == pytest.approx((2.45 - 0.8) * 10.0 / 0.045, abs=1e-6)
    assert lag.start_s == pytest.approx(lead.start_s + 60.0, abs=1e-6)
    assert lead.stopped_by == lag.stopped_by == "backup stop float"
    assert trace.greatest_level_m < 2.6


def test_frozen_value_is_found_out_after_its_time_while_a_pump_runs() -> None:
    floats = replace(FLOATS, frozen_after_s=600.0)
    station = duplex((0.03, 0.03), backup_floats=floats, levels={"stop_m": 0.7})
    trace = run(station, 4.0, 0.0295, signal("frozen", 1000.0, 1800.0), start=1.6)
    told = events(trace, "level signal distrusted")
    assert told
    assert told[0][2].startswith("it stood at")
    assert 1000.0 + 600.0 <= told[0][0] <= 1000.0 + 1200.0 + 1e-6


def test_lost_signal_raises_its_alarm_at_once_and_goes_when_the_panel_trusts_it_again() -> None:
    station = duplex(backup_floats=FLOATS, levels={"stop_m": 0.7, "lead_start_m": 1.5})
    trace = run(station, 6.0, 0.02, signal("lost", 1000.0, HOUR), start=1.0)
    (alarm,) = [row for row in trace.alarms if row.alarm == "level signal failed"]
    assert alarm.raised_s == 1000.0
    assert alarm.cleared_s >= 1000.0 + HOUR
    after = [r for r in trace.runs if r.start_s > alarm.cleared_s]
    assert after
    assert all(r.started_by.startswith("level at lead start") for r in after)


def test_good_signal_leaves_everything_to_the_levels() -> None:
    plain = duplex(levels={"stop_m": 0.7, "lead_start_m": 1.5})
    with_floats = replace(plain, backup_floats=replace(FLOATS, frozen_after_s=600.0))
    one, other = (run(s, 12.0, 0.02, start=1.0) for s in (plain, with_floats))
    assert [(r.machine, r.role) for r in one.runs] == [(r.machine, r.role) for r in other.runs]
    # the panel looks again in between, which rounds differently and changes nothing else
    for a, b in zip(one.runs, other.runs, strict=True):
        assert (a.start_s, a.stop_s) == pytest.approx((b.start_s, b.stop_s), abs=1e-6)
    assert not events(other, "level signal distrusted")


def test_lost_signal_without_floats_leaves_the_panel_blind_and_the_well_fills() -> None:
    station = duplex(levels={"stop_m": 0.7, "lead_start_m": 1.5})
    trace = run(station, 4.0, 0.02, signal("lost", 10.0), start=0.8)
    assert not trace.runs
    assert trace.greatest_level_m > 2.5


def test_pieces_freezes_and_one_go_are_the_same_with_a_failing_signal() -> None:
    station = duplex(backup_floats=replace(FLOATS, frozen_after_s=300.0, lag_delay_s=30.0))
    when = episode(
        6 * HOUR, 0.025, signal("frozen", 3000.0, 4000.0), signal("lost", 9000.0, 5000.0)
    )
    whole = Session(station, when).finish().trace
    session = Session(station, when)
    for n in range(1, 40):
        session.advance(n * 500.0)
        _ = session.level_m
        if n % 7 == 0:
            session = Session.resume(session.freeze())
    pieces = session.finish().trace
    assert pieces.runs == whole.runs
    assert pieces.events == whole.events


def test_with_a_rotation_the_floats_let_the_pumps_take_turns_and_without_one_they_do_not() -> None:
    machines: dict[str, list[int]] = {}
    for rotation in ("fixed", "each cycle"):
        floats = replace(FLOATS, rotation=rotation)
        station = duplex((0.03, 0.03), backup_floats=floats, levels={"stop_m": 0.7})
        runs = run(station, 8.0, 0.01, signal("lost", 10.0), start=0.8).runs
        assert all(r.started_by == "backup start float" for r in runs)
        # own closed form, 2.00 m x 10 m2 over 10 L/s to fill and over 20 L/s to draw down
        assert np.diff([r.start_s for r in runs]) == pytest.approx(2000.0 + 1000.0, abs=1e-6)
        machines[rotation] = [r.machine for r in runs]
    assert machines["fixed"] == [0] * len(machines["fixed"])
    assert machines["each cycle"] == [n % 2 for n in range(len(machines["fixed"]))]
    assert len(machines["fixed"]) >= 9


def test_a_float_cycle_of_two_pumps_moves_the_lead_on_by_one_and_passes_over_who_is_out() -> None:
    floats = replace(FLOATS, lag_delay_s=60.0, rotation="each cycle")
    station = triplex(backup_floats=floats)
    away = ScriptedEvent(10.0, "out of service", "P2", None)
    # 45 L/s against 30 L/s for each: the start float stays covered and calls a second pump
    trace = run(station, 6.0, 0.045, signal("lost", 10.0), start=0.8)
    led = [r.machine for r in sorted(trace.runs, key=lambda r: r.start_s) if r.role == "lead"]
    followed = [r.machine for r in sorted(trace.runs, key=lambda r: r.start_s) if r.role == "lag"]
    assert led[:6] == [0, 1, 2, 0, 1, 2]
    assert followed[:6] == [1, 2, 0, 1, 2, 0]
    trace = run(station, 6.0, 0.045, away, signal("lost", 10.0), start=0.8)
    led = [r.machine for r in sorted(trace.runs, key=lambda r: r.start_s) if r.role == "lead"]
    assert led[:6] == [0, 2, 2, 0, 2, 2]  # P2's turn falls to the next in the order


def test_pieces_freezes_and_one_go_are_the_same_when_the_floats_rotate() -> None:
    floats = replace(FLOATS, frozen_after_s=300.0, lag_delay_s=30.0, rotation="each cycle")
    station = duplex(backup_floats=floats)
    when = episode(
        8 * HOUR, 0.025, signal("frozen", 3000.0, 9000.0), signal("lost", 16_000.0, 9000.0)
    )
    whole = Session(station, when).finish().trace
    assert {r.machine for r in whole.runs if r.started_by == "backup start float"} == {0, 1}
    session = Session(station, when)
    for n in range(1, 50):
        session.advance(n * 500.0)
        if n % 5 == 0:
            session = Session.resume(session.freeze())
    pieces = session.finish().trace
    assert pieces.runs == whole.runs
    assert pieces.events == whole.events

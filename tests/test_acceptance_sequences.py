"""Sequences by script: what the panel should do, by hand arithmetic with V/q and V/(Q - q)."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from plug_ins import ScanSettings
from rated_stations import rated
from station_strategies import stations

from stationsim import vocabulary
from stationsim.control.backup import BackupSettings
from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import ClockSettings, NoSettings, SharesSettings
from stationsim.equipment.acceptance import AcceptancePlan
from stationsim.physics.motor import MotorHeat
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, box
from stationsim.scenario.load import load_scenario
from stationsim.station import AlarmSettings, ReturnBreak, Station
from stationsim.studies.acceptance.cautions import CAUTIONS, FOOTER
from stationsim.studies.acceptance.panel.script import ExpectedEvent, PanelTest
from stationsim.studies.acceptance.panel.sequences import sequences_of
from stationsim.studies.acceptance.panel.setpoints import float_checks
from stationsim.testing import (
    MONDAY,
    duplex,
    engine_pump,
    reference_station,
    tank,
    triplex,
)

SCENARIOS = sorted((Path(__file__).parent.parent / "scenarios").glob("*.toml"))
AREA_M2 = math.pi * 9.0 / 4.0  # the well of 3 m
ALTERNATION = "alternation over two rounds"
LAG = "lag and standby starts"
POWER = "power failure with the lead running"
RESTART = "restart after return with the well high"
FLOATS = "level signal lost and floats take over"


def planned(station: Station, **plan: Any) -> Station:
    return rated(station, acceptance=AcceptancePlan(**plan))


def found(station: Station, name: str, start: datetime = MONDAY) -> PanelTest:
    return next(one for one in sequences_of(station, start)[0] if one.name == name)


def left_out(station: Station) -> dict[str, str]:
    return dict(sequences_of(station, MONDAY)[1])


def water_until_s(one: PanelTest) -> float:
    (water,) = one.result.episode.inflow
    return water.until_s


def course(one: PanelTest) -> list[tuple[str, str]]:
    return [(event.subject, event.said) for event in one.expected]


def times(one: PanelTest) -> list[float]:
    return [event.after_s for event in one.expected]


def at(one: PanelTest, subject: str, said: str) -> ExpectedEvent:
    return next(e for e in one.expected if (e.subject, e.said) == (subject, said))


# ---------------------------------------------------------------------- who leads


def test_alternation_in_a_3_m_well_takes_v_over_q_up_and_v_over_q_less_inflow_down():
    # own arithmetic: 0.80 m x 7.0686 m2 = 5.655 m3; up at 15 L/s, down at 30 - 15 L/s: 377 s each
    one = found(reference_station(), ALTERNATION)
    assert one.inflow_m3s == pytest.approx(0.015, rel=1e-9)  # half of the 30 L/s of one pump
    assert one.start_level_m == 0.70
    leads = ["P1", "P2", "P1", "P2"]
    assert course(one) == [(p, word) for p in leads for word in ("start", "stop")]
    step = 0.80 * AREA_M2 / 0.015
    assert times(one) == pytest.approx([step * n for n in range(1, 9)], rel=1e-6)
    assert step == pytest.approx(377.0, abs=0.1)
    assert [event.gap_s for event in one.expected] == pytest.approx([step] * 8, rel=1e-6)
    # the greater of 2 s and a tenth of the gap: errors of the fill rate do not add up
    assert [event.tolerance_s for event in one.expected] == pytest.approx([0.1 * step] * 8)


def test_delays_move_the_levels_by_what_runs_in_or_is_pumped_meanwhile():
    # up: V/q to the start level, 5 s more; down: V and what ran in meanwhile over Q - q, 2 s more
    station = duplex(levels={"start_delay_s": 5.0, "stop_delay_s": 2.0})
    first, stop, then = found(station, ALTERNATION).expected[:3]
    q, net, volume = 0.015, 0.015, 10.0
    assert first.after_s == pytest.approx(volume / q + 5.0)
    assert first.level_m == pytest.approx(2.0 + 5.0 * q / 10.0)
    assert stop.gap_s == pytest.approx((volume + 5.0 * q) / net + 2.0)
    assert stop.level_m == pytest.approx(1.0 - 2.0 * net / 10.0)
    assert then.gap_s == pytest.approx((volume + 2.0 * net) / q + 5.0)
    assert (first.subject, then.subject) == ("P1", "P2")


def test_every_pump_of_three_leads_twice_in_turn():
    one = found(triplex(), ALTERNATION)
    starts = [event.subject for event in one.expected if event.event == "start"]
    assert starts == ["P1", "P2", "P3"] * 2
    assert all(event.cause == "level at lead start 2.00 m" for event in one.expected[::2])


def test_a_fixed_order_is_tested_as_one():
    sequences, _ = sequences_of(duplex(rotation="fixed"), MONDAY)
    one = sequences[0]
    assert one.name == "fixed order over two cycles"
    assert course(one) == [("P1", "start"), ("P1", "stop")] * 2


def test_by_run_hours_the_pump_with_the_fewest_leads():
    # own arithmetic: falls of 10 m3 at 30 - 12, 24 - 12 and 36 - 12 L/s last 556, 833 and 417 s;
    # after one round P3 has fewest; then 556, 833 and 833 s stand: P1 is next, and then P2 by order
    station = triplex((0.030, 0.024, 0.036), rotation="run hours")
    one = found(station, ALTERNATION)
    assert one.inflow_m3s == pytest.approx(0.012)
    starts = [event.subject for event in one.expected if event.event == "start"]
    assert starts == ["P1", "P2", "P3", "P3", "P1", "P2"]
    assert any("hour meters" in step for step in one.how)


def test_by_shares_the_pump_furthest_behind_leads_and_one_without_a_share_never_does():
    plan = triplex().control
    shares = ControlPlan(plan.controller, plan.settings, "shares", SharesSettings("75/25/0"))
    one = found(triplex(control=shares), "alternation")  # P2 leads once: these are no two rounds
    # two of them take part, so four cycles; runs of one length: 1/75 is less than 1/25
    starts = [event.subject for event in one.expected if event.event == "start"]
    assert starts == ["P1", "P2", "P1", "P1"]
    assert one.purpose.endswith("leads each time: P1, P2, P1 (2 cycles).")
    alone = ControlPlan(plan.controller, plan.settings, "shares", SharesSettings("0/1/0"))
    assert "P2 alone" in left_out(triplex(control=alone))["alternation"]


def test_a_weak_pump_keeps_the_lead_by_run_hours_and_that_is_not_called_two_rounds():
    # own arithmetic: falls of 10 m3 at 18 - 9 L/s last 1111 s, at 60 - 9 L/s 196 s each: after one
    # run of P1 it takes P2 six runs to have as many hours
    one = found(duplex((0.018, 0.060), rotation="run hours"), "alternation")
    assert one.inflow_m3s == pytest.approx(0.009)
    starts = [event.subject for event in one.expected if event.event == "start"]
    assert starts == ["P1", "P2", "P2", "P2"]
    assert one.purpose == "The pump with the fewest run hours leads each time: P1, P2 (3 cycles)."


def test_two_rounds_by_a_quick_clock_are_waited_for():
    # each cycle takes 1333 s, the lead changes each 1800 s
    one = found(duplex(rotation="clock", every_s=1800.0), ALTERNATION)
    starts = {event.subject for event in one.expected if event.event == "start"}
    assert starts == {"P1", "P2"}
    assert one.duration_s >= 4.0 * 1800.0
    # own arithmetic: starts at 667, 2000, 3333, 4667, 6000, 7333 s; the order moves on at 1800 s,
    # at the stop at 4000 s (3600 s falls into a run), at 5400 and at 7200 s
    starts = [event.subject for event in one.expected if event.event == "start"]
    assert starts == ["P1", "P2", "P2", "P1", "P2", "P1"]
    assert "P1, P2 (2 cycles), P1, P2, P1" in one.purpose
    assert any("clock of the panel to 00:00" in step for step in one.how)


def test_a_clock_that_moves_on_by_whole_rounds_in_a_cycle_shows_no_alternation():
    # each 667 s: twice in a cycle of 1333 s, so that the same pump of two leads again
    reasons = left_out(duplex(rotation="clock", every_s=2000.0 / 3.0 - 0.01))
    assert "would lead each of its 4 cycles" in reasons["alternation"]


@pytest.mark.parametrize("every_s", [60.0, 600.0, 1000.0, 1800.0, 3600.0, 3700.0])
@pytest.mark.parametrize("rotation", ["clock", "run hours", "shares", "each cycle"])
def test_two_rounds_are_so_called_only_where_each_pump_has_its_turn_twice(rotation, every_s):
    for station in (duplex((0.02, 0.05)), triplex((0.02, 0.05, 0.04))):
        plan = station.control
        given = {"clock": ClockSettings(every_s), "shares": SharesSettings()}.get(rotation)
        control = ControlPlan(plan.controller, plan.settings, rotation, given or NoSettings())
        sequences, reasons = sequences_of(replace(station, control=control), MONDAY)
        one = sequences[0]
        if one.name == LAG:
            assert "no change of the lead" in dict(reasons)["alternation"]
            continue
        leads = [event.subject for event in one.expected if event.event == "start"]
        assert len(set(leads)) > 1
        turns = [lead for n, lead in enumerate(leads) if n == 0 or leads[n - 1] != lead]
        if one.name == ALTERNATION:
            names = [pump.name for pump in station.pumps]
            twice = all(leads.count(name) == 2 for name in names)
            assert twice or all(turns[: 2 * len(names)].count(name) == 2 for name in names)
        else:
            assert all(lead in one.purpose for lead in leads)
            assert "rounds" not in one.purpose


def test_by_a_slow_clock_one_change_is_tested_with_the_clock_of_the_panel_set_on():
    plan = duplex().control
    daily = ControlPlan(plan.controller, plan.settings, "clock", ClockSettings(86_400.0, 21_600.0))
    one = found(duplex(control=daily), "change of the lead by the clock")
    assert course(one) == [("P1", "start"), ("P1", "stop"), ("P2", "start"), ("P2", "stop")]
    assert one.purpose == "The lead changes at the set time: P1, P2."
    begins = one.result.episode.start
    assert f"{begins:%H:%M}" in " ".join(one.how)
    # 06:00 falls between the stop of the first cycle and the start of the second
    to_six_s = (begins.replace(hour=6, minute=0) - begins).total_seconds()
    assert one.expected[1].after_s < to_six_s < one.expected[2].after_s


def test_a_clock_that_does_not_come_round_on_the_day_is_left_out():
    weekly = duplex(rotation="clock", every_s=7.0 * 86_400.0)
    assert "every 168 h" in left_out(weekly)["change of the lead by the clock"]


# ---------------------------------------------------------------------- all calls


def test_from_above_all_start_levels_pumps_start_by_the_stagger_and_stop_together():
    one = found(triplex(levels={"stagger_s": 10.0}), LAG)
    assert one.start_level_m == pytest.approx(2.83)
    hands = [event for event in one.expected if event.by_crew]
    assert [(event.subject, event.after_s) for event in hands] == [
        ("P1", 10.0), ("P2", 12.0), ("P3", 14.0),
    ]  # fmt: skip
    assert all(math.isinf(event.tolerance_s) for event in hands)
    starts = [event for event in one.expected if event.event == "start"]
    assert [(event.subject, event.after_s) for event in starts] == [
        ("P1", 10.0), ("P2", 20.0), ("P3", 30.0),
    ]  # fmt: skip
    # own arithmetic: 28.3 m3, 30 s at 15 L/s in, less 10 s of 30 and 10 s of 60 L/s; to 10 m3
    at_30 = 28.3 + 30.0 * 0.015 - 10.0 * 0.030 - 10.0 * 0.060
    stop_s = 30.0 + (at_30 - 10.0) / (0.090 - 0.015)
    stops = [event for event in one.expected if event.event == "stop"]
    assert [event.subject for event in stops] == ["P3", "P2", "P1"]
    assert [event.after_s for event in stops] == pytest.approx([stop_s] * 3)


def test_a_start_delay_in_a_small_well_is_over_before_the_selectors_are_turned():
    # on 0.5 m2 the lead alone draws 3 cm/s: a start level that was reached only just before the
    # selectors are turned would be left again before its 20 s are over
    station = duplex(levels={"start_delay_s": 20.0}, well=Well((box(0.5, 1.0),)))
    one = found(station, LAG)
    starts = [(e.subject, e.after_s) for e in one.expected if e.event == "start"]
    assert starts == [("P1", 30.0), ("P2", 32.0)]
    # own arithmetic: 2.50 m must be reached 10 s after the beginning, at 15 L/s
    assert one.start_level_m + 10.0 * 0.015 / 0.5 >= 2.5


@pytest.mark.parametrize(("stagger_s", "above_m"), [(4.0, 0.05), (7.0, 0.15), (15.0, 0.40)])
def test_the_well_is_filled_as_high_as_the_stagger_needs(stagger_s, above_m):
    # own arithmetic: down at 30 - 15 L/s on 0.5 m2, 3 cm/s, to the stop of the lag at 2.40 m:
    # from 2.55, 2.65 and 2.90 m that takes 5.0, 8.3 and 16.7 s
    one = found(_quick(stagger_s), LAG)
    assert one.start_level_m == pytest.approx(2.5 + above_m - 10.0 * 0.015 / 0.5)
    starts = [(e.subject, e.after_s) for e in one.expected if e.event == "start"]
    assert starts == [("P1", 10.0), ("P2", 10.0 + stagger_s)]
    again = found(_quick(stagger_s), RESTART)
    assert {e.subject for e in again.expected if e.event == "start"} == {"P1", "P2"}


def test_where_the_lead_would_always_be_quicker_than_the_stagger_nothing_is_claimed():
    reasons = left_out(_quick(18.0))
    for name in (LAG, RESTART):
        assert "before the last of those that the start levels call for" in reasons[name]


def _quick(stagger_s: float) -> Station:
    levels = {"stagger_s": stagger_s, "stop_policy": "last on, first off", "lag_stop_m": 2.4}
    return duplex(levels=levels, well=Well((box(0.5, 1.0),)))


def test_no_call_that_the_crew_itself_leaves_unanswered_is_expected_of_a_log():
    for name in (LAG, "high-level alarm"):
        one = found(triplex(), name)
        refused = [row for row in one.result.trace.events if row.event == "start refused"]
        assert max(row.t_s for row in refused) >= 10.0  # as P1 stands in auto, and P2 not yet
        assert "start refused" not in {event.event for event in one.expected}


def test_with_enough_water_each_start_level_is_passed():
    # own arithmetic, 10 m2: from 1.97 m at 90 L/s; then 5 m3 at 90 - 30, 3 m3 at 90 - 60 L/s
    one = found(planned(triplex(), water_m3s=0.090), LAG)
    starts = [event for event in one.expected if event.event == "start"]
    assert [event.level_m for event in starts] == [2.0, 2.5, 2.8]
    assert [event.gap_s for event in starts] == pytest.approx([0.3 / 0.09, 5.0 / 0.06, 3.0 / 0.03])
    shut_s = water_until_s(one)
    assert shut_s == math.ceil(starts[-1].after_s - 1e-6) + 20.0
    # with three running and the water on the level stands at 2.80 m; then 18 m3 at 90 L/s
    assert one.expected[-1].after_s == pytest.approx(shut_s + 18.0 / 0.09)
    assert one.water_m3 == pytest.approx(0.090 * shut_s)


def test_water_that_hardly_gains_on_the_pumps_is_not_used_to_pass_the_levels():
    one = found(planned(triplex(), water_m3s=0.070), LAG)
    assert one.events
    assert one.inflow_m3s == pytest.approx(0.015)
    assert any("throttle" in step for step in one.how)


def test_staged_stops_come_each_at_its_level():
    levels = {
        "stop_policy": "last on, first off", "lag_stop_m": 1.4, "standby_stop_m": 1.8,
    }  # fmt: skip
    stops = [e for e in found(triplex(levels=levels), LAG).expected if e.event == "stop"]
    assert [(e.subject, e.level_m) for e in stops] == [("P3", 1.8), ("P2", 1.4), ("P1", 1.0)]
    # own arithmetic: 4 m3 at 60 - 15 L/s, 4 m3 at 30 - 15 L/s
    assert [e.gap_s for e in stops[1:]] == pytest.approx([4.0 / 0.045, 4.0 / 0.015])


# ---------------------------------------------------------------------- fail-over


@pytest.mark.parametrize(
    ("name", "first", "last"),
    [
        ("lead out of service", "off", "in auto"),
        ("lead trips on overload", "trip", "reset"),
        ("lead too hot", "trip", "reset"),
    ],
)
def test_when_the_lead_fails_the_next_pump_takes_its_place_at_once(name, first, last):
    one = found(triplex(), name)
    said = [("P1", "start"), ("P1", first), ("P1", "stop"), ("P2", "start"), ("P1", last)]
    assert course(one) == said
    # own arithmetic: 0.3 m3 at 15 L/s; 20 s later the lead is made to fail
    assert times(one) == pytest.approx([20.0, 40.0, 40.0, 40.0, 70.0], abs=1e-6)
    assert at(one, "P2", "start").cause == "takes the place of P1"
    assert [event.by_crew for event in one.expected] == [False, True, False, False, True]
    assert at(one, "P1", "stop").tolerance_s == 2.0


def test_an_alarm_that_tells_of_a_trip_is_one_thing_with_it():
    trip = at(found(triplex(), "lead trips on overload"), "P1", "trip")
    assert trip.also == ("alarm raised: pump failed",)
    assert trip.told_by("P1", "trip")
    assert trip.told_by("P1", "alarm raised: pump failed")
    assert trip.told_by("P1", "alarm raised")
    assert not trip.told_by("P1", "alarm raised: high temperature")
    assert not trip.told_by("P2", "trip")


def test_a_motor_that_resets_itself_needs_no_hand():
    heat = MotorHeat(20.0, 85.0, 2700.0, 6600.0, trip_c=130.0, reset_c=80.0)
    station = triplex()
    pumps = tuple(replace(pump, motor_heat=heat) for pump in station.pumps)
    reset = at(found(replace(station, pumps=pumps), "lead too hot"), "P1", "reset")
    assert reset.cause == "by itself"
    latched = tuple(replace(pump, most_resets=0) for pump in pumps)
    reset = at(found(replace(station, pumps=latched), "lead too hot"), "P1", "reset")
    assert reset.cause == "by hand"


def test_a_seal_leak_only_warns_or_stops_the_pump():
    warns = found(triplex(), "seal leak of the lead")
    assert course(warns) == [
        ("P1", "start"), ("P1", "seal leak"), ("P1", "alarm cleared: seal leak"),
    ]  # fmt: skip
    stops = found(triplex(seal_leak="stop"), "seal leak of the lead")
    assert course(stops)[1:4] == [("P1", "seal leak"), ("P1", "stop"), ("P2", "start")]


def test_a_lead_that_gives_no_run_signal_is_waited_for_and_then_replaced():
    station = triplex(levels={"stagger_s": 4.0})
    pumps = tuple(replace(pump, fail_to_start_s=6.0) for pump in station.pumps)
    one = found(replace(station, pumps=pumps), "lead does not start")
    assert course(one)[:3] == [("P1", "no run signal"), ("P1", "trip"), ("P2", "start")]
    assert times(one)[:3] == pytest.approx([20.0, 26.0, 26.0], abs=1e-6)
    assert at(one, "P1", "trip").tolerance_s == 2.0


def test_a_short_run_is_cut_in_its_first_quarter():
    # 0.02 m x 10 m2 at 30 - 15 L/s lasts 13 s: the lead must fail before it stops by itself
    one = found(triplex(levels={"stop_m": 1.98}), "lead out of service")
    assert course(one)[1] == ("P1", "off")
    assert one.expected[1].after_s - one.expected[0].after_s <= 4.0


# ---------------------------------------------------------------------- the supply


def test_the_engine_driven_pump_pumps_when_its_level_is_reached_and_it_has_run_up():
    alarms = AlarmSettings(high_level_m=3.0, power_failed_delay_s=30.0)
    engine = engine_pump(crank_s=5.0, warm_up_s=8.0, prime_s=7.0, start_delay_s=10.0)
    one = found(triplex(engine_pump=engine, alarms=alarms), POWER)
    # own arithmetic: 20.0 m3 at 20 s, 20 s at 15 L/s down; the grid is lost at 40 s
    at_loss = 20.0 - 20.0 * 0.015
    high_s = 40.0 + (30.0 - at_loss) / 0.015
    called_s = 40.0 + (32.0 - at_loss) / 0.015
    assert [(e.subject, e.event) for e in one.on_site] == [("E1", "engine called")]
    assert one.on_site[0].after_s == pytest.approx(called_s)
    runs = at(one, "E1", "start")
    assert runs.after_s == pytest.approx(called_s + 10.0 + 5.0 + 8.0 + 7.0)
    assert at(one, "station", "alarm raised: power failed").after_s == pytest.approx(70.0)
    assert at(one, "station", "alarm raised: high level").after_s == pytest.approx(high_s)
    back = at(one, "grid", "grid back")
    assert back.by_crew
    assert back.after_s == math.ceil(runs.after_s - 1e-6) + 60.0
    # it runs on to its stop level, and the electric pumps beside it to theirs
    order = [event.subject for event in one.expected if event.event == "stop"]
    assert order == ["P1", "E1", "P1", "P3", "P2"]
    assert at(one, "E1", "stop").level_m == 1.2


def test_an_engine_that_stops_at_the_return_of_the_grid_does():
    one = found(triplex(engine_pump=engine_pump(at_grid_return="stop")), POWER)
    stop = at(one, "E1", "stop")
    assert (stop.cause, stop.after_s) == ("grid back", at(one, "grid", "grid back").after_s)


def test_without_an_engine_the_alarm_comes_and_the_next_pump_runs_after_the_return():
    levels = {"restart_delay_s": 12.0}
    alarms = AlarmSettings(power_failed_delay_s=60.0)
    one = found(duplex(levels=levels, alarms=alarms), POWER)
    assert course(one) == [
        ("P1", "start"), ("grid", "grid lost"), ("P1", "stop"),
        ("station", "alarm raised: power failed"), ("grid", "grid back"),
        ("station", "alarm cleared: power failed"), ("P2", "start"), ("P2", "stop"),
    ]  # fmt: skip
    assert times(one)[:7] == pytest.approx([20.0, 40.0, 40.0, 100.0, 130.0, 130.0, 142.0])


def test_after_the_return_pumps_restart_in_order_after_the_delay_and_apart():
    levels = {"restart_delay_s": 15.0, "restart_stagger_s": 8.0, "stagger_s": 3.0}
    # the water stands above its start level, so that only its selector holds it
    engine = engine_pump(start_level_m=2.4, start_delay_s=5.0)
    one = found(triplex(levels=levels, engine_pump=engine), RESTART)
    back_s = at(one, "grid", "grid back").after_s
    starts = [event for event in one.expected if event.event == "start"]
    assert [event.subject for event in starts] == ["P1", "P2", "P3"]
    assert [event.after_s - back_s for event in starts] == pytest.approx([15.0, 23.0, 31.0])
    assert one.expected[0].event == "grid back"  # what comes before it is preparation
    assert any("E1 in off" in step for step in one.how)
    assert any("E1 to auto again" in step for step in one.how)
    assert "E1" not in {event.subject for event in one.expected}


def test_a_short_break_after_the_return_belongs_to_the_sequence():
    station = triplex(return_break=ReturnBreak(30.0, 2.0), levels={"stagger_s": 5.0})
    lost = [e for e in found(station, RESTART).expected if e.event == "grid lost"]
    assert [event.cause for event in lost] == ["short break after the return"]


# ---------------------------------------------------------------------- alarms and floats


def test_the_high_level_alarm_comes_after_its_delay():
    alarms = AlarmSettings(high_level_m=3.0, high_level_delay_s=10.0)
    one = found(triplex(alarms=alarms), "high-level alarm")
    # own arithmetic: 2.94 m is 40 s of 15 L/s on 10 m2 below 3.00 m
    assert one.start_level_m == pytest.approx(2.94)
    raised = at(one, "station", "alarm raised: high level")
    assert raised.after_s == pytest.approx(50.0)
    assert raised.level_m == pytest.approx(3.015)
    cleared = at(one, "station", "alarm cleared: high level")
    assert cleared.level_m == 3.0
    assert cleared.by_crew  # how soon it goes hangs on how soon the selectors are turned


def test_the_high_level_alarm_is_expected_however_long_the_start_delay():
    alarms = AlarmSettings(high_level_m=3.0, high_level_delay_s=10.0)
    one = found(triplex(alarms=alarms, levels={"start_delay_s": 300.0, "stop_m": 2.6,
        "lead_start_m": 2.65, "lag_start_m": 2.7}), "high-level alarm")  # fmt: skip
    # own arithmetic: it begins at the stop level, 4 m3 below the alarm, at 15 L/s: before the
    # start levels would have been found reached
    raised = at(one, "station", "alarm raised: high level")
    assert raised.after_s == pytest.approx(4.0 / 0.015 + 10.0)
    assert raised.after_s < 300.0
    assert one.expected[0] == raised


def test_the_low_level_alarm_comes_by_a_pump_in_hand():
    alarms = AlarmSettings(low_level_m=0.5, low_level_delay_s=4.0)
    one = found(triplex(alarms=alarms), "low-level alarm")
    raised = at(one, "station", "alarm raised: low level")
    volume = 10.0 * (one.start_level_m - 0.5)
    assert raised.after_s == pytest.approx(volume / 0.015 + 4.0)
    assert course(one)[0] == ("P1", "in hand")
    assert course(one)[-1] == ("station", "alarm cleared: low level")


def test_without_a_level_signal_the_floats_start_and_stop_the_pumps():
    floats = BackupSettings(start_m=2.9, stop_m=0.6, lag_delay_s=60.0)
    one = found(triplex(backup_floats=floats), FLOATS)
    lost = at(one, "level sensor", "level signal lost")
    assert lost.by_crew
    assert lost.also == ("alarm raised: level signal failed",)
    # own arithmetic: from 1.97 m up to the float at 15 L/s; down at 30 - 15 L/s to the other one
    start, stop = at(one, "P1", "start"), at(one, "P1", "stop")
    assert (start.cause, stop.cause) == ("backup start float", "backup stop float")
    assert start.after_s == pytest.approx((29.0 - 19.7) / 0.015)
    assert stop.gap_s == pytest.approx((29.0 - 6.0) / 0.015)
    assert course(one)[-1] == ("level sensor", "level signal trusted")


# ---------------------------------------------------------------------- what cannot be done


def test_what_a_station_cannot_do_is_left_out_with_a_reason():
    reasons = left_out(tank())
    assert reasons[ALTERNATION] == "there is one electric pump: it always leads"
    assert reasons["fail-over of the lead"] == "there is one electric pump: none can take over"
    assert reasons[LAG] == "there is one start level"
    assert reasons["high-level alarm"] == "there is no high-level alarm"
    assert reasons["low-level alarm"] == "there is no low-level alarm"
    assert reasons[FLOATS] == "there are no backup floats"
    assert [one.name for one in sequences_of(tank(), MONDAY)[0]] == [POWER, RESTART]


def test_water_that_goes_back_to_the_well_leaves_out_all():
    sequences, reasons = sequences_of(planned(duplex(), water_goes="back to the well"), MONDAY)
    assert sequences == []
    assert "does not fall" in reasons[0][1]


def test_a_controller_that_names_no_start_levels_leaves_out_all():
    control = replace(duplex().control, controller="plug_ins:Scanning", settings=ScanSettings())
    sequences, reasons = sequences_of(duplex(control=control), MONDAY)
    assert sequences == []
    assert "plug_ins:Scanning" in reasons[0][1]


def test_what_would_take_longer_than_a_day_of_work_is_left_out():
    assert "longer than 12 h" in left_out(planned(duplex(), water_m3s=0.0002))[ALTERNATION]


def test_a_sequence_that_would_spill_or_run_dry_by_its_own_script_is_left_out():
    # the engine is called at 3.2 m, and until it pumps 15 L/s rise to the spill at 3.25 m
    spills = triplex(engine_pump=engine_pump(), spillway=Spillway(3.25))
    assert left_out(spills)[POWER] == "the water would reach the spill on the way"
    # 20 s of delay at 15 L/s on 10 m2 are 3 cm, and the alarm stands 1 cm above the floor
    dry = triplex(alarms=AlarmSettings(low_level_m=0.01, low_level_delay_s=20.0))
    assert "pumped down to the floor" in left_out(dry)["low-level alarm"]


def test_a_spill_at_the_highest_start_level_leaves_no_room_above_it():
    assert "does not lie below the spill" in left_out(triplex(spillway=Spillway(2.8)))[LAG]


# ---------------------------------------------------------------------- all stations


@pytest.fixture(scope="module", params=SCENARIOS, ids=lambda path: path.stem)
def shipped(request) -> tuple[Station, list[PanelTest], list[tuple[str, str]]]:
    station, episode = load_scenario(request.param)
    return station, *sequences_of(station, episode.start)


def test_no_sequence_spills_or_runs_the_well_empty(shipped):
    station, sequences, _ = shipped
    assert len(sequences) >= 10
    for one in sequences:
        trace = one.result.trace
        assert not trace.spills, one.name
        assert trace.spilled_m3 == 0.0
        assert not {"spill begins", "well empty"} & {row.event for row in trace.events}
        assert station.spillway is None or trace.greatest_level_m < station.spillway.crest_m
        assert trace.least_level_m > 0.0


def test_the_water_of_a_sequence_balances(shipped):
    station, sequences, _ = shipped
    volume_at = station.well.volume_at
    for one in sequences:
        assert one.water_m3 == pytest.approx(
            one.inflow_m3s * min(one.duration_s, water_until_s(one))
        )
        kept = volume_at(one.end_level_m) - volume_at(one.start_level_m)
        assert one.water_m3 - one.pumped_m3 == pytest.approx(kept, abs=1e-6)


def test_only_what_the_panel_shows_is_expected_in_order_and_in_known_words(shipped):
    _, sequences, reasons = shipped
    names = [one.name for one in sequences]
    assert len(set(names)) == len(names)
    assert all(why for _name, why in reasons)
    for one in sequences:
        assert one.expected, one.name
        assert [event.n for event in one.expected] == list(range(1, len(one.expected) + 1))
        before = 0.0
        for event in one.expected:
            assert vocabulary.seen_by(event.event) in ("panel", "alarm")
            assert event.gap_s == pytest.approx(event.after_s - before, abs=1e-9)
            assert event.gap_s >= 0.0
            if not event.by_crew:
                assert event.tolerance_s == max(2.0, 0.1 * event.gap_s)
            before = event.after_s
        assert before <= one.duration_s
        assert 2 <= len(one.how) <= 5, one.how
        assert one.purpose.endswith(".")
        assert all(step.endswith(".") for step in one.how)


PANEL_WORK = re.compile(r"relay|circuit|breaker|probe|disconnect|terminals|connects it")


def test_work_in_the_panel_is_for_whoever_is_licensed_for_it(shipped):
    station, sequences, _ = shipped
    steps = [step for one in sequences for step in one.how]
    steps += [one.how for one in float_checks(station)]
    inside = [step for step in steps if PANEL_WORK.search(step)]
    assert len(inside) > 2 * len(station.pumps)
    for step in inside:
        assert "licensed" in step or "the same person" in step, step
        assert "bridge" not in step
    for step in steps:
        if "terminals" in step or "resistor" in step:
            assert "isolated" in step, step
        if "opens the main breaker" in step:
            assert "made to break load" in step
        if "close" in step and "breaker" in step:
            assert "everybody clear" in step


def test_water_that_runs_while_no_pump_may_start_has_somebody_at_its_valve(shipped):
    _, sequences, _ = shipped
    held = [one for one in sequences if any(event.kind == "off" for event in one.events)]
    held = [one for one in held if one.events[0].at_s == 0.0]
    assert held
    for one in held:
        assert any("at its valve" in step for step in one.how), one.name


def test_the_cautions_fit_on_a_sheet():
    assert len(CAUTIONS) <= 10
    told = " ".join(CAUTIONS)
    for word in ("permit", "lock out", "licensed", "backflow", "plug", "control room", "in hand"):
        assert word in told
    assert len(FOOTER) <= 150


def test_every_pump_that_rotates_leads(shipped):
    station, sequences, _ = shipped
    starts = [event.subject for event in sequences[0].expected if event.event == "start"]
    if station.control.rotation == "fixed":
        assert set(starts) == {"P1"}
    else:
        assert set(starts) == {pump.name for pump in station.pumps}


@settings(max_examples=60)
@given(stations())
def test_all_pumps_that_the_start_levels_call_for_start_or_the_sequence_is_left_out(station):
    sequences, reasons = sequences_of(station, MONDAY)
    called = min(len(station.pumps), len(station.control.settings.stages()))
    electric = {pump.name for pump in station.pumps}
    told = {one.name for one in sequences} | {name for name, _why in reasons}
    assert {LAG, RESTART} <= told
    for one in sequences:
        if one.name in (LAG, RESTART):
            starts = {e.subject for e in one.expected if e.event == "start"} & electric
            assert len(starts) >= called, one.name


@settings(max_examples=60)
@given(stations())
def test_no_sequence_of_any_station_spills_or_runs_it_empty(station):
    sequences, reasons = sequences_of(station, MONDAY)
    assert all(why for _name, why in reasons)
    for one in sequences:
        seen = {row.event for row in one.result.trace.events}
        assert not {"spill begins", "well empty"} & seen
        assert one.expected
        assert one.expected[-1].after_s <= one.duration_s
        kept = station.well.volume_at(one.end_level_m) - station.well.volume_at(one.start_level_m)
        assert one.water_m3 - one.pumped_m3 == pytest.approx(kept, abs=1e-6)


def test_the_tolerances_of_the_plan_count():
    one = found(planned(duplex(), time_tolerance_s=7.0, time_part=0.05), ALTERNATION)
    tolerances = [event.tolerance_s for event in one.expected]
    assert tolerances == pytest.approx([0.05 * 2000.0 / 3.0] * len(tolerances))
    assert at(found(planned(duplex(), time_tolerance_s=7.0), LAG), "P1", "start").tolerance_s == 7.0


def test_sequences_of_a_triplex_are_quick():
    # counted, not timed: a sequence is a few dozen looks ahead, and none is run more than twice
    sequences, _ = sequences_of(triplex(), MONDAY)
    assert sum(one.result.trace.advances for one in sequences) < 400
    assert sum(one.result.trace.decisions for one in sequences) < 250


def test_the_day_and_its_offset_are_kept():
    start = datetime(2028, 2, 29, 9, 30, tzinfo=UTC)
    assert found(duplex(), ALTERNATION, start).result.episode.start == start


# ---------------------------------------------------------------------- set-points


def test_each_set_point_acts_at_its_level_within_the_tolerance():
    station = planned(
        triplex(
            engine_pump=engine_pump(),
            backup_floats=BackupSettings(start_m=2.9, stop_m=0.6),
            alarms=AlarmSettings(high_level_m=3.0, low_level_m=0.5),
            inlet_invert_m=3.3,
        ),
        level_tolerance_m=0.03,
    )
    checks = float_checks(station)
    acts = {one.subject: one for one in checks if one.what == "acts at level"}
    assert {name: one.expected for name, one in acts.items()} == {
        "lead start": 2.0, "lag start": 2.5, "standby start": 2.8, "stop": 1.0,
        "engine start": 3.2, "engine stop": 1.2, "backup start float": 2.9,
        "backup stop float": 0.6, "high-level alarm": 3.0, "low-level alarm": 0.5,
    }  # fmt: skip
    for one in acts.values():
        assert (one.low, one.high) == pytest.approx((one.expected - 0.03, one.expected + 0.03))
        assert one.uncertainty == 0.005
    falling = {name for name, one in acts.items() if "fall" in one.how}
    assert falling == {"stop", "engine stop", "backup stop float", "low-level alarm"}


def test_floats_and_alarms_are_asked_for_by_name_once():
    checks = float_checks(triplex(backup_floats=BackupSettings(start_m=2.9, stop_m=0.6)))
    names = [one.name for one in checks]
    assert len(set(names)) == len(names)
    assert "float: backup start float acts" in names
    asked = [one for one in checks if one.what == "yes or no"]
    assert {(one.expected, one.low, one.high) for one in asked} == {(1.0, 1.0, 1.0)}
    assert sum("reaches the call-out" in name for name in names) == 3 + 3 * 3
    assert "alarm: seal leak of P3 reaches the call-out" in names
    assert "alarm: low level reaches the call-out" not in names
    assert not any("engine" in name for name in names)
    with_engine = [one.name for one in float_checks(triplex(engine_pump=engine_pump()))]
    assert "alarm: engine failed of E1 reaches the call-out" in with_engine

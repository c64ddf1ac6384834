from __future__ import annotations

import dataclasses
import time

import handmade
import numpy as np
import pandas as pd
import pytest
import station_strategies
from hypothesis import given, settings
from hypothesis import strategies as st

from stationsim import metrics
from stationsim.inflow.segments import Segments
from stationsim.metrics.course import LEAST_FOUND_WITHIN_S
from stationsim.physics.well import Well, box
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.trace import Trace

DAY_S = 86_400.0


def runs(*rows: tuple[str, str, float, float]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["pump", "role", "start_s", "stop_s"])
    table["duration_s"] = table["stop_s"] - table["start_s"]
    table["volume_m3"] = 0.03 * table["duration_s"]
    table["energy_kwh"] = 0.005 * table["duration_s"]
    return table


@pytest.mark.parametrize(
    ("times", "worst"),
    [
        ([], 0),
        ([5.0], 1),
        ([0.0, 900.0, 1800.0, 2700.0, 3600.0], 4),  # the fifth is exactly an hour later
        ([0.0, 900.0, 1800.0, 2700.0, 3599.9], 5),
        ([1800.0, 3000.0, 3590.0, 3610.0, 5300.0], 5),  # astride of a clock hour: 3 and 2 there
        ([0.0, 4000.0, 8000.0], 1),
    ],
)
def test_worst_in_window_counts_any_sliding_hour(times, worst):
    assert metrics.worst_in_window(np.array(times)) == worst


@given(st.lists(st.integers(0, 20_000), max_size=60))
def test_worst_in_window_agrees_with_counting_one_by_one(whole):
    times = np.sort(np.array(whole, dtype=float))
    plain = max((sum(t <= u < t + 3600.0 for u in times) for t in times), default=0)
    assert metrics.worst_in_window(times) == plain


def test_pump_totals_of_known_runs():
    table = runs(
        ("P1", "lead", 100.0, 700.0),
        ("P2", "lead", 1000.0, 1300.0),
        ("P1", "lag", 900.0, 1900.0),
        ("P1", "lead", 8000.0, 8060.0),
    )
    totals = metrics.pump_totals(table, ["P1", "P2", "P3"], [2, 0, 0], [0.0, 1800.0, 0.0])
    p1, p2, p3 = (totals.iloc[i] for i in range(3))
    assert p1["hours_h"] == pytest.approx(1660.0 / 3600.0, rel=1e-12)
    assert (p1["starts"], p1["max_starts_per_hour"], p1["trips"]) == (3, 2, 2)
    assert (p1["shortest_off_s"], p1["longest_run_s"]) == (200.0, 1000.0)
    assert p1["volume_m3"] == pytest.approx(49.8, rel=1e-12)
    assert p2["unavailable_h"] == 0.5
    assert np.isnan(p2["shortest_off_s"])
    assert (p3["starts"], p3["hours_h"], p3["max_starts_per_hour"]) == (0, 0.0, 0)
    assert np.isnan(p3["longest_run_s"])


def test_cycles_count_starts_of_leads_only():
    table = runs(
        ("P1", "lead", 0.0, 10.0),
        ("P2", "lag", 5.0, 10.0),
        ("P2", "lead", 100.0, 110.0),
        ("P1", "lead", 250.0, 300.0),
    )
    assert metrics.cycles_s(table).tolist() == [100.0, 150.0]


def test_seconds_by_number_tile_the_run():
    table = runs(("P1", "lead", 10.0, 60.0), ("P2", "lag", 30.0, 60.0), ("P3", "lead", 60.0, 70.0))
    by_number = metrics.seconds_by_number(table, 100.0)
    assert by_number == {0: 40.0, 1: 30.0, 2: 30.0}


def test_one_pump_taking_over_at_an_instant_is_never_two():
    table = runs(("P1", "lead", 0.0, 50.0), ("P2", "lead", 50.0, 80.0))
    _, counts = metrics.running_over_time(table)
    assert counts.max() == 1


def test_longest_not_run_counts_before_the_first_and_after_the_last_run():
    table = runs(("P1", "lead", 300.0, 400.0), ("P1", "lead", 500.0, 600.0))
    assert metrics.longest_not_run_s(table, "P1", 1500.0) == 900.0
    assert metrics.longest_not_run_s(table, "P1", 700.0) == 300.0
    assert metrics.longest_not_run_s(table, "P2", 700.0) == 700.0


def storm_week() -> Result:
    """A week whose storm is more than one pump lifts: the water turns within legs."""
    return handmade.March(
        handmade.station(2, 0.012), handmade.daily(7, 0.008, storm_at_s=3 * DAY_S), 7 * DAY_S
    ).result()


def by_the_half_second(result: Result) -> tuple[np.ndarray, np.ndarray]:
    times = np.append(np.arange(0.0, result.trace.end_s, 0.5), result.trace.end_s)
    return times, result.sampled(times).volume_m3


def test_the_water_only_falls_rises_or_stands_between_knots():
    result = storm_week()
    knots, at_knots = result.course.knots
    assert len(knots) > len(result.course.t_s)  # some legs were looked into
    times, volumes = by_the_half_second(result)
    which = np.clip(np.searchsorted(knots, times, "right") - 1, 0, len(knots) - 2)
    low = np.minimum(at_knots[which], at_knots[which + 1])
    high = np.maximum(at_knots[which], at_knots[which + 1])
    assert np.all((volumes >= low - 1e-9) & (volumes <= high + 1e-9))


@pytest.mark.parametrize("level_m", [0.9, 1.4, 1.51, 1.75, 1.9])
def test_seconds_above_agree_with_counting_every_half_second(level_m):
    result = storm_week()
    _times, volumes = by_the_half_second(result)
    counted = 0.5 * np.sum(volumes[:-1] >= level_m * handmade.AREA_M2)
    begins, ends = result.course.spans_above(level_m)
    assert np.all(begins[1:] > ends[:-1])
    # each crossing lies anywhere in its half second
    assert result.course.seconds_above(level_m) == pytest.approx(counted, abs=0.5 * len(begins) + 1)
    assert result.course.seconds_above(0.0) == 7 * DAY_S
    assert result.course.seconds_above(5.0) == 0.0


def test_a_rise_above_the_alarm_within_a_leg_is_seen():
    # the inflow passes what the pump draws and falls again before any other switch:
    # 2 L/s more than 30 L/s at the most, for 900 s in all
    inflow = handmade.straight(
        [0.0, 600.0, 1050.0, 1500.0, 9000.0], [0.030, 0.030, 0.032, 0.030, 0.0]
    )
    station = handmade.station(1, 0.030, high_alarm_m=1.55)
    result = handmade.real(station, inflow, 3000.0, start_level_m=1.5, interval_s=3000.0)
    assert len(result.course.t_s) == 2
    # it rises by 900 s * 1 L/s = 0.1125 m to 1.6125 m; a quarter second of 8 m2 is nothing
    assert result.trace.greatest_level_m == pytest.approx(1.6125, abs=1e-6)
    # above 1.55 m: after 0.4 m3 on the way up, and from there on until it has fallen as far
    up_s = 600.0 + np.sqrt(0.4 * 2.0 * 450.0 / 0.002)
    down_s = 1500.0 + np.sqrt(0.5 * 2.0 * 7500.0 / 0.030)
    above = result.value("hours above high-level alarm") * 3600.0
    assert above == pytest.approx(down_s - up_s, abs=1e-3)


def test_mean_level_agrees_with_the_mean_of_every_half_second():
    result = storm_week()
    times, volumes = by_the_half_second(result)
    levels = volumes / handmade.AREA_M2
    mean = np.sum(np.diff(times) * (levels[1:] + levels[:-1])) / 2.0 / times[-1]
    assert result.value("mean level") == pytest.approx(mean, abs=1e-5)


def test_least_time_to_spill_agrees_with_trying_every_half_second():
    result = storm_week()
    times, volumes = by_the_half_second(result)
    left = result.course.time_to_spill(times, volumes)
    least = result.value("least time to spill")
    assert least <= np.min(left) + LEAST_FOUND_WITHIN_S
    assert least == pytest.approx(np.min(left), abs=0.5)
    at_s = result.value("time of least time to spill")
    found = result.course.time_to_spill(
        np.array([at_s]), result.sampled(np.array([at_s])).volume_m3
    )
    assert found[0] == pytest.approx(least, abs=2e-3)


def test_least_time_to_spill_lies_within_a_leg_when_a_storm_is_coming():
    # one pump draws 30 L/s throughout; the storm passes that from 3000 s to 7000 s, so the moment
    # of the spill comes nearer although pumping holds the level for now
    inflow = handmade.straight(
        [0.0, 2000.0, 4000.0, 6000.0, 8000.0, 20000.0], [0.02, 0.02, 0.039, 0.039, 0.02, 0.0]
    )
    station = handmade.station(1, 0.030, spill_m=6.0)
    result = handmade.real(station, inflow, 12000.0, start_level_m=1.5, interval_s=12000.0)
    at_s = result.value("time of least time to spill")
    assert at_s not in result.course.t_s
    times = np.arange(0.0, 12000.0, 0.25)
    left = result.course.time_to_spill(times, result.sampled(times).volume_m3)
    assert result.value("least time to spill") == pytest.approx(np.min(left), abs=0.06)
    assert at_s == pytest.approx(times[np.argmin(left)], abs=60.0)  # the least is flat


def test_least_time_to_spill_lies_where_rising_pumps_pass_the_inflow_to_come():
    # 80 L/s arrive for 300 s, then 40 L/s; what is drawn grows with the water, from 30 to beyond
    # 40 L/s: until then the spill comes nearer by more than time passes, and from there by less
    inflow = Segments(np.array([0.0, 300.0]), np.array([0.08, 0.04]), np.zeros(2))
    rising = dataclasses.replace(handmade.lineup({0: 0.02}), out_slope=(0.0025,))
    trace = Trace(inflow=inflow, end_s=300.0, greatest_level_m=3.0)
    trace.leg_t_s, trace.leg_v_m3, trace.leg_lineup, trace.lineups = [0.0], [4.0], [0], [rising]
    station = handmade.station(1, spill_m=6.0)
    course = Result(station, handmade.episode(300.0), trace).course
    # V' = 0.06 - 0.0025 V, so V = 24 - 20 exp(-t / 400 s), and 40 L/s are drawn at V = 8 m3
    at_s = 400.0 * np.log(20.0 / 16.0)
    comes_s = 300.0 + (48.0 - 8.0 - 0.08 * (300.0 - at_s)) / 0.04
    least, found_s = course.least_time_to_spill()
    assert least == pytest.approx(comes_s - at_s, abs=LEAST_FOUND_WITHIN_S)
    assert found_s == pytest.approx(at_s, abs=10.0)  # the least is flat
    assert least < np.min(course.time_to_spill(course.t_s, course.v_m3)) - 1.0


def test_no_metric_hangs_on_the_table_interval():
    # a well of one cubic metre between stop and start fills in seconds
    tables = []
    for interval in (1.0, 60.0, 300.0, 3000.0):
        station = dataclasses.replace(handmade.station(2, 0.05), well=Well((box(1.0, 1.0),)))
        inflow = handmade.daily(1, 0.03)
        result = handmade.real(station, inflow, 7200.0, interval_s=interval)
        tables.append(result.summary.set_index(["metric", "subject"])["value"])
    for other in tables[1:]:
        pd.testing.assert_series_equal(other, tables[0], rtol=0.0, atol=0.0)
    # the water stands highest when the pump starts, at 1.5 m of the 2.9 m; then 1.4 m3 are left
    most = handmade.daily(1, 0.03).at(np.array([7200.0]))[0]
    assert 1.4 / 0.08 < tables[0]["least time to spill", "station"] < 1.4 / most + 60.0


def test_a_run_that_spilled_had_no_time_left_when_it_began():
    result = handmade.real(handmade.station(1, 0.01), handmade.constant(0.02), 7200.0)
    assert len(result.spills) == 1
    assert result.value("least time to spill") == 0.0
    assert result.value("time of least time to spill") == result.spills["start_s"].iloc[0]


def test_least_time_to_spill_is_nan_when_it_never_would():
    for station, inflow in (
        (handmade.station(2, spill_m=None), handmade.constant(0.01)),
        (handmade.station(2), handmade.constant(0.0)),
    ):
        result = handmade.March(station, inflow, DAY_S).result()
        assert np.isnan(result.value("least time to spill"))
        assert np.isnan(result.value("time of least time to spill"))


def test_of_equal_moments_the_first_is_told():
    result = handmade.March(handmade.station(2), handmade.constant(0.01), DAY_S).result()
    # fills from 0.8 m to 1.5 m at 8 m2 and 10 L/s, and each later cycle comes to the same
    assert result.value("time of least time to spill") == pytest.approx(560.0, abs=1e-6)
    assert result.value("least time to spill") == pytest.approx(1120.0, abs=1e-6)


def test_a_station_that_stands_still_for_a_month_is_searched_in_no_time():
    # inflow and pump are equal: the time to spill is the same throughout, and no bound decides
    result = handmade.March(handmade.station(2, 0.01), handmade.constant(0.01), 30 * DAY_S).result()
    begin = time.perf_counter()
    assert result.value("least time to spill") == pytest.approx(1120.0, abs=0.06)
    assert time.perf_counter() - begin < 2.0  # tens of milliseconds; wide, for a busy machine


@settings(max_examples=40, deadline=None)
@given(st.booleans().flatmap(lambda curved: station_strategies.runs(curved=curved, hours=4.0)))
def test_metrics_of_any_station_agree_with_looking_every_second(run):
    station, episode = run
    result = simulate(station, episode)
    course, end_s = result.course, result.trace.end_s
    times = np.append(np.arange(0.0, end_s, 1.0), end_s)
    volumes = result.sampled(times).volume_m3
    left = course.time_to_spill(times, volumes)
    least, _at = course.least_time_to_spill()
    if np.isfinite(np.min(left)):
        assert np.min(left) - 1.0 <= least <= np.min(left) + LEAST_FOUND_WITHIN_S
    else:
        assert np.isnan(least)
    levels = station.well.levels_at(volumes)
    alarm_m = station.alarms.high_level_m
    counted = float(np.sum(levels[:-1] >= alarm_m))
    crossings = len(course.spans_above(alarm_m)[0])
    assert course.seconds_above(alarm_m) == pytest.approx(counted, abs=2.0 * crossings + 0.1)
    mean = np.sum(np.diff(times) * (levels[1:] + levels[:-1])) / 2.0 / end_s
    assert course.mean_level_m() == pytest.approx(mean, abs=3e-4)  # mostly of the seconds


@pytest.mark.parametrize("pumps", [1, 2, 3])
def test_cycle_and_share_of_starts_agree_with_the_closed_form(pumps):
    # fill V / Qin, run V / (Qp - Qin): drawdown arithmetic, any operator's text
    inflow, flow, volume = 0.012, 0.030, 0.8 * handmade.AREA_M2
    result = handmade.March(
        handmade.station(pumps, flow), handmade.constant(inflow), 2.0 * DAY_S
    ).result()
    cycle = volume / inflow + volume / (flow - inflow)
    for name in ("mean cycle", "least cycle", "greatest cycle"):
        assert result.value(name) == pytest.approx(cycle, abs=1e-6)
    for pump in result.station.pumps:
        assert result.value("share of lead", pump.name) == pytest.approx(1.0 / pumps, abs=0.01)


def test_energy_per_volume_of_a_plain_draw():
    result = handmade.March(handmade.station(2), handmade.constant(0.01), DAY_S).result()
    # 18 kW at 30 L/s: 18 / (0.03 * 3600) kWh/m3
    assert result.value("energy per volume") == pytest.approx(18.0 / 108.0, rel=1e-9)


def test_fuel_is_never_more_than_the_tank_held():
    station = handmade.station(engine=True)
    assert metrics.fuel_m3(station, station.engine_pump.pump.name, 2.0) == pytest.approx(
        0.012, rel=1e-12
    )
    import dataclasses

    small = dataclasses.replace(
        station, engine_pump=dataclasses.replace(station.engine_pump, tank_m3=0.005)
    )
    assert metrics.fuel_m3(small, small.engine_pump.pump.name, 2.0) == 0.005


def test_fuel_is_told_of_any_station_and_follows_from_the_hours_alone():
    without = handmade.March(handmade.station(2), handmade.constant(0.01), DAY_S).result()
    assert without.value("fuel burnt") == 0.0
    march = handmade.March(
        handmade.station(2, engine=True), handmade.constant(0.01), DAY_S, ((3600.0, 18000.0),)
    )
    result = march.result()
    hours = result.value("run hours", "E1")
    assert hours > 0.5
    assert result.value("fuel burnt", "E1") == pytest.approx(hours * 6e-3, rel=1e-9)
    assert result.value("fuel burnt") == result.value("fuel burnt", "E1")


def test_hours_above_the_alarm_agree_with_the_rise_of_a_well_that_only_fills():
    # 8 m2 of plan area and 8 L/s rise 1 mm a second: from 0.8 m, 2.3 m is reached after 1500 s
    march = handmade.March(
        handmade.station(2, spill_m=None), handmade.constant(0.008), 2400.0, ((0.0, 2400.0),)
    )
    above = march.result().value("hours above high-level alarm")
    assert above == pytest.approx(900.0 / 3600.0, abs=1e-6)

from __future__ import annotations

import handmade
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim import metrics
from stationsim.metrics import Water

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


def test_seconds_above_finds_crossings_between_the_rows():
    def level_of(t):
        return 2.0 + np.sin(2.0 * np.pi * t / 1000.0)

    t = np.arange(0.0, 4001.0, 100.0)
    water = Water(t, level_of(t), np.full_like(t, np.inf))
    # sin > 0.5 for a third of each period
    assert metrics.seconds_above(water, 2.5, level_of) == pytest.approx(4000.0 / 3.0, abs=1e-5)
    assert metrics.seconds_above(water, 3.5, level_of) == 0.0
    assert metrics.seconds_above(water, 0.5, level_of) == 4000.0


def test_least_time_to_spill_is_nan_when_it_never_would():
    t = np.array([0.0, 60.0, 120.0])
    never = Water(t, t, np.full(3, np.inf))
    assert all(np.isnan(x) for x in metrics.least_time_to_spill(never))
    once = Water(t, t, np.array([np.inf, 90.0, 100.0]))
    assert metrics.least_time_to_spill(once) == (90.0, 60.0)
    twice = Water(t, t, np.array([90.0000001, 95.0, 90.0]))
    assert metrics.least_time_to_spill(twice) == (90.0, 0.0)


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
    assert metrics.fuel_m3(station, 2.0) == pytest.approx(0.012, rel=1e-12)
    import dataclasses

    small = dataclasses.replace(
        station, engine_pump=dataclasses.replace(station.engine_pump, tank_m3=0.005)
    )
    assert metrics.fuel_m3(small, 2.0) == 0.005


def test_hours_above_the_alarm_agree_with_the_rise_of_a_well_that_only_fills():
    # 8 m2 of plan area and 8 L/s rise 1 mm a second: from 0.8 m, 2.3 m is reached after 1500 s
    march = handmade.March(
        handmade.station(2, spill_m=None), handmade.constant(0.008), 2400.0, ((0.0, 2400.0),)
    )
    above = march.result().value("hours above high-level alarm")
    assert above == pytest.approx(900.0 / 3600.0, abs=1e-6)

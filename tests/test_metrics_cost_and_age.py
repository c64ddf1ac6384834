"""What the energy of a run costs, and how old the water is that leaves the force main."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scenario_texts import CURVED, DUPLEX, changed

from stationsim import load_scenario, simulate
from stationsim.metrics.main_age import main_ages, main_flow, main_volume_m3
from stationsim.results import Result

MAIN = '[force_main]\ndischarge = "8 m"\nlength = "400 m"\ndiameter = "200 mm"\nc_factor = 120\n'
TARIFF = (
    '[tariff.night]\nfrom = "22:00"\nto = "06:00"\nprice = 0.10\n'
    '[tariff.day]\nfrom = "06:00"\nto = "22:00"\nprice = 0.30\ndays = "weekdays"\n'
    '[tariff.rest]\nfrom = "06:00"\nto = "22:00"\nprice = 0.20\ndays = "weekend"\n'
)
SCENARIOS = Path(__file__).parents[1] / "scenarios"


def run(folder: Path, text: str) -> Result:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return simulate(*load_scenario(file))


def powered(text: str = DUPLEX, start: str = "2027-03-05T06:30+01:00", lasts: str = "2 d") -> str:
    text = changed('flow = "30 L/s"\n', 'flow = "30 L/s"\npower = "9 kW"\n', text)
    return changed("2027-03-01T06:30+01:00", start, changed('"2 d"', f'"{lasts}"', text))


def test_energy_cost_is_that_of_each_minute_at_its_price(tmp_path: Path) -> None:
    # a Friday 06:30 to a Sunday 06:30: day, night, weekend day, night; every second looked at
    result = run(tmp_path, powered() + TARIFF)
    t = np.arange(0.5, result.trace.end_s, 1.0)
    clock_h = (t / 3600.0 + 6.5) % 24.0
    day = ((t / 3600.0 + 6.5) // 24.0).astype(int)  # 0 Friday, 1 Saturday, 2 Sunday
    price = np.where(
        clock_h < 6.0, 0.10, np.where(clock_h < 22.0, np.where(day < 1, 0.3, 0.2), 0.1)
    )
    drawn = np.zeros_like(t)
    for start, stop in result.pump_runs[["start_s", "stop_s"]].to_numpy():
        drawn += (t >= start) & (t < stop)
    expected = float(np.sum(drawn * price)) * 9.0 / 3600.0
    assert result.value("energy cost") == pytest.approx(expected, rel=2e-4)
    per_volume = result.value("energy cost") / result.value("volume pumped")
    assert result.value("energy cost per volume") == pytest.approx(per_volume, rel=1e-12)


def test_one_price_all_week_is_the_energy_times_the_price(tmp_path: Path) -> None:
    tariff = '[tariff.flat]\nfrom = "00:00"\nto = "24:00"\nprice = 0.25\n'
    result = run(tmp_path, powered(start="2027-03-06T23:10-05:00") + tariff)
    assert result.value("energy cost") == pytest.approx(0.25 * result.value("energy"), rel=1e-12)


def test_without_a_tariff_there_is_no_cost(tmp_path: Path) -> None:
    assert math.isnan(run(tmp_path, powered()).value("energy cost"))


def brute_ages(result: Result, volume_m3: float, step_m3: float) -> tuple[float, float]:
    """Return mean and greatest age [s] of parcels followed one by one, from the runs alone."""
    runs = result.pump_runs
    edges = np.unique(
        np.concatenate([[0.0], runs["start_s"], runs["stop_s"], [result.trace.end_s]])
    )
    passed = np.zeros_like(edges)
    for start, stop, volume in runs[["start_s", "stop_s", "volume_m3"]].to_numpy():
        passed += volume * np.clip((edges - start) / (stop - start), 0.0, 1.0)
    rising = np.append(np.diff(passed) > 0.0, np.True_)
    times, totals = [], []
    for n in range(len(edges) - 1):  # only where the water moves: a total then has one time
        if rising[n]:
            times += [edges[n], edges[n + 1]]
            totals += [passed[n], passed[n + 1]]
    parcels = np.arange(step_m3 / 2.0, passed[-1] - volume_m3, step_m3)
    span = np.array(totals) + np.arange(len(totals)) * 1e-12
    enters, leaves = np.interp(parcels, span, times), np.interp(parcels + volume_m3, span, times)
    return float(np.mean(leaves - enters)), float(np.max(leaves - enters))


def test_age_of_water_is_that_of_parcels_followed_one_by_one(tmp_path: Path) -> None:
    text = (
        changed("[control]", MAIN + "[control]") + '[event]\nx.text = "20:00 grid loss for 3 h"\n'
    )
    result = run(tmp_path, text)
    volume = 400.0 * math.pi * 0.1**2
    assert main_volume_m3(result.station) == pytest.approx(volume, rel=1e-12)
    mean_s, greatest_s = brute_ages(result, volume, 0.002)
    assert result.value("mean age of water leaving the main") * 3600.0 == pytest.approx(
        mean_s, rel=1e-4
    )
    greatest = result.value("greatest age of water leaving the main") * 3600.0
    assert greatest == pytest.approx(greatest_s, abs=1.0)
    assert greatest > 3.0 * 3600.0  # it stood through the outage


def test_flow_laid_for_the_age_carries_what_was_pumped(tmp_path: Path) -> None:
    storm = '[inflow.rain]\nkind = "hydrograph"\npoints = [["0 h", "0 L/s"], '
    storm += '["5 h", "60 L/s"], ["9 h", "0 L/s"]]\n'
    for text in (changed("[control]", MAIN + "[control]"), CURVED):
        result = run(tmp_path, text + storm)
        flow = main_flow(result.station, result.course)
        assert flow is not None
        assert flow.totals_m3[-1] == pytest.approx(result.trace.pumped_m3, rel=1e-4)


def test_water_that_never_came_through_has_no_age(tmp_path: Path) -> None:
    text = changed("[control]", MAIN.replace('"400 m"', '"180 km"') + "[control]")
    result = run(tmp_path, text)
    ages = main_ages(result.station, result.course)
    assert ages.left_m3 == 0.0
    assert math.isnan(result.value("mean age of water leaving the main"))
    assert math.isnan(result.value("greatest age of water leaving the main"))


def test_pumps_that_never_run_give_no_age(tmp_path: Path) -> None:
    text = changed('"10 L/s"', '"0 L/s"', changed("[control]", MAIN + "[control]"))
    assert math.isnan(run(tmp_path, text).value("mean age of water leaving the main"))


def test_no_main_has_no_age(tmp_path: Path) -> None:
    assert math.isnan(run(tmp_path, DUPLEX).value("mean age of water leaving the main"))


def test_age_looks_into_few_pieces_so_that_a_year_costs_little() -> None:
    station, episode = load_scenario(SCENARIOS / "alder-lane.toml")
    result = simulate(station, episode)
    flow = main_flow(station, result.course)
    assert flow is not None
    assert len(flow.flow_m3s) < 1.5 * len(result.course.t_s)

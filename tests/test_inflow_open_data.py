"""The open two-week series shipped with the scenarios, against published figures.

Source of the series: influent files of the IWA task group's benchmark simulation model no. 1 (see
scenarios/data/README.md). Source of the mean: the published constant of the dry series,
18,446 m3/d. The daily means and the hourly multipliers were worked out from another published copy
of the same file (14 days at 15 min, 1345 rows with the closing one).
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from stationsim.records.inflow_csv import read_inflow_csv

DATA = Path(__file__).parent.parent / "scenarios" / "data"
MONDAY = datetime(2027, 3, 1)
DAY = 86400.0

WEEKDAY_MULTIPLIERS = (
    1.025, 0.974, 0.793, 0.628, 0.595, 0.644, 0.621, 0.625, 0.658, 1.012, 1.435, 1.577,
    1.337, 1.238, 1.129, 1.076, 0.973, 0.940, 1.043, 1.043, 1.152, 1.150, 1.160, 1.173,
)  # fmt: skip
WEEKEND_MULTIPLIERS = (
    1.009, 0.987, 0.846, 0.732, 0.705, 0.739, 0.728, 0.731, 0.752, 0.998, 1.306, 1.411,
    1.243, 1.167, 1.095, 1.055, 0.984, 0.959, 1.040, 1.026, 1.115, 1.111, 1.126, 1.135,
)  # fmt: skip


@pytest.fixture(scope="module")
def dry():
    return read_inflow_csv(DATA / "municipal-dry-14d.csv", start=MONDAY)


@pytest.fixture(scope="module")
def rain():
    return read_inflow_csv(DATA / "municipal-rain-14d.csv", start=MONDAY)


def per_day(series):
    return series.flows_m3s * DAY


def test_dry_series_has_its_published_mean_and_extremes(dry):
    flows = per_day(dry)
    assert len(flows) == 1344
    assert np.array_equal(dry.times_s, np.arange(1344) * 900.0)
    assert flows.mean() == pytest.approx(18_446.33, abs=0.005)
    assert flows.min() == pytest.approx(10_000.0, rel=1e-12)
    assert flows.max() == pytest.approx(32_180.0, rel=1e-12)
    assert dry.repairs == ()


def test_dry_series_has_its_published_daily_means(dry):
    days = per_day(dry).reshape(14, 96).mean(axis=1)
    week = [19764.1, 19758.1, 19249.9, 19226.9, 18732.6, 16122.1, 16270.6]
    assert days == pytest.approx([*week, *week], abs=0.06)  # printed to 0.1


def test_dry_series_runs_lower_at_the_weekend_by_the_published_ratio(dry):
    days = per_day(dry).reshape(14, 96).mean(axis=1)
    weekend = np.isin(np.arange(14), [5, 6, 12, 13])
    assert days[weekend].mean() / days[~weekend].mean() == pytest.approx(0.83718, abs=5e-6)


def test_dry_series_has_its_published_hourly_multipliers(dry):
    hours = per_day(dry).reshape(14, 24, 4).mean(axis=2)
    weekend = np.isin(np.arange(14), [5, 6, 12, 13])
    for which, multipliers in ((~weekend, WEEKDAY_MULTIPLIERS), (weekend, WEEKEND_MULTIPLIERS)):
        mean = hours[which].mean(axis=0)
        assert mean / mean.mean() == pytest.approx(multipliers, abs=6e-4)  # printed to 0.001


def test_rain_series_is_the_dry_one_for_a_week_and_then_higher(dry, rain):
    assert np.array_equal(rain.flows_m3s[:672], dry.flows_m3s[:672])
    assert per_day(rain).max() == pytest.approx(52_126.0, rel=1e-12)
    # The mean is our own sum over the copy, no published figure: it holds the copy still.
    assert per_day(rain).mean() == pytest.approx(21_319.755, abs=0.001)
    assert rain.flows_m3s[672:].mean() > 1.2 * dry.flows_m3s[672:].mean()


def test_rain_series_scaled_to_a_station_covers_two_weeks_and_keeps_its_shape(rain):
    source = rain.source(factor=0.05)
    pieces = source.segments(MONDAY, 14 * DAY)
    assert pieces.at(rain.times_s) == pytest.approx(0.05 * rain.flows_m3s, rel=1e-12)

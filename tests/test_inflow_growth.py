"""Growth of a source: compounded by the year, exact at its breaks and at each day."""

from __future__ import annotations

import pickle
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.episode import Episode
from stationsim.inflow.daily import YEAR_S, Constant, Daily, Growth
from stationsim.inflow.segments import DAY_S, total_inflow

MONDAY = datetime(2027, 3, 1)
HOUR = 3600.0
PATTERN = tuple(0.010 + 0.001 * hour for hour in range(24))


def test_flow_after_a_year_has_grown_by_the_rate():
    pieces = Growth(Constant(0.020), 0.03).segments(MONDAY, 2 * YEAR_S)
    got = pieces.at(np.array([0.0, YEAR_S, 2 * YEAR_S]))
    # straight within a day, so a year of 365.25 d is met to 1e-8
    assert got == pytest.approx([0.020, 0.020 * 1.03, 0.020 * 1.03**2], rel=1e-8)


def test_figures_of_an_earlier_year_have_grown_by_the_start():
    since = datetime(2017, 3, 1)
    pieces = Growth(Constant(0.020), 0.02, since).segments(MONDAY, DAY_S)
    years = (MONDAY - since).days / 365.25
    assert float(pieces.at(np.zeros(1))[0]) == pytest.approx(0.020 * 1.02**years, rel=1e-12)


def test_figures_of_a_later_year_are_less_at_the_start():
    later = Growth(Constant(0.020), 0.02, MONDAY + timedelta(days=365.25))
    got = float(later.segments(MONDAY, DAY_S).at(np.zeros(1))[0])
    assert got == pytest.approx(0.020 / 1.02, rel=1e-12)


def test_offsets_from_utc_do_not_move_the_growth():
    start = MONDAY.replace(tzinfo=timezone(timedelta(hours=12)))
    plain = Growth(Constant(0.020), 0.02, datetime(2025, 3, 1))
    assert np.array_equal(
        plain.segments(start, DAY_S).flow_m3s, plain.segments(MONDAY, DAY_S).flow_m3s
    )


@given(
    rate=st.floats(-0.5, 0.5),
    steps=st.booleans(),
    start=st.datetimes(datetime(2027, 1, 1), datetime(2028, 12, 31)),
    days=st.floats(0.1, 20.0),
)
def test_growth_keeps_to_the_compound_curve_within_a_piece(rate, steps, start, days):
    source = Daily(PATTERN, PATTERN[::-1], steps=steps)
    own = source.segments(start, days * DAY_S)
    grown = Growth(source, rate).segments(start, days * DAY_S)
    times = np.linspace(0.0, days * DAY_S, 1001)[:-1]
    expected = own.at(times) * (1.0 + rate) ** (times / YEAR_S)
    # a quarter of the hour's change of flow (up to all of it) times that of the factor
    bound = 0.25 * 0.033 * abs(1.0 - (1.0 + rate) ** (HOUR / YEAR_S)) * 1.1 + 1e-12
    assert np.abs(grown.at(times) - expected).max() <= bound


def test_no_growth_changes_nothing():
    source = Daily(PATTERN, PATTERN, steps=True)
    own = source.segments(MONDAY, 3 * DAY_S)
    grown = Growth(source, 0.0).segments(MONDAY, 3 * DAY_S)
    times = np.linspace(0.0, 3 * DAY_S, 777)[:-1]
    assert np.array_equal(grown.at(times), own.at(times))


def test_growing_source_goes_through_the_rules_of_an_episode():
    growing = Growth(Constant(0.020), 0.10, datetime(2022, 3, 1))
    total = total_inflow(Episode(MONDAY, 1.5 * DAY_S, (growing,), 1.0))
    assert total.volume_m3(1.5 * DAY_S) == pytest.approx(
        0.020 * 1.10 ** (1826 / 365.25) * 1.5 * DAY_S, rel=3e-4
    )


@pytest.mark.parametrize("rate", [-1.0, 1.5, float("nan")])
def test_rate_that_is_none_is_refused(rate):
    with pytest.raises(ValueError, match="growth"):
        Growth(Constant(0.02), rate)


def test_growing_source_survives_pickling():
    source = Growth(Constant(0.02), 0.03, MONDAY)
    assert pickle.loads(pickle.dumps(source)) == source

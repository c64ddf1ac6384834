"""Sources of inflow, each by itself: what they give at the points where mistakes hide."""

from __future__ import annotations

import pickle
import re
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.errors import RecordError
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.segments import from_points
from stationsim.inflow.series import Recorded
from stationsim.inflow.storm import Hydrograph

DAY = 86400.0
HOUR = 3600.0
FRIDAY = datetime(2027, 3, 5, tzinfo=timezone(timedelta(hours=12)))
WEEKDAY = tuple(0.010 + 0.001 * hour for hour in range(24))
WEEKEND = tuple(0.050 + 0.001 * hour for hour in range(24))


def flow(source, start, at_s, duration_s=10 * DAY):
    return source.segments(start, duration_s).at(np.atleast_1d(np.asarray(at_s, dtype=float)))


def test_constant_gives_its_flow_at_any_time():
    assert flow(Constant(0.02), FRIDAY, [0.0, 1e6]).tolist() == [0.02, 0.02]


def test_daily_gives_the_hourly_value_at_the_hour_and_the_mean_at_half_past():
    got = flow(Daily(WEEKDAY, WEEKEND), FRIDAY, [7 * HOUR, 7.5 * HOUR])
    assert got == pytest.approx([0.017, 0.0175], rel=1e-12)


def test_daily_hands_over_from_friday_to_saturday_straight():
    got = flow(Daily(WEEKDAY, WEEKEND), FRIDAY, [23 * HOUR, 23.5 * HOUR, 24 * HOUR])
    assert got == pytest.approx([0.033, (0.033 + 0.050) / 2.0, 0.050], rel=1e-12)


def test_daily_hands_over_from_sunday_to_monday_straight():
    sunday = FRIDAY + timedelta(days=2)
    got = flow(Daily(WEEKDAY, WEEKEND), sunday, [23 * HOUR, 23.5 * HOUR, 24 * HOUR])
    assert got == pytest.approx([0.073, (0.073 + 0.010) / 2.0, 0.010], rel=1e-12)


def test_daily_as_steps_holds_until_the_next_hour():
    source = Daily(WEEKDAY, WEEKEND, steps=True)
    got = flow(source, FRIDAY, [7 * HOUR, 8 * HOUR - 1e-3, 8 * HOUR, 24 * HOUR - 1e-3, 24 * HOUR])
    assert got == pytest.approx([0.017, 0.017, 0.018, 0.033, 0.050], rel=1e-12)


def test_daily_started_in_the_afternoon_goes_by_the_clock():
    start = FRIDAY.replace(hour=17, minute=40, second=30)
    got = flow(Daily(WEEKDAY, WEEKEND), start, [0.0, 6 * HOUR + 19 * 60 + 30])
    assert got == pytest.approx([0.027 + 0.001 * (40.5 / 60.0), 0.050], rel=1e-12)


def test_daily_follows_the_calendar_over_the_end_of_a_february():
    # 28 February 2027 is a Sunday, 29 February 2028 a Tuesday.
    ordinary = datetime(2027, 2, 28, 12)
    leap = datetime(2028, 2, 28, 12)
    source = Daily(WEEKDAY, WEEKEND)
    assert flow(source, ordinary, [0.0, DAY]) == pytest.approx([0.062, 0.022], rel=1e-12)
    days = np.arange(0, 6) * DAY  # noon of Monday 28, Tuesday 29 February, Wednesday ... Saturday
    assert flow(source, leap, days) == pytest.approx([0.022] * 5 + [0.062], rel=1e-12)


def test_daily_does_not_shift_its_clock_where_summer_time_would_begin():
    # The offset of an episode is fixed: noon stays 24 h after noon on every day of a year.
    start = datetime(2027, 1, 1, 12, tzinfo=timezone(timedelta(hours=1)))
    got = flow(Daily(WEEKDAY, WEEKDAY), start, np.arange(365) * DAY, duration_s=365 * DAY)
    assert got == pytest.approx(np.full(365, 0.022), rel=1e-9)


@given(
    start=st.datetimes(datetime(2026, 1, 1), datetime(2032, 12, 31)),
    after_s=st.floats(0.0, 20 * DAY),
)
def test_daily_agrees_with_a_lookup_by_calendar_at_any_moment(start, after_s):
    moment = start + timedelta(seconds=after_s)
    hour = moment.replace(minute=0, second=0, microsecond=0)
    later = hour + timedelta(hours=1)
    value, following = ((WEEKEND if m.weekday() >= 5 else WEEKDAY)[m.hour] for m in (hour, later))
    part = (moment - hour).total_seconds() / HOUR
    expected = value + (following - value) * part
    # 1 microsecond of the datetime's rounding at the steepest slope, 0.063 m3/s an hour.
    assert flow(Daily(WEEKDAY, WEEKEND), start, after_s, 21 * DAY)[0] == pytest.approx(
        expected, abs=1e-9
    )


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: Constant(-0.01), "0 or more"),
        (lambda: Constant(float("nan")), "finite"),
        (lambda: Daily(WEEKDAY[:-1], WEEKEND), "weekday_m3s: a day has 24 hourly flows (found 23)"),
        (lambda: Daily(WEEKDAY, (*WEEKEND[:-1], -1.0)), "weekend_m3s: the flow at 23:00"),
        (lambda: Hydrograph(0.0, (0.0,), (0.1,)), "two points or more"),
        (lambda: Hydrograph(0.0, (0.0, 10.0), (0.1,)), "as many flows as times"),
        (lambda: Hydrograph(0.0, (10.0, 0.0), (0.1, 0.1)), "must not fall"),
        (lambda: Hydrograph(0.0, (5.0, 5.0), (0.1, 0.2)), "longer than 0 s"),
        (lambda: Hydrograph(0.0, (0.0, 9.0), (0.1, -0.1)), "at 9 s is -0.1"),
        (lambda: Hydrograph(float("inf"), (0.0, 9.0), (0.1, 0.1)), "finite"),
    ],
)
def test_a_source_refuses_what_cannot_flow(make, told):
    with pytest.raises(ValueError, match=re.escape(told)):
        make()


def test_hydrograph_is_nought_outside_its_points_and_straight_between():
    storm = Hydrograph(1000.0, (0.0, 600.0, 1200.0), (0.0, 0.06, 0.0))
    got = flow(storm, FRIDAY, [0.0, 1000.0, 1300.0, 1600.0, 1900.0, 2200.0, 1e7])
    assert got == pytest.approx([0.0, 0.0, 0.03, 0.06, 0.03, 0.0, 0.0], abs=1e-15)


def test_hydrograph_with_a_time_given_twice_steps():
    storm = Hydrograph(0.0, (100.0, 200.0, 200.0, 300.0), (0.01, 0.01, 0.04, 0.04))
    got = flow(storm, FRIDAY, [99.0, 100.0, 199.0, 200.0, 299.0, 300.0])
    assert got == pytest.approx([0.0, 0.01, 0.01, 0.04, 0.04, 0.0], abs=1e-15)


def test_hydrograph_begun_before_the_episode_brings_only_its_rest():
    storm = Hydrograph(-600.0, (0.0, 1200.0), (0.04, 0.0))
    assert flow(storm, FRIDAY, [0.0, 600.0]) == pytest.approx([0.02, 0.0], abs=1e-15)
    assert storm.segments(FRIDAY, DAY).volume_m3(DAY) == pytest.approx(6.0, rel=1e-12)


def test_hydrograph_triangle_brings_half_of_peak_times_length():
    # Closed form: a triangle of 50 L/s over 4 h brings 360 m3.
    storm = Hydrograph(0.0, (0.0, 2 * HOUR, 4 * HOUR), (0.0, 0.05, 0.0))
    assert storm.volume_m3 == pytest.approx(360.0, rel=1e-12)
    assert storm.segments(FRIDAY, DAY).volume_m3(DAY) == pytest.approx(360.0, rel=1e-12)


def test_recorded_goes_straight_or_holds_and_holds_after_the_last_stamp():
    times, flows = (0.0, 900.0, 1800.0), (0.01, 0.03, 0.02)
    at = [0.0, 450.0, 900.0, 1350.0, 2600.0]
    straight = flow(Recorded(times, flows), FRIDAY, at, 2700.0)
    holding = flow(Recorded(times, flows, steps=True), FRIDAY, at, 2700.0)
    assert straight == pytest.approx([0.01, 0.02, 0.03, 0.025, 0.02], rel=1e-12)
    assert holding == pytest.approx([0.01, 0.01, 0.03, 0.03, 0.02], rel=1e-12)


def test_recorded_may_begin_before_the_episode_or_within_one_interval_of_it():
    early = Recorded((-900.0, 900.0), (0.0, 0.02))
    late = Recorded((900.0, 1800.0), (0.01, 0.03))
    assert flow(early, FRIDAY, 0.0, 900.0)[0] == pytest.approx(0.01, rel=1e-12)
    assert flow(late, FRIDAY, [0.0, 450.0], 1800.0) == pytest.approx([0.01, 0.01], rel=1e-12)


def test_recorded_that_ends_too_early_is_refused_with_what_is_lacking():
    series = Recorded(np.arange(97) * 900.0, np.full(97, 0.01), name="meter.csv")
    series.check_cover(DAY + 900.0)
    with pytest.raises(RecordError, match=r"meter\.csv: ends 2 d before the episode does"):
        series.segments(FRIDAY, 3 * DAY)


def test_recorded_that_begins_too_late_is_refused():
    series = Recorded(np.arange(10) * 900.0 + 2 * HOUR, np.full(10, 0.01), name="meter.csv")
    with pytest.raises(RecordError, match=r"begins 2 h after the episode"):
        series.segments(FRIDAY, 2 * HOUR)


@pytest.mark.parametrize(
    ("times", "flows", "told"),
    [
        ((0.0,), (1.0,), "two stamps or more"),
        ((0.0, 1.0), (1.0,), "a flow for each"),
        ((0.0, 0.0), (1.0, 1.0), "must rise (number 2"),
        ((0.0, 1.0), (1.0, -1.0), "flow number 2 is -1"),
        ((0.0, 1.0), (1.0, float("nan")), "finite"),
    ],
)
def test_recorded_refuses_what_is_no_series(times, flows, told):
    with pytest.raises(RecordError) as caught:
        Recorded(times, flows)
    assert told in str(caught.value)


def test_recorded_cannot_be_changed_through_the_array_it_was_made_of():
    flows = np.array([0.01, 0.02])
    series = Recorded(np.array([0.0, 900.0]), flows)
    flows[0] = 9.0
    assert flow(series, FRIDAY, 0.0, 900.0)[0] == 0.01


@pytest.mark.parametrize(
    "source",
    [
        Constant(0.01),
        Daily(WEEKDAY, WEEKEND),
        Hydrograph(0.0, (0.0, 9.0), (0.0, 0.1)),
        Recorded((0.0, 900.0), (0.01, 0.02)),
    ],
    ids=lambda source: type(source).__name__,
)
def test_a_source_survives_pickling(source):
    assert pickle.loads(pickle.dumps(source)) == source


@given(
    points=st.lists(st.tuples(st.floats(1.0, 5000.0), st.floats(0.0, 0.2)), min_size=2, max_size=20)
)
def test_flow_through_points_is_continuous_where_no_time_is_given_twice(points):
    times = np.cumsum([length for length, _ in points]) - points[0][0]
    flows = np.array([value for _, value in points])
    pieces = from_points(times, flows)
    # The slope over 1 microsecond is at most 0.2 m3/s over 1 s.
    assert pieces.at(times) == pytest.approx(flows, abs=1e-12)
    assert pieces.at(times[1:] - 1e-6) == pytest.approx(flows[1:], abs=1e-6)

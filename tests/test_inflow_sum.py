"""The sum of sources: exact on the union of break points, and the last day beyond the end."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.episode import Episode
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.segments import Segments, add, from_points, total_inflow
from stationsim.inflow.series import Recorded
from stationsim.inflow.storm import Hydrograph

DAY = 86400.0
HOUR = 3600.0
MONDAY = datetime(2027, 3, 1)
WEEKDAY = tuple(0.010 + 0.001 * hour for hour in range(24))
WEEKEND = tuple(0.050 + 0.001 * hour for hour in range(24))


def episode(*sources, start=MONDAY, days=1.0):
    return Episode(start=start, duration_s=days * DAY, inflow=sources, start_level_m=1.0)


@st.composite
def sources(draw):
    kind = draw(st.sampled_from(["constant", "daily", "storm", "recorded"]))
    some = st.floats(0.0, 0.5)
    if kind == "constant":
        return Constant(draw(some))
    if kind == "daily":
        day = st.lists(some, min_size=24, max_size=24)
        return Daily(draw(day), draw(day), steps=draw(st.booleans()))
    lengths = draw(st.lists(st.floats(0.0, 20000.0), min_size=1, max_size=8))
    times = np.cumsum([0.0, *lengths])
    if kind == "storm" and times[-1] > 0.0:
        flows = draw(st.lists(some, min_size=len(times), max_size=len(times)))
        return Hydrograph(draw(st.floats(-20000.0, 3 * DAY)), tuple(times), flows)
    every = draw(st.floats(60.0, 7200.0))
    count = int(3 * DAY / every) + 2
    seed = draw(st.integers(0, 9))
    values = np.random.default_rng(seed).random(count) * 0.2
    return Recorded(np.arange(count) * every, values, steps=draw(st.booleans()))


@given(
    parts=st.lists(sources(), max_size=4),
    start=st.datetimes(datetime(2027, 1, 1), datetime(2028, 12, 31)),
    days=st.floats(0.1, 3.0),
)
def test_volume_of_a_sum_is_the_sum_of_volumes_at_any_time(parts, start, days):
    total = total_inflow(episode(*parts, start=start, days=days))
    each = [part.segments(start, days * DAY) for part in parts]
    for until in (0.37 * days * DAY, days * DAY):
        expected = sum(pieces.volume_m3(until) for pieces in each)
        # 1e-9 of the volume: the mass balance of a run is held to the same.
        assert total.volume_m3(until) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(
    parts=st.lists(sources(), min_size=1, max_size=4),
    at_s=st.lists(st.floats(0.0, 2 * DAY, exclude_max=True), min_size=1, max_size=10),
)
def test_flow_of_a_sum_is_the_sum_of_flows_at_any_moment(parts, at_s):
    times = np.array(at_s)
    total = total_inflow(episode(*parts, days=2.0))
    expected = sum(part.segments(MONDAY, 2 * DAY).at(times) for part in parts)
    assert total.at(times) == pytest.approx(expected, abs=1e-9)


@given(parts=st.lists(sources(), max_size=4), days=st.floats(0.01, 3.0))
def test_pieces_of_a_sum_start_at_nought_and_strictly_rise(parts, days):
    total = total_inflow(episode(*parts, days=days))
    assert total.start_s[0] == 0.0
    assert np.all(np.diff(total.start_s) > 0.0)
    assert total.slope_m3s2[-1] == 0.0


def test_break_points_shared_by_two_sources_are_kept_once():
    both = add([Daily(WEEKDAY, WEEKEND).segments(MONDAY, DAY) for _ in range(2)])
    one = Daily(WEEKDAY, WEEKEND).segments(MONDAY, DAY)
    assert both.start_s.tolist() == one.start_s.tolist()


def test_no_source_at_all_is_no_flow():
    total = total_inflow(episode())
    assert total.at(np.array([0.0, HOUR, 1e8])).tolist() == [0.0, 0.0, 0.0]


def test_beyond_the_end_the_last_day_repeats_twice_and_then_its_mean_holds():
    storm = Hydrograph(DAY + 6 * HOUR, (0.0, HOUR, 2 * HOUR), (0.0, 0.03, 0.0))
    run = episode(Daily(WEEKDAY, WEEKEND), storm, days=2.0)
    total = total_inflow(run)
    within = np.linspace(DAY, 2 * DAY, 97)[:-1] + 1.0
    assert total.at(within + DAY) == pytest.approx(total.at(within), rel=1e-9)
    assert total.at(within + 2 * DAY) == pytest.approx(total.at(within), rel=1e-9)
    mean = (total.volume_m3(2 * DAY) - total.volume_m3(DAY)) / DAY
    assert total.at(np.array([4 * DAY, 9 * DAY])) == pytest.approx([mean, mean], rel=1e-12)


def test_beyond_the_end_of_a_sunday_the_weekend_repeats():
    # The last day repeats, whatever the calendar says of the day after.
    run = episode(Daily(WEEKDAY, WEEKEND), start=datetime(2027, 3, 6), days=2.0)
    assert total_inflow(run).at(np.array([2 * DAY + 7 * HOUR]))[0] == pytest.approx(0.057)


def test_an_episode_shorter_than_a_day_repeats_whole():
    run = episode(Daily(WEEKDAY, WEEKEND), start=datetime(2027, 3, 1, 6), days=2.5 / 24.0)
    total = total_inflow(run)
    at = np.array([600.0, 5000.0, 8900.0])
    for copy in (1, 7, 19):
        assert total.at(at + copy * 2.5 * HOUR) == pytest.approx(total.at(at), rel=1e-9)


def test_an_episode_of_a_second_makes_no_endless_list():
    total = total_inflow(episode(Constant(0.02), days=1.0 / DAY))
    assert len(total.start_s) < 5000
    assert total.at(np.array([1e7]))[0] == pytest.approx(0.02, rel=1e-12)


@pytest.mark.parametrize("duration_s", [0.0, -1.0, float("inf"), float("nan")])
def test_an_episode_without_a_length_is_refused(duration_s):
    run = Episode(start=MONDAY, duration_s=duration_s, inflow=(), start_level_m=1.0)
    with pytest.raises(ValueError, match="must last longer than 0 s"):
        total_inflow(run)


class _Leaving:
    """A source of somebody's own that takes water away."""

    def segments(self, start, duration_s):
        return from_points([0.0, HOUR, 2 * HOUR], [0.01, -0.02, 0.01])


class _Undefined:
    def segments(self, start, duration_s):
        return Segments(np.zeros(1), np.array([np.nan]), np.zeros(1))


def test_a_total_below_nought_is_refused_and_says_when():
    with pytest.raises(ValueError, match=r"falls to -0\.02 m3/s about 0 s"):
        total_inflow(episode(_Leaving()))


def test_a_source_that_takes_away_less_than_others_bring_is_accepted():
    total = total_inflow(episode(_Leaving(), Constant(0.02)))
    assert total.at(np.array([HOUR]))[0] == pytest.approx(0.0, abs=1e-15)


def test_a_total_that_is_no_number_is_refused():
    with pytest.raises(ValueError, match="not a number everywhere"):
        total_inflow(episode(_Undefined()))


def test_a_year_at_five_minutes_adds_without_resampling():
    count = 105_121
    values = np.random.default_rng(5).random(count) * 0.05
    run = episode(
        Recorded(np.arange(count) * 300.0, values),
        Daily(WEEKDAY, WEEKEND),
        start=datetime(2027, 1, 1, 0, 2),
        days=365.0,
    )
    total = total_inflow(run)
    inside = int(np.sum(total.start_s < 365 * DAY))
    # 105,120 stamps before the end, and 8,760 hours that fall between them (two minutes off).
    assert inside == 105_120 + 8_760


def test_a_storm_that_begins_within_an_instant_of_the_start_covers_the_start() -> None:
    storm = Hydrograph(6e-8, (0.0, 1.0), (0.5, 0.0))
    pieces = storm.segments(datetime(2027, 1, 1), DAY)
    assert pieces.start_s[0] <= 0.0
    total = total_inflow(episode(storm, start=datetime(2027, 1, 1), days=1.0))
    assert total.volume_m3(DAY) == pytest.approx(pieces.volume_m3(DAY), abs=1e-12)


def test_what_has_arrived_is_the_volume_of_the_pieces_before() -> None:
    # own closed form: 0 to 0.2 m3/s in 100 s brings 10 m3; back to 0 in 50 s another 5 m3
    pieces = from_points([0.0, 100.0, 150.0], [0.0, 0.2, 0.0])
    times = np.array([0.0, 50.0, 100.0, 125.0, 150.0, 900.0])
    assert pieces.arrived_m3(times) == pytest.approx([0.0, 2.5, 10.0, 13.75, 15.0, 15.0])
    assert pieces.greatest(0.0, 900.0) == (pytest.approx(0.2), 100.0)

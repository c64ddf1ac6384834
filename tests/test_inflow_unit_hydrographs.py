"""Rain-derived inflow: volumes exact, shape within what is stated, superposition, shift."""

from __future__ import annotations

import dataclasses
import pickle
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.episode import Episode
from stationsim.inflow.daily import Constant
from stationsim.inflow.rain import IntensityLaw, block, chicago, from_depths, nrcs
from stationsim.inflow.segments import DAY_S, add, total_inflow
from stationsim.inflow.unit_hydrographs import SHAPE, RainDerived, Response

MONDAY = datetime(2027, 3, 1)
HOUR = 3600.0
THREE = (
    Response(0.02, HOUR, 2.0, "quick response"),
    Response(0.03, 3 * HOUR, 2.0, "middle response"),
    Response(0.05, 8 * HOUR, 3.0, "slow response"),
)
THREE_HOURS = from_depths(0.0, np.arange(4) * HOUR, [0.005, 0.010, 0.005])


@st.composite
def responses(draw):
    kinds = []
    for name in ("quick", "middle", "slow")[: draw(st.integers(1, 3))]:
        peak = draw(st.floats(60.0, 12 * HOUR))
        kinds.append(Response(draw(st.floats(0.001, 0.33)), peak, draw(st.floats(0.1, 8.0)), name))
    return tuple(kinds)


@st.composite
def rains(draw):
    kind = draw(st.sampled_from(["block", "day", "chicago", "series"]))
    at = draw(st.floats(-3 * DAY_S, 3 * DAY_S))
    depth = draw(st.floats(1e-4, 0.3))
    if kind == "block":
        return block(at, depth, draw(st.floats(60.0, 2 * DAY_S)))
    if kind == "day":
        return nrcs(at, depth, draw(st.sampled_from(["I", "IA", "II", "III"])))
    if kind == "chicago":
        law = IntensityLaw.from_printed(1000.0, draw(st.floats(1.0, 20.0)), 0.8)
        return chicago(at, draw(st.floats(1800.0, 6 * HOUR)), law, peak_at=draw(st.floats(0, 1)))
    depths = draw(st.lists(st.sampled_from([0.0, 0.001, 0.004]), min_size=2, max_size=30))
    every = draw(st.sampled_from([60.0, 300.0, HOUR, DAY_S]))
    return from_depths(at, np.arange(len(depths) + 1) * every, depths)


def to_the_end(source):
    """Return its pieces and their end, after all of it has arrived."""
    longest = max(response.base_s for response in source.responses)
    end = max(source.rain.ends_s + longest, 1.0)
    return source.segments(MONDAY, end), end


@given(rain=rains(), ways=responses(), area=st.floats(1e3, 1e7))
def test_volume_is_fraction_times_depth_times_area(rain, ways, area):
    rain = dataclasses.replace(rain, at_s=abs(rain.at_s))
    source = RainDerived(rain, area, ways)
    pieces, end = to_the_end(source)
    fraction = sum(way.fraction for way in ways)
    # 1e-9 of the volume: the mass balance of a run is held to the same.
    assert pieces.volume_m3(end) == pytest.approx(fraction * rain.depth_m * area, rel=1e-9)
    assert source.volume_m3 == pytest.approx(fraction * rain.depth_m * area, rel=1e-12)


@given(rain=rains(), ways=responses())
def test_shape_keeps_the_stated_tolerance_and_is_nowhere_below_nought(rain, ways):
    source = RainDerived(rain, 1e6, ways)
    pieces, end = to_the_end(source)
    assert pieces.flow_m3s.min() >= 0.0
    times = np.linspace(0.0, end, 2003)[:-1]
    exact = source.flow_at_m3s(np.union1d(times, pieces.start_s))
    assert np.abs(pieces.at(times) - source.flow_at_m3s(times)).max() <= (
        1.001 * SHAPE * max(exact.max(), 1e-300)
    )


@given(rain=rains(), ways=responses(), at=st.floats(0.0, 1.0))
def test_exact_flow_is_the_convolution_piece_by_piece(rain, ways, at):
    source = RainDerived(rain, 1e6, ways)
    longest = max(way.base_s for way in ways)
    time = rain.begins_s + at * (rain.ends_s + longest - rain.begins_s)

    def triangle(way, age):
        peak = 2.0 / way.base_s
        if age <= way.time_to_peak_s:
            return peak * max(age, 0.0) / way.time_to_peak_s
        return peak * max(way.base_s - age, 0.0) / (way.base_s - way.time_to_peak_s)

    expected = 0.0
    edges = rain.at_s + np.asarray(rain.times_s)
    for begin, end, intensity in zip(edges[:-1], edges[1:], rain.intensity_ms, strict=True):
        for way in ways:
            # between these limits a triangle is straight, so the trapezoid rule is exact
            marks = [time - way.base_s, time - way.time_to_peak_s, time]
            limits = np.sort(np.clip([begin, *marks, end], begin, end))
            heights = np.array([triangle(way, time - limit) for limit in limits])
            under = float(np.sum(np.diff(limits) * (heights[1:] + heights[:-1]) / 2.0))
            expected += 1e6 * way.fraction * intensity * under
    greatest = 1e6 * rain.depth_m * sum(way.fraction * 2.0 / way.base_s for way in ways)
    got = float(source.flow_at_m3s([time])[0])
    assert got == pytest.approx(expected, abs=1e-9 * greatest)


@given(first=rains(), second=rains(), ways=responses())
def test_two_storms_bring_what_each_brings(first, second, ways):
    # Both as knots of one rain, where they overlap the intensities add.
    edges = np.unique(
        np.concatenate([rain.at_s + np.asarray(rain.times_s) for rain in (first, second)])
    )
    edges = edges[np.append(True, np.diff(edges) > 1e-5)]
    fallen = first.fallen_by_m(edges) + second.fallen_by_m(edges)
    both = from_depths(0.0, edges, np.maximum(np.diff(fallen), 0.0))
    times = np.linspace(0.0, 8 * DAY_S, 997)
    parts = [RainDerived(rain, 1e6, ways).flow_at_m3s(times) for rain in (first, second)]
    got = RainDerived(both, 1e6, ways).flow_at_m3s(times)
    assert got == pytest.approx(sum(parts), abs=1e-6 * max(got.max(), 1e-12) + 1e-9)


@given(rain=rains(), ways=responses())
def test_responses_add(rain, ways):
    times = np.linspace(0.0, 8 * DAY_S, 499)
    each = [RainDerived(rain, 1e6, (way,)).flow_at_m3s(times) for way in ways]
    got = RainDerived(rain, 1e6, ways).flow_at_m3s(times)
    assert got == pytest.approx(sum(each), abs=1e-9 * max(got.max(), 1e-12))


@given(rain=rains(), ways=responses(), later=st.floats(0.0, 3 * DAY_S))
def test_later_rain_brings_the_same_flow_later(rain, ways, later):
    times = np.linspace(-3 * DAY_S, 8 * DAY_S, 499)
    moved = dataclasses.replace(rain, at_s=rain.at_s + later)
    got = RainDerived(moved, 1e6, ways).flow_at_m3s(times + later)
    expected = RainDerived(rain, 1e6, ways).flow_at_m3s(times)
    assert got == pytest.approx(expected, abs=1e-7 * max(expected.max(), 1e-12))


@given(rain=rains(), ways=responses(), until=st.floats(0.01, 5.0))
def test_an_episode_sees_what_earlier_rain_still_brings(rain, ways, until):
    source = RainDerived(rain, 1e6, ways)
    end = until * DAY_S
    # the same rain, with the beginning of the episode moved before it
    early = dataclasses.replace(rain, at_s=rain.at_s + 10 * DAY_S)
    whole = RainDerived(early, 1e6, ways).segments(MONDAY, 10 * DAY_S + end)
    wanted = whole.volume_m3(10 * DAY_S + end) - RainDerived(early, 1e6, ways).segments(
        MONDAY, 10 * DAY_S
    ).volume_m3(10 * DAY_S)
    got = source.segments(MONDAY, end).volume_m3(end)
    assert got == pytest.approx(wanted, abs=1e-9 * source.volume_m3)


def test_pieces_begin_with_what_stands_in_the_sewer_when_rain_began_before():
    rain = dataclasses.replace(THREE_HOURS, at_s=-3.22708 * HOUR)
    pieces = RainDerived(rain, 1e6, THREE).segments(MONDAY, DAY_S)
    # 64.0372 L/s at 3.22708 h after the rain began: own computation by two other means.
    assert pieces.start_s[0] == 0.0
    assert float(pieces.at(np.zeros(1))[0]) == pytest.approx(0.0640372, rel=2e-6)


def test_rain_long_past_or_yet_to_come_brings_nothing():
    for at in (-40 * HOUR, DAY_S):
        source = RainDerived(dataclasses.replace(THREE_HOURS, at_s=at), 1e6, THREE)
        pieces = source.segments(MONDAY, DAY_S)
        assert pieces.volume_m3(DAY_S) == 0.0


def test_dry_days_between_storms_have_no_inflow_at_all():
    week = 7 * DAY_S
    rain = from_depths(0.0, [0.0, HOUR, week, week + HOUR], [0.02, 0.0, 0.02])
    source = RainDerived(rain, 1e6, THREE)
    pieces, end = to_the_end(source)
    dry = np.linspace(34 * HOUR, week, 100)
    assert np.all(pieces.at(dry) == 0.0)
    assert np.all(source.flow_at_m3s(dry) == 0.0)
    assert pieces.volume_m3(end) == pytest.approx(0.10 * 0.04 * 1e6, rel=1e-12)


def test_a_year_of_rain_every_five_minutes_keeps_its_volume():
    rng = np.random.default_rng(7)
    wet_day = np.arange(105_120) // 288 % 5 == 0
    depths = np.where(wet_day, rng.random(105_120) * 2e-4, 0.0)
    source = RainDerived(from_depths(0.0, np.arange(105_121) * 300.0, depths), 1e6, THREE)
    pieces, end = to_the_end(source)
    assert pieces.volume_m3(end) == pytest.approx(0.10 * depths.sum() * 1e6, rel=1e-12)
    assert len(pieces.start_s) < 6 * 3 * 3 * int(wet_day.sum())


def test_sum_with_dry_weather_flow_goes_through_the_rules_of_an_episode():
    source = RainDerived(THREE_HOURS, 1e6, THREE)
    episode = Episode(MONDAY, 2 * DAY_S, (Constant(0.01), source), 1.0)
    total = total_inflow(episode)
    assert total.volume_m3(2 * DAY_S) == pytest.approx(0.01 * 2 * DAY_S + 2000.0, rel=1e-12)
    alone = add([Constant(0.01).segments(MONDAY, 2 * DAY_S), source.segments(MONDAY, 2 * DAY_S)])
    assert total.at(np.array([HOUR])) == pytest.approx(alone.at(np.array([HOUR])), rel=1e-12)


def test_no_rain_no_area_or_no_fraction_bring_nothing():
    dry = from_depths(0.0, [0.0, HOUR], [0.0])
    nought = (Response(0.0, HOUR, 2.0),)
    for source in (
        RainDerived(dry, 1e6, THREE),
        RainDerived(THREE_HOURS, 0.0, THREE),
        RainDerived(THREE_HOURS, 1e6, nought),
        RainDerived(THREE_HOURS, 1e6, ()),
    ):
        assert source.segments(MONDAY, DAY_S).volume_m3(DAY_S) == 0.0
        assert source.volume_m3 == 0.0


def test_a_response_of_no_fraction_changes_nothing():
    with_it = RainDerived(THREE_HOURS, 1e6, (*THREE, Response(0.0, 30 * HOUR, 3.0)))
    assert with_it.segments(MONDAY, DAY_S).volume_m3(DAY_S) == pytest.approx(
        RainDerived(THREE_HOURS, 1e6, THREE).segments(MONDAY, DAY_S).volume_m3(DAY_S), rel=1e-12
    )


def test_a_long_response_of_no_fraction_does_not_prolong_a_storm_that_is_over():
    rain = dataclasses.replace(THREE_HOURS, at_s=-20 * HOUR)
    source = RainDerived(rain, 1e6, (THREE[0], Response(0.0, 30 * HOUR, 3.0)))
    assert source.segments(MONDAY, DAY_S).volume_m3(DAY_S) == 0.0


def test_fractions_above_one_in_all_are_refused_with_their_sum():
    ways = tuple(Response(part, HOUR, 2.0) for part in (0.3, 0.4, 0.5))
    with pytest.raises(ValueError, match=r"0.3 \+ 0.4 \+ 0.5 = 1.2"):
        RainDerived(THREE_HOURS, 1e6, ways)


def test_fractions_of_one_in_all_are_taken():
    ways = tuple(Response(part, HOUR, 2.0) for part in (0.1, 0.2, 0.7))
    assert RainDerived(THREE_HOURS, 1e6, ways).volume_m3 == pytest.approx(20_000.0, rel=1e-12)


@pytest.mark.parametrize(
    ("numbers", "told"),
    [
        ((-0.1, HOUR, 2.0), "fraction"),
        ((1.1, HOUR, 2.0), "fraction"),
        ((0.1, 0.0, 2.0), "time to peak"),
        ((0.1, float("nan"), 2.0), "time to peak"),
        ((0.1, HOUR, 0.0), "fall ratio"),
        ((0.1, HOUR, float("inf")), "fall ratio"),
    ],
)
def test_response_that_cannot_be_is_refused_by_name(numbers, told):
    with pytest.raises(ValueError, match=f"slow response: the {told}"):
        Response(*numbers, name="slow response")


def test_area_below_nought_is_refused():
    with pytest.raises(ValueError, match="area is -1 m2"):
        RainDerived(THREE_HOURS, -1.0, THREE)


def test_source_survives_pickling():
    source = RainDerived(THREE_HOURS, 1e6, THREE)
    assert pickle.loads(pickle.dumps(source)) == source

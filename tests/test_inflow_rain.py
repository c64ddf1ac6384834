"""Rain: blocks, the 24-hour distributions, Chicago storms, series."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.inflow.rain import (
    IntensityLaw,
    Rain,
    block,
    chicago,
    from_depths,
    from_fractions,
    nrcs,
)

HOUR = 3600.0
TYPES = ("I", "IA", "II", "III")
LAW = IntensityLaw.from_printed(1000.0, 6.0, 0.8)


def test_block_falls_evenly_and_is_dry_before_and_after():
    rain = block(2 * HOUR, 0.020, 6 * HOUR)
    got = rain.fallen_by_m([0.0, 2 * HOUR, 5 * HOUR, 8 * HOUR, 50 * HOUR])
    assert got == pytest.approx([0.0, 0.0, 0.010, 0.020, 0.020], abs=1e-15)
    assert (rain.begins_s, rain.ends_s, rain.depth_m) == (2 * HOUR, 8 * HOUR, 0.020)


@pytest.mark.parametrize("kind", TYPES)
def test_day_distribution_has_49_points_rises_and_ends_at_its_depth(kind):
    rain = nrcs(-HOUR, 0.100, kind)
    assert len(rain.times_s) == 49
    assert np.array_equal(rain.times_s, np.arange(49) * 1800.0)
    assert np.all(np.diff(rain.fallen_m) > 0.0)
    assert rain.depth_m == 0.100
    assert (rain.begins_s, rain.ends_s) == (-HOUR, 23 * HOUR)


def test_day_distribution_is_straight_between_the_points_of_its_table():
    # Type II, HDS-2 table 6.5: .283 at 11.5 h, .663 at 12.0 h.
    got = nrcs(0.0, 1.0, "II").fallen_by_m([11.5 * HOUR, 11.75 * HOUR, 12 * HOUR])
    assert got == pytest.approx([0.283, 0.473, 0.663], abs=1e-12)


def test_unknown_distribution_is_refused_with_the_four_names():
    with pytest.raises(ValueError, match=r"'IV' \(accepted: I, IA, II, III\)"):
        nrcs(0.0, 0.1, "IV")  # type: ignore[arg-type]


@given(
    a=st.floats(100.0, 5000.0),
    b=st.floats(0.5, 30.0),
    n=st.floats(0.3, 1.0),
    minutes=st.floats(30.0, 720.0),
    peak_at=st.floats(0.0, 1.0),
    part=st.floats(0.001, 1.0),
)
def test_chicago_window_about_its_peak_holds_the_depth_of_the_law(a, b, n, minutes, peak_at, part):
    law = IntensityLaw.from_printed(a, b, n)
    lasts = 60.0 * minutes
    window = part * lasts
    begins = peak_at * (lasts - window)
    # one knot exactly at each end of the window: two storms, each of intervals that meet it
    before = chicago(0.0, lasts, law, peak_at=peak_at, interval_s=max(begins, 1.0))
    after = chicago(0.0, lasts, law, peak_at=peak_at, interval_s=max(begins + window, 1.0))
    held = after.fallen_by_m(max(begins + window, 1.0)) - before.fallen_by_m(max(begins, 1.0))
    if begins >= 1.0 and begins + window >= 1.0:
        assert held == pytest.approx(float(law.depth_m(window)), rel=1e-9, abs=1e-12)
    assert before.depth_m == pytest.approx(float(law.depth_m(lasts)), rel=1e-9)


def test_chicago_depths_do_not_depend_on_its_intervals():
    fine = chicago(0.0, 7200.0, LAW, peak_at=0.4, interval_s=60.0)
    coarse = chicago(0.0, 7200.0, LAW, peak_at=0.4, interval_s=720.0)
    edges = np.asarray(coarse.times_s)
    assert coarse.fallen_by_m(edges) == pytest.approx(fine.fallen_by_m(edges), rel=1e-12)
    assert fine.intensity_ms.max() > 1.5 * coarse.intensity_ms.max()


def test_chicago_may_end_in_a_shorter_interval():
    rain = chicago(0.0, 3500.0, LAW, peak_at=0.5, interval_s=900.0)
    assert rain.times_s == (0.0, 900.0, 1800.0, 2700.0, 3500.0)


@pytest.mark.parametrize("peak_at", [0.0, 1.0])
def test_chicago_peak_at_an_end_of_the_storm_stands_in_the_first_or_last_interval(peak_at):
    rain = chicago(0.0, 7200.0, LAW, peak_at=peak_at)
    assert rain.intensity_ms.argmax() == (0 if peak_at == 0.0 else len(rain.times_s) - 2)
    assert np.all(np.sign(np.diff(rain.intensity_ms)) == (-1.0 if peak_at == 0.0 else 1.0))


def test_chicago_in_inches_is_the_same_storm():
    law = IntensityLaw.from_printed(1000.0 / 25.4, 6.0, 0.8, depth_unit_m=0.0254)
    assert float(law.depth_m(7200.0)) == pytest.approx(float(LAW.depth_m(7200.0)), rel=1e-12)


def test_law_gives_the_mean_intensity_over_a_duration():
    # i = 1000 / (10 + 6)^0.8 mm/h over 10 min.
    assert float(LAW.depth_m(600.0)) == pytest.approx(1000.0 / 16.0**0.8 / 6.0 * 1e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("numbers", "told"),
    [
        ((0.0, 6.0, 0.8), "scale"),
        ((1000.0, -1.0, 0.8), "offset"),
        ((1000.0, 6.0, 0.0), "exponent"),
        ((float("nan"), 6.0, 0.8), "scale"),
        ((1000.0, 0.0, 1.0), "into no time"),
    ],
)
def test_law_that_is_none_is_refused(numbers, told):
    with pytest.raises(ValueError, match=told):
        IntensityLaw.from_printed(*numbers)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"duration_s": 0.0}, "duration"),
        ({"interval_s": -1.0}, "interval"),
        ({"interval_s": 1e-3}, "longer interval"),
        ({"peak_at": 1.1}, "0 to 1"),
        ({"law": IntensityLaw.from_printed(1000.0, 6.0, 1.2)}, "up to 30 min"),
    ],
)
def test_chicago_storm_that_cannot_be_is_refused(changed, told):
    given_ = {"duration_s": 7200.0, "law": LAW, "peak_at": 0.4, **changed}
    with pytest.raises(ValueError, match=told):
        chicago(0.0, given_.pop("duration_s"), given_.pop("law"), **given_)


@given(depths=st.lists(st.floats(0.0, 0.05), min_size=1, max_size=40), at=st.floats(-1e6, 1e6))
def test_series_keeps_each_depth_and_moves_as_a_whole(depths, at):
    edges = np.arange(len(depths) + 1) * 300.0
    rain = from_depths(at, edges, depths)
    assert np.diff(rain.fallen_m) == pytest.approx(depths, abs=1e-14)
    assert rain.fallen_by_m(at + edges) == pytest.approx(rain.fallen_m, abs=1e-10)


@pytest.mark.parametrize(
    ("times", "fallen", "told"),
    [
        ((0.0,), (0.0,), "two times or more"),
        ((0.0, 1.0), (0.0,), "two times or more"),
        ((0.0, 0.0), (0.0, 0.1), "must rise"),
        ((0.0, 10.0, 5.0), (0.0, 0.1, 0.2), "5 s follows 10 s"),
        ((0.0, 1.0), (0.1, 0.2), "accepted: 0 at first"),
        ((0.0, 1.0, 2.0), (0.0, 0.2, 0.1), "by 2 s is 0.1 m"),
        ((0.0, 1.0), (0.0, float("inf")), "finite"),
        ((0.0, float("nan")), (0.0, 0.1), "finite"),
    ],
)
def test_rain_that_cannot_be_is_refused(times, fallen, told):
    with pytest.raises(ValueError, match=told):
        Rain(0.0, times, fallen)


def test_depth_below_nought_is_refused_with_its_interval():
    with pytest.raises(ValueError, match=r"interval 2 is -0\.001 m"):
        from_depths(0.0, [0.0, 1.0, 2.0], [0.001, -0.001])


def test_distribution_that_does_not_end_at_one_is_refused():
    with pytest.raises(ValueError, match=r"end at 1 \(found 0.9\)"):
        from_fractions(0.0, [0.0, 1.0], [0.0, 0.9], 0.1)


def test_rain_survives_pickling_and_compares_by_what_it_holds():
    rain = nrcs(0.0, 0.05, "II")
    assert pickle.loads(pickle.dumps(rain)) == rain
    assert hash(rain) == hash(nrcs(0.0, 0.05, "II"))
    assert rain != nrcs(0.0, 0.05, "III")

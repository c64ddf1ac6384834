"""Age of the water in the main: closed forms, and a second opinion that follows parcels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stationsim.physics.waterage import MainFlow


@st.composite
def main_flows(draw: st.DrawFn) -> MainFlow:
    """Pumps that run, rest and change their flow; constant or sloping pieces."""
    count = draw(st.integers(1, 8))
    lasts = [draw(st.integers(20, 2000)) / 2.0 for _ in range(count)]
    edges = draw(st.sampled_from([0.0, -350.0, 86400.0])) + np.concatenate(
        ([0.0], np.cumsum(lasts))
    )
    begin = np.array([draw(st.integers(0, 40)) / 1000.0 for _ in range(count)])
    end = begin.copy()
    if draw(st.booleans()):
        end = np.array([draw(st.integers(0, 40)) / 1000.0 for _ in range(count)])
    main = draw(st.integers(1, 400)) / 10.0
    age = draw(st.sampled_from([math.nan, 0.0, 7200.0]))
    return MainFlow(edges, begin, (end - begin) / np.diff(edges), main, age)


def parcels(flow: MainFlow, count: int = 4000) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return volume, entry and exit time of many equal parcels, by bisection of the passed volume.

    What stood in the main at the beginning entered 'start age' before the first edge.
    """
    total = float(flow.passed_m3(flow.edges_s[-1]))
    begin = 0.0 if math.isnan(flow.start_age_s) else -flow.main_m3
    end = total - flow.main_m3
    if end <= begin:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    size = (end - begin) / count
    entered = begin + size * (np.arange(count) + 0.5)

    def when(volume: np.ndarray) -> np.ndarray:
        low = np.full(volume.shape, flow.edges_s[0])
        high = np.full(volume.shape, flow.edges_s[-1])
        for _ in range(60):
            middle = (low + high) / 2.0
            less = flow.passed_m3(middle) < volume
            low, high = np.where(less, middle, low), np.where(less, high, middle)
        return high

    enters = np.where(entered < 0.0, flow.edges_s[0] - flow.start_age_s, when(entered))
    return np.full(count, size), enters, when(entered + flow.main_m3)


@settings(max_examples=60)
@given(main_flows())
def test_mean_and_greatest_age_are_those_of_many_parcels(flow: MainFlow) -> None:
    size, enters, leaves = parcels(flow)
    found = flow.ages()
    assert found.left_m3 == pytest.approx(float(size.sum()), abs=1e-9)
    if size.sum() < 1e-6:
        return
    ages = leaves - enters
    # a parcel where the age jumps counts to one side: its share of the range of ages
    spread = float(ages.max() - ages.min())
    assert found.mean_s == pytest.approx(float(ages.mean()), abs=spread / 200.0 + 1e-6)
    assert found.greatest_s >= ages.max() - 1e-6
    # near a rest or a slope to nought a parcel's neighbours are much older: allow two parcels
    steepest = float(np.abs(np.diff(ages)).max(initial=0.0))
    assert found.greatest_s <= ages.max() + 2.0 * steepest + 1e-6


@settings(max_examples=60)
@given(main_flows(), st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20))
def test_age_at_the_outlet_counts_back_one_volume_of_the_main(
    flow: MainFlow, shares: list[float]
) -> None:
    at = flow.edges_s[0] + np.array(shares) * (flow.edges_s[-1] - flow.edges_s[0])
    ages = flow.ages_at(at)
    passed = flow.passed_m3(at)
    for time, age, now in zip(at, ages, passed, strict=True):
        if now < flow.main_m3:
            expected = time - flow.edges_s[0] + flow.start_age_s
            assert age == pytest.approx(expected, nan_ok=True, abs=1e-6)
        else:
            entered = float(flow.passed_m3(time - age))
            assert entered == pytest.approx(now - flow.main_m3, abs=1e-9 * (1.0 + now))
            assert age >= 0.0


@settings(max_examples=60)
@given(main_flows())
def test_no_age_at_the_outlet_while_it_leaves_is_above_the_greatest(flow: MainFlow) -> None:
    found = flow.ages()
    if not found.left_m3 > 0.0:
        return
    at = np.linspace(flow.edges_s[0], flow.edges_s[-1], 501)[:-1]
    leaving = np.diff(flow.passed_m3(np.append(at, flow.edges_s[-1]))) > 1e-12
    ages = flow.ages_at(at)[leaving]
    # a time within the last rest before it leaves reads less than when it leaves
    assert np.nanmax(ages, initial=0.0) <= found.greatest_s + 1e-6
    assert found.mean_s <= found.greatest_s + 1e-6


@given(st.floats(0.001, 0.5), st.floats(0.1, 50.0), st.floats(1.01, 20.0))
def test_constant_flow_ages_its_water_by_volume_over_flow(
    flow_m3s: float, main_m3: float, fillings: float
) -> None:
    through = main_m3 / flow_m3s
    flow = MainFlow([0.0, fillings * through], [flow_m3s], [0.0], main_m3)
    found = flow.ages()
    assert found.mean_s == pytest.approx(through, rel=1e-9)
    assert found.greatest_s == pytest.approx(through, rel=1e-9)
    assert found.left_m3 == pytest.approx((fillings - 1.0) * main_m3, rel=1e-9)


def test_pump_that_cycles_ages_the_water_by_its_rests() -> None:
    # 3.6 m3 in 120 s of 30 L/s, then 480 s of rest; the main holds two and a half such runs
    edges = np.cumsum([0.0] + [120.0, 480.0] * 10)
    flow = MainFlow(edges, np.tile([0.03, 0.0], 10), np.zeros(20), 9.0)
    found = flow.ages()
    # water of the first half of a run leaves in the second half of the run two later (60 s on),
    # that of the second half in the first half three later (60 s back); of the 27 m3 that leave,
    # 8 first halves and 7 second halves
    young, old = 2.0 * 600.0 + 60.0, 3.0 * 600.0 - 60.0
    assert found.mean_s == pytest.approx((8.0 * young + 7.0 * old) / 15.0, rel=1e-12)
    assert found.greatest_s == pytest.approx(3.0 * 600.0 - 60.0, rel=1e-12)
    assert found.left_m3 == pytest.approx(36.0 - 9.0, rel=1e-12)
    # at rest, the water at the outlet ages by the second
    assert flow.ages_at([2550.0, 2650.0]) == pytest.approx([1290.0, 1390.0], rel=1e-12)


def test_water_of_the_first_filling_counts_only_when_its_age_is_known() -> None:
    edges, flows, slopes = [0.0, 100.0], [0.02], [0.0]
    unknown = MainFlow(edges, flows, slopes, 5.0).ages()
    assert (unknown.left_m3, unknown.greatest_s) == (0.0, pytest.approx(math.nan, nan_ok=True))
    assert math.isnan(unknown.mean_s)
    assert math.isnan(unknown.greatest_at_s)
    known = MainFlow(edges, flows, slopes, 5.0, start_age_s=3600.0).ages()
    assert known.left_m3 == pytest.approx(2.0, rel=1e-12)
    assert known.mean_s == pytest.approx(3650.0, rel=1e-12)
    assert (known.greatest_s, known.greatest_at_s) == pytest.approx((3700.0, 100.0), rel=1e-12)
    assert MainFlow(edges, flows, slopes, 5.0, 3600.0).ages_at([0.0, 40.0]) == pytest.approx(
        [3600.0, 3640.0], rel=1e-12
    )


def test_greatest_age_within_a_sloping_piece_is_found() -> None:
    # the flow falls to a minimum and rises again: the oldest water straddles it
    flow = MainFlow([0.0, 1000.0, 2000.0], [0.02, 0.002], [-1.8e-5, 1.8e-5], 3.0)
    found = flow.ages()
    at = np.linspace(0.0, 2000.0, 200_001)
    ages = flow.ages_at(at)
    best = int(np.nanargmax(ages))
    assert found.greatest_s == pytest.approx(float(ages[best]), abs=1e-6)
    assert found.greatest_at_s == pytest.approx(float(at[best]), abs=0.02)
    # by symmetry the half of the main either side of the minimum: 0.002 s + 0.9e-5 s^2 = 1.5
    half = (-0.002 + math.sqrt(0.002**2 + 4.0 * 0.9e-5 * 1.5)) / 1.8e-5
    assert found.greatest_s == pytest.approx(2.0 * half, rel=1e-9)


@given(st.lists(st.tuples(st.integers(1, 900), st.integers(0, 40)), min_size=1, max_size=12))
@example([(10, 0), (10, 0)])
def test_flow_from_passed_volumes_passes_them(pieces: list[tuple[int, int]]) -> None:
    times = np.concatenate(([0.0], np.cumsum([float(t) for t, _ in pieces])))
    volumes = 7.0 + np.concatenate(([0.0], np.cumsum([v / 10.0 for _, v in pieces])))
    flow = MainFlow.from_volumes(times, volumes, 2.0)
    assert flow.passed_m3(times) == pytest.approx(volumes - 7.0, abs=1e-9)
    assert flow.totals_m3 == pytest.approx(volumes - 7.0, abs=1e-9)


def test_time_outside_the_run_reads_its_ends() -> None:
    flow = MainFlow([0.0, 100.0], [0.02], [0.0], 1.0)
    assert flow.passed_m3([-5.0, 0.0, 100.0, 900.0]).tolist() == [0.0, 0.0, 2.0, 2.0]


def test_year_of_cycles_is_quick_and_exact() -> None:
    count = 20_000
    edges = np.cumsum(np.concatenate(([0.0], np.tile([150.0, 1450.0], count))))
    flow = MainFlow(edges, np.tile([0.03, 0.0], count), np.zeros(2 * count), 18.0)
    found = flow.ages()
    assert found.mean_s == pytest.approx(18.0 / (0.03 * 150.0 / 1600.0), rel=1e-9)
    assert found.greatest_s == pytest.approx(4.0 * 1600.0, rel=1e-9)


@pytest.mark.parametrize(
    ("edges", "flows", "slopes", "main", "message"),
    [
        ([0.0, 10.0], [0.1, 0.2], [0.0, 0.0], 1.0, "one more edge"),
        ([0.0], [], [], 1.0, "at least one piece"),
        ([0.0, 0.0], [0.1], [0.0], 1.0, "must rise"),
        ([0.0, math.nan], [0.1], [0.0], 1.0, "must rise"),
        ([0.0, 10.0], [-0.1], [0.0], 1.0, "must not fall below 0"),
        ([0.0, 10.0], [0.1], [-0.1], 1.0, "must not fall below 0"),
        ([0.0, 10.0], [math.nan], [0.0], 1.0, "must not fall below 0"),
        ([0.0, 10.0], [0.1], [0.0], 0.0, "more than nothing"),
    ],
)
def test_flow_that_cannot_be_is_refused(
    edges: list[float], flows: list[float], slopes: list[float], main: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        MainFlow(np.array(edges), np.array(flows), np.array(slopes), main)

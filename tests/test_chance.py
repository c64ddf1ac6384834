"""Streams that keep their own counsel, ranges and rates: against SciPy and closed forms."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stationsim.chance import (
    Range,
    Stream,
    Streams,
    demands_until_failure,
    key_of,
    until_failure,
)

parts = st.floats(0.0, 1.0, exclude_max=True)


@given(st.integers(0, 2**32), st.lists(st.integers(0, 200), min_size=1, max_size=20))
def test_a_number_depends_on_its_count_and_not_on_what_was_asked_before(
    root: int, counts: list[int]
) -> None:
    asked = Stream(root, key_of("P1", "fails to start"))
    for n in counts:
        assert asked.number(n) == Stream(root, key_of("P1", "fails to start")).number(n)


def test_streams_of_other_subjects_purposes_and_replicates_differ() -> None:
    one = [Streams(7).stream("P1", "trips").number(n) for n in range(50)]
    for other in (
        Streams(7).stream("P2", "trips"),
        Streams(7).stream("P1", "fails to start"),
        Streams(7, 1).stream("P1", "trips"),
        Streams(8).stream("P1", "trips"),
    ):
        assert one != [other.number(n) for n in range(50)]


def test_one_more_stream_shifts_no_other() -> None:
    alone = Streams(3).stream("P1", "trips").number(4)
    among = Streams(3)
    for subject in ("P2", "P3", "grid"):
        among.stream(subject, "trips").number(9)
    assert among.stream("P1", "trips").number(4) == alone


def test_keys_are_the_same_in_another_process() -> None:
    """Python's own hash of a text is not: it is salted."""
    code = "from stationsim.chance import Streams; print(Streams(5).stream('P1', 'x').number(3))"
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    assert float(said) == Streams(5).stream("P1", "x").number(3)


def test_numbers_are_even_and_independent() -> None:
    """Kolmogorov and Smirnov, and the correlation of neighbours, with fixed seeds."""
    stream = Streams(2027).stream("grid", "lost")
    drawn = np.array([stream.number(n) for n in range(4000)])
    assert stats.kstest(drawn, "uniform").pvalue > 0.01
    assert abs(np.corrcoef(drawn[:-1], drawn[1:])[0, 1]) < 3.0 / math.sqrt(4000)


def test_a_clash_of_keys_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stationsim.chance.key_of", lambda *_: 1)
    streams = Streams(1)
    streams.stream("P1", "trips")
    with pytest.raises(ValueError, match="same key"):
        streams.stream("P2", "trips")


def test_a_count_below_nought_is_refused() -> None:
    with pytest.raises(ValueError, match="counted from 0"):
        Stream(1, 1).number(-1)


@given(parts, st.floats(-50.0, 50.0), st.floats(0.01, 50.0), st.floats(0.0, 1.0))
def test_a_range_is_scipys_triangular_distribution(
    part: float, low: float, wide: float, place: float
) -> None:
    """scipy.stats.triang, an independent library."""
    range_ = Range(low, low + place * wide, low + wide)
    inside = (range_.typical - range_.low) / (range_.high - range_.low)
    theirs = stats.triang(min(inside, 1.0), loc=low, scale=range_.high - low).ppf(part)
    assert range_.at(part) == pytest.approx(theirs, abs=1e-6 * wide)


@given(st.floats(-1e6, 1e6), parts)
def test_a_point_is_itself(value: float, part: float) -> None:
    assert Range.point(value).at(part) == value
    assert Range.point(value).mean == pytest.approx(value)


@pytest.mark.parametrize("three", [(2.0, 1.0, 3.0), (1.0, 4.0, 3.0), (math.nan, 1.0, 2.0)])
def test_a_range_that_does_not_rise_is_refused(three: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="rises"):
        Range(*three)


def test_exposure_until_failure_is_scipys_exponential() -> None:
    for part in (0.0, 0.1, 0.5, 0.9, 0.999):
        theirs = stats.expon(scale=1.0 / 3e-4).ppf(part)
        assert until_failure(part, 3e-4) == pytest.approx(theirs, rel=1e-12)
    assert until_failure(0.3, 0.0) == math.inf


@given(parts, st.floats(1e-6, 0.999))
def test_demands_until_failure_follow_from_their_definition(
    part: float, probability: float
) -> None:
    """By its definition: the least count whose probability of a failure exceeds the part."""
    count = demands_until_failure(part, probability)
    assert count >= 1.0
    survives = math.log1p(-probability)
    slack = 1e-9 * max(1.0, abs(math.log1p(-part)))
    assert count * survives <= math.log1p(-part) + slack
    assert (count - 1.0) * survives >= math.log1p(-part) - slack


def test_demands_at_the_ends() -> None:
    assert demands_until_failure(0.5, 0.0) == math.inf
    assert demands_until_failure(0.5, 1.0) == 1.0
    assert demands_until_failure(0.0, 0.3) == 1.0
    assert demands_until_failure(0.31, 0.3) == 2.0

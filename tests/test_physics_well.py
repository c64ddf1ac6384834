"""Stage-storage: solid geometry, and properties that hold for any well."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from stationsim.physics.well import Part, Well, box, cone, cylinder, store, table

lengths = st.floats(0.2, 12.0)
heights = st.integers(50, 6000).map(lambda mm: mm / 1000.0)


@st.composite
def wells(draw: st.DrawFn) -> Well:
    """Any well that a scenario could describe: hoppers, shafts, boxes, tables, sewers beside."""
    kind = draw(st.sampled_from(["shaft", "hopper", "hopper to a point", "table", "steps"]))
    parts: list[Part] = []
    if kind == "shaft":
        parts.append(draw(st.builds(cylinder, lengths) | st.builds(box, lengths, lengths)))
    elif kind.startswith("hopper"):
        top = draw(lengths)
        bottom = 0.0 if kind.endswith("point") else draw(lengths)
        height = draw(heights)
        parts.append(cone(bottom, top, 0.0, height))
        parts.append(cylinder(top, from_m=height, to_m=draw(st.sampled_from([math.inf, 20.0]))))
    else:
        steps = draw(st.lists(heights, min_size=1, max_size=5))
        levels = np.concatenate([[0.0], np.cumsum(steps)]).tolist()
        areas = draw(st.lists(st.floats(0.1, 200.0), min_size=len(levels), max_size=len(levels)))
        parts.extend(table(levels, areas, steps=kind == "steps"))
    for _ in range(draw(st.integers(0, 2))):
        low = draw(st.integers(0, 5000)) / 1000.0
        parts.append(store(draw(st.floats(0.1, 100.0)), low, low + draw(heights)))
    return Well(tuple(parts))


levels = st.floats(0.0, 15.0)


@given(wells(), levels)
def test_level_of_the_volume_of_a_level_is_the_level(well: Well, level_m: float) -> None:
    volume = well.volume_at(level_m)
    # 1e-12 of the level, or what rounding of the volume means there as a level
    tolerance = 1e-12 * (1.0 + level_m) + 4e-15 * volume / max(well.area_at(level_m), 1e-9)
    if volume > 1e-300:  # next to the point of a hopper the volume is lost in underflow
        assert well.level_at(volume) == pytest.approx(level_m, abs=tolerance)


@given(wells(), st.floats(0.0, 500.0))
def test_volume_of_the_level_of_a_volume_is_the_volume(well: Well, volume_m3: float) -> None:
    level = well.level_at(volume_m3)
    tolerance = 1e-12 * (1.0 + volume_m3) + 4e-15 * level * well.area_at(level)
    assert well.volume_at(level) == pytest.approx(volume_m3, abs=tolerance)


@given(wells(), levels, st.floats(1e-6, 5.0))
def test_volume_rises_with_level(well: Well, level_m: float, rise_m: float) -> None:
    assert well.volume_at(level_m + rise_m) > well.volume_at(level_m)


@given(wells(), st.floats(0.0, 300.0), st.floats(1e-6, 50.0))
def test_level_rises_with_volume(well: Well, volume_m3: float, more_m3: float) -> None:
    assert well.level_at(volume_m3 + more_m3) > well.level_at(volume_m3)


@settings(max_examples=60)
@given(wells(), levels, levels)
def test_volume_between_two_levels_is_the_integral_of_the_area(
    well: Well, one_m: float, other_m: float
) -> None:
    low, high = sorted((one_m, other_m))
    marks = [low, *[x for x in well.levels_m if low < x < high], high]
    # the area is a quadratic between marks, for which a Gauss rule is exact
    inside = sum(
        quad(well.area_at, a, b, limit=10)[0] if b - a < 1e-3 else _gauss(well, a, b)
        for a, b in itertools.pairwise(marks)
    )
    assert well.volume_at(high) - well.volume_at(low) == pytest.approx(inside, rel=1e-10, abs=1e-9)


def _gauss(well: Well, low: float, high: float) -> float:
    nodes, weights = np.polynomial.legendre.leggauss(3)
    half = (high - low) / 2.0
    return half * sum(
        float(w) * well.area_at(low + half * (1.0 + float(x)))
        for x, w in zip(nodes, weights, strict=True)
    )


@given(wells(), st.floats(0.01, 12.0))
def test_area_is_the_derivative_of_the_volume(well: Well, level_m: float) -> None:
    h = 1e-3
    # a corner of the curve has two derivatives
    assume(all(abs(level_m - mark) > 2.0 * h for mark in well.levels_m))
    near = well.volume_at(level_m + h) - well.volume_at(level_m - h)
    far = well.volume_at(level_m + 2.0 * h) - well.volume_at(level_m - 2.0 * h)
    # exact for a cubic; what is left is rounding, 1e-16 of the volume over h
    assert (8.0 * near - far) / (12.0 * h) == pytest.approx(
        well.area_at(level_m), rel=1e-9, abs=1e-12 * (1.0 + well.volume_at(level_m)) / h
    )


@given(wells(), st.lists(st.floats(-5.0, 500.0), max_size=8))
def test_levels_of_many_volumes_equal_those_one_by_one(well: Well, volumes: list[float]) -> None:
    many = well.levels_at(np.array(volumes, dtype=float))
    assert many.tolist() == pytest.approx([well.level_at(v) for v in volumes], rel=1e-15)


@given(wells())
def test_nothing_stands_at_or_below_the_floor(well: Well) -> None:
    assert well.volume_at(0.0) == 0.0
    assert well.volume_at(-1.0) == 0.0
    assert well.level_at(0.0) == 0.0
    assert well.level_at(-1.0) == 0.0


@given(st.floats(0.5, 10.0), st.floats(0.02, 0.9), heights)
def test_narrowing_hopper_is_the_widening_one_upside_down(
    wide_m: float, share: float, height_m: float
) -> None:
    narrow_m = share * wide_m
    down = Well((cone(wide_m, narrow_m, 0.0, height_m), cylinder(narrow_m, height_m)))
    up = Well((cone(narrow_m, wide_m, 0.0, height_m), cylinder(wide_m, height_m)))
    full = up.volume_at(height_m)
    assert down.volume_at(height_m) == pytest.approx(full, rel=1e-13)
    for part in (0.1, 0.5, 0.97):
        left = full - up.volume_at((1.0 - part) * height_m)
        assert down.volume_at(part * height_m) == pytest.approx(left, rel=1e-9)
        assert down.level_at(left) == pytest.approx(part * height_m, rel=1e-9)


def test_sewer_that_backs_up_is_added_between_its_levels() -> None:
    well = Well((cylinder(3.0), store(20.0, 2.60, 4.20)))
    shaft = math.pi * 9.0 / 4.0
    assert well.volume_at(2.60) == pytest.approx(shaft * 2.60, rel=1e-14)
    assert well.volume_at(3.40) == pytest.approx(shaft * 3.40 + 10.0, rel=1e-14)
    assert well.volume_at(4.20) == pytest.approx(shaft * 4.20 + 20.0, rel=1e-14)
    assert well.volume_at(5.00) == pytest.approx(shaft * 5.00 + 20.0, rel=1e-14)


def test_levels_that_differ_in_the_last_digit_are_one() -> None:
    well = Well((cone(1.0, 3.0, 0.0, 0.3), cylinder(3.0, from_m=0.1 + 0.2)))
    assert well.levels_m == (0.0, 0.3)
    well = Well((cylinder(3.0, 0.0, 101.3 - 100.0), cylinder(2.0, from_m=1.3)))
    assert well.area_at(1.4) == pytest.approx(math.pi, rel=1e-14)


def test_top_of_the_last_layer_goes_on_upwards() -> None:
    well = Well((cone(1.0, 3.0, 0.0, 2.0),))
    assert well.area_at(5.0) == pytest.approx(math.pi * 9.0 / 4.0, rel=1e-14)
    assert well.volume_at(3.0) - well.volume_at(2.0) == pytest.approx(
        math.pi * 9.0 / 4.0, rel=1e-13
    )


def test_stepped_table_holds_its_area_up_to_the_next_level() -> None:
    well = Well(table([0.0, 1.0, 3.0], [2.0, 5.0, 7.0], steps=True))
    assert [well.volume_at(z) for z in (0.5, 1.0, 3.0, 4.0)] == pytest.approx(
        [1.0, 2.0, 12.0, 19.0], rel=1e-15
    )


def test_sloped_table_is_linear_in_area_between_its_levels() -> None:
    well = Well(table([0.0, 1.0, 3.0], [2.0, 5.0, 7.0]))
    assert well.area_at(0.5) == pytest.approx(3.5, rel=1e-15)
    assert [well.volume_at(z) for z in (1.0, 3.0, 4.0)] == pytest.approx(
        [3.5, 15.5, 22.5], rel=1e-15
    )


@pytest.mark.parametrize(
    "parts",
    [
        pytest.param((), id="no parts"),
        pytest.param((cylinder(2.0, from_m=1.0),), id="nothing at the floor"),
        pytest.param((cylinder(2.0, 0.0, 1.0), cylinder(2.0, 2.0)), id="a gap between"),
        pytest.param((cylinder(0.0),), id="no width"),
        pytest.param((cylinder(2.0, 0.0, 1.0), Part(1.0, math.inf, -3.0)), id="negative area"),
    ],
)
def test_well_without_area_somewhere_is_refused(parts: tuple[Part, ...]) -> None:
    with pytest.raises(ValueError, match="no plan area"):
        Well(parts)

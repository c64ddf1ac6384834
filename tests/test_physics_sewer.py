"""The sewer as storage: closed forms against quadrature and a library, and its pieces in a well."""

from __future__ import annotations

import dataclasses
import math
import pickle
from itertools import pairwise
from typing import Any

import fluids.geometry
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from stationsim.physics.sewer import (
    AREA_TOLERANCE,
    VOLUME_TOLERANCE,
    Manhole,
    Sewer,
    SewerPipe,
    hydraulic_radius_m,
    surface_width_m,
    wetted_area_m2,
    wetted_perimeter_m,
)
from stationsim.physics.well import Well, box, cylinder, frustum

diameters = st.integers(100, 2000).map(lambda mm: mm / 1000.0)
shares = st.floats(0.0, 1.0)
slopes = st.sampled_from([0.0, 1e-7, 1e-5, 0.0004, 0.002, 0.005, 0.02, 0.1, 1.0])


@st.composite
def sewer_pipes(draw: st.DrawFn) -> SewerPipe:
    return SewerPipe(
        draw(diameters),
        draw(st.integers(2, 1500)) * 1.0,
        draw(slopes),
        draw(st.integers(0, 4000)) / 1000.0,
    )


@st.composite
def sewers(draw: st.DrawFn) -> Sewer:
    """One to three pipes and up to two manholes on them."""
    pipes = draw(st.lists(sewer_pipes(), min_size=1, max_size=3))
    manholes = []
    for _ in range(draw(st.integers(0, 2))):
        pipe = draw(st.sampled_from(pipes))
        foot = pipe.crown_at(draw(shares) * pipe.length_m)
        manholes.append(Manhole(draw(diameters), foot, foot + draw(st.integers(1, 5000)) / 1000.0))
    return Sewer(tuple(pipes), tuple(manholes))


def levels_through(sewer: Sewer, count: int) -> list[float]:
    """Return levels from below all pipes to above them."""
    low = min(pipe.invert_m for pipe in sewer.pipes)
    high = max(pipe.top_m for pipe in sewer.pipes)
    return [low + (high - low) * (1.1 * n / count - 0.05) for n in range(count + 1)]


def pipes_only(sewer: Sewer) -> Sewer:
    return Sewer(sewer.pipes)


# ---------------------------------------------------------------- the section


@given(diameters, shares)
@example(1.0, 1e-9)
@example(1.0, 0.148)
@example(1.0, 0.149)
def test_wetted_area_is_the_integral_of_the_surface_width(diameter_m: float, share: float) -> None:
    depth = share * diameter_m
    # by the substitution depth = D sin^2 u the integrand has no square root left
    end = math.asin(math.sqrt(share))
    area, _ = quad(
        lambda u: 2.0 * (diameter_m * math.sin(u) * math.cos(u)) ** 2 * 2.0, 0.0, end, epsrel=1e-12
    )
    assert wetted_area_m2(depth, diameter_m) == pytest.approx(area, rel=1e-11, abs=1e-300)


@given(diameters, shares)
def test_wetted_area_agrees_with_the_library(diameter_m: float, share: float) -> None:
    depth = share * diameter_m
    library = fluids.geometry.A_partial_circle(diameter_m, depth)
    full = math.pi / 4.0 * diameter_m**2
    # the library takes an arc cosine, which loses half the digits next to dry and full
    assert wetted_area_m2(depth, diameter_m) == pytest.approx(library, rel=1e-12, abs=1e-8 * full)


@given(diameters, shares)
def test_section_upside_down_holds_the_rest(diameter_m: float, share: float) -> None:
    above = (1.0 - share) * diameter_m
    depth = diameter_m - above
    full = math.pi / 4.0 * diameter_m**2
    assert wetted_area_m2(depth, diameter_m) + wetted_area_m2(above, diameter_m) == pytest.approx(
        full, rel=1e-14
    )
    assert wetted_perimeter_m(depth, diameter_m) + wetted_perimeter_m(
        above, diameter_m
    ) == pytest.approx(math.pi * diameter_m, rel=1e-7)  # an arc loses half the digits when full


def test_dry_and_full_pipe_have_their_limits() -> None:
    assert wetted_area_m2(-0.2, 0.5) == wetted_perimeter_m(-0.2, 0.5) == 0.0
    assert hydraulic_radius_m(0.0, 0.5) == surface_width_m(0.0, 0.5) == 0.0
    assert surface_width_m(0.6, 0.5) == 0.0
    assert wetted_area_m2(0.9, 0.5) == pytest.approx(math.pi / 16.0, rel=1e-15)
    assert hydraulic_radius_m(0.9, 0.5) == pytest.approx(0.125, rel=1e-15)


# ---------------------------------------------------------------- one pipe


@settings(max_examples=60)
@given(sewer_pipes(), st.floats(-0.05, 1.05))
def test_volume_of_a_pipe_is_the_integral_of_its_sections(pipe: SewerPipe, share: float) -> None:
    level = pipe.invert_m + share * (pipe.top_m - pipe.invert_m)
    cosine = 1.0 / math.hypot(1.0, pipe.slope)

    def section(along: float) -> float:
        deep = (level - pipe.invert_m - along * pipe.slope * cosine) / cosine
        return wetted_area_m2(deep, pipe.diameter_m)

    ends = [0.0, pipe.length_m]
    if pipe.slope > 0.0:  # where a section is just dry or just full
        rests = (0.0, pipe.diameter_m * cosine)
        ends += [(level - pipe.invert_m - rest) / (pipe.slope * cosine) for rest in rests]
    ends = sorted(x for x in ends if 0.0 <= x <= pipe.length_m)
    total = sum(quad(section, a, b, epsrel=1e-11, limit=200)[0] for a, b in pairwise(ends))
    assert pipe.volume_at(level) == pytest.approx(total, rel=1e-9, abs=1e-9 * pipe.full_m3)


@given(diameters, st.floats(1.0, 500.0), shares)
def test_level_pipe_agrees_with_a_lying_tank_of_the_library(
    diameter_m: float, length_m: float, share: float
) -> None:
    pipe = SewerPipe(diameter_m, length_m, 0.0, 1.0)
    tank = fluids.geometry.TANK(D=diameter_m, L=length_m, horizontal=True)
    assert pipe.volume_at(1.0 + share * diameter_m) == pytest.approx(
        tank.V_from_h(share * diameter_m), rel=1e-12, abs=1e-8 * pipe.full_m3
    )


@given(sewer_pipes(), shares)
def test_pipe_upside_down_holds_the_rest(pipe: SewerPipe, share: float) -> None:
    low, high = pipe.invert_m, pipe.top_m
    at, mirrored = low + share * (high - low), high - share * (high - low)
    assert pipe.volume_at(at) + pipe.volume_at(mirrored) == pytest.approx(pipe.full_m3, rel=1e-9)
    assert pipe.area_at(at) == pytest.approx(
        pipe.area_at(mirrored), abs=1e-5 * pipe.greatest_area_m2
    )


@given(sewer_pipes(), shares, st.floats(1e-4, 0.3))
def test_volume_and_area_of_a_pipe_stay_within_their_limits(
    pipe: SewerPipe, share: float, rise_m: float
) -> None:
    level = pipe.invert_m + share * (pipe.top_m - pipe.invert_m)
    less, more = pipe.volume_at(level), pipe.volume_at(level + rise_m)
    rounding = 1e-10 * pipe.full_m3
    assert -rounding <= less <= more + rounding <= pipe.full_m3 + 2.0 * rounding
    assert 0.0 <= pipe.area_at(level) <= pipe.greatest_area_m2 * (1.0 + 1e-9)


@pytest.mark.parametrize("slope", [0.0, 1e-6, 0.004])
def test_dry_pipe_holds_nothing_and_full_pipe_all(slope: float) -> None:
    pipe = SewerPipe(0.3, 60.0, slope, 1.2)
    for level in (-1.0, 0.0, 1.2):
        assert pipe.volume_at(level) == pipe.area_at(level) == 0.0
    for level in (pipe.top_m, pipe.top_m + 5.0):
        assert pipe.volume_at(level) == pytest.approx(math.pi * 0.0225 * 60.0, rel=1e-9)
        assert pipe.area_at(level) == pytest.approx(0.0, abs=1e-9)


def test_nearly_level_pipe_goes_over_into_the_level_one() -> None:
    level_one = SewerPipe(0.5, 100.0, 0.0, 1.0)
    for drop_m in (1e-2, 1e-4, 1e-6, 1e-9):
        pipe = SewerPipe(0.5, 100.0, drop_m / 100.0, 1.0)
        for depth in (0.05, 0.21, 0.47):
            # of second order in the drop, plus what rounding of the level makes
            assert pipe.volume_at(1.0 + drop_m / 2.0 + depth) == pytest.approx(
                level_one.volume_at(1.0 + depth), rel=(drop_m / 0.05) ** 2 + 1e-13
            )


def test_next_pipe_goes_on_where_the_first_ends() -> None:
    whole = SewerPipe(0.4, 100.0, 0.01, 1.0)
    first = SewerPipe(0.4, 30.0, 0.01, 1.0)
    both = Sewer((first, SewerPipe(0.4, 70.0, 0.01, first.upper_invert_m)))
    for level in (1.05, 1.3, 1.5, 1.99, 2.4):
        assert both.volume_at(level) == pytest.approx(whole.volume_at(level), rel=1e-12)
        assert both.area_at(level) == pytest.approx(whole.area_at(level), rel=1e-12, abs=1e-12)


# ---------------------------------------------------------------- the sewer in a well


@settings(max_examples=40)
@given(sewers())
def test_pieces_hold_the_volume_and_the_area_of_the_closed_form(sewer: Sewer) -> None:
    shaft = box(2.0, 1.5)
    well = Well((shaft, *sewer.parts()))
    pipes = pipes_only(sewer)
    full = sum(pipe.full_m3 for pipe in sewer.pipes)
    greatest = max(pipe.greatest_area_m2 for pipe in sewer.pipes)
    for level in levels_through(sewer, 211):
        if level <= 0.0:
            continue
        stands = well.volume_at(level) - shaft.a0_m2 * level
        own = pipes.volume_at(level)
        limit = VOLUME_TOLERANCE * max(own, full / 1e3) + 1e-13 * well.volume_at(level)
        assert abs(stands - sewer.volume_at(level)) <= limit + 1e-11 * full
        # at a manhole's foot and cover the area jumps: either side is right there
        if all(abs(level - x) > 1e-8 for m in sewer.manholes for x in (m.foot_m, m.cover_m)):
            assert well.area_at(level) - shaft.a0_m2 == pytest.approx(
                sewer.area_at(level), abs=AREA_TOLERANCE * greatest + 1e-9
            )


@settings(max_examples=40)
@given(sewers())
def test_pieces_are_exact_at_their_knots(sewer: Sewer) -> None:
    shaft = box(2.0, 1.5)
    sewer = pipes_only(sewer)  # a manhole's foot may lie within a piece
    well = Well((shaft, *sewer.parts()))
    full = sum(pipe.full_m3 for pipe in sewer.pipes)
    for level, volume in zip(well.levels_m, well.volumes_m3, strict=True):
        assert volume - shaft.a0_m2 * level == pytest.approx(
            sewer.volume_at(level), rel=1e-10, abs=1e-10 * full
        )


@settings(max_examples=40)
@given(sewers())
def test_pieces_join_and_their_area_is_nowhere_negative(sewer: Sewer) -> None:
    parts = pipes_only(sewer).parts()
    greatest = max(pipe.greatest_area_m2 for pipe in sewer.pipes)
    for lower, upper in pairwise(parts):
        assert lower.to_m == upper.from_m
    for part in parts:
        for share in np.linspace(0.0, 1.0, 21):
            h = float(share) * (part.to_m - part.from_m)
            area = part.a0_m2 + part.a1_m * h + part.a2 * h * h
            # next to the crown of a level pipe the width is the square root of a rounding
            assert area >= -1e-6 * greatest


@settings(max_examples=40)
@given(sewers(), st.lists(shares, min_size=1, max_size=20))
def test_level_of_a_well_with_a_sewer_inverts_its_volume(sewer: Sewer, at: list[float]) -> None:
    well = Well((cylinder(1.8), *sewer.parts()))
    top = well.levels_m[-1] + 0.5
    for share in at:
        level = share * top
        volume = well.volume_at(level)
        tolerance = 1e-12 * (1.0 + level) + 8e-15 * volume / well.area_at(level)
        assert well.level_at(volume) == pytest.approx(level, abs=tolerance)
    many = well.levels_at(np.array([well.volume_at(share * top) for share in at]))
    assert many.tolist() == pytest.approx([share * top for share in at], abs=1e-9)


@settings(max_examples=40)
@given(sewers())
def test_joints_of_the_fitted_curve_are_no_corners_of_the_well(sewer: Sewer) -> None:
    well = Well((cylinder(1.8, 0.0, 9.0), cylinder(1.2, 9.0), *sewer.parts()))
    known = {0.0, 9.0}
    for pipe in sewer.pipes:
        known.update(pipe.marks_m)
    for manhole in sewer.manholes:
        known.update((manhole.foot_m, manhole.cover_m))
    assert set(well.corners_m) <= set(well.levels_m)
    for corner in well.corners_m:
        assert min(abs(corner - x) for x in known) <= 1e-8
    for x in known:
        assert min(abs(corner - x) for corner in well.corners_m) <= 1e-8
    assert len(well.levels_m) > len(well.corners_m)


def test_every_level_of_a_well_without_fitted_parts_is_a_corner() -> None:
    well = Well(
        (frustum(1.0, 0.6, 3.0, 2.0, 0.0, 0.5), box(3.0, 2.0, 0.5), cylinder(1.0, 1.1, 2.2))
    )
    assert well.corners_m == well.levels_m == (0.0, 0.5, 1.1, 2.2)


@pytest.mark.parametrize(
    ("pipe", "most"),
    [
        (SewerPipe(0.3, 60.0, 0.004, 1.2), 90),
        (SewerPipe(0.3, 60.0, 0.0, 1.2), 110),
        (SewerPipe(1.5, 1000.0, 0.0005, 1.2), 90),
        (SewerPipe(0.2, 5.0, 1.0, 1.2), 70),
    ],
)
def test_pieces_are_few(pipe: SewerPipe, most: int) -> None:
    assert 10 < len(Sewer((pipe,)).parts()) <= most
    assert len(Sewer((pipe,)).parts(1e-2, 1e-4)) < 0.6 * most


def test_manhole_stores_from_its_foot_to_its_cover() -> None:
    pipe = SewerPipe(0.3, 60.0, 0.004, 1.2)
    foot = pipe.crown_at(45.0)
    sewer = Sewer((pipe,), (Manhole(1.2, foot, 3.1), Manhole(1.0, pipe.crown_at(60.0), 2.9)))
    assert foot == pytest.approx(1.2 + 0.004 * 45.0 + 0.3, abs=1e-4)
    assert sewer.lowest_cover_m == 2.9
    shafts = math.pi / 4.0 * (1.44 * (2.5 - foot) + 1.0 * (2.5 - pipe.crown_at(60.0)))
    assert sewer.volume_at(2.5) == pytest.approx(pipe.full_m3 + shafts, rel=1e-9)
    assert sewer.area_at(2.5) == pytest.approx(math.pi / 4.0 * 2.44, rel=1e-9)
    # above its cover a manhole stores no more
    assert sewer.volume_at(9.0) == pytest.approx(sewer.volume_at(3.1), rel=1e-14)


def test_sewer_without_manholes_spills_nowhere() -> None:
    assert Sewer((SewerPipe(0.3, 60.0, 0.004, 1.2),)).lowest_cover_m == math.inf


def test_pieces_are_the_same_each_time_and_survive_a_pickle() -> None:
    sewer = Sewer((SewerPipe(0.3, 60.0, 0.004, 1.2),), (Manhole(1.2, 1.7, 3.0),))
    assert sewer.parts() == sewer.parts()
    assert pickle.loads(pickle.dumps(sewer)).parts() == sewer.parts()


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"diameter_m": 0.0}, "diameter_m must be more than 0"),
        ({"length_m": -1.0}, "length_m must be more than 0"),
        ({"length_m": math.inf}, "length_m must be more than 0 and finite"),
        ({"slope": -0.001}, "slope must be 0 or more"),
        ({"slope": math.nan}, "slope must be 0 or more"),
        ({"invert_m": -0.1}, "invert_m must be 0 or more"),
    ],
)
def test_pipe_that_cannot_be_is_refused(wrong: dict[str, Any], message: str) -> None:
    good = SewerPipe(0.3, 60.0, 0.004, 1.2)
    with pytest.raises(ValueError, match=message):
        dataclasses.replace(good, **wrong)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((0.0, 1.0, 2.0), "diameter_m"),
        ((1.0, 2.0, 2.0), "above its foot"),
        ((1.0, -0.1, 2.0), "above its foot"),
        ((1.0, 1.0, math.inf), "above its foot"),
    ],
)
def test_manhole_that_cannot_be_is_refused(values: tuple[float, ...], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Manhole(*values)


# ---------------------------------------------------------------- benched floors


@given(
    st.floats(0.0, 3.0), st.floats(0.2, 3.0), st.floats(0.2, 6.0), st.floats(0.2, 6.0),
    st.floats(0.05, 2.0),
)  # fmt: skip
def test_benched_floor_holds_what_the_prismoidal_rule_says(
    length_0: float, width_0: float, length_1: float, width_1: float, height: float
) -> None:
    well = Well(
        (frustum(length_0, width_0, length_1, width_1, 0.0, height), box(length_1, width_1, height))
    )
    middle = (length_0 + length_1) * (width_0 + width_1)
    prismoid = height / 6.0 * (length_0 * width_0 + middle + length_1 * width_1)
    assert well.volume_at(height) == pytest.approx(prismoid, rel=1e-12)
    assert well.level_at(prismoid / 2.0) < height
    assert well.volume_at(well.level_at(prismoid / 2.0)) == pytest.approx(prismoid / 2.0, rel=1e-12)
    assert well.area_at(height / 2.0) == pytest.approx(middle / 4.0, rel=1e-12)


def test_benched_trough_is_a_wedge_beside_a_box() -> None:
    trough = Well((frustum(4.0, 0.0, 4.0, 2.0, 0.0, 1.0), box(4.0, 2.0, 1.0)))
    assert trough.volume_at(0.5) == pytest.approx(4.0 * 1.0 * 0.5 / 2.0, rel=1e-15)
    assert trough.volume_at(1.5) == pytest.approx(4.0 + 4.0, rel=1e-15)


def test_benched_pyramid_is_a_third_of_its_box() -> None:
    well = Well((frustum(0.0, 0.0, 3.0, 2.0, 0.0, 1.5), box(3.0, 2.0, 1.5)))
    assert well.volume_at(1.5) == pytest.approx(3.0, rel=1e-15)

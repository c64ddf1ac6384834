"""What leaves over the lowest edge."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.physics.pumps import G
from stationsim.physics.spill import Spillway, coefficient_from_discharge

crests = st.floats(0.5, 10.0)
lengths = st.floats(0.1, 20.0)
coefficients = st.floats(1.0, 2.5)
heads = st.floats(1e-6, 3.0)


@given(crests, lengths, coefficients, st.floats(-10.0, 0.0))
def test_nothing_leaves_at_or_below_the_crest(
    crest_m: float, length_m: float, coefficient: float, head_m: float
) -> None:
    assert Spillway(crest_m, length_m, coefficient).flow_m3s(crest_m + head_m) == 0.0


@given(lengths, coefficients, heads)
def test_weir_flow_is_c_l_times_head_to_the_three_halves(
    length_m: float, coefficient: float, head_m: float
) -> None:
    weir = Spillway(0.0, length_m, coefficient)
    assert weir.flow_m3s(head_m) == pytest.approx(coefficient * length_m * head_m**1.5, rel=1e-13)


@given(crests, lengths, coefficients, heads, st.floats(1.001, 4.0))
def test_weir_flow_rises_with_the_level(
    crest_m: float, length_m: float, coefficient: float, head_m: float, times: float
) -> None:
    weir = Spillway(crest_m, length_m, coefficient)
    assert weir.flow_m3s(crest_m + times * head_m) > weir.flow_m3s(crest_m + head_m) > 0.0


@given(lengths, coefficients, heads)
def test_four_times_the_head_gives_eight_times_the_flow(
    length_m: float, coefficient: float, head_m: float
) -> None:
    weir = Spillway(0.0, length_m, coefficient)
    assert weir.flow_m3s(4.0 * head_m) == pytest.approx(8.0 * weir.flow_m3s(head_m), rel=1e-13)


@given(crests, st.floats(-5.0, 5.0))
def test_plain_loss_is_driven_by_no_level(crest_m: float, head_m: float) -> None:
    assert Spillway(crest_m).flow_m3s(crest_m + head_m) == 0.0


@given(st.floats(0.3, 0.9))
def test_coefficient_from_discharge_is_that_of_the_integral_over_the_jet(cd: float) -> None:
    # two thirds of sqrt(2 g) is the integral of sqrt(2 g y) from 0 to 1
    assert coefficient_from_discharge(cd) == pytest.approx(cd * math.sqrt(8.0 * G) / 3.0, rel=1e-14)


def test_method_says_how_the_volume_is_found() -> None:
    assert Spillway(4.2).method == "plain loss: all that arrives above the crest"
    assert Spillway(4.2, 1.5, 1.84).method == "weir 1.84 x 1.5 m x head^1.5"

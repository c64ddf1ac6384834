"""The root finder of the operating point, against a general-purpose library (scipy's brentq)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from stationsim.physics.operating import _root


@given(
    st.floats(1.0, 80.0), st.floats(0.01, 0.99), st.floats(1e2, 1e6), st.sampled_from([1.852, 2.0])
)
def test_root_of_a_system_curve_is_that_of_the_library(
    head: float, lift: float, loss: float, power: float
) -> None:
    calls = 0

    def off(flow: float) -> float:
        nonlocal calls
        calls += 1
        return head - lift * head - loss * flow**power

    most = 1.5 * (head / loss) ** (1.0 / power)
    found = _root(off, 0.0, most)
    assert calls <= 40
    library = brentq(off, 0.0, most, xtol=1e-16, rtol=8.9e-16, maxiter=200)
    exact = (head * (1.0 - lift) / loss) ** (1.0 / power)
    assert found == pytest.approx(exact, rel=1e-12)
    assert found == pytest.approx(library, rel=1e-12)


def test_root_outside_the_bounds_is_the_nearer_bound() -> None:
    assert _root(lambda x: -1.0 - x, 0.0, 1.0) == 0.0
    assert _root(lambda x: 2.0 - x, 0.0, 1.0) == 1.0


@pytest.mark.parametrize(
    "function",
    [
        lambda x: 1.0 if x < 0.3 else -1.0,  # a step: the bracket closes on it
        lambda x: (0.3 - x) ** 3,
        lambda x: math.exp(-50.0 * x) - math.exp(-15.0),
        lambda x: 0.3 - x if x < 0.3 else 1e6 * (0.3 - x),
    ],
)
def test_root_of_awkward_functions_is_found(function: object) -> None:
    assert callable(function)
    # a triple root is known to the cube root of the last digit only
    assert _root(function, 0.0, 1.0) == pytest.approx(0.3, abs=1e-5)

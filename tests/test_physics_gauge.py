"""Gauges: there and back again, signs, and the hydrostatics of an independent library."""

from __future__ import annotations

import math

import pytest
from fluids.core import P_from_head, dP_from_K, head_from_P
from hypothesis import given
from hypothesis import strategies as st

from stationsim.physics.gauge import (
    column_m,
    gauge_pa,
    head_of_gauge_m,
    pressure_pa,
    velocity_head_m,
)
from stationsim.physics.pumps import RHO, G

heads = st.floats(-8.0, 300.0)
dials = st.floats(-5.0, 30.0)
flows = st.floats(0.0, 2.0)
bores = st.none() | st.floats(0.05, 2.0)


@given(heads, dials, flows, bores)
def test_head_from_what_the_gauge_shows_is_the_head(
    head: float, dial: float, flow: float, bore: float | None
) -> None:
    shown = gauge_pa(head, dial, flow, bore)
    moving = 0.0 if bore is None else velocity_head_m(flow, bore)
    # a great velocity head leaves fewer digits for the rest
    off = 1e-12 * (abs(head) + abs(dial) + moving + 1.0)
    assert head_of_gauge_m(shown, dial, flow, bore) == pytest.approx(head, abs=off)


@given(heads, dials, flows, bores)
def test_what_the_gauge_shows_comes_back_from_its_head(
    head: float, dial: float, flow: float, bore: float | None
) -> None:
    shown = gauge_pa(head, dial, flow, bore)
    moving = 0.0 if bore is None else velocity_head_m(flow, bore)
    again = gauge_pa(head_of_gauge_m(shown, dial, flow, bore), dial, flow, bore)
    assert again == pytest.approx(shown, abs=1e-8 * (abs(head) + abs(dial) + moving + 1.0))


@given(heads)
def test_column_and_pressure_are_those_of_an_independent_library(head: float) -> None:
    assert pressure_pa(head) == pytest.approx(P_from_head(head, RHO, g=G), rel=1e-12)
    assert column_m(pressure_pa(head)) == pytest.approx(
        head_from_P(P_from_head(head, RHO, g=G), RHO, g=G), rel=1e-12
    )


@given(flows, st.floats(0.05, 2.0))
def test_velocity_head_is_that_of_an_independent_library(flow: float, bore: float) -> None:
    velocity = flow / (math.pi / 4.0 * bore**2)
    lost = head_from_P(dP_from_K(1.0, RHO, velocity), RHO, g=G)
    assert velocity_head_m(flow, bore) == pytest.approx(lost, rel=1e-12, abs=1e-300)


def test_ten_metres_of_still_water_show_98_kilopascals() -> None:
    assert gauge_pa(10.0, 0.0, 0.0, None) == pytest.approx(98066.5, rel=1e-12)
    assert gauge_pa(10.0, 0.0, 0.0, 0.15) == gauge_pa(10.0, 0.0, 0.0, None)


def test_dial_above_the_water_shows_less_than_the_air() -> None:
    assert gauge_pa(2.0, 5.0, 0.0, None) == pytest.approx(-29419.95, rel=1e-12)
    assert head_of_gauge_m(-29419.95, 5.0) == pytest.approx(2.0, rel=1e-12)


def test_moving_water_shows_less_and_a_narrow_pipe_still_less() -> None:
    still, wide, narrow = (gauge_pa(20.0, 1.0, 0.03, bore) for bore in (None, 0.2, 0.1))
    assert still > wide > narrow
    # 0.03 m3/s in 0.1 m: 3.81972 m/s, half rho v2 = 7295.1 Pa; in half the bore 16 times as much
    assert still - narrow == pytest.approx(7295.126, rel=1e-6)
    assert (still - narrow) / (still - wide) == pytest.approx(16.0, rel=1e-9)


@given(st.floats(1e3, 1e6), dials, st.floats(0.01, 10.0), flows, bores)
def test_raising_the_dial_raises_the_head_that_a_reading_means(
    shown: float, dial: float, up: float, flow: float, bore: float | None
) -> None:
    low = head_of_gauge_m(shown, dial, flow, bore)
    assert head_of_gauge_m(shown, dial + up, flow, bore) - low == pytest.approx(
        up, abs=1e-12 * (abs(low) + 20.0)
    )


@given(st.floats(1e3, 1e6), st.floats(-5e4, 5e4), dials, dials, st.floats(-50.0, 50.0))
def test_head_of_a_pump_does_not_ask_from_where_levels_are_counted(
    discharge: float, suction: float, high: float, low: float, datum: float
) -> None:
    head = head_of_gauge_m(discharge, high) - head_of_gauge_m(suction, low)
    moved = head_of_gauge_m(discharge, high + datum) - head_of_gauge_m(suction, low + datum)
    assert moved == pytest.approx(head, abs=1e-9)

"""Pump curves: identities that hold for any falling curve, and the power drawn."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stationsim.physics.pumps import RHO, FlowTable, G, HeadCurve, PowerDraw, water_power_w


@st.composite
def point_curves(draw: st.DrawFn) -> HeadCurve:
    """A curve through two to six points, falling, straight between them."""
    steps = draw(st.lists(st.floats(0.002, 0.05), min_size=1, max_size=5))
    falls = draw(st.lists(st.floats(0.2, 20.0), min_size=len(steps), max_size=len(steps)))
    flows, heads = [0.0], [draw(st.floats(1.0, 20.0)) + sum(falls)]
    for step, fall in zip(steps, falls, strict=True):
        flows.append(flows[-1] + step)
        heads.append(heads[-1] - fall)
    return HeadCurve.from_points(flows, heads)


@st.composite
def smooth_curves(draw: st.DrawFn) -> HeadCurve:
    """A curve from coefficients."""
    c1 = -draw(st.floats(0.0, 500.0))
    c2 = -draw(st.floats(0.0, 50_000.0))
    assume(c1 < -1.0 or c2 < -1.0)
    return HeadCurve.from_coefficients(draw(st.floats(2.0, 80.0)), c1, c2)


curves = point_curves() | smooth_curves()
flows = st.floats(0.0, 0.3)
factors = st.floats(0.4, 1.3)


def _near(curve: HeadCurve, flow_m3s: float) -> float:
    """Return what rounding of the head means as a flow, where the curve is flattest."""
    h = 1e-7 + 1e-6 * flow_m3s
    fall = curve.head_at(flow_m3s) - curve.head_at(flow_m3s + h)
    return 1e-12 + 1e-14 * (abs(curve.head_at(flow_m3s)) + curve.shutoff_m) * h / fall


@given(curves, flows)
def test_flow_at_the_head_of_a_flow_is_the_flow(curve: HeadCurve, flow_m3s: float) -> None:
    head = curve.head_at(flow_m3s)
    # at no flow a pure parabola is flat: a rounding of the head is the root of it as a flow
    tolerance = _near(curve, flow_m3s) if flow_m3s > 1e-4 else 1e-6
    assert curve.flow_at(head) == pytest.approx(flow_m3s, abs=tolerance, rel=1e-9)


@given(curves, st.floats(0.0, 1.0))
def test_head_at_the_flow_of_a_head_is_the_head(curve: HeadCurve, share: float) -> None:
    head = share * curve.shutoff_m
    assert curve.head_at(curve.flow_at(head)) == pytest.approx(
        head, abs=1e-11 * (1.0 + curve.shutoff_m)
    )


@given(curves, st.floats(0.0, 50.0))
def test_check_valve_holds_at_and_above_the_shutoff_head(curve: HeadCurve, above_m: float) -> None:
    assert curve.flow_at(curve.shutoff_m + above_m) == 0.0


@given(curves, flows, st.floats(1e-4, 0.1))
def test_head_falls_with_flow(curve: HeadCurve, flow_m3s: float, more_m3s: float) -> None:
    assert curve.head_at(flow_m3s + more_m3s) < curve.head_at(flow_m3s)


@given(curves, flows, factors, factors)
def test_scaled_curve_gives_the_scaled_head_at_the_scaled_flow(
    curve: HeadCurve, flow_m3s: float, by_flow: float, by_head: float
) -> None:
    scaled = curve.scaled(flow=by_flow, head=by_head)
    assert scaled.head_at(by_flow * flow_m3s) == pytest.approx(
        by_head * curve.head_at(flow_m3s), rel=1e-9, abs=1e-9 * (1.0 + curve.shutoff_m)
    )


@given(curves, flows, factors)
def test_affinity_keeps_flow_over_speed_and_head_over_speed_squared(
    curve: HeadCurve, flow_m3s: float, ratio: float
) -> None:
    assert curve.at_speed(ratio).head_at(ratio * flow_m3s) == pytest.approx(
        ratio * ratio * curve.head_at(flow_m3s), rel=1e-9, abs=1e-9 * (1.0 + curve.shutoff_m)
    )


@given(curves, flows, factors, factors)
def test_two_changes_of_speed_are_one(
    curve: HeadCurve, flow_m3s: float, first: float, second: float
) -> None:
    twice = curve.at_speed(first).at_speed(second)
    once = curve.at_speed(first * second)
    assert twice.head_at(flow_m3s) == pytest.approx(
        once.head_at(flow_m3s), rel=1e-9, abs=1e-9 * (1.0 + curve.shutoff_m)
    )


@given(curves, flows)
def test_same_speed_and_no_loss_change_nothing(curve: HeadCurve, flow_m3s: float) -> None:
    assert curve.at_speed(1.0) == curve
    assert curve.less_loss(0.0) == curve


@given(curves, flows, st.floats(0.0, 20_000.0))
def test_branch_loss_takes_k_q_squared_off_the_head(
    curve: HeadCurve, flow_m3s: float, k: float
) -> None:
    assert curve.less_loss(k).head_at(flow_m3s) == pytest.approx(
        curve.head_at(flow_m3s) - k * flow_m3s * flow_m3s, rel=1e-11, abs=1e-10
    )


@given(curves, st.floats(0.01, 0.99), st.floats(0.0, 20_000.0))
def test_branch_loss_never_raises_the_flow(curve: HeadCurve, share: float, k: float) -> None:
    head = share * curve.shutoff_m
    assert curve.less_loss(k).flow_at(head) <= curve.flow_at(head) * (1.0 + 1e-12)


def test_points_are_met_exactly_and_joined_by_straight_lines() -> None:
    curve = HeadCurve.from_points([0.0, 0.010, 0.030], [30.0, 26.0, 10.0])
    assert [curve.head_at(q) for q in (0.0, 0.005, 0.010, 0.020, 0.030)] == pytest.approx(
        [30.0, 28.0, 26.0, 18.0, 10.0], rel=1e-15
    )
    assert curve.end_m3s == 0.030
    assert curve.head_at(0.035) == pytest.approx(6.0, rel=1e-15)  # the last straight goes on
    assert curve.flow_at(6.0) == pytest.approx(0.035, rel=1e-15)


def test_end_of_the_points_moves_with_the_speed() -> None:
    curve = HeadCurve.from_points([0.0, 0.040], [30.0, 10.0])
    assert curve.at_speed(0.5).end_m3s == 0.020
    assert HeadCurve.from_coefficients(30.0, 0.0, -100.0).end_m3s == math.inf


@given(st.floats(0.0, 1.0), st.floats(0.0, 100.0))
def test_water_power_is_rho_g_q_h(flow_m3s: float, head_m: float) -> None:
    assert water_power_w(flow_m3s, head_m) == pytest.approx(RHO * G * flow_m3s * head_m, rel=1e-15)


@given(st.floats(0.001, 0.1), st.floats(1.0, 60.0), st.floats(0.2, 0.9), st.floats(0.5, 1.0))
def test_input_times_both_efficiencies_is_the_water_power(
    flow_m3s: float, head_m: float, pump: float, motor: float
) -> None:
    draw = PowerDraw(efficiency=FlowTable((0.0, 1.0), (pump, pump)), motor_efficiency=motor)
    assert draw.input_at(flow_m3s, head_m) * pump * motor == pytest.approx(
        water_power_w(flow_m3s, head_m), rel=1e-12
    )


def test_plain_draw_and_input_curve_ignore_the_head() -> None:
    assert PowerDraw(input_w=5000.0).input_at(0.02, 12.0) == 5000.0
    curve = FlowTable((0.0, 0.02, 0.04), (4000.0, 5000.0, 5600.0))
    assert PowerDraw(input_curve=curve).input_at(0.01, 12.0) == pytest.approx(4500.0, rel=1e-15)
    assert PowerDraw(input_curve=curve).input_at(0.01, 40.0) == pytest.approx(4500.0, rel=1e-15)


def test_nothing_given_means_that_no_energy_is_counted() -> None:
    assert PowerDraw().input_at(0.02, 12.0) == 0.0


def test_table_is_level_beyond_its_ends() -> None:
    table = FlowTable((0.01, 0.03), (0.5, 0.7))
    assert [table.at(q) for q in (0.0, 0.01, 0.02, 0.03, 0.5)] == pytest.approx(
        [0.5, 0.5, 0.6, 0.7, 0.7], rel=1e-15
    )

"""Current and speed of a motor at part load: properties, and whole equivalent circuits."""

from __future__ import annotations

import math
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from stationsim.physics.electrics import (
    line_current_a,
    no_load_limits_a,
    part_load_current_a,
    running_speed,
)

VOLTAGE_V, FULL_A = 400.0, 30.0


def full_input_w(factor: float, current_a: float = FULL_A) -> float:
    return math.sqrt(3.0) * VOLTAGE_V * current_a * factor


def current_a(part: float, factor: float, no_load_a: float | None = None) -> float:
    """Return the current at a part of the full input."""
    return part_load_current_a(part * full_input_w(factor), VOLTAGE_V, 3, FULL_A, factor, no_load_a)


@st.composite
def motors(draw: st.DrawFn) -> tuple[float, float | None]:
    """Draw a power factor, and a current with no load that goes with it, or none."""
    factor = draw(st.floats(0.3, 0.99))
    least, most = no_load_limits_a(FULL_A, factor)
    share = draw(st.none() | st.floats(0.05, 1.0))
    return factor, None if share is None else least + share * (most - least)


@given(motors())
def test_current_is_exact_at_full_load(motor: tuple[float, float | None]) -> None:
    assert current_a(1.0, *motor) == pytest.approx(FULL_A, rel=1e-7)


@given(motors())
def test_current_is_exact_with_no_load(motor: tuple[float, float | None]) -> None:
    factor, no_load = motor
    expected = 0.75 * FULL_A * math.sqrt(1.0 - factor**2) if no_load is None else no_load
    assert current_a(0.0, factor, no_load) == pytest.approx(expected, rel=1e-9)


@given(motors(), st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_current_rises_with_the_load(
    motor: tuple[float, float | None], one: float, other: float
) -> None:
    low, high = sorted((one, other))
    assert current_a(low, *motor) <= current_a(high, *motor) * (1.0 + 1e-12)
    # more than its part in phase can't be, short of the most that it carries
    assert current_a(min(low, 1.0), *motor) >= min(low, 1.0) * FULL_A * motor[0] * (1.0 - 1e-9)


@given(motors(), st.floats(0.0, 0.98))
def test_current_is_continuous(motor: tuple[float, float | None], part: float) -> None:
    step = 1e-7
    assert current_a(part + step, *motor) == pytest.approx(current_a(part, *motor), rel=1e-3)


@given(motors(), st.floats(0.05, 0.95))
def test_wattless_part_is_straight_over_the_square_of_the_current(
    motor: tuple[float, float | None], part: float
) -> None:
    def point(share: float) -> tuple[float, float]:
        square = current_a(share, *motor) ** 2
        active = line_current_a(share * full_input_w(motor[0]), VOLTAGE_V)
        return square, math.sqrt(max(0.0, square - active**2))

    (x0, y0), (x1, y1), (x2, y2) = point(0.0), point(part), point(1.0)
    assert y1 == pytest.approx(y0 + (y2 - y0) * (x1 - x0) / (x2 - x0), rel=1e-5)


def test_nothing_jumps_where_the_motor_is_pulled_out() -> None:
    factor, no_load = 0.75, 8.0

    def pulled_out(part: float) -> bool:
        return current_a(part, factor, no_load) == current_a(50.0, factor, no_load)

    low, high = 1.0, 50.0
    assert not pulled_out(low)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if pulled_out(middle) else (middle, high)
    assert 1.0 < high < 3.0
    last = current_a(high, factor, no_load)
    assert current_a(high - 1e-9, factor, no_load) == pytest.approx(last, rel=1e-3)
    assert math.isfinite(last)


def test_one_phase_draws_as_three_at_a_lower_voltage() -> None:
    three = part_load_current_a(2000.0, 230.0 / math.sqrt(3.0), 3, 14.0, 0.85, 6.0)
    assert part_load_current_a(2000.0, 230.0, 1, 14.0, 0.85, 6.0) == pytest.approx(three, rel=1e-12)


def test_power_factor_of_one_leaves_only_the_part_in_phase() -> None:
    assert no_load_limits_a(FULL_A, 1.0) == (0.0, 0.0)
    assert current_a(0.5, 1.0) == pytest.approx(0.5 * FULL_A, rel=1e-12)


def test_very_low_power_factor_still_has_an_answer() -> None:
    assert current_a(1.0, 0.15) == pytest.approx(FULL_A, rel=1e-6)
    assert 0.0 < current_a(0.0, 0.15) < FULL_A


@pytest.mark.parametrize(
    ("factor", "no_load"), [(0.86, 15.4), (0.86, -0.1), (0.86, 30.0), (0.5, 10.9), (0.86, math.nan)]
)
def test_current_with_no_load_that_does_not_go_with_the_plate(
    factor: float, no_load: float
) -> None:
    with pytest.raises(ValueError, match=r"does not go with 30 A .* lies between"):
        current_a(0.5, factor, no_load)


def test_limits_of_the_current_with_no_load() -> None:
    # 0.5: sin 60 = 0.866025; 0.866025 - 0.5 = 0.366025
    assert no_load_limits_a(1.0, 0.5) == pytest.approx((0.366025, 0.866025), rel=1e-5)
    assert no_load_limits_a(20.0, 0.8) == pytest.approx((0.0, 12.0), rel=1e-12)


@given(st.floats(0.3, 0.7))
def test_at_the_least_current_with_no_load_full_load_is_all_it_carries(factor: float) -> None:
    least, _ = no_load_limits_a(FULL_A, factor)
    little_more = least + 1e-9 * FULL_A
    assert current_a(1.0, factor, little_more) == pytest.approx(FULL_A, rel=1e-3)
    assert current_a(1.5, factor, little_more) == pytest.approx(FULL_A, rel=1e-3)


class Circuit(NamedTuple):
    """A three-phase induction motor by its equivalent circuit, per phase."""

    line_v: float
    stator_ohm: complex
    magnetising_ohm: float
    rotor_ohm: float
    rotor_stray_ohm: float
    idle_w: float
    rated_w: float
    synchronous: float

    def at(self, slip: float) -> tuple[float, float, float, float]:
        """Return current, input, power factor and output."""
        rotor = self.rotor_ohm / slip + 1j * self.rotor_stray_ohm
        field = 1j * self.magnetising_ohm * rotor / (1j * self.magnetising_ohm + rotor)
        phase_v = self.line_v / math.sqrt(3.0)
        current = phase_v / (self.stator_ohm + field)
        apparent = 3.0 * phase_v * current.conjugate()
        crossing = 3.0 * abs(current) ** 2 * field.real
        out = crossing * (1.0 - slip) - self.idle_w
        return abs(current), apparent.real, apparent.real / abs(apparent), out

    def slip_for(self, part: float) -> float:
        return float(brentq(lambda s: self.at(s)[3] - part * self.rated_w, 1e-6, 0.1, xtol=1e-14))


CHAPMAN = Circuit(460.0, 0.641 + 1.106j, 26.3, 0.332, 0.464, 1100.0, 25 * 745.7, 30.0)
"""25 hp, four poles, 60 Hz: Chapman, Electric Machinery Fundamentals (from memory)."""
FITZGERALD = Circuit(220.0, 0.294 + 0.503j, 13.25, 0.144, 0.209, 403.0, 10 * 745.7, 20.0)
"""10 hp, six poles, 60 Hz: Fitzgerald, Kingsley & Umans, Electric Machinery (from memory)."""


@pytest.mark.parametrize(
    ("circuit", "slip", "current", "factor"),
    [(CHAPMAN, 0.022, 18.88, 0.833), (FITZGERALD, 0.02, 18.8, 0.844)],
    ids=["Chapman", "Fitzgerald"],
)
def test_circuits_are_those_of_the_books(
    circuit: Circuit, slip: float, current: float, factor: float
) -> None:
    found = circuit.at(slip)
    assert found[0] == pytest.approx(current, rel=2e-3)
    assert found[2] == pytest.approx(factor, rel=2e-3)


@pytest.mark.parametrize("part", [0.0, 0.1, 0.25, 0.5, 0.75, 1.0, 1.15])
@pytest.mark.parametrize("circuit", [CHAPMAN, FITZGERALD], ids=["Chapman", "Fitzgerald"])
def test_current_and_speed_against_a_whole_circuit(circuit: Circuit, part: float) -> None:
    full_a, _, factor, _ = circuit.at(circuit.slip_for(1.0))
    idle_a = circuit.at(circuit.slip_for(0.0))[0]
    slip = circuit.slip_for(part)
    truth_a, input_w, _, _ = circuit.at(slip)
    known = part_load_current_a(input_w, circuit.line_v, 3, full_a, factor, idle_a)
    assert known == pytest.approx(truth_a, rel=0.025)
    usual = part_load_current_a(input_w, circuit.line_v, 3, full_a, factor)
    assert usual == pytest.approx(truth_a, rel=0.025 if part >= 0.5 else 0.08)
    poles = round(120.0 / circuit.synchronous)
    rated = circuit.synchronous * (1.0 - circuit.slip_for(1.0))
    speed = running_speed(rated, poles, part)
    assert speed == pytest.approx(circuit.synchronous * (1.0 - slip), rel=0.0025)


@pytest.mark.parametrize(
    ("rated_rpm", "poles", "part", "rpm"),
    [
        (1455.0, 4, 1.0, 1455.0),
        (1455.0, 4, 0.0, 1500.0),
        (1455.0, 4, 0.5, 1477.5),
        (1755.0, 4, 0.0, 1800.0),
        (1755.0, 4, 1.2, 1746.0),
        (2920.0, 2, 0.0, 3000.0),
        (3550.0, 2, 0.0, 3600.0),
        (970.0, 6, 0.0, 1000.0),
        (1165.0, 6, 0.0, 1200.0),
        (725.0, 8, 0.5, 737.5),
        (1455.0, None, 0.3, 1455.0),
        (2200.0, 4, 0.3, 2200.0),
    ],
)
def test_speed_of_a_motor_on_the_grid(
    rated_rpm: float, poles: int | None, part: float, rpm: float
) -> None:
    assert 60.0 * running_speed(rated_rpm / 60.0, poles, part) == pytest.approx(rpm, rel=1e-12)

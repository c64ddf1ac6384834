"""Motor heating: against an integrator, and properties that hold for any motor."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stationsim.physics.motor import MotorHeat, cooling_from_readings, heating_from_readings

OURS = MotorHeat(20.0, 100.0, 2700.0, 5400.0, 140.0, 110.0)

times = st.floats(0.0, 2e5)
heats = st.floats(0.0, 4.0)


@st.composite
def motors(draw: st.DrawFn) -> MotorHeat:
    ambient = draw(st.floats(-20.0, 60.0))
    trip = draw(st.floats(90.0, 180.0))
    return MotorHeat(
        ambient_c=ambient,
        full_rise_k=draw(st.floats(0.0, 150.0)),
        heating_time_constant_s=draw(st.floats(60.0, 2e4)),
        cooling_time_constant_s=draw(st.floats(60.0, 4e4)),
        trip_c=trip,
        reset_c=trip - draw(st.floats(1.0, 60.0)),
    )


@settings(max_examples=30)
@given(motors(), st.floats(-20.0, 150.0), heats, st.booleans())
def test_trip_and_reset_are_those_of_an_integrator_to_a_millisecond(
    motor: MotorHeat, start_c: float, heat: float, runs: bool
) -> None:
    final = motor.final_c(heat) if runs else motor.ambient_c
    constant = motor.heating_time_constant_s if runs else motor.cooling_time_constant_s
    goal = motor.trip_c if runs else motor.reset_c
    if not runs:
        start_c += 100.0
    found = motor.time_to_trip_s(start_c, heat) if runs else motor.time_to_reset_s(start_c)
    slope = abs(final - goal) / constant
    assume(abs(start_c - goal) > 1e-3)
    assume(slope > 1e-6)  # an integrator can't tell when a stalled temperature arrives

    def reaches(t: float, theta: Any) -> float:
        return float(theta[0]) - goal

    reaches.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _t, theta: (final - theta) / constant, (0.0, 40.0 * constant), [start_c],
        events=reaches, rtol=1e-12, atol=1e-12, method="DOP853",
    )  # fmt: skip
    if (start_c >= goal) if runs else (start_c <= goal):
        assert found == 0.0
    elif len(solved.t_events[0]) == 0:
        assert found == math.inf
    else:
        # the integrator's 1e-9 K over the rate at which the temperature passes the goal
        assert found == pytest.approx(solved.t_events[0][0], abs=1e-3 + 1e-9 / slope)


@given(motors(), st.floats(-20.0, 89.0), heats)
def test_temperature_at_the_time_of_trip_is_the_trip(
    motor: MotorHeat, start_c: float, heat: float
) -> None:
    at_s = motor.time_to_trip_s(start_c, heat)
    if at_s == math.inf:
        assert motor.final_c(heat) <= motor.trip_c
        assert motor.after_running_c(start_c, 1e9, heat) <= motor.trip_c + 1e-9
    else:
        assert motor.after_running_c(start_c, at_s, heat) == pytest.approx(motor.trip_c, abs=1e-9)
        assert motor.after_running_c(start_c, 0.99 * at_s, heat) < motor.trip_c


@given(motors(), st.floats(0.0, 200.0))
def test_temperature_at_the_time_of_reset_is_the_reset(motor: MotorHeat, above_k: float) -> None:
    start = motor.trip_c + above_k
    at_s = motor.time_to_reset_s(start)
    if at_s == math.inf:
        assert motor.ambient_c >= motor.reset_c
    else:
        assert at_s > 0.0
        assert motor.after_standing_c(start, at_s) == pytest.approx(motor.reset_c, abs=1e-9)


@given(motors(), st.floats(-20.0, 200.0), times, times, heats)
def test_run_in_two_pieces_is_the_run_in_one(
    motor: MotorHeat, start_c: float, one_s: float, other_s: float, heat: float
) -> None:
    in_one = motor.after_running_c(start_c, one_s + other_s, heat)
    between = motor.after_running_c(start_c, one_s, heat)
    assert motor.after_running_c(between, other_s, heat) == pytest.approx(in_one, abs=1e-10)
    standing = motor.after_standing_c(motor.after_standing_c(start_c, one_s), other_s)
    assert standing == pytest.approx(motor.after_standing_c(start_c, one_s + other_s), abs=1e-10)


@given(motors(), st.floats(-20.0, 200.0), times, heats, st.floats(0.01, 1.0))
def test_more_heat_is_never_cooler_and_trips_no_later(
    motor: MotorHeat, start_c: float, for_s: float, heat: float, more: float
) -> None:
    cool, hot = (motor.after_running_c(start_c, for_s, h) for h in (heat, heat + more))
    assert hot >= cool - 1e-12 * (abs(cool) + 1.0)
    assert motor.time_to_trip_s(start_c, heat + more) <= motor.time_to_trip_s(start_c, heat)


@given(motors(), st.floats(-20.0, 200.0), times, heats)
def test_temperature_stays_between_start_and_final(
    motor: MotorHeat, start_c: float, for_s: float, heat: float
) -> None:
    final = motor.final_c(heat)
    low, high = min(start_c, final), max(start_c, final)
    assert low - 1e-10 <= motor.after_running_c(start_c, for_s, heat) <= high + 1e-10


@given(motors(), st.floats(60.0, 7200.0), st.floats(60.0, 7200.0), heats)
def test_periodic_extremes_are_where_many_cycles_end(
    motor: MotorHeat, run_s: float, rest_s: float, heat: float
) -> None:
    least, greatest = motor.periodic_extremes_c(run_s, rest_s, heat)
    assert motor.after_running_c(least, run_s, heat) == pytest.approx(greatest, abs=1e-9)
    assert motor.after_standing_c(greatest, rest_s) == pytest.approx(least, abs=1e-9)
    assert motor.ambient_c - 1e-12 <= least <= greatest <= motor.final_c(heat) + 1e-9
    # from cold it comes from below
    temperature = motor.ambient_c
    for _ in range(3):
        temperature = motor.after_running_c(temperature, run_s, heat)
        assert temperature <= greatest + 1e-9
        temperature = motor.after_standing_c(temperature, rest_s)


def test_periodic_extremes_without_rest_or_run_are_the_ends() -> None:
    assert OURS.periodic_extremes_c(600.0, 0.0) == pytest.approx((120.0, 120.0), rel=1e-12)
    assert OURS.periodic_extremes_c(0.0, 600.0) == pytest.approx((20.0, 20.0), rel=1e-12)
    assert OURS.periodic_extremes_c(0.0, 0.0) == (20.0, 20.0)


def test_final_temperature_exactly_at_the_trip_never_trips() -> None:
    assert OURS.time_to_trip_s(20.0, 1.2) == math.inf
    assert OURS.time_to_trip_s(140.0, 0.0) == 0.0
    assert OURS.time_to_trip_s(20.0, 1.4) == pytest.approx(2700.0 * math.log(7.0), abs=1e-9)


def test_reset_is_at_once_when_cool_and_never_when_the_ambient_is_warmer() -> None:
    assert OURS.time_to_reset_s(110.0) == OURS.time_to_reset_s(30.0) == 0.0
    assert dataclasses.replace(OURS, ambient_c=110.0).time_to_reset_s(140.0) == math.inf
    assert dataclasses.replace(OURS, ambient_c=125.0).time_to_reset_s(140.0) == math.inf


def test_running_motor_that_is_hotter_than_its_final_temperature_cools_with_its_fan() -> None:
    # 2,700 s are the heating time constant, with which a running motor cools too
    assert OURS.after_running_c(130.0, 2700.0, 0.5) == pytest.approx(70.0 + 60.0 / math.e)


def test_heat_of_a_ragged_pump_out_of_the_water_is_multiplied() -> None:
    motor = dataclasses.replace(OURS, ragged_factor=1.3, not_submerged_factor=1.5)
    assert motor.heat() == 1.0
    assert motor.heat(0.8, ragged=True) == pytest.approx(0.8 * 1.3, rel=1e-15)
    assert motor.heat(submerged=False) == 1.5
    assert motor.heat(0.8, ragged=True, submerged=False) == pytest.approx(1.56, rel=1e-15)
    assert motor.time_to_trip_s(20.0, motor.heat()) == math.inf
    assert motor.time_to_trip_s(20.0, motor.heat(submerged=False)) < math.inf


@given(st.floats(60.0, 2e4), st.floats(1.0, 150.0), st.floats(0.05, 2.0))
def test_readings_of_a_motor_give_back_what_made_them(
    constant_s: float, rise_k: float, share: float
) -> None:
    motor = MotorHeat(0.0, rise_k, constant_s, constant_s, 1e6, 0.0)
    every = share * constant_s
    one, two = (motor.after_running_c(0.0, n * every) for n in (1, 2))
    found = heating_from_readings(every, one, two)
    assert found == pytest.approx((constant_s, rise_k), rel=1e-9)
    three = motor.after_standing_c(two, every)
    assert cooling_from_readings(every, two, three) == pytest.approx(constant_s, rel=1e-9)


@pytest.mark.parametrize("readings", [(20.0, 40.0), (20.0, 45.0), (20.0, 20.0), (-5.0, -9.0)])
def test_readings_that_do_not_level_off_are_refused(readings: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="second step is upwards and smaller"):
        heating_from_readings(600.0, *readings)


@pytest.mark.parametrize("readings", [(20.0, 20.0), (20.0, 25.0), (20.0, 0.0)])
def test_cooling_readings_that_do_not_fall_are_refused(readings: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="the rise falls"):
        cooling_from_readings(600.0, *readings)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"heating_time_constant_s": 0.0}, "heating_time_constant_s must be more than 0"),
        ({"cooling_time_constant_s": math.inf}, "cooling_time_constant_s must be more than 0"),
        ({"full_rise_k": -1.0}, "full_rise_k must be 0 or more"),
        ({"not_submerged_factor": math.nan}, "not_submerged_factor must be 0 or more"),
        ({"reset_c": 140.0}, "reset_c must lie below trip_c"),
    ],
)
def test_motor_that_cannot_be_is_refused(wrong: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        dataclasses.replace(OURS, **wrong)

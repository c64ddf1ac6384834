"""Losses along a pipe, against the implicit friction equation and as properties."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from stationsim.physics.forcemain import LAMINAR_REYNOLDS, ForceMain, Pipe
from stationsim.physics.pumps import G

diameters = st.floats(0.08, 1.2)
flows = st.floats(1e-6, 2.0)


@st.composite
def pipes(draw: st.DrawFn) -> Pipe:
    """Any pipe that a scenario could describe."""
    return Pipe(
        length_m=draw(st.just(0.0) | st.floats(0.1, 5000.0)),
        diameter_m=draw(diameters),
        friction=draw(st.sampled_from(["hazen-williams", "darcy-weisbach", "none"])),
        c_factor=draw(st.floats(60.0, 160.0)),
        roughness_m=draw(st.floats(0.0, 3e-3)),
        fittings_k=draw(st.just(0.0) | st.floats(0.01, 60.0)),
    )


@given(diameters, st.floats(0.0, 0.05), st.floats(4.0e3, 1.0e8))
def test_friction_factor_solves_the_implicit_equation(
    diameter_m: float, relative_roughness: float, reynolds: float
) -> None:
    # Colebrook 1939, as in any text: 1/sqrt f = -2 log10(e/(3.7 D) + 2.51/(Re sqrt f))
    pipe = Pipe(1.0, diameter_m, "darcy-weisbach", roughness_m=relative_roughness * diameter_m)
    flow = reynolds * pipe.viscosity_m2s / diameter_m * pipe.area_m2

    def residual(x: float) -> float:
        return x + 2.0 * math.log10(relative_roughness / 3.7 + 2.51 * x / reynolds)

    implicit = 1.0 / brentq(residual, 1.0, 40.0, xtol=1e-13, rtol=1e-13) ** 2
    assert pipe.friction_factor(flow) == pytest.approx(implicit, rel=1e-9)
    velocity = pipe.velocity_ms(flow)
    assert pipe.friction_m(flow) == pytest.approx(
        implicit / diameter_m * velocity**2 / (2.0 * G), rel=1e-9
    )


@given(pipes(), flows, st.floats(1.0001, 3.0))
def test_loss_rises_with_flow(pipe: Pipe, flow_m3s: float, times: float) -> None:
    less, more = pipe.loss_m(flow_m3s), pipe.loss_m(times * flow_m3s)
    if pipe.fittings_k > 0.0 or (pipe.length_m > 0.0 and pipe.friction != "none"):
        assert more > less >= 0.0
    else:
        assert more == less == 0.0


@given(pipes(), st.floats(-1.0, 0.0))
def test_no_flow_and_backward_flow_lose_nothing_by_friction(pipe: Pipe, flow_m3s: float) -> None:
    assert pipe.friction_m(flow_m3s) == 0.0


@given(pipes(), st.floats(0.0, 1e-9))
def test_loss_goes_to_nought_with_the_flow(pipe: Pipe, flow_m3s: float) -> None:
    loss = pipe.loss_m(flow_m3s)
    assert math.isfinite(loss)
    assert 0.0 <= loss < 1e-6


@given(diameters, st.floats(1.0, LAMINAR_REYNOLDS - 1.0))
def test_slow_flow_follows_the_laminar_law(diameter_m: float, reynolds: float) -> None:
    pipe = Pipe(100.0, diameter_m, "darcy-weisbach", roughness_m=1e-4)
    velocity = reynolds * pipe.viscosity_m2s / diameter_m
    assert pipe.friction_m(velocity * pipe.area_m2) == pytest.approx(
        64.0 / reynolds * 100.0 / diameter_m * velocity**2 / (2.0 * G), rel=1e-12
    )
    assert pipe.friction_factor(velocity * pipe.area_m2) == pytest.approx(
        64.0 / reynolds, rel=1e-12
    )


@given(pipes(), flows, st.floats(0.1, 10.0))
def test_friction_is_in_proportion_to_the_length(pipe: Pipe, flow_m3s: float, times: float) -> None:
    longer = Pipe(
        times * pipe.length_m,
        pipe.diameter_m,
        pipe.friction,
        c_factor=pipe.c_factor,
        roughness_m=pipe.roughness_m,
    )
    assert longer.friction_m(flow_m3s) == pytest.approx(
        times * pipe.friction_m(flow_m3s), rel=1e-12
    )


@given(pipes(), flows)
def test_hazen_williams_flow_doubled_costs_two_to_the_1852(pipe: Pipe, flow_m3s: float) -> None:
    plain = Pipe(100.0, pipe.diameter_m, "hazen-williams", c_factor=pipe.c_factor)
    assert plain.friction_m(2.0 * flow_m3s) == pytest.approx(
        2.0**1.852 * plain.friction_m(flow_m3s), rel=1e-12
    )


@given(diameters, st.floats(0.0, 60.0), flows)
def test_fittings_cost_their_velocity_heads(diameter_m: float, k: float, flow_m3s: float) -> None:
    pipe = Pipe(0.0, diameter_m, fittings_k=k)
    assert pipe.loss_m(flow_m3s) == pytest.approx(
        k * pipe.velocity_ms(flow_m3s) ** 2 / (2.0 * G), rel=1e-12
    )


@given(st.lists(pipes(), max_size=3), flows)
def test_losses_in_series_add(parts: list[Pipe], flow_m3s: float) -> None:
    main = ForceMain(tuple(parts), discharge_level_m=5.0)
    assert main.loss_m(flow_m3s) == pytest.approx(
        math.fsum(pipe.loss_m(flow_m3s) for pipe in parts), rel=1e-12
    )


@given(pipes())
def test_velocity_and_volume_follow_from_the_bore(pipe: Pipe) -> None:
    assert pipe.velocity_ms(pipe.area_m2) == pytest.approx(1.0, rel=1e-15)
    assert pipe.volume_m3 == pytest.approx(
        pipe.length_m * math.pi * (pipe.diameter_m / 2.0) ** 2, rel=1e-14
    )

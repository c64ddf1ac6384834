"""Drawdown tests: exact for made-up flows, against an integrator, and what they may be off."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stationsim.physics.drawdown import Drawdown, Timed, drawdown
from stationsim.physics.well import Well, cone, cylinder

WELL = Well((cylinder(3.0),))
HALF_M3 = WELL.volume_at(1.5) - WELL.volume_at(1.0)

times = st.floats(1.0, 1e5)
flows = st.floats(1e-5, 2.0)


def between(low_m: float, high_m: float, time_s: float) -> Timed:
    return Timed(WELL.volume_at(high_m) - WELL.volume_at(low_m), time_s)


BY_HAND = (between(0.9, 1.5, 200.0), (between(1.2, 1.5, 240.0), between(0.9, 1.2, 260.0)))
"""The 3 m well of the worked example: down 0.60 m in 200 s, up 0.30 m in 240 s and in 260 s."""


@given(flows, flows, times, times, times)
def test_made_up_constant_flows_come_out_exactly(
    pump: float, inflow: float, fall_s: float, before_s: float, after_s: float
) -> None:
    found = drawdown(
        Timed((pump - inflow) * fall_s, fall_s),
        (Timed(inflow * before_s, before_s), Timed(inflow * after_s, after_s)),
    )
    assert found.flow_m3s == pytest.approx(pump, abs=1e-14 + 1e-12 * (pump + inflow))
    assert found.inflow_m3s == pytest.approx(inflow, rel=1e-12)
    assert found.without_inflow_m3s == pytest.approx(
        pump - inflow, abs=1e-14 + 1e-12 * (pump + inflow)
    )


@given(st.floats(0.01, 0.1), st.floats(1e-3, 5e-3), st.floats(0.0, 1e-6), times, st.floats(1, 1e3))
def test_inflow_that_rises_steadily_is_met_by_a_rise_on_either_side(
    pump: float, inflow: float, slope: float, fall_s: float, rise_s: float
) -> None:
    def came(start_s: float, for_s: float) -> Timed:
        middle = start_s + 0.5 * for_s
        return Timed((inflow + slope * middle) * for_s, for_s)

    during = came(rise_s, fall_s)
    found = drawdown(
        Timed(pump * fall_s - during.volume_m3, fall_s),
        (came(0.0, rise_s), came(rise_s + fall_s, rise_s)),
    )
    assert found.flow_m3s == pytest.approx(pump, rel=1e-10)


def test_worked_example_with_a_rise_before_and_after() -> None:
    found = drawdown(*BY_HAND)
    assert found.flow_m3s == pytest.approx(0.0297016, rel=2e-6)
    assert found.inflow_m3s == pytest.approx(0.00849590, rel=2e-6)
    assert 100.0 * found.part_left_out == pytest.approx(28.6041, rel=2e-6)


@pytest.mark.parametrize(("inflow_m3s", "time_s"), [(0.0, 118.0), (0.0085, 164.0)])
def test_half_a_metre_at_30_litres_per_second(inflow_m3s: float, time_s: float) -> None:
    takes = HALF_M3 / (0.030 - inflow_m3s)
    assert round(takes) == time_s
    rises = (Timed(inflow_m3s * 300.0, 300.0),) if inflow_m3s else ()
    assert drawdown(Timed(HALF_M3, takes), rises).flow_m3s == pytest.approx(0.030, rel=1e-12)


def test_level_that_rises_with_the_pump_running_still_gives_its_flow() -> None:
    found = drawdown(Timed(-0.2, 100.0), (Timed(1.0, 100.0),))
    assert found.flow_m3s == pytest.approx(0.008, rel=1e-12)
    assert found.without_inflow_m3s == pytest.approx(-0.002, rel=1e-12)
    assert found.part_left_out == pytest.approx(1.25, rel=1e-12)


def test_pump_that_gives_nothing_leaves_no_part() -> None:
    found = drawdown(Timed(-1.0, 100.0), (Timed(1.0, 100.0),))
    assert found.flow_m3s == 0.0
    assert math.isnan(found.part_left_out)


def test_without_rises_nothing_comes_in() -> None:
    assert drawdown(Timed(3.0, 100.0)) == Drawdown(0.03, 0.0, 0.0)


def test_benched_well_against_an_integrator() -> None:
    well = Well((cone(1.0, 3.0, 0.0, 1.0), cylinder(3.0, 1.0)))
    pump, inflow = 0.031, 0.007

    def passes(start_m: float, goal_m: float, rate_m3s: float) -> Timed:
        def slope(_t: float, level: Any) -> Any:
            return rate_m3s / well.area_at(float(level[0]))

        def reaches(_t: float, level: Any) -> float:
            return float(level[0]) - goal_m

        reaches.terminal = True  # type: ignore[attr-defined]
        solved = solve_ivp(
            slope, (0.0, 1e5), [start_m], events=reaches, rtol=1e-11, atol=1e-12, max_step=5.0
        )
        gone = well.volume_at(start_m) - well.volume_at(goal_m)
        assert solved.t_events is not None
        return Timed(abs(gone), float(solved.t_events[0][0]))

    found = drawdown(
        passes(1.4, 0.5, inflow - pump), (passes(1.2, 1.4, inflow), passes(0.5, 0.8, inflow))
    )
    assert found.flow_m3s == pytest.approx(pump, rel=1e-6)
    assert found.inflow_m3s == pytest.approx(inflow, rel=1e-6)


@given(
    st.floats(0.5, 50.0),
    st.lists(st.tuples(st.floats(0.1, 20.0), st.floats(20.0, 2e3)), max_size=4),
    st.floats(20.0, 2e3),
    st.floats(0.0, 0.1),
    st.floats(0.0, 3.0),
    st.floats(0.0, 0.05),
)
def test_uncertainty_is_that_of_each_reading_moved_by_itself(
    volume: float,
    rises: list[tuple[float, float]],
    time: float,
    volume_off: float,
    time_off: float,
    area_off: float,
) -> None:
    values = [volume, time, *(x for rise in rises for x in rise)]

    def flow_of(given: list[float], area: float = 1.0) -> float:
        pairs = [
            Timed(v * area, t)
            for v, t in zip(given[::2], given[1::2], strict=True)
        ]  # fmt: skip
        return drawdown(pairs[0], pairs[1:]).flow_m3s

    squares = 0.0
    for i, value in enumerate(values):
        step = 1e-4 * value
        up, down = ([*values[:i], value + s, *values[i + 1 :]] for s in (step, -step))
        slope = (flow_of(up) - flow_of(down)) / (2.0 * step)
        squares += (slope * (time_off if i % 2 else volume_off)) ** 2
    area_slope = (flow_of(values, 1.0001) - flow_of(values, 0.9999)) / 0.0002
    squares += (area_slope * area_off) ** 2
    found = drawdown(
        Timed(volume, time),
        [Timed(*rise) for rise in rises],
        volume_uncertainty_m3=volume_off,
        time_uncertainty_s=time_off,
        area_uncertainty=area_off,
    )
    assert found.uncertainty_m3s == pytest.approx(math.sqrt(squares), rel=1e-5, abs=1e-12)


def test_area_goes_with_the_whole_flow_and_not_with_the_fall_alone() -> None:
    found = drawdown(*BY_HAND, area_uncertainty=0.01)
    assert found.uncertainty_m3s == pytest.approx(0.01 * found.flow_m3s, rel=1e-12)
    assert found.flow_m3s > 1.39 * found.without_inflow_m3s


def test_uncertainty_of_the_worked_example_by_hand() -> None:
    found = drawdown(*BY_HAND, volume_uncertainty_m3=0.05, time_uncertainty_s=1.0)
    # fall: 0.05 / 200 = 0.25 L/s and 21.20575 / 200 = 0.10603 L/s;
    # rises: 0.20833 and 0.03682, 0.19231 and 0.03137 L/s, halved
    by_hand = math.sqrt(
        0.25**2 + 0.10603**2 + (0.20833**2 + 0.03682**2 + 0.19231**2 + 0.03137**2) / 4.0
    )
    assert 1e3 * found.uncertainty_m3s == pytest.approx(by_hand, rel=1e-4)
    assert found.flow_m3s == drawdown(*BY_HAND).flow_m3s


@pytest.mark.parametrize("time_s", [0.0, -5.0, math.nan, math.inf])
def test_time_that_is_none_is_refused(time_s: float) -> None:
    with pytest.raises(ValueError, match="cannot change in"):
        drawdown(Timed(1.0, time_s))
    with pytest.raises(ValueError, match="cannot change in"):
        drawdown(Timed(1.0, 60.0), (Timed(1.0, 60.0), Timed(1.0, time_s)))

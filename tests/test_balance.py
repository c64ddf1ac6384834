"""The exact advance, on its own: closed forms, high precision, and the awkward places.

The references are textbook solutions of ``dV/dt = q + b t - k V`` and the same equation in 50-digit
arithmetic (mpmath). Nothing here knows of a station.
"""

from __future__ import annotations

import math
import random
from itertools import pairwise
from typing import Any, NamedTuple

import mpmath
import numpy as np
import pytest

from stationsim.physics.balance import LEFT_CAP, REACHED_TIME, Advance, advance, fill_times

INF = math.inf


class Found(NamedTuple):
    """What an advance gave, with what it added up."""

    at: Advance
    band_s: list[float]
    band_vs: list[float]
    samples: list[float]


def go(
    v: float,
    until: float,
    *,
    t: float = 0.0,
    inflow: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),),
    bands: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),),
    wake: tuple[float, ...] = (),
    cap: float = INF,
    samples: tuple[float, ...] = (),
) -> Found:
    """Advance once; inflow is (start, flow, slope), bands are (edge, outflow, slope)."""
    seg_t, seg_q, seg_b = zip(*inflow, strict=True)
    edge, out, slope = zip(*bands, strict=True)
    band_s, band_vs = [0.0] * len(bands), [0.0] * len(bands)
    values = [math.nan] * len(samples)
    at = advance(
        t, v, 0, until, seg_t, seg_q, seg_b, edge, out, slope, wake, cap, band_s, band_vs,
        (*samples, INF), values, 0,
    )  # fmt: skip
    return Found(at, band_s, band_vs, values)


def leaves(found: Found, bands: tuple[tuple[float, float, float], ...]) -> float:
    """Return the total that left by the bands."""
    parts = zip(bands, found.band_s, found.band_vs, strict=True)
    return math.fsum(out * s + slope * vs for (_edge, out, slope), s, vs in parts)


# ------------------------------------------------------------------ closed forms


@pytest.mark.parametrize("net", [0.01, -0.01, 3e-7, -0.2])
def test_constant_net_flow_crosses_at_the_quotient(net: float) -> None:
    goal = 5.0 + (2.0 if net > 0 else -2.0)
    found = go(
        5.0,
        1e9,
        inflow=((0.0, max(net, 0.0), 0.0),),
        bands=((0.0, max(-net, 0.0), 0.0),),
        wake=(3.0, 7.0),
    )
    assert found.at.t_s == pytest.approx(2.0 / abs(net), rel=1e-14)
    assert found.at.v_m3 == goal
    assert found.at.reached == (1 if net > 0 else 0)
    assert found.at.direction == (1 if net > 0 else -1)


def test_ramp_crosses_at_the_root_of_the_quadratic() -> None:
    # V = 1 + 0.02 t + 0.5 1e-5 t^2 reaches 4 where t = (-q + sqrt(q^2 + 2 b 3)) / b
    q, b = 0.02, 1e-5
    found = go(1.0, 1e6, inflow=((0.0, q, b),), wake=(4.0,))
    assert found.at.t_s == pytest.approx((-q + math.sqrt(q * q + 6.0 * b)) / b, rel=1e-13)


def test_ramp_that_turns_is_found_on_its_way_back() -> None:
    # rises from 10 to 10 + q^2 / (2 b) = 12 at t = 200, and is back at 11 at 200 + sqrt(2 / 1e-4)
    q, b = 0.02, -1e-4
    found = go(10.0, 1e4, inflow=((0.0, q, b),), wake=(9.0,))
    assert found.at.reached == 0
    assert found.at.t_s == pytest.approx((-q - math.sqrt(q * q - 2.0 * b)) / b, rel=1e-13)
    assert found.at.greatest_m3 == pytest.approx(12.0, rel=1e-14)
    assert found.at.greatest_s == pytest.approx(200.0, rel=1e-13)
    below = go(10.0, 1e4, inflow=((0.0, q, b),), wake=(11.0,))
    assert below.at.direction == 1
    again = go(below.at.v_m3, 1e4, t=below.at.t_s, inflow=((0.0, q, b),), wake=(11.0,))
    assert again.at.direction == -1
    assert again.at.t_s == pytest.approx(200.0 + math.sqrt(2.0 / 1e-4), rel=1e-12)


def test_exponential_band_crosses_at_the_logarithm() -> None:
    # dV/dt = q - k V from 0: V = q/k (1 - e^-kt)
    q, k = 0.05, 0.004
    found = go(0.0, 1e6, inflow=((0.0, q, 0.0),), bands=((0.0, 0.0, k),), wake=(10.0,))
    t = -math.log1p(-k * 10.0 / q) / k
    assert found.at.t_s == pytest.approx(t, rel=1e-13)
    # what left: q t - V
    assert leaves(found, ((0.0, 0.0, k),)) == pytest.approx(q * t - 10.0, rel=1e-12)
    assert found.band_s[0] == found.at.t_s


# ------------------------------------------------------------------ against 50 digits


def exactly(v0: float, q: float, b: float, out: float, k: float, s: float) -> tuple[Any, Any]:
    """Return volume and integral of the volume after s, in 50 digits, by undetermined terms."""
    with mpmath.workdps(50):
        v, q, b, out, k, s = (mpmath.mpf(x) for x in (v0, q, b, out, k, s))
        r = q - out
        if k == 0:
            return v + r * s + b * s * s / 2, v * s + r * s**2 / 2 + b * s**3 / 6
        # V = A + B s + C e^-ks with B = b/k, A = (r - B)/k, C = V0 - A
        big_b = b / k
        a = (r - big_b) / k
        c = v - a
        e = mpmath.exp(-k * s)
        return a + big_b * s + c * e, a * s + big_b * s * s / 2 + c * (1 - e) / k


def pieces() -> list[tuple[float, float, float, float, float, float]]:
    """Return v0, q, b, out, k, s of awkward single pieces: k s on both sides of every change."""
    draw = random.Random(20270301)  # noqa: S311
    found = []
    edges = [0.0, 1e-12, 1e-6, 0.0199, 0.0201, 0.399, 0.401, 1.0, 8.0, -0.0199, -0.0201, -0.4, -3.0]
    for x in edges * 12:
        s = 10.0 ** draw.uniform(-2.0, 5.0)
        k = x / s
        q = 10.0 ** draw.uniform(-4.0, 0.0)
        b = draw.choice([0.0, 1.0, -1.0]) * q / s * draw.uniform(0.01, 0.9)
        out = q * draw.choice([0.0, 0.3, 0.999, 1.7])
        v0 = (abs(k) * 0.0 + 1.0) * (2.0 * s * (q + out + 0.1 * abs(b) * s) + 1.0)
        found.append((v0, q, b, out, k, s))
    return found


def test_single_pieces_agree_with_50_digits() -> None:
    count = 0
    for v0, q, b, out, k, s in pieces():
        volume, area = exactly(v0, q, b, out, k, s)
        # a piece that would fall to the floor is another case
        if min(float(exactly(v0, q, b, out, k, s * f / 8)[0]) for f in range(1, 9)) <= 0.0:
            continue
        count += 1
        found = go(v0, s, inflow=((0.0, q, b),), bands=((0.0, out, k),))
        assert found.at.reached == REACHED_TIME
        # volume is v0 and what was gained; its rounding is that of the larger of them
        scale = max(v0, abs(float(volume)))
        assert abs(float(volume - found.at.v_m3)) <= 1e-13 * scale, (v0, q, b, out, k, s)
        assert abs(float(area - found.band_vs[0])) <= 1e-13 * scale * s
        assert found.band_s[0] == pytest.approx(s, rel=1e-15)
    assert count > 100


def test_crossings_agree_with_50_digits() -> None:
    draw = random.Random(7)  # noqa: S311
    count = 0
    for v0, q, b, out, k, s in pieces():
        part = draw.uniform(0.05, 0.95) * s
        goal = float(exactly(v0, q, b, out, k, part)[0])
        marks = [float(exactly(v0, q, b, out, k, part * f / 16)[0]) for f in range(17)]
        rate = abs(q + b * part - out - k * goal)
        steady = all(y > x for x, y in pairwise(marks)) or all(y < x for x, y in pairwise(marks))
        if goal <= 0.0 or not steady or rate == 0.0:
            continue
        count += 1
        found = go(v0, s, inflow=((0.0, q, b),), bands=((0.0, out, k),), wake=(goal,))
        assert found.at.reached == 0
        # the error of a crossing is that of the volume over the net flow
        allowed = 1e-13 * part + 4e-15 * max(v0, goal) / rate + 2e-11
        assert abs(found.at.t_s - part) <= allowed, (v0, q, b, out, k, s)
    assert count > 80


def test_band_in_which_outflow_falls_with_volume_runs_away_without_overflow() -> None:
    # k < 0 over 4000 time constants: the volume leaves for the next band long before
    bands = ((0.0, 0.05, 0.0), (5.0, 0.05, -0.01), (9.0, 0.01, 0.0))
    found = go(5.0, 400_000.0, inflow=((0.0, 0.05 + 1e-9, 0.0),), bands=bands, wake=(1000.0,))
    assert found.at.reached == 0
    # in the middle band W = (1e-9 / 0.01) (e^0.01s - 1) reaches 4; then 991 m3 at 0.04 m3/s
    middle = math.log1p(4.0 * 0.01 / 1e-9) / 0.01
    assert found.band_s[1] == pytest.approx(middle, rel=1e-6)  # dV / |net flow| of the start
    assert found.band_s[2] == pytest.approx(991.0 / (0.04 + 1e-9), rel=1e-12)


# ------------------------------------------------------------------ many bands and segments

BANDS = ((0.0, 0.010, 0.0), (2.0, 0.010, 0.002), (5.0, 0.016, -0.0005), (9.0, 0.014, 0.0004))
INFLOW = tuple(
    (600.0 * n, 0.014 + 0.006 * math.sin(n), 0.006 * (math.sin(n + 1) - math.sin(n)) / 600.0)
    for n in range(200)
)


def test_cutting_bands_and_segments_finer_changes_nothing() -> None:
    finer = []
    for n, (edge, out, slope) in enumerate(BANDS):
        top = BANDS[n + 1][0] if n + 1 < len(BANDS) else 30.0
        finer += [
            (edge + x * (top - edge), out + slope * x * (top - edge), slope)
            for x in (0.0, 0.13, 0.5, 0.77)
        ]
    cut = [(t + x, q + b * x, b) for t, q, b in INFLOW for x in (0.0, 17.0, 333.3)]
    one = go(6.0, 100_000.0, inflow=INFLOW, bands=BANDS)
    two = go(6.0, 100_000.0, inflow=tuple(cut), bands=tuple(finer))
    assert one.at.v_m3 == pytest.approx(two.at.v_m3, rel=1e-12)
    assert leaves(one, BANDS) == pytest.approx(leaves(two, tuple(finer)), rel=1e-12)
    assert one.at.greatest_m3 == pytest.approx(two.at.greatest_m3, rel=1e-12)
    assert one.at.least_m3 == pytest.approx(two.at.least_m3, rel=1e-12)
    assert one.at.high_band > one.at.low_band


def test_what_arrives_less_what_leaves_is_what_is_kept() -> None:
    found = go(6.0, 100_000.0, inflow=INFLOW, bands=BANDS)
    ends = [*[t for t, _q, _b in INFLOW[1:]], INF]
    arrived = math.fsum(
        (min(end, 100_000.0) - t) * (q + b * (min(end, 100_000.0) - t) / 2.0)
        for (t, q, b), end in zip(INFLOW, ends, strict=True)
        if t < 100_000.0
    )
    assert 6.0 + arrived - leaves(found, BANDS) == pytest.approx(found.at.v_m3, abs=1e-10)
    assert math.fsum(found.band_s) == pytest.approx(100_000.0, rel=1e-13)


def test_stepping_in_pieces_agrees_with_one_stride() -> None:
    whole = go(6.0, 100_000.0, inflow=INFLOW, bands=BANDS)
    t, v, left = 0.0, 6.0, 0.0
    for end in np.linspace(0.0, 100_000.0, 778)[1:]:
        part = go(v, float(end), t=t, inflow=INFLOW, bands=BANDS)
        t, v, left = part.at.t_s, part.at.v_m3, left + leaves(part, BANDS)
    assert v == pytest.approx(whole.at.v_m3, rel=1e-12)
    assert left == pytest.approx(leaves(whole, BANDS), rel=1e-12)


def test_samples_agree_with_advances_to_each_time() -> None:
    times = tuple(137.0 + 911.0 * n for n in range(100))
    found = go(6.0, 100_000.0, inflow=INFLOW, bands=BANDS, samples=times)
    assert found.at.sampled == 100
    for t, v in zip(times, found.samples, strict=True):
        assert v == pytest.approx(go(6.0, t, inflow=INFLOW, bands=BANDS).at.v_m3, rel=1e-12)


def test_sample_at_the_very_end_is_left_to_the_next() -> None:
    found = go(1.0, 50.0, inflow=((0.0, 0.1, 0.0),), samples=(0.0, 25.0, 50.0))
    assert found.at.sampled == 2
    assert found.samples[:2] == [1.0, pytest.approx(3.5, rel=1e-15)]


# ------------------------------------------------------------ standing on a volume of interest


def test_volume_that_is_stood_on_counts_only_after_it_was_left() -> None:
    up_and_down = ((0.0, 0.02, -1e-4),)
    found = go(10.0, 1e4, inflow=up_and_down, wake=(10.0,))
    assert (found.at.reached, found.at.direction) == (0, -1)
    assert found.at.t_s == pytest.approx(400.0, rel=1e-12)
    down = go(10.0, 1e3, inflow=((0.0, 0.001, 0.0),), bands=((0.0, 0.002, 0.0),), wake=(10.0, 12.0))
    assert down.at.reached == REACHED_TIME


def test_tangent_counts_when_touched_from_within_and_not_when_missed() -> None:
    # V = 10 + 0.02 t - 5e-5 t^2 has its peak, 12, at t = 200
    parabola = ((0.0, 0.02, -1e-4),)
    missed = go(10.0, 399.0, inflow=parabola, wake=(12.0 + 1e-9,))
    assert missed.at.reached == REACHED_TIME
    touched = go(10.0, 399.0, inflow=parabola, wake=(12.0 - 1e-9,))
    assert touched.at.reached == 0
    # a depth d under the peak is passed sqrt(2 d / b) before it; d itself is known to 2e-15
    assert touched.at.t_s == pytest.approx(200.0 - math.sqrt(2e-9 / 1e-4), abs=1e-8)


def test_equilibrium_on_a_wake_volume_is_approached_and_not_reached() -> None:
    # 0.5 k = q in binary fractions: V tends to 8 and stays below it in exact arithmetic
    found = go(1.0, 1e7, inflow=((0.0, 0.25, 0.0),), bands=((0.0, 0.0, 0.03125),), wake=(8.0,))
    assert found.at.v_m3 == pytest.approx(8.0, abs=1e-12)
    at_rest = go(8.0, 1e7, inflow=((0.0, 0.25, 0.0),), bands=((0.0, 0.0, 0.03125),), wake=(8.0,))
    assert (at_rest.at.reached, at_rest.at.direction, at_rest.at.v_m3) == (REACHED_TIME, 0, 8.0)


def test_stall_on_an_edge_goes_on_when_the_inflow_changes() -> None:
    bands = ((0.0, 0.02, 0.0), (5.0, 0.02, 0.001))
    steps = ((0.0, 0.02, 0.0), (100.0, 0.01, 0.0))
    found = go(5.0, 1000.0, inflow=steps, bands=bands, wake=(4.0,))
    assert found.at.reached == 0
    assert found.at.t_s == pytest.approx(200.0, rel=1e-13)


# ------------------------------------------------------------------ the cap and the floor


def test_cap_holds_and_what_is_too_much_is_lost_until_the_net_flow_turns() -> None:
    # full at 100 s; net flow 0.02 - 1e-5 (t - 100) turns at 2100 s: 0.02 * 2000 / 2 = 20 m3 lost
    inflow = ((0.0, 0.05, 0.0), (100.0, 0.03, -1e-5))
    bands = ((0.0, 0.01, 0.0),)
    found = go(6.0, 1e5, inflow=inflow, bands=bands, wake=(10.0,), cap=10.0)
    assert (found.at.reached, found.at.t_s) == (0, pytest.approx(100.0, rel=1e-13))
    held = go(10.0, 1e5, t=found.at.t_s, inflow=inflow, bands=bands, wake=(10.0,), cap=10.0)
    assert held.at.reached == LEFT_CAP
    assert held.at.t_s == pytest.approx(2100.0, rel=1e-13)
    assert held.at.over_m3 == pytest.approx(20.0, rel=1e-12)
    assert held.at.over_peak_m3s == pytest.approx(0.02, rel=1e-12)
    assert held.at.v_m3 == held.at.greatest_m3 == 10.0
    after = go(10.0, 1e5, t=held.at.t_s, inflow=inflow, bands=bands, wake=(9.0,), cap=10.0)
    assert after.at.reached == 0
    assert after.at.t_s == pytest.approx(2100.0 + math.sqrt(2.0 / 1e-5), rel=1e-10)


def test_leaving_the_cap_is_told_when_the_inflow_steps_down() -> None:
    inflow = ((0.0, 0.05, 0.0), (600.0, 0.005, 0.0))
    found = go(10.0, 1e5, inflow=inflow, bands=((0.0, 0.01, 0.0),), wake=(1.0, 10.0), cap=10.0)
    assert found.at.reached == LEFT_CAP
    assert found.at.t_s == 600.0
    assert found.at.over_m3 == pytest.approx(0.04 * 600.0, rel=1e-13)


def test_cap_that_no_one_waits_for_holds_just_as_well() -> None:
    found = go(6.0, 1000.0, inflow=((0.0, 0.05, 0.0),), cap=10.0)
    assert found.at.v_m3 == 10.0
    assert found.at.over_m3 == pytest.approx(50.0 - 4.0, rel=1e-13)


def test_floor_holds_and_pumps_take_only_what_arrives() -> None:
    # 2 m3 go in 200 s at a net 0.01 out; then 0.02 in, 0.03 out: dry to the step at 500 s
    inflow = ((0.0, 0.02, 0.0), (500.0, 0.05, 0.0))
    bands = ((0.0, 0.03, 0.0),)
    found = go(2.0, 600.0, inflow=inflow, bands=bands)
    assert found.at.least_m3 == 0.0
    assert found.at.least_s == pytest.approx(200.0, rel=1e-13)
    assert found.at.dry_s == pytest.approx(300.0, rel=1e-13)
    assert found.at.dry_m3 == pytest.approx(6.0, rel=1e-13)
    assert found.at.v_m3 == pytest.approx(2.0, rel=1e-13)
    told = go(2.0, 600.0, inflow=inflow, bands=bands, wake=(0.0,))
    assert (told.at.reached, told.at.v_m3, told.at.direction) == (0, 0.0, -1)


def test_floor_is_left_when_a_ramp_has_grown_above_the_pumps() -> None:
    # 0.01 + 1e-4 t passes 0.03 at 200 s, then V = 0.5 1e-4 (t - 200)^2
    found = go(0.0, 300.0, inflow=((0.0, 0.01, 1e-4),), bands=((0.0, 0.03, 0.0),))
    assert found.at.dry_s == pytest.approx(200.0, rel=1e-13)
    assert found.at.dry_m3 == pytest.approx(4.0, rel=1e-13)
    assert found.at.v_m3 == pytest.approx(0.5, rel=1e-12)


# ------------------------------------------------------------------ fill times


def test_fill_times_agree_with_an_advance_that_nothing_leaves() -> None:
    seg_t, seg_q, seg_b = (np.array(x) for x in zip(*INFLOW, strict=True))
    starts = np.array([0.0, 10.0, 600.0, 33_333.0, 80_000.0])
    to_go = np.array([1.0, 0.003, 7.0, 60.0, 400.0])
    ours = fill_times(seg_t, seg_q, seg_b, starts, to_go)
    for start, goal, found in zip(starts.tolist(), to_go.tolist(), ours.tolist(), strict=True):
        slow = go(0.0, 1e9, t=start, inflow=INFLOW, wake=(goal,))
        assert slow.at.reached == 0
        assert found == pytest.approx(slow.at.t_s - start, abs=1e-7)  # running total of 1e3 m3


def test_fill_times_are_infinite_when_it_never_comes_and_nought_when_it_is_there() -> None:
    seg_t, seg_q, seg_b = np.array([0.0, 100.0]), np.array([0.1, 0.0]), np.array([0.0, 0.0])
    found = fill_times(
        seg_t, seg_q, seg_b, np.array([0.0, 0.0, 200.0, 200.0]), np.array([5.0, 10.1, 0.0, 1e-3])
    )
    assert found.tolist() == [pytest.approx(50.0, rel=1e-13), INF, 0.0, INF]


def test_fill_times_pass_a_span_without_inflow() -> None:
    seg_t, seg_q = np.array([0.0, 100.0, 300.0]), np.array([0.1, 0.0, 0.2])
    found = fill_times(seg_t, seg_q, np.zeros(3), np.array([50.0]), np.array([7.0]))
    # 5 m3 until 100 s, nothing until 300 s, 2 m3 in 10 s more
    assert found[0] == pytest.approx(260.0, rel=1e-13)

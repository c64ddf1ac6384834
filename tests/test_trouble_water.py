"""Water that goes where it should not: valves that fail, and a force main with trouble in it.

Plain flows: two pumps of 30 L/s in a tank of 10 m2 (``stationsim.testing.duplex``), 10 L/s in; all
times and volumes follow by hand. Curves: the header balance against Brent's method of scipy, which
the simulation does not use. Own computation throughout; the rules are those that the docstrings of
``physics/operating.py`` and ``simulation/well/running_back.py`` state (common practice, no source).
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.faults import BY_KIND
from stationsim.equipment.pumps import PumpUnit
from stationsim.physics.bands import lay_bands
from stationsim.physics.forcemain import ForceMain, Pipe, TroubledMain, troubled
from stationsim.physics.operating import (
    RunsBack,
    drain_m3s,
    flows_and_back,
    kink_levels,
    lineup_flows,
    operating_point,
    supplies_of,
)
from stationsim.physics.pumps import FlowTable, HeadCurve, PowerDraw
from stationsim.physics.spill import Spillway
from stationsim.results import Result
from stationsim.simulation.session import Session, simulate
from stationsim.simulation.well.water import duty_level
from stationsim.station import Station
from stationsim.testing import duplex, engine_pump, episode, triplex

EPS = 1e-6
EXACT = 1e-9
PIPE = Pipe(600.0, 0.25, c_factor=110.0, fittings_k=8.0)
MAIN = ForceMain((PIPE,), 12.0)
BRANCH = Pipe(12.0, 0.15, c_factor=120.0, fittings_k=4.0)


def happened(
    at_s: float,
    kind: EventKind,
    subject: str = "P2",
    duration_s: float | None = None,
    **more: Any,
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, duration_s, **more)


def run(
    *events: ScriptedEvent,
    station: Station | None = None,
    duration_s: float = 6000.0,
    inflow: float = 0.01,
    **more: Any,
) -> Result:
    result = simulate(station or duplex(), episode(duration_s, inflow, *events, **more))
    assert result.trace.balance_error < 1e-9
    return result


def times(result: Result) -> list[tuple[int, float, float]]:
    return [(r.machine, round(r.start_s, 6), round(r.stop_s, 6)) for r in result.trace.runs]


def told(result: Result, *events: str) -> list[tuple[float, str, str, str]]:
    return [
        (pytest.approx(e.t_s, abs=EPS), e.subject, e.event, e.cause)
        for e in result.trace.events
        if e.event in events
    ]


def curved(shut_off_m: float = 26.0, **changes: Any) -> Station:
    """Two unlike pumps with curves on one force main, in the tank of ``duplex``."""
    one = HeadCurve.from_points((0.0, 0.03, 0.06, 0.09), (shut_off_m, 23.0, 17.0, 8.0))
    two = HeadCurve.from_coefficients(22.0, -10.0, -1800.0)
    power = PowerDraw(input_curve=FlowTable((0.0, 0.05, 0.1), (4e3, 9e3, 12e3)))
    pumps = (
        PumpUnit("P1", curve=one, branch=BRANCH, power=power),
        PumpUnit("P2", curve=two, branch=BRANCH, power=power),
    )
    return dataclasses.replace(duplex(), pumps=pumps, force_main=MAIN, **changes)


def net_head_m(unit: PumpUnit, flow_m3s: float) -> float:
    curve = unit.curve_now()
    assert curve is not None
    return curve.head_at(flow_m3s) - (0.0 if unit.branch is None else unit.branch.loss_m(flow_m3s))


# ---------------------------------------------------------------------- a check valve that fails


def test_a_pump_runs_against_its_neighbours_open_check_valve() -> None:
    """P2 lets 40 % of its 30 L/s back: P1 nets 18 L/s, P2 itself its 30."""
    station = duplex(main_water_m3=3.0)
    result = run(happened(0.0, "check valve open", amount=0.4), station=station)
    # the main runs back at 12 L/s: 250 s for 3 m3, the level at 1.55 m; then 4.5 m3 at 10 L/s
    first, length = 250.0 + 450.0, 10.0 / 0.008
    second = first + length + 700.0
    assert times(result)[:3] == [
        (0, first, first + length),
        (1, second, second + 500.0),
        (0, second + 500.0 + 700.0, second + 500.0 + 700.0 + length),
    ]
    at = np.array([0.0, 100.0, 250.0, 500.0, 700.0, 1200.0, 1950.0, 2650.0, 2900.0, 3150.0])
    by_hand = [1.0, 1.22, 1.55, 1.80, 2.0, 1.60, 1.0, 2.0, 1.5, 1.0]
    assert result.level_at(at) == pytest.approx(by_hand, abs=1e-12)
    assert result.trace.runs[0].volume_m3 == pytest.approx(0.03 * length, abs=EXACT)
    # what came back: 3 m3 after each of the stops, and 12 L/s while P1 ran
    drained = [e for e in result.trace.events if e.event == "water ran back"]
    assert [(e.t_s, e.detail) for e in drained] == [
        (pytest.approx(t, abs=EPS), "3.000 m3 in 250 s") for t in (250.0, 2200.0, 3400.0, 5350.0)
    ]
    assert result.trace.other_m3 == pytest.approx(-(4 * 3.0 + 0.012 * 2 * length), abs=EXACT)
    assert result.value("volume run back") == -result.trace.other_m3
    seen = result.sample(50.0).set_index("t_s")
    assert seen.loc[[0.0, 300.0, 1000.0, 2700.0], "other_m3s"].tolist() == [-0.012, 0, -0.012, 0]
    pumped = seen.loc[[0.0, 300.0, 1000.0, 2700.0], "pumped_m3s"].to_numpy()
    assert pumped == pytest.approx([0.0, 0.0, 0.03, 0.03], abs=1e-15)
    assert result.trace.alarms == []  # nobody is told


def test_a_day_of_short_cycles_is_as_long_as_by_hand() -> None:
    station = duplex(main_water_m3=3.0)
    sound = run(station=station, duration_s=86_400.0)
    result = run(
        happened(0.0, "check valve open", amount=0.4), station=station, duration_s=86_400.0
    )
    # cycles of P1: 700 s of filling and 1250 s of pumping; of P2: 700 s and 500 s
    pairs, rest = divmod(86_400.0, 1950.0 + 1200.0)
    starts = 2 * int(pairs) + (rest >= 700.0) + (rest >= 1950.0 + 700.0)
    assert len(result.trace.runs) == starts == 55
    assert len(sound.trace.runs) == 57  # one each 1500 s, the first at 1000 s
    longest = max(r.stop_s - r.start_s for r in result.trace.runs)
    assert longest == pytest.approx(1250.0, abs=1e-4)


def test_with_all_of_its_flow_back_the_level_does_not_fall() -> None:
    result = run(happened(0.0, "check valve open", amount=1.0), station=duplex(), inflow=0.002)
    # nothing in the main to run back; from 1 m 10 m3 at 2 L/s, then the lead moves nothing net
    assert times(result)[0] == (0, 5000.0, 6000.0)
    assert result.level_at(np.array([5000.0, 5500.0, 6000.0])) == pytest.approx([2.0, 2.1, 2.2])
    assert result.value("volume by the station meter") == pytest.approx(0.0, abs=EXACT)


def test_a_pump_that_starts_ends_the_drain_and_fills_the_main_first() -> None:
    station = duplex(main_water_m3=50.0)
    result = run(happened(0.0, "check valve open", amount=0.4), station=station, duration_s=1600.0)
    starts = 10.0 / 0.022
    drained = 0.012 * starts
    assert told(result, "water ran back")[0][0] == starts
    first = result.trace.runs[0]
    assert first.start_s == pytest.approx(starts, abs=EPS)
    # P1 nets 18 L/s and needs 10 m3 / 8 L/s: cut by the end of the run
    forward = 0.018 * (1600.0 - starts)
    assert result.value("volume by the station meter") == pytest.approx(forward, abs=EXACT)
    assert result.value("volume by the plant meter") == pytest.approx(forward - drained, abs=EXACT)
    assert forward > drained


def test_only_what_has_been_refilled_runs_back_again() -> None:
    """A minute in hand brings 30 L/s less the 12 that circulate; so much can run back after it."""
    station = duplex(main_water_m3=3.0)
    result = run(
        happened(0.0, "check valve open", amount=0.4),
        happened(400.0, "hand", "P1"),
        happened(460.0, "auto", "P1"),
        station=station,
        duration_s=600.0,
    )
    drains = [e for e in result.trace.events if e.event == "water ran back"]
    again = 0.018 * 60.0 / 0.012
    assert [e.t_s for e in drains] == pytest.approx([250.0, 460.0 + again], abs=EPS)
    assert drains[1].detail == "1.080 m3 in 90 s"
    assert result.value("volume by the plant meter") == 0.0


@pytest.mark.parametrize("by", ["duration", "put right"])
def test_a_check_valve_that_holds_again_ends_it(by: str) -> None:
    station = duplex(main_water_m3=3.0)
    if by == "duration":
        events = [happened(0.0, "check valve open", duration_s=100.0, amount=0.4)]
        cause = "work done"
    else:
        events = [happened(0.0, "check valve open", amount=0.4), happened(100.0, "put right")]
        cause = "put right on site"
    result = run(*events, station=station)
    assert told(result, "check valve holds") == [(100.0, "P2", "check valve holds", cause)]
    assert result.trace.other_m3 == pytest.approx(-1.2, abs=EXACT)
    # 1.22 m, then 7.8 m3 at 10 L/s; from there on as if nothing had been
    assert times(result)[0] == (0, 880.0, 1380.0)


def test_two_open_valves_add_and_no_more_comes_back_than_is_pumped() -> None:
    station = triplex((0.03, 0.03, 0.03), main_water_m3=0.0)
    both = [happened(0.0, "check valve open", name, amount=0.3) for name in ("P2", "P3")]
    result = run(*both, station=station)
    assert times(result)[0] == (0, 1000.0, round(1000.0 + 10.0 / 0.002, 6))
    all_of_it = [happened(0.0, "check valve open", name, amount=0.9) for name in ("P2", "P3")]
    result = run(*all_of_it, station=station, duration_s=1200.0)
    sampled = result.sampled(np.array([1100.0]))
    assert (sampled.pumped_m3s[0], sampled.other_m3s[0]) == pytest.approx((0.03, -0.03))
    assert result.level_at(np.array([1200.0]))[0] == pytest.approx(2.2)


def test_on_an_empty_well_all_flows_shrink_alike() -> None:
    """In hand P1 draws the well down; then it lifts what arrives and what comes back."""
    result = run(
        happened(0.0, "check valve open", amount=0.4),
        happened(0.0, "hand", "P1"),
        inflow=0.009,
        duration_s=2111.0,
    )
    empty = 10.0 / (0.018 - 0.009)
    assert told(result, "well empty")[0][0] == empty
    rest = 0.009 * (2111.0 - empty)  # arrives and leaves the well for good
    pumped = 0.03 * empty + rest * 0.03 / 0.018
    assert result.trace.runs[0].volume_m3 == pytest.approx(pumped, abs=EXACT)
    assert result.trace.other_m3 == pytest.approx(-0.4 * pumped, abs=EXACT)
    last = result.sampled(np.array([2000.0]))
    assert last.pumped_m3s[0] == pytest.approx(0.015)
    assert last.other_m3s[0] == pytest.approx(-0.006)
    assert result.value("volume by the station meter") == pytest.approx(0.6 * pumped, abs=EXACT)


@pytest.mark.parametrize("length_m", [None, 2.0])
def test_water_that_runs_back_spills_at_the_crest(length_m: float | None) -> None:
    station = duplex(main_water_m3=6.0, spillway=Spillway(4.0, length_m))
    result = run(
        happened(0.0, "off", "P1"),
        happened(0.0, "off", "P2"),
        happened(0.0, "check valve open", amount=0.4),
        station=station,
        start_level_m=3.78,
        duration_s=1000.0,
    )
    assert told(result, "spill begins")[0][0] == 100.0  # 2.2 m3 at 22 L/s
    trace = result.trace
    assert trace.other_m3 == pytest.approx(-6.0, abs=EXACT)
    assert trace.end_m3 - trace.start_m3 == pytest.approx(10.0 + 6.0 - trace.spilled_m3, abs=EXACT)
    if length_m is None:
        assert trace.spilled_m3 == pytest.approx(0.022 * 400.0 + 0.01 * 500.0, abs=EXACT)
        at = result.sampled(np.array([300.0, 700.0]))
        assert at.spill_m3s == pytest.approx([0.022, 0.01])
    assert result.value("least time to spill") == 0.0


def test_the_least_time_to_spill_counts_what_runs_back() -> None:
    station = duplex(main_water_m3=6.0)
    off = [happened(0.0, "off", name) for name in ("P1", "P2")]
    leaking = happened(0.0, "check valve open", amount=0.4)
    result = run(*off, leaking, station=station, duration_s=600.0)
    # 30 m3 to go at the start, less 6 m3 from the main and 6 m3 that arrive
    assert result.value("least time to spill") == pytest.approx((30.0 - 12.0) / 0.01, abs=0.06)


def test_a_pump_that_moves_nothing_does_not_hold_the_main() -> None:
    """P1 runs against a shut plug valve; the main runs back through P2 all the same."""
    station = duplex(main_water_m3=3.0)
    result = run(
        happened(0.0, "check valve open", amount=0.4),
        happened(0.0, "plug valve closed", "P1", flow_left=0.0),
        happened(100.0, "hand", "P1"),
        station=station,
        duration_s=600.0,
    )
    assert told(result, "water ran back")[0][0] == 250.0
    assert result.trace.other_m3 == pytest.approx(-3.0, abs=EXACT)
    assert result.trace.runs[0].volume_m3 == 0.0


def test_a_shut_plug_valve_holds_what_the_check_valve_does_not() -> None:
    station = duplex(main_water_m3=3.0)
    both = [
        happened(0.0, "check valve open", amount=0.4),
        happened(0.0, "plug valve closed", flow_left=0.0),
    ]
    assert run(*both, station=station, duration_s=1400.0).trace.other_m3 == 0.0


# ---------------------------------------------------------------------- a slow check valve


def test_a_slow_check_valve_lets_its_whole_flow_back_for_so_long() -> None:
    station = duplex(main_water_m3=3.0)
    result = run(happened(0.0, "check valve slow", "P1", amount=8.0), station=station)
    # P1 stops at 1500 s: 0.24 m3 come back in 8 s, which P2 then fills before all else
    early = 0.24 / 0.01
    assert times(result)[:3] == [
        (0, 1000.0, 1500.0),
        (1, 2500.0 - early, 3000.0 - early),
        (0, 4000.0 - early, 4500.0 - early),
    ]
    assert result.trace.other_m3 == pytest.approx(-0.48, abs=EXACT)
    meters = result.meters.iloc[0]
    assert meters["difference_m3"] == pytest.approx(0.48, abs=EXACT)


def test_a_slow_valve_beside_a_pump_that_runs_on() -> None:
    station = duplex(main_water_m3=3.0, levels={"lag_stop_m": 1.5, "stop_policy": "staged"})
    result = run(
        happened(0.0, "check valve slow", "P2", amount=10.0),
        happened(1100.0, "hand", "P2"),
        happened(1200.0, "auto", "P2"),
        station=station,
        duration_s=1400.0,
    )
    runs = {r.machine: r for r in result.trace.runs}
    assert runs[1].stop_s == 1200.0
    # P1 pumps 30 L/s, and all of it comes back through P2 for 10 s
    sampled = result.sampled(np.array([1205.0, 1211.0]))
    assert sampled.other_m3s == pytest.approx([-0.03, 0.0])
    assert result.trace.other_m3 == pytest.approx(-0.3, abs=EXACT)


def test_a_slow_valve_that_is_put_right_shuts_at_once() -> None:
    station = duplex(main_water_m3=3.0)
    result = run(
        happened(0.0, "check valve slow", "P1", amount=8.0),
        happened(1503.0, "put right", "P1"),
        station=station,
        duration_s=5000.0,
    )
    assert result.trace.other_m3 == pytest.approx(-0.09, abs=EXACT)


# ---------------------------------------------------------------------- pumps with curves


@pytest.mark.parametrize("part", [0.1, 0.4, 1.0])
@pytest.mark.parametrize("level_m", [0.5, 1.0, 2.7])
def test_the_header_balance_holds_and_agrees_with_brent(part: float, level_m: float) -> None:
    station = curved()
    one, two = station.pumps
    alone = operating_point([two], MAIN, 2.0)
    per_root = part * alone.total_m3s / math.sqrt(alone.header_m)
    supplies = supplies_of([one], None)
    (flow,), back = flows_and_back(supplies, MAIN, level_m, RunsBack(0.0, per_root))
    lift = MAIN.discharge_level_m - level_m
    header = lift + MAIN.loss_m(flow - back)
    assert abs(net_head_m(one, flow) - header) < 1e-9
    assert abs(back - per_root * math.sqrt(header)) < 1e-9

    def delivers(head: float) -> float:
        return float(brentq(lambda q: net_head_m(one, q) - head, 0.0, 0.2, xtol=1e-15))

    def off(head: float) -> float:
        into_main = delivers(head) - per_root * math.sqrt(head)
        return lift + MAIN.loss_m(max(into_main, 0.0)) - head

    head = brentq(off, lift, 25.9, xtol=1e-13)
    assert flow == pytest.approx(delivers(head), abs=1e-9)
    # alone at the same level it does less against a whole header
    assert flow > lineup_flows(supplies, MAIN, level_m)[0] > flow - back


def test_a_lineup_with_water_that_runs_back_keeps_its_balance_in_every_band() -> None:
    station = curved()
    back = RunsBack(0.0, 0.006)
    lineup = lay_bands(
        (0,), station.pumps[:1], MAIN, station.well, station.spillway, 4.0, (1.0, 2.0), back=back
    )
    supplies = supplies_of(station.pumps[:1], None)
    assert len(lineup.edge_m3) > 3
    for j, edge in enumerate(lineup.edge_m3):
        (flow,), returned = flows_and_back(supplies, MAIN, station.well.level_at(edge), back)
        assert lineup.pump_m3s[0][j] == pytest.approx(flow, rel=2e-5)
        assert lineup.back_m3s[j] == pytest.approx(returned, rel=2e-5)
        assert lineup.out_m3s[j] == lineup.pump_m3s[0][j] - lineup.back_m3s[j]


def test_when_the_main_takes_nothing_all_that_is_pumped_comes_back() -> None:
    weak = curved(shut_off_m=26.0).pumps[:1]
    back = RunsBack(0.0, 0.05)
    (flow,), returned = flows_and_back(supplies_of(weak, None), MAIN, 1.0, back)
    assert returned == flow
    head = brentq(lambda h: back.at(h) - _delivers(weak[0], h), 1e-9, 25.9, xtol=1e-14)
    assert head < MAIN.discharge_level_m - 1.0
    assert flow == pytest.approx(_delivers(weak[0], head), abs=1e-9)
    # the level at which the main begins to take some is a kink of the lineup
    small = RunsBack(0.0, 0.016)
    supplies = supplies_of(weak, None)
    kinks = kink_levels(supplies, MAIN, small)
    turning = kinks[-1]
    for level, more in ((turning - 0.01, False), (turning + 0.01, True)):
        (flow,), returned = flows_and_back(supplies, MAIN, level, small)
        assert (flow > returned) is more


def _delivers(unit: PumpUnit, head_m: float) -> float:
    if net_head_m(unit, 0.0) <= head_m:
        return 0.0
    return float(brentq(lambda q: net_head_m(unit, q) - head_m, 0.0, 0.2, xtol=1e-15))


def test_a_run_with_curves_closes_and_its_back_flow_is_that_of_the_lineup() -> None:
    station = curved(main_water_m3=20.0)
    result = run(
        happened(0.0, "check valve open", amount=0.3), station=station, inflow=0.02,
        duration_s=20_000.0,
    )  # fmt: skip
    trace = result.trace
    seen = result.sample(1.0)
    level = duty_level(station)
    assert level == 2.0
    alone = operating_point(station.pumps[1:], MAIN, level)
    per_root = 0.3 * alone.total_m3s / math.sqrt(alone.header_m)
    # P1 alone: what runs back goes by the header head
    supplies = supplies_of(station.pumps[:1], None)
    row = seen[(seen["pumps_running"] == 1) & (seen["other_m3s"] < 0.0)].iloc[50]
    (flow,), back = flows_and_back(supplies, MAIN, row["level_m"], RunsBack(0.0, per_root))
    assert row["pumped_m3s"] == pytest.approx(flow, rel=2e-5)
    assert -row["other_m3s"] == pytest.approx(back, rel=2e-5)
    # nobody runs: the static head at the stop, against the way back and the loss of the main
    first = seen[(seen["pumps_running"] == 0)].iloc[1]
    lift = MAIN.discharge_level_m - 1.0
    drain = brentq(lambda q: lift - MAIN.loss_m(q) - (q / per_root) ** 2, 0.0, 0.2, xtol=1e-15)
    assert drain == pytest.approx(-first["other_m3s"], abs=EXACT)
    assert drain_m3s(MAIN, 1.0, RunsBack(0.0, per_root)) == pytest.approx(drain, abs=EXACT)
    moved = seen["inflow_m3s"] - seen["pumped_m3s"] - seen["spill_m3s"] - seen["other_m3s"]
    gained = float(np.sum(0.5 * (moved.to_numpy()[1:] + moved.to_numpy()[:-1])))
    # each switch inside a second is off by half of it
    allowed = 0.05 * math.sqrt(2.0 * len(trace.runs)) * 2.0
    assert gained == pytest.approx(trace.end_m3 - trace.start_m3, abs=allowed)


# ---------------------------------------------------------------------- pumps that move less


def test_a_shut_plug_valve_lets_it_run_at_its_power_at_no_flow() -> None:
    result = run(
        happened(0.0, "plug valve closed", "P1", flow_left=0.0),
        station=curved(), inflow=0.02, duration_s=1000.0,
    )  # fmt: skip
    first, second = (next(r for r in result.trace.runs if r.machine == n) for n in (0, 1))
    # the level rises on as if nobody ran, up to the start of the lag
    assert (first.start_s, second.start_s) == (pytest.approx(500.0), pytest.approx(750.0))
    assert first.volume_m3 == 0.0
    assert first.energy_j == pytest.approx(4e3 * (first.stop_s - first.start_s), rel=1e-12)
    assert second.volume_m3 > 1.0
    assert result.trace.alarms == []


@pytest.mark.parametrize("kind", ["plug valve closed", "turning backwards"])
def test_part_of_a_plain_flow_is_left_until_it_is_put_right(kind: EventKind) -> None:
    result = run(
        happened(0.0, kind, "P1", flow_left=0.5), happened(1500.0, "put right", "P1"),
        station=duplex(),
    )  # fmt: skip
    # 15 L/s for 500 s take 2.5 m3; the rest at 30 L/s
    assert times(result)[0] == (0, 1000.0, 1500.0 + 7.5 / 0.02)
    over = {"plug valve closed": "plug valve opened", "turning backwards": "turns the right way"}
    assert told(result, over[kind]) == [(1500.0, "P1", over[kind], "put right on site")]


def test_backwards_a_pump_has_part_of_its_flow_and_of_its_head() -> None:
    station = curved()
    result = run(
        happened(0.0, "turning backwards", "P1", flow_left=0.7), station=station, inflow=0.02,
        duration_s=700.0,
    )  # fmt: skip
    row = result.sample(1.0).iloc[600]
    unit = dataclasses.replace(station.pumps[0], flow_factor=0.7, head_factor=0.7)
    assert row["pumped_m3s"] > 0.001
    (flow,) = operating_point([unit], MAIN, row["level_m"]).flows_m3s
    assert row["pumped_m3s"] == pytest.approx(flow, rel=2e-5)
    # at 9.1 m it lifts nothing at all, and nobody is told
    result = run(
        happened(0.0, "turning backwards", "P1", flow_left=0.35), station=station, inflow=0.02,
        duration_s=700.0,
    )  # fmt: skip
    assert result.trace.runs[0].volume_m3 == 0.0
    assert result.trace.alarms == []


# ---------------------------------------------------------------------- the force main


def test_a_sound_main_is_the_very_same_main() -> None:
    assert troubled(MAIN, 1.0, 0.0, 1.0, 2.0) is MAIN


@pytest.mark.parametrize("flow", [0.0, 0.004, 0.03, 0.07])
def test_what_each_trouble_does_to_the_loss(flow: float) -> None:
    assert troubled(MAIN, 1.0, 3.0, 1.0, 2.0).loss_m(flow) == MAIN.loss_m(flow) + 3.0
    plugged = troubled(MAIN, 0.4, 0.0, 1.0, 2.0)
    assert plugged.loss_m(0.4 * flow) == pytest.approx(MAIN.loss_m(flow), rel=1e-14)
    broken = troubled(MAIN, 1.0, 0.0, 0.3, 2.0)
    assert broken.loss_m(flow) == pytest.approx(0.3 * MAIN.loss_m(flow), rel=1e-14)
    assert broken.discharge_level_m == 2.0 + 0.3 * 10.0
    shut = troubled(MAIN, 0.0, 0.0, 1.0, 2.0)
    assert isinstance(shut, TroubledMain)
    assert shut.shut
    assert lineup_flows(supplies_of(curved().pumps, None), shut, 1.0) == [0.0, 0.0]


@pytest.mark.parametrize(
    ("kind", "size", "lift", "loss"),
    [
        ("main air", {"amount": 2.5}, lambda z: 12.0 - z + 2.5, MAIN.loss_m),
        ("main plugged", {"flow_left": 0.5}, lambda z: 12.0 - z, lambda q: MAIN.loss_m(q / 0.5)),
        ("main broken", {"amount": 0.4}, lambda z: 6.0 - z, lambda q: 0.4 * MAIN.loss_m(q)),
    ],
)
def test_the_flow_of_a_run_is_that_of_the_troubled_main(
    kind: EventKind, size: dict[str, float], lift: Any, loss: Any
) -> None:
    station = curved()
    result = run(
        happened(100.0, kind, "force main", 1500.0, **size), station=station, inflow=0.02,
        duration_s=2000.0,
    )  # fmt: skip
    seen = result.sample(1.0)
    row = seen.iloc[505]
    assert row["pumps_running"] == 1
    unit = station.pumps[0]
    level = row["level_m"]
    flow = brentq(lambda q: net_head_m(unit, q) - lift(level) - loss(q), 0.0, 0.2, xtol=1e-15)
    assert row["pumped_m3s"] == pytest.approx(flow, rel=2e-5)
    said = BY_KIND[kind].phrase
    assert told(result, said, "force main right again") == [
        (100.0, "force main", said, "scripted"),
        (1600.0, "force main", "force main right again", "work done"),
    ]
    # afterwards it is the sound one again
    later = seen[(seen["t_s"] > 1601.0) & (seen["pumps_running"] == 1)]
    for _, row in later.iloc[:1].iterrows():
        flows = {operating_point([u], MAIN, row["level_m"]).total_m3s for u in station.pumps}
        assert min(abs(row["pumped_m3s"] - f) for f in flows) < 2e-6
    assert result.trace.alarms == [] or kind == "main plugged"


def test_two_troubles_of_the_main_go_together_and_end_apart() -> None:
    station = curved()
    session = Session(
        station,
        episode(
            1000.0, 0.001,
            happened(10.0, "main air", "force main", 200.0, amount=1.5),
            happened(20.0, "main plugged", "force main", 100.0, flow_left=0.6),
            happened(30.0, "main broken", "force main", 100.0, amount=0.5),
        ),
    )  # fmt: skip
    found = []
    for at_s in (15.0, 25.0, 35.0, 125.0, 135.0, 215.0):
        session.advance(at_s)
        found.append(tuple(session._plant.conditions.main)[:3])
    assert found == [
        (1.0, 1.5, 1.0), (0.6, 1.5, 1.0), (0.6, 1.5, 0.5), (1.0, 1.5, 0.5), (1.0, 1.5, 1.0),
        (1.0, 0.0, 1.0),
    ]  # fmt: skip


def test_plain_flows_shrink_in_a_plugged_main() -> None:
    plugged = happened(0.0, "main plugged", "force main", flow_left=0.5)
    result = run(plugged)
    assert times(result)[0] == (0, 1000.0, 1000.0 + 10.0 / 0.005)
    by_number = dataclasses.replace(
        duplex(), total_by_number_m3s=(0.03, 0.05), pumps=(PumpUnit("P1"), PumpUnit("P2"))
    )
    assert times(run(plugged, station=by_number))[0] == (0, 1000.0, 3000.0)
    shut = run(happened(0.0, "main plugged", "force main", flow_left=0.0), duration_s=2000.0)
    assert {r.volume_m3 for r in shut.trace.runs} == {0.0}
    assert shut.level_at(np.array([2000.0]))[0] == pytest.approx(3.0)
    assert [a.alarm for a in shut.trace.alarms] == ["high level"]


def test_a_shut_main_lets_water_go_round_and_run_back_from_nowhere() -> None:
    station = curved(main_water_m3=10.0)
    result = run(
        happened(0.0, "check valve open", amount=0.3),
        happened(0.0, "main plugged", "force main", flow_left=0.0),
        station=station, inflow=0.02, duration_s=600.0,
    )  # fmt: skip
    assert result.level_at(np.array([600.0]))[0] == pytest.approx(2.2, abs=EXACT)
    first = result.trace.runs[0]
    assert first.volume_m3 > 0.5  # what goes round
    assert result.trace.other_m3 == pytest.approx(-first.volume_m3, abs=EXACT)
    assert result.value("volume by the station meter") == pytest.approx(0.0, abs=EXACT)


def test_a_pump_behind_a_shut_valve_leaves_its_share_of_a_total_to_the_others() -> None:
    station = dataclasses.replace(
        duplex(), total_by_number_m3s=(0.03, 0.05), pumps=(PumpUnit("P1"), PumpUnit("P2"))
    )
    result = run(
        happened(0.0, "plug valve closed", "P1", flow_left=0.0),
        happened(0.0, "hand", "P1"), station=station,
    )  # fmt: skip
    assert [(r.machine, r.volume_m3) for r in result.trace.runs if r.machine == 0] == [(0, 0.0)]
    # P2 has the total of one
    second = next(r for r in result.trace.runs if r.machine == 1)
    assert second.volume_m3 / (second.stop_s - second.start_s) == pytest.approx(0.03)


# ---------------------------------------------------------------------- two meters


def test_a_leak_shows_between_two_meters_and_nowhere_else() -> None:
    day = 86_400.0
    leak = happened(1.25 * day, "main leak", "force main", amount=0.08)
    sound, result = run(duration_s=3 * day), run(leak, duration_s=3 * day)
    assert [r.volume_m3 for r in result.trace.runs] == [r.volume_m3 for r in sound.trace.runs]
    assert result.levels.equals(sound.levels)
    meters = result.meters
    assert meters["time"].str.slice(0, 10).tolist() == ["2027-03-01", "2027-03-02", "2027-03-03"]
    assert meters["station_meter_m3"].equals(sound.meters["station_meter_m3"])
    assert sound.meters["difference_m3"].tolist() == [0.0, 0.0, 0.0]
    station_m3 = meters["station_meter_m3"].to_numpy()
    pumped = [r for r in result.trace.runs if r.start_s >= 1.25 * day and r.stop_s <= 2 * day]
    after = math.fsum(r.volume_m3 for r in pumped)
    for run_ in result.trace.runs:  # those that stood over the begin or midnight
        for cut, sign in ((1.25 * day, 1.0), (2.0 * day, -1.0)):
            if run_.start_s < cut < run_.stop_s:
                after += 0.03 * ((run_.stop_s - cut) if sign > 0 else (cut - run_.start_s))
    lost = [0.0, 0.08 * after, 0.08 * station_m3[2]]
    assert meters["difference_m3"].to_numpy() == pytest.approx(lost, abs=1e-8)
    assert meters["difference_part"][2] == pytest.approx(0.08, abs=1e-12)
    assert station_m3.sum() == pytest.approx(result.trace.pumped_m3, abs=1e-8)
    assert result.value("volume by the plant meter") == pytest.approx(
        station_m3.sum() - sum(lost), abs=1e-8
    )
    seen = result.events.set_index("event").loc["force main leaking", "seen"]
    assert seen == "nobody"


def test_all_is_lost_at_a_break_and_comes_again_when_it_is_put_right() -> None:
    result = run(
        happened(0.0, "main broken", "force main", amount=0.4),
        happened(0.0, "main leak", "force main", amount=0.1),
        happened(1200.0, "put right", "force main"),
    )
    whole = result.value("volume by the station meter")
    assert whole == pytest.approx(result.trace.pumped_m3, abs=EXACT)
    # P1 ran from 1000 s on
    assert result.value("volume by the plant meter") == pytest.approx(whole - 6.0, abs=EXACT)


def test_meters_count_through_a_spill() -> None:
    """Pumps that do not hold the storm: the balance of the well alone would count the spill."""
    for spillway in (Spillway(4.0), Spillway(4.0, 1.5)):
        result = run(inflow=0.09, station=duplex(spillway=spillway), duration_s=7200.0)
        assert result.trace.spilled_m3 > 50.0
        total = result.value("volume by the station meter")
        assert total == pytest.approx(result.trace.pumped_m3, abs=1e-7)


def test_the_engine_driven_pump_counts_too() -> None:
    result = run(
        happened(100.0, "grid loss", "grid", 3000.0), station=duplex(engine_pump=engine_pump()),
        inflow=0.02,
    )  # fmt: skip
    assert any(r.machine == 2 for r in result.trace.runs)
    total = result.value("volume by the station meter")
    assert total == pytest.approx(result.trace.pumped_m3, abs=EXACT)


# ---------------------------------------------------------------------- downstream


def test_a_station_downstream_that_is_dark_holds_all_pumps() -> None:
    result = run(happened(1200.0, "downstream dark", "downstream station", 900.0))
    first, second = result.trace.runs[:2]
    assert (first.stop_s, first.stopped_by) == (1200.0, "held, downstream dark")
    assert second.start_s == pytest.approx(2100.0)
    assert told(result, "downstream dark", "downstream right again") == [
        (1200.0, "downstream station", "downstream dark", "scripted"),
        (2100.0, "downstream station", "downstream right again", "work done"),
    ]


def test_a_limit_downstream_lets_one_pump_run() -> None:
    limited = happened(0.0, "downstream limited", "downstream station", amount=1.0)
    most = run(limited, inflow=0.04).value("most pumps running")
    assert (most, run(inflow=0.04).value("most pumps running")) == (1.0, 2.0)
    both = run(limited, happened(2000.0, "put right", "downstream station"), inflow=0.04)
    assert both.value("most pumps running") == 2.0


# ---------------------------------------------------------------------- the whole


def everything(station: Station) -> Any:
    return episode(
        9000.0, 0.02,
        happened(0.0, "check valve open", "P2", 7000.0, amount=0.3),
        happened(0.0, "check valve slow", "P1", amount=9.0),
        happened(50.0, "main leak", "force main", amount=0.05),
        happened(700.0, "main air", "force main", 3000.0, amount=1.0),
        happened(1500.0, "main plugged", "force main", 800.0, flow_left=0.6),
        happened(2600.0, "plug valve closed", "P1", flow_left=0.5),
        happened(3100.0, "put right", "P1"),
        happened(4000.0, "main broken", "force main", 700.0, amount=0.6),
        happened(5000.0, "downstream limited", "downstream station", 500.0, amount=1.0),
        happened(6000.0, "turning backwards", "P1", 500.0, flow_left=0.8),
    )  # fmt: skip


@pytest.mark.parametrize("station", [duplex(main_water_m3=3.0), curved(main_water_m3=5.0)])
def test_frozen_in_the_midst_it_gives_the_same(station: Station) -> None:
    whole = simulate(station, everything(station))
    session = Session(station, everything(station))
    for at_s in (130.0, 777.0, 1499.0, 1503.0, 2611.0, 4321.0, 6900.0):
        session.advance(at_s)
        session = Session.resume(session.freeze())
    session.advance(9000.0)
    again = session.finish()
    for name, table in whole.tables.items():
        assert table.equals(again.tables[name]), name
    assert whole.trace.runs == again.trace.runs


def test_the_order_at_one_instant_changes_nothing() -> None:
    station = curved(main_water_m3=5.0)
    at_once = [
        happened(600.0, "check valve open", "P2", amount=0.3),
        happened(600.0, "main air", "force main", amount=1.0),
        happened(600.0, "plug valve closed", "P1", flow_left=0.6),
        happened(600.0, "main leak", "force main", amount=0.1),
    ]
    found = set()
    for order in itertools.permutations(at_once):
        trace = run(*order, station=station, inflow=0.02, duration_s=3000.0).trace
        found.add((tuple(trace.runs), tuple(trace.leg_t_s), tuple(trace.leg_v_m3), trace.other_m3))
    assert len(found) == 1


def test_every_word_that_is_said_is_explained() -> None:
    from stationsim import vocabulary

    result = simulate(duplex(main_water_m3=3.0), everything(duplex()))
    known = {entry.word for entry in vocabulary.EVENTS}
    assert set(result.events["event"]) <= known
    causes = {*result.events["cause"], *result.pump_runs["stopped_by"]}
    assert [c for c in causes if vocabulary.cause_of(c) is None] == []
    assert (result.events["seen"] != "").all()


def test_without_trouble_nothing_is_laid_anew() -> None:
    session = Session(duplex(), episode(6000.0, 0.01))
    result_lineups = session.finish().trace.lineups
    assert all(lineup.back_m3s == () for lineup in result_lineups)
    assert not session._plant.running_back.armed
    assert session._plant.followers == []

"""Tankers that take water out of the well: closed forms by hand, and what must always hold.

One tank of 10 m2 (``stationsim.testing.duplex``): 10 L/s in raises the level by 1 mm/s. A tanker of
10 m3 in 8 min takes 20.8333 L/s. Loads and times are the user's (no source).
"""

from __future__ import annotations

import dataclasses
import pickle
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.storm import Hydrograph
from stationsim.metrics.main_age import main_flow
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.results import Result
from stationsim.simulation.session import Session, simulate
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.trace import Trace

EXACT = 1e-9
LOAD_M3, LOAD_S = 10.0, 480.0
RATE = LOAD_M3 / LOAD_S


def load(at_s: float, m3: float = LOAD_M3, per_s: float = LOAD_S) -> ScriptedEvent:
    return ScriptedEvent(at_s, "tanker takes", "tanker", amount=m3, per_s=per_s)


def happens(
    at_s: float, kind: EventKind, subject: str, duration_s: float | None = None, **more: Any
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, duration_s, **more)


OFF = (happens(0.0, "off", "P1"), happens(0.0, "off", "P2"))


def run(
    *events: ScriptedEvent,
    station: Station | None = None,
    duration_s: float = 3000.0,
    inflow: Any = 0.01,
    level_m: float = 2.0,
) -> Result:
    what = episode(duration_s, inflow, *events, start_level_m=level_m)
    result = simulate(station or duplex(), what)
    assert result.trace.balance_error < 1e-9
    return result


def told(result: Result) -> list[tuple[Any, str, str]]:
    return [
        (pytest.approx(row.t_s, abs=1e-9), row.event, row.detail)
        for row in result.trace.events
        if row.subject == "tanker"
    ]


def test_a_tanker_takes_its_load_evenly() -> None:
    result = run(*OFF, load(100.0))
    at = np.array([0.0, 100.0, 100.0 + LOAD_S / 4, 340.0, 580.0, 1000.0, 2580.0])
    by_hand = [2.0 + 0.001 * t - 0.1 * RATE * min(max(t - 100.0, 0.0), LOAD_S) for t in at]
    assert result.level_at(at) == pytest.approx(by_hand, abs=1e-12)
    assert told(result) == [
        (100.0, "tanker takes", "10 m3 in 8 min"),
        (580.0, "tanker full", "10.000 m3 taken"),
    ]
    assert result.trace.other_m3 == result.trace.hauled_m3 == pytest.approx(10.0, abs=EXACT)
    seen = result.sample(20.0).set_index("t_s")
    assert seen.loc[[80.0, 100.0, 560.0, 580.0], "other_m3s"].tolist() == [0.0, RATE, RATE, 0.0]
    assert not seen["pumped_m3s"].any()
    assert result.value("volume hauled") == result.trace.hauled_m3
    assert result.value("volume run back") == 0.0
    assert "volume hauled" not in set(run(*OFF).summary["metric"])


def test_tankers_that_overlap_add_up() -> None:
    result = run(*OFF, load(100.0), load(200.0, 6.0, 600.0), load(580.0, 1.0, 100.0))
    at = np.array([100.0, 200.0, 580.0, 680.0, 800.0, 1000.0])
    taken = [0.0, 100 * RATE, 10.0 + 3.8, 10.0 + 4.8 + 1.0, 17.0, 17.0]
    by_hand = [2.0 + 0.001 * t - 0.1 * m3 for t, m3 in zip(at, taken, strict=True)]
    assert result.level_at(at) == pytest.approx(by_hand, abs=1e-12)
    assert [row for row in told(result) if row[1] != "tanker takes"] == [
        (580.0, "tanker full", "10.000 m3 taken"),
        (680.0, "tanker full", "1.000 m3 taken"),
        (800.0, "tanker full", "6.000 m3 taken"),
    ]
    flows = result.sample(50.0).set_index("t_s").loc[[150.0, 300.0, 600.0, 700.0], "other_m3s"]
    assert flows.to_numpy() == pytest.approx([RATE, RATE + 0.01, 0.02, 0.01], abs=1e-15)


def test_an_empty_well_gives_what_arrives() -> None:
    """10 m3 at the start; 41.67 L/s out, 10 in: empty after 10 / 0.031667 = 315.79 s."""
    result = run(*OFF, load(0.0, 20.0), level_m=1.0)
    empty_s = 10.0 / (2 * RATE - 0.01)
    taken = 2 * RATE * empty_s + 0.01 * (LOAD_S - empty_s)
    assert told(result)[1] == (LOAD_S, "tanker not full", f"{taken:.3f} m3 taken")
    assert result.trace.hauled_m3 == pytest.approx(taken, abs=EXACT)
    assert result.level_at(np.array([empty_s, 400.0, 480.0, 1480.0])) == pytest.approx(
        [0.0, 0.0, 0.0, 1.0], abs=1e-12
    )
    (empty,) = [row for row in result.trace.events if row.event == "well empty"]
    assert empty.t_s == pytest.approx(empty_s, abs=1e-9)
    flows = result.sample(10.0).set_index("t_s")["other_m3s"]
    assert flows.loc[[300.0, 320.0, 470.0, 480.0]].tolist() == [2 * RATE, 0.01, 0.01, 0.0]


def test_an_empty_well_fills_again_when_more_arrives_than_the_tanker_takes() -> None:
    """The inflow rises from 0 to 40 L/s in 400 s: at 208.33 s it overtakes the tanker."""
    rising = Hydrograph(0.0, (0.0, 400.0, 3000.0), (0.0, 0.04, 0.04))
    result = run(*OFF, load(0.0), inflow=rising, level_m=0.0)
    overtakes_s = RATE / 1e-4
    arrived = 0.5 * 1e-4 * overtakes_s**2
    assert result.trace.hauled_m3 == pytest.approx(
        arrived + RATE * (LOAD_S - overtakes_s), abs=EXACT
    )
    at_400 = (0.5 * 1e-4 * 400.0**2 - arrived - RATE * (400.0 - overtakes_s)) / 10.0
    assert result.level_at(np.array([100.0, 200.0, 400.0])) == pytest.approx(
        [0.0, 0.0, at_400], abs=1e-9
    )
    middle = result.sample(50.0).set_index("t_s").loc[[50.0, 150.0, 250.0]]
    assert middle["other_m3s"].to_numpy() == pytest.approx([0.005, 0.015, RATE], abs=1e-12)


def test_a_pump_and_a_tanker_share_what_an_empty_well_gives() -> None:
    hand = happens(0.0, "hand", "P1")
    result = run(hand, OFF[1], load(0.0, 20.0, 960.0), level_m=1.0, duration_s=960.0)
    rate = 20.0 / 960.0
    empty_s = 10.0 / (0.03 + rate - 0.01)
    dry = 0.01 * (960.0 - empty_s)
    part = rate / (0.03 + rate)
    assert result.trace.hauled_m3 == pytest.approx(rate * empty_s + part * dry, abs=EXACT)
    assert result.trace.pumped_m3 == pytest.approx(0.03 * empty_s + (1 - part) * dry, abs=EXACT)
    seen = result.sample(100.0).set_index("t_s").loc[800.0]
    assert seen["pumped_m3s"] == pytest.approx(0.01 * (1 - part), abs=1e-15)
    assert seen["other_m3s"] == pytest.approx(0.01 * part, abs=1e-15)
    # the end of the run comes first: the tanker never leaves
    assert [row[1] for row in told(result)] == ["tanker takes"]


def test_a_tanker_at_an_empty_well_takes_what_runs_back_too() -> None:
    """P2 lets 12 L/s back, 6 m3 in all: it runs back at its rate into a well that stands empty."""
    open_ = happens(0.0, "check valve open", "P2", amount=0.4)
    station = duplex(main_water_m3=6.0)
    result = run(*OFF, open_, load(0.0, 40.0, 800.0), station=station, level_m=0.4)
    empty_s = 4.0 / (0.05 - 0.01 - 0.012)
    trace = result.trace
    assert trace.run_back_m3 == pytest.approx(6.0, abs=EXACT)
    by_hand = 0.05 * empty_s + 0.022 * (500.0 - empty_s) + 0.01 * 300.0
    assert trace.hauled_m3 == pytest.approx(by_hand, abs=EXACT)
    assert trace.other_m3 == pytest.approx(by_hand - 6.0, abs=EXACT)
    assert result.value("volume run back") == trace.run_back_m3
    sampled = result.sampled(np.array([100.0, 300.0, 600.0, 900.0]))
    assert sampled.hauled_m3s == pytest.approx([0.05, 0.022, 0.01, 0.0], abs=1e-15)
    assert sampled.other_m3s == pytest.approx([0.038, 0.01, 0.01, 0.0], abs=1e-15)
    assert sampled.pumped_m3s == pytest.approx([0.0] * 4, abs=1e-15)


def test_a_tanker_lessens_a_spill_that_is_lost_at_the_crest() -> None:
    """At 4.0 m 30 L/s spills; while the tanker takes 20.83 it is 9.17."""
    result = run(*OFF, load(500.0), inflow=0.03, level_m=4.0, duration_s=2000.0)
    (spill,) = result.trace.spills
    assert spill.volume_m3 == pytest.approx(0.03 * 2000.0 - 10.0, abs=EXACT)
    flows = result.sample(100.0).set_index("t_s")["spill_m3s"]
    assert flows.loc[[400.0, 700.0, 1200.0]].to_numpy() == pytest.approx([0.03, 0.03 - RATE, 0.03])


def test_two_tankers_end_a_spill_and_it_begins_again() -> None:
    result = run(*OFF, load(500.0, 20.0), inflow=0.03, level_m=4.0, duration_s=3000.0)
    net = 2 * RATE - 0.03
    again_s = 980.0 + net * LOAD_S / 0.03
    assert [(row.start_s, row.stop_s) for row in result.trace.spills] == [
        (0.0, pytest.approx(500.0, abs=1e-9)),
        (pytest.approx(again_s, abs=1e-9), 3000.0),
    ]


def test_a_tanker_that_is_still_there_at_the_end_has_taken_its_part() -> None:
    result = run(*OFF, load(100.0), duration_s=340.0)
    assert result.trace.hauled_m3 == pytest.approx(5.0, abs=EXACT)
    assert [row[1] for row in told(result)] == ["tanker takes"]


def test_a_pump_stops_earlier_by_what_the_tanker_takes() -> None:
    """From 2.0 m at 20 L/s net; with the tanker 40.83: the stop at 1.0 m after 10 m3."""
    result = run(load(0.0))
    assert result.trace.runs[0].stop_s == pytest.approx(10.0 / (0.02 + RATE), abs=1e-9)
    assert result.trace.runs[0].volume_m3 == pytest.approx(0.3 / (0.02 + RATE), abs=EXACT)


# ---------------------------------------------------------------------- whatever comes


def curved() -> Station:
    one = HeadCurve.from_points((0.0, 0.03, 0.06, 0.09), (26.0, 23.0, 17.0, 8.0))
    return dataclasses.replace(
        duplex(main_water_m3=4.0),
        pumps=(PumpUnit("P1", curve=one), PumpUnit("P2", curve=one)),
        force_main=ForceMain((Pipe(600.0, 0.25, c_factor=110.0, fittings_k=8.0),), 12.0),
    )


LOADS = st.lists(
    st.tuples(st.floats(0.0, 5000.0), st.floats(0.1, 60.0), st.floats(120.0, 2000.0)),
    min_size=1,
    max_size=5,
)


@given(
    LOADS,
    st.floats(0.0, 0.06),
    st.floats(0.0, 4.0),
    st.booleans(),
    st.sampled_from([None, 0.2, 0.6]),
    st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_the_balance_closes_whatever_tankers_come(
    loads: list[tuple[float, float, float]],
    inflow: float,
    level_m: float,
    in_hand: bool,
    back: float | None,
    with_curves: bool,
) -> None:
    events = [load(*one) for one in loads]
    if in_hand:
        events.append(happens(1000.0, "hand", "P1", 2500.0))
    if back is not None:
        events.append(happens(500.0, "check valve open", "P2", amount=back))
    station = curved() if with_curves else duplex(main_water_m3=4.0)
    result = run(*events, station=station, inflow=inflow, level_m=level_m, duration_s=8000.0)
    trace = result.trace
    left = [
        float(row.detail.partition(" ")[0]) for row in trace.events if row.event.endswith("full")
    ]
    asked = [m3 for _at, m3, _per in loads]
    assert len(left) == len(asked)  # all have come and gone by then
    assert sum(left) == pytest.approx(trace.hauled_m3, abs=0.0005 * len(left) + 1e-9)
    assert trace.hauled_m3 <= sum(asked) * (1.0 + 1e-12)
    assert trace.other_m3 == pytest.approx(trace.hauled_m3 - trace.run_back_m3, abs=1e-12)
    # what the sampler tells in between adds up to it: flows are straight enough over a second
    at = np.linspace(0.5, 7999.5, 8000)
    sampled = result.sampled(at)
    assert float(sampled.hauled_m3s.sum()) == pytest.approx(trace.hauled_m3, abs=0.6)
    assert float(sampled.pumped_m3s.sum()) == pytest.approx(trace.pumped_m3, abs=0.6)
    kept = sampled.inflow_m3s - sampled.pumped_m3s - sampled.spill_m3s - sampled.other_m3s
    assert float(kept.sum()) == pytest.approx(trace.end_m3 - trace.start_m3, abs=1.2)
    assert min(sampled.hauled_m3s.min(), sampled.pumped_m3s.min()) >= -1e-12


@pytest.mark.parametrize("station", [duplex(main_water_m3=4.0), curved()], ids=["plain", "curved"])
@pytest.mark.parametrize("level_m", [0.05, 2.0, 3.9])
def test_a_meter_counts_what_is_pumped_and_not_what_is_hauled(
    station: Station, level_m: float
) -> None:
    hand = happens(600.0, "hand", "P1", 400.0)
    result = run(
        hand, load(300.0, 30.0, 900.0), load(800.0), station=station, inflow=0.035,
        level_m=level_m, duration_s=7200.0,
    )  # fmt: skip
    trace = result.trace
    assert result.value("volume by the station meter") == pytest.approx(trace.pumped_m3, rel=1e-9)
    flow = main_flow(dataclasses.replace(station, force_main=curved().force_main), result.course)
    assert flow is not None
    lasts = np.diff(flow.edges_s)
    went = float(np.sum(lasts * (flow.flow_m3s + 0.5 * flow.slope_m3s2 * lasts)))
    assert went == pytest.approx(trace.pumped_m3, rel=1e-4)


def state(trace: Trace) -> tuple[object, ...]:
    return (trace.leg_t_s, trace.leg_v_m3, trace.events, trace.runs, trace.other_m3, trace.end_m3)


def test_a_run_that_is_frozen_while_tankers_take_goes_on_alike() -> None:
    events = (*OFF, load(100.0), load(300.0, 20.0), load(1000.0))
    what = episode(3000.0, 0.01, *events, start_level_m=1.0)
    whole = Session(duplex(), what).finish().trace
    for at_s in (100.0, 250.0, 400.0, 580.0, 1100.0):
        session = Session(duplex(), what)
        session.advance(at_s)
        frozen = pickle.dumps(session.freeze())
        assert state(Session.resume(pickle.loads(frozen)).finish().trace) == state(whole)


def test_the_order_of_tankers_at_one_instant_changes_no_digit() -> None:
    loads = [load(100.0, 9.7, 431.0), load(100.0, 3.3, 777.0), load(100.0, 6.1, 333.0)]
    loss = happens(100.0, "grid loss", "grid", 900.0)
    one = run(*loads, loss).trace
    other = run(loss, *reversed(loads)).trace
    assert (one.leg_t_s, one.leg_v_m3, one.other_m3) == (
        other.leg_t_s,
        other.leg_v_m3,
        other.other_m3,
    )


def test_one_tanker_that_follows_another_at_once_leaves_no_gap() -> None:
    result = run(*OFF, load(100.0), load(580.0), level_m=3.0)
    assert [row[0:2] for row in told(result)][1:3] in (
        [(580.0, "tanker takes"), (580.0, "tanker full")],
        [(580.0, "tanker full"), (580.0, "tanker takes")],
    )
    assert result.level_at(np.array([1060.0])) == pytest.approx([3.0 + 1.06 - 2.0], abs=1e-12)


def test_nothing_is_another_before_the_first_tanker_comes() -> None:
    plain = simulate(curved(), episode(9000.0, 0.02)).trace
    with_one = simulate(curved(), episode(9000.0, 0.02, load(6000.0))).trace
    before = sum(t < 6000.0 for t in plain.leg_t_s)
    assert before > 4
    assert with_one.leg_t_s[:before] == plain.leg_t_s[:before]
    assert with_one.leg_v_m3[:before] == plain.leg_v_m3[:before]
    assert plain.hauled_m3 == 0.0


def test_a_lineup_with_a_tanker_keeps_the_bands_of_the_one_without() -> None:
    trace = simulate(curved(), episode(9000.0, 0.02, load(1500.0, 20.0, 3000.0))).trace
    found = 0
    for one, two in pairwise(sorted(trace.lineups, key=lambda x: (x.running, x.hauled_m3s))):
        if one.running == two.running and one.hauled_m3s == 0.0 < two.hauled_m3s:
            found += 1
            assert two.edge_m3 == one.edge_m3
            assert two.out_slope == one.out_slope
            assert two.out_m3s == tuple(x + two.hauled_m3s for x in one.out_m3s)
    assert found >= 2

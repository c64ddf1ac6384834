"""Water that stands exactly on a threshold, and other edges that once went wrong.

What must hold is plain: water is never lost, an alarm follows its level, a spill begins when more
arrives than leaves, and the controller is never asked to wake in the past.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.control.staging import StagingSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.series import Recorded
from stationsim.inflow.storm import Hydrograph
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.physics.spill import Spillway
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings, Station
from stationsim.testing import duplex, engine_pump, episode, tank, triplex
from stationsim.trace import Trace

HOUR = 3600.0


def run(station: Station, when: Episode) -> Trace:
    return Session(station, when).finish().trace


def steps(*pairs: tuple[float, float]) -> Recorded:
    """Return an inflow that holds each flow [m3/s] from its time [s] on."""
    return Recorded(tuple(t for t, _q in pairs), tuple(q for _t, q in pairs), steps=True)


@pytest.mark.parametrize("length_m", [None, 1.0], ids=["plain loss", "weir"])
def test_water_that_stands_at_the_crest_spills_once_it_rises(length_m: float | None) -> None:
    station = duplex(spillway=Spillway(4.0, length_m))
    rising = Hydrograph(0.0, (0.0, HOUR, 2 * HOUR), (0.0, 0.2, 0.0))
    cut = ScriptedEvent(0.0, "grid loss", "grid", 3 * HOUR)
    trace = run(station, episode(2 * HOUR, rising, cut, start_level_m=4.0))
    assert trace.balance_error < 1e-12
    (spill,) = trace.spills
    assert spill.start_s == 0.0
    if length_m is None:
        assert spill.volume_m3 == pytest.approx(720.0, rel=1e-12)  # all that the triangle brings
        assert spill.peak_m3s == pytest.approx(0.2, rel=1e-12)


def test_water_at_rest_at_the_crest_spills_only_while_more_arrives_than_is_pumped() -> None:
    station = triplex((0.02, 0.02, 0.02), spillway=Spillway(4.0))
    inflow = steps((0.0, 0.06), (HOUR, 0.08), (2 * HOUR, 0.06), (3 * HOUR, 0.06))
    trace = run(station, episode(3 * HOUR, inflow, start_level_m=4.0))
    (spill,) = trace.spills
    assert (spill.start_s, spill.stop_s) == (HOUR, 2 * HOUR)
    assert spill.volume_m3 == pytest.approx(0.02 * HOUR, rel=1e-12)
    assert trace.balance_error < 1e-12


@pytest.mark.parametrize("pumps", [1, 2, 3])
def test_a_spill_past_pumps_with_curves_ends_when_no_more_arrives_than_they_lift_at_the_crest(
    pumps: int,
) -> None:
    # closed form: against a lift alone, each pump moves sqrt((shut-off head - lift) / fall)
    shutoff_m, fall, crest_m, outlet_m = 11.0, 40_000.0, 4.0, 12.0
    curve = HeadCurve.from_coefficients(shutoff_m, 0.0, -fall)
    station = triplex(
        pumps=tuple(PumpUnit(f"P{n + 1}", curve=curve) for n in range(pumps)),
        force_main=ForceMain((Pipe(1.0, 0.2, "none"),), outlet_m),
        spillway=Spillway(crest_m),
        levels={"lag_start_m": 1.8, "standby_start_m": 2.1},
    )
    lifted = pumps * math.sqrt((shutoff_m - (outlet_m - crest_m)) / fall)
    falls = 1e-6
    inflow = Hydrograph(
        0.0, (0.0, 4 * HOUR), (lifted + 2 * HOUR * falls, lifted - 2 * HOUR * falls)
    )
    trace = run(station, episode(3 * HOUR, inflow, start_level_m=crest_m))
    (spill,) = trace.spills
    assert (spill.start_s, spill.stop_s) == pytest.approx((0.0, 2 * HOUR), abs=1e-3)
    assert spill.volume_m3 == pytest.approx(falls * (2 * HOUR) ** 2 / 2.0, rel=1e-6)


def test_an_alarm_on_whose_level_the_water_rests_goes_when_the_water_does() -> None:
    station = replace(tank(), alarms=AlarmSettings(high_level_m=3.0, low_level_m=0.4))
    still_then_up = steps((0.0, 0.0), (HOUR, 0.004), (2 * HOUR, 0.004))
    trace = run(station, episode(2 * HOUR, still_then_up, start_level_m=0.4))
    assert [(a.alarm, a.raised_s, a.cleared_s) for a in trace.alarms] == [("low level", 0.0, HOUR)]


def test_a_session_frozen_before_its_first_instant_is_settled_goes_on_like_the_other() -> None:
    station = duplex(levels={"lead_start_m": 1.9, "lag_start_m": 2.2})
    when = episode(
        9000.0,
        0.02,
        ScriptedEvent(0.0, "reset", "P1"),
        ScriptedEvent(1000.0, "grid loss", "grid", 5000.0),
        start_level_m=2.0,
    )
    frozen = Session.resume(Session(station, when).freeze()).finish().trace
    assert frozen.events == run(station, when).events
    assert frozen.balance_error < 1e-12


@pytest.mark.parametrize("policy", ["last on, first off", "first on, first off"])
def test_staged_stop_with_a_delay_and_a_call_above_another_never_wakes_in_the_past(
    policy: str,
) -> None:
    levels = {
        "stop_policy": policy,
        "stop_m": 0.7,
        "lead_start_m": 1.5,
        "lag_start_m": 1.8,
        "lag_stop_m": 1.2,
        "standby_start_m": 2.1,
        "stop_delay_s": 20.0,
    }
    settings = StagingSettings(**levels)  # type: ignore[arg-type]
    plain = triplex((0.02, 0.02, 0.02))
    station = Station(
        "thresholds",
        plain.well,
        plain.pumps,
        ControlPlan("staging", settings, "fixed", NoSettings()),
    )
    trace = run(station, episode(4 * HOUR, 0.045))
    assert len(trace.runs) > 5
    assert trace.balance_error < 1e-12


def test_pumps_that_relieve_one_another_in_turn_do_so_at_one_instant() -> None:
    # own computation: one start an hour each, 1000 s at most in one go, the third out until 1500 s.
    # Every hour both pumps that started together are free together, and so start together.
    settings = StagingSettings(
        stop_m=0.5, lead_start_m=1.5, lag_start_m=1.8, max_run_s=1000.0, most_starts_per_hour=1
    )
    plan = ControlPlan("staging", settings, "fixed", NoSettings())
    station = replace(triplex((0.02, 0.02, 0.02)), control=plan)
    out = ScriptedEvent(0.0, "out of service", "P3", 1500.0)
    trace = run(station, episode(3 * HOUR, 0.041, out, start_level_m=2.0))
    starts = [(row.t_s, row.subject) for row in trace.events if row.event == "start"]
    assert starts == [
        (0.0, "P1"),
        (0.0, "P2"),
        (1500.0, "P3"),  # for P1, which must not start again before an hour is over
        (HOUR, "P1"),  # for P2, which is then free for P3 at once
        (HOUR, "P2"),
        (1500.0 + HOUR, "P3"),
        (2 * HOUR, "P1"),
        (2 * HOUR, "P2"),
        (1500.0 + 2 * HOUR, "P3"),
    ]


def test_plain_totals_and_an_engine_driven_curve_share_one_main() -> None:
    # 20 L/s of one plain pump and the engine-driven curve at the head of both together
    curve = HeadCurve.from_coefficients(30.0, 0.0, -2400.0)
    main = ForceMain((Pipe(900.0, 0.25, fittings_k=6.0),), 12.0)
    names = ("P1", "P2", "P3")
    station = triplex(
        pumps=tuple(PumpUnit(name) for name in names),
        total_by_number_m3s=(0.020, 0.032, 0.040),
        force_main=main,
        engine_pump=EnginePump(PumpUnit("E1", curve=curve), 1.2, 0.2),
    )
    cut = ScriptedEvent(600.0, "grid loss", "grid", 480.0)
    trace = run(station, episode(HOUR, 0.08, cut))
    together = [
        lineup for lineup in trace.lineups if 3 in lineup.running and len(lineup.running) > 1
    ]
    assert together
    for lineup in together:
        electric = sum(row[0] for row in lineup.pump_m3s[:-1])
        assert electric == pytest.approx((0.020, 0.032, 0.040)[len(lineup.running) - 2], rel=1e-12)
    assert trace.balance_error < 1e-12


def test_a_pump_in_hand_that_cannot_lift_stands_in_an_empty_well_without_harm() -> None:
    weak = PumpUnit("P1", curve=HeadCurve.from_coefficients(10.0, 0.0, -5000.0))
    main = ForceMain((Pipe(100.0, 0.2),), 12.0)
    station = replace(tank(), pumps=(weak,), force_main=main)
    trace = run(station, episode(HOUR, 0.0, ScriptedEvent(0.0, "hand", "P1"), start_level_m=0.0))
    assert trace.pumped_m3 == 0.0


def test_a_weir_under_a_deep_head_carries_what_arrives_by_its_own_formula() -> None:
    station = duplex(spillway=Spillway(4.0, 1.0, 1.7))
    cut = ScriptedEvent(0.0, "grid loss", "grid", 10 * HOUR)
    trace = run(station, episode(2 * HOUR, 10.0, cut, start_level_m=3.9))
    head = (10.0 / 1.7) ** (2.0 / 3.0)
    assert trace.greatest_level_m == pytest.approx(4.0 + head, abs=2e-3)
    (spill,) = trace.spills
    assert spill.peak_m3s == pytest.approx(10.0, rel=2e-3)


def test_an_engine_driven_pump_without_fuel_is_told_of_at_its_call() -> None:
    dry = replace(engine_pump(), fuel_m3_per_s=1e-6, tank_m3=0.0)
    cut = ScriptedEvent(600.0, "grid loss", "grid", 2 * HOUR)
    trace = run(duplex(engine_pump=dry), episode(3 * HOUR, 0.02, cut))
    assert [row.event for row in trace.events if row.subject == dry.pump.name] == [
        "out of fuel",
        "alarm raised",
    ]
    assert not any(r.machine == 2 for r in trace.runs)
    assert any(row.state == "out of fuel" for row in trace.power)


def test_a_trip_of_a_pump_that_has_tripped_already_is_not_counted_again() -> None:
    again = [ScriptedEvent(t, "fails", "P1", 3000.0) for t in (5000.0, 6000.0, 6500.0)]
    trace = run(duplex(), episode(4 * HOUR, 0.02, *again))
    assert trace.trips[0] == 1
    (span,) = trace.unavailable
    assert (span.start_s, span.stop_s) == pytest.approx((5000.0, 9500.0), abs=1e-6)


def test_a_failed_engine_that_stands_still_is_shown_as_failed() -> None:
    trace = run(
        duplex(engine_pump=engine_pump()),
        episode(HOUR, 0.01, ScriptedEvent(600.0, "fails", "E1", 1200.0)),
    )
    states = [(row.state, row.start_s) for row in trace.power if row.source == "E1"]
    assert states == [("stopped", 0.0), ("failed", 600.0), ("stopped", 1800.0)]


def test_a_balance_that_does_not_close_is_an_error_and_no_result(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from stationsim.errors import StationSimError
    from stationsim.simulation.well.spilling import Spilling

    monkeypatch.setattr(Spilling, "absorb", lambda *_args: None)  # spilled water is forgotten
    cut = ScriptedEvent(0.0, "grid loss", "grid", math.inf)
    with pytest.raises(StationSimError, match="water balance leaves"):
        simulate(duplex(), episode(20 * HOUR, 0.02, cut))

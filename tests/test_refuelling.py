"""Fuel that somebody fills in: a generator, a mobile set, an engine, against sums by hand.

One tank of 10 m2 (``stationsim.testing.duplex``), 10 L/s in, pumps of 30 L/s and 10 kW. The
generator burns 1e-6 m3/s without load and 2e-6 m3/s at its rated 20 kW, straight between: 1.5e-6
with one pump. Common practice, no source for the seconds.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower, TransferSwitch
from stationsim.results import Result
from stationsim.simulation.session import Session, simulate
from stationsim.station import Station
from stationsim.testing import bypass_pump, duplex, engine_pump, episode

EXACT = 1e-12
SET = GeneratorSet(
    rated_w=20e3, fuel_loads=(0.0, 1.0), fuel_rates_m3_per_s=(1e-6, 2e-6), tank_m3=1e-3
)
GENERATOR, MOBILE = "generator", "mobile generator"


def at(
    at_s: float, kind: EventKind, subject: str, duration_s: float | None = None, **more: Any
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, duration_s, **more)


def fill(at_s: float, subject: str) -> ScriptedEvent:
    return at(at_s, "refuelled", subject)


def loss(at_s: float, lasts_s: float) -> ScriptedEvent:
    return at(at_s, "grid loss", "grid", lasts_s)


CONNECTED = at(200.0, "mobile generator connected", MOBILE)


def fixed(**changes: Any) -> Station:
    power = StandbyPower(replace(SET, **changes), TransferSwitch())
    return duplex(standby_power=power)


def mobile(**changes: Any) -> Station:
    return duplex(standby_power=StandbyPower(mobile=replace(SET, **changes)))


def with_engine(**changes: Any) -> Station:
    more = {"fuel_m3_per_s": 2e-6, "tank_m3": 1e-3, "start_level_m": 2.0, "stop_level_m": 1.0}
    return duplex(engine_pump=engine_pump(0.02, **(more | {"start_delay_s": 0.0} | changes)))


def run(
    station: Station, *events: ScriptedEvent, hours: float = 2.0, inflow: float = 0.01
) -> Result:
    result = simulate(station, episode(hours * 3600.0, inflow, *events))
    assert result.trace.balance_error < 1e-9
    return result


def told(result: Result, *words: str) -> list[tuple[Any, str, str, str]]:
    return [
        (pytest.approx(row.t_s, abs=1e-6), row.subject, row.event, row.detail or row.cause)
        for row in result.trace.events
        if row.event in words
    ]


OUT, FILLED, REFUSED = "out of fuel", "refuelled", "refuelling refused"


# ---------------------------------------------------------------------- generator


def test_a_generator_that_is_filled_in_time_runs_on() -> None:
    """Pumps run 500 s of each 1500 s from 1000 s on: 1e-6 for 1000 s, 1.5e-6 for 500 s."""
    dry = run(fixed(), loss(0.0, 7000.0))
    # 1e-3 left: 1000 s at 1e-6 are all of it
    assert told(dry, OUT)[0][0] == pytest.approx(1000.0, abs=1e-6)
    result = run(fixed(), loss(0.0, 7000.0), fill(600.0, GENERATOR), fill(1300.0, GENERATOR))
    # filled at 600 s with 0.6 L; to 1300 s 400 s idle and 300 s with a pump: 0.4 + 0.45 L
    assert told(result, FILLED) == [
        (600.0, GENERATOR, FILLED, "0.6 L filled"),
        (1300.0, GENERATOR, FILLED, "0.85 L filled"),
    ]
    # full at 1300 s: 200 s at 1.5e-6, then 700 s at 1e-6 make 1.0 L
    assert told(result, OUT) == [(2200.0, GENERATOR, OUT, "tank empty")]
    burnt = result.trace.fuel_m3[GENERATOR]
    assert burnt == pytest.approx(2.45e-3, abs=EXACT)
    assert result.trace.filled_m3 == {GENERATOR: pytest.approx(1.45e-3, abs=EXACT)}
    summary = result.summary.set_index(["metric", "subject"])["value"]
    assert summary["fuel burnt", "station"] == burnt


def test_a_generator_that_stood_dry_is_called_again_once_it_is_filled() -> None:
    # at 1600 s and 2.6 m both pumps run, 50 L/s net to 1.0 m: 320 s at 2e-6, then 360 s at 1e-6
    result = run(fixed(), loss(0.0, 7000.0), fill(1600.0, GENERATOR))
    states = [(row.state, row.start_s) for row in result.trace.power if row.source == GENERATOR]
    assert states[:4] == [
        ("running", 0.0), (OUT, pytest.approx(1000.0)), ("running", 1600.0),
        (OUT, pytest.approx(2280.0)),
    ]  # fmt: skip
    (alarm,) = [row for row in result.trace.alarms if row.alarm == "generator failed"][:1]
    assert [alarm.raised_s, alarm.cleared_s] == pytest.approx([1000.0, 1600.0])
    # level at 1600 s: 1.0 + 1.6 = 2.6 m, so both pumps run at once, on the set
    assert [row.start_s for row in result.trace.runs][:2] == [1600.0, 1600.0]
    busbar = [(row.state, row.start_s) for row in result.trace.power if row.source == "busbar"]
    assert (GENERATOR, 1600.0) in busbar


def test_a_set_that_is_filled_while_nobody_wants_it_waits() -> None:
    result = run(fixed(), loss(0.0, 2000.0), fill(2500.0, GENERATOR), loss(3000.0, 500.0))
    states = [(row.state, row.start_s) for row in result.trace.power if row.source == GENERATOR]
    assert states == [
        ("running", 0.0), (OUT, pytest.approx(1000.0)), ("stopped", 2500.0), ("running", 3000.0),
        ("stopped", 3500.0),
    ]  # fmt: skip


def test_a_set_that_failed_while_it_stood_dry_is_filled_and_still_failed() -> None:
    fails = at(1200.0, "generator fails", GENERATOR)
    result = run(
        fixed(), loss(0.0, 7000.0), fails, fill(1600.0, GENERATOR), at(1900.0, "reset", GENERATOR)
    )
    states = [(row.state, row.start_s) for row in result.trace.power if row.source == GENERATOR]
    assert states[1:4] == [(OUT, pytest.approx(1000.0)), ("failed", 1600.0), ("running", 1900.0)]
    (alarm,) = [row for row in result.trace.alarms if row.alarm == "generator failed"][:1]
    assert [alarm.raised_s, alarm.cleared_s] == pytest.approx([1000.0, 1900.0])


def test_a_set_that_was_mended_while_it_stood_dry_is_sound_once_it_is_filled() -> None:
    fails = at(1200.0, "generator fails", GENERATOR, 200.0)
    result = run(fixed(), loss(0.0, 7000.0), fails, fill(1600.0, GENERATOR))
    states = [(row.state, row.start_s) for row in result.trace.power if row.source == GENERATOR]
    assert states[1:3] == [(OUT, pytest.approx(1000.0)), ("running", 1600.0)]


def test_a_mobile_set_that_is_filled_feeds_again() -> None:
    result = run(mobile(), loss(0.0, 7000.0), CONNECTED, fill(2000.0, MOBILE))
    # connected at 200 s, at 1.2 m: idle to 1000 s is 0.8 L; the pump's 0.2 L last 133.3 s
    dry_s = 1000.0 + 0.2e-3 / 1.5e-6
    assert told(result, OUT)[0] == (dry_s, MOBILE, OUT, "tank empty")
    # 2.6 m again at 2000 s: 320 s with both pumps, then 360 s without
    busbar = [(row.state, row.start_s) for row in result.trace.power if row.source == "busbar"]
    assert busbar[:5] == [
        ("dead", 0.0), (MOBILE, 200.0), ("dead", pytest.approx(dry_s, abs=1e-6)), (MOBILE, 2000.0),
        ("dead", pytest.approx(2680.0, abs=1e-6)),
    ]  # fmt: skip
    assert told(result, FILLED) == [(2000.0, MOBILE, FILLED, "1.00 L filled")]


def test_a_mobile_set_that_is_not_connected_is_filled_for_later() -> None:
    off = at(700.0, "mobile generator disconnected", MOBILE)
    again = at(1000.0, "mobile generator connected", MOBILE)
    result = run(mobile(), loss(0.0, 7000.0), CONNECTED, off, fill(900.0, MOBILE), again)
    assert told(result, FILLED) == [(900.0, MOBILE, FILLED, "0.5 L filled")]
    # at 1000 s and 2.0 m one pump runs 500 s: 0.75 L; then 250 s idle
    assert told(result, OUT)[0][0] == pytest.approx(1750.0, abs=1.0)


# ---------------------------------------------------------------------- engine


def test_an_engine_that_is_filled_while_it_runs_runs_so_much_longer() -> None:
    """From 2.0 m at 1000 s it holds the level (20 L/s out, 20 in): 500 s a tank."""
    station = with_engine()
    dry = run(station, loss(0.0, 7000.0), inflow=0.02)
    assert told(dry, OUT) == [(1000.0, "E1", OUT, "tank empty")]
    result = run(station, loss(0.0, 7000.0), fill(800.0, "E1"), inflow=0.02)
    assert told(result, FILLED) == [(800.0, "E1", FILLED, "0.6 L filled")]
    assert told(result, OUT) == [(1300.0, "E1", OUT, "tank empty")]
    (first,) = [row for row in result.trace.runs if row.role == "engine-driven"]
    assert (first.start_s, first.stop_s) == pytest.approx((500.0, 1300.0))
    summary = result.summary.set_index(["metric", "subject"])["value"]
    assert summary["fuel burnt", "E1"] == pytest.approx(1.6e-3, abs=EXACT)
    assert summary["fuel burnt", "station"] == pytest.approx(1.6e-3, abs=EXACT)


def test_an_engine_that_is_filled_twice_in_a_run_counts_both() -> None:
    result = run(
        with_engine(), loss(0.0, 7000.0), fill(800.0, "E1"), fill(1000.0, "E1"), inflow=0.02
    )
    assert told(result, FILLED)[1] == (1000.0, "E1", FILLED, "0.4 L filled")
    assert told(result, OUT) == [(1500.0, "E1", OUT, "tank empty")]
    assert result.trace.filled_m3 == {"E1": pytest.approx(1.0e-3, abs=EXACT)}


def test_an_engine_that_stood_dry_is_called_by_its_own_rule_once_it_is_filled() -> None:
    result = run(with_engine(), loss(0.0, 7000.0), fill(1200.0, "E1"), inflow=0.02)
    states = [(row.state, row.start_s) for row in result.trace.power if row.source == "E1"]
    assert states[:4] == [
        ("stopped", 0.0), ("running", pytest.approx(500.0)), (OUT, pytest.approx(1000.0)),
        ("running", 1200.0),
    ]  # fmt: skip
    alarms = [row for row in result.trace.alarms if row.alarm == "engine failed"]
    assert alarms[0].cleared_s == 1200.0


def test_an_engine_that_is_filled_keeps_its_failure() -> None:
    fails = at(1100.0, "fails", "E1", 2000.0, resets_itself=True)
    result = run(with_engine(), loss(0.0, 7000.0), fails, fill(1200.0, "E1"), inflow=0.02)
    states = [(row.state, row.start_s) for row in result.trace.power if row.source == "E1"]
    assert states[2:5] == [
        (OUT, pytest.approx(1000.0)), ("failed", 1200.0), ("running", pytest.approx(3100.0)),
    ]  # fmt: skip
    alarm = next(row for row in result.trace.alarms if row.alarm == "engine failed")
    assert alarm.cleared_s == pytest.approx(3100.0)


def test_a_bypass_pump_is_filled_by_its_name() -> None:
    station = duplex(bypass_pump=bypass_pump(0.02, fuel_m3_per_s=2e-6, tank_m3=1e-3))
    events = (loss(0.0, 7000.0), at(0.0, "bypass pump connected", "bypass pump"))
    dry = run(station, *events, inflow=0.02)
    (out,) = told(dry, OUT)
    result = run(station, *events, fill(out[0].expected - 100.0, "B1"), inflow=0.02)
    assert told(result, OUT)[0][0] == pytest.approx(out[0].expected + 400.0, abs=1e-6)


# ---------------------------------------------------------------------- refused, and looked at


@pytest.mark.parametrize(
    ("station", "subject", "why"),
    [
        (duplex(), GENERATOR, "the station has none"),
        (fixed(), MOBILE, "the station has none"),
        (fixed(tank_m3=math.inf), GENERATOR, "its fuel is not counted"),
        (fixed(fuel_loads=(), fuel_rates_m3_per_s=()), GENERATOR, "its fuel is not counted"),
        (with_engine(tank_m3=math.inf), "E1", "its fuel is not counted"),
        (with_engine(fuel_m3_per_s=0.0), "E1", "its fuel is not counted"),
        (with_engine(), "P1", "it burns no fuel"),
        (with_engine(), "E2", "the station has none"),
    ],
)
def test_a_tank_that_is_not_there_is_refused(station: Station, subject: str, why: str) -> None:
    assert told(run(station, fill(500.0, subject)), FILLED, REFUSED) == [
        (500.0, subject, REFUSED, why)
    ]


def left_at(station: Station, *events: ScriptedEvent, inflow: float = 0.01) -> dict[float, float]:
    """Return the part that is left at each press of a reset that does nothing."""
    session = Session(station, episode(7200.0, inflow, *events))
    found = {}
    for at_s in [event.at_s for event in events if event.kind == "reset"]:
        session.advance(at_s + 1e-3)
        plant = session._plant
        assert plant.t_s == at_s
        if plant.engine is None:
            assert plant.supply.generator is not None
            found[at_s] = plant.supply.generator.fuel.part_left
        else:
            found[at_s] = plant.engine.fuel_part
    return found


def looks(*times_s: float) -> list[ScriptedEvent]:
    return [at(at_s, "reset", "P2") for at_s in times_s]


def test_what_is_left_of_a_generators_tank_is_told() -> None:
    events = (
        loss(0.0, 7000.0),
        fill(600.0, GENERATOR),
        *looks(250.0, 599.0, 601.0, 1100.0, 1900.0),
    )
    assert left_at(fixed(), *events) == {
        250.0: pytest.approx(0.75), 599.0: pytest.approx(0.401), 601.0: pytest.approx(0.999),
        1100.0: pytest.approx(0.45), 1900.0: 0.0,
    }  # fmt: skip
    assert left_at(fixed(tank_m3=math.inf), *events) == dict.fromkeys(
        (250.0, 599.0, 601.0, 1100.0, 1900.0), 1.0
    )


def test_what_is_left_of_an_engines_tank_is_told_while_it_runs_and_while_it_stands() -> None:
    events = (loss(0.0, 7000.0), fill(800.0, "E1"), *looks(400.0, 600.0, 900.0, 1400.0))
    assert left_at(with_engine(), *events, inflow=0.02) == {
        400.0: 1.0, 600.0: pytest.approx(0.8), 900.0: pytest.approx(0.8), 1400.0: 0.0,
    }  # fmt: skip
    plain = with_engine(tank_m3=math.inf)
    assert left_at(plain, *looks(400.0), inflow=0.02) == {400.0: 1.0}


def test_a_look_at_the_tank_changes_no_bit() -> None:
    what = episode(7200.0, 0.01, loss(0.0, 7000.0), fill(600.0, GENERATOR), *looks(700.0, 1100.0))
    looked, alone = (Session(fixed(), what) for _ in range(2))
    for at_s in (700.0, 1100.0):
        looked.advance(at_s + 1e-3)
        alone.advance(at_s + 1e-3)
        for _ in range(3):
            generator = looked._plant.supply.generator
            assert generator is not None
            assert 0.0 < generator.fuel.part_left < 1.0
    assert looked.finish().trace.fuel_m3 == alone.finish().trace.fuel_m3


def test_a_run_that_is_frozen_beside_a_refill_goes_on_alike() -> None:
    what = episode(7200.0, 0.01, loss(0.0, 7000.0), fill(600.0, GENERATOR), fill(1400.0, GENERATOR))
    whole = Session(fixed(), what).finish().trace
    for at_s in (500.0, 600.0, 900.0, 1400.0, 2350.0, 3000.0):
        session = Session(fixed(), what)
        session.advance(at_s)
        trace = Session.resume(session.freeze()).finish().trace
        assert (trace.events, trace.power, trace.fuel_m3) == (
            whole.events,
            whole.power,
            whole.fuel_m3,
        )

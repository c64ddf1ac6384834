"""Sentences of what people brought, and of an alarm battery, against runs worked out by hand."""

from __future__ import annotations

from dataclasses import replace

from stationsim.episode import ScriptedEvent
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import duplex, engine_pump, episode
from stationsim.wording import sentences


def text_of(result: Result) -> str:
    return " ".join(sentences(result))


def loads(*loads: tuple[float, float, float]) -> list[ScriptedEvent]:
    return [
        ScriptedEvent(at_s, "tanker takes", "tanker", amount=m3, per_s=per_s)
        for at_s, m3, per_s in loads
    ]


def test_a_tanker_tells_what_it_took() -> None:
    one = simulate(duplex(), episode(3000.0, 0.01, *loads((600.0, 8.0, 480.0))))
    assert "A tanker took 8.00 m3, from Mon 00:10 on." in sentences(one)
    assert any(line.startswith("A tanker took 2113 gal,") for line in sentences(one, "us"))
    two = simulate(
        duplex(), episode(3000.0, 0.01, *loads((600.0, 8.0, 480.0), (700.0, 4.0, 300.0)))
    )
    assert "Tankers took 12.0 m3 in all, in 2 loads, the first from Mon 00:10 on." in sentences(two)
    assert "In all 30.0 m3 arrived, 15.0 m3 was pumped and 8.00 m3 hauled away." in sentences(one)
    assert "anker" not in text_of(simulate(duplex(), episode(3000.0, 0.01)))


def test_a_tanker_that_found_too_little_tells_so() -> None:
    short = simulate(duplex(), episode(3000.0, 0.002, *loads((0.0, 20.0, 600.0))))
    assert (
        "A tanker took 11.2 m3, from Mon 00:00 on, and left with less than its load, for the well "
        "gave no more." in sentences(short)
    )
    assert "In all 6.00 m3 arrived, 0 m3 was pumped and 11.2 m3 hauled away." in sentences(short)
    both = loads((0.0, 20.0, 600.0), (1000.0, 0.5, 500.0))
    told = sentences(simulate(duplex(), episode(3000.0, 0.002, *both)))
    assert any(
        "in 2 loads" in x and "; 1 left with less, for the well gave no more." in x for x in told
    )


def test_a_tank_that_was_filled_tells_when_and_with_how_much() -> None:
    engine = engine_pump(0.02, fuel_m3_per_s=2e-6, tank_m3=1e-3, start_delay_s=0.0)
    events = [
        ScriptedEvent(0.0, "grid loss", "grid", 7000.0),
        ScriptedEvent(1500.0, "refuelled", "E1"),
    ]
    station = replace(duplex(), engine_pump=engine)
    result = simulate(station, episode(7200.0, 0.02, *events))
    (fill,) = [row for row in result.trace.events if row.event == "refuelled"]
    litres = f"{1e3 * result.trace.filled_m3['E1']:.3g}"
    assert litres in fill.detail
    assert any(
        line.startswith(f"E1 was refuelled at Mon 00:25 with {litres}")
        for line in sentences(result)
    )


def test_an_alarm_battery_that_was_empty_is_told() -> None:
    settings = replace(duplex().alarms, battery_s=600.0)
    station = replace(duplex(), alarms=settings)
    dark = ScriptedEvent(1000.0, "grid loss", "grid", 2600.0)
    told = text_of(simulate(station, episode(7200.0, 0.01, dark)))
    assert "The alarm battery was empty, and the station silent, from Mon 00:27 for 33 min" in told


def test_a_tank_that_was_filled_twice_tells_with_how_much_in_all() -> None:
    engine = engine_pump(0.02, fuel_m3_per_s=2e-6, tank_m3=1e-3, start_delay_s=0.0)
    events = [
        ScriptedEvent(0.0, "grid loss", "grid", 7000.0),
        ScriptedEvent(1500.0, "refuelled", "E1"),
        ScriptedEvent(2700.0, "refuelled", "E1"),
    ]
    result = simulate(replace(duplex(), engine_pump=engine), episode(7200.0, 0.02, *events))
    litres = f"{1e3 * result.trace.filled_m3['E1']:.2f}"
    fills = [row.detail for row in result.trace.events if row.event == "refuelled"]
    assert len(fills) == 2
    assert not any(litres in one for one in fills)  # it is their sum
    told = [line for line in sentences(result) if line.startswith("E1 was refuelled")]
    assert told == [f"E1 was refuelled twice, {litres} L in all, first at Mon 00:25."]


def test_a_bypass_pump_that_came_twice_is_taken_off_for_the_last_time() -> None:
    engine = replace(engine_pump(0.02), pump=replace(engine_pump(0.02).pump, name="B1"))
    turns = [
        ScriptedEvent(at_s, f"bypass pump {what}", "B1")
        for at_s, what in (
            (600.0, "connected"), (1200.0, "disconnected"),
            (1800.0, "connected"), (3000.0, "disconnected"),
        )
    ]  # fmt: skip
    station = replace(duplex(), bypass_pump=engine)
    told = text_of(simulate(station, episode(3600.0, 0.001, *turns)))
    assert (
        "was connected twice, first at Mon 00:10 and taken off for the last time at Mon 00:50"
        in told
    )
    once = text_of(simulate(station, episode(3600.0, 0.001, *turns[:2])))
    assert "was connected at Mon 00:10 and taken off at Mon 00:20" in once

"""Every trouble of the catalogue is named in the sentences of a run, and what came of it."""

from __future__ import annotations

import functools
import re
from dataclasses import replace

import pytest
from everything import HOUR, KINDS, day, event_of, everything
from generator_fuel import generator_fuel_m3

from stationsim.control.backup import BackupSettings
from stationsim.episode import Episode, RandomFault, ScriptedEvent
from stationsim.equipment.faults import BY_KIND
from stationsim.metrics.meters import lost_m3
from stationsim.results import Result
from stationsim.simulation.session import Session, simulate
from stationsim.station import Station
from stationsim.testing import duplex, engine_pump, episode
from stationsim.wording.sayings import BLOCKS, ELSEWHERE, STANDING

TROUBLES = tuple(kind for kind in KINDS if BY_KIND[kind].trouble)

NAMED = {
    "fails": r"P1 failed at Mon 00:25",
    "high temperature": r"P1 tripped at Mon 00:25 \(high temperature\)",
    "overload": r"P1 tripped at Mon 00:25 \(overload\)",
    "seal leak": r"P1 showed a seal leak at Mon 00:25",
    "seal leak into motor": r"P1 tripped at Mon 00:25 \(moisture in the motor\)",
    "fails to start": r"P1 would not have started from Mon 00:25 for 25 min",
    "clogged": r"P1 was clogged \(60 % of its flow left\)",
    "ragging": r"rags gathered in P1 \(20 % in 15 min of running\)",
    "wearing": r"P1 was wearing \(5 % in 1 h of running\)",
    "turning backwards": r"P1 was turning backwards \(50 % of its flow and head left\)",
    "air-bound": r"P1 was air-bound, and moved nothing, from Mon 00:25",
    "check valve open": r"the check valve of P1 stood open \(40 % of its own flow runs back\)",
    "check valve slow": r"the check valve of P1 was slow to close \(by 8 s\)",
    "plug valve closed": r"the plug valve behind P1 was closed \(0 % of its flow left\)",
    "fails to prime": r"E1 would not have primed from Mon 00:25",
    "battery flat": r"the battery of E1 was flat from Mon 00:25",
    "level signal frozen": r"the level signal stood still from Mon 00:25",
    "level signal lost": r"the level signal was gone from Mon 00:25",
    "level signal off": r"the level signal was wrong \(0.3 m too high\)",
    "level signal drifting": r"the level signal was drifting \(0.5 m too high in 1 h\)",
    "level signal noisy": r"the level signal was noisy \(0.05 m about the level",
    "level signal late": r"the level signal lagged \(40 s\)",
    "float stuck up": r"the start float was stuck up",
    "float stuck down": r"the start float was stuck down",
    "float late": r"the start float was late \(by 30 s\)",
    "controller stopped": r"the controller was stopped from Mon 00:25 for 25 min",
    "control breaker open": r"the control breaker was open from Mon 00:25 for 25 min",
    "telemetry lost": r"telemetry was lost from Mon 00:25 for 25 min",
    "alarm off": r"the high level alarm was switched off from Mon 00:25 for 25 min",
    "grid loss": r"the grid was out for 25 min from Mon 00:25; the generator fed the pumps",
    "grid sag": r"the grid sagged at Mon 00:25 \(for 0.4 s\) and stopped P1, and no outage was",
    "phase lost": r"one phase of the grid was lost for 25 min from Mon 00:25",
    "transfer switch stuck": r"the transfer switch was stuck from Mon 00:25",
    "generator fails": r"the generator had failed from Mon 00:25 for 25 min",
    "generator fails to start": r"the generator would not have started from Mon 00:25",
    "generator late": r"the generator was late to run up \(by 45 s\)",
    "main air": r"air stood in the force main \(2 m of head\)",
    "main leak": r"the force main leaked \(8 % of what is pumped\)",
    "main broken": r"the force main was broken \(at 40 % of the way\)",
    "main plugged": r"the force main was plugged",
    "downstream dark": r"the station downstream was dark from Mon 00:25 for 25 min",
    "downstream limited": r"the station downstream was limited \(takes no more than 1 at once\)",
}
"""What is said of each trouble of ``everything.event_of``, at 00:25 for 25 min."""


@functools.cache
def alone(kind: str, *more: ScriptedEvent, hours: float = 1.0) -> Result:
    return simulate(everything(), day(event_of(kind, 1500.0), *more, hours=hours))


def text_of(result: Result, system: str = "si") -> str:
    return " ".join(sentence for sentence in result.sentences(system))


def at(kind: str, t_s: float, subject: str, lasts_s: float | None, **more: float) -> ScriptedEvent:
    return ScriptedEvent(t_s, kind, subject, lasts_s, **more)  # type: ignore[arg-type]


def grid_loss(t_s: float, lasts_s: float) -> ScriptedEvent:
    return at("grid loss", t_s, "grid", lasts_s)


def test_every_kind_of_trouble_has_words_in_a_table() -> None:
    by_block = {block.kind for block in BLOCKS.values()}
    assert set(TROUBLES) <= set(STANDING) | by_block | set(ELSEWHERE)
    assert set(STANDING) <= set(TROUBLES)
    assert set(NAMED) == set(TROUBLES)


@pytest.mark.parametrize("kind", TROUBLES)
def test_each_trouble_is_named_in_a_run_with_it_alone_and_in_no_other(kind: str) -> None:
    text = text_of(alone(kind))
    assert re.search(NAMED[kind], text, re.IGNORECASE), text
    others = [
        other
        for other in TROUBLES
        if other != kind and re.search(NAMED[other], text, re.IGNORECASE)
    ]
    assert others == [], text


@pytest.mark.parametrize("kind", TROUBLES)
def test_sentences_are_whole_and_few_and_in_the_units_asked_for(kind: str) -> None:
    result = alone(kind)
    for system in ("si", "us"):
        said = result.sentences(system)
        assert 3 <= len(said) <= 6
        for sentence in said:
            assert sentence[0].isupper()
            assert sentence.endswith(".")
            assert sentence.count("(") == sentence.count(")")
            assert not re.search(r"\bnan\b|\binf\b|None|  |\{|,,|\(\)", sentence), sentence
        foreign = r"\d (m|L|L/s|m3)\b" if system == "us" else r"\d (ft|gal|gpm)\b"
        assert not re.search(foreign, " ".join(said)), said


# ------------------------------------------------------------------ the supply


def test_an_outage_tells_what_fed_the_busbar_for_how_long_and_its_fuel() -> None:
    result = alone("grid loss", hours=2.0)
    (sentence,) = [s for s in result.sentences() if s.startswith("The grid was out")]
    power = result.power
    fed = power.loc[(power["source"] == "busbar") & (power["state"] == "generator")]
    assert (fed["start_s"].iloc[0], fed["stop_s"].iloc[0]) == pytest.approx((1513.0, 3600.0))
    assert "no pump could run" not in sentence
    litres = 1000.0 * result.trace.fuel_m3["generator"]
    # lost at 1500 s, back at 3000 s; fed from 1513 s until the switch moves back at 3600 s (34 min
    # 47 s), with a break of 3 s: it burnt fuel for all that time, and the busbar was dead for 16 s
    assert f"the generator fed the pumps for 35 min ({litres:.2f} L of fuel in all)" in sentence
    assert "their busbar was dead for 16 s in all" in sentence
    dead = power.loc[(power["source"] == "busbar") & (power["state"] == "dead")]
    assert (dead["stop_s"] - dead["start_s"]).tolist() == pytest.approx([13.0, 3.0])


def test_what_a_set_fed_without_an_outage_does_not_count_to_one() -> None:
    # connected from 600 s to 1500 s while the grid is good; an outage later, which the fixed set
    # bridges
    events = (
        at("mobile generator connected", 600.0, "mobile generator", None),
        at("mobile generator disconnected", 1500.0, "mobile generator", None),
        grid_loss(6000.0, 1200.0),
    )
    result = simulate(everything(), day(*events))
    (sentence,) = [s for s in result.sentences() if s.startswith("The grid was out")]
    assert "the generator fed the pumps for " in sentence
    assert "the mobile generator" not in sentence


@pytest.mark.parametrize("late_s", [None, 45.0])
def test_the_fuel_of_the_generator_is_what_its_tank_has_lost(late_s: float | None) -> None:
    events = [grid_loss(1500.0, 2400.0), at("generator fails to start", 1490.0, "generator", 18.0)]
    if late_s is not None:
        events.append(at("generator late", 0.0, "generator", None, amount=late_s))
    session = Session(everything(), day(*events))
    session.advance(4.0 * HOUR)
    burnt = session._plant.supply.generator.fuel.burnt_m3  # type: ignore[union-attr]
    result = session.finish()
    assert [row.event for row in result.trace.events].count("crank failed") == 1
    assert burnt > 1e-3
    # counted anew, from the tables alone
    assert generator_fuel_m3(result.station, result.trace, "generator") == pytest.approx(burnt)
    assert result.trace.fuel_m3["generator"] == burnt
    assert result.value("fuel burnt", "generator") == burnt


def test_a_generator_that_trips_and_one_that_runs_dry_are_told_with_the_moment() -> None:
    station = everything()
    assert station.standby_power is not None
    assert station.standby_power.generator is not None

    def with_generator(**changes: float) -> Station:
        power = station.standby_power
        assert power is not None
        assert power.generator is not None
        generator = replace(power.generator, **changes)  # type: ignore[arg-type]
        return replace(station, standby_power=replace(power, generator=generator))

    what = day(grid_loss(1500.0, 3000.0))
    weak = text_of(simulate(with_generator(start_va=30e3), what))
    assert re.search(r"the generator tripped under the load of the pumps at Mon 00:2\d", weak)
    dry = text_of(simulate(with_generator(tank_m3=0.001), what))
    assert re.search(r"the generator ran out of fuel at Mon 00:\d\d", dry)
    dead = text_of(simulate(everything(), day(
        at("generator fails to start", 0.0, "generator", None), grid_loss(1500.0, 3000.0)
    )))  # fmt: skip
    assert "the generator failed at Mon 00:25 (it did not fire)" in dead
    assert "would not have started from Mon 00:00 to the end, found out at Mon 00:25" in dead
    soon = text_of(simulate(everything(), day(
        at("generator fails to start", 1490.0, "generator", None), grid_loss(1500.0, 3000.0)
    )))  # fmt: skip
    assert "would not have started from Mon 00:25 to the end, found out at once" in soon


def test_a_transfer_that_fails_is_told_with_the_moment() -> None:
    text = text_of(alone("transfer switch stuck", grid_loss(2000.0, 3000.0), hours=1.5))
    assert "the transfer switch did not move at Mon 00:34" in text
    assert "was stuck from Mon 00:25 for 25 min, found out at Mon 00:34" in text


def test_an_engine_that_draws_no_water_is_told_so() -> None:
    station = duplex(engine_pump=engine_pump(prime_s=20.0, prime_limit_s=80.0))
    events = at("fails to prime", 0.0, "E1", None), grid_loss(HOUR, 2 * HOUR)
    text = text_of(simulate(station, episode(4 * HOUR, 0.02, *events)))
    assert "the engine-driven pump E1 ran for 60 s, all of it in vain, for it drew no" in text
    assert re.search(r"E1 would not have primed .* to the end, found out at Mon 01:\d\d", text)


def test_a_mobile_set_is_told_as_what_fed_the_pumps() -> None:
    events = (
        at("generator fails to start", 0.0, "generator", None),
        grid_loss(1500.0, 2 * HOUR),
        at("mobile generator connected", 3000.0, "mobile generator", None),
    )
    text = text_of(simulate(everything(), day(*events)))
    assert re.search(r"the mobile generator fed the pumps for 3 h 10 min \([\d.]+ L of", text)


def test_a_lost_phase_beside_an_outage_is_told_as_what_it_was() -> None:
    events = at("phase lost", 600.0, "grid", 900.0), grid_loss(HOUR, 2 * HOUR)
    result = simulate(duplex(), episode(4 * HOUR, 0.001, *events))
    sentence = next(s for s in result.sentences() if "phase" in s)
    assert sentence.startswith(
        "The grid was out for 2 h from Mon 01:00, and one phase of the grid was lost for 15 min"
        " from Mon 00:10; no pump could run"
    )


def test_a_set_that_failed_before_the_outage_is_told_with_it() -> None:
    events = at("generator fails", 1200.0, "generator", None), grid_loss(1500.0, HOUR)
    text = text_of(simulate(everything(), day(*events)))
    assert "the generator failed at Mon 00:20" in text


def test_a_set_that_runs_dry_without_an_outage_is_told_too() -> None:
    station = everything()
    assert station.standby_power is not None
    assert station.standby_power.generator is not None
    generator = replace(station.standby_power.generator, tank_m3=1e-5)
    dry = replace(station, standby_power=replace(station.standby_power, generator=generator))
    result = simulate(dry, day(hours=4.0))  # it is exercised
    assert any(row.event == "out of fuel" for row in result.trace.events)
    assert re.search(r"[Tt]he generator ran out of fuel at Mon 02:3\d", text_of(result))


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ((at("generator fails", 1200.0, "generator", None),), "the generator failed"),
        ((at("transfer switch stuck", 1200.0, "transfer switch", None),), "the transfer switch st"),
    ],
)
def test_a_spill_without_a_grid_names_what_did_not_come(
    events: tuple[ScriptedEvent, ...], said: str
) -> None:
    station = replace(everything(), engine_pump=None, exercise=None)
    what = day(*events, grid_loss(1500.0, 4 * HOUR), hours=5.0)
    result = simulate(station, what)
    assert len(result.spills) >= 1
    assert f"with the grid out and {said}" in result.sentences()[0]


def test_a_spill_names_the_float_that_was_stuck_down() -> None:
    station = replace(duplex(), backup_floats=BackupSettings(2.6, 0.5))
    events = (
        at("level signal lost", HOUR, "level sensor", None),
        at("float stuck down", HOUR, "start float", None),
    )
    text = spill_text(station, *events)
    assert "with no pump running, the level signal lost and the start float stuck down, and" in text


def test_spills_of_several_causes_tell_the_larger_and_that_there_was_another() -> None:
    events = (
        at("off", HOUR, "P1", HOUR), at("off", HOUR, "P2", HOUR),
        grid_loss(5 * HOUR, 2 * HOUR),
    )  # fmt: skip
    first = simulate(duplex(), episode(9 * HOUR, 0.02, *events)).sentences()[0]
    assert first.startswith("It spilled twice")
    assert ", with the grid out (method" in first
    assert (
        "; not all of them began for that reason; the high-level alarm was sent each time" in first
    )
    alike = grid_loss(HOUR, 2 * HOUR), grid_loss(5 * HOUR, 2 * HOUR)
    first = simulate(duplex(), episode(9 * HOUR, 0.02, *alike)).sentences()[0]
    assert "each time with the grid out" in first
    assert "not all" not in first


# ------------------------------------------------------------------ alarms


def silent(**alarms: str) -> Station:
    station = duplex()
    return replace(station, alarms=replace(station.alarms, **alarms))  # type: ignore[arg-type]


def spill_text(station: Station, *events: ScriptedEvent) -> str:
    result = simulate(station, episode(4 * HOUR, 0.02, *events))
    assert len(result.spills) == 1
    return result.sentences()[0]


def test_a_spill_tells_whether_its_alarm_went_out() -> None:
    opened = at("control breaker open", HOUR, "panel", 2 * HOUR)
    quiet = spill_text(silent(supply="control"), opened)
    assert quiet.endswith(
        "with no pump running and the control breaker open; no alarm was sent while it spilled."
    )
    heard = spill_text(silent(supply="own"), opened)
    assert re.search(r"; the high-level alarm was sent at Mon 01:\d\d\.$", heard)
    off = spill_text(silent(), opened, at("alarm off", 0.0, "high level", None))
    assert off.endswith(
        "; the high-level alarm was not sent, only 'control power failed' at Mon 01:00."
    )
    lost = spill_text(silent(), opened, at("telemetry lost", 1800.0, "telemetry", 4 * HOUR))
    assert lost.endswith("; no alarm was sent while it spilled.")
    none = replace(duplex(), alarms=replace(duplex().alarms, high_level_m=None))
    assert "alarm" not in spill_text(none, opened)


def test_lost_telemetry_tells_which_alarms_did_not_go_out() -> None:
    events = at("telemetry lost", HOUR, "telemetry", HOUR), at("overload", 5000.0, "P1", 600.0)
    text = text_of(simulate(duplex(), episode(4 * HOUR, 0.01, *events)))
    said = "telemetry was lost from Mon 01:00 for 1 h, and the alarm 'overload' of P1 was not sent"
    assert said in text
    quiet = text_of(simulate(duplex(), episode(4 * HOUR, 0.01, events[0])))
    assert "Telemetry was lost from Mon 01:00 for 1 h." in quiet


def test_an_alarm_that_was_off_while_the_water_stood_above_it_is_told() -> None:
    events = (
        at("alarm off", 0.0, "high level", None),
        at("off", HOUR, "P1", HOUR),
        at("off", HOUR, "P2", HOUR),
    )
    text = text_of(simulate(duplex(), episode(4 * HOUR, 0.012, *events)))
    assert "was switched off from Mon 00:00 to the end, while the water stood above it" in text


# ------------------------------------------------------------------ what came of it


def test_rags_tell_how_often_they_tripped_it_and_how_they_went() -> None:
    events = at("ragging", 0.0, "P1", None, amount=0.3, per_s=600.0)
    result = simulate(everything(), day(events, hours=4.0))
    words = [row.event for row in result.trace.events if row.subject == "P1"]
    trips = [r for r in result.trace.events if (r.event, r.cause) == ("trip", "overload")]
    assert trips
    text = text_of(result)
    times = {1: "once", 2: "twice"}.get(len(trips), f"{len(trips)} times")
    assert f", and the overload tripped it {times}" in text
    for event, said in (
        ("reversed and clear", "reversing cleared it"),
        ("reversed in vain", "it was reversed in vain"),
        ("rags fell off", "they fell off at a stop"),
    ):
        assert (event in words) == (said in text), (event, text)


def test_a_leak_is_told_by_what_did_not_arrive() -> None:
    result = simulate(duplex(), episode(
        48 * HOUR, 0.01, at("main leak", 24 * HOUR, "force main", None, amount=0.08)
    ))  # fmt: skip
    station, plant = result.meters[["station_meter_m3", "plant_meter_m3"]].iloc[1]
    assert plant == pytest.approx(0.92 * station)
    lost = result.value("volume lost from the main")
    assert lost == pytest.approx(0.08 * station, rel=1e-9)
    told = result.sentences()
    assert told[0] == f"It did not spill, but {lost:.1f} m3 left the force main on the way."
    assert told[1] == (
        "The force main leaked (8 % of what is pumped) from Tue 00:00 to the end:"
        f" {lost:.1f} m3 did not arrive."
    )
    assert simulate(duplex(), episode(HOUR, 0.01)).value("volume lost from the main") == 0.0


def test_what_is_lost_through_a_leak_and_through_a_break_is_told_apart() -> None:
    # the break, for 2 of the 8 hours of the leak, takes all of what is pumped in its time
    leak = at("main leak", HOUR, "force main", 8 * HOUR, amount=0.1)
    broken = at("main broken", 4 * HOUR, "force main", 2 * HOUR, amount=0.5)
    result = simulate(duplex(), episode(12 * HOUR, 0.01, leak, broken))
    lost = result.value("volume lost from the main")
    by_break = lost_m3(result.course, [(4 * HOUR, 6 * HOUR)])
    by_leak = lost_m3(result.course, [(HOUR, 4 * HOUR), (6 * HOUR, 9 * HOUR)])
    assert by_leak + by_break == pytest.approx(lost, rel=1e-12)
    runs = result.trace.runs
    pumped = sum(run.volume_m3 for run in runs if 4 * HOUR <= run.start_s < run.stop_s <= 6 * HOUR)
    assert pumped > 0.0
    assert by_break == pytest.approx(72.0, rel=0.15)  # 10 L/s for 2 h, give or take a cycle
    assert by_leak == pytest.approx(0.1 * 216.0, rel=0.15)
    text = text_of(result)
    assert re.search(rf"was broken \(at 50 % of the way\) [^;]*: {by_break:.1f} m3 did not", text)
    assert re.search(rf"leaked \(10 % of what is pumped\) [^;]*: {by_leak:.1f} m3 did not", text)


def test_water_that_ran_back_is_told_in_volume() -> None:
    station = duplex(main_water_m3=6.0)
    event = at("check valve open", HOUR, "P2", 2 * HOUR, amount=0.4)
    result = simulate(station, episode(4 * HOUR, 0.01, event))
    assert result.trace.other_m3 < -0.1
    assert f"and {-result.trace.other_m3:.1f} m3 ran back through it" in text_of(result)


def test_exercise_runs_tell_what_they_proved_and_what_they_found() -> None:
    proved = text_of(simulate(everything(), day(hours=4.0)))
    assert re.search(r"Exercise runs proved .*the generator \(\w+\)", proved)
    flat = simulate(everything(), day(at("generator fails to start", 0.0, "generator", None)))
    text = text_of(flat)
    assert "an exercise found that the generator did not run (at Mon 02:3" in text
    assert "would not have started from Mon 00:00 to the end, found out at Mon 02:30" in text


def test_what_came_by_chance_is_told_so() -> None:
    fault = RandomFault("rags", (at("clogged", 0.0, "P1", None, flow_left=0.5),), "calendar", 1e-3)
    base = episode(4 * HOUR, 0.01)
    what: Episode = replace(base, random=(fault,))
    assert re.search(r"P1 was clogged \(50 % of its flow left\) from .* \(by chance\)", text_of(
        simulate(duplex(), what)
    ))  # fmt: skip
    scripted = at("clogged", HOUR, "P1", None, flow_left=0.5)
    assert "by chance" not in text_of(simulate(duplex(), episode(4 * HOUR, 0.01, scripted)))


def test_the_worst_is_told_first_and_no_more_than_five_things() -> None:
    events = (
        at("wearing", 0.0, "P2", None, amount=0.05, per_s=HOUR),
        at("level signal off", 60.0, "level sensor", 600.0, amount=0.1),
        at("clogged", 120.0, "P2", 600.0, flow_left=0.5),
        at("overload", 180.0, "P1", 600.0),
        at("seal leak", 200.0, "P1", None),
        at("fails", 1000.0, "P2", 600.0),
        at("controller stopped", 3000.0, "panel", 600.0),
    )
    result = simulate(duplex(), episode(4 * HOUR, 0.01, *events))
    sentence = next(s for s in result.sentences() if "overload" in s)
    assert sentence.count(";") == 5
    places = [sentence.index(x) for x in ("controller", "overload", "P2 failed", "clogged")]
    assert places == sorted(places)
    assert sentence.startswith("The controller was stopped")
    assert sentence.endswith("; 2 more of that kind in the table of events.")


@pytest.mark.parametrize(
    ("kind", "amount", "said"),
    [
        ("level signal off", 0.1524, r"wrong \(0\.5 ft too high\)"),
        ("level signal off", -0.2032, r"wrong \(0\.667 ft too low\)"),
        ("level signal noisy", 0.3048 * 0.3, r"noisy \(0\.3 ft about the level"),
        ("level signal drifting", 0.3048 * 0.7, r"drifting \(0\.7 ft too high in 1 h\)"),
    ],
)
def test_a_number_in_feet_is_told_as_it_was_given(kind: str, amount: float, said: str) -> None:
    per_s = HOUR if kind == "level signal drifting" else 0.0
    wrong = ScriptedEvent(60.0, kind, "level sensor", 600.0, amount=amount, per_s=per_s)
    told = " ".join(simulate(duplex(), episode(3600.0, 0.02, wrong)).sentences("us"))
    assert re.search(said, told), told

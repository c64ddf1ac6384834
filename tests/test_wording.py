from __future__ import annotations

import dataclasses
import re

import handmade
import pytest

from stationsim.control.contract import ControlPlan
from stationsim.control.staging import StagingSettings
from stationsim.episode import ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.results import Result
from stationsim.wording import level_text, listed, moment, times

HOUR_S, DAY_S = 3600.0, 86_400.0


def week(*, engine: bool = True, hours: float = 4.0) -> Result:
    return handmade.March(
        handmade.station(3, 0.020, engine=engine),
        handmade.daily(7, 0.010),
        7.0 * DAY_S,
        outages=((7.0 * HOUR_S + 600.0, 7.0 * HOUR_S + 600.0 + hours * HOUR_S),),
    ).result()


def at(hour: float, kind: str, subject: str, hours: float | None = None, **more) -> ScriptedEvent:
    lasts = None if hours is None else hours * HOUR_S
    return ScriptedEvent(hour * HOUR_S, kind, subject, lasts, **more)


def run(*events: ScriptedEvent, hours: float = 24.0) -> Result:
    return handmade.real(handmade.station(3), handmade.constant(0.01), hours * HOUR_S, events)


def told(result: Result, word: str) -> str:
    return next(sentence for sentence in result.sentences() if word in sentence)


def floor_s(result: Result) -> float:
    return next(row.t_s for row in result.trace.events if row.event == "well empty")


RUNS = {
    "week with engine": week,
    "week that spills": lambda: week(engine=False),
    "one pump, no spill point": lambda: handmade.March(
        handmade.station(1, spill_m=None, high_alarm_m=None), handmade.constant(0.01), DAY_S
    ).result(),
    "nothing arrives": lambda: handmade.March(
        handmade.station(2), handmade.constant(0.0), DAY_S
    ).result(),
    "hands and trips": lambda: run(
        at(1.0, "off", "P1"), at(2.0, "hand", "P2"), at(3.0, "fails", "P3"), hours=30.0
    ),
    "a month": lambda: handmade.March(
        handmade.station(2), handmade.daily(31, 0.008), 31.0 * DAY_S
    ).result(),
}


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("name", RUNS)
def test_three_to_six_whole_sentences_in_the_units_asked_for(name, system):
    said = RUNS[name]().sentences(system)
    assert 3 <= len(said) <= 6
    for sentence in said:
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert not re.search(r"\bnan\b|\binf\b|None|  |-0\b", sentence), sentence
    text = " ".join(said)
    assert name == "nothing arrives" or "kWh" in text
    foreign = r"\d (m|L|L/s|m3)\b" if system == "us" else r"\d (ft|gal|gpm)\b"
    assert not re.search(foreign, text)


def test_numbers_of_the_shared_work_are_those_of_the_table():
    result = week()
    sentence = next(s for s in result.sentences() if "shared the work" in s)
    totals = result.pump_totals.set_index("pump").loc[["P1", "P2", "P3"]]
    hours = listed([f"{h:.1f}" for h in totals["hours_h"]])
    starts = listed([str(n) for n in totals["starts"]])
    worst = totals["max_starts_per_hour"].max()
    assert sentence == (
        f"P1, P2 and P3 shared the work: {hours} h, {starts} starts, at most {worst} in any hour"
        f" for one pump, {result.value('energy'):,.0f} kWh (0.250 kWh/m3)."
    )


def test_an_outage_carried_by_the_engine_tells_hours_fuel_and_peak():
    sentence = next(s for s in week().sentences() if "grid" in s)
    assert sentence.startswith("The grid was out for 4 h from Wed 07:10; the engine-driven pump E1")
    assert "of fuel" in sentence
    assert sentence.endswith("the level rose to 1.90 m meanwhile.")


def test_an_engine_that_did_not_run_is_told():
    result = handmade.March(
        handmade.station(2, engine=True), handmade.constant(0.0), DAY_S, ((0.0, HOUR_S),)
    ).result()
    assert told(result, "grid") == (
        "The grid was out for 1 h from Wed 00:00; the engine-driven pump E1 did not run (the"
        " level stayed below its start level)."
    )


def test_an_engine_that_was_out_is_told_with_the_reason():
    result = handmade.real(
        handmade.station(2, engine=True),
        handmade.constant(0.01),
        DAY_S,
        (at(1.0, "out of service", "E1"), at(2.0, "grid loss", "grid", 3.0)),
    )
    assert "E1 did not run (out of service), and the level rose to" in told(result, "The grid")
    spilled = told(result, "It spilled")
    assert (
        ", while the grid was out and E1 did not run (out of service); the high-level alarm was"
        " sent at"
    ) in spilled


def test_a_spill_is_told_first_with_volume_times_and_method():
    result = week(engine=False)
    volume = result.spills["volume_m3"].iloc[0]
    first = result.sentences()[0]
    assert first.startswith(f"It spilled {volume:.0f} m3 from Wed 07:")
    assert "to Wed 11:10" in first
    assert "method: plain loss" in first
    assert not any("it would have spilled" in s for s in result.sentences())


def test_several_spills_are_summed_and_the_worst_named():
    result = handmade.March(
        handmade.station(2),
        handmade.daily(3, 0.010),
        3.0 * DAY_S,
        outages=((7 * HOUR_S, 8 * HOUR_S), (DAY_S + 7 * HOUR_S, DAY_S + 10 * HOUR_S)),
    ).result()
    assert len(result.spills) == 2
    first = result.sentences()[0]
    assert first.startswith("It spilled twice, ")
    assert "from Thu 07:" in first


def test_a_weir_is_named_with_its_length_in_the_units_asked_for():
    result = week(engine=False)
    spillway = dataclasses.replace(result.station.spillway, length_m=2.0)
    changed = Result(
        dataclasses.replace(result.station, spillway=spillway), result.episode, result.trace
    )
    assert "method: weir, 2.00 m long" in changed.sentences("si")[0]
    assert "method: weir, 6.56 ft long" in changed.sentences("us")[0]


def test_trips_and_leaks_are_told_in_the_order_of_time_with_cause_and_return():
    result = run(
        at(50.0, "seal leak", "P1"),
        at(2.0, "high temperature", "P2", 0.5),
        at(30.0, "high temperature", "P2", 1.0),
        at(4.0, "out of service", "P3", 3.0),
        hours=72.0,
    )
    assert told(result, "P2 tripped") == (
        "P2 tripped twice, first at Wed 02:00 (high temperature), for 1 h 30 min in all; P3 was"
        " taken out of service at Wed 04:00 and was back after 3 h; P1 showed a seal leak at Fri"
        " 02:00."
    )


def test_failing_again_while_failed_counts_once_and_stands_to_the_end():
    result = run(
        at(2.0, "fails", "P2", 1.0, resets_itself=False),
        at(5.0, "fails", "P2", 1.0, resets_itself=False),
    )
    assert told(result, "P2") == "P2 failed at Wed 02:00 and was still out at the end."


def test_a_reset_by_hand_ends_what_was_out():
    result = run(at(2.0, "fails", "P2", 1.0, resets_itself=False), at(9.5, "reset", "P2"))
    assert told(result, "P2") == "P2 failed at Wed 02:00 and was back after 7 h 30 min."


def test_a_trip_of_a_pump_that_is_off_does_not_bring_it_back():
    result = run(at(1.0, "off", "P2"), at(2.0, "high temperature", "P2", 1.0))
    assert told(result, "P2") == (
        "P2 was switched off at Wed 01:00 (to the end); P2 tripped at Wed 02:00 (high temperature),"
        " which lasted 1 h."
    )


def test_a_seal_leak_that_stops_the_pump_is_told_as_an_outage():
    base = handmade.station(2)
    pumps = tuple(dataclasses.replace(p, seal_leak="stop") for p in base.pumps)
    result = handmade.real(
        dataclasses.replace(base, pumps=pumps),
        handmade.constant(0.01),
        DAY_S,
        (at(3.0, "seal leak", "P1", 2.0),),
    )
    assert told(result, "P1 was") == (
        "P1 was taken out by a seal leak at Wed 03:00 and was back after 2 h."
    )


def test_selectors_are_told_with_how_long_they_stood():
    result = run(
        at(1.0, "off", "P1"), at(2.0, "auto", "P1"), at(5.0, "off", "P1"), at(8.0, "auto", "P1"),
        at(9.0, "hand", "P2"), at(9.2, "auto", "P2"), at(20.0, "off", "P3"),
    )  # fmt: skip
    assert told(result, "P1 was") == (
        "P1 was switched off twice, first at Wed 01:00, for 4 h in all; P2 was put in hand at Wed"
        " 09:00 for 12 min, pumped the well down to the floor at Wed 09:06 and ran on an empty well"
        " for 6 min; P3 was switched off at Wed 20:00 (to the end)."
    )


def test_a_hand_forgotten_to_the_end_tells_how_long_the_pump_ran_dry():
    result = run(at(9.0, "hand", "P2"))
    sentence = told(result, "in hand")
    assert sentence.startswith("P2 was put in hand at Wed 09:00 (to the end), pumped the well down")
    assert sentence.endswith(" and ran on an empty well for 14 h 54 min.")
    assert (DAY_S - floor_s(result)) / HOUR_S == pytest.approx(14.9, abs=0.01)


def test_more_trouble_than_can_be_told_is_counted():
    names = ("P1", "P2", "P3")
    events = [at(1.0 + i, "out of service", name, 0.5) for i, name in enumerate(names)]
    events += [at(5.0 + i, "high temperature", name, 0.5) for i, name in enumerate(names)]
    events += [at(0.5, "seal leak", "P1")]
    result = run(*events)
    sentence = told(result, "out of service")
    assert sentence.count(";") == 5
    assert "seal leak" not in sentence  # that can wait
    assert sentence.endswith("; 2 more of that kind in the table of events.")


def test_a_level_signal_that_stands_still_is_told():
    result = run(at(3.0, "level signal frozen", "level sensor", 0.1))
    assert told(result, "level signal") == "The level signal stood still from Wed 03:00 for 6 min."
    assert result.sentences()[0] == "It did not spill."


def test_a_lost_level_signal_is_told_as_the_cause_of_a_spill_and_seen_by_nobody():
    result = run(at(3.0, "level signal lost", "level sensor", 2.0))
    assert ", with no pump running and the level signal lost; the" in told(result, "It spilled")
    assert "The level signal was gone from Wed 03:00 for 2 h" in told(result, "level signal was")
    seen = result.levels.set_index("t_s")["level_seen_m"]
    assert seen[10_800.0 - 300.0] > 0.0
    assert seen[10_800.0 : 18_000.0 - 1.0].isna().all()


def test_what_nobody_knew_is_told_too():
    result = run(at(3.0, "fails to start", "P1", 1.0), at(6.0, "clogged", "P2", 2.0, flow_left=0.5))
    sentence = told(result, "would not have started")
    assert "P1 would not have started from Wed 03:00 for 1 h, found out at Wed 03:21;" in sentence
    assert "P2 was clogged (50 % of its flow left) from Wed 06:00 for 2 h" in sentence


def test_what_the_end_cuts_off_is_told_as_still_standing():
    result = handmade.real(
        handmade.station(2), handmade.constant(0.02), DAY_S, (at(22.0, "grid loss", "grid", 9.0),)
    )
    first, second = result.sentences()[:2]
    assert "to the end" in first
    assert ", with the grid out, and was still spilling at the end; the high-level alarm" in first
    assert second.startswith("The grid was out for 2 h from Wed 22:00 (still out at the end); no")


@pytest.mark.parametrize(
    ("events", "inflow_m3s", "why"),
    [
        ((), 0.09, "because more arrived than the pumps could lift"),
        ((("off", "P1"), ("out of service", "P2")), 0.02, "with P1 off and P2 out of service"),
        ((("fails", "P1"), ("fails", "P2")), 0.02, "with P1 failed and P2 failed"),
        ((("high temperature", "P1"), ("off", "P2")), 0.02, "with P1 tripped and P2 off"),
    ],
)
def test_a_spill_tells_its_cause_when_that_is_evident(events, inflow_m3s, why):
    happen = [at(1.0, kind, who, None, resets_itself=False) for kind, who in events]
    result = handmade.real(handmade.station(2), handmade.constant(inflow_m3s), DAY_S, tuple(happen))
    assert why in told(result, "It spilled")


def test_one_pump_that_runs_on_while_another_takes_the_starts_is_told():
    # staged stop: the lag stops above the lead, so it starts and stops while the lead runs on
    levels = StagingSettings(
        lead_start_m=1.5, lag_start_m=1.8, lag_stop_m=1.6, stop_m=0.7,
        stop_policy="last on, first off",
    )  # fmt: skip
    station = dataclasses.replace(
        handmade.station(2), control=ControlPlan("staging", levels, "each cycle", None)
    )
    result = handmade.real(station, handmade.constant(0.045), DAY_S)
    totals = result.pump_totals.set_index("pump")["starts"]
    assert totals["P1"] == 1
    assert totals["P2"] > 50
    assert told(result, "Alternation").startswith(
        "Alternation stopped from Wed 00:02 to the end (23 h 58 min): P1 led on, for the water did"
        " not come down to its stop level, and no swap is made before that; meanwhile P2 made"
        f" {totals['P2']} starts. Worth a try: "
    )
    shared = handmade.real(station, handmade.constant(0.012), DAY_S)
    assert not any("Alternation" in s for s in shared.sentences())


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ("above floor", "at 1.50 m, 1.40 m below the spill"),
        ("elevation", "at elevation 98.40 m, 1.40 m below the spill"),
        ("below cover", "at 3.90 m below the cover, 1.40 m below the spill"),
    ],
)
def test_levels_are_said_as_the_people_of_the_station_count_them(shown, said):
    station = dataclasses.replace(
        handmade.station(2), levels_shown=shown, floor_elevation_m=96.9, cover_m=5.4
    )
    result = handmade.March(station, handmade.constant(0.01), DAY_S).result()
    assert said in told(result, "highest")
    assert "level at lead start 1.50 m" in set(result.pump_runs["started_by"])


def test_a_level_above_the_cover_and_other_units_are_said():
    station = dataclasses.replace(handmade.station(2), levels_shown="below cover", cover_m=2.0)
    assert level_text(station, 2.3, "si") == "0.30 m above the cover"
    assert level_text(station, 1.0, "us") == "3.28 ft below the cover"


def test_time_to_spill_at_the_worst_moment_is_the_one_of_the_summary():
    result = RUNS["a month"]()
    minutes = round(result.value("least time to spill") / 60.0)
    assert any(f"it would have spilled after {minutes} min." in s for s in result.sentences())


def test_moments_of_a_long_run_carry_the_date_and_round_over_midnight():
    long, short = RUNS["a month"](), week()
    assert moment(short, 0.0) == "Wed 00:00"
    assert moment(short, DAY_S - 10.0) == "Thu 00:00"
    assert moment(long, 8.0 * DAY_S + 3700.0) == "Thu 11 Mar 01:02"


def test_a_start_is_singular():
    result = handmade.March(handmade.station(1), handmade.constant(0.02), 1000.0).result()
    assert result.pump_totals["starts"].tolist() == [1]
    assert any("1 start, at most 1 in any hour, " in s for s in result.sentences())


def test_small_words():
    assert (times(1), times(2), times(3)) == ("once", "twice", "3 times")
    assert listed(["P1"]) == "P1"
    assert listed(["P1", "P2"]) == "P1 and P2"
    assert isinstance(week().station.engine_pump, EnginePump)

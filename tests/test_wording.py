from __future__ import annotations

import dataclasses
import re

import handmade
import pytest

from stationsim.equipment.engine_pump import EnginePump
from stationsim.results import Result
from stationsim.trace import EventRow
from stationsim.wording import listed, moment, times

HOUR_S, DAY_S = 3600.0, 86_400.0


def week(*, engine: bool = True, hours: float = 4.0) -> Result:
    return handmade.March(
        handmade.station(3, 0.020, engine=engine),
        handmade.daily(7, 0.010),
        7.0 * DAY_S,
        outages=((7.0 * HOUR_S + 600.0, 7.0 * HOUR_S + 600.0 + hours * HOUR_S),),
    ).result()


RUNS = {
    "week with engine": week,
    "week that spills": lambda: week(engine=False),
    "one pump, no spill point": lambda: handmade.March(
        handmade.station(1, spill_m=None, high_alarm_m=None), handmade.constant(0.01), DAY_S
    ).result(),
    "nothing arrives": lambda: handmade.March(
        handmade.station(2), handmade.constant(0.0), DAY_S
    ).result(),
    "a month": lambda: handmade.March(
        handmade.station(2), handmade.daily(31, 0.008), 31.0 * DAY_S
    ).result(),
}


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("name", RUNS)
def test_three_to_six_whole_sentences_in_the_units_asked_for(name, system):
    told = RUNS[name]().sentences(system)
    assert 3 <= len(told) <= 6
    for sentence in told:
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert not re.search(r"\bnan\b|\binf\b|None|  |-0\b", sentence), sentence
    text = " ".join(told)
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
        " for one pump."
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
    assert any("the engine-driven pump E1 did not run." in s for s in result.sentences())


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


def test_trips_and_leaks_are_told_with_machine_time_and_cause():
    result = week()
    result.trace.events += [
        EventRow(2.0 * HOUR_S, "P2", "trip", "high temperature", "", 1.0),
        EventRow(50.0 * HOUR_S, "P2", "trip", "high temperature", "", 1.0),
        EventRow(60.0 * HOUR_S, "P3", "seal leak", "probe in the seal chamber", "", 1.0),
    ]
    assert (
        "P2 tripped twice, first at Wed 02:00 (high temperature) and P3 showed a seal leak at"
        " Fri 12:00." in result.sentences()
    )


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
    assert any("1 start, at most 1 in any hour." in s for s in result.sentences())


def test_small_words():
    assert (times(1), times(2), times(3)) == ("once", "twice", "3 times")
    assert listed(["P1"]) == "P1"
    assert listed(["P1", "P2"]) == "P1 and P2"
    assert isinstance(week().station.engine_pump, EnginePump)

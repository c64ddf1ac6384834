"""``rehearse --plan``: the response against the clock, by hand sums, closed forms and by runs.

Minutes to the spill of the reference station and what has spilled after 58 and 78 min are an own
computation, done twice (closed form, and explicit steps of one second); the minutes of the chain
are from memory. 'Hand sum' means added up here from the minutes of the chain.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from plan_chain import (
    CONNECT,
    HIGH_MIN,
    LOW_MIN,
    MIN,
    TYPICAL_MIN,
    chain,
    minutes,
    operator,
    rich_response,
    rich_station,
    station,
    week,
)

from stationsim.chance import Range
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.errors import InputError
from stationsim.people.response import ClockSpan, Task, Tool
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.studies.rehearse.plan import PlanAsked, rehearse_plan, text
from stationsim.studies.rehearse.plan import rows as plan_rows
from stationsim.studies.rehearse.plan.rows import WHOLE, Found
from stationsim.testing import MONDAY, reference_inflow

WEEKDAY = replace(reference_inflow(), weekend_m3s=reference_inflow().weekday_m3s)
MOBILE = "mobile generator"


def find(
    response: object = None, stands: Station | None = None, asked: PlanAsked | None = None
) -> Found:
    answers = chain() if response is None else response
    episode = week(answers)  # type: ignore[arg-type]
    return plan_rows.find(
        "reference", stands or station(), episode, asked or PlanAsked(same_day=True)
    )


@pytest.fixture(scope="module")
def found() -> Found:
    return find()


def at(hour: int) -> tuple[str, str, int]:
    return ("Wed", "dry", hour)


# ---------------------------------------------------------------------------- the chain


@pytest.mark.parametrize(
    ("pace", "takes_min"), [("low", LOW_MIN), ("typical", TYPICAL_MIN), ("high", HIGH_MIN)]
)
def test_the_first_water_comes_after_the_hand_sum_of_the_chain(
    found: Found, pace: str, takes_min: float
) -> None:
    for hour in range(24):
        row = found.row(at(hour), MOBILE, pace)  # type: ignore[arg-type]
        assert row.flow_s == pytest.approx(takes_min * MIN, abs=1e-9)
        assert row.margin_s == pytest.approx(row.nobody_spill_s - takes_min * MIN, abs=1e-9)


def test_the_typical_chain_loses_at_seven_and_wins_at_three(found: Found) -> None:
    """Own computation, six digits: spill after 38.6856 min at 07:00; 38.6298 m3 by 78 min."""
    seven, three = (found.row(at(hour), MOBILE, "typical") for hour in (7, 3))
    assert seven.nobody_spill_s / MIN == pytest.approx(38.6856, rel=2e-6)
    assert seven.spilled_m3 == pytest.approx(38.6298, rel=2e-6)
    assert seven.verdict == "too late"
    assert round(three.margin_s / MIN) == 58
    assert (three.spilled_m3, three.verdict) == (0.0, "saves")


def test_the_fastest_chain_just_avoids_it_and_the_slowest_never_does_by_day(found: Found) -> None:
    fast, slow = found.row(at(7), MOBILE, "low"), found.row(at(7), MOBILE, "high")
    assert (fast.verdict, fast.spilled_m3) == ("saves", 0.0)
    assert 0.0 < fast.margin_s < 15.0
    assert slow.spilled_m3 == pytest.approx(161.0, abs=0.05)  # own computation, to the m3: 161


def test_a_plan_of_one_source_is_that_source(found: Found) -> None:
    for row in found.sources:
        if row.source == WHOLE:
            same = found.row((row.day, row.weather, row.hour), MOBILE, row.pace)
            assert row[6:] == same[6:]


def test_what_58_minutes_cost() -> None:
    """Own computation: 19.2338 m3 have spilled at 07:00 after 58 min."""
    response = chain(tasks=(replace(CONNECT, takes=Range.point(0.0), starts=Range.point(0.0)),))
    row = find(response).row(at(7), MOBILE, "typical")
    assert row.flow_s == pytest.approx(58 * MIN)
    assert row.spilled_m3 == pytest.approx(19.2338, rel=2e-6)


# ---------------------------------------------------------------------------- a plan is a run


@pytest.mark.parametrize("hour", [3, 7, 17])
def test_a_plan_with_points_equals_a_run_with_the_same_events(found: Found, hour: int) -> None:
    """The run knows no people: grid loss and connection are scripted at the hand sum."""
    start = MONDAY + timedelta(days=2, hours=hour)
    scripted = Episode(
        start,
        8 * 3600.0,
        (WEEKDAY,),
        1.5,
        events=(
            ScriptedEvent(0.0, "grid loss", "grid", 9 * 3600.0),
            ScriptedEvent(TYPICAL_MIN * MIN, "mobile generator connected", MOBILE),
        ),
    )
    run = simulate(station(), scripted)
    row = found.row(at(hour), MOBILE, "typical")
    assert row.flow_s == run.pump_runs["start_s"].min()
    assert row.spilled_m3 == pytest.approx(run.trace.spilled_m3, abs=1e-9)
    assert row.greatest_level_m == pytest.approx(run.trace.greatest_level_m, abs=1e-12)
    left = next(r for r in found.left_out if r[:3] == at(hour) and "15 min" in r.left_out)
    later = replace(
        scripted,
        events=(scripted.events[0], replace(scripted.events[1], at_s=(TYPICAL_MIN + 15) * MIN)),
    )
    late = simulate(station(), later)
    assert left.spilled_m3 == pytest.approx(late.trace.spilled_m3, abs=1e-9)
    starts = [row.start_s for row in late.trace.spills] or [math.inf]
    assert left.spill_s == pytest.approx(starts[0], abs=1e-9) or math.isinf(starts[0])


@pytest.mark.parametrize("late_min", [15, 30, 60])
def test_a_late_crew_costs_what_arrives_from_the_spill_on(found: Found, late_min: int) -> None:
    """Independent: the trapezium rule over the hourly flows, from the spill to the first water."""
    hour = 7
    row = next(
        r for r in found.left_out if r[:3] == at(hour) and r.left_out == f"crew {late_min} min late"
    )
    spill_h = hour + found.row(at(hour), WHOLE, "typical").nobody_spill_s / 3600.0
    flow_h = hour + (TYPICAL_MIN + late_min) / 60.0
    clock = np.linspace(spill_h, flow_h, 200_001)
    flows = np.interp(clock, np.arange(25), [*WEEKDAY.weekday_m3s, WEEKDAY.weekday_m3s[0]])
    assert row.spilled_m3 == pytest.approx(float(np.trapezoid(flows, clock)) * 3600.0, rel=1e-7)
    assert row.flow_s == pytest.approx((TYPICAL_MIN + late_min) * MIN)


def test_a_step_left_out_is_the_run_without_it(found: Found) -> None:
    for hour in (3, 7):
        row = next(
            r for r in found.left_out if r[:3] == at(hour) and r.left_out.startswith("without 'con")
        )
        alone = Episode(
            MONDAY + timedelta(days=2, hours=hour),
            8 * 3600.0,
            (WEEKDAY,),
            1.5,
            events=(ScriptedEvent(0.0, "grid loss", "grid", 9 * 3600.0),),
        )
        nobody = simulate(station(), alone)
        assert math.isinf(row.flow_s)
        assert row.spilled_m3 == pytest.approx(nobody.trace.spilled_m3, abs=1e-9)
        assert row.spill_s == pytest.approx(nobody.trace.spills[0].start_s, abs=1e-9)


def test_a_generator_that_trips_at_the_first_start_is_none(found: Found) -> None:
    rows = {r.left_out: r for r in found.left_out if r[:3] == at(7)}
    tripped, none = (
        rows["mobile generator trips on the first start"],
        rows["without 'connect mobile generator'"],
    )
    # in the half second until it trips two pumps draw 0.021 m3
    assert tripped.spilled_m3 == pytest.approx(none.spilled_m3 - 0.021, abs=1e-9)
    assert math.isinf(tripped.flow_s)  # pumps that drop out at once count as none


def test_whoever_stands_beside_it_resets_a_set_that_tripped() -> None:
    """Hand sum: 78 min, it trips half a second later, and 5 min for the reset: 83 min."""
    response = chain(tasks=(CONNECT, Task("reset", Range.point(5 * MIN))))
    rows = {r.left_out: r for r in find(response).left_out if r[:3] == at(7)}
    row = rows["mobile generator trips on the first start"]
    assert row.flow_s == pytest.approx(83 * MIN + 0.5)
    assert 0.0 < row.more_m3 < 6.0  # 5 min of 16 L/s, or a little less


def test_without_telemetry_somebody_drives_to_the_yard_first(found: Found) -> None:
    """Hand sum: 3 + 5 + 10 + 25, finds it dark, 25 to the yard + 15 + 25 back, 20: 128 min.

    'Telemetry lost' calls out, and the set is brought for 'power failed' only.
    """
    row = next(r for r in found.left_out if r[:3] == at(7) and "telemetry" in r.left_out)
    assert row.flow_s == pytest.approx(128 * MIN)


def test_nobody_answers_and_the_next_one_is_called() -> None:
    """Hand sum: 3 min to the phone, 15 until the next one is called, then 75 as usual: 93."""
    response = chain(
        people=(operator("first"), operator("second")),
        call_list=("first", "second"),
        next_after_s=15 * MIN,
    )
    row = next(r for r in find(response).left_out if "does not answer" in r.left_out)
    assert row.left_out == "first does not answer"
    assert row.flow_s == pytest.approx(93 * MIN)


# ---------------------------------------------------------------------------- steps and rules


def test_each_step_is_varied_by_itself(found: Found) -> None:
    rows = [row for row in found.steps if row[:3] == at(7)]
    assert sum(row.low_s for row in rows) == pytest.approx(LOW_MIN * MIN)
    assert sum(row.typical_s for row in rows) == pytest.approx(TYPICAL_MIN * MIN)
    assert sum(row.high_s for row in rows) == pytest.approx(HIGH_MIN * MIN)
    for row in rows:  # in a chain without waits each minute of a step is a minute of the whole
        assert row.margin_low_s - row.margin_s == pytest.approx(row.typical_s - row.low_s)
        assert row.margin_s - row.margin_high_s == pytest.approx(row.high_s - row.typical_s)


def test_steps_take_their_times_by_night_where_they_begin_at_night() -> None:
    """Night until 06:00. Hand sum at 05:00: phone at 05:03, ready 05:08 to 05:28, the set until
    05:43, the way from then: all at night. The parts add up to the whole at any hour.
    """
    person = operator(night_gets_ready=minutes(10, 20, 40), night_travels=minutes(20, 50, 180))
    response = chain(people=(person,), night=ClockSpan(22 * 3600.0, 6 * 3600.0))
    found = find(response)
    rows = {row.step: row for row in found.steps if row[:3] == at(5)}
    assert rows["gets ready"].typical_s == 20 * MIN
    assert rows["travels"].typical_s == 50 * MIN
    for hour in (3, 5, 6, 23):
        steps = [row for row in found.steps if row[:3] == at(hour)]
        flow_s = found.row(at(hour), MOBILE, "typical").flow_s
        assert sum(row.typical_s for row in steps) == pytest.approx(flow_s)
    by_day = {row.step: row for row in found.steps if row[:3] == at(7)}
    assert by_day["gets ready"].typical_s == 10 * MIN


def test_what_no_step_says_has_a_row_of_its_own() -> None:
    """Hand sums: 15 min until the next one is called; 25 to the yard, and 25 back, for a set that
    no alarm asks for.
    """
    people = (operator("first", answers=False), operator("second"))
    unheard = chain(people=people, call_list=("first", "second"), next_after_s=15 * MIN)
    forgotten = chain(tasks=(replace(CONNECT, brought_for=()),))
    for response, rest_min in ((unheard, 15.0), (forgotten, 50.0)):
        found = find(response)
        steps = [row for row in found.steps if row[:3] == at(7)]
        assert steps[-1].step == "alarm delay, other waits and ways"
        assert steps[-1].typical_s == pytest.approx(rest_min * MIN)
        flow_s = found.row(at(7), MOBILE, "typical").flow_s
        assert sum(row.typical_s for row in steps) == pytest.approx(flow_s)


def test_who_is_called_to_help_has_rows_of_their_own() -> None:
    """The second is called at 8 min, ready at 23, on site at 83: the first one waits from 58 on."""
    helper = operator("second", travels=minutes(50, 60, 70))
    response = chain(
        people=(operator("first"), helper),
        call_list=("first", "second"),
        tasks=(replace(CONNECT, people=2),),
    )
    found = find(response)
    assert found.row(at(7), MOBILE, "typical").flow_s == pytest.approx((83 + 20) * MIN)
    rows = {(r.step, r.who): r for r in found.steps if r[:3] == at(7)}
    second = rows["travels", "second"]
    assert second.margin_low_s - second.margin_s == pytest.approx(10 * MIN)
    assert rows["travels", "first"].margin_low_s == pytest.approx(rows["travels", "first"].margin_s)
    late = {r.left_out: r.flow_s for r in found.left_out if r[:3] == at(7)}
    for minutes_late in (15, 30, 60):  # the tree lies on the road of each
        told = f"crew {minutes_late} min late"
        assert late[told] == pytest.approx((83 + 20 + minutes_late) * MIN)


def test_a_delivery_and_the_way_run_beside_each_other() -> None:
    """Ordered when acknowledged (8 min), the set is there at 68; the crew, at 18 + 25, waits."""
    response = chain(
        tools=(Tool(MOBILE, delivered=minutes(40, 60, 120)),),
        tasks=(CONNECT,),
    )
    found = find(response)
    row = found.row(at(7), MOBILE, "typical")
    assert row.flow_s == pytest.approx((8 + 60 + 20) * MIN)
    way = next(r for r in found.steps if r[:3] == at(7) and r.step == "travels")
    assert way.margin_low_s == pytest.approx(way.margin_s)  # arriving early gains nothing
    assert way.margin_s - way.margin_high_s == pytest.approx((18 + 90 - (8 + 60)) * MIN)


def test_allowable_time_worst_and_by_24_values(found: Found) -> None:
    """9VAC25-790-390 A.2: from the high-level alarm at the hour to the spill; 33 min at 07:00.

    Own computation (steps of one second, whole minutes): 33 min at 07:00 is the least of the day.
    """
    typical = [row for row in found.allowed if row.pace == "typical"]
    assert len(typical) == 24
    worst = min(typical, key=lambda row: row.allowed_s)
    assert (worst.hour, round(worst.allowed_s / MIN)) == (7, 33)
    for row in typical:
        assert row.response_s == pytest.approx(TYPICAL_MIN * MIN)
        assert row.in_time == (row.allowed_s >= TYPICAL_MIN * MIN)
    result = rehearse_plan(station(), week(chain()), PlanAsked(same_day=True))
    findings = {finding.place: finding for finding in result.findings}
    by_24 = findings["allowable time, 24 values, typical response"]
    missed = sum(row.allowed_s < TYPICAL_MIN * MIN for row in typical)
    assert 0 < missed < 24
    assert by_24.verdict == "fail"
    assert by_24.value == f"too long, or not enough, at {missed} of 24 hours"
    assert findings["allowable time, worst value, typical response"].verdict == "fail"
    assert "9VAC25-790-390" in by_24.source


def test_what_comes_in_time_and_is_not_enough_does_not_pass() -> None:
    """A tanker alone, on site at once: its first load is in time, and the station spills all day.

    10 m3 in 8 min, then away for 40: 3.5 L/s on the mean; between 9 and 17 L/s arrive by day.
    """
    tanker = Tool(
        "tanker", holds_m3=10.0, round_trip=Range.point(40 * MIN), delivered=minutes(1, 1, 1)
    )
    haul = Task(
        "haul", Range.point(8 * MIN), people=0, tool="tanker", brought_for=("power failed",)
    )
    quick = operator(acknowledges=Range.point(60.0), gets_ready=Range.point(0.0))
    response = chain(people=(quick,), tools=(tanker,), tasks=(haul,), on_phone=Range.point(60.0))
    result = rehearse_plan(station(), week(response), PlanAsked(same_day=True))
    rows = result.tables["plan_allowed"]
    day = rows[(rows["pace"] == "typical") & (rows["hour"] == 12)].iloc[0]
    assert day["margin_s"] > 0.0
    assert day["spilled_m3"] > 10.0
    assert not day["in_time"]
    assert {one.verdict for one in result.findings} == {"fail"}
    told = " ".join(result.sentences())
    assert "is shorter, but what comes then is not enough" in told
    assert set(result.tables["plan_steps"]["step"]) >= {"tanker comes", "haul"}
    assert "travels" not in set(result.tables["plan_steps"]["step"])  # the tanker waits for nobody


def test_a_set_of_unknown_strength_is_said_to_be_taken_as_strong(found: Found) -> None:
    assert "No limit in kVA is given for the mobile generator" in " ".join(
        text.sentences(found, "si")
    )
    known = station(standby_power=StandbyPower(mobile=GeneratorSet(start_va=80e3)))
    assert "No limit" not in " ".join(text.sentences(find(stands=known), "si"))


def test_other_hours_are_not_told_of_where_the_plan_saves_the_hour_that_is_shown() -> None:
    shown = find(asked=PlanAsked(same_day=True, hour=3))
    assert "it is the hour that decides" not in " ".join(text.sentences(shown, "si"))


def test_a_quick_response_passes_both_ways() -> None:
    quick = chain(
        people=(operator(gets_ready=Range.point(0.0), travels=Range.point(60.0)),),
        tools=(Tool(MOBILE),),
        tasks=(replace(CONNECT, takes=Range.point(300.0), starts=Range.point(60.0)),),
        picked_up=Range.point(0.0),
        on_phone=Range.point(30.0),
    )
    quick = replace(quick, people=(replace(quick.people[0], acknowledges=minutes(1, 2, 3)),))
    result = rehearse_plan(station(), week(quick), PlanAsked(same_day=True))
    assert [finding.verdict for finding in result.findings] == ["pass"] * 4


# ---------------------------------------------------------------------------- other sources


@pytest.fixture(scope="module")
def rich() -> Found:
    return find(rich_response(), rich_station())


@pytest.mark.slow  # its stations run for ten seconds
def test_an_engine_and_a_generator_by_their_cranks(rich: Found) -> None:
    """Hand sums: E1 5+10+15+60 = 90 s, by its third crank 2 x (10+20) more; generator 2+5+8+3."""
    for hour in (3, 7):
        for pace, engine_s, generator_s in (
            ("low", 90.0, 18.0),
            ("typical", 90.0, 18.0),
            ("high", 150.0, 33.0),
        ):
            engine = rich.row(at(hour), "engine-driven pump", pace)  # type: ignore[arg-type]
            generator = rich.row(at(hour), "generator", pace)  # type: ignore[arg-type]
            assert engine.flow_s == pytest.approx(engine_s, abs=1e-6)
            assert generator.flow_s == pytest.approx(generator_s, abs=1e-6)
    assert rich.row(at(7), "generator", "high").verdict == "saves"


@pytest.mark.slow  # its stations run for ten seconds
def test_bypass_pump_and_tanker_by_hand_sum(rich: Found) -> None:
    """Ordered when acknowledged (8 min): bypass there at 98, connected at 128; tanker at 53."""
    assert rich.row(at(7), "bypass pump", "typical").flow_s == pytest.approx(128 * MIN, abs=1.0)
    tanker = rich.row(at(7), "tanker", "typical")
    assert tanker.flow_s == pytest.approx(53 * MIN)
    assert tanker.verdict == "too late"
    early = [r for r in rich.sources if r.source == "tanker" and r.margin_s > 0 and r.pace == "low"]
    assert early
    assert {r.verdict for r in early} <= {"saves", "not enough"}


@pytest.mark.slow  # its stations run for ten seconds
def test_with_the_generator_nothing_else_is_missed_at_seven(rich: Found) -> None:
    rows = {r.left_out: r for r in rich.left_out if r[:3] == at(7)}
    assert rows["without 'connect mobile generator'"].more_m3 == pytest.approx(0.0, abs=1e-9)
    # the engine-driven pump is the first that draws water then, after 90 s
    assert rows["generator trips on the first start"].flow_s == pytest.approx(90.0, abs=1e-6)
    assert {"E1 fails to start", "generator fails to start", "without generator"} <= set(rows)


def test_sentences_tell_the_chain(found: Found) -> None:
    told = " ".join(text.sentences(found, "si"))
    assert "comes 39 min too late: 38.6 m3 spill; the fastest (38.5 min) just avoids it" in told
    assert "9VAC25-790-390" in told
    assert "33 min (Wed 07:00)" in told
    in_us = " ".join(text.sentences(found, "us"))
    assert "10,205 gal" in in_us  # 38.6298 m3 / 3.785411784e-3


def test_lines_have_every_hour_and_every_step(found: Found) -> None:
    lines = "\n".join(text.lines(found, "si"))
    for hour in range(24):
        assert f"{hour:02d}:00" in lines
    assert "fetches mobile generator (operator)" in lines
    assert "+58 (+97 to -99)" in lines


# ---------------------------------------------------------------------------- refused


def test_without_people_there_is_no_plan() -> None:
    with pytest.raises(InputError, match=r"nobody is called.*\[call_out\]"):
        rehearse_plan(station(), week(None))


def test_without_a_source_there_is_no_plan() -> None:
    with pytest.raises(InputError, match="nothing that pumps without the grid"):
        rehearse_plan(station(standby_power=None), week(chain(tasks=())))


def test_a_station_that_cannot_spill_is_refused() -> None:
    with pytest.raises(InputError, match="no level of spill"):
        rehearse_plan(station(spillway=None), week(chain()))


def test_with_no_high_level_alarm_no_allowable_time_is_told() -> None:
    stands = station()
    stands = replace(stands, alarms=replace(stands.alarms, high_level_m=None))
    result = rehearse_plan(stands, week(chain()), PlanAsked(same_day=True))
    assert result.findings == ()
    assert len(result.tables["plan_allowed"]) == 0
    assert "9VAC25" not in " ".join(result.sentences())

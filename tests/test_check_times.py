"""Criteria of time and growth: against the reference station and closed forms of our own."""

from __future__ import annotations

import dataclasses
import math
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from rated_stations import DAY_S, case_of, fitness_of, named, only
from scipy.optimize import brentq

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.equipment.ratings import DesignFlows, MotorPlate
from stationsim.inflow.series import Recorded
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.station import AlarmSettings
from stationsim.studies.check.criterion import Case
from stationsim.studies.check.fitness import check
from stationsim.studies.check.growth import growth_of
from stationsim.studies.check.steady import rates_of
from stationsim.studies.check.times import alarm_to_spill, filling, hours_of
from stationsim.studies.rehearse.hours import HoursAsked, rehearse
from stationsim.testing import (
    REFERENCE_WEEKDAY,
    duplex,
    episode,
    reference_inflow,
    reference_station,
    triplex,
)

WEEK = episode(7 * DAY_S, reference_inflow())
SWING_M3 = math.pi * 9.0 / 4.0 * 0.8
"""From stop to lead start of the reference station: 5.655 m3."""
ALARM_TO_SPILL_M3 = math.pi * 9.0 / 4.0 * 1.9 + 20.0
"""From its high-level alarm to the spill: 33.430 m3."""


def reference(**ratings: object) -> Case:
    return case_of(reference_station(), WEEK, **ratings)


# ---------------------------------------------------------------- filling


def test_fill_and_detention_are_volume_over_the_average() -> None:
    case = reference(design=DesignFlows(average_m3s=0.010, least_m3s=0.0035))
    fill, detention = (only(filling(case), name) for name in ("fill time", "detention in the well"))
    assert fill.value == detention.value == pytest.approx(SWING_M3 / 0.010, rel=1e-12)  # 565 s
    assert (fill.limit, detention.limit) == (1800.0, 600.0)
    assert (fill.verdict, detention.verdict) == ("pass", "pass")
    assert fill.reason == (
        "5.65 m3 from stop to lead start at the average of the design, 10.0 L/s; 26.9 min at the"
        " least flow, 47.1 min at a fifth of the average"
    )


@pytest.mark.parametrize(
    ("average", "fill", "detention"),
    [(SWING_M3 / 600.0, "pass", "pass"), (0.0094, "pass", "fail"), (0.003, "fail", "fail")],
)
def test_fill_and_detention_at_and_beyond_their_limits(
    average: float, fill: str, detention: str
) -> None:
    case = reference(design=DesignFlows(average_m3s=average))
    assert only(filling(case), "fill time").verdict == fill
    assert only(filling(case), "detention in the well").verdict == detention


def test_age_in_the_main_is_its_volume_over_the_average_and_not_the_slip_of_a_print() -> None:
    # a rising main of 0.225 m and 2.54 m3 at 28.4 L/s keeps sewage for 89.4 s (a worked example
    # printed 8.96 s, with ten times the flow); common practice, no source, for the limit
    area = math.pi * 0.225**2 / 4.0
    station = reference_station(force_main=ForceMain((Pipe(2.54 / area, 0.225),), 9.0))
    case = case_of(station, WEEK, design=DesignFlows(average_m3s=0.0284))
    one = only(filling(case), "age in the main")
    assert one.value == pytest.approx(89.4, abs=0.05)
    for limit, verdict in ((2.54 / 0.0284, "pass"), (89.0, "fail")):
        limited = case_of(
            station,
            WEEK,
            design=DesignFlows(average_m3s=0.0284),
            limits={"longest_in_main_s": limit},
        )
        found = only(filling(limited), "age in the main")
        assert (found.verdict, found.source) == (verdict, "limits.longest_in_main of the scenario")


def test_filling_without_inflow_or_levels_or_main_is_not_judged() -> None:
    still = case_of(duplex(), episode(DAY_S, 0.0))
    assert [one.reason for one in filling(still)] == [
        "not judged: needs an inflow, or design.average_flow",
        "not judged: needs an inflow, or design.average_flow",
        "not judged: needs [force_main]",
    ]
    plan = ControlPlan("plug_ins:Misbehaving", NoSettings(), "fixed", NoSettings())
    bare = case_of(duplex(control=plan))
    assert {one.verdict for one in filling(bare)} == {"not judged"}
    # no least flow: it stays in the well for ever, and that is only told
    least = case_of(reference_station(), WEEK, design=DesignFlows(average_m3s=0.01, least_m3s=0.0))
    assert "never at the least flow" in only(filling(least), "fill time").reason


# ---------------------------------------------------------------- alarm to spill


def _brought(from_s: float, to_s: float) -> float:
    """What arrives of the reference weekday, by integrating its hourly values [m3]."""
    hours = np.arange(0.0, 49.0)
    flows = 0.010 * np.array([*REFERENCE_WEEKDAY, *REFERENCE_WEEKDAY, REFERENCE_WEEKDAY[0]])
    inner = hours[(hours * 3600.0 > from_s) & (hours * 3600.0 < to_s)] * 3600.0
    times = np.array([from_s, *inner, to_s])
    return float(np.trapezoid(np.interp(times, hours * 3600.0, flows), times))


def test_allowable_time_of_each_hour_is_when_the_inflow_has_filled_the_storage() -> None:
    hours = hours_of(reference())
    assert hours is not None
    wednesday = [row for row in hours.hours if row.day == "Wed"]
    assert len(wednesday) == 24
    for row in wednesday:
        begins = row.hour * 3600.0

        def left(after: float, begins: float = begins) -> float:
            return _brought(begins, begins + after) - ALARM_TO_SPILL_M3

        assert row.from_alarm_s == pytest.approx(brentq(left, 1.0, DAY_S), rel=1e-9)
    # the reference station: alarm to spill shortest at 07:00 on a weekday, 33 min
    worst = min(hours.hours, key=lambda row: row.from_alarm_s)
    assert (worst.day, worst.hour, round(worst.from_alarm_s / 60.0)) == ("Wed", 7, 33)


def test_table_of_allowable_times_is_the_column_of_rehearse() -> None:
    station = reference_station()
    table = check("ref", station, WEEK).tables["allowable_time"]
    hours = rehearse([("ref", station, WEEK)], HoursAsked()).tables["hours"]
    assert table["from_alarm_s"].tolist() == hours["from_alarm_s"].tolist()
    assert table["inflow_m3s"].tolist() == hours["inflow_m3s"].tolist()
    assert (len(table), set(table["station"])) == (48, {"ref"})


@pytest.mark.parametrize(("response", "verdict"), [(1800.0, "pass"), (2040.0, "fail")])
def test_response_is_shorter_than_the_worst_allowable_time(response: float, verdict: str) -> None:
    case = reference(design=DesignFlows(response_s=response))
    hours = hours_of(case)
    one = only(alarm_to_spill(case, hours), "time from alarm to spill")
    assert (one.verdict, one.limit) == (verdict, response)
    assert one.reason == "worst hour Wed 07:00 (dry), 17.0 L/s arriving, nothing pumped"
    exact = reference(design=DesignFlows(response_s=one.value))
    assert only(alarm_to_spill(exact, hours), "time from alarm to spill").verdict == "pass"
    # own closed form: 33.430 m3 at 20 L/s, the design peak, are 27.9 min
    peak = reference(design=DesignFlows(response_s=response, peak_m3s=0.020))
    at_peak = only(alarm_to_spill(peak, hours), "alarm to spill at peak")
    assert at_peak.value == pytest.approx(ALARM_TO_SPILL_M3 / 0.020, rel=1e-12)
    assert at_peak.verdict == "fail"


@pytest.mark.parametrize(("outage", "verdict"), [(2300.0, "pass"), (2340.0, "fail")])
def test_storage_for_an_outage_counts_from_the_lead_start(outage: float, verdict: str) -> None:
    # the reference station: 38.6856 min from the lead start at 07:00 on a weekday
    case = reference(design=DesignFlows(outage_s=outage))
    one = only(alarm_to_spill(case, hours_of(case)), "storage for the outage")
    assert one.value == pytest.approx(38.6856 * 60.0, rel=1e-5)
    assert (one.verdict, one.limit) == (verdict, outage)
    exact = reference(design=DesignFlows(outage_s=one.value))
    assert only(alarm_to_spill(exact, hours_of(exact)), "storage for the outage").verdict == "pass"


def test_times_that_lack_something_are_not_judged_and_say_what() -> None:
    def reasons(case: Case) -> list[str]:
        found = list(alarm_to_spill(case, hours_of(case)))
        assert {one.verdict for one in found} == {"not judged"}
        return [one.reason.removeprefix("not judged: needs ") for one in found]

    told, peak, outage = reasons(reference())
    assert told == (
        "design.response; it is 33 min, worst hour Wed 07:00 (dry), 17.0 L/s arriving, nothing"
        " pumped"
    )
    assert (peak, outage) == ("design.response", "design.outage")
    both = DesignFlows(response_s=600.0, outage_s=600.0)
    dry = case_of(reference_station(spillway=None), WEEK, design=both)
    assert reasons(dry) == ["[spill]"] * 3
    quiet = case_of(reference_station(alarms=AlarmSettings()), WEEK, design=both)
    found = list(alarm_to_spill(quiet, hours_of(quiet)))
    assert [one.reason for one in found[:2]] == ["not judged: needs alarms.high_level"] * 2
    assert found[2].verdict == "pass"  # storage needs no alarm
    plan = ControlPlan("plug_ins:Misbehaving", NoSettings(), "fixed", NoSettings())
    plug_in = case_of(reference_station(control=plan), WEEK, design=both)
    found = list(alarm_to_spill(plug_in, hours_of(plug_in)))
    assert [one.verdict for one in found] == ["pass", "pass", "not judged"]
    assert found[2].reason == "not judged: needs a lead start"


def test_nothing_arriving_gives_all_the_time_there_is() -> None:
    both = DesignFlows(response_s=600.0, outage_s=600.0)
    case = case_of(reference_station(), episode(7 * DAY_S, 0.0), design=both)
    found = list(alarm_to_spill(case, hours_of(case)))
    assert [(one.value, one.verdict) for one in found] == [(math.inf, "pass")] * 3
    assert found[0].finding("si").value == "never"


MONDAY = datetime(2027, 3, 1, tzinfo=timezone(timedelta(0)))


@pytest.mark.parametrize(
    ("begins", "hours", "day"),
    [
        (MONDAY, 30.0, "Mon"),  # no whole Wednesday: the first whole day
        (MONDAY + timedelta(hours=6), 48.0, "Tue"),
        (MONDAY + timedelta(hours=6), 20.0, None),  # no whole day at all
    ],
)
def test_a_record_too_short_for_a_whole_wednesday(
    begins: datetime, hours: float, day: str | None
) -> None:
    end = hours * 3600.0
    record = Recorded((0.0, end / 2.0, end), (0.010, 0.014, 0.010))
    when = dataclasses.replace(episode(end, 0.01), inflow=(record,), start=begins)
    case = case_of(reference_station(), when, design=DesignFlows(response_s=600.0, outage_s=600.0))
    found = hours_of(case)
    judged = list(alarm_to_spill(case, found))
    if day is None:
        assert found is None
        assert judged[0].reason == judged[2].reason == "not judged: needs a whole day of inflow"
        assert judged[1].verdict == "pass"  # volume over the peak needs no day
    else:
        assert found is not None
        assert {row.day for row in found.hours} == {day}
        assert [one.verdict for one in judged] == ["pass"] * 3


# ---------------------------------------------------------------- growth


def grown(**design: object) -> Case:
    given = {"peak_m3s": 0.050, "growth_per_year": 0.02, "year": 2027} | design
    station = triplex((0.03, 0.03, 0.03), force_main=ForceMain((Pipe(100.0, 0.2, "none"),), 9.0))
    return case_of(station, design=DesignFlows(**given))  # type: ignore[arg-type]


def test_growth_is_compounded_and_outgrows_the_firm_capacity_in_its_year() -> None:
    # own closed form: 50 x 1.02^n passes 60 L/s after ln 1.2 / ln 1.02 = 9.21 years: in 2037;
    # 76.6 L/s are 8 ft/s in 200 mm, after 21.5 years: in 2049
    case = grown()
    found = growth_of(case, rates_of(case))
    assert found is not None
    assert (found.firm, found.main) == (2037, 2049)
    assert [row.year for row in found.years] == list(range(2027, 2068))
    by_year = {row.year: row for row in found.years}
    assert by_year[2036].peak_m3s == pytest.approx(0.050 * 1.02**9, rel=1e-12)
    assert by_year[2036].peak_m3s < by_year[2036].firm_m3s < by_year[2037].peak_m3s
    assert by_year[2037].velocity_ms == pytest.approx(
        0.050 * 1.02**10 / (math.pi * 0.2**2 / 4.0), rel=1e-12
    )


def test_growth_stops_where_it_is_told_and_needs_a_year_and_a_rate() -> None:
    rates = rates_of(grown())
    until = growth_of(grown(until_year=2030), rates)
    assert until is not None
    assert ([row.year for row in until.years], until.firm) == ([2027, 2028, 2029, 2030], None)
    assert growth_of(grown(year=None), rates) is None
    assert growth_of(grown(growth_per_year=0.0), rates) is None
    assert growth_of(grown(until_year=2020), rates) is None


def test_growth_outgrows_the_starts_once_the_inflow_makes_them() -> None:
    # 3.0 m well, 30 L/s, fixed: 4.24 starts an hour at 10 L/s, 4.77 at 15; allowed 4.5
    station = dataclasses.replace(
        reference_station(), ratings=dataclasses.replace(reference_station().ratings)
    )
    design = DesignFlows(peak_m3s=0.0125, growth_per_year=0.02, year=2027, until_year=2060)
    control = dataclasses.replace(station.control, rotation="fixed")
    plates = {"P1": MotorPlate(most_starts_per_hour=4.7)}
    case = case_of(
        dataclasses.replace(station, control=control), WEEK, design=design, plates=plates
    )
    found = growth_of(case, rates_of(case))
    assert found is not None
    # tried in steps of 0.5 L/s from 12 to 15: 13.0 makes 4.69 an hour and 13.5 makes 4.73, which
    # 12.5 x 1.02^n reaches after 3.9 years
    assert found.starts == 2031
    row = next(row for row in found.years if row.year == 2037)
    assert row.starts_per_hour == pytest.approx(4.77465, rel=1e-5)
    assert row.most_starts_per_hour == 4.7


def test_growth_is_told_in_a_sentence() -> None:
    fitness = fitness_of(grown().station)
    assert fitness.growth is not None
    told = check("it", grown().station, grown().episode).sentences()
    assert (
        "At 2 % a year from 2027, outgrown first: the firm capacity in 2037 and the force main in"
        " 2049." in told
    )
    slow = grown(until_year=2030)
    assert (
        "At 2 % a year from 2027, nothing is outgrown by 2030, when the peak is 53.1 L/s."
        in check("it", slow.station, slow.episode).sentences()
    )
    assert named(fitness.judged, "firm capacity")[0].limit == 0.050

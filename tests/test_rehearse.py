"""``rehearse``: minutes to the alarm and to the spill, against closed forms and against runs.

The reference station is a worked example of this project (invented; its figures were computed
twice, by closed form and by explicit steps of one second; no printed source). 'Own closed form'
means solved by hand from dV/dt = inflow - pumped, without a printed source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower, TransferSwitch
from stationsim.errors import InputError
from stationsim.inflow.daily import Constant, Daily, Growth
from stationsim.inflow.rain import block
from stationsim.inflow.segments import InflowSource, total_inflow
from stationsim.inflow.series import Recorded
from stationsim.inflow.storm import Hydrograph
from stationsim.inflow.unit_hydrographs import RainDerived, Response
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, cylinder
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.studies.rehearse.days import day_flows, read_days, with_dark_upstream
from stationsim.studies.rehearse.hours import HoursAsked, StationHours, rehearse, station_hours
from stationsim.study_result import StudyResult
from stationsim.testing import (
    MONDAY,
    duplex,
    engine_pump,
    episode,
    reference_inflow,
    reference_station,
    tank,
)

WEEK_S = 7 * 86_400.0
MIN = 60.0


def week(*inflow: InflowSource) -> Episode:
    return Episode(MONDAY, WEEK_S, inflow, 1.0)


def table(station: Station, what: Episode, **asked: object) -> StationHours:
    return station_hours("it", station, what, HoursAsked(**asked))  # type: ignore[arg-type]


REFERENCE_WEEKDAY = """
00 19 165 145 -21 | 01 24 178 154 -8 | 02 27 164 137 13 | 03 26 136 109 37 | 04 21 101 80 61
05 13 69 56 45 | 06 8 48 40 19 | 07 6 39 33 -1 | 08 6 42 36 -5 | 09 7 49 43 -6
10 8 57 49 -4 | 11 9 59 51 0 | 12 9 61 52 -2 | 13 9 64 55 -3 | 14 9 67 58 -3
15 10 67 57 3 | 16 9 61 51 8 | 17 8 53 45 8 | 18 7 48 41 1 | 19 7 48 41 -3
20 7 53 45 -5 | 21 8 64 56 -12 | 22 11 79 68 -8 | 23 12 118 106 -31
"""
"""Hour, minutes to alarm, to spill, from alarm to spill, error of volume over flow [%]."""


def test_reference_station_gives_its_weekday_column_to_the_minute() -> None:
    # worked example of this project: brute-force steps of 1 s, the weekday repeated
    found = table(reference_station(), week(reference_inflow()), days=("wednesday",), same_day=True)
    rows = [row.split() for line in REFERENCE_WEEKDAY.split("\n") for row in line.split("|") if row]
    assert len(rows) == len(found.hours) == 24
    for (hour, alarm, spill, between, error), row in zip(rows, found.hours, strict=True):
        assert row.hour == int(hour)
        assert row.alarm_s / MIN == pytest.approx(int(alarm), abs=0.55)
        assert row.spill_s / MIN == pytest.approx(int(spill), abs=0.55)
        assert row.alarm_to_spill_s / MIN == pytest.approx(
            int(between), abs=1.05
        )  # of rounded ones
        assert 100 * row.hand_error == pytest.approx(int(error), abs=0.55)


@pytest.mark.parametrize(
    ("hour", "alarm", "spill"),
    [(4, 21.2173, 100.988), (7, 5.55154, 38.6856), (23, 12.2499, 117.864)],
)
def test_reference_station_gives_its_sharper_minutes(hour: int, alarm: float, spill: float) -> None:
    # the same worked example, recomputed in closed form to six figures
    row = table(reference_station(), week(reference_inflow()), same_day=True).hours[hour]
    assert row.alarm_s / MIN == pytest.approx(alarm, rel=5e-6)
    assert row.spill_s / MIN == pytest.approx(spill, rel=5e-6)


def test_reference_station_spills_what_it_should_if_nobody_comes() -> None:
    # the same worked example: 07:00 weekday, after 58 and 78 minutes
    found = table(
        reference_station(),
        week(reference_inflow()),
        same_day=True,
        days=("wednesday",),
        spilled_after_s=(58 * MIN,),
        response_s=78 * MIN,
    )
    spilled = {row.after_s / MIN: row.spilled_m3 for row in found.spilled if row.hour == 7}
    assert spilled == {58: pytest.approx(19.2338, rel=5e-6), 78: pytest.approx(38.6298, rel=3e-6)}
    assert min(row.from_alarm_s for row in found.hours) / MIN == pytest.approx(33.0, abs=0.5)


def upright(volume_m3: float) -> Station:
    """Return a tank in which a volume lies between the lead start and the spill, 1 m apart."""
    return replace(tank(area_m2=volume_m3), spillway=Spillway(3.0))


@pytest.mark.parametrize(("flow", "minutes"), [(0.020, 25.0), (0.040, 12.5)])
def test_constant_inflow_takes_volume_over_flow(flow: float, minutes: float) -> None:
    # own closed form t = V / q with V = 30 m3
    for row in table(upright(30.0), week(Constant(flow))).hours:
        assert row.spill_s / MIN == pytest.approx(minutes, rel=1e-12)
        assert row.hand_error == pytest.approx(0.0, abs=1e-12)


def test_linear_ramp_takes_the_root_of_its_quadratic() -> None:
    # own closed form t = (-q0 + sqrt(q0^2 + 2 a V)) / a: 30 m3, 10 L/s rising by 10 L/s each hour
    flows = [0.010 * (1 + hour) for hour in range(24)]
    row = table(upright(30.0), week(Daily(flows, flows)), days=("wednesday",)).hours[0]
    assert row.spill_s / MIN == pytest.approx(37.9796, rel=2e-6)


def test_sinusoid_takes_what_its_integral_says() -> None:
    # own closed form: V = q (t + A 24/(2 pi) (1 - cos(2 pi t/24))), q 20 L/s, A 0.6, V 30 m3
    times = np.arange(0.0, 4 * 86_400.0 + 60.0, 60.0)
    flows = 0.020 * (1.0 + 0.6 * np.sin(2 * np.pi * times / 86_400.0))
    what = Episode(MONDAY, 4 * 86_400.0, (Recorded(times, flows),), 1.0)
    row = table(upright(30.0), what, days=("monday",)).hours[0]
    # straight between points a minute apart: 1e-6 of the flow off
    assert row.spill_s / 3600.0 == pytest.approx(0.403868, rel=5e-6)


def test_hourly_values_give_the_worst_and_the_best_hour() -> None:
    # weekday pattern of an open data set, hourly steps, mean 20 L/s, 60 m3: own computation
    factors = (
        1.025, 0.974, 0.793, 0.628, 0.595, 0.644, 0.621, 0.625, 0.658, 1.012, 1.435, 1.577,
        1.337, 1.238, 1.129, 1.076, 0.973, 0.940, 1.043, 1.043, 1.152, 1.150, 1.160, 1.173,
    )  # fmt: skip
    flows = [0.020 * factor for factor in factors]
    found = table(upright(60.0), week(Daily(flows, flows, steps=True)), days=("wednesday",))
    by_hour = sorted(found.hours, key=lambda row: row.spill_s)
    assert (by_hour[0].hour, by_hour[-1].hour) == (11, 4)
    assert by_hour[0].spill_s / MIN == pytest.approx(31.7058, rel=2e-6)
    assert by_hour[-1].spill_s / MIN == pytest.approx(82.2050, rel=2e-6)


def test_a_round_well_with_freeboard_takes_its_volume_over_the_flow() -> None:
    # own closed form: pi/4 9 m2 x 2.5 m = 17.6715 m3; 14.726 min at 20 L/s
    station = replace(
        tank(), well=Well((cylinder(3.0),)), spillway=Spillway(4.5)
    )  # lead start 2.0 m
    row = table(station, week(Constant(0.020))).hours[0]
    assert row.spill_s / MIN == pytest.approx(14.726, abs=5e-4)


@pytest.mark.parametrize("hour", [2, 7, 23])
def test_the_table_agrees_with_a_run_that_loses_its_power(hour: int) -> None:
    """The simulation, with controller, events and clock, finds the same alarm and spill."""
    station, inflow = reference_station(), reference_inflow()
    start = MONDAY + timedelta(days=2, hours=hour)
    cut = ScriptedEvent(0.0, "grid loss", "grid", 5 * 3600.0)
    result = simulate(station, Episode(start, 6 * 3600.0, (inflow,), 1.5, (cut,)))
    row = table(station, week(inflow)).hours[hour]
    high = result.alarms[result.alarms["alarm"] == "high level"]["raised_s"].iloc[0]
    assert row.alarm_s == pytest.approx(high, abs=1e-6)
    assert row.spill_s == pytest.approx(result.spills["start_s"].iloc[0], abs=1e-6)


def test_spilled_volume_over_a_weir_agrees_with_a_run() -> None:
    station = replace(reference_station(), spillway=Spillway(4.2, length_m=0.5))
    inflow = reference_inflow()
    start = MONDAY + timedelta(days=2, hours=7)
    cut = ScriptedEvent(0.0, "grid loss", "grid", 78 * MIN + 1.0)
    result = simulate(station, Episode(start, 78 * MIN, (inflow,), 1.5, (cut,)))
    found = table(station, week(inflow), response_s=78 * MIN)
    (row,) = [r for r in found.spilled if (r.day, r.hour) == ("Wed", 7)]
    assert result.trace.spilled_m3 > 10.0
    assert row.spilled_m3 == pytest.approx(result.trace.spilled_m3, rel=1e-5)


def test_the_day_after_is_what_the_calendar_says_unless_told() -> None:
    weekday, weekend = [0.010] * 24, [0.020] * 24
    what = week(Daily(weekday, weekend, steps=True))
    by_calendar = table(upright(108.0), what, days=("friday",)).hours[22]
    again = table(upright(108.0), what, days=("friday",), same_day=True).hours[22]
    # own closed form: 2 h at 10 L/s bring 72 m3, the other 36 m3 come at 20 or at 10 L/s
    assert by_calendar.spill_s == pytest.approx(7200.0 + 1800.0)
    assert again.spill_s == pytest.approx(7200.0 + 3600.0)


def test_same_day_repeats_a_day_of_a_record_and_of_a_growing_source() -> None:
    times = np.arange(0.0, 3 * 86_400.0 + 1.0, 3600.0)
    flows = np.where(times < 86_400.0, 0.010, 0.020)
    recorded = Recorded(times, flows, steps=True)
    what = Episode(MONDAY, 3 * 86_400.0, (recorded,), 1.0)
    row = table(upright(108.0), what, days=("monday",), same_day=True).hours[22]
    assert row.spill_s == pytest.approx(10_800.0)
    growing = week(Growth(Daily([0.010] * 24, [0.020] * 24), 0.0))
    row = table(upright(108.0), growing, days=("friday",), same_day=True).hours[22]
    assert row.spill_s == pytest.approx(10_800.0)


def test_a_record_goes_on_by_its_last_day_and_must_cover_the_day_asked_for() -> None:
    times = np.arange(0.0, 2 * 86_400.0 + 1.0, 3600.0)
    flows = np.where(times < 86_400.0, 0.010, 0.020)
    what = Episode(MONDAY, 2 * 86_400.0, (Recorded(times, flows, steps=True),), 1.0)
    row = table(upright(7_200.0 * 0.02 + 36.0), what, days=("tuesday",)).hours[22]
    assert row.spill_s == pytest.approx(7_200.0 + 1_800.0)
    with pytest.raises(
        InputError, match=r"Wednesday 2027-03-03.*ends Wed 2027-03-03 00:00.*--days"
    ):
        table(upright(30.0), what)


def test_upstream_stations_that_go_dark_take_their_part_away_after_their_lag() -> None:
    # own closed form: 20 L/s, half of it stops after 10 min: 12 m3 by then, 18 m3 at 10 L/s
    what = week(Constant(0.020))
    found = table(upright(30.0), what, upstream=0.5, upstream_lag_s=600.0)
    assert found.hours[9].spill_s == pytest.approx(600.0 + 1800.0)
    assert found.hours[9].inflow_m3s == pytest.approx(0.020)


def test_what_upstream_stations_held_back_comes_as_a_surge_and_no_drop_is_lost() -> None:
    inflow = day_flows(week(reference_inflow()), "wednesday").dry
    dark = with_dark_upstream(inflow, 25_200.0, 0.4, 600.0, 32_400.0, 1800.0)
    end = 36_000.0
    assert dark.volume_m3(end) == pytest.approx(inflow.volume_m3(end), rel=1e-12)
    during = np.array([25_900.0, 30_000.0, 32_999.0])
    assert dark.at(during) == pytest.approx(0.6 * inflow.at(during))
    held = inflow.volume_m3(33_000.0) - inflow.volume_m3(25_800.0)
    surge = np.array([33_001.0, 34_799.0])
    assert dark.at(surge) - inflow.at(surge) == pytest.approx([0.4 * held / 1800.0] * 2)
    after = np.array([34_801.0, 50_000.0])
    assert dark.at(after) == pytest.approx(inflow.at(after))


def test_a_surge_makes_the_pump_down_longer() -> None:
    # own closed form: 2 h dark, half of 10 L/s held back: 36 m3 come in 1 h on top of 10 L/s
    station = replace(upright(10.0), spillway=Spillway(30.0))
    what = week(Constant(0.010))
    plain = table(station, what).pump_down[0]
    assert plain.level_m == pytest.approx(2.0 + 7.2)
    assert plain.pump_down_s == pytest.approx(82.0 / 0.010)
    surged = table(station, what, upstream=0.5, upstream_surge_s=3600.0).pump_down[0]
    assert surged.level_m == pytest.approx(2.0 + 3.6)
    # 46 m3 to the stop level and 36 m3 of surge, at 10 L/s net of the base flow
    assert surged.pump_down_s == pytest.approx((46.0 + 36.0) / 0.010)


def test_pump_down_with_one_pump_and_with_two() -> None:
    # own closed form: 10 m2, from 2.0 m up by 72 m3... capped at 4.0 m: 30 m3 to the stop at 1.0 m
    found = table(duplex(), week(Constant(0.010)), outage_s=7200.0)
    one, two = [row for row in found.pump_down if (row.day, row.hour) == ("Wed", 12)]
    assert (one.pumps, two.pumps) == ("P1", "P1 + P2")
    assert one.level_m == two.level_m == pytest.approx(4.0)
    assert one.spilled_m3 == pytest.approx(72.0 - 20.0)
    assert one.pump_down_s == pytest.approx(30.0 / 0.020)
    assert two.pump_down_s == pytest.approx(30.0 / 0.050)


def test_a_storm_is_moved_so_that_it_brings_most_at_the_hour() -> None:
    # own closed form: triangle of 2 h to 40 L/s at its middle; from the peak on q = 40 - 40 t/h
    storm = Hydrograph(50_000.0, [0.0, 3600.0, 7200.0], [0.0, 0.040, 0.0])
    what = week(Constant(0.010), storm)
    found = table(upright(60.0), what, days=("wednesday",))
    dry, wet = found.hours[:24], found.hours[24:]
    assert [row.weather for row in (dry[0], wet[0])] == ["dry", "wet"]
    assert all(row.spill_s == pytest.approx(6000.0) for row in dry)
    # 60 = 0.050 t - (0.040/3600) t^2 / 2
    a, b, c = 0.040 / 7200.0, -0.050, 60.0
    answer = (-b - math.sqrt(b * b - 4 * a * c)) / (2 * a)
    assert answer < 3600.0
    assert [row.spill_s for row in wet] == pytest.approx([answer] * 24)
    later = table(upright(60.0), what, days=("wednesday",), storm_peak_s=3600.0).hours[24 + 5]
    # 60 = 0.010 t + (0.040/3600) t^2 / 2
    a, b, c = 0.040 / 7200.0, 0.010, -60.0
    assert later.spill_s == pytest.approx((-b + math.sqrt(b * b - 4 * a * c)) / (2 * a))


def test_rain_counts_as_storm_and_an_addition_as_wet() -> None:
    rain = RainDerived(block(86_400.0, 0.020, 3600.0), 50_000.0, (Response(0.05, 3600.0, 2.0),))
    assert table(upright(60.0), week(Constant(0.010), rain)).has_wet
    added = table(upright(60.0), week(Constant(0.010)), added_m3s=0.020)
    assert added.hours[24].weather == "wet"
    assert added.hours[24].spill_s == pytest.approx(60.0 / 0.030)
    assert not table(upright(60.0), week(Constant(0.010))).has_wet


def test_the_routine_has_the_water_between_stop_and_lead_start() -> None:
    station, what = reference_station(), week(reference_inflow())
    least, mean, greatest = (
        [row.start_level_m for row in table(station, what, start_level=which).hours]
        for which in ("least", "mean", "greatest")
    )
    for a, b, c in zip(least, mean, greatest, strict=True):
        assert 0.7 - 1e-6 <= a < b < c <= 1.5 + 1e-6
    # a whole cycle lies within the hour from 10:00 to 11:00 (12 L/s: 7.9 min up, 5.2 min down)
    assert (least[10], greatest[10]) == pytest.approx((0.7, 1.5), abs=0.05)


@pytest.mark.parametrize(
    ("start", "level"), [("stop", 0.7), ("lag start", 1.8), ("high-level alarm", 2.3), (1.0, 1.0)]
)
def test_start_levels_by_name_and_by_number(start: str | float, level: float) -> None:
    found = table(reference_station(), week(reference_inflow()), start_level=start)
    assert {row.start_level_m for row in found.hours} == {level}
    if start == "high-level alarm":
        assert all(row.alarm_s == 0.0 for row in found.hours)
        # the clock of the rule starts at the alarm: the two are one then
        assert all(row.spill_s == row.from_alarm_s for row in found.hours)


def test_start_levels_that_cannot_be_are_refused() -> None:
    what = week(reference_inflow())
    with pytest.raises(InputError, match=r"no level 'lag stop' is set \(accepted: .*lead start"):
        table(reference_station(), what, start_level="lag stop")
    with pytest.raises(InputError, match=r"4\.3 m above the floor does not lie between .* 4\.2 m"):
        table(reference_station(), what, start_level=4.3)
    with pytest.raises(InputError, match=r"no level of spill is given.*add \[spill\]"):
        table(replace(reference_station(), spillway=None), what)


def test_no_inflow_never_spills_and_says_so() -> None:
    found = rehearse([("it", reference_station(), week(Constant(0.0)))])
    assert np.isinf(found.tables["hours"]["spill_s"]).all()
    assert found.sentences()[0] == (
        "With nothing pumped it does not spill within three days, whatever the hour."
    )
    assert all("never" in line for line in found.lines()[5:])


def test_days_are_read_by_name_and_by_date() -> None:
    assert read_days("Wed, saturday") == ("wednesday", "saturday")
    assert read_days("2027-03-04,thu") == ("2027-03-04", "thursday")
    with pytest.raises(InputError, match=r"'x' is no day; accepted: days of the week"):
        read_days("x")
    with pytest.raises(InputError, match="does not lie whole in the episode"):
        day_flows(week(Constant(0.01)), "2027-02-27")


def test_the_flow_of_a_day_is_that_of_the_episode() -> None:
    what = replace(week(reference_inflow()), start=MONDAY + timedelta(hours=5))
    day = day_flows(what, "wednesday")
    times = np.linspace(0.0, 86_400.0, 97)
    offset = (day.midnight - what.start).total_seconds()
    assert day.dry.at(times) == pytest.approx(total_inflow(what).at(times + offset), rel=1e-9)
    assert day_flows(what, "monday").midnight == MONDAY + timedelta(days=7)


# ---------------------------------------------------------------------------- words and pictures


@pytest.fixture(scope="module")
def reference() -> StudyResult:
    asked = HoursAsked(same_day=True, response_s=78 * MIN)
    return rehearse([("it", reference_station(), week(reference_inflow()))], asked)


def test_sentences_say_what_planners_want(reference: StudyResult) -> None:
    assert reference.sentences() == [
        (
            "Worst hour: Wed 07:00, 17.0 L/s arriving, high-level alarm after 6 min, spill after"
            " 39 min."
        ),
        (
            "A response of 78 min comes too late at 34 of 48 hours (38.6 m3 spilled by then at Wed"
            " 07:00); else in time, with 100 min to spare at most (Wed 01:00)."
        ),
        (
            "Counted from the alarm level at the hour, the shortest time to the spill is 33 min"
            " (Wed 07:00)."
        ),
        (
            "Reckoned by hand, volume over the flow of the hour, it is up to 61 % too long (Wed"
            " 04:00) and 31 % too short (Wed 23:00)."
        ),
        (
            "After 2 h without power and up to 76.1 m3 spilled, pumping down to the stop level: P1"
            " takes up to 56 min (cut at Wed 05:00), P1 + P2 take up to 30 min (cut at Wed 05:00)."
        ),
    ]
    assert "269 gpm" in reference.sentences("us")[0]
    assert "10,205 gal" in reference.sentences("us")[1]


def test_the_screen_has_a_row_for_each_hour(reference: StudyResult) -> None:
    lines = reference.lines()
    assert lines[-17] == " 07:00 |     6     39   38   -1 %|     9     56   68  +20 %"
    assert max(len(line) for line in lines) < 90


def test_the_engine_driven_pump_is_left_out_and_named() -> None:
    station = replace(duplex(), engine_pump=engine_pump(fuel_m3_per_s=0.01 / 3600, tank_m3=0.08))
    told = rehearse([("it", station, week(Constant(0.005)))]).sentences()
    assert told[-1] == (
        "The engine-driven pump E1 is left out of all this; its tank lasts 8 h of running."
    )


@pytest.mark.parametrize(
    ("changes", "more"),
    [
        ({}, ", and the panel has booted after 34 s; its tank lasts 10 h at its rated output"),
        ({"tank_m3": math.inf}, ", and the panel has booted after 34 s"),
        ({"boot_s": 0.0, "fuel_loads": ()}, ""),
    ],
)
def test_the_generator_is_left_out_and_named_with_when_it_would_feed(
    changes: dict[str, Any], more: str
) -> None:
    # own sums: 1 s + 5 s + 6 s + 2 s = 14 s, and 20 s more; 100 L at 10 L/h
    boot_s = changes.pop("boot_s", 20.0)
    what = GeneratorSet(rated_w=40e3, crank_tries=3, crank_s=5.0, crank_rest_s=10.0, run_up_s=6.0,
                        fuel_loads=(0.0, 1.0), fuel_rates_m3_per_s=(1e-6, 0.01 / 3600.0),
                        tank_m3=0.1)  # fmt: skip
    power = StandbyPower(replace(what, **changes), TransferSwitch(1.0, 2.0), boot_s=boot_s)
    told = rehearse([("it", replace(duplex(), standby_power=power), week(Constant(0.005)))])
    assert told.sentences()[-1] == (
        "The generator is left out of all this; when it fires at once it feeds the pumps' busbar"
        f" 14 s after the loss{more}."
    )
    mobile = replace(duplex(), standby_power=StandbyPower(mobile=what))
    told = rehearse([("it", mobile, week(Constant(0.005)))])
    assert "generator" not in " ".join(told.sentences())


def test_several_stations_are_ranked_by_their_worst_hour() -> None:
    what = week(Constant(0.010))
    stations = [("slow", upright(60.0), what), ("fast", upright(30.0), what)]
    found = rehearse(stations, HoursAsked(response_s=4000.0))
    ranks = found.tables["stations"]
    assert list(ranks["station"]) == ["fast", "slow"]
    assert list(ranks["rank"]) == [1, 2]
    assert list(ranks["spill_s"]) == pytest.approx([3000.0, 6000.0])
    assert list(ranks["hours_too_late"]) == [48.0, 0.0]
    assert len(found.tables["hours"]) == 2 * 48
    assert "spills first" in found.sentences()[0]


def test_the_figure_shows_what_the_table_says(reference: StudyResult) -> None:
    figure = reference.figure("minutes_to_spill")
    first = figure.axes[0]
    by_label = {line.get_label(): line for line in first.get_lines()}
    spill = np.asarray(by_label["to the spill, dry"].get_ydata())
    hours = reference.tables["hours"]
    assert spill == pytest.approx(hours["spill_s"].to_numpy()[:24] / MIN)
    assert by_label["response, 78 min"].get_ydata() == [78.0, 78.0]
    assert "39 min at 07:00" in {text.get_text() for text in first.texts}
    with pytest.raises(KeyError, match="minutes_to_spill"):
        reference.figure("nothing")


def test_tables_are_tidy_and_in_si(reference: StudyResult) -> None:
    hours = reference.tables["hours"]
    assert len(hours.drop_duplicates(["station", "day", "weather", "hour"])) == len(hours) == 48
    assert hours["spill_s"].sub(hours["alarm_s"]).sub(hours["alarm_to_spill_s"]).abs().max() < 1e-9
    assert set(reference.tables) == {"hours", "spilled", "pump_down", "stations"}
    assert episode(60.0, 0.0).duration_s == 60.0


@pytest.mark.parametrize("began_s", [-3600.0, 3600.0, 86_400.0])
def test_a_storm_is_the_same_whenever_it_began(began_s: float) -> None:
    """Rain that fell when the episode began is moved with its own beginning."""
    rain = RainDerived(block(began_s, 0.020, 3600.0), 50_000.0, (Response(0.05, 3600.0, 2.0),))
    found = table(upright(60.0), week(Constant(0.005), rain), storm_peak_s=3 * 3600.0)
    later = RainDerived(block(43_200.0, 0.020, 3600.0), 50_000.0, (Response(0.05, 3600.0, 2.0),))
    other = table(upright(60.0), week(Constant(0.005), later), storm_peak_s=3 * 3600.0)
    assert [row.spill_s for row in found.hours] == pytest.approx(
        [row.spill_s for row in other.hours], rel=1e-6
    )


def test_hours_without_inflow_read_well() -> None:
    flows = [0.0] * 5 + [0.010] * 19
    asked = HoursAsked(days=("wednesday",), response_s=60.0)
    found = rehearse([("it", upright(30.0), week(Daily(flows, flows, steps=True)))], asked)
    text = "\n".join([*found.sentences(), *found.lines()])
    assert "inf" not in text.replace("inflow", "")
    assert "never to spare" not in text
    assert "nevernever" not in text


def test_stations_that_never_spill_are_not_said_to_spill_first() -> None:
    what = week(Constant(0.0))
    found = rehearse([("a", upright(30.0), what), ("b", upright(60.0), what)])
    assert found.sentences() == [
        "With nothing pumped no station spills within three days, whatever the hour."
    ]


def test_pump_down_under_a_surge_over_a_weir_agrees_with_a_run() -> None:
    weir = Spillway(3.0, length_m=0.05)
    station = replace(upright(10.0), spillway=weir)
    asked = {"upstream": 0.5, "upstream_surge_s": 60.0, "outage_s": 3600.0}
    row = table(station, week(Constant(0.010)), **asked).pump_down[12]
    assert row.pumps == "P1"
    end_s = 12 * 3600.0 + 3600.0
    day = day_flows(week(Constant(0.010)), "wednesday").dry
    dark = with_dark_upstream(day, 12 * 3600.0, 0.5, 0.0, end_s, 60.0)
    times = np.array([0.0, 3600.0, 3600.0, 3660.0, 3660.0, 90_000.0])
    flows = dark.at(12 * 3600.0 + times - np.array([0, 1e-3, 0, 1e-3, 0, 0]))
    cut = ScriptedEvent(0.0, "grid loss", "grid", 3600.0)
    inflow = Hydrograph(0.0, times, flows)
    start = MONDAY + timedelta(days=2, hours=12)
    result = simulate(station, Episode(start, 86_400.0, (inflow,), 2.0, (cut,)))
    first = result.pump_runs.iloc[0]
    assert first["start_s"] == pytest.approx(3600.0)
    assert row.pump_down_s == pytest.approx(first["duration_s"], rel=1e-5)


def test_each_unlike_pump_is_told_alone() -> None:
    # own closed form: 30 m3 to the stop level, 10 L/s arriving; 30, 15 and 45 L/s drawn
    found = table(duplex((0.030, 0.015)), week(Constant(0.010)), outage_s=7200.0)
    rows = [row for row in found.pump_down if (row.day, row.hour) == ("Wed", 12)]
    assert [row.pumps for row in rows] == ["P1", "P2", "P1 + P2"]
    assert [row.pump_down_s for row in rows] == pytest.approx([30 / 0.02, 30 / 0.005, 30 / 0.035])


def test_the_routine_reaches_its_own_levels_exactly() -> None:
    found = table(duplex(), week(Constant(0.010)), start_level="greatest")
    # own closed form: 10 m2, from 1.0 to 2.0 m in 1000 s and down in 500 s: once in every hour
    assert {round(row.start_level_m, 9) for row in found.hours} == {2.0}
    found = table(duplex(), week(Constant(0.010)), start_level="least")
    assert {round(row.start_level_m, 9) for row in found.hours} == {1.0}

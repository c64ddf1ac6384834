"""The sheet of the day of acceptance: what should be read, against closed forms and by hand."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from stationsim import load_scenario
from stationsim.equipment.acceptance import Gauge
from stationsim.studies.acceptance.day import Day
from stationsim.studies.acceptance.drawn import planned_fall
from stationsim.studies.acceptance.lineups import levels_of, lineups_of, of_the_day
from stationsim.studies.acceptance.rig import AsBuilt, Back, Rig
from stationsim.studies.ahead import Ahead, Stream

SCENARIOS = sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))
G, RHO = 9.80665, 1000.0


def scenario(name: str) -> Day:
    station, episode = load_scenario(Path(__file__).parents[1] / "scenarios" / f"{name}.toml")
    return Day(station, episode)


def with_plan(day: Day, **changes: object) -> Day:
    plan = replace(day.ordered.ratings.acceptance, **changes)  # type: ignore[arg-type]
    ratings = replace(day.ordered.ratings, acceptance=plan)
    return Day(replace(day.ordered, ratings=ratings), day.episode)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_time_of_a_fall_equals_the_exact_balance(path: Path) -> None:
    """The quadrature over the volume against the balance's own closed form, every lineup."""
    station, episode = load_scenario(path)
    day = Day(station.as_built(), episode)
    high, low = day.fall
    ahead = Ahead(day.station, 1.0)
    well = day.station.well
    for inflow in (0.0, 0.004):
        for lineup in day.lineups:
            expected = day.rig.fall_s(lineup.machines, high, low, inflow)
            came = ahead.go(
                Stream([0.0], [inflow], [0.0]),
                0.0,
                well.volume_at(high),
                1e6,
                lineup.machines,
                (well.volume_at(low),),
            )
            # bands keep to 1e-5 of the flow, so does the net flow that is left
            assert came.goal == 0
            assert expected == pytest.approx(came.t_s, rel=5e-5), lineup.name


def test_fall_of_half_a_metre_takes_118_s_and_164_s_with_inflow() -> None:
    """3.0 m well, 0.5 m at 30 L/s: 7.0686 m2 x 0.5 m / 30 L/s, and / (30 - 8.5) L/s; by hand."""
    day = scenario("reference-station")
    assert day.fall.drop_m == pytest.approx(0.5)
    area = math.pi * 9.0 / 4.0
    assert day.rig.fall_s((0,), 1.5, 1.0) == pytest.approx(area * 0.5 / 0.030, rel=1e-12)
    assert round(day.rig.fall_s((0,), 1.5, 1.0)) == 118
    assert round(day.rig.fall_s((0,), 1.5, 1.0, 0.0085)) == 164


def test_a_fall_that_the_inflow_outruns_never_comes() -> None:
    assert scenario("reference-station").rig.fall_s((0,), 1.5, 1.0, 0.030) == math.inf


def test_gauges_by_hand() -> None:
    """Head of the water at the tapping, less the dial's level and the velocity head."""
    day = with_plan(
        scenario("osier-wharf"),
        header_gauge=Gauge(6.0, 0.25),
        pump_gauge=Gauge(4.0, 0.2, branch_part=0.4),
    )
    rig, level = day.rig, 1.4
    point = rig.point((0, 1), level)
    area = math.pi * 0.25**2 / 4.0
    v2 = (point.total_m3s / area) ** 2 / (2.0 * G)
    assert rig.header_pa((0, 1), level) == pytest.approx(RHO * G * (point.header_m - 6.0 - v2))
    unit = day.station.pumps[0]
    assert unit.branch is not None
    own = point.flows_m3s[0]
    head = point.heads_m[0] - 0.4 * unit.branch.loss_m(own)
    v2 = (own / (math.pi * 0.2**2 / 4.0)) ** 2 / (2.0 * G)
    assert rig.pump_pa((0, 1), 0, level) == pytest.approx(RHO * G * (level + head - 4.0 - v2))
    assert rig.shut_off_pa(0, level) == pytest.approx(RHO * G * (level + 84.0 - 4.0))


def test_header_closes_with_pump_and_main() -> None:
    """What the pumps give at the header is what the main asks for, in every lineup."""
    day = scenario("alder-lane")
    main = day.station.force_main
    assert main is not None
    for lineup in day.lineups:
        for level in day.levels_m:
            point = day.rig.point(lineup.machines, level)
            asked = main.discharge_level_m + main.loss_m(point.total_m3s)
            assert point.header_m == pytest.approx(asked, abs=1e-9)
            for place, machine in enumerate(lineup.machines):
                unit, flow = day.rig.units[machine], point.flows_m3s[place]
                lost = 0.0 if unit.branch is None else unit.branch.loss_m(flow)
                given = level + point.heads_m[place] - lost
                assert given == pytest.approx(point.header_m, abs=1e-6)


def test_new_pipe_counts_on_the_day_and_the_old_one_stands_beside_it() -> None:
    day = scenario("osier-wharf")
    assert of_the_day(day.ordered).force_main.pipes[0].c_factor == 140.0  # type: ignore[union-attr]
    flows = {(row.pipe, row.lineup, row.level_m): row.flow_m3s for row in day.points}
    for (pipe, lineup, level), flow in flows.items():
        if pipe == "new":
            assert flow > flows["old", lineup, level]


def test_current_at_the_rated_input_is_the_plate_current() -> None:
    """A pump that draws what its plate is rated for draws its plate's current."""
    day = scenario("osier-wharf")
    plate = day.station.ratings.plates["P1"]
    assert plate.rated_w is not None
    assert plate.efficiency is not None
    unit = day.rig.units[0]
    full = replace(
        unit, power=replace(unit.power, efficiency=None, input_w=plate.rated_w / plate.efficiency)
    )
    rig = Rig(AsBuilt(replace(day.station, pumps=(full, *day.station.pumps[1:]))))
    # the plate's current is rounded to whole amperes: its power factor is 0.85, theirs 0.8506
    assert rig.current_a((0,), 0, 1.4) == pytest.approx(76.0, rel=2e-3)
    assert rig.speed((0,), 0, 1.4) == pytest.approx(plate.rated_speed, rel=1e-9)


def test_combinations_stay_within_what_may_run() -> None:
    day = scenario("osier-wharf")
    names = [lineup.name for lineup in day.lineups]
    assert names == [
        "P1 alone", "P2 alone", "P3 alone", "E1 alone",
        "P1 + P2", "P1 + P3", "P2 + P3", "P1 + P2 + P3",
    ]  # fmt: skip
    service = day.ordered.ratings.service
    assert service is not None
    ratings = replace(day.ordered.ratings, service=replace(service, most_running=1))
    found, left_out = lineups_of(replace(day.ordered, ratings=ratings))
    assert [lineup.name for lineup in found] == ["P1 alone", "P2 alone", "P3 alone", "E1 alone"]
    assert any(what.startswith("more than 1 pump at once") for what, _why in left_out)


def test_many_pumps_are_each_tested_in_few_combinations() -> None:
    station = scenario("osier-wharf").ordered
    pumps = tuple(replace(station.pumps[0], name=f"P{n}") for n in range(1, 7))
    settings = replace(
        station.control.settings, second_lag_start_m=2.1, third_lag_start_m=2.2,
        standby_start_m=2.3,
    )  # type: ignore[type-var]  # fmt: skip
    many = replace(station, pumps=pumps, control=replace(station.control, settings=settings))
    found, left_out = lineups_of(many)
    together = [lineup for lineup in found if len(lineup.machines) > 1]
    assert {index for lineup in together for index in lineup.machines} == set(range(6))
    assert len(together) <= 12
    assert any("combinations" in what for what, _why in left_out)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_clean_water_of_the_day_balances(path: Path) -> None:
    """What is brought is what is pumped and what is left in the well, step by step."""
    station, episode = load_scenario(path)
    day = Day(station.as_built(), episode)
    well, stored = day.station.well, 0.0
    for step in day.steps:
        stored += step.brought_m3 - step.pumped_m3
        if not math.isnan(step.to_level_m):
            assert stored == pytest.approx(well.volume_at(step.to_level_m), abs=0.02), step.test
    assert stored >= -1e-6
    assert day.water.brought_m3 == pytest.approx(sum(step.brought_m3 for step in day.steps))


def test_waits_follow_from_the_rate_and_are_blank_without_one() -> None:
    day = with_plan(scenario("reference-station"), water_m3s=0.005)
    for step in day.steps:
        if step.test not in {one.name for one in day.sequences}:
            assert step.wait_s == pytest.approx(step.brought_m3 / 0.005, abs=1e-9)
    blank = with_plan(day, water_m3s=None)
    scripted = {one.name for one in blank.sequences}
    waits = [
        step.wait_s for step in blank.steps if step.brought_m3 > 0.0 and step.test not in scripted
    ]
    assert waits
    assert all(math.isnan(wait) for wait in waits)
    assert any("acceptance.water" in why for _what, why in blank.left_out)


def test_water_that_goes_back_leaves_nothing_to_time() -> None:
    day = with_plan(scenario("alder-lane"), water_goes="back to the well", water_m3s=0.01)
    assert not [reading for reading in day.sheet if reading.what in ("fall", "drop")]
    assert any(what == "flows, pressures and times of the fall" for what, _why in day.left_out)
    assert not [
        reading
        for reading in day.sheet
        if "pressure" in reading.what and reading.test != "shut-off head"
    ]


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_every_reading_lies_inside_what_is_accepted(path: Path) -> None:
    station, episode = load_scenario(path)
    day = Day(station.as_built(), episode)
    names = [reading.name for reading in day.sheet]
    assert len(names) == len(set(names))
    for reading in day.sheet:
        if not reading.is_baseline:
            assert reading.low <= reading.expected <= reading.high, reading.name
            assert reading.source, reading.name
        assert reading.uncertainty >= 0.0


def test_levels_of_the_plan_count_before_those_of_the_control() -> None:
    day = scenario("alder-lane")
    assert levels_of(day.station) == (1.5, 1.125, 0.75)
    own = with_plan(day, levels_m=(0.9, 1.3))
    assert levels_of(own.station) == (1.3, 0.9)
    assert planned_fall(with_plan(day, drop_m=0.3).station).drop_m == pytest.approx(0.3)


def test_a_leaking_check_valve_lowers_flow_and_header_and_not_its_own_pump() -> None:
    day = scenario("alder-lane")
    leak = Rig(AsBuilt(day.station, back=Back(1, 0.001)))
    sound, level = day.rig, 1.1
    assert leak.point((0,), level).total_m3s < sound.point((0,), level).total_m3s
    assert leak.point((0,), level).header_m < sound.point((0,), level).header_m
    assert leak.point((0,), level).flows_m3s[0] > sound.point((0,), level).flows_m3s[0]
    assert leak.point((1,), level) == sound.point((1,), level)
    flows = leak.point((0,), level)
    lift = flows.header_m - level
    assert flows.flows_m3s[0] - flows.total_m3s == pytest.approx(0.001 * math.sqrt(lift), rel=1e-6)


def test_a_valve_shuts_off_flow_behind_the_gauge() -> None:
    """Partly closed behind its gauge, a pump gives less at more head; its shut-off stays."""
    day = with_plan(scenario("alder-lane"), pump_gauge=Gauge(3.0, 0.2))
    shut = Rig(AsBuilt(day.station, valves_s2m5=((0, 4000.0),)))
    assert shut.point((0,), 1.1).total_m3s < day.rig.point((0,), 1.1).total_m3s
    assert shut.pump_pa((0,), 0, 1.1) > day.rig.pump_pa((0,), 0, 1.1)
    assert shut.shut_off_pa(0, 1.1) == day.rig.shut_off_pa(0, 1.1)


def test_inflow_of_the_hour_is_that_of_the_episode() -> None:
    day = scenario("reference-station")
    assert day.inflow_m3s(7 * 3600.0) == pytest.approx(0.017)
    assert np.isclose(day.inflow_m3s(7.5 * 3600.0), 0.5 * (0.017 + 0.0165))


def test_a_station_without_gauges_says_what_it_lacks() -> None:
    day = with_plan(scenario("alder-lane"), header_gauge=None, pump_gauge=None)
    assert not [reading for reading in day.sheet if "pressure" in reading.what]
    whys = " ".join(why for _what, why in day.left_out)
    assert "[acceptance.header_gauge]" in whys
    assert "[acceptance.pump_gauge]" in whys


def test_a_plugged_sewer_is_a_step_with_the_time_that_it_holds() -> None:
    """Reference station at 08:00: 16.5 L/s against 20 m3 of sewer and 1.6 m of shaft; by hand."""
    day = with_plan(scenario("reference-station"), start_clock_s=8 * 3600.0)
    step = next(step for step in day.steps if step.test == "shut the sewer off")
    minutes = (20.0 + 1.6 * math.pi * 2.25) / 0.0165 / 60.0
    assert f"{minutes:.0f} min" in step.what
    assert "plug out" in day.steps[-1].what
    comes = with_plan(day, inflow="comes in")
    assert "shut the sewer off" not in [step.test for step in comes.steps]
    assert "watertightness" not in [step.test for step in comes.steps]


def test_set_points_come_after_the_main_is_full_and_have_their_water() -> None:
    day = scenario("alder-lane")
    order = [step.test for step in day.steps]
    assert (
        order.index("fill the main")
        < order.index("P1 alone")
        < order.index("floats and set-points")
    )
    step = day.steps[order.index("floats and set-points")]
    assert step.from_level_m == pytest.approx(2.4)
    assert step.to_level_m == pytest.approx(0.5)
    assert step.brought_m3 > 5.0


def test_water_above_where_a_sequence_begins_is_pumped_down_first() -> None:
    """Each step begins where its sequence does, and the time for it is counted."""
    day = scenario("osier-wharf")
    by_name = {one.name: one for one in day.sequences}
    for before, step in pairwise(day.steps):
        if step.test in by_name and before.test in by_name:
            assert step.from_level_m == pytest.approx(by_name[step.test].start_level_m)
            if before.to_level_m > step.from_level_m + 0.01:
                assert step.wait_s > 1.0, step.test
                assert step.pumped_m3 > 0.0


def test_rises_are_asked_for_only_when_water_comes_in() -> None:
    shut = scenario("reference-station")
    assert not [one for one in shut.sheet if one.what in ("rise before", "rise after")]
    comes = with_plan(shut, inflow="comes in")
    rises = [one for one in comes.sheet if one.what == "rise before"]
    assert len(rises) == len(comes.lineups)
    row = comes.falls[0]
    assert rises[0].expected == pytest.approx(row.volume_m3 / row.inflow_m3s)


def test_busy_hours_are_counted_over_tests_and_sequences() -> None:
    """The starts of the lineups and of the sequences' own runs, in a sliding hour."""
    day = scenario("osier-wharf")
    begun = []
    for step in day.steps:
        if step.test == "P1 alone" or (" + " in step.test and "P1" in step.test):
            begun.append(step.clock_s)
        for one in day.sequences:
            if one.name == step.test:
                begun += [
                    step.clock_s + run.start_s for run in one.result.trace.runs if run.machine == 0
                ]
    most = max(sum(t <= u < t + 3600.0 for u in begun) for t in begun)
    found = next(one for one in day.starts if one.pump == "P1")
    assert found.number == most
    assert found.most == 10.0  # its plate


def test_names_hold_no_unit_and_instructions_both() -> None:
    for reading in scenario("quarry-row-us").sheet:
        assert not re.search(r"\d m\b", reading.name), reading.name
    how = next(r.how for r in scenario("quarry-row-us").sheet if r.what == "fall")
    assert " m (" in how
    assert " ft)" in how


def test_heads_told_by_gauges_are_those_that_they_were_shown_for() -> None:
    """There and back, with a part of the branch's loss before the tapping and a bore of its own."""
    day = with_plan(
        scenario("osier-wharf"),
        header_gauge=Gauge(6.0, 0.25),
        pump_gauge=Gauge(4.0, 0.15, branch_part=0.4),
    )
    rig, level = day.rig, 1.4
    point = rig.point((0, 1), level)
    flow = point.flows_m3s[1]
    told = rig.pump_head_m(rig.pump_pa((0, 1), 1, level), 1, level, flow)
    assert told == pytest.approx(point.heads_m[1], abs=1e-9)
    shown = rig.header_pa((0, 1), level)
    assert rig.header_head_m(shown, point.total_m3s) == pytest.approx(point.header_m, abs=1e-9)
    bare = with_plan(day, header_gauge=None, pump_gauge=None).rig
    assert math.isnan(bare.header_head_m(shown, point.total_m3s))
    assert math.isnan(bare.pump_head_m(shown, 1, level, flow))

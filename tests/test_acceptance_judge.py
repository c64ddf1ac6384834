"""The verdict on readings: what passes, what is unclear, what fails; and what several tell."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim import load_scenario
from stationsim.equipment.acceptance import Gauge
from stationsim.studies.acceptance.day import Day
from stationsim.studies.acceptance.drawn import drawdowns
from stationsim.studies.acceptance.judge import Verdict, standing_of, verdicts
from stationsim.studies.acceptance.pictures import points_figure
from stationsim.studies.acceptance.reading import Taken
from stationsim.studies.acceptance.rig import AsBuilt, Rig

SCENARIOS = Path(__file__).parents[1] / "scenarios"


def day_of(name: str, **changes: object) -> Day:
    station, episode = load_scenario(SCENARIOS / f"{name}.toml")
    plan = replace(station.ratings.acceptance, **changes)  # type: ignore[arg-type]
    return Day(replace(station, ratings=replace(station.ratings, acceptance=plan)), episode)


def read(day: Day, values: dict[str, float]) -> list[Taken]:
    by_name = {reading.name: reading for reading in day.sheet}
    return [
        Taken(by_name[name], value, by_name[name].uncertainty) for name, value in values.items()
    ]


def judged(day: Day, values: dict[str, float]) -> dict[str, Verdict]:
    return {one.name: one for one in verdicts(day.expected, day.sheet, read(day, values))}


@pytest.mark.parametrize(
    ("value", "standing"),
    [
        (9.0, "pass"), (10.0, "pass"), (12.0, "pass"), (8.9, "unclear"), (8.5, "unclear"),
        (8.4, "fail"), (12.5, "unclear"), (12.6, "fail"),
    ],
)  # fmt: skip
def test_standing_at_the_edges(value: float, standing: str) -> None:
    """9 to 12 is accepted and the reading may be off by 0.5: by hand."""
    assert standing_of(value, 9.0, 12.0, 0.5) == standing


@given(
    st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(0.0, 1e5), st.floats(0.0, 1e4)
)  # fmt: skip
def test_standing_is_monotone_in_the_uncertainty(
    value: float, low: float, wide: float, off: float
) -> None:
    """A reading that can tell less never fails where a better one does not."""
    order = {"pass": 0, "unclear": 1, "fail": 2}
    sharp = standing_of(value, low, low + wide, off)
    blunt = standing_of(value, low, low + wide, 2.0 * off)
    assert order[blunt] <= order[sharp]
    assert (sharp == "pass") == (blunt == "pass")


def test_drawdown_with_inflow_is_the_fall_and_the_mean_of_the_rises() -> None:
    """3.0 m well: 0.60 m up in 480 and 520 s, down in 200 s: 29.70 L/s; 28.6 % low without."""
    day = day_of("reference-station", inflow="comes in", drop_m=0.6)
    found = judged(
        day,
        {
            "P1 alone: time of the rise before": 480.0,
            "P1 alone: time of the fall": 200.0,
            "P1 alone: time of the rise after": 520.0,
        },
    )["P1 alone: flow by drawdown"]
    assert found.value == pytest.approx(0.0297016, abs=5e-8)
    assert found.standing == "pass"
    assert "28.6 % low" in found.why


def test_drawdown_that_leaves_the_inflow_out_is_told_and_never_passes() -> None:
    """The same test without its rises: 21.2 L/s, which nobody may blame on the pump."""
    day = day_of("reference-station", inflow="comes in", drop_m=0.6)
    found = judged(day, {"P1 alone: time of the fall": 200.0})["P1 alone: flow by drawdown"]
    assert found.value == pytest.approx(0.6 * math.pi * 2.25 / 200.0)
    assert found.standing == "unclear"
    assert "inflow is left out" in found.why
    inflow = next(row.inflow_m3s for row in day.falls if row.lineup == "P1 alone")
    low = 100.0 * inflow / (found.value + inflow)
    assert f"{low:.1f} % low" in found.why


def test_drawdown_counts_the_drop_that_was_used() -> None:
    day = day_of("reference-station")
    half = judged(
        day, {"P1 alone: time of the fall": 94.25, "drop that pumps were timed over": 0.4}
    )
    assert half["P1 alone: flow by drawdown"].value == pytest.approx(0.030, rel=1e-3)
    assert half["P1 alone: flow by drawdown"].standing == "pass"


def test_uncertainty_of_a_drawdown_by_hand() -> None:
    """0.5 m in 118 s, levels within 5 mm each, 1 s, and 1 % of the area, added in squares."""
    day = day_of("reference-station")
    (found,) = drawdowns(read(day, {"P1 alone: time of the fall": 118.0}), day.station)
    area = math.pi * 2.25
    flow = 0.5 * area / 118.0
    of_levels, of_time = math.sqrt(2.0) * 0.005 * area / 118.0, flow / 118.0
    assert found.found.uncertainty_m3s == pytest.approx(
        math.hypot(of_levels, of_time, 0.01 * flow), rel=1e-9
    )


def test_flow_below_the_grade_fails_and_at_its_edge_passes() -> None:
    """Grade 2B accepts 8 % less: 27.6 of 30 L/s passes, 26 L/s fails with a fair meter."""
    day = day_of("reference-station")
    name = "P1 alone: flow meter at the middle level"
    for value, standing in ((0.0276, "pass"), (0.0272, "unclear"), (0.026, "fail")):
        assert judged(day, {name: value})[name].standing == standing


def test_meter_against_drawdown() -> None:
    day = day_of("reference-station")
    for meter, standing in ((0.031, "pass"), (0.036, "fail")):
        found = judged(
            day,
            {
                "P1 alone: time of the fall": 118.0,
                "P1 alone: flow meter at the middle level": meter,
            },
        )["P1 alone: flow meter over drawdown"]
        assert found.standing == standing
        assert found.value == pytest.approx(meter / (0.5 * math.pi * 2.25 / 118.0) - 1.0, rel=1e-6)


def test_phases_out_of_balance() -> None:
    """62, 60, 51 A: the mean is 57.67 A, the farthest 11.6 % from it; by hand."""
    day = day_of("osier-wharf")
    names = [r.name for r in day.sheet if r.what == "current" and r.test == "P1 alone"]
    found = judged(day, dict(zip(names, (62.0, 60.0, 51.0), strict=True)))
    one = found["P1 alone: balance of the phases"]
    assert one.value == pytest.approx((173.0 / 3.0 - 51.0) / (173.0 / 3.0))
    assert one.standing == "fail"


def osier() -> Day:
    return day_of("osier-wharf", header_gauge=Gauge(6.0), pump_gauge=Gauge(6.0))


def all_read(day: Day, rig: Rig) -> dict[str, float]:
    """What a station shows, read without any error."""
    values = {}
    for one in day.sheet:
        machine = one.machines[0] if one.machines else 0
        value = {
            "meter flow": lambda one=one: rig.meter_m3s(one.machines, one.level_m),
            "header pressure": lambda one=one: rig.header_pa(one.machines, one.level_m),
            "pump pressure": lambda one=one, m=machine: rig.pump_pa(one.machines, m, one.level_m),
            "shut-off pressure": lambda one=one, m=machine: rig.shut_off_pa(m, one.level_m),
            "fall": lambda one=one: rig.fall_s(one.machines, *day.fall),
            "current": lambda one=one, m=machine: rig.current_a(one.machines, m, one.level_m),
            "speed": lambda one=one, m=machine: rig.speed(one.machines, m, one.level_m),
        }.get(one.what)
        if value is not None and one.machines:
            values[one.name] = value()
    return {name: value for name, value in values.items() if not math.isnan(value)}


def test_a_station_as_ordered_passes_every_verdict() -> None:
    day = osier()
    found = judged(day, all_read(day, day.rig))
    standings = {one.standing for one in found.values()}
    assert "fail" not in standings
    assert "unclear" not in standings
    passes = [one for one in found.values() if one.standing == "pass"]
    assert len(passes) > 60
    for one in passes:
        if one.measure not in ("yes or no", "part"):
            assert one.value == pytest.approx(one.expected, rel=1e-6), one.name


def test_an_old_main_fails_flows_and_not_the_curve_of_the_pump() -> None:
    """The pump stays on its curve when only the main is rougher: it must not be blamed."""
    day = osier()
    main = day.station.force_main
    assert main is not None
    rough = replace(main, pipes=tuple(replace(pipe, c_factor=95.0) for pipe in main.pipes))
    rig = Rig(AsBuilt(replace(day.station, force_main=rough)))
    found = judged(day, all_read(day, rig))
    assert found["P1 + P2 + P3: flow by drawdown"].standing == "fail"
    curves = [one for name, one in found.items() if "head against its curve" in name]
    assert len(curves) == 12
    assert {one.standing for one in curves} == {"pass"}


def test_a_weak_pump_fails_on_its_own_curve() -> None:
    day = osier()
    weak = replace(day.station.pumps[1], flow_factor=0.8, head_factor=0.85)
    pumps = (day.station.pumps[0], weak, day.station.pumps[2])
    rig = Rig(AsBuilt(replace(day.station, pumps=pumps)))
    found = judged(day, all_read(day, rig))
    assert found["P2 alone: head against its curve at the middle level"].standing == "fail"
    assert found["P1 alone: head against its curve at the middle level"].standing == "pass"
    assert found["P2 shut off: gauge of the pump"].standing == "fail"


def test_a_point_is_accepted_by_its_head_or_by_its_flow() -> None:
    """Grade 2B: 5 % of head at the same flow, or 8 % of flow at the same head: the kinder."""
    day = osier()
    curve = day.station.pumps[0].curve_now()
    assert curve is not None
    name = "P1 alone: flow meter at the middle level"
    gauge = "P1 alone: gauge of the pump at the middle level"
    flow = 0.050
    found = judged(day, {name: flow, gauge: 5.0e5})[
        "P1 alone: head against its curve at the middle level"
    ]
    should = curve.head_at(flow)
    assert found.expected == pytest.approx(should)
    assert found.low == pytest.approx(min(0.95 * should, curve.head_at(flow / 0.92)))
    assert found.high == pytest.approx(max(1.05 * should, curve.head_at(flow / 1.08)))


def test_what_was_not_read_is_not_judged_and_said() -> None:
    day = day_of("reference-station")
    found = judged(day, {})
    assert {one.standing for one in found.values()} == {"not judged"}
    unread = {name for name, one in found.items() if one.why == "not read"}
    assert "P1 alone: time of the fall" in unread
    # with the inflow shut off there is no rise to time, and the planned drop holds
    assert "P1 alone: time of the rise before" not in found
    assert "drop that pumps were timed over" not in unread


def test_baselines_are_kept_and_not_judged() -> None:
    day = day_of("reference-station")
    name = "P1 alone: current L1 at the middle level"
    one = judged(day, {name: 21.0})[name]
    assert one.is_baseline
    assert one.finding(day.station, "si").verdict == "not judged"
    assert one.finding(day.station, "si").value == "21.0 A"


def test_findings_tell_levels_as_the_station_counts_them() -> None:
    day = day_of("reference-station")
    station = replace(day.station, levels_shown="below cover", cover_m=4.8)
    name = "level sensor: high water"
    one = judged(day, {name: 1.55})[name]
    assert one.standing == "fail"
    finding = one.finding(station, "si")
    assert finding.value == "3.25 m"
    assert finding.limit == "3.28 m to 3.32 m"


def test_inflow_left_out_reads_low_by_the_same_part_whatever_drop_was_timed() -> None:
    """The part is the inflow over the pump's flow: it does not hang on the drop."""
    day = day_of("reference-station", inflow="comes in")
    row = next(row for row in day.falls if row.lineup == "P1 alone")
    area = math.pi * 2.25
    for drop in (0.5, 0.25):
        fall_s = drop * area / (0.030 - row.inflow_m3s)
        found = judged(
            day,
            {"P1 alone: time of the fall": fall_s, "drop that pumps were timed over": drop},
        )["P1 alone: flow by drawdown"]
        assert f"{100.0 * row.reads_low_part:.1f} % low" in found.why


def test_rises_on_the_marks_of_the_fall_share_their_error() -> None:
    """0.3 m, 20 L/s with 15 L/s coming in: the marks alone are sqrt(2) 5 mm of 0.3 m, 2.36 %."""
    day = day_of("reference-station", inflow="comes in", drop_m=0.3)
    volume = 0.3 * math.pi * 2.25
    taken = read(
        day,
        {
            "P1 alone: time of the rise before": volume / 0.015,
            "P1 alone: time of the fall": volume / 0.005,
            "P1 alone: time of the rise after": volume / 0.015,
        },
    )
    (found,) = drawdowns(taken, day.station)
    part = found.found.uncertainty_m3s / found.found.flow_m3s
    of_marks, of_area = math.sqrt(2.0) * 0.005 / 0.3, 0.01
    assert part >= math.hypot(of_marks, of_area)
    assert part == pytest.approx(math.hypot(of_marks, of_area), rel=0.02)


def test_a_perfect_drawdown_with_inflow_is_what_is_expected_of_it() -> None:
    """A pump on a curve gives more at the top of the fall, where it then stands for longer."""
    day = day_of("alder-lane", inflow="comes in")
    volume = day.station.well.volume_at(day.fall.from_m) - day.station.well.volume_at(day.fall.to_m)
    inflow = 0.025
    found = judged(
        day,
        {
            "P1 alone: time of the rise before": volume / inflow,
            "P1 alone: time of the fall": day.rig.fall_s((0,), *day.fall, inflow),
            "P1 alone: time of the rise after": volume / inflow,
        },
    )["P1 alone: flow by drawdown"]
    assert found.value == pytest.approx(found.expected, rel=1e-9)


def test_a_pump_that_gives_nothing_is_judged_without_an_error() -> None:
    """Its shut-off head is below the lift: no flow is expected, and none is read."""
    day = osier()
    dead = replace(day.station.pumps[1], head_factor=0.5)
    station = replace(day.ordered, pumps=(day.ordered.pumps[0], dead, day.ordered.pumps[2]))
    dry = Day(station, day.episode)
    found = judged(
        dry,
        {
            "P2 alone: flow meter at the middle level": 0.0,
            "P2 alone: time of the fall": 300.0,
            "P2 alone: gauge of the pump at the middle level": 4e5,
        },
    )
    assert found["P2 alone: flow meter at the middle level"].standing == "pass"
    assert found["P2 alone: flow by drawdown"].standing == "fail"
    # nor is the figure of it
    taken = read(dry, {"P2 alone: time of the fall": 300.0})
    assert points_figure(dry, taken, "si").axes


def test_a_tolerance_of_the_whole_flow_is_no_error() -> None:
    day = day_of("osier-wharf", header_gauge=Gauge(6.0), pump_gauge=Gauge(6.0), flow_tolerance=1.0)
    found = judged(
        day,
        {
            "P1 alone: flow meter at the middle level": 0.05,
            "P1 alone: gauge of the pump at the middle level": 5e5,
        },
    )
    assert found["P1 alone: head against its curve at the middle level"].standing == "pass"


def test_a_point_beyond_the_end_of_the_curve_says_so() -> None:
    day = osier()
    found = judged(
        day,
        {
            "P1 alone: flow meter at the middle level": 0.120,
            "P1 alone: gauge of the pump at the middle level": 1e5,
        },
    )["P1 alone: head against its curve at the middle level"]
    assert found.low <= found.expected <= found.high
    assert "beyond the last point of its curve" in found.why


def test_a_value_that_rounds_to_its_limit_is_told_with_more_digits() -> None:
    day = osier()
    name = "P1 alone: gauge on the header at the middle level"
    reading = next(one for one in day.sheet if one.name == name)
    one = judged(day, {name: reading.high + 300.0})[name]
    assert one.standing == "unclear"
    shown = one.text(one.value, day.station, "si")
    assert shown != one.text(one.high, day.station, "si")
    assert shown == f"{(reading.high + 300.0) / 1000.0:.5g} kPa"

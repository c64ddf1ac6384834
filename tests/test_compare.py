"""Truth of ``compare``: every number comes out of the study itself, and is known beforehand.

Cycle theory with plain flows. A round well of 3.0 m (A = 2.25 pi m2), one pump 30 L/s, two together
42 L/s, stop at 0.70 m, lead start at 1.50 m. Episodes last a whole number of periods and begin at a
point of the periodic course, so that a count over the time is the rate itself. Source of all
expected values: own closed form, checked by hand.
"""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import ClockSettings, NoSettings
from stationsim.control.staging import StagingSettings
from stationsim.equipment.pumps import PumpUnit
from stationsim.equipment.ratings import MotorPlate
from stationsim.errors import InputError, StationSimError
from stationsim.limits import Limits
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, cylinder
from stationsim.station import AlarmSettings, Ratings, Station
from stationsim.studies import processes
from stationsim.studies.compare import compare, differing, effects, outcome
from stationsim.study_result import StudyResult
from stationsim.testing import episode

AREA_M2 = math.pi * 3.0**2 / 4.0
ONE, TWO = 0.030, 0.042
ALL, LAST, FIRST = "all together", "last on, first off", "first on, first off"
EXACT = 1e-5
"""The expected rates are printed with six figures."""


def round_well(rotation: str = "each cycle", **settings: Any) -> Station:
    levels = {"stop_m": 0.70, "lead_start_m": 1.50, "lag_start_m": 1.80} | settings
    own = ClockSettings(86_400.0) if rotation == "clock" else NoSettings()
    return Station(
        "round well",
        Well((cylinder(3.0),)),
        (PumpUnit("P1"), PumpUnit("P2")),
        ControlPlan("staging", StagingSettings(**levels), rotation, own),
        total_by_number_m3s=(ONE, TWO),
        spillway=Spillway(4.2),
        alarms=AlarmSettings(high_level_m=2.3),
    )


def unlike_pumps(rotation: str) -> Station:
    settings = StagingSettings(stop_m=0.70, lead_start_m=1.50)
    return Station(
        "unlike pumps",
        Well((cylinder(3.0),)),
        (PumpUnit("good", fixed_flow_m3s=0.030), PumpUnit("weak", fixed_flow_m3s=0.024)),
        ControlPlan("staging", settings, rotation, NoSettings()),
    )


def value(result: StudyResult, setting: str, metric: str, subject: str = "station") -> float:
    table = result.tables["compared"]
    one = (table["setting"] == setting) & (table["metric"] == metric)
    (found,) = table.loc[one & (table["subject"] == subject), "value"]
    return float(found)


def period_s(from_m: float, to_m: float, *rates_m3s: float) -> float:
    """Return how long the water takes over the same levels at each of several rates."""
    return sum(AREA_M2 * (to_m - from_m) / rate for rate in rates_m3s)


@pytest.mark.parametrize(
    ("inflow_ls", "per_hour"), [(10.0, 4.24413), (15.0, 4.77465), (25.0, 2.65258)]
)
def test_below_the_flow_of_one_pump_nothing_changes_with_the_lag_start(
    inflow_ls: float, per_hour: float
) -> None:
    inflow = inflow_ls / 1000.0
    lasts_s = 40 * period_s(0.7, 1.5, inflow, ONE - inflow)
    when = episode(lasts_s, inflow, start_level_m=0.70)
    result = compare(
        [
            (name, round_well(stop_policy=policy, lag_start_m=lag, lag_stop_m=stop), when)
            for name, policy, lag, stop in (
                ("1.80", ALL, 1.80, None),
                ("1.60", ALL, 1.60, None),
                ("staged", LAST, 1.60, 1.20),
            )
        ]
    )
    for name in ("1.80", "1.60", "staged"):
        assert value(result, name, "lag starts") == 0
        assert value(result, name, "starts per hour") == pytest.approx(per_hour, rel=EXACT)
        assert value(result, name, "mean cycle") == pytest.approx(3600.0 / per_hour, rel=EXACT)


TABLE = [
    ("all 1.80", ALL, 1.80, None, 1.99290),
    ("all 1.60", ALL, 1.60, None, 2.69627),
    ("staged 1.80/1.50", LAST, 1.80, 1.50, 5.09296),
    ("staged 1.60/1.50", LAST, 1.60, 1.50, 15.2789),
    ("staged 1.80/1.20", LAST, 1.80, 1.20, 2.54648),
    ("staged 1.60/1.20", LAST, 1.60, 1.20, 3.81972),
]


@pytest.mark.parametrize(("name", "policy", "lag_m", "lag_stop_m", "per_hour"), TABLE)
def test_lag_starts_at_36_litres_a_second(
    name: str, policy: str, lag_m: float, lag_stop_m: float | None, per_hour: float
) -> None:
    what = round_well(stop_policy=policy, lag_start_m=lag_m, lag_stop_m=lag_stop_m)
    if policy == ALL:  # from the stop level: fill, rise against one pump, fall with two
        begin_m = 0.70
        whole_s = (
            period_s(0.70, 1.50, 0.036)
            + period_s(1.50, lag_m, 0.006)
            + period_s(0.70, lag_m, 0.006)
        )
    else:  # the lead never stops: up and down between the lag's own levels
        begin_m = 1.50
        whole_s = period_s(lag_stop_m or 0.0, lag_m, 0.006, 0.006)
    when = episode(100 * whole_s, 0.036, start_level_m=begin_m)
    result = compare([("other", round_well(), when), (name, what, when)])
    assert value(result, name, "lag starts") == 100
    assert value(result, name, "lag starts per hour") == pytest.approx(per_hour, rel=EXACT)


def test_with_staged_stop_the_lead_starts_once_and_the_lag_takes_all_the_starts() -> None:
    staged = round_well(stop_policy=LAST, lag_stop_m=1.50)
    when = episode(240 * 3600.0, 0.036, start_level_m=1.50)
    result = compare([("all", round_well(), when), ("staged", staged, when)])
    assert value(result, "staged", "starts", "P1") == 1
    assert value(result, "staged", "run hours", "P1") == pytest.approx(240.0, abs=1e-6)
    lag = value(result, "staged", "starts", "P2")
    # from 1.50 m to 1.80 m, then one more in each period of 2 A 0.30 / 0.006
    first_s, whole_s = AREA_M2 * 0.3 / 0.006, 2.0 * AREA_M2 * 0.3 / 0.006
    assert lag == math.floor((240 * 3600.0 - first_s) / whole_s) + 1
    assert lag == value(result, "staged", "lag starts")
    assert value(result, "staged", "run hours", "P2") == pytest.approx(120.0, abs=whole_s / 3600.0)


RATIOS = [(5.0, 1.31579), (12.0, 1.50000), (20.0, 2.50000)]


@pytest.mark.parametrize(("inflow_ls", "ratio"), RATIOS)
def test_two_unlike_pumps_share_starts_each_cycle_and_hours_by_run_hours(
    inflow_ls: float, ratio: float
) -> None:
    inflow = inflow_ls / 1000.0
    fill_s = period_s(0.7, 1.5, inflow)
    good_s, weak_s = (period_s(0.7, 1.5, pump - inflow) for pump in (0.030, 0.024))
    # so many runs of each make equal hours: 25 and 19 at 5 L/s, 3 and 2, 5 and 2
    goods, weaks = {5.0: (25, 19), 12.0: (3, 2), 20.0: (5, 2)}[inflow_ls]
    assert goods * good_s == pytest.approx(weaks * weak_s, rel=1e-9)
    for rotation, runs in (("each cycle", (100, 100)), ("run hours", (4 * goods, 4 * weaks))):
        lasts_s = sum(n * (fill_s + s) for n, s in zip(runs, (good_s, weak_s), strict=True))
        when = episode(lasts_s, inflow, start_level_m=0.70)
        fixed = unlike_pumps("fixed")
        result = compare([("fixed", fixed, when), (rotation, unlike_pumps(rotation), when)])
        hours, starts = (
            [value(result, rotation, metric, pump) for pump in ("good", "weak")]
            for metric in ("run hours", "starts")
        )
        assert starts == list(runs)
        if rotation == "each cycle":
            assert hours[1] / hours[0] == pytest.approx(ratio, rel=EXACT)
        else:
            assert hours[1] / hours[0] == pytest.approx(1.0, rel=1e-6)
            assert starts[0] / starts[1] == pytest.approx(ratio, rel=EXACT)


@pytest.fixture(scope="module")
def grid() -> StudyResult:
    """Lag start and stop policy at a steady 36 L/s over five days."""
    when = episode(120 * 3600.0, 0.036, start_level_m=0.70)
    settings, differs = [], {}
    for lag_m in (1.80, 1.60):
        for policy in (ALL, LAST, FIRST):
            label = f"{lag_m:.2f} m / {policy}"
            stop = None if policy == ALL else 1.50
            station = round_well(lag_start_m=lag_m, stop_policy=policy, lag_stop_m=stop)
            settings.append((label, station, when))
            differs[label] = {
                "control.lag_start": f"{lag_m:.2f} m",
                "control.stop_policy": policy,
            }
    return compare(settings, differs=differs)


def test_the_verdict_at_36_litres_a_second(grid: StudyResult) -> None:
    told = grid.sentences()
    assert 3 <= len(told) <= 6
    assert told[1] == (
        "At a steady 36 L/s, lowering the lag start by 0.2 m triples the lag starts under staged"
        " stop (5.09 to 15.3 an hour) and adds a third under all-stop (1.99 to 2.70 an hour)."
    )
    assert (
        "least evenly under 'last on, first off' (50 % of the hours and 0 % of the starts)"
        in told[2]
    )


def test_the_verdict_in_us_units(grid: StudyResult) -> None:
    assert grid.sentences("us")[1].startswith(
        "At a steady 570.6 gpm, lowering the lag start by 0.2 m"
    )


def test_differences_and_ratios_are_those_to_the_first_setting(grid: StudyResult) -> None:
    table = grid.tables["compared"]
    first = table["setting"].iloc[0]
    own = table[table["setting"] == first]
    assert (own["difference"].dropna() == 0.0).all()
    assert (own["ratio"].dropna() == 1.0).all()
    base = own.set_index(["metric", "subject"])["value"]
    for row in table.itertuples():
        start = base[row.metric, row.subject]
        if pd.notna(row.difference):
            assert row.difference == pytest.approx(row.value - start, abs=1e-12)
        if start != 0.0 and pd.notna(row.ratio):
            assert row.ratio == pytest.approx(row.value / start, rel=1e-12)


def test_every_setting_has_every_figure_once(grid: StudyResult) -> None:
    table = grid.tables["compared"]
    sizes = table.groupby("setting").size()
    assert len(sizes) == 6
    assert sizes.min() == sizes.max()
    assert not table.duplicated(["setting", "metric", "subject"]).any()


def test_the_figures_are_those_of_a_run() -> None:
    from stationsim.simulation.session import simulate

    when = episode(2 * 86_400.0, 0.02)
    station = round_well("clock")
    result = compare([("a", station, when), ("b", round_well(), when)])
    summary = simulate(station, when).summary
    table = result.tables["compared"]
    own = table[table["setting"] == "a"].set_index(["metric", "subject"])["value"]
    shared = [(row.metric, row.subject) for row in summary.itertuples()]
    shared = [pair for pair in shared if pair in own.index]
    assert len(shared) > 25
    for row in summary.itertuples():
        if (row.metric, row.subject) in own.index:
            assert own[row.metric, row.subject] == pytest.approx(row.value, rel=1e-12, nan_ok=True)


def test_limits_are_kept_broken_or_not_judged() -> None:
    calm = episode(6 * 3600.0, 0.02)
    wet = round_well()
    strict = round_well(most_starts_per_hour=1.0, lag_start_m=None)
    result = compare([("plain", wet, calm), ("one an hour", strict, calm)])
    limits = result.tables["limits"].set_index(["setting", "subject", "limit"])
    assert limits.loc[("plain", "P1", "starts per hour"), "kept"] == "not judged"
    assert limits.loc[("plain", "P1", "minimum off time"), "kept"] == "not judged"
    assert limits.loc[("plain", "station", "high-level alarm not reached"), "kept"] == "yes"
    assert limits.loc[("plain", "station", "no spill"), "kept"] == "yes"
    # the limiter keeps every pump to one start an hour, and the water pays for it
    row = limits.loc[("one an hour", "P1", "starts per hour")]
    assert (row["kept"], row["allowed"], row["value"]) == ("yes", 1.0, 1.0)
    row = limits.loc[("one an hour", "station", "high-level alarm not reached")]
    assert row["kept"] == "no"
    assert row["value"] > row["allowed"] == 2.3


def test_limits_of_plates_and_of_the_file_count_and_the_strictest_holds() -> None:
    when = episode(6 * 3600.0, 0.015)  # 4.77 starts an hour for two pumps: 3 of one at the worst
    plate = MotorPlate(most_starts_per_hour=5.0, least_off_s=1200.0)
    loose = dataclasses.replace(round_well(), ratings=Ratings(plates={"P1": plate}))
    strict = dataclasses.replace(
        round_well(),
        ratings=Ratings(
            plates={"P1": plate},
            limits=Limits(most_starts_per_hour=2.0),
            set_limits=("most_starts_per_hour",),
        ),
    )
    result = compare([("loose", loose, when), ("strict", strict, when)])
    limits = result.tables["limits"].set_index(["setting", "subject", "limit"])
    row = limits.loc[("loose", "P1", "starts per hour")]
    assert (row["allowed"], row["value"], row["kept"]) == (5.0, 3.0, "yes")
    row = limits.loc[("strict", "P1", "starts per hour")]
    assert (row["allowed"], row["value"], row["kept"]) == (2.0, 3.0, "no")
    assert limits.loc[("loose", "P2", "starts per hour"), "kept"] == "not judged"
    # each cycle lasts 754 s and a run 377 s, so a pump that takes turns rests 1131 s
    row = limits.loc[("loose", "P1", "minimum off time")]
    assert row["value"] == pytest.approx(3.0 * AREA_M2 * 0.8 / 0.015, rel=1e-9)
    assert (row["allowed"], row["kept"]) == (1200.0, "no")
    assert "'starts per hour' by strict" in " ".join(result.sentences())


def test_a_spill_is_told_and_judged() -> None:
    flood = episode(6 * 3600.0, 0.045)
    weak = round_well(lag_start_m=None)
    result = compare([("two pumps", round_well(), flood), ("one pump", weak, flood)])
    limits = result.tables["limits"]
    kept = limits[limits["limit"] == "no spill"].set_index("setting")
    assert list(kept["kept"]) == ["no", "no"]
    # 45 arrive, 42 or 30 are pumped once it stands at the crest: 3 or 15 L/s spill
    spills = kept["value"]
    assert spills["one pump"] > 4.0 * spills["two pumps"] > 0.0
    assert any(one.startswith("It spilled ") for one in result.sentences())


def test_processes_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(processes, "_WORTH_PROCESSES_S", 0.0)
    when = episode(86_400.0, 0.02)
    settings = [(name, round_well(name), when) for name in ("each cycle", "clock", "fixed")]
    told: list[tuple[int, int]] = []
    one = compare(settings)
    two = compare(settings, processes=2, progress=lambda done, of: told.append((done, of)))
    for name, table in one.tables.items():
        pd.testing.assert_frame_equal(table, two.tables[name], check_exact=True)
    assert one.sentences() == two.sentences()
    assert told[0] == (0, 3)
    assert told[-1] == (3, 3)


def broken() -> Station:
    """Return a station of which no run can be made: its controller names a pump too many."""
    plan = dataclasses.replace(round_well().control, controller="broken_controllers:UnknownPump")
    return dataclasses.replace(round_well(), control=plan)


def test_a_run_that_fails_is_one_error_that_names_the_setting() -> None:
    when = episode(86_400.0, 0.02)
    settings = [("good", round_well(), when), ("bad", broken(), when), ("next", round_well(), when)]
    with pytest.raises(StationSimError, match="setting 'bad': "):
        compare(settings)


def test_a_run_that_fails_in_another_process_is_the_same_error() -> None:
    when = episode(3600.0, 0.02)
    task = outcome.Task("bad", broken(), when, 0.0, 3600.0)
    with pytest.raises(StationSimError) as here:
        outcome.run_one(task)
    with pytest.raises(StationSimError) as there:
        processes.in_processes(outcome.run_one, [task], 1, lambda _: None)
    assert str(there.value) == str(here.value)


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ([], "0 settings leave nothing to compare"),
        ([("a", round_well(), episode(60.0, 0.01))], "1 setting leaves nothing to compare"),
        ([("a", round_well(), episode(60.0, 0.01))] * 2, "two settings are called 'a'"),
        (
            [("a", round_well(), episode(60.0, 0.01)), ("b", round_well(), episode(61.0, 0.01))],
            "b: begins or ends at another time than a",
        ),
        (
            [
                (name, round_well(), episode(60.0, 0.01, start_level_m=level))
                for name, level in (("a", 1.0), ("b", 5.0))
            ],
            "above the spill of this station (accepted: up to 4.2 m)",
        ),
    ],
)
def test_settings_that_cannot_be_compared_are_refused(settings: Any, told: str) -> None:
    with pytest.raises(InputError) as caught:
        compare(settings)
    assert told in str(caught.value)


def test_stations_made_in_python_say_in_what_they_differ() -> None:
    when = episode(3600.0, 0.02)
    lower = round_well("clock", lag_start_m=1.6)
    result = compare([("a", round_well(), when), ("b", lower, when)])
    rows = result.tables["settings"].set_index(["setting", "key"])["value"]
    assert rows["a", "control.lag_start"] == "1.8 m"
    assert rows["b", "control.lag_start"] == "1.6 m"
    assert (rows["a", "rotation.kind"], rows["b", "rotation.kind"]) == ("each cycle", "clock")
    assert rows["b", "rotation.every"] == "24 h"


def test_a_station_whose_only_pump_never_runs_can_be_compared() -> None:
    when = episode(3600.0, 0.02)
    single = Station(
        "single",
        Well((cylinder(30.0),)),
        (PumpUnit("P9", fixed_flow_m3s=0.03),),
        ControlPlan("staging", StagingSettings(2.0, 0.7), "fixed", NoSettings()),
    )
    result = compare([("two", round_well(), when), ("single", single, when)])
    assert math.isnan(value(result, "single", "shortest off time", "P9"))
    assert value(result, "single", "starts") == 0
    told = " ".join(result.sentences())
    assert "2 settings of round well and single" in told
    assert "P9 never ran and is left out" in told
    assert any(line.startswith("P9 starts") for line in result.lines())


@pytest.mark.parametrize(
    ("before", "after", "first"),
    [
        (5.0, 10.0, "doubles {}"),
        (5.0, 15.0, "triples {}"),
        (6.0, 8.0, "adds a third to {}"),
        (6.0, 9.0, "adds half to {}"),
        (6.0, 3.0, "halves {}"),
        (9.0, 6.0, "takes a third off {}"),
        (100.0, 101.0, "leaves {} unchanged"),
        (100.0, 103.0, "takes {} from 100 to 103"),
        (0.0, 0.0, "leaves {} unchanged"),
        (0.0, 4.0, "takes {} from 0 to 4"),
        (4.0, 0.0, "takes {} from 4 to 0"),
        (1000.0, 7000.0, "takes {} from 1,000 to 7,000"),
    ],
)
def test_words_for_ratios(before: float, after: float, first: str) -> None:
    assert effects.change(before, after)[0] == first


@pytest.mark.parametrize(
    ("key", "first", "last", "said"),
    [
        ("control.lag_start", "1.80 m", "1.60 m", "lowering the lag start by 0.2 m"),
        ("control.lag_start", "5.5ft", "6ft", "raising the lag start by 0.5 ft"),
        ("control.stop", "0.7 m", "0.9 m", "raising the stop level by 0.2 m"),
        ("pump.P1.flow_factor", "1.0", "0.9", "lowering the flow factor of P1 by 0.1"),
        ("inflow.homes.mean", "10 L/s", "12 L/s", "raising the mean of homes by 2 L/s"),
        ("control.lag_start", "6 ft", "1.9 m", "raising the lag start from 6 ft to 1.9 m"),
        ("control.start_delay", "0 s", "1 min", "raising the start delay from 0 s to 1 min"),
        (
            "control.start_delay",
            "1 h 30 min",
            "1 h",
            "lowering the start delay from 1 h 30 min to 1 h",
        ),
        ("inflow.homes.flow", "0 L/s", "1000000 L/s", "raising the flow of homes by 1,000,000 L/s"),
        ("control.lag_start", "6 ft", "20 L/s", "changing the lag start from 6 ft to 20 L/s"),
        ("rotation.kind", "clock", "fixed", "changing the rotation from clock to fixed"),
    ],
)
def test_what_was_done_to_a_key(key: str, first: str, last: str, said: str) -> None:
    assert differing.moved(key, first, last)[0] == said


@pytest.mark.parametrize("system", ["si", "us"])
def test_figures_show_what_they_are_about(grid: StudyResult, system: Any) -> None:
    assert set(grid.draw) == {"levels", "pumps", "grid"}
    levels = grid.figure("levels", system)
    legend = [text.get_text() for text in levels.axes[0].get_legend().get_texts()]
    assert legend[0] == f"1.80 m / {ALL}"
    first = levels.axes[0].lines[0].get_ydata()
    per_unit = 1.0 if system == "si" else 0.3048
    assert float(min(first)) * per_unit == pytest.approx(0.70, abs=1e-9)
    assert float(max(first)) * per_unit == pytest.approx(1.80, abs=1e-9)
    written = {text.get_text() for text in grid.figure("grid", system).axes[0].texts}
    assert written == {"1.99", "2.70", "5.09", "15.3"}
    bars = grid.figure("pumps", system).axes[1]
    assert sorted(bar.get_width() for bar in bars.patches)[-1] == value(
        grid, f"1.60 m / {LAST}", "starts", "P2"
    )


def test_the_benchmark_counts_what_a_run_of_it_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(Path(__file__).parent / "benchmarks"))
    import compare_rotations

    _, _, starts = compare_rotations.one_run(2)
    _, result = compare_rotations.compared(2, 1)
    counts = compare_rotations.starts_of(result)
    assert list(counts) == list(compare_rotations.ROTATIONS)
    # equal pumps: who leads changes no start of the station
    assert set(counts.values()) == {starts}

"""``rehearse`` from now: the minutes from a level that somebody reads, and a rise that they timed.

Sources as in ``test_rehearse.py``.
"""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stationsim.episode import Episode
from stationsim.errors import InputError
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.series import Recorded
from stationsim.inflow.storm import Hydrograph
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, cylinder
from stationsim.station import AlarmSettings, Station
from stationsim.studies.rehearse.now import LineupRow, NowAsked, Rise, from_now, lineups
from stationsim.testing import (
    MONDAY,
    duplex,
    engine_pump,
    reference_inflow,
    reference_station,
    tank,
    triplex,
)

MIN = 60.0
AT_0240 = 2 * 3600.0 + 40 * MIN


def week(*inflow: object) -> Episode:
    return Episode(MONDAY, 7 * 86_400.0, inflow, 1.0)  # type: ignore[arg-type]


def rows(station: Station, what: Episode, asked: NowAsked) -> dict[str, LineupRow]:
    table = from_now(station, what, asked).tables["lineups"]
    return {row.lineup: LineupRow(*row) for row in table.itertuples(index=False, name="R")}


def test_0240_at_230_with_nothing_running_is_132_minutes() -> None:
    # reference station, worked example of this project
    asked = NowAsked(AT_0240, 2.30)
    found = rows(reference_station(), week(reference_inflow()), asked)["nothing"]
    assert found.spill_s / MIN == pytest.approx(132.0, abs=0.5)
    assert found.alarm_s == 0.0


def test_a_measured_rise_scales_the_shape_and_gives_121_minutes() -> None:
    # the same worked example: 0.20 m in 6 min where the day's shape would have brought 1.26 m3
    asked = NowAsked(AT_0240, 2.30, rise=Rise(0.20, 6 * MIN))
    result = from_now(reference_station(), week(reference_inflow()), asked)
    assert result.tables["lineups"]["spill_s"][0] / MIN == pytest.approx(121.0, abs=0.5)
    scale = 0.20 * math.pi * 9 / 4 / (0.0035 * 360)
    assert f"x {scale:.2f}" in result.lines()[2]


def test_a_fall_with_a_pump_running_gives_the_inflow_of_a_drawdown() -> None:
    # own closed form: 3.0 m well, 30 L/s out, down 0.60 m in 200 s: 30 - 7.0686 x 0.6 / 0.2 L/s
    station = replace(tank(flow_m3s=0.030), well=Well((cylinder(3.0),)), spillway=Spillway(4.0))
    asked = NowAsked(3600.0, 1.20, rise=Rise(-0.60, 200.0, ("P1",)))
    tanker = from_now(station, week(Constant(0.005)), asked).tables["tanker"]
    expected = 0.030 - math.pi * 9 / 4 * 0.60 / 200.0
    assert tanker["inflow_m3s"][0] == pytest.approx(expected, rel=1e-9)


def test_a_rise_counts_the_storm_apart_from_the_day() -> None:
    # own closed form: 10 m2 rise 0.1 m in 100 s: 10 L/s, of which the storm brings 4 L/s
    storm = Hydrograph(0.0, [0.0, 86_400.0], [0.004, 0.004])
    asked = NowAsked(3600.0, 2.0, rise=Rise(0.1, 100.0))
    result = from_now(duplex(), week(Constant(0.003), storm), asked)
    assert "x 2.00" in result.lines()[2]
    assert result.tables["tanker"]["inflow_m3s"][0] == pytest.approx(0.010)


def test_changes_that_cannot_be_are_refused() -> None:
    what = week(Constant(0.005))
    storm = week(Constant(0.005), Hydrograph(0.0, [0.0, 86_400.0], [0.02, 0.02]))
    for episode, rise, told in (
        (what, Rise(-1.0, 100.0, ("P1",)), "P1 cannot lower it that fast"),
        (storm, Rise(0.01, 100.0), "the rain alone brings more"),
        (week(Constant(0.0)), Rise(0.1, 100.0), "no flow"),
        (what, Rise(2.5, 100.0), "began below the floor"),
        (what, Rise(0.1, 100.0, ("P9",)), "no machine is called 'P9'; there are P1, P2"),
    ):
        with pytest.raises(InputError, match=told):
            from_now(duplex(), episode, NowAsked(3600.0, 2.0, rise=rise))
    with pytest.raises(InputError, match=r"4\.5 m above the floor does not lie between"):
        from_now(duplex(), what, NowAsked(3600.0, 4.5))


def test_each_lineup_goes_its_own_way() -> None:
    # own closed form: 10 m2, at 3.5 m; 40 L/s in; P1 30, P1 + P2 60 L/s; stop 1, alarm 3, spill 4 m
    found = rows(duplex(), week(Constant(0.040)), NowAsked(3600.0, 3.5))
    assert list(found) == ["nothing", "one pump", "two pumps"]
    assert found["nothing"].spill_s == pytest.approx(5.0 / 0.040)
    assert found["one pump"].spill_s == pytest.approx(5.0 / 0.010)
    assert found["two pumps"].below_alarm_s == pytest.approx(5.0 / 0.020)
    assert found["two pumps"].stop_s == pytest.approx(25.0 / 0.020)
    assert math.isinf(found["two pumps"].spill_s)
    below = rows(duplex(), week(Constant(0.040)), NowAsked(3600.0, 2.5))
    assert below["one pump"].alarm_s == pytest.approx(5.0 / 0.010)
    assert below["nothing"].alarm_s == pytest.approx(5.0 / 0.040)


def test_a_pump_that_just_balances_neither_spills_nor_gets_down() -> None:
    result = from_now(duplex(), week(Constant(0.030)), NowAsked(3600.0, 2.5))
    told = result.sentences()
    assert (
        "With one pump it neither spills nor falls to the stop level within 72 h, on this inflow."
    ) in told


def test_lineups_are_told_by_number_or_by_name() -> None:
    assert [label for label, _ in lineups(triplex())] == [
        "nothing", "one pump", "two pumps", "three pumps",
    ]  # fmt: skip
    assert [label for label, _ in lineups(triplex(), ["P2"])] == [
        "nothing",
        "one pump",
        "two pumps",
    ]
    assert lineups(triplex(), ["P2"])[2] == ("two pumps", (0, 2))
    assert [label for label, _ in lineups(duplex(), ["P1"])] == ["nothing", "P2"]
    unlike = duplex((0.03, 0.02))
    assert [label for label, _ in lineups(unlike)] == ["nothing", "P1", "P2", "P1 + P2"]
    with_engine = replace(duplex(), engine_pump=engine_pump())
    assert lineups(with_engine)[-1] == ("E1", (2,))
    assert lineups(with_engine, ["E1"])[-1][0] == "two pumps"


def test_the_tanker_needs_inflow_over_its_load() -> None:
    # own arithmetic: 16 L/s is 57.6 m3 an hour, 5.76 loads of 10 m3
    result = from_now(duplex(), week(Constant(0.016)), NowAsked(3600.0, 2.0))
    assert result.tables["tanker"]["loads_per_hour"][0] == pytest.approx(5.76)
    assert result.sentences()[-1] == "A tanker of 10.0 m3 holds the level with 5.8 loads an hour."


def test_the_screen_fits_a_phone() -> None:
    station = replace(reference_station(), alarms=AlarmSettings(high_level_m=2.3))
    asked = NowAsked(AT_0240, 2.30, out=("P2",), rise=Rise(0.20, 360.0))
    result = from_now(station, week(reference_inflow()), asked)
    lines = result.lines()
    assert max(map(len, lines[:-1])) <= 52
    assert len(lines) + len(result.sentences()) <= 20
    assert lines[:4] == [
        "reference station",
        "Mon 02:40, level 2.30 m, inflow 3.93 L/s",
        "cannot run: P2",
        "day's inflow x 1.12, from the timed change",
    ]
    assert result.sentences()[:2] == [
        (
            "Nothing running: the water stands at the alarm level or above it; spill in 121 min, at"
            " 04:41."
        ),
        "Down to the stop level with P1 in 7 min.",
    ]
    assert "wet well" in lines[-1]


def test_upstream_stations_that_just_went_dark_count_from_now() -> None:
    asked = NowAsked(3600.0, 2.0, upstream=0.5, upstream_lag_s=300.0)
    found = rows(duplex(), week(Constant(0.020)), asked)["nothing"]
    assert found.spill_s == pytest.approx(300.0 + (20.0 - 6.0) / 0.010)


def test_at_the_spill_it_spills_now_and_at_the_stop_it_is_down() -> None:
    at_crest = from_now(duplex(), week(Constant(0.040)), NowAsked(3600.0, 4.0))
    # own closed form: one pump takes 30 of 40 L/s; two take 60, and 30 m3 lie above the stop
    assert at_crest.sentences()[:3] == [
        (
            "It spills now, and goes on until as much is taken away as arrives. Spills are reported"
            " as the law of the place says."
        ),
        "Down to the stop level with two pumps in 25 min.",
        "Takes less than arrives: one pump (30.0 L/s); it goes on spilling.",
    ]
    at_stop = rows(duplex(), week(Constant(0.020)), NowAsked(3600.0, 1.0))
    assert at_stop["one pump"].stop_s == 0.0


def test_the_answer_needs_neither_pandas_nor_matplotlib() -> None:
    """It must come at once: what takes long to import stays out (a start-up of a second)."""
    script = (
        "import sys\n"
        "from stationsim.scenario.load import load\n"
        "from stationsim.studies.rehearse.now import NowAsked, from_now\n"
        "loaded = load(sys.argv[1])\n"
        "result = from_now(loaded.station, loaded.episode, NowAsked(9600.0, 2.3))\n"
        "assert '132 min' in '\\n'.join(result.lines())\n"
        "heavy = {'pandas', 'matplotlib', 'scipy.optimize', 'simpy'} & set(sys.modules)\n"
        "print(sorted(heavy))\n"
    )
    scenario = Path(__file__).parents[1] / "scenarios" / "reference-station.toml"
    done = subprocess.run(
        [sys.executable, "-c", script, str(scenario)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(("rise", "scale"), [(0.2, 0.305), (0.5, 0.763)])
def test_a_change_that_began_before_the_episode_reads_the_evening_before(
    rise: float, scale: float
) -> None:
    # own closed form: 23:40 to 00:10, 20 L/s falling to 1 at midnight in the last hour, then rising
    flows = [0.001, *[0.02] * 23]
    midnight = 0.001 + 0.019 * np.array([1 / 3, 0.0])  # at 23:40 and 24:00
    before = midnight.sum() / 2 * 1200.0
    after = (0.001 + 0.001 + 0.019 / 6) / 2 * 600.0
    expected = rise * 10.0 / (before + after)
    assert expected == pytest.approx(scale, abs=6e-4)
    what = week(Daily(flows, flows))
    tables = [
        from_now(duplex(), what, NowAsked(at_s, 2.0, rise=Rise(rise, 1800.0))).tables["tanker"]
        for at_s in (600.0, 600.0 + 86_400.0)
    ]
    assert [table["shape_factor"][0] for table in tables] == pytest.approx([expected] * 2)


def test_a_pump_named_twice_runs_once() -> None:
    what = week(Constant(0.02))
    once, twice = (
        from_now(duplex(), what, NowAsked(3600.0, 1.5, rise=Rise(-0.1, 100.0, names)))
        for names in (("P1",), ("P1", "P1"))
    )
    assert once.lines() == twice.lines()


def test_a_fall_without_a_pump_asks_which_one_ran() -> None:
    asked = NowAsked(3600.0, 1.5, rise=Rise(-0.1, 100.0))
    with pytest.raises(InputError, match="no pump is named that ran"):
        from_now(duplex(), week(Constant(0.02)), asked)


def test_stations_upstream_that_are_dark_at_once_bring_nothing_more() -> None:
    result = from_now(duplex(), week(Constant(0.02)), NowAsked(3600.0, 2.0, upstream=1.0))
    assert result.tables["tanker"]["inflow_m3s"][0] == 0.0
    assert "0.0 loads an hour" in result.sentences()[-1]


def test_a_short_record_can_be_asked_from_now_and_its_end_is_told() -> None:
    times = np.arange(0.0, 10 * 3600.0 + 1.0, 600.0)
    record = Recorded(times, np.full(len(times), 0.02))
    what = Episode(MONDAY, 10 * 3600.0, (record,), 1.0)
    found = rows(duplex(), what, NowAsked(9.9 * 3600.0, 2.0))["nothing"]
    assert found.spill_s == pytest.approx(1000.0)
    with pytest.raises(
        InputError, match=r"after the end of the recorded inflow, Mon 2027-03-01 10"
    ):
        from_now(duplex(), what, NowAsked(11.0 * 3600.0, 2.0))


def test_an_alarm_at_the_crest_comes_with_the_spill() -> None:
    station = replace(duplex(), alarms=AlarmSettings(high_level_m=4.0))
    told = from_now(station, week(Constant(0.02)), NowAsked(3600.0, 2.0)).sentences()
    assert told[0] == "Nothing running: spill in 17 min, at 01:17."


def test_a_scale_far_from_the_day_is_said_to_be_so_with_what_a_steady_excess_would_mean() -> None:
    # own closed form: 10 m2 up 0.5 m in 500 s is 10 L/s, 5 times the 2 L/s of the hour; 20 m3 at 10
    flows = [0.002] * 2 + [0.020] * 22
    result = from_now(
        duplex(), week(Daily(flows, flows)), NowAsked(600.0, 2.0, rise=Rise(0.5, 500))
    )
    (told,) = [line for line in result.sentences() if "far from" in line]
    assert told == (
        "x 5.00 is far from the day's inflow: time it once more. Were the difference rain or a"
        " broken pipe, which does not swing with the day, nothing running would mean a spill in"
        " 33 min."
    )
    near = from_now(duplex(), week(Constant(0.01)), NowAsked(3600.0, 2.0, rise=Rise(0.1, 90)))
    assert not any("far from" in line for line in near.sentences())

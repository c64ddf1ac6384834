"""What ``show`` tells of a rainy day before any run: day, hours, greatest flow, refusals."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scenario_texts import DUPLEX
from test_plots import texts_outside

from stationsim.cli import main
from stationsim.outline import rainy_day
from stationsim.plots import rainy_day_figure
from stationsim.scenario.load import load

# 20 mm in 6 h on 40 ha, of which 2 % arrives: 160 m3. The response is over 3 h after its rain, so
# from 3 h on the flow is steady: 160 m3 / 6 h = 7.407 L/s (own computation)
WET = (
    DUPLEX.replace("2027-03-01T06:30", "2027-03-01T00:00")
    + """\
[rain_derived]
area = "40 ha"
[rain_derived.quick]
fraction = 0.02
time_to_peak = "1 h"
fall_ratio = 2.0
"""
)
RAIN = "20 mm in 6 h from 08:00"
STEADY_M3S = 160.0 / 21_600.0


@pytest.fixture
def wet(tmp_path: Path) -> Path:
    file = tmp_path / "wet.toml"
    file.write_text(WET, encoding="utf-8")
    return file


def show(file: Path, *options: str) -> Result:
    return CliRunner().invoke(main, ["show", str(file), *options])


def hours(output: str) -> dict[str, tuple[float, float, float]]:
    """Return the three flows of each hour [L/s]."""
    found = re.findall(r"^(\d\d:\d\d) +([\d.]+) L/s +([\d.]+) L/s +([\d.]+) L/s$", output, re.M)
    return {clock: (float(a), float(b), float(c)) for clock, *(a, b, c) in found}


def test_the_hours_of_even_rain_are_those_worked_by_hand(wet: Path) -> None:
    outcome = show(wet, "--no-plots", "--rain", RAIN)
    assert outcome.exit_code == 0, outcome.output
    assert "Inflow of day 1 (2027-03-01), on which rain brings 160 m3:" in outcome.output
    told = hours(outcome.output)
    assert list(told) == [f"{hour:02d}:00" for hour in range(24)]
    assert told["07:00"] == (10.0, 0.0, 10.0)
    for hour in (11, 12, 13):
        assert told[f"{hour}:00"] == (10.0, pytest.approx(7.41, abs=0.005), 17.4)
    assert told["17:00"] == (10.0, 0.0, 10.0)
    # what the hours bring is what rained
    assert sum(row[1] for row in told.values()) * 3.6 == pytest.approx(160.0, abs=0.4)
    # on its rising side t^2 / 3 of the steady flow has come by t [h]: a ninth in the first hour
    first = STEADY_M3S * (1.0 / 3.0) / 3.0 * 1000.0
    assert told["08:00"][1] == pytest.approx(first, abs=0.005)
    (greatest,) = re.findall(r"^greatest .*", outcome.output, re.M)
    assert greatest.split() == ["greatest", "10.0", "L/s", "17.4", "L/s"]
    # and the minutes to fill go by the wet flow too
    assert "at the greatest (17.4 L/s)" in outcome.output


def test_the_day_is_the_one_that_the_rain_of_the_command_line_wets_most(wet: Path) -> None:
    storm = '[rain.own]\nkind = "block"\nat = "day 1 02:00"\ndepth = "60 mm"\nduration = "2 h"\n'
    wet.write_text(WET + storm, encoding="utf-8")
    assert "Inflow of day 1 " in show(wet, "--no-plots").output
    added = show(wet, "--no-plots", "--rain", "5 mm in 1 h from day 2 04:00").output
    assert "Inflow of day 2 (2027-03-02), on which rain brings 40.0 m3:" in added
    over_midnight = show(wet, "--no-plots", "--rain", "6 mm in 6 h from 22:00").output
    assert "Inflow of day 2 " in over_midnight  # 2 h of it fall on day 1
    both = show(wet, "--no-plots", "--rain", "1 mm in 1 h from day 2 04:00", "--rain", RAIN)
    assert "Inflow of day 1 (2027-03-01), on which rain brings 640 m3:" in both.output


def test_a_rainy_day_lies_between_midnights_and_within_the_episode(wet: Path) -> None:
    wet.write_text(WET.replace("T00:00", "T06:30").replace('"2 d"', '"30 h"'), encoding="utf-8")
    for rain, number, begin_h, end_h, clock in (
        (RAIN, 1, 0.0, 17.5, "06:30"),
        ("5 mm in 1 h from day 2 04:00", 2, 17.5, 30.0, "00:00"),
    ):
        loaded = load(wet, rains=[rain])
        day = rainy_day(loaded.episode, added=1)
        assert day is not None
        assert (day.number, day.begin_s, day.end_s) == (number, begin_h * 3600, end_h * 3600)
        marks = day.hours_s(loaded.episode.clock_offset_s)
        assert (marks[0], marks[-1]) == (day.begin_s, day.end_s)
        assert np.diff(marks).max() <= 3600.0
        assert np.diff(marks).min() >= 1800.0
        told = hours(show(wet, "--no-plots", "--rain", rain).output)
        assert next(iter(told)) == clock


def test_no_rain_and_rain_that_never_arrives_tell_of_no_day(wet: Path) -> None:
    assert "Inflow of day" not in show(wet, "--no-plots").output
    late = show(wet, "--no-plots", "--rain", "5 mm in 1 h from day 9 04:00")
    assert late.exit_code == 0
    assert "lies outside the episode" in late.output
    assert "Inflow of day" not in late.output


@pytest.mark.parametrize(
    ("text", "rain"),
    [
        (WET, "20 mm in 6 h"),
        (WET, "20 furlongs in 6 h from 14:00"),
        (WET, "20 mm in 2 s from 14:00"),
        (DUPLEX, RAIN),
    ],
)
def test_show_refuses_rain_as_run_does(tmp_path: Path, text: str, rain: str) -> None:
    file = tmp_path / "s.toml"
    file.write_text(text, encoding="utf-8")
    out = str(tmp_path / "out")
    shown = show(file, "--out", out, "--rain", rain)
    run = CliRunner().invoke(main, ["run", str(file), "--out", out, "--rain", rain])
    assert shown.exit_code == run.exit_code == 2
    assert "error: --rain 1: " in shown.output
    assert shown.output == run.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("system", ["si", "us"])
def test_the_picture_of_the_day_shows_rain_and_inflow(
    wet: Path, tmp_path: Path, system: Any
) -> None:
    loaded = load(wet, rains=[RAIN])
    day = rainy_day(loaded.episode, added=1)
    assert day is not None
    figure = rainy_day_figure(loaded.station, loaded.episode, day, system)
    figure.canvas.draw()
    assert texts_outside(figure) == []
    rain, flows = figure.axes
    (steps,) = rain.patches
    per_hour = {"si": 20.0 / 6.0, "us": 20.0 / 25.4 / 6.0}[system]
    assert steps.get_data().values.tolist() == pytest.approx([0.0, per_hour, 0.0], abs=1e-12)
    by_name = {line.get_label(): line.get_ydata() for line in flows.lines}
    litres = {"si": 1000.0, "us": 15_850.323}[system]
    assert by_name["together"].max() == pytest.approx((0.01 + STEADY_M3S) * litres, rel=1e-6)
    assert by_name["without rain"] == pytest.approx(0.01 * litres, rel=1e-6)
    outcome = show(wet, "--out", str(tmp_path / "seen"), "--rain", RAIN)
    assert outcome.exit_code == 0
    assert (tmp_path / "seen" / "inflow.png").stat().st_size > 10_000

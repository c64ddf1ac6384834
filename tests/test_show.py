"""The station before any run: volumes and minutes between levels, the command, the pictures."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from stationsim.cli import main
from stationsim.inflow.segments import total_inflow
from stationsim.outline import inflow_range, lines, steps
from stationsim.scenario.load import load

SCENARIOS = Path(__file__).parents[1] / "scenarios"
REFERENCE = SCENARIOS / "reference-station.toml"


def test_volumes_of_the_reference_station_are_those_worked_by_hand() -> None:
    # own computation: 7.0686 m2 x 0.80 m = 5.655 m3 twice; alarm to spill 33.430 m3
    station = load(REFERENCE).station
    by_name = {step.name: step for step in steps(station, 0.0035, 0.017)}
    assert by_name["stop"].volume_m3 == pytest.approx(5.6549, abs=1e-4)
    lead_to_alarm = by_name["lead start"].volume_m3 + by_name["lag start"].volume_m3
    assert lead_to_alarm == pytest.approx(5.6549, abs=1e-4)
    alarm_to_spill = by_name["high-level alarm"].volume_m3 + by_name["inlet invert"].volume_m3
    assert alarm_to_spill == pytest.approx(33.430, abs=1e-3)
    assert by_name["stop"].slow_s == pytest.approx(5.6549 / 0.0035, rel=1e-4)
    assert by_name["stop"].fast_s == pytest.approx(5.6549 / 0.0170, rel=1e-4)
    assert math.isnan(by_name["spill"].volume_m3)


def test_inflow_range_is_that_of_the_daily_pattern() -> None:
    episode = load(REFERENCE).episode
    least, greatest = inflow_range(total_inflow(episode), episode.duration_s)
    assert least == pytest.approx(0.0035, rel=1e-12)  # 0.35 of 10 L/s on a weekday night
    assert greatest == pytest.approx(0.0170, rel=1e-12)


def test_nothing_arriving_is_never_and_no_error() -> None:
    station = load(REFERENCE).station
    assert all("nan" not in line for line in lines(station, 0.0, 0.017))
    assert any("never" in line for line in lines(station, 0.0, 0.017))


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*.toml")), ids=lambda path: path.stem)
def test_show_names_every_set_level_in_the_order_of_the_well(path: Path, tmp_path: Path) -> None:
    out = tmp_path / "seen"
    outcome = CliRunner().invoke(main, ["show", str(path), "--out", str(out)])
    assert outcome.exit_code == 0, outcome.output
    told = outcome.output.splitlines()
    named = [step.name for step in steps(load(path).station, 0.01, 0.02)]
    at = [next(n for n, line in enumerate(told) if line.startswith(f"{x} ")) for x in named]
    assert at == sorted(at, reverse=True)
    assert {file.name for file in out.iterdir()} >= {"station.png", "manifest.json"}
    assert "planning and teaching" in outcome.output


def test_show_tells_levels_in_the_reference_of_the_file() -> None:
    outcome = CliRunner().invoke(main, ["show", str(SCENARIOS / "mill-reach.toml"), "--no-plots"])
    assert "22.90 m" in outcome.output  # the lead start, as an elevation
    assert "as elevations" in outcome.output


def test_show_refuses_an_existing_folder_and_a_wrong_scenario(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "mine.txt").write_text("keep me", encoding="utf-8")
    outcome = CliRunner().invoke(main, ["show", str(REFERENCE), "--out", str(tmp_path / "old")])
    assert outcome.exit_code == 2
    wrong = CliRunner().invoke(main, ["show", str(REFERENCE), "--set", "control.stop=9"])
    assert wrong.exit_code == 2
    assert "unit" in wrong.output

"""The incoming sewer in a scenario: what is built of it, what is refused."""

# ruff: noqa: E501 - messages are kept whole
from __future__ import annotations

import math
from pathlib import Path

import pytest
from click.testing import CliRunner
from scenario_texts import DUPLEX, changed, in_frame

from stationsim import load_scenario, simulate
from stationsim.cli import main
from stationsim.physics.sewer import Manhole, Sewer, SewerPipe
from stationsim.scenario.load import load

PIPES = """\
[sewer.pipe.S1]
diameter = "300 mm"
length = "60 m"
slope = 0.005
[sewer.pipe.S2]
diameter = "250 mm"
length = "50 m"
slope = 0.01
"""
MANHOLE = """\
[sewer.manhole.M1]
pipe = "S1"
at = "60 m"
diameter = "1.0 m"
cover = "4.40 m"
"""
SEWERED = (
    changed('name = "Test duplex"', 'name = "Test duplex"\ninlet_invert = "2.50 m"')
    + PIPES
    + MANHOLE
)
SHAFT_M2 = math.pi * 9.0 / 4.0


def written(folder: Path, text: str) -> Path:
    path = folder / "s.toml"
    path.write_text(text, encoding="utf-8")
    return path


def rise(slope: float, length_m: float) -> float:
    """Return how much a pipe rises whose slope is rise over the distance in plan."""
    return length_m * slope / math.hypot(1.0, slope)


def test_pipes_follow_on_each_other_from_the_inlet_invert(tmp_path: Path) -> None:
    station, _ = load_scenario(written(tmp_path, SEWERED))
    second_m = 2.5 + rise(0.005, 60.0)
    pipes = (SewerPipe(0.3, 60.0, 0.005, 2.5), SewerPipe(0.25, 50.0, 0.01, second_m))
    crown_m = 2.5 + rise(0.005, 60.0) + 0.3 / math.hypot(1.0, 0.005)
    sewer = Sewer(pipes, (Manhole(1.0, crown_m, 4.4),))
    for level in (2.4, 2.6, 2.9, 3.1, 3.6, 4.2, 4.4):
        beside = station.well.volume_at(level) - SHAFT_M2 * level
        assert beside == pytest.approx(sewer.volume_at(level), rel=1e-5, abs=1e-8), level


def test_a_full_sewer_holds_what_its_measures_say(tmp_path: Path) -> None:
    station, _ = load_scenario(written(tmp_path, SEWERED))
    pipes = math.pi / 4.0 * (0.3**2 * 60.0 + 0.25**2 * 50.0)
    crown_m = 2.5 + rise(0.005, 60.0) + 0.3 / math.hypot(1.0, 0.005)
    shaft = math.pi / 4.0 * (4.2 - crown_m)
    beside = station.well.volume_at(4.2) - SHAFT_M2 * 4.2
    assert beside == pytest.approx(pipes + shaft, rel=1e-9)


def test_a_branch_begins_at_the_upper_end_of_the_pipe_it_names(tmp_path: Path) -> None:
    text = SEWERED.replace("[sewer.pipe.S2]\n", '[sewer.pipe.S2]\nabove = "S3"\n') + (
        '[sewer.pipe.S3]\nabove = "S1"\ndiameter = "250 mm"\nlength = "20 m"\nslope = 0.02\n'
    )
    station, _ = load_scenario(written(tmp_path, text))
    third_m = 2.5 + rise(0.005, 60.0)
    second_m = third_m + rise(0.02, 20.0)
    pipes = (
        SewerPipe(0.3, 60.0, 0.005, 2.5),
        SewerPipe(0.25, 20.0, 0.02, third_m),
        SewerPipe(0.25, 50.0, 0.01, second_m),
    )
    for level in (2.7, 3.0, 3.3):  # above the crown, the manhole holds water too
        sewer = Sewer(pipes, (Manhole(1.0, pipes[0].crown_at(60.0), 4.4),))
        beside = station.well.volume_at(level) - SHAFT_M2 * level
        assert beside == pytest.approx(sewer.volume_at(level), rel=1e-5), level


def test_levels_of_a_sewer_are_those_of_the_file(tmp_path: Path) -> None:
    levels = {"0.70 m": "98.90 m", "1.50 m": "99.70 m", "1.80 m": "100.00 m"}
    levels |= {"4.20 m": "102.40 m", "0.8 m": "99.0 m", "2.50 m": "100.70 m", "4.40 m": "102.60 m"}
    frame = 'levels_are = "elevation"\nfloor_elevation = "98.20 m"'
    one, _ = load_scenario(written(tmp_path, SEWERED))
    other, _ = load_scenario(written(tmp_path, in_frame(frame, levels, SEWERED)))
    assert other.well.volume_at(4.2) == pytest.approx(one.well.volume_at(4.2), rel=1e-9)


def test_the_sewer_buys_time_in_a_grid_loss_and_spills_at_the_lowest_cover(tmp_path: Path) -> None:
    text = changed('level = "4.20 m"', 'level = "4.40 m"', SEWERED)
    without = changed('level = "4.20 m"', 'level = "4.40 m"')
    spilled = []
    for one in (text, without):
        path = written(tmp_path, one)
        result = simulate(*load_scenario(path, events=["12:00 grid loss for 3 h"]))
        spilled.append(result.spills)
    later_s = float(spilled[0].start_s[0] - spilled[1].start_s[0])
    held = load(written(tmp_path, text)).station.well.volume_at(4.4) - SHAFT_M2 * 4.4
    assert later_s == pytest.approx(held / 0.010, abs=1e-3)


# ---------------------------------------------------------------- wrong inputs

WRONG = {
    "no inlet invert": (
        DUPLEX + PIPES,
        "station.inlet_invert: is missing, and [sewer] is given: its lowest pipe begins there",
        'inlet_invert = "3.00 m"',
    ),
    "cover below the spill": (
        changed('cover = "4.40 m"', 'cover = "3.90 m"', SEWERED),
        "sewer.manhole.M1.cover: lies below spill.level: water would leave there first (found 3.90 m; accepted: 4.20 m or above)",
        'write spill.level = "3.90 m", the lowest cover',
    ),
    "manholes, and no spill": (
        changed('[spill]\nlevel = "4.20 m"\n', "", SEWERED),
        "spill: is missing, and water would leave at manhole 'M1'",
        'add [spill] with level = "4.40 m"',
    ),
    "manhole on no pipe": (
        changed('pipe = "S1"', 'pipe = "s1"', SEWERED),
        "sewer.manhole.M1.pipe: no pipe of the sewer is called 's1' (accepted: S1, S2)",
        "did you mean 'S1'?",
    ),
    "manhole beyond its pipe": (
        changed('at = "60 m"', 'at = "75 m"', SEWERED),
        "sewer.manhole.M1.at: lies beyond the end of pipe 'S1' (found 75.00 m",
        "0 to 60.00 m",
    ),
    "cover below the crown": (
        changed('cover = "4.40 m"', 'cover = "2.90 m"', SEWERED),
        "sewer.manhole.M1.cover: must lie above the crown of its pipe",
        "raise it",
    ),
    "pipe above no pipe": (
        changed("[sewer.pipe.S2]\n", '[sewer.pipe.S2]\nabove = "S7"\n', SEWERED),
        "sewer.pipe.S2.above: no pipe of the sewer is called 'S7'",
        "S1",
    ),
    "pipes in a circle": (
        changed("[sewer.pipe.S1]\n", '[sewer.pipe.S1]\nabove = "S2"\n', SEWERED),
        "sewer.pipe.S1.above: goes in a circle (S1 -> S2 -> S1)",
        "begin at the well",
    ),
    "slope as a length": (
        changed("slope = 0.005", 'slope = "5 mm"', SEWERED),
        "sewer.pipe.S1.slope: text '5 mm' where a number is needed",
        "",
    ),
    "slope that falls away from the well": (
        changed("slope = 0.005", "slope = -0.005", SEWERED),
        "sewer.pipe.S1.slope: number out of range",
        "from 0 to 1",
    ),
    "manholes without pipes": (
        SEWERED.replace(PIPES, ""),
        "sewer.pipe: is missing",
        '[sewer.pipe.S1] with diameter = "300 mm"',
    ),
    "a misspelt key": (
        changed('cover = "4.40 m"', 'covr = "4.40 m"', SEWERED),
        "sewer.manhole.M1.covr: cover is missing; did you mean it by 'covr'?",
        "",
    ),
    "invert below the floor": (
        changed('"2.50 m"', '"-0.20 m"', SEWERED),
        "station.inlet_invert: lies below the floor",
        "raise it",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_sewer_is_told_in_one_line_and_nothing_is_written(tmp_path: Path, name: str) -> None:
    text, said, fix = WRONG[name]
    path, out = written(tmp_path, text), tmp_path / "out"
    done = CliRunner().invoke(main, ["run", str(path), "--out", str(out)])
    assert done.exit_code == 2, done.output
    (line,) = done.output.splitlines()
    assert said in line
    assert fix in line
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("sewer", "keys: pipe, manhole"),
        ("sewer.pipe.above", "for a sewer that branches"),
        ("sewer.manhole.cover", "not below the spill"),
        ("sewer.pipe.slope", "number from 0 to 1"),
    ],
)
def test_explain_knows_the_keys_of_the_sewer(words: str, said: str) -> None:
    done = CliRunner().invoke(main, ["explain", words])
    assert done.exit_code == 0, done.output
    assert said in " ".join(done.output.split()).lower()


def test_the_shipped_storm_spills_at_the_lowest_manhole_after_filling_the_sewer() -> None:
    path = Path(__file__).parents[1] / "scenarios" / "bleach-field-manhole.toml"
    station, episode = load_scenario(path)
    result = simulate(station, episode)
    assert station.spillway is not None
    assert station.cover_m is not None
    assert station.spillway.crest_m == 4.45 < station.cover_m - 1.0
    assert len(result.spills) == 1
    assert result.spills.volume_m3[0] > 20.0
    # of what stands between inlet invert and spill, more is in the sewer than in the well
    beside = station.well.volume_at(4.45) - SHAFT_M2 * 4.45
    assert beside > 2.0 * SHAFT_M2 * (4.45 - 2.90)

"""The benched sump of a scenario: its volume by solid geometry, and how the water rises in it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from scenario_texts import changed, in_frame

from stationsim import simulate
from stationsim.cli import main
from stationsim.errors import ScenarioError
from stationsim.scenario.load import Loaded, load


def loaded(folder: Path, text: str) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file)


def obelisk_m3(foot: tuple[float, float], top: tuple[float, float], high: float) -> float:
    """Return h/6 [(2a + c) b + (2c + a) d], solid geometry: the obelisk (formula from memory)."""
    (a, b), (c, d) = foot, top
    return high / 6.0 * ((2.0 * a + c) * b + (2.0 * c + a) * d)


BENCHED = """\
[well.bench]
shape = "frustum"
bottom_length = "{}"
bottom_width = "{}"
top_length = "{}"
top_width = "{}"
to = "{}"
[well.shaft]
shape = "box"
length = "{}"
width = "{}"
from = "{}"
"""


@pytest.mark.parametrize(
    ("foot", "top"),
    [
        ((1.0, 0.6), (3.0, 2.0)),  # benched on all sides
        ((3.0, 0.5), (3.0, 2.0)),  # a trough, benched on two
        ((3.0, 0.0), (3.0, 2.0)),  # a wedge
        ((0.0, 0.0), (3.0, 2.0)),  # a pyramid on its point
        ((3.0, 2.0), (3.0, 2.0)),  # no benching: a box
    ],
)
def test_a_benched_sump_holds_what_solid_geometry_says(
    tmp_path: Path, foot: tuple[float, float], top: tuple[float, float]
) -> None:
    lengths = [f"{x} m" for x in (*foot, *top, 0.6, *top, 0.6)]
    text = changed(
        '[well.shaft]\nshape = "cylinder"\ndiameter = "3.0 m"\n', BENCHED.format(*lengths)
    )
    well = loaded(tmp_path, text).station.well
    for level in (0.15, 0.3, 0.6):
        part = level / 0.6
        here = (foot[0] + part * (top[0] - foot[0]), foot[1] + part * (top[1] - foot[1]))
        assert well.area_at(level) == pytest.approx(here[0] * here[1], rel=1e-12)
        volume = obelisk_m3(foot, here, level)
        assert well.volume_at(level) == pytest.approx(volume, rel=1e-12)
        assert well.level_at(volume) == pytest.approx(level, rel=1e-9)
    whole = obelisk_m3(foot, top, 0.6) + top[0] * top[1] * 2.0
    assert well.volume_at(2.6) == pytest.approx(whole, rel=1e-12)


def test_a_benched_sump_in_feet_and_as_elevations_holds_the_same(tmp_path: Path) -> None:
    feet = ["4 ft", "2 ft", "10 ft", "8 ft", "40.0 ft", "10 ft", "8 ft", "40.0 ft"]
    levels = {"0.70 m": "40.3 ft", "1.50 m": "43 ft", "1.80 m": "44 ft"}
    levels |= {"4.20 m": "52 ft", "0.8 m": "40.6 ft"}
    text = in_frame('levels_are = "elevation"\nfloor_elevation = "38.0 ft"', levels)
    text = changed(
        '[well.shaft]\nshape = "cylinder"\ndiameter = "3.0 m"\n', BENCHED.format(*feet), text
    )
    station = loaded(tmp_path, text).station
    foot = 0.3048
    assert station.well.volume_at(2 * foot) == pytest.approx(
        obelisk_m3((4, 2), (10, 8), 2) * foot**3, rel=1e-9
    )


def test_water_in_a_benched_sump_rises_as_its_volume_says(tmp_path: Path) -> None:
    # own computation: below the lead start nothing pumps, so 10 L/s fill the sump as a measure
    lengths = ["1 m", "0.6 m", "3 m", "2 m", "0.6 m", "3 m", "2 m", "0.6 m"]
    text = changed(
        '[well.shaft]\nshape = "cylinder"\ndiameter = "3.0 m"\n', BENCHED.format(*lengths)
    )
    text = changed('start_level = "0.8 m"', 'start_level = "0.1 m"', text)
    found = loaded(tmp_path, text)
    (first, *_rest) = simulate(found.station, found.episode).trace.runs
    part = (1.0 + 2.0 / 6.0, 0.6 + 1.4 / 6.0)  # length and width at 0.1 m
    bench = obelisk_m3((1.0, 0.6), (3.0, 2.0), 0.6) - obelisk_m3((1.0, 0.6), part, 0.1)
    assert first.start_s == pytest.approx((bench + 6.0 * (1.5 - 0.6)) / 0.010, abs=1e-6)


def test_show_tells_the_volume_of_a_benched_sump(tmp_path: Path) -> None:
    # by the obelisk: 0.753 m3 up to a stop at 0.40 m, 2.33 m by 1.53 m there; 75 s at 10 L/s
    lengths = ["1 m", "0.6 m", "3 m", "2 m", "0.6 m", "3 m", "2 m", "0.6 m"]
    text = changed(
        '[well.shaft]\nshape = "cylinder"\ndiameter = "3.0 m"\n', BENCHED.format(*lengths)
    )
    file = tmp_path / "s.toml"
    file.write_text(changed('stop = "0.70 m"', 'stop = "0.40 m"', text), encoding="utf-8")
    outcome = CliRunner().invoke(main, ["show", str(file), "--no-plots"])
    assert outcome.exit_code == 0, outcome.output
    lines = [line.split() for line in outcome.output.splitlines()]
    at = lines.index(["stop", "0.40", "m"])
    assert lines[at + 1] == ["0.753", "m3", "1.3", "min", "1.3", "min"]


def test_a_frustum_says_what_it_lacks_and_that_its_top_lies_too_low(tmp_path: Path) -> None:
    lengths = ["1 m", "0.6 m", "3 m", "2 m", "0.6 m", "3 m", "2 m", "0.6 m"]
    text = changed(
        '[well.shaft]\nshape = "cylinder"\ndiameter = "3.0 m"\n', BENCHED.format(*lengths)
    )
    with pytest.raises(ScenarioError, match=r"well\.bench\.top_width: is missing"):
        loaded(tmp_path, changed('top_width = "2 m"\n', "", text))
    low = changed('to = "0.6 m"\n', 'from = "0.6 m"\nto = "0.5 m"\n', text)
    with pytest.raises(ScenarioError, match=r"well\.bench\.to: must lie above its foot \(found"):
        loaded(tmp_path, low)
    with pytest.raises(ScenarioError, match=r"bottom_width: length out of range"):
        loaded(tmp_path, changed('"0.6 m"\ntop_length', '"-0.6 m"\ntop_length', text))

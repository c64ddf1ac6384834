"""Levels as a file counts them: above the floor, as elevations, below the cover."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from scenario_texts import DUPLEX, ELEVATIONS, FLOOR, changed, in_frame

from stationsim.errors import ScenarioError
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.reference import Reference

AS_ELEVATION = f'levels_are = "elevation"\n{FLOOR}'
BELOW_COVER = 'levels_are = "below cover"\ndepth = "5.0 m"'
DEPTHS = {
    "0.70 m": "4.30 m",
    "1.50 m": "3.50 m",
    "1.80 m": "3.20 m",
    "4.20 m": "0.80 m",
    "0.8 m": "4.20 m",
}


def loaded(folder: Path, text: str, **options: Any) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def refusals(folder: Path, text: str) -> list[str]:
    with pytest.raises(ScenarioError) as refused:
        loaded(folder, text)
    return str(refused.value).splitlines()


@pytest.mark.parametrize(
    ("frame", "levels", "shown", "lead"),
    [
        ("", {}, "above floor", 1.5),
        (AS_ELEVATION, ELEVATIONS, "elevation", 99.7),
        (BELOW_COVER, DEPTHS, "below cover", 3.5),
    ],
)
def test_station_shows_levels_as_the_file_gives_them(
    tmp_path: Path, frame: str, levels: dict[str, str], shown: str, lead: float
) -> None:
    station = loaded(tmp_path, in_frame(frame, levels)).station
    assert station.levels_shown == shown
    assert station.control.settings.lead_start_m == 1.5
    # metres of this size are exact to some 1e-14
    assert station.shown_m(1.5) == pytest.approx(lead, abs=1e-9)


@pytest.mark.parametrize(
    ("frame", "levels", "slip", "said"),
    [
        ("", {}, ("1.80 m", "1.40 m"), "(found 1.40 m; accepted: above 1.50 m)"),
        (
            AS_ELEVATION,
            ELEVATIONS,
            ("100.00 m", "99.60 m"),
            "(found 99.60 m (elevation); accepted: above 99.70 m (elevation))",
        ),
        (
            BELOW_COVER,
            DEPTHS,
            ("3.20 m", "3.60 m"),
            "(found 3.60 m (below cover); accepted: less than 3.50 m (below cover))",
        ),
    ],
)
def test_message_shows_levels_as_the_file_gives_them(
    tmp_path: Path, frame: str, levels: dict[str, str], slip: tuple[str, str], said: str
) -> None:
    (line,) = refusals(tmp_path, changed(f'"{slip[0]}"', f'"{slip[1]}"', in_frame(frame, levels)))
    assert "control.lag_start: must lie above control.lead_start" in line
    assert said in line


def test_levels_of_the_well_are_told_as_the_file_gives_them(tmp_path: Path) -> None:
    text = in_frame(AS_ELEVATION, ELEVATIONS)
    low = changed('diameter = "3.0 m"', 'diameter = "3.0 m"\nfrom = "98.00 m"', text)
    assert (
        "well.shaft.from: lies below the floor (found 98.00 m (elevation); accepted: "
        in (refusals(tmp_path, low)[0])
    )
    gap = changed('diameter = "3.0 m"', 'diameter = "3.0 m"\nfrom = "99.00 m"', text)
    assert (
        "no plan area between 0 m and 0.8 m, counted above the floor"
        in (refusals(tmp_path, gap)[0])
    )


def test_levels_that_differ_by_little_are_not_shown_as_the_same() -> None:
    here = Reference("elevation", 98.2)
    assert here.level(1.5) == "99.70 m (elevation)"
    assert here.level(1.504) == "99.704 m (elevation)"
    assert Reference(system="us").level(0.3048 * 58 / 12) == "4.833 ft"


def test_comparison_below_the_cover_is_of_the_numbers_in_the_file() -> None:
    here = Reference("below cover", 5.0)
    assert here.above(1.5) == "less than 3.50 m (below cover)"
    assert here.below(1.5) == "more than 3.50 m (below cover)"
    assert here.at_or_above(1.5) == "3.50 m or less (below cover)"
    assert here.at_or_below(1.5) == "3.50 m or more (below cover)"
    assert Reference().at_or_below(1.5) == "1.50 m or below"


def test_elevations_without_saying_so_are_refused_with_both_keys_and_the_fix(
    tmp_path: Path,
) -> None:
    (line,) = refusals(tmp_path, in_frame(FLOOR, ELEVATIONS))
    assert line.startswith(f"{tmp_path / 's.toml'}:3: station.floor_elevation: ")
    assert (
        "they look like elevations (found floor_elevation = 98.20 m, spill.level = 102.40" in line
    )
    assert 'write levels_are = "elevation"' in line


def test_one_elevation_among_levels_above_the_floor_is_refused(tmp_path: Path) -> None:
    (line,) = refusals(tmp_path, in_frame(FLOOR, {"4.20 m": "102.40 m"}))
    assert "floor_elevation = 98.20 m, spill.level = 102.40 m)" in line


def test_elevations_said_to_be_above_the_floor_are_refused_where_no_station_is_so_deep(
    tmp_path: Path,
) -> None:
    frame = f'levels_are = "above floor"\n{FLOOR}'
    assert "they look like elevations" in refusals(tmp_path, in_frame(frame, ELEVATIONS))[0]


def test_floor_near_the_sea_is_believed_when_the_file_says_above_floor(tmp_path: Path) -> None:
    near = 'floor_elevation = "1.20 m"'
    said = in_frame(f'levels_are = "above floor"\n{near}', {})
    assert loaded(tmp_path, said).station.floor_elevation_m == 1.2
    assert (
        'or levels_are = "above floor" if they are meant so'
        in (refusals(tmp_path, in_frame(near, {}))[0])
    )


def test_floor_elevation_beside_levels_above_the_floor_is_no_mistake(tmp_path: Path) -> None:
    for floor in ("98.20 m", "-3.1 m"):
        text = in_frame(f'floor_elevation = "{floor}"', {})
        assert loaded(tmp_path, text).warnings == ()


def test_levels_above_the_floor_said_to_be_elevations_are_one_mistake(tmp_path: Path) -> None:
    (line,) = refusals(tmp_path, in_frame(AS_ELEVATION, {}))
    assert "station.levels_are: says elevation, and all levels lie below the floor" in line


def test_set_level_is_read_as_the_file_counts_levels(tmp_path: Path) -> None:
    text = in_frame(AS_ELEVATION, ELEVATIONS)
    station = loaded(tmp_path, text, sets=["control.lag_start=100.10 m"]).station
    assert station.control.settings.lag_start_m == 1.9
    assert loaded(tmp_path, DUPLEX).station.levels_shown == "above floor"

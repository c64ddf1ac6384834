"""``stationsim check`` as people type it: what it prints, writes and refuses, and its exit code."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from stationsim.cli import main

SCENARIOS = Path(__file__).parents[1] / "scenarios"
REFERENCE = str(SCENARIOS / "reference-station.toml")
OSIER_WHARF = str(SCENARIOS / "osier-wharf.toml")


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def check(*words: str) -> Result:
    return CliRunner().invoke(main, ["check", *words])


def test_a_station_that_passes_is_told_and_written_and_ends_with_nought(elsewhere: Path) -> None:
    done = check(REFERENCE)
    assert done.exit_code == 0, done.output
    assert "9 of 9 criteria that could be judged pass, 0 fail; 29 could not be" in done.output
    assert "the rule of the place decides" in done.output
    assert "licensed practice" in done.output
    folder = elsewhere / "results" / "reference-station-check"
    assert {path.name for path in folder.iterdir()} == {
        "criteria.csv", "allowable_time.csv", "growth.csv", "margins.png", "sentences.txt",
        "scenario.toml", "manifest.json",
    }  # fmt: skip
    manifest = json.loads((folder / "manifest.json").read_text())
    assert (manifest["study"], manifest["rows"]["allowable_time"]) == ("check", 48)
    criteria = pd.read_csv(folder / "criteria.csv")
    assert len(criteria) == 40
    again = check(REFERENCE)
    assert again.exit_code == 2
    assert "already exists" in again.output


def test_a_station_that_fails_ends_with_three_and_writes_all_the_same(elsewhere: Path) -> None:
    done = check(OSIER_WHARF, "--out", "dock", "--page")
    assert done.exit_code == 3, done.output
    assert "fail  storage for the outage, station" in done.output
    assert "fail  generator fuel, generator" in done.output
    assert (elsewhere / "dock" / "growth.png").is_file()
    page = (elsewhere / "dock" / "page.html").read_text(encoding="utf-8")
    assert "storage for the outage" in page
    quiet = check(OSIER_WHARF, "--quiet", "--no-plots")
    assert (quiet.exit_code, quiet.output) == (3, "")
    assert (elsewhere / "results" / "osier-wharf-check" / "criteria.csv").is_file()


def test_a_setting_can_make_it_fail_or_pass() -> None:
    done = check(REFERENCE, "--set", "limits.most_starts_per_hour=2", "--no-plots", "--out", "a")
    assert done.exit_code == 3
    assert "fail  starts in an hour, P1, P2" in done.output
    mended = check(
        OSIER_WHARF, "--no-plots", "--out", "b",
        "--set", 'design.outage="30 min"', "--set", 'generator.tank="800 L"',
    )  # fmt: skip
    assert mended.exit_code == 0, mended.output


def test_units_of_text_are_asked_for_and_tables_stay_in_si(elsewhere: Path) -> None:
    done = check(REFERENCE, "--units", "us", "--out", "us", "--no-plots")
    assert "476 gpm" in done.output
    table, sources = done.output.split("where the limits come from:")
    rest = sources.split("not judged, for want of data:")[1]
    for si_unit in ("L/s", "m3", "kWh"):  # sources are quoted as they are
        assert si_unit not in table + rest
    si = check(REFERENCE, "--out", "si", "--no-plots")
    assert "30.0 L/s" in si.output
    tables = [(elsewhere / name / "criteria.csv").read_bytes() for name in ("us", "si")]
    assert tables[0] == tables[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere.toml",), "nowhere.toml"),
        ((REFERENCE, "--set", "limits.least_speed=2"), "limits.least_speed"),
        ((REFERENCE, "--set", "limits.longest_fill=30"), "limits.longest_fill"),
        ((REFERENCE, "--set", 'service.voltage="-400 V"'), "service.voltage"),
        ((REFERENCE, "--format", "docx"), "docx"),
    ],
)
def test_what_is_wrong_is_told_before_anything_is_written(
    elsewhere: Path, words: tuple[str, ...], said: str
) -> None:
    done = check(*words)
    assert done.exit_code == 2
    assert said in done.output
    assert "Traceback" not in done.output
    assert not list(elsewhere.iterdir())


def test_events_mean_nothing_to_criteria() -> None:
    done = check(REFERENCE, "--event", "02:00 grid loss for 2 h")
    assert done.exit_code == 2
    assert "--event" in done.output


def test_help_tells_the_exit_code_and_an_example() -> None:
    done = check("--help")
    assert done.exit_code == 0
    assert "exit code is 3 when a criterion fails" in " ".join(done.output.split())
    assert "stationsim check my-station.toml" in done.output

"""``stationsim rehearse`` as people type it: what it prints and writes, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from stationsim.cli import main

SCENARIOS = Path(__file__).parents[1] / "scenarios"
REFERENCE = str(SCENARIOS / "reference-station.toml")
MILL_REACH = str(SCENARIOS / "mill-reach-rain.toml")


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rehearse(*words: str) -> Result:
    return CliRunner().invoke(main, ["rehearse", *words])


def test_the_table_by_hour_is_printed_and_written(elsewhere: Path) -> None:
    done = rehearse(REFERENCE, "--response", "78 min")
    assert done.exit_code == 0, done.output
    assert " 07:00 |     6     39   38   -1 %|" in done.output
    assert "licensed practice" in done.output
    folder = elsewhere / "results" / "reference-station-rehearse"
    assert {path.name for path in folder.iterdir()} == {
        "hours.csv", "spilled.csv", "pump_down.csv", "stations.csv", "minutes_to_spill.png",
        "sentences.txt", "scenario.toml", "manifest.json",
    }  # fmt: skip
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest["study"] == "rehearse"
    assert manifest["asked"]["response_s"] == 4680.0
    assert len(manifest["scenarios"]["reference-station"]) == 64
    hours = pd.read_csv(folder / "hours.csv")
    assert hours.loc[7, "spill_s"] / 60 == pytest.approx(38.6856, rel=1e-5)
    again = rehearse(REFERENCE)
    assert again.exit_code == 2
    assert "already exists" in again.output


def test_two_tables_of_one_scenario_are_the_same_bytes(elsewhere: Path) -> None:
    for name in ("a", "b"):
        assert rehearse(MILL_REACH, "--out", name, "--no-plots").exit_code == 0
    for table in ("hours", "spilled", "pump_down", "stations"):
        first, second = (elsewhere / n / f"{table}.csv" for n in ("a", "b"))
        assert first.read_bytes() == second.read_bytes()


def test_several_files_are_ranked_and_their_scenarios_kept(elsewhere: Path) -> None:
    done = rehearse(MILL_REACH, REFERENCE, REFERENCE, "--out", "ranking")
    assert done.exit_code == 0, done.output
    ranks = pd.read_csv(elsewhere / "ranking" / "stations.csv")
    assert ranks["spill_s"].is_monotonic_increasing
    assert set(ranks["station"]) == {"mill-reach-rain", "reference-station", "reference-station-2"}
    kept = elsewhere / "ranking" / "scenarios"
    assert {path.name for path in kept.iterdir()} == set(ranks["station"])
    assert (kept / "reference-station-2" / "scenario.toml").is_file()


def test_from_now_prints_one_screen_and_writes_nothing(elsewhere: Path) -> None:
    done = rehearse(REFERENCE, "--at", "02:40", "--level", "2.30 m", "--rise", "0.20 m in 6 min")
    assert done.exit_code == 0, done.output
    assert "121 min" in done.output
    assert len(done.output.splitlines()) <= 20
    assert not list(elsewhere.iterdir())
    kept = rehearse(REFERENCE, "--at", "Sat 02:40", "--level", "2.30 m", "--out", "now")
    assert kept.exit_code == 0, kept.output
    assert "Sat 02:40" in kept.output
    assert {p.name for p in (elsewhere / "now").glob("*.csv")} == {"lineups.csv", "tanker.csv"}


def test_a_level_is_read_as_the_station_counts_it() -> None:
    done = rehearse(MILL_REACH, "--at", "08:00", "--level", "23.10 m", "--units", "us")
    assert done.exit_code == 0, done.output
    assert "level elevation 75.79 ft" in done.output
    table = rehearse(MILL_REACH, "--start-level", "23.10 m", "--no-plots")
    assert "water at elevation 23.10 m" in table.output


def test_rain_from_the_command_line_makes_wet_rows(elsewhere: Path) -> None:
    added = rehearse(MILL_REACH, "--rain", "30 mm in 2 h from 10:00", "--out", "r", "--no-plots")
    assert added.exit_code == 0, added.output
    plain = rehearse(MILL_REACH, "--out", "p", "--no-plots")
    assert plain.exit_code == 0
    with_rain, without = (
        pd.read_csv(elsewhere / name / "hours.csv").query("weather == 'wet'")["spill_s"].min()
        for name in ("r", "p")
    )
    assert with_rain < without
    refused = rehearse(REFERENCE, "--rain", "30 mm in 2 h from 10:00")
    assert refused.exit_code == 2
    assert "how rain comes into the sewer" in refused.output


def test_quiet_prints_nothing_and_still_writes(elsewhere: Path) -> None:
    done = rehearse(REFERENCE, "--quiet", "--no-plots", "--format", "csv")
    assert (done.exit_code, done.output) == (0, "")
    assert (elsewhere / "results" / "reference-station-rehearse" / "hours.csv").is_file()


NOW = ("--at", "02:40", "--level", "2.30 m")

WRONG = [
    (("--days", "someday"), "--days: 'someday' is no day; accepted: days of the week or dates"),
    (("--days", ""), "--days: '' is no day"),
    (("--days", "2026-01-01"), "does not lie whole in the episode"),
    (("--start-level", "lead"), "--start-level: 'lead' cannot be used; accepted: a level with its"),
    (("--start-level", "9 m"), "does not lie between the floor and the spill"),
    (("--start-level", "1.5"), "--start-level: '1.5' cannot be used"),
    (("--wet-addition", "10"), "--wet-addition: '10' has no unit"),
    (("--wet-addition", "-1 L/s"), "--wet-addition: '-1 L/s' is too small; accepted: 0 or more"),
    (("--storm-peak", "soon"), "--storm-peak: "),
    (("--spilled-after", "10 min,x"), "--spilled-after: "),
    (("--spilled-after", "0 min"), "accepted: more than 0, up to 72 h"),
    (("--response", "78"), "--response: '78' has no unit"),
    (("--response", "0 min"), "--response: '0 min' is too small; accepted: more than 0"),
    (("--response", "9 d"), "--response: '9 d' is too long; accepted: up to 72 h"),
    (("--outage", "-1 h"), "--outage: '-1 h' is too small"),
    (("--upstream", "1.5"), "--upstream: '1.5' cannot be used; accepted: 0% to 100%"),
    (("--upstream", "140%"), "--upstream: '140%' cannot be used"),
    (("--upstream-lag", "10"), "--upstream-lag: '10' has no unit"),
    (("--upstream-surge", "0 s"), "--upstream-surge: '0 s' is too small"),
    (("--level", "2.30 m"), "--at: is needed to ask from now, such as --at '02:40'"),
    (("--at", "02:40"), "--level: is needed to ask from now, such as --level '2.30 m'"),
    (("--rise", "0.2 m in 6 min"), "--rise: asks from now, and needs --at and --level"),
    ((*NOW, "--days", "monday"), "--days: belongs to the table by hour"),
    ((*NOW, "--same-day"), "--same-day: belongs to the table by hour"),
    ((*NOW, "--rise", "0.2 m in 6 min", "--fall", "0.2 m in 6 min"), "--fall: --rise is given too"),
    ((*NOW, "--rise", "fast"), "--rise: 'fast' cannot be read; accepted: HEIGHT in TIME"),
    ((*NOW, "--rise", "0.2 in 6 min"), "--rise: '0.2' has no unit"),
    ((*NOW, "--rise", "-0.2 m in 6 min"), "a fall is given by --fall"),
    ((*NOW, "--rise", "0.2 m in 6 min with P7"), "no machine is called 'P7'; there are P1, P2"),
    ((*NOW, "--rise", "2.6 m in 6 min"), "began below the floor"),
    ((*NOW, "--fall", "1 m in 2 s with P1"), "P1 cannot lower it that fast"),
    ((*NOW, "--out-of-service", "P7"), "--out-of-service: no machine is called 'P7'"),
    ((*NOW, "--tanker", "0 m3"), "--tanker: '0 m3' is too small; accepted: more than 0"),
    ((*NOW, "--tanker", "10 m"), "--tanker: "),
    (("--at", "2:40 pm", "--level", "2 m"), "write the time by the 24-hour clock: '14:40'"),
    (("--at", "02:40", "--level", "2"), "--level: '2' has no unit"),
    (("--at", "02:40", "--level", "9 m"), "does not lie between the floor and the spill"),
    (("--at", "2027-02-27 02:40", "--level", "2 m"), "lies before the episode"),
    (("--format", "pdf"), "no format is called 'pdf'"),
    (("--set", "control.stop=9 m"), "control.stop"),
]


@pytest.mark.parametrize(("words", "told"), WRONG, ids=[" ".join(words) for words, _ in WRONG])
def test_wrong_values_are_told_and_nothing_is_written(
    words: tuple[str, ...], told: str, elsewhere: Path
) -> None:
    done = rehearse(REFERENCE, *words)
    assert done.exit_code == 2, done.output
    assert told in done.output
    assert "Traceback" not in done.output
    assert not list(elsewhere.iterdir())


def test_several_wrong_values_are_told_at_once() -> None:
    done = rehearse(REFERENCE, "--response", "78", "--upstream", "x", "--days", "someday")
    assert done.exit_code == 2
    for option in ("--response", "--upstream", "--days"):
        assert f"error: {option}: " in done.output


def test_from_now_takes_one_file() -> None:
    done = rehearse(REFERENCE, MILL_REACH, *NOW)
    assert done.exit_code == 2
    assert "one station at a time (found 2 files)" in done.output


def test_inches_lists_and_names_of_levels_are_read() -> None:
    done = rehearse(
        REFERENCE, "--at", "02:40", "--level", "high-level alarm", "--rise", "8 in in 6 min",
        "--out-of-service", "P1, P2",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "level 2.30 m" in done.output
    assert "cannot run: P1, P2" in done.output


def test_a_level_by_number_with_files_that_count_differently_is_refused() -> None:
    done = rehearse(MILL_REACH, REFERENCE, "--start-level", "23.10 m")
    assert done.exit_code == 2
    assert "above floor, elevation); give the name of a level" in done.output


def test_a_misspelt_command_names_the_nearest() -> None:
    done = CliRunner().invoke(main, ["rehears"])
    assert done.exit_code == 2
    assert "Did you mean 'rehearse'?" in done.output
    assert "There are run, show" in CliRunner().invoke(main, ["x"]).output


def test_the_ranking_tells_the_hours_too_late(elsewhere: Path) -> None:
    with_response = rehearse(MILL_REACH, REFERENCE, "--response", "78 min", "--no-plots")
    head = next(
        line for line in with_response.output.splitlines() if line.lstrip().startswith("station ")
    )
    assert head.endswith("hours too late")
    row = next(
        line for line in with_response.output.splitlines() if "Reference station  dry" in line
    )
    assert row.endswith(" 34")
    plain = rehearse(MILL_REACH, REFERENCE, "--no-plots", "--out", str(elsewhere / "p"))
    assert "hours too late" not in plain.output
    why = CliRunner().invoke(main, ["why", str(elsewhere / "p"), "--at", "07:00"])
    assert why.exit_code == 2
    assert "these results are those of 'rehearse'; name a scenario file" in why.output


def test_a_command_can_be_explained() -> None:
    told = CliRunner().invoke(main, ["explain", "rehearse"])
    assert told.exit_code == 0
    assert "rehearse (command)" in told.output

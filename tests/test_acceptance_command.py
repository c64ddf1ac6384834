"""The command ``acceptance``: what it writes, what it says, and what it refuses."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner

from stationsim import acceptance, load_scenario
from stationsim.cli import main
from stationsim.vocabulary import COLUMNS, TABLES

ROOT = Path(__file__).parents[1]
OSIER = ROOT / "scenarios" / "osier-wharf.toml"
READINGS = ROOT / "scenarios" / "readings" / "osier-wharf.csv"
LOG = ROOT / "scenarios" / "readings" / "osier-wharf-log.csv"


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str | Path, code: int = 0) -> str:
    outcome = CliRunner().invoke(main, ["acceptance", *map(str, words)])
    assert outcome.exit_code == code, outcome.output
    return outcome.output


def rows_of(path: Path) -> list[dict[str, str]]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    return list(csv.DictReader(lines))


def test_the_sheet_comes_with_forms_workbook_plot_and_page() -> None:
    said = run(OSIER, "--format", "xlsx", "--page", "--out", "day")
    folder = Path("day")
    names = {path.name for path in folder.iterdir()}
    assert names >= {
        "steps.csv", "points.csv", "pump_points.csv", "falls.csv", "readings.csv",
        "expected_events.csv", "left_out.csv", "fill_in_readings.csv", "fill_in_events.csv",
        "to_fill_in.xlsx", "points.png", "page.html", "manifest.json", "scenario.toml",
    }  # fmt: skip
    assert "The day takes" in said
    assert "Confined space" in (folder / "fill_in_readings.csv").read_text(encoding="utf-8")
    page = (folder / "page.html").read_text(encoding="utf-8")
    assert "To fill in" in page
    assert "Confined space" in page
    assert json.loads((folder / "manifest.json").read_text())["study"] == "acceptance"


def test_the_same_sheet_is_the_same_bytes() -> None:
    for name in ("one", "two"):
        run(OSIER, "--format", "xlsx", "--no-plots", "--out", name, "--quiet")
    for path in sorted(Path("one").iterdir()):
        if path.name != "tables.xlsx":  # a workbook of tables holds the time at which it was made
            assert path.read_bytes() == (Path("two") / path.name).read_bytes(), path.name


def test_the_shipped_readings_fail_for_their_fault_and_name_it_first() -> None:
    said = run(OSIER, "--readings", READINGS, "--log", LOG, "--no-plots", "--out", "judged", code=3)
    causes = pd.read_csv("judged/causes.csv")
    assert causes["cause"][0] == "valve at a pump not fully open"
    assert causes["subject"][0] == "P2"
    assert "none of it is certain" in said
    log = pd.read_csv("judged/log.csv")
    wrong = log[~log["verdict"].isin(["as expected", "not done"])]
    assert sorted(wrong["verdict"]) == ["early", "missing"]
    verdicts = pd.read_csv("judged/verdicts.csv")
    assert set(verdicts[verdicts["verdict"] == "fail"]["subject"]) == {"P2", "panel"}


def test_a_sheet_filled_in_as_expected_passes_with_exit_code_0() -> None:
    run(OSIER, "--no-plots", "--out", "day", "--quiet")
    rows = rows_of(Path("day/fill_in_readings.csv"))
    with Path("filled.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows({**row, "read": row["expected"]} for row in rows)
    said = run(OSIER, "--readings", "filled.csv", "--no-plots", "--out", "judged")
    assert " 0 fail" in said
    assert "sound station" in said


def test_units_of_the_forms_follow_the_option() -> None:
    run(OSIER, "--units", "us", "--no-plots", "--out", "us", "--quiet")
    units = {row["unit"] for row in rows_of(Path("us/fill_in_readings.csv"))}
    assert {"gpm", "psi", "ft above floor", "s", "A", "rpm"} <= units
    si = pd.read_csv("us/readings.csv")
    assert set(si["unit"]) >= {"m3/s", "Pa", "m", "s", "A", "1/s"}


def test_tables_and_columns_are_all_explained() -> None:
    station, episode = load_scenario(OSIER)
    known_tables = {entry.word for entry in TABLES}
    known = {entry.word for entry in COLUMNS}
    for result in (
        acceptance(station, episode),
        acceptance(station, episode, readings=READINGS, log=LOG),
    ):
        for name, table in result.tables.items():
            assert name in known_tables
            assert set(table.columns) <= known, set(table.columns) - known


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--readings", "nowhere.csv"), "nowhere.csv"),
        (("--log", "nowhere.csv"), "nowhere.csv"),
        (("--words", "words.csv"), "--words: means something only together with --log"),
        (("--set", "acceptance.grade=4A"), "acceptance.grade"),
        (("--set", "acceptance.drop=5 L/s"), "acceptance.drop"),
        (("--set", "acceptance.header_gauge.level=high"), "acceptance.header_gauge.level"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(words: tuple[str, ...], told: str) -> None:
    said = run(OSIER, *words, "--out", "out", code=2)
    assert told in said
    assert "Traceback" not in said
    assert not Path("out").exists()


def test_readings_inside_the_folder_that_would_be_replaced_are_refused() -> None:
    run(OSIER, "--no-plots", "--out", "day", "--quiet")
    filled = Path("day/filled.csv")
    shutil.copyfile(READINGS, filled)
    said = run(OSIER, "--readings", filled, "--out", "day", "--force", code=2)
    assert "lies in the folder of the results" in said
    assert filled.is_file()


def filled_workbook(name: str, **columns: str) -> None:
    """Write the workbook with the column of a sheet filled in from another of its columns."""
    run(OSIER, "--format", "xlsx", "--no-plots", "--out", "day", "--quiet", "--force")
    book = openpyxl.load_workbook("day/to_fill_in.xlsx")
    for sheet, source in columns.items():
        names = [cell.value for cell in book[sheet][1]]
        to = names.index("read" if "read" in names else "time") + 1
        for row in range(2, book[sheet].max_row + 1):
            book[sheet].cell(row, to).value = book[sheet].cell(row, names.index(source) + 1).value
    book.save(name)


def test_times_in_the_workbook_are_compared_without_asking() -> None:
    filled_workbook("both.xlsx", fill_in_readings="expected", fill_in_events="after")
    said = run(OSIER, "--readings", "both.xlsx", "--no-plots", "--out", "judged")
    assert "times on its sheet 'fill_in_events' compared too, as the panel's log" in said
    log = pd.read_csv("judged/log.csv")
    assert set(log["verdict"]) == {"as expected"}
    assert len(log) == len(pd.read_csv("judged/expected_events.csv"))
    assert len(pd.read_csv("judged/verdicts.csv")) > 100
    run(OSIER, "--readings", "both.xlsx", "--log", LOG, "--no-plots", "--out", "other", code=3)
    assert "missing" in set(pd.read_csv("other/log.csv")["verdict"])


def test_a_workbook_with_times_only_is_compared_as_a_log() -> None:
    filled_workbook("times.xlsx", fill_in_events="after")
    said = run(OSIER, "--readings", "times.xlsx", "--no-plots", "--out", "judged")
    assert "0 verdicts" not in said
    assert len(pd.read_csv("judged/verdicts.csv")) == 0
    assert len(pd.read_csv("judged/log.csv")) > 70


def test_a_workbook_that_nobody_filled_in_and_one_of_another_station_are_refused() -> None:
    filled_workbook("empty.xlsx")
    said = run(OSIER, "--readings", "empty.xlsx", "--out", "out", code=2)
    assert "nothing is filled in" in said
    said = run(OSIER, "--log", "empty.xlsx", "--out", "out", code=2)
    assert "nothing is filled in" in said
    filled_workbook("osier.xlsx", fill_in_readings="expected", fill_in_events="after")
    said = run(ROOT / "scenarios" / "mill-reach.toml", "--readings", "osier.xlsx", code=2)
    assert "its title says 'Osier Wharf', and the scenario is that of 'Mill Reach'" in said
    assert "no reading is called" not in said


def test_the_table_of_expected_events_says_them_as_the_log_does() -> None:
    run(OSIER, "--no-plots", "--out", "day", "--quiet")
    table = pd.read_csv("day/expected_events.csv")
    form = rows_of(Path("day/fill_in_events.csv"))
    assert list(table["event"]) == [row["event"] for row in form]
    assert "alarm cleared: high level" in set(table["event"])


def test_a_log_alone_is_compared() -> None:
    run(OSIER, "--log", LOG, "--no-plots", "--out", "log", code=3)
    assert len(pd.read_csv("log/verdicts.csv")) == 0
    assert len(pd.read_csv("log/log.csv")) > 70


def test_wrong_readings_and_a_wrong_log_are_told_together() -> None:
    Path("bad.csv").write_text("reading,unit,read\nP1 alone: nothing,s,3\n", encoding="utf-8")
    Path("log.csv").write_text("sequence,time,subject,event\nno such,1,P1,start\n", "utf-8")
    said = run(OSIER, "--readings", "bad.csv", "--log", "log.csv", "--out", "out", code=2)
    assert "bad.csv" in said
    assert "log.csv" in said


def test_help_shows_an_example() -> None:
    said = CliRunner().invoke(main, ["acceptance", "--help"]).output
    assert "stationsim acceptance my-station.toml --readings to_fill_in.xlsx" in said

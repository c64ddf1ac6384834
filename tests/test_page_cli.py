"""``--page`` as people type it: on a run and on a study."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from page_reading import read, tables

from stationsim.cli import main

REFERENCE = str(Path(__file__).parents[1] / "scenarios" / "reference-station.toml")
SHORT = ("--set", 'episode.duration="6 h"')


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def say(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_a_run_writes_its_page_beside_the_tables(elsewhere: Path) -> None:
    done = say(
        "run", REFERENCE, *SHORT, "--page", "--no-plots", "--out", "r", "--units", "us",
        "--set", 'inflow.homes.mean="45 L/s"',
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "Page: r/page.html" in done.stdout.splitlines()
    page = read((elsewhere / "r" / "page.html").read_text(encoding="utf-8"))
    columns, rows = tables(page)["pump_totals"]
    saved = pd.read_csv(elsewhere / "r" / "pump_totals.csv")
    assert columns == list(saved.columns)
    assert [float(row[columns.index("hours_h")][1]) for row in rows] == list(saved["hours_h"])
    told = (elsewhere / "r" / "sentences.txt").read_text(encoding="utf-8").splitlines()
    assert told[0] in [one.text for one in page.all("p")]
    assert " ft" in page.text
    assert not page.all("svg", "img")
    warned = [line.removeprefix("warning: ") for line in done.stderr.splitlines()]
    assert warned
    assert warned == [one.text for one in page.all("li")]
    assert 'mean = "45 L/s"' in page.all("pre")[-1].text


def test_without_page_there_is_none_and_quiet_says_nothing(elsewhere: Path) -> None:
    done = say("run", REFERENCE, *SHORT, "--no-plots", "--out", "a")
    assert "page" not in done.stdout.lower()
    assert not (elsewhere / "a" / "page.html").exists()
    quiet = say("run", REFERENCE, *SHORT, "--no-plots", "--page", "--quiet", "--out", "b")
    assert (quiet.exit_code, quiet.output) == (0, "")
    assert (elsewhere / "b" / "page.html").is_file()


def test_a_study_writes_its_page_beside_the_tables(elsewhere: Path) -> None:
    done = say("rehearse", REFERENCE, "--response", "78 min", "--page", "--out", "h")
    assert done.exit_code == 0, done.output
    assert "Page: h/page.html" in done.stdout.splitlines()
    page = read((elsewhere / "h" / "page.html").read_text(encoding="utf-8"))
    columns, rows = tables(page)["hours"]
    saved = pd.read_csv(elsewhere / "h" / "hours.csv")
    assert [float(row[columns.index("spill_s")][1]) for row in rows] == list(saved["spill_s"])
    assert " 07:00 |     6     39   38   -1 %|" in page.all("pre")[0].text
    assert len(page.all("svg")) == len(list((elsewhere / "h").glob("*.png"))) == 1
    assert Path(REFERENCE).read_text(encoding="utf-8").strip() == page.all("pre")[-1].text.strip()


def test_a_page_without_a_folder_is_refused(elsewhere: Path) -> None:
    now = ("rehearse", REFERENCE, "--at", "02:40", "--level", "2.30 m", "--page")
    done = say(*now)
    assert done.exit_code == 2
    assert (
        "error: --page: without a folder there is no place for a page; add --out DIR" in done.output
    )
    assert "Traceback" not in done.output
    assert not list(elsewhere.iterdir())
    placed = say(*now, "--out", "now")
    assert placed.exit_code == 0, placed.output
    page = read((elsewhere / "now" / "page.html").read_text(encoding="utf-8"))
    assert {"lineups", "tanker"} == set(tables(page))


def test_help_names_it() -> None:
    for command in ("run", "rehearse"):
        assert "--page" in say(command, "--help").output

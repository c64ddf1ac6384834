"""``stationsim why``: files, folders of results, moments as people and tables write them."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from scenario_texts import as_file, nettle_bank

from stationsim import load_scenario, simulate
from stationsim.cli import main

ROOT = Path(__file__).parents[1]
TEXT = nettle_bank("6 h", "15 L/s")
# full after pi/4 * 9 * 0.80 / 0.015 = 376.99 s = 00:06:17


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return as_file(TEXT, tmp_path, monkeypatch)


def said(*words: str, code: int = 0) -> str:
    outcome = CliRunner().invoke(main, ["why", *words])
    assert outcome.exit_code == code, outcome.output
    assert "Traceback" not in outcome.output
    return " ".join(outcome.output.split())


def test_a_scenario_file_in_both_units_and_with_changes(file: Path) -> None:
    text = said(str(file), "--at", "00:05")
    assert "Nettle Bank, Mon 1 Mar 2027 00:05 (day 1)" in text
    # 0.015 * 300 / 7.0686 = 0.637 m above 0.70 m
    assert (
        "P1 did not start: the level stood at 1.34 m, 16 cm below its lead start, 1.50 m." in text
    )
    assert "P2 did not start: it was lag (assist) behind P1" in text
    assert "local codes" in text
    assert "4.39 ft, 6.4 in below" in said(str(file), "--at", "00:05", "--units", "us")
    lower = said(str(file), "--at", "00:05", "--set", "control.lead_start=1.20 m", "--pump", "P1")
    assert "P1 ran as lead (duty), since Mon 00:03:56: level at lead start 1.20 m." in lower
    out = said(str(file), "--at", "00:05", "--event", "00:01 P1 out of service", "--pump", "P1")
    assert "P1 did not run: it was out of service since Mon 00:01." in out


@pytest.mark.parametrize(
    "moment",
    ["00:07", "day 1 00:07", "Mon 00:07", "after 7 min", "2027-03-01 00:07", "2027-03-01T00:07:00"],
)
def test_moments_as_people_write_them(file: Path, moment: str) -> None:
    assert "P1 ran as lead (duty), since Mon 00:06:17" in said(str(file), "--at", moment)


def test_a_moment_of_the_table_of_events_is_that_of_the_event(file: Path) -> None:
    events = simulate(*load_scenario(file)).events
    for row in events.loc[events["event"].isin(["start", "stop"])].iloc[:6].itertuples():
        answer = said(str(file), "--at", str(row.time), "--pump", str(row.subject))
        verb = "ran as lead" if row.event == "start" else "stopped at this very moment, stopped by"
        assert f"{row.subject} {verb}" in answer, row.time
    # the same moment by another clock
    assert "since Mon 00:06:17" in said(str(file), "--at", "2027-03-01T02:07:00+02:00")


def test_a_folder_of_results_is_asked_like_its_scenario(file: Path) -> None:
    outcome = CliRunner().invoke(main, ["run", str(file), "--no-plots", "--quiet"])
    assert outcome.exit_code == 0
    assert said("results/nettle", "--at", "00:05") == said(str(file), "--at", "00:05")
    changed = ["--at", "00:05", "--set", "control.lead_start=1.20 m"]
    assert said("results/nettle", *changed) == said(str(file), *changed)


def test_a_record_of_another_version_is_said_plainly(file: Path) -> None:
    CliRunner().invoke(main, ["run", str(file), "--no-plots", "--quiet"])
    path = Path("results/nettle/events.csv")
    rows = pd.read_csv(path, dtype=str, keep_default_na=False)
    rows.loc[2, "cause"] = "level at stop 0.60 m"
    rows.to_csv(path, index=False)
    text = said("results/nettle", "--at", "00:05")
    assert text.startswith("note: the events in results/nettle are not those of a new run")
    assert f"the first difference is at {rows.loc[2, 'time']}" in text
    assert "was made by another version" in text
    assert "answered from the scenario saved there" in text
    assert "P1 did not start" in text
    rows.iloc[:2].to_csv(path, index=False)
    assert "one is longer than the other" in said("results/nettle", "--at", "00:05")


def test_results_made_in_python_hold_no_scenario_and_are_refused(file: Path) -> None:
    simulate(*load_scenario(file)).save("results/by-hand")
    text = said("results/by-hand", "--at", "00:05", code=2)
    assert "hold no scenario.toml" in text
    assert "they were set up in Python" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("nettle.toml", "--at", "07:00"), "--at: the moment lies after the end of the run"),
        (("nettle.toml", "--at", "2026-01-01 00:00"), "lies before the start of the run"),
        (("nettle.toml", "--at", "9999-12-31T23:59:59-12:00"), "after the end of the run"),
        (("nettle.toml", "--at", "noon"), "--at 'noon': 'noon' does not begin with a time"),
        (("nettle.toml", "--at", "2027-13-01T00:00"), "is no date of the calendar"),
        (("nettle.toml", "--at", "00:05 P1"), "left over after the time"),
        (("nettle.toml", "--at", ""), "does not begin with a time"),
        (("nettle.toml", "--at", "00:05", "--pump", "p2"), "did you mean 'P2'?"),
        (("nettle.toml", "--at", "00:05", "--pump", "E1"), "this station has P1, P2"),
        (("nothing.toml", "--at", "00:05"), "cannot be read: no such file"),
        ((".", "--at", "00:05"), "no results here"),
        (("nettle.toml", "--at", "00:05", "--set", "control.stopp=1 m"), "stopp"),
        (("nettle.toml",), "Missing option '--at'"),
    ],
)
def test_what_is_wrong_is_one_clear_message(file: Path, words: tuple[str, ...], told: str) -> None:
    assert told in said(*words, code=2)


def test_the_end_of_the_run_can_still_be_asked(file: Path) -> None:
    assert "Nettle Bank, Mon 1 Mar 2027 06:00" in said(str(file), "--at", "06:00")


def test_help_shows_examples() -> None:
    text = said("--help")
    assert 'stationsim why my-station.toml --at "day 3 07:10" --pump P2' in text


def test_a_shipped_station_answers_on_one_screen() -> None:
    scenario = str(ROOT / "scenarios" / "sallow-green.toml")
    outcome = CliRunner().invoke(main, ["why", scenario, "--at", "day 2 14:00"])
    assert outcome.exit_code == 0
    assert len(outcome.output.splitlines()) <= 24
    assert not re.search(r"\bnan\b|\binf\b", outcome.output)


def test_the_answer_that_readme_quotes_is_the_one_that_is_given() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    command, quoted = re.findall(
        r"```bash\nstationsim why (.*?)\n```\n<!-- why -->\n```text\n(.*?)```", readme, re.DOTALL
    )[0]
    words = shlex.split(command)
    words[0] = str(ROOT / words[0])
    outcome = CliRunner().invoke(main, ["why", *words])
    assert outcome.output.startswith(quoted)

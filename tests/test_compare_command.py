"""``stationsim compare``: what is varied, what is refused, what is written."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from scenario_texts import as_file, changed, nettle_bank

from stationsim import vocabulary
from stationsim.cli import main

SCENARIO = nettle_bank("2 d", "36 L/s")
for _old, _new in {
    'name = "Nettle Bank"\n': 'name = "Nettle Bank"\ntotal_flow = ["30 L/s", "42 L/s"]\n',
    'flow = "30 L/s"\n': 'power = "11 kW"\n',
    "[episode]": '[alarms]\nhigh_level = "2.30 m"\n[episode]',
    "[inflow.homes]": "[inflow.steady]",
}.items():
    SCENARIO = changed(_old, _new, SCENARIO)


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return as_file(SCENARIO, tmp_path, monkeypatch)


def of_one_pump() -> str:
    text = changed('[pump.P2]\nlike = "P1"\n', "", SCENARIO)
    return changed(', "42 L/s"', "", changed('lag_start = "1.80 m"\n', "", text))


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["compare", *words])


def done(*words: str) -> Result:
    outcome = run(*words, "--no-plots")
    assert outcome.exit_code == 0, outcome.output
    return outcome


def refused(*words: str) -> str:
    outcome = run(*words)
    assert outcome.exit_code == 2, outcome.output
    lines = outcome.stderr.splitlines()
    assert all(line.startswith(("error: ", "warning: ")) for line in lines), outcome.output
    assert "Traceback" not in outcome.output
    assert not Path("results").exists()
    return outcome.stderr


def table(name: str, folder: str = "results/nettle-compare") -> pd.DataFrame:
    return pd.read_csv(f"{folder}/{name}.csv", keep_default_na=False)


def test_a_grid_is_run_in_the_order_of_its_values_and_written(file: Path) -> None:
    outcome = done(str(file), "--vary", "control.lag_start=1.8 m,1.6 m", "--stop-policies")
    labels = list(table("compared")["setting"].unique())
    assert labels[:2] == ["lag start 1.8 m / all-stop", "lag start 1.8 m / last on, first off"]
    assert len(labels) == 6
    assert (
        "At a steady 36 L/s, lowering the lag start by 0.2 m triples the lag starts under staged"
        " stop" in outcome.output
    )
    assert "and adds a third under all-stop" in outcome.output
    settings = table("settings")
    staged = settings[settings["setting"] == labels[1]].set_index("key")["value"]
    assert dict(staged) == {
        "control.lag_start": "1.8 m",
        "control.stop_policy": "last on, first off",
        "control.lag_stop": "1.50 m",
    }
    assert "lag stop at lead start" in outcome.output
    manifest = json.loads(Path("results/nettle-compare/manifest.json").read_text("utf-8"))
    assert manifest["study"] == "compare"
    assert list(manifest["asked"]["differs"]) == labels
    assert Path("results/nettle-compare/scenario.toml").read_text("utf-8") == SCENARIO


def test_a_stop_level_that_is_filled_in_follows_the_level_that_is_varied(file: Path) -> None:
    done(str(file), "--vary", "control.lead_start=1.4 m,1.5 m", "--stop-policies")
    settings = table("settings")
    stops = settings[settings["key"] == "control.lag_stop"].set_index("setting")["value"]
    assert stops["lead start 1.4 m / last on, first off"] == "1.4 m"
    assert stops["lead start 1.5 m / last on, first off"] == "1.5 m"


def test_a_lag_stop_that_is_varied_is_not_filled_in(file: Path) -> None:
    done(str(file), "--vary", "control.lag_stop=1.2 m,1.5 m", "--stop-policies")
    compared = table("compared").set_index(["setting", "metric", "subject"])["value"]
    rate = compared.loc[("lag stop 1.2 m / last on, first off", "lag starts", "station")]
    # 48 h of cycles of 2 A 0.6 / 0.006, the first lag start after the fill to 1.80 m
    assert float(rate) == 122


def test_every_rotation_with_one_short_command_the_own_one_first(file: Path) -> None:
    outcome = done(str(file), "--rotations")
    labels = list(table("compared")["setting"].unique())
    assert labels == ["each cycle", "run hours", "shares", "clock", "fixed"]
    assert "here it changes the lead every 24 h, at midnight" in outcome.output
    rows = table("settings").set_index(["setting", "key"])["value"]
    assert rows["clock", "rotation.every"] == "24 h"
    assert rows["shares", "rotation.shares"] == "60/40"
    assert "The shares of the run hours are 60/40 where the file gives none." in outcome.output


def test_a_clock_that_the_file_gives_stays_as_it_is(file: Path) -> None:
    own = SCENARIO.replace('kind = "each cycle"', 'kind = "clock"\nevery = "12 h"\nat = "8 h"')
    file.write_text(own, encoding="utf-8")
    outcome = done(str(file), "--rotations")
    rows = table("settings").set_index(["setting", "key"])["value"]
    assert (rows["clock", "rotation.every"], rows["clock", "rotation.at"]) == ("12 h", "8 h")
    assert "at midnight" not in outcome.output
    assert next(iter(table("compared")["setting"])) == "clock"


def test_files_meet_the_episode_of_the_first(file: Path, tmp_path: Path) -> None:
    other = tmp_path / "planned.toml"
    text = SCENARIO.replace('"1.80 m"', '"1.70 m"').replace("36 L/s", "10 L/s")
    other.write_text(text.replace("2 d", "9 d"), encoding="utf-8")
    outcome = done(str(file), str(other))
    assert "inflow and events are those of nettle, for all" in outcome.output
    compared = table("compared").set_index(["setting", "metric", "subject"])["value"]
    arrived = 36e-3 * 2 * 86_400.0
    volume = float(compared["planned", "volume in", "station"])
    assert volume == pytest.approx(arrived, rel=1e-9)
    assert list(table("settings")["value"]) == ["1.80 m", "1.70 m"]
    # one key differs, so it is told as what it is
    assert "lowering the lag start by 0.1 m" in outcome.output
    saved = Path("results/nettle-compare/scenarios/planned/scenario.toml")
    assert saved.read_text("utf-8") == other.read_text("utf-8")


def test_files_of_one_name_are_told_apart_by_their_folders(file: Path, tmp_path: Path) -> None:
    other = tmp_path / "plan" / "nettle.toml"
    other.parent.mkdir()
    other.write_text(SCENARIO, encoding="utf-8")
    outcome = done(str(file), str(other))
    labels = list(table("compared")["setting"].unique())
    assert labels == [f"{tmp_path.name}-nettle", "plan-nettle"]
    assert "The stations in the files do not differ." in outcome.output


def test_inflow_may_be_varied_and_is_told_so(file: Path) -> None:
    outcome = done(str(file), "--vary", "inflow.steady.flow=10 L/s,20 L/s")
    assert "each on its own inflow" in outcome.output
    compared = table("compared").set_index(["setting", "metric", "subject"])["value"]
    first, second = (
        float(compared[f"flow of steady {flow} L/s", "volume in", "station"]) for flow in (10, 20)
    )
    assert second == pytest.approx(2.0 * first, rel=1e-9)


@pytest.mark.parametrize(
    ("key", "values", "told"),
    [  # counts over 48 h: own run; what is tested is which of them are told, and of what
        ("control.start_delay", "0 s,1 min", "raising the start delay from 0 s to 1 min takes the"),
        ("control.lag_start", "1.85 m,5.6 ft", "lowering the lag start from 1.85 m to 5.6 ft "),
        ("control.lag_start", "1.7 m,1.9 m,1.6 m", "lowering the lag start from 1.9 m to 1.6 m "),
        ("control.lag_start", "1.6 m,1.7 m,1.8 m", "raising the lag start by 0.2 m "),
        ("control.start_delay", "60 s,1 min", "the lag starts are the same in all settings"),
    ],
)
def test_what_a_change_does_is_told_whatever_the_units_and_the_order(
    file: Path, key: str, values: str, told: str
) -> None:
    assert f"At a steady 36 L/s, {told}" in done(str(file), "--vary", f"{key}={values}").output


def test_what_goes_up_and_then_down_is_told_by_most_and_fewest(file: Path) -> None:
    # starts an hour of one pump at 10, 15 and 25 L/s: 4.24, 4.77, 2.65 (closed form, test_compare)
    said = done(str(file), "--vary", "inflow.steady.flow=10 L/s,25 L/s,15 L/s").output
    assert "Starts are most with flow of steady 15 L/s (" in said
    assert "and fewest with flow of steady 25 L/s (" in said
    assert "multiplies" not in said


def test_an_inflow_of_any_size_is_written_in_full(file: Path) -> None:
    words = ("--vary", "control.lag_start=1.7 m,1.8 m", "--set", "inflow.steady.flow=1000000 L/s")
    assert "At a steady 1,000,000 L/s, " in done(str(file), *words).output


def test_a_setting_to_which_a_thing_does_not_apply_is_not_counted(file: Path) -> None:
    single, dry = file.with_name("single.toml"), file.with_name("dry.toml")
    single.write_text(of_one_pump(), encoding="utf-8")
    dry.write_text(changed('[spill]\nlevel = "4.20 m"\n', "", SCENARIO), encoding="utf-8")
    said = " ".join(done(str(file), str(single)).output.split())
    assert "With nettle, the only setting in which two pumps or more share the work, the" in said
    assert "all settings" not in said
    said = " ".join(done(str(file), str(dry), "--force").output.split())
    assert "No setting spilled (dry has no spill); none reached the high-level alarm." in said
    assert (
        "All keep the limits that the scenario gives: high-level alarm not reached, no spill (not"
        " judged for dry)." in said
    )
    said = " ".join(done(str(file), str(single), str(dry), "--force").output.split())
    assert "alike in all settings in which two pumps or more have work to share: the" in said
    assert "'no spill' by single (not judged for dry)" in said


def test_more_than_four_settings_are_rows(file: Path) -> None:
    few = done(str(file), "--stop-policies").stdout
    many = done(str(file), "--rotations", "--stop-policies", "--out", "many").stdout
    assert "In brackets: the difference from the first setting." in few
    assert "In brackets" not in many
    assert sum(line.startswith("each cycle / ") for line in many.splitlines()) == 3


def test_plots_are_drawn_for_a_grid(file: Path) -> None:
    outcome = run(
        str(file),
        "--vary",
        "control.lag_start=1.8 m,1.7 m",
        "--stop-policies",
        "--day",
        "day 2",
        "--units",
        "us",
    )
    assert outcome.exit_code == 0, outcome.output
    drawn = {path.name for path in Path("results/nettle-compare").glob("*.png")}
    assert drawn == {"levels.png", "pumps.png", "grid.png"}
    manifest = json.loads(Path("results/nettle-compare/manifest.json").read_text("utf-8"))
    assert manifest["asked"]["day"] == "day 2, Tue 2 Mar"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--vary", "control.lag_start"], "KEY=VALUE,VALUE is needed"),
        (["--vary", "=1,2"], "KEY=VALUE,VALUE is needed"),
        (["--vary", "control.lag_start=1.6 m"], "one value leaves nothing to compare"),
        (["--vary", "control.lag_start=1.6 m,,1.8 m"], "a value is empty"),
        (["--vary", "control.lag_start=1.6 m,1.6 m"], "'1.6 m' stands twice"),
        (["--vary", "station.total_flow=[1, 2],[3, 4]"], "a value with commas inside"),
        (["--vary", "control.stop_policy=last on, first off"], "--stop-policies compares them all"),
        (["--vary", "control.lag_start=1.6,1.8"], "with its unit is needed"),
        (["--vary", "control.lag_strat=1.6 m,1.8 m"], "unknown key 'lag_strat'"),
        (["--vary", "pump.P9.flow_factor=0.9,1.0"], "the file has no [pump.P9]"),
        (
            ["--vary", "control.lag_start=1.6 m,1.8 m", "--vary", "control.lag_start=2 m,2.1 m"],
            "varies the same",
        ),
        (["--rotations", "--vary", "rotation.kind=fixed,each cycle"], "varies the same"),
        (["--vary", "episode.duration=1 d,2 d"], "another time"),
        (["--rotations", "--day", "day 9"], "accepted: day 1 to day 2, or a date from 2027-03-01"),
        (["--rotations", "--day", "someday"], "is no day"),
        (["--rotations", "--day", "2026-03-01"], "is no day of this episode"),
        (["--rotations", "--format", "pdf"], "no format is called 'pdf'"),
        (["--rotations", "--event", "3 o'clock"], "--event 1"),
        ([], "one setting leaves nothing to compare"),
    ],
)
def test_what_cannot_be_compared_is_refused_in_words(
    file: Path, words: list[str], told: str
) -> None:
    assert told in refused(str(file), *words)


def test_a_combination_that_breaks_a_rule_is_named_and_nothing_runs(file: Path) -> None:
    text = refused(
        str(file),
        *("--vary", "control.lag_start=1.6 m,1.9 m"),
        *("--vary", "control.lead_start=1.5 m,1.7 m"),
    )
    (told,) = (line for line in text.splitlines() if line.startswith("error: "))
    assert told.startswith(
        "error: lag start 1.6 m / lead start 1.7 m: --vary control.lag_start=1.6 m:"
        " control.lag_start: must lie above control.lead_start"
    )


def test_too_many_combinations_are_refused(file: Path) -> None:
    fifteen = ",".join(f"{1.6 + n / 100:.2f} m" for n in range(15))
    text = refused(
        str(file),
        "--vary",
        f"control.lag_start={fifteen}",
        "--vary",
        f"alarms.high_level={fifteen.replace('1.', '2.')}",
    )
    assert "15 x 15 = 225 settings are too many to compare (accepted: up to 200)" in text


def test_vary_goes_with_one_file(file: Path) -> None:
    assert "one file is varied" in refused(str(file), str(file), "--rotations")


def test_an_event_about_a_machine_that_another_station_lacks_is_named(
    file: Path, tmp_path: Path
) -> None:
    single = tmp_path / "single.toml"
    single.write_text(of_one_pump(), encoding="utf-8")
    said = refused(str(file), str(single), "--event", "day 1 03:00 P2 out of service for 2 h")
    assert "single: the episode of nettle has an event about P2" in said


def test_a_file_that_cannot_be_read_is_named(file: Path) -> None:
    assert "gone.toml: cannot be read" in refused(str(file), "gone.toml")
    said = refused(str(file), str(file.with_name("nettle.toml")), "--set", "control.lag_start=9 m")
    assert "must lie below the spill" in said


def test_the_controller_must_have_stop_policies_to_compare(file: Path) -> None:
    alone = SCENARIO.replace('lag_start = "1.80 m"\n', "")
    file.write_text(alone, encoding="utf-8")
    assert "only the lead has a start level" in refused(str(file), "--stop-policies")


def test_readme_quotes_what_compare_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = Path(__file__).parents[1]
    text = (root / "README.md").read_text(encoding="utf-8")
    quoted = re.findall(r"<!-- compares: (.+?) -->\n```text\n(.*?)```", text, flags=re.DOTALL)
    assert len(quoted) == 1
    monkeypatch.chdir(root)
    for words, said in quoted:
        out = str(tmp_path / "out")
        outcome = done(*shlex.split(words), "--out", out)
        assert " ".join(said.split()) in " ".join(outcome.output.split())


def test_every_word_of_the_tables_stands_in_the_vocabulary(file: Path) -> None:
    done(str(file), "--rotations")
    units = {e.word: e.unit for e in (*vocabulary.METRICS, *vocabulary.COMPARED_METRICS)}
    compared = table("compared")
    for metric, unit in zip(compared["metric"], compared["unit"], strict=True):
        assert units[metric] == unit
    assert set(units) >= {e.word for e in vocabulary.COMPARED_METRICS}
    assert {e.word for e in vocabulary.COMPARED_METRICS} <= set(compared["metric"])
    columns = {entry.word for entry in vocabulary.COLUMNS}
    for name in ("settings", "compared", "limits"):
        assert any(entry.word == name for entry in vocabulary.TABLES)
        assert set(table(name).columns) <= columns


def test_help_shows_examples() -> None:
    text = run("--help").output
    for word in ("--vary", "--rotations", "--stop-policies", "--day", "Examples:"):
        assert word in text

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from stationsim.cli import main
from stationsim.scenario.starter import write_starter
from stationsim.tables import COLUMNS


@pytest.fixture
def tank(tmp_path, monkeypatch) -> Path:
    """The twelve-line scenario in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    write_starter(Path("tank.toml"), tank=True)
    return Path("tank.toml")


def run(*words: object):
    return CliRunner().invoke(main, ["run", *(str(word) for word in words)])


def left_behind() -> list[str]:
    return sorted(str(path) for path in Path().rglob("*") if path.name != "tank.toml")


def test_run_writes_tables_plots_and_sentences_to_the_default_place(tank):
    done = run(tank)
    assert done.exit_code == 0, done.output
    out = Path("results/tank")
    for name, columns in COLUMNS.items():
        assert tuple(pd.read_csv(out / f"{name}.csv").columns) == columns
    for name in ("levels", "pumps", "curves", "time_to_spill"):
        assert (out / f"{name}.png").stat().st_size > 5_000
    lines = done.stdout.splitlines()
    assert "It did not spill." in lines
    assert "Tables and plots: results/tank" in lines
    assert lines[-1].startswith("For planning and teaching only.")
    assert (out / "sentences.txt").read_text().splitlines()[0] == lines[0]
    manifest = json.loads((out / "manifest.json").read_text())
    assert len(manifest["scenario_digest"]) == 64
    assert manifest["mass_balance_error"] < 1e-9
    assert manifest["wall_s"] > 0.0
    assert (out / "scenario.toml").read_text() == tank.read_text()


def test_a_changed_level_changes_the_run_and_the_scenario_beside_it(tank):
    assert run(tank, "--no-plots", "--out", "a").exit_code == 0
    changed = run(
        tank, "--no-plots", "--out", "b", "--set", 'control.lead_start="1.2 m"', "--seed", 7
    )
    assert changed.exit_code == 0, changed.output
    starts = [pd.read_csv(f"{x}/pump_totals.csv")["starts"].sum() for x in "ab"]
    assert starts[1] > starts[0]
    assert "1.2 m" in Path("b/scenario.toml").read_text()
    assert json.loads(Path("b/manifest.json").read_text())["seed"] == 7
    again = run("b/scenario.toml", "--no-plots", "--out", "c")
    assert again.exit_code == 0, again.output
    for name in COLUMNS:
        one, other = (Path(x, f"{name}.csv").read_bytes() for x in "bc")
        assert one == other, name


def test_an_added_event_is_in_the_table(tank):
    done = run(tank, "--no-plots", "--event", "01:00 P1 out of service for 30 min")
    assert done.exit_code == 0, done.output
    events = pd.read_csv("results/tank/events.csv")
    assert "out of service" in set(events["event"])


def test_units_of_sentences_change_and_tables_stay(tank):
    si = run(tank, "--no-plots", "--out", "a")
    us = run(tank, "--no-plots", "--out", "b", "--units", "us")
    assert " m" in si.stdout
    assert " ft" in us.stdout
    assert Path("a/levels.csv").read_bytes() == Path("b/levels.csv").read_bytes()


def test_same_scenario_gives_the_same_bytes(tank):
    for out in "ab":
        assert run(tank, "--out", out, "--format", "csv,parquet").exit_code == 0
    for path in sorted(Path("a").iterdir()):
        if path.name != "manifest.json":
            assert path.read_bytes() == Path("b", path.name).read_bytes(), path.name


def test_quiet_prints_nothing(tank):
    done = run(tank, "--no-plots", "--quiet")
    assert done.exit_code == 0
    assert done.output == ""
    assert Path("results/tank/levels.csv").exists()


def test_existing_results_are_refused_before_anything_runs_and_replaced_by_force(tank):
    assert run(tank, "--no-plots").exit_code == 0
    before = Path("results/tank/manifest.json").read_bytes()
    refused = run(tank, "--no-plots")
    assert refused.exit_code == 2
    assert "already exists" in refused.stderr
    assert "Traceback" not in refused.output
    assert Path("results/tank/manifest.json").read_bytes() == before
    assert run(tank, "--no-plots", "--force").exit_code == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["missing.toml"], "missing.toml"),
        (["tank.toml", "--format", "csv,pdf"], "no format is called 'pdf'"),
        (["tank.toml", "--format", ""], "the list of formats has an empty place"),
        (["tank.toml", "--format", "csv,"], "the list of formats has an empty place"),
        (["tank.toml", "--event", ""], "--event 1: an event text is empty"),
        (["missing.toml", "--out", "tank.toml"], "tank.toml: this is not a folder"),
        (["tank.toml", "--set", "control.lead_strat=1"], "lead_start"),
        (["tank.toml", "--set", 'control.lead_start="0.1 m"'], "lead_start"),
        (["tank.toml", "--event", "01:00 P9 off"], "P9"),
        (["tank.toml", "--out", "tank.toml"], "not a folder"),
        (["tank.toml", "--out", "tank.toml/deeper"], "not a folder"),
        (["tank.toml", "--seed", "-1"], "--seed"),
        (["tank.toml", "--units", "metric"], "--units"),
        ([], "FILE"),
    ],
)
def test_wrong_input_is_one_message_with_exit_code_2_and_nothing_written(tank, words, told):
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert told in done.stderr
    assert "Traceback" not in done.output
    assert left_behind() == []


def test_mistakes_of_the_scenario_and_of_the_folder_are_told_together(tank):
    assert run(tank, "--no-plots", "--quiet").exit_code == 0
    done = run(tank, "--set", "control.stop=0.5", "--format", "pdf")
    assert done.exit_code == 2
    told = done.stderr.splitlines()
    assert len(told) == 3
    assert "a plain number where a length" in told[0]
    assert "no format is called 'pdf'" in told[1]
    assert "already exists" in told[2]


def recorded(file: str, folder: Path) -> Path:
    """Return a scenario in a folder that reads its inflow from a file."""
    folder.mkdir(exist_ok=True)
    text = Path("tank.toml").read_text(encoding="utf-8")
    tap = text.index("inflow.tap")
    path = folder / "s.toml"
    path.write_text(
        f'{text[:tap]}inflow.tap = {{ kind = "recorded", file = "{file}" }}  # measured\n',
        encoding="utf-8",
    )
    return path


@pytest.mark.parametrize(
    ("file", "place", "saved"),
    [
        ("flow.csv", "here/flow.csv", "flow.csv"),
        ("data/flow.csv", "here/data/flow.csv", "data/flow.csv"),
        ("../flow.csv", "flow.csv", "inputs/flow.csv"),
        ("levels.csv", "here/levels.csv", "inputs/levels.csv"),
        ("ABSOLUTE/flow.csv", "flow.csv", "inputs/flow.csv"),
    ],
)
def test_scenario_beside_the_results_runs_from_there(tank, tmp_path, file, place, saved):
    scenario = recorded(file.replace("ABSOLUTE", str(tmp_path)), tmp_path / "here")
    data = tmp_path / place
    data.parent.mkdir(exist_ok=True)
    data.write_bytes(b"t_min,flow_L/s\r\n0,5\r\n150,7\r\n300,5\r\n")
    assert run(scenario, "--no-plots", "--out", "first").exit_code == 0
    assert (tmp_path / "first" / saved).read_bytes() == data.read_bytes()
    text = (tmp_path / "first" / "scenario.toml").read_text(encoding="utf-8")
    assert "# measured" in text
    assert (text == scenario.read_text(encoding="utf-8")) is (saved == file)
    data.unlink()
    Path("first").rename("moved")
    again = run("moved/scenario.toml", "--no-plots", "--out", "second")
    assert again.exit_code == 0, again.output
    for name in COLUMNS:
        one, other = (Path(x, f"{name}.csv").read_bytes() for x in ("moved", "second"))
        assert one == other, name
    first, second = (json.loads(Path(x, "manifest.json").read_text()) for x in ("moved", "second"))
    assert first["scenario_digest"] == second["scenario_digest"]


def test_two_data_files_of_one_name_are_both_saved(tank, tmp_path):
    for name, flow in (("a", 1), ("b", 2)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "flow.csv").write_text(f"t_h,flow_L/s\n0,{flow}\n5,{flow}\n")
    scenario = recorded("../a/flow.csv", tmp_path / "here")
    with scenario.open("a", encoding="utf-8") as more:
        more.write('[inflow.other]\nkind = "recorded"\nfile = "../b/flow.csv"\n')
    assert run(scenario, "--no-plots", "--out", "out").exit_code == 0
    assert Path("out/inputs/flow.csv").read_text() != Path("out/inputs/flow-2.csv").read_text()
    assert run("out/scenario.toml", "--no-plots", "--out", "again").exit_code == 0
    assert Path("out/levels.csv").read_bytes() == Path("again/levels.csv").read_bytes()


def test_warnings_of_the_run_stand_in_its_manifest(tank):
    done = run(tank, "--no-plots", "--set", 'inflow.tap.flow="20 L/s"')
    assert done.exit_code == 0
    (warning,) = json.loads(Path("results/tank/manifest.json").read_text())["warnings"]
    assert "the greatest inflow is more than all pumps together deliver" in warning
    assert f"warning: {warning}" in done.stderr
    assert run(tank, "--no-plots", "--out", "plain").exit_code == 0
    assert json.loads(Path("plain/manifest.json").read_text())["warnings"] == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("words", [["--help"], ["schema"], ["explain", "lead"]])
def test_output_that_cannot_be_written_is_one_message_with_exit_code_1(words):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from stationsim.cli import main; main()", *words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.returncode == 1
    assert done.stderr == "error: the output cannot be written: No space left on device\n"


def test_a_run_that_fails_while_it_writes_leaves_nothing_behind(tank, monkeypatch):
    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("stationsim.plots.save_all", full)
    done = run(tank)
    assert done.exit_code == 2
    assert "No space left" in done.stderr
    assert left_behind() == []


def test_help_shows_examples():
    done = CliRunner().invoke(main, ["run", "--help"])
    assert done.exit_code == 0
    assert "stationsim run my-station.toml" in done.output
    assert "--event" in done.output

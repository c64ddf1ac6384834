"""The commands new, schema and explain, and how the command line says what is wrong."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

import stationsim
from stationsim.cli import COMMANDS, main
from stationsim.errors import HydraulicError
from stationsim.scenario import keys
from stationsim.scenario.load import load


def call(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


@pytest.mark.parametrize(
    "options", [(), ("--tank",), ("--units", "us"), ("--tank", "--units", "us")]
)
def test_new_writes_a_scenario_that_loads(tmp_path: Path, options: tuple[str, ...]) -> None:
    path = tmp_path / "mine.toml"
    done = call("new", str(path), *options)
    assert done.exit_code == 0
    assert str(path) in done.stdout
    found = load(path)
    assert found.warnings == ()
    text = path.read_text(encoding="utf-8")
    si = re.search(r'[\d.] ?(m|mm|m3|L|L/s|L/h|kW)"', text)
    us = re.search(r'[\d.] ?(ft|in|gal|gpm|gal/h|hp)"', text)
    assert (si is None, us is None) == ("us" in options, "us" not in options)
    assert [one.name for one in tmp_path.iterdir()] == ["mine.toml"]


def test_whatever_file_connects_a_generator_says_that_nobody_does_it_alone() -> None:
    root = Path(stationsim.__file__).parent
    files = [*root.parent.glob("scenarios/*.toml"), *root.glob("scenario/templates/*.toml")]
    texts = {file.name: file.read_text(encoding="utf-8") for file in files}
    asked = {name: text for name, text in texts.items() if "[task.connect_mobile_gen" in text}
    assert {"station.toml", "reference-plan.toml"} <= set(asked)
    for name, text in asked.items():
        remarks = " ".join(re.findall(r"#\s?(.*)", text))
        assert re.search(r"somebody licensed, and not (for one )?alone", remarks), name


def test_new_refuses_to_overwrite_without_force(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("precious")
    done = call("new", str(path))
    assert done.exit_code == 2
    assert done.stderr == f"error: {path}: is there already; --force writes over it\n"
    assert path.read_text() == "precious"
    assert call("new", str(path), "--force").exit_code == 0
    assert "Alder Lane" in path.read_text()


@pytest.mark.parametrize(
    ("name", "said"), [("no/folder/x.toml", "no such file"), (".", "a folder")]
)
def test_new_says_where_it_cannot_write(tmp_path: Path, name: str, said: str) -> None:
    done = call("new", str(tmp_path / name))
    assert done.exit_code == 2
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_schema_is_json_schema_with_every_key(tmp_path: Path) -> None:
    del tmp_path
    schema = json.loads(call("schema").stdout)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert schema["additionalProperties"] is False
    control = schema["properties"]["control"]["anyOf"][0]["$ref"].rpartition("/")[2]
    assert "lead_start" in schema["$defs"][control]["properties"]
    assert schema["$defs"][control]["required"] == ["kind", "lead_start", "stop"]
    assert "null" not in json.dumps(schema)
    for reference in _references(schema):
        assert reference.removeprefix("#/$defs/") in schema["$defs"]


def _references(node: object) -> list[str]:
    if isinstance(node, list):
        return [one for item in node for one in _references(item)]
    if isinstance(node, dict):
        own = [node["$ref"]] if isinstance(node.get("$ref"), str) else []
        return own + [one for item in node.values() for one in _references(item)]
    return []


def test_every_key_is_explained() -> None:
    paths = keys.all_paths()
    assert len(paths) > 100
    for path in paths:
        entries = keys.explain_key(path)
        assert entries, path
        assert all(entry.meaning and (entry.accepts or entry.keys) for entry in entries), path


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("control.lag_start", "Level at which the lag pump starts"),
        ("pump.P1.min_off_time", "before it may start again"),
        ("pump.min_off_time", "Default: 0 s"),
        ("lag_start", "control.lag_start"),
        ("well.shaft.diameter", "Inside diameter"),
        ("inflow.between", "Linear from hour to hour"),
        ("rotation.every", "from one change of the lead to the next"),
        ("lead", "duty"),
        ("force_main.c_factor", "Default: 120"),
        ("pump.branch.roughness", "Default: 0 mm"),
        ("pump.motor_efficiency", "Default: 1\n"),
        ("force_main.friction", "Default: hazen-williams"),
        ("engine_pump.fuel_rate", "Default: 0 L/h"),
        ("episode.table_interval", "Default: 5 min"),
        ("episode.start", "Default: 2027-03-01T00:00+00:00"),
        ("well.from", "Default: the floor"),
        ("alarms.high_level", "Default: no such alarm"),
        ("control.lag_start", "Default: not used"),
        ("station.levels_are", "in the tables of results a level is\n  always above the floor"),
        ("elevation", "Height above the datum"),
        ("datum", "nought"),
        ("grid loss", "day 3 07:10 grid loss for 4 h"),
        ("power cut", "grid loss (word)"),
        ("high temperature", "P2 high temperature for 20 min"),
        ("csv", "a line of column names"),
        ("site", "somebody who stands there"),
        ("inflow.file", 'Goes with kind = "recorded"'),
        ("event", "P2 out of service for 3 h"),
        ("event", '"after 26 h"'),
        ("event.what", "grid loss for 4 h"),
    ],
)
def test_explain_says_what_it_means(word: str, said: str) -> None:
    done = call("explain", word)
    assert done.exit_code == 0
    assert said in done.stdout


def test_no_key_is_explained_with_a_default_that_says_nothing() -> None:
    for path in keys.all_paths():
        for entry in keys.explain_key(path):
            assert entry.default not in ("left out", "None", "none given"), path


def test_defaults_that_are_explained_are_those_that_are_taken(tmp_path: Path) -> None:
    plain = (
        '[station]\nname = "T"\n[well.a]\nshape = "cylinder"\ndiameter = "3 m"\n'
        '[pump.P1]\ncurve = {flow = ["0 L/s", "40 L/s"], head = ["20 m", "5 m"]}\n'
        'branch = {length = "5 m", diameter = "150 mm"}\nefficiency = 0.6\n'
        '[force_main]\ndischarge = "8 m"\nlength = "100 m"\ndiameter = "200 mm"\n'
        '[control]\nkind = "staging"\nstop = "0.7 m"\nlead_start = "1.5 m"\n'
        '[episode]\nduration = "2 d"\nstart_level = "0.8 m"\n'
        '[inflow.a]\nkind = "constant"\nflow = "10 L/s"\n'
    )
    said: dict[str, str] = {}
    for key in ("force_main.c_factor", "force_main.friction", "pump.P1.motor_efficiency",
                "pump.P1.branch.c_factor", "pump.P1.min_off_time", "control.stagger",
                "episode.table_interval", "episode.start", "episode.seed"):  # fmt: skip
        (entry,) = keys.explain_key(key)
        said[key] = re.sub(r", with a warning$", "", entry.default)
    path = tmp_path / "s.toml"
    path.write_text(plain, encoding="utf-8")
    without = load(path)
    given = load(path, sets=[f"{key}={value}" for key, value in said.items()])
    assert given.station == without.station
    assert given.episode == without.episode


def test_explain_a_kind_says_once_what_each_does() -> None:
    told = call("explain", "rotation.kind").stdout
    assert told.count("rotation.kind") == 1
    for kind, does in (
        ("each cycle", "at each stop the lead goes to the end"),
        ("run hours", "sorted by run hours"),
        ("clock", "the lead changes at set times"),
        ("fixed", "one pump always leads"),
    ):
        assert f'"{kind}": ' in told
        assert does in told
    assert call("explain", "inflow.kind").stdout.count("key of a scenario") == 1
    assert call("explain", "well.shape").stdout.count("key of a scenario") == 1
    assert call("explain", "rotation").stdout.count("key of a scenario") == 1


def test_explain_unknown_word_names_near_ones() -> None:
    done = call("explain", "control.lag_strat")
    assert done.exit_code == 2
    assert "'control.lag_start'" in done.stderr


def test_every_error_of_ours_becomes_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command()
    def broken() -> None:
        raise HydraulicError("the curves do not meet")

    monkeypatch.setattr("stationsim.cli.new.new", broken)
    done = call("new")
    assert done.exit_code == 1
    assert done.stderr == "error: the curves do not meet\n"


def test_stopped_by_hand_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command()
    def stopped() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("stationsim.cli.new.new", stopped)
    done = call("new")
    assert (done.exit_code, done.stderr) == (1, "stopped\n")


def test_help_lists_every_command_without_importing_it() -> None:
    code = (
        "import sys\nfrom stationsim.cli import main\n"
        "main(['--help'], standalone_mode=False)\n"
        "heavy = {'pint', 'pandas', 'numpy', 'scipy', 'pydantic', 'matplotlib', 'simpy'}\n"
        "print('heavy:', sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert "heavy: []" in done.stdout
    for name in COMMANDS:
        assert f"\n  {name} " in done.stdout


@pytest.mark.parametrize("name", ["new", "schema", "explain"])
def test_help_of_a_command_shows_an_example(name: str) -> None:
    done = call(name, "--help")
    assert done.exit_code == 0
    assert f"stationsim {name}" in done.stdout


def test_version_is_told() -> None:
    assert call("--version").stdout == f"stationsim {stationsim.__version__}\n"


def test_unknown_public_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        _ = stationsim.simulat
    assert set(stationsim.__all__) == set(dir(stationsim))

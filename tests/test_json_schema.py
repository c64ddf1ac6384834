"""The JSON Schema against the loader: an editor must not redden what runs, nor pass over slips."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from scenario_texts import CURVED, DUPLEX, changed

from stationsim.errors import ScenarioError
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import load
from stationsim.scenario.starter import starter_text

ROOT = Path(__file__).parents[1]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    whole = json_schema()
    Draft202012Validator.check_schema(whole)
    return Draft202012Validator(whole)


def refused(schema: Draft202012Validator, text: str) -> list[str]:
    """Return the dotted path of everything that the schema refuses."""
    problems = schema.iter_errors(tomllib.loads(text))
    return [".".join(str(key) for key in problem.absolute_path) for problem in problems]


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_every_shipped_scenario_is_valid(schema: Draft202012Validator, path: Path) -> None:
    assert refused(schema, path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("tank", [True, False])
def test_every_starter_is_valid(schema: Draft202012Validator, tank: bool, system: Any) -> None:
    assert refused(schema, starter_text(tank=tank, system=system)) == []


@pytest.mark.parametrize(
    ("efficiency", "right"),
    [
        ("0.58", True),
        ("1", True),
        ('"58 %"', True),
        ('{ flow = ["0 L/s", "30 L/s"], efficiency = [0.3, "58 %"] }', True),
        ("1.5", False),
        ("-0.1", False),
        ("true", False),
        ("[0.58]", False),
        ("{ flow = [], efficiency = [0.58] }", False),
        ("{ efficiency = [0.58] }", False),
    ],
)
def test_an_efficiency_is_right_for_the_schema_when_it_is_for_the_loader(
    schema: Draft202012Validator, tmp_path: Path, efficiency: str, right: bool
) -> None:
    text = changed("[pump.P1]\n", f"[pump.P1]\nefficiency = {efficiency}\n", CURVED)
    file = tmp_path / "s.toml"
    file.write_text(text, encoding="utf-8")
    if right:
        load(file)
    else:
        with pytest.raises(ScenarioError, match=r"pump\.P1\.efficiency"):
            load(file)
    assert refused(schema, text) == ([] if right else ["pump.P1.efficiency"])


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('diameter = "3.0 m"', "diameter = 3.0", "well.shaft"),
        ('shape = "cylinder"', 'shape = "barrel"', "well.shaft"),
        ('diameter = "3.0 m"', 'diametre = "3.0 m"', "well.shaft"),
        ('kind = "constant"', 'kind = "constantly"', "inflow.homes"),
        ('duration = "2 d"\n', "", "episode"),
        ('name = "Test duplex"', "name = 7", "station.name"),
    ],
)
def test_a_slip_is_reddened_where_it_stands(
    schema: Draft202012Validator, old: str, new: str, where: str
) -> None:
    places = refused(schema, changed(old, new, DUPLEX))
    assert places
    assert all(place.startswith(where) for place in places)


def test_a_benched_sump_is_valid_and_needs_all_its_measures(schema: Draft202012Validator) -> None:
    bench = (
        '[well.bench]\nshape = "frustum"\nbottom_length = "1 m"\nbottom_width = "0 m"\n'
        'top_length = "3 m"\ntop_width = "2 m"\nto = "0.6 m"\n[well.shaft]\n'
    )
    text = changed("[well.shaft]\n", bench, DUPLEX)
    assert refused(schema, text) == []
    assert refused(schema, changed('top_width = "2 m"\n', "", text)) == ["well.bench"]

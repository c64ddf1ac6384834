"""A scenario with people and a plan as text, for tests that read files."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from scenario_texts import DUPLEX

from stationsim.errors import ScenarioError
from stationsim.people.response import Response
from stationsim.scenario.load import Loaded, load

PLATES = (
    '[pump.P1.plate]\nrated_power = "7.5 kW"\nefficiency = 0.89\npower_factor = 0.84\n'
    '[mobile_generator]\nrated_power = "45 kW"\n'
)
PLAN = """\
[call_out]
list = ["anna", "bert"]
picked_up = ["0 s", "1 min", "5 min"]
on_phone = ["30 s", "2 min", "10 min"]
[person.anna]
name = "operator on call"
acknowledges = ["1 min", "5 min", "30 min"]
[person.bert]
[tool.mobile_generator]
fetched = ["10 min", "15 min", "30 min"]
[task.reset]
takes = "5 min"
[task.connect_mobile_generator]
takes = ["10 min", "15 min", "40 min"]
tool = "mobile_generator"
brought_for = ["power failed"]
"""
PLANNED = DUPLEX + PLATES + PLAN
LIST = 'list = ["anna", "bert"]'
FETCHED = 'fetched = ["10 min", "15 min", "30 min"]'
FIVE = 'takes = "5 min"'
BERT = "[person.bert]\n"
TOOL = 'tool = "mobile_generator"\n'
"""Pieces of the plan, for tests that change one of them."""


def loaded(folder: Path, text: str, **options: Any) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def answered(folder: Path, text: str, **options: Any) -> Response:
    response = loaded(folder, text, **options).episode.response
    assert response is not None
    return response


def refused(folder: Path, text: str, **options: Any) -> list[str]:
    """Return each thing that is wrong without the file and the line that it stands in."""
    with pytest.raises(ScenarioError) as caught:
        loaded(folder, text, **options)
    return [re.sub(r"^\S+s\.toml(:\d+)?: ", "", one) for one in str(caught.value).splitlines()]

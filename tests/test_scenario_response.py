"""People and the plan, as a scenario says them: every key; the schema, the starter, show."""

from __future__ import annotations

import copy
import math
import re
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from response_texts import BERT, FIVE, LIST, PLANNED, answered, loaded, refused
from scenario_texts import DUPLEX, changed

from stationsim.chance import Range
from stationsim.cli import main
from stationsim.errors import ScenarioError
from stationsim.people.response import (
    ClockSpan,
    PasserBy,
    Person,
    Response,
    Task,
    Tool,
    Visit,
)
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import load
from stationsim.scenario.overrides import to_toml
from stationsim.scenario.parts import RESPONSE_TABLES
from stationsim.scenario.starter import starter_text
from stationsim.wording.response import response_lines
from stationsim.wording.spans import span_text

MIN_S = 60.0
WHOLE = """
[call_out]
list = ["second", "first"]
alarms = ["power failed", "high level", "telemetry lost"]
picked_up = ["0 s", "1 min", "5 min"]
on_phone = "2 min"
next_after = "15 min"
rounds = 2
assesses = ["1 min", "2 min", "4 min"]
look_again = "20 min"
night = "22:00 to 06:00"
weekend_as_night = true
pace = "drawn"
steps = ["haul", "connect_mobile_generator", "refuel"]
late = "45 min"
[person.first]
name = "operator on call"
acknowledges = ["1 min", "5 min", "30 min"]
gets_ready = ["5 min", "10 min", "20 min"]
travels = ["10 min", "25 min", "90 min"]
night_acknowledges = "10 min"
night_gets_ready = ["10 min", "20 min", "40 min"]
night_travels = "20 min"
on_call = "17:00 to 24:00"
answers = false
answers_at_night = false
[person.second]
[tool.mobile_generator]
name = "hired set"
number = 2
fetched = ["10 min", "15 min", "30 min"]
[tool.tanker_of_10]
delivered = ["30 min", "45 min", "90 min"]
holds = "10 m3"
round_trip = "40 min"
[task.refuel]
fuel_below = "30 %"
[task.connect_mobile_generator]
takes = ["10 min", "15 min", "40 min"]
starts = ["2 min", "5 min", "10 min"]
takes_down = "10 min"
people = 2
tool = "mobile_generator"
brought_for = ["power failed"]
[task.haul]
takes = "8 min"
people = 0
tool = "tanker_of_10"
[visit]
person = "first"
at = "09:00"
every = "2 d"
[passer_by]
after = ["2 h", "6 h", "12 h"]
sees = "alarm light"
awake = "00:00 to 24:00"
[alarms]
high_level = "2.0 m"
[pump.P1.plate]
rated_power = "7.5 kW"
efficiency = 0.89
power_factor = 0.84
[mobile_generator]
rated_power = "45 kW"
fuel_rate = "8 L/h"
tank = "100 L"
"""


def minutes(*values: float) -> Range:
    low, typical, high = values if len(values) == 3 else values * 3
    return Range(low * MIN_S, typical * MIN_S, high * MIN_S)


# ---------------------------------------------------------------------- each key


def test_nobody_comes_unless_it_is_said(tmp_path: Path) -> None:
    assert loaded(tmp_path, DUPLEX).episode.response is None


def test_every_key_is_read(tmp_path: Path) -> None:
    assert answered(tmp_path, DUPLEX + WHOLE) == Response(
        people=(
            Person(
                name="operator on call",
                acknowledges=minutes(1, 5, 30),
                gets_ready=minutes(5, 10, 20),
                travels=minutes(10, 25, 90),
                night_acknowledges=minutes(10),
                night_gets_ready=minutes(10, 20, 40),
                night_travels=minutes(20),
                on_call=ClockSpan(17 * 3600.0, 0.0),
                answers=False,
                answers_at_night=False,
            ),
            Person(name="second"),
        ),
        call_list=("second", "operator on call"),
        alarms=("power failed", "high level", "telemetry lost"),
        picked_up=minutes(0, 1, 5),
        on_phone=minutes(2),
        next_after_s=900.0,
        rounds=2,
        assesses=minutes(1, 2, 4),
        look_again_s=1200.0,
        night=ClockSpan(22 * 3600.0, 6 * 3600.0),
        weekend_as_night=True,
        tools=(
            Tool("hired set", 2, fetched=minutes(10, 15, 30)),
            Tool(
                "tanker of 10",
                delivered=minutes(30, 45, 90),
                holds_m3=pytest.approx(10.0),  # type: ignore[arg-type]
                round_trip=minutes(40),
            ),
        ),
        tasks=(
            Task("haul", minutes(8), people=0, tool="tanker of 10"),
            Task(
                "connect mobile generator",
                takes=minutes(10, 15, 40),
                starts=minutes(2, 5, 10),
                takes_down=minutes(10),
                people=2,
                tool="hired set",
                brought_for=("power failed",),
            ),
            Task("refuel", fuel_below=0.3),
        ),
        visit=Visit("operator on call", 9 * 3600.0, 2 * 86400.0),
        passer_by=PasserBy(minutes(120, 360, 720), "alarm light", ClockSpan(0.0, 0.0)),
        pace="drawn",
        late_s=2700.0,
    )


def test_what_is_left_out_takes_no_time_and_waits(tmp_path: Path) -> None:
    found = answered(tmp_path, DUPLEX + '[call_out]\nlist = ["anna"]\n[person.anna]\n')
    assert found == Response(people=(Person("anna"),), call_list=("anna",))
    assert found.next_after_s == math.inf


def test_steps_stand_as_in_the_file_unless_told(tmp_path: Path) -> None:
    plan = answered(tmp_path, PLANNED)
    assert [one.kind for one in plan.tasks] == ["reset", "connect mobile generator"]
    steps = f'{LIST}\nsteps = ["connect_mobile_generator", "reset"]'
    turned = answered(tmp_path, changed(LIST, steps, PLANNED))
    assert turned.tasks == plan.tasks[::-1]


@pytest.mark.parametrize(
    ("text", "at", "inside"),
    [
        ("22:00 to 06:00", 23.5, True),
        ("22:00 to 06:00", 6.0, False),
        ("22:00 to 24:00", 23.9, True),
        ("22:00 to 24:00", 0.0, False),
        ("24:00 to 06:00", 1.0, True),
        ("00:00 to 24:00", 13.0, True),
        ("07:00  to  17:00", 7.0, True),
    ],
)
def test_a_span_of_the_day_is_read(tmp_path: Path, text: str, at: float, inside: bool) -> None:
    night = answered(tmp_path, changed(LIST, f'{LIST}\nnight = "{text}"', PLANNED)).night
    assert night is not None
    assert night.holds(at * 3600.0) is inside


def test_a_station_that_is_only_visited_needs_no_list(tmp_path: Path) -> None:
    text = '[person.anna]\n[visit]\nperson = "anna"\nat = "09:00"\n[task.reset]\n'
    found = loaded(tmp_path, DUPLEX + text)
    assert found.warnings == ()
    assert found.episode.response is not None
    assert found.episode.response.call_list == ()
    found = loaded(tmp_path, DUPLEX + text + '[call_out]\nassesses = "5 min"\n')
    assert found.episode.response is not None
    assert found.episode.response.assesses == minutes(5)


# ---------------------------------------------------------------------- from outside the file


def test_set_changes_a_plan_and_comes_back_from_the_text_as_run(tmp_path: Path) -> None:
    tanker = '[tool.tanker]\ndelivered = "45 min"\nholds = "10 m3"\n[task.haul]\ntool = "tanker"\n'
    changes = ["call_out.pace=high", "person.anna.answers=false", "task.haul.people=0"]
    as_set = loaded(tmp_path, PLANNED + tanker, sets=changes)
    plan = as_set.episode.response
    assert plan is not None
    assert (plan.pace, plan.person("operator on call").answers) == ("high", False)
    assert [one.people for one in plan.tasks] == [1, 1, 0]
    again = loaded(tmp_path, as_set.text)
    assert (again.episode, again.digest) == (as_set.episode, as_set.digest)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            "person.ana.answers=false",
            (
                "--set person.ana.answers=false: person.ana.answers: the file has no "
                "[person.ana] (accepted: anna, bert); did you mean 'anna'?"
            ),
        ),
        (
            "task.haul.people=0",
            (
                "--set task.haul.people=0: task.haul.people: the file has no [task.haul] "
                "(accepted: reset, connect_mobile_generator); a new task must be written in "
                "the file, as [task.haul] with people = 0"
            ),
        ),
    ],
)
def test_set_with_a_slip_in_a_name_adds_nobody(tmp_path: Path, change: str, said: str) -> None:
    assert refused(tmp_path, PLANNED, sets=[change]) == [said]


# ---------------------------------------------------------------------- schema, new, show


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    return Draft202012Validator(json_schema())


@pytest.mark.parametrize("text", [DUPLEX + WHOLE, PLANNED])
def test_the_schema_takes_what_the_loader_takes(schema: Draft202012Validator, text: str) -> None:
    assert list(schema.iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("[task.reset]", "[task.rest]"),
        (LIST, "list = []"),
        (LIST, f'{LIST}\nalarms = ["flood"]'),
        (LIST, f'{LIST}\npace = "usual"'),
        (LIST, f"{LIST}\nrounds = 0"),
        (FIVE, "takes = 5"),
        (FIVE, 'takes = ["5 min", "6 min"]'),
        (FIVE, 'takse = "5 min"'),
        (BERT, f'{BERT}[visit]\nat = "09:00"\n'),
    ],
)
def test_the_schema_reddens_what_the_loader_refuses(
    schema: Draft202012Validator, tmp_path: Path, old: str, new: str
) -> None:
    text = changed(old, new, PLANNED)
    assert refused(tmp_path, text)
    assert list(schema.iter_errors(tomllib.loads(text)))


@pytest.mark.parametrize("system", ["si", "us"])
def test_the_starter_can_be_put_to_a_plan_at_once(tmp_path: Path, system: Any) -> None:
    text = starter_text(system=system)
    plan = answered(tmp_path, text)
    assert plan.call_list == ("operator on call", "second operator")
    kinds = ["reset", "connect mobile generator", "set right", "clear rags"]
    assert [one.kind for one in plan.tasks] == kinds
    assert plan.person("operator on call").travels == minutes(10, 25, 90)
    waiting = re.compile(r"# (\[[\w.]+\]|\w+ = )")
    lines = (one.removeprefix("# ") if waiting.match(one) else one for one in text.splitlines())
    whole = answered(tmp_path, "\n".join(lines) + "\n")
    assert whole.tasks == plan.tasks
    assert plan.task("connect mobile generator") == Task(
        "connect mobile generator",
        takes=minutes(10, 15, 40),
        starts=minutes(2, 5, 10),
        takes_down=minutes(10),
        tool="mobile generator",
        brought_for=("power failed",),
    )


def test_show_tells_who_is_called_and_the_steps(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(DUPLEX + WHOLE, encoding="utf-8")
    done = CliRunner().invoke(main, ["show", str(file), "--no-plots"])
    assert done.exit_code == 0
    tail = done.stdout.partition("The plan; ")[2].splitlines()
    assert [line.split("  ")[0] for line in tail if re.match(r"\d ", line)] == list("12123")
    assert re.search(r"^1  second +0 s +0 s +0 s +0 s$", done.stdout, re.MULTILINE)
    assert "2  operator on call: does not answer" in done.stdout
    assert "Not acknowledged within 15 min, the next one is called too; 2 rounds." in tail
    assert "operator on call visits at 09:00, every 2 d" in done.stdout
    assert "tanker of 10: holds 10.0 m3, delivered in 30 / 45 / 90 min" in done.stdout
    file.write_text(DUPLEX, encoding="utf-8")
    assert "The plan" not in CliRunner().invoke(main, ["show", str(file), "--no-plots"]).stdout


def test_from_the_phone_to_the_site_is_the_sum_of_its_parts(tmp_path: Path) -> None:
    text = DUPLEX + WHOLE.replace("answers = false", "answers = true")
    lines = response_lines(answered(tmp_path, text))
    # by hand: 1 + 5 + 10, 5 + 10 + 25 and 30 + 20 + 90 minutes
    (row,) = (line for line in lines if line.startswith("2  operator on call"))
    assert row.endswith("16 min / 40 min / 2 h 20 min")


def test_a_range_is_said_once_where_all_are_alike() -> None:
    assert span_text(minutes(10)) == "10 min"
    assert span_text(minutes(10, 15, 40)) == "10 / 15 / 40 min"
    assert span_text(minutes(0.5, 2, 90)) == "30 s / 2 min / 1 h 30 min"


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("call_out.list", "Whom an alarm calls"),
        ("call_out.pace", '"low" | "typical" | "high" | "drawn"'),
        ("call_out.alarms", '"telemetry lost"'),
        ("person.anna.travels", "Default: no time at all"),
        ("tool.tanker.holds", "volume as text with its unit"),
        ("task.haul.people", "whoever delivers the tool"),
        ("visit.every", "Default: 24 h"),
        ("passer_by.sees", '"spill" | "alarm light"'),
    ],
)
def test_explain_tells_of_its_keys(word: str, said: str) -> None:
    done = CliRunner().invoke(main, ["explain", word])
    assert done.exit_code == 0
    assert said in done.stdout


# ---------------------------------------------------------------------- anything at all

_VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 400),
    st.floats(-1e3, 1e3),
    st.sampled_from(
        ["", "anna", "reset", "haul", "5 min", "0 s", "22:00 to 06:00", "power failed"]
    ),
    st.lists(st.sampled_from(["anna", "reset", "1 min", "2 h", "high level", 3]), max_size=4),
    st.dictionaries(st.sampled_from(["takes", "x", "anna", "a b"]), st.just("1 min"), max_size=2),
)
_WHOLE_DOCUMENT = tomllib.loads(DUPLEX + WHOLE)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_spoilt_tables_are_refused_in_plain_words_or_load(data: st.DataObject) -> None:
    document = copy.deepcopy(_WHOLE_DOCUMENT)
    for _ in range(data.draw(st.integers(1, 4))):
        node: Any = document
        path = [data.draw(st.sampled_from(RESPONSE_TABLES))]
        while isinstance(node.get(path[-1]), dict) and data.draw(st.integers(0, 3)):
            node = node[path[-1]]
            path.append(data.draw(st.sampled_from([*node, "x", "a b"])))
        value = data.draw(_VALUES)
        if value is None:
            node.pop(path[-1], None)
        else:
            node[path[-1]] = value
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "s.toml"
        file.write_text(to_toml(document), encoding="utf-8")
        try:
            load(file)
        except ScenarioError as error:
            told = str(error).splitlines()
        else:
            told = [f"{file} loads"]
        assert told
        assert len(told) == len(set(told))
        assert all(line.startswith(str(file)) for line in told)


def test_the_plan_of_these_tests_has_no_warning(tmp_path: Path) -> None:
    assert loaded(tmp_path, PLANNED).warnings == ()

"""What people and a plan cannot be, and what is said of them and has no effect."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from response_texts import BERT, FETCHED, FIVE, LIST, PLANNED, TOOL, loaded, refused
from scenario_texts import DUPLEX, changed

from stationsim.cli import main

TASKS = (
    "reset, set_right, clear_rags, pull_a_pump, connect_mobile_generator, connect_bypass_pump, "
    "refuel, haul"
)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            LIST,
            'list = ["ana", "bert"]',
            (
                'call_out.list: there is no [person.ana] (found "ana"; accepted: "anna", '
                "\"bert\"); did you mean 'anna'?"
            ),
        ),
        (
            LIST,
            'list = ["operator on call", "bert"]',
            (
                'call_out.list: there is no [person."operator on call"] (found "operator on '
                'call"; accepted: "anna", "bert"); did you mean \'anna\'?'
            ),
        ),
        (
            LIST,
            'list = ["anna", "bert", "zoe"]',
            (
                'call_out.list: there is no [person.zoe] (found "zoe"; accepted: "anna", '
                '"bert"); add [person.zoe]'
            ),
        ),
        (LIST, "list = []", "call_out.list: too few values (found 0; accepted: at least 1)"),
        (
            LIST,
            'list = ["anna", "bert", "anna"]',
            'call_out.list: names somebody twice (found "anna"); take one out',
        ),
        (
            LIST,
            "rounds = 1",
            (
                'call_out.list: is missing: nobody would be called (accepted: "anna", '
                '"bert"); add it, such as list = ["anna", "bert"]'
            ),
        ),
        (
            '["30 s", "2 min", "10 min"]',
            '["30 s", "12 min", "10 min"]',
            (
                'call_out.on_phone: low, typical and high do not rise (accepted: "2 h", or '
                'a low, a typical and a high one: ["1 h", "2 h", "8 h"])'
            ),
        ),
        (
            LIST,
            f'{LIST}\nnext_after = "0 s"',
            (
                'call_out.next_after: duration out of range (found "0 s"; accepted: more '
                "than 0 s to 7 d)"
            ),
        ),
        (
            LIST,
            f'{LIST}\nnight = "22:00 to 22:00"',
            (
                'call_out.night: begins and ends at the same time (found "22:00 to 22:00"; '
                'accepted: "22:00 to 06:00": two times of the day); the whole day is "00:00 '
                'to 24:00"'
            ),
        ),
        (
            LIST,
            f'{LIST}\nnight = "from ten"',
            (
                'call_out.night: is no span of the day (found "from ten"; accepted: "22:00 '
                'to 06:00": two times of the day)'
            ),
        ),
        (
            LIST,
            f'{LIST}\nalarms = ["transfer failed"]',
            (
                "call_out.alarms: this station raises no such alarm: [transfer] is missing "
                '(found "transfer failed"); add [transfer] and [generator], or take it out'
            ),
        ),
        (
            LIST,
            f'{LIST}\nalarms = ["high level"]',
            (
                "call_out.alarms: this station raises no such alarm: alarms.high_level is "
                'missing (found "high level"); add high_level to [alarms], or take it out'
            ),
        ),
        (
            LIST,
            f'{LIST}\nalarms = ["engine failed"]',
            (
                "call_out.alarms: this station raises no such alarm: [engine_pump] is "
                'missing (found "engine failed"); add it, or take it out'
            ),
        ),
        (
            LIST,
            f'{LIST}\nalarms = ["no flow", "no flow"]',
            'call_out.alarms: names an alarm twice (found "no flow"); take one out',
        ),
        (
            LIST,
            f'{LIST}\nsteps = ["rest", "connect_mobile_generator"]',
            (
                'call_out.steps: there is no [task.rest] (found "rest"; accepted: "reset", '
                "\"connect_mobile_generator\"); did you mean 'reset'?"
            ),
        ),
        (
            LIST,
            f'{LIST}\nsteps = ["reset"]',
            (
                "call_out.steps: leaves out [task.connect_mobile_generator] (accepted: "
                'every task, once); add "connect_mobile_generator" where it belongs, or '
                "take the table out"
            ),
        ),
        (
            LIST,
            f'{LIST}\nsteps = ["reset", "connect_mobile_generator", "reset"]',
            'call_out.steps: names a task twice (found "reset"); take one out',
        ),
        (
            LIST,
            f'{LIST}\npace = "usual"',
            (
                'call_out.pace: is none of the accepted words (found "usual"; accepted: '
                '"low", "typical", "high", "drawn")'
            ),
        ),
        (
            "[task.reset]",
            "[task.rest]",
            f"task.rest: is no task that a crew can do (accepted: {TASKS}); did you mean 'reset'?",
        ),
        (
            TOOL,
            'tool = "mobile_genrator"\n',
            (
                "task.connect_mobile_generator.tool: there is no [tool.mobile_genrator] "
                '(found "mobile_genrator"; accepted: "mobile_generator"); did you mean '
                "'mobile_generator'?"
            ),
        ),
        (
            TOOL,
            "",
            (
                "task.connect_mobile_generator.brought_for: says when a tool is brought, "
                'and the task takes none; add tool = "..." with the key of a [tool.X], or '
                "take it out"
            ),
        ),
        (
            TOOL,
            f"{TOOL}people = 0\n",
            (
                "task.connect_mobile_generator.people: is nought, and "
                "[tool.mobile_generator] is fetched: nobody would fetch it (found 0); write "
                "1 or more, or give the tool delivered in place of fetched"
            ),
        ),
        (
            FIVE,
            "people = 0",
            (
                "task.reset.people: is nought, and no tool is delivered with people who do "
                'it (found 0); write 1 or more, or add tool = "..." with the key of one '
                "that is delivered"
            ),
        ),
        (
            FIVE,
            "people = 3",
            (
                "task.reset.people: are more than can be called (found 3; accepted: up to "
                "2: as many as call_out.list names); name more of them, or ask for fewer"
            ),
        ),
        (
            FIVE,
            "fuel_below = 0.2",
            "task.reset.fuel_below: goes with [task.refuel] alone; take it out",
        ),
        (
            FETCHED,
            f'{FETCHED}\ndelivered = "2 h"',
            (
                "tool.mobile_generator.fetched: and delivered are two answers: a crew "
                "collects it, or somebody else brings it; keep one of them"
            ),
        ),
        (
            FETCHED,
            'round_trip = "40 min"',
            (
                "tool.mobile_generator.holds: is missing, and round_trip is given; add it, "
                'such as holds = "10 m3"'
            ),
        ),
        (
            BERT,
            f'{BERT}name = "operator on call"\n',
            (
                'person.bert.name: is the name of [person.anna] too (found "operator on '
                'call"); give each a name of its own'
            ),
        ),
        (
            '[mobile_generator]\nrated_power = "45 kW"\n',
            "",
            (
                "task.connect_mobile_generator: connects a mobile generator, and this "
                "station takes none: [mobile_generator] is missing; add [mobile_generator] "
                'with its rated_power, such as rated_power = "45 kW", or take '
                "[task.connect_mobile_generator] out"
            ),
        ),
        (
            BERT,
            f'{BERT}[visit]\nat = "09:00"\n',
            'visit.person: is missing; add it, such as person = "first"',
        ),
        (
            BERT,
            f'{BERT}[visit]\nperson = "bret"\nat = "09:00"\n',
            (
                'visit.person: there is no [person.bret] (found "bret"; accepted: "anna", '
                "\"bert\"); did you mean 'bert'?"
            ),
        ),
        (
            BERT,
            f'{BERT}[task.haul]\ntool = "tanker"\n[tool.tanker]\n',
            (
                "tool.tanker.holds: is missing, and [task.haul] hauls with it; add it, such "
                'as holds = "10 m3"'
            ),
        ),
        (
            BERT,
            f"{BERT}[task.haul]\n",
            (
                "task.haul.tool: is missing: a tanker is needed that hauls the water away; "
                'add it, such as tool = "tanker", and [tool.tanker]'
            ),
        ),
        (
            BERT,
            f"{BERT}[task.connect_bypass_pump]\n",
            (
                "task.connect_bypass_pump: connects a bypass pump, and this station takes "
                "none: [bypass_pump] is missing; add [bypass_pump] with its start, stop and "
                "flow, or take [task.connect_bypass_pump] out"
            ),
        ),
        (
            BERT,
            f"{BERT}[task.refuel]\n",
            (
                "task.refuel: fills a tank, and nothing here burns fuel that is counted; "
                "give the engine-driven pump or a generator its tank and fuel_rate, or take "
                "[task.refuel] out"
            ),
        ),
    ],
)
def test_each_mistake_is_told_in_one_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert refused(tmp_path, changed(old, new, PLANNED)) == [said]


@pytest.mark.parametrize("given", ["fuel_rates", "fuel_loads"])
def test_half_of_what_a_set_burns_is_told_once(tmp_path: Path, given: str) -> None:
    """Whoever gives rates without loads means it to burn: its tank may be filled."""
    row = '["3 L/h", "8 L/h"]' if given == "fuel_rates" else "[0.0, 1.0]"
    fuel = f'rated_power = "45 kW"\ntank = "90 L"\n{given} = {row}\n'
    text = changed('rated_power = "45 kW"\n', fuel, PLANNED) + "[task.refuel]\n"
    (said,) = refused(tmp_path, text)
    assert said.startswith("mobile_generator.fuel_")
    assert f"is missing, and {given} is given" in said
    filled = f'{text}[event.x]\ntext = "12:00 mobile generator refuelled"\n'
    assert refused(tmp_path, filled) == [said]


def test_examples_name_people_by_what_they_are() -> None:
    asked = ("call_out.list", "person", "visit.person", "call_out")
    texts = [CliRunner().invoke(main, ["explain", one]).stdout for one in asked]
    assert '["first", "second"]' in texts[0]
    assert "[person.first]" in texts[1] or "person.first" in texts[1]
    assert not any("anna" in text for text in texts)
    assert "anna" not in CliRunner().invoke(main, ["schema"]).stdout


def test_an_alarm_that_is_none_is_told_with_the_nearest_and_all_that_there_are(
    tmp_path: Path,
) -> None:
    alarms = f'{LIST}\nalarms = ["power faild", "flood"]'
    near, far = refused(tmp_path, changed(LIST, alarms, PLANNED))
    assert near.startswith('call_out.alarms: is no alarm (found "power faild"; accepted: high ')
    assert near.endswith("level signal failed); did you mean 'power failed'?")
    assert far.startswith('call_out.alarms: is no alarm (found "flood"; accepted: high level, ')
    assert far.endswith("level signal failed)")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[person.anna]\n",
            (
                "call_out: is missing, and [person.anna] is there: nobody would be called; "
                'add [call_out] with list = ["anna"]'
            ),
        ),
        (
            "[task.reset]\n",
            (
                "call_out: is missing, and [task.reset] is there: nobody would be called; "
                'add [call_out] with list = ["first"]'
            ),
        ),
        (
            "[call_out]\n",
            'call_out.list: is missing: nobody would be called; add it, such as list = ["first"]',
        ),
        (
            '[passer_by]\nafter = "2 h"\n',
            (
                "passer_by: rings, and nobody is on a list to be called; add [call_out] "
                'with list = ["first"], or take [passer_by] out'
            ),
        ),
    ],
)
def test_a_plan_that_nobody_would_hear_of_is_refused(tmp_path: Path, text: str, said: str) -> None:
    assert refused(tmp_path, DUPLEX + text) == [said]


def test_all_mistakes_are_told_at_once_with_those_of_other_tables(tmp_path: Path) -> None:
    text = PLANNED
    for old, new in (
        (LIST, 'list = ["ana", "bert"]\nrounds = 0'),
        ("[task.reset]", "[task.rest]"),
        (TOOL, 'tool = "set"\n'),
        ('diameter = "3.0 m"', "diameter = 3"),
        (BERT, '[person.bert]\ntravels = "25"\n'),
    ):
        text = changed(old, new, text)
    places = [one.partition(": ")[0] for one in refused(tmp_path, text)]
    assert places == [
        "well.shaft.diameter",
        "call_out.rounds",
        "person.bert.travels",
        "task.rest",
        "task.connect_mobile_generator.tool",
    ]


def test_examples_are_in_the_units_of_the_file(tmp_path: Path) -> None:
    us = PLANNED.replace('"3.0 m"', '"10 ft"').replace('"30 L/s"', '"475 gpm"')
    us = us.replace('"10 L/s"', '"160 gpm"') + '[task.haul]\ntool = "mobile_generator"\n'
    (said,) = refused(tmp_path, us)
    assert said.endswith('such as holds = "2600 gal"')


# ---------------------------------------------------------------------- what has no effect


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            LIST,
            'list = ["anna"]',
            "call_out.list: 'bert' is never called; add them to the list, or take their table out",
        ),
        (
            LIST,
            f"{LIST}\nalarms = []",
            (
                "call_out.alarms: is empty: no alarm calls anybody out; name alarms, or "
                "take it out: then every alarm calls"
            ),
        ),
        (
            BERT,
            f'{BERT}night_travels = "1 h"\n',
            (
                "call_out.night: is missing, and what is said of 'bert' at night has no "
                'effect; add it, such as night = "22:00 to 06:00"'
            ),
        ),
        (
            BERT,
            f"{BERT}[tool.winch]\n",
            "tool: 'winch' is used by no task; name it in a task, or take it out",
        ),
        (
            FIVE,
            'takes_down = "5 min"',
            (
                "task.reset.takes_down: has no effect: nothing is connected that could be "
                "undone; take it out"
            ),
        ),
    ],
)
def test_what_has_no_effect_is_a_warning(tmp_path: Path, old: str, new: str, said: str) -> None:
    (warning,) = loaded(tmp_path, changed(old, new, PLANNED)).warnings
    assert re.sub(r"^\S+: ", "", warning.text()) == said


@pytest.mark.parametrize(("called", "told"), [("power failed", True), ("telemetry lost", False)])
def test_alarms_that_never_go_out_are_a_warning(tmp_path: Path, called: str, told: bool) -> None:
    text = changed(LIST, f'{LIST}\nalarms = ["{called}"]', PLANNED)
    mute = loaded(tmp_path, text, events=["06:30 telemetry lost for 48 h"])
    assert [one.place for one in mute.warnings] == ["call_out.alarms"] * told
    assert loaded(tmp_path, text, events=["06:30 telemetry lost for 47 h"]).warnings == ()


def test_a_list_on_which_nobody_answers_is_a_warning(tmp_path: Path) -> None:
    sets = ["person.anna.answers=false", "person.bert.answers=false"]
    (warning,) = loaded(tmp_path, PLANNED, sets=sets).warnings
    assert warning.reason == "nobody on it answers"
    assert loaded(tmp_path, PLANNED, sets=sets[:1]).warnings == ()

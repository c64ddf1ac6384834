"""All mistakes in one go, and each of them once."""

from __future__ import annotations

import copy
import random
import tomllib
from pathlib import Path
from typing import Any

import pytest
from scenario_texts import CURVED, POINTS, changed

from stationsim.errors import ScenarioError
from stationsim.scenario.load import load
from stationsim.scenario.overrides import to_toml
from stationsim.scenario.starter import starter_text

NO_CSV = changed('kind = "constant"\nflow = "10 L/s"', 'kind = "recorded"\nfile = "none.csv"')
EVENTS = '[event.a]\ntext = "day 2 07:00 P7 fails"\n[event.b]\ntext = "day 9 07:00 P1 fails"\n'
RISING = POINTS.replace('"5 m"', '"21 m"')


def places(folder: Path, text: str, **options: Any) -> list[str]:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(file, **options)
    assert len(str(refused.value).splitlines()) == len(refused.value.findings)
    return [one.place for one in refused.value.findings]


@pytest.mark.parametrize(
    ("slip", "place"),
    [
        ("depth = 5", "station.depth"),
        ("floor_elevation = 5", "station.floor_elevation"),
        ('levels_are = "elevatoin"', "station.levels_are"),
        ('levels_are = "below cover"\ndepth = 5', "station.depth"),
        ('levels_are = "elevation"', "station.floor_elevation"),
    ],
)
def test_mistakes_of_four_tables_are_told_in_one_go(tmp_path: Path, slip: str, place: str) -> None:
    text = changed('name = "Test duplex"', f'name = "Test duplex"\n{slip}', NO_CSV) + EVENTS
    assert sorted(places(tmp_path, text)) == sorted([place, "inflow.homes", "event.a", "event.b"])


def test_events_are_checked_against_pumps_and_times_that_are_right_themselves(
    tmp_path: Path,
) -> None:
    text = changed('"30 L/s"', "30").replace("start_level", "strat_level") + EVENTS
    assert places(tmp_path, text) == ["pump.P1.flow", "episode.strat_level", "event.a", "event.b"]


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('"2 d"', "2", "episode.duration"),
        ("2027-03-01T06:30+01:00", "first of March", "episode.start"),
    ],
)
def test_moment_of_an_event_is_not_doubted_when_the_episode_cannot_be_read(
    tmp_path: Path, old: str, new: str, place: str
) -> None:
    assert places(tmp_path, changed(old, new) + EVENTS) == [place, "event.a"]


def test_events_are_not_doubted_when_the_pumps_cannot_be_read(tmp_path: Path) -> None:
    text = changed('[pump.P1]\nflow = "30 L/s"\n[pump.P2]\nlike = "P1"\n', "")
    assert places(tmp_path, text + EVENTS) == ["event.b", "pump"]


def test_rules_of_the_station_are_told_beside_a_missing_file(tmp_path: Path) -> None:
    text = changed('"1.80 m"', '"1.40 m"', NO_CSV)
    assert places(tmp_path, text) == ["control.lag_start", "inflow.homes"]


def test_curves_and_settings_are_looked_at_beside_a_well_that_cannot_be_read(
    tmp_path: Path,
) -> None:
    text = changed(POINTS, RISING, CURVED).replace('"3.0 m"', "3.0").replace("1.80 m", "1.80 L/s")
    assert places(tmp_path, text) == [
        "well.shaft.diameter",
        "pump.P1.curve.head",
        "control.lag_start",
    ]


def test_other_parts_of_the_well_leave_no_gap_where_one_cannot_be_read(tmp_path: Path) -> None:
    upper = 'diameter = "3.0 m"\nto = 1\n[well.top]\nshape = "cylinder"\ndiameter = "3 m"\n'
    text = changed('diameter = "3.0 m"\n', upper + 'from = "1 m"\n')
    assert places(tmp_path, text) == ["well.shaft.to"]


@pytest.mark.parametrize(
    ("text", "place", "reason"),
    [
        (changed("lead_start", "leed_start"), "control.leed_start", "lead_start"),
        (changed("duration", "duratoin"), "episode.duratoin", "duration"),
        (changed("[station]", "[statoin]"), "statoin", "station"),
        (changed("shape =", "shap ="), "well.shaft.shap", "shape"),
        (changed('kind = "staging"', 'knid = "staging"'), "control.knid", "kind"),
        (changed('kind = "constant"', 'kidn = "constant"'), "inflow.homes.kidn", "kind"),
        (changed("length", "lenght", changed("[pump.P2]", 'branch = {length = "5 m", diameter = "90'
        ' mm"}\n[pump.P2]')), "pump.P1.branch.lenght", "length"),
    ],
)  # fmt: skip
def test_misspelt_key_that_must_be_given_is_one_mistake(
    tmp_path: Path, text: str, place: str, reason: str
) -> None:
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    (finding,) = refused.value.findings
    wrong = place.rpartition(".")[2]
    assert (finding.place, finding.line is not None) == (place, True)
    assert finding.reason == f"{reason} is missing; did you mean it by '{wrong}'?"


def test_misspelt_table_of_pumps_is_one_mistake(tmp_path: Path) -> None:
    text = changed("[pump.P1]", "[pupm.P1]").replace("[pump.P2]", "[pupm.P2]")
    assert places(tmp_path, text) == ["pupm"]


def test_misspelt_key_that_another_one_needs_is_one_mistake(tmp_path: Path) -> None:
    cut = '[event.cut]\ntxet = "day 2 07:00 grid loss for 4 h"\n'
    assert places(tmp_path, changed("[spill]", f"{cut}[spill]")) == ["event.cut.txet"]
    cut = '[event.cut]\nat = "day 2 07:00"\nwhat = "grid loss"\nofr = "4 h"\n'
    assert places(tmp_path, changed("[spill]", f"{cut}[spill]")) == ["event.cut.ofr"]


def test_value_under_a_misspelt_key_is_looked_at_too(tmp_path: Path) -> None:
    text = changed('lag_start = "1.80 m"', "lag_strat = 1.8")
    assert places(tmp_path, text) == ["control.lag_strat", "control.lag_strat"]
    assert places(tmp_path, changed("[spill]", "[spil]").replace('"4.20 m"', "4.2")) == [
        "spil",
        "spil.level",
    ]


def test_misspelt_lag_start_does_not_make_the_second_lag_a_mistake(tmp_path: Path) -> None:
    text = changed('lag_start = "1.80 m"', 'lag_strat = "1.8 m"\nsecond_lag_start = "2.1 m"')
    text = changed("[control]", '[pump.P3]\nlike = "P1"\n[control]', text)
    assert places(tmp_path, text) == ["control.lag_strat"]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (changed(POINTS, RISING, CURVED), "pump.P1.curve.head"),
        (changed('"40 L/s"', "40", CURVED), "pump.P1.curve.flow"),
        (changed('"30 L/s"', '"30 L/s"\ncolour = "grey"'), "pump.P1.colour"),
        (changed('"30 L/s"', "30"), "pump.P1.flow"),
        (changed('flow = "30 L/s"\n', ""), "pump.P1"),
        (changed('flow = "30 L/s"', "curve = {" + POINTS + "}"), "pump.P1"),
        (changed('flow = "30 L/s"', 'folw = "30 L/s"'), "pump.P1.folw"),
        (changed('discharge = "8 m"', 'discharge = "30 m"', CURVED), "pump.P1"),
        (changed('like = "P1"', 'like = "P7"'), "pump.P2.like"),
        (changed('like = "P1"', 'lkie = "P1"'), "pump.P2.lkie"),
        (changed('flow = "30 L/s"', 'like = "P2"'), "pump.P1.like"),
        (changed('[pump.P1]\nflow = "30 L/s"', '[pump]\nP1 = "30 L/s"'), "pump.P1"),
    ],
)
def test_mistake_in_a_pump_is_not_told_again_of_those_like_it(
    tmp_path: Path, text: str, place: str
) -> None:
    third = changed("[control]", '[pump.P3]\nlike = "P2"\n[control]', text)
    assert places(tmp_path, third) == [place]


def test_same_mistake_written_twice_is_told_twice(tmp_path: Path) -> None:
    text = changed('like = "P1"', 'flow = "30"').replace('flow = "30 L/s"', 'flow = "30"')
    assert places(tmp_path, text) == ["pump.P1.flow", "pump.P2.flow"]


def test_same_mistake_in_a_list_is_told_once_with_how_many_more(tmp_path: Path) -> None:
    table = 'shape = "table"\nlevels = ["0 m", "2 m", 4, 5]\nareas = ["7 m2", "7 m2", "7", "8"]'
    text = changed('shape = "cylinder"\ndiameter = "3.0 m"', table)
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    levels, areas = refused.value.findings
    assert levels.reason.startswith("third value (and 1 more): a plain number where a length")
    assert areas.reason.startswith("third value (and 1 more): '7' has no unit")


def test_place_in_a_list_of_pairs_is_counted_from_one(tmp_path: Path) -> None:
    storm = 'kind = "hydrograph"\npoints = [["0 h", "0 L/s"], ["1 h", 5]]'
    (tmp_path / "s.toml").write_text(
        changed('kind = "constant"\nflow = "10 L/s"', storm), encoding="utf-8"
    )
    with pytest.raises(ScenarioError, match=r"homes\.points: second value of the second pair: "):
        load(tmp_path / "s.toml")


@pytest.mark.parametrize(
    ("old", "sample"),
    [
        ('duration = "2 d"\n', 'duration = "7 d"'),
        ('stop = "0.70 m"\n', 'stop = "1.50 m"'),
        ('diameter = "3.0 m"\n', 'diameter = "3.0 m"'),
        ('kind = "constant"\n', 'kind = "constant"'),
        ('kind = "staging"\n', 'kind = "staging"'),
        ('[spill]\nlevel = "4.20 m"\n', ""),
    ],
)
def test_missing_key_comes_with_an_example(tmp_path: Path, old: str, sample: str) -> None:
    (tmp_path / "s.toml").write_text(changed(old, ""), encoding="utf-8")
    if not sample:  # may be left out
        assert load(tmp_path / "s.toml").station.spillway is None
        return
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    (finding,) = refused.value.findings
    assert finding.fix == f"add it, such as {sample}"


def test_missing_tables_come_with_examples_that_make_a_scenario(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    text = "".join(
        one.fix.removeprefix("add it, such as ")
        .replace(" with ", "\n")
        .replace(" and ", "\n")
        .replace(", ", "\n")
        + "\n"
        for one in refused.value.findings
    )
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    assert load(tmp_path / "s.toml").station.name == "Mill Lane"


ODD_VALUES = [
    *(0, -1.5, True, float("nan"), 10**30, "", "5", "-3 m", "1 m", "10 L/s", "P1", "2 h"),
    *([], {}, [1], ["1 m"], {"a": 1}, [["0 h", "1 L/s"], [2]], "elevation", "below cover"),
]


def tables_of(node: dict[str, Any]) -> list[dict[str, Any]]:
    inner = [one for one in node.values() if isinstance(one, dict)]
    return [node, *(table for one in inner for table in tables_of(one))]


def spoil(document: dict[str, Any], chance: random.Random) -> None:
    """Take a key out, give it an odd value, or misspell it."""
    table = chance.choice([one for one in tables_of(document) if one])
    key = chance.choice(list(table))
    value = table.pop(key)
    way = chance.random()
    if way < 0.4:
        table[key] = copy.deepcopy(chance.choice(ODD_VALUES))
    elif way < 0.7:
        at = chance.randrange(len(key))
        table[key[:at] + key[at + 1 :] or "x"] = value


@pytest.mark.parametrize("seed", range(8))
def test_spoilt_scenario_is_refused_in_plain_words_each_mistake_once_or_loads(
    tmp_path: Path, seed: int
) -> None:
    chance = random.Random(seed)  # noqa: S311 - only for odd files
    whole = tomllib.loads(starter_text())
    path = tmp_path / "s.toml"
    refused = 0
    for _ in range(40):
        document = copy.deepcopy(whole)
        for _ in range(chance.randint(1, 4)):
            spoil(document, chance)
        path.write_text(to_toml(document), encoding="utf-8")
        try:
            load(path)
        except ScenarioError as error:
            refused += 1
            told = str(error).splitlines()
            assert told
            assert len(told) == len(set(told))
            assert all(line.startswith(str(path)) for line in told)
    assert refused > 20

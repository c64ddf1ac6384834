"""What may happen by chance, as a scenario says it: rates, how long, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from scenario_texts import DUPLEX

from stationsim.chance import Range
from stationsim.episode import RandomFault, ScriptedEvent
from stationsim.equipment.faults import CATALOGUE
from stationsim.errors import ScenarioError
from stationsim.scenario.events import EventTextError, Names, read_what
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.overrides import to_toml

YEAR_S = 365.25 * 86400.0
NAMES = Names(("P1", "P2", "Engine"), "Engine", known=True)
POWERED = (
    '[service]\nvoltage = "400 V"\n[pump.P1.plate]\ncurrent = "20 A"\n'
    '[generator]\nrated_power = "60 kW"\n[transfer]\n'
)


def loaded(folder: Path, tail: str, **options: list[str]) -> Loaded:
    file = folder / "s.toml"
    file.write_text(DUPLEX + tail, encoding="utf-8")
    return load(file, **options)


def refused(folder: Path, tail: str, **options: list[str]) -> str:
    with pytest.raises(ScenarioError) as caught:
        loaded(folder, tail, **options)
    return str(caught.value)


def table(what: str, rate: str, lasts: str = "") -> str:
    return f'[random.x]\nwhat = "{what}"\nrate = "{rate}"\n' + (f"lasts = {lasts}\n" * bool(lasts))


@pytest.mark.parametrize(
    ("text", "basis", "rate"),
    [
        ("2 per year", "calendar", 2.0 / YEAR_S),
        ("3 times a year", "calendar", 3.0 / YEAR_S),
        ("1 per month", "calendar", 12.0 / YEAR_S),
        ("1 in 10 years", "calendar", 0.1 / YEAR_S),
        ("0.5 per week", "calendar", 0.5 / (7 * 86400.0)),
        ("1 per 400 h of running", "running", 1.0 / 1.44e6),
        ("2 per 1000 hours of running", "running", 2.0 / 3.6e6),
        ("1 per year of running", "running", 1.0 / YEAR_S),
        ("1 per h", "calendar", 1.0 / 3600.0),
        ("1 every 30 d", "calendar", 1.0 / 2.592e6),
        ("0 per year", "calendar", 0.0),
        ("0.5 % per demand", "demand", 0.005),
        ("1 in 200 demands", "demand", 0.005),
        ("3 per 400 demands", "demand", 0.0075),
        ("0.02 per demand", "demand", 0.02),
        ("100 % per demand", "demand", 1.0),
    ],
)
def test_how_often_is_read(tmp_path: Path, text: str, basis: str, rate: float) -> None:
    (found,) = loaded(tmp_path, table("P1 fails to start", text, '"2 h"')).episode.random
    assert (found.name, found.basis) == ("x", basis)
    assert found.rate == pytest.approx(rate, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("often", "'often' does not say how often"),
        ("2", "does not say how often"),
        ("-2 per year", "does not say how often"),
        ("2 per parsec", "'parsec' is no time to count by"),
        ("2 per 0 h", "must be more than nought"),
        ("2 per s", "happens too often for an accident"),
        ("150 % per demand", "is more than each demand"),
        ("1 in 0 demands", "no demand is counted"),
        ("1e9 per year", "does not say how often"),
    ],
)
def test_how_often_that_cannot_be_is_refused(tmp_path: Path, text: str, said: str) -> None:
    told = refused(tmp_path, table("P1 fails", text))
    assert "s.toml:26: random.x.rate: " in told
    assert said in told


@pytest.mark.parametrize(
    ("lasts", "expected"),
    [
        ('"2 h"', Range.point(7200.0)),
        ('["1 h", "2 h", "8 h"]', Range(3600.0, 7200.0, 28800.0)),
        ("", None),
    ],
)
def test_how_long_is_read(tmp_path: Path, lasts: str, expected: Range | None) -> None:
    (found,) = loaded(tmp_path, table("P1 clogged to 60 %", "2 per year", lasts)).episode.random
    event = ScriptedEvent(0.0, "clogged", "P1", flow_left=0.6)
    assert found == RandomFault("x", (event,), "calendar", 2.0 / YEAR_S, expected)


@pytest.mark.parametrize(
    ("lasts", "said"),
    [
        ("7200", "a duration is needed, or three of them"),
        ('["1 h", "2 h"]', "a duration is needed, or three of them"),
        ('["1 h", 2, "3 h"]', "as text with units"),
        ('"2 m"', "'m' is a unit of length"),
        ('"0 h"', "more than 0 s to 20 years"),
        ('["8 h", "2 h", "1 h"]', "duration out of range"),
        ('["1 h", "9 h", "8 h"]', "low, typical and high do not rise"),
    ],
)
def test_how_long_that_cannot_be_is_refused(tmp_path: Path, lasts: str, said: str) -> None:
    told = refused(tmp_path, table("P1 clogged to 60 %", "2 per year", lasts))
    assert "random.x.lasts: " in told
    assert said in told
    assert told.count("\n") == 0


@pytest.mark.parametrize(
    ("what", "lasts", "resets_itself"),
    [
        ("P1 fails", "", False),
        ("P1 fails", '"2 h"', True),
        ("P1 fails until reset", '"2 h"', False),
        ("P1 overload until reset", "", False),
        ("P1 off", '"2 h"', True),
    ],
)
def test_a_trip_by_chance_resets_as_a_scripted_one(
    tmp_path: Path, what: str, lasts: str, resets_itself: bool
) -> None:
    (found,) = loaded(tmp_path, table(what, "2 per year", lasts)).episode.random
    (event,) = found.events
    assert event.resets_itself is resets_itself
    assert event.duration_s is None


def test_one_chance_can_bring_several_things(tmp_path: Path) -> None:
    what = "control breaker open and telemetry lost and P1 seal leak"
    (found,) = loaded(
        tmp_path, table(what, "1 in 10 years", '["1 h", "3 h", "1 d"]')
    ).episode.random
    assert [(one.kind, one.subject) for one in found.events] == [
        ("control breaker open", "panel"),
        ("telemetry lost", "telemetry"),
        ("seal leak", "P1"),
    ]


@pytest.mark.parametrize(
    ("tail", "said"),
    [
        (table("12:00 P1 fails", "2 per year"), "random.x.what: '12:00 P1 fails' begins with a"),
        (table("P1 fails for 2 h", "2 per year"), "says how long: write that as lasts"),
        (table("P9 fails", "2 per year"), "no pump is called 'P9'"),
        (table("P1 fails quickly", "2 per year"), "did you mean 'fails'"),
        (
            table("grid loss", "2 per year"),
            "random.x.lasts: is missing: a grid loss needs",
        ),
        (table("P1 high temperature", "2 per year"), 'add it, such as lasts = "2 h"'),
        (table("P1 seal leak", "2 per year", '"2 h"'), "'seal leak' takes no duration"),
        (table("P1 reset", "2 per year"), "'reset' is done by people, not by chance"),
        (
            table("tanker takes 10 m3 in 8 min", "2 per year"),
            "'tanker takes' is done by people, not by chance",
        ),
        (table("P1 put right", "2 per year"), "write it as an event at its time"),
        (table("P1 in auto", "2 per year"), "'in auto' is done by people"),
        (table("telemetry lost", "1 per 400 h of running"), "counts running hours, and telemetry"),
        (table("level signal lost", "1 in 50 demands"), "demands of a pump or the generator"),
        ('[random.x]\nwhat = "P1 fails"\n', "random.x.rate: is missing"),
        ('[random.x]\nrate = "2 per year"\n', "random.x.what: is missing"),
        (table("P1 fails", "2 per year") + 'last = "2 h"\n', "did you mean 'lasts'?"),
        ('[random]\nx = "often"\n', "random.x: a table is needed"),
    ],
)
def test_what_cannot_happen_by_chance_is_refused(tmp_path: Path, tail: str, said: str) -> None:
    assert said in refused(tmp_path, tail)


def test_demands_are_made_on_the_generator_too(tmp_path: Path) -> None:
    tail = POWERED + table("generator fails to start", "0.5 % per demand", '"1 d"')
    (found,) = loaded(tmp_path, tail).episode.random
    assert (found.basis, found.events[0].subject) == ("demand", "generator")
    tail = POWERED + table("generator fails", "1 per 400 h of running")
    assert "counts running hours, and generator has none" in refused(tmp_path, tail)


def test_a_rate_can_be_set_from_outside_and_a_slip_in_the_name_adds_nothing(tmp_path: Path) -> None:
    tail = table("P1 fails", "2 per year")
    (found,) = loaded(tmp_path, tail, sets=["random.x.rate=4 per year"]).episode.random
    assert found.rate == pytest.approx(4.0 / YEAR_S)
    told = refused(tmp_path, tail, sets=["random.y.rate=4 per year"])
    assert "the file has no [random.y]" in told


def test_nothing_is_random_unless_it_is_said(tmp_path: Path) -> None:
    assert loaded(tmp_path, "").episode.random == ()


def test_a_document_with_chances_is_valid_and_reads_back(tmp_path: Path) -> None:
    tail = table("P1 fails", "2 per year", '["1 h", "2 h", "8 h"]')
    first = loaded(tmp_path, tail)
    assert list(Draft202012Validator(json_schema()).iter_errors(first.document)) == []
    (tmp_path / "s.toml").write_text(to_toml(first.document), encoding="utf-8")
    again = load(tmp_path / "s.toml")
    assert again.episode == first.episode
    assert again.digest == first.digest
    wrong = loaded(tmp_path, tail).document
    wrong["random"]["x"]["lasts"] = ["1 h", "2 h"]
    assert list(Draft202012Validator(json_schema()).iter_errors(wrong)) != []


@pytest.mark.parametrize("fault", CATALOGUE, ids=lambda one: one.kind)
def test_every_entry_can_be_read_without_a_time(fault: object) -> None:
    whose = {"reset": "P2 ", "put right": "P2 ", "refuelled": "generator "}.get(fault.kind, "")
    text = f"{whose}{fault.sample}"
    text = text.replace("E1 ", "Engine ")
    if fault.lasts != "never":
        (found,) = read_what(text, NAMES, lasts=True)
        assert (found.kind, found.duration_s, found.at_s) == (fault.kind, None, 0.0)
    if fault.lasts == "must":
        with pytest.raises(EventTextError, match="needs its duration"):
            read_what(text, NAMES, lasts=False)
    else:
        assert read_what(text, NAMES, lasts=False)[0].kind == fault.kind

from __future__ import annotations

import re
import tempfile
from pathlib import Path

import handmade
import pytest

from stationsim import vocabulary
from stationsim.results import Result
from stationsim.scenario.load import load
from stationsim.scenario.starter import write_starter
from stationsim.simulation.session import simulate
from stationsim.tables import COLUMNS

DAY_S = 86_400.0
SUFFIX_UNITS = {"_s": "s", "_m": "m", "_m3": "m3", "_m3s": "m3/s", "_h": "h", "_kwh": "kWh"}


@pytest.fixture(scope="module")
def troubled() -> Result:
    """A week with nearly everything: outages, trips, leaks, hands on selectors, a spill."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "station.toml"
        write_starter(file)
        loaded = load(
            file,
            sets=('spill.level="2.4 m"',),
            events=(
                "03:00 P1 fails for 2 h until reset",
                "04:00 P1 reset",
                "05:30 P1 reset",
                "06:00 P2 in hand",
                "06:10 P2 off",
                "06:30 P2 in auto",
                "07:00 P3 out of service for 1 h",
                "08:00 grid loss for 3 h",
                "08:30 E1 fails for 1 h",
                "13:00 P2 seal leak",
            ),
        )
    return simulate(loaded.station, loaded.episode)


def test_words_are_unique_within_their_kind():
    words = [(entry.kind, entry.word) for entry in vocabulary.ENTRIES]
    assert len(words) == len(set(words))


def test_every_event_says_by_what_it_could_be_noticed():
    assert {entry.seen for entry in vocabulary.EVENTS} == {"panel", "alarm", "site", "nobody"}
    assert all(not entry.seen for entry in vocabulary.ENTRIES if entry.kind != "event")


def test_meanings_are_sentences():
    for entry in vocabulary.ENTRIES:
        assert entry.meaning.endswith("."), entry.word
        assert "  " not in entry.meaning, entry.word


def test_lookup_takes_case_underscores_and_other_words_of_the_trade():
    assert vocabulary.lookup("Grid_Lost").kind == "event"
    assert vocabulary.lookup("duty").word == "lead"
    assert vocabulary.lookup("assist").word == "lag"
    assert {entry.kind for entry in vocabulary.lookup_all("seal leak")} == {"event", "alarm"}
    assert vocabulary.lookup("no such word") is None


def test_nearest_finds_misspelled_and_partial_words():
    assert vocabulary.nearest("stanby")[0] == "standby"
    assert "force main" in vocabulary.nearest("main")
    assert vocabulary.nearest("zzzz") == []


@pytest.mark.parametrize("table", COLUMNS)
def test_every_column_stands_in_the_vocabulary_with_its_unit(table):
    assert any(entry.word == table for entry in vocabulary.TABLES)
    for column in COLUMNS[table]:
        entry = next((e for e in vocabulary.COLUMNS if e.word == column), None)
        assert entry is not None, column
        suffix = re.search(r"_(s|m|m3|m3s|h|kwh)$", column)
        if suffix:
            assert entry.unit == SUFFIX_UNITS[suffix.group()], column


def test_every_metric_of_a_summary_stands_in_the_vocabulary_with_its_unit(troubled):
    units = {entry.word: entry.unit for entry in vocabulary.METRICS}
    for metric, unit in zip(troubled.summary["metric"], troubled.summary["unit"], strict=True):
        assert units[metric] == unit
    # no tanker came
    assert set(troubled.summary["metric"]) == set(units) - {"volume hauled"}


def test_a_run_says_nothing_that_does_not_stand_in_the_vocabulary(troubled):
    events = {entry.word for entry in vocabulary.EVENTS}
    assert set(troubled.events["event"]) <= events
    assert set(troubled.alarms["alarm"]) <= {entry.word for entry in vocabulary.ALARMS}
    assert set(troubled.pump_runs["role"]) <= {entry.word for entry in vocabulary.ROLES}
    assert set(troubled.power["state"]) <= {entry.word for entry in vocabulary.STATES}
    causes = {
        *troubled.events["cause"],
        *troubled.pump_runs["started_by"],
        *troubled.pump_runs["stopped_by"],
        *troubled.power["cause"],
    }
    unknown = sorted(cause for cause in causes if vocabulary.cause_of(cause) is None)
    assert unknown == []
    assert (troubled.events["seen"] != "").all()


def test_the_troubled_run_has_what_the_other_tests_of_words_need(troubled):
    told = set(troubled.events["event"])
    assert {"trip", "reset", "reset refused", "in hand", "off", "in auto", "seal leak"} <= told
    assert {"grid lost", "grid back", "alarm raised", "spill begins", "spill ends"} <= told


def test_cause_of_takes_the_longest_word_that_fits():
    assert vocabulary.cause_of("level at lag stop 1.10 m").word == "level at lag stop"
    assert vocabulary.cause_of("high level: level above 2.3 m").kind == "alarm"
    assert vocabulary.cause_of("something else") is None


def test_handmade_runs_use_words_of_the_vocabulary():
    march = handmade.March(
        handmade.station(engine=True), handmade.constant(0.01), DAY_S, outages=((3600.0, 9000.0),)
    )
    events = march.result().events
    assert set(events["event"]) <= {entry.word for entry in vocabulary.EVENTS}


def test_no_word_that_the_project_avoids():
    avoided = re.compile(r"\b(smart|guard|sense|watch|manager)", re.IGNORECASE)
    for entry in vocabulary.ENTRIES:
        assert not avoided.search(f"{entry.word} {entry.meaning}"), entry.word


def test_every_table_and_column_of_rehearse_is_explained() -> None:
    from stationsim.inflow.daily import Constant
    from stationsim.studies.rehearse.hours import rehearse
    from stationsim.studies.rehearse.now import NowAsked, from_now
    from stationsim.testing import duplex, episode

    station, what = duplex(), episode(7 * 86_400.0, Constant(0.01))
    studies = (rehearse([("it", station, what)]), from_now(station, what, NowAsked(60.0, 2.0)))
    words = {(entry.kind, entry.word) for entry in (*vocabulary.TABLES, *vocabulary.COLUMNS)}
    for study in studies:
        for name, table in study.tables.items():
            assert ("table", name) in words
            for column in table.columns:
                assert ("column", column) in words, column

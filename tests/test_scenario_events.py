"""Events as text."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from stationsim.cli import main
from stationsim.episode import ScriptedEvent
from stationsim.equipment.faults import CATALOGUE, Fault
from stationsim.scenario.events import (
    MOMENTS,
    PHRASES,
    EventTextError,
    read_event,
    read_moment,
)

MONDAY = datetime(2027, 3, 1, 6, 0, tzinfo=UTC)
DAY = 86400.0
WEEK = 7 * DAY


def read(text: str) -> ScriptedEvent:
    return read_event(text, start=MONDAY, duration_s=WEEK, machines=("P1", "P2", "E1"))


@pytest.mark.parametrize(
    ("text", "at_s"),
    [
        ("07:10", 4200.0),
        ("06:00:00.5", 0.5),
        ("day 1 07:10", 4200.0),
        ("day 3 07:10", 2 * DAY + 4200.0),
        ("Wed 07:10", 2 * DAY + 4200.0),
        ("wednesday 07:10", 2 * DAY + 4200.0),
        ("Mon 07:10", 4200.0),
        ("Mon 05:00", 7 * DAY - 3600.0),
        ("2027-03-03 07:10", 2 * DAY + 4200.0),
        ("2027-03-03T07:10", 2 * DAY + 4200.0),
        ("after 26 h", 26 * 3600.0),
        ("after 93784.25 s", 93784.25),
        ("after 1 d 2 h", 26 * 3600.0),
        ("day 1 05:00", -3600.0),
    ],
)
def test_moment_is_read(text: str, at_s: float) -> None:
    assert read_moment(text, MONDAY) == at_s


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("07:00 grid loss for 4 h", ScriptedEvent(3600.0, "grid loss", "grid", 14400.0)),
        ("07:00 P2 out of service", ScriptedEvent(3600.0, "out of service", "P2")),
        ("07:00 P2 out of service for 3 h", ScriptedEvent(3600.0, "out of service", "P2", 10800.0)),
        ("07:00 P2 fails", ScriptedEvent(3600.0, "fails", "P2", None, resets_itself=False)),
        ("07:00  P2  fails for 2 h", ScriptedEvent(3600.0, "fails", "P2", 7200.0)),
        (
            "07:00 P2 fails for 2 h until reset",
            ScriptedEvent(3600.0, "fails", "P2", 7200.0, resets_itself=False),
        ),
        (
            "after 1 d 2 h E1 high temperature for 1 h 30 min",
            ScriptedEvent(93600.0, "high temperature", "E1", 5400.0),
        ),
        ("07:00 P2 seal leak", ScriptedEvent(3600.0, "seal leak", "P2")),
        ("07:00 P2 fails to start", ScriptedEvent(3600.0, "fails to start", "P2")),
        (
            "07:00 E1 fails to start for 3 h",
            ScriptedEvent(3600.0, "fails to start", "E1", 10800.0),
        ),
        ("07:00 P2 clogged to 60 %", ScriptedEvent(3600.0, "clogged", "P2", flow_left=0.6)),
        (
            "07:00 P2 clogged to 62.5% for 3 h",
            ScriptedEvent(3600.0, "clogged", "P2", 10800.0, flow_left=0.625),
        ),
        (
            "07:00 level signal frozen for 2 h",
            ScriptedEvent(3600.0, "level signal frozen", "level sensor", 7200.0),
        ),
        (
            "07:00 Level signal lost",
            ScriptedEvent(3600.0, "level signal lost", "level sensor"),
        ),
        ("07:00 P2 in hand", ScriptedEvent(3600.0, "hand", "P2")),
        ("07:00 P2 in hand for 3 h", ScriptedEvent(3600.0, "hand", "P2", 10800.0)),
        ("07:00 P2 off", ScriptedEvent(3600.0, "off", "P2")),
        ("07:00 P2 in auto", ScriptedEvent(3600.0, "auto", "P2")),
        ("07:00 P2 reset", ScriptedEvent(3600.0, "reset", "P2")),
    ],
)
def test_event_is_read(text: str, expected: ScriptedEvent) -> None:
    assert read(text) == expected


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("05:00 grid loss for 4 h", "1 h before the start, Mon 2027-03-01 06:00"),
        ("day 9 07:00 grid loss for 4 h", "after the end of the episode, which lasts 7 d"),
        ("after 7 d grid loss for 4 h", "the very end"),
        ("25:00 grid loss for 4 h", "no time of day"),
        ("day 0 07:00 grid loss for 4 h", "the first day is day 1"),
        ("Foo 07:00 grid loss for 4 h", "'Foo' is no day"),
        ("2027-02-30 07:00 grid loss for 4 h", "no date of the calendar"),
        ("soon grid loss", "does not begin with a time"),
        ("after 5 parsec P1 off", "unknown unit 'parsec'"),
        ("07:00", "nothing is said to happen"),
        ("07:00 grid loss", "needs its duration"),
        ("07:00 grid loss for 4", "has no unit"),
        ("07:00 grid loss for 0 h", "more than nought"),
        ("07:00 grid loss for 4 h until reset", "goes with 'fails'"),
        ("07:00 gird loss for 4 h", "did you mean 'grid loss'?"),
        ("07:00 P3 fails", "no pump is called 'P3'; this station has P1, P2, E1"),
        ("07:00 p2 fails", "no pump is called 'p2'; did you mean 'P2'?"),
        ("07:00 fails", "names no pump"),
        ("07:00 power cut for 2 h", "did you mean 'grid loss'? (as in 'grid loss for 2 h')"),
        ("07:00 outage for 2 h", "did you mean 'grid loss'?"),
        ("07:00 P2 trips", "did you mean 'fails'?"),
        ("07:00 P2 overheats for 2 h", "did you mean 'high temperature'?"),
        ("7:00 am grid loss for 2 h", "write the time by the 24-hour clock: '07:00'"),
        ("day 2 7:30pm grid loss for 2 h", "write the time by the 24-hour clock: '19:30'"),
        ("Wed 12 a.m. P1 off", "write the time by the 24-hour clock: '00:00'"),
        ("07:00 P2 explodes", "'explodes' is nothing that happens to P2"),
        ("07:00 P2 seal leek", "did you mean 'seal leak'?"),
        ("07:00 P2", "what happens?"),
        ("07:00 P2 in auto for 3 h", "it lasts until a later event such as 'P2 off'"),
        ("07:00 P2 in auto for 3 h", "'for' goes with out of service, fails"),
        ("07:00 P2 seal leak for 3 h", "it lasts to the end of the run"),
        ("07:00 P2 reset for 3 h", "takes no duration; 'for' goes with"),
        ("07:00 P2 off until reset", "goes with 'fails'"),
        ("07:00 P2 high temperature", "needs its duration"),
        ("07:00 P2 clogged", "nothing is said to be left of the flow, in percent"),
        ("07:00 P2 clogged to 0.6", "'0.6' is said to be left of the flow, in percent"),
        ("07:00 P2 clogged to 100 %", "from 1 % to less than 100 % is accepted"),
        ("07:00 P2 clogged to 0 %", "such as 'clogged to 60 %'"),
        ("07:00 P2 blocked for 2 h", "did you mean 'clogged to 60 %'?"),
        ("07:00 P2 no start for 2 h", "did you mean 'fails to start'?"),
        ("07:00 P2 clogged to 60 % until reset", "goes with 'fails'"),
        ("07:00 level signal lost until reset", "goes with 'fails'"),
        ("07:00 level sensor stuck for 2 h", "did you mean 'level signal frozen'?"),
        ("07:00 level signal gone", "did you mean 'level signal lost'?"),
        ("07:00 level signal frozzen", "did you mean 'level signal frozen'?"),
    ],
)
def test_event_that_cannot_be_is_refused(text: str, said: str) -> None:
    with pytest.raises(EventTextError) as refused:
        read(text)
    assert said in str(refused.value)


@pytest.mark.parametrize("phrase", PHRASES)
@pytest.mark.parametrize("moment", MOMENTS)
def test_every_phrase_that_is_explained_is_read(moment: str, phrase: str) -> None:
    event = read_event(
        f"{moment} {phrase}", start=MONDAY, duration_s=WEEK, machines=("P1", "P2", "E1")
    )
    assert event.at_s == read_moment(moment, MONDAY)


@pytest.mark.parametrize("fault", CATALOGUE, ids=lambda one: one.kind)
def test_every_kind_of_event_is_read_as_it_is_explained(fault: Fault) -> None:
    done = CliRunner().invoke(main, ["explain", *fault.kind.split()], catch_exceptions=False)
    (written,) = re.findall(r'As written: "(.*)"', done.output)
    text = written.replace("E1 ", "E ")  # the engine-driven pump of these tests
    event = read_event(f"07:00 {text}", start=MONDAY, duration_s=WEEK, machines=("P1", "P2", "E"))
    assert (event.at_s, event.kind) == (3600.0, fault.kind)
    assert (event.duration_s is not None) == (" for " in written)
    assert (event.duration_s is not None) == (fault.lasts != "never" and not fault.stays)
    assert (event.flow_left, event.amount) != (1.0, 0.0) or fault.amount is None


def test_moment_and_name_are_not_checked_while_they_are_not_known() -> None:
    event = read_event("day 90 07:00 P9 fails", start=MONDAY, duration_s=None, machines=None)
    assert (event.subject, event.kind) == ("P9", "fails")
    with pytest.raises(EventTextError, match="'explodes' is nothing that happens to P9"):
        read_event("day 90 07:00 P9 explodes", start=MONDAY, duration_s=None, machines=None)

"""A panel's log with what it holds besides: preparations, and lines that tell one thing."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from station_strategies import stations

from stationsim.records.panel_log import LogEntry
from stationsim.scenario.load import load_scenario
from stationsim.station import AlarmSettings, Station
from stationsim.studies.acceptance import verdict_text
from stationsim.studies.acceptance.day import Day
from stationsim.studies.acceptance.outcome import Outcome
from stationsim.studies.acceptance.panel.panel_log import LogLine, compare_log
from stationsim.studies.acceptance.panel.script import PanelTest, said
from stationsim.studies.acceptance.panel.sequences import sequences_of
from stationsim.studies.acceptance.verdict_text import fails_in_log
from stationsim.testing import MONDAY, engine_pump, triplex

SCENARIOS = sorted((Path(__file__).parent.parent / "scenarios").glob("*.toml"))
OVERLOAD = "lead trips on overload"
RESTART = "restart after return with the well high"


def station() -> Station:
    return triplex(
        levels={"stagger_s": 10.0, "restart_delay_s": 15.0},
        engine_pump=engine_pump(),
        alarms=AlarmSettings(high_level_m=3.0, power_failed_delay_s=5.0),
    )


@cache
def sequences() -> tuple[PanelTest, ...]:
    return tuple(sequences_of(station(), MONDAY)[0])


def named(name: str) -> PanelTest:
    return next(one for one in sequences() if one.name == name)


def logged(one: PanelTest) -> list[LogEntry]:
    """Return a log of a sequence that went as expected."""
    return [
        LogEntry(event.n, one.name, event.after_s, event.subject, event.said)
        for event in one.expected
    ]


def lines_of(one: PanelTest, entries: list[LogEntry]) -> list[LogLine]:
    return compare_log([one], entries)


def verdicts(one: PanelTest, entries: list[LogEntry]) -> Counter[str]:
    return Counter(line.verdict for line in lines_of(one, entries))


def of_run(one: PanelTest) -> list[LogEntry]:
    """Return a log of everything that happens in the run of a sequence."""
    return [
        LogEntry(n, one.name, row.t_s, row.subject, said(row.event, row.cause))
        for n, row in enumerate(one.result.trace.events, 2)
    ]


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_everything_that_happens_in_a_sequence_is_a_log_without_a_failing_line(path):
    station, episode = load_scenario(path)
    for one in sequences_of(station, episode.start)[0]:
        lines = lines_of(one, of_run(one))
        assert [line for line in lines if fails_in_log(line)] == [], one.name
        asked = {line.n for line in lines if line.verdict == "as expected"}
        assert asked == {event.n for event in one.expected}


@settings(max_examples=40)
@given(stations())
def test_everything_that_happens_in_any_station_is_a_log_without_a_failing_line(station):
    for one in sequences_of(station, MONDAY)[0]:
        assert [line for line in lines_of(one, of_run(one)) if fails_in_log(line)] == [], one.name


def test_preparations_are_known_and_not_asked_for():
    one = named(RESTART)
    first_s = one.expected[0].after_s
    before = [
        LogEntry(90, one.name, first_s - 900.0, "E1", "off"),
        LogEntry(91, one.name, first_s - 600.0, "grid", "grid lost"),
        LogEntry(92, one.name, first_s - 540.0, "station", "alarm raised"),
        LogEntry(93, one.name, one.duration_s + 60.0, "E1", "in auto"),
    ]
    lines = lines_of(one, [*logged(one), *before])
    counts = Counter(line.verdict for line in lines)
    assert counts == {"as expected": len(one.expected), "not asked for": 4}
    known = [line for line in lines if line.verdict == "not asked for"]
    assert [line.line for line in known] == [90, 91, 92, 93]
    assert {line.n for line in known} == {None}
    assert known[1].logged_s == pytest.approx(-600.0)


def test_selectors_that_are_set_before_a_sequence_are_preparations_and_later_ones_are_not():
    for one in sequences():
        before = [
            LogEntry(90 + n, one.name, one.expected[0].after_s - 300.0 + n, name, word)
            for n, (name, word) in enumerate([("P1", "off"), ("P2", "in auto"), ("P1", "in auto")])
        ]
        counts = verdicts(one, [*logged(one), *before])
        assert counts == {"as expected": len(one.expected), "not asked for": 3}, one.name
    one = named("alternation over two rounds")
    late = LogEntry(90, one.name, one.expected[2].after_s, "P1", "off")
    assert verdicts(one, [*logged(one), late])["extra"] == 1


def test_selectors_that_are_turned_in_another_order_are_not_taken_for_preparations():
    one = named("lag and standby starts")
    first, then = [event for event in one.expected if event.said == "in auto"][:2]
    times = {first.n: then.after_s, then.n: first.after_s}
    entries = [replace(each, at_s=times.get(each.line, each.at_s)) for each in logged(one)]
    counts = verdicts(one, entries)
    assert counts["missing"] == counts["not asked for"] == 0


def test_what_belongs_to_the_preparations_is_extra_after_them():
    one = named(RESTART)
    start = next(event for event in one.expected if event.event == "start")
    late = LogEntry(99, one.name, start.after_s + 5.0, "grid", "grid lost")
    assert verdicts(one, [*logged(one), late]) == {"as expected": len(one.expected), "extra": 1}


def test_calls_that_go_unanswered_while_a_slow_crew_holds_pumps_off_are_not_asked_for():
    one = named("lag and standby starts")
    refused = [
        LogEntry(n, one.name, at_s, "station", "start refused")
        for n, at_s in enumerate((0.0, 10.0, 12.0, 14.0), 90)
    ]
    lines = lines_of(one, [*logged(one), *refused])
    counts = Counter(line.verdict for line in lines)
    assert counts == {"as expected": len(one.expected), "not asked for": 4}
    beyond = replace(refused[0], at_s=one.expected[-1].after_s - 30.0)  # when all pumps run
    assert verdicts(one, [*logged(one), beyond])["extra"] == 1


# ---------------------------------------------------------------------- how many


def counted(entries: list[LogEntry]) -> str:
    """Return the first line on the screen of a comparison of one sequence with its log."""
    outcome = Outcome(_day(), log=compare_log(sequences(), entries))
    return verdict_text.lines(outcome, "si")[0]


@cache
def _day() -> Day:
    _, episode = load_scenario(SCENARIOS[0])
    return Day(station(), replace(episode, start=MONDAY))


def test_two_lines_that_tell_of_one_event_count_once():
    one = named(OVERLOAD)
    plain = logged(one)
    trip = plain[1]
    assert (trip.event, len(plain)) == ("trip", 5)
    alarm = replace(trip, event="alarm raised: pump failed", line=98)
    nameless = replace(trip, event="alarm raised", line=99)
    assert counted([*plain, alarm, nameless]) == "the panel's log: 5 events as expected, 0 not"
    assert verdicts(one, [*plain, alarm, nameless]) == {"as expected": 7}


def test_an_event_that_is_late_does_not_count_because_another_line_tells_of_it_too():
    # the motor fails by itself: the trip is no hand of the crew, and comes 20 s after the start
    one = named(OVERLOAD)
    trip = replace(one.expected[1], by_crew=False, tolerance_s=2.0)
    one = replace(one, expected=(one.expected[0], trip, *one.expected[2:]))
    entries = [replace(e, at_s=e.at_s + (9.0 if e.line >= 2 else 0.0)) for e in logged(one)]
    twin = replace(entries[1], event="alarm raised: pump failed", line=99)
    lines = lines_of(one, [*entries, twin])
    assert Counter(line.verdict for line in lines) == {"as expected": 5, "late": 1}
    told = verdict_text.lines(Outcome(_day(), log=lines), "si")[0]
    assert told == "the panel's log: 4 events as expected, 1 not"


def test_preparations_do_not_count():
    one = named(RESTART)
    before = LogEntry(90, one.name, -60.0, "grid", "grid lost")
    count = len(one.expected)
    assert counted([*logged(one), before]) == f"the panel's log: {count} events as expected, 0 not"

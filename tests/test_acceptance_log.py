"""A panel's log: read from files with all their quirks, and compared with the expected events."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stationsim.control.backup import BackupSettings
from stationsim.errors import InputError, RecordError
from stationsim.forms import csv_text
from stationsim.records import panel_log as reading
from stationsim.records.panel_log import LogEntry, PanelLog
from stationsim.station import AlarmSettings
from stationsim.studies.acceptance.cautions import FOOTER
from stationsim.studies.acceptance.panel.panel_log import LogLine, compare_log, read_panel_log
from stationsim.studies.acceptance.panel.script import ExpectedEvent, PanelTest
from stationsim.studies.acceptance.panel.sequences import sequences_of
from stationsim.studies.acceptance.paper.forms import events_form
from stationsim.testing import MONDAY, engine_pump, triplex

ALTERNATION = "alternation over two rounds"
OVERLOAD = "lead trips on overload"
RESTART = "restart after return with the well high"
SUBJECTS = ("P1", "P2", "P3", "E1", "grid", "station", "level sensor")


@cache
def sequences() -> tuple[PanelTest, ...]:
    station = triplex(
        levels={"stagger_s": 10.0, "restart_delay_s": 15.0},
        engine_pump=engine_pump(),
        backup_floats=BackupSettings(start_m=2.9, stop_m=0.6),
        alarms=AlarmSettings(
            high_level_m=3.0, low_level_m=0.4, high_level_delay_s=5.0, power_failed_delay_s=60.0
        ),
    )
    return tuple(sequences_of(station, MONDAY)[0])


def named(name: str) -> PanelTest:
    return next(one for one in sequences() if one.name == name)


def logged(one: PanelTest, begin_s: float = 0.0, **changed_s: float) -> list[LogEntry]:
    """Return a log of a sequence that went as expected, or with the time of some events changed."""
    return [
        LogEntry(
            event.n, one.name, begin_s + changed_s.get(f"n{event.n}", event.after_s),
            event.subject, event.said,
        )
        for event in one.expected
    ]  # fmt: skip


def lines_of(one: PanelTest, entries: list[LogEntry]) -> list[LogLine]:
    return compare_log([one], entries)


def verdicts(one: PanelTest, entries: list[LogEntry]) -> Counter[str]:
    return Counter(line.verdict for line in lines_of(one, entries))


# ---------------------------------------------------------------------- comparing, by hand


def alternating(*events: tuple[float, str, str]) -> list[LogEntry]:
    return [
        LogEntry(n, ALTERNATION, at_s, subject, event)
        for n, (at_s, subject, event) in enumerate(events, 2)
    ]


def test_a_log_that_went_as_expected_is_so_whatever_its_clock():
    one = named(ALTERNATION)
    lines = lines_of(one, logged(one, begin_s=41_234.5))
    assert [line.verdict for line in lines] == ["as expected"] * 12
    assert [line.n for line in lines] == list(range(1, 13))
    # own arithmetic: cycles of 10 m3 up at 15 L/s and 10 m3 down at 30 - 15 L/s
    assert [line.expected_s for line in lines] == pytest.approx(
        [2000.0 / 3.0 * n for n in range(12)]
    )
    assert [line.logged_s for line in lines] == pytest.approx([2000.0 / 3.0 * n for n in range(12)])
    assert math.isnan(lines[0].off_s)  # the others count from it
    assert [line.off_s for line in lines[1:]] == pytest.approx([0.0] * 11, abs=1e-6)
    assert lines[1].tolerance_s == pytest.approx(2000.0 / 30.0)
    assert "P1 stop 667 s after P1 start, expected 667 s +- 66.7 s" in lines[1].reason


def test_a_sequence_without_lines_is_not_done_and_misses_nothing():
    one = named(ALTERNATION)
    lines = compare_log(sequences(), logged(one))
    others = [line for line in lines if line.sequence != one.name]
    assert {line.verdict for line in others} == {"not done"}
    assert len(others) == len(sequences()) - 1


def test_a_wrong_fill_rate_does_not_add_up():
    # 9 % slower each time: the twelfth event comes 720 s late, and no gap is beyond a tenth
    one = named(ALTERNATION)
    slow = {f"n{event.n}": 1.09 * event.after_s for event in one.expected}
    lines = lines_of(one, logged(one, **slow))
    assert {line.verdict for line in lines} == {"as expected"}
    assert lines[-1].logged_s - lines[-1].expected_s > 600.0


def test_one_late_start_and_all_after_it_on_time():
    one = named(ALTERNATION)
    late = one.expected[4].after_s + 100.0
    lines = lines_of(one, logged(one, n5=late))
    assert [line.n for line in lines if line.verdict != "as expected"] == [5]
    assert lines[4].verdict == "late"
    assert lines[4].off_s == pytest.approx(100.0)
    assert lines[4].tolerance_s == pytest.approx(66.7, abs=0.1)
    # the next one is not called early: its gap counts from the last event that was in time
    assert lines[5].off_s == pytest.approx(0.0, abs=1e-6)
    assert "after P2 stop" in lines[5].reason


def test_one_late_start_that_moves_all_after_it():
    one = named(ALTERNATION)
    moved = {f"n{event.n}": event.after_s + 100.0 for event in one.expected[4:]}
    lines = lines_of(one, logged(one, **moved))
    assert [(line.n, line.verdict) for line in lines if line.verdict != "as expected"] == [
        (5, "late")
    ]
    assert "after P3 start" in lines[5].reason


def test_exactly_at_the_tolerance_is_as_expected_and_beyond_it_is_not():
    one = named(RESTART)
    first = one.expected[2]
    assert (first.subject, first.gap_s, first.tolerance_s) == ("P1", 15.0, 2.0)
    for off, verdict in (
        (2.0, "as expected"),
        (2.1, "late"),
        (-2.0, "as expected"),
        (-2.1, "early"),
    ):
        moved = {f"n{event.n}": event.after_s + off for event in one.expected[2:]}
        assert lines_of(one, logged(one, **moved))[2].verdict == verdict


def test_what_a_hand_of_the_crew_does_late_is_not_the_stations_fault():
    one = named(OVERLOAD)
    trip = one.expected[1]
    assert trip.by_crew
    moved = {f"n{event.n}": event.after_s + 47.0 for event in one.expected[1:]}
    lines = lines_of(one, logged(one, **moved))
    assert {line.verdict for line in lines} == {"as expected"}
    assert "hand of the crew" in lines[1].reason
    # but a successor that hesitates after the trip is late
    slow = {f"n{event.n}": event.after_s + 47.0 for event in one.expected[1:]} | {
        "n4": one.expected[3].after_s + 53.0
    }
    assert lines_of(one, logged(one, **slow))[3].verdict == "late"


def test_a_restart_delay_is_judged_from_the_return_of_the_grid():
    # the grid is back 61 s after the engine has begun to pump; that wait does not widen the 2 s
    one = named("power failure with the lead running")
    back = next(event for event in one.expected if event.event == "grid back")
    start = one.expected[back.n + 1]
    assert (start.event, start.after_s - back.after_s) == ("start", 15.0)
    moved = {f"n{event.n}": event.after_s + 3.0 for event in one.expected[start.n - 1 :]}
    lines = lines_of(one, logged(one, **moved))
    assert [(line.n, line.verdict) for line in lines if line.verdict != "as expected"] == [
        (start.n, "late")
    ]


def test_what_follows_a_hand_is_judged_no_more_widely_than_from_that_hand():
    # P1 must stop as it trips; the 20 s that it ran before, at half of them, would let 10 s pass
    one = replace(named(OVERLOAD), time_part=0.5)
    trip, stop = one.expected[1:3]
    assert (trip.by_crew, stop.event, stop.gap_s) == (True, "stop", 0.0)
    moved = {f"n{event.n}": event.after_s + 5.0 for event in one.expected[2:]}
    assert [line.verdict for line in lines_of(one, logged(one, **moved))][2] == "late"


def test_a_stagger_is_judged_past_the_selectors_that_are_turned_meanwhile():
    # P1, P2 and P3 are turned to auto 2 s apart, or by a slower crew 4 s; P2 starts by the stagger
    one = named("lag and standby starts")
    slow = {f"n{e.n}": 10.0 + 2.0 * (e.after_s - 10.0) for e in one.expected if e.by_crew}
    lines = lines_of(one, logged(one, **slow))
    assert {line.verdict for line in lines} == {"as expected"}


def test_a_missing_start_and_a_strange_one():
    one = named(ALTERNATION)
    entries = [entry for entry in logged(one) if entry.line != 5]
    entries.append(LogEntry(99, one.name, one.expected[4].after_s, "P2", "start"))
    lines = lines_of(one, entries)
    wrong = [line for line in lines if line.verdict != "as expected"]
    assert [(line.verdict, line.subject, line.event) for line in wrong] == [
        ("extra", "P2", "start"),
        ("missing", "P3", "start"),
    ]
    assert math.isnan(wrong[1].logged_s)
    assert math.isnan(wrong[0].expected_s)
    assert wrong[0].line == 99
    assert wrong[1].reason == "P3 start, expected 667 s after P2 stop"


def test_pumps_that_change_places_are_out_of_order_once():
    one = named(RESTART)
    starts = {e.subject: e for e in one.expected if e.event == "start"}
    assert [starts[p].after_s - starts["P1"].after_s for p in ("P2", "P3")] == [10.0, 20.0]
    swapped = {
        f"n{starts['P2'].n}": starts["P3"].after_s, f"n{starts['P3'].n}": starts["P2"].after_s,
    }  # fmt: skip
    lines = lines_of(one, logged(one, **swapped))
    counts = Counter(line.verdict for line in lines)
    assert counts["out of order"] == 1
    assert counts["missing"] == counts["extra"] == 0
    off = next(line for line in lines if line.verdict == "out of order")
    assert off.subject in ("P2", "P3")
    assert abs(off.off_s) == pytest.approx(10.0)
    assert off.reason.endswith(
        "it stands after P3 start" if off.subject == "P2" else "it stands before P2 start"
    )


def test_what_comes_at_one_instant_may_be_logged_in_any_order():
    one = named(RESTART)
    stops = [event.n for event in one.expected if event.event == "stop"]
    assert len(stops) == 3
    entries = logged(one)
    turned = [*entries[: stops[0] - 1], *entries[stops[0] - 1 :][::-1]]
    lines = lines_of(one, turned)
    assert {line.verdict for line in lines} == {"as expected"}
    assert any("in another order" in line.reason for line in lines)


def test_an_alarm_may_take_the_place_of_the_trip_that_it_tells_of_or_stand_beside_it():
    one = named(OVERLOAD)
    plain = logged(one)
    alarm = replace(plain[1], event="alarm raised: pump failed")
    nameless = replace(plain[1], event="alarm raised")
    for second in (alarm, nameless):
        entries = [plain[0], second, *plain[2:]]
        assert verdicts(one, entries) == {"as expected": 5}
    both = [*plain[:2], replace(alarm, line=99, at_s=alarm.at_s + 0.5), *plain[2:]]
    lines = lines_of(one, both)
    assert {line.verdict for line in lines} == {"as expected"}
    assert any(line.reason.endswith("tells the same as line 2") for line in lines)
    other = [plain[0], replace(plain[1], event="alarm raised: seal leak"), *plain[2:]]
    assert verdicts(one, other) == {"as expected": 4, "missing": 1, "extra": 1}


def test_an_alarm_of_another_kind_is_not_the_one_that_is_expected():
    one = named(RESTART)
    entries = logged(one)
    assert entries[1].event == "alarm cleared: power failed"
    entries[1] = replace(entries[1], event="alarm cleared: high level")
    counts = verdicts(one, entries)
    assert (counts["missing"], counts["extra"]) == (1, 1)


def test_words_that_are_none_of_ours_stay_as_extra_lines_with_the_nearest():
    one = named(ALTERNATION)
    entries = [
        *logged(one),
        LogEntry(77, one.name, 700.0, "P1", "startt", known=False, nearest=("start", "stop")),
    ]
    extra = [line for line in lines_of(one, entries) if line.verdict == "extra"]
    assert [(line.line, line.event) for line in extra] == [(77, "startt")]
    assert "none of the words; did you mean 'start' or 'stop'?" in extra[0].reason
    assert "empty subject" not in extra[0].reason  # a log in these words has no file of words


def test_a_text_that_means_nothing_says_how_it_is_passed_over():
    one = named(ALTERNATION)
    entries = [*logged(one), LogEntry(77, one.name, 700.0, "", "DOOR OPEN", known=False)]
    (extra,) = [line for line in lines_of(one, entries) if line.verdict == "extra"]
    assert extra.reason == (
        "'DOOR OPEN' is none of the words; a row of the file of words with an empty subject and"
        " event passes it over"
    )


def test_an_alarm_before_is_named_with_its_station():
    one = named("high-level alarm")
    entries = logged(one)
    (alarm,) = [entry for entry in entries if entry.event == "alarm raised: high level"]
    gone = next(event for event in one.expected if event.n == alarm.line + 1)
    without = [entry for entry in entries if entry.line != gone.n]
    (missing,) = [line for line in lines_of(one, without) if line.verdict == "missing"]
    assert missing.reason == (
        'P1 in auto, expected 10 s after "alarm raised: high level" of the station'
    )
    (lost,) = [
        line for line in lines_of(one, [e for e in entries if e is not alarm])
        if line.verdict == "missing"
    ]  # fmt: skip
    assert lost.reason.startswith('"alarm raised: high level" of the station, expected')


def test_times_to_the_minute_are_given_a_minute():
    one = named(RESTART)
    entries = [
        replace(entry, at_s=60.0 * math.floor(entry.at_s / 60.0), resolution_s=60.0)
        for entry in logged(one)
    ]
    lines = lines_of(one, entries)
    assert {line.verdict for line in lines} == {"as expected"}
    judged = next(line for line in lines if line.subject == "P1" and line.event == "start")
    assert judged.tolerance_s == 62.0
    assert "without seconds" in judged.reason


def test_a_log_that_shares_nothing_is_missing_and_extra():
    one = named(ALTERNATION)
    lines = lines_of(one, [LogEntry(2, one.name, 5.0, "E1", "start")])
    counts = Counter(line.verdict for line in lines)
    assert counts == {"missing": 12, "extra": 1}


def test_a_line_of_no_sequence_is_refused():
    with pytest.raises(InputError, match="line 3: no sequence is called 'tea'"):
        compare_log(sequences(), [LogEntry(3, "tea", 0.0, "P1", "start")])


def test_of_two_starts_that_fit_the_nearer_in_time_is_taken():
    one = named(ALTERNATION)
    entries = [*logged(one), LogEntry(50, one.name, one.expected[2].after_s - 300.0, "P2", "start")]
    lines = lines_of(one, entries)
    extra = [line for line in lines if line.verdict == "extra"]
    assert [line.line for line in extra] == [50]
    assert Counter(line.verdict for line in lines)["as expected"] == 12


def test_a_long_log_is_compared_too():
    one = named(ALTERNATION)
    noise = [
        LogEntry(1000 + n, one.name, 3.7 * n, f"P{1 + n % 3}", ("start", "stop")[n % 2])
        for n in range(1500)
    ]
    counts = verdicts(one, [*logged(one), *noise])
    assert sum(counts.values()) == 1512
    assert counts["missing"] == counts["out of order"] == 0


# ---------------------------------------------------------------------- comparing, any log

SEQUENCES = st.integers(0, 99).map(lambda n: sequences()[n % len(sequences())])
CLOCKS = st.floats(-1e5, 1e5)


@given(SEQUENCES, CLOCKS)
def test_the_same_log_is_as_expected(one, begin_s):
    assert verdicts(one, logged(one, begin_s)) == {"as expected": len(one.expected)}


@given(SEQUENCES, CLOCKS, st.data())
def test_one_line_dropped_is_one_missing(one, begin_s, data):
    assume(len(one.expected) > 1)
    gone = data.draw(st.integers(0, len(one.expected) - 1))
    entries = logged(one, begin_s)
    lost = entries.pop(gone)
    lines = lines_of(one, entries)
    counts = Counter(line.verdict for line in lines)
    assert counts == {"missing": 1, "as expected": len(one.expected) - 1}
    missing = next(line for line in lines if line.verdict == "missing")
    assert (missing.subject, missing.event) == (lost.subject, lost.event)


@given(SEQUENCES, CLOCKS, st.data())
def test_one_line_added_is_one_extra(one, begin_s, data):
    said = data.draw(st.sampled_from(sorted(reading.our_events().values())))
    subject = data.draw(st.sampled_from(SUBJECTS))
    assume(not any(e.told_by(subject, said) and e.said != said for e in one.expected))
    assume(not any(aside.told_by(subject, said) for aside in one.asides))
    at_s = begin_s + data.draw(st.floats(0.0, one.duration_s))
    entries = [*logged(one, begin_s), LogEntry(999, one.name, at_s, subject, said)]
    counts = verdicts(one, entries)
    assert counts == {"extra": 1, "as expected": len(one.expected)}


def movable(one: PanelTest) -> list[ExpectedEvent]:
    """Return the events that may come late without coming after the next one."""
    pairs = zip(one.expected[1:], [*one.expected[2:], None], strict=True)
    return [
        event
        for event, then in pairs
        if not event.by_crew and (then is None or then.gap_s > event.tolerance_s + 3.0)
    ]


@given(SEQUENCES, st.data())
def test_one_line_late_is_one_late_and_none_early(one, data):
    assume(movable(one))
    event = data.draw(st.sampled_from(movable(one)))
    room_s = one.expected[event.n].gap_s if event.n < len(one.expected) else 1e4
    by_s = data.draw(st.floats(event.tolerance_s + 0.1, room_s - 0.1))
    lines = lines_of(one, logged(one, **{f"n{event.n}": event.after_s + by_s}))
    wrong = [(line.n, line.verdict) for line in lines if line.verdict != "as expected"]
    assert wrong == [(event.n, "late")]
    assert lines[event.n - 1].off_s == pytest.approx(by_s)


@given(SEQUENCES, st.data())
def test_one_line_early_is_one_early_and_none_late(one, data):
    able = [e for e in one.expected[1:] if not e.by_crew and e.gap_s > e.tolerance_s + 1.0]
    assume(able)
    event = data.draw(st.sampled_from(able))
    by_s = data.draw(st.floats(event.tolerance_s + 0.1, event.gap_s - 0.1))
    lines = lines_of(one, logged(one, **{f"n{event.n}": event.after_s - by_s}))
    wrong = [(line.n, line.verdict) for line in lines if line.verdict != "as expected"]
    assert wrong == [(event.n, "early")]


@given(SEQUENCES, st.data())
def test_a_delay_that_moves_all_that_follows_is_one_late(one, data):
    able = [event for event in one.expected[1:] if not event.by_crew]
    assume(able)
    event = data.draw(st.sampled_from(able))
    by_s = event.tolerance_s + data.draw(st.floats(0.1, 3600.0))
    moved = {f"n{then.n}": then.after_s + by_s for then in one.expected[event.n - 1 :]}
    lines = lines_of(one, logged(one, **moved))
    wrong = [(line.n, line.verdict) for line in lines if line.verdict != "as expected"]
    assert wrong == [(event.n, "late")]


@given(SEQUENCES, st.data())
def test_two_neighbours_that_change_places_are_one_out_of_order(one, data):
    able = [
        (first, then)
        for first, then in zip(one.expected, one.expected[1:], strict=False)
        if not (first.by_crew or then.by_crew)
        and (first.subject, first.said) != (then.subject, then.said)
        and then.gap_s > max(2.0, 0.1 * (first.gap_s + then.gap_s)) + 0.1
    ]
    assume(able)
    first, then = data.draw(st.sampled_from(able))
    swapped = {f"n{first.n}": then.after_s, f"n{then.n}": first.after_s}
    counts = verdicts(one, logged(one, **swapped))
    assert counts["out of order"] == 1
    assert counts["missing"] == counts["extra"] == 0
    # the other one stands where the first should: as far off its time, and told as that
    assert counts["late"] + counts["early"] <= 1


@given(SEQUENCES, st.floats(0.9, 1.1), CLOCKS)
def test_gaps_that_are_all_longer_or_shorter_by_up_to_the_part_are_as_expected(one, part, begin_s):
    stretched = {f"n{event.n}": part * event.after_s for event in one.expected}
    counts = verdicts(one, logged(one, begin_s, **stretched))
    assert counts == {"as expected": len(one.expected)}


@given(SEQUENCES, st.data())
def test_every_event_and_every_line_is_told_once(one, data):
    events = st.tuples(
        st.floats(0.0, 5000.0),
        st.sampled_from(SUBJECTS),
        st.sampled_from(["start", "stop", "trip", "alarm raised", "grid lost", "reset", "off"]),
    )
    entries = [
        LogEntry(n, one.name, at_s, subject, said)
        for n, (at_s, subject, said) in enumerate(data.draw(st.lists(events, min_size=1)), 1)
    ]
    lines = lines_of(one, entries)
    assert sorted(line.line for line in lines if line.line is not None) == [
        entry.line for entry in entries
    ]
    twins = [line for line in lines if "tells the same as" in line.reason]
    told = [line.n for line in lines if line.n is not None and line not in twins]
    assert sorted(told) == [event.n for event in one.expected]


# ---------------------------------------------------------------------- reading


def read(folder: Path, text: str, words: str | None = None, name: str = "log.csv") -> PanelLog:
    file = folder / name
    file.write_text(text, encoding="utf-8")
    meanings = None
    if words is not None:
        meanings = folder / "words.csv"
        meanings.write_text(words, encoding="utf-8")
    return reading.read_panel_log(
        file, tests=[one.name for one in sequences()], subjects=SUBJECTS, words=meanings
    )


def told(log: PanelLog) -> str:
    return "\n".join(log.repairs)


def test_a_plain_log_is_read_with_nothing_to_tell(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},08:00:10,P1,start\n"
        f"{ALTERNATION},08:11:17,P1,stop\n"
        f'"{RESTART}",2027-03-01 09:00:00,grid,grid back\n'
        f'"{RESTART}",2027-03-01T09:00:15.5,P1,start\n',
    )
    assert log.repairs == ()
    assert [(e.line, e.subject, e.event) for e in log.entries] == [
        (2, "P1", "start"), (3, "P1", "stop"), (4, "grid", "grid back"), (5, "P1", "start"),
    ]  # fmt: skip
    assert log.entries[1].at_s - log.entries[0].at_s == 667.0
    assert log.entries[3].at_s - log.entries[2].at_s == 15.5
    assert all(entry.known and entry.resolution_s == 0.0 for entry in log.entries)


def test_names_and_words_are_read_whatever_their_capitals_and_blanks(tmp_path):
    log = read(
        tmp_path,
        "Test;TIME; Subject;event;operator\n"
        " Alternation  over two rounds;12.5;p1;Start;somebody\n"
        f"{RESTART.upper()};3;Station;ALARM_CLEARED: power failed;\n"
        f"{RESTART};4;station;alarm cleared power  failed;\n"
        f"{RESTART};5;station;Alarm Cleared;\n",
    )
    assert [entry.test for entry in log.entries] == [ALTERNATION, RESTART, RESTART, RESTART]
    assert [entry.event for entry in log.entries] == [
        "start", "alarm cleared: power failed", "alarm cleared: power failed", "alarm cleared",
    ]  # fmt: skip
    assert log.entries[0].subject == "P1"
    assert "semicolons" in told(log)
    assert "passed over: 'operator'" in told(log)


def test_decimal_commas_blank_rows_doubled_lines_and_rows_without_a_time_are_told(tmp_path):
    log = read(
        tmp_path,
        "sequence;time;subject;event\n"
        f"{ALTERNATION};10,5;P1;start\n"
        ";;;\n"
        f"{ALTERNATION};677,5;P1;stop\n"
        f"{ALTERNATION};677,5;P1;stop\n"
        f"{ALTERNATION};;P2;start\n",
    )
    assert [entry.at_s for entry in log.entries] == [10.5, 677.5]
    assert "3 decimal commas read as a point" in told(log)
    assert "1 blank row" in told(log)
    assert "1 line that stands twice taken once (line 5)" in told(log)
    assert "1 row without a time passed over" in told(log)


def test_a_clock_goes_past_midnight(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},23:59:50,P1,start\n{ALTERNATION},00:10:57,P1,stop\n",
    )
    assert log.entries[1].at_s - log.entries[0].at_s == 667.0
    assert "past midnight once" in told(log)


def test_a_log_with_its_newest_line_first_is_turned_over(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},00:11:17,P2,start\n{ALTERNATION},00:00:10,P1,stop\n"
        f"{ALTERNATION},23:49:03,P1,start\n",
    )
    assert [entry.line for entry in log.entries] == [4, 3, 2]
    assert [e.at_s - log.entries[0].at_s for e in log.entries] == [0.0, 667.0, 1334.0]
    assert "newest line stands first" in told(log)
    assert "past midnight" in told(log)


def test_a_row_that_stands_late_is_put_in_order(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},08:00:00,P1,start\n{ALTERNATION},08:22:14,P2,start\n"
        f"{ALTERNATION},08:11:07,P1,stop\n{ALTERNATION},08:33:21,P2,stop\n",
    )
    assert [entry.line for entry in log.entries] == [2, 4, 3, 5]
    assert "1 row below a later one" in told(log)


def test_halves_of_the_day_and_days_with_points_are_read(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},11:59:00 AM,P1,start\n{ALTERNATION},12:10:07 pm,P1,stop\n"
        f"{OVERLOAD},01.03.2027 09:00:01,P1,start\n{OVERLOAD},01.03.2027 09:00:21,P1,trip\n",
    )
    assert log.entries[1].at_s - log.entries[0].at_s == 667.0
    assert log.entries[3].at_s - log.entries[2].at_s == 20.0


def test_dates_with_halves_of_the_day_or_one_figure_for_the_hour_are_read(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},2027-03-01 11:59:00 AM,P1,start\n"
        f"{ALTERNATION},2027-03-01 12:10:07 p.m.,P1,stop\n"
        f"{OVERLOAD},01.03.2027 9:00:01,P1,start\n{OVERLOAD},01.03.2027 9:00:21,P1,trip\n"
        f"{RESTART},02:03:20 PM,grid,grid back\n{RESTART},02:03:35 PM,P1,start\n",
    )
    times = [entry.at_s for entry in log.entries]
    assert [times[n + 1] - times[n] for n in (0, 2, 4)] == [667.0, 20.0, 15.0]


def test_times_without_seconds_are_told_and_marked(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"{ALTERNATION},08:00,P1,start\n{ALTERNATION},08:11,P1,stop\n"
        f"{OVERLOAD},09:00:01,P1,start\n{OVERLOAD},09:00:21,P1,trip\n",
    )
    assert [entry.resolution_s for entry in log.entries] == [60.0, 60.0, 0.0, 0.0]
    assert "2 times with hours and minutes only" in told(log)


def test_an_event_that_is_none_of_ours_is_kept_with_the_nearest_words(tmp_path):
    log = read(tmp_path, f"sequence,time,subject,event\n{ALTERNATION},5,P1,stopp\n")
    entry = log.entries[0]
    assert (entry.known, entry.event) == (False, "stopp")
    assert "stop" in entry.nearest


WORDS = (
    "text,subject,event\n"
    "PMP1 RUN,P1,start\nPMP1 HALT,P1,stop\nPUMP 1 FAULT,P1,alarm raised: pump failed\nDOOR,,\n"
)


def test_a_panels_own_texts_are_translated(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,text\n"
        f"{OVERLOAD},1,pmp1  run\n{OVERLOAD},20,Pump 1 Fault\n{OVERLOAD},20,PMP1 HALT\n"
        f"{OVERLOAD},30,DOOR\n{OVERLOAD},31,PMP1 RUNN\n{OVERLOAD},32,P4 over\n",
        WORDS,
    )
    assert [(e.subject, e.event) for e in log.entries[:3]] == [
        ("P1", "start"), ("P1", "alarm raised: pump failed"), ("P1", "stop"),
    ]  # fmt: skip
    assert "1 row passed over as the file of words says" in told(log)
    odd = log.entries[3]
    assert (odd.known, odd.event, odd.subject) == (False, "PMP1 RUNN", "")
    assert "P1 start" in odd.nearest
    assert log.entries[4].event == "P4 over"


def test_a_line_with_a_dash_for_its_sequence_belongs_to_none(tmp_path):
    log = read(
        tmp_path,
        "sequence,time,subject,event\n"
        f"-,07:59:00,P1,off\n{ALTERNATION},08:00:10,P1,start\n\u2013,08:05:00,P9,what\n",
    )
    assert [entry.line for entry in log.entries] == [3]
    assert told(log).endswith("2 rows of no sequence passed over")


def test_line_ends_and_marks_of_a_spreadsheet_are_no_repair(tmp_path):
    text = f"sequence,time,subject,event\r\n{ALTERNATION},08:00:10,P1,start\r\n"
    file = tmp_path / "log.csv"
    file.write_bytes(b"\xef\xbb\xbf" + text.encode())
    log = reading.read_panel_log(file, tests=[ALTERNATION], subjects=SUBJECTS)
    assert log.repairs == ()


def refused(folder: Path, text: str, words: str | None = None) -> str:
    with pytest.raises(RecordError) as caught:
        read(folder, text, words)
    return str(caught.value)


def test_everything_that_is_wrong_is_told_at_once_with_its_line(tmp_path):
    message = refused(
        tmp_path,
        "sequence,time,subject,event\n"
        "alternation over two round,08:00:00,P1,start\n"
        f"{ALTERNATION},8 o'clock,P1,stop\n"
        f"{ALTERNATION},08:11:99,P9,start\n"
        "coffee,03/04/2027 10:00:00,P1,start\n",
    )
    lines = message.splitlines()
    assert len(lines) == 6
    assert "log.csv:2: no sequence is called 'alternation over two round'; did you mean" in lines[0]
    assert 'log.csv:3: the time is "8 o\'clock"; accepted: a clock time' in lines[1]
    assert "log.csv:4: the time is '08:11:99', no time of a day" in lines[2]
    assert "log.csv:4: no subject is called 'P9' (accepted: 'P1', " in lines[3]
    assert "write year, month, day" in lines[4]
    assert "no sequence is called 'coffee'" in lines[5]


def test_an_export_without_sequences_is_told_what_to_do(tmp_path):
    message = refused(tmp_path, "date,time,message\n2027-03-01,08:00:00,PMP1 RUN\n")
    assert "no column is named 'sequence'" in message
    assert "add a column 'sequence'" in message
    assert "'-' where it belongs to none" in message
    assert all(f"'{one.name}'" in message for one in sequences())
    assert "a column 'text', and --words" in message
    message = refused(tmp_path, "sequence,time,subject,event\n,08:00:00,P1,start\n")
    assert "log.csv:2: no sequence is named (accepted: '-' where it belongs to none" in message


def test_of_many_times_that_cannot_be_read_the_first_five_are_told(tmp_path):
    rows = "".join(f"{ALTERNATION},{n} o'clock,P1,start\n" for n in range(31))
    message = refused(tmp_path, f"sequence,time,subject,event\n{rows}tea,1,P1,start\n")
    lines = message.splitlines()
    assert len(lines) == 7
    assert "log.csv:6: " in lines[4]
    assert lines[5] == "and 26 more like it"
    assert "no sequence is called 'tea'" in lines[6]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("sequence,time,subject,event\n", "no rows"),
        (f"sequence,time,subject,event\n{ALTERNATION},,P1,start\n", "nothing is filled in: no row"),
        (f"sequence,time,subjct,event\n{ALTERNATION},1,P1,start\n", "did you mean it by 'subjct'"),
        (f"sequence,subject,event\n{ALTERNATION},P1,start\n", "no column is named 'time'"),
        (f"sequence,time,text\n{ALTERNATION},1,PMP1 RUN\n", "--words"),
        (f"sequence,time,subject,event\n{ALTERNATION},-4,P1,start\n", "no time of a test"),
        (f"sequence,time,subject,event\n{ALTERNATION},13:00 pm,P1,start\n", "13:00 pm"),
        (f"sequence,time,subject,event\n{ALTERNATION},3 min,P1,start\n", "3 min"),
        (f"sequence,time,subject,event\n{ALTERNATION},nan,P1,start\n", "the time is 'nan'"),
        (f"sequence;time;subject;event\n{ALTERNATION};1,250;P1;start\n", "unclear"),
        (
            f"sequence,time,subject,event\n{ALTERNATION},1,P1,start\n{ALTERNATION},08:00:00,P1,stop\n",
            "one kind within a sequence",
        ),
        (
            f"sequence,time,subject,event\n{ALTERNATION},0.351,P1,start\n{ALTERNATION},0.358,P1,stop\n",
            "parts of a day",
        ),
    ],
)
def test_what_cannot_be_used_is_refused(tmp_path, text, says):
    message = refused(tmp_path, text)
    assert says in message
    assert "log.csv" in message


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("text,subject,event\nRUN,P7,start\n", "words.csv:2: no subject is called 'P7'"),
        ("text,subject,event\nRUN,P1,strat\n", "did you mean 'start'"),
        ("text,subject,event\nRUN,P1,start\nrun,P2,start\n", "stands twice with two meanings"),
        ("text,subject,event\n,P1,start\n", "is empty"),
        ("text,subject\nRUN,P1\n", "no column is named 'event'"),
    ],
)
def test_words_that_cannot_be_used_are_refused(tmp_path, words, says):
    message = refused(tmp_path, f"sequence,time,text\n{OVERLOAD},1,RUN\n", words)
    assert says in message


def workbook(file: Path, rows: list[list[Any]], title: str = "export") -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    book.save(file)


def test_a_workbook_is_read_with_its_times_and_dates(tmp_path):
    file = tmp_path / "log.xlsx"
    workbook(
        file,
        [
            ["sequence", "time", "subject", "event"],
            [ALTERNATION, dt.time(8, 0, 10), "P1", "start"],
            [ALTERNATION, dt.time(8, 11, 17), "P1", "stop"],
            [OVERLOAD, dt.datetime(2027, 3, 1, 9, 0, 1), "P1", "start"],
            [OVERLOAD, dt.datetime(2027, 3, 1, 9, 0, 21), "P1", "trip"],
            [RESTART, 3.5, "grid", "grid back"],
            [None, None, None, None],
            [RESTART, 18.25, "P1", "start"],
        ],
    )
    log = reading.read_panel_log(file, tests=[one.name for one in sequences()], subjects=SUBJECTS)
    times = [entry.at_s for entry in log.entries]
    assert [times[1] - times[0], times[3] - times[2], times[5] - times[4]] == [667.0, 20.0, 14.75]
    assert [entry.line for entry in log.entries] == [2, 3, 4, 5, 6, 8]


def test_a_formula_whose_value_was_not_saved_is_refused(tmp_path):
    file = tmp_path / "log.xlsx"
    workbook(
        file,
        [["sequence", "time", "subject", "event"], [ALTERNATION, "=A1+1", "P1", "start"]],
    )
    with pytest.raises(RecordError, match="'time' holds a formula"):
        reading.read_panel_log(file, tests=[ALTERNATION], subjects=SUBJECTS)


def test_without_openpyxl_a_workbook_says_what_to_install(tmp_path, monkeypatch):
    file = tmp_path / "log.xlsx"
    workbook(file, [["sequence", "time", "subject", "event"], [ALTERNATION, 1, "P1", "start"]])
    monkeypatch.setitem(__import__("sys").modules, "openpyxl", None)
    with pytest.raises(RecordError, match=r"python -m pip install 'stationsim\[xlsx\]'"):
        reading.read_panel_log(file, tests=[ALTERNATION], subjects=SUBJECTS)


# ---------------------------------------------------------------------- the whole way


def test_the_sheet_of_events_filled_in_is_a_log(tmp_path):
    form = events_form(sequences(), sequences()[0].result.station, "si")
    at = {name: n for n, name in enumerate(form.columns)}
    one, other = named(OVERLOAD), named(ALTERNATION)
    rows = []
    for row in form.rows:
        cells = list(row)
        if (cells[at["sequence"]], cells[at["no"]]) == (other.name, 2.0):
            cells[at["note"]] = "lamp was dim"
        if cells[at["sequence"]] == one.name:
            after_s = one.expected[int(cells[at["no"]]) - 1].after_s
            cells[at["time"]] = (
                f"{dt.datetime(2027, 3, 1, 14) + dt.timedelta(seconds=after_s):%H:%M:%S}"
            )
        rows.append(tuple(cells))
    file = tmp_path / "fill_in_events.csv"
    file.write_text(csv_text(replace(form, rows=tuple(rows))), encoding="utf-8")
    entries, repairs, notes = read_panel_log(file, sequences())
    counts = Counter(line.verdict for line in compare_log(sequences(), entries))
    assert counts == {"as expected": len(one.expected), "not done": len(sequences()) - 1}
    assert len(repairs) == 1  # nothing but the rows that nobody filled in
    assert repairs[0].line is None
    assert repairs[0].file == str(file)
    assert repairs[0].what.endswith("rows without a time passed over, as not happened")
    lines = file.read_text(encoding="utf-8").splitlines()
    (noted,) = [number for number, line in enumerate(lines, 1) if "lamp was dim" in line]
    assert notes == [(other.name, "lamp was dim", noted, False)]


def test_the_sheet_of_events_of_another_station_is_refused(tmp_path):
    station = replace(sequences()[0].result.station, name="Fen Bottom")
    form = events_form(sequences(), station, "si")
    first = list(form.rows[0])
    first[form.columns.index("time")] = "14:03:20"
    file = tmp_path / "fill_in_events.csv"
    file.write_text(csv_text(replace(form, rows=(tuple(first),))), encoding="utf-8")
    with pytest.raises(
        InputError, match="its title says 'Fen Bottom', and the scenario is that of"
    ):
        read_panel_log(file, sequences())


def test_the_sheet_of_events_says_levels_and_flows_in_both_systems():
    one = named("high-level alarm")
    for system in ("si", "us"):
        form = events_form([one], one.result.station, system)
        (note,) = [note for note in form.notes if note.startswith("Sequence ")]
        assert "at 2.94 m (9.65 ft), 15.0 L/s (238 gpm) of clean water" in note


def test_the_sheet_of_events_says_what_each_sequence_is_for():
    form = events_form(sequences(), sequences()[0].result.station, "si", ["Mind the steps."])
    for one in sequences():
        (note,) = [note for note in form.notes if note.startswith(f"Sequence '{one.name}': ")]
        assert one.purpose in note
        assert note.endswith(" ".join(one.how))
    assert form.cautions == ("Mind the steps.",)
    assert form.footer == FOOTER


def test_a_station_without_sequences_has_nothing_to_compare(tmp_path):
    with pytest.raises(InputError, match="nothing to compare"):
        read_panel_log(tmp_path / "log.csv", [])


@given(st.data())
def test_a_log_written_to_a_file_is_read_back(tmp_path_factory, data):
    one = data.draw(SEQUENCES)
    begin_s = data.draw(st.integers(0, 86_399))
    kind = data.draw(st.sampled_from(["clock", "stamps", "seconds", "comma"]))
    midnight = dt.datetime(2027, 3, 1)
    rows = ["sequence;time;subject;event"]
    for event in one.expected:
        at_s = begin_s + round(event.after_s, 1)
        moment = midnight + dt.timedelta(seconds=at_s)
        time = {
            "clock": f"{moment:%H:%M:%S.%f}",
            "stamps": moment.isoformat(sep=" "),
            "seconds": f"{at_s:.1f}",
            "comma": f"{at_s:.1f}".replace(".", ","),
        }[kind]
        rows.append(f"{one.name};{time};{event.subject};{event.said}")
    file = tmp_path_factory.mktemp("log") / "log.csv"
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    entries, _, _ = read_panel_log(file, sequences())
    counts = Counter(line.verdict for line in compare_log(sequences(), entries))
    assert counts == {"as expected": len(one.expected), "not done": len(sequences()) - 1}

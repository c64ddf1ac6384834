"""Spans as text: durations and times of the day, in a sentence and in a cell of the sheet."""

from __future__ import annotations

import pytest

from stationsim.chance import Range
from stationsim.people.response import WAY, ClockSpan, Person
from stationsim.studies.rehearse.sheet_text import clock_span, three_minutes
from stationsim.wording.spans import clock_text, day_span_text, span_text

HOUR = 3600.0


def minutes(*values: float) -> Range:
    return Range(*(60.0 * value for value in values))


@pytest.mark.parametrize(
    ("from_h", "to_h", "said"),
    [
        (22.0, 6.0, "22:00 to 06:00"),
        (16.0, 0.0, "16:00 to 24:00"),
        (0.0, 0.0, "00:00 to 24:00"),
        (8.0, 8.0, "00:00 to 24:00"),  # equal ones mean the whole day
        (0.0, 6.5, "00:00 to 06:30"),
    ],
)
def test_a_span_of_the_day_is_said_alike_everywhere(from_h: float, to_h: float, said: str) -> None:
    span = ClockSpan(from_h * HOUR, to_h * HOUR)
    assert day_span_text(span) == said
    assert clock_span(span) == f" ({said})"
    assert clock_span(None) == ""


def test_a_time_of_the_day_is_said_to_the_minute() -> None:
    assert clock_text(8.0 * HOUR + 29.0) == "08:00"
    assert clock_text(0.0) == "00:00"


@pytest.mark.parametrize(
    ("spans", "said", "cell"),
    [
        ([minutes(10, 15, 40)], "10 / 15 / 40 min", "10-15-40"),
        ([minutes(10, 10, 10)], "10 min", "10"),
        ([minutes(1, 5, 30)], "1 / 5 / 30 min", "1-5-30"),
        ([minutes(10, 25, 90)], "10 / 25 / 90 min", "10-25-90"),
        ([minutes(0, 1, 5)], "0 / 1 / 5 min", "0-1-5"),
        ([minutes(16, 40, 140)], "16 min / 40 min / 2 h 20 min", "16-40-140"),
        ([minutes(0, 0, 0)], "0 s", "0"),
        ([minutes(0.5, 2, 90)], "30 s / 2 min / 1 h 30 min", "0.5-2-90"),
        ([minutes(0, 1, 5), minutes(0.5, 2, 10)], "30 s / 3 min / 15 min", "0.5-3-15"),
    ],
)
def test_durations_are_the_same_in_a_sentence_and_in_a_cell(
    spans: list[Range], said: str, cell: str
) -> None:
    assert span_text(*spans) == said
    assert span_text(*spans, minutes=True) == cell
    assert three_minutes(*spans, None) == (cell if spans[-1].high else None)


def test_no_time_given_is_a_blank_in_a_cell() -> None:
    assert three_minutes(None) is None
    assert three_minutes(minutes(0, 0, 0)) is None


def test_somebody_takes_as_long_at_night_as_by_day_unless_it_is_given() -> None:
    by_day = minutes(1, 2, 3), minutes(4, 5, 6), minutes(7, 8, 9)
    plain = Person("somebody", *by_day)
    assert [plain.takes(part, night=True) for part in WAY] == list(by_day)
    none = Range.point(0.0)  # given as well, though it is no time at all
    slow = Person("somebody", *by_day, night_gets_ready=minutes(10, 20, 40), night_travels=none)
    assert [slow.takes(part, night=False) for part in WAY] == list(by_day)
    assert [slow.takes(part, night=True) for part in WAY] == [
        by_day[0], minutes(10, 20, 40), none
    ]  # fmt: skip

"""What must hold of any response to any trouble."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from any_crew import cases, station
from crews import (
    HOUR,
    at_once,
    bytes_of,
    just,
    no_step_without_hands,
    no_tool_twice,
    nobody_in_two_places,
    nothing_runs_that_somebody_works_on,
)
from everything import KINDS, day, event_of, everything, sampled
from hypothesis import event, given, settings
from hypothesis import strategies as st

from stationsim.episode import Episode
from stationsim.errors import ActionError
from stationsim.people.response import Task, Tool, Visit
from stationsim.simulation.session import Session, simulate
from stationsim.trace import Trace

ON_SITE = (
    "looks around", "looks on", "visits", "reset", "set right", "clear rags", "pull a pump",
    "connect mobile generator", "connect bypass pump", "disconnect mobile generator",
    "disconnect bypass pump", "refuel", "haul",
)  # fmt: skip


def known_by_somebody_only_when_told(trace: Trace) -> None:
    """Fail when an alarm is known before it was raised, or sent, and nobody was there."""
    rang_s = [row.t_s for row in trace.events if row.event == "a passer-by rings"]
    there = [(r.start_s, r.stop_s) for r in trace.crew if r.person and r.task in ON_SITE]
    there += [(r.t_s, r.t_s) for r in trace.events if r.event == "crew on site"]
    there += [
        (r.stop_s, r.stop_s) for r in trace.crew if (r.task, r.outcome) == ("travels", "on site")
    ]
    for row in trace.alarms:
        if math.isnan(row.reached_s):
            continue
        assert row.reached_s >= row.raised_s, row
        if row.reached_s >= row.sent_s:
            continue
        seen = any(begin <= row.reached_s <= end for begin, end in there)
        assert seen or any(at_s <= row.reached_s for at_s in rang_s), row


def holds(case: Episode) -> None:
    """Run a case, and fail when anything that must hold does not."""
    result = simulate(station(), case)
    trace = result.trace
    assert case.response is not None
    nobody_in_two_places(trace.crew)
    no_tool_twice(trace.crew, case.response)
    no_step_without_hands(trace.crew, case.response)
    known_by_somebody_only_when_told(trace)
    nothing_runs_that_somebody_works_on(trace, station().machine_names())
    assert trace.balance_error < 1e-9
    assert trace.end_s == case.duration_s
    assert all(0.0 <= row.start_s <= row.stop_s <= case.duration_s for row in trace.crew)
    assert all(row.outcome for row in trace.crew)
    for row in trace.crew:
        event(row.task)


def pieces_are_one(case: Episode, stops: list[float]) -> None:
    """Fail when a run in pieces, frozen where it can be, is not the run in one go."""
    whole = bytes_of(simulate(station(), case))
    assert bytes_of(simulate(station(), case)) == whole
    session = Session(station(), case)
    resumed = Session(station(), case)
    for part in sorted(stops):
        session.advance(part * case.duration_s)
        resumed.advance(part * case.duration_s)
        try:
            resumed = Session.resume(resumed.freeze())
        except ActionError:
            event("a story is open")
        else:
            event("frozen")
    assert bytes_of(session.finish()) == whole
    assert bytes_of(resumed.finish()) == whole


STOPS = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=4)


@given(case=cases())
@settings(max_examples=60)
def test_what_holds_of_any_crew(case: Episode) -> None:
    holds(case)


@given(case=cases(), stops=STOPS)
@settings(max_examples=25)
def test_a_run_in_pieces_is_the_run_in_one_go(case: Episode, stops: list[float]) -> None:
    pieces_are_one(case, stops)


FULL = at_once(
    "anna", "bert", assesses=just(120.0), tools=(Tool("tanker", delivered=just(600.0),
    holds_m3=6.0, round_trip=just(900.0)), Tool("lifting gear", fetched=just(300.0))),
    tasks=(
        Task("reset", just(60.0)), Task("set right", just(300.0)), Task("clear rags", just(900.0)),
        Task("pull a pump", just(1800.0), people=2, tool="lifting gear"),
        Task("connect mobile generator", just(900.0)), Task("connect bypass pump", just(900.0)),
        Task("refuel", just(300.0)), Task("haul", just(300.0), people=0, tool="tanker"),
    ),
    visit=Visit("bert", 2 * HOUR, 2 * HOUR),
)  # fmt: skip
"""Two people who can do all that there is to do."""


@pytest.mark.parametrize("kind", sampled(KINDS))
def test_a_full_plan_meets_any_trouble_of_the_catalogue(kind: str) -> None:
    events = (event_of(kind, 5000.0, 6000.0), event_of("grid loss", 6000.0, 7200.0))
    result = simulate(everything(), replace(day(*events, hours=6.0), response=FULL))
    trace = result.trace
    nobody_in_two_places(trace.crew)
    no_tool_twice(trace.crew, FULL)
    no_step_without_hands(trace.crew, FULL)
    known_by_somebody_only_when_told(trace)
    if kind not in ("hand", "auto"):  # a hand turns what it finds
        nothing_runs_that_somebody_works_on(trace, everything().machine_names())
    assert trace.balance_error < 1e-9
    assert [row.outcome for row in trace.crew if row.task == "visits"]


@pytest.mark.slow
@given(case=cases())
@settings(max_examples=300)
def test_what_holds_of_very_many_crews(case: Episode) -> None:
    holds(case)


@pytest.mark.slow
@given(case=cases(), stops=STOPS)
@settings(max_examples=100)
def test_many_runs_in_pieces_are_runs_in_one_go(case: Episode, stops: list[float]) -> None:
    pieces_are_one(case, stops)

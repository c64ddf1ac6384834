"""Limits of the staging: longest run, starts in an hour, and what a power loss leaves behind."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from stationsim.control.staging import MOVES_ON, STARTS_OVER, STAYS
from stationsim.episode import ScriptedEvent
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing import duplex, episode, triplex
from stationsim.trace import PumpRun, Trace

HOUR = 3600.0


def run(station: Station, hours: float, inflow: Any, *events: ScriptedEvent) -> Trace:
    trace = Session(station, episode(hours * HOUR, inflow, *events)).finish().trace
    assert trace.balance_error < 1e-12
    return trace


def test_longest_run_hands_over_on_the_minute_and_shares_a_storm() -> None:
    # the inflow equals one pump: without the limit the lead would never stop
    station = duplex((0.03, 0.03), levels={"max_run_s": 2 * HOUR})
    trace = run(station, 11.0, 0.03)
    closed = [r for r in trace.runs if r.stopped_by == "maximum run time"]
    assert len(closed) == 5
    assert [r.machine for r in closed] == [0, 1, 0, 1, 0]
    for r in closed:
        assert r.stop_s - r.start_s == pytest.approx(2 * HOUR, abs=1e-6)
    for before, after in itertools.pairwise(sorted(trace.runs, key=lambda r: r.start_s)):
        assert after.start_s == before.stop_s  # no pause between them
        assert after.started_by.startswith("takes over from P")
        assert after.role == "lead"


def test_longest_run_without_anyone_to_take_over_runs_on_and_says_so_once() -> None:
    out = ScriptedEvent(0.0, "out of service", "P2", 6 * HOUR)
    station = duplex((0.03, 0.03), levels={"max_run_s": 2 * HOUR})
    trace = run(station, 8.0, 0.03, out)
    skipped = [row for row in trace.events if row.event == "swap skipped"]
    assert [(row.subject, row.cause) for row in skipped] == [("P1", "no other pump is ready")]
    first = trace.runs[0]
    assert first.machine == 0
    assert first.stop_s == pytest.approx(6 * HOUR, abs=1e-6)  # as soon as P2 is back


def starts_in_any_hour(runs: list[PumpRun], machine: int) -> int:
    starts = sorted(r.start_s for r in runs if r.machine == machine)
    return max(sum(t <= s < t + HOUR - 1e-6 for s in starts) for t in starts)


@pytest.mark.parametrize("most", [1, 2])
def test_no_pump_starts_more_often_in_any_hour_than_its_limit(most: int) -> None:
    # 10 m3 between stop and start: a cycle of 1,333 s at half the flow, 2.7 in an hour
    station = duplex((0.03,), levels={"lag_start_m": None, "most_starts_per_hour": most})
    trace = run(station, 12.0, 0.015)
    assert starts_in_any_hour(trace.runs, 0) == most
    refused = [row for row in trace.events if row.event == "start refused"]
    assert refused
    assert "starts-per-hour limit" in refused[0].cause


def test_a_pump_at_its_limit_is_passed_over_by_the_next_one() -> None:
    station = triplex(rotation="fixed", levels={"most_starts_per_hour": 1})
    trace = run(station, 6.0, 0.015)
    for machine in range(3):
        assert starts_in_any_hour(trace.runs, machine) <= 1
    assert not [row for row in trace.events if row.event == "start refused"]
    assert {r.machine for r in trace.runs} == {0, 1, 2}


def cut(at_s: float, for_s: float) -> ScriptedEvent:
    return ScriptedEvent(at_s, "grid loss", "grid", for_s)


def test_restart_waits_and_staggers_after_a_power_loss_only() -> None:
    station = duplex(levels={"restart_delay_s": 30.0, "restart_stagger_s": 12.0, "stagger_s": 3.0})
    trace = run(station, 4.0, 0.02, cut(HOUR, HOUR))
    back = [r for r in trace.runs if r.started_by.startswith("power back")]
    assert [r.role for r in sorted(back, key=lambda r: r.start_s)] == ["lead", "lag"]
    starts = sorted(r.start_s for r in back)
    assert starts == pytest.approx([2 * HOUR + 30.0, 2 * HOUR + 42.0], abs=1e-6)


@pytest.mark.parametrize(("option", "leads"), [(MOVES_ON, 2), (STAYS, 1), (STARTS_OVER, 0)])
def test_rotation_after_a_power_loss_does_as_it_is_told(option: str, leads: int) -> None:
    station = triplex(levels={"at_power_loss": option})
    whole = run(station, 6.0, 0.02)
    # cut the second run of the episode in its middle: P2 leads it
    second = sorted(whole.runs, key=lambda r: r.start_s)[1]
    assert second.machine == 1
    trace = run(station, 6.0, 0.02, cut((second.start_s + second.stop_s) / 2.0, 20.0))
    following = min((r for r in trace.runs if r.start_s > second.start_s), key=lambda r: r.start_s)
    assert following.machine == leads

"""What goes wrong, who puts it right, and what stands in the tables afterwards.

Two pumps of 30 L/s in a tank of 10 m2 (see ``stationsim.testing.duplex``), 10 L/s in: from the stop
level 1.0 m it takes 1000 s to the lead start at 2.0 m, and one pump needs 500 s for the way back.
All times below follow from that by hand. The rules are those of the trade (common practice, no
source); where practice differs the meaning is this project's own, as its docstrings say.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import duplex, episode, triplex
from stationsim.trace import PumpRun, Trace, Unavailable

EPS = 1e-6


def happened(
    at_s: float,
    kind: EventKind,
    subject: str = "P1",
    duration_s: float | None = None,
    *,
    resets_itself: bool = True,
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, duration_s, resets_itself)


def run(
    *events: ScriptedEvent,
    station: Station | None = None,
    duration_s: float = 6000.0,
    inflow: float = 0.01,
    **more: Any,
) -> Trace:
    trace = simulate(station or duplex(), episode(duration_s, inflow, *events, **more)).trace
    assert trace.balance_error < 1e-9
    return trace


def rows(trace: Trace, *events: str) -> list[tuple[float, str, str, str]]:
    """Return time, subject, event and cause of the events asked for."""
    return [
        (pytest.approx(e.t_s, abs=EPS), e.subject, e.event, e.cause)
        for e in trace.events
        if e.event in events
    ]


def times(runs: list[PumpRun]) -> list[tuple[int, float, float]]:
    return [(r.machine, round(r.start_s, 6), round(r.stop_s, 6)) for r in runs]


def of(trace: Trace, machine: int) -> list[PumpRun]:
    return [r for r in trace.runs if r.machine == machine]


def spans(trace: Trace) -> list[tuple[int, float, float, str]]:
    return [(u.machine, u.start_s, u.stop_s, u.cause) for u in trace.unavailable]


def test_without_trouble_the_two_pumps_take_turns() -> None:
    trace = run()
    assert times(trace.runs) == [
        (0, 1000.0, 1500.0),
        (1, 2500.0, 3000.0),
        (0, 4000.0, 4500.0),
        (1, 5500.0, 6000.0),
    ]
    assert {r.started_by for r in trace.runs} == {"level at lead start 2.00 m"}
    assert [r.stopped_by for r in trace.runs] == ["level at stop 1.00 m"] * 3 + ["end of run"]
    assert trace.alarms == []
    assert trace.unavailable == []
    assert [(p.source, p.state, p.start_s, p.stop_s) for p in trace.power] == [
        ("grid", "on", 0.0, 6000.0)
    ]


# ---------------------------------------------------------------------- out of service


def test_a_pump_out_of_service_for_a_time_is_replaced_and_comes_back() -> None:
    trace = run(happened(500.0, "out of service", "P1", 1500.0))
    # P2 leads twice running: each stop moves the order on by one, whoever has run
    assert times(trace.runs)[:3] == [(1, 1000.0, 1500.0), (1, 2500.0, 3000.0), (0, 4000.0, 4500.0)]
    assert rows(trace, "out of service", "back in service") == [
        (500.0, "P1", "out of service", "out of service"),
        (2000.0, "P1", "back in service", "work done"),
    ]
    assert trace.unavailable == [Unavailable(0, 500.0, 2000.0, "out of service")]
    assert trace.alarms == []  # planned work raises none
    assert trace.trips == [0, 0]


def test_a_pump_out_of_service_in_mid_run_stops_and_the_other_takes_its_place() -> None:
    trace = run(happened(1200.0, "out of service", "P1"))
    first, second = trace.runs[:2]
    assert (first.machine, first.stop_s, first.stopped_by) == (0, 1200.0, "out of service")
    assert (second.machine, second.start_s) == (1, 1200.0)
    assert second.role == "lead"
    assert second.started_by == "takes the place of P1"
    assert second.stop_s == pytest.approx(1500.0, abs=EPS)  # the level never noticed
    assert {r.machine for r in trace.runs[1:]} == {1}
    assert trace.unavailable == [Unavailable(0, 1200.0, 6000.0, "out of service")]


def test_the_third_pump_takes_over_when_two_are_out() -> None:
    trace = run(
        happened(100.0, "out of service", "P1"),
        happened(200.0, "out of service", "P2"),
        station=triplex(),
    )
    assert {r.machine for r in trace.runs} == {2}
    assert {r.role for r in trace.runs} == {"lead"}


def test_with_every_pump_out_the_station_refuses_and_spills() -> None:
    trace = run(happened(100.0, "out of service", "P1"), happened(100.0, "out of service", "P2"))
    assert trace.runs == []
    refused = rows(trace, "start refused")
    assert refused[0] == (
        1000.0,
        "station",
        "start refused",
        "call of the lead pump: no pump is ready",
    )
    # 30 m3 from 1 m to the crest at 4 m take 3000 s; then 10 L/s go over for 3000 s
    assert [(s.start_s, s.stop_s) for s in trace.spills] == [(pytest.approx(3000.0), 6000.0)]
    assert trace.spilled_m3 == pytest.approx(30.0, rel=1e-9)
    assert trace.spills[0].peak_m3s == pytest.approx(0.01, rel=1e-9)


# ---------------------------------------------------------------------- trips


@pytest.mark.parametrize(
    ("kind", "cause"), [("fails", "pump failed"), ("high temperature", "high temperature")]
)
def test_a_trip_that_resets_itself_stops_the_pump_for_its_time(kind: EventKind, cause: str) -> None:
    trace = run(happened(1200.0, kind, "P1", 1800.0))
    assert trace.runs[0].stopped_by == cause
    assert trace.runs[1].started_by == "takes the place of P1"
    assert rows(trace, "trip", "reset") == [
        (1200.0, "P1", "trip", cause),
        (3000.0, "P1", "reset", "by itself"),
    ]
    assert [(a.alarm, a.subject, a.raised_s, a.cleared_s) for a in trace.alarms] == [
        (cause, "P1", 1200.0, 3000.0)
    ]
    assert spans(trace) == [(0, 1200.0, 3000.0, cause)]
    assert trace.trips == [1, 0]
    assert all(r.start_s >= 3000.0 or r.stop_s <= 1200.0 for r in of(trace, 0))


@pytest.mark.parametrize(
    ("kind", "cause"), [("fails", "pump failed"), ("high temperature", "high temperature")]
)
def test_a_trip_without_a_duration_waits_for_a_reset_by_hand(kind: EventKind, cause: str) -> None:
    trace = run(happened(1200.0, kind, "P1"), happened(3200.0, "reset", "P1"))
    assert rows(trace, "trip", "reset", "reset refused") == [
        (1200.0, "P1", "trip", cause),
        (3200.0, "P1", "reset", "by hand"),
    ]
    assert spans(trace) == [(0, 1200.0, 3200.0, cause)]
    assert len(of(trace, 0)) >= 2
    assert [(a.raised_s, a.cleared_s) for a in trace.alarms] == [(1200.0, 3200.0)]


@pytest.mark.parametrize(
    ("lasts_s", "told"),
    [
        (6000.0 * math.log(2.0), "for 1 h 9 min"),  # 4158.883 s, as a motor may cool
        (86_400.0, "for 24 h"),
        (1200.0, "for 20 min"),
        (45.0, "for 45 s"),
        (3.0 * 86_400.0, "for 3 d"),
        (math.inf, "to the end of the run"),
    ],
)
def test_a_trip_says_how_long_in_words_that_a_person_would_use(lasts_s: float, told: str) -> None:
    events = run(happened(1200.0, "high temperature", "P1", lasts_s)).events
    assert [e.detail for e in events if e.event == "trip"] == [told]
    raised = [e.cause for e in events if e.event == "alarm raised"]
    assert raised == [f"high temperature: {told}"]


def test_a_trip_that_nobody_resets_lasts_to_the_end() -> None:
    trace = run(happened(1200.0, "fails", "P1"))
    assert len(of(trace, 0)) == 1
    assert spans(trace) == [(0, 1200.0, 6000.0, "pump failed")]
    assert trace.alarms[0].raised_s == 1200.0
    assert math.isnan(trace.alarms[0].cleared_s)


def test_a_reset_is_refused_while_the_pump_is_still_hot() -> None:
    trace = run(
        happened(1200.0, "high temperature", "P1", 900.0, resets_itself=False),
        happened(1500.0, "reset", "P1"),
        happened(2400.0, "reset", "P1"),
    )
    assert rows(trace, "reset", "reset refused") == [
        (1500.0, "P1", "reset refused", "high temperature lasts"),
        (2400.0, "P1", "reset", "by hand"),
    ]
    assert spans(trace) == [(0, 1200.0, 2400.0, "high temperature")]


def test_a_reset_with_nothing_to_reset_says_so() -> None:
    trace = run(
        happened(300.0, "reset", "P2"),
        happened(400.0, "out of service", "P2"),
        happened(500.0, "reset", "P2"),
    )
    assert rows(trace, "reset refused") == [
        (300.0, "P2", "reset refused", "nothing to reset"),
        (500.0, "P2", "reset refused", "nothing to reset"),
    ]


def test_a_second_trip_of_the_same_kind_prolongs_the_first() -> None:
    trace = run(
        happened(1200.0, "high temperature", "P1", 600.0),
        happened(1500.0, "high temperature", "P1", 600.0),
    )
    assert rows(trace, "reset") == [(2100.0, "P1", "reset", "by itself")]
    assert spans(trace) == [(0, 1200.0, 2100.0, "high temperature")]
    assert len(trace.alarms) == 1


@pytest.mark.parametrize("latch_first", [True, False])
def test_a_trip_that_latches_is_not_undone_by_one_that_resets_itself(latch_first: bool) -> None:
    latch = happened(1200.0 if latch_first else 1300.0, "high temperature", "P1")
    short = happened(1300.0 if latch_first else 1200.0, "high temperature", "P1", 600.0)
    trace = run(latch, short, happened(2500.0, "reset", "P1"))
    assert rows(trace, "reset") == [(2500.0, "P1", "reset", "by hand")]


def test_two_blocks_at_once_both_have_to_go() -> None:
    trace = run(
        happened(1200.0, "fails", "P1", 600.0),
        happened(1300.0, "out of service", "P1", 2000.0),
    )
    assert rows(trace, "reset", "back in service") == [
        (1800.0, "P1", "reset", "by itself"),
        (3300.0, "P1", "back in service", "work done"),
    ]
    assert spans(trace) == [(0, 1200.0, 3300.0, "pump failed")]


# ---------------------------------------------------------------------- seal leak


def test_a_seal_leak_as_alarm_lets_the_pump_run() -> None:
    trace = run(happened(1200.0, "seal leak", "P1", 1000.0))
    plain = run()
    assert times(trace.runs) == times(plain.runs)
    assert [(a.alarm, a.subject, a.raised_s, a.cleared_s) for a in trace.alarms] == [
        ("seal leak", "P1", 1200.0, 2200.0)
    ]
    assert trace.unavailable == []
    assert trace.trips == [0, 0]
    assert [(e.event, e.detail) for e in trace.events if e.event == "seal leak"] == [
        ("seal leak", "runs on")
    ]


def test_a_seal_leak_without_a_duration_stands_to_the_end() -> None:
    trace = run(happened(1200.0, "seal leak", "P1"))
    assert [(a.raised_s, math.isnan(a.cleared_s)) for a in trace.alarms] == [(1200.0, True)]


def test_a_second_seal_leak_keeps_the_alarm_standing_to_its_own_end() -> None:
    trace = run(
        happened(1200.0, "seal leak", "P1", 1000.0), happened(2000.0, "seal leak", "P1", 1000.0)
    )
    assert [(a.raised_s, a.cleared_s) for a in trace.alarms] == [(1200.0, 3000.0)]
    shorter = run(
        happened(1200.0, "seal leak", "P1", 1000.0), happened(1300.0, "seal leak", "P1", 60.0)
    )
    assert [(a.raised_s, a.cleared_s) for a in shorter.alarms] == [(1200.0, 2200.0)]


def test_a_seal_leak_that_stops_takes_the_pump_out() -> None:
    trace = run(happened(1200.0, "seal leak", "P1", 1000.0), station=duplex(seal_leak="stop"))
    assert trace.runs[0].stopped_by == "seal leak"
    assert trace.runs[1].started_by == "takes the place of P1"
    assert spans(trace) == [(0, 1200.0, 2200.0, "seal leak")]
    assert trace.trips == [1, 0]
    assert [(a.alarm, a.raised_s, a.cleared_s) for a in trace.alarms] == [
        ("seal leak", 1200.0, 2200.0)
    ]


# ---------------------------------------------------------------------- the grid


def test_a_grid_loss_stops_the_pumps_and_the_level_decides_when_it_is_back() -> None:
    trace = run(happened(1200.0, "grid loss", "grid", 1000.0))
    runs = sorted(trace.runs, key=lambda r: (r.start_s, r.role == "lag"))
    first, second, lag = runs[:3]
    # 200 s of pumping: 2.0 - 0.4 = 1.6 m; 1000 s later 2.6 m, above both starts
    assert (first.machine, first.stop_s, first.stopped_by) == (0, 1200.0, "power lost")
    assert (second.machine, second.start_s) == (1, 2200.0)
    assert second.started_by == "power back, level above lead start 2.00 m"
    assert (second.role, lag.role) == ("lead", "lag")
    assert (lag.machine, lag.start_s) == (0, 2200.0)
    # both together 60 L/s against 10: 16 m3 in 320 s
    assert lag.stop_s == pytest.approx(2520.0, abs=EPS)
    assert [(p.source, p.state, p.start_s, p.stop_s) for p in trace.power] == [
        ("grid", "on", 0.0, 1200.0),
        ("grid", "out", 1200.0, 2200.0),
        ("grid", "on", 2200.0, 6000.0),
    ]
    assert [(a.alarm, a.subject, a.raised_s, a.cleared_s) for a in trace.alarms] == [
        ("power failed", "station", 1200.0, 2200.0)
    ]
    assert rows(trace, "grid lost", "grid back") == [
        (1200.0, "grid", "grid lost", "scripted"),
        (2200.0, "grid", "grid back", "scripted"),
    ]
    assert trace.unavailable == []  # the pumps are sound; it is the supply that lacks


def test_no_pump_runs_while_the_grid_is_out() -> None:
    trace = run(happened(900.0, "grid loss", "grid", 1000.0))
    assert all(r.start_s >= 1900.0 or r.stop_s <= 900.0 for r in trace.runs)
    assert trace.runs[0].start_s == 1900.0


@pytest.mark.parametrize(
    ("losses", "back_s"),
    [
        (((1200.0, 600.0), (1500.0, 900.0)), 2400.0),  # the second ends later
        (((1200.0, 1200.0), (1500.0, 300.0)), 2400.0),  # the second lies inside the first
        (((1200.0, 600.0), (1800.0, 600.0)), 2400.0),  # the second begins as the first ends
        (((1200.0, 1200.0), (1200.0, 600.0)), 2400.0),  # both begin together
    ],
)
def test_overlapping_grid_losses_are_one_outage(
    losses: tuple[tuple[float, float], ...], back_s: float
) -> None:
    trace = run(*(happened(at, "grid loss", "grid", lasts) for at, lasts in losses))
    assert [(p.state, p.start_s, p.stop_s) for p in trace.power] == [
        ("on", 0.0, 1200.0),
        ("out", 1200.0, back_s),
        ("on", back_s, 6000.0),
    ]
    assert len(rows(trace, "grid lost")) == 1
    assert [e.t_s for e in trace.events if e.event == "grid back"] == [back_s]
    assert len(trace.alarms) == 1


def test_a_grid_loss_without_an_end_lasts_to_the_end() -> None:
    trace = run(happened(1200.0, "grid loss", "grid"))
    assert trace.power[-1].state == "out"
    assert trace.power[-1].stop_s == 6000.0
    assert len(trace.runs) == 1


def test_a_grid_loss_at_the_very_start_lets_nothing_run() -> None:
    trace = run(happened(0.0, "grid loss", "grid", 500.0), start_level_m=2.2)
    assert next(r.start_s for r in trace.runs) == 500.0
    assert [(p.state, p.start_s) for p in trace.power] == [("out", 0.0), ("on", 500.0)]


def test_a_loss_within_an_instant_of_a_start_comes_first() -> None:
    # the level reaches the lead start at 1000 s, the same instant
    trace = run(happened(1000.0, "grid loss", "grid", 100.0))
    assert trace.runs[0].start_s == 1100.0


# ---------------------------------------------------------------------- hands


def test_hand_runs_a_pump_whatever_the_level_down_to_the_floor() -> None:
    trace = run(happened(100.0, "hand", "P2"), duration_s=3000.0)
    only = of(trace, 1)
    assert times(only) == [(1, 100.0, 3000.0)]
    assert (only[0].role, only[0].started_by) == ("hand", "selector in hand")
    # 11 m3 at 20 L/s net: empty after 550 s, then it lifts what arrives
    assert rows(trace, "well empty")[0][0] == 650.0
    assert only[0].volume_m3 == pytest.approx(11.0 + 0.01 * 2900.0, rel=1e-9)
    assert trace.least_level_m == 0.0


def test_off_stops_a_pump_and_keeps_it_from_running() -> None:
    trace = run(happened(1200.0, "off", "P1"), happened(3500.0, "auto", "P1"))
    assert trace.runs[0].stopped_by == "selector in off"
    assert trace.runs[1].started_by == "takes the place of P1"
    assert spans(trace) == [(0, 1200.0, 3500.0, "selector in off")]
    assert rows(trace, "off", "in auto") == [
        (1200.0, "P1", "off", "by hand"),
        (3500.0, "P1", "in auto", "by hand"),
    ]
    assert trace.alarms == []


def test_back_in_auto_the_controller_decides() -> None:
    trace = run(happened(100.0, "hand", "P2"), happened(300.0, "auto", "P2"))
    assert of(trace, 1)[0].stopped_by == "selector in auto"
    assert of(trace, 1)[0].stop_s == 300.0


def test_taking_a_running_pump_in_hand_keeps_it_running() -> None:
    trace = run(happened(1200.0, "hand", "P1"), happened(3000.0, "auto", "P1"))
    first = of(trace, 0)[0]
    assert (first.start_s, first.stop_s) == (pytest.approx(1000.0), 3000.0)
    assert first.role == "lead"  # the role it was started in


def test_hand_waits_through_an_outage_and_starts_when_the_grid_is_back() -> None:
    trace = run(
        happened(100.0, "hand", "P2"),
        happened(400.0, "grid loss", "grid", 700.0),
        duration_s=2000.0,
    )
    assert [(r.start_s, r.stop_s, r.stopped_by) for r in of(trace, 1)] == [
        (100.0, 400.0, "power lost"),
        (1100.0, 2000.0, "end of run"),
    ]


def test_hand_waits_for_the_minimum_off_time() -> None:
    trace = run(
        happened(1200.0, "off", "P1"),
        happened(1210.0, "hand", "P1"),
        station=duplex(min_off_s=60.0),
        duration_s=2000.0,
    )
    assert [round(r.start_s, 6) for r in of(trace, 0)] == [1000.0, 1260.0]


def test_hand_does_not_run_a_tripped_pump_until_it_is_reset() -> None:
    trace = run(
        happened(100.0, "fails", "P1"),
        happened(200.0, "hand", "P1"),
        happened(900.0, "reset", "P1"),
        duration_s=1500.0,
    )
    assert [(r.start_s, r.role) for r in of(trace, 0)] == [(900.0, "hand")]


def test_the_selector_set_where_it_stands_changes_nothing() -> None:
    trace = run(happened(300.0, "auto", "P1"))
    assert rows(trace, "in auto") == []
    assert times(trace.runs) == times(run().runs)


def test_off_outlasts_a_trip_that_resets_itself() -> None:
    trace = run(
        happened(1200.0, "fails", "P1", 600.0),
        happened(1300.0, "off", "P1"),
        happened(4000.0, "auto", "P1"),
    )
    assert spans(trace) == [(0, 1200.0, 4000.0, "pump failed")]
    assert all(r.start_s >= 4000.0 for r in of(trace, 0)[1:])


# ---------------------------------------------------------------------- limits


def test_no_pump_starts_inside_its_minimum_off_time() -> None:
    trace = run(station=duplex(flows_m3s=(0.03,), min_off_s=1300.0, levels={"lag_start_m": None}))
    gaps = [b.start_s - a.stop_s for a, b in zip(trace.runs, trace.runs[1:], strict=False)]
    assert gaps[0] == pytest.approx(1300.0, abs=EPS)
    refused = rows(trace, "start refused")
    assert refused[0] == (
        2500.0,
        "station",
        "start refused",
        "call of the lead pump: minimum off time not over",
    )

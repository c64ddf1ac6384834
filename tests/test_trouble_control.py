"""Panel and alarms in trouble: who decides, what holds, what is raised and what leaves the station.

Two pumps of 30 L/s in a tank of 10 m2 (``stationsim.testing.duplex``): 10 L/s in raises the level
by 1 mm/s and one pump lowers it by 2 mm/s, so all times follow by hand. Common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from tank_runs import run, told

from stationsim import vocabulary
from stationsim.control.backup import BackupSettings, FloatBackup
from stationsim.episode import EventKind, ScriptedEvent
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.operating import operating_point
from stationsim.physics.pumps import HeadCurve
from stationsim.signals import Decision, PumpSeen, Snapshot
from stationsim.simulation.session import Session
from stationsim.station import AlarmSettings, Station
from stationsim.testing import duplex, engine_pump, episode, reference_station
from stationsim.trace import Trace
from stationsim.why.asking import ask_why

ABS = 1e-6
OWN = BackupSettings(start_m=2.45, stop_m=0.45)
SHARED = replace(OWN, supply="control")


def happened(
    at_s: float, kind: EventKind, subject: str = "panel", for_s: float | None = None
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, for_s)


def runs(trace: Trace) -> list[tuple[int, Any, Any, str]]:
    rows = sorted(trace.runs, key=lambda row: row.start_s)
    return [
        (
            row.machine,
            pytest.approx(row.start_s, abs=ABS),
            pytest.approx(row.stop_s, abs=ABS),
            row.stopped_by,
        )
        for row in rows
    ]


def alarms(trace: Trace, name: str) -> list[tuple[Any, Any, Any]]:
    """Return raised, cleared and sent of each alarm of a name."""
    return [
        tuple(pytest.approx(x, abs=ABS, nan_ok=True) for x in (r.raised_s, r.cleared_s, r.sent_s))
        for r in trace.alarms
        if r.alarm == name
    ]  # type: ignore[misc]


# ---------------------------------------------------------------------- controller stopped


def test_controller_stopped_stops_pumps_in_auto_and_begins_with_no_calls() -> None:
    station = duplex(levels={"restart_delay_s": 30.0})
    trace = run(happened(1200.0, "controller stopped", for_s=600.0), station=station).trace
    # at 1200 s 1.6 m are left; at 1800 s there are 2.2 m, and the restart delay is waited for
    assert runs(trace)[:2] == [
        (0, 1000.0, 1200.0, "controller stopped"),
        (1, 1830.0, 1830.0 + 1.23 / 0.002, "level at stop 1.00 m"),
    ]
    assert told(trace, "controller stopped", "controller runs again") == [
        (1200.0, "controller stopped", "scripted"),
        (1800.0, "controller runs again", "by itself"),
    ]
    assert alarms(trace, "controller stopped") == [(1200.0, 1800.0, 1200.0)]


def test_a_call_that_stood_is_forgotten_with_the_controller() -> None:
    # back at 1400 s with 1.8 m: below the start, though the call had not reached its stop level
    trace = run(happened(1200.0, "controller stopped", for_s=200.0)).trace
    assert runs(trace)[1][1] == pytest.approx(1600.0, abs=ABS)


def test_nobody_asks_a_controller_that_is_stopped() -> None:
    asked: list[tuple[float, bool]] = []

    class Onlooker:
        def __init__(self, inner: Any) -> None:
            self.inner = inner

        def decide(self, now_s: float, seen: Snapshot) -> Decision:
            asked.append((now_s, seen.supply))
            decision: Decision = self.inner.decide(now_s, seen)
            return decision

    events = (
        happened(500.0, "controller stopped", for_s=2000.0),
        happened(700.0, "fails", "P1"),
        happened(800.0, "reset", "P1"),
    )
    Session(duplex(), episode(3000.0, 0.01, *events), observer=Onlooker).finish()
    between = [turn for turn in asked if 500.0 <= turn[0] < 2500.0]
    assert between == [(500.0, False)]  # it is told once, and loses its calls
    assert any(turn[0] == 2500.0 and turn[1] for turn in asked)


def test_hands_go_on_while_the_controller_is_stopped() -> None:
    events = (
        happened(100.0, "hand", "P2"),
        happened(200.0, "controller stopped"),
        happened(400.0, "auto", "P2"),
        happened(900.0, "put right", "panel"),
    )
    trace = run(*events, level_m=1.9, duration_s=1000.0).trace
    assert runs(trace)[-1] == (1, 100.0, 400.0, "selector in auto")
    assert told(trace, "controller runs again")[0][2] == "put right on site"


@pytest.mark.parametrize("floats", [OWN, SHARED])
def test_floats_take_over_when_the_controller_is_stopped(floats: BackupSettings) -> None:
    station = duplex(backup_floats=floats)
    trace = run(happened(1200.0, "controller stopped", for_s=2500.0), station=station).trace
    # its outputs drop at 1.6 m; the start float at 2.45 m is 850 s away
    first, *rest = sorted(trace.runs, key=lambda row: row.start_s)
    assert (first.stop_s, first.stopped_by) == (1200.0, "controller stopped")
    assert rest[0].start_s == pytest.approx(2050.0, abs=ABS)
    assert rest[0].started_by == "backup start float"
    assert rest[0].stopped_by == "backup stop float"
    assert told(trace, "floats take over", "floats hand back", "level signal distrusted") == [
        (1200.0, "floats take over", "nobody decides by level"),
        (3700.0, "floats hand back", "the controller decides again"),
    ]
    assert alarms(trace, "level signal failed") == []


def test_a_signal_that_is_lost_meanwhile_is_distrusted_when_the_controller_is_back() -> None:
    station = duplex(backup_floats=OWN)
    events = (
        happened(300.0, "controller stopped", for_s=700.0),
        happened(500.0, "level signal lost", "level sensor", 3000.0),
    )
    trace = run(*events, station=station).trace
    words = ("floats take over", "floats hand back", "level signal distrusted")
    assert [row[:2] for row in told(trace, *words)] == [
        (300.0, "floats take over"),
        (1000.0, "level signal distrusted"),
    ]
    assert alarms(trace, "level signal failed")[0][0] == 500.0
    (trusted,) = told(trace, "level signal trusted")
    assert alarms(trace, "level signal failed") == [(500.0, trusted[0], 500.0)]


def test_the_float_logic_of_a_panel_whose_controller_is_off_needs_no_level() -> None:
    class Blind:
        def decide(self, now_s: float, seen: Snapshot) -> Decision:
            assert not seen.supply, "the controller by level must not decide"
            return Decision()

    backup = FloatBackup(replace(OWN, frozen_after_s=60.0), Blind())
    pump = PumpSeen("P1", False, True, 0.0, 0, -math.inf, -math.inf, 0.0)
    seen = Snapshot(1.5, (pump,), True, 0.0, controller_on=False)
    assert backup.decide(0.0, seen).commands == ()
    (start,) = backup.decide(10.0, seen._replace(start_float=True)).commands
    assert (start.verb, start.cause) == ("start", "backup start float")
    runs_ = pump._replace(running=True)
    (stop,) = backup.decide(900.0, seen._replace(pumps=(runs_,), stop_float=False)).commands
    assert (stop.verb, stop.cause) == ("stop", "backup stop float")


# ---------------------------------------------------------------------- control breaker


def test_control_breaker_open_stops_every_electric_pump_in_hand_too() -> None:
    events = (
        happened(100.0, "hand", "P2"),
        happened(300.0, "control breaker open", for_s=500.0),
    )
    trace = run(*events, level_m=1.5).trace
    assert runs(trace)[0] == (1, 100.0, 300.0, "control power lost")
    assert runs(trace)[1][:2] == (1, 800.0)  # the selector still stands in hand
    assert told(trace, "control breaker open", "control breaker closed") == [
        (300.0, "control breaker open", "scripted"),
        (800.0, "control breaker closed", "by itself"),
    ]
    assert alarms(trace, "control power failed") == [(300.0, 800.0, 300.0)]


def test_no_pump_runs_while_the_breaker_is_open_and_the_engine_is_not_called() -> None:
    station = duplex(engine_pump=engine_pump(), backup_floats=SHARED)
    trace = run(happened(500.0, "control breaker open"), station=station).trace
    assert trace.runs == []
    assert trace.spilled_m3 > 0.0
    assert {row.state for row in trace.power if row.source == "E1"} == {"stopped"}


def test_floats_with_a_supply_of_their_own_go_on_while_the_breaker_is_open() -> None:
    station = duplex(backup_floats=OWN)
    events = (happened(1200.0, "control breaker open", for_s=3000.0),)
    trace = run(*events, station=station).trace
    first, second = sorted(trace.runs, key=lambda row: row.start_s)[:2]
    assert (first.stop_s, first.stopped_by) == (1200.0, "control power lost")
    assert second.start_s == pytest.approx(2050.0, abs=ABS)
    assert second.started_by == "backup start float"
    hand = (happened(100.0, "hand", "P2"), happened(300.0, "control breaker open", for_s=50.0))
    assert runs(run(*hand, station=station, duration_s=400.0).trace)[0][2] == 400.0


def test_breaker_and_controller_each_keep_it_off_by_themselves() -> None:
    both = (
        happened(500.0, "controller stopped", for_s=2000.0),
        happened(800.0, "control breaker open", for_s=400.0),
    )
    trace = run(*both, station=duplex(levels={"stop_m": 0.5})).trace
    assert runs(trace)[0][1] == 2500.0
    assert alarms(trace, "control power failed") == [(800.0, 1200.0, 800.0)]
    assert alarms(trace, "controller stopped") == [(500.0, 2500.0, 500.0)]


def test_with_the_grid_out_as_well_nothing_runs_until_both_are_back() -> None:
    events = (
        happened(500.0, "control breaker open", for_s=1500.0),
        happened(1000.0, "grid loss", "grid", 1400.0),
    )
    for floats in (None, OWN, SHARED):
        trace = run(*events, station=duplex(backup_floats=floats)).trace
        begins = min(row.start_s for row in trace.runs)
        assert begins == pytest.approx(2400.0 if floats is None else begins, abs=ABS)
        assert begins >= 2400.0


# ---------------------------------------------------------------------- alarms on that supply


def test_alarms_on_the_control_supply_are_dead_and_raise_what_still_holds() -> None:
    settings = AlarmSettings(high_level_m=1.5, high_level_delay_s=20.0, supply="control")
    station = duplex(alarms=settings)
    trace = run(happened(400.0, "control breaker open", for_s=300.0), station=station).trace
    # 1.5 m at 500 s while they are dead; live at 700 s, the delay counts anew
    assert alarms(trace, "high level")[0][0] == 720.0
    assert alarms(trace, "control power failed") == []
    # what is over before they are live again is never raised
    events = (
        happened(400.0, "control breaker open", for_s=300.0),
        happened(450.0, "fails", "P1", 100.0),
    )
    assert alarms(run(*events, station=station).trace, "pump failed") == []
    own = duplex(alarms=replace(settings, supply="own"))
    assert alarms(run(*events, station=own).trace, "pump failed") == [(450.0, 550.0, 450.0)]


def test_a_delay_that_runs_when_they_die_begins_anew() -> None:
    settings = AlarmSettings(high_level_m=1.5, high_level_delay_s=60.0, supply="control")
    station = duplex(alarms=settings)
    trace = run(happened(530.0, "control breaker open", for_s=100.0), station=station).trace
    assert alarms(trace, "high level")[0][0] == 690.0


# ---------------------------------------------------------------------- telemetry, an alarm off


def test_alarms_raised_while_telemetry_is_lost_are_sent_when_it_is_back() -> None:
    settings = AlarmSettings(high_level_m=1.5, telemetry_lost_delay_s=90.0)
    events = (
        happened(100.0, "telemetry lost", "telemetry", 900.0),
        happened(200.0, "fails", "P2", 300.0),
    )
    result = run(*events, station=duplex(alarms=settings))
    trace = result.trace
    assert alarms(trace, "telemetry lost") == [(190.0, 1000.0, 190.0)]
    assert alarms(trace, "pump failed") == [(200.0, 500.0, math.nan)]  # gone before it was sent
    assert alarms(trace, "high level")[0] == (500.0, 1250.0, 1000.0)
    assert told(trace, "alarm sent") == [(1000.0, "alarm sent", "high level: telemetry is back")]
    assert alarms(trace, "high level")[1][0] == alarms(trace, "high level")[1][2]
    table = result.alarms
    assert list(table.columns[-2:]) == ["sent_time", "sent_s"]
    gone = table.loc[table["alarm"] == "pump failed"].iloc[0]
    assert gone["sent_time"] == ""
    assert math.isnan(gone["sent_s"])
    assert table.loc[table["alarm"] == "telemetry lost", "sent_time"].iloc[0].endswith("+00:00")


def test_an_alarm_of_the_instant_at_which_telemetry_is_lost_was_not_sent() -> None:
    events = (
        happened(200.0, "fails", "P2", 3000.0),
        happened(200.0, "telemetry lost", "telemetry", 900.0),
    )
    for pair in (events, events[::-1]):
        assert alarms(run(*pair).trace, "pump failed") == [(200.0, 3200.0, 1100.0)]


def test_a_short_loss_of_telemetry_is_nobodys_alarm() -> None:
    settings = AlarmSettings(telemetry_lost_delay_s=90.0)
    trace = run(
        happened(100.0, "telemetry lost", "telemetry", 80.0), station=duplex(alarms=settings)
    ).trace
    assert trace.alarms == []
    assert told(trace, "telemetry lost", "telemetry back") == [
        (100.0, "telemetry lost", "scripted"),
        (180.0, "telemetry back", "by itself"),
    ]


def test_an_alarm_that_is_off_is_raised_when_it_is_on_again_and_still_holds() -> None:
    station = duplex(alarms=AlarmSettings(high_level_m=1.5))
    off = happened(100.0, "alarm off", "high level", 800.0)
    trace = run(off, station=station).trace
    assert alarms(trace, "high level")[0][:2] == (900.0, 1250.0)
    assert told(trace, "alarm off", "alarm on") == [
        (100.0, "alarm off", "scripted"),
        (900.0, "alarm on", "by itself"),
    ]
    # never on again: never raised; others are
    trace = run(replace(off, duration_s=None), happened(1.0, "fails", "P1"), station=station).trace
    assert alarms(trace, "high level") == []
    assert alarms(trace, "pump failed")[0][0] == 1.0
    # its condition has gone before
    trace = run(replace(off, duration_s=1250.0), station=station, duration_s=1900.0).trace
    assert alarms(trace, "high level") == []


def test_a_delay_goes_on_while_its_alarm_is_off() -> None:
    station = duplex(alarms=AlarmSettings(high_level_m=1.5, high_level_delay_s=300.0))
    off = happened(100.0, "alarm off", "high level", 600.0)
    assert alarms(run(off, station=station).trace, "high level")[0][0] == 800.0
    off = happened(100.0, "alarm off", "high level", 760.0)
    assert alarms(run(off, station=station).trace, "high level")[0][0] == 860.0


# ---------------------------------------------------------------------- hands for a time


def test_hand_and_off_for_a_time_go_back_to_what_was_before() -> None:
    trace = run(happened(100.0, "hand", "P1", 200.0)).trace
    assert runs(trace)[0] == (0, 100.0, 300.0, "selector in auto")
    assert told(trace, "in hand", "in auto") == [
        (100.0, "in hand", "by hand"),
        (300.0, "in auto", "by hand"),
    ]
    trace = run(happened(100.0, "off", "P1"), happened(200.0, "hand", "P1", 100.0)).trace
    assert runs(trace)[0] == (0, 200.0, 300.0, "selector in off")


def test_a_selector_that_was_turned_meanwhile_stays_where_it_is() -> None:
    events = (
        happened(100.0, "off", "P1", 500.0),
        happened(300.0, "off", "P1"),
        happened(100.0, "off", "P2", 500.0),
        happened(300.0, "auto", "P2"),
    )
    trace = run(*events).trace
    assert told(trace, "off") == [(100.0, "off", "by hand")] * 2
    assert told(trace, "in auto") == [(300.0, "in auto", "by hand")]
    assert {row.machine for row in trace.runs} == {1}


def test_a_renewed_hand_lasts_its_own_time_and_goes_back_to_the_first() -> None:
    events = (happened(100.0, "off", "P1", 500.0), happened(300.0, "off", "P1", 1000.0))
    assert told(run(*events).trace, "in auto") == [(1300.0, "in auto", "by hand")]


# ---------------------------------------------------------------------- two tellings


def test_a_spill_is_seen_by_its_alarm_if_that_was_sent_while_it_lasted() -> None:
    # both pumps off: 3.0 m at 2000 s, 4.0 m at 3000 s; on again at 4000 s
    away = (happened(10.0, "off", "P1", 3990.0), happened(10.0, "off", "P2", 3990.0))
    seen = {
        "alarm": (happened(50.0, "telemetry lost", "telemetry", 3500.0),),
        "site": (happened(50.0, "telemetry lost", "telemetry", 5000.0),),
        "nobody": (happened(50.0, "alarm off", "high level"),),
    }
    for said, events in seen.items():
        result = run(*away, *events, duration_s=5900.0)
        assert list(result.spills["seen"]) == [said]
        assert result.spills.columns[-1] == "seen"
    assert list(run(*away).spills["seen"]) == ["alarm"]


@pytest.mark.parametrize(("early_s", "seen"), [(0.0, "site"), (1.0, "alarm")])
def test_an_alarm_that_goes_out_as_the_spill_ends_is_told_alike_by_table_and_sentence(
    early_s: float, seen: str
) -> None:
    away = (happened(10.0, "off", "P1", 3990.0), happened(10.0, "off", "P2", 3990.0))
    result = run(*away)
    (spill,) = result.trace.spills
    result.trace.alarms = [
        row._replace(sent_s=spill.stop_s - early_s) if row.alarm == "high level" else row
        for row in result.trace.alarms
    ]
    assert list(result.spills["seen"]) == [seen]
    assert ("the high-level alarm was sent at" in result.sentences()[0]) == (seen == "alarm")


def test_states_of_power_say_by_what_they_are_seen() -> None:
    loss = happened(100.0, "grid loss", "grid", 500.0)
    table = run(loss, station=duplex(engine_pump=engine_pump()), level_m=3.5).power
    by_state = {(a, b): c for a, b, c in zip(table["source"], table["state"], table["seen"])}  # noqa: B905
    assert by_state["grid", "on"] == "panel"
    assert by_state["grid", "out"] == "alarm"
    assert by_state["E1", "starting"] == "site"
    assert by_state["E1", "running"] == "panel"


def test_the_book_by_hours_does_not_know_of_the_trouble() -> None:
    clogged = replace(happened(0.0, "clogged", "P1"), flow_left=0.6)
    result = run(clogged, inflow=0.005)
    table = result.pump_runs
    assert table.columns[-1] == "volume_by_hours_m3"
    first = table.iloc[0]
    assert first["pump"] == "P1"
    assert first["volume_m3"] == pytest.approx(0.6 * 0.03 * first["duration_s"])
    assert list(table["volume_by_hours_m3"]) == pytest.approx(0.03 * table["duration_s"])
    totals = result.pump_totals
    assert totals.columns[-1] == "volume_by_hours_m3"
    assert list(totals["volume_by_hours_m3"]) == pytest.approx(0.03 * 3600.0 * totals["hours_h"])


def test_the_book_of_a_pump_with_a_curve_takes_it_alone_in_the_middle_of_its_range() -> None:
    curve = HeadCurve.from_points((0.0, 0.02, 0.04, 0.06), (24.0, 21.5, 16.0, 8.0))
    station = duplex()
    units = tuple(replace(unit, fixed_flow_m3s=None, curve=curve) for unit in station.pumps)
    station = replace(station, pumps=units, force_main=ForceMain((Pipe(600.0, 0.2),), 9.0))
    result = run(station=station, inflow=0.05, duration_s=4000.0)
    flow = operating_point(units[:1], station.force_main, 1.5).total_m3s
    table = result.pump_runs
    assert list(table["volume_by_hours_m3"]) == pytest.approx(flow * table["duration_s"])
    both = table.loc[table["role"] == "lag"].iloc[0]
    assert both["volume_m3"] < both["volume_by_hours_m3"]  # beside another one it gives less
    shared = run(station=reference_station(), duration_s=20_000.0).pump_runs
    assert list(shared["volume_by_hours_m3"]) == pytest.approx(0.030 * shared["duration_s"])


# ---------------------------------------------------------------------- why, and the words


def test_why_names_the_breaker_and_the_controller_and_the_floats() -> None:
    def answer(at: str, station: Station, *events: ScriptedEvent) -> str:
        what = episode(6000.0, 0.01, *events)
        return "\n".join(ask_why(station, what, at, "P1"))

    stopped = happened(300.0, "controller stopped", for_s=3000.0)
    said = answer("day 1 00:40", duplex(), stopped)
    assert "P1 did not run: the controller was stopped since Mon 00:05" in said
    opened = happened(300.0, "control breaker open", for_s=3000.0)
    for station in (duplex(), duplex(backup_floats=SHARED)):
        said = answer("day 1 00:40", station, opened)
        assert "P1 did not run: the control breaker was open since Mon 00:05" in said
    said = answer("day 1 00:10", duplex(backup_floats=OWN), opened)
    assert "the panel went by its backup floats" in said
    assert "nobody decides by level" in said
    wrong = replace(happened(0.0, "level signal off", "level sensor"), amount=-0.5)
    said = answer("day 1 00:20", duplex(), wrong)
    assert "the panel saw the level at 1.70 m" in said
    assert "In truth the level" in said


def test_all_that_is_said_stands_in_the_vocabulary() -> None:
    settings = AlarmSettings(high_level_m=1.8, low_level_m=1.2, telemetry_lost_delay_s=60.0)
    station = duplex(backup_floats=OWN, alarms=settings)
    level = "level sensor"
    events = (
        replace(happened(100.0, "level signal off", level, 900.0), amount=0.2),
        replace(happened(200.0, "level signal noisy", level, 900.0), amount=0.02),
        replace(happened(250.0, "level signal late", level, 900.0), amount=20.0),
        replace(happened(260.0, "level signal drifting", level), amount=0.1, per_s=3600.0),
        replace(happened(300.0, "float late", "start float", 900.0), amount=20.0),
        happened(400.0, "float stuck up", "high level float", 900.0),
        happened(450.0, "telemetry lost", "telemetry", 900.0),
        happened(1500.0, "alarm off", "low level", 300.0),
        happened(2000.0, "controller stopped", for_s=1500.0),
        happened(4000.0, "control breaker open", for_s=500.0),
        happened(4800.0, "float stuck down", "start float", 100.0),
        happened(5000.0, "put right", level),
    )
    result = run(*events, station=station)
    events_ = {entry.word for entry in vocabulary.EVENTS}
    table = result.events
    assert set(table["event"]) <= events_
    assert set(result.alarms["alarm"]) <= {entry.word for entry in vocabulary.ALARMS}
    causes = {*table["cause"], *result.pump_runs["started_by"], *result.pump_runs["stopped_by"]}
    assert [cause for cause in sorted(causes) if vocabulary.cause_of(cause) is None] == []
    assert len(result.sentences()) >= 3


# ---------------------------------------------------------------------- freezing


def test_pieces_freezes_and_one_go_are_the_same_while_all_of_it_stands() -> None:
    settings = AlarmSettings(
        high_level_m=1.8, high_level_delay_s=40.0, telemetry_lost_delay_s=60.0, supply="control"
    )
    station = duplex(backup_floats=OWN, alarms=settings)
    events = (
        happened(300.0, "telemetry lost", "telemetry", 2500.0),
        happened(700.0, "control breaker open", for_s=900.0),
        happened(1900.0, "controller stopped", for_s=1500.0),
        happened(2500.0, "alarm off", "high level", 2500.0),
        happened(2600.0, "off", "P2", 700.0),
        happened(4500.0, "control breaker open", for_s=900.0),
    )
    what = episode(9000.0, 0.012, *events)
    whole = Session(station, what).finish().trace
    session = Session(station, what)
    for n in range(1, 36):
        session.advance(n * 250.0 + 3.0)
        session = Session.resume(session.freeze())
    pieces = session.finish().trace
    assert pieces.events == whole.events
    assert pieces.runs == whole.runs
    assert repr(pieces.alarms) == repr(whole.alarms)


def test_floats_that_stood_in_for_a_stopped_controller_blame_no_sound_signal() -> None:
    # the floats' own cycle runs down to the stop float after the controller is back
    what = duplex(backup_floats=BackupSettings(2.4, 0.6))
    stop = happened(500.0, "controller stopped", "panel", 1200.0)
    result = run(stop, station=what, level_m=1.0, inflow=0.012)
    trace = result.trace
    assert [row[0] for row in told(trace, "floats take over")] == [500.0]
    assert any(row.stopped_by == "backup stop float" for row in trace.runs)
    assert [row for row in trace.alarms if row.alarm == "level signal failed"] == []
    assert told(trace, "level signal distrusted") == []
    assert [row[1] for row in told(trace, "floats hand back")] == ["floats hand back"]

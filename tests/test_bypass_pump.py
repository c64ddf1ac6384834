"""The bypass pump: when it is there, its own floats, what ends a run of it, and its words.

10 L/s in, 10 m2, bypass pump 40 L/s, start 3.2 m, stop 1.2 m, 60 s of delay, 10 s of cranking,
20 s of warming up and 30 s of priming: 120 s from the call to full flow. From 1.0 m with the grid
out the level is 1.0 m + 1 mm/s. Connected at 2500 s, at 2.5 m + 1.0 m: called at once, running at
2620 s at 3.62 m, down to the stop level after another 2.42 m / 0.003 m/s = 806.667 s. Own closed
forms, worked by hand. The start rule is common practice (no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from everything import everything
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scenario_texts import CURVED, DUPLEX, changed

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import InputError
from stationsim.outline import set_levels
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.operating import operating_point
from stationsim.physics.pumps import HeadCurve
from stationsim.physics.spill import Spillway
from stationsim.results import Result
from stationsim.scenario.load import load, load_scenario
from stationsim.simulation.session import Session, simulate
from stationsim.studies.acceptance import acceptance
from stationsim.studies.check.fitness import criteria_of
from stationsim.studies.rehearse.hours import HoursAsked, station_hours
from stationsim.studies.rehearse.now import NowAsked, lineups
from stationsim.testing import bypass_pump, duplex, engine_pump, episode
from stationsim.trace import PumpRun, Trace
from stationsim.why.asking import ask_why
from stationsim.wording import sentences

UP_S = 2620.0
DOWN_S = UP_S + 2.42 / 0.003
ABS = 1e-6
START = {"crank_s": 10.0, "warm_up_s": 20.0, "prime_s": 30.0}


def event(
    at_s: float, kind: EventKind, subject: str = "bypass pump", lasts_s: float | None = None
) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, lasts_s)


def connected(at_s: float = 2500.0) -> ScriptedEvent:
    return event(at_s, "bypass pump connected")


def disconnected(at_s: float) -> ScriptedEvent:
    return event(at_s, "bypass pump disconnected")


OUT = event(0.0, "grid loss", "grid")


def ran(*events: ScriptedEvent, duration_s: float = 4000.0, **bypass: Any) -> Result:
    station = replace(duplex(bypass_pump=bypass_pump(**START | bypass)), spillway=Spillway(6.0))
    result = simulate(station, episode(duration_s, 0.01, *events, start_level_m=1.0))
    assert result.trace.balance_error < 1e-9
    return result


def bypass_runs(trace: Trace) -> list[PumpRun]:
    return [r for r in trace.runs if r.role == "bypass"]


def states(trace: Trace) -> list[tuple[str, float, str]]:
    return [(p.state, round(p.start_s, 6), p.cause) for p in trace.power if p.source == "B1"]


def words(trace: Trace) -> list[tuple[float, str, str]]:
    return [(round(e.t_s, 6), e.event, e.cause) for e in trace.events if e.subject == "B1"]


# ---------------------------------------------------------------------- there, and not there


def test_until_it_is_connected_it_is_not_there() -> None:
    with_it, without = (
        ran(OUT),
        simulate(
            replace(duplex(), spillway=Spillway(6.0)), episode(4000.0, 0.01, OUT, start_level_m=1.0)
        ),
    )
    assert with_it.trace.runs == []
    assert states(with_it.trace) == [("not connected", 0.0, "start of the run")]
    assert with_it.trace.events == without.trace.events
    assert with_it.trace.end_m3 == without.trace.end_m3


def test_connected_with_the_level_high_it_cranks_warms_up_primes_and_runs_to_its_stop() -> None:
    trace = ran(OUT, connected()).trace
    (only,) = bypass_runs(trace)
    assert (only.machine, only.energy_j) == (2, 0.0)
    assert only.start_s == pytest.approx(UP_S, abs=ABS)
    assert only.stop_s == pytest.approx(DOWN_S, abs=ABS)
    assert only.volume_m3 == pytest.approx(0.04 * (DOWN_S - UP_S), rel=1e-9)
    assert (only.started_by, only.stopped_by) == ("level at start 3.20 m", "level at stop 1.20 m")
    assert trace.greatest_level_m == pytest.approx(3.62, abs=1e-9)
    assert [(state, at) for state, at, _cause in states(trace)] == [
        ("not connected", 0.0),
        ("starting", 2500.0),
        ("running", UP_S),
        ("stopped", round(DOWN_S, 6)),
    ]
    assert [word for _t, word, _cause in words(trace)] == [
        "bypass pump connected", "engine called", "start", "stop",
    ]  # fmt: skip


def test_connected_before_it_waits_for_its_start_level_and_starts_there_again() -> None:
    trace = ran(OUT, connected(100.0), duration_s=6000.0).trace
    first, second = bypass_runs(trace)
    # at 3.2 m after 2200 s, running at 3.32 m; then up from 1.2 m again
    assert first.start_s == pytest.approx(2320.0, abs=ABS)
    assert first.stop_s == pytest.approx(2320.0 + 2.12 / 0.003, abs=ABS)
    assert second.start_s - first.stop_s == pytest.approx(2000.0 + 120.0, abs=ABS)


def test_it_starts_whether_the_grid_is_on_or_not_and_ends_with_its_floats() -> None:
    hands = (event(0.0, "off", "P1"), event(0.0, "off", "P2"))
    on = ran(*hands, connected(100.0)).trace
    back = ran(event(0.0, "grid loss", "grid", 2500.0), *hands, connected(100.0)).trace
    for trace in (on, back):
        (only,) = bypass_runs(trace)
        assert only.start_s == pytest.approx(2320.0, abs=ABS)
        assert only.stop_s == pytest.approx(2320.0 + 2.12 / 0.003, abs=ABS)


def test_taken_off_it_stops_at_once_and_starts_no_more() -> None:
    trace = ran(OUT, connected(), disconnected(3000.0), duration_s=6000.0).trace
    (only,) = bypass_runs(trace)
    assert (only.stop_s, only.stopped_by) == (3000.0, "bypass pump disconnected")
    assert states(trace)[-1] == ("not connected", 3000.0, "bypass pump disconnected")
    # 3.62 m less 380 s at 3 mm/s, then up again at 1 mm/s
    assert trace.greatest_level_m == pytest.approx(3.62 - 1.14 + 3.0, abs=1e-9)


def test_taken_off_while_it_starts_it_gives_up_and_an_old_crank_counts_no_more() -> None:
    trace = ran(OUT, connected(), disconnected(2560.0), connected(2565.0)).trace
    (only,) = bypass_runs(trace)
    assert only.start_s == pytest.approx(2565.0 + 120.0, abs=ABS)
    assert (2560.0, "call given up", "bypass pump disconnected") in words(trace)


def test_a_start_is_given_up_when_others_have_pumped_the_level_down_to_its_stop() -> None:
    # two electric pumps and 60 L/s draw 2.3 m within 460 s; B1 would need 600 s
    grid = event(0.0, "grid loss", "grid", 2600.0)
    trace = ran(grid, connected(), start_delay_s=600.0).trace
    assert bypass_runs(trace) == []
    given_up = next(row for row in words(trace) if row[1] == "call given up")
    assert given_up == (2500.0 + 610.0, "call given up", "level at stop 1.20 m")


@pytest.mark.parametrize(
    ("events", "refused"),
    [
        ((connected(), connected(2700.0)), (2700.0, "it is connected")),
        ((disconnected(2700.0),), (2700.0, "it is not connected")),
        (
            (connected(), disconnected(2700.0), disconnected(2700.0)),
            (2700.0, "it is not connected"),
        ),
    ],
)
def test_what_cannot_be_connected_or_taken_off_is_refused(
    events: tuple[ScriptedEvent, ...], refused: tuple[float, str]
) -> None:
    trace = ran(OUT, *events).trace
    rows = [(t, cause) for t, word, cause in words(trace) if word == "connection refused"]
    assert rows == [refused]


def test_a_station_that_has_none_refuses_it() -> None:
    trace = simulate(duplex(), episode(100.0, 0.01, connected(10.0), disconnected(20.0))).trace
    rows = [(e.t_s, e.subject, e.cause) for e in trace.events if e.event == "connection refused"]
    assert rows == [
        (10.0, "bypass pump", "the station has none"),
        (20.0, "bypass pump", "the station has none"),
    ]


# ---------------------------------------------------------------------- trouble, hands, fuel


def test_what_befalls_it_while_it_is_away_is_found_when_it_is_called() -> None:
    trace = ran(OUT, event(100.0, "battery flat", "B1"), connected()).trace
    assert bypass_runs(trace) == []
    assert (2500.0, "does not crank", "battery flat") in words(trace)
    alarms = [(a.alarm, a.subject, a.raised_s) for a in trace.alarms if a.subject == "B1"]
    assert alarms == [("engine failed", "B1", 2500.0)]
    assert states(trace)[-1][:2] == ("failed", 2500.0)


def test_put_right_and_reset_it_runs() -> None:
    flat = event(100.0, "battery flat", "B1")
    mend = (event(2700.0, "put right", "B1"), event(2710.0, "reset", "B1"))
    (only,) = bypass_runs(ran(OUT, flat, connected(), *mend).trace)
    assert only.start_s == pytest.approx(2710.0 + 120.0, abs=ABS)


def test_it_cranks_in_vain_as_often_as_it_may() -> None:
    fails = event(0.0, "fails to start", "B1")
    trace = ran(OUT, fails, connected(), crank_tries=3, crank_rest_s=15.0).trace
    vain = [t for t, word, _cause in words(trace) if word == "crank failed"]
    assert vain == [2570.0, 2595.0, 2620.0]
    assert states(trace)[-1] == ("failed", 2620.0, "did not fire")


def test_of_two_sets_each_has_its_own_trouble() -> None:
    station = duplex(engine_pump=engine_pump(), bypass_pump=bypass_pump(start_level_m=3.4))
    events = (OUT, connected(10.0), event(20.0, "fails to prime", "E1"))
    trace = simulate(station, episode(4000.0, 0.01, *events, start_level_m=1.0)).trace
    engine, bypass = (next(r for r in trace.runs if r.machine == n) for n in (2, 3))
    assert (engine.role, engine.volume_m3) == ("engine-driven", 0.0)
    assert bypass.role == "bypass"
    # nothing is pumped until 3.4 m at 2400 s and 60 s more
    assert bypass.start_s == pytest.approx(2460.0, abs=ABS)
    assert station.machine_names() == ("P1", "P2", "E1", "B1")


def test_hands_out_of_service_and_fuel() -> None:
    by_hand = ran(OUT, connected(100.0), event(200.0, "hand", "B1"), event(600.0, "auto", "B1"))
    only = bypass_runs(by_hand.trace)[0]
    assert (only.start_s, only.stop_s) == (320.0, 600.0)
    assert only.started_by == "selector in hand"
    not_there = ran(OUT, event(200.0, "hand", "B1"), connected(700.0)).trace
    assert bypass_runs(not_there)[0].start_s == pytest.approx(820.0, abs=ABS)
    out = ran(OUT, connected(), event(2700.0, "out of service", "B1", 300.0)).trace
    first = bypass_runs(out)[0]
    assert (first.stop_s, first.stopped_by) == (2700.0, "out of service")
    dry = ran(OUT, connected(), fuel_m3_per_s=2e-6, tank_m3=2e-6 * 300.0)
    (only,) = bypass_runs(dry.trace)
    assert only.stop_s - only.start_s == pytest.approx(300.0, abs=ABS)
    burnt = dry.summary.set_index(["metric", "subject"])["value"]["fuel burnt"]
    assert burnt["B1"] == burnt["station"] == pytest.approx(6e-4, rel=1e-9)


def test_fuel_of_two_sets_is_counted_by_itself() -> None:
    station = duplex(
        engine_pump=engine_pump(fuel_m3_per_s=3e-6),
        bypass_pump=bypass_pump(fuel_m3_per_s=5e-6, start_level_m=3.3),
    )
    result = simulate(station, episode(9000.0, 0.01, OUT, connected(10.0), start_level_m=1.0))
    hours = result.pump_totals.set_index("pump")["hours_h"]
    burnt = result.summary.set_index(["metric", "subject"])["value"]["fuel burnt"]
    assert hours["E1"] > 0.0
    assert burnt["E1"] == pytest.approx(3e-6 * 3600.0 * hours["E1"], rel=1e-9)
    assert burnt["B1"] == pytest.approx(5e-6 * 3600.0 * hours["B1"], rel=1e-9)
    assert burnt["station"] == pytest.approx(burnt["E1"] + burnt["B1"], rel=1e-12)


# ---------------------------------------------------------------------- the water


def test_it_shares_the_header_with_the_pumps_that_run() -> None:
    curve = HeadCurve.from_points((0.0, 0.02, 0.04, 0.06), (24.0, 21.5, 16.0, 8.0))
    main = ForceMain((Pipe(600.0, 0.2),), 9.0)
    bypass = bypass_pump(pump=PumpUnit("B1", curve=curve, branch=Pipe(20.0, 0.15)))
    pumps = tuple(PumpUnit(name, curve=curve) for name in ("P1", "P2"))
    station = replace(duplex(bypass_pump=bypass), pumps=pumps, force_main=main)
    what = episode(600.0, 0.08, connected(1.0), start_level_m=3.3)
    result = simulate(station, what)
    flows = result.sampled(np.array([500.0]))
    level_m = float(result.level_at(np.array([500.0]))[0])
    point = operating_point([*pumps, bypass.pump], main, level_m)
    assert float(flows.pumped_m3s[0]) == pytest.approx(point.total_m3s, rel=1e-4)
    alone = operating_point([*pumps], main, level_m).total_m3s
    assert alone < point.total_m3s < 1.5 * alone


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(
        st.tuples(
            st.floats(1.0, 8000.0),
            st.sampled_from(
                [
                    ("bypass pump connected", "bypass pump", None),
                    ("bypass pump disconnected", "bypass pump", None),
                    ("fails", "B1", 500.0),
                    ("fails to prime", "B1", 900.0),
                    ("hand", "B1", 700.0),
                    ("grid loss", "grid", 1500.0),
                ]
            ),
        ),
        max_size=9,
    ),
    st.floats(0.0, 9000.0),
    st.floats(0.004, 0.09),
)
def test_mass_closes_and_frozen_sessions_go_on_alike(
    what: list[tuple[float, tuple[EventKind, str, float | None]]], at_s: float, inflow_m3s: float
) -> None:
    events = [ScriptedEvent(at, kind, who, lasts) for at, (kind, who, lasts) in what]
    # with a transfer of no use there is no story that keeps a session from being frozen
    station = replace(
        everything(), exercise=None, bypass_pump=bypass_pump(prime_limit_s=120.0, **START)
    )
    story = episode(9000.0, inflow_m3s, *events, start_level_m=1.0)
    whole = simulate(station, story)
    trace = whole.trace
    assert trace.balance_error < 1e-9
    there = [(p.start_s, p.stop_s) for p in trace.power if (p.source, p.state) == ("B1", "running")]
    assert [(r.start_s, r.stop_s) for r in bypass_runs(trace)] == there
    session = Session(station, story)
    session.advance(at_s)
    again = Session.resume(session.freeze()).finish().trace
    assert (again.runs, again.events, again.power) == (trace.runs, trace.events, trace.power)
    assert again.end_m3 == trace.end_m3


def test_connected_in_an_outage_it_is_an_engine_driven_pump_by_another_name() -> None:
    story = episode(20_000.0, 0.012, OUT, connected(0.0), start_level_m=1.0)
    unit = replace(engine_pump().pump, name="B1")
    first, second = (
        simulate(station, story).trace
        for station in (
            duplex(engine_pump=engine_pump(pump=unit, **START)),
            duplex(bypass_pump=bypass_pump(**START)),
        )
    )
    times = [[(r.start_s, r.stop_s, r.volume_m3) for r in t.runs] for t in (first, second)]
    assert len(times[0]) > 3
    assert times[0] == times[1]
    assert first.end_m3 == second.end_m3


# ---------------------------------------------------------------------- text

STOP = 'stop = "1.0 m"\n'
BYPASS = '[bypass_pump]\nflow = "40 L/s"\nstart = "2.0 m"\nstop = "1.0 m"\n'
TEXT = changed("[control]", f"{BYPASS}[control]")
EVENT = '[event.a]\ntext = "{}"\n[episode]'


def loaded(text: str, folder: Path, **more: Any) -> Any:
    file = folder / "station.toml"
    file.write_text(text)
    return load(file, **more)


def test_every_key_of_its_table_is_read(tmp_path: Path) -> None:
    keys = (
        'name = "Hired"\nstart_delay = "30 s"\ncrank_tries = 2\ncrank_time = "10 s"\n'
        'crank_rest = "5 s"\nwarm_up = "20 s"\nprime = "25 s"\nprime_limit = "2 min"\n'
        'fuel_rate = "6 L/h"\ntank = "60 L"\n'
    )
    text = changed("[control]", f"{BYPASS}{keys}[control]")
    found = loaded(text, tmp_path).station.bypass_pump
    assert found.pump == PumpUnit("Hired", fixed_flow_m3s=0.04)
    assert (found.start_level_m, found.stop_level_m) == (2.0, 1.0)
    assert (found.start_delay_s, found.crank_tries, found.crank_s) == (30.0, 2, 10.0)
    assert (found.crank_rest_s, found.warm_up_s, found.prime_s) == (5.0, 20.0, 25.0)
    assert found.prime_limit_s == 120.0
    assert found.fuel_m3_per_s == pytest.approx(6e-3 / 3600.0)
    assert found.tank_m3 == pytest.approx(0.06)
    plain = loaded(TEXT, tmp_path)
    assert plain.station.bypass_pump.pump.name == "B1"
    assert plain.station.bypass_pump.tank_m3 == math.inf
    assert loaded(
        TEXT, tmp_path, sets=['bypass_pump.start="2.2 m"']
    ).station.bypass_pump == replace(plain.station.bypass_pump, start_level_m=2.2)


def test_its_connection_and_the_pump_stand_side_by_side(tmp_path: Path) -> None:
    text = changed("[control]", f'{BYPASS}[bypass]\ndiameter = "150 mm"\n[control]')
    station = loaded(text, tmp_path).station
    assert station.ratings.bypass is not None
    assert station.bypass_pump is not None


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('start = "2.0 m"\n', "", "bypass_pump.start: is missing"),
        (STOP, 'stop = "2.0 m"\n', "must lie below bypass_pump.start"),
        ('start = "2.0 m"\n', 'start = "4.2 m"\n', "bypass_pump.start: must lie below the spill"),
        ('flow = "40 L/s"\nstart', "start", "bypass_pump: has neither flow nor curve"),
        (
            'flow = "40 L/s"\nstart',
            'curve = {flow = ["0 L/s", "40 L/s"], head = ["20 m", "5 m"]}\nstart',
            "bypass_pump: has a curve and there is no [force_main] to pump into",
        ),
        (STOP, STOP + 'name = "P2"\n', "'P2' is a name of another pump"),
        (STOP, STOP + 'name = "bypass"\n', "bypass_pump: is no name for a pump"),
        (STOP, STOP + 'crank_tries = 0\n', "an engine is cranked once or a few"),
        (STOP, STOP + 'at_grid_return = "stop"\n', "at_grid_return"),
        (STOP, STOP + 'strat_delay = "3 s"\n', "start_delay"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_its_table_is_told(
    old: str, new: str, said: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as told:
        loaded(changed(old, new, TEXT), tmp_path)
    assert said in str(told.value)


def test_the_names_of_engine_and_bypass_pump_differ(tmp_path: Path) -> None:
    engine = '[engine_pump]\nname = "B1"\nflow = "40 L/s"\nstart = "2.1 m"\nstop = "1.0 m"\n'
    with pytest.raises(InputError, match=r"bypass_pump.name.*'B1' is a name of another pump"):
        loaded(changed("[control]", f"{engine}{BYPASS}[control]"), tmp_path)


def test_a_curve_and_a_main_will_do(tmp_path: Path) -> None:
    curve = 'curve = {flow = ["0 L/s", "40 L/s"], head = ["20 m", "5 m"]}\n'
    bypass = BYPASS.replace('flow = "40 L/s"\n', curve)
    station = loaded(changed("[control]", f"{bypass}[control]", CURVED), tmp_path).station
    assert station.bypass_pump.pump.curve is not None


@pytest.mark.parametrize(
    ("what", "kind", "subject"),
    [
        ("bypass pump connected", "bypass pump connected", "bypass pump"),
        ("Bypass Pump disconnected", "bypass pump disconnected", "bypass pump"),
        ("B1 out of service for 2 h", "out of service", "B1"),
        ("B1 fails to start", "fails to start", "B1"),
        ("B1 fails to prime for 1 h", "fails to prime", "B1"),
        ("B1 battery flat", "battery flat", "B1"),
    ],
)
def test_events_of_it_are_read(what: str, kind: str, subject: str, tmp_path: Path) -> None:
    text = TEXT.replace("[episode]", EVENT.format(f"07:00 {what}"))
    (only,) = loaded(text, tmp_path).episode.events
    assert (only.kind, only.subject) == (kind, subject)


@pytest.mark.parametrize(
    ("text", "what", "said"),
    [
        (DUPLEX, "bypass pump connected", "this station has no bypass pump that can be brought"),
        (DUPLEX, "bypass pump disconnected", "[bypass_pump] is missing"),
        (TEXT, "bypass pump connected for 2 h", "until a later 'bypass pump disconnected'"),
        (TEXT, "bypass pump arrives", "did you mean 'bypass pump connected'?"),
        (TEXT, "portable pump removed", "did you mean 'bypass pump disconnected'?"),
        (TEXT, "P1 battery flat", "'battery flat' happens to a pump with an engine only: B1"),
        (TEXT, "B1 overload", "electric pump only, and B1 is engine-driven; accepted: P1, P2"),
        (TEXT, "B2 fails", "no pump is called 'B2'; this station has P1, P2, B1"),
    ],
)  # fmt: skip
def test_events_that_cannot_be_are_told(text: str, what: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as told:
        loaded(text.replace("[episode]", EVENT.format(f"07:00 {what}")), tmp_path)
    assert said in str(told.value)


def test_it_comes_by_no_chance(tmp_path: Path) -> None:
    random = '[random.a]\nwhat = "bypass pump connected"\nrate = "1 per year"\n[episode]'
    with pytest.raises(InputError, match="bypass pump connected"):
        loaded(TEXT.replace("[episode]", random), tmp_path)


# ---------------------------------------------------------------------- sentences, why, studies


def test_sentences_tell_that_it_came_how_long_it_ran_and_what_it_pumped() -> None:
    result = ran(OUT, connected(), disconnected(3900.0), fuel_m3_per_s=1e-6)
    (said,) = [one for one in sentences(result) if one.startswith("The bypass pump")]
    assert said == (
        "The bypass pump B1 was connected at Mon 00:42 and taken off at Mon 01:05; it ran for "
        "13 min, pumped 32.3 m3 and burnt 0.807 L of fuel."
    )
    outage = next(one for one in sentences(result) if one.startswith("The grid was out"))
    assert "the bypass pump B1 ran for 13 min" in outage
    assert "no pump could run" not in outage


def test_sentences_tell_that_it_was_of_no_use_or_not_there() -> None:
    idle = ran(connected(100.0), duration_s=1000.0)
    (said,) = [one for one in sentences(idle) if one.startswith("The bypass pump")]
    assert said == (
        "The bypass pump B1 was connected at Mon 00:02 and was still there at the end; it did not "
        "run (the level stayed below its start level)."
    )
    away = ran(OUT, duration_s=1000.0)
    assert not any("bypass" in one for one in sentences(away))
    assert any("no pump could run" in one for one in sentences(away))


@pytest.mark.parametrize(
    ("at", "said"),
    [
        ("00:30", "B1 did not run: it was not connected; nobody had brought it yet."),
        ("00:43", "B1 did not run yet: it was called at Mon 00:41:40 (level at start 3.20 m)"),
        ("00:45", "B1 ran as bypass pump, since Mon 00:43:40: level at start 3.20 m."),
        ("00:58", "the level stood at 1.25 m, 1.95 m below its start level, 3.20 m."),
        ("01:06", "B1 did not run: it was not connected; it had been taken off at Mon 01:05."),
    ],
)  # fmt: skip
def test_why_knows_it(at: str, said: str) -> None:
    station = replace(duplex(bypass_pump=bypass_pump(**START)), spillway=Spillway(6.0))
    what = episode(4000.0, 0.01, OUT, connected(), disconnected(3900.0), start_level_m=1.0)
    told = " ".join(" ".join(ask_why(station, what, at, "B1")).split())
    assert said in told


def test_studies_of_the_station_as_built_do_not_know_it(tmp_path: Path) -> None:
    text = TEXT.replace(
        "[episode]", '[alarms]\nhigh_level = "2.3 m"\n' + EVENT.format("07:00 B1 fails for 1 h")
    )
    file = tmp_path / "station.toml"
    file.write_text(text)
    station, what = load_scenario(file)
    built = replace(station, bypass_pump=None)
    calm = replace(what, events=())
    judged, as_built = criteria_of(station, what).judged, criteria_of(built, calm).judged
    assert [(j.criterion, j.subject, j.value) for j in judged if "run of" not in j.subject] == [
        (j.criterion, j.subject, j.value) for j in as_built if "run of" not in j.subject
    ]
    asked = HoursAsked()
    table = station_hours("a", station, what, asked)
    assert table.hours == station_hours("a", built, what, asked).hours
    assert table.pump_down == station_hours("a", built, what, asked).pump_down
    assert [label for label, _ in lineups(station)] == [label for label, _ in lineups(built)]
    from stationsim.studies.rehearse.now import from_now

    now = NowAsked(at_s=600.0, level_m=1.5)
    assert from_now(station, what, now).show("si") == from_now(built, what, now).show("si")
    with pytest.raises(InputError, match="no machine is called 'B1'"):
        from_now(station, what, replace(now, out=("B1",)))
    assert acceptance(station, what).show("si") == acceptance(built, what).show("si")
    assert "bypass start" in dict(set_levels(station))

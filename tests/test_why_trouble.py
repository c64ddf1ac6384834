"""Why a pump did not run while something was wrong: the reason, and what no panel sees."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from everything import HOUR, day, everything

from stationsim.control.backup import BackupSettings
from stationsim.episode import ScriptedEvent
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.why import Answer, answer, watched


def at(kind: str, t_s: float, subject: str, lasts_s: float | None, **more: float) -> ScriptedEvent:
    return ScriptedEvent(t_s, kind, subject, lasts_s, **more)  # type: ignore[arg-type]


def ask(pump: str, at_s: float, *events: ScriptedEvent, station: Station | None = None) -> Answer:
    seen = watched(station or everything(), day(*events, hours=3.0))
    (found,) = answer(seen, at_s, pump)
    return found


GRID = at("grid loss", 1500.0, "grid", 1500.0)


def test_held_back_by_the_station_downstream() -> None:
    dark = ask("P2", 2500.0, at("downstream dark", 1500.0, "downstream station", 1500.0))
    assert dark.verdict == (
        "P2 did not run: it was held back, for the station downstream was dark since Mon 00:25."
    )
    first = ask("P1", 2500.0, at("downstream dark", 1500.0, "downstream station", 1500.0))
    assert "stopped by force: downstream dark." in " ".join(first.more)
    event = at("downstream limited", 1500.0, "downstream station", 3000.0, amount=1.0)
    assert ask("P2", 3500.0, event).verdict == (
        "P2 did not run: it was held back, for the station downstream was limited since Mon 00:25,"
        " and takes no more than 1 at once; P1 ran."
    )


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"most_running": 1}, "carries no more than 1 pump at once"),
        ({"most_running": None, "may_start": ("P2",)}, "only P2 may run on it"),
    ],
)
def test_held_back_by_the_generator(changes: dict, why: str) -> None:
    station = everything()
    assert station.standby_power is not None
    assert station.standby_power.generator is not None
    weak = replace(station.standby_power.generator, **changes)
    station = replace(station, standby_power=replace(station.standby_power, generator=weak))
    found = ask("P3", 2900.0, GRID, station=station)
    assert found.verdict.startswith(
        "P3 did not run: it was held back, for the generator fed the pumps since Mon 00:25:13, and"
    )
    assert why in found.verdict
    assert found.verdict.endswith("; P2 ran.")


def test_held_back_while_the_voltage_is_low_and_tripped_by_it() -> None:
    sag = at("grid sag", 1500.0, "grid", 0.4)
    held = ask("P2", 1500.3, sag)
    assert held.verdict == (
        "P2 did not run: it was held back, for the voltage of the grid was low, in a sag at Mon"
        " 00:25 (for 0.4 s)."
    )
    tripped = ask("P1", 1600.0, sag)
    assert tripped.verdict == "P1 did not run: it had tripped at Mon 00:25 (low voltage)."
    assert "stopped by force: grid sag." in " ".join(tripped.more)


def test_control_power_and_controller_with_and_without_floats() -> None:
    bare = replace(everything(), backup_floats=None)
    opened = at("control breaker open", 1500.0, "panel", 1500.0)
    stopped = at("controller stopped", 1500.0, "panel", 1500.0)
    found = ask("P1", 2000.0, opened, station=bare)
    assert found.verdict == "P1 did not run: the control breaker was open since Mon 00:25."
    assert "in hand neither" in found.more[0]
    found = ask("P1", 2000.0, stopped, station=bare)
    assert found.verdict == "P1 did not run: the controller was stopped since Mon 00:25."
    by_floats = ask("P1", 2000.0, stopped)
    assert by_floats.verdict.startswith("P1 did not run: the panel went by its backup floats, and")
    assert "The controller was stopped since Mon 00:25." in by_floats.more
    shared = replace(everything(), backup_floats=BackupSettings(3.1, 0.6, supply="control"))
    assert "control breaker was open" in ask("P1", 2000.0, opened, station=shared).verdict
    own = replace(everything(), backup_floats=BackupSettings(3.1, 0.6, supply="own"))
    found = ask("P1", 2000.0, opened, station=own)
    assert "The control breaker was open since Mon 00:25." in found.more
    assert any("Nobody looked at the level signal; in truth" in one for one in found.more)


def test_after_the_controller_runs_again_its_restart_delay_is_told() -> None:
    bare = replace(everything(), backup_floats=None)
    stopped = at("controller stopped", 1500.0, "panel", 1500.0)
    found = ask("P1", 3010.0, stopped, station=bare)
    assert "the controller ran again at Mon 00:50 and the restart delay of 20 s held it" in (
        found.verdict
    )


def test_no_flow_overload_and_moisture() -> None:
    shut = at("plug valve closed", 1500.0, "P1", 3000.0, flow_left=0.0)
    assert ask("P1", 2000.0, shut).verdict == (
        "P1 did not run: the panel had stopped it at Mon 00:26, for it ran and moved nothing (no"
        " flow)."
    )
    over = ask("P1", 2000.0, at("overload", 1500.0, "P1", 1500.0))
    assert over.verdict == "P1 did not run: it had tripped at Mon 00:25 (overload)."
    assert "stopped by force: overload." in " ".join(over.more)
    wet = ask("P1", 2000.0, at("seal leak into motor", 1500.0, "P1", 1500.0))
    assert wet.verdict == "P1 did not run: it had tripped at Mon 00:25 (moisture in motor)."
    assert "dry again, work done at Mon 00:50." in wet.more[0]
    lasting = ask("P1", 2000.0, at("seal leak into motor", 1500.0, "P1", None))
    assert lasting.more[0].startswith("A crew on site has to dry it; nothing of the kind")


@pytest.mark.parametrize("curved", [False, True])
@pytest.mark.parametrize(
    ("kind", "subject", "why"),
    [
        ("plug valve closed", "P1", "the plug valve behind it was closed"),
        ("air-bound", "P1", "it was air-bound"),
        ("main plugged", "force main", "the force main was shut"),
    ],
)
def test_a_pump_that_runs_and_moves_nothing_is_told_so_and_what_the_panel_saw(
    kind: str,
    subject: str,
    why: str,
    curved: bool,
) -> None:
    station = everything(curved=curved)
    more = {} if kind == "air-bound" else {"flow_left": 0.0}
    event = at(kind, 900.0, subject, 3000.0, **more)
    found = ask("P1", 930.0, event, station=station)
    assert found.verdict.startswith("P1 ran as lead (duty), since Mon 00:1")
    assert found.verdict.endswith(f"; in truth it moved nothing, for {why}.")
    assert found.more[0] == "The panel saw the run signal; it told of no flow at Mon 00:16."
    assert "truth" not in ask("P1", 890.0, event, station=station).verdict
    blind = tuple(replace(unit, no_flow_after_s=None) for unit in station.pumps)
    found = ask("P1", 1030.0, event, station=replace(station, pumps=blind))
    assert found.verdict.endswith(f"; in truth it moved nothing, for {why}.")
    assert found.more[0] == "The panel saw the run signal: it does not look for flow."
    if more:
        half = replace(event, flow_left=0.5)
        assert "truth" not in ask("P1", 930.0, half, station=station).verdict


def test_an_engine_that_draws_no_water_is_told_so_while_it_runs() -> None:
    events = (
        at("fails to prime", 100.0, "E1", None),
        at("generator fails to start", 100.0, "generator", None),
        at("grid loss", 1500.0, "grid", 3500.0),
    )
    seen = watched(everything(), day(*events, hours=3.0))
    (run,) = [one for one in seen.result.trace.runs if one.stopped_by == "fails to prime"]
    (found,) = answer(seen, 0.5 * (run.start_s + run.stop_s), "E1")
    assert found.verdict.startswith("E1 ran as engine-driven pump, since Mon 00:3")
    assert found.verdict.endswith("; in truth it drew no water, for its pump was not primed.")
    assert any(
        one.startswith("The panel saw an engine that ran, until it was failed at Mon 00:3")
        for one in found.more
    )
    assert not any("pumped" in one for one in found.more)


def test_a_pump_whose_head_is_too_small_is_told_so() -> None:
    station = everything(curved=True)
    assert station.force_main is not None
    # 24 m at no flow: from the start level of 2 m it can lift to 26 m at most
    high = replace(station, force_main=replace(station.force_main, discharge_level_m=27.0))
    blind = tuple(replace(unit, no_flow_after_s=None) for unit in station.pumps)
    found = ask("P1", 900.0, station=replace(high, pumps=blind))
    assert found.verdict.endswith(
        "; in truth it moved nothing, for the head was more than it gives."
    )


def test_reversing_against_rags_is_told_with_its_end() -> None:
    rags = at("ragging", 0.0, "P1", None, amount=0.3, per_s=600.0)
    seen = watched(everything(), day(rags, hours=3.0))
    trip = next(row for row in seen.result.trace.events if row.detail.startswith("reversing"))
    (found,) = answer(seen, trip.t_s + 10.0, "P1")
    assert "(overload)" in found.verdict
    assert any(
        one.startswith("The panel was reversing it to clear rags, try 1 of 1, for 30 s, until")
        and one.endswith("(20 s more).")
        for one in found.more
    ), found.more
    vain = [row for row in seen.result.trace.events if row.event == "reversed in vain"]
    for row in vain[:1]:
        (later,) = answer(seen, row.t_s + 10.0, "P1")
        assert any("Reversing it did not help (reversed in vain" in one for one in later.more)


def test_in_exercise_it_ran_whatever_the_level() -> None:
    dark = at("downstream dark", 1500.0, "downstream station", 1500.0)
    seen = watched(everything(), day(dark, hours=3.0))
    (run,) = [one for one in seen.result.trace.runs if one.role == "exercise"][:1]
    name = everything().machine_names()[run.machine]
    (found,) = answer(seen, 0.5 * (run.start_s + run.stop_s), name)
    assert found.verdict.startswith(f"{name} ran for an exercise, since Mon 02:3")
    assert "The grid was back" not in " ".join(found.more)


@pytest.mark.parametrize(
    ("at_s", "trouble", "why"),
    [
        (1500.5, (), "the generator was not called yet"),
        (1505.0, (), "the generator was starting since Mon 00:25:01"),
        (1511.5, (), "the generator had good voltage and was not switched over yet"),
        (1700.0, ("generator fails to start", "generator"), "the generator had failed since Mon"),
        (1700.0, ("transfer switch stuck", "transfer switch"),
         "the generator ran since Mon 00:25:11, but the transfer switch had not moved at Mon"),
    ],
)  # fmt: skip
def test_a_dead_busbar_tells_what_the_generator_did(
    at_s: float, trouble: tuple[str, ...], why: str
) -> None:
    events = [at(trouble[0], 100.0, trouble[1], None)] if trouble else []
    found = ask("P1", at_s, *events, GRID)
    assert found.verdict.startswith("P1 did not run: its busbar was dead from Mon 00:25 to")
    assert any(one.startswith("Then the grid was out, and ") and why in one for one in found.more)


def test_a_panel_that_boots_and_a_lost_phase() -> None:
    assert ask("P1", 1515.0, GRID).verdict == (
        "P1 did not run: its busbar was live again since Mon 00:25:13 (fed by the generator), and"
        " the panel was booting until Mon 00:25:23 (8 s more)."
    )
    bare = replace(everything(), standby_power=None)
    phase = at("phase lost", 1500.0, "grid", 1500.0)
    found = ask("P1", 1700.0, phase, station=bare)
    assert found.verdict == (
        "P1 did not run: one phase of the grid was lost from Mon 00:25 to 00:50 (25 min)."
    )
    assert "stopped by force: phase lost." in " ".join(found.more)


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        ("fails to prime", "it had run and drawn no water, and was failed at Mon 00:3"),
        ("battery flat", "it did not crank when it was called at Mon 00:3"),
    ],
)
def test_an_engine_that_did_not_prime_or_did_not_crank(kind: str, why: str) -> None:
    events = (
        at(kind, 100.0, "E1", None),
        at("generator fails to start", 100.0, "generator", None),
        at("grid loss", 1500.0, "grid", 3500.0),
    )
    assert f"E1 did not run: {why}" in ask("E1", 3000.0, *events).verdict


def test_floats_that_stick_are_told_as_the_truth_that_no_panel_sees() -> None:
    lost = at("level signal lost", 1500.0, "level sensor", None)
    stop = ask("P1", 2000.0, lost, at("float stuck down", 1500.0, "stop float", None))
    assert "the backup stop float (0.60 m) was uncovered, so none may run" in stop.verdict
    assert "In truth, which no panel sees, the stop float was stuck down since Mon 00:25." in (
        stop.more
    )
    station = duplex(backup_floats=BackupSettings(2.7, 0.6))
    events = at("level signal lost", 100.0, "level sensor", None), \
        at("float stuck down", 100.0, "start float", None)  # fmt: skip
    seen = watched(station, episode(HOUR, 0.02, *events))
    (found,) = answer(seen, 2000.0, "P1")
    assert found.verdict.endswith("the backup start float (2.70 m) showed no water.")
    assert any("the start float was stuck down since" in one for one in found.more)
    up = watched(station, episode(HOUR, 0.02, at("float stuck up", 100.0, "start float", None)))
    (ran,) = answer(up, 110.0, "P1")
    assert ran.verdict.startswith("P1 ran")
    assert any("the start float was stuck up since" in one for one in ran.more)


@pytest.mark.parametrize(
    ("kind", "amount", "per_s"),
    [
        ("level signal off", -0.3, 0.0), ("level signal drifting", -0.5, 600.0),
        ("level signal noisy", 0.2, 0.0), ("level signal late", 300.0, 0.0),
    ],
)  # fmt: skip
def test_where_the_panel_saw_another_level_both_are_told(
    kind: str, amount: float, per_s: float
) -> None:
    event = at(kind, 1500.0, "level sensor", None, amount=amount, per_s=per_s)
    seen = watched(everything(), day(event, hours=3.0))
    told = 0
    for at_s in (1900.0, 2600.0, 3300.0, 5000.0):
        row = seen.result.level_at(np.array([at_s]))[0]
        for one in answer(seen, at_s):
            found = [more for more in one.more if more.startswith("The panel saw ")]
            for more in found:
                told += 1
                assert more.endswith(f"; in truth the level was {row:.2f} m.")
                assert f"saw {row:.2f} m" not in more
    assert told > 0

"""The short break of the supply some time after the grid is back (own hand-worked times)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from scenario_texts import DUPLEX

from stationsim.episode import ScriptedEvent
from stationsim.errors import ScenarioError
from stationsim.scenario.load import load_scenario
from stationsim.simulation.session import Session, simulate
from stationsim.station import ReturnBreak
from stationsim.testing import duplex, episode

LOSS = ScriptedEvent(100.0, "grid loss", "grid", 600.0)


def grid(*events: ScriptedEvent, after_s: float = 60.0) -> list[tuple[float, str, str]]:
    """Return what became of the grid: when, what and why."""
    station = replace(duplex(), return_break=ReturnBreak(after_s, 3.0))
    result = simulate(station, episode(3600.0, 0.02, *events, start_level_m=2.2))
    rows = result.events[result.events["subject"] == "grid"]
    return list(zip(rows["t_s"], rows["event"], rows["cause"], strict=True))


def test_the_supply_breaks_once_after_the_return() -> None:
    why = "short break after the return"
    assert grid(LOSS) == [
        (100.0, "grid lost", "scripted"),
        (700.0, "grid back", "scripted"),
        (760.0, "grid lost", why),
        (763.0, "grid back", why),
    ]


def test_a_new_loss_before_the_break_takes_its_place() -> None:
    again = ScriptedEvent(730.0, "grid loss", "grid", 100.0)
    times = [t for t, event, _ in grid(LOSS, again) if event == "grid lost"]
    assert times == [100.0, 730.0, 890.0]


def test_a_break_stops_the_pumps_and_they_start_again() -> None:
    station = replace(duplex(), return_break=ReturnBreak(60.0, 3.0))
    runs = simulate(station, episode(3600.0, 0.02, LOSS, start_level_m=2.2)).pump_runs
    stopped = runs[runs["stopped_by"] == "power lost"]
    assert sorted(set(stopped["stop_s"])) == [100.0, 760.0]
    assert 763.0 in set(runs["start_s"])


def test_a_session_can_be_frozen_before_the_break() -> None:
    station = replace(duplex(), return_break=ReturnBreak(60.0, 3.0))
    what = episode(3600.0, 0.02, LOSS, start_level_m=2.2)
    session = Session(station, what)
    session.advance(720.0)
    rest = Session.resume(session.freeze()).finish()
    assert rest.events.equals(simulate(station, what).events)


def test_the_break_is_read_from_a_scenario(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(DUPLEX + '\n[grid]\nbreak_after = "10 min"\nbreak_length = "3 s"\n')
    station, _ = load_scenario(file)
    assert station.return_break == ReturnBreak(600.0, 3.0)
    file.write_text(DUPLEX + '\n[grid]\nbreak_after = "10 min"\nbreak_length = "0 s"\n')
    with pytest.raises(ScenarioError, match=r"grid\.break_length: is nought .*more than 0 s"):
        load_scenario(file)
    file.write_text(DUPLEX + '\n[grid]\nbreak_after = "10 min"\n')
    with pytest.raises(ScenarioError, match=r"grid\.break_length: is missing"):
        load_scenario(file)

"""How controllers and rotations are found, and that one of a user's own runs a station."""

from __future__ import annotations

import dataclasses
import itertools
import pickle
from typing import Any

import plug_ins
import pytest

from stationsim.control.contract import (
    CONTROLLERS,
    ROTATIONS,
    ControlPlan,
    controller_class,
    rotation_class,
)
from stationsim.control.rotation import NoSettings
from stationsim.control.staging import StagingSettings
from stationsim.episode import ScriptedEvent
from stationsim.errors import InputError, PlugInError
from stationsim.simulation.session import Session, simulate
from stationsim.testing import duplex, episode, triplex


@pytest.mark.parametrize("name", sorted(CONTROLLERS))
def test_a_built_in_controller_is_found_by_its_plain_name(name: str) -> None:
    found = controller_class(name)
    assert callable(found.decide)
    assert dataclasses.is_dataclass(found.Settings)


@pytest.mark.parametrize("name", sorted(ROTATIONS))
def test_a_built_in_rotation_is_found_by_its_plain_name(name: str) -> None:
    found = rotation_class(name)
    assert callable(found.order)
    assert dataclasses.is_dataclass(found.Settings)


def test_every_setting_of_the_built_ins_says_its_kind_and_meaning() -> None:
    kinds = [controller_class(n).Settings for n in CONTROLLERS]
    kinds += [rotation_class(n).Settings for n in ROTATIONS]
    endings = {"level": "_m", "duration": "_s"}
    fields = [field for kind in kinds for field in dataclasses.fields(kind)]
    assert len(fields) >= 16
    for field in fields:
        assert field.metadata["meaning"]
        assert field.name.endswith(endings.get(field.metadata["kind"], ""))


def test_a_controller_of_ones_own_is_found_by_module_and_class() -> None:
    assert controller_class("plug_ins:Scanning") is plug_ins.Scanning


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("stageing", "no controller is called 'stageing'; accepted: 'staging', or"),
        ("", "no controller is called ''"),
        ("plug_ins:", "no controller is called 'plug_ins:'"),
        (":Scanning", "no controller is called ':Scanning'"),
        ("no_such_module:Thing", "'no_such_module:Thing' cannot be imported"),
        ("plug_ins:Missing", "module plug_ins has no class Missing"),
        ("plug_ins:not_a_class", "module plug_ins has no class not_a_class"),
        ("plug_ins:NoDecide", "has no method 'decide'"),
        ("plug_ins:NoSettingsAtAll", "has no dataclass 'Settings'"),
        ("plug_ins:SettingsNoDataclass", "has no dataclass 'Settings'"),
    ],
)
def test_a_controller_that_cannot_be_used_is_an_input_error(name: str, said: str) -> None:
    with pytest.raises(PlugInError) as caught:
        controller_class(name)
    assert said in str(caught.value)
    assert isinstance(caught.value, InputError)


def test_a_rotation_that_cannot_be_used_names_the_known_ones() -> None:
    with pytest.raises(PlugInError, match="'each cycle', 'run hours', 'shares', 'clock', 'fixed'"):
        rotation_class("weekly")
    with pytest.raises(PlugInError, match="no method 'order'"):
        rotation_class("plug_ins:Scanning")


def scanning(scan_s: float = 1.0) -> Any:
    settings = plug_ins.ScanSettings(scan_s=scan_s)
    return duplex(control=ControlPlan("plug_ins:Scanning", settings, "fixed", NoSettings()))


def test_a_panel_that_scans_every_second_runs_a_station() -> None:
    session = Session(scanning(), episode(3000.0, 0.015))
    trace = session.finish().trace
    # 10 m3 at 15 L/s: 666.67 s to fill, seen at the next whole second
    assert [(r.machine, r.start_s, r.stop_s) for r in trace.runs[:2]] == [
        (0, 667.0, 1334.0),
        (0, 2001.0, 2668.0),
    ]
    assert trace.runs[0].started_by == "scan found the level high"
    assert trace.decisions == 3000
    assert trace.greatest_level_m == pytest.approx(1.0 + 667.0 * 0.015 / 10.0, abs=1e-9)
    assert trace.balance_error < 1e-9


def test_a_scanning_panel_gets_a_turn_at_the_very_moment_of_a_trip() -> None:
    trip = ScriptedEvent(700.25, "fails", "P1", None)
    session = Session(scanning(), episode(900.0, 0.015, trip))
    trace = session.finish().trace
    assert 700.25 in session._plant.controller.looks_s  # type: ignore[attr-defined]
    # 1.9506 m there; back at 2 m after 32.9 s, seen by the next look of the new sequence
    assert [(r.machine, r.start_s, r.stop_s) for r in trace.runs] == [
        (0, 667.0, 700.25),
        (1, 733.25, 900.0),
    ]


@pytest.mark.timeout(20)  # fails loudly instead of hanging
def test_a_wake_a_hair_after_something_else_does_not_stop_the_time() -> None:
    """A turn half a microsecond before the wake it insists on once came again and again."""
    settings = plug_ins.ScanSettings()
    station = duplex(
        control=ControlPlan("plug_ins:ThirtyThreeSeconds", settings, "fixed", NoSettings())
    )
    trouble = ScriptedEvent(99.0 - 5e-7, "off", "P2")
    session = Session(station, episode(200.0, 0.0, trouble))
    trace = session.finish().trace
    assert trace.decisions <= 10
    looks = session._plant.controller.looks_s  # type: ignore[attr-defined]
    assert looks[-1] == 198.0
    assert all(b > a for a, b in itertools.pairwise(looks))


def test_a_rotation_of_ones_own_settles_who_leads() -> None:
    station = triplex(rotation="plug_ins:EachCycleBackwards")
    trace = simulate(station, episode(5500.0, 0.015)).trace
    assert [r.machine for r in trace.runs][:4] == [0, 2, 1, 0]


def test_a_plan_builds_a_controller_with_no_memory_each_time() -> None:
    plan = duplex().control
    first, second = plan.build(2), plan.build(2)
    assert first is not second
    trace = simulate(duplex(), episode(2000.0, 0.015)).trace
    again = simulate(duplex(), episode(2000.0, 0.015)).trace
    assert trace.runs == again.runs


def test_a_station_and_its_plan_survive_pickling() -> None:
    station = scanning()
    assert pickle.loads(pickle.dumps(station)) == station
    assert isinstance(triplex().control.settings, StagingSettings)

"""A controller that misbehaves is named in the error; one that is merely wrong is refused."""

from __future__ import annotations

import plug_ins
import pytest

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.episode import ScriptedEvent
from stationsim.errors import ControllerError, StationSimError
from stationsim.simulation.session import Session, simulate
from stationsim.station import Station
from stationsim.testing import duplex, episode


def misbehaving(says: str, after_s: float = 60.0) -> Station:
    settings = plug_ins.LieSettings(says, after_s)
    return duplex(control=ControlPlan("plug_ins:Misbehaving", settings, "fixed", NoSettings()))


@pytest.mark.parametrize(
    ("says", "said"),
    [
        ("unknown pump", "named pump 7; there are 2"),
        ("pump below nought", "named pump -1; there are 2"),
        ("unknown verb", "gave the unknown order 'reverse'"),
        ("level above", "asked to be woken at 99 m; the well goes from 0 to"),
        ("level below", "asked to be woken at -0.5 m"),
        ("level nan", "asked to be woken at nan m"),
        ("past", "asked at 60.000 s to be woken at 50.000 s, in the past"),
        ("present", "asked at 60.000 s to be woken at 60.000 s, in the past"),
        ("time nan", "asked at 60.000 s to be woken at nan s"),
    ],
)
def test_an_impossible_decision_names_the_controller(says: str, said: str) -> None:
    with pytest.raises(ControllerError) as caught:
        simulate(misbehaving(says), episode(600.0, 0.015))
    assert str(caught.value).startswith("controller 'plug_ins:Misbehaving' ")
    assert said in str(caught.value)
    assert isinstance(caught.value, StationSimError)


def test_an_impossible_decision_at_the_very_first_turn_is_named_too() -> None:
    with pytest.raises(ControllerError, match="named pump 7"):
        Session(misbehaving("unknown pump", 0.0), episode(600.0, 0.015))


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        ("out of service", "out of service"),
        ("fails", "pump failed"),
        ("high temperature", "high temperature"),
        ("off", "selector in off"),
    ],
)
def test_a_start_of_a_pump_that_is_out_is_refused_and_it_never_runs(kind: str, why: str) -> None:
    event = ScriptedEvent(10.0, kind, "P1")  # type: ignore[arg-type]
    trace = simulate(misbehaving("starts what is out"), episode(600.0, 0.015, event)).trace
    refused = [e for e in trace.events if e.event == "start refused"]
    assert refused[0].t_s == 60.0
    assert (refused[0].subject, refused[0].cause) == ("P1", why)
    assert refused[0].detail == "called as lead"
    assert trace.runs == []


def test_a_start_without_supply_is_refused() -> None:
    dark = ScriptedEvent(10.0, "grid loss", "grid")
    trace = simulate(misbehaving("starts what is out"), episode(600.0, 0.015, dark)).trace
    assert [(e.subject, e.cause) for e in trace.events if e.event == "start refused"] == [
        ("P1", "no supply")
    ]
    assert trace.runs == []


def test_a_stop_of_a_pump_in_hand_is_not_the_controllers_to_give() -> None:
    hand = ScriptedEvent(10.0, "hand", "P1")
    trace = simulate(misbehaving("stops what is in hand"), episode(600.0, 0.04, hand)).trace
    assert [(r.start_s, r.stop_s) for r in trace.runs] == [(10.0, 600.0)]

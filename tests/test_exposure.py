"""Thresholds on running time: exact, whatever the machine does until then.

Two pumps of 30 L/s in a tank of 10 m2, 10 L/s in: each runs 500 s in turn, once in 3000 s.
"""

from __future__ import annotations

from typing import Any

import pytest

from stationsim.episode import ScriptedEvent
from stationsim.simulation.plant import Plant
from stationsim.simulation.session import Session
from stationsim.testing import duplex, episode
from stationsim.trace import Trace

NEAR = 1e-6


def stepped(seconds: float, *events: ScriptedEvent, inflow: Any = 0.01) -> tuple[Session, Plant]:
    session = Session(duplex(), episode(seconds, inflow, *events))
    return session, session._plant


def wait(plant: Plant, name: str, total_s: float, told: str) -> int:
    """Have a note written when a machine has run for so long."""
    return plant.exposure.call_at(plant.machine(name), total_s, "note", name, told, "by chance")


def moments(trace: Trace, told: str) -> list[float]:
    return [row.t_s for row in trace.events if row.event == told]


def ran_s(trace: Trace, until_s: float, machine: int) -> float:
    return sum(
        max(min(r.stop_s, until_s) - r.start_s, 0.0) for r in trace.runs if r.machine == machine
    )


def test_what_waits_for_running_comes_at_its_exact_moment() -> None:
    session, plant = stepped(20000.0)
    wait(plant, "P1", 100.0, "A")  # in the first run, from 1000 s on
    wait(plant, "P1", 730.0, "B")  # 230 s into the second, which begins at 4000 s
    wait(plant, "P2", 500.0, "C")  # at the very end of the first run of P2
    wait(plant, "P2", 1200.0, "D")  # 200 s into its third run
    trace = session.finish().trace
    assert moments(trace, "A") == [1100.0]
    assert moments(trace, "B") == pytest.approx([4230.0], abs=NEAR)
    assert moments(trace, "C") == pytest.approx([3000.0], abs=NEAR)
    assert moments(trace, "D") == pytest.approx([8700.0], abs=NEAR)


def test_what_is_waited_for_over_ten_thousand_starts_comes_to_the_microsecond() -> None:
    session, plant = stepped(86400.0 * 60.0, inflow=0.0123)
    totals = [17.5, 4321.0, 123456.7, 900000.0]
    for n, total_s in enumerate(totals):
        wait(plant, "P1", total_s, f"T{n}")
    trace = session.finish().trace
    assert len(trace.runs) > 3000
    for n, total_s in enumerate(totals):
        (at_s,) = moments(trace, f"T{n}")
        assert ran_s(trace, at_s, 0) == pytest.approx(total_s, abs=NEAR)
    # there is no look at each start: what is far away costs next to nothing
    assert plant._agenda_next < 200


def test_many_at_one_reading_are_called_in_the_order_in_which_they_came() -> None:
    session, plant = stepped(3000.0)
    for told in ("first", "second", "third"):
        wait(plant, "P1", 250.0, told)
    trace = session.finish().trace
    rows = [row.event for row in trace.events if row.t_s == 1250.0]
    assert rows == ["first", "second", "third"]


def test_a_nearer_one_takes_the_place_of_a_look_that_is_foreseen_already() -> None:
    session, plant = stepped(3000.0)
    wait(plant, "P1", 400.0, "far")
    session.advance(1050.0)
    wait(plant, "P1", 100.0, "near")
    trace = session.finish().trace
    assert moments(trace, "near") == pytest.approx([1100.0], abs=NEAR)
    assert moments(trace, "far") == pytest.approx([1400.0], abs=NEAR)


def test_what_is_cancelled_is_not_called() -> None:
    session, plant = stepped(3000.0)
    key = wait(plant, "P1", 100.0, "gone")
    wait(plant, "P1", 200.0, "stays")
    plant.exposure.cancel(key)
    trace = session.finish().trace
    assert moments(trace, "gone") == []
    assert moments(trace, "stays") == [1200.0]


def test_it_follows_the_plant_only_while_somebody_waits() -> None:
    session, plant = stepped(3000.0)
    assert plant.exposure not in plant.followers
    key = wait(plant, "P1", 100.0, "A")
    assert plant.exposure in plant.followers
    plant.exposure.cancel(key)
    assert plant.exposure not in plant.followers
    wait(plant, "P1", 100.0, "B")
    session.advance(1200.0)
    assert plant.exposure not in plant.followers
    assert moments(session.finish().trace, "B") == [1100.0]


def test_runs_in_hand_and_runs_cut_short_by_the_grid_count_too() -> None:
    events = (
        ScriptedEvent(100.0, "hand", "P1"),
        ScriptedEvent(150.0, "auto", "P1"),
        ScriptedEvent(1100.0, "grid loss", "grid", 200.0),
    )
    session, plant = stepped(9000.0, *events)
    wait(plant, "P1", 800.0, "A")
    wait(plant, "P2", 400.0, "B")
    trace = session.finish().trace
    (a,), (b,) = moments(trace, "A"), moments(trace, "B")
    assert ran_s(trace, a, 0) == pytest.approx(800.0, abs=NEAR)
    assert ran_s(trace, b, 1) == pytest.approx(400.0, abs=NEAR)


def test_frozen_while_somebody_waits_it_comes_at_the_same_moment() -> None:
    moment = []
    for freeze_at in ((), (50.0, 1100.0, 2000.0, 4100.0)):
        session, plant = stepped(20000.0)
        wait(plant, "P1", 730.0, "A")
        for at_s in freeze_at:
            session.advance(at_s)
            session = Session.resume(session.freeze())
        moment.append(moments(session.finish().trace, "A"))
    assert moment[0] == moment[1] == [pytest.approx(4230.0, abs=NEAR)]


def test_demands_are_counted_for_each_by_itself() -> None:
    _session, plant = stepped(100.0)
    numbers = [plant.exposure.demand(name) for name in ("P1", "P1", "generator", "P1")]
    assert numbers == [0, 1, 0, 2]

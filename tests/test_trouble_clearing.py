"""Who clears a trouble: what the catalogue says is what a run does, both ways.

Each trouble comes at 300 s on the station that has everything; at 400 s a crew mends it, or
somebody presses every reset, or nobody comes. What the catalogue does not promise must not help.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from everything import day, event_of, everything, subject_of

from stationsim.episode import ScriptedEvent
from stationsim.equipment.faults import BY_KIND, CATALOGUE
from stationsim.simulation.machines import LOW_VOLTAGE
from stationsim.simulation.session import Session
from stationsim.simulation.trouble.blocks import BLOCK_OF_KIND
from stationsim.station import Station

TROUBLES = tuple(fault.kind for fault in CATALOGUE if fault.trouble)
LASTING = tuple(kind for kind in TROUBLES if BY_KIND[kind].lasts != "never")
CURVED = ("main air", "main broken")
"""What needs a force main."""

COMES_S, CLEARED_S = 300.0, 400.0


@cache
def station(*, curved: bool) -> Station:
    return everything(curved=curved)


def stands(session: Session, kind: str) -> bool:
    """Tell whether a trouble is still there, by the state of the plant."""
    plant = session._plant
    if kind in BLOCK_OF_KIND:
        return BLOCK_OF_KIND[kind] in plant.machine("P1").blocks
    if kind in ("grid loss", "phase lost"):
        return not plant.supply.grid_on
    if kind == "grid sag":  # P1 has a relay that latches
        return plant.supply.sagging or LOW_VOLTAGE in plant.machine("P1").blocks
    if kind == "generator fails":
        generator = plant.supply.generator
        return generator is not None and generator.phase == "failed"
    return plant.standing.stands(subject_of(BY_KIND[kind]), kind)


def left(kind: str, event: ScriptedEvent, *clearing: ScriptedEvent) -> bool:
    """Tell whether a trouble that stood is still there after something was done about it."""
    session = Session(station(curved=kind in CURVED), day(event, *clearing))
    session.advance(CLEARED_S - 1.0)
    assert stands(session, kind), "it must have come"
    session.advance(CLEARED_S + 1.0)
    return stands(session, kind)


def lasting(kind: str) -> ScriptedEvent:
    """Return the trouble, so that it does not clear by itself before somebody is there."""
    event = event_of(kind, COMES_S)
    if kind in ("grid loss", "phase lost", "grid sag"):
        return event
    if kind == "high temperature":  # a reset is refused while it is hot
        return replace(event, duration_s=60.0, resets_itself=False)
    return replace(event, duration_s=None, resets_itself=kind not in BLOCK_OF_KIND)


@pytest.mark.parametrize("kind", TROUBLES)
def test_a_crew_ends_what_is_cleared_on_site_and_nothing_else(kind: str) -> None:
    crew = ScriptedEvent(CLEARED_S, "put right", subject_of(BY_KIND[kind]))
    assert left(kind, lasting(kind), crew) == ("on site" not in BY_KIND[kind].clears)


@pytest.mark.parametrize("kind", TROUBLES)
def test_a_reset_ends_what_is_cleared_remotely_and_nothing_else(kind: str) -> None:
    names = ("P1", "E1", "generator")
    resets = (ScriptedEvent(CLEARED_S, "reset", name) for name in names)
    assert left(kind, lasting(kind), *resets) == ("remotely" not in BY_KIND[kind].clears)


@pytest.mark.parametrize("kind", LASTING)
def test_what_may_last_for_a_time_is_over_by_itself_when_the_time_is(kind: str) -> None:
    lasts_s = 0.4 if kind == "grid sag" else 60.0
    what = station(curved=kind in CURVED)
    if kind == "grid sag":  # of motors that come back by themselves
        what = replace(what, pumps=tuple(replace(p, after_sag="restarts") for p in what.pumps))
    session = Session(what, day(replace(event_of(kind, COMES_S), duration_s=lasts_s)))
    session.advance(COMES_S + 0.5 * lasts_s)
    assert stands(session, kind)
    session.advance(CLEARED_S)
    assert not stands(session, kind)


def test_by_itself_is_said_of_what_may_have_a_duration_and_of_nothing_else() -> None:
    for kind in TROUBLES:
        assert ("by itself" in BY_KIND[kind].clears) == (kind in LASTING), kind

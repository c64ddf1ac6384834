"""The second trouble of an exercise: it stands unseen, and the main one brings it to light.

What stands in for the grid or for the level signal is looked at first: an outage at a station whose
set starts is no exercise. Else it is a pump that cannot be counted on, an alarm that does not come,
or somebody who does not answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.studies.drill.exercises.troubles import GRID_LOSS, Trouble, Wrong

if TYPE_CHECKING:
    from stationsim.equipment.faults import EventKind
    from stationsim.people.response import Response
    from stationsim.studies.drill.exercises.troubles import Draw, Place, Remedy


def brings_to_light(place: Place, main: Trouble) -> bool:
    """Return whether a main trouble is none while what stands in for it is sound.

    Parameters
    ----------
    place
        The station, and who answers for it.
    main
        What happens anyhow.
    """
    if main.name == GRID_LOSS:
        return place.generator or bool(place.engine)
    by_floats = {wrong.event.subject for wrong in main.wrongs} & {"level sensor", "panel"}
    return bool(by_floats) and place.station.backup_floats is not None


def seconds_of(place: Place, main: Trouble, draw: Draw, at_s: float) -> list[Trouble]:
    """Return the hidden troubles that go with a main one: it brings them to light.

    Parameters
    ----------
    place
        The station, and who answers for it.
    main
        What happens anyhow.
    draw
        The try.
    at_s
        When the main one begins [s].
    """
    by_grid = main.name == GRID_LOSS
    standby = _of_standby(place, draw, at_s, by_grid=by_grid)
    if brings_to_light(place, main):
        stuck = _standing("start float stuck down", "float stuck down", "start float", place)
        return standby if by_grid else [stuck]
    found = [*standby, *_of_pumps(place, main, draw), *_of_alarms(place, at_s)]
    response = place.response
    others = () if response is None else response.call_list[1:]
    who = [name for name in dict.fromkeys(others) if name != _first(response)]
    if who:
        found.append(Trouble("somebody does not answer", silent=draw.pick("who is silent", who)))
    return found


def _first(response: Response | None) -> str:
    return response.call_list[0] if response is not None and response.call_list else ""


def _standing(name: str, kind: EventKind, subject: str, place: Place, at_s: float = 0.0) -> Trouble:
    """Return what stands unseen from the beginning, until somebody sets it right."""
    remedy: Remedy = "set right" if place.has("set right") else "nothing"
    return Trouble(name, (Wrong(ScriptedEvent(at_s, kind, subject), remedy),))


def _of_standby(place: Place, draw: Draw, at_s: float, *, by_grid: bool) -> list[Trouble]:
    """Return what may be wrong with what stands in for the grid, or with the engine-driven pump."""
    found: list[Trouble] = []
    mends = place.has("set right") or place.brought is not None
    if by_grid and place.generator and mends:
        found.append(_standing("the generator does not start", "generator fails to start",
                               "generator", place))  # fmt: skip
        found.append(_standing("the transfer switch sticks", "transfer switch stuck",
                               "transfer switch", place))  # fmt: skip
    if by_grid and place.generator:
        trip_s = at_s + draw.between("when the set trips", 5.0 * 60.0, 60.0 * 60.0, 60.0)
        event = ScriptedEvent(trip_s, "generator fails", "generator", resets_itself=False)
        found.append(Trouble("the generator trips", (Wrong(event, "reset"),)))
    if place.engine:
        off = Wrong(ScriptedEvent(0.0, "off", place.engine), "auto")
        found.append(Trouble(f"{place.engine} was left off", (off,)))
        if mends:
            kinds: tuple[EventKind, ...] = ("battery flat", "fails to start", "fails to prime")
            kind = draw.pick("what the engine has", kinds)
            found.append(_standing(f"{place.engine} {kind}", kind, place.engine, place))
    return found


def _of_pumps(place: Place, main: Trouble, draw: Draw) -> list[Trouble]:
    """Return pumps that cannot be counted on: left off, or out of service."""
    struck = {wrong.event.subject for wrong in main.wrongs}
    free = [name for name in draw.shuffled(place.pumps) if name not in struck]
    if not free:
        return []
    pump = free[0]
    off = Wrong(ScriptedEvent(0.0, "off", pump), "auto")
    found = [Trouble(f"{pump} was left off", (off,))]
    if len(place.pumps) > 1:
        out = Wrong(ScriptedEvent(0.0, "out of service", pump), "nothing")
        found.append(Trouble(f"{pump} is out of service", (out,)))
    return found


def _of_alarms(place: Place, at_s: float) -> list[Trouble]:
    """Return what keeps alarms from whoever should have them."""
    found = []
    alarms = place.station.alarms
    if place.response is not None and place.response.people:
        found.append(_standing("telemetry lost", "telemetry lost", "telemetry", place, at_s))
    if alarms.high_level_m is not None:
        found.append(_standing("the high-level alarm is off", "alarm off", "high level", place))
    return found

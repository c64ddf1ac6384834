"""From checked tables to what may happen by chance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import RandomFault
from stationsim.equipment.faults import BY_KIND
from stationsim.scenario.event_fit import Scene, misfit
from stationsim.scenario.events import EventTextError, read_what

if TYPE_CHECKING:
    from stationsim.episode import ScriptedEvent
    from stationsim.scenario.built import Built
    from stationsim.scenario.parts import Parts
    from stationsim.scenario.standby_tables import RandomPart

_ON_PURPOSE = (
    *("auto", "reset", "put right"),
    *("mobile generator connected", "mobile generator disconnected"),
    *("bypass pump connected", "bypass pump disconnected"),
    *("refuelled", "tanker takes"),
)
_LACKS_DURATION = "needs its duration"


def make_random(parts: Parts, built: Built) -> list[RandomFault]:
    """Return what may happen by chance; what is wrong with any of it is noted.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    built
        Takes what is refused.
    """
    scene = Scene.of(parts)
    found: list[RandomFault] = []
    for name, part in parts.named["random"].items():
        events = _events(part, f"random.{name}", scene, built)
        if events:
            found.append(
                RandomFault(name, events, part.rate.basis, part.rate.rate, lasts=part.lasts)
            )
    return found


def _events(
    part: RandomPart, place: str, scene: Scene, built: Built
) -> tuple[ScriptedEvent, ...] | None:
    """Return what happens at one instant; None when something is wrong with it."""
    try:
        events = read_what(part.what, scene.names, scene.system, lasts=part.lasts is not None)
    except EventTextError as error:
        text = str(error)
        if part.lasts is None and _LACKS_DURATION in text:
            built.refuse(
                f"{place}.lasts",
                "is missing: " + text.partition(", such as")[0],
                f'"{part.what}"',
                fix='add it, such as lasts = "2 h" or lasts = ["1 h", "2 h", "8 h"]',
            )
        else:
            built.refuse(f"{place}.what", text, f'"{part.what}"')
        return None
    wrong = [(event, misfit(event, scene)) for event in events]
    for _event, told in wrong:
        if told is not None:
            built.refuse(f"{place}.what", told[0], f'"{part.what}"', fix=told[1])
    for event in events:
        if event.kind in _ON_PURPOSE:
            built.refuse(
                f"{place}.what",
                f"'{BY_KIND[event.kind].phrase}' is done by people, not by chance",
                f'"{part.what}"',
                fix="write it as an event at its time",
            )
    exposed = _exposed(part, place, events[0], scene, built)
    whole = exposed and all(told is None for _event, told in wrong)
    return events if whole and all(one.kind not in _ON_PURPOSE for one in events) else None


def _exposed(
    part: RandomPart, place: str, first: ScriptedEvent, scene: Scene, built: Built
) -> bool:
    """Tell whether what is named first has the running hours or the demands that are counted."""
    basis, machines = part.rate.basis, scene.names.machines
    if basis == "calendar" or machines is None or first.subject in machines:
        return True
    if basis == "demand" and first.subject == "generator":
        return True
    counted = "running hours" if basis == "running" else "demands"
    has = "a pump" if basis == "running" else "a pump or the generator"
    built.refuse(
        f"{place}.rate",
        f"counts {counted}, and {first.subject} has none",
        limit=f"{counted} of {has}, which 'what' names first",
        fix='count by the calendar, such as rate = "2 per year", or name the pump first',
    )
    return False

"""Trouble: hands each thing that happens to whoever lets it happen.

Each family of trouble is a class of its own with ``handlers()``: kind of event -> what is done. A
test holds that every entry of the catalogue has exactly one handler.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import PEOPLE, SUPPLY

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant

Handler = Callable[[ScriptedEvent, float], None]
"""Lets an event happen now; the second argument is when it is over [s], infinity for never."""

Handlers = dict[str, Handler]


def order_of(event: ScriptedEvent) -> int:
    """Return the place of an event in the order of its instant (see ``clock``).

    Parameters
    ----------
    event
        What happens.
    """
    return SUPPLY if event.kind in ("grid loss", "grid sag", "phase lost") else PEOPLE


_FIRST_AT_ONE_INSTANT = ("grid loss", "phase lost", "grid sag")


def rank_of(event: ScriptedEvent) -> int:
    """Return the place of an event among those of its order at one instant: the greater first.

    What befalls the grid takes effect from the loss of the whole to a sag, however it is written;
    all else as it is written.

    Parameters
    ----------
    event
        What happens.
    """
    if event.kind in _FIRST_AT_ONE_INSTANT:
        return _FIRST_AT_ONE_INSTANT.index(event.kind)
    return len(_FIRST_AT_ONE_INSTANT)


class Family(Protocol):
    """A family of trouble."""

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        ...


class Trouble:
    """Everything that people and bad luck do to a plant.

    Parameters
    ----------
    plant
        The plant that it happens to.
    families
        Who lets what happen.
    """

    def __init__(self, plant: Plant, families: tuple[Family, ...]) -> None:
        self.plant = plant
        self.families = families

    def happen(self, event: ScriptedEvent) -> None:
        """Let an event happen now.

        Parameters
        ----------
        event
            What happens.
        """
        over_s = math.inf if event.duration_s is None else self.plant.t_s + event.duration_s
        for family in self.families:
            handler = family.handlers().get(event.kind)
            if handler is not None:
                handler(event, over_s)
                return
        raise ValueError(f"nothing lets '{event.kind}' happen")

    def kinds(self) -> list[str]:
        """Return every kind of event that something lets happen, once for each handler."""
        return [kind for family in self.families for kind in family.handlers()]

"""Conditions that stand until their time is over, or until somebody puts them right."""

from __future__ import annotations

import math
from operator import attrgetter
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers


WORK_DONE = "work done"
"""Why a condition ends when its time is over."""


def told_of_end(cause: str) -> str:
    """Return why a thing works again that nobody need have worked on: by itself, or as told.

    Parameters
    ----------
    cause
        Why its condition has ended.
    """
    return "by itself" if cause == WORK_DONE else cause


class Standing:
    """The conditions that stand at a plant.

    A condition belongs to a subject and is of a kind of event. A new one of the same kind takes
    the place of the old one, and its time counts.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._until_s: dict[tuple[str, str], tuple[float, str]] = {}

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {"put right": self._crew}

    def stands(self, subject: str, kind: str) -> bool:
        """Return whether a condition stands.

        Parameters
        ----------
        subject, kind
            Whose, and which.
        """
        return (subject, kind) in self._until_s

    def all(self) -> tuple[tuple[str, str], ...]:
        """Return whose conditions stand, and which, in the order in which they began."""
        return tuple(self._until_s)

    def begin(self, subject: str, kind: str, over_s: float, ends: str) -> None:
        """Take note that a condition stands from now on.

        Parameters
        ----------
        subject, kind
            Whose, and which.
        over_s
            When its time is over [s]; infinity for not within the run.
        ends
            Path of the plant's method that undoes it, called with subject, kind and cause:
            ``pumps.ends``.
        """
        self._until_s[subject, kind] = (over_s, ends)
        if over_s < math.inf:
            self.plant.at(over_s, FAULT, "standing.over", subject, kind, over_s)

    def forget(self, subject: str, kind: str) -> None:
        """Take note that a condition has been undone by others, or that another takes its place.

        Parameters
        ----------
        subject, kind
            Whose, and which.
        """
        self._until_s.pop((subject, kind), None)

    def over(self, subject: str, kind: str, over_s: float) -> None:
        """The time of a condition is over, unless it has been renewed or put right meanwhile.

        Parameters
        ----------
        subject, kind
            Whose, and which.
        over_s
            When it was to be over [s].
        """
        found = self._until_s.get((subject, kind))
        if found is not None and found[0] == over_s:
            self.end(subject, kind, WORK_DONE)

    def end(self, subject: str, kind: str, cause: str) -> None:
        """Undo a condition now; nothing happens when it does not stand.

        Parameters
        ----------
        subject, kind
            Whose, and which.
        cause
            Why, in trade words.
        """
        found = self._until_s.pop((subject, kind), None)
        if found is not None:
            attrgetter(found[1])(self.plant)(subject, kind, cause)

    def _crew(self, event: ScriptedEvent, _over_s: float) -> None:
        kinds = [kind for subject, kind in self._until_s if subject == event.subject]
        if not kinds:
            self.plant.note(event.subject, "nothing to put right", "by hand")
        for kind in kinds:
            self.end(event.subject, kind, "put right on site")

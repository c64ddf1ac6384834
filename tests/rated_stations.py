"""Small stations with plates and drawings, and how their criteria are asked for."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from stationsim.limits import Limits
from stationsim.station import Ratings, Station
from stationsim.studies.check.criterion import Case, Judged
from stationsim.studies.check.fitness import Fitness, criteria_of
from stationsim.testing import episode

if TYPE_CHECKING:
    from collections.abc import Iterator

    from stationsim.episode import Episode

DAY_S = 86_400.0


def rated(station: Station, **ratings: Any) -> Station:
    """Return a station with ratings; ``limits`` may be a dictionary of those to set."""
    limits = ratings.get("limits")
    if isinstance(limits, dict):
        ratings["limits"] = dataclasses.replace(Limits(), **limits)
        ratings["set_limits"] = tuple(limits)
    return dataclasses.replace(station, ratings=Ratings(**ratings))


def case_of(station: Station, when: Episode | None = None, **ratings: Any) -> Case:
    """Return a station as criteria look at it; at a steady 10 L/s for a day when not told."""
    with_ratings = rated(station, **ratings) if ratings else station
    return Case(with_ratings, episode(DAY_S, 0.010) if when is None else when)


def fitness_of(station: Station, when: Episode | None = None, **ratings: Any) -> Fitness:
    """Return every criterion of a station."""
    case = case_of(station, when, **ratings)
    return criteria_of(case.station, case.episode)


def named(found: Iterator[Judged] | tuple[Judged, ...], criterion: str) -> list[Judged]:
    """Return the criteria of a name."""
    return [one for one in found if one.criterion == criterion]


def only(found: Iterator[Judged] | tuple[Judged, ...], criterion: str, subject: str = "") -> Judged:
    """Return the one criterion of a name, and of a subject where there are several."""
    (one,) = [x for x in named(found, criterion) if not subject or x.subject == subject]
    return one

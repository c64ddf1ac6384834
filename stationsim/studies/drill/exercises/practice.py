"""Exercises: what happens at a station, drawn anew for each student; the truth goes into a key.

An exercise is a day or so of the station's own inflow, and a trouble that begins some time after
the start. What the file itself scripts, or lets happen by chance, is left out, so that the truth of
an exercise is what its key says and nothing else; rain, storms and records stay where the calendar
has them. Each exercise is tried before it is given out: with nobody acting it spills, or stands
above the high-level alarm for a while, and somebody who acts in time makes it less. Where no draw
does, the best is taken, and the key says so.

What is drawn depends on the station, the seed and the number of the exercise and on nothing else:
number 7 of 12 is number 7 of 40.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from stationsim.chance import Streams
from stationsim.errors import InputError
from stationsim.studies.drill import said
from stationsim.studies.drill.exercises import slips
from stationsim.studies.drill.exercises.ground import LASTS_S, Ground
from stationsim.studies.drill.exercises.hidden import brings_to_light, seconds_of
from stationsim.studies.drill.exercises.tried import try_out
from stationsim.studies.drill.exercises.troubles import Draw, Place, main_of
from stationsim.study_result import StudyResult, write_apart

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.studies.drill.exercises.tried import Tried
    from stationsim.studies.drill.exercises.troubles import Trouble
    from stationsim.study_result import Source
    from stationsim.units import System

MOST_EXERCISES = 500
"""How many exercises are drawn at once at most [-]."""

_MOST_TRIES = 12
_TRIES_OF_A_KIND = 3
"""How many draws at most, and of one kind of trouble; own choices [-]."""
_SECOND = 0.35
"""How often a hidden trouble goes with the main one; own choice [-]."""
_MIN_S = 60.0
_MOST_SEED = 2**32 - 1
_MOST_NUMBER = 100_000


@dataclass(frozen=True)
class Exercise:
    """What happens in one exercise.

    Parameters
    ----------
    number, seed
        Which, and of which seed [-].
    episode
        What happens, with the people of the file.
    briefing
        What the student is told, a line each; nothing of the truth.
    at_s
        When the main trouble begins [s since the start].
    troubles
        The main trouble, then what is hidden.
    tried
        What it comes to.
    attempts
        How many were drawn until it was taken [-].
    """

    number: int
    seed: int
    episode: Episode
    briefing: tuple[str, ...]
    at_s: float = field(repr=False)
    troubles: tuple[Trouble, ...] = field(repr=False)
    tried: Tried = field(repr=False)
    attempts: int = field(default=1, repr=False)

    def truth(self, system: System = "si") -> tuple[str, ...]:
        """Return what the key says, a line each; nothing of it is for students.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        return slips.truth_of(self, system)


def exercise(station: Station, episode: Episode, number: int, seed: int) -> Exercise:
    """Return an exercise: the same one for the same station, number and seed.

    Parameters
    ----------
    station, episode
        What stands there; of the episode its calendar, its inflow, its start level and its people
        count.
    number
        Which, from 1 [-].
    seed
        Root of what is drawn [-].

    Raises
    ------
    InputError
        When number or seed cannot be used.
    """
    return on_ground(Ground(station, episode), number, seed)


def on_ground(ground: Ground, number: int, seed: int) -> Exercise:
    """Return an exercise on a station whose inflow is worked out already.

    Parameters
    ----------
    ground
        The station and its inflow.
    number
        Which, from 1 [-].
    seed
        Root of what is drawn [-].

    Raises
    ------
    InputError
        When number or seed cannot be used.
    """
    _check(number, seed)
    streams = Streams(seed, number)
    best: Exercise | None = None
    for attempt in range(_MOST_TRIES):
        found = _attempt(ground, Draw(streams, attempt, ground.station.name), number, seed)
        if best is None or _rank(found) > _rank(best):
            best = found
        if found.tried.acting == "acting counts":
            break
    assert best is not None  # noqa: S101  (there is at least one try)
    briefing = slips.briefing_of(ground.station, best.episode)
    return replace(best, attempts=attempt + 1, briefing=briefing)


def _check(number: int, seed: int) -> None:
    if not 1 <= number <= _MOST_NUMBER:
        raise InputError(f"exercise: {number} cannot be used; accepted: 1 to {_MOST_NUMBER}")
    if not 0 <= seed <= _MOST_SEED:
        raise InputError(f"seed: {seed} cannot be used; accepted: 0 to {_MOST_SEED}")


def _rank(found: Exercise) -> tuple[bool, float, float]:
    tried = found.tried
    return tried.worth, round(tried.saved, 9), tried.nobody.high_lasts_s


def _attempt(ground: Ground, draw: Draw, number: int, seed: int) -> Exercise:
    """Draw once, and try it out."""
    station = ground.station
    lead_s = draw.between("how long before anything happens", 1800.0, 7200.0, _MIN_S)
    begins_s = ground.begins_s(draw, lead_s)
    greatest_m3s, _ = ground.dry.greatest(begins_s, begins_s + LASTS_S)
    place = Place(station, ground.episode.response, greatest_m3s)
    turn, again = divmod(draw.attempt, _TRIES_OF_A_KIND)
    main = main_of(place, draw, turn, lead_s)
    wants_second = (
        draw.part("whether something is hidden") < _SECOND
        or again == _TRIES_OF_A_KIND - 1
        or brings_to_light(place, main)
    )
    hidden = seconds_of(place, main, draw, lead_s) if wants_second else []
    troubles = (main, draw.pick("what is hidden", hidden)) if hidden else (main,)
    episode = ground.cut(begins_s, troubles, number, seed)
    tried = try_out(station, episode, troubles, lead_s)
    return Exercise(number, seed, episode, (), lead_s, troubles, tried)


# ---------------------------------------------------------------------- for a class


@dataclass(frozen=True)
class Practice:
    """Exercises for a class: what is handed out, and the key.

    Parameters
    ----------
    exercises
        The exercises.
    students, key
        What goes to each of the two folders.
    """

    exercises: tuple[Exercise, ...]
    students: StudyResult
    key: StudyResult


def practice(
    station: Station,
    episode: Episode,
    count: int,
    seed: int,
    sources: Sequence[Source] = (),
    *,
    command: str = "stationsim drill FILE",
) -> Practice:
    """Return exercises for a class, one for each student, and the key apart.

    Parameters
    ----------
    station, episode
        As of :func:`exercise`.
    count
        How many [-].
    seed
        Root of what is drawn [-].
    sources
        The scenario that they come from.
    command
        How the drill of this file is begun; the number and the seed are added. Changes of the file
        that were asked for by options belong to it, so that a student has the same station.

    Raises
    ------
    InputError
        When the count or the seed cannot be used.
    """
    if not 1 <= count <= MOST_EXERCISES:
        raise InputError(f"practice: {count} cannot be used; accepted: 1 to {MOST_EXERCISES}")
    ground = Ground(station, episode)
    drawn = tuple(on_ground(ground, number, seed) for number in range(1, count + 1))
    asked = {"count": count, "seed": seed}
    students = StudyResult(
        study="drill",
        subject=station.name,
        tables={slips.EXERCISES: slips.exercise_table(drawn, command)},
        tell=partial(slips.student_sentences, drawn, station.name),
        show=partial(slips.slip_lines, drawn, command),
        asked=asked,
        sources=tuple(sources),
        cautions=said.CAUTIONS,
        forms=partial(slips.slips, drawn, command),
    )
    key = StudyResult(
        study="drill",
        subject=station.name,
        tables={
            slips.KEY: slips.key_table(drawn),
            slips.OUTCOMES: slips.outcome_table(drawn),
        },
        tell=partial(slips.key_sentences, drawn, station.name),
        show=partial(slips.key_lines, drawn),
        asked=asked,
        sources=tuple(sources),
        cautions=said.CAUTIONS,
    )
    return Practice(drawn, students, key)


def write_practice(
    found: Practice,
    folder: str | Path,
    formats: Sequence[str] = ("csv",),
    *,
    system: System = "si",
    force: bool = False,
    besides: Callable[[StudyResult, Path], None] | None = None,
) -> Path:
    """Write what is handed out into ``students`` and the key into ``key``; return the folder.

    Parameters
    ----------
    found
        The exercises.
    folder
        Where; made beside and moved into place when whole.
    formats
        ``csv`` always; ``parquet`` and ``xlsx`` when the extras are installed.
    system
        Units of sentences and forms.
    force
        True to replace earlier results.
    besides
        Writes more into each of the two folders, such as pages and sheets to print; None for
        nothing.

    Raises
    ------
    OutputError
        When something is in the way, or the place cannot be written.
    """
    parts = {"students": found.students, "key": found.key}
    return write_apart(parts, folder, formats, system=system, force=force, besides=besides)

r"""Settings side by side: the same inflow, another level, rotation, stop policy, or station.

>>> from stationsim.studies.compare import compare      # doctest: +SKIP
>>> result = compare([("as it is", station, episode), ("lower lag", other, episode)])
...                                                     # doctest: +SKIP
>>> print("\n".join(result.sentences()))                # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from stationsim.equipment.faults import BY_KIND, ENGINE, MACHINE, PUMP
from stationsim.errors import InputError
from stationsim.inflow.segments import DAY_S, Segments, total_inflow
from stationsim.outline import inflow_range
from stationsim.studies.compare import differing, pictures, screen, verdict
from stationsim.studies.compare.facts import Facts
from stationsim.studies.compare.outcome import Task, run_all, with_known_inflow
from stationsim.studies.compare.tables import (
    compared_table,
    limits_of,
    limits_table,
    settings_table,
)
from stationsim.study_result import StudyResult
from stationsim.wording import date_of, day_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stationsim.episode import Episode, ScriptedEvent
    from stationsim.station import Station
    from stationsim.study_result import Source

    Settings = Sequence[tuple[str, Station, Episode]]

__all__ = ["compare"]


def compare(
    settings: Settings,
    *,
    differs: Mapping[str, Mapping[str, str]] | None = None,
    axes: Sequence[str] | None = None,
    day: str = "",
    notes: Sequence[str] = (),
    asked: Mapping[str, Any] | None = None,
    sources: Sequence[Source] = (),
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> StudyResult:
    """Run settings one after another and lay what came of them side by side.

    Parameters
    ----------
    settings
        Label, station and episode of each, two or more; the first is what the others are
        compared with. They begin at the same time and last as long.
    differs
        Label -> key -> value as text, in what the settings differ; None to find out.
    axes
        Keys of which every combination is there; None to find out.
    day
        Day whose levels are drawn: its number (``3``, ``day 3``) or its date (``2027-03-03``);
        empty for the day with the most inflow.
    notes
        What a reader must know of how the settings were made, in sentences.
    asked
        Settings of the study, for the manifest.
    sources
        The scenarios that it was made from.
    processes
        How many processes may run at once, when that pays. With more than one, a script that
        calls this needs the usual ``if __name__ == "__main__":``.
    progress
        Told after each run how many are done, of how many.

    Returns
    -------
    StudyResult
        With the tables ``settings``, ``compared`` and ``limits``.

    Raises
    ------
    InputError
        When the settings cannot be compared: fewer than two, labels alike, other times, an event
        of a machine that is not there.
    StationSimError
        When a run cannot be made; it names the setting.
    """
    _check(settings)
    labels = [label for label, _, _ in settings]
    stations = {label: station for label, station, _ in settings}
    first = settings[0][2]
    from_s, to_s, day_name = _day(first, day)
    episodes, inflow, same = _with_inflow([episode for _, _, episode in settings])
    if not day:
        from_s, to_s, day_name = _fullest_day(first, inflow)
    tasks = [
        Task(label, stations[label], episode, from_s, to_s)
        for label, episode in zip(labels, episodes, strict=True)
    ]
    outcomes = run_all(tasks, processes, progress)
    found = differing.of_stations(stations) if differs is None else differs
    least, greatest = inflow_range(inflow, first.duration_s)
    limits = [limit for one in outcomes for limit in limits_of(stations[one.label], one)]
    facts = Facts(
        stations=stations,
        episode=first,
        outcomes=outcomes,
        differs={label: found.get(label, {}) for label in labels},
        axes=differing.axes_of(found) if axes is None else tuple(axes),
        limits=limits,
        least_m3s=least,
        greatest_m3s=greatest,
        same_inflow=same,
        notes=tuple(notes),
        from_s=from_s,
        to_s=to_s,
        day=day_name,
    )
    return StudyResult(
        study="compare",
        subject=", ".join(facts.names),
        tables={
            "settings": settings_table(facts.differs),
            "compared": compared_table(outcomes),
            "limits": limits_table(limits),
        },
        tell=lambda system: verdict.sentences(facts, system),
        show=lambda system: screen.lines(facts, system),
        draw=pictures.of(facts),
        asked={
            "settings": labels,
            "day": day_name,
            "inflow": "the same for all" if same else "each its own",
            "notes": list(notes),
            **(asked or {}),
        },
        sources=tuple(sources),
    )


def _check(settings: Settings) -> None:
    labels = [label for label, _, _ in settings]
    if len(settings) < 2:
        leave = "setting leaves" if len(settings) == 1 else "settings leave"
        raise InputError(f"{len(settings)} {leave} nothing to compare; give two or more")
    twice = next((label for label in labels if labels.count(label) > 1), None)
    if twice is not None:
        raise InputError(f"two settings are called '{twice}'; each needs a name of its own")
    first = settings[0][2]
    problems = []
    for label, station, episode in settings:
        if (episode.start, episode.duration_s) != (first.start, first.duration_s):
            problems.append(
                f"{label}: begins or ends at another time than {labels[0]}; settings are compared"
                " over the same time (episode.start, episode.duration)"
            )
        whose = labels[0] if episode is first else label
        problems += _misfits(label, station, episode, whose)
    if problems:
        raise InputError("\n".join(dict.fromkeys(problems)))


def _of_a_machine(event: ScriptedEvent) -> bool:
    whose = BY_KIND[event.kind].subject
    resets = event.kind == "reset" and not event.subject.endswith("generator")
    return resets or whose in (PUMP, ENGINE, MACHINE)


def _misfits(label: str, station: Station, episode: Episode, whose: str) -> list[str]:
    """Return what of an episode does not go with a station."""
    names = station.machine_names()
    missing = dict.fromkeys(
        event.subject
        for event in episode.events
        if _of_a_machine(event) and event.subject not in names
    )
    found = [
        f"{label}: the episode of {whose} has an event about {name}, and this station has no such"
        f" machine (accepted: {', '.join(names)})"
        for name in missing
    ]
    level, spillway = episode.start_level_m, station.spillway
    if spillway is not None and level > spillway.crest_m:
        found.append(
            f"{label}: the episode of {whose} begins with the level at {level:g} m above the floor,"
            f" above the spill of this station (accepted: up to {spillway.crest_m:g} m)"
        )
    return found


def _with_inflow(episodes: Sequence[Episode]) -> tuple[list[Episode], Segments, bool]:
    """Return the episodes with their inflow worked out, that of the first, and if all are alike."""
    known: list[tuple[Episode, Segments]] = []
    found: list[Episode] = []
    for episode in episodes:
        pieces = next((p for one, p in known if one.inflow is episode.inflow), None)
        if pieces is None:
            pieces = total_inflow(episode)
            like = next((p for _, p in known if _alike(p, pieces)), None)
            pieces = pieces if like is None else like
            known.append((episode, pieces))
        found.append(with_known_inflow(episode, pieces))
    return found, known[0][1], all(pieces is known[0][1] for _, pieces in known)


def _alike(one: Segments, other: Segments) -> bool:
    return all(
        np.array_equal(getattr(one, field.name), getattr(other, field.name))
        for field in dataclasses.fields(one)
    )


def _midnights(episode: Episode) -> list[tuple[float, float]]:
    """Return beginning and end of each calendar day of an episode [s]."""
    end_s, at = episode.duration_s, -episode.clock_offset_s
    found = []
    while at < end_s - 1.0:
        found.append((max(at, 0.0), min(at + DAY_S, end_s)))
        at += DAY_S
    return found


def _named(episode: Episode, span: tuple[float, float], number: int) -> tuple[float, float, str]:
    when = episode.moment(span[0])
    return *span, f"day {number}, {day_of(when)} {date_of(when)}"


def _fullest_day(episode: Episode, inflow: Segments) -> tuple[float, float, str]:
    """Return the day with the most inflow, the first of equals."""
    days = _midnights(episode)
    volumes = [inflow.volume_m3(to_s) - inflow.volume_m3(from_s) for from_s, to_s in days]
    most = max(volumes)
    number = next(n for n, v in enumerate(volumes) if v >= most * (1.0 - 1e-9))
    return _named(episode, days[number], number + 1)


def _day(episode: Episode, text: str) -> tuple[float, float, str]:
    """Return the day that somebody asked for; the first one when nobody did."""
    days = _midnights(episode)
    first, last = (episode.moment(span[0]).date() for span in (days[0], days[-1]))
    accepted = f"accepted: day 1 to day {len(days)}, or a date from {first} to {last}"
    plain = re.fullmatch(r"(?:day\s*)?(\d{1,6})", text.strip() or "1", re.IGNORECASE)
    if plain:
        number = int(plain.group(1))
    else:
        try:
            number = (dt.date.fromisoformat(text.strip()) - first).days + 1
        except ValueError as error:
            raise InputError(f"--day {text}: is no day ({accepted})") from error
    if not 1 <= number <= len(days):
        raise InputError(f"--day {text}: is no day of this episode ({accepted})")
    return _named(episode, days[number - 1], number)

"""What is handed out of exercises, a slip for each student, and the key for whoever teaches.

A slip says when it begins, where the student stands and what to type; it is made from the station,
the moment and the people of the file alone, so it cannot tell the truth. Whoever has the number and
the seed could have the truth printed, and is told so: the folders are apart so that it takes
intent.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from stationsim.equipment.faults import BY_KIND, ENGINE, MACHINE, PUMP
from stationsim.forms import PART_COLUMNS, Form
from stationsim.studies.drill import said
from stationsim.studies.drill.crew.hands import who_answers
from stationsim.tables import local_times
from stationsim.units import show
from stationsim.wording.words import date_of, day_of, listed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stationsim.episode import Episode, ScriptedEvent
    from stationsim.forms import Laid
    from stationsim.station import Station
    from stationsim.studies.drill.exercises.practice import Exercise
    from stationsim.studies.drill.exercises.tried import Acting, Figures
    from stationsim.units import System

EXERCISES, KEY, OUTCOMES = "exercises", "key", "key_outcomes"
"""Names of the tables: what students have, what is wrong, and what comes of it."""

EXERCISE_COLUMNS = ("exercise", "start_time", "told", "command")
KEY_COLUMNS = ("exercise", "time", "t_s", "part", "subject", "event", "detail", "remedy")
OUTCOME_COLUMNS = (
    "exercise", "start_time", "trouble", "effect_of_acting", "tries", "nobody_spilled_m3",
    "plan_spilled_m3", "acted_spilled_m3", "trouble_s", "to_alarm_s", "to_high_level_s",
    "to_spill_s", "there_s",
)  # fmt: skip

ACTING: dict[Acting, str] = {
    "acting counts": "somebody who acts in time makes it less",
    "runs by itself": "with nobody acting it neither spills nor stands high for long",
    "little can be done": "it comes too fast, or too little can be done, to make it much less",
}
"""What acting in time does -> what that means."""

REMEDIES = {
    "reset": "a reset, once its cause has been looked for",
    "auto": "its selector back to auto, once it is certain that nobody works on it",
    "set right": (
        "setting it right, by those who are trained and licensed for it, with what could start or"
        " is live isolated and locked off first"
    ),
    "clear rags": (
        "clearing the rags, with the pump isolated, locked off and tried first, a second person"
        " there, and no entry without a permit"
    ),
    "hand": (
        "running pumps in hand, with somebody beside them who watches the level and stops them"
        " before they run dry"
    ),
    "mobile generator": (
        "the mobile generator, connected by those who are licensed for it, with no back-feed into"
        " the grid, out of doors, and stopped before it is refuelled"
    ),
    "bypass pump": (
        "the bypass pump, with its hoses secured before it starts, people kept clear of them, and"
        " its engine out of doors and stopped before it is refuelled"
    ),
    "haul": (
        "tankers, with a place that may take the load, people kept clear of traffic, and nobody at"
        " the open well alone"
    ),
    "nothing": "nothing here: it has to be worked around",
}
"""Remedy -> how the key says it; the care in it is common practice, no source."""

_SOMEBODY_ELSE = "calling somebody else"

KEY_SAYS = (
    "Keep this folder from those who practise. What could be done is told as far as the simulation"
    " knows it; what may be done, and by whom, local rules and those who are licensed say."
)
"""What stands on the key."""

NOT_LOCKED = (
    "The number and the seed of an exercise, which stand on its slip, are enough to look up its"
    " truth with this tool: where it has to stay hidden, have it played under your eyes, on your"
    " machine."
)
"""How well the key is kept; on the key, and told to whoever has it made."""

_NAMED = (PUMP, ENGINE, MACHINE, "machine or generator", "anything")
"""Subjects of the catalogue that are written before what happens."""

LINES_OF_LOG = 26
_PARTS: dict[str, Laid] = {"Exercise": "across", "Log": "across"}
_CUT = "- " * 30


# ---------------------------------------------------------------------- one exercise


def briefing_of(station: Station, episode: Episode) -> tuple[str, ...]:
    """Return what a student is told at the beginning, a line each.

    Parameters
    ----------
    station, episode
        What stands there, and the exercise; only its start and its people count.

    Raises
    ------
    InputError
        When somebody in the file has a name that means something else in a drill.
    """
    response = episode.response
    begins = f"It begins {_moment(episode, 0.0)}, local time, at {station.name}."
    lasts = f"It ends after {show(episode.duration_s, 'duration', 'si')} at the latest."
    if response is None or not response.people:
        where = "You answer for the station, and stand on site."
    else:
        person = who_answers(response)
        way = said.way_text(person)
        where = f"You are {person.name}, away from the station: {way}."
    known = "Nobody has told you of anything that is wrong."
    return (begins, where, known, lasts)


def _moment(episode: Episode, t_s: float) -> str:
    when = episode.moment(t_s)
    return f"{day_of(when)} {date_of(when)} {when.year} {when:%H:%M}"


def event_words(event: ScriptedEvent, system: System = "si") -> str:
    """Return an event as a scenario writes it, without its moment: ``P2 clogged to 60 %``.

    Parameters
    ----------
    event
        What happens.
    system
        ``si`` or ``us``.
    """
    fault = BY_KIND[event.kind]
    words = fault.phrase.format(float=event.subject, alarm=event.subject)
    words = f"{event.subject} {words}" if fault.subject in _NAMED else words
    amount = fault.amount
    if amount is not None:
        value = event.amount if event.amount != 0.0 else event.flow_left
        if value != amount.default:
            of_level = amount.quantity != "percent"
            number = show(value, "level", system) if of_level else f"{100.0 * value:.4g} %"
            words += f" {amount.link} {number}"
    if event.duration_s is not None:
        words += f" for {show(event.duration_s, 'duration', 'si')}"
    if fault.until_reset and not event.resets_itself:
        words += " until reset"
    return words


def truth_of(drawn: Exercise, system: System) -> tuple[str, ...]:
    """Return what the key says of an exercise, a line each.

    Parameters
    ----------
    drawn
        The exercise.
    system
        ``si`` or ``us``.
    """
    episode, tried = drawn.episode, drawn.tried
    lines = [f"{drawn.troubles[0].name}, from {_moment(episode, drawn.at_s)} on"]
    for part, what, t_s, remedy in _wrong(drawn, system):
        at = "from the beginning" if t_s <= 0.0 else _moment(episode, t_s)
        lines.append(f"{part}, {at}: {what}; what helps: {remedy}")
    lines.append(f"{tried.acting}: {ACTING[tried.acting]}")
    lines.append(f"nobody acts: {_comes(tried.nobody, drawn.at_s, system)}")
    if tried.plan is not None:
        lines.append(f"the written plan: {_comes(tried.plan, drawn.at_s, system)}")
    there = f"from {_moment(episode, tried.there_s)} on"
    if tried.acts:
        done = listed([event_words(act, system) for act in tried.acts])
        came = _comes(tried.acted, drawn.at_s, system)
        lines.append(f"somebody acts, {there} ({done}): {came}")
    else:
        lines.append(f"somebody could be there {there}; no turn of a hand would help by itself")
    return tuple(f"{line}." for line in lines)


def _comes(found: Figures, at_s: float, system: System) -> str:
    """Return what came of a run, with minutes from the trouble on."""
    spills = found.spilled_m3 > 0.0
    words = [f"{show(found.spilled_m3, 'volume', system)} spill" if spills else "no spill"]
    for what, t_s in (("alarm", found.alarm_s), ("high water", found.high_s)):
        words.append(f"{what} {_after(t_s, at_s)}")
    if spills:
        words.append(f"spill {_after(found.spill_s, at_s)}")
    return ", ".join(words)


def _after(t_s: float, at_s: float) -> str:
    return "never" if math.isinf(t_s) else f"after {(t_s - at_s) / 60.0:.0f} min"


def _wrong(drawn: Exercise, system: System) -> Iterator[tuple[str, str, float, str]]:
    """Yield each thing that is wrong: which part, what, when [s], and what helps."""
    for n, trouble in enumerate(drawn.troubles):
        part = "hidden" if n else "main"
        for event, remedy in trouble.wrongs:
            yield part, event_words(event, system), event.at_s, REMEDIES[remedy]
        if trouble.surge is not None:
            peak = show(max(trouble.surge.flows_m3s), "flow", system)
            hours = show(trouble.surge.times_s[-1], "duration", "si")
            words = f"more arrives: {peak} at the most, over in {hours}"
            yield part, words, trouble.surge.at_s, REMEDIES["nothing"]
        if trouble.silent:
            yield part, f"{trouble.silent} does not answer", 0.0, _SOMEBODY_ELSE


# ---------------------------------------------------------------------- tables


def command_of(command: str, drawn: Exercise) -> str:
    """Return what a student types.

    Parameters
    ----------
    command
        How the drill of this file is begun.
    drawn
        The exercise.
    """
    return f"{command} --exercise {drawn.number} --seed {drawn.seed}"


def exercise_table(drawn: Sequence[Exercise], command: str) -> pd.DataFrame:
    """Return the table for students, a row for each exercise.

    Parameters
    ----------
    drawn
        The exercises.
    command
        How the drill of this file is begun.
    """
    rows = [
        (one.number, _time(one, 0.0), " ".join(one.briefing), command_of(command, one))
        for one in drawn
    ]
    return pd.DataFrame(rows, columns=list(EXERCISE_COLUMNS))


def key_table(drawn: Sequence[Exercise]) -> pd.DataFrame:
    """Return what is wrong in each exercise, a row for each thing.

    Parameters
    ----------
    drawn
        The exercises.
    """
    rows: list[tuple[object, ...]] = []
    for one in drawn:
        for n, trouble in enumerate(one.troubles):
            part = "hidden" if n else "main"
            for event, remedy in trouble.wrongs:
                at = (_time(one, event.at_s), event.at_s)
                words = event_words(event)
                rows.append((one.number, *at, part, event.subject, event.kind, words, remedy))
            if trouble.surge is not None:
                peak = f"{max(trouble.surge.flows_m3s):.6g} m3/s at the most"
                at = (_time(one, trouble.surge.at_s), trouble.surge.at_s)
                rows.append((one.number, *at, part, "inflow", "more arrives", peak, "nothing"))
            if trouble.silent:
                at = (_time(one, 0.0), 0.0)
                rows.append((one.number, *at, part, trouble.silent, "no answer", "", "nothing"))
    return pd.DataFrame(rows, columns=list(KEY_COLUMNS))


def outcome_table(drawn: Sequence[Exercise]) -> pd.DataFrame:
    """Return what comes of each exercise, a row each; seconds count from its main trouble.

    Parameters
    ----------
    drawn
        The exercises.
    """
    rows = []
    for one in drawn:
        tried, nobody = one.tried, one.tried.nobody
        plan_m3 = math.nan if tried.plan is None else tried.plan.spilled_m3
        times = (nobody.alarm_s, nobody.high_s, nobody.spill_s, tried.there_s)
        rows.append(
            (
                one.number, _time(one, 0.0), " and ".join(t.name for t in one.troubles),
                tried.acting, one.attempts, nobody.spilled_m3, plan_m3, tried.acted.spilled_m3,
                one.at_s, *(math.nan if math.isinf(t) else t - one.at_s for t in times),
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(OUTCOME_COLUMNS))


def _time(one: Exercise, t_s: float) -> str:
    return str(local_times(one.episode.start, np.array([t_s]))[0])


# ---------------------------------------------------------------------- slips and key, as text


def slip_lines(drawn: Sequence[Exercise], command: str, _system: System) -> list[str]:
    """Return all slips, one below the other, to be cut apart.

    Parameters
    ----------
    drawn
        The exercises.
    command
        How the drill of this file is begun.
    """
    lines: list[str] = []
    for one in drawn:
        lines += [_CUT.rstrip(), f"Exercise {one.number}", *one.briefing]
        lines += [f"Type: {command_of(command, one)}", said.CARD_CAUTION, ""]
    return lines


def slips(drawn: Sequence[Exercise], command: str, _system: System) -> list[Form]:
    """Return a sheet for each student: the slip, and a log to be kept while it lasts.

    Parameters
    ----------
    drawn
        The exercises.
    command
        How the drill of this file is begun.
    """
    return [_slip(one, command) for one in drawn]


def _slip(one: Exercise, command: str) -> Form:
    wide = max(2, len(str(one.number)))
    heads = ("Begins", "You", "Known", "Ends", "To type")
    lines = [*one.briefing, command_of(command, one)]
    rows: list[tuple[str | None, ...]] = [("Exercise", "Name", "", None)]
    rows += [("Exercise", head, "", text) for head, text in zip(heads, lines, strict=True)]
    for n in range(1, LINES_OF_LOG + 1):
        rows += [("Log", f"{n}", what, None) for what in ("Clock", "What I know", "What I decide")]
    return Form(
        name=f"exercise_{one.number:0{wide}d}",
        title=f"Exercise {one.number}",
        columns=PART_COLUMNS,
        rows=tuple(rows),
        blank=("entry",),
        notes=("Keep the log as you go: the clock, what you know then, what you decide and why.",),
        room={"entry": 40},
        cautions=said.CAUTIONS,
        footer=said.CARD_CAUTION,
        signed="",
        parts=_PARTS,
    )


def student_sentences(drawn: Sequence[Exercise], name: str, _system: System) -> list[str]:
    """Return what stands above the slips.

    Parameters
    ----------
    drawn
        The exercises.
    name
        The station.
    """
    count = len(drawn)
    return [
        f"{name}: {count} exercise{'s' if count != 1 else ''}, one for each who practises.",
        "Each is a day of its own, and what happens in it is not told beforehand.",
    ]


def key_sentences(drawn: Sequence[Exercise], name: str, _system: System) -> list[str]:
    """Return what whoever teaches should know first.

    Parameters
    ----------
    drawn
        The exercises.
    name
        The station.
    """
    told = [
        f"{name}: the key to {len(drawn)} exercise{'s' if len(drawn) != 1 else ''}. {KEY_SAYS}",
        NOT_LOCKED,
    ]
    counts = ACTING["acting counts"]
    for acting, means in ACTING.items():
        numbers = [str(one.number) for one in drawn if one.tried.acting == acting]
        if means != counts and numbers:
            told.append(f"{listed(numbers)}: {acting}; {means}.")
    if all(one.tried.acting == "acting counts" for one in drawn):
        told.append(f"In each of them {counts}.")
    return told


def key_lines(drawn: Sequence[Exercise], system: System) -> list[str]:
    """Return the key, exercise by exercise.

    Parameters
    ----------
    drawn
        The exercises.
    system
        ``si`` or ``us``.
    """
    lines: list[str] = []
    for one in drawn:
        lines += [f"Exercise {one.number}, which begins {_moment(one.episode, 0.0)}"]
        lines += [f"  {line}" for line in one.truth(system)]
    return lines

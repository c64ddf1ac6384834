"""What would have come of it: courses of the same night, and what each decision was worth.

A course is a whole run. Nobody acts: the episode without people. The written plan: the episode as
its file has it. And for each decision two runs in which the person who plays types some of the
lines, each at its own time: all up to and with this one and nothing after, and all but this one.
Lines that only look are typed when a decision comes after them, because they keep hands busy; waits
are not, because a line waits for its own time.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.metrics.spilled import spilled_by
from stationsim.simulation.session import simulate
from stationsim.studies.drill.drill import play

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from stationsim.results import Result
    from stationsim.studies.drill.drill import Drill
    from stationsim.studies.drill.told import Action
    from stationsim.trace import CrewRow

    Progress = Callable[[int, int], None]

NOBODY, PLAN, YOU = "nobody acts", "written plan", "you"
"""The courses, in this order."""

VOLUME = "volume spilled"

_HOUR_S = 3600.0
_ROUNDING = 1e-12
"""Two runs that do the same differ by no more than this part of what spills if nobody acts [-]."""
_ONLY_BRINGS = ("call", "send")
"""Decisions that bring people and tools to the site, and do nothing there."""


class Worth(NamedTuple):
    """What a decision was worth.

    Parameters
    ----------
    spilled_before_m3
        What was lost by then [m3].
    left_m3
        What spills in all if everything is decided up to and with this one, and nothing after [m3].
    bought_m3
        By how much it brings that down, after all before it; less than nought: it made more [m3].
    without_m3
        What spills in all if only this one is left out [m3].
    also_m3
        By how much that is more than with it [m3].
    """

    spilled_before_m3: float
    left_m3: float
    bought_m3: float
    without_m3: float
    also_m3: float


class Figure(NamedTuple):
    """One figure of a course: metric, value and unit."""

    metric: str
    value: float
    unit: str


def courses_of(drill: Drill) -> dict[str, Result]:
    """Return the courses by name: nobody acts, the written plan where there is one, you.

    Parameters
    ----------
    drill
        The drill; it is brought to its end.
    """
    yours = drill.finish()
    episode = drill.episode
    found = {NOBODY: simulate(drill.station, dataclasses.replace(episode, response=None))}
    if episode.response is not None:
        found[PLAN] = simulate(drill.station, episode)
    found[YOU] = yours
    return found


def some_lines(drill: Drill, kept: Iterable[int]) -> tuple[Action, ...]:
    """Return the lines that have to be typed again for some of the decisions.

    Parameters
    ----------
    drill
        What was typed.
    kept
        Which decisions, counted from nought.

    Notes
    -----
    Orders that were refused are not typed again: they did nothing. Nor are waits, notes and what
    was asked; none of them reaches the plant or a person who is at work.
    """
    numbers = {drill.decided[n].action for n in kept}
    last = max(numbers, default=-1)
    return tuple(
        action
        for n, action in enumerate(drill.actions)
        if n in numbers
        or (n < last and n not in drill.refused and action.line.split()[0].lower() == "look")
    )


def spilled_with(drill: Drill, lines: tuple[Action, ...]) -> float:
    """Return what spills in all when these lines are typed and no others [m3].

    Parameters
    ----------
    drill
        The drill, whatever was typed in it.
    lines
        What is typed, each line at its own time.
    """
    other = drill.again()
    play(other, lines)
    return other.finish().trace.spilled_m3


def worth_of(
    drill: Drill, nobody_m3: float, yours: Result, progress: Progress | None = None
) -> list[Worth]:
    """Return what each decision was worth.

    Parameters
    ----------
    drill
        What was typed, and decided.
    nobody_m3
        What spills when nobody acts [m3].
    yours
        The run of the drill.
    progress
        Told after each run how many are done, of how many.
    """
    count = len(drill.decided)
    every = tuple(range(count))
    chain = [some_lines(drill, every[: n + 1]) for n in every]
    without = [some_lines(drill, (*every[:n], *every[n + 1 :])) for n in every]
    same = {}  # whoever is called or sent does nothing on site until they are told to
    for n, one in enumerate(drill.decided):
        if one.verb in _ONLY_BRINGS:
            same[chain[n]] = chain[n - 1] if n else ()
    known = {_run_of(some_lines(drill, every), same): yours.trace.spilled_m3, (): nobody_m3}
    wanted = [_run_of(lines, same) for lines in (*chain, *without)]
    wanted = [lines for lines in dict.fromkeys(wanted) if lines not in known]
    for done, lines in enumerate(wanted, 1):
        known[lines] = spilled_with(drill, lines)
        if progress is not None:
            progress(done, len(wanted))
    before = spilled_by(yours.course, np.array([one.t_s for one in drill.decided]))
    found, last_m3, yours_m3 = [], nobody_m3, yours.trace.spilled_m3
    for n in every:
        left_m3, without_m3 = (known[_run_of(one, same)] for one in (chain[n], without[n]))
        bought_m3, also_m3 = (
            0.0 if abs(value) <= _ROUNDING * nobody_m3 else value
            for value in (last_m3 - left_m3, without_m3 - yours_m3)
        )
        found.append(Worth(float(before[n]), left_m3, bought_m3, without_m3, also_m3))
        last_m3 = left_m3
    return found


def _run_of(
    lines: tuple[Action, ...], same: dict[tuple[Action, ...], tuple[Action, ...]]
) -> tuple[Action, ...]:
    """Return the fewest lines that make the same run."""
    while lines in same:
        lines = same[lines]
    return lines


def figures(result: Result) -> list[Figure]:
    """Return the figures of a course by which it is held against the others.

    Parameters
    ----------
    result
        The run.
    """
    trace, alarm_m = result.trace, result.station.alarms.high_level_m
    lost_s = power_lost_s(result)
    starts_s = [run.start_s for run in trace.runs]
    pumping_s = min((t - lost_s for t in starts_s if t >= lost_s), default=math.nan)
    above_s = math.nan if alarm_m is None else result.course.seconds_above(alarm_m)
    return [
        Figure(VOLUME, trace.spilled_m3, "m3"),
        Figure("spills", float(len(trace.spills)), ""),
        Figure(
            "time of first spill", min((row.start_s for row in trace.spills), default=math.nan), "s"
        ),
        Figure("spill hours", sum(row.stop_s - row.start_s for row in trace.spills) / _HOUR_S, "h"),
        Figure("greatest level", trace.greatest_level_m, "m"),
        Figure("least level", trace.least_level_m, "m"),
        Figure("hours above high-level alarm", above_s / _HOUR_S, "h"),
        Figure("starts", float(len(starts_s)), ""),
        Figure("time from power loss to pumping", pumping_s, "s"),
    ]


def of_people(drill: Drill, course: str, result: Result) -> list[Figure]:
    """Return when somebody knew, decided and stood on site in a course.

    Parameters
    ----------
    drill
        The drill.
    course
        Which course.
    result
        Its run.
    """
    known_s = order_s = site_s = math.nan
    if course == YOU:
        known_s = first_known_s(drill)
        order_s = min((one.t_s for one in drill.decided), default=math.nan)
        site_s = first_on_site_s(drill)
    elif course == PLAN:
        reached = [row.reached_s for row in result.trace.alarms]
        known_s = min((t_s for t_s in reached if not math.isnan(t_s)), default=math.nan)
        site_s = _came_s(result.trace.crew)
    return [
        Figure("time of first alarm known", known_s, "s"),
        Figure("time of first order", order_s, "s"),
        Figure("time of first on site", site_s, "s"),
    ]


def power_lost_s(result: Result) -> float:
    """Return when the grid was lost for the first time [s]; NaN for never.

    Parameters
    ----------
    result
        The run.
    """
    rows = result.trace.power
    return min(
        (row.start_s for row in rows if row.source == "grid" and row.state == "out"),
        default=math.nan,
    )


def first_known_s(drill: Drill) -> float:
    """Return when the person who played knew of the first alarm [s]; NaN for never.

    Parameters
    ----------
    drill
        The drill, at its end.
    """
    return min((t_s for t_s in drill.reached.values() if t_s <= drill.left_s), default=math.nan)


def first_on_site_s(drill: Drill) -> float:
    """Return when somebody stood on site for the first time [s]; NaN for never.

    Parameters
    ----------
    drill
        The drill, at its end.
    """
    drill.finish()
    return 0.0 if drill.began_there else _came_s(drill.crew.diary.rows)


def _came_s(rows: Sequence[CrewRow]) -> float:
    came = [
        row.stop_s if row.task == "travels" else row.start_s
        for row in rows
        if (row.task == "travels" and row.outcome == "on site") or row.task == "visits"
    ]
    return min(came, default=math.nan)

"""The small words of sentences and labels: moments, levels, lists, how often, how long."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.units import System

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WEEK_S = 7.0 * 86400.0
_ONE_INSTANT_S = 1e-6


def moment(result: Result, t_s: float) -> str:
    """Return a moment as people say it: weekday and clock, with the date in a long run.

    Parameters
    ----------
    result
        The run.
    t_s
        Seconds since the start of the episode [s].
    """
    when = result.episode.moment(t_s) + timedelta(seconds=30.0)
    date = f" {date_of(when)}" if result.trace.end_s > _WEEK_S else ""
    return f"{day_of(when)}{date} {when:%H:%M}"


def at_end(result: Result, t_s: float) -> bool:
    """Return whether a moment is the end of the run: then nothing ended, the run did.

    Parameters
    ----------
    result
        The run.
    t_s
        Seconds since the start of the episode [s].
    """
    return t_s >= result.trace.end_s - _ONE_INSTANT_S


def until(result: Result, t_s: float) -> str:
    """Return an end as people say it: ``to Tue 10:00``, or ``to the end``.

    Parameters
    ----------
    result
        The run.
    t_s
        Seconds since the start of the episode [s].
    """
    return "to the end" if at_end(result, t_s) else f"to {moment(result, t_s)}"


def day_of(when: datetime) -> str:
    """Return the day of the week in three letters, whatever the computer's language.

    Parameters
    ----------
    when
        A moment.
    """
    return _DAYS[when.weekday()]


def date_of(when: datetime) -> str:
    """Return day and month: ``3 Mar``.

    Parameters
    ----------
    when
        A moment.
    """
    return f"{when.day} {month_of(when)}"


def month_of(when: datetime) -> str:
    """Return the month in three letters, whatever the computer's language.

    Parameters
    ----------
    when
        A moment.
    """
    return _MONTHS[when.month - 1]


def listed(words: Sequence[str]) -> str:
    """Return words joined as in a sentence: ``P1, P2 and P3``.

    Parameters
    ----------
    words
        At least one.
    """
    if len(words) == 1:
        return words[0]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def times(count: int) -> str:
    """Return how often, in words for small numbers.

    Parameters
    ----------
    count
        How often.
    """
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def level_text(station: Station, level_m: float, system: System) -> str:
    """Return a level as the people of this station say it.

    Parameters
    ----------
    station
        Says what levels are counted from.
    level_m
        Level above the floor [m].
    system
        ``si`` or ``us``.

    Notes
    -----
    ``2.70 m`` is above the floor, which is not said again each time; ``elevation 99.60 m`` and
    ``0.80 m below the cover`` say what they are.
    """
    number = station.shown_m(level_m)
    if station.levels_shown == "elevation":
        return f"elevation {show(number, 'level', system)}"
    if station.levels_shown == "below cover":
        side = "below" if number >= 0.0 else "above"
        return f"{show(abs(number), 'level', system)} {side} the cover"
    return show(number, "level", system)

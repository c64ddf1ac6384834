"""How moments, levels, small differences and causes are said in an answer."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

from stationsim import vocabulary
from stationsim.units import show
from stationsim.wording import at_end, date_of, day_of, level_text

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.units import System

_LEVEL = re.compile(r"(-?\d+\.\d+) m\b")
_DAY_S = 86_400.0
_INCH_M = 0.0254


def clock(result: Result, t_s: float) -> str:
    """Return a moment to the second: weekday and clock, with the date in a run of over a week.

    Parameters
    ----------
    result
        The run.
    t_s
        Seconds since the start of the episode [s].
    """
    when = result.episode.moment(t_s) + timedelta(seconds=0.5)
    date = f" {date_of(when)}" if result.trace.end_s > 7.0 * _DAY_S else ""
    second = f":{when:%S}" if when.second else ""
    return f"{day_of(when)}{date} {when:%H:%M}{second}"


def span(result: Result, start_s: float, stop_s: float) -> str:
    """Return from when to when, and how long; an end that is that of the run is said so.

    Parameters
    ----------
    result
        The run.
    start_s, stop_s
        From and to [s].
    """
    first, last = clock(result, start_s), clock(result, stop_s)
    if at_end(result, stop_s):
        return f"from {first} to the end of the run"
    if last.rpartition(" ")[0] == first.rpartition(" ")[0]:
        last = last.rpartition(" ")[2]
    return f"from {first} to {last} ({lasting(stop_s - start_s)})"


def lasting(duration_s: float) -> str:
    """Return a duration, exact where it was set so.

    Parameters
    ----------
    duration_s
        The duration [s].
    """
    return show(duration_s, "duration", "si")


def short(length_m: float, system: System) -> str:
    """Return a small difference of levels: ``6 cm``, ``4 mm``, ``2.4 in``.

    Parameters
    ----------
    length_m
        The difference [m].
    system
        ``si`` or ``us``.
    """
    if system == "us":
        inches = length_m / _INCH_M
        return f"{inches:.1f} in" if inches < 36.0 else show(length_m, "level", "us")
    if length_m >= 0.995:
        return show(length_m, "level", "si")
    if length_m >= 0.0095:
        return f"{100.0 * length_m:.0f} cm"
    return f"{1000.0 * length_m:.1g} mm"


def cause_text(station: Station, cause: str, system: System) -> str:
    """Return a cause of the tables with its levels as the people of this station say them.

    Parameters
    ----------
    station
        Says what levels are counted from.
    cause
        A cause, whose levels are above the floor.
    system
        ``si`` or ``us``.
    """
    return _LEVEL.sub(lambda found: level_text(station, float(found.group(1)), system), cause)


def role_text(role: str) -> str:
    """Return a role with the other word of the trade for it in brackets: ``lead (duty)``.

    Parameters
    ----------
    role
        A role of the vocabulary.
    """
    entry = next((one for one in vocabulary.ROLES if one.word == role), None)
    if entry is None or not entry.also:
        return role
    return f"{role} ({entry.also[0]})"

"""The answer on one screen: the moment, then each machine."""

from __future__ import annotations

import difflib
import math
import textwrap
from typing import TYPE_CHECKING, cast

import numpy as np

from stationsim.errors import InputError
from stationsim.units import show
from stationsim.why.electric import of_pump
from stationsim.why.engine import of_engine
from stationsim.why.people import of_people
from stationsim.why.scene import Answer, Scene
from stationsim.wording import date_of, day_of, listed

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.units import System
    from stationsim.why.watching import Watched

_WIDTH = 96


def check(station: Station, episode: Episode, at_s: float, pump: str = "") -> None:
    """Check a question before anything is run.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it.
    at_s
        The moment [s since the start of the episode].
    pump
        Which machine; empty for each.

    Raises
    ------
    InputError
        When the moment lies outside the run, or there is no such machine.
    """
    names = station.machine_names()
    if pump and pump not in names:
        near = difflib.get_close_matches(pump.upper(), names, 1, 0.5)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        message = f"--pump: no pump is called '{pump}'{hint}; this station has {', '.join(names)}"
        raise InputError(message)
    if not 0.0 <= at_s <= episode.duration_s:
        first, last = (f"{episode.moment(t):%Y-%m-%d %H:%M}" for t in (0.0, episode.duration_s))
        side = "after the end of" if at_s > 0.0 else "before the start of"
        message = f"--at: the moment lies {side} the run, which goes from {first} to {last}"
        raise InputError(message)


def answer(seen: Watched, at_s: float, pump: str = "", system: str = "si") -> list[Answer]:
    """Return why each machine, or one of them, ran at a moment or did not.

    Parameters
    ----------
    seen
        The run, and the turns of its controller; see :func:`stationsim.why.watching.watched`.
    at_s
        The moment [s since the start of the episode].
    pump
        Which machine; empty for each.
    system
        ``si`` or ``us``.

    Raises
    ------
    InputError
        When the moment lies outside the run, or there is no such machine.
    """
    result = seen.result
    check(result.station, result.episode, at_s, pump)
    names = result.station.machine_names()
    scene = Scene(seen, min(at_s, math.nextafter(result.trace.end_s, 0.0)), cast("System", system))
    engines = {engine.pump.name for engine in result.station.engines()}
    return [
        of_engine(scene, name) if name in engines else of_pump(scene, name)
        for name in names
        if pump in ("", name)
    ]


def lines(seen: Watched, at_s: float, pump: str = "", system: str = "si") -> list[str]:
    """Return the answer as lines to print: all that is known of one machine, or a verdict of each.

    Parameters
    ----------
    seen, at_s, pump, system
        As for :func:`answer`.

    Raises
    ------
    InputError
        When the moment lies outside the run, or there is no such machine.
    """
    found = answer(seen, at_s, pump, system)
    said = head(Scene(seen, at_s, cast("System", system)))
    for one in found:
        said += textwrap.wrap(one.verdict, _WIDTH, subsequent_indent="    ")
        for sentence in one.more if pump else ():
            said += textwrap.wrap(sentence, _WIDTH, initial_indent="  - ", subsequent_indent="    ")
    told = people(seen, at_s, system)
    if told:
        said += ["", "People:"]
    for sentence in told:
        said += textwrap.wrap(sentence, _WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return said


def people(seen: Watched, at_s: float, system: str = "si") -> list[str]:
    """Return who was where at a moment, what they waited for and who knew of which alarm.

    Empty for an episode in which nobody answers.

    Parameters
    ----------
    seen, at_s, system
        As for :func:`answer`.
    """
    last_s = math.nextafter(seen.result.trace.end_s, 0.0)
    return of_people(Scene(seen, min(at_s, last_s), cast("System", system)))


def head(scene: Scene) -> list[str]:
    """Return the moment itself: when it was, where the water stood, who ran.

    Parameters
    ----------
    scene
        The moment.
    """
    result = scene.result
    at_s = min(scene.at_s, math.nextafter(scene.trace.end_s, 0.0))
    when = result.episode.moment(at_s)
    second = f":{when:%S}" if when.second else ""
    days = int((at_s + result.episode.clock_offset_s) // 86_400.0) + 1
    date = f"{day_of(when)} {date_of(when)} {when.year} {when:%H:%M}{second}"
    first = f"{result.station.name}, {date} (day {days})"
    level = scene.level_at(at_s)
    arriving = float(result.trace.inflow.at(np.array([at_s]))[0])
    running = [name for name in scene.names if scene.run_now(name) is not None]
    who = f"{listed(running)} ran" if running else "no pump ran"
    flow = show(arriving, "flow", scene.system)
    water = f"Level {scene.level(level)}, {scene.trend}; {flow} arrived; {who}."
    told = [first, water]
    if scene.signal_wrong:
        seen = scene.seen_at(at_s)
        saw = "had no signal" if math.isnan(seen) else f"saw {scene.level(seen)}"
        told.append(f"The panel {saw}.")
    return [*told, ""]

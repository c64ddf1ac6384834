"""The end of a drill in words: truth beside seen, the courses, what each decision was worth."""

from __future__ import annotations

import math
import textwrap
from itertools import zip_longest
from typing import TYPE_CHECKING, NamedTuple

from stationsim.studies.drill.account import courses as c
from stationsim.studies.drill.account.courses import NOBODY, PLAN, VOLUME, YOU
from stationsim.units import show
from stationsim.wording import level_text, listed

if TYPE_CHECKING:
    from stationsim.studies.drill.account.beside import Truth
    from stationsim.studies.drill.account.study import Found
    from stationsim.units import System

_TRIFLE = 0.01
"""Which part of what spills with nobody acting is not worth a sentence [-]."""
_NOUGHT_M3 = 1e-6
"""Less than that is no spill, and no difference between two [m3]."""

_MOST_LINES = 44
_WIDE = 79
_LEFT = 41
_CLOCK = 11
_AT_ONCE_S = 30.0
_MOST_ALIKE = 2
_DECIDED = -1
_MOST_NAMED = 3
_LONGEST = 27


class _Line(NamedTuple):
    """A line of the account: when, how much it matters (less is more), both columns, and what."""

    t_s: float
    weight: int
    left: str
    right: str
    what: str


def _volume(value_m3: float, system: System) -> str:
    return show(value_m3, "volume", system) if abs(value_m3) > _NOUGHT_M3 else "none"


def _signed(value_m3: float, system: System) -> str:
    if abs(value_m3) <= _NOUGHT_M3:
        return "0"
    return f"{'-' if value_m3 < 0.0 else ''}{show(abs(value_m3), 'volume', system)}"


def _short(text: str, most: int = _LONGEST) -> str:
    return text if len(text) <= most else f"{text[: most - 4]} ..."


# ---------------------------------------------------------------------------- the screen


def lines(found: Found, system: System) -> list[str]:
    """Return what the screen shows.

    Parameters
    ----------
    found
        What the drill came to.
    system
        ``si`` or ``us``.
    """
    parts = (_account(found), _side_by_side(found, system), _worth(found, system))
    told: list[str] = []
    for part in parts:
        told += ["", *part] if told else part
    return [line.rstrip() for line in told]


def _account(found: Found) -> list[str]:
    """Return what was so, beside what was known of it."""
    every = [*_of_truth(found), *_of_deeds(found)]
    if not every:
        return ["Nothing happened but the routine of the pumps."]
    every.sort(key=lambda one: (one.t_s, one.weight != _DECIDED))
    counts: dict[str, int] = {}
    kept = []
    for one in every:  # what comes again and again is told twice
        counts[one.what] = counts.get(one.what, 0) + 1
        if counts[one.what] <= _MOST_ALIKE or one.weight == _DECIDED:
            kept.append(one)
    order = {id(one): n for n, one in enumerate(kept)}
    kept = sorted(kept, key=lambda one: (one.weight, one.t_s))[:_MOST_LINES]
    kept.sort(key=lambda one: order[id(one)])
    told = [f"{'What was so':{_LEFT}}What you were told, and what you did"]
    for one in kept:
        told += _two_columns(one.left, one.right)
    left_out = len(every) - len(kept)
    if left_out:
        which = "1 line is" if left_out == 1 else f"{left_out} lines are"
        told.append(f"{which} left out here: tables truth, told and crew have all")
    return told


def _two_columns(left: str, right: str) -> list[str]:
    """Return two texts beside each other, each wrapped behind its clock time."""
    columns = [
        textwrap.wrap(text, width, subsequent_indent=f"{'':{_CLOCK}}", break_on_hyphens=False)
        for text, width in ((left, _LEFT - 2), (right, _WIDE - _LEFT))
    ]
    return [f"{one:{_LEFT}}{two}" for one, two in zip_longest(*columns, fillvalue="")]


def _of_truth(found: Found) -> list[_Line]:
    rows = []
    for one in found.truth:
        left = f"{found.drill.clock(one.t_s)}  {one.what}"
        rows.append(_Line(one.t_s, _weight(found, one), left, _known(found, one), one.what))
    return rows


def _weight(found: Found, one: Truth) -> int:
    """Return how much something matters: less for what came when nobody was there to be told."""
    late = 3 if one.t_s > found.drill.left_s else 0
    if one.event in ("spill begins", "spill ends"):
        return late
    if one.is_trouble:
        return 1 + late
    return {"alarm raised": 2, "alarm cleared": 4}.get(one.event, 3) + late


def _known(found: Found, one: Truth) -> str:
    if math.isnan(one.told_s):
        there = one.t_s <= found.drill.left_s
        return "never" if there and (one.is_trouble or one.event == "alarm raised") else "-"
    if one.told_s - one.t_s <= _AT_ONCE_S:
        return f"at once, {one.told_by}"
    return f"{found.drill.clock(one.told_s)}  {one.told_by}"


def _of_deeds(found: Found) -> list[_Line]:
    """Return the decisions, and what the crew told of itself, as lines of the right column."""
    drill = found.drill
    rows = [(one.t_s, _DECIDED, f"{n}. {one.line}") for n, one in enumerate(drill.decided, 1)]
    me = drill.crew.me.name
    for task in found.yours.trace.crew:
        if task.stop_s > drill.left_s or task.outcome == "end of run":
            continue
        who = "you" if task.person == me else task.person or task.tool
        if task.outcome == "on site" or (task.task == "travels" and task.outcome == "in the yard"):
            rows.append((task.stop_s, 2, f"{who}: {task.outcome}"))
        elif task.task not in _BY_THE_WAY:
            rows.append((task.stop_s, 2, f"{who}: {task.task}, {task.outcome}"))
    rows += [(told.t_s, 2, told.text) for told in drill.told if told.by == "passer-by"]
    if drill.left_s < drill.episode.duration_s:
        rows.append((drill.left_s, _DECIDED, "you were done"))
    return [_Line(t_s, at, "", f"{drill.clock(t_s)}  {text}", text) for t_s, at, text in rows]


_BY_THE_WAY = frozenset(
    {"called", "gets ready", "fetches", "travels", "stood down", "visits", "is away with a load"}
)


# ---------------------------------------------------------------------------- the courses


def _side_by_side(found: Found, system: System) -> list[str]:
    names = list(found.runs)
    width = 16
    told = [f"{'':31}" + "".join(f"{name:>{width}}" for name in names)]
    for words, metric, kind in _ROWS:
        values = [found.figure(name, metric) for name in names]
        if all(math.isnan(value) for value in values):
            continue
        cells = (_cell(found, value, kind, system) for value in values)
        told.append(f"{words:31}" + "".join(f"{cell:>{width}}" for cell in cells))
    return told


_ROWS = (
    ("spilled in all", VOLUME, "volume"),
    ("first spill", "time of first spill", "clock"),
    ("spilled for", "spill hours", "hours"),
    ("highest level", "greatest level", "level"),
    ("lowest level", "least level", "level"),
    ("above the high-level alarm for", "hours above high-level alarm", "hours"),
    ("starts of pumps", "starts", "count"),
    ("from power loss to pumping", "time from power loss to pumping", "duration"),
    ("first alarm known", "time of first alarm known", "clock"),
    ("first order", "time of first order", "clock"),
    ("first on site", "time of first on site", "clock"),
)


def _cell(found: Found, value: float, kind: str, system: System) -> str:
    if math.isnan(value):
        return "-"
    if kind == "volume":
        return _volume(value, system)
    if kind == "clock":
        return found.drill.clock(value)
    if kind == "hours":
        return show(3600.0 * value, "duration", system) if value > 0.0 else "-"
    if kind == "level":
        return level_text(found.drill.station, value, system)
    return show(value, "duration", system) if kind == "duration" else f"{value:.0f}"


# ---------------------------------------------------------------------------- the decisions


def _worth(found: Found, system: System) -> list[str]:
    drill = found.drill
    if not drill.decided:
        return ["Nothing was ordered, so this is the run in which nobody acts."]
    nobody_m3, yours_m3 = found.figure(NOBODY, VOLUME), found.figure(YOU, VOLUME)
    width = min(max(len(one.line) for one in drill.decided), _LONGEST)
    told = [
        "What each decision was worth. 'Left': what spills in all with it and all",
        "before it, and nothing decided after. 'Bought': by how much that is less than",
        "before it. 'Forgotten': how much more spills when only this one is left out,",
        "and all others are as they were.",
        f"{'':{width + 15}}{'left':>12}{'bought':>12}{'forgotten':>12}",
        f"    {'nobody acts':{width + 11}}{_volume(nobody_m3, system):>12}",
    ]
    for n, (one, worth) in enumerate(zip(drill.decided, found.worth, strict=True), 1):
        told.append(
            f"{n:>3} {drill.clock(one.t_s)} {_short(one.line, width):{width + 1}}"
            f"{_volume(worth.left_m3, system):>12}{_signed(worth.bought_m3, system):>12}"
            f"{_signed(worth.also_m3, system):>12}"
        )
    told.append(f"    {'in all':{width + 11}}{'':12}{_signed(nobody_m3 - yours_m3, system):>12}")
    told.append("Read both: sending somebody buys nothing until they do something there, and is")
    told.append("missed all the same. In both, what was ordered goes on to its end.")
    if drill.response.pace == "drawn":
        told.append("Durations are drawn here: where an order is left out, the next one like it")
        told.append("takes its draw, so a small difference may be luck.")
    return told


# ---------------------------------------------------------------------------- sentences


def sentences(found: Found, system: System) -> list[str]:
    """Return what a person would say.

    Parameters
    ----------
    found
        What the drill came to.
    system
        ``si`` or ``us``.
    """
    told = [_against(found, system), *_best(found, system), *_worse(found, system)]
    return [*told, *_left(found), _unknown(found), *_how_long(found)]


def _against(found: Found, system: System) -> str:
    spilled = {name: found.figure(name, VOLUME) for name in found.runs}
    if all(value <= _NOUGHT_M3 for value in spilled.values()):
        return _without_spill(found, system)
    yours_m3 = spilled[YOU]
    told = (
        f"In your drill {_volume(yours_m3, system)} spilled"
        if yours_m3 > _NOUGHT_M3
        else "Nothing spilled"
    )
    others = [f"with nobody acting it would have been {_volume(spilled[NOBODY], system)}"]
    if PLAN in spilled:
        others.append(f"by the written plan {_volume(spilled[PLAN], system)}")
    return f"{told}; {', '.join(others)}."


def _without_spill(found: Found, system: System) -> str:
    station = found.drill.station
    words = {NOBODY: "with nobody acting", PLAN: "by the written plan", YOU: "with you"}
    told = []
    for name in reversed(found.runs):
        level = level_text(station, found.figure(name, "greatest level"), system)
        hours = found.figure(name, "hours above high-level alarm")
        above = "" if math.isnan(hours) else f" and stood above the alarm for {_hours(hours)}"
        told.append(f"{words[name]} it rose to {level}{above}")
    return f"Nothing spilled, whoever acted: {'; '.join(told)}."


def _hours(hours: float) -> str:
    return show(3600.0 * hours, "duration", "si") if hours > 0.0 else "no time"


def _named(found: Found, n: int) -> str:
    one = found.drill.decided[n]
    return f"{n + 1} ({_short(one.line)}, {found.drill.clock(one.t_s)})"


def _best(found: Found, system: System) -> list[str]:
    if not found.worth:
        return ["You ordered nothing."]
    every = range(len(found.worth))
    best = max(every, key=lambda n: found.worth[n].bought_m3)
    missed = [n for n in every if n != best and found.worth[n].also_m3 > _NOUGHT_M3]
    if found.worth[best].bought_m3 <= _NOUGHT_M3:
        return ["No decision brought down what spilled."]
    bought = _volume(found.worth[best].bought_m3, system)
    told = (
        f"The decision that bought most, after all before it, was {_named(found, best)}: {bought}"
    )
    before = [n for n in missed if n < best and found.worth[n].bought_m3 <= _NOUGHT_M3]
    if before:
        names = listed([str(n + 1) for n in before])
        told += (
            f"; {names} came before it, bought nothing alone, and"
            f" {'is' if len(before) == 1 else 'are'} missed without"
        )
    return [f"{told}."]


def _worse(found: Found, system: System) -> list[str]:
    """Return which decision the drill would have been better off without, if there is one."""
    if not found.worth:
        return []
    worst = min(range(len(found.worth)), key=lambda n: found.worth[n].also_m3)
    less_m3 = -found.worth[worst].also_m3
    if less_m3 <= max(_NOUGHT_M3, _TRIFLE * found.figure(NOBODY, VOLUME)):
        return []
    less = _volume(less_m3, system)
    told = f"Without decision {_named(found, worst)}, and all others as they were, {less} less"
    return [f"{told} would have spilled: look at why before you judge it."]


def _left(found: Found) -> list[str]:
    """Return which pumps were left otherwise than in auto, and what came of it."""
    drill = found.drill
    left = [(name, mode) for name, mode in drill.turned.items() if mode != "auto"]
    if not left:
        return []
    names = listed([f"{name} {'in hand' if mode == 'hand' else 'off'}" for name, mode in left])
    told = f"You left {names}"
    dry = [
        row.t_s for row in found.yours.trace.events
        if row.event == "well empty" and row.t_s > drill.left_s
    ]  # fmt: skip
    if dry and any(mode == "hand" for _name, mode in left):
        told += (
            f"; the well was drawn down to its floor at {drill.clock(dry[0])}, which wrecks pumps"
        )
    return [f"{told}."]


def _unknown(found: Found) -> str:
    drill = found.drill
    never = [
        one for one in found.truth
        if math.isnan(one.told_s) and one.is_trouble and one.t_s <= drill.left_s
    ]  # fmt: skip
    if not never:
        if not any(one.is_trouble for one in found.truth):
            return "No trouble began."
        return _latest(found)
    names = [f"{one.what} ({drill.clock(one.t_s)})" for one in never[:_MOST_NAMED]]
    more = len(never) - len(names)
    rest = f", and {more} more" if more else ""
    return f"You never came to know of: {'; '.join(names)}{rest}."


def _latest(found: Found) -> str:
    """Return that all was known in the end, and of what it took longest."""
    drill = found.drill
    known = [one for one in found.truth if one.is_trouble and one.t_s <= drill.left_s]
    told = "You came to know of all trouble that began before you were done"
    if not known:
        return "No trouble began before you were done."
    last = max(known, key=lambda one: one.told_s - one.t_s)
    late_s = last.told_s - last.t_s
    if late_s > _AT_ONCE_S:
        told += f", of '{last.what}' {show(late_s, 'duration', 'si')} after it began"
    return f"{told}."


def _how_long(found: Found) -> list[str]:
    drill = found.drill
    known_s = c.first_known_s(drill)
    site_s = c.first_on_site_s(drill)
    order_s = min((one.t_s for one in drill.decided), default=math.nan)
    if math.isnan(known_s):
        if any(one.event == "alarm raised" for one in found.truth):
            return ["No alarm reached you before you were done."]
        return []
    told = f"The first alarm reached you at {drill.clock(known_s)}"
    if not math.isnan(order_s):
        told += f"; your first order came {_after(order_s - known_s)}"
    if drill.began_there:
        told += "; you stood on site from the beginning"
    elif not math.isnan(site_s):
        told += f", and somebody stood on site {_after(site_s - known_s)}"
    elif drill.decided:
        told += ", and nobody came to the site"
    return [f"{told}."]


def _after(seconds: float) -> str:
    if abs(seconds) < 1.0:
        return "at once"
    lasted = show(abs(seconds), "duration", "si")
    return f"{lasted} later" if seconds > 0.0 else f"{lasted} before it"

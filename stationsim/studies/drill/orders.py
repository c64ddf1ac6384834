"""Orders: what a person types in a drill; of a word that is not known, the nearest is named.

::

    wait | wait 20 min | wait until 02:40      ask | ask NAME | ask plan, people, alarms, station
    look                                       call NAME | call TOOL
    send me | send NAME for TOOL, TOOL         send NAME home
    hand P1 | off P1 | auto P1 | reset P1      mend THING
    connect THING | disconnect THING           refuel THING | haul | haul 3
    note WORDS                                 done

Whoever is to do something on site may be named behind it: ``reset P1 by second operator``. Names
may be shortened as long as no other one begins so.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Literal, get_args

from stationsim import units
from stationsim.errors import ActionError, QuantityError
from stationsim.scenario.moments import EventTextError, read_moment

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

Verb = Literal[
    "wait",
    "ask",
    "look",
    "call",
    "send",
    "hand",
    "off",
    "auto",
    "reset",
    "mend",
    "connect",
    "disconnect",
    "refuel",
    "haul",
    "note",
    "done",
]
VERBS: tuple[Verb, ...] = get_args(Verb)

TURNS: tuple[Verb, ...] = ("hand", "off", "auto")
"""What is done to a selector."""

WORKS: tuple[Verb, ...] = (*TURNS, "reset", "mend", "connect", "disconnect", "refuel", "haul")
"""What is done on site."""

DECISIONS: tuple[Verb, ...] = ("call", "send", *WORKS)
"""What may change the course of a night; the others only look, or let time pass."""

ME, HOME = "me", "home"
_LEAVE = "'done' when you have done all; Ctrl-C leaves it, to go on later"
_OTHER_WORDS = {
    "quit": _LEAVE, "exit": _LEAVE, "end": _LEAVE, "stop": "'off P1' stops a pump, 'done' ends it",
    "start": "'hand P1' starts a pump, 'auto P1' gives it back to the controller",
    "run": "'hand P1' starts a pump, 'auto P1' gives it back to the controller",
    "go": "'send me' sends you to the station",
    "repair": "'mend P1' puts a thing right", "fix": "'mend P1' puts a thing right",
}  # fmt: skip
"""Words that are no orders -> what is meant, perhaps."""
_TOPICS = ("panel", "alarms", "people", "plan", "station")
_MOST_LOADS = 50
_LONGEST_LINE = 500
_CLOCK = re.compile(r"\d{1,2}:\d\d(?::\d\d)?")
_CONNECTED = ("mobile generator", "bypass pump")


@dataclass(frozen=True)
class Order:
    """One thing that somebody asks for or does.

    Parameters
    ----------
    verb
        What.
    subject
        To what, or whom: a machine, a person, a tool, a topic; empty for none.
    by
        Who is to do it on site; empty for whoever is there.
    tools
        What is to be collected on the way.
    until_s
        Of waiting: until when [s since the start]; None: until something is noticed.
    loads
        Of hauling: how many [-].
    home
        Of sending: back home.
    text
        Of a note: its words.
    """

    verb: Verb
    subject: str = ""
    by: str = ""
    tools: tuple[str, ...] = ()
    until_s: float | None = None
    loads: int = 1
    home: bool = False
    text: str = ""


@dataclass(frozen=True)
class Names:
    """The names that orders may use.

    Parameters
    ----------
    people, tools, machines, sets, things
        Whom, what is brought, pumps, generator sets, and all else that can be mended.
    me
        Name of the person who types.
    """

    people: tuple[str, ...]
    tools: tuple[str, ...]
    machines: tuple[str, ...]
    sets: tuple[str, ...]
    things: tuple[str, ...]
    me: str


def read_order(line: str, names: Names, now_s: float, start: datetime) -> Order:
    """Return what a line asks for.

    Parameters
    ----------
    line
        As it was typed.
    names
        What may be named.
    now_s
        Where the drill stands [s since the start].
    start
        Local time at which the episode begins.

    Raises
    ------
    ActionError
        When it cannot be read; the message says what is accepted.
    """
    if len(line) > _LONGEST_LINE:
        raise ActionError(f"that line has more than {_LONGEST_LINE} characters")
    words = line.split()
    if not " ".join(words).isprintable():
        raise ActionError("that line has characters that cannot be shown; type plain words")
    verb = _verb(words)
    rest = " ".join(words[1:])
    if verb in WORKS:
        return _work(verb, rest, names)
    if verb == "wait":
        return Order("wait", until_s=_until(rest, now_s, start))
    if verb == "send":
        return _send(rest, names)
    return _other(verb, rest, names)


def _other(verb: Verb, rest: str, names: Names) -> Order:
    if verb == "ask":
        return Order("ask", _one_of(rest, (*_TOPICS, *names.people, ME), names) if rest else "")
    if verb == "call":
        return Order("call", _needed(verb, rest, (*names.people, *names.tools), names))
    if verb == "note":
        if not rest:
            raise ActionError("note what? such as: note P1 sounds rough")
        return Order("note", text=rest)
    if rest:
        raise ActionError(f"'{verb}' stands alone; '{_short(rest)}' is left over")
    return Order(verb)


def _verb(words: Sequence[str]) -> Verb:
    if not words:
        raise ActionError("nothing was typed; there are " + ", ".join(VERBS))
    typed = words[0].lower()
    for verb in VERBS:
        if verb == typed:
            return verb
    if typed in _OTHER_WORDS:
        raise ActionError(f"no order is called '{typed}'; {_OTHER_WORDS[typed]}")
    near = difflib.get_close_matches(typed, VERBS, 1)
    hint = f"did you mean '{near[0]}'?" if near else f"there are {', '.join(VERBS)}"
    raise ActionError(f"no order is called '{_short(words[0])}'; {hint}")


def _until(rest: str, now_s: float, start: datetime) -> float | None:
    if not rest:
        return None
    if rest.lower().startswith("until"):
        return _clock(rest[5:].strip(), now_s, start)
    text = rest.removeprefix("for ").strip()
    if _CLOCK.fullmatch(text):
        return _clock(text, now_s, start)
    try:
        lasts_s = units.parse(text, "duration")
    except QuantityError as error:
        raise ActionError(f"wait how long? {error}") from error
    if not lasts_s > 0.0:
        raise ActionError("a wait lasts longer than nought")
    return now_s + lasts_s


def _clock(text: str, now_s: float, start: datetime) -> float:
    """Return a moment after now; a clock time without a day is the next one [s]."""
    try:
        at_s = read_moment(text, start)
    except EventTextError as error:
        raise ActionError(f"wait until when? {error}") from error
    if _CLOCK.fullmatch(text):
        day_s = timedelta(days=1).total_seconds()
        at_s += max(0.0, -((at_s - now_s) // day_s)) * day_s
        if at_s <= now_s:
            at_s += day_s
    if at_s <= now_s:
        raise ActionError(f"'{text}' lies behind; there is no way back")
    return at_s


def _send(rest: str, names: Names) -> Order:
    who, brings = _parted(rest, (" for ", " with "), (*names.people, ME))
    home = _but_home(who) != who and not _is_one(who, names.people)
    if home:
        who = _but_home(who)
    name = _needed("send", who, (*names.people, ME), names)
    tools = _several(brings, names.tools, names)
    if home and tools:
        raise ActionError("somebody who goes home collects nothing")
    return Order("send", name, tools=tuple(dict.fromkeys(tools)), home=home)


def _parted(text: str, words: Sequence[str], accepted: Sequence[str]) -> tuple[str, str]:
    """Return what stands before and behind a word; names may have that word within."""
    if _is_one(_but_home(text), accepted) or _is_one(text, accepted):
        return text, ""
    found = re.finditer("|".join(words), text, re.IGNORECASE)
    parts = [(text[: one.start()].strip(), text[one.end() :].strip()) for one in found]
    for part in parts:
        if _is_one(part[0], accepted) or _is_one(_but_home(part[0]), accepted):
            return part
    for part in parts:
        if _begins_one(part[0], accepted):
            return part
    return parts[0] if parts else (text, "")


def _several(text: str, accepted: Sequence[str], names: Names) -> tuple[str, ...]:
    """Return the names of a list with commas and 'and'; names may have these within."""
    if not text.strip():
        return ()
    if _is_one(text, accepted):
        return (_one_of(text, accepted, names),)
    cuts = list(re.finditer(r",| and ", text))
    for found in cuts:
        first, rest = text[: found.start()].strip(), text[found.end() :].strip()
        if first and _is_one(first, accepted):
            return (_one_of(first, accepted, names), *_several(rest, accepted, names))
    if not cuts:
        return (_one_of(text.strip(), accepted, names),)
    first, rest = text[: cuts[0].start()].strip(), text[cuts[0].end() :]
    head = (_one_of(first, accepted, names),) if first else ()
    return (*head, *_several(rest, accepted, names))


def _but_home(text: str) -> str:
    return text[: -len(HOME)].strip() if text.lower().endswith(f" {HOME}") else text


def _is_one(text: str, accepted: Sequence[str]) -> bool:
    typed = _plain(text)
    return any(_plain(one) == typed for one in accepted)


def _begins_one(text: str, accepted: Sequence[str]) -> bool:
    typed = _plain(text)
    return bool(typed) and any(_plain(one).startswith(typed) for one in accepted)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _work(verb: Verb, rest: str, names: Names) -> Order:
    what, by = _parted(rest, (" by ",), _subjects(verb, names))
    if verb == "haul" and rest.lower().startswith("by "):
        what, by = "", rest[3:]
    who = _one_of(by, (*names.people, ME), names) if by else ""
    if verb == "haul":
        number = what.removesuffix("loads").removesuffix("load").strip()
        if number and not re.fullmatch(r"[1-9]\d?", number):
            raise ActionError(f"haul how many loads? '{_short(number)}' is no number of loads")
        loads = int(number or 1)
        if loads > _MOST_LOADS:
            raise ActionError(f"no more than {_MOST_LOADS} loads at a time")
        return Order("haul", by=who, loads=loads)
    return Order(verb, _needed(verb, what, _subjects(verb, names), names), by=who)


def _subjects(verb: Verb, names: Names) -> tuple[str, ...]:
    """Return to what something can be done."""
    subjects: dict[Verb, tuple[str, ...]] = {
        "reset": (*names.machines, *names.sets),
        "mend": (*names.machines, *names.sets, *names.things),
        "connect": _CONNECTED,
        "disconnect": _CONNECTED,
        "refuel": (*names.machines, *names.sets),
        "haul": (),
    }
    return subjects.get(verb, names.machines)


def _needed(verb: str, text: str, accepted: Sequence[str], names: Names) -> str:
    if not text.strip():
        which = ", ".join(dict.fromkeys(accepted)) or "nothing here that it could be"
        raise ActionError(f"{verb} what? there is {which}")
    return _one_of(text.strip(), accepted, names)


def _one_of(text: str, accepted: Sequence[str], names: Names) -> str:
    """Return the name that a text means: the whole, or a beginning that only one has."""
    typed = _plain(text)
    found = [one for one in dict.fromkeys(accepted) if one == text.strip()]
    if not found:
        found = [one for one in dict.fromkeys(accepted) if _plain(one) == typed]
    if not found:
        found = [one for one in dict.fromkeys(accepted) if _plain(one).startswith(typed)]
    if len(found) == 1:
        return names.me if found[0] == ME else found[0]
    if found:
        raise ActionError(f"'{_short(text)}' may be {' or '.join(found)}")
    near = difflib.get_close_matches(typed, [_plain(one) for one in accepted], 1)
    there = ", ".join(dict.fromkeys(accepted)) or "nothing here that it could be"
    hint = f"did you mean '{near[0]}'?" if near else f"there is {there}"
    raise ActionError(f"'{_short(text)}' is not known here; {hint}")


def _short(text: str) -> str:
    return fit_to_show(text, 40)


def fit_to_show(text: str, most: int | None = None) -> str:
    """Return a text without anything that could steer a terminal, cut when it is long.

    Parameters
    ----------
    text
        What somebody typed.
    most
        How many characters are shown of it [-]; None for all.
    """
    shown = "".join(one if one.isprintable() else "?" for one in text)
    return shown if most is None or len(shown) <= most else f"{shown[:most]}..."

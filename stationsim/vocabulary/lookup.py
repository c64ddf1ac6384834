"""All entries together, and how a word is found among them."""

from __future__ import annotations

import difflib
from functools import cache

from stationsim.vocabulary.columns import COLUMNS, TABLES
from stationsim.vocabulary.crew import OUTCOMES, TASKS
from stationsim.vocabulary.entry import Entry
from stationsim.vocabulary.measures import (
    COMPARED_METRICS,
    CRITERIA,
    DRILL_METRICS,
    METRICS,
)
from stationsim.vocabulary.runs import ALARMS, CAUSES, EVENTS, ROLES, STATES
from stationsim.vocabulary.terms import WORDS

ENTRIES: tuple[Entry, ...] = (
    *EVENTS,
    *ALARMS,
    *ROLES,
    *CAUSES,
    *STATES,
    *TASKS,
    *OUTCOMES,
    *METRICS,
    *COMPARED_METRICS,
    *DRILL_METRICS,
    *CRITERIA,
    *TABLES,
    *COLUMNS,
    *WORDS,
)
"""Every entry. A word may have several kinds: a seal leak is an event and an alarm."""


@cache
def _by_word() -> dict[str, tuple[Entry, ...]]:
    found: dict[str, list[Entry]] = {}
    for entry in ENTRIES:
        for word in (entry.word, *entry.also):
            found.setdefault(_plain(word), []).append(entry)
    return {word: tuple(entries) for word, entries in found.items()}


def _plain(word: str) -> str:
    return " ".join(word.lower().replace("_", " ").split())


def lookup_all(word: str) -> tuple[Entry, ...]:
    """Return every entry of a word, of whatever kind; empty when it is not known.

    Parameters
    ----------
    word
        A word, in any case, with blanks or underscores.
    """
    return _by_word().get(_plain(word), ())


def lookup(word: str) -> Entry | None:
    """Return the first entry of a word; None when it is not known.

    Parameters
    ----------
    word
        A word, in any case, with blanks or underscores.
    """
    found = lookup_all(word)
    return found[0] if found else None


def nearest(word: str, count: int = 3) -> list[str]:
    """Return the known words that look most like an unknown one, the likeliest first.

    Parameters
    ----------
    word
        What somebody wrote.
    count
        How many at most.
    """
    spelled = {_plain(known): known for e in ENTRIES for known in (e.word, *e.also)}
    asked = _plain(word)
    close = difflib.get_close_matches(asked, spelled, n=count, cutoff=0.6)
    inside = [known for known in spelled if asked and asked in known and known not in close]
    inside.sort(key=len)  # the shortest has least beside what was asked
    return [spelled[known] for known in (*close, *inside)][:count]


@cache
def seen_by(event: str) -> str:
    """Return by what an event could be noticed; empty for a word that is no event.

    Parameters
    ----------
    event
        A word of :data:`EVENTS`.
    """
    return next((entry.seen for entry in EVENTS if entry.word == event), "")


_STATES_SEEN = {
    "out": "alarm",
    "failed": "alarm",
    "out of fuel": "alarm",
    "tripped": "alarm",
    "dead": "alarm",
    "starting": "site",
    "not connected": "site",
}


def state_seen_by(state: str) -> str:
    """Return by what a state of a source of power could be noticed: on the panel unless told.

    Parameters
    ----------
    state
        A word of :data:`STATES`.
    """
    return _STATES_SEEN.get(state, "panel")


def cause_of(text: str) -> Entry | None:
    """Return the cause that a text begins with (the longest that fits); None when there is none.

    Parameters
    ----------
    text
        A cause as a run wrote it: ``level at lead start 1.50 m``.
    """
    fitting = [entry for entry in (*CAUSES, *EVENTS, *ALARMS) if text.startswith(entry.word)]
    return max(fitting, key=lambda entry: len(entry.word), default=None)

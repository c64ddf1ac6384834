"""What an entry of the vocabulary is, and short ways to write one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "event", "cause", "alarm", "role", "metric", "criterion", "table", "column", "state", "task",
    "outcome", "word",
]  # fmt: skip
Seen = Literal["", "panel", "alarm", "site", "nobody"]


@dataclass(frozen=True)
class Entry:
    """One word.

    Parameters
    ----------
    word
        As it is written in tables and sentences.
    kind
        What kind of word it is.
    meaning
        What it means, in one or two sentences.
    unit
        Unit of a metric or a column; empty when it has none.
    seen
        Of an event: by what anybody could notice it. ``panel``: it shows on the panel. ``alarm``:
        an alarm tells of it. ``site``: only somebody who stands there. ``nobody``: it is the
        simulation's own.
    also
        Other words of the trade for the same thing.
    """

    word: str
    kind: Kind
    meaning: str
    unit: str = ""
    seen: Seen = ""
    also: tuple[str, ...] = ()


def event(word: str, seen: Seen, meaning: str) -> Entry:
    """Return the entry of an event: its word, by what it could be noticed, what it means."""
    return Entry(word, "event", meaning, seen=seen)


def metric(word: str, unit: str, meaning: str) -> Entry:
    """Return the entry of a metric: its word, its unit, what it means."""
    return Entry(word, "metric", meaning, unit)


def column(word: str, unit: str, meaning: str) -> Entry:
    """Return the entry of a column: its name, its unit, what it means."""
    return Entry(word, "column", meaning, unit)


def criterion(word: str, meaning: str) -> Entry:
    """Return the entry of a criterion: its word, what it means."""
    return Entry(word, "criterion", meaning)


def of(kind: Kind, *pairs: tuple[str, str]) -> tuple[Entry, ...]:
    """Return entries of one kind from pairs of word and meaning."""
    return tuple(Entry(word, kind, meaning) for word, meaning in pairs)

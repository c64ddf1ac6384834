"""What is wrong with a file, in brief: of many mistakes of one kind the first few, and how many."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_OF_A_KIND = 5
"""So many mistakes of a kind are told one by one [-]."""

_PLACE = re.compile(r"^.*?: ")
_QUOTED = re.compile(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"")
_NUMBER = re.compile(r"\d+")
_ANSWER = re.compile(r"[;(].*", re.DOTALL)


def in_brief(problems: Iterable[str]) -> list[str]:
    """Return messages, each once; of those that differ in names and numbers only, the first few.

    Parameters
    ----------
    problems
        The messages, each with its place and what is accepted.
    """
    each = list(dict.fromkeys(problems))
    whole = Counter(map(_kind, each))
    seen: Counter[str] = Counter()
    told: list[str] = []
    for one in each:
        kind = _kind(one)
        seen[kind] += 1
        if seen[kind] <= MOST_OF_A_KIND:
            told.append(one)
        elif seen[kind] == MOST_OF_A_KIND + 1:
            told.append(f"and {whole[kind] - MOST_OF_A_KIND} more like it")
    return told


def _kind(problem: str) -> str:
    """Return a message without its place, names and numbers, and without what is accepted."""
    bare = _QUOTED.sub("*", _PLACE.sub("", problem))
    return _NUMBER.sub("0", _ANSWER.sub("", bare))

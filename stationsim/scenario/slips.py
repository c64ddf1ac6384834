"""What somebody likely meant: guesses are offered only where a word is really near."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence


def nearest_key(key: str, known: Sequence[str], cutoff: float = 0.65) -> str:
    """Return the known key that was likely meant; empty when none is really near.

    Parameters
    ----------
    key
        What was written.
    known
        What is accepted.
    cutoff
        How near it must be, 1 for the same.
    """
    near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=cutoff)
    return near[0] if near else ""


def nearest_name(name: str, known: Iterable[str]) -> str:
    """Return the name that was likely meant; empty when none is.

    P2 is meant by p2 and PP2 but not by P7: a number is part of a name, and no slip.

    Parameters
    ----------
    name
        What was written.
    known
        Names that there are.
    """
    numbers = re.findall(r"\d+", name)
    for one in known:
        if re.findall(r"\d+", one) != numbers:
            continue
        ratio = difflib.SequenceMatcher(None, one.casefold(), name.casefold()).ratio()
        if ratio >= 0.75:
            return one
    return ""

"""For how long each trouble of the catalogue stood, subject by subject."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.wording.sayings import STANDING, begins, ends

if TYPE_CHECKING:
    from stationsim.wording.spells import Happened, Spell

_ABSENT = ("there is none", "the station has none")
"""Details of an event for what the station does not have: nothing happened."""


def stood(happened: Happened, kind: str) -> dict[str, list[Spell]]:
    """Return for each subject when a kind of trouble stood.

    Parameters
    ----------
    happened
        What happened in the run.
    kind
        A key of ``sayings.STANDING``.
    """
    found = {}
    for subject in happened.subjects(*begins(kind)):
        rows = happened.of(*begins(kind), subject=subject)
        rows = [row for row in rows if row.detail not in _ABSENT]
        over = happened.of(*STANDING[kind].ends, subject=subject)
        if rows:
            found[subject] = happened.spells(rows, over, lambda _row, end: ends(kind, end))
    return found

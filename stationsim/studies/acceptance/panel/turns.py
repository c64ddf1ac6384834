"""Who leads in a run, and how many run at once: read off the events of the run."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from stationsim.trace import EventRow

_IN_PLACE = ("takes the place of", "takes over from")


def leads_of(rows: Sequence[EventRow], names: Collection[str]) -> list[str]:
    """Return who leads, cycle by cycle: each that starts while none runs.

    Whoever takes the place of another pump within a cycle does not lead.

    Parameters
    ----------
    rows
        What happened, in order.
    names
        The pumps that count.
    """
    found = []
    for row, running in _followed(rows, names):
        if row.event == "start" and running == 1 and not row.cause.startswith(_IN_PLACE):
            found.append(row.subject)
    return found


def most_running(rows: Sequence[EventRow], names: Collection[str]) -> int:
    """Return how many pumps run at once at the most [-].

    Parameters
    ----------
    rows, names
        As for :func:`leads_of`.
    """
    return max((running for _row, running in _followed(rows, names)), default=0)


def _followed(rows: Sequence[EventRow], names: Collection[str]) -> Iterator[tuple[EventRow, int]]:
    """Yield each event with how many pumps run after it."""
    running: set[str] = set()
    for row in rows:
        if row.subject in names and row.event == "start":
            running.add(row.subject)
        elif row.event == "stop":
            running.discard(row.subject)
        yield row, len(running)


def makes_rounds(leads: Sequence[str], names: Sequence[str], rounds: int) -> bool:
    """Return whether each pump leads just so often, or its turn of some cycles comes so often.

    Parameters
    ----------
    leads
        Who leads, cycle by cycle.
    names
        The pumps that should take part.
    rounds
        How many rounds [-].
    """
    if set(leads) != set(names):
        return False
    turns = [lead for lead, _cycles in groupby(leads)][: rounds * len(names)]
    by_turns = set(turns[: len(names)]) == set(names) and turns == turns[: len(names)] * rounds
    return by_turns or all(leads.count(name) == rounds for name in names)


def in_turn(leads: Sequence[str]) -> str:
    """Return in words who leads: ``P1, P2 (2 cycles), P1``.

    Parameters
    ----------
    leads
        As for :func:`makes_rounds`.
    """
    turns = [(lead, len(list(cycles))) for lead, cycles in groupby(leads)]
    return ", ".join(f"{lead} ({count} cycles)" if count > 1 else lead for lead, count in turns)

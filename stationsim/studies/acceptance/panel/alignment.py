"""Which line of a log belongs to which expected event: the best match that keeps the order."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.studies.acceptance.panel.script import SAME_INSTANT_S

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from stationsim.records.panel_log import LogEntry
    from stationsim.studies.acceptance.panel.script import ExpectedEvent, PanelTest


class Pair(NamedTuple):
    """An expected event and a line of the log, by their places from 0.

    Parameters
    ----------
    expected, logged
        Their places [-].
    """

    expected: int
    logged: int


def align(expected: Sequence[ExpectedEvent], entries: Sequence[LogEntry]) -> list[Pair]:
    """Return the longest match that keeps the order; of equals, the one whose gaps differ least.

    Parameters
    ----------
    expected
        The expected events in order.
    entries
        The lines of the log in the order of their times.
    """
    fitting = [
        Pair(n, at)
        for n, one in enumerate(expected)
        for at, entry in enumerate(entries)
        if _fits(one, entry)
    ]
    if not fitting:
        return []
    ns = np.array([pair.expected for pair in fitting])
    ats = np.array([pair.logged for pair in fitting])
    # by how much the log's clock is ahead of the expected one; a gap differs by its change
    ahead_s = np.array(
        [entries[pair.logged].at_s - expected[pair.expected].after_s for pair in fitting]
    )
    length = np.ones(len(fitting), dtype=np.int64)
    cost_s = np.zeros(len(fitting))
    before = np.full(len(fitting), -1, dtype=np.int64)
    for k in range(len(fitting)):
        earlier = np.flatnonzero((ns[:k] < ns[k]) & (ats[:k] < ats[k]))
        if not len(earlier):
            continue
        longest = earlier[length[earlier] == length[earlier].max()]
        costs = cost_s[longest] + np.abs(ahead_s[k] - ahead_s[longest])
        best = int(np.argmin(costs))
        before[k], length[k], cost_s[k] = longest[best], length[longest[best]] + 1, costs[best]
    ends = np.flatnonzero(length == length.max())
    k = int(ends[np.argmin(cost_s[ends])])
    found: list[Pair] = []
    while k >= 0:
        found.append(fitting[k])
        k = int(before[k])
    return found[::-1]


def asides_of(one: PanelTest, entries: Sequence[LogEntry], pairs: Sequence[Pair]) -> frozenset[int]:
    """Return the places of lines that no event is matched with, and that are known besides.

    Each must come before the next thing that is matched and expected after it.

    Parameters
    ----------
    one
        The sequence.
    entries
        The lines of its log in the order of their times.
    pairs
        The match that keeps the order.
    """
    taken = {pair.logged for pair in pairs}

    def ends_s(until_s: float) -> float:
        """Return by the log's clock when the next thing comes that is expected later [s]."""
        for pair in pairs:
            if one.expected[pair.expected].after_s > until_s + SAME_INSTANT_S:
                return entries[pair.logged].at_s + one.time_tolerance_s + SAME_INSTANT_S
        return math.inf

    return frozenset(
        at
        for at, entry in enumerate(entries)
        if at not in taken
        and entry.known
        and any(
            aside.told_by(entry.subject, entry.event)
            and entry.at_s <= ends_s(aside.until_s) + entry.resolution_s
            for aside in one.asides
        )
    )


def pair_off(
    expected: Sequence[ExpectedEvent],
    entries: Sequence[LogEntry],
    pairs: Sequence[Pair],
    passed: Collection[int] = (),
) -> list[Pair]:
    """Return what occurs in both but is left over by a match; the nearest in time together.

    Parameters
    ----------
    expected, entries
        As for :func:`align`.
    pairs
        The match that keeps the order.
    passed
        Places of lines that tell of something else, and are passed over [-].
    """
    ahead_s = entries[0].at_s - expected[0].after_s if expected and entries else 0.0
    if pairs:
        ahead_s = entries[pairs[0].logged].at_s - expected[pairs[0].expected].after_s
    events = {pair.expected for pair in pairs}
    lines = {*passed, *(pair.logged for pair in pairs)}
    left = [
        (abs(entries[at].at_s - expected[n].after_s - ahead_s), Pair(n, at))
        for n in range(len(expected))
        for at in range(len(entries))
        if n not in events and at not in lines and _fits(expected[n], entries[at])
    ]
    found: list[Pair] = []
    for _apart_s, pair in sorted(left):
        if pair.expected not in events and pair.logged not in lines:
            events.add(pair.expected)
            lines.add(pair.logged)
            found.append(pair)
    return sorted(found)


def _fits(one: ExpectedEvent, entry: LogEntry) -> bool:
    return entry.known and one.told_by(entry.subject, entry.event)

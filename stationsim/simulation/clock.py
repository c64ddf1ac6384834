"""The clock: absolute times, and one fixed order of what happens at one instant.

Things closer together than a microsecond happen at one instant (a float of seconds is 4 ns apart
after a year), and in this order::

    0  supply        grid, transfer, engine, valves
    1  crossings     the level reaches something that somebody waits for
    2  instruments   sensors and floats change
    3  people        hands on selectors, and whatever the script lets happen
    4  crew          those who were called out; what is scripted comes first, whoever wrote it
    5  faults        the condition behind a trip is over, work is done
    6  controller    the panel's turn
    7  recorder      whatever only writes down

Whatever changes what the panel sees gives the controller its turn at that same instant.

This is a SimPy environment with one thing added: an event can be put at an absolute time. SimPy
adds delays to the present, and ``now + (t - now)`` is not ``t`` for one pair of floats in fourteen.
Nothing else in stationsim touches the queue.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from typing import Any

import simpy

SUPPLY, CROSSING, INSTRUMENT, PEOPLE, CREW, FAULT, CONTROLLER, RECORDER = range(8)

SAME_INSTANT_S = 1e-6
"""Times closer than this are one instant [s]."""


class Due(simpy.Event):
    """Something that is due at an absolute time, unless it has been overtaken meanwhile."""

    overtaken = False


class Clock(simpy.Environment):
    """A SimPy environment whose events stand at absolute times, in a fixed order at one instant."""

    def moment(self, at_s: float, order: int) -> Due:
        """Return an event that happens at an absolute time.

        Parameters
        ----------
        at_s
            When [s]; a time within a microsecond of the present is the present.
        order
            Its place in the order of that instant, such as ``SUPPLY``.
        """
        event = Due(self)
        event._ok = True
        event._value = None
        if at_s - self._now < SAME_INSTANT_S:
            at_s = self._now
        entry: Any = (at_s, order, next(self._eid), event)
        heapq.heappush(self._queue, entry)
        return event

    def call_at(self, at_s: float, order: int, callback: Callable[[], None]) -> Due:
        """Have something called at an absolute time; return what is due, which may be overtaken.

        Parameters
        ----------
        at_s
            When [s].
        order
            Its place in the order of that instant.
        callback
            What is called.
        """
        due = self.moment(at_s, order)
        due.callbacks = [lambda _event: None if due.overtaken else callback()]
        return due

    def next_s(self) -> float:
        """Return when the next thing is due [s]; infinity when nothing is."""
        self._drop_overtaken()
        return float(self._queue[0][0]) if self._queue else float("inf")

    def run_before(self, until_s: float) -> None:
        """Let happen all that is due before a time; what is due at that time waits.

        Parameters
        ----------
        until_s
            The time [s].
        """
        queue = self._queue
        step = self.step
        while queue and queue[0][0] < until_s:
            if getattr(queue[0][3], "overtaken", False):
                heapq.heappop(queue)
                continue
            if len(queue) > 1:
                near = queue[1] if len(queue) == 2 or queue[1] < queue[2] else queue[2]
                if 0.0 < near[0] - queue[0][0] < SAME_INSTANT_S:
                    self._gather()
            step()

    def _drop_overtaken(self) -> None:
        """Forget what has been overtaken and would come next.

        It must not count in what is one instant: a session that was resumed does not know of it.
        """
        queue = self._queue
        while queue and getattr(queue[0][3], "overtaken", False):
            heapq.heappop(queue)

    def _gather(self) -> None:
        """Bring all that is due within a microsecond of the next thing to that one instant.

        Only now, and not when they were put there: what else stands in the queue by then (an
        action that is replayed, say) must not decide which of them are one instant.
        """
        queue = self._queue
        first_s = queue[0][0]
        moved = False
        for n, entry in enumerate(queue):
            if 0.0 < entry[0] - first_s < SAME_INSTANT_S:
                queue[n] = (first_s, *entry[1:])
                moved = True
        if moved:
            heapq.heapify(queue)

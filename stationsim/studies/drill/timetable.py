"""A timetable of people: what they do next, and when; no plant, no event loop.

A course is a generator that does something, and yields the time at which it goes on. All that is
under way is thereby a list of times, so that a drill can stop at any moment and go on later.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Generator
from typing import TypeAlias

Course: TypeAlias = Generator[float, None, None]
"""Something that somebody does; each value that it yields is the time at which it goes on [s]."""


class Timetable:
    """Everything that is under way."""

    def __init__(self) -> None:
        self._heap: list[tuple[float, int, Course]] = []
        self._count = 0

    def begin(self, course: Course) -> None:
        """Let something begin now, and go on by itself.

        Parameters
        ----------
        course
            What is done.
        """
        self._step(course)

    @property
    def next_s(self) -> float:
        """When something goes on next [s]; infinity when nothing is under way."""
        return self._heap[0][0] if self._heap else math.inf

    def run(self, now_s: float) -> None:
        """Let go on whatever is due.

        Parameters
        ----------
        now_s
            The present [s].
        """
        while self._heap and self._heap[0][0] <= now_s:
            self._step(heapq.heappop(self._heap)[2])

    def _step(self, course: Course) -> None:
        at_s = next(course, None)
        if at_s is not None and at_s < math.inf:
            self._count += 1
            heapq.heappush(self._heap, (at_s, self._count, course))

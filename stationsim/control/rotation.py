"""Who leads: the alternation strategies.

Each is asked when the last pump has stopped after a run, when the supply fails under running pumps,
and at the time that it names itself; it answers with a new order, lead first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from stationsim.control.contract import Occasion, setting
from stationsim.errors import PlugInError
from stationsim.signals import Snapshot

_SAME_HOURS_S = 0.001


@dataclass(frozen=True)
class NoSettings:
    """Nothing to set."""


class Fixed:
    """One pump always leads, the others follow in the order of the scenario."""

    Settings: type = NoSettings

    def __init__(self, settings: Any) -> None:
        self.settings = settings

    def order(
        self, occasion: Occasion, now_s: float, seen: Snapshot, order: tuple[int, ...]
    ) -> tuple[int, ...]:
        """Return the order as it is."""
        del occasion, now_s, seen
        return order

    def next_time_s(self, now_s: float, seen: Snapshot) -> float:
        """Return infinity: the clock does not matter."""
        del now_s, seen
        return math.inf


class EachCycle(Fixed):
    """At each stop the lead goes to the end of the order.

    The rule cannot act while the lead runs on: with staged stop in a storm nothing ever stops
    altogether, and no swap happens until it does.
    """

    def order(
        self, occasion: Occasion, now_s: float, seen: Snapshot, order: tuple[int, ...]
    ) -> tuple[int, ...]:
        """Return the order with its first pump last."""
        del occasion, now_s, seen
        return (*order[1:], order[0])


class RunHours(Fixed):
    """At each stop the pumps are sorted by run hours: the one with the fewest leads.

    Hours equal within a millisecond go by the order of the scenario. Hours stay equal under this
    rule even when one pump is weak; what drifts apart is the starts.
    """

    def order(
        self, occasion: Occasion, now_s: float, seen: Snapshot, order: tuple[int, ...]
    ) -> tuple[int, ...]:
        """Return the pumps by run hours, those of a run that just ends included."""
        del occasion, order
        hours = [
            round((p.hours_s + (now_s - p.started_s if p.running else 0.0)) / _SAME_HOURS_S)
            for p in seen.pumps
        ]
        return tuple(sorted(range(len(hours)), key=lambda i: (hours[i], i)))


@dataclass(frozen=True)
class SharesSettings:
    """Which part of the run hours each pump shall have."""

    shares: str = setting(
        "text",
        "",
        meaning="parts of the run hours, pump by pump, such as 60/20/20; "
        "60 for the first and the rest in equal parts if left out",
    )


def read_shares(text: str, count: int) -> tuple[float, ...]:
    """Return the part of each pump [-], their sum 1.

    Parameters
    ----------
    text
        Such as ``60/20/20``; empty for 60 for the first and the rest in equal parts.
    count
        How many pumps there are [-].

    Raises
    ------
    PlugInError
        When it cannot be read, or is not one part for each pump.
    """
    if not text.strip():
        return (1.0,) if count == 1 else (0.6, *[0.4 / (count - 1)] * (count - 1))
    try:
        parts = [float(part) for part in text.split("/")]
    except ValueError:
        parts = []
    if len(parts) != count or min(parts) < 0.0 or not 0.0 < sum(parts) < math.inf:
        message = (
            f"the shares '{text}' cannot be used; accepted: {count} parts of 0 or more with '/'"
            f" between them, one for each pump, such as '{'/'.join(['60', '20', '20'][:count])}'"
        )
        raise PlugInError(message)
    total = sum(parts)
    return tuple(part / total for part in parts)


class Shares(Fixed):
    """At each stop the pump that is furthest behind its share of the run hours leads.

    Unequal on purpose: overhauls come one after the other, and no two pumps wear out together. A
    pump with no share comes last, and runs only when the others are not enough.
    """

    Settings = SharesSettings

    def order(
        self, occasion: Occasion, now_s: float, seen: Snapshot, order: tuple[int, ...]
    ) -> tuple[int, ...]:
        """Return the pumps by run hours over share, those of a run that just ends included."""
        del occasion, order
        shares = read_shares(self.settings.shares, len(seen.pumps))
        behind = []
        for pump, share in zip(seen.pumps, shares, strict=True):
            hours_s = pump.hours_s + (now_s - pump.started_s if pump.running else 0.0)
            behind.append(round(hours_s / share / _SAME_HOURS_S) if share > 0.0 else math.inf)
        return tuple(sorted(range(len(behind)), key=lambda i: (behind[i], i)))


@dataclass(frozen=True)
class ClockSettings:
    """When the clock changes the lead."""

    every_s: float = setting("duration", meaning="time from one change of the lead to the next")
    at_s: float = setting(
        "duration", 0.0, meaning="time of the first change after the midnight before the first day"
    )


class Clock(Fixed):
    """The lead changes at set times; a change that falls into a run waits for the stop."""

    Settings = ClockSettings

    def __init__(self, settings: ClockSettings) -> None:
        super().__init__(settings)
        self._done: int | None = None

    def order(
        self, occasion: Occasion, now_s: float, seen: Snapshot, order: tuple[int, ...]
    ) -> tuple[int, ...]:
        """Return the order moved on by one for each set time that has gone by."""
        del occasion, now_s
        due = self._gone(seen.clock_s)
        done = due if self._done is None else self._done
        self._done = due
        moves = (due - done) % len(order)
        return (*order[moves:], *order[:moves])

    def next_time_s(self, now_s: float, seen: Snapshot) -> float:
        """Return the next set time [s]."""
        if self._done is None:
            self._done = self._gone(seen.clock_s)
        following = self.settings.at_s + (self._done + 1) * self.settings.every_s
        return float(now_s + max(following - seen.clock_s, 0.0))

    def _gone(self, clock_s: float) -> int:
        """Return how many set times have gone by; those within a microsecond count."""
        settings: ClockSettings = self.settings
        return math.floor((clock_s - settings.at_s + 1e-6) / settings.every_s)

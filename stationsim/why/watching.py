"""Somebody who looks over the controller's shoulder: what it saw and held in mind at each turn."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stationsim.control.staging import Staging
from stationsim.simulation.session import Session

if TYPE_CHECKING:
    from stationsim.control.contract import Decider
    from stationsim.control.memory import Memory
    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.signals import Decision, Snapshot
    from stationsim.station import Station


class Turn(NamedTuple):
    """One turn of the controller.

    Parameters
    ----------
    t_s
        When [s].
    seen
        What the panel saw before it decided.
    decision
        What it decided.
    by_floats
        True when it went by its backup floats.
    memory
        What it held in mind afterwards; None for a controller that does not tell.
    """

    t_s: float
    seen: Snapshot
    decision: Decision
    by_floats: bool
    memory: Memory | None


class _Onlooker:
    """Stands between the plant and its controller, writes down each turn, and changes nothing."""

    def __init__(self, inner: Decider) -> None:
        self.inner = inner
        self.turns: list[Turn] = []

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        decision = self.inner.decide(now_s, seen)
        by_level = getattr(self.inner, "inner", self.inner)
        self.turns.append(
            Turn(
                now_s,
                seen,
                decision,
                bool(getattr(self.inner, "by_floats", False)),
                by_level.memory() if isinstance(by_level, Staging) else None,
            )
        )
        return decision


class Watched(NamedTuple):
    """A run, and every turn of its controller."""

    result: Result
    turns: list[Turn]


def watched(station: Station, episode: Episode) -> Watched:
    """Run an episode and look over the controller's shoulder.

    Parameters
    ----------
    station
        What stands there.
    episode
        What happens to it.
    """
    stands: list[_Onlooker] = []

    def look_on(inner: Decider) -> Decider:
        stands.append(_Onlooker(inner))
        return stands[0]

    result = Session(station, episode, observer=look_on).finish()
    return Watched(result, stands[0].turns)

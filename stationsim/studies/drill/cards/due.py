"""By when something is due on a card: what the plan does in time, and how much later it may be.

There is a due time where the plan has somebody do it and the station has a level of spill; else
the card says why there is none.
"""

from __future__ import annotations

import math
from functools import cached_property, partial
from typing import TYPE_CHECKING, NamedTuple

from stationsim.studies.drill.cards import text
from stationsim.studies.drill.cards.lateness import (
    LATER_S,
    LONGEST_S,
    Lateness,
    Runs,
    lateness,
    ordered_by_phone,
    step_later,
    way_later,
)
from stationsim.studies.drill.cards.moments import DISCONNECTS, TASKS, Plan

if TYPE_CHECKING:
    from stationsim.people.response import TaskKind
    from stationsim.trace import CrewRow
    from stationsim.units import System


class Due(NamedTuple):
    """When something is due, and what the key knows of it.

    Parameters
    ----------
    text
        By when, as the card says it.
    due_s
        The same [s since the start]; NaN for no such time.
    later
        What it costs to be late.
    plan_s
        When it is done by the plan [s since the start]; NaN where it is not.
    found
        What comes of being late; None where that was not worked out.
    """

    text: str = ""
    due_s: float = math.nan
    later: str = ""
    plan_s: float = math.nan
    found: Lateness | None = None


_NO_SPILLWAY = Due("none worked out: the file has no level of spill")


class DueTimes:
    """The due times of one plan.

    Parameters
    ----------
    runs
        The runs of the episode.
    plan
        The plan that the cards are played by.
    system
        Units of what is told.
    """

    def __init__(self, runs: Runs, plan: Plan, system: System) -> None:
        self.runs, self.plan, self.system = runs, plan, system
        self.episode = runs.episode
        self.can_spill = runs.station.spillway is not None

    def _longest_s(self, from_s: float) -> float:
        return max(LATER_S[0], min(LONGEST_S, self.episode.duration_s - from_s))

    @cached_property
    def _of_way(self) -> Lateness | None:
        """What comes of a later call; None where nobody comes by one."""
        plan, taken = self.plan, self.plan.taken
        if taken is None or plan.arrived is None or not self.can_spill:
            return None
        later = partial(way_later, plan.response, ordered=ordered_by_phone(plan.crew))
        return lateness(
            lambda by_s: self.runs.spilled_m3(later(by_s=by_s)), self._longest_s(taken.stop_s)
        )

    def way(self, now_s: float, *, call: bool) -> Due:
        """Return by when somebody must stand on site, and by when the call has to be taken.

        Parameters
        ----------
        now_s
            The moment of the card [s].
        call
            Whether the card is the one on which the call is taken.
        """
        taken, arrived, found = self.plan.taken, self.plan.arrived, self._of_way
        if not self.can_spill:
            return _NO_SPILLWAY
        if taken is None or arrived is None or found is None:
            return Due("none worked out: by the plan of the file nobody comes by this call")
        at_s = arrived.stop_s
        due_s = math.nan if found.by_accident else at_s + found.slack_s
        if now_s > due_s:
            due = text.past_text(self.episode, due_s, saves_all=found.saves_all)
            return Due(due, due_s, "", at_s)
        called_s = taken.stop_s if call else math.nan
        due = text.due_text(found, self.episode, self.system, at_s, called_s, "somebody on site")
        return Due(due, due_s, text.later_text(found, self.system), at_s, found)

    def step(self, row: CrewRow) -> Due:
        """Return by when a step has to be done.

        Parameters
        ----------
        row
            The step, as the plan does it.
        """
        if row.task in DISCONNECTS:
            return Due("none worked out for taking things off: say what must be so before")
        if not self.can_spill:
            return _NO_SPILLWAY
        kind: TaskKind = next(one for one in TASKS if one == row.task)
        found = lateness(
            lambda by_s: self.runs.spilled_m3(step_later(self.plan.response, kind, by_s)),
            self._longest_s(row.stop_s),
        )
        due = text.due_text(
            found, self.episode, self.system, row.stop_s, math.nan, "the next step done"
        )
        due_s = math.nan if found.by_accident else row.stop_s + found.slack_s
        return Due(due, due_s, text.later_text(found, self.system), row.stop_s, found)

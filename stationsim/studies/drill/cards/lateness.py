"""What it costs to be late: runs by the plan with one thing delayed more and more.

Nothing here is a rule of thumb. Each figure is what spills in a run of the whole episode, less what
spills in the run in time. Steps of the plan are delayed by what the response says of them: the way
by ``Response.late_s``, work on site by ``Task.takes``.

References
----------
That a card should tell when the next decision is due, and what it costs to be late: facilitator's
guides for table-top exercises, from memory. How it is worked out: own computation.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from stationsim.chance import Range
from stationsim.simulation.session import simulate
from stationsim.studies.rehearse.plan.rows import NO_SPILL_M3

if TYPE_CHECKING:
    from stationsim.episode import Episode, ScriptedEvent
    from stationsim.people.response import Response, TaskKind
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.trace import CrewRow

LATER_S = (900.0, 1800.0, 3600.0)
"""How much later than by the plan each card says the cost of; own choice [s]."""

LONGEST_S = 86_400.0
"""No delay is looked at that is longer; own choice [s]."""

_FINE_S = 1.0
"""A due time is known to this [s]."""


class Lateness(NamedTuple):
    """What comes of one thing that is done later than by the plan.

    Parameters
    ----------
    slack_s
        By how much it may be later so that no more spills than in time [s]; infinity when nothing
        more spills, however late.
    looked_s
        The longest delay that was tried, or would have been [s].
    in_time_m3
        What spills in the whole run when all is done in time [m3].
    more_m3
        How much more spills, for each of :data:`LATER_S` [m3].
    """

    slack_s: float
    looked_s: float
    in_time_m3: float
    more_m3: tuple[float, ...]

    @property
    def saves_all(self) -> bool:
        """True when nothing spills at all, if it is done in time."""
        return self.in_time_m3 <= NO_SPILL_M3

    @property
    def by_accident(self) -> bool:
        """True when one of those later times spills less: no moment is safe to wait for."""
        return min(self.more_m3) < -NO_SPILL_M3


class Runs:
    """Runs of one episode with whoever answers; each is made once.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it.
    """

    def __init__(self, station: Station, episode: Episode) -> None:
        self.station = station
        self.episode = episode
        self._spilled: dict[tuple[Response | None, tuple[ScriptedEvent, ...]], float] = {}

    def run(self, response: Response | None, events: tuple[ScriptedEvent, ...] = ()) -> Result:
        """Return the run with some response, and with more that happens.

        Parameters
        ----------
        response
            Who answers; None for nobody.
        events
            What else happens, at the times of this episode.
        """
        whole = replace(self.episode, response=response, events=(*self.episode.events, *events))
        result = simulate(self.station, whole)
        self._spilled[response, events] = result.trace.spilled_m3
        return result

    def spilled_m3(
        self, response: Response | None, events: tuple[ScriptedEvent, ...] = ()
    ) -> float:
        """Return what spills in that run [m3].

        Parameters
        ----------
        response, events
            As in :meth:`run`.
        """
        if (response, events) not in self._spilled:
            self.run(response, events)
        return self._spilled[response, events]


def lateness(spilled_m3: Callable[[float], float], longest_s: float = LONGEST_S) -> Lateness:
    """Return what comes of a delay: it is doubled until more spills, then halved down to a second.

    Parameters
    ----------
    spilled_m3
        Returns what spills with a delay [s] in all [m3].
    longest_s
        The longest delay to look at [s].

    Notes
    -----
    The slack is that of the first delay tried, from the least up, with which more spills. A delay
    after which less spills again, as where a crew that comes later meets a pump that happens to
    run, is not looked for; :attr:`Lateness.by_accident` tells of it.
    """
    in_time_m3 = spilled_m3(0.0)
    more_m3 = tuple(spilled_m3(late_s) - in_time_m3 for late_s in LATER_S)
    most_m3 = in_time_m3 + NO_SPILL_M3
    fine_s, late_s = 0.0, min(LATER_S[0], longest_s)
    while spilled_m3(late_s) <= most_m3:
        if late_s >= longest_s:
            return Lateness(math.inf, longest_s, in_time_m3, more_m3)
        fine_s, late_s = late_s, min(2.0 * late_s, longest_s)
    looked_s = late_s
    while late_s - fine_s > _FINE_S:
        between_s = 0.5 * (fine_s + late_s)
        if spilled_m3(between_s) <= most_m3:
            fine_s = between_s
        else:
            late_s = between_s
    return Lateness(fine_s, looked_s, in_time_m3, more_m3)


# ---------------------------------------------------------------------- what is delayed


def way_later(response: Response, by_s: float, ordered: tuple[str, ...] = ()) -> Response:
    """Return a response with whom the call is made later: people come later, and so do tools.

    Parameters
    ----------
    response
        Who answers.
    by_s
        By how much [s].
    ordered
        Tools that are ordered by that call.
    """
    found = _tools_later(response, ordered, by_s)
    return replace(found, late_s=found.late_s + by_s)


def step_later(response: Response, kind: TaskKind, by_s: float) -> Response:
    """Return a response whose step of a kind is done later, each time that it is done.

    Of hauling with a tanker that is ordered, it is the tanker that comes later.

    Parameters
    ----------
    response
        Who answers.
    kind
        Which step.
    by_s
        By how much [s].
    """
    step = response.task(kind)
    if step is None:
        return response
    if kind == "haul" and step.tool and response.tool(step.tool).delivered is not None:
        return _tools_later(response, (step.tool,), by_s)
    tasks = tuple(
        replace(one, takes=_later(one.takes, by_s)) if one is step else one
        for one in response.tasks
    )
    return replace(response, tasks=tasks)


def ordered_by_phone(crew: list[CrewRow]) -> tuple[str, ...]:
    """Return the tools that are ordered before anybody stands on site.

    Parameters
    ----------
    crew
        What people did in the run by the plan.
    """
    arrived = [row.stop_s for row in crew if row.task == "travels" and row.outcome == "on site"]
    first_s = min(arrived, default=math.inf)
    return tuple(
        dict.fromkeys(row.tool for row in crew if row.task == "comes" and row.start_s < first_s)
    )


def _tools_later(response: Response, names: tuple[str, ...], by_s: float) -> Response:
    tools = tuple(
        replace(one, delivered=_later(one.delivered, by_s))
        if one.name in names and one.delivered is not None
        else one
        for one in response.tools
    )
    return replace(response, tools=tools)


def _later(span: Range, by_s: float) -> Range:
    return Range(span.low + by_s, span.typical + by_s, span.high + by_s)


# ---------------------------------------------------------------------- what goes wrong


def unanswered(response: Response, name: str) -> Response:
    """Return a response in which the phone of somebody is never heard.

    Parameters
    ----------
    response
        Who answers.
    name
        Whose phone.
    """
    people = tuple(
        replace(one, answers=False) if one.name == name else one for one in response.people
    )
    return replace(response, people=people)


def all_answer(response: Response) -> Response:
    """Return a response in which every phone is heard, by day and by night.

    Parameters
    ----------
    response
        Who answers.
    """
    people = tuple(replace(one, answers=True, answers_at_night=True) for one in response.people)
    return replace(response, people=people)


def none_to_be_had(response: Response, tool: str) -> Response:
    """Return a response in which there is none of a tool.

    Parameters
    ----------
    response
        Who answers.
    tool
        Which.
    """
    tools = tuple(replace(one, number=0) if one.name == tool else one for one in response.tools)
    return replace(response, tools=tools)


def not_brought(response: Response, tool: str) -> Response:
    """Return a response in which a tool is fetched only once somebody on site has missed it.

    Parameters
    ----------
    response
        Who answers.
    tool
        Which.
    """
    tasks = tuple(
        replace(one, brought_for=()) if one.tool == tool else one for one in response.tasks
    )
    return replace(response, tasks=tasks)

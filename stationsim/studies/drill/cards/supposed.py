"""What cards may suppose besides: somebody does not answer, a tool is not there, no alarm comes.

Each is tried on the plan as it is played on the cards, with that one thing changed.

References
----------
A key person who is not reached, a set that does not start, a loss of communication as things to
suppose in a table-top: guides for facilitators, from memory.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from stationsim.episode import ScriptedEvent
from stationsim.studies.drill.cards.lateness import none_to_be_had, not_brought, unanswered
from stationsim.studies.rehearse.plan.cases import fed_from

if TYPE_CHECKING:
    from collections.abc import Iterator

    from stationsim.people.response import Response
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.studies.drill.cards.moments import Plan

_TRIPS_AFTER_S = 0.5
"""How long a set has fed when it trips; own choice [s]."""
_BEFORE_S = 1.0
"""How long before the first alarm its way out is lost; own choice [s]."""


class Supposed(NamedTuple):
    """One thing that is supposed.

    Parameters
    ----------
    t_s
        At which moment it is asked [s].
    words, decide
        What is supposed, and what is to be decided.
    response
        Who answers then.
    events
        What else happens.
    station
        What stands there, where it is another one; None for the station as it is.
    """

    t_s: float
    words: str
    decide: str
    response: Response
    events: tuple[ScriptedEvent, ...] = ()
    station: Station | None = None


def supposed(plan: Plan, nobody: Result, first_s: float) -> Iterator[Supposed]:
    """Yield all that may be supposed of a plan.

    Parameters
    ----------
    plan
        The plan of the cards.
    nobody
        The run in which nobody acts.
    first_s
        When the first thing reaches somebody who is away; NaN for never [s].
    """
    yield from _of_people(plan)
    yield from _of_tools(plan)
    yield from _of_alarms(plan, nobody, first_s)
    yield from _of_sets(plan)


def _of_people(plan: Plan) -> Iterator[Supposed]:
    taken = plan.taken
    if taken is not None and taken.person in plan.response.call_list:
        yield Supposed(
            taken.stop_s,
            f"the phone of {taken.person} rings, and nobody answers.",
            "Whom do you call next, after how many minutes, and who may decide that?",
            unanswered(plan.response, taken.person),
        )


def _of_tools(plan: Plan) -> Iterator[Supposed]:
    response = plan.response
    for name in dict.fromkeys(row.tool for row in plan.crew if row.tool):
        first = next(row for row in plan.crew if row.tool == name)
        tool = response.tool(name)
        if tool.fetched is None and tool.delivered is None:
            continue
        where = "is not in the yard" if tool.fetched is not None else "cannot be delivered"
        yield Supposed(
            first.start_s,
            f"the {name} {where}.",
            "What else could do its work, who has one, and how do you ask for it at this hour?",
            none_to_be_had(response, name),
        )
        if tool.fetched is not None and first.start_s < plan.first_there_s:
            yield Supposed(
                plan.first_there_s,
                f"you stand on site, and the {name} was left in the yard.",
                "Who fetches it, and what is done meanwhile?",
                not_brought(response, name),
            )


def unmissed(station: Station) -> Station:
    """Return a station whose silence its far end never comes to miss.

    Parameters
    ----------
    station
        As it is.
    """
    return replace(station, alarms=replace(station.alarms, telemetry_lost_delay_s=math.inf))


def _of_alarms(plan: Plan, nobody: Result, first_s: float) -> Iterator[Supposed]:
    sent = [row.sent_s for row in nobody.trace.alarms if not math.isnan(row.sent_s)]
    if not sent or math.isnan(first_s):
        return
    lost_s = max(0.0, min(sent) - _BEFORE_S)
    yield Supposed(
        first_s,
        "no alarm leaves the station, and the far end does not show that.",
        "How do you come to know that something is wrong, and after how long?",
        plan.response,
        (ScriptedEvent(lost_s, "telemetry lost", "telemetry"),),
        unmissed(nobody.station),
    )


def _of_sets(plan: Plan) -> Iterator[Supposed]:
    for name, fed_s in fed_from(plan.result.trace).items():
        trips_s = fed_s + _TRIPS_AFTER_S
        if trips_s < plan.result.episode.duration_s:
            yield Supposed(
                fed_s,
                f"the {name} starts, and trips as soon as it is loaded.",
                "What do you look at, what may you try again, and when do you give it up?",
                plan.response,
                (ScriptedEvent(trips_s, "generator fails", name, resets_itself=False),),
            )

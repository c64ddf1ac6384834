"""Rules of people and the plan: what is said of them and can have no effect in a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim import units
from stationsim.findings import Finding
from stationsim.scenario.case import LOGIC

if TYPE_CHECKING:
    from stationsim.people.response import Response
    from stationsim.scenario.case import Case, Findings


def response_has_effect(case: Case) -> Findings:
    """Check that somebody can come to know, that who is named can come, and what keys do.

    Parameters
    ----------
    case
        What is to be looked at.
    """
    response = case.episode.response
    if response is None:
        return
    yield from _nothing_goes_out(response, case)
    yield from _never_come(response)
    yield from _night_without_night(response)
    yield from _never_used(response)


def _nothing_goes_out(response: Response, case: Case) -> Findings:
    """Warn when no alarm could ever call, so that the list is of no use."""
    if not response.call_list or response.passer_by is not None:
        return
    alarms, settings = response.alarms, case.station.alarms
    if alarms is not None and not alarms:
        yield _warned(
            "call_out.alarms",
            "is empty: no alarm calls anybody out",
            fix="name alarms, or take it out: then every alarm calls",
        )
        return
    silent = [
        one
        for one in case.episode.events
        if one.kind == "telemetry lost" and one.at_s <= 0.0 and _to_the_end(one.duration_s, case)
    ]
    if silent and alarms is not None and "telemetry lost" not in alarms:
        yield _warned(
            "call_out.alarms",
            "no alarm could ever go out: telemetry is lost for the whole episode, and 'telemetry "
            "lost' itself calls nobody",
            fix='add "telemetry lost"',
        )
    power = case.station.standby_power
    carried = power is not None and power.generator is not None
    empty = settings.battery_s <= settings.power_failed_delay_s
    if alarms == ("power failed",) and empty and not carried:
        shown = units.show(settings.battery_s, "duration", case.system)
        yield _warned(
            "call_out.alarms",
            "no alarm could ever go out: the battery of the alarms is empty before 'power failed' "
            "is raised",
            f"alarms.battery = {shown}",
            "longer than alarms.power_failed_delay",
            "give a longer battery, or more alarms",
        )


def _to_the_end(duration_s: float | None, case: Case) -> bool:
    return duration_s is None or duration_s >= case.episode.duration_s


def _never_come(response: Response) -> Findings:
    named = {*response.call_list}
    if response.visit is not None:
        named.add(response.visit.person)
    for person in response.people:
        if person.name not in named:
            yield _warned(
                "call_out.list",
                f"'{person.name}' is never called",
                fix="add them to the list, or take their table out",
            )
    if response.call_list and not any(response.person(name).answers for name in response.call_list):
        yield _warned(
            "call_out.list", "nobody on it answers", fix="let somebody answer: answers = true"
        )


def _night_without_night(response: Response) -> Findings:
    if response.night is not None or response.weekend_as_night:
        return
    for person in response.people:
        given = (person.night_acknowledges, person.night_gets_ready, person.night_travels)
        if any(one is not None for one in given) or not person.answers_at_night:
            yield _warned(
                "call_out.night",
                f"is missing, and what is said of '{person.name}' at night has no effect",
                fix='add it, such as night = "22:00 to 06:00"',
            )
            return


def _never_used(response: Response) -> Findings:
    used = {task.tool for task in response.tasks}
    for tool in response.tools:
        if tool.name not in used:
            yield _warned(
                "tool", f"'{tool.name}' is used by no task", fix="name it in a task, or take it out"
            )
    for task in response.tasks:
        if task.takes_down.high > 0.0 and not task.kind.startswith("connect"):
            yield _warned(
                f"task.{task.kind.replace(' ', '_')}.takes_down",
                "has no effect: nothing is connected that could be undone",
                fix="take it out",
            )


def _warned(place: str, reason: str, value: str = "", limit: str = "", fix: str = "") -> Finding:
    return Finding(place, "warning", reason, value, limit, fix, source=LOGIC)

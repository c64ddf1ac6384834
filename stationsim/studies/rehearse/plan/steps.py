"""The spans of the chain that brings a source, each by itself: fast, typical and slow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from stationsim.chance import Range
from stationsim.people.response import Response, WayPart
from stationsim.studies.rehearse.plan.cases import TASK_OF

Change = Callable[[Response, Range], Response]


class Step(NamedTuple):
    """One span of the chain that brings a source.

    Parameters
    ----------
    name
        What it is.
    who
        Who does it; empty for a machine, or for whoever delivers.
    span
        Low, typical and high [s].
    change
        Returns the response with another span for it.
    """

    name: str
    who: str
    span: Range
    change: Change


def steps_of(
    response: Response, source: str, person: str, at_night: frozenset[str] = frozenset()
) -> list[Step]:
    """Return the spans of the chain that brings a source, in their order.

    Parameters
    ----------
    response
        Who answers.
    source
        Which source.
    person
        Name of who goes.
    at_night
        Which of ``acknowledges``, ``gets_ready`` and ``travels`` they begin at night.
    """
    task = response.task(TASK_OF[source])
    if task is None or not person:
        return []
    kind, who = task.kind, response.person(person)

    def of_response(name: str) -> Change:
        return lambda one, span: replace(one, **{name: span})  # type: ignore[arg-type]

    def of_person(name: str) -> Change:
        def change(one: Response, span: Range) -> Response:
            people = tuple(
                replace(p, **{name: span, f"night_{name}": span})  # type: ignore[arg-type]
                if p.name == person
                else p
                for p in one.people
            )
            return replace(one, people=people)

        return change

    def of_tool(name: str) -> Change:
        def change(one: Response, span: Range) -> Response:
            tools = tuple(
                replace(t, **{name: span}) if t.name == task.tool else t  # type: ignore[arg-type]
                for t in one.tools
            )
            return replace(one, tools=tools)

        return change

    def of_task(name: str) -> Change:
        def change(one: Response, span: Range) -> Response:
            tasks = tuple(
                replace(t, **{name: span}) if t.kind == kind else t  # type: ignore[arg-type]
                for t in one.tasks
            )
            return replace(one, tasks=tasks)

        return change

    def own(name: WayPart) -> Range:
        return who.takes(name, night=name in at_night)

    found = [
        Step("alarm picked up", "", response.picked_up, of_response("picked_up")),
        Step("phone rings", "", response.on_phone, of_response("on_phone")),
        Step("acknowledged", person, own("acknowledges"), of_person("acknowledges")),
        Step("gets ready", person, own("gets_ready"), of_person("gets_ready")),
    ]
    if task.tool is not None:
        tool = response.tool(task.tool)
        if tool.fetched is not None:
            found.append(Step(f"fetches {tool.name}", person, tool.fetched, of_tool("fetched")))
        if tool.delivered is not None:
            found.append(Step(f"{tool.name} comes", "", tool.delivered, of_tool("delivered")))
    if task.people > 0:  # else whoever brings the tool waits for nobody
        found += [
            Step("travels", person, own("travels"), of_person("travels")),
            Step("looks around", person, response.assesses, of_response("assesses")),
        ]
    found += [
        Step(kind, person if task.people else "", task.takes, of_task("takes")),
        Step("starts", person if task.people else "", task.starts, of_task("starts")),
    ]
    return [step for step in found if step.span.high > 0.0]


def with_step(response: Response, step: Step, pace: str) -> Response:
    """Return a response in which one span takes its low or its high time, the others typical ones.

    Parameters
    ----------
    response
        Who answers.
    step
        Which span.
    pace
        ``low`` or ``high``.
    """
    value = step.span.low if pace == "low" else step.span.high
    return replace(step.change(response, Range.point(value)), pace="typical")

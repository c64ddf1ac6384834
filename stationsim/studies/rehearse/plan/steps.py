"""The spans of the chain that brings a source, each by itself: fast, typical and slow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

from stationsim.chance import Range
from stationsim.people.response import Response, Task, WayPart

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


REST = "alarm delay, other waits and ways"
"""What of a chain none of its spans says: waiting for the next on the list, a way to the yard."""


@dataclass(frozen=True)
class Chain:
    """Who brings a source, as the run has it.

    Parameters
    ----------
    response
        Who answers.
    task
        The step that brings the source.
    called
        Name of who acknowledged; empty when nobody was called (a round found it).
    on_site
        Name of who does the step; empty for who brings the tool.
    helpers
        Names of those who were called to help.
    at_night
        Who begins which of ``acknowledges``, ``gets_ready`` and ``travels`` at night.
    """

    response: Response
    task: Task
    called: str
    on_site: str
    helpers: tuple[str, ...] = ()
    at_night: frozenset[tuple[str, str]] = frozenset()

    def steps(self) -> list[Step]:
        """Return the spans of the chain, in their order; those of no length are left out."""
        response, task = self.response, self.task
        found: list[Step] = []
        goes = self.called if task.people > 0 else ""  # else whoever brings the tool waits for none
        if self.called:
            found += [
                Step("alarm picked up", "", response.picked_up, _of_response("picked_up")),
                Step("phone rings", "", response.on_phone, _of_response("on_phone")),
                self._own("acknowledged", self.called, "acknowledges"),
            ]
        if goes:
            found.append(self._own("gets ready", goes, "gets_ready"))
        if task.tool is not None:
            tool = response.tool(task.tool)
            change = partial(_of_one, "tools", "name", tool.name)
            if tool.fetched is not None:
                name = f"fetches {tool.name}"
                found.append(Step(name, self.on_site, tool.fetched, change("fetched")))
            if tool.delivered is not None:
                found.append(Step(f"{tool.name} comes", "", tool.delivered, change("delivered")))
        if goes:
            found.append(self._own("travels", goes, "travels"))
        if task.people > 0:
            looks = Step("looks around", self.on_site, response.assesses, _of_response("assesses"))
            found.append(looks)
        of_task = partial(_of_one, "tasks", "kind", task.kind)
        found.append(Step(task.kind, self.on_site, task.takes, of_task("takes")))
        if task.kind != "haul":  # a load counts from its beginning
            found.append(Step("starts", self.on_site, task.starts, of_task("starts")))
        for helper in self.helpers:
            found += [
                self._own("acknowledged", helper, "acknowledges"),
                self._own("gets ready", helper, "gets_ready"),
                self._own("travels", helper, "travels"),
            ]
        return [step for step in found if step.span.high > 0.0]

    def _own(self, name: str, person: str, part: WayPart) -> Step:
        night = (person, part) in self.at_night
        span = self.response.person(person).takes(part, night=night)
        change = _of_one("people", "name", person, part, f"night_{part}")
        return Step(name, person, span, change)

    def rest_s(self, flow_s: float) -> float:
        """Return what the spans do not say of the time until the first water [s].

        A delivery runs beside the way of whoever goes; what takes longer counts.

        Parameters
        ----------
        flow_s
            When the first water is drawn [s].
        """
        told = {"before": 0.0, "way": 0.0, "comes": 0.0, "own": 0.0}
        for step in self.steps():
            if step.who in self.helpers:
                continue
            where = "way"
            if step.name in ("alarm picked up", "phone rings", "acknowledged"):
                where = "before"
            elif step.name.endswith(" comes"):
                where = "comes"
            elif step.name in (self.task.kind, "starts"):
                where = "own"
            told[where] += step.span.typical
        own_s = 0.0 if self.task.kind == "haul" else told["own"]
        return flow_s - (told["before"] + max(told["way"], told["comes"]) + own_s)


def _of_response(name: str) -> Change:
    return lambda one, span: replace(one, **{name: span})  # type: ignore[arg-type]


def _of_one(among: str, key: str, which: str, *names: str) -> Change:
    """Return what gives one of the people, tools or tasks of a response another span."""

    def change(one: Response, span: Range) -> Response:
        changed = tuple(
            replace(each, **dict.fromkeys(names, span)) if getattr(each, key) == which else each
            for each in getattr(one, among)
        )
        return replace(one, **{among: changed})  # type: ignore[arg-type]

    return change


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

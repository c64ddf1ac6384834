"""From checked tables to who answers for a station, with what, and in which order."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, cast

from stationsim.people.response import (
    NONE,
    PasserBy,
    Person,
    Response,
    Task,
    TaskKind,
    Tool,
    Visit,
)
from stationsim.scenario import response_rules
from stationsim.scenario.parts import RESPONSE_TABLES
from stationsim.scenario.response_tables import CallOutPart

if TYPE_CHECKING:
    from stationsim.scenario.built import Built
    from stationsim.scenario.parts import Parts
    from stationsim.scenario.response_tables import (
        PasserByPart,
        PersonPart,
        TaskPart,
        ToolPart,
        VisitPart,
    )

_QUARTER = 0.25
"""Part of a full tank at which it is filled, unless it is said (common practice, no source) [-]."""

_WHOLE = ("call_out", "visit", "passer_by")
"""Tables that say something though they are empty."""


def make_response(parts: Parts, built: Built) -> Response | None:
    """Return who answers for the station; None when nobody comes; mistakes are noted.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    built
        Takes what is refused.
    """
    document = parts.document
    if not any(document.get(one) or one in _WHOLE for one in RESPONSE_TABLES if one in document):
        return None
    before = sum(one.verdict == "error" for one in built.findings)
    response_rules.refuse_what_cannot_be(parts, built)
    refused = sum(one.verdict == "error" for one in built.findings) > before
    if refused or not all(parts.has(table) for table in RESPONSE_TABLES):
        return None
    out: CallOutPart = parts.single.get("call_out") or CallOutPart.model_validate({})
    people = {key: _person(key, part) for key, part in parts.named["person"].items()}
    tools = {key: _tool(key, part) for key, part in parts.named["tool"].items()}
    visit: VisitPart | None = parts.single.get("visit")
    passer_by: PasserByPart | None = parts.single.get("passer_by")
    steps = out.steps if out.steps is not None else list(document.get("task", ()))
    return Response(
        people=tuple(people.values()),
        call_list=tuple(people[key].name for key in out.call_list or ()),
        alarms=None if out.alarms is None else tuple(out.alarms),
        picked_up=out.picked_up or NONE,
        on_phone=out.on_phone or NONE,
        next_after_s=math.inf if out.next_after is None else out.next_after,
        rounds=out.rounds,
        assesses=out.assesses or NONE,
        look_again_s=out.look_again,
        night=out.night,
        weekend_as_night=out.weekend_as_night,
        tools=tuple(tools.values()),
        tasks=tuple(_task(key, parts.named["task"][key], tools) for key in steps),
        visit=None if visit is None else Visit(people[visit.person].name, visit.at, visit.every),
        passer_by=None
        if passer_by is None
        else PasserBy(passer_by.after, passer_by.sees, passer_by.awake),
        pace=out.pace,
        late_s=out.late,
    )


def name_of(key: str, part: PersonPart | ToolPart | object) -> str:
    """Return what tables and sentences call a person or a tool.

    Parameters
    ----------
    key
        The key of its table.
    part
        The table, read or as written.
    """
    name = part.get("name") if isinstance(part, Mapping) else getattr(part, "name", None)
    return name.strip() if isinstance(name, str) else key.replace("_", " ")


def _person(key: str, part: PersonPart) -> Person:
    return Person(
        name=name_of(key, part),
        acknowledges=part.acknowledges or NONE,
        gets_ready=part.gets_ready or NONE,
        travels=part.travels or NONE,
        night_acknowledges=part.night_acknowledges,
        night_gets_ready=part.night_gets_ready,
        night_travels=part.night_travels,
        on_call=part.on_call,
        answers=part.answers,
        answers_at_night=part.answers_at_night,
    )


def _tool(key: str, part: ToolPart) -> Tool:
    return Tool(
        name=name_of(key, part),
        number=part.number,
        fetched=part.fetched,
        delivered=part.delivered,
        holds_m3=part.holds or 0.0,
        round_trip=part.round_trip or NONE,
    )


def _task(key: str, part: TaskPart, tools: Mapping[str, Tool]) -> Task:
    return Task(
        kind=cast("TaskKind", key.replace("_", " ")),
        takes=part.takes or NONE,
        starts=part.starts or NONE,
        takes_down=part.takes_down or NONE,
        people=part.people,
        tool=None if part.tool is None else tools[part.tool].name,
        brought_for=tuple(part.brought_for or ()),
        fuel_below=_QUARTER if part.fuel_below is None else part.fuel_below,
    )

"""Responses, runs and what must hold of any crew, for the tests of people."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

from stationsim.chance import Range
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.inflow.daily import Daily
from stationsim.people.response import Person, Response, Task, Tool
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import MONDAY, reference_inflow, reference_station
from stationsim.trace import CrewRow, Trace

MINUTE = 60.0
RAGS_AND_PULLING = ("clear rags", "pull a pump")
HOUR = 3600.0


def minutes(low: float, typical: float, high: float) -> Range:
    """Return a range that is written in minutes."""
    return Range(low * MINUTE, typical * MINUTE, high * MINUTE)


def just(seconds: float) -> Range:
    """Return a range of one value [s]."""
    return Range.point(seconds)


# Low, typical and high minutes of each link of the chain: from memory.
PICKED_UP = minutes(0.0, 1.0, 5.0)
ON_PHONE = minutes(0.5, 2.0, 10.0)
ACKNOWLEDGES = minutes(1.0, 5.0, 30.0)
GETS_READY = minutes(5.0, 10.0, 20.0)
FETCHED = minutes(10.0, 15.0, 30.0)
TRAVELS = minutes(10.0, 25.0, 90.0)
CONNECTS = minutes(10.0, 15.0, 40.0)
STARTS = minutes(2.0, 5.0, 10.0)

MOBILE = Tool("mobile generator", fetched=FETCHED)
OPERATOR = Person("operator", ACKNOWLEDGES, GETS_READY, TRAVELS)
CONNECT = Task(
    "connect mobile generator", CONNECTS, STARTS,
    tool="mobile generator", brought_for=("power failed",),
)  # fmt: skip


def chain(pace: str = "typical", **changes: Any) -> Response:
    """Return the example of a chain: one operator, one set in the yard, one step."""
    response = Response(
        people=(OPERATOR,),
        call_list=("operator",),
        picked_up=PICKED_UP,
        on_phone=ON_PHONE,
        look_again_s=300.0,
        tools=(MOBILE,),
        tasks=(CONNECT,),
        pace=pace,  # type: ignore[arg-type]
    )
    return replace(response, **changes)


def with_mobile(station: Station) -> Station:
    """Return a station that takes a mobile set."""
    return replace(station, standby_power=StandbyPower(mobile=GeneratorSet()))


def wednesday(hour: float, response: Response | None, *events: ScriptedEvent) -> Episode:
    """Return ten hours at the reference station from an hour of Wednesday on, grid lost for 8 h."""
    flow = reference_inflow()
    source = Daily(flow.weekday_m3s, flow.weekday_m3s)
    lost = ScriptedEvent(0.0, "grid loss", "grid", 8.0 * HOUR)
    return Episode(
        start=MONDAY + timedelta(days=2, hours=hour),
        duration_s=10.0 * HOUR,
        inflow=(source,),
        start_level_m=1.5,
        events=(lost, *events),
        response=response,
    )


def reference(hour: float, response: Response | None, *events: ScriptedEvent) -> Result:
    """Run the reference station without its supply from an hour of Wednesday on."""
    return simulate(with_mobile(reference_station()), wednesday(hour, response, *events))


def at_once(*names: str, **changes: Any) -> Response:
    """Return a response of people who do everything at once, called in this order."""
    people = tuple(Person(name) for name in names)
    return Response(**{"people": people, "call_list": names, "look_again_s": 300.0, **changes})


def rows_of(trace: Trace, task: str) -> list[CrewRow]:
    """Return the rows of the crew that tell of a task, in the order of time."""
    return [row for row in trace.crew if row.task == task]


def moments(trace: Trace, event: str) -> list[float]:
    """Return when an event was written down [s]."""
    return [row.t_s for row in trace.events if row.event == event]


def bytes_of(result: Result) -> bytes:
    """Return what makes two runs the same: every row of the trace, to the last bit."""
    trace = result.trace
    rows = (
        trace.leg_t_s, trace.leg_v_m3, trace.leg_lineup, trace.runs, trace.events, trace.alarms,
        trace.spills, trace.power, trace.crew, trace.unavailable, trace.signal, trace.trips,
        trace.spilled_m3, trace.pumped_m3, trace.hauled_m3, trace.end_m3, sorted(trace.fuel_m3),
        sorted(trace.filled_m3.items()),
    )  # fmt: skip
    return repr(
        [[_plain(row) for row in part] if isinstance(part, list) else part for part in rows]
    ).encode()


def _plain(row: object) -> object:
    return tuple(row) if isinstance(row, tuple) else row


def nobody_in_two_places(crews: Iterable[CrewRow]) -> None:
    """Fail when one person does two things at once; a phone that rings is not counted."""
    spans = defaultdict(list)
    for row in crews:
        if row.person and row.task != "called":
            spans[row.person].append((row.start_s, row.stop_s, row.task))
    for name, found in spans.items():
        found.sort()
        for one, other in pairwise(found):
            assert one[1] <= other[0], (name, one, other)


def no_tool_twice(crews: Iterable[CrewRow], response: Response) -> None:
    """Fail when more of a tool are handled at one moment than there are."""
    for tool in response.tools:
        marks = []
        for row in crews:
            if row.tool == tool.name and row.outcome not in ("not to be had", "no longer needed"):
                hands = {r.person for r in crews if r[3:5] == row[3:5] and r[:2] == row[:2]}
                if row.person in ("", min(hands)):  # those who help handle the same one
                    marks += [(row.start_s, 1), (row.stop_s, -1)]
        used = 0
        for _at_s, step in sorted(marks):
            used += step
            assert used <= tool.number, (tool.name, used)


def no_step_without_hands(crews: Iterable[CrewRow], response: Response) -> None:
    """Fail when a step was done by fewer people than it takes, or before its tool was there."""
    for task in response.tasks:
        doing = defaultdict(list)
        for row in crews:
            if row.task in (task.kind, task.kind.replace("connect", "disconnect")):
                doing[row.start_s, row.subject, row.task].append(row.person)
        for names in doing.values():
            assert len(set(names)) == max(task.people, 1), (task.kind, names)
        if task.tool is None:
            continue
        tool = response.tool(task.tool)
        if tool.fetched is None and tool.delivered is None:
            continue
        came = [
            row.stop_s
            for row in crews
            if row.tool == tool.name
            and (row.task, row.outcome) in (("fetches", "done"), ("comes", "on site"))
        ]
        for start_s, _subject, _word in doing:
            assert min(came, default=math.inf) <= start_s, (task.kind, start_s)


def nothing_runs_that_somebody_works_on(trace: Trace, names: tuple[str, ...]) -> None:
    """Fail when a machine runs while it is worked on, or something feeds while a set is taken off.

    Spans that touch within a microsecond are one after the other.
    """
    spans = [
        ((names[run.machine], run.start_s, run.stop_s), ("set right", "refuel", *RAGS_AND_PULLING))
        for run in trace.runs
    ]
    spans += [
        (("station", row.start_s, row.stop_s), ("disconnect mobile generator",))
        for row in trace.power
        if row.source == "busbar" and row.state != "dead"
    ]
    for (name, start_s, stop_s), tasks in spans:
        for row in trace.crew:
            if row.subject == name and row.task in tasks:
                apart = stop_s <= row.start_s + 1e-6 or start_s >= row.stop_s - 1e-6
                assert apart or row.stop_s - row.start_s < 1e-5, (row, start_s, stop_s)

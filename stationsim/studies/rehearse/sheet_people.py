"""Parts of the station sheet that are about people: who is called, who else comes, the steps."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.people.response import DAY_S, WAY
from stationsim.studies.rehearse.sheet_text import (
    NOT_HERE,
    clock_span,
    table,
    three_minutes,
)
from stationsim.units import show
from stationsim.wording.spans import clock_text

if TYPE_CHECKING:
    from stationsim.forms import Value
    from stationsim.people.response import PasserBy, Person, Response, Task, Visit
    from stationsim.studies.rehearse.sheet_text import Places
    from stationsim.units import System

STEPS = "Steps, in order"
CALLS = "Who is called, in order"

_EMPTY_STEPS, _EMPTY_CALLS = 4, 3
_SILENT = "does not answer"
_BY_WHOM = " (licensed, and not alone)"


def steps(response: Response | None, system: System) -> Places:
    """Return the steps of the plan, in their order; blanks where there is none.

    Parameters
    ----------
    response
        Who answers, and with what; None for nobody.
    system
        ``si`` or ``us``.
    """
    lines: dict[str, dict[str, Value]] = {}
    if response is None:
        for number in range(1, _EMPTY_STEPS + 1):
            lines[f"{number}"] = dict.fromkeys(("what", "people", "tool", "minutes", "done at"))
        return table(STEPS, lines)
    before = (
        ("alarm to the first phone", three_minutes(response.picked_up, response.on_phone)),
        ("look around on site", three_minutes(response.assesses)),
    )
    told: list[tuple[Value, ...]] = [(what, "-", "-", took) for what, took in before]
    told += [_task(response, task, system) for task in response.tasks]
    for number, (what, people, tool, took) in enumerate(told, 1):
        lines[f"{number}"] = {
            "what": what, "people": people, "tool": tool, "minutes": took, "done at": None,
        }  # fmt: skip
    return table(_uncalled(response), lines)


def _task(response: Response, task: Task, system: System) -> tuple[Value, ...]:
    people: Value = f"{task.people}" if task.people else "who brings it"
    what = f"{task.kind}{_BY_WHOM}" if task.kind == "connect mobile generator" else task.kind
    tool = _tool(response, task, system)
    return what, people, tool, three_minutes(task.takes, task.starts)


def _tool(response: Response, task: Task, system: System) -> str:
    """Return what a step takes, where it comes from, how long that takes and what it holds."""
    if task.tool is None:
        return "-"
    found = next((one for one in response.tools if one.name == task.tool), None)
    if found is None:
        return task.tool
    if found.number == 0:
        return f"{found.name}: none to be had"
    how, span = ("fetched", found.fetched)
    if span is None:
        how, span = ("delivered", found.delivered)
    took = three_minutes(span)
    told = [found.name] if took is None else [found.name, f"{how} {took}"]
    if found.holds_m3 > 0.0:
        told.append(f"{show(found.holds_m3, 'volume', system)} a load")
        away = three_minutes(found.round_trip)
        told += [] if away is None else [f"away {away}"]
    return ", ".join(told)


def calls(response: Response | None) -> Places:
    """Return who is called, in order, and how long they take; blanks where nobody is named.

    Parameters
    ----------
    response
        Who answers; None for nobody.
    """
    lines: dict[str, dict[str, Value]] = {}
    if response is None or not response.call_list:
        for number in range(1, _EMPTY_CALLS + 1):
            lines[f"{number}"] = dict.fromkeys(("who", "phone", "answers", "to site", "at night"))
        return table(CALLS, lines)
    for number, name in enumerate(response.call_list, 1):
        lines[f"{number}"] = _called(response.person(name))
    return table(_in_turn(response), lines)


def _called(person: Person) -> dict[str, Value]:
    who = f"{person.name}{clock_span(person.on_call)}"
    if not person.answers:
        return {
            "who": who, "phone": None, "answers": _SILENT, "to site": NOT_HERE,
            "at night": NOT_HERE,
        }  # fmt: skip
    by_day, at_night = ([person.takes(p, night=night) for p in WAY] for night in (False, True))
    day_way = three_minutes(*by_day[1:])
    answers = three_minutes(by_day[0])
    dark_told = None if day_way is None else "as by day"
    if at_night[1:] != by_day[1:]:
        dark_told = three_minutes(*at_night[1:])
    if not person.answers_at_night:
        dark_told = NOT_HERE
        answers = f"{answers or '-'}; at night: {_SILENT}"
    elif at_night[0] != by_day[0]:
        answers = f"{answers or '-'}; night {three_minutes(at_night[0]) or '-'}"
    return {
        "who": who,
        "phone": None,
        "answers": answers,
        "to site": day_way,
        "at night": dark_told,
    }


def _in_turn(response: Response) -> str:
    """Return the head of the list: when the next one is called, how often it is gone through."""
    told = [CALLS]
    times = response.rounds
    if len(response.call_list) * times > 1:
        several = bool(response.call_list[1:])
        after = "the next one is not called" if several else "not called again"
        if math.isfinite(response.next_after_s):
            who = "next one" if several else "again"
            after = f"{who} after {show(response.next_after_s, 'duration', 'si')}"
        told.append(after)
    told.append("list gone through once" if times == 1 else f"list gone through {times} times")
    return "; ".join(told)


def _uncalled(response: Response) -> str:
    """Return the head of the steps: who comes by, and who rings, without an alarm."""
    told = [STEPS]
    if response.visit is not None:
        told.append(_visit(response.visit))
    if response.passer_by is not None:
        told.append(_rings(response.passer_by))
    return "; ".join(told)


def _visit(visit: Visit) -> str:
    every = "day" if visit.every_s == DAY_S else show(visit.every_s, "duration", "si")
    return f"visit: {visit.person}, {clock_text(visit.at_clock_s % DAY_S)}, every {every}"


def _rings(passer_by: PasserBy) -> str:
    took = three_minutes(passer_by.after)
    after = "rings" if took is None else f"rings after {took} min"
    return f"who sees the {passer_by.sees} {after}{clock_span(passer_by.awake)}"

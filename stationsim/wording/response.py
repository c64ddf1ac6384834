"""The plan before any run: who is called in which order, and the steps with their times."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.people.response import WAY
from stationsim.units import show
from stationsim.wording.spans import clock_text, day_span_text, span_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from stationsim.people.response import Person, Response, Tool
    from stationsim.units import System

_NOBODY = "Nobody is called."
_PACES = {
    "low": "the low ones count",
    "typical": "the typical ones count",
    "high": "the high ones count",
    "drawn": "each is drawn by the seed",
}


def response_lines(response: Response, system: System = "si") -> list[str]:
    """Return who answers for a station and the steps of the plan in lines of text.

    Parameters
    ----------
    response
        Who answers, with what, and in which order.
    system
        ``si`` or ``us``.
    """
    head = f"The plan; times as low / typical / high, and {_PACES[response.pace]} in a run:"
    found = [head, "", *_called(response)]
    if response.call_list and (response.visit is not None or response.passer_by is not None):
        found.append("")
    if response.visit is not None:
        at, every = (
            clock_text(response.visit.at_clock_s),
            show(response.visit.every_s, "duration", "si"),
        )
        found.append(f"{response.visit.person} visits at {at}, every {every}")
    if response.passer_by is not None:
        seen = response.passer_by.awake
        awake = "" if seen is None else f", from {day_span_text(seen)}"
        found.append(
            f"Somebody who sees the {response.passer_by.sees} rings after "
            f"{span_text(response.passer_by.after)}{awake}"
        )
    return [*found, "", *_steps(response, system)]


def _called(response: Response) -> list[str]:
    if not response.call_list:
        return [_NOBODY]
    alarms = response.alarms
    if alarms is None:
        at = "Every alarm that leaves the station calls"
    elif alarms:
        quoted = _joined(f"'{one}'" for one in alarms)
        at = f"{quoted} {'call' if alarms[1:] else 'calls'}"
    else:
        at = "No alarm calls"
    phone = span_text(response.picked_up, response.on_phone)
    lines = [f"{at}; the first phone rings after {phone}."]
    if response.call_list[1:] and math.isfinite(response.next_after_s):
        rounds = f"{response.rounds} rounds" if response.rounds > 1 else "one round"
        after = show(response.next_after_s, "duration", "si")
        lines.append(f"Not acknowledged within {after}, the next one is called too; {rounds}.")
    rows: list[tuple[str, ...]] = [
        ("", "", "acknowledges", "gets ready", "travels", "phone to site"),
    ]
    for number, name in enumerate(response.call_list, start=1):
        rows += _person_rows(f"{number}", response.person(name), night=response.night is not None)
    return [*lines, "", *_columns(rows)]


def _person_rows(number: str, person: Person, *, night: bool) -> list[tuple[str, ...]]:
    spans, at_night = ([person.takes(p, night=dark) for p in WAY] for dark in (False, True))
    if not person.answers:
        return [(number, f"{person.name}: does not answer")]
    rows: list[tuple[str, ...]] = [
        (number, person.name, *map(span_text, spans), span_text(*spans)),
    ]
    if person.on_call is not None:
        rows.append(("", f"  on call {day_span_text(person.on_call)}"))
    if not night:
        return rows
    if not person.answers_at_night:
        rows.append(("", "  at night: does not answer"))
    elif at_night != spans:
        rows.append(("", "  at night", *map(span_text, at_night), span_text(*at_night)))
    return rows


def _steps(response: Response, system: System) -> list[str]:
    if not response.tasks:
        return ["No steps: whoever comes does nothing."]
    rows = [("", "step", "people", "takes", "starts", "with")]
    for number, task in enumerate(response.tasks, start=1):
        rows.append(
            (
                f"{number}",
                task.kind,
                f"{task.people}" if task.people else "who brings it",
                span_text(task.takes),
                span_text(task.starts),
                task.tool or "",
            )
        )
    used = {task.tool for task in response.tasks}
    tools = [_tool_text(tool, system) for tool in response.tools if tool.name in used]
    return [*_columns(rows), *([""] if tools else []), *tools]


def _tool_text(tool: Tool, system: System) -> str:
    if tool.number == 0:
        return f"{tool.name}: none is to be had"
    said = [f"{tool.number} of them"] if tool.number > 1 else []
    if tool.holds_m3 > 0.0:
        said.append(f"holds {show(tool.holds_m3, 'volume', system)}")
    if tool.delivered is not None:
        said.append(f"delivered in {span_text(tool.delivered)}")
    elif tool.fetched is not None:
        said.append(f"fetched in {span_text(tool.fetched)}")
    else:
        said.append("on site")
    if tool.round_trip.high > 0.0:
        said.append(f"away with a load for {span_text(tool.round_trip)}")
    return f"{tool.name}: {', '.join(said)}"


def _joined(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Return rows of text in columns; a row that has fewer of them is as wide as it likes."""
    most = max(len(row) for row in rows)
    full = [row for row in rows if len(row) == most]
    widths = [max(len(row[n]) for row in full) for n in range(most)]
    return [
        "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=False)).rstrip()
        for row in rows
    ]

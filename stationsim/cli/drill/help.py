"""What can be typed in a drill, with an example each that this station understands."""

from __future__ import annotations

import difflib
import textwrap
from typing import TYPE_CHECKING

from stationsim.studies.drill.orders import VERBS, fit_to_show

if TYPE_CHECKING:
    from stationsim.studies.drill.drill import Drill

_LEFT = 34


def help_lines(drill: Drill, about: str, width: int) -> list[str]:
    """Return what can be typed, for one order or for all.

    Parameters
    ----------
    drill
        Knows the names of the station.
    about
        The order; empty for all.
    width
        How wide a line may be [characters].
    """
    rows, absent = _rows(drill)
    word = about.strip().lower()
    if word:
        chosen = [row for row in rows if row[0].split()[0] == word]
        lines = _table(chosen, width)
        if chosen:
            return lines
        if word in absent:
            return _wrapped(f"'{word}': {absent[word]}", width)
        near = difflib.get_close_matches(word, VERBS, 1)
        hint = f"did you mean 'help {near[0]}'?" if near else "'help' tells of all orders"
        return _wrapped(f"there is no order '{fit_to_show(word[:40])}'; {hint}", width)
    lines = ["You can type, by the names of this station:", *_table(rows, width)]
    for name, why in absent.items():
        lines += _wrapped(f"'{name}': {why}", width)
    lines += _wrapped(
        "Whoever is to do a thing on site may be named behind it: by NAME. A name may be cut short"
        " as long as no other begins so. Time passes only while something is waited for or"
        " asked of the far end; a blank line does nothing. Ctrl-C leaves it, to go on later.",
        width,
    )
    return lines


def _rows(drill: Drill) -> tuple[list[tuple[str, str]], dict[str, str]]:
    names, response = drill.names, drill.response
    pump = names.machines[0] if names.machines else "P1"
    people = [one for one in names.people if one != names.me]
    fetched = [one.name for one in response.tools if one.fetched is not None]
    delivered = [one.name for one in response.tools if one.delivered is not None]
    connected = [one for one in ("mobile generator",) if one in names.sets]
    if drill.station.bypass_pump is not None:
        connected.append("bypass pump")
    refuelled = [*names.sets, *(one.pump.name for one in drill.station.engines())]
    absent: dict[str, str] = {}
    rows = [
        ("wait", "until something is told, or to the end"),
        ("wait 20 min", "so long, or until something calls for you"),
        ("wait until 02:40", "to the next 02:40; a day may stand before it: wait until Thu 02:40"),
        ("ask", "what the panel shows, if you stand before it"),
        ("ask alarms", "also: ask people, ask plan, ask station"),
    ]
    if people:
        rows += [(f"ask {people[0]}", "where they are; on site, what the panel shows")]
    rows += [("look", "somebody on site looks around")]
    if people:
        rows += [(f"call {people[0]}", "by phone; they stand by until they are sent")]
    rows += [(f"call {one}", "it is delivered") for one in delivered[:1]]
    if not people and not delivered:
        absent["call"] = "the file names nobody else, and nothing that is delivered"
    rows += [("send me", "you get ready and drive there")]
    if fetched:
        rows += [(f"send me for {fetched[0]}", "the same, by way of the yard")]
    if people:
        rows += [(f"send {people[0]}", "calls them first, if they were not reached yet")]
    rows += [
        ("send me home", "leave the site"),
        (f"hand {pump}", "turn its selector: in hand nobody stops it but you; also: off, auto"),
        (f"reset {pump}", "press its reset, once its cause has been looked for"),
        (f"mend {pump}", "isolate it, find what is wrong with it, and put it right"),
    ]
    if connected:
        rows += [
            (
                f"connect {connected[0]}",
                "once it is on site: by those licensed for it, isolated from the grid, not alone",
            ),
            (f"disconnect {connected[0]}", "take it off again"),
        ]
    else:
        absent["connect"] = "no mobile generator and no bypass pump can be connected here"
        absent["disconnect"] = "nothing can be connected here"
    if refuelled and response.task("refuel") is not None:
        rows += [(f"refuel {refuelled[0]}", "fill its tank, its engine stopped and cooled")]
    else:
        absent["refuel"] = "the file has no such step"
    if response.task("haul") is not None:
        rows += [("haul 3", "so many loads by tanker")]
    else:
        absent["haul"] = "the file has no such step"
    rows += [
        (f"note {pump} sounds rough", "a note for the talk afterwards"),
        ("done", "you have done all you will do; the rest runs by itself"),
    ]
    return rows, absent


def _table(rows: list[tuple[str, str]], width: int) -> list[str]:
    left = min(max((len(one) for one, _ in rows), default=0) + 2, _LEFT)
    lines: list[str] = []
    for typed, does in rows:
        first = f"  {typed:<{left}}"
        if len(typed) >= left:
            lines.append(first.rstrip())
            first = " " * (left + 2)
        lines += textwrap.wrap(
            does, max(width, left + 24), initial_indent=first, subsequent_indent=" " * (left + 2)
        )
    return lines


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_on_hyphens=False)

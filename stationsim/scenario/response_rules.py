"""Rules of people and the plan: whom it names, and what its steps need.

What names something that is not there, or asks for what nobody can give, is refused while the
tables are built, so that all of it is told at once with the mistakes of other tables. What has no
effect is a warning: see ``response_effects``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, get_args

from stationsim.scenario.fuel_keys import lacks_of_fuel
from stationsim.scenario.response_tables import ALARMS, TaskKey
from stationsim.scenario.slips import nearest_key, nearest_name

if TYPE_CHECKING:
    from stationsim.scenario.built import Built
    from stationsim.scenario.parts import Parts
    from stationsim.scenario.response_tables import (
        CallOutPart,
        PersonPart,
        TaskPart,
        ToolPart,
        VisitPart,
    )

TASKS: tuple[str, ...] = get_args(TaskKey)
_NEEDS_OF_TASKS = {
    "connect_mobile_generator": (
        "mobile_generator",
        'add [mobile_generator] with its rated_power, such as rated_power = "45 kW"',
    ),
    "connect_bypass_pump": (
        "bypass_pump",
        "add [bypass_pump] with its start, stop and flow",
    ),
}
"""Tasks that connect something -> the table of the station that says what, and the remedy."""

_NEEDS_OF_ALARMS = {
    "high level": (("alarms", "high_level"), "alarms.high_level", "add high_level to [alarms]"),
    "low level": (("alarms", "low_level"), "alarms.low_level", "add low_level to [alarms]"),
    "transfer failed": (("transfer",), "[transfer]", "add [transfer] and [generator]"),
}
_ENGINES = ("engine_pump", "bypass_pump")
_BURNERS = (*_ENGINES, "generator", "mobile_generator")


def refuse_what_cannot_be(parts: Parts, built: Built) -> None:
    """Refuse what names something that is not there, or asks for what nobody can give.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    built
        Takes what is refused.
    """
    tables = _Tables(parts)
    _names(tables, built)
    _call_out(tables, built)
    _visits(tables, built)
    _tools(tables, built)
    for key, task in tables.tasks.items():
        if key in TASKS:
            _task(key, task, tables, built)
    _unknown_tasks(tables, built)
    _steps(tables, built)


class _Tables:
    """What the rules look at: what could be read, and the keys of what could not.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    """

    def __init__(self, parts: Parts) -> None:
        self.document = parts.document
        self.single = parts.single
        self.out: CallOutPart | None = parts.single.get("call_out")
        self.visit: VisitPart | None = parts.single.get("visit")
        self.people: dict[str, PersonPart] = parts.named["person"]
        self.tools: dict[str, ToolPart] = parts.named["tool"]
        self.tasks: dict[str, TaskPart] = parts.named["task"]
        self.person_keys = self.keys("person")
        self.task_keys = self.keys("task")

    def keys(self, table: str) -> tuple[str, ...]:
        """Return the keys of a table of named ones, also of those that could not be read.

        Parameters
        ----------
        table
            Which: ``person``, ``tool`` or ``task``.
        """
        found = self.document.get(table)
        return tuple(found) if isinstance(found, Mapping) else ()

    def lacks(self, table: str, key: str) -> bool:
        """Return whether a table surely has no such key; one that is no table is told elsewhere.

        Parameters
        ----------
        table
            Which: ``person``, ``tool`` or ``task``.
        key
            The key that something else names.
        """
        found = self.document.get(table, {})
        return isinstance(found, Mapping) and key not in found

    def names(self, table: str) -> dict[str, str]:
        """Return the names that people, or tools, are given, each with its key.

        Parameters
        ----------
        table
            ``person`` or ``tool``; any other has none.
        """
        people = {one.name: key for key, one in self.people.items() if one.name}
        tools = {one.name: key for key, one in self.tools.items() if one.name}
        return {"person": people, "tool": tools}.get(table, {})

    def callable_keys(self) -> set[str]:
        """Return the keys of who can come: on the call-out list, or on a visit."""
        called = set(() if self.out is None else self.out.call_list or ())
        return called if self.visit is None else called | {self.visit.person}


def _written(values: Iterable[str]) -> str:
    return ", ".join(f'"{one}"' for one in values)


def _no_such(place: str, what: str, asked: str, tables: _Tables, built: Built) -> None:
    """Refuse a key of a table that is not there; the one that was likely meant is told."""
    known, names = tables.keys(what), tables.names(what)
    meant = nearest_name(asked, known)
    if not meant and (name := nearest_name(asked, names)):
        meant = names[name]
    fix = f"did you mean '{meant}'?" if meant else f"add [{what}.{_plain(asked)}]"
    built.refuse(place, f"there is no [{what}.{_plain(asked)}]", f'"{asked}"', _written(known), fix)


def _plain(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() else f'"{key}"'


# ------------------------------------------------------------------ who is called


def _names(tables: _Tables, built: Built) -> None:
    """Refuse two people, or two tools, of one name: nobody could tell them apart."""
    for kind, found in (("person", tables.people), ("tool", tables.tools)):
        seen: dict[str, str] = {}
        for key, part in found.items():
            name = part.name or key.replace("_", " ")
            other = seen.setdefault(name, key)
            if other != key:
                built.refuse(
                    f"{kind}.{_plain(key)}.name",
                    f"is the name of [{kind}.{_plain(other)}] too",
                    f'"{name}"',
                    fix="give each a name of its own",
                )


def _call_out(tables: _Tables, built: Built) -> None:
    document, out = tables.document, tables.out
    others = [table for table in ("person", "task", "tool") if tables.keys(table)]
    if "call_out" not in document:
        if others and "visit" not in document:
            built.refuse(
                "call_out",
                f"is missing, and [{others[0]}.{_plain(tables.keys(others[0])[0])}] is there: "
                "nobody would be called",
                fix=f"add [call_out] with list = [{_written(tables.person_keys) or _SOMEBODY}]",
            )
        elif "passer_by" in document:
            _rings_nobody(built)
        return
    if out is None:
        return  # told already
    if out.call_list is None:
        if "passer_by" in document:
            _rings_nobody(built)
        elif "visit" not in document:
            built.refuse(
                "call_out.list",
                "is missing: nobody would be called",
                _written(()),
                _written(tables.person_keys),
                f"add it, such as list = [{_written(tables.person_keys) or _SOMEBODY}]",
            )
    seen: set[str] = set()
    for key in out.call_list or ():
        if key in seen:
            built.refuse("call_out.list", "names somebody twice", f'"{key}"', fix="take one out")
        elif tables.lacks("person", key):
            _no_such("call_out.list", "person", key, tables, built)
        seen.add(key)
    _alarms("call_out.alarms", out.alarms or (), tables, built)


_SOMEBODY = '"first"'


def _rings_nobody(built: Built) -> None:
    built.refuse(
        "passer_by",
        "rings, and nobody is on a list to be called",
        fix=f"add [call_out] with list = [{_SOMEBODY}], or take [passer_by] out",
    )


def _alarms(place: str, alarms: Iterable[str], tables: _Tables, built: Built) -> None:
    """Refuse alarms that are none, or that this station cannot raise, or that are named twice."""
    seen: set[str] = set()
    for alarm in alarms:
        if alarm in seen:
            built.refuse(place, "names an alarm twice", f'"{alarm}"', fix="take one out")
        elif alarm not in ALARMS:
            near = nearest_key(alarm, ALARMS)
            fix = f"did you mean '{near}'?" if near else ""
            built.refuse(place, "is no alarm", f'"{alarm}"', ", ".join(ALARMS), fix)
        else:
            lacks = _lacks(alarm, tables)
            if lacks is not None:
                reason = f"this station raises no such alarm: {lacks[0]} is missing"
                built.refuse(place, reason, f'"{alarm}"', fix=f"{lacks[1]}, or take it out")
        seen.add(alarm)


def _lacks(alarm: str, tables: _Tables) -> tuple[str, str] | None:
    """Return what a station lacks to raise an alarm, and the remedy; None when it can."""
    document = tables.document
    if alarm in _NEEDS_OF_ALARMS:
        path, told, fix = _NEEDS_OF_ALARMS[alarm]
        node: Any = document
        for key in path:
            node = node.get(key) if isinstance(node, Mapping) else None
        return (told, fix) if node is None else None
    if alarm == "engine failed" and not any(one in document for one in _ENGINES):
        return "[engine_pump]", "add it"
    if alarm == "generator failed" and not (
        "mobile_generator" in document or {"generator", "transfer"} <= set(document)
    ):
        return "[generator] with [transfer], or [mobile_generator],", "add it"
    return None


def _visits(tables: _Tables, built: Built) -> None:
    visit = tables.visit
    if visit is not None and tables.lacks("person", visit.person):
        _no_such("visit.person", "person", visit.person, tables, built)


# ------------------------------------------------------------------ with what, and what they do


def _tools(tables: _Tables, built: Built) -> None:
    for key, tool in tables.tools.items():
        place = f"tool.{_plain(key)}"
        if tool.fetched is not None and tool.delivered is not None:
            built.refuse(
                f"{place}.fetched",
                "and delivered are two answers: a crew collects it, or somebody else brings it",
                fix="keep one of them",
            )
        if tool.round_trip is not None and tool.holds is None:
            built.refuse(
                f"{place}.holds",
                "is missing, and round_trip is given",
                fix=f'add it, such as holds = "{built.example("10 m3", "2600 gal")}"',
            )


def _task(key: str, task: TaskPart, tables: _Tables, built: Built) -> None:
    """Refuse what a step needs and does not have."""
    place = f"task.{key}"
    _alarms(f"{place}.brought_for", task.brought_for or (), tables, built)
    tool = None if task.tool is None else tables.tools.get(task.tool)
    if task.tool is not None and tables.lacks("tool", task.tool):
        _no_such(f"{place}.tool", "tool", task.tool, tables, built)
    if task.brought_for and task.tool is None:
        built.refuse(
            f"{place}.brought_for",
            "says when a tool is brought, and the task takes none",
            fix='add tool = "..." with the key of a [tool.X], or take it out',
        )
    if key == "haul":
        _haul(task, tool, tables, built)
    if key in _NEEDS_OF_TASKS and _NEEDS_OF_TASKS[key][0] not in tables.document:
        table, fix = _NEEDS_OF_TASKS[key]
        what = key.removeprefix("connect_").replace("_", " ")
        built.refuse(
            place,
            f"connects a {what}, and this station takes none: [{table}] is missing",
            fix=f"{fix}, or take [{place}] out",
        )
    if key == "refuel" and not _counts_fuel(tables):
        built.refuse(
            place,
            "fills a tank, and nothing here burns fuel that is counted",
            fix="give the engine-driven pump or a generator its tank and fuel_rate, or take "
            f"[{place}] out",
        )
    if task.fuel_below is not None and key != "refuel":
        built.refuse(f"{place}.fuel_below", "goes with [task.refuel] alone", fix="take it out")
    _hands(place, task, tool, tables, built)


def _haul(task: TaskPart, tool: ToolPart | None, tables: _Tables, built: Built) -> None:
    hauls = [key for key, one in tables.tools.items() if one.holds is not None]
    if task.tool is None:
        sample = hauls[0] if hauls else "tanker"
        built.refuse(
            "task.haul.tool",
            "is missing: a tanker is needed that hauls the water away",
            "",
            _written(hauls),
            f'add it, such as tool = "{sample}"' + ("" if hauls else ", and [tool.tanker]"),
        )
    elif tool is not None and tool.holds is None:
        built.refuse(
            f"tool.{_plain(task.tool)}.holds",
            "is missing, and [task.haul] hauls with it",
            fix=f'add it, such as holds = "{built.example("10 m3", "2600 gal")}"',
        )


def _hands(
    place: str, task: TaskPart, tool: ToolPart | None, tables: _Tables, built: Built
) -> None:
    """Refuse a step that takes more people than can come, or none though nobody else does it."""
    come = tables.callable_keys()
    if come and task.people > len(come) and tables.out is not None:
        built.refuse(
            f"{place}.people",
            "are more than can be called",
            f"{task.people}",
            f"up to {len(come)}: as many as call_out.list names"
            + ("" if tables.visit is None else ", and who visits"),
            "name more of them, or ask for fewer",
        )
    if task.people > 0:
        return
    if task.tool is None:
        reason = "is nought, and no tool is delivered with people who do it"
        fix = 'write 1 or more, or add tool = "..." with the key of one that is delivered'
    elif tool is None or tool.delivered is not None:
        return
    elif tool.fetched is not None:
        reason = f"is nought, and [tool.{_plain(task.tool)}] is fetched: nobody would fetch it"
        fix = "write 1 or more, or give the tool delivered in place of fetched"
    else:
        reason = f"is nought, and [tool.{_plain(task.tool)}] is on site: nobody comes with it"
        fix = "write 1 or more, or give the tool delivered"
    built.refuse(f"{place}.people", reason, "0", fix=fix)


def _counts_fuel(tables: _Tables) -> bool:
    """Return whether something burns fuel out of a tank; what could not be read is believed."""
    for table in _BURNERS:
        part = tables.document.get(table)
        if part is None or (table == "generator" and "transfer" not in tables.document):
            continue
        if not isinstance(part, Mapping) or table not in tables.single:
            return True
        read = tables.single[table]
        if read is None or not lacks_of_fuel(part):
            return True
    return False


def _unknown_tasks(tables: _Tables, built: Built) -> None:
    for key in tables.task_keys:
        if key in TASKS:
            continue
        near = nearest_key(key.replace(" ", "_"), TASKS)
        fix = f"did you mean '{near}'?" if near else "take it out"
        built.refuse(
            f"task.{_plain(key)}", "is no task that a crew can do", "", ", ".join(TASKS), fix
        )


def _steps(tables: _Tables, built: Built) -> None:
    """Refuse an order of steps that names what is not there, something twice, or not all."""
    steps = None if tables.out is None else tables.out.steps
    if steps is None:
        return
    seen: set[str] = set()
    wrong = False
    for step in steps:
        if step in seen:
            built.refuse("call_out.steps", "names a task twice", f'"{step}"', fix="take one out")
        elif tables.lacks("task", step):
            wrong = True
            _no_such("call_out.steps", "task", step, tables, built)
        seen.add(step)
    missing = [key for key in tables.task_keys if key not in seen]
    if missing and not wrong:
        built.refuse(
            "call_out.steps",
            "leaves out " + " and ".join(f"[task.{_plain(key)}]" for key in missing),
            "",
            "every task, once",
            f"add {_written(missing)} where it belongs, or take the table out",
        )

"""The tables of a file, each read by itself, so that a mistake in one hides nothing in another.

A key that is misspelt is told and then read as what was likely meant; a table that holds a mistake
of another kind is told and left out. What is left is looked at further, as far as it can be
without guessing.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import TypeAdapter, ValidationError

from stationsim.control.contract import CONTROLLERS, ROTATIONS
from stationsim.errors import PlugInError
from stationsim.findings import Finding
from stationsim.scenario import machine_tables as m
from stationsim.scenario import quantities as q
from stationsim.scenario import rain_tables as r
from stationsim.scenario import rating_tables as t
from stationsim.scenario import response_tables as p
from stationsim.scenario import schema as s
from stationsim.scenario import sewer_tables as w
from stationsim.scenario import standby_tables as b
from stationsim.scenario.acceptance_tables import AcceptancePart
from stationsim.scenario.keys import example_of, known_keys, table_class
from stationsim.scenario.likes import Likes, take_likes
from stationsim.scenario.lines import Path, join_path
from stationsim.scenario.protection_tables import BackupFloatsPart, GridPart, TariffPart
from stationsim.scenario.reference import Reference
from stationsim.scenario.refusals import findings_of, missing_key, place_of, unknown_key
from stationsim.scenario.slips import nearest_key
from stationsim.scenario.table import Table

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.units import System

RESPONSE_TABLES = ("call_out", "person", "tool", "task", "visit", "passer_by")
"""Tables that say who answers for the station, and what they do."""

EPISODE_TABLES = ("episode", "inflow", "rain", "event", "random", *RESPONSE_TABLES)
"""Tables that say what happens; all others say what stands there."""

_REQUIRED = ("station", "well", "pump", "control", "episode", "inflow")
_NAMED: dict[str, Any] = {
    "well": s.WellPart,
    "pump": m.PumpPart,
    "tariff": TariffPart,
    "inflow": s.InflowPart,
    "rain": r.RainPart,
    "event": s.EventPart,
    "random": b.RandomPart,
    "person": p.PersonPart,
    "tool": p.ToolPart,
    "task": p.TaskPart,
}
_SINGLE: dict[str, Any] = {
    "title": q.Name,
    "station": s.StationPart,
    "spill": s.SpillPart,
    "force_main": m.ForceMainPart,
    "engine_pump": m.EnginePumpPart,
    "bypass_pump": m.BypassPumpPart,
    "backup_floats": BackupFloatsPart,
    "sewer": w.SewerPart,
    "rain_derived": r.RainDerivedPart,
    "grid": GridPart,
    "transfer": b.TransferPart,
    "exercise": b.ExercisePart,
    "alarms": s.AlarmsPart,
    "service": t.ServicePart,
    "generator": b.GeneratorPart,
    "mobile_generator": b.MobileGeneratorPart,
    "bypass": t.BypassPart,
    "design": t.DesignPart,
    "limits": t.LimitsPart,
    "acceptance": AcceptancePart,
    "episode": s.EpisodePart,
    "call_out": p.CallOutPart,
    "visit": p.VisitPart,
    "passer_by": p.PasserByPart,
}
_NEEDS_ONE = ("well", "pump", "inflow")
_MOST_PUMPS = 12


@dataclass
class Parts:
    """What could be read of a scenario.

    Parameters
    ----------
    document
        The tables, with keys as they were likely meant.
    single
        The tables that there is one of: name -> model.
    named
        The tables of named ones: name -> name of each -> model.
    broken
        Paths of what could not be read, or lacks something.
    renamed
        Keys read as another one: path as meant -> path as written.
    likes
        What pumps took over from those they are like.
    system
        Units of the file, in which messages tell a range besides.
    """

    document: dict[str, Any]
    single: dict[str, Any] = field(default_factory=dict)
    named: dict[str, dict[str, Any]] = field(default_factory=dict)
    broken: set[Path] = field(default_factory=set)
    renamed: dict[Path, Path] = field(default_factory=dict)
    likes: Likes = field(default_factory=Likes)
    system: System = "si"

    def has(self, table: str) -> bool:
        """Tell whether a table, with all that it holds, could be read (or is rightly left out)."""
        return not any(path[0] == table for path in self.broken)

    @property
    def station_whole(self) -> bool:
        """True when all that says what stands there could be read."""
        return all(path[0] in EPISODE_TABLES for path in self.broken)

    @property
    def episode_whole(self) -> bool:
        """True when all that says what happens could be read."""
        return all(path[0] not in EPISODE_TABLES for path in self.broken)

    @property
    def pumps(self) -> tuple[str, ...] | None:
        """Names of the electric pumps, also of those that could not be read; None: not known."""
        pumps = self.document.get("pump")
        return tuple(pumps) if isinstance(pumps, Mapping) else None

    @property
    def machines(self) -> tuple[str, ...] | None:
        """Names of all pumps, as far as they can be known; None when not known."""
        pumps = self.pumps
        if pumps is None:
            return None
        return (*pumps, *(one for one in (self.engine, self.bypass) if one is not None))

    @property
    def engine(self) -> str | None:
        """Name of the engine-driven pump, as far as it can be known; None for none."""
        return self._engine_named("engine_pump", "E1")

    @property
    def bypass(self) -> str | None:
        """Name of the bypass pump, as far as it can be known; None for none."""
        return self._engine_named("bypass_pump", "B1")

    def _engine_named(self, table: str, default: str) -> str | None:
        engine = self.document.get(table)
        if engine is None:
            return None
        name = engine.get("name", default) if isinstance(engine, Mapping) else default
        return str(name).strip()

    @property
    def start(self) -> datetime | None:
        """Start of the episode; None when it could not be read."""
        found: datetime | None = self._value(s.EpisodePart, "episode", "start")
        return found

    @property
    def duration_s(self) -> float | None:
        """How long the episode lasts [s]; None when it could not be read."""
        found: float | None = self._value(s.EpisodePart, "episode", "duration")
        return found

    def reference(self, system: System, found: list[Finding]) -> Reference | None:
        """Return what the levels of the file are counted from; None when that cannot be known.

        Parameters
        ----------
        system
            Units of the file.
        found
            What is wrong is added here.
        """
        shown = self._value(s.StationPart, "station", "levels_are")
        if shown is None:
            return None
        if shown == "above floor":
            return Reference("above floor", 0.0, system)
        elevation = shown == "elevation"
        key = "floor_elevation" if elevation else "depth"
        zero = self._value(s.StationPart, "station", key)
        if zero is not None:
            return Reference(shown, zero, system)
        if key not in self.document.get("station", {}):
            given = "given as elevation" if elevation else "given below the cover"
            sample = "12.40 m" if elevation else "5.0 m"
            if system == "us":
                sample = "40.7 ft" if elevation else "16.5 ft"
            reason = f"is missing, and levels are {given}"
            fix = f'add it, such as {key} = "{sample}"'
            found.append(Finding(f"station.{key}", "error", reason, fix=fix))
        return None

    def _value(self, model: type[Table], table: str, key: str) -> Any:
        """Return one value of a table that may hold mistakes elsewhere; None when it cannot be."""
        info = model.model_fields[key]
        node = self.document.get(table)
        if not isinstance(node, Mapping):
            return None
        if key not in node:
            return None if info.is_required() else info.get_default()
        annotation: Any = info.annotation
        if info.metadata:
            annotation = Annotated[(annotation, *info.metadata)]
        try:
            return TypeAdapter(annotation).validate_python(node[key], strict=True)
        except ValidationError:
            return None


def read_parts(document: dict[str, Any], found: list[Finding], system: System = "si") -> Parts:
    """Return what can be read of a scenario.

    Parameters
    ----------
    document
        The tables; keys are changed in place where a slip is plain.
    found
        What is wrong is added here.
    system
        Units of the file.
    """
    parts = Parts(document, system=system)
    _settle_top(parts, found)
    parts.likes = take_likes(document)
    found.extend(parts.likes.refused)
    parts.broken.update(("pump", name) for name in parts.likes.unknown)
    document.setdefault("rotation", {"kind": "each cycle"})
    for key in _SINGLE:
        if key in document:
            parts.single[key] = _read(parts, (key,), _adapter(key), found)
    for key in _NAMED:
        parts.named[key] = {}
        tables = document.get(key, {})
        for name in list(tables) if isinstance(tables, dict) else ():
            part = _read(parts, (key, name), _adapter(key), found)
            if part is not None:
                parts.named[key][name] = part
    for key in ("control", "rotation"):
        if isinstance(document.get(key), dict):
            parts.single[key] = _read_settings(parts, key, found)
    return parts


def _settle_top(parts: Parts, found: list[Finding]) -> None:
    """Look at the keys at the top: all known, none missing, tables where tables belong."""
    document = parts.document
    known = list(s.Scenario.model_fields)
    lacking = [key for key in _REQUIRED if key not in document]
    for key in [one for one in document if one not in known]:
        meant = nearest_key(key, lacking)
        if meant:
            lacking.remove(meant)
            found.append(_meant((), key, meant))
        else:
            found.append(unknown_key((key,), document))
            meant = nearest_key(key, known)
        _rename(parts, (), key, meant)
    for key in lacking:
        found.append(missing_key((key,), document))
        parts.broken.add((key,))
    for key in (*_NAMED, "control", "rotation"):
        node = document.get(key)
        if key not in document or (isinstance(node, dict) and (node or key not in _NEEDS_ONE)):
            continue
        reason = "is empty" if isinstance(node, dict) else "a table is needed"
        sample = example_of((key,), document)
        found.append(Finding(key, "error", reason, fix=f"such as {sample}" if sample else ""))
        parts.broken.add((key,))
    pumps = document.get("pump")
    if isinstance(pumps, dict) and len(pumps) > _MOST_PUMPS:
        limit = f"at most {_MOST_PUMPS}"
        found.append(Finding("pump", "error", "too many pumps", f"{len(pumps)}", limit))
        parts.broken.add(("pump",))


def _read(parts: Parts, path: Path, adapter: TypeAdapter[Any], found: list[Finding]) -> Any:
    """Return the model of a table, or None; each mistake is told once, slips in keys are mended."""
    told: dict[tuple[str, str], Finding] = {}
    part: Any = None
    while True:
        try:
            part = adapter.validate_python(
                _node(parts.document, path), context={q.SYSTEM: parts.system}
            )
        except ValidationError as error:
            problems = error.errors(include_url=False)
        else:
            break
        slips, others = _slips(parts.document, path, problems)
        for one in findings_of(others, parts.document, path):
            told.setdefault((one.place, one.reason), one)
        for finding, parent, key, meant in slips:
            found.append(finding)
            _rename(parts, parent, key, meant)
        if not slips:  # each slip takes a key away, so this comes to an end
            break
    found.extend(told.values())
    if told:
        parts.broken.add(path)
        return None
    return part


def _slips(
    document: Mapping[str, Any], top: Path, problems: list[Any]
) -> tuple[list[tuple[Finding, Path, str, str]], list[Any]]:
    """Return slips in keys, each with its table, the key and the one meant; and what else is wrong.

    A key that is missing and one that is unknown and near it are one slip.
    """
    others: list[Any] = []
    lacking: dict[Path, dict[str, Any]] = {}
    unknown: list[tuple[Path, str]] = []
    for problem in problems:
        path, positions = place_of(problem["loc"], document, top)
        if problem["type"] == "extra_forbidden":
            unknown.append((path[:-1], path[-1]))
        elif problem["type"] == "missing" and not positions:
            lacking.setdefault(path[:-1], {})[path[-1]] = problem
        elif problem["type"] == "union_tag_not_found":
            chooser = problem["ctx"]["discriminator"].strip("'")
            lacking.setdefault(path, {})[chooser] = problem
            known = known_keys(path, document)
            unknown.extend(
                (path, key)
                for key in _node(document, path)
                if key not in known and nearest_key(key, [chooser])
            )
        else:
            others.append(problem)
    slips: list[tuple[Finding, Path, str, str]] = []
    for parent, key in unknown:
        meant = nearest_key(key, list(lacking.get(parent, {})))
        if meant:
            del lacking[parent][meant]
            finding = _meant(parent, key, meant)
        else:
            finding = unknown_key((*parent, key), document)
            meant = nearest_key(key, known_keys(parent, document))
        slips.append((finding, parent, key, meant))
    others.extend(problem for keys in lacking.values() for problem in keys.values())
    return slips, others


def _read_settings(parts: Parts, part: str, found: list[Finding]) -> Table | None:
    """Read ``[control]`` or ``[rotation]`` by the settings of the kind it names."""
    document = parts.document
    table = document[part]
    if "kind" not in table:
        known = known_keys((part,), document)
        near = [one for one in table if one not in known and nearest_key(one, ["kind"])]
        if not near:
            built_in = CONTROLLERS if part == "control" else ROTATIONS
            accepted = ", ".join(f'"{one}"' for one in built_in) + ', "package.module:Class"'
            found.append(replace(missing_key((part, "kind"), document), limit=accepted))
            parts.broken.add((part,))
            return None
        found.append(_meant((part,), near[0], "kind"))
        _rename(parts, (part,), near[0], "kind")
    kind = table["kind"]
    reason = "must be text"
    if isinstance(kind, str):
        try:
            model = table_class(part, kind)
        except PlugInError as error:
            reason = str(error)
        except Exception as error:  # noqa: BLE001 - whatever somebody's module raises when imported
            reason = f"the module of '{kind}' fails when it is imported: {error!r}"
        else:
            settings: Table | None = _read(parts, (part,), TypeAdapter(model), found)
            return settings
    found.append(Finding(f"{part}.kind", "error", reason))
    parts.broken.add((part,))
    return None


def _meant(parent: Path, key: str, meant: str) -> Finding:
    reason = f"{meant} is missing; did you mean it by '{key}'?"
    return Finding(join_path((*parent, key)), "error", reason)


def _rename(parts: Parts, parent: Path, key: str, meant: str) -> None:
    """Read a key as the one that was meant; take it out when nobody knows which."""
    table = _node(parts.document, parent)
    value = table.pop(key)
    if meant and meant not in table:
        table[meant] = value
        parts.renamed[*parent, meant] = (*parent, key)


def _node(document: Any, path: Path) -> Any:
    for key in path:
        document = document[key]
    return document


@functools.cache
def _adapter(table: str) -> TypeAdapter[Any]:
    return TypeAdapter(_SINGLE[table] if table in _SINGLE else _NAMED[table])

"""The keys that a table of the file takes: for suggestions, examples and explanations."""

from __future__ import annotations

import inspect
import types
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from stationsim.control.contract import (
    CONTROLLERS,
    ROTATIONS,
    controller_class,
    rotation_class,
)
from stationsim.errors import PlugInError
from stationsim.scenario import key_words
from stationsim.scenario.lines import Path, split_path
from stationsim.scenario.schema import Scenario
from stationsim.scenario.settings import settings_table
from stationsim.scenario.table import Table


@dataclass(frozen=True)
class KeyEntry:
    """What is to be said of one key.

    Parameters
    ----------
    path
        The key with the tables around it; a name that is free to choose is written ``NAME``.
    meaning
        What it means.
    accepts
        What values it takes, in words.
    default
        What is so when it is left out; empty when it must be given.
    keys
        The keys below it, when it is a table.
    goes_with
        The kinds or shapes that have it, when not all do.
    choices
        What each accepted word means, where each has a meaning of its own.
    """

    path: str
    meaning: str
    accepts: str
    default: str
    keys: tuple[str, ...] = ()
    goes_with: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class _Place:
    """A key on the way to an explanation: where, of which type, and in which kind of table."""

    path: str
    annotation: Any
    info: FieldInfo | None = None
    kind: str = ""


def table_class(part: str, kind: str) -> type[Table]:
    """Return the model of ``[control]`` or ``[rotation]`` for a kind.

    Parameters
    ----------
    part
        ``control`` or ``rotation``.
    kind
        A built-in name, or ``package.module:Class``.

    Raises
    ------
    PlugInError
        When there is no such thing, or its settings cannot be read.
    """
    found: Any = controller_class(kind) if part == "control" else rotation_class(kind)
    return settings_table(found.Settings, kind)


def known_keys(path: Path, document: Mapping[str, Any]) -> list[str]:
    """Return the keys that the table at a path of a document takes.

    Parameters
    ----------
    path
        Where the table stands.
    document
        The scenario as read.
    """
    keys: list[str] = []
    for option in _options(path, document):
        if _is_model(option):
            keys.extend(name for name in _fields(option) if name not in keys)
    return keys


def example_of(path: Path, document: Mapping[str, Any]) -> str:
    """Return a key with a well-written value, as TOML; empty when there is none to show.

    Parameters
    ----------
    path
        The key.
    document
        The scenario as read.
    """
    if len(path) == 1 or ".".join(path) in _TABLE_EXAMPLES:
        return _TABLE_EXAMPLES.get(".".join(path), "")
    for option in _options(path[:-1], document):
        info = _fields(option).get(path[-1]) if _is_model(option) else None
        sample = key_words.example(_bare(_whole(info))[0]) if info else ""
        if sample:
            return f"{path[-1]} = {sample}"
    return ""


def explain_key(text: str) -> list[KeyEntry]:
    """Return what is to be said of a key; more than one where kinds differ; empty when unknown.

    Parameters
    ----------
    text
        A dotted path such as ``control.lag_start``, ``pump.P1.flow`` or ``pump.flow``.
    """
    places = [_Place("", Scenario)]
    for key in split_path(text):
        places = [found for place in places for found in _step(place, key)]
    if places and all(_tells_kinds(place) for place in places):
        return [_kinds_entry(places)]
    entries: dict[KeyEntry, list[str]] = {}
    for place in places:
        entries.setdefault(_entry(place), []).append(place.kind)
    tables = [entry for entry in entries if entry.keys]
    if len(tables) > 1 and len({entry.path for entry in tables}) == 1:
        keys = tuple(dict.fromkeys(key for entry in tables for key in entry.keys))
        return [replace(tables[0], keys=keys)]
    return [
        replace(entry, goes_with=tuple(kind for kind in kinds if kind))
        for entry, kinds in entries.items()
    ]


def all_paths() -> list[str]:
    """Return every key of the schema as a dotted path, for suggestions."""
    paths: list[str] = []
    _collect("", Scenario, paths)
    return paths


_TABLE_EXAMPLES = {
    "station": '[station] with name = "Mill Lane"',
    "well": '[well.shaft] with shape = "cylinder" and diameter = "3.0 m"',
    "pump": '[pump.P1] with flow = "30 L/s"',
    "control": '[control] with kind = "staging", lead_start = "1.5 m" and stop = "0.7 m"',
    "episode": '[episode] with duration = "7 d" and start_level = "1.0 m"',
    "inflow": '[inflow.homes] with kind = "constant" and flow = "10 L/s"',
    "sewer.pipe": '[sewer.pipe.S1] with diameter = "300 mm", length = "60 m" and slope = 0.004',
    "sewer": '[sewer.pipe.S1] with diameter = "300 mm", length = "60 m" and slope = 0.004',
    "rain_derived": '[rain_derived] with area = "40 ha", and [rain_derived.quick]',
    "rain": '[rain.storm] with kind = "block", at = "day 2 14:00", depth = "20 mm" and '
    'duration = "6 h"',
}

_KIND_MEANINGS = {
    "control": "Which controller decides.",
    "rotation": "Who leads next.",
    "well": "Shape of this part of the storage.",
    "inflow": "What kind of source this is.",
    "rain": "How the rain falls.",
}

_STOPS = ("lag_stop", "second_lag_stop", "third_lag_stop", "standby_stop")


def _options(path: Path, document: Mapping[str, Any]) -> list[Any]:
    """Return what may stand at a path of a document: the variants that its kind leaves open."""
    options: list[Any] = [Scenario]
    node: Any = document
    for depth, key in enumerate(path):
        node = node.get(key) if isinstance(node, Mapping) else None
        if depth == 0 and key in ("control", "rotation"):
            options = _settings_options(key, node)
        else:
            options = [below for option in options for below in _below(option, key)]
        options = [one for option in options for one in _variants(option, node)]
    return options


def _settings_options(part: str, node: Any) -> list[Any]:
    kind = node.get("kind") if isinstance(node, Mapping) else None
    default = "staging" if part == "control" else "each cycle"
    try:
        return [table_class(part, kind if isinstance(kind, str) else default)]
    except PlugInError:
        return []


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _bare(annotation: Any) -> list[Any]:
    """Return the options of an annotation without Annotated, None and unions around them."""
    origin = get_origin(annotation)
    if origin is Annotated:
        inner = get_args(annotation)[0]
        return [annotation] if not (_is_model(inner) or get_origin(inner)) else _bare(inner)
    if origin in (Union, types.UnionType):
        return [
            bare for one in get_args(annotation) if one is not type(None) for bare in _bare(one)
        ]
    return [annotation]


def _below(option: Any, key: str) -> list[Any]:
    if _is_model(option):
        info = _fields(option).get(key)
        return _bare(_whole(info)) if info else []
    if get_origin(option) is dict:
        return _bare(get_args(option)[1])
    return []


def _variants(option: Any, node: Any) -> list[Any]:
    """Keep a variant of a table only when the document's kind or shape asks for it."""
    if not _is_model(option) or not isinstance(node, Mapping):
        return [option]
    for key in ("shape", "kind"):
        info = _fields(option).get(key)
        if info is not None and get_origin(info.annotation) is Literal and key in node:
            return [option] if node[key] in get_args(info.annotation) else []
    return [option]


def _whole(info: FieldInfo) -> Any:
    """Return the annotation with the metadata that pydantic took off it."""
    if info.metadata and not _is_model(info.annotation) and get_origin(info.annotation) is None:
        return Annotated[(info.annotation, *info.metadata)]
    return info.annotation


def _kind_of(option: Any) -> tuple[str, str]:
    """Return the key by which a variant of a table is chosen, and its word; empty for none."""
    for key in ("shape", "kind"):
        info = _fields(option).get(key)
        if info is not None and get_origin(info.annotation) is Literal:
            return key, str(get_args(info.annotation)[0])
    return "", ""


def _step(place: _Place, key: str) -> list[_Place]:
    found: list[_Place] = []
    for option in _bare(place.annotation):
        if get_origin(option) is dict:
            below = get_args(option)[1]
            named = _Place(f"{place.path}.NAME", below, place.info, place.kind)
            found.extend(_step(named, key) or [named])
        elif _is_model(option) and key in _fields(option):
            field = _fields(option)[key]
            path = f"{place.path}.{key}".lstrip(".")
            if path in ("control", "rotation"):
                for kind in CONTROLLERS if path == "control" else ROTATIONS:
                    found.append(_Place(path, table_class(path, kind), field))  # noqa: PERF401
                continue
            chooser, word = _kind_of(option)
            several = path.partition(".")[0] != "control" or len(CONTROLLERS) > 1
            kind = f'{chooser} = "{word}"' if chooser and several else place.kind
            found.append(_Place(path, _whole(field), field, kind))
    return found


def _tells_kinds(place: _Place) -> bool:
    """Tell whether a key is the one by which a variant of its table is chosen."""
    last = place.path.rpartition(".")[2]
    return last in ("kind", "shape") and get_origin(place.annotation) is Literal


def _kinds_entry(places: list[_Place]) -> KeyEntry:
    """Return what is to be said of the key by which a kind is chosen: what each kind does."""
    path = places[0].path
    part = path.partition(".")[0]
    choices: list[tuple[str, str]] = []
    for place in places:
        word = str(get_args(place.annotation)[0])
        meaning = (place.info.description if place.info else "") or ""
        if part in ("control", "rotation"):
            made: Any = controller_class(word) if part == "control" else rotation_class(word)
            meaning = (inspect.getdoc(made) or "").partition("\n\n")[0].replace("\n", " ")
        choices.append((word, meaning))
    accepts = " | ".join(f'"{word}"' for word, _ in choices)
    if part in ("control", "rotation"):
        accepts += ' | "package.module:Class", your own'
    default = "each cycle, when the table is left out" if part == "rotation" else ""
    return KeyEntry(path, _KIND_MEANINGS[part], accepts, default, choices=tuple(choices))


def _entry(place: _Place) -> KeyEntry:
    accepts: list[str] = []
    keys: list[str] = []
    info = place.info
    meaning = (info.description if info else None) or ""
    options = _bare(place.annotation)
    for option in options:
        if _is_model(option):
            keys.extend(key for key in _fields(option) if key not in keys)
            if place.path.endswith(".NAME"):
                meaning = meaning or (option.__doc__ or "").strip()
        elif get_origin(option) is dict:
            accepts.append("named tables")
            for below in _bare(get_args(option)[1]):
                if _is_model(below):
                    keys.extend(key for key in _fields(below) if key not in keys)
        else:
            accepts.append(key_words.accepted(option))
    default = ""
    if not place.path.endswith(".NAME"):
        default = key_words.default_of(info, options[0])
    part, _, last = place.path.rpartition(".")
    if part == "control" and last in _STOPS and default:
        default = "as control.stop, also with a staged stop"
    return KeyEntry(place.path, meaning, "; ".join(dict.fromkeys(accepts)), default, tuple(keys))


def _collect(place: str, annotation: Any, paths: list[str]) -> None:
    for option in _bare(annotation):
        if get_origin(option) is dict:
            _collect(place, get_args(option)[1], paths)
        elif _is_model(option):
            for key, field in _fields(option).items():
                path = f"{place}.{key}".lstrip(".")
                if path not in paths:
                    paths.append(path)
                if path in ("control", "rotation"):
                    for kind in CONTROLLERS if path == "control" else ROTATIONS:
                        _collect(path, table_class(path, kind), paths)
                else:
                    _collect(path, _whole(field), paths)

"""The keys that a table of the file takes: for suggestions, explanations and the JSON Schema."""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import dataclass
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
from stationsim.scenario.lines import Path, split_path
from stationsim.scenario.schema import Scenario, Table
from stationsim.scenario.settings import settings_table


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
        Its value when left out, in words; empty when it must be given.
    keys
        The keys below it, when it is a table.
    """

    path: str
    meaning: str
    accepts: str
    default: str
    keys: tuple[str, ...]


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
    options: list[Any] = [Scenario]
    node: Any = document
    for depth, key in enumerate(path):
        node = node.get(key) if isinstance(node, Mapping) else None
        if depth == 0 and key in ("control", "rotation"):
            options = _settings_options(key, node)
        else:
            options = [below for option in options for below in _below(option, key)]
        options = [one for option in options for one in _variants(option, node)]
    keys: list[str] = []
    for option in options:
        if _is_model(option):
            keys.extend(name for name in _fields(option) if name not in keys)
    return keys


def explain_key(text: str) -> list[KeyEntry]:
    """Return what is to be said of a key; more than one where kinds differ; empty when unknown.

    Parameters
    ----------
    text
        A dotted path such as ``control.lag_start``, ``pump.P1.flow`` or ``pump.flow``.
    """
    places: list[tuple[str, Any, FieldInfo | None]] = [("", Scenario, None)]
    for key in split_path(text):
        places = [found for place in places for found in _step(*place, key)]
    entries: list[KeyEntry] = []
    for place, annotation, info in places:
        entry = _entry(place, annotation, info)
        if entry not in entries:
            entries.append(entry)
    return entries


def all_paths() -> list[str]:
    """Return every key of the schema as a dotted path, for suggestions."""
    paths: list[str] = []
    _collect("", Scenario, paths)
    return paths


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario, with the settings of the built-in controllers."""
    schema = Scenario.model_json_schema(by_alias=True)
    definitions = schema["$defs"]
    plug_in = {
        "type": "object",
        "properties": {"kind": {"type": "string", "pattern": r"^[\w.]+:\w+$"}},
        "required": ["kind"],
        "description": "A plug-in as package.module:Class; its settings are its own.",
    }
    for part, built_in in (("control", CONTROLLERS), ("rotation", ROTATIONS)):
        references = []
        for kind in built_in:
            model = table_class(part, kind)
            name = model.__name__
            definitions[name] = model.model_json_schema(by_alias=True)
            definitions[name]["required"] = sorted({*definitions[name].get("required", []), "kind"})
            references.append({"$ref": f"#/$defs/{name}"})
        description = schema["properties"][part]["description"]
        schema["properties"][part] = {
            "anyOf": [*references, plug_in],
            "description": description,
        }
    cleaned: dict[str, Any] = _without_null(schema)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **cleaned,
        "title": "stationsim scenario",
    }


def _without_null(node: Any) -> Any:
    """Take out what TOML cannot say: there is no null in it."""
    if isinstance(node, list):
        return [_without_null(one) for one in node]
    if not isinstance(node, dict):
        return node
    cleaned = {
        key: _without_null(one)
        for key, one in node.items()
        if not (key == "default" and (one is None or node.get("x-quantity")))
    }
    options = cleaned.get("anyOf")
    if isinstance(options, list):
        options = [one for one in options if one != {"type": "null"}]
        if len(options) == 1:
            del cleaned["anyOf"]
            cleaned = {**options[0], **cleaned}
        else:
            cleaned["anyOf"] = options
    if "x-quantity" in cleaned:
        # the models hold defaults in SI; in a file they would be text with a unit
        cleaned.pop("default", None)
    return cleaned


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


def _step(
    place: str, annotation: Any, info: FieldInfo | None, key: str
) -> list[tuple[str, Any, FieldInfo | None]]:
    found: list[tuple[str, Any, FieldInfo | None]] = []
    for option in _bare(annotation):
        if get_origin(option) is dict:
            below = get_args(option)[1]
            inside = _step(f"{place}.NAME", below, info, key)
            found.extend(inside or [(f"{place}.NAME", below, info)])
        elif _is_model(option) and key in _fields(option):
            field = _fields(option)[key]
            path = f"{place}.{key}".lstrip(".")
            if path in ("control", "rotation"):
                for kind in CONTROLLERS if path == "control" else ROTATIONS:
                    found.append((path, table_class(path, kind), field))  # noqa: PERF401
            else:
                found.append((path, _whole(field), field))
    return found


def _entry(place: str, annotation: Any, info: FieldInfo | None) -> KeyEntry:
    accepts: list[str] = []
    keys: list[str] = []
    meaning = (info.description if info else None) or ""
    for option in _bare(annotation):
        if _is_model(option):
            keys.extend(key for key in _fields(option) if key not in keys)
            if place.endswith(".NAME"):
                meaning = meaning or (option.__doc__ or "").strip()
        elif get_origin(option) is dict:
            accepts.append("named tables")
            for below in _bare(get_args(option)[1]):
                if _is_model(below):
                    keys.extend(key for key in _fields(below) if key not in keys)
        else:
            accepts.append(_accepts(option))
    default = ""
    if info is not None and not info.is_required() and not place.endswith(".NAME"):
        value = info.get_default(call_default_factory=True)
        default = "left out" if value is None or keys else _default_text(value, accepts)
    return KeyEntry(place, meaning, "; ".join(dict.fromkeys(accepts)), default, tuple(keys))


def _default_text(value: Any, accepts: list[str]) -> str:
    if isinstance(value, float) and any("duration" in one for one in accepts):
        return f"{value:g} s"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).lower() if isinstance(value, bool) else str(value)


def _accepts(option: Any) -> str:
    origin = get_origin(option)
    if origin is Literal:
        return " | ".join(f'"{one}"' for one in get_args(option))
    if origin is list:
        return "list of " + "; ".join(_accepts(one) for one in _bare(get_args(option)[0]))
    if origin is tuple:
        return "[" + ", ".join(_accepts(one) for one in get_args(option)) + "]"
    if origin is Annotated:
        for metadata in get_args(option)[1:]:
            schema = getattr(metadata, "json_schema", None)
            if isinstance(schema, dict):
                return _schema_words(schema)
        return _accepts(get_args(option)[0])
    names = {bool: "true or false", str: "text", float: "number", int: "whole number"}
    return names.get(option, "a value")


def _schema_words(schema: dict[str, Any]) -> str:  # noqa: PLR0911 - one for each kind
    if "x-units" in schema:
        sample = schema["examples"][0]
        return f'{schema["x-quantity"]} as text with its unit ({schema["x-units"]}): "{sample}"'
    if "anyOf" in schema:
        return " or ".join(_schema_words(one) for one in schema["anyOf"])
    if schema.get("x-quantity"):
        return f'{schema["x-quantity"]} as text with its unit: "{schema["examples"][0]}"'
    if schema.get("type") == "number":
        low = schema.get("minimum", schema.get("exclusiveMinimum"))
        if low is None or abs(low) >= 1e12:
            return "number"
        high = f" to {schema['maximum']:g}" if "maximum" in schema else ""
        return f"number from {low:g}{high}"
    if schema.get("type") == "integer":
        return "whole number"
    sample = f': "{schema["examples"][0]}"' if schema.get("examples") else ""
    return f"text{sample}"


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

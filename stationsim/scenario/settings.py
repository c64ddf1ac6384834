"""Settings of controllers and rotations, read like any other table of the file.

A controller's ``Settings`` dataclass says of what kind each of its fields is; from that a model is
made that reads levels and durations as text with a unit, refuses unknown keys, and has its place
in the JSON Schema. A plug-in's settings are checked exactly as the built-in ones are.
"""

from __future__ import annotations

import dataclasses
import functools
from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field, create_model

from stationsim.errors import PlugInError
from stationsim.scenario import quantities as q
from stationsim.scenario.table import Table, left_out

if TYPE_CHECKING:
    from collections.abc import Callable

_SUFFIXES = {"level": "_m", "length": "_m", "duration": "_s"}


def key_of(field: dataclasses.Field[Any]) -> str:
    """Return the key by which a scenario gives a field.

    Parameters
    ----------
    field
        A field of a ``Settings`` dataclass.
    """
    suffix = _SUFFIXES.get(field.metadata.get("kind", ""), "")
    return field.name.removesuffix(suffix) if suffix else field.name


@functools.cache
def settings_table(settings_class: type, kind: str) -> type[Table]:
    """Return the model that reads the settings of a controller or rotation.

    Parameters
    ----------
    settings_class
        The ``Settings`` dataclass.
    kind
        The name by which the scenario asks for it.

    Raises
    ------
    PlugInError
        When a field does not say of what kind it is.
    """
    fields: dict[str, Any] = {
        "kind": (Literal[kind], Field(description="Which one: a built-in name, or module:Class."))
    }
    for field in dataclasses.fields(settings_class):
        if not field.init:
            continue
        annotation = _annotation(settings_class, field)
        default = _default(field)
        if default is None:
            annotation = annotation | None
        meaning, _, otherwise = field.metadata.get("meaning", "").partition("; ")
        if default is None and otherwise.endswith(" if left out"):
            told = left_out(otherwise.removesuffix(" if left out"), _sentence(meaning))
        else:
            told = Field(default, description=_sentence(field.metadata.get("meaning", "")))
        fields[key_of(field)] = (annotation, told)
    name = "".join(word.capitalize() for word in kind.replace(":", " ").replace(".", " ").split())
    return create_model(f"{name}Settings", __base__=Table, **fields)


def make_settings(settings_class: type, table: Table, to_level_m: Callable[[float], float]) -> Any:
    """Return the settings themselves.

    Parameters
    ----------
    settings_class
        The ``Settings`` dataclass.
    table
        What was read.
    to_level_m
        Turns a level as written into metres above the floor.
    """
    values: dict[str, Any] = {}
    for field in dataclasses.fields(settings_class):
        if not field.init or key_of(field) not in table.model_fields_set:
            continue
        value = getattr(table, key_of(field))
        if field.metadata.get("kind") == "level" and value is not None:
            value = to_level_m(value)
        values[field.name] = value
    return settings_class(**values)


def _sentence(meaning: str) -> str:
    """Return what a controller says of a setting, written as the keys of the file are."""
    return f"{meaning[:1].upper()}{meaning[1:].rstrip('.')}." if meaning else ""


def _annotation(settings_class: type, field: dataclasses.Field[Any]) -> Any:
    kind = field.metadata.get("kind")
    if kind == "level":
        return q.Level
    if kind == "length":
        return q.SpanOrNone
    if kind == "duration":
        return q.Elapsed
    if kind == "number":
        return q.AnyNumber
    if kind == "choice":
        return Literal[tuple(field.metadata["choices"])]
    if kind == "text":
        return q.SettingText
    message = (
        f"setting '{field.name}' of {settings_class.__module__}.{settings_class.__qualname__} does "
        f"not say of what kind it is; make it with stationsim.control.contract.setting"
    )
    raise PlugInError(message)


def _default(field: dataclasses.Field[Any]) -> Any:
    if field.default is not dataclasses.MISSING:
        return field.default
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return ...

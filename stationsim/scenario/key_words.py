"""What a key takes, in words: what is accepted, what is so when it is left out, an example."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from stationsim import units
from stationsim.scenario.quantities import Number, Quantity
from stationsim.scenario.table import LEFT_OUT


def accepted(annotation: Any) -> str:
    """Return what a value may be.

    Parameters
    ----------
    annotation
        Type of a value, without None around it.
    """
    origin = get_origin(annotation)
    if origin is Literal:
        return " | ".join(f'"{one}"' for one in get_args(annotation))
    if origin is list:
        return "list of " + accepted(get_args(annotation)[0])
    if origin is tuple:
        return "[" + ", ".join(accepted(one) for one in get_args(annotation)) + "]"
    if origin is Annotated:
        schema = _schema(annotation)
        return accepted(get_args(annotation)[0]) if schema is None else _schema_words(schema)
    names = {bool: "true or false", str: "text", float: "number", int: "whole number"}
    return names.get(annotation, "a value")


def example(annotation: Any) -> str:
    """Return a well-written value as TOML; empty when there is none to show.

    Parameters
    ----------
    annotation
        Type of a value, without None around it.
    """
    origin = get_origin(annotation)
    if origin is Literal:
        return f'"{get_args(annotation)[0]}"'
    if origin is list:
        inner = example(get_args(annotation)[0])
        return f"[{inner}, ...]" if inner else ""
    if origin is tuple:
        inner = ", ".join(example(one) for one in get_args(annotation))
        return f"[{inner}]"
    if origin is Annotated:
        schema = _schema(annotation)
        if schema is None:
            return example(get_args(annotation)[0])
        schema = schema["anyOf"][0] if "anyOf" in schema else schema
        samples = schema.get("examples")
        return f'"{samples[0]}"' if samples else ("1.0" if schema["type"] == "number" else "1")
    return {bool: "true", str: '"text"', float: "1.0", int: "1"}.get(annotation, "")


def default_of(info: FieldInfo | None, annotation: Any) -> str:
    """Return what is so when a key is left out; empty when it must be given.

    Parameters
    ----------
    info
        What the table says of the key; None at the top.
    annotation
        Type of its value, without None around it.
    """
    if info is None or info.is_required():
        return ""
    extra = info.json_schema_extra
    if isinstance(extra, dict) and LEFT_OUT in extra:
        return str(extra[LEFT_OUT])
    value = info.get_default(call_default_factory=True, validated_data={})
    if value is None or value is PydanticUndefined:
        return "not used"
    return _value_text(value, annotation)


def _value_text(value: Any, annotation: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    for reader in get_args(annotation)[1:]:
        if isinstance(reader, Quantity):
            if reader.kind == "duration":
                return units.show(value, "duration", "si")
            unit = reader.example.partition(" ")[2]
            return f"{units.from_si(value, unit, reader.kind):g} {unit}"
        if isinstance(reader, Number):
            return f"{value:g}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _schema(annotation: Any) -> dict[str, Any] | None:
    for reader in get_args(annotation)[1:]:
        schema = getattr(reader, "json_schema", None)
        if isinstance(schema, dict):
            return schema
    return None


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
        return _whole_words(schema)
    if schema.get("type") == "array":
        return f"three of them, low, typical, high: {json.dumps(schema['examples'][0])}"
    if "enum" in schema:
        return " | ".join(f'"{one}"' for one in schema["enum"])
    sample = f': "{schema["examples"][0]}"' if schema.get("examples") else ""
    return f"text{sample}"


def _whole_words(schema: dict[str, Any]) -> str:
    """Return which whole numbers a value may be."""
    if "enum" in schema:
        return " or ".join(f"{one}" for one in schema["enum"])
    even = "even " if schema.get("multipleOf") == 2 else ""
    range_ = f" from {schema['minimum']} to {schema['maximum']}" if "maximum" in schema else ""
    return f"{even}whole number{range_}"

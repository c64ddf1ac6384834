"""What all tables of a scenario file have in common."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

LEFT_OUT = "x-left-out"
"""Key of the JSON Schema under which it stands what is so when a key is left out."""


class Table(BaseModel):
    """A table of the file: unknown keys are refused, values are never bent into shape."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


def left_out(meaning: str, description: str, **limits: Any) -> Any:
    """Return a field that may be left out and has no value then.

    Parameters
    ----------
    meaning
        What is so when it is left out: the value taken, or what is not there.
    description
        What the key means.
    **limits
        Further arguments of a field: ``alias``, ``min_length``, ``max_length``.
    """
    return Field(None, description=description, json_schema_extra={LEFT_OUT: meaning}, **limits)

"""A span of the day as text: ``22:00 to 06:00``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from stationsim.people.response import DAY_S, ClockSpan
from stationsim.scenario.quantities import read_clock, refuse

SAMPLE = "22:00 to 06:00"
_ACCEPTED = f'"{SAMPLE}": two times of the day'


def read_day_span(value: object) -> ClockSpan:
    """Return a span of the day, over midnight if it ends before it begins.

    Parameters
    ----------
    value
        What stands in the file: ``22:00 to 06:00``.

    Raises
    ------
    PydanticCustomError
        When it cannot be read, or ends when it begins.
    """
    if not isinstance(value, str):
        raise refuse("text is needed that gives a span of the day", _ACCEPTED)
    begin, to, end = " ".join(value.split()).partition(" to ")
    if not to:
        raise refuse("is no span of the day", _ACCEPTED)
    from_s, to_s = read_clock(begin), read_clock(end)
    whole_day = (from_s, to_s) == (0.0, DAY_S)
    if from_s % DAY_S == to_s % DAY_S and not whole_day:
        fix = 'the whole day is "00:00 to 24:00"'
        raise refuse("begins and ends at the same time", _ACCEPTED, fix)
    return ClockSpan(from_s % DAY_S, to_s % DAY_S)


@dataclass(frozen=True)
class _DaySpanReader:
    """Reads a span of the day."""

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        return {"type": "string", "examples": [SAMPLE]}

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        del source, handler
        return core_schema.no_info_plain_validator_function(read_day_span)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


DaySpan = Annotated[ClockSpan, _DaySpanReader()]

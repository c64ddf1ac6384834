"""How often something happens by chance, and how long it lasts: read from text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from stationsim import units
from stationsim.chance import Range
from stationsim.episode import Basis
from stationsim.errors import QuantityError
from stationsim.scenario.quantities import YEAR_S, refuse

_SPANS = {
    "year": YEAR_S,
    "month": YEAR_S / 12.0,
    "week": 7 * 86400.0,
    "day": 86400.0,
    "hour": 3600.0,
    "minute": 60.0,
}
_MOST_PER_S = 1.0 / 60.0
"""What happens more often than each minute is no accident [1/s]."""

_NUMBER = r"(?P<number>\d{1,9}(?:\.\d{1,9})?|\.\d{1,9})"
_TIMES = re.compile(
    rf"{_NUMBER}\s+(?:times\s+)?(?:per|in|a|an|each|every)\s+(?P<span>.+?)"
    r"(?P<running>\s+of\s+running)?",
    re.IGNORECASE,
)
_DEMAND = re.compile(
    rf"{_NUMBER}\s*(?P<percent>%)?\s+(?:per|in|a|of|each)\s+(?:(?P<many>\d{{1,9}})\s+)?demands?",
    re.IGNORECASE,
)
SAMPLES = ("2 per year", "1 per 400 h of running", "0.5 % per demand", "1 in 200 demands")
_ACCEPTED = ", ".join(f'"{one}"' for one in SAMPLES[:-1]) + f' or "{SAMPLES[-1]}"'


@dataclass(frozen=True)
class HowOften:
    """How often something happens.

    Parameters
    ----------
    basis
        What is counted: the calendar, running, or demands.
    rate
        Times in a second of it [1/s]; of a demand, the probability [-].
    """

    basis: Basis
    rate: float


def read_rate(value: object) -> HowOften:
    """Return how often something happens by chance, from text.

    Parameters
    ----------
    value
        What stands in the file: ``2 per year``.

    Raises
    ------
    PydanticCustomError
        When it cannot be read, or nothing happens as often as that.
    """
    if not isinstance(value, str):
        raise refuse("text is needed that says how often", _ACCEPTED)
    text = " ".join(value.split())
    demand = _DEMAND.fullmatch(text)
    if demand is not None:
        return _of_demand(demand)
    found = _TIMES.fullmatch(text)
    if found is None:
        raise refuse(f"'{text[:40]}' does not say how often", _ACCEPTED)
    span_s = _span_s(found.group("span"))
    rate = float(found.group("number")) / span_s
    if rate > _MOST_PER_S:
        raise refuse("happens too often for an accident", "up to 1 per minute")
    return HowOften("running" if found.group("running") else "calendar", rate)


def _of_demand(found: re.Match[str]) -> HowOften:
    many = float(found.group("many") or 1.0)
    if many == 0.0:
        raise refuse("no demand is counted", _ACCEPTED)
    part = float(found.group("number")) / many / (100.0 if found.group("percent") else 1.0)
    if part > 1.0:
        raise refuse("is more than each demand", "up to 100 % per demand, or 1 in 1 demands")
    return HowOften("demand", part)


def _span_s(text: str) -> float:
    """Return the time that a number of times is said of [s]."""
    one = _SPANS.get(text.lower())
    if one is not None:
        return one
    found = re.fullmatch(r"(\d{1,9}(?:\.\d{1,9})?)\s+([A-Za-z]+?)s?", text)
    if found is not None and found.group(2).lower() in _SPANS:
        span_s = float(found.group(1)) * _SPANS[found.group(2).lower()]
    else:
        try:
            span_s = units.parse(text if text[0].isdigit() else f"1 {text}", "duration")
        except QuantityError as error:
            raise refuse(f"'{text[:40]}' is no time to count by", _ACCEPTED) from error
    if span_s <= 0.0:
        raise refuse("the time that it is counted by must be more than nought", _ACCEPTED)
    return span_s


def read_lasts(value: object, *, nought: bool = False) -> Range:
    """Return how long something lasts, from one text or from a low, a typical and a high one.

    Parameters
    ----------
    value
        What stands in the file: ``"2 h"`` or ``["1 h", "2 h", "8 h"]``.
    nought
        True when no time at all is a time too: a step that is done at once.

    Raises
    ------
    PydanticCustomError
        When it cannot be read, or does not rise.
    """
    accepted = '"2 h", or a low, a typical and a high one: ["1 h", "2 h", "8 h"]'
    given = value if isinstance(value, list) else [value, value, value]
    texts = [one for one in given if isinstance(one, str)]
    if len(given) != 3 or len(texts) != 3:
        raise refuse("a duration is needed, or three of them, as text with units", accepted)
    try:
        low, typical, high = (units.parse(one, "duration") for one in texts)
    except QuantityError as error:
        raise refuse(str(error)) from error
    if not 0.0 <= low <= high <= 20.0 * YEAR_S or (low == 0.0 and not nought):
        least = "0 s" if nought else "more than 0 s"
        raise refuse("duration out of range", f"{least} to 20 years, rising")
    if not low <= typical <= high:
        raise refuse("low, typical and high do not rise", accepted)
    return Range(low, typical, high)


@dataclass(frozen=True)
class _RateReader:
    """Reads how often something happens."""

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        return {"type": "string", "examples": list(SAMPLES)}

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        del source, handler
        return core_schema.no_info_plain_validator_function(read_rate)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


@dataclass(frozen=True)
class _LastsReader:
    """Reads how long something lasts.

    Parameters
    ----------
    nought
        True when no time at all is a time too.
    """

    nought: bool = False

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        one = {"type": "string", "examples": ["2 h"], "x-quantity": "duration"}
        three = {"type": "array", "items": {"type": "string"}, "minItems": 3, "maxItems": 3}
        return {"anyOf": [one, {**three, "examples": [["1 h", "2 h", "8 h"]]}]}

    def _validate(self, value: object) -> Range:
        return read_lasts(value, nought=self.nought)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        del source, handler
        return core_schema.no_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


Rate = Annotated[HowOften, _RateReader()]
Lasts = Annotated[Range, _LastsReader()]
Takes = Annotated[Range, _LastsReader(nought=True)]
"""How long a step takes; some are done at once."""

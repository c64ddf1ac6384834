"""Quantities as text and as numbers of a unit: to SI and back, without a rounding of our own."""

from __future__ import annotations

import math
import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from fractions import Fraction

from stationsim.errors import QuantityError
from stationsim.units.listed import (
    EXAMPLES,
    LARGEST,
    Kind,
    accepted,
    exact_factors,
    short,
    unit_name,
    zero_at,
)

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(\D.*)?", re.DOTALL)
_DURATION_PIECE = re.compile(rf"({_NUMBER})\s*([A-Za-z]+)\s*")
_LONGEST_TEXT = 60


def factor(unit: str, kind: Kind) -> float:
    """Return what one of a unit is in SI.

    Parameters
    ----------
    unit
        A unit of the list, in any of its spellings.
    kind
        What it must measure.

    Raises
    ------
    QuantityError
        When the unit is not on the list, or measures something else.
    """
    return float(exact_factors()[unit_name(unit, kind)])


def to_si(number: float, unit: str, kind: Kind) -> float:
    """Return a number with its unit, in SI.

    Parameters
    ----------
    number
        How many.
    unit
        A unit of the list, in any of its spellings.
    kind
        What it must measure.

    Raises
    ------
    QuantityError
        When the unit is not on the list or of another kind, or the number is not finite.
    """
    name = unit_name(unit, kind)
    if not math.isfinite(number):
        message = f"'{number}' is not a finite number"
        raise QuantityError(message)
    return float((Fraction(number) - zero_at(name, kind)) * exact_factors()[name])


def from_si(value: float, unit: str, kind: Kind) -> float:
    """Return a value in SI as a number of a unit.

    Parameters
    ----------
    value
        Value in SI.
    unit
        A unit of the list, in any of its spellings.
    kind
        What it must measure.

    Raises
    ------
    QuantityError
        When the unit is not on the list, or measures something else.
    """
    name = unit_name(unit, kind)
    if not math.isfinite(value):
        return value
    return float(Fraction(value) / exact_factors()[name] + zero_at(name, kind))


def parse(text: str, kind: Kind) -> float:
    """Return a quantity written as text, in SI.

    Parameters
    ----------
    text
        A number, a blank or none, and a unit of the list; a duration may be several of these in
        a row (``1 h 30 min``).
    kind
        What must be measured.

    Raises
    ------
    QuantityError
        When it cannot be read, has no unit or a unit of another kind, or is absurdly large.

    Examples
    --------
    >>> parse("35 L/s", "flow")
    0.035
    >>> parse("1 h 30 min", "duration")
    5400.0
    """
    stripped = text.strip()
    if len(stripped) > _LONGEST_TEXT:
        message = f"'{short(stripped)}' is too long for a quantity such as '{EXAMPLES[kind]}'"
        raise QuantityError(message)
    found = _QUANTITY.fullmatch(stripped)
    if found is None:
        raise QuantityError(_no_number(stripped, kind))
    number, unit = found.group(1), (found.group(2) or "").strip()
    if not unit:
        message = (
            f"'{stripped}' has no unit; accepted: {accepted(kind)}, such as '{EXAMPLES[kind]}'"
        )
        raise QuantityError(message)
    if unit.startswith(","):
        message = f"'{stripped}' has a comma; write a decimal point, and no thousands separator"
        raise QuantityError(message)
    name = "d"
    if kind == "duration" and any(mark.isdigit() for mark in unit):
        exact = _long_duration(stripped)
    else:
        name = unit_name(unit, kind)
        exact = (Fraction(number) - zero_at(name, kind)) * exact_factors()[name]
    if abs(exact) > LARGEST[kind]:
        message = (
            f"'{stripped}' is beyond anything that a station has ({_largest_text(kind, name)})"
        )
        raise QuantityError(message)
    return float(exact)


def write(value: float, unit: str, kind: Kind) -> str:
    """Return a value in SI as text that :func:`parse` reads back to the same value.

    Parameters
    ----------
    value
        Value in SI.
    unit
        The unit to write it in.
    kind
        What is measured.
    """
    name = unit_name(unit, kind)
    zero = zero_at(name, kind)
    exact = Fraction(value) / exact_factors()[name] + zero
    number = float(exact)
    for digits in (15, 16, 17, 18, 19):
        # one double of a unit can stand for two doubles of SI: more digits then tell them apart
        text = f"{number:.{digits}g}" if digits <= 17 else _decimal(exact, digits)
        if float((Fraction(text) - zero) * exact_factors()[name]) == value:
            return f"{text} {name}"
    return f"{_decimal(exact, 21)} {name}"


def limit_text(value_si: float, unit: str, kind: Kind, *, least: bool) -> str:
    """Return a limit in a unit with four figures, rounded to the side that is still accepted.

    Parameters
    ----------
    value_si
        The limit in SI.
    unit
        The unit to tell it in.
    kind
        What is measured.
    least
        True when no less is accepted, False when no more is.

    Examples
    --------
    >>> limit_text(0.05, "ft", "length", least=True), limit_text(100.0, "ft", "length", least=False)
    ('0.1641', '328')
    """
    name = unit_name(unit, kind)
    exact = Fraction(value_si) / exact_factors()[name] + zero_at(name, kind)
    # twelve figures first: 0.3048 as a float is a hair more than one foot
    number = Context(prec=12).divide(Decimal(exact.numerator), Decimal(exact.denominator))
    rounded = Context(prec=4, rounding=ROUND_CEILING if least else ROUND_FLOOR).plus(number)
    plain = 1e-3 <= abs(rounded) < 1e9 or not rounded
    text = f"{rounded.normalize():f}" if plain else f"{float(rounded):g}"
    return text if rounded else "0"


def _long_duration(text: str) -> Fraction:
    """Read ``1 h 30 min``: units from long to short, only the first may have a sign."""
    total = Fraction(0)
    last: Fraction | None = None
    position = 0
    sign = -1 if text.startswith("-") else 1
    for piece in _DURATION_PIECE.finditer(text):
        if piece.start() != position or (last is not None and piece.group(1)[0] in "+-"):
            break
        size = exact_factors()[unit_name(piece.group(2), "duration")]
        if last is not None and size >= last:
            break
        total += abs(Fraction(piece.group(1))) * size
        last = size
        position = piece.end()
    if position != len(text):
        message = f"'{text}' cannot be read as a duration such as '1 h 30 min'"
        raise QuantityError(message)
    return sign * total


def _no_number(text: str, kind: Kind) -> str:
    if re.match(r"[+-]?(nan|inf)", text, re.IGNORECASE):
        return f"'{short(text)}' is not a finite number"
    return (
        f"'{short(text)}' is not a quantity: a number and a unit are needed, "
        f"such as '{EXAMPLES[kind]}'"
    )


def _largest_text(kind: Kind, unit: str) -> str:
    return f"at most {limit_text(LARGEST[kind], unit, kind, least=False)} {unit} is read"


def _decimal(exact: Fraction, digits: int) -> str:
    """Return a fraction as a decimal text with many digits."""
    context = Context(prec=digits)
    return str(context.divide(Decimal(exact.numerator), Decimal(exact.denominator)))

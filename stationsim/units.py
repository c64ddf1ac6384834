"""Text to SI and back: the only place that knows units, and the only importer of pint.

A quantity is written as text, a number and a unit of a short list::

    1.9 m    35 L/s    800 gpm    4 h    1 h 30 min    22 kW

pint is never given what somebody typed. It is given our own definitions once, when the first
quantity is read, and gives an exact fraction for each unit of the list; from then on reading a
quantity is one multiplication of fractions, so what is read is the double nearest to what was
written.

A gallon here is a US gallon of 231 cubic inches. A horsepower is the mechanical one of
550 foot-pounds a second. An acre is one of international feet.

References
----------
Inch, foot, mile and pound: the international yard and pound agreement of 1959. Gallon, horsepower
and standard gravity: NIST Special Publication 811 (2008), appendix B.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from fractions import Fraction
from typing import Literal

from stationsim.errors import QuantityError

Kind = Literal[
    "length",
    "area",
    "volume",
    "flow",
    "duration",
    "power",
    "viscosity",
    "head per flow",
    "head per flow squared",
    "temperature",
    "temperature difference",
    "velocity",
    "current",
    "voltage",
    "apparent power",
    "inertia",
]
System = Literal["si", "us"]
Shown = Literal[
    "level",
    "head",
    "length",
    "diameter",
    "area",
    "volume",
    "fuel",
    "flow",
    "fuel rate",
    "duration",
    "power",
    "velocity",
    "temperature",
    "current",
    "voltage",
    "apparent power",
    "inertia",
]

_DEFINITIONS = (
    "meter = [length]",
    "second = [time]",
    "kilogram = [mass]",
    "pound = 0.45359237 * kilogram",
    "ampere = [current]",
    "inch = 0.0254 * meter",
    "foot = 12 * inch",
    "mile = 5280 * foot",
    "centimeter = 0.01 * meter",
    "millimeter = 0.001 * meter",
    "kilometer = 1000 * meter",
    "minute = 60 * second",
    "hour = 60 * minute",
    "day = 24 * hour",
    "hectare = 10000 * meter ** 2",
    "acre = 43560 * foot ** 2",
    "cubic_meter = meter ** 3",
    "liter = 0.001 * cubic_meter",
    "cubic_foot = foot ** 3",
    "gallon = 231 * inch ** 3",
    "gpm = gallon / minute",
    "gpd = gallon / day",
    "mgd = 1000000 * gallon / day",
    "cfs = cubic_foot / second",
    "watt = kilogram * meter ** 2 / second ** 3",
    "kilowatt = 1000 * watt",
    "horsepower = 550 * foot * 0.45359237 * 9.80665 * kilogram * meter / second ** 3",
    "kelvin = [temperature]",
    "fahrenheit_step = 5 * kelvin / 9",
    "volt = watt / ampere",
    "kilovolt = 1000 * volt",
    "kilovoltampere = kilovolt * ampere",
)


@dataclass(frozen=True)
class _Unit:
    """One unit of the list: the way pint knows it, and the spellings taken for it."""

    kind: Kind
    pint_name: str
    also: tuple[str, ...] = ()


_UNITS: dict[str, _Unit] = {
    "m": _Unit("length", "meter", ("metre", "metres", "meter", "meters")),
    "cm": _Unit("length", "centimeter"),
    "mm": _Unit("length", "millimeter"),
    "km": _Unit("length", "kilometer", ("kilometre", "kilometres", "kilometer", "kilometers")),
    "ft": _Unit("length", "foot", ("foot", "feet")),
    "in": _Unit("length", "inch", ("inch", "inches")),
    "mi": _Unit("length", "mile", ("mile", "miles")),
    "m2": _Unit("area", "meter ** 2", ("m^2",)),
    "ft2": _Unit("area", "foot ** 2", ("ft^2", "sq ft")),
    "ha": _Unit("area", "hectare", ("hectare", "hectares")),
    "acre": _Unit("area", "acre", ("acres",)),
    "m3": _Unit("volume", "cubic_meter", ("m^3",)),
    "L": _Unit("volume", "liter", ("l", "litre", "litres", "liter", "liters")),
    "gal": _Unit("volume", "gallon", ("US gal", "gallon", "gallons")),
    "ft3": _Unit("volume", "cubic_foot", ("ft^3", "cu ft")),
    "m3/s": _Unit("flow", "cubic_meter / second", ("m^3/s",)),
    "L/s": _Unit("flow", "liter / second", ("l/s",)),
    "L/min": _Unit("flow", "liter / minute", ("l/min",)),
    "L/h": _Unit("flow", "liter / hour", ("l/h",)),
    "m3/h": _Unit("flow", "cubic_meter / hour", ("m^3/h",)),
    "m3/d": _Unit("flow", "cubic_meter / day", ("m^3/d",)),
    "gpm": _Unit("flow", "gpm", ("US gpm", "GPM", "gal/min")),
    "gpd": _Unit("flow", "gpd", ("GPD", "gal/d")),
    "gal/h": _Unit("flow", "gallon / hour", ("gph", "GPH")),
    "MGD": _Unit("flow", "mgd", ("mgd",)),
    "cfs": _Unit("flow", "cfs", ("CFS", "ft3/s", "ft^3/s")),
    "s": _Unit("duration", "second", ("sec", "second", "seconds")),
    "min": _Unit("duration", "minute", ("minute", "minutes")),
    "h": _Unit("duration", "hour", ("hr", "hour", "hours")),
    "d": _Unit("duration", "day", ("day", "days")),
    "W": _Unit("power", "watt"),
    "kW": _Unit("power", "kilowatt", ("kw", "KW")),
    "hp": _Unit("power", "horsepower", ("HP",)),
    "m2/s": _Unit("viscosity", "meter ** 2 / second", ("m^2/s",)),
    "ft2/s": _Unit("viscosity", "foot ** 2 / second", ("ft^2/s",)),
    "m/(m3/s)": _Unit("head per flow", "meter / (cubic_meter / second)", ("s/m2",)),
    "m/(L/s)": _Unit("head per flow", "meter / (liter / second)", ("m/(l/s)",)),
    "ft/gpm": _Unit("head per flow", "foot / gpm"),
    "m/(m3/s)^2": _Unit(
        "head per flow squared", "meter / (cubic_meter / second) ** 2", ("m/(m3/s)2", "s2/m5")
    ),
    "m/(L/s)^2": _Unit(
        "head per flow squared", "meter / (liter / second) ** 2", ("m/(L/s)2", "m/(l/s)^2")
    ),
    "ft/gpm^2": _Unit("head per flow squared", "foot / gpm ** 2", ("ft/gpm2",)),
    "degC": _Unit("temperature", "kelvin", ("C", "°C", "deg C")),
    "degF": _Unit("temperature", "fahrenheit_step", ("F", "°F", "deg F")),
    "K": _Unit("temperature difference", "kelvin", ("kelvin",)),
    "m/s": _Unit("velocity", "meter / second"),
    "ft/s": _Unit("velocity", "foot / second", ("fps",)),
    "A": _Unit("current", "ampere", ("amp", "amps", "ampere", "amperes")),
    "V": _Unit("voltage", "volt", ("volt", "volts")),
    "kV": _Unit("voltage", "kilovolt"),
    "VA": _Unit("apparent power", "volt * ampere"),
    "kVA": _Unit("apparent power", "kilovoltampere", ("kva", "KVA")),
    "kg m2": _Unit("inertia", "kilogram * meter ** 2", ("kg m^2", "kgm2", "kg*m2", "kg*m^2")),
    "lb ft2": _Unit("inertia", "pound * foot ** 2", ("lb ft^2", "lb-ft2", "lb-ft^2", "lb*ft2")),
}

_ZERO_AT: dict[str, Fraction] = {"degF": Fraction(32)}
"""What a thermometer of a unit shows at 0 degC, where that is not 0."""

_ALSO_DIFFERENCES = ("degC", "degF")
"""Units of temperature in which a difference of temperatures may be written as well."""

_SPELLINGS = {spelling: name for name, unit in _UNITS.items() for spelling in (name, *unit.also)}

LARGEST: dict[Kind, float] = {
    "length": 1e6,
    "area": 1e11,
    "volume": 1e8,
    "flow": 1e4,
    "duration": 1e10,
    "power": 1e9,
    "viscosity": 1.0,
    "head per flow": 1e9,
    "head per flow squared": 1e12,
    "temperature": 1e4,
    "temperature difference": 1e4,
    "velocity": 1e5,
    "current": 1e7,
    "voltage": 1e7,
    "apparent power": 1e10,
    "inertia": 1e8,
}
"""Largest magnitude that is read at all, in SI; narrower ranges are the asker's business."""

_EXAMPLES: dict[Kind, str] = {
    "length": "1.9 m",
    "area": "7.1 m2",
    "volume": "20 m3",
    "flow": "35 L/s",
    "duration": "4 h",
    "power": "22 kW",
    "viscosity": "1.14e-6 m2/s",
    "head per flow": "-40 m/(m3/s)",
    "head per flow squared": "-5600 m/(m3/s)^2",
    "temperature": "20 degC",
    "temperature difference": "85 K",
    "velocity": "0.9 m/s",
    "current": "62 A",
    "voltage": "400 V",
    "apparent power": "60 kVA",
    "inertia": "0.4 kg m2",
}

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(\D.*)?", re.DOTALL)
_DURATION_PIECE = re.compile(rf"({_NUMBER})\s*([A-Za-z]+)\s*")
_RAISED = str.maketrans({"²": "2", "³": "3", "⁵": "5", "·": " "})
_LONGEST_TEXT = 60


@functools.cache
def _exact_factors() -> dict[str, Fraction]:
    """Return SI per unit, exactly, for each unit of the list."""
    import pint  # heavy, and a run with no text to read needs none

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    for definition in _DEFINITIONS:
        registry.define(definition)
    return {
        name: Fraction(registry.Quantity(Fraction(1), unit.pint_name).to_base_units().magnitude)
        for name, unit in _UNITS.items()
    }


def accepted(kind: Kind) -> str:
    """Return the units accepted for a kind, as a list in words.

    Parameters
    ----------
    kind
        What is measured.
    """
    names = [name for name, unit in _UNITS.items() if unit.kind == kind]
    if kind == "temperature difference":
        names += _ALSO_DIFFERENCES
    return ", ".join(names)


def _fits(name: str, kind: Kind) -> bool:
    """Tell whether a unit of the list may measure a kind."""
    difference = kind == "temperature difference" and name in _ALSO_DIFFERENCES
    return difference or _UNITS[name].kind == kind


def _zero_at(name: str, kind: Kind) -> Fraction:
    """Return what a unit shows where SI shows nought: not 0 on one scale of temperature."""
    return _ZERO_AT.get(name, Fraction(0)) if kind == "temperature" else Fraction(0)


def with_article(kind: Kind) -> str:
    """Return a kind as a sentence has it: ``a length``, ``an area``.

    Parameters
    ----------
    kind
        What is measured.
    """
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def example(kind: Kind) -> str:
    """Return a well-written quantity of a kind.

    Parameters
    ----------
    kind
        What is measured.
    """
    return _EXAMPLES[kind]


def unit_name(text: str, kind: Kind) -> str:
    """Return the listed name of a unit, whichever of its spellings was used.

    Parameters
    ----------
    text
        A unit, such as ``l/s`` or ``m³/d``.
    kind
        What it must measure.

    Raises
    ------
    QuantityError
        When the unit is not on the list, or measures something else.
    """
    spelling = " ".join(text.translate(_RAISED).split())
    name = _SPELLINGS.get(spelling)
    if name is None:
        near = difflib.get_close_matches(
            spelling, [s for s, n in _SPELLINGS.items() if _fits(n, kind)], n=1
        )
        hint = f"; did you mean '{near[0]}'?" if near else ""
        message = f"unknown unit '{_short(text)}'; accepted: {accepted(kind)}{hint}"
        raise QuantityError(message)
    if not _fits(name, kind):
        message = (
            f"'{name}' is a unit of {_UNITS[name].kind}, and {with_article(kind)} is needed; "
            f"accepted: {accepted(kind)}"
        )
        raise QuantityError(message)
    return name


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
    return float(_exact_factors()[unit_name(unit, kind)])


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
    return float((Fraction(number) - _zero_at(name, kind)) * _exact_factors()[name])


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
    return float(Fraction(value) / _exact_factors()[name] + _zero_at(name, kind))


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
        message = f"'{_short(stripped)}' is too long for a quantity such as '{_EXAMPLES[kind]}'"
        raise QuantityError(message)
    found = _QUANTITY.fullmatch(stripped)
    if found is None:
        raise QuantityError(_no_number(stripped, kind))
    number, unit = found.group(1), (found.group(2) or "").strip()
    if not unit:
        message = (
            f"'{stripped}' has no unit; accepted: {accepted(kind)}, such as '{_EXAMPLES[kind]}'"
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
        exact = (Fraction(number) - _zero_at(name, kind)) * _exact_factors()[name]
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
    zero = _zero_at(name, kind)
    exact = Fraction(value) / _exact_factors()[name] + zero
    number = float(exact)
    for digits in (15, 16, 17, 18, 19):
        # one double of a unit can stand for two doubles of SI: more digits then tell them apart
        text = f"{number:.{digits}g}" if digits <= 17 else _decimal(exact, digits)
        if float((Fraction(text) - zero) * _exact_factors()[name]) == value:
            return f"{text} {name}"
    return f"{_decimal(exact, 21)} {name}"


def show(value_si: float, kind: Shown, system: System) -> str:
    """Return a value for people to read, rounded to what makes sense.

    Parameters
    ----------
    value_si
        Value in SI.
    kind
        What is shown.
    system
        ``si`` or ``us``.

    Examples
    --------
    >>> show(0.03, "flow", "si"), show(0.03, "flow", "us")
    ('30.0 L/s', '476 gpm')
    >>> show(4320.0, "duration", "si")
    '1 h 12 min'
    """
    if not math.isfinite(value_si):
        return "never" if kind == "duration" and value_si > 0 else "not known"
    if kind == "duration":
        return _show_duration(value_si)
    quantity, si_unit, us_unit, decimals = _SHOWN[kind]
    unit = si_unit if system == "si" else us_unit
    number = from_si(value_si, unit, quantity)
    return f"{_rounded(number, decimals)} {unit}"


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
    exact = Fraction(value_si) / _exact_factors()[name] + _zero_at(name, kind)
    # twelve figures first: 0.3048 as a float is a hair more than one foot
    number = Context(prec=12).divide(Decimal(exact.numerator), Decimal(exact.denominator))
    rounded = Context(prec=4, rounding=ROUND_CEILING if least else ROUND_FLOOR).plus(number)
    plain = 1e-3 <= abs(rounded) < 1e9 or not rounded
    text = f"{rounded.normalize():f}" if plain else f"{float(rounded):g}"
    return text if rounded else "0"


def shown_unit(kind: Shown, system: System) -> str:
    """Return the unit that :func:`show` uses, for the axis of a plot or the head of a column.

    Parameters
    ----------
    kind
        What is shown; a duration has no single unit and gives ``h``.
    system
        ``si`` or ``us``.
    """
    if kind == "duration":
        return "h"
    _, si_unit, us_unit, _ = _SHOWN[kind]
    return si_unit if system == "si" else us_unit


_SHOWN: dict[str, tuple[Kind, str, str, int | None]] = {
    "level": ("length", "m", "ft", 2),
    "head": ("length", "m", "ft", 1),
    "length": ("length", "m", "ft", None),
    "diameter": ("length", "mm", "in", None),
    "area": ("area", "m2", "ft2", None),
    "volume": ("volume", "m3", "gal", None),
    "fuel": ("volume", "L", "gal", None),
    "flow": ("flow", "L/s", "gpm", None),
    "fuel rate": ("flow", "L/h", "gal/h", None),
    "power": ("power", "kW", "hp", None),
    "velocity": ("velocity", "m/s", "ft/s", 2),
    "temperature": ("temperature", "degC", "degF", 0),
    "current": ("current", "A", "A", None),
    "voltage": ("voltage", "V", "V", 0),
    "apparent power": ("apparent power", "kVA", "kVA", None),
    "inertia": ("inertia", "kg m2", "lb ft2", None),
}


def _rounded(number: float, decimals: int | None) -> str:
    """Return a number with three figures or so, or with fixed decimals; never ``-0``."""
    if decimals is None:
        size = abs(number)
        if size >= 99.95 or size == 0.0:
            decimals = 0
        elif size >= 9.995:
            decimals = 1
        elif size >= 0.9995:
            decimals = 2
        else:
            return f"{number:.3g}"
    value = round(number, decimals) + 0.0
    return f"{value:,.{decimals}f}" if abs(value) >= 10_000 else f"{value:.{decimals}f}"


def _show_duration(value_s: float) -> str:
    sign = "-" if value_s < 0 else ""
    size = abs(value_s)
    if size < 9.95:
        return f"{sign}{size:.2g} s"
    if round(size) < 120:
        return f"{sign}{round(size)} s"
    minutes = round(size / 60.0)
    if minutes < 60:
        return f"{sign}{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{sign}{hours} h {minutes} min" if minutes else f"{sign}{hours} h"
    days, hours = divmod(round(size / 3600.0), 24)
    return f"{sign}{days} d {hours} h" if hours else f"{sign}{days} d"


def _long_duration(text: str) -> Fraction:
    """Read ``1 h 30 min``: units from long to short, only the first may have a sign."""
    total = Fraction(0)
    last: Fraction | None = None
    position = 0
    sign = -1 if text.startswith("-") else 1
    for piece in _DURATION_PIECE.finditer(text):
        if piece.start() != position or (last is not None and piece.group(1)[0] in "+-"):
            break
        size = _exact_factors()[unit_name(piece.group(2), "duration")]
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
        return f"'{_short(text)}' is not a finite number"
    return (
        f"'{_short(text)}' is not a quantity: a number and a unit are needed, "
        f"such as '{_EXAMPLES[kind]}'"
    )


def _largest_text(kind: Kind, unit: str) -> str:
    return f"at most {limit_text(LARGEST[kind], unit, kind, least=False)} {unit} is read"


def _decimal(exact: Fraction, digits: int) -> str:
    """Return a fraction as a decimal text with many digits."""
    context = Context(prec=digits)
    return str(context.divide(Decimal(exact.numerator), Decimal(exact.denominator)))


def _short(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= 30 else f"{flat[:27]}..."

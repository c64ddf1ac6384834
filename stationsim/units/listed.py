"""The list of units: kinds, spellings, exact factors. The only importer of pint."""

from __future__ import annotations

import difflib
import functools
from dataclasses import dataclass
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
    "pressure",
    "rotation speed",
]
System = Literal["si", "us"]

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
    "pascal = kilogram / meter / second ** 2",
    "kilopascal = 1000 * pascal",
    "megapascal = 1000000 * pascal",
    "bar = 100000 * pascal",
    "millibar = 100 * pascal",
    "psi = 0.45359237 * 9.80665 * kilogram * meter / second ** 2 / inch ** 2",
)


@dataclass(frozen=True)
class Unit:
    """One unit of the list: the way pint knows it, and the spellings taken for it."""

    kind: Kind
    pint_name: str
    also: tuple[str, ...] = ()


UNITS: dict[str, Unit] = {
    "m": Unit("length", "meter", ("metre", "metres", "meter", "meters")),
    "cm": Unit("length", "centimeter"),
    "mm": Unit("length", "millimeter"),
    "km": Unit("length", "kilometer", ("kilometre", "kilometres", "kilometer", "kilometers")),
    "ft": Unit("length", "foot", ("foot", "feet")),
    "in": Unit("length", "inch", ("inch", "inches")),
    "mi": Unit("length", "mile", ("mile", "miles")),
    "m2": Unit("area", "meter ** 2", ("m^2",)),
    "ft2": Unit("area", "foot ** 2", ("ft^2", "sq ft")),
    "ha": Unit("area", "hectare", ("hectare", "hectares")),
    "acre": Unit("area", "acre", ("acres",)),
    "m3": Unit("volume", "cubic_meter", ("m^3",)),
    "L": Unit("volume", "liter", ("l", "litre", "litres", "liter", "liters")),
    "gal": Unit("volume", "gallon", ("US gal", "gallon", "gallons")),
    "ft3": Unit("volume", "cubic_foot", ("ft^3", "cu ft")),
    "m3/s": Unit("flow", "cubic_meter / second", ("m^3/s",)),
    "L/s": Unit("flow", "liter / second", ("l/s",)),
    "L/min": Unit("flow", "liter / minute", ("l/min",)),
    "L/h": Unit("flow", "liter / hour", ("l/h",)),
    "m3/h": Unit("flow", "cubic_meter / hour", ("m^3/h",)),
    "m3/d": Unit("flow", "cubic_meter / day", ("m^3/d",)),
    "gpm": Unit("flow", "gpm", ("US gpm", "GPM", "gal/min")),
    "gpd": Unit("flow", "gpd", ("GPD", "gal/d")),
    "gal/h": Unit("flow", "gallon / hour", ("gph", "GPH")),
    "MGD": Unit("flow", "mgd", ("mgd",)),
    "cfs": Unit("flow", "cfs", ("CFS", "ft3/s", "ft^3/s")),
    "s": Unit("duration", "second", ("sec", "second", "seconds")),
    "min": Unit("duration", "minute", ("minute", "minutes")),
    "h": Unit("duration", "hour", ("hr", "hour", "hours")),
    "d": Unit("duration", "day", ("day", "days")),
    "W": Unit("power", "watt"),
    "kW": Unit("power", "kilowatt", ("kw", "KW")),
    "hp": Unit("power", "horsepower", ("HP",)),
    "m2/s": Unit("viscosity", "meter ** 2 / second", ("m^2/s",)),
    "ft2/s": Unit("viscosity", "foot ** 2 / second", ("ft^2/s",)),
    "m/(m3/s)": Unit("head per flow", "meter / (cubic_meter / second)", ("s/m2",)),
    "m/(L/s)": Unit("head per flow", "meter / (liter / second)", ("m/(l/s)",)),
    "ft/gpm": Unit("head per flow", "foot / gpm"),
    "m/(m3/s)^2": Unit(
        "head per flow squared", "meter / (cubic_meter / second) ** 2", ("m/(m3/s)2", "s2/m5")
    ),
    "m/(L/s)^2": Unit(
        "head per flow squared", "meter / (liter / second) ** 2", ("m/(L/s)2", "m/(l/s)^2")
    ),
    "ft/gpm^2": Unit("head per flow squared", "foot / gpm ** 2", ("ft/gpm2",)),
    "degC": Unit("temperature", "kelvin", ("C", "°C", "deg C")),
    "degF": Unit("temperature", "fahrenheit_step", ("F", "°F", "deg F")),
    "K": Unit("temperature difference", "kelvin", ("kelvin",)),
    "m/s": Unit("velocity", "meter / second"),
    "ft/s": Unit("velocity", "foot / second", ("fps",)),
    "A": Unit("current", "ampere", ("amp", "amps", "ampere", "amperes")),
    "V": Unit("voltage", "volt", ("volt", "volts")),
    "kV": Unit("voltage", "kilovolt"),
    "VA": Unit("apparent power", "volt * ampere"),
    "kVA": Unit("apparent power", "kilovoltampere", ("kva", "KVA")),
    "kg m2": Unit("inertia", "kilogram * meter ** 2", ("kg m^2", "kgm2", "kg*m2", "kg*m^2")),
    "lb ft2": Unit("inertia", "pound * foot ** 2", ("lb ft^2", "lb-ft2", "lb-ft^2", "lb*ft2")),
    "kPa": Unit("pressure", "kilopascal", ("kpa", "KPa")),
    "Pa": Unit("pressure", "pascal"),
    "MPa": Unit("pressure", "megapascal"),
    "bar": Unit("pressure", "bar", ("bars",)),
    "mbar": Unit("pressure", "millibar"),
    "psi": Unit("pressure", "psi", ("PSI", "psig", "lbf/in2")),
    "rpm": Unit("rotation speed", "1 / minute", ("RPM", "r/min", "rev/min")),
    "1/min": Unit("rotation speed", "1 / minute", ("min-1", "min^-1")),
    "1/s": Unit("rotation speed", "1 / second", ("r/s", "rev/s", "s-1", "s^-1")),
}

ZERO_AT: dict[str, Fraction] = {"degF": Fraction(32)}
"""What a thermometer of a unit shows at 0 degC, where that is not 0."""

_ALSO_DIFFERENCES = ("degC", "degF")
"""Units of temperature in which a difference of temperatures may be written as well."""

_SPELLINGS = {spelling: name for name, unit in UNITS.items() for spelling in (name, *unit.also)}

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
    "pressure": 1e10,
    "rotation speed": 1e5,
}
"""Largest magnitude that is read at all, in SI; narrower ranges are the asker's business."""

EXAMPLES: dict[Kind, str] = {
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
    "pressure": "250 kPa",
    "rotation speed": "1450 rpm",
}

_RAISED = str.maketrans({"²": "2", "³": "3", "⁵": "5", "¹": "1", "⁻": "-", "·": " "})


@functools.cache
def exact_factors() -> dict[str, Fraction]:
    """Return SI per unit, exactly, for each unit of the list."""
    import pint  # heavy, and a run with no text to read needs none

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    for definition in _DEFINITIONS:
        registry.define(definition)
    return {
        name: Fraction(registry.Quantity(Fraction(1), unit.pint_name).to_base_units().magnitude)
        for name, unit in UNITS.items()
    }


def accepted(kind: Kind) -> str:
    """Return the units accepted for a kind, as a list in words.

    Parameters
    ----------
    kind
        What is measured.
    """
    names = [name for name, unit in UNITS.items() if unit.kind == kind]
    if kind == "temperature difference":
        names += _ALSO_DIFFERENCES
    return ", ".join(names)


def fits(name: str, kind: Kind) -> bool:
    """Tell whether a unit of the list may measure a kind."""
    difference = kind == "temperature difference" and name in _ALSO_DIFFERENCES
    return difference or UNITS[name].kind == kind


def zero_at(name: str, kind: Kind) -> Fraction:
    """Return what a unit shows where SI shows nought: not 0 on one scale of temperature."""
    return ZERO_AT.get(name, Fraction(0)) if kind == "temperature" else Fraction(0)


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
    return EXAMPLES[kind]


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
            spelling, [s for s, n in _SPELLINGS.items() if fits(n, kind)], n=1
        )
        hint = f"; did you mean '{near[0]}'?" if near else ""
        message = f"unknown unit '{short(text)}'; accepted: {accepted(kind)}{hint}"
        raise QuantityError(message)
    if not fits(name, kind):
        message = (
            f"'{name}' is a unit of {UNITS[name].kind}, and {with_article(kind)} is needed; "
            f"accepted: {accepted(kind)}"
        )
        raise QuantityError(message)
    return name


def short(text: str) -> str:
    """Return a text as a message quotes it: on one line, and not too long."""
    flat = " ".join(text.split())
    return flat if len(flat) <= 30 else f"{flat[:27]}..."

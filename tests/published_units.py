"""Units of the published cases, by their exact definitions; apart from the package's own units."""

from __future__ import annotations

FOOT = 0.3048
INCH = FOOT / 12.0
GALLON = 3.785411784e-3
IMPERIAL_GALLON = 4.54609e-3
MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
HORSEPOWER = 550.0 * FOOT * 0.45359237 * 9.80665
GPM = GALLON / MINUTE
POUND = 0.45359237
PSI = POUND * 9.80665 / INCH**2
MM_MERCURY = 133.322387415  # 13,595.1 kg/m3 at standard gravity

UNITS: dict[str, float] = {
    "-": 1.0,
    "%": 0.01,
    "m": 1.0,
    "cm": 0.01,
    "mm": 1e-3,
    "ft": FOOT,
    "in": INCH,
    "m2": 1.0,
    "ha": 1e4,
    "acre": 43560.0 * FOOT**2,
    "mi2": (5280.0 * FOOT) ** 2,
    "m3": 1.0,
    "L": 1e-3,
    "ft3": FOOT**3,
    "gal": GALLON,
    "s": 1.0,
    "min": MINUTE,
    "h": HOUR,
    "m3/s": 1.0,
    "m3/h": 1.0 / HOUR,
    "m3/min": 1.0 / MINUTE,
    "L/s": 1e-3,
    "L/min": 1e-3 / MINUTE,
    "L/s per h": 1e-3 / HOUR,
    "gpm": GPM,
    "gal/h": GALLON / HOUR,
    "gal/d": GALLON / DAY,
    "imp gpm": IMPERIAL_GALLON / MINUTE,
    "cfs": FOOT**3,
    "m/s": 1.0,
    "mm/h": 1e-3 / HOUR,
    "ft/s": FOOT,
    "m2/s": 1.0,
    "ft2/s": FOOT**2,
    "m^0.5/s": 1.0,
    "ft^0.5/s": FOOT**0.5,
    "m/(m3/s)": 1.0,
    "m/(m3/s)^2": 1.0,
    "m/(L/s)": 1e3,
    "m/(L/s)^2": 1e6,
    "ft/gpm^2": FOOT / GPM**2,
    "W": 1.0,
    "kW": 1e3,
    "hp": HORSEPOWER,
    "hp/kW": HORSEPOWER / 1e3,
    "kWh/kgal": 3.6e6 / (1e3 * GALLON),
    "rad": 1.0,
    "kg/m3": 1.0,
    "slug/ft3": POUND * 9.80665 / FOOT / FOOT**3,
    "lb/ft3": POUND / FOOT**3,
    "Pa": 1.0,
    "kPa": 1e3,
    "MPa": 1e6,
    "psi": PSI,
    "bar": 1e5,
    "m Hg": 1e3 * MM_MERCURY,
    "A": 1.0,
    "V": 1.0,
    "kVA": 1e3,
    "kVA/hp": 1e3 / HORSEPOWER,
    "lb ft2": POUND * FOOT**2,
    "K": 1.0,
    "degC": 1.0,
    "rpm": 1.0,
    "1/h": 1.0 / HOUR,
}
"""Each unit in SI, temperatures in degC; ``rpm`` is left as it is, in ratios and speeds."""


def si(value: float, unit: str) -> float:
    """Return a value in SI."""
    return value * UNITS[unit]


def to_unit(value: float, unit: str) -> float:
    """Return an SI value in a unit; ``hp/kW`` is the hours of water power got from one kilowatt."""
    return value / UNITS[unit]

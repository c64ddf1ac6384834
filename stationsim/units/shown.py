"""Values for people to read, rounded to what makes sense."""

from __future__ import annotations

import math
from typing import Literal

from stationsim.units.listed import Kind, System
from stationsim.units.text import from_si

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
    "pressure",
    "rotation speed",
]


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
    "pressure": ("pressure", "kPa", "psi", None),
    "rotation speed": ("rotation speed", "rpm", "rpm", 0),
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

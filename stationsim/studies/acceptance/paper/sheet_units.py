"""In which unit each reading stands on the sheet, and how many digits of it.

A level says what it is counted from beside its unit: ``m above floor``, ``ft below cover``. A drop
is a difference of levels and is counted from nothing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.station import LevelsShown
from stationsim.units import accepted, from_si, shown_unit

if TYPE_CHECKING:
    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Measure, Reading
    from stationsim.units import Kind, System

YES_OR_NO = "yes/no"
"""What stands in place of a unit where it is asked whether something happened."""

KINDS: dict[Measure, Kind] = {
    "flow": "flow",
    "pressure": "pressure",
    "duration": "duration",
    "level": "length",
    "current": "current",
    "rotation speed": "rotation speed",
}
"""What is measured, for each measure that has a unit."""

_OF_LEVELS = ("m", "cm", "mm", "ft", "in")
_SIGNIFICANT: dict[Measure, int] = {"flow": 3, "current": 3, "pressure": 4, "rotation speed": 4}
_MOST_DECIMALS = 9


def is_counted(reading: Reading) -> bool:
    """Return whether a reading is a level that is counted from somewhere; a drop is not.

    Parameters
    ----------
    reading
        Which.
    """
    return reading.measure == "level" and reading.what != "drop"


def references(station: Station) -> tuple[LevelsShown, ...]:
    """Return what levels may be counted from at a station, its own way first.

    Parameters
    ----------
    station
        What stands there.
    """
    known: list[LevelsShown] = [station.levels_shown]
    others: list[tuple[LevelsShown, bool]] = [
        ("above floor", True),
        ("elevation", station.floor_elevation_m is not None),
        ("below cover", station.cover_m is not None),
    ]
    known += [name for name, there in others if there and name not in known]
    return tuple(known)


def bare_unit(reading: Reading, system: System) -> str:
    """Return the unit of a reading, without what a level is counted from.

    Parameters
    ----------
    reading
        Which; not one of yes or no.
    system
        ``si`` or ``us``.
    """
    measure = reading.measure
    if measure == "yes or no":
        return YES_OR_NO
    return "s" if measure == "duration" else shown_unit(measure, system)


def unit_of(reading: Reading, station: Station, system: System) -> str:
    """Return what stands beside a reading on the sheet.

    Parameters
    ----------
    reading
        Which.
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    """
    unit = bare_unit(reading, system)
    return f"{unit} {station.levels_shown}" if is_counted(reading) else unit


def units_offered(reading: Reading, station: Station) -> tuple[str, ...]:
    """Return the units that a reading may be given in.

    Parameters
    ----------
    reading
        Which.
    station
        Says what levels may be counted from.
    """
    if reading.measure == "yes or no":
        return ()
    if reading.measure != "level":
        return tuple(accepted(KINDS[reading.measure]).split(", "))
    if not is_counted(reading):
        return _OF_LEVELS
    return tuple(f"{unit} {name}" for name in references(station) for unit in _OF_LEVELS)


def shown_number(reading: Reading, value: float, station: Station, system: System) -> float:
    """Return a value of a reading as a number of the unit on the sheet, with all its digits.

    Parameters
    ----------
    reading
        Which; not one of yes or no.
    value
        In SI; a level above the floor [any].
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    """
    if is_counted(reading):
        value = station.shown_m(value)
    return from_si(value, bare_unit(reading, system), KINDS[reading.measure])


def range_of(
    reading: Reading, station: Station, system: System
) -> tuple[float | None, float | None, float | None]:
    """Return low, expected and high as they stand on the sheet; None where there is none.

    They are rounded to what is read off, low upwards and high downwards, so that what the sheet
    accepts is accepted; with more digits where a narrow range needs them, so that low is never
    above the expected value, nor that above high.

    Parameters
    ----------
    reading
        Which; not one of yes or no.
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    """
    given = (reading.low, reading.expected, reading.high)
    low, expected, high = (shown_number(reading, one, station, system) for one in given)
    if is_counted(reading) and station.levels_shown == "below cover":
        low, high = high, low
    if high == math.inf and low <= 0.0:
        low = math.nan  # any value will do
    known = [abs(one) for one in (expected, low, high) if math.isfinite(one)]
    if not known:
        return None, None, None
    for decimals in range(_decimals(reading, known[0], system), _MOST_DECIMALS + 1):
        found = _rounded(low, expected, high, decimals)
        there = [one for one in found if one is not None]
        if there == sorted(there):
            return found
    return tuple(one if math.isfinite(one) else None for one in (low, expected, high))  # type: ignore[return-value]


def _rounded(
    low: float, expected: float, high: float, decimals: int
) -> tuple[float | None, float | None, float | None]:
    step = 10.0**-decimals
    slack = 1e-9  # a number that is on a step already stays there

    def at(value: float, steps: float) -> float | None:
        return round(steps * step, decimals) + 0.0 if math.isfinite(value) else None

    return (
        at(low, math.ceil(low / step - slack) if math.isfinite(low) else 0.0),
        None if not math.isfinite(expected) else round(expected, decimals) + 0.0,
        at(high, math.floor(high / step + slack) if math.isfinite(high) else 0.0),
    )


def _decimals(reading: Reading, size: float, system: System) -> int:
    """Return how many decimals are read off of a value of some size."""
    measure = reading.measure
    if measure == "level":
        return 3 if system == "si" else 2
    if measure == "duration":
        return 0 if size >= 100.0 else 1
    if size == 0.0:
        return 1
    first = math.floor(math.log10(size))
    digits = _SIGNIFICANT[measure]
    if digits == 3 and size / 10.0**first < 2.0:
        digits = 4  # 1.234 and 9.87 are read off equally well
    return max(0, digits - 1 - first)


def uncertainty_of(reading: Reading, system: System) -> float | None:
    """Return the uncertainty as it stands on the sheet, with two figures; None for none.

    Parameters
    ----------
    reading
        Which.
    system
        ``si`` or ``us``.
    """
    value = reading.uncertainty
    if reading.measure == "yes or no" or not math.isfinite(value) or value <= 0.0:
        return None
    return float(f"{from_si(value, bare_unit(reading, system), KINDS[reading.measure]):.2g}")

"""What can have been read at a station, and what cannot."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.acceptance.drawn import planned_fall
from stationsim.studies.acceptance.paper.sheet_units import KINDS, is_counted
from stationsim.units import from_si

if TYPE_CHECKING:
    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Measure, Reading

_ABOVE_M, _BELOW_M, _HIGHEST_M = 0.5, 0.1, 100.0
_GREATEST: dict[Measure, float] = {
    "flow": 20.0,
    "pressure": 1e7,
    "duration": 30.0 * 86400.0,
    "current": 5000.0,
    "rotation speed": 100.0,
}
"""Beyond what any reading at a lift station is, in SI: the unit must be wrong."""
_VACUUM_PA = -100e3
_NOT_NOUGHT = ("fall", "rise before", "rise after", "drop")
_FAR = 10.0


def cannot_be(value: float, unit: str, reading: Reading, station: Station) -> str:
    """Return why a value cannot have been read, with what is accepted; empty when it can.

    Parameters
    ----------
    value
        In SI; a level above the floor [any].
    unit
        The unit to tell it in.
    reading
        Which reading it is; not one of yes or no.
    station
        What stands there.
    """
    if reading.measure == "yes or no":
        return ""
    if reading.measure == "level":
        return _no_level(value, unit, reading, station)
    kind, pressure = KINDS[reading.measure], reading.measure == "pressure"
    least, most = _VACUUM_PA if pressure else 0.0, _GREATEST[reading.measure]
    low, high = (f"{from_si(one, unit, kind):.4g} {unit}" for one in (least, most))
    if reading.what in _NOT_NOUGHT and value == 0.0:
        return f"takes some time (accepted: above 0 {unit}; what did not happen stays empty)"
    if value < least:
        why = "deeper than a vacuum" if pressure else "below nought"
    elif value > most:
        why = "beyond any lift station; is the unit right?"
    else:
        return ""
    return f"{why} (accepted: {low} to {high})"


def _no_level(value: float, unit: str, reading: Reading, station: Station) -> str:
    least, most = _within(station)
    if not is_counted(reading):
        begins = planned_fall(station).from_m
        if 0.0 < value < begins:
            return ""
        high = from_si(begins, unit, "length")
        return (
            f"no drop of this well (accepted: above 0, below the {high:.2f} {unit} at which the"
            " fall begins)"
        )
    if least <= value <= most:
        return ""
    shown = sorted(from_si(station.shown_m(one), unit, "length") for one in (least, most))
    return (
        f"a level outside the structure (accepted: {shown[0]:.2f} to {shown[1]:.2f} {unit}"
        f" {station.levels_shown}; what a panel shows beyond that goes into 'note')"
    )


def _within(station: Station) -> tuple[float, float]:
    """Return the levels between which one can be read [m above floor]: some way above the crest."""
    known = [] if station.cover_m is None else [station.cover_m]
    if station.spillway is not None:
        known.append(station.spillway.crest_m + _ABOVE_M)
    return -_BELOW_M, max(known, default=_HIGHEST_M)


def looks_odd(value: float, reading: Reading) -> bool:
    """Return whether a value is so far from what is expected that its unit may be wrong.

    Parameters
    ----------
    value
        In SI [any].
    reading
        Which reading it is.
    """
    if reading.measure in ("yes or no", "level") or not math.isfinite(reading.expected):
        return False
    size, wanted = abs(value), abs(reading.expected)
    return wanted > 0.0 and size > 0.0 and not wanted / _FAR <= size <= wanted * _FAR

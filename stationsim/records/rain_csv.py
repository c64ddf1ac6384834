"""A rain record from a CSV file: stamps or elapsed time, one column of depth or of intensity.

Each row speaks of an interval: the one that begins at its time, or the one that ends there. Loggers
and forecasts differ in this, so which of the two was taken is told with each file. The rain is
uniform within the interval. The file holds depth in each interval, not the depth since its start.

Outside the file, and where rows are missing and that was asked for, it is dry. Nothing is filled
from a neighbour: a rain gauge that was out of order says nothing of the rain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from stationsim import units
from stationsim.errors import QuantityError, RecordError
from stationsim.inflow.rain import Rain, from_depths
from stationsim.records.columns import (
    numbers,
    one_unit,
    read_times,
    refuse_values,
    time_index,
    unit_text,
    value_index,
    words,
)
from stationsim.records.csv_rows import CsvRows, read_rows
from stationsim.records.gaps import count, find_holes, span_text

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

RainGaps = Literal["refuse", "dry"]
"""What to do about gaps: refuse the file, or take them as dry."""

Stamped = Literal["start", "end"]
"""Where in its interval the time of a row stands."""

GREATEST_INTENSITY_MS = 2.5 / 3600.0
"""Rain harder than this, 2500 mm/h, is taken for a wrong unit [m/s]. (From memory: the greatest
depth on record for one minute is near 38 mm, 2300 mm/h.)"""

_UNITS = {"mm": ("mm", ""), "in": ("in", ""), "mm/h": ("mm", "h"), "in/h": ("in", "h")}
"""Unit of depth, and of time where a column holds intensity."""

_COMPACT_UNITS = {
    "mm": "mm",
    "millimeters": "mm",
    "millimetres": "mm",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "mmh": "mm/h",
    "mmhr": "mm/h",
    "mmhour": "mm/h",
    "inh": "in/h",
    "inhr": "in/h",
    "inhour": "in/h",
    "iph": "in/h",
}
"""Units of rain as names of columns spell them, without sign, blank or capital."""

_RAIN_WORDS = {"rain", "rainfall", "precipitation", "precip", "depth", "intensity"}
_SUM_WORDS = {"cumulative", "accumulated", "cum"}
_ACCEPTED = "accepted: a number, 0 or more"


@dataclass(frozen=True)
class RainRecord:
    """A rain record as read from a file.

    Parameters
    ----------
    rain
        The rain, its times counted from the start of the episode.
    repairs
        What was taken as dry, or read otherwise than it stands, with counts, in words; first, which
        end of its interval the time of a row was taken for.
    name
        The file.
    """

    rain: Rain
    repairs: tuple[str, ...] = ()
    name: str = "rain record"

    def scaled(self, factor: float) -> Rain:
        """Return the rain with each depth multiplied, from a gauge to an area for instance.

        Parameters
        ----------
        factor
            What each depth is multiplied by [-].
        """
        if not 0.0 <= factor < math.inf:
            message = f"{self.name}: the factor must be 0 or more and finite (found {factor:g})"
            raise RecordError(message)
        fallen = [depth * factor for depth in self.rain.fallen_m]
        return Rain(self.rain.at_s, self.rain.times_s, fallen)


def read_rain_csv(
    path: str | Path,
    *,
    start: datetime,
    column: str | None = None,
    time_column: str | None = None,
    unit: str | None = None,
    time_unit: str | None = None,
    gaps: RainGaps = "refuse",
    stamped: Stamped = "start",
) -> RainRecord:
    """Read a rain record.

    Parameters
    ----------
    path
        The file: a line of column names, then rows, one for each interval.
    start
        Local time at which the episode begins; stamps are counted from it, elapsed time as it
        stands.
    column
        Name of the column of rain; None to find it by its name or its unit.
    time_column
        Name of the column of times; None to find it by its name, else the first column.
    unit
        ``mm`` or ``in`` for the depth of each interval, ``mm/h`` or ``in/h`` for its intensity,
        where the name of the column has none: ``rain_mm``, ``intensity (mm/h)``.
    time_unit
        Unit of elapsed times, where the name of their column has none: ``elapsed_min``.
    gaps
        ``refuse``, or ``dry`` for files that leave dry rows out. Then a row before a gap, and the
        last row (with ``stamped="end"``: a row after a gap, and the first), has the usual interval.
    stamped
        ``start`` when the time of a row is where its interval begins, ``end`` when it ends there.

    Raises
    ------
    RecordError
        When the file cannot be used as it stands: the message names the file, the line, what is
        wrong and what is accepted.
    """
    for name, value, choices in (
        ("gaps", gaps, get_args(RainGaps)),
        ("stamped", stamped, get_args(Stamped)),
    ):
        if value not in choices:
            message = f"{path}: {name}={value!r} (accepted: {', '.join(choices)})"
            raise RecordError(message)
    rows = read_rows(Path(path))
    when = time_index(rows, time_column)
    what = value_index(rows, column, when, _COMPACT_UNITS, _RAIN_WORDS, "rain")
    _refuse_sums(rows, what)
    repairs = [f"the time of each row taken as the {stamped} of its interval", *rows.notes]

    rain_unit = _rain_unit(rows, rows.header[what], unit)
    times = read_times(rows, when, time_unit, start, repairs)
    given = numbers(rows, what, _ACCEPTED, repairs)
    length = _lengths(rows, times, given, gaps, stamped, repairs)
    depth_unit, per = _UNITS[rain_unit]
    depths = given * units.factor(depth_unit, "length")
    if per:
        depths = depths / units.factor(per, "duration") * length
    most = units.limit_text(GREATEST_INTENSITY_MS * 3600.0, depth_unit, "length", least=False)
    refuse_values(
        rows,
        given,
        depths > GREATEST_INTENSITY_MS * length,
        f"{rain_unit} in {span_text(float(length[0]))}" if not per else rain_unit,
        "rain",
        (_ACCEPTED, f"any on record (accepted: up to {most} {depth_unit}/h)"),
    )
    return RainRecord(
        _between_dry(times, length, np.nan_to_num(depths), stamped), tuple(repairs), rows.name
    )


def _refuse_sums(rows: CsvRows, index: int) -> None:
    """Raise when a column's name says that it holds the depth since the start."""
    name = rows.header[index]
    if _SUM_WORDS.intersection(words(name)):
        message = (
            f"{rows.name}: the column {name!r} seems to hold the depth since the start"
            " (accepted: the depth in each interval; name a column that has it, or rename this one)"
        )
        raise RecordError(message)


def _rain_unit(rows: CsvRows, name: str, asked: str | None) -> str:
    """Return the unit of the rain: that of the column's name, or the one given."""
    known, text = unit_text(name, _COMPACT_UNITS)
    unit = one_unit(rows, name, known, asked, _listed)
    if unit:
        return unit
    what = f"has an unknown unit, {text!r}" if text else "has no unit of rain"
    message = (
        f"{rows.name}: the column {name!r} {what}; accepted: {', '.join(_UNITS)}, in the name of"
        " the column, such as 'rain_mm' or 'intensity (mm/h)', or given beside it"
    )
    raise RecordError(message)


def _listed(text: str) -> str:
    """Return the listed name of a unit of rain, or raise QuantityError."""
    unit = _COMPACT_UNITS.get("".join(words(text)).replace("per", ""))
    if unit is None:
        message = f"unknown unit {text!r} of rain; accepted: {', '.join(_UNITS)}"
        raise QuantityError(message)
    return unit


def _lengths(
    rows: CsvRows,
    times: NDArray[np.float64],
    given: NDArray[np.float64],
    gaps: RainGaps,
    stamped: Stamped,
    repairs: list[str],
) -> NDArray[np.float64]:
    """Return the interval of each row [s], or raise about gaps; what is taken as dry is told."""
    holes = find_holes(times, given)
    if gaps == "refuse" and (holes.empty or holes.lost):
        holes.refuse(rows, 'a record without gaps, or gaps = "dry" to take them as dry')
    if holes.empty:
        repairs.append(f"{count(holes.empty, 'empty cell')} taken as dry")
    if holes.lost:
        repairs.append(
            f"{count(int(holes.lost), 'missing row')} in"
            f" {count(int(np.sum(holes.missing > 0)), 'gap')} taken as dry (the longest"
            f" {span_text(float(np.max(np.diff(times))))})"
        )
    own = np.where(holes.missing > 0.0, holes.usual_s, np.diff(times))
    ends = (own, [holes.usual_s]) if stamped == "start" else ([holes.usual_s], own)
    return np.concatenate(ends)


def _between_dry(
    times: NDArray[np.float64],
    length: NDArray[np.float64],
    depths: NDArray[np.float64],
    stamped: Stamped,
) -> Rain:
    """Return the rain of the rows, with a dry interval wherever two do not meet."""
    begins = times if stamped == "start" else times - length
    ends = begins + length
    # What meets does so but for rounding; a gap is at least half a usual interval.
    apart = begins[1:] - ends[:-1] > 0.25 * np.minimum(length[1:], length[:-1])
    edges = np.stack([begins, ends], axis=1).ravel()
    spread = np.zeros(edges.size - 1)
    spread[::2] = depths
    kept = np.ones(spread.size, dtype=bool)
    kept[1::2] = apart
    return from_depths(0.0, np.append(edges[:-1][kept], edges[-1]), spread[kept])

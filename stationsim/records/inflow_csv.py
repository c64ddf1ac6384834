"""A recorded inflow from a CSV file: stamps or elapsed time, one column of flow, gaps as told.

What the file leaves unclear is refused, with the line and what is accepted; what is repaired (gaps
that were asked to be filled) or read otherwise than it stands (decimal commas, an offset) is
counted and told. No flow is smoothed, moved or resampled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import numpy as np

from stationsim import units
from stationsim.errors import RecordError
from stationsim.inflow.series import Recorded
from stationsim.records.columns import (
    numbers,
    one_unit,
    read_times,
    refuse_values,
    time_index,
    unit_text,
    value_index,
)
from stationsim.records.csv_rows import CsvRows, read_rows
from stationsim.records.gaps import Gaps, mend

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

GREATEST_FLOW_M3S = 1000.0
"""A flow above this is taken for a wrong unit [m3/s]."""

_COMPACT_UNITS = {
    "m3s": "m3/s",
    "cms": "m3/s",
    "ls": "L/s",
    "lps": "L/s",
    "lmin": "L/min",
    "lpm": "L/min",
    "m3h": "m3/h",
    "m3hr": "m3/h",
    "cmh": "m3/h",
    "m3d": "m3/d",
    "m3day": "m3/d",
    "cmd": "m3/d",
    "gpm": "gpm",
    "usgpm": "gpm",
    "usgalmin": "gpm",
    "galmin": "gpm",
    "gpd": "gpd",
    "gald": "gpd",
    "galday": "gpd",
    "gph": "gal/h",
    "galh": "gal/h",
    "mgd": "MGD",
    "cfs": "cfs",
    "ft3s": "cfs",
}
"""Units of flow as names of columns spell them, without sign, blank or capital."""

_FLOW_WORDS = {"flow", "inflow", "influent", "q", "discharge"}
_FLOWS_ACCEPTED = "accepted: a number, 0 or more, without thousands separators"


@dataclass(frozen=True, eq=False)
class RecordedSeries:
    """A recorded inflow as read from a file.

    Parameters
    ----------
    times_s
        Stamps since the start of the episode [s].
    flows_m3s
        Flow at each [m3/s].
    repairs
        What was filled, or read otherwise than it stands, with counts, in words.
    name
        The file.
    """

    times_s: NDArray[np.float64]
    flows_m3s: NDArray[np.float64]
    repairs: tuple[str, ...] = ()
    name: str = "recorded inflow"

    def source(self, *, factor: float = 1.0, steps: bool = False) -> Recorded:
        """Return it as a source of inflow.

        Parameters
        ----------
        factor
            What each flow is multiplied by, to bring the series to the size of a station [-].
        steps
            True when a flow holds until the next stamp.
        """
        if not 0.0 <= factor < math.inf:
            message = f"{self.name}: the factor must be 0 or more and finite (found {factor:g})"
            raise RecordError(message)
        return Recorded(self.times_s, self.flows_m3s * factor, steps=steps, name=self.name)


def read_inflow_csv(
    path: str | Path,
    *,
    start: datetime,
    column: str | None = None,
    time_column: str | None = None,
    unit: str | None = None,
    time_unit: str | None = None,
    gaps: Gaps = "refuse",
) -> RecordedSeries:
    """Read a recorded inflow.

    Parameters
    ----------
    path
        The file: a line of column names, then rows.
    start
        Local time at which the episode begins. Stamps are counted from it: those without an offset
        are local ones; elapsed time is counted from it as it stands.
    column
        Name of the column of flow; None to find it by its name or its unit.
    time_column
        Name of the column of times; None to find it by its name, else the first column.
    unit
        Unit of the flow, where the name of its column has none: ``inflow_m3d``, ``flow (L/s)``.
    time_unit
        Unit of elapsed times, where the name of their column has none: ``elapsed_min``.
    gaps
        ``refuse``, ``straight`` or ``hold``.

    Raises
    ------
    RecordError
        When the file cannot be used as it stands: the message names the file, the line, what is
        wrong and what is accepted.
    """
    if gaps not in get_args(Gaps):
        message = f"{path}: gaps={gaps!r} (accepted: {', '.join(get_args(Gaps))})"
        raise RecordError(message)
    rows = read_rows(Path(path))
    when = time_index(rows, time_column)
    what = value_index(rows, column, when, _COMPACT_UNITS, _FLOW_WORDS, "flow")
    repairs = list(rows.notes)

    flow_unit = _flow_unit(rows, rows.header[what], unit)
    times = read_times(rows, when, time_unit, start, repairs)
    flows = _flows(rows, what, flow_unit, repairs)
    times, flows = mend(rows, times, flows, gaps, repairs)
    return RecordedSeries(times, flows, tuple(repairs), rows.name)


def _flow_unit(rows: CsvRows, name: str, asked: str | None) -> str:
    """Return the unit of the flow: that of the column's name, or the one given."""
    known, text = unit_text(name, _COMPACT_UNITS)
    unit = one_unit(rows, name, known, asked, lambda given: units.unit_name(given, "flow"))
    if unit:
        return unit
    what = f"has an unknown unit, {text!r}" if text else "has no unit of flow"
    message = (
        f"{rows.name}: the column {name!r} {what}; accepted: {units.accepted('flow')},"
        " in the name of the column, such as 'inflow (L/s)' or 'inflow_m3d', or given beside it"
    )
    raise RecordError(message)


def _flows(rows: CsvRows, index: int, unit: str, repairs: list[str]) -> NDArray[np.float64]:
    """Return the flows [m3/s], NaN where a cell is empty."""
    given = numbers(rows, index, _FLOWS_ACCEPTED, repairs)
    flows = given * units.factor(unit, "flow")
    beyond = f"any lift station (accepted: up to {GREATEST_FLOW_M3S:g} m3/s)"
    refuse_values(rows, given, flows > GREATEST_FLOW_M3S, unit, "flow", (_FLOWS_ACCEPTED, beyond))
    return flows

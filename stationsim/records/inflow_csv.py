"""A recorded inflow from a CSV file: stamps or elapsed time, one column of flow, gaps as told.

What the file leaves unclear is refused, with the line and what is accepted; what is repaired (gaps
that were asked to be filled) or read otherwise than it stands (decimal commas, an offset) is
counted and told. No flow is smoothed, moved or resampled.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import numpy as np

from stationsim import units
from stationsim.errors import QuantityError, RecordError
from stationsim.inflow.series import Recorded
from stationsim.records.csv_rows import CsvRows, quoted, read_rows
from stationsim.records.gaps import Gaps, mend
from stationsim.records.stamps import STAMPS_ACCEPTED, read_stamps

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

_TIME_WORDS = {"time", "t", "date", "datetime", "timestamp", "stamp", "elapsed", "clock"}
_FLOW_WORDS = {"flow", "inflow", "influent", "q", "discharge"}
_IN_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]\s*$")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d{1,3})?")

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
    when = _time_index(rows, time_column)
    what = _flow_index(rows, column, when)
    repairs = list(rows.notes)

    flow_unit = _flow_unit(rows, rows.header[what], unit)
    times, stamped = _times(rows, when, time_unit, start, repairs)
    flows = _flows(rows, what, flow_unit, repairs)
    if len(times) < 2:
        message = f"{rows.name}:{rows.lines[0]}: one row only (accepted: two rows or more)"
        raise RecordError(message)
    _refuse_unsorted(rows, when, times, hint=stamped)
    times, flows = mend(rows, times, flows, gaps, repairs)
    return RecordedSeries(times, flows, tuple(repairs), rows.name)


def _words(name: str) -> list[str]:
    """Return the words of a column's name."""
    return [word for word in re.split(r"[^0-9a-z]+", name.casefold()) if word]


def _unit_text(name: str, known: dict[str, str]) -> tuple[str, str]:
    """Return the unit that a column's name holds, and the text in brackets when it is unknown."""
    found = _IN_BRACKETS.search(name) or re.search(r",\s*(\S+)$", name)
    if found:
        text = found.group(1).strip()
        return known.get("".join(_words(text.replace("³", "3"))).replace("per", ""), ""), text
    words = [word for word in _words(name.replace("³", "3")) if word != "per"]
    for first in range(max(len(words) - 3, 0), len(words)):
        tail = "".join(words[first:])
        if tail in known:
            return known[tail], tail
    return "", ""


_DURATION_UNITS = {
    spelling: name
    for name, spellings in {
        "s": ("s", "sec", "secs", "second", "seconds"),
        "min": ("min", "mins", "minute", "minutes"),
        "h": ("h", "hr", "hrs", "hour", "hours"),
        "d": ("d", "day", "days"),
    }.items()
    for spelling in spellings
}
"""Units of elapsed time as names of columns spell them."""


def _time_index(rows: CsvRows, asked: str | None) -> int:
    """Return the column of times."""
    if asked is not None:
        return rows.find(asked)
    for index, name in enumerate(rows.header):
        words = _words(name)
        if _TIME_WORDS.intersection(words) or (len(words) == 1 and words[0] in _DURATION_UNITS):
            return index
    return 0


def _flow_index(rows: CsvRows, asked: str | None, when: int) -> int:
    """Return the column of flow."""
    if asked is not None:
        index = rows.find(asked)
        if index == when:
            message = (
                f"{rows.name}: {asked!r} is taken as the column of times, so it cannot be the flow"
                f" too (accepted: one of {rows.names()} for each)"
            )
            raise RecordError(message)
        return index
    others = [index for index in range(len(rows.header)) if index != when]
    likely = [
        index
        for index in others
        if _unit_text(rows.header[index], _COMPACT_UNITS)[0]
        or _FLOW_WORDS.intersection(_words(rows.header[index]))
    ]
    found = likely or others
    if len(found) == 1:
        return found[0]
    message = f"{rows.name}: which column is the inflow? Name it; accepted: " + ", ".join(
        repr(rows.header[index]) for index in found
    )
    raise RecordError(message)


def _flow_unit(rows: CsvRows, name: str, asked: str | None) -> str:
    """Return the unit of the flow: that of the column's name, or the one given."""
    known, text = _unit_text(name, _COMPACT_UNITS)
    if asked is not None:
        try:
            wanted = units.unit_name(asked, "flow")
        except QuantityError as error:
            message = f"{rows.name}: {error}"
            raise RecordError(message) from error
        if known and known != wanted:
            message = (
                f"{rows.name}: the column {name!r} says {known}, but the unit given is {wanted}"
                " (accepted: one unit; leave out the other, or rename the column)"
            )
            raise RecordError(message)
        return wanted
    if known:
        return known
    what = f"has an unknown unit, {text!r}" if text else "has no unit of flow"
    message = (
        f"{rows.name}: the column {name!r} {what}; accepted: {units.accepted('flow')},"
        " in the name of the column, such as 'inflow (L/s)' or 'inflow_m3d', or given beside it"
    )
    raise RecordError(message)


def _numbers(rows: CsvRows, index: int, accepted: str, repairs: list[str]) -> NDArray[np.float64]:
    """Return the numbers of a column, NaN for empty cells; decimal commas are read and told."""
    values = np.empty(len(rows.rows))
    commas = 0
    example = ""
    points = 0
    for at, row in enumerate(rows.rows):
        cell = row[index].strip()
        if _NUMBER.fullmatch(cell):
            values[at] = float(cell)
            points += "." in cell
        elif not cell:
            values[at] = math.nan
        elif rows.separator != "," and _COMMA_NUMBER.fullmatch(cell):
            values[at] = float(cell.replace(",", "."))
            example = example or cell
            commas += 1
        else:
            message = (
                f"{rows.name}:{rows.lines[at]}: {rows.header[index]!r} is {quoted(cell)}, not a"
                f" number; {accepted}"
            )
            raise RecordError(message)
        if not math.isfinite(values[at]) and cell:
            message = f"{rows.name}:{rows.lines[at]}: {quoted(cell)} is too large; {accepted}"
            raise RecordError(message)
    if commas and points:
        message = (
            f"{rows.name}: {rows.header[index]!r} has cells with a decimal comma ({example}) and"
            f" cells with a decimal point; {accepted}, with one sign throughout"
        )
        raise RecordError(message)
    if commas:
        repairs.append(
            f"decimal commas read as points in {commas} cells of {rows.header[index]!r}"
            f" ({example} as {example.replace(',', '.')})"
        )
    return values


def _flows(rows: CsvRows, index: int, unit: str, repairs: list[str]) -> NDArray[np.float64]:
    """Return the flows [m3/s], NaN where a cell is empty."""
    given = _numbers(rows, index, _FLOWS_ACCEPTED, repairs)
    flows = given * units.factor(unit, "flow")
    below = given < 0.0
    if bool(np.any(below)):
        at = int(np.argmax(below))
        message = (
            f"{rows.name}:{rows.lines[at]}: the flow is {given[at]:g} {unit}, below nought"
            f" ({int(np.sum(below))} such rows); {_FLOWS_ACCEPTED}"
        )
        raise RecordError(message)
    above = flows > GREATEST_FLOW_M3S
    if bool(np.any(above)):
        at = int(np.argmax(above))
        message = (
            f"{rows.name}:{rows.lines[at]}: a flow of {given[at]:g} {unit} is beyond any lift"
            f" station (accepted: up to {GREATEST_FLOW_M3S:g} m3/s); is the unit right?"
        )
        raise RecordError(message)
    return flows


def _times(
    rows: CsvRows, index: int, asked: str | None, start: datetime, repairs: list[str]
) -> tuple[NDArray[np.float64], bool]:
    """Return the times since the start [s], and whether they are stamps."""
    first = rows.rows[0][index].strip()
    if not (_NUMBER.fullmatch(first) or _COMMA_NUMBER.fullmatch(first)):
        return read_stamps(rows, index, start, repairs), True
    name = rows.header[index]
    known = _unit_text(name, _DURATION_UNITS)[0]
    if asked is not None:
        try:
            wanted = units.unit_name(asked, "duration")
        except QuantityError as error:
            message = f"{rows.name}: {error}"
            raise RecordError(message) from error
        if known and known != wanted:
            message = (
                f"{rows.name}: the column {name!r} says {known}, but the unit given is {wanted}"
                " (accepted: one unit; leave out the other, or rename the column)"
            )
            raise RecordError(message)
        known = wanted
    if not known:
        message = (
            f"{rows.name}:{rows.lines[0]}: {name!r} holds numbers but names no unit of time;"
            f" {STAMPS_ACCEPTED}"
        )
        raise RecordError(message)
    given = _numbers(rows, index, "accepted: a number in every row", repairs)
    if bool(np.any(np.isnan(given))):
        line = rows.lines[int(np.argmax(np.isnan(given)))]
        message = f"{rows.name}:{line}: no time in {name!r} (accepted: a number in every row)"
        raise RecordError(message)
    times = given * units.factor(known, "duration")
    beyond = np.abs(times) > units.LARGEST["duration"]
    if bool(np.any(beyond)):
        at = int(np.argmax(beyond))
        message = (
            f"{rows.name}:{rows.lines[at]}: a time of {given[at]:g} {known} is beyond any record"
            f" (accepted: up to {units.LARGEST['duration']:g} s); is the unit right?"
        )
        raise RecordError(message)
    return times, False


def _refuse_unsorted(rows: CsvRows, index: int, times: NDArray[np.float64], *, hint: bool) -> None:
    """Raise when the times do not rise from row to row."""
    wrong = np.diff(times) <= 0.0
    if not bool(np.any(wrong)):
        return
    at = int(np.argmax(wrong)) + 1
    cell = quoted(rows.rows[at][index].strip())
    same = times[at] == times[at - 1]
    message = (
        f"{rows.name}:{rows.lines[at]}: {rows.header[index]!r} is {cell}, "
        + ("the same as that" if same else "before that")
        + f" of line {rows.lines[at - 1]} ({int(np.sum(wrong))} such rows; accepted: each time"
        + " once, earliest first"
        + ("; local stamps repeat an hour when summer time ends)" if hint else ")")
    )
    raise RecordError(message)

"""Gaps of a recorded series: found, and refused or filled as told, each one counted.

A row is taken to be missing where two stamps are more than one and a half of the usual interval
apart, the usual one being the median; an empty cell is a gap as well. (This project's own rule, no
source.) The rows that are there are never changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NoReturn

import numpy as np

from stationsim import units
from stationsim.errors import RecordError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.records.csv_rows import CsvRows

Gaps = Literal["refuse", "straight", "hold"]
"""What to do about gaps: refuse the file; fill them straight from the flow before to the one after;
or hold the flow before."""

MISSING_ABOVE = 1.5
"""A row is missing where stamps are further apart than this many usual intervals [-]."""

MOST_ROWS = 5_000_000
"""Most rows that a filled series may have [-]."""


@dataclass(frozen=True, eq=False)
class Holes:
    """Where a series has gaps.

    Parameters
    ----------
    present
        Which rows have a value.
    missing
        How many rows are missing after each row but the last [-].
    usual_s
        The usual interval: the median [s].
    """

    present: NDArray[np.bool_]
    missing: NDArray[np.float64]
    usual_s: float

    @property
    def empty(self) -> int:
        """How many cells are empty [-]."""
        return int(np.sum(~self.present))

    @property
    def lost(self) -> float:
        """How many rows are missing, in all [-]."""
        return float(np.sum(self.missing))

    def refuse(self, rows: CsvRows, accepted: str) -> NoReturn:
        """Raise, with the line of the first gap.

        Parameters
        ----------
        rows
            The file.
        accepted
            What is accepted.
        """
        ends = len(self.present)
        at = int(np.argmax(~self.present)) if self.empty else ends
        jump = int(np.argmax(self.missing > 0.0)) + 1 if self.lost else ends
        where = rows.lines[min(at, jump)]
        raise RecordError(
            f"{rows.name}:{where}: a gap in the series ({count(self.empty, 'empty cell')} and"
            f" {count(int(self.lost), 'missing row')} in all, at a usual interval of"
            f" {span_text(self.usual_s)}); accepted: {accepted}"
        )


def find_holes(times: NDArray[np.float64], values: NDArray[np.float64]) -> Holes:
    """Return where a series has gaps.

    Parameters
    ----------
    times
        Time of each row, strictly rising [s]; two or more.
    values
        Value of each row [any], NaN where its cell is empty.
    """
    spans = np.diff(times)
    usual = float(np.median(spans))
    missing = np.where(spans > MISSING_ABOVE * usual, np.rint(spans / usual) - 1.0, 0.0)
    return Holes(~np.isnan(values), missing, usual)


def mend(
    rows: CsvRows,
    times: NDArray[np.float64],
    flows: NDArray[np.float64],
    gaps: Gaps,
    repairs: list[str],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the times [s] and values of a series without gaps.

    Parameters
    ----------
    rows
        The file, for the messages.
    times
        Time of each row, strictly rising [s].
    flows
        Value of each row, NaN where its cell is empty [m3/s].
    gaps
        What to do about gaps.
    repairs
        What was filled is added here, in words.

    Raises
    ------
    RecordError
        When gaps are refused and there are some, or they are too wide to fill.
    """
    holes = find_holes(times, flows)
    present, missing, empty, lost = holes.present, holes.missing, holes.empty, holes.lost
    if not empty and not lost:
        return times, flows
    if int(np.sum(present)) < 2:
        message = f"{rows.name}: fewer than two rows have a flow (accepted: two or more)"
        raise RecordError(message)
    if gaps == "refuse":
        holes.refuse(rows, 'a series without gaps, or gaps = "straight" or "hold" to fill them')
    if lost + len(times) > MOST_ROWS:
        message = (
            f"{rows.name}: filling the gaps would make {lost + len(times):.0f} rows at an interval"
            f" of {span_text(holes.usual_s)} (accepted: up to {MOST_ROWS})"
        )
        raise RecordError(message)

    keep_from = int(np.argmax(present))
    keep_to = len(times) if gaps == "hold" else len(times) - int(np.argmax(present[::-1]))
    cut = keep_from + len(times) - keep_to
    times, flows = times[keep_from:keep_to], flows[keep_from:keep_to]
    present = present[keep_from:keep_to]
    missing_rows = missing[keep_from : keep_to - 1].astype(np.int64)
    # Each row stays, and is followed by the rows that are missing after it, evenly spaced.
    copies = np.append(missing_rows + 1, 1)
    owner = np.repeat(np.arange(len(times)), copies)
    nth = np.arange(len(owner)) - np.repeat(np.cumsum(copies) - copies, copies)
    step = np.append(np.diff(times), 0.0) / copies
    filled_times = times[owner] + nth * step[owner]
    known_times, known_flows = times[present], flows[present]
    if gaps == "hold":
        which = np.searchsorted(known_times, filled_times, side="right") - 1
        filled_flows = known_flows[which]
    else:
        filled_flows = np.interp(filled_times, known_times, known_flows)

    way = "filled straight" if gaps == "straight" else "filled by holding the flow before"
    inner = empty - cut
    if inner:
        repairs.append(f"{count(inner, 'empty cell')} {way}")
    if int(np.sum(missing_rows)):
        repairs.append(
            f"{count(int(np.sum(missing_rows)), 'missing row')}"
            f" in {count(int(np.sum(missing_rows > 0)), 'gap')} {way}"
            f" (the longest {span_text(float(np.max(np.diff(times))))})"
        )
    if cut:
        repairs.append(f"{count(cut, 'row')} without a flow at the ends of the series left out")
    return filled_times, filled_flows


def span_text(span_s: float) -> str:
    """Return a length of time in words.

    Parameters
    ----------
    span_s
        The length [s].
    """
    return units.show(span_s, "duration", "si")


def count(number: int, thing: str) -> str:
    """Return how many of a thing, in words.

    Parameters
    ----------
    number
        How many.
    thing
        What, in the singular.
    """
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"

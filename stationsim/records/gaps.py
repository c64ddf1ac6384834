"""Gaps of a recorded series: found, and refused or filled as told, each one counted.

A row is taken to be missing where two stamps are more than one and a half of the usual interval
apart, the usual one being the median; an empty cell is a gap as well. (This project's own rule, no
source.) The rows that are there are never changed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

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
    present = ~np.isnan(flows)
    empty = int(np.sum(~present))
    spans = np.diff(times)
    usual = float(np.median(spans))
    wide = spans > MISSING_ABOVE * usual
    missing = np.where(wide, np.rint(spans / usual) - 1.0, 0.0)
    lost = float(np.sum(missing))
    if not empty and not lost:
        return times, flows
    if int(np.sum(present)) < 2:
        message = f"{rows.name}: fewer than two rows have a flow (accepted: two or more)"
        raise RecordError(message)
    if gaps == "refuse":
        at = int(np.argmax(~present)) if empty else len(times)
        jump = int(np.argmax(wide)) + 1 if lost else len(times)
        where = rows.lines[min(at, jump)]
        raise RecordError(
            f"{rows.name}:{where}: a gap in the series ({_count(empty, 'empty cell')} and"
            f" {_count(int(lost), 'missing row')} in all, at a usual interval of {_span(usual)});"
            ' accepted: a series without gaps, or gaps = "straight" or "hold" to fill them'
        )
    if lost + len(times) > MOST_ROWS:
        message = (
            f"{rows.name}: filling the gaps would make {lost + len(times):.0f} rows at an interval"
            f" of {_span(usual)} (accepted: up to {MOST_ROWS})"
        )
        raise RecordError(message)

    keep_from = int(np.argmax(present))
    keep_to = len(times) if gaps == "hold" else len(times) - int(np.argmax(present[::-1]))
    cut = keep_from + len(times) - keep_to
    times, flows, present = (part[keep_from:keep_to] for part in (times, flows, present))
    missing = missing[keep_from : keep_to - 1].astype(np.int64)
    # Each row stays, and is followed by the rows that are missing after it, evenly spaced.
    copies = np.append(missing + 1, 1)
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
        repairs.append(f"{_count(inner, 'empty cell')} {way}")
    if int(np.sum(missing)):
        repairs.append(
            f"{_count(int(np.sum(missing)), 'missing row')}"
            f" in {_count(int(np.sum(missing > 0)), 'gap')} {way}"
            f" (the longest {_span(float(np.max(np.diff(times))))})"
        )
    if cut:
        repairs.append(f"{_count(cut, 'row')} without a flow at the ends of the series left out")
    return filled_times, filled_flows


def _span(span_s: float) -> str:
    """Return a length of time in words."""
    return units.show(span_s, "duration", "si")


def _count(number: int, thing: str) -> str:
    """Return how many of a thing, in words."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"

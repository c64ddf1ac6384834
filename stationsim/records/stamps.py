"""Stamps as loggers and spreadsheets write them, read as times since the start of an episode.

Accepted are ISO 8601 with or without an offset, the same with slashes, and days with points, which
stand first by the custom of where they are written so. A month that might be a day (03/01/2027) is
refused. One offset throughout, or none: a change to summer time is not read.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from stationsim.errors import RecordError
from stationsim.records.csv_rows import CsvRows, quoted

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DAY_FIRST = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ T]+(.+))?")
_DAY_OR_MONTH = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4})(?:[ T]+.*)?")
_SLASHED = re.compile(r"(\d{4})/(\d{1,2})/(\d{1,2})(?:[ T]+(.+))?")

STAMPS_ACCEPTED = (
    "accepted: stamps such as 2027-03-01T00:15, 2027-03-01 00:15:00+12:00 or 01.03.2027 00:15 (day"
    " first), or elapsed numbers in a column that names its unit, such as elapsed_min"
)
"""What messages say of stamps and elapsed times."""


def read_stamps(
    rows: CsvRows, index: int, start: datetime, repairs: list[str]
) -> NDArray[np.float64]:
    """Return a column of stamps as times since the start of the episode [s].

    Parameters
    ----------
    rows
        The file.
    index
        The column.
    start
        Local time at which the episode begins.
    repairs
        What was read otherwise than it stands is added here, in words.

    Raises
    ------
    RecordError
        When a cell is no stamp, or the offsets differ.
    """
    stamps: list[datetime] = []
    day_first = 0
    for row, line in zip(rows.rows, rows.lines, strict=True):
        cell = row[index].strip()
        try:
            stamps.append(datetime.fromisoformat(cell))
        except ValueError:
            stamp, by_dots = _other_stamp(cell)
            if stamp is None:
                message = (
                    f"{rows.name}:{line}: {rows.header[index]!r} is {quoted(cell)}, not a stamp"
                    f"{_year_first(cell)}; {STAMPS_ACCEPTED}"
                )
                raise RecordError(message) from None
            day_first += by_dots
            stamps.append(stamp)
    if day_first:
        repairs.append(f"{day_first} stamps with points read with the day first")
    offset = stamps[0].utcoffset()
    for at, stamp in enumerate(stamps):
        if stamp.utcoffset() != offset:
            message = (
                f"{rows.name}:{rows.lines[at]}: the stamps change from {_offset_text(offset)} to"
                f" {_offset_text(stamp.utcoffset())} (accepted: one offset throughout, or none; a"
                " change to summer time is not read)"
            )
            raise RecordError(message)
    if offset is None:
        begin = start.replace(tzinfo=None)
    elif start.utcoffset() is None:
        message = (
            f"{rows.name}:{rows.lines[0]}: the stamps have {_offset_text(offset)}, but the start of"
            " the episode has none (accepted: both with an offset, or stamps without one)"
        )
        raise RecordError(message)
    else:
        begin = start
        if offset != start.utcoffset():
            repairs.append(
                f"stamps at {_offset_text(offset)} moved to"
                f" {_offset_text(start.utcoffset())} of the episode"
            )
    one = timedelta(microseconds=1)
    return np.array([(stamp - begin) // one for stamp in stamps], dtype=np.float64) / 1e6


def _year_first(cell: str) -> str:
    """Return how to write a date whose day and month could be taken for each other."""
    found = _DAY_OR_MONTH.fullmatch(cell)
    if not found:
        return ""
    first, second, year = (int(part) for part in found.groups())
    ways = [
        f"{year}-{month:02d}-{day:02d} if {which} is the month"
        for month, day, which in ((first, second, "the first"), (second, first, "the second"))
        if 1 <= month <= 12 and 1 <= day <= 31
    ]
    return f": write year, month, day: {' or '.join(ways)}" if ways else ""


def _other_stamp(cell: str) -> tuple[datetime | None, bool]:
    """Return a stamp in one of the other common forms, and whether its day stood first."""
    by_dots = _DAY_FIRST.fullmatch(cell)
    found = by_dots or _SLASHED.fullmatch(cell)
    if not found:
        return None, False
    parts = found.groups()
    year, month, day = (parts[2], parts[1], parts[0]) if by_dots else parts[:3]
    clock = parts[3] or "00:00"
    if re.match(r"\d:", clock):
        clock = "0" + clock
    try:
        return datetime.fromisoformat(f"{year}-{month:0>2}-{day:0>2}T{clock}"), bool(by_dots)
    except ValueError:
        return None, False


def _offset_text(offset: timedelta | None) -> str:
    """Return an offset from UTC in words."""
    if offset is None:
        return "no offset"
    minutes = round(offset.total_seconds() / 60.0)
    sign = "-" if minutes < 0 else "+"
    return f"offset {sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"

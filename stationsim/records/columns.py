"""The columns of a record: which one is meant, in which unit it is, and what its cells hold.

Names of columns carry their unit (``inflow_m3d``, ``rain (mm)``, ``elapsed_min``), or it is given
beside them. What is read otherwise than it stands is told; what is unclear is refused, with the
line and what is accepted.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import numpy as np

from stationsim import units
from stationsim.errors import QuantityError, RecordError
from stationsim.records.csv_rows import CsvRows, quoted
from stationsim.records.stamps import STAMPS_ACCEPTED, read_stamps

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from numpy.typing import NDArray

_TIME_WORDS = {"time", "t", "date", "datetime", "timestamp", "stamp", "elapsed", "clock"}
_IN_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]\s*$")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d{1,3})?")

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


def words(name: str) -> list[str]:
    """Return the words of a column's name, without capitals.

    Parameters
    ----------
    name
        The name.
    """
    return [word for word in re.split(r"[^0-9a-z]+", name.casefold()) if word]


def unit_text(name: str, known: Mapping[str, str]) -> tuple[str, str]:
    """Return the unit that a column's name holds, and the text in brackets when it is unknown.

    Parameters
    ----------
    name
        The name.
    known
        Units by the way in which names spell them, without sign, blank or capital.
    """
    found = _IN_BRACKETS.search(name) or re.search(r",\s*(\S+)$", name)
    if found:
        text = found.group(1).strip()
        return known.get("".join(words(text.replace("³", "3"))).replace("per", ""), ""), text
    parts = [word for word in words(name.replace("³", "3")) if word != "per"]
    for first in range(max(len(parts) - 3, 0), len(parts)):
        tail = "".join(parts[first:])
        if tail in known:
            return known[tail], tail
    return "", ""


def time_index(rows: CsvRows, asked: str | None) -> int:
    """Return the column of times: the one asked for, else by its name, else the first.

    Parameters
    ----------
    rows
        The file.
    asked
        Name of the column; None to find it.
    """
    if asked is not None:
        return rows.find(asked)
    for index, name in enumerate(rows.header):
        parts = words(name)
        if _TIME_WORDS.intersection(parts) or (len(parts) == 1 and parts[0] in _DURATION_UNITS):
            return index
    return 0


def value_index(
    rows: CsvRows,
    asked: str | None,
    when: int,
    known: Mapping[str, str],
    likely_words: set[str],
    what: str,
) -> int:
    """Return the column of values: the one asked for, else by its unit or its name.

    Parameters
    ----------
    rows
        The file.
    asked
        Name of the column; None to find it.
    when
        The column of times.
    known
        Units by the way in which names spell them.
    likely_words
        Words that such a column's name may have.
    what
        What the column holds, in a word or two.

    Raises
    ------
    RecordError
        When none or several could be meant.
    """
    if asked is not None:
        index = rows.find(asked)
        if index == when:
            message = (
                f"{rows.name}: {asked!r} is taken as the column of times, so it cannot be the"
                f" {what} too (accepted: one of {rows.names()} for each)"
            )
            raise RecordError(message)
        return index
    others = [index for index in range(len(rows.header)) if index != when]
    likely = [
        index
        for index in others
        if unit_text(rows.header[index], known)[0]
        or likely_words.intersection(words(rows.header[index]))
    ]
    found = likely or others
    if len(found) == 1:
        return found[0]
    message = f"{rows.name}: which column is the {what}? Name it; accepted: " + ", ".join(
        repr(rows.header[index]) for index in found
    )
    raise RecordError(message)


def one_unit(
    rows: CsvRows, name: str, known: str, asked: str | None, listed: Callable[[str], str]
) -> str:
    """Return the unit that a column's name says or that is given beside it; empty if neither.

    Parameters
    ----------
    rows
        The file.
    name
        Name of the column.
    known
        The unit that the name says; empty if none.
    asked
        The unit given; None if none.
    listed
        Returns the listed name of a unit text, or raises `QuantityError`.

    Raises
    ------
    RecordError
        When the unit given is no such unit, or the two differ.
    """
    if asked is None:
        return known
    try:
        wanted = listed(asked)
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


def numbers(rows: CsvRows, index: int, accepted: str, repairs: list[str]) -> NDArray[np.float64]:
    """Return the numbers of a column [any], NaN for empty cells; decimal commas are read and told.

    Parameters
    ----------
    rows
        The file.
    index
        The column.
    accepted
        What messages say is accepted.
    repairs
        What was read otherwise than it stands is added here, in words.

    Raises
    ------
    RecordError
        When a cell is no number, or a point and a comma are mixed.
    """
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


def refuse_values(
    rows: CsvRows,
    given: NDArray[np.float64],
    above: NDArray[np.bool_],
    unit: str,
    what: str,
    accepted: tuple[str, str],
) -> None:
    """Raise when a value is below nought, or so large that its unit must be wrong.

    Parameters
    ----------
    rows
        The file.
    given
        The numbers of the cells [any], NaN where one is empty.
    above
        Where a number is too large.
    unit
        Unit of the cells.
    what
        What a value is, in a word.
    accepted
        What messages say is accepted, and beyond what it is too large.

    Raises
    ------
    RecordError
        When there is such a value.
    """
    below = given < 0.0
    if bool(np.any(below)):
        at = int(np.argmax(below))
        message = (
            f"{rows.name}:{rows.lines[at]}: the {what} is {given[at]:g} {unit}, below nought"
            f" ({int(np.sum(below))} such rows); {accepted[0]}"
        )
        raise RecordError(message)
    if bool(np.any(above)):
        at = int(np.argmax(above))
        article = "an" if what[0] in "aeiou" else "a"
        message = (
            f"{rows.name}:{rows.lines[at]}: {article} {what} of {given[at]:g} {unit} is beyond"
            f" {accepted[1]}; is the unit right?"
        )
        raise RecordError(message)


def read_times(
    rows: CsvRows, index: int, asked: str | None, start: datetime, repairs: list[str]
) -> NDArray[np.float64]:
    """Return the times since the start of the episode [s], which rise from row to row.

    Parameters
    ----------
    rows
        The file.
    index
        The column.
    asked
        Unit of elapsed times; None when the name of the column says it.
    start
        Local time at which the episode begins.
    repairs
        What was read otherwise than it stands is added here, in words.

    Raises
    ------
    RecordError
        When a cell is no time, or the times do not rise, or there is one row only.
    """
    first = rows.rows[0][index].strip()
    elapsed = bool(_NUMBER.fullmatch(first) or _COMMA_NUMBER.fullmatch(first))
    if elapsed:
        times = _elapsed(rows, index, asked, repairs)
    else:
        times = read_stamps(rows, index, start, repairs)
    if len(times) < 2:
        message = f"{rows.name}:{rows.lines[0]}: one row only (accepted: two rows or more)"
        raise RecordError(message)
    _refuse_unsorted(rows, index, times, hint=not elapsed)
    return times


def _elapsed(
    rows: CsvRows, index: int, asked: str | None, repairs: list[str]
) -> NDArray[np.float64]:
    """Return a column of elapsed times [s]."""
    name = rows.header[index]
    unit = one_unit(
        rows,
        name,
        unit_text(name, _DURATION_UNITS)[0],
        asked,
        lambda text: units.unit_name(text, "duration"),
    )
    if not unit:
        message = (
            f"{rows.name}:{rows.lines[0]}: {name!r} holds numbers but names no unit of time;"
            f" {STAMPS_ACCEPTED}"
        )
        raise RecordError(message)
    given = numbers(rows, index, "accepted: a number in every row", repairs)
    if bool(np.any(np.isnan(given))):
        line = rows.lines[int(np.argmax(np.isnan(given)))]
        message = f"{rows.name}:{line}: no time in {name!r} (accepted: a number in every row)"
        raise RecordError(message)
    times = given * units.factor(unit, "duration")
    beyond = np.abs(times) > units.LARGEST["duration"]
    if bool(np.any(beyond)):
        at = int(np.argmax(beyond))
        message = (
            f"{rows.name}:{rows.lines[at]}: a time of {given[at]:g} {unit} is beyond any record"
            f" (accepted: up to {units.LARGEST['duration']:g} s); is the unit right?"
        )
        raise RecordError(message)
    return times


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

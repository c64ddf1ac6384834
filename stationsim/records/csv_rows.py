"""A CSV file as people's spreadsheets and loggers write it: a line of names, then rows of cells.

Accepted are UTF-8 with or without a byte-order mark, any line ends, and commas, semicolons or tabs
between the cells; what was found besides the plain form (UTF-8, LF, commas) is told. Lines that
begin with ``#``, in quotation marks or not, and empty lines are passed over. Nothing here knows
what the cells mean.
"""

from __future__ import annotations

import codecs
import csv
import difflib
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim.errors import RecordError

if TYPE_CHECKING:
    from pathlib import Path

SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas"}
"""What may stand between cells, in the order in which it is looked for in the line of names."""


@dataclass(frozen=True)
class CsvRows:
    """The cells of a file.

    Parameters
    ----------
    name
        The file, as messages call it.
    header
        Names of the columns, without blanks around them.
    rows
        The cells of each row, as many as there are names or more.
    lines
        Line of the file in which each row ends.
    separator
        What stood between the cells.
    notes
        What was found besides the plain form, in words.
    comments
        The comments above the names, without their signs.
    """

    name: str
    header: tuple[str, ...]
    rows: list[list[str]]
    lines: list[int]
    separator: str
    notes: tuple[str, ...]
    comments: tuple[str, ...] = ()

    def find(self, column: str) -> int:
        """Return the index of a column; capitals and blanks around its name don't count.

        Parameters
        ----------
        column
            Its name.

        Raises
        ------
        RecordError
            When there is no such column, or more than one.
        """
        wanted = column.strip().casefold()
        found = [index for index, name in enumerate(self.header) if name.casefold() == wanted]
        if len(found) == 1:
            return found[0]
        if found:
            message = (
                f"{self.name}: {len(found)} columns are named {column!r}; give each its own name"
            )
            raise RecordError(message)
        near = difflib.get_close_matches(wanted, [name.casefold() for name in self.header], n=1)
        hint = next((name for name in self.header if near and name.casefold() == near[0]), "")
        message = (
            f"{self.name}: no column is named {column!r}"
            + (f"; did you mean {hint!r}?" if hint else "")
            + f" (accepted: {self.names()})"
        )
        raise RecordError(message)

    def names(self) -> str:
        """Return the names of the columns as one text."""
        return ", ".join(repr(name) for name in self.header)

    def cells(self, index: int) -> list[str]:
        """Return the cells of a column.

        Parameters
        ----------
        index
            Its index.
        """
        return [row[index] for row in self.rows]


SERIES = "a column of times and one of flows"
"""What most files hold."""

MARK_PASSED = "a byte-order mark at the start of the file passed over"
CR_LF = "line ends of CR LF read as line ends"
"""What is found in nearly every file that a spreadsheet has saved."""


def read_rows(path: Path, holds: str = SERIES, least: str = "two rows or more") -> CsvRows:
    """Read the cells of a file.

    Parameters
    ----------
    path
        The file.
    holds
        What columns are accepted, for messages.
    least
        How many rows are accepted, for messages.

    Raises
    ------
    RecordError
        When it cannot be read, is no text, is empty, or a row has not as many cells as there are
        names.
    """
    name = str(path)
    text, notes = _read_text(path)
    rows: list[list[str]] = []
    lines: list[int] = []
    before, header, separator = _read_header(text, name, holds)
    stream = io.StringIO(text, newline=None)
    for _ in range(before):
        next(stream)
    wide = len(header)
    reader = csv.reader(stream, delimiter=separator, strict=True)
    try:
        for row in reader:
            if not row or row[0].startswith("#") or not any(map(str.strip, row)):
                continue
            line = before + reader.line_num
            rows.append(row if len(row) == wide else _fit(row, wide, line, separator, name))
            lines.append(line)
    except csv.Error as error:
        message = (
            f"{name}:{before + reader.line_num}: not a row of cells ({error});"
            " accepted: cells with the same separator throughout, quotation marks in pairs"
        )
        raise RecordError(message) from error
    if not rows:
        message = f"{name}: names of columns but no rows (accepted: {least})"
        raise RecordError(message)
    if separator != ",":
        notes.append(f"{SEPARATORS[separator]} read as what separates the cells")
    comments = _comments(text, before)
    return CsvRows(name, header, rows, lines, separator, tuple(notes), comments)


def _comments(text: str, before: int) -> tuple[str, ...]:
    """Return the comments above the line of names, whatever a spreadsheet has put around them."""
    lines = [line for line, _ in zip(io.StringIO(text, newline=None), range(before), strict=False)]
    found = (line.strip(' \t\r\n,;"').removeprefix("#").strip() for line in lines[:-1])
    return tuple(line for line in found if line)


def _read_text(path: Path) -> tuple[str, list[str]]:
    """Return the text of a file, and what was found besides the plain form."""
    notes: list[str] = []
    try:
        raw = path.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        message = f"{path}: cannot be read ({reason}); accepted: a CSV file"
        raise RecordError(message) from error
    if raw.startswith(codecs.BOM_UTF8):
        raw = raw[len(codecs.BOM_UTF8) :]
        notes.append(MARK_PASSED)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        message = (
            f"{path}:{line}: not text in UTF-8; accepted: CSV saved as UTF-8, with or without a"
            " byte-order mark"
        )
        raise RecordError(message) from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        message = f"{path}:{line}: holds bytes that are no text; accepted: CSV saved as UTF-8"
        raise RecordError(message)
    if not text.strip():
        message = f"{path}: is empty (accepted: a line of column names, then rows)"
        raise RecordError(message)
    if "\r\n" in text:
        notes.append(CR_LF)
    return text, notes


def _read_header(text: str, name: str, holds: str) -> tuple[int, tuple[str, ...], str]:
    """Return the line in which the names end, the names, and what separates the cells."""
    number = 0
    for number, line in enumerate(io.StringIO(text, newline=None), start=1):  # noqa: B007
        # a spreadsheet that saves a comment again fills its line up, or puts it in quotation marks
        if line.strip(" \t\r\n,;") and not line.lstrip(' \t"').startswith("#"):
            break
    else:
        message = f"{name}: holds comments only (accepted: a line of column names, then rows)"
        raise RecordError(message)
    for separator in SEPARATORS:
        header = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
        if len(header) > 1:
            break
    else:
        message = (
            f"{name}:{number}: one column only, {line.strip()!r}; accepted: {holds},"
            " with commas, semicolons or tabs between them"
        )
        raise RecordError(message)
    while header and not header[-1]:
        header.pop()
    if not any(any(letter.isalpha() for letter in cell) for cell in header):
        message = (
            f"{name}:{number}: the first line holds no names but {line.strip()!r};"
            " accepted: a line of column names, such as 'elapsed_min,inflow_m3d'"
        )
        raise RecordError(message)
    return number, tuple(header), separator


def _fit(row: list[str], wide: int, line: int, separator: str, name: str) -> list[str]:
    """Return a row with as many cells as there are names, or raise."""
    if len(row) > wide and not any(cell.strip() for cell in row[wide:]):
        return row[:wide]
    hint = ""
    if len(row) > wide and separator == ",":
        hint = "; with decimal commas, separate the cells by semicolons"
    message = (
        f"{name}:{line}: {len(row)} cell{'s' if len(row) > 1 else ''}, but {wide} column names"
        f" (accepted: one cell for each name){hint}"
    )
    raise RecordError(message)


def quoted(cell: str) -> str:
    """Return a cell as messages quote it.

    Parameters
    ----------
    cell
        What the cell holds.
    """
    return repr(cell if len(cell) <= 40 else cell[:37] + "...")

"""A sheet that comes back filled in: its cells as text, from CSV or from a workbook (XLSX).

Nothing here knows what the cells mean. What a spreadsheet does to a sheet is undone where that is
certain and told (comments in quotation marks, an apostrophe before a text, shares shown in per
cent); a place that holds no value that can be read (a formula whose value was not saved, an error,
a date) is marked, and whoever needs it says so with the line.
"""

from __future__ import annotations

import contextlib
import difflib
import io
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

from stationsim.errors import RecordError
from stationsim.forms import as_written
from stationsim.records.csv_rows import read_rows

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

ACCEPTED = "accepted: the CSV file or the workbook (XLSX) that was to be filled in"
_ZIP, _OLD_OFFICE = b"PK", b"\xd0\xcf\x11\xe0"
_LARGEST_FILE, _LARGEST_INSIDE = 20_000_000, 200_000_000
_LITERAL = re.compile(r'"[^"]*"|\\.')
_MOST_ROWS, _MOST_COLUMNS, _LAST_ROW = 20_000, 200, 100_000


@dataclass(frozen=True)
class FilledForm:
    """The cells of a sheet that was filled in.

    Parameters
    ----------
    name
        The file, and its sheet if it is a workbook, as messages call it.
    header
        Names of the columns, without blanks around them.
    rows
        The cells of each row as text, as many as there are names.
    lines
        Line of the file, or row of the sheet, of each row.
    notes
        What was found besides the plain form, in words.
    broken
        Why a place (row and column, from 0) holds no value that can be read.
    typed
        Places that hold a number and no text, so that nobody need ask what a comma means.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()
    broken: Mapping[tuple[int, int], str] = field(default_factory=dict)
    typed: frozenset[tuple[int, int]] = frozenset()

    def where(self, row: int) -> str:
        """Return a row as messages call it.

        Parameters
        ----------
        row
            Which row, from 0.
        """
        return f"{self.name}:{self.lines[row]}"

    def columns(
        self, needed: Sequence[str], known: Sequence[str]
    ) -> tuple[dict[str, int], list[str], list[str]]:
        """Return where the columns are, what is wrong with them, and what was noted, in words.

        Capitals and blanks don't count. A name that is nearly one that is missing is taken for a
        slip and refused, not passed over.

        Parameters
        ----------
        needed
            Names of the columns that there must be.
        known
            Names of all columns of the sheet in their order.
        """
        found: dict[str, int] = {}
        wrong: list[str] = []
        names = [_key(name) for name in self.header]
        for name in known:
            places = [at for at, one in enumerate(names) if one == _key(name)]
            if len(places) > 1:
                wrong.append(
                    f"{self.name}: {len(places)} columns are named {name!r}"
                    " (accepted: each name once)"
                )
            if places:
                found[name] = places[0]
        spare = [at for at, one in enumerate(names) if one and one not in map(_key, known)]
        for name in known:
            if name in found:
                continue
            near = difflib.get_close_matches(_key(name), [names[at] for at in spare], 1, 0.75)
            meant = next((self.header[at] for at in spare if near and names[at] == near[0]), "")
            if meant or name in needed:
                wrong.append(
                    f"{self.name}: no column is named {name!r}"
                    + (f"; did you mean it by {meant!r}?" if meant else "")
                    + f" (accepted: {', '.join(known)})"
                )
        return found, wrong, self._of_columns(found, spare, known)

    def _of_columns(
        self, found: Mapping[str, int], spare: Sequence[int], known: Sequence[str]
    ) -> list[str]:
        """Return what is told of columns that are there or not."""
        notes = []
        if spare:
            notes.append(
                "columns that are none of the sheet's passed over: "
                + ", ".join(repr(self.header[at]) for at in spare)
            )
        nameless = [
            line
            for row, line in zip(self.rows, self.lines, strict=True)
            if any(cell and not name for cell, name in zip(row, self.header, strict=True))
        ]
        if nameless:
            notes.append(
                f"cells in a column without a name passed over ({len(nameless)} rows, the first in"
                f" line {nameless[0]})"
            )
        gone = [name for name in known if name not in found]
        if gone:
            notes.append(f"columns that are not there any more: {', '.join(gone)}")
        order = [found[name] for name in known if name in found]
        if order != sorted(order):
            notes.append("columns in another order than on the sheet")
        return notes


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def read_filled(path: Path, sheet: str, needed: Sequence[str]) -> FilledForm:
    """Read the cells of a sheet that was filled in.

    Parameters
    ----------
    path
        A CSV file, or a workbook.
    sheet
        Name of the sheet when it is a workbook; capitals and blanks around it don't count.
    needed
        Names of columns by which the line of names is known in a workbook.

    Raises
    ------
    RecordError
        When it cannot be read, or the workbook has no such sheet.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(_LARGEST_FILE + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise RecordError(f"{path}: cannot be read ({reason}); {ACCEPTED}") from error
    if len(raw) > _LARGEST_FILE:
        raise RecordError(f"{path}: is larger than {_LARGEST_FILE // 1_000_000} MB; {ACCEPTED}")
    if raw.startswith(_OLD_OFFICE):
        message = f"{path}: is a workbook of an older kind, or one with a password; save it as XLSX"
        raise RecordError(f"{message} or CSV, without a password")
    if raw.startswith(_ZIP):
        return _of_workbook(path, raw, sheet, needed)
    return _of_csv(path, needed)


def _of_csv(path: Path, needed: Sequence[str]) -> FilledForm:
    holds = f"the columns of the sheet, among them {', '.join(needed)}"
    found = read_rows(path, holds, "one row or more")
    notes = list(found.notes)
    rows = [tuple(as_written(cell.strip()).strip() for cell in row) for row in found.rows]
    passed = 0
    for at in range(1, len(rows)):
        tall = sum(cell.count("\n") for cell in found.rows[at])
        passed += found.lines[at] - tall - found.lines[at - 1] - 1
    if passed > 0:
        notes.append(_passed(passed))
    header = tuple(as_written(name) for name in found.header)
    return FilledForm(found.name, header, tuple(rows), tuple(found.lines), tuple(notes))


def _passed(count: int) -> str:
    return (
        f"{count} blank {'row' if count == 1 else 'rows'} or comments between the rows passed over"
    )


@contextlib.contextmanager
def _told_as_ours(path: Path) -> Iterator[None]:
    """Turn what goes wrong in a damaged workbook into a message of ours."""
    from openpyxl.utils.exceptions import InvalidFileException  # type: ignore[import-untyped]

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # on what it leaves out, of which we need nothing
            yield
    except (
        InvalidFileException,
        zipfile.BadZipFile,
        zlib.error,
        ET.ParseError,
        KeyError,
        IndexError,
        ValueError,
        TypeError,
        AttributeError,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        message = f"{path}: cannot be read as a workbook ({type(error).__name__}); {ACCEPTED}"
        raise RecordError(message) from error


def _of_workbook(path: Path, raw: bytes, sheet: str, needed: Sequence[str]) -> FilledForm:
    try:
        from openpyxl import load_workbook  # type: ignore[import-untyped]
    except ImportError as error:
        message = (
            f"{path}: to read XLSX the package openpyxl is needed, which is not installed; install"
            " it with: python -m pip install 'stationsim[xlsx]', or save the sheet as CSV"
        )
        raise RecordError(message) from error
    with _told_as_ours(path):
        with zipfile.ZipFile(io.BytesIO(raw)) as inside:
            size = sum(entry.file_size for entry in inside.infolist())
        if size > _LARGEST_INSIDE:
            raise RecordError(f"{path}: is too large for a sheet that was filled in; {ACCEPTED}")
        values, formulas = (
            load_workbook(io.BytesIO(raw), read_only=True, data_only=only, keep_links=False)
            for only in (True, False)
        )
        names = list(values.sheetnames)
    chosen, notes = _chosen(path, names, sheet)
    with _told_as_ours(path):
        one, other = values[chosen], formulas[chosen]
        for each in (one, other):
            each.reset_dimensions()
        grid = list(_grid(one, other, path))
    return _of_grid(f"{path} (sheet {chosen!r})", grid, needed, notes)


def _chosen(path: Path, names: Sequence[str], wanted: str) -> tuple[str, list[str]]:
    """Return the sheet that is meant, and what is told of it."""
    same = [name for name in names if _key(name) == _key(wanted)]
    if same:
        return same[0], []
    if len(names) == 1:
        return names[0], [f"the only sheet, {names[0]!r}, read as {wanted!r}"]
    near = difflib.get_close_matches(_key(wanted), [_key(name) for name in names], 1)
    hint = next((name for name in names if near and _key(name) == near[0]), "")
    message = (
        f"{path}: no sheet is called {wanted!r}"
        + (f"; did you mean {hint!r}?" if hint else "")
        + f" (there are {', '.join(map(repr, names))}; accepted: {wanted!r})"
    )
    raise RecordError(message)


@dataclass(frozen=True)
class _Cell:
    """What a cell of a workbook holds: its text, whether it is a number, and what is wrong."""

    text: str = ""
    typed: bool = False
    broken: str = ""
    formula: bool = False


def _grid(values: Any, formulas: Any, path: Path) -> Iterator[tuple[int, list[_Cell]]]:
    """Yield the rows that hold anything, with their number in the sheet."""
    pairs = zip(values.iter_rows(), formulas.iter_rows(), strict=False)
    count = 0
    for number, (row, with_formulas) in enumerate(pairs, 1):
        if number > _LAST_ROW or count > _MOST_ROWS:
            raise RecordError(f"{path}: more than {_MOST_ROWS} rows; {ACCEPTED}")
        cells = [
            _cell(value, formula)
            for value, formula in zip(
                row[:_MOST_COLUMNS], with_formulas[:_MOST_COLUMNS], strict=False
            )
        ]
        if any(cell.text or cell.broken for cell in cells):
            count += 1
            yield number, cells


def _cell(cell: Any, with_formula: Any) -> _Cell:
    formula = with_formula.data_type == "f"
    value = cell.value
    text, typed, broken = "", False, ""
    if value is None:
        if formula:
            broken = "holds a formula whose value was not saved: write the value itself"
    elif isinstance(value, bool):
        text = "TRUE" if value else "FALSE"
    elif isinstance(value, int | float) and math.isfinite(value):
        shares = "%" in _LITERAL.sub("", str(cell.number_format or ""))
        text, typed = f"{100.0 * value:.15g} %" if shares else repr(value), True
    else:
        text = str(value).strip()
        if cell.data_type == "e":
            broken = f"holds the error {text}: write the value itself"
        elif not isinstance(value, str):
            broken = f"holds a date or a time ({text}): write a number, with its unit beside it"
    return _Cell(text, typed, broken, formula)


def _of_grid(
    name: str, grid: Sequence[tuple[int, list[_Cell]]], needed: Sequence[str], notes: list[str]
) -> FilledForm:
    """Return the form that stands in a sheet, below its line of names."""
    if not grid:
        raise RecordError(f"{name}: is empty (accepted: a line of column names, then rows)")
    wanted = {_key(one) for one in needed}

    def fit(at: int) -> int:
        return len(wanted.intersection(_key(cell.text) for cell in grid[at][1]))

    head = max(range(min(len(grid), 50)), key=lambda at: (fit(at), -at))
    header = [cell.text for cell in grid[head][1]]
    while header and not header[-1]:
        header.pop()
    wide = max([len(header), *(len(cells) for _, cells in grid[head + 1 :])])
    while wide > len(header) and not any(
        cells[wide - 1].text for _, cells in grid[head + 1 :] if len(cells) >= wide
    ):
        wide -= 1
    header += [""] * (wide - len(header))
    if head:
        notes.append(f"{head} {'row' if head == 1 else 'rows'} above the names passed over")
    rows: list[tuple[str, ...]] = []
    lines: list[int] = []
    broken: dict[tuple[int, int], str] = {}
    typed: set[tuple[int, int]] = set()
    saved = 0
    for number, cells in grid[head + 1 :]:
        padded = [*cells, *[_Cell()] * (wide - len(cells))][:wide]
        at = len(rows)
        rows.append(tuple(cell.text for cell in padded))
        lines.append(number)
        broken |= {(at, n): cell.broken for n, cell in enumerate(padded) if cell.broken}
        typed |= {(at, n) for n, cell in enumerate(padded) if cell.typed}
        saved += sum(cell.formula and not cell.broken for cell in padded)
    if not rows:
        raise RecordError(f"{name}: names of columns but no rows (accepted: one row or more)")
    if saved:
        notes.append(f"{saved} cells hold formulas; the values saved with them are read")
    passed = lines[-1] - grid[head][0] - len(lines)
    if passed > 0:
        notes.append(_passed(passed))
    return FilledForm(
        name, tuple(header), tuple(rows), tuple(lines), tuple(notes), broken, frozenset(typed)
    )

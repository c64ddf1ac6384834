"""A sheet that comes back filled in: its cells as text, from CSV or from a workbook (XLSX).

Nothing here knows what the cells mean. What a spreadsheet does to a sheet is undone where that is
certain and told (comments in quotation marks, an apostrophe before a text, shares shown in per
cent); a place that holds no value that can be read (a formula whose value was not saved, an error,
a date) is marked, and whoever needs it says so with the line.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from stationsim.errors import RecordError
from stationsim.forms import READ_FIRST, as_written
from stationsim.records.csv_rows import CR_LF, MARK_PASSED, read_rows
from stationsim.records.workbook_cells import ACCEPTED, Book, Cell

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_ZIP, _OLD_OFFICE = b"PK", b"\xd0\xcf\x11\xe0"
_LARGEST_FILE = 20_000_000
_HEAD_ROWS = 50
"""The names of the columns stand in one of so many rows."""


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
    above
        What stands above the names: comments, or rows; in a workbook also what is to be read first.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()
    broken: Mapping[tuple[int, int], str] = field(default_factory=dict)
    typed: frozenset[tuple[int, int]] = frozenset()
    above: tuple[str, ...] = ()

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
        Names of columns by which the line of names is known in a workbook, and the sheet when none
        is called so.

    Raises
    ------
    RecordError
        When it cannot be read, or the workbook has no such sheet.
    """
    raw = _bytes_of(path)
    if raw.startswith(_ZIP):
        return _of_workbook(path, raw, sheet, needed)
    return _of_csv(path, needed)


def has_filled(path: Path, sheet: str, column: str) -> bool:
    """Return whether a file is a workbook with a sheet of a name that holds something in a column.

    Parameters
    ----------
    path
        The file.
    sheet
        Name of the sheet; capitals and blanks around it don't count.
    column
        Name of the column.

    Raises
    ------
    RecordError
        When it cannot be read.
    """
    raw = _bytes_of(path)
    if not raw.startswith(_ZIP):
        return False
    with Book(path, raw) as book:
        same = [name for name in book.names if _key(name) == _key(sheet)]
        grid = book.grid(same[0]) if same else []
    if not grid:
        return False
    head = _head(grid, (column,))
    at = next((n for n, cell in enumerate(grid[head][1]) if _key(cell.text) == _key(column)), None)
    return at is not None and any(
        at < len(cells) and bool(cells[at].text or cells[at].broken)
        for _, cells in grid[head + 1 :]
    )


def _bytes_of(path: Path) -> bytes:
    """Return what a file holds, if it may be a sheet that was filled in."""
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
    return raw


def _of_csv(path: Path, needed: Sequence[str]) -> FilledForm:
    holds = f"the columns of the sheet, among them {', '.join(needed)}"
    found = read_rows(path, holds, "one row or more")
    # nearly every spreadsheet writes these two, and nobody need look after them
    notes = [note for note in found.notes if note not in (MARK_PASSED, CR_LF)]
    rows = [tuple(as_written(cell.strip()).strip() for cell in row) for row in found.rows]
    passed = 0
    for at in range(1, len(rows)):
        tall = sum(cell.count("\n") for cell in found.rows[at])
        passed += found.lines[at] - tall - found.lines[at - 1] - 1
    if passed > 0:
        notes.append(_passed(passed))
    header = tuple(as_written(name) for name in found.header)
    return FilledForm(
        found.name, header, tuple(rows), tuple(found.lines), tuple(notes), above=found.comments
    )


def _passed(count: int) -> str:
    return (
        f"{count} blank {'row' if count == 1 else 'rows'} or comments between the rows passed over"
    )


def _of_workbook(path: Path, raw: bytes, sheet: str, needed: Sequence[str]) -> FilledForm:
    with Book(path, raw) as book:
        chosen, notes = _chosen(book, sheet, needed)
        first = [book.grid(name) for name in book.names if name == READ_FIRST and name != chosen]
        above = [cell.text for grid in first for _, cells in grid for cell in cells[:1]]
        form = _of_grid(f"{path} (sheet {chosen!r})", book.grid(chosen), needed, notes)
    return replace(form, above=(*above, *form.above))


def _chosen(book: Book, wanted: str, needed: Sequence[str]) -> tuple[str, list[str]]:
    """Return the sheet that is meant, and what is told of it."""
    same = [name for name in book.names if _key(name) == _key(wanted)]
    if same:
        return same[0], []
    if len(book.names) == 1:
        return book.names[0], [f"the only sheet, {book.names[0]!r}, read as {wanted!r}"]
    fitting = [name for name in book.names if _has_columns(book.grid(name), needed)]
    if len(fitting) == 1:
        columns = ", ".join(map(repr, needed))
        note = f"no sheet is called {wanted!r}; {fitting[0]!r} read, the only one with the columns"
        return fitting[0], [f"{note} {columns}"]
    message = (
        f"{book.path}: no sheet is called {wanted!r} (there are"
        f" {', '.join(map(repr, book.names))}; accepted: {wanted!r}, or one sheet with the columns"
        f" {', '.join(map(repr, needed))})"
    )
    raise RecordError(message)


def _head(grid: Sequence[tuple[int, list[Cell]]], needed: Sequence[str]) -> int:
    """Return which row of a sheet holds the names of its columns, from 0."""
    wanted = {_key(one) for one in needed}

    def fit(at: int) -> int:
        return len(wanted.intersection(_key(cell.text) for cell in grid[at][1]))

    return max(range(min(len(grid), _HEAD_ROWS)), key=lambda at: (fit(at), -at))


def _has_columns(grid: Sequence[tuple[int, list[Cell]]], needed: Sequence[str]) -> bool:
    if not grid:
        return False
    names = {_key(cell.text) for cell in grid[_head(grid, needed)][1]}
    return all(_key(one) in names for one in needed)


def _of_grid(
    name: str, grid: Sequence[tuple[int, list[Cell]]], needed: Sequence[str], notes: list[str]
) -> FilledForm:
    """Return the form that stands in a sheet, below its line of names."""
    if not grid:
        raise RecordError(f"{name}: is empty (accepted: a line of column names, then rows)")
    head = _head(grid, needed)
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
        padded = [*cells, *[Cell()] * (wide - len(cells))][:wide]
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
    above = tuple(cell.text for _, cells in grid[:head] for cell in cells if cell.text)
    return FilledForm(
        name,
        tuple(header),
        tuple(rows),
        tuple(lines),
        tuple(notes),
        broken,
        frozenset(typed),
        above,
    )

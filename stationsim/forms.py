"""Forms: sheets that people fill in by hand, as CSV, as a workbook, and on a page.

A form is rows of texts and numbers with blanks between them, and notes that say how to fill it in.
One in parts has a row for each place of several short tables, so that it is one list in a file, and
on paper the tables stand together on one page.
What a form holds may come from a scenario, so no text of it may become a formula in a spreadsheet:
a workbook keeps it as text, and CSV puts an apostrophe before it, which whoever reads the sheet
back takes off again (:func:`as_written`).
"""

from __future__ import annotations

import csv
import io
import math
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator

Value: TypeAlias = str | float | None
"""What stands in a place of a form: text, a number, or nothing yet."""

WORKBOOK = "to_fill_in.xlsx"
"""Name of the workbook that holds the forms of a study."""
READ_FIRST = "read first"
"""Name of its first sheet, with the notes."""
DEFAULT_ROOM = 12
"""Characters of room in a blank when a form says nothing else."""
PART_COLUMNS = ("part", "line", "what", "entry")
"""Columns of a form in parts: which short table, which line and which column of it, and what stands
there. A column without a name is the only one of its table, and needs no head."""
Laid: TypeAlias = Literal["beside", "short", "half", "across"]
"""How a part lies on paper: a tall one beside the short ones, which share what is left in two
columns; below them those of half a page each; then those that go across it."""

_ACTIVE = re.compile(r"'*[=+\-@#\t\r]")
"""How a text begins that a spreadsheet takes for a formula, or a reader of CSV for a comment; an
apostrophe before it is one that was there, and gets another."""
_SAVED = datetime(2000, 1, 1)
_ZIPPED = (2000, 1, 1, 0, 0, 0)
_NO_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_LONGEST_SHEET_NAME = 31
_LONGEST_CHOICES = 255
_LONGEST_FOOTER = 200
_WIDEST = 44
_LINE_PT, _BLANK_PT = 15.0, 24.0


@dataclass(frozen=True)
class Form:
    """A sheet to be filled in by hand.

    Parameters
    ----------
    name
        What it is called: the stem of its CSV file and the name of its sheet.
    title
        What it is, for people.
    columns
        Names of its columns.
    rows
        What stands in each place; None for nothing yet.
    blank
        Names of the columns that are to be filled in; what stands there already may be changed.
    notes
        How to fill it in: a line each, above the sheet.
    choices
        For a column, the words that are accepted in each row; none for any.
    room
        For a column that is to be filled in, for how many characters there must be room.
    cautions
        What can hurt in the work that it is for: a line each, behind the notes; in a workbook they
        stand once, however many of its sheets say so.
    footer
        A line that stands below it on paper.
    signed
        What a line for date and name at the top of a sheet in parts is for; empty for no such line.
    parts
        Of a sheet of several short tables, which stand together on one page, how each is laid, by
        its name; its columns are ``PART_COLUMNS``, and each row is one place. Empty for others.

    Raises
    ------
    ValueError
        When names or rows don't fit together; whoever made the form is to mend it.
    """

    name: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    blank: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    choices: Mapping[str, Sequence[Sequence[str]]] = field(default_factory=dict)
    room: Mapping[str, int] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    footer: str = ""
    signed: str = "checked on site"
    parts: Mapping[str, Laid] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check that names and rows fit together."""
        self._check_parts()
        if not re.fullmatch(r"[a-z][a-z0-9_]*", self.name) or len(self.name) > _LONGEST_SHEET_NAME:
            raise ValueError(f"{self.name!r} is no name for a file and a sheet")
        if len({name.casefold() for name in self.columns}) != len(self.columns):
            raise ValueError(f"{self.name}: a column twice: {', '.join(self.columns)}")
        for names in (self.blank, self.choices, self.room):
            unknown = [name for name in names if name not in self.columns]
            if unknown:
                raise ValueError(f"{self.name}: no column is called {unknown[0]!r}")
        for number, row in enumerate(self.rows, 1):
            if len(row) != len(self.columns):
                raise ValueError(f"{self.name}: row {number} has {len(row)} places")
            if any(isinstance(value, float) and not math.isfinite(value) for value in row):
                raise ValueError(f"{self.name}: row {number} holds a number that is not finite")
        for name, each in self.choices.items():
            if len(each) != len(self.rows):
                raise ValueError(f"{self.name}: choices of {name!r} for {len(each)} rows")

    def _check_parts(self) -> None:
        """Check that a form in parts says where each entry stands, and each place once."""
        if not self.parts:
            return
        if self.columns != PART_COLUMNS:
            raise ValueError(f"{self.name}: in parts the columns are {', '.join(PART_COLUMNS)}")
        seen: set[tuple[Value, ...]] = set()
        for row in self.rows:
            if row[0] not in self.parts:
                raise ValueError(f"{self.name}: how is part {row[0]!r} laid?")
            place = row[:3]
            if place in seen:
                raise ValueError(f"{self.name}: a place twice: {', '.join(map(plain, place))}")
            seen.add(place)

    def offered(self, row: int, column: str) -> tuple[str, ...]:
        """Return the words that are accepted in a place; none for any.

        Parameters
        ----------
        row
            Which row, from 0.
        column
            Name of the column.
        """
        return tuple(self.choices[column][row]) if column in self.choices else ()


def plain(value: Value) -> str:
    """Return what stands in a place as text; numbers with up to twelve digits.

    Parameters
    ----------
    value
        What stands there.
    """
    if value is None:
        return ""
    return value if isinstance(value, str) else f"{value + 0.0:.12g}"


def as_written(text: str) -> str:
    """Return a text of a form as it was before it was kept from being a formula.

    Parameters
    ----------
    text
        A cell of a CSV file.
    """
    return text[1:] if text.startswith("'") and _ACTIVE.match(text) else text


def csv_text(form: Form) -> str:
    """Return a form as CSV: title, notes and cautions as comments, names of columns, rows.

    Parameters
    ----------
    form
        The form.
    """
    stream = io.StringIO()
    for note in (form.title, *form.notes, *form.cautions):
        stream.write(f"# {_one_line(note)}\n")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([_no_formula(name) for name in form.columns])
    for row in form.rows:
        writer.writerow(
            [_no_formula(value) if isinstance(value, str) else plain(value) for value in row]
        )
    return stream.getvalue()


def _one_line(text: str) -> str:
    return " ".join(_NO_TEXT.sub(" ", text).split())


def _no_formula(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula, and no reader for a comment."""
    shown = _NO_TEXT.sub(" ", text)
    return f"'{shown}" if _ACTIVE.match(shown) else shown


def workbook(forms: Sequence[Form]) -> bytes:
    """Return forms as one XLSX workbook, a sheet each; notes and cautions on a first one.

    The same forms give the same bytes.

    Parameters
    ----------
    forms
        The forms, each with a name of its own.
    """
    from openpyxl import Workbook  # type: ignore[import-untyped]

    book = Workbook()
    book.properties.creator = "stationsim"
    book.properties.created = _SAVED
    _notes_sheet(book.active, forms)
    for form in forms:
        _form_sheet(book.create_sheet(form.name), form)
    saved = io.BytesIO()
    book.save(saved)
    return _timeless(saved.getvalue())


def _timeless(saved: bytes) -> bytes:
    """Return a workbook without the moment at which it was saved."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(saved)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            content = old.read(entry)
            if entry.filename == "docProps/core.xml":
                moment = _SAVED.strftime("%Y-%m-%dT%H:%M:%SZ").encode("ascii")
                content = re.sub(
                    rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", rb"\g<1>" + moment, content
                )
            part = zipfile.ZipInfo(entry.filename, _ZIPPED)
            part.compress_type = zipfile.ZIP_DEFLATED
            part.create_system = 3
            part.external_attr = 0o600 << 16
            new.writestr(part, content)
    return out.getvalue()


def _put(cell: Any, value: Value) -> None:
    """Write a value into a cell; text stays text."""
    if isinstance(value, str):
        cell.value = _NO_TEXT.sub(" ", value)
        cell.data_type = "s"
        if _ACTIVE.match(value):
            cell.quotePrefix = True  # so that it stays text when somebody edits it
    else:
        cell.value = value


def _notes_sheet(sheet: Any, forms: Sequence[Form]) -> None:
    from openpyxl.styles import Alignment, Font  # type: ignore[import-untyped]

    sheet.title = READ_FIRST
    sheet.column_dimensions["A"].width = 100
    blocks = [(f"{form.title} (sheet '{form.name}')", form.notes) for form in forms]
    cautions = tuple(dict.fromkeys(line for form in forms for line in form.cautions))
    if cautions:
        blocks.insert(0, ("Mind this", cautions))
    at = 0
    for head, lines in blocks:
        for number, line in enumerate((head, *lines, "")):
            at += 1
            if not line:
                continue
            cell = sheet.cell(at, 1)
            _put(cell, line)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            if number == 0:
                cell.font = Font(bold=True)
            sheet.row_dimensions[at].height = _LINE_PT * max(1, math.ceil(len(line) / 95))
    footer = next((form.footer for form in forms if form.footer), "")
    _paper(sheet, "read first", footer, landscape=False)


def _form_sheet(sheet: Any, form: Form) -> None:
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
    from openpyxl.utils import get_column_letter  # type: ignore[import-untyped]

    thin, strong = Side(style="hair", color="808080"), Side(style="thin", color="000000")
    head_fill = PatternFill("solid", fgColor="E4E4E4")
    blank_fill = PatternFill("solid", fgColor="FFF7DF")
    widths = [_width(form, at) for at in range(len(form.columns))]
    for at, name in enumerate(form.columns):
        cell = sheet.cell(1, at + 1)
        _put(cell, name)
        cell.font = Font(bold=True)
        cell.fill = head_fill
        cell.border = Border(bottom=strong)
        cell.alignment = Alignment(wrap_text=True, vertical="bottom")
        sheet.column_dimensions[get_column_letter(at + 1)].width = widths[at]
    for number, row in enumerate(form.rows, 2):
        tall = _BLANK_PT if form.blank else _LINE_PT
        for at, value in enumerate(row):
            cell = sheet.cell(number, at + 1)
            _put(cell, value)
            to_fill = form.columns[at] in form.blank
            cell.alignment = Alignment(wrap_text=True, vertical="center")
            cell.border = Border(*[strong] * 4) if to_fill else Border(bottom=thin)
            if to_fill:
                cell.fill = blank_fill
            lines = sum(
                max(1, math.ceil(len(line) / max(widths[at] - 2, 1)))
                for line in plain(value).splitlines() or [""]
            )
            tall = max(tall, _LINE_PT * lines)
        sheet.row_dimensions[number].height = tall
    sheet.freeze_panes = "A2"
    sheet.print_title_rows = "1:1"
    for listed, places in _choices(form):
        _offer(sheet, listed, places)
    _paper(sheet, form.title, form.footer, landscape=True)


def _width(form: Form, at: int) -> float:
    """Return how wide a column is, in characters."""
    name = form.columns[at]
    longest = max((len(plain(row[at])) for row in form.rows), default=0)
    least = form.room.get(name, DEFAULT_ROOM) if name in form.blank else 0
    return float(min(max(longest, len(name), least, 3) + 2, _WIDEST))


def _choices(form: Form) -> Iterator[tuple[tuple[str, ...], list[str]]]:
    """Yield each list of words, and the places that it is for, as ranges of rows in a column."""
    from openpyxl.utils import get_column_letter

    for name in form.choices:
        letter = get_column_letter(form.columns.index(name) + 1)
        found: dict[tuple[str, ...], list[list[int]]] = {}
        for number in range(len(form.rows)):
            words = form.offered(number, name)
            if not words:
                continue
            ranges = found.setdefault(words, [])
            if ranges and ranges[-1][1] == number - 1:
                ranges[-1][1] = number
            else:
                ranges.append([number, number])
        for words, ranges in found.items():
            yield words, [f"{letter}{first + 2}:{letter}{last + 2}" for first, last in ranges]


def _offer(sheet: Any, words: tuple[str, ...], places: list[str]) -> None:
    """Offer words in some places, and ask back when something else is written there."""
    from openpyxl.worksheet.datavalidation import DataValidation  # type: ignore[import-untyped]

    listed = ",".join(words)
    if len(listed) > _LONGEST_CHOICES or any("," in word or '"' in word for word in words):
        return
    offer = DataValidation(type="list", formula1=f'"{listed}"', allow_blank=True)
    offer.errorStyle = "warning"  # other spellings are read as well
    offer.showErrorMessage = True
    offer.errorTitle = "Not on the list"
    offer.error = f"Offered here: {', '.join(words)}."[:225]
    for place in places:
        offer.add(place)
    sheet.add_data_validation(offer)


def _paper(sheet: Any, title: str, footer: str, *, landscape: bool) -> None:
    """Set a sheet up for printing: as wide as the paper, a title, a line below, page numbers."""
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_margins.left = sheet.page_margins.right = 0.5
    sheet.page_margins.top = sheet.page_margins.bottom = 0.7
    sheet.oddHeader.left.text = _one_line(title).replace("&", "&&")[:120]
    if footer:
        sheet.oddFooter.left.text = _one_line(footer).replace("&", "&&")[:_LONGEST_FOOTER]
        sheet.oddFooter.left.size = 8
    sheet.oddFooter.right.text = "page &P of &N"

"""The cells of a workbook (XLSX): its values, and whether a formula stands behind them."""

from __future__ import annotations

import contextlib
import io
import math
import re
import warnings
import zipfile
import zlib
from dataclasses import dataclass
from datetime import time
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

from stationsim.errors import RecordError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import Self

ACCEPTED = "accepted: the CSV file or the workbook (XLSX) that was to be filled in"
"""What messages say of the file."""

_LARGEST_INSIDE = 200_000_000
_LITERAL = re.compile(r'"[^"]*"|\\.')
_MOST_ROWS, _MOST_COLUMNS, _LAST_ROW = 20_000, 200, 100_000


@dataclass(frozen=True)
class Cell:
    """What a cell of a workbook holds.

    Parameters
    ----------
    text
        Its value as text.
    typed
        Whether it holds a number, and no text.
    broken
        Why it holds no value that can be read; empty when it does.
    formula
        Whether a formula stands behind it.
    """

    text: str = ""
    typed: bool = False
    broken: str = ""
    formula: bool = False


class Book:
    """A workbook, open: its values, and beside them its formulas.

    Parameters
    ----------
    path
        The file, as messages call it.
    raw
        What it holds.

    Raises
    ------
    RecordError
        When it cannot be read, or the package for it is not installed.
    """

    def __init__(self, path: Path, raw: bytes) -> None:
        try:
            from openpyxl import load_workbook  # type: ignore[import-untyped]
        except ImportError as error:
            message = (
                f"{path}: to read XLSX the package openpyxl is needed, which is not installed;"
                " install it with: python -m pip install 'stationsim[xlsx]', or save the sheet as"
                " CSV"
            )
            raise RecordError(message) from error
        self.path = path
        with _told_as_ours(path):
            with zipfile.ZipFile(io.BytesIO(raw)) as inside:
                size = sum(entry.file_size for entry in inside.infolist())
            if size > _LARGEST_INSIDE:
                message = f"{path}: is too large for a sheet that was filled in; {ACCEPTED}"
                raise RecordError(message)
            self._values, self._formulas = (
                load_workbook(io.BytesIO(raw), read_only=True, data_only=only, keep_links=False)
                for only in (True, False)
            )
            self.names: tuple[str, ...] = tuple(self._values.sheetnames)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self._values.close()
        self._formulas.close()

    def grid(self, sheet: str) -> list[tuple[int, list[Cell]]]:
        """Return the rows of a sheet that hold anything, with their number in it.

        Parameters
        ----------
        sheet
            Its name.
        """
        with _told_as_ours(self.path):
            one, other = self._values[sheet], self._formulas[sheet]
            for each in (one, other):
                each.reset_dimensions()
            return list(_grid(one, other, self.path))


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


def _grid(values: Any, formulas: Any, path: Path) -> Iterator[tuple[int, list[Cell]]]:
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


def _cell(cell: Any, with_formula: Any) -> Cell:
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
            text = _as_shown(value, str(cell.number_format or "")) or text
            broken = f"holds a date or a time ({text}): write a number, with its unit beside it"
    return Cell(text, typed, broken, formula)


def _as_shown(value: Any, number_format: str) -> str:
    """Return a time of full minutes as it is shown where seconds are not; empty for any other."""
    if not isinstance(value, time) or value.second or value.microsecond:
        return ""
    return "" if "s" in _LITERAL.sub("", number_format).casefold() else f"{value:%H:%M}"

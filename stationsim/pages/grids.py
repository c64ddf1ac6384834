"""Tables for a page: cells that are read at a glance and carry the full number, cut when long.

A cell shows as many digits as people use and carries the twelve of the CSV beside it, for sorting
and copying. A table that would make the page long is thinned or cut, and says so in a sentence.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from stationsim import vocabulary
from stationsim.units import show
from stationsim.wording import listed

if TYPE_CHECKING:
    from stationsim.findings import Finding

MOST_ROWS = 400
"""Rows of a table that a page holds at most."""
MOST_OPEN = 80
"""Rows of a table that is open when the page is."""

_DECIMALS = {"_m3s": 5, "_m3": 3, "_kwh": 2, "_s": 1, "_m": 3, "_h": 2}
_MOST_ON_ONE_LINE = 28
_MOST_WIDE_ON_PAPER = 200
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")
_STEPS_S = (300, 600, 900, 1200, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400, 172_800)
_OF_PUMP_RUNS = ("start", "stop")


class Cell(NamedTuple):
    """What a cell shows, and the full value when that is more."""

    text: str
    full: str = ""


class Column(NamedTuple):
    """A column: its name, how it is laid, and what it means.

    It is laid as numbers (``n``), as text that stays on one line (``s``) or that wraps (``t``).
    """

    name: str
    lay: str
    meaning: str = ""


@dataclass(frozen=True)
class Grid:
    """A table as a page shows it.

    Parameters
    ----------
    name
        What it is called.
    columns, rows
        Its columns, and the cells of each row.
    meaning
        What a row is.
    cut
        What was left out, in a sentence; empty when nothing was.
    whole
        Number of rows that there are.
    """

    name: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    meaning: str = ""
    cut: str = ""
    whole: int = 0

    @property
    def folded(self) -> bool:
        """True for a table that is long, and opened only when it is wanted."""
        return len(self.rows) > MOST_OPEN

    @property
    def size(self) -> str:
        """How many rows it shows, and of how many."""
        shown = f"{len(self.rows):,}"
        if len(self.rows) != self.whole:
            return f"{shown} of {self.whole:,} rows"
        return "1 row" if self.whole == 1 else f"{shown} rows"

    @property
    def wide(self) -> int:
        """About how many characters it is wide: letters get smaller on paper so that it fits."""
        count = 0
        for n, column in enumerate(self.columns):
            longest = max((len(row[n].text) for row in self.rows), default=0)
            words = max(len(word) + 1 for word in column.name.split("_"))
            count += max(min(longest, _MOST_ON_ONE_LINE), words) + 2
        return count

    @property
    def wraps(self) -> bool:
        """True when it is so wide that even short text has to wrap on paper."""
        return self.wide > _MOST_WIDE_ON_PAPER

    @property
    def explained(self) -> list[Column]:
        """The columns whose meaning is known."""
        return [column for column in self.columns if column.meaning]


def grid(name: str, table: pd.DataFrame) -> Grid:
    """Return a table as a page shows it.

    Parameters
    ----------
    name
        What it is called; its file is ``NAME.csv``.
    table
        The table.
    """
    kept, cut = _cut(name, table)
    columns, cells = [], []
    for column in kept.columns:
        values = kept[column]
        number = pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)
        shown = _number_shown(str(column), values) if number else _text_shown
        cells.append([shown(value) for value in values.tolist()])
        lay = "n" if number else _text_lay(cells[-1])
        columns.append(Column(str(column), lay, _meaning("column", str(column))))
    rows = list(zip(*cells, strict=True)) if cells else []
    return Grid(name, columns, rows, _meaning("table", name), cut, len(table))


def findings_grid(findings: Sequence[Finding]) -> Grid:
    """Return findings as a table: what was looked at, what is accepted, and what came of it.

    Parameters
    ----------
    findings
        What was looked at; at least one.
    """
    names = ("place", "value", "limit", "margin", "verdict", "reason", "what to do", "source")
    rows = [
        tuple(
            Cell(text)
            for text in (
                one.place,
                one.value,
                one.limit,
                "" if one.margin is None else f"{one.margin:.3g} {one.unit}".rstrip(),
                one.verdict,
                one.reason,
                one.fix,
                one.source,
            )
        )
        for one in findings
    ]
    # a column that says nothing only takes room
    used = [n for n in range(len(names)) if any(row[n].text for row in rows)]
    columns = [Column(names[n], _text_lay([row[n] for row in rows])) for n in used]
    counts = Counter(one.verdict for one in findings)
    meaning = "What was judged, against what, and where each limit comes from: "
    meaning += listed([f"{count} {verdict}" for verdict, count in counts.items()]) + "."
    return Grid("judged", columns, [[row[n] for n in used] for row in rows], meaning, "", len(rows))


def _cut(name: str, table: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Return what is shown of a table, and a sentence on what is not."""
    whole = len(table)
    if whole <= MOST_ROWS:
        return table, ""
    file = f"All {whole:,} stand in {name}.csv."
    if name == "levels":
        every = _every(table["t_s"].to_numpy(dtype=float))
        span = show(float(table["t_s"].iloc[every] - table["t_s"].iloc[0]), "duration", "si")
        kept = table.iloc[::every]
        return kept, f"One row in {every:,} is shown here, {span} apart: {len(kept):,}. {file}"
    left = ""
    if name == "events":
        table = table[~table["event"].isin(_OF_PUMP_RUNS)]
        left = f"Starts and stops, {whole - len(table):,} rows, are left out here. "
    if len(table) > MOST_ROWS:
        left += f"The first {MOST_ROWS:,} {'of the others' if left else 'rows'} are shown here. "
        table = table.iloc[:MOST_ROWS]
    return table, left + file


def _every(t_s: np.ndarray[Any, np.dtype[np.float64]]) -> int:
    """Return which row is shown: at steps of the clock that people use, if there are any."""
    least = -(-len(t_s) // MOST_ROWS)
    step_s = float(t_s[1] - t_s[0])
    for wanted_s in _STEPS_S:
        every = round(wanted_s / step_s)
        if every >= least and abs(every * step_s - wanted_s) < 1e-6:
            return every
    return least


def _number_shown(column: str, values: pd.Series[Any]) -> Callable[[Any], Cell]:
    decimals = next((n for end, n in _DECIMALS.items() if column.endswith(end)), None)
    if pd.api.types.is_integer_dtype(values):
        return lambda value: Cell(str(value))

    def shown(value: float) -> Cell:
        if np.isnan(value):
            return Cell("")
        full = f"{value:.12g}"
        text = _general(value) if decimals is None else f"{value:.{decimals}f}"
        if value != 0.0 and float(text) == 0.0:
            text = f"{value:.3g}"
        if float(text) == 0.0:
            text = text.removeprefix("-")
        return Cell(text, "" if text == full else full)

    return shown


def _general(value: float) -> str:
    return f"{value:.0f}" if 1e6 <= abs(value) < 1e12 else f"{value:.6g}"


def _text_shown(value: Any) -> Cell:
    if value is None or value != value:  # noqa: PLR0124 - NaN is no text
        return Cell("")
    text = str(value)
    if _MOMENT.match(text):
        return Cell(f"{text[:10]} {text[11:19]}", text)
    return Cell(text)


def _text_lay(cells: Sequence[Cell]) -> str:
    """Return how a column of text is laid: on one line each when all are short."""
    return "s" if all(len(cell.text) <= _MOST_ON_ONE_LINE for cell in cells) else "t"


def _meaning(kind: str, word: str) -> str:
    entries: Mapping[str, Sequence[vocabulary.Entry]] = {
        "column": vocabulary.COLUMNS,
        "table": vocabulary.TABLES,
    }
    found = next((entry for entry in entries[kind] if entry.word == word), None)
    if found is None:
        return ""
    return f"{found.meaning} [{found.unit}]" if found.unit and kind == "column" else found.meaning

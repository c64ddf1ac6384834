"""Forms on a page: sheets that are printed and filled in by hand.

A blank is a box with room to write; where one of few words is wanted, each stands there with a
square to tick. What is to be filled in is told by its border alone, so that it shows in any colour
and in none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.forms import DEFAULT_ROOM, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.forms import Form, Laid

_MOST_TICKS = 3
_LONGEST_TICK = 8
_LIKE_A_NUMBER = 4
_SHORT = 16
_WRAPPED = 34


class Place(NamedTuple):
    """A place on a sheet: what stands there, and the words to tick when there are such."""

    text: str
    ticks: Sequence[str] = ()


@dataclass(frozen=True)
class SheetColumn:
    """A column of a sheet.

    Parameters
    ----------
    name
        What it is called.
    lay
        As numbers (``n``), as text on one line (``s``), as text that wraps (``t``).
    to_fill
        Whether it is to be filled in.
    room
        For how many characters there is room.
    """

    name: str
    lay: Literal["n", "s", "t"]
    to_fill: bool
    room: int


@dataclass(frozen=True)
class Part:
    """A short table of a form in parts.

    Parameters
    ----------
    name
        What it is called.
    columns
        Names of its columns, behind the one of the lines; one without a name has no head.
    lines
        Name and places of each line; None where a place is to be filled in.
    laid
        How it lies on paper.
    """

    name: str
    columns: Sequence[str]
    lines: Sequence[tuple[str, Sequence[str | None]]]
    laid: Laid

    @property
    def has_head(self) -> bool:
        """Whether its columns have names."""
        return any(self.columns)

    @property
    def dense(self) -> bool:
        """Whether it holds so many short entries that they stand in the middle of their columns."""
        entries = [text for _name, places in self.lines for text in places]
        return all(text is not None and len(text) <= _SHORT for text in entries)


@dataclass(frozen=True)
class Sheet:
    """A form as a page shows it.

    Parameters
    ----------
    name, title
        What its file is called, and what it is.
    notes
        How to fill it in, and cautions.
    columns, rows
        Its columns, and the places of each row.
    footer
        A line that stands below it; empty for none.
    parts
        The short tables of a form in parts; none for other forms.
    cautions
        What can hurt, of a form in parts; other forms have it behind their notes.
    signed
        What a line for date and name is for, of a form in parts; empty for none.
    """

    name: str
    title: str
    notes: Sequence[str]
    columns: Sequence[SheetColumn]
    rows: Sequence[Sequence[Place]]
    footer: str = ""
    parts: Sequence[Part] = ()
    cautions: Sequence[str] = ()
    signed: str = ""

    @property
    def wide(self) -> int:
        """About how many characters it is wide: letters get smaller on paper so that it fits."""
        return sum(column.room + 2 for column in self.columns)


def sheet_of(form: Form) -> Sheet:
    """Return a form as a page shows it.

    Parameters
    ----------
    form
        The form.
    """
    columns = []
    for at, name in enumerate(form.columns):
        values = [row[at] for row in form.rows]
        longest = max((len(plain(value)) for value in values), default=0)
        texts = [value for value in values if isinstance(value, str)]
        number = len(texts) < len(values) and all(len(text) <= _LIKE_A_NUMBER for text in texts)
        to_fill = name in form.blank
        words = max(len(word) for word in name.split() or [""])
        room = max(min(longest, _WRAPPED), words)
        if to_fill:
            room = max(room, form.room.get(name, DEFAULT_ROOM))
        lay: Literal["n", "s", "t"] = "n" if number else "s" if longest <= _SHORT else "t"
        columns.append(SheetColumn(name, lay, to_fill, room))
    rows = [
        [
            Place(plain(value), _ticks(form, number, column) if value is None else ())
            for value, column in zip(row, columns, strict=True)
        ]
        for number, row in enumerate(form.rows)
    ]
    if form.parts:
        own = (form.name, form.title, form.notes, columns, rows, form.footer)
        return Sheet(*own, parts_of(form), form.cautions, form.signed)
    notes = (*form.notes, *form.cautions)
    return Sheet(form.name, form.title, notes, columns, rows, form.footer)


def parts_of(form: Form) -> list[Part]:
    """Return the short tables of a form in parts, in the order in which they first come.

    Parameters
    ----------
    form
        The form; its columns are ``PART_COLUMNS``.
    """
    found: dict[str, dict[str, dict[str, str | None]]] = {}
    for part, line, what, entry in form.rows:
        text = plain(entry) or None
        found.setdefault(plain(part), {}).setdefault(plain(line), {})[plain(what)] = text
    parts = []
    for name, lines in found.items():
        columns = list(dict.fromkeys(what for places in lines.values() for what in places))
        told = [(line, [places.get(one) for one in columns]) for line, places in lines.items()]
        parts.append(Part(name, columns, told, form.parts[name]))
    return parts


def _ticks(form: Form, row: int, column: SheetColumn) -> tuple[str, ...]:
    """Return the words to tick in a blank; none when there are many, or long ones."""
    if not column.to_fill:
        return ()
    words = form.offered(row, column.name)
    short = len(words) <= _MOST_TICKS and all(len(word) <= _LONGEST_TICK for word in words)
    return words if short else ()

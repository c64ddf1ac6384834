"""What was read otherwise than it stands in a file that came back, and what the crew noted in it.

Each repair is a row of its own; for people they are told by kind, with how many of a kind there
are and where.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stationsim.records.gaps import count

if TYPE_CHECKING:
    from collections.abc import Iterable

_EXAMPLES = 3
_LINES = 5


@dataclass(frozen=True)
class Repair:
    """Something that was read otherwise than it stands, or passed over.

    Parameters
    ----------
    file
        The file, and its sheet if it is a workbook.
    line
        Line of the file, or row of the sheet; None for what holds for the whole file.
    reading
        Name of the reading; empty for none.
    what
        Which kind of thing, in words.
    written
        What stands there; empty where that says nothing more.
    read_as
        What it was taken for; empty where that says nothing more.
    """

    file: str
    line: int | None
    reading: str
    what: str
    written: str = ""
    read_as: str = ""

    @property
    def told(self) -> str:
        """What stands there and what it was taken for."""
        return " as ".join(text for text in (self.written, self.read_as) if text)


class CrewNote(NamedTuple):
    """What the crew noted beside a reading or an event.

    Parameters
    ----------
    name
        Name of the reading, or of the sequence; empty for a row that is neither.
    note
        What was noted.
    line
        Line of the file, or row of the sheet.
    read
        Whether the row holds a value, or a time, as well.
    """

    name: str
    note: str
    line: int
    read: bool


def in_kinds(repairs: Iterable[Repair]) -> list[str]:
    """Return repairs in words, those of a kind in one: how many there are, and where.

    Parameters
    ----------
    repairs
        What was read otherwise than it stands.
    """
    kinds: dict[tuple[str, str, bool], list[Repair]] = defaultdict(list)
    for one in repairs:
        kinds[one.file, one.what, one.line is None].append(one)
    return [
        f"{file}: {what}{_of_file(found) if whole else _of_lines(found)}"
        for (file, what, whole), found in kinds.items()
    ]


def _of_file(found: list[Repair]) -> str:
    """Return what is told of a kind that has no lines: the readings that it is about."""
    names = [f"{one.reading!r}" for one in found if one.reading]
    if not names:
        return ""
    more = len(names) - _EXAMPLES
    shown = "; ".join(names[:_EXAMPLES]) + ("; ..." if more > 0 else "")
    return f": {count(len(names), 'reading')} ({shown})"


def _of_lines(found: list[Repair]) -> str:
    """Return how many of a kind there are and where; of few, what stands there as well."""
    told = [f"line {one.line}{f': {one.told}' if one.told else ''}" for one in found]
    lines = list(dict.fromkeys(one.line for one in found))
    where = "; ".join(told)
    if len(found) > _EXAMPLES:
        shown = ", ".join(map(str, lines[:_LINES])) + (", ..." if len(lines) > _LINES else "")
        where = f"line{'s' if len(lines) > 1 else ''} {shown}"
    return f": {count(len(found), 'cell')} ({where})"

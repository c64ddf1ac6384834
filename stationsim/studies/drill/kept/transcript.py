"""What was typed and told in a drill, line by line, on the screen and in the folder alike."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.drill.drill import Drill
    from stationsim.studies.drill.told import Told

WIDTH = 100
"""How wide a transcript is written [characters]."""

_INDENT = "  "
_ROUTINE = re.compile(r"\S+: (start|stop)( \(.*\))?")
"""Starts and stops, as they are told."""
_MOST_ROUTINE = 8
_SHOWN_ROUTINE = 4
_SPEAKERS = {
    "phone": "phone",
    "panel": "you see",
    "passer-by": "",
    "answer": "",
    "refused": "not done",
}


class Typed(NamedTuple):
    """A line, behind what stood before it.

    Parameters
    ----------
    prompt
        Clock, and where one is.
    line
        What was typed.
    """

    prompt: str
    line: str


class Transcript:
    """A drill, and all that was said in it.

    Parameters
    ----------
    drill
        A drill that stands at its beginning.
    briefing
        What is said behind the opening, a line each.
    """

    def __init__(self, drill: Drill, briefing: Sequence[str] = ()) -> None:
        self.drill = drill
        self.opening = [*drill.opening(), *briefing]
        self.entries: list[Typed | Told] = []

    def type(self, line: str) -> list[Told]:
        """Do what a line says; return all that was told meanwhile.

        Parameters
        ----------
        line
            What was typed.

        Raises
        ------
        ActionError
            When the line cannot be read, or the drill is over; then it does not count.
        """
        prompt = self.drill.prompt()
        told = self.drill.type(line)
        self.entries += [Typed(prompt, self.drill.actions[-1].line), *told]
        return told

    def wait_until(self, t_s: float) -> list[Told]:
        """Let time pass without a line; return all that was told meanwhile.

        Parameters
        ----------
        t_s
            Until when [s].
        """
        told = self.drill.wait_until(t_s)
        self.entries += told
        return told

    def again(self) -> Transcript:
        """Return the same drill at its beginning, with nothing said but its opening."""
        fresh = Transcript(self.drill.again())
        fresh.opening = list(self.opening)
        return fresh

    def lines(self, width: int = WIDTH, last: int | None = None) -> list[str]:
        """Return what was typed and told.

        Parameters
        ----------
        width
            How wide a line may be [characters].
        last
            Only so many of what was typed, and all behind it [-]; None for all.
        """
        typed = [place for place, one in enumerate(self.entries) if isinstance(one, Typed)]
        first = 0 if last is None or last >= len(typed) else typed[-last]
        lines: list[str] = []
        told: list[Told] = []
        for entry in self.entries[first:]:
            if isinstance(entry, Typed):
                lines += told_lines(self.drill, told, width)
                told = []
                lines += _wrapped(f"{entry.prompt} > {entry.line}", width, "", _INDENT)
            else:
                told.append(entry)
        return lines + told_lines(self.drill, told, width)

    def text(self) -> str:
        """Return the whole, as it stands in the folder of the results."""
        lines = [*opening_lines(self.opening, WIDTH), "", *self.lines()]
        return "\n".join(lines) + "\n"


def opening_lines(opening: Sequence[str], width: int) -> list[str]:
    """Return the opening, wrapped.

    Parameters
    ----------
    opening
        Its lines.
    width
        How wide a line may be [characters].
    """
    return [
        one
        for line in opening
        for one in _wrapped(line, width, "", _INDENT if line.startswith("- ") else "")
    ]


def told_lines(drill: Drill, told: Sequence[Told], width: int) -> list[str]:
    """Return what was told: the clock time, who told it, and what.

    Clock time and teller stand once before all that one tells at one minute. Of many starts and
    stops in a row the first ones are told, and how many more there were; the table has all.

    Parameters
    ----------
    drill
        Knows the clock.
    told
        What was told.
    width
        How wide a line may be [characters].
    """
    lines: list[str] = []
    before: tuple[str, str] | None = None
    for one in _in_short(told):
        clock, speaker = drill.clock(one.t_s), one.who or _SPEAKERS.get(one.by, "")
        head = f"{_INDENT}{clock}  "
        if before == (clock, speaker):
            head = " " * len(head)
            first = head + (_INDENT if speaker else "")
        else:
            first = head + (f"{speaker}: " if speaker else "")
        rest = " " * len(head) + _INDENT + (_INDENT if speaker and first.isspace() else "")
        before = (clock, speaker)
        lines += _wrapped(one.text, width, first, rest)
    return lines


def _in_short(told: Sequence[Told]) -> list[Told]:
    """Return what was told with a long row of starts and stops cut short."""
    short: list[Told] = []
    row: list[Told] = []
    for one in [*told, None]:
        if one is not None and _ROUTINE.fullmatch(one.text):
            row.append(one)
            continue
        if len(row) > _MOST_ROUTINE:
            last = row[-1]
            more = f"... and {len(row) - _SHOWN_ROUTINE} more starts and stops until now"
            row = [*row[:_SHOWN_ROUTINE], last._replace(text=more)]
        short += row if one is None else [*row, one]
        row = []
    return short


def _wrapped(text: str, width: int, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        text,
        max(width, len(rest) + 20),
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
    ) or [first.rstrip()]

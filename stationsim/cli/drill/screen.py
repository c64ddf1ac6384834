"""The screen of a drill: prompt, line, what was told; and the same while time passes by itself."""

from __future__ import annotations

import math
import shutil
import sys
import time
from typing import TYPE_CHECKING, Protocol

import click

from stationsim.cli.drill.help import help_lines
from stationsim.cli.drill.lines import shown
from stationsim.errors import ActionError
from stationsim.studies.drill.kept.transcript import opening_lines, told_lines
from stationsim.studies.drill.orders import fit_to_show, read_order
from stationsim.studies.drill.told import Action

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stationsim.cli.drill.lines import Lines
    from stationsim.studies.drill.kept.keeping import Keeper
    from stationsim.studies.drill.kept.transcript import Transcript
    from stationsim.studies.drill.orders import Order
    from stationsim.studies.drill.told import Told

_LEAST_WIDTH, _MOST_WIDTH, _USUAL_WIDTH = 40, 110, 88
_TURN_S = 0.2  # how often time that passes by itself is looked after [s]
_HELP = ("help", "?")
_SKIP = "skip"


class Waited(Protocol):
    """Lines that are waited for."""

    echoed: bool

    def next(self, wait_s: float) -> str | None:
        """Return the next line; None when none came in time; EOFError when there is no more."""
        ...


def width_of_screen() -> int:
    """Return how wide what is printed may be [characters]."""
    columns = shutil.get_terminal_size((_USUAL_WIDTH + 1, 24)).columns - 1
    return max(_LEAST_WIDTH, min(columns, _MOST_WIDTH))


class Talk:
    """A drill that is talked with: what is typed is kept, done, and answered on the screen.

    Parameters
    ----------
    transcript
        The drill.
    keeper
        Keeps each line; None to keep nothing.
    width
        How wide the screen is [characters]; None to look.
    """

    def __init__(
        self, transcript: Transcript, keeper: Keeper | None, width: int | None = None
    ) -> None:
        self.transcript = transcript
        self.drill = transcript.drill
        self.keeper = keeper
        self._width = width
        self.within_line = False  # a line is being done, and the drill stands somewhere within it

    @property
    def width(self) -> int:
        """How wide the screen is now [characters]."""
        return width_of_screen() if self._width is None else self._width

    @property
    def prompt(self) -> str:
        """What stands before the place to type."""
        return f"{self.drill.prompt()} > "

    def open(self) -> None:
        """Say what stands at the start, cautions first."""
        self._say([*opening_lines(self.transcript.opening, self.width), ""])

    def all(self) -> None:
        """Say all that was typed and told."""
        self._say(self.transcript.lines(self.width))

    def resume(self, last: int = 4) -> None:
        """Say what was told last, and where things stand.

        Parameters
        ----------
        last
            How many of the lines are said again, with what was told [-].
        """
        drill = self.drill
        typed = len(drill.actions)
        if self.transcript.entries:
            more = f", the last {last} of {typed} lines" if typed > last else ""
            self._say([f"What was typed and told so far{more}:"])
            self._say([*self.transcript.lines(self.width, last), ""])
        people = [
            f"{'you are' if hand is drill.crew.me else f'{hand.name} is'}"
            f" {drill.crew.whereabouts(hand)}"
            for hand in drill.crew.hands.values()
        ]
        stands = f"It is {drill.clock()}; {'; '.join(people)}. You go on from here."
        self._say([*opening_lines([stands], self.width), ""])

    def answer(self, line: str) -> None:
        """Do what a line says, and show what was told; of one that cannot be read, say why.

        Parameters
        ----------
        line
            What was typed.

        Raises
        ------
        OutputError
            When it cannot be kept.
        """
        if self._no_order(line):
            return
        try:
            self._read(line)
        except ActionError as error:
            self.refuse(str(error))
            return
        self.obey(line)

    def _no_order(self, line: str) -> bool:
        """Answer what is no order: nothing at all, or a call for help."""
        words = line.split()
        if words and words[0].lower() in _HELP:
            self._say(help_lines(self.drill, " ".join(words[1:]), self.width))
        return not words or words[0].lower() in _HELP

    def _read(self, line: str) -> Order:
        drill = self.drill
        return read_order(line, drill.names, drill.now_s, drill.episode.start)

    def obey(self, line: str) -> None:
        """Keep a line that can be read, then do it, then show what was told.

        Parameters
        ----------
        line
            What was typed.
        """
        self.within_line = True
        if self.keeper is not None:
            self.keeper.keep(Action(self.drill.now_s, " ".join(line.split())))
        told = self.transcript.type(line)
        self.within_line = False
        self.tell(told)

    def tell(self, told: Sequence[Told]) -> None:
        """Show what was told.

        Parameters
        ----------
        told
            What.
        """
        self._say(told_lines(self.drill, told, self.width))

    def refuse(self, reason: str) -> None:
        """Say why a line does not count.

        Parameters
        ----------
        reason
            Why.
        """
        self._say(opening_lines([f"- {fit_to_show(reason)}"], self.width))

    def _say(self, lines: Sequence[str]) -> None:
        for line in lines:
            click.echo(line)
        sys.stdout.flush()

    def over(self) -> None:
        """Say that it is over."""
        why = "" if self.drill.now_s < self.drill.episode.duration_s else ": the episode ends here"
        self._say(["", f"The drill is over{why}.", ""])


def converse(talk: Talk, lines: Lines) -> None:
    """Ask for lines, and answer them, until the drill is over; time stands still meanwhile.

    Parameters
    ----------
    talk
        The drill.
    lines
        Where lines come from.

    Raises
    ------
    EOFError
        When there are no more lines.
    """
    while not talk.drill.over:
        talk.answer(lines.ask(talk.prompt))


class Paced:
    """A drill in which time passes by itself, faster than on the clock of the wall.

    ``wait`` need not be typed, and changes nothing; ``skip`` lets time pass at once, and is kept
    as the wait that it is.

    Parameters
    ----------
    talk
        The drill.
    lines
        Where lines come from.
    factor
        How many seconds pass in one of the wall's [-].
    clock
        The clock on the wall [s].
    """

    def __init__(
        self,
        talk: Talk,
        lines: Waited,
        factor: float,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.talk = talk
        self.lines = lines
        self.factor = factor
        self._clock = clock
        self._waits_until_s = math.inf
        self._began_s = self._stood_s = 0.0
        self._since_now()

    def _since_now(self) -> None:
        self._began_s, self._stood_s = self._clock(), self.talk.drill.now_s

    def _pass(self) -> list[Told]:
        """Let pass what has passed on the wall since."""
        drill = self.talk.drill
        to_s = self._stood_s + (self._clock() - self._began_s) * self.factor
        to_s = min(to_s, drill.episode.duration_s)
        return self.talk.transcript.wait_until(to_s) if to_s > drill.now_s else []

    def run(self) -> None:
        """Go on until the drill is over.

        Raises
        ------
        EOFError
            When there are no more lines.
        """
        drill, asked = self.talk.drill, False
        while not drill.over:
            if not asked:
                click.echo(self.talk.prompt, nl=False)
                sys.stdout.flush()
                asked = True
            try:
                line = self.lines.next(_TURN_S)
            except EOFError:
                self._on_own_lines(self._pass())
                click.echo()
                raise
            told = self._pass()
            if line is not None:
                click.echo(shown(line) if self.lines.echoed else "", nl=self.lines.echoed)
                self.talk.tell(told)
                self._answer(line)
                asked = False
            elif told or drill.over or drill.now_s >= self._waits_until_s:
                self._on_own_lines(told)
                asked = False
        sys.stdout.flush()

    def _on_own_lines(self, told: Sequence[Told]) -> None:
        """Show what was told while a line may be half typed: on lines of its own, below it."""
        talk = self.talk
        over = talk.drill.now_s >= self._waits_until_s
        if not (told or over):
            return
        lines = told_lines(talk.drill, told, talk.width)
        if not told:
            lines = [f"  {talk.drill.clock()}  the wait is over"]
        click.echo("\n".join(["", *lines]))  # in one piece, or what is typed comes between
        self._waits_until_s = math.inf

    def _answer(self, line: str) -> None:
        talk, words = self.talk, line.split()
        if talk.drill.over:
            if words:
                talk.refuse("the drill is over; that line came too late")
            return
        self._waits_until_s = math.inf
        if words and words[0].lower() == _SKIP:
            talk.answer(" ".join(["wait", *words[1:]]))
        elif words and words[0].lower() == "wait":
            self._wait(line)
        else:
            talk.answer(line)
            if words and words[0].lower() in _HELP:
                talk.refuse(
                    f"time passes by itself, {self.factor:g} s in each second; 'skip' does as"
                    " 'wait' does, but at once, such as: skip 20 min, skip until 02:40; what is"
                    " half typed when something is told still counts, but is not shown again"
                )
        self._since_now()

    def _wait(self, line: str) -> None:
        talk = self.talk
        try:
            until_s = talk._read(line).until_s  # noqa: SLF001  (the same screen)
        except ActionError as error:
            talk.refuse(str(error))
            return
        if until_s is not None:
            self._waits_until_s = until_s
        talk.refuse("time passes by itself; type on at any time, or: skip, to let it pass at once")

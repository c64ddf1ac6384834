"""The words of a log: our events, and what the texts of a panel mean in them."""

from __future__ import annotations

import difflib
import re
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import QuantityError
from stationsim.records.csv_rows import quoted
from stationsim.records.filled_form import read_filled
from stationsim.records.written import plain_signs
from stationsim.vocabulary import ALARMS, EVENTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

_ALARM_EVENTS = ("alarm raised", "alarm cleared")


class Meaning(NamedTuple):
    """What a text of the panel means; both empty for one that is passed over."""

    subject: str
    event: str


def fold(text: str) -> str:
    """Return a text as it is compared: capitals, blanks, colons and commas don't count.

    Parameters
    ----------
    text
        The text.
    """
    return " ".join(re.split(r"[\s_:,]+", plain_signs(text).casefold())).strip()


@cache
def our_events() -> dict[str, str]:
    """Return our events by the way in which they are compared; of alarms, with and without name."""
    said = [entry.word for entry in EVENTS]
    said += [f"{event}: {alarm.word}" for event in _ALARM_EVENTS for alarm in ALARMS]
    return {fold(one): one for one in said}


def nearest_events(text: str) -> tuple[str, ...]:
    """Return our events that look most like a text.

    Parameters
    ----------
    text
        What a log says.
    """
    ours, asked = our_events(), fold(text)
    close = difflib.get_close_matches(asked, ours, n=3, cutoff=0.5)
    inside = [one for one in ours if one in asked.split() and one not in close]
    return tuple(ours[one] for one in (*inside, *close))[:3]


class Names:
    """Names that a log may hold, found whatever their capitals and blanks.

    Parameters
    ----------
    tests
        Names of tests.
    subjects
        Names of machines and other things.
    """

    def __init__(self, tests: Iterable[str], subjects: Iterable[str]) -> None:
        self._tests = {fold(name): name for name in tests}
        self._subjects = {fold(name): name for name in subjects}

    def test(self, text: str) -> str:
        """Return the name of a test.

        Parameters
        ----------
        text
            What stands in the log.

        Raises
        ------
        QuantityError
            When there is none like it.
        """
        return _named(text, self._tests, "sequence")

    def subject(self, text: str) -> str:
        """Return the name of a subject.

        Parameters
        ----------
        text
            What stands in the log.

        Raises
        ------
        QuantityError
            When there is none like it.
        """
        return _named(text, self._subjects, "subject")


def _named(text: str, known: dict[str, str], what: str) -> str:
    name = known.get(fold(text))
    if name is not None:
        return name
    if not text and what == "sequence":
        accepted = ", ".join(repr(one) for one in known.values())
        message = "no sequence is named (accepted: '-' where it belongs to none, or"
        raise QuantityError(f"{message} {accepted})")
    near = difflib.get_close_matches(fold(text), known, n=1, cutoff=0.6)
    hint = f"; did you mean {known[near[0]]!r}?" if near else ""
    accepted = ", ".join(repr(one) for one in known.values())
    message = f"no {what} is called {quoted(text)}{hint} (accepted: {accepted})"
    raise QuantityError(message)


def read_words(path: Path, subjects: Sequence[str], problems: list[str]) -> dict[str, Meaning]:
    """Return what the texts of a panel mean, by the way in which they are compared.

    Parameters
    ----------
    path
        The file of words.
    subjects
        Names of machines and other things of which they may tell.
    problems
        What is wrong in it is added here, in words.
    """
    form = read_filled(path, "words", ("text", "subject", "event"))
    columns = ("text", "subject", "event")
    places, wrong, _notes = form.columns(columns, columns)
    problems += wrong
    if wrong:
        return {}
    names, ours = Names((), subjects), our_events()
    found: dict[str, Meaning] = {}
    for at, row in enumerate(form.rows):
        text, subject, event = (row[places[name]].strip() for name in columns)
        meaning = Meaning("", "")
        if subject or event:
            try:
                meaning = Meaning(names.subject(subject), ours[fold(event)])
            except QuantityError as error:
                problems.append(f"{form.where(at)}: {error}")
                continue
            except KeyError:
                near = nearest_events(event)
                hint = f"; did you mean {' or '.join(map(repr, near))}?" if near else ""
                problems.append(
                    f"{form.where(at)}: no event is called {quoted(event)}{hint}"
                    " (accepted: the events that 'stationsim explain' lists)"
                )
                continue
        if not text or found.setdefault(fold(text), meaning) != meaning:
            why = "stands twice with two meanings" if text else "is empty"
            problems.append(
                f"{form.where(at)}: the text {quoted(text)} {why} (accepted: each text once)"
            )
    return found

"""A panel's log of events, line by line: which test, when, of what, what happened.

Columns are ``sequence`` (or ``test``), ``time``, ``subject`` and ``event``; or, in place of the
last two, the panel's own ``text``, which a file of words translates (columns ``text``, ``subject``,
``event``; a text whose other two cells are empty is passed over). CSV and XLSX are read; other
columns are passed over and told.

A panel does not know which sequence was tried when, so its export gets the column ``sequence`` by
hand; a line that belongs to none has a dash there, and is passed over and told.

Times are clock times, stamps with a date, or seconds; one kind within a test. What is read
otherwise than it stands is told: decimal commas, clocks past midnight, a newest line that stands
first, lines that stand twice. Rows with no time did not happen. An event that is none of ours is
kept, with the nearest words beside it.
"""

from __future__ import annotations

import difflib
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import QuantityError, RecordError
from stationsim.records.filled_form import FilledForm, read_filled
from stationsim.records.gaps import count
from stationsim.records.in_brief import in_brief
from stationsim.records.log_times import When, in_order, read_time, what_is_mixed
from stationsim.records.log_words import (
    Meaning,
    Names,
    fold,
    nearest_events,
    our_events,
    read_words,
)
from stationsim.records.written import plain_signs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_MOST_PROBLEMS = 30
_OF_NONE = ("-", "--", "none", "n/a")
"""What stands for the sequence of a line that belongs to none."""


@dataclass(frozen=True)
class LogEntry:
    """A line of a log.

    Parameters
    ----------
    line
        Line of the file [-].
    test
        Name of the test.
    at_s
        When, on a clock of the log's own [s].
    subject
        Of what; empty for a text that is none of ours.
    event
        What happened, in our words (of an alarm, with its name: ``alarm raised: high level``) if
        it is one of them, else as it stands.
    known
        Whether it is one of our words.
    nearest
        Our words that look most like one that is none of ours.
    resolution_s
        To how many seconds times are written in this test [s]; 0 when they have seconds.
    """

    line: int
    test: str
    at_s: float
    subject: str
    event: str
    known: bool = True
    nearest: tuple[str, ...] = ()
    resolution_s: float = 0.0


class LogNote(NamedTuple):
    """What was noted in a row: its line, the test as it stands there, the note, whether a time."""

    line: int
    test: str
    note: str
    timed: bool


@dataclass(frozen=True)
class PanelLog:
    """A log as read from a file.

    Parameters
    ----------
    name
        The file.
    entries
        Its lines, test by test, in the order of their times.
    repairs
        What was read otherwise than it stands, in words.
    notes
        What stands in a column ``note``, if there is one.
    above
        What stands above the names of the columns.
    """

    name: str
    entries: tuple[LogEntry, ...]
    repairs: tuple[str, ...] = ()
    notes: tuple[LogNote, ...] = ()
    above: tuple[str, ...] = ()


class _Row(NamedTuple):
    """A row of the log, understood."""

    entry: LogEntry
    when: When


def read_panel_log(
    path: Path,
    *,
    tests: Sequence[str],
    subjects: Sequence[str],
    words: Path | None = None,
    sheet: str = "panel log",
    also_known: Sequence[str] = (),
) -> PanelLog:
    """Read a log.

    Parameters
    ----------
    path
        The file, CSV or XLSX.
    tests
        Names of the tests that it may hold.
    subjects
        Names of the machines and other things of which it may tell.
    words
        What the panel's texts mean, CSV or XLSX; None for a log in our words.
    sheet
        Name of the sheet of a workbook that has several.
    also_known
        Names of columns that are passed over without a word.

    Raises
    ------
    RecordError
        When it cannot be used as it stands; everything that is wrong is told at once.
    """
    problems: list[str] = []
    meanings = None if words is None else read_words(words, subjects, problems)
    form = read_filled(path, sheet, ("sequence", "time"))
    repairs = [f"{form.name}: {note}" for note in form.notes]
    places = _columns(form, words, (tests, also_known), problems, repairs)
    rows: list[_Row] = []
    if places is not None:
        rows = _rows(form, places, Names(tests, subjects), meanings, problems, repairs)
    rows = _once(form, rows, repairs)
    by_test = [
        [row for row in rows if row.entry.test == test]
        for test in dict.fromkeys(row.entry.test for row in rows)
    ]
    for own in by_test:
        mixed = what_is_mixed([row.when for row in own])
        if mixed is not None:
            entry = own[mixed[0]].entry
            problems.append(f"{form.name}:{entry.line}: the times of {entry.test!r} {mixed[1]}")
    _raise(problems)
    if not rows:
        message = f"{form.name}: nothing is filled in: no row with a time, of a sequence"
        raise RecordError(f"{message} (accepted: one row or more, each with its time)")
    told: list[str] = []
    placed = in_order([[row.when for row in own] for own in by_test], told)
    entries = [
        replace(own[one.place].entry, at_s=one.at_s, resolution_s=one.resolution_s)
        for own, order in zip(by_test, placed, strict=True)
        for one in order
    ]
    repairs += [f"{form.name}: {one}" for one in told]
    noted = _notes(form, places)
    return PanelLog(form.name, tuple(entries), tuple(repairs), noted, form.above)


def _raise(problems: Sequence[str]) -> None:
    if problems:
        problems = in_brief(problems)
        more = len(problems) - _MOST_PROBLEMS
        told = [*problems[:_MOST_PROBLEMS], *([f"and {more} more"] if more > 0 else [])]
        raise RecordError("\n".join(told))


# ---------------------------------------------------------------------- rows


def _columns(
    form: FilledForm,
    words: Path | None,
    names: tuple[Sequence[str], Sequence[str]],
    problems: list[str],
    repairs: list[str],
) -> dict[str, int] | None:
    """Return where the columns are; None when one is missing.

    Names are those of the tests, and those of columns that are passed over without a word.
    """
    tests, also_known = names
    header = [fold(name) for name in form.header]
    first = "test" if "test" in header and "sequence" not in header else "sequence"
    by_text = "text" in header and not {"subject", "event"} <= set(header)
    if by_text and words is None:
        problems.append(
            f"{form.name}: the column 'text' needs a file that says what its texts mean"
            " (accepted: --words with the columns text, subject, event; or columns subject, event)"
        )
        return None
    needed = (first, "time", "text") if by_text else (first, "time", "subject", "event")
    places, wrong, notes = form.columns(needed, needed)
    problems += wrong
    if any(one.startswith(f"{form.name}: no column is named 'sequence' (") for one in wrong):
        problems.append(
            f"{form.name}: a panel's export does not say what was tried when: add a column"
            " 'sequence' and write into each line the name of its sequence, or '-' where it belongs"
            f" to none (accepted: {', '.join(map(repr, tests))})"
        )
    if not by_text and not {"subject", "event"} & set(places):
        problems.append(
            f"{form.name}: in place of 'subject' and 'event' the panel's own words will do"
            " (accepted: a column 'text', and --words with a file that says what they mean)"
        )
    if wrong:
        return None
    spare = {repr(name) for name in form.header if fold(name) in map(fold, also_known)}
    for note in notes:
        before, colon, after = note.partition(": ")
        left = [name for name in after.split(", ") if name not in spare]
        if "order" not in note and left:
            repairs.append(f"{form.name}: {before}{colon}{', '.join(left)}")
    if words is not None and not by_text:
        repairs.append(f"{form.name}: subjects and events read; {words} not needed")
    return {"sequence" if name == first else name: at for name, at in places.items()}


def _rows(
    form: FilledForm,
    places: dict[str, int],
    names: Names,
    meanings: dict[str, Meaning] | None,
    problems: list[str],
    repairs: list[str],
) -> list[_Row]:
    """Return the rows that have a time, understood; what is wrong with any goes to the problems."""
    found: list[_Row] = []
    counted: Counter[tuple[str, str]] = Counter()
    for at, row in enumerate(form.rows):
        cells = {name: row[place].strip() for name, place in places.items()}
        unread = [
            f"{name!r} {why}"
            for name, place in places.items()
            if (why := form.broken.get((at, place), "")) and not cells[name]
        ]
        if unread:
            problems += [f"{form.where(at)}: {one}" for one in unread]
            continue
        if not cells["time"]:
            counted["row", "without a time passed over, as not happened"] += 1
            continue
        if plain_signs(cells["sequence"]).casefold() in _OF_NONE:
            counted["row", "of no sequence passed over"] += 1
            continue
        wrong: list[str] = []
        when = test = None
        try:
            when = read_time(cells["time"])
        except QuantityError as error:
            wrong.append(str(error))
        try:
            test = names.test(cells["sequence"])
        except QuantityError as error:
            wrong.append(str(error))
        entry = None
        if "text" in cells:
            meaning = (meanings or {}).get(fold(cells["text"]))
            if meaning == Meaning("", ""):
                counted["row", "passed over as the file of words says"] += 1
                continue
            entry = _translated(form.lines[at], cells["text"], meaning, meanings or {})
        else:
            try:
                entry = _in_our_words(form.lines[at], cells, names)
            except QuantityError as error:
                wrong.append(str(error))
        problems += [f"{form.where(at)}: {one}" for one in wrong]
        if when is not None and test is not None and entry is not None:
            found.append(_Row(replace(entry, test=test, at_s=when.at_s), when))
            if when.comma:
                counted["decimal comma", "read as a point"] += 1
    repairs += [f"{form.name}: {count(n, what)} {why}" for (what, why), n in counted.items()]
    return found


def _notes(form: FilledForm, places: dict[str, int] | None) -> tuple[LogNote, ...]:
    """Return what stands in the column of notes."""
    column = next((at for at, name in enumerate(form.header) if fold(name) == "note"), None)
    if column is None or places is None:
        return ()
    return tuple(
        LogNote(line, row[places["sequence"]].strip(), note, bool(row[places["time"]].strip()))
        for line, row in zip(form.lines, form.rows, strict=True)
        if (note := row[column].strip())
    )


def _in_our_words(line: int, cells: dict[str, str], names: Names) -> LogEntry:
    subject, text = names.subject(cells["subject"]), cells["event"]
    event = our_events().get(fold(text))
    if event is None:
        return LogEntry(line, "", 0.0, subject, text, known=False, nearest=nearest_events(text))
    return LogEntry(line, "", 0.0, subject, event)


def _translated(
    line: int, text: str, meaning: Meaning | None, meanings: dict[str, Meaning]
) -> LogEntry:
    if meaning is not None:
        return LogEntry(line, "", 0.0, meaning.subject, meaning.event)
    near = difflib.get_close_matches(fold(text), meanings, n=3, cutoff=0.5)
    said = [meanings[one] for one in near]
    nearest = tuple(
        dict.fromkeys(f"{one.subject} {one.event}" for one in said if one.event)
    ) or nearest_events(text)
    return LogEntry(line, "", 0.0, "", text, known=False, nearest=nearest)


def _once(form: FilledForm, rows: Sequence[_Row], repairs: list[str]) -> list[_Row]:
    """Return each line once; those that stand twice are told."""
    found: list[_Row] = []
    known: set[tuple[str, str, float, str, str]] = set()
    twice: list[int] = []
    for row in rows:
        entry = row.entry
        key = (entry.test, row.when.kind, entry.at_s, entry.subject, fold(entry.event))
        if key in known:
            twice.append(entry.line)
        else:
            known.add(key)
            found.append(row)
    if twice:
        where = ", ".join(map(str, twice[:5])) + (" ..." if len(twice) > 5 else "")
        many = "line that stands" if len(twice) == 1 else "lines that stand"
        repairs.append(f"{form.name}: {len(twice)} {many} twice taken once (line {where})")
    return found

"""A panel's log beside the expected events: as expected, late, early, missing, extra, out of order.

Lines are matched to expected events of the same subject and event so that as many as possible stand
in the same order; of the ways to do so, the one whose gaps differ least is taken. What occurs in
both but off that order is *out of order*, once; within the tolerance of its time it is as expected,
since a log may write what comes at one instant in any order.

Times are compared as gaps, since a log's clock is its own and a well that fills slower is not late
twice. The gap counts from the event matched before. An event off its time may have moved all that
follows, or stand alone; so what comes after it is compared both with it and with the last event
that was in time, and the reading with the fewest events off their time counts: one that is late
makes the next one neither late nor early. The first event that is matched has nothing before it
and is taken as in time. What comes with a hand of the crew is not judged by its time, but what
follows it may be counted from it.

A log may begin with the preparations, and hold calls that go unanswered while the crew holds pumps
off: such lines are known, *not asked for*, and neither miss nor fail anything. They must come
before what is expected after them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.errors import InputError
from stationsim.records import panel_log
from stationsim.records.filled_form import has_filled
from stationsim.studies.acceptance.panel.alignment import Pair, align, asides_of, pair_off
from stationsim.studies.acceptance.panel.script import tolerance_s
from stationsim.studies.acceptance.paper.forms import EVENT_COLUMNS, EVENTS
from stationsim.studies.acceptance.paper.repairs import CrewNote, Repair
from stationsim.studies.acceptance.paper.whose import of_another

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from stationsim.records.panel_log import LogEntry
    from stationsim.studies.acceptance.panel.script import ExpectedEvent, PanelTest

LogVerdict = Literal[
    "as expected", "late", "early", "missing", "extra", "out of order", "not asked for", "not done"
]

ELSEWHERE = ("grid", "station", "level sensor")
"""What a log tells of besides machines."""

TIMES_IN_IT = f"times on its sheet {EVENTS!r} compared too, as the panel's log"
"""What is told of a workbook that holds both readings and times."""

PASSED_OVER = "a row of the file of words with an empty subject and event passes it over"
"""What is done about a text of the panel that means nothing here."""

_ROUNDING_S = 1e-6


@dataclass(frozen=True)
class LogLine:
    """An expected event, a line of the log, or both.

    Parameters
    ----------
    sequence
        Name of the sequence.
    verdict
        What is to be said of it; ``not done`` of a sequence with no line in the log, ``not asked
        for`` of a line that tells of the preparations.
    subject, event
        What happened or should have; of an alarm with its name.
    expected_s, logged_s
        When, since the first matched event of the sequence [s]; NaN where there is none.
    off_s
        By how much the gap is longer than expected [s]; NaN where none is judged.
    tolerance_s
        By how much it may differ [s]; infinity for what a hand of the crew decides.
    reason
        Why, in words.
    n
        Number of the expected event; None for a line that is none.
    line
        Line of the log; None for an event that is not in it.
    """

    sequence: str
    verdict: LogVerdict
    subject: str
    event: str
    expected_s: float
    logged_s: float
    off_s: float
    tolerance_s: float
    reason: str
    n: int | None = None
    line: int | None = None


def read_panel_log(
    path: Path, sequences: Sequence[PanelTest], words: Path | None = None
) -> tuple[list[LogEntry], list[Repair], list[CrewNote]]:
    """Return the lines of a log, what was read otherwise than it stands, and what was noted.

    Parameters
    ----------
    path
        The log, CSV or XLSX.
    sequences
        The sequences that it may hold.
    words
        What the panel's texts mean, CSV or XLSX; None for a log in our words.

    Raises
    ------
    InputError
        When it cannot be used as it stands; everything that is wrong is told at once.
    """
    if not sequences:
        message = f"{path}: the station can do no sequence, so there is nothing to compare with"
        raise InputError(message)
    station = sequences[0].result.station
    found = panel_log.read_panel_log(
        path,
        tests=[one.name for one in sequences],
        subjects=[*station.machine_names(), *ELSEWHERE],
        words=words,
        sheet=EVENTS,
        also_known=EVENT_COLUMNS,
    )
    other = of_another(found.above, found.name, station.name)
    if other:
        raise InputError(other)
    repairs = [
        Repair(found.name, None, "", told.removeprefix(f"{found.name}: ")) for told in found.repairs
    ]
    notes = [CrewNote(one.test, one.note, one.line, one.timed) for one in found.notes]
    return list(found.entries), repairs, notes


def has_times(path: Path) -> bool:
    """Return whether a file is the workbook of the day, with times on its sheet of events.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    RecordError
        When it cannot be read.
    """
    return has_filled(path, EVENTS, "time")


def compare_log(sequences: Sequence[PanelTest], entries: Sequence[LogEntry]) -> list[LogLine]:
    """Return each expected event and each line of a log, with what is to be said of it.

    Parameters
    ----------
    sequences
        What was to be done.
    entries
        The lines of the log.

    Raises
    ------
    InputError
        When a line belongs to no sequence.
    """
    names = {one.name for one in sequences}
    for entry in entries:
        if entry.test not in names:
            message = f"line {entry.line}: no sequence is called {entry.test!r}"
            raise InputError(f"{message} (accepted: {', '.join(map(repr, sorted(names)))})")
    found: list[LogLine] = []
    for one in sequences:
        own = sorted((e for e in entries if e.test == one.name), key=lambda e: e.at_s)
        found += _Compared(one, own).lines() if own else [_not_done(one)]
    return found


def _not_done(one: PanelTest) -> LogLine:
    none = math.nan
    why = "the log has no line of this sequence"
    return LogLine(one.name, "not done", "", "", none, none, none, none, why)


class _Judged(NamedTuple):
    """An event beside its line, judged by its time.

    Parameters
    ----------
    off_s, tolerance_s
        By how much the gap differs, and by how much it may [s].
    since
        The pair from which the gap counts; None for the first.
    """

    off_s: float
    tolerance_s: float
    since: Pair | None

    @property
    def in_time(self) -> bool:
        """Whether it differs by no more than it may."""
        return abs(self.off_s) <= self.tolerance_s + _ROUNDING_S


class _State(NamedTuple):
    """One reading of the events so far: how many are off, by how much, and each judgement."""

    off: int
    total_s: float
    judged: tuple[_Judged, ...]


class _Compared:
    """A sequence beside the lines of its log."""

    def __init__(self, one: PanelTest, entries: Sequence[LogEntry]) -> None:
        self.one = one
        self.expected = one.expected
        self.entries = entries
        self.pairs = align(one.expected, entries)
        self.asides = asides_of(one, entries, self.pairs)
        passed = {at for at in self.asides if not self._is_told_by_crew(entries[at])}
        self.off_order = pair_off(one.expected, entries, self.pairs, passed)
        taken = {pair.logged for pair in (*self.pairs, *self.off_order)}
        self.spare = [at for at in range(len(entries)) if at not in taken]
        self._matched = {pair.expected for pair in (*self.pairs, *self.off_order)}
        self.begin_s, self.log_begin_s = self._begins()
        self.judged = dict(zip(self.pairs, self._judge(), strict=True))

    def _begins(self) -> tuple[float, float]:
        """Return the time of the first matched event by either clock [s]."""
        if self.pairs:
            first = self.pairs[0]
            return self.expected[first.expected].after_s, self.entries[first.logged].at_s
        begin_s = self.expected[0].after_s if self.expected else 0.0
        return begin_s, self.entries[0].at_s

    # ------------------------------------------------------------------ times

    def _gap(self, pair: Pair, since: Pair) -> _Judged:
        """Return how the gap from one pair to another differs."""
        one, entry = self.expected[pair.expected], self.entries[pair.logged]
        gap_s = one.after_s - self.expected[since.expected].after_s
        logged_s = entry.at_s - self.entries[since.logged].at_s
        if one.by_crew:
            return _Judged(logged_s - gap_s, math.inf, since)
        # counted past a hand of the crew, a wait is judged no more widely than from that hand
        past_hand = since.expected < pair.expected - 1 and self._is_hand(pair.expected - 1)
        of_s = one.gap_s if past_hand else abs(gap_s)
        may_s = tolerance_s(of_s, self.one.time_tolerance_s, self.one.time_part)
        return _Judged(logged_s - gap_s, may_s + entry.resolution_s, since)

    def _is_hand(self, place: int) -> bool:
        """Return whether an expected event comes with a hand of the crew, and is in the log."""
        return self.expected[place].by_crew and place in self._matched

    def _is_told_by_crew(self, entry: LogEntry) -> bool:
        """Return whether an event that comes with a hand of the crew is told by a line."""
        return any(one.by_crew and one.told_by(entry.subject, entry.event) for one in self.expected)

    def _judge(self) -> tuple[_Judged, ...]:
        """Return the judgement of each pair, so that the fewest are off their time."""
        if not self.pairs:
            return ()
        first = _Judged(0.0, math.inf, None)
        states: dict[Pair, _State] = {self.pairs[0]: _State(0, 0.0, (first,))}
        for pair in self.pairs[1:]:
            after: dict[Pair, _State] = {}
            crew = self.expected[pair.expected].by_crew
            for since, state in reversed(states.items()):  # the latest first: it wins a tie
                found = self._gap(pair, since)
                off = state.off + (not found.in_time)
                total_s = state.total_s + (0.0 if crew else abs(found.off_s))
                then = _State(off, total_s, (*state.judged, found))
                counts_from = [pair] if found.in_time and not crew else [since, pair]
                for anchor in counts_from:
                    known = after.get(anchor)
                    if known is None or then[:2] < known[:2]:
                        after[anchor] = then
            states = dict(sorted(after.items()))
        return min(reversed(states.values()), key=lambda state: state[:2]).judged

    # ------------------------------------------------------------------ lines

    def lines(self) -> list[LogLine]:
        """Return the lines: expected events in order, each line of the log at its place."""
        placed: list[tuple[tuple[float, int, int], LogLine]] = []
        place_of: dict[int, int] = {pair.logged: pair.expected for pair in self.pairs}
        for pair, judged in self.judged.items():
            placed.append(((pair.expected, 0, 0), self._in_order(pair, judged)))
        placed += [((pair.expected, 0, 0), self._off_order(pair)) for pair in self.off_order]
        for n, one in enumerate(self.expected):
            if n not in self._matched:
                placed.append(((n, 0, 0), self._missing(one)))
        before = -1
        for at in range(len(self.entries)):
            before = place_of.get(at, before)
            if at in self.spare:
                placed.append(((before, 1, at), self._spare(at)))
        return [line for _place, line in sorted(placed, key=lambda each: each[0])]

    def _line(
        self,
        verdict: LogVerdict,
        reason: str,
        one: ExpectedEvent | None = None,
        entry: LogEntry | None = None,
        judged: _Judged | None = None,
    ) -> LogLine:
        none = math.nan
        told = entry.event if one is None and entry is not None else one.said if one else ""
        subject = one.subject if one is not None else entry.subject if entry is not None else ""
        return LogLine(
            sequence=self.one.name,
            verdict=verdict,
            subject=subject,
            event=told,
            expected_s=none if one is None else one.after_s - self.begin_s,
            logged_s=none if entry is None else entry.at_s - self.log_begin_s,
            off_s=none if judged is None else judged.off_s,
            tolerance_s=none if judged is None else judged.tolerance_s,
            reason=reason,
            n=None if one is None else one.n,
            line=None if entry is None else entry.line,
        )

    def _in_order(self, pair: Pair, judged: _Judged) -> LogLine:
        one, entry = self.expected[pair.expected], self.entries[pair.logged]
        if judged.since is None:
            return self._line("as expected", "the others count from it", one, entry)
        if one.by_crew:
            why = "it comes with a hand of the crew, so its time is not judged"
            return self._line("as expected", why, one, entry, judged)
        verdict: LogVerdict = "as expected"
        if not judged.in_time:
            verdict = "late" if judged.off_s > 0.0 else "early"
        return self._line(verdict, self._told(pair, judged), one, entry, judged)

    def _told(self, pair: Pair, judged: _Judged) -> str:
        """Return in words when an event came, and when it should have."""
        one, entry, since = self.expected[pair.expected], self.entries[pair.logged], judged.since
        assert since is not None  # noqa: S101  (only the first has none)
        before = self.expected[since.expected]
        logged_s = entry.at_s - self.entries[since.logged].at_s
        gap_s = one.after_s - before.after_s
        coarse = ", by times without seconds" if entry.resolution_s else ""
        return (
            f"{_called(one)} {_after(logged_s, before)}, expected"
            f" {_seconds(gap_s)} +- {_seconds(judged.tolerance_s)}{coarse}"
        )

    def _off_order(self, pair: Pair) -> LogLine:
        """Return the line of an event that occurs in both, but off the order."""
        one, entry = self.expected[pair.expected], self.entries[pair.logged]
        if not self.pairs:
            return self._line("as expected", "the others count from it", one, entry)
        in_time = [since for since in self.pairs if self.judged[since].in_time]
        before = [since for since in in_time if since.expected < pair.expected]
        since = before[-1] if before else self.pairs[0]
        judged = self._gap(pair, since)
        if one.by_crew:
            why = "it comes with a hand of the crew, so its time and its order are not judged"
            return self._line("as expected", why, one, entry, judged)
        told = self._told(pair, judged)
        if judged.in_time:
            return self._line("as expected", f"{told}; in another order", one, entry, judged)
        place = self._place_in_log(pair)
        return self._line("out of order", f"{told}; it stands {place}", one, entry, judged)

    def _place_in_log(self, pair: Pair) -> str:
        """Return in words where a line stands that is off the order."""
        later = [p for p in self.pairs if p.expected > pair.expected and p.logged < pair.logged]
        if later:
            other = self.expected[later[-1].expected]
            return f"after {_called(other)}"
        earlier = [p for p in self.pairs if p.expected < pair.expected and p.logged > pair.logged]
        other = self.expected[(earlier or self.pairs)[0].expected]
        return f"before {_called(other)}"

    def _missing(self, one: ExpectedEvent) -> LogLine:
        before = self.expected[one.n - 2] if one.n > 1 else None
        when = "as the first" if before is None else _after(one.gap_s, before)
        return self._line("missing", f"{_called(one)}, expected {when}", one)

    def _spare(self, at: int) -> LogLine:
        """Return the line of an entry that no expected event is left for."""
        entry = self.entries[at]
        if not entry.known:
            near = " or ".join(map(repr, entry.nearest))
            hint = f"; did you mean {near}?" if near else ""
            why = f"{entry.subject} {entry.event!r} is none of the words{hint}".strip()
            if not entry.subject:
                why += f"; {PASSED_OVER}"
            return self._line("extra", why, entry=entry)
        twin = self._twin(entry)
        if twin is not None:
            one, line = twin
            why = f"{entry.subject} {entry.event} tells the same as line {line}"
            return self._line("as expected", why, one, entry)
        if at in self.asides:
            why = f"{entry.subject} {entry.event} belongs to the preparations, or may come or not"
            return self._line("not asked for", why, entry=entry)
        why = f"{entry.subject} {entry.event} is not expected here"
        return self._line("extra", why, entry=entry)

    def _twin(self, entry: LogEntry) -> tuple[ExpectedEvent, int] | None:
        """Return the event that another line tells of already, and that line; None for none."""
        for pair in (*self.pairs, *self.off_order):
            one, other = self.expected[pair.expected], self.entries[pair.logged]
            apart_s = abs(other.at_s - entry.at_s) - entry.resolution_s
            if (
                other.event != entry.event
                and one.told_by(entry.subject, entry.event)
                and apart_s <= self.one.time_tolerance_s + _ROUNDING_S
            ):
                return one, other.line
        return None


def _seconds(value_s: float) -> str:
    """Return seconds as text, without a sign where there is nothing to it."""
    shown = round(value_s) if abs(value_s) >= 100.0 else round(value_s, 1)
    return f"{shown + 0:g} s"


def _after(gap_s: float, before: ExpectedEvent) -> str:
    """Return in words how long after an event, or before it."""
    if gap_s < -0.05:
        return f"{_seconds(-gap_s)} before {_called(before)}"
    return f"{_seconds(max(gap_s, 0.0))} after {_called(before)}"


def _called(one: ExpectedEvent) -> str:
    """Return an event with what it is of: ``P1 start``, ``"alarm raised: ..." of the station``."""
    if one.subject in ELSEWHERE:
        return f'"{one.said}" of the {one.subject}'
    return f'"{one.said}" of {one.subject}' if ":" in one.said else f"{one.subject} {one.said}"

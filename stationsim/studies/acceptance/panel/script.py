"""Scripts and tests by the panel: what the crew does, and what should show then, in seconds."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from stationsim.episode import Episode, ScriptedEvent
from stationsim.inflow.segments import Segments, from_points
from stationsim.vocabulary import seen_by

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.results import Result
    from stationsim.trace import EventRow

AT_PANEL = frozenset({"panel", "alarm"})
"""By what somebody at the panel notices an event."""

ON_SITE = frozenset({"site"})
"""What only whoever stands beside it notices."""

TOLD_BY = {
    "alarm raised": frozenset(
        {"trip", "seal leak", "level signal lost", "level signal distrusted", "out of fuel"}
    ),
    "alarm cleared": frozenset({"reset", "level signal trusted"}),
}
"""Alarms that tell of an event of the same machine at the same instant: one line of a log will do
for both."""

SAME_INSTANT_S = 1e-6


@dataclass(frozen=True)
class ExpectedEvent:
    """Something that the panel should show.

    Parameters
    ----------
    n
        Its number in the sequence, from 1 [-].
    after_s
        When, since the beginning of the sequence [s].
    gap_s
        When, since the expected event before it [s].
    subject, event, cause
        What should happen, in the words of the table of events.
    level_m
        Level in the well then [m above floor].
    tolerance_s
        By how much the gap may differ [s]; infinity when a hand of the crew decides it.
    by_crew
        Whether it comes with what the crew does, so that its time tells nothing of the station.
    also
        What tells of the same thing at the same instant, as a log may call it: a log need not hold
        it, and may hold it in place of this one.
    """

    n: int
    after_s: float
    gap_s: float
    subject: str
    event: str
    cause: str
    level_m: float
    tolerance_s: float
    by_crew: bool = False
    also: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """What a log may call it: ``start``, ``alarm raised: high level``."""
        return said(self.event, self.cause)

    def told_by(self, subject: str, words: str) -> bool:
        """Return whether a line of a log tells of it.

        Parameters
        ----------
        subject
            Of what the line tells.
        words
            What it says: as :attr:`said`, as one of ``also``, or an alarm without its name.
        """
        each = (self.said, *self.also)
        return subject == self.subject and any(_is_called(one, words) for one in each)


class Aside(NamedTuple):
    """Something that a log may hold and need not: of the preparations, or what no panel shows.

    Parameters
    ----------
    subject
        Of what it tells.
    said
        What a log may call it.
    until_s
        It comes before whatever is expected later than this [s].
    """

    subject: str
    said: str
    until_s: float

    def told_by(self, subject: str, words: str) -> bool:
        """Return whether a line of a log tells of it; as :meth:`ExpectedEvent.told_by`.

        Parameters
        ----------
        subject, words
            Of what the line tells, and what it says.
        """
        return subject == self.subject and _is_called(self.said, words)


@dataclass(frozen=True)
class PanelTest:
    """A test by script, with what the station should do.

    Parameters
    ----------
    name
        What the test is called.
    purpose
        What it is for, in a sentence.
    how
        What the crew does, in short sentences.
    start_level_m, end_level_m
        Level in the well when it begins and when it ends [m above floor].
    inflow_m3s
        Clean water that runs in while it lasts [m3/s].
    events
        What the crew does and lets happen.
    expected
        What the panel should show, in order.
    on_site
        What only somebody who stands beside it can see, such as the call of the engine; a log of
        the panel does not hold it.
    asides
        What a log may hold besides and need not: the preparations, calls that go unanswered while
        the crew holds the pumps off, and whatever else of the run no panel shows.
    duration_s
        How long it lasts [s].
    water_m3, pumped_m3
        Clean water that runs in, and water that is pumped, while it lasts [m3].
    time_tolerance_s, time_part
        A gap may differ by so many seconds [s], or by this part of it [-], whichever is more.
    result
        The run that says so.
    """

    name: str
    purpose: str
    how: tuple[str, ...]
    start_level_m: float
    end_level_m: float
    inflow_m3s: float
    events: tuple[ScriptedEvent, ...]
    expected: tuple[ExpectedEvent, ...]
    duration_s: float
    water_m3: float
    pumped_m3: float
    time_tolerance_s: float
    time_part: float
    result: Result = field(repr=False, compare=False)
    on_site: tuple[ExpectedEvent, ...] = ()
    asides: tuple[Aside, ...] = ()


def said(event: str, cause: str) -> str:
    """Return what a log may call an event: its word, and of an alarm, which one.

    Parameters
    ----------
    event, cause
        As in the table of events.
    """
    return f"{event}: {cause.partition(':')[0]}" if event in TOLD_BY else event


def _is_called(one: str, words: str) -> bool:
    """Return whether words of a log mean this; an alarm may come without its name."""
    return one == words or one.startswith(f"{words}:")


def tolerance_s(gap_s: float, least_s: float, part: float) -> float:
    """Return by how much a gap may differ [s].

    Parameters
    ----------
    gap_s
        The gap [s].
    least_s, part
        At least so much [s], or this part of the gap [-].
    """
    return max(least_s, part * gap_s)


@dataclass(frozen=True)
class CleanWater:
    """Clean water that runs in at one rate, and may be shut off.

    Parameters
    ----------
    flow_m3s
        The rate [m3/s].
    until_s
        When it is shut off [s]; infinity for never.
    """

    flow_m3s: float
    until_s: float = math.inf

    def segments(self, start: datetime, duration_s: float) -> Segments:  # noqa: ARG002
        """Return it as pieces.

        Parameters
        ----------
        start
            When the sequence begins.
        duration_s
            How long it lasts [s].
        """
        if self.until_s >= duration_s:
            return from_points([0.0], [self.flow_m3s])
        return from_points([0.0, self.until_s], [self.flow_m3s, 0.0], steps=True)


@dataclass(frozen=True)
class Script:
    """What a sequence begins with, and what is done in it.

    Parameters
    ----------
    name, purpose, how
        As in :class:`PanelTest`.
    start_level_m
        Where the water stands [m above floor].
    inflow_m3s, until_s
        What runs in [m3/s], and until when [s].
    events
        What the crew does and lets happen.
    prepared_s
        What comes before this belongs to the preparations and is not expected of a log [s].
    held_s
        Calls that go unanswered up to this do so because the crew holds the pumps off [s].
    on_hand
        What hangs on how quick the crew's hand is, as a log may call it: no time is expected of it.
    besides
        What the crew does at a time of its own, by subject and as a log may call it.
    begins
        Local time at which it begins; None for that of the day.
    """

    name: str
    purpose: str
    how: tuple[str, ...]
    start_level_m: float
    inflow_m3s: float
    events: tuple[ScriptedEvent, ...] = ()
    until_s: float = math.inf
    prepared_s: float = 0.0
    held_s: float = 0.0
    on_hand: tuple[str, ...] = ()
    besides: tuple[tuple[str, str], ...] = ()
    begins: datetime | None = None

    def episode(self, start: datetime, duration_s: float) -> Episode:
        """Return the episode in which it is played.

        Parameters
        ----------
        start
            When the day begins.
        duration_s
            How long it lasts [s].
        """
        return Episode(
            start=self.begins or start,
            duration_s=duration_s,
            inflow=(CleanWater(self.inflow_m3s, self.until_s),),
            start_level_m=self.start_level_m,
            events=self.events,
            name=self.name,
        )


def sequence_of(
    script: Script, result: Result, time_tolerance_s: float, time_part: float
) -> PanelTest:
    """Return what came of a script.

    Parameters
    ----------
    script
        What was played.
    result
        The run of it.
    time_tolerance_s, time_part
        A gap may differ by so many seconds [s], or by this part of it [-], whichever is more.
    """
    trace = result.trace
    rows = [row for row in trace.events if _counts(row, script)]
    rows.sort(key=lambda row: row.t_s)  # stable: within an instant as they came

    def expected(seen: frozenset[str]) -> tuple[ExpectedEvent, ...]:
        shown = [row for row in rows if seen_by(row.event) in seen]
        return _expected(shown, script, time_tolerance_s, time_part)

    return PanelTest(
        name=script.name,
        purpose=script.purpose,
        how=script.how,
        start_level_m=script.start_level_m,
        end_level_m=result.station.well.level_at(trace.end_m3),
        inflow_m3s=script.inflow_m3s,
        events=script.events,
        expected=expected(AT_PANEL),
        on_site=expected(ON_SITE),
        asides=_asides(trace.events, script, result.station.machine_names()),
        duration_s=trace.end_s,
        water_m3=trace.inflow_m3,
        pumped_m3=trace.pumped_m3,
        time_tolerance_s=time_tolerance_s,
        time_part=time_part,
        result=result,
    )


def _hands_s(events: tuple[ScriptedEvent, ...]) -> list[float]:
    """Return the times at which the crew does something or lets go of it [s]."""
    begun = [event.at_s for event in events]
    ended = [event.at_s + event.duration_s for event in events if event.duration_s is not None]
    return sorted({*begun, *ended})


def _counts(row: EventRow, script: Script) -> bool:
    """Return whether a row belongs to the sequence, and not to its preparations."""
    if row.t_s < script.prepared_s - SAME_INSTANT_S:
        return False
    return row.event != "start refused" or row.t_s > script.held_s + SAME_INSTANT_S


def _asides(rows: Sequence[EventRow], script: Script, machines: Sequence[str]) -> tuple[Aside, ...]:
    """Return what a log may hold and need not."""
    found = [
        Aside(row.subject, said(row.event, row.cause), row.t_s)
        for row in rows
        if not (_counts(row, script) and seen_by(row.event) in AT_PANEL)
    ]
    if script.held_s > 0.0:  # a slower crew lets other calls go unanswered than this run does
        found = [one for one in found if one.said != "start refused"]
        found.append(Aside("station", "start refused", script.held_s))
    # the selectors are set before anything else
    found += [Aside(name, word, -math.inf) for name in machines for word in ("off", "in auto")]
    return (*found, *(Aside(*one, math.inf) for one in script.besides))


def _expected(
    rows: Sequence[EventRow], script: Script, least_s: float, part: float
) -> tuple[ExpectedEvent, ...]:
    """Return rows as expected events, numbered, with their tolerances."""
    found: list[ExpectedEvent] = []
    hands_s = _hands_s(script.events)
    before_s = 0.0
    for row in rows:
        twin = _told_already(found, row)
        if twin is not None:
            one = found[twin]
            found[twin] = replace(one, also=(*one.also, said(row.event, row.cause)))
            continue
        gap_s = row.t_s - before_s
        first = not found or gap_s > SAME_INSTANT_S
        by_crew = said(row.event, row.cause) in script.on_hand or (
            first and any(abs(row.t_s - at_s) <= SAME_INSTANT_S for at_s in hands_s)
        )
        found.append(
            ExpectedEvent(
                n=len(found) + 1,
                after_s=row.t_s,
                gap_s=gap_s,
                subject=row.subject,
                event=row.event,
                cause=row.cause,
                level_m=row.level_m,
                tolerance_s=math.inf if by_crew else tolerance_s(gap_s, least_s, part),
                by_crew=by_crew,
            )
        )
        before_s = row.t_s
    return tuple(found)


def _told_already(found: Sequence[ExpectedEvent], row: EventRow) -> int | None:
    """Return the place of the event at this instant that an alarm tells of; None for none."""
    for place in range(len(found) - 1, -1, -1):
        one = found[place]
        if row.t_s - one.after_s > SAME_INSTANT_S:
            break
        if one.subject == row.subject and one.event in TOLD_BY.get(row.event, ()):
            return place
    return None

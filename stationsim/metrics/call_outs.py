"""Call-outs of a run: who was told when, who came when; and what they come to in numbers.

A call-out is all that people do with no gap between: phones that ring, the way, the work, until the
last one has left; and phones that ring anew soon after nobody was reached. A round that found
nothing is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stationsim.trace import CrewRow

if TYPE_CHECKING:
    from stationsim.people.response import Response
    from stationsim.trace import AlarmRow, EventRow, Trace

SUBJECT = "call-out"
"""Subject of the events of people."""

_HOUR_S = 3600.0
_ONE_INSTANT_S = 1e-6
_SOON_S = 1800.0
"""When nobody was reached, what comes within this belongs to the same call-out [s]."""

_NOT_AT_WORK = ("called", "stood down", "visits")
_IN_VAIN = ("called", "no answer")
_LOOKS = ("looks around", "looks on")
_OF_A_ROUND = ("visited", "crew on site", "crew leaves")


@dataclass
class CallOut:
    """What people did with no gap between.

    Parameters
    ----------
    start_s, stop_s
        From the first phone that rings, or whoever comes by, to the last who leaves [s].
    rows
        What they did, in the order of beginning.
    events
        What was noted of it, in the order of time.
    alarms
        Alarms that people came to know of by it, in the order in which they were raised; where
        nobody was reached, those for which phones rang.
    """

    start_s: float
    stop_s: float
    rows: list[CrewRow] = field(default_factory=list)
    events: list[EventRow] = field(default_factory=list)
    alarms: list[AlarmRow] = field(default_factory=list)

    def first(self, event: str) -> EventRow | None:
        """Return the first event of a word; None when there is none.

        Parameters
        ----------
        event
            A word of the vocabulary.
        """
        return next((row for row in self.events if row.event == event), None)

    @property
    def on_site_s(self) -> float:
        """When somebody first stood on site [s]; NaN when nobody came."""
        row = self.first("crew on site")
        return math.nan if row is None else row.t_s

    @property
    def raised_s(self) -> float:
        """When the first of its alarms was raised [s]; NaN when there was none."""
        return min((row.raised_s for row in self.alarms), default=math.nan)

    @property
    def known_s(self) -> float:
        """When somebody first knew [s]; NaN when nobody was reached."""
        told = [row.t_s for row in self.events if row.event in ("acknowledged", "crew on site")]
        return min(told, default=math.nan)


def call_outs(trace: Trace, response: Response | None) -> list[CallOut]:
    """Return the call-outs of a run, in the order of time.

    Parameters
    ----------
    trace
        What the run left behind.
    response
        Who answers; None for nobody.
    """
    if response is None:
        return []
    spans: list[tuple[float, float, CrewRow | EventRow]] = [
        (row.start_s, row.stop_s, row) for row in trace.crew
    ]
    spans += [(row.t_s, row.t_s, row) for row in trace.events if row.subject == SUBJECT]
    spans.sort(key=lambda span: span[:2])
    found: list[CallOut] = []
    for start_s, stop_s, row in spans:
        gap_s = start_s - found[-1].stop_s if found else math.inf
        if gap_s > (_reaches_s(found[-1]) if found else _ONE_INSTANT_S):
            found.append(CallOut(start_s, stop_s))
        one = found[-1]
        one.stop_s = max(one.stop_s, stop_s)
        if isinstance(row, CrewRow):
            one.rows.append(row)
        else:
            one.events.append(row)
    for one in found:
        _give_alarms(one, trace, response)
    return [one for one in found if not _found_nothing(one)]


def _reaches_s(one: CallOut) -> float:
    """Return how long after it something still belongs to a call-out [s]."""
    if not math.isnan(one.known_s):
        return _ONE_INSTANT_S
    missed_s = [row.t_s for row in one.events if row.event == "nobody reached"]
    rows = [row for row in one.rows if row.start_s >= max(missed_s, default=-math.inf)]
    if rows and all((row.task, row.outcome) == _IN_VAIN for row in rows):
        return math.inf  # the phone is silent, and the call still waits
    return _SOON_S if missed_s else _ONE_INSTANT_S


def _found_nothing(one: CallOut) -> bool:
    """Return whether it is a round that found all well, looked around at most, and left."""
    if not one.rows or one.alarms:
        return False
    idle = all(
        row.outcome == "all well" if row.task == "visits" else row.task in _LOOKS
        for row in one.rows
    )
    return idle and all(row.event in _OF_A_ROUND for row in one.events)


def _give_alarms(one: CallOut, trace: Trace, response: Response) -> None:
    """Find the alarms that a call-out belongs to: those that call before any other."""
    low, high = one.start_s - _ONE_INSTANT_S, one.stop_s + _ONE_INSTANT_S
    if math.isnan(one.known_s):
        known = [
            row
            for row in trace.alarms
            if row.raised_s <= high and not row.cleared_s < low and math.isnan(row.reached_s)
        ]
    else:
        known = [row for row in trace.alarms if low <= row.reached_s <= high]
    calling = [row for row in known if response.calls(row.alarm)]
    one.alarms = sorted(calling or known, key=lambda row: row.raised_s)


def crew_hours(trace: Trace) -> float:
    """Return how long people were at it, summed over them [h].

    What one person does at once counts once.

    Parameters
    ----------
    trace
        What the run left behind.
    """
    total_s = 0.0
    over_s: dict[str, float] = {}
    for row in sorted(trace.crew, key=lambda row: row.start_s):
        if not row.person or row.task in _NOT_AT_WORK:
            continue
        since_s = max(row.start_s, over_s.get(row.person, 0.0))
        total_s += max(row.stop_s - since_s, 0.0)
        over_s[row.person] = max(row.stop_s, since_s)
    return total_s / _HOUR_S


def unreached(trace: Trace, response: Response) -> list[AlarmRow]:
    """Return the alarms that call out and of which nobody ever knew, in the order of time.

    Parameters
    ----------
    trace
        What the run left behind.
    response
        Who answers.
    """
    rows = [row for row in trace.alarms if math.isnan(row.reached_s) and response.calls(row.alarm)]
    return sorted(rows, key=lambda row: row.raised_s)


def of_people(trace: Trace, response: Response | None) -> list[tuple[str, str, float, str]]:
    """Return the rows of the summary about people; none where there are none.

    Parameters
    ----------
    trace
        What the run left behind.
    response
        Who answers; None for nobody.
    """
    if response is None:
        return []
    waits: dict[str, float] = {}
    for row in trace.alarms:
        if not math.isnan(row.reached_s):
            waits[row.alarm] = max(waits.get(row.alarm, 0.0), row.reached_s - row.raised_s)
    found = call_outs(trace, response)
    ways = [one.on_site_s - one.raised_s for one in found]
    ways = [way for way in ways if not math.isnan(way)]
    taken = sum(row.event == "acknowledged" for row in trace.events)
    station = "station"
    return [
        ("call-outs", station, float(taken), ""),
        *(("longest time until known", alarm, wait, "s") for alarm, wait in waits.items()),
        ("longest time until known", station, max(waits.values(), default=math.nan), "s"),
        ("longest time from alarm to site", station, max(ways, default=math.nan), "s"),
        ("alarms that reached nobody", station, float(len(unreached(trace, response))), ""),
        ("crew hours", station, crew_hours(trace), "h"),
    ]

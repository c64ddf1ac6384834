"""Truth beside seen: what was so, and when, how and whether the person who played came to know.

The truth is the events of the run, without the routine of pumps. Somebody comes to know of a thing
when they are told of it, when an alarm of it reaches them, when they or somebody on site read a
panel that shows it, when it is found by looking around, or when it was mended for them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stationsim import vocabulary
from stationsim.studies.drill import said

if TYPE_CHECKING:
    from collections.abc import Iterator

    from stationsim.results import Result
    from stationsim.studies.drill.drill import Drill
    from stationsim.studies.drill.told import Looked, Told
    from stationsim.trace import AlarmRow, CrewRow, EventRow

_ROUTINE = frozenset(
    {
        "start", "stop", "start refused", "swap skipped", "random fault", "worn", "water ran back",
        "exercise begins", "exercise ends", "rags fell off", "reversed and clear",
    }
)  # fmt: skip
"""What happens all the time, and is told only where somebody saw a refusal."""

_BEGINS = frozenset(
    {
        "trip", "out of service", "fails to start", "no run signal", "crank failed", "clogged",
        "wearing", "ragging", "air-bound", "seal leak", "level signal frozen", "level signal lost",
        "level signal off", "level signal drifting", "level signal noisy", "level signal late",
        "float stuck up", "float stuck down", "float late", "controller stopped",
        "control breaker open", "telemetry lost", "alarm battery empty", "alarm off", "grid lost",
        "phase lost", "transfer switch stuck", "does not move", "generator fails",
        "generator fails to start", "generator late", "out of fuel", "battery flat",
        "does not crank", "fails to prime", "not primed", "check valve open", "check valve slow",
        "plug valve closed", "turning backwards", "force main with air", "force main leaking",
        "force main broken", "force main plugged", "downstream dark", "downstream limited",
        "spill begins",
    }
)  # fmt: skip
"""Trouble that begins."""

_ENDS = frozenset(
    {
        "can start again", "clear again", "renewed", "air let out", "reset", "back in service",
        "level signal right", "float right", "controller runs again", "control breaker closed",
        "telemetry back", "alarm on", "grid back", "phases back", "moves again", "in time again",
        "check valve holds", "plug valve opened", "turns the right way", "dry again",
        "force main right again", "downstream right again", "can prime again", "spill ends",
        "alarms live again", "refuelled",
    }
)  # fmt: skip
"""Trouble that ends, of the same subject."""

_ALARM_OF = {
    "grid lost": "power failed",
    "grid back": "power failed",
    "phase lost": "phase lost",
    "phases back": "phase lost",
    "does not move": "transfer failed",
    "transfer switch stuck": "transfer failed",
    "controller stopped": "controller stopped",
    "controller runs again": "controller stopped",
    "control breaker open": "control power failed",
    "control breaker closed": "control power failed",
    "level signal lost": "level signal failed",
    "level signal distrusted": "level signal failed",
    "level signal trusted": "level signal failed",
    "telemetry lost": "telemetry lost",
    "alarm battery empty": "telemetry lost",
}
"""Trouble of the whole station, and the alarm that tells of it."""

_FAILED_PHASES = frozenset({"failed", "tripped", "out of fuel"})
_CONNECTED = frozenset(
    {
        "transferred", "mobile generator connected", "mobile generator disconnected",
        "bypass pump connected", "bypass pump disconnected",
    }
)  # fmt: skip
_SAME_S = 1e-3
_INSTANT_S = 1.0
_SPILL_SEEN = "a spill"


class Truth(NamedTuple):
    """Something that happened, and when the person who played came to know.

    Parameters
    ----------
    t_s
        When [s].
    subject, event, cause
        As in the events of the run.
    seen
        By what anybody could notice it.
    told_s
        When they came to know [s]; NaN for never.
    told_by
        How: ``phone``, ``panel``, ``passer-by``, or who told it; empty for never.
    """

    t_s: float
    subject: str
    event: str
    cause: str
    seen: str
    told_s: float
    told_by: str

    @property
    def is_trouble(self) -> bool:
        """True for trouble that begins."""
        return self.event in _BEGINS

    @property
    def what(self) -> str:
        """What happened, in few words."""
        alarm = self.cause.partition(":")[0]
        if self.event == "alarm raised":
            return said.alarm_text(alarm, self.subject)
        if self.event == "alarm cleared":
            return said.alarm_text(alarm, self.subject, over=True)
        if self.subject == "station" or self.event.startswith(self.subject):
            return self.event
        if self.event == "alarm sent":
            return f"{said.alarm_text(alarm, self.subject)}: sent"
        return f"{self.subject}: {self.event}"


def truth_of(drill: Drill) -> list[Truth]:
    """Return what happened, in the order of time, and when the person who played came to know.

    Parameters
    ----------
    drill
        The drill; it is brought to its end.
    """
    seen = _Seen(drill)
    found = []
    for number, row in enumerate(seen.events):
        told_s, told_by = min(
            ((t_s, by) for t_s, by in seen.ways(number, row) if t_s <= drill.left_s),
            default=(math.nan, ""),
            key=lambda way: way[0],
        )
        if row.event in _ROUTINE and (row.event != "start refused" or math.isnan(told_s)):
            continue
        word = vocabulary.seen_by(row.event)
        found.append(Truth(row.t_s, row.subject, row.event, row.cause, word, told_s, told_by))
    found.sort(key=lambda row: row.t_s)
    return found


class _Seen:
    """All ways by which the person who played came to know of something."""

    def __init__(self, drill: Drill) -> None:
        result: Result = drill.finish()
        self.drill = drill
        self.events: list[EventRow] = result.trace.events
        self.alarms: list[AlarmRow] = result.trace.alarms
        self.crew: list[CrewRow] = result.trace.crew
        self.of_event: dict[int, Told] = {}
        self.of_text: dict[str, list[Told]] = {}
        for told in drill.told:
            self.of_event.setdefault(told.event, told)
            self.of_text.setdefault(told.text, []).append(told)
        self.ends: dict[str, list[float]] = {}
        for row in self.events:
            if row.event in _ENDS:
                self.ends.setdefault(row.subject, []).append(row.t_s)

    def ways(self, number: int, row: EventRow) -> Iterator[tuple[float, str]]:
        """Yield when and by whom the person who played came to know of an event.

        Parameters
        ----------
        number
            Which event it is, counted from nought.
        row
            The event.
        """
        if number in self.of_event:
            told = self.of_event[number]
            yield told.t_s, told.who or told.by
        if row.event in ("alarm raised", "alarm sent"):
            yield from self._alarm(said.alarm_of(row), row.subject, row.t_s)
            return
        if row.event == "alarm cleared":
            yield from self._over(said.alarm_of(row), row.subject, row.t_s)
            return
        until_s = self._until_s(row)
        yield from self._by_alarm(row, until_s)
        yield from self._by_eye(row, until_s)
        if row.event == "spill begins":
            yield from (
                (told.t_s, told.by)
                for told in self.drill.told
                if told.by == "passer-by" and _SPILL_SEEN in told.text
                and row.t_s <= told.t_s <= until_s
            )  # fmt: skip
        elif row.event in _BEGINS:
            yield from (
                (task.stop_s, task.person or task.tool)
                for task in self.crew
                if task.outcome == "done" and task.subject == row.subject
                and row.t_s < task.start_s <= until_s
            )  # fmt: skip

    def _until_s(self, row: EventRow) -> float:
        """Return until when it is so [s]."""
        ends = self.ends.get(row.subject, [])
        if row.event not in _ENDS:
            return next((t_s for t_s in ends if t_s > row.t_s), math.inf)
        again = (
            other.t_s for other in self.events
            if other.subject == row.subject and other.t_s > row.t_s and other.event in _BEGINS
        )  # fmt: skip
        return min(again, default=math.inf)

    def _alarm(self, alarm: str, subject: str, raised_s: float) -> Iterator[tuple[float, str]]:
        """Yield when an alarm that was raised, or stood, then came to be known."""
        standing = [
            row for row in self.alarms
            if row[:2] == (alarm, subject) and row.raised_s <= raised_s + _SAME_S
        ]  # fmt: skip
        if not standing:
            return
        row = max(standing, key=lambda one: one.raised_s)
        reached_s = self.drill.reached.get(row[:3], math.nan)
        if math.isnan(reached_s):
            return
        texts = self.of_text.get(said.alarm_text(alarm, subject), [])
        told = next(
            (
                one for one in texts
                if row.raised_s - _SAME_S <= one.t_s <= reached_s + _INSTANT_S
                and one.by != "answer"
            ),
            None,
        )  # fmt: skip
        look = next((one for one in self.drill.looks if abs(one.t_s - reached_s) <= _SAME_S), None)
        found = told or look
        yield (reached_s if told is None else min(told.t_s, reached_s)), _teller(found)

    def _over(self, alarm: str, subject: str, over_s: float) -> Iterator[tuple[float, str]]:
        again_s = min(
            (
                row.raised_s for row in self.alarms
                if row[:2] == (alarm, subject) and row.raised_s > over_s
            ),
            default=math.inf,
        )  # fmt: skip
        for told in self.of_text.get(said.alarm_text(alarm, subject, over=True), []):
            if over_s - _SAME_S <= told.t_s < again_s + _INSTANT_S:
                yield told.t_s, _teller(told)
                return

    def _by_alarm(self, row: EventRow, until_s: float) -> Iterator[tuple[float, str]]:
        """Yield when an alarm that tells of it came to be known."""
        wanted = _ALARM_OF.get(row.event)
        if row.event in _ENDS:
            if wanted is not None:
                for alarm in self.alarms:
                    if alarm.alarm == wanted and abs(alarm.cleared_s - row.t_s) <= _INSTANT_S:
                        yield from self._over(wanted, alarm.subject, alarm.cleared_s)
            return
        named = row.event in _BEGINS and row.subject not in ("station", "grid", "panel")
        for alarm in self.alarms:
            tells = alarm.alarm == wanted or (named and alarm.subject == row.subject)
            if tells and row.t_s - _SAME_S <= alarm.raised_s <= until_s:
                yield from self._alarm(alarm.alarm, alarm.subject, alarm.raised_s)

    def _by_eye(self, row: EventRow, until_s: float) -> Iterator[tuple[float, str]]:
        for look in self.drill.looks:
            if row.t_s <= look.t_s <= until_s and _shows(look, row):
                yield look.t_s, _teller(look)


def _teller(told: Told | Looked | None) -> str:
    """Return who, or what, told it."""
    return "phone" if told is None else told.who or told.by


def _shows(look: Looked, row: EventRow) -> bool:
    """Return whether a look at the panel, or around, shows what an event has brought about."""
    return _panel_shows(look, row) or _found_around(look, row)


def _found_around(look: Looked, row: EventRow) -> bool:
    if look.sight is None:
        return False
    if row.event in ("spill begins", "spill ends"):
        return look.sight.spilling == (row.event == "spill begins")
    amiss = (subject for _kind, subject in look.sight.amiss)
    return look.closely and row.event in _BEGINS and row.subject in amiss


def _panel_shows(look: Looked, row: EventRow) -> bool:
    shown, event = look.shown, row.event
    machine = next((one for one in shown.machines if one.name == row.subject), None)
    phase = dict(shown.generators).get(row.subject, "") if machine is None else machine.engine
    answers = {
        "grid lost": not shown.grid_on,
        "grid back": shown.grid_on,
        "level signal lost": math.isnan(shown.level_m),
        "control breaker open": shown.dark,
        "generator fails": phase in _FAILED_PHASES,
        "out of fuel": phase in _FAILED_PHASES,
    }
    if machine is not None:
        out = bool(machine.taken_out) or phase in _FAILED_PHASES
        of_machine = ("trip", "out of service", "does not crank", "not primed")
        answers |= dict.fromkeys(of_machine, out)
        answers |= {"in hand": machine.mode == "hand", "off": machine.mode == "off"}
        answers["in auto"] = machine.mode == "auto"
    return answers.get(event, event in _CONNECTED)

"""Responders: from an alarm to somebody who stands on site.

The way of an alarm: it leaves the station, the far end picks it up at its next poll, a phone rings,
somebody acknowledges it or the next one on the list is called too. Who acknowledges first goes:
gets ready, collects what the alarm asks for, travels. An alarm that comes while somebody is on the
way or on site is told to them; on site every alarm is heard at once. One that comes to a phone
while a call rings belongs to that call; when nobody takes it, a call begins anew for what has come
since it began.

Nobody goes for an alarm that no longer stands when it is acknowledged, or when they leave. Away
from the site people know only of alarms that were sent.

The way home is not followed: who leaves the site can be called again at once, and takes the whole
way again.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from typing import TYPE_CHECKING, Any, NamedTuple

import simpy

from stationsim.simulation.clock import CREW, RECORDER
from stationsim.simulation.people.diary import NO_ANSWER, Diary
from stationsim.simulation.people.discovery import Discovery
from stationsim.simulation.people.on_site import Shift
from stationsim.simulation.people.site import Site
from stationsim.simulation.people.stories import Steps, Stories

if TYPE_CHECKING:
    from stationsim.chance import Range
    from stationsim.people.response import Person, Response
    from stationsim.simulation.people.team import Team
    from stationsim.simulation.plant import Plant

Rings = Generator[simpy.Event, Any, "Person | None"]

ALL_CLEAR = "all clear: nobody goes"

_RINGS_S = 600.0
"""A phone that nobody hears rings for no longer, where nobody else is called; common practice, no
source [s]."""


class _Word(NamedTuple):
    """What a phone rings for: an alarm, or what a passer-by has seen (raised: NaN)."""

    what: str
    subject: str
    raised_s: float
    phone_s: float  # when it comes to a phone


class Responders(Stories):
    """Those who answer for one plant.

    Parameters
    ----------
    plant
        The plant.
    team
        The people and their tools; other plants may share them.
    """

    def __init__(self, plant: Plant, team: Team) -> None:
        super().__init__(plant)
        self.team = team
        self.site = Site(plant, team.response)
        self.diary = Diary(plant)
        self.discovery = Discovery(self)
        self.shift: Shift | None = None
        self.going: list[str] = []  # who has acknowledged and is on the way or on site
        self._words: list[_Word] = []  # what nobody has taken yet
        self._ringing = False
        self._news: simpy.Event | None = None  # while phones ring in vain: another word comes
        self._were_late: set[str] = set()
        self._rung_by_passer = False

    @property
    def response(self) -> Response:
        """Who answers, with what."""
        return self.team.response

    @property
    def engaged(self) -> bool:
        """True while somebody is on the way or on site."""
        return bool(self.going)

    # ------------------------------------------------------------------ what the plant tells

    def raised(self, alarm: str, subject: str, *, sent: bool) -> None:
        """An alarm is raised at the station now.

        Parameters
        ----------
        alarm, subject
            Which, and of what.
        sent
            Whether it left the station.
        """
        plant = self.plant
        if self.shift is not None and self.shift.anybody:
            plant.recorder.alarm_reached(plant.t_s, alarm, subject)
            self.shift.changed()
        elif sent:
            self.sent(alarm, subject)
        self.discovery.light(alarm, subject)

    def sent(self, alarm: str, subject: str) -> None:
        """An alarm has left the station now, as it was raised or later.

        Parameters
        ----------
        alarm, subject
            Which, and of what.
        """
        self.plant.at(self.plant.t_s, RECORDER, "people.heard", alarm, subject)

    def heard(self, alarm: str, subject: str) -> None:
        """What has been sent at this instant, now that it is over, is on its way to a phone.

        Parameters
        ----------
        alarm, subject
            Which, and of what.
        """
        plant, team, response = self.plant, self.team, self.response
        raised_s = plant.recorder.alarm_sent_since(alarm, subject)
        if raised_s is None or not response.calls(alarm) or not response.call_list:
            return
        picked_s = plant.t_s + team.takes_s("telemetry", "picks up", response.picked_up)
        phone_s = picked_s + team.takes_s("telemetry", "reaches a phone", response.on_phone)
        self._words.append(_Word(alarm, subject, raised_s, phone_s))
        if self.engaged:
            plant.at(phone_s, CREW, "people.told", alarm, subject, raised_s)
        else:
            self._ring(phone_s)

    def rung(self, what: str) -> None:
        """A passer-by rings now: whoever is on the list is called, unless somebody goes already.

        Parameters
        ----------
        what
            What was seen.
        """
        plant, now = self.plant, self.plant.t_s
        if self.engaged or not self.response.call_list:
            return
        self._rung_by_passer = True
        self._words.append(_Word(what, "station", math.nan, now))
        for alarm, subject in plant.recorder.alarms_unreached():
            raised_s = plant.recorder.alarm_raised_s(alarm, subject)
            self._words.append(_Word(alarm, subject, raised_s, now))
        self._ring(now)

    def told(self, alarm: str, subject: str, raised_s: float) -> None:
        """An alarm comes to the phone of whoever is on the way or on site, if anybody still is.

        Parameters
        ----------
        alarm, subject
            Which, and of what.
        raised_s
            When it was raised [s].
        """
        plant = self.plant
        if self.engaged:
            plant.recorder.alarm_reached(plant.t_s, alarm, subject, raised_s)
        self._words = [word for word in self._words if word[:3] != (alarm, subject, raised_s)]
        if self.shift is not None:
            self.shift.changed()

    # ------------------------------------------------------------------ phones

    def _ring(self, phone_s: float) -> None:
        """Let phones ring from a time on; when they ring already, tell of it."""
        if not self._ringing:
            self._ringing = True
            self.plant.tell(self.live(self._call(phone_s)))
        elif self._news is not None:
            news, self._news = self._news, None
            news.succeed()

    def _call(self, phone_s: float) -> Steps:
        """An alarm calls out: phones ring until somebody acknowledges."""
        while True:
            yield self.until(phone_s)
            since_s = self.plant.clock.now
            what = next((w.what for w in self._words if w.phone_s <= since_s), "call")
            who = yield from self._rings(what)
            if who is not None:
                break
            self._words = [word for word in self._words if word.phone_s > since_s]
            if not self._words:
                self._ringing = self._rung_by_passer = False
                return
            first_s = min(word.phone_s for word in self._words)
            phone_s = max(first_s, self.plant.clock.now)
        self._ringing = False
        self._reached()
        self.plant.note("call-out", "acknowledged", f"by {who.name}", what)
        if who.name not in self.going:  # the round may have brought them there meanwhile
            self.going.append(who.name)
            yield from self._goes(who, first=True)

    def _rings(self, what: str) -> Rings:
        """Go through the list; return who acknowledges first, when they do, or None."""
        clock, response = self.plant.clock, self.response
        who, at_s = None, math.inf
        tolls: list[tuple[int, str]] = []
        since_s = ring_s = clock.now
        for name in response.rounds * response.call_list:
            if at_s <= ring_s:
                break
            if ring_s > clock.now:
                yield self.until(ring_s)
            person = response.person(name)
            if not self._can_be_called(person):
                continue
            takes = self.team.acknowledges(person, ring_s)
            planned_s = person.acknowledges.typical if takes is None else takes.typical
            in_vain = takes is None and response.next_after_s == math.inf
            rings_s = _RINGS_S if in_vain else math.inf
            row = self.diary.begin("called", what, planned_s, name, gives_up_s=rings_s)
            tolls.append((row, name))
            if takes is not None:
                answers_s = ring_s + self.team.takes_s(name, "acknowledges", takes)
                if answers_s < at_s:
                    who, at_s = person, answers_s
            ring_s += response.next_after_s
        if who is None:
            if tolls:
                yield from self._rings_out(since_s, ring_s)
            why = "nobody answers" if tolls else "nobody is on call"
            self.plant.note("call-out", "nobody reached", why)
        else:
            yield self.until(at_s)
        for row, name in tolls:
            took = "another one took it" if who is None or name != who.name else "acknowledged"
            self.diary.end(row, NO_ANSWER if who is None else took)
        return who

    def _rings_out(self, since_s: float, last_s: float) -> Steps:
        """Wait as long as the last phone rings, or until what has come since rings anew."""
        clock = self.plant.clock
        while True:
            newer = [word.phone_s for word in self._words if word.phone_s > since_s]
            over_s = min([last_s, *newer])
            if over_s <= clock.now:
                return
            self._news = clock.event()
            yield from self.before(self._news, over_s)
            self._news = None

    def _can_be_called(self, person: Person) -> bool:
        now = self.plant.clock.now
        engaged = person.name in self.going or not self.team.free(self.plant.clock, person)
        return self.team.to_be_called(person, now) and not engaged

    def _reached(self) -> None:
        """Whoever has acknowledged knows of all alarms that have come to a phone by now."""
        plant, now = self.plant, self.plant.t_s
        for what, subject, raised_s, phone_s in self._words:
            if phone_s > now:
                plant.at(phone_s, CREW, "people.told", what, subject, raised_s)
            elif not math.isnan(raised_s):
                plant.recorder.alarm_reached(now, what, subject, raised_s)
        self._words = [word for word in self._words if word.phone_s > now]

    # ------------------------------------------------------------------ who goes

    def _sent(self) -> list[tuple[str, str]]:
        """Return the alarms that stand, call out and have left the station, and of what."""
        recorder, calls = self.plant.recorder, self.response.calls
        return [
            (alarm, subject)
            for alarm, subject in recorder.alarms_standing()
            if calls(alarm) and recorder.alarm_sent_since(alarm, subject) is not None
        ]

    def _called_for(self) -> bool:
        """Return whether anything still asks for somebody: an alarm that calls, or a caller."""
        plant = self.plant
        wrong = bool(plant.recorder.alarms_standing()) or plant.spilling.since_s is not None
        return bool(self._sent()) or (self._rung_by_passer and wrong)

    def _goes(self, person: Person, *, first: bool) -> Steps:
        """Somebody who has acknowledged gets ready, collects what is needed, travels and works."""
        plant, team, name = self.plant, self.team, person.name
        with team.of_person(plant.clock, person).request() as request:
            yield request
            if self._stays(name, first=first):
                return
            if first:  # what can be ordered or called by phone is, before anything else
                self.on_shift().kits.asks(self._known_of())
            ready = team.gets_ready(person, plant.clock.now)
            row = self.diary.begin("gets ready", "station", ready.typical, name)
            yield self.until(plant.clock.now + team.takes_s(name, "gets ready", ready))
            self.diary.end(row)
            if self._stays(name, first=first):
                return
            shift = self.on_shift()
            if first:
                shift.kits.asks(self._known_of())
                yield from shift.kits.brings(person, self._known_of())
            travels = team.travels(person, plant.clock.now)
            takes_s = team.takes_s(name, "travels", travels)
            if name not in self._were_late:  # the tree lies on the road of each
                takes_s += self.response.late_s
                self._were_late.add(name)
            row = self.diary.begin("travels", "station", travels.typical, name)
            yield self.until(plant.clock.now + takes_s)
            self.diary.end(row, "on site")
            yield from shift.works(name, "called out")
            self.left(name)

    def _known_of(self) -> set[str]:
        """Return the alarms that stand and that somebody knows of."""
        unknown = self.plant.recorder.alarms_unreached()
        return {alarm for alarm, of in self._sent() if (alarm, of) not in unknown}

    def _stays(self, name: str, *, first: bool) -> bool:
        """Return whether somebody need not go; if so, they are free again.

        Who was called to help goes as long as anybody else does.
        """
        if self._called_for() or (not first and len(self.going) > 1):
            return False
        self.plant.note("call-out", "stood down", ALL_CLEAR, name)
        self.diary.end(self.diary.begin("stood down", "station", 0.0, name), ALL_CLEAR)
        self.left(name)
        return True

    def on_shift(self) -> Shift:
        """Return those who are on site, or will be; the first one begins an incident."""
        if self.shift is None:
            self.shift = Shift(self)
            self.site.new_incident()
        return self.shift

    def left(self, name: str) -> None:
        """Somebody has left, or has never gone; with the last one an incident is over.

        Parameters
        ----------
        name
            Who.
        """
        self.going.remove(name)
        if not self.going:
            if self.shift is not None:
                self.shift.close()
            self.shift = None
            if not self._ringing:
                self._rung_by_passer = False

    def could_be_called(self) -> int:
        """Return how many of the list could be called now [-]."""
        names = dict.fromkeys(self.response.call_list)
        return sum(self._can_be_called(self.response.person(name)) for name in names)

    def summon(self, missing: int) -> None:
        """Call people to the site to help, if as many are to be had; else nobody comes for nothing.

        Parameters
        ----------
        missing
            How many more are needed [-]; nobody is called for nought or less.
        """
        if missing <= 0:
            return
        found: list[tuple[Person, Range]] = []
        for name in dict.fromkeys(self.response.call_list):
            person = self.response.person(name)
            if self._can_be_called(person):
                takes = self.team.acknowledges(person, self.plant.clock.now)
                if takes is not None:
                    found.append((person, takes))
        if len(found) < missing:
            return
        for person, takes in found[:missing]:
            self.going.append(person.name)
            self.plant.tell(self.live(self._summoned(person, takes)))

    def _summoned(self, person: Person, takes: Range) -> Steps:
        row = self.diary.begin("called", "to help", takes.typical, person.name)
        after_s = self.team.takes_s(person.name, "acknowledges", takes)
        yield self.until(self.plant.clock.now + after_s)
        self.diary.end(row, "acknowledged")
        yield from self._goes(person, first=False)

    # ------------------------------------------------------------------ the end

    def close(self, end_s: float) -> None:
        """Close what is open at the end of the run.

        Parameters
        ----------
        end_s
            When that is [s].
        """
        self.diary.close(end_s)

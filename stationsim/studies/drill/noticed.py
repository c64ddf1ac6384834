"""The noticed: time passes, and the person who plays is told what they would see, hear, or be told.

Who stands on site sees and reads what happens as it happens; who is away is told of it by somebody
there, by phone, or not at all.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.drill import said
from stationsim.studies.drill.crew.hands import SITE, Crew, Hand
from stationsim.studies.drill.crew.ways import Ways
from stationsim.studies.drill.news import Alarms, Passing

if TYPE_CHECKING:
    from stationsim.people.response import Person, Response, TaskKind
    from stationsim.simulation.looking import Shown, Sight
    from stationsim.simulation.session import Session
    from stationsim.studies.drill.told import By, Log
    from stationsim.trace import EventRow
    from stationsim.units import System

_LIES_M, _NEWS_M = 0.2, 0.5
"""How far a reading is off before somebody tells of it, and what is news then [m]."""
_AFTER_S = 2e-6
"""A person acts after an instant, not within it [s]."""
_ALARM_EVENTS = frozenset({"alarm raised", "alarm cleared", "alarm sent", "telemetry back",
                           "alarms live again", "control breaker closed"})  # fmt: skip
_SPILL = ("spill begins", "spill ends")


class Noticed:
    """What reaches the person who plays of a run, and of what its crew does.

    Parameters
    ----------
    session
        The run.
    response
        Who can be called, and what comes by itself.
    me
        The person who plays.
    on_site
        Whether they stand on site at the beginning.
    log
        Where it is written down what they are told.
    system
        Units of what is told.
    """

    def __init__(
        self,
        session: Session,
        response: Response,
        me: Person,
        log: Log,
        system: System,
        *,
        on_site: bool,
    ) -> None:
        episode = session.episode
        self.session = session
        self.log = log
        self.system: System = system
        self.crew = Crew(
            response,
            episode.start,
            episode.seed,
            episode.replicate,
            me,
            self,
            session.site(response),
        )
        if on_site:
            self.crew.me.place = SITE
        self.ways = Ways(self.crew)
        self.alarms = Alarms(session, self.crew, log)
        self.passing = Passing(session, self.crew, self.ways, log, self.alarms)
        self._found: dict[str, object] = {}  # what each who stood there has told last
        self._heard = 0  # events of the run that have been taken note of
        self._hear()

    @property
    def now_s(self) -> float:
        """The present [s since the start of the episode]."""
        return self.session.now_s

    # ------------------------------------------------------------------ time passes

    def pass_until(self, until_s: float, *, stops: bool, timed: bool = False) -> None:
        """Let time pass, until a time or until something is told.

        Parameters
        ----------
        until_s
            Until when at the latest [s].
        stops
            Whether anything that is told ends it.
        timed
            Whether only what calls for attention does.
        """
        until_s = min(until_s, self.session.episode.duration_s)
        log, table = self.log, self.crew.table
        known = len(log.told)
        log.attention = False
        while self.now_s < until_s:
            self.session.advance(min(until_s, max(table.next_s, self.now_s)), noticed=_any)
            self._hear()
            table.run(self.now_s)
            if stops and (log.attention if timed else len(log.told) > known):
                return

    def feel(self) -> bool:
        """Let the plant feel what has been done at this moment, and hear what comes of it.

        Returns
        -------
        bool
            False when the plant has refused it.
        """
        if self.session.done:
            return True
        # what is done at the very instant of something else happens just after it
        rows = self.session.advance(self.now_s + 2.0 * _AFTER_S)
        self._hear()
        return not any(said.refused(row) for row in rows)

    def _hear(self) -> None:
        """Take note of what has happened, and tell what of it is seen or heard."""
        first = self._heard
        rows = self.session.events_since(first)
        self._heard += len(rows)
        if any(row.event in _ALARM_EVENTS for row in rows):
            self.alarms.mind()
        on_site = self.crew.on_site
        for number, row in enumerate(rows, first):
            if row.event in _SPILL:
                self.passing.spill(row)
            far_end = said.at_the_far_end(row)
            if row.event == "alarm raised" and not far_end:
                self.passing.light()
            dead = row.event == "alarm cleared" and self.session.alarms_dead
            if not (self.log.closed or not on_site or far_end or dead):
                self._see(number, row, on_site[0])

    def _see(self, number: int, row: EventRow, hand: Hand) -> None:
        """Somebody on site sees or hears an event, and tells of it when it matters."""
        text = said.event_text(row)
        if not text:
            return
        by, who = self._teller(hand)
        if by == "panel" or said.worth_a_call(row):
            attention = said.calls_for_attention(row)
            self.log.tell(by, text, who, at_s=row.t_s, event=number, attention=attention)
        if row.event == "alarm raised":
            self.alarms.stands(said.alarm_of(row), row.subject)
        elif row.event == "alarm cleared":
            self.alarms.is_over(said.alarm_of(row), row.subject)

    def _teller(self, hand: Hand) -> tuple[By, str]:
        """Return how what somebody on site sees comes to the person who plays, and from whom."""
        return ("panel", "") if hand is self.crew.me else ("crew", hand.name)

    # ------------------------------------------------------------------ what the crew finds

    def say(self, text: str, by: str) -> None:
        """Tell what a member of the crew says, or what one notices of one's own order.

        Parameters
        ----------
        text
            What is told.
        by
            Who tells it; empty for nobody in particular.
        """
        self.log.tell("crew", text, by, attention=True)

    def arrived(self, hand: Hand, *, closely: bool) -> None:
        """Somebody stands on site, and tells what they find.

        Parameters
        ----------
        hand
            Who.
        closely
            Whether they have looked around, too.
        """
        self.log.attention = True
        self.read_panel(*self._teller(hand), eyes=True, closely=closely)

    def looks_again(self, hand: Hand) -> None:
        """Somebody on site who has nothing to do looks around again, and tells what is new.

        Parameters
        ----------
        hand
            Who.
        """
        sight, shown = self.session.sight(self.crew.site), self.session.shown()
        if self._found.get(hand.name) == _in_short(shown, sight):
            return
        by, who = self._teller(hand)
        for line in said.sight_lines(sight, self.session.station, self.system):
            self.log.tell(by, line, who, attention=True)
        self._found[hand.name] = _in_short(shown, sight)
        self.log.look(by, who, shown, sight, closely=True)

    def tripped(self, name: str) -> bool:
        """Return whether the panel shows a machine, or a set, as taken out.

        Parameters
        ----------
        name
            Which.
        """
        shown = self.session.shown()
        taken_out = {one.name for one in shown.machines if one.taken_out}
        return name in taken_out or dict(shown.generators).get(name) in ("failed", "tripped")

    def looked(self) -> tuple[tuple[TaskKind, str], ...]:
        """Return what does not look, or sound, as it should, to somebody on site."""
        return self.session.sight(self.crew.site).amiss

    def read_panel(
        self, by: By, who: str = "", *, eyes: bool = False, closely: bool = False
    ) -> None:
        """Tell what the panel shows, and what somebody finds who looks with their own eyes.

        Parameters
        ----------
        by, who
            As in :class:`~stationsim.studies.drill.told.Told`.
        eyes
            Whether they stand on site.
        closely
            Whether they have looked around, too.
        """
        station, shown = self.session.station, self.session.shown()
        for line in said.panel_lines(shown, station, self.system):
            self.log.tell(by, line, who)
        sight = self.session.sight(self.crew.site) if eyes else None
        if sight is not None:
            for line in said.sight_lines(sight, station, self.system, closely=closely):
                self.log.tell(by, line, who)
        for alarm, subject in shown.alarms:
            self.alarms.stands(alarm, subject)
        if sight is not None:
            self._found[who] = _in_short(shown, sight)
        self.log.look(by, who, shown, sight, closely=closely)


def _in_short(shown: Shown, sight: Sight) -> object:
    """Return what somebody would tell anew when it has changed.

    Where the panel reads another level than stands there, half a metre of water is news.
    """
    lies = math.isnan(shown.level_m) or abs(shown.level_m - sight.level_m) > _LIES_M
    return sight.amiss, sight.spilling, round(sight.level_m / _NEWS_M) if lies else None


def _any(_row: EventRow) -> bool:
    return True

"""How news of a station comes to somebody who is away: an alarm on the phone, a passer-by, a round.

An alarm has to leave the station first, and takes its time to the phone, and to whoever sleeps
beside it. Where no alarm comes, a passer-by may see a spill or the alarm light, and a round may
find that something is wrong.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.drill import said
from stationsim.studies.drill.crew.hands import AWAY, SITE

if TYPE_CHECKING:
    from stationsim.people.response import PasserBy, Visit
    from stationsim.simulation.session import Session
    from stationsim.studies.drill.crew.hands import Crew
    from stationsim.studies.drill.crew.ways import Ways
    from stationsim.studies.drill.timetable import Course
    from stationsim.studies.drill.told import Log
    from stationsim.trace import AlarmRow, EventRow


class Alarms:
    """The alarms of a station as the person who plays knows them, from the phone or on site.

    Parameters
    ----------
    session
        The run whose alarms they are.
    crew
        Everybody; whoever stands on site at the beginning is awake.
    log
        Where it is written down that the phone tells of one.
    """

    def __init__(self, session: Session, crew: Crew, log: Log) -> None:
        self.session = session
        self.crew = crew
        self.log = log
        self.known: dict[tuple[str, str], None] = {}  # those that stand, as far as they know
        self.reached: dict[tuple[str, str, float], float] = {}  # when one was told of [s]
        self._rang: dict[tuple[str, str, float], float] = {}  # when the phone rings of it [s]
        self._sent: set[tuple[str, str, float]] = set()
        self._over: set[tuple[str, str, float]] = set()
        there = crew.me.place == SITE
        self._awake_s = -math.inf if there else math.inf  # when a phone has woken them [s]

    def mind(self) -> None:
        """Let the phone ring, later, for every alarm that has left the station, and for its end."""
        for row in self.session.alarms_so_far():
            key = row[:3]
            if math.isnan(row.sent_s) or not self.crew.response.calls(row.alarm):
                continue
            if key not in self._sent:
                self._sent.add(key)
                self.crew.table.begin(self._rings(row))
            over = not math.isnan(row.cleared_s) and key not in self._over
            speaks = self.session.telemetry_on and not self.session.alarms_dead
            if over and speaks:
                self._over.add(key)
                self.crew.table.begin(self._rings(row, over=True))

    def _rings(self, row: AlarmRow, *, over: bool = False) -> Course:
        """An alarm, or its end, is on its way to the phone."""
        team, response = self.crew.team, self.crew.response
        at_s = self.session.now_s + team.takes_s("telemetry", "picks up", response.picked_up)
        at_s += team.takes_s("telemetry", "reaches a phone", response.on_phone)
        if over:  # no sooner than the alarm itself
            at_s = max(at_s, self._rang.get(row[:3], at_s))
        elif at_s < self._awake_s:
            me = self.crew.me.person
            takes = me.takes("acknowledges", night=team.night(at_s))
            at_s = min(at_s + team.takes_s(me.name, "acknowledges", takes), self._awake_s)
            self._awake_s = at_s
        self._rang.setdefault(row[:3], at_s)
        yield at_s
        key = (row.alarm, row.subject)
        if over:
            if key in self.known and key not in self._stands_again(row):
                del self.known[key]
                self.log.tell("phone", said.alarm_text(*key, over=True))
            return
        if row[:3] in self.reached:
            return  # somebody on site has told of it
        self.reached[row[:3]] = self.session.now_s
        self.known[key] = None
        self.log.tell("phone", said.alarm_text(*key), attention=True)

    def _stands_again(self, row: AlarmRow) -> set[tuple[str, str]]:
        """Return the alarm, if it was raised anew since and that is known."""
        return {
            (alarm, subject)
            for alarm, subject, raised_s in self.reached
            if (alarm, subject) == row[:2] and raised_s > row.raised_s
        }

    def wake(self) -> None:
        """Somebody has rung the person who plays, who hears the phone from now on."""
        self._awake_s = min(self._awake_s, self.session.now_s)

    def stands(self, alarm: str, subject: str) -> None:
        """Somebody on site has told of an alarm that stands.

        Parameters
        ----------
        alarm, subject
            Which, of what.
        """
        for row in self.session.alarms_so_far():
            if row[:2] == (alarm, subject) and math.isnan(row.cleared_s):
                self.reached.setdefault(row[:3], self.session.now_s)
        self.known[alarm, subject] = None

    def is_over(self, alarm: str, subject: str) -> None:
        """Somebody on site has told that an alarm is over.

        Parameters
        ----------
        alarm, subject
            Which, of what.
        """
        self.known.pop((alarm, subject), None)


class Passing:
    """Those who notice something when no alarm has told of it: a passer-by, and a round.

    Parameters
    ----------
    session
        The run.
    crew, ways
        Everybody, and how whoever makes the round comes to the station.
    log
        Where it is written down what they tell.
    alarms
        What rings beside their own calls.
    """

    def __init__(self, session: Session, crew: Crew, ways: Ways, log: Log, alarms: Alarms) -> None:
        self.session = session
        self.crew = crew
        self.ways = ways
        self.log = log
        self.alarms = alarms
        self._spills = 0  # how often a spill has begun or ended
        if crew.response.visit is not None:
            crew.table.begin(self._rounds(crew.response.visit))

    def spill(self, row: EventRow) -> None:
        """A spill begins, which a passer-by may see, or ends.

        Parameters
        ----------
        row
            Its event.
        """
        passer = self.crew.response.passer_by
        self._spills += 1
        if row.event == "spill begins" and passer is not None and passer.sees == "spill":
            self.crew.table.begin(self._passes_by(passer, self._spills, "a spill"))

    def light(self) -> None:
        """The alarm light goes on, which a passer-by may see."""
        passer = self.crew.response.passer_by
        if passer is not None and passer.sees == "alarm light":
            self.crew.table.begin(self._passes_by(passer, -1, "the alarm light"))

    def _passes_by(self, passer: PasserBy, spill: int, what: str) -> Course:
        team = self.crew.team
        left_s = team.takes_s("passer-by", "rings", passer.after)
        yield passer.rings_at(self.session.now_s, team.clock_s, left_s)
        still = self.session.shown().alarms if spill < 0 else spill == self._spills
        if still:
            self.alarms.wake()
            self.log.tell("passer-by", f"a passer-by rings: they see {what}", attention=True)

    def _rounds(self, visit: Visit) -> Course:
        at_s = visit.at_clock_s - self.crew.team.clock_s(0.0)
        while at_s < 0.0:
            at_s += visit.every_s
        hand = self.crew.hands[visit.person]
        while True:
            yield at_s
            at_s += visit.every_s
            if hand.place != AWAY or hand.doing or hand.sent:
                continue
            if self._finds_wrong():
                told = "the round finds that something is wrong"
                self.log.tell("crew", told, hand.name, attention=True)
                self.ways.comes_by(hand)

    def _finds_wrong(self) -> bool:
        """Return whether somebody who comes by, and looks around, finds anything wrong."""
        shown, sight = self.session.shown(), self.session.sight(self.crew.site)
        dead = shown.dark or shown.busbar == "dead"
        return bool(shown.alarms or dead or sight.spilling or sight.amiss)

"""The drill itself: a person who sees what they could see, says what is to be done, and waits.

The plant runs in a :class:`~stationsim.simulation.session.Session` without people of its own. What
is told to the person who plays comes by four ways: alarms that left the station, on their phone;
what somebody on site tells; a round, or a passer-by; and what they see themselves when they are
there. What they order is done by people who take the time that the response says, and reaches the
plant as events of its catalogue. So a drill in which nobody orders anything is the same run, byte
for byte, as that of an episode without people, and what was played can be played again from its
lines.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.episode import ScriptedEvent
from stationsim.errors import ActionError, InputError
from stationsim.people.response import Person, Response, Task
from stationsim.simulation.people.site import BY_CREW
from stationsim.simulation.session import Session
from stationsim.studies.drill import said
from stationsim.studies.drill.crew import AWAY, SITE, Crew, Hand
from stationsim.studies.drill.orders import (
    DECISIONS,
    TURNS,
    Names,
    Order,
    read_order,
)
from stationsim.trace import AlarmRow, CrewRow, EventRow

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.people.response import TaskKind
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.studies.drill.timetable import Course
    from stationsim.units import System

By = Literal["phone", "panel", "crew", "passer-by", "answer", "refused"]
AwaySees = Literal["alarms", "readings"]

YOU = "you"
"""What the person who plays is called where the response names nobody."""

_AFTER_S = 2e-6
"""A person acts after an instant, not within it [s]."""
_ALARM_EVENTS = frozenset({"alarm raised", "alarm cleared", "alarm sent", "telemetry back",
                           "alarms live again"})  # fmt: skip
_SPILL = ("spill begins", "spill ends")
_FIXED_THINGS = (
    "level sensor", "start float", "stop float", "high level float", "low level float", "panel",
    "telemetry", "transfer switch", "force main", "downstream station", "high level", "low level",
)  # fmt: skip


class Action(NamedTuple):
    """A line that was typed, and when.

    Parameters
    ----------
    t_s
        Where the drill stood [s].
    line
        What was typed.
    """

    t_s: float
    line: str


class Told(NamedTuple):
    """Something that the person who plays was told.

    Parameters
    ----------
    t_s
        When [s].
    by
        How they came to know: ``phone``, ``panel``, ``crew``, ``passer-by``; ``answer`` to what was
        asked or ordered, ``refused`` for what could not be done.
    text
        What they were told.
    who
        Who told it; empty for nobody in particular.
    event
        Which event of the run it tells of, counted from nought; -1 for none.
    """

    t_s: float
    by: By
    text: str
    who: str = ""
    event: int = -1


class Decided(NamedTuple):
    """Something that was ordered, and what was known then.

    Parameters
    ----------
    t_s
        When [s].
    line
        What was typed.
    verb
        What kind of thing it was.
    place
        Where the person who plays was.
    level_m, level_seen_m
        Where the water stood, and what they could read of it; NaN for nothing [m above floor].
    """

    t_s: float
    line: str
    verb: str
    place: str
    level_m: float
    level_seen_m: float


class Drill:
    """A drill on one station, from its beginning to its end.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it; the response of the episode says who can be
        called.
    who
        Name of the person who plays; empty: the first on the call list, or nobody in particular.
    on_site
        Whether they stand on site at the beginning; None: where the response names nobody.
    away_sees
        What the far end shows to somebody who is away: ``alarms``, or the ``readings`` of the
        panel, of its last poll, as well.
    system
        Units of what is told.

    Raises
    ------
    InputError
        When the response does not know who plays.
    """

    def __init__(
        self,
        station: Station,
        episode: Episode,
        *,
        who: str = "",
        on_site: bool | None = None,
        away_sees: AwaySees = "alarms",
        system: System = "si",
    ) -> None:
        self.station = station
        self.episode = episode
        self.system: System = system
        self.who = who
        self.began_on_site = on_site
        self.away_sees: AwaySees = away_sees
        self.response = response = episode.response or Response()
        me = self._me(response, who)
        if on_site is None:
            on_site = not response.people
        self.session = Session(station, dataclasses.replace(episode, response=None))
        self.crew = Crew(
            response,
            episode.start,
            episode.seed,
            episode.replicate,
            me,
            self,
            self.session.site(response),
        )
        if on_site:
            self.crew.me.place = SITE
        self.names = self._names()
        self.actions: list[Action] = []
        self.told: list[Told] = []
        self.decided: list[Decided] = []
        self.reached: dict[tuple[str, str, float], float] = {}  # when an alarm was told of [s]
        self._known: set[tuple[str, str]] = set()  # alarms that stand, as far as they know
        self._sent: set[tuple[str, str, float]] = set()
        self._over: set[tuple[str, str, float]] = set()
        self._awake = bool(on_site)
        self._spills = 0
        self._heard = 0  # events of the run that have been taken note of
        self._over_early = False
        self._attention = False
        self._result: Result | None = None
        self._rows: list[CrewRow] | None = None
        if response.visit is not None:
            self.crew.table.begin(self._rounds())
        self._hear()

    def again(self) -> Drill:
        """Return the same drill at its beginning."""
        return Drill(
            self.station,
            self.episode,
            who=self.who,
            on_site=self.began_on_site,
            away_sees=self.away_sees,
            system=self.system,
        )

    def _me(self, response: Response, who: str) -> Person:
        people = {one.name: one for one in response.people}
        if who:
            if who not in people and people:
                there = ", ".join(people)
                raise InputError(f"nobody in the file is called '{who}'; there are {there}")
            return people.get(who, Person(who))
        for name in response.call_list:
            return people[name]
        return next(iter(people.values()), Person(YOU))

    def _names(self) -> Names:
        power = self.station.standby_power
        sets: list[str] = []
        if power is not None:
            sets += ["generator"] if power.generator is not None else []
            sets += ["mobile generator"] if power.mobile is not None else []
        people = tuple(name for name in self.crew.hands if name != YOU)
        machines = self.station.machine_names()
        me = self.crew.me.name
        return Names(people, tuple(self.crew.stocks), machines, tuple(sets), _FIXED_THINGS, me)

    # ------------------------------------------------------------------ how it stands

    @property
    def now_s(self) -> float:
        """Where the drill stands [s since the start of the episode]."""
        return self.session.now_s

    @property
    def over(self) -> bool:
        """True when it is over: its end was reached, or the person who plays was done."""
        return self._over_early or self.session.done

    @property
    def place(self) -> str:
        """Where the person who plays is: ``away``, ``on the way``, ``in the yard``, ``on site``."""
        return self.crew.me.place

    def clock(self, t_s: float | None = None) -> str:
        """Return a moment as the screen says it.

        Parameters
        ----------
        t_s
            When [s]; None for now.
        """
        return said.clock_text(self.episode, self.now_s if t_s is None else t_s)

    def prompt(self) -> str:
        """Return what stands before the place to type: clock, and where one is."""
        me = self.crew.me
        doing = f", {me.doing}" if me.doing and me.place != "on the way" else ""
        return f"{self.clock()}, {me.place}{doing}"

    def opening(self) -> list[str]:
        """Return what stands at the start: cautions, who one is, what one knows, what to type."""
        me = self.crew.me
        name = "the person who answers for this station" if me.name == YOU else me.name
        where = "on site, before the panel" if me.place == SITE else "away from the station"
        lines = ["Before you begin:"]
        lines += [f"- {line}" for line in said.CAUTIONS]
        lines += ["", f"You are {name}, {where}. It is {self.clock(0.0)}."]
        if me.place != SITE:
            way = said.span_text(me.person.travels)
            far = "its alarms" if self.away_sees == "alarms" else "its alarms and readings"
            lines.append(f"Your way to the station takes {way}; from afar you have {far}.")
        lines += said.station_lines(self.station, self.system)
        lines.append(
            "Type wait, or what you ask or do; help tells how. There is no way back in time."
        )
        return lines

    # ------------------------------------------------------------------ what is typed

    def type(self, line: str) -> list[Told]:
        """Do what a line says, and return all that was told meanwhile.

        Parameters
        ----------
        line
            What was typed.

        Raises
        ------
        ActionError
            When the line cannot be read, or the drill is over; then it does not count.
        """
        if self.over:
            raise ActionError("the drill is over")
        order = read_order(line, self.names, self.now_s, self.episode.start)
        known = len(self.told)
        self.actions.append(Action(self.now_s, " ".join(line.split())))
        if order.verb in DECISIONS:
            self._note_decision(order)
        try:
            self._obey(order)
        except ActionError as error:
            self._tell("refused", str(error))
            if order.verb in DECISIONS:
                self.decided.pop()
        return self.told[known:]

    def wait_until(self, t_s: float) -> list[Told]:
        """Let time pass without a line being typed; return all that was told meanwhile.

        Parameters
        ----------
        t_s
            Until when [s]; nothing stops it.
        """
        known = len(self.told)
        self._pass(t_s, stops=False)
        return self.told[known:]

    def _note_decision(self, order: Order) -> None:
        shown = self.session.shown()
        seen_m = shown.level_m if self.place == SITE else math.nan
        line = self.actions[-1].line
        self.decided.append(
            Decided(self.now_s, line, order.verb, self.place, self.session.level_m, seen_m)
        )

    def _obey(self, order: Order) -> None:
        if order.verb == "wait":
            self._wait(order)
        elif order.verb == "ask":
            self._ask(order.subject)
        elif order.verb == "look":
            self._look()
        elif order.verb == "note":
            self._tell("answer", "noted")
        elif order.verb == "done":
            self._over_early = True
            self._tell("answer", "what has been ordered is still done; the rest runs by itself")
        elif order.verb == "call":
            self._tell("answer", self.crew.call(order.subject))
        elif order.verb == "send":
            crew = self.crew
            done = crew.home(order.subject) if order.home else crew.send(order.subject, order.tools)
            self._tell("answer", done)
        else:
            self._work(order)

    # ------------------------------------------------------------------ work on site

    def _work(self, order: Order) -> None:
        crew, what = self.crew, order.subject
        if what in crew.at:
            raise ActionError(f"somebody is at work on {what}")
        if order.verb in TURNS:
            hand = crew.hand_for(order.by)
            self._act(ScriptedEvent(self.now_s, order.verb, what, cause=BY_CREW))  # type: ignore[arg-type]
            self._done_by(hand, f"{what} is in {order.verb}")
        elif order.verb == "reset":
            task = self.response.task("reset")
            if task is not None and task.takes.high > 0.0:
                self._tell("answer", crew.works(task, what, order.by))
                return
            hand = crew.hand_for(order.by)
            crew.site.done(Task("reset"), what)
            self.feel()
            self._done_by(hand, f"{what}: reset is pressed")
        elif order.verb == "mend":
            self._tell("answer", crew.works(self._mending(what), what, order.by))
        elif order.verb in ("connect", "disconnect"):
            kind: TaskKind = (
                "connect mobile generator" if what == "mobile generator" else "connect bypass pump"
            )
            down = order.verb == "disconnect"
            self._tell("answer", crew.works(crew.step(kind), "station", order.by, down=down))
        elif order.verb == "refuel":
            self._tell("answer", crew.works(crew.step("refuel"), what, order.by))
        else:
            task = crew.step("haul")
            self._tell("answer", crew.works(task, "station", order.by, loads=order.loads))

    def _done_by(self, hand: Hand, text: str) -> None:
        self._tell("answer", text if hand is self.crew.me else f"{hand.name}: {text}")

    def _mending(self, what: str) -> Task:
        """Return the step by which something is mended: the one that it looks to need."""
        kinds = [kind for kind, subject in self.looked() if subject == what]
        for kind in kinds:
            task = self.response.task(kind)
            if task is not None:
                return task
        return self.crew.step(kinds[0] if kinds else "set right")

    def _act(self, event: ScriptedEvent) -> None:
        self.session.do(event)
        self.feel()

    def feel(self) -> None:
        """Let the plant feel what has been done at this moment, and hear what comes of it."""
        if not self.session.done:
            self.session.advance(self.now_s + _AFTER_S)
            self._hear()

    # ------------------------------------------------------------------ asking

    def _ask(self, what: str) -> None:
        crew, response, me = self.crew, self.response, self.crew.me
        if what in crew.hands:
            self._ask_hand(crew.hands[what])
            return
        lines: list[str] = []
        if what == "plan":
            lines = said.plan_lines(response, me.name)
        elif what == "station":
            lines = said.station_lines(self.station, self.system)
        elif what == "people":
            lines = [
                f"{'you' if hand is me else hand.name}: {crew.whereabouts(hand)}"
                for hand in crew.hands.values()
            ]
        elif what == "alarms":
            known = [said.alarm_text(*one) for one in self._known]
            lines = known or ["no alarm stands, as far as you know"]
        if lines:
            for line in lines:
                self._tell("answer", line)
            return
        if self.place == SITE:
            for line in said.panel_lines(self.session.shown(), self.station, self.system):
                self._tell("panel", line)
        elif self.away_sees == "readings":
            self._poll()
        else:
            self._tell(
                "answer",
                "away you know what the phone tells; ask somebody on site, or go: send me",
            )

    def _poll(self) -> None:
        """Ask the far end for the readings of its next poll."""
        takes_s = self.crew.team.takes_s("telemetry", "picks up", self.response.picked_up)
        self._pass(self.now_s + takes_s, stops=False)
        if not self.session.telemetry_on:
            self._tell("answer", "no reading comes")
            return
        for line in said.panel_lines(self.session.shown(), self.station, self.system):
            self._tell("phone", line)

    def _ask_hand(self, hand: Hand) -> None:
        crew = self.crew
        if hand is crew.me:
            self._tell("answer", f"you are {crew.whereabouts(hand)}")
        elif hand.place != SITE:
            self._tell("answer", f"{hand.name} is {crew.whereabouts(hand)}")
        else:
            if hand.doing:
                self._tell("crew", f"at work: {hand.doing}", hand.name)
            for line in said.panel_lines(self.session.shown(), self.station, self.system):
                self._tell("crew", line, hand.name)

    def _look(self) -> None:
        """Look around, if one stands on site; else the one who does is asked to."""
        hand = self.crew.hand_for("")
        looks = self.crew.looks_around(hand)
        if hand.doing:
            self._tell("answer", looks)

    def looked(self) -> tuple[tuple[TaskKind, str], ...]:
        """Return what does not look, or sound, as it should, to somebody on site."""
        return self.session.sight(self.crew.site).amiss

    def arrived(self, hand: Hand, *, closely: bool) -> None:
        """Somebody stands on site, and tells what they find.

        Parameters
        ----------
        hand
            Who.
        closely
            Whether they have looked around, too.
        """
        me = hand is self.crew.me
        by: By = "panel" if me else "crew"
        who = "" if me else hand.name
        self._attention = True
        shown = self.session.shown()
        for line in said.panel_lines(shown, self.station, self.system):
            self._tell(by, line, who)
        sight = self.session.sight(self.crew.site)
        for line in said.sight_lines(sight, self.station, self.system, closely=closely):
            self._tell(by, line, who)
        for alarm, subject in shown.alarms:
            self._knows(alarm, subject)

    # ------------------------------------------------------------------ time passes

    def _wait(self, order: Order) -> None:
        if order.until_s is None:
            self._pass(self.episode.duration_s, stops=True)
        else:
            self._pass(order.until_s, stops=True, timed=True)

    def _pass(self, until_s: float, *, stops: bool, timed: bool = False) -> None:
        """Let time pass, until a time or until something is told."""
        until_s = min(until_s, self.episode.duration_s)
        known, table = len(self.told), self.crew.table
        self._attention = False
        while self.now_s < until_s:
            self.session.advance(min(until_s, max(table.next_s, self.now_s)), noticed=_any)
            self._hear()
            table.run(self.now_s)
            if stops and (self._attention if timed else len(self.told) > known):
                return

    def _hear(self) -> None:
        """Take note of what has happened, and tell what of it is seen or heard."""
        first = self._heard
        rows = self.session.events_since(first)
        self._heard += len(rows)
        if any(row.event in _ALARM_EVENTS for row in rows):
            self._mind_alarms()
        on_site = self.crew.on_site
        for number, row in enumerate(rows, first):
            if row.event in _SPILL:
                self._spill(row)
            if row.event == "alarm raised":
                self._light()
            if self._over_early or not on_site:
                continue
            text = said.event_text(row)
            if not text:
                continue
            me = on_site[0] is self.crew.me
            told = me or row.event in ("alarm raised", *_SPILL) or said.by_crew(row)
            if told:
                self._attention = self._attention or said.calls_for_attention(row)
                who = "" if me else on_site[0].name
                by: By = "panel" if me else "crew"
                self._tell(by, text, who, at_s=row.t_s, event=number)
            if row.event == "alarm raised":
                self._knows(said.alarm_of(row), row.subject)
            elif row.event == "alarm cleared":
                self._known.discard((said.alarm_of(row), row.subject))

    # ------------------------------------------------------------------ alarms by phone

    def _mind_alarms(self) -> None:
        """Let the phone ring, later, for every alarm that has left the station, and for its end."""
        for row in self.session.alarms_so_far():
            key = row[:3]
            if math.isnan(row.sent_s) or not self.response.calls(row.alarm):
                continue
            if key not in self._sent:
                self._sent.add(key)
                self.crew.table.begin(self._rings(row))
            over = not math.isnan(row.cleared_s) and key not in self._over
            if over and self.session.telemetry_on:
                self._over.add(key)
                self.crew.table.begin(self._rings(row, over=True))

    def _rings(self, row: AlarmRow, *, over: bool = False) -> Course:
        """An alarm, or its end, is on its way to the phone."""
        team, response = self.crew.team, self.response
        at_s = self.now_s + team.takes_s("telemetry", "picks up", response.picked_up)
        at_s += team.takes_s("telemetry", "reaches a phone", response.on_phone)
        if not (self._awake or over):
            takes = self.crew.me.person.acknowledges
            at_s += team.takes_s(self.crew.me.name, "acknowledges", takes)
        yield at_s
        self._awake = True
        key = (row.alarm, row.subject)
        if over:
            if key in self._known and key not in self._stands_again(row):
                self._known.discard(key)
                self._tell("phone", said.alarm_text(*key, over=True))
            return
        if row[:3] in self.reached:
            return  # somebody on site has told of it
        self._attention = True
        self.reached[row[:3]] = self.now_s
        self._known.add(key)
        self._tell("phone", said.alarm_text(*key))

    def _stands_again(self, row: AlarmRow) -> set[tuple[str, str]]:
        """Return the alarm, if it was raised anew since and that is known."""
        return {
            (alarm, subject)
            for alarm, subject, raised_s in self.reached
            if (alarm, subject) == row[:2] and raised_s > row.raised_s
        }

    def _knows(self, alarm: str, subject: str) -> None:
        """Somebody on site has told of an alarm that stands."""
        for row in self.session.alarms_so_far():
            if row[:2] == (alarm, subject) and math.isnan(row.cleared_s):
                self.reached.setdefault(row[:3], self.now_s)
        self._known.add((alarm, subject))

    # ------------------------------------------------------------------ the slow ways

    def _spill(self, row: EventRow) -> None:
        passer = self.response.passer_by
        if row.event == "spill begins":
            self._spills += 1
            if passer is not None and passer.sees == "spill":
                self.crew.table.begin(self._passes_by(self._spills, "a spill"))
        else:
            self._spills += 1

    def _light(self) -> None:
        passer = self.response.passer_by
        if passer is not None and passer.sees == "alarm light":
            self.crew.table.begin(self._passes_by(-1, "the alarm light"))

    def _passes_by(self, spill: int, what: str) -> Course:
        passer, team = self.response.passer_by, self.crew.team
        assert passer is not None  # noqa: S101  (asked for by those who know)
        left_s = team.takes_s("passer-by", "rings", passer.after)
        yield passer.rings_at(self.now_s, team.clock_s, left_s)
        still = self.session.shown().alarms if spill < 0 else spill == self._spills
        if still:
            self._attention = True
            self._awake = True
            self._tell("passer-by", f"a passer-by rings: they see {what}")

    def _rounds(self) -> Course:
        visit = self.response.visit
        assert visit is not None  # noqa: S101  (asked for by those who know)
        first_s = visit.at_clock_s - self.crew.team.clock_s(0.0)
        while first_s < 0.0:
            first_s += visit.every_s
        hand = self.crew.hands[visit.person]
        at_s = first_s
        while True:
            yield at_s
            at_s += visit.every_s
            if hand.place != AWAY or hand.doing or hand.sent:
                continue
            wrong = self.session.shown().alarms
            if wrong or self.session.sight(self.crew.site).spilling:
                self._attention = True
                self._tell("crew", "the round finds that something is wrong", hand.name)
                self.crew.comes_by(hand)

    # ------------------------------------------------------------------ telling

    def say(self, text: str, by: str) -> None:
        """Tell what a member of the crew says, or what one notices of one's own order.

        Parameters
        ----------
        text
            What is told.
        by
            Who tells it; empty for nobody in particular.
        """
        self._attention = True
        self._tell("crew", text, by)

    def _tell(
        self, by: By, text: str, who: str = "", at_s: float | None = None, event: int = -1
    ) -> None:
        if self._over_early and by not in ("answer", "refused"):
            return
        self.told.append(Told(self.now_s if at_s is None else at_s, by, text, who, event))

    # ------------------------------------------------------------------ the end

    def finish(self) -> Result:
        """Go on to the end of the episode, as it stands; return the run."""
        if self._result is None:
            self._over_early = True
            self._pass(self.episode.duration_s, stops=False)
            result = self.session.finish()
            self._rows = self.crew.close(self.episode.duration_s)
            trace = dataclasses.replace(result.trace, crew=list(self._rows))
            if self.decided:
                trace.alarms = [
                    row._replace(reached_s=self.reached.get(row[:3], math.nan))
                    for row in trace.alarms
                ]
            self._result = dataclasses.replace(result, trace=trace)
        return self._result

    def replay(self) -> Episode:
        """Return the episode without people, with all that was done as scripted events."""
        return self.session.replay()


def _any(_row: EventRow) -> bool:
    return True


def play(drill: Drill, actions: tuple[Action, ...] | list[Action]) -> list[Told]:
    """Play lines again, each at its own time; return all that was told.

    Parameters
    ----------
    drill
        A drill that stands at its beginning.
    actions
        What was typed, and when.

    Raises
    ------
    ActionError
        When a line cannot be read, or its time lies behind.
    """
    known = len(drill.told)
    for action in actions:
        if drill.over:
            break
        if action.t_s < drill.now_s - 1e-3:
            raise ActionError(f"'{action.line}' stands at {action.t_s:g} s, which lies behind")
        if action.t_s > drill.now_s:
            drill.wait_until(action.t_s)
        drill.type(action.line)
    return drill.told[known:]

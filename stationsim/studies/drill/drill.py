"""The drill itself: a person who sees what they could see, says what is to be done, and waits.

The plant runs in a :class:`~stationsim.simulation.session.Session` without people of its own. What
is told to the person who plays comes by four ways: alarms that left the station, on their phone;
what somebody on site tells; a round, or a passer-by; and what they see themselves when they are
there. What they order is done by people who take the time that the response says, and reaches the
plant as events of its catalogue. So a drill in which nobody orders anything is the same run, byte
for byte, as that of an episode without people, and what was played can be played again from its
lines.

How time passes, and what of it is told, stands in ``noticed.py``; what is asked in ``asking.py``;
who there is, and what they do, in ``crew/``.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING

from stationsim.errors import ActionError
from stationsim.people.response import Response
from stationsim.simulation.session import Session
from stationsim.studies.drill import said
from stationsim.studies.drill.asking import Asking
from stationsim.studies.drill.crew.calls import Calls
from stationsim.studies.drill.crew.hands import SITE, WAY, YOU, who_answers
from stationsim.studies.drill.crew.work import Work
from stationsim.studies.drill.noticed import Noticed
from stationsim.studies.drill.on_site import OnSite
from stationsim.studies.drill.orders import DECISIONS, Names, Order, read_order
from stationsim.studies.drill.told import Action, AwaySees, Decided, Log, Told
from stationsim.vocabulary import ALARMS

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.simulation.looking import Shown
    from stationsim.station import Station
    from stationsim.units import System

_FIXED_THINGS = (
    "level sensor", "start float", "stop float", "high level float", "low level float", "panel",
    "telemetry", "transfer switch", "force main", "downstream station",
    *(one.word for one in ALARMS),
)  # fmt: skip


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
        me = who_answers(response, who)
        self.session = Session(station, dataclasses.replace(episode, response=None))
        self.began_there = there = not response.people if on_site is None else on_site
        self.log = Log(self.session)
        self.noticed = Noticed(self.session, response, me, self.log, system, on_site=there)
        self.crew = self.noticed.crew
        work = Work(self.crew)
        self._asking = Asking(self.noticed, work, away_sees)
        self._calls = Calls(self.crew, self.noticed.ways)
        self._on_site = OnSite(self.noticed, work)
        self.names = self._names()
        self.actions: list[Action] = []
        self.decided: list[Decided] = []
        self.refused: set[int] = set()  # which actions could not be done
        # the very lists of those who write them
        self.told, self.looks = self.log.told, self.log.looks
        self.reached = self.noticed.alarms.reached
        self.turned = self._on_site.turned
        self._result: Result | None = None

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

    def _names(self) -> Names:
        power = self.station.standby_power
        sets: list[str] = []
        if power is not None:
            sets += ["generator"] if power.generator is not None else []
            sets += ["mobile generator"] if power.mobile is not None else []
        me = self.crew.me.name
        made_up = me not in {one.name for one in self.response.people}
        people = tuple(name for name in self.crew.hands if name != YOU or not made_up)
        machines = self.station.machine_names()
        return Names(people, tuple(self.crew.stocks), machines, tuple(sets), _FIXED_THINGS, me)

    # ------------------------------------------------------------------ how it stands

    @property
    def now_s(self) -> float:
        """Where the drill stands [s since the start of the episode]."""
        return self.session.now_s

    @property
    def over(self) -> bool:
        """True when it is over: its end was reached, or the person who plays was done."""
        return self.log.closed or self.session.done

    @property
    def left_s(self) -> float:
        """When the person who plays was done [s]; infinity as long as they are not."""
        return self.log.left_s

    @property
    def place(self) -> str:
        """Where the person who plays is: ``away``, ``on the way``, ``in the yard``, ``on site``."""
        return self.crew.me.place

    def panel(self) -> Shown | None:
        """Return what the panel shows; None to somebody who does not stand before it."""
        return self.session.shown() if self.place == SITE else None

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
        doing = f", {me.doing}" if me.doing and me.place != WAY else ""
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
            far = "its alarms" if self.away_sees == "alarms" else "its alarms and readings"
            lines.append(f"You are {said.way_text(me.person)}; from afar you have {far}.")
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
            self.log.tell("refused", str(error))
            self.refused.add(len(self.actions) - 1)
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
        self.noticed.pass_until(t_s, stops=False)
        return self.told[known:]

    def _note_decision(self, order: Order) -> None:
        shown = self.session.shown()
        seen_m = shown.level_m if self.place == SITE else math.nan
        line = self.actions[-1].line
        self.decided.append(
            Decided(
                self.now_s,
                line,
                order.verb,
                self.place,
                self.session.level_m,
                seen_m,
                len(self.actions) - 1,
            )
        )

    def _obey(self, order: Order) -> None:
        tell = self.log.tell
        if order.verb == "wait":
            self._wait(order)
        elif order.verb == "ask":
            self._asking.ask(order.subject)
        elif order.verb == "look":
            self._asking.look()
        elif order.verb == "note":
            tell("answer", "noted")
        elif order.verb == "done":
            left = self._left_behind()
            self.log.close()
            for line in left:
                tell("answer", line)
            tell("answer", "what has been ordered is still done; the rest runs by itself")
        elif order.verb == "call":
            tell("answer", self._calls.call(order.subject))
        elif order.verb == "send" and order.home:
            tell("answer", self.noticed.ways.home(order.subject))
            for line in self._left_behind() if not self.crew.on_site else ():
                tell("answer", line)
        elif order.verb == "send":
            tell("answer", self._calls.send(order.subject, order.tools))
        else:
            self._on_site.obey(order)

    def _left_behind(self) -> list[str]:
        """Return what stands otherwise than it should when nobody is left on site."""
        said_of = {
            "hand": "is left in hand: nothing stops it when nobody is there",
            "off": "is left off: nothing starts it when nobody is there",
        }
        return [f"{name} {said_of[mode]}" for name, mode in self.turned.items() if mode in said_of]

    def _wait(self, order: Order) -> None:
        end_s = self.episode.duration_s
        if order.until_s is not None and order.until_s > end_s + 1.0:
            raise ActionError(
                f"the drill ends at {self.clock(end_s)}, before that; 'wait' alone goes on until"
                " something is told, 'done' to the end"
            )
        if order.until_s is None:
            self.noticed.pass_until(self.episode.duration_s, stops=True)
        else:
            self.noticed.pass_until(order.until_s, stops=True, timed=True)

    # ------------------------------------------------------------------ the end

    def finish(self) -> Result:
        """Go on to the end of the episode, as it stands; return the run."""
        if self._result is None:
            self.log.close()
            self.noticed.pass_until(self.episode.duration_s, stops=False)
            result = self.session.finish()
            rows = self.crew.diary.close(self.episode.duration_s)
            trace = result.trace
            if self.decided:
                trace = dataclasses.replace(trace, crew=list(rows))
                trace.alarms = [
                    row._replace(reached_s=self.reached.get(row[:3], math.nan))
                    for row in trace.alarms
                ]
            self._result = dataclasses.replace(result, trace=trace)
        return self._result

    def replay(self) -> Episode:
        """Return the episode without people, with all that was done as scripted events."""
        return self.session.replay()


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

"""The crew of a drill: who is where, with which tool, doing what they were told.

Nobody acts by themselves: each is called, sent and told, by the person who plays. How long each
thing takes stands in the response, as in a run by the plan; what somebody does on site reaches the
plant as an event of the catalogue and by nothing else.

A phone that is not heard rings for no longer than a call waits for its next number, or ten minutes.
The way home is not followed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from stationsim.errors import ActionError
from stationsim.people.response import Person, Response, Task, TaskKind, Tool
from stationsim.simulation.people.diary import NO_ANSWER
from stationsim.simulation.people.kits import NOT_TO_BE_HAD
from stationsim.simulation.people.team import Team
from stationsim.studies.drill.timetable import Course, Timetable
from stationsim.trace import CrewRow
from stationsim.wording.words import listed

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.simulation.people.site import Site

AWAY, WAY, YARD, SITE = "away", "on the way", "in the yard", "on site"

_RINGS_S = 600.0
"""A phone that nobody hears rings for no longer; common practice, no source [s]."""
_LEAST_LOAD_S = 60.0
"""A tanker takes its load in no less [s]."""


class Listener(Protocol):
    """Who is told what comes of orders: the drill."""

    @property
    def now_s(self) -> float:
        """The present [s]."""
        ...

    def say(self, text: str, by: str) -> None:
        """Tell the person who plays something now."""
        ...

    def arrived(self, hand: Hand, *, closely: bool) -> None:
        """Somebody stands on site, and tells what they find; closely: they have looked around."""
        ...

    def looked(self) -> tuple[tuple[TaskKind, str], ...]:
        """Return what does not look, or sound, as it should."""
        ...

    def feel(self) -> None:
        """Let the plant feel what has been done at this moment."""
        ...


@dataclass
class Hand:
    """Somebody who can be called, sent and told.

    Parameters
    ----------
    person
        Who.
    place
        ``away``, ``on the way``, ``in the yard`` or ``on site``.
    doing
        What they are at, in trade words; empty for nothing.
    free_s
        Until when they are at it [s].
    reached
        Whether they have answered the phone.
    sent
        Whether they are to go, once they have answered.
    """

    person: Person
    place: str = AWAY
    doing: str = ""
    free_s: float = -math.inf
    reached: bool = False
    sent: bool = False
    brings: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """What people call them."""
        return self.person.name


@dataclass
class Stock:
    """A tool: where those of its kind are.

    Parameters
    ----------
    tool
        What it is.
    taken
        How many have left the yard, or were ordered [-].
    here
        How many are on site [-].
    in_use
        How many are being worked with, or away with a load [-].
    """

    tool: Tool
    taken: int = 0
    here: int = 0
    in_use: int = 0

    @property
    def idle(self) -> bool:
        """True when one is on site that nobody works with."""
        return self.here > self.in_use


class Crew:
    """Everybody, with their tools.

    Parameters
    ----------
    response
        Who there is, with what, and how long things take.
    start, seed, replicate
        As in the episode.
    me
        The person who plays; one of the response, or one of their own.
    listener
        Who is told.
    site
        The station, as they find it.
    """

    def __init__(
        self,
        response: Response,
        start: datetime,
        seed: int,
        replicate: int,
        me: Person,
        listener: Listener,
        site: Site,
    ) -> None:
        self.response = response
        self.team = Team(response, start, seed, replicate)
        self.table = Timetable()
        self.listener = listener
        self.site = site
        people = {me.name: me} | {one.name: one for one in response.people}
        self.hands = {name: Hand(one) for name, one in people.items()}
        self.me = self.hands[me.name]
        self.me.reached = True
        self.stocks = {one.name: Stock(one) for one in response.tools}
        for stock in self.stocks.values():
            if stock.tool.fetched is None and stock.tool.delivered is None:
                stock.taken = stock.here = stock.tool.number
        self.at: set[str] = set()  # what somebody works on: nobody else lays hand on it
        self.rows: list[CrewRow] = []
        self._open: dict[int, CrewRow] = {}
        self._number = 0

    # ------------------------------------------------------------------ the diary

    def _begin(
        self, task: str, subject: str, planned_s: float, person: str = "", tool: str = ""
    ) -> int:
        now_s = self.listener.now_s
        self._number += 1
        row = CrewRow(task, subject, planned_s, now_s, math.nan, "", person, tool)
        self._open[self._number] = row
        return self._number

    def _end(self, number: int, outcome: str = "done") -> None:
        row = self._open.pop(number)
        self.rows.append(row._replace(stop_s=self.listener.now_s, outcome=outcome))

    def close(self, end_s: float) -> list[CrewRow]:
        """Close what is open at the end of the run; return all rows.

        Parameters
        ----------
        end_s
            When that is [s].
        """
        for number in list(self._open):
            row = self._open.pop(number)
            self.rows.append(row._replace(stop_s=end_s, outcome="end of run"))
        self.rows.sort(key=lambda row: (row.start_s, row.stop_s))
        return self.rows

    # ------------------------------------------------------------------ who is where

    @property
    def on_site(self) -> list[Hand]:
        """All who stand on site, the one who plays first."""
        return [hand for hand in self._me_first() if hand.place == SITE]

    def _me_first(self) -> list[Hand]:
        return [self.me, *(hand for hand in self.hands.values() if hand is not self.me)]

    def idle(self, hand: Hand) -> bool:
        """Return whether somebody on site has their hands free.

        Parameters
        ----------
        hand
            Who.
        """
        return hand.place == SITE and not hand.doing

    def _says(self, text: str, hand: Hand | None = None) -> None:
        self.listener.say(text, "" if hand is None or hand is self.me else hand.name)

    # ------------------------------------------------------------------ phones

    def call(self, name: str) -> str:
        """Ring somebody, or order a tool that is delivered; return what is begun.

        Parameters
        ----------
        name
            Who, or which.

        Raises
        ------
        ActionError
            When they cannot be called.
        """
        if name in self.stocks:
            return self._order(self.stocks[name])
        hand = self.hands[name]
        if hand is self.me:
            raise ActionError("that is you")
        self._may_be_rung(hand)
        if hand.reached:
            raise ActionError(f"{name} has answered already, and stands by")
        self.table.begin(self._rings(hand))
        return f"the phone of {name} rings"

    def _may_be_rung(self, hand: Hand) -> None:
        if hand.place != AWAY or hand.sent:
            raise ActionError(f"{hand.name} is {self.whereabouts(hand)}")
        if hand.doing:
            raise ActionError(f"the phone of {hand.name} rings already")
        if not hand.reached and not self.team.to_be_called(hand.person, self.listener.now_s):
            raise ActionError(f"{hand.name} is not on call at this hour")

    def _rings(self, hand: Hand) -> Course:
        now_s = self.listener.now_s
        takes = self.team.acknowledges(hand.person, now_s)
        planned_s = hand.person.acknowledges.typical if takes is None else takes.typical
        row = self._begin("called", "by you", planned_s, hand.name)
        hand.doing = "phone rings"
        if takes is None:
            hand.free_s = now_s + min(self.response.next_after_s, _RINGS_S)
            yield hand.free_s
            hand.doing = ""
            hand.sent = False
            self._end(row, NO_ANSWER)
            self._says(f"{hand.name} does not answer")
            return
        hand.free_s = now_s + self.team.takes_s(hand.name, "acknowledges", takes)
        yield hand.free_s
        hand.doing = ""
        hand.reached = True
        self._end(row, "acknowledged")
        self._says("answers, and " + ("sets out" if hand.sent else "stands by"), hand)
        if hand.sent:
            self.table.begin(self._goes(hand))

    def _order(self, stock: Stock) -> str:
        tool = stock.tool
        if tool.delivered is None:
            raise ActionError(
                f"the {tool.name} is not delivered: "
                + (f"send NAME for {tool.name}" if tool.fetched is not None else "it is on site")
            )
        if stock.taken >= tool.number:
            raise ActionError(
                f"there is no {tool.name} to be had"
                if tool.number < 1
                else f"the {tool.name} was ordered already"
            )
        stock.taken += 1
        self.table.begin(self._comes(stock))
        return f"the {tool.name} is ordered"

    def _comes(self, stock: Stock) -> Course:
        tool = stock.tool
        assert tool.delivered is not None  # noqa: S101  (it was asked for)
        row = self._begin("comes", tool.name, tool.delivered.typical, "", tool.name)
        takes_s = self.team.takes_s(tool.name, "delivered", tool.delivered)
        yield self.listener.now_s + takes_s
        stock.here += 1
        self._end(row, "on site")
        self._says(f"the {tool.name} is on site")

    # ------------------------------------------------------------------ ways

    def send(self, name: str, tools: tuple[str, ...]) -> str:
        """Send somebody to the station, by way of the yard when they are to bring something.

        Parameters
        ----------
        name
            Who.
        tools
            What they collect on the way, in this order.

        Raises
        ------
        ActionError
            When they cannot go, or a tool is not collected.
        """
        hand = self.hands[name]
        for tool in tools:
            if self.stocks[tool].tool.fetched is None:
                raise ActionError(
                    f"the {tool} is not in the yard: "
                    + (f"call {tool}" if self.stocks[tool].tool.delivered else "it is on site")
                )
        if hand.place == SITE:
            if not tools:
                raise ActionError(f"{self._who(hand)} on site already")
            if hand.doing:
                raise ActionError(f"{self._who(hand)} at work: {hand.doing}")
            hand.brings = list(tools)
            self.table.begin(self._trip(hand))
            return f"{self._goes_words(hand)} to the yard for the {listed(tools)}, and back"
        if hand.place != AWAY or hand.sent:
            raise ActionError(f"{self._who(hand)} {self.whereabouts(hand)} already")
        if hand.doing:  # the phone rings: they go when they answer
            hand.sent = True
            hand.brings = list(tools)
            return f"{name} is to go when they answer"
        if not hand.reached:
            self._may_be_rung(hand)
        hand.sent = True
        hand.brings = list(tools)
        self.table.begin(self._goes(hand) if hand.reached else self._rings(hand))
        if not hand.reached:
            return f"the phone of {name} rings; they are to go when they answer"
        return f"{self._get_words(hand)} ready to go"

    def _who(self, hand: Hand) -> str:
        return "you are" if hand is self.me else f"{hand.name} is"

    def _goes_words(self, hand: Hand) -> str:
        return "you drive" if hand is self.me else f"{hand.name} drives"

    def _get_words(self, hand: Hand) -> str:
        return "you get" if hand is self.me else f"{hand.name} gets"

    def _goes(self, hand: Hand) -> Course:
        name, now_s = hand.name, self.listener.now_s
        ready = self.team.gets_ready(hand.person, now_s)
        hand.doing = "gets ready"
        row = self._begin("gets ready", "station", ready.typical, name)
        hand.free_s = now_s + self.team.takes_s(name, "gets ready", ready)
        yield hand.free_s
        self._end(row)
        for tool in hand.brings:
            yield from self._fetches(hand, self.stocks[tool])
        hand.place = WAY
        travels = self.team.travels(hand.person, self.listener.now_s)
        takes_s = self.team.takes_s(name, "travels", travels) + self.response.late_s
        yield from self._travels(hand, "station", travels.typical, takes_s, "on site")
        yield from self._gets_there(hand)

    def _travels(
        self, hand: Hand, where: str, planned_s: float, takes_s: float, outcome: str
    ) -> Course:
        row = self._begin("travels", where, planned_s, hand.name)
        hand.doing = "drives"
        hand.free_s = self.listener.now_s + takes_s
        yield hand.free_s
        self._end(row, outcome)

    def _gets_there(self, hand: Hand) -> Course:
        """Stand on site from now on, with what was brought, and look around first."""
        hand.place, hand.doing = SITE, ""
        for tool in hand.brings:
            self.stocks[tool].here += 1
        hand.brings = []
        assesses = self.response.assesses
        if hand is self.me:  # looks around when they want to
            self._says("you stand on site", hand)
            self.listener.arrived(hand, closely=False)
            return
        if assesses.high > 0.0:
            hand.doing = "looks around"
            row = self._begin("looks around", "station", assesses.typical, hand.name)
            takes_s = self.team.takes_s(hand.name, "looks around", assesses)
            hand.free_s = self.listener.now_s + takes_s
            yield hand.free_s
            hand.doing = ""
            self._end(row)
        self._says("on site", hand)
        self.listener.arrived(hand, closely=True)

    def looks_around(self, hand: Hand) -> str:
        """Somebody on site looks around for as long as that takes; return what is begun.

        Parameters
        ----------
        hand
            Who.
        """
        hand.doing = "looks around"
        self.table.begin(self._looks(hand))
        return f"{self._who(hand)} looking around" if hand.doing else ""

    def _looks(self, hand: Hand) -> Course:
        assesses = self.response.assesses
        row = self._begin("looks around", "station", assesses.typical, hand.name)
        takes_s = self.team.takes_s(hand.name, "looks around", assesses)
        hand.free_s = self.listener.now_s + takes_s
        if takes_s > 0.0:
            yield hand.free_s
        hand.doing = ""
        self._end(row)
        self.listener.arrived(hand, closely=True)

    def _fetches(self, hand: Hand, stock: Stock) -> Course:
        tool = stock.tool
        assert tool.fetched is not None  # noqa: S101  (it was looked at before)
        hand.place, hand.doing = YARD, f"fetches {tool.name}"
        row = self._begin("fetches", tool.name, tool.fetched.typical, hand.name, tool.name)
        if stock.taken >= tool.number:
            self._end(row, NOT_TO_BE_HAD)
            hand.brings = [one for one in hand.brings if one != tool.name]
            self._says(f"there is no {tool.name} in the yard", hand)
            return
        stock.taken += 1
        hand.free_s = self.listener.now_s + self.team.takes_s(tool.name, "fetched", tool.fetched)
        yield hand.free_s
        self._end(row)

    def _trip(self, hand: Hand) -> Course:
        """Drive to the yard for something that was not brought, and back."""
        travels = self.team.travels(hand.person, self.listener.now_s)
        hand.place = WAY
        takes_s = self.team.takes_s(hand.name, "travels", travels)
        yield from self._travels(hand, "yard", travels.typical, takes_s, "in the yard")
        for tool in list(hand.brings):
            yield from self._fetches(hand, self.stocks[tool])
        hand.place = WAY
        takes_s = self.team.takes_s(hand.name, "travels", travels)
        yield from self._travels(hand, "station", travels.typical, takes_s, "on site")
        hand.place, hand.doing = SITE, ""
        brought = listed(hand.brings) if hand.brings else ""
        for tool in hand.brings:
            self.stocks[tool].here += 1
        hand.brings = []
        self._says(f"back on site{f' with the {brought}' if brought else ''}", hand)

    def home(self, name: str) -> str:
        """Send somebody home who is on site; return what is said.

        Parameters
        ----------
        name
            Who.

        Raises
        ------
        ActionError
            When they are not there, or at work.
        """
        hand = self.hands[name]
        if hand.place != SITE:
            raise ActionError(f"{self._who(hand)} not on site")
        if hand.doing:
            raise ActionError(f"{self._who(hand)} at work: {hand.doing}")
        hand.place, hand.sent = AWAY, False
        row = self._begin("stood down", "station", 0.0, hand.name)
        self._end(row)
        return f"{'you leave' if hand is self.me else f'{name} leaves'} the site"

    def comes_by(self, hand: Hand) -> None:
        """The round brings somebody to the station, who stays until sent home.

        Parameters
        ----------
        hand
            Who.
        """
        row = self._begin("visits", "station", 0.0, hand.name)
        self._end(row)
        hand.reached = hand.sent = True
        self.table.begin(self._gets_there(hand))

    def whereabouts(self, hand: Hand) -> str:
        """Return where somebody is and what they do, as they would tell by phone.

        Parameters
        ----------
        hand
            Who.
        """
        if hand.place == SITE:
            return f"on site, at work: {hand.doing}" if hand.doing else "on site"
        if hand.place == AWAY:
            if hand.doing == "phone rings":
                return "being called"
            if hand.doing:
                return "getting ready"
            return "away, and stands by" if hand.reached else "away"
        return {YARD: f"in the yard, {hand.doing}"}.get(hand.place, hand.place)

    # ------------------------------------------------------------------ work on site

    def hand_for(self, by: str) -> Hand:
        """Return who turns a selector: who was named, or whoever is there with hands free.

        Parameters
        ----------
        by
            Name; empty for anybody.

        Raises
        ------
        ActionError
            When nobody is there, or nobody has their hands free.
        """
        if by:
            hand = self.hands[by]
            if hand.place != SITE:
                raise ActionError(f"{self._who(hand)} not on site")
            if hand.doing:
                raise ActionError(f"{self._who(hand)} at work: {hand.doing}")
            return hand
        if not self.on_site:
            raise ActionError("nobody is on site; send somebody, or go yourself: send me")
        free = [hand for hand in self.on_site if self.idle(hand)]
        if not free:
            raise ActionError(f"all on site are at work: {self.on_site[0].doing}")
        return free[0]

    def step(self, kind: TaskKind) -> Task:
        """Return the step of the plan of a kind.

        Parameters
        ----------
        kind
            Which.

        Raises
        ------
        ActionError
            When the plan has none, so that nobody knows how long it takes.
        """
        task = self.response.task(kind)
        if task is None:
            key = kind.replace(" ", "_")
            raise ActionError(
                f"the file has no step '{kind}', so nobody knows how long it takes;"
                f" add [task.{key}] to it"
            )
        return task

    def works(
        self, task: Task, subject: str, by: str, *, down: bool = False, loads: int = 1
    ) -> str:
        """Have a step done on site; return what is begun.

        Parameters
        ----------
        task, subject
            Which, and to what.
        by
            Who; empty for whoever has their hands free.
        down
            True to take off what it has connected.
        loads
            Of hauling: how many, one after the other [-].

        Raises
        ------
        ActionError
            When there are too few hands, or the tool is not there.
        """
        stock = None if task.tool is None else self.stocks[task.tool]
        by_driver = task.people == 0 and stock is not None and stock.tool.delivered is not None
        hands: list[Hand] = []
        if not by_driver:
            first = self.hand_for(by)
            others = [one for one in self.on_site if self.idle(one) and one is not first]
            hands = [first, *others][: max(task.people, 1)]
            if len(hands) < task.people:
                raise ActionError(
                    f"it takes {task.people} people, and {len(hands)} on site have hands free"
                )
        if stock is not None and not down and not stock.idle:
            raise ActionError(f"{self._no_tool(stock)}")
        word = task.kind.replace("connect", "disconnect") if down else task.kind
        for hand in hands:
            hand.doing = word
        if stock is not None and not down:
            stock.in_use += 1
        if task.kind == "haul":
            self.table.begin(self._hauls(hands, task, stock, loads))
        else:
            self.table.begin(self._does(hands, task, subject, word, down=down, stock=stock))
        who = listed([one.name for one in hands]) if hands else f"the driver of the {task.tool}"
        if hands == [self.me]:
            who = "you"
        return f"{who} {'begin' if who == 'you' or len(hands) > 1 else 'begins'}: {word}"

    def _no_tool(self, stock: Stock) -> str:
        name = stock.tool.name
        if stock.here > 0:
            return f"the {name} is in use"
        if stock.taken > 0:
            return f"the {name} is not on site yet"
        how = "send NAME for" if stock.tool.fetched is not None else "call"
        return f"there is no {name} on site; {how} {name}"

    def _does(
        self,
        hands: list[Hand],
        task: Task,
        subject: str,
        word: str,
        *,
        down: bool,
        stock: Stock | None,
    ) -> Course:
        spans = (task.takes_down,) if down else (task.takes, task.starts)
        planned_s = sum(span.typical for span in spans)
        names = [hand.name for hand in hands] or [""]
        rows = [self._begin(word, subject, planned_s, name, task.tool or "") for name in names]
        takes_s = self.team.takes_s(task.kind, "takes down" if down else "takes", spans[0])
        if not down and task.starts.high > 0.0:
            takes_s += self.team.takes_s(task.kind, "starts", task.starts)
        if down:
            self.site.take_down(task, takes_s)
        else:
            self.site.begins(task, subject, takes_s)
        self.listener.feel()
        over_s = self.listener.now_s + takes_s
        for hand in hands:
            hand.free_s = over_s
        thing = self.site.thing(task, subject)
        self.at.add(thing)
        if takes_s > 0.0:
            yield over_s
        self.at.discard(thing)
        outcome = "done"
        if not down:
            outcome = self._comes_of(task, subject)
        for row in rows:
            self._end(row, outcome)
        for hand in hands:
            hand.doing = ""
        if stock is not None and not down:
            stock.in_use -= 1
        told = f"{word}, {subject}" if subject != "station" else word
        self._says(f"{told}: {outcome}", hands[0] if hands else None)
        self.listener.feel()

    def _comes_of(self, task: Task, subject: str) -> str:
        mends = task.kind in ("set right", "clear rags", "pull a pump")
        if mends and (task.kind, subject) not in self.listener.looked():
            self.site.given_back(subject)
            return "nothing amiss was found"
        self.site.done(task, subject)
        return "done"

    def _hauls(self, hands: list[Hand], task: Task, stock: Stock | None, loads: int) -> Course:
        names = [hand.name for hand in hands] or [""]
        for load in range(loads):
            rows = [
                self._begin("haul", "station", task.takes.typical, name, task.tool or "")
                for name in names
            ]
            takes_s = max(self.team.takes_s("haul", "takes", task.takes), _LEAST_LOAD_S)
            self.site.done(task, "station", takes_s)
            self.listener.feel()
            for hand in hands:
                hand.free_s = self.listener.now_s + takes_s
            yield self.listener.now_s + takes_s
            for row in rows:
                self._end(row)
            for hand in hands:
                hand.doing = ""
            if stock is not None:
                trip = stock.tool.round_trip
                away = self._begin("is away with a load", stock.tool.name, trip.typical, "",
                                   stock.tool.name)  # fmt: skip
                self._says(f"load {load + 1} of {loads} is on its way", hands[0] if hands else None)
                takes_s = self.team.takes_s(stock.tool.name, "round trip", trip)
                yield self.listener.now_s + takes_s
                self._end(away, "back")
                self._says(f"the {stock.tool.name} is back, empty")
        if stock is not None:
            stock.in_use -= 1

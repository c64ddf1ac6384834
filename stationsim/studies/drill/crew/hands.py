"""The crew of a drill: who and what there is, and where each stands.

Nobody acts by themselves: each is called, sent and told, by the person who plays. How long each
thing takes stands in the response, as in a run by the plan; what somebody does on site reaches the
plant as an event of the catalogue and by nothing else. Phones are in ``calls.py``, the way to the
station in ``ways.py``, what is done there in ``work.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from stationsim.errors import ActionError, InputError
from stationsim.people.response import Person, Response, Task, TaskKind, Tool
from stationsim.simulation.people.team import Team
from stationsim.studies.drill.crew.diary import Diary
from stationsim.studies.drill.orders import ME
from stationsim.studies.drill.timetable import Timetable

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.simulation.people.site import Site

AWAY, WAY, YARD, SITE = "away", "on the way", "in the yard", "on site"

YOU = "you"
"""What the person who plays is called where the response names nobody."""


def who_answers(response: Response, name: str = "") -> Person:
    """Return the person who plays: who is named, or the first on the call list, or of all.

    Parameters
    ----------
    response
        Who there is; one that names nobody gives somebody called :data:`YOU`.
    name
        Who is to play; empty for nobody in particular.

    Raises
    ------
    InputError
        When the response does not know who that is, or calls somebody else what in a drill means
        whoever types.
    """
    people = {one.name: one for one in response.people}
    for known in people:
        if known.casefold() == ME and known != (name or next(iter(response.call_list), "")):
            raise InputError(
                f"somebody in the file is called '{known}', which in a drill means whoever"
                " types; give them another name"
            )
    if name:
        if name not in people and people:
            there = ", ".join(people)
            raise InputError(f"nobody in the file is called '{name}'; there are {there}")
        return people.get(name, Person(name))
    for first in response.call_list:
        return people[first]
    return next(iter(people.values()), Person(YOU))


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

    def looks_again(self, hand: Hand) -> None:
        """Somebody on site who has nothing to do looks again, and tells what is new."""
        ...

    def tripped(self, name: str) -> bool:
        """Return whether the panel shows something as taken out."""
        ...

    def looked(self) -> tuple[tuple[TaskKind, str], ...]:
        """Return what does not look, or sound, as it should."""
        ...

    def feel(self) -> bool:
        """Let the plant feel what has been done at this moment; False: it has refused it."""
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
    reached
        Whether they have answered the phone.
    sent
        Whether they are to go, once they have answered.
    """

    person: Person
    place: str = AWAY
    doing: str = ""
    reached: bool = False
    sent: bool = False
    brings: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """What people call them."""
        return self.person.name

    @property
    def idle(self) -> bool:
        """True when they stand on site with their hands free."""
        return self.place == SITE and not self.doing


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
        Who is told what comes of orders.
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
        self.diary = Diary(listener)

    @property
    def on_site(self) -> list[Hand]:
        """All who stand on site, the one who plays first."""
        others = (hand for hand in self.hands.values() if hand is not self.me)
        return [hand for hand in (self.me, *others) if hand.place == SITE]

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
            return "away, and stands by" if hand.reached and hand is not self.me else "away"
        return {YARD: f"in the yard, {hand.doing}"}.get(hand.place, hand.place)

    def who_is(self, hand: Hand) -> str:
        """Return how a sentence about somebody begins: ``you are``, or with their name.

        Parameters
        ----------
        hand
            Who.
        """
        return "you are" if hand is self.me else f"{hand.name} is"

    def says(self, text: str, hand: Hand | None = None) -> None:
        """Tell the person who plays something that somebody says, or that they notice themselves.

        Parameters
        ----------
        text
            What is told.
        hand
            Who tells it; None for nobody in particular.
        """
        self.listener.say(text, "" if hand is None or hand is self.me else hand.name)

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
                raise ActionError(f"{self.who_is(hand)} not on site")
            if hand.doing:
                raise ActionError(f"{self.who_is(hand)} at work: {hand.doing}")
            return hand
        if not self.on_site:
            raise ActionError(
                "nobody is on site yet"
                if any(hand.sent for hand in self.hands.values())
                else "nobody is on site; send somebody, or go yourself: send me"
            )
        free = [hand for hand in self.on_site if hand.idle]
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

"""Work on site: a step of the plan is done by those who stand there, with what was brought."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.errors import ActionError
from stationsim.simulation.people.site import MENDED
from stationsim.studies.drill.crew.hands import Crew, Hand, Stock
from stationsim.wording.words import listed

if TYPE_CHECKING:
    from stationsim.people.response import Task
    from stationsim.studies.drill.timetable import Course

REFUSED = "could not be done"
"""What comes of work that the station does not take."""

_LEAST_LOAD_S = 60.0
"""A tanker takes its load in no less; own choice [s]."""


class Work:
    """What is under way on site.

    Parameters
    ----------
    crew
        Everybody, with their tools.
    """

    def __init__(self, crew: Crew) -> None:
        self.crew = crew
        self.at: set[str] = set()  # what somebody works on: nobody else lays hand on it

    def looks_around(self, hand: Hand) -> str:
        """Somebody on site looks around for as long as that takes; return what is begun.

        Parameters
        ----------
        hand
            Who.
        """
        crew = self.crew
        hand.doing = "looks around"
        crew.table.begin(self._looks(hand))
        return f"{crew.who_is(hand)} looking around" if hand.doing else ""

    def _looks(self, hand: Hand) -> Course:
        crew = self.crew
        assesses = crew.response.assesses
        row = crew.diary.begin("looks around", "station", assesses.typical, hand.name)
        takes_s = crew.team.takes_s(hand.name, "looks around", assesses)
        if takes_s > 0.0:
            yield crew.listener.now_s + takes_s
        hand.doing = ""
        crew.diary.end(row)
        crew.listener.arrived(hand, closely=True)

    def begin(
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
        crew = self.crew
        thing = crew.site.thing(task, subject)
        if thing in self.at:
            raise ActionError(f"somebody is at work on {thing}")
        stock = None if task.tool is None else crew.stocks[task.tool]
        by_driver = task.people == 0 and stock is not None and stock.tool.delivered is not None
        hands: list[Hand] = []
        if not by_driver:
            first = crew.hand_for(by)
            others = [one for one in crew.on_site if one.idle and one is not first]
            hands = [first, *others][: max(task.people, 1)]
            if len(hands) < task.people:
                raise ActionError(
                    f"it takes {task.people} people, and {len(hands)} on site have hands free"
                )
        if task.kind.startswith("connect") and crew.site.connected(task) != down:
            raise ActionError(
                f"the {task.kind.removeprefix('connect ')} is "
                + ("not connected" if down else "connected already")
            )
        if stock is not None and not down and not stock.idle:
            raise ActionError(f"{self._no_tool(stock)}")
        word = task.kind.replace("connect", "disconnect") if down else task.kind
        for hand in hands:
            hand.doing = word
        if stock is not None and not down:
            stock.in_use += 1
        if task.kind == "haul":
            crew.table.begin(self._hauls(hands, task, stock, loads))
        else:
            crew.table.begin(self._does(hands, task, subject, word, down=down, stock=stock))
        who = listed([one.name for one in hands]) if hands else f"the driver of the {task.tool}"
        if hands == [crew.me]:
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
        crew = self.crew
        spans = (task.takes_down,) if down else (task.takes, task.starts)
        planned_s = sum(span.typical for span in spans)
        names = [hand.name for hand in hands] or [""]
        rows = [crew.diary.begin(word, subject, planned_s, name, task.tool or "") for name in names]
        takes_s = crew.team.takes_s(task.kind, "takes down" if down else "takes", spans[0])
        if not down and task.starts.high > 0.0:
            takes_s += crew.team.takes_s(task.kind, "starts", task.starts)
        thing = crew.site.thing(task, subject)
        if thing != "station":
            self.at.add(thing)
        over_s = crew.listener.now_s + takes_s
        # a pump that is isolated is no longer heard: what it needed shows before
        was_amiss = (task.kind, subject) in crew.listener.looked()
        if down:
            crew.site.take_down(task, takes_s)
        else:
            crew.site.begins(task, subject, takes_s)
        taken = crew.listener.feel()
        if takes_s > 0.0:
            yield over_s
        self.at.discard(thing)
        outcome = "done" if down else self._comes_of(task, subject, was_amiss=was_amiss)
        for hand in hands:
            hand.doing = ""
        if stock is not None and not down:
            stock.in_use -= 1
        taken = crew.listener.feel() and taken
        for row in rows:
            crew.diary.end(row, outcome if taken else REFUSED)
        told = f"{word}, {subject}" if subject != "station" else word
        if taken or not hands:  # else they have told of that
            came = outcome if taken else REFUSED
            crew.says(f"{told}: {came}", hands[0] if hands else None)

    def _comes_of(self, task: Task, subject: str, *, was_amiss: bool) -> str:
        crew = self.crew
        mends = task.kind in ("set right", "clear rags", "pull a pump")
        amiss = was_amiss and task.kind in MENDED  # it is opened, whatever has become of it
        if mends and not amiss and (task.kind, subject) not in crew.listener.looked():
            crew.site.given_back(subject)
            trip = f"; its trip stands: reset {subject}" if crew.listener.tripped(subject) else ""
            return f"nothing amiss was found{trip}"
        crew.site.done(task, subject)
        return "done"

    def _hauls(self, hands: list[Hand], task: Task, stock: Stock | None, loads: int) -> Course:
        crew = self.crew
        for load in range(loads):
            if load > 0 and hands:  # the hands were free while the tanker was away
                hands = [one for one in crew.on_site if one.idle][: len(hands)]
                if len(hands) < max(task.people, 1):
                    crew.says("no hands are free for the next load")
                    break
            for hand in hands:
                hand.doing = "haul"
            names = [hand.name for hand in hands] or [""]
            rows = [
                crew.diary.begin("haul", "station", task.takes.typical, name, task.tool or "")
                for name in names
            ]
            takes_s = max(crew.team.takes_s("haul", "takes", task.takes), _LEAST_LOAD_S)
            crew.site.done(task, "station", takes_s)
            crew.listener.feel()
            yield crew.listener.now_s + takes_s
            for row in rows:
                crew.diary.end(row)
            for hand in hands:
                hand.doing = ""
            if stock is not None:
                trip = stock.tool.round_trip
                away = crew.diary.begin("is away with a load", stock.tool.name, trip.typical, "",
                                   stock.tool.name)  # fmt: skip
                crew.says(f"load {load + 1} of {loads} is on its way", hands[0] if hands else None)
                takes_s = crew.team.takes_s(stock.tool.name, "round trip", trip)
                yield crew.listener.now_s + takes_s
                crew.diary.end(away, "back")
                crew.says(f"the {stock.tool.name} is back, empty")
        if stock is not None:
            stock.in_use -= 1

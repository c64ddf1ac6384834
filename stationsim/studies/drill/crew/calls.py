"""Calls: whoever is rung answers, or not; what is ordered comes; who is sent goes.

A phone that is not heard rings for no longer than a call waits for its next number, or ten minutes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.errors import ActionError
from stationsim.simulation.people.diary import NO_ANSWER
from stationsim.studies.drill.crew.hands import AWAY, SITE, Crew, Hand, Stock
from stationsim.wording.words import listed

if TYPE_CHECKING:
    from stationsim.studies.drill.crew.ways import Ways
    from stationsim.studies.drill.timetable import Course

_RINGS_S = 600.0
"""A phone that nobody hears rings for no longer; common practice, no source [s]."""


class Calls:
    """What the person who plays does by phone, or by word of mouth: to call, and to send.

    Parameters
    ----------
    crew
        Everybody who can be called, with what can be ordered.
    ways
        How they go, once they are sent.
    """

    def __init__(self, crew: Crew, ways: Ways) -> None:
        self.crew = crew
        self.ways = ways

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
        crew = self.crew
        if name in crew.stocks:
            return self._order(crew.stocks[name])
        hand = crew.hands[name]
        if hand is crew.me:
            raise ActionError("that is you")
        self._may_be_rung(hand)
        if hand.reached:
            raise ActionError(f"{name} has answered already, and stands by")
        crew.table.begin(self._rings(hand))
        return f"the phone of {name} rings"

    def _may_be_rung(self, hand: Hand) -> None:
        crew = self.crew
        if hand.place != AWAY or hand.sent:
            raise ActionError(f"{hand.name} is {crew.whereabouts(hand)}")
        if hand.doing:
            raise ActionError(f"the phone of {hand.name} rings already")
        if not hand.reached and not crew.team.to_be_called(hand.person, crew.listener.now_s):
            raise ActionError(f"{hand.name} is not on call at this hour")

    def _rings(self, hand: Hand) -> Course:
        crew = self.crew
        now_s = crew.listener.now_s
        takes = crew.team.acknowledges(hand.person, now_s)
        planned_s = hand.person.acknowledges.typical if takes is None else takes.typical
        row = crew.diary.begin("called", "by you", planned_s, hand.name)
        hand.doing = "phone rings"
        if takes is None:
            yield now_s + min(crew.response.next_after_s, _RINGS_S)
            hand.doing = ""
            hand.sent = False
            crew.diary.end(row, NO_ANSWER)
            crew.says(f"{hand.name} does not answer")
            return
        yield now_s + crew.team.takes_s(hand.name, "acknowledges", takes)
        hand.doing = ""
        hand.reached = True
        crew.diary.end(row, "acknowledged")
        crew.says("answers, and " + ("sets out" if hand.sent else "stands by"), hand)
        if hand.sent:
            self.ways.sets_out(hand)

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
        self.crew.table.begin(self._comes(stock))
        return f"the {tool.name} is ordered"

    def _comes(self, stock: Stock) -> Course:
        crew = self.crew
        tool = stock.tool
        assert tool.delivered is not None  # noqa: S101  (it was asked for)
        row = crew.diary.begin("comes", tool.name, tool.delivered.typical, "", tool.name)
        takes_s = crew.team.takes_s(tool.name, "delivered", tool.delivered)
        yield crew.listener.now_s + takes_s
        stock.here += 1
        crew.diary.end(row, "on site")
        crew.says(f"the {tool.name} is on site")

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
        crew = self.crew
        hand = crew.hands[name]
        for tool in tools:
            if crew.stocks[tool].tool.fetched is None:
                raise ActionError(
                    f"the {tool} is not in the yard: "
                    + (f"call {tool}" if crew.stocks[tool].tool.delivered else "it is on site")
                )
        if hand.place == SITE:
            if not tools:
                raise ActionError(f"{crew.who_is(hand)} on site already")
            if hand.doing:
                raise ActionError(f"{crew.who_is(hand)} at work: {hand.doing}")
            hand.brings = list(tools)
            self.ways.fetches(hand)
            drives = "you drive" if hand is crew.me else f"{name} drives"
            return f"{drives} to the yard for the {listed(tools)}, and back"
        if hand.place != AWAY or hand.sent:
            raise ActionError(f"{crew.who_is(hand)} {crew.whereabouts(hand)} already")
        if hand.doing:  # the phone rings: they go when they answer
            hand.sent = True
            hand.brings = list(tools)
            return f"{name} is to go when they answer"
        if not hand.reached:
            self._may_be_rung(hand)
        hand.sent = True
        hand.brings = list(tools)
        if not hand.reached:
            crew.table.begin(self._rings(hand))
            return f"the phone of {name} rings; they are to go when they answer"
        self.ways.sets_out(hand)
        return f"{'you get' if hand is crew.me else f'{name} gets'} ready to go"

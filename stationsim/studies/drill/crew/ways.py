"""Ways: to the station, by way of the yard where something is to be brought, and back.

The way home is not followed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.simulation.people.kits import NOT_TO_BE_HAD
from stationsim.studies.drill.crew.hands import AWAY, SITE, WAY, YARD, Crew, Hand, Stock
from stationsim.wording.words import listed

if TYPE_CHECKING:
    from stationsim.studies.drill.timetable import Course


class Ways:
    """How somebody comes to the station, and leaves it.

    Parameters
    ----------
    crew
        Everybody, with their tools.
    """

    def __init__(self, crew: Crew) -> None:
        self.crew = crew
        self._were_late: set[str] = set()  # who has met the tree on the road

    def sets_out(self, hand: Hand) -> None:
        """Let somebody get ready, collect what they are to bring, and go to the station.

        Parameters
        ----------
        hand
            Who.
        """
        self.crew.table.begin(self._goes(hand))

    def fetches(self, hand: Hand) -> None:
        """Let somebody on site drive to the yard for what they are to bring, and come back.

        Parameters
        ----------
        hand
            Who.
        """
        self.crew.table.begin(self._trip(hand))

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
        crew = self.crew
        hand = crew.hand_for(name)
        hand.place, hand.sent = AWAY, False
        row = crew.diary.begin("stood down", "station", 0.0, hand.name)
        crew.diary.end(row)
        return f"{'you leave' if hand is crew.me else f'{name} leaves'} the site"

    def comes_by(self, hand: Hand) -> None:
        """The round brings somebody to the station, who stays until sent home.

        Parameters
        ----------
        hand
            Who.
        """
        crew = self.crew
        row = crew.diary.begin("visits", "station", 0.0, hand.name)
        crew.diary.end(row)
        hand.reached = hand.sent = True
        crew.table.begin(self._gets_there(hand))

    def _goes(self, hand: Hand) -> Course:
        crew = self.crew
        name, now_s = hand.name, crew.listener.now_s
        ready = crew.team.gets_ready(hand.person, now_s)
        hand.doing = "gets ready"
        row = crew.diary.begin("gets ready", "station", ready.typical, name)
        yield now_s + crew.team.takes_s(name, "gets ready", ready)
        crew.diary.end(row)
        for tool in hand.brings:
            yield from self._fetches(hand, crew.stocks[tool])
        hand.place = WAY
        travels = crew.team.travels(hand.person, crew.listener.now_s)
        takes_s = crew.team.takes_s(name, "travels", travels)
        if name not in self._were_late:  # it lies on the road of each, once
            takes_s += crew.response.late_s
            self._were_late.add(name)
        yield from self._travels(hand, "station", travels.typical, takes_s, "on site")
        yield from self._gets_there(hand)

    def _travels(
        self, hand: Hand, where: str, planned_s: float, takes_s: float, outcome: str
    ) -> Course:
        crew = self.crew
        row = crew.diary.begin("travels", where, planned_s, hand.name)
        hand.doing = "drives"
        yield crew.listener.now_s + takes_s
        crew.diary.end(row, outcome)

    def _gets_there(self, hand: Hand) -> Course:
        """Stand on site from now on, with what was brought, and look around first."""
        crew = self.crew
        hand.place, hand.doing = SITE, ""
        with_what = f", with the {listed(hand.brings)}" if hand.brings else ""
        for tool in hand.brings:
            crew.stocks[tool].here += 1
        hand.brings = []
        assesses = crew.response.assesses
        if hand is crew.me:  # looks around when they want to
            crew.says(f"you stand on site{with_what}", hand)
            crew.listener.arrived(hand, closely=False)
            return
        if assesses.high > 0.0:
            hand.doing = "looks around"
            row = crew.diary.begin("looks around", "station", assesses.typical, hand.name)
            takes_s = crew.team.takes_s(hand.name, "looks around", assesses)
            yield crew.listener.now_s + takes_s
            hand.doing = ""
            crew.diary.end(row)
        crew.says(f"on site{with_what}", hand)
        crew.listener.arrived(hand, closely=True)
        yield from self._looks_on(hand)

    def _looks_on(self, hand: Hand) -> Course:
        """Look again from time to time, as long as they are there, and tell what is new."""
        crew = self.crew
        while hand.place == SITE:
            yield crew.listener.now_s + crew.response.look_again_s
            if hand.idle:
                crew.listener.looks_again(hand)

    def _fetches(self, hand: Hand, stock: Stock) -> Course:
        crew = self.crew
        tool = stock.tool
        assert tool.fetched is not None  # noqa: S101  (it was looked at before)
        hand.place, hand.doing = YARD, f"fetches {tool.name}"
        row = crew.diary.begin("fetches", tool.name, tool.fetched.typical, hand.name, tool.name)
        if stock.taken >= tool.number:
            crew.diary.end(row, NOT_TO_BE_HAD)
            hand.brings = [one for one in hand.brings if one != tool.name]
            crew.says(f"there is no {tool.name} in the yard", hand)
            return
        stock.taken += 1
        yield crew.listener.now_s + crew.team.takes_s(tool.name, "fetched", tool.fetched)
        crew.diary.end(row)

    def _trip(self, hand: Hand) -> Course:
        """Drive to the yard for something that was not brought, and back."""
        crew = self.crew
        travels = crew.team.travels(hand.person, crew.listener.now_s)
        hand.place = WAY
        takes_s = crew.team.takes_s(hand.name, "travels", travels)
        yield from self._travels(hand, "yard", travels.typical, takes_s, "in the yard")
        for tool in list(hand.brings):
            yield from self._fetches(hand, crew.stocks[tool])
        hand.place = WAY
        takes_s = crew.team.takes_s(hand.name, "travels", travels)
        yield from self._travels(hand, "station", travels.typical, takes_s, "on site")
        hand.place, hand.doing = SITE, ""
        brought = listed(hand.brings) if hand.brings else ""
        for tool in hand.brings:
            crew.stocks[tool].here += 1
        hand.brings = []
        crew.says(f"back on site{f' with the {brought}' if brought else ''}", hand)
        if hand is not crew.me:
            yield from self._looks_on(hand)

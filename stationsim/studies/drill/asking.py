"""Asking: what the person who plays can find out where they are, or from somebody who is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.studies.drill import said
from stationsim.studies.drill.crew.hands import SITE

if TYPE_CHECKING:
    from stationsim.studies.drill.crew.hands import Hand
    from stationsim.studies.drill.crew.work import Work
    from stationsim.studies.drill.noticed import Noticed
    from stationsim.studies.drill.told import AwaySees


class Asking:
    """What is asked, and looked at, and the answers to it.

    Parameters
    ----------
    noticed
        What the person who plays sees and knows.
    work
        What is under way on site; looking around is work.
    away_sees
        What the far end shows to them while they are away.
    """

    def __init__(self, noticed: Noticed, work: Work, away_sees: AwaySees) -> None:
        self.noticed = noticed
        self.work = work
        self.away_sees = away_sees

    def ask(self, what: str) -> None:
        """Answer what is asked.

        Parameters
        ----------
        what
            A person, or ``plan``, ``station``, ``people``, ``alarms``; else the panel is read.
        """
        crew, log = self.noticed.crew, self.noticed.log
        if what in crew.hands:
            self._ask_hand(crew.hands[what])
            return
        lines = self._known(what)
        if lines:
            for line in lines:
                log.tell("answer", line)
        elif crew.me.place == SITE:
            self.noticed.read_panel("panel")
        elif self.away_sees == "readings":
            self._poll()
        else:
            log.tell(
                "answer",
                "away you know what the phone tells; ask somebody on site, or go: send me",
            )

    def look(self) -> None:
        """Look around, if one stands on site; else the one who does is asked to.

        Raises
        ------
        ActionError
            When nobody is there, or nobody has their hands free.
        """
        hand = self.noticed.crew.hand_for("")
        looks = self.work.looks_around(hand)
        if hand.doing:
            self.noticed.log.tell("answer", looks)

    def _known(self, what: str) -> list[str]:
        """Return what is known of something without looking; empty for the panel."""
        crew = self.noticed.crew
        if what == "plan":
            return said.plan_lines(crew.response, crew.me.name)
        if what == "station":
            return said.station_lines(self.noticed.session.station, self.noticed.system)
        if what == "people":
            return [
                f"{'you' if hand is crew.me else hand.name}: {crew.whereabouts(hand)}"
                for hand in crew.hands.values()
            ]
        if what == "alarms":
            known = [said.alarm_text(*one) for one in self.noticed.alarms.known]
            return known or ["no alarm stands, as far as you know"]
        return []

    def _poll(self) -> None:
        """Ask the far end for the readings of its next poll."""
        noticed, crew = self.noticed, self.noticed.crew
        takes_s = crew.team.takes_s("telemetry", "picks up", crew.response.picked_up)
        noticed.pass_until(noticed.now_s + takes_s, stops=False)
        if not noticed.session.telemetry_on:
            noticed.log.tell("answer", "no reading comes")
            return
        noticed.read_panel("phone")

    def _ask_hand(self, hand: Hand) -> None:
        crew, log = self.noticed.crew, self.noticed.log
        if hand is crew.me or hand.place != SITE:
            log.tell("answer", f"{crew.who_is(hand)} {crew.whereabouts(hand)}")
            return
        if hand.doing:
            log.tell("crew", f"at work: {hand.doing}", hand.name)
        self.noticed.read_panel("crew", hand.name)

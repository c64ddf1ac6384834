"""The slow ways by which somebody comes to know: the round that passes by, and a passer-by.

They need no telemetry. The round finds what stands when it comes; a passer-by sees a spill, or the
light of the station, for so long of the hours in which people pass, and then rings whoever is on
the list. What a passer-by tells is that something is wrong, not what: whoever goes fetches nothing
for it on the way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stationsim.simulation.clock import CREW
from stationsim.simulation.people.stories import Steps

if TYPE_CHECKING:
    from stationsim.people.response import Person
    from stationsim.simulation.people.responders import Responders

_FAR_END = "telemetry lost"
"""The alarm that the far end raises: no light at the station tells of it."""


class Discovery:
    """The round and the passer-by of one plant.

    Parameters
    ----------
    responders
        Whom they tell.
    """

    def __init__(self, responders: Responders) -> None:
        self.all = responders
        self.plant = responders.plant
        self._spilled = 0

    # ------------------------------------------------------------------ the round

    def begin(self) -> None:
        """Put the first round into the timetable."""
        visit = self.all.response.visit
        if visit is not None:
            first_s = visit.at_clock_s - self.all.team.clock_s(0.0)
            while first_s < 0.0:
                first_s += visit.every_s
            self.plant.at(first_s, CREW, "people.discovery.visited")

    def visited(self) -> None:
        """The round comes by, if whoever makes it is not engaged elsewhere."""
        plant, responders = self.plant, self.all
        visit = responders.response.visit
        assert visit is not None  # noqa: S101  (it stands in the timetable)
        plant.at(plant.t_s + visit.every_s, CREW, "people.discovery.visited")
        person = responders.response.person(visit.person)
        if person.name in responders.going or not responders.team.free(plant.clock, person):
            return
        responders.going.append(person.name)
        plant.tell(responders.live(self._round(person)))

    def _round(self, person: Person) -> Steps:
        plant, responders = self.plant, self.all
        with responders.team.of_person(plant.clock, person).request() as request:
            yield request
            row = responders.diary.begin("visits", "station", 0.0, person.name)
            found = sorted({alarm for alarm, _ in plant.recorder.alarms_standing()})
            spills = plant.spilling.since_s is not None
            told = ", ".join([*found, *(["a spill"] if spills else [])])
            plant.note("call-out", "visited", "the round", told or "all well")
            responders.diary.end(row, f"found: {told}" if told else "all well")
            yield from responders.on_shift().works(person.name, "the round")
            responders.left(person.name)

    # ------------------------------------------------------------------ somebody who rings

    def light(self, alarm: str, subject: str) -> None:
        """An alarm is raised now, and so the light of the station is on.

        Parameters
        ----------
        alarm, subject
            Which, and of what.
        """
        passer = self.all.response.passer_by
        if passer is not None and passer.sees == "alarm light" and alarm != _FAR_END:
            self._rings_later("people.discovery.saw_light", alarm, subject, self.plant.t_s)

    def spill_began(self) -> None:
        """Water begins to leave the system now: somebody may see it."""
        passer = self.all.response.passer_by
        if passer is not None and passer.sees == "spill":
            self._spilled += 1
            self._rings_later("people.discovery.saw_spill", self._spilled)

    def _rings_later(self, method: str, *arguments: Any) -> None:
        passer, team = self.all.response.passer_by, self.all.team
        assert passer is not None  # noqa: S101  (asked for by those who know)
        left_s = team.takes_s("passer-by", "rings", passer.after)
        at_s = passer.rings_at(self.plant.t_s, team.clock_s, left_s)
        self.plant.at(at_s, CREW, method, *arguments)

    def saw_spill(self, number: int) -> None:
        """Somebody has seen a spill for long enough, if it still goes on.

        Parameters
        ----------
        number
            Which spill it was [-].
        """
        if number == self._spilled and self.plant.spilling.since_s is not None:
            self._rung("a spill")

    def saw_light(self, alarm: str, subject: str, raised_s: float) -> None:
        """Somebody has seen the light for long enough, if the alarm still stands.

        Parameters
        ----------
        alarm, subject
            Which alarm, and of what.
        raised_s
            When it was raised [s]; one that went and came again is another one.
        """
        recorder = self.plant.recorder
        stands = recorder.alarm_stands(alarm, subject)
        if stands and recorder.alarm_raised_s(alarm, subject) == raised_s:
            self._rung("the alarm light")

    def _rung(self, what: str) -> None:
        self.plant.note("call-out", "a passer-by rings", what)
        self.all.rung(what)

"""The team: people and tools as resources, and how long each thing takes them.

A person is one SimPy resource and a tool as many as there are of it, so nobody is in two places and
no tool is. The team knows no plant: several plants of one clock can share it.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import simpy

from stationsim.chance import Range, Streams
from stationsim.people.response import Person, Response, Tool, paced

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.simulation.clock import Clock


class Team:
    """The people and the tools of a response.

    Parameters
    ----------
    response
        Who answers, with what.
    start
        Local time at which the run begins.
    seed, replicate
        Root of the random streams, and which of many runs this is [-].
    """

    def __init__(self, response: Response, start: datetime, seed: int, replicate: int) -> None:
        self.response = response
        self.start = start
        self.streams = Streams(seed, replicate)
        self._counts: dict[tuple[str, str], int] = {}
        self._held: dict[str, simpy.Resource] = {}

    def __getstate__(self) -> dict[str, Any]:
        """Return all but the resources: when no story is open, nobody holds any."""
        return {**self.__dict__, "_held": {}}

    # ------------------------------------------------------------------ who and what is to be had

    def _resource(self, clock: Clock, key: str, capacity: int) -> simpy.Resource:
        found = self._held.get(key)
        if found is None:
            found = self._held[key] = simpy.Resource(clock, capacity)
        return found

    def of_person(self, clock: Clock, person: Person) -> simpy.Resource:
        """Return the resource that a person is.

        Parameters
        ----------
        clock
            The clock that they live by.
        person
            Who.
        """
        return self._resource(clock, f"person {person.name}", 1)

    def of_tool(self, clock: Clock, tool: Tool) -> simpy.Resource | None:
        """Return the resource that a tool is; None when there is none of it.

        Parameters
        ----------
        clock
            The clock that it lives by.
        tool
            Which.
        """
        if tool.number < 1:
            return None
        return self._resource(clock, f"tool {tool.name}", tool.number)

    def in_the_yard(self, clock: Clock, tool: Tool) -> bool:
        """Return whether a tool is to be had now: nobody has the last one.

        Parameters
        ----------
        clock
            The clock that it lives by.
        tool
            Which.
        """
        resource = self.of_tool(clock, tool)
        return resource is not None and resource.count < resource.capacity

    def free(self, clock: Clock, person: Person) -> bool:
        """Return whether a person is engaged nowhere.

        Parameters
        ----------
        clock
            The clock that they live by.
        person
            Who.
        """
        return self.of_person(clock, person).count == 0

    def to_be_called(self, person: Person, at_s: float) -> bool:
        """Return whether a person is on call at a time.

        Parameters
        ----------
        person
            Who.
        at_s
            When [s since the start of the run].
        """
        return person.on_call is None or person.on_call.holds(self.clock_s(at_s))

    # ------------------------------------------------------------------ the clock on the wall

    def clock_s(self, at_s: float) -> float:
        """Return the seconds since the midnight before the first day [s].

        Parameters
        ----------
        at_s
            Seconds since the start of the run [s].
        """
        start = self.start
        since = start.hour * 3600.0 + start.minute * 60.0 + start.second + start.microsecond / 1e6
        return since + at_s

    def night(self, at_s: float) -> bool:
        """Return whether a moment counts as night.

        Parameters
        ----------
        at_s
            When [s since the start of the run].
        """
        weekday = (self.start + timedelta(seconds=at_s)).weekday()
        return self.response.at_night(self.clock_s(at_s), weekday)

    # ------------------------------------------------------------------ how long things take

    def takes_s(self, subject: str, purpose: str, span: Range) -> float:
        """Return how long something takes this time [s].

        Parameters
        ----------
        subject, purpose
            Whose stream is drawn from, where durations are drawn.
        span
            Low, typical and high [s].
        """
        pace = self.response.pace
        if pace != "drawn":
            return paced(pace, span, 0.0)
        key = (subject, purpose)
        count = self._counts.get(key, 0)
        self._counts[key] = count + 1
        return paced(pace, span, self.streams.stream(subject, purpose).number(count))

    def acknowledges(self, person: Person, at_s: float) -> Range | None:
        """Return how long a person takes to acknowledge [s]; None when the phone is not heard.

        Parameters
        ----------
        person
            Who.
        at_s
            When the phone rings [s].
        """
        night = self.night(at_s)
        if not person.answers or (night and not person.answers_at_night):
            return None
        return person.takes("acknowledges", night=night)

    def gets_ready(self, person: Person, at_s: float) -> Range:
        """Return how long a person takes to be on the way [s].

        Parameters
        ----------
        person
            Who.
        at_s
            From when [s].
        """
        return person.takes("gets_ready", night=self.night(at_s))

    def travels(self, person: Person, at_s: float) -> Range:
        """Return how long the way takes a person [s].

        Parameters
        ----------
        person
            Who.
        at_s
            From when [s].
        """
        return person.takes("travels", night=self.night(at_s))

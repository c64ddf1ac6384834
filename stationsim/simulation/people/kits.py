"""Kits: the tools of those who answer one call-out, where each is, and how it comes.

A tool that is always on site is there for as many as there are of it. One that is fetched or
delivered is one of those that the team has: it is taken when somebody collects it or it is ordered,
and goes back when the last one has left; a tanker with a load, when it is empty again. Nobody waits
in the yard for a tool that others have: they go without, and drive for it when it is back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stationsim.simulation.people.stories import Steps

if TYPE_CHECKING:
    from stationsim.people.response import Person, Task, Tool
    from stationsim.simulation.people.on_site import Shift

NOT_TO_BE_HAD = "not to be had"


@dataclass
class Kit:
    """A tool of one call-out: one that was brought, or all that are always on site.

    Parameters
    ----------
    tool
        What it is.
    request
        The claim on one of the team's, while it is held.
    coming, here
        Whether it is on its way or will not come, and whether it is on site.
    away
        Of a tanker: whether it is away with a load.
    in_use
        How many are being worked with [-].
    """

    tool: Tool
    request: Any = None
    coming: bool = False
    here: bool = False
    away: bool = False
    in_use: int = 0

    @property
    def idle(self) -> bool:
        """True when one is on site that nobody works with."""
        brought = self.tool.fetched is not None or self.tool.delivered is not None
        return self.here and not self.away and self.in_use < (1 if brought else self.tool.number)


class Kits:
    """The tools of a shift.

    Parameters
    ----------
    shift
        Those who use them.
    """

    def __init__(self, shift: Shift) -> None:
        self.shift = shift
        self.all = shift.all
        self.clock = shift.plant.clock
        self.team = shift.team
        self.diary = shift.diary
        self._kits: dict[str, Kit] = {}

    def named(self, name: str) -> Kit:
        """Return a tool by its name.

        Parameters
        ----------
        name
            Which.
        """
        kit = self._kits.get(name)
        if kit is None:
            tool = self.all.response.tool(name)
            on_site = tool.fetched is None and tool.delivered is None and tool.number > 0
            kit = self._kits[name] = Kit(tool, here=on_site)
        return kit

    def close(self) -> None:
        """The last one has left: tools go back, a tanker when it is empty again."""
        for kit in self._kits.values():
            if not kit.away:
                self._give_back(kit)

    def _give_back(self, kit: Kit) -> None:
        resource = self.team.of_tool(self.clock, kit.tool)
        if kit.request is not None and resource is not None:
            resource.release(kit.request)
        kit.request = None
        kit.here = kit.coming = False

    def will_come(self, kit: Kit) -> bool:
        """Return whether a tool is on its way here, or will be back.

        Parameters
        ----------
        kit
            Which.
        """
        return kit.away or (kit.coming and not kit.here and kit.tool.number > 0)

    # ------------------------------------------------------------------ fetched

    def _brought_for(self, alarms: set[str]) -> list[Task]:
        return [task for task in self.all.response.tasks if alarms & set(task.brought_for)]

    def asks(self, alarms: set[str]) -> None:
        """Order by phone what is delivered, and call the hands that such a step takes.

        Parameters
        ----------
        alarms
            Alarms that stand, as far as they know.
        """
        for task in self._brought_for(alarms):
            if task.tool is not None:
                kit = self.named(task.tool)
                if kit.tool.delivered is not None and not (kit.here or kit.coming):
                    self.order(kit)
            self.all.summon(task.people - len(self.all.going))

    def brings(self, person: Person, alarms: set[str]) -> Steps:
        """Fetch on the way what the alarms ask for.

        Parameters
        ----------
        person
            Who goes.
        alarms
            Alarms that stand, as far as they know.
        """
        for task in self._brought_for(alarms):
            if task.tool is None:
                continue
            kit = self.named(task.tool)
            if kit.tool.fetched is not None and not (kit.here or kit.coming):
                yield from self.fetches(person.name, kit)

    def fetches(self, name: str, kit: Kit) -> Steps:
        """Collect a tool in the yard, if it is to be had.

        Parameters
        ----------
        name
            Who stands there.
        kit
            Which tool.
        """
        tool = kit.tool
        fetched, resource = tool.fetched, self.team.of_tool(self.clock, tool)
        assert fetched is not None  # noqa: S101  (it is fetched)
        row = self.diary.begin("fetches", tool.name, fetched.typical, name, tool.name)
        if resource is None or not self.team.in_the_yard(self.clock, tool):
            self.diary.end(row, NOT_TO_BE_HAD)
            kit.coming = False
            return
        kit.coming = True
        kit.request = resource.request()
        yield kit.request
        takes_s = self.team.takes_s(tool.name, "fetched", fetched)
        yield self.all.until(self.clock.now + takes_s)
        self.diary.end(row)
        kit.here = True

    # ------------------------------------------------------------------ delivered

    def order(self, kit: Kit) -> None:
        """Have a tool brought by somebody else.

        Parameters
        ----------
        kit
            Which.
        """
        kit.coming = True
        self.shift.plant.tell(self.all.live(self._comes(kit)))

    def _comes(self, kit: Kit) -> Steps:
        """A tool is brought, and whoever brings it may work with it."""
        shift, name, delivered = self.shift, kit.tool.name, kit.tool.delivered
        assert delivered is not None  # noqa: S101  (it is delivered)
        ordered_s = self.clock.now
        resource = self.team.of_tool(self.clock, kit.tool)
        if resource is None:
            row = self.diary.begin("comes", name, delivered.typical, "", name)
            self.diary.end(row, NOT_TO_BE_HAD)
            return
        request = resource.request()
        yield request
        if shift.closed:  # nobody waits for it any more
            resource.release(request)
            return
        waited_s = self.clock.now - ordered_s
        row = self.diary.begin("comes", name, delivered.typical, "", name, waited_s)
        takes_s = self.team.takes_s(name, "delivered", delivered)
        yield self.all.until(self.clock.now + takes_s)
        self.diary.end(row, "on site")
        if shift.closed:
            resource.release(request)
            return
        kit.request, kit.here = request, True
        shift.plant.note("call-out", "tool on site", "delivered", name)
        shift.changed()
        yield from shift.driver_works(kit)

    def hauled(self, kit: Kit) -> Steps:
        """A tanker is away with its load.

        Parameters
        ----------
        kit
            The tanker.
        """
        name, trip = kit.tool.name, kit.tool.round_trip
        row = self.diary.begin("is away with a load", name, trip.typical, "", name)
        takes_s = self.team.takes_s(name, "round trip", trip)
        yield self.all.until(self.clock.now + takes_s)
        self.diary.end(row, "back")
        kit.away = False
        if self.shift.closed:
            self._give_back(kit)
        else:
            self.shift.changed()

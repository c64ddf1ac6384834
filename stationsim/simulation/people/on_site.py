"""On site: tasks are taken up in the order of the plan, and somebody looks on.

Each person takes up the first step of the plan that there is something to do for, whose tool is
there, and for which there are hands enough. A tool that is missing is fetched or ordered, and hands
that are missing are called, once somebody has found that they are needed; meanwhile other steps are
taken up. What did not help is not tried again before somebody would look again, and nobody lays
hand on a machine that another works on. What is taken off again is off from the beginning of that
work: it is begun only when it is no longer needed, and not broken off. Who has nothing to do looks
again after a while, or when something changes. When the grid feeds again, nothing is connected and
the water is low, they leave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import simpy

from stationsim.simulation.clock import Due
from stationsim.simulation.people.kits import Kit, Kits
from stationsim.simulation.people.site import MENDED
from stationsim.simulation.people.stories import Steps

if TYPE_CHECKING:
    from stationsim.people.response import Task
    from stationsim.simulation.people.responders import Responders

_BY_THE_WATER = {"connect bypass pump", "haul"}
"""Tasks for which somebody looks whether the water still rises, and how much there is."""

_LEAST_LOAD_S = 1.0
"""A tanker takes its load in no less than this, so that it takes it at a rate [s]."""


@dataclass
class _Hand:
    """Somebody on site: what they wait for, and whether another has taken them to help."""

    name: str
    idle: bool = False
    row: int | None = None  # of the diary, while they look on
    helps: simpy.Event | None = None  # over when the work is done that they were taken for


class _Looks:
    """The looks that somebody who has nothing to do takes now and then.

    A look that finds what the last one found leaves the plant alone: nothing is brought up to its
    moment, for nothing is done.

    Parameters
    ----------
    shift
        Whose they are.
    news
        Succeeds when a look finds something else.
    """

    def __init__(self, shift: Shift, news: simpy.Event) -> None:
        self.shift = shift
        self.seen = shift.glance()
        self.found = news
        self.timer: simpy.Event | None = None
        self._next(shift.plant.clock.now)

    def _next(self, from_s: float) -> None:
        every_s = self.shift.all.response.look_again_s
        self.timer = self.shift.all.until(from_s + every_s)
        if isinstance(self.timer, Due) and self.timer.callbacks is not None:
            self.timer.callbacks.append(self._looks)

    def _looks(self, timer: simpy.Event) -> None:
        if isinstance(timer, Due) and timer.overtaken:
            return
        if self.shift.news(self.seen):
            self.found.succeed()
        else:
            self._next(self.shift.plant.clock.now)

    def over(self) -> None:
        """Look no longer."""
        if isinstance(self.timer, Due):
            self.timer.overtaken = True  # a session that was resumed knows nothing of it


class Shift:
    """Those who answer one call-out, from the first who goes to the last who leaves.

    Parameters
    ----------
    responders
        Whom they belong to.
    """

    def __init__(self, responders: Responders) -> None:
        self.all = responders
        self.plant = responders.plant
        self.team = responders.team
        self.site = responders.site
        self.diary = responders.diary
        self._hands: list[_Hand] = []
        self.kits = Kits(self)
        self._busy: set[str] = set()  # kinds of tasks that somebody is at
        self._at: set[str] = set()  # what somebody works on: nobody else lays hand on it
        self._wanted_s: dict[str, float] = {}
        self._vain_s: dict[tuple[str, str], float] = {}  # did not help: not again before then
        self._change: simpy.Event = self.plant.clock.event()
        self.closed = False

    @property
    def anybody(self) -> bool:
        """True while somebody is on site."""
        return bool(self._hands)

    def changed(self) -> None:
        """Something has changed: let those who look on look again."""
        change, self._change = self._change, self.plant.clock.event()
        change.succeed()

    def close(self) -> None:
        """The last one has left: tools go back, a tanker when it is empty again."""
        self.closed = True
        self.kits.close()
        self.changed()

    # ------------------------------------------------------------------ people on site

    def works(self, name: str, why: str) -> Steps:
        """Somebody is on site from now on, until all is well.

        Parameters
        ----------
        name, why
            Who, and why they came, in trade words.
        """
        plant = self.plant
        hand = _Hand(name)
        plant.note("call-out", "crew on site", why, name)
        self._stands_there(hand)
        assesses = self.all.response.assesses
        if assesses.high > 0.0:
            row = self.diary.begin("looks around", "station", assesses.typical, name)
            takes_s = self.team.takes_s(name, "looks around", assesses)
            yield self.all.until(plant.clock.now + takes_s)
            self.diary.end(row)
        self.changed()
        while True:
            found = self._next()
            if found is not None:
                self._looks_away(hand)
                yield from self._does(hand, *found)
                continue
            kit = self._to_fetch()
            if kit is not None:
                self._looks_away(hand)
                yield from self._trip(hand, kit)
                continue
            if self.site.calm and not self._waits_for_something():
                break
            yield from self._looks_on(hand)
        self._looks_away(hand)
        self._hands.remove(hand)
        plant.note("call-out", "crew leaves", "all well", name)
        self.changed()

    def _looks_on(self, hand: _Hand) -> Steps:
        """Wait until something changes, or it is time to look again; help when asked."""
        hand.idle = True
        if hand.row is None:
            hand.row = self.diary.begin("looks on", "station", math.nan, hand.name)
        yield from self._waits()
        hand.idle = False
        if hand.helps is not None:
            self._looks_away(hand)
            yield hand.helps
            hand.helps = None

    def _waits(self) -> Steps:
        """Wait until something changes, or a look that is taken now and then finds news."""
        news = self.plant.clock.event()
        looks = _Looks(self, news)
        yield self._change | news
        looks.over()

    def news(self, seen: object) -> bool:
        """Return whether somebody who looks again now has to look closely.

        Parameters
        ----------
        seen
            What :meth:`glance` gave when they looked last.
        """
        kinds = {task.kind for task in self._tasks()}
        measured = "refuel" in kinds or (self.site.high and bool(kinds & _BY_THE_WATER))
        return measured or self.glance() != seen

    def glance(self) -> object:
        """Return all that decides whether there is something to do, but what has to be measured."""
        site, tasks = self.site, self._tasks()
        steps = tuple((self._worth_doing(task), site.to_take_down(task)) for task in tasks)
        hands = 0
        if any(task.people > len(self._hands) for task in tasks):
            hands = self.all.could_be_called()
        return site.calm, steps, self._to_fetch() is None, hands

    def _stands_there(self, hand: _Hand) -> None:
        """Somebody is on site from now on, and sees every alarm that stands."""
        plant = self.plant
        self._hands.append(hand)
        for alarm, subject in plant.recorder.alarms_unreached():
            plant.recorder.alarm_reached(plant.t_s, alarm, subject)

    def _looks_away(self, hand: _Hand) -> None:
        """Somebody looks on no longer."""
        if hand.row is not None:
            self.diary.end(hand.row)
            hand.row = None

    def _trip(self, hand: _Hand, kit: Kit) -> Steps:
        """Drive to the yard for a tool that was not brought, and back."""
        self._hands.remove(hand)
        kit.coming = True  # nobody else drives for it
        person = self.all.response.person(hand.name)
        travels = self.team.travels(person, self.plant.clock.now)
        for there in (True, False):
            row = self.diary.begin("travels", "yard" if there else "station", travels.typical,
                                   hand.name)  # fmt: skip
            takes_s = self.team.takes_s(hand.name, "travels", travels)
            yield self.all.until(self.plant.clock.now + takes_s)
            self.diary.end(row, "in the yard" if there else "on site")
            if there:
                yield from self.kits.fetches(hand.name, kit)
        self._stands_there(hand)
        self.changed()

    # ------------------------------------------------------------------ which task is next

    def _tasks(self) -> tuple[Task, ...]:
        return self.all.response.tasks

    def _next(self, driver: Kit | None = None) -> tuple[Task, str, bool] | None:
        """Return the first step that can be taken up, its subject, and whether it is undone."""
        for task in self._tasks():
            if task.kind in self._busy:
                continue
            by_driver = self._by_driver(task)
            if driver is not None and not (by_driver and task.tool == driver.tool.name):
                continue
            others = by_driver and driver is None  # they order for it, and leave it to the driver
            if self.site.to_take_down(task):
                free = self.site.thing(task, "station") not in self._at
                if free and not others and (by_driver or self._hands_enough(task)):
                    return task, "station", True
                continue
            wanted = self._worth_doing(task)
            if not wanted:
                self._wanted_s.pop(task.kind, None)
                continue
            self._wanted_s.setdefault(task.kind, self.plant.clock.now)
            if not self._tool_here(task) or others:
                continue
            if not by_driver and not self._hands_enough(task):
                self._call_hands(task)
                continue
            return task, wanted[0], False
        return None

    def _by_driver(self, task: Task) -> bool:
        """Return whether who delivers the tool does it: no one else's hands are asked for."""
        return (
            task.people == 0
            and task.tool is not None
            and self.kits.named(task.tool).tool.delivered is not None
        )

    def _nobody_at(self, task: Task) -> tuple[str, ...]:
        """Return what a task would be done to that nobody is at."""
        site = self.site
        return tuple(one for one in site.wants(task) if site.thing(task, one) not in self._at)

    def _worth_doing(self, task: Task) -> tuple[str, ...]:
        """Return what a task would be done to that nobody is at, and that it may help."""
        now, vain_s = self.plant.clock.now, self._vain_s
        return tuple(
            subject
            for subject in self._nobody_at(task)
            if vain_s.get((task.kind, subject), -math.inf) <= now
        )

    def _tool_here(self, task: Task) -> bool:
        if task.tool is None:
            return True
        kit = self.kits.named(task.tool)
        if not kit.here and not kit.coming and kit.tool.delivered is not None:
            self.kits.order(kit)
        return kit.idle

    def _to_fetch(self) -> Kit | None:
        """Return a tool that somebody has to drive for; None when there is none."""
        for task in self._tasks():
            if task.tool is None or task.kind in self._busy or not self._nobody_at(task):
                continue
            kit = self.kits.named(task.tool)
            if kit.here or kit.coming or kit.tool.fetched is None or self._by_driver(task):
                continue
            if self.team.in_the_yard(self.plant.clock, kit.tool):
                return kit
        return None

    def _idle(self) -> list[_Hand]:
        return [h for h in self._hands if h.idle and h.helps is None]

    def _hands_enough(self, task: Task) -> bool:
        return len(self._idle()) + 1 >= task.people

    def _call_hands(self, task: Task) -> None:
        """Call those who are missing, unless they are on the way."""
        self.all.summon(task.people - len(self.all.going))

    def _waits_for_something(self) -> bool:
        """Return whether a step waits for a tool that will come, or for hands enough.

        Those who are on the way, look around or do something else will have hands free.
        """
        for task in self._tasks():
            if task.kind in self._busy:
                return True
            if not self._worth_doing(task):
                continue
            kit = None if task.tool is None else self.kits.named(task.tool)
            if kit is not None and self.kits.will_come(kit):
                return True
            there = kit is None or kit.here
            if there and 1 < task.people <= len(self.all.going):
                return True
        return False

    # ------------------------------------------------------------------ doing it

    def _does(self, hand: _Hand, task: Task, subject: str, down: bool) -> Steps:  # noqa: FBT001
        """Do a step with as many hands as it takes."""
        helpers = self._idle()[: max(task.people - 1, 0)]
        over = self.plant.clock.event()
        for helper in helpers:
            helper.helps = over
            self._looks_away(helper)
        self.changed()
        names = [hand.name, *(helper.name for helper in helpers)]
        yield from self._done_by(names, task, subject, down)
        over.succeed()
        self.changed()

    def driver_works(self, kit: Kit) -> Steps:
        """Do with a tool what whoever brought it does alone, until all have left.

        Parameters
        ----------
        kit
            The tool.
        """
        while not self.closed:
            found = self._next(kit)
            if found is not None:
                yield from self._done_by([""], *found)
                self.changed()
                continue
            if not any(self._by_driver(task) for task in self._tasks()):
                return
            yield from self._waits()

    def _done_by(self, names: list[str], task: Task, subject: str, down: bool) -> Steps:  # noqa: FBT001
        plant, team = self.plant, self.team
        self._busy.add(task.kind)
        thing = self.site.thing(task, subject)
        if thing != "station":
            self._at.add(thing)
        kit = None if task.tool is None else self.kits.named(task.tool)
        if kit is not None:
            kit.in_use += 1
        waited_s = plant.clock.now - self._wanted_s.pop(task.kind, plant.clock.now)
        spans = (task.takes_down,) if down else (task.takes, task.starts)
        planned_s = sum(span.typical for span in spans)
        word = task.kind.replace("connect", "disconnect") if down else task.kind
        rows = [
            self.diary.begin(word, subject, planned_s, name, task.tool or "", waited_s)
            for name in names
        ]
        takes_s = team.takes_s(task.kind, "takes down" if down else "takes", spans[0])
        if not down and task.kind != "haul" and task.starts.high > 0.0:
            takes_s += team.takes_s(task.kind, "starts", task.starts)
        if task.kind == "haul":
            takes_s = max(takes_s, _LEAST_LOAD_S)
            self.site.done(task, subject, takes_s)
        elif down:
            self.site.take_down(task, takes_s)
        else:
            self.site.begins(task, subject, takes_s)
        yield self.all.until(plant.clock.now + takes_s)
        outcome = "done" if down or task.kind == "haul" else self._comes_of(task, subject)
        for row in rows:
            self.diary.end(row, outcome)
        self._busy.discard(task.kind)
        self._at.discard(thing)
        if kit is not None:
            kit.in_use -= 1
        if kit is not None and task.kind == "haul":
            kit.away = True
            plant.tell(self.all.live(self.kits.hauled(kit)))

    def _comes_of(self, task: Task, subject: str) -> str:
        """Let the plant see what was done, if it is still to be done; return what came of it."""
        site = self.site
        if subject not in site.wants(task) and task.kind not in MENDED:
            site.given_back(subject)
            return "no longer needed"
        site.done(task, subject)
        if subject in site.wants(task):
            again_s = self.plant.clock.now + self.all.response.look_again_s
            self._vain_s[task.kind, subject] = again_s
        return "done"

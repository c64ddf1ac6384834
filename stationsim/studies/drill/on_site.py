"""Orders that are done on site: a selector is turned, a reset pressed, a step of the plan begun."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.errors import ActionError
from stationsim.people.response import Task
from stationsim.simulation.people.site import BY_CREW
from stationsim.simulation.power.transfer import GENERATOR
from stationsim.studies.drill.orders import TURNS, Order

if TYPE_CHECKING:
    from stationsim.people.response import TaskKind
    from stationsim.studies.drill.crew.hands import Hand
    from stationsim.studies.drill.crew.work import Work
    from stationsim.studies.drill.noticed import Noticed

_HOT = ("starting", "running", "cooling down")


class OnSite:
    """What is ordered to be done on site, and the answers to it.

    Parameters
    ----------
    noticed
        The run, and what is told of it.
    work
        What is under way on site.
    """

    def __init__(self, noticed: Noticed, work: Work) -> None:
        self.noticed = noticed
        self.work = work
        self.turned: dict[str, str] = {}  # where a selector was turned to last

    def obey(self, order: Order) -> None:
        """Do what is ordered, or have it begun.

        Parameters
        ----------
        order
            One of the orders that are done on site.

        Raises
        ------
        ActionError
            When it cannot be done.
        """
        crew, what = self.noticed.crew, order.subject
        if order.verb in (*TURNS, "reset", "mend"):
            crew.hand_for(order.by)  # whoever is not there is told nothing of what is
        if what in self.work.at:
            raise ActionError(f"somebody is at work on {what}")
        if order.verb in TURNS:
            self._turn(order)
        elif order.verb == "reset":
            self._reset(order)
        elif order.verb == "mend":
            self._begin(self._mending(what), what, order)
        elif order.verb in ("connect", "disconnect"):
            kind: TaskKind = (
                "connect mobile generator" if what == "mobile generator" else "connect bypass pump"
            )
            down = order.verb == "disconnect"
            self._begin(crew.step(kind), "station", order, down=down)
        elif order.verb == "refuel":
            self._begin(crew.step("refuel"), what, order)
            if what == GENERATOR and dict(self.noticed.session.shown().generators)[what] in _HOT:
                log = self.noticed.log
                log.tell(
                    "answer", "its engine runs: it is filled so only where its maker allows it"
                )
        else:
            self._begin(crew.step("haul"), "station", order)

    def _turn(self, order: Order) -> None:
        session, what = self.noticed.session, order.subject
        hand = self.noticed.crew.hand_for(order.by)
        modes = {one.name: one.mode for one in session.shown().machines}
        if modes[what] == order.verb:  # else they tell of its turning
            where = "off" if order.verb == "off" else f"in {order.verb}"
            self._done_by(hand, f"{what} is {where} already")
        self.turned[what] = order.verb
        session.do(ScriptedEvent(session.now_s, order.verb, what, cause=BY_CREW))  # type: ignore[arg-type]
        self.noticed.feel()

    def _reset(self, order: Order) -> None:
        crew, what = self.noticed.crew, order.subject
        task = crew.response.task("reset")
        if task is not None and task.takes.high > 0.0:
            self._begin(task, what, order)
            return
        hand = crew.hand_for(order.by)
        crew.site.done(Task("reset"), what)
        self.noticed.feel()
        self._done_by(hand, f"{what}: reset is pressed")

    def _mending(self, what: str) -> Task:
        """Return the step by which something is mended: the one that it looks to need."""
        crew = self.noticed.crew
        kinds = [kind for kind, subject in self.noticed.looked() if subject == what]
        for kind in kinds:
            task = crew.response.task(kind)
            if task is not None:
                return task
        return crew.step(kinds[0] if kinds else "set right")

    def _begin(self, task: Task, subject: str, order: Order, *, down: bool = False) -> None:
        """Have a step begun: the answer comes first, then what comes of it."""
        log, now_s = self.noticed.log, self.noticed.now_s
        known = len(log.told)
        text = self.work.begin(task, subject, order.by, down=down, loads=order.loads)
        log.answer_first(text, known, now_s)

    def _done_by(self, hand: Hand, text: str) -> None:
        me = hand is self.noticed.crew.me
        self.noticed.log.tell("answer", text if me else f"{hand.name}: {text}")

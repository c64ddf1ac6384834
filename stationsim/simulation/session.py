"""Session: one run of one station, all at once or in pieces.

``simulate(station, episode)`` is a session that is advanced to the end. In pieces or in one go, the
same bytes come out: looking commits nothing, and what a person does is recorded as a scripted
event, so that any session can be replayed from ``session.replay()``.
"""

from __future__ import annotations

import dataclasses
import pickle
import time
from collections.abc import Callable
from typing import Literal

from stationsim.control.contract import Decider
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.faults import BY_KIND, ENGINE, MACHINE, PUMP
from stationsim.errors import ActionError
from stationsim.inflow.segments import total_inflow
from stationsim.people.response import Response
from stationsim.results import Result
from stationsim.simulation.clock import PEOPLE, SAME_INSTANT_S, Clock
from stationsim.simulation.looking import (
    Shown,
    Sight,
    alarms_so_far,
    found_on_site,
    panel_shows,
)
from stationsim.simulation.people.site import Site
from stationsim.simulation.plant import Plant
from stationsim.simulation.trouble.happening import order_of, rank_of
from stationsim.station import Station
from stationsim.trace import AlarmRow, EventRow

Act = Literal["hand", "off", "auto", "reset"]
ACTS: tuple[Act, ...] = ("hand", "off", "auto", "reset")
_UNSEEN = frozenset({"nobody"})


class Session:
    """One run of one station.

    Parameters
    ----------
    station
        What stands there.
    episode
        What happens to it.
    observer
        Wraps the controller, to look on as it decides; None for nobody.
    """

    def __init__(
        self,
        station: Station,
        episode: Episode,
        *,
        observer: Callable[[Decider], Decider] | None = None,
    ) -> None:
        self.station = station
        self.episode = episode
        self._wall_s = 0.0
        self._now_s = 0.0
        self._acted: list[ScriptedEvent] = []
        self._result: Result | None = None
        clock = Clock()
        plant = Plant(station, episode, total_inflow(episode), clock)
        self._plant = plant
        if observer is not None:
            plant.controller = observer(plant.controller)
        names = station.machine_names()
        for event in sorted(episode.events, key=lambda e: (rank_of(e), e.at_s)):
            _look_at(event, names)
            plant.at(event.at_s, order_of(event), "scripted", event)
        for fault in episode.random:
            for event in fault.events:
                _look_at(event, names)
        plant.begin()

    # ------------------------------------------------------------------ looking

    @property
    def now_s(self) -> float:
        """Where the session stands [s since the start of the episode]."""
        return self._now_s

    @property
    def level_m(self) -> float:
        """Level in the well now [m above floor]."""
        plant = self._plant
        if self._now_s <= plant.t_s:
            return plant.level_m
        return self.station.well.level_at(plant.water.volume_at(self._now_s))

    @property
    def running(self) -> tuple[str, ...]:
        """Names of the machines that run now."""
        return tuple(m.unit.name for m in self._plant.machines if m.running)

    @property
    def grid_on(self) -> bool:
        """True while the grid is on."""
        return self._plant.supply.grid_on

    @property
    def controller(self) -> Decider:
        """The controller that decides, or the observer around it."""
        return self._plant.controller

    @property
    def done(self) -> bool:
        """True when the end of the episode has been reached."""
        return self._now_s >= self.episode.duration_s

    def events_since(self, count: int) -> tuple[EventRow, ...]:
        """Return what has happened so far, but for the first so many.

        Parameters
        ----------
        count
            How many are known already [-].
        """
        return tuple(self._plant.trace.events[count:])

    @property
    def telemetry_on(self) -> bool:
        """True while alarms leave the station."""
        return not self._plant.alarms.silent

    @property
    def alarms_dead(self) -> bool:
        """True while the alarms have no supply."""
        return self._plant.alarms.dead

    def shown(self) -> Shown:
        """Return what the panel shows now."""
        return panel_shows(self._plant, self._now_s)

    def alarms_so_far(self) -> list[AlarmRow]:
        """Return every alarm that has come so far; of those that stand ``cleared_s`` is NaN."""
        return alarms_so_far(self._plant)

    def site(self, response: Response) -> Site:
        """Return the station as somebody finds it who stands there; what they do is recorded.

        Parameters
        ----------
        response
            What can be done there, and how long it takes.
        """
        return Site(self._plant, response, self.do)

    def sight(self, site: Site) -> Sight:
        """Return what somebody on site finds who looks for themselves now.

        Parameters
        ----------
        site
            What :meth:`site` gave.
        """
        return found_on_site(self._plant, site, self._now_s)

    # ------------------------------------------------------------------ going on

    def advance(
        self,
        until_s: float | None = None,
        *,
        noticed: Callable[[EventRow], bool] | None = None,
    ) -> tuple[EventRow, ...]:
        """Go on to a time, or to the next thing that a person could notice.

        Parameters
        ----------
        until_s
            Go to this time [s]; what is due at that very time is still to come, so that a person
            can act first. None: go to the next thing that could be noticed, and just past it.
        noticed
            What would be noticed; then it goes just past the first such thing, and to ``until_s``
            at most. None: with a time nothing is, without one whatever could be by anybody.

        Returns
        -------
        tuple of EventRow
            What has happened on the way.

        Raises
        ------
        ActionError
            When the time lies behind, or the session is finished.
        """
        self._open()
        events = self._plant.trace.events
        known = len(events)
        began = time.perf_counter()
        clock, end_s = self._plant.clock, self.episode.duration_s
        if until_s is not None and not until_s >= self._now_s:  # NaN too
            raise ActionError(
                f"the session stands at {self._now_s:g} s and cannot go back to {until_s:g} s"
            )
        if until_s is None and noticed is None:
            noticed = _anybody_could
        until_s = end_s if until_s is None else min(until_s, end_s)
        if noticed is None:
            clock.run_before(until_s)
            self._now_s = until_s
        else:
            self._now_s = self._to_next_notice(known, until_s, noticed)
        self._wall_s += time.perf_counter() - began
        return tuple(events[known:])

    def _to_next_notice(
        self, known: int, until_s: float, noticed: Callable[[EventRow], bool]
    ) -> float:
        events, clock = self._plant.trace.events, self._plant.clock
        while clock.next_s() < until_s:
            clock.run_before(min(clock.next_s() + SAME_INSTANT_S, until_s))
            if any(noticed(row) for row in events[known:]):
                # a person acts after the instant, not within it
                return min(max(clock.now, self._plant.t_s) + 2.0 * SAME_INSTANT_S, until_s)
            known = len(events)
        return until_s

    def act(self, verb: Act, subject: str) -> None:
        """Put a hand on a selector or a reset button, now.

        Parameters
        ----------
        verb
            ``hand``, ``off``, ``auto`` or ``reset``.
        subject
            The machine: ``P2``.

        Raises
        ------
        ActionError
            When there is no such verb or machine, or the session is finished.
        """
        self._open()
        if verb not in ACTS:
            raise ActionError(f"no action is called '{verb}'; there are {', '.join(ACTS)}")
        names = self.station.machine_names()
        power = self._plant.supply
        resets_a_set = verb == "reset" and power.set_named(subject) is not None
        if subject not in names and not resets_a_set:
            raise ActionError(f"no machine is called '{subject}'; there are {', '.join(names)}")
        self.do(ScriptedEvent(self._now_s, verb, subject))

    def do(self, event: ScriptedEvent) -> None:
        """Let a person do something now: anything of the catalogue, at this moment.

        Parameters
        ----------
        event
            What is done, and to what; its time does not count.

        Raises
        ------
        ActionError
            When there is no such machine, the end is reached, or the session is finished.
        """
        self._open()
        _look_at(event, self.station.machine_names())
        if self.done:
            raise ActionError("the end of the episode has been reached; nothing can be done now")
        clock, at_s = self._plant.clock, self._now_s
        if at_s - clock.now < SAME_INSTANT_S:  # a person acts after an instant, not within it
            at_s = clock.now + 2.0 * SAME_INSTANT_S
        event = dataclasses.replace(event, at_s=at_s)
        self._acted.append(event)
        self._plant.at(event.at_s, PEOPLE, "scripted", event)

    def finish(self) -> Result:
        """Go on to the end and return the result; calling it again returns the same one."""
        if self._result is None:
            if not self.done:
                self.advance(self.episode.duration_s)
            began = time.perf_counter()
            trace = self._plant.finish()
            self._wall_s += time.perf_counter() - began
            self._result = Result(
                station=self.station, episode=self.replay(), trace=trace, wall_s=self._wall_s
            )
        return self._result

    def replay(self) -> Episode:
        """Return the episode with all that was done in this session as scripted events."""
        return dataclasses.replace(self.episode, events=(*self.episode.events, *self._acted))

    def _open(self) -> None:
        if self._result is not None:
            raise ActionError("the session is finished")

    # ------------------------------------------------------------------ freezing

    def freeze(self) -> bytes:
        """Return the whole state, to go on from later, elsewhere, or more than once.

        Raises
        ------
        ActionError
            While a story is open (an outage without standby power, people who are called, on the
            way or at work): stories cannot be frozen.
        """
        self._open()
        if self._plant.open_stories:
            raise ActionError("a story is open (outage, or people at work); advance past it first")
        return pickle.dumps((self._now_s, self._wall_s, self._acted, self._plant))

    @classmethod
    def resume(cls, state: bytes) -> Session:
        """Return a session that goes on from a frozen state.

        Parameters
        ----------
        state
            What :meth:`freeze` returned. Resume only what you froze yourself: it is a pickle.
        """
        session = cls.__new__(cls)
        now_s, wall_s, acted, plant = pickle.loads(state)  # noqa: S301  (said in the docstring)
        session.station, session.episode = plant.station, plant.episode
        session._now_s, session._wall_s, session._acted = now_s, wall_s, acted
        session._result = None
        session._plant = plant
        plant.attach(Clock(plant.t_s))
        return session


def _anybody_could(row: EventRow) -> bool:
    """Return whether anybody could notice an event."""
    from stationsim import vocabulary

    return vocabulary.seen_by(row.event) not in _UNSEEN


def _look_at(event: ScriptedEvent, names: tuple[str, ...]) -> None:
    """Refuse an event of a machine that is not there."""
    whose = BY_KIND[event.kind].subject
    wanted = whose in (PUMP, ENGINE, MACHINE) or (
        event.kind == "reset" and event.subject not in ("generator", "mobile generator")
    )
    if wanted and event.subject not in names:
        raise ActionError(f"no machine is called '{event.subject}'; there are {names}")


def simulate(station: Station, episode: Episode) -> Result:
    """Run an episode from start to end.

    Parameters
    ----------
    station
        What stands there.
    episode
        What happens to it.

    Returns
    -------
    Result
        Tables, metrics and sentences are made from it when they are asked for.
    """
    session = Session(station, episode)
    session.advance(episode.duration_s)
    return session.finish()

"""A kit that tries out a controller: what every panel must do, whatever its rules.

``check_controller(plan)`` runs a controller through a quiet day, a storm that no lineup can carry,
trips, outages, hands on selectors and a well that falls dry, on a station of three pumps, and looks
at each decision as it is made. It returns what it found; an empty tuple means that nothing is
wrong. Each finding begins with a short name, so that a test can ask for it.

======================  ===========================================================================
name                    what is wrong
======================  ===========================================================================
``stops the run``       a decision that cannot be carried out at all: an unknown pump, a level
                        beyond the well, a wake-up in the past, an error of its own
``starts unready``      it starts a pump that is not ready or runs already
``starts powerless``    it starts a pump while there is no supply
``repeats itself``      it orders the same again when asked again at once
``forgets``             a copy of it decides otherwise: its memory does not survive pickling, or it
                        hangs on chance or on the time of day of the computer
``gives no cause``      a command without a cause, or a start without a role
``deaf``                the level stands high for an hour, a pump is ready, and none runs
``runs dry``            a pump still runs when the well has been drawn down to the floor
``never relieves``      a pump that trips is not replaced though another one is ready
``unknown word``        a note whose event is no word of the vocabulary
======================  ===========================================================================
"""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from stationsim import vocabulary
from stationsim.control.contract import ControlPlan, Decider
from stationsim.episode import Episode, ScriptedEvent
from stationsim.errors import StationSimError
from stationsim.findings import Finding
from stationsim.inflow.daily import Constant
from stationsim.inflow.storm import Hydrograph
from stationsim.signals import Decision, Snapshot
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.testing.stations import episode, triplex

_HOUR = 3600.0
_DEAF_LEVEL_M = 3.0


class _Observed:
    """A controller with somebody looking over its shoulder."""

    def __init__(self, inner: Decider) -> None:
        self.inner: Any = inner
        self.found: dict[str, str] = {}
        self._high_since: float | None = None

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        """Pass on the question, and look at the answer."""
        twin = pickle.loads(pickle.dumps(self.inner))  # noqa: S301  (just made here)
        decision: Decision = self.inner.decide(now_s, seen)
        if twin.decide(now_s, seen) != decision:
            self._tell("forgets", f"at {now_s:.0f} s a copy of it decides otherwise")
        self._look_at_commands(now_s, seen, decision)
        self._look_for_deafness(now_s, seen, decision)
        for note in decision.notes:
            entry = vocabulary.lookup(note.event)
            if entry is None or entry.word != note.event:
                self._tell("unknown word", f"'{note.event}'")
        return decision

    def _look_at_commands(self, now_s: float, seen: Snapshot, decision: Decision) -> None:
        stopped = set()
        for command in decision.commands:
            if not 0 <= command.pump < len(seen.pumps):
                continue  # the plant stops the run for it
            pump = seen.pumps[command.pump]
            where = f"at {now_s:.0f} s, {pump.name}"
            if not command.cause or (command.verb == "start" and not command.role):
                self._tell("gives no cause", where)
            if command.verb == "stop":
                stopped.add(command.pump)
            elif not seen.supply:
                self._tell("starts powerless", where)
            elif not pump.ready or (pump.running and command.pump not in stopped):
                self._tell("starts unready", where)
        if decision.commands:
            twin = pickle.loads(pickle.dumps(self.inner))  # noqa: S301
            after = seen._replace(pumps=_carried_out(now_s, seen, decision))
            again = twin.decide(now_s, after)
            if again.commands == decision.commands:
                self._tell("repeats itself", f"at {now_s:.0f} s")

    def _look_for_deafness(self, now_s: float, seen: Snapshot, decision: Decision) -> None:
        starts = any(command.verb == "start" for command in decision.commands)
        idle = not starts and not any(pump.running for pump in seen.pumps)
        ready = any(pump.ready for pump in seen.pumps)
        if not (idle and ready and seen.supply and seen.level_m >= _DEAF_LEVEL_M):
            self._high_since = None
        elif self._high_since is None:
            self._high_since = now_s
        elif now_s - self._high_since > _HOUR:
            self._tell("deaf", f"at {now_s:.0f} s")

    def _tell(self, name: str, where: str) -> None:
        self.found.setdefault(name, where)


def _carried_out(now_s: float, seen: Snapshot, decision: Decision) -> tuple[Any, ...]:
    pumps = list(seen.pumps)
    for command in decision.commands:
        if 0 <= command.pump < len(pumps):
            pump = pumps[command.pump]
            if command.verb == "start" and pump.ready and seen.supply:
                pumps[command.pump] = pump._replace(running=True, started_s=now_s)
            elif command.verb == "stop":
                pumps[command.pump] = pump._replace(running=False, stopped_s=now_s)
    return tuple(pumps)


def check_controller(plan: ControlPlan, station: Station | None = None) -> tuple[Finding, ...]:
    """Try out a controller; return what is wrong with it.

    Parameters
    ----------
    plan
        The controller and the rotation with their settings.
    station
        Where to try it; None for three pumps of 30 L/s on 10 m2. Its own control is set aside.

    Returns
    -------
    tuple of Finding
        Empty when nothing is wrong; else each finding's ``place`` is the name of what was found.
    """
    base = triplex() if station is None else station
    base = replace(base, control=plan)
    found: dict[str, str] = {}
    for when in _trials(base):
        for name, where in _try(base, when):
            found.setdefault(name, f"{when.name}: {where}")
    return tuple(
        Finding(name, "error", where, source="conformance kit") for name, where in found.items()
    )


def _trials(station: Station) -> Iterator[Episode]:
    names = [pump.name for pump in station.pumps]
    swing = Hydrograph(0.0, (0.0, 6 * _HOUR, 12 * _HOUR), (0.004, 0.045, 0.004))

    def events(*rows: tuple[float, str, str, float | None]) -> tuple[ScriptedEvent, ...]:
        return tuple(ScriptedEvent(t, what, who, d) for t, what, who, d in rows)  # type: ignore[arg-type]

    yield replace(episode(12 * _HOUR, swing), name="a quiet day")
    yield replace(episode(6 * _HOUR, Constant(0.5)), name="more than can be pumped")
    trips = events(
        *((1000.0 + 700.0 * n, "fails", name, 1500.0) for n, name in enumerate(names)),
        (7000.0, "out of service", names[0], 4000.0),
        (9000.0, "high temperature", names[-1], 1200.0),
    )
    yield replace(episode(5 * _HOUR, 0.05, *trips), name="trips")
    cuts = events(
        (1000.0, "grid loss", "grid", 1.0),
        (3000.0, "grid loss", "grid", 1800.0),
        (9000.0, "grid loss", "grid", 40.0),
    )
    yield replace(episode(4 * _HOUR, 0.05, *cuts), name="outages")
    hands = events(
        (900.0, "hand", names[0], None),
        (2500.0, "auto", names[0], None),
        (4000.0, "off", names[0], None),
        (4500.0, "hand", names[-1], None),
        (6000.0, "auto", names[-1], None),
        (8000.0, "auto", names[0], None),
    )
    yield replace(episode(4 * _HOUR, 0.03, *hands), name="hands on selectors")
    dry = Hydrograph(0.0, (0.0, _HOUR, _HOUR), (0.05, 0.05, 0.0))
    yield replace(episode(6 * _HOUR, dry), name="the inflow ends")


def _try(station: Station, when: Episode) -> Iterator[tuple[str, str]]:
    try:
        session = Session(station, when, observer=_Observed)
        trace = session.finish().trace
    except StationSimError as error:
        yield "stops the run", str(error)
        return
    except Exception as error:  # noqa: BLE001  (whatever a plug-in raises is the finding)
        yield "stops the run", f"{type(error).__name__}: {error}"
        return
    observed = session.controller
    assert isinstance(observed, _Observed)  # noqa: S101  (it was put there)
    yield from observed.found.items()
    if when.name == "hands on selectors":
        return
    for row in trace.events:
        if row.event == "well empty":
            yield "runs dry", f"at {row.t_s:.0f} s the well is drawn down to the floor"
    if when.name == "more than can be pumped":
        starts = {run.machine for run in trace.runs}
        if not starts:
            yield "deaf", "no pump ever ran"
    if when.name == "trips":
        yield from _unrelieved(station, trace)


def _unrelieved(station: Station, trace: Any) -> Iterator[tuple[str, str]]:
    """Yield trips in mid-run after which nobody ran, though another pump was free."""
    for run in trace.runs:
        if run.stopped_by not in ("pump failed", "high temperature", "out of service"):
            continue
        following = [r for r in trace.runs if r.start_s >= run.stop_s]
        alongside = [r for r in trace.runs if r.start_s < run.stop_s < r.stop_s]
        soon = any(r.start_s <= run.stop_s + _HOUR for r in following)
        if not soon and not alongside:
            name = station.pumps[run.machine].name
            yield "never relieves", f"{name} tripped at {run.stop_s:.0f} s and nobody took over"

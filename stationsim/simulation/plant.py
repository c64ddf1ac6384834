"""The plant: joins the well, the machines and the controller; advances and switches.

State is what was last committed: a time, a volume, who runs. From there the balance looks ahead to
the next volume that somebody waits for, and that moment stands in the clock as one pending
crossing. A story that comes first (the grid fails, a hand on a selector) advances again from the
committed state to its own moment, and the look ahead is taken anew; nothing has to be undone.
Looking at the plant (a session that is stepped, a table that is sampled) commits nothing, so it
changes no bit of what follows.
"""

from __future__ import annotations

from collections.abc import Generator
from functools import partial
from operator import attrgetter
from typing import Any, TypeVar

import simpy

from stationsim.control.backup import FloatBackup
from stationsim.control.contract import Decider
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.errors import StationSimError
from stationsim.inflow.segments import Segments
from stationsim.physics.balance import REACHED_TIME, Advance
from stationsim.simulation.clock import (
    CONTROLLER,
    CROSSING,
    RECORDER,
    SAME_INSTANT_S,
    Clock,
    Due,
)
from stationsim.simulation.deciding import Deciding
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Machine
from stationsim.simulation.panel.alarms import AlarmBoard
from stationsim.simulation.panel.floats import Floats
from stationsim.simulation.panel.level_signal import LevelSignal
from stationsim.simulation.panel.panel import Panel
from stationsim.simulation.people.responders import Responders
from stationsim.simulation.people.team import Team
from stationsim.simulation.power.bypass_set import BypassSet
from stationsim.simulation.power.engine_set import EngineSet
from stationsim.simulation.power.exercise import Exercises
from stationsim.simulation.power.permits import Permits
from stationsim.simulation.power.power_trouble import PowerTrouble
from stationsim.simulation.power.supply import Supply
from stationsim.simulation.recorder import Recorder
from stationsim.simulation.switchgear import Switchgear
from stationsim.simulation.trouble.air_bound import AirBound
from stationsim.simulation.trouble.blocks import Blocks
from stationsim.simulation.trouble.conditions import Conditions
from stationsim.simulation.trouble.exposure import Exposure
from stationsim.simulation.trouble.happening import Trouble
from stationsim.simulation.trouble.heating import Heating
from stationsim.simulation.trouble.luck import Luck
from stationsim.simulation.trouble.main_trouble import MainTrouble
from stationsim.simulation.trouble.no_flow import NoFlow
from stationsim.simulation.trouble.pump_trouble import PumpTrouble
from stationsim.simulation.trouble.ragging import Ragging
from stationsim.simulation.trouble.standing import Standing
from stationsim.simulation.trouble.valve_trouble import ValveTrouble
from stationsim.simulation.trouble.wearing import Wearing
from stationsim.simulation.well.hauling import Hauling
from stationsim.simulation.well.running_back import RunningBack
from stationsim.simulation.well.spilling import Spilling
from stationsim.simulation.well.thresholds import Thresholds
from stationsim.simulation.well.wakes import WakePlan
from stationsim.simulation.well.water import LineupKey, Water
from stationsim.station import Station
from stationsim.trace import Trace

_Set = TypeVar("_Set", bound=EngineSet)

_FAR_S = 86400.0
"""How far it looks ahead at first [s]: most of what comes beyond a day is overtaken before it."""
_FURTHER = 8.0
"""How many times as far it looks when nothing has come until then [-]."""
_MOST_TURNS = 16
"""More turns of a controller at one instant than any panel needs."""


class Plant:
    """One station while it runs.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it.
    inflow
        All inflow of the episode.
    clock
        The clock that it lives by.
    team
        Who answers for it, where other plants of its clock share them; None: those of the episode.
    """

    def __init__(
        self,
        station: Station,
        episode: Episode,
        inflow: Segments,
        clock: Clock,
        team: Team | None = None,
    ) -> None:
        self.station = station
        self.episode = episode
        self.clock = clock
        self.end_s = episode.duration_s
        self.trace = Trace(inflow=inflow)
        self.recorder = Recorder(self.trace)
        self.controller: Decider = station.control.build(len(station.pumps))
        if station.backup_floats is not None:
            self.controller = FloatBackup(station.backup_floats, self.controller)
        self.signal = LevelSignal(self)
        self.machines = [Machine(n, unit) for n, unit in enumerate(station.pumps)]
        self.electric = tuple(self.machines)
        self.spilling = Spilling(self)
        self.water = Water(station, episode, inflow, self.machines, self.spilling)
        self.floats = Floats(self)
        self.thresholds = Thresholds(self)
        self.alarms = AlarmBoard(self)
        self.open_stories = 0
        self.followers: list[Follower] = []
        self.switchgear = Switchgear(self)
        self.deciding = Deciding(self)
        self.supply = Supply(self)
        self.powered = True  # the pumps' busbar and the control circuits are live
        self.panel = Panel(self)
        self.standing = Standing(self)
        self.blocks = Blocks(self)
        self.pumps = PumpTrouble(self)
        self.permits = Permits(self)
        self.engine = self._with_engine(EngineSet, station.engine_pump)
        self.bypass = self._with_engine(BypassSet, station.bypass_pump)
        self._arm()
        self.people: Responders | None = None
        if team is None and episode.response is not None:
            team = Team(episode.response, episode.start, episode.seed, episode.replicate)
        if team is not None:
            self.people = Responders(self, team)
        self._line: LineupKey | None = None
        self._pending: Due | None = None  # the crossing that is looked for
        self._ahead: Advance | None = None
        self._ahead_plan: WakePlan | None = None
        self.controller_due = True
        self._settling = False
        self._agenda: dict[int, tuple[float, int, str, tuple[Any, ...]]] = {}
        self._agenda_next = 0

        self.trace.start_m3 = self.water.v_m3
        self.trace.trips = [0] * len(self.machines)

    def _with_engine(self, kind: type[_Set], what: EnginePump | None) -> _Set | None:
        """Let a pump with an engine of its own stand beside the machines that there are."""
        if what is None:
            return None
        machine = Machine(len(self.machines), what.pump, engine_driven=True)
        self.machines.append(machine)
        return kind(what, machine, self)

    def _arm(self) -> None:
        """Set up whatever lets something happen to the machines, the main and the supply."""
        station = self.station
        self.exercises: Exercises | None = None
        if station.exercise is not None:
            self.exercises = Exercises(station.exercise, self)
        self.power = PowerTrouble(self)
        self.by_name = {machine.unit.name: machine for machine in self.machines}
        self.heating = Heating(self)
        self.conditions = Conditions(self, len(self.machines))
        self.exposure = Exposure(self)
        self.luck = Luck(self)
        self.wearing = Wearing(self)
        self.rags = Ragging(self)
        self.air = AirBound(self)
        self.no_flow = NoFlow(self)
        self.running_back = RunningBack(self)
        self.hauling = Hauling(self)
        self.valves = ValveTrouble(self)
        self.force_main = MainTrouble(self)
        self.trouble = Trouble(
            self,
            (
                self.blocks,
                self.pumps,
                self.wearing,
                self.rags,
                self.air,
                self.supply,
                self.power,
                self.signal,
                self.floats,
                self.panel,
                self.alarms,
                self.standing,
                self.valves,
                self.force_main,
                self.hauling,
            ),
        )

    # ------------------------------------------------------------------ looking, without touching

    @property
    def t_s(self) -> float:
        """The committed moment [s]."""
        return self.water.t_s

    @property
    def v_m3(self) -> float:
        """Volume at the committed moment [m3]."""
        return self.water.v_m3

    @property
    def level_m(self) -> float:
        """Level at the committed moment [m above floor]."""
        return self.water.level_m

    def machine(self, name: str) -> Machine:
        """Return a machine by its name.

        Parameters
        ----------
        name
            ``P1``.
        """
        return self.by_name[name]

    def engine_set(self, name: str) -> EngineSet | None:
        """Return a pump with an engine of its own by its name; None when there is no such one.

        Parameters
        ----------
        name
            ``E1`` or ``B1``.
        """
        sets = (self.engine, self.bypass)
        return next((one for one in sets if one is not None and one.name == name), None)

    def join(self, follower: Follower) -> None:
        """Let somebody follow every start, stop and lineup from now on; once is enough.

        Parameters
        ----------
        follower
            Who.
        """
        if follower not in self.followers:
            self.followers.append(follower)

    def leave(self, follower: Follower) -> None:
        """Let somebody follow no longer; nothing happens when it did not.

        Parameters
        ----------
        follower
            Who.
        """
        if follower in self.followers:
            self.followers.remove(follower)

    def note(self, subject: str, event: str, cause: str, detail: str = "") -> None:
        """Write down that something happened at the committed moment."""
        water = self.water
        self.recorder.event(water.t_s, subject, event, cause, water.level_m, detail)

    # ------------------------------------------------------------------ the volume

    def commit(self, now_s: float) -> None:
        """Bring the committed state up to a moment [s]."""
        ahead, water = self._ahead, self.water
        self._forget_ahead()
        if ahead is not None and ahead.t_s == now_s and ahead.reached == REACHED_TIME:
            water.absorb(ahead)
            return
        water.clear()
        while water.t_s < now_s:
            plan = self.thresholds.plan(self.deciding.levels_m)
            found = water.advance(now_s, plan.volumes_m3)
            water.absorb(found)
            if found.reached == REACHED_TIME:
                break
            self.thresholds.heed(found, plan)

    # ------------------------------------------------------------------ what wakes it

    def at(self, at_s: float, order: int, method: str, *arguments: Any) -> None:
        """Have a method of the plant, or of one of its parts, called at a time.

        What waits by timetable is data, so that a plant can be frozen while it waits.

        Parameters
        ----------
        at_s
            When [s]; beyond the end of the episode it never comes.
        order
            Its place in the order of that instant.
        method
            Path of the method, from the plant: ``blocks.over``.
        arguments
            Its arguments.
        """
        if at_s >= self.end_s:
            return
        key = self._agenda_next
        self._agenda_next += 1
        self._agenda[key] = (at_s, order, method, arguments)
        self.clock.call_at(at_s, order, partial(self._fire, key))

    def _fire(self, key: int) -> None:
        _at, _order, method, arguments = self._agenda.pop(key)
        self.commit(self.clock.now)
        attrgetter(method)(self)(*arguments)
        self.settle()

    def tell(self, process: Generator[simpy.Event, Any, Any]) -> None:
        """Begin a story: a long sequence with waits, as a SimPy process."""
        self.open_stories += 1
        self.clock.process(self._told(process))

    def _told(self, process: Generator[simpy.Event, Any, Any]) -> Generator[simpy.Event, Any, Any]:
        yield from process
        self.open_stories -= 1

    # ------------------------------------------------------------------ freezing

    def __getstate__(self) -> dict[str, Any]:
        """Return all but the clock: what waits by timetable is data, and stories are closed."""
        state = self.__dict__.copy()
        state["clock"] = state["_pending"] = None
        return state

    def attach(self, clock: Clock) -> None:
        """Go on with a new clock that stands at the committed moment or later.

        Parameters
        ----------
        clock
            The clock to live by from now on.
        """
        self.clock = clock
        for key, (at_s, order, _method, _arguments) in sorted(self._agenda.items()):
            clock.call_at(at_s, order, partial(self._fire, key))
        if self._settling:  # frozen within an instant: it is still to be settled
            clock.call_at(clock.now, CONTROLLER, self._settle_late)
        self._look_ahead()

    # ------------------------------------------------------------------ settling an instant

    def begin(self) -> None:
        """Take the first look at everything, at time nought."""
        self.recorder.power(0.0, "grid", "on", "start of the run")
        for engine in (self.engine, self.bypass):
            if engine is not None:
                self.recorder.power(0.0, engine.name, engine.phase, "start of the run")
        self.supply.begin()
        if self.exercises is not None:
            self.exercises.begin()
        self.luck.begin()
        if self.people is not None:
            self.people.discovery.begin()
        self.thresholds.first_look()
        self.settle()

    def settle(self) -> None:
        """Let all that belongs to this instant happen, then look ahead."""
        if self.clock.next_s() - self.clock.now < SAME_INSTANT_S:
            if not self._settling:
                self._settling = True
                self.clock.call_at(self.clock.now, CONTROLLER, self._settle_late)
            return
        self._settle_now()

    def _settle_late(self) -> None:
        self._settling = False
        self._settle_now()

    def _settle_now(self) -> None:
        self._turns()
        # another lineup, or a step of the inflow at this very instant, may have turned the water
        self.thresholds.turned()
        for _ in range(_MOST_TURNS):
            if not self.controller_due:
                break
            self._turns()  # a float was covered or left, or a start held another pump back
            self.thresholds.turned()
        if self.water.v_m3 >= self.spilling.cap_m3:
            self.spilling.look(self.water.direction)
        self._look_ahead()

    def _turns(self) -> None:
        """Give whoever decides a turn, and let what runs then draw."""
        if self.controller_due:
            self.controller_due = False
            self.switchgear.hand_turn()
            if self.panel.asked:
                self.deciding.turn()
        if self.engine is not None:
            self.engine.look()
        if self.bypass is not None:
            self.bypass.look()
        if self.running_back.armed:
            self.running_back.look()
        line = (self.switchgear.mask, self.conditions.key, self.hauling.flow_m3s)
        if line != self._line:
            self._line = line
            water = self.water
            lineup = water.line_up(line)
            self.recorder.leg(water.t_s, water.v_m3, line, lineup)
            for follower in tuple(self.followers):
                follower.lined_up()

    def _look_ahead(self, far_s: float = _FAR_S) -> None:
        """Look for the next level that somebody waits for, at most so far ahead [s]."""
        plan = self.thresholds.plan(self.deciding.levels_m)
        self.water.clear()
        self._forget_ahead()
        wake_s = self.deciding.wake_s
        until = wake_s if wake_s < self.end_s else self.end_s
        far = self.water.t_s + far_s
        found = self.water.advance(min(until, far), plan.volumes_m3)
        self._ahead, self._ahead_plan = found, plan
        if found.reached != REACHED_TIME:
            self._pending = self.clock.call_at(found.t_s, CROSSING, self._cross)
        elif far < until:
            self._pending = self.clock.call_at(far, RECORDER, partial(self._look_further, far_s))

    def _look_further(self, far_s: float) -> None:
        """Nothing has come so far: look again from the committed state, and further."""
        self._look_ahead(_FURTHER * far_s)

    def _forget_ahead(self) -> None:
        """Whatever was looked for ahead has been overtaken."""
        self._ahead = None
        if self._pending is not None:
            self._pending.overtaken = True
            self._pending = None

    def _cross(self) -> None:
        found, plan = self._ahead, self._ahead_plan
        assert found is not None and plan is not None  # noqa: S101, PT018  (a crossing is pending)
        self._forget_ahead()
        self.water.absorb(found)
        self.thresholds.heed(found, plan)
        self.settle()

    # ------------------------------------------------------------------ switching

    def power_changed(self) -> None:
        """Take note that the busbar or the control circuits are live, or dead, from now on."""
        self.powered = self.supply.live and self.panel.live
        self.panel.power_changed()

    def panel_changed(self) -> None:
        """Something that the panel sees has changed: the controller gets its turn."""
        self.switchgear.look_anew()
        self.controller_due = True

    def start(self, machine: Machine, role: str, cause: str) -> None:
        """Start a machine, or write down why it does not start (see ``Switchgear``)."""
        self.switchgear.start(machine, role, cause)

    def stop(self, machine: Machine, cause: str) -> None:
        """Stop a machine and close its run (see ``Switchgear``)."""
        self.switchgear.stop(machine, cause)

    # ------------------------------------------------------------------ what a timetable may call

    def scripted(self, event: ScriptedEvent) -> None:
        """Let a scripted event happen (see ``Trouble.happen``)."""
        self.trouble.happen(event)

    def finish(self) -> Trace:
        """Bring everything to the end of the episode and close what is open."""
        self.commit(self.end_s)
        trace, well = self.trace, self.station.well
        for machine in sorted((m for m in self.machines if m.running), key=lambda m: -m.started_s):
            self.switchgear.close_run(machine, "end of run")
        self.spilling.end("end of run")
        for engine in (self.engine, self.bypass):
            if engine is not None:
                engine.close()
        self.supply.close()
        if self.people is not None:
            self.people.close(self.end_s)
        self.recorder.close(self.end_s)
        water = self.water
        trace.end_s, trace.end_m3 = self.end_s, water.v_m3
        if water.back_m3 > 0.0:
            trace.other_m3 = -water.back_m3
            trace.run_back_m3 = water.back_m3
        if water.hauled_m3 > 0.0:
            trace.other_m3 += water.hauled_m3
            trace.hauled_m3 = water.hauled_m3
        trace.inflow_m3 = trace.inflow.volume_m3(self.end_s)
        trace.least_level_m, trace.least_level_s = well.level_at(water.least_m3), water.least_s
        trace.greatest_level_m = well.level_at(water.greatest_m3)
        trace.greatest_level_s = water.greatest_s
        trace.advances = water.advances
        open_m3 = trace.balance_error * trace.handled_m3
        if trace.balance_error > 1e-9 and open_m3 > 1e-12 * max(trace.start_m3, trace.end_m3):
            raise StationSimError(
                f"the water balance leaves {open_m3:.3g} m3 open, more than 1e-9 of what was "
                "handled: this is a defect of stationsim; please report the scenario"
            )
        return trace

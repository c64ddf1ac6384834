"""The site: what somebody who stands there can find, and how what they do reaches the plant.

People act on a plant by scripted events and by nothing else, so a run with people is the same as a
run in which the same things are scripted at the same times.

What is found is what somebody notices who looks around: a breaker that is open, a float that hangs
up, a pump that rattles or has tripped. What shows only when it is tried (an engine that will not
fire, a worn impeller) is not found before it has shown.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import SAME_INSTANT_S
from stationsim.simulation.machines import FAILED, OUT_OF_SERVICE
from stationsim.simulation.power.bypass_set import NOT_CONNECTED
from stationsim.simulation.power.transfer import DEAD, GRID

if TYPE_CHECKING:
    from stationsim.equipment.faults import EventKind
    from stationsim.people.response import Task
    from stationsim.simulation.machines import Machine
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.power.engine_set import EngineSet

BY_CREW = "by the crew"
"""Cause of what people do."""

RAGS = ("clogged", "ragging")
"""What is cleared from above or by reversing, with the pump isolated."""

PULLED = ("seal leak into motor", "seal leak", "fails to start", "check valve open")
"""What a pump has to be pulled for."""

ISOLATED = ("clear rags", "pull a pump")
"""Tasks for which a pump is taken out of the controller's hands, and given back."""

_AT_ONCE = (
    "air-bound",
    "plug valve closed",
    "check valve slow",
    "level signal frozen",
    "level signal lost",
    "level signal off",
    "level signal noisy",
    "float stuck up",
    "float stuck down",
    "controller stopped",
    "control breaker open",
    "telemetry lost",
    "alarm off",
)
"""What is found by looking around, and set right with what is in the vehicle."""

_ONCE_FAILED = ("battery flat", "fails to prime", "generator fails to start", "generator fails")
"""What is found once the engine has been called in vain."""

_STUCK = "transfer switch stuck"
_MOST_RESETS = 2
_STOOD_S = 1800.0
"""A bypass pump that has stood as long as this is no longer needed [s]."""


class Site:
    """A plant, seen by somebody who stands there.

    Parameters
    ----------
    plant
        The plant.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._resets: dict[str, int] = {}
        self._bypass_since_s = 0.0

    def new_incident(self) -> None:
        """Begin to count resets anew."""
        self._resets.clear()

    # ------------------------------------------------------------------ how it stands

    @property
    def dark(self) -> bool:
        """True while nothing feeds the pumps' busbar."""
        return self.plant.supply.source == DEAD

    @property
    def high(self) -> bool:
        """True while the high-level alarm stands."""
        return self.plant.recorder.alarm_stands("high level", "station")

    @property
    def carried(self) -> bool:
        """True when the engine-driven pump is there to carry a station without power."""
        engine = self.plant.engine
        return (
            engine is not None
            and engine.phase in ("stopped", "starting", "running")
            and (engine.machine.able)
        )

    @property
    def short(self) -> bool:
        """True when the station cannot carry what arrives, as far as somebody can tell."""
        return self.high or (self.dark and not self.carried)

    @property
    def calm(self) -> bool:
        """True when nobody need stay: grid on, nothing connected, the water low, no spill."""
        plant = self.plant
        return (
            plant.supply.source == GRID
            and not plant.supply.mobile_connected
            and not self._bypass_connected
            and plant.spilling.since_s is None
            and not self.high
        )

    @property
    def _bypass_connected(self) -> bool:
        bypass = self.plant.bypass
        return bypass is not None and bypass.phase != NOT_CONNECTED

    @property
    def _transfer_failed(self) -> bool:
        return self.plant.recorder.alarm_stands("transfer failed", "transfer switch")

    # ------------------------------------------------------------------ what there is to do

    def wants(self, task: Task) -> tuple[str, ...]:
        """Return what a task would be done to now; empty when there is nothing.

        Parameters
        ----------
        task
            A step of the plan.
        """
        if task.kind == "refuel":
            return self._thirsty(task.fuel_below)
        if task.kind == "haul":
            return self._load_there(task)
        look: dict[str, Callable[[], tuple[str, ...]]] = {
            "reset": self._to_reset,
            "set right": self._to_set_right,
            "clear rags": self._ragged,
            "pull a pump": self._to_pull,
            "connect mobile generator": self._mobile_wanted,
            "connect bypass pump": self._bypass_wanted,
        }
        return look[task.kind]()

    def _machines(self) -> tuple[Machine, ...]:
        return tuple(self.plant.machines)

    def _engines(self) -> tuple[EngineSet, ...]:
        sets = (self.plant.engine, self.plant.bypass)
        return tuple(one for one in sets if one is not None)

    def _to_reset(self) -> tuple[str, ...]:
        """Return what has tripped and is not reset in vain: what can be set right is, before."""
        plant, now = self.plant, self.plant.clock.now
        found = []
        first: tuple[str, ...] = ()
        if plant.people is not None and plant.people.response.task("set right") is not None:
            first = self._to_set_right()
        for machine in self._machines():
            waiting = {k: b for k, b in machine.blocks.items() if k != OUT_OF_SERVICE}
            if waiting and all(
                block.over_s <= now + SAME_INSTANT_S and not block.resets_itself
                for block in waiting.values()
            ):
                found.append(machine.unit.name)
        for generator in (plant.supply.generator, plant.supply.mobile):
            block = None if generator is None else generator.block
            if generator is not None and block is not None and block.over_s <= now + SAME_INSTANT_S:
                found.append(generator.name)
        return tuple(
            name for name in found if self._resets.get(name, 0) < _MOST_RESETS and name not in first
        )

    def _standing(self, kinds: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(
            dict.fromkeys(subject for subject, kind in self.plant.standing.all() if kind in kinds)
        )

    def _shows(self, name: str) -> bool:
        """Return whether a pump runs, or has tripped: then it is heard, or seen."""
        machine = self.plant.by_name.get(name)
        return machine is not None and (machine.running or bool(machine.blocks))

    def _to_set_right(self) -> tuple[str, ...]:
        plant = self.plant
        found = list(self._standing(_AT_ONCE))
        for subject in self._standing(_ONCE_FAILED):
            machine = plant.by_name.get(subject)
            generator = plant.supply.set_named(subject)
            if (machine is not None and FAILED in machine.blocks) or (
                generator is not None and generator.block is not None
            ):
                found.append(subject)
        if self._transfer_failed:
            found += self._standing((_STUCK,))
        found += [
            engine.name
            for engine in self._engines()
            if FAILED in engine.machine.blocks
            and plant.standing.stands(engine.name, "fails to start")
        ]
        return tuple(dict.fromkeys(found))

    def _ragged(self) -> tuple[str, ...]:
        return tuple(name for name in self._standing(RAGS) if self._shows(name))

    def _to_pull(self) -> tuple[str, ...]:
        by_name = self.plant.by_name
        electric = [name for name in self._standing(PULLED) if name in by_name]
        return tuple(
            name for name in electric if by_name[name].blocks and not by_name[name].engine_driven
        )

    def _mobile_wanted(self) -> tuple[str, ...]:
        supply = self.plant.supply
        there = supply.mobile is not None and not supply.mobile_connected
        wanted = self._transfer_failed or not supply.grid_on
        return ("station",) if there and self.dark and wanted else ()

    def _bypass_wanted(self) -> tuple[str, ...]:
        there = self.plant.bypass is not None and not self._bypass_connected
        return ("station",) if there and self.short else ()

    def _thirsty(self, below: float) -> tuple[str, ...]:
        plant = self.plant
        engines = [one.name for one in self._engines() if one.fuel_part < below]
        sets = (plant.supply.generator, plant.supply.mobile)
        return (
            *engines,
            *(one.name for one in sets if one is not None and one.fuel.part_left < below),
        )

    def _load_there(self, task: Task) -> tuple[str, ...]:
        if not self.short or self.plant.people is None or task.tool is None:
            return ()
        holds_m3 = self.plant.people.team.response.tool(task.tool).holds_m3
        return ("station",) if 0.0 < holds_m3 <= self.plant.v_m3 else ()

    def to_take_down(self, task: Task) -> bool:
        """Return whether what a task has connected is no longer needed.

        Parameters
        ----------
        task
            A step of the plan.
        """
        plant = self.plant
        if task.kind == "connect mobile generator":
            supply = plant.supply
            return supply.mobile_connected and supply.grid_on and not self._transfer_failed
        if task.kind == "connect bypass pump" and self._bypass_connected:
            bypass = plant.bypass
            assert bypass is not None  # noqa: S101  (it is connected)
            machine = bypass.machine
            stood_s = plant.clock.now - max(machine.stopped_s, self._bypass_since_s)
            idle = not machine.running and stood_s >= _STOOD_S
            others = any(pump.able for pump in plant.electric)
            return idle and others and not self.high and not self.dark
        return False

    # ------------------------------------------------------------------ what is done

    def isolate(self, task: Task, subject: str) -> None:
        """Take a pump out of the controller's hands before somebody works on it.

        Parameters
        ----------
        task, subject
            What is to be done, and to what.
        """
        if task.kind in ISOLATED:
            self._do("off", subject)

    def done(self, task: Task, subject: str, load_s: float = 0.0) -> None:
        """Let the plant see what has been done.

        Parameters
        ----------
        task, subject
            What, and to what.
        load_s
            Of a tanker: how long its load takes [s].
        """
        plant = self.plant
        kind = task.kind
        if kind == "reset":
            self._resets[subject] = self._resets.get(subject, 0) + 1
            self._do("reset", subject)
        elif kind == "set right":
            self._do("put right", subject)
        elif kind in ISOLATED:
            self._do("put right", subject)
            machine = plant.by_name[subject]
            if any(block != OUT_OF_SERVICE for block in machine.blocks):
                self._do("reset", subject)
            self._do("auto", subject)
        elif kind == "connect mobile generator":
            self._do("mobile generator connected", "mobile generator")
        elif kind == "connect bypass pump":
            self._bypass_since_s = plant.t_s
            self._do("bypass pump connected", "bypass pump")
        elif kind == "refuel":
            self._do("refuelled", subject)
        elif kind == "haul" and task.tool is not None and plant.people is not None:
            holds_m3 = plant.people.team.response.tool(task.tool).holds_m3
            plant.scripted(
                ScriptedEvent(
                    plant.t_s, "tanker takes", "tanker", amount=holds_m3, per_s=load_s,
                    cause=BY_CREW,
                )
            )  # fmt: skip

    def take_down(self, task: Task) -> None:
        """Undo what a task has connected.

        Parameters
        ----------
        task
            Which.
        """
        if task.kind == "connect mobile generator":
            self._do("mobile generator disconnected", "mobile generator")
        else:
            self._do("bypass pump disconnected", "bypass pump")

    def _do(self, kind: EventKind, subject: str) -> None:
        plant = self.plant
        plant.scripted(ScriptedEvent(plant.t_s, kind, subject, cause=BY_CREW))

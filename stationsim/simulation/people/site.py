"""The site: what somebody who stands there can find, and how what they do reaches the plant.

People act on a plant by scripted events and by nothing else, so a run with people is the same as a
run in which the same things are scripted at the same times.

What is found is what somebody notices who looks around: a breaker that is open, a float that hangs
up, a pump that rattles or has tripped. What shows only when it is tried (a pump that does not
start, an engine that will not fire, a worn impeller) is not found before it has shown.

Nobody works on a machine that may start: its selector is in off from the beginning of the work to
its end, and then where it stood before. A tank is filled with its engine stopped and cooled, unless
its maker allows otherwise: an engine-driven pump is in off for it, and a mobile set that runs is
taken off, and connected again if it is wanted still; the time to cool is part of the work. A fixed
set stays as it is: a base tank is filled while its set runs only where the maker allows it, and
where he does not, that set has to be stopped by the script.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import SAME_INSTANT_S
from stationsim.simulation.machines import FAILED, OUT_OF_SERVICE
from stationsim.simulation.power.bypass_set import NOT_CONNECTED
from stationsim.simulation.power.transfer import DEAD, GENERATOR, GRID, MOBILE

if TYPE_CHECKING:
    from stationsim.equipment.faults import EventKind
    from stationsim.people.response import Response, Task
    from stationsim.simulation.machines import Mode
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.power.engine_set import EngineSet

BY_CREW = "by the crew"
"""Cause of what people do."""

RAGS = ("clogged", "ragging")
"""What is cleared from above, with the pump isolated."""

PULLED = ("seal leak into motor", "seal leak")
"""What a pump has to be pulled for."""

MENDED = ("clear rags", "pull a pump")
"""Tasks that are done to their end, with the reset, whatever has become of the trouble."""

ISOLATED = ("set right", "refuel", *MENDED)
"""Tasks for which a machine is taken out of the controller's hands, and given back."""

_AT_ONCE = (
    "air-bound",
    "plug valve closed",
    "check valve open",
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

_ONCE_FAILED = (
    "fails to start",
    "battery flat",
    "fails to prime",
    "generator fails to start",
    "generator fails",
)
"""What is found, in its panel or at its engine, once it has been called in vain."""

_STUCK = "transfer switch stuck"
_MOST_RESETS = 2
"""How often one thing is reset in one call-out; common practice, no source [-]."""
_STOOD_S = 1800.0
"""A bypass pump that has stood so long is no longer needed; common practice, no source [s]."""


class Site:
    """A plant, seen by somebody who stands there.

    Parameters
    ----------
    plant
        The plant.
    response
        Who answers for it, and what their plan is.
    do
        Lets the plant feel what somebody does; None: at once, within its own order of an instant.
    """

    def __init__(
        self, plant: Plant, response: Response, do: Callable[[ScriptedEvent], None] | None = None
    ) -> None:
        self.plant = plant
        self.response = response
        self._feels = plant.scripted if do is None else do
        self._resets: dict[str, int] = {}
        self._bypass_since_s = 0.0
        self._turned: dict[str, Mode] = {}  # what is isolated, and where its selector goes back to
        self._off_to_fill = False  # the mobile set was taken off for its tank

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
        """True when a pump with an engine of its own is there to carry a station without power.

        One that somebody has set to off while its tank is filled counts.
        """
        for engine in self._engines():
            machine = engine.machine
            able = machine.able or (engine.name in self._turned and not machine.blocks)
            if able and engine.phase in ("stopped", "starting", "running"):
                return True
        return False

    @property
    def short(self) -> bool:
        """True when the station cannot carry what arrives, as far as somebody can tell.

        High water that falls once a generator set feeds the pumps is no need. That it is dark while
        a mobile set is taken off, or filled, is meant to be.
        """
        plant, supply = self.plant, self.plant.supply
        falls = supply.source in (GENERATOR, MOBILE) and plant.water.direction < 0
        return (self.high and not falls) or (
            self.dark and not self.carried and not supply.changing_over
        )

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

    def connected(self, task: Task) -> bool:
        """Return whether what a task connects is connected.

        Parameters
        ----------
        task
            A step of the plan that connects something.
        """
        if task.kind == "connect mobile generator":
            return self.plant.supply.mobile_connected
        return self._bypass_connected

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

    def _engines(self) -> tuple[EngineSet, ...]:
        sets = (self.plant.engine, self.plant.bypass)
        return tuple(one for one in sets if one is not None)

    def _to_reset(self) -> tuple[str, ...]:
        """Return what has tripped and is not reset in vain: what can be set right is, before."""
        plant, now = self.plant, self.plant.clock.now
        found = []
        first: tuple[str, ...] = ()
        if self.response.task("set right") is not None:
            first = self._to_set_right()
        for machine in plant.machines:
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
        """Return whose tank is low; a mobile set that is to be taken off is not filled before."""
        supply = self.plant.supply
        engines = [one.name for one in self._engines() if one.fuel_part < below]
        sets = [one for one in (supply.generator, supply.mobile) if one is not None]
        return (
            *engines,
            *(
                one.name
                for one in sets
                if one.fuel.part_left < below and not (one is supply.mobile and self._goes_soon())
            ),
        )

    def _goes_soon(self) -> bool:
        """Return whether a step of the plan takes the mobile set off now."""
        task = self.response.task("connect mobile generator")
        return task is not None and self.to_take_down(task)

    def _load_there(self, task: Task) -> tuple[str, ...]:
        if not self.short or task.tool is None:
            return ()
        holds_m3 = self.response.tool(task.tool).holds_m3
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

    def thing(self, task: Task, subject: str) -> str:
        """Return what somebody lays hand on: of a connection, what is connected.

        Parameters
        ----------
        task, subject
            What is to be done, and to what.
        """
        if task.kind == "connect mobile generator":
            return MOBILE
        if task.kind == "connect bypass pump" and self.plant.bypass is not None:
            return self.plant.bypass.name
        return subject

    def begins(self, task: Task, subject: str, takes_s: float) -> None:
        """Let stand still, from now on, what somebody begins to work on.

        Parameters
        ----------
        task, subject
            What is to be done, and to what.
        takes_s
            How long it will take [s].
        """
        plant, supply = self.plant, self.plant.supply
        if task.kind not in ISOLATED:
            return
        machine = plant.by_name.get(subject)
        if machine is not None:
            bypass = plant.bypass
            if bypass is not None and subject == bypass.name and not self._bypass_connected:
                return
            self._turned[subject] = plant.blocks.goes_back_to(machine)
            self._do("off", subject)
        elif subject == MOBILE and supply.mobile_connected and task.kind == "refuel":
            assert supply.mobile is not None  # noqa: S101  (it is connected)
            self._off_to_fill = supply.mobile.at_voltage
            if self._off_to_fill:
                self._do("mobile generator disconnected", MOBILE, takes_s)

    def given_back(self, subject: str) -> None:
        """Somebody has ended their work on something: it may run again as it did before.

        Parameters
        ----------
        subject
            What.
        """
        mode = self._turned.pop(subject, None)
        if mode is not None:
            self._do(mode, subject)
        if subject == MOBILE and self._off_to_fill:
            self._off_to_fill = False
            if self._mobile_wanted():
                self._do("mobile generator connected", MOBILE)

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
        elif kind in MENDED:
            self._do("put right", subject)
            machine = plant.by_name[subject]
            if any(block != OUT_OF_SERVICE for block in machine.blocks):
                self._do("reset", subject)
        elif kind == "connect mobile generator":
            self._do("mobile generator connected", MOBILE)
        elif kind == "connect bypass pump":
            self._bypass_since_s = plant.t_s
            self._do("bypass pump connected", "bypass pump")
        elif kind == "refuel":
            self._do("refuelled", subject)
        elif kind == "haul" and task.tool is not None:
            holds_m3 = self.response.tool(task.tool).holds_m3
            self._feels(
                ScriptedEvent(
                    plant.t_s, "tanker takes", "tanker", amount=holds_m3, per_s=load_s,
                    cause=BY_CREW,
                )
            )  # fmt: skip
        self.given_back(subject)

    def take_down(self, task: Task, takes_s: float) -> None:
        """Begin to undo what a task has connected: it is off at once.

        Parameters
        ----------
        task
            Which.
        takes_s
            How long it will take [s]: until then nothing feeds a busbar that a mobile set has fed.
        """
        if task.kind == "connect mobile generator":
            self._do("mobile generator disconnected", MOBILE, takes_s)
        else:
            self._do("bypass pump disconnected", "bypass pump")

    def _do(self, kind: EventKind, subject: str, lasts_s: float = 0.0) -> None:
        event = ScriptedEvent(self.plant.t_s, kind, subject, lasts_s or None, cause=BY_CREW)
        self._feels(event)

"""A generator set while it runs: its phases, what it carries, its fuel, and what ends it.

Phases: stopped, starting, running, cooling down, failed, tripped, out of fuel. A call cranks it as
often as it may; once it has fired it runs up, and from good voltage on it can feed the busbar. A
mobile set is brought running.

*What it carries*: at each start of a pump the apparent power of all that run and of all that still
run up is added up, those that start at one instant together. Above ``start_va`` the set trips.
Above ``rated_va`` it trips at the moment at which none runs up any more: nothing is known of its
overload curve. A pump without a ``MotorLoad`` counts nought. A tripped or failed set waits for a
reset.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import FAULT, SAME_INSTANT_S, SUPPLY
from stationsim.simulation.following import Follower
from stationsim.simulation.machines import Block, Machine
from stationsim.simulation.power.fuel import NOT_COUNTED, REFUELLED, REFUELLING_REFUSED, Fuel
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.equipment.power import GeneratorSet
    from stationsim.simulation.plant import Plant

HELD = "held by the generator"
"""Why a pump is held back while a generator feeds the station."""

_ALARM = "generator failed"
_AT_VOLTAGE = ("running", "cooling down")


class Generator(Follower):
    """A generator set, fixed or mobile.

    Parameters
    ----------
    name
        ``generator`` or ``mobile generator``.
    what
        What it is.
    plant
        The plant that it feeds.
    path
        Where it stands, from the plant: ``supply.generator``.
    """

    def __init__(self, name: str, what: GeneratorSet, plant: Plant, path: str) -> None:
        self.name = name
        self.what = what
        self.plant = plant
        self.path = path
        self.phase = "stopped"
        self.will_not_start = False
        self.late_s = 0.0
        self.exercising = False
        self.block: Block | None = None
        self.fuel = Fuel(self)
        self._piece = 0
        self._beneath: Block | None = None  # it failed while it stood for want of fuel

    @property
    def at_voltage(self) -> bool:
        """True while it could feed the busbar."""
        return self.phase in _AT_VOLTAGE

    def _turn(self, phase: str, cause: str) -> None:
        self.phase = phase
        self._piece += 1
        self.plant.recorder.power(self.plant.t_s, self.name, phase, cause)

    # ------------------------------------------------------------------ start and stop

    def call(self, cause: str) -> None:
        """It is wanted on load.

        Parameters
        ----------
        cause
            Why.
        """
        if self.phase == "cooling down":
            self._turn("running", cause)
        if self.phase == "running":
            self._ready()
        elif self.phase == "stopped":
            self.start(cause)

    def start(self, cause: str) -> None:
        """Crank it.

        Parameters
        ----------
        cause
            Why.
        """
        plant = self.plant
        if plant.luck.armed:
            plant.luck.demand(self.name)
            if self.phase != "stopped":  # chance has taken it out
                return
        if self.fuel.empty:
            self.out_of_fuel()
            return
        self._turn("starting", cause)
        plant.note(self.name, "generator called", cause)
        self._crank(0.0, 1)

    def _crank(self, rest_s: float, tried: int) -> None:
        at_s = self.plant.t_s + rest_s + self.what.crank_s
        self.plant.at(at_s, SUPPLY, f"{self.path}.cranked", self._piece, tried)

    def cranked(self, piece: int, tried: int) -> None:
        """One crank is over: it has fired, or not.

        Parameters
        ----------
        piece
            For which piece of its phases it was foreseen.
        tried
            Which try it was.
        """
        if piece != self._piece:
            return
        what, plant = self.what, self.plant
        if not self.will_not_start:
            self.fuel.burns(on=True)
            at_s = plant.t_s + what.run_up_s + self.late_s
            plant.at(at_s, SUPPLY, f"{self.path}.up", self._piece)
            return
        plant.note(self.name, "crank failed", f"try {tried} of {what.crank_tries}")
        if tried < what.crank_tries:
            self._crank(what.crank_rest_s, tried + 1)
        else:
            self._down("failed", "did not fire")

    def up(self, piece: int) -> None:
        """It has good voltage.

        Parameters
        ----------
        piece
            For which piece of its phases it was foreseen.
        """
        if piece != self._piece:
            return
        self._turn("running", "good voltage")
        if self.exercising and self.plant.exercises is not None:
            self.plant.exercises.runs(self.name)
        self._ready()

    def _ready(self) -> None:
        transfer = self.plant.supply.transfer
        if transfer is not None:
            transfer.generator_ready()

    def release(self, cause: str) -> None:
        """It is no longer wanted on load: a start is given up, a set that runs cools down.

        Parameters
        ----------
        cause
            Why.
        """
        plant = self.plant
        if self.phase == "starting" and not self.exercising:
            self.stop(cause)
            plant.note(self.name, "call given up", cause)
        elif self.phase == "running" and not self.exercising:
            cools_s = self._cool_down_s()
            if cools_s > 0.0:
                self._turn("cooling down", cause)
                plant.at(plant.t_s + cools_s, SUPPLY, f"{self.path}.cooled", self._piece)
            else:
                self.stop(cause)

    def _cool_down_s(self) -> float:
        transfer = self.plant.supply.transfer
        return 0.0 if transfer is None else transfer.what.cool_down_s

    def cooled(self, piece: int) -> None:
        """It has cooled down.

        Parameters
        ----------
        piece
            For which piece of its phases it was foreseen.
        """
        if piece == self._piece:
            self.stop("cooled down")

    def stop(self, cause: str) -> None:
        """Stop it in good order.

        Parameters
        ----------
        cause
            Why.
        """
        self.fuel.burns(on=False)
        self._turn("stopped", cause)

    def connected(self) -> None:
        """A mobile set has been brought and runs, unless it is tripped or has no fuel."""
        if self.phase == "stopped" and not self.fuel.empty:
            self._turn("running", f"{self.name} connected")
            self.fuel.burns(on=True)

    def disconnected(self) -> None:
        """A mobile set is stopped and taken off."""
        if self.phase == "running":
            self.stop(f"{self.name} disconnected")

    # ------------------------------------------------------------------ load

    def loaded(self) -> None:
        """It feeds the busbar from now on."""
        plant, what = self.plant, self.what
        self.fuel.burns(on=True, loaded=True)
        if what.start_va < math.inf or what.rated_va < math.inf:
            plant.join(self)
        if what.most_running is not None or what.may_start:
            most = len(plant.electric) if what.most_running is None else what.most_running
            plant.permits.limit(HELD, most, what.may_start)

    def unloaded(self) -> None:
        """It feeds the busbar no more."""
        if self.at_voltage:
            self.fuel.burns(on=True)
        self.plant.leave(self)
        self.plant.permits.lift(HELD)

    def load_va(self, at_s: float, *, starts: bool = True) -> float:
        """Return what it has to carry with the pumps that run now [VA].

        Parameters
        ----------
        at_s
            The moment, not before the last start [s].
        starts
            Whether pumps that still run up count with what they need to start; else all count as
            at full load.
        """
        what = self.plant.supply.what
        assert what is not None  # noqa: S101  (there is a generator set)
        total = 0.0
        for machine in self.plant.electric:
            load = what.loads.get(machine.unit.name)
            if load is None or not machine.running:
                continue
            runs_up_s = max(load.start_s, 2.0 * SAME_INSTANT_S)
            running_up = at_s < machine.started_s + runs_up_s - SAME_INSTANT_S
            total += load.start_va if starts and running_up else load.running_va
        return total

    def started(self, machine: Machine) -> None:
        """See what it carries, once all have started that start at this instant."""
        what = self.plant.supply.what
        if machine.engine_driven or what is None:
            return
        now = self.plant.t_s
        self.plant.at(now, SUPPLY, f"{self.path}.carries")
        load = what.loads.get(machine.unit.name)
        if load is not None and load.start_s > 0.0:
            self.plant.at(now + load.start_s, SUPPLY, f"{self.path}.carries")

    def stopped(self, machine: Machine) -> None:
        """See what it carries, for none may run up any more."""
        if not machine.engine_driven and self.what.rated_va < math.inf:
            self.plant.at(self.plant.t_s, SUPPLY, f"{self.path}.carries")

    def _runs_up(self, at_s: float) -> bool:
        """Return whether a pump that runs has not run up yet."""
        what = self.plant.supply.what
        assert what is not None  # noqa: S101  (there is a generator set)
        return any(
            machine.running
            and (load := what.loads.get(machine.unit.name)) is not None
            and at_s < machine.started_s + load.start_s - SAME_INSTANT_S
            for machine in self.plant.electric
        )

    def carries(self) -> None:
        """Trip when the load is more than it can carry."""
        if self.plant.supply.source != self.name:
            return
        now = self.plant.t_s
        asked, limit = self.load_va(now), self.what.start_va
        if asked <= limit and not self._runs_up(now):
            asked, limit = self.load_va(now, starts=False), self.what.rated_va
        if asked > limit:
            detail = f"{asked / 1e3:.1f} kVA asked, {limit / 1e3:.1f} kVA at most"
            self.plant.note(self.name, "trip", "more than it can carry", detail)
            self._down("tripped", "generator tripped")

    # ------------------------------------------------------------------ what ends it

    def _down(self, phase: str, cause: str, block: Block | None = None) -> None:
        """Take it out: it gives no voltage and waits for a reset."""
        plant = self.plant
        self.block = block or Block(plant.t_s, resets_itself=False)
        self._ends(phase, cause)

    def _ends(self, phase: str, cause: str) -> None:
        plant = self.plant
        self.fuel.burns(on=False)
        self._turn(phase, cause)
        plant.alarms.condition(_ALARM, self.name, 0.0, cause, on=True)
        if self.exercising and plant.exercises is not None:
            plant.exercises.ended(self.name, "failed")
        transfer = plant.supply.transfer
        if self is plant.supply.generator and transfer is not None:
            transfer.generator_down(cause)
        else:
            plant.supply.feed(cause)

    def out_of_fuel(self) -> None:
        """Its tank is empty; it stands until somebody fills it."""
        self.plant.note(self.name, "out of fuel", "tank empty")
        self._ends("out of fuel", "out of fuel")

    def fails(self, event: ScriptedEvent, over_s: float) -> None:
        """It stops, and does not run again until it is reset.

        Parameters
        ----------
        event
            What happens.
        over_s
            When its condition is over [s].
        """
        plant = self.plant
        plant.note(self.name, event.kind, event.cause)
        if event.duration_s is None:
            block = Block(plant.t_s, resets_itself=False)
        else:
            block = Block(over_s, event.resets_itself)
            plant.at(over_s, FAULT, f"{self.path}.over", over_s)
        block = block.upon(self.block or self._beneath)
        plant.standing.begin(self.name, event.kind, math.inf, f"{self.path}.mended")
        if self.phase == "out of fuel":
            self._beneath = block
            return
        self._down("failed", "generator fails", block)

    def over(self, over_s: float) -> None:
        """The condition behind its failure is over.

        Parameters
        ----------
        over_s
            When it was to be over [s].
        """
        block = self.block or self._beneath
        if block is not None and block.over_s == over_s and block.resets_itself:
            self.plant.standing.end(self.name, "generator fails", "by itself")

    def reset(self) -> None:
        """Somebody presses its reset."""
        block, plant = self.block, self.plant
        if block is None:
            plant.note(self.name, "reset refused", "nothing to reset")
        elif block.over_s > plant.t_s + SAME_INSTANT_S:
            plant.note(self.name, "reset refused", f"{self.phase} lasts")
        elif plant.standing.stands(self.name, "generator fails"):
            plant.standing.end(self.name, "generator fails", "by hand")
        else:
            self.mended(self.name, "", "by hand")

    def mended(self, _subject: str, _kind: str, cause: str) -> None:
        """Let it run again (see ``Standing.begin``)."""
        plant = self.plant
        self._beneath = None
        if self.block is None:
            return
        self.block = None
        plant.note(self.name, "reset", cause, self.phase)
        plant.alarms.condition(_ALARM, self.name, 0.0, cause, on=False)
        self._turn("stopped", "reset")
        self._may_run("reset")

    def _may_run(self, why: str) -> None:
        """Let a set that stood run again where it is wanted."""
        supply = self.plant.supply
        if self is supply.mobile:
            if supply.mobile_connected:
                self.connected()
                supply.feed(why)
        elif supply.transfer is not None:
            supply.transfer.generator_free()

    def refuel(self, cause: str) -> None:
        """Somebody fills its tank; if it stood for want of fuel it can run again.

        Parameters
        ----------
        cause
            Why.
        """
        plant = self.plant
        if not self.fuel.counted:
            plant.note(self.name, REFUELLING_REFUSED, NOT_COUNTED)
            return
        filled_m3 = self.fuel.fill()
        plant.note(self.name, REFUELLED, cause, f"{show(filled_m3, 'fuel', 'si')} filled")
        if self.phase == "out of fuel" and self._beneath is not None:
            self.block, self._beneath = self._beneath, None
            self._turn("failed", "generator fails")
        elif self.phase == "out of fuel":
            plant.alarms.condition(_ALARM, self.name, 0.0, REFUELLED, on=False)
            self._turn("stopped", REFUELLED)
            self._may_run(REFUELLED)
        elif self.phase == "stopped" and self is plant.supply.mobile:
            self._may_run(REFUELLED)

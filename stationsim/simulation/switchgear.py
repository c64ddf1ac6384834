"""Switchgear: starts and stops machines, refuses what may not start, shows who runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.simulation.clock import CONTROLLER, SAME_INSTANT_S
from stationsim.trace import PumpRun

if TYPE_CHECKING:
    from stationsim.signals import PumpSeen
    from stationsim.simulation.machines import Machine
    from stationsim.simulation.plant import Plant


class Switchgear:
    """The contactors of a plant.

    Parameters
    ----------
    plant
        The plant that they belong to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.mask = 0  # a bit for each machine that runs
        self._shown: tuple[PumpSeen, ...] | None = None

    def shown(self) -> tuple[PumpSeen, ...]:
        """Return the electric pumps as the panel sees them."""
        if self._shown is None:
            electric = self.plant.electric
            self._shown = tuple([machine.shown or machine.seen() for machine in electric])
        return self._shown

    def look_anew(self) -> None:
        """Something that the panel sees has changed."""
        self._shown = None
        for machine in self.plant.electric:
            machine.shown = None

    def hand_turn(self) -> None:
        """Run what stands in hand, as far as supply, trips and rest allow."""
        plant = self.plant
        for machine in plant.electric:
            if machine.mode != "hand" or machine.running or not machine.able or not plant.powered:
                continue
            if plant.supply.sagging:
                continue
            rested = machine.stopped_s + machine.unit.min_off_s
            if plant.t_s >= rested - SAME_INSTANT_S:
                self.start(machine, "hand", "selector in hand")
            else:
                plant.at(rested, CONTROLLER, "panel_changed")

    def start(self, machine: Machine, role: str, cause: str) -> None:
        """Start a machine, or write down why it does not start.

        Parameters
        ----------
        machine
            Which machine.
        role
            The part that it is to play.
        cause
            Why, in trade words.
        """
        plant = self.plant
        if machine.running:
            return
        why_not = self._why_not_now(machine)
        if plant.luck.armed and not (why_not or machine.called or machine.engine_driven):
            plant.luck.demand(machine.unit.name)
            why_not = self._why_not_now(machine)
        if why_not:
            plant.note(machine.unit.name, "start refused", why_not, f"called as {role}")
            return
        if machine.will_not_start and not machine.engine_driven:
            if not machine.called:
                plant.pumps.called_in_vain(machine, role)
                self._shown = machine.shown = None
            return
        machine.running = True
        machine.role, machine.started_by = role, cause
        machine.started_s = plant.t_s
        machine.starts += 1
        machine.run_m3 = machine.run_j = 0.0
        self.mask |= 1 << machine.index
        if plant.heating.motors:
            plant.heating.look(machine)
        self._shown = machine.shown = None
        plant.note(machine.unit.name, "start", cause, role)
        for follower in tuple(plant.followers):
            follower.started(machine)

    def _why_not_now(self, machine: Machine) -> str:
        """Return why a machine can't start at this instant; empty when it can."""
        plant = self.plant
        why_not = machine.why_not
        if not why_not and not machine.engine_driven:
            if machine.held and machine.mode == "auto":
                why_not = machine.held
            elif not plant.powered:
                why_not = "no supply"
            elif plant.t_s < machine.stopped_s + machine.unit.min_off_s - SAME_INSTANT_S:
                why_not = "minimum off time not over"
        return why_not

    def stop(self, machine: Machine, cause: str) -> None:
        """Stop a machine and close its run.

        Parameters
        ----------
        machine
            Which machine.
        cause
            Why, in trade words.
        """
        plant = self.plant
        if not machine.running:
            return
        self.close_run(machine, cause)
        plant.note(machine.unit.name, "stop", cause, machine.role)
        for follower in tuple(plant.followers):
            follower.stopped(machine)

    def close_run(self, machine: Machine, cause: str) -> None:
        """Close the run of a machine, and nothing else.

        Parameters
        ----------
        machine
            Which machine.
        cause
            Why it ends, in trade words.
        """
        plant = self.plant
        now = plant.t_s
        machine.running = False
        machine.stopped_s = now
        machine.stopped_by = cause
        machine.hours_s += now - machine.started_s
        self.mask &= ~(1 << machine.index)
        if plant.heating.motors:
            plant.heating.look(machine)
        self._shown = machine.shown = None
        plant.trace.pumped_m3 += machine.run_m3
        plant.trace.runs.append(
            PumpRun(
                machine.index,
                machine.role,
                machine.started_s,
                now,
                machine.run_m3,
                machine.run_j,
                machine.started_by,
                cause,
            )
        )

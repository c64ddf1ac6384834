"""The electric supply of a plant: the grid, what stands in for it, and the pumps' busbar.

``grid_on`` says whether the grid is good: voltage on all phases. ``source`` says what feeds the
busbar now. ``live`` says whether the busbar has voltage and the panel has booted since: only then
are pumps started and held. The engine-driven pump needs none of them.

A station without standby power knows the grid only. One with a fixed set has a transfer switch
(``transfer``). A mobile set is connected behind an interlock: only to a dead busbar, and while it
is connected neither grid nor fixed set can feed, until somebody disconnects it. From then on the
set is off and the busbar dead until the change back is over: for as long as the event lasts, or,
where it does not say, for a break as that of the transfer switch. A set that is connected again
meanwhile puts an end to the change.

*Sag*: motors that do not ride through it drop out and none starts while it lasts; a relay that
latches does so whether its motor runs or not, for it looks at the voltage. Panel and transfer
switch take no notice, unless it is longer than the start delay of the generator: then it is a loss
of the grid. *One phase lost*: the phase relay stops every motor, tells the panel that there is no
supply, and the transfer switch that there is no grid; it raises an alarm of its own at once, and
'power failed' is not raised. Neither touches a station that something else feeds. While the grid is
lost nobody can tell that a phase is missing: 'phase lost' is raised when the grid is back and it
still is, or when what has fed the station meanwhile feeds it no more.

*At one instant* the loss of the grid comes before the loss of a phase, and that before a sag, in
whatever order they are written (``happening.rank_of``): the greater trouble is what is seen.
Common practice, no source.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import SAME_INSTANT_S, SUPPLY
from stationsim.simulation.power.generator import Generator
from stationsim.simulation.power.stories import grid_outage
from stationsim.simulation.power.transfer import DEAD, GENERATOR, GRID, MOBILE, Transfer
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.simulation.machines import Machine
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

RETURN_BREAK = "short break after the return"
"""Why the supply fails once more when the grid is back."""

VOLTAGE_LOW = "voltage low"
"""Why no motor starts during a sag."""

_LOST, _PHASE, _SAG = "grid lost", "phase lost", "grid sag"


class Supply:
    """The electric supply of a plant.

    Parameters
    ----------
    plant
        The plant that is supplied.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.what = what = plant.station.standby_power
        self.grid_on = True
        self.source = GRID
        self.live = True
        self.sagging = False
        self.generator: Generator | None = None
        self.transfer: Transfer | None = None
        self.mobile: Generator | None = None
        self.mobile_connected = False
        if what is not None and what.generator is not None:
            self.generator = Generator(GENERATOR, what.generator, plant, "supply.generator")
            self.transfer = Transfer(what.transfer, self.generator, plant)
        if what is not None and what.mobile is not None:
            self.mobile = Generator(MOBILE, what.mobile, plant, "supply.mobile")
        self._bad: dict[str, float] = {}  # why the grid is not good -> until when [s]
        self._sag_over_s = -math.inf
        self._back_s = -math.inf
        self._in_break = False
        self._lost_by = "scripted"  # cause of the loss that ends last
        self._changes_until_s: float | None = None  # while a mobile set is being taken off
        self._dead_s = -math.inf
        self._change = 0

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {
            "grid loss": self._scripted_loss,
            "grid sag": self._sags,
            "phase lost": self._phase_lost,
            "mobile generator connected": self._connected,
            "mobile generator disconnected": self._disconnected,
        }

    def begin(self) -> None:
        """Write down how the sources stand at time nought."""
        if self.what is None:
            return
        power = self.plant.recorder.power
        for generator in (self.generator, self.mobile):
            if generator is not None:
                power(0.0, generator.name, generator.phase, "start of the run")
        power(0.0, "busbar", self.source, "start of the run")

    def close(self) -> None:
        """Take stock of the fuel at the end of the run."""
        for generator in (self.generator, self.mobile):
            if generator is not None:
                generator.fuel.take_stock()
                self.plant.trace.fuel_m3[generator.name] = generator.fuel.burnt_m3
                if generator.fuel.filled_m3 > 0.0:
                    self.plant.trace.filled_m3[generator.name] = generator.fuel.filled_m3

    def set_named(self, name: str) -> Generator | None:
        """Return a generator set by its name; None when the station has no such set.

        Parameters
        ----------
        name
            ``generator`` or ``mobile generator``.
        """
        return {GENERATOR: self.generator, MOBILE: self.mobile}.get(name)

    @property
    def changing_over(self) -> bool:
        """True from the moment a mobile set is off until the change back is over."""
        return self._changes_until_s is not None

    # ------------------------------------------------------------------ the grid

    def _scripted_loss(self, event: ScriptedEvent, over_s: float) -> None:
        self.grid_lost(over_s, event.cause)

    def grid_lost(self, back_s: float, cause: str = "scripted") -> None:
        """The grid fails; electric pumps stop.

        Parameters
        ----------
        back_s
            When it is back [s].
        cause
            Why it fails.
        """
        plant = self.plant
        self._in_break = cause == RETURN_BREAK
        before_s = self._bad.get(_LOST)
        self._bad[_LOST] = back_s if before_s is None else max(back_s, before_s)
        if before_s is None or back_s > before_s:
            self._lost_by = cause
        if before_s is not None:
            if back_s > before_s:
                self._returns_at(back_s)
            return
        was_on = self._grid_fails(_LOST)
        plant.note("grid", "grid lost", cause)
        self._feed_after_a_loss("power lost", was_on=was_on)
        delay = plant.station.alarms.power_failed_delay_s
        plant.alarms.condition("power failed", "station", delay, "grid lost", on=True)
        self._returns_at(back_s)
        self._transfer_sees_a_loss(was_on=was_on)

    def _returns_at(self, back_s: float) -> None:
        if self.what is None:
            self.plant.tell(grid_outage(self.plant, back_s))
        else:
            self.plant.at(back_s, SUPPLY, "supply.grid_back")

    def grid_back(self) -> None:
        """The grid is on again, unless a longer outage has begun meanwhile."""
        plant = self.plant
        if plant.clock.now < self._bad.get(_LOST, math.inf) - SAME_INSTANT_S:
            return
        self._back_s = self._bad.pop(_LOST)
        is_on = self._grid_good("grid back")
        how = "scripted" if self._lost_by == "scripted" else "by itself"
        plant.note("grid", "grid back", RETURN_BREAK if self._in_break else how)
        again = plant.station.return_break
        if again is not None and self.transfer is None and not self._in_break:
            plant.at(plant.t_s + again.after_s, SUPPLY, "supply.breaks", self._back_s)
        plant.alarms.condition("power failed", "station", 0.0, "grid back", on=False)
        self._phase_relay("grid back")
        self._feed_after_a_return(is_on=is_on)

    def breaks(self, after_return_s: float) -> None:
        """Break the supply for a moment, some time after the grid is back.

        Parameters
        ----------
        after_return_s
            The return that it follows [s]; nothing breaks when the grid was lost again since.
        """
        again = self.plant.station.return_break
        if again is None or _LOST in self._bad or after_return_s != self._back_s:
            return
        self.grid_lost(self.plant.t_s + again.length_s, RETURN_BREAK)

    def _phase_lost(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        before_s = self._bad.get(_PHASE)
        self._bad[_PHASE] = over_s if before_s is None else max(over_s, before_s)
        plant.at(over_s, SUPPLY, "supply.phase_back")
        if before_s is not None:
            return
        self._phase_relay(event.cause)
        was_on = self._grid_fails(_PHASE)
        plant.note("grid", _PHASE, event.cause)
        self._feed_after_a_loss(_PHASE, was_on=was_on)
        self._transfer_sees_a_loss(was_on=was_on)

    def _phase_relay(self, cause: str) -> None:
        """Raise 'phase lost' where a phase is missing of a grid that is there and nothing else."""
        plant = self.plant
        missing = self._bad.get(_PHASE, -math.inf) > plant.t_s + SAME_INSTANT_S
        if missing and _LOST not in self._bad and self.source in (GRID, DEAD):
            plant.alarms.condition(_PHASE, "station", 0.0, cause, on=True)

    def phase_back(self) -> None:
        """All phases are there again, unless one has been lost for longer meanwhile."""
        plant = self.plant
        if plant.clock.now < self._bad.get(_PHASE, math.inf) - SAME_INSTANT_S:
            return
        del self._bad[_PHASE]
        is_on = self._grid_good("phases back")
        plant.note("grid", "phases back", "by itself")
        plant.alarms.condition(_PHASE, "station", 0.0, "phases back", on=False)
        self._feed_after_a_return(is_on=is_on)

    def _grid_fails(self, why: str) -> bool:
        """Take note that the grid is not good; return whether it was until now."""
        was_on, self.grid_on = self.grid_on, False
        if self.sagging:
            self._end_sag()
        self.plant.recorder.power(self.plant.t_s, "grid", "out", why)
        return was_on

    def _feed_after_a_loss(self, why: str, *, was_on: bool) -> None:
        if was_on:
            self.feed(why)
        if self.plant.exercises is not None:
            self.plant.exercises.grid_lost()

    def _transfer_sees_a_loss(self, *, was_on: bool) -> None:
        if was_on and self.transfer is not None:
            self.transfer.grid_bad()

    def _grid_good(self, why: str) -> bool:
        """Take note that one thing less is wrong with the grid; return whether it is good now."""
        self.grid_on = not self._bad
        if self.grid_on:
            self.plant.recorder.power(self.plant.t_s, "grid", "on", why)
        return self.grid_on

    def _feed_after_a_return(self, *, is_on: bool) -> None:
        if is_on and self.transfer is not None:
            self.transfer.grid_good()
        elif is_on:
            self.feed("grid back")

    # ------------------------------------------------------------------ sags

    def _sags(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        lasts_s = event.duration_s or 0.0
        plant.note("grid", _SAG, event.cause, f"for {show(lasts_s, 'duration', 'si')}")
        transfer = self.transfer
        if transfer is not None and lasts_s > transfer.what.start_delay_s + SAME_INSTANT_S:
            self.grid_lost(over_s, _SAG)
            return
        if _LOST in self._bad or _PHASE in self._bad:
            return
        self._sag_over_s = max(over_s, self._sag_over_s)
        plant.at(over_s, SUPPLY, "supply.sag_over", over_s)
        if self.source != GRID:  # it touches nobody, but the grid is not good meanwhile
            self._bad[_SAG] = self._sag_over_s
            was_on, self.grid_on = self.grid_on, False
            self._transfer_sees_a_loss(was_on=was_on)
            return
        for machine in plant.electric:
            if machine.unit.rides_through_s < lasts_s:
                self._drops_out(machine)
        self.sagging = True
        plant.permits.limit(VOLTAGE_LOW, 0, stops=False)

    def _drops_out(self, machine: Machine) -> None:
        self.plant.stop(machine, _SAG)
        if machine.unit.after_sag == "waits for reset":
            self.plant.blocks.low_voltage(machine)

    def sag_over(self, over_s: float) -> None:
        """The voltage is good again, unless a longer sag has begun meanwhile.

        Parameters
        ----------
        over_s
            When the sag was to be over [s].
        """
        if over_s < self._sag_over_s:
            return
        if self._bad.pop(_SAG, None) is not None:
            self._sag_over_s = -math.inf
            is_on = self._grid_good("voltage back")
            self._feed_after_a_return(is_on=is_on)
        elif self.sagging:
            self._end_sag()

    def _end_sag(self) -> None:
        self.sagging, self._sag_over_s = False, -math.inf
        self.plant.permits.lift(VOLTAGE_LOW)
        self.plant.panel_changed()

    # ------------------------------------------------------------------ the mobile set

    def _connected(self, event: ScriptedEvent, _over_s: float) -> None:
        plant, mobile = self.plant, self.mobile
        why = ""
        if mobile is None:
            why = "the station has none"
        elif self.mobile_connected:
            why = "it is connected"
        elif self.source != DEAD:
            why = "the busbar is live"
        if mobile is None or why:
            plant.note(MOBILE, "connection refused", why)
            return
        self.mobile_connected = True
        self._changes_until_s = None
        plant.note(MOBILE, event.kind, event.cause)
        mobile.connected()
        self.feed("mobile generator connected")

    def _disconnected(self, event: ScriptedEvent, _over_s: float) -> None:
        plant, mobile = self.plant, self.mobile
        if mobile is None or not self.mobile_connected:
            plant.note(MOBILE, "connection refused", "it is not connected")
            return
        assert self.what is not None  # noqa: S101  (there is a mobile set)
        lasts_s = event.duration_s
        dead = "" if lasts_s is None else f"nothing feeds for {show(lasts_s, 'duration', 'si')}"
        break_s = self.what.transfer.return_break_s if lasts_s is None else lasts_s
        over_s = plant.t_s + max(break_s, 2.0 * SAME_INSTANT_S)
        self.mobile_connected = False
        plant.note(MOBILE, event.kind, event.cause, dead)
        self._changes_until_s = over_s
        self.feed("mobile generator disconnected")
        mobile.disconnected()
        plant.at(over_s, SUPPLY, "supply.changed_over", over_s)

    def changed_over(self, over_s: float) -> None:
        """The hand that took the mobile set off has closed the other switch.

        Parameters
        ----------
        over_s
            Until when that was to take [s]; nothing happens when the set is connected again since.
        """
        if over_s == self._changes_until_s:
            self._changes_until_s = None
            self.feed("mobile generator disconnected")

    # ------------------------------------------------------------------ the busbar

    def _fed_by(self) -> str:
        """Return what can feed the busbar as things stand."""
        if self.mobile_connected and self.mobile is not None:
            return MOBILE if self.mobile.at_voltage else DEAD
        if self.changing_over:
            return DEAD
        if self.transfer is not None:
            return self.transfer.feeds
        return GRID if self.grid_on else DEAD

    def feed(self, why: str) -> None:
        """Let the busbar be fed by what can feed it now; pumps stop when nothing does.

        Parameters
        ----------
        why
            What has changed, in trade words: why the pumps stop.
        """
        plant = self.plant
        before, source = self.source, self._fed_by()
        if source == before:
            return
        left, taken = self.set_named(before), self.set_named(source)
        self.source = source
        self._change += 1
        if self.what is not None:
            plant.recorder.power(plant.t_s, "busbar", source, why)
        if source == DEAD:
            self.live = False
            self._dead_s = plant.t_s
            plant.alarms.busbar_dead()
            plant.power_changed()
            for machine in plant.electric:
                plant.stop(machine, why)
            self._phase_relay(why)
        if left is not None:
            left.unloaded()
        if taken is not None:
            taken.loaded()
        if before == DEAD:
            plant.alarms.busbar_live()
            boot_s = 0.0 if self.generator is None or self.what is None else self.what.boot_s
            if plant.t_s - self._dead_s < SAME_INSTANT_S and self.what is not None:
                boot_s = max(boot_s, 2.0 * SAME_INSTANT_S)  # the panel notices any break
            if boot_s > 0.0:
                plant.at(plant.t_s + boot_s, SUPPLY, "supply.booted", self._change)
            else:
                self._panel_up()
            if plant.engine is not None:
                plant.engine.supply_back(source)
        plant.panel_changed()

    def booted(self, change: int) -> None:
        """The panel decides again, if the busbar has been live since.

        Parameters
        ----------
        change
            The change of the source that it booted after.
        """
        if change == self._change:
            self._panel_up()
            self.plant.note("panel", "panel up", "boot over")
            self.plant.panel_changed()

    def _panel_up(self) -> None:
        self.live = True
        self.plant.power_changed()

"""The water of a plant: the committed time and volume, who draws on it, and what has gone by."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from stationsim.episode import Episode
from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import StationSimError
from stationsim.inflow.segments import Segments
from stationsim.physics.balance import LOST, Advance, advance
from stationsim.physics.bands import Lineup, lay_bands
from stationsim.physics.forcemain import ForceMain, troubled
from stationsim.physics.operating import RunsBack, drain_m3s, operating_point
from stationsim.simulation.machines import Machine
from stationsim.simulation.trouble.conditions import (
    SOUND_MAIN,
    ConditionKey,
    MainCondition,
    PumpCondition,
)
from stationsim.simulation.well.spilling import Spilling
from stationsim.simulation.well.wakes import marks, top_level
from stationsim.station import Station

_NO_SAMPLES = (math.inf,)

LineupKey = tuple[int, ConditionKey, float]
"""A bit for each machine that runs, the condition of all and of the main, and what tankers take."""


class Water:
    """The stored volume, and the lineup that draws on it.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it.
    inflow
        All inflow of the episode.
    machines
        The machines, by index; what they pump and draw is added to their open runs.
    spilling
        Follows the spill that is going on.
    """

    def __init__(
        self,
        station: Station,
        episode: Episode,
        inflow: Segments,
        machines: list[Machine],
        spilling: Spilling,
    ) -> None:
        self.station = station
        self.machines = machines
        self.spilling = spilling
        self.t_s = 0.0
        self.v_m3 = min(station.well.volume_at(episode.start_level_m), spilling.cap_m3)
        self.asked_level_m: float | None = None
        if self.v_m3 < spilling.cap_m3:
            self.asked_level_m = episode.start_level_m
        self.top_m = top_level(station, _greatest(inflow))
        self._marks_m = marks(station)
        self._seg_t: list[float] = inflow.start_s.tolist()
        self._seg_q: list[float] = inflow.flow_m3s.tolist()
        self._seg_b: list[float] = inflow.slope_m3s2.tolist()
        self._segment = 0
        self._lineups: dict[LineupKey, Lineup] = {}
        self._passes: dict[int, tuple[float, float]] = {}
        self._drains: dict[tuple[float, RunsBack, MainCondition], float] = {}
        self._duty_level_m = duty_level(station)
        self.back_m3 = 0.0  # what has run back through pumps that stood
        self.hauled_m3 = 0.0  # what tankers have taken
        self._band_s: list[float] = []
        self._band_vs: list[float] = []
        self.lineup = self._lineup_of((0, ((), SOUND_MAIN), 0.0))
        self.least_m3 = self.greatest_m3 = self.v_m3
        self.least_s = self.greatest_s = 0.0
        self.advances = 0

    @property
    def level_m(self) -> float:
        """Level at the committed moment [m above floor]; a level that was waited for, exactly."""
        if self.asked_level_m is None:
            self.asked_level_m = self.station.well.level_at(self.v_m3)
        return self.asked_level_m

    @property
    def inflow_m3s(self) -> float:
        """What arrives at the committed moment [m3/s]."""
        i, last = self._segment, len(self._seg_t) - 1
        while i < last and self._seg_t[i + 1] <= self.t_s:
            i += 1
        return self._seg_q[i] + self._seg_b[i] * (self.t_s - self._seg_t[i])

    @property
    def pumped_m3s(self) -> float:
        """All that is pumped or hauled at the committed moment, less what runs back [m3/s]."""
        lineup = self.lineup
        j = len(lineup.edge_m3) - 1
        while j > 0 and lineup.edge_m3[j] > self.v_m3:
            j -= 1
        above = self.v_m3 - lineup.edge_m3[j]
        slope = lineup.out_slope[j] - lineup.spill_slope[j]
        return lineup.out_m3s[j] - lineup.spill_m3s[j] + slope * above

    @property
    def direction(self) -> int:
        """Where the volume is bound for at the committed moment: 1 up, -1 down, 0 at rest."""
        i, last = self._segment, len(self._seg_t) - 1
        while i < last and self._seg_t[i + 1] <= self.t_s:
            i += 1
        arriving, slope = self.inflow_m3s, self._seg_b[i]
        lineup, leaving = self.lineup, self.pumped_m3s
        j = len(lineup.edge_m3) - 1
        while j > 0 and lineup.edge_m3[j] > self.v_m3:
            j -= 1
        leaving += lineup.spill_m3s[j] + lineup.spill_slope[j] * (self.v_m3 - lineup.edge_m3[j])
        nought = 4e-16 * (arriving + abs(leaving)) + 4e-16 * self.t_s * abs(slope)
        net = arriving - leaving
        if abs(net) <= nought:
            net = slope
        return (net > 0.0) - (net < 0.0)

    def volume_at(self, t_s: float) -> float:
        """Return the volume at a time between the committed moment and the next event [m3].

        Parameters
        ----------
        t_s
            The time [s].
        """
        if t_s <= self.t_s:
            return self.v_m3
        kept = self._band_s, self._band_vs
        self.clear()
        found = self.advance(t_s, ())
        self._band_s, self._band_vs = kept
        return found.v_m3  # nothing leaves the cap before the next event: that would be one

    def clear(self) -> None:
        """Forget what has gone by but was not absorbed."""
        count = len(self.lineup.edge_m3)
        self._band_s = [0.0] * count
        self._band_vs = [0.0] * count

    def advance(self, until_s: float, wakes_m3: tuple[float, ...]) -> Advance:
        """Look ahead from the committed moment; nothing is committed.

        Parameters
        ----------
        until_s
            How far at most [s].
        wakes_m3
            Volumes that end it [m3].
        """
        self.advances += 1
        lineup = self.lineup
        return advance(
            self.t_s,
            self.v_m3,
            self._segment,
            until_s,
            self._seg_t,
            self._seg_q,
            self._seg_b,
            lineup.edge_m3,
            lineup.out_m3s,
            lineup.out_slope,
            wakes_m3,
            self.spilling.cap_m3,
            self._band_s,
            self._band_vs,
            _NO_SAMPLES,
            [],
            0,
        )

    def absorb(self, found: Advance) -> None:
        """Take over where the balance came to, and share out what has gone by.

        Parameters
        ----------
        found
            What the last :meth:`advance` found.
        """
        if found.reached == LOST:
            raise StationSimError("the balance makes no progress here; please report the scenario")
        lineup = self.lineup
        band_s, band_vs = self._band_s, self._band_vs
        low, high = found.low_band, found.high_band
        for n, index in enumerate(lineup.running):
            flow, flow_slope = lineup.pump_m3s[n], lineup.pump_slope[n]
            power, power_slope = lineup.power_w[n], lineup.power_slope[n]
            volume = energy = 0.0
            for j in range(low, high + 1):
                s, vs = band_s[j], band_vs[j]
                volume += flow[j] * s + flow_slope[j] * vs
                energy += power[j] * s + power_slope[j] * vs
            if found.dry_s > 0.0:
                if found.dry_m3 > 0.0:  # else the pumps may be unable to lift at all
                    volume += found.dry_m3 * flow[0] / lineup.out_m3s[0]
                energy += power[0] * found.dry_s
            machine = self.machines[index]
            machine.run_m3 += volume
            machine.run_j += energy
        if lineup.back_m3s:
            self._came_back(found)
        if lineup.hauled_m3s > 0.0:
            wet_s = sum(band_s[low : high + 1])
            self.hauled_m3 += lineup.hauled_m3(wet_s, found.dry_m3, found.dry_s)
        if self.spilling.since_s is not None:
            self.spilling.absorb(found, lineup, band_s, band_vs)
        for j in range(low, high + 1):
            band_s[j] = 0.0
            band_vs[j] = 0.0
        if found.least_m3 < self.least_m3:
            self.least_m3, self.least_s = found.least_m3, found.least_s
        if found.greatest_m3 > self.greatest_m3:
            self.greatest_m3, self.greatest_s = found.greatest_m3, found.greatest_s
        if found.v_m3 != self.v_m3:
            self.asked_level_m = None
        self.t_s, self.v_m3, self._segment = found.t_s, found.v_m3, found.segment

    def _came_back(self, found: Advance) -> None:
        """Add what ran back while the balance advanced."""
        lineup, band_s, band_vs = self.lineup, self._band_s, self._band_vs
        back, slope = lineup.back_m3s, lineup.back_slope
        volume = 0.0
        for j in range(found.low_band, found.high_band + 1):
            volume += back[j] * band_s[j] + slope[j] * band_vs[j]
        if found.dry_s > 0.0 and lineup.stands_dry:  # a tanker takes it all
            volume += back[0] * found.dry_s
        elif found.dry_s > 0.0 and found.dry_m3 > 0.0:
            # on an empty well all flows shrink alike, to what arrives
            volume += found.dry_m3 * back[0] / lineup.out_m3s[0]
        self.back_m3 += volume

    def line_up(self, key: LineupKey) -> Lineup:
        """Let another lineup draw from now on.

        Parameters
        ----------
        key
            A bit for each machine that runs, the condition of all, and what tankers take.
        """
        self.lineup = self._lineup_of(key)
        return self.lineup

    def moves_m3s(self, key: LineupKey) -> float:
        """Return what the pumps of a lineup would move now, without what runs back [m3/s].

        Parameters
        ----------
        key
            A bit for each machine that runs, the condition of all, and what tankers take.
        """
        lineup = self._lineup_of(key)
        j = len(lineup.edge_m3) - 1
        while j > 0 and lineup.edge_m3[j] > self.v_m3:
            j -= 1
        above = self.v_m3 - lineup.edge_m3[j]
        flows = zip(lineup.pump_m3s, lineup.pump_slope, strict=True)
        return sum(flow[j] + slope[j] * above for flow, slope in flows)

    def drains_m3s(self, pumps: tuple[PumpCondition, ...], main: MainCondition) -> float:
        """Return the flow at which the main would run back from now on [m3/s].

        The level is taken to the nearest centimetre, so that the drains of many cycles share one
        lineup.

        Parameters
        ----------
        pumps
            The condition of each machine; those that let water through stand.
        main
            The condition of the main.
        """
        key = (round(self.level_m, 2), self._way_back(0, pumps), main)
        found = self._drains.get(key)
        if found is None:
            found = drain_m3s(self._main_in(main), key[0], key[1])
            if self.station.force_main is None:
                found *= main.flow_left
            self._drains[key] = found
        return found

    def _lineup_of(self, key: LineupKey) -> Lineup:
        lineup = self._lineups.get(key)
        if lineup is None:
            station = self.station
            mask, (pumps, main), hauled_m3s = key
            if hauled_m3s > 0.0:
                alone = self._lineup_of((mask, key[1], 0.0))
                lineup = self._lineups[key] = alone.hauling(hauled_m3s)
                return lineup
            running = [machine for machine in self.machines if mask >> machine.index & 1]
            totals = station.total_by_number_m3s
            if totals is not None and main.flow_left != 1.0:
                totals = tuple(total * main.flow_left for total in totals)
            back: RunsBack | None = None
            if main.drains_m3s > 0.0:
                back = RunsBack(drains_m3s=main.drains_m3s)
            elif running:
                back = self._way_back(mask, pumps)
            lineup = self._lineups[key] = lay_bands(
                [machine.index for machine in running],
                [as_it_is(m.unit, pumps[m.index], main.flow_left) for m in running],
                self._main_in(main),
                station.well,
                station.spillway,
                self.top_m,
                self._marks_m,
                totals,
                back=back if back is not None and any(back) else None,
            )
        return lineup

    def _main_in(self, condition: MainCondition) -> ForceMain | None:
        """Return the force main in a condition; the very same one when it is sound."""
        main = self.station.force_main
        if main is None:
            return None
        flow_left, air_m, way, _drains = condition
        return troubled(main, flow_left, air_m, way, self._duty_level_m)

    def _way_back(self, mask: int, pumps: tuple[PumpCondition, ...]) -> RunsBack:
        """Return what may run back through the pumps that stand."""
        plain = rooted = 0.0
        for index, condition in enumerate(pumps):
            if condition.runs_back > 0.0 and not mask >> index & 1:
                flow, per_root = self._passes_back(index)
                plain += condition.runs_back * flow
                rooted += condition.runs_back * per_root
        return RunsBack(plain, rooted)

    def _passes_back(self, index: int) -> tuple[float, float]:
        """Return what would run back through a pump if its whole own flow did.

        For a pump with a curve the flow is that of the sound pump alone, with the level at
        ``duty_level``, and the head is that at the header then.
        """
        found = self._passes.get(index)
        if found is None:
            unit, main = self.machines[index].unit, self.station.force_main
            found = (unit.fixed_flow_m3s or 0.0, 0.0)
            if unit.curve is not None:
                alone = operating_point([unit], main, self._duty_level_m)
                if alone.header_m > 0.0:
                    found = (0.0, alone.total_m3s / math.sqrt(alone.header_m))
            self._passes[index] = found
        return found


def as_it_is(unit: PumpUnit, condition: PumpCondition, main_left: float) -> PumpUnit:
    """Return a pump in its condition; the very same one when nothing is wrong.

    Parameters
    ----------
    unit
        The pump as it should be.
    condition
        What troubles leave of it.
    main_left
        What a plug in the main leaves of a plain flow [-].
    """
    left = condition.flow_left
    if left == 0.0 or (main_left == 0.0 and unit.curve is None):
        return replace(unit, curve=None, fixed_flow_m3s=0.0)  # it draws its power at no flow
    if unit.fixed_flow_m3s is not None and main_left != 1.0:
        left *= main_left
    if left != 1.0:
        unit = unit.clogged(left)
    if condition.head_left != 1.0:
        unit = replace(unit, head_factor=unit.head_factor * condition.head_left)
    return unit


def duty_level(station: Station) -> float:
    """Return the level at which a pump's own duty point is taken [m above floor].

    The start level of the lead, or the middle of all levels that matter for a controller that has
    none.

    Parameters
    ----------
    station
        What stands there.
    """
    stages = getattr(station.control.settings, "stages", None)
    if callable(stages):
        for _role, start, _stop in stages():
            return float(start)
    levels = marks(station)
    return 0.5 * (levels[0] + levels[-1]) if levels else 0.0


def _greatest(inflow: Segments) -> float:
    """Return the greatest inflow [m3/s]."""
    ends = inflow.flow_m3s[:-1] + inflow.slope_m3s2[:-1] * np.diff(inflow.start_s)
    return float(max(inflow.flow_m3s.max(), ends.max(initial=0.0)))

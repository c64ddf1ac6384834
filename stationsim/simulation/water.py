"""The water of a plant: the committed time and volume, who draws on it, and what has gone by."""

from __future__ import annotations

import math

import numpy as np

from stationsim.episode import Episode
from stationsim.errors import StationSimError
from stationsim.inflow.segments import Segments
from stationsim.physics.balance import LOST, Advance, advance
from stationsim.physics.bands import Lineup, lay_bands
from stationsim.simulation.conditions import SOUND_MAIN, ConditionKey
from stationsim.simulation.machines import Machine
from stationsim.simulation.spilling import Spilling
from stationsim.simulation.wakes import marks, top_level
from stationsim.station import Station

_NO_SAMPLES = (math.inf,)

LineupKey = tuple[int, ConditionKey]
"""A bit for each machine that runs, and the condition of every machine and of the main."""


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
        self._band_s: list[float] = []
        self._band_vs: list[float] = []
        self.lineup = self._lineup_of((0, ((), SOUND_MAIN)))
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
        """All that is pumped at the committed moment [m3/s]."""
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
        nought = 4e-16 * (arriving + leaving) + 4e-16 * self.t_s * abs(slope)
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

    def line_up(self, key: LineupKey) -> Lineup:
        """Let another lineup draw from now on.

        Parameters
        ----------
        key
            A bit for each machine that runs, and the condition of all.
        """
        self.lineup = self._lineup_of(key)
        return self.lineup

    def _lineup_of(self, key: LineupKey) -> Lineup:
        lineup = self._lineups.get(key)
        if lineup is None:
            station = self.station
            mask, (pumps, _main) = key
            running = [machine for machine in self.machines if mask >> machine.index & 1]
            lineup = self._lineups[key] = lay_bands(
                [machine.index for machine in running],
                [
                    machine.unit.clogged(pumps[machine.index].flow_left)
                    if pumps[machine.index].flow_left != 1.0
                    else machine.unit
                    for machine in running
                ],
                station.force_main,
                station.well,
                station.spillway,
                self.top_m,
                self._marks_m,
                station.total_by_number_m3s,
            )
        return lineup


def _greatest(inflow: Segments) -> float:
    """Return the greatest inflow [m3/s]."""
    ends = inflow.flow_m3s[:-1] + inflow.slope_m3s2[:-1] * np.diff(inflow.start_s)
    return float(max(inflow.flow_m3s.max(), ends.max(initial=0.0)))

"""What the water does from a moment on, when a lineup runs on and nobody decides anything.

That is the question behind every minute before a spill: nothing runs, or this pump runs, and the
inflow goes on. No controller and no events, so the balance alone answers, exactly.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.errors import InputError, StationSimError
from stationsim.inflow.segments import Segments
from stationsim.outline import set_levels
from stationsim.physics.balance import LOST, REACHED_TIME, advance
from stationsim.physics.bands import Lineup, lay_bands
from stationsim.simulation.well.wakes import marks, top_level

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.equipment.pumps import PumpUnit
    from stationsim.station import Station

_NO_SAMPLES = (math.inf,)


class Stream(NamedTuple):
    """Inflow segments as the balance reads them: start [s], flow [m3/s], slope [m3/s2]."""

    start_s: list[float]
    flow_m3s: list[float]
    slope_m3s2: list[float]


def stream_of(inflow: Segments) -> Stream:
    """Return segments in the form that the balance reads.

    Parameters
    ----------
    inflow
        All that arrives.
    """
    return Stream(inflow.start_s.tolist(), inflow.flow_m3s.tolist(), inflow.slope_m3s2.tolist())


class Came(NamedTuple):
    """Where the water came to.

    Parameters
    ----------
    t_s, v_m3
        When [s], and the volume then [m3].
    goal
        Index of the volume that was reached; -1 when time was up first.
    spilled_m3
        What was lost on the way [m3].
    """

    t_s: float
    v_m3: float
    goal: int
    spilled_m3: float


def crest_of(station: Station, name: str) -> float:
    """Return the level at which a station spills [m above floor].

    Parameters
    ----------
    station
        What stands there.
    name
        What it is called in the message.

    Raises
    ------
    InputError
        When none is given.
    """
    if station.spillway is None:
        message = f"{name}: no level of spill is given, so there is no time to it; add [spill]"
        raise InputError(message)
    return station.spillway.crest_m


class Ahead:
    """A station of which only the water moves.

    Parameters
    ----------
    station
        What stands there.
    greatest_m3s
        The most that may arrive [m3/s]: a weir must be able to carry it.

    Attributes
    ----------
    crest_m3, cap_m3
        Volume at the spill, and the one that is never exceeded; infinity for none [m3].
    alarm_m3, stop_m3
        Volume at the high-level alarm and at the stop level; NaN when it is not set [m3].
    """

    def __init__(self, station: Station, greatest_m3s: float) -> None:
        self.station = station
        engine = () if station.engine_pump is None else (station.engine_pump.pump,)
        self.units: tuple[PumpUnit, ...] = (*station.pumps, *engine)
        spillway = station.spillway
        self.crest_m3 = math.inf if spillway is None else station.well.volume_at(spillway.crest_m)
        plain = spillway is not None and spillway.length_m is None
        self.cap_m3 = self.crest_m3 if plain else math.inf
        levels = dict(set_levels(station))
        self.alarm_m3 = self._volume_of(levels.get("high-level alarm"))
        if self.alarm_m3 >= self.crest_m3:
            self.alarm_m3 = math.nan  # it would come with the spill
        self.stop_m3 = self._volume_of(levels.get("stop"))
        self._top_m = top_level(station, greatest_m3s)
        self._marks_m = marks(station)
        self._lineups: dict[tuple[int, ...], Lineup] = {}

    def _volume_of(self, level_m: float | None) -> float:
        """Return the volume at a level that is set; NaN when it is not [m3]."""
        return math.nan if level_m is None else self.station.well.volume_at(level_m)

    def lineup(self, machines: tuple[int, ...] = ()) -> Lineup:
        """Return what a lineup draws over the stored volume.

        Parameters
        ----------
        machines
            Indices of the machines that run: the electric pumps, then the engine-driven one.
        """
        found = self._lineups.get(machines)
        if found is None:
            station = self.station
            found = self._lineups[machines] = lay_bands(
                machines,
                [self.units[index] for index in machines],
                station.force_main,
                station.well,
                station.spillway,
                self._top_m,
                self._marks_m,
                station.total_by_number_m3s,
            )
        return found

    def flow_m3s(self, machines: tuple[int, ...], v_m3: float) -> float:
        """Return what a lineup pumps at a volume [m3/s].

        Parameters
        ----------
        machines
            The machines that run.
        v_m3
            Stored volume [m3].
        """
        lineup = self.lineup(machines)
        j = int(np.searchsorted(lineup.edge_m3, v_m3, side="right")) - 1
        above = v_m3 - lineup.edge_m3[j]
        out = lineup.out_m3s[j] - lineup.spill_m3s[j]
        return out + (lineup.out_slope[j] - lineup.spill_slope[j]) * above

    def go(
        self,
        stream: Stream,
        from_s: float,
        v_m3: float,
        until_s: float,
        machines: tuple[int, ...] = (),
        goals_m3: Sequence[float] = (),
    ) -> Came:
        """Go on until a time, or until one of some volumes is reached.

        Parameters
        ----------
        stream
            All that arrives.
        from_s, v_m3
            When it begins [s], and the volume then [m3].
        until_s
            No further than this [s].
        machines
            The machines that run.
        goals_m3
            Volumes that end it, rising [m3]; one that equals the volume at the start does not
            count until the volume has left it.

        Raises
        ------
        StationSimError
            When the balance makes no progress.
        """
        lineup = self.lineup(machines)
        band_s, band_vs = [0.0] * len(lineup.edge_m3), [0.0] * len(lineup.edge_m3)
        t, v, segment, over = from_s, min(v_m3, self.cap_m3), 0, 0.0
        while True:
            found = advance(
                t,
                v,
                segment,
                until_s,
                *stream,
                lineup.edge_m3,
                lineup.out_m3s,
                lineup.out_slope,
                tuple(goals_m3),
                self.cap_m3,
                band_s,
                band_vs,
                _NO_SAMPLES,
                [],
                0,
            )
            if found.reached == LOST:
                raise StationSimError("the balance makes no progress here; please report it")
            t, v, segment, over = found.t_s, found.v_m3, found.segment, over + found.over_m3
            if found.reached >= REACHED_TIME:
                break
        weir = sum(
            flow * s + slope * vs
            for flow, slope, s, vs in zip(
                lineup.spill_m3s, lineup.spill_slope, band_s, band_vs, strict=True
            )
        )
        return Came(t, v, found.reached, over + weir)

    def seconds_to(
        self,
        stream: Stream,
        from_s: float,
        v_m3: float,
        goal_m3: float,
        within_s: float,
        machines: tuple[int, ...] = (),
    ) -> float:
        """Return how long it takes to reach a volume, from either side [s]; infinity for never.

        Parameters
        ----------
        stream
            All that arrives.
        from_s, v_m3
            When it begins [s], and the volume then [m3].
        goal_m3
            The volume [m3]; one that is already reached takes no time.
        within_s
            What takes longer than this counts as never [s].
        machines
            The machines that run.
        """
        if v_m3 == goal_m3:
            return 0.0
        came = self.go(stream, from_s, v_m3, from_s + within_s, machines, (goal_m3,))
        return came.t_s - from_s if came.goal == 0 else math.inf

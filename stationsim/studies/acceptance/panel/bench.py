"""Where scripts are tried out: what a station does with clean water, by its own controller.

Levels, times and orders are those of the simulation, so a sequence says what this station should
do, not what stations usually do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from stationsim.simulation.session import Session, simulate
from stationsim.studies.acceptance.cautions import AT_THE_VALVE
from stationsim.studies.acceptance.panel.script import sequence_of
from stationsim.studies.acceptance.panel.turns import most_running
from stationsim.studies.ahead import Ahead
from stationsim.studies.check.criterion import stages_of

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.station import Station
    from stationsim.studies.acceptance.panel.script import PanelTest, Script
    from stationsim.trace import EventRow

    Until = Callable[[Sequence[EventRow], tuple[str, ...]], bool]

MOST_S = 12.0 * 3600.0
"""A sequence that takes longer than a day's work is left out [s]."""

BEFORE_S = 20.0
"""How long the water runs in before the first thing happens [s]."""

_STILL_FALLS = 0.8
_MARGIN_M = 0.05
_MORE_M = (0.15, 0.40)
_LAST_S = 5.0
_ROUNDING_S = 1e-4


def full_s(time_s: float) -> float:
    """Return a time up to the full second, as a crew keeps it [s].

    Parameters
    ----------
    time_s
        The time [s].
    """
    return float(math.ceil(time_s - _ROUNDING_S))


class AllStopped:
    """Says when all machines have stopped after a run, for the so-manieth time.

    Parameters
    ----------
    times
        How many times [-].
    since_s
        Stops before this do not count [s].
    """

    def __init__(self, times: int = 1, since_s: float = 0.0) -> None:
        self._left = times
        self._since_s = since_s
        self._ran = False

    def __call__(self, rows: Sequence[EventRow], running: tuple[str, ...]) -> bool:
        """Return whether that is so now."""
        if running:
            self._ran = rows[-1].t_s >= self._since_s or self._ran
        elif self._ran or (rows[-1].event == "stop" and rows[-1].t_s >= self._since_s):
            self._ran = False
            self._left -= 1
        return self._left <= 0


class Bench:
    """A station, and what is needed to write scripts for it.

    Parameters
    ----------
    station
        What stands there.
    start
        When the day begins.
    """

    def __init__(self, station: Station, start: datetime) -> None:
        self.station = station
        self.start = start
        self.plan = station.ratings.acceptance
        self.names = tuple(pump.name for pump in station.pumps)
        self.lead = self.names[0]
        stages = stages_of(station)
        self.starts_m = tuple(sorted(start for _role, start, _stop in stages))
        self.stop_m = min((stop for _role, _start, stop in stages), default=math.nan)
        settings = station.control.settings
        self.start_delay_s = float(getattr(settings, "start_delay_s", 0.0))
        self.stagger_s = float(getattr(settings, "stagger_s", 0.0))
        spillway = station.spillway
        self.crest_m = math.inf if spillway is None else spillway.crest_m
        # no sequence spills, so a weir needs no rating here; bands of flows end at its crest
        # in none of them does the generator feed, and nothing is exercised meanwhile
        self._played = station
        if station.standby_power is not None or station.exercise is not None:
            self._played = replace(station, standby_power=None, exercise=None)
        if spillway is not None and spillway.length_m is not None:
            self._played = replace(self._played, spillway=replace(spillway, length_m=None))
        self._ahead = Ahead(self._played, 0.0)
        self.least_m3s = self.water_m3s = math.nan
        if stages:
            least = [
                min(self.flow_m3s((n,), level) for level in (self.lead_m, self.stop_m))
                for n in range(len(station.pumps))
            ]
            self.least_m3s = min(least)
            half = 0.5 * min(self.flow_m3s((n,), self.lead_m) for n in range(len(station.pumps)))
            given, most = self.plan.water_m3s, _STILL_FALLS * self.least_m3s
            fits = given is not None and 0.0 < given <= most
            self.water_m3s = given if given is not None and fits else min(half, most)

    @property
    def lead_m(self) -> float:
        """Start level of the lead [m above floor]."""
        return self.starts_m[0]

    @property
    def top_m(self) -> float:
        """Highest start level [m above floor]."""
        return self.starts_m[-1]

    def volume_m3(self, level_m: float) -> float:
        """Return the volume at a level [m3].

        Parameters
        ----------
        level_m
            The level [m above floor].
        """
        return self.station.well.volume_at(level_m)

    def flow_m3s(self, machines: tuple[int, ...], level_m: float) -> float:
        """Return what machines pump together at a level [m3/s].

        Parameters
        ----------
        machines
            Indices of the machines that run.
        level_m
            The level [m above floor].
        """
        return self._ahead.flow_m3s(machines, self.volume_m3(level_m))

    def cannot(self) -> str:
        """Return why no sequence can be played here at all; empty when they can."""
        if self.plan.water_goes == "back to the well":
            return "the pumped water goes back to the well, so that its level does not fall"
        if not self.starts_m:
            name = self.station.control.controller
            return f"the controller '{name}' does not say at which levels pumps start and stop"
        if not self.least_m3s > 0.0:
            return "a pump moves no water at these levels: look at its curve"
        return ""

    def water_told(self, *, held: bool = False) -> tuple[str, ...]:
        """Return what the crew does with the water: let it run, throttled where need be.

        Parameters
        ----------
        held
            Whether no pump may start meanwhile, so that somebody has to be at its valve.
        """
        given, told = self.plan.water_m3s, "Let the water run in at the stated rate"
        if held:
            told += f", {AT_THE_VALVE}"
        if given is not None and given > self.water_m3s:
            told += ": throttle it, it can bring more"
        return (f"{told}.",)

    def before(
        self, level_m: float, before_s: float = BEFORE_S, least_m: float = -math.inf
    ) -> float:
        """Return a level from which water rises to another in so many seconds [m above floor].

        It is a full centimetre where that will do, so that it can be set by tape, and not below the
        stop level.

        Parameters
        ----------
        level_m
            The level that is to be reached [m above floor].
        before_s
            After how long, about [s].
        least_m
            What the water must have reached by then in any case [m above floor].
        """
        rise_m3, well = self.water_m3s * before_s, self.station.well
        floor = min(self.stop_m, level_m)
        found = well.level_at(max(self.volume_m3(level_m) - rise_m3, self.volume_m3(floor)))
        whole = math.floor(100.0 * found + 1e-6) / 100.0
        reached = well.level_at(self.volume_m3(max(whole, 0.0)) + rise_m3)
        return whole if whole > floor and reached >= least_m else found

    def above_starts(self) -> tuple[float, ...]:
        """Return levels above all start levels [m above floor], lowest first; none without room.

        They lie below the spill, and below the high-level alarm where that lies above the starts.
        """
        room = self.crest_m - self.top_m
        if room <= 0.0:
            return ()
        high = self.station.alarms.high_level_m
        if high is not None and high > self.top_m:
            room = min(room, high - self.top_m)
        margins = (min(_MARGIN_M, 0.5 * room), *(min(each, 0.8 * room) for each in _MORE_M))
        return tuple(self.top_m + margin for margin in sorted(set(margins)))

    def all_start(self, scripts: Iterable[Script], ends: Callable[[], Until]) -> PanelTest | str:
        """Play scripts until in one of them every pump runs that the start levels call for.

        Parameters
        ----------
        scripts
            What is played, each from a higher level than the one before it.
        ends
            Makes what says that a script is over, as in :meth:`reaches_s`.

        Returns
        -------
        PanelTest or str
            The sequence; or why there is none, by the first of the scripts.
        """
        most, reasons = min(len(self.starts_m), len(self.names)), []
        for script in scripts:
            made = self.play_until(script, ends())
            if isinstance(made, str):
                reasons.append(made)
                break
            if most_running(made.result.trace.events, self.names) >= most:
                return made
            reasons.append(
                "the pumps that start first draw the level down, or fail, before the last of those"
                " that the start levels call for would run"
            )
        return reasons[0] if reasons else "the highest start level does not lie below the spill"

    def rise_s(self, from_m: float, to_m: float) -> float:
        """Return how long the water takes to rise with no pump running [s].

        Parameters
        ----------
        from_m, to_m
            From which level to which [m above floor].
        """
        return (self.volume_m3(to_m) - self.volume_m3(from_m)) / self.water_m3s

    def lead_run_s(self) -> float:
        """Return how long the lead runs from its start level down to the stop level, about [s]."""
        volume = self.volume_m3(self.lead_m) - self.volume_m3(self.stop_m)
        return volume / (self.flow_m3s((0,), self.lead_m) - self.water_m3s)

    # ------------------------------------------------------------------ playing

    def reaches_s(self, script: Script, until: Until) -> float | None:
        """Return when something is so for the first time [s]; None when not within a day's work.

        Parameters
        ----------
        script
            What is played.
        until
            Asked after each thing that happens, with all that has happened and with what runs.
        """
        session = Session(self._played, script.episode(self.start, MOST_S))
        rows: list[EventRow] = []
        while not session.done:
            rows += session.advance()
            if rows and until(rows, session.running):
                return session.now_s
        return None

    def play_until(self, script: Script, until: Until) -> PanelTest | str:
        """Play a script until something is so; return why it cannot be played otherwise.

        Parameters
        ----------
        script
            What is played.
        until
            As in :meth:`reaches_s`.
        """
        ends_s = self.reaches_s(script, until)
        if ends_s is None:
            return f"it would take longer than {MOST_S / 3600.0:.0f} h with this water"
        return self.play(script, ends_s + _LAST_S)

    def play(self, script: Script, duration_s: float) -> PanelTest | str:
        """Play a script, and return the sequence; or why it is left out.

        Parameters
        ----------
        script
            What is played.
        duration_s
            How long [s].
        """
        result = simulate(self._played, script.episode(self.start, duration_s))
        for row in result.trace.events:
            if row.event == "spill begins":
                return "the water would reach the spill on the way"
            if row.event == "well empty":
                return "the well would be pumped down to the floor on the way"
        plan = self.plan
        return sequence_of(script, result, plan.time_tolerance_s, plan.time_part)

"""Trace: what a run leaves behind, before anything is made of it.

Plain rows in SI, in the order in which they happened, and the legs of the volume: at each leg a
time, a volume and a lineup, from which the balance gives every value in between, exactly, whenever
somebody asks. Tables, metrics and plots are all made from a trace.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.physics.balance import advance

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.inflow.segments import Segments
    from stationsim.physics.bands import Lineup


class PumpRun(NamedTuple):
    """One run of one machine.

    Parameters
    ----------
    machine
        Index of the machine: the electric pumps, the engine-driven pump, the bypass pump.
    role
        A role of the vocabulary: ``lead``, ``lag`` ... ``standby``, ``hand``, ``engine-driven``,
        ``bypass``.
    start_s, stop_s
        When [s since the start of the episode].
    volume_m3
        What it pumped [m3].
    energy_j
        What it drew [J]; 0 for a pump with an engine.
    started_by, stopped_by
        Why, in trade words.
    """

    machine: int
    role: str
    start_s: float
    stop_s: float
    volume_m3: float
    energy_j: float
    started_by: str
    stopped_by: str


class EventRow(NamedTuple):
    """Anything that happened.

    Parameters
    ----------
    t_s
        When [s].
    subject
        A machine, ``grid``, ``station`` or ``panel``.
    event
        A word of the vocabulary.
    cause
        Why, in trade words.
    detail
        Numbers that belong to it, as text; may be empty.
    level_m
        Level in the well at that moment [m above floor].
    """

    t_s: float
    subject: str
    event: str
    cause: str
    detail: str
    level_m: float


class AlarmRow(NamedTuple):
    """One alarm. ``reached_s``: when it reached a person [s]; NaN while nobody is called out.

    Parameters
    ----------
    alarm, subject
        Which alarm, and of what.
    raised_s, reached_s, cleared_s
        When [s]; ``cleared_s`` is NaN while it stands.
    sent_s
        When it left the station [s]; NaN when it never did.
    """

    alarm: str
    subject: str
    raised_s: float
    reached_s: float
    cleared_s: float
    sent_s: float = math.nan


class SpillRow(NamedTuple):
    """One spill.

    Parameters
    ----------
    start_s, stop_s
        When [s]; a spill that is open at the end stops at the end.
    volume_m3, peak_m3s
        How much [m3], and its greatest flow [m3/s].
    method
        What gave the volume.
    """

    start_s: float
    stop_s: float
    volume_m3: float
    peak_m3s: float
    method: str


class PowerRow(NamedTuple):
    """A state of a source of power.

    Parameters
    ----------
    source
        ``grid``, the name of the engine-driven or of the bypass pump, ``generator``, ``mobile
        generator`` or ``busbar``.
    state
        ``on`` or ``out`` for the grid; ``stopped``, ``starting``, ``running``, ``failed``
        or ``out of fuel`` for an engine, and ``cooling down`` or ``tripped`` for a generator,
        ``not connected`` for a bypass pump; what feeds it, or ``dead``, for the busbar.
    start_s, stop_s
        When [s].
    cause
        Why, in trade words.
    """

    source: str
    state: str
    start_s: float
    stop_s: float
    cause: str


class CrewRow(NamedTuple):
    """What one person, or one tool that comes by itself, did over a span of time.

    Parameters
    ----------
    task
        A word of the vocabulary: ``called``, ``gets ready``, ``fetches``, ``travels``, ``looks
        around``, a task, ``looks on``.
    subject
        What it was done to: an alarm, a tool, a machine, ``station``.
    planned_s
        How long it was to take: the typical value [s]; NaN where the plan does not say.
    start_s, stop_s
        When [s].
    outcome
        What came of it, in trade words.
    person
        Who; empty for what comes by itself.
    tool
        With what; empty for nothing.
    waited_s
        How long the work waited for a person or a tool before it began [s].
    """

    task: str
    subject: str
    planned_s: float
    start_s: float
    stop_s: float
    outcome: str
    person: str = ""
    tool: str = ""
    waited_s: float = 0.0


class Unavailable(NamedTuple):
    """A span in which a machine could not be run by the controller (trip, out of service, off).

    Parameters
    ----------
    machine
        Index of the machine.
    start_s, stop_s
        When [s].
    cause
        Why, in trade words.
    """

    machine: int
    start_s: float
    stop_s: float
    cause: str


@dataclass
class Trace:
    """Everything that a run leaves behind.

    Parameters
    ----------
    inflow
        The inflow of the whole episode (and of the day after).
    end_s
        Where the run ended [s].
    lineups
        Every lineup that ran, with its flows over volume.
    leg_t_s, leg_v_m3, leg_lineup
        Legs: from this time [s], with this volume [m3], this lineup (index into ``lineups``) ran.
    runs, events, alarms, spills, power, crew, unavailable
        Rows, in the order in which they were closed.
    signal
        What the level sensor told from when on [s]: ``right``, ``off`` by so much [m], ``frozen``
        or ``held`` (until the next reading) at a level [m], ``lost``.
    arriving
        From when on [s] which part of what goes into the main arrives at its far end [-]; all of it
        until then.
    trips
        Trips of each machine (high temperature, failure, seal leak that stops).
    inflow_m3, pumped_m3, spilled_m3, other_m3, start_m3, end_m3
        Totals of the water balance [m3]; ``other_m3`` is what left by any other way.
    run_back_m3, hauled_m3
        What ran back through pumps that stood, and what tankers took [m3]; ``other_m3`` is the
        second less the first.
    least_level_m, greatest_level_m, least_level_s, greatest_level_s
        Extremes of the level [m], and when [s].
    fuel_m3
        Fuel that each generator set burnt [m3], by its name.
    filled_m3
        Fuel that was filled into a tank in the run [m3], by the name of what burns it.
    decisions, advances
        How often the controller and the balance were asked.
    """

    inflow: Segments
    end_s: float = 0.0
    lineups: list[Lineup] = field(default_factory=list)
    leg_t_s: list[float] = field(default_factory=list)
    leg_v_m3: list[float] = field(default_factory=list)
    leg_lineup: list[int] = field(default_factory=list)
    runs: list[PumpRun] = field(default_factory=list)
    events: list[EventRow] = field(default_factory=list)
    alarms: list[AlarmRow] = field(default_factory=list)
    spills: list[SpillRow] = field(default_factory=list)
    power: list[PowerRow] = field(default_factory=list)
    crew: list[CrewRow] = field(default_factory=list)
    unavailable: list[Unavailable] = field(default_factory=list)
    signal: list[tuple[float, str, float]] = field(default_factory=list)
    arriving: list[tuple[float, float]] = field(default_factory=list)
    trips: list[int] = field(default_factory=list)
    inflow_m3: float = 0.0
    pumped_m3: float = 0.0
    spilled_m3: float = 0.0
    other_m3: float = 0.0
    run_back_m3: float = 0.0
    hauled_m3: float = 0.0
    start_m3: float = 0.0
    end_m3: float = 0.0
    least_level_m: float = 0.0
    greatest_level_m: float = 0.0
    least_level_s: float = 0.0
    greatest_level_s: float = 0.0
    fuel_m3: dict[str, float] = field(default_factory=dict)
    filled_m3: dict[str, float] = field(default_factory=dict)
    decisions: int = 0
    advances: int = 0

    @property
    def handled_m3(self) -> float:
        """All that arrived, was pumped, spilled or was hauled [m3]."""
        return self.inflow_m3 + self.pumped_m3 + self.spilled_m3 + self.hauled_m3

    @property
    def balance_error(self) -> float:
        """What the water balance leaves open, over the volume handled [-]."""
        handled = max(self.handled_m3, 1e-12)
        left = self.inflow_m3 - self.pumped_m3 - self.spilled_m3 - self.other_m3
        return abs(left - (self.end_m3 - self.start_m3)) / handled


def sent_while_spilling(trace: Trace, alarm: str, start_s: float, stop_s: float) -> list[float]:
    """Return when an alarm went out that stood in a spill, and went out before it was over [s].

    What goes out at the very moment at which the spill ends tells of none.

    Parameters
    ----------
    trace
        What the run left behind.
    alarm
        Which alarm.
    start_s, stop_s
        The spill [s].
    """
    return [
        row.sent_s
        for row in trace.alarms
        if row.alarm == alarm and row.sent_s < stop_s and not row.cleared_s < start_s
    ]


def seen_levels(
    trace: Trace, times_s: NDArray[np.float64], levels_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the level that the panel saw [m above floor]; NaN where there was no signal.

    Parameters
    ----------
    trace
        What the run left behind.
    times_s
        Times [s].
    levels_m
        The true level at each of them [m above floor].
    """
    if not trace.signal:
        return levels_m.copy()
    begins = np.array([row[0] for row in trace.signal])
    which = np.searchsorted(begins, times_s, side="right") - 1
    mode = np.array([row[1] for row in trace.signal])[which]
    value = np.array([row[2] for row in trace.signal])[which]
    shifted = np.where(mode == "off", np.maximum(levels_m + value, 0.0), value)
    return np.where(mode == "right", levels_m, shifted)


class Sampled(NamedTuple):
    """State of the water at many times, from the solution itself.

    Parameters
    ----------
    volume_m3
        Stored volume [m3].
    inflow_m3s, pumped_m3s, spill_m3s
        What arrives, what all machines pump, and what spills [m3/s].
    pumps_running
        How many machines run [-].
    other_m3s
        What leaves by any other way; less than nought is water that runs back through pumps that
        stand [m3/s].
    hauled_m3s
        What tankers take of it [m3/s].
    """

    volume_m3: NDArray[np.float64]
    inflow_m3s: NDArray[np.float64]
    pumped_m3s: NDArray[np.float64]
    spill_m3s: NDArray[np.float64]
    pumps_running: NDArray[np.int64]
    other_m3s: NDArray[np.float64]
    hauled_m3s: NDArray[np.float64]


_ROUNDING = 1e-15

SAME_VOLUME = 1e-9
"""Volumes that differ by no more than this part are one; the balance of a run closes to it [-]."""


def sample(trace: Trace, cap_m3: float, times_s: NDArray[np.float64]) -> Sampled:
    """Return the state at many times; at an event, the state after it.

    Parameters
    ----------
    trace
        What the run left behind.
    cap_m3
        Volume that is never exceeded (the crest, with plain loss) [m3]; infinity for none.
    times_s
        Times from 0 to the end of the run, never falling [s].
    """
    inflow = trace.inflow
    seg_t, seg_q, seg_b = (x.tolist() for x in (inflow.start_s, inflow.flow_m3s, inflow.slope_m3s2))
    leg_t = np.asarray(trace.leg_t_s)
    which_leg = np.clip(np.searchsorted(leg_t, times_s, side="right") - 1, 0, None)
    straight = _straight_legs(trace)
    drawn = _drawn_steadily(trace)[np.asarray(trace.leg_lineup)]
    volume = _volumes_between(trace, which_leg, times_s, drawn).tolist()
    wanted = [*times_s.tolist(), math.inf]
    segments = np.clip(np.searchsorted(inflow.start_s, leg_t, side="right") - 1, 0, None)
    first = np.searchsorted(which_leg, np.arange(len(leg_t)), side="left").tolist()
    first.append(len(times_s))
    for leg, (begin, end) in enumerate(pairwise(first)):
        if begin == end or straight[leg]:
            continue
        lineup = trace.lineups[trace.leg_lineup[leg]]
        count = len(lineup.edge_m3)
        until = wanted[end - 1]
        t, v, segment, n = trace.leg_t_s[leg], trace.leg_v_m3[leg], int(segments[leg]), begin
        while True:  # it stops where the volume leaves the cap; then it goes on from there
            found = advance(
                t,
                v,
                segment,
                until,
                seg_t,
                seg_q,
                seg_b,
                lineup.edge_m3,
                lineup.out_m3s,
                lineup.out_slope,
                (),
                cap_m3,
                [0.0] * count,
                [0.0] * count,
                wanted,
                volume,
                n,
            )
            t, v, segment, n = found.t_s, found.v_m3, found.segment, found.sampled
            if t >= until:
                break
        volume[n:end] = [v] * (end - n)
    lineup_of = np.asarray(trace.leg_lineup)[which_leg]
    return _flows_at(trace, cap_m3, times_s, np.asarray(volume), lineup_of)


def _drawn_steadily(trace: Trace) -> NDArray[np.float64]:
    """Return what each lineup draws [m3/s] when that does not hang on the volume; else NaN."""
    found = []
    for lineup in trace.lineups:
        out, most = lineup.out_m3s[0], max(map(abs, lineup.out_m3s))
        # the bands of plain flows are straight but for the last digit of a float
        steady = max(map(abs, lineup.out_slope)) <= _ROUNDING * most and all(
            abs(other - out) <= _ROUNDING * most for other in lineup.out_m3s
        )
        found.append(out if steady else math.nan)
    return np.array(found)


def _volumes_between(
    trace: Trace, leg: NDArray[np.int64], times_s: NDArray[np.float64], drawn: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the volume in legs that draw steadily, were there neither cap nor floor [m3].

    Parameters
    ----------
    trace
        What the run left behind.
    leg, times_s
        Legs, and a time in each [s].
    drawn
        What each leg draws [m3/s].
    """
    begin = np.asarray(trace.leg_t_s)[leg]
    arrived = trace.inflow.arrived_m3(times_s) - trace.inflow.arrived_m3(begin)
    found: NDArray[np.float64] = (
        np.asarray(trace.leg_v_m3)[leg] + arrived - drawn[leg] * (times_s - begin)
    )
    return found


def _straight_legs(trace: Trace) -> list[bool]:
    """Return which legs drew steadily from start to end, with the water at no cap and no floor.

    The next leg begins with the volume that is then to be expected; had the water stood at the cap
    or at the floor for a while, it would not.
    """
    count = len(trace.leg_t_s)
    if count < 2:
        return [False] * count
    drawn = _drawn_steadily(trace)[np.asarray(trace.leg_lineup)]
    legs, volumes = np.arange(count - 1), np.asarray(trace.leg_v_m3)
    ends = _volumes_between(trace, legs, np.asarray(trace.leg_t_s)[1:], drawn)
    good = np.abs(ends - volumes[1:]) <= SAME_VOLUME * np.maximum(volumes[1:], 1.0)
    return [*good.tolist(), False]


def _flows_at(
    trace: Trace,
    cap_m3: float,
    times_s: NDArray[np.float64],
    volume: NDArray[np.float64],
    lineup_of: NDArray[np.int64],
) -> Sampled:
    # the last row is the end of this episode, not the beginning of what is taken to follow it
    arriving = trace.inflow.at(np.minimum(times_s, np.nextafter(trace.end_s, 0.0)))
    pumped = np.zeros_like(volume)
    spill = np.zeros_like(volume)
    other = np.zeros_like(volume)
    hauled = np.zeros_like(volume)
    running = np.zeros(len(volume), dtype=np.int64)
    for index, lineup in enumerate(trace.lineups):
        here = lineup_of == index
        at = volume[here]
        edge = np.asarray(lineup.edge_m3)
        band = np.clip(np.searchsorted(edge, at, side="right") - 1, 0, None)
        above = at - edge[band]
        out = np.asarray(lineup.out_m3s)[band] + np.asarray(lineup.out_slope)[band] * above
        over = np.asarray(lineup.spill_m3s)[band] + np.asarray(lineup.spill_slope)[band] * above
        drawn = out - over
        drawn = np.where(at <= 0.0, np.minimum(drawn, arriving[here]), drawn)
        if math.isfinite(cap_m3):
            over = np.where(at >= cap_m3, np.maximum(arriving[here] - drawn, 0.0), over)
        leaving = drawn
        if lineup.back_m3s:
            back = np.asarray(lineup.back_m3s)[band] + np.asarray(lineup.back_slope)[band] * above
            if not lineup.stands_dry:
                back = _shrunk(back, at, leaving, out - over)
            other[here] = -back
            drawn = drawn + back
        if lineup.hauled_m3s > 0.0:
            taken = np.full_like(drawn, lineup.hauled_m3s)
            if lineup.stands_dry:  # no pump draws: it takes all that there is
                taken = np.where(at <= 0.0, drawn, taken)
            else:
                taken = _shrunk(taken, at, leaving, out - over)
            hauled[here] = taken
            other[here] += taken
            drawn = drawn - taken
        pumped[here], spill[here] = drawn, over
        running[here] = len(lineup.running)
    return Sampled(volume, arriving, pumped, spill, running, other, hauled)


def _shrunk(
    flow_m3s: NDArray[np.float64],
    volume_m3: NDArray[np.float64],
    drawn_m3s: NDArray[np.float64],
    wanted_m3s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return a flow where, on an empty well, all flows shrink alike to what arrives [m3/s]."""
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(wanted_m3s != 0.0, drawn_m3s / wanted_m3s, 1.0)
        found: NDArray[np.float64] = np.where(volume_m3 <= 0.0, flow_m3s * part, flow_m3s)
    return found

"""Runs made by hand for the tests of tables, metrics, sentences and plots.

A plain march over pieces of straight inflow with pumps of constant flow in a well of one plan
area, so that these tests lean on no part of the simulation. Not a model of anything else. What it
cannot do (hands on selectors, trips) is run by the simulation: :func:`real`.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

import numpy as np

from stationsim.control.contract import ControlPlan
from stationsim.control.staging import StagingSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.segments import Segments
from stationsim.physics.bands import Lineup
from stationsim.physics.pumps import PowerDraw
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, box
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.station import AlarmSettings, Station
from stationsim.trace import (
    AlarmRow,
    EventRow,
    PowerRow,
    PumpRun,
    SpillRow,
    Trace,
    Unavailable,
)

AREA_M2 = 8.0
START = datetime(2027, 3, 3, 0, 0, tzinfo=timezone(timedelta(hours=1)))
"""A Wednesday."""


def lineup(flows_m3s: dict[int, float]) -> Lineup:
    """Return machines of constant flow that run together."""
    q = tuple(flows_m3s.values())
    nought = tuple((0.0,) for _ in q)
    return Lineup(
        running=tuple(flows_m3s),
        edge_m3=(0.0,),
        out_m3s=(sum(q),),
        out_slope=(0.0,),
        pump_m3s=tuple((x,) for x in q),
        pump_slope=nought,
        power_w=nought,
        power_slope=nought,
        spill_m3s=(0.0,),
        spill_slope=(0.0,),
    )


def straight(times_s, flows_m3s) -> Segments:
    """Return straight inflow between points."""
    t, q = np.asarray(times_s, float), np.asarray(flows_m3s, float)
    slope = np.append(np.diff(q) / np.diff(t), 0.0)
    return Segments(t, q, slope)


def constant(flow_m3s: float) -> Segments:
    """Return a constant inflow."""
    return Segments(np.array([0.0]), np.array([flow_m3s]), np.array([0.0]))


def daily(days: float, mean_m3s: float, storm_at_s: float = math.inf) -> Segments:
    """Return an inflow with a morning and an evening peak, each 5 minutes, and a storm."""
    t = np.arange(0.0, (days + 2.0) * 86400.0, 300.0)
    h = t / 3600.0 % 24.0
    q = 1.0 + 0.55 * np.exp(-(((h - 8.0) / 2.0) ** 2)) + 0.45 * np.exp(-(((h - 19.5) / 2.5) ** 2))
    q -= 0.55 * np.exp(-(((h - 3.5) / 2.5) ** 2))
    s = (t - storm_at_s) / 3600.0
    q += np.where(s > 0.0, 2.2 * np.clip(s, 0.0, None) * np.exp(-np.clip(s, 0.0, None) / 1.5), 0.0)
    return straight(t, mean_m3s * q)


def station(
    pumps: int = 3,
    flow_m3s: float = 0.030,
    *,
    engine: bool = False,
    spill_m: float | None = 2.9,
    high_alarm_m: float | None = 2.3,
    name: str = "Alder Lane",
) -> Station:
    """Return a small station; start levels 1.5, 1.8, 2.1 m, stop level 0.7 m."""
    names = [f"P{i + 1}" for i in range(pumps)]
    levels = StagingSettings(
        lead_start_m=1.5,
        lag_start_m=1.8 if pumps > 1 else None,
        standby_start_m=2.1 if pumps > 2 else None,
        stop_m=0.7,
    )
    own_engine = PumpUnit("E1", fixed_flow_m3s=0.035)
    return Station(
        name=name,
        well=Well((box(4.0, 2.0),)),
        pumps=tuple(
            PumpUnit(n, fixed_flow_m3s=flow_m3s, power=PowerDraw(input_w=18_000.0)) for n in names
        ),
        control=ControlPlan("staging", levels, "each cycle", None),
        engine_pump=EnginePump(own_engine, 1.9, 0.9, fuel_m3_per_s=6e-3 / 3600.0)
        if engine
        else None,
        spillway=None if spill_m is None else Spillway(spill_m),
        alarms=AlarmSettings(high_level_m=high_alarm_m),
    )


def episode(duration_s: float, *, interval_s: float = 300.0, start: datetime = START) -> Episode:
    """Return an episode; its inflow sources are not used here."""
    return Episode(
        start=start,
        duration_s=duration_s,
        inflow=(),
        start_level_m=0.8,
        table_interval_s=interval_s,
        name="by-hand",
    )


@dataclass(frozen=True)
class Given:
    """An inflow as it is given."""

    pieces: Segments

    def segments(self, start: datetime, duration_s: float) -> Segments:
        return self.pieces


def real(
    station: Station,
    inflow: Segments,
    end_s: float,
    events: tuple[ScriptedEvent, ...] = (),
    *,
    start_level_m: float = 0.8,
    interval_s: float = 300.0,
) -> Result:
    """Return a run of the simulation itself, for what the march cannot do."""
    what = dataclasses.replace(
        episode(end_s, interval_s=interval_s),
        inflow=(Given(inflow),),
        start_level_m=start_level_m,
        events=events,
    )
    return simulate(station, what)


@dataclass
class March:
    """One run, from event to event."""

    station: Station
    inflow: Segments
    end_s: float
    outages: tuple[tuple[float, float], ...] = ()
    out: tuple[tuple[int, float, float], ...] = ()

    def result(self, **kwargs) -> Result:
        """Return the run as a result."""
        trace = self.trace()
        return Result(self.station, episode(self.end_s, **kwargs), trace, wall_s=0.25)

    def trace(self) -> Trace:
        """Return the trace."""
        station, plan = self.station, self.station.control.settings
        count = len(station.pumps)
        starts = [plan.lead_start_m, plan.lag_start_m, plan.standby_start_m][:count]
        roles = ["lead", "lag", "standby"]
        flow = station.pumps[0].fixed_flow_m3s
        crest = math.inf if station.spillway is None else station.spillway.crest_m * AREA_M2
        alarm = math.inf if station.alarms.high_level_m is None else station.alarms.high_level_m
        trace = Trace(inflow=self.inflow, end_s=self.end_s, trips=[0] * (count + 1))
        t, v = 0.0, 0.8 * AREA_M2
        trace.start_m3 = v
        order = list(range(count))
        running: dict[int, tuple[float, str, str]] = {}
        lineups: dict[tuple[int, ...], int] = {}
        grid, alarm_since, spill_since, spilled = True, None, None, 0.0
        switches = sorted(
            {x for span in self.outages for x in span} | {x for o in self.out for x in o[1:]}
        )
        totals = [0.0, 0.0]
        trace.least_level_m, trace.greatest_level_m = 0.8, 0.8

        def happen(subject: str, event: str, cause: str) -> None:
            trace.events.append(EventRow(t, subject, event, cause, "", v / AREA_M2))

        def close(machine: int, why: str) -> None:
            start, role, by = running.pop(machine)
            q = flow if machine < count else station.engine_pump.pump.fixed_flow_m3s
            power = 18_000.0 if machine < count else 0.0
            trace.runs.append(
                PumpRun(machine, role, start, t, q * (t - start), power * (t - start), by, why)
            )
            happen(station.machine_names()[machine], "stop", why)

        while True:
            level = v / AREA_M2
            grid_now = not any(a <= t < b for a, b in self.outages)
            if grid and not grid_now:
                happen("grid", "grid lost", "scripted")
                trace.alarms.append(AlarmRow("power failed", "station", t, math.nan, math.nan))
                for machine in list(running):
                    close(machine, "power lost")
            if not grid and grid_now:
                happen("grid", "grid back", "scripted")
                trace.alarms[-1] = trace.alarms[-1]._replace(cleared_s=t)
            grid = grid_now
            lost = {m for m, a, b in self.out if a <= t < b}
            for machine in lost & set(running):
                close(machine, "out of service")
            if grid:
                called = sum(s is not None and level >= s - 1e-9 for s in starts)
                electric = [m for m in running if m < count]
                for machine in order:
                    if len(electric) >= called or len(electric) >= count - len(lost):
                        break
                    if machine in running or machine in lost:
                        continue
                    k = len(electric)
                    why = f"level at {roles[k]} start {starts[k]:.2f} m"
                    running[machine] = (t, roles[k], why)
                    electric.append(machine)
                    happen(station.machine_names()[machine], "start", why)
            elif station.engine_pump and count not in running and level >= 1.9 - 1e-9:
                running[count] = (t, "engine-driven", "grid out, level at start 1.90 m")
                happen("E1", "start", "grid out, level at start 1.90 m")
            if count in running and level <= 0.9 + 1e-9:
                close(count, "level at stop 0.90 m")
            if level <= plan.stop_m + 1e-9 and any(m < count for m in running):
                for machine in [m for m in running if m < count]:
                    close(machine, f"level at stop {plan.stop_m:.2f} m")
                order = [*order[1:], order[0]]
            out = sum(
                flow if m < count else station.engine_pump.pump.fixed_flow_m3s for m in running
            )
            q = float(self.inflow.at(np.array([t]))[0])
            i = int(np.searchsorted(self.inflow.start_s, t, side="right") - 1)
            b = float(self.inflow.slope_m3s2[i])
            full = v >= crest - 1e-9 and (q > out or (q == out and b > 0.0))
            if alarm_since is None and level >= alarm - 1e-9:
                alarm_since = t
                happen("station", "alarm raised", "high level")
            elif alarm_since is not None and level < alarm - 1e-6:
                trace.alarms.append(AlarmRow("high level", "station", alarm_since, math.nan, t))
                alarm_since = None
            if full and spill_since is None:
                spill_since, spilled, peak = t, 0.0, q - out
                happen("station", "spill begins", "level at the crest")
            if not full and spill_since is not None:
                trace.spills.append(
                    SpillRow(spill_since, t, spilled, peak, station.spillway.method)
                )
                spill_since = None
                happen("station", "spill ends", "level below the crest")
            trace.leg_t_s.append(t)
            trace.leg_v_m3.append(v)
            flows = {
                m: flow if m < count else station.engine_pump.pump.fixed_flow_m3s for m in running
            }
            key = tuple(sorted(flows))
            if key not in lineups:
                lineups[key] = len(trace.lineups)
                trace.lineups.append(lineup(flows))
            trace.leg_lineup.append(lineups[key])
            if t >= self.end_s:
                break
            # the next thing: a segment, a switch, the end, or a level
            t_next = self.end_s
            if i + 1 < len(self.inflow.start_s):
                t_next = min(t_next, float(self.inflow.start_s[i + 1]))
            t_next = min([t_next, *(x for x in switches if x > t)])
            s_most = t_next - t
            goals = [*(s * AREA_M2 for s in starts if s is not None), plan.stop_m * AREA_M2]
            goals += [0.9 * AREA_M2, 1.9 * AREA_M2, crest, alarm * AREA_M2]
            s = s_most
            r = q - out
            for goal in goals if not full else []:
                for root in _roots(0.5 * b, r, v - goal):
                    if 1e-6 < root < s and math.isfinite(goal):
                        s = root
            if full and b < 0.0 and 1e-6 < -r / b < s:
                s = -r / b
            step = s * (q + 0.5 * b * s)
            trace.inflow_m3 += step
            totals[0] += out * s
            if full:
                spilled += step - out * s
                peak = max(peak, q + b * s - out)
                trace.spilled_m3 += step - out * s
            else:
                v += step - out * s
            t = t_next if s == s_most else t + s
            if v / AREA_M2 > trace.greatest_level_m:
                trace.greatest_level_m, trace.greatest_level_s = v / AREA_M2, t
            if v / AREA_M2 < trace.least_level_m:
                trace.least_level_m, trace.least_level_s = v / AREA_M2, t
        for machine in list(running):
            close(machine, "end of run")
        if alarm_since is not None:
            trace.alarms.append(AlarmRow("high level", "station", alarm_since, math.nan, math.nan))
        if spill_since is not None:
            trace.spills.append(SpillRow(spill_since, t, spilled, peak, station.spillway.method))
        edges = [0.0, *(x for span in self.outages for x in span), self.end_s]
        for k in range(len(edges) - 1):
            state = "out" if k % 2 else "on"
            trace.power.append(PowerRow("grid", state, edges[k], edges[k + 1], "scripted"))
        trace.unavailable = [Unavailable(m, a, b, "out of service") for m, a, b in self.out]
        trace.pumped_m3, trace.end_m3 = totals[0], v
        return trace


def _roots(a: float, b: float, c: float) -> list[float]:
    if a == 0.0:
        return [-c / b] if b != 0.0 else []
    under = b * b - 4.0 * a * c
    if under < 0.0:
        return []
    root = math.sqrt(under)
    big = -0.5 * (b + math.copysign(root, b))
    return [big / a, *([c / big] if big != 0.0 else [])]

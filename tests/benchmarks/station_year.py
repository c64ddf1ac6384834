"""The benchmark of the core: one station-year, beside two yardsticks in the same run.

    python tests/benchmarks/station_year.py [DAYS]

The station: three pumps, rotation at each cycle, three start levels and a common stop, inflow given
every five minutes; about 50,770 starts a year. The yardstick (1.0) is a plain-Python loop with a
fixed step of one second on the same station with constant pump flow; it knows no causes, no
roles and no record. ``solve_ivp`` of SciPy with events is the other end of the scale; it is run on
a few days and its time is scaled up. Ours is the whole design: controller, causes, recorder,
SimPy; simulation only, no import and no tables.

Timings are printed, never asserted; the counts are asserted, so that the benchmark cannot rot.
"""

from __future__ import annotations

import cProfile
import dataclasses
import math
import pstats
import resource
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.control.staging import StagingSettings
from stationsim.episode import Episode
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.series import Recorded
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.physics.well import Part, Well
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.trace import Trace

AREA_M2 = 4.79
FLOW_M3S = 0.035
STARTS_M = (1.4, 1.6, 1.8)
STOP_M = 0.5
FIRST_LEVEL_M = 0.8
DAY_S = 86400

# an invented day, as multiples of the mean
HOURS = (
    *(0.50, 0.40, 0.35, 0.35, 0.40, 0.65, 1.15, 1.70, 1.65, 1.40, 1.20, 1.10),
    *(1.10, 1.05, 1.00, 0.95, 1.00, 1.15, 1.35, 1.40, 1.30, 1.15, 0.90, 0.80),
)


def five_minutes(days: int) -> tuple[np.ndarray, np.ndarray]:
    """Return times and flows every five minutes, with a slow swing over the year."""
    times = np.arange(0, days * DAY_S + 1, 300, dtype=float)
    shape = np.interp((times / 3600.0) % 24.0, np.arange(25), [*HOURS, HOURS[0]])
    return times, 0.020 * shape * (1.0 + 0.1 * np.sin(2.0 * np.pi * times / (365.0 * DAY_S)))


def station(*, curves: bool) -> Station:
    """Return the station of the benchmark, with curve pumps or constant ones."""
    main = None
    if curves:
        curve = HeadCurve.from_coefficients(24.0, 0.0, -6600.0)
        pumps = tuple(PumpUnit(f"P{n}", curve=curve) for n in (1, 2, 3))
        main = ForceMain((Pipe(1200.0, 0.3, c_factor=120.0, fittings_k=12.0),), 14.0)
    else:
        pumps = tuple(PumpUnit(f"P{n}", fixed_flow_m3s=FLOW_M3S) for n in (1, 2, 3))
    settings = StagingSettings(
        lead_start_m=STARTS_M[0],
        lag_start_m=STARTS_M[1],
        second_lag_start_m=STARTS_M[2],
        stop_m=STOP_M,
    )
    return Station(
        "Benchmark",
        Well((Part(0.0, math.inf, AREA_M2),)),
        pumps,
        ControlPlan("staging", settings, "each cycle", NoSettings()),
        force_main=main,
    )


def episode(days: int) -> Episode:
    """Return the episode of the benchmark."""
    times, flows = five_minutes(days)
    return Episode(
        start=datetime(2027, 1, 1, tzinfo=UTC),
        duration_s=float(days * DAY_S),
        inflow=(Recorded(tuple(times), tuple(flows)),),
        start_level_m=FIRST_LEVEL_M,
    )


def loop(days: int) -> int:
    """Return the starts that a loop of one-second steps counts: the yardstick."""
    flows = five_minutes(days)[1].tolist()
    level, on, order, starts = FIRST_LEVEL_M, [], [0, 1, 2], 0
    for second in range(days * DAY_S):
        n = second // 300
        part = (second - 300 * n) / 300.0
        arriving = flows[n] + (flows[n + 1] - flows[n]) * part
        level += (arriving - FLOW_M3S * len(on)) / AREA_M2
        if level <= STOP_M:
            if on:
                on, order = [], [*order[1:], order[0]]
        elif len(on) < 3 and level >= STARTS_M[len(on)]:
            on.append(order[len(on)])
            starts += 1
    return starts


def ivp(days: int) -> int:
    """Return the starts by scipy's solve_ivp with events, restarted at each switch and day."""
    times, flows = five_minutes(days)
    level, running, t, starts, end = FIRST_LEVEL_M, 0, 0.0, 0, float(days * DAY_S)
    while t < end:

        def slope(now: float, _z: np.ndarray, n: int = running) -> list[float]:
            return [(np.interp(now, times, flows) - FLOW_M3S * n) / AREA_M2]

        def rises(_t: float, z: np.ndarray, n: int = running) -> float:
            return float(z[0]) - (STARTS_M[n] if n < 3 else 1e9)

        def falls(_t: float, z: np.ndarray, n: int = running) -> float:
            return float(z[0]) - (STOP_M if n else -1e9)

        for event, direction in ((rises, 1.0), (falls, -1.0)):
            event.terminal, event.direction = True, direction  # type: ignore[attr-defined]
        found = solve_ivp(
            slope, (t, end), [level], events=(rises, falls), rtol=1e-10, atol=1e-10, max_step=300.0
        )
        t, level = float(found.t[-1]), float(found.y[0, -1])
        if found.status == 1:
            up = len(found.t_events[0]) > 0
            running = running + 1 if up else 0
            starts += up
    return starts


def ours(what: Station, when: Episode) -> tuple[float, Trace]:
    """Return the seconds that the simulation alone takes, and its trace."""
    session = Session(what, when)
    began = time.perf_counter()
    session.advance(when.duration_s)
    trace = session._plant.finish()
    return time.perf_counter() - began, trace


def shares(what: Station, when: Episode) -> dict[str, float]:
    """Return the share of each room in the time, by the profiler's own count."""
    session = Session(what, when)
    profile = cProfile.Profile()
    profile.enable()
    session.advance(when.duration_s)
    profile.disable()
    rooms: dict[str, float] = {}
    for (file, _line, _name), row in pstats.Stats(profile).stats.items():  # type: ignore[attr-defined]
        path = Path(file)
        if path.name == "balance.py":
            room = "balance"
        elif path.parent.name == "control" or path.name == "signals.py":
            room = "controller"
        elif path.name in ("recorder.py", "trace.py"):
            room = "recorder"
        elif path.parent.name == "simpy" or path.name == "clock.py":
            room = "SimPy and clock"
        elif path.parent.name == "simulation":
            room = "plant"
        else:
            room = "built-in functions"
        rooms[room] = rooms.get(room, 0.0) + row[2]
    whole = sum(rooms.values())
    return {room: spent / whole for room, spent in sorted(rooms.items(), key=lambda x: -x[1])}


def main(days: int) -> None:
    """Run and print."""
    began = time.perf_counter()
    looped = loop(days)
    yardstick = time.perf_counter() - began
    print(f"{days} days; fixed loop of 1 s: {yardstick:.2f} s, {looped} starts  = 1.00")
    when = episode(days)
    for name, curves in (("constant pumps", False), ("curve pumps", True)):
        what = station(curves=curves)
        took, trace = ours(what, when)
        starts = len(trace.runs)
        assert trace.balance_error < 1e-9
        print(f"ours, {name}: {took:.2f} s, {starts} starts  = {took / yardstick:.2f}")
        print(f"   crossings and decisions: {trace.advances}, {trace.decisions}")
        if not curves:
            print(f"   the loop miscounts by {100.0 * (looped - starts) / starts:+.2f} %")
        part = dataclasses.replace(when, duration_s=min(when.duration_s, 30.0 * DAY_S))
        told = ", ".join(f"{room} {100 * x:.0f} %" for room, x in shares(what, part).items())
        print(f"   where it goes (under the profiler): {told}")
    few = min(days, 3)
    began = time.perf_counter()
    starts = ivp(few)
    took = (time.perf_counter() - began) * days / few
    print(f"solve_ivp with events: {took:.0f} s (from {few} days)  = {took / yardstick:.0f}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"peak memory of this process: {peak:.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 365)

"""Stations and episodes that hypothesis makes.

Numbers are drawn as whole numbers and laid on odd fractions of a range, so that two things fall on
one instant by intent only (a tie is another test), and so that examples shrink.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from hypothesis import strategies as st

from stationsim.control.backup import EACH_CYCLE, FIXED, BackupSettings
from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import ClockSettings, NoSettings
from stationsim.control.staging import MOVES_ON, STARTS_OVER, STAYS, StagingSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.rain import Rain
from stationsim.inflow.segments import InflowSource, Segments, from_points
from stationsim.inflow.unit_hydrographs import RainDerived, Response
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.motor import MotorHeat
from stationsim.physics.pumps import HeadCurve, PowerDraw
from stationsim.physics.sewer import Manhole, Sewer, SewerPipe
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, box, cone, cylinder, store, table
from stationsim.station import AlarmSettings, Station

STEPS = 997


@dataclass(frozen=True)
class PointInflow:
    """Inflow through points, straight or in steps."""

    times_s: tuple[float, ...]
    flows_m3s: tuple[float, ...]
    steps: bool

    def segments(self, start: datetime, duration_s: float) -> Segments:
        return from_points(self.times_s, self.flows_m3s, steps=self.steps)


@st.composite
def between(draw: st.DrawFn, low: float, high: float) -> float:
    """Return an odd number of a range."""
    return low + (high - low) * (draw(st.integers(0, STEPS)) + 0.3719) / (STEPS + 1.0)


@st.composite
def now_and_then(draw: st.DrawFn, one_in: int = 4) -> bool:
    """Return True for one example in so many; an example shrinks to False."""
    return draw(st.integers(1, one_in)) == one_in


@st.composite
def sewers(draw: st.DrawFn) -> Sewer:
    """Return a pipe or two with a manhole, which fill together with the well."""
    invert = draw(between(0.5, 1.4))
    slope = draw(st.sampled_from([0.0, 0.004, 0.02]))
    pipe = SewerPipe(draw(between(0.2, 0.6)), draw(between(8.0, 60.0)), slope, invert)
    pipes = [pipe]
    if draw(st.booleans()):
        pipes.append(SewerPipe(0.25, draw(between(8.0, 40.0)), 0.01, pipe.upper_invert_m))
    foot = pipe.crown_at(pipe.length_m)
    return Sewer(tuple(pipes), (Manhole(1.07, foot, foot + draw(between(0.5, 2.0))),))


@st.composite
def wells(draw: st.DrawFn) -> Well:
    """Return storage of any shape that there is."""
    shapes = ["box", "cylinder", "hopper", "table", "steps", "sewer", "pipes"]
    shape = draw(st.sampled_from(shapes))
    if shape == "pipes":
        return Well((cylinder(draw(between(1.8, 3.0))), *draw(sewers()).parts()))
    if shape == "box":
        return Well((box(draw(between(1.5, 4.0)), draw(between(1.5, 3.0))),))
    if shape == "cylinder":
        return Well((cylinder(draw(between(1.8, 3.5))),))
    if shape == "hopper":
        top = draw(between(2.0, 3.0))
        height = draw(between(0.3, 1.1))
        return Well((cone(draw(between(0.6, 1.4)), top, 0.0, height), cylinder(top, height)))
    if shape == "sewer":
        return Well((cylinder(draw(between(1.8, 3.0))), store(draw(between(1.0, 9.0)), 1.3, 2.1)))
    areas = [draw(between(1.5, 9.0)) for _ in range(3)]
    levels = [0.0, draw(between(0.4, 1.0)), draw(between(1.1, 2.0))]
    return Well(table(levels, areas, steps=shape == "steps"))


@st.composite
def curved_pumps(draw: st.DrawFn, count: int, each_m3s: float, lift_m: float) -> list[PumpUnit]:
    """Return pumps with curves of their own that give about a flow at a lift."""
    units = []
    alike = draw(st.booleans())
    for n in range(count):
        if units and alike:
            unit = units[0]
        else:
            shutoff = lift_m * draw(between(1.4, 2.2))
            fall = (shutoff - lift_m) / (each_m3s * each_m3s) * draw(between(0.7, 1.1))
            if draw(st.booleans()):
                curve = HeadCurve.from_coefficients(shutoff, 0.0, -fall)
            else:
                flows = [0.0, 0.5 * each_m3s, each_m3s, 1.6 * each_m3s]
                curve = HeadCurve.from_points(flows, [shutoff - fall * q * q for q in flows])
            worn = draw(st.booleans())
            branch = Pipe(0.0, 0.15, "none", fittings_k=draw(between(0.0, 4.0)))
            unit = PumpUnit(
                "P1",
                curve=curve,
                branch=branch if draw(st.booleans()) else None,
                flow_factor=draw(between(0.85, 1.0)) if worn else 1.0,
                head_factor=draw(between(0.9, 1.0)) if worn else 1.0,
            )
        units.append(PumpUnit(**{**unit.__dict__, "name": f"P{n + 1}"}))
    return units


@st.composite
def limits(draw: st.DrawFn) -> dict[str, Any]:
    """Return limits of the panel: longest run, starts in an hour, what a power loss leaves."""
    found: dict[str, Any] = {}
    if draw(now_and_then()):
        found["max_run_s"] = draw(between(500.0, 6000.0))
    if draw(now_and_then()):
        found["most_starts_per_hour"] = draw(st.integers(1, 4))
    if draw(now_and_then(3)):
        found["restart_delay_s"] = draw(between(1.0, 90.0))
    if draw(now_and_then(3)):
        found["restart_stagger_s"] = draw(between(1.0, 60.0))
    found["at_power_loss"] = draw(st.sampled_from([MOVES_ON, STAYS, STARTS_OVER]))
    return found


@st.composite
def warm_motors(draw: st.DrawFn, stop_m: float, lead_m: float) -> dict[str, Any]:
    """Return a motor that heats and cools, often too weak for what it has to do."""
    ambient = draw(between(8.0, 22.0))
    trip = draw(between(90.0, 150.0))
    rise = (trip - ambient) * draw(between(0.8, 1.5))
    heat = MotorHeat(
        ambient_c=ambient,
        full_rise_k=rise,
        heating_time_constant_s=draw(between(400.0, 3000.0)),
        cooling_time_constant_s=draw(between(400.0, 5000.0)),
        trip_c=trip,
        reset_c=trip - draw(between(5.0, 40.0)),
        ragged_factor=draw(st.sampled_from([1.0, 1.37])),
        not_submerged_factor=draw(st.sampled_from([1.0, 1.43])),
    )
    top = draw(between(stop_m, lead_m)) if draw(st.booleans()) else None
    again = draw(st.sampled_from([None, 0, 1, 2]))
    return {"motor_heat": heat, "motor_top_m": top, "most_resets": again}


@st.composite
def cranking(draw: st.DrawFn) -> dict[str, Any]:
    """Return how an engine comes up."""
    return {
        "crank_tries": draw(st.integers(1, 3)),
        "crank_s": draw(between(2.0, 12.0)),
        "crank_rest_s": draw(between(3.0, 25.0)),
        "warm_up_s": draw(st.sampled_from([0.0, 14.7])),
        "prime_s": draw(st.sampled_from([0.0, 47.9])),
    }


@st.composite
def stations(draw: st.DrawFn, curved: bool = False, with_power: bool = False) -> Station:
    """Return a station without backup floats; see ``with_floats``."""
    count = draw(st.integers(1, 4))
    well = draw(wells())
    stop = draw(between(0.25, 0.6))
    starts = [stop + draw(between(0.3, 1.0))]
    calls = draw(st.integers(1, count))
    for _ in range(calls - 1):
        starts.append(starts[-1] + draw(between(0.08, 0.35)))
    roles = ["lead", "lag", "second_lag", "third_lag"][:calls]
    given: dict[str, Any] = {f"{role}_start_m": z for role, z in zip(roles, starts, strict=True)}
    policy = draw(st.sampled_from(["all together", "last on, first off", "first on, first off"]))
    if policy != "all together":
        low = stop
        for n, role in enumerate(roles[1:], start=1):
            low = low + (starts[n - 1] - low) * draw(between(0.1, 0.8))
            given[f"{role}_stop_m"] = low
    delays = draw(st.booleans())
    settings = StagingSettings(
        stop_m=stop,
        stop_policy=policy,
        start_delay_s=draw(between(1.0, 25.0)) if delays and draw(st.booleans()) else 0.0,
        stop_delay_s=draw(between(1.0, 9.0)) if delays and draw(st.booleans()) else 0.0,
        stagger_s=draw(between(2.0, 40.0)) if draw(st.booleans()) else 0.0,
        **given,
        **draw(limits()),
    )
    rotation = draw(st.sampled_from(["each cycle", "run hours", "clock", "fixed"]))
    rotation_settings: Any = NoSettings()
    if rotation == "clock":
        rotation_settings = ClockSettings(
            every_s=draw(between(1500.0, 20_000.0)), at_s=draw(between(0.0, 5000.0))
        )
    each = draw(between(0.008, 0.03))
    lift = draw(between(5.0, 20.0))
    if curved:
        units = draw(curved_pumps(count, each, lift))
        loss = Pipe(
            draw(between(50.0, 600.0)), draw(between(0.15, 0.25)), "hazen-williams", 120.0,
            fittings_k=draw(between(0.0, 8.0)),
        )  # fmt: skip
        main = ForceMain((loss,), lift + 1.0)
    else:
        alike = draw(st.booleans())
        units = [
            PumpUnit(f"P{n + 1}", fixed_flow_m3s=each if alike else draw(between(0.008, 0.03)))
            for n in range(count)
        ]
        main = None
    rest = draw(between(20.0, 500.0)) if draw(st.booleans()) else 0.0
    wait = draw(between(2.0, 45.0)) if draw(st.booleans()) else 0.0
    warm: dict[str, Any] = {}
    if draw(now_and_then(3)):
        warm = draw(warm_motors(stop, starts[0]))
    units = [
        PumpUnit(
            **{
                **unit.__dict__,
                **(warm if n == 0 or draw(st.booleans()) else {}),
                "min_off_s": rest,
                "fail_to_start_s": wait,
                "seal_leak": draw(st.sampled_from(["alarm", "stop"])),
                "power": PowerDraw(input_w=9e3) if with_power else PowerDraw(),
            }
        )
        for n, unit in enumerate(units)
    ]
    top = starts[-1]
    crest = top + draw(between(0.2, 0.9))
    kind = draw(st.sampled_from(["none", "plain", "weir" if curved else "plain"]))
    spillway = None
    if kind == "plain":
        spillway = Spillway(crest)
    elif kind == "weir":
        spillway = Spillway(crest, draw(between(0.4, 2.0)))
    engine = None
    if draw(st.booleans()):
        start = top + draw(between(-0.1, 0.15))
        engine = EnginePump(
            PumpUnit("E1", fixed_flow_m3s=draw(between(0.01, 0.04))),
            start_level_m=start,
            stop_level_m=start - draw(between(0.2, 0.5)),
            start_delay_s=draw(st.sampled_from([0.0, 17.3])),
            at_grid_return=draw(st.sampled_from(["run on to stop level", "stop"])),
            fuel_m3_per_s=draw(st.sampled_from([0.0, 2e-6])),
            tank_m3=draw(st.sampled_from([0.0041, 1.0])),
            **(draw(cranking()) if draw(st.booleans()) else {}),
        )
    alarms = AlarmSettings(
        high_level_m=top + 0.137,
        low_level_m=stop - 0.1,
        high_level_delay_s=draw(st.sampled_from([0.0, 33.3])),
    )
    return Station(
        name="Reed Bank",
        well=well,
        pumps=tuple(units),
        control=ControlPlan("staging", settings, rotation, rotation_settings),
        force_main=main,
        engine_pump=engine,
        spillway=spillway,
        alarms=alarms,
    )


@st.composite
def with_floats(draw: st.DrawFn, station: Station) -> Station:
    """Return a station with two floats behind its level signal."""
    settings = station.control.settings
    top = max(start for _role, start, _stop in settings.stages())
    floats = BackupSettings(
        start_m=top + draw(between(0.03, 0.18)),
        stop_m=settings.stop_m - draw(between(0.03, 0.2)),
        lag_delay_s=draw(between(5.0, 200.0)) if draw(st.booleans()) else 0.0,
        frozen_after_s=draw(between(200.0, 2500.0)) if draw(st.booleans()) else None,
        disagrees_by_m=draw(between(0.04, 0.3)),
        rotation=draw(st.sampled_from([FIXED, EACH_CYCLE])),
    )
    return replace(station, backup_floats=floats)


@st.composite
def rains(draw: st.DrawFn, strength_m3s: float, end_s: float) -> RainDerived:
    """Return rain and what comes of it, at its peak about as much as some pumps move."""
    count = draw(st.integers(1, 3))
    every = draw(between(600.0, 2400.0))
    depths = [draw(between(0.0, 0.006)) for _ in range(count)]
    fallen = [sum(depths[:n]) for n in range(count + 1)]
    rain = Rain(
        draw(between(-0.4, 0.6)) * end_s, [n * every for n in range(count + 1)], fallen
    )  # before the start, or in the run
    quick = draw(between(300.0, 1500.0))
    responses = (
        Response(0.05, quick, draw(between(1.0, 3.0))),
        Response(0.03, 2.7 * quick, draw(between(1.0, 4.0))),
    )
    volume = draw(between(0.1, 1.2)) * strength_m3s * 2.5 * quick
    return RainDerived(rain, volume / (0.08 * max(rain.depth_m, 1e-4)), responses)


ALL_KINDS = (
    "grid loss", "out of service", "fails", "high temperature", "off", "auto", "hand",
    "fails to start", "clogged", "reset", "seal leak", "level signal frozen", "level signal lost",
)  # fmt: skip


@st.composite
def episodes(draw: st.DrawFn, station: Station, hours: float = 8.0) -> Episode:
    """Return what happens to a station."""
    end = hours * 3600.0
    strength = sum(p.fixed_flow_m3s or 0.012 for p in station.pumps)
    points = draw(st.integers(1, 8))
    flows = [draw(between(0.02, 1.25)) * strength for _ in range(points)]
    times = [0.0]
    for _ in range(points - 1):
        times.append(times[-1] + draw(between(0.2, 1.6)) * end / points)
    inflow: list[InflowSource] = [PointInflow(tuple(times), tuple(flows), draw(st.booleans()))]
    if draw(now_and_then()):
        inflow.append(draw(rains(strength, end)))
    names = station.machine_names()
    events = []
    losses = 0
    for _ in range(draw(st.integers(0, 6))):
        kind = draw(st.sampled_from(ALL_KINDS))
        at = draw(between(60.0, end - 60.0))
        lasts: float | None = draw(between(30.0, 7000.0))
        if kind == "grid loss":
            losses += 1
            if losses > 1:
                continue
            events.append(ScriptedEvent(at, "grid loss", "grid", lasts))
        elif kind in ("hand", "off", "auto", "reset"):
            events.append(ScriptedEvent(at, kind, draw(st.sampled_from(names))))
        elif kind in ("level signal frozen", "level signal lost"):
            events.append(ScriptedEvent(at, kind, "level sensor", lasts))
        elif kind in ("fails to start", "clogged"):
            left = draw(between(0.3, 0.97)) if kind == "clogged" else 1.0
            long = None if draw(st.integers(0, 3)) == 0 else lasts
            name = draw(st.sampled_from(names))
            events.append(ScriptedEvent(0.5 * at, kind, name, long, flow_left=left))
        else:
            if kind != "out of service" and draw(st.integers(0, 3)) == 0:
                lasts = None
            events.append(
                ScriptedEvent(at, kind, draw(st.sampled_from(names)), lasts, draw(st.booleans()))
            )
    if station.engine_pump is not None and draw(now_and_then(5)):
        # an engine that cranks in vain is met only in an outage
        at = draw(between(60.0, 0.5 * end))
        long = draw(between(60.0, 2.0 * end))
        events.append(ScriptedEvent(30.0, "fails to start", station.engine_pump.pump.name, long))
        if not losses:
            events.append(ScriptedEvent(at, "grid loss", "grid", draw(between(900.0, 7000.0))))
    if draw(now_and_then(6)):  # found out at the first call
        name = draw(st.sampled_from([pump.name for pump in station.pumps]))
        events.append(ScriptedEvent(45.0, "fails to start", name, draw(between(900.0, end))))
        if draw(st.booleans()):
            events.append(ScriptedEvent(draw(between(0.3, 0.9)) * end, "reset", name))
    if draw(now_and_then(4)):
        name = draw(st.sampled_from([pump.name for pump in station.pumps]))
        at, left = draw(between(60.0, 0.5 * end)), draw(between(0.3, 0.97))
        long = draw(between(1800.0, end)) if draw(st.booleans()) else None
        events.append(ScriptedEvent(at, "clogged", name, long, flow_left=left))
    stop = station.control.settings.stop_m
    return Episode(
        start=datetime(2027, 3, 1, draw(st.integers(0, 23)), 7, tzinfo=UTC),
        duration_s=end,
        inflow=tuple(inflow),
        start_level_m=stop + draw(between(-0.2, 1.6)),
        events=tuple(events),
        seed=draw(st.integers(0, 9)),
    )


@st.composite
def runs(
    draw: st.DrawFn,
    curved: bool = False,
    hours: float = 8.0,
) -> tuple[Station, Episode]:
    """Return a station and what happens to it."""
    station = draw(stations(curved=curved))
    if draw(now_and_then(3)):
        station = draw(with_floats(station))
    return station, draw(episodes(station, hours))

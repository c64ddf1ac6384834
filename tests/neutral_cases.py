"""Adapter from the neutral form of tests/cases to a Station and an Episode.

The answers in those files are our own computation by an independent method (Runge-Kutta of order 4
at 0.05 s, crossings located inside the step, operating points by bracketing); they share no code
and no method with stationsim.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import ClockSettings, NoSettings
from stationsim.control.staging import StagingSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.segments import Segments
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import G, HeadCurve
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, table
from stationsim.station import Station

FOLDER = Path(__file__).parent / "cases"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.json")))

_ROTATION = {"cycle": "each cycle", "fixed": "fixed", "clock": "clock", "least_hours": "run hours"}


class PeriodicPoints:
    """Inflow of a case: points, straight or steps, repeated with a period when there is one."""

    def __init__(self, data: dict[str, Any]) -> None:
        self.data = data

    def segments(self, start: datetime, duration_s: float) -> Segments:
        data = self.data
        times = np.asarray(data["t"], dtype=float)
        flows = np.asarray(data["q"], dtype=float)
        period = data.get("period")
        steps = data["interp"] == "step"
        if period is not None:
            if times[-1] < period and not steps:
                times, flows = np.append(times, period), np.append(flows, flows[0])
            copies = math.ceil(duration_s / period) + 1
            if times[-1] >= period:
                inner = slice(0, -1)
            else:
                inner = slice(None)
            times = np.concatenate([times[inner] + n * period for n in range(copies)])
            flows = np.tile(flows[inner], copies)
        slopes = np.zeros_like(flows)
        if not steps:
            slopes[:-1] = np.diff(flows) / np.diff(times)
        return Segments(times, flows, slopes)


def unit(name: str, data: dict[str, Any], **more: Any) -> PumpUnit:
    """Return a pump of a case."""
    if data["type"] == "const":
        return PumpUnit(name, fixed_flow_m3s=data["q"], **more)
    if data["type"] == "curve":
        curve = HeadCurve.from_coefficients(data["h0"], 0.0, -data["a"])
    else:
        curve = HeadCurve.from_points(data["q"], data["h"])
    # a pipe of no length whose fittings lose k_b Q^2
    diameter = 0.2
    area = math.pi * diameter * diameter / 4.0
    branch = Pipe(0.0, diameter, "none", fittings_k=data.get("k_b", 0.0) * 2.0 * G * area * area)
    return PumpUnit(
        name,
        curve=curve,
        branch=branch,
        flow_factor=data.get("wear_flow", 1.0),
        head_factor=data.get("wear_head", 1.0),
        **more,
    )


def read(name: str) -> tuple[Station, Episode, dict[str, Any]]:
    """Return the station, the episode and the expected answers of a case."""
    whole = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    data = whole["station"]
    points = data["well"]["points"]
    floor = data["well"].get("floor", 0.0)
    well = Well(
        table(
            [level - floor for level, _area in points],
            [area for _level, area in points],
            steps=data["well"]["mode"] == "constant",
        )
    )
    main = None
    if "main" in data:
        pipe = data["main"]
        main = ForceMain(
            (Pipe(pipe["L"], pipe["D"], "hazen-williams", pipe["C"], fittings_k=pipe["K"]),),
            pipe["z_disch"],
        )
    control = data["control"]
    roles = ("lead", "lag", "second_lag", "third_lag")
    starts = {f"{role}_start_m": z for role, z in zip(roles, control["start"], strict=False)}
    settings = StagingSettings(stop_m=control["stop"], stagger_s=0.0, **starts)
    stagger = data.get("restart_stagger_s", 0.0)
    if stagger:
        settings = StagingSettings(stop_m=control["stop"], stagger_s=stagger, **starts)
    rotation = _ROTATION[control["alternation"]]
    rotation_settings: Any = NoSettings()
    if rotation == "clock":
        rotation_settings = ClockSettings(every_s=control["clock_h"] * 3600.0)
    engine = None
    if "engine" in data:
        given = data["engine"]
        engine = EnginePump(
            unit("E1", given["pump"]),
            start_level_m=given["start"],
            stop_level_m=given["stop"],
            start_delay_s=given["delay_s"],
            fuel_m3_per_s=given["fuel_l_per_h"] / 1000.0 / 3600.0,
            tank_m3=given["tank_l"] / 1000.0,
        )
    spillway = None
    if "overflow" in data:
        given = data["overflow"]
        spillway = (
            Spillway(given["crest"])
            if given["type"] == "vertical"
            else Spillway(given["crest"], given["L"], given["C"])
        )
    events = [
        ScriptedEvent(start, "grid loss", "grid", end - start)
        for start, end in data.get("grid_loss", [])
    ]
    events += [
        ScriptedEvent(start, "out of service", f"P{pump + 1}", end - start)
        for pump, start, end in data.get("unavailable", [])
    ]
    station = Station(
        name=name,
        well=well,
        pumps=tuple(unit(f"P{n + 1}", pump) for n, pump in enumerate(data["pumps"])),
        control=ControlPlan("staging", settings, rotation, rotation_settings),
        force_main=main,
        engine_pump=engine,
        spillway=spillway,
    )
    episode = Episode(
        start=datetime(2027, 3, 1, tzinfo=UTC),
        duration_s=data["duration_s"],
        inflow=(PeriodicPoints(data["inflow"]),),
        start_level_m=data["z0"] - floor,
        events=tuple(events),
        name=name,
    )
    return station, episode, whole["expected"]

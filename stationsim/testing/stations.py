"""Small stations for tests, lessons and plug-ins: a tank, two pumps, three pumps, and a reference.

Everything here is invented and round, so that an answer can be worked out by hand. The values are
typical of small stations, no advice for a real one.

``tank``, ``duplex`` and ``triplex`` return a :class:`~stationsim.station.Station`; ``episode``
returns what happens to it in one line::

    from stationsim.simulation.session import simulate
    from stationsim.testing import duplex, episode

    result = simulate(duplex(), episode(3600.0, 0.015))

``reference_station`` and ``reference_inflow`` are a fully worked station with its answers (minutes
to alarm and to spill by hour of day); the figures stand in ``tests/test_closed_forms.py``.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from stationsim.control.contract import ControlPlan, rotation_class
from stationsim.control.staging import StagingSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.engine_pump import EnginePump
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.segments import InflowSource
from stationsim.physics.pumps import PowerDraw
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, box, cylinder, store
from stationsim.station import AlarmSettings, Station

MONDAY = datetime(2027, 3, 1, tzinfo=UTC)
"""Where the episodes of this module begin unless told: midnight before a Monday."""

REFERENCE_WEEKDAY = (
    0.50, 0.40, 0.35, 0.35, 0.40, 0.65, 1.15, 1.70, 1.65, 1.40, 1.20, 1.10,
    1.10, 1.05, 1.00, 0.95, 1.00, 1.15, 1.35, 1.40, 1.30, 1.15, 0.90, 0.80,
)  # fmt: skip
"""Hourly factors of a weekday of the reference station; their mean is 1 [-]."""

REFERENCE_WEEKEND = (
    0.65, 0.50, 0.42, 0.38, 0.38, 0.45, 0.65, 0.95, 1.35, 1.60, 1.60, 1.45,
    1.30, 1.20, 1.10, 1.05, 1.05, 1.10, 1.20, 1.25, 1.20, 1.05, 0.95, 0.85,
)  # fmt: skip
"""The same of a weekend day; their mean is 0.98667, so divide by it to keep the daily volume."""


def staging(rotation: str = "each cycle", every_s: float = 86400.0, **settings: Any) -> ControlPlan:
    """Return the built-in controller with its settings.

    Parameters
    ----------
    rotation
        ``each cycle``, ``run hours``, ``clock``, ``fixed``, or ``package.module:Class`` of one
        whose settings all have a default.
    every_s
        Time from one change of the lead to the next, for ``clock`` only [s].
    **settings
        Fields of ``StagingSettings``.
    """
    kind = rotation_class(rotation).Settings
    rotation_settings = kind(every_s=every_s) if rotation == "clock" else kind()
    return ControlPlan("staging", StagingSettings(**settings), rotation, rotation_settings)


def tank(
    area_m2: float = 10.0,
    flow_m3s: float = 0.02,
    *,
    start_m: float = 2.0,
    stop_m: float = 1.0,
    spillway: Spillway | None = None,
) -> Station:
    """Return the smallest station: a tank with upright walls and one pump of fixed flow.

    Parameters
    ----------
    area_m2
        Plan area [m2].
    flow_m3s
        Flow of the pump [m3/s].
    start_m, stop_m
        Levels at which the pump starts and stops [m above floor].
    spillway
        Lowest point where it spills; None for none.
    """
    return Station(
        name="tank",
        well=Well((box(area_m2, 1.0),)),
        pumps=(PumpUnit("P1", fixed_flow_m3s=flow_m3s),),
        control=staging("fixed", lead_start_m=start_m, stop_m=stop_m),
        spillway=spillway,
    )


def duplex(
    flows_m3s: Sequence[float] = (0.03, 0.03),
    *,
    rotation: str = "each cycle",
    every_s: float = 86400.0,
    levels: dict[str, Any] | None = None,
    **station: Any,
) -> Station:
    """Return two pumps of fixed flow in a tank of 10 m2.

    Stop 1.0 m, lead start 2.0 m, lag start 2.5 m, high-level alarm 3.0 m, plain loss above 4.0 m.
    Each pump draws 10 kW.

    Parameters
    ----------
    flows_m3s
        Flow of each pump [m3/s]; the flows of pumps that run together add.
    rotation, every_s
        As for :func:`staging`.
    levels
        Other settings of the controller, such as ``{"start_delay_s": 5.0}``.
    **station
        Fields of ``Station`` to replace; ``min_off_s`` and ``seal_leak`` go to every pump.
    """
    settings = {"stop_m": 1.0, "lead_start_m": 2.0, "lag_start_m": 2.5} | (levels or {})
    return _electric("duplex", flows_m3s, staging(rotation, every_s, **settings), station)


def triplex(
    flows_m3s: Sequence[float] = (0.03, 0.03, 0.03),
    *,
    rotation: str = "each cycle",
    every_s: float = 86400.0,
    levels: dict[str, Any] | None = None,
    **station: Any,
) -> Station:
    """Return three pumps of fixed flow, the last called as standby, in a tank of 10 m2.

    As :func:`duplex`, with the standby start at 2.8 m.

    Parameters
    ----------
    flows_m3s
        Flow of each pump [m3/s].
    rotation, every_s, levels, **station
        As for :func:`duplex`.
    """
    settings = {
        "stop_m": 1.0,
        "lead_start_m": 2.0,
        "lag_start_m": 2.5,
        "standby_start_m": 2.8,
    } | (levels or {})
    return _electric("triplex", flows_m3s, staging(rotation, every_s, **settings), station)


def _electric(
    name: str, flows_m3s: Sequence[float], control: ControlPlan, changes: dict[str, Any]
) -> Station:
    unit = {key: changes.pop(key) for key in ("min_off_s", "seal_leak") if key in changes}
    station = Station(
        name=name,
        well=Well((box(5.0, 2.0),)),
        pumps=tuple(
            PumpUnit(f"P{n}", fixed_flow_m3s=flow, power=PowerDraw(input_w=10e3), **unit)
            for n, flow in enumerate(flows_m3s, start=1)
        ),
        control=control,
        spillway=Spillway(4.0),
        alarms=AlarmSettings(high_level_m=3.0),
    )
    return dataclasses.replace(station, **changes)


def engine_pump(flow_m3s: float = 0.04, **changes: Any) -> EnginePump:
    """Return an engine-driven pump ``E1`` of fixed flow for :func:`duplex` and :func:`triplex`.

    It starts at 3.2 m, stops at 1.2 m, and needs 60 s from the call to full flow.

    Parameters
    ----------
    flow_m3s
        Its flow [m3/s].
    **changes
        Fields of ``EnginePump`` to replace.
    """
    engine = EnginePump(
        PumpUnit("E1", fixed_flow_m3s=flow_m3s),
        start_level_m=3.2,
        stop_level_m=1.2,
        start_delay_s=60.0,
    )
    return dataclasses.replace(engine, **changes)


def bypass_pump(flow_m3s: float = 0.04, **changes: Any) -> EnginePump:
    """Return a bypass pump ``B1`` of fixed flow for :func:`duplex` and :func:`triplex`.

    It starts at 3.2 m, stops at 1.2 m, and needs 60 s from the call to full flow.

    Parameters
    ----------
    flow_m3s
        Its flow [m3/s].
    **changes
        Fields of ``EnginePump`` to replace.
    """
    engine = engine_pump(flow_m3s)
    return dataclasses.replace(
        engine, **{"pump": dataclasses.replace(engine.pump, name="B1"), **changes}
    )


def reference_station(**changes: Any) -> Station:
    """Return the reference station: a 3.0 m round well, two pumps, 20 m3 of sewer storage.

    Stop 0.70 m, lead start 1.50 m, lag start 1.80 m, high-level alarm 2.30 m, inlet invert 2.60 m;
    the sewer above it adds 20 m3 evenly up to 4.20 m, where all that arrives is lost at once. One
    pump gives 30 L/s, two together 42 L/s.

    Parameters
    ----------
    **changes
        Fields of ``Station`` to replace.
    """
    station = Station(
        name="reference station",
        well=Well((cylinder(3.0), store(20.0, 2.6, 4.2))),
        pumps=(PumpUnit("P1"), PumpUnit("P2")),
        control=staging(stop_m=0.70, lead_start_m=1.50, lag_start_m=1.80),
        total_by_number_m3s=(0.030, 0.042),
        spillway=Spillway(4.20),
        alarms=AlarmSettings(high_level_m=2.30),
        inlet_invert_m=2.60,
        cover_m=4.20,
    )
    return dataclasses.replace(station, **changes)


def reference_inflow(mean_m3s: float = 0.010) -> Daily:
    """Return the dry-weather flow of the reference station, linear between the hours.

    Parameters
    ----------
    mean_m3s
        Mean of a weekday, and of a weekend day [m3/s].
    """
    weekend_mean = sum(REFERENCE_WEEKEND) / len(REFERENCE_WEEKEND)
    return Daily(
        tuple(mean_m3s * factor for factor in REFERENCE_WEEKDAY),
        tuple(mean_m3s * factor / weekend_mean for factor in REFERENCE_WEEKEND),
    )


def episode(
    duration_s: float,
    inflow: float | InflowSource,
    *events: ScriptedEvent,
    start_level_m: float = 1.0,
    start: datetime = MONDAY,
) -> Episode:
    """Return an episode.

    Parameters
    ----------
    duration_s
        How long it lasts [s].
    inflow
        A constant flow [m3/s], or a source.
    *events
        What happens.
    start_level_m
        Level at the start [m above floor].
    start
        Local time at which it begins.
    """
    source = Constant(inflow) if isinstance(inflow, (int, float)) else inflow
    return Episode(
        start=start,
        duration_s=duration_s,
        inflow=(source,),
        start_level_m=start_level_m,
        events=events,
    )

"""One station that has everything that can fail, and episodes of any trouble."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest
from _pytest.mark import ParameterSet

from stationsim.control.backup import BackupSettings
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.exercise import Exercise
from stationsim.equipment.faults import BY_KIND, CATALOGUE, ENGINE, MACHINE, PUMP, Fault
from stationsim.equipment.power import GeneratorSet, MotorLoad, StandbyPower, TransferSwitch
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.storm import Hydrograph
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.motor import MotorHeat
from stationsim.physics.pumps import HeadCurve, PowerDraw
from stationsim.station import AlarmSettings, Station
from stationsim.testing import bypass_pump, engine_pump, episode, triplex

HOUR = 3600.0

KINDS = tuple(fault.kind for fault in CATALOGUE)
SAMPLE = (
    "overload", "clogged", "air-bound", "fails to prime", "level signal off", "float stuck down",
    "controller stopped", "telemetry lost", "alarm off", "phase lost", "generator late",
    "main leak", "downstream limited",
)  # fmt: skip
"""Some troubles of each family, seen by the panel and unseen: what the fast tests try."""

SCANNED = ("level signal drifting", "level signal noisy", "level signal late")


def sampled(kinds: Iterable[str]) -> list[ParameterSet]:
    """Return kinds as parameters of a test: those of the sample, and the others as slow ones.

    Parameters
    ----------
    kinds
        Kinds of the catalogue.
    """
    slow = pytest.mark.slow
    return [pytest.param(kind, marks=() if kind in SAMPLE else slow) for kind in kinds]


def everything(*, curved: bool = False) -> Station:
    """Return a triplex with engine, generator, bypass pump, floats, motors and every setting."""
    heat = MotorHeat(20.0, 60.0, 2400.0, 5400.0, 95.0, 60.0, 1.5, 1.2)
    curve = HeadCurve.from_points((0.0, 0.02, 0.04, 0.06), (24.0, 21.5, 16.0, 8.0))
    units = tuple(
        PumpUnit(
            f"P{n}",
            curve=curve if curved else None,
            fixed_flow_m3s=None if curved else 0.03,
            branch=Pipe(6.0, 0.15, fittings_k=4.0) if curved else None,
            power=PowerDraw(input_w=10e3),
            min_off_s=30.0,
            fail_to_start_s=5.0,
            motor_heat=heat,
            motor_top_m=0.8,
            most_resets=2,
            no_flow_after_s=60.0,
            no_flow="stop",
            air_bound_below_m=0.4,
            vent_s=300.0,
            overload_below=0.5,
            reverse_tries=1,
            reverse_s=30.0,
            reverse_clears=0.5,
            stop_clears=0.1,
            rides_through_s=0.1,
            after_sag="waits for reset" if n == 1 else "restarts",
        )
        for n in (1, 2, 3)
    )
    main = ForceMain((Pipe(600.0, 0.2),), 9.0)
    generator = GeneratorSet(
        rated_w=40e3, rated_va=50e3, start_va=70e3, most_running=2, crank_tries=2, crank_s=5.0,
        crank_rest_s=5.0, run_up_s=5.0, fuel_loads=(0.0, 0.5, 1.0),
        fuel_rates_m3_per_s=(1e-6, 2.5e-6, 4.5e-6), tank_m3=0.05,
    )  # fmt: skip
    power = StandbyPower(
        generator,
        TransferSwitch(1.0, 2.0, 600.0, 3.0, 120.0),
        replace(generator, crank_tries=1),
        10.0,
        {unit.name: MotorLoad(12e3, 36e3, 3.0) for unit in units},
    )
    station = triplex(
        levels={"restart_delay_s": 20.0, "stagger_s": 5.0, "start_delay_s": 3.0},
        engine_pump=engine_pump(
            crank_tries=2, crank_s=5.0, crank_rest_s=5.0, warm_up_s=10.0, prime_s=20.0,
            prime_limit_s=60.0, fuel_m3_per_s=3e-6, tank_m3=0.1,
        ),
        bypass_pump=bypass_pump(start_level_m=2.2, crank_s=5.0, fuel_m3_per_s=2e-6, tank_m3=0.05),
        backup_floats=BackupSettings(3.1, 0.6, 60.0, 300.0),
        standby_power=power,
        exercise=Exercise(2.5 * HOUR, 4 * HOUR, 60.0, 120.0, 120.0),
        scan_s=10.0,
        main_water_m3=6.0,
    )  # fmt: skip
    return replace(
        station,
        pumps=units,
        force_main=main if curved else None,
        alarms=AlarmSettings(3.0, 0.7, 10.0, 10.0, 30.0, telemetry_lost_delay_s=60.0),
    )


def subject_of(fault: Fault) -> str:
    """Return whom a trouble befalls here."""
    if fault.subject == "generator or engine":
        return "generator"
    if fault.subject in (PUMP, MACHINE, "machine or generator", "anything"):
        return "P1"
    if fault.subject == ENGINE:
        return "E1"
    return {"float": "start float", "alarm": "high level"}.get(fault.subject, fault.subject)


def event_of(kind: str, at_s: float, lasts_s: float = 1500.0) -> ScriptedEvent:
    """Return a trouble of a kind, with the number of its sample."""
    fault = BY_KIND[kind]
    numbers: dict[str, float] = {}
    if fault.kind in ("clogged", "turning backwards", "plug valve closed", "main plugged"):
        left = {"clogged": 0.6, "turning backwards": 0.5}.get(fault.kind, 0.0)
        numbers["flow_left"] = left
    elif fault.amount is not None:
        amount, per_s = {
            "ragging": (0.2, 900.0), "wearing": (0.05, 3600.0), "check valve open": (0.4, 0.0),
            "check valve slow": (8.0, 0.0), "level signal off": (0.3, 0.0),
            "level signal drifting": (0.5, 3600.0), "level signal noisy": (0.05, 0.0),
            "level signal late": (40.0, 0.0), "float late": (30.0, 0.0),
            "generator late": (45.0, 0.0), "main air": (2.0, 0.0), "main leak": (0.08, 0.0),
            "main broken": (0.4, 0.0), "downstream limited": (1.0, 0.0),
            "tanker takes": (8.0, 480.0),
        }[fault.kind]  # fmt: skip
        numbers = {"amount": amount, "per_s": per_s}
    lasts = {"grid sag": 0.4}.get(fault.kind, lasts_s)
    return ScriptedEvent(
        at_s,
        fault.kind,
        subject_of(fault),
        None if fault.lasts == "never" else lasts,
        **numbers,  # type: ignore[arg-type]
    )


def mended(at_s: float, station: Station) -> tuple[ScriptedEvent, ...]:
    """Return what a crew does that puts everything right."""
    subjects = sorted({subject_of(fault) for fault in CATALOGUE} | set(station.machine_names()))
    names = (*station.machine_names(), "generator")
    return (
        *(ScriptedEvent(at_s, "put right", subject) for subject in subjects),
        *(ScriptedEvent(at_s + 60.0, "auto", name) for name in station.machine_names()),
        *(ScriptedEvent(at_s + 120.0, "reset", name) for name in names),
    )


def day(*events: ScriptedEvent, hours: float = 4.0) -> Episode:
    """Return an episode with a swing of inflow, and what happens."""
    swing = Hydrograph(0.0, (0.0, HOUR, 2 * HOUR, 5 * HOUR), (0.01, 0.05, 0.02, 0.02))
    return episode(hours * HOUR, swing, *events)

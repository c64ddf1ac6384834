"""Published cases that need a station to run: tanks that fill, pumps that cycle, spills.

A case gives a tank, an inflow and pumps of fixed flow; ``RUNS`` says what is read off the run. A
level may be given as a volume, which the tank turns into a level.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta, timezone
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from published_units import si

from stationsim.control.contract import ControlPlan, controller_class, rotation_class
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.storm import Hydrograph
from stationsim.physics.spill import Spillway, coefficient_from_discharge
from stationsim.simulation.session import simulate
from stationsim.station import AlarmSettings, Station

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stationsim.inflow.segments import InflowSource
    from stationsim.physics.well import Well
    from stationsim.trace import PumpRun, Trace

Inputs = dict[str, Any]

VOLUMES = {"m3", "L", "gal", "ft3"}
OUT_OF_REACH_M = 1.0
"""How far above everything else a start level stands that no case reaches: nothing starts."""

A_MONDAY = datetime(2030, 1, 7, tzinfo=timezone(timedelta(0)))


def _level(well: Well, given: Sequence[Any]) -> float:
    value = si(*given)
    return well.level_at(value) if given[1] in VOLUMES else value


def _inflow(given: Inputs) -> InflowSource:
    if "constant" in given:
        return Constant(si(*given["constant"]))
    if "hourly" in given:
        values, unit = given["hourly"]
        mean = si(*given["mean"]) / (sum(values) / len(values)) if "mean" in given else 1.0
        flows = [si(value, unit) * mean for value in values]
        return Daily(flows, flows, steps=given.get("steps", False))
    times, flows = given["times"], given["flows"]
    return Hydrograph(
        si(*given.get("begins", [0.0, "s"])),
        [si(x, times[1]) for x in times[0]],
        [si(x, flows[1]) for x in flows[0]],
    )


def _plan(inputs: Inputs, level: Callable[[str], float | None]) -> ControlPlan:
    rotation = inputs.get("rotation", "fixed")
    settings = controller_class("staging").Settings  # type: ignore[attr-defined]
    stop_m = level("stop")
    start_m = level("lead_start")
    named = [level(name) or 0.0 for name in ("start_level", "high", "low", "spill")]
    return ControlPlan(
        "staging",
        settings(
            lead_start_m=max(named) + OUT_OF_REACH_M if start_m is None else start_m,
            stop_m=0.0 if stop_m is None else stop_m,
            lag_start_m=level("lag_start"),
            lag_stop_m=level("lag_stop"),
            stop_policy=inputs.get("stop_policy", "all together"),
        ),
        rotation,
        rotation_class(rotation).Settings(),  # type: ignore[attr-defined]
    )


def _spillway(inputs: Inputs, level: Callable[[str], float | None]) -> Spillway | None:
    crest = level("spill")
    if crest is None:
        return None
    if "weir_length" not in inputs:
        return Spillway(crest)
    return Spillway(
        crest, si(*inputs["weir_length"]), coefficient_from_discharge(si(*inputs["weir_cd"]))
    )


@lru_cache(maxsize=256)
def _run(text: str, well: Well) -> Trace:
    inputs = json.loads(text)

    def level(name: str) -> float | None:
        return _level(well, inputs[name]) if name in inputs else None

    flows, unit = inputs.get("pumps", [[0.001], "m3/s"])
    totals = inputs.get("totals")
    count = len(totals[0]) if totals else len(flows)
    station = Station(
        name="published case",
        well=well,
        pumps=tuple(
            PumpUnit(f"P{n + 1}", fixed_flow_m3s=None if totals else si(flows[n], unit))
            for n in range(count)
        ),
        control=_plan(inputs, level),
        total_by_number_m3s=tuple(si(x, totals[1]) for x in totals[0]) if totals else None,
        spillway=_spillway(inputs, level),
        alarms=AlarmSettings(high_level_m=level("high"), low_level_m=level("low")),
    )
    duration = si(*inputs["duration"])
    events = ()
    if inputs.get("outage"):
        events = (ScriptedEvent(0.0, "grid loss", "grid", duration + 1.0),)
    episode = Episode(
        start=A_MONDAY + timedelta(hours=inputs.get("start_hour", 0)),
        duration_s=duration,
        inflow=(_inflow(inputs["inflow"]),),
        start_level_m=level("start_level") or 0.0,
        events=events,
    )
    trace = simulate(station, episode).trace
    assert trace.balance_error <= 1e-9
    return trace


def _trace(inputs: Inputs, well: Well) -> Trace:
    return _run(json.dumps(inputs, sort_keys=True), well)


def _alarm(name: str) -> Callable[[Inputs, Well], float]:
    def first(inputs: Inputs, well: Well) -> float:
        return next(row.raised_s for row in _trace(inputs, well).alarms if row.alarm == name)

    return first


def _starts(runs: Sequence[PumpRun]) -> list[float]:
    """Return the starts that count: the first cycle belongs to the state at the beginning."""
    return sorted(run.start_s for run in runs)[1:]


def _period(runs: Sequence[PumpRun]) -> float:
    starts = _starts(runs)
    assert len(starts) >= 4
    return (starts[-1] - starts[0]) / (len(starts) - 1)


def _runs(
    inputs: Inputs, well: Well, *, role: str = "", machine: int | None = None
) -> list[PumpRun]:
    return [
        run
        for run in _trace(inputs, well).runs
        if (not role or run.role == role) and (machine is None or run.machine == machine)
    ]


def _hours(inputs: Inputs, well: Well, machine: int) -> float:
    return sum(run.stop_s - run.start_s for run in _runs(inputs, well, machine=machine))


def _rise(inputs: Inputs, well: Well) -> float:
    trace = _trace(inputs, well)
    return well.volume_at(trace.greatest_level_m) - trace.start_m3


RUNS: dict[str, Callable[[Inputs, Well], float]] = {
    "time to high": _alarm("high level"),
    "time to low": _alarm("low level"),
    "time to spill": lambda inputs, well: _trace(inputs, well).spills[0].start_s,
    "volume spilled": lambda inputs, well: _trace(inputs, well).spilled_m3,
    "run time": lambda inputs, well: _runs(inputs, well)[0].stop_s - _runs(inputs, well)[0].start_s,
    "cycle": lambda inputs, well: _period(_runs(inputs, well)),
    "starts per hour": lambda inputs, well: 1.0 / _period(_runs(inputs, well)),
    "starts per hour of P1": lambda inputs, well: 1.0 / _period(_runs(inputs, well, machine=0)),
    "lag starts per hour": lambda inputs, well: 1.0 / _period(_runs(inputs, well, role="lag")),
    "lead starts": lambda inputs, well: float(len(_runs(inputs, well, role="lead"))),
    "hours P2 over P1": lambda inputs, well: _hours(inputs, well, 1) / _hours(inputs, well, 0),
    "starts P1 over P2": lambda inputs, well: (
        len(_runs(inputs, well, machine=0)) / len(_runs(inputs, well, machine=1))
    ),
    "greatest rise": _rise,
}

"""Rules of pumps: that each has a flow, can lift the water, and suits the well and the inflow."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from stationsim import units
from stationsim.control.rotation import read_shares
from stationsim.errors import PlugInError
from stationsim.findings import Finding
from stationsim.scenario.case import LOGIC, PRACTICE, Case, Findings

if TYPE_CHECKING:
    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.equipment.pumps import PumpUnit
    from stationsim.inflow.segments import Segments

CYCLE = "least cycle 4 V / Q of one pump at an inflow of half its flow: closed form"

LEAST_CYCLE_S = 60.0
"""A cycle shorter than this is taken for a slip in the levels or the shape of the well."""

NO_CYCLE_S = 2.0
"""A cycle shorter than this is made by no motor: it would take years to run, and tell nothing."""

_RESERVED_NAMES = (
    *("grid", "station", "panel", "day", "after", "level"),
    *("generator", "controller", "telemetry", "downstream", "bypass"),
)


def pumps_named(case: Case) -> Findings:
    """Check that names of pumps can be told from the other words of an event."""
    names = [(f"pump.{pump.name}", pump.name) for pump in case.station.pumps]
    names += [(place, engine.pump.name) for place, engine in case.engines()]
    for place, name in names:
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,24}", name) or name.lower() in _RESERVED_NAMES:
            yield Finding(
                place,
                "error",
                "is no name for a pump",
                f"'{name}'",
                "1 to 24 letters, digits, _ or -, and none of " + ", ".join(_RESERVED_NAMES),
                "choose another, such as P1",
                source=LOGIC,
            )


def rotation_shares_fit(case: Case) -> Findings:
    """Check that a rotation by shares has one share for each pump."""
    plan = case.station.control
    shares = getattr(plan.rotation_settings, "shares", None)
    if plan.rotation != "shares" or shares is None:
        return
    try:
        read_shares(shares, len(case.station.pumps))
    except PlugInError as error:
        yield Finding("rotation.shares", "error", str(error), source=LOGIC)


def pumps_have_flows(case: Case) -> Findings:
    """Check that each pump has a flow, or a curve and a main, or the station's total."""
    station = case.station
    total = station.total_by_number_m3s
    machines = [(f"pump.{pump.name}", pump, total is not None) for pump in station.pumps]
    machines += [(place, engine.pump, False) for place, engine in case.engines()]
    without_main: list[tuple[str, str]] = []
    for place, pump, counted in machines:
        if counted:
            if pump.fixed_flow_m3s is not None or pump.curve is not None:
                yield Finding(
                    place,
                    "error",
                    "has a flow or curve, and station.total_flow is given too",
                    fix="keep one of them",
                    source=LOGIC,
                )
        elif pump.fixed_flow_m3s is None and pump.curve is None:
            yield Finding(
                place,
                "error",
                "has neither flow nor curve",
                fix='add flow = "30 L/s", or a curve and [force_main]',
                source=LOGIC,
            )
        elif pump.curve is not None and station.force_main is None:
            without_main.append((place, pump.name))
    if without_main:
        others = ", ".join(name for _, name in without_main[1:])
        yield Finding(
            without_main[0][0],
            "error",
            f"has a curve{f' ({others} too)' if others else ''} and there is no [force_main] to "
            "pump into",
            fix="add [force_main], or give a flow in place of the curve",
            source=LOGIC,
        )


def total_flow_complete(case: Case) -> Findings:
    """Check that the station's total has one value for each pump, and does not fall."""
    total = case.station.total_by_number_m3s
    if total is None:
        return
    if len(total) != len(case.station.pumps):
        yield Finding(
            "station.total_flow",
            "error",
            "must have one value for each electric pump",
            f"{len(total)}",
            f"{len(case.station.pumps)}",
            source=LOGIC,
        )
    if total[:1] == (0.0,):
        yield Finding("station.total_flow", "error", "the first value is nought", source=LOGIC)
    if any(later < one for one, later in pairwise(total)):
        yield Finding(
            "station.total_flow",
            "warning",
            "falls with more pumps running",
            fix="check the order: one running, two running, ...",
            source=PRACTICE,
        )


def main_in_use(case: Case) -> Findings:
    """Check that a force main is of use: it counts only for pumps with a curve."""
    station = case.station
    machines = [*station.pumps, *(engine.pump for engine in station.engines())]
    if station.force_main is not None and all(pump.curve is None for pump in machines):
        yield Finding(
            "force_main",
            "warning",
            "has no effect: no pump has a curve",
            fix="give curves in place of flows, or take it out",
            source=LOGIC,
        )


def pumps_can_lift(case: Case) -> Findings:
    """Check that each pump delivers at its highest start level, and one at the stop level."""
    station, settings = case.station, case.staging
    if station.force_main is None or settings is None or not case.has_flows():
        return
    top = max(level for _, level in case.starts())
    unable = []
    for pump in station.pumps:
        if pump.curve is None:
            continue
        lift = station.force_main.discharge_level_m - settings.stop_m
        if (case.flow_of([pump], top) or 0.0) <= 0.0:
            yield Finding(
                f"pump.{pump.name}",
                "error",
                "cannot lift the water even at its highest start "
                "level: its shut-off head is below the static lift",
                _shutoff(case, pump),
                f"more than {units.show(lift, 'head', case.system)}",
                "check the curve, its speed and wear, and force_main.discharge",
                source=LOGIC,
            )
        elif (case.flow_of([pump], settings.stop_m) or 0.0) <= 0.0:
            unable.append(pump)
    verdict_all = len(unable) == len(station.pumps)
    for pump in unable:
        lift = station.force_main.discharge_level_m - settings.stop_m
        yield Finding(
            f"pump.{pump.name}",
            "error" if verdict_all else "warning",
            "cannot pump down to the stop level by itself",
            _shutoff(case, pump),
            f"more than {units.show(lift, 'head', case.system)}",
            "raise control.stop, or check the curve",
            source=LOGIC,
        )


def capacity_over_inflow(case: Case) -> Findings:
    """Check that firm capacity (largest pump out) covers the greatest inflow."""
    station = case.station
    if not case.has_flows():
        return
    level = max((level for _, level in case.starts()), default=case.episode.start_level_m)
    peak = _peak(case.inflow, case.episode.duration_s)
    everything = case.flow_of(station.pumps, level)
    if everything is None:
        return
    if peak > everything:
        yield Finding(
            "inflow",
            "warning",
            "the greatest inflow is more than all pumps together deliver: the level will rise",
            case.flow(peak),
            f"up to {case.flow(everything)}",
            margin=everything - peak,
            unit="m3/s",
            source=PRACTICE,
        )
        return
    if len(station.pumps) < 2:
        return
    rest = [
        case.flow_of([p for p in station.pumps if p is not out], level) for out in station.pumps
    ]
    firm = min(flow for flow in rest if flow is not None)
    if peak > firm:
        yield Finding(
            "inflow",
            "warning",
            "the greatest inflow is more than the firm capacity (largest pump out)",
            case.flow(peak),
            f"up to {case.flow(firm)}",
            margin=firm - peak,
            unit="m3/s",
            source=PRACTICE,
        )


def cycle_not_tiny(case: Case) -> Findings:
    """Check that the volume between stop and start of each call gives a cycle that can be run.

    With staged stop each call has a volume of its own, and the pump that comes and goes there adds
    to the flow of those that run on.
    """
    settings = case.staging
    if settings is None or not case.has_flows():
        return
    pumps = case.station.pumps
    stages = settings.stages()[: len(pumps)]
    if not stages or settings.stop_m <= 0.0:
        return
    keys = [key for key, _ in case.starts()]
    _, start, stop = stages[0]
    single = max(case.flow_of([pump], start) or 0.0 for pump in pumps)
    between = "control.stop and control.lead_start"
    yield from _cycle_findings(case, keys[0], between, (stop, start), single)
    for number in range(1, len(stages)):
        _, start, stop = stages[number]
        if stop == settings.stop_m:
            continue  # it ends with the lead, and has more than the lead's volume
        with_it = case.flow_of(pumps[: number + 1], start) or 0.0
        added = with_it - (case.flow_of(pumps[:number], start) or 0.0)
        between = f"{keys[number].replace('_start', '_stop')} and {keys[number]}"
        yield from _cycle_findings(case, keys[number], between, (stop, start), added)


def _cycle_findings(
    case: Case, place: str, between: str, span_m: tuple[float, float], flow_m3s: float
) -> Findings:
    """Look at the shortest cycle between two levels: an error when no motor makes it."""
    stop, start = span_m
    if stop >= start or flow_m3s <= 0.0:
        return  # told by another rule
    well = case.station.well
    cycle_s = 4.0 * (well.volume_at(start) - well.volume_at(max(stop, 0.0))) / flow_m3s
    if cycle_s >= LEAST_CYCLE_S:
        return
    impossible = cycle_s < NO_CYCLE_S
    yield Finding(
        place,
        "error" if impossible else "warning",
        f"the volume between {between} is tiny for the pump: the shortest cycle "
        + ("is one that no motor makes" if impossible else "is very short"),
        units.show(cycle_s, "duration", case.system),
        f"{NO_CYCLE_S:g} s or more, and a minute or more in practice"
        if impossible
        else f"{LEAST_CYCLE_S:g} s or more",
        "move the levels apart; check the shape of the well and its units",
        source=CYCLE,
    )


def engine_in_order(case: Case) -> Findings:
    """Check that a pump with an engine stops below its start level, and starts below the spill."""
    for place, engine in case.engines():
        yield from _engine_in_order(case, place, engine)


def _engine_in_order(case: Case, place: str, engine: EnginePump) -> Findings:
    if engine.stop_level_m <= 0.0:
        yield Finding(
            f"{place}.stop",
            "error",
            "does not lie above the floor",
            case.level(engine.stop_level_m),
            case.reference.above(0.0),
            "raise it",
            source=LOGIC,
        )
    if engine.stop_level_m >= engine.start_level_m:
        yield Finding(
            f"{place}.stop",
            "error",
            f"must lie below {place}.start",
            case.level(engine.stop_level_m),
            case.reference.below(engine.start_level_m),
            "lower it",
            source=LOGIC,
        )
    if case.crest_m is not None and engine.start_level_m >= case.crest_m:
        yield Finding(
            f"{place}.start",
            "error",
            "must lie below the spill",
            case.level(engine.start_level_m),
            case.reference.below(case.crest_m),
            "lower it",
            source=LOGIC,
        )
    flow = case.flow_of([engine.pump], engine.start_level_m, engine_driven=True)
    yield from _cycle_findings(
        case,
        f"{place}.start",
        f"{place}.stop and {place}.start",
        (engine.stop_level_m, engine.start_level_m),
        flow or 0.0,
    )
    if engine.tank_m3 != float("inf") and engine.fuel_m3_per_s == 0.0:
        yield Finding(
            f"{place}.tank",
            "warning",
            f"has no effect without {place}.fuel_rate",
            fix="add the fuel rate",
            source=LOGIC,
        )


def _peak(inflow: Segments, until_s: float) -> float:
    """Return the greatest flow up to a time [m3/s]: pieces are linear, so at an end of a piece."""
    inside = inflow.start_s < until_s
    starts = inflow.start_s[inside]
    ends = np.append(starts[1:], until_s)
    first = inflow.flow_m3s[inside]
    last = first + inflow.slope_m3s2[inside] * (ends - starts)
    return float(max(first.max(), last.max()))


def _shutoff(case: Case, pump: PumpUnit) -> str:
    curve = pump.curve_now()
    return "" if curve is None else units.show(curve.shutoff_m, "head", case.system)

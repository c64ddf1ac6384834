"""Criteria of levels: order and spacing, the alarm under the inlet, water over the suction."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from stationsim.outline import set_levels
from stationsim.physics.suction import (
    bell_submergence_m,
    entrance_submergence_m,
    npsh_available_m,
)
from stationsim.studies.check.capacity import Age, ages, flow_m3s, high_water_m, low_water_m
from stationsim.studies.check.criterion import Case, Judged, judge, limit_source, not_judged
from stationsim.units import show

ORDER_SOURCE = "common practice, no source: from the floor up stop, starts, alarm, spill"
INLET_SOURCE = "common practice, no source: the sewer is not used in normal operation"
HI_SOURCE = "ANSI/HI 9.8: S = D (1 + 2.3 Fd)"
MIL_SOURCE = "MIL-HDBK-1005/9A (1997): 1.0 to 2.6 ft at 2 to 5 ft/s in the entrance"
_CONTROL = (
    "stop",
    "lead start",
    "lag start",
    "second lag start",
    "third lag start",
    "standby start",
)


def levels(case: Case) -> Iterator[Judged]:
    """Judge order and spacing of the levels, and the alarm against inlet and spill.

    Parameters
    ----------
    case
        The station.
    """
    known = dict(set_levels(case.station))
    rising = [name for name in (*_CONTROL, "high-level alarm", "spill") if name in known]
    steps = [
        (known[above] - known[below], below, above) for below, above in itertools.pairwise(rising)
    ]
    if not steps:
        yield not_judged("order of levels", "station", "levels at which something is set")
        return
    least, below, above = min(steps)
    yield judge(
        "order of levels", "station", least, "at least", 0.0, "level",
        f"smallest step: {below} to {above}", ORDER_SOURCE,
    )  # fmt: skip
    close = [step for step in steps if step[2] != "spill"]
    least, below, above = min(close)
    yield judge(
        "spacing of levels", "station", least, "at least", case.ratings.limits.least_spacing_m,
        "level", f"smallest step: {below} to {above}", limit_source(case, "least_spacing_m"),
    )  # fmt: skip
    alarm, inlet = known.get("high-level alarm"), known.get("inlet invert")
    if alarm is None or inlet is None:
        lacking = "alarms.high_level" if alarm is None else "station.inlet_invert"
        yield not_judged("alarm under the inlet", "station", lacking, INLET_SOURCE)
    else:
        yield judge(
            "alarm under the inlet", "station", inlet - alarm, "at least", 0.0, "level",
            "from the high-level alarm up to the inlet invert", INLET_SOURCE,
        )  # fmt: skip


def submergence(case: Case) -> Iterator[Judged]:
    """Judge the water over each suction at the stop level, and the suction head where it is known.

    Parameters
    ----------
    case
        The station.
    """
    low = low_water_m(case)
    age = ages(case)[0]
    for index, pump in enumerate(case.station.pumps):
        inlet = case.ratings.inlets.get(pump.name)
        key = f"pump.{pump.name}.inlet"
        if inlet is None or inlet.level_m is None:
            yield not_judged("submergence at the stop level", pump.name, f"{key}: level")
            yield not_judged("suction head", pump.name, f"{key}: level, npsh_required")
            continue
        over = low - inlet.level_m
        flow = flow_m3s(case, age, (index,), low)
        if inlet.least_submergence_m is not None:
            yield judge(
                "submergence at the stop level", pump.name, over, "at least",
                inlet.least_submergence_m, "level", "over the suction opening", "maker's figure",
            )  # fmt: skip
        elif inlet.diameter_m is not None:
            area = 0.7853981633974483 * inlet.diameter_m**2
            by_bell = bell_submergence_m(inlet.diameter_m, flow)
            by_speed = entrance_submergence_m(flow / area)
            source = HI_SOURCE if by_bell >= by_speed else MIL_SOURCE
            yield judge(
                "submergence at the stop level", pump.name, over, "at least",
                max(by_bell, by_speed), "level",
                f"over an opening of {show(inlet.diameter_m, 'diameter', 'si')} at"
                f" {show(flow, 'flow', 'si')}", source,
            )  # fmt: skip
        else:
            yield not_judged(
                "submergence at the stop level", pump.name, f"{key}: least_submergence or diameter"
            )
        yield from _suction_head(case, index, age, low)


def _suction_head(case: Case, index: int, age: Age, low: float) -> Iterator[Judged]:
    name = case.station.pumps[index].name
    inlet = case.ratings.inlets[name]
    if inlet.npsh_required is None or inlet.level_m is None:
        yield not_judged("suction head", name, f"pump.{name}.inlet: npsh_required")
        return
    # alone at high water a pump draws most and needs most; at low water it has least over it
    flow = flow_m3s(case, age, (index,), high_water_m(case))
    required = inlet.npsh_required.at(flow)
    available = npsh_available_m(low - inlet.level_m, 0.0)
    margin = case.ratings.limits.npsh_margin_m
    yield judge(
        "suction head", name, available, "at least", required + margin, "head",
        f"available at the stop level, at sea level and 20 degC; required"
        f" {show(required, 'head', 'si')} at {show(flow, 'flow', 'si')}, and the margin",
        limit_source(case, "npsh_margin_m"),
    )  # fmt: skip


def engine_suction(case: Case) -> Iterator[Judged]:
    """Judge lift and priming of the engine-driven pump.

    Parameters
    ----------
    case
        The station.
    """
    engine, line = case.station.engine_pump, case.ratings.engine_suction
    if engine is None:
        yield not_judged("suction lift", "engine-driven pump", "[engine_pump]")
        return
    name = engine.pump.name
    if line is None:
        yield not_judged("suction lift", name, "[engine_pump.suction]")
        yield not_judged("priming", name, "[engine_pump.suction]")
        return
    limits = case.ratings.limits
    ahead, machines = case.ahead, (len(case.station.pumps),)
    flow = ahead.flow_m3s(machines, case.station.well.volume_at(engine.stop_level_m))
    lift = line.eye_m - engine.stop_level_m
    loss = line.pipe.loss_m(flow) if line.pipe is not None else 0.0
    if line.npsh_required_m is None:
        yield not_judged("suction lift", name, "engine_pump.suction: npsh_required")
    else:
        yield judge(
            "suction lift", name, lift + loss + line.npsh_required_m, "at most",
            limits.most_priming_lift_m, "head",
            f"lift {show(lift, 'head', 'si')} at its stop level, loss {show(loss, 'head', 'si')},"
            f" and the head required", limit_source(case, "most_priming_lift_m"),
        )  # fmt: skip
    if line.most_priming_lift_m is None:
        yield not_judged("priming", name, "engine_pump.suction: most_priming_lift")
    else:
        start = line.eye_m - engine.start_level_m
        yield judge(
            "priming", name, line.most_priming_lift_m - start, "at least",
            limits.priming_margin_m, "head",
            f"it primes from {show(line.most_priming_lift_m, 'head', 'si')}, and stands"
            f" {show(start, 'head', 'si')} over its start level",
            limit_source(case, "priming_margin_m"),
        )  # fmt: skip

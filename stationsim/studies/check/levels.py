"""Criteria of levels: order and spacing, the alarm under the inlet, water over the suction."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from stationsim.equipment.ratings import PumpInlet
from stationsim.outline import set_levels
from stationsim.physics.operating import operating_point
from stationsim.physics.suction import (
    bell_submergence_m,
    entrance_submergence_m,
    npsh_available_m,
)
from stationsim.studies.check.capacity import ages, flow_m3s
from stationsim.studies.check.criterion import (
    Case,
    Judged,
    Told,
    high_water,
    judge,
    limit_source,
    low_water,
    not_judged,
    stages_of,
)
from stationsim.units import show

ORDER_SOURCE = "common practice, no source: from the floor up stop, starts, alarm, spill"
INLET_SOURCE = "common practice, no source: the sewer is not used in normal operation"
HI_SOURCE = "ANSI/HI 9.8 as quoted elsewhere, standard not read: S = D (1 + 2.3 Fd)"
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
        for name in ("order of levels", "spacing of levels"):
            yield not_judged(name, "station", "levels at which something is set")
    else:
        least, below, above = min(steps)
        yield judge(
            "order of levels", "station", least, "at least", 0.0, "level",
            f"smallest step: {below} to {above}", ORDER_SOURCE,
        )  # fmt: skip
    close = [step for step in steps if step[2] != "spill"]
    low = low_water(case.station).level_m
    close += [
        (start - stop, f"{role} stop", f"{role} start")
        for role, start, stop in stages_of(case.station)
        if stop > low
    ]
    if close:
        least, below, above = min(close)
        yield judge(
            "spacing of levels", "station", least, "at least",
            case.ratings.limits.least_spacing_m, "level",
            f"smallest step: {below} to {above}", limit_source(case, "least_spacing_m"),
        )  # fmt: skip
    elif steps:
        yield not_judged("spacing of levels", "station", "levels at which pumps start and stop")
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
    for index, pump in enumerate(case.station.pumps):
        inlet = case.ratings.inlets.get(pump.name, PumpInlet())
        low = low_water(case.station).level_m
        flow = flow_m3s(case, ages(case)[0], (index,), low)
        yield _submerged(pump.name, inlet, low, flow)
        yield _entrance(case, pump.name, inlet, index)
        yield _suction_head(case, pump.name, inlet, index)


def _submerged(name: str, inlet: PumpInlet, low_m: float, flow_m3s: float) -> Judged:
    criterion, key = "submergence at the stop level", f"pump.{name}.inlet"
    if inlet.level_m is None:
        return not_judged(criterion, name, f"{key}: level")
    over = low_m - inlet.level_m
    if inlet.least_submergence_m is not None:
        return judge(
            criterion, name, over, "at least", inlet.least_submergence_m, "level",
            "water over the suction opening", "maker's figure",
        )  # fmt: skip
    if inlet.diameter_m is None:
        return not_judged(criterion, name, f"{key}: least_submergence or diameter")
    by_bell = bell_submergence_m(inlet.diameter_m, flow_m3s)
    by_speed = entrance_submergence_m(flow_m3s / _area_m2(inlet.diameter_m))
    if not math.isfinite(by_speed):  # beyond the table: the velocity itself is judged
        by_speed = 0.0
    return judge(
        criterion, name, over, "at least", max(by_bell, by_speed), "level",
        (
            "water over an opening of ", Told(inlet.diameter_m, "diameter"), " at ",
            Told(flow_m3s, "flow"),
        ),
        HI_SOURCE if by_bell >= by_speed else MIL_SOURCE,
    )  # fmt: skip


def _area_m2(diameter_m: float) -> float:
    return math.pi * diameter_m * diameter_m / 4.0


def _entrance(case: Case, name: str, inlet: PumpInlet, index: int) -> Judged:
    criterion = "entrance velocity"
    if inlet.diameter_m is None:
        return not_judged(criterion, name, f"pump.{name}.inlet: diameter")
    water = high_water(case.station)
    flow = flow_m3s(case, ages(case)[0], (index,), water.level_m)
    return judge(
        criterion, name, flow / _area_m2(inlet.diameter_m), "at most",
        case.ratings.limits.most_entrance_velocity_ms, "velocity",
        (
            "alone at ", water.name, ", ", Told(flow, "flow"), " through ",
            Told(inlet.diameter_m, "diameter"),
        ),
        limit_source(case, "most_entrance_velocity_ms"),
    )  # fmt: skip


def _suction_head(case: Case, name: str, inlet: PumpInlet, index: int) -> Judged:
    criterion = "suction head"
    lacking = [
        key
        for key, value in (("level", inlet.level_m), ("npsh_required", inlet.npsh_required))
        if value is None
    ]
    if inlet.npsh_required is None or inlet.level_m is None:
        return not_judged(criterion, name, f"pump.{name}.inlet: {', '.join(lacking)}")
    # alone at high water a pump draws most and needs most; at low water it has least over it
    flow = flow_m3s(case, ages(case)[0], (index,), high_water(case.station).level_m)
    if flow > inlet.npsh_required.flows_m3s[-1] * (1.0 + 1e-9):
        needs = f"pump.{name}.inlet: npsh_required up to {show(flow, 'flow', 'si')}"
        return not_judged(criterion, name, needs)
    required = inlet.npsh_required.at(flow)
    available = npsh_available_m(low_water(case.station).level_m - inlet.level_m, 0.0)
    margin = case.ratings.limits.npsh_margin_m
    return judge(
        criterion, name, available, "at least", required + margin, "head",
        (
            "available at the stop level, at sea level and 20 degC; required ",
            Told(required, "head"), " at ", Told(flow, "flow"), ", and a margin of ",
            Told(margin, "head"),
        ),
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
    if engine is None or line is None:
        subject = "engine-driven pump" if engine is None else engine.pump.name
        lacking = "[engine_pump]" if engine is None else "[engine_pump.suction]"
        yield not_judged("suction lift", subject, lacking)
        yield not_judged("priming", subject, lacking)
        return
    name, limits = engine.pump.name, case.ratings.limits
    flow = operating_point([engine.pump], ages(case)[0].main, engine.stop_level_m).total_m3s
    lift, asked = line.lift_m(engine.stop_level_m), line.asked_m(engine.stop_level_m, flow)
    if asked is None or line.pipe is None or line.npsh_required_m is None:
        keys = ["length", "diameter"] if line.pipe is None else []
        keys += ["npsh_required"] if line.npsh_required_m is None else []
        yield not_judged("suction lift", name, f"engine_pump.suction: {', '.join(keys)}")
    else:
        loss = line.pipe.loss_m(flow)
        yield judge(
            "suction lift", name, asked, "at most",
            limits.most_priming_lift_m, "head",
            (
                "lift ", Told(lift, "head"), " at its stop level, loss ", Told(loss, "head"),
                " at ", Told(flow, "flow"), ", head required ", Told(line.npsh_required_m, "head"),
            ),
            limit_source(case, "most_priming_lift_m"),
        )  # fmt: skip
    if line.most_priming_lift_m is None:
        yield not_judged("priming", name, "engine_pump.suction: most_priming_lift")
    else:
        start = line.lift_m(engine.start_level_m)
        yield judge(
            "priming", name, line.most_priming_lift_m - start, "at least",
            limits.priming_margin_m, "head",
            (
                "it primes from ", Told(line.most_priming_lift_m, "head"), ", and stands ",
                Told(start, "head"), " over its start level",
            ),
            limit_source(case, "priming_margin_m"),
        )  # fmt: skip

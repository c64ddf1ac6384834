"""Published cases of what criteria ask: surge, suction, currents of motors and their starts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from published_units import si

from stationsim.physics.electrics import (
    START_RATIO,
    apparent_va,
    line_current_a,
    motor_current_a,
    shortest_cycle_s,
    start_limit,
)
from stationsim.physics.forcemain import Pipe
from stationsim.physics.pumps import G
from stationsim.physics.suction import (
    bell_submergence_m,
    entrance_submergence_m,
    npsh_available_m,
)
from stationsim.physics.surge import head_rise_m, wave_speed_ms, wave_time_s

if TYPE_CHECKING:
    from collections.abc import Callable

Inputs = dict[str, Any]


def _of(inputs: Inputs, name: str, default: float = math.nan) -> float:
    return si(*inputs[name]) if name in inputs else default


def _velocity_ms(inputs: Inputs) -> float:
    if "velocity" in inputs:
        return _of(inputs, "velocity")
    return Pipe(0.0, _of(inputs, "diameter"), "none").velocity_ms(_of(inputs, "flow"))


def solve_surge(inputs: Inputs, answer: Inputs) -> float:
    """Return what comes of a sudden stop; a pressure is that of the head in water as dense."""
    density = _of(inputs, "density", 1000.0)
    if "wave_speed" in inputs:
        speed = _of(inputs, "wave_speed")
    elif "wall" in inputs:
        if "rigid_speed" in inputs:
            density = _of(inputs, "bulk") / _of(inputs, "rigid_speed") ** 2
        speed = wave_speed_ms(
            _of(inputs, "bulk"),
            density,
            _of(inputs, "diameter"),
            _of(inputs, "wall"),
            _of(inputs, "modulus"),
        )
    else:
        speed = wave_speed_ms(_of(inputs, "bulk"), density)
    found: dict[str, Callable[[], float]] = {
        "wave speed": lambda: speed,
        "wave time": lambda: wave_time_s(_of(inputs, "length"), speed),
        "velocity": lambda: _velocity_ms(inputs),
        "head": lambda: head_rise_m(speed, _velocity_ms(inputs)),
        "pressure": lambda: density * G * head_rise_m(speed, _velocity_ms(inputs)),
    }
    return found[answer["of"]]()


def solve_suction_head(inputs: Inputs, answer: Inputs) -> float:
    """Return the head available, or the lift that leaves what is required."""
    weight = _of(inputs, "weight") * G if "weight" in inputs else math.nan
    air, vapour = (
        _of(inputs, name) if inputs[name][1] in ("ft", "m") else _of(inputs, name) / weight
        for name in ("air", "vapour")
    )
    loss = sum(si(x, inputs["losses"][1]) for x in inputs["losses"][0]) if "losses" in inputs else 0
    if "fittings_k" in inputs:
        pipe = Pipe(0.0, _of(inputs, "diameter", 1.0), "none", fittings_k=_of(inputs, "fittings_k"))
        flow = _of(inputs, "flow") if "flow" in inputs else pipe.area_m2 * _of(inputs, "velocity")
        loss += pipe.loss_m(flow)
    available = npsh_available_m(_of(inputs, "over_eye", 0.0), loss, air, vapour)
    return {
        "available": available,
        "lift": available - _of(inputs, "required", 0.0),
    }[answer["of"]]


def solve_submergence(inputs: Inputs, answer: Inputs) -> float:
    """Return the least water over an inlet."""
    found: dict[str, Callable[[], float]] = {
        "by bell": lambda: bell_submergence_m(_of(inputs, "diameter"), _of(inputs, "flow")),
        "by entrance velocity": lambda: entrance_submergence_m(_of(inputs, "velocity")),
    }
    return found[answer["of"]]()


def solve_motor_starts(inputs: Inputs, answer: Inputs) -> float:
    """Return how often a motor may start, or how long it must rest."""
    rated = _of(inputs, "rated")
    if answer["of"] == "shortest cycle":
        cycle = shortest_cycle_s(rated)
        assert cycle is not None
        return cycle
    inertia = _of(inputs, "inertia") if "inertia" in inputs else None
    limit = start_limit(rated, inputs["poles"], inertia)
    assert limit is not None
    return {"starts": limit.per_hour / 3600.0, "rest": limit.off_s}[answer["of"]]


def solve_motor_current(inputs: Inputs, answer: Inputs) -> float:
    """Return currents and powers of a motor at its rating, and while it starts."""
    rated, voltage = _of(inputs, "rated"), _of(inputs, "voltage")
    efficiency, factor = _of(inputs, "efficiency"), _of(inputs, "power_factor")
    starting = rated * _of(inputs, "code")
    found: dict[str, Callable[[], float]] = {
        "running current": lambda: motor_current_a(rated, voltage, efficiency, factor),
        "running apparent power": lambda: apparent_va(
            motor_current_a(rated, voltage, efficiency, factor), voltage
        ),
        "starting apparent power": lambda: starting,
        "starting current": lambda: line_current_a(starting, voltage),
        "starting current by autotransformer": lambda: (
            line_current_a(starting, voltage)
            * START_RATIO["autotransformer"]
            / START_RATIO["direct"]
        ),
        "starting current by star-delta": lambda: (
            _of(inputs, "direct") * START_RATIO["star-delta"] / START_RATIO["direct"]
        ),
    }
    return found[answer["of"]]()


CRITERIA: dict[str, Callable[[Inputs, Inputs], float]] = {
    "surge": solve_surge,
    "suction head": solve_suction_head,
    "submergence": solve_submergence,
    "motor starts": solve_motor_starts,
    "motor current": solve_motor_current,
}

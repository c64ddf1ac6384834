"""Published cases of a day of acceptance: gauges, drawdown tests, loads of motors, grades.

What two gauges and an ammeter say of a pump, what a stopwatch and a level say, which current and
speed go with an input, and between which limits a promised point is accepted.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from published_units import si

from stationsim.physics.drawdown import Drawdown, Timed, drawdown
from stationsim.physics.electrics import (
    apparent_va,
    no_load_limits_a,
    part_load_current_a,
    running_speed,
)
from stationsim.physics.gauge import (
    column_m,
    gauge_pa,
    head_of_gauge_m,
    pressure_pa,
    velocity_head_m,
)
from stationsim.physics.grades import GRADES, SMALL, SMALL_NAME, GradeTolerance, default_grade
from stationsim.physics.pumps import FlowTable, PowerDraw, water_power_w
from stationsim.physics.well import Well, box, cylinder

if TYPE_CHECKING:
    from collections.abc import Callable

Inputs = dict[str, Any]


def _of(inputs: Inputs, name: str, default: float = math.nan) -> float:
    return si(*inputs[name]) if name in inputs else default


def _gauge_head_m(gauge: Inputs, flow_m3s: float) -> float:
    bore = si(*gauge["bore"]) if "bore" in gauge else None
    return head_of_gauge_m(si(*gauge["reads"]), _of(gauge, "dial", 0.0), flow_m3s, bore)


def solve_pump_test(inputs: Inputs, answer: Inputs) -> float:
    """Return what a test of a pump came to: two gauges, a flow, and what the motor drew."""
    flow = _of(inputs, "flow")
    head = _gauge_head_m(inputs["discharge"], flow) - _gauge_head_m(inputs["suction"], flow)
    motor = _of(inputs, "motor_efficiency", 1.0)
    drawn = _of(inputs, "input")
    if "current" in inputs:
        drawn = apparent_va(_of(inputs, "current"), _of(inputs, "voltage"))
        drawn *= _of(inputs, "power_factor")
    perfect = PowerDraw(efficiency=FlowTable((0.0, 1.0), (1.0, 1.0)), motor_efficiency=motor)
    found: dict[str, Callable[[], float]] = {
        "head": lambda: head,
        "water power": lambda: water_power_w(flow, head),
        "input": lambda: drawn,
        "motor output": lambda: drawn * motor,
        "efficiency": lambda: perfect.input_at(flow, head) / drawn,
    }
    return found[answer["of"]]()


def solve_gauge(inputs: Inputs, answer: Inputs) -> float:
    """Return what one gauge, or one pipe, comes to."""
    found: dict[str, Callable[[], float]] = {
        "column": lambda: column_m(_of(inputs, "reads")),
        "pressure": lambda: pressure_pa(_of(inputs, "column")),
        "shown": lambda: gauge_pa(
            _of(inputs, "head"),
            _of(inputs, "dial"),
            _of(inputs, "flow", 0.0),
            _of(inputs, "bore") if "bore" in inputs else None,
        ),
        "velocity head": lambda: velocity_head_m(_of(inputs, "flow"), _of(inputs, "bore")),
    }
    return found[answer["of"]]()


def _timed(given: Inputs, well: Well) -> Timed:
    """Return a timed fall or rise: a volume, or two levels of the well, or a known flow."""
    if "flow" in given:
        return Timed(si(*given["flow"]) * 60.0, 60.0)
    if "volume" in given:
        return Timed(si(*given["volume"]), si(*given["time"]))
    low, high = (well.volume_at(si(*given[name])) for name in ("from", "to"))
    return Timed(high - low, si(*given["time"]))


def solve_drawdown(inputs: Inputs, answer: Inputs) -> float:
    """Return what a fall, and the rises around it, say of a pump; or what a rise says alone."""
    basin = inputs.get("basin", {"diameter": [1.0, "m"]})
    if "diameter" in basin:
        well = Well((cylinder(si(*basin["diameter"])),))
    else:
        well = Well((box(si(*basin["length"]), si(*basin["width"])),))
    rises = [_timed(given, well) for given in inputs.get("rises", [])]
    if "fall" not in inputs:
        (rise,) = rises
        assert answer["of"] == "flow of the rise"
        return rise.flow_m3s
    rise = _timed(inputs["fall"], well)  # a fall is given from above to below: a rise below nought
    found: Drawdown = drawdown(Timed(-rise.volume_m3, rise.time_s), rises)
    return {
        "flow": found.flow_m3s,
        "inflow": found.inflow_m3s,
        "flow without inflow": found.without_inflow_m3s,
        "part left out": found.part_left_out,
    }[answer["of"]]


def solve_motor_load(inputs: Inputs, answer: Inputs) -> float:
    """Return what a motor draws, or how fast it turns, at a part of its load."""
    voltage, current = _of(inputs, "voltage"), _of(inputs, "current")
    factor = _of(inputs, "power_factor")
    found: dict[str, Callable[[], float]] = {
        "current": lambda: part_load_current_a(
            _of(inputs, "input"),
            voltage,
            3,
            _of(inputs, "full_load"),
            factor,
            _of(inputs, "no_load") if "no_load" in inputs else None,
        ),
        "input": lambda: apparent_va(current, voltage) * factor,
        "most with no load": lambda: no_load_limits_a(_of(inputs, "full_load"), factor)[1],
        "speed": lambda: (
            60.0
            * running_speed(
                _of(inputs, "rated_speed") / 60.0, inputs["poles"], _of(inputs, "load_part")
            )
        ),
    }
    return found[answer["of"]]()


def _grade(inputs: Inputs) -> GradeTolerance:
    if "rated" in inputs:
        return default_grade(si(*inputs["rated"]))[1]
    return SMALL if inputs["grade"] == SMALL_NAME else GRADES[inputs["grade"]]


def solve_grade(inputs: Inputs, answer: Inputs) -> float:
    """Return one of the limits between which a promised point is accepted."""
    grade = _grade(inputs)
    flows = grade.flow_limits_m3s(_of(inputs, "flow"))
    heads = grade.head_limits_m(_of(inputs, "head"))
    found = {
        "least flow": flows[0],
        "most flow": flows[1],
        "least head": heads[0],
        "most head": heads[1],
        "power above": grade.power_high,
        "efficiency below": grade.efficiency_low,
    }[answer["of"]]
    assert found is not None
    return found


ACCEPTANCE: dict[str, Callable[[Inputs, Inputs], float]] = {
    "pump test": solve_pump_test,
    "gauge": solve_gauge,
    "drawdown": solve_drawdown,
    "motor load": solve_motor_load,
    "acceptance grade": solve_grade,
}

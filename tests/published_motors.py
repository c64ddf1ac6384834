"""Published cases of motor heating: readings, duties and loads, through the thermal model.

Rises are temperatures over an ambient of 0. A load's losses are taken as the square of the load, as
the sources do.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from published_units import si
from scipy.optimize import brentq

from stationsim.physics.motor import MotorHeat, cooling_from_readings, heating_from_readings

if TYPE_CHECKING:
    from collections.abc import Callable

Inputs = dict[str, Any]

FAR_C = 1e6
"""A trip that no case reaches."""


def motor_of(inputs: Inputs) -> MotorHeat:
    """Return the motor of a case; what it doesn't state has no part in its answers."""
    heating = si(*inputs["heating"])
    return MotorHeat(
        ambient_c=si(*inputs.get("ambient", [0.0, "degC"])),
        full_rise_k=si(*inputs.get("full_rise", [100.0, "K"])),
        heating_time_constant_s=heating,
        cooling_time_constant_s=si(*inputs["cooling"]) if "cooling" in inputs else heating,
        trip_c=si(*inputs.get("trip", [FAR_C, "degC"])),
        reset_c=si(*inputs.get("reset", [-FAR_C, "degC"])),
    )


def solve_readings(inputs: Inputs, answer: Inputs) -> float:
    """Return what two readings say of a motor: one more, while it cools, may follow."""
    readings, unit = inputs["readings"]
    ambient = si(*inputs.get("ambient", [0.0, unit]))
    first, second = (si(x, unit) - ambient for x in readings)
    time_constant, final_rise = heating_from_readings(si(*inputs["every"]), first, second)
    found: dict[str, Callable[[], float]] = {
        "heating time constant": lambda: time_constant,
        "final temperature": lambda: ambient + final_rise,
        "cooling time constant": lambda: cooling_from_readings(
            si(*inputs["cools_in"]), final_rise, si(*inputs["cools_to"]) - ambient
        ),
    }
    return found[answer["of"]]()


def solve_heating(inputs: Inputs, answer: Inputs) -> float:
    """Return a temperature or a time of one run or of a duty."""
    motor = motor_of(inputs)
    run, rest = (si(*inputs[name]) if name in inputs else 0.0 for name in ("run", "rest"))
    start = si(*inputs.get("start", [motor.ambient_c, "degC"]))
    heat = inputs.get("heat", 1.0)
    found: dict[str, Callable[[], float]] = {
        "temperature after run": lambda: motor.after_running_c(start, run, heat),
        "temperature after run and rest": lambda: motor.after_standing_c(
            motor.after_running_c(start, run, heat), rest
        ),
        "greatest temperature": lambda: motor.periodic_extremes_c(run, rest, heat)[1],
        "least temperature": lambda: motor.periodic_extremes_c(run, rest, heat)[0],
        "time to trip": lambda: motor.time_to_trip_s(start, heat),
        "time to reset": lambda: motor.time_to_reset_s(start),
    }
    return found[answer["of"]]()


def solve_load(inputs: Inputs, answer: Inputs) -> float:
    """Return the load at which a duty just reaches the rise of the rated load."""
    motor, run = motor_of(inputs), si(*inputs["run"])
    greatest: dict[str, Callable[[float], float]] = {
        "short-time load": lambda heat: motor.after_running_c(motor.ambient_c, run, heat),
        "duty load": lambda heat: motor.periodic_extremes_c(run, si(*inputs["rest"]), heat)[1],
    }
    reached = greatest[answer["of"]]
    heat = brentq(lambda h: reached(h) - motor.final_c(), 0.0, 1e3, xtol=1e-12)
    return si(*inputs["rated"]) * math.sqrt(heat)


def solve_no_load(inputs: Inputs, answer: Inputs) -> float:
    """Return rises of a duty that never stands: load, then no load, the least rise being known."""
    motor = motor_of(inputs)
    least, idle_heat = si(*inputs["least_rise"]), si(*inputs["no_load_rise"]) / motor.full_rise_k
    greatest = brentq(
        lambda rise: motor.after_running_c(rise, si(*inputs["no_load"]), idle_heat) - least,
        least,
        1e3,
    )
    if answer["of"] == "greatest temperature":
        return greatest
    assert answer["of"] == "final temperature under load"
    run = si(*inputs["run"])
    heat = brentq(lambda h: motor.after_running_c(least, run, h) - greatest, 0.0, 1e3)
    return motor.final_c(heat)


MOTORS: dict[str, Callable[[Inputs, Inputs], float]] = {
    "readings of a motor": solve_readings,
    "heating": solve_heating,
    "load of a duty": solve_load,
    "load and no load": solve_no_load,
}

"""Published cases of the sewer as storage: sections of a round pipe, and volumes below a level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest
from published_units import si
from scipy.optimize import minimize_scalar

from stationsim.physics.sewer import (
    Manhole,
    Sewer,
    SewerPipe,
    half_angle,
    hydraulic_radius_m,
    wetted_area_m2,
    wetted_perimeter_m,
)
from stationsim.physics.well import Well, cylinder

if TYPE_CHECKING:
    from collections.abc import Callable

Inputs = dict[str, Any]

SHAFT_M = 2.0


def solve_section(inputs: Inputs, answer: Inputs) -> float:
    """Return something of the wetted section of a round pipe at a depth."""
    diameter = si(*inputs["diameter"])
    depth = si(*answer["at"])
    full_m2 = wetted_area_m2(diameter, diameter)
    found: dict[str, Callable[[], float]] = {
        "area": lambda: wetted_area_m2(depth, diameter),
        "perimeter": lambda: wetted_perimeter_m(depth, diameter),
        "half angle": lambda: half_angle(depth, diameter),
        "area over full": lambda: wetted_area_m2(depth, diameter) / full_m2,
        "radius over full": lambda: (
            hydraulic_radius_m(depth, diameter) / hydraulic_radius_m(diameter, diameter)
        ),
    }
    return found[answer["of"]]()


def solve_best_depth(inputs: Inputs, answer: Inputs) -> float:
    """Return the depth, in diameters, at which area^a radius^b is greatest."""
    assert answer["of"] == "depth over diameter"
    area_power, radius_power = inputs["area_power"], inputs["radius_power"]

    def less(depth: float) -> float:
        return -(wetted_area_m2(depth, 1.0) ** area_power) * (
            hydraulic_radius_m(depth, 1.0) ** radius_power
        )

    best = minimize_scalar(less, bounds=(0.5, 1.0), method="bounded", options={"xatol": 1e-9})
    return float(best.x)


def sewer_of(inputs: Inputs) -> Sewer:
    """Return the sewer of a case; a pipe begins where the one before it ends, unless it is told."""
    pipes: list[SewerPipe] = []
    for given in inputs["pipes"]:
        invert = si(*given["invert"]) if "invert" in given else pipes[-1].upper_invert_m
        diameter, length = si(*given["diameter"]), si(*given["length"])
        pipes.append(SewerPipe(diameter, length, given.get("slope", 0.0), invert))
    manholes = tuple(
        Manhole(si(*given["diameter"]), si(*given["foot"]), si(*given["cover"]))
        for given in inputs.get("manholes", ())
    )
    return Sewer(tuple(pipes), manholes)


def solve_sewer(inputs: Inputs, answer: Inputs) -> float:
    """Return the volume below a level; the pieces in a well must hold the same."""
    assert answer["of"] == "volume"
    sewer, at = sewer_of(inputs), si(*answer["at"])
    well = Well((cylinder(SHAFT_M), *sewer.parts()))
    shaft_m3 = math.pi / 4.0 * SHAFT_M**2 * at
    volume = sewer.volume_at(at)
    assert well.volume_at(at) - shaft_m3 == pytest.approx(volume, rel=1e-6)
    return volume


SEWERS: dict[str, Callable[[Inputs, Inputs], float]] = {
    "section": solve_section,
    "best depth": solve_best_depth,
    "sewer": solve_sewer,
}

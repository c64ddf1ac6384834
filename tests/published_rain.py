"""Published cases of rain, of what it brings, and of a hydrograph through a pond.

``RAIN`` gives the solver of each kind, as `test_published` wants it.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from published_units import si
from scipy.optimize import minimize_scalar

from stationsim.inflow.rain import (
    IntensityLaw,
    Rain,
    block,
    chicago,
    from_depths,
    from_fractions,
    nrcs,
)
from stationsim.inflow.segments import from_points
from stationsim.inflow.unit_hydrographs import RainDerived, Response
from stationsim.physics.balance import advance

if TYPE_CHECKING:
    from collections.abc import Callable

Inputs = dict[str, Any]
Answer = dict[str, Any]

A_MONDAY = datetime(2030, 1, 7)
HOUR_S = 3600.0


def _many(given: list[Any]) -> list[float]:
    return [si(value, given[1]) for value in given[0]]


def rain_of(given: Inputs) -> Rain:
    """Return the rain of a case."""
    kinds: dict[str, Callable[[], Rain]] = {
        "block": lambda: block(0.0, si(*given["depth"]), si(*given["lasts"])),
        "24 hours": lambda: nrcs(0.0, si(*given["depth"]), given["type"]),
        "chicago": lambda: chicago(
            0.0,
            si(*given["lasts"]),
            IntensityLaw.from_printed(*given["law"]),
            peak_at=given["peak_at"],
            interval_s=si(*given["interval"]),
        ),
        "fractions": lambda: from_fractions(
            0.0, _many(given["times"]), given["fractions"], si(*given["depth"])
        ),
        "depths": lambda: from_depths(0.0, _many(given["times"]), _many(given["depths"])),
    }
    return kinds[given["kind"]]()


def solve_rain(inputs: Inputs, answer: Answer) -> float:
    rain = rain_of(inputs["rain"])

    def between(first_s: float, last_s: float) -> float:
        fallen = rain.fallen_by_m([first_s, last_s])
        return float(fallen[1] - fallen[0])

    def centroid() -> float:
        edges = np.asarray(rain.times_s)
        return float(np.sum(np.diff(rain.fallen_m) * (edges[1:] + edges[:-1]) / 2.0) / rain.depth_m)

    found: dict[str, Callable[[], float]] = {
        "depth": lambda: rain.depth_m,
        "fallen": lambda: float(rain.fallen_by_m(si(*answer["at"]))),
        "part fallen": lambda: float(rain.fallen_by_m(si(*answer["at"]))) / rain.depth_m,
        "fallen between": lambda: between(si(*answer["at"]), si(*answer["to"])),
        # the depth is straight between the table's times, so the greatest window begins at one
        "greatest in": lambda: max(
            between(time, time + si(*answer["span"])) for time in rain.times_s
        ),
        "greatest intensity": lambda: float(rain.intensity_ms.max()),
        "start of greatest intensity": lambda: rain.times_s[int(rain.intensity_ms.argmax())],
        "centroid": centroid,
    }
    return found[answer["of"]]()


def solve_derived(inputs: Inputs, answer: Answer) -> float:
    responses = tuple(
        Response(fraction, si(*peak), ratio) for fraction, peak, ratio in inputs["responses"]
    )
    source = RainDerived(rain_of(inputs["rain"]), si(*inputs["area"]), responses)
    end_s = source.rain.ends_s + max(response.base_s for response in responses)
    pieces = source.segments(A_MONDAY, end_s)

    def peak() -> tuple[float, float]:
        near = float(pieces.start_s[int(pieces.flow_m3s.argmax())])
        found = minimize_scalar(
            lambda time: -float(source.flow_at_m3s([time])[0]),
            bounds=(max(near - 900.0, 0.0), near + 900.0),
            method="bounded",
            options={"xatol": 1e-6},
        )
        return float(found.x), -float(found.fun)

    def between(first_s: float, last_s: float) -> float:
        return pieces.volume_m3(last_s) - pieces.volume_m3(first_s)

    found: dict[str, Callable[[], float]] = {
        "volume": lambda: pieces.volume_m3(end_s),
        "volume between": lambda: between(si(*answer["at"]), si(*answer["to"])),
        "greatest hourly mean": lambda: max(
            between(hour * HOUR_S, (hour + 1) * HOUR_S) / HOUR_S
            for hour in range(math.floor(end_s / HOUR_S))
        ),
        "peak": lambda: peak()[1],
        "time of peak": lambda: peak()[0],
    }
    return found[answer["of"]]()


def solve_pond(inputs: Inputs, answer: Answer) -> float:
    """Take a hydrograph through a pond whose outflow is straight between tabulated storages."""
    inflow = from_points(_many(inputs["times"]), _many(inputs["flows"]))
    storage, outflow = _many(inputs["storage"]), _many(inputs["outflow"])
    slope = list(np.diff(outflow) / np.diff(storage))
    slope.append(slope[-1])
    until_s = (
        si(*answer["at"]) if "at" in answer else si(inputs["times"][0][-1], inputs["times"][1])
    )
    found = advance(
        0.0,
        storage[0],
        0,
        until_s,
        inflow.start_s.tolist(),
        inflow.flow_m3s.tolist(),
        inflow.slope_m3s2.tolist(),
        storage,
        outflow,
        slope,
        (),
        math.inf,
        [0.0] * len(storage),
        [0.0] * len(storage),
        (math.inf,),
        [],
        0,
    )
    return {
        "storage": found.v_m3,
        "outflow": float(np.interp(found.v_m3, storage, outflow)),
        "greatest storage": found.greatest_m3,
        "time of greatest storage": found.greatest_s,
        "greatest outflow": float(np.interp(found.greatest_m3, storage, outflow)),
    }[answer["of"]]


RAIN: dict[str, Callable[[Inputs, Answer], float]] = {
    "rain": solve_rain,
    "rain-derived": solve_derived,
    "pond": solve_pond,
}

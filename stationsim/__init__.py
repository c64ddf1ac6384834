"""stationsim: rehearse a wastewater lift station before it happens.

A scenario file describes a station and an episode; a run of it says how the level moves, which
pump runs and why, and whether anything spills. A planning and teaching tool: it never controls
equipment, and what it says defers to local codes and licensed practice.

>>> from stationsim import load_scenario, simulate      # doctest: +SKIP
>>> station, episode = load_scenario("my-station.toml")  # doctest: +SKIP
>>> result = simulate(station, episode)                  # doctest: +SKIP
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.scenario.load import load_scenario
    from stationsim.simulation.session import Session, simulate
    from stationsim.station import Station

__version__ = "0.1.0"

__all__ = [
    "Episode",
    "Result",
    "Session",
    "Station",
    "__version__",
    "load_scenario",
    "simulate",
]

_WHERE = {
    "Episode": "stationsim.episode",
    "Result": "stationsim.results",
    "Session": "stationsim.simulation.session",
    "Station": "stationsim.station",
    "load_scenario": "stationsim.scenario.load",
    "simulate": "stationsim.simulation.session",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for: the heavy libraries stay out till then."""
    module = _WHERE.get(name)
    if module is None:
        message = f"module 'stationsim' has no attribute '{name}'"
        raise AttributeError(message)
    value = getattr(importlib.import_module(module), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)

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
    from stationsim.studies.acceptance.study import acceptance
    from stationsim.studies.check.fitness import check
    from stationsim.studies.compare import compare
    from stationsim.studies.drill import Drill, debrief
    from stationsim.studies.rehearse.hours import HoursAsked, rehearse
    from stationsim.studies.rehearse.now import NowAsked, Rise, from_now
    from stationsim.studies.rehearse.plan import PlanAsked, rehearse_plan
    from stationsim.study_result import StudyResult
    from stationsim.why.asking import ask_why

__version__ = "0.1.0"

__all__ = [
    "Drill",
    "Episode",
    "HoursAsked",
    "NowAsked",
    "PlanAsked",
    "Result",
    "Rise",
    "Session",
    "Station",
    "StudyResult",
    "__version__",
    "acceptance",
    "ask_why",
    "check",
    "compare",
    "debrief",
    "from_now",
    "load_scenario",
    "rehearse",
    "rehearse_plan",
    "simulate",
]

_WHERE = {
    "Drill": "stationsim.studies.drill",
    "debrief": "stationsim.studies.drill",
    "Episode": "stationsim.episode",
    "HoursAsked": "stationsim.studies.rehearse.hours",
    "NowAsked": "stationsim.studies.rehearse.now",
    "PlanAsked": "stationsim.studies.rehearse.plan",
    "Result": "stationsim.results",
    "Rise": "stationsim.studies.rehearse.now",
    "Session": "stationsim.simulation.session",
    "Station": "stationsim.station",
    "StudyResult": "stationsim.study_result",
    "acceptance": "stationsim.studies.acceptance.study",
    "ask_why": "stationsim.why.asking",
    "check": "stationsim.studies.check.fitness",
    "compare": "stationsim.studies.compare",
    "from_now": "stationsim.studies.rehearse.now",
    "rehearse": "stationsim.studies.rehearse.hours",
    "rehearse_plan": "stationsim.studies.rehearse.plan",
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

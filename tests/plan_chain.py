"""The chain of a response with a mobile generator, at the reference station.

The minutes of the chain are from memory (low, typical, high): alarm picked up 0, 1, 5; phone 0.5,
2, 10; acknowledged 1, 5, 30; ready 5, 10, 20; set collected 10, 15, 30; way 10, 25, 90; connected
10, 15, 40; started 2, 5, 10. Their sums are 38.5, 78 and 235 min. The station and its water are an
own computation, done twice (closed form, and explicit steps of one second).
"""

from __future__ import annotations

from typing import Any

from stationsim.chance import Range
from stationsim.episode import Episode
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.people.response import Person, Response, Task, Tool
from stationsim.station import Station
from stationsim.testing import MONDAY, reference_inflow, reference_station

MIN = 60.0
LOW_MIN, TYPICAL_MIN, HIGH_MIN = 38.5, 78.0, 235.0


def minutes(low: float, typical: float, high: float) -> Range:
    """Return a range that is given in minutes."""
    return Range(low * MIN, typical * MIN, high * MIN)


def operator(name: str = "operator", **changes: Any) -> Person:
    """Return somebody who takes the times of the chain."""
    spans: dict[str, Any] = {
        "acknowledges": minutes(1, 5, 30),
        "gets_ready": minutes(5, 10, 20),
        "travels": minutes(10, 25, 90),
    }
    return Person(name, **{**spans, **changes})


MOBILE_TOOL = Tool("mobile generator", fetched=minutes(10, 15, 30))
CONNECT = Task(
    "connect mobile generator",
    minutes(10, 15, 40),
    minutes(2, 5, 10),
    tool="mobile generator",
    brought_for=("power failed",),
)


def chain(**changes: Any) -> Response:
    """Return the response with one operator and a mobile generator."""
    fields: dict[str, Any] = {
        "people": (operator(),),
        "call_list": ("operator",),
        "picked_up": minutes(0, 1, 5),
        "on_phone": minutes(0.5, 2, 10),
        "tools": (MOBILE_TOOL,),
        "tasks": (CONNECT,),
    }
    return Response(**{**fields, **changes})


def station(**changes: Any) -> Station:
    """Return the reference station, to which a mobile generator can be connected."""
    fields: dict[str, Any] = {"standby_power": StandbyPower(mobile=GeneratorSet())}
    return reference_station(**{**fields, **changes})


def week(response: Response | None) -> Episode:
    """Return an ordinary week of it."""
    return Episode(MONDAY, 7 * 86_400.0, (reference_inflow(),), 1.0, response=response)

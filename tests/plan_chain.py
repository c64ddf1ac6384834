"""The chain of a response with a mobile generator, at the reference station.

The minutes of the chain are from memory (low, typical, high): alarm picked up 0, 1, 5; phone 0.5,
2, 10; acknowledged 1, 5, 30; ready 5, 10, 20; set collected 10, 15, 30; way 10, 25, 90; connected
10, 15, 40; started 2, 5, 10. Their sums are 38.5, 78 and 235 min. The station and its water are an
own computation, done twice (closed form, and explicit steps of one second).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from stationsim.chance import Range
from stationsim.episode import Episode
from stationsim.equipment.power import GeneratorSet, MotorLoad, StandbyPower, TransferSwitch
from stationsim.people.response import Person, Response, Task, Tool
from stationsim.station import Station
from stationsim.testing import (
    MONDAY,
    bypass_pump,
    engine_pump,
    reference_inflow,
    reference_station,
)

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


def rich_station() -> Station:
    """Engine E1 (20 L/s from 2.0 m), generator with its switch, mobile set, bypass pump."""
    engine = replace(
        engine_pump(0.020),
        start_level_m=1.5,
        stop_level_m=0.7,
        start_delay_s=5.0,
        crank_tries=3,
        crank_s=10.0,
        crank_rest_s=20.0,
        warm_up_s=15.0,
        prime_s=60.0,
    )
    power = StandbyPower(
        generator=GeneratorSet(crank_tries=2, crank_s=5.0, crank_rest_s=10.0, run_up_s=8.0),
        transfer=TransferSwitch(start_delay_s=2.0, transfer_s=3.0),
        mobile=GeneratorSet(),
        loads={name: MotorLoad(10e3, 30e3) for name in ("P1", "P2")},
    )
    bypass = replace(bypass_pump(0.030), start_level_m=1.5, stop_level_m=0.8, start_delay_s=0.0)
    return station(engine_pump=engine, standby_power=power, bypass_pump=bypass)


def rich_response() -> Response:
    """Return the chain with a bypass pump on hire and a tanker besides."""
    tanker = Tool(
        "tanker", delivered=minutes(30, 45, 90), holds_m3=10.0, round_trip=minutes(30, 40, 60)
    )
    return chain(
        tools=(*chain().tools, Tool("bypass pump", delivered=minutes(60, 90, 180)), tanker),
        tasks=(
            CONNECT,
            Task(
                "connect bypass pump", minutes(20, 30, 60), tool="bypass pump",
                brought_for=("power failed",),
            ),
            Task(
                "haul", minutes(6, 8, 12), people=0, tool="tanker", brought_for=("power failed",)
            ),
        ),
    )  # fmt: skip

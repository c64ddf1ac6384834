"""Station sheets for tests: how entries are found, and a station and a response with everything."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from stationsim.chance import Range
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.people.response import ClockSpan, PasserBy, Person, Response, Task, Tool, Visit

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.forms import Form, Value
    from stationsim.station import Station


def part(form: Form, name: str) -> dict[str, dict[str, Value]]:
    """Return a part of a sheet whose name begins so: line -> column -> entry."""
    found: dict[str, dict[str, Value]] = {}
    for of, line, what, entry in form.rows:
        if str(of).startswith(name):
            found.setdefault(str(line), {})[str(what)] = entry
    assert found, f"no part {name!r}"
    return found


def fields(form: Form, name: str) -> dict[str, Value]:
    """Return a part that has one entry a line."""
    return {line: entries[""] for line, entries in part(form, name).items()}


def spans(low_min: float, typical_min: float, high_min: float) -> Range:
    """Return a range of minutes in seconds."""
    return Range(low_min * 60.0, typical_min * 60.0, high_min * 60.0)


def response() -> Response:
    """Return four people, four tools and eight steps; durations are invented."""
    names = ("operator on call", "second operator", "electrician on call", "supervisor")
    people = [Person(name, spans(1, 5, 30), spans(5, 10, 20), spans(10, 25, 90)) for name in names]
    people[0] = dataclasses.replace(
        people[0],
        on_call=ClockSpan(22.0 * 3600.0, 6.5 * 3600.0),
        night_acknowledges=spans(2, 8, 40),
        night_gets_ready=spans(10, 20, 40),
    )
    tools = (
        Tool("mobile generator", fetched=spans(10, 15, 30)),
        Tool("bypass set", fetched=spans(20, 30, 60)),
        Tool("tanker", 2, delivered=spans(30, 45, 90), holds_m3=10.0, round_trip=spans(25, 35, 60)),
        Tool("lifting gear", 0),
    )
    tasks = (
        Task("reset", spans(2, 5, 10)),
        Task("set right", spans(2, 5, 10)),
        Task("clear rags", spans(20, 40, 90), people=2),
        Task(
            "connect mobile generator", spans(10, 15, 40), spans(2, 5, 10), people=2,
            tool="mobile generator",
        ),
        Task("connect bypass pump", spans(30, 45, 90), people=3, tool="bypass set"),
        Task("refuel"),
        Task("haul", spans(5, 10, 15), people=0, tool="tanker"),
        Task("pull a pump", spans(60, 90, 180), people=3, tool="lifting gear"),
    )  # fmt: skip
    return Response(
        people=tuple(people),
        call_list=names,
        next_after_s=900.0,
        rounds=2,
        visit=Visit("second operator", 7.5 * 3600.0),
        passer_by=PasserBy(spans(20, 45, 120), awake=ClockSpan(6.5 * 3600.0, 22.0 * 3600.0)),
        picked_up=spans(0, 1, 5),
        on_phone=spans(0.5, 2, 10),
        assesses=spans(5, 10, 20),
        tools=tools,
        tasks=tasks,
    )


def with_everything(station: Station, episode: Episode) -> tuple[Station, Episode]:
    """Return a station that has an engine pump with a fourth pump, a mobile set and a bypass pump,
    and its episode with a response."""
    assert station.engine_pump is not None
    last = station.pumps[-1]
    plates = dict(station.ratings.plates)
    plates["P4"] = plates[last.name]
    mobile = GeneratorSet(
        rated_w=90e3, rated_va=112e3, start_va=260e3, most_running=1, may_start=("P1", "P2"),
        fuel_loads=(0.0, 1.0), fuel_rates_m3_per_s=(6e-6, 6e-6), tank_m3=0.3,
    )  # fmt: skip
    engine = station.engine_pump
    return (
        dataclasses.replace(
            station,
            pumps=(*station.pumps, dataclasses.replace(last, name="P4")),
            ratings=dataclasses.replace(station.ratings, plates=plates),
            standby_power=dataclasses.replace(
                station.standby_power or StandbyPower(), mobile=mobile
            ),
            bypass_pump=dataclasses.replace(
                engine, pump=dataclasses.replace(engine.pump, name="B1")
            ),
        ),
        dataclasses.replace(episode, response=response()),
    )

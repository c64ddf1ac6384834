"""Drills for the tests: any orders at any station, played by a seed, and what two of them share."""

from __future__ import annotations

import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "people"))

from any_crew import cases
from any_crew import station as any_station

from stationsim.episode import Episode
from stationsim.errors import ActionError
from stationsim.results import Result
from stationsim.scenario.load import load_scenario
from stationsim.station import Station
from stationsim.studies.drill import Drill

__all__ = ["any_station", "cases", "orders", "played", "scenario", "scripted", "texts"]

SCENARIOS = Path(__file__).parent.parent / "scenarios"
_CONNECTED = ("mobile generator", "bypass pump")
_OF_PEOPLE = ("crew",)
_TOLD_TO_PEOPLE = ("reached_time", "reached_s")


def scenario(name: str, most_s: float | None = None) -> tuple[Station, Episode]:
    """Return a shipped scenario, cut off after a while."""
    station, episode = load_scenario(SCENARIOS / f"{name}.toml")
    if most_s is not None:
        episode = replace(episode, duration_s=min(episode.duration_s, most_s))
    return station, episode


def texts(result: Result, *, of_people: bool = True) -> dict[str, str]:
    """Return every table as it would be written; without people, but for what is told of them."""
    found = {}
    for name, table in result.tables.items():
        if not of_people and name in _OF_PEOPLE:
            continue
        kept = (
            table.drop(columns=list(_TOLD_TO_PEOPLE))
            if not of_people and name == "alarms"
            else table
        )
        found[name] = kept.to_csv(index=False)
    return found


def orders(drill: Drill, draw: random.Random) -> str:
    """Return one line that can be read, of any kind that there is at this station."""
    names = drill.names
    people = [*names.people, "me"]
    machines = list(names.machines)
    things = [*machines, *names.sets, *names.things]
    by = f" by {draw.choice(people)}" if draw.random() < 0.25 else ""
    kinds = [
        f"wait {draw.choice((1, 5, 20, 45, 90, 200))} min", "wait", "wait 30 s",
        "ask", f"ask {draw.choice(people)}", f"ask {draw.choice(('plan', 'people', 'alarms'))}",
        "look", f"{draw.choice(('hand', 'off', 'auto'))} {draw.choice(machines)}{by}",
        f"reset {draw.choice([*machines, *names.sets])}{by}", f"mend {draw.choice(things)}{by}",
        f"{draw.choice(('connect', 'disconnect'))} {draw.choice(_CONNECTED)}{by}",
        f"refuel {draw.choice([*machines, *names.sets])}{by}", f"haul {draw.choice((1, 2))}{by}",
        "note it rains", f"send {draw.choice(people)}", f"send {draw.choice(people)} home",
        f"call {draw.choice([*names.people, *names.tools] or ['me'])}",
    ]  # fmt: skip
    if names.tools:
        kinds += [f"send {draw.choice(people)} for {draw.choice(names.tools)}"] * 2
    weights = [6, 3, 1, 1, 1, 1, 1, *[2] * (len(kinds) - 7)]
    return draw.choices(kinds, weights)[0]


def played(drill: Drill, seed: int, lines: int) -> Drill:
    """Play a drill by a seed: so many lines, each of which can be read."""
    draw = random.Random(seed)  # noqa: S311  (no secret)
    for _ in range(lines):
        if drill.over:
            break
        try:
            drill.type(orders(drill, draw))
        except ActionError as error:
            if "not known here" not in str(error) and "nothing here" not in str(error):
                raise  # else there is no such thing at this station
    return drill


def scripted(drill: Drill, lines: Sequence[str]) -> Drill:
    """Type lines one after the other."""
    for line in lines:
        drill.type(line)
    return drill

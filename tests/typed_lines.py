"""Random lines for drills: orders that can be read, near misses, and soup."""

from __future__ import annotations

import random
from pathlib import Path

from stationsim.scenario.load import Loaded, load
from stationsim.studies.drill import Drill

SCENARIOS = Path(__file__).parents[1] / "scenarios"
_SOUP = (
    "abcP12 :,.-'\"\\/\x00\x07\x08\x1b[]\t\x0b\x1c\x7f\x85=%{}éß漢😀"
    "\u00a0\u200b\u202e\u0130\udcff\u2028\ufeff"
)
_SPANS = ("20 min", "2 h", "90 s", "1.5 h", "1e9 h", "nan h", "-5 min", "5", "0 min", "")
_CLOCKS = (
    "02:40", "until 07:00", "until Thu 02:40", "until day 2 07:10", "until after 3 h",
    "until 25:00", "until Mon 00:00", "until 2027-03-03 09:00", "until", "until x",
)  # fmt: skip


def loaded(name: str) -> Loaded:
    return load(SCENARIOS / f"{name}.toml")


def fresh(one: Loaded, *, on_site: bool | None = None) -> Drill:
    return Drill(one.station, one.episode, on_site=on_site)


def line(drill: Drill, draw: random.Random) -> str:
    """Return a line: mostly one that can be read; waits are short, so that a drill lasts."""
    kind = draw.random()
    if kind < 0.62:
        return _order(drill, draw)
    if kind < 0.84:
        return _near_miss(_order(drill, draw), draw)
    if kind < 0.86:
        return draw.choice(["x", " ", "wait "]) * draw.choice([400, 5_000])
    return "".join(draw.choice(_SOUP) for _ in range(draw.randrange(30)))


def _order(drill: Drill, draw: random.Random) -> str:
    names = drill.names
    people, tools = (*names.people, "me"), names.tools or ("tool",)
    things = (*names.machines, *names.sets, *names.things, "P9")
    who, what, tool = draw.choice(people), draw.choice(things), draw.choice(tools)
    machine = draw.choice(names.machines)
    return draw.choice(
        [
            f"wait {draw.randrange(1, 40)} min",
            f"wait {draw.choice(_SPANS)}" if draw.random() < 0.1 else "wait 3 min",
            f"wait {draw.choice(_CLOCKS)}" if draw.random() < 0.1 else "ask",
            f"ask {draw.choice((*people, 'plan', 'people', 'alarms', 'station', 'panel'))}",
            "look",
            f"call {draw.choice((who, tool))}",
            f"send {who}",
            f"send {who} for {tool}",
            f"send {who} with {tool}, {draw.choice(tools)}",
            f"send {who} home",
            f"{draw.choice(('hand', 'off', 'auto', 'reset'))} {machine}",
            f"{draw.choice(('hand', 'reset', 'mend'))} {what} by {who}",
            f"mend {what}",
            f"connect {draw.choice(('mobile generator', 'bypass pump', tool))}",
            f"disconnect {draw.choice(('mobile generator', 'bypass pump'))}",
            f"refuel {what}",
            f"haul {draw.choice(('', '3', '0', '51', '1e3', 'x'))}",
            f'note {what} sounds rough, they say "so"',
        ]
    )


def _near_miss(text: str, draw: random.Random) -> str:
    place = draw.randrange(len(text) + 1)
    return draw.choice(
        [
            text[:place],
            text[:place] + draw.choice(_SOUP) + text[place:],
            text[:place] + text[place + 1 :],
            text.upper(),
            f"  {text}  ",
            text.replace(" ", "\t"),
            f"{text} {text}",
            text.swapcase(),
        ]
    )

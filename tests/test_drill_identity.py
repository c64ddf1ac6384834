"""Drills and plain runs are one: with nobody acting, with what was done scripted, played again.

Every comparison is of all tables as text, so of every digit. Own computation.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from any_drill import SCENARIOS, any_station, cases, orders, played, scenario, scripted, texts
from hypothesis import given, settings
from hypothesis import strategies as st

from stationsim.episode import Episode
from stationsim.simulation.session import simulate
from stationsim.studies.drill import Drill, play

DAY = 86_400.0
SHIPPED = sorted(file.stem for file in SCENARIOS.glob("*.toml"))
QUICK = ("hemp-staithe", "heron-ditch", "reed-corner", "reference-plan", "sallow-green")
WAITS = ("at once", "wait", "random times")


def waited(drill: Drill, how: str) -> Drill:
    """Let a whole drill pass without any order."""
    if how == "wait":
        while not drill.over:
            drill.type("wait")
    elif how == "random times":
        at_s = 0.0
        for part in (0.013, 0.1, 0.1001, 0.2, 0.37, 0.5, 0.51, 0.8, 0.99):
            before_s, at_s = at_s, part * drill.episode.duration_s
            drill.wait_until(at_s)
            drill.type("ask alarms")
            drill.type(f"wait {max(1.0, 0.1 * (at_s - before_s)):.3f} s")
    return drill


@pytest.mark.parametrize("how", WAITS)
@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=() if n in QUICK else pytest.mark.slow) for n in SHIPPED],
)
def test_a_drill_in_which_nobody_acts_is_the_run_without_people(name: str, how: str) -> None:
    station, episode = scenario(name, 14.0 * DAY)
    nobody = texts(simulate(station, replace(episode, response=None)))
    for on_site in (False, True):
        drill = waited(Drill(station, episode, on_site=on_site), how)
        assert texts(drill.finish()) == nobody
    assert nobody["events"].count("\n") > 3


@pytest.mark.slow
def test_a_year_in_which_nobody_acts_is_the_run_without_people() -> None:
    station, episode = scenario("quarry-row-us")
    nobody = texts(simulate(station, replace(episode, response=None)))
    assert texts(Drill(station, episode).finish()) == nobody


SCRIPTS: dict[str, tuple[str, ...]] = {
    "reference-plan": (
        "wait", "send me for mobile generator", "wait", "wait", "wait until 08:00", "look",
        "connect mobile", "wait 25 min", "ask", "off P1", "wait 3 min", "auto P1", "wait",
        "wait until 15:10", "disconnect mobile", "wait 30 min", "send me home", "done",
    ),
    "woad-quay": (
        "wait", "call tanker", "call second operator", "send second operator", "send me", "wait",
        "haul", "call bypass", "wait 2 h", "haul 2", "look", "connect bypass", "reset P1",
        "wait 1 h",
        "hand B1", "wait 5 min", "auto B1", "ask second", "wait until day 2 17:00", "reset P1",
        "disconnect bypass", "wait 1 h", "done",
    ),
    "madder-holm": (
        "wait", "wait", "send me for bypass pump", "call second", "wait 30 min", "ask people",
        "wait 1 h", "look", "wait", "connect bypass by me", "wait 1 h", "ask", "wait 9 h",
        "wait 9 h",
        "disconnect bypass", "wait 40 min", "send me home", "wait 1 h",
    ),
    "hemp-staithe": (
        "wait", "ask", "send me", "call operator on the round", "wait 40 min", "wait 30 min",
        "look",
        "wait 10 min", "reset generator", "wait 10 min", "mend generator", "wait 25 min",
        "reset generator by me", "wait 6 min", "hand P1", "wait 20 min", "auto P1", "wait 3 h",
    ),
    "heron-ditch": (
        "wait", "send me", "wait 30 min", "look", "reset P1", "reset P2", "wait 1 min", "reset P3",
        "wait", "off P2", "wait 1 h", "auto P2", "wait until day 2 13:10", "hand P3", "wait 1 h",
        "auto P3", "done",
    ),
    "reed-corner": (
        "wait until 02:30", "send me", "wait", "ask", "look", "mend panel", "wait 1 h", "hand P1",
        "wait 10 min", "off P1", "wait 1 h", "auto P1", "wait until 08:00", "done",
    ),
    "kiln-staithe": (
        "wait", "wait until day 4 06:55", "send me", "wait", "look", "ask", "reset E1", "mend E1",
        "wait 5 min", "off E1", "wait 1 min", "auto E1", "hand E1", "wait 15 min", "auto E1",
        "wait 2 h", "refuel E1", "done",
    ),
}  # fmt: skip


def same_as_its_replays(drill: Drill) -> None:
    """Finish a drill; fail when its events, scripted, or its lines, typed again, differ from it."""
    result = drill.finish()
    assert texts(result, of_people=False) == texts(
        simulate(drill.station, drill.replay()), of_people=False
    )
    again = drill.again()
    play(again, drill.actions)
    assert texts(again.finish()) == texts(result)
    assert again.told == drill.told
    assert (again.reached, again.actions) == (drill.reached, drill.actions)
    assert repr(again.decided) == repr(drill.decided)  # NaN where nothing was read


@pytest.mark.parametrize("on_site", [False, True])
@pytest.mark.parametrize("name", SCRIPTS)
def test_what_was_done_scripted_and_the_lines_typed_again_are_the_drill(
    name: str,
    on_site: bool,
) -> None:
    station, episode = scenario(name)
    drill = Drill(station, episode, on_site=on_site)
    for line in SCRIPTS[name]:
        if not drill.over:
            drill.type(line)
    assert len(drill.decided) >= 3
    same_as_its_replays(drill)


@pytest.mark.parametrize(
    "seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 12))]
)
@pytest.mark.parametrize("name", ["reference-plan", "hemp-staithe", "woad-quay", "kiln-staithe"])
def test_drills_of_any_orders_can_be_played_again(name: str, seed: int) -> None:
    station, episode = scenario(name)
    sees = "readings" if seed % 2 else "alarms"
    drill = Drill(station, episode, on_site=seed % 4 >= 2 or seed == 1, away_sees=sees)  # type: ignore[arg-type]
    played(drill, seed, 60)
    assert drill.actions
    same_as_its_replays(drill)


def any_drill(case: Episode, seed: int) -> Drill:
    """Play a drawn day of trouble, with drawn people, by a seed."""
    sees = "readings" if seed % 3 == 0 else "alarms"
    drill = Drill(any_station(), case, on_site=seed % 2 == 0, away_sees=sees)  # type: ignore[arg-type]
    return played(drill, seed, 40)


@given(case=cases(), seed=st.integers(0, 10_000))
@settings(max_examples=10)
def test_any_drill_can_be_played_again(case: Episode, seed: int) -> None:
    same_as_its_replays(any_drill(case, seed))


@given(case=cases(), seed=st.integers(0, 10_000))
@settings(max_examples=15)
def test_nobody_acting_changes_nothing_whatever_goes_wrong(case: Episode, seed: int) -> None:
    nobody = texts(simulate(any_station(), replace(case, response=None)))
    drill = Drill(any_station(), case, on_site=seed % 2 == 0)
    assert texts(waited(drill, WAITS[seed % 3]).finish()) == nobody


@pytest.mark.slow
@given(case=cases(), seed=st.integers(0, 10**6))
@settings(max_examples=300)
def test_very_many_drills_can_be_played_again(case: Episode, seed: int) -> None:
    same_as_its_replays(any_drill(case, seed))


def test_time_never_goes_back_in_what_is_told() -> None:
    for name, lines in SCRIPTS.items():
        station, episode = scenario(name)
        drill = Drill(station, episode, on_site=True)
        scripted(drill, lines[:12])
        times = [one.t_s for one in drill.told]
        assert times == sorted(times), name
        assert all(0.0 <= one.t_s <= episode.duration_s for one in drill.told)


def test_orders_of_any_kind_are_drawn() -> None:
    # the strategy of these tests would prove nothing if it only waited
    import random

    station, episode = scenario("woad-quay")
    drill, draw = Drill(station, episode), random.Random(1)  # noqa: S311  (no secret)
    verbs = {orders(drill, draw).split()[0] for _ in range(400)}
    assert len(verbs) == 15  # all but done

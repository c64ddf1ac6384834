"""Why nobody had come yet: who was where at a moment, what waited, and who knew of which alarm."""

from __future__ import annotations

import functools
from dataclasses import replace

import pytest
from crews import (
    CONNECTS,
    FETCHED,
    HOUR,
    MINUTE,
    OPERATOR,
    STARTS,
    chain,
    reference_station,
    wednesday,
    with_mobile,
)
from everything import day, event_of, everything
from test_people_told import CALLS, FULL, LOST

from stationsim.episode import ScriptedEvent
from stationsim.people.response import Response, Task, Tool, Visit
from stationsim.testing import bypass_pump
from stationsim.why import Watched, lines, people, watched


@functools.cache
def night(response: Response | None, *events: ScriptedEvent) -> Watched:
    """Look on while the grid is lost at 07:00 of a Wednesday."""
    return watched(with_mobile(reference_station()), wednesday(7.0, response, *events))


@functools.cache
def mended() -> Watched:
    leak = replace(event_of("seal leak into motor", 600.0), duration_s=None)
    rags = replace(event_of("clogged", 601.0), duration_s=None)
    return watched(everything(), replace(day(leak, rags, hours=4.0), response=FULL))


NOT_YET = (
    "Nobody was on site before Wed 07:58 ({left} more): of the 58 min from the first alarm, 3 min"
    " passed until a phone rang, 5 min until somebody acknowledged, 10 min to get ready, 15 min to"
    " fetch the mobile generator and 25 min on the way."
)


@pytest.mark.parametrize(
    ("at_min", "left", "doing"),
    [
        (1.0, "57 min", None),
        (5.0, "53 min", "'s phone had been ringing since Wed 07:03, until Wed 07:08 (3 min"),
        (15.0, "43 min", " was getting ready to leave since Wed 07:08, until Wed 07:18 (3 min"),
        (
            30.0,
            "28 min",
            " was fetching the mobile generator since Wed 07:18, until Wed 07:33 (3 min",
        ),
        (50.0, "8 min", " was on the way to the station since Wed 07:33, until Wed 07:58 (8 min"),
    ],
)
def test_why_nobody_had_come_yet(at_min: float, left: str, doing: str | None) -> None:
    told = people(night(chain()), at_min * MINUTE)
    assert told[-1] == NOT_YET.format(left=left)
    assert doing is None or f"The operator{doing} more)." in told


def test_who_knew_of_an_alarm() -> None:
    before, after = (people(night(chain()), t * MINUTE)[0] for t in (7.9, 8.0))
    stood = "The alarm 'power failed' stood since Wed 07:00"
    assert before == f"{stood}; nobody knew of it before Wed 07:08."
    assert after == f"{stood}; people knew of it since Wed 07:08."


def test_once_somebody_is_there_it_tells_what_they_are_at() -> None:
    told = people(night(chain()), 70.0 * MINUTE)
    assert told[-1] == (
        "The operator was at the step 'connect mobile generator' since Wed 07:58, until Wed 08:18"
        " (8 min more)."
    )
    assert not any("Nobody" in line for line in told)


def test_when_all_is_over_nobody_is_anywhere() -> None:
    assert people(night(chain()), 9.5 * HOUR) == ["Nobody was called, on the way or on site."]


def test_a_step_that_waits_for_its_tool() -> None:
    seen = night(chain(alarms=CALLS, visit=Visit("operator", 9.0 * HOUR)), LOST)
    told = people(seen, 130.0 * MINUTE)
    to_yard = "on the way to the yard since Wed 09:00, until Wed 09:25 (15 min more)."
    assert f"The operator was {to_yard}" in told
    assert told[-1] == (
        "The step 'connect mobile generator' waited for hands or a tool since Wed 09:00, until Wed"
        " 10:05 (55 min more)."
    )
    early = people(seen, 10.0 * MINUTE)
    assert early[0].endswith(
        "it had not left the station and never did; nobody knew of it before Wed 09:00."
    )
    assert early[-1] == "Nobody was on site before Wed 09:00 (1 h 50 min more)."


def test_hands_that_are_missing_and_a_tool_on_its_way() -> None:
    told = people(mended(), 90.0 * MINUTE)
    here = "on the way to the station since Mon 01:13, until Mon 01:38 (8 min more)."
    assert f"A. Fitter was {here}" in told
    assert "The lifting gear was on its way since Mon 00:58, until Mon 01:58 (28 min more)." in told
    assert any(line.startswith("The step 'clear rags' (P1) waited") for line in told)


def test_a_bypass_pump_that_is_being_connected_has_been_brought() -> None:
    """Fetched by 07:33, on site at 07:58, and connected within twenty minutes more."""
    tool = Tool("bypass pump", fetched=FETCHED)
    step = Task("connect bypass pump", CONNECTS, STARTS, tool=tool.name,
                brought_for=("power failed",))  # fmt: skip
    station = replace(reference_station(), bypass_pump=bypass_pump())
    seen = watched(station, wednesday(7.0, chain(tools=(tool,), tasks=(step,))))
    not_there = "B1 did not run: it was not connected; "
    assert f"{not_there}nobody had brought it yet." in lines(seen, 50.0 * MINUTE)
    assert f"{not_there}somebody was connecting it." in lines(seen, 70.0 * MINUTE)


def test_nobody_ever_came() -> None:
    deaf = chain(people=(replace(OPERATOR, answers=False),), alarms=CALLS, next_after_s=600.0)
    told = people(night(deaf), 20.0 * MINUTE)
    assert told[0].endswith("nobody knew of it, nor ever did.")
    unsent = people(night(chain(alarms=CALLS), LOST), 20.0 * MINUTE)
    assert unsent[0] == (
        "The alarm 'power failed' stood since Wed 07:00; it had not left the station and never did;"
        " nobody knew of it, nor ever did."
    )
    assert unsent[-1] == "Nobody was called, on the way or on site."


def test_without_people_the_answer_is_as_ever() -> None:
    assert people(night(None), 30.0 * MINUTE) == []
    assert "People:" not in lines(night(None), 30.0 * MINUTE)
    screen = lines(night(chain()), 30.0 * MINUTE)
    at = screen.index("People:")
    assert screen[:3] == lines(night(None), 30.0 * MINUTE)[:3]
    assert screen[at - 1] == ""  # behind the machines
    assert screen[at + 1].startswith("  - The alarm 'power failed' stood since Wed 07:00;")
    assert all(len(line) <= 96 for line in screen)

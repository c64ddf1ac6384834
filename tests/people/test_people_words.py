"""What is said of people, word for word: empty rounds, who did not answer, what was done, loads."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import get_args

import pytest
from crews import CONNECT, HOUR, MINUTE, MOBILE, OPERATOR, chain, just, reference, with_mobile

from stationsim import vocabulary
from stationsim.episode import Episode, ScriptedEvent
from stationsim.metrics.call_outs import call_outs
from stationsim.people.response import Person, Response, Task, TaskKind, Tool, Visit
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import MONDAY, reference_inflow, reference_station
from stationsim.trace import CrewRow
from stationsim.why.people import _CHAIN, _DOING
from stationsim.wording import call_out, sentences

KINDS = set(get_args(TaskKind))
ROUND = replace(
    chain(), tasks=(), tools=(), assesses=just(5 * MINUTE), visit=Visit("operator", 9.0 * HOUR)
)


def served(response: Response, *events: ScriptedEvent, days: float = 3.5) -> Result:
    case = Episode(MONDAY, days * 24 * HOUR, (reference_inflow(),), 1.0, events=events,
                   response=response)  # fmt: skip
    return simulate(with_mobile(reference_station()), case)


def lost(at_h: float, lasts_s: float) -> ScriptedEvent:
    return ScriptedEvent(at_h * HOUR, "grid loss", "grid", lasts_s)


def told(result: Result) -> str:
    return " ".join(sentences(result))


# ---------------------------------------------------------------------- rounds


def test_a_round_that_looks_around_and_finds_nothing_is_no_call_out() -> None:
    result = served(ROUND)
    assert [row.task for row in result.trace.crew] == ["visits", "looks around"] * 4
    assert call_outs(result.trace, ROUND) == []
    assert sentences(result) == sentences(served(None))  # type: ignore[arg-type]
    # they are at it all the same: 4 times 5 minutes
    assert result.value("crew hours") == pytest.approx(20 / 60)


def test_empty_rounds_do_not_count_beside_a_call_out() -> None:
    result = served(ROUND, lost(31.0, HOUR))
    (one,) = call_outs(result.trace, ROUND)
    assert one.raised_s == pytest.approx(31.0 * HOUR)
    assert "times" not in told(result).split("The power failed")[0].split("meanwhile.")[-1]
    assert "The power failed at Tue 07:00; the alarm reached the operator at 07:08" in told(result)


def test_a_round_that_hears_an_alarm_while_it_looks_around_found_something() -> None:
    long = replace(ROUND, assesses=just(30 * MINUTE))
    result = served(long, lost(33.0 + 10 / 60, 5 * MINUTE))  # ten minutes after it came
    (one,) = call_outs(result.trace, long)
    assert [row.alarm for row in one.alarms] == ["power failed"]
    assert one.on_site_s == pytest.approx(33.0 * HOUR)


def test_who_did_not_answer_is_named_where_nobody_was_reached() -> None:
    deaf = replace(OPERATOR, answers=False)
    response = replace(chain(people=(deaf,)), visit=Visit("operator", 9.0 * HOUR), next_after_s=600)
    result = served(response, lost(27.0, 7 * HOUR), days=2.0)
    assert (
        "somebody stood on site once, 6 h after the first alarm; once nobody was reached: the"
        " operator did not answer." in told(result)
    )


# ---------------------------------------------------------------------- who did not answer


@functools.cache
def two(first_s: float, second: Person) -> Result:
    slow = replace(OPERATOR, acknowledges=just(first_s))
    response = chain(people=(slow, second), call_list=("operator", second.name), next_after_s=600.0)
    return reference(7.0, response)


def test_whoever_was_called_after_the_one_who_took_it_did_not_fail_to_answer() -> None:
    """The second phone rings ten minutes after the first, whose owner answers at twenty."""
    text = told(two(20 * MINUTE, Person("second one", answers=False)))
    assert "the alarm reached the operator at 07:23 and they stood on site" in text
    assert "did not answer" not in text


def test_whoever_was_called_before_is_named() -> None:
    text = told(two(20 * MINUTE, Person("second one", acknowledges=just(120.0))))
    assert "reached the second one at 07:15, for the operator did not answer in time, and" in text


# ---------------------------------------------------------------------- what was done


def test_clauses_of_one_machine_share_its_name() -> None:
    said = call_out._one_after_the_other
    set_right, reset = "the generator was set right at 08:25", "the generator was reset at 08:30"
    assert said([]) == ""
    assert said([reset]) == reset
    assert said([set_right, reset]) == f"{set_right}, and reset at 08:30"
    assert said([reset, "a tanker took 3 loads"]) == f"{reset}, and a tanker took 3 loads"
    assert said([reset, "P1 was reset at 9", "P2 was pulled and mended at 10"]) == (
        f"{reset}, P1 was reset at 9, and P2 was pulled and mended at 10"
    )


TANKER = Tool("tanker", delivered=just(600.0), holds_m3=3.0, round_trip=just(1200.0))
HAUL = Task("haul", just(480.0), people=0, tool="tanker", brought_for=("power failed",))


def test_loads_of_a_tanker_are_told_once() -> None:
    result = reference(7.0, chain(tools=(MOBILE, TANKER), tasks=(CONNECT, HAUL)))
    loads = sum(row.event == "tanker takes" for row in result.trace.events)
    assert loads > 1
    text = told(result)
    assert f"a tanker took {loads} loads from 07:18 to " in text
    assert f", {3 * loads}.00 m3 in all" in text
    assert "Tankers took" not in text
    # one that no crew ordered is not among those: then the sum stands with all of them
    other = ScriptedEvent(1800.0, "tanker takes", "tanker", amount=3.0, per_s=300.0)
    more = reference(7.0, chain(tools=(MOBILE, TANKER), tasks=(CONNECT, HAUL)), other)
    loads = sum(row.event == "tanker takes" for row in more.trace.events)
    assert f"Tankers took {3 * loads}.0 m3 in all, in {loads} loads, " in told(more)
    assert f"a tanker took {loads - 1} loads from " in told(more)
    assert told(more).count("m3 in all") == 1


def test_what_is_not_to_be_had_is_told_in_one() -> None:
    none = (replace(MOBILE, number=0), replace(TANKER, number=0))
    text = told(reference(7.0, chain(tools=none, tasks=(CONNECT, HAUL))))
    assert "no mobile generator and no tanker was to be had" in text or (
        "no tanker and no mobile generator was to be had" in text
    )


def test_what_was_done_twice_is_told_with_the_first_time() -> None:
    result = reference(7.0, chain())
    (one,) = call_outs(result.trace, chain())
    work = call_out._Told(result, "si", one)._work
    first = CrewRow("reset", "P1", 300.0, 3000.0, 3600.0, "done", "operator", "", 0.0)
    later = first._replace(start_s=5000.0, stop_s=6000.0)
    # one hour after the power failed, at seven
    assert work("reset", "P1", [first]) == "P1 was reset at Wed 08:00, 1 h after it"
    assert work("reset", "P1", [first, later]) == (
        "P1 was reset twice, first at 08:00, 1 h after it"
    )


# ---------------------------------------------------------------------- words by hand


def test_the_words_of_what_was_done_are_those_of_the_tasks() -> None:
    assert set(call_out._DONE) == KINDS


def test_what_took_another_time_has_words_for_all_that_takes_time() -> None:
    words = {entry.word for entry in vocabulary.TASKS}
    assert set(call_out._OFF_PLAN) | set(call_out._ALONE) == words
    assert not set(call_out._OFF_PLAN) & set(call_out._ALONE)
    assert set(call_out._OFF_PLAN) > KINDS


def test_what_somebody_is_at_has_words_for_all_but_the_steps() -> None:
    """Steps, and what undoes them, are named by their word; what lasts no time is never met."""
    words = {entry.word for entry in vocabulary.TASKS}
    undone = {f"dis{kind}" for kind in KINDS if kind.startswith("connect")}
    assert undone < words
    assert set(_DOING) == words - KINDS - undone - {"visits", "stood down"}
    assert set(_CHAIN) < set(_DOING)

"""What a person would say about a run: three to six plain sentences, in either unit system.

One more, unasked, when alternation stopped: nobody would see it on a dry day; and one each when a
bypass pump was brought, tankers came, or a tank was filled. Where people were called, up to three
of the six tell of them, and less of the level.

Each sentence takes its numbers from the tables and from the course of the water, so it can't say
what they don't. The order is that in which somebody asks: did it spill; was there trouble, and who
did what; how was the work shared; how near was it. The words of labels in plots stand here too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from stationsim.wording.words import (
    at_end,
    date_of,
    day_of,
    level_text,
    listed,
    moment,
    month_of,
    times,
    until,
)

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.units import System

__all__ = [
    "at_end",
    "date_of",
    "day_of",
    "level_text",
    "listed",
    "moment",
    "month_of",
    "sentences",
    "times",
    "until",
]

_MOST_SENTENCES = 6


def sentences(result: Result, system: str = "si") -> list[str]:
    """Return what a person would say about the run.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    """
    # they need pandas, which whoever only wants a word does not
    from stationsim.wording.brought import of_fuel, of_tankers
    from stationsim.wording.bypass import of_bypass
    from stationsim.wording.call_out import of_people
    from stationsim.wording.outages import of_outages
    from stationsim.wording.trouble import of_trouble
    from stationsim.wording.water import of_level, of_spills, of_time_to_spill, of_water
    from stationsim.wording.work import of_alternation, of_work

    units = cast("System", system)
    found = [
        of_spills(result, units),
        of_outages(result, units),
        of_trouble(result, units),
        of_work(result, units),
        of_level(result, units),
        of_time_to_spill(result, units),
    ]
    told = [sentence for sentence in found if sentence]
    people = of_people(result, units)
    if people:  # they say what mattered: something else is left out for them
        told = _with_people(found, people)
    if len(told) < _MOST_SENTENCES:
        told.append(of_water(result, units))
    stopped = of_alternation(result, units)
    if stopped:  # beside the sentence of the work
        told.insert(told.index(found[3]) + 1, stopped)
    tankers = of_tankers(result, units, told)
    for brought in (of_bypass(result, units), tankers, of_fuel(result, units)):
        if brought:
            told.insert(told.index(found[3]), brought)
    return told


def _with_people(found: list[str], people: list[str]) -> list[str]:
    """Return the sentences with those about people behind the supply, and never too many in all.

    Parameters
    ----------
    found
        Spills, supply, trouble, work, level and time to spill, empty where there is nothing.
    people
        What is told of people, the most important first.
    """
    ahead, behind = found[:2], found[2:]
    kept = [sentence for sentence in (*ahead, *behind[:2]) if sentence]
    people = people[: max(1, _MOST_SENTENCES - len(kept))]
    room = _MOST_SENTENCES - len(kept) - len(people)
    more = [sentence for sentence in behind[2:] if sentence][:room]
    return [s for s in (*ahead, *people, *behind[:2], *more) if s]

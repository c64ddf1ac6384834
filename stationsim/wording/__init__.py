"""What a person would say about a run: three to six plain sentences, in either unit system.

One more, unasked, when alternation stopped: nobody would see it on a dry day.

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
    if len(told) < _MOST_SENTENCES:
        told.append(of_water(result, units))
    stopped = of_alternation(result, units)
    if stopped:  # beside the sentence of the work
        told.insert(told.index(found[3]) + 1, stopped)
    return told

"""Criteria in words: a line each for the screen, and the sentences that a person would say."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from stationsim.studies.check.criterion import value_text
from stationsim.units import show
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stationsim.studies.check.criterion import Judged
    from stationsim.studies.check.fitness import Fitness
    from stationsim.units import System

_MOST_NAMED, _WIDTH = 4, 100


def lines(fitness: Fitness, system: System) -> list[str]:
    """Return the criteria for the screen: what fails first, then what passes, then the rest.

    Parameters
    ----------
    fitness
        What came of all criteria.
    system
        ``si`` or ``us``.
    """
    rows: dict[tuple[str, str, str, str, str], list[str]] = {}
    for verdict in ("fail", "pass"):
        for one in fitness.judged:
            if one.verdict == verdict:
                value = value_text(one.value, one.unit, system)
                limit = f"{one.side} {value_text(one.limit, one.unit, system)}"
                key = (one.verdict, one.criterion, value, limit, one.told(system))
                rows.setdefault(key, []).append(one.subject)
    shown = [
        (verdict, f"{criterion}, {', '.join(subjects)}", value, limit, why)
        for (verdict, criterion, value, limit, why), subjects in rows.items()
    ]
    wide = [max((len(row[n]) for row in shown), default=0) for n in range(5)]
    told = [
        f"{fitness.case.station.name}: criteria, value against limit, and what was compared",
        "",
    ]
    told += [
        f"{verdict}  {name:{wide[1]}}  {value:>{wide[2]}}  {limit:{wide[3]}}  {why}"
        for verdict, name, value, limit, why in shown
    ]
    sources: dict[str, dict[str, None]] = {}
    for one in fitness.judged:
        if one.verdict != "not judged":
            sources.setdefault(one.source, {})[one.criterion] = None
    told += ["", "where the limits come from:"]
    told += _folded(("; ".join(names), source) for source, names in sources.items())
    rest = [one for one in fitness.judged if one.is_open]
    if rest:
        told += ["", "not judged, for want of data:", *_folded(_together(rest, system))]
    needless = [one for one in fitness.judged if one.verdict == "not judged" and not one.is_open]
    if needless:
        told += ["", "not judged, for want of need:", *_folded(_together(needless, system))]
    return told


def _folded(rows: Iterable[tuple[str, str]]) -> list[str]:
    """Return rows of a head and what stands under it, folded to the width of a screen."""
    told = []
    for head, what in rows:
        told += textwrap.wrap(
            f"{head}: {what}",
            width=_WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
            break_long_words=False,
            break_on_hyphens=False,
        )
    return told


def _together(rest: list[Judged], system: System) -> list[tuple[str, str]]:
    """Return what is needed, and for which criteria: those of one need in one line."""
    found: dict[str, dict[str, list[str]]] = {}
    for one in rest:
        why = one.told(system).removeprefix("not judged: ").removeprefix("not needed: ")
        why = why.replace(f"pump.{one.subject}.", "pump.NAME.")
        found.setdefault(why, {}).setdefault(one.criterion, []).append(one.subject)
    told = []
    for why, criteria in found.items():
        # the subject is told where it tells more than the criterion does
        parts = [
            f"{name} ({', '.join(subjects)})" if len(subjects) > 1 else name
            for name, subjects in criteria.items()
        ]
        told.append((why, "; ".join(parts)))
    return told


def sentences(fitness: Fitness, system: System) -> list[str]:
    """Return what a person would say.

    Parameters
    ----------
    fitness
        What came of all criteria.
    system
        ``si`` or ``us``.
    """
    of_the_station = [one for one in fitness.judged if not one.of_the_run]
    by = {
        verdict: [one for one in of_the_station if one.verdict == verdict]
        for verdict in ("pass", "fail")
    }
    still_open = sum(one.is_open for one in of_the_station)
    total = len(by["pass"]) + len(by["fail"])
    failing = f"{len(by['fail'])} {'fails' if len(by['fail']) == 1 else 'fail'}"
    told = [f"All {total} criteria could be judged: {len(by['pass'])} pass, {failing}."]
    if still_open:
        passing = f"{len(by['pass'])} of {total} criteria that could be judged pass"
        rest = f"{still_open} could not be judged for want of data, and count as open"
        told = [f"{passing}, {failing}; {rest}."]
    told += _of_the_run(fitness)
    if by["fail"]:
        parts = [_short(one, system) for one in by["fail"][:_MOST_NAMED]]
        more = len(by["fail"]) - len(parts)
        named = "; ".join(parts)
        told.append(f"Fails: {named}{f'; and {more} more' if more > 0 else ''}.")
    near = [
        (round(abs(part), 6), n, one)
        for n, one in enumerate(by["pass"])
        if not math.isnan(part := margin_part(one))
    ]
    if near:
        told.append(f"Nearest to its limit of those that pass: {_short(min(near)[2], system)}.")
    told += _of_growth(fitness, system)
    told.append(
        "This is a screening. Limits are examples of published practice unless the scenario sets"
        " them: the rule of the place decides, and for supply and surge somebody licensed for them."
    )
    return told


def _short(one: Judged, system: System) -> str:
    value = value_text(one.value, one.unit, system)
    return (
        f"{one.criterion} ({one.subject}) {value}, {one.side}"
        f" {value_text(one.limit, one.unit, system)}"
    )


def _of_the_run(fitness: Fitness) -> list[str]:
    """Return whether the run's own checks hold, of those that could be made."""
    told = []
    for verdict, hold in (("fail", ("does not hold", "do not hold")), ("pass", ("holds", "hold"))):
        names = [
            one.criterion.removesuffix(" balance")
            for one in fitness.judged
            if one.of_the_run and one.verdict == verdict
        ]
        if names:
            many = len(names) > 1
            check = f"The run's own check{'s' if many else ''} of {listed(names)}"
            told.append(f"{check} {hold[many]}.")
    return told


def _of_growth(fitness: Fitness, system: System) -> list[str]:
    growth = fitness.growth
    if growth is None:
        return []
    first, last = growth.years[0], growth.years[-1]
    rate = 100.0 * fitness.case.ratings.design.growth_per_year
    outgrown = [
        (year, what)
        for year, what in (
            (growth.firm, "the firm capacity"),
            (growth.starts, "the starts"),
            (growth.main, "the force main"),
        )
        if year is not None
    ]
    peak = show(last.peak_m3s, "flow", system)
    begins = f"At {rate:g} % a year from {first.year}"
    today = [what for year, what in outgrown if year == first.year]
    parts = [f"{what} in {year}" for year, what in sorted(outgrown) if year > first.year]
    told = [f"Too small today ({first.year}): {listed(today)}."] if today else []
    if parts:
        return [*told, f"{begins}, outgrown first: {listed(parts)}."]
    nothing = "nothing else" if today else "nothing"
    return [*told, f"{begins}, {nothing} is outgrown by {last.year}, when the peak is {peak}."]


def margin_part(one: Judged) -> float:
    """Return the margin of a criterion over its limit [-]; NaN when that says nothing.

    Parameters
    ----------
    one
        A criterion, judged.
    """
    if one.verdict == "not judged" or one.limit == 0.0 or not math.isfinite(one.value):
        return math.nan
    return one.margin / abs(one.limit)

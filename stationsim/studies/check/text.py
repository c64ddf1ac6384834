"""Criteria in words: a line each for the screen, and the sentences that a person would say."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.check.criterion import value_text
from stationsim.units import show
from stationsim.wording import listed

if TYPE_CHECKING:
    from stationsim.studies.check.criterion import Judged
    from stationsim.studies.check.fitness import Fitness
    from stationsim.units import System

SI_UNITS = {
    "flow": "m3/s", "velocity": "m/s", "duration": "s", "level": "m", "length": "m",
    "volume": "m3", "power": "W", "head": "m",
}  # fmt: skip
"""Unit of a value in the table, by what it is."""

_MOST_NAMED = 4


def lines(fitness: Fitness, system: System) -> list[str]:
    """Return the criteria for the screen: what fails first, then what passes, then the rest.

    Parameters
    ----------
    fitness
        What came of all criteria.
    system
        ``si`` or ``us``.
    """
    judged = [one for one in fitness.judged if one.verdict != "not judged"]
    name = max((len(_name(one)) for one in judged), default=20)
    told = [
        f"{fitness.case.station.name}: criteria, value against limit, and what was compared",
        "",
    ]
    for verdict in ("fail", "pass"):
        for one in judged:
            if one.verdict == verdict:
                value = value_text(one.value, one.unit, system)
                limit = f"{one.side} {value_text(one.limit, one.unit, system)}"
                told.append(
                    f"{verdict}  {_name(one):{name}}  {value:>12}  {limit:22}  {one.reason}"
                )
    rest = [one for one in fitness.judged if one.verdict == "not judged"]
    if rest:
        told += ["", "not judged:"]
        told += [f"      {what:{name}}  {why}" for what, why in _together(rest)]
    return told


def _together(rest: list[Judged]) -> list[tuple[str, str]]:
    """Return what was not judged and why, the same of several pumps in one line."""
    found: dict[tuple[str, str], list[str]] = {}
    for one in rest:
        why = _why(one).replace(f"pump.{one.subject}.", "pump.NAME.")
        found.setdefault((one.criterion, why), []).append(one.subject)
    return [(f"{what}, {', '.join(subjects)}", why) for (what, why), subjects in found.items()]


def _name(one: Judged) -> str:
    return f"{one.criterion}, {one.subject}"


def _why(one: Judged) -> str:
    return one.reason.removeprefix("not judged: ")


def sentences(fitness: Fitness, system: System) -> list[str]:
    """Return what a person would say.

    Parameters
    ----------
    fitness
        What came of all criteria.
    system
        ``si`` or ``us``.
    """
    by = {
        verdict: [one for one in fitness.judged if one.verdict == verdict]
        for verdict in ("pass", "fail", "not judged")
    }
    total = len(by["pass"]) + len(by["fail"])
    told = [
        (
            f"{len(by['pass'])} of {total} criteria that could be judged pass, {len(by['fail'])}"
            f" fail; {len(by['not judged'])} could not be judged."
        )
    ]
    if by["fail"]:
        parts = [_short(one, system) for one in by["fail"][:_MOST_NAMED]]
        more = len(by["fail"]) - len(parts)
        told.append(f"Fails: {'; '.join(parts)}{f'; and {more} more' if more > 0 else ''}.")
    near = [one for one in by["pass"] if one.limit and one.unit != ""]
    if near:
        one = min(near, key=lambda one: abs(one.margin / one.limit))
        told.append(f"Nearest to its limit of those that pass: {_short(one, system)}.")
    told += _of_growth(fitness, system)
    told.append(
        "Limits are examples of published practice unless the scenario sets them: the rule of the"
        " place decides."
    )
    return told


def _short(one: Judged, system: System) -> str:
    value = value_text(one.value, one.unit, system)
    return (
        f"{one.criterion} ({one.subject}) {value}, {one.side}"
        f" {value_text(one.limit, one.unit, system)}"
    )


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
    if not outgrown:
        return [f"{begins}, nothing is outgrown by {last.year}, when the peak is {peak}."]
    parts = [f"{what} in {year}" for year, what in sorted(outgrown)]
    return [f"{begins}, outgrown first: {listed(parts)}."]


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

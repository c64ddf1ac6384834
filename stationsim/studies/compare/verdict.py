"""The verdict of a comparison in sentences: what a change does, who shares best, what breaks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.compare.effects import (
    MOST_NAMED,
    UNCHANGED,
    capital,
    effects,
    figure,
    named,
    quoted,
)
from stationsim.studies.compare.tables import NO, NOT_JUDGED
from stationsim.units import show
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stationsim.studies.compare.facts import Facts
    from stationsim.units import System

_LONG_IDLE_H = 12.0


def sentences(facts: Facts, system: System) -> list[str]:
    """Return what a person would say, in three to six sentences.

    Parameters
    ----------
    facts
        What came of the comparison.
    system
        ``si`` or ``us``.
    """
    told = [_scope(facts, system), *effects(facts, system)]
    told += [_sharing(facts), _trouble(facts, system), _limits(facts, system), _energy(facts)]
    return [" ".join([told[0], *facts.notes]), *[one for one in told[1:] if one]][:6]


def _scope(facts: Facts, system: System) -> str:
    lasts = show(facts.episode.duration_s, "duration", system)
    whom = listed(facts.names) if len(facts.names) <= MOST_NAMED else "the stations"
    inflow = "on the same inflow"
    if not facts.same_inflow:
        inflow = "each on its own inflow, for that is varied"
    return f"{len(facts.labels)} settings of {whom} were run over {lasts}, {inflow}."


def _sharing(facts: Facts) -> str:
    """Return how evenly hours and starts are shared, and how long a pump went unproven."""
    idle = [name for name in _every_electric(facts) if not _ever(facts, name)]
    hours, starts = _evenness(facts, "run hours", idle), _evenness(facts, "starts", idle)
    if not hours:
        return ""
    hours_alike = max(hours.values()) - min(hours.values()) <= UNCHANGED
    by, what = (starts, "starts") if hours_alike else (hours, "hours")
    low, high = min(by.values()), max(by.values())
    best = [n for n, v in by.items() if high - v <= UNCHANGED]
    worst = [n for n, v in by.items() if v - low <= UNCHANGED]
    shares = [
        f"{_percent(hours[n[0]])} of the hours and {_percent(starts[n[0]])} of the starts"
        for n in (best, worst)
    ]
    if len(hours) == 1 < len(facts.labels):
        (only,) = hours
        told = (
            f"With {quoted(only)}, the only setting in which two pumps or more share the work, the"
            f" least used one has {shares[0]} of the most used"
        )
    elif high - low <= UNCHANGED:
        where = "in all settings"
        if len(hours) < len(facts.labels):
            where += " in which two pumps or more have work to share"
        told = f"The pumps share the work alike {where}: the least used one has {shares[0]} of the"
        told += " most used"
    else:
        told = (
            f"The pumps share the {what} most evenly under {named(facts, best)}, where the least"
            f" used one has {shares[0]} of the most used; least evenly under {named(facts, worst)}"
            f" ({shares[1]})"
        )
    if idle:
        told += f"; {listed(idle)} never ran and {'is' if len(idle) == 1 else 'are'} left out"
    return told + _unproven(facts, idle)


def _ever(facts: Facts, name: str) -> bool:
    return any(starts > 0.0 for starts in facts.values("starts", name))


def _every_electric(facts: Facts) -> list[str]:
    return list(dict.fromkeys(name for label in facts.labels for name in facts.electric(label)))


def _unproven(facts: Facts, left_out: Sequence[str]) -> str:
    idle = {}
    for one in facts.outcomes:
        names = [name for name in facts.electric(one.label) if name not in left_out]
        if names:
            idle[one.label] = max(one.value("longest time not run", name) for name in names)
    most, least = max(idle.values()), min(idle.values())
    if most < _LONG_IDLE_H or most <= 1.5 * least:
        return f"; no pump went longer without a run than {_lasted(most)}."
    worst = [name for name, value in idle.items() if value >= most - UNCHANGED]
    best = [name for name, value in idle.items() if value <= least + UNCHANGED]
    return (
        f"; the longest that a pump went unproven is {_lasted(most)}, under {named(facts, worst)},"
        f" and {_lasted(least)} at best, under {named(facts, best)}."
    )


def _lasted(hours: float) -> str:
    return show(3600.0 * hours, "duration", "si")


def _evenness(facts: Facts, metric: str, left_out: Sequence[str]) -> dict[str, float]:
    """Return least over most of the electric pumps of each setting that has two or more."""
    found: dict[str, float] = {}
    for one in facts.outcomes:
        values = [
            one.value(metric, name) for name in facts.electric(one.label) if name not in left_out
        ]
        if len(values) > 1 and max(values) > 0.0:
            found[one.label] = min(values) / max(values)
    return found


def _trouble(facts: Facts, system: System) -> str:
    spilled = {one.label: one.value("volume spilled") for one in facts.outcomes}
    wet = {name: volume for name, volume in spilled.items() if volume > 0.0}
    above = {one.label: one.value("hours above high-level alarm") for one in facts.outcomes}
    reached = {name: hours for name, hours in above.items() if hours > 0.0}
    alarmed = [label for label, hours in above.items() if not math.isnan(hours)]
    spilling = [label for label in facts.labels if facts.stations[label].spillway is not None]
    alike = all(len(some) in (0, len(facts.labels)) for some in (alarmed, spilling))
    if not wet and not reached and alike:
        some = [
            *(["spilled"] if spilling else []),
            *(["reached the high-level alarm"] if alarmed else []),
        ]
        return f"No setting {' or '.join(some)}." if some else ""
    parts = []
    if wet:
        said = _ranged(facts, wet, spilling, lambda x: show(x, "volume", system))
        parts.append(f"it spilled {said}")
    elif spilling:
        parts.append(f"no setting spilled{_lacking(facts, spilling, 'spill')}")
    if reached:
        lasted = _ranged(facts, reached, alarmed, _lasted)
        parts.append(f"the level stood at or above the high-level alarm for {lasted}")
    elif alarmed:
        parts.append(f"none reached the high-level alarm{_lacking(facts, alarmed, 'such alarm')}")
    return capital(f"{'; '.join(parts)}.")


def _ranged(
    facts: Facts, found: Mapping[str, float], able: Sequence[str], say: Callable[[float], str]
) -> str:
    """Return what some settings came to, from the least to the most, and which they are."""
    low, high = min(found, key=lambda n: found[n]), max(found, key=lambda n: found[n])
    if say(found[low]) == say(found[high]):
        every = len(found) == len(facts.labels)
        where = "in all settings" if every else f"with {named(facts, list(found))}"
        return f"{say(found[high])} {where}"
    others = [label for label in able if label not in found]
    rest = f", and not with {named(facts, others)}" if others else ""
    return f"{say(found[low])} ({quoted(low)}) to {say(found[high])} ({quoted(high)}){rest}"


def _lacking(facts: Facts, having: Sequence[str], what: str) -> str:
    """Return which settings have no such thing: `` (alder has no spill)``; nothing if none."""
    without = [label for label in facts.labels if label not in having]
    if not without:
        return ""
    verb = "has" if len(without) == 1 else "have"
    return f" ({named(facts, without)} {verb} no {what})"


def _limits(facts: Facts, system: System) -> str:
    """Return which of the scenario's own limits are broken, those apart that trouble told of."""
    del system
    judged = [one for one in facts.limits if one.kept != NOT_JUDGED]
    if not judged:
        return "The scenario gives no limits to judge by."
    broken: dict[str, list[str]] = {}
    for one in judged:
        if one.kept == NO:
            broken.setdefault(one.limit, []).append(one.setting)
    names = list(dict.fromkeys(one.limit for one in judged))
    if not broken:
        whose = "All keep" if len({one.setting for one in judged}) > 1 else "None breaks"
        kept_by = [_where_judged(facts, name) for name in names]
        if kept_by != names:
            return f"{whose} the limits that the scenario gives: {', '.join(kept_by)}."
        return f"{whose} the limits that the scenario gives ({', '.join(names)})."
    parts = []
    for limit, settings in broken.items():
        who = list(dict.fromkeys(settings))
        where = "in all settings" if len(who) == len(facts.labels) else f"by {named(facts, who)}"
        parts.append(f"'{limit}' {where}{_unjudged(facts, limit)}")
    kept = [_where_judged(facts, name) for name in names if name not in broken]
    rest = f"; kept by all: {', '.join(kept)}" if kept else ""
    return f"Limits of the scenario that are broken: {'; '.join(parts)}{rest}."


def _where_judged(facts: Facts, limit: str) -> str:
    return f"{limit}{_unjudged(facts, limit)}"


def _unjudged(facts: Facts, limit: str) -> str:
    """Return for which settings a limit is not judged; nothing when it is for all."""
    judged = {one.setting for one in facts.limits if one.limit == limit and one.kept != NOT_JUDGED}
    without = [label for label in facts.labels if label not in judged]
    return f" (not judged for {named(facts, without)})" if without else ""


def _energy(facts: Facts) -> str:
    for metric, unit in (("energy cost", ""), ("energy", " kWh")):
        values = [v for v in facts.values(metric) if not math.isnan(v)]
        if len(values) < 2 or not min(values) > 0.0:
            continue
        low, high = min(values), max(values)
        if high / low - 1.0 <= UNCHANGED:
            known = "" if len(values) == len(facts.labels) else " where it is known"
            return f"The {metric} is the same within 1 %{known} ({figure(high)}{unit})."
        labels = dict(zip(facts.labels, facts.values(metric), strict=True))
        best = next(name for name, value in labels.items() if value == low)
        most = next(name for name, value in labels.items() if value == high)
        return (
            f"The {metric} is least with {quoted(best)} ({figure(low)}{unit}) and greatest with"
            f" {quoted(most)}"
            f" ({figure(high)}{unit}, {100.0 * (high / low - 1.0):.0f} % more)."
        )
    return ""


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"

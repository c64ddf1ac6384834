"""The verdict of a comparison in sentences: what a change does, who shares best, what breaks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.compare import differing
from stationsim.studies.compare.differing import ALL_STOP, POLICY, STAGED
from stationsim.studies.compare.tables import NO, NOT_JUDGED
from stationsim.units import from_si, show, shown_unit
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stationsim.studies.compare.facts import Facts
    from stationsim.units import System

_UNCHANGED = 0.01 + 1e-9
_FITS = 0.02
_MOST_NAMED = 3
_LONG_IDLE_H = 12.0
_MOST_EFFECTS = 2

_WORDS: tuple[tuple[float, str, str], ...] = (
    (2.0, "doubles {}", "doubles them"),
    (3.0, "triples {}", "triples them"),
    (4.0, "quadruples {}", "quadruples them"),
    (0.5, "halves {}", "halves them"),
    (1.0 / 3.0, "cuts {} to a third", "cuts them to a third"),
    (0.25, "cuts {} to a quarter", "cuts them to a quarter"),
    (1.5, "adds half to {}", "adds half"),
    (4.0 / 3.0, "adds a third to {}", "adds a third"),
    (1.25, "adds a quarter to {}", "adds a quarter"),
    (2.0 / 3.0, "takes a third off {}", "takes a third off"),
    (0.75, "takes a quarter off {}", "takes a quarter off"),
)
"""Ratio, how it is said with what it is said of, and how it is said the second time."""


def sentences(facts: Facts, system: System) -> list[str]:
    """Return what a person would say, in three to six sentences.

    Parameters
    ----------
    facts
        What came of the comparison.
    system
        ``si`` or ``us``.
    """
    told = [_scope(facts, system), *_effects(facts, system)]
    told += [_sharing(facts), _trouble(facts, system), _limits(facts, system), _energy(facts)]
    return [" ".join([told[0], *facts.notes]), *[one for one in told[1:] if one]][:6]


def change(before: float, after: float) -> tuple[str, str]:
    """Return what a change does to a number of things, said the first and the second time.

    Parameters
    ----------
    before, after
        The number before and after; not below nought.

    Examples
    --------
    >>> change(5.093, 15.279)
    ('triples {}', 'triples them')
    """
    if before == after or (before > 0.0 and abs(after / before - 1.0) <= _UNCHANGED):
        return "leaves {} unchanged", "leaves them unchanged"
    if before > 0.0:
        ratio = after / before
        for fits, first, again in _WORDS:
            if abs(ratio / fits - 1.0) <= _FITS:
                return first, again
    span = f"from {figure(before)} to {figure(after)}"
    return f"takes {{}} {span}", f"takes them {span}"


def figure(value: float) -> str:
    """Return a number with three figures, whole ones in full.

    Parameters
    ----------
    value
        The number.
    """
    if math.isnan(value):
        return "none"
    if abs(value) >= 99.95 or value == round(value):
        return f"{value:,.0f}"
    return f"{value:#.3g}".rstrip(".")


def _steadily(facts: Facts, system: System) -> str:
    """Return ``at a steady 36 L/s, `` when the inflow is that; else nothing."""
    if not (facts.same_inflow and facts.steady):
        return ""
    unit = shown_unit("flow", system)
    return f"at a steady {from_si(facts.greatest_m3s, unit, 'flow'):.4g} {unit}, "


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _scope(facts: Facts, system: System) -> str:
    lasts = show(facts.episode.duration_s, "duration", system)
    whom = listed(facts.names) if len(facts.names) <= _MOST_NAMED else "the stations"
    inflow = "on the same inflow"
    if not facts.same_inflow:
        inflow = "each on its own inflow, for that is varied"
    return f"{len(facts.labels)} settings of {whom} were run over {lasts}, {inflow}."


def _effects(facts: Facts, system: System) -> list[str]:
    """Return what each axis of numbers does to the chief metric; else who has most and fewest."""
    found: list[str] = []
    for key in facts.axes:
        told = _effect(facts, key, system)
        if told:
            found.append(told)
    return found[:_MOST_EFFECTS] or [_extremes(facts, system)]


def _effect(facts: Facts, key: str, system: System) -> str:
    values = differing.values_of(facts.differs, key)
    what, amount = differing.moved(key, values[0], values[-1])
    if not amount:
        return ""
    groups: dict[str, list[tuple[float, float]]] = {}
    for label, pair in _pairs(facts, key, values[0], values[-1]):
        groups.setdefault(_under(facts, key, label), []).append(pair)
    verdicts: dict[tuple[str, str], list[tuple[str, tuple[float, float]]]] = {}
    for case, pairs in groups.items():
        kinds = {change(*pair) for pair in pairs}
        if len(kinds) > 1 or (len(groups) > 3):
            return _effect_in_general(facts, key, _steadily(facts, system) + what, values)
        verdicts.setdefault(kinds.pop(), []).append((case, pairs[0]))
    strongest = sorted(verdicts.items(), key=lambda item: -_strength(item[1][0][1]))
    hours = facts.episode.duration_s / 3600.0
    parts: list[str] = []
    taken = False
    for (first, again), where in strongest:
        cases = list(dict.fromkeys(one for one, _ in where if one))
        under = listed(cases) if cases and len(strongest) > 1 else "every other value"
        under = f" under {under}" if len(groups) > 1 else ""
        takes = " from " in first  # such a span needs its verb once
        said = again.removeprefix("takes them ") if takes and taken else again
        said = said if parts else first.format(f"the {facts.chief}")
        taken = takes
        numbers = "" if takes else _an_hour([pair for _, pair in where], hours)
        parts.append(f"{said}{under}{numbers}")
    return _capital(f"{_steadily(facts, system)}{what} {listed(parts)}.")


def _an_hour(pairs: Sequence[tuple[float, float]], hours: float) -> str:
    """Return numbers an hour in brackets, where those of all pairs say the same."""
    said = {tuple(figure(number / hours) for number in pair) for pair in pairs}
    if len(said) > 1:
        return ""
    before, after = said.pop()
    return f" ({before} to {after} an hour)" if before != after else f" ({before} an hour)"


def _effect_in_general(facts: Facts, key: str, what: str, values: Sequence[str]) -> str:
    """Return the range of what a change does when it is not alike in few cases."""
    pairs = [pair for _, pair in _pairs(facts, key, values[0], values[-1])]
    ratios = [after / before for before, after in pairs if before > 0.0]
    if not ratios:
        return ""
    low, high = min(ratios), max(ratios)
    return _capital(
        f"{what} multiplies the {facts.chief} by {low:.2f} to {high:.2f}, depending on the rest."
    )


def _pairs(facts: Facts, key: str, first: str, last: str) -> list[tuple[str, tuple[float, float]]]:
    """Return the settings that differ in one key only: label of the first, chief of both."""
    by_point: dict[tuple[str, ...], dict[str, tuple[str, float]]] = {}
    rest = [one for one in facts.axes if one != key]
    for one in facts.outcomes:
        own = facts.differs[one.label]
        point = tuple(own.get(other, "") for other in rest)
        by_point.setdefault(point, {})[own.get(key, "")] = (one.label, one.value(facts.chief))
    return [
        (at[first][0], (at[first][1], at[last][1]))
        for at in by_point.values()
        if first in at and last in at
    ]


def _under(facts: Facts, key: str, label: str) -> str:
    """Return under which values of the other axes a setting stands."""
    own = facts.differs[label]
    said = []
    for other in facts.axes:
        if other == key:
            continue
        value = own.get(other, "")
        if other == POLICY:
            said.append(ALL_STOP if value == "all together" else _staged(facts, value))
        else:
            said.append(differing.value_text(other, value))
    return ", ".join(said)


def _staged(facts: Facts, value: str) -> str:
    """Return 'staged stop', with the policy's own name when the staged ones do not agree."""
    chief: dict[tuple[str, ...], list[float]] = {}
    for one in facts.outcomes:
        own = facts.differs[one.label]
        if own.get(POLICY) != "all together":
            rest = tuple(own.get(key, "") for key in facts.axes if key != POLICY)
            chief.setdefault(rest, []).append(one.value(facts.chief))
    alike = all(max(x) - min(x) <= _UNCHANGED * max(x) for x in chief.values())
    return STAGED if alike else f"'{value}'"


def _strength(pair: tuple[float, float]) -> float:
    before, after = pair
    if before == after:
        return 0.0
    return abs(math.log(after / before)) if before > 0.0 and after > 0.0 else math.inf


def _extremes(facts: Facts, system: System) -> str:
    values = facts.values(facts.chief)
    low, high = min(values), max(values)
    steady = _steadily(facts, system)
    if high == low or (low > 0.0 and high / low - 1.0 <= _UNCHANGED):
        within = "" if high == low else " within 1 %"
        return _capital(
            f"{steady}the {facts.chief} are the same in all settings{within} ({figure(high)})."
        )
    most = [n for n, v in zip(facts.labels, values, strict=True) if v == high]
    few = [n for n, v in zip(facts.labels, values, strict=True) if v == low]
    return _capital(
        f"{steady}{facts.chief} are most with {_named(facts, most)} ({figure(high)}) and fewest"
        f" with {_named(facts, few)} ({figure(low)}){_worst_of_one(facts)}."
    )


def _worst_of_one(facts: Facts) -> str:
    values = dict(
        zip(facts.labels, facts.values("worst starts of one pump in an hour"), strict=True)
    )
    low, high = min(values.values()), max(values.values())
    if high == low:
        return f"; one pump starts {figure(high)} times in any hour at most"
    most = [label for label, value in values.items() if value == high]
    few = [label for label, value in values.items() if value == low]
    return (
        f"; one pump starts up to {figure(high)} times in an hour under {_named(facts, most)}, up"
        f" to {figure(low)} under {_named(facts, few)}"
    )


def _sharing(facts: Facts) -> str:
    """Return how evenly hours and starts are shared, and how long a pump went unproven."""
    idle = [name for name in _every_electric(facts) if not _ever(facts, name)]
    hours, starts = _evenness(facts, "run hours", idle), _evenness(facts, "starts", idle)
    if not hours:
        return ""
    hours_alike = max(hours.values()) - min(hours.values()) <= _UNCHANGED
    by, what = (starts, "starts") if hours_alike else (hours, "hours")
    low, high = min(by.values()), max(by.values())
    best = [n for n, v in by.items() if high - v <= _UNCHANGED]
    worst = [n for n, v in by.items() if v - low <= _UNCHANGED]
    shares = [
        f"{_percent(hours[n[0]])} of the hours and {_percent(starts[n[0]])} of the starts"
        for n in (best, worst)
    ]
    if high - low <= _UNCHANGED:
        told = f"The pumps share the work alike in all settings: the least used one has {shares[0]}"
        told += " of the most used"
    else:
        told = (
            f"The pumps share the {what} most evenly under {_named(facts, best)}, where the least"
            f" used one has {shares[0]} of the most used; least evenly under {_named(facts, worst)}"
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
    worst = [name for name, value in idle.items() if value >= most - _UNCHANGED]
    best = [name for name, value in idle.items() if value <= least + _UNCHANGED]
    return (
        f"; the longest that a pump went unproven is {_lasted(most)}, under {_named(facts, worst)},"
        f" and {_lasted(least)} at best, under {_named(facts, best)}."
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
    can_alarm = any(not math.isnan(hours) for hours in above.values())
    can_spill = any(station.spillway is not None for station in facts.stations.values())
    if not wet and not reached:
        some = [
            *(["spilled"] if can_spill else []),
            *(["reached the high-level alarm"] if can_alarm else []),
        ]
        return f"No setting {' or '.join(some)}." if some else ""
    parts = []
    if wet:
        parts.append("it spilled " + _ranged(facts, wet, lambda x: show(x, "volume", system)))
    elif can_spill:
        parts.append("no setting spilled")
    if reached:
        lasted = _ranged(facts, reached, _lasted)
        parts.append(f"the level stood at or above the high-level alarm for {lasted}")
    elif can_alarm:
        parts.append("none reached the high-level alarm")
    return _capital(f"{'; '.join(parts)}.")


def _ranged(facts: Facts, found: Mapping[str, float], say: Callable[[float], str]) -> str:
    """Return what some settings came to, from the least to the most, and which they are."""
    low, high = min(found, key=lambda n: found[n]), max(found, key=lambda n: found[n])
    every = len(found) == len(facts.labels)
    if say(found[low]) == say(found[high]):
        where = "in all settings" if every else f"with {_named(facts, list(found))}"
        return f"{say(found[high])} {where}"
    rest = "" if every else f", and not with {_named(facts, _others(facts, found))}"
    return f"{say(found[low])} ({_quoted(low)}) to {say(found[high])} ({_quoted(high)}){rest}"


def _others(facts: Facts, found: Mapping[str, float]) -> list[str]:
    return [label for label in facts.labels if label not in found]


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
        return f"All keep the limits that the scenario gives ({', '.join(names)})."
    parts = []
    for limit, settings in broken.items():
        who = list(dict.fromkeys(settings))
        where = "in all settings" if len(who) == len(facts.labels) else f"by {_named(facts, who)}"
        parts.append(f"'{limit}' {where}")
    kept = [name for name in names if name not in broken]
    rest = f"; kept by all: {', '.join(kept)}" if kept else ""
    return f"Limits of the scenario that are broken: {'; '.join(parts)}{rest}."


def _energy(facts: Facts) -> str:
    for metric, unit in (("energy cost", ""), ("energy", " kWh")):
        values = [v for v in facts.values(metric) if not math.isnan(v)]
        if len(values) < 2 or not min(values) > 0.0:
            continue
        low, high = min(values), max(values)
        if high / low - 1.0 <= _UNCHANGED:
            return f"The {metric} is the same within 1 % ({figure(high)}{unit})."
        labels = dict(zip(facts.labels, facts.values(metric), strict=True))
        best = next(name for name, value in labels.items() if value == low)
        most = next(name for name, value in labels.items() if value == high)
        return (
            f"The {metric} is least with {_quoted(best)} ({figure(low)}{unit}) and greatest with"
            f" {_quoted(most)}"
            f" ({figure(high)}{unit}, {100.0 * (high / low - 1.0):.0f} % more)."
        )
    return ""


def _named(facts: Facts, labels: Sequence[str]) -> str:
    """Return settings as one names them: by the value that they share and no other has, or all."""
    for key in facts.axes if len(labels) > 1 else ():
        values = list(dict.fromkeys(facts.differs[label].get(key, "") for label in labels))
        having = [n for n in facts.labels if facts.differs[n].get(key, "") in values]
        if len(having) == len(labels) and len(values) <= _MOST_NAMED:
            return listed([_quoted(differing.value_text(key, value)) for value in values])
    if len(labels) <= _MOST_NAMED:
        return listed([_quoted(label) for label in labels])
    return f"{len(labels)} settings, such as {_quoted(labels[0])},"


def _quoted(text: str) -> str:
    return f"'{text}'" if "," in text else text


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"

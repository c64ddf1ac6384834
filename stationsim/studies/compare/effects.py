"""What a change of a setting does, in sentences: by how much, one way only, or most and fewest."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from stationsim.studies.compare import differing
from stationsim.studies.compare.differing import ALL_STOP, POLICY, STAGED
from stationsim.units import from_si, shown_unit
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.compare.facts import Facts
    from stationsim.units import System

UNCHANGED = 0.01 + 1e-9
_FITS = 0.02
MOST_NAMED = 3
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
    if before == after or (before > 0.0 and abs(after / before - 1.0) <= UNCHANGED):
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
    return f"at a steady {differing.plain(from_si(facts.greatest_m3s, unit, 'flow'), 4)} {unit}, "


def capital(text: str) -> str:
    """Return a sentence with a capital at its head.

    Parameters
    ----------
    text
        The sentence.
    """
    return f"{text[:1].upper()}{text[1:]}"


def effects(facts: Facts, system: System) -> list[str]:
    """Return what each axis of numbers does to the chief metric; else who has most and fewest.

    Parameters
    ----------
    facts
        What came of the comparison.
    system
        ``si`` or ``us``.
    """
    found: list[str] = []
    turns = False  # whether more of a thing has one effect first, and then the other
    for key in facts.axes:
        values = differing.values_of(facts.differs, key)
        sizes = differing.sizes_of(values)
        if sizes and not _one_way(facts, key, values, sizes):
            turns = True
            continue
        told = _effect(facts, key, values, sizes, system)
        if told:
            found.append(told)
    found = found[: _MOST_EFFECTS - turns]
    return [*found, _extremes(facts, system)] if turns or not found else found


def _one_way(facts: Facts, key: str, values: Sequence[str], sizes: Sequence[float]) -> bool:
    """Return whether the chief metric only ever grows with a key, or only falls."""
    rising = [value for _, value in sorted(zip(sizes, values, strict=True))]
    by_point: dict[tuple[str, ...], set[bool]] = {}
    rest = [one for one in facts.axes if one != key]
    for first, last in pairwise(rising):
        for label, (before, after) in _pairs(facts, key, first, last):
            if abs(after - before) > UNCHANGED * max(before, after):
                point = tuple(facts.differs[label].get(one, "") for one in rest)
                by_point.setdefault(point, set()).add(after > before)
    return all(len(ways) == 1 for ways in by_point.values())


def _ends(values: Sequence[str], sizes: Sequence[float]) -> tuple[str, str]:
    """Return the least and the greatest of values, the one that stands first before the other."""
    if not sizes:
        return values[0], values[-1]
    least, most = (sizes.index(one) for one in (min(sizes), max(sizes)))
    return values[min(least, most)], values[max(least, most)]


def _effect(
    facts: Facts, key: str, values: Sequence[str], sizes: Sequence[float], system: System
) -> str:
    if sizes and min(sizes) == max(sizes):  # written otherwise, and the same
        return ""
    first_value, last_value = _ends(values, sizes)
    what, amount = differing.moved(key, first_value, last_value)
    if not amount:
        return ""
    if (first_value, last_value) != (values[0], values[-1]):
        verb = what.partition(" ")[0]
        what = f"{verb} the {differing.name_of(key)} from {first_value} to {last_value}"
    groups: dict[str, list[tuple[float, float]]] = {}
    for label, pair in _pairs(facts, key, first_value, last_value):
        groups.setdefault(_under(facts, key, label), []).append(pair)
    verdicts: dict[tuple[str, str], list[tuple[str, tuple[float, float]]]] = {}
    for case, pairs in groups.items():
        kinds = {change(*pair) for pair in pairs}
        if len(kinds) > 1 or (len(groups) > 3):
            every = [pair for pairs in groups.values() for pair in pairs]
            return _effect_in_general(facts, _steadily(facts, system) + what, every)
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
    return capital(f"{_steadily(facts, system)}{what} {listed(parts)}.")


def _an_hour(pairs: Sequence[tuple[float, float]], hours: float) -> str:
    """Return numbers an hour in brackets, where those of all pairs say the same."""
    said = {tuple(figure(number / hours) for number in pair) for pair in pairs}
    if len(said) > 1:
        return ""
    before, after = said.pop()
    return f" ({before} to {after} an hour)" if before != after else f" ({before} an hour)"


def _effect_in_general(facts: Facts, what: str, pairs: Sequence[tuple[float, float]]) -> str:
    """Return the range of what a change does when it is not alike in few cases."""
    ratios = [after / before for before, after in pairs if before > 0.0]
    if not ratios:
        return ""
    low, high = min(ratios), max(ratios)
    return capital(
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
    alike = all(max(x) - min(x) <= UNCHANGED * max(x) for x in chief.values())
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
    if high == low or (low > 0.0 and high / low - 1.0 <= UNCHANGED):
        within = "" if high == low else " within 1 %"
        return capital(
            f"{steady}the {facts.chief} are the same in all settings{within} ({figure(high)})."
        )
    most = [n for n, v in zip(facts.labels, values, strict=True) if v == high]
    few = [n for n, v in zip(facts.labels, values, strict=True) if v == low]
    return capital(
        f"{steady}{facts.chief} are most with {named(facts, most)} ({figure(high)}) and fewest"
        f" with {named(facts, few)} ({figure(low)}){_worst_of_one(facts)}."
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
        f"; one pump starts up to {figure(high)} times in an hour under {named(facts, most)}, up"
        f" to {figure(low)} under {named(facts, few)}"
    )


def named(facts: Facts, labels: Sequence[str]) -> str:
    """Return settings as one names them: by the value that they share and no other has, or all.

    Parameters
    ----------
    facts
        What came of the comparison.
    labels
        Which settings.
    """
    for key in facts.axes if len(labels) > 1 else ():
        values = list(dict.fromkeys(facts.differs[label].get(key, "") for label in labels))
        having = [n for n in facts.labels if facts.differs[n].get(key, "") in values]
        if len(having) == len(labels) and len(values) <= MOST_NAMED:
            return listed([quoted(differing.value_text(key, value)) for value in values])
    if len(labels) <= MOST_NAMED:
        return listed([quoted(label) for label in labels])
    return f"{len(labels)} settings, such as {quoted(labels[0])},"


def quoted(text: str) -> str:
    """Return a label in quotes when a comma in it would be misread.

    Parameters
    ----------
    text
        The label.
    """
    return f"'{text}'" if "," in text else text

"""The comparison on the screen: settings side by side, or one below the other when many."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from stationsim.studies.compare.tables import NO, NOT_JUDGED
from stationsim.units import factor, shown_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.compare.facts import Facts
    from stationsim.units import Kind, System

MOST_COLUMNS = 4
"""With more settings than this each is a row."""

_WIDE = 23
_LABEL = 36
_M3_PER_THOUSAND_GAL = 3.785411784


@dataclass(frozen=True)
class _Line:
    """One figure as it is shown: its name, unit, SI over that unit, decimals, subject."""

    metric: str
    subject: str
    name: str
    unit: str
    per_unit: float
    decimals: int


_OF_STATION: tuple[tuple[str, str, int], ...] = (
    ("starts", "", 0),
    ("worst starts in an hour", "", 0),
    ("worst starts of one pump in an hour", "", 0),
    ("lag starts", "", 0),
    ("lag starts per hour", "1/h", 3),
    ("mean cycle", "min", 1),
    ("least cycle", "min", 1),
    ("greatest cycle", "min", 1),
    ("longest time not run", "h", 1),
    ("energy", "kWh", 1),
    ("energy per volume", "kWh/m3", 4),
    ("energy cost", "", 2),
    ("least level", "level", 2),
    ("mean level", "level", 2),
    ("greatest level", "level", 2),
    ("hours above high-level alarm", "h", 2),
    ("spills", "", 0),
    ("volume spilled", "volume", 1),
    ("least time to spill", "min", 1),
)
_OF_MACHINE: tuple[tuple[str, str, int], ...] = (
    ("run hours", "h", 1),
    ("starts", "", 0),
    ("worst starts in an hour", "", 0),
    ("shortest off time", "min", 1),
)
_CHIEF = (
    ("worst starts of one pump in an hour", "most in 1 h"),
    ("lag starts per hour", "lag/h"),
    ("mean cycle", "cycle"),
    ("longest time not run", "not run"),
    ("energy", "energy"),
    ("greatest level", "highest"),
    ("hours above high-level alarm", "above alarm"),
    ("volume spilled", "spilled"),
)


def lines(facts: Facts, system: System) -> list[str]:
    """Return the table of a comparison, for the screen.

    Parameters
    ----------
    facts
        What came of it.
    system
        ``si`` or ``us``.
    """
    if len(facts.labels) <= MOST_COLUMNS:
        return _side_by_side(facts, system)
    return _one_below_the_other(facts, system)


def _side_by_side(facts: Facts, system: System) -> list[str]:
    heads = [
        [line for part in label.split(" / ") for line in textwrap.wrap(part, _WIDE - 2)]
        for label in facts.labels
    ]
    deep = max(len(head) for head in heads)
    found = ["In brackets: the difference from the first setting.", ""]
    for n in range(deep):
        row = [head[n - deep + len(head)] if n - deep + len(head) >= 0 else "" for head in heads]
        found.append(f"{'':{_LABEL}}" + "".join(f"{text:>{_WIDE}}" for text in row))
    for line in _lines(facts, system):
        values = [_shown(facts, line, n) for n in range(len(facts.labels))]
        idle = line.metric in ("volume spilled", "spill hours") and not any(values)
        if not idle and not all(math.isnan(value) for value in values):
            cells = [_cell(value, values[0], line.decimals, n) for n, value in enumerate(values)]
            found.append(f"{_head(line):{_LABEL}}" + "".join(f"{c:>{_WIDE}}" for c in cells))
    found += _limit_rows(facts)
    return [line.rstrip() for line in found]


def _head(line: _Line) -> str:
    shared = any(line.metric == metric for metric, _, _ in _OF_MACHINE)
    whose = f"{line.subject} " if line.subject != "station" else "all pumps: " if shared else ""
    return f"{whose}{line.name}{f' [{line.unit}]' if line.unit else ''}"


def _cell(value: float, first: float, decimals: int, n: int) -> str:
    if math.isnan(value):
        return "-" + " " * (0 if n == 0 else 10)
    text = _number(value, decimals)
    if n == 0:
        return text
    apart = value - first
    if math.isnan(apart):
        return text + " " * 10
    told = _number(apart, decimals)
    if float(told.replace(",", "")) == 0.0:
        told = "="
    elif apart > 0.0:
        told = f"+{told}"
    return f"{text} {f'({told})':>9}"


def _number(value: float, decimals: int) -> str:
    if math.isinf(value):
        return "never"
    return f"{round(value, decimals) + 0.0:,.{decimals}f}"


def _limit_rows(facts: Facts) -> list[str]:
    names = list(dict.fromkeys(one.limit for one in facts.limits))
    found = []
    for name in names:
        row = []
        for label in facts.labels:
            own = [one for one in facts.limits if one.limit == name and one.setting == label]
            judged = [one for one in own if one.kept != NOT_JUDGED]
            broken = [one.subject for one in judged if one.kept == NO]
            whose = "" if broken == ["station"] else f" ({', '.join(broken)})"
            row.append("not judged" if not judged else f"broken{whose}" if broken else "kept")
        found.append(f"{'limit: ' + name:{_LABEL}}" + "".join(f"{text:>{_WIDE}}" for text in row))
    return found


def _one_below_the_other(facts: Facts, system: System) -> list[str]:
    every = {line.metric: line for line in _lines(facts, system) if line.subject == "station"}
    heads = ["setting"]
    rows = [[label] for label in facts.labels]
    machines = facts.machines
    for metric, unit, many in (("run hours", " [h]", 1), ("starts", "", 0)):
        heads.append(f"{metric}{unit} {'/'.join(machines)}")
        for row, one in zip(rows, facts.outcomes, strict=True):
            row.append("/".join(_or_dash(one.value(metric, name), many) for name in machines))
    for metric, short in _CHIEF:
        line = every.get(metric)
        if line is None or not facts.has(metric):
            continue
        if metric == "volume spilled" and not any(v > 0.0 for v in facts.values(metric)):
            continue
        heads.append(f"{short}{f' [{line.unit}]' if line.unit not in ('', '1/h') else ''}")
        for n, row in enumerate(rows):
            row.append(_or_dash(_shown(facts, line, n), line.decimals))
    heads.append("limits broken")
    for row, label in zip(rows, facts.labels, strict=True):
        row.append(str(sum(one.setting == label and one.kept == NO for one in facts.limits)))
    return _aligned(heads, rows)


def _or_dash(value: float, decimals: int) -> str:
    return "-" if math.isnan(value) else _number(value, decimals)


def _aligned(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows under their heads; heads of more than one word stand on several lines."""
    cells = [max(len(row[n]) for row in rows) for n in range(len(heads))]
    parts = [textwrap.wrap(h, max(w, 9)) for h, w in zip(heads, cells, strict=True)]
    wide = [max(w, *(len(p) for p in part)) for w, part in zip(cells, parts, strict=True)]
    deep = max(len(part) for part in parts)
    padded = [[""] * (deep - len(part)) + part for part in parts]
    table = [[part[n] for part in padded] for n in range(deep)] + [list(row) for row in rows]
    return [
        "  ".join(
            f"{c:<{w}}" if n == 0 else f"{c:>{w}}"
            for n, (c, w) in enumerate(zip(row, wide, strict=True))
        ).rstrip()
        for row in table
    ]


def _lines(facts: Facts, system: System) -> list[_Line]:
    found = [
        _line(metric, name, kind, decimals, system)
        for metric, kind, decimals in _OF_MACHINE
        for name in facts.machines
    ]
    return found + [
        _line(metric, "station", kind, decimals, system) for metric, kind, decimals in _OF_STATION
    ]


def _line(metric: str, subject: str, kind: str, decimals: int, system: System) -> _Line:
    if kind in ("level", "volume"):
        unit = shown_unit("level" if kind == "level" else "volume", system)
        of = "length" if kind == "level" else "volume"
        places = 0 if unit == "gal" else decimals
        return _Line(metric, subject, metric, unit, factor(unit, cast("Kind", of)), places)
    if kind == "min":
        return _Line(metric, subject, metric, "min", 60.0, decimals)
    if kind == "kWh/m3" and system == "us":
        per = 1.0 / _M3_PER_THOUSAND_GAL
        return _Line(metric, subject, metric, "kWh/1,000 gal", per, 3)
    name = metric.removesuffix(" per hour") if kind == "1/h" else metric
    if metric == "hours above high-level alarm":
        name = "above high-level alarm"
    return _Line(metric, subject, name, kind, 1.0, decimals)


def _shown(facts: Facts, line: _Line, n: int) -> float:
    """Return a figure as a number of its unit; levels as this station's people count them."""
    one = facts.outcomes[n]
    value = one.value(line.metric, line.subject)
    if line.metric.endswith(" level"):
        value = facts.shown_m(value)
    return value / line.per_unit

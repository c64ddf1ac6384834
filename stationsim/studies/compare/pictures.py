"""What the plots of a comparison show: chosen here, drawn in :mod:`stationsim.plots.compare`."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from stationsim.studies.compare import differing
from stationsim.studies.compare.effects import figure
from stationsim.studies.compare.tables import ALARM, NO, SPILL
from stationsim.units import factor, shown_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from stationsim.studies.compare.facts import Facts
    from stationsim.studies.compare.outcome import Outcome
    from stationsim.units import System

_MOST_BARS = 24
_LEAST_SPAN_M = 0.02
_ALIKE_M = 1e-4


def of(facts: Facts) -> dict[str, Callable[[System], Figure]]:
    """Return the plots of a comparison, by the stem of their file.

    Parameters
    ----------
    facts
        What came of it.
    """
    found: dict[str, Callable[[System], Figure]] = {
        "levels": lambda system: _levels(facts, system),
        "pumps": lambda _: _pumps(facts),
    }
    if len(facts.axes) == 2:
        found["grid"] = lambda system: _grid(facts, system)
    return found


def strays_most(facts: Facts) -> Outcome:
    """Return the setting whose level strays most from that of the first on the chosen day.

    Parameters
    ----------
    facts
        What came of the comparison.
    """
    return max(facts.outcomes[1:], key=lambda one: _strays_m(facts, one))


def _strays_m(facts: Facts, one: Outcome) -> float:
    """Return the mean distance of a level from that of the first setting [m]."""
    first = facts.outcomes[0]
    grid = np.linspace(facts.from_s, facts.to_s, 721)
    apart = np.interp(grid, one.day_s, one.day_m) - np.interp(grid, first.day_s, first.day_m)
    return float(np.mean(np.abs(apart)))


def _levels(facts: Facts, system: System) -> Figure:
    from stationsim.plots.compare import Course, day_figure

    first, other = facts.outcomes[0], strays_most(facts)
    below = "" if len(facts.outcomes) == 2 else " Second: the one whose level strays most from it."
    if _strays_m(facts, other) < _ALIKE_M:
        below = " The levels of all settings are the same on this day."
    return day_figure(
        [
            Course(one.label, facts.stations[one.label], one.day_s, one.day_m)
            for one in (first, other)
        ],
        facts.episode.start,
        (facts.from_s, facts.to_s),
        f"{' and '.join(facts.names)}: levels of two settings on {facts.day}",
        f"Broad: the first setting.{below} Dotted: levels that are set.",
        system,
    )


def _pumps(facts: Facts) -> Figure:
    from stationsim.plots.compare import shares_figure

    shown = facts.outcomes[:_MOST_BARS]
    machines = facts.machines
    hours = [[one.value("run hours", name) for name in machines] for one in shown]
    starts = [[one.value("starts", name) for name in machines] for one in shown]
    rest = len(facts.outcomes) - len(shown)
    below = "Run hours and starts over the whole run."
    if rest > 0:
        below += f" The first {len(shown)} of {len(facts.outcomes)} settings."
    title = f"{' and '.join(facts.names)}: how the pumps share the work in each setting"
    return shares_figure([one.label for one in shown], machines, hours, starts, title, below)


def _grid(facts: Facts, system: System) -> Figure:
    from stationsim.plots.compare import Panel, grid_figure

    down, across = facts.axes
    rows, columns = (differing.values_of(facts.differs, key) for key in facts.axes)
    at = {
        (facts.differs[one.label][down], facts.differs[one.label][across]): one
        for one in facts.outcomes
    }
    broken = {
        label: [
            limit.limit for limit in facts.limits if limit.setting == label and limit.kept == NO
        ]
        for label in facts.labels
    }
    marks = [[_mark(broken[at[row, column].label]) for column in columns] for row in rows]
    chief = f"{facts.chief} per hour"
    unit = shown_unit("level", system)
    per_unit = factor(unit, "length")
    wanted = [
        (chief, "", 1.0, figure),
        ("worst starts of one pump in an hour", "", 1.0, figure),
        ("greatest level", unit, per_unit, lambda x: f"{x:.2f}"),
    ]
    panels = []
    for metric, of_unit, per, say in wanted:
        values = [[at[row, column].value(metric) / per for column in columns] for row in rows]
        if metric == "greatest level":
            values = [[facts.shown_m(value * per) / per for value in row] for row in values]
        flat = [value for row in values for value in row]
        if all(math.isnan(value) for value in flat):
            continue
        texts = [[say(value) for value in row] for row in values]
        name = metric if not of_unit else f"{metric} [{of_unit}]"
        panels.append(Panel(name, values, texts, _LEAST_SPAN_M / per if of_unit else 0.0))
    return grid_figure(
        panels,
        (differing.name_of(down), [_value(down, value) for value in rows]),
        (differing.name_of(across), [_value(across, value) for value in columns]),
        marks,
        f"{' and '.join(facts.names)}: every combination",
        "Darker is more. A word in a cell tells of a limit that did not hold.",
    )


def _mark(broken: list[str]) -> str:
    if SPILL in broken:
        return "spills"
    if ALARM in broken:
        return "reaches alarm"
    return "a limit broken" if broken else ""


def _value(key: str, value: str) -> str:
    return differing.value_text(key, value) if key == differing.POLICY else value

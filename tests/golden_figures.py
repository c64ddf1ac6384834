"""Figures of the shipped scenarios, as they were when they first ran: what later work may not move.

Every column of every table is boiled down to a few figures. A column of numbers: how many there
are, their mean, the least and the greatest, and the mean weighted by place, which tells a changed
order. A column of text: how often each text stands there, its digits left out. Moments as text
follow from ``t_s`` and are left out. The summary is kept value by value.

``python tests/golden_figures.py --update [NAME ...]`` writes them anew, from the code and the
scenarios as they are now. Whoever does so owes a line under 'Changed numbers' in DEVELOPERS.md.
"""

from __future__ import annotations

import dataclasses
import json
import re
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parent
GOLDEN = HERE / "golden"
SCENARIOS = HERE.parent / "scenarios"
DAY_S = 86_400.0

SHIPPED = {
    "reference-station": None,
    "alder-lane": None,
    "quarry-row-us": 30.0 * DAY_S,
    "mill-reach": None,
    "weir-bank-recorded": None,
    "osier-wharf": None,
    "mill-reach-rain": None,
    "bleach-field-manhole": None,
    "sallow-green": None,
    "teasel-court": None,
    "reed-corner": None,
    "heron-ditch": None,
    "fulling-croft": 5.0 * DAY_S,
    "kiln-staithe": None,
    "reference-plan": None,
    "madder-holm": None,
    "hemp-staithe": None,
    "woad-quay": None,
    "sedge-hythe": None,
}
"""Each scenario, and how much of it is run [s]; None for all."""

TOLERANCES = (
    ("time_to_spill_s", 0.1),  # long when the net flow is small, which magnifies all else
    ("_s", 1e-3),
    ("_m3s", 1e-9),
    ("_m3", 1e-6),
    ("_m", 1e-6),
    ("_h", 1e-6),
    ("_kwh", 1e-6),
)
"""How far each value of a column may move, by the end of its name; all others by 1e-9 of it."""

READ_FROM_ROWS = {
    "mean level | station": 5e-3,
    "least time to spill | station": 0.1,
    "time of least time to spill | station": 300.0,
}
"""Values that were then read from the rows of a table, every 5 min, and come from the course of the
level since: how far they may lie from what the rows said (see 'Changed numbers')."""


def run(name: str) -> Any:
    """Return the result of a shipped scenario."""
    from stationsim.scenario.load import load_scenario
    from stationsim.simulation.session import simulate

    station, episode = load_scenario(SCENARIOS / f"{name}.toml")
    most_s = SHIPPED[name]
    if most_s is not None:
        episode = dataclasses.replace(episode, duration_s=min(episode.duration_s, most_s))
    return simulate(station, episode)


def of_numbers(values: Any) -> dict[str, float]:
    """Return the figures of a column of numbers."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    if not known.size:
        return {"count": 0}
    place = np.linspace(0.0, 1.0, known.size)
    return {
        "count": int(known.size),
        "mean": float(known.mean()),
        "by place": float((known * place).mean()),
        "least": float(known.min()),
        "greatest": float(known.max()),
    }


def of_texts(values: Any) -> dict[str, int]:
    """Return how often each text stands in a column."""
    counted = Counter(re.sub(r"\d+", "#", str(value)) for value in values)
    return dict(sorted(counted.items()))


def figures(result: Any) -> dict[str, Any]:
    """Return all that is kept of a result."""
    from stationsim.tables import is_number

    found: dict[str, Any] = {}
    for name, table in result.tables.items():
        if name == "summary":
            continue
        found[name] = {
            column: (of_numbers if is_number(column) else of_texts)(table[column])
            for column in table.columns
            if column != "time" and not column.endswith("_time")
        }
    found["summary"] = {
        f"{row.metric} | {row.subject}": [row.unit, float(row.value)]
        for row in result.summary.itertuples()
        if np.isfinite(row.value)
    }
    return found


def tolerance(column: str, value: float) -> float:
    """Return how far a value of a column may move."""
    for end, allowed in TOLERANCES:
        if column.endswith(end):
            return allowed
    return 1e-9 * max(abs(value), 1.0)


def main(arguments: list[str]) -> int:
    """Write the figures anew."""
    if not arguments or arguments[0] != "--update":
        print(__doc__)
        return 2
    for name in arguments[1:] or SHIPPED:
        text = json.dumps(figures(run(name)), indent=1, ensure_ascii=False)
        GOLDEN.mkdir(exist_ok=True)
        (GOLDEN / f"{name}.json").write_text(text + "\n", encoding="utf-8")
        print(f"{name}: written")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

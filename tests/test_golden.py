"""The shipped scenarios against the figures that they gave when they first ran.

The numbers in ``tests/golden`` come from the version before storms, heat and panel limits were
built in: what is new may add columns, rows of the summary and files, and may change no old one.
``golden_figures.py`` says what is kept, how close it must stay, and how it is written anew.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from golden_figures import GOLDEN, READ_FROM_ROWS, SHIPPED, figures, run, tolerance

_UNITS = {"s": "_s", "m": "_m", "m3": "_m3", "m3/s": "_m3s", "h": "_h", "kWh": "_kwh"}


def moved(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """Return what has moved by more than it may, in words."""
    found = []
    for name, columns in old.items():
        if name == "summary":
            continue
        for column, kept in columns.items():
            if column not in new.get(name, {}):
                found.append(f"{name}.{column} is gone")
                continue
            now = new[name][column]
            if "count" not in kept or kept["count"] != now.get("count"):
                if kept != now:
                    found.append(f"{name}.{column}: {kept} became {now}")
                continue
            for figure, value in kept.items():
                if abs(now[figure] - value) > tolerance(column, value):
                    found.append(f"{name}.{column} {figure}: {value!r} became {now[figure]!r}")
    for metric, (unit, value) in old["summary"].items():
        if metric not in new["summary"]:
            found.append(f"summary: '{metric}' is gone")
            continue
        unit_now, value_now = new["summary"][metric]
        allowed = READ_FROM_ROWS.get(metric, tolerance(_UNITS.get(unit, ""), value))
        if unit_now != unit or abs(value_now - value) > allowed:
            found.append(f"summary: '{metric}' {value!r} {unit} became {value_now!r} {unit_now}")
    return found


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_scenario_gives_the_figures_that_it_first_gave(name: str) -> None:
    old = json.loads((GOLDEN / f"{name}.json").read_text(encoding="utf-8"))
    assert old["pump_runs"]["start_s"]["count"] > 30
    assert moved(old, figures(run(name))) == []


def test_figures_that_moved_are_named() -> None:
    column = {"count": 2, "mean": 10.0, "by place": 5.0, "least": 1.0, "greatest": 19.0}
    old: dict[str, Any] = {
        "pump_runs": {"start_s": column, "role": {"lead": 2}},
        "summary": {"starts | P1": ["", 2.0]},
    }
    assert moved(old, old) == []
    later = {**column, "mean": 10.002}
    fewer = {"lead": 1, "lag": 1}
    new: dict[str, Any] = {
        "pump_runs": {"start_s": later, "role": fewer},
        "summary": {"starts | P1": ["", 3.0]},
    }
    words = moved(old, new)
    assert len(words) == 3
    assert [text.split(":")[0] for text in words] == [
        "pump_runs.start_s mean",
        "pump_runs.role",
        "summary",
    ]
    assert moved(old, {"pump_runs": {"role": {"lead": 2}}, "summary": {}}) == [
        "pump_runs.start_s is gone",
        "summary: 'starts | P1' is gone",
    ]

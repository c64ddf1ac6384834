"""Sheets of readings, filled in for tests: small readings of every kind, and factors of units.

Factors from one unit to another stand here anew: NIST Special Publication 811 (2008), appendix B.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import openpyxl
import pytest

from stationsim.errors import RecordError
from stationsim.forms import plain
from stationsim.physics.spill import Spillway
from stationsim.station import Station
from stationsim.studies.acceptance.paper.forms import COLUMNS, READINGS, readings_form
from stationsim.studies.acceptance.paper.repairs import CrewNote, Repair, in_kinds
from stationsim.studies.acceptance.paper.taken import read_taken
from stationsim.studies.acceptance.reading import Reading, Taken, What
from stationsim.testing import tank
from stationsim.units import System

COVER_M, FLOOR_M = 5.0, 92.3
FACTORS = {
    "L/s": 1e-3, "m3/h": 1.0 / 3600.0, "gpm": 231.0 * 0.0254**3 / 60.0, "kPa": 1e3, "bar": 1e5,
    "psi": 0.45359237 * 9.80665 / 0.0254**2, "s": 1.0, "min": 60.0, "m": 1.0, "cm": 0.01,
    "ft": 0.3048, "A": 1.0, "rpm": 1.0 / 60.0,
}  # fmt: skip
"""SI per unit."""
Way = Literal["above floor", "elevation", "below cover"]
WAYS: tuple[Way, ...] = ("above floor", "elevation", "below cover")
SYSTEMS: tuple[System, ...] = ("si", "us")


def station(way: Way = "above floor", **changes: Any) -> Station:
    made = replace(
        tank(spillway=Spillway(4.2)),
        cover_m=COVER_M, floor_elevation_m=FLOOR_M, levels_shown=way,
    )  # fmt: skip
    return replace(made, **changes)


def reading(
    name: str, what: What, expected: float, part: float, off: float, **more: Any
) -> Reading:
    low, high = sorted((expected * (1.0 - part), expected * (1.0 + part)))
    return Reading(
        name, "test", what, "P1", expected=expected, low=low, high=high, uncertainty=off,
        how="read it", **more,
    )  # fmt: skip


FLOW = reading("P1 alone: flow meter", "meter flow", 0.0315, 0.1, 0.00063)
GAUGE = reading("P1 alone: gauge on the header at 1.10 m", "header pressure", 212_345.6, 0.05, 2e3)
FALL = reading("P1 alone: time of the fall", "fall", 118.2, 0.08, 1.0)
WAIT = reading("E1: from float to flow", "wait", 41.27, 0.1, 1.0)
DROP = replace(reading("drop", "drop", 0.5, 0.0, 0.005), low=0.0, high=math.inf)
CURRENT = reading("P1 alone: current L1", "current", 42.1, 0.1, 1.26)
SPEED = reading("P1 alone: speed", "speed", 24.21, 0.02, 0.121)
LEVEL = reading("level sensor at 1.20 m", "level shown", 1.2, 0.02 / 1.2, 0.005)
ACTS = reading("set-point: lead start", "acts at level", 2.7, 0.02 / 2.7, 0.005)
FLOAT = Reading("float: high acts", "floats", "yes or no", "float", expected=1.0, low=1.0, high=1.0)
BASE = Reading("P1: time of the rise", "test", "rise before", "P1", uncertainty=1.0, how="time it")
ALL = (FLOW, GAUGE, FALL, WAIT, DROP, CURRENT, SPEED, LEVEL, ACTS, FLOAT, BASE)
NUMBERS = tuple(one for one in ALL if one is not FLOAT)

Cells = dict[str, dict[str, Any]]


def rows_of(filled: Cells, system: System = "si", place: Station | None = None) -> list[list[Any]]:
    """Return the sheet with some cells written into it; its values as texts and numbers."""
    form = readings_form(ALL, place or station(), system)
    rows: list[list[Any]] = [list(COLUMNS)]
    for row in form.rows:
        cells = dict(zip(COLUMNS, row, strict=True))
        rows.append(list({**cells, **filled.get(str(cells["reading"]), {})}.values()))
    return rows


def write(rows: list[list[Any]], file: Path, separator: str = ",") -> Path:
    """Write rows as CSV or as the workbook, as a spreadsheet would."""
    if file.suffix == ".xlsx":
        book = openpyxl.Workbook()
        sheet = book.create_sheet(READINGS)
        for row in rows:
            sheet.append(row)
        book.save(file)
        return file
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=separator, lineterminator="\n")
    for row in rows:
        writer.writerow([plain(cell) if isinstance(cell, float) else cell for cell in row])
    file.write_text(stream.getvalue(), encoding="utf-8")
    return file


def read(
    filled: Cells, folder: Path, system: System = "si", place: Station | None = None,
    kind: str = "csv", separator: str = ",",
) -> tuple[dict[str, Taken], list[str]]:  # fmt: skip
    """Return the readings by name, and what is told of repairs."""
    file = write(rows_of(filled, system, place), folder / f"filled.{kind}", separator)
    taken, repairs, _notes = read_taken(file, ALL, place or station(), may_be_blank=True)
    return {one.reading.name: one for one in taken}, in_kinds(repairs)


def repaired(
    filled: Cells, folder: Path, place: Station | None = None
) -> tuple[list[Repair], list[CrewNote]]:
    file = write(rows_of(filled, "si", place), folder / "filled.csv")
    _taken, repairs, notes = read_taken(file, ALL, place or station(), may_be_blank=True)
    return repairs, notes


def refused(filled: Cells, folder: Path, place: Station | None = None) -> list[str]:
    with pytest.raises(RecordError) as error:
        read(filled, folder, "si", place)
    return str(error.value).splitlines()


def si_of(number: float, one: Reading, unit: str, way: Way) -> float:
    """Return a number of the sheet in SI, by the factors above."""
    value = number * FACTORS[unit]
    if one.measure != "level" or one.what == "drop" or way == "above floor":
        return value
    return value - FLOOR_M if way == "elevation" else COVER_M - value

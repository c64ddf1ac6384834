"""The sheet of readings, and how it is read when it comes back filled in."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from dataclasses import replace
from datetime import time
from pathlib import Path

import openpyxl
import pytest
from filled_sheets import (
    ACTS,
    ALL,
    BASE,
    CURRENT,
    DROP,
    FACTORS,
    FALL,
    FLOAT,
    FLOOR_M,
    FLOW,
    GAUGE,
    LEVEL,
    SPEED,
    SYSTEMS,
    WAIT,
    WAYS,
    Cells,
    Way,
    read,
    repaired,
    rows_of,
    si_of,
    station,
    write,
)
from hypothesis import given
from hypothesis import strategies as st

from stationsim.errors import RecordError
from stationsim.forms import as_written, csv_text, plain, workbook
from stationsim.studies.acceptance.cautions import FOOTER
from stationsim.studies.acceptance.paper.forms import COLUMNS, READINGS, readings_form
from stationsim.studies.acceptance.paper.repairs import Repair, in_kinds
from stationsim.studies.acceptance.paper.sheet_units import range_of, uncertainty_of, unit_of
from stationsim.studies.acceptance.paper.taken import read_taken
from stationsim.studies.acceptance.reading import Reading, What
from stationsim.units import System

# ---------------------------------------------------------------------------- the sheet


def test_the_sheet_has_a_row_for_each_reading_in_its_unit() -> None:
    form = readings_form(ALL, station("below cover"), "si", ["Mind the steps."])
    assert form.columns == COLUMNS
    by_name = {row[1]: row for row in form.rows}
    assert by_name["P1 alone: flow meter"] == (
        1.0, "P1 alone: flow meter", 31.5, 28.4, 34.6, "L/s", None, 0.63, None, "read it",
    )  # fmt: skip
    assert by_name["P1 alone: gauge on the header at 1.10 m"][2:6] == (212.3, 201.8, 222.9, "kPa")
    assert by_name["P1 alone: time of the fall"][2:6] == (118.0, 109.0, 127.0, "s")
    assert by_name["E1: from float to flow"][2:6] == (41.3, 37.2, 45.3, "s")
    assert by_name["P1 alone: speed"][2:6] == (1453.0, 1424.0, 1481.0, "rpm")
    assert by_name["level sensor at 1.20 m"][2:6] == (3.8, 3.78, 3.82, "m below cover")
    assert by_name["drop"][2:8] == (0.5, None, None, "m", None, 0.005)
    assert by_name["float: high acts"][2:8] == ("yes", None, None, "yes/no", None, None)
    assert by_name["P1: time of the rise"][2:] == (
        None, None, None, "s", None, 1.0, None, "time it; keep as baseline",
    )  # fmt: skip
    us = {row[1]: row for row in readings_form(ALL, station(), "us").rows}
    assert us["P1 alone: flow meter"][2:6] == (499.0, 450.0, 549.0, "gpm")
    assert us["P1 alone: gauge on the header at 1.10 m"][2:6] == (30.8, 29.26, 32.33, "psi")
    assert us["set-point: lead start"][2:6] == (8.86, 8.8, 8.92, "ft above floor")
    assert form.cautions == ("Mind the steps.",)
    assert form.footer == FOOTER
    assert any("below the underside of the cover" in note for note in form.notes)
    assert form.offered(9, "read") == ("yes", "no")
    assert "bar" in form.offered(1, "unit")
    assert {"m below cover", "ft elevation"} <= set(form.offered(7, "unit"))
    assert form.offered(4, "unit") == ("m", "cm", "mm", "ft", "in")


def test_the_sheet_says_once_where_tolerances_of_flow_and_head_come_from() -> None:
    pumps = {"machines": (0,), "source": "2B above 10 kW; table X, figures from memory"}
    own = {"machines": (1,), "source": "acceptance.flow_tolerance of the scenario"}
    graded = [replace(FLOW, **pumps), replace(GAUGE, **pumps), replace(FALL, source="a watch")]
    form = readings_form([*graded, replace(FLOW, name="other", **own)], station(), "si")
    (note,) = [note for note in form.notes if "test bed" in note]
    assert note.startswith(
        "'low' and 'high' of flow and head: 2B above 10 kW; table X;"
        " acceptance.flow_tolerance of the scenario. "
    )
    assert "check them against the standard and the contract" in note
    (note,) = readings_form([replace(FLOW, **own)], station(), "si").notes[-1:]
    assert note.endswith("flow and head: acceptance.flow_tolerance of the scenario.")
    assert not any("test bed" in note for note in readings_form([FALL], station(), "si").notes)


def test_a_station_offers_only_the_levels_that_it_can_count() -> None:
    plain_one = station(cover_m=None, floor_elevation_m=None)
    form = readings_form(ALL, plain_one, "si")
    assert form.offered(7, "unit") == tuple(
        f"{u} above floor" for u in ("m", "cm", "mm", "ft", "in")
    )


@given(
    expected=st.floats(1e-6, 1e6), below=st.floats(0.0, 0.5), above=st.floats(0.0, 0.5),
    what=st.sampled_from(["meter flow", "header pressure", "fall", "current", "speed", "drop"]),
    system=st.sampled_from(SYSTEMS),
)  # fmt: skip
def test_low_is_never_above_expected_nor_that_above_high_and_both_lie_inside(
    expected: float, below: float, above: float, what: What, system: System
) -> None:
    one = Reading(
        "r", "t", what, "P1", expected=expected,
        low=expected * (1.0 - below), high=expected * (1.0 + above),
    )  # fmt: skip
    low, mid, high = range_of(one, station(), system)
    assert low is not None
    assert mid is not None
    assert high is not None
    assert low <= mid <= high
    factor = FACTORS[unit_of(one, station(), system)]
    slack = 1e-6 * expected + 1e-8 * factor
    assert one.low - slack <= low * factor
    assert high * factor <= one.high + slack


@given(level=st.floats(0.3, 4.0), half=st.floats(0.0, 0.2), way=st.sampled_from(WAYS))
def test_levels_keep_their_order_from_wherever_they_are_counted(
    level: float, half: float, way: Way
) -> None:
    one = replace(LEVEL, expected=level, low=level - half, high=level + half)
    for system in SYSTEMS:
        low, mid, high = range_of(one, station(way), system)
        assert low is not None
        assert mid is not None
        assert high is not None
        assert low <= mid <= high


def test_a_half_open_range_and_an_unknown_uncertainty_leave_their_place_empty() -> None:
    flow = replace(FLOW, high=math.inf, uncertainty=math.nan)
    assert range_of(flow, station(), "si") == (28.4, 31.5, None)
    assert uncertainty_of(flow, "si") is None
    never = replace(FALL, expected=math.inf, low=200.0, high=math.inf)
    assert range_of(never, station(), "si") == (200.0, None, None)


# ---------------------------------------------------------------------------- there and back


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("way", WAYS)
def test_what_is_written_into_the_form_itself_comes_back(
    way: Way, system: System, kind: str, tmp_path: Path
) -> None:
    place = station(way)
    form = readings_form(ALL, place, system)
    written = {
        name: f"{number:.6g}"
        for name, number in zip(
            (one.name for one in ALL),
            (
                33.3 if system == "si" else 333.0,
                201.25,
                121.5,
                44.4,
                0.4375,
                40.5,
                1447.5,
                3.0625,
                3.5,
                1.0,
                77.0,
            ),
            strict=True,
        )
    }
    units = {str(row[1]): str(row[5]) for row in form.rows}
    for one in (LEVEL, ACTS):
        base = {"above floor": 2.0, "elevation": FLOOR_M + 2.0, "below cover": 3.0}[way]
        written[one.name] = f"{base / FACTORS[units[one.name].split()[0]]:.4f}"
    written[FLOAT.name] = "No"
    if kind == "csv":
        lines = csv_text(form).splitlines()
        first = next(n for n, line in enumerate(lines) if line.startswith("no,"))
        rows = list(csv.reader(lines[first:]))
        for row in rows[1:]:
            row[COLUMNS.index("read")] = written[as_written(row[1])]
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(rows)
        file = tmp_path / "back.csv"
        file.write_text("\n".join([*lines[:first], text.getvalue()]), encoding="utf-8")
    else:
        book = openpyxl.load_workbook(io.BytesIO(workbook([form])))
        for row in book[READINGS].iter_rows(min_row=2):
            text_of = written[row[1].value]
            row[COLUMNS.index("read")].value = text_of if text_of == "No" else float(text_of)
        file = tmp_path / "back.xlsx"
        book.save(file)
    taken, repairs, notes = read_taken(file, ALL, place)
    assert (repairs, notes) == ([], [])
    assert [one.reading for one in taken] == list(ALL)
    for one in taken:
        if one.reading is FLOAT:
            assert one.value == 0.0
            continue
        unit = units[one.reading.name].split()[0]
        wanted = si_of(float(written[one.reading.name]), one.reading, unit, way)
        assert one.value == pytest.approx(wanted, rel=1e-12, abs=1e-12)
        assert one.uncertainty == one.reading.uncertainty
        assert one.repairs == ()


RANGES = {
    FLOW.name: (0.0, 2.0), GAUGE.name: (-9e4, 9e6), FALL.name: (0.5, 1e5), WAIT.name: (0.0, 1e5),
    DROP.name: (0.01, 1.9), CURRENT.name: (0.0, 3000.0), SPEED.name: (0.0, 90.0),
    LEVEL.name: (0.0, 5.0), ACTS.name: (0.0, 5.0), BASE.name: (0.5, 1e5),
}  # fmt: skip


def messy(text: str, draw: st.DrawFn) -> str:
    """Return a number as people and spreadsheets write it."""
    whole, _, decimals = text.partition(".")
    if draw(st.booleans()) and len(decimals) != 3:
        text = f"{whole},{decimals}" if decimals else text
    sign, digits = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    if draw(st.booleans()) and len(digits) in (4, 5, 6) and "e" not in text:
        blank = draw(st.sampled_from([" ", "\u00a0", "\u202f", "'"]))
        text = text.replace(digits, f"{digits[:-3]}{blank}{digits[-3:]}", 1)
    if sign and draw(st.booleans()):
        text = text.replace("-", "\u2212", 1)
    pad = draw(st.sampled_from(["", " ", "\u00a0"]))
    return f"{pad}{text}{pad}"


def messy_name(name: str, draw: st.DrawFn) -> str:
    name = draw(st.sampled_from([name, name.upper(), name.title(), name.replace(" ", "  ")]))
    name = draw(st.sampled_from([name, name.replace("-", "\u2013"), name.replace(" ", "")]))
    return f" {name} " if draw(st.booleans()) else name


SPELLINGS = {
    "L/s": ["L/s", "l/s", "LPS", "l/S"], "gpm": ["gpm", "GPM", "gal/min"], "kPa": ["kPa", "KPA"],
    "psi": ["psi", "PSI", "psig"], "s": ["s", "sec", "Seconds"], "m": ["m", "metres", "M"],
    "ft": ["ft", "FEET"], "A": ["A", "amps", "a"], "rpm": ["rpm", "RPM", "1/min"],
}  # fmt: skip


@given(data=st.data())
def test_messy_sheets_come_back_to_the_digits_of_their_text(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    draw = data.draw
    way, system = draw(st.sampled_from(WAYS)), draw(st.sampled_from(SYSTEMS))
    place = station(way)
    separator = draw(st.sampled_from([";", "\t", ","]))
    rows = rows_of({}, system, place)
    wanted: dict[str, tuple[float, float]] = {}
    for row in rows[1:]:
        one = next(reading for reading in ALL if reading.name == row[1])
        if one is FLOAT or draw(st.integers(0, 3)) == 0:
            continue
        value = draw(st.floats(*RANGES[one.name]))
        bare, _, counted = str(row[5]).partition(" ")
        number = (place.shown_m(value) if counted else value) / FACTORS[bare]
        # not three decimals: with decimal commas about, those could be thousands
        text = f"{number:.{draw(st.sampled_from([0, 1, 2, 4, 5]))}f}"
        text = "0" if float(text) == 0.0 else text
        back = si_of(float(text), one, bare, way)
        if not RANGES[one.name][0] <= back <= RANGES[one.name][1]:
            continue
        spelt = draw(st.sampled_from(SPELLINGS[bare]))
        unit = f"{spelt} {counted}".strip()
        shown = messy(text, draw)
        if draw(st.booleans()):
            row[6] = f"{shown} {unit}"
        else:
            row[6], row[5] = shown, unit
        row[1] = messy_name(one.name, draw)
        step = 10.0 ** -len(text.partition(".")[2]) * FACTORS[bare]
        wanted[one.name] = (back, step)
        assert abs(back - value) <= 0.5000001 * step
    order = draw(st.permutations(range(len(COLUMNS))))
    body = draw(st.permutations(rows[1:]))
    sheet = [[row[n] for n in order] for row in [rows[0], *body]]
    file = write(sheet, tmp_path_factory.mktemp("messy") / "filled.csv", separator)
    taken, repairs, _ = read_taken(file, ALL, place, may_be_blank=True)
    assert {one.reading.name for one in taken} == set(wanted)
    for one in taken:
        value, _step = wanted[one.reading.name]
        assert one.value == pytest.approx(value, rel=1e-12, abs=1e-9 * max(1.0, abs(value)))
        assert one.uncertainty == one.reading.uncertainty
    names = {one.name for one in ALL}
    assert {one.reading for one in repairs} <= {*names, ""}
    assert {one.reading for one in repairs if one.line is not None} <= set(wanted) | names
    per_cell = Counter((one.line, one.what) for one in repairs if one.line is not None)
    assert set(per_cell.values()) <= {1}


# ---------------------------------------------------------------------------- what is mended


@pytest.mark.parametrize(
    ("name", "cells", "value", "kinds"),
    [
        (FLOW.name, {"read": "31,5"}, 0.0315, ["decimal comma"]),
        (FLOW.name, {"read": "31,5 L/s"}, 0.0315, ["decimal comma"]),
        (FLOW.name, {"read": "31.5", "unit": "l/s"}, 0.0315, ["unit spelt"]),
        (FLOW.name, {"read": "500 GPM"}, 500 * FACTORS["gpm"], ["unit spelt", "unit other than"]),
        (FLOW.name, {"read": "500", "unit": "gpm"}, 500 * FACTORS["gpm"],
         ["unit other than", "uncertainty as printed"]),
        (FLOW.name, {"read": "113.4", "unit": "m\u00b3/h"}, 0.0315,
         ["unit spelt", "unit other than"]),
        (GAUGE.name, {"read": "2.1 bar"}, 2.1e5, ["unit other than"]),
        (GAUGE.name, {"read": "30.8 psig"}, 30.8 * FACTORS["psi"],
         ["unit spelt", "unit other than"]),
        (GAUGE.name, {"read": "2,1 bar(g)"}, 2.1e5, ["decimal comma", "unit spelt"]),
        (GAUGE.name, {"read": "\u221212"}, -12e3, ["minus"]),
        (GAUGE.name, {"read": "0"}, 0.0, []),
        (SPEED.name, {"read": "1 447,5"}, 1447.5 / 60.0, ["sign between thousands"]),
        (SPEED.name, {"read": "1'447"}, 1447.0 / 60.0, ["sign between thousands"]),
        (SPEED.name, {"read": "1450 1/min"}, 1450.0 / 60.0, ["unit other than"]),
        (SPEED.name, {"read": "1 450 1/min"}, 1450.0 / 60.0, ["sign between thousands"]),
        (SPEED.name, {"read": "1.447e3"}, 1447.0 / 60.0, []),
        (FALL.name, {"read": "1 min 58 s"}, 118.0, ["converted"]),
        (FALL.name, {"read": "2 min"}, 120.0, ["unit other than"]),
        (FALL.name, {"read": "1:58"}, 118.0, ["as a stopwatch shows it"]),
        (FALL.name, {"read": "1:58.4"}, 118.4, ["as a stopwatch shows it"]),
        (FALL.name, {"read": "01:58:00"}, 118.0, ["as a stopwatch shows it"]),
        (FALL.name, {"read": "2:13", "unit": "min"}, 133.0, ["as a stopwatch shows it"]),
        (FALL.name, {"read": "6:40 min"}, 400.0, ["as a stopwatch shows it"]),
        (BASE.name, {"read": "4:10"}, 250.0, ["as a stopwatch shows it"]),
        (BASE.name, {"read": "0:04:10"}, 250.0, ["as a stopwatch shows it"]),
        (BASE.name, {"read": "1:04:10"}, 3850.0, ["as a stopwatch shows it"]),
        (BASE.name, {"read": "75:10"}, 4510.0, ["as a stopwatch shows it"]),
        (FALL.name, {"read": "118."}, 118.0, []),
        (FALL.name, {"read": "+118"}, 118.0, []),
        (FALL.name, {"read": "118 s."}, 118.0, ["unit spelt"]),
        (LEVEL.name, {"read": "121 cm"}, 1.21, ["unit other than"]),
        (LEVEL.name, {"read": "3.8 m below the cover"}, 1.2, ["unit spelt", "level counted"]),
        (LEVEL.name, {"read": "93.51", "unit": "m elevation"}, 1.21, ["level counted"]),
        (DROP.name, {"read": "18", "unit": "in"}, 0.4572, ["unit other than"]),
        (FLOAT.name, {"read": "YES"}, 1.0, []),
        (FLOAT.name, {"read": "ok"}, 1.0, []),
        (FLOAT.name, {"read": "True"}, 1.0, []),
        (FLOAT.name, {"read": "\u2713"}, 1.0, []),
        (FLOAT.name, {"read": "n"}, 0.0, []),
        (FLOAT.name, {"read": "not ok."}, 0.0, []),
    ],
)  # fmt: skip
def test_what_is_clear_is_read_and_told(
    name: str, cells: dict[str, str], value: float, kinds: list[str], tmp_path: Path
) -> None:
    taken, told = read({name: cells}, tmp_path)
    assert list(taken) == [name]
    assert taken[name].value == pytest.approx(value, rel=1e-12, abs=1e-12)
    for kind in kinds:
        assert any(kind in repair for repair in taken[name].repairs), taken[name].repairs
        assert any(kind in line for line in told)
    if not kinds:
        assert taken[name].repairs == ()
        assert told == []


@pytest.mark.parametrize(
    ("name", "cells", "wanted", "told_of"),
    [
        (FLOW.name, {"read": "30", "uncertainty": "2 %"}, 0.02 * 0.03, False),
        (FLOW.name, {"read": "30", "uncertainty": "0,5"}, 0.0005, False),
        (FLOW.name, {"read": "30", "uncertainty": "\u00b1 0.5"}, 0.0005, False),
        (FLOW.name, {"read": "30", "uncertainty": ""}, 0.00063, False),
        (FLOW.name, {"read": "30", "uncertainty": "0.63"}, 0.00063, False),
        (FLOW.name, {"read": "30", "uncertainty": "8 gpm"}, 8 * FACTORS["gpm"], False),
        (FLOW.name, {"read": "500 gpm", "uncertainty": "0.63"}, 0.00063, False),
        (FLOW.name, {"read": "500", "unit": "gpm", "uncertainty": "0.63"}, 0.00063, True),
        (FLOW.name, {"read": "500", "unit": "gpm", "uncertainty": "8"}, 8 * FACTORS["gpm"], False),
        (LEVEL.name, {"read": "1.2", "uncertainty": "1 cm"}, 0.01, False),
        (GAUGE.name, {"read": "-50", "uncertainty": "2 %"}, 1000.0, False),
    ],
)  # fmt: skip
def test_an_uncertainty_of_their_own_counts_and_one_as_printed_is_the_sheets(
    name: str, cells: dict[str, str], wanted: float, told_of: bool, tmp_path: Path
) -> None:
    taken, _ = read({name: cells}, tmp_path)
    assert taken[name].uncertainty == pytest.approx(wanted, rel=1e-12)
    assert any("uncertainty as printed" in one for one in taken[name].repairs) == told_of


def test_notes_are_kept_beside_values_and_beside_blanks(tmp_path: Path) -> None:
    filled: Cells = {
        FLOW.name: {"read": "30", "note": "needle swings"},
        FALL.name: {"note": "f.csv: not read: no stopwatch", "uncertainty": "5"},
        WAIT.name: {"read": "n/a"},
    }
    taken, told = read(filled, tmp_path)
    assert taken[FLOW.name].note == "needle swings"
    repairs, notes = repaired(filled, tmp_path)
    assert notes == [
        (FLOW.name, "needle swings", 2, True),
        (FALL.name, "f.csv: not read: no stopwatch", 4, False),
    ]
    assert [(one.line, one.reading, one.what, one.told) for one in repairs] == [
        (4, FALL.name, "an uncertainty, but nothing read", "'5'"),
        (5, WAIT.name, "taken as not read", "'n/a'"),
    ]
    assert any(line.endswith("taken as not read: 1 cell (line 5: 'n/a')") for line in told)


def test_what_was_left_blank_is_no_repair(tmp_path: Path) -> None:
    assert read({}, tmp_path) == ({}, [])


def test_each_cell_has_its_repair_and_kinds_are_told_with_their_counts(tmp_path: Path) -> None:
    filled: Cells = {
        FLOW.name: {"read": "31,5"},
        GAUGE.name: {"read": "2,1 bar"},
        FALL.name: {"read": "118,5", "uncertainty": "1,5"},
        LEVEL.name: {"read": "93,51", "unit": "m elevation"},
    }
    repairs, _ = repaired(filled, tmp_path)
    lines = {one.name: number for number, one in enumerate(ALL, 2)}
    file = str(tmp_path / "filled.csv")
    comma = "decimal comma read as a point"
    assert repairs == [
        Repair(file, lines[FLOW.name], FLOW.name, comma, "31,5", "31.5"),
        Repair(file, lines[GAUGE.name], GAUGE.name, comma, "2,1", "2.1"),
        Repair(file, lines[GAUGE.name], GAUGE.name,
               "unit other than on the sheet, converted", "2.1 bar", "210 kPa"),
        Repair(file, lines[FALL.name], FALL.name, comma, "118,5", "118.5"),
        Repair(file, lines[FALL.name], FALL.name, comma, "1,5", "1.5"),
        Repair(file, lines[LEVEL.name], LEVEL.name, comma, "93,51", "93.51"),
        Repair(file, lines[LEVEL.name], LEVEL.name,
               "level counted from elsewhere than on the sheet, converted",
               "93.51 m elevation", "1.21 m above floor"),
    ]  # fmt: skip
    _, told = read(filled, tmp_path)
    where = ", ".join(str(lines[name]) for name in (FLOW.name, GAUGE.name, FALL.name, LEVEL.name))
    assert told[0] == f"{file}: {comma}: 5 cells (lines {where})"
    assert told[1].endswith("converted: 1 cell (line 3: 2.1 bar as 210 kPa)")
    assert len(told) == 3


def test_rows_that_are_gone_doubled_or_odd_are_told(tmp_path: Path) -> None:
    rows = rows_of({FLOW.name: {"read": "31.5"}, GAUGE.name: {"read": "2130"}})
    del rows[3]
    again = list(rows[1])
    again[6], again[8] = "31,5 L/s", "twice"
    rows += [[""] * len(COLUMNS), again, ["", "", "", "", "", "", "", "", "all was well", ""]]
    taken, repairs, notes = read_taken(write(rows, tmp_path / "f.csv"), ALL, station())
    assert [(one.reading.name, one.note) for one in taken] == [
        (FLOW.name, "twice"),
        (GAUGE.name, ""),
    ]
    assert [note[:2] for note in notes] == [(FLOW.name, "twice"), ("", "all was well")]
    text = "\n".join(in_kinds(repairs))
    assert "reading in more than one row: 1 cell (line 13: lines 2 and 13 as one)" in text
    assert "not read: 1 reading ('P1 alone: time of the fall')" in text
    assert "row of no reading of the sheet, and nothing read: 1 cell (line 14: note: all" in text
    assert "1 blank row" in text
    assert "far from what is expected: is the unit right?" in text
    assert "'2130' as it stands, 10 times what is expected" in text


def test_a_sheet_of_another_scenario_is_told(tmp_path: Path) -> None:
    was = (replace(FLOW, expected=0.028), *ALL[1:])
    rows = [list(COLUMNS), *map(list, readings_form(was, station(), "si").rows)]
    rows[1][6] = "30"
    _, repairs, _ = read_taken(write(rows, tmp_path / "f.csv"), ALL, station())
    first = repairs[0]
    assert (first.line, first.written, first.read_as) == (2, "expected 28", "31.5")
    assert {one.line for one in repairs} == {2}  # 'low' and 'high' are rounded to the expected
    assert "something else than the scenario" in first.what


def test_a_sheet_in_us_units_is_known_as_one(tmp_path: Path) -> None:
    taken, told = read({FLOW.name: {"read": "500"}}, tmp_path, "us")
    assert taken[FLOW.name].value == pytest.approx(500 * FACTORS["gpm"], rel=1e-12)
    assert taken[FLOW.name].uncertainty == FLOW.uncertainty
    assert told == []
    rows = rows_of({FLOW.name: {"read": "31.5"}}, "us")
    for row in rows[1:]:
        one = next(reading for reading in ALL if reading.name == row[1])
        row[5] = unit_of(one, station(), "si")  # the crew changed all units of a sheet in US units
    (only,), repairs, _ = read_taken(write(rows, tmp_path / "g.csv"), ALL, station())
    assert only.value == pytest.approx(0.0315)
    assert only.uncertainty == FLOW.uncertainty
    assert any(one.told == f"31.5 L/s as {0.0315 / FACTORS['gpm']:.6g} gpm" for one in repairs)


def test_a_spreadsheet_with_decimal_commas_saves_no_differences(tmp_path: Path) -> None:
    rows = [
        [plain(cell).replace(".", ",") if isinstance(cell, float) else cell for cell in row]
        for row in rows_of({FLOW.name: {"read": "31,52"}})
    ]
    (only,), repairs, _ = read_taken(write(rows, tmp_path / "f.csv", ";"), ALL, station())
    assert only.value == pytest.approx(0.03152, rel=1e-12)
    assert only.uncertainty == FLOW.uncertainty
    text = "\n".join(in_kinds(repairs))
    assert "something else than the scenario" not in text
    assert "semicolons" in text
    assert "decimal comma read as a point: 1 cell (line 2: 31,52 as 31.52)" in text


# ---------------------------------------------------------------------------- whose it is


def filled_form(name: str, kind: str, folder: Path) -> Path:
    """Return the sheet of a station by some name, with one reading in it."""
    form = readings_form(ALL, station(name=name), "si")
    at = COLUMNS.index("read")
    first = (*form.rows[0][:at], 31.5, *form.rows[0][at + 1 :])
    made = replace(form, rows=(first, *form.rows[1:]))
    file = folder / f"filled.{kind}"
    if kind == "xlsx":
        file.write_bytes(workbook([made]))
    else:
        file.write_text(csv_text(made), encoding="utf-8")
    return file


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_sheet_of_another_station_is_refused_and_one_without_a_title_is_read(
    kind: str, tmp_path: Path
) -> None:
    for name in ("Osier Wharf", "OSIER  WHARF", "Well: 2"):
        file = filled_form(name, kind, tmp_path)
        place = station(name=name if ":" in name else "Osier Wharf")
        assert len(read_taken(file, ALL, place).taken) == 1
    file = filled_form("Fen Bottom", kind, tmp_path)
    with pytest.raises(RecordError) as error:
        read_taken(file, ALL, station(name="Osier Wharf"))
    (line,) = str(error.value).splitlines()
    assert "its title says 'Fen Bottom', and the scenario is that of 'Osier Wharf'" in line
    assert "give the scenario of 'Fen Bottom'" in line
    bare = write(rows_of({FLOW.name: {"read": 31.5}}), tmp_path / f"bare.{kind}")
    assert len(read_taken(bare, ALL, station(name="Osier Wharf")).taken) == 1


def test_a_title_that_a_spreadsheet_saved_again_still_names_its_station(tmp_path: Path) -> None:
    text = filled_form("Fen Bottom", "csv", tmp_path).read_text(encoding="utf-8")
    title, rest = text.split("\n", 1)
    file = tmp_path / "again.csv"
    file.write_text(f'\ufeff"{title}",,,,\r\n{rest}', encoding="utf-8", newline="")
    with pytest.raises(RecordError, match="its title says 'Fen Bottom'"):
        read_taken(file, ALL, station(name="Osier Wharf"))


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_sheet_on_which_nothing_is_filled_in_is_refused(kind: str, tmp_path: Path) -> None:
    file = write(rows_of({FLOW.name: {"note": "no meter yet"}}), tmp_path / f"f.{kind}")
    with pytest.raises(RecordError, match="nothing is filled in: no row has anything in 'read'"):
        read_taken(file, ALL, station())
    assert read_taken(file, ALL, station(), may_be_blank=True).notes[0].note == "no meter yet"


def test_a_time_cell_of_a_workbook_is_that_of_a_stopwatch(tmp_path: Path) -> None:
    filled: Cells = {FALL.name: {"read": time(1, 58)}, WAIT.name: {"read": time(0, 0, 41)}}
    taken, told = read(filled, tmp_path, kind="xlsx")
    assert (taken[FALL.name].value, taken[WAIT.name].value) == (118.0, 41.0)
    assert "line 4: '01:58:00' as 1 min 58 s (118 s)" in told[0]


def test_the_sheet_says_how_times_are_written() -> None:
    (note,) = [note for note in readings_form(ALL, station(), "si").notes if "2:13" in note]
    assert "2 min 13 s" in note
    assert not any("2:13" in note for note in readings_form([FLOW], station(), "si").notes)

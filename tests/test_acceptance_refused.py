"""What cannot be read on a sheet that comes back: refused at once, with what is accepted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from filled_sheets import (
    ALL,
    BASE,
    CURRENT,
    DROP,
    FALL,
    FLOAT,
    FLOW,
    GAUGE,
    LEVEL,
    SPEED,
    Cells,
    read,
    refused,
    rows_of,
    station,
    write,
)

from stationsim.errors import RecordError
from stationsim.studies.acceptance.paper.forms import COLUMNS, readings_form
from stationsim.studies.acceptance.paper.taken import read_taken


@pytest.mark.parametrize(
    ("name", "cells", "what", "accepted"),
    [
        (FLOW.name, {"read": "1,234"}, "'1,234' is unclear", "accepted: 1.234, or 1234"),
        (FLOW.name, {"read": "1,234.5"}, "unclear", "1250.5"),
        (FLOW.name, {"read": "1.234,5"}, "unclear", "1250.5"),
        (FLOW.name, {"read": "1,234,567"}, "unclear", "no sign between thousands"),
        (FLOW.name, {"read": "12 34"}, "unknown unit '34'", "L/s"),
        (FLOW.name, {"read": "1.2.3"}, "unclear", "1250.5"),
        (FLOW.name, {"read": "about 31"}, "not a number", "goes into 'note'"),
        (FLOW.name, {"read": "31 or so"}, "unknown unit 'or so'", "L/s"),
        (FLOW.name, {"read": "\u0663\u0661"}, "not a number", "accepted: a number"),
        (FLOW.name, {"read": "10\u00b2"}, "unit", "accepted"),
        (FLOW.name, {"read": "nan"}, "not a number", "accepted"),
        (FLOW.name, {"read": "inf"}, "not a number", "accepted"),
        (FLOW.name, {"read": "1e400"}, "too large", "1e400"),
        (FLOW.name, {"read": "-3"}, "below nought", "accepted: 0 L/s to"),
        (FLOW.name, {"read": "31500"}, "is the unit right?", "to 2e+04 L/s"),
        (FLOW.name, {"read": "31.5", "unit": "kPa"}, "'kPa' is a unit of pressure", "L/s"),
        (FLOW.name, {"read": "31.5", "unit": ""}, "has no unit", "the sheet had L/s"),
        (FLOW.name, {"read": "31.5 gpm", "unit": "m3/h"}, "the unit behind the number", "one unit"),
        (FLOW.name, {"read": "31.5", "unit": "furlong"}, "unknown unit 'furlong'", "L/s"),
        (FLOW.name, {"read": "50 %"}, "unknown unit '%'", "L/s"),
        (GAUGE.name, {"read": "-101"}, "deeper than a vacuum", "accepted: -100 kPa to"),
        (GAUGE.name, {"read": "3 bara"}, "above a vacuum", "kPa"),
        (GAUGE.name, {"read": "21 m"}, "'m' is a unit of length", "kPa"),
        (CURRENT.name, {"read": "-1"}, "below nought", "0 A to 5000 A"),
        (SPEED.name, {"read": "-1450"}, "below nought", "rpm"),
        (SPEED.name, {"read": "1450 1/s"}, "is the unit right?", "0 1/s to 100 1/s"),
        (FALL.name, {"read": "0"}, "takes some time", "above 0 s"),
        (FALL.name, {"read": "-118"}, "below nought", "0 s to"),
        (FALL.name, {"read": "14:03"}, "14 min 3 s or 14 h 3 min or a time of the day", "843 s"),
        (BASE.name, {"read": "2:13:00"}, "unclear: 2 min 13 s or 2 h 13 min?", "133 s"),
        (BASE.name, {"read": "14:03:20"}, "14 h 3 min 20 s or a time of the day?", "50600 s"),
        (FALL.name, {"read": "1:75"}, "59 comes before the next minute", "2 min 15 s, or 135 s"),
        (FALL.name, {"read": "1:5"}, "not a time of a stopwatch", "133 s"),
        (FALL.name, {"read": "1:58 or so"}, "not a time of a stopwatch", "2:13"),
        (FLOW.name, {"read": "1:58"}, "unit", "L/s"),
        (DROP.name, {"read": "-0.5"}, "no drop of this well", "above 0, below the 2.00 m"),
        (DROP.name, {"read": "7"}, "no drop of this well", "above 0, below the 2.00 m"),
        (LEVEL.name, {"read": "6"}, "outside the structure", "-0.10 to 5.00 m above floor"),
        (LEVEL.name, {"read": "-0.2"}, "outside the structure", "-0.10 to 5.00 m above floor"),
        (LEVEL.name, {"read": "94.0"}, "outside the structure", "'note'"),
        (LEVEL.name, {"read": "1.2 kPa"}, "'kPa' is a unit of pressure", "m, cm"),
        (FLOAT.name, {"read": "x"}, "neither yes nor no", "yes, y, true, 1, ok"),
        (FLOAT.name, {"read": "maybe"}, "neither yes nor no", "n, false, 0, not ok"),
        (FLOAT.name, {"read": "yes", "uncertainty": "2"}, "has no uncertainty", "nothing"),
        (FLOW.name, {"read": "30", "uncertainty": "-1"}, "nothing is read without any", "above 0"),
        (FLOW.name, {"read": "30", "uncertainty": "0"}, "nothing is read without any", "above 0"),
        (FLOW.name, {"read": "30", "uncertainty": "200 %"}, "more than the reading", "100 %"),
        (FLOW.name, {"read": "30", "uncertainty": "2 kPa"}, "'uncertainty': 'kPa'", "L/s"),
        (FLOW.name, {"read": "30", "uncertainty": "1,234"}, "'uncertainty': '1,234'", "1.234"),
        (FLOW.name, {"read": "500 gpm", "uncertainty": "8"}, "in L/s as the row, or in gpm",
         "with its unit"),
        (LEVEL.name, {"read": "1.2", "uncertainty": "2 %"}, "where it is counted from", "0.005 m"),
    ],
)  # fmt: skip
def test_what_is_unclear_or_cannot_be_is_refused(
    name: str, cells: dict[str, str], what: str, accepted: str, tmp_path: Path
) -> None:
    (line,) = refused({name: cells}, tmp_path)
    number = next(n for n, one in enumerate(ALL, 2) if one.name == name)
    assert line.startswith(f"{tmp_path / 'filled.csv'}:{number}: '{name[:37]}")
    assert what in line
    assert accepted in line


def test_levels_are_refused_in_the_way_that_the_station_counts(tmp_path: Path) -> None:
    (line,) = refused({LEVEL.name: {"read": "1.2"}}, tmp_path, station("elevation"))
    assert "accepted: 92.20 to 97.30 m elevation" in line
    bare = station(cover_m=None, floor_elevation_m=None)
    (line,) = refused({LEVEL.name: {"read": "1.2 m below cover"}}, tmp_path, bare)
    assert "the scenario has no level of the cover (accepted: above floor)" in line


def test_everything_that_is_wrong_is_told_at_once(tmp_path: Path) -> None:
    rows = rows_of(
        {
            FLOW.name: {"read": "1,234", "uncertainty": "-1"},
            GAUGE.name: {"read": "-200"},
            FLOAT.name: {"read": "x"},
        }
    )
    rows[3][1], rows[3][6] = "P1 alone: time of a fall", "118"
    other = list(rows[4])
    rows[4][6], other[6] = "41", "42"
    rows += [other, ["", "", "", "", "", "s", "12", "", "", ""]]
    with pytest.raises(RecordError) as error:
        read_taken(write(rows, tmp_path / "f.csv"), ALL, station())
    lines = str(error.value).splitlines()
    text = str(error.value)
    assert len(lines) == 6
    assert "f.csv:4: no reading is called 'P1 alone: time of a fall'" in text
    assert "the nearest is 'P1 alone: time of the fall'" in text
    assert (
        "f.csv:13: 'E1: from float to flow': stands in line 5 as well, with another value" in text
    )
    assert "f.csv:14: '12' without the name of a reading" in text
    assert all("accepted" in line for line in lines)


def test_a_point_among_decimal_commas_is_unclear_in_text_but_not_in_a_number(
    tmp_path: Path,
) -> None:
    filled: Cells = {FLOW.name: {"read": "31,5"}, SPEED.name: {"read": "1.447"}}
    (line,) = refused(filled, tmp_path)
    assert "'1.447' is unclear, because there are decimal commas (line 2: 31,5 as 31.5)" in line
    assert "'1447' without a sign" in line
    filled = {FLOW.name: {"read": "31,5"}, LEVEL.name: {"read": 1.447}}
    taken, _ = read(filled, tmp_path, kind="xlsx")
    assert taken[LEVEL.name].value == 1.447
    assert taken[FLOW.name].value == pytest.approx(0.0315, rel=1e-12)


def test_columns_that_are_missing_or_misspelt_are_told(tmp_path: Path) -> None:
    rows = rows_of({FLOW.name: {"read": "31.5"}})
    rows[0][6], rows[0][7] = "reed", "uncertainity"
    with pytest.raises(RecordError) as error:
        read_taken(write(rows, tmp_path / "f.csv"), ALL, station())
    assert "no column is named 'read'; did you mean it by 'reed'?" in str(error.value)
    assert "no column is named 'uncertainty'; did you mean it by 'uncertainity'?" in str(
        error.value
    )


def test_formulas_and_dates_are_refused_where_a_value_is_needed(tmp_path: Path) -> None:
    from datetime import datetime, time

    odd = {"read": datetime(2027, 3, 1, 1, 58), "note": "=A1"}
    rows = rows_of(
        {FLOW.name: {"read": "=30+1"}, FALL.name: odd, CURRENT.name: {"read": time(1, 58)}}
    )
    with pytest.raises(RecordError) as error:
        read_taken(write(rows, tmp_path / "f.xlsx"), ALL, station())
    first, second, third = str(error.value).splitlines()
    assert (
        "f.xlsx (sheet 'fill_in_readings'):2: 'P1 alone: flow meter': 'read' holds a formula"
        in first
    )
    assert ":4: 'P1 alone: time of the fall': 'read' holds a date or a time (2027-03-01" in second
    assert ":7: 'P1 alone: current L1': 'read' holds a date or a time (01:58:00)" in third


def test_names_that_differ_in_blanks_only_are_told_apart_by_them(tmp_path: Path) -> None:
    pair = (replace(FLOW, name="P1 1"), replace(FLOW, name="P11"))
    rows = [list(COLUMNS), *map(list, readings_form(pair, station(), "si").rows)]
    rows[1][6], rows[2][6], rows[2][1] = "30", "31", "p11"
    taken, _, _ = read_taken(write(rows, tmp_path / "f.csv"), pair, station())
    assert [one.value for one in taken] == pytest.approx([0.030, 0.031])
    rows[2][1] = "P 11"
    with pytest.raises(RecordError, match="no reading is called 'P 11'"):
        read_taken(write(rows, tmp_path / "f.csv"), pair, station())


def test_of_many_mistakes_of_a_kind_the_first_five_are_told(tmp_path: Path) -> None:
    rows = rows_of({GAUGE.name: {"read": "-200"}})
    rows += [["", f"P{n} alone: nothing", "", "", "", "s", str(n), "", "", ""] for n in range(59)]
    with pytest.raises(RecordError) as error:
        read_taken(write(rows, tmp_path / "f.csv"), ALL, station())
    lines = str(error.value).splitlines()
    unknown = [line for line in lines if "no reading is called" in line]
    assert len(unknown) == 5
    assert lines[lines.index(unknown[-1]) + 1] == "and 54 more like it"
    assert len(lines) == 7  # and the gauge

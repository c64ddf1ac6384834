"""Reading a rain record: what is accepted and told, what is refused and how."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stationsim.errors import RecordError
from stationsim.records.rain_csv import read_rain_csv

START = datetime(2027, 3, 1, tzinfo=timezone(timedelta(hours=12)))
PLAIN = "elapsed_min,rain_mm\n0,1\n15,2\n30,0\n45,4\n"
LEFT_OUT = "elapsed_min,rain_mm\n0,1\n5,2\n10,1\n60,4\n65,1\n"


@pytest.fixture
def read(tmp_path):
    def reader(text, **options):
        path = tmp_path / "gauge.csv"
        path.write_text(text, encoding="utf-8")
        return read_rain_csv(path, **{"start": START, **options})

    return reader


@pytest.fixture
def refused(read):
    def refusal(text, *told, **options):
        with pytest.raises(RecordError) as caught:
            read(text, **options)
        message = str(caught.value)
        assert "gauge.csv" in message
        for words in told:
            assert words in message
        return message

    return refusal


def knots(record):
    """Return the edges [min] and the depth in each interval [mm]."""
    rain = record.rain
    edges = np.asarray(rain.times_s) + rain.at_s
    return (edges / 60.0).tolist(), pytest.approx(np.diff(rain.fallen_m) * 1e3, abs=1e-12)


# --- accepted -----------------------------------------------------------------------------------


def test_depth_of_a_row_falls_in_the_interval_that_begins_there(read):
    record = read(PLAIN)
    assert knots(record) == ([0, 15, 30, 45, 60], [1, 2, 0, 4])
    assert record.repairs == ("the time of each row taken as the start of its interval",)


def test_depth_of_a_row_falls_in_the_interval_that_ends_there_when_told(read):
    record = read(PLAIN, stamped="end")
    assert knots(record) == ([-15, 0, 15, 30, 45], [1, 2, 0, 4])
    assert record.repairs == ("the time of each row taken as the end of its interval",)


@pytest.mark.parametrize(
    ("name", "depth_mm"),
    [
        ("rain_mm", 1.0),
        ("depth (mm)", 1.0),
        ("Rainfall [in]", 25.4),
        ("precip_in", 25.4),
        ("rain, mm", 1.0),
        ("intensity (mm/h)", 0.25),
        ("rain_mm_per_h", 0.25),
        ("rain (mm/hr)", 0.25),
        ("intensity (in/h)", 6.35),
        ("rain_inhr", 6.35),
    ],
)
def test_unit_in_the_name_of_the_column_is_taken(read, name, depth_mm):
    header = f'"{name}"' if "," in name else name
    record = read(f"elapsed_min,{header}\n0,1\n15,1\n")
    assert record.rain.depth_m == pytest.approx(2 * depth_mm * 1e-3, rel=1e-12)


@pytest.mark.parametrize(("unit", "depth_mm"), [("mm", 1.0), ("in", 25.4), ("mm/h", 0.25)])
def test_unit_may_be_given_beside_the_column(read, unit, depth_mm):
    record = read("elapsed_min,rain\n0,1\n15,1\n", unit=unit)
    assert record.rain.depth_m == pytest.approx(2 * depth_mm * 1e-3, rel=1e-12)


def test_stamps_are_counted_from_the_start_of_the_episode(read):
    record = read("time,rain_mm\n2027-02-28 23:00,1\n2027-03-01 00:00,2\n")
    assert knots(record) == ([-60, 0, 60], [1, 2])


def test_intensity_of_an_irregular_row_lasts_until_the_next(read):
    record = read("elapsed_min,rain (mm/h)\n0,60\n10,60\n15,60\n25,60\n")
    assert knots(record) == ([0, 10, 15, 25, 35], [10, 5, 10, 10])


def test_missing_rows_and_empty_cells_are_dry_when_told(read):
    record = read(LEFT_OUT.replace("10,1", "10,"), gaps="dry")
    assert knots(record) == ([0, 5, 10, 15, 60, 65, 70], [1, 2, 0, 0, 4, 1])
    assert record.repairs[1:] == (
        "1 empty cell taken as dry",
        "9 missing rows in 1 gap taken as dry (the longest 50 min)",
    )


def test_missing_rows_are_dry_before_a_row_that_ends_its_interval(read):
    record = read(LEFT_OUT, gaps="dry", stamped="end")
    assert knots(record) == ([-5, 0, 5, 10, 55, 60, 65], [1, 2, 1, 0, 4, 1])


def test_semicolons_and_decimal_commas_are_read_and_told(read):
    record = read("elapsed_min;rain_mm\n0;1,5\n15;2,5\n")
    assert record.rain.depth_m == pytest.approx(4.0e-3, rel=1e-12)
    assert any("decimal commas" in text for text in record.repairs)


def test_scaled_record_has_each_depth_multiplied(read):
    record = read(PLAIN)
    assert record.scaled(0.8).depth_m == pytest.approx(5.6e-3, rel=1e-12)
    assert record.scaled(1.0) == record.rain
    with pytest.raises(RecordError, match="factor"):
        record.scaled(-1.0)


@given(
    depths=st.lists(st.integers(0, 40), min_size=2, max_size=50),
    kept=st.lists(st.booleans(), min_size=50, max_size=50),
    stamped=st.sampled_from(["start", "end"]),
)
def test_record_with_dry_rows_left_out_is_the_same_rain(tmp_path_factory, depths, kept, stamped):
    # The median must still be the interval: three rows in a row at the beginning are always kept.
    depths = [1, 1, 1, *depths, 1, 1, 1]
    rows = [(5 * at, depth) for at, depth in enumerate(depths)]
    path = tmp_path_factory.mktemp("rain") / "gauge.csv"

    def record(some, gaps):
        path.write_text("elapsed_min,rain_mm\n" + "".join(f"{t},{d}\n" for t, d in some))
        return read_rain_csv(path, start=START, gaps=gaps, stamped=stamped).rain

    some = [row for at, row in enumerate(rows) if row[1] or kept[at % 50]]
    spans = np.diff([time for time, _ in some])
    assume(np.median(spans) == 5.0)
    times = np.arange(-10.0, 400.0, 1.0) * 60.0
    whole, part = record(rows, "refuse"), record(some, "dry")
    assert part.fallen_by_m(times) == pytest.approx(whole.fallen_by_m(times), abs=1e-12)


# --- refused ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (LEFT_OUT, ("gauge.csv:5", "9 missing rows", 'gaps = "dry"')),
        (PLAIN.replace("30,0", "30,"), ("gauge.csv:4", "1 empty cell", 'gaps = "dry"')),
        (PLAIN.replace("30,0", "30,-1"), ("gauge.csv:4", "-1 mm", "below nought")),
        (PLAIN.replace("30,0", "30,n/a"), ("gauge.csv:4", "'n/a'", "not a number")),
        (PLAIN.replace("30,0", "30,900"), ("gauge.csv:4", "900 mm", "2500 mm/h", "unit right")),
        (PLAIN.replace("_mm", " (mm/h)").replace("30,0", "30,2600"), ("2600 mm/h",)),
        (PLAIN.replace("rain_mm", "rain"), ("'rain' has no unit of rain", "mm/h", "rain_mm")),
        (PLAIN.replace("rain_mm", "rain (m)"), ("unknown unit, 'm'",)),
        (PLAIN.replace("rain_mm", "cumulative_mm"), ("since the start", "in each interval")),
        (PLAIN.replace("30,0", "15,0"), ("gauge.csv:4", "the same as that of line 3")),
        ("elapsed_min,rain_mm\n0,1\n", ("one row only",)),
        ("elapsed,rain_mm\n0,1\n5,1\n", ("names no unit of time",)),
        ("elapsed_min,a_mm,b_mm\n0,1,1\n5,1,1\n", ("which column is the rain", "'a_mm'")),
        ("time,rain_mm\nyesterday,1\ntoday,2\n", ("'yesterday', not a stamp",)),
        ("", ("is empty",)),
    ],
)
def test_file_that_cannot_be_used_as_it_stands_is_refused(refused, text, told):
    refused(text, *told)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"gaps": "hold"}, ("gaps='hold'", "refuse, dry")),
        ({"stamped": "middle"}, ("stamped='middle'", "start, end")),
        ({"unit": "in"}, ("says mm", "given is in")),
        ({"unit": "m3"}, ("unknown unit 'm3' of rain",)),
        ({"column": "snow"}, ("no column is named 'snow'",)),
        ({"column": "elapsed_min"}, ("cannot be the rain",)),
    ],
)
def test_option_that_does_not_fit_the_file_is_refused(refused, options, told):
    refused(PLAIN, *told, **options)


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(RecordError, match="cannot be read"):
        read_rain_csv(tmp_path / "none.csv", start=START)

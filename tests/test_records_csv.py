"""Reading a recorded inflow: what is accepted and told, what is refused and how."""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stationsim.errors import RecordError
from stationsim.records.inflow_csv import read_inflow_csv

START = datetime(2027, 3, 1, tzinfo=timezone(timedelta(hours=12)))
PLAIN = "elapsed_min,inflow_m3d\n0,864\n15,1728\n30,2592\n"
STAMPED = "time,flow (L/s)\n2027-03-01 00:00,10\n2027-03-01 00:15,20\n2027-03-01 00:30,30\n"


@pytest.fixture
def read(tmp_path):
    def reader(text, **options):
        path = tmp_path / "meter.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return read_inflow_csv(path, **{"start": START, **options})

    return reader


@pytest.fixture
def refused(read):
    def refusal(text, *told, **options):
        with pytest.raises(RecordError) as caught:
            read(text, **options)
        message = str(caught.value)
        assert "meter.csv" in message
        for words in told:
            assert words in message
        return message

    return refusal


# --- accepted -----------------------------------------------------------------------------------


def test_elapsed_minutes_and_a_unit_in_the_name_are_read_with_nothing_to_tell(read):
    series = read(PLAIN)
    assert series.times_s.tolist() == [0.0, 900.0, 1800.0]
    assert series.flows_m3s == pytest.approx([0.01, 0.02, 0.03], rel=1e-12)
    assert series.repairs == ()


@pytest.mark.parametrize(
    ("name", "m3s"),
    [
        ("flow_m3s", 1.0),
        ("flow (m3/s)", 1.0),
        ("inflow [L/s]", 1e-3),
        ("q_lps", 1e-3),
        ("flow, L/s", 1e-3),
        ("Inflow (l/min)", 1e-3 / 60),
        ("flow_m3_per_h", 1 / 3600),
        ("flow (m³/h)", 1 / 3600),
        ("inflow_m3d", 1 / 86400),
        ("inflow (m3/day)", 1 / 86400),
        # A US gallon is 231 cubic inches, 3.785411784 L (NIST SP 811, appendix B).
        ("flow_gpm", 3.785411784e-3 / 60),
        ("Flow (US gal/min)", 3.785411784e-3 / 60),
        ("flow (MGD)", 3785.411784 / 86400),
        ("flow [cfs]", 0.3048**3),
    ],
)
def test_unit_of_flow_is_found_in_the_name(read, name, m3s):
    cell = f'"{name}"' if "," in name else name
    series = read(f"elapsed_s,{cell}\n0,1\n60,2\n")
    assert series.flows_m3s == pytest.approx([m3s, 2 * m3s], rel=1e-12)


@pytest.mark.parametrize(
    ("name", "seconds"),
    [
        ("elapsed_s", 1),
        ("t_s", 1),
        ("t_min", 60),
        ("time (min)", 60),
        ("elapsed [h]", 3600),
        ("hours", 3600),
        ("time_d", 86400),
        ("day", 86400),
    ],
)
def test_unit_of_elapsed_time_is_found_in_the_name(read, name, seconds):
    series = read(f"{name},flow_lps\n0,1\n0.5,2\n1,3\n")
    assert series.times_s == pytest.approx([0.0, 0.5 * seconds, seconds], rel=1e-12)


def test_units_may_be_given_beside_the_file(read):
    series = read("t,flow\n0,10\n15,20\n", unit="L/s", time_unit="min")
    assert series.times_s.tolist() == [0.0, 900.0]
    assert series.flows_m3s == pytest.approx([0.01, 0.02], rel=1e-12)


@pytest.mark.parametrize(
    "stamp",
    [
        "2027-03-01 01:00",
        "2027-03-01T01:00:00",
        "2027-03-01T01:00:00.000",
        "2027-03-01T01:00+12:00",
        "2027-02-28T13:00Z",
        "2027/03/01 01:00",
        "2027/3/1 1:00",
        "01.03.2027 01:00",
        "1.3.2027 1:00:00",
    ],
)
def test_common_stamps_are_read(read, stamp):
    offset = stamp[16:] if "+" in stamp else stamp[-1:] if stamp.endswith("Z") else ""
    before = "2027-02-28T12:00" if offset == "Z" else "2027-03-01T00:00"
    series = read(f"time,flow_lps\n{before}{offset},1\n{stamp},2\n")
    assert series.times_s.tolist() == [0.0, 3600.0]


def test_stamps_without_offset_are_local_and_counted_from_the_start(read):
    series = read(STAMPED, start=START.replace(hour=6))
    assert series.times_s.tolist() == [-21600.0, -20700.0, -19800.0]


def test_stamps_at_another_offset_are_moved_and_told(read):
    text = "time,flow_lps\n2027-02-28T12:00+00:00,1\n2027-02-28T12:15+00:00,2\n"
    series = read(text)
    assert series.times_s.tolist() == [0.0, 900.0]
    assert series.repairs == ("stamps at offset +00:00 moved to offset +12:00 of the episode",)


@pytest.mark.parametrize(
    ("stamp", "told"),
    [
        ("06/07/2027 00:00", "write year, month, day: 2027-06-07 if the first is the month or "),
        ("06/07/2027 00:00", "2027-07-06 if the second is the month"),
        ("6/25/2027", "write year, month, day: 2027-06-25 if the first is the month;"),
        ("25-06-2027 01:00", "write year, month, day: 2027-06-25 if the second is the month;"),
    ],
)
def test_date_whose_month_is_in_doubt_is_refused_with_how_to_write_it(refused, stamp, told):
    refused(f"time,flow_lps\n{stamp},1\n", ":2:", "not a stamp", told)


def test_stamps_cross_a_leap_day(read):
    text = "time,flow_lps\n2028-02-28 12:00,1\n2028-02-29 12:00,2\n2028-03-01 12:00,3\n"
    series = read(text, start=datetime(2028, 2, 28))
    assert np.diff(series.times_s).tolist() == [86400.0, 86400.0]


def test_a_spreadsheet_export_is_read_and_what_was_found_is_told(read):
    text = "\ufeffDate and time;Inflow (L/s)\r\n01.03.2027 00:00;10,5\r\n01.03.2027 00:15;1,25\r\n"
    series = read(text)
    assert series.flows_m3s == pytest.approx([0.0105, 0.00125], rel=1e-12)
    assert series.repairs == (
        "a byte-order mark at the start of the file passed over",
        "line ends of CR LF read as line ends",
        "semicolons read as what separates the cells",
        "2 stamps with points read with the day first",
        "decimal commas read as points in 2 cells of 'Inflow (L/s)' (10,5 as 10.5)",
    )


def test_tabs_comments_empty_lines_and_idle_columns_are_passed_over(read):
    text = '# from a "logger", odd\n\nt_s\tremark\tflow_lps\n0\tdry\t1\n\n# midway\n60\t\t2\n'
    assert read(text).flows_m3s == pytest.approx([0.001, 0.002], rel=1e-12)


def test_old_line_ends_keep_the_count_of_lines(refused):
    refused(PLAIN.replace("2592", "x").replace("\n", "\r"), "meter.csv:4:", "not a number")


def test_columns_are_found_by_name_whatever_their_capitals(read):
    text = "level_m,When,Inflow A (L/s),Inflow B (L/s)\n1,0,10,20\n1,1,30,40\n"
    series = read(text, column="inflow b (l/s)", time_column="when", time_unit="h")
    assert series.flows_m3s == pytest.approx([0.02, 0.04], rel=1e-12)


def test_own_table_of_levels_is_read_back_by_its_column(read):
    text = (
        "time,t_s,level_m,inflow_m3s,pumped_m3s\n"
        "2027-03-01T00:00:00+12:00,0,1.0,0.02,0\n2027-03-01T00:05:00+12:00,300,1.1,0.03,0\n"
    )
    series = read(text, column="inflow_m3s")
    assert series.times_s.tolist() == [0.0, 300.0]
    assert series.flows_m3s.tolist() == [0.02, 0.03]


def test_factor_scales_the_source(read):
    source = read(PLAIN).source(factor=0.5, steps=True)
    assert source.flows_m3s == pytest.approx([0.005, 0.01, 0.015], rel=1e-12)
    assert source.steps
    assert source.name.endswith("meter.csv")


@pytest.mark.parametrize("factor", [-1.0, float("nan"), float("inf")])
def test_factor_that_is_no_scale_is_refused(read, factor):
    with pytest.raises(RecordError, match="the factor must be 0 or more"):
        read(PLAIN).source(factor=factor)


# --- gaps ---------------------------------------------------------------------------------------

GAPPED = "t_min,flow_lps\n0,10\n15,20\n60,50\n75,\n90,70\n105,80\n120,90\n"


def test_gaps_are_refused_unless_told(refused):
    refused(
        GAPPED,
        "meter.csv:4:",
        "1 empty cell and 2 missing rows",
        "usual interval of 15 min",
        '"straight" or "hold"',
    )


def test_gaps_filled_straight_lie_on_the_line_and_are_counted(read):
    series = read(GAPPED, gaps="straight")
    assert series.times_s.tolist() == [900.0 * k for k in range(9)]
    assert series.flows_m3s * 1e3 == pytest.approx([10, 20, 30, 40, 50, 60, 70, 80, 90], rel=1e-12)
    assert series.repairs == (
        "1 empty cell filled straight",
        "2 missing rows in 1 gap filled straight (the longest 45 min)",
    )


def test_gaps_filled_by_holding_keep_the_flow_before(read):
    series = read(GAPPED, gaps="hold")
    assert series.flows_m3s * 1e3 == pytest.approx([10, 20, 20, 20, 50, 50, 70, 80, 90], rel=1e-12)
    assert "filled by holding the flow before" in series.repairs[1]


def test_rows_without_flow_at_the_ends_are_left_out_and_told(read):
    series = read("t_min,flow_lps\n0,\n15,20\n30,30\n45,\n", gaps="straight")
    assert series.times_s.tolist() == [900.0, 1800.0]
    assert series.repairs == ("2 rows without a flow at the ends of the series left out",)


def test_a_series_that_ends_in_empty_cells_is_held_when_told(read):
    series = read("t_min,flow_lps\n0,10\n15,20\n30,\n45,\n", gaps="hold")
    assert series.flows_m3s * 1e3 == pytest.approx([10, 20, 20, 20], rel=1e-12)


def test_jitter_of_stamps_is_no_gap(read):
    assert len(read("t_s,flow_lps\n0,1\n290,1\n610,1\n895,1\n1205,1\n").times_s) == 5


@given(
    kept=st.lists(st.booleans(), min_size=4, max_size=40),
    how=st.sampled_from(["straight", "hold"]),
)
def test_filling_never_changes_a_row_that_is_there(tmp_path_factory, kept, how):
    # The first four rows stay, so that the usual interval is known.
    there = [0, 1, 2, 3, *(k + 4 for k, keep in enumerate(kept) if keep)]
    path = tmp_path_factory.mktemp("gaps") / "meter.csv"
    lines = [f"{k * 60},{k % 7 + 1}" for k in there]
    path.write_text("t_s,flow_lps\n" + "\n".join(lines) + "\n", encoding="utf-8")
    series = read_inflow_csv(path, start=START, gaps=how)
    if np.median(np.diff(there)) == 1.0:
        assert series.times_s == pytest.approx(np.arange(there[-1] + 1) * 60.0, rel=1e-12)
        rows = np.array(there)
        assert series.flows_m3s[rows] == pytest.approx((rows % 7 + 1) / 1e3, rel=1e-12)
    assert np.all(np.diff(series.times_s) > 0.0)


# --- refused ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", ("is empty", "accepted: a line of column names")),
        ("\ufeff", ("is empty",)),
        ("# only this\n", ("comments only",)),
        ("t_s,flow_lps\n", ("no rows",)),
        ("t_s,flow_lps\n0,1\n", (":2:", "one row only")),
        ("0,864\n15,1728\n", (":1:", "no names")),
        ("flow_lps\n1\n2\n", (":1:", "one column only")),
        ("t_s,flow_lps\n0,1\n60,wet\n", (":3:", "'wet', not a number")),
        ("t_s,flow_lps\n0,1\n60,NaN\n", (":3:", "'NaN', not a number")),
        ("t_s,flow_lps\n0,1\n60,inf\n", (":3:", "'inf', not a number")),
        ("t_s,flow_lps\n0,1\n60,1_000\n", (":3:", "not a number")),
        ("t_s,flow_lps\n0,1\n60,1e999\n", (":3:", "too large")),
        ('t_s,flow_lps\n0,1\n60,"1,000"\n', (":3:", "thousands")),
        ("t_s;flow_lps\n0;1,5\n60;2.5\n", ("decimal comma", "decimal point")),
        ("t_s;flow_lps\n0;1.234,5\n60;2\n", (":2:", "not a number")),
        ("t_s,flow_lps\n0,1,5\n60,2,5\n", (":2:", "3 cells, but 2", "semicolons")),
        ("t_s,flow_lps\n0,1\n60\n", (":3:", "1 cell, but 2")),
        ("t_s,flow_lps\n0,1\n60,-2\n120,-3\n", (":3:", "-2 L/s, below nought", "2 such rows")),
        ("t_s,flow_m3s\n0,21477\n60,2\n", (":2:", "beyond any lift station", "unit")),
        ("t_s,flow_lps\n0,1\n0,2\n", (":3:", "the same as that of line 2")),
        ("t_s,flow_lps\n0,1\n60,2\n30,2\n", (":4:", "before that of line 3", "earliest first")),
        ("t_s,flow_lps\n-1e308,1\n1e308,2\n", (":2:", "beyond any record")),
        ("t_s,flow_lps\n0,1\n,2\n120,2\n", (":3:", "no time")),
        ("t,flow_lps\n0,1\n60,2\n", (":2:", "names no unit of time", "elapsed_min")),
        ("t_s,flow\n0,1\n60,2\n", ("no unit of flow", "m3/d", "inflow (L/s)")),
        ("t_s,flow (buckets)\n0,1\n60,2\n", ("unknown unit, 'buckets'",)),
        ("t_s,a_lps,b_lps\n0,1,1\n60,2,2\n", ("which column", "'a_lps', 'b_lps'")),
        ("time,flow_lps\nnoon,1\n2027-03-01 00:15,2\n", (":2:", "'noon', not a stamp")),
        ("time,flow_lps\n03/01/2027 00:00,1\n03/01/2027 00:15,2\n", (":2:", "day first")),
        ("time,flow_lps\n2027-02-30 00:00,1\n2027-03-01 00:15,2\n", (":2:", "not a stamp")),
        (
            "time,flow_lps\n2027-03-01 00:00+12:00,1\n2027-03-01 00:15,2\n",
            (":3:", "from offset +12:00 to no offset"),
        ),
        (
            "time,flow_lps\n2027-03-01 00:00+12:00,1\n2027-03-01 02:00+13:00,2\n",
            (":3:", "from offset +12:00 to offset +13:00"),
        ),
        (
            "time,flow_lps\n2027-04-04 02:45,1\n2027-04-04 02:00,2\n",
            (":3:", "before that of line 2", "summer time"),
        ),
        ('t_s,flow_lps\n0,1\n60,"2\n', ("not a row of cells",)),
        (b"t_s,flow_lps\n0,1\n60,\xff\xfe\n", (":3:", "not text in UTF-8")),
        (b"t_s,flow_lps\n0,1\n60,\x00\n", (":3:", "no text")),
        ("t_s,flow_lps,flow_lps\n0,1,1\n60,2,2\n", ("which column",)),
    ],
)
def test_a_wrong_file_is_refused_with_its_line_and_what_is_accepted(refused, text, told):
    refused(text, *told)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"column": "inflow_m3"}, ("no column is named 'inflow_m3'", "mean 'inflow_m3d'")),
        ({"time_column": "clock"}, ("no column is named 'clock'", "'elapsed_min'")),
        ({"column": "elapsed_min"}, ("cannot be the flow",)),
        ({"unit": "L/s"}, ("says m3/d, but the unit given is L/s",)),
        ({"unit": "furlongs"}, ("unknown unit 'furlongs'",)),
        ({"unit": "ft"}, ("a flow is needed",)),
        ({"time_unit": "h"}, ("says min, but the unit given is h",)),
        ({"time_unit": "L/s"}, ("a duration is needed",)),
        ({"gaps": "ignore"}, ("gaps='ignore'", "refuse, straight, hold")),
    ],
)
def test_an_option_that_does_not_fit_the_file_is_refused(refused, options, told):
    refused(PLAIN, *told, **options)


def test_two_columns_of_the_name_asked_for_are_refused(refused):
    refused("t_s,flow_lps,flow_lps\n0,1,1\n60,2,2\n", "2 columns", column="flow_lps")


def test_stamps_with_offset_and_a_start_without_are_refused(refused):
    text = "time,flow_lps\n2027-03-01T00:00Z,1\n2027-03-01T00:15Z,2\n"
    refused(text, "the start of the episode has none", start=datetime(2027, 3, 1))


def test_a_series_of_two_flows_and_a_gap_of_centuries_is_not_filled(refused):
    rows = "".join(f"{k},1\n" for k in range(5)) + "9e9,1\n"
    refused("t_s,flow_lps\n" + rows, "filling the gaps would make", gaps="hold")


@pytest.mark.parametrize("name", ["absent.csv", "."])
def test_a_file_that_cannot_be_read_is_refused(tmp_path, name):
    with pytest.raises(RecordError, match="cannot be read"):
        read_inflow_csv(tmp_path / Path(name), start=START)


ODD_CELLS = (
    "", " ", "0", " 1 ", "+7", "3.5", "3,5", ".5", "1e2", "1e999", "-4", "wet", "NaN", "inf", "1_0",
    "9e9", '"8"', '"8', "#", "7;7", "7,7", "7\t7", "0x1", "2027-03-01", "\u0665", "\n",
)  # fmt: skip


@st.composite
def nearly_valid_files(draw: st.DrawFn) -> tuple[str, list[float] | None]:
    """Return a file of a few rows, some of whose cells are spoilt, and its flows when none is."""
    separator = draw(st.sampled_from([",", ";", "\t"]))
    steps = draw(st.lists(st.integers(1, 3), min_size=2, max_size=6))
    flows = draw(st.lists(st.integers(0, 90), min_size=len(steps), max_size=len(steps)))
    times = np.cumsum(steps).tolist()
    rows = [[str(60 * t), str(q)] for t, q in zip(times, flows, strict=True)]
    spoilt = draw(st.sampled_from([1, 2, 0]))
    for _ in range(spoilt):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        row[draw(st.integers(0, 1))] = draw(st.sampled_from(ODD_CELLS))
    lines = [separator.join(cells) for cells in [["t_s", "flow_lps"], *rows]]
    return "\n".join(lines) + "\n", None if spoilt else [float(q) for q in flows]


def test_a_nearly_valid_file_is_read_or_refused(tmp_path):
    path = tmp_path / "odd.csv"
    outcomes = Counter()

    @given(file=nearly_valid_files())
    @settings(max_examples=300)
    def read_or_refuse(file):
        text, flows = file
        path.write_bytes(text.encode("utf-8"))
        try:
            series = read_inflow_csv(path, start=START, gaps="straight")
        except RecordError as error:
            message = str(error)
        else:
            message = ""
        if message:
            assert flows is None, "a valid file was refused"
            assert "odd.csv" in message
            assert "\n" not in message
            outcomes["refused"] += 1
            return
        assert len(series.times_s) == len(series.flows_m3s) > 1
        assert np.all(np.diff(series.times_s) > 0.0)
        assert np.all(np.isfinite(series.flows_m3s) & (series.flows_m3s >= 0.0))
        if flows is None:
            outcomes["spoilt but read"] += 1
        else:
            outcomes["valid"] += 1
            assert series.flows_m3s[0] * 1e3 == pytest.approx(flows[0], rel=1e-12, abs=1e-12)
            assert series.flows_m3s[-1] * 1e3 == pytest.approx(flows[-1], rel=1e-12, abs=1e-12)
            given_flows = set(np.round(series.flows_m3s * 1e3, 9).tolist())
            assert given_flows.issuperset(flows)

    read_or_refuse()
    assert all(outcomes[kind] >= 10 for kind in ("refused", "spoilt but read", "valid")), outcomes


@pytest.mark.parametrize("cell", ODD_CELLS)
def test_an_odd_flow_is_refused_or_read_as_it_stands(read, cell):
    """Which of the odd cells are a flow is told here by hand; an empty one is a gap."""
    text = f"t_s,flow_lps\n0,10\n60,{cell}\n120,20\n"
    meant = {
        "": 15.0, " ": 15.0, "0": 0.0, " 1 ": 1.0, "+7": 7.0, "3.5": 3.5, ".5": 0.5, "1e2": 100.0,
        '"8"': 8.0, "\u0665": 5.0, "\n": 15.0,
    }  # fmt: skip
    if cell in meant:
        series = read(text, gaps="straight")
        assert series.flows_m3s * 1e3 == pytest.approx([10.0, meant[cell], 20.0], rel=1e-12)
    else:
        with pytest.raises(RecordError):
            read(text, gaps="straight")


def test_a_hundred_thousand_rows_are_read_whole(read):
    begin = datetime(2027, 1, 1)
    rows = 100_000
    lines = [f"{begin + timedelta(seconds=300 * k)},{k % 90}" for k in range(rows)]
    text = "time,flow_lps\n" + "\n".join(lines) + "\n"
    series = read(text, start=begin)
    assert np.array_equal(series.times_s, 300.0 * np.arange(rows))
    assert series.flows_m3s[-1] == pytest.approx(((rows - 1) % 90) / 1e3, rel=1e-12)

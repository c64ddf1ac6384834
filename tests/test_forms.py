"""Forms to fill in: as CSV, as a workbook, and how they are read back."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from stationsim.errors import OutputError, RecordError
from stationsim.forms import READ_FIRST, WORKBOOK, Form, as_written, csv_text, workbook
from stationsim.records.filled_form import FilledForm, has_filled, read_filled
from stationsim.saving import write_tables
from stationsim.study_result import StudyResult

COLUMNS = ("no", "what", "expected", "unit", "read", "note")
NEEDED = ("what", "read")
ACTIVE = ("=1+1", "+1", "-1", "@SUM(A1)", "'=1+1", "''-x", "#1 of two", "\tx", "=cmd|' /C x'!A0")


def form(**changes: Any) -> Form:
    given: dict[str, Any] = {
        "name": "sheet",
        "title": "A sheet, with a comma & more",
        "columns": COLUMNS,
        "rows": (
            (1.0, "flow", 31.5, "L/s", None, None),
            (2.0, "level", 1.205, "m", None, "by tape"),
            (3.0, "float acts", "yes", "yes/no", None, None),
            (4.0, "flow, late", 1e-7, "L/s", None, None),
        ),
        "blank": ("read", "note"),
        "notes": ("Fill in 'read'; nothing else.", "Nobody enters the well."),
        "choices": {
            "read": ((), (), ("yes", "no"), ()),
            "unit": (("L/s", "gpm"), ("m", "ft"), (), ("L/s", "gpm")),
        },
        "room": {"note": 30},
    }
    return Form(**(given | changes))


def study(**changes: Any) -> StudyResult:
    given: dict[str, Any] = {
        "study": "acceptance",
        "subject": "Mill Reach",
        "tables": {"readings": pd.DataFrame({"value": [1.0]})},
        "tell": lambda _system: ["It was read."],
        "show": lambda _system: [],
    }
    return StudyResult(**(given | changes))


def sheet_of(made: Form) -> Any:
    return openpyxl.load_workbook(io.BytesIO(workbook([made])))[made.name]


# ------------------------------------------------------------------------------------- as CSV


def test_a_form_is_csv_with_its_notes_as_comments() -> None:
    assert csv_text(form()) == (
        "# A sheet, with a comma & more\n"
        "# Fill in 'read'; nothing else.\n"
        "# Nobody enters the well.\n"
        "no,what,expected,unit,read,note\n"
        "1,flow,31.5,L/s,,\n"
        "2,level,1.205,m,,by tape\n"
        "3,float acts,yes,yes/no,,\n"
        '4,"flow, late",1e-07,L/s,,\n'
    )


def test_pandas_reads_the_same_numbers() -> None:
    table = pd.read_csv(io.StringIO(csv_text(form())), comment="#")
    assert list(table.columns) == list(COLUMNS)
    assert table["expected"].tolist() == ["31.5", "1.205", "yes", "1e-07"]
    assert table["read"].isna().all()


@pytest.mark.parametrize("text", ACTIVE)
def test_no_text_becomes_a_formula_and_each_comes_back(text: str, tmp_path: Path) -> None:
    made = form(
        columns=("what", "read"), rows=((text, None),), blank=("read",), choices={}, room={}
    )
    (row,) = list(csv.reader(io.StringIO(csv_text(made))))[-1:]
    assert not re.match(r"[=+\-@#\t\r]", row[0])
    assert as_written(row[0]) == text
    cell = sheet_of(made)["A2"]
    assert (cell.value, cell.data_type, cell.quotePrefix) == (text, "s", True)
    (tmp_path / "a.csv").write_text(csv_text(made).replace("x,", "x,1"), encoding="utf-8")
    (tmp_path / "a.xlsx").write_bytes(workbook([made]))
    for name in ("a.csv", "a.xlsx"):
        read = read_filled(tmp_path / name, "sheet", NEEDED)
        assert read.rows[0][0] == text.strip()
        assert not read.broken


@pytest.mark.parametrize("text", ["flow", "1.5", "a=b", "it's", "'quoted'", ""])
def test_a_text_that_is_no_formula_stays_as_it_is(text: str) -> None:
    made = form(columns=("what", "read"), rows=((text, None),), blank=(), choices={}, room={})
    (row,) = list(csv.reader(io.StringIO(csv_text(made))))[-1:]
    assert row == [text, ""]


def test_control_characters_do_not_stop_a_form() -> None:
    made = form(title="a\x07b\nc", notes=("x\x00y",), rows=((1.0, "a\x0bb", None, "", None, None),),
                choices={})  # fmt: skip
    assert csv_text(made).splitlines()[:2] == ["# a b c", "# x y"]
    assert sheet_of(made)["B2"].value == "a b"


# ------------------------------------------------------------------------------------- as XLSX


def test_the_workbook_has_the_notes_first_and_a_sheet_for_each_form() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook([form(), form(name="other")])))
    assert book.sheetnames == [READ_FIRST, "sheet", "other"]
    told = [cell.value for cell in book[READ_FIRST]["A"] if cell.value]
    assert told[:3] == [
        "A sheet, with a comma & more (sheet 'sheet')",
        "Fill in 'read'; nothing else.",
        "Nobody enters the well.",
    ]
    assert "(sheet 'other')" in told[3]


def test_cautions_stand_once_in_a_workbook_and_in_each_csv_and_a_line_below_each_sheet() -> None:
    cautions = ("Mind the steps.", "Lock out & tag out.")
    forms = [
        form(cautions=cautions, footer="Nobody enters & stays."),
        form(name="other", cautions=cautions, footer="Nobody enters & stays."),
    ]
    book = openpyxl.load_workbook(io.BytesIO(workbook(forms)))
    told = [cell.value for cell in book[READ_FIRST]["A"] if cell.value]
    assert told[:4] == [
        "Mind this", *cautions, "A sheet, with a comma & more (sheet 'sheet')",
    ]  # fmt: skip
    assert [told.count(line) for line in cautions] == [1, 1]
    for name in book.sheetnames:
        footer = book[name].oddFooter
        assert footer.left.text == "Nobody enters && stays."
        assert footer.right.text == "page &P of &N"
    for one in forms:
        above = [line for line in csv_text(one).splitlines() if line.startswith("# ")]
        assert above[-2:] == [f"# {line}" for line in cautions]


def test_numbers_are_numbers_and_blanks_are_boxes() -> None:
    sheet = sheet_of(form())
    rows = list(sheet.iter_rows(values_only=True))
    assert rows[0] == COLUMNS
    assert rows[1] == (1, "flow", 31.5, "L/s", None, None)
    assert rows[4][2] == 1e-7
    assert sheet["C2"].data_type == "n"
    for place in ("E2", "F3", "E5"):
        cell = sheet[place]
        assert cell.fill.fgColor.rgb.endswith("FFF7DF")
        sides = (cell.border.left, cell.border.right, cell.border.top, cell.border.bottom)
        assert [side.style for side in sides] == ["thin"] * 4
    assert sheet["C2"].fill.fill_type is None
    assert sheet["C2"].border.left is None or sheet["C2"].border.left.style is None


def test_the_workbook_is_set_up_for_the_screen_and_for_paper() -> None:
    sheet = sheet_of(form())
    assert sheet.freeze_panes == "A2"
    assert sheet.print_title_rows == "$1:$1"
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
    assert sheet.oddFooter.right.text == "page &P of &N"
    assert sheet.oddHeader.left.text == "A sheet, with a comma && more"
    assert sheet.column_dimensions["F"].width >= 30
    assert sheet.column_dimensions["A"].width < 8
    assert sheet.row_dimensions[2].height >= 24


def test_words_are_offered_where_words_are_wanted() -> None:
    offers = {
        offer.formula1: (sorted(map(str, offer.sqref.ranges)), offer.errorStyle)
        for offer in sheet_of(form()).data_validations.dataValidation
    }
    assert offers == {
        '"yes,no"': (["E4"], "warning"),
        '"L/s,gpm"': (["D2", "D5"], "warning"),
        '"m,ft"': (["D3"], "warning"),
    }
    long = tuple(f"word {n}" for n in range(60))
    many = form(choices={"read": (long, (), ("a,b",), ())})
    assert not sheet_of(many).data_validations.dataValidation


def test_the_same_form_gives_the_same_bytes_at_any_time(monkeypatch: pytest.MonkeyPatch) -> None:
    made = workbook([form()])
    moment = (2031, 5, 6, 7, 8, 9, 1, 126, 0)
    monkeypatch.setattr(zipfile.time, "localtime", lambda *_: moment)  # type: ignore[attr-defined]
    assert workbook([form()]) == made
    with zipfile.ZipFile(io.BytesIO(made)) as inside:
        assert {entry.date_time for entry in inside.infolist()} == {(2000, 1, 1, 0, 0, 0)}
        core = inside.read("docProps/core.xml").decode()
    assert re.findall(r">(\d{4}-[^<]*)<", core) == ["2000-01-01T00:00:00Z"] * 2


# ------------------------------------------------------------------------------------- as a whole


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"name": "a/b"}, "no name"),
        ({"name": "a" * 32}, "no name"),
        ({"columns": ("no", "No", "expected", "unit", "read", "note")}, "a column twice"),
        ({"blank": ("red",)}, "'red'"),
        ({"rows": ((1.0,),)}, "row 1 has 1 places"),
        ({"rows": ((float("nan"), "", "", "", None, None),), "choices": {}}, "not finite"),
        ({"choices": {"read": ((),)}}, "for 1 rows"),
    ],
)
def test_a_form_that_does_not_fit_together_is_refused(changes: dict[str, Any], what: str) -> None:
    with pytest.raises(ValueError, match=re.escape(what)):
        form(**changes)


def test_a_study_writes_its_forms_in_the_units_asked_for(tmp_path: Path) -> None:
    def forms(system: str) -> list[Form]:
        return [form(name=f"sheet_{system}"), form(name="other")]

    study(forms=forms).save(tmp_path / "plain", system="us", plots=False)
    assert (tmp_path / "plain" / "sheet_us.csv").read_text(encoding="utf-8") == csv_text(form())
    assert not (tmp_path / "plain" / WORKBOOK).exists()
    study(forms=forms).save(tmp_path / "book", ("csv", "xlsx"), plots=False)
    book = openpyxl.load_workbook(tmp_path / "book" / WORKBOOK)
    assert book.sheetnames == [READ_FIRST, "sheet_si", "other"]
    assert (tmp_path / "book" / "tables.xlsx").exists()
    study().save(tmp_path / "none", ("csv", "xlsx"), plots=False)
    assert not (tmp_path / "none" / WORKBOOK).exists()


def test_a_form_does_not_overwrite_a_table(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"readings\.csv: no place for a form"):
        study(forms=lambda _: [form(name="readings")]).save(tmp_path / "out", plots=False)
    assert not (tmp_path / "out").exists()


def test_a_name_in_a_table_becomes_no_formula_in_its_workbook(tmp_path: Path) -> None:
    table = pd.DataFrame({"pump": ["=1+1", "P2"], "flow": [1.5, float("nan")]})
    write_tables({"pumps": table}, tmp_path, ("xlsx",))
    sheet = openpyxl.load_workbook(tmp_path / "tables.xlsx")["pumps"]
    assert (sheet["A2"].value, sheet["A2"].data_type) == ("=1+1", "s")
    assert (sheet["B2"].value, sheet["B3"].value) == (1.5, None)


# ------------------------------------------------------------------------------------- read back


def read_csv(tmp_path: Path, text: str | bytes) -> FilledForm:
    file = tmp_path / "filled.csv"
    file.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
    return read_filled(file, "sheet", NEEDED)


def read_book(tmp_path: Path, book: openpyxl.Workbook, sheet: str = "sheet") -> FilledForm:
    file = tmp_path / "filled.xlsx"
    book.save(file)
    return read_filled(file, sheet, NEEDED)


def test_csv_as_a_spreadsheet_saves_it_again(tmp_path: Path) -> None:
    text = (
        '\ufeff"# A sheet, with a comma & more";;;;;\r\n# Nobody enters the well.;;;;;\r\n'
        ";;;;;\r\nno;what;expected;unit;read;note\r\n"
        '1;flow;31,5;L/s;30,9;"two\nlines"\r\n;;;;;\r\n;;;;;\r\n2;level;1,205;m;;\r\n'
    )
    found = read_csv(tmp_path, text)
    assert found.header == COLUMNS
    assert found.rows == (
        ("1", "flow", "31,5", "L/s", "30,9", "two\nlines"),
        ("2", "level", "1,205", "m", "", ""),
    )
    assert found.lines == (6, 9)
    assert found.above == ("A sheet, with a comma & more", "Nobody enters the well.")
    assert len(found.notes) == 2  # nearly every spreadsheet writes a byte-order mark and CR LF
    assert any("semicolons" in note for note in found.notes)
    assert "2 blank rows or comments between the rows passed over" in found.notes


def test_a_workbook_filled_in_is_read_as_text_and_tells_what_is_a_number(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook([form()])))
    sheet = book["sheet"]
    sheet["E2"], sheet["E3"], sheet["E4"], sheet["E5"] = 30.9, "1,2", True, 0.02
    sheet["E5"].number_format = "0.0%"
    sheet["F2"] = "seen"
    found = read_book(tmp_path, book, " Sheet ")
    assert found.name.endswith("filled.xlsx (sheet 'sheet')")
    assert [row[4] for row in found.rows] == ["30.9", "1,2", "TRUE", "2 %"]
    assert found.rows[0] == ("1", "flow", "31.5", "L/s", "30.9", "seen")
    assert found.lines == (2, 3, 4, 5)
    assert found.where(1).endswith("(sheet 'sheet'):3")
    assert {(0, 4), (3, 4)} <= found.typed
    assert (1, 4) not in found.typed
    assert not found.broken
    assert not found.notes
    assert found.above[0] == "A sheet, with a comma & more (sheet 'sheet')"


def test_places_that_hold_no_value_are_marked(tmp_path: Path) -> None:
    from datetime import datetime, time

    book = openpyxl.load_workbook(io.BytesIO(workbook([form()])))
    sheet = book["sheet"]
    sheet["E2"], sheet["E3"], sheet["E4"] = "=A1+1", time(1, 58), datetime(2030, 1, 2)
    sheet["E5"], sheet["E5"].data_type = "#DIV/0!", "e"
    found = read_book(tmp_path, book)
    assert {place: why.split(":")[0] for place, why in found.broken.items()} == {
        (0, 4): "holds a formula whose value was not saved",
        (1, 4): "holds a date or a time (01",
        (2, 4): "holds a date or a time (2030-01-02 00",
        (3, 4): "holds the error #DIV/0!",
    }


def test_values_that_were_saved_with_formulas_are_read_and_told(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook([form()])))
    book["sheet"]["E2"] = "=30+0.9"
    read_book(tmp_path, book)
    file = tmp_path / "filled.xlsx"
    with zipfile.ZipFile(file) as old:
        parts = {entry.filename: old.read(entry) for entry in old.infolist()}
    name = "xl/worksheets/sheet2.xml"
    assert b"<f>30+0.9</f>" in parts[name]
    parts[name] = re.sub(rb"(<f>30\+0\.9</f>)<v ?/>", rb"\1<v>30.9</v>", parts[name])
    parts[name] = parts[name].replace(b"<f>30+0.9</f><v></v>", b"<f>30+0.9</f><v>30.9</v>")
    with zipfile.ZipFile(file, "w") as new:
        for part, content in parts.items():
            new.writestr(part, content)
    found = read_filled(file, "sheet", NEEDED)
    assert found.rows[0][4] == "30.9"
    assert not found.broken
    assert found.notes == ("1 cells hold formulas; the values saved with them are read",)


def test_rows_above_and_between_are_passed_over_and_told(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "copied"
    for row in (["Filled in on the day"], [], ["what", "read"], ["flow", 1], [], ["level", 2]):
        sheet.append(row)
    found = read_book(tmp_path, book)
    assert found.rows == (("flow", "1"), ("level", "2"))
    assert found.lines == (4, 6)
    assert found.above == ("Filled in on the day",)
    assert found.notes == (
        "the only sheet, 'copied', read as 'sheet'",
        "1 row above the names passed over",
        "1 blank row or comments between the rows passed over",
    )


def test_a_sheet_by_another_name_is_known_by_its_columns(tmp_path: Path) -> None:
    columns = ("what", "time", "expected", "unit", "a", "b")
    other = form(name="sheet_of_times", columns=columns, blank=(), choices={}, room={})
    renamed = workbook([form(name="tuesday"), other])
    found = read_book(tmp_path, openpyxl.load_workbook(io.BytesIO(renamed)))
    assert found.name.endswith("(sheet 'tuesday')")
    assert found.notes == (
        "no sheet is called 'sheet'; 'tuesday' read, the only one with the columns 'what', 'read'",
    )
    for forms in ([other], [form(name="tuesday"), form(name="wednesday"), other]):
        with pytest.raises(RecordError) as told:
            read_book(tmp_path, openpyxl.load_workbook(io.BytesIO(workbook(forms))))
        names = ", ".join(f"'{one.name}'" for one in forms)
        assert f"no sheet is called 'sheet' (there are 'read first', {names};" in str(told.value)
        assert "or one sheet with the columns 'what', 'read')" in str(told.value)
        assert "did you mean" not in str(told.value)


def test_a_workbook_says_whether_a_column_of_a_sheet_was_filled_in(tmp_path: Path) -> None:
    from datetime import time

    book = openpyxl.load_workbook(io.BytesIO(workbook([form()])))
    file = tmp_path / "a.xlsx"
    for value, filled in ((None, False), (time(14, 3, 20), True), ("=A1", True)):
        book["sheet"]["E3"] = value
        book.save(file)
        assert has_filled(file, "sheet", "read") is filled
        assert not has_filled(file, "sheets", "read")
        assert not has_filled(file, "sheet", "reed")
    (tmp_path / "a.csv").write_text(csv_text(form()).replace("1.5,L/s,", "1.5,L/s,7"), "utf-8")
    assert not has_filled(tmp_path / "a.csv", "sheet", "read")


def test_a_time_is_text_as_it_is_shown(tmp_path: Path) -> None:
    from datetime import time, timedelta

    book = openpyxl.load_workbook(io.BytesIO(workbook([form()])))
    cells = [book["sheet"][f"E{row}"] for row in (2, 3, 4, 5)]
    for cell, value, shown in zip(
        cells,
        (time(2, 13), time(2, 13), time(2, 13, 5), timedelta(hours=26, minutes=10)),
        ("h:mm", "h:mm:ss", "h:mm", "[h]:mm:ss"),
        strict=True,
    ):
        cell.value, cell.number_format = value, shown
    found = read_book(tmp_path, book)
    texts = [row[4] for row in found.rows]
    assert texts == ["02:13", "02:13:00", "02:13:05", "1 day, 2:10:00"]
    assert len(found.broken) == 4


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"PK\x03\x04 no workbook at all", "cannot be read as a workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "of an older kind, or one with a password"),
        (b"what;read\n", "names of columns but no rows"),
        (b"", "is empty"),
        (b"what\nflow\n", "one column only"),
        (b"what,read\n\xff,1\n", "not text in UTF-8"),
    ],
)
def test_a_file_that_is_no_sheet_gives_one_clear_message(
    content: bytes, what: str, tmp_path: Path
) -> None:
    with pytest.raises(RecordError) as told:
        read_csv(tmp_path, content)
    assert what in str(told.value)
    assert "filled.csv" in str(told.value)
    assert "of flows" not in str(told.value)


def test_a_zip_that_is_no_workbook_and_a_folder_are_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.xlsx", "w") as made:
        made.writestr("content.xml", "<x/>")
    with pytest.raises(RecordError, match="cannot be read as a workbook"):
        read_filled(tmp_path / "a.xlsx", "sheet", NEEDED)
    with pytest.raises(RecordError, match="cannot be read"):
        read_filled(tmp_path, "sheet", NEEDED)
    with pytest.raises(RecordError, match="No such file"):
        read_filled(tmp_path / "none.csv", "sheet", NEEDED)


def test_without_the_package_a_workbook_is_refused_with_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    (tmp_path / "a.xlsx").write_bytes(workbook([form()]))
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(RecordError, match=r"python -m pip install 'stationsim\[xlsx\]'"):
        read_filled(tmp_path / "a.xlsx", "sheet", NEEDED)


def columns(*header: str) -> tuple[dict[str, int], list[str], list[str]]:
    row = tuple("x" if name else "" for name in header)
    return FilledForm("f.csv", header, (row,), (2,)).columns(NEEDED, COLUMNS)


def test_columns_are_found_in_any_order_and_spelling_of_case() -> None:
    found, wrong, notes = columns(" READ ", "What", "no", "expected", "unit", "note")
    assert found == {"read": 0, "what": 1, "no": 2, "expected": 3, "unit": 4, "note": 5}
    assert not wrong
    assert notes == ["columns in another order than on the sheet"]


def test_columns_that_are_missing_misspelt_or_doubled_are_all_told() -> None:
    found, wrong, _ = columns("waht", "read", "Read", "nota")
    assert "what" not in found
    assert len(wrong) == 3
    assert "no column is named 'what'; did you mean it by 'waht'?" in wrong[1]
    assert "2 columns are named 'read'" in wrong[0]
    assert "did you mean it by 'nota'?" in wrong[2]
    assert all("accepted" in one for one in wrong)


def test_columns_that_are_not_ours_or_gone_are_told() -> None:
    _, wrong, notes = columns("no", "what", "read", "weather")
    assert not wrong
    assert notes == [
        "columns that are none of the sheet's passed over: 'weather'",
        "columns that are not there any more: expected, unit, note",
    ]
    named = FilledForm("f.csv", ("what", "", "read"), (("a", "b", "c"),), (7,))
    assert any("without a name" in note and "line 7" in note
               for note in named.columns(NEEDED, COLUMNS)[2])  # fmt: skip

"""The page of a run and of a study: its numbers are those of the tables, and it stands alone."""

from __future__ import annotations

import base64
import dataclasses
import fnmatch
import hashlib
import re
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from page_reading import Node, read, tables

from stationsim import Result, load_scenario, simulate
from stationsim.episode import ScriptedEvent
from stationsim.findings import Finding
from stationsim.forms import Form
from stationsim.pages import page_of
from stationsim.pages.grids import MOST_ROWS, grid
from stationsim.plots import draw_all
from stationsim.study_result import Source, StudyResult
from stationsim.testing import duplex, episode

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "scenarios" / "reference-station.toml"


@pytest.fixture(scope="module")
def result() -> Result:
    """A day with a grid loss, so that most tables have rows."""
    station, episode = load_scenario(
        SCENARIO, sets=['episode.duration="1 d"'], events=["07:00 grid loss for 2 h"]
    )
    found = simulate(station, episode)
    found.text, found.digest = SCENARIO.read_text(encoding="utf-8"), "0" * 64
    return found


@pytest.fixture(scope="module")
def text(result: Result) -> str:
    return page_of(result, warnings=["pump.P1: a warning"], notes=["inflow.homes: a note"])


@pytest.fixture(scope="module")
def page(text: str) -> Node:
    return read(text)


def agree(shown: list[list[tuple[str, str]]], table: pd.DataFrame) -> None:
    """Check that cells are the numbers and texts of a table, to the twelve digits of the CSV."""
    assert len(shown) == len(table) > 0
    for n, name in enumerate(table.columns):
        texts, full = (np.array([row[n][k] for row in shown], dtype=object) for k in (0, 1))
        if not pd.api.types.is_numeric_dtype(table[name]):
            assert list(full) == list(table[name].fillna("")), name
            continue
        wanted = table[name].to_numpy(dtype=float)
        assert [one == "" for one in full] == list(np.isnan(wanted)), name
        known = ~np.isnan(wanted)
        assert full[known].astype(float) == pytest.approx(wanted[known], rel=1e-11, abs=1e-300)
        for one, value in zip(texts[known], wanted[known], strict=True):
            mantissa, _, power = one.partition("e")
            digits = len(mantissa.partition(".")[2]) - int(power or 0)
            assert abs(float(one) - value) <= 0.5000001 * 10.0**-digits, (name, one, value)


def test_numbers_on_the_page_of_a_run_are_those_of_its_tables(result: Result, page: Node) -> None:
    found = tables(page)
    whole = {name: table for name, table in result.tables.items() if len(table)}
    assert set(found) == set(whole)
    assert {"levels", "pump_runs", "pump_totals", "events", "alarms", "power"} <= set(whole)
    for name, table in whole.items():
        columns, rows = found[name]
        assert columns == list(table.columns)
        agree(rows, table)
    assert "No rows: crew." in page.text


def test_sentences_come_first_then_plots_then_tables(result: Result, page: Node) -> None:
    assert [head.text for head in page.all("h2")] == [
        "What came of it", "Plots", "Tables", "The scenario as run", "Cautions",
        "What made this page",
    ]  # fmt: skip
    (said,) = [one for one in page.all("div") if one.attributes.get("id") == "said"]
    assert [one.text for one in said.all("p")] == result.sentences()
    assert page.one("h1").text == "Reference station: an ordinary week"
    assert any(one.text.strip() == result.text.strip() for one in page.all("pre"))
    facts = dict(zip(*([x.text for x in page.all(t)[-12:]] for t in ("dt", "dd")), strict=True))
    left_open = float(facts["water balance"].split()[0])
    assert left_open == pytest.approx(result.trace.balance_error, rel=0.05)
    assert facts["made by"].startswith("stationsim ")
    assert facts["note"] == "inflow.homes: a note"
    assert "pump.P1: a warning" in [one.text for one in page.all("li")]
    assert page.text.count(result.caution) >= 2


@pytest.mark.parametrize("leaks", [False, True])
def test_the_two_meters_are_drawn_on_the_page_where_they_disagree(leaks: bool) -> None:
    leak = ScriptedEvent(3600.0, "main leak", "force main", None, amount=0.08)
    result = simulate(duplex(), episode(12 * 3600.0, 0.01, *([leak] if leaks else [])))
    labels = [one.attributes["aria-label"] for one in read(page_of(result)).all("svg")]
    assert any("meters" in label for label in labels) == leaks
    assert len(labels) == len(draw_all(result))


def test_units_of_the_sentences_and_plots_are_those_asked_for(result: Result) -> None:
    us = read(page_of(result, "us", figures={}))
    assert result.sentences("us")[-1] in us.text
    assert " ft" in us.text
    agree(tables(us)["levels"][1], result.levels)
    assert not us.all("svg", "img", "figure")
    assert "Plots" not in [head.text for head in us.all("h2")]


def test_plots_are_drawn_in_the_units_asked_for() -> None:
    asked: list[str] = []

    def draw(system: str) -> Figure:
        asked.append(system)
        return Figure()

    page = read(page_of(study(draw={"grid": draw}), "us"))
    assert asked == ["us"]
    assert page.one("svg").attributes["aria-label"].startswith("Plot. grid. Shaded tables of each")


def test_a_page_needs_nothing_but_itself(text: str, page: Node) -> None:
    for node in page.all():
        for name, value in node.attributes.items():
            assert not name.startswith("on"), (node.tag, name)
            if name in ("src", "href", "action", "data", "srcset", "poster", "xlink:href"):
                assert value.startswith(("#", "data:image/png;base64,")), (node.tag, value)
            for reference in re.findall(r"url\(([^)]*)", value):
                assert reference.startswith("#"), value
        assert node.tag not in (
            "link",
            "iframe",
            "object",
            "embed",
            "base",
            "form",
            "foreignobject",
        )
    look = page.one("style").text
    assert "url(" not in look
    assert "@import" not in look
    script = page.one("script")
    assert not script.attributes
    digest = base64.b64encode(hashlib.sha256(script.text.encode()).digest()).decode()
    (policy,) = [m for m in page.all("meta") if "http-equiv" in m.attributes]
    assert policy.attributes["content"].startswith("default-src 'none'; img-src data:;")
    assert f"script-src 'sha256-{digest}'" in policy.attributes["content"]
    assert not re.search(r"https?://", text)


def test_a_page_can_be_read_by_ear(page: Node) -> None:
    assert page.one("html").attributes["lang"] == "en"
    levels = [int(head.tag[1]) for head in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for table in page.all("table"):
        assert all(h.attributes.get("scope") == "col" for h in table.one("thead").all("th"))
        for row in table.one("tbody").all("tr"):
            (head,) = row.all("th")
            assert head.attributes["scope"] == "row"
    plots = page.all("svg")
    assert len(plots) == len(page.all("figure")) >= 4
    for plot in plots:
        assert plot.attributes["role"] == "img"
        assert plot.attributes["aria-label"].startswith("Plot. Reference station: ")
    marks = [node.attributes["id"] for node in page.all() if "id" in node.attributes]
    assert len(marks) == len(set(marks))
    for node in page.all():
        for name, value in node.attributes.items():
            asked = re.findall(r"url\(#([^)]*)\)", value)
            if name in ("aria-describedby", "aria-labelledby"):
                asked.append(value)
            if name == "href":
                asked.append(value.removeprefix("#"))
            assert set(asked) <= set(marks), (node.tag, name, value)


def test_the_same_run_gives_the_same_page(result: Result) -> None:
    again = dataclasses.replace(result, wall_s=result.wall_s + 1.0)
    assert page_of(result, figures={}) == page_of(again, figures={})
    from stationsim.pages.pictures import picture
    from stationsim.plots import curves_figure

    one, other = (picture(curves_figure(r), "curves", 1) for r in (result, again))
    assert one == other


def test_a_long_table_of_levels_is_thinned_to_steps_of_the_clock() -> None:
    t_s = np.append(np.arange(2016) * 300.0, 604_800.0)
    table = pd.DataFrame({"t_s": t_s, "level_m": np.sin(t_s)})
    shown = grid("levels", table)
    agree([[(c.text, c.full or c.text) for c in row] for row in shown.rows], table.iloc[::6])
    assert shown.cut == (
        "One row in 6 is shown here, 30 min apart: 337. All 2,017 stand in levels.csv."
    )
    assert shown.size == "337 of 2,017 rows"
    year = grid("levels", pd.DataFrame({"t_s": np.arange(105_121) * 300.0}))
    assert "24 h apart: 366." in year.cut or "1 d apart: 366." in year.cut
    odd = grid("levels", pd.DataFrame({"t_s": np.arange(1001) * 77.0}))
    assert len(odd.rows) == 334
    assert odd.cut.startswith("One row in 3 is shown here")


def test_a_long_table_of_events_leaves_out_the_starts_and_is_then_cut() -> None:
    names = ["start", "stop", "trip", "reset"] * 100 + ["start"]
    short = grid("events", pd.DataFrame({"event": names}))
    assert {row[0].text for row in short.rows} == {"trip", "reset"}
    assert short.cut == (
        "Starts and stops, 201 rows, are left out here. All 401 stand in events.csv."
    )
    many = grid("events", pd.DataFrame({"event": ["trip", "start", "reset"] * 1000}))
    assert len(many.rows) == MOST_ROWS
    assert "The first 400 of the others are shown here. All 3,000 stand in events.csv." in many.cut
    few = grid("events", pd.DataFrame({"event": ["start", "stop"]}))
    assert (len(few.rows), few.cut) == (2, "")


def test_other_long_tables_are_cut_and_folded_and_say_so() -> None:
    runs = pd.DataFrame({"duration_s": np.arange(30_000) / 7.0})
    shown = grid("pump_runs", runs)
    agree([[(c.text, c.full or c.text) for c in row] for row in shown.rows], runs.iloc[:400])
    assert shown.cut == "The first 400 rows are shown here. All 30,000 stand in pump_runs.csv."
    assert shown.folded
    whole = grid("pump_runs", runs.iloc[:400])
    assert (len(whole.rows), whole.cut) == (400, "")
    assert not grid("pump_runs", runs.iloc[:9]).folded


@pytest.mark.parametrize(
    ("column", "value", "shown", "full"),
    [
        ("level_m", 1.23456789, "1.235", "1.23456789"),
        ("level_m", 1.5, "1.500", "1.5"),
        ("volume_m3", 4661.39871, "4661.399", "4661.39871"),
        ("volume_m3", 0.00012345, "0.000123", "0.00012345"),
        ("inflow_m3s", 0.0, "0.00000", "0"),
        ("spill_m3s", -1e-17, "-1e-17", ""),
        ("value", 1.09027e-15, "1.09027e-15", ""),
        ("value", 12_345_678.9, "12345679", "12345678.9"),
        ("ratio", float("nan"), "", ""),
        ("trips", 3, "3", ""),
    ],
)
def test_numbers_are_rounded_to_what_is_read_and_keep_what_is_known(
    column: str, value: float, shown: str, full: str
) -> None:
    (row,) = grid("t", pd.DataFrame({column: [value]})).rows
    assert row[0] == (shown, full)


def study(**changes: object) -> StudyResult:
    hours = pd.DataFrame({"hour": range(24), "spill_s": np.linspace(100.0, 9000.0, 24) / 3.0})
    made = StudyResult(
        study="rehearse",
        subject="Reference station",
        tables={"hours": hours, "stations": pd.DataFrame({"station": []})},
        tell=lambda system: [f"It takes 39 min ({system})."],
        show=lambda system: ["hour  min", f"   0   {system}"],
        asked={"days": ["wednesday"], "same_day": False, "wet": {}, "each": {"a": {"k": 1}}},
        sources=(Source("a", "1" * 64, 'title = "A"\n', warnings=("pump.P1: odd",)), Source("b")),
    )
    return dataclasses.replace(made, **changes)  # type: ignore[arg-type]


def test_a_study_has_its_sentences_lines_tables_and_what_was_asked() -> None:
    made = study()
    page = read(page_of(made, "us"))
    assert page.one("h1").text == "Reference station: rehearse"
    assert "It takes 39 min (us)." in [one.text for one in page.all("p")]
    assert "   0   us" in page.all("pre")[0].text
    agree(tables(page)["hours"][1], made.tables["hours"])
    assert "No rows: stations." in page.text
    facts = dict(zip(*([x.text for x in page.all(tag)] for tag in ("dt", "dd")), strict=True))
    assert facts["days"] == "wednesday"
    assert facts["same_day"] == "no"
    assert facts["wet"] == "none"
    assert facts["each"] == "a (k: 1)"
    assert facts["digest of a"] == "1" * 64
    assert facts["digest of b"] == "none: set up in Python"
    assert "a: pump.P1: odd" in [one.text for one in page.all("li")]
    assert "Criteria" not in page.text


def test_what_was_judged_stands_there_with_its_source() -> None:
    page = read(
        page_of(
            study(
                findings=(
                    Finding("P1", "pass", "it starts less often", "3 1/h", "6 1/h", "", 3.0, "1/h"),
                    Finding("P2", "fail", "it <b>rests</b> too little", source='A "book" & more'),
                    Finding("P3", "fail", "it rests too little", source="from memory"),
                )
            )
        )
    )
    columns, rows = tables(page)["judged"]
    assert columns == ["place", "value", "limit", "margin", "verdict", "reason", "source"]
    texts = [[cell[0] for cell in row] for row in rows]
    assert texts[0] == ["P1", "3 1/h", "6 1/h", "3 1/h", "pass", "it starts less often", ""]
    assert texts[1][4:] == ["fail", "it <b>rests</b> too little", 'A "book" & more']
    assert "1 pass and 2 fail." in page.text
    assert [one.text for one in page.all("strong")] == ["fail", "fail"]


def to_fill_in(name: str = "sheet", title: str = "Readings of the day") -> Form:
    return Form(
        name=name,
        title=title,
        columns=("no", "reading", "expected", "unit", "read", "uncertainty", "how"),
        rows=(
            (1.0, "P1 alone: flow meter", 31.5, "L/s", None, 0.63, "mean of some seconds"),
            (2.0, "float: high acts", "yes", "yes/no", None, None, "lift it"),
            (3.0, "gauge", None, "kPa", None, None, ""),
        ),
        blank=("read", "uncertainty"),
        notes=("Fill it in.", "Nobody enters the well."),
        choices={"read": ((), ("yes", "no"), tuple("abcdef")), "unit": (("L/s", "gpm"), (), ())},
        room={"read": 14},
    )


def test_a_form_shows_its_cautions_and_a_line_below_it() -> None:
    made = replace(to_fill_in(), cautions=("Lock <out>.",), footer="Pumps & all start.")
    page = read(page_of(study(forms=lambda _system: [made]), "si"))
    told = [one.text for one in page.all("li")]
    assert told[:3] == ["Fill it in.", "Nobody enters the well.", "Lock <out>."]
    (below,) = [one.text for one in page.all("p") if one.attributes.get("class") == "below"]
    assert below == "Pumps & all start."


def test_forms_stand_before_the_tables_with_boxes_and_words_to_tick() -> None:
    asked = []

    def forms(system: str) -> list[Form]:
        asked.append(system)
        return [to_fill_in(), to_fill_in("log", "What happened")]

    page = read(page_of(study(forms=forms), "us"))
    assert not [one for one in page.all("p") if one.attributes.get("class") == "below"]
    assert asked == ["us"]
    heads = [head.text for head in page.all("h2")]
    assert heads.index("To fill in") == heads.index("Tables") - 1
    assert "The same stands in sheet.csv and log.csv, for a spreadsheet." in " ".join(
        page.text.split()
    )
    titles = [head.text for head in page.all("h3")]
    assert titles[:2] == ["Readings of the day", "What happened"]
    assert [one.text for one in page.all("li")][:2] == ["Fill it in.", "Nobody enters the well."]
    columns, rows = tables(page)["sheet, to fill in"]
    assert columns == ["no", "reading", "expected", "unit", "read", "uncertainty", "how"]
    assert [[cell[0].strip() for cell in row] for row in rows] == [
        ["1", "P1 alone: flow meter", "31.5", "L/s", "", "0.63", "mean of some seconds"],
        ["2", "float: high acts", "yes", "yes/no", "yes no", "", "lift it"],
        ["3", "gauge", "", "kPa", "", "", ""],
    ]
    (sheet, _other) = [one for one in page.all("table") if one.attributes["class"] == "sheet"]
    for row in sheet.one("tbody").all("tr"):
        laid = [cell.attributes["class"] for cell in row.all("th", "td")]
        assert laid == ["n", "t", "n", "s", "fill", "fill", "t"]
    ticks = [one.text for one in sheet.all("span") if one.attributes.get("class") == "tick"]
    assert ticks == ["yes", "no"]
    assert not sheet.all("button", "input")
    assert page.one("script").text.count("table.data") == 1  # its script leaves sheets alone


def test_a_page_without_forms_says_nothing_of_them() -> None:
    page = read(page_of(study()))
    assert "To fill in" not in page.text
    assert not [one for one in page.all("table") if one.attributes["class"] == "sheet"]
    assert not [one for one in page.all("section") if one.attributes.get("class") == "forms"]


def test_sheets_can_be_read_by_ear_and_need_nothing_but_the_page() -> None:
    text = page_of(study(forms=lambda _: [to_fill_in(), to_fill_in("log")]))
    page = read(text)
    test_a_page_needs_nothing_but_itself(text, page)
    marks = [node.attributes["id"] for node in page.all() if "id" in node.attributes]
    assert len(marks) == len(set(marks))
    for node in page.all("div"):
        if "aria-labelledby" in node.attributes:
            assert node.attributes["aria-labelledby"] in marks
    for table in page.all("table"):
        assert all(h.attributes.get("scope") == "col" for h in table.one("thead").all("th"))
        assert all(len(row.all("th")) == 1 for row in table.one("tbody").all("tr"))


def test_what_is_to_be_filled_in_shows_without_colour() -> None:
    look = read(page_of(study())).one("style").text
    (rule,) = re.findall(r"\n\.sheet td\.fill, \.sheet tbody th\.fill \{([^}]*)\}", look)
    assert "border: 2px solid var(--ink)" in rule
    assert "background" not in rule
    (tick,) = re.findall(r"\n\.tick::before \{([^}]*)\}", look)
    assert "border: 1.5px solid var(--ink)" in tick
    assert "thead { display: table-header-group; }" in look


def test_files_that_a_page_is_made_of_go_into_the_wheel() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    shipped = project["tool"]["setuptools"]["package-data"]["stationsim"]
    package = ROOT / "stationsim"
    files = [p for p in package.rglob("*") if p.is_file() and p.suffix not in (".py", ".pyc")]
    assert {"page.html.j2", "page.css", "page.js"} <= {path.name for path in files}
    for path in files:
        name = path.relative_to(package).as_posix()
        assert any(fnmatch.fnmatch(name, pattern) for pattern in shipped), name

"""The station sheet on paper: one page of A4 or letter, in letters of eight points or more.

Slow, and skipped where Chromium or poppler (Debian: ``chromium``, ``poppler-utils``) is missing.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pandas as pd
import pytest
from station_sheets import with_everything
from test_page_browser import chromium

from stationsim.forms import Form
from stationsim.pages import sheet_page_of, write_page
from stationsim.scenario.load import load
from stationsim.studies.rehearse.hours import HoursAsked
from stationsim.studies.rehearse.sheet import station_sheet
from stationsim.study_result import Source, StudyResult
from stationsim.units import System

SCENARIOS = Path(__file__).parents[1] / "scenarios"
NAMES = sorted(file.stem for file in SCENARIOS.glob("*.toml"))
TOOLS = ("chromium", "pdftohtml", "pdftotext", "pdfinfo")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not all(shutil.which(tool) for tool in TOOLS), reason="chromium or poppler is missing"
    ),
]


def printed(html: str, paper: str, folder: Path) -> Path:
    """Return a page as PDF on some paper."""
    page, pdf = folder / "sheet.html", folder / "sheet.pdf"
    sized = html.replace("@page { margin", f"@page {{ size: {paper}; margin")
    assert sized != html
    page.write_text(sized, encoding="utf-8")
    chromium(folder, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
    return pdf


def told_by(*words: str | Path) -> str:
    return subprocess.run(list(words), capture_output=True, text=True, check=True).stdout


def pages(pdf: Path) -> list[str]:
    """Return the text of each page of a PDF."""
    return told_by("pdftotext", "-layout", pdf, "-").removesuffix("\f").split("\f")


def smallest_points(pdf: Path) -> float:
    """Return the size of the smallest letters in a PDF; a printer's shrinking would show here."""
    found = told_by("pdftohtml", "-xml", "-stdout", "-i", "-zoom", "3", pdf)
    sizes = [int(size) / 3.0 for size in re.findall(r'<fontspec [^>]*size="(\d+)"', found)]
    assert sizes
    return min(sizes)


def sheet_of(
    name: str, system: System, *, everything: bool = False, asked: HoursAsked | None = None
) -> Form:
    loaded = load(SCENARIOS / f"{name}.toml")
    station, episode = loaded.station, loaded.episode
    if everything:
        station, episode = with_everything(station, episode)
    source = Source(name, loaded.digest, loaded.text)
    return station_sheet(station, episode, system, asked=asked, source=source)


def check(form: Form, paper: str, folder: Path) -> None:
    pdf = printed(sheet_page_of(form), paper, folder)
    (text,) = pages(pdf)
    assert "Hygiene" in text
    assert "23:00" in text
    assert smallest_points(pdf) >= 8.0
    wide = float(told_by("pdfinfo", pdf).split("Page size:")[1].split()[0])
    assert wide == pytest.approx({"A4": 595.0, "letter": 612.0}[paper], abs=1.0)


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_of_each_scenario_is_one_page(
    name: str, system: System, paper: str, tmp_path: Path
) -> None:
    check(sheet_of(name, system), paper, tmp_path)


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("system", ["si", "us"])
def test_so_is_that_of_a_station_with_everything(
    system: System, paper: str, tmp_path: Path
) -> None:
    check(sheet_of("osier-wharf", system, everything=True), paper, tmp_path)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_so_is_one_with_a_storm_after_the_cut_and_dark_upstream(paper: str, tmp_path: Path) -> None:
    asked = HoursAsked(storm_peak_s=5400.0, upstream=0.4, upstream_lag_s=1800.0)
    form = sheet_of("osier-wharf", "us", everything=True, asked=asked)
    check(form, paper, tmp_path)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_so_is_one_of_two_dates_of_a_weekday(paper: str, tmp_path: Path) -> None:
    asked = HoursAsked(days=("2027-04-07", "2027-04-14"))
    form = sheet_of("osier-wharf", "us", asked=asked)
    assert "2027-04-14 wet spill" in {row[2] for row in form.rows}
    check(form, paper, tmp_path)


@pytest.mark.parametrize("system", ["si", "us"])
def test_in_the_page_of_a_study_it_has_a_page_of_its_own(system: System, tmp_path: Path) -> None:
    form = sheet_of("osier-wharf", system, everything=True)
    result = StudyResult(
        study="rehearse",
        subject="Osier Wharf",
        tables={"hours": pd.DataFrame({"hour": range(24)})},
        tell=lambda _: ["It holds."],
        show=lambda _: [],
        forms=lambda _: [form],
    )
    page, pdf = write_page(result, tmp_path, system), tmp_path / "page.pdf"
    chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
    found = pages(pdf)
    (own,) = [text for text in found if "Station sheet for the night" in text]
    assert "Hygiene" in own
    assert "It holds." not in own
    assert "What made this page" not in own
    assert len(found) >= 3


def test_there_is_room_to_write(tmp_path: Path) -> None:
    # an entry by hand needs about five millimetres; a time to note down a little less
    pdf = printed(sheet_page_of(sheet_of("mill-reach", "si")), "A4", tmp_path)
    words = re.findall(
        r'yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)">(\w+),?<',
        told_by("pdftotext", "-bbox", pdf, "-"),
    )
    at = {word: float(low) for low, _high, word in words}
    rise_mm = (at["key"] - at["access"]) * 25.4 / 72.0
    assert rise_mm >= 5.0

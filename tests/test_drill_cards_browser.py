"""Cards on paper: whole cards, two on a page of A4 or letter, in letters that are read at a table.

Slow, and skipped where Chromium or poppler (Debian: ``chromium``, ``poppler-utils``) is missing.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from test_page_browser import chromium
from test_station_sheet_browser import SCENARIOS, TOOLS, pages, smallest_points, told_by

from stationsim.pages.cards import cards_page_of, key_page_of
from stationsim.scenario.load import load
from stationsim.studies.drill import said
from stationsim.studies.drill.cards.deck import Pack, cards
from stationsim.units import System

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not all(shutil.which(tool) for tool in TOOLS), reason="chromium or poppler is missing"
    ),
]
NAMES = (
    "reference-plan",
    "woad-quay",
    "hemp-staithe",
    "madder-holm",
    "heron-ditch",
    "kiln-staithe",
    "sedge-hythe",
)
A4_LETTER = {"A4": (595.0, 842.0), "letter": (612.0, 792.0)}


def made(name: str, system: System) -> Pack:
    loaded = load(SCENARIOS / f"{name}.toml")
    return cards(loaded.station, loaded.episode, system=system)


def printed(html: str, paper: str, folder: Path) -> Path:
    page, pdf = folder / "page.html", folder / "page.pdf"
    sized = html.replace("@page { margin", f"@page {{ size: {paper}; margin")
    assert sized != html
    page.write_text(sized, encoding="utf-8")
    chromium(folder, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
    size = told_by("pdfinfo", pdf).split("Page size:")[1].split()
    assert (float(size[0]), float(size[2])) == pytest.approx(A4_LETTER[paper], abs=1.0)
    return pdf


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("name", NAMES)
def test_every_card_is_whole_and_its_caution_with_it(
    name: str, system: System, paper: str, tmp_path: Path
) -> None:
    result = made(name, system)
    pdf = printed(cards_page_of(result.cards), paper, tmp_path)
    sheet, *rest = pages(pdf)
    assert "Objectives" in sheet
    assert "Report a spill" in sheet  # all of the sheet is on its page
    found = []
    for text in rest:
        heads = re.findall(r"^ *Card (\w+) ", text, re.MULTILINE)
        assert 1 <= len(heads) <= 2
        assert text.count("We decide") == len(heads)
        assert text.count(said.CARD_CAUTION) == len(heads)
        assert text.count("Decide") == len(heads)
        found += heads
    assert found == list(result.cards.tables["cards"].card)
    assert len(rest) == (len(found) + 1) // 2  # two on each page
    assert smallest_points(pdf) >= 9.9


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_key_prints_whole(paper: str, tmp_path: Path) -> None:
    result = made("woad-quay", "si")
    pdf = printed(key_page_of(result.cards, result.key), paper, tmp_path)
    text = "".join(pages(pdf))
    assert re.findall(r"^ *Card (\w+) ", text, re.MULTILINE) == list(
        result.cards.tables["cards"].card
    )
    assert text.count("Truth") == len(result.cards.tables["cards"])
    assert "By when" in pages(pdf)[-1]


def test_all_is_black_on_white(tmp_path: Path) -> None:
    # states are told by words: a copier that knows no colours loses nothing
    result = made("woad-quay", "si")
    for html in (cards_page_of(result.cards), key_page_of(result.cards, result.key)):
        assert set(re.findall(r"#[0-9a-fA-F]{6}", html)) == {"#000000", "#ffffff"}

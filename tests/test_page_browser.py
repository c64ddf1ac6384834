"""Pages in a browser (Debian's package ``chromium``): what it shows, sorts and prints.

Slow, and skipped where there is no Chromium. A page is looked at as it is, or as a copy without its
policy and with a few lines of script of our own, which measure it and write what they find.
"""

from __future__ import annotations

import dataclasses
import json
import re
import shutil
import subprocess
from pathlib import Path

import matplotlib.image as mpimg
import pandas as pd
import pytest
from page_reading import read, tables

from stationsim.forms import Form
from stationsim.pages import write_page
from stationsim.results import Result
from stationsim.scenario.load import load
from stationsim.simulation.session import simulate
from stationsim.studies.rehearse.hours import HoursAsked, rehearse
from stationsim.study_result import StudyResult

SCENARIOS = Path(__file__).parents[1] / "scenarios"
CHROMIUM = shutil.which("chromium")
OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--hide-scrollbars", "--virtual-time-budget=5000",
)  # fmt: skip
POLICY = re.compile(r"<meta http-equiv=.Content-Security-Policy[^>]*>")

pytestmark = pytest.mark.slow
browser = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")


@pytest.fixture(scope="module")
def week() -> Result:
    loaded = load(SCENARIOS / "alder-lane.toml")
    result = simulate(loaded.station, loaded.episode)
    result.text, result.digest = loaded.text, loaded.digest
    return result


@pytest.fixture(scope="module")
def page(week: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_page(week, tmp_path_factory.mktemp("week"))


def chromium(folder: Path, *words: str) -> str:
    """Run Chromium with a profile of its own; return what it prints."""
    assert CHROMIUM is not None
    done = subprocess.run(
        [CHROMIUM, *OPTIONS, f"--user-data-dir={folder / 'profile'}", *words],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return done.stdout


def measured(page: Path, folder: Path, script: str, change: tuple[str, str] = ("", "")) -> object:
    """Return what a script finds in a copy of a page, 390 pixels wide, with all tables open."""
    text = POLICY.sub("", page.read_text(encoding="utf-8")).replace(*change)
    text = text.replace("<details", "<details open").replace("open open", "open")
    ours = (
        f"<script>parent.postMessage(JSON.stringify((function () {{{script}}})()), '*');</script>"
    )
    (folder / "copy.html").write_text(text.replace("</body>", f"{ours}</body>"), encoding="utf-8")
    (folder / "around.html").write_text(
        "<!DOCTYPE html><body><p id=found></p><script>addEventListener('message', function (e) {"
        " document.getElementById('found').textContent = e.data; });</script>"
        "<iframe src=copy.html style='width:390px;height:844px;border:0'></iframe></body>",
        encoding="utf-8",
    )
    told = chromium(folder, "--dump-dom", (folder / "around.html").as_uri())
    found = next(p for p in read_loosely(told) if p)
    return json.loads(found)


def read_loosely(text: str) -> list[str]:
    from html import unescape

    return [unescape(found) for found in re.findall(r'<p id="found">(.*?)</p>', text, re.DOTALL)]


@browser
def test_its_own_script_runs_under_its_policy_and_no_other(page: Path, tmp_path: Path) -> None:
    shown = read(chromium(tmp_path, "--dump-dom", page.as_uri()))
    heads = [head for table in shown.all("table") for head in table.one("thead").all("th")]
    assert len(heads) > 50
    assert all(head.one("button").text == head.text for head in heads)
    (tmp_path / "more.html").write_text(
        page.read_text(encoding="utf-8").replace(
            "</body>", "<script>document.title = 'taken'</script><img src=x onerror="
            "\"document.title = 'taken'\"></body>"
        ),
        encoding="utf-8",
    )  # fmt: skip
    told = chromium(tmp_path, "--dump-dom", (tmp_path / "more.html").as_uri())
    assert "<title>Alder Lane: a wet week</title>" in told


@browser
def test_a_phone_scrolls_tables_in_their_own_box_and_not_the_page(
    page: Path, tmp_path: Path
) -> None:
    script = """
      var wide = 0;
      document.querySelectorAll('.scroll, .plot').forEach(function (box) {
        wide += box.scrollWidth > box.clientWidth + 1 ? 1 : 0; });
      return [innerWidth, document.scrollingElement.scrollWidth, wide];"""
    inner, scroll, wide = measured(page, tmp_path, script)  # type: ignore[misc]
    assert (inner, scroll) == (390, 390)
    assert wide > 5


@browser
@pytest.mark.parametrize(("paper", "millimetres"), [("A4", 210), ("Letter", 215.9)])
def test_no_table_or_plot_is_wider_than_the_paper(
    page: Path, tmp_path: Path, paper: str, millimetres: float
) -> None:
    # the rules for paper, on a body as wide as what the margins leave
    script = f"""
      document.body.style.width = '{millimetres - 28.0}mm';
      var most = document.body.getBoundingClientRect().right, over = [];
      document.querySelectorAll('table, pre, svg, img, p, dl').forEach(function (one) {{
        var right = one.getBoundingClientRect().right;
        if (right > most + 1) {{ over.push(one.outerHTML.slice(0, 80)); }}
      }});
      var copy = getComputedStyle(document.querySelector('button.copy')).display;
      return [over, copy, document.querySelectorAll('table').length];"""
    over, copy, count = measured(page, tmp_path, script, ("@media print", "@media all"))  # type: ignore[misc]
    assert over == [], paper
    assert copy == "none"
    assert count >= 7


@browser
def test_it_prints(page: Path, tmp_path: Path) -> None:
    chromium(tmp_path, f"--print-to-pdf={tmp_path / 'page.pdf'}", page.as_uri())
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")
    assert 100_000 < (tmp_path / "page.pdf").stat().st_size < 8_000_000


@browser
def test_tables_are_sorted_by_all_their_digits_and_copied_in_that_order(
    page: Path, tmp_path: Path
) -> None:
    script = """
      var copied = '';
      Object.defineProperty(navigator, 'clipboard', { value: { writeText: function (text) {
        copied = text; return Promise.resolve(); } } });
      var table = Array.prototype.find.call(document.querySelectorAll('table'), function (one) {
        return one.caption.textContent === 'pump_runs'; });
      var heads = table.tHead.rows[0].cells, at = {};
      Array.prototype.forEach.call(heads, function (head, n) { at[head.textContent] = n; });
      function column(name) {
        return Array.prototype.map.call(table.tBodies[0].rows, function (row) {
          var cell = row.cells[at[name]];
          return cell.getAttribute('data-v') || cell.textContent; }); }
      function press(name) { heads[at[name]].querySelector('button').click(); }
      press('volume_m3'); var up = column('volume_m3');
      var told = heads[at['volume_m3']].getAttribute('aria-sort');
      press('volume_m3'); var down = column('volume_m3');
      press('role'); var roles = column('role'), stable = column('volume_m3');
      table.parentNode.parentNode.querySelector('button.copy').click();
      return [up, told, down, roles, stable, copied];"""
    up, told, down, roles, stable, copied = measured(page, tmp_path, script)  # type: ignore[misc]
    columns, rows = tables(read(page.read_text(encoding="utf-8")))["pump_runs"]
    volume, role = columns.index("volume_m3"), columns.index("role")
    byvolume = sorted(rows, key=lambda row: float(row[volume][1]))
    assert up == [row[volume][1] for row in byvolume]
    assert told == "ascending"
    falling = sorted(rows, key=lambda row: -float(row[volume][1]))
    assert [float(one) for one in down] == [float(row[volume][1]) for row in falling]
    by_role = sorted(falling, key=lambda row: row[role][1])
    assert roles == [row[role][1] for row in by_role]
    assert [float(one) for one in stable] == [float(row[volume][1]) for row in by_role]
    lines = copied.splitlines()
    assert lines[0].split("\t") == columns
    assert [line.split("\t")[role] for line in lines[1:]] == roles


@browser
@pytest.mark.parametrize(("scheme", "dark"), [(0, True), (1, False)])
def test_dark_and_light_follow_the_reader_and_plots_stay_on_white(
    page: Path, tmp_path: Path, scheme: int, dark: bool
) -> None:
    file = tmp_path / "page.png"
    setting = f"--blink-settings=preferredColorScheme={scheme}"
    chromium(tmp_path, setting, "--window-size=1280,1400", f"--screenshot={file}", page.as_uri())
    image = mpimg.imread(file)[..., :3]
    assert (image[5, 5].mean() < 0.2) == dark
    assert image[700:1300, 90:110].mean() > 0.95  # left margin of the first plot


def test_the_page_of_a_week_is_small(page: Path) -> None:
    assert 100_000 < page.stat().st_size < 2_000_000


def test_the_page_of_a_year_is_not_much_larger(tmp_path: Path) -> None:
    loaded = load(SCENARIOS / "quarry-row-us.toml")
    result = simulate(loaded.station, loaded.episode)
    file = write_page(result, tmp_path, loaded.system)
    assert file.stat().st_size < 2_500_000
    page = read(file.read_text(encoding="utf-8"))
    for _columns, rows in tables(page).values():
        assert len(rows) <= 400
    assert f"All {len(result.pump_runs):,} stand in pump_runs.csv." in page.text


def test_the_page_of_a_table_by_hour_is_small(tmp_path: Path) -> None:
    loaded = load(SCENARIOS / "mill-reach-rain.toml")
    found = rehearse([("mill-reach-rain", loaded.station, loaded.episode)], HoursAsked(), [])
    file = write_page(found, tmp_path)
    assert file.stat().st_size < 1_000_000
    assert len(tables(read(file.read_text(encoding="utf-8")))["hours"][1]) == 96


def sheets(rows: int = 60) -> StudyResult:
    made = Form(
        name="sheet",
        title="Readings of the day",
        columns=("no", "reading", "expected", "low", "high", "unit", "read", "uncertainty", "note",
                 "how"),
        rows=tuple(
            (float(n), f"P1 alone: gauge on the header at {n / 10:.2f} m", 497.5, 470.1, 524.8,
             "m above floor", None, 3.0, None, "mean of the swing of the needle, by two people")
            for n in range(1, rows + 1)
        ),
        blank=("read", "uncertainty", "note"),
        notes=("Fill it in.",) * 8,
        choices={"read": ((),) * (rows - 1) + (("yes", "no"),)},
        room={"read": 14, "uncertainty": 10, "note": 26},
    )  # fmt: skip
    return StudyResult(
        study="acceptance",
        subject="Mill Reach",
        tables={"hours": pd.DataFrame({"hour": range(24)})},
        tell=lambda _: ["It should give 31.5 L/s."],
        show=lambda _: [],
        forms=lambda _: [made, dataclasses.replace(made, name="other")],
    )


@browser
@pytest.mark.parametrize(("paper", "millimetres"), [("A4", 297), ("Letter", 279.4)])
def test_a_sheet_to_fill_in_fits_the_paper_laid_across_with_room_to_write(
    tmp_path: Path, paper: str, millimetres: float
) -> None:
    file = write_page(sheets(), tmp_path)
    script = f"""
      document.body.style.width = '{millimetres - 24.0}mm';
      var most = document.body.getBoundingClientRect().right, over = [], least = [1e9, 1e9];
      document.querySelectorAll('table.sheet').forEach(function (one) {{
        if (one.getBoundingClientRect().right > most + 1) {{ over.push(one.caption.textContent); }}
        Array.prototype.forEach.call(one.tBodies[0].rows, function (row) {{
          var box = row.cells[6].getBoundingClientRect(), mm = 25.4 / 96;
          least = [Math.min(least[0], box.width * mm), Math.min(least[1], box.height * mm)];
        }});
      }});
      var size = parseFloat(getComputedStyle(document.querySelector('table.sheet')).fontSize);
      return [over, least[0], least[1], size * 0.75,
              document.querySelectorAll('table.sheet button').length];"""
    over, wide, high, points, buttons = measured(  # type: ignore[misc]
        file, tmp_path, script, ("@media print", "@media all")
    )
    assert over == [], paper
    assert wide >= 16.0
    assert high >= 8.0
    assert points >= 6.4
    assert buttons == 0


@browser
def test_a_phone_scrolls_a_sheet_in_its_own_box(tmp_path: Path) -> None:
    script = """
      var box = document.querySelector('.forms .scroll');
      return [innerWidth, document.scrollingElement.scrollWidth,
              box.scrollWidth > box.clientWidth];"""
    found = measured(write_page(sheets(), tmp_path), tmp_path, script)
    assert found == [390, 390, True]


@browser
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_a_sheet_that_breaks_over_pages_has_its_names_on_each_of_them(tmp_path: Path) -> None:
    file = write_page(sheets(), tmp_path)
    pdf = tmp_path / "page.pdf"
    chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", file.as_uri())
    text = subprocess.run(
        ["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    pages = text.rstrip("\f").split("\f")
    with_rows = [page for page in pages if "gauge on the header" in page]
    assert len(with_rows) >= 4
    for page in with_rows:
        assert len(re.findall(r"reading +expected +low +high +unit +read", page)) == 1
    assert "To fill in" in with_rows[0]
    assert sum("date" in page and "checked by" in page for page in with_rows) == 2
    # each of the sheets begins on a page of its own, and so does what follows
    assert "What came of it" not in with_rows[0]
    assert "Cautions" not in with_rows[-1]
    for n, page in enumerate(pages, 1):
        if page in with_rows:
            assert f"{n} of {len(pages)}" in page

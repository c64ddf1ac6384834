"""No text of a scenario becomes markup, script or style on a page, wherever it stands."""

from __future__ import annotations

import dataclasses
import re
from functools import cache
from pathlib import Path

import pandas as pd
import pytest
from matplotlib.figure import Figure
from page_reading import Node, read

from stationsim import Result, load_scenario, simulate
from stationsim.forms import Form
from stationsim.pages import page_of, pictures
from stationsim.plots import style
from stationsim.study_result import Source, StudyResult

SCENARIO = Path(__file__).parents[1] / "scenarios" / "reference-station.toml"
HOSTILE = (
    "</svg><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</title></style></pre><script>alert(1)</script>",
    "--><script>alert(1)</script><!--",
    "'; alert(1); // {{ 7 * 7 }} {% raw %}",
    "&lt;b&gt; &amp; ]]> $\\frac$ url(http://x.example/a)",
    "javascript:alert(1) @import 'http://x.example'",
)
_ELEMENTS = (
    "html head meta title style body header main section h1 h2 h3 p div span figure svg g defs path"
    " use clippath rect pattern img details summary table caption thead tbody tr th td wbr dl dt dd"
    " ul li pre script"
)
ELEMENTS = set(_ELEMENTS.split())


def harmless(page: Node) -> None:
    """Check that a page holds only elements of its own, one script, and nothing that acts."""
    for node in page.all():
        assert node.tag in ELEMENTS, node.tag
        for name, value in node.attributes.items():
            assert not name.startswith("on"), (node.tag, name)
            if name in ("src", "href"):
                assert value.startswith(("#", "data:image/png;base64,")), value
            if name in ("style", "clip-path", "fill"):
                assert not re.search(r"url\((?!#p\d)", value), value
    assert "alert" not in page.one("script").text
    assert "alert" not in page.one("style").text


@cache
def dressed(name: str) -> Result:
    """Return a run with a hostile text in every place that takes text."""
    station, episode = load_scenario(
        SCENARIO, sets=['episode.duration="3 h"'], events=["01:00 grid loss for 30 min"]
    )
    pumps = (dataclasses.replace(station.pumps[0], name=name[:24]), *station.pumps[1:])
    station = dataclasses.replace(station, name=name, pumps=pumps)
    found = simulate(station, dataclasses.replace(episode, name=name))
    trace = found.trace
    trace.events[0] = trace.events[0]._replace(detail=name, cause=name, subject=name)
    found.text = f"title = '''{name}'''\n# {name}\n"
    found.digest = name
    return found


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_of_a_run_stay_text(name: str) -> None:
    result = dressed(name)
    page = read(page_of(result, figures={}, warnings=[name], notes=[name]))
    harmless(page)
    assert page.one("h1").text == page.one("title").text == name
    assert page.all("pre")[-1].text.strip() == result.text.strip()
    assert name in [one.text for one in page.all("li")]
    cells = [one.text for one in page.all("th", "td")]
    assert name in cells  # subject and cause of an event
    assert any(one.startswith(f"{name}; level ") for one in cells)
    assert name[:24].strip() in [one.strip() for one in cells]
    assert "49" not in page.one("h1").text


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_in_plots_stay_text(name: str) -> None:
    from stationsim.plots import curves_figure

    drawn = pictures.picture(curves_figure(dressed(name)), "curves", 1)
    page = read(f"<!DOCTYPE html><script></script><style></style>{drawn}")
    harmless(page)
    assert page.one("svg").attributes["aria-label"].startswith(f"Plot. {name}: ")


def test_a_whole_page_with_hostile_names_is_well_formed() -> None:
    name = f"{HOSTILE[0]} and $\\frac$, which is no formula"
    page = read(page_of(dressed(name)))
    harmless(page)
    said = [one.attributes["aria-label"] for one in page.all("svg")]
    assert len(said) >= 4
    assert all(one.startswith(f"Plot. {name}: ") for one in said)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_texts_of_a_study_stay_text(name: str) -> None:
    result = StudyResult(
        study=name,
        subject=name,
        tables={name: pd.DataFrame({name: [name], "hour": [1]})},
        tell=lambda _: [name],
        show=lambda _: [name],
        asked={name: name},
        sources=(Source(name, name, name, warnings=(name,)),),
    )
    page = read(page_of(result))
    harmless(page)
    assert page.one("h1").text == f"{name}: {name}"
    assert [one.text for one in page.one("thead").all("th")] == [name, "hour"]
    assert page.one("caption").text == name
    assert [one.text.strip() for one in page.all("pre")] == [name.strip()] * 2


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_texts_of_a_form_stay_text(name: str) -> None:
    made = Form(
        name="sheet",
        title=name,
        columns=("no", name, "read"),
        rows=((1.0, name, None), (2.0, name, name)),
        blank=("read",),
        notes=(name,),
        choices={"read": ((name[:8], "no"), ())},
    )
    page = read(
        page_of(
            StudyResult(
                study="acceptance",
                subject="Mill Reach",
                tables={},
                tell=lambda _: [],
                show=lambda _: [],
                forms=lambda _: [made],
            )
        )
    )
    harmless(page)
    sheet = page.one("table")
    assert [head.text for head in sheet.one("thead").all("th")] == ["no", name, "read"]
    assert [one.text.strip() for one in sheet.one("tbody").all("td")][:1] == [name.strip()]
    assert sheet.one("tbody").all("td")[-1].text.strip() == name.strip()
    assert [one.text for one in sheet.all("span")] == [name[:8], "no"]
    assert [one.text for one in page.all("li")] == [name]
    assert page.all("h3")[0].text == name


def figure(text: str = "a title") -> Figure:
    with style.styled():
        made = style.new_figure(4.0, 3.0)
        style.head(made, text, "to know")
        made.add_axes((0.2, 0.2, 0.6, 0.5)).plot([0, 1], [0, 1], label="line")
    return made


MALICIOUS = b"""<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
 onload="alert(1)" viewBox="0 0 1 1" width="9">
<!-- --><script>alert(1)</script><style>*{fill:url(http://x.example)}</style>
<a xlink:href="http://x.example"><path d="M 0 0"/></a>
<foreignObject><body xmlns="http://www.w3.org/1999/xhtml">x</body></foreignObject>
<defs><clipPath id="c"><rect width="1" height="1"/></clipPath></defs>
<path d="M 0.123456 1" onclick="alert(1)" style="fill: url(http://x.example)" class="k"/>
<path d="M 2 2" clip-path="url(#c)" style="fill: url(#c), url( http://x.example )"/>
<path d="M 3 3" style="background: u\\72l(//x.example)" id="unused"/>
<image xlink:href="http://x.example/a.png"/><image xlink:href="data:text/html,x"/>
<use xlink:href="#c"/><text x="1">a &lt;b&gt;</text>
</svg>"""


def test_only_what_draws_is_taken_from_an_svg(monkeypatch: pytest.MonkeyPatch) -> None:
    made = figure()

    def savefig(file: object, **_: object) -> None:
        file.write(MALICIOUS)  # type: ignore[attr-defined]

    monkeypatch.setattr(made, "savefig", savefig)
    drawn = pictures.picture(made, "levels", 7)
    svg = read(f"<!DOCTYPE html>{drawn}").one("svg")
    assert "x.example" not in drawn
    assert "alert" not in drawn
    assert [one.tag for one in svg.all()] == [
        "defs", "clippath", "rect", "path", "path", "path", "image", "image", "use", "text",
    ]  # fmt: skip
    assert svg.all("path")[0].attributes == {"d": "M 0.12 1"}
    assert svg.all("path")[1].attributes == {"d": "M 2 2", "clip-path": "url(#p7-c)"}
    assert svg.all("path")[2].attributes == {"d": "M 3 3"}
    assert all(one.attributes == {} for one in svg.all("image"))
    assert svg.one("use").attributes["href"] == "#p7-c"
    assert svg.one("clippath").attributes["id"] == "p7-c"
    assert svg.one("text").text == "a <b>"


def test_a_figure_that_is_large_or_cannot_be_svg_is_laid_in_as_png(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import base64

    def png(drawn: str) -> bytes:
        image = read(f"<!DOCTYPE html>{drawn}").one("img")
        assert image.attributes["alt"].startswith("Plot. a ")
        head, _, data = image.attributes["src"].partition(",")
        assert head == "data:image/png;base64"
        return base64.b64decode(data)

    monkeypatch.setattr(pictures, "MOST_SVG_BYTES", 1000)
    assert png(pictures.picture(figure(), "x", 1)).startswith(b"\x89PNG")
    monkeypatch.undo()
    assert pictures.picture(figure(), "x", 1).startswith("<svg ")


def test_words_for_a_figure_are_its_title_its_kind_and_how_to_read_it() -> None:
    assert pictures.alt_text(figure("Mill: <b>"), "time_to_spill") == (
        "Plot. Mill: <b>. A line of the minutes to a spill over time. to know"
    )
    bare = Figure()
    assert pictures.alt_text(bare, "some_plot") == "Plot. some plot."
    bare.suptitle("Above all")
    assert pictures.alt_text(bare, "some_plot") == "Plot. Above all."

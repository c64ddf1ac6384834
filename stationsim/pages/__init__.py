"""Pages: what a run or a study came to, on one HTML page that needs nothing but itself.

Sentences first, then plots, then sheets to fill in if there are any, then tables, then the scenario
as run, cautions, and what made it. The page is a document: it is read on a desk, on a phone and on
paper. It loads nothing, and a policy inside it forbids the browser to. Its only script, which sorts
and copies tables, holds no text of a scenario; without it the page says the same.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stationsim.pages.blanks import sheet_of
from stationsim.pages.grids import findings_grid, grid
from stationsim.pages.layouts import template
from stationsim.pages.pictures import picture
from stationsim.results import Result
from stationsim.study_result import StudyResult
from stationsim.units import show
from stationsim.wording import date_of, day_of, listed

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from stationsim.findings import Finding
    from stationsim.forms import Form
    from stationsim.units import System

__all__ = ["NAME", "page_of", "sheet_page_of", "write_page", "write_sheets"]

NAME = "page.html"
"""Name of the file in a folder of results."""

_ORDER = ("pump_totals", "alarms", "spills", "power", "summary", "events", "pump_runs", "levels")
"""The tables of a run in the order in which somebody asks; the others follow."""


@dataclass(frozen=True)
class _Sheet:
    """What stands on a page, before it is markup.

    Parameters
    ----------
    title, about
        What it is about: in a few words, and in a line below.
    said, lines
        The sentences, and the lines for the screen.
    draw
        The figures by name.
    findings
        What was judged.
    forms
        What is to be filled in by hand.
    tables
        The tables by name.
    scenarios
        Name and text of each scenario as run.
    warnings
        What practice would advise against.
    facts
        What made it: name and value.
    caution, cautions
        What stands beside every result, and what can hurt in the work that it guides.
    """

    title: str
    about: str
    said: Sequence[str]
    lines: Sequence[str]
    draw: Mapping[str, Callable[[], Figure]]
    findings: Sequence[Finding]
    forms: Sequence[Form]
    tables: Mapping[str, pd.DataFrame]
    scenarios: Sequence[tuple[str, str]]
    warnings: Sequence[str]
    facts: Sequence[tuple[str, str]]
    caution: str
    cautions: Sequence[str] = ()


def page_of(
    result: Result | StudyResult,
    system: System = "si",
    *,
    figures: Mapping[str, Figure] | None = None,
    warnings: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> str:
    """Return a run or a study as one HTML page that needs nothing but itself.

    Parameters
    ----------
    result
        What came of it.
    system
        ``si`` or ``us``: units of sentences, plots and forms; tables are always in SI.
    figures
        Its plots, when they are drawn already; none when empty.
    warnings
        What practice would advise against in the scenario of a run; a study has its own.
    notes
        What else was noted when the scenario of a run was read.
    """
    from markupsafe import Markup

    if isinstance(result, StudyResult):
        sheet = _of_study(result, system)
    else:
        sheet = _of_run(result, system, warnings, notes)
    if figures is None:
        figures = {name: draw() for name, draw in sheet.draw.items()}
    pictures = [
        Markup(picture(figure, name, number))  # noqa: S704 - written anew, see there
        for number, (name, figure) in enumerate(figures.items(), 1)
    ]
    grids = [grid(name, table) for name, table in sheet.tables.items()]
    lists = [sheet_of(form) for form in sheet.forms if not form.parts]
    text = template().render(
        sheet=sheet,
        pictures=pictures,
        listed=lists,
        in_one=[sheet_of(form) for form in sheet.forms if form.parts],
        files=listed([f"{form.name}.csv" for form in lists]) if lists else "",
        criteria=findings_grid(sheet.findings) if sheet.findings else None,
        grids=[one for one in grids if one.rows],
        empty=[one.name for one in grids if not one.rows],
        widest=max((len(line) for line in sheet.lines), default=0),
    )
    return f"{text.rstrip()}\n"


def write_page(
    result: Result | StudyResult,
    folder: Path,
    system: System = "si",
    *,
    figures: Mapping[str, Figure] | None = None,
    warnings: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> Path:
    """Write the page of a run or a study into a folder; return the file.

    Parameters
    ----------
    result
        What came of it.
    folder
        An existing folder.
    system, figures, warnings, notes
        As in :func:`page_of`.
    """
    file = folder / NAME
    text = page_of(result, system, figures=figures, warnings=warnings, notes=notes)
    file.write_text(text, encoding="utf-8", newline="\n")
    return file


def sheet_page_of(form: Form) -> str:
    """Return a form in parts as a page of its own: one sheet of A4 or letter paper when printed.

    Parameters
    ----------
    form
        A form in parts.

    Raises
    ------
    ValueError
        When the form is not in parts; whoever asked is to mend it.
    """
    if not form.parts:
        raise ValueError(f"{form.name}: a form that is not in parts has no page of its own")
    return f"{template('sheet.html.j2').render(form=sheet_of(form)).rstrip()}\n"


def write_sheets(forms: Sequence[Form], folder: Path) -> list[Path]:
    """Write each form that is in parts as a page of its own into a folder; return the files.

    Parameters
    ----------
    forms
        Forms of a study; those that are not in parts are passed over.
    folder
        An existing folder.
    """
    files = []
    for form in forms:
        if form.parts:
            file = folder / f"{form.name}.html"
            file.write_text(sheet_page_of(form), encoding="utf-8", newline="\n")
            files.append(file)
    return files


def _of_run(
    result: Result, system: System, warnings: Sequence[str], notes: Sequence[str]
) -> _Sheet:
    from stationsim.plots import figures_of

    station, episode, trace = result.station, result.episode, result.trace
    begin = episode.start
    lasted = show(trace.end_s, "duration", "si")
    made = result.manifest()
    tables = result.tables
    order = [name for name in _ORDER if name in tables]
    order += [name for name in tables if name not in order]
    facts = [
        ("made by", f"{made['made_by']} {made['version']}"),
        ("station", station.name),
        ("episode", episode.name),
        ("start", f"{made['start']}, local time"),
        ("duration", lasted),
        ("water balance", f"{trace.balance_error:.2g} of the volume handled is left open"),
        ("digest of the scenario", result.digest or "none: set up in Python"),
        ("seed", str(episode.seed)),
        *(("note", note) for note in notes),
    ]
    return _Sheet(
        title=_title(result.text) or station.name,
        about=f"A run of {lasted} from {day_of(begin)} {date_of(begin)} {begin.year}"
        f" {begin:%H:%M}, local time.",
        said=result.sentences(system),
        lines=(),
        draw={name: partial(draw, result, system) for name, draw in figures_of(result).items()},
        findings=(),
        forms=(),
        tables={name: tables[name] for name in order},
        scenarios=[(episode.name, result.text)] if result.text else [],
        warnings=warnings,
        facts=facts,
        caution=result.caution,
    )


def _of_study(result: StudyResult, system: System) -> _Sheet:
    made = result.manifest()
    facts = [("made by", f"{made['made_by']} {made['version']}"), ("study", result.study)]
    facts += [(name, _plain(value)) for name, value in made["asked"].items()]
    facts += [(f"digest of {s.name}", s.digest or "none: set up in Python") for s in result.sources]
    of = f" of {listed([source.name for source in result.sources])}" if result.sources else ""
    return _Sheet(
        title=f"{result.subject}: {result.study}",
        about=f"stationsim {result.study}{of}.",
        said=result.sentences(system),
        lines=result.lines(system),
        draw={name: partial(draw, system) for name, draw in result.draw.items()},
        findings=result.findings,
        forms=result.to_fill_in(system),
        tables=result.tables,
        scenarios=[(source.name, source.text) for source in result.sources if source.text],
        warnings=made["warnings"],
        facts=facts,
        caution=result.caution,
        cautions=result.cautions,
    )


def _title(text: str) -> str:
    """Return the title that a scenario gives itself; empty when it gives none."""
    try:
        found = tomllib.loads(text).get("title", "")
    except tomllib.TOMLDecodeError:
        return ""
    return found.strip() if isinstance(found, str) else ""


def _plain(value: Any) -> str:
    """Return a setting of a study as text."""
    if isinstance(value, str):
        return value or "none"
    if value is None or value in ([], (), {}):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        each = [
            f"{name} ({_plain(one)})" if isinstance(one, Mapping) else f"{name}: {_plain(one)}"
            for name, one in value.items()
        ]
        return "; ".join(each)
    if isinstance(value, list | tuple):
        return ", ".join(_plain(one) for one in value)
    return str(value)

"""What commands share: options, what is checked before anything runs, how a study is written."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

if TYPE_CHECKING:
    from stationsim.forms import Form
    from stationsim.scenario.load import Loaded
    from stationsim.study_result import Source, StudyResult
    from stationsim.units import System

_Command = TypeVar("_Command", bound=Callable[..., Any])

SET = click.option(
    "--set",
    "sets",
    multiple=True,
    metavar="KEY=VALUE",
    help="Change a value of the scenario, by its dotted path. May be given several times.",
)
EVENT = click.option(
    "--event",
    "events",
    multiple=True,
    metavar="TEXT",
    help="Add an event to the episode. May be given several times.",
)
RAIN = click.option(
    "--rain",
    "rains",
    multiple=True,
    metavar="TEXT",
    help="Add even rain: DEPTH in DURATION from CLOCK. May be given several times.",
)
FORMAT = click.option(
    "--format",
    "formats",
    default="csv",
    show_default=True,
    metavar="LIST",
    help="Formats of the tables, of csv, parquet and xlsx, with commas; csv is always written.",
)
NO_PLOTS = click.option("--no-plots", is_flag=True, help="Write no plots.")
PAGE = click.option("--page", is_flag=True, help="Write a page to read and print: page.html.")
FORCE = click.option("--force", is_flag=True, help="Replace earlier results in the same folder.")
QUIET = click.option("--quiet", is_flag=True, help="Print nothing but errors.")

WRITING = (
    click.option("--out", type=click.Path(path_type=Path), help="Folder of the results."),
    click.option(
        "--units",
        type=click.Choice(["si", "us"]),
        help="Units of text and plots; tables are always in SI.  [default: those of the file]",
    ),
    FORMAT,
    NO_PLOTS,
    PAGE,
    FORCE,
    QUIET,
)
"""Options of what a study writes."""


def study_options(*, events: bool = True) -> Callable[[_Command], _Command]:
    """Return a decorator that adds the options that every study has.

    Parameters
    ----------
    events
        False for a study for which ``--event`` means nothing.
    """

    def add(command: _Command) -> _Command:
        changes = (SET, EVENT, RAIN) if events else (SET, RAIN)
        for option in reversed((*changes, *WRITING)):
            command = option(command)
        return command

    return add


@dataclass(frozen=True)
class Writing:
    """Where and how a study is written, checked before anything runs.

    Parameters
    ----------
    folder
        Folder of the results; None when nothing is written.
    formats
        Formats of the tables.
    units
        Units of text and plots; empty for those of the first file.
    plots, force, quiet, page
        Whether to draw, to replace, to print nothing, to write a page.
    """

    folder: Path | None
    formats: tuple[str, ...]
    units: str
    plots: bool
    force: bool
    quiet: bool
    page: bool = False

    def system(self, loaded: Loaded) -> System:
        """Return the units of text and plots.

        Parameters
        ----------
        loaded
            The first scenario.
        """
        return cast("System", self.units or loaded.system)


def prepare(
    files: Sequence[Path],
    folder: Path | None,
    options: dict[str, Any],
    problems: Sequence[str] = (),
) -> tuple[list[Loaded], Writing]:
    """Return the scenarios and how to write; everything that is wrong is told at once.

    Parameters
    ----------
    files
        The scenario files.
    folder
        Where the results go when ``--out`` is not given; None to write nothing then.
    options
        The options of :func:`study_options`, by name.
    problems
        What was found to be wrong already.

    Raises
    ------
    InputError
        When anything is wrong; nothing has run and nothing was written by then.
    """
    from stationsim.errors import InputError
    from stationsim.saving import check_folder, check_formats
    from stationsim.scenario.load import load

    told = list(problems)
    found: list[Loaded] = []
    for file in files:
        try:
            found.append(
                load(
                    file,
                    sets=options.get("sets", ()),
                    events=options.get("events", ()),
                    rains=options.get("rains", ()),
                    seed=options.get("seed"),
                )
            )
        except InputError as error:
            told.append(str(error))
    formats: tuple[str, ...] = ()
    target = options["out"] if options["out"] is not None else folder
    try:
        formats = check_formats([name.strip() for name in options["formats"].split(",")])
    except InputError as error:
        told.append(str(error))
    if target is None and options["page"]:
        told.append("--page: without a folder there is no place for a page; add --out DIR")
    if target is not None:
        try:
            check_folder(target, force=options["force"])
        except InputError as error:
            told.append(str(error))
    if told:
        raise InputError("\n".join(dict.fromkeys(told)))
    writing = Writing(
        target,
        formats,
        options["units"] or "",
        not options["no_plots"],
        options["force"],
        options["quiet"],
        options["page"],
    )
    if not writing.quiet:
        for loaded in found:
            for warning in loaded.warnings:
                click.echo(f"warning: {warning.text()}", err=True)
    return found, writing


def source_of(loaded: Loaded, name: str) -> Source:
    """Return a scenario as the source of a study.

    Parameters
    ----------
    loaded
        The scenario.
    name
        What its file is called, without the ending.
    """
    from stationsim.study_result import Source

    warnings = tuple(warning.text() for warning in loaded.warnings)
    return Source(name, loaded.digest, loaded.text, loaded.files, warnings)


def conclude(
    result: StudyResult,
    writing: Writing,
    system: System,
    more: Mapping[str, str] | None = None,
) -> None:
    """Write a study, and print what it came to.

    Parameters
    ----------
    result
        What it came to.
    writing
        Where and how.
    system
        Units of text and plots.
    more
        Texts that are written beside the tables: name of the file -> text.
    """
    sheets: list[Form] = []
    if writing.folder is not None:
        from stationsim.saving import new_folder

        # the page shows the figures that are saved beside it, drawn once
        draw = {name: cache(drawn) for name, drawn in result.draw.items()}
        result = replace(result, draw=draw)
        with new_folder(writing.folder, force=writing.force) as beside:
            result.write_into(beside, writing.formats, system=system, plots=writing.plots)
            for name, text in (more or {}).items():
                (beside / name).write_text(text, encoding="utf-8", newline="\n")
            sheets = [form for form in result.to_fill_in(system) if form.parts]
            if sheets:
                from stationsim.pages import write_sheets

                write_sheets(sheets, beside)
            if writing.page:
                from stationsim.pages import write_page

                write_page(result, beside, system, figures=None if writing.plots else {})
    if writing.quiet:
        return
    lines = result.lines(system)
    for line in lines:
        click.echo(line)
    if lines:
        click.echo()
    for sentence in result.sentences(system):
        click.echo(sentence)
    click.echo()
    if writing.folder is not None:
        what = "Tables and plots" if writing.plots and result.draw else "Tables"
        click.echo(f"{what}: {writing.folder}")
        if writing.page:
            click.echo(f"Page: {writing.folder / 'page.html'}")
        for form in sheets:
            click.echo(f"Sheet to print: {writing.folder / f'{form.name}.html'}")
    for line in result.cautions:
        click.echo(f"- {line}")
    click.echo(result.caution)

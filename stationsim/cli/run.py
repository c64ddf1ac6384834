"""``stationsim run``: run a scenario; write tables and plots; say what a person would say."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

if TYPE_CHECKING:
    from stationsim.units import System


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder of the results.  [default: results/<name of FILE>]",
)
@click.option(
    "--set",
    "sets",
    multiple=True,
    metavar="KEY=VALUE",
    help="Change a value of the scenario, by its dotted path. May be given several times.",
)
@click.option(
    "--event",
    "events",
    multiple=True,
    metavar="TEXT",
    help="Add an event to the episode. May be given several times.",
)
@click.option(
    "--rain",
    "rains",
    multiple=True,
    metavar="TEXT",
    help="Add even rain: DEPTH in DURATION from CLOCK. May be given several times.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    help="Seed instead of the scenario's own; nothing is random yet.",
)
@click.option(
    "--units",
    type=click.Choice(["si", "us"]),
    help="Units of sentences and plots; tables are always in SI.  [default: those of FILE]",
)
@click.option(
    "--format",
    "formats",
    default="csv",
    show_default=True,
    metavar="LIST",
    help="Formats of the tables, of csv, parquet and xlsx, with commas; csv is always written.",
)
@click.option("--no-plots", is_flag=True, help="Write no plots.")
@click.option("--page", is_flag=True, help="Write a page to read and print: page.html.")
@click.option("--force", is_flag=True, help="Replace earlier results in the same folder.")
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
def run(
    file: Path,
    *,
    out: Path | None,
    sets: tuple[str, ...],
    events: tuple[str, ...],
    rains: tuple[str, ...],
    seed: int | None,
    units: str | None,
    formats: str,
    no_plots: bool,
    page: bool,
    force: bool,
    quiet: bool,
) -> None:
    """Run the scenario FILE; write its tables and plots; say what a person would say of it.

    \b
    Examples:
        stationsim run my-station.toml
        stationsim run my-station.toml --set control.lag_start="1.9 m" --out results/higher-lag
        stationsim run my-station.toml --event "day 2 07:10 grid loss for 4 h" --units us
        stationsim run my-station.toml --rain "20 mm in 6 h from day 2 14:00"
        stationsim run my-station.toml --page
    """  # noqa: D301 - \b is click's mark
    from stationsim.errors import InputError
    from stationsim.saving import add_to_manifest, check_folder, check_formats, copy_in, new_folder
    from stationsim.scenario.load import Loaded, load

    folder = out if out is not None else Path("results") / file.stem
    chosen: tuple[str, ...] = ()
    loaded: Loaded | None = None
    problems: list[str] = []  # all that is wrong is told at once, before anything runs
    try:
        loaded = load(file, sets=sets, events=events, rains=rains, seed=seed)
    except InputError as error:
        problems.append(str(error))
    try:
        chosen = check_formats([name.strip() for name in formats.split(",")])
    except InputError as error:
        problems.append(str(error))
    try:
        check_folder(folder, force=force)
    except InputError as error:
        problems.append(str(error))
    if problems or loaded is None:
        raise InputError("\n".join(problems))
    if not quiet:
        for warning in loaded.warnings:
            click.echo(f"warning: {warning.text()}", err=True)
        _progress("running")

    from stationsim.simulation.session import simulate

    result = simulate(loaded.station, loaded.episode)
    result.digest, result.text = loaded.digest, loaded.text
    system = cast("System", units) if units is not None else loaded.system
    if not quiet:
        _progress("writing")
    with new_folder(folder, force=force) as beside:
        result.write_into(beside, chosen, system)
        copy_in(loaded.files, beside)
        warnings = [warning.text() for warning in loaded.warnings]
        notes = [f"{place}: {note}" for place, note in loaded.episode.notes.items()]
        add_to_manifest(beside, warnings=warnings, notes=notes)
        figures = {}
        if not no_plots:
            from stationsim.plots import draw_all, save_all

            figures = draw_all(result, system)
            save_all(result, beside, system, figures)
        if page:
            from stationsim.pages import write_page

            write_page(result, beside, system, figures=figures, warnings=warnings, notes=notes)
    if quiet:
        return
    _progress("")
    for sentence in result.sentences(system):
        click.echo(sentence)
    _tell_where(folder, plots=not no_plots, page=page)
    click.echo(result.caution)


def _tell_where(folder: Path, *, plots: bool, page: bool) -> None:
    """Say where everything was written."""
    click.echo()
    click.echo(f"{'Tables and plots' if plots else 'Tables'}: {folder}")
    if page:
        click.echo(f"Page: {folder / 'page.html'}")


def _progress(what: str) -> None:
    """Show what goes on, on a terminal only; the next one writes over it."""
    if sys.stderr.isatty():
        click.echo(
            f"\r{what + ' ...' if what else '':<24}" + ("" if what else "\r"), err=True, nl=False
        )

"""``stationsim run``: run a scenario; write tables and plots; say what a person would say."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stationsim.cli.studying import (
    EVENT,
    FORCE,
    FORMAT,
    NO_PLOTS,
    PAGE,
    QUIET,
    RAIN,
    SET,
    Writing,
    prepare,
)

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.units import System


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder of the results.  [default: results/<name of FILE>]",
)
@SET
@EVENT
@RAIN
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    help="Seed instead of the scenario's own, for what happens by chance.",
)
@click.option(
    "--units",
    type=click.Choice(["si", "us"]),
    help="Units of sentences and plots; tables are always in SI.  [default: those of FILE]",
)
@click.option(
    "--seen-only",
    is_flag=True,
    help="Write what an observer would have, for a class; what truly happened is in key.csv.",
)
@FORMAT
@NO_PLOTS
@PAGE
@FORCE
@QUIET
def run(file: Path, **options: Any) -> None:
    """Run the scenario FILE; write its tables and plots; say what a person would say of it.

    \b
    Examples:
        stationsim run my-station.toml
        stationsim run my-station.toml --set control.lag_start="1.9 m" --out results/higher-lag
        stationsim run my-station.toml --event "day 2 07:10 grid loss for 4 h" --units us
        stationsim run my-station.toml --rain "20 mm in 6 h from day 2 14:00"
        stationsim run my-station.toml --page
        stationsim run my-station.toml --seen-only --out hand-out
    """  # noqa: D301 - \b is click's mark
    from stationsim.saving import add_to_manifest, copy_in, new_folder

    seen_only = options.pop("seen_only")
    problems = []
    if seen_only and options["page"]:
        problems.append("--page tells everything; accepted with --seen-only: no page")
    (loaded,), writing = prepare([file], Path("results") / file.stem, options, problems)
    folder, system = writing.folder, writing.system(loaded)
    assert folder is not None  # noqa: S101 - a run always has one
    if not writing.quiet:
        _progress("running")

    from stationsim.simulation.session import simulate

    result = simulate(loaded.station, loaded.episode)
    result.digest, result.text = loaded.digest, loaded.text
    if not writing.quiet:
        _progress("writing")
    if seen_only:
        _write_handout(result, folder, writing, system)
        return
    with new_folder(folder, force=writing.force) as beside:
        result.write_into(beside, writing.formats, system)
        copy_in(loaded.files, beside)
        warnings = [warning.text() for warning in loaded.warnings]
        notes = [f"{place}: {note}" for place, note in loaded.episode.notes.items()]
        add_to_manifest(beside, warnings=warnings, notes=notes)
        figures = {}
        if writing.plots:
            from stationsim.plots import draw_all, save_all

            figures = draw_all(result, system)
            save_all(result, beside, system, figures)
        if writing.page:
            from stationsim.pages import write_page

            write_page(result, beside, system, figures=figures, warnings=warnings, notes=notes)
    if writing.quiet:
        return
    _progress("")
    for sentence in result.sentences(system):
        click.echo(sentence)
    _tell_where(folder, plots=writing.plots, page=writing.page)
    click.echo(result.caution)


def _write_handout(result: Result, folder: Path, writing: Writing, system: System) -> None:
    """Write what an observer would have, and the key; say where, and nothing of what happened."""
    from stationsim import handout
    from stationsim.saving import new_folder

    with new_folder(folder, force=writing.force) as beside:
        handout.write_into(result, beside, writing.formats)
        if writing.plots:
            from stationsim.plots import save_handout

            save_handout(result, beside, system)
    if writing.quiet:
        return
    _progress("")
    click.echo(f"What an observer would have: {folder}")
    click.echo(f"What truly happened: {folder / handout.KEY} (take it out before you hand it on)")
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

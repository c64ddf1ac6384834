"""``stationsim compare``: settings side by side, on the same inflow."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from stationsim.cli.studying import conclude, prepare, source_of, study_options


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--vary",
    "varied",
    multiple=True,
    metavar="KEY=A,B,...",
    help="Vary a value of the one FILE, by its dotted path. Several give every combination.",
)
@click.option("--rotations", is_flag=True, help="Compare every built-in rotation.")
@click.option("--stop-policies", is_flag=True, help="Compare every stop policy.")
@click.option(
    "--day",
    default="",
    metavar="DAY",
    help="Day whose levels are drawn: 3, 'day 3' or 2027-03-03.  [default: that of most inflow]",
)
@study_options()
def compare(
    files: tuple[Path, ...],
    *,
    varied: tuple[str, ...],
    rotations: bool,
    stop_policies: bool,
    day: str,
    **options: Any,
) -> None:
    """Lay settings side by side: two or more FILES, or one FILE with values varied.

    All settings meet the same inflow and events: those of the first FILE, also when the others say
    something else. The first setting is what the others are compared with.

    \b
    Examples:
        stationsim compare my-station.toml --vary control.lag_start="1.6 m,1.8 m,2.0 m"
        stationsim compare my-station.toml --rotations
        stationsim compare my-station.toml --stop-policies --day "day 3"
        stationsim compare my-station.toml --stop-policies --vary control.lag_start="1.6 m,1.8 m"
        stationsim compare as-it-is.toml as-planned.toml --out results/planned
    """  # noqa: D301 - \b is click's mark
    from stationsim.studies.compare import compare as study
    from stationsim.studies.compare import variants

    problems = variants.wrong_use(files, varied, rotations or stop_policies)
    (first, *_), writing = prepare(
        files[:1], Path("results") / f"{files[0].stem}-compare", options, problems
    )
    own = {name: options[name] for name in ("sets", "events", "rains")}
    if len(files) > 1:
        loaded = [first, *variants.others(files[1:], options["sets"])]
        found = variants.of_files(loaded, files)
        names = variants.names_of(files)
        sources = [source_of(one, name) for one, name in zip(loaded, names, strict=True)]
    else:
        axes, notes = variants.axes_from(
            first, varied, rotations=rotations, stop_policies=stop_policies
        )
        found = variants.of_grid(files[0], own, axes, notes)
        sources = [source_of(first, files[0].stem)]
    if not writing.quiet:
        for warning in found.warnings:
            click.echo(f"warning: {warning}", err=True)
    result = study(
        found.settings,
        differs=found.differs,
        axes=found.axes,
        day=day,
        notes=found.notes,
        asked={"files": [file.name for file in files], "differs": found.differs},
        sources=sources,
        processes=os.cpu_count() or 1,
        progress=None if writing.quiet else _progress,
    )
    conclude(result, writing, writing.system(first))


def _progress(done: int, of: int) -> None:
    """Show how far it is, on a terminal only; the next one writes over it."""
    if sys.stderr.isatty():
        text = "" if done == of else f"setting {done + 1} of {of} ..."
        click.echo(f"\r{text:<32}" + ("" if text else "\r"), err=True, nl=False)

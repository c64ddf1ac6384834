"""``stationsim new``: write a commented starter scenario."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--tank", is_flag=True, help="A dozen lines: a tank, one pump, a constant inflow.")
@click.option(
    "--units",
    type=click.Choice(["si", "us"]),
    default="si",
    show_default=True,
    help="Units of the values in the file.",
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
def new(file: Path | None, *, tank: bool, units: Literal["si", "us"], force: bool) -> None:
    """Write a commented starter scenario to FILE (station.toml, or tank.toml with --tank).

    \b
    Examples:
        stationsim new my-station.toml
        stationsim new --tank --units us first-lesson.toml
    """  # noqa: D301 - \b is click's mark
    from stationsim.scenario.starter import write_starter

    path = file if file is not None else Path("tank.toml" if tank else "station.toml")
    write_starter(path, tank=tank, system=units, force=force)
    click.echo(f"written: {path}")
    click.echo(f"run it:  stationsim run {path}")

"""``stationsim show``: the station of a scenario before any run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from stationsim.cli.studying import RAIN, SET

if TYPE_CHECKING:
    from stationsim.units import System


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder of the pictures.  [default: results/<name of FILE>-station]",
)
@SET
@RAIN
@click.option(
    "--units",
    type=click.Choice(["si", "us"]),
    help="Units of text and pictures.  [default: those of FILE]",
)
@click.option("--no-plots", is_flag=True, help="Print only, draw nothing.")
@click.option("--force", is_flag=True, help="Replace earlier pictures in the same folder.")
def show(
    file: Path,
    *,
    out: Path | None,
    sets: tuple[str, ...],
    rains: tuple[str, ...],
    units: str | None,
    no_plots: bool,
    force: bool,
) -> None:
    """Show the station of the scenario FILE without running it.

    Its levels from the floor up, with the volume between them and the minutes that the least and
    the greatest inflow take to fill it; and where each lineup of pumps works. When it rains in the
    episode: the inflow, hour by hour, of the day on which the rain (that of --rain, if it is given)
    brings the most. When people answer for it: who is called in which order, and the steps of the
    plan with their low, typical and high times.

    \b
    Examples:
        stationsim show my-station.toml
        stationsim show my-station.toml --set control.lag_start="1.9 m" --no-plots
        stationsim show my-station.toml --rain "20 mm in 6 h from 14:00"
    """  # noqa: D301 - \b is click's mark
    from stationsim.saving import check_folder, new_folder, write_manifest
    from stationsim.scenario.load import load

    loaded = load(file, sets=sets, rains=rains)
    folder = out if out is not None else Path("results") / f"{file.stem}-station"
    if not no_plots:
        check_folder(folder, force=force)
    for warning in loaded.warnings:
        click.echo(f"warning: {warning.text()}", err=True)

    from stationsim.caution import CAUTION
    from stationsim.inflow.segments import total_inflow
    from stationsim.outline import inflow_range, lines, rain_lines, rainy_day

    system = loaded.system if units is None else cast("System", units)
    episode = loaded.episode
    least, greatest = inflow_range(total_inflow(episode), episode.duration_s)
    for line in lines(loaded.station, least, greatest, system):
        click.echo(line)
    day = rainy_day(episode, added=len(rains))
    if day is not None:
        click.echo("\n" + "\n".join(rain_lines(day, episode, system)))
    if episode.response is not None:
        from stationsim.wording.response import response_lines

        click.echo("\n" + "\n".join(response_lines(episode.response, system)))
    if no_plots:
        return

    from stationsim.plots import save_rainy_day, save_station

    with new_folder(folder, force=force) as beside:
        save_station(loaded.station, least, greatest, beside, system)
        if day is not None:
            save_rainy_day(loaded.station, episode, day, beside, system)
        write_manifest({"shows": loaded.station.name, "digest": loaded.digest}, beside)
    click.echo(f"\nPictures: {folder}")
    click.echo(CAUTION)

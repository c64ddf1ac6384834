"""``stationsim why``: ask a run why a machine did, or did not, run at a moment."""

from __future__ import annotations

from pathlib import Path

import click

from stationsim.cli.studying import EVENT, RAIN, SET


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--at",
    "at",
    required=True,
    metavar="TIME",
    help="When: '07:10', 'day 3 07:10', 'Wed 07:10', or a time of the table of events.",
)
@click.option("--pump", default="", metavar="NAME", help="All about one machine: P2.")
@SET
@EVENT
@RAIN
@click.option(
    "--units",
    type=click.Choice(["si", "us"]),
    help="Units of the answer.  [default: those of FILE]",
)
def why(
    file: Path,
    *,
    at: str,
    pump: str,
    sets: tuple[str, ...],
    events: tuple[str, ...],
    rains: tuple[str, ...],
    units: str | None,
) -> None:
    """Ask why a pump did, or did not, run at a moment. Prints only.

    FILE is a scenario, or a folder of results that 'stationsim run' has made. Its scenario is run
    again, with somebody looking over the controller's shoulder. Without --pump there is a short
    answer for each pump, and for the engine-driven pump.

    \b
    Examples:
        stationsim why my-station.toml --at "day 3 07:10"
        stationsim why my-station.toml --at "day 3 07:10" --pump P2
        stationsim why results/my-station --at 2027-03-03T07:14:09.120+00:00 --pump E1
        stationsim why my-station.toml --at 07:10 --event "06:50 P1 out of service"
    """  # noqa: D301 - \b is click's mark
    from stationsim.why import lines, watched
    from stationsim.why.asking import asked, disagreement, moment_s, of_an_event_s
    from stationsim.why.screen import check

    question = asked(file, sets=sets, events=events, rains=rains)
    loaded = question.loaded
    asked_s = moment_s(at, loaded.episode.start)
    check(loaded.station, loaded.episode, asked_s, pump)
    seen = watched(loaded.station, loaded.episode)
    at_s = of_an_event_s(asked_s, seen.result)
    said = lines(seen, at_s, pump, units or loaded.system)
    note = disagreement(question.saved, seen.result, file)
    for line in ([note, ""] if note else []) + said:
        click.echo(line)
    click.echo()
    click.echo(seen.result.caution)

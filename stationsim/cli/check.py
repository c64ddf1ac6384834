"""``stationsim check``: criteria with value, limit, margin and source."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from stationsim.cli.studying import conclude, prepare, source_of, study_options


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@study_options(events=False)
@click.pass_context
def check(ctx: click.Context, /, file: Path, **options: Any) -> None:
    """Judge the station of the scenario FILE by criteria, each with its limit and its source.

    Limits start from published ones and are yours to set in [limits]; plates, supply, suction
    and design flows are read from [pump.NAME.plate], [service], [generator], [design] and others,
    all optional. A criterion that lacks its data is not judged, and never passes.

    The exit code is 3 when a criterion fails.

    \b
    Examples:
        stationsim check my-station.toml
        stationsim check my-station.toml --set limits.most_starts_per_hour=10 --no-plots
    """  # noqa: D301 - \b is click's mark
    loaded, writing = prepare([file], Path("results") / f"{file.stem}-check", options)

    from stationsim.studies.check.fitness import check as study

    one = loaded[0]
    result = study(file.stem, one.station, one.episode, [source_of(one, file.stem)])
    conclude(result, writing, writing.system(one))
    if any(finding.verdict == "fail" for finding in result.findings):
        ctx.exit(3)

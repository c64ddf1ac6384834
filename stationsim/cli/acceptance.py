"""``stationsim acceptance``: the sheet of the day of acceptance, and the verdict on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from stationsim.cli.studying import conclude, prepare, source_of, study_options


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--readings",
    type=click.Path(path_type=Path),
    help="The sheet, filled in (CSV, or the workbook with its times): judge it.",
)
@click.option(
    "--log",
    type=click.Path(path_type=Path),
    help="The panel's log of the sequences (CSV or XLSX; columns sequence, time, and subject and"
    " event, or text): compare it line by line.",
)
@click.option(
    "--words",
    type=click.Path(path_type=Path),
    help="What the texts of the log mean: CSV with text, subject, event; a text whose subject and"
    " event are empty is passed over.",
)
@study_options(events=False)
@click.pass_context
def acceptance(
    ctx: click.Context,
    /,
    file: Path,
    readings: Path | None,
    log: Path | None,
    words: Path | None,
    **options: Any,
) -> None:
    """Write the sheet of readings for the day of acceptance of the scenario FILE, or judge it.

    Without --readings: the order of the day with clean water, what each pump and each combination
    should show, the events that each scripted sequence should bring, and forms to fill in
    (fill_in_readings.csv and fill_in_events.csv; with --format xlsx a workbook; with --page a page
    to print). Gauges, tolerances and water are set in [acceptance].

    With --readings: each reading against what is accepted, with what it can tell, and what the
    pattern of deviations suggests. Cells take decimal commas and other units; what is unclear is
    refused, and every repair is told. Without --log the times on the sheet fill_in_events of the
    workbook are compared too. The exit code is 3 when something fails.

    \b
    Examples:
        stationsim acceptance my-station.toml --format xlsx --page
        stationsim acceptance my-station.toml --readings to_fill_in.xlsx
        stationsim acceptance my-station.toml --log panel.csv --words panel-words.csv
    """  # noqa: D301 - \b is click's mark
    judged = readings is not None or log is not None
    problems = []
    if words is not None and log is None:
        problems.append("--words: means something only together with --log")
    name = f"{file.stem}-acceptance{'-judged' if judged else ''}"
    folder = Path("results") / name
    target = options["out"] or folder
    problems.extend(
        f"{given}: lies in the folder of the results; give another by --out"
        for given in (readings, log, words)
        if given is not None and given.resolve().is_relative_to(target.resolve())
    )
    loaded, writing = prepare([file], folder, options, problems)

    from stationsim.studies.acceptance import acceptance as study

    one = loaded[0]
    result = study(
        one.station,
        one.episode,
        [source_of(one, file.stem)],
        readings=readings,
        log=log,
        words=words,
    )
    conclude(result, writing, writing.system(one))
    if any(finding.verdict == "fail" for finding in result.findings):
        ctx.exit(3)

"""``stationsim rehearse``: how many minutes to the alarm and to the spill, by hour or from now."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stationsim.cli.studying import conclude, prepare, source_of, study_options

if TYPE_CHECKING:
    from stationsim.study_result import StudyResult

_FROM_NOW = ("at", "level", "out_of_service", "rise", "fall", "tanker")
_BY_HOUR = (
    "days", "same_day", "start_level", "wet_addition", "storm_peak", "spilled_after", "response",
    "outage", "upstream_surge",
)  # fmt: skip


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option(
    "--days",
    metavar="LIST",
    help="Days of the table.  [default: wednesday,saturday; with --plan wednesday]",
)
@click.option(
    "--same-day", is_flag=True, help="The same day follows on itself, not the calendar's."
)
@click.option(
    "--start-level",
    metavar="LEVEL",
    help="Where the water stands when the power goes: a level, the name of one that is set, or"
    " where the routine has it: least, mean, greatest.  [default: lead start]",
)
@click.option("--wet-addition", metavar="FLOW", help="Inflow that is added when it is wet.")
@click.option(
    "--storm-peak",
    metavar="TIME",
    help="How long after the power loss the storm brings most.  [default: 0 min]",
)
@click.option("--spilled-after", metavar="LIST", help="Tell what has spilled after these times.")
@click.option("--response", metavar="TIME", help="Time until somebody pumps again.")
@click.option(
    "--outage",
    metavar="TIME",
    help="Outage before the pump-down; with --plan, how long the grid is out."
    "  [default: 2 h; with --plan 8 h]",
)
@click.option(
    "--upstream",
    metavar="PERCENT",
    help="Part of the inflow from stations that go dark in the same cut, such as 40%.",
)
@click.option("--upstream-lag", metavar="TIME", help="How long their water is on its way.")
@click.option(
    "--upstream-surge",
    metavar="TIME",
    help="In which time what they held back arrives.  [default: 1 h]",
)
@click.option("--at", metavar="MOMENT", help="From now: the time, such as '02:40' or 'Sat 02:40'.")
@click.option("--level", metavar="LEVEL", help="From now: where the water stands.")
@click.option(
    "--out-of-service", multiple=True, metavar="PUMP", help="From now: a machine that cannot run."
)
@click.option(
    "--rise",
    metavar="TEXT",
    help="From now: a rise just timed, '0.20 m in 6 min' or '... with P1' if P1 ran meanwhile.",
)
@click.option("--fall", metavar="TEXT", help="From now: the same for a fall.")
@click.option(
    "--plan",
    is_flag=True,
    help="Set the plan of the file against the clock: each source, each step, each one left out.",
)
@click.option("--sheet", is_flag=True, help="Write the one-page station sheet for the night too.")
@click.option(
    "--hour",
    metavar="HOUR",
    help="Of the plan: the hour that is told and drawn step by step, such as 7.  [default: worst]",
)
@click.option(
    "--late",
    metavar="LIST",
    help="Of the plan: how much later the crew may be.  [default: 15 min, 30 min, 60 min]",
)
@click.option("--tanker", metavar="VOLUME", help="From now: a tanker's load.  [default: 10 m3]")
@study_options(events=False)
def rehearse(files: tuple[Path, ...], **options: Any) -> None:
    """Tell how many minutes there are to the alarm and to the spill when pumping stops.

    By hour: for each hour of a weekday and of a weekend day, dry and (with a storm in the scenario,
    or --wet-addition) wet. Several FILEs are ranked by their worst hour.

    From now, with --at and --level: with nothing running, and with each lineup that still works.
    It writes no files unless --out is given.

    The plan, with --plan: for each hour each source of pumping alone (engine-driven pump,
    generator, crew with a mobile generator, bypass pump, tanker), at its fastest, typical and
    slowest; the margin of each step; and what spills when one thing is missing, late or fails. Who
    is called, with what, and what they do stand in the file: [call_out], [person.X], [tool.X],
    [task.X].

    Scripted events of the scenario do not count here; `stationsim run` plays them.

    \b
    Examples:
        stationsim rehearse my-station.toml --response "78 min"
        stationsim rehearse my-station.toml --start-level greatest --wet-addition "10 L/s"
        stationsim rehearse north.toml south.toml --out results/ranking
        stationsim rehearse my-station.toml --plan --sheet --page
        stationsim rehearse my-station.toml --at 02:40 --level "2.30 m" --rise "0.20 m in 6 min"
    """  # noqa: D301 - \b is click's mark
    from stationsim.cli.rehearse_options import (
        given_both_ways,
        hours_asked,
        now_asked,
        plan_asked,
        plan_problems,
    )

    from_now = options["at"] is not None or options["level"] is not None
    problems = given_both_ways(options, _FROM_NOW, _BY_HOUR, from_now=from_now, files=len(files))
    problems += plan_problems(options, from_now=from_now, files=len(files))
    folder = None if from_now else _folder(files, "plan" if options["plan"] else "rehearse")
    loaded, writing = prepare(files, folder, options, problems)
    names = _names(files)
    sources = [source_of(one, name) for one, name in zip(loaded, names, strict=True)]
    system = writing.system(loaded[0])
    result: StudyResult
    if from_now:
        from stationsim.studies.rehearse.now import from_now as answer

        one = loaded[0]
        result = answer(one.station, one.episode, now_asked(one, options), sources)
    elif options["plan"]:
        from stationsim.studies.rehearse.plan import rehearse_plan

        one = loaded[0]
        asked = plan_asked(loaded, options)
        result = rehearse_plan(
            one.station,
            one.episode,
            asked,
            sources,
            sheet=options["sheet"],
            processes=os.cpu_count() or 1,
        )
    else:
        from stationsim.studies.rehearse.hours import rehearse as table

        stations = [
            (name, one.station, one.episode) for one, name in zip(loaded, names, strict=True)
        ]
        result = table(stations, hours_asked(loaded, options), sources, sheet=options["sheet"])
    conclude(result, writing, system)


def _folder(files: Sequence[Path], study: str) -> Path:
    stem = files[0].stem if len(files) == 1 else f"{files[0].stem}-and-{len(files) - 1}-more"
    return Path("results") / f"{stem}-{study}"


def _names(files: Sequence[Path]) -> list[str]:
    """Return a name for each file that no other has."""
    found: list[str] = []
    for file in files:
        name, number = re.sub(r"[^\w.-]+", "-", file.stem), 2
        while name in found:
            name, number = f"{re.sub(r'-[0-9]+$', '', name)}-{number}", number + 1
        found.append(name)
    return found

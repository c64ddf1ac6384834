"""``rehearse --plan``: the response of a station set against the clock of its well."""

from __future__ import annotations

from dataclasses import asdict, fields, replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from stationsim.errors import InputError
from stationsim.findings import Finding
from stationsim.studies.rehearse.hours import HoursAsked
from stationsim.studies.rehearse.plan import rows as r
from stationsim.studies.rehearse.plan import text
from stationsim.studies.rehearse.plan.cases import PlanAsked, sources_of, whole
from stationsim.study_result import Source, StudyResult

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from stationsim.episode import Episode
    from stationsim.forms import Form
    from stationsim.station import Station
    from stationsim.units import System

_FINE_S = 10.0

RULE = "9VAC25-790-390 A.2 (one state's rule, an example; local rules decide)"


def rehearse_plan(
    station: Station,
    episode: Episode,
    asked: PlanAsked | None = None,
    sources: Sequence[Source] = (),
    *,
    sheet: bool = False,
    processes: int = 1,
) -> StudyResult:
    """Return the plan of a station against the clock.

    Parameters
    ----------
    station, episode
        What stands there; of the episode its calendar, its inflow and its response count.
    asked
        What is asked; None for the usual.
    sources
        The scenario that they came from.
    sheet
        True to add the one-page station sheet for the night.
    processes
        How many processes may run at once, when that pays. With more than one, a script that calls
        this needs ``if __name__ == "__main__":``.

    Raises
    ------
    InputError
        When nobody answers for the station and nothing stands in for the grid, it has no level of
        spill, a level is not set, or a record does not cover a day.
    """
    asked = PlanAsked() if asked is None else asked
    if episode.response is None:
        raise InputError(
            f"{station.name}: nobody is called, so there is no plan; add [call_out], [person.X] and"
            " [task.X] ('stationsim explain call_out', or a file that 'stationsim new' writes)"
        )
    if not sources_of(station, episode.response):
        raise InputError(
            f"{station.name}: the plan has nothing that pumps without the grid; add one of"
            " [engine_pump], [transfer] with [generator], [task.connect_mobile_generator],"
            " [task.connect_bypass_pump], [task.haul]"
        )
    found = r.find(station.name, station, episode, asked, processes)
    tables = {
        "plan_sources": pd.DataFrame(found.sources, columns=r.SourceRow._fields),
        "plan_steps": pd.DataFrame(found.steps, columns=r.StepRow._fields),
        "plan_left_out": pd.DataFrame(found.left_out, columns=r.LeftOutRow._fields),
        "plan_allowed": pd.DataFrame(found.allowed, columns=r.AllowedRow._fields),
    }
    forms = None
    if sheet:
        forms = partial(_sheet, found, sources[0] if sources else None)
    return StudyResult(
        study="rehearse",
        subject=station.name,
        tables=tables,
        tell=partial(text.sentences, found),
        show=partial(text.lines, found),
        draw={
            "plan_hours": partial(_hours, found),
            "plan_sequence": partial(_sequence, found),
        },
        findings=_findings(found),
        asked=asdict(asked),
        sources=tuple(sources),
        cautions=text.CAUTIONS,
        forms=forms,
    )


def _sheet(found: r.Found, source: Source | None, system: System) -> list[Form]:
    """Return the sheet, by the same start level and weather as the plan; weekday and weekend."""
    from stationsim.studies.rehearse.sheet import station_sheet

    asked = found.asked
    days = HoursAsked.days if asked.days == PlanAsked.days else asked.days
    of_plan = {one.name: getattr(asked, one.name) for one in fields(HoursAsked)}
    table = HoursAsked(**{**of_plan, "days": days})
    return [station_sheet(found.station, found.episode, system, asked=table, source=source)]


def _hours(found: r.Found, system: System) -> Figure:
    from stationsim.plots.plan import hours_figure

    return hours_figure(
        found.station.name, found.sources, found.names, found.asked.outage_s, system
    )


def _sequence(found: r.Found, system: System) -> Figure:
    """Return the whole plan at its typical pace, at the hour that is shown, as a run."""
    from stationsim.plots.sequence import sequence_figure
    from stationsim.simulation.session import simulate

    key = text.shown_hour(found)
    case = whole(found.station, found.response, "typical")
    episode = replace(found.cuts[key].episode_of(case), table_interval_s=_FINE_S)
    nobody_s = found.row(key, r.WHOLE, "typical").nobody_spill_s
    hour = text.when(key, wet=found.hours.has_wet)
    return sequence_figure(simulate(case.station, episode), hour, nobody_s, system)


def _findings(found: r.Found) -> tuple[Finding, ...]:
    """Return the response against the time that a rule allows: worst, and by 24 values."""
    told = []
    for pace in ("typical", "high"):
        rows = [row for row in found.allowed if row.pace == pace]
        if not rows:
            continue
        worst = min(rows, key=lambda row: row.allowed_s)
        missed = [row for row in rows if not row.in_time]
        slowest = max(rows, key=lambda row: row.response_s)
        short_of = [row for row in missed if row.margin_s >= 0.0]
        enough = slowest.response_s <= worst.allowed_s and not short_of
        why = "from the high-level alarm to the spill at the hour at which it is shortest"
        if short_of:
            why += f"; what comes in time is not enough at {len(short_of)} hours"
        told.append(
            Finding(
                f"allowable time, worst value, {pace} response",
                "pass" if enough else "fail",
                why,
                value=text.short(slowest.response_s),
                limit=f"at most {text.short(worst.allowed_s)}, with water enough",
                margin=(worst.allowed_s - slowest.response_s) / 60.0,
                unit="min",
                source=RULE,
            )
        )
        told.append(
            Finding(
                f"allowable time, 24 values, {pace} response",
                "fail" if missed else "pass",
                "the response of each hour against the time of that hour, and whether it is enough",
                value=f"too long, or not enough, at {len(missed)} of {len(rows)} hours",
                limit="at none",
                margin=min(row.margin_s for row in rows) / 60.0,
                unit="min",
                source=RULE,
            )
        )
    return tuple(told)

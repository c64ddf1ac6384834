"""The study: the sheet of a day of acceptance, or the verdict on one that came back filled in."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from stationsim.errors import InputError
from stationsim.findings import Finding
from stationsim.studies.acceptance import text, verdict_text
from stationsim.studies.acceptance.causes.ranked import causes_of
from stationsim.studies.acceptance.cautions import CAUTIONS
from stationsim.studies.acceptance.day import Day
from stationsim.studies.acceptance.judge import verdicts
from stationsim.studies.acceptance.outcome import Outcome
from stationsim.studies.acceptance.panel.panel_log import (
    TIMES_IN_IT,
    compare_log,
    has_times,
    read_panel_log,
)
from stationsim.studies.acceptance.paper.forms import events_form, readings_form
from stationsim.studies.acceptance.paper.order_form import order_form
from stationsim.studies.acceptance.paper.repairs import Repair
from stationsim.studies.acceptance.paper.taken import read_taken
from stationsim.studies.acceptance.tables import (
    cause_table,
    log_table,
    note_table,
    repair_table,
    sheet_tables,
    verdict_table,
)
from stationsim.study_result import Later, Source, StudyResult

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from stationsim.episode import Episode
    from stationsim.forms import Form
    from stationsim.station import Station
    from stationsim.studies.acceptance.panel.panel_log import LogLine
    from stationsim.studies.acceptance.paper.repairs import CrewNote
    from stationsim.studies.acceptance.reading import Taken
    from stationsim.units import System


def acceptance(
    station: Station,
    episode: Episode,
    sources: Sequence[Source] = (),
    *,
    readings: str | Path | None = None,
    log: str | Path | None = None,
    words: str | Path | None = None,
) -> StudyResult:
    """Return the sheet of a station's day of acceptance, or the verdict on its readings.

    Parameters
    ----------
    station, episode
        What stands there, and what arrives at which hour.
    sources
        The scenario that they came from.
    readings
        The sheet, filled in: CSV, or the workbook; one whose sheet of events holds times is the log
        as well, if no other is given.
    log
        The panel's log: CSV or XLSX with the columns ``sequence``, ``time``, ``subject`` and
        ``event``, or ``text`` in place of the last two.
    words
        What a panel's texts mean: CSV with the columns ``text``, ``subject`` and ``event``.

    Raises
    ------
    InputError
        When a file cannot be read, or what stands in it; everything is told at once.
    """
    day = Day(station.as_built(), episode)  # a bypass pump is not there on that day
    if readings is None and log is None:
        return _sheet(day, sources)
    return _verdict(_outcome(day, readings, log, words), sources)


def _sheet(day: Day, sources: Sequence[Source]) -> StudyResult:
    return StudyResult(
        study="acceptance",
        subject=day.station.name,
        tables=Later(partial(sheet_tables, day)),
        tell=partial(text.sheet_sentences, day),
        show=partial(text.sheet_lines, day),
        draw={"points": partial(_points, Outcome(day))},
        forms=partial(forms_of, day),
        sources=tuple(sources),
        cautions=CAUTIONS,
    )


def forms_of(day: Day, system: System) -> list[Form]:
    """Return what the crew fills in: the order of the day, readings, and what the panel shows.

    Parameters
    ----------
    day
        The day.
    system
        ``si`` or ``us``.
    """
    return [
        order_form(day, system, CAUTIONS),
        readings_form(day.sheet, day.station, system, CAUTIONS),
        events_form(day.sequences, day.station, system, CAUTIONS),
    ]


def _outcome(
    day: Day, readings: str | Path | None, log: str | Path | None, words: str | Path | None
) -> Outcome:
    """Return what came of the files; everything that is wrong in them is told at once."""
    problems: list[str] = []
    taken: list[Taken] = []
    repairs: list[Repair] = []
    notes: list[CrewNote] = []
    lines: list[LogLine] = []
    if readings is not None:
        try:
            if log is None and has_times(Path(readings)):
                log = readings
                repairs.append(Repair(str(readings), None, "", TIMES_IN_IT))
            taken, mended, noted = read_taken(
                Path(readings), day.sheet, day.station, may_be_blank=log == readings
            )
            repairs += mended
            notes += noted
        except InputError as error:
            problems.append(str(error))
    if log is not None:
        try:
            where = None if words is None else Path(words)
            entries, mended, noted = read_panel_log(Path(log), day.sequences, where)
            repairs += mended
            notes += noted
            lines = compare_log(day.sequences, entries)
        except InputError as error:
            problems.append(str(error))
    if problems:
        raise InputError("\n".join(problems))
    found = verdicts(day.expected, day.sheet, taken) if taken else []
    causes = causes_of(day.station, day.sheet, taken) if taken else []
    return Outcome(day, taken, found, causes, lines, repairs, notes)


def _verdict(outcome: Outcome, sources: Sequence[Source]) -> StudyResult:
    station = outcome.day.station
    # what was not read, and what stands in the log as it should, would only lengthen the list
    findings = [one.finding(station, "si") for one in outcome.found if one.standing != "not judged"]
    findings += [
        Finding(
            place=f"{line.sequence}: {line.subject} {line.event}",
            verdict="fail",
            reason=f"{line.verdict}: {line.reason}",
        )
        for line in outcome.log
        if verdict_text.fails_in_log(line)
    ]
    return StudyResult(
        study="acceptance",
        subject=station.name,
        tables=Later(
            lambda: {
                "verdicts": verdict_table(outcome.found),
                "causes": cause_table(outcome.causes),
                "log": log_table(outcome.log),
                "repairs": repair_table(outcome.repairs),
                "notes": note_table(outcome.notes),
                **sheet_tables(outcome.day),
            }
        ),
        tell=partial(verdict_text.sentences, outcome),
        show=partial(verdict_text.lines, outcome),
        draw={
            "points": partial(_points, outcome),
            **({"deviations": partial(_deviations, outcome)} if outcome.found else {}),
        },
        findings=tuple(findings),
        sources=tuple(sources),
        cautions=CAUTIONS,
    )


def _points(outcome: Outcome, system: System) -> Figure:
    from stationsim.studies.acceptance import pictures  # heavy, and not needed with --no-plots

    return pictures.points_figure(outcome.day, outcome.taken, system)


def _deviations(outcome: Outcome, system: System) -> Figure:
    from stationsim.studies.acceptance import pictures

    del system  # the same in both
    return pictures.deviations_figure(outcome.found, outcome.day.station)

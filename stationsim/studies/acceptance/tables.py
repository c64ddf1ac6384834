"""The tables of a day of acceptance: SI units, one row an observation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from stationsim.studies.acceptance.day import FallRow
from stationsim.studies.acceptance.lineups import PointRow, PumpRow
from stationsim.studies.acceptance.reading import SI_UNITS
from stationsim.studies.acceptance.steps import Step

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.acceptance.causes.ranked import Cause
    from stationsim.studies.acceptance.day import Day
    from stationsim.studies.acceptance.judge import Verdict
    from stationsim.studies.acceptance.panel.panel_log import LogLine
    from stationsim.studies.acceptance.paper.repairs import CrewNote, Repair

READINGS = (
    "reading", "test", "what", "subject", "level_m", "expected", "low", "high", "uncertainty",
    "unit", "how", "source",
)  # fmt: skip
VERDICTS = (
    "reading", "test", "subject", "verdict", "value", "expected", "low", "high", "uncertainty",
    "unit", "reason", "source",
)  # fmt: skip


def sheet_tables(day: Day) -> dict[str, pd.DataFrame]:
    """Return the tables of the sheet.

    Parameters
    ----------
    day
        The day.
    """
    readings = [
        (
            one.name, one.test, one.what, one.subject, one.level_m, one.expected, one.low,
            one.high, one.uncertainty, SI_UNITS[one.measure], one.how, one.source,
        )
        for one in day.sheet
    ]  # fmt: skip
    events = [
        (
            sequence.name,
            event.n,
            event.after_s,
            event.subject,
            event.said,
            event.cause,
            event.level_m,
            event.tolerance_s,
        )
        for sequence in day.sequences
        for event in sequence.expected
    ]
    return {
        "steps": pd.DataFrame(day.steps, columns=list(Step._fields)),
        "points": pd.DataFrame(day.points, columns=list(PointRow._fields)),
        "pump_points": pd.DataFrame(day.pump_points, columns=list(PumpRow._fields)),
        "falls": pd.DataFrame(day.falls, columns=list(FallRow._fields)),
        "readings": pd.DataFrame(readings, columns=list(READINGS)),
        "expected_events": pd.DataFrame(
            events,
            columns=[
                "sequence", "n", "after_s", "subject", "event", "cause", "level_m", "tolerance_s",
            ],
        ),
        "left_out": pd.DataFrame(day.left_out, columns=["what", "why"]),
    }  # fmt: skip


def verdict_table(found: Sequence[Verdict]) -> pd.DataFrame:
    """Return the verdicts as a table.

    Parameters
    ----------
    found
        The verdicts.
    """
    rows = [
        (
            one.name, one.test, one.subject, one.standing, one.value, one.expected, one.low,
            one.high, one.uncertainty, SI_UNITS[one.measure], one.why, one.source,
        )
        for one in found
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(VERDICTS))


def cause_table(found: Sequence[Cause]) -> pd.DataFrame:
    """Return the likely causes as a table, the likeliest first.

    Parameters
    ----------
    found
        The causes.
    """
    rows = [
        (
            rank,
            one.cause,
            one.subject,
            one.standing,
            one.size,
            one.told("si"),
            one.misfit,
            "; ".join(one.explains),
            "; ".join(one.leaves),
            "; ".join(apart.told("si") for apart in one.apart),
            one.look_first,
        )
        for rank, one in enumerate(found, 1)
    ]
    columns = [
        "rank", "cause", "subject", "standing", "size", "size_told", "misfit", "explains",
        "leaves", "told_apart_by", "look_first",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def log_table(found: Sequence[LogLine]) -> pd.DataFrame:
    """Return the comparison of a panel's log with the expected events as a table.

    Parameters
    ----------
    found
        The lines of the comparison.
    """
    rows = [
        (
            one.sequence,
            one.verdict,
            one.subject,
            one.event,
            one.expected_s,
            one.logged_s,
            one.off_s,
            one.tolerance_s,
            one.reason,
        )
        for one in found
    ]
    columns = [
        "sequence", "verdict", "subject", "event", "expected_s", "logged_s", "off_s",
        "tolerance_s", "reason",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def repair_table(found: Sequence[Repair]) -> pd.DataFrame:
    """Return what was read otherwise than it stood in the files as a table.

    Parameters
    ----------
    found
        The repairs.
    """
    rows = [(one.file, one.line, one.reading, one.what, one.written, one.read_as) for one in found]
    columns = ["file", "line", "reading", "what", "written", "read_as"]
    return pd.DataFrame(rows, columns=columns).astype({"line": "Int64"})


def note_table(found: Sequence[CrewNote]) -> pd.DataFrame:
    """Return what the crew noted as a table.

    Parameters
    ----------
    found
        The notes.
    """
    rows = [(one.line, one.name, one.note, one.read) for one in found]
    return pd.DataFrame(rows, columns=["line", "reading", "note", "read"])

"""Alarms that nobody ever knew of, and what spilled meanwhile."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.metrics.call_outs import CallOut, unreached
from stationsim.units import show
from stationsim.wording.words import moment

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stationsim.results import Result
    from stationsim.trace import AlarmRow
    from stationsim.units import System

_LONG_S = 1800.0
"""An alarm that nobody knew of is told when it stood for so long, or while it spilled [s]."""

LATE_S = 300.0
"""An alarm that left the station so much later than it was raised is told [s]."""


def spilled_m3(result: Result, from_s: float, to_s: float) -> tuple[float, float]:
    """Return what spilled in spills that a span meets [m3], and when the first began [s].

    Parameters
    ----------
    result
        The run.
    from_s, to_s
        The span [s].
    """
    met = [row for row in result.trace.spills if row.start_s <= to_s and row.stop_s > from_s]
    began_s = min((row.start_s for row in met), default=math.nan)
    return sum(row.volume_m3 for row in met), began_s


def nobody_knew(result: Result, found: list[CallOut], units: System) -> str:
    """Return which alarms nobody ever knew of, though they stood long or it spilled meanwhile.

    Parameters
    ----------
    result
        The run.
    found
        Its call-outs: what they tell is not told again.
    units
        ``si`` or ``us``.
    """
    response = result.episode.response
    assert response is not None  # noqa: S101  (asked where there are people)
    rows = [
        row
        for row in unreached(result.trace, response)
        if _mattered(result, row) and not _told_of(row, found)
    ]
    if not rows:
        return ""
    worst = max(rows, key=lambda row: _stood_s(result, row))
    begins = moment(result, worst.raised_s)
    lasted = show(_stood_s(result, worst), "duration", units)
    still = math.isnan(worst.cleared_s)
    for_ = f"for {lasted}, to the end" if still else f"for {lasted}"
    own = f" of {worst.subject}" if worst.subject in result.station.machine_names() else ""
    left = "it never left the station" if math.isnan(worst.sent_s) else "it reached no phone"
    if not math.isnan(worst.sent_s) and not response.call_list:
        left = "nobody was to be called"
    said = f"Nobody knew of the alarm '{worst.alarm}'{own}, which stood from {begins} {for_}"
    said += (
        f": {left}"
        if _never(worst)
        else f": it left the station only at {moment(result, worst.sent_s)}"
    )
    others = len(rows) - 1
    if others:
        said += f"; nor of {others} more {'alarm' if others == 1 else 'alarms'}"
    return f"{said}{'' if found else '; nobody came'}."


def _never(row: AlarmRow) -> bool:
    return math.isnan(row.sent_s) or row.sent_s - row.raised_s <= LATE_S


def _stood_s(result: Result, row: AlarmRow) -> float:
    over_s = result.trace.end_s if math.isnan(row.cleared_s) else row.cleared_s
    return over_s - row.raised_s


def _mattered(result: Result, row: AlarmRow) -> bool:
    over_s = row.raised_s + _stood_s(result, row)
    return _stood_s(result, row) >= _LONG_S or spilled_m3(result, row.raised_s, over_s)[0] > 0.0


def _told_of(row: AlarmRow, found: Iterable[CallOut]) -> bool:
    """Return whether it is told already that nobody was reached for an alarm."""
    return any(row in one.alarms for one in found)

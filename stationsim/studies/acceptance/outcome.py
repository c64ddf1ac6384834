"""What came of the readings of a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stationsim.studies.acceptance.causes.ranked import Cause
    from stationsim.studies.acceptance.day import Day
    from stationsim.studies.acceptance.judge import Verdict
    from stationsim.studies.acceptance.panel.panel_log import LogLine
    from stationsim.studies.acceptance.paper.repairs import CrewNote, Repair
    from stationsim.studies.acceptance.reading import Taken


@dataclass(frozen=True)
class Outcome:
    """What came of the readings of a day.

    Parameters
    ----------
    day
        The day.
    taken
        The readings that were taken.
    found
        The verdicts; none when no readings were given.
    causes
        Likely causes, the likeliest first.
    log
        The comparison with the panel's log; none when no log was given.
    repairs
        What was read otherwise than it stood in the files.
    notes
        What the crew noted.
    """

    day: Day
    taken: Sequence[Taken] = ()
    found: Sequence[Verdict] = ()
    causes: Sequence[Cause] = ()
    log: Sequence[LogLine] = ()
    repairs: Sequence[Repair] = ()
    notes: Sequence[CrewNote] = ()

"""``debrief``: the end of a drill; truth beside seen, the courses, what each decision was worth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from stationsim.studies.drill import said
from stationsim.studies.drill.account import courses as c
from stationsim.studies.drill.account import text
from stationsim.studies.drill.account.beside import Truth, truth_of
from stationsim.study_result import Source, StudyResult
from stationsim.tables import local_times

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from matplotlib.figure import Figure as Drawing

    from stationsim.results import Result
    from stationsim.studies.drill.drill import Drill
    from stationsim.units import System

_DECISIONS = (
    "number", "time", "t_s", "line", "verb", "place", "level_m", "level_seen_m",
    "spilled_before_m3", "left_m3", "bought_m3", "without_m3", "also_m3",
)  # fmt: skip
_TOLD = ("time", "t_s", "by", "who", "text")
_TRUTH = (
    "time", "t_s", "subject", "event", "cause", "seen", "told_time", "told_s", "told_by",
)  # fmt: skip
_COURSES = ("course", "metric", "value", "unit")

_BEFORE, _BEHIND = 0.04, 0.06
_LEAD_S = 12.0 * 3600.0
_LEAST_SHOWN_S = 1800.0


@dataclass(frozen=True)
class Found:
    """All that a drill came to.

    Parameters
    ----------
    drill
        The drill, at its end.
    runs
        The courses by name.
    worth
        What each decision was worth.
    truth
        What happened, and when they came to know.
    """

    drill: Drill
    runs: dict[str, Result]
    worth: list[c.Worth]
    truth: list[Truth]

    @property
    def yours(self) -> Result:
        """The run of the drill."""
        return self.runs[c.YOU]

    @property
    def station_name(self) -> str:
        """What the station is called."""
        return self.drill.station.name

    def figure(self, course: str, metric: str) -> float:
        """Return one figure of a course; NaN where it does not apply.

        Parameters
        ----------
        course, metric
            Of which course, which figure.
        """
        rows = [*c.figures(self.runs[course]), *c.of_people(self.drill, course, self.runs[course])]
        return next((row.value for row in rows if row.metric == metric), math.nan)


def debrief(
    drill: Drill,
    sources: Sequence[Source] = (),
    *,
    progress: Callable[[int, int], None] | None = None,
) -> StudyResult:
    """Return what a drill came to: truth beside seen, three courses, litres for each decision.

    Parameters
    ----------
    drill
        The drill; it is brought to its end, and nothing can be typed in it any more.
    sources
        The scenario that it came from.
    progress
        Told after each run how many are done, of how many.

    Examples
    --------
    ``debrief(drill).tables["decisions"]`` has a row for each decision: ``bought_m3`` is by how much
    it brings down what spills, after all before it and with nothing after; ``also_m3`` is how much
    more would have spilled had only this one been left out.
    """
    runs = c.courses_of(drill)
    nobody_m3 = runs[c.NOBODY].trace.spilled_m3
    found = Found(drill, runs, c.worth_of(drill, nobody_m3, runs[c.YOU], progress), truth_of(drill))
    tables = {
        **found.yours.tables,
        "decisions": _decisions(found),
        "told": _told(found),
        "truth": _truth(found),
        "courses": _courses(found),
    }
    began = drill.began_on_site
    return StudyResult(
        study="drill",
        subject=found.station_name,
        tables=tables,
        tell=partial(text.sentences, found),
        show=partial(text.lines, found),
        draw={"drill": partial(_drawing, found)},
        asked={
            "who": drill.crew.me.name,
            "on_site": not drill.response.people if began is None else began,
            "away_sees": drill.away_sees,
            "actions": len(drill.actions),
        },
        sources=tuple(sources),
        cautions=said.CAUTIONS,
    )


def _moments(found: Found, t_s: Iterable[float]) -> Any:
    return local_times(found.drill.episode.start, np.array(tuple(t_s), dtype=float))


def _decisions(found: Found) -> pd.DataFrame:
    rows = [
        (n, "", *one[:6], *worth)
        for n, (one, worth) in enumerate(zip(found.drill.decided, found.worth, strict=True), 1)
    ]
    table = pd.DataFrame(rows, columns=list(_DECISIONS))
    table["time"] = _moments(found, table["t_s"])
    return table


def _told(found: Found) -> pd.DataFrame:
    rows = [("", one.t_s, one.by, one.who, one.text) for one in found.drill.told]
    table = pd.DataFrame(rows, columns=list(_TOLD))
    table["time"] = _moments(found, table["t_s"])
    return table


def _truth(found: Found) -> pd.DataFrame:
    rows = [("", *one[:5], "", one.told_s, one.told_by) for one in found.truth]
    table = pd.DataFrame(rows, columns=list(_TRUTH))
    table["time"] = _moments(found, table["t_s"])
    table["told_time"] = _moments(found, table["told_s"])
    return table


def _courses(found: Found) -> pd.DataFrame:
    rows = [
        (course, *row)
        for course, result in found.runs.items()
        for row in (*c.figures(result), *c.of_people(found.drill, course, result))
    ]
    return pd.DataFrame(rows, columns=list(_COURSES))


def _drawing(found: Found, system: System) -> Drawing:
    from stationsim.plots.drill import Mark, drill_figure

    marks = [Mark(n, one.t_s, one.line) for n, one in enumerate(found.drill.decided, 1)]
    return drill_figure(found.runs, marks, ends_s(found), system)


def ends_s(found: Found) -> tuple[float, float]:
    """Return from when to when [s] it matters: from the first trouble to the end of the response.

    Parameters
    ----------
    found
        What the drill came to.
    """
    end_s = found.yours.trace.end_s
    drill = found.drill
    spills = [row for result in found.runs.values() for row in result.trace.spills]
    people = [
        row for name, result in found.runs.items() if name != c.NOBODY for row in result.trace.crew
    ]
    told_s = [one.t_s for one in drill.told if one.by in ("phone", "crew", "passer-by")]
    begins = [row.start_s for row in spills] + [row.start_s for row in people]
    begins += [one.t_s for one in drill.decided]
    first = min([*begins, *told_s[:1]], default=math.nan)
    trouble = [row.t_s for row in found.truth if row.is_trouble]
    if math.isnan(first):
        first = min(trouble, default=0.0)
    near = [t_s for t_s in trouble if first - _LEAD_S <= t_s <= first]
    first = min([first, *near])
    open_ = ("end of run",)
    ends = [row.stop_s for row in spills]
    ends += [row.stop_s for row in people if row.outcome not in open_ and row.stop_s < end_s]
    ends += [one.t_s for one in drill.decided]
    last = max(ends, default=end_s)
    span = max(last - first, _LEAST_SHOWN_S)
    return max(first - _BEFORE * span, 0.0), min(first + (1.0 + _BEHIND) * span, end_s)

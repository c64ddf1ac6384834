"""The rows of a plan: every hour by source and pace, step by step, and with each one left out.

Margins are minutes between the spill that comes when nobody does anything and the first water that
a source draws: positive when it comes in time. In time is not enough: what counts in the end is
what the run has spilled.

References
----------
Time allowed by a rule that starts the clock at the high-level alarm, as a worst value or as 24
hourly values: 9VAC25-790-390 A.2 (Virginia Administrative Code, read 2026). One state's rule, and
an example; local rules decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.people.response import Pace, Response
from stationsim.studies.processes import each_of
from stationsim.studies.rehearse.days import day_flows, with_dark_upstream
from stationsim.studies.rehearse.hours import (
    HOUR_S,
    HourRow,
    StationHours,
    arriving_at,
    station_hours,
)
from stationsim.studies.rehearse.plan import cases as c
from stationsim.studies.rehearse.plan.steps import REST, Chain, with_step

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.trace import CrewRow

Verdict = Literal["saves", "too late", "not enough", "never", "not needed"]

Key = tuple[str, str, int]
"""Day, weather and hour."""

WHOLE = c.WHOLE
_WORTH_A_ROW_S = 1.0
_OF_A_PERSON = {"called": "acknowledges", "gets ready": "gets_ready", "travels": "travels"}

NO_SPILL_M3 = 1e-6
"""Less than this is no spill [m3]."""


class SourceRow(NamedTuple):
    """One source alone, or the whole plan, at an hour and a pace."""

    day: str
    date: str
    weather: str
    hour: int
    source: str
    pace: Pace
    nobody_spill_s: float
    flow_s: float
    margin_s: float
    spilled_m3: float
    greatest_level_m: float
    verdict: Verdict


class StepRow(NamedTuple):
    """One span of the chain that brings a source, at an hour."""

    day: str
    weather: str
    hour: int
    source: str
    number: int
    step: str
    who: str
    low_s: float
    typical_s: float
    high_s: float
    margin_low_s: float
    margin_s: float
    margin_high_s: float


class LeftOutRow(NamedTuple):
    """The whole plan at typical pace with one thing missing or going wrong."""

    day: str
    weather: str
    hour: int
    left_out: str
    flow_s: float
    spill_s: float
    spilled_m3: float
    more_m3: float


class AllowedRow(NamedTuple):
    """The time that a rule allows, from the high-level alarm at the hour to the spill.

    ``in_time`` asks for both: water is drawn before the time is up, and it is enough, so that
    nothing spills until the grid is back.
    """

    day: str
    weather: str
    hour: int
    allowed_s: float
    pace: Pace
    response_s: float
    margin_s: float
    in_time: bool
    spilled_m3: float


@dataclass(frozen=True)
class Found:
    """All rows of a plan, and what sentences and figures need beside them.

    Parameters
    ----------
    station, episode, response, asked
        What was rehearsed.
    hours
        The table by hour of the same days.
    sources, steps, left_out, allowed
        The rows.
    cuts
        Every hour that was rehearsed, by day, weather and hour.
    names
        Names of the sources.
    """

    station: Station
    episode: Episode
    response: Response
    asked: c.PlanAsked
    hours: StationHours
    sources: list[SourceRow]
    steps: list[StepRow]
    left_out: list[LeftOutRow]
    allowed: list[AllowedRow]
    cuts: dict[Key, c.Hour]
    names: tuple[str, ...]

    def row(self, key: Key, source: str, pace: Pace) -> SourceRow:
        """Return the row of an hour, a source and a pace.

        Parameters
        ----------
        key
            Day, weather and hour.
        source, pace
            Which.
        """
        return self._table[(*key, source, pace)]

    @cached_property
    def _table(self) -> dict[tuple[str, str, int, str, str], SourceRow]:
        return {(r.day, r.weather, r.hour, r.source, r.pace): r for r in self.sources}

    @property
    def worst(self) -> Key:
        """Day, weather and hour at which the typical plan does worst."""
        typical = [r for r in self.sources if r.source == WHOLE and r.pace == "typical"]
        row = max(typical, key=lambda r: (r.spilled_m3, -r.margin_s))
        return row.day, row.weather, row.hour


class HourTask(NamedTuple):
    """What has to be rehearsed at one hour."""

    station: Station
    response: Response
    asked: c.PlanAsked
    cut: c.Hour
    row: HourRow

    @property
    def key(self) -> Key:
        """Day, weather and hour."""
        return self.row.day, self.row.weather, self.row.hour


class HourRows(NamedTuple):
    """The rows of one hour."""

    sources: list[SourceRow]
    steps: list[StepRow]
    left_out: list[LeftOutRow]
    allowed: list[AllowedRow]


def find(
    name: str, station: Station, episode: Episode, asked: c.PlanAsked, processes: int = 1
) -> Found:
    """Rehearse a plan at every hour that is asked for.

    Parameters
    ----------
    name
        What the station is called in messages.
    station, episode
        What stands there; the episode's calendar, inflow and response.
    asked
        What is asked.
    processes
        How many processes may run at once, when that pays.

    Raises
    ------
    InputError
        When the station has no level of spill, a level is not set, or a record is too short.
    """
    response = episode.response
    assert response is not None  # noqa: S101  (checked by the study)
    flows = [day_flows(episode, day, same_day=asked.same_day) for day in asked.days]
    dates = dict.fromkeys(one.midnight.date().isoformat() for one in flows)
    asked = replace(asked, days=tuple(dates))
    table = _told_apart(station_hours(name, station, episode, asked, pump_down=False))
    cuts = dict(_cuts(table, episode, asked))
    names = c.sources_of(station, response)
    tasks = [
        HourTask(station, response, asked, cut, row)
        for cut, row in zip(cuts.values(), table.hours, strict=True)
    ]
    hours = each_of(rehearse_hour, tasks, processes)
    return Found(
        station,
        episode,
        response,
        asked,
        table,
        [row for one in hours for row in one.sources],
        [row for one in hours for row in one.steps],
        [row for one in hours for row in one.left_out],
        [row for one in hours for row in one.allowed],
        cuts,
        names,
    )


def rehearse_hour(task: HourTask) -> HourRows:
    """Return all rows of one hour.

    Parameters
    ----------
    task
        The hour.
    """
    sources, typical = _sources(task)
    return HourRows(sources, _steps(task, typical), _left_out(task, typical[WHOLE]), _allowed(task))


def _told_apart(table: StationHours) -> StationHours:
    """Return a table whose days have names of their own: the date where weekdays are alike."""
    names = {row.date: row.day for row in table.hours}
    if len(set(names.values())) == len(names):
        return table
    return table._replace(hours=[row._replace(day=row.date) for row in table.hours])


def _cuts(
    table: StationHours, episode: Episode, asked: c.PlanAsked
) -> Iterator[tuple[Key, c.Hour]]:
    """Return every hour, with what arrives from its midnight on."""
    days = {day: day_flows(episode, day, same_day=asked.same_day) for day in asked.days}
    for row in table.hours:
        day = days[row.date]
        lost_s = row.hour * HOUR_S
        arriving = with_dark_upstream(
            arriving_at(day, row.weather, row.hour, asked),
            lost_s,
            asked.upstream,
            asked.upstream_lag_s,
            lost_s + asked.outage_s,
            asked.upstream_surge_s,
        )
        cut = c.Hour(episode, day.midnight, lost_s, arriving, row.start_level_m, asked.outage_s)
        yield (row.day, row.weather, row.hour), cut


def _verdict(nobody: c.Outcome, found: c.Outcome) -> Verdict:
    if nobody.spilled_m3 <= NO_SPILL_M3:
        return "not needed"
    if found.spilled_m3 <= NO_SPILL_M3:
        return "saves"
    if math.isinf(found.flow_s):
        return "never"
    return "too late" if found.flow_s >= nobody.spill_s else "not enough"


def _sources(task: HourTask) -> tuple[list[SourceRow], dict[str, c.Outcome]]:
    """Return the rows of each source and of the whole plan, and the typical outcomes."""
    station, response, cut, row = task.station, task.response, task.cut, task.row
    nobody = cut.rehearse(c.nobody(station))
    spill_s = row.spill_s if nobody.spilled_m3 > NO_SPILL_M3 else math.inf
    rows: list[SourceRow] = []
    typical: dict[str, c.Outcome] = {}
    known: dict[Pace, tuple[c.Case, c.Outcome]] = {}
    for source in (*c.sources_of(station, response), WHOLE):
        for pace in c.PACES:
            if source == WHOLE:
                case = c.whole(station, response, pace)
            else:
                case = c.alone(station, response, source, pace)
            before = known.get(pace)
            if before is not None and before[0][1:] == case[1:]:
                came = before[1]  # a plan of one source is that source
            else:
                came = cut.rehearse(case)
            known[pace] = (case, came)
            if pace == "typical":
                typical[source] = came
            rows.append(
                SourceRow(
                    row.day, row.date, row.weather, row.hour, source, pace,
                    row.spill_s, came.flow_s, _minus(spill_s, came.flow_s), came.spilled_m3,
                    came.greatest_level_m, _verdict(nobody, came),
                )
            )  # fmt: skip
    return rows, typical


def _minus(until_s: float, from_s: float) -> float:
    """Return a margin; what never comes is late without end, unless nothing ever spills."""
    if math.isinf(until_s):
        return math.inf
    return -math.inf if math.isinf(from_s) else until_s - from_s


def _steps(task: HourTask, typical: dict[str, c.Outcome]) -> list[StepRow]:
    """Return the rows of each chain that people bring a source by."""
    rows = []
    for source in c.sources_of(task.station, task.response):
        if source not in c.TASK_OF:
            continue
        case = c.alone(task.station, task.response, source, "typical")
        assert case.response is not None  # noqa: S101  (it needs people)
        came = typical[source]
        usual = _minus(task.row.spill_s, came.flow_s)
        chain = _chain(task, case.response, source, came.trace.crew)
        number = 0
        for number, step in enumerate(chain.steps(), start=1):
            span = step.span
            margins = [usual, usual]
            for n, pace in enumerate(("low", "high")):
                if (span.low, span.high)[n] != span.typical:
                    changed = case._replace(response=with_step(case.response, step, pace))
                    first_s = task.cut.first_water_s(changed)
                    margins[n] = _minus(task.row.spill_s, first_s)
            rows.append(
                StepRow(
                    *task.key, source, number, step.name, step.who, span.low, span.typical,
                    span.high, margins[0], usual, margins[1],
                )
            )  # fmt: skip
        rest_s = chain.rest_s(came.flow_s)
        if _WORTH_A_ROW_S < rest_s < math.inf:
            rest = (rest_s, rest_s, rest_s, usual, usual, usual)
            rows.append(StepRow(*task.key, source, number + 1, REST, "", *rest))
    return rows


def _chain(task: HourTask, response: Response, source: str, crew: Sequence[CrewRow]) -> Chain:
    """Return who brings a source, as the typical run has it."""
    step = response.task(c.TASK_OF[source])
    assert step is not None  # noqa: S101  (it is a source of the plan)
    called = next((row.person for row in crew if row.outcome == "acknowledged"), "")
    at_work = [row for row in crew if row.task == step.kind]
    names = list(dict.fromkeys(r.person for r in at_work if r.start_s == at_work[0].start_s))
    on_site = called if called in names or not names else names[0]
    helpers = tuple(name for name in names if name not in (called, on_site, ""))
    begins: dict[tuple[str, str], float] = {}
    for row in crew:
        if row.task in _OF_A_PERSON:
            begins.setdefault((row.person, _OF_A_PERSON[row.task]), row.start_s)
    at_night = frozenset(key for key, start_s in begins.items() if _is_night(task, start_s))
    return Chain(response, step, called, on_site if step.people else "", helpers, at_night)


def _is_night(task: HourTask, start_s: float) -> bool:
    """Return whether a moment of a run counts as night."""
    since_s = task.cut.at_s + start_s
    weekday = (task.cut.midnight + timedelta(seconds=since_s)).weekday()
    return task.response.at_night(since_s, weekday)


def _left_out(task: HourTask, usual: c.Outcome) -> list[LeftOutRow]:
    """Return the rows of the whole plan with one thing missing, late or failing."""
    rows = []
    for case in c.left_out(task.station, task.response, task.asked, usual):
        came = task.cut.rehearse(case)
        rows.append(
            LeftOutRow(
                *task.key, case.name, came.flow_s, came.spill_s, came.spilled_m3,
                came.spilled_m3 - usual.spilled_m3,
            )
        )  # fmt: skip
    return rows


def _allowed(task: HourTask) -> list[AllowedRow]:
    """Return the response against the time from the alarm level to the spill, by pace."""
    alarm_m, allowed_s = task.station.alarms.high_level_m, task.row.from_alarm_s
    if alarm_m is None or not math.isfinite(allowed_s):
        return []
    # what a rule asks does not depend on how long the grid is out
    out_s = max(task.cut.out_s, c.PlanAsked.outage_s, allowed_s + HOUR_S)
    cut = replace(task.cut, out_s=out_s)
    rows = []
    for pace in c.PACES:
        came = cut.rehearse(c.whole(task.station, task.response, pace), alarm_m)
        margin = _minus(allowed_s, came.flow_s)
        in_time = margin >= 0.0 and came.spilled_m3 <= NO_SPILL_M3
        rows.append(
            AllowedRow(*task.key, allowed_s, pace, came.flow_s, margin, in_time, came.spilled_m3)
        )
    return rows

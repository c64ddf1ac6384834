"""The 24-hour table: power goes at this hour; how long to the alarm, how long to the spill.

For each hour of a day, dry and wet, nothing is pumped from the hour on. Beside it stands the hand
method (stored volume over the flow of that hour) with its error, the time from the alarm level to
the spill as a rule counts it that starts the clock at the alarm, what has spilled after chosen
times, and how long it takes to pump the well down again once the power is back.

References
----------
The time from the high-level alarm to the overflow at the flow that arrives, as a worst value or as
24 hourly values: 9VAC25-790-390 A.2 (Virginia Administrative Code, read 2026). It is one state's
rule, and an example; local rules decide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from stationsim.episode import Episode
from stationsim.errors import InputError
from stationsim.inflow.segments import DAY_S, Segments
from stationsim.outline import inflow_range, set_levels
from stationsim.studies.ahead import Ahead, Stream, crest_of, stream_of
from stationsim.studies.rehearse.days import (
    REACH_S,
    DayFlows,
    day_flows,
    is_storm,
    with_dark_upstream,
)
from stationsim.studies.rehearse.routine import ROUTINE, routine_levels
from stationsim.study_result import Source, StudyResult

if TYPE_CHECKING:
    from stationsim.forms import Form
    from stationsim.station import Station
    from stationsim.units import System

HOUR_S = 3600.0


@dataclass(frozen=True)
class HoursAsked:
    """What is asked of the 24-hour table.

    Parameters
    ----------
    days
        Days of the week (``wednesday``) or dates (``2027-03-03``).
    same_day
        True to let the same day follow on itself; False for the day that the calendar says.
    start_level
        Where the water stands when the power goes: a level [m above floor], the name of a level
        that is set (``lead start``, ``stop``, ``high-level alarm``), or where the routine has it
        at that hour: ``least``, ``mean`` or ``greatest``.
    added_m3s
        Constant addition to the inflow when it is wet [m3/s].
    storm_peak_s
        How long after the power loss the episode's storm brings most [s].
    spilled_after_s
        After which times the volume spilled is told [s].
    response_s
        Time until somebody pumps again [s]; None when it is not asked.
    upstream, upstream_lag_s, upstream_surge_s
        Part of the inflow that is pumped by stations that go dark in the same cut [-], how long
        their water is on its way [s], and in which time what they held back arrives [s].
    outage_s
        Length of the outage after which the pump-down is told [s].
    """

    days: tuple[str, ...] = ("wednesday", "saturday")
    same_day: bool = False
    start_level: float | str = "lead start"
    added_m3s: float = 0.0
    storm_peak_s: float = 0.0
    spilled_after_s: tuple[float, ...] = ()
    response_s: float | None = None
    upstream: float = 0.0
    upstream_lag_s: float = 0.0
    upstream_surge_s: float = HOUR_S
    outage_s: float = 2.0 * HOUR_S

    @property
    def told_after_s(self) -> tuple[float, ...]:
        """After which times the volume spilled is told, the response among them [s]."""
        response = () if self.response_s is None else (self.response_s,)
        return tuple(sorted({*self.spilled_after_s, *response}))


class HourRow(NamedTuple):
    """One hour of the table; times in [s], NaN where a level is not set, infinity for never."""

    station: str
    day: str
    date: str
    weather: str
    hour: int
    start_level_m: float
    inflow_m3s: float
    alarm_s: float
    spill_s: float
    alarm_to_spill_s: float
    from_alarm_s: float
    hand_s: float
    hand_error: float


class SpilledRow(NamedTuple):
    """What has spilled some time after a power loss at an hour."""

    station: str
    day: str
    weather: str
    hour: int
    after_s: float
    spilled_m3: float


class PumpDownRow(NamedTuple):
    """How long pumps take to bring the water down to the stop level after an outage."""

    station: str
    day: str
    weather: str
    hour: int
    outage_s: float
    pumps: str
    number: int
    level_m: float
    spilled_m3: float
    pump_down_s: float


class RankRow(NamedTuple):
    """A station at its worst hour; ``rank`` 1 is the one that spills first."""

    rank: int
    station: str
    weather: str
    worst_day: str
    worst_hour: int
    start_level_m: float
    inflow_m3s: float
    alarm_s: float
    spill_s: float
    from_alarm_s: float
    hours_too_late: float


class StationHours(NamedTuple):
    """All rows of one station, and what the plot and the sentences need beside them."""

    name: str
    station: Station
    hours: list[HourRow]
    spilled: list[SpilledRow]
    pump_down: list[PumpDownRow]
    storms: bool

    @property
    def blocks(self) -> list[list[HourRow]]:
        """The rows of each day and weather, 24 each."""
        return [self.hours[n : n + 24] for n in range(0, len(self.hours), 24)]

    @property
    def has_wet(self) -> bool:
        """True when there are rows for wet weather."""
        return any(row.weather == "wet" for row in self.hours)


def rehearse(
    stations: Sequence[tuple[str, Station, Episode]],
    asked: HoursAsked | None = None,
    sources: Sequence[Source] = (),
    *,
    sheet: bool = False,
) -> StudyResult:
    """Return the 24-hour table of one station or several.

    Parameters
    ----------
    stations
        Name, station and episode of each; names are unique. Of the episode the inflow and the
        calendar count; scripted events do not.
    asked
        What is asked; None for the usual.
    sources
        The scenarios that they came from.
    sheet
        True to add the one-page station sheet of the first station.

    Raises
    ------
    InputError
        When a station has no level of spill, a level is not set, or a record does not cover a day.
    """
    from stationsim.plots import rehearse as drawn
    from stationsim.studies.rehearse import text

    asked = HoursAsked() if asked is None else asked
    found = [station_hours(name, station, episode, asked) for name, station, episode in stations]
    tables = {
        "hours": pd.DataFrame([r for one in found for r in one.hours], columns=HourRow._fields),
        "spilled": pd.DataFrame(
            [r for one in found for r in one.spilled], columns=SpilledRow._fields
        ),
        "pump_down": pd.DataFrame(
            [r for one in found for r in one.pump_down], columns=PumpDownRow._fields
        ),
        "stations": pd.DataFrame(ranked(found, asked), columns=RankRow._fields),
    }
    return StudyResult(
        study="rehearse",
        subject=", ".join(one.station.name for one in found),
        tables=tables,
        tell=partial(text.sentences, found, asked),
        show=partial(text.lines, found, asked),
        draw={"minutes_to_spill": partial(drawn.minutes_figure, found, asked)},
        asked=asdict(asked),
        sources=tuple(sources),
        forms=partial(_sheet, stations[0], found[0], asked, sources) if sheet else None,
    )


def _sheet(
    one: tuple[str, Station, Episode],
    hours: StationHours,
    asked: HoursAsked,
    sources: Sequence[Source],
    system: System,
) -> list[Form]:
    from stationsim.studies.rehearse.sheet import station_sheet

    source = sources[0] if sources else None
    return [station_sheet(one[1], one[2], system, hours=hours, asked=asked, source=source)]


def ranked(found: Sequence[StationHours], asked: HoursAsked) -> list[RankRow]:
    """Return one row for each station and weather, the shortest time to spill first.

    Parameters
    ----------
    found
        The stations.
    asked
        What was asked.
    """
    rows = []
    for one in found:
        for weather in ("dry", "wet"):
            hours = [row for row in one.hours if row.weather == weather]
            if not hours:
                continue
            worst = worst_of(hours)
            late = math.nan
            if asked.response_s is not None:
                late = float(sum(row.spill_s < asked.response_s for row in hours))
            rows.append(
                RankRow(
                    rank=0,
                    station=one.name,
                    weather=weather,
                    worst_day=worst.day,
                    worst_hour=worst.hour,
                    start_level_m=worst.start_level_m,
                    inflow_m3s=worst.inflow_m3s,
                    alarm_s=worst.alarm_s,
                    spill_s=worst.spill_s,
                    from_alarm_s=min(row.from_alarm_s for row in hours),
                    hours_too_late=late,
                )
            )
    rows.sort(key=lambda row: row.spill_s)
    return [row._replace(rank=number) for number, row in enumerate(rows, start=1)]


def worst_of(hours: Sequence[HourRow]) -> HourRow:
    """Return the row with the shortest time to spill, the first of equals.

    Parameters
    ----------
    hours
        Some rows.
    """
    return min(hours, key=lambda row: row.spill_s)


def station_hours(
    name: str, station: Station, episode: Episode, asked: HoursAsked, *, pump_down: bool = True
) -> StationHours:
    """Return all rows of one station as it is built, without a bypass pump that can be brought.

    Parameters
    ----------
    name
        What it is called in the tables.
    station, episode
        What stands there, and what arrives.
    asked
        What is asked.
    pump_down
        False to leave out how long it takes to pump down, which takes longest to find.

    Raises
    ------
    InputError
        When it has no level of spill, a level is not set, or a record does not cover a day.
    """
    station = station.as_built()
    crest_of(station, name)
    days = [day_flows(episode, day, same_day=asked.same_day) for day in asked.days]
    wet = asked.added_m3s > 0.0 or any(is_storm(source) for source in episode.inflow)
    weathers = ("dry", "wet") if wet else ("dry",)
    greatest = max(
        inflow_range(arriving_at(day, weather, hour, asked), DAY_S + REACH_S)[1]
        for day in days
        for weather in weathers
        for hour in (0, 6, 12, 18)
    )
    surge = 1.0 + asked.upstream * asked.outage_s / asked.upstream_surge_s
    ahead = Ahead(station, 2.0 * greatest * surge)
    table = _Table(name, ahead, asked, pump_down=pump_down)
    for day in days:
        starts = table.start_levels(day)
        for weather in weathers:
            for hour in range(24):
                arriving = arriving_at(day, weather, hour, asked)
                table.add(day, weather, hour, starts[hour], arriving)
    return StationHours(
        name,
        station,
        table.hours,
        table.spilled,
        table.pump_down,
        any(is_storm(source) for source in episode.inflow),
    )


def arriving_at(day: DayFlows, weather: str, hour: int, asked: HoursAsked) -> Segments:
    """Return what arrives on a day when the power goes at an hour.

    Parameters
    ----------
    day
        The day.
    weather
        ``dry`` or ``wet``.
    hour
        The hour [h].
    asked
        Says what is added when it is wet, and when the storm brings most.
    """
    if weather == "dry":
        return day.dry
    return day.wet(hour * HOUR_S + asked.storm_peak_s, asked.added_m3s)


def level_named(station: Station, name: str) -> float:
    """Return a level that is set, by its name [m above floor].

    Parameters
    ----------
    station
        What stands there.
    name
        Such as ``lead start``, ``stop`` or ``high-level alarm``.

    Raises
    ------
    InputError
        When no such level is set.
    """
    levels = dict(set_levels(station))
    if name not in levels:
        accepted = ", ".join([*levels, *ROUTINE])
        message = f"{station.name}: no level '{name}' is set (accepted: {accepted}, or a level)"
        raise InputError(message)
    return levels[name]


class _Table:
    """The rows as they come."""

    def __init__(self, name: str, ahead: Ahead, asked: HoursAsked, *, pump_down: bool) -> None:
        self.name, self.ahead, self.asked = name, ahead, asked
        self.station = station = ahead.station
        self.hours: list[HourRow] = []
        self.spilled: list[SpilledRow] = []
        self.pump_down: list[PumpDownRow] = []
        # one pump, each of them where they are unlike, and two
        every = range(len(station.pumps))
        singles = [(0,)] if station.pumps_alike() else [(index,) for index in every]
        self.pumping: list[tuple[int, ...]] = []
        if pump_down and not math.isnan(ahead.stop_m3):
            self.pumping = [*singles, *([(0, 1)] if len(every) > 1 else [])]

    def start_levels(self, day: DayFlows) -> list[float]:
        """Return where the water stands at each hour [m]."""
        start = self.asked.start_level
        if isinstance(start, str):
            if start in ROUTINE:
                return routine_levels(self.station, day, start)
            start = level_named(self.station, start)
        crest = crest_of(self.station, self.name)
        if not 0.0 <= start <= crest:
            message = (
                f"{self.name}: the start level of {start:g} m above the floor does not lie between"
                f" the floor and the spill at {crest:g} m"
            )
            raise InputError(message)
        return [start] * 24

    def add(self, day: DayFlows, weather: str, hour: int, level_m: float, full: Segments) -> None:
        """Add the rows of one hour."""
        asked, ahead = self.asked, self.ahead
        lost_s, v_m3 = hour * HOUR_S, self.station.well.volume_at(level_m)
        dark = with_dark_upstream(full, lost_s, asked.upstream, asked.upstream_lag_s)
        stream = stream_of(dark)
        arriving = float(full.at(np.array([lost_s]))[0])
        spill_s = self._rise(stream, lost_s, v_m3, ahead.crest_m3)
        alarm_s = self._rise(stream, lost_s, v_m3, ahead.alarm_m3)
        from_alarm_s = self._rise(stream, lost_s, ahead.alarm_m3, ahead.crest_m3)
        to_go = ahead.crest_m3 - v_m3
        hand_s = to_go / arriving if arriving > 0.0 else math.inf
        self.hours.append(
            HourRow(
                station=self.name,
                day=day.name,
                date=day.midnight.date().isoformat(),
                weather=weather,
                hour=hour,
                start_level_m=level_m,
                inflow_m3s=arriving,
                alarm_s=alarm_s,
                spill_s=spill_s,
                alarm_to_spill_s=spill_s - alarm_s if math.isfinite(spill_s) else math.inf,
                from_alarm_s=from_alarm_s,
                hand_s=hand_s,
                hand_error=hand_s / spill_s - 1.0
                if 0.0 < spill_s < math.inf and hand_s < math.inf
                else math.nan,
            )
        )
        key = (self.name, day.name, weather, hour)
        for after_s in asked.told_after_s:
            came = ahead.go(stream, lost_s, v_m3, lost_s + after_s)
            self.spilled.append(SpilledRow(*key, after_s, came.spilled_m3))
        self._add_pump_down(key, full, lost_s, v_m3)

    def _rise(self, stream: Stream, from_s: float, v_m3: float, goal_m3: float) -> float:
        if math.isnan(goal_m3) or math.isnan(v_m3):
            return math.nan
        if v_m3 >= goal_m3:
            return 0.0
        return self.ahead.seconds_to(stream, from_s, v_m3, goal_m3, REACH_S)

    def _add_pump_down(
        self, key: tuple[str, str, str, int], full: Segments, lost_s: float, v_m3: float
    ) -> None:
        """Add how long one pump and two take to bring the water down once the power is back."""
        if not self.pumping:
            return
        asked, ahead = self.asked, self.ahead
        back_s = lost_s + asked.outage_s
        there = with_dark_upstream(
            full, lost_s, asked.upstream, asked.upstream_lag_s, back_s, asked.upstream_surge_s
        )
        stream = stream_of(there)
        back = ahead.go(stream, lost_s, v_m3, back_s)
        level = self.station.well.level_at(back.v_m3)
        for machines in self.pumping:
            number, down = len(machines), 0.0
            if back.v_m3 > ahead.stop_m3:
                down = ahead.seconds_to(stream, back_s, back.v_m3, ahead.stop_m3, REACH_S, machines)
            names = " + ".join(self.station.pumps[index].name for index in machines)
            self.pump_down.append(
                PumpDownRow(*key, asked.outage_s, names, number, level, back.spilled_m3, down)
            )

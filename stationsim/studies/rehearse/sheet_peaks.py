"""Peaks of the station sheet: the most that arrives after power is lost, and what carries it.

A storm may bring most between two full hours, or after the power is gone; so the peak is that of
the flow itself, from each cut of the table on, not that of the flows at its hours.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from stationsim.inflow.segments import DAY_S
from stationsim.studies.ahead import Ahead
from stationsim.studies.rehearse.days import WEEKDAYS, day_flows, with_dark_upstream
from stationsim.studies.rehearse.hours import HOUR_S, arriving_at

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.studies.rehearse.hours import HoursAsked, StationHours

_MOST_TRIED = 6
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


class Peak(NamedTuple):
    """The most that arrives in some weather after a cut of the table.

    ``arrives_m3s`` is what pumps must carry [m3/s]; ``spills_m3s`` is what arrives while stations
    upstream are dark too [m3/s], and ``when`` tells when that is.
    """

    arrives_m3s: float
    spills_m3s: float
    when: str


def heads_of(found: StationHours) -> dict[str, str]:
    """Return what a day is called for each date: its name, or the date where two are named alike.

    Parameters
    ----------
    found
        The 24-hour table.
    """
    names = {row.date: row.day for row in found.hours}
    alike = len(set(names.values())) < len(names)
    return {date: date if alike else name for date, name in names.items()}


def peaks_of(episode: Episode, found: StationHours, asked: HoursAsked) -> dict[str, Peak]:
    """Return the peak of each weather of the table.

    It is looked for from each cut to the end of its day; if a storm brings most later, as far as
    that. Water that dark stations upstream have sent before the cut counts as far as it arrives
    when the well is full already.

    Parameters
    ----------
    episode
        What arrives.
    found, asked
        The 24-hour table, and what was asked of it.
    """
    days = {
        flows.midnight.date().isoformat(): flows
        for flows in (day_flows(episode, day, same_day=asked.same_day) for day in asked.days)
    }
    heads, peaks = heads_of(found), dict[str, Peak]()
    for row in found.hours:
        day, lost_s = days[row.date], row.hour * HOUR_S
        full = arriving_at(day, row.weather, row.hour, asked)
        later_s = asked.storm_peak_s if row.weather == "wet" and found.storms else 0.0
        ends_s = max(DAY_S, lost_s + later_s)
        arrives_m3s, at_s = full.greatest(lost_s, ends_s)
        spills_m3s = arrives_m3s
        if asked.upstream > 0.0:
            dark = with_dark_upstream(full, lost_s, asked.upstream, asked.upstream_lag_s)
            from_s = lost_s + min(asked.upstream_lag_s, row.spill_s)
            spills_m3s, at_s = dark.greatest(from_s, max(from_s, ends_s))
        best = peaks.get(row.weather, Peak(-1.0, -1.0, ""))
        when = best.when
        if spills_m3s > best.spills_m3s:
            when = _when(day.midnight, at_s, heads[row.date])
        peaks[row.weather] = Peak(
            max(arrives_m3s, best.arrives_m3s), max(spills_m3s, best.spills_m3s), when
        )
    return peaks


def _when(midnight: datetime, at_s: float, head: str) -> str:
    """Return day and time of a moment, to the minute, the day as its head is written."""
    at = midnight + timedelta(minutes=round(at_s / 60.0))
    dated = head == midnight.date().isoformat()
    day = at.date().isoformat() if dated else WEEKDAYS[at.weekday()][:3].capitalize()
    return f"{day} {at:%H:%M}"


def pumps_that_carry(station: Station, flow_m3s: float, level_m: float) -> str | None:
    """Return how many electric pumps carry a flow, whichever they are; a blank for many pumps.

    Parameters
    ----------
    station
        What stands there.
    flow_m3s
        What arrives [m3/s].
    level_m
        Where the water stands [m above floor].
    """
    every = range(len(station.pumps))
    if len(every) > _MOST_TRIED:
        return None
    ahead, volume = Ahead(station, 2.0 * flow_m3s), station.well.volume_at(level_m)
    of = _NUMBERS[len(every)]
    every_one = "both pumps" if len(every) == 2 else f"all {of} pumps"
    for number in range(1, len(every) + 1):
        groups = [every[:number]] if station.pumps_alike() else list(combinations(every, number))
        if all(ahead.flow_m3s(tuple(group), volume) >= flow_m3s for group in groups):
            if number == len(every):
                one = f"{station.pumps[0].name} is enough"
                return f"{every_one} are needed" if number > 1 else one
            verb = "is" if number == 1 else "are"
            return f"any {_NUMBERS[number]} of the {of} pumps {verb} enough"
    if len(every) > 1:
        return f"not even {every_one} together are enough"
    return f"{station.pumps[0].name} is not enough"

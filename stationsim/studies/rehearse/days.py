"""The inflow of a day for the 24-hour table: dry, and with a storm or an addition; dark upstream.

Times are seconds since the midnight at which the day begins. What the day after is, the calendar
says; or the same day again, as tables by hand have it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from stationsim.errors import InputError, RecordError
from stationsim.inflow.daily import SATURDAY, Constant, Daily, Growth
from stationsim.inflow.segments import DAY_S, Segments, add
from stationsim.inflow.series import Recorded
from stationsim.inflow.storm import Hydrograph
from stationsim.inflow.unit_hydrographs import RainDerived

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.inflow.segments import InflowSource

REACH_S = 3.0 * DAY_S
"""How far beyond a moment the water is followed [s]; what takes longer counts as never."""

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
"""Names of the days as they are accepted; three letters will do."""

DAYS_ACCEPTED = "days of the week or dates, with commas: 'wednesday,saturday' or '2027-03-03'"
"""What a list of days may be, in words."""

_STORM_S = 14.0 * DAY_S


@dataclass(frozen=True)
class DayFlows:
    """What arrives from a midnight on.

    Parameters
    ----------
    midnight
        The midnight at which the day begins, local time.
    dry
        All that arrives without the storm [s since that midnight], as far as ``REACH_S`` beyond
        the end of the day.
    storm
        What the episode's storms add, from the beginning of the episode [s]; None for none.
    peak_s
        When the storm brings most [s since the beginning of the episode].
    """

    midnight: datetime
    dry: Segments
    storm: Segments | None
    peak_s: float

    @property
    def name(self) -> str:
        """The day of the week in three letters."""
        return WEEKDAYS[self.midnight.weekday()][:3].capitalize()

    def wet(self, peak_at_s: float, added_m3s: float) -> Segments:
        """Return what arrives with the storm and a constant addition.

        Parameters
        ----------
        peak_at_s
            Where the storm's greatest flow is put [s since midnight].
        added_m3s
            What is added at all times [m3/s].
        """
        parts = [self.dry]
        if added_m3s > 0.0:
            parts.append(Segments(np.zeros(1), np.array([added_m3s]), np.zeros(1)))
        if self.storm is not None:
            parts.append(moved(self.storm, peak_at_s - self.peak_s, before_m3s=0.0))
        return add(parts)


def is_storm(source: InflowSource) -> bool:
    """Return whether a source of inflow is a storm.

    Parameters
    ----------
    source
        One source of an episode.
    """
    return isinstance(source, (RainDerived, Hydrograph))


def read_days(text: str) -> tuple[str, ...]:
    """Return the days of a list such as ``wednesday,saturday``, in the form that this module uses.

    Parameters
    ----------
    text
        Names of days or dates, with commas.

    Raises
    ------
    InputError
        When one of them is neither.
    """
    found = []
    for part in text.split(","):
        word = part.strip().lower()
        days = [day for day in WEEKDAYS if len(word) >= 3 and day.startswith(word)]
        if not days:
            try:
                days = [date.fromisoformat(word).isoformat()]
            except ValueError as error:
                message = f"'{part.strip()}' is no day; accepted: {DAYS_ACCEPTED}"
                raise InputError(message) from error
        found += days
    return tuple(dict.fromkeys(found))


def day_flows(episode: Episode, day: str, *, same_day: bool = False) -> DayFlows:
    """Return the inflow of a day.

    Parameters
    ----------
    episode
        Its sources and its calendar.
    day
        A day of the week (the first one that begins within the episode, or after it begins) or a
        date.
    same_day
        True to let the same day follow on itself.

    Raises
    ------
    InputError
        When a recorded inflow does not cover the day.
    """
    midnight = _midnight(episode, day)
    begins_s = (midnight - episode.start).total_seconds()
    ends_s = begins_s + DAY_S + REACH_S
    parts = []
    for source in episode.inflow:
        if is_storm(source):
            continue
        if same_day:
            parts.append(_same_day(source, episode, midnight, begins_s))
        else:
            found = extended(source, episode, begins_s, ends_s, midnight)
            parts.append(moved(found, -begins_s))
    storm = _storm(episode)
    peak_s = 0.0
    if storm is not None:
        peak_s = storm.greatest(float(storm.start_s[0]), float(storm.start_s[-1]))[1]
    return DayFlows(midnight, add(parts), storm, peak_s)


def _storm(episode: Episode) -> Segments | None:
    """Return what the storms add, from the beginning of the first of them on; None for none."""
    storms = [s for s in episode.inflow if isinstance(s, (RainDerived, Hydrograph))]
    if not storms:
        return None
    # one that began before the episode is taken from its own beginning
    begins_s = [
        s.rain.begins_s if isinstance(s, RainDerived) else s.at_s + s.times_s[0] for s in storms
    ]
    later_s = max(0.0, -min(begins_s))
    parts = []
    for source in storms:
        if isinstance(source, RainDerived):
            rain = replace(source.rain, at_s=source.rain.at_s + later_s)
            whole: InflowSource = replace(source, rain=rain)
        else:
            whole = replace(source, at_s=source.at_s + later_s)
        parts.append(whole.segments(episode.start, episode.duration_s + later_s + _STORM_S))
    return add(parts)


def with_dark_upstream(
    inflow: Segments,
    lost_s: float,
    fraction: float,
    lag_s: float,
    back_s: float = math.inf,
    surge_s: float = 3600.0,
) -> Segments:
    """Return an inflow of which a part stops with the stations upstream, and comes back later.

    Parameters
    ----------
    inflow
        All that would arrive.
    lost_s, back_s
        When the power goes, and when it is back [s].
    fraction
        Part of the inflow that those stations pump [-].
    lag_s
        How long their water is on its way [s].
    surge_s
        In which time what they have held back arrives, evenly, once they pump again [s].
    """
    if fraction <= 0.0:
        return inflow
    from_s, to_s = lost_s + lag_s, back_s + lag_s
    dark = inflow.between(from_s, to_s) if to_s < math.inf else inflow.between(from_s, math.inf)
    starts, flows = [np.zeros(1)], [np.zeros(1)]
    slopes = [np.zeros(1)]
    starts.append(dark.start_s)
    flows.append(-fraction * dark.flow_m3s)
    slopes.append(-fraction * dark.slope_m3s2)
    if to_s < math.inf:
        held = fraction * (_total(inflow, to_s) - _total(inflow, from_s))
        starts.append(np.array([to_s, to_s + surge_s]))
        flows.append(np.array([held / surge_s, 0.0]))
        slopes.append(np.zeros(2))
    start = np.concatenate(starts)
    keep = np.append(np.diff(start) > 0.0, True)
    part = Segments(start[keep], np.concatenate(flows)[keep], np.concatenate(slopes)[keep])
    total = add([inflow, part])
    return Segments(total.start_s, np.maximum(total.flow_m3s, 0.0), total.slope_m3s2)


def _total(inflow: Segments, until_s: float) -> float:
    return inflow.volume_m3(until_s) if until_s > 0.0 else 0.0


def _midnight(episode: Episode, day: str) -> datetime:
    first = episode.start.replace(hour=0, minute=0, second=0, microsecond=0)
    if first < episode.start:
        first += timedelta(days=1)
    if day in WEEKDAYS:
        return first + timedelta(days=(WEEKDAYS.index(day) - first.weekday()) % 7)
    wanted = date.fromisoformat(day)
    found = first + timedelta(days=(wanted - first.date()).days)
    if found < first:
        begins = f"{episode.start:%Y-%m-%d %H:%M}"
        raise InputError(f"the day {day} does not lie whole in the episode, which begins {begins}")
    return found


def extended(
    source: InflowSource,
    episode: Episode,
    begins_s: float,
    ends_s: float,
    midnight: datetime,
    *,
    whole_day: bool = True,
) -> Segments:
    """Return a source from the start of the episode on; a record goes on by its last day.

    Parameters
    ----------
    source, episode
        One source of an episode.
    begins_s, ends_s
        From here a whole day must be known, and to here it must go [s since the start].
    midnight
        The day, for messages.
    whole_day
        False to let a record be shorter; what there is of it repeats then.

    Raises
    ------
    InputError
        When a record does not cover the day.
    """
    try:
        return source.segments(episode.start, ends_s)
    except RecordError:
        known_s = episode.duration_s
        if isinstance(source, Recorded):
            known_s = max(known_s, float(np.asarray(source.times_s)[-1]))
        if whole_day and begins_s + DAY_S > known_s + 1.0:
            last = episode.moment(known_s)
            message = (
                f"no recorded inflow for all of {WEEKDAYS[midnight.weekday()].capitalize()}"
                f" {midnight:%Y-%m-%d}: the record ends {last:%a %Y-%m-%d %H:%M}; choose another"
                " day by --days"
            )
            raise InputError(message) from None
        known = source.segments(episode.start, known_s).between(0.0, known_s)
        period_s = min(DAY_S, known_s)
        day = known.between(known_s - period_s, known_s)
        copies = math.ceil((ends_s - known_s) / period_s)
        parts = [known, *(_later(day, known_s + n * period_s) for n in range(copies))]
        return _joined(parts)


def _same_day(
    source: InflowSource, episode: Episode, midnight: datetime, begins_s: float
) -> Segments:
    """Return a source of which one day repeats, from midnight on."""
    ends_s = begins_s + DAY_S + REACH_S
    alike = _one_pattern(source, weekend=midnight.weekday() >= SATURDAY)
    if alike is not None:
        return moved(alike.segments(episode.start, ends_s), -begins_s)
    day = extended(source, episode, begins_s, begins_s + DAY_S, midnight)
    day = day.between(begins_s, begins_s + DAY_S)
    return _joined([_later(day, n * DAY_S) for n in range(round(REACH_S / DAY_S) + 1)])


def _one_pattern(source: InflowSource, *, weekend: bool) -> InflowSource | None:
    """Return a source with the same hourly flows on every day; None when it cannot be told."""
    if isinstance(source, Constant):
        return source
    if isinstance(source, Daily):
        flows = source.weekend_m3s if weekend else source.weekday_m3s
        return replace(source, weekday_m3s=flows, weekend_m3s=flows)
    if isinstance(source, Growth):
        inner = _one_pattern(source.source, weekend=weekend)
        return None if inner is None else replace(source, source=inner)
    return None


def _later(part: Segments, begins_s: float) -> Segments:
    """Return pieces with the first one beginning at a time."""
    return Segments(part.start_s - part.start_s[0] + begins_s, part.flow_m3s, part.slope_m3s2)


def _joined(parts: Sequence[Segments]) -> Segments:
    start = np.concatenate([part.start_s for part in parts])
    kept = np.append(np.diff(start) > 0.0, True)
    flow = np.concatenate([part.flow_m3s for part in parts])[kept]
    return Segments(start[kept], flow, np.concatenate([p.slope_m3s2 for p in parts])[kept])


def moved(part: Segments, by_s: float, before_m3s: float | None = None) -> Segments:
    """Return pieces moved in time.

    Parameters
    ----------
    part
        The pieces.
    by_s
        How much later they shall be [s].
    before_m3s
        What flows before the first of them [m3/s]; None for its own flow at its start.
    """
    start = part.start_s + by_s
    if start[0] <= 0.0:
        return Segments(start, part.flow_m3s, part.slope_m3s2)
    first = np.zeros(1)
    return Segments(
        np.append(first, start),
        np.append(part.flow_m3s[:1] if before_m3s is None else before_m3s, part.flow_m3s),
        np.append(first, part.slope_m3s2),
    )

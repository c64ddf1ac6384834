"""Flows that follow the calendar: constant, by the hour of weekday and weekend, and growing.

An hourly value is the flow at the hour and goes straight to the next one, over midnight to the
first value of the next calendar day; or, as steps, it holds for the hour. The days are those of
the local calendar at the one fixed offset of the episode: a change to summer time isn't modelled.
Saturday and Sunday are the weekend; a public holiday is a weekday here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationsim.inflow.segments import DAY_S, INSTANT_S, Segments, from_points

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from stationsim.inflow.segments import InflowSource

HOUR_S = 3600.0
"""One hour [s]."""

YEAR_S = 365.25 * DAY_S
"""One year, the mean over leap years [s]."""

SATURDAY = 5
"""Number of the first weekend day, counted from Monday as 0 [-]."""


@dataclass(frozen=True)
class Constant:
    """The same flow at all times.

    Parameters
    ----------
    flow_m3s
        The flow [m3/s], 0 or more.
    """

    flow_m3s: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.flow_m3s < math.inf:
            message = (
                f"a constant inflow must be 0 or more and finite (found {self.flow_m3s:g} m3/s)"
            )
            raise ValueError(message)

    def segments(self, start: datetime, duration_s: float) -> Segments:  # noqa: ARG002
        """Return its flow over an episode: one piece.

        Parameters
        ----------
        start
            Local time at which the episode begins.
        duration_s
            How long it lasts [s].
        """
        return Segments(np.zeros(1), np.array([float(self.flow_m3s)]), np.zeros(1))


@dataclass(frozen=True)
class Daily:
    """Hourly flows of a weekday and of a weekend day.

    Parameters
    ----------
    weekday_m3s
        Flow at 0, 1 ... 23 o'clock, Monday to Friday [m3/s]; 24 values.
    weekend_m3s
        The same for Saturday and Sunday [m3/s]; 24 values.
    steps
        True when a value holds for its hour; False when it goes straight to the next.
    """

    weekday_m3s: Sequence[float]
    weekend_m3s: Sequence[float]
    steps: bool = False

    def __post_init__(self) -> None:
        for name in ("weekday_m3s", "weekend_m3s"):
            values = tuple(float(value) for value in getattr(self, name))
            if len(values) != 24:
                message = f"{name}: a day has 24 hourly flows (found {len(values)})"
                raise ValueError(message)
            for hour, value in enumerate(values):
                if not 0.0 <= value < math.inf:
                    message = (
                        f"{name}: the flow at {hour:02d}:00 is {value:g} m3/s"
                        " (accepted: 0 or more, finite)"
                    )
                    raise ValueError(message)
            object.__setattr__(self, name, values)

    def segments(self, start: datetime, duration_s: float) -> Segments:
        """Return its flow over an episode: a piece for each hour.

        Parameters
        ----------
        start
            Local time at which the episode begins; any clock time.
        duration_s
            How long it lasts [s].
        """
        since_midnight_s = (
            start.hour * HOUR_S + start.minute * 60.0 + start.second + start.microsecond / 1e6
        )
        days = math.floor((since_midnight_s + duration_s) / DAY_S) + 2
        day = np.arange(days)
        weekend = (start.weekday() + day) % 7 >= SATURDAY
        flows = np.where(
            weekend[:, None], np.asarray(self.weekend_m3s), np.asarray(self.weekday_m3s)
        ).ravel()
        times = np.arange(flows.size) * HOUR_S - since_midnight_s
        return from_points(times, flows, steps=self.steps).between(0.0, math.inf)


@dataclass(frozen=True)
class Growth:
    """A source that grows by the same part each year, compounded.

    At each break of the source, and at least once a day, its flow is multiplied by
    ``(1 + per_year)^(years since)``; between these it goes straight. That departs from the compound
    curve by at most a quarter of the flow's change times the factor's change over a piece: for
    hourly flows at 3 % a year, by less than 1e-6 of the flow's change in the hour. (Own rule; what
    the growth is, is a forecast of the user's.)

    Parameters
    ----------
    source
        What grows.
    per_year
        Growth a year as a part [-]: 0.02 for 2 %; below 0 for a flow that shrinks.
    since
        When the source's own figures hold, in the local time of the episode; an offset from UTC is
        passed over. None: they hold at the start of the episode.
    """

    source: InflowSource
    per_year: float
    since: datetime | None = None

    def __post_init__(self) -> None:
        if not -1.0 < self.per_year <= 1.0:
            message = f"a growth of {self.per_year:g} a year (accepted: above -1, up to 1)"
            raise ValueError(message)

    def segments(self, start: datetime, duration_s: float) -> Segments:
        """Return its flow over an episode: the source's pieces, cut at each day.

        Parameters
        ----------
        start
            Local time at which the episode begins.
        duration_s
            How long it lasts [s].
        """
        since = start if self.since is None else self.since
        before_s = (start.replace(tzinfo=None) - since.replace(tzinfo=None)).total_seconds()
        pieces = self.source.segments(start, duration_s).between(0.0, duration_s)
        days = np.arange(0.0, duration_s, DAY_S)
        begin = np.unique(np.concatenate([pieces.start_s, days]))
        begin = begin[np.append(True, np.diff(begin) >= INSTANT_S / 2.0)]
        end = np.append(begin[1:], max(duration_s, float(begin[-1]) + INSTANT_S))
        which = np.searchsorted(pieces.start_s, begin + INSTANT_S / 2.0, side="right") - 1

        def grown(times: NDArray[np.float64]) -> NDArray[np.float64]:
            own = pieces.flow_m3s[which] + pieces.slope_m3s2[which] * (
                times - pieces.start_s[which]
            )
            flow: NDArray[np.float64] = own * (1.0 + self.per_year) ** ((times + before_s) / YEAR_S)
            return flow

        first = grown(begin)
        return Segments(begin, first, (grown(end) - first) / (end - begin))

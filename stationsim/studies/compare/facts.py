"""What the words and the pictures of a comparison are made from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.studies.compare.outcome import Outcome
    from stationsim.studies.compare.tables import Limit


@dataclass(frozen=True)
class Facts:
    """What came of a comparison.

    Parameters
    ----------
    stations
        Label -> what stood there.
    episode
        What happened to the first one.
    outcomes
        What each setting came to.
    differs
        Label -> key -> value, in what they differ.
    axes
        Keys of which every combination was run; empty when the settings are no grid.
    limits
        Limits of every setting.
    least_m3s, greatest_m3s
        Least and greatest inflow of the first one [m3/s].
    same_inflow
        Whether all had the same inflow.
    notes
        What a reader must know of how the settings were made.
    from_s, to_s, day
        The chosen day [s], and how it is called.
    """

    stations: Mapping[str, Station]
    episode: Episode
    outcomes: Sequence[Outcome]
    differs: Mapping[str, Mapping[str, str]]
    axes: tuple[str, ...]
    limits: Sequence[Limit]
    least_m3s: float
    greatest_m3s: float
    same_inflow: bool
    notes: tuple[str, ...]
    from_s: float
    to_s: float
    day: str

    @property
    def labels(self) -> list[str]:
        """Labels of the settings, in order."""
        return [one.label for one in self.outcomes]

    @property
    def station(self) -> Station:
        """What stood there in the first setting."""
        return self.stations[self.outcomes[0].label]

    @cached_property
    def machines(self) -> list[str]:
        """Names of all machines of all settings."""
        every = (name for one in self.stations.values() for name in one.machine_names())
        return list(dict.fromkeys(every))

    @cached_property
    def steady(self) -> bool:
        """Whether the inflow was the same all the time."""
        return self.greatest_m3s - self.least_m3s <= 1e-9 * self.greatest_m3s

    @cached_property
    def names(self) -> list[str]:
        """Names of the stations, each once."""
        return list(dict.fromkeys(one.name for one in self.stations.values()))

    @cached_property
    def chief(self) -> str:
        """The metric that tells most: lag starts where they count for something, else starts.

        They do where they are a tenth of all starts, or where all starts are alike in number.
        """
        starts, lags = self.values("starts"), self.values("lag starts")
        tenth = any(10.0 * lag >= start > 0.0 for lag, start in zip(lags, starts, strict=True))
        alike = max(starts) <= 1.01 * min(starts) and max(lags) > 1.01 * min(lags)
        return "lag starts" if tenth or alike else "starts"

    def values(self, metric: str, subject: str = "station") -> list[float]:
        """Return one figure of every setting.

        Parameters
        ----------
        metric, subject
            Of what.
        """
        return [one.value(metric, subject) for one in self.outcomes]

    def has(self, metric: str, subject: str = "station") -> bool:
        """Return whether a figure has a value in any setting.

        Parameters
        ----------
        metric, subject
            Of what.
        """
        return any(not math.isnan(value) for value in self.values(metric, subject))

    @cached_property
    def counted_alike(self) -> bool:
        """Whether all stations count their levels from the same."""
        return len({(one.shown_m(0.0), one.shown_m(1.0)) for one in self.stations.values()}) == 1

    def shown_m(self, level_m: float) -> float:
        """Return a level as the people of all these stations read it [m]; else above the floor.

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        return self.station.shown_m(level_m) if self.counted_alike else level_m

    def electric(self, label: str) -> list[str]:
        """Return the electric pumps of a setting.

        Parameters
        ----------
        label
            Which.
        """
        return [pump.name for pump in self.stations[label].pumps]

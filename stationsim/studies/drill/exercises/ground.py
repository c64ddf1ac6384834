"""Where exercises are cut from: a station, its calendar and its inflow, worked out once."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from stationsim.inflow.known import KnownInflow
from stationsim.inflow.segments import DAY_S, add
from stationsim.studies.rehearse.days import extended, is_storm, moved

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.inflow.segments import InflowSource, Segments
    from stationsim.people.response import Response
    from stationsim.station import Station
    from stationsim.studies.drill.exercises.troubles import Draw, Trouble

LASTS_S = 86400.0
"""How long an exercise lasts at most; own choice [s]."""

_BY_STORM = 0.5
"""How often an exercise is put at a storm of the file; own choice [-]."""
_SLOT_S = 300.0


class Ground:
    """A station and its inflow, worked out once for any number of exercises.

    Parameters
    ----------
    station, episode
        What stands there, and what the file has happen.

    Raises
    ------
    InputError
        When the inflow cannot be worked out.
    """

    def __init__(self, station: Station, episode: Episode) -> None:
        self.station = station
        self.episode = episode

    @property
    def latest_s(self) -> float:
        """When an exercise begins at the latest [s]: a day is always there to begin in."""
        return max(self.episode.duration_s - LASTS_S, DAY_S)

    @cached_property
    def arriving(self) -> Segments:
        """All that arrives; beyond the end of a record its last day repeats."""
        return self._sum_of(self.episode.inflow)

    @cached_property
    def dry(self) -> Segments:
        """All that arrives without the storms of the file."""
        return self._sum_of([one for one in self.episode.inflow if not is_storm(one)])

    def _sum_of(self, sources: Sequence[InflowSource]) -> Segments:
        to_s = self.latest_s + LASTS_S
        midnight = self.episode.start.replace(hour=0, minute=0, second=0, microsecond=0)
        return add(
            [
                extended(source, self.episode, 0.0, to_s, midnight, whole_day=False)
                for source in sources
            ]
        )

    @cached_property
    def storms_s(self) -> tuple[float, ...]:
        """When each storm of the file brings most [s]; without those that bring nothing in time."""
        peaks = []
        for source in self.episode.inflow:
            if is_storm(source):
                to_s = self.episode.duration_s
                flow_m3s, peak_s = source.segments(self.episode.start, to_s).greatest(0.0, to_s)
                if flow_m3s > 0.0:
                    peaks.append(peak_s)
        return tuple(peaks)

    def begins_s(self, draw: Draw, lead_s: float) -> float:
        """Return when an exercise begins, on a five-minute mark [s since the file's start].

        Parameters
        ----------
        draw
            The try.
        lead_s
            How long after that the trouble comes [s].
        """
        at_s = draw.part("when it begins") * self.latest_s
        if self.storms_s and draw.part("whether by a storm") < _BY_STORM:
            before_s = draw.between("how long before the peak", 0.0, 7200.0, 300.0)
            at_s = draw.pick("which storm", self.storms_s) - before_s - lead_s
        return _SLOT_S * math.floor(min(max(at_s, 0.0), self.latest_s) / _SLOT_S)

    def cut(self, begins_s: float, trouble: tuple[Trouble, ...], number: int, seed: int) -> Episode:
        """Return the exercise that begins at a time, with what goes wrong in it.

        Parameters
        ----------
        begins_s
            When [s since the file's start].
        trouble
            The main trouble, and what is hidden.
        number, seed
            Of the exercise [-].
        """
        episode = self.episode
        water = moved(self.arriving.between(begins_s, begins_s + LASTS_S), -begins_s)
        surges = [one.surge for one in trouble if one.surge is not None]
        silent = {one.silent for one in trouble if one.silent}
        return replace(
            episode,
            start=episode.start + timedelta(seconds=begins_s),
            duration_s=LASTS_S,
            inflow=(KnownInflow(water), *surges),
            events=tuple(wrong.event for one in trouble for wrong in one.wrongs),
            random=(),
            seed=seed,
            replicate=number,
            name=f"{episode.name}-exercise-{number}",
            response=_silenced(episode.response, silent),
        )


def _silenced(response: Response | None, silent: set[str]) -> Response | None:
    """Return who answers, but for some whose phone rings in vain."""
    if response is None or not silent:
        return response
    people = tuple(
        replace(one, answers=False, answers_at_night=False) if one.name in silent else one
        for one in response.people
    )
    return replace(response, people=people)

"""A recorded series: stamps and flows, straight between them or holding.

What was wrong in the file has been refused or repaired before (`stationsim.records`); here the
series only has to cover the episode.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationsim.errors import RecordError
from stationsim.inflow.segments import Segments, from_points

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, eq=False)
class Recorded:
    """A recorded inflow.

    Parameters
    ----------
    times_s
        Stamps since the start of the episode, strictly rising [s]; two or more. They may begin
        before the episode.
    flows_m3s
        Flow at each [m3/s], 0 or more.
    steps
        True when a flow holds until the next stamp; False when it goes straight to the next.
    name
        What it is called in messages, such as the name of its file.
    """

    times_s: ArrayLike
    flows_m3s: ArrayLike
    steps: bool = False
    name: str = "recorded inflow"

    def __post_init__(self) -> None:
        times = np.array(self.times_s, dtype=np.float64)
        flows = np.array(self.flows_m3s, dtype=np.float64)
        if times.ndim != 1 or times.shape != flows.shape or times.size < 2:
            message = f"{self.name}: two stamps or more are needed, with a flow for each"
            raise RecordError(message)
        if not (np.all(np.isfinite(times)) and np.all(np.isfinite(flows))):
            message = f"{self.name}: every stamp and every flow must be a finite number"
            raise RecordError(message)
        if bool(np.any(np.diff(times) <= 0.0)):
            where = int(np.argmax(np.diff(times) <= 0.0)) + 1
            message = f"{self.name}: the stamps must rise (number {where + 1} does not)"
            raise RecordError(message)
        if bool(np.any(flows < 0.0)):
            where = int(np.argmax(flows < 0.0))
            message = (
                f"{self.name}: flow number {where + 1} is {flows[where]:g} m3/s"
                " (accepted: 0 or more)"
            )
            raise RecordError(message)
        times.flags.writeable = False
        flows.flags.writeable = False
        object.__setattr__(self, "times_s", times)
        object.__setattr__(self, "flows_m3s", flows)

    def __eq__(self, other: object) -> bool:
        """Tell whether another series holds the same stamps and flows, read the same way."""
        if not isinstance(other, Recorded):
            return NotImplemented
        return (
            self.steps == other.steps
            and self.name == other.name
            and np.array_equal(self._times(), other._times())
            and np.array_equal(self.flows_m3s, other.flows_m3s)
        )

    def __hash__(self) -> int:
        return hash((self.name, self.steps, self._times().tobytes()))

    @property
    def interval_s(self) -> float:
        """The usual time between two stamps: the median [s]."""
        return float(np.median(np.diff(self._times())))

    def check_cover(self, duration_s: float) -> None:
        """Raise when the series doesn't cover an episode, give or take one interval at each end.

        Parameters
        ----------
        duration_s
            How long the episode lasts [s].

        Raises
        ------
        RecordError
            When it begins too late or ends too early.
        """
        times = self._times()
        interval = self.interval_s
        first, last = float(times[0]), float(times[-1])
        if first > interval:
            message = (
                f"{self.name}: begins {_length(first)} after the episode does; start the episode"
                " later, or give a series that covers it"
            )
            raise RecordError(message)
        if last + interval < duration_s:
            lacking = duration_s - last
            message = (
                f"{self.name}: ends {_length(lacking)} before the episode does; shorten the episode"
                f" to {_length(max(last, 0.0))}, or give a series that covers it"
            )
            raise RecordError(message)

    def segments(self, start: datetime, duration_s: float) -> Segments:  # noqa: ARG002
        """Return its flow over an episode: a piece for each stamp.

        Parameters
        ----------
        start
            Local time at which the episode begins; the stamps are counted from it.
        duration_s
            How long it lasts [s].

        Raises
        ------
        RecordError
            When the series doesn't cover the episode.
        """
        self.check_cover(duration_s)
        times = self._times()
        flows = np.asarray(self.flows_m3s, dtype=np.float64)
        if times[0] > 0.0:  # within one interval: the first flow holds backwards
            times = np.append(0.0, times)
            flows = np.append(flows[0], flows)
        return from_points(times, flows, steps=self.steps)

    def _times(self) -> NDArray[np.float64]:
        """Return the stamps as the array that they are."""
        return np.asarray(self.times_s, dtype=np.float64)


def _length(span_s: float) -> str:
    """Return a length of time in the largest unit that reads well."""
    for unit, size in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if span_s >= size:
            return f"{span_s / size:.4g} {unit}"
    return f"{span_s:.4g} s"

"""What energy costs when its price depends on the hour of the day.

A tariff is a list of bands for weekdays and one for the weekend. Time is counted in seconds from a
Monday's midnight, on the local clock; a change to summer time is not modelled, and a public holiday
is the weekday that it falls on. The energy of a run is taken as uniform over the run, which is
exact for a pump of constant input and close for one whose head changes little in a cycle. Charges
for the greatest power and fixed charges are not here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

DAY_S = 86400.0
"""One day [s]."""

WEEK_S = 7.0 * DAY_S
"""One week [s]."""

KWH_J = 3.6e6
"""One kilowatt-hour [J]."""

_WEEKDAYS = 5


@dataclass(frozen=True)
class Band:
    """One price between two times of the day.

    Parameters
    ----------
    from_s, to_s
        Seconds after midnight, from 0 to 86,400 [s]. A band whose end is not after its beginning
        goes over midnight, on the same calendar day: from 22:00 to 06:00 means the first six hours
        and the last two.
    price_per_kwh
        Price of a kilowatt-hour [any].
    name
        What people call it: ``night``.
    """

    from_s: float
    to_s: float
    price_per_kwh: float
    name: str = ""

    def spans_s(self) -> tuple[tuple[float, float], ...]:
        """Return where it holds within one calendar day [s]."""
        if self.from_s < self.to_s:
            return ((self.from_s, self.to_s),)
        spans = ((0.0, self.to_s), (self.from_s, DAY_S))
        return tuple((low, high) for low, high in spans if low < high)


@dataclass(frozen=True)
class Tariff:
    """The bands of a week.

    Parameters
    ----------
    weekday
        Bands from Monday to Friday; together they cover each day exactly once.
    weekend
        The same for Saturday and Sunday; empty when they are like the other days.

    Raises
    ------
    ValueError
        When a time lies outside the day, or bands overlap or leave a gap.
    """

    weekday: tuple[Band, ...]
    weekend: tuple[Band, ...] = ()

    def __post_init__(self) -> None:
        for label, bands in (("weekday", self.weekday), ("weekend", self.weekend or self.weekday)):
            for band in bands:
                if not (0.0 <= band.from_s < DAY_S and 0.0 <= band.to_s <= DAY_S):
                    message = f"tariff, {label}: a band must lie between 00:00 and 24:00"
                    raise ValueError(message)
                if not math.isfinite(band.price_per_kwh):
                    message = f"tariff, {label}: a price must be finite"
                    raise ValueError(message)
            spans = sorted(span for band in bands for span in band.spans_s())
            edges = [(0.0, 0.0), *spans, (DAY_S, DAY_S)]
            for (_, end), (begin, _) in pairwise(edges):
                if end != begin:
                    what = "overlap" if begin < end else "leave a gap"
                    at_s = min(begin, end)
                    hour, minute = divmod(int(at_s // 60.0), 60)
                    message = f"tariff, {label}: the bands {what} at {hour:02d}:{minute:02d}"
                    raise ValueError(message)

    def split_j(
        self, energy_j: float, start_s: float, stop_s: float
    ) -> tuple[tuple[Band, float], ...]:
        """Return the energy of a run that falls into each band of the tariff [J].

        Parameters
        ----------
        energy_j
            Energy of the whole run, uniform over it [J].
        start_s, stop_s
            When it ran, from a Monday's midnight on the local clock [s].
        """
        found: dict[Band, float] = {}
        if stop_s <= start_s:  # all at one instant
            return ((self.band_at(start_s), energy_j),)
        first, last = math.floor(start_s / DAY_S), math.ceil(stop_s / DAY_S)
        for day in range(first, last):
            for band in self._bands_of(day):
                for low, high in band.spans_s():
                    begin = max(day * DAY_S + low, start_s)
                    end = min(day * DAY_S + high, stop_s)
                    if end > begin:
                        share = (end - begin) / (stop_s - start_s)
                        found[band] = found.get(band, 0.0) + energy_j * share
        return tuple(found.items())

    def cost(self, energy_j: float, start_s: float, stop_s: float) -> float:
        """Return what the energy of a run costs, in the currency of the prices.

        Parameters
        ----------
        energy_j
            Energy of the whole run, uniform over it [J].
        start_s, stop_s
            When it ran, from a Monday's midnight on the local clock [s].
        """
        return sum(
            band.price_per_kwh * energy / KWH_J
            for band, energy in self.split_j(energy_j, start_s, stop_s)
        )

    def band_at(self, at_s: float) -> Band:
        """Return the band that holds at a time; at an edge, the one that begins.

        Parameters
        ----------
        at_s
            Time from a Monday's midnight on the local clock [s].
        """
        day = math.floor(at_s / DAY_S)
        within = at_s - day * DAY_S
        for band in self._bands_of(day):
            if any(low <= within < high for low, high in band.spans_s()):
                return band
        return self._bands_of(day + 1)[0]  # rounding has put the time on the next midnight

    def _bands_of(self, day: int) -> tuple[Band, ...]:
        return self.weekday if day % 7 < _WEEKDAYS or not self.weekend else self.weekend

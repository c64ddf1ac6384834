"""What the pattern of all readings suggests: likely causes, ranked, and what would tell them apart.

It is no verdict. Two things may be wrong at once, or one that is not listed; several may go with
the same readings. What cannot be seen with the instruments that were read is not listed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from stationsim.studies.acceptance.causes.fits import MISREAD, SOUND, Fit, Search, ranked
from stationsim.studies.acceptance.causes.foreseen import Outlook
from stationsim.studies.acceptance.causes.looks import LOOKS
from stationsim.studies.acceptance.causes.spread import Spread
from stationsim.studies.acceptance.causes.suspects import suspects_of_pumps
from stationsim.studies.acceptance.causes.suspects_in_main import suspects_of_main
from stationsim.studies.acceptance.causes.suspects_in_readings import suspects_of_readings
from stationsim.studies.check.criterion import Reason, Told, reason_text
from stationsim.units import show

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Measure, Reading, Taken
    from stationsim.units import System

Standing = Literal["fits best", "fits nearly as well", "fits less well"]

MOST = 6
"""Causes that are told at most."""

_COMPARED = 3
"""From how many others a cause is told apart."""

_NEARLY = 2.0 * math.log(10.0)
"""How much worse the score of a cause may be that fits nearly as well [-]."""

_LISTED = 2.0 * math.log(1e4)
"""How much worse the score of a cause may be that is listed at all [-]."""

_MUCH = 4.0
"""A cause leaves much when its misfit is so many deviations above what scatter alone gives [-]."""

_WITHIN = 2.0
"""Standard deviations within which a reading agrees with what is foreseen [-]."""

_TELLING = 1.5
"""A reading tells two causes apart when they foresee it so many standard deviations apart [-]."""


@dataclass(frozen=True)
class Apart:
    """A reading that would tell two causes apart.

    Parameters
    ----------
    other, other_subject
        The cause that it is told from.
    reading
        Which reading, by name.
    measure
        What both values are.
    taken
        Whether it was taken already.
    here, there
        What it shows if this cause is true, and if the other is, in SI.
    deviations
        How far these are apart, in standard deviations of the difference [-].
    if_here, if_there
        What is so in either case: ``P1 is weak``.
    """

    other: str
    other_subject: str
    reading: str
    measure: Measure
    taken: bool
    here: float
    there: float
    deviations: float
    if_here: str
    if_there: str

    def told(self, system: System) -> str:
        """Return it in words.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        here, there = (_value(value, self.measure, system) for value in (self.here, self.there))
        return f"{self.reading}: {here} if {self.if_here}, {there} if {self.if_there}"


@dataclass(frozen=True)
class Cause:
    """What may be behind the readings.

    Parameters
    ----------
    cause
        What may be wrong, in words of the trade; ``sound`` for nothing.
    subject
        Of what: ``P1``, ``force main``; of a misread value, the name of the reading.
    size
        The size that goes best with the readings, in SI or as a part; NaN when there is none.
    size_words
        The same in words.
    standing
        How it goes with the readings beside the others.
    misfit
        Chi-square of what it leaves [-].
    readings
        How many readings were compared [-].
    explains
        Readings that it brings back within what they can tell, by name.
    leaves
        Readings that stay outside, by name.
    apart
        For each of the next causes the reading that would tell it from this one.
    look_first
        What a crew may look at first.
    """

    cause: str
    subject: str
    size: float
    size_words: Reason
    standing: Standing
    misfit: float
    readings: int
    explains: tuple[str, ...]
    leaves: tuple[str, ...]
    apart: tuple[Apart, ...]
    look_first: str

    @property
    def leaves_much(self) -> bool:
        """Whether more is left than scatter: two things may be wrong, or one that is not listed."""
        return self.misfit > self.readings + _MUCH * math.sqrt(2.0 * self.readings)

    @property
    def size_told(self) -> str:
        """The size in words, in SI."""
        return self.told("si")

    def told(self, system: System) -> str:
        """Return the size in words.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        return reason_text(self.size_words, system)


def causes_of(station: Station, sheet: Sequence[Reading], taken: Sequence[Taken]) -> list[Cause]:
    """Return what the readings suggest, what fits best first; empty when none can be foreseen.

    Parameters
    ----------
    station
        What stands there.
    sheet
        All readings of the sheet: what would tell causes apart is looked for among them.
    taken
        The readings that were taken.
    """
    outlook = Outlook(station, sheet, taken)
    if not outlook.was_read.any():
        return []
    spread = Spread(outlook)
    search = Search(outlook, spread)
    suspects = (suspects_of_pumps, suspects_of_main, suspects_of_readings)
    fits = ranked(search, [one for kind in suspects for one in kind(outlook)])
    best = fits[0]
    within = best.score + _widened(search, best) * (_NEARLY if best.cause == SOUND else _LISTED)
    listed = [search.refined(fit) for fit in fits[:MOST] if fit.score <= within]
    near = best.score + _widened(search, best) * _NEARLY
    return [_cause(outlook, spread, listed, place, near) for place in range(len(listed))]


def _widened(search: Search, best: Fit) -> float:
    """Return by how much differences between scores count less when nothing fits well [-].

    What is left of the differences is then larger than its covariance says, and so is what it may
    do to a score: the ratio by which uncertainties are widened, squared (R. T. Birge, Physical
    Review 40, 1932).
    """
    return max(1.0, best.chi2 / len(search.places))


def _cause(outlook: Outlook, spread: Spread, listed: list[Fit], place: int, near: float) -> Cause:
    """Return one of the causes with what there is to say of it."""
    fit = listed[place]
    standing: Standing = "fits less well"
    if place == 0:
        standing = "fits best"
    elif fit.score <= near:
        standing = "fits nearly as well"
    off = spread.deviations()
    before = _outside(outlook, outlook.sound, off)
    after = _outside(outlook, fit.values, off)
    names = [item.reading.name for item in outlook.items]
    if fit.cause == MISREAD:
        after = before & np.array([name != fit.subject for name in names])
    words: Reason = "nothing but the scatter of the instruments"
    if fit.shape is not None:
        words = fit.shape.words(fit.size)
    elif fit.cause == MISREAD:
        words = _misread_words(outlook, fit)
    return Cause(
        fit.cause,
        fit.subject,
        fit.size,
        words,
        standing,
        fit.chi2,
        int(outlook.was_read.sum()),
        tuple(names[i] for i in np.flatnonzero(before & ~after)),
        tuple(names[i] for i in np.flatnonzero(after)),
        tuple(
            apart
            for other in (listed[:place] + listed[place + 1 :])[:_COMPARED]
            if (apart := _apart(outlook, fit, other, spread)) is not None
        ),
        LOOKS[fit.cause],
    )


def _outside(
    outlook: Outlook, values: NDArray[np.float64], off: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return which readings taken lie outside what is foreseen."""
    away = np.abs(outlook.values - values)
    found: NDArray[np.bool_] = outlook.was_read & (away > _WITHIN * off)
    return found


def _apart(outlook: Outlook, fit: Fit, other: Fit, spread: Spread) -> Apart | None:
    """Return the reading that would tell two causes apart best; None when none would.

    One that was not taken yet comes first, if it would tell them apart at all: what was taken has
    had its say.
    """
    looser = dict(fit.looser)
    for name, factor in other.looser.items():
        looser[name] = max(factor, looser.get(name, 1.0))
    apart = np.nan_to_num(np.abs(fit.values - other.values) / spread.deviations(looser))
    fresh = np.where(outlook.was_read, 0.0, apart)
    place = int(np.argmax(fresh if fresh.max() >= _TELLING else apart))
    if apart[place] < _TELLING:
        return None
    item = outlook.items[place]
    here, there = (outlook.told_as(item, float(one.values[place])) for one in (fit, other))
    if math.isnan(here) or math.isnan(there):
        return None
    return Apart(
        other.cause,
        other.subject,
        item.reading.name,
        item.reading.measure,
        item.was_read,
        here,
        there,
        float(apart[place]),
        fit.supposed,
        other.supposed,
    )


def _misread_words(outlook: Outlook, fit: Fit) -> Reason:
    """Return by how much a value was misread."""
    place = next(i for i, item in enumerate(outlook.items) if item.reading.name == fit.subject)
    item = outlook.items[place]
    value = float(outlook.values[place])
    off = outlook.told_as(item, value) - outlook.told_as(item, value - fit.size)
    if not math.isfinite(off):
        return ""
    kind = item.reading.measure
    assert kind != "yes or no"  # noqa: S101  (what can be foreseen is a quantity)
    return ("about ", Told(abs(off), kind), " too much" if off > 0.0 else " too little")


def _value(value: float, measure: Measure, system: System) -> str:
    """Return a value for people to read."""
    if measure == "yes or no":
        return "yes" if value > 0.5 else "no"
    if measure == "duration":
        return "no end" if math.isinf(value) else f"{value:.0f} s"
    return show(value, measure, system)

"""How well each suspect goes with the readings: its best size, and how it ranks.

For every suspect the readings are foreseen as a function of its size, and compared with those taken
by generalised least squares (:mod:`spread`). Ranked is by how probable the readings are under each,
the mean over all its sizes and shapes: a suspect that can explain anything, at some size, ranks
below one that foresaw just this. That mean takes the place of a penalty for the free size.

References
----------
Ranking by the mean over the free size (the evidence): H. Jeffreys, Theory of Probability (1961);
R. E. Kass and A. E. Raftery, Journal of the American Statistical Association 90, 1995.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.studies.acceptance.causes.suspects import Shape, Suspect

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from stationsim.studies.acceptance.causes.foreseen import Outlook
    from stationsim.studies.acceptance.causes.spread import Spread

    Floats = NDArray[np.float64]

SOUND = "sound"
"""What it is called when nothing is wrong."""

MISREAD = "one reading misread"
"""What it is called when one value is."""

FINE = 161
"""Sizes of one shape that are compared, between those that are reckoned."""

SOUND_WEIGHT = 15.0
"""How common it is that nothing is wrong beside any one cause [-]: common practice, no source."""

MISREAD_WEIGHT = 0.3
"""How common a misread value is beside any one cause, all readings together [-]: the same."""

_MISREAD_PART = 0.5
"""A value that was misread may be off by as much as this part of it, either way [-]."""

_NEAR = (0.0, -0.3, -0.15, 0.15, 0.3)
"""Sizes that are tried about the best one, in steps of those that were reckoned [-]."""

_SEEN = 2.0
"""A suspect that moves the readings by less than this, in standard deviations, is not seen [-]."""


class Fit(NamedTuple):
    """How a suspect goes with the readings.

    Parameters
    ----------
    cause, subject, supposed
        As in a suspect.
    suspect
        The suspect; None for 'sound' and for a value that was misread.
    shape
        Which of its shapes goes best.
    size
        Its best size; NaN when it has none. Of a misread value, by what it is off, in SI.
    chi2
        Sum of the squares of what is left of the differences, weighted by their covariance [-].
    score
        Minus twice the logarithm of the probability of the readings, less a constant: the lower,
        the better [-].
    values
        What every reading of the sheet shows at the best size, in SI.
    """

    cause: str
    subject: str
    supposed: str
    suspect: Suspect | None
    shape: Shape | None
    size: float
    chi2: float
    score: float
    values: Floats

    @property
    def looser(self) -> Mapping[str, float]:
        """By which factor what is shared among readings is less sure."""
        return {} if self.suspect is None else self.suspect.looser


class Search:
    """The readings taken, ready to be compared.

    Parameters
    ----------
    outlook
        The readings of the sheet, and what they show when nothing is wrong.
    spread
        How far they may be off.
    """

    def __init__(self, outlook: Outlook, spread: Spread) -> None:
        self._outlook = outlook
        self._spread = spread
        self.places = np.flatnonzero(outlook.was_read)
        self._values = outlook.values[self.places]
        self._whitened: dict[tuple[tuple[str, float], ...], tuple[Floats, float]] = {}

    def _whitener(self, looser: Mapping[str, float]) -> tuple[Floats, float]:
        """Return what turns differences into independent ones, and the covariance's log size."""
        key = tuple(sorted(looser.items()))
        if key not in self._whitened:
            lower = np.linalg.cholesky(self._spread.covariance(self.places, looser))
            size = 2.0 * float(np.sum(np.log(np.diag(lower))))
            self._whitened[key] = (np.linalg.inv(lower), size)
        return self._whitened[key]

    def sound(self) -> Fit:
        """Return how it goes with nothing but scatter."""
        whiten, log_size = self._whitener({})
        left = whiten @ (self._values - self._outlook.sound[self.places])
        chi2 = float(left @ left)
        score = chi2 + log_size - 2.0 * math.log(SOUND_WEIGHT)
        return Fit(
            SOUND, "", "all is as it should be", None, None, math.nan, chi2, score,
            self._outlook.sound,
        )  # fmt: skip

    def misread(self) -> list[Fit]:
        """Return how it goes with each value misread, and nothing else wrong."""
        whiten, log_size = self._whitener({})
        weights = whiten.T @ whiten
        differences = self._values - self._outlook.sound[self.places]
        pulled, whole = weights @ differences, float(differences @ weights @ differences)
        found = []
        for i, place in enumerate(self.places):
            off = float(pulled[i] / weights[i, i])
            chi2 = whole - float(pulled[i]) * off
            width = 1.0 / math.sqrt(weights[i, i])
            span = 2.0 * _MISREAD_PART * max(abs(self._outlook.sound[place]), 10.0 * width)
            occam = 2.0 * math.log(span / (width * math.sqrt(2.0 * math.pi)))
            weight = MISREAD_WEIGHT / len(self.places)
            score = chi2 + log_size + occam - 2.0 * math.log(weight)
            name = self._outlook.items[place].reading.name
            found.append(
                Fit(
                    MISREAD, name, f"'{name}' was misread", None, None, off, chi2, score,
                    self._outlook.sound,
                )
            )  # fmt: skip
        return found

    def fit(self, suspect: Suspect, weight: float) -> Fit | None:
        """Return how a suspect goes with the readings; None when no reading taken sees it.

        Parameters
        ----------
        suspect
            The suspect.
        weight
            How common it is for this subject [-].
        """
        whiten, log_size = self._whitener(suspect.looser)
        best, seen = None, False
        differences = self._values - self._outlook.sound[self.places]
        target = whiten @ differences
        lowest, logs = math.inf, []
        for shape in suspect.shapes:
            nodes = self._foreseen(suspect, shape)
            shift = nodes[self.places] - self._outlook.sound[self.places, None]
            # what cannot be foreseen with the fault agrees with whatever was read
            shift = np.where(np.isnan(shift), differences[:, None], shift)
            moved = whiten @ shift
            seen = seen or float(np.max(np.sum(moved**2, axis=0))) > _SEEN**2
            fine = _between(moved, FINE)
            left = target[:, None] - fine
            chi2 = np.sum(left**2, axis=0)
            logs.append(chi2)
            at = int(np.argmin(chi2))
            if chi2[at] < lowest:
                lowest = float(chi2[at])
                size = float(_between(np.array([shape.sizes]), FINE)[0, at])
                best = (shape, size)
        if best is None or not seen:
            return None
        total = float(np.mean([np.mean(np.exp(-0.5 * (chi2 - lowest))) for chi2 in logs]))
        score = lowest - 2.0 * math.log(total) + log_size - 2.0 * math.log(weight)
        shape, size = best
        return Fit(
            suspect.cause, suspect.subject, suspect.supposed, suspect, shape, size, lowest, score,
            self._outlook.sound,
        )  # fmt: skip

    def refined(self, fit: Fit) -> Fit:
        """Return a fit with its size found anew among some near it, and what each reading shows.

        Parameters
        ----------
        fit
            How a suspect goes with the readings.
        """
        suspect, shape = fit.suspect, fit.shape
        if suspect is None or shape is None:
            return fit
        whiten, _log_size = self._whitener(suspect.looser)
        nodes = np.array(shape.sizes)
        places = np.arange(len(nodes))
        order = np.argsort(nodes)
        at = float(np.interp(fit.size, nodes[order], places[order]))
        found = []
        for step in _NEAR:
            size = float(np.interp(at + step, places, nodes))
            values = self._outlook.under(shape.built(size), suspect.touches, suspect.shut_off)
            left = whiten @ np.nan_to_num(self._values - values[self.places])
            found.append(fit._replace(size=size, chi2=float(left @ left), values=values))
        return min(found, key=lambda one: one.chi2)

    def _foreseen(self, suspect: Suspect, shape: Shape) -> Floats:
        """Return what every reading shows at each size of a shape: a column for each size."""
        under = self._outlook.under
        return np.column_stack(
            [under(shape.built(size), suspect.touches, suspect.shut_off) for size in shape.sizes]
        )


def _between(nodes: Floats, count: int) -> Floats:
    """Return columns between columns: cubic pieces with the slopes of the neighbours."""
    last = nodes.shape[1] - 1
    at = np.linspace(0.0, last, count)
    i = np.minimum(at.astype(int), last - 1)
    t = at - i
    slopes = np.gradient(nodes, axis=1)
    a, b = nodes[:, i], nodes[:, i + 1]
    a1, b1 = slopes[:, i], slopes[:, i + 1]
    found: Floats = (
        a * (1.0 + 2.0 * t) * (1.0 - t) ** 2
        + a1 * t * (1.0 - t) ** 2
        + b * t**2 * (3.0 - 2.0 * t)
        + b1 * t**2 * (t - 1.0)
    )
    return found


def ranked(search: Search, suspects: Sequence[Suspect]) -> list[Fit]:
    """Return how all suspects go with the readings, the best first.

    Parameters
    ----------
    search
        The readings.
    suspects
        The suspects.
    """
    subjects: dict[str, int] = {}
    for one in suspects:
        subjects[one.cause] = subjects.get(one.cause, 0) + 1
    fits = [search.fit(one, one.weight / subjects[one.cause]) for one in suspects]
    found = [search.sound(), *search.misread(), *(one for one in fits if one is not None)]
    return sorted(found, key=lambda fit: fit.score)

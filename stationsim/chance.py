"""Chance: ranges, rates, and streams of random numbers that keep their own counsel.

A stream belongs to what it is for: a subject and a purpose. Its numbers follow from the root seed,
from that key and from the replicate, and from nothing else. So one more event, or one action of a
person, shifts no other draw; settings that are compared share their numbers; and replicate 7 alone
is replicate 7 of twenty. Within a stream the number of a demand is asked for by its count, so that
an answer that nobody wanted costs the next one nothing.

References
----------
Seeds by key: ``numpy.random.SeedSequence`` with a spawn key. The key is the CRC-32 of the text,
which is the same on every machine; Python's own ``hash`` of a text is not.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, field

import numpy as np

_BLOCK = 16


def key_of(subject: str, purpose: str) -> int:
    """Return the key of a stream [-].

    Parameters
    ----------
    subject
        Whose it is: ``P2``.
    purpose
        What it decides: ``fails to start``.
    """
    return zlib.crc32(f"{subject}\0{purpose}".encode())


@dataclass
class Stream:
    """Random numbers for one purpose.

    Parameters
    ----------
    root
        Root seed [-].
    key
        Key of the stream [-].
    replicate
        Which replicate [-].
    """

    root: int
    key: int
    replicate: int = 0
    _drawn: list[float] = field(default_factory=list, repr=False)

    def number(self, n: int) -> float:
        """Return the number of a demand, even between 0 and 1, below 1 [-].

        Parameters
        ----------
        n
            Count of the demand, from 0 [-].

        Raises
        ------
        ValueError
            When the count is below nought.
        """
        if n < 0:
            raise ValueError(f"a demand is counted from 0, and {n} is below it")
        if n >= len(self._drawn):
            seed = np.random.SeedSequence(self.root, spawn_key=(self.key, self.replicate))
            count = _BLOCK * (n // _BLOCK + 1) + len(self._drawn)
            self._drawn = np.random.Generator(np.random.PCG64(seed)).random(count).tolist()
        return self._drawn[n]


@dataclass
class Streams:
    """All streams of a run.

    Parameters
    ----------
    root
        Root seed [-].
    replicate
        Which replicate [-].
    """

    root: int
    replicate: int = 0
    _streams: dict[int, Stream] = field(default_factory=dict, repr=False)
    _texts: dict[int, tuple[str, str]] = field(default_factory=dict, repr=False)

    def stream(self, subject: str, purpose: str) -> Stream:
        """Return the stream of a purpose; the same one whenever it is asked for.

        Parameters
        ----------
        subject
            Whose it is.
        purpose
            What it decides.

        Raises
        ------
        ValueError
            When another subject and purpose happen to have the same key.
        """
        key = key_of(subject, purpose)
        known = self._texts.setdefault(key, (subject, purpose))
        if known != (subject, purpose):
            one, other = (" of ".join(reversed(pair)) for pair in (known, (subject, purpose)))
            raise ValueError(f"'{one}' and '{other}' have the same key; call one of them otherwise")
        return self._streams.setdefault(key, Stream(self.root, key, self.replicate))


@dataclass(frozen=True)
class Range:
    """A value that is known to a low, a typical and a high one: a triangular distribution.

    Parameters
    ----------
    low, typical, high
        In one unit, rising [any]; three alike make a point.

    Raises
    ------
    ValueError
        When they do not rise, or one is not a number.
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        """Check the order."""
        if not self.low <= self.typical <= self.high or math.isinf(self.high - self.low):
            message = f"a range rises from low to typical to high, not {self.low:g}, "
            raise ValueError(f"{message}{self.typical:g}, {self.high:g}")

    @classmethod
    def point(cls, value: float) -> Range:
        """Return a range of one value.

        Parameters
        ----------
        value
            The value [any].
        """
        return cls(value, value, value)

    @property
    def mean(self) -> float:
        """Mean of the distribution [any]."""
        return (self.low + self.typical + self.high) / 3.0

    def at(self, part: float) -> float:
        """Return the value below which a part of the distribution lies.

        Parameters
        ----------
        part
            From 0 to 1 [-].
        """
        wide = self.high - self.low
        if wide == 0.0:
            return self.low
        rising = (self.typical - self.low) / wide
        if part < rising:
            return self.low + math.sqrt(part * wide * (self.typical - self.low))
        return self.high - math.sqrt((1.0 - part) * wide * (self.high - self.typical))


def until_failure(part: float, rate: float) -> float:
    """Return the exposure until a failure at a constant rate: exponential.

    Parameters
    ----------
    part
        From 0 to 1, below 1 [-].
    rate
        Failures in a unit of exposure: a second of running, or of the calendar [1/any].

    Returns
    -------
    float
        In the unit of exposure; infinity for a rate of nought [any].
    """
    return math.inf if rate <= 0.0 else -math.log1p(-part) / rate


def demands_until_failure(part: float, probability: float) -> float:
    """Return at which demand a failure comes, when each fails with one probability: geometric.

    Parameters
    ----------
    part
        From 0 to 1, below 1 [-].
    probability
        Of a failure at a demand [-].

    Returns
    -------
    float
        1 for the first demand; infinity when it never fails [-].
    """
    if probability <= 0.0:
        return math.inf
    if probability >= 1.0:
        return 1.0
    return float(math.floor(math.log1p(-part) / math.log1p(-probability)) + 1)

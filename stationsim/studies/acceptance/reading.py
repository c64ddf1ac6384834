"""A reading of the day of acceptance: what is read, what it should be, and how sure one can be.

A reading has a name that is its own on the whole sheet; by it a sheet that comes back filled in is
put together again. What has no expected value is a blank to be kept as a baseline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.units import Shown

What = Literal[
    "meter flow",
    "header pressure",
    "pump pressure",
    "shut-off pressure",
    "fall",
    "rise before",
    "rise after",
    "drop",
    "current",
    "speed",
    "level shown",
    "acts at level",
    "wait",
    "yes or no",
]
"""What is read: the flow meter; the gauge on the header or at a pump, running or against a closed
valve; the time for the level to fall, and to rise before and after, with pumps off; the drop that
was timed; the current of a phase; the speed; the level that the panel shows beside one read by
tape; the level at which something acts; a time between two events; whether something happened."""

Measure = Literal["flow", "pressure", "duration", "level", "current", "rotation speed", "yes or no"]
"""What a value of a reading is; all but the last are kinds of ``units.Shown``."""

MEASURES: dict[What, Measure] = {
    "meter flow": "flow",
    "header pressure": "pressure",
    "pump pressure": "pressure",
    "shut-off pressure": "pressure",
    "fall": "duration",
    "rise before": "duration",
    "rise after": "duration",
    "drop": "level",
    "current": "current",
    "speed": "rotation speed",
    "level shown": "level",
    "acts at level": "level",
    "wait": "duration",
    "yes or no": "yes or no",
}

SI_UNITS = {
    "flow": "m3/s",
    "pressure": "Pa",
    "duration": "s",
    "level": "m",
    "current": "A",
    "rotation speed": "1/s",
    "yes or no": "1 for yes",
    "head": "m",
    "part": "-",
}
"""Unit of a value in a table, by what it is; the last two are of what several readings tell."""


@dataclass(frozen=True)
class Reading:
    """One blank of the sheet.

    Parameters
    ----------
    name
        Its name, unique on the sheet: ``P1 alone: gauge on the header at the middle level``.
    test
        The test that it belongs to: ``P1 alone``.
    what
        What is read.
    subject
        Of what: ``P1``, ``P1 + P2``, ``level sensor``, ``float high``.
    machines
        Indices of the machines that run meanwhile: the electric pumps, then the engine-driven one.
    level_m
        Level of the water meanwhile, or at which it begins [m above floor]; NaN when it does not
        matter.
    expected, low, high
        What it should be, and what is accepted, in SI (levels above the floor; 1 for yes). NaN
        where nothing is expected; then it is a baseline.
    uncertainty
        How far the reading may be off, at two standard deviations, in SI.
    how
        How it is read, in a few words.
    source
        Where the tolerance comes from.
    """

    name: str
    test: str
    what: What
    subject: str
    machines: tuple[int, ...] = ()
    level_m: float = math.nan
    expected: float = math.nan
    low: float = math.nan
    high: float = math.nan
    uncertainty: float = 0.0
    how: str = ""
    source: str = ""

    @property
    def measure(self) -> Measure:
        """What its value is."""
        return MEASURES[self.what]

    @property
    def is_baseline(self) -> bool:
        """Whether nothing is expected of it."""
        return math.isnan(self.expected)


def both(value: float, kind: Shown) -> str:
    """Return a quantity in both unit systems, for instructions that crews of either read.

    Parameters
    ----------
    value
        In SI.
    kind
        What it is.
    """
    return f"{show(value, kind, 'si')} ({show(value, kind, 'us')})"


@dataclass(frozen=True)
class Taken:
    """A reading that was taken.

    Parameters
    ----------
    reading
        Which one.
    value
        What was read, in SI (1 for yes, 0 for no).
    uncertainty
        How far it may be off, at two standard deviations, in SI: the user's, or else the sheet's.
    repairs
        What was read otherwise than it stood in the file, in words.
    note
        What the crew noted beside it.
    """

    reading: Reading
    value: float
    uncertainty: float
    repairs: tuple[str, ...] = ()
    note: str = ""

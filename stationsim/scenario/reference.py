"""What the levels of a file are counted from, and how messages show them.

Inside, a level is metres above the floor of the wet well. A message speaks of levels as the file
does: in its reference (above the floor, as elevation, below the cover) and in its units, so that
what was found can be found again in the file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim import units

if TYPE_CHECKING:
    from stationsim.station import LevelsShown


@dataclass(frozen=True)
class Reference:
    """What the levels of a file are counted from.

    Parameters
    ----------
    shown
        As the file says.
    zero_m
        Elevation of the floor, or depth of the floor below the cover [m]; 0 for neither.
    system
        Units of the file, in which messages speak.
    """

    shown: LevelsShown = "above floor"
    zero_m: float = 0.0
    system: units.System = "si"

    def above_floor(self, level_m: float) -> float:
        """Return a level as written, as a level above the floor [m].

        Parameters
        ----------
        level_m
            Level as the file counts it [m].
        """
        # rounded to a micrometre: 13.9 - 12.4 is not 1.5 in floats
        if self.shown == "elevation":
            return round(level_m - self.zero_m, 6)
        if self.shown == "below cover":
            return round(self.zero_m - level_m, 6)
        return level_m

    def number(self, level_m: float) -> str:
        """Return a level above the floor as the file would write it, with its unit.

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        if self.shown == "elevation":
            return self.plain(level_m + self.zero_m)
        if self.shown == "below cover":
            return self.plain(self.zero_m - level_m)
        return self.plain(level_m)

    def plain(self, length_m: float) -> str:
        """Return a length with its unit; with three decimals where two would hide something.

        Parameters
        ----------
        length_m
            Length [m].
        """
        unit = units.shown_unit("level", self.system)
        number = units.from_si(length_m, unit, "length")
        if abs(number - round(number, 2)) < 1e-4:
            return units.show(length_m, "level", self.system)
        return f"{number:.3f} {unit}"

    def level(self, level_m: float) -> str:
        """Return a level above the floor as text, with what it is counted from.

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        return f"{self.number(level_m)}{self._mark}"

    def above(self, level_m: float) -> str:
        """Return what is accepted when a level must lie above another one.

        Parameters
        ----------
        level_m
            The other level, above the floor [m].
        """
        return f"{self._word('above', 'less than')} {self.level(level_m)}"

    def below(self, level_m: float) -> str:
        """Return what is accepted when a level must lie below another one.

        Parameters
        ----------
        level_m
            The other level, above the floor [m].
        """
        return f"{self._word('below', 'more than')} {self.level(level_m)}"

    def at_or_above(self, level_m: float) -> str:
        """Return what is accepted when a level must not lie below another one.

        Parameters
        ----------
        level_m
            The other level, above the floor [m].
        """
        return f"{self.number(level_m)} or {self._word('above', 'less')}{self._mark}"

    def at_or_below(self, level_m: float) -> str:
        """Return what is accepted when a level must not lie above another one.

        Parameters
        ----------
        level_m
            The other level, above the floor [m].
        """
        return f"{self.number(level_m)} or {self._word('below', 'more')}{self._mark}"

    def _word(self, upwards: str, downwards: str) -> str:
        """Return a comparison: counted downwards, what lies higher is the smaller number."""
        return downwards if self.shown == "below cover" else upwards

    @property
    def _mark(self) -> str:
        return "" if self.shown == "above floor" else f" ({self.shown})"

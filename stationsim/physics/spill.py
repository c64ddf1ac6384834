"""What leaves over the lowest edge: a weir, or plain loss of all that arrives above a level.

References
----------
Weir ``Q = C L h^1.5`` (C about 1.7 broad-crested, 1.84 sharp-crested, SI); a sharp rectangular
weir with a discharge coefficient has ``C = 2/3 Cd sqrt(2 g)``. Worked values stand in
``tests/published``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stationsim.physics.pumps import G


@dataclass(frozen=True)
class Spillway:
    """The lowest point where water leaves the system uncontrolled.

    Parameters
    ----------
    crest_m
        Level at which it begins [m above floor].
    length_m
        Length of the weir [m]; None means plain loss: the level is held at the crest and all that
        is too much is lost at once.
    coefficient
        Weir coefficient C in ``Q = C L h^1.5`` [m^0.5/s].
    """

    crest_m: float
    length_m: float | None = None
    coefficient: float = 1.7

    @property
    def method(self) -> str:
        """The method in words, as the table of spills states it."""
        if self.length_m is None:
            return "plain loss: all that arrives above the crest"
        return f"weir {self.coefficient:g} x {self.length_m:g} m x head^1.5"

    def flow_m3s(self, level_m: float) -> float:
        """Return the flow over the weir [m3/s]; 0 for plain loss, which no level drives.

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        head = level_m - self.crest_m
        if head <= 0.0 or self.length_m is None:
            return 0.0
        return self.coefficient * self.length_m * head * math.sqrt(head)


def coefficient_from_discharge(cd: float) -> float:
    """Return C of a sharp rectangular weir, ``2/3 Cd sqrt(2 g)`` [m^0.5/s].

    Parameters
    ----------
    cd
        Discharge coefficient [-].
    """
    return 2.0 / 3.0 * cd * math.sqrt(2.0 * G)

"""An inflow that is worked out already: what many runs of one study share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.inflow.segments import Segments


@dataclass(frozen=True)
class KnownInflow:
    """All that arrives, worked out once for every run that has the same.

    Parameters
    ----------
    pieces
        The sum of all sources over the episode.
    """

    pieces: Segments

    def segments(self, start: datetime, duration_s: float) -> Segments:
        """Return the pieces.

        Parameters
        ----------
        start, duration_s
            Of the episode for which they were worked out; of no effect.
        """
        del start, duration_s
        return self.pieces

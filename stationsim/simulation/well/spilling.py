"""The spill that is going on: since when, how much, and its greatest flow."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from stationsim.signals import level_text

if TYPE_CHECKING:
    from stationsim.physics.balance import Advance
    from stationsim.physics.bands import Lineup
    from stationsim.simulation.plant import Plant


class Spilling:
    """Follows one spill after the other.

    Parameters
    ----------
    plant
        The plant that spills.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        spillway = plant.station.spillway
        self.spillway = spillway
        self.weir = spillway is not None and spillway.length_m is not None
        self.crest_m3 = (
            plant.station.well.volume_at(spillway.crest_m) if spillway is not None else float("inf")
        )
        self.cap_m3 = float("inf") if self.weir else self.crest_m3
        self.since_s: float | None = None
        self._volume_m3 = 0.0
        self._peak_m3s = 0.0
        self._top_m3 = 0.0

    def absorb(
        self, found: Advance, lineup: Lineup, band_s: Sequence[float], band_vs: Sequence[float]
    ) -> None:
        """Add what went over while the balance advanced.

        Parameters
        ----------
        found
            Where the balance came to.
        lineup
            What ran meanwhile.
        band_s, band_vs
            Time in each band [s] and integral of the volume above its edge [m3 s].
        """
        if self.since_s is None:
            return
        if self.weir:
            flow, slope = lineup.spill_m3s, lineup.spill_slope
            for j in range(found.low_band, found.high_band + 1):
                self._volume_m3 += flow[j] * band_s[j] + slope[j] * band_vs[j]
            self._top_m3 = max(self._top_m3, found.greatest_m3)
        else:
            self._volume_m3 += found.over_m3
            self._peak_m3s = max(self._peak_m3s, found.over_peak_m3s)

    def begin(self) -> None:
        """Water reaches the crest and goes over it."""
        if self.since_s is not None or self.spillway is None:
            return
        plant = self.plant
        self.since_s = plant.t_s
        self._volume_m3 = self._peak_m3s = 0.0
        self._top_m3 = plant.v_m3
        plant.note(
            "station", "spill begins", f"level at the crest {level_text(self.spillway.crest_m)}"
        )
        if plant.people is not None:
            plant.people.discovery.spill_began()

    def end(self, cause: str) -> None:
        """Nothing goes over any more.

        Parameters
        ----------
        cause
            Why, in trade words.
        """
        if self.since_s is None or self.spillway is None:
            return
        plant = self.plant
        peak = self._peak_m3s
        if self.weir:
            peak = self.spillway.flow_m3s(plant.station.well.level_at(self._top_m3))
        if plant.t_s > self.since_s:  # a touch of the crest is an event, but no spill
            plant.recorder.spilled(
                self.since_s, plant.t_s, self._volume_m3, peak, self.spillway.method
            )
        plant.trace.spilled_m3 += self._volume_m3
        plant.note("station", "spill ends", cause, f"{self._volume_m3:.3f} m3 spilled")
        self.since_s = None

    def look(self, direction: int) -> None:
        """See whether a spill has begun or ended while the water stands at the crest.

        Parameters
        ----------
        direction
            1 when more arrives than is pumped, or is about to; -1 when less; 0 when as much [-].
        """
        if self.weir or self.spillway is None:
            return
        if direction > 0:
            self.begin()
        else:
            self.end("as much is pumped as arrives, or more")

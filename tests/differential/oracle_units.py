"""The oracle's machines: what keeps one from running, and how warm its motor is."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Winding:
    """A motor that heats and cools: its temperature at a moment, and what it is bound for."""

    heat: Any
    top_m: float | None
    most_resets: int | None
    temperature: float
    at: float = 0.0
    factor: float = 0.0
    running: bool = False
    covered: bool = True
    resets: int = 0

    def _bound(self) -> tuple[float, float]:
        rise = self.factor * self.heat.full_rise_k if self.running else 0.0
        heat = self.heat
        slow = heat.heating_time_constant_s if self.running else heat.cooling_time_constant_s
        return heat.ambient_c + rise, slow

    def change(self, t: float, running: bool, ragged: bool) -> None:
        """Go on from now with the heat of now."""
        factor = self.heat.ragged_factor if ragged else 1.0
        if not self.covered:
            factor *= self.heat.not_submerged_factor
        if (running, factor) == (self.running, self.factor):
            return
        end, slow = self._bound()
        self.temperature = end + (self.temperature - end) * math.exp((self.at - t) / slow)
        self.at, self.running, self.factor = t, running, factor

    def trips_at(self) -> float:
        """Return when it reaches its trip."""
        end, slow = self._bound()
        trip = self.heat.trip_c
        if not self.running or end <= trip:
            return math.inf
        return self.at + slow * math.log((end - self.temperature) / (end - trip))

    def trip(self, t: float) -> tuple[float, bool]:
        """Trip now; return when it has cooled, and whether it is free again by itself then."""
        heat = self.heat
        self.temperature, self.at, self.running = heat.trip_c, t, False
        again = self.most_resets is None or self.resets < self.most_resets
        self.resets += 1
        over = (heat.trip_c - heat.ambient_c) / (heat.reset_c - heat.ambient_c)
        return t + float(heat.cooling_time_constant_s * math.log(over)), again


@dataclass
class Unit:
    """One machine while it runs."""

    running: bool = False
    mode: str = "auto"
    blocks: dict[str, tuple[float, bool]] = field(default_factory=dict)
    started: float = -math.inf
    stopped: float = -math.inf
    hours: float = 0.0
    begun: list[float] = field(default_factory=list)
    dead: bool = False
    called_at: float = -math.inf
    called_over: float = math.inf
    left: float = 1.0
    hidden: dict[str, float] = field(default_factory=dict)
    winding: Winding | None = None

    @property
    def free(self) -> bool:
        return not self.blocks and self.mode != "off"

    @property
    def called(self) -> bool:
        return self.called_over < math.inf

    @property
    def ready(self) -> bool:
        """Whether the panel may run it."""
        return self.mode == "auto" and not self.blocks and not self.called

"""One machine while it runs: selector, blocks, meters, and the run that is open."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from stationsim.equipment.pumps import PumpUnit
from stationsim.signals import PumpSeen

Mode = Literal["auto", "hand", "off"]

OUT_OF_SERVICE = "out of service"
FAILED = "pump failed"
HOT = "high temperature"
LEAK = "seal leak"
OVERLOAD = "overload"
MOISTURE = "moisture in motor"
NO_FLOW = "no flow"
LOW_VOLTAGE = "low voltage"


@dataclass
class Block:
    """Why a machine may not run.

    Parameters
    ----------
    over_s
        When the condition behind it is over [s]; infinity when it is not known to end.
    resets_itself
        True when the machine is free again at ``over_s``; False when it waits for a reset by hand.
    """

    over_s: float
    resets_itself: bool

    def upon(self, before: Block | None) -> Block:
        """Return the block that comes of one upon another: the longer counts, a latch stays one.

        Parameters
        ----------
        before
            What stood already; None for nothing.
        """
        if before is None:
            return self
        itself = self.resets_itself and before.resets_itself
        return Block(max(self.over_s, before.over_s), itself)


@dataclass
class Machine:
    """One machine while the station runs.

    Parameters
    ----------
    index
        Its place among the machines: the electric pumps, the engine-driven pump, the bypass pump.
    unit
        What it is.
    engine_driven
        True for the engine-driven pump and for the bypass pump.
    """

    index: int
    unit: PumpUnit
    engine_driven: bool = False
    mode: Mode = "auto"
    blocks: dict[str, Block] = field(default_factory=dict)
    running: bool = False
    role: str = ""
    started_s: float = -math.inf
    stopped_s: float = -math.inf
    hours_s: float = 0.0
    starts: int = 0
    trips: int = 0
    will_not_start: bool = False
    called: bool = False
    exercised: bool = False  # runs for an exercise: the controller neither stops nor counts it
    held: str = ""  # why the panel holds it back though nothing is wrong with it
    started_by: str = ""
    stopped_by: str = ""
    run_m3: float = 0.0
    run_j: float = 0.0
    shown: PumpSeen | None = None  # as the panel last saw it, until something changes

    @property
    def able(self) -> bool:
        """True when nothing but the lack of a call or of supply keeps it from running."""
        return not self.blocks and self.mode != "off"

    @property
    def why_not(self) -> str:
        """Return why it may not run, in trade words; empty when it may."""
        if self.blocks:
            return " and ".join(self.blocks)
        return "selector in off" if self.mode == "off" else ""

    def seen(self) -> PumpSeen:
        """Return the machine as the panel sees it."""
        ready = self.mode == "auto" and not (
            self.blocks or self.called or self.held or self.exercised
        )
        self.shown = PumpSeen(
            self.unit.name,
            self.running,
            ready,
            self.hours_s,
            self.starts,
            self.started_s,
            self.stopped_s,
            self.unit.min_off_s,
            "" if ready else self._shown_as(),
        )
        return self.shown

    def _shown_as(self) -> str:
        """Return why it is not ready, as the panel shows it."""
        if self.called and not self.why_not:
            return "no run signal yet"
        exercise = "in exercise" if self.exercised and self.mode == "auto" else ""
        return self.why_not or self.held or exercise or "selector in hand"

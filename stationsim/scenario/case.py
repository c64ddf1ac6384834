"""What the rules look at: a station and an episode put together, with answers they all need."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stationsim import units
from stationsim.control.staging import StagingSettings
from stationsim.errors import HydraulicError
from stationsim.findings import Finding
from stationsim.physics.operating import operating_point

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.equipment.pumps import PumpUnit
    from stationsim.inflow.segments import Segments
    from stationsim.scenario.reference import Reference
    from stationsim.station import Station

Findings = Iterator[Finding]

LOGIC = "follows from the sequence of control"
PRACTICE = "common practice, no source"

START_KEYS = ("lead_start", "lag_start", "second_lag_start", "third_lag_start", "standby_start")
"""Keys of the start levels, in the order of calling."""


@dataclass(frozen=True)
class Case:
    """What the rules look at.

    Parameters
    ----------
    station, episode
        As built.
    inflow
        All sources together.
    reference
        What levels are counted from in messages, and their units: as in the file.
    """

    station: Station
    episode: Episode
    inflow: Segments
    reference: Reference

    @property
    def system(self) -> units.System:
        """Units of the messages: those that the file uses."""
        return self.reference.system

    @property
    def staging(self) -> StagingSettings | None:
        """Settings of the built-in control by levels; None when another one decides."""
        settings = self.station.control.settings
        return settings if isinstance(settings, StagingSettings) else None

    @property
    def crest_m(self) -> float | None:
        """Level at which it spills [m]; None for never."""
        return None if self.station.spillway is None else self.station.spillway.crest_m

    def engines(self) -> list[tuple[str, EnginePump]]:
        """Return table and pump of what has an engine of its own."""
        station = self.station
        found = [("engine_pump", station.engine_pump), ("bypass_pump", station.bypass_pump)]
        return [(place, engine) for place, engine in found if engine is not None]

    def starts(self) -> list[tuple[str, float]]:
        """Return key and start level [m] of each call that is set, in the order of calling."""
        if self.staging is None:
            return []
        found = [(key, getattr(self.staging, f"{key}_m")) for key in START_KEYS]
        return [(f"control.{key}", level) for key, level in found if level is not None]

    def level(self, level_m: float) -> str:
        """Return a level as text, as the file would write it."""
        return self.reference.level(level_m)

    def height(self, height_m: float) -> str:
        """Return a difference of levels as text, in the units of the file."""
        return self.reference.plain(height_m)

    def flow(self, flow_m3s: float) -> str:
        """Return a flow as text, in the units of the file."""
        return units.show(flow_m3s, "flow", self.system)

    def flow_of(
        self, pumps: Sequence[PumpUnit], level_m: float, *, engine_driven: bool = False
    ) -> float | None:
        """Return the flow of a lineup at a level [m3/s]; None when it cannot be found."""
        total = None if engine_driven else self.station.total_by_number_m3s
        if total is not None and len(total) < len(pumps):
            return None
        try:
            point = operating_point(pumps, self.station.force_main, level_m, total)
        except HydraulicError:
            return None
        return point.total_m3s

    def has_flows(self) -> bool:
        """Tell whether every pump has a flow that can be found."""
        if self.station.total_by_number_m3s is not None:
            return len(self.station.total_by_number_m3s) == len(self.station.pumps)
        return all(
            pump.fixed_flow_m3s is not None
            or (pump.curve is not None and self.station.force_main is not None)
            for pump in self.station.pumps
        )

"""What came of building: the station and the episode, or why there are none."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stationsim import units
from stationsim.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from stationsim.episode import Episode
    from stationsim.station import Station


@dataclass(frozen=True)
class DataFile:
    """A data file that a scenario reads.

    Parameters
    ----------
    source
        Name of the inflow or rain that reads it.
    written
        Its path as the scenario gives it.
    path
        Where it is.
    table
        ``inflow`` or ``rain``: where its source stands in the scenario.
    """

    source: str
    written: str
    path: Path
    table: str = "inflow"

    @property
    def key(self) -> tuple[str, str]:
        """Table and name of its source."""
        return self.table, self.source


@dataclass
class Built:
    """What came of building.

    Parameters
    ----------
    system
        Units of the messages: those that the file uses.
    station, episode
        None when something was refused.
    findings
        What was refused, and what is worth telling.
    files
        Data files that were read.
    """

    system: units.System = "si"
    station: Station | None = None
    episode: Episode | None = None
    findings: list[Finding] = field(default_factory=list)
    files: list[DataFile] = field(default_factory=list)

    def refuse(
        self, place: str, reason: str, value: str = "", limit: str = "", fix: str = ""
    ) -> None:
        """Note an error."""
        self.findings.append(Finding(place, "error", reason, value, limit, fix))

    def example(self, si: str, us: str) -> str:
        """Return the one of two examples that is written in the units of the file."""
        return us if self.system == "us" else si

    def flow(self, flow_m3s: float) -> str:
        """Return a flow as a curve gives it, in the units of the file."""
        unit = units.shown_unit("flow", self.system)
        return f"{units.from_si(flow_m3s, unit, 'flow'):.6g} {unit}"

    def head(self, head_m: float) -> str:
        """Return a head as a curve gives it, in the units of the file."""
        unit = units.shown_unit("head", self.system)
        return f"{units.from_si(head_m, unit, 'length'):.6g} {unit}"

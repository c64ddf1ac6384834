"""What came of building: the station and the episode, or why there are none."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stationsim.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from stationsim.episode import Episode
    from stationsim.station import Station


@dataclass
class Built:
    """What came of building.

    Parameters
    ----------
    station, episode
        None when something was refused.
    findings
        What was refused, and what is worth telling.
    files
        Data files that were read.
    """

    station: Station | None = None
    episode: Episode | None = None
    findings: list[Finding] = field(default_factory=list)
    files: list[Path] = field(default_factory=list)

    def refuse(
        self, place: str, reason: str, value: str = "", limit: str = "", fix: str = ""
    ) -> None:
        """Note an error."""
        self.findings.append(Finding(place, "error", reason, value, limit, fix))

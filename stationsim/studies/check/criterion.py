"""A criterion: one question to a station, with its limit and its source.

A module of criteria has a function for each family that takes a :class:`Case` and yields
:class:`Judged`. What cannot be judged yields ``not_judged(..., needs)``: it never passes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple, cast

from stationsim.findings import Finding
from stationsim.inflow.segments import Segments, total_inflow
from stationsim.limits import source_of
from stationsim.outline import inflow_range
from stationsim.studies.ahead import Ahead
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.station import Ratings, Station
    from stationsim.units import Shown, System

Side = Literal["at most", "at least"]
CriterionVerdict = Literal["pass", "fail", "not judged"]
Unit = Literal[
    "flow", "velocity", "duration", "level", "length", "volume", "power", "head", "1/h", "A", "VA",
    "%", "",
]  # fmt: skip
"""What a value is: a kind that is shown in either unit system, or a unit that both share."""


class Judged(NamedTuple):
    """One criterion, judged.

    Parameters
    ----------
    criterion
        What is asked, as people call it: ``firm capacity``.
    subject
        Of what: ``station``, ``P1``, ``force main, old pipe``.
    verdict
        ``pass``, ``fail`` or ``not judged``.
    value, limit
        In SI; NaN when not judged.
    side
        Whether the value may be at most, or must be at least, the limit.
    unit
        What both are.
    reason
        One line: what was compared, with what in the way of numbers.
    source
        Where the limit comes from.
    """

    criterion: str
    subject: str
    verdict: CriterionVerdict
    value: float
    limit: float
    side: Side
    unit: Unit
    reason: str
    source: str

    @property
    def margin(self) -> float:
        """How far the value is on the good side of the limit, in SI; below nought when it fails."""
        return self.limit - self.value if self.side == "at most" else self.value - self.limit

    def finding(self, system: System) -> Finding:
        """Return it as a finding, with value and limit as text.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        judged = self.verdict != "not judged"
        return Finding(
            place=f"{self.criterion}, {self.subject}",
            verdict=self.verdict,
            reason=self.reason,
            value=value_text(self.value, self.unit, system) if judged else "",
            limit=f"{self.side} {value_text(self.limit, self.unit, system)}" if judged else "",
            margin=self.margin if judged else None,
            unit=self.unit,
            source=self.source,
        )


@dataclass(frozen=True)
class Case:
    """A station and an inflow, as criteria look at them.

    Parameters
    ----------
    station, episode
        What stands there, and what arrives.
    """

    station: Station
    episode: Episode

    @property
    def ratings(self) -> Ratings:
        """What plates and drawings say."""
        return self.station.ratings

    @cached_property
    def inflow(self) -> Segments:
        """All that arrives over the episode."""
        return total_inflow(self.episode)

    @cached_property
    def average_m3s(self) -> float:
        """Average flow by design, or else of the episode [m3/s]."""
        design = self.ratings.design.average_m3s
        if design is not None:
            return design
        end_s = self.episode.duration_s
        return self.inflow.volume_m3(end_s) / end_s

    @cached_property
    def peak_m3s(self) -> float:
        """Peak flow by design, or else of the episode [m3/s]."""
        design = self.ratings.design.peak_m3s
        return inflow_range(self.inflow, self.episode.duration_s)[1] if design is None else design

    @cached_property
    def least_m3s(self) -> float:
        """Least flow by design, or else of the episode [m3/s]."""
        design = self.ratings.design.least_m3s
        return inflow_range(self.inflow, self.episode.duration_s)[0] if design is None else design

    @cached_property
    def ahead(self) -> Ahead:
        """The station of which only the water moves: flows of lineups at any level."""
        return Ahead(self.station, 2.0 * max(self.peak_m3s, 1e-3))

    def flow_from(self, design: float | None) -> str:
        """Return in words where a flow comes from.

        Parameters
        ----------
        design
            The flow by design, or None.
        """
        return "design" if design is not None else "episode"


Family = Callable[[Case], Iterator[Judged]]


def judge(
    criterion: str,
    subject: str,
    value: float,
    side: Side,
    limit: float,
    unit: Unit,
    reason: str,
    source: str,
) -> Judged:
    """Return a criterion that could be judged; the limit itself is still good.

    Parameters
    ----------
    criterion, subject, side, unit, reason, source
        As in :class:`Judged`.
    value, limit
        In SI.
    """
    slack = 1e-9 * max(abs(limit), abs(value) if math.isfinite(value) else 0.0)
    good = value <= limit + slack if side == "at most" else value >= limit - slack
    verdict: CriterionVerdict = "pass" if good else "fail"
    return Judged(criterion, subject, verdict, value, limit, side, unit, reason, source)


def not_judged(criterion: str, subject: str, needs: str, source: str = "") -> Judged:
    """Return a criterion that lacks what it needs.

    Parameters
    ----------
    criterion, subject, source
        As in :class:`Judged`.
    needs
        What is lacking, by the key of the scenario: ``[force_main]``.
    """
    reason = f"not judged: needs {needs}"
    return Judged(
        criterion, subject, "not judged", math.nan, math.nan, "at most", "", reason, source
    )


def limit_source(case: Case, name: str) -> str:
    """Return the source of a limit: the file, when it sets it, or what it starts from.

    Parameters
    ----------
    case
        The station.
    name
        A field of ``Limits``.
    """
    if name in case.ratings.set_limits:
        return f"limits.{name.removesuffix('_s').removesuffix('_m')} of the scenario"
    return source_of(name)


def value_text(value: float, unit: Unit, system: System) -> str:
    """Return a value for people to read.

    Parameters
    ----------
    value
        In SI; starts in 1/h, currents in A, parts in percent.
    unit
        What it is.
    system
        ``si`` or ``us``.
    """
    if not math.isfinite(value):
        return "never" if math.isinf(value) else "-"
    plain = {
        "%": f"{value:.0f} %",
        "1/h": f"{value:.1f} an hour",
        "A": f"{value:.0f} A",
        "VA": f"{value / 1e3:.0f} kVA",
        "": f"{value:.3g}",
    }
    return plain[unit] if unit in plain else show(value, cast("Shown", unit), system)


def any_fails(found: Sequence[Judged]) -> bool:
    """Return whether any criterion fails.

    Parameters
    ----------
    found
        Criteria, judged.
    """
    return any(one.verdict == "fail" for one in found)

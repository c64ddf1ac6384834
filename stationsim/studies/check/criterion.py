"""A criterion: one question to a station, with its limit and its source.

A module of criteria has a function for each family that takes a :class:`Case` and yields
:class:`Judged`. What cannot be judged yields ``not_judged(..., needs)``: it never passes. What a
station has no need of yields ``not_needed(..., why)``: it neither passes nor is it open. A reason
keeps its quantities as numbers, so that it can be told in either unit system.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple, cast

from stationsim.findings import Finding
from stationsim.inflow.segments import Segments, total_inflow
from stationsim.limits import key_of, source_of
from stationsim.outline import inflow_range
from stationsim.units import Shown, show

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.physics.forcemain import ForceMain
    from stationsim.station import Ratings, Station
    from stationsim.units import System

Side = Literal["at most", "at least"]
CriterionVerdict = Literal["pass", "fail", "not judged"]
Unit = Literal[
    "flow", "velocity", "duration", "level", "length", "volume", "power", "head", "1/h", "A", "VA",
    "%", "",
]  # fmt: skip
"""What a value is: a kind that is shown in either unit system, or a unit that both share."""

SI_UNITS = {
    "flow": "m3/s", "velocity": "m/s", "duration": "s", "level": "m", "length": "m",
    "volume": "m3", "power": "W", "head": "m",
}  # fmt: skip
"""Unit of a value in a table, by what it is; the others say it themselves."""


RUN_CHECKS = ("water balance", "energy")
"""Criteria that are checks of the run itself, by name."""

_NOT_NEEDED = "not needed: "


class Told(NamedTuple):
    """A quantity within a reason.

    Parameters
    ----------
    value
        In SI.
    kind
        What it is.
    """

    value: float
    kind: Shown


Reason = str | tuple[str | Told, ...]
"""What was compared: plain text, or pieces of text and quantities in turn."""


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
    why
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
    why: Reason
    source: str

    @property
    def reason(self) -> str:
        """What was compared, in SI."""
        return self.told("si")

    def told(self, system: System) -> str:
        """Return what was compared.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        return reason_text(self.why, system)

    @property
    def of_the_run(self) -> bool:
        """Whether it is a check of the run, and none of the station."""
        return self.criterion in RUN_CHECKS

    @property
    def is_open(self) -> bool:
        """Whether it could not be judged for want of data."""
        return self.verdict == "not judged" and not self.reason.startswith(_NOT_NEEDED)

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
            reason=self.told(system),
            value=value_text(self.value, self.unit, system) if judged else "",
            limit=f"{self.side} {value_text(self.limit, self.unit, system)}" if judged else "",
            margin=self.margin if judged else None,
            unit=SI_UNITS.get(self.unit, self.unit) if judged else "",
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
    def flows_m3s(self) -> dict[tuple[ForceMain | None, tuple[int, ...], float], float]:
        """Flows that were found already, by main, pumps and level: most are asked for often."""
        return {}

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

    def flow_from(self, design: float | None) -> str:
        """Return in words where a flow comes from.

        Parameters
        ----------
        design
            The flow by design, or None.
        """
        return "design" if design is not None else "episode"


def stages_of(station: Station) -> list[tuple[str, float, float]]:
    """Return role, start level and stop level [m] of each call; empty when the controller has none.

    Parameters
    ----------
    station
        What stands there.
    """
    stages = getattr(station.control.settings, "stages", None)
    return list(stages()) if callable(stages) else []


class Water(NamedTuple):
    """A level of the water at which something is looked at.

    Parameters
    ----------
    level_m
        The level [m above floor].
    name
        What it is called: ``the high-level alarm``.
    """

    level_m: float
    name: str


def high_water(station: Station) -> Water:
    """Return the water at which a capacity counts: the alarm, or else the highest start level.

    Parameters
    ----------
    station
        What stands there.
    """
    alarm, spillway = station.alarms.high_level_m, station.spillway
    if alarm is not None:
        return Water(alarm, "the high-level alarm")
    stages = stages_of(station)
    if stages:
        return Water(max(start for _role, start, _stop in stages), "the highest start level")
    if spillway is not None:
        return Water(spillway.crest_m, "the level of the spill")
    return Water(0.0, "the floor")


def low_water(station: Station) -> Water:
    """Return the lowest water at which a pump runs: the stop level, or else the floor.

    Parameters
    ----------
    station
        What stands there.
    """
    stages = stages_of(station)
    if stages:
        return Water(min(stop for _role, _start, stop in stages), "the stop level")
    return Water(0.0, "the floor")


Family = Callable[[Case], Iterator[Judged]]

_ROUNDING = 1e-9
"""Part of a value that may be rounding: a value so near its limit stands at it [-]."""


def judge(
    criterion: str,
    subject: str,
    value: float,
    side: Side,
    limit: float,
    unit: Unit,
    why: Reason,
    source: str,
) -> Judged:
    """Return a criterion that could be judged; the limit itself is still good.

    Parameters
    ----------
    criterion, subject, side, unit, why, source
        As in :class:`Judged`.
    value, limit
        In SI.

    Raises
    ------
    ValueError
        When the value or the limit is no number: it is then not known, and must not be judged.
    """
    if math.isnan(value) or math.isnan(limit):
        raise ValueError(f"{criterion}, {subject}: {value} against {limit} cannot be judged")
    slack = _ROUNDING * max((abs(x) for x in (value, limit) if math.isfinite(x)), default=0.0)
    good = value <= limit + slack if side == "at most" else value >= limit - slack
    verdict: CriterionVerdict = "pass" if good else "fail"
    return Judged(criterion, subject, verdict, value, limit, side, unit, why, source)


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


def not_needed(criterion: str, subject: str, why: str) -> Judged:
    """Return a criterion that this station has no need of: it is not judged, and not open.

    Parameters
    ----------
    criterion, subject
        As in :class:`Judged`.
    why
        What makes it needless: ``a stagger is set``.
    """
    reason = f"{_NOT_NEEDED}{why}"
    return Judged(criterion, subject, "not judged", math.nan, math.nan, "at most", "", reason, "")


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
        return f"limits.{key_of(name)} of the scenario"
    return source_of(name)


def reason_text(reason: Reason, system: System) -> str:
    """Return a reason for people to read.

    Parameters
    ----------
    reason
        Text, or pieces of text and quantities in turn.
    system
        ``si`` or ``us``.
    """
    if isinstance(reason, str):
        return reason
    return "".join(
        piece if isinstance(piece, str) else value_text(piece.value, piece.kind, system)
        for piece in reason
    )


def value_text(value: float, unit: Unit | Shown, system: System) -> str:
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
    if unit == "duration" and 0.0 <= value < _SHORT_S - 3.0:
        # finer than elsewhere: 9.9 min and a limit of 10 min must not look the same
        return f"{value:.0f} s" if value < _SECONDS_S else f"{round(value / 60.0, 1):g} min"
    if unit in _PLAIN:
        return _PLAIN[unit].format(value)
    if unit == "1/h":
        return f"{round(value, 2):g} an hour"
    return show(
        value, cast("Shown", {"A": "current", "VA": "apparent power"}.get(unit, unit)), system
    )


_SHORT_S, _SECONDS_S = 3600.0, 180.0
_PLAIN = {"%": "{:.0f} %", "": "{:.3g}"}

"""Moments of a table-top: what reaches somebody when, and where the plan has something to decide.

What reaches somebody who is away is what the drill tells when nobody acts; what stands on site is
read from the panel of the run by the plan. The truth behind each moment is looked at apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple, get_args

import numpy as np

from stationsim.metrics.spilled import spilled_by
from stationsim.people.response import Response, TaskKind
from stationsim.simulation.session import Session
from stationsim.studies.drill import said
from stationsim.studies.drill.cards.lateness import Runs, all_answer
from stationsim.studies.drill.drill import Drill
from stationsim.studies.drill.told import AwaySees, Told

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.simulation.looking import Sight
    from stationsim.station import Station
    from stationsim.trace import CrewRow
    from stationsim.units import System

TASKS: tuple[TaskKind, ...] = get_args(TaskKind)

DISCONNECTS = ("disconnect mobile generator", "disconnect bypass pump")
"""Work that ends what was connected."""

_TOGETHER_S = 60.0
"""What is told within this time stands on one card; own choice [s]."""
_AFTER_S = 2e-6
_HIGH = "high level"


class Heard(NamedTuple):
    """What reaches somebody who is away, within a minute.

    Parameters
    ----------
    t_s
        When the last of it came [s].
    told
        What was told.
    """

    t_s: float
    told: tuple[Told, ...]

    @property
    def over(self) -> bool:
        """True when all of it is that something is over."""
        return all(one.text.endswith((": over", "spill ends")) for one in self.told)


class Truth(NamedTuple):
    """How it stands at a moment, whoever knows of it.

    Parameters
    ----------
    level_m, inflow_m3s, pumped_m3s, spill_m3s
        Level and flows [m above floor, m3/s].
    spilled_m3
        What has spilled so far [m3].
    fed_by
        What feeds the pumps.
    standing
        Which trouble stands, and of what.
    found
        What somebody who looks around on site would find amiss.
    stopped
        Machines that may not run, and why.
    """

    level_m: float
    inflow_m3s: float
    pumped_m3s: float
    spill_m3s: float
    spilled_m3: float
    fed_by: str
    standing: tuple[str, ...]
    found: tuple[str, ...]
    stopped: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """The plan of a file as it is played on the cards.

    Parameters
    ----------
    response
        Who answers.
    result
        The run by it.
    answered
        True where the file as it stands has nobody who takes the call, and the cards have somebody
        who does.
    """

    response: Response
    result: Result
    answered: bool

    @property
    def crew(self) -> list[CrewRow]:
        """What people did, in order of time."""
        return sorted(self.result.trace.crew, key=lambda row: (row.start_s, row.stop_s))

    @property
    def taken(self) -> CrewRow | None:
        """The call that was taken first; None when nobody took one."""
        rows = [row for row in self.crew if row.task == "called" and row.outcome == "acknowledged"]
        return min(rows, key=lambda row: row.stop_s, default=None)

    @property
    def arrived(self) -> CrewRow | None:
        """The way of whoever was on site first; None when nobody came by a call."""
        rows = [
            row
            for row in self.crew
            if row.task == "travels" and row.outcome == "on site" and row.subject == "station"
        ]
        return min(rows, key=lambda row: row.stop_s, default=None)

    @property
    def first_there_s(self) -> float:
        """When the first step on site begins, or somebody stands there; infinity for never [s]."""
        times = [] if self.arrived is None else [self.arrived.stop_s]
        times += [row.start_s for row in self.steps]
        return min(times, default=math.inf)

    @property
    def looked_s(self) -> float:
        """When whoever came by a call has looked around; infinity for never [s]."""
        if self.arrived is None:
            return math.inf
        came_s, who = self.arrived.stop_s, self.arrived.person
        ends = [
            row.stop_s
            for row in self.crew
            if row.task == "looks around" and row.person == who and row.start_s >= came_s
        ]
        return min(ends, default=came_s)

    def there(self, t_s: float) -> bool:
        """Return whether somebody stands on site at a moment.

        Parameters
        ----------
        t_s
            When [s].
        """
        work = (*TASKS, *DISCONNECTS, "looks around", "looks on")
        return any(row.person and row.task in work and row.start_s <= t_s < row.stop_s
                   for row in self.crew)  # fmt: skip

    def brought(self, t_s: float) -> list[str]:
        """Return the tools that have been brought to the site by a moment.

        Parameters
        ----------
        t_s
            When [s].
        """
        came = {
            row.person: row.stop_s
            for row in self.crew
            if row.task == "travels" and row.outcome == "on site" and row.stop_s <= t_s
        }
        found = [
            row.tool
            for row in self.crew
            if (row.task == "comes" and row.outcome == "on site" and row.stop_s <= t_s)
            or (row.task == "fetches" and row.outcome == "done"
                and came.get(row.person, -math.inf) >= row.stop_s)
        ]  # fmt: skip
        return list(dict.fromkeys(found))

    def called_anew(self, t_s: float) -> bool:
        """Return whether a phone rings at a moment for a call that is not the first one.

        Parameters
        ----------
        t_s
            When [s].
        """
        return any(
            row.task == "called" and row.start_s <= t_s <= row.stop_s + _TOGETHER_S
            for row in self.crew
            if self.taken is not None and row.start_s > self.taken.stop_s
        )

    @property
    def told(self) -> list[CrewRow]:
        """What people did, without rounds that found all well."""
        calm = {
            (row.person, row.stop_s)
            for row in self.crew
            if row.task == "visits" and row.outcome == "all well"
        }
        return [
            row
            for row in self.crew
            if (row.person, row.start_s) not in calm or row.task not in ("visits", "looks around")
        ]

    @property
    def steps(self) -> list[CrewRow]:
        """What is done on site: the first time of each step, and of each thing."""
        found: dict[tuple[str, str], CrewRow] = {}
        for row in self.crew:
            if row.task in TASKS or row.task in DISCONNECTS:
                found.setdefault((row.task, row.subject), row)
        return list(found.values())


def plan_of(runs: Runs) -> Plan | None:
    """Return the plan that the cards are played by; None for a file without people.

    Where nobody takes the call by the file as it stands, somebody does on the cards: else they
    would have nothing to decide.

    Parameters
    ----------
    runs
        The runs of the episode.
    """
    response = runs.episode.response
    if response is None:
        return None
    plan = Plan(response, runs.run(response), answered=False)
    rings = any(row.task == "called" for row in plan.crew)
    if plan.taken is None and rings:
        answered = all_answer(response)
        return Plan(answered, runs.run(answered), answered=True)
    return plan


def heard_of(
    station: Station, episode: Episode, who: str, away_sees: AwaySees, system: System
) -> list[Heard]:
    """Return what reaches somebody who is away when nobody acts, a moment each.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it.
    who
        Who it reaches; empty for the first on the call list.
    away_sees
        What the far end shows.
    system
        Units of what is told.

    Raises
    ------
    InputError
        When the response does not know who that is.
    """
    drill = Drill(station, episode, who=who, on_site=False, away_sees=away_sees, system=system)
    told = sorted(drill.wait_until(episode.duration_s), key=lambda one: one.t_s)
    found: list[list[Told]] = []
    for one in told:
        if found and one.t_s - found[-1][0].t_s < _TOGETHER_S:
            found[-1].append(one)
        else:
            found.append([one])
    return [Heard(group[-1].t_s, tuple(group)) for group in found]


class Looker:
    """Looks at a run at moments that never go back; commits nothing.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it.
    response
        Who answers; None for nobody.
    result
        The same run, whole.
    """

    def __init__(
        self, station: Station, episode: Episode, response: Response | None, result: Result
    ) -> None:
        self.station = station
        self.session = Session(station, replace(episode, response=response))
        self.site = self.session.site(Response() if response is None else response)
        self.result = result

    def to(self, t_s: float) -> None:
        """Go on to a moment, and past what happens at it.

        Parameters
        ----------
        t_s
            When [s].
        """
        if not self.session.done and t_s + _AFTER_S > self.session.now_s:
            self.session.advance(t_s + _AFTER_S)

    def before(self, t_s: float) -> None:
        """Go on to a moment, before what happens at it.

        Parameters
        ----------
        t_s
            When [s].
        """
        if not self.session.done and t_s > self.session.now_s:
            self.session.advance(t_s)

    def on_site(self, system: System) -> list[str]:
        """Return what somebody sees who stands on site now.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        lines = said.panel_lines(self.session.shown(), self.station, system)
        found = said.sight_lines(self.session.sight(self.site), self.station, system)
        return [*lines, *(line.replace(" (mend NAME)", "") for line in found)]

    def truth(self) -> Truth:
        """Return how it stands now."""
        session, now_s = self.session, self.session.now_s
        shown, sight = session.shown(), session.sight(self.site)
        at_s = np.array([min(now_s, self.result.trace.end_s)])
        drawn = self.result.sampled(at_s)
        standing = [f"{kind}, {subject}" for subject, kind in self.site.plant.standing.all()]
        if not shown.grid_on:
            standing.insert(0, "grid out")
        return Truth(
            session.level_m,
            float(drawn.inflow_m3s[0]),
            float(drawn.pumped_m3s[0]),
            float(drawn.spill_m3s[0]),
            float(spilled_by(self.result.course, at_s)[0]),
            shown.busbar,
            tuple(standing),
            tuple(dict.fromkeys(_amiss(sight))),
            tuple(f"{one.name}: {', '.join(one.taken_out)}" for one in shown.machines
                  if one.taken_out),
        )  # fmt: skip


def _amiss(sight: Sight) -> Iterable[str]:
    return (f"{subject} ({kind})" for kind, subject in sight.amiss)


def next_high_s(result: Result, t_s: float) -> float:
    """Return when the high-level alarm comes next; nought or less while it stands [s from then].

    Parameters
    ----------
    result
        A run.
    t_s
        From when on [s].
    """
    rows = [row for row in result.trace.alarms if row.alarm == _HIGH]
    if any(row.raised_s <= t_s and not row.cleared_s <= t_s for row in rows):
        return 0.0
    return min((row.raised_s - t_s for row in rows if row.raised_s > t_s), default=math.inf)


def next_spill_s(result: Result, t_s: float) -> float:
    """Return when water is lost next; nought while it is [s from then].

    Parameters
    ----------
    result
        A run.
    t_s
        From when on [s].
    """
    rows = result.trace.spills
    if any(row.start_s <= t_s < row.stop_s for row in rows):
        return 0.0
    return min((row.start_s - t_s for row in rows if row.start_s > t_s), default=math.inf)

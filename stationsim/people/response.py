"""The response to a station in trouble: a call-out list, people, tools, and the steps of a plan.

Descriptions only. Who does what when in a run is told by ``simulation.people``; nothing here knows
what a plant is, so one crew may serve several of them.

Every duration is a low, a typical and a high one (``chance.Range``). Which of them counts in a run
says ``Response.pace``: one of the three for all, or a draw for each from its own stream.

References
----------
The chain alarm, telemetry, acknowledgement, dispatch, collecting a set, travel, connection, start:
common practice, no source. The low, typical and high durations of an example are from memory, and
a user's own drills decide.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

from stationsim.chance import Range

Pace = Literal["low", "typical", "high", "drawn"]
"""Which value of each range counts: the same for all, or each drawn by the seed."""

TaskKind = Literal[
    "reset",
    "set right",
    "clear rags",
    "pull a pump",
    "connect mobile generator",
    "connect bypass pump",
    "refuel",
    "haul",
]
"""What a crew can do on site."""

WayPart = Literal["acknowledges", "gets_ready", "travels"]
"""What stands between a phone that rings and somebody on site."""

WAY: tuple[WayPart, ...] = get_args(WayPart)

NONE = Range.point(0.0)
"""No time at all."""

DAY_S = 86400.0
_SATURDAY = 5


@dataclass(frozen=True)
class ClockSpan:
    """A span of the day by the clock, over midnight if it ends before it begins.

    Parameters
    ----------
    from_s, to_s
        Seconds since midnight [s]; the moment of ``from_s`` belongs to it, that of ``to_s`` does
        not. Equal ones mean the whole day.
    """

    from_s: float
    to_s: float

    def holds(self, clock_s: float) -> bool:
        """Return whether a moment lies in it.

        Parameters
        ----------
        clock_s
            Seconds since any midnight [s].
        """
        at = clock_s % DAY_S
        if self.from_s < self.to_s:
            return self.from_s <= at < self.to_s
        return at >= self.from_s or at < self.to_s

    def until_in(self, clock_s: float) -> float:
        """Return how long it is until a moment lies in it; 0 when it does [s].

        Parameters
        ----------
        clock_s
            Seconds since any midnight [s].
        """
        return 0.0 if self.holds(clock_s) else (self.from_s - clock_s) % DAY_S

    @property
    def gap_s(self) -> float:
        """How long it is from its end until it begins again; 0 for the whole day [s]."""
        return (self.from_s - self.to_s) % DAY_S

    def left(self, clock_s: float) -> float:
        """Return how long a moment that lies in it has until its end; infinity for the whole day.

        Parameters
        ----------
        clock_s
            Seconds since any midnight [s].
        """
        if self.from_s == self.to_s:
            return math.inf
        return (self.to_s - clock_s) % DAY_S


@dataclass(frozen=True)
class Person:
    """Somebody who can be called.

    Parameters
    ----------
    name
        What people call them; a role will do: ``operator on call``.
    acknowledges
        From the phone that rings to the alarm that is acknowledged [s].
    gets_ready
        From there to the vehicle that leaves: decide, dress, fetch it [s].
    travels
        The way to the station, or to the yard and on [s].
    night_acknowledges, night_gets_ready, night_travels
        The same at night [s]; None: as by day.
    on_call
        When they are called by the clock; None: always.
    answers, answers_at_night
        False: the phone rings and nobody hears it.
    """

    name: str
    acknowledges: Range = NONE
    gets_ready: Range = NONE
    travels: Range = NONE
    night_acknowledges: Range | None = None
    night_gets_ready: Range | None = None
    night_travels: Range | None = None
    on_call: ClockSpan | None = None
    answers: bool = True
    answers_at_night: bool = True

    def takes(self, what: WayPart, *, night: bool) -> Range:
        """Return how long a part of their way takes [s]; at night as by day, unless it is given.

        Parameters
        ----------
        what
            Which part.
        night
            True at night.
        """
        by_day: Range = getattr(self, what)
        at_night: Range | None = getattr(self, f"night_{what}")
        return at_night if night and at_night is not None else by_day


@dataclass(frozen=True)
class Tool:
    """Something that a task needs and that is not always on site.

    Parameters
    ----------
    name
        What it is called: ``mobile generator``, ``tanker``, ``lifting gear``.
    number
        How many there are [-]; nought: none is to be had.
    fetched
        How long it takes to collect it in the yard, on the way to the station [s]; None: it is on
        site, or it is delivered.
    delivered
        How long it takes from the order until it is on site, brought by somebody else [s]; None: it
        is on site, or it is fetched.
    holds_m3
        What a tanker takes at a time [m3].
    round_trip
        How long a tanker is away with a load [s].
    """

    name: str
    number: int = 1
    fetched: Range | None = None
    delivered: Range | None = None
    holds_m3: float = 0.0
    round_trip: Range = NONE


@dataclass(frozen=True)
class Task:
    """A step of the plan.

    Parameters
    ----------
    kind
        What is done.
    takes
        From the beginning of the work to its end: safety, isolating, connecting; of a tanker, the
        loading [s].
    starts
        What then still passes until it counts: start, check of the rotation, load [s].
    takes_down
        How long it takes to undo it when it is no longer needed [s]; it is off from the beginning.
    people
        How many people it takes [-]; nought: whoever brings the tool does it.
    tool
        Name of the tool that it takes; None for none.
    brought_for
        Alarms at which the tool is fetched on the way, or ordered at once; at others it is only
        when somebody on site has found that it is needed.
    fuel_below
        Of refuelling, with the engine stopped and cooled, unless its maker allows otherwise: at
        which part of a full tank it is done [-].
    """

    kind: TaskKind
    takes: Range = NONE
    starts: Range = NONE
    takes_down: Range = NONE
    people: int = 1
    tool: str | None = None
    brought_for: tuple[str, ...] = ()
    fuel_below: float = 0.25


@dataclass(frozen=True)
class Visit:
    """A round that passes by the station at a set time.

    Parameters
    ----------
    person
        Name of who comes.
    at_clock_s
        When, by the clock of the first day [s since its midnight].
    every_s
        From one visit to the next [s].
    """

    person: str
    at_clock_s: float
    every_s: float = DAY_S


@dataclass(frozen=True)
class PasserBy:
    """Somebody who sees that something is wrong, and rings.

    Parameters
    ----------
    after
        How long it shows, in waking hours, until somebody rings [s].
    sees
        A ``spill``, or the ``alarm light`` of the station.
    awake
        When people pass by, by the clock; None: always.
    """

    after: Range
    sees: Literal["spill", "alarm light"] = "spill"
    awake: ClockSpan | None = None

    def rings_at(self, at_s: float, clock_s: Callable[[float], float], left_s: float) -> float:
        """Return when they ring, of something that shows from a time on [s].

        Parameters
        ----------
        at_s
            Since when it shows [s].
        clock_s
            Returns the seconds since a midnight of a time [s].
        left_s
            How long it has to show, in waking hours [s].
        """
        awake = self.awake
        if awake is not None:
            at_s += awake.until_in(clock_s(at_s))
            while left_s > (there_s := awake.left(clock_s(at_s))):  # only waking hours count
                left_s -= there_s
                at_s += there_s + awake.gap_s
        return at_s + left_s


@dataclass(frozen=True)
class Response:
    """Who answers for a station, with what, and in which order.

    Parameters
    ----------
    people
        All of them.
    call_list
        Whom an alarm calls, by name, in this order; empty: nobody.
    alarms
        Alarms that call out; None: every one that leaves the station.
    picked_up
        From the alarm that is sent until the far end has it: the next poll [s].
    on_phone
        From there until the first phone rings [s].
    next_after_s
        How long a call waits for its acknowledgement before the next one on the list is called too
        [s]; infinity: it waits for the first one.
    rounds
        How often the list is gone through before it is given up [-].
    assesses
        How long the first look around on site takes, before the first task [s].
    look_again_s
        How often somebody on site who has nothing to do looks whether there is [s].
    night
        What counts as night, by the clock; None: nothing does.
    weekend_as_night
        True when Saturday and Sunday count as night.
    tools
        What tasks may need.
    tasks
        The steps of the plan, in their order.
    visit
        The round that passes by; None for none.
    passer_by
        Somebody who rings; None for nobody.
    pace
        Which value of each range counts.
    late_s
        How much later than they would be people are on site for the first time [s]: a tree on the
        road.

    Raises
    ------
    ValueError
        When it names somebody or something that it does not have, or a time that repeats is nought.
    """

    people: tuple[Person, ...] = ()
    call_list: tuple[str, ...] = ()
    alarms: tuple[str, ...] | None = None
    picked_up: Range = NONE
    on_phone: Range = NONE
    next_after_s: float = math.inf
    rounds: int = 1
    assesses: Range = NONE
    look_again_s: float = 600.0
    night: ClockSpan | None = None
    weekend_as_night: bool = False
    tools: tuple[Tool, ...] = ()
    tasks: tuple[Task, ...] = ()
    visit: Visit | None = None
    passer_by: PasserBy | None = None
    pace: Pace = "typical"
    late_s: float = 0.0

    def __post_init__(self) -> None:
        """Check that all that is named is there, and that nothing repeats without end."""
        people = {one.name for one in self.people}
        called = (*self.call_list, *(() if self.visit is None else (self.visit.person,)))
        for name in called:
            if name not in people:
                message = f"nobody among the people is called '{name}'"
                raise ValueError(message)
        tools = {one.name for one in self.tools}
        for task in self.tasks:
            if task.tool is not None and task.tool not in tools:
                message = f"'{task.kind}' takes the tool '{task.tool}', and there is none"
                raise ValueError(message)
        every_s = math.inf if self.visit is None else self.visit.every_s
        for what, value_s in (("look_again_s", self.look_again_s), ("every_s of visits", every_s)):
            if not value_s > 0.0:
                message = f"{what} is more than nought, not {value_s:g}"
                raise ValueError(message)

    def person(self, name: str) -> Person:
        """Return a person by name.

        Parameters
        ----------
        name
            Who.

        Raises
        ------
        KeyError
            When there is none of that name.
        """
        return {one.name: one for one in self.people}[name]

    def tool(self, name: str) -> Tool:
        """Return a tool by name.

        Parameters
        ----------
        name
            Which.

        Raises
        ------
        KeyError
            When there is none of that name.
        """
        return {one.name: one for one in self.tools}[name]

    def task(self, kind: TaskKind) -> Task | None:
        """Return the step of a kind; None when the plan has none.

        Parameters
        ----------
        kind
            Which.
        """
        return next((one for one in self.tasks if one.kind == kind), None)

    def at_night(self, clock_s: float, weekday: int) -> bool:
        """Return whether a moment counts as night.

        Parameters
        ----------
        clock_s
            Seconds since any midnight [s].
        weekday
            Day of the week that the moment lies in, 0 for Monday [-].
        """
        by_clock = self.night is not None and self.night.holds(clock_s)
        return by_clock or (self.weekend_as_night and weekday >= _SATURDAY)

    def calls(self, alarm: str) -> bool:
        """Return whether an alarm calls out.

        Parameters
        ----------
        alarm
            Which.
        """
        return self.alarms is None or alarm in self.alarms


def paced(pace: Pace, span: Range, part: float) -> float:
    """Return how long something takes [s].

    Parameters
    ----------
    pace
        Which value counts.
    span
        Low, typical and high [s].
    part
        A number from 0 to 1, for a draw [-].
    """
    if pace == "drawn":
        return span.at(part)
    return {"low": span.low, "typical": span.typical, "high": span.high}[pace]

"""What may go wrong in an exercise: drawn from what a station has, and what can be done about it.

Only what somebody in a drill can do something about stands here as the main trouble: a trip waits
for its reset, a selector can be turned, pumps can run in hand past a level signal that is wrong, a
set or a pump can be brought; and what takes tools is drawn only where the response has the step for
it. Sizes and weights are own choices, made for practice: they say nothing of how often such things
happen anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeVar

from stationsim.chance import Streams
from stationsim.episode import ScriptedEvent
from stationsim.inflow.storm import Hydrograph

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.equipment.faults import EventKind
    from stationsim.people.response import Response, TaskKind
    from stationsim.station import Station

Remedy = Literal[
    "reset", "auto", "set right", "clear rags", "hand", "mobile generator", "bypass pump", "haul",
    "nothing",
]  # fmt: skip
"""What somebody in a drill can do about it; ``nothing`` for what has to be worked around."""

GRID_LOSS = "grid loss"
_MIN, _HOUR = 60.0, 3600.0
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_T = TypeVar("_T")


@dataclass(frozen=True)
class Draw:
    """One try at an exercise: every choice has a number of its own.

    Parameters
    ----------
    streams
        Streams of random numbers of the exercise.
    attempt
        Which try, from 0 [-].
    place
        Name of the station: two of them share no draws.
    """

    streams: Streams
    attempt: int
    place: str = ""

    def part(self, purpose: str, count: int | None = None) -> float:
        """Return a number from 0 to 1 [-].

        Parameters
        ----------
        purpose
            What it decides.
        count
            Which number of its stream; None: that of the try [-].
        """
        stream = self.streams.stream(f"exercise at {self.place}", purpose)
        return stream.number(self.attempt if count is None else count)

    def between(self, purpose: str, least: float, most: float, step: float) -> float:
        """Return one of the values from least to most, in steps [any].

        Parameters
        ----------
        purpose
            What it decides.
        least, most, step
            In one unit [any].
        """
        count = round((most - least) / step) + 1
        return least + step * int(self.part(purpose) * count)

    def pick(self, purpose: str, things: Sequence[_T]) -> _T:
        """Return one of several things.

        Parameters
        ----------
        purpose
            What it decides.
        things
            One or more.
        """
        return things[int(self.part(purpose) * len(things))]

    def shuffled(self, names: Sequence[str]) -> list[str]:
        """Return names in an order of the draw.

        Parameters
        ----------
        names
            Any names.
        """
        return sorted(names, key=lambda name: self.part(f"turn of {name}"))

    def mark(self, turn: int) -> float:
        """Return what settles the kind of trouble, from 0 to 1 [-].

        The first kinds of neighbouring exercises lie apart, so that a class has many different
        ones: multiples of the golden ratio, whose parts after the point spread evenly.

        Parameters
        ----------
        turn
            How often another kind was asked for before [-].

        References
        ----------
        D. E. Knuth, The Art of Computer Programming, volume 3, section 6.4, theorem S (from
        memory).
        """
        if turn > 0:
            return self.part("which trouble", turn)
        of_all = Streams(self.streams.root).stream(f"exercises at {self.place}", "first trouble")
        return (of_all.number(0) + _GOLDEN * self.streams.replicate) % 1.0


class Wrong(NamedTuple):
    """One thing that is wrong.

    Parameters
    ----------
    event
        What happens.
    remedy
        What can be done about it.
    """

    event: ScriptedEvent
    remedy: Remedy


@dataclass(frozen=True)
class Trouble:
    """What goes wrong.

    Parameters
    ----------
    name
        What it is, in a few words.
    wrongs
        Each single thing that is wrong.
    surge
        What arrives besides; None for nothing.
    silent
        Name of somebody who does not answer; empty for nobody.
    """

    name: str
    wrongs: tuple[Wrong, ...] = ()
    surge: Hydrograph | None = None
    silent: str = ""


@dataclass(frozen=True)
class Place:
    """A station and who answers for it, as far as a draw asks.

    Parameters
    ----------
    station
        What stands there.
    response
        Who answers; None for nobody.
    greatest_m3s
        The greatest inflow of the exercise, without storms [m3/s].
    """

    station: Station
    response: Response | None
    greatest_m3s: float = 0.0

    @property
    def pumps(self) -> tuple[str, ...]:
        """Names of the electric pumps."""
        return tuple(unit.name for unit in self.station.pumps)

    @property
    def own_flow(self) -> bool:
        """True when each pump has a flow of its own that trouble can lessen."""
        return self.station.total_by_number_m3s is None

    @property
    def engine(self) -> str:
        """Name of the engine-driven pump; empty for none."""
        engine = self.station.engine_pump
        return "" if engine is None else engine.pump.name

    @property
    def generator(self) -> bool:
        """True when a fixed set stands there."""
        power = self.station.standby_power
        return power is not None and power.generator is not None

    @property
    def below_alarm_m(self) -> float | None:
        """From the lead start to the high-level alarm, or to the spill [m]; None when not set."""
        lead = getattr(self.station.control.settings, "lead_start_m", None)
        spillway = self.station.spillway
        high = self.station.alarms.high_level_m
        if high is None and spillway is not None:
            high = spillway.crest_m
        if lead is None or high is None or not high - lead >= 0.05:
            return None
        return float(high - lead)

    def has(self, step: TaskKind) -> bool:
        """Return whether the response has a step.

        Parameters
        ----------
        step
            Which.
        """
        return self.response is not None and self.response.task(step) is not None

    @property
    def brought(self) -> Remedy | None:
        """What can be brought against an outage; None for nothing."""
        power = self.station.standby_power
        if power is not None and power.mobile is not None and self.has("connect mobile generator"):
            return "mobile generator"
        if self.station.bypass_pump is not None and self.has("connect bypass pump"):
            return "bypass pump"
        return "haul" if self.has("haul") else None


# ---------------------------------------------------------------------- the main trouble


def _grid_loss(place: Place, draw: Draw, at_s: float) -> Trouble:
    lasts_s = draw.between("how long the grid is out", 1.0 * _HOUR, 8.0 * _HOUR, 15.0 * _MIN)
    event = ScriptedEvent(at_s, "grid loss", "grid", lasts_s)
    return Trouble(GRID_LOSS, (Wrong(event, place.brought or "nothing"),))


def _trip(kind: str, pump: str, at_s: float, draw: Draw) -> Wrong:
    cools_s = draw.between("how long it cools", 20.0 * _MIN, 40.0 * _MIN, 5.0 * _MIN)
    lasts_s = cools_s if kind == "high temperature" else None
    event = ScriptedEvent(at_s, kind, pump, lasts_s, resets_itself=False)  # type: ignore[arg-type]
    return Wrong(event, "reset")


def _trips(place: Place, draw: Draw, at_s: float) -> Trouble:
    """Pumps trip one after the other, each until its reset: all of them, or all but one."""
    kind = draw.pick("how pumps trip", ("fails", "overload", "high temperature"))
    names = draw.shuffled(place.pumps)
    count = max(1, len(names) - int(draw.part("how many are left") * 2.0))
    gap_s = draw.between("from trip to trip", 5.0 * _MIN, 40.0 * _MIN, _MIN)
    wrongs = [_trip(kind, name, at_s + n * gap_s, draw) for n, name in enumerate(names[:count])]
    return Trouble(f"pumps trip: {kind}", tuple(wrongs))


def _signal(kind: EventKind) -> Callable[[Place, Draw, float], Trouble]:
    def make(place: Place, draw: Draw, at_s: float) -> Trouble:
        amount = 0.0
        if kind == "level signal off":
            below_m = place.below_alarm_m or 0.0
            amount = -round(below_m * (1.05 + draw.part("how far off")), 2)
        remedy: Remedy = "set right" if place.has("set right") else "hand"
        event = ScriptedEvent(at_s, kind, "level sensor", amount=amount)
        return Trouble(kind, (Wrong(event, remedy),))

    return make


def _panel(kind: EventKind) -> Callable[[Place, Draw, float], Trouble]:
    def make(place: Place, _draw: Draw, at_s: float) -> Trouble:
        remedy: Remedy = "set right" if place.has("set right") else "hand"
        return Trouble(kind, (Wrong(ScriptedEvent(at_s, kind, "panel"), remedy),))

    return make


def _of_all_pumps(kind: EventKind, remedy: Remedy) -> Callable[[Place, Draw, float], Trouble]:
    """Return what befalls every electric pump, or all but one, one after the other."""

    def make(place: Place, draw: Draw, at_s: float) -> Trouble:
        names = draw.shuffled(place.pumps)
        count = max(1, len(names) - int(draw.part("how many are left") * 2.0))
        gap_s = draw.between("from one to the next", 5.0 * _MIN, 40.0 * _MIN, _MIN)
        left = 0.0 if kind == "plug valve closed" else 1.0
        if kind == "clogged":
            left = round(draw.between("what flow is left", 0.05, 0.40, 0.05), 2)
        wrongs = []
        for n, name in enumerate(names[:count]):
            event = ScriptedEvent(at_s + n * gap_s, kind, name, flow_left=left)
            wrongs.append(Wrong(event, remedy))
        return Trouble(f"pumps: {kind}", tuple(wrongs))

    return make


def _check_valve(place: Place, draw: Draw, at_s: float) -> Trouble:
    part = round(draw.between("what runs back", 0.5, 1.0, 0.05), 2)
    pump = draw.pick("which check valve", place.pumps)
    event = ScriptedEvent(at_s, "check valve open", pump, amount=part)
    return Trouble("check valve open", (Wrong(event, "set right"),))


def _surge(place: Place, draw: Draw, at_s: float) -> Trouble:
    """More arrives for some hours, and a pump trips when it does."""
    most = max(place.greatest_m3s, 1e-3)
    peak_m3s = round(most * draw.between("how much more", 0.5, 3.0, 0.25), 4)
    rises_s = draw.between("how fast it rises", 30.0 * _MIN, 90.0 * _MIN, 15.0 * _MIN)
    falls_s = draw.between("how slowly it falls", 2.0 * _HOUR, 5.0 * _HOUR, 30.0 * _MIN)
    surge = Hydrograph(at_s, (0.0, rises_s, rises_s + falls_s), (0.0, peak_m3s, 0.0))
    kind = draw.pick("how pumps trip", ("fails", "overload"))
    trip_s = at_s + draw.between("when it trips", 5.0 * _MIN, 60.0 * _MIN, _MIN)
    names = draw.shuffled(place.pumps)
    count = max(1, len(names) - 1)
    wrongs = tuple(_trip(kind, name, trip_s + n * 10.0 * _MIN, draw)
                   for n, name in enumerate(names[:count]))  # fmt: skip
    return Trouble("more arrives than usual, and pumps trip", wrongs, surge)


class Main(NamedTuple):
    """A kind of main trouble.

    Parameters
    ----------
    weight
        How often it is tried, beside the others [-].
    fits
        Whether a station can have it, and somebody in a drill can do something about it.
    make
        Draws it, at a time [s].
    """

    weight: float
    fits: Callable[[Place], bool]
    make: Callable[[Place, Draw, float], Trouble]


def _outage_counts(place: Place) -> bool:
    return place.brought is not None or place.generator or bool(place.engine)


def _mends_pumps(place: Place) -> bool:
    return place.own_flow and place.has("set right")


MAINS: tuple[Main, ...] = (
    Main(2.5, _outage_counts, _grid_loss),
    Main(2.0, lambda _place: True, _trips),
    Main(1.0, lambda _place: True, _signal("level signal frozen")),
    Main(1.0, lambda place: place.below_alarm_m is not None, _signal("level signal off")),
    Main(1.0, lambda _place: True, _signal("level signal lost")),
    Main(1.0, lambda _place: True, _panel("controller stopped")),
    Main(1.0, lambda place: place.has("set right"), _panel("control breaker open")),
    Main(
        1.0,
        lambda place: place.own_flow and place.has("clear rags"),
        _of_all_pumps("clogged", "clear rags"),
    ),
    Main(0.5, _mends_pumps, _of_all_pumps("plug valve closed", "set right")),
    Main(0.5, _mends_pumps, _of_all_pumps("air-bound", "set right")),
    Main(0.7, lambda place: place.has("set right"), _of_all_pumps("fails to start", "set right")),
    Main(0.7, _mends_pumps, _check_valve),
    Main(1.5, lambda _place: True, _surge),
)
"""Kinds of main trouble."""


def main_of(place: Place, draw: Draw, turn: int, at_s: float) -> Trouble:
    """Return a main trouble.

    Parameters
    ----------
    place
        The station, and who answers for it.
    draw
        The try.
    turn
        How often another kind was asked for before [-].
    at_s
        When it begins [s].
    """
    mains = [one for one in MAINS if one.fits(place)]
    mark = draw.mark(turn) * sum(one.weight for one in mains)
    for one in mains:
        mark -= one.weight
        if mark < 0.0:
            return one.make(place, draw, at_s)
    return mains[-1].make(place, draw, at_s)

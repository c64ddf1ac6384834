"""What may be wrong with pumps on the day, each as one fault of a size.

A suspect has a shape or several, of which each makes the station over from a size. What a suspect
is not known well for (the current of a pump that runs backwards, say) is named as looser.

References
----------
A pump that turns the wrong way still delivers, with about half of its head: common practice, no
source. A smaller impeller of the same pump: flow with its diameter, head with the square of it, as
by the affinity laws. Wear at the rings passes flow back at the same head. What else goes with what:
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.studies.acceptance.causes.between import Machines, Touches, nowhere
from stationsim.studies.acceptance.causes.looks import LOOKS
from stationsim.studies.acceptance.causes.spread import with_unit
from stationsim.studies.acceptance.rig import AsBuilt, InletAir
from stationsim.studies.check.criterion import Reason, Told

if TYPE_CHECKING:
    from stationsim.studies.acceptance.causes.foreseen import Outlook

_LAST_LEFT = 0.05


class Shape(NamedTuple):
    """One way in which a suspect may look.

    Parameters
    ----------
    sizes
        Sizes that are tried, in order; between them what is shown is taken as smooth.
    built
        What stands there, by the size.
    words
        The size in words.
    """

    sizes: tuple[float, ...]
    built: Callable[[float], AsBuilt]
    words: Callable[[float], Reason]


@dataclass(frozen=True)
class Suspect:
    """Something that may be wrong.

    Parameters
    ----------
    cause
        What it is, in words of the trade.
    subject
        Of what: ``P1``, ``force main``.
    supposed
        What is so if it is true: ``P1 is weak``.
    shapes
        Ways in which it may look.
    touches
        Which lineups pump otherwise for it.
    shut_off
        Whose pressure against a closed valve it changes; None for nobody's.
    weight
        How common it is beside the others, all subjects of it together [-]: common practice, no
        source.
    looser
        By which factor what is shared among readings is less sure than in a sound station.
    """

    cause: str
    subject: str
    supposed: str
    shapes: tuple[Shape, ...]
    touches: Touches = nowhere
    shut_off: int | None = None
    weight: float = 1.0
    looser: Mapping[str, float] = field(default_factory=dict)

    @property
    def look(self) -> str:
        """What a crew may look at first."""
        return LOOKS[self.cause]


def spaced(first: float, last: float, count: int = 6) -> tuple[float, ...]:
    """Return sizes with the same step between them.

    Parameters
    ----------
    first, last
        Where they begin and end [any].
    count
        How many [-].
    """
    return tuple(float(size) for size in np.linspace(first, last, count))


def scaled(first: float, last: float, count: int = 6) -> tuple[float, ...]:
    """Return sizes with the same ratio between them.

    Parameters
    ----------
    first, last
        Where they begin and end [any].
    count
        How many [-].
    """
    return tuple(float(size) for size in np.geomspace(first, last, count))


def suspects_of_pumps(outlook: Outlook) -> Iterator[Suspect]:
    """Yield what may be wrong with pumps and the valves beside them.

    Parameters
    ----------
    outlook
        The readings of the sheet, and the station as it should be.
    """
    run = {machine for machines in outlook.lineups for machine in machines}
    for machine, unit in enumerate(outlook.rig.units):
        if machine not in run:
            continue
        if unit.curve is None:
            yield _plain(outlook, machine)
        else:
            yield from _of_pump(outlook, machine)


def _one(machine: int) -> Touches:
    def touches(machines: Machines) -> bool:
        return machine in machines

    return touches


def _looser(name: str, curve: float, power: float) -> dict[str, float]:
    return {f"flow {name}": curve, f"head {name}": curve, f"power {name}": power}


def _of_pump(outlook: Outlook, machine: int) -> Iterator[Suspect]:
    """Yield what may be wrong at one pump that has a curve."""
    name, touches = outlook.rig.units[machine].name, _one(machine)
    electric = machine < len(outlook.station.pumps)
    yield Suspect(
        "weak pump",
        name,
        f"{name} is weak",
        tuple(_weak(outlook, machine)),
        touches,
        machine,
        looser=_looser(name, 1.5, 2.5),
    )
    yield _valve(outlook, machine)
    if electric:

        def backwards(part: float) -> AsBuilt:
            return _scaled(outlook, machine, part, part)

        def with_less_head(part: float) -> AsBuilt:
            return _scaled(outlook, machine, part, 0.8 * part)

        yield Suspect(
            "pump turns the wrong way",
            name,
            f"{name} turns the wrong way",
            (
                Shape(
                    spaced(0.4, 0.75),
                    backwards,
                    lambda part: f"about {part:.2g} of its flow and of its head left",
                ),
                Shape(
                    spaced(0.5, 0.8),
                    with_less_head,
                    lambda part: (
                        f"about {part:.2g} of its flow and {0.8 * part:.2g} of its head left"
                    ),
                ),
            ),
            touches,
            machine,
            0.5,
            _looser(name, 3.0, 4.0),
        )
    yield Suspect(
        "air in a pump or at its inlet",
        name,
        f"{name} has air in it",
        tuple(_airs(outlook, machine)),
        touches,
        machine,
        0.7,
        _looser(name, 1.5, 3.0),
    )


def _scaled(outlook: Outlook, machine: int, flow: float, head: float) -> AsBuilt:
    unit = outlook.rig.units[machine]
    return with_unit(
        outlook.rig,
        machine,
        flow_factor=unit.flow_factor * flow,
        head_factor=unit.head_factor * head,
    )


def _weak(outlook: Outlook, machine: int) -> Iterator[Shape]:
    """Yield the ways in which a pump may be weak."""
    unit = outlook.rig.units[machine]

    def worn(part: float) -> AsBuilt:
        return _scaled(outlook, machine, part, 1.0)

    def much_worn(part: float) -> AsBuilt:
        return _scaled(outlook, machine, part, math.sqrt(part))

    def smaller(part: float) -> AsBuilt:
        return _scaled(outlook, machine, part, part * part)

    def slower(part: float) -> AsBuilt:
        return with_unit(outlook.rig, machine, speed_ratio=unit.speed_ratio * part)

    yield Shape(
        spaced(0.96, 0.62),
        worn,
        lambda part: f"about {part:.2f} of the flow left at the same head, as by wear",
    )
    yield Shape(
        spaced(0.97, 0.66),
        much_worn,
        lambda part: (
            f"about {part:.2f} of its flow and {math.sqrt(part):.2f} of its head left, as by"
            " much wear"
        ),
    )
    yield Shape(
        spaced(0.98, 0.78),
        smaller,
        lambda part: f"as with an impeller of about {part:.2f} of the diameter",
    )
    if any(item.reading.what == "speed" and item.machine == machine for item in outlook.items):
        yield Shape(
            spaced(0.985, 0.78), slower, lambda part: f"as at about {part:.2f} of its speed"
        )


def _valve(outlook: Outlook, machine: int) -> Suspect:
    """Return a valve that is not fully open at a pump."""
    name, level = outlook.rig.units[machine].name, outlook.middle_m
    point = outlook.rig.point((machine,), level)
    flow, head = point.total_m3s, point.heads_m[0]
    loss_s2m5 = head / flow**2 if flow > 0.0 else 1.0

    def built(part: float) -> AsBuilt:
        return AsBuilt(outlook.station, valves_s2m5=((machine, part * loss_s2m5),))

    def words(part: float) -> Reason:
        left = outlook.flow_m3s(built(part), (machine,), level)
        return f"leaves about {left / flow if flow > 0.0 else 0.0:.2f} of the flow of {name} alone"

    return Suspect(
        "valve at a pump not fully open",
        name,
        f"a valve at {name} is partly closed",
        (Shape(scaled(0.03, 4.0, 7), built, words),),
        _one(machine),
    )


def _airs(outlook: Outlook, machine: int) -> Iterator[Shape]:
    """Yield the ways in which air may be in a pump."""
    low, high = outlook.lowest_m, outlook.highest_m
    at = Told(outlook.station.shown_m(low), "level")
    for begins in (high, outlook.middle_m) if high > low else ():

        def drawn(left: float, begins: float = begins) -> AsBuilt:
            return AsBuilt(outlook.station, inlet_air=InletAir(machine, begins, low, left))

        yield Shape(
            spaced(0.96, 0.6, 5),
            drawn,
            lambda left: (f"about {left:.2f} of flow and head left at ", at, ", more above it"),
        )

    def bound(left: float) -> AsBuilt:
        return _scaled(outlook, machine, left, left)

    yield Shape(
        spaced(_LAST_LEFT, 0.35, 4),
        bound,
        lambda left: f"hardly pumps: about {left:.1f} of its flow and of its head left",
    )


def _plain(outlook: Outlook, machine: int) -> Suspect:
    """Return a pump without a curve that delivers less: why, no reading can tell."""
    name = outlook.rig.units[machine].name

    def built(part: float) -> AsBuilt:
        return AsBuilt(outlook.station, shares=((machine, part),))

    return Suspect(
        "pump delivers less than given",
        name,
        f"{name} delivers less",
        (
            Shape(
                spaced(0.95, 0.3),
                built,
                lambda part: f"about {part:.2f} of the flow that is given for it",
            ),
        ),
        _one(machine),
        weight=2.0,
    )

"""What may be wrong with the main and with check valves, each as one fault of a size."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from stationsim.studies.acceptance.causes.between import everywhere
from stationsim.studies.acceptance.causes.spread import with_friction
from stationsim.studies.acceptance.causes.suspects import Shape, Suspect, scaled, spaced
from stationsim.studies.acceptance.rig import AsBuilt, Back
from stationsim.studies.check.criterion import Told

if TYPE_CHECKING:
    from stationsim.physics.forcemain import Pipe
    from stationsim.studies.acceptance.causes.foreseen import Outlook


def suspects_of_main(outlook: Outlook) -> Iterator[Suspect]:
    """Yield what may be wrong with the main and with check valves.

    Parameters
    ----------
    outlook
        The readings of the sheet, and the station as it should be.
    """
    for machine in range(len(outlook.rig.units)):
        yield _back(outlook, machine)
    if any(unit.curve is None for unit in outlook.rig.units):
        yield _all_less(outlook)
    if outlook.station.force_main is not None:
        yield from _of_main(outlook)


def _back(outlook: Outlook, machine: int) -> Suspect:
    """Return a check valve that lets water back through an idle pump."""
    name, main, level = outlook.rig.units[machine].name, outlook.rig.station.force_main, 0.0
    level = outlook.middle_m
    others = [machines for machines in outlook.lineups if machine not in machines]
    points = [outlook.rig.point(machines, level) for machines in others]
    flow = min((point.total_m3s for point in points), default=0.0)
    over = min((point.header_m - level for point in points), default=1.0)
    root = 1.0 if main is None else math.sqrt(max(over, 0.1))

    def built(part: float) -> AsBuilt:
        return AsBuilt(outlook.station, back=Back(machine, part * flow / root))

    return Suspect(
        "check valve lets water back",
        name,
        f"water runs back through {name}",
        (
            Shape(
                scaled(0.03, 0.7),
                built,
                lambda part: (
                    "about ", Told(part * flow, "flow"), f" back through {name} while it rests",
                ),
            ),
        ),
        lambda machines: machine not in machines,
    )  # fmt: skip


def _of_main(outlook: Outlook) -> Iterator[Suspect]:
    """Yield what may be wrong in the main."""
    rig, level = outlook.rig, outlook.middle_m
    points = [rig.point(machines, level) for machines in outlook.lineups]
    most = max((point.total_m3s for point in points), default=0.0)
    alone = [point for point in points if len(point.heads_m) == 1]
    heads = [head for point in alone or points for head in point.heads_m if head > 0.0]
    if not most > 0.0 or not heads:
        return
    head = min(heads)
    loss_s2m5 = head / most**2

    def throttled(part: float) -> AsBuilt:
        return AsBuilt(outlook.station, main_s2m5=part * loss_s2m5)

    yield Suspect(
        "valve in the main not fully open",
        "force main",
        "a valve in the main is partly closed",
        (
            Shape(
                scaled(0.02, 2.0, 7),
                throttled,
                lambda part: (
                    "takes about ", Told(part * head / 4.0, "head"), " at ",
                    Told(most / 2.0, "flow"),
                ),
            ),
        ),
        everywhere,
    )  # fmt: skip
    yield Suspect(
        "air trapped in the main",
        "force main",
        "air is trapped in the main",
        (
            Shape(
                scaled(0.02 * head, 0.5 * head),
                lambda air: AsBuilt(outlook.station, air_m=air),
                lambda air: ("takes about ", Told(air, "head"), " whatever the flow"),
            ),
        ),
        everywhere,
        weight=0.7,
    )
    if all(pipe.friction == "none" or pipe.length_m == 0.0 for pipe in _pipes(outlook)):
        return
    yield Suspect(
        "main rougher or smoother than reckoned",
        "force main",
        "the main is rougher or smoother than reckoned",
        tuple(
            Shape(
                sizes,
                lambda part: with_friction(rig, part),
                lambda part: _friction(outlook, part),
            )
            for sizes in (scaled(1.1, 2.6), scaled(0.91, 0.5, 5))
        ),
        everywhere,
    )


def _pipes(outlook: Outlook) -> tuple[Pipe, ...]:
    """Return the pipes of the main."""
    main = outlook.station.force_main
    return () if main is None else main.pipes


def _friction(outlook: Outlook, part: float) -> str:
    """Return another friction in words: as C where the formula has one."""
    longest = max(_pipes(outlook), key=lambda pipe: pipe.length_m)
    if longest.friction == "hazen-williams":
        return f"C about {longest.c_factor * part ** (-1.0 / 1.852):.0f} for {longest.c_factor:.0f}"
    return f"friction about {part:.2g} of what was reckoned"


def _all_less(outlook: Outlook) -> Suspect:
    """Return a main that lets all pumps without a curve deliver less."""
    plain = [i for i, unit in enumerate(outlook.rig.units) if unit.curve is None]

    def built(part: float) -> AsBuilt:
        return AsBuilt(outlook.station, shares=tuple((machine, part) for machine in plain))

    return Suspect(
        "main takes more than reckoned",
        "force main",
        "the main takes more than reckoned",
        (
            Shape(
                spaced(0.96, 0.4),
                built,
                lambda part: f"about {part:.2f} of the flow of every pump left",
            ),
        ),
        lambda machines: any(machine in plain for machine in machines),
        weight=1.0,
    )

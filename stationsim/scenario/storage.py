"""From checked tables to the storage of the wet well and what backs up with it."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from stationsim.physics import well as wells
from stationsim.scenario import schema as s

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stationsim.scenario.built import Built
    from stationsim.scenario.reference import Reference


def make_well(
    tables: Mapping[str, Any],
    reference: Reference,
    built: Built,
    *,
    whole: bool,
    sewer: tuple[wells.Part, ...] | None = (),
) -> wells.Well | None:
    """Return the storage; None when something is wrong with it, which is noted.

    Parameters
    ----------
    tables
        The parts of the storage by name.
    reference
        What levels are counted from.
    built
        Takes what is refused.
    whole
        False when a part could not be read: the others are looked at, each by itself.
    sewer
        What backs up with the well; None when something is wrong with it.
    """
    parts: list[wells.Part] = []
    before = len(built.findings)
    for key, part in tables.items():
        place = f"well.{key}"
        if isinstance(part, s.AreaTablePart):
            parts.extend(_area_table(part, place, reference, built))
            continue
        low = 0.0 if part.from_level is None else reference.above_floor(part.from_level)
        high = math.inf if part.to_level is None else reference.above_floor(part.to_level)
        if low < 0.0:
            built.refuse(
                f"{place}.from",
                "lies below the floor",
                reference.level(low),
                reference.at_or_above(0.0),
            )
        if high <= low:
            built.refuse(
                f"{place}.to",
                "must lie above its foot",
                reference.level(high),
                reference.above(low),
                "give the lower level as 'from'",
            )
        elif isinstance(part, s.CylinderPart):
            parts.append(wells.cylinder(part.diameter, low, high))
        elif isinstance(part, s.BoxPart):
            parts.append(wells.box(part.length, part.width, low, high))
        elif isinstance(part, s.ConePart):
            parts.append(wells.cone(part.bottom_diameter, part.top_diameter, low, high))
        elif isinstance(part, s.FrustumPart):
            foot, top = (part.bottom_length, part.bottom_width), (part.top_length, part.top_width)
            parts.append(wells.frustum(*foot, *top, low, high))
        else:
            parts.append(wells.store(part.volume, low, high))
    if len(built.findings) > before or not whole or sewer is None:
        return None
    try:
        return wells.Well((*parts, *sewer))
    except ValueError as error:
        counted = "" if reference.shown == "above floor" else ", counted above the floor"
        built.refuse(
            "well",
            f"{error}{counted}",
            fix="let the parts follow on each other from the floor up",
        )
        return None


def _area_table(
    part: s.AreaTablePart, place: str, reference: Reference, built: Built
) -> tuple[wells.Part, ...]:
    levels, areas = [reference.above_floor(level) for level in part.levels], list(part.areas)
    if len(levels) != len(areas):
        built.refuse(
            f"{place}.areas", "levels and areas are not as many", f"{len(areas)}", f"{len(levels)}"
        )
        return ()
    if levels[0] > levels[-1]:  # depths below the cover are naturally written downwards
        levels.reverse()
        areas.reverse()
    for one, next_one in pairwise(levels):
        if next_one <= one:
            found = f"{reference.number(one)}, then {reference.level(next_one)}"
            built.refuse(f"{place}.levels", "do not rise all the way", found)
            return ()
    if levels[0] < 0.0:
        built.refuse(
            f"{place}.levels",
            "begin below the floor",
            reference.level(levels[0]),
            reference.level(0.0),
        )
        return ()
    return wells.table(levels, areas, steps=part.between == "steps")

"""From checked tables to the incoming sewer as storage: pipes that follow on each other, manholes.

The first pipe begins at the well, at ``station.inlet_invert``; each further one at the upper end of
the pipe before it, or of the one it names by ``above``. Where a cover lies below the spill, water
would leave there first: that is refused, so that the spill is the lowest point of the whole.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.physics.sewer import Manhole, Sewer, SewerPipe
from stationsim.scenario.lines import join_path
from stationsim.scenario.slips import nearest_name

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stationsim.physics.well import Part
    from stationsim.scenario.built import Built
    from stationsim.scenario.parts import Parts
    from stationsim.scenario.reference import Reference
    from stationsim.scenario.schema import SpillPart, StationPart
    from stationsim.scenario.sewer_tables import ManholePart, SewerPart, SewerPipePart


def make_sewer(parts: Parts, reference: Reference, built: Built) -> tuple[Part, ...] | None:
    """Return what the sewer stores, as pieces for the well; None when something is wrong with it.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    reference
        What levels are counted from.
    built
        Takes what is refused.
    """
    table: SewerPart | None = parts.single.get("sewer")
    if table is None:
        return () if parts.has("sewer") else None
    invert_m = _lowest_invert_m(parts, reference, built)
    pipes = None if invert_m is None else _pipes(table.pipe, invert_m, built)
    if pipes is None:
        return None
    before = len(built.findings)
    manholes = _manholes(table.manhole, pipes, reference, built)
    _covers_not_below_spill(manholes, parts, reference, built)
    if len(built.findings) > before:
        return None
    try:
        return Sewer(tuple(pipes.values()), tuple(manholes.values())).parts()
    except ValueError as error:
        built.refuse("sewer", str(error))
        return None


def _lowest_invert_m(parts: Parts, reference: Reference, built: Built) -> float | None:
    """Return where the sewer begins at the well [m above floor]; None when that is not known."""
    station: StationPart | None = parts.single.get("station")
    if station is None:
        return None  # told already
    if station.inlet_invert is None:
        built.refuse(
            "station.inlet_invert",
            "is missing, and [sewer] is given: its lowest pipe begins there",
            fix=f'add it, such as inlet_invert = "{built.example("3.00 m", "10.0 ft")}"',
        )
        return None
    invert_m = reference.above_floor(station.inlet_invert)
    if invert_m < 0.0:
        built.refuse(
            "station.inlet_invert",
            "lies below the floor",
            reference.level(invert_m),
            reference.at_or_above(0.0),
            "raise it",
        )
        return None
    return invert_m


def _pipes(
    tables: Mapping[str, SewerPipePart], invert_m: float, built: Built
) -> dict[str, SewerPipe] | None:
    """Return the pipes with their inverts; None when nobody can know where one of them begins."""
    names = list(tables)
    below: dict[str, str | None] = {}
    for position, (name, part) in enumerate(tables.items()):
        below[name] = part.above or (names[position - 1] if position else None)
        if part.above is not None and part.above not in tables:
            near = nearest_name(part.above, names)
            built.refuse(
                join_path(("sewer", "pipe", name, "above")),
                f"no pipe of the sewer is called '{part.above}'",
                limit=", ".join(other for other in names if other != name) or "another pipe",
                fix=f"did you mean '{near}'?" if near else "",
            )
            return None
    placed: dict[str, SewerPipe] = {}
    left = names
    while left:
        ready = [name for name in left if below[name] is None or below[name] in placed]
        if not ready:
            built.refuse(
                join_path(("sewer", "pipe", left[0], "above")),
                f"goes in a circle ({' -> '.join([*left, left[0]])})",
                fix="let one of them begin at the well, as the first of the file",
            )
            return None
        for name in ready:
            part, lower = tables[name], below[name]
            start_m = invert_m if lower is None else placed[lower].upper_invert_m
            placed[name] = SewerPipe(part.diameter, part.length, part.slope, start_m)
        left = [name for name in left if name not in placed]
    return {name: placed[name] for name in names}


def _manholes(
    tables: Mapping[str, ManholePart],
    pipes: Mapping[str, SewerPipe],
    reference: Reference,
    built: Built,
) -> dict[str, Manhole]:
    """Return the manholes that stand on a pipe and rise above it; the others are noted."""
    found: dict[str, Manhole] = {}
    for name, part in tables.items():
        place = join_path(("sewer", "manhole", name))
        pipe = pipes.get(part.pipe)
        if pipe is None:
            near = nearest_name(part.pipe, pipes)
            built.refuse(
                f"{place}.pipe",
                f"no pipe of the sewer is called '{part.pipe}'",
                limit=", ".join(pipes),
                fix=f"did you mean '{near}'?" if near else "",
            )
            continue
        if part.at > pipe.length_m:
            built.refuse(
                f"{place}.at",
                f"lies beyond the end of pipe '{part.pipe}'",
                reference.plain(part.at),
                f"0 to {reference.plain(pipe.length_m)}",
            )
            continue
        crown_m, cover_m = pipe.crown_at(part.at), reference.above_floor(part.cover)
        if cover_m <= crown_m:
            built.refuse(
                f"{place}.cover",
                "must lie above the crown of its pipe",
                reference.level(cover_m),
                reference.above(crown_m),
                "raise it, or check the slope and the inlet invert",
            )
            continue
        found[name] = Manhole(part.diameter, crown_m, cover_m)
    return found


def _covers_not_below_spill(
    manholes: Mapping[str, Manhole], parts: Parts, reference: Reference, built: Built
) -> None:
    """Refuse a spill that is not the lowest point where water leaves."""
    if not manholes or not parts.has("spill"):
        return
    spill: SpillPart | None = parts.single.get("spill")
    crest_m = math.inf if spill is None else reference.above_floor(spill.level)
    lowest = min(manholes, key=lambda name: manholes[name].cover_m)
    lowest_m = manholes[lowest].cover_m
    if spill is None:
        built.refuse(
            "spill",
            f"is missing, and water would leave at manhole '{lowest}'",
            fix=f'add [spill] with level = "{reference.number(lowest_m)}"',
        )
        return
    for name, manhole in manholes.items():
        if manhole.cover_m < crest_m:
            built.refuse(
                join_path(("sewer", "manhole", name, "cover")),
                "lies below spill.level: water would leave there first",
                reference.level(manhole.cover_m),
                reference.at_or_above(crest_m),
                f'write spill.level = "{reference.number(lowest_m)}", the lowest cover',
            )

"""The sentence about trouble and hands: what was wrong, for how long, and what came of it.

What nobody could have seen at the time is told too: the sentences are the truth. The words stand in
the tables of ``sayings``; what more there is to say of a kind, in ``effects``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.wording import effects
from stationsim.wording.dry import Dry
from stationsim.wording.outages import of_dry_tanks, of_sags
from stationsim.wording.sayings import BLOCKS, CAN_WAIT, FREES, OUT, STANDING
from stationsim.wording.spells import Happened, Spell, Told
from stationsim.wording.standing import stood
from stationsim.wording.words import times

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.trace import EventRow
    from stationsim.units import System

_MOST_TOLD = 5
_AT_ONCE_S = 60.0


def of_trouble(result: Result, units: System) -> str:
    """Return what went wrong and what people did about the pumps, the worst first.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    happened = Happened(result, units)
    dry = Dry(happened)
    found = [one for name in result.station.machine_names() for one in _of_machine(happened, name)]
    found += [one for name in result.station.machine_names() for one in _hands(happened, name, dry)]
    found += [one for kind in STANDING for one in _standing(happened, kind)]
    found += of_sags(happened)
    found += of_dry_tanks(happened)
    found += effects.of_battery(happened)
    found += effects.of_floats(happened)
    found += effects.of_exercises(happened)
    found += dry.untold()
    found.sort(key=lambda one: (one.rank, one.at_s))
    kept, more = found[:_MOST_TOLD], len(found) - _MOST_TOLD
    rest = [f"{more} more of that kind in the table of events"] if more > 0 else []
    text = "; ".join([one.text for one in kept] + rest)
    return f"{text[0].upper()}{text[1:]}." if kept else ""


# ---------------------------------------------------------------------- what stood


def _standing(happened: Happened, kind: str) -> list[Told]:
    """Return what there is to tell of a kind of trouble, a subject each."""
    saying = STANDING[kind]
    found = []
    for subject, spells in stood(happened, kind).items():
        begun = [spell.begun for spell in spells]
        text = saying.text.format(who=subject, size=happened.size(begun))
        text += f" from {happened.since(spells)}{happened.chance(begun)}"
        if saying.found:
            text += _found_out(happened, subject, spells, saying.found)
        if kind in effects.OF_KIND:
            text += effects.OF_KIND[kind](happened, subject, spells)
        found.append(Told(spells[0].start_s, saying.rank, text))
    return found


def _found_out(
    happened: Happened, subject: str, spells: list[Spell], found: tuple[str, ...]
) -> str:
    """Return when a hidden trouble was found out, if anybody did."""
    rows = [
        row
        for row in happened.of(*found, subject=subject)
        if any(spell.start_s <= row.t_s <= spell.stop_s for spell in spells)
    ]
    if not rows:
        return ", and nobody found it out"
    at_once = rows[0].t_s - spells[0].start_s < _AT_ONCE_S
    return ", found out at once" if at_once else f", found out at {happened.at(rows[0].t_s)}"


# ---------------------------------------------------------------------- what took a machine out


def _of_machine(happened: Happened, name: str) -> list[Told]:
    """Return when a machine was taken out, a block each; and a seal leak that did not stop it."""
    taken: dict[str, list[EventRow]] = {}
    for row in happened.of("trip", "seal leak", "out of service", subject=name):
        block = row.event if row.event != "trip" else row.cause
        if row.event != "seal leak" or row.detail == "stops":
            taken.setdefault(block, []).append(row)
    freed = happened.of(*FREES, subject=name)
    found = []
    for block, rows in taken.items():
        spells = happened.spells(rows, freed, lambda _row, end, block=block: end.detail == block)
        spells = [spell for spell in spells if not effects.reversed_clear(spell)]
        if spells:
            found.append(_out(happened, name, BLOCKS[block].verb, spells))
    if rows := [r for r in happened.of("seal leak", subject=name) if r.detail != "stops"]:
        said = f"{name} showed a seal leak {happened.often(rows)}{happened.chance(rows)}"
        found.append(Told(rows[0].t_s, CAN_WAIT, said))
    if rows := happened.of("out of fuel", subject=name):
        found.append(Told(rows[0].t_s, OUT, f"{name} ran out of fuel {happened.often(rows)}"))
    return [*found, *effects.no_flow_told(happened, name)]


def _out(happened: Happened, name: str, verb: str, spells: list[Spell]) -> Told:
    """Return that a machine was out, since when, for how long, and whether it came back."""
    first, last = spells[0], spells[-1]
    lasted, when = happened.lasting(spells), happened.at(first.start_s)
    chance = happened.chance([spell.begun for spell in spells])
    if len(spells) > 1:
        text = verb.format(when=f" {times(len(spells))}, first at {when}")
        text += f"{chance}, for {lasted} in all"
        text += ", and was still out at the end" if happened.ends(last) else ""
        return Told(first.start_s, OUT, f"{name} {text}")
    text = verb.format(when=f" at {when}") + chance
    if happened.ends(last):
        text += " and was still out at the end"
    elif _unable_at(happened, name, last.stop_s):  # for another reason
        text += f", which lasted {lasted}"
    else:
        text += f" and was back after {lasted}"
    return Told(first.start_s, OUT, f"{name} {text}")


def _unable_at(happened: Happened, name: str, t_s: float) -> bool:
    machine = happened.result.station.machine_names().index(name)
    return any(
        row.machine == machine and row.start_s <= t_s < row.stop_s
        for row in happened.result.trace.unavailable
    )


# ---------------------------------------------------------------------- hands


def _hands(happened: Happened, name: str, dry: Dry) -> list[Told]:
    """Return when a selector was turned to off or to hand, and what a hand did to the water."""
    found = []
    for turned, over, said in (
        ("off", ("in hand", "in auto"), "was switched off"),
        ("in hand", ("off", "in auto"), "was put in hand"),
    ):
        spells = happened.spells(
            happened.of(turned, subject=name),
            happened.of(*over, subject=name),
            lambda _row, _end: True,
        )
        if spells:
            more = dry.by(name, spells) if turned == "in hand" else ""
            text = f"{name} {said} {happened.turned(spells)}{more}"
            found.append(Told(spells[0].start_s, OUT, text))
    return found

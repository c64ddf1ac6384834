"""What is said of what people brought: tankers that took water, fuel that was filled in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.units import show
from stationsim.wording.spells import Happened
from stationsim.wording.words import times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.results import Result
    from stationsim.units import System

_SETS = ("generator", "mobile generator")


def of_tankers(result: Result, units: System, told: Sequence[str] = ()) -> str:
    """Return how often a tanker came and how much it took; nothing when none did.

    Nothing either when all its loads are told of already, and all were full.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    told
        What is said of the run otherwise.
    """
    happened = Happened(result, units)
    came = happened.of("tanker takes")
    if not came:
        return ""
    took = show(result.trace.hauled_m3, "volume", units)
    since = f"from {happened.at(came[0].t_s)} on"
    short = len(happened.of("tanker not full"))
    if not came[1:]:
        less = ", and left with less than its load, for the well gave no more" if short else ""
        return f"A tanker took {took}, {since}{less}."
    loads = f"a tanker took {len(came)} loads from "
    if not short and any(loads in line and f", {took} in all" in line for line in told):
        return ""
    less = f"; {short} left with less, for the well gave no more" if short else ""
    return f"Tankers took {took} in all, in {len(came)} loads, the first {since}{less}."


def of_fuel(result: Result, units: System) -> str:
    """Return which tanks were filled, when, and with how much; nothing when none was.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    happened = Happened(result, units)
    said = []
    for name in dict.fromkeys(row.subject for row in happened.of("refuelled")):
        rows = happened.of("refuelled", subject=name)
        filled = show(result.trace.filled_m3.get(name, 0.0), "fuel", units)
        whom = f"the {name}" if name in _SETS else name
        at = f"at {happened.at(rows[0].t_s)}"
        how = f"{times(len(rows))}, {filled} in all, first {at}"
        said.append(f"{whom} was refuelled {how if rows[1:] else f'{at} with {filled}'}")
    if not said:
        return ""
    text = "; ".join(said)
    return f"{text[0].upper()}{text[1:]}."

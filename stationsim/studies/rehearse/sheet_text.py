"""Words of the station sheet: what can hurt at night, and how short entries are written."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.units import from_si
from stationsim.wording.spans import day_span_text, span_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stationsim.chance import Range
    from stationsim.forms import Value
    from stationsim.people.response import ClockSpan
    from stationsim.units import System

Places = list[tuple[str, str, str, "Value"]]
"""Rows of a form in parts: part, line, what, entry."""

NOT_HERE = "-"
"""What stands where an entry would mean nothing: the voltage of an engine-driven pump."""

CAUTIONS = (
    (
        "Local codes, the makers' instructions and licensed practice come first. This comes from a"
        " planning and teaching tool that controls nothing."
    ),
    (
        "Confined space and gas: nobody enters the well, a valve pit or a dry well without permit,"
        " gas test, ventilation, rescue gear and a second person outside. Sewer gas kills without"
        " warning, also at an open hatch: guard it, test first, stay upwind."
    ),
    (
        "Electricity: only somebody licensed for it opens covers or connects a set. Backfeed kills"
        " line crews: the main switch is locked open before a set is connected and until it is"
        " gone, with an interlock. Isolate, lock out, tag out, prove dead; check the rotation of"
        " the phases before pumps run."
    ),
    (
        "Rotating machinery that starts by itself: pumps, engines, fans. Lock out before anybody"
        " touches one; everybody clear and told before power is back."
    ),
    (
        "Hoses, lifting, fuel: let pressure off before a coupling is loosened; stand clear of hoses"
        " and loads; exhaust outdoors; refuel away from heat."
    ),
    (
        "Traffic: park clear of the lane; lights, cones and high-visibility clothing first; ramps"
        " and signs for hoses over a road."
    ),
    (
        "Hygiene: gloves and eye protection; no eating, drinking or smoking; cover cuts, wash"
        " before leaving; whoever was splashed or feels unwell says so."
    ),
)
"""One line each, as they stand on the sheet."""

FOOTER = (
    "Nobody enters the well or a chamber without permit. Pumps start by themselves: lock out first."
    " No backfeed. Local codes and licensed practice come first; this sheet controls nothing."
)
"""The shortest that may stand below the sheet."""


def fields(part: str, entries: Mapping[str, Value]) -> Places:
    """Return places of a part that has one entry a line.

    Parameters
    ----------
    part
        What the part is called.
    entries
        What stands in each line.
    """
    return [(part, line, "", entry) for line, entry in entries.items()]


def table(part: str, lines: Mapping[str, Mapping[str, Value]]) -> Places:
    """Return places of a part that has several entries a line.

    Parameters
    ----------
    part
        What the part is called.
    lines
        For each line, what stands in each column.
    """
    return [
        (part, line, what, entry)
        for line, entries in lines.items()
        for what, entry in entries.items()
    ]


def litres_a_minute(flow_m3s: float, system: System) -> str:
    """Return a flow as a crew counts it: litres or gallons a minute.

    Parameters
    ----------
    flow_m3s
        The flow [m3/s].
    system
        ``si`` or ``us``.
    """
    unit = "L/min" if system == "si" else "gpm"
    number = from_si(flow_m3s, unit, "flow")
    return f"{number:,.{0 if number >= 100.0 else 1}f} {unit}"


def kilo(value: float | None, unit: str) -> str | None:
    """Return watts or volt-amperes in thousands; a blank when they are not known.

    Generators, and what they carry, are rated in kW and kVA in either unit system.

    Parameters
    ----------
    value
        What it gives or asks for [W or VA].
    unit
        ``kW`` or ``kVA``.
    """
    if value is None or not math.isfinite(value):
        return None
    number = value / 1000.0
    return f"{number:.{0 if number >= 100.0 else 1}f} {unit}"


def three_minutes(*spans: Range | None) -> str | None:
    """Return low, typical and high minutes of steps one after the other; a blank for no time given.

    Parameters
    ----------
    *spans
        How long each takes [s]; None counts as not given.
    """
    given = [span for span in spans if span is not None]
    if sum(span.high for span in given) <= 0.0:
        return None
    return span_text(*given, minutes=True)


def clock_span(span: ClockSpan | None) -> str:
    """Return when somebody is called; empty for always.

    Parameters
    ----------
    span
        A span of the day.
    """
    return "" if span is None else f" ({day_span_text(span)})"

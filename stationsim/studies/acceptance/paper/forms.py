"""The sheets of the day, to be filled in by the crew."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.caution import CAUTION
from stationsim.forms import Form
from stationsim.studies.acceptance.cautions import FOOTER
from stationsim.studies.acceptance.paper.sheet_units import (
    YES_OR_NO,
    is_counted,
    range_of,
    references,
    uncertainty_of,
    unit_of,
    units_offered,
)
from stationsim.studies.acceptance.paper.whose import EVENTS_OF, READINGS_OF, title_of
from stationsim.studies.acceptance.reading import both
from stationsim.units import show
from stationsim.wording import level_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.forms import Value
    from stationsim.station import Station
    from stationsim.studies.acceptance.panel.script import PanelTest
    from stationsim.studies.acceptance.reading import Reading
    from stationsim.units import System

READINGS = "fill_in_readings"
EVENTS = "fill_in_events"
"""Names of the sheets: of readings, and of what the panel should show in a sequence."""

COLUMNS = (
    "no", "reading", "expected", "low", "high", "unit", "read", "uncertainty", "note", "how",
)  # fmt: skip
"""Columns of the sheet of readings."""

EVENT_COLUMNS = (
    "sequence", "no", "after", "tolerance", "subject", "event", "level", "time", "note",
)  # fmt: skip
"""Columns of the sheet of events; ``after`` and ``tolerance`` in seconds."""

KEEP = "keep as baseline"
"""What is said of a reading of which nothing is expected."""

_HOW_TO = (
    (
        "Write what was read into 'read', as a number of the unit that stands before it. In another"
        " unit: change the unit, or write it behind the number (31.5 L/s)."
    ),
    (
        "A decimal point or a decimal comma will do; no sign between thousands: 1250, not 1,250."
        " What was not read stays empty. Remarks go into 'note', not behind the number."
    ),
    (
        "'uncertainty' says how far a reading may be off, at two standard deviations, in the same"
        " unit. Change it where you know better; '2 %' is two parts in a hundred of the reading."
    ),
    (
        "'low' and 'high' are rounded to the inside of what is accepted. A reading outside is no"
        " reason to adjust anything: read again, note what was odd, and go on."
    ),
    (
        "Leave the names in 'reading' as they are: by them the sheet is put together again. Rows"
        " may be moved or left out."
    ),
)

_TIMES = (
    "How long something took: in seconds (133), or with its units (2 min 13 s), or as a stopwatch"
    " shows it (2:13 is 2 min 13 s); never the time of the day."
)

_GRADES_ARE = (
    "Figures from memory; check them against the standard and the contract. Grades are made for a"
    " pump on a test bed, and used here for the station as well."
)

_MEMORY = ", figures from memory"
"""What a source may end with, and the line above says once for all."""

_HOW_TO_LOG = (
    (
        "Write into 'time' when the panel showed it: a clock time with seconds (14:03:20), or"
        " seconds on a stopwatch. What did not happen stays empty."
    ),
    (
        "'after' is in seconds since the sequence began, and so is 'tolerance'; what counts is the"
        " time since the event before. What comes with a hand of the crew has no tolerance."
    ),
    (
        "What happened and is not here gets a row of its own, with the name of its sequence. An"
        " export of the panel's own log will do in place of this sheet, once a column 'sequence'"
        " says in which sequence each line came ('-' for none)."
    ),
)


def readings_form(
    readings: Sequence[Reading], station: Station, system: System, cautions: Sequence[str] = ()
) -> Form:
    """Return the sheet of readings.

    Parameters
    ----------
    readings
        The readings in the order in which they are taken.
    station
        What stands there.
    system
        ``si`` or ``us``.
    cautions
        What stands above the sheet besides how to fill it in; a line each.
    """
    rows: list[tuple[Value, ...]] = []
    for number, one in enumerate(readings, 1):
        low, expected, high = _range(one, station, system)
        rows.append(
            (
                float(number),
                one.name,
                expected,
                low,
                high,
                unit_of(one, station, system),
                None,
                uncertainty_of(one, system),
                None,
                "; ".join(text for text in (one.how, KEEP if one.is_baseline else "") if text),
            )
        )
    asked = [one.measure == "yes or no" for one in readings]
    return Form(
        name=READINGS,
        title=title_of(station.name, READINGS_OF),
        columns=COLUMNS,
        rows=tuple(rows),
        blank=("read", "uncertainty", "note"),
        notes=(*_how_to(readings, station), *_grades(readings)),
        choices={
            "read": [("yes", "no") if yes else () for yes in asked],
            "unit": [units_offered(one, station) for one in readings],
        },
        room={"read": 14, "uncertainty": 10, "note": 26},
        cautions=tuple(cautions or (CAUTION,)),
        footer=FOOTER,
    )


def events_form(
    sequences: Sequence[PanelTest], station: Station, system: System, cautions: Sequence[str] = ()
) -> Form:
    """Return the sheet of what the panel should show, for the times at which it did.

    Parameters
    ----------
    sequences
        The sequences that run by the panel.
    station
        What stands there.
    system
        ``si`` or ``us``.
    cautions
        What stands above the sheet besides how to fill it in; a line each.
    """
    rows: list[tuple[Value, ...]] = []
    for one in sequences:
        for event in one.expected:
            tolerance = None if event.by_crew else _seconds(event.tolerance_s)
            rows.append(
                (
                    one.name,
                    float(event.n),
                    _seconds(event.after_s),
                    tolerance,
                    event.subject,
                    event.said,
                    level_text(station, event.level_m, system),
                    None,
                    None,
                )
            )
    return Form(
        name=EVENTS,
        title=title_of(station.name, EVENTS_OF),
        columns=EVENT_COLUMNS,
        rows=tuple(rows),
        blank=("time", "note"),
        notes=(
            *_HOW_TO_LOG,
            *(_script(one, station) for one in sequences),
        ),
        room={"time": 12, "note": 26},
        cautions=tuple(cautions or (CAUTION,)),
        footer=FOOTER,
    )


def _seconds(value_s: float) -> float | None:
    """Return seconds as they are read off; none when they don't matter."""
    if not math.isfinite(value_s):
        return None
    return float(round(value_s)) if value_s >= 100.0 else round(value_s, 1) + 0.0


def _level_in_both(station: Station, level_m: float) -> str:
    """Return a level as the people of this station say it, and in US units."""
    us = show(abs(station.shown_m(level_m)), "level", "us")
    return f"{level_text(station, level_m, 'si')} ({us})"


def _script(one: PanelTest, station: Station) -> str:
    """Return in a line what a sequence is for, and what the crew does in it."""
    begin = f"Begin with the level at {_level_in_both(station, one.start_level_m)}"
    water = f"{both(one.inflow_m3s, 'flow')} of clean water running in"
    if one.inflow_m3s <= 0.0:
        water = "no water running in"
    steps = " ".join(one.how)
    return f"Sequence '{one.name}': {one.purpose} {begin}, {water}. {steps}"


def _range(reading: Reading, station: Station, system: System) -> tuple[Value, Value, Value]:
    if reading.measure == "yes or no":
        expected = reading.expected
        return None, None if math.isnan(expected) else "yes" if expected > 0.5 else "no", None
    return range_of(reading, station, system)


def _grades(readings: Sequence[Reading]) -> list[str]:
    """Return where the tolerances of flow and head come from, each once."""
    of_pumps = [one for one in readings if one.machines and one.measure in ("flow", "pressure")]
    sources = [one.source for one in of_pumps if one.source and not one.is_baseline]
    parts = (part for source in sources for part in source.split("; "))
    said = list(dict.fromkeys(part.removesuffix(_MEMORY) for part in parts))
    if not said:
        return []
    told = f"'low' and 'high' of flow and head: {'; '.join(said)}."
    graded = not all(part.startswith("acceptance.") for part in said)
    return [f"{told} {_GRADES_ARE}" if graded else told]


def _how_to(readings: Sequence[Reading], station: Station) -> list[str]:
    """Return how the sheet is filled in."""
    told = list(_HOW_TO)
    if any(one.measure == "duration" for one in readings):
        told.append(_TIMES)
    if any(one.measure == "yes or no" for one in readings):
        told.append(f"Where the unit is {YES_OR_NO}, write yes or no.")
    if any(is_counted(one) for one in readings):
        ways = {
            "above floor": "above the floor of the well",
            "elevation": "as elevation",
            "below cover": "below the underside of the cover",
        }
        known = references(station)
        text = f"Levels are counted {ways[known[0]]}"
        if len(known) > 1:
            text += "; " + " or ".join(f"'{name}'" for name in known[1:])
            text += " in 'unit' says that one is counted otherwise"
        told.append(f"{text}.")
    if any(one.is_baseline for one in readings):
        told.append("Where nothing is expected, what is read is kept as the baseline for later.")
    return told

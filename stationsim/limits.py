"""Limits of criteria: what each starts from, its source and its date; all the user's to set.

They are examples of published practice, not the rule of any one place: what counts is the rule
where the station stands. A limit marked 'from memory' was not read again for this table; one marked
'common practice, no source' has none.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

LimitKind = Literal["ratio", "count", "per hour", "duration", "velocity", "length", "percent"]


def limit(kind: LimitKind, value: float, meaning: str, source: str) -> Any:
    """Return a field for a limit.

    Parameters
    ----------
    kind
        What is measured; its text in a scenario has the unit that goes with it.
    value
        Where it starts from, in SI (starts in 1/h).
    meaning
        What it limits, in one sentence.
    source
        Where the value comes from, with its date.
    """
    return dataclasses.field(
        default=value, metadata={"kind": kind, "meaning": meaning, "source": source}
    )


@dataclass(frozen=True)
class Limits:
    """The limits that criteria use; a file gives them in ``[limits]``."""

    most_starts_per_hour: float = limit(
        "per hour", 6.0, "most starts of one pump in an hour at the worst steady inflow",
        "US Army EI 11C201 (1997), Table 7-1: cycles of 10 min or more below 15 kW",
    )  # fmt: skip
    longest_fill_s: float = limit(
        "duration", 1800.0, "longest time to fill from stop to lead start at average flow",
        "Recommended Standards for Wastewater Facilities (2014), 42.62, from memory",
    )  # fmt: skip
    longest_detention_s: float = limit(
        "duration", 600.0, "longest detention between stop and lead start at average flow",
        "N.J.A.C. 7:14A-23.12(a)4 (read 2026); longer case by case at small stations",
    )  # fmt: skip
    longest_in_main_s: float = limit(
        "duration", 8 * 3600.0, "longest time that sewage stays in the force main at average flow",
        "common practice, no source",
    )  # fmt: skip
    least_velocity_ms: float = limit(
        "velocity", 0.6096, "least velocity in the main with the smallest pump alone",
        "9VAC25-790-440 (read 2026): 2 to 8 ft/s; also 35 IAC 370.470",
    )  # fmt: skip
    cleaning_velocity_ms: float = limit(
        "velocity", 0.9144, "velocity in the main with all pumps that cleans it",
        "MIL-HDBK-1005/9A (1997): force main 3 ft/s or more; with all pumps: own reading",
    )  # fmt: skip
    most_velocity_ms: float = limit(
        "velocity", 2.4384, "greatest velocity in the main with all pumps",
        "9VAC25-790-440 (read 2026): 2 to 8 ft/s",
    )  # fmt: skip
    most_entrance_velocity_ms: float = limit(
        "velocity", 1.524, "greatest velocity in the suction opening of a pump",
        "MIL-HDBK-1005/9A (1997): suction entrance up to 5 ft/s",
    )  # fmt: skip
    least_spacing_m: float = limit(
        "length", 0.15, "least height between two levels at which something is set",
        "common practice, no source: 6 in with floats",
    )  # fmt: skip
    most_priming_lift_m: float = limit(
        "length", 6.7056, "most suction lift with the head required, at the stop level",
        "35 IAC 370.420 (read 2026): dynamic suction lift + NPSH required up to 22 ft",
    )  # fmt: skip
    priming_margin_m: float = limit(
        "length", 1.2192, "margin of the priming lift at the start level",
        "35 IAC 370.420 (read 2026): 4 ft",
    )  # fmt: skip
    npsh_margin_m: float = limit(
        "length", 0.5, "margin of the net positive suction head", "common practice, no source"
    )
    fuel_s: float = limit(
        "duration", 24 * 3600.0, "how long the fuel in the tank shall last",
        "common practice, no source; rules read ask from 8 h to the longest outage on record",
    )  # fmt: skip
    fuse_part: float = limit(
        "ratio", 1.0, "greatest part of the main fuse that may flow while pumps run",
        "common practice, no source",
    )  # fmt: skip
    start_of_fuse: float = limit(
        "ratio", 2.0, "greatest current while a pump starts, over the main fuse",
        "common practice, no source: slow fuses carry about twice their rating for some seconds",
    )  # fmt: skip


_SUFFIXES = {"duration": "_s", "length": "_m", "velocity": "_ms"}


def key_of(name: str) -> str:
    """Return the key of ``[limits]`` by which a file gives a limit: its name without the SI unit.

    Parameters
    ----------
    name
        A field of :class:`Limits`.

    Raises
    ------
    KeyError
        When there is no such limit.

    Examples
    --------
    >>> key_of("least_velocity_ms"), key_of("fuel_s"), key_of("fuse_part")
    ('least_velocity', 'fuel', 'fuse_part')
    """
    return name.removesuffix(_SUFFIXES.get(_said_of(name)["kind"], " "))


def source_of(name: str) -> str:
    """Return the source of a limit.

    Parameters
    ----------
    name
        A field of :class:`Limits`.

    Raises
    ------
    KeyError
        When there is no such limit.
    """
    return str(_said_of(name)["source"])


def _said_of(name: str) -> Mapping[str, Any]:
    for field in dataclasses.fields(Limits):
        if field.name == name:
            return field.metadata
    raise KeyError(f"no limit is called '{name}'")

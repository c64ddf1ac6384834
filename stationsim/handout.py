"""Hand-outs: what an observer would have of a run, and the key to it, apart.

The observer has what the station itself keeps: the level that its sensor told, who ran and when,
hour meters and counters, the alarms, the log of the panel, the states of the supply, the daily
volumes of the two meters. What nobody could see, or only somebody who stood there at that moment,
is in the key alone: a class finds the trouble from the one, and looks it up in the other.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from stationsim import saving
from stationsim.caution import CAUTION
from stationsim.signals import level_text
from stationsim.trace import seen_levels

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from stationsim.results import Result

KEY = "key.csv"
"""The file that holds what truly happened."""

KEPT = {
    "levels": ("time", "t_s", "level_seen_m", "pumps_running"),
    "pump_runs": (
        "pump", "role", "start_time", "start_s", "stop_time", "stop_s", "duration_s",
        "started_by", "stopped_by", "volume_by_hours_m3",
    ),
    "pump_totals": (
        "pump", "hours_h", "starts", "max_starts_per_hour", "shortest_off_s", "longest_run_s",
        "trips", "volume_by_hours_m3",
    ),
    "events": ("time", "t_s", "subject", "event", "cause", "detail"),
    "alarms": (
        "alarm", "subject", "raised_time", "raised_s", "reached_time", "reached_s",
        "cleared_time", "cleared_s", "sent_time", "sent_s",
    ),
    "power": ("source", "state", "start_time", "start_s", "stop_time", "stop_s"),
    "meters": (
        "time", "t_s", "station_meter_m3", "plant_meter_m3", "difference_m3", "difference_part",
    ),
}  # fmt: skip
"""Tables that an observer has, and their columns; the others tell of the truth."""

_SEEN = ("panel", "alarm")
_OF_THE_SCRIPT = ("scripted", "by chance")


def seen_tables(result: Result) -> dict[str, pd.DataFrame]:
    """Return the tables of a run as an observer would have them.

    Parameters
    ----------
    result
        The run.
    """
    tables = {name: result.tables[name].copy() for name in KEPT}
    events = tables["events"]
    tables["events"] = events[events["seen"].isin(_SEEN) & ~_dark(result, events)]
    power = tables["power"]
    tables["power"] = power[power["seen"].isin(_SEEN)]
    found = {name: table[list(KEPT[name])].reset_index(drop=True) for name, table in tables.items()}
    log = found["events"]
    log["cause"] = log["cause"].where(~log["cause"].isin(_OF_THE_SCRIPT), "")
    log["detail"] = _details_seen(result, tables["events"])
    return found


def key_table(result: Result) -> pd.DataFrame:
    """Return what truly happened and did not show, with every spill, in the order of time.

    Parameters
    ----------
    result
        The run.
    """
    events = result.events
    hidden = events[~events["seen"].isin(_SEEN) | _dark(result, events)].copy()
    caused = events["seen"].isin(_SEEN) & events["cause"].isin(_OF_THE_SCRIPT)
    rows = pd.concat([hidden, events[caused]]).sort_values("t_s", kind="stable")
    spills = result.spills
    told = pd.DataFrame(
        {
            "time": spills["start_time"],
            "t_s": spills["start_s"],
            "subject": "station",
            "event": "spilled in all",
            "cause": "",
            "seen": spills["seen"],
            "detail": [f"{volume:.3f} m3" for volume in spills["volume_m3"]],
        }
    )
    parts = [part for part in (rows, told) if len(part)]
    if not parts:
        return rows.reset_index(drop=True)
    both = pd.concat(parts).sort_values("t_s", kind="stable")
    return both.reset_index(drop=True)


def write_into(result: Result, folder: Path, formats: Sequence[str] = ("csv",)) -> None:
    """Write the hand-out and its key into an existing folder.

    Parameters
    ----------
    result
        The run.
    folder
        An existing folder.
    formats
        Formats of the tables; the key is CSV.
    """
    tables = seen_tables(result)
    saving.write_tables(tables, folder, formats)
    saving.write_tables({KEY.removesuffix(".csv"): key_table(result)}, folder)
    facts = result.manifest()
    kept = ("made_by", "version", "station", "start", "duration_s")
    saving.write_manifest(
        {
            **{name: facts[name] for name in kept},
            "what": "what an observer would have; the key is apart",
            "rows": {name: len(table) for name, table in tables.items()},
            "caution": CAUTION,
        },
        folder,
    )


def _dark(result: Result, events: pd.DataFrame) -> pd.Series[bool]:
    """Return which events fell while the panel was dead and kept no log.

    An alarm that has a supply of its own goes on.
    """
    dark = pd.Series(data=False, index=events.index)
    begin: float | None = None
    spans: list[tuple[float, float]] = []
    for row in result.events.itertuples():
        if row.event == "control breaker open":
            begin = float(row.t_s) if begin is None else begin
        elif row.event == "control breaker closed" and begin is not None:
            spans.append((begin, float(row.t_s)))
            begin = None
    if begin is not None:
        spans.append((begin, float("inf")))
    for start_s, stop_s in spans:
        dark |= (events["t_s"] >= start_s) & (events["t_s"] < stop_s)
    if result.station.alarms.supply == "own":
        dark &= ~events["event"].isin(("alarm raised", "alarm cleared"))
    return dark


def _details_seen(result: Result, events: pd.DataFrame) -> list[str]:
    """Return the details of the log with the level that the panel saw in place of the true one."""
    times = events["t_s"].to_numpy(dtype=float)
    seen = seen_levels(result.trace, times, result.level_at(times))
    found = []
    for detail, level in zip(events["detail"], seen, strict=True):
        said = str(detail).rpartition("level ")[0].removesuffix("; ")
        here = "no level signal" if math.isnan(level) else f"level {level_text(float(level))}"
        found.append(f"{said}; {here}" if said else here)
    return found

"""Hand-outs: what an observer would have of a run, and the key to it, apart.

The observer has what the station itself keeps: the level that its sensor told, who ran and when,
hour meters and counters, the alarms, the log of the panel, the states of the supply, the daily
volumes of the two meters; and where people answer, what they did and what they were told. What
nobody could see, or only somebody who stood there at that moment by chance, is in the key alone: a
class finds the trouble from the one, and looks it up in the other.

Numbers are as fine as a panel books them: times to the second, levels to the centimetre, meters to
the cubic metre, hours to a hundredth. Those of the key are exact.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from stationsim import saving, vocabulary
from stationsim.caution import CAUTION
from stationsim.equipment.faults import CATALOGUE
from stationsim.metrics.call_outs import SUBJECT as CALL_OUT
from stationsim.tables import local_times
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

OF_PEOPLE = {
    "crew": (
        "task", "subject", "planned_s", "start_time", "start_s", "stop_time", "stop_s", "outcome",
        "person", "tool", "waited_s",
    )
}  # fmt: skip
"""The same where people did something: they know what they did."""

_SEEN = ("panel", "alarm")
_OF_THE_SCRIPT = ("scripted", "by chance")
_OF_ALARMS = ("alarm raised", "alarm cleared", "alarm sent")
_FORESEEN = ("for ", "to the end of the run")
"""How details begin that tell how long a condition will last: nobody knows that beforehand."""

_STARTS = ("start_time", "start_s", "started_by")
_STOPS = ("stop_time", "stop_s", "stopped_by")
_LASTED = ("duration_s", "volume_by_hours_m3")


def seen_tables(result: Result) -> dict[str, pd.DataFrame]:
    """Return the tables of a run as an observer would have them.

    Parameters
    ----------
    result
        The run.
    """
    dark = dark_spans(result)
    kept = {**KEPT, **OF_PEOPLE} if result.trace.crew else KEPT
    tables = {name: result.tables[name].copy() for name in kept}
    levels = tables["levels"]
    tables["levels"] = levels[~_within(levels["t_s"], dark)]
    tables["power"] = _power_seen(tables["power"], dark)
    tables["pump_runs"] = _runs_seen(tables["pump_runs"], dark)
    tables["alarms"] = _alarms_seen(result, tables["alarms"])
    tables["events"] = _events_seen(result)
    return {
        name: _as_booked(result, table[list(kept[name])].reset_index(drop=True))
        for name, table in tables.items()
    }


def key_table(result: Result) -> pd.DataFrame:
    """Return what truly happened and did not show, with every spill, in the order of time.

    Together with the events of :func:`seen_tables` it holds each event of the run once.

    Parameters
    ----------
    result
        The run.
    """
    rows = result.events[~_shown(result)]
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
            "what": saving.HAND_OUT,
            "rows": {name: len(table) for name, table in tables.items()},
            "caution": CAUTION,
        },
        folder,
    )


def dark_spans(result: Result) -> list[tuple[float, float]]:
    """Return when the panel was dead and kept no record [s].

    Alarms that have a supply of their own go on meanwhile.

    Parameters
    ----------
    result
        The run.
    """
    return _between(result, "control breaker open", "control breaker closed")


def alarms_dead_spans(result: Result) -> list[tuple[float, float]]:
    """Return when no alarm could be raised at all, for want of a supply [s].

    Parameters
    ----------
    result
        The run.
    """
    if result.station.alarms.supply != "own":
        return dark_spans(result)
    return _between(result, "alarm battery empty", "alarms live again")


def _between(result: Result, begins: str, ends: str) -> list[tuple[float, float]]:
    """Return the spans from one event to another; to infinity where the last is not over [s]."""
    begin: float | None = None
    spans: list[tuple[float, float]] = []
    for row in sorted(result.trace.events, key=lambda row: row.t_s):
        if row.event == begins:
            begin = row.t_s if begin is None else begin
        elif row.event == ends and begin is not None:
            spans.append((begin, row.t_s))
            begin = None
    if begin is not None:
        spans.append((begin, math.inf))
    return spans


def _within(times: pd.Series[float], spans: list[tuple[float, float]]) -> pd.Series[bool]:
    found = pd.Series(data=False, index=times.index)
    for start_s, stop_s in spans:
        found |= (times >= start_s) & (times < stop_s)
    return found


def _shown(result: Result) -> pd.Series[bool]:
    """Return which events an observer has."""
    events = result.events
    dark = _within(events["t_s"], dark_spans(result))
    of_alarms = events["event"].isin(_OF_ALARMS)
    dark = dark.where(~of_alarms, _within(events["t_s"], alarms_dead_spans(result)))
    # the far end misses a station whatever stands there
    far = of_alarms & (events["subject"] == "telemetry")
    return (events["seen"].isin(_SEEN) & (~dark | far)) | _of_crew(result)


def _of_crew(result: Result) -> pd.Series[bool]:
    """Return which events people know of because they did it themselves, or were told."""
    events = result.events
    worked = {(row.subject, row.stop_s) for row in result.trace.crew if row.outcome == "done"}
    mended = [
        cause == "put right on site" and (subject, t_s) in worked
        for subject, cause, t_s in zip(
            events["subject"], events["cause"], events["t_s"], strict=True
        )
    ]
    done = (events["subject"] == CALL_OUT) | (events["cause"] == "by the crew")
    return done | pd.Series(mended, index=events.index, dtype=bool)


def _events_seen(result: Result) -> pd.DataFrame:
    """Return the log: no cause and no detail tells what its event does not show."""
    log = result.events[_shown(result)].copy()
    alarm = log["event"].isin(_OF_ALARMS)
    causes = log["cause"].where(~log["cause"].isin(_OF_THE_SCRIPT), "").map(_told)
    log["cause"] = causes.where(~alarm, causes.str.partition(": ")[0])
    times = log["t_s"].to_numpy(dtype=float)
    seen = seen_levels(result.trace, times, result.level_at(times))
    dark = _within(log["t_s"], dark_spans(result))
    log["detail"] = [
        _detail_seen(str(detail), float(level), of_alarm=of_alarm, dead=dead)
        for detail, level, of_alarm, dead in zip(log["detail"], seen, alarm, dark, strict=True)
    ]
    return log


def _detail_seen(detail: str, level_m: float, *, of_alarm: bool, dead: bool) -> str:
    """Return a detail with the level that the panel saw in place of the true one."""
    said = detail.rpartition("level ")[0].removesuffix("; ")
    if of_alarm or said.startswith(_FORESEEN):
        said = ""
    here = "no level signal" if math.isnan(level_m) else f"level {level_m:.2f} m"
    parts = [_told(said), "" if dead else here]
    return "; ".join(part for part in parts if part)


def _told(text: str) -> str:
    """Return a cause or a detail up to where it names a trouble that nobody sees."""
    for name in _HIDDEN:
        before, found, _after = text.partition(name)
        if found:
            return before.rstrip(" :,")
    return text


def _names_of_hidden() -> tuple[str, ...]:
    """Return the names of all troubles whose events show on no panel, as causes have them."""
    found = []
    for fault in CATALOGUE:
        names = (fault.kind, fault.phrase)
        if fault.trouble and not any(vocabulary.seen_by(name) in _SEEN for name in names):
            found += [name for name in names if name not in _TOLD_ANYWAY and "{" not in name]
    return (*dict.fromkeys(found), "check valve of")


_TOLD_ANYWAY = ("fails", "overload", "high temperature", "telemetry lost")
"""Kinds that an alarm or a trip of the same name tells of."""

_HIDDEN = _names_of_hidden()


def _runs_seen(runs: pd.DataFrame, dark: list[tuple[float, float]]) -> pd.DataFrame:
    """Return the runs as the log has them: what fell while the panel was dead is blank."""
    runs["started_by"] = runs["started_by"].map(_told)
    runs["stopped_by"] = runs["stopped_by"].map(_told)
    begun, over = _within(runs["start_s"], dark), _within(runs["stop_s"], dark)
    for unknown, columns in ((begun, _STARTS), (over, _STOPS), (begun | over, _LASTED)):
        for column in columns:
            blank = math.nan if column.endswith(("_s", "_m3")) else ""
            runs[column] = runs[column].where(~unknown, blank)
    return runs[~(begun & over)]


def _power_seen(power: pd.DataFrame, dark: list[tuple[float, float]]) -> pd.DataFrame:
    """Return the states of the supply as the panel has them.

    A state that it does not see belongs to the one before it, until one begins that it sees; while
    the panel is dead there is none, and when one ended then is blank.
    """
    rows: list[pd.Series] = []
    for _source, own in power.sort_values("start_s", kind="stable").groupby("source", sort=False):
        shown: list[pd.Series] = []
        for _n, row in own.iterrows():
            if shown and (row["seen"] not in _SEEN or row["state"] == shown[-1]["state"]):
                for name in ("stop_s", "stop_time"):
                    shown[-1][name] = row[name]
            elif row["seen"] in _SEEN:
                shown.append(row.copy())
        for row in shown:
            for start_s, stop_s in _outside((row["start_s"], row["stop_s"]), dark):
                part = row.copy()
                part["start_s"], part["stop_s"] = start_s, stop_s
                rows.append(part)
    if not rows:
        return power.iloc[:0]
    found = pd.DataFrame(rows).sort_values("start_s", kind="stable").reset_index(drop=True)
    found["stop_s"] = found["stop_s"].where(~_within(found["stop_s"], dark), math.nan)
    return found


def _outside(
    span_s: tuple[float, float], dark: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Return the parts of a span that fall outside of others, in the order of time [s]."""
    low, high = span_s
    edges = [-math.inf, *(edge for span in dark for edge in span), math.inf]
    free = list(pairwise(edges))[::2]
    parts = [(max(low, a), min(high, b)) for a, b in free]
    return [(a, b) for a, b in parts if b > a]


_ROUNDED = {
    "level_seen_m": 2, "volume_by_hours_m3": 1, "hours_h": 2,
    "station_meter_m3": 0, "plant_meter_m3": 0,
}  # fmt: skip
"""Columns that are neither times nor follow from others -> decimals of what a panel books."""


def _as_booked(result: Result, table: pd.DataFrame) -> pd.DataFrame:
    """Return a table with numbers as fine as a panel books them."""
    table = table.copy()
    for name in table.columns:
        if name.endswith("_s") and name != "duration_s":
            table[name] = _rounded(table[name], 0)
            moment = "time" if name == "t_s" else f"{name.removesuffix('_s')}_time"
            if moment in table.columns:
                times = table[name].to_numpy(dtype=float)
                table[moment] = local_times(result.episode.start, times)
        elif name in _ROUNDED:
            table[name] = _rounded(table[name], _ROUNDED[name])
    if "duration_s" in table.columns:
        table["duration_s"] = table["stop_s"] - table["start_s"]
    if "difference_m3" in table.columns:
        station = table["station_meter_m3"]
        lacks = station - table["plant_meter_m3"]
        table["difference_m3"] = lacks
        table["difference_part"] = _rounded(lacks / station.where(station > 0.0), 3)
    return table


def _rounded(values: pd.Series[float], decimals: int) -> pd.Series[float]:
    return pd.Series(np.round(values.to_numpy(dtype=float), decimals), index=values.index)


def _alarms_seen(result: Result, alarms: pd.DataFrame) -> pd.DataFrame:
    """Return the alarms; when one ended while all alarms were dead, nobody knows."""
    dead = alarms_dead_spans(result)
    if dead:
        unknown = _within(alarms["cleared_s"], dead) & (alarms["subject"] != "telemetry")
        alarms["cleared_s"] = alarms["cleared_s"].where(~unknown, math.nan)
        alarms["cleared_time"] = alarms["cleared_time"].where(~unknown, "")
    return alarms

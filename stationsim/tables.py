"""The tables of a run as the contract has them: names, columns, kinds of columns, moments as text.

Snake-case columns in SI whatever the display units; ``time`` (ISO 8601 with offset, station local)
beside ``t_s``. Columns are only ever added.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from stationsim.metrics import PUMP_TOTALS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_CONTRACT = {
    "levels": "time t_s level_m level_seen_m volume_m3 inflow_m3s pumped_m3s spill_m3s other_m3s"
    " pumps_running time_to_spill_s",
    "pump_runs": "pump role start_time start_s stop_time stop_s duration_s volume_m3 energy_kwh"
    " started_by stopped_by volume_by_hours_m3",
    "pump_totals": " ".join(PUMP_TOTALS),
    "events": "time t_s subject event cause seen detail",
    "alarms": "alarm subject raised_time raised_s reached_time reached_s cleared_time cleared_s"
    " sent_time sent_s",
    "spills": "start_time start_s stop_time stop_s duration_s volume_m3 peak_m3s method seen",
    "power": "source state start_time start_s stop_time stop_s cause seen",
    "crew": "task subject planned_s start_time start_s stop_time stop_s outcome person tool"
    " waited_s",
    "meters": "time t_s station_meter_m3 plant_meter_m3 difference_m3 difference_part",
    "summary": "metric subject value unit",
}
COLUMNS = {name: tuple(text.split()) for name, text in _CONTRACT.items()}
"""The columns of each table, in order."""


def local_times(start: datetime, t_s: Floats) -> NDArray[np.str_]:
    """Return moments as ISO 8601 text with offset, to the millisecond; empty for NaN.

    Parameters
    ----------
    start
        Local time at which the episode begins.
    t_s
        Seconds since then [s].
    """
    known = np.isfinite(t_s)
    first = np.datetime64(start.replace(tzinfo=None), "ms")
    whole = np.where(known, np.round(np.where(known, t_s, 0.0) * 1000.0), 0.0)
    text = np.datetime_as_string(first + whole.astype("timedelta64[ms]"), unit="ms")
    full = np.strings.add(text, _offset(start))
    return np.where(known, full, "")


def _offset(start: datetime) -> str:
    shift = start.utcoffset() or timedelta(0)
    sign = "-" if shift < timedelta(0) else "+"
    minutes = round(abs(shift).total_seconds() / 60.0)
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def is_number(column: str) -> bool:
    """Return whether a column holds numbers; all others hold text.

    Parameters
    ----------
    column
        Its name.
    """
    plain = ("starts", "trips", "max_starts_per_hour", "pumps_running", "value", "difference_part")
    return column in plain or column.endswith(("_s", "_m", "_m3", "_m3s", "_h", "_kwh"))


def table_of(name: str, data: Mapping[str, Any] | pd.DataFrame) -> pd.DataFrame:
    """Return a table with the columns of the contract, text columns as text even when empty.

    Parameters
    ----------
    name
        Which table.
    data
        Its columns.
    """
    table = pd.DataFrame(data)[list(COLUMNS[name])]
    text = {c: "str" for c in table.columns if not is_number(c)}
    return table.astype(text)

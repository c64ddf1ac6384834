"""Result: what a run came to, as tidy tables, a summary, sentences and a folder.

Tables are made from the trace when they are first asked for, and kept. Columns are those of the
contract: SI whatever the display units, ``time`` beside ``t_s``; one row is one observation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from stationsim import metrics, saving, vocabulary
from stationsim.caution import CAUTION
from stationsim.errors import InputError
from stationsim.metrics.by_hours import flows_by_book
from stationsim.metrics.course import Course
from stationsim.metrics.meters import counted
from stationsim.tables import COLUMNS, local_times, table_of
from stationsim.trace import seen_levels, sent_while_spilling
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.trace import Sampled, Trace

    Floats = NDArray[np.float64]

_JOULES_PER_KWH = 3.6e6


@dataclass(repr=False)
class Result:
    """What a run came to.

    Parameters
    ----------
    station, episode
        What stood there, and what happened.
    trace
        What the run left behind.
    wall_s
        How long the computer took [s].
    digest
        Digest of the scenario; empty for a run that was set up in Python.
    text
        The scenario as run (TOML); empty for a run that was set up in Python.
    """

    station: Station
    episode: Episode
    trace: Trace
    wall_s: float = 0.0
    digest: str = ""
    text: str = ""

    def __repr__(self) -> str:
        """Return the run in a line: where, how long, how many starts, how much spilled."""
        trace = self.trace
        starts = "1 start" if len(trace.runs) == 1 else f"{len(trace.runs):,} starts"
        lasted = show(trace.end_s, "duration", "si")
        spill = "no spill"
        if trace.spills:
            number = "1 spill" if len(trace.spills) == 1 else f"{len(trace.spills):,} spills"
            spill = f"{number}, {show(trace.spilled_m3, 'volume', 'si')}"
        return f"<Result of {self.station.name}: {lasted}, {starts}, {spill}>"

    @property
    def caution(self) -> str:
        """What stands beside every result."""
        return CAUTION

    @cached_property
    def levels(self) -> pd.DataFrame:
        """Level and flows at each table interval, at the start and at the end."""
        return self._levels_at(self._table_times(self.episode.table_interval_s))

    @cached_property
    def pump_runs(self) -> pd.DataFrame:
        """One row for each run of each pump, in the order of their starts."""
        runs = sorted(self.trace.runs, key=lambda run: (run.start_s, run.machine))
        machine, role, start, stop, volume, energy, by, until = _columns(runs, 8)
        names = np.array(self.station.machine_names(), dtype=object)
        start_s, stop_s = _floats(start), _floats(stop)
        data = {
            "pump": names[np.array(machine, dtype=int)] if runs else [],
            "role": role,
            "start_time": self._moments(start_s),
            "start_s": start_s,
            "stop_time": self._moments(stop_s),
            "stop_s": stop_s,
            "duration_s": stop_s - start_s,
            "volume_m3": _floats(volume),
            "energy_kwh": _floats(energy) / _JOULES_PER_KWH,
            "started_by": by,
            "stopped_by": until,
            "volume_by_hours_m3": (stop_s - start_s) * self._flows_by_book[list(machine)],
        }
        return table_of("pump_runs", data)

    @cached_property
    def pump_totals(self) -> pd.DataFrame:
        """One row for each pump, the engine-driven one too."""
        names = self.station.machine_names()
        lost = [0.0] * len(names)
        for machine, start_s, stop_s in self._unavailable_spans():
            lost[machine] += stop_s - start_s
        found = metrics.pump_totals(self.pump_runs, names, self.trace.trips, lost)
        return table_of("pump_totals", found)

    @cached_property
    def events(self) -> pd.DataFrame:
        """One row for anything that happened."""
        rows = sorted(self.trace.events, key=lambda row: row.t_s)
        t, subject, event, cause, detail, level = _columns(rows, 6)
        t_s = _floats(t)
        levels = [f"level {value:.3f} m" for value in level]
        data = {
            "time": self._moments(t_s),
            "t_s": t_s,
            "subject": subject,
            "event": event,
            "cause": cause,
            "seen": [vocabulary.seen_by(word) for word in event],
            "detail": [
                f"{text}; {here}" if text else here
                for text, here in zip(detail, levels, strict=True)
            ],
        }
        return table_of("events", data)

    @cached_property
    def alarms(self) -> pd.DataFrame:
        """One row for each alarm, in the order in which they were raised."""
        rows = sorted(self.trace.alarms, key=lambda row: row.raised_s)
        alarm, subject, *times = _columns(rows, 6)
        data: dict[str, Any] = {"alarm": alarm, "subject": subject}
        for name, values in zip(("raised", "reached", "cleared", "sent"), times, strict=True):
            data[f"{name}_time"] = self._moments(_floats(values))
            data[f"{name}_s"] = _floats(values)
        return table_of("alarms", data)

    @cached_property
    def spills(self) -> pd.DataFrame:
        """One row for each spill."""
        rows = sorted(self.trace.spills, key=lambda row: row.start_s)
        start, stop, volume, peak, method = _columns(rows, 5)
        data = {
            **self._span(start, stop),
            "duration_s": _floats(stop) - _floats(start),
            "volume_m3": _floats(volume),
            "peak_m3s": _floats(peak),
            "method": method,
            "seen": [self._spill_seen(row.start_s, row.stop_s) for row in rows],
        }
        return table_of("spills", data)

    @cached_property
    def power(self) -> pd.DataFrame:
        """One row for each state of the grid and of the engine."""
        rows = sorted(self.trace.power, key=lambda row: row.start_s)
        source, state, start, stop, cause = _columns(rows, 5)
        data = {"source": source, "state": state, **self._span(start, stop), "cause": cause}
        data["seen"] = [vocabulary.state_seen_by(word) for word in state]
        return table_of("power", data)

    @cached_property
    def crew(self) -> pd.DataFrame:
        """One row for what each person did over a span of time, in the order of beginning."""
        task, subject, planned, start, stop, outcome, person, tool, waited = _columns(
            self.trace.crew, 9
        )
        data = {
            "task": task,
            "subject": subject,
            "planned_s": _floats(planned),
            **self._span(start, stop),
            "outcome": outcome,
            "person": person,
            "tool": tool,
            "waited_s": _floats(waited),
        }
        return table_of("crew", data)

    @cached_property
    def meters(self) -> pd.DataFrame:
        """One row for each calendar day: what meters at both ends of the main count."""
        found = counted(self.course, self.episode.clock_offset_s)
        lost = found.station_m3 - found.plant_m3
        part = np.full_like(lost, np.nan)
        np.divide(lost, found.station_m3, out=part, where=found.station_m3 > 0.0)
        data = {
            "time": self._moments(found.begin_s),
            "t_s": found.begin_s,
            "station_meter_m3": found.station_m3,
            "plant_meter_m3": found.plant_m3,
            "difference_m3": lost,
            "difference_part": part,
        }
        return table_of("meters", data)

    @cached_property
    def summary(self) -> pd.DataFrame:
        """One row for each metric."""
        tables = {
            "pump_runs": self.pump_runs,
            "pump_totals": self.pump_totals,
            "alarms": self.alarms,
            "spills": self.spills,
            "meters": self.meters,
        }
        episode = self.episode
        monday_s = episode.start.weekday() * 86_400.0 + episode.clock_offset_s
        found = metrics.summary(
            self.station,
            self.trace,
            tables,
            self.course,
            monday_s=monday_s,
            response=episode.response,
        )
        return table_of("summary", found)

    @cached_property
    def course(self) -> Course:
        """The course of the water between all rows."""
        return Course(self.station, self.trace)

    @cached_property
    def _flows_by_book(self) -> Floats:
        """Flow that each machine should have, sound and alone [m3/s]."""
        return np.array(flows_by_book(self.station), dtype=float)

    def _spill_seen(self, start_s: float, stop_s: float) -> str:
        """Return by what a spill could be noticed: the high-level alarm, sent or not, or nothing.

        Parameters
        ----------
        start_s, stop_s
            The spill [s].
        """
        if sent_while_spilling(self.trace, "high level", start_s, stop_s):
            return "alarm"
        stood = any(
            row.alarm == "high level" and row.raised_s < stop_s and not row.cleared_s < start_s
            for row in self.trace.alarms
        )
        return "site" if stood else "nobody"

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """All tables by name, in the order of the contract."""
        return {name: getattr(self, name) for name in COLUMNS}

    def value(self, metric: str, subject: str = "station") -> float:
        """Return one value of the summary; NaN when it does not apply.

        Parameters
        ----------
        metric
            A metric of the vocabulary.
        subject
            A machine, or ``station``.

        Raises
        ------
        KeyError
            When the summary has no such row.
        """
        rows = self.summary
        found = rows.loc[(rows["metric"] == metric) & (rows["subject"] == subject), "value"]
        if found.empty:
            raise KeyError(f"no metric '{metric}' of '{subject}'")
        return float(found.iloc[0])

    def sample(self, interval: str | float) -> pd.DataFrame:
        """Return the table of levels at another interval, exact at each row.

        Parameters
        ----------
        interval
            Seconds, or text such as ``5min``, ``1h``, ``30s``.

        Raises
        ------
        InputError
            When the interval cannot be read or is not more than nought.
        """
        try:
            seconds = (
                pd.Timedelta(interval).total_seconds()
                if isinstance(interval, str)
                else float(interval)
            )
        except ValueError as error:
            raise InputError(_bad_interval(interval)) from error
        if not 0.0 < seconds < np.inf:
            raise InputError(_bad_interval(interval))
        return self._levels_at(self._table_times(seconds))

    def sentences(self, system: str = "si") -> list[str]:
        """Return what a person would say about the run, in three to six sentences.

        One more tells when alternation stopped.

        Parameters
        ----------
        system
            ``si`` or ``us``: the units in which quantities are told.
        """
        from stationsim.wording import sentences

        return sentences(self, system)

    def manifest(self) -> dict[str, Any]:
        """Return what made these results; the wall time stands here and in no table."""
        import stationsim

        return {
            "made_by": "stationsim",
            "version": getattr(stationsim, "__version__", "unknown"),
            "station": self.station.name,
            "episode": self.episode.name,
            "start": self.episode.start.isoformat(),
            "duration_s": self.trace.end_s,
            "seed": self.episode.seed,
            "scenario_digest": self.digest,
            "mass_balance_error": self.trace.balance_error,
            "wall_s": round(self.wall_s, 3),
            "rows": {name: len(table) for name, table in self.tables.items()},
            "caution": CAUTION,
        }

    def save(
        self, folder: str | Path, formats: Sequence[str] = ("csv",), *, force: bool = False
    ) -> Path:
        """Write tables, manifest, sentences and the scenario as run; return the folder.

        Parameters
        ----------
        folder
            Where; made beside and moved into place when whole.
        formats
            ``csv`` always; ``parquet`` and ``xlsx`` when the extras are installed.
        force
            True to replace earlier results.

        Raises
        ------
        OutputError
            When something is in the way, or the place cannot be written.
        """
        with saving.new_folder(Path(folder), force=force) as beside:
            self.write_into(beside, formats)
        return Path(folder)

    def write_into(
        self, folder: Path, formats: Sequence[str] = ("csv",), system: str = "si"
    ) -> None:
        """Write tables, manifest, sentences and the scenario as run into an existing folder.

        Parameters
        ----------
        folder
            An existing folder.
        formats
            As in :meth:`save`.
        system
            ``si`` or ``us``: the units of the sentences; tables are always in SI.
        """
        saving.write_tables(self.tables, folder, formats)
        saving.write_manifest(self.manifest(), folder)
        told = "\n".join([*self.sentences(system), "", self.caution, ""])
        (folder / "sentences.txt").write_text(told, encoding="utf-8", newline="\n")
        if self.text:
            (folder / "scenario.toml").write_text(self.text, encoding="utf-8", newline="\n")

    def sampled(self, times_s: Floats) -> Sampled:
        """Return volume and flows at any times, exact at each.

        Parameters
        ----------
        times_s
            Times, never falling [s].
        """
        return self.course.sampled(times_s)

    def _levels_at(self, times: Floats) -> pd.DataFrame:
        drawn = self.sampled(times)
        levels = self.station.well.levels_at(drawn.volume_m3)
        left = self.course.time_to_spill(times, drawn.volume_m3)
        data = {
            "time": self._moments(times),
            "t_s": times,
            "level_m": levels,
            "level_seen_m": seen_levels(self.trace, times, levels),
            "volume_m3": drawn.volume_m3,
            "inflow_m3s": drawn.inflow_m3s,
            "pumped_m3s": drawn.pumped_m3s,
            "spill_m3s": drawn.spill_m3s,
            "other_m3s": drawn.other_m3s,
            "pumps_running": np.asarray(drawn.pumps_running, dtype=np.int64),
            "time_to_spill_s": np.where(np.isfinite(left), left, np.nan),
        }
        return table_of("levels", data)

    def level_at(self, times_s: Floats) -> Floats:
        """Return the level at any times, exact at each [m above floor].

        Parameters
        ----------
        times_s
            Times, never falling [s].
        """
        return self.course.level_at(times_s)

    def _table_times(self, interval_s: float) -> Floats:
        end_s = self.trace.end_s
        times = np.arange(0.0, np.floor(end_s / interval_s) + 1.0) * interval_s
        times = times[times < end_s - metrics.ONE_INSTANT_S]
        return np.append(times, end_s)

    def _unavailable_spans(self) -> list[tuple[int, float, float]]:
        """Return spans in which a machine could not be run, overlapping ones as one."""
        merged: list[tuple[int, float, float]] = []
        for span in sorted(self.trace.unavailable, key=lambda row: (row.machine, row.start_s)):
            if merged and merged[-1][0] == span.machine and span.start_s <= merged[-1][2]:
                machine, start_s, stop_s = merged[-1]
                merged[-1] = (machine, start_s, max(stop_s, span.stop_s))
            else:
                merged.append((span.machine, span.start_s, span.stop_s))
        return merged

    def _moments(self, t_s: Floats) -> NDArray[np.str_]:
        return local_times(self.episode.start, t_s)

    def _span(self, start: Iterable[float], stop: Iterable[float]) -> dict[str, Any]:
        start_s, stop_s = _floats(start), _floats(stop)
        return {
            "start_time": self._moments(start_s),
            "start_s": start_s,
            "stop_time": self._moments(stop_s),
            "stop_s": stop_s,
        }


def _bad_interval(interval: object) -> str:
    return (
        f"the interval '{interval}' cannot be used; accepted: seconds, more than 0, or text such as"
        " '5min', '1h', '30s'"
    )


def _columns(rows: Sequence[tuple[Any, ...]], count: int) -> list[tuple[Any, ...]]:
    return list(zip(*rows, strict=True)) if rows else [()] * count


def _floats(values: Iterable[float]) -> Floats:
    return np.array(tuple(values), dtype=float)

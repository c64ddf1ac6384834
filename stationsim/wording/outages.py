"""What is said about the supply: losses of the grid, sags, what fed the pumps meanwhile."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from stationsim.metrics import fuel_m3
from stationsim.units import show
from stationsim.wording.bypass import by_bypass
from stationsim.wording.sayings import OUT
from stationsim.wording.spells import Told
from stationsim.wording.words import at_end, level_text, listed, moment, times

if TYPE_CHECKING:
    import pandas as pd

    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.results import Result
    from stationsim.trace import EventRow
    from stationsim.units import System
    from stationsim.wording.spells import Happened

_WORTH_TELLING_M = 0.01
_WORTH_TELLING_DEAD_S = 0.5
_SAG_OF_A_MOMENT_S = 1e-6

_DOWN = {
    "failed": "failed",
    "tripped": "tripped under the load of the pumps",
    "out of fuel": "ran out of fuel",
}
"""State in which a generator gives no voltage -> how it is said."""

_PHASE = "phase lost"
_WHY_FAILED = {"did not fire": " (it did not fire)"}


def of_outages(result: Result, units: System) -> str:
    """Return how long the grid was out and what came of it; nothing when it was never out.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    power = result.power
    out = power.loc[(power["source"] == "grid") & (power["state"] == "out")]
    if out.empty:
        return ""
    of_phase = out["cause"] == _PHASE
    heads = [
        _out(result, part, what, state, units)
        for part, what, state in (
            (out.loc[~of_phase], "the grid was out", "out"),
            (out.loc[of_phase], "one phase of the grid was lost", "so"),
        )
        if len(part)
    ]
    head = ", and ".join(heads)
    head = f"{head[0].upper()}{head[1:]}"
    return f"{head}; {_meanwhile(result, out, units)}{_risen(result, out, units)}."


def _out(result: Result, out: pd.DataFrame, what: str, state: str, units: System) -> str:
    """Return that the grid was out, or a phase of it: how often, since when, for how long."""
    lasted = show(float((out["stop_s"] - out["start_s"]).sum()), "duration", units)
    begins = moment(result, out["start_s"].iloc[0])
    still = f" (still {state} at the end)" if at_end(result, out["stop_s"].iloc[-1]) else ""
    if len(out) == 1:
        return f"{what} for {lasted} from {begins}{still}"
    return f"{what} {times(len(out))}, for {lasted} in all, first from {begins}{still}"


def _meanwhile(result: Result, out: pd.DataFrame, units: System) -> str:
    """Return what ran while the grid was out."""
    engine = result.station.engine_pump
    said = _fed(result, out, units)
    went_wrong = _went_wrong(result, out)
    if engine is not None:
        said.append(_by_engine(result, engine, out, units))
    said += by_bypass(result, _both(out), units)
    if not said:
        said.append("no pump could run")
    return "; ".join([*said, *went_wrong])


def _fed(result: Result, out: pd.DataFrame, units: System) -> list[str]:
    """Return what fed the busbar in place of the grid, for how long, and its fuel.

    Feeding and dead times count whole, as the fuel does: a set feeds on until the switch moves
    back, and that has a break of its own.
    """
    said = []
    lasted = _in_place_of_the_grid(result, out)
    for name in ("generator", "mobile generator"):
        fed_s = lasted.get(name, 0.0)
        if fed_s > 0.0:
            fuel = result.trace.fuel_m3.get(name, 0.0)
            burnt = f" ({show(fuel, 'fuel', units)} of fuel in all)" if fuel > 0.0 else ""
            said.append(f"the {name} fed the pumps for {show(fed_s, 'duration', units)}{burnt}")
    dead_s = lasted.get("dead", 0.0)
    if said and dead_s > _WORTH_TELLING_DEAD_S:
        said.append(f"their busbar was dead for {show(dead_s, 'duration', units)} in all")
    return [listed(said)] if said else []


def _in_place_of_the_grid(result: Result, out: pd.DataFrame) -> dict[str, float]:
    """Return how long the busbar was fed by each set, or dead, on account of outages [s].

    What counts is each time away from the grid, from end to end, that an outage falls into.
    """
    power = result.power
    busbar = power.loc[power["source"] == "busbar"]
    spans = _both(out)
    lasted: dict[str, float] = {}
    away: list[tuple[str, float, float]] = []
    rows = [(str(s), *span) for s, span in zip(busbar["state"], _both(busbar), strict=True)]
    for row in [*rows, ("grid", math.inf, math.inf)]:
        if row[0] != "grid":
            away.append(row)
            continue
        if away and any(away[0][1] < back and away[-1][2] > lost for lost, back in spans):
            for state, start_s, stop_s in away:
                lasted[state] = lasted.get(state, 0.0) + stop_s - start_s
        away = []
    return lasted


def _went_wrong(result: Result, out: pd.DataFrame) -> list[str]:
    """Return when the generator or the transfer switch failed while the grid was out."""
    spans = _both(out)

    def within(t_s: float) -> bool:
        return any(low <= t_s <= high for low, high in spans)

    def met(start_s: float, stop_s: float) -> bool:
        return any(start_s <= high and stop_s > low for low, high in spans)

    said = []
    for name in ("generator", "mobile generator"):
        for state, verb in _DOWN.items():
            rows = [
                row
                for row in result.trace.power
                if row.source == name and row.state == state and met(row.start_s, row.stop_s)
            ]
            if rows:
                rows.sort(key=lambda row: row.start_s)
                why = _WHY_FAILED.get(rows[0].cause, "")
                when = f"at {moment(result, rows[0].start_s)}"
                often = when if len(rows) == 1 else f"{times(len(rows))}, first {when}"
                said.append(f"the {name} {verb} {often}{why}")
    stuck = [
        row.t_s for row in result.trace.events if row.event == "does not move" and within(row.t_s)
    ]
    if stuck:
        said.append(f"the transfer switch did not move at {moment(result, min(stuck))}")
    return said


def _by_engine(result: Result, engine: EnginePump, out: pd.DataFrame, units: System) -> str:
    """Return what the engine-driven pump did while the grid was out."""
    name = engine.pump.name
    runs = result.pump_runs
    own = runs.loc[runs["pump"] == name]
    spans = _both(out)
    met = [bool(any(a < stop and b > start for a, b in spans)) for start, stop in _both(own)]
    own = own.loc[np.array(met, dtype=bool)]
    if own.empty:
        return f"the engine-driven pump {name} did not run{_why_not(result, spans)}"
    ran_s = float(own["duration_s"].sum())
    fuel = fuel_m3(result.station, name, ran_s / 3600.0, result.trace.filled_m3.get(name, 0.0))
    burnt = f" and burnt {show(fuel, 'fuel', units)} of fuel" if fuel > 0.0 else ""
    dry = own.loc[own["stopped_by"] == "fails to prime"]
    vain = ""
    if len(dry):
        dry_s = float(dry["duration_s"].sum())
        part = "all" if dry_s >= ran_s else show(dry_s, "duration", units)
        vain = f", {part} of it in vain, for it drew no water,"
    return f"the engine-driven pump {name} ran for {show(ran_s, 'duration', units)}{vain}{burnt}"


def _why_not(result: Result, spans: list[tuple[float, float]]) -> str:
    engine = result.station.engine_pump
    assert engine is not None  # noqa: S101  (only asked of a station that has one)
    machine = len(result.station.pumps)
    causes = [
        row.cause
        for row in result.trace.unavailable
        if row.machine == machine and any(a < row.stop_s and b > row.start_s for a, b in spans)
    ]
    if causes:
        name = engine.pump.name
        events = result.trace.events
        flat = [row for row in events if (row.subject, row.event) == (name, "does not crank")]
        if causes[0] == "pump failed" and any(a <= r.t_s <= b for r in flat for a, b in spans):
            return " (its battery was flat)"
        return f" ({'off' if causes[0] == 'selector in off' else causes[0]})"
    if max(result.course.greatest_level_m(a, b) for a, b in spans) < engine.start_level_m:
        return " (the level stayed below its start level)"
    return ""


def _risen(result: Result, out: pd.DataFrame, units: System) -> str:
    """Return how high the water rose while the grid was out."""
    peaks = [result.course.greatest_level_m(start, stop) for start, stop in _both(out)]
    worst = int(np.argmax(peaks))
    before = float(result.level_at(out["start_s"].to_numpy(dtype=float))[worst])
    if peaks[worst] < before + _WORTH_TELLING_M:
        return ""
    return f", and the level rose to {level_text(result.station, peaks[worst], units)} meanwhile"


def _both(table: pd.DataFrame) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in zip(table["start_s"], table["stop_s"], strict=True)]


def of_dry_tanks(happened: Happened) -> list[Told]:
    """Return when a generator ran out of fuel while the grid was there: else it is told with that.

    Parameters
    ----------
    happened
        What happened in the run.
    """
    power = happened.result.power
    spans = _both(power.loc[(power["source"] == "grid") & (power["state"] == "out")])
    stood = [row for row in happened.result.trace.power if row.state == "out of fuel"]
    found = []
    for name in ("generator", "mobile generator"):
        rows = [
            row
            for row in happened.of("out of fuel", subject=name)
            if not any(
                span.source == name
                and span.start_s == row.t_s
                and any(span.start_s <= high and span.stop_s > low for low, high in spans)
                for span in stood
            )
        ]
        if rows:
            said = f"the {name} ran out of fuel {happened.often(rows)}"
            found.append(Told(rows[0].t_s, OUT, said))
    return found


# ---------------------------------------------------------------------- sags


def of_sags(happened: Happened) -> list[Told]:
    """Return what sags of the grid did: which pumps stopped, and that no outage was seen.

    Parameters
    ----------
    happened
        What happened in the run.
    """
    rows = happened.of("grid sag")
    if not rows:
        return []
    lost_s = {row.t_s for row in happened.of("grid lost")}
    names = happened.result.station.machine_names()
    stopped = {
        (run.stop_s, names[run.machine])
        for run in happened.result.trace.runs
        if run.stopped_by == "grid sag"
    }
    effects = [_effect(row, stopped) for row in rows]
    head = f"the grid sagged {happened.often(rows)}{happened.size(rows)}{happened.chance(rows)}"
    if len(rows) == 1 and rows[0].t_s in lost_s:
        return [Told(rows[0].t_s, OUT, f"{head}, long enough to count as a loss")]
    count = len(stopped)
    if len(rows) == 1 and count:
        did = f"and stopped {listed(effects[0])}"
    elif count:
        did = f"and stopped pumps {times(count)} in all"
    else:
        did = "and stopped no pump"
    unseen = "" if any(row.t_s in lost_s for row in rows) else ", and no outage was seen"
    return [Told(rows[0].t_s, OUT, f"{head} {did}{unseen}")]


def _effect(row: EventRow, stopped: set[tuple[float, str]]) -> list[str]:
    return sorted(name for t_s, name in stopped if abs(t_s - row.t_s) <= _SAG_OF_A_MOMENT_S)

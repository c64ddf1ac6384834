"""Sentences about trouble and hands: losses of the grid, trips, selectors, a well pumped empty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.metrics import fuel_m3
from stationsim.units import show
from stationsim.wording.words import at_end, level_text, listed, moment, times

if TYPE_CHECKING:
    import pandas as pd

    from stationsim.results import Result
    from stationsim.trace import EventRow
    from stationsim.units import System

_MOST_TOLD = 5
_WORTH_TELLING_M = 0.01
_EMPTY_M = 0.001
_WORTH_TELLING_S = 60.0


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
    lasted = show(float((out["stop_s"] - out["start_s"]).sum()), "duration", units)
    begins = moment(result, out["start_s"].iloc[0])
    still = " (still out at the end)" if at_end(result, out["stop_s"].iloc[-1]) else ""
    head = (
        f"The grid was out for {lasted} from {begins}{still}"
        if len(out) == 1
        else f"The grid was out {times(len(out))}, for {lasted} in all, first from {begins}{still}"
    )
    return f"{head}; {_meanwhile(result, out, units)}{_risen(result, out, units)}."


def _meanwhile(result: Result, out: pd.DataFrame, units: System) -> str:
    """Return what ran while the grid was out."""
    engine = result.station.engine_pump
    if engine is None:
        return "no pump could run"
    name = engine.pump.name
    runs = result.pump_runs
    own = runs.loc[runs["pump"] == name]
    spans = list(zip(out["start_s"], out["stop_s"], strict=True))
    met = [bool(any(a < stop and b > start for a, b in spans)) for start, stop in _both(own)]
    own = own.loc[np.array(met, dtype=bool)]
    if own.empty:
        return f"the engine-driven pump {name} did not run{_why_not(result, spans)}"
    ran_s = float(own["duration_s"].sum())
    fuel = fuel_m3(result.station, ran_s / 3600.0)
    burnt = f" and burnt {show(fuel, 'fuel', units)} of fuel" if fuel > 0.0 else ""
    return f"the engine-driven pump {name} ran for {show(ran_s, 'duration', units)}{burnt}"


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


@dataclass(frozen=True)
class Told:
    """One thing to tell.

    Parameters
    ----------
    at_s
        When it first happened [s]; they are told in this order.
    rank
        0: a pump was out, in hand, or ran dry; 1: what can wait.
    text
        What a person would say.
    """

    at_s: float
    rank: int
    text: str


class Spell(NamedTuple):
    """A time for which something stood: when, whether it still stood at the end, and why."""

    start_s: float
    stop_s: float
    cause: str


def of_trouble(result: Result, units: System) -> str:
    """Return what went wrong and what people did about the pumps, in the order of time.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    by_kind: dict[str, list[EventRow]] = {}
    for row in result.trace.events:
        if row.event not in ("start", "stop"):
            by_kind.setdefault(row.event, []).append(row)
    found: list[Told] = []
    dry = _Dry(result, by_kind.get("well empty", []), units)
    for name in result.station.machine_names():
        own = {
            kind: sorted((r for r in rows if r.subject == name), key=lambda r: r.t_s)
            for kind, rows in by_kind.items()
        }
        found += _of_machine(result, name, own, dry, units)
    found += _of_signal(result, by_kind, units)
    found += dry.untold()
    kept = sorted(sorted(found, key=lambda one: (one.rank, one.at_s))[:_MOST_TOLD], key=_when)
    more = len(found) - len(kept)
    rest = [f"{more} more of that kind in the table of events"] if more else []
    text = "; ".join([one.text for one in kept] + rest)
    return f"{text[0].upper()}{text[1:]}." if kept else ""


def _when(one: Told) -> float:
    return one.at_s


def _of_machine(
    result: Result, name: str, own: dict[str, list[EventRow]], dry: _Dry, units: System
) -> list[Told]:
    """Return everything to tell of one machine."""

    def of(*kinds: str) -> list[EventRow]:
        return sorted((row for kind in kinds for row in own.get(kind, [])), key=lambda r: r.t_s)

    found = []
    stops = [row for row in of("seal leak") if row.detail == "stops"]
    for begins, ends, said in (
        (of("trip"), of("reset"), "tripped"),
        (stops, of("reset"), "was taken out by a seal leak"),
        (of("out of service"), of("back in service"), "was taken out of service"),
    ):
        for cause in dict.fromkeys(row.cause for row in begins):
            what = "seal leak" if begins is stops else cause
            spells = _spells(
                result,
                [row for row in begins if row.cause == cause],
                [row for row in ends if row.detail == what],
            )
            verb = "failed" if cause == "pump failed" else said
            why = f" ({cause})" if verb == "tripped" and cause else ""
            found.append(_out(result, name, f"{verb}{{}}{why}", spells, units))
    if spells := _spells(result, of("fails to start"), of("can start again")):
        text = f"{name} would not have started from {_span(result, spells, units)}"
        found.append(Told(spells[0].start_s, 0, text))
    if spells := _spells(result, of("clogged"), of("clear again")):
        left = f" ({of('clogged')[0].detail})" if len(spells) == 1 else ""
        text = f"{name} was clogged{left} from {_span(result, spells, units)}"
        found.append(Told(spells[0].start_s, 0, text))
    if spells := _spells(result, of("off"), of("in hand", "in auto")):
        text = f"{name} was switched off {_for(result, spells, units)}"
        found.append(Told(spells[0].start_s, 0, text))
    if spells := _spells(result, of("in hand"), of("off", "in auto")):
        text = f"{name} was put in hand {_for(result, spells, units)}{dry.by(name, spells)}"
        found.append(Told(spells[0].start_s, 0, text))
    if rows := [row for row in of("seal leak") if row.detail != "stops"]:
        found.append(Told(rows[0].t_s, 1, f"{name} showed a seal leak {_at(result, rows)}"))
    if rows := of("out of fuel"):
        found.append(Told(rows[0].t_s, 0, f"{name} ran out of fuel {_at(result, rows)}"))
    return found


def _of_signal(result: Result, by_kind: dict[str, list[EventRow]], units: System) -> list[Told]:
    """Return when the level signal stood still or was gone, and whether the floats took over."""
    found = []
    for begins, ends, said in (
        ("level signal frozen", "level signal right", "stood still"),
        ("level signal lost", "level signal right", "was gone"),
        ("level signal distrusted", "level signal trusted", ""),
    ):
        if spells := _spells(result, by_kind.get(begins, []), by_kind.get(ends, [])):
            span = _span(result, spells, units)
            text = (
                f"the level signal {said} from {span}"
                if said
                else f"the backup floats ran the station from {span}"
            )
            found.append(Told(spells[0].start_s, 0, text))
    return found


def _spells(result: Result, begins: list[EventRow], ends: list[EventRow]) -> list[Spell]:
    """Return for how long something stood; what begins again while it stands counts once."""
    found: list[Spell] = []
    for row in begins:
        if found and row.t_s < found[-1].stop_s:
            continue
        over = next((end.t_s for end in ends if end.t_s >= row.t_s), result.trace.end_s)
        found.append(Spell(row.t_s, over, row.cause))
    return found


def _out(result: Result, name: str, said: str, spells: list[Spell], units: System) -> Told:
    """Return that a machine was out, since when, for how long, and whether it came back."""
    first, last = spells[0], spells[-1]
    lasted = show(sum(spell.stop_s - spell.start_s for spell in spells), "duration", units)
    begins = moment(result, first.start_s)
    if len(spells) > 1:
        text = said.format(f" {times(len(spells))}, first at {begins}")
        text += f", for {lasted} in all"
        text += ", and was still out at the end" if at_end(result, last.stop_s) else ""
        return Told(first.start_s, 0, f"{name} {text}")
    text = said.format(f" at {begins}")
    if at_end(result, last.stop_s):
        text += " and was still out at the end"
    elif _unable_at(result, name, last.stop_s):  # for another reason
        text += f", which lasted {lasted}"
    else:
        text += f" and was back after {lasted}"
    return Told(first.start_s, 0, f"{name} {text}")


def _unable_at(result: Result, name: str, t_s: float) -> bool:
    machine = result.station.machine_names().index(name)
    return any(
        row.machine == machine and row.start_s <= t_s < row.stop_s
        for row in result.trace.unavailable
    )


def _for(result: Result, spells: list[Spell], units: System) -> str:
    """Return when a selector was turned, and for how long it stayed so."""
    begins = moment(result, spells[0].start_s)
    lasted = show(sum(spell.stop_s - spell.start_s for spell in spells), "duration", units)
    open_ = at_end(result, spells[-1].stop_s)
    if len(spells) == 1:
        return f"at {begins} (to the end)" if open_ else f"at {begins} for {lasted}"
    still = ", still so at the end" if open_ else ""
    return f"{times(len(spells))}, first at {begins}, for {lasted} in all{still}"


def _span(result: Result, spells: list[Spell], units: System) -> str:
    """Return since when and for how long something stood that nobody turned."""
    begins = moment(result, spells[0].start_s)
    lasted = show(sum(spell.stop_s - spell.start_s for spell in spells), "duration", units)
    if len(spells) > 1:
        return f"{begins} on, {times(len(spells))}, for {lasted} in all"
    return f"{begins} to the end" if at_end(result, spells[0].stop_s) else f"{begins} for {lasted}"


def _at(result: Result, rows: list[EventRow]) -> str:
    first = moment(result, rows[0].t_s)
    return f"at {first}" if len(rows) == 1 else f"{times(len(rows))}, first at {first}"


def _both(table: pd.DataFrame) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in zip(table["start_s"], table["stop_s"], strict=True)]


class _Dry:
    """A well that was pumped down to the floor: by whom, and who ran on.

    Parameters
    ----------
    result
        The run.
    rows
        Events of that.
    units
        ``si`` or ``us``.
    """

    def __init__(self, result: Result, rows: list[EventRow], units: System) -> None:
        self.result, self.units = result, units
        self._rows: dict[str, list[EventRow]] = {}
        if not rows:
            return
        runs, at_s = result.pump_runs, np.array([row.t_s for row in rows])
        for name in result.station.machine_names():
            own = runs.loc[runs["pump"] == name]
            if own.empty:
                continue
            last = np.searchsorted(own["start_s"].to_numpy(float), at_s, side="right") - 1
            ran = (last >= 0) & (own["stop_s"].to_numpy(float)[last] >= at_s)
            if np.any(ran):
                self._rows[name] = [rows[i] for i in np.flatnonzero(ran)]
        begins, ends = result.course.spans_above(_EMPTY_M)
        end_s = result.trace.end_s
        self._edges = np.concatenate(([0.0], np.column_stack((begins, ends)).ravel(), [end_s]))
        spans = np.diff(self._edges)
        spans[1::2] = 0.0
        self._so_far = np.concatenate(([0.0], np.cumsum(spans)))

    def by(self, name: str, spells: list[Spell]) -> str:
        """Return what a machine in hand did to the water; it is then not told again."""
        rows = [
            row
            for row in self._rows.get(name, [])
            if any(spell.start_s <= row.t_s <= spell.stop_s for spell in spells)
        ]
        if not rows:
            return ""
        told = set(rows)
        left = {
            other: [row for row in those if row not in told] for other, those in self._rows.items()
        }
        self._rows = {other: those for other, those in left.items() if those}
        return f", pumped the well down to the floor {_at(self.result, rows)}{self._ran_on([name])}"

    def untold(self) -> list[Told]:
        """Return what nobody's hand did."""
        if not self._rows:
            return []
        names = list(self._rows)
        rows = list(dict.fromkeys(row for name in names for row in self._rows[name]))
        rows.sort(key=lambda row: row.t_s)
        at = _at(self.result, rows)
        text = f"{listed(names)} pumped the well down to the floor {at}{self._ran_on(names)}"
        return [Told(rows[0].t_s, 0, text)]

    def _ran_on(self, names: list[str]) -> str:
        runs = self.result.pump_runs
        longest = 0.0
        for name in names:
            own = runs.loc[runs["pump"] == name]
            stop, start = own["stop_s"].to_numpy(float), own["start_s"].to_numpy(float)
            over = np.interp(stop, self._edges, self._so_far)
            longest = max(
                longest, float(np.sum(over - np.interp(start, self._edges, self._so_far)))
            )
        if longest < _WORTH_TELLING_S:
            return ""
        return f" and ran on an empty well for {show(longest, 'duration', self.units)}"

"""Fuel that a generator set burnt, counted anew from the rows that a run has left behind.

The set burns from the moment at which its engine fires until it stops: without load while it runs
up, cools down or is exercised, and with what the pumps draw while it feeds the busbar. Each pump
counts with the mean power of its run, so the fuel is exact for pumps of constant power while their
load stays between two points of the table.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stationsim.equipment.power import GeneratorSet
    from stationsim.station import Station
    from stationsim.trace import PowerRow, Trace

_AT_VOLTAGE = ("running", "cooling down")
GENERATOR, MOBILE = "generator", "mobile generator"


def generator_fuel_m3(station: Station, trace: Trace, name: str) -> float:
    """Return the fuel that a generator set burnt [m3], never more than its tank held.

    Parameters
    ----------
    station
        What stands there.
    trace
        What the run left behind.
    name
        ``generator`` or ``mobile generator``.
    """
    power = station.standby_power
    what = None if power is None else {GENERATOR: power.generator, MOBILE: power.mobile}[name]
    if what is None or not what.fuel_loads:
        return 0.0
    burnt = 0.0
    for row in trace.power:
        if row.source == name and row.state == "starting":
            burnt += what.fuel_rate_m3_per_s(0.0) * _running_up_s(what, trace, row)
        elif row.source == name and row.state in _AT_VOLTAGE:
            burnt += _at_voltage_m3(what, station, trace, row)
    return min(burnt, what.tank_m3)


def _running_up_s(what: GeneratorSet, trace: Trace, row: PowerRow) -> float:
    """Return how long the engine ran before it had good voltage, or its start was given up [s]."""
    vain = sum(
        event.subject == row.source
        and event.event == "crank failed"
        and row.start_s <= event.t_s <= row.stop_s
        for event in trace.events
    )
    cranked_s = what.crank_s * (vain + 1) + what.crank_rest_s * vain
    return max(row.stop_s - row.start_s - cranked_s, 0.0)


def _at_voltage_m3(what: GeneratorSet, station: Station, trace: Trace, row: PowerRow) -> float:
    """Return what is burnt in one piece at good voltage, with or without load [m3]."""
    loaded = [
        (max(bus.start_s, row.start_s), min(bus.stop_s, row.stop_s))
        for bus in trace.power
        if bus.source == "busbar" and bus.state == row.source
    ]
    loaded = [(low, high) for low, high in loaded if high > low]
    runs = [run for run in trace.runs if run.machine < len(station.pumps)]
    runs = [run for run in runs if run.stop_s > row.start_s and run.start_s < row.stop_s]
    edges = {row.start_s, row.stop_s, *(edge for span in loaded for edge in span)}
    edges |= {t for run in runs for t in (run.start_s, run.stop_s)}
    burnt = 0.0
    for low, high in pairwise(sorted(t for t in edges if row.start_s <= t <= row.stop_s)):
        load_w = 0.0
        if any(a <= low and high <= b for a, b in loaded):
            load_w = sum(
                run.energy_j / (run.stop_s - run.start_s)
                for run in runs
                if run.start_s <= low and high <= run.stop_s
            )
        burnt += what.fuel_rate_m3_per_s(load_w) * (high - low)
    return burnt

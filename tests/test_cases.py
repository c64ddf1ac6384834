"""Differential test: eight stations against answers by an independent brute-force method.

The answers are our own computation (see neutral_cases.py): Runge-Kutta of order 4 at 0.05 s, no
shared code. Tolerances are those agreed with the method's own error: event times within 0.01 s for
pumps of constant flow and 0.05 s for curves (0.5 s in the outage case, whose events lie 31 hours
in), run hours within 0.01 h, volumes within 0.1 %, hourly levels within 2 mm where no event is
within a second.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from neutral_cases import NAMES, read

from stationsim.episode import Episode
from stationsim.simulation.session import Session
from stationsim.station import Station
from stationsim.trace import Trace, sample

TOLERANCE_S = {
    "duplex-constant-inflow": 0.01,
    "hourly-steps": 0.01,
    "outage-that-spills": 0.01,
    "short-cycles": 0.01,
    "outage-with-engine-pump": 0.5,
}


@cache
def ran(name: str) -> tuple[Station, Episode, dict[str, Any], Trace]:
    station, episode, expected = read(name)
    return station, episode, expected, Session(station, episode).finish().trace


def happenings(station: Station, trace: Trace) -> list[tuple[float, str, int]]:
    """Return our events under the names of the neutral form."""
    names = station.machine_names()
    electric = len(station.pumps)
    renamed = {
        "grid lost": "grid_lost",
        "grid back": "grid_back",
        "spill begins": "overflow_start",
        "spill ends": "overflow_end",
    }
    rows = []
    for row in trace.events:
        if row.event in ("start", "stop"):
            who = names.index(row.subject)
            event = row.event if who < electric else f"engine_{row.event}"
            rows.append((row.t_s, event, who))
        elif row.event in renamed:
            rows.append((row.t_s, renamed[row.event], -1))
    return rows


@pytest.mark.parametrize("name", NAMES)
def test_events_come_in_the_same_order_at_the_same_times(name: str) -> None:
    station, _episode, expected, trace = ran(name)
    ours = happenings(station, trace)
    assert len(ours) == expected["n_events"]
    theirs = expected["events"]
    begin = next(n for n, row in enumerate(ours) if row[0] >= theirs[0]["t_s"] - 5.0)
    listed = ours[begin : begin + len(theirs)]
    assert [(event, who) for _t, event, who in listed] == [(x["event"], x["who"]) for x in theirs]
    tolerance = TOLERANCE_S.get(name, 0.05)
    off = [abs(t - x["t_s"]) for (t, _e, _w), x in zip(listed, theirs, strict=True)]
    assert max(off) <= tolerance
    last = expected["last_event"]
    assert ours[-1][1:] == (last["event"], last["who"])


@pytest.mark.parametrize("name", NAMES)
def test_starts_hours_and_volumes_agree(name: str) -> None:
    station, _episode, expected, trace = ran(name)
    for n in range(len(station.pumps)):
        runs = [run for run in trace.runs if run.machine == n]
        assert len(runs) == expected["starts"][n]
        hours = sum(run.stop_s - run.start_s for run in runs) / 3600.0
        assert hours == pytest.approx(expected["hours"][n], abs=0.01)
        volume = sum(run.volume_m3 for run in runs)
        assert volume == pytest.approx(expected["pump_volume_m3"][n], rel=1e-3)
    assert trace.inflow_m3 == pytest.approx(expected["inflow_volume_m3"], rel=1e-6)
    assert trace.greatest_level_m == pytest.approx(expected["peak_level_m"], abs=2e-3)
    assert trace.balance_error < 1e-9


@pytest.mark.parametrize("name", NAMES)
def test_spills_agree(name: str) -> None:
    _station, _episode, expected, trace = ran(name)
    spill = expected["spill"]
    assert len(trace.spills) == spill["count"]
    assert trace.spilled_m3 == pytest.approx(spill["volume_m3"], rel=1e-3)
    lasted = sum(row.stop_s - row.start_s for row in trace.spills)
    assert lasted == pytest.approx(spill["duration_s"], rel=1e-3)
    peak = max((row.peak_m3s for row in trace.spills), default=0.0)
    assert peak == pytest.approx(spill["peak_m3s"], rel=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_hourly_levels_agree_where_no_event_is_near(name: str) -> None:
    station, _episode, expected, trace = ran(name)
    theirs = np.array(expected["level_m_each_hour"])
    times = np.arange(len(theirs)) * 3600.0
    spillway = station.spillway
    plain = spillway is not None and spillway.length_m is None
    cap = station.well.volume_at(spillway.crest_m) if plain and spillway else np.inf
    ours = station.well.levels_at(sample(trace, cap, times).volume_m3)
    moments = np.array([row[0] for row in happenings(station, trace)])
    far = np.array([np.min(np.abs(moments - t)) > 1.0 for t in times])
    assert far.any()  # in the constant case events stand on the hour marks
    assert np.max(np.abs(ours - theirs)[far]) <= 2e-3


def test_engine_driven_pump_agrees_in_starts_hours_and_fuel() -> None:
    station, _episode, expected, trace = ran("outage-with-engine-pump")
    assert station.engine_pump is not None
    runs = [run for run in trace.runs if run.machine == len(station.pumps)]
    engine = expected["engine"]
    assert len(runs) == engine["starts"]
    seconds = sum(run.stop_s - run.start_s for run in runs)
    assert seconds / 3600.0 == pytest.approx(engine["hours"], abs=0.01)
    assert sum(run.volume_m3 for run in runs) == pytest.approx(engine["volume"], rel=1e-3)
    burnt_l = seconds * station.engine_pump.fuel_m3_per_s * 1000.0
    assert burnt_l == pytest.approx(engine["fuel_burnt_l"], rel=1e-3)

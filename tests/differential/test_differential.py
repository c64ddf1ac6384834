"""Differential test: the simulation against scipy's ``solve_ivp`` (oracle.py), event by event.

Where storage and capacity are piecewise linear (pumps of constant flow, plain spill) both are exact
but for rounding: switch times must agree within 1 ms and volumes within 1e-6 m3. The error of a
crossing is the error of the volume over the net flow, so near a stall a time is known less well;
``Event.slack_s`` carries that (volume error handed on from event to event, over the net flow at the
crossing), and is added to the millisecond. It stays below a microsecond but for stalls.

Where pumps have curves, or water goes over a weir, the simulation lays bands over them: times must
agree within 0.05 s and what a flow error of 2e-6 explains near stalls (``operating.FINENESS`` is
1e-5 before the mean error is taken out, which it is between two levels of the panel; water that
turns round between them keeps a part: 5e-6 for the drawn stations). Measured over the first day of
the cases: 0.12 ms in the taper, 0.04 s at most elsewhere, and 0.11 s at one stall, where a flow
error of 1e-7 explains it.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from neutral_cases import NAMES, read
from oracle import Answer, second_opinion
from oracle_water import HALVINGS, Cell
from station_strategies import runs

from stationsim.episode import Episode, EventKind, ScriptedEvent
from stationsim.equipment.pumps import PumpUnit
from stationsim.inflow.segments import total_inflow
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.simulation.session import Session
from stationsim.simulation.well.wakes import top_level
from stationsim.station import Station
from stationsim.testing import bypass_pump, duplex, triplex
from stationsim.testing import episode as flow_episode
from stationsim.trace import Trace

EXACT_S, EXACT_M3 = 1e-3, 1e-6
CURVED_S = 0.05
CURVED_FLOW, DRAWN_FLOW = 2e-6, 5e-6
"""Flow errors that are allowed for in bands, as a part of the flow [-]."""
HOPELESS_S = 5.0
"""Beyond this slack nothing can be said of the order of events: a stall; compared up to there."""
LEAST_EVENTS = 4
"""An example counts when so many starts and stops, at least, were compared before any stall."""
WORTH_COUNTING = {
    ("trip", "high temperature"),
    ("reset", "by itself"),
    ("reset", "by hand"),
    ("clogged", "scripted"),
    ("stop", "backup stop float"),
}
"""Counted over the examples; shown with ``--hypothesis-show-statistics``."""
SCENARIOS = Path(__file__).parents[2] / "scenarios"
BEYOND = {
    "heron-ditch": "a generator behind a transfer switch, and a sag of the grid",
    "reed-corner": "a control breaker that opens",
    "teasel-court": "faults by chance, and pumps that are stopped for want of flow",
}
"""Shipped scenarios with troubles that the oracle does not know; each has tests of its own."""
TOMLS = sorted(path for path in SCENARIOS.glob("*.toml") if path.stem not in BEYOND)

PLENTY = settings().max_examples // 100  # 1, or 20 with --hypothesis-profile=thorough
FAST = settings(
    max_examples=40 * PLENTY,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
CURVED = settings(FAST, max_examples=6 * PLENTY)
SLOW = settings(FAST, max_examples=400 * PLENTY)


def is_curved(station: Station) -> bool:
    """Return whether anything is not straight over volume."""
    units = [*station.pumps, *(engine.pump for engine in station.engines())]
    weir = station.spillway is not None and station.spillway.length_m is not None
    return weir or any(unit.curve is not None for unit in units)


def both(
    station: Station, episode: Episode, curved_flow: float = CURVED_FLOW
) -> tuple[Trace, Answer]:
    """Return what the simulation says, and what the oracle says."""
    flow_error = curved_flow if is_curved(station) else 0.0
    answer = second_opinion(station, episode, total_inflow(episode), flow_error)
    return Session(station, episode).finish().trace, answer


class Compared(NamedTuple):
    """How many starts and stops were compared, and whether a stall cut the comparison short."""

    events: int
    cut: bool


def compare(station: Station, episode: Episode, trace: Trace, answer: Answer) -> Compared:
    """Assert that both tell the same story, up to a stall if there is one."""
    base = CURVED_S if is_curved(station) else EXACT_S
    names = station.machine_names()
    last = episode.duration_s - 1.0  # a crossing within rounding of the end may fall outside
    ours = [
        (row.t_s, row.event, names.index(row.subject))
        for row in trace.events
        if row.event in ("start", "stop") and row.t_s < last
    ]
    theirs = [row for row in answer.events if row.t_s < last]
    stall = next((n for n, row in enumerate(theirs) if row.slack_s > HOPELESS_S), None)
    if stall is not None:
        ours, theirs = ours[:stall], theirs[:stall]
    assert [row[1:] for row in ours] == [(row.what, row.machine) for row in theirs]
    for (t, what, machine), row in zip(ours, theirs, strict=True):
        assert abs(t - row.t_s) <= base + row.slack_s, (t, what, machine, row)
    if stall is not None:
        return Compared(len(theirs), cut=True)
    grid = [
        (row.t_s, row.event.removeprefix("grid "))
        for row in trace.events
        if row.event in ("grid lost", "grid back")
    ]
    assert [what for _t, what in grid] == [what for _t, what in answer.grid]
    assert all(abs(a[0] - b[0]) <= 1e-6 for a, b in zip(grid, answer.grid, strict=True))

    worst = answer.slack_s
    switches = len(theirs) + 1
    strength = max((row.volume_m3 / (row.stop_s - row.start_s) for row in trace.runs), default=0.0)
    allowed = EXACT_M3 + 2.0 * strength * worst
    if is_curved(station):
        # each run's ends may be off by the band error; the errors of runs do not all add up
        allowed += 2e-5 * max(trace.pumped_m3, 1.0)
        allowed += 2.0 * strength * CURVED_S * math.sqrt(switches)
    for n in range(len(names)):
        volume = math.fsum(row.volume_m3 for row in trace.runs if row.machine == n)
        assert volume == pytest.approx(answer.volumes_m3[n], abs=allowed), names[n]
    assert len(trace.spills) == len(answer.spills)
    for mine, other in zip(trace.spills, answer.spills, strict=True):
        assert mine.start_s == pytest.approx(other.start_s, abs=base + worst)
        assert mine.stop_s == pytest.approx(other.stop_s, abs=base + worst)
        # over a weir the knots keep its mean flow to 5e-4 before the mean is taken out
        rel = 2e-4 if is_curved(station) else 1e-9
        assert mine.volume_m3 == pytest.approx(other.volume_m3, rel=rel, abs=allowed)
    return Compared(len(theirs), cut=False)


def compare_drawn(station: Station, episode: Episode, trace: Trace, answer: Answer) -> None:
    """Compare an example of hypothesis; it counts only when enough of it was compared.

    How many are cut shows with ``--hypothesis-show-statistics``.
    """
    compared = compare(station, episode, trace, answer)
    assume(compared.events >= LEAST_EVENTS)
    event("cut at a stall" if compared.cut else "compared to the end")
    for told in {(row.event, row.cause) for row in trace.events} & WORTH_COUNTING:
        event(": ".join(told))
    tens = min(compared.events // 10, 9) * 10
    event(f"{max(tens, LEAST_EVENTS)} or more events compared")


def shortened(episode: Episode, most_s: float) -> Episode:
    """Return the first part of an episode."""
    return dataclasses.replace(episode, duration_s=min(episode.duration_s, most_s))


# how much of each case is compared: until its story is told, or a few hundred events
MOST_S = {
    "short-cycles": 4 * 3600.0,
    "tapered-floor": 36_000.0,
    "outage-with-engine-pump": 130_000.0,
    "mill-reach-rain": 40_000.0,
}


@pytest.mark.parametrize("name", NAMES)
def test_neutral_case_agrees_with_the_oracle(name: str) -> None:
    station, episode, _expected = read(name)
    episode = shortened(episode, MOST_S.get(name, 86_400.0))
    trace, answer = both(station, episode)
    compared = compare(station, episode, trace, answer)
    assert compared.events > 20
    assert not compared.cut


def test_there_are_shipped_scenarios_to_compare() -> None:
    assert len(TOMLS) >= 11
    assert {path.stem for path in SCENARIOS.glob("*.toml")} >= set(BEYOND)


@pytest.mark.parametrize("path", TOMLS, ids=lambda path: path.stem)
def test_shipped_scenario_agrees_with_the_oracle(path: Path) -> None:
    from stationsim.scenario.load import load_scenario

    station, episode = load_scenario(path)
    # people act by scripted events; tests/people hold them against the same events by script
    episode = replace(shortened(episode, MOST_S.get(path.stem, 86_400.0)), response=None)
    trace, answer = both(station, episode)
    compared = compare(station, episode, trace, answer)
    assert compared.events >= LEAST_EVENTS
    assert not compared.cut


@pytest.mark.parametrize(
    ("sets", "events"),
    [
        (('backup_floats.frozen_after="1 d"',), ()),
        ((), ("01:00 level signal lost for 6 h",)),
        (('inflow.infiltration.flow="22 L/s"',), ("03:10 level signal lost for 3 h",)),
        (('event.ice.at="day 1 02:00"', 'event.ice.for="100 s"'), ("14:00 grid loss for 10 min",)),
        (('event.ice.at="day 1 05:08"',), ("day 1 09:30 grid loss for 5 min",)),
        (('backup_floats.rotation="each cycle"',), ("01:00 level signal lost for 11 h",)),
    ],
    ids=["wavering", "lost", "lag by a float", "short freeze", "grid loss on floats", "in turn"],
)
def test_level_signal_that_fails_agrees_with_the_oracle(
    sets: tuple[str, ...], events: tuple[str, ...]
) -> None:
    from stationsim.scenario.load import load_scenario

    path = SCENARIOS / "sallow-green.toml"
    station, episode = load_scenario(path, sets=sets, events=events)
    episode = shortened(episode, 43_200.0)
    trace, answer = both(station, episode)
    told = {row.event for row in trace.events}
    assert ("level signal distrusted" in told) == ("ice.for" not in "".join(sets))
    compared = compare(station, episode, trace, answer)
    assert compared.events > 20
    assert not compared.cut


def water_troubles(*, curved: bool) -> list[ScriptedEvent]:
    """Return a day on which valves and the main fail, one after the other and together."""
    hour = 3600.0
    what: list[tuple[float, EventKind, str, float, dict[str, float]]] = [
        (0.1, "check valve open", "P2", 3.0, {"amount": 0.4}),
        (1.0, "main leak", "force main", 9.0, {"amount": 0.1}),
        (2.0, "main plugged", "force main", 1.5, {"flow_left": 0.7}),
        (4.0, "check valve open", "P1", 3.0, {"amount": 0.25}),
        (5.0, "clogged", "P2", 3.0, {"flow_left": 0.8}),
        (6.0, "main plugged", "force main", 0.2, {"flow_left": 0.0}),
        (6.5, "check valve open", "P2", 2.0, {"amount": 0.2}),
    ]
    if curved:
        what += [
            (2.5, "main air", "force main", 2.0, {"amount": 1.5}),
            (5.5, "main broken", "force main", 2.0, {"amount": 0.6}),
        ]
    return [
        ScriptedEvent(at * hour + 0.37, kind, subject, lasts * hour, **more)
        for at, kind, subject, lasts, more in what
    ]


@pytest.mark.parametrize("water_m3", [0.0, 2.0, 40.0])
@pytest.mark.parametrize("inflow_m3s", [0.004, 0.013])
@pytest.mark.parametrize("three", [False, True])
def test_water_that_runs_back_agrees_with_the_oracle(
    water_m3: float, inflow_m3s: float, three: bool
) -> None:
    make = triplex if three else duplex
    flows = (0.03, 0.026, 0.022) if three else (0.03, 0.026)
    station = make(flows, main_water_m3=water_m3)
    what = flow_episode(9 * 3600.0, inflow_m3s, *water_troubles(curved=False))
    trace, answer = both(station, what)
    compared = compare(station, what, trace, answer)
    assert compared.events >= 12
    assert not compared.cut
    assert trace.other_m3 < 0.0


@pytest.mark.parametrize(
    ("water_m3", "inflow_m3s", "hours"),
    [
        (2.0, 0.011, 1.2),
        pytest.param(2.0, 0.016, 9.0, marks=pytest.mark.slow),
        pytest.param(15.0, 0.011, 9.0, marks=pytest.mark.slow),
    ],
)
def test_troubled_main_with_curves_agrees_with_the_oracle(
    water_m3: float, inflow_m3s: float, hours: float
) -> None:
    one = HeadCurve.from_points((0.0, 0.03, 0.06, 0.09), (26.0, 23.0, 17.0, 8.0))
    two = HeadCurve.from_coefficients(22.0, -10.0, -1800.0)
    branch = Pipe(12.0, 0.15, c_factor=120.0, fittings_k=4.0)
    station = dataclasses.replace(
        duplex(),
        pumps=(PumpUnit("P1", curve=one, branch=branch), PumpUnit("P2", curve=two, branch=branch)),
        force_main=ForceMain((Pipe(600.0, 0.25, c_factor=110.0, fittings_k=8.0),), 12.0),
        main_water_m3=water_m3,
    )
    what = flow_episode(hours * 3600.0, inflow_m3s, *water_troubles(curved=True))
    trace, answer = both(station, what)
    compared = compare(station, what, trace, answer)
    assert compared.events >= (20 if hours > 2.0 else 4)
    assert not compared.cut
    assert trace.other_m3 < 0.0


@pytest.mark.parametrize("inflow_m3s", [0.012, 0.055, 0.08])
@pytest.mark.parametrize("curved", [False, True])
def test_a_bypass_pump_agrees_with_the_oracle(inflow_m3s: float, *, curved: bool) -> None:
    one = HeadCurve.from_points((0.0, 0.03, 0.06, 0.09), (26.0, 23.0, 17.0, 8.0))
    bypass = bypass_pump(
        0.035, start_level_m=2.3, stop_level_m=0.8, crank_s=7.0, crank_tries=2, crank_rest_s=9.0,
        warm_up_s=11.0, prime_s=21.0,
    )  # fmt: skip
    station = duplex(bypass_pump=bypass)
    if curved:
        station = dataclasses.replace(
            station,
            pumps=(PumpUnit("P1", curve=one), PumpUnit("P2", curve=one)),
            force_main=ForceMain((Pipe(600.0, 0.25, c_factor=110.0, fittings_k=8.0),), 12.0),
            bypass_pump=dataclasses.replace(
                bypass, pump=PumpUnit("B1", curve=one, speed_ratio=0.9)
            ),
        )
    what: list[tuple[float, EventKind, str, float | None]] = [
        (0.21, "grid loss", "grid", 4000.0),
        (1500.3, "bypass pump connected", "bypass pump", None),
        (3000.7, "out of service", "P1", 9000.0),
        (6000.1, "fails to start", "B1", 12.5 * 60.0),
        (9000.9, "grid loss", "grid", 700.0),
        (11000.4, "bypass pump disconnected", "bypass pump", None),
        (12000.8, "bypass pump connected", "bypass pump", None),
        (14000.6, "fails", "B1", 300.0),
    ]
    events = [ScriptedEvent(*one) for one in what]
    episode = flow_episode(5 * 3600.0, inflow_m3s, *events)
    trace, answer = both(station, episode)
    assert not answer.fragile
    compared = compare(station, episode, trace, answer)
    assert not compared.cut
    assert "bypass" in {row.role for row in trace.runs}


@pytest.mark.parametrize("inflow_m3s", [0.012, 0.055])
@pytest.mark.parametrize("curved", [False, True])
def test_tankers_agree_with_the_oracle(inflow_m3s: float, *, curved: bool) -> None:
    station = duplex()
    if curved:
        one = HeadCurve.from_points((0.0, 0.03, 0.06, 0.09), (26.0, 23.0, 17.0, 8.0))
        station = dataclasses.replace(
            station,
            pumps=(PumpUnit("P1", curve=one), PumpUnit("P2", curve=one)),
            force_main=ForceMain((Pipe(600.0, 0.25, c_factor=110.0, fittings_k=8.0),), 12.0),
        )
    loads = [(900.3, 8.0, 700.0), (2000.1, 5.0, 900.0), (2400.7, 6.0, 480.0), (5100.9, 7.0, 600.0)]
    events = [
        ScriptedEvent(at_s, "tanker takes", "tanker", amount=m3, per_s=per_s)
        for at_s, m3, per_s in loads
    ]
    events.append(ScriptedEvent(4900.2, "grid loss", "grid", 900.0))
    episode = flow_episode(3 * 3600.0, inflow_m3s, *events)
    trace, answer = both(station, episode)
    compared = compare(station, episode, trace, answer)
    assert compared.events >= 8
    assert not compared.cut
    assert trace.hauled_m3 == pytest.approx(26.0, abs=1e-9)


@pytest.mark.timeout(300 * PLENTY)
@given(runs())
@FAST
def test_constant_flow_station_agrees_to_a_millisecond(run: tuple[Station, Episode]) -> None:
    trace, answer = both(*run, DRAWN_FLOW)
    assume(not answer.fragile)
    compare_drawn(*run, trace, answer)


@pytest.mark.timeout(300 * PLENTY)
@given(runs(curved=True, hours=4.0))
@CURVED
def test_curved_station_agrees_within_the_fineness_of_bands(run: tuple[Station, Episode]) -> None:
    trace, answer = both(*run, DRAWN_FLOW)
    assume(not answer.fragile)
    assume(trace.greatest_level_m <= top_level(run[0]))  # above it the last band goes on straight
    compare_drawn(*run, trace, answer)


@pytest.mark.slow
@pytest.mark.timeout(3600 * PLENTY)
@given(runs(hours=24.0))
@SLOW
def test_constant_flow_station_agrees_over_a_day(run: tuple[Station, Episode]) -> None:
    trace, answer = both(*run, DRAWN_FLOW)
    assume(not answer.fragile)
    compare_drawn(*run, trace, answer)


@pytest.mark.slow
@pytest.mark.timeout(3600 * PLENTY)
@given(runs(curved=True, hours=12.0))
@settings(SLOW, max_examples=100 * PLENTY)
def test_curved_station_agrees_over_half_a_day(run: tuple[Station, Episode]) -> None:
    trace, answer = both(*run, DRAWN_FLOW)
    assume(not answer.fragile)
    assume(trace.greatest_level_m <= top_level(run[0]))
    compare_drawn(*run, trace, answer)


def test_oracle_keeps_to_the_flows_themselves_where_no_polynomial_will_do() -> None:
    def flows(z: float) -> list[float]:
        return [abs(z - 0.1303), math.exp(-z), 0.01 if z < 0.2 else 0.02]

    cell = Cell(flows, 0.0, 0.25, HALVINGS)
    for n in range(1, 1000):
        z = 0.25 * n / 1000.0
        assert cell(z) == pytest.approx(flows(z), abs=1e-13)


def test_oracle_shares_no_code_with_the_simulation() -> None:
    files = sorted(Path(__file__).parent.glob("oracle*.py"))
    assert len(files) == 3
    for file in files:
        text = file.read_text(encoding="utf-8")
        lines = [x for x in text.splitlines() if x.lstrip().startswith(("import ", "from "))]
        assert lines
        assert not any("stationsim" in line for line in lines)

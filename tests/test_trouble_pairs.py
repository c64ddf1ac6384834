"""Any two troubles on one station: no error, water closes, rules hold, and all can be mended.

Every pair of the catalogue is tried in the slow tests, a fixed sample of them in the fast ones.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from itertools import pairwise

import numpy as np
import pytest
from everything import KINDS, day, event_of, everything, mended, subject_of
from test_invariants import overlap

from stationsim.episode import Episode
from stationsim.equipment.faults import BY_KIND, CATALOGUE
from stationsim.simulation.session import Session
from stationsim.simulation.trouble.conditions import SOUND_MAIN, SOUND_PUMP
from stationsim.station import Station
from stationsim.trace import Trace

INSTANT = 1e-6
PAIRS = tuple(itertools.combinations_with_replacement(KINDS, 2))
SAMPLE = tuple(PAIRS[n] for n in np.random.default_rng(5).permutation(len(PAIRS))[:70])

FIRST_S, SECOND_S, MENDED_S = 1500.0, 2100.0, 4500.0


def run(station: Station, what: Episode) -> tuple[Session, Trace]:
    session = Session(station, what)
    return session, session.finish().trace


def blocked_spans(trace: Trace, machine: int) -> list[tuple[float, float]]:
    return [(row.start_s, row.stop_s) for row in trace.unavailable if row.machine == machine]


def check_machines(station: Station, trace: Trace) -> None:
    """No two runs of one machine overlap; none runs while tripped, taken out or in off."""
    by_machine = defaultdict(list)
    for row in sorted(trace.runs, key=lambda row: (row.start_s, row.stop_s)):
        assert row.stop_s >= row.start_s
        assert row.volume_m3 >= -1e-9
        by_machine[row.machine].append(row)
    for machine, rows in by_machine.items():
        for one, two in pairwise(rows):
            assert two.start_s >= one.stop_s - INSTANT
        if machine < len(station.pumps):
            for one in rows:
                for span in blocked_spans(trace, machine):
                    assert overlap((one.start_s, one.stop_s), span) <= INSTANT, (one, span)


def check_supply(station: Station, trace: Trace) -> None:
    """No electric pump runs while its busbar is dead."""
    dead = [
        (row.start_s, row.stop_s)
        for row in trace.power
        if row.source == "busbar" and row.state == "dead"
    ]
    for row in trace.runs:
        if row.machine < len(station.pumps):
            for span in dead:
                assert overlap((row.start_s, row.stop_s), span) <= INSTANT, (row, span)


def check_order(trace: Trace) -> None:
    times = [row.t_s for row in trace.events]
    assert times == sorted(times)
    for row in trace.alarms:
        assert not row.cleared_s < row.raised_s
    assert trace.balance_error <= 1e-9


def check_mended(session: Session) -> None:
    """After the crew has been there nothing is left of any trouble."""
    plant = session._plant
    pumps, main = plant.conditions.key
    assert all(condition == SOUND_PUMP for condition in pumps), pumps
    assert main == SOUND_MAIN
    assert all(machine.able for machine in plant.machines), [m.blocks for m in plant.machines]
    assert plant.powered
    assert plant.signal.right


def check_pair(one: str, two: str, *, curved: bool) -> None:
    station = everything(curved=curved)
    events = (event_of(one, FIRST_S), event_of(two, SECOND_S))
    session, trace = run(station, day(*events, *mended(MENDED_S, station)))
    check_machines(station, trace)
    check_supply(station, trace)
    check_order(trace)
    check_mended(session)
    told = {row.t_s for row in trace.events}
    for kind, at_s in ((one, FIRST_S), (two, SECOND_S)):
        if BY_KIND[kind].trouble and (kind != two or one != two):
            assert at_s in told, f"{kind} must have happened"


@pytest.mark.parametrize(("one", "two"), SAMPLE)
def test_two_troubles_keep_the_rules_and_can_be_mended(one: str, two: str) -> None:
    check_pair(one, two, curved=False)


@pytest.mark.slow
@pytest.mark.parametrize("curved", [False, True])
@pytest.mark.parametrize(("one", "two"), PAIRS)
def test_every_two_troubles_keep_the_rules_and_can_be_mended(
    one: str,
    two: str,
    curved: bool,
) -> None:
    check_pair(one, two, curved=curved)


# ------------------------------------------------------------------ at one instant


def ordered(one: str, two: str) -> bool:
    """Return whether the order of two events at one instant is documented to count.

    A hand turns what it finds: of two on one selector the last counts, one that takes a pump into
    hand before it is held back lets it run on, and a reset or a crew mends only what has happened.
    A second trouble of one kind takes the place of the first.
    """
    hands = {"hand", "off", "auto"}
    mobile = {"mobile generator connected", "mobile generator disconnected"}
    bypass = {"bypass pump connected", "bypass pump disconnected"}
    if one == two or {one, two} & {"reset", "put right"}:
        return True
    if "hand" in (one, two) and "downstream dark" in (one, two):
        return True
    return {one, two} <= hands or {one, two} <= mobile or {one, two} <= bypass


DISORDERED = tuple(pair for pair in PAIRS if not ordered(*pair))
AT_ONCE = tuple(DISORDERED[n] for n in np.random.default_rng(7).permutation(len(DISORDERED))[:50])


def essence(trace: Trace) -> dict[str, object]:
    """Return what came of a run: of two causes at one instant the one named first is told."""

    def near(value: float) -> float:
        return round(value, 7)

    return {
        "runs": sorted(
            (row.machine, near(row.start_s), near(row.stop_s), near(row.volume_m3), row.role)
            for row in trace.runs
        ),
        "spills": [(near(row.start_s), near(row.stop_s)) for row in trace.spills],
        "power": sorted((row.source, row.state, near(row.start_s)) for row in trace.power),
        "alarms": sorted(
            (row.alarm, row.subject, near(row.raised_s), str(row.cleared_s)[:10])
            for row in trace.alarms
        ),
        "water": [
            near(value)
            for value in (trace.pumped_m3, trace.spilled_m3, trace.other_m3, trace.end_m3)
        ],
    }


def outcome(trace: Trace) -> tuple[object, ...]:
    return (
        trace.leg_t_s, trace.leg_v_m3, sorted(trace.runs), sorted(trace.spills),
        sorted(trace.power), sorted(repr(row) for row in trace.alarms),
        (trace.pumped_m3, trace.spilled_m3, trace.other_m3, trace.end_m3),
    )  # fmt: skip


def check_at_once(one: str, two: str) -> None:
    station = everything()
    events = event_of(one, FIRST_S), event_of(two, FIRST_S)
    _session, trace = run(station, day(*events, hours=1.5))
    _session, other = run(station, day(*reversed(events), hours=1.5))
    assert essence(trace) == essence(other)


STOPS_A_PUMP = ("off", "overload", "downstream dark")


@pytest.mark.parametrize(
    ("one", "two"), [*AT_ONCE, *(("check valve slow", kind) for kind in STOPS_A_PUMP)]
)
def test_the_order_of_two_troubles_at_one_instant_changes_nothing(one: str, two: str) -> None:
    check_at_once(one, two)


@pytest.mark.slow
@pytest.mark.parametrize(("one", "two"), DISORDERED)
def test_the_order_of_any_two_troubles_at_one_instant_changes_nothing(one: str, two: str) -> None:
    check_at_once(one, two)


# ------------------------------------------------------------------ each by itself


def test_every_trouble_of_the_catalogue_has_exactly_one_handler() -> None:
    kinds = Session(everything(), day())._plant.trouble.kinds()
    assert sorted(kinds) == sorted(KINDS)


@pytest.mark.parametrize("kind", [k for k in KINDS if BY_KIND[k].trouble])
def test_a_trouble_shows_in_the_table_of_events_under_its_subject(kind: str) -> None:
    station = everything()
    _session, trace = run(station, day(event_of(kind, FIRST_S), hours=1.0))
    subject = subject_of(BY_KIND[kind])
    fell = [row for row in trace.events if row.t_s == FIRST_S]
    assert any(row.subject == subject for row in fell), (subject, fell)


@pytest.mark.parametrize("kind", KINDS)
def test_a_trouble_alone_leaves_a_run_that_can_be_frozen_and_resumed(kind: str) -> None:
    station = everything()
    what = day(event_of(kind, FIRST_S), hours=1.2)
    _session, whole = run(station, what)
    session = Session(station, what)
    frozen = 0
    for at_s in (FIRST_S + 10.0, FIRST_S + 900.0, FIRST_S + 1600.0):
        session.advance(at_s)
        if session._plant.open_stories == 0:
            session = Session.resume(session.freeze())
            frozen += 1
    assert frozen == 3
    assert outcome(session.finish().trace) == outcome(whole)


def test_the_sample_of_pairs_meets_every_trouble() -> None:
    met = {kind for pair in (*SAMPLE, *AT_ONCE) for kind in pair}
    assert met == set(KINDS), set(KINDS) - met
    assert len(PAIRS) == len(CATALOGUE) * (len(CATALOGUE) + 1) // 2

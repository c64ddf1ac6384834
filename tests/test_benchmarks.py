"""The benchmarks still run, and count what they should (timings are never asserted)."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from stationsim.equipment.faults import CATALOGUE
from stationsim.simulation.session import simulate
from stationsim.studies.drill import Drill

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

import acceptance_sheet
import armed_year
import check_stations
import drill_commands
import plan_hours
import station_year


def test_station_year_counts_the_same_starts_by_three_methods_over_two_days() -> None:
    when = station_year.episode(2)
    _took, trace = station_year.ours(station_year.station(curves=False), when)
    starts = len(trace.runs)
    assert 240 <= starts <= 320  # about 50,770 a year
    assert station_year.ivp(2) == starts
    # the loop of one-second steps acts up to a second late, and its cycles are that much longer
    assert abs(station_year.loop(2) - starts) <= 2


def test_station_year_closes_its_balance_with_curves_over_two_days() -> None:
    _took, trace = station_year.ours(station_year.station(curves=True), station_year.episode(2))
    assert len(trace.runs) > 200
    assert trace.balance_error < 1e-9


def test_check_of_the_reference_station_tries_thirty_inflows_and_asks_forty_things() -> None:
    took = check_stations.measure(check_stations.SCENARIOS / "reference-station.toml")
    # seven parts of the lead's flow and four of what the lag adds; then five on either side of the
    # worst of each, but for 30 L/s, at which one pump just holds the water
    assert (took.inflows, took.judged) == (11 + 2 * 2 * 5 - 1, 40)


def test_acceptance_of_the_reference_station_accepts_what_it_expects() -> None:
    took = acceptance_sheet.measure(acceptance_sheet.SCENARIOS / "reference-station.toml")
    # of 44 readings six currents are baselines, and the drop and three falls are no verdicts of
    # their own; three flows by drawdown, and the meter against each, are
    assert (took.readings, took.passed) == (44, 44 - 6 - 4 + 6)


def test_armed_year_arms_what_can_befall_its_station_and_some_of_it_comes_within_days() -> None:
    entries = {entry.kind for entry in CATALOGUE if entry.trouble}
    assert set(armed_year.RATES) == entries - armed_year.SCANNED
    what, plain = armed_year.station(curves=False), armed_year.visited(6)
    when = armed_year.armed(what, plain)
    # all but what needs an engine, a generator, a curve
    absent = {"fails to prime", "battery flat", "transfer switch stuck", "main air", "main broken"}
    absent |= {"generator fails", "generator fails to start", "generator late"}
    kinds = {event.kind for fault in when.random for event in fault.events}
    assert kinds == entries - armed_year.SCANNED - absent
    # sixty times as often, so that a few days hold what a year does
    often = tuple(replace(fault, rate=min(60.0 * fault.rate, 0.5)) for fault in when.random)
    _took, trace = station_year.ours(what, replace(when, random=often))
    counts = armed_year.came(when, trace)
    assert sum(counts.values()) > 40
    assert len(counts) > 12
    assert trace.balance_error < 1e-9


def test_a_plan_of_one_crew_rehearses_every_hour_and_leaves_seven_things_out_at_each() -> None:
    found, _took = plan_hours.measure("one crew", plan_hours.chain(), plan_hours.station())
    # one source and the whole plan at three paces; eight steps; a step, three delays and three
    # mishaps; the rule at three paces
    rows = (found.sources, found.steps, found.left_out, found.allowed)
    assert [len(one) for one in rows] == [24 * n for n in (2 * 3, 8, 1 + 3 + 3, 3)]


def test_drill_commands_arms_all_and_a_drill_asks_the_plant_no_more_than_a_run() -> None:
    what, when = drill_commands.night()
    armed = {event.kind for fault in when.random for event in fault.events}
    entries = {entry.kind for entry in CATALOGUE if entry.trouble}
    assert armed | set(drill_commands.SCANNED) == entries
    plain = simulate(what, replace(when, response=None)).trace
    assert len(armed_year.came(when, plain)) > 12
    drill = Drill(what, when)
    while not drill.over:
        drill.type("wait")
    trace = drill.finish().trace
    assert (trace.decisions, len(trace.leg_t_s)) == (plain.decisions, len(plain.leg_t_s))
    found = drill_commands.measure(120)
    assert len(found.each_s) == 120
    assert found.drill.finish().trace.balance_error < 1e-9

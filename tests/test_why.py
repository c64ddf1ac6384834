"""Why a machine ran or did not: each answer on a station small enough to be worked out by hand.

The tank has 10 m2 and pumps of 30 L/s: 10 L/s more or less than is pumped is 1 mm/s of level. Stop
1.00 m, lead start 2.00 m, lag start 2.50 m, start of the run at 1.00 m on Monday 00:00. All moments
and levels are our own computation by hand, as the comments say.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from plug_ins import ScanSettings

from stationsim.control.backup import BackupSettings
from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.episode import EventKind, ScriptedEvent
from stationsim.errors import InputError
from stationsim.inflow.storm import Hydrograph
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import duplex, engine_pump, episode, triplex
from stationsim.why import Answer, answer, lines, watched

HOUR_S = 3600.0


def at(t_s: float, kind: EventKind, subject: str, *more: Any) -> ScriptedEvent:
    return ScriptedEvent(t_s, kind, subject, *more)


def ask(
    station: Station,
    inflow: Any,
    t_s: float,
    pump: str,
    *events: ScriptedEvent,
    hours: float = 3.0,
    system: str = "si",
) -> Answer:
    """Return the answer for one machine."""
    seen = watched(station, episode(hours * HOUR_S, inflow, *events))
    (found,) = answer(seen, t_s, pump, system)
    assert found.machine == pump
    assert found.verdict.startswith(f"{pump} ")
    for sentence in (found.verdict, *found.more):
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert "nan" not in sentence
        assert "inf" not in sentence.replace("information", "")
    return found


def starting_slowly(wait_s: float) -> Station:
    base = duplex()
    pumps = tuple(dataclasses.replace(pump, fail_to_start_s=wait_s) for pump in base.pumps)
    return dataclasses.replace(base, pumps=pumps)


def with_floats(**changes: Any) -> Station:
    floats = BackupSettings(**({"start_m": 2.8, "stop_m": 0.6, "lag_delay_s": 60.0} | changes))
    return duplex(backup_floats=floats)


def with_engine(**changes: Any) -> Station:
    return duplex(engine_pump=engine_pump(**changes))


# ---------------------------------------------------------------------- it ran


def test_it_ran_since_when_as_what_called_by_what_and_what_stopped_it() -> None:
    # 15 L/s: 10 m3 fill in 666.7 s; drawn down by 15 L/s in as many
    found = ask(duplex(), 0.015, 1000.0, "P1")
    assert found.verdict == (
        "P1 ran as lead (duty), since Mon 00:11:07: level at lead start 2.00 m."
    )
    assert found.more == ["At Mon 00:22:13, after 11 min, stopped by: level at stop 1.00 m."]


def test_it_ran_to_the_end_of_the_run() -> None:
    found = ask(duplex(), 0.015, 1000.0, "P1", hours=0.3)  # the end is at 1080 s
    assert found.more == ["It ran on to the end of the run (7 min)."]


def test_in_hand() -> None:
    found = ask(duplex(), 0.01, 4000.0, "P2", at(100.0, "hand", "P2"))
    assert found.verdict == "P2 ran in hand, since Mon 00:01:40: selector in hand."
    assert "a person ran it, whatever the level" in found.more[0]


def test_in_hand_but_resting_after_a_stop() -> None:
    # P1 runs from 666.7 s to 1333.3 s and rests 900 s: to 2233.3 s
    station = duplex(min_off_s=900.0)
    found = ask(station, 0.015, 1500.0, "P1", at(1400.0, "hand", "P1"))
    assert found.verdict == (
        "P1 did not run: its selector stood in hand since Mon 00:23:20, but it had to rest 15 min"
        " after its stop, until Mon 00:37:13 (12 min more)."
    )


# ---------------------------------------------------------------------- the level


def test_start_level_not_reached_says_by_how_much_and_when_it_peaked() -> None:
    # 29.9 L/s: full after 10 / 0.0299 = 334.4 s, and then it falls, slowly: the peak is 2.00 m
    found = ask(duplex(), 0.0299, 3000.0, "P2")
    assert found.verdict == (
        "P2 did not start: it was lag (assist) behind P1, which had the lead from the start, and"
        " the level peaked at 2.00 m (Mon 00:05:34), 50 cm below its lag start, 2.50 m."
    )
    assert found.more[1:] == [
        "It had not run before.",
        "It did not start again before the end of the run.",
    ]


def test_levels_are_said_as_the_station_says_them_and_in_its_units() -> None:
    station = dataclasses.replace(duplex(), levels_shown="elevation", floor_elevation_m=100.0)
    found = ask(station, 0.0299, 3000.0, "P2", system="us")
    # 102 m and 102.5 m are 334.65 ft and 336.29 ft; 0.5 m is 19.7 in
    assert "peaked at elevation 334.65 ft" in found.verdict
    assert "19.7 in below its lag start, elevation 336.29 ft" in found.verdict
    below = dataclasses.replace(duplex(), levels_shown="below cover", cover_m=5.0)
    ran = ask(below, 0.015, 1000.0, "P1")
    assert ran.verdict.endswith("level at lead start 3.00 m below the cover.")


def test_standby_this_cycle_says_who_leads_and_since_when() -> None:
    # P1 has led from 666.7 s to 1333.3 s; then the lead goes on: P2 leads, P3 lag, P1 standby
    found = ask(triplex(), 0.015, 2100.0, "P1")
    assert found.verdict == (
        "P1 did not start: it was standby (reserve) behind P2, which had the lead since"
        " Mon 00:22:13, and the level peaked at 2.00 m (Mon 00:33:20), 80 cm below its standby"
        " start, 2.80 m."
    )
    assert "the lead changes at each stop of all pumps" in found.more[0]
    assert found.more[1].startswith("Last run: as lead from Mon 00:11:07 to 00:22:13 (11 min)")


def test_a_pump_that_cannot_lead_is_passed_over() -> None:
    # 15 L/s: 666.7 s to fill and as long to draw down. P3 is off: P1 leads from 0 s, P2 from
    # 1333.3 s, then it would be P3's turn, from 2666.7 s: P1 leads, and P2 stands behind it
    off = at(30.0, "off", "P3")
    found = ask(triplex(), 0.015, 3000.0, "P2", off)
    assert found.verdict.startswith(
        "P2 did not start: it was lag (assist) behind P1, which had the lead since Mon 00:44:27 in"
        " place of P3 (selector in off), and the level stood at 1.50 m, 1.00 m below its lag start"
    )
    assert ask(triplex(), 0.015, 3000.0, "P1", off).verdict.endswith(
        "below its lead start, 2.00 m."
    )
    # fixed order: nobody always leads while the first is off, and only while it is
    fixed = triplex(rotation="fixed")
    away = at(30.0, "off", "P1", 300.0)
    behind = "behind P2, which had the lead since Mon 00:00:30 in place of P1 (selector in off),"
    assert behind in ask(fixed, 0.015, 100.0, "P3", away).verdict
    assert "behind P1, which always leads," in ask(fixed, 0.015, 400.0, "P3", away).verdict


def test_a_spare_pump_has_no_start_level_of_its_own() -> None:
    station = triplex(rotation="fixed", levels={"standby_start_m": None})
    found = ask(station, 0.015, 100.0, "P3")
    assert found.verdict == (
        "P3 did not run: it was spare: there are more pumps than start levels behind P1, which"
        " always leads."
    )


# 20 L/s: 2.00 m at 500 s, lead on at 560 s; a burst of 10 s from 600 s on brings 4.7 m3 net on top
# of 2.08 m: 2.55 m. It passes 2.50 m 1.06 s before 610 s; then 30 L/s draw 3 mm/s: 16.7 s
BURST = Hydrograph(0.0, (0, 600, 600, 610, 610, 7200), (0.02, 0.02, 0.5, 0.5, 0.0, 0.0))


def test_level_fell_again_before_the_start_delay_was_over() -> None:
    station = duplex(levels={"start_delay_s": 60.0})
    found = ask(station, BURST, 700.0, "P2")
    assert (
        "the level came to its lag start, 2.50 m, at Mon 00:10:09, peaked at 2.55 m and fell below"
        " it again after 18 s, before the start delay of 60 s was over." in found.verdict
    )


def test_start_delay_still_running() -> None:
    found = ask(duplex(levels={"start_delay_s": 60.0}), BURST, 620.0, "P2")
    assert found.verdict.endswith(
        "the level came to its lag start, 2.50 m, at Mon 00:10:09, and the start delay of 60 s ran"
        " until Mon 00:11:09 (49 s more)."
    )


# ---------------------------------------------------------------------- called, and waits


def test_waits_for_the_stagger() -> None:
    # 50 L/s: 2.00 m at 200 s, 2.01 m 5 s later; 300 s after the first start is 500 s
    found = ask(duplex(levels={"stagger_s": 300.0, "lag_start_m": 2.01}), 0.05, 300.0, "P2")
    assert found.verdict == (
        "P2 did not run yet: it was called as lag (assist), but P1 started at Mon 00:03:20 and the"
        " stagger of 5 min held it back until Mon 00:08:20 (3 min more)."
    )
    assert found.more[-1] == "Next start: Mon 00:08:20, as lag: level at lag start 2.01 m."


BROWN = {"restart_delay_s": 120.0, "restart_stagger_s": 30.0}


def test_waits_for_the_restart_delay_and_then_for_the_restart_stagger() -> None:
    cut = at(1500.0, "grid loss", "grid", 540.0)  # back at 2040 s = 00:34
    station = duplex(levels=BROWN)
    found = ask(station, 0.05, 2100.0, "P2", cut)
    assert found.verdict == (
        "P2 did not run yet: it was called as lead (duty), but the supply was back at Mon 00:34 and"
        " the restart delay of 2 min held it back until Mon 00:36 (60 s more)."
    )
    found = ask(station, 0.05, 2170.0, "P1", cut)
    assert "P2 started at Mon 00:36 and the stagger of 30 s held it back" in found.verdict
    assert "until Mon 00:36:30 (20 s more)" in found.verdict


def test_waits_for_its_minimum_off_time() -> None:
    # one pump; full again 666.7 s after its stop at 1333.3 s, and it must rest 900 s
    station = duplex((0.03,), levels={"lag_start_m": None}, min_off_s=900.0)
    found = ask(station, 0.015, 2100.0, "P1")
    assert found.verdict == (
        "P1 did not run yet: it was called as lead (duty), but its minimum off time of 15 min after"
        " its stop at Mon 00:22:13 was not over: it rested until Mon 00:37:13 (2 min more)."
    )
    assert found.more[0] == (
        "Start refused at Mon 00:33:20: call of the lead pump: minimum off time not over (P1 rests"
        " for 4 min more)."
    )


def test_waits_for_the_limit_of_its_starts_in_an_hour() -> None:
    # starts at 666.7 s and 2000 s; the third call at 3333.3 s; the first is an hour old at 4266.7 s
    levels = {"lag_start_m": None, "most_starts_per_hour": 2.0}
    found = ask(duplex((0.03,), levels=levels), 0.015, 4100.0, "P1")
    assert found.verdict == (
        "P1 did not run yet: it was called as lead (duty), but it had made 2 starts within an hour,"
        " its limit, and waited until Mon 01:11:07 (3 min more)."
    )
    assert "at its limit of starts in an hour" in found.more[0]


def test_another_one_was_started_in_its_place() -> None:
    # P1 always leads, but after its stop at 1333.3 s it rests 1500 s; the call comes at 2000 s
    station = duplex(rotation="fixed", min_off_s=1500.0)
    found = ask(station, 0.015, 2100.0, "P1")
    assert found.verdict == (
        "P1 did not run: P2 had been started in its place as lead at Mon 00:33:20, because P1 had"
        " to rest 25 min after its stop, and ran on."
    )
    assert found.more[0] == "It stood by as lag (assist): lag start 2.50 m."
    out = at(50.0, "out of service", "P1", 650.0)  # back at 700 s; P2 was called at 666.7 s
    found = ask(duplex(rotation="fixed"), 0.015, 1000.0, "P1", out)
    assert "because P1 could not be run then (out of service), and ran on." in found.verdict


# ---------------------------------------------------------------------- it could not


def test_out_of_service_since_when_and_who_gives_it_back() -> None:
    found = ask(duplex(), 0.01, 4000.0, "P2", at(1800.0, "out of service", "P2", 7200.0))
    assert found.verdict == "P2 did not run: it was out of service since Mon 00:30."
    assert found.more[0] == (
        "Whoever took it out gives it back when the work is done: back in service, work done at"
        " Mon 02:30."
    )


def test_off_and_tripped_are_both_told_and_only_a_person_turns_the_selector() -> None:
    hot = at(1500.0, "high temperature", "P2", 7200.0, True)
    found = ask(duplex(), 0.01, 4000.0, "P2", at(1800.0, "off", "P2"), hot)
    assert found.verdict == (
        "P2 did not run: it had tripped at Mon 00:25 (high temperature) and its selector stood in"
        " off since Mon 00:30."
    )
    assert found.more[0].startswith("Only a person can turn the selector back")
    assert found.more[1] == (
        "It is free again by itself when the condition is over: reset by itself at Mon 02:25."
    )


def test_a_trip_says_who_may_reset_it_and_which_reset_was_refused() -> None:
    hot = at(1200.0, "high temperature", "P1", 3000.0, False)  # P1 has run since 1000 s
    resets = at(1800.0, "reset", "P1"), at(5400.0, "reset", "P1")
    found = ask(duplex(), 0.01, 4000.0, "P1", hot, *resets)
    assert found.verdict == "P1 did not run: it had tripped at Mon 00:20 (high temperature)."
    assert found.more[:3] == [
        "A person has to reset it, once the condition is over: reset by hand at Mon 01:30.",
        "It ran as lead until then and was stopped by it.",
        "A reset at Mon 00:30 was refused: high temperature lasts.",
    ]
    assert "stopped by force: high temperature" in found.more[3]


def test_no_run_signal_what_the_panel_makes_of_it_and_what_no_panel_sees() -> None:
    sick = at(500.0, "fails to start", "P1")
    found = ask(starting_slowly(10.0), 0.01, 1003.0, "P1", sick)  # called at 1000 s
    assert found.verdict == (
        "P1 did not run: it was called as lead at Mon 00:16:40 and gave no run signal; the panel"
        " waited until Mon 00:16:50 (7 s more) before taking it for failed."
    )
    assert found.more[0] == (
        "In truth, which no panel sees, it would not have started from Mon 00:08:20 on."
    )
    found = ask(starting_slowly(10.0), 0.01, 1100.0, "P1", sick)
    assert found.verdict == "P1 did not run: it had tripped at Mon 00:16:50 (pump failed)."
    assert "the panel waited 10 s and took it for failed." in found.more[1]


def test_nobody_can_take_the_call_and_the_record_says_so() -> None:
    out = at(50.0, "out of service", "P1"), at(50.0, "off", "P2")
    station, happens = duplex(), episode(HOUR_S, 0.01, *out)
    (row,) = (r for r in simulate(station, happens).trace.events if r.event == "start refused")
    assert (row.t_s, row.subject) == (pytest.approx(1000.0), "station")
    assert row.cause == "call of the lead pump: no pump is ready"
    assert row.detail == "P1 out of service, P2 selector in off"
    (found,) = answer(watched(station, happens), 2000.0, "P1")
    assert (
        "Start refused at Mon 00:16:40: call of the lead pump: no pump is ready (P1 out of service,"
        " P2 selector in off)." in found.more
    )


def test_supply_lost() -> None:
    found = ask(duplex(), 0.015, 1200.0, "P1", at(900.0, "grid loss", "grid", 1800.0))
    assert found.verdict == (
        "P1 did not run: it needs the grid, which was out from Mon 00:15 to 00:45 (30 min)."
    )
    assert found.more[0] == "It ran as lead until the supply failed."
    assert "stopped by force: power lost" in found.more[1]


# ---------------------------------------------------------------------- by force, and swaps


def test_stopped_by_force_after_the_longest_run() -> None:
    # 30 L/s: full at 333.3 s, then the level stands; relieved 1800 s later, at 2133.3 s
    station = duplex(levels={"max_run_s": 1800.0})
    found = ask(station, 0.03, 3000.0, "P1")
    assert found.verdict == (
        "P1 did not run: it had been stopped by force at Mon 00:35:33, after its longest run of"
        " 30 min, and P2 had taken over as lead."
    )
    assert found.more[0] == "It stood by as lag (assist): lag start 2.50 m."
    ran = ask(station, 0.03, 3000.0, "P2")
    assert ran.verdict.endswith("since Mon 00:35:33: takes over from P1, maximum run time.")
    assert ran.more[-1].endswith("stopped by force: maximum run time, 30 min.")


def test_a_swap_that_was_skipped_says_why_in_the_answer_and_in_the_record() -> None:
    station, out = duplex(levels={"max_run_s": 1800.0}), at(100.0, "out of service", "P2")
    found = ask(station, 0.03, 3000.0, "P1", out)
    assert found.more[0] == (
        "At Mon 00:35:33 it had run for its longest time, 30 min, and the swap was skipped: no"
        " other pump is ready (P2 out of service)."
    )
    events = simulate(station, episode(HOUR_S, 0.03, out)).events
    row = events.loc[events["event"] == "swap skipped"].iloc[0]
    assert (row["subject"], row["cause"]) == ("P1", "no other pump is ready")
    assert row["detail"].startswith("P2 out of service; level ")


# ---------------------------------------------------------------------- the level signal


FROZEN = at(300.0, "level signal frozen", "level sensor")  # at 1.45 m, with 15 L/s


def test_what_the_panel_saw_is_told_beside_the_truth() -> None:
    found = ask(duplex(), 0.015, 1000.0, "P1", FROZEN)  # in truth 2.00 m at 666.7 s, now 2.50 m
    assert found.verdict == (
        "P1 did not start: the panel saw the level peak at 1.45 m (Mon 00:05), 55 cm below its lead"
        " start, 2.00 m."
    )
    assert found.more[0] == "In truth the level peaked at 2.50 m (Mon 00:16:40)."
    assert found.more[1] == "The panel saw 1.45 m; in truth the level was 2.50 m."
    lost = at(0.0, "level signal lost", "level sensor")
    found = ask(duplex(), 0.015, 1000.0, "P1", lost)
    assert found.verdict == "P1 did not start: the panel had no level signal."


def test_panel_on_its_backup_floats() -> None:
    # start float 2.80 m, covered at 1200 s: P1 on until 0.60 m, 2.20 m lower: 1466.7 s later
    found = ask(with_floats(), 0.015, 2000.0, "P1", FROZEN)
    assert found.verdict.endswith("since Mon 00:20: backup start float.")
    assert found.more[0] == "When it started the panel saw 1.45 m; in truth the level was 2.80 m."
    assert found.more[1].endswith("stopped by force at low level: backup stop float uncovered.")
    found = ask(with_floats(), 0.015, 3000.0, "P1", FROZEN)  # 333.3 s after 0.60 m: 1.10 m
    assert found.verdict == (
        "P1 did not run: the panel went by its backup floats, and the level peaked at 1.10 m"
        " (Mon 00:50), 1.70 m below the backup start float, 2.80 m."
    )
    assert found.more[0] == "It had done so since Mon 00:20: start float covered, signal 1.45 m."
    found = ask(with_floats(), 0.015, 2000.0, "P2", FROZEN)
    assert found.verdict == (
        "P2 did not run: the panel went by its backup floats, and when the start float was last"
        " covered, at Mon 00:20, they called P1; one more is called each time it stays covered for"
        " 60 s."
    )


def test_floats_start_one_pump_at_a_time() -> None:
    # frozen at 1.40 m after 100 s of 40 L/s; 2.80 m at 450 s; 10 L/s more than P1 pumps come in
    frozen = at(100.0, "level signal frozen", "level sensor")
    found = ask(with_floats(), 0.04, 470.0, "P2", frozen)
    assert found.verdict.endswith(
        "they start one pump at a time, the next when the start float has stayed covered for 60 s,"
        " until Mon 00:08:30 (40 s more)."
    )


# ---------------------------------------------------------------------- the engine-driven pump


CUT = at(700.0, "grid loss", "grid", 4000.0)
CRANKS = {"crank_tries": 3, "crank_s": 10.0, "crank_rest_s": 20.0}  # and 60 s before the first


def test_engine_start_rule_not_met() -> None:
    found = ask(with_engine(), 0.015, 500.0, "E1", CUT)
    assert found.verdict == "E1 did not run: the grid was on."
    # P1 runs from 666.7 s to 700 s: 1.95 m; 300 s later 2.40 m; the engine starts at 3.20 m
    found = ask(with_engine(), 0.015, 1000.0, "E1", CUT)
    assert found.verdict == (
        "E1 did not run: the grid was out since Mon 00:11:40, but the level stood at 2.40 m, 80 cm"
        " below its start level, 3.20 m."
    )
    assert found.more[0] == (
        "It starts by its own rule: the grid out, and the level at or above 3.20 m."
    )


def test_engine_still_cranking_then_running() -> None:
    # 30 L/s: 2.00 m at 333.3 s and steady; after 700 s 3 mm/s: 3.20 m at 1100 s, and 70 s to crank
    station = with_engine(**CRANKS)
    found = ask(station, 0.03, 1120.0, "E1", CUT)
    assert found.verdict == (
        "E1 did not run yet: it was called at Mon 00:18:20 (grid out, level at start 3.20 m) and"
        " was still starting."
    )
    assert found.more[-1].startswith("Next start: Mon 00:19:30, as engine-driven")
    found = ask(station, 0.03, 1300.0, "E1", CUT)
    assert found.verdict.startswith("E1 ran as engine-driven pump, since Mon 00:19:30")
    assert found.more[0] == "It was called at Mon 00:18:20 and pumped 70 s later."


def test_engine_cranked_in_vain() -> None:
    # tries at 1170 s, 1200 s and 1230 s
    sick = at(1.0, "fails to start", "E1")
    found = ask(with_engine(**CRANKS), 0.03, 1210.0, "E1", CUT, sick)
    assert found.verdict.endswith("was still starting (cranked in vain, 2 of 3 tries).")
    found = ask(with_engine(**CRANKS), 0.03, 2000.0, "E1", CUT, sick)
    assert found.verdict == (
        "E1 did not run: called at Mon 00:18:20, it cranked in vain (3 of 3 tries) and was failed"
        " at Mon 00:20:30."
    )
    assert found.more[0].startswith("A person has to reset it")


def test_engine_out_of_fuel_or_off() -> None:
    thirsty = with_engine(fuel_m3_per_s=1e-6, tank_m3=1e-4)  # 100 s of fuel, from 1160 s on
    found = ask(thirsty, 0.03, 2000.0, "E1", CUT)
    assert found.verdict == "E1 did not run: its tank was empty since Mon 00:21."
    assert found.more[0] == "Nobody refuelled it in this run."
    found = ask(thirsty, 0.03, 2000.0, "E1", CUT, at(2400.0, "refuelled", "E1"))
    assert found.verdict == "E1 did not run: its tank was empty since Mon 00:21."
    assert found.more[0] == "It was refuelled at Mon 00:40."
    found = ask(with_engine(), 0.03, 2000.0, "E1", CUT, at(600.0, "off", "E1"))
    assert found.verdict == "E1 did not run: its selector stood in off since Mon 00:10."


def test_engine_call_given_up_because_the_grid_came_back() -> None:
    back = at(700.0, "grid loss", "grid", 440.0)  # back at 1140 s, 40 s after the call
    found = ask(with_engine(**CRANKS), 0.03, 1120.0, "E1", back)
    assert any("It did not come to that: call given up: grid back" in one for one in found.more)


# ---------------------------------------------------------------------- the screen


def test_without_a_pump_there_is_a_short_answer_for_each_and_for_the_engine() -> None:
    seen = watched(with_engine(), episode(HOUR_S, 0.015, FROZEN))
    said = lines(seen, 1000.0)
    assert said[0] == "duplex, Mon 1 Mar 2027 00:16:40 (day 1)"
    assert said[1] == "Level 2.50 m, rising; 15.0 L/s arrived; no pump ran."
    assert said[2:4] == ["The panel saw 1.45 m.", ""]
    assert [one[:3] for one in said[4:] if not one.startswith(" ")] == ["P1 ", "P2 ", "E1 "]
    assert len(said) <= 24
    assert max(map(len, said)) <= 96


def test_somebody_who_looks_on_changes_no_bit_of_the_run() -> None:
    station = duplex(levels={"max_run_s": 1800.0, "start_delay_s": 5.0}, min_off_s=60.0)
    happens = episode(6 * HOUR_S, 0.031, at(5000.0, "grid loss", "grid", 600.0))
    seen, plain = watched(station, happens).result, simulate(station, happens)
    for name, table in plain.tables.items():
        assert seen.tables[name].equals(table), name


def test_every_moment_of_a_troubled_run_has_an_answer_for_everybody() -> None:
    station = with_engine(**CRANKS)
    station = dataclasses.replace(
        station, backup_floats=BackupSettings(start_m=2.8, stop_m=0.6, frozen_after_s=900.0)
    )
    trouble = (
        at(2000.0, "grid loss", "grid", 3000.0),
        at(6000.0, "level signal frozen", "level sensor", 4000.0),
        at(7000.0, "out of service", "P1", 2000.0),
        at(11000.0, "hand", "P2"),
        at(13000.0, "auto", "P2"),
        at(12000.0, "fails to start", "P1", 3000.0),
    )
    seen = watched(station, episode(6 * HOUR_S, 0.02, *trouble))
    moments = {0.0, 6 * HOUR_S, *(row.t_s for row in seen.result.trace.events)}
    moments |= {180.0 * n for n in range(120)}
    for t_s in sorted(moments):
        running = {seen.result.station.machine_names()[r.machine] for r in _over(seen, t_s)}
        for one in answer(seen, t_s):
            assert (" ran " in one.verdict.split(":")[0]) == (one.machine in running), (t_s, one)
            assert "not on record" not in one.verdict, (t_s, one.verdict)


def _over(seen: Any, t_s: float) -> list[Any]:
    end_s = seen.result.trace.end_s
    t_s = min(t_s, end_s - 1e-3)
    return [r for r in seen.result.trace.runs if r.start_s <= t_s + 1e-6 < r.stop_s]


@pytest.mark.parametrize(("t_s", "pump"), [(-1.0, ""), (3600.1, ""), (10.0, "P7"), (10.0, "E1")])
def test_a_moment_outside_the_run_or_a_pump_that_is_not_there(t_s: float, pump: str) -> None:
    seen = watched(duplex(), episode(HOUR_S, 0.01))
    with pytest.raises(InputError, match=r"--(at|pump): "):
        answer(seen, t_s, pump)


def test_a_controller_that_does_not_tell_its_mind_is_said_to_be_silent() -> None:
    plan = ControlPlan("plug_ins:Scanning", ScanSettings(), "fixed", NoSettings())
    found = ask(dataclasses.replace(duplex(), control=plan), 0.015, 100.0, "P1", hours=0.3)
    assert found.verdict == (
        "P1 did not run: the controller (plug_ins:Scanning) had given it no order to start, and why"
        " is not on record."
    )
    ran = ask(
        dataclasses.replace(duplex(), control=plan), 0.015, 700.0, "P1", hours=0.3
    )  # full at 666.7 s
    assert ran.verdict.startswith("P1 ran as lead (duty), since Mon 00:11:07")

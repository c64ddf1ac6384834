"""Why a pump did not start though its start level was reached; and moments at which things turn.

The tank of ``test_why``: 10 m2, pumps of 30 L/s, 10 L/s more or less are 1 mm/s of level. All
moments and levels are our own computation by hand, as the comments say.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from test_why import FROZEN, HOUR_S, ask, at, with_floats

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import SharesSettings
from stationsim.inflow.series import Recorded
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.why import watched
from stationsim.why.scene import Scene

STAGED = {"stop_policy": "last on, first off", "lag_stop_m": 2.2}
# from 1.00 m with 40 L/s: P1 on at 250 s, P2 at 2.50 m at 750 s; then 2 mm/s down to 2.20 m at
# 900 s; up again by 1 mm/s to 2.50 m at 1200 s; from 1600 s on, at 2.90 m, 2 mm/s down to 2.20 m
# at 1950 s
WAVE = Recorded([0.0, 1600.0, 3.0 * HOUR_S], [0.040, 0.010, 0.010], steps=True)


def staged(min_off_s: float = 0.0, **levels: Any) -> Station:
    return duplex(levels=STAGED | levels, rotation="fixed", min_off_s=min_off_s)


@pytest.mark.parametrize("delay_s", [0.0, 10.0])
def test_a_call_that_was_refused_and_then_withdrawn_was_no_short_peak(delay_s: float) -> None:
    station = staged(most_starts_per_hour=1.0, start_delay_s=delay_s)
    found = ask(station, WAVE, 2100.0, "P2")
    assert "before the start delay" not in found.verdict
    assert "not on record" not in found.verdict
    assert "it had made 1 start within an hour, its limit, until Mon 01:1" in found.verdict
    if delay_s:
        return
    assert found.verdict == (  # 750 + 3600 s is 01:12:30
        "P2 did not start: it was lag (assist) behind P1, which always leads, and it was called at"
        " Mon 00:20, but it had made 1 start within an hour, its limit, until Mon 01:12:30, and the"
        " level fell to its lag stop, 2.20 m, at Mon 00:32:30, before it could start."
    )
    assert found.more[0] == (
        "Start refused at Mon 00:20: call of the lag pump: resting, or at the starts-per-hour"
        " limit (P2 at its limit of starts in an hour for 52 min more)."
    )


def test_a_call_that_was_withdrawn_while_the_pump_still_rested() -> None:
    found = ask(staged(min_off_s=1200.0), WAVE, 2050.0, "P2")  # it rests to 900 + 1200 s
    assert (
        "it was called at Mon 00:20, but it had to rest 20 min after its stop, until Mon 00:35, and"
        " the level fell to its lag stop, 2.20 m, at Mon 00:32:30, before it could start."
        in found.verdict
    )
    assert "minimum off time not over" in found.more[0]


def test_a_call_that_was_withdrawn_during_the_stagger() -> None:
    # 90 L/s fill 1.00 m to 2.00 m in 111.1 s, then 6 mm/s: 2.50 m at 194.4 s, 2.53 m at 200 s; with
    # nothing more coming it falls by 3 mm/s, to 2.20 m at 311.1 s; the stagger runs to 411.1 s
    inflow = Recorded([0.0, 200.0, 3.0 * HOUR_S], [0.090, 0.0, 0.0], steps=True)
    found = ask(staged(stagger_s=300.0), inflow, 350.0, "P2")
    assert found.verdict.endswith(
        "it was called at Mon 00:03:14, but the stagger held it back until Mon 00:06:51, and the"
        " level fell to its lag stop, 2.20 m, at Mon 00:05:11, before it could start."
    )


def test_a_start_delay_that_was_not_over_twice_is_told_of_the_last_time() -> None:
    # 40 L/s: 2.00 m at 250 s, P1 on at 310 s and 2.24 m, then up by 1 mm/s: 2.50 m at 570 s, 2.53 m
    # at 600 s; down by 2 mm/s to 2.47 m at 630 s; up again: 2.50 m at 660 s, 2.52 m at 680 s; down:
    # 2.50 m at 690 s
    inflow = Recorded(
        [0.0, 600.0, 630.0, 680.0, 3.0 * HOUR_S], [0.040, 0.010, 0.040, 0.010, 0.010], steps=True
    )
    found = ask(duplex(levels={"start_delay_s": 60.0}), inflow, 750.0, "P2")
    assert (
        "the level came to its lag start, 2.50 m, at Mon 00:11 (the last of 2 times), peaked at"
        " 2.52 m and fell below it again after 30 s, before the start delay of 60 s was over."
        in found.verdict
    )


def test_the_limit_of_one_start_is_one_start() -> None:
    levels = {"lag_start_m": None, "most_starts_per_hour": 1.0}
    found = ask(duplex((0.03,), levels=levels), 0.015, 2100.0, "P1")
    assert "but it had made 1 start within an hour, its limit, and waited until" in found.verdict


def test_at_the_moment_when_a_frozen_signal_becomes_right_the_panel_sees_the_truth() -> None:
    # frozen at 1.45 m from 300 s to 600 s; 15 L/s: 1.90 m at 600 s
    frozen = at(300.0, FROZEN.kind, "level sensor", 300.0)
    found = ask(duplex(), 0.015, 600.0, "P1", frozen)
    assert found.verdict == (
        "P1 did not start: the level stood at 1.90 m, 10 cm below its lead start, 2.00 m."
    )
    # frozen at 1.95 m from 700 s to 1400 s, when it is 0.90 m: P1 stops there, P2 gets the lead
    frozen = at(700.0, FROZEN.kind, "level sensor", 700.0)
    found = ask(duplex(), 0.015, 1400.0, "P2", frozen)
    assert found.verdict == (
        "P2 did not run: the level stood at 0.90 m, 1.10 m below its lead start, 2.00 m."
    )
    scene = Scene(watched(duplex(), episode(HOUR_S, 0.015, frozen)), 1400.0, "si")
    assert scene.seen_peak(1400.0, 1400.0).level_m == pytest.approx(0.90, abs=1e-6)
    assert scene.seen_peak(1399.0, 1399.0).level_m == pytest.approx(1.95, abs=1e-6)


def test_shares_say_what_settles_who_leads() -> None:
    base = duplex()
    plan = ControlPlan("staging", base.control.settings, "shares", SharesSettings("60/40"))
    found = ask(dataclasses.replace(base, control=plan), 0.015, 300.0, "P1")
    assert found.more[0] == (
        "It had this part since the start; at each stop of all pumps the one furthest behind its"
        " share of the hours leads."
    )


def test_floats_without_a_delay_call_the_next_pump_at_once() -> None:
    # frozen at 1.40 m after 100 s of 40 L/s; the start float is covered at 2.80 m at 450 s
    frozen = at(100.0, FROZEN.kind, "level sensor")
    found = ask(with_floats(lag_delay_s=0.0), 0.04, 450.0, "P2", frozen)
    assert found.verdict == (
        "P2 did not run: the panel went by its backup floats; they start one pump at a time, the"
        " next one at once."
    )

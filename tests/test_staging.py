"""The staging controller on a hand-made panel: told and answering, with no simulation at all.

Roles, stop policies and delays as the trade knows them: common practice, no source. The rules that
practice leaves open are this project's own and stand in the docstring of
``stationsim.control.staging``.
"""

from __future__ import annotations

import math
import pickle
from typing import Any

import pytest

from stationsim.control.rotation import Clock, ClockSettings, EachCycle, Fixed, NoSettings, RunHours
from stationsim.control.staging import (
    ALL_TOGETHER,
    FIRST_ON_FIRST_OFF,
    LAST_ON_FIRST_OFF,
    Staging,
    StagingSettings,
)
from stationsim.signals import Decision, PumpSeen, Snapshot

STAGED_STOPS = {"lag_stop_m": 1.6, "second_lag_stop_m": 1.8, "standby_stop_m": 2.0}


class Panel:
    """A panel whose pumps do what they are told, and may be broken by hand."""

    def __init__(self, count: int = 3, rotation: Any = None, **settings: Any) -> None:
        levels = {
            "lead_start_m": 2.0,
            "stop_m": 1.0,
            "lag_start_m": 2.5,
            "standby_start_m": 3.0,
        } | settings
        self.controller = Staging(
            StagingSettings(**levels), rotation or EachCycle(NoSettings()), count
        )
        self.pumps = [
            PumpSeen(f"P{n + 1}", False, True, 0.0, 0, -math.inf, -math.inf, 0.0)
            for n in range(count)
        ]
        self.supply = True
        self.said = Decision()

    def at(self, now_s: float, level_m: float) -> list[str]:
        """Give the controller its turn; return its orders as words such as 'start P1 lead'."""
        seen = Snapshot(level_m, tuple(self.pumps), self.supply, now_s)
        self.said = self.controller.decide(now_s, seen)
        words = []
        for command in self.said.commands:
            pump = self.pumps[command.pump]
            words.append(f"{command.verb} {pump.name} {command.role}".strip())
            if command.verb == "start":
                assert pump.ready
                assert not pump.running
                self.pumps[command.pump] = pump._replace(
                    running=True, started_s=now_s, starts=pump.starts + 1
                )
            else:
                assert pump.running
                self.halt(command.pump, now_s)
        return words

    def halt(self, n: int, now_s: float) -> None:
        pump = self.pumps[n]
        ran = now_s - pump.started_s
        self.pumps[n] = pump._replace(running=False, stopped_s=now_s, hours_s=pump.hours_s + ran)

    def trip(self, n: int, now_s: float) -> None:
        if self.pumps[n].running:
            self.halt(n, now_s)
        self.pumps[n] = self.pumps[n]._replace(ready=False)

    def mend(self, n: int) -> None:
        self.pumps[n] = self.pumps[n]._replace(ready=True)

    def lose_supply(self, now_s: float) -> None:
        for n, pump in enumerate(self.pumps):
            if pump.running:
                self.halt(n, now_s)
        self.supply = False

    def rest(self, seconds: float) -> None:
        self.pumps = [pump._replace(min_off_s=seconds) for pump in self.pumps]

    @property
    def causes(self) -> list[str]:
        return [command.cause for command in self.said.commands]

    @property
    def running(self) -> list[str]:
        return [pump.name for pump in self.pumps if pump.running]


# ---------------------------------------------------------------------- by level


def test_lead_lag_and_standby_start_in_turn_as_the_level_rises() -> None:
    panel = Panel()
    assert panel.at(0.0, 1.5) == []
    assert panel.said.wake_at_levels_m == (2.0,)
    assert panel.said.wake_at_s == math.inf
    assert panel.at(10.0, 2.0) == ["start P1 lead"]
    assert panel.causes == ["level at lead start 2.00 m"]
    assert panel.said.wake_at_levels_m == (1.0, 2.5)
    assert panel.at(20.0, 2.5) == ["start P2 lag"]
    assert panel.causes == ["level at lag start 2.50 m"]
    assert panel.at(30.0, 3.0) == ["start P3 standby"]
    assert panel.causes == ["level at standby start 3.00 m"]
    assert panel.said.wake_at_levels_m == (1.0,)


def test_nothing_starts_below_the_start_level_or_stops_above_the_stop_level() -> None:
    panel = Panel()
    assert panel.at(0.0, math.nextafter(2.0, 0.0)) == []
    assert panel.at(1.0, 2.0) == ["start P1 lead"]
    assert panel.at(2.0, math.nextafter(1.0, 2.0)) == []
    assert panel.at(3.0, 1.0) == ["stop P1"]


def test_all_start_at_once_when_the_level_stands_high_at_first_sight() -> None:
    panel = Panel()
    assert panel.at(0.0, 3.4) == ["start P1 lead", "start P2 lag", "start P3 standby"]


def test_all_together_stops_every_pump_at_one_level_last_started_first() -> None:
    panel = Panel(stop_policy=ALL_TOGETHER, **STAGED_STOPS)
    panel.at(0.0, 3.4)
    assert panel.at(10.0, 1.6) == []
    assert panel.at(20.0, 1.0) == ["stop P3", "stop P2", "stop P1"]
    assert panel.causes == ["level at stop 1.00 m"] * 3
    assert panel.at(30.0, 2.0) == ["start P2 lead"]  # the lead of before went to the end


def test_last_on_first_off_stops_one_by_one_and_the_lead_stays() -> None:
    panel = Panel(stop_policy=LAST_ON_FIRST_OFF, **STAGED_STOPS)
    panel.at(0.0, 3.4)
    assert panel.said.wake_at_levels_m == (2.0,)
    assert panel.at(10.0, 2.0) == ["stop P3"]
    assert panel.causes == ["level at standby stop 2.00 m"]
    assert panel.said.wake_at_levels_m == (1.6, 3.0)
    assert panel.at(20.0, 1.6) == ["stop P2"]
    assert panel.causes == ["level at lag stop 1.60 m"]
    assert panel.at(30.0, 2.5) == ["start P2 lag"]  # no swap while the lead runs
    assert panel.at(40.0, 1.6) == ["stop P2"]
    assert panel.at(50.0, 1.0) == ["stop P1"]
    assert panel.causes == ["level at stop 1.00 m"]
    assert panel.at(60.0, 2.0) == ["start P2 lead"]


def test_first_on_first_off_stops_the_one_that_has_run_longest() -> None:
    panel = Panel(stop_policy=FIRST_ON_FIRST_OFF, **STAGED_STOPS)
    panel.at(0.0, 2.0)
    panel.at(5.0, 2.5)
    assert panel.running == ["P1", "P2"]
    assert panel.at(10.0, 1.6) == ["stop P1"]
    assert panel.causes == ["level at lag stop 1.60 m"]
    assert panel.at(20.0, 2.5) == ["start P1 lag"]
    assert panel.at(30.0, 1.6) == ["stop P2"]
    assert panel.at(40.0, 1.0) == ["stop P1"]


def test_a_jump_over_several_stop_levels_ends_all_their_calls() -> None:
    panel = Panel(stop_policy=LAST_ON_FIRST_OFF, **STAGED_STOPS)
    panel.at(0.0, 3.4)
    assert panel.at(10.0, 1.3) == ["stop P3", "stop P2"]
    assert panel.running == ["P1"]


def test_roles_beyond_lag_come_in_order_with_four_pumps() -> None:
    panel = Panel(4, second_lag_start_m=2.7, third_lag_start_m=2.8, standby_start_m=None)
    panel.at(0.0, 3.0)
    assert [command.role for command in panel.said.commands] == [
        "lead",
        "lag",
        "second lag",
        "third lag",
    ]


# ---------------------------------------------------------------------- delays and limits


def test_a_start_delay_holds_the_start_and_asks_for_its_own_turn() -> None:
    panel = Panel(start_delay_s=5.0)
    assert panel.at(100.0, 2.0) == []
    assert panel.said.wake_at_s == 105.0
    assert panel.at(105.0, 2.1) == ["start P1 lead"]
    assert panel.said.wake_at_s == math.inf


def test_a_start_delay_is_cancelled_when_the_level_falls_back() -> None:
    panel = Panel(start_delay_s=5.0)
    panel.at(100.0, 2.0)
    assert 2.0 in panel.said.wake_at_levels_m  # it must see the level come back
    assert panel.at(103.0, 2.0) == []  # back at the level, from above: the delay is off
    assert panel.said.wake_at_s == math.inf
    assert panel.at(105.0, 1.95) == []
    assert panel.at(200.0, 2.0) == []
    assert panel.at(205.0, 2.02) == ["start P1 lead"]


def test_start_delays_run_for_each_level_by_itself() -> None:
    panel = Panel(start_delay_s=5.0)
    panel.at(100.0, 2.0)
    assert panel.at(102.0, 2.5) == []
    assert panel.said.wake_at_s == 105.0
    assert panel.at(105.0, 2.6) == ["start P1 lead"]
    assert panel.said.wake_at_s == 107.0
    assert panel.at(107.0, 2.7) == ["start P2 lag"]


def test_a_stop_delay_holds_the_stop_and_is_cancelled_when_the_level_rises() -> None:
    panel = Panel(stop_delay_s=3.0)
    panel.at(0.0, 2.0)
    assert panel.at(100.0, 1.0) == []
    assert panel.said.wake_at_s == 103.0
    assert panel.at(102.0, 1.0) == []  # back at the level, from below
    assert panel.at(103.0, 1.01) == []
    assert panel.running == ["P1"]
    assert panel.at(200.0, 1.0) == []
    assert panel.at(203.0, 0.98) == ["stop P1"]


def test_stagger_spaces_the_starts() -> None:
    panel = Panel(stagger_s=10.0)
    assert panel.at(0.0, 3.4) == ["start P1 lead"]
    assert panel.said.wake_at_s == 10.0
    assert panel.at(4.0, 3.3) == []
    assert panel.said.wake_at_s == 10.0
    assert panel.at(10.0, 3.2) == ["start P2 lag"]
    assert panel.at(20.0, 3.1) == ["start P3 standby"]
    assert panel.said.wake_at_s == math.inf


def test_a_stagger_that_waits_is_dropped_when_the_call_ends() -> None:
    panel = Panel(stagger_s=10.0)
    panel.at(0.0, 2.5)
    assert panel.at(5.0, 1.0) == ["stop P1"]
    assert panel.at(10.0, 1.1) == []


def test_a_resting_pump_is_passed_over_for_one_that_has_rested() -> None:
    panel = Panel(2, rotation=Fixed(NoSettings()))
    panel.rest(60.0)
    panel.at(0.0, 2.0)
    panel.at(100.0, 1.0)
    assert panel.at(130.0, 2.0) == ["start P2 lead"]
    panel.at(140.0, 1.0)
    assert panel.at(160.0, 2.0) == ["start P1 lead"]  # rested for exactly 60 s


def test_a_start_waits_when_every_pump_rests_and_says_so_once() -> None:
    panel = Panel(2, rotation=Fixed(NoSettings()))
    panel.rest(60.0)
    panel.at(0.0, 2.5)
    assert panel.running == ["P1", "P2"]
    panel.at(100.0, 1.0)
    assert panel.at(110.0, 2.0) == []
    assert panel.said.wake_at_s == 160.0
    assert [(n.event, n.cause) for n in panel.said.notes] == [
        ("start refused", "call of the lead pump: minimum off time not over")
    ]
    assert panel.at(120.0, 2.1) == []
    assert panel.said.notes == ()
    assert panel.at(160.0, 2.2) == ["start P1 lead"]


# ---------------------------------------------------------------------- pumps that are out


def test_the_standby_takes_the_place_of_a_pump_that_is_out() -> None:
    panel = Panel()
    panel.trip(0, 0.0)
    assert panel.at(10.0, 2.0) == ["start P2 lead"]
    assert panel.at(20.0, 2.5) == ["start P3 lag"]
    assert panel.at(30.0, 3.0) == []
    assert [(n.event, n.cause) for n in panel.said.notes] == [
        ("start refused", "call of the standby pump: no pump is ready")
    ]
    panel.mend(0)
    assert panel.at(40.0, 3.1) == ["start P1 standby"]


def test_a_trip_in_mid_run_is_replaced_at_once_whatever_the_level() -> None:
    panel = Panel()
    panel.at(0.0, 2.0)
    panel.trip(0, 50.0)
    assert panel.at(50.0, 1.4) == ["start P2 lead"]  # between stop and start: the call stands
    assert panel.causes == ["takes the place of P1"]
    assert panel.at(90.0, 1.0) == ["stop P2"]


def test_a_pump_taken_in_hand_is_no_longer_the_controllers() -> None:
    panel = Panel(2)
    panel.at(0.0, 2.0)
    panel.pumps[0] = panel.pumps[0]._replace(ready=False)  # it runs on, by hand
    assert panel.at(10.0, 1.8) == ["start P2 lead"]
    assert panel.at(20.0, 1.0) == ["stop P2"]
    assert panel.running == ["P1"]


def test_a_trip_with_nobody_left_waits_for_the_reset() -> None:
    panel = Panel(1, lag_start_m=None, standby_start_m=None)
    panel.at(0.0, 2.0)
    panel.trip(0, 5.0)
    assert panel.at(5.0, 1.8) == []
    assert panel.said.notes[0].event == "start refused"
    panel.mend(0)
    assert panel.at(400.0, 2.6) == ["start P1 lead"]
    assert panel.causes == ["level at lead start 2.00 m"]


# ---------------------------------------------------------------------- supply


def test_without_supply_nothing_is_ordered_and_nothing_is_waited_for() -> None:
    panel = Panel()
    panel.at(0.0, 2.0)
    panel.lose_supply(10.0)
    assert panel.at(10.0, 1.8) == []
    assert panel.said == Decision()
    assert panel.at(500.0, 3.5) == []


def test_after_an_outage_the_level_decides_anew_and_the_cause_says_so() -> None:
    panel = Panel(stagger_s=10.0)
    panel.at(0.0, 2.0)
    panel.lose_supply(10.0)
    panel.at(10.0, 1.8)
    panel.supply = True
    assert panel.at(600.0, 2.6) == ["start P2 lead"]  # the rotation moved on with the power loss
    assert panel.causes == ["power back, level above lead start 2.00 m"]
    assert panel.at(610.0, 2.6) == ["start P3 lag"]
    panel.lose_supply(620.0)
    panel.at(620.0, 1.4)
    panel.supply = True
    assert panel.at(700.0, 1.4) == []  # the calls of before are forgotten


def test_an_outage_with_no_pump_running_does_not_move_the_rotation() -> None:
    panel = Panel()
    panel.at(0.0, 1.5)
    panel.lose_supply(10.0)
    panel.at(10.0, 1.5)
    panel.supply = True
    panel.at(20.0, 1.5)
    assert panel.at(30.0, 2.0) == ["start P1 lead"]


def test_start_delay_begins_anew_when_the_supply_is_back() -> None:
    panel = Panel(start_delay_s=5.0)
    panel.at(0.0, 2.2)
    panel.lose_supply(3.0)
    panel.at(3.0, 2.3)
    panel.supply = True
    assert panel.at(100.0, 2.3) == []
    assert panel.said.wake_at_s == 105.0
    assert panel.at(105.0, 2.3) == ["start P1 lead"]


# ---------------------------------------------------------------------- with a rotation


def test_run_hours_make_the_least_used_pump_lead_the_next_cycle() -> None:
    panel = Panel(3, rotation=RunHours(NoSettings()))
    panel.at(0.0, 2.0)
    panel.at(100.0, 1.0)
    assert panel.at(200.0, 2.0) == ["start P2 lead"]
    panel.at(250.0, 1.0)
    assert panel.at(300.0, 2.0) == ["start P3 lead"]
    panel.at(310.0, 1.0)
    assert panel.at(400.0, 2.0) == ["start P3 lead"]  # 10 s against 50 and 100


def test_a_clock_rotation_swaps_when_idle_and_waits_for_the_stop_when_not() -> None:
    panel = Panel(2, rotation=Clock(ClockSettings(every_s=1000.0)))
    panel.at(0.0, 1.5)
    assert panel.said.wake_at_s == 1000.0
    panel.at(1000.0, 1.6)
    assert panel.said.wake_at_s == 2000.0
    assert panel.at(1500.0, 2.0) == ["start P2 lead"]
    assert panel.said.wake_at_s == math.inf
    assert panel.at(2100.0, 1.0) == ["stop P2"]  # the change at 2000 s waited for this
    assert panel.said.wake_at_s == 3000.0
    assert panel.at(2500.0, 2.0) == ["start P1 lead"]


def test_a_clock_change_during_the_very_first_run_is_not_lost() -> None:
    panel = Panel(2, rotation=Clock(ClockSettings(every_s=1000.0)))
    assert panel.at(10.0, 2.0) == ["start P1 lead"]  # called at first sight, never idle before
    panel.at(1100.0, 1.0)
    assert panel.at(1500.0, 2.0) == ["start P2 lead"]


def test_a_turn_a_hair_before_a_delay_is_over_does_not_ask_for_the_same_instant_again() -> None:
    """Times closer than a microsecond are one instant, so such a wait would never end."""
    panel = Panel(start_delay_s=5.0, stagger_s=7.0)
    panel.at(100.0, 2.0)
    assert panel.at(105.0 - 5e-7, 2.6) == ["start P1 lead"]
    assert panel.at(112.0 - 8e-7, 2.7) == ["start P2 lag"]


def test_a_controller_pickled_in_mid_run_goes_on_as_the_original() -> None:
    panel = Panel(stop_policy=FIRST_ON_FIRST_OFF, start_delay_s=5.0, **STAGED_STOPS)
    for now, level in ((0.0, 2.0), (5.0, 2.2), (20.0, 2.5), (25.0, 2.6), (30.0, 2.5)):
        panel.at(now, level)
    twin = pickle.loads(pickle.dumps(panel))
    for now, level in ((40.0, 1.6), (50.0, 3.0), (55.0, 3.1), (60.0, 2.0), (70.0, 1.0)):
        assert twin.at(now, level) == panel.at(now, level)
        assert twin.said == panel.said


@pytest.mark.parametrize("policy", [ALL_TOGETHER, LAST_ON_FIRST_OFF, FIRST_ON_FIRST_OFF])
def test_a_stop_level_not_given_for_a_call_is_the_common_one(policy: str) -> None:
    settings = StagingSettings(lead_start_m=2.0, stop_m=1.0, lag_start_m=2.5, stop_policy=policy)
    assert settings.stages() == (("lead", 2.0, 1.0), ("lag", 2.5, 1.0))

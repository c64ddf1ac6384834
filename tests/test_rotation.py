"""Rotations on hand-made panels, with no simulation.

The rules are those of the trade (alternate at each stop, by run hours, by the clock, or not at
all): common practice, no source for the details; the details are this project's own and stand in
the docstrings of ``stationsim.control.rotation``.
"""

from __future__ import annotations

import math
import pickle
from typing import Any

import pytest

from stationsim.control.contract import rotation_class
from stationsim.control.rotation import (
    Clock,
    ClockSettings,
    EachCycle,
    Fixed,
    NoSettings,
    RunHours,
    Shares,
    SharesSettings,
    read_shares,
)
from stationsim.errors import PlugInError
from stationsim.signals import PumpSeen, Snapshot

HOUR_S = 3600.0
DAY_S = 24.0 * HOUR_S


def panel(hours_s: tuple[float, ...], clock_s: float = 0.0, running: int | None = None) -> Snapshot:
    """Return a panel with hour meters; the running pump started at 1000 s."""
    pumps = tuple(
        PumpSeen(f"P{n + 1}", n == running, True, hours, 0, 1000.0, 0.0, 0.0)
        for n, hours in enumerate(hours_s)
    )
    return Snapshot(1.0, pumps, True, clock_s)


def test_each_cycle_moves_the_lead_to_the_end() -> None:
    rotation = EachCycle(NoSettings())
    order: tuple[int, ...] = (0, 1, 2)
    seen = []
    for _ in range(4):
        order = rotation.order("all stopped", 0.0, panel((0.0, 0.0, 0.0)), order)
        seen.append(order)
    assert seen == [(1, 2, 0), (2, 0, 1), (0, 1, 2), (1, 2, 0)]
    assert rotation.next_time_s(0.0, panel((0.0,))) == math.inf


def test_fixed_keeps_the_order_on_every_occasion() -> None:
    rotation = Fixed(NoSettings())
    for occasion in ("all stopped", "power lost", "time"):
        assert rotation.order(occasion, 5.0, panel((9.0, 0.0)), (0, 1)) == (0, 1)
    assert rotation.next_time_s(5.0, panel((9.0, 0.0))) == math.inf


def test_run_hours_puts_the_fewest_hours_first_whatever_the_order_was() -> None:
    rotation = RunHours(NoSettings())
    assert rotation.order("all stopped", 0.0, panel((30.0, 10.0, 20.0)), (0, 1, 2)) == (1, 2, 0)
    assert rotation.order("all stopped", 0.0, panel((30.0, 10.0, 20.0)), (2, 0, 1)) == (1, 2, 0)


@pytest.mark.parametrize(
    ("difference_s", "leads"),
    [(0.0, 0), (0.0004, 0), (-0.0004, 0), (0.002, 1), (-0.002, 0)],
)
def test_run_hours_equal_within_a_millisecond_go_by_the_scenario(
    difference_s: float, leads: int
) -> None:
    rotation = RunHours(NoSettings())
    order = rotation.order("all stopped", 0.0, panel((500.0 + difference_s, 500.0)), (1, 0))
    assert order[0] == leads


def test_run_hours_count_the_run_that_is_just_ending() -> None:
    rotation = RunHours(NoSettings())
    # P1 has 0 s on its meter and has run since 1000 s: at 1100 s that is more than P2's 50 s
    assert rotation.order("all stopped", 1100.0, panel((0.0, 50.0), running=0), (0, 1)) == (1, 0)
    assert rotation.order("all stopped", 1040.0, panel((0.0, 50.0), running=0), (0, 1)) == (0, 1)


def test_clock_asks_for_its_next_set_time() -> None:
    rotation = Clock(ClockSettings(every_s=DAY_S, at_s=7.0 * HOUR_S))
    # the episode began at 06:00: 07:00 is an hour away, whatever the time of the run is
    assert rotation.next_time_s(0.0, panel((0.0, 0.0), 6.0 * HOUR_S)) == HOUR_S
    assert rotation.next_time_s(100.0, panel((0.0, 0.0), 6.0 * HOUR_S + 100.0)) == HOUR_S


def test_clock_moves_the_order_at_a_set_time_and_not_before() -> None:
    rotation = Clock(ClockSettings(every_s=DAY_S, at_s=7.0 * HOUR_S))
    rotation.next_time_s(0.0, panel((0.0, 0.0), 6.0 * HOUR_S))
    early = panel((0.0, 0.0), 6.5 * HOUR_S)
    assert rotation.order("all stopped", 0.5 * HOUR_S, early, (0, 1)) == (0, 1)
    due = panel((0.0, 0.0), 7.0 * HOUR_S)
    assert rotation.order("time", HOUR_S, due, (0, 1)) == (1, 0)
    assert rotation.order("all stopped", HOUR_S, due, (1, 0)) == (1, 0)
    assert rotation.next_time_s(HOUR_S, due) == 25.0 * HOUR_S


@pytest.mark.parametrize(("days", "order"), [(1, (1, 2, 0)), (2, (2, 0, 1)), (4, (1, 2, 0))])
def test_clock_moves_once_for_each_period_that_went_by_in_one_run(
    days: int, order: tuple[int, ...]
) -> None:
    rotation = Clock(ClockSettings(every_s=DAY_S))
    start = panel((0.0, 0.0, 0.0), 1.0)
    rotation.next_time_s(0.0, start)
    later = panel((0.0, 0.0, 0.0), 1.0 + days * DAY_S)
    assert rotation.order("all stopped", days * DAY_S, later, (0, 1, 2)) == order


def test_clock_counts_a_set_time_within_a_microsecond_as_gone() -> None:
    rotation = Clock(ClockSettings(every_s=DAY_S))
    rotation.next_time_s(0.0, panel((0.0, 0.0), 1.0))
    assert rotation.order("time", 0.0, panel((0.0, 0.0), DAY_S - 5e-7), (0, 1)) == (1, 0)


@pytest.mark.parametrize("name", ["each cycle", "run hours", "clock", "fixed"])
def test_a_rotation_is_a_permutation_and_survives_pickling(name: str) -> None:
    kind = rotation_class(name)
    settings: Any = kind.Settings(every_s=DAY_S) if name == "clock" else kind.Settings()
    rotation = kind(settings)
    rotation.next_time_s(0.0, panel((3.0, 1.0, 2.0)))
    again = pickle.loads(pickle.dumps(rotation))
    later = panel((3.0, 1.0, 2.0), 3.0 * DAY_S)
    ours = rotation.order("all stopped", 3.0 * DAY_S, later, (0, 1, 2))
    assert sorted(ours) == [0, 1, 2]
    assert again.order("all stopped", 3.0 * DAY_S, later, (0, 1, 2)) == ours


@pytest.mark.parametrize(
    ("text", "count", "parts"),
    [
        ("60/20/20", 3, (0.6, 0.2, 0.2)),
        ("3 / 1", 2, (0.75, 0.25)),
        ("80/20/0", 3, (0.8, 0.2, 0.0)),
        ("", 2, (0.6, 0.4)),
        ("", 3, (0.6, 0.2, 0.2)),
        ("", 1, (1.0,)),
    ],
)
def test_shares_are_read(text: str, count: int, parts: tuple[float, ...]) -> None:
    assert read_shares(text, count) == pytest.approx(parts)


@pytest.mark.parametrize("text", ["60/40", "60/20/x", "60/-20/60", "0/0/0", "60,20,20", "inf/1/1"])
def test_shares_that_cannot_be_are_refused(text: str) -> None:
    with pytest.raises(PlugInError, match="one for each pump, such as '60/20/20'"):
        read_shares(text, 3)


def test_shares_put_the_pump_first_that_is_furthest_behind_its_share() -> None:
    rotation = Shares(SharesSettings("60/30/10"))
    # hours over share: 10/0.6 = 16.7, 4/0.3 = 13.3, 2/0.1 = 20
    assert rotation.order("all stopped", 0.0, panel((10.0, 4.0, 2.0)), (0, 1, 2)) == (1, 0, 2)
    none = Shares(SharesSettings("50/0/50"))
    assert none.order("all stopped", 0.0, panel((90.0, 0.0, 80.0)), (0, 1, 2)) == (2, 0, 1)


def test_shares_come_out_in_a_run() -> None:
    """Where one pump is enough and they are alike, hours come out in the shares asked for."""
    from dataclasses import replace

    from stationsim.simulation.session import simulate
    from stationsim.testing import episode, staging, triplex

    levels = {"stop_m": 1.0, "lead_start_m": 2.0, "lag_start_m": 2.5, "standby_start_m": 2.8}
    plan = replace(staging("shares", **levels), rotation_settings=SharesSettings("60/30/10"))
    result = simulate(replace(triplex(), control=plan), episode(10 * DAY_S, 0.010))
    hours = result.pump_totals["hours_h"].to_numpy()
    assert hours / hours.sum() == pytest.approx([0.6, 0.3, 0.1], abs=0.002)

"""Level signal and floats in trouble: what is true, what the panel reads, and how it clears.

Two pumps of 30 L/s in a tank of 10 m2 (``stationsim.testing.duplex``): 10 L/s in raises the level
by 1 mm/s and one pump lowers it by 2 mm/s, so all times follow by hand. Common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from tank_runs import run, told

from stationsim.chance import Streams
from stationsim.control.backup import BackupSettings
from stationsim.episode import Episode, RandomFault, ScriptedEvent
from stationsim.plots import level_seen, levels
from stationsim.results import Result
from stationsim.simulation.session import Session, simulate
from stationsim.station import AlarmSettings
from stationsim.testing import duplex, episode
from stationsim.trace import Trace

ABS = 1e-6
FLOATS = BackupSettings(start_m=2.45, stop_m=0.45)


def signal(kind: str, at_s: float, for_s: float | None = None, **numbers: float) -> ScriptedEvent:
    return ScriptedEvent(at_s, f"level signal {kind}", "level sensor", for_s, **numbers)  # type: ignore[arg-type]


def floating(
    kind: str, at_s: float, which: str = "start", for_s: float | None = None, amount: float = 0.0
) -> ScriptedEvent:
    return ScriptedEvent(at_s, f"float {kind}", f"{which} float", for_s, amount=amount)  # type: ignore[arg-type]


def right(at_s: float, subject: str = "level sensor") -> ScriptedEvent:
    return ScriptedEvent(at_s, "put right", subject)


def seen(result: Result, *times_s: float) -> list[float]:
    """Return what the table of levels says the panel saw."""
    table = result.sample(0.5)
    found = table["t_s"].isin(times_s)
    return [float(x) for x in table.loc[found, "level_seen_m"]]


# ---------------------------------------------------------------------- frozen


def test_frozen_at_1_2_m_the_stop_float_acts_when_the_true_level_reaches_it() -> None:
    # from the lead start 2.0 m at 1000 s down to 1.2 m: 0.8 m x 10 m2 / 20 L/s = 400 s;
    # from there to the float at 0.45 m: 0.75 m x 10 m2 / 20 L/s = 375 s
    station = duplex(backup_floats=FLOATS)
    trace = run(signal("frozen", 1400.0), station=station).trace
    assert [row[1:] for row in trace.signal][1] == ("frozen", pytest.approx(1.2, abs=1e-9))
    first = trace.runs[0]
    assert first.stopped_by == "backup stop float"
    assert first.stop_s == pytest.approx(1000.0 + 400.0 + 375.0, abs=ABS)


def test_frozen_stands_at_what_it_showed_before_that_instant() -> None:
    for events in (
        (signal("off", 500.0, amount=0.3), signal("frozen", 500.0)),
        (signal("frozen", 500.0), signal("off", 500.0, amount=0.3)),
    ):
        assert seen(run(*events), 700.0) == pytest.approx([1.5])
    later = run(signal("off", 500.0, amount=0.3), signal("frozen", 600.0))
    assert seen(later, 700.0) == pytest.approx([1.6 + 0.3])


def test_of_frozen_and_lost_the_later_counts_and_at_one_instant_the_loss() -> None:
    both = (signal("lost", 500.0, 100.0), signal("frozen", 500.0, 50.0))
    for events in (both, both[::-1]):
        result = run(*events)
        assert math.isnan(seen(result, 560.0)[0])
        assert seen(result, 600.0) == pytest.approx([1.6])
    result = run(signal("lost", 500.0, 1000.0), signal("frozen", 600.0, 50.0))
    assert seen(result, 630.0, 660.0) == pytest.approx([1.6, 1.66])


# ---------------------------------------------------------------------- off


@pytest.mark.parametrize("off_m", [0.3, -0.3, 0.1 + 0.2, -1.0 / 3.0])
def test_off_the_pump_starts_and_stops_where_the_panel_reads_its_levels(off_m: float) -> None:
    turns: list[tuple[float, float]] = []

    class Onlooker:
        def __init__(self, inner: Any) -> None:
            self.inner = inner

        def decide(self, now_s: float, what: Any) -> Any:
            turns.append((now_s, what.level_m))
            return self.inner.decide(now_s, what)

    what = episode(6000.0, 0.01, signal("off", 0.0, amount=off_m), start_level_m=1.5)
    trace = Session(duplex(), what, observer=Onlooker).finish().trace
    # the panel reads 2.0 m at 2.0 m - off: 1 mm/s up from 1.5 m; then 1.0 m of water in 500 s
    first = trace.runs[0]
    assert first.start_s == pytest.approx((2.0 - off_m - 1.5) * 1000.0, abs=ABS)
    assert first.stop_s - first.start_s == pytest.approx(500.0, abs=ABS)
    read = dict(turns)
    assert read[first.start_s] == 2.0  # to the last digit: a start level asks for 'at or above'
    assert read[first.stop_s] == 1.0
    assert len(turns) < 30  # no scanning


def test_off_shows_in_table_why_and_events_and_clears_by_itself_or_on_site() -> None:
    result = run(signal("off", 500.0, 200.0, amount=0.2))
    assert seen(result, 499.5, 500.5, 699.5, 700.5) == pytest.approx(
        [1.4995, 1.7005, 1.8995, 1.7005]
    )
    assert told(result.trace, "level signal off", "level signal right") == [
        (500.0, "level signal off", "scripted"),
        (700.0, "level signal right", "by itself"),
    ]
    result = run(signal("off", 500.0, amount=0.2), right(900.0))
    assert told(result.trace, "level signal right") == [
        (900.0, "level signal right", "put right on site")
    ]
    assert result.trace.runs[0].start_s == pytest.approx(800.0, abs=ABS)


def test_a_renewed_one_takes_the_place_of_the_first_and_its_time_counts() -> None:
    result = run(signal("off", 100.0, 200.0, amount=0.2), signal("off", 200.0, 500.0, amount=-0.1))
    assert seen(result, 150.0, 400.0, 699.5, 701.0) == pytest.approx([1.35, 1.3, 1.5995, 1.701])


def test_no_less_than_nought_is_read_and_the_pump_runs_the_well_dry() -> None:
    # 1.2 m too low, it reads nought at 1.1 m; 1.2 m too high, it never reads the stop level
    result = run(signal("off", 0.0, amount=-1.2), level_m=1.0)
    assert seen(result, 100.0) == [0.0]
    result = run(signal("off", 0.0, amount=1.2), level_m=1.5, duration_s=3000.0)
    assert {row.stopped_by for row in result.trace.runs} == {"end of run"}
    assert result.trace.least_level_m == 0.0
    assert told(result.trace, "well empty")


def test_a_shifted_level_that_meets_a_float_lets_both_act_there() -> None:
    # the lead start is read at 2.45 m, where the start float hangs but for the last digits
    floats = replace(FLOATS, start_m=2.0 + 0.45 + 1e-15, disagrees_by_m=1.0)
    station = duplex(backup_floats=floats)
    what = episode(2000.0, 0.045, signal("off", 0.0, amount=-0.45))
    session = Session(station, what)  # 1.45 m at 4.5 mm/s: 322.2 s; then it rises by 1.5 mm/s
    session.advance(322.0)
    assert not session._plant.floats.start
    session.advance(322.5)
    assert session._plant.floats.start
    assert session.running == ("P1",)


# ---------------------------------------------------------------------- scanned


def test_drifting_grows_from_its_start_and_is_read_every_scan() -> None:
    result = run(signal("drifting", 105.0, amount=0.36, per_s=3600.0), level_m=1.0)
    # 0.1 mm/s: at 210 s it is wrong by 10.5 mm; what was read at 210 s holds to 220 s
    assert seen(result, 105.0, 210.0, 219.5, 220.0) == pytest.approx(
        [1.105, 1.21 + 0.0105, 1.21 + 0.0105, 1.22 + 0.0115]
    )
    # read level rises by 1.1 mm/s from 1.105 m on; the first scan at or above 2.0 m starts the pump
    first = 105.0 + (2.0 - 1.105) / 0.0011
    assert result.trace.runs[0].start_s == pytest.approx(math.ceil(first / 10.0) * 10.0, abs=ABS)


def test_noisy_draws_the_number_of_each_scan_from_its_own_stream() -> None:
    result = run(signal("noisy", 1000.0, 500.0, amount=0.03), inflow=0.0, level_m=1.5)
    stream = Streams(1, 0).stream("level sensor", "noise")
    for n in (101, 113, 149):
        value = 1.5 + 0.03 * NormalDist().inv_cdf(stream.number(n))
        assert seen(result, n * 10.0, n * 10.0 + 9.5) == pytest.approx([value, value], abs=1e-12)
    assert seen(result, 1501.0) == [1.5]
    read = [row[2] for row in result.trace.signal if row[1] == "held"]
    assert len(read) == 51  # at 1000 s, every 10 s, and at 1500 s just before it is right again


def test_noise_has_the_stated_spread_and_hangs_on_nothing_else() -> None:
    noise = signal("noisy", 0.0, amount=0.05)
    result = run(noise, inflow=0.0, level_m=1.5, duration_s=20_000.0)
    read = np.array([row[2] for row in result.trace.signal[2:]])
    assert np.mean(read) == pytest.approx(1.5, abs=4 * 0.05 / math.sqrt(len(read)))
    assert np.std(read) == pytest.approx(0.05, rel=4 / math.sqrt(2 * len(read)))
    # another beginning and another event shift no draw
    other = run(
        signal("noisy", 4000.0, amount=0.05),
        ScriptedEvent(100.0, "off", "P1"),
        inflow=0.0,
        level_m=1.5,
        duration_s=20_000.0,
    )
    assert seen(result, 8000.0, 9990.0) == seen(other, 8000.0, 9990.0)


def test_late_shows_what_was_so_long_ago_and_stands_still_till_then() -> None:
    result = run(signal("late", 200.0, amount=40.0), level_m=1.005)
    assert seen(result, 210.0, 239.5, 250.0, 300.0) == pytest.approx([1.205, 1.205, 1.215, 1.265])
    # 2.0 m is there at 995 s, first read at 1000 s, and seen at 1040 s; the level is 2.045 m then,
    # and 1.0 m at 1562.5 s, which is read at 1570 s and seen at 1610 s
    first = result.trace.runs[0]
    assert (first.start_s, first.stop_s) == pytest.approx((1040.0, 1610.0), abs=ABS)


def test_several_add_up_and_the_order_at_one_instant_does_not_matter() -> None:
    events = (
        signal("off", 205.0, amount=0.2),
        signal("drifting", 205.0, amount=0.36, per_s=3600.0),
        signal("late", 205.0, amount=20.0),
        signal("noisy", 205.0, amount=0.01),
    )
    one, other = run(*events), run(*events[::-1])
    noise = 0.01 * NormalDist().inv_cdf(Streams(1, 0).stream("level sensor", "noise").number(30))
    # at 300 s the level of 280 s, and a drift of 95 s
    assert seen(one, 300.0) == pytest.approx([1.28 + 0.2 + 0.0095 + noise], abs=1e-9)
    assert one.levels.equals(other.levels)
    assert one.trace.runs == other.trace.runs


def test_scanning_ends_with_its_cause_and_what_is_left_stands() -> None:
    result = run(
        signal("off", 100.0, amount=0.2), signal("noisy", 200.0, 100.0, amount=0.01), right(400.0)
    )
    assert told(result.trace, "level signal less wrong", "level signal right") == [
        (300.0, "level signal less wrong", "by itself"),
        (400.0, "level signal right", "put right on site"),
    ]
    assert seen(result, 350.0, 401.0) == pytest.approx([1.55, 1.401])
    assert result.trace.signal[-1][1] == "right"


def test_frozen_wins_over_scans_which_go_on_behind_it() -> None:
    result = run(
        signal("drifting", 100.0, amount=0.36, per_s=3600.0), signal("frozen", 305.0, 100.0)
    )
    # at 300 s: 1.30 m and 20 mm; at 405 s it is read again: 1.405 m and 30.5 mm
    assert seen(result, 390.0, 405.0, 410.0) == pytest.approx([1.32, 1.4355, 1.441])


# ---------------------------------------------------------------------- the backup's rules


@pytest.mark.parametrize(
    "wrong", [signal("off", 0.0, amount=0.05), signal("noisy", 0.0, amount=0.01)]
)
def test_a_signal_that_moves_is_not_taken_for_frozen(wrong: ScriptedEvent) -> None:
    station = duplex(backup_floats=replace(FLOATS, frozen_after_s=60.0))
    trace = run(wrong, station=station, duration_s=20_000.0).trace
    assert told(trace, "level signal distrusted") == []
    assert len(trace.runs) > 5


def test_an_offset_that_contradicts_a_float_hands_over_to_the_floats() -> None:
    # 1.3 m too high, it reads 2.8 m at 1.5 m: both run, 5 mm/s down; at 0.45 m the stop float is
    # uncovered while 1.75 m is read
    station = duplex(backup_floats=FLOATS)
    trace = run(signal("off", 0.0, amount=1.3), right(4000.0), station=station, level_m=1.5).trace
    first = told(trace, "level signal distrusted")[0]
    assert first[2].startswith("stop float uncovered, signal 1.75 m")
    assert trace.runs[0].stopped_by == "backup stop float"
    assert trace.runs[0].stop_s == pytest.approx((1.5 - 0.45) / 0.005, abs=ABS)
    assert told(trace, "level signal trusted")


def test_an_alarm_of_a_signal_that_is_right_again_after_an_outage_does_not_stand_for_ever() -> None:
    station = duplex(backup_floats=FLOATS)
    loss = ScriptedEvent(500.0, "grid loss", "grid", 1000.0)
    for lost in (signal("lost", 600.0, 100.0), signal("lost", 400.0, 300.0)):
        trace = run(loss, lost, station=station, duration_s=4000.0).trace
        (row,) = [row for row in trace.alarms if row.alarm == "level signal failed"]
        assert row.cleared_s <= 1500.0


# ---------------------------------------------------------------------- floats


ALARMS = AlarmSettings(high_level_m=1.8, low_level_m=1.2, high_level_delay_s=5.0)


def alarms(trace: Trace, name: str) -> list[tuple[float, float]]:
    return [(row.raised_s, row.cleared_s) for row in trace.alarms if row.alarm == name]


def close(*pairs: tuple[float, float]) -> list[Any]:
    return [(pytest.approx(a, abs=ABS), pytest.approx(b, abs=ABS)) for a, b in pairs]


def test_sound_alarm_floats_raise_and_clear_as_the_water_passes() -> None:
    trace = run(station=duplex(alarms=ALARMS), duration_s=2400.0).trace
    assert alarms(trace, "high level")[:1] == close((805.0, 1100.0))
    assert alarms(trace, "high level")[1][0] == pytest.approx(2305.0, abs=ABS)
    assert alarms(trace, "low level") == close((0.0, 200.0), (1400.0, 1700.0))


def test_a_high_float_stuck_down_raises_nothing_until_it_is_freed() -> None:
    stuck = floating("stuck down", 100.0, "high level", 800.0)
    trace = run(stuck, station=duplex(alarms=ALARMS), duration_s=2000.0).trace
    # freed at 900 s, with 1.9 m in the well: it shows the truth at once, and the delay begins
    assert alarms(trace, "high level") == close((905.0, 1100.0))
    assert told(trace, "float stuck down", "float right") == [
        (100.0, "float stuck down", "scripted"),
        (900.0, "float right", "by itself"),
    ]


def test_a_float_stuck_up_shows_water_and_says_so() -> None:
    stuck = floating("stuck up", 100.0, "high level")
    mended = right(500.0, "high level float")
    result = run(stuck, mended, station=duplex(alarms=ALARMS), duration_s=700.0)
    assert alarms(result.trace, "high level") == close((105.0, 500.0))
    raised = told(result.trace, "alarm raised")[-1]
    assert raised[2] == "high level: high level float shows water"
    low = floating("stuck up", 50.0, "low level")
    trace = run(low, station=duplex(alarms=ALARMS), duration_s=2000.0).trace
    assert alarms(trace, "low level") == close((0.0, 50.0))


def test_a_late_float_lags_by_its_time_at_each_passing() -> None:
    late = floating("late", 10.0, "high level", amount=60.0)
    trace = run(late, station=duplex(alarms=ALARMS), duration_s=2000.0).trace
    assert alarms(trace, "high level") == close((865.0, 1160.0))
    # put right while the water is above it and it does not show that yet
    trace = run(
        late, right(820.0, "high level float"), station=duplex(alarms=ALARMS), duration_s=2000.0
    ).trace
    assert alarms(trace, "high level") == close((825.0, 1100.0))


def test_stuck_up_and_down_take_each_others_place_and_up_counts_at_one_instant() -> None:
    station = duplex(alarms=ALARMS)
    up, down = (floating(f"stuck {way}", 100.0, "high level", 300.0) for way in ("up", "down"))
    for events in ((up, down), (down, up)):
        trace = run(*events, station=station, duration_s=700.0).trace
        assert alarms(trace, "high level") == close((105.0, 400.0))
    later = floating("stuck down", 200.0, "high level", 300.0)
    trace = run(up, later, station=station, duration_s=700.0).trace
    assert alarms(trace, "high level") == close((105.0, 200.0))


def test_a_start_float_stuck_down_lets_the_well_fill_when_the_signal_is_lost() -> None:
    station = duplex(backup_floats=FLOATS)
    events = (signal("lost", 10.0), floating("stuck down", 10.0, "start", 3000.0))
    trace = run(*events, station=station, duration_s=4000.0).trace
    first = min(trace.runs, key=lambda row: row.start_s)
    assert first.start_s == pytest.approx(3010.0, abs=ABS)
    assert first.started_by == "backup start float"
    assert trace.greatest_level_m > 3.9


def test_a_stop_float_stuck_up_lets_the_pump_run_dry() -> None:
    station = duplex(backup_floats=FLOATS)
    events = (signal("lost", 10.0), floating("stuck up", 10.0, "stop"))
    trace = run(*events, station=station, duration_s=6000.0).trace
    assert trace.least_level_m == 0.0
    assert len(trace.runs) == 1


def test_a_start_float_stuck_up_makes_the_panel_distrust_a_good_signal() -> None:
    station = duplex(backup_floats=FLOATS)
    trace = run(floating("stuck up", 300.0, "start", 2000.0), station=station).trace
    assert told(trace, "level signal distrusted")[0] == (
        300.0,
        "level signal distrusted",
        "start float covered, signal 1.30 m",
    )
    assert min(row.start_s for row in trace.runs) == pytest.approx(300.0, abs=ABS)


def test_a_float_that_is_not_there_leaves_a_note_and_nothing_else() -> None:
    plain = run().trace
    trace = run(floating("stuck up", 100.0, "start")).trace
    assert told(trace, "float stuck up") == [(100.0, "float stuck up", "scripted")]
    assert [row.detail for row in trace.events if row.t_s == 100.0] == ["there is none"]
    assert [r[:4] for r in trace.runs] == [r[:4] for r in plain.runs]


# ---------------------------------------------------------------------- freezing, pictures


def everything() -> Episode:
    return episode(
        9000.0,
        0.012,
        signal("off", 300.0, 2500.0, amount=0.15),
        signal("drifting", 700.0, 4000.0, amount=0.1, per_s=3600.0),
        signal("noisy", 1200.0, 2500.0, amount=0.02),
        signal("late", 1500.0, 3000.0, amount=35.0),
        signal("frozen", 2000.0, 300.0),
        floating("late", 100.0, "high level", 6000.0, amount=45.0),
        floating("stuck up", 3000.0, "start", 800.0),
        floating("stuck down", 5000.0, "stop", 500.0),
    )


def test_pieces_freezes_and_one_go_are_the_same_while_all_of_it_stands() -> None:
    station = duplex(backup_floats=replace(FLOATS, frozen_after_s=300.0), alarms=ALARMS)
    whole = Session(station, everything()).finish().trace
    session = Session(station, everything())
    for n in range(1, 36):
        session.advance(n * 250.0 + 3.0)
        _ = session.level_m
        session = Session.resume(session.freeze())
    pieces = session.finish().trace
    assert pieces.events == whole.events
    assert pieces.runs == whole.runs
    assert pieces.signal == whole.signal or [repr(r) for r in pieces.signal] == [
        repr(r) for r in whole.signal
    ]


def test_the_plot_draws_what_the_panel_read() -> None:
    result = run(
        signal("off", 500.0, 500.0, amount=0.2),
        signal("noisy", 2000.0, 1000.0, amount=0.05),
    )
    off, noisy = level_seen.courses_seen(result, (0.0, 6000.0))
    assert off[0][0] == 500.0
    assert off[0][-1] < 1000.0
    assert off[1] == pytest.approx(result.level_at(off[0]) + 0.2)
    read = {row[2] for row in result.trace.signal if row[1] == "held" and row[0] < 3000.0}
    assert set(noisy[1]) == read
    lines = [
        line
        for line in levels.levels_figure(result).axes[0].lines
        if line.get_label() == "level as the panel saw it"
    ]
    assert len(lines) == 2
    times = np.linspace(0.0, 1e6, 100_000)
    thin_t, thin_v = level_seen._thinned(times, np.sin(times))
    assert len(thin_t) <= level_seen._MOST_READINGS
    assert thin_v.max() == np.sin(times).max()
    assert thin_v.min() == np.sin(times).min()


def test_a_signal_that_is_off_is_trusted_again_only_after_it_has_agreed_for_so_long() -> None:
    # 0.6 m too high: it says 1.5 m above a stop float that is uncovered at 0.9 m, once a cycle
    wavering = BackupSettings(2.3, 0.9, frozen_after_s=None)
    wrong = signal("off", 100.0, 20_000.0, amount=0.6)
    told = {}
    for name, agree_for_s in (("at once", 0.0), ("after an hour", 3600.0)):
        what = duplex(backup_floats=replace(wavering, agree_for_s=agree_for_s))
        trace = run(wrong, station=what, duration_s=30_000.0).trace
        told[name] = [
            (row.t_s, row.event)
            for row in trace.events
            if row.event in ("level signal distrusted", "level signal trusted")
        ]
    assert len(told["at once"]) > 10
    assert [word for _t, word in told["after an hour"]] == [
        "level signal distrusted",
        "level signal trusted",
    ]
    # trusted an hour after it last contradicted a float, and not while it was wrong
    assert told["after an hour"][1][0] > 20_100.0


@pytest.mark.parametrize("by_chance", [False, True])
def test_a_float_at_which_another_pump_takes_over_shows_where_the_water_goes(
    by_chance: bool,
) -> None:
    # P1 is called at the start float and cannot run; P2 takes over in the same instant
    what = duplex(backup_floats=BackupSettings(3.0, 0.6, 600.0))
    lost = ScriptedEvent(10.0, "level signal lost", "level sensor")
    given = episode(6000.0, 0.01, lost, ScriptedEvent(20.0, "fails to start", "P1"))
    if by_chance:
        fails = RandomFault("bad luck", (ScriptedEvent(0.0, "fails", "P1"),), "demand", 1.0)
        given = replace(episode(6000.0, 0.01, lost), random=(fails,))
    trace = simulate(what, given).trace
    first = min(trace.runs, key=lambda row: row.start_s)
    # up 2.0 m of 10 m2 at 10 L/s, down 2.4 m at 20 L/s
    assert (first.machine, first.start_s) == (1, pytest.approx(2000.0, abs=1e-5))
    assert first.stop_s == pytest.approx(2000.0 + 1200.0, abs=1e-4)
    assert first.stopped_by == "backup stop float"
    assert trace.least_level_m == pytest.approx(0.6, abs=1e-9)
    # and it fills again to the start float before anybody starts
    starts = sorted(row.start_s for row in trace.runs)
    assert starts[1] == pytest.approx(3200.0 + 2400.0, abs=1e-3)

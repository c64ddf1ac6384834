"""Hand-outs: what an observer has tells nothing of what nobody saw; the key tells the rest."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from everything import HOUR, KINDS, SAMPLE, day, event_of, everything, sampled

from stationsim import vocabulary
from stationsim.control.backup import BackupSettings
from stationsim.episode import RandomFault, ScriptedEvent
from stationsim.equipment.faults import BY_KIND
from stationsim.errors import OutputError
from stationsim.handout import KEPT, KEY, dark_spans, key_table, seen_tables, write_into
from stationsim.plots import handout_figure
from stationsim.plots.handout import day_to_look_at
from stationsim.plots.levels import MOST_STARTS_AS_LINE
from stationsim.results import Result
from stationsim.saving import load_result
from stationsim.simulation.session import simulate
from stationsim.testing import duplex, engine_pump, episode

TROUBLES = tuple(kind for kind in KINDS if BY_KIND[kind].trouble)
SEEN = ("panel", "alarm")
FELL_S = 1500.0


def at(kind: str, t_s: float, subject: str, lasts_s: float | None, **more: float) -> ScriptedEvent:
    return ScriptedEvent(t_s, kind, subject, lasts_s, **more)  # type: ignore[arg-type]


@functools.cache
def run(*kinds: str) -> Result:
    """Run a loss of the grid, and troubles that begin before it."""
    events = [event_of(kind, FELL_S) for kind in kinds if kind != "grid loss"]
    return simulate(everything(), day(*events, at("grid loss", 2500.0, "grid", 600.0), hours=1.5))


def text_of(tables: dict[str, pd.DataFrame]) -> str:
    """Return all that is written in words in some tables."""
    cells = [
        str(cell)
        for table in tables.values()
        for column in table.columns
        if not column.endswith(("_s", "_m", "_m3", "_h", "time"))
        for cell in table[column]
    ]
    return "\n".join(cells)


def words(text: str) -> set[str]:
    return set(re.findall(r"[a-z-]+", text.lower()))


@functools.cache
def common_words() -> frozenset[str]:
    """Return the words of a hand-out of a run in which nothing but the grid fails."""
    return frozenset(words(text_of(seen_tables(run()))))


def test_the_sample_covers_each_family_seen_and_unseen() -> None:
    assert {BY_KIND[kind].family for kind in SAMPLE} == {BY_KIND[k].family for k in TROUBLES}
    assert set(SAMPLE) < set(TROUBLES)
    seen = [any(row.t_s == FELL_S and vocabulary.seen_by(row.event) in SEEN
                for row in run(kind).trace.events) for kind in SAMPLE]  # fmt: skip
    assert 3 <= sum(seen) <= len(SAMPLE) - 3


@pytest.mark.parametrize("kind", sampled(TROUBLES))
def test_no_word_of_a_trouble_that_nobody_sees_stands_in_a_seen_table(kind: str) -> None:
    result = run(kind)
    tables = seen_tables(result)
    fell = [row.event for row in result.trace.events if row.t_s == FELL_S]
    by = {vocabulary.seen_by(event) for event in fell}
    fault = BY_KIND[kind]
    if kind == "grid loss" or by & set(SEEN):
        log = tables["events"]
        assert len(log[(log["t_s"] == FELL_S)]) > 0 or kind == "grid loss"
        return
    found = words(text_of(tables)) & (words(fault.phrase.partition("{")[0]) | words(kind))
    told_by_alarm = set().union(*(words(alarm) for alarm in tables["alarms"]["alarm"]), set())
    assert found - common_words() - told_by_alarm == set()
    assert fault.phrase not in text_of(tables) or fault.phrase in set(tables["alarms"]["alarm"])


@pytest.mark.parametrize("kind", sampled(TROUBLES))
def test_the_log_and_the_key_hold_every_event_exactly_once(kind: str) -> None:
    result = run(kind)
    log, key = seen_tables(result)["events"], key_table(result)
    key = key[key["event"] != "spilled in all"].copy()
    columns = ["t_s", "subject", "event"]
    key["t_s"] = key["t_s"].round()
    both = pd.concat([log[columns], key[columns]])
    true = result.events[columns].assign(t_s=result.events["t_s"].round())
    assert sorted(map(tuple, both.to_numpy())) == sorted(map(tuple, true.to_numpy()))
    assert not set(key["event"].map(vocabulary.seen_by)) & set(SEEN) or dark_spans(result)


def test_the_columns_are_those_that_were_promised_and_no_true_level_is_among_them() -> None:
    result = run("level signal off")
    tables = seen_tables(result)
    assert {name: tuple(table.columns) for name, table in tables.items()} == KEPT
    rows = tables["levels"].set_index("t_s")
    true = result.levels.set_index("t_s")["level_m"]
    wrong = rows.index[(rows.index >= FELL_S) & (rows.index < FELL_S + 900.0)]
    assert len(wrong) > 1
    assert rows.loc[wrong, "level_seen_m"].to_numpy() == pytest.approx(
        true[wrong] + 0.3, abs=5.1e-3
    )
    log = tables["events"]
    told = log[(log["t_s"] > FELL_S) & (log["t_s"] < 2990.0)]["detail"].str.extract(
        r"level ([\d.]+) m"
    )
    at_s = log.loc[told.index, "t_s"].to_numpy()
    assert len(told) > 0
    level = result.level_at(at_s) + 0.3
    # to the centimetre, and the time to the second, in which the water moves by some millimetres
    assert told[0].astype(float).to_numpy() == pytest.approx(level, abs=0.02)


def test_nobody_knows_beforehand_how_long_a_condition_will_last() -> None:
    text = text_of(seen_tables(run("overload")))
    assert "overload" in text
    assert "25 min" not in text
    assert "scripted" not in text


def test_what_came_by_chance_or_from_a_stuck_float_is_not_told_by_the_wording_of_an_alarm() -> None:
    stuck = at("float stuck up", 60.0, "high level float", 600.0)
    fault = RandomFault("x", (at("overload", 0.0, "P1", None),), "calendar", 1e-2, None)
    what = replace(episode(2 * HOUR, 0.01, stuck), random=(fault,))
    result = simulate(duplex(), what)
    assert any("high level float shows water" in row.cause for row in result.trace.events)
    assert any(row.event == "random fault" for row in result.trace.events)
    text = text_of(seen_tables(result))
    assert "high level" in text
    assert "overload" in text
    assert "float" not in text
    assert "chance" not in text


def test_a_pump_that_a_sag_has_stopped_stops_without_a_reason() -> None:
    result = run("grid sag")
    true = result.pump_runs.loc[result.pump_runs["stop_s"] == FELL_S, "stopped_by"]
    seen = seen_tables(result)["pump_runs"]
    assert true.tolist() == ["grid sag"]
    assert seen.loc[seen["stop_s"] == FELL_S, "stopped_by"].tolist() == [""]


def test_a_state_that_the_panel_does_not_see_leaves_no_time_behind() -> None:
    result = simulate(
        duplex(engine_pump=engine_pump()),
        episode(4 * HOUR, 0.02, at("grid loss", HOUR, "grid", 2 * HOUR)),
    )
    true = result.power.loc[result.power["source"] == "E1"]
    assert "starting" in set(true["state"])
    assert set(true.loc[true["state"] == "starting", "seen"]) == {"site"}
    seen = seen_tables(result)["power"]
    own = seen.loc[seen["source"] == "E1"]
    assert own["state"].tolist() == [state for state in true["state"] if state != "starting"]
    # what it does not see belongs to the state before: no gap, and no moment of the call
    assert own["start_s"].tolist()[1:] == own["stop_s"].tolist()[:-1]
    called = true.loc[true["state"] == "starting", "start_s"].round()
    assert not set(called) & (set(own["start_s"]) | set(own["stop_s"]))
    assert own["stop_s"].iloc[-1] == result.trace.end_s


def test_numbers_are_as_fine_as_a_panel_books_them() -> None:
    result = run("main leak")
    tables = seen_tables(result)
    digits = {"level_seen_m": 2, "volume_by_hours_m3": 1, "hours_h": 2, "station_meter_m3": 0,
              "plant_meter_m3": 0, "difference_m3": 0, "difference_part": 3}  # fmt: skip
    looked_at = 0
    for name, table in tables.items():
        for column in table.columns:
            if not (column in digits or column.endswith("_s")):
                continue
            values = table[column].to_numpy(dtype=float)
            values = values[np.isfinite(values)]
            assert np.round(values, digits.get(column, 0)) == pytest.approx(values, abs=1e-9), name
            looked_at += len(values)
        for column in (c for c in table.columns if c.endswith("time")):
            assert all(t == "" or t[19:23] == ".000" for t in table[column]), (name, column)
    assert looked_at > 100
    runs, true = tables["pump_runs"], result.pump_runs
    assert runs["start_s"].to_numpy() == pytest.approx(true["start_s"].to_numpy(), abs=0.5)
    assert (runs["duration_s"] == runs["stop_s"] - runs["start_s"]).all()
    meters = tables["meters"]
    lacks = meters["station_meter_m3"] - meters["plant_meter_m3"]
    assert (meters["difference_m3"] == lacks).all()
    assert not re.search(r"level \d+\.\d{3}", "".join(tables["events"]["detail"]))


# ------------------------------------------------------------------ a dead panel


def dark_run(supply: str) -> Result:
    station = duplex()
    station = replace(station, alarms=replace(station.alarms, supply=supply))
    opened = at("control breaker open", HOUR, "panel", HOUR)
    return simulate(station, episode(4 * HOUR, 0.03, opened, start_level_m=1.5))


@pytest.mark.parametrize("supply", ["own", "control"])
def test_of_a_dead_panel_an_observer_has_only_the_alarms_that_live(supply: str) -> None:
    result = dark_run(supply)
    assert dark_spans(result) == [(HOUR, 2 * HOUR)]
    tables = seen_tables(result)

    def fell(table: str, column: str = "t_s") -> pd.DataFrame:
        times = tables[table][column]
        return tables[table][(times >= HOUR) & (times < 2 * HOUR)]

    assert len(fell("levels")) == 0
    assert len(fell("power", "start_s")) == 0
    assert len(fell("power", "stop_s")) == 0
    grid = tables["power"].loc[tables["power"]["source"] == "grid"]
    assert grid["start_s"].tolist() == [0.0, 2 * HOUR]
    assert np.isnan(grid["stop_s"].iloc[0])
    assert grid["stop_time"].iloc[0] == ""
    assert len(fell("pump_runs", "start_s")) == 0
    assert len(fell("pump_runs", "stop_s")) == 0
    log = fell("events")
    alarms = ["alarm raised", "alarm raised"] if supply == "own" else []
    assert log["event"].tolist() == alarms
    assert "level" not in "".join(log["detail"])
    assert len(fell("alarms", "raised_s")) == len(alarms)
    assert any(row.stopped_by == "control power lost" for row in result.trace.runs)
    assert "breaker" not in text_of(tables)
    assert "control power lost" not in text_of(tables)
    key = key_table(result)
    assert {"control breaker open", "control breaker closed", "stop"} <= set(key["event"])
    assert (key["event"] == "spilled in all").sum() == len(result.spills) == 1


def test_when_an_alarm_ended_while_the_alarms_were_dead_nobody_knows() -> None:
    station = duplex()
    events = (
        at("off", 600.0, "P1", 2400.0), at("off", 600.0, "P2", 2400.0),
        at("control breaker open", 3200.0, "panel", 3000.0),
    )  # fmt: skip
    station = replace(
        station,
        backup_floats=BackupSettings(2.6, 0.5, supply="own"),
        alarms=replace(station.alarms, supply="control"),
    )
    result = simulate(station, episode(3 * HOUR, 0.015, *events, start_level_m=1.5))
    (true,) = [row for row in result.trace.alarms if row.alarm == "high level"]
    assert 3200.0 < true.cleared_s < 6200.0
    seen = seen_tables(result)["alarms"]
    assert math.isnan(seen["cleared_s"].iloc[0])
    assert seen["cleared_time"].iloc[0] == ""
    assert seen["raised_s"].iloc[0] == round(true.raised_s)


def test_an_alarm_that_was_switched_off_does_not_stand_in_the_tables() -> None:
    events = at("alarm off", 0.0, "high level", None), at("off", 60.0, "P1", None), \
        at("off", 60.0, "P2", None)  # fmt: skip
    result = simulate(duplex(), episode(2 * HOUR, 0.02, *events))
    assert result.trace.greatest_level_m > 3.5
    tables = seen_tables(result)
    assert len(tables["alarms"]) == 0
    assert "high level" not in text_of(tables)
    assert "alarm off" in set(key_table(result)["event"])


# ------------------------------------------------------------------ the plot, and the files


def drawn_words(result: Result) -> str:
    from matplotlib.text import Text

    figure = handout_figure(result)
    return "\n".join(text.get_text() for text in figure.findobj(Text))


@pytest.mark.parametrize("kind", sampled(TROUBLES))
def test_the_plot_names_no_trouble_that_nobody_sees(kind: str) -> None:
    result = run(kind)
    fell = {row.event for row in result.trace.events if row.t_s == FELL_S}
    if kind != "grid loss" and not {vocabulary.seen_by(event) for event in fell} & set(SEEN):
        text = drawn_words(result)
        named = BY_KIND[kind].phrase.format(float="start float", alarm="high level")
        assert named not in text.replace("alarm: telemetry lost", "")
        assert "unseen" not in text
        assert "not shown" not in text


def test_the_plot_is_blank_where_the_panel_was_dead() -> None:
    result = dark_run("control")
    figure = handout_figure(result)
    level, runs = figure.axes[:2]
    (line,) = [one for one in level.lines if len(one.get_xdata()) > 100]
    x = np.asarray(line.get_xdata(), dtype=float)
    hours = 24.0 * (x - x[0])
    blank = np.isnan(np.asarray(line.get_ydata(), dtype=float))
    assert blank[(hours > 1.01) & (hours < 1.99)].all()
    assert not blank[(hours < 0.99) | (hours > 2.01)].any()
    assert "no record" in [text.get_text() for text in runs.texts]
    _low, high = level.get_ylim()
    assert high == pytest.approx(1.06 * 4.0)


def test_a_long_hand_out_has_a_day_below_chosen_from_what_was_seen() -> None:
    base = episode(72 * HOUR, 0.01)
    leak = at("main leak", 3 * HOUR, "force main", HOUR, amount=0.1)
    quiet = simulate(duplex(), replace(base, events=(leak,)))
    assert len(quiet.pump_runs) > MOST_STARTS_AS_LINE
    runs = quiet.pump_runs
    longest = runs.loc[runs["duration_s"].round().idxmax(), "start_s"]
    low, high, why = day_to_look_at(quiet)
    assert low <= longest < high
    assert why.endswith("the longest run of a pump")
    trip = at("overload", 50 * HOUR, "P1", HOUR)
    alarmed = simulate(duplex(), replace(base, events=(leak, trip)))
    assert day_to_look_at(alarmed) == (48 * HOUR, 72 * HOUR, "Wed 3 Mar: the most alarms")
    figure = handout_figure(alarmed)
    assert len(figure.axes) == 4
    assert "leak" not in drawn_words(alarmed)
    assert "the most alarms" in drawn_words(alarmed)
    assert len(handout_figure(run("main leak")).axes) == 2


def test_a_hand_out_is_no_whole_run_to_ask(tmp_path: Path) -> None:
    write_into(run("main leak"), tmp_path)
    with pytest.raises(OutputError, match="a hand-out, which holds what an observer would have"):
        load_result(tmp_path)


def test_the_files_are_the_tables_and_the_key_apart(tmp_path: Path) -> None:
    result = run("main leak")
    write_into(result, tmp_path)
    files = {path.name for path in tmp_path.iterdir()}
    assert files == {f"{name}.csv" for name in KEPT} | {KEY, "manifest.json"}
    key = pd.read_csv(tmp_path / KEY)
    assert "force main leaking" in set(key["event"])
    for name in KEPT:
        assert "leak" not in (tmp_path / f"{name}.csv").read_text(encoding="utf-8")
    assert "scripted" not in (tmp_path / "manifest.json").read_text(encoding="utf-8")

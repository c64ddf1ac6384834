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
from stationsim.handout import KEPT, KEY, dark_spans, key_table, seen_tables, write_into
from stationsim.plots import handout_figure
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import duplex, episode

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
    key = key[key["event"] != "spilled in all"]
    columns = ["t_s", "subject", "event"]
    both = pd.concat([log[columns], key[columns]])
    assert sorted(map(tuple, both.to_numpy())) == sorted(
        map(tuple, result.events[columns].to_numpy())
    )
    assert not set(key["event"].map(vocabulary.seen_by)) & set(SEEN) or dark_spans(result)


def test_the_columns_are_those_that_were_promised_and_no_true_level_is_among_them() -> None:
    result = run("level signal off")
    tables = seen_tables(result)
    assert {name: tuple(table.columns) for name, table in tables.items()} == KEPT
    rows = tables["levels"].set_index("t_s")
    true = result.levels.set_index("t_s")["level_m"]
    wrong = rows.index[(rows.index >= FELL_S) & (rows.index < FELL_S + 900.0)]
    assert len(wrong) > 1
    assert rows.loc[wrong, "level_seen_m"].to_numpy() == pytest.approx(true[wrong] + 0.3)
    log = tables["events"]
    told = log[(log["t_s"] > FELL_S) & (log["t_s"] < 2990.0)]["detail"].str.extract(
        r"level ([\d.]+) m"
    )
    at_s = log.loc[told.index, "t_s"].to_numpy()
    assert len(told) > 0
    level = result.level_at(at_s) + 0.3
    assert told[0].astype(float).to_numpy() == pytest.approx(level, abs=6e-4)


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
    assert seen["raised_s"].iloc[0] == true.raised_s


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

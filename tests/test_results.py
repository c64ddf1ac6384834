from __future__ import annotations

import dataclasses
import hashlib
import json
import os
from datetime import datetime, timedelta, timezone
from pathlib import Path

import handmade
import numpy as np
import pandas as pd
import pytest

from stationsim import saving
from stationsim.episode import ScriptedEvent
from stationsim.errors import InputError, OutputError
from stationsim.results import Result
from stationsim.saving import load_result
from stationsim.simulation.session import simulate
from stationsim.tables import COLUMNS, local_times
from stationsim.testing import duplex, episode, reference_inflow
from stationsim.trace import Trace, Unavailable

DAY_S = 86_400.0


def quiet_day() -> Result:
    return handmade.March(handmade.station(2), handmade.constant(0.01), DAY_S).result()


def spilling_day() -> Result:
    march = handmade.March(
        handmade.station(3, engine=True),
        handmade.daily(1, 0.010),
        DAY_S,
        outages=((7 * 3600.0, 9 * 3600.0),),
        out=((1, 3600.0, 7200.0),),
    )
    march.station = dataclasses.replace(march.station, engine_pump=None)
    return march.result()


def digests(folder: Path, ending: str) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.glob(f"*{ending}"))
    }


@pytest.mark.parametrize("make", [quiet_day, spilling_day])
def test_tables_have_exactly_the_columns_of_the_contract(make):
    result = make()
    assert list(result.tables) == list(COLUMNS)
    for name, table in result.tables.items():
        assert tuple(table.columns) == COLUMNS[name]


def test_tables_of_a_run_in_which_nothing_happened_have_headers_and_text_columns(tmp_path):
    trace = Trace(inflow=handmade.constant(0.0), end_s=600.0, leg_t_s=[0.0], leg_v_m3=[6.4])
    trace.leg_lineup, trace.lineups = [0], [handmade.lineup({})]
    result = Result(handmade.station(2), handmade.episode(600.0), trace)
    result.save(tmp_path / "out")
    for name in ("pump_runs", "events", "alarms", "spills", "power", "crew"):
        assert len(getattr(result, name)) == 0
        text = (tmp_path / "out" / f"{name}.csv").read_text()
        assert text == ",".join(COLUMNS[name]) + "\n"
    assert result.levels["time_to_spill_s"].isna().all()
    assert len(result.sentences()) >= 3


def test_levels_stand_at_nought_at_each_interval_and_at_the_end():
    march = handmade.March(handmade.station(2), handmade.constant(0.01), 1000.0)
    assert march.result().levels["t_s"].tolist() == [0.0, 300.0, 600.0, 900.0, 1000.0]
    march = handmade.March(handmade.station(2), handmade.constant(0.01), 900.0)
    assert march.result().levels["t_s"].tolist() == [0.0, 300.0, 600.0, 900.0]


@pytest.mark.parametrize("make", [quiet_day, spilling_day])
def test_levels_balance_by_themselves(make):
    table = make().sample(1.0)
    gained = table["inflow_m3s"] - table["pumped_m3s"] - table["spill_m3s"] - table["other_m3s"]
    moved = np.sum(0.5 * (gained.to_numpy()[1:] + gained.to_numpy()[:-1]))
    volume = table["volume_m3"]
    # a switch of 30 L/s inside a second is off by at most half of that second, either way
    tolerance = 0.015 * np.sqrt(2.0 * len(table[table["pumps_running"].diff() != 0])) * 2.0
    assert volume.iloc[-1] - volume.iloc[0] == pytest.approx(moved, abs=tolerance)


def test_time_to_spill_of_a_constant_inflow_is_volume_to_go_over_inflow():
    table = quiet_day().levels
    to_go = 2.9 * handmade.AREA_M2 - table["volume_m3"]
    np.testing.assert_allclose(table["time_to_spill_s"], to_go / 0.01, rtol=1e-9)


def test_time_to_spill_is_empty_when_there_is_no_inflow():
    result = handmade.March(handmade.station(2), handmade.constant(0.0), 3600.0).result()
    assert result.levels["time_to_spill_s"].isna().all()
    assert np.isnan(result.value("least time to spill"))


def test_pump_runs_agree_with_totals_and_balance():
    result = spilling_day()
    runs, totals = result.pump_runs, result.pump_totals
    assert totals["volume_m3"].sum() == pytest.approx(result.trace.pumped_m3, rel=1e-12)
    assert totals["starts"].sum() == len(runs)
    assert totals["hours_h"].sum() * 3600.0 == pytest.approx(runs["duration_s"].sum(), rel=1e-12)
    assert (runs["start_s"].diff().dropna() >= 0.0).all()
    assert totals.set_index("pump").loc["P2", "unavailable_h"] == 1.0


def test_overlapping_spans_of_unavailability_count_once():
    result = quiet_day()
    result.trace.unavailable = [
        Unavailable(0, 0.0, 3600.0, "out of service"),
        Unavailable(0, 1800.0, 5400.0, "high temperature"),
        Unavailable(0, 7200.0, 9000.0, "pump failed"),
    ]
    assert result.pump_totals["unavailable_h"].tolist() == [2.0, 0.0]


def test_spill_table_agrees_with_the_balance():
    result = spilling_day()
    assert len(result.spills) == 1
    spill = result.spills.iloc[0]
    assert spill["volume_m3"] == pytest.approx(result.trace.spilled_m3, rel=1e-12)
    assert spill["duration_s"] == spill["stop_s"] - spill["start_s"]
    assert spill["method"] == "plain loss: all that arrives above the crest"
    inside = result.levels[result.levels["spill_m3s"] > 0.0]["t_s"]
    assert inside.between(spill["start_s"] - 1.0, spill["stop_s"] + 1.0).all()


@pytest.mark.parametrize(
    ("offset", "t_s", "text"),
    [
        (0, 0.0, "2027-02-28T23:59:00.000+00:00"),
        (0, 60.0, "2027-03-01T00:00:00.000+00:00"),
        (-210, 1.2346, "2027-02-28T23:59:01.235-03:30"),
        (330, 0.0004, "2027-02-28T23:59:00.000+05:30"),
        (0, np.nan, ""),
    ],
)
def test_local_times_have_offset_and_milliseconds(offset, t_s, text):
    start = datetime(2027, 2, 28, 23, 59, tzinfo=timezone(timedelta(minutes=offset)))
    assert local_times(start, np.array([t_s])).tolist() == [text]


def test_local_times_agree_with_the_standard_library_over_a_leap_day():
    start = datetime(2028, 2, 28, 22, 30, 15, tzinfo=timezone(timedelta(hours=-5)))
    t_s = np.linspace(0.0, 3 * DAY_S, 97)
    told = local_times(start, t_s).tolist()
    for text, seconds in zip(told, t_s, strict=True):
        assert datetime.fromisoformat(text) == start + timedelta(seconds=float(seconds))


def test_sample_at_the_table_interval_is_the_table():
    result = quiet_day()
    pd.testing.assert_frame_equal(result.sample("5min"), result.levels)
    pd.testing.assert_frame_equal(result.sample(300.0), result.levels)


@pytest.mark.parametrize("interval", ["soon", "0s", "-5min", 0.0, -1.0, float("nan"), "NaT"])
def test_sample_refuses_intervals_that_cannot_be(interval):
    with pytest.raises(InputError, match="interval"):
        quiet_day().sample(interval)


def test_a_result_is_shown_in_a_line():
    assert repr(quiet_day()) == "<Result of Alder Lane: 24 h, 90 starts, no spill>"
    spilled = spilling_day()
    volume = spilled.trace.spilled_m3
    assert str(spilled).endswith(f"{len(spilled.pump_runs)} starts, 1 spill, {volume:.1f} m3>")
    once = handmade.March(handmade.station(1), handmade.constant(0.02), 1000.0).result()
    assert repr(once) == "<Result of Alder Lane: 17 min, 1 start, no spill>"


def test_level_seen_is_what_the_level_signal_told():
    result = quiet_day()
    result.trace.signal = [(7200.0, "frozen", 1.25), (10_800.0, "right", np.nan)]
    levels = result.levels.set_index("t_s")
    stood = levels.loc[7200.0:10_799.0, "level_seen_m"]
    assert len(stood) == 12
    assert (stood == 1.25).all()
    others = levels.drop(stood.index)
    assert (others["level_seen_m"] == others["level_m"]).all()


def test_value_names_what_is_not_there():
    with pytest.raises(KeyError, match="no metric 'speed' of 'station'"):
        quiet_day().value("speed")


def test_same_run_gives_the_same_bytes_and_only_the_manifest_has_the_wall_time(tmp_path):
    for name, wall in (("a", 0.1), ("b", 9.9)):
        result = spilling_day()
        result.wall_s = wall
        result.save(tmp_path / name, ("csv", "parquet"))
    for ending in (".csv", ".parquet", ".txt"):
        one, other = (digests(tmp_path / name, ending) for name in "ab")
        assert one == other
        assert one
    manifests = [json.loads((tmp_path / n / "manifest.json").read_text()) for n in "ab"]
    assert [m.pop("wall_s") for m in manifests] == [0.1, 9.9]
    assert manifests[0] == manifests[1]
    assert manifests[0]["mass_balance_error"] < 1e-9
    assert "teaching" in manifests[0]["caution"]


def test_scenario_as_run_lies_beside_when_there_is_one(tmp_path):
    result = quiet_day()
    result.save(tmp_path / "without")
    assert not (tmp_path / "without" / "scenario.toml").exists()
    result.text = "[station]\nname = 'Süd'\n"
    result.save(tmp_path / "with")
    assert (tmp_path / "with" / "scenario.toml").read_text(encoding="utf-8") == result.text


def test_load_result_gives_back_what_was_saved(tmp_path):
    result = spilling_day()
    result.save(tmp_path / "out")
    saved = load_result(tmp_path / "out")
    assert saved.manifest["station"] == "Alder Lane"
    for name, table in result.tables.items():
        pd.testing.assert_frame_equal(
            saved.tables[name], table, check_dtype=False, rtol=1e-11, atol=1e-11
        )


def test_load_result_says_what_is_missing(tmp_path):
    with pytest.raises(OutputError, match="no results here"):
        load_result(tmp_path)
    quiet_day().save(tmp_path / "out")
    (tmp_path / "out" / "power.csv").unlink()
    with pytest.raises(OutputError, match=r"power\.csv: this table is missing"):
        load_result(tmp_path / "out")


def test_parquet_and_xlsx_hold_the_same_rows(tmp_path):
    result = spilling_day()
    result.save(tmp_path / "out", ("parquet", "xlsx"))
    for name, table in result.tables.items():
        parquet = pd.read_parquet(tmp_path / "out" / f"{name}.parquet")
        pd.testing.assert_frame_equal(parquet, table, check_dtype=False)
        sheet = pd.read_excel(tmp_path / "out" / "tables.xlsx", sheet_name=name)
        assert list(sheet.columns) == list(table.columns)
        assert len(sheet) == len(table)
    levels = pd.read_excel(tmp_path / "out" / "tables.xlsx", sheet_name="levels")
    np.testing.assert_allclose(levels["level_m"], result.levels["level_m"], rtol=1e-12)


def test_a_missing_extra_is_named_with_the_way_to_install_it(monkeypatch):
    monkeypatch.setattr(saving.importlib.util, "find_spec", lambda _name: None)
    with pytest.raises(OutputError, match=r"'parquet' needs the package pyarrow.*pip install"):
        saving.check_formats(["parquet"])
    assert saving.check_formats(["csv"]) == ("csv",)


def test_unknown_format_is_refused_with_the_known_ones():
    with pytest.raises(OutputError, match="no format is called 'pdf'; accepted: csv, parquet"):
        saving.check_formats(["csv", "pdf"])


def test_existing_results_are_refused_and_replaced_only_when_told(tmp_path):
    result, out = quiet_day(), tmp_path / "out"
    result.save(out)
    (out / "extra.csv").write_text("mine")
    with pytest.raises(OutputError, match="already exists"):
        result.save(out)
    assert (out / "extra.csv").exists()
    result.save(out, force=True)
    assert not (out / "extra.csv").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out"]


def test_a_folder_of_other_files_is_never_replaced(tmp_path):
    out = tmp_path / "home"
    out.mkdir()
    (out / "letter.txt").write_text("mine")
    with pytest.raises(OutputError, match="holds other files than results"):
        quiet_day().save(out, force=True)
    assert [p.name for p in out.iterdir()] == ["letter.txt"]


def test_an_empty_folder_is_taken(tmp_path):
    (tmp_path / "out").mkdir()
    quiet_day().save(tmp_path / "out")
    assert (tmp_path / "out" / "levels.csv").exists()


def test_a_file_or_a_link_in_the_way_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    (tmp_path / "link").symlink_to(tmp_path)
    for name in ("file", "link"):
        with pytest.raises(OutputError, match="not a folder"):
            quiet_day().save(tmp_path / name, force=True)
    with pytest.raises(OutputError, match="is not a folder"):
        quiet_day().save(tmp_path / "file" / "deeper")


def test_a_place_without_rights_is_refused(tmp_path, monkeypatch):
    # root may write anywhere, so the answer of the system is put in its mouth
    monkeypatch.setattr(os, "access", lambda *_args: False)
    with pytest.raises(OutputError, match="cannot be written"):
        quiet_day().save(tmp_path / "out")


def test_a_failure_half_way_leaves_nothing_behind(tmp_path):
    def fail(where: Path) -> None:
        with saving.new_folder(where) as beside:
            (beside / "levels.csv").write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail(tmp_path / "deep" / "er" / "out")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_one_clear_message(tmp_path, monkeypatch):
    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_csv", full)
    with pytest.raises(OutputError, match="cannot be written: No space left"):
        quiet_day().save(tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_levels_between_switches_are_those_of_the_balance_itself() -> None:
    """Legs that draw steadily are sampled in one go; the balance, asked leg by leg, agrees."""
    from stationsim import trace as traces

    result = simulate(duplex(), episode(86_400.0, reference_inflow(0.02), start_level_m=1.5))
    times = np.linspace(0.0, 86_400.0, 997)
    quick = result.sampled(times).volume_m3
    straight = traces._straight_legs
    try:
        traces._straight_legs = lambda trace: [False] * len(trace.leg_t_s)
        slow = result.sampled(times).volume_m3
    finally:
        traces._straight_legs = straight
    assert sum(straight(result.trace)) > 50
    assert quick == pytest.approx(slow, abs=1e-9)


def test_legs_that_stand_at_the_cap_or_run_dry_are_not_taken_for_straight() -> None:
    from stationsim.trace import _straight_legs

    cut = ScriptedEvent(600.0, "grid loss", "grid", 7200.0)
    spilled = simulate(duplex(), episode(20_000.0, 0.02, cut, start_level_m=2.0)).trace
    assert spilled.spilled_m3 > 10.0
    # somewhere in the run it stood at the cap, and that leg is looked at piece by piece
    assert not all(_straight_legs(spilled)[:-1])

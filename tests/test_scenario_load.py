"""A right scenario in, a Station and an Episode out."""

from __future__ import annotations

import math
import tomllib
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scenario_texts import DUPLEX

from stationsim import load_scenario
from stationsim.errors import ScenarioError
from stationsim.inflow.daily import Constant, Daily
from stationsim.inflow.segments import total_inflow
from stationsim.scenario.lines import Lines, join_path, split_path
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.overrides import to_toml
from stationsim.scenario.starter import starter_text


def loaded(folder: Path, text: str, **options: Any) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def test_load_gives_si_above_floor(tmp_path: Path) -> None:
    text = DUPLEX.replace("[well.shaft]", 'cover = "5.0 m"\n[well.shaft]')
    (tmp_path / "my.toml").write_text(text, encoding="utf-8")
    station, episode = load_scenario(tmp_path / "my.toml")
    assert station.name == "Test duplex"
    assert [pump.fixed_flow_m3s for pump in station.pumps] == [0.03, 0.03]
    assert station.control.settings.stop_m == 0.7
    assert station.spillway is not None
    assert station.spillway.crest_m == 4.2
    assert station.cover_m == 5.0
    assert station.well.volume_at(1.5) - station.well.volume_at(0.7) == pytest.approx(
        math.pi * 9 / 4 * 0.8, rel=1e-12
    )
    assert episode.name == "my"
    assert episode.duration_s == 172800.0
    assert episode.clock_offset_s == 6.5 * 3600
    assert episode.start.utcoffset() == timedelta(hours=1)
    assert episode.inflow == (Constant(0.01),)


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("tank", [True, False])
def test_starter_loads_without_warnings(tmp_path: Path, tank: bool, system: Any) -> None:
    found = loaded(tmp_path, starter_text(tank=tank, system=system))
    assert found.warnings == ()
    assert len(found.station.pumps) == (1 if tank else 3)


@pytest.mark.parametrize("system", ["si", "us"])
def test_what_the_starter_leaves_out_of_standby_power_loads(tmp_path: Path, system: Any) -> None:
    """The mark before the lines of some tables is taken away; the criteria stay left out."""
    tables = (
        *("[service]", "[generator]", "[transfer]", "[exercise]", "[backup_floats]"),
        "[pump.P1.plate]",
    )
    lines, taken = [], False
    for line in starter_text(system=system).splitlines():
        if line.startswith("# ["):
            taken = line.startswith(tuple(f"# {table}" for table in tables))
        taken = taken and line.startswith("# ")
        lines.append(line.removeprefix("# ") if taken else line)
    station = loaded(tmp_path, "\n".join(lines) + "\n").station
    assert station.standby_power is not None
    assert station.standby_power.transfer.start_delay_s == 3.0
    assert station.exercise is not None
    assert station.exercise.generator_s == 1800.0
    assert station.backup_floats is not None


def test_starter_tank_has_twelve_lines() -> None:
    assert len(starter_text(tank=True).splitlines()) == 12


def test_starter_comments_every_value() -> None:
    table = ""
    for line in starter_text().splitlines():
        table = line if line.startswith("[") else table
        key, equals, _ = line.partition("=")
        if equals and not line.startswith((" ", "#")) and "#" not in line:
            # the two lists of a table are told in its header; a title speaks for itself
            assert key.strip() == "title" or ("#" in table and "[" in line), line


@pytest.mark.parametrize(
    ("frame", "levels"),
    [
        ('levels_are = "elevation"\nfloor_elevation = "12.40 m"', (13.10, 13.90, 14.20, 16.60)),
        ('levels_are = "below cover"\ndepth = "5.0 m"', (4.30, 3.50, 3.20, 0.80)),
    ],
)
def test_levels_in_another_frame_give_the_same_station(
    tmp_path: Path, frame: str, levels: tuple[float, ...]
) -> None:
    text = DUPLEX.replace('name = "Test duplex"', f'name = "Test duplex"\n{frame}')
    for old, new in zip(("0.70 m", "1.50 m", "1.80 m", "4.20 m"), levels, strict=True):
        text = text.replace(f'"{old}"', f'"{new} m"')
    start = {13.10: "13.20 m", 4.30: "4.20 m"}[levels[0]]
    other = loaded(tmp_path, text.replace('start_level = "0.8 m"', f'start_level = "{start}"'))
    plain = loaded(tmp_path, DUPLEX)
    assert other.station.control == plain.station.control
    assert other.station.spillway == plain.station.spillway
    assert other.episode.start_level_m == plain.episode.start_level_m


def test_shapes_of_the_well_add_up(tmp_path: Path) -> None:
    text = DUPLEX.replace(
        '[well.shaft]\nshape = "cylinder"\ndiameter = "3.0 m"\n',
        '[well.hopper]\nshape = "cone"\nbottom_diameter = "1 m"\ntop_diameter = "3 m"\n'
        'to = "0.6 m"\n'
        '[well.shaft]\nshape = "box"\nlength = "3 m"\nwidth = "2 m"\nfrom = "0.6 m"\n'
        '[well.sewer]\nshape = "storage"\nvolume = "20 m3"\nfrom = "2.6 m"\nto = "4.2 m"\n',
    )
    well = loaded(tmp_path, text).station.well
    frustum = math.pi * 0.6 / 12 * (1 + 3 + 9)
    assert well.volume_at(0.6) == pytest.approx(frustum, rel=1e-12)
    assert well.volume_at(4.2) == pytest.approx(frustum + 6 * 3.6 + 20, rel=1e-12)


def test_area_table_below_cover_may_be_written_downwards(tmp_path: Path) -> None:
    table = 'shape = "table"\nlevels = ["0 m", "2 m"]\nareas = ["4 m2", "8 m2"]\nbetween = "steps"'
    text = DUPLEX.replace('shape = "cylinder"\ndiameter = "3.0 m"', table)
    well = loaded(tmp_path, text).station.well
    assert well.volume_at(3.0) == pytest.approx(4 * 2 + 8 * 1, rel=1e-12)


def test_like_takes_what_is_not_given_and_drops_the_other_answer(tmp_path: Path) -> None:
    text = DUPLEX.replace(
        '[pump.P1]\nflow = "30 L/s"\n[pump.P2]\nlike = "P1"\n',
        '[pump.P3]\nlike = "P2"\nmin_off_time = "5 s"\n'
        '[pump.P1]\ncurve = {flow = ["0 L/s", "40 L/s"], head = ["20 m", "5 m"]}\npower = "9 kW"\n'
        '[pump.P2]\nlike = "P1"\nflow = "20 L/s"\nefficiency = 0.6\nmin_off_time = "60 s"\n'
        '[force_main]\ndischarge = "8 m"\nlength = "100 m"\ndiameter = "200 mm"\n',
    )
    third, first, second = loaded(tmp_path, text).station.pumps
    assert first.curve is not None
    assert second.curve is None
    assert second.fixed_flow_m3s == third.fixed_flow_m3s == 0.02
    assert (first.power.input_w, second.power.input_w) == (9000.0, None)
    assert second.power.efficiency is not None
    assert second.power.efficiency.at(0.02) == 0.6
    assert (second.min_off_s, third.min_off_s) == (60.0, 5.0)


def test_like_does_not_take_the_motor_of_another_when_its_own_input_is_given(
    tmp_path: Path,
) -> None:
    text = DUPLEX.replace('"30 L/s"', '"30 L/s"\nefficiency = 0.6\nmotor_efficiency = 0.9')
    text = text.replace('like = "P1"', 'like = "P1"\npower = "9 kW"')
    second = loaded(tmp_path, text).station.pumps[1]
    assert (second.power.input_w, second.power.motor_efficiency) == (9000.0, 1.0)


def test_daily_factors_are_scaled_to_the_mean(tmp_path: Path) -> None:
    weekend = ["2.0"] * 12 + ["4.0"] * 12
    weekday = ["1"] * 24
    text = DUPLEX.replace(
        'kind = "constant"\nflow = "10 L/s"',
        f'kind = "daily"\nmean = "10 L/s"\nweekday = [{", ".join(weekday)}]\n'
        f"weekend = [{', '.join(weekend)}]",
    )
    source = loaded(tmp_path, text).episode.inflow[0]
    assert isinstance(source, Daily)
    assert set(source.weekday_m3s) == {0.01}
    assert sum(source.weekend_m3s) / 24 == pytest.approx(0.01, rel=1e-12)
    assert max(source.weekend_m3s) == pytest.approx(0.01 * 4 / 3, rel=1e-12)


def test_recorded_inflow_is_found_beside_the_scenario_and_counts_in_the_digest(
    tmp_path: Path,
) -> None:
    text = DUPLEX.replace(
        'kind = "constant"\nflow = "10 L/s"', 'kind = "recorded"\nfile = "flow.csv"\nfactor = 0.5'
    )
    rows = "".join(f"{60 * i},{10 + i % 3}\n" for i in range(49))
    (tmp_path / "flow.csv").write_text("t_min,flow_L/s\n" + rows, encoding="utf-8")
    first = loaded(tmp_path, text)
    assert total_inflow(first.episode).volume_m3(3600.0) == pytest.approx(0.0105 / 2 * 3600)
    (tmp_path / "flow.csv").write_text("t_min,flow_L/s\n" + rows + "2941,9\n", encoding="utf-8")
    assert loaded(tmp_path, text).digest != first.digest


def test_start_without_offset_is_told(tmp_path: Path) -> None:
    found = loaded(tmp_path, DUPLEX.replace("T06:30+01:00", "T06:30"))
    assert found.episode.start.utcoffset() == timedelta(0)
    assert "+00:00" in found.episode.notes["episode.start"]


def test_set_is_checked_as_if_written_in_the_file(tmp_path: Path) -> None:
    changed = loaded(
        tmp_path, DUPLEX, sets=["control.lag_start=1.70 m", "rotation.kind=fixed"], seed=7
    )
    written = loaded(
        tmp_path,
        DUPLEX.replace('lag_start = "1.80 m"', 'lag_start = "1.70 m"').replace(
            "[episode]", '[rotation]\nkind = "fixed"\n[episode]\nseed = 7'
        ),
    )
    assert changed.station == written.station
    assert changed.episode == written.episode
    assert changed.digest == written.digest


def test_text_as_run_loads_to_the_same_run(tmp_path: Path) -> None:
    changed = loaded(
        tmp_path,
        starter_text(),
        sets=["control.stop=0.75 m"],
        events=["day 2 03:00 P1 fails for 2 h until reset"],
    )
    again = loaded(tmp_path, changed.text)
    assert again.document == changed.document
    assert (again.station, again.episode) == (changed.station, changed.episode)
    assert again.digest == changed.digest
    assert loaded(tmp_path, DUPLEX).text == DUPLEX


def test_set_with_a_slip_in_a_name_does_not_add_a_pump(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError) as refused:
        loaded(tmp_path, DUPLEX, sets=["pump.P9.flow=30 L/s"])
    assert str(refused.value) == (
        "--set pump.P9.flow=30 L/s: pump.P9.flow: the file has no [pump.P9] (accepted: P1, P2); "
        'a new pump must be written in the file, as [pump.P9] with flow = "30 L/s"'
    )
    with pytest.raises(ScenarioError, match="did you mean 'P1'"):
        loaded(tmp_path, DUPLEX, sets=["pump.p1.flow=30 L/s"])
    with pytest.raises(ScenarioError) as refused:
        loaded(tmp_path, DUPLEX, sets=["pump.P3.like=P1"])
    assert 'in the file, as [pump.P3] with like = "P1"' in str(refused.value)


KEYS = st.text(st.characters(codec="utf-8"), max_size=8)
VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False)
    | st.text(st.characters(codec="utf-8"), max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_toml_is_written_so_that_it_reads_back(document: dict[str, Any]) -> None:
    assert tomllib.loads(to_toml(document)) == document


def test_lines_are_found_through_lists_text_and_comments() -> None:
    text = (
        '# [not.this]\n[a]\nx = [\n  "[no]", # ]\n  "y = 3",\n]\ny = "]["\n'
        '[a."b c"]\nz.w = 1\nt = """\nq = 1\n"""\nu = 2\n[[rows]]\nv = { k = 1 }\n'
    )
    lines = Lines(text)
    found = [lines.of(split_path(key)) for key in ("a", "a.x", "a.y", 'a."b c".z.w', "rows.v.k")]
    assert found == [2, 3, 7, 9, 15]
    assert lines.of(("a", "b c", "u")) == 13
    assert lines.of(("a", "b c", "q")) == 8
    assert join_path(("a", "b c")) == 'a."b c"'


def test_plug_in_control_is_read_by_its_own_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "own_panel.py").write_text(
        "from dataclasses import dataclass\n"
        "from stationsim.control.contract import setting\n"
        "from stationsim.signals import Decision\n"
        "@dataclass(frozen=True)\n"
        "class Its:\n"
        "    high_m: float = setting('level', meaning='starts here')\n"
        "    wait_s: float = setting('duration', 3.0, meaning='waits')\n"
        "    def __post_init__(self):\n"
        "        if self.wait_s > 100: raise ValueError('wait is too long')\n"
        "class Panel:\n"
        "    Settings = Its\n"
        "    def __init__(self, settings, rotation, pump_count): pass\n"
        "    def decide(self, now_s, seen): return Decision()\n",
        encoding="utf-8",
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    old = DUPLEX[DUPLEX.index("[control]") : DUPLEX.index("[episode]")]
    new = '[control]\nkind = "own_panel:Panel"\nhigh = "2 m"\n'
    plan = loaded(tmp_path, DUPLEX.replace(old, new)).station.control
    assert (plan.settings.high_m, plan.settings.wait_s) == (2.0, 3.0)
    with pytest.raises(
        ScenarioError, match=r"control.hihg: unknown key 'hihg'.*did you mean 'high'"
    ):
        loaded(tmp_path, DUPLEX.replace(old, new + 'hihg = "2 m"\n'))
    with pytest.raises(ScenarioError, match="refuses its settings: wait is too long"):
        loaded(tmp_path, DUPLEX.replace(old, new + 'wait = "200 s"\n'))

"""Rain, unit hydrographs and growth in a scenario: what is built, what is said, what is refused."""

# ruff: noqa: E501 - messages are kept whole
from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scenario_texts import DUPLEX, changed

from stationsim import load_scenario, simulate
from stationsim.cli import main
from stationsim.errors import ScenarioError
from stationsim.inflow import rain as rains
from stationsim.inflow.daily import Growth
from stationsim.inflow.segments import total_inflow
from stationsim.inflow.unit_hydrographs import RainDerived
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import load

HYDROGRAPHS = """\
[rain_derived]
area = "40 ha"
[rain_derived.quick]
fraction = 0.008
time_to_peak = "1 h"
fall_ratio = 2.0
[rain_derived.slow]
fraction = "1 %"
time_to_peak = "6 h"
fall_ratio = 4
"""
BLOCK = '[rain.storm]\nkind = "block"\nat = "14:00"\ndepth = "20 mm"\nduration = "6 h"\n'
WET = DUPLEX + HYDROGRAPHS
DAY_S = 86_400.0
START_S = 6.5 * 3600.0
"""The duplex begins at 06:30 [s after midnight]."""


def written(folder: Path, text: str) -> Path:
    path = folder / "s.toml"
    path.write_text(text, encoding="utf-8")
    return path


def rain_of(folder: Path, keys: str) -> rains.Rain:
    """Return the one rain of a scenario."""
    _, episode = load_scenario(written(folder, f"{WET}[rain.storm]\n{keys}"))
    (derived,) = [one for one in episode.inflow if isinstance(one, RainDerived)]
    return derived.rain


def test_a_block_becomes_rain_derived_inflow_on_the_area(tmp_path: Path) -> None:
    _, episode = load_scenario(written(tmp_path, WET + BLOCK))
    derived = episode.inflow[1]
    assert isinstance(derived, RainDerived)
    assert derived.area_m2 == 400_000.0
    assert [(r.name, r.fraction, r.time_to_peak_s, r.fall_ratio) for r in derived.responses] == [
        ("quick response", 0.008, 3600.0, 2.0),
        ("slow response", 0.01, 21_600.0, 4.0),
    ]
    assert derived.rain.begins_s == 14 * 3600.0 - START_S
    # 20 mm on 40 ha are 8000 m3, of which 1.8 % arrive: 144 m3, all within the two days
    whole = total_inflow(episode).volume_m3(2 * DAY_S)
    assert whole == pytest.approx(0.010 * 2 * DAY_S + 144.0, rel=1e-9)


@pytest.mark.parametrize("kind", ["I", "IA", "II", "III"])
def test_a_24_hour_distribution_is_the_one_named(tmp_path: Path, kind: str) -> None:
    rain = rain_of(tmp_path, f'kind = "type {kind}"\nat = "day 1 12:00"\ndepth = "2 in"\n')
    assert rain == rains.nrcs(12 * 3600.0 - START_S, 0.0508, kind)  # type: ignore[arg-type]


def test_a_chicago_storm_takes_the_law_as_printed(tmp_path: Path) -> None:
    keys = (
        'kind = "chicago"\nat = "after 2 h"\nduration = "3 h"\npeak_at = 0.4\ninterval = "5 min"\n'
    )
    law = 'law = { a = 60, b = 12, n = 0.8, intensity = "in/h" }\n'
    rain = rain_of(tmp_path, keys + law)
    # i = 60 / (180 + 12)^0.8 in/h over 3 h, worked here by hand
    assert rain.depth_m == pytest.approx(60 / 192**0.8 * 3 * 0.0254, rel=1e-12)
    assert rain.begins_s == 7200.0
    assert np.argmax(rain.intensity_ms) == int(0.4 * 36)


def test_a_series_falls_by_its_intervals(tmp_path: Path) -> None:
    keys = 'kind = "series"\nat = "Tue 00:00"\ninterval = "15 min"\n'
    rain = rain_of(tmp_path, keys + 'depths = ["0 mm", "1.5 mm", "0.5 mm"]\n')
    assert rain.times_s == (0.0, 900.0, 1800.0, 2700.0)
    assert rain.fallen_m == pytest.approx((0.0, 0.0, 0.0015, 0.002), abs=1e-15)
    assert rain.at_s == DAY_S - START_S


RECORD = "time,rain_mm\n2027-03-01 06:00,0\n2027-03-01 07:00,2\n2027-03-01 08:00,4\n"


def test_a_record_is_read_scaled_told_and_saved_with_the_scenario(tmp_path: Path) -> None:
    (tmp_path / "rain.csv").write_text(RECORD, encoding="utf-8")
    keys = '[rain.gauge]\nkind = "recorded"\nfile = "rain.csv"\nstamped = "end"\nfactor = 0.5\n'
    loaded = load(written(tmp_path, WET + keys))
    derived = loaded.episode.inflow[1]
    assert isinstance(derived, RainDerived)
    assert derived.rain.depth_m == pytest.approx(0.003, abs=1e-15)
    assert derived.rain.ends_s == 5400.0
    assert "the end of its interval" in loaded.episode.notes["rain.gauge"]
    assert loaded.files == {"rain.csv": tmp_path / "rain.csv"}
    (tmp_path / "rain.csv").write_text(RECORD.replace(",4", ",5"), encoding="utf-8")
    assert load(tmp_path / "s.toml").digest != loaded.digest


def test_a_rain_record_from_elsewhere_runs_again_from_the_results(tmp_path: Path) -> None:
    (tmp_path / "away").mkdir()
    (tmp_path / "away" / "rain.csv").write_text(RECORD, encoding="utf-8")
    (tmp_path / "here").mkdir()
    path = written(
        tmp_path / "here",
        f'{WET}[rain.gauge]\nkind = "recorded"\nfile = "../away/rain.csv"\n',
    )
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["run", str(path), "--out", str(out), "--no-plots"])
    assert done.exit_code == 0, done.output
    again = load(out / "scenario.toml")
    assert again.digest == load(path).digest
    assert (out / "inputs" / "rain.csv").read_text(encoding="utf-8") == RECORD


def test_a_rain_record_that_ends_early_is_warned_of(tmp_path: Path) -> None:
    (tmp_path / "rain.csv").write_text(RECORD, encoding="utf-8")
    loaded = load(written(tmp_path, f'{WET}[rain.gauge]\nkind = "recorded"\nfile = "rain.csv"\n'))
    (warning,) = [one.text() for one in loaded.warnings]
    assert "rain.gauge: the rain record ends before the episode does" in warning
    assert "45 h 30 min before the end" in warning


@pytest.mark.parametrize(
    ("moment", "said"),
    [
        ("day 4 00:00", "it begins 17 h 30 min after the end"),
        ("2027-02-20 00:00", "it ends 9 d before the start"),
    ],
)
def test_rain_of_which_nothing_arrives_is_warned_of(tmp_path: Path, moment: str, said: str) -> None:
    text = changed('at = "14:00"', f'at = "{moment}"', WET + BLOCK)
    (warning,) = [one.text() for one in load(written(tmp_path, text)).warnings]
    assert "rain.storm: lies outside the episode: nothing of it arrives" in warning
    assert said in warning


def test_rain_before_the_start_still_arrives(tmp_path: Path) -> None:
    text = changed('at = "14:00"', 'at = "2027-02-28 20:00"', WET + BLOCK)
    loaded = load(written(tmp_path, text))
    assert loaded.warnings == ()
    assert total_inflow(loaded.episode).volume_m3(2 * DAY_S) > 0.010 * 2 * DAY_S + 50.0


def test_an_area_in_acres_is_that_of_international_feet(tmp_path: Path) -> None:
    # an acre of 43560 square feet of 0.3048 m: 4046.8564224 m2
    text = changed('"40 ha"', '"100 acre"', WET + BLOCK)
    derived = load(written(tmp_path, text)).episode.inflow[1]
    assert isinstance(derived, RainDerived)
    assert derived.area_m2 == pytest.approx(404_685.64224, rel=1e-15)


def test_the_shipped_storm_reaches_the_lag_pumps_well_after_the_hardest_rain() -> None:
    path = Path(__file__).parents[1] / "scenarios" / "mill-reach-rain.toml"
    station, episode = load_scenario(path)
    result = simulate(station, episode)
    assert {"lag", "second lag"} <= set(result.pump_runs.role)
    (derived,) = [one for one in episode.inflow if isinstance(one, RainDerived)]
    hardest_s = derived.rain.times_s[int(np.argmax(derived.rain.intensity_ms)) + 1]
    flows = result.levels.set_index("t_s").inflow_m3s
    assert hardest_s + 1800.0 < flows.idxmax() < hardest_s + 7200.0
    assert result.spills.empty


# ---------------------------------------------------------------- --rain


def test_added_rain_is_that_of_a_block_in_the_file(tmp_path: Path) -> None:
    path = written(tmp_path, WET + BLOCK)
    in_file = simulate(*load_scenario(path))
    path = written(tmp_path, WET)
    added = simulate(*load_scenario(path, rains=["20 mm in 6 h from 14:00"]))
    assert added.levels.equals(in_file.levels)
    with pytest.raises(AssertionError):
        assert simulate(*load_scenario(path)).levels.equals(in_file.levels)


@pytest.mark.parametrize(
    ("text", "depth_m", "duration_s", "at_s"),
    [
        ("20 mm in 6 h from 14:00", 0.020, 21_600.0, 7.5 * 3600.0),
        ("2 in in 90 min from day 2 00:00", 0.0508, 5400.0, DAY_S - START_S),
        ("2in in 1 h 30 min from Tue 00:00", 0.0508, 5400.0, DAY_S - START_S),
        ("0.5 cm  in 1 d from after 3 h", 0.005, DAY_S, 10_800.0),
    ],
)
def test_rain_as_text_is_read(
    tmp_path: Path, text: str, depth_m: float, duration_s: float, at_s: float
) -> None:
    loaded = load(written(tmp_path, WET), rains=[text])
    derived = loaded.episode.inflow[1]
    assert isinstance(derived, RainDerived)
    expected = rains.block(at_s, depth_m, duration_s)
    assert derived.rain.at_s == pytest.approx(expected.at_s, abs=1e-9)
    assert derived.rain.times_s == expected.times_s
    assert derived.rain.fallen_m == pytest.approx(expected.fallen_m, abs=1e-15)


def test_added_rain_stands_in_the_scenario_that_is_saved(tmp_path: Path) -> None:
    path, out = written(tmp_path, WET), tmp_path / "out"
    words = ["run", str(path), "--out", str(out), "--no-plots", "--quiet"]
    rains_given = ["--rain", "20 mm in 6 h from 14:00", "--rain", "5 mm in 1 h from day 2 01:00"]
    done = CliRunner().invoke(main, [*words, *rains_given])
    assert done.exit_code == 0, done.output
    again = load(out / "scenario.toml")
    assert again.document["rain"]["added_2"]["depth"] == "5 mm"
    assert sum(isinstance(one, RainDerived) for one in again.episode.inflow) == 2
    added = ["20 mm in 6 h from 14:00", "5 mm in 1 h from day 2 01:00"]
    assert again.digest == load(path, rains=added).digest


# ---------------------------------------------------------------- growth


def test_inflow_grows_since_a_date(tmp_path: Path) -> None:
    text = DUPLEX + 'growth_per_year = "2 %"\ngrowth_since = "2020-03-01"\n'
    _, episode = load_scenario(written(tmp_path, text))
    (source,) = episode.inflow
    assert isinstance(source, Growth)
    years = (datetime(2027, 3, 1, 6, 30) - datetime(2020, 3, 1)).total_seconds() / (365.25 * DAY_S)
    flow = total_inflow(episode).at(np.zeros(1))[0]
    assert flow == pytest.approx(0.010 * 1.02**years, rel=1e-12)


def test_growth_begins_with_the_episode_unless_told(tmp_path: Path) -> None:
    _, episode = load_scenario(written(tmp_path, DUPLEX + "growth_per_year = 0.02\n"))
    flow = total_inflow(episode).at(np.array([0.0, 2 * DAY_S - 1.0]))
    assert flow[0] == pytest.approx(0.010, rel=1e-15)
    assert flow[1] == pytest.approx(0.010 * 1.02 ** (2 / 365.25), rel=1e-8)


def test_no_growth_leaves_the_source_as_it_is(tmp_path: Path) -> None:
    _, episode = load_scenario(written(tmp_path, DUPLEX + "growth_per_year = 0\n"))
    assert not isinstance(episode.inflow[0], Growth)


# ---------------------------------------------------------------- wrong inputs

STORM = changed('kind = "block"', 'kind = "type II"', BLOCK)
CHICAGO = (
    '[rain.storm]\nkind = "chicago"\nat = "14:00"\nduration = "3 h"\npeak_at = 0.4\n'
    'law = { a = 1000, b = 10, n = 0.8, intensity = "mm/h" }\n'
)
RECORDED = '[rain.gauge]\nkind = "recorded"\nfile = "rain.csv"\n'
GAPS = "time,rain_mm\n" + "".join(f"2027-03-01 {h:02d}:00,1\n" for h in (6, 7, 8, 11, 12))
TOTALS = "time,cumulative_rain_mm\n2027-03-01 06:00,1\n2027-03-01 07:00,3\n"
WRONG = {
    "storm without unit hydrographs": (
        DUPLEX + BLOCK,
        "s.toml:24: rain.storm: rain is given, and the station does not say how rain comes into the sewer",
        'add [rain_derived] with area = "40 ha"',
    ),
    "fractions above 1": (
        changed("fraction = 0.008", "fraction = 0.995", WET),
        "s.toml:24: rain_derived: the fractions of its responses are too great: more water cannot arrive than falls (found quick 0.995, slow 0.01: 1.005 together; accepted: up to 1",
        "lower them",
    ),
    "a fraction above 1": (
        changed("fraction = 0.008", "fraction = 8", WET),
        "s.toml:27: rain_derived.quick.fraction: number out of range",
        "from 0 to 1",
    ),
    "no response": (
        DUPLEX + '[rain_derived]\narea = "40 ha"\n',
        "rain_derived: has no response",
        "[rain_derived.quick]",
    ),
    "a fall of no time": (
        changed('time_to_peak = "1 h"\nfall_ratio = 2.0', 'time_to_peak = "1 s"\nfall_ratio = 0.1', WET),
        "rain_derived.quick: quick response: the fall ratio is 0.1, a fall of 0.1 s",
        "1 s or more",
    ),
    "area without unit": (
        changed('"40 ha"', "40", WET),
        "s.toml:25: rain_derived.area: a plain number where an area with its unit is needed",
        "m2, ft2, ha, acre",
    ),
    "a misspelt response": (
        changed("[rain_derived.slow]", "[rain_derived.slwo]", WET),
        "rain_derived.slwo: unknown key",
        "did you mean 'slow'?",
    ),
    "unknown kind of rain": (
        WET + changed('"block"', '"type 2"', BLOCK),
        "rain.storm.kind: is none of the accepted words",
        '"block", "type I", "type IA", "type II"',
    ),
    "kind of rain in capitals": (
        WET + changed('"block"', '"Type II"', BLOCK).replace('duration = "6 h"\n', ""),
        "rain.storm.kind: is none of the accepted words",
        "did you mean 'type II'?",
    ),
    "24-hour storm with a duration": (
        WET + STORM,
        "rain.storm.duration: unknown key 'duration'",
        "kind, at, depth",
    ),
    "rain without a moment": (
        WET + changed('at = "14:00"\n', "", BLOCK),
        "rain.storm.at: is missing",
        'at = "day 3 07:10"',
    ),
    "a moment by the 12-hour clock": (
        WET + changed('"14:00"', '"2 pm"', BLOCK),
        "rain.storm.at: '2 pm' cannot be read",
        "'14:00'",
    ),
    "depth in a unit of flow": (
        WET + changed('"20 mm"', '"20 L/s"', BLOCK),
        "rain.storm.depth: 'L/s' is a unit of flow, and a length is needed",
        "",
    ),
    "depth of metres": (
        WET + changed('"20 mm"', '"20 m"', BLOCK),
        "rain.storm.depth: length out of range",
        "more than 0 to 5000 mm",
    ),
    "harder than any rain": (
        WET + changed('"6 h"', '"10 s"', BLOCK),
        "rain.storm: falls harder than any rain on record (found 7200 mm/h",
        "up to 2500 mm/h",
    ),
    "negative depth in a series": (
        WET + '[rain.s]\nkind = "series"\nat = "14:00"\ninterval = "1 h"\ndepths = ["1 mm", "-1 mm"]\n',
        "rain.s.depths: second value: length out of range",
        "",
    ),
    "law that rains backwards": (
        WET + changed("b = 10, n = 0.8", "b = 10, n = 1.8", CHICAGO),
        "rain.storm: under this intensity law 180 min bring less depth",
        "an exponent up to 1",
    ),
    "law without its unit": (
        WET + changed(', intensity = "mm/h"', "", CHICAGO),
        "rain.storm.law.intensity: is missing",
        'intensity = "mm/h"',
    ),
    "too many intervals": (
        WET + changed("peak_at = 0.4", 'peak_at = 0.4\ninterval = "1 s"', changed('"3 h"', '"30 d"', CHICAGO)),
        "rain.storm: a storm of 2592000 intervals",
        "take a longer interval",
    ),
    "rain file that is not there": (WET + RECORDED.replace("rain.csv", "no.csv"), "no.csv", "rain.gauge"),
    "rain file with gaps": (WET + RECORDED, "rain.gauge: ", 'gaps = "dry"'),
    "rain file of totals": (
        WET + RECORDED.replace("rain.csv", "totals.csv"),
        "seems to hold the depth since the start",
        "the depth in each interval",
    ),
    "unit of rain that is none": (
        WET + RECORDED + 'unit = "gpm"\n',
        "unknown unit 'gpm' of rain",
        "mm, in, mm/h, in/h",
    ),
    "rain is no table": (
        'rain = "20 mm"\n' + WET,
        "s.toml:1: rain: a table is needed",
        "[rain.storm]",
    ),
    "since when, and no growth": (
        changed('flow = "10 L/s"', 'flow = "10 L/s"\ngrowth_since = 2020-01-01', DUPLEX),
        "inflow.homes.growth_since: says since when it grows, and no growth is given",
        "growth_per_year = 0.02",
    ),
    "growth in percent as a number": (
        changed('flow = "10 L/s"', 'flow = "10 L/s"\ngrowth_per_year = 2', DUPLEX),
        "inflow.homes.growth_per_year: number out of range",
        "from -0.9 to 1",
    ),
    "growth beyond all measure": (
        changed(
            'flow = "10 L/s"', 'flow = "10 L/s"\ngrowth_per_year = 1\ngrowth_since = 1990-01-01', DUPLEX
        ),
        "inflow.homes.growth_per_year: makes the flow more than any sewer's grows",
        "0.02",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_wrong_rain_is_told_in_one_line_and_nothing_is_written(tmp_path: Path, name: str) -> None:
    text, said, fix = WRONG[name]
    (tmp_path / "rain.csv").write_text(GAPS, encoding="utf-8")
    (tmp_path / "totals.csv").write_text(TOTALS, encoding="utf-8")
    path, out = written(tmp_path, text), tmp_path / "out"
    done = CliRunner().invoke(main, ["run", str(path), "--out", str(out)])
    assert done.exit_code == 2, done.output
    (line,) = done.output.splitlines()
    assert said in line
    assert fix in line
    assert not out.exists()


WRONG_TEXTS = {
    "20 mm": ("--rain 1: cannot be read", "20 mm in 6 h from 14:00"),
    "20 in 6 h from 14:00": ("--rain 1: cannot be read", "DEPTH in DURATION from CLOCK"),
    "20 mm in 6 h": ("--rain 1: cannot be read", "from CLOCK"),
    "20 mm in 6 h from 2 pm": ("--rain 1: '2 pm' cannot be read", "'14:00'"),
    "20 mm in 6 weeks from 14:00": ("--rain 1: unknown unit 'weeks'", "s, min, h, d"),
    "20 furlongs in 6 h from 14:00": ("--rain 1: unknown unit 'furlongs'", "mm"),
    "-20 mm in 6 h from 14:00": ("--rain 1: length out of range", "more than 0 to 5000 mm"),
    "20 mm in 0 h from 14:00": ("--rain 1: duration out of range", "from 1 s"),
    "20 mm in 2 s from 14:00": ("--rain 1: falls harder than any rain on record", "2500 mm/h"),
    "1,5 mm in 2 h from 14:00": ("has a comma", "decimal point"),
    "": ("--rain 1: cannot be read", "DEPTH in DURATION from CLOCK"),
}


@pytest.mark.parametrize("text", WRONG_TEXTS)
def test_wrong_text_of_rain_is_told_and_nothing_is_written(tmp_path: Path, text: str) -> None:
    said, fix = WRONG_TEXTS[text]
    path, out = written(tmp_path, WET), tmp_path / "out"
    done = CliRunner().invoke(main, ["run", str(path), "--out", str(out), "--rain", text])
    assert done.exit_code == 2, done.output
    (line,) = done.output.splitlines()
    assert said in line
    assert fix in line
    assert not out.exists()


def test_rain_as_text_is_refused_for_a_station_without_unit_hydrographs(tmp_path: Path) -> None:
    path = written(tmp_path, DUPLEX)
    with pytest.raises(ScenarioError) as caught:
        load_scenario(path, rains=["20 mm in 6 h from 14:00"])
    (line,) = str(caught.value).splitlines()
    assert line.startswith("--rain 1: rain is given, and the station does not say how rain comes")
    assert "add [rain_derived]" in line


def test_a_mistake_in_the_unit_hydrographs_is_told_once(tmp_path: Path) -> None:
    text = (
        changed("fraction = 0.008", "fraction = 0.995", WET)
        + BLOCK
        + STORM.replace("storm", "other").replace('duration = "6 h"\n', "")
    )
    with pytest.raises(ScenarioError) as caught:
        load(written(tmp_path, text))
    assert len(str(caught.value).splitlines()) == 1


# ---------------------------------------------------------------- explain and schema


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            "rain.kind",
            ['"type ii": the 24-hour', '"chicago": a storm', '"recorded": a rain record'],
        ),
        ("rain.depth", ['goes with kind = "block" or kind = "type i"', '"20 mm"']),
        ("rain.law.a", ["a / (d + b)^n"]),
        ("rain_derived.area", ["m2, ft2, ha, acre", '"40 ha"']),
        ("rain_derived.quick", ["default: no such response", "fraction, time_to_peak, fall_ratio"]),
        ("inflow.growth_since", ["default: the start of the episode"]),
    ],
)
def test_explain_knows_the_keys_of_rain(words: str, said: list[str]) -> None:
    done = CliRunner().invoke(main, ["explain", words])
    assert done.exit_code == 0, done.output
    flat = " ".join(done.output.split())
    for piece in said:
        assert piece in flat.lower(), flat


def test_the_json_schema_holds_every_kind_of_rain() -> None:
    text = json.dumps(json_schema())
    for kind in ("block", "type I", "type IA", "type II", "type III", "chicago", "series"):
        assert f'"const": "{kind}"' in text
    assert "rain_derived" in json_schema()["properties"]

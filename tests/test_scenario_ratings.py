"""What plates and drawings say, as a scenario gives it: read, refused, explained, and left out."""

# ruff: noqa: E501 - messages are kept whole
from __future__ import annotations

import dataclasses
import pickle
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from scenario_texts import CURVED, DUPLEX, changed

from stationsim import units
from stationsim.cli import main
from stationsim.equipment.ratings import (
    BypassConnection,
    DesignFlows,
    Generator,
    MainAges,
    MotorPlate,
    PumpInlet,
    Service,
    SuctionLine,
)
from stationsim.errors import ScenarioError
from stationsim.limits import Limits, key_of
from stationsim.physics.forcemain import Pipe
from stationsim.physics.operating import operating_point
from stationsim.physics.pumps import FlowTable
from stationsim.scenario import keys
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.starter import starter_text
from stationsim.station import Ratings

DOCK = Path(__file__).parents[1] / "scenarios" / "osier-wharf.toml"
FOOT_M, INCH_M, GALLON_M3, HP_W = 0.3048, 0.0254, 231 * 0.0254**3, 745.6998715822702
"""By definition: NIST SP 811 (2008), appendix B."""

MAIN = 'new_c = 140\nold_c = 100\nwave_speed = "1000 m/s"\npressure_rating = "160 m"\n'
ENGINE = '[engine_pump]\nflow = "30 L/s"\nstart = "2.2 m"\nstop = "0.8 m"\n'
SUCTION = """\
[engine_pump.suction]
eye_level = "4.2 m"
length = "6 m"
diameter = "250 mm"
c_factor = 130
fittings_k = 1.5
npsh_required = "2.8 m"
most_priming_lift = "6 m"
"""
TABLES = """\
[pump.P1.plate]
rated_power = "50 kW"
current = "76 A"
efficiency = "93 %"
power_factor = 0.85
poles = 4
starter = "star-delta"
start_ratio = 2.1
load_inertia = "1.2 kg m2"
most_starts_per_hour = 10
least_off_time = "2 min"
[pump.P1.inlet]
level = "0.35 m"
diameter = "300 mm"
least_submergence = "0.3 m"
npsh_required = { flow = ["0 L/s", "50 L/s"], head = ["2 m", "4 m"] }
[service]
voltage = "480 V"
main_fuse = "350 A"
other_load = "6 kW"
most_running = 2
[generator]
rated_power = "125 kW"
rated_apparent_power = "156 kVA"
start_apparent_power = "300 kVA"
most_running = 1
fuel_rate = "36 L/h"
tank = "600 L"
[bypass]
diameter = "200 mm"
flow = "75 L/s"
suction_lift = "6.2 m"
npsh_required = "2.5 m"
[design]
average_flow = "10 L/s"
peak_flow = "25 L/s"
least_flow = "3 L/s"
growth_per_year = "1 %"
year = 2027
until_year = 2047
outage = "1 h"
response = "20 min"
[limits]
longest_fill = "20 min"
most_velocity = "2 m/s"
"""


def rated(text: str = CURVED) -> str:
    """Return a duplex with all that plates and drawings can say."""
    return (
        changed('discharge = "8 m"\n', f'discharge = "8 m"\n{MAIN}', text)
        + ENGINE
        + SUCTION
        + TABLES
    )


def read(folder: Path, text: str, **options: Any) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def ratings(folder: Path, text: str) -> Ratings:
    return read(folder, text).station.ratings


def refusal(folder: Path, text: str, **options: Any) -> str:
    with pytest.raises(ScenarioError) as refused:
        read(folder, text, **options)
    return str(refused.value)


@cache
def schema() -> Draft202012Validator:
    return Draft202012Validator(json_schema())


def reddened(text: str) -> list[str]:
    return [problem.message for problem in schema().iter_errors(tomllib.loads(text))]


PLATE = MotorPlate(50e3, 76.0, 0.93, 0.85, 4, "star-delta", 2.1, 1.2, 10.0, 120.0)
INLET = PumpInlet(0.35, 0.3, 0.3, FlowTable((0.0, 0.05), (2.0, 4.0)))


def test_all_of_it_is_read_in_si(tmp_path: Path) -> None:
    loaded = read(tmp_path, rated())
    assert loaded.warnings == ()
    assert loaded.station.ratings == Ratings(
        plates={"P1": PLATE, "P2": PLATE},  # P2 is like P1
        inlets={"P1": INLET, "P2": INLET},
        service=Service(480.0, 3, 350.0, 6e3, 2),
        generator=Generator(125e3, 156e3, 300e3, 1, 1e-5, 0.6),
        bypass=BypassConnection(0.2, 0.075, 6.2, 2.5),
        engine_suction=SuctionLine(4.2, Pipe(6.0, 0.25, c_factor=130.0, fittings_k=1.5), 2.8, 6.0),
        main=MainAges(140.0, 100.0, 1000.0, 160.0),
        design=DesignFlows(0.010, 0.025, 0.003, 0.01, 2027, 2047, 3600.0, 1200.0),
        limits=Limits(longest_fill_s=1200.0, most_velocity_ms=2.0),
        set_limits=("longest_fill_s", "most_velocity_ms"),
    )
    assert pickle.loads(pickle.dumps(loaded.station)) == loaded.station


def test_us_units_are_read_as_they_are_defined(tmp_path: Path) -> None:
    text = rated()
    for si, us in (
        ('rated_power = "50 kW"', 'rated_power = "67 hp"'),
        ('"1.2 kg m2"', '"28 lb-ft2"'),
        ('level = "0.35 m"', 'level = "1.1 ft"'),
        ('"300 mm"', '"12 in"'),
        ('"1000 m/s"', '"3300 ft/s"'),
        ('"36 L/h"', '"9 gal/h"'),
        ('other_load = "6 kW"', 'other_load = "8 hp"'),
        ('most_velocity = "2 m/s"', 'most_velocity = "8 ft/s"'),
        ('"480 V"', '"0.48 kV"'),
        ('"156 kVA"', '"156000 VA"'),
    ):
        text = changed(si, us, text)
    found = ratings(tmp_path, text)
    plate, inlet = found.plates["P1"], found.inlets["P1"]
    assert plate.rated_w == pytest.approx(67 * HP_W, rel=1e-12)
    # a pound is 0.45359237 kg
    assert plate.load_inertia_kgm2 == pytest.approx(28 * 0.45359237 * FOOT_M**2, rel=1e-12)
    assert (inlet.level_m, inlet.diameter_m) == pytest.approx((1.1 * FOOT_M, 12 * INCH_M))
    assert found.main.wave_speed_ms == pytest.approx(3300 * FOOT_M)
    assert found.limits.most_velocity_ms == pytest.approx(8 * FOOT_M)
    assert found.service is not None
    assert (found.service.voltage_v, found.service.other_load_w) == pytest.approx((480.0, 8 * HP_W))
    assert found.generator is not None
    assert found.generator.fuel_m3_per_s == pytest.approx(9 * GALLON_M3 / 3600.0)
    assert found.generator.rated_va == 156e3


def test_a_pump_that_is_like_another_takes_plate_and_inlet_save_those_it_gives(
    tmp_path: Path,
) -> None:
    own = '[pump.P2.plate]\nrated_power = "45 kW"\n'
    found = ratings(tmp_path, CURVED + TABLES + own)
    assert found.plates == {"P1": PLATE, "P2": MotorPlate(rated_w=45e3)}
    assert found.inlets == {"P1": INLET, "P2": INLET}


def test_a_mistake_in_what_is_taken_over_is_told_once(tmp_path: Path) -> None:
    told = refusal(tmp_path, changed('current = "76 A"', "current = 76", rated()))
    assert told.count("\n") == 0
    assert "pump.P1.plate.current" in told


@pytest.mark.parametrize(
    ("frame", "written"),
    [
        ('levels_are = "below cover"\ndepth = "5 m"', lambda level: 5.0 - level),
        ('levels_are = "elevation"\nfloor_elevation = "98.2 m"', lambda level: 98.2 + level),
    ],
)
def test_levels_of_inlet_and_eye_are_in_the_reference_of_the_file(
    tmp_path: Path, frame: str, written: Any
) -> None:
    text = changed('name = "Test duplex"', f'name = "T"\n{frame}', rated())
    levels = ("4.20", "0.70", "1.50", "1.80", "0.8", "2.2", "4.2", "8", "0.35")
    for old in levels:
        for key in ("level", "stop", "start", "discharge"):
            text = re.sub(rf'(\b\w*{key}) = "{old} m"', rf'\1 = "<{old}>"', text)
    text = re.sub(r"<([\d.]+)>", lambda one: f"{written(float(one.group(1))):.2f} m", text)
    found = ratings(tmp_path, text)
    assert found.inlets["P1"].level_m == 0.35
    assert found.engine_suction is not None
    assert found.engine_suction.eye_m == 4.2
    # what is no level stays as it is
    assert found.inlets["P1"].least_submergence_m == 0.3
    assert found.main.pressure_rating_m == 160.0


def test_without_any_of_it_the_station_is_as_before(tmp_path: Path) -> None:
    plain, full = read(tmp_path, CURVED + ENGINE), read(tmp_path, rated())
    assert plain.station.ratings == Ratings()
    assert dataclasses.replace(full.station, ratings=Ratings()) == plain.station
    assert full.episode == plain.episode
    assert full.digest != plain.digest


def test_a_tag_of_one_table_leaves_the_others_unknown(tmp_path: Path) -> None:
    found = ratings(tmp_path, CURVED + '[service]\nvoltage = "400 V"\n')
    assert found == Ratings(service=Service(400.0, 3, None, 0.0, None))
    found = ratings(tmp_path, CURVED + "[pump.P2.plate]\n[limits]\n")
    assert found == Ratings(plates={"P2": MotorPlate()})


@pytest.mark.parametrize("written", ['"3.5 m"', '{ flow = ["20 L/s"], head = ["3.5 m"] }'])
def test_one_head_stands_for_every_flow(tmp_path: Path, written: str) -> None:
    text = CURVED + f"[pump.P1.inlet]\nnpsh_required = {written}\n"
    npsh = ratings(tmp_path, text).inlets["P1"].npsh_required
    assert npsh is not None
    assert [npsh.at(flow) for flow in (0.0, 0.02, 0.5)] == [3.5, 3.5, 3.5]
    assert reddened(text) == []


GIVEN = {
    "ratio": ("0.5", 0.5),
    "percent": ('"50 %"', 0.5),
    "count": ("3", 3),
    "per hour": ("4.5", 4.5),
    "duration": ('"2 h"', 7200.0),
    "velocity": ('"2.5 m/s"', 2.5),
    "length": ('"250 mm"', 0.25),
}


@pytest.mark.parametrize("field", dataclasses.fields(Limits), ids=lambda field: field.name)
def test_every_limit_has_its_key_its_default_and_its_source(
    tmp_path: Path, field: dataclasses.Field[float]
) -> None:
    key = key_of(field.name)
    assert key == re.sub(r"_(s|m|ms)$", "", field.name)
    written, value = GIVEN[field.metadata["kind"]]
    text = CURVED + f"[limits]\n{key} = {written}\n"
    if key in ("least_velocity", "cleaning_velocity"):
        text += 'most_velocity = "3 m/s"\n'
    found = ratings(tmp_path, text)
    assert getattr(found.limits, field.name) == value
    assert field.name in found.set_limits
    assert reddened(text) == []
    (entry,) = keys.explain_key(f"limits.{key}")
    assert field.metadata["meaning"][1:] in entry.meaning
    assert field.metadata["source"] in entry.meaning
    told = f'"{entry.default}"' if "as text with its unit" in entry.accepts else entry.default
    again = ratings(tmp_path, CURVED + f"[limits]\n{key} = {told}\n")
    assert again.limits == Limits()
    assert again.set_limits == (field.name,)


def test_key_of_no_limit_is_an_error() -> None:
    with pytest.raises(KeyError, match="no limit is called 'longest_fill'"):
        key_of("longest_fill")


def test_a_value_is_set_from_outside(tmp_path: Path) -> None:
    sets = ("limits.fuel=12 h", "pump.P1.plate.current=70 A", "design.peak_flow=22 L/s")
    found = read(tmp_path, CURVED, sets=sets)
    assert found.station.ratings.limits.fuel_s == 43_200.0
    assert found.station.ratings.plates["P1"].current_a == 70.0
    assert found.station.ratings.design.peak_m3s == 0.022
    told = refusal(tmp_path, CURVED, sets=["limits.fuel=12"])
    assert told.startswith("--set limits.fuel=12: limits.fuel: a plain number where a duration")


def test_the_schema_takes_all_of_it() -> None:
    assert reddened(rated()) == []


VOLTAGE, POWER = 'voltage = "480 V"\n', 'rated_power = "50 kW"\n'
EYE = '[engine_pump.suction]\neye_level = "4 m"\n'


def main_with(lines: str) -> str:
    return changed('discharge = "8 m"\n', f'discharge = "8 m"\n{lines}\n', CURVED)


REFUSED: dict[str, tuple[str, str]] = {
    # the plate
    "power without a unit": ("[pump.P1.plate]\nrated_power = 50", 's.toml:30: pump.P1.plate.rated_power: a plain number where a power with its unit is needed (found 50; accepted: W, kW, hp); write it as text, such as "45 kW"'),
    "power in kVA": ('[pump.P1.plate]\nrated_power = "60 kVA"', "'kVA' is a unit of apparent power, and a power is needed; accepted: W, kW, hp"),
    "no power": ('[pump.P1.plate]\nrated_power = "0 kW"', "power out of range (found \"0 kW\"; accepted: more than 0 to 100000 kW)"),
    "current without its unit": ('[pump.P1.plate]\ncurrent = "76"', "'76' has no unit; accepted: A, such as '62 A'"),
    "current in volts": ('[pump.P1.plate]\ncurrent = "76 V"', "'V' is a unit of voltage, and a current is needed; accepted: A"),
    "negative current": ('[pump.P1.plate]\ncurrent = "-3 A"', "current out of range (found \"-3 A\"; accepted: more than 0 to 100000 A)"),
    "efficiency as a percentage without its mark": ("[pump.P1.plate]\nefficiency = 93", "pump.P1.plate.efficiency: number out of range (found 93; accepted: more than 0 to 1)"),
    "power factor above 1": ('[pump.P1.plate]\npower_factor = "108 %"', "pump.P1.plate.power_factor: number out of range"),
    "odd poles": ("[pump.P1.plate]\npoles = 3", "odd where an even number is needed (found 3; accepted: even, from 2 to 100)"),
    "poles with a point": ("[pump.P1.plate]\npoles = 4.0", "a plain number where a whole number is needed (found 4.0; accepted: even, from 2 to 100)"),
    "no poles": ("[pump.P1.plate]\npoles = 0", "whole number out of range (found 0; accepted: even, from 2 to 100)"),
    "poles as true": ("[pump.P1.plate]\npoles = true", "true or false where a whole number is needed"),
    "slip in a starter": ('[pump.P1.plate]\nstarter = "soft-starter"', "is none of the accepted words (found \"soft-starter\"; accepted: \"direct\", \"star-delta\", \"autotransformer\", \"soft starter\", \"variable speed\"); did you mean 'soft starter'?"),
    "start ratio as a current": ('[pump.P1.plate]\nstart_ratio = "6 A"', "text '6 A' where a number is needed"),
    "start ratio of sixty": ("[pump.P1.plate]\nstart_ratio = 60", "accepted: more than 0 to 20"),
    "inertia as a mass": ('[pump.P1.plate]\nload_inertia = "1.2 kg"', "unknown unit 'kg'; accepted: kg m2, lb ft2"),
    "no starts allowed": ("[pump.P1.plate]\nmost_starts_per_hour = 0", "accepted: more than 0 to 3600"),
    "rest of a week": ('[pump.P1.plate]\nleast_off_time = "8 d"', "duration out of range"),
    "slip in a key": ('[pump.P1.plate]\nrated_pwer = "50 kW"', "unknown key 'rated_pwer' (accepted: rated_power, current, efficiency, power_factor, poles, starter, start_ratio, load_inertia, most_starts_per_hour, least_off_time, no_load_current, rated_speed, run_up_time); did you mean 'rated_power'?"),
    # the inlet
    "level of the inlet without a unit": ("[pump.P1.inlet]\nlevel = 0.3", "pump.P1.inlet.level: a plain number where a length with its unit"),
    "inlet below the floor": ('[pump.P1.inlet]\nlevel = "-0.2 m"', "s.toml:30: pump.P1.inlet.level: lies below the floor (found -0.20 m; accepted: 0.00 m or above); raise it"),
    "inlet as wide as a street": ('[pump.P1.inlet]\ndiameter = "300 m"', "accepted: from 0.005 to 10 m"),
    "head required without a unit": ("[pump.P1.inlet]\nnpsh_required = 3.5", "pump.P1.inlet.npsh_required: first value: a plain number where a length with its unit is needed (found 3.5"),
    "head required as a flow": ('[pump.P1.inlet]\nnpsh_required = "3.5 L/s"', "'L/s' is a unit of flow, and a length is needed"),
    "head required beyond reason": ('[pump.P1.inlet]\nnpsh_required = "300 m"', "accepted: from 0 to 100 m"),
    "two lists that differ": ('[pump.P1.inlet]\nnpsh_required = {flow = ["0 L/s", "9 L/s"], head = ["3 m"]}', "pump.P1.inlet.npsh_required: its two lists are not as many (found 2 and 1)"),
    "flows that fall": ('[pump.P1.inlet]\nnpsh_required = {flow = ["9 L/s", "0 L/s"], head = ["3 m", "4 m"]}', "pump.P1.inlet.npsh_required.flow: does not rise all the way"),
    "heads alone": ('[pump.P1.inlet]\nnpsh_required = {head = ["3 m"]}', "pump.P1.inlet.npsh_required.flow: is missing; add it, such as"),
    # the suction line
    "no eye": (ENGINE + '[engine_pump.suction]\nlength = "5 m"', 'engine_pump.suction.eye_level: is missing; add it, such as eye_level = "1.50 m"'),
    "a length and no diameter": (ENGINE + EYE + 'length = "5 m"', 'engine_pump.suction.diameter: is missing, and length of the suction pipe is given; add it, such as diameter = "200 mm"'),
    "fittings of no pipe": (ENGINE + EYE + "fittings_k = 2", 'engine_pump.suction.length: is missing, and fittings_k of the suction pipe is given; add it, such as length = "6 m"'),
    "roughness for the other formula": (ENGINE + EYE + 'length = "5 m"\ndiameter = "200 mm"\nroughness = "1 mm"', 'engine_pump.suction.roughness: has no effect with friction = "hazen-williams"'),
    "priming from deeper than air can press": (ENGINE + EYE + 'most_priming_lift = "12 m"', "accepted: more than 0 to 10.33 m"),
    # supply and generator
    "no voltage": ("[service]\nphases = 3", 'service.voltage: is missing; add it, such as voltage = "400 V"'),
    "two phases": (f"[service]\n{VOLTAGE}phases = 2", "service.phases: is none of the accepted numbers (found 2; accepted: 1 or 3)"),
    "phases in words": (f'[service]\n{VOLTAGE}phases = "three"', "text 'three' where a whole number is needed (found \"three\"; accepted: 1 or 3)"),
    "five volts": ('[service]\nvoltage = "5 V"', "voltage out of range (found \"5 V\"; accepted: from 12 to 50000 V)"),
    "none may run": (f"[service]\n{VOLTAGE}most_running = 0", "service.most_running: whole number out of range (found 0; accepted: from 1 to 12)"),
    "a generator of no power": ('[generator]\ntank = "60 L"', 'generator.rated_power: is missing; add it, such as rated_power = "45 kW"'),
    "kW above kVA": (f'[generator]\n{POWER}rated_apparent_power = "40 kVA"', "s.toml:30: generator.rated_power: is more than generator.rated_apparent_power: the power factor would be above 1 (found 50 kW; accepted: up to 40 kW); check which of the two is in kW and which in kVA"),
    "kW where kVA belong": (f'[generator]\n{POWER}rated_apparent_power = "60 kW"', "'kW' is a unit of power, and an apparent power is needed; accepted: VA, kVA"),
    "fuel rate as a volume": (f'[generator]\n{POWER}fuel_rate = "32 L"', "generator.fuel_rate: 'L' is a unit of volume, and a flow is needed"),
    "slip in a table": (f"[generatr]\n{POWER}", "unknown key 'generatr'"),
    # bypass and design
    "a bypass of no width": ('[bypass]\nflow = "70 L/s"', 'bypass.diameter: is missing; add it, such as diameter = "200 mm"'),
    "no average": ('[design]\naverage_flow = "0 L/s"', "design.average_flow: flow out of range"),
    "peak below average": ('[design]\naverage_flow = "30 L/s"\npeak_flow = "20 L/s"', "s.toml:31: design.peak_flow: must not be less than design.average_flow (found 20.0 L/s; accepted: 30.0 L/s or more); raise it, or lower the other; check the units of both"),
    "average below least": ('[design]\nleast_flow = "30 L/s"\naverage_flow = "20 L/s"', "design.average_flow: must not be less than design.least_flow"),
    "peak below least": ('[design]\nleast_flow = "30 L/s"\npeak_flow = "20 L/s"', "design.peak_flow: must not be less than design.least_flow"),
    "a year of two digits": ("[design]\nyear = 27", "design.year: whole number out of range (found 27; accepted: from 1900 to 2200)"),
    "years turned round": ("[design]\nyear = 2047\nuntil_year = 2027", "design.until_year: lies before design.year (found 2027; accepted: 2047 or later)"),
    "growth of two hundred percent": ("[design]\ngrowth_per_year = 2", "accepted: from -0.9 to 1"),
    "an outage without a unit": ("[design]\noutage = 60", "design.outage: a plain number where a duration with its unit is needed"),
    # limits
    "a limit by its inner name": ('[limits]\nlongest_fill_s = "30 min"', "did you mean 'longest_fill'?"),
    "a velocity as a length": ('[limits]\nleast_velocity = "3 m"', "'m' is a unit of length, and a velocity is needed; accepted: m/s, ft/s"),
    "least velocity above the greatest": ('[limits]\nleast_velocity = "3 m/s"', "limits.least_velocity: is more than limits.most_velocity (found 3.00 m/s; accepted: up to 2.44 m/s)"),
    "greatest velocity below that which cleans": ('[limits]\nmost_velocity = "0.8 m/s"', "limits.most_velocity: is less than limits.cleaning_velocity (found 0.80 m/s; accepted: 0.91 m/s or more)"),
    "a part in words": ('[limits]\nfuse_part = "a lot"', "text 'a lot' where a number is needed"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_wrong_is_refused_in_one_clear_line(tmp_path: Path, name: str) -> None:
    tail, said = REFUSED[name]
    told = refusal(tmp_path, f"{CURVED}{tail}\n")
    assert said in told
    assert "Traceback" not in told
    assert len(told.splitlines()) <= 2


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("new_c = 100\nold_c = 140", "force_main.old_c: is more than force_main.new_c: a main gets rougher with the years (found 140; accepted: 100 or less)"),
        ("new_c = 5", "force_main.new_c: number out of range (found 5; accepted: from 10 to 200)"),
        ('wave_speed = "5000 m/s"', "velocity out of range (found \"5000 m/s\"; accepted: from 10 to 1500 m/s)"),
        ('wave_speed = "1000 m"', "'m' is a unit of length, and a velocity is needed"),
        ('pressure_rating = "10 bar"', "force_main.pressure_rating: 'bar' is a unit of pressure, and a length is needed; accepted: m, cm"),
    ],
)  # fmt: skip
def test_a_main_that_contradicts_itself_is_refused(tmp_path: Path, lines: str, said: str) -> None:
    assert said in refusal(tmp_path, main_with(lines))


@pytest.mark.parametrize("table", ["service", "generator", "bypass", "design", "limits"])
def test_a_value_where_a_table_belongs_is_refused(tmp_path: Path, table: str) -> None:
    assert f"s.toml:1: {table}: a table is needed" in refusal(tmp_path, f"{table} = 3\n{CURVED}")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (CURVED + '[pump.P1.inlet]\nlevel = "0.9 m"\n', "pump.P1.inlet.level: lies above the stop level: the pump would draw air before it stops (found 0.90 m; accepted: 0.70 m or below)"),
        (CURVED + f"[service]\n{VOLTAGE}most_running = 5\n", "service.most_running: is more than there are electric pumps (found 5; accepted: 1 to 2)"),
        (CURVED + f"[generator]\n{POWER}most_running = 3\n", "generator.most_running: is more than there are electric pumps"),
        (CURVED + f'[generator]\n{POWER}tank = "60 L"\n', "generator.tank: has no effect without generator.fuel_rate"),
        (changed("c_factor = 120", 'friction = "darcy-weisbach"\nnew_c = 140', CURVED), "force_main.new_c: has no effect: no pipe of the main has friction = \"hazen-williams\""),
    ],
)  # fmt: skip
def test_what_makes_no_sense_but_harms_no_run_is_a_warning(
    tmp_path: Path, text: str, said: str
) -> None:
    (warning,) = read(tmp_path, text).warnings
    assert said in warning.text()
    assert warning.fix
    assert warning.source


def test_equal_flows_and_levels_are_no_contradiction(tmp_path: Path) -> None:
    same = '[design]\nleast_flow = "9 L/s"\naverage_flow = "9 L/s"\npeak_flow = "9 L/s"\nyear = 2030\nuntil_year = 2030\n'
    same += (
        f'[generator]\n{POWER}rated_apparent_power = "50 kVA"\n[pump.P1.inlet]\nlevel = "0.7 m"\n'
    )
    same += (
        '[limits]\nleast_velocity = "1 m/s"\ncleaning_velocity = "1 m/s"\nmost_velocity = "1 m/s"\n'
    )
    assert read(tmp_path, main_with("new_c = 120\nold_c = 120") + same).warnings == ()


def test_ranges_are_told_in_us_units_too_in_a_file_that_uses_them(tmp_path: Path) -> None:
    us = DUPLEX.replace("30 L/s", "475 gpm").replace("10 L/s", "160 gpm")
    us += '[pump.P1.plate]\nload_inertia = "9e6 lb ft2"\nrated_power = "2e8 W"\n'
    told = refusal(tmp_path, us)
    assert "accepted: more than 0 to 100000 kg m2 (0 to 2373000 lb ft2)" in told
    assert "accepted: more than 0 to 100000 kW (0 to 134100 hp)" in told


def test_the_command_line_says_it_without_a_traceback(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(f"{CURVED}[pump.P1.plate]\npoles = 3\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["run", str(file), "--out", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "pump.P1.plate.poles: odd where an even number is needed" in done.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("pump.P1.plate.poles", "even whole number from 2 to 100"),
        ("service.phases", "1 or 3"),
        ("generator.most_running", "whole number from 1 to 12"),
        ("force_main.wave_speed", 'velocity as text with its unit (m/s, ft/s): "1000 m/s"'),
        ("pump.plate.load_inertia", "inertia as text with its unit (kg m2, lb ft2)"),
        ("service.voltage", "voltage as text with its unit (V, kV)"),
    ],
)
def test_keys_say_what_they_accept(key: str, said: str) -> None:
    (entry,) = keys.explain_key(key)
    assert said in entry.accepts


@pytest.mark.parametrize(
    ("value", "kind", "si", "us"),
    [
        (1.0, "velocity", "1.00 m/s", "3.28 ft/s"),
        (76.04, "current", "76.0 A", "76.0 A"),
        (480.0, "voltage", "480 V", "480 V"),
        (156e3, "apparent power", "156 kVA", "156 kVA"),
        (1.2, "inertia", "1.20 kg m2", "28.5 lb ft2"),  # 1.2 / 0.0421401
    ],
)
def test_new_kinds_are_shown_in_both_systems(value: float, kind: Any, si: str, us: str) -> None:
    assert (units.show(value, kind, "si"), units.show(value, kind, "us")) == (si, us)
    assert units.shown_unit(kind, "si") == si.partition(" ")[2]


@pytest.mark.parametrize("system", ["si", "us"])
def test_the_starter_holds_typical_values_that_only_wait_for_their_mark(
    tmp_path: Path, system: Any
) -> None:
    lines = starter_text(system=system).splitlines()
    assert read(tmp_path, "\n".join(lines)).station.ratings == Ratings()
    waiting = re.compile(r"# (\[[\w.]+\]|\w+ = )")
    awake = "\n".join(line.removeprefix("# ") if waiting.match(line) else line for line in lines)
    loaded = read(tmp_path, awake)
    assert loaded.warnings == ()
    assert loaded.system == system
    found = loaded.station.ratings
    assert set(found.plates) == set(found.inlets) == {"P1", "P2", "P3"}
    assert None not in dataclasses.astuple(found.plates["P3"])
    for part in (found.main, found.design, found.service, found.generator, found.bypass):
        assert part is not None
        assert None not in dataclasses.astuple(part)
    assert found.engine_suction is not None
    assert None not in (found.engine_suction.pipe, found.engine_suction.npsh_required_m)
    assert len(found.set_limits) == 2
    assert reddened(awake) == []


def test_osier_wharf_has_every_rating_and_its_pumps_are_what_it_says() -> None:
    loaded = load(DOCK)
    station, found = loaded.station, loaded.station.ratings
    assert loaded.warnings == ()
    assert set(found.plates) == set(found.inlets) == {"P1", "P2", "P3"}
    assert None not in (found.service, found.generator, found.bypass, found.engine_suction)
    point = operating_point(station.pumps[:1], station.force_main, 1.7, None)
    assert point.total_m3s == pytest.approx(0.050, rel=0.06)  # about 3,000 L/min
    curve = station.pumps[0].curve
    assert curve is not None
    assert curve.head_at(0.050) == pytest.approx(60.0)
    plate, service = found.plates["P1"], found.service
    assert service is not None
    # I = P / (sqrt(3) U eta cos phi), a closed form
    at_full_load = 50e3 / (3**0.5 * service.voltage_v * 0.93 * 0.85)
    assert plate.current_a == pytest.approx(at_full_load, rel=0.01)
    head = curve.head_at(point.total_m3s)
    shaft_w = station.pumps[0].input_w(point.total_m3s, head) * 0.93
    assert 0.75 * 50e3 < shaft_w < 50e3

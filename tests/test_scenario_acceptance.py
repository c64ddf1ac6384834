"""The day of acceptance, as a scenario gives it: read, refused, explained, and left out."""

# ruff: noqa: E501 - messages are kept whole
from __future__ import annotations

import dataclasses
import math
import pickle
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from scenario_texts import CURVED, DUPLEX, ELEVATIONS, FLOOR, changed, in_frame

from stationsim import vocabulary
from stationsim.cli import main
from stationsim.equipment.acceptance import AcceptancePlan, Gauge, Grade, Uncertainties
from stationsim.equipment.ratings import MotorPlate
from stationsim.errors import ScenarioError
from stationsim.physics.gauge import gauge_pa
from stationsim.physics.operating import operating_point
from stationsim.scenario import keys
from stationsim.scenario.acceptance_tables import AcceptancePart
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.starter import starter_text
from stationsim.station import Ratings

SCENARIOS = Path(__file__).parents[1] / "scenarios"
FOOT_M, INCH_M, GALLON_M3 = 0.3048, 0.0254, 231 * 0.0254**3
PSI_PA = 0.45359237 * 9.80665 / INCH_M**2
"""By definition: NIST SP 811 (2008), appendix B."""

BRANCHED = changed(
    "[pump.P1]\n",
    '[pump.P1]\nbranch = { length = "6 m", diameter = "150 mm", fittings_k = 4.0 }\n',
    CURVED,
)
PLATE = """\
[pump.P1.plate]
current = "20 A"
power_factor = 0.8
poles = 4
no_load_current = "9 A"
rated_speed = "1455 rpm"
"""
DAY = """\
[acceptance]
start = "07:30"
water = "15 L/s"
water_goes = "back to the well"
main_full = true
inflow = "comes in"
drop = "0.6 m"
levels = ["1.5 m", "1.1 m", "0.7 m"]
grade = "1U"
flow_tolerance = "8 %"
head_tolerance = 0.05
current_tolerance = "12 %"
speed_tolerance = "1 %"
level_tolerance = "15 mm"
time_tolerance = "3 s"
time_part = "20 %"
[acceptance.header_gauge]
level = "5.6 m"
bore = "200 mm"
[acceptance.pump_gauge]
level = "5.4 m"
bore = "150 mm"
branch_part = "70 %"
[acceptance.uncertainty]
flow_meter = "1 %"
pressure = "2.5 kPa"
current = "2 %"
speed = 0.001
level = "3 mm"
time = "0.5 s"
area = "4 %"
"""
WHOLE = BRANCHED + PLATE + DAY


def read(folder: Path, text: str, **options: Any) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def plan(folder: Path, text: str) -> AcceptancePlan:
    return read(folder, text).station.ratings.acceptance


def refusal(folder: Path, text: str, **options: Any) -> str:
    with pytest.raises(ScenarioError) as refused:
        read(folder, text, **options)
    return str(refused.value)


@cache
def schema() -> Draft202012Validator:
    return Draft202012Validator(json_schema())


def reddened(text: str) -> list[str]:
    problems = schema().iter_errors(tomllib.loads(text))
    return [".".join(str(key) for key in problem.absolute_path) for problem in problems]


def test_all_of_it_is_read_in_si(tmp_path: Path) -> None:
    loaded = read(tmp_path, WHOLE)
    assert loaded.warnings == ()
    assert loaded.station.ratings.acceptance == AcceptancePlan(
        start_clock_s=27_000.0,
        water_m3s=0.015,
        water_goes="back to the well",
        main_full=True,
        inflow="comes in",
        drop_m=0.6,
        levels_m=(1.5, 1.1, 0.7),
        header_gauge=Gauge(5.6, 0.2),
        pump_gauge=Gauge(5.4, 0.15, 0.7),
        grade="1U",
        flow_tolerance=0.08,
        head_tolerance=0.05,
        current_tolerance=0.12,
        speed_tolerance=0.01,
        level_tolerance_m=0.015,
        time_tolerance_s=3.0,
        time_part=0.2,
        uncertainty=Uncertainties(0.01, 2500.0, 0.02, 0.001, 0.003, 0.5, 0.04),
    )
    plate = MotorPlate(
        current_a=20.0, power_factor=0.8, poles=4, no_load_a=9.0, rated_speed=1455.0 / 60.0
    )
    assert loaded.station.ratings.plates == {"P1": plate, "P2": plate}  # P2 is like P1
    assert pickle.loads(pickle.dumps(loaded.station)) == loaded.station


def test_no_key_of_the_day_is_left_unread(tmp_path: Path) -> None:
    """Each key of the text above moves its own field, and every field has a key."""
    usual, given = AcceptancePlan(), plan(tmp_path, WHOLE)
    for field in dataclasses.fields(AcceptancePlan):
        assert getattr(given, field.name) != getattr(usual, field.name), field.name
    for field in dataclasses.fields(Uncertainties):
        new, old = getattr(given.uncertainty, field.name), getattr(usual.uncertainty, field.name)
        assert new != old, field.name
    assert set(tomllib.loads(DAY)["acceptance"]) == set(AcceptancePart.model_fields)


def test_us_units_are_read_as_they_are_defined(tmp_path: Path) -> None:
    text = WHOLE
    for si, us in (
        ('water = "15 L/s"', 'water = "240 gpm"'),
        ('drop = "0.6 m"', 'drop = "2 ft"'),
        ('["1.5 m", "1.1 m", "0.7 m"]', '["5 ft", "3.5 ft"]'),
        ('"15 mm"', '"0.5 in"'),
        ('level = "5.6 m"', 'level = "18.5 ft"'),
        ('level = "5.4 m"\nbore = "150 mm"', 'level = "18 ft"\nbore = "6 in"'),
        ('"2.5 kPa"', '"0.4 psi"'),
        ('"3 mm"', '"0.25 in"'),
        ('"1455 rpm"', '"1455 1/min"'),
    ):
        text = changed(si, us, text)
    loaded = read(tmp_path, text)
    found = loaded.station.ratings.acceptance
    assert found.water_m3s == pytest.approx(240 * GALLON_M3 / 60.0, rel=1e-12)
    assert found.drop_m == pytest.approx(2 * FOOT_M, rel=1e-12)
    assert found.levels_m == pytest.approx((5 * FOOT_M, 3.5 * FOOT_M), rel=1e-12)
    assert found.level_tolerance_m == pytest.approx(0.5 * INCH_M, rel=1e-12)
    assert found.header_gauge is not None
    assert found.header_gauge.level_m == pytest.approx(18.5 * FOOT_M, rel=1e-12)
    assert found.pump_gauge is not None
    assert found.pump_gauge.bore_m == pytest.approx(6 * INCH_M, rel=1e-12)
    assert found.uncertainty.pressure_pa == pytest.approx(0.4 * PSI_PA, rel=1e-12)
    assert found.uncertainty.level_m == pytest.approx(0.25 * INCH_M, rel=1e-12)
    assert loaded.station.ratings.plates["P1"].rated_speed == 1455.0 / 60.0


@pytest.mark.parametrize(
    ("frame", "written"),
    [
        ('levels_are = "below cover"\ndepth = "5 m"', lambda level: 5.0 - level),
        ('levels_are = "elevation"\nfloor_elevation = "98.2 m"', lambda level: 98.2 + level),
    ],
)
def test_levels_of_gauges_and_readings_are_in_the_reference_of_the_file(
    tmp_path: Path, frame: str, written: Any
) -> None:
    text = changed('name = "Test duplex"', f'name = "T"\n{frame}', WHOLE)
    for key in ("level", "stop", "lead_start", "lag_start", "discharge", "start_level"):
        text = re.sub(rf'\b{key} = "([\d.]+) m"', rf'{key} = "<\1>"', text)
    text = changed('["1.5 m", "1.1 m", "0.7 m"]', '["<1.5>", "<1.1>", "<0.7>"]', text)
    text = re.sub(r"<([\d.]+)>", lambda one: f"{written(float(one.group(1))):.2f} m", text)
    found = plan(tmp_path, text)
    assert found == plan(tmp_path, WHOLE)
    assert found.drop_m == 0.6  # what is no level stays as it is


def test_a_gauge_may_lie_above_the_cover(tmp_path: Path) -> None:
    text = changed('name = "Test duplex"', 'name = "T"\ndepth = "5.0 m"', CURVED)
    loaded = read(tmp_path, text + '[acceptance.header_gauge]\nlevel = "6.5 m"\n')
    assert loaded.warnings == ()
    assert loaded.station.ratings.acceptance.header_gauge == Gauge(6.5)


def test_without_any_of_it_the_station_and_its_run_are_as_before(tmp_path: Path) -> None:
    bare, full = read(tmp_path, BRANCHED), read(tmp_path, WHOLE)
    assert bare.station.ratings == Ratings()
    assert dataclasses.replace(full.station, ratings=Ratings()) == bare.station
    assert full.episode == bare.episode
    assert full.digest != bare.digest


@pytest.mark.parametrize(
    "table", ["[acceptance]", "[acceptance.uncertainty]", '[acceptance]\nstart = "08:00"']
)
def test_a_table_with_nothing_in_it_is_the_usual_day(tmp_path: Path, table: str) -> None:
    assert plan(tmp_path, f"{CURVED}{table}\n") == AcceptancePlan()
    assert reddened(f"{CURVED}{table}\n") == []


@pytest.mark.parametrize("grade", get_args(Grade))
def test_every_grade_is_taken(tmp_path: Path, grade: str) -> None:
    text = f'{CURVED}[acceptance]\ngrade = "{grade}"\n'
    assert plan(tmp_path, text).grade == grade
    assert reddened(text) == []


def test_a_value_is_set_from_outside(tmp_path: Path) -> None:
    sets = (
        "acceptance.drop=0.5 m",
        "acceptance.header_gauge.level=5 m",
        "pump.P1.plate.rated_speed=1440 rpm",
        'acceptance.levels=["1.5 m"]',
    )
    ratings = read(tmp_path, CURVED, sets=sets).station.ratings
    assert ratings.acceptance == AcceptancePlan(
        drop_m=0.5, levels_m=(1.5,), header_gauge=Gauge(5.0)
    )
    assert ratings.plates["P1"].rated_speed == 24.0
    told = refusal(tmp_path, CURVED, sets=["acceptance.drop=12"])
    assert told.startswith("--set acceptance.drop=12: acceptance.drop: a plain number where a")


def test_the_schema_takes_all_of_it() -> None:
    assert reddened(WHOLE) == []


def test_every_key_is_explained_with_its_default(tmp_path: Path) -> None:
    """What ``explain`` says is so when a key is left out gives the same day when written down."""
    pieces = []
    for path in keys.all_paths():
        if not path.startswith("acceptance"):
            continue
        (entry,) = keys.explain_key(path)
        assert entry.meaning.endswith("."), path
        table, _, key = path.rpartition(".")
        if entry.keys or not entry.default or "_gauge" in path:
            continue
        if re.fullmatch(r"[\d.]+", entry.default) or entry.default == "false":
            pieces.append((table, f"{key} = {entry.default}"))
        elif re.match(r"\d", entry.default) or "|" in entry.accepts:
            if entry.default.startswith(("the one", "0.5 m, or")):
                continue
            pieces.append((table, f'{key} = "{entry.default}"'))
    assert len(pieces) >= 16
    text = CURVED
    for table in ("acceptance", "acceptance.uncertainty"):
        text += f"[{table}]\n" + "".join(f"{line}\n" for at, line in pieces if at == table)
    assert plan(tmp_path, text) == AcceptancePlan()


TOP, PUMP, HEADER = "[acceptance]\n", "[acceptance.pump_gauge]\n", "[acceptance.header_gauge]\n"
OFF, MOTOR = "[acceptance.uncertainty]\n", "[pump.P1.plate]\n"

REFUSED: dict[str, tuple[str, str]] = {
    # types, units, ranges, words
    "a start in hours": (f"{TOP}start = 8", 's.toml:30: acceptance.start: a plain number where a time of the day is needed (found 8; accepted: "00:00" to "24:00")'),
    "a start past midnight": (f'{TOP}start = "25:00"', "acceptance.start: '25:00' is no time of the day"),
    "the end of the day": (f'{TOP}start = "24:00"', 'acceptance.start: is the end of the day (found "24:00"; accepted: "00:00" to "23:59"); give when work begins, such as start = "08:00"'),
    "water without a unit": (f"{TOP}water = 15", "acceptance.water: a plain number where a flow with its unit is needed (found 15"),
    "no water": (f'{TOP}water = "0 L/s"', "acceptance.water: flow out of range (found \"0 L/s\"; accepted: more than 0 to 1000 m3/s)"),
    "water as a volume": (f'{TOP}water = "15 m3"', "'m3' is a unit of volume, and a flow is needed"),
    "water that goes nowhere": (f'{TOP}water_goes = "back to well"', "acceptance.water_goes: is none of the accepted words (found \"back to well\"; accepted: \"downstream\", \"back to the well\"); did you mean 'back to the well'?"),
    "a main that is half full": (f'{TOP}main_full = "half"', "acceptance.main_full: true or false is needed (found \"half\")"),
    "an inflow in litres": (f'{TOP}inflow = "3 L/s"', 'acceptance.inflow: is none of the accepted words (found "3 L/s"; accepted: "shut off", "comes in")'),
    "a drop of a finger": (f'{TOP}drop = "10 mm"', "acceptance.drop: length out of range (found \"10 mm\"; accepted: from 0.05 to 20 m)"),
    "a drop as a time": (f'{TOP}drop = "5 min"', "acceptance.drop: 'min' is a unit of duration, and a length is needed"),
    "a level alone": (f'{TOP}levels = "1.5 m"', "acceptance.levels: a list is needed (found \"1.5 m\")"),
    "no levels": (f"{TOP}levels = []", "acceptance.levels: too few values (found 0; accepted: at least 1)"),
    "a level without a unit": (f'{TOP}levels = ["1.5 m", 1.1]', "acceptance.levels: second value: a plain number where a length with its unit is needed (found 1.1"),
    "too many levels": (f"{TOP}levels = [{', '.join(chr(34) + f'1.{n:02} m' + chr(34) for n in range(13))}]", "acceptance.levels: too many values (found 13; accepted: at most 12)"),
    "a grade of its own": (f'{TOP}grade = "2C"', 'acceptance.grade: is none of the accepted words (found "2C"; accepted: "1U", "1E", "1B", "2B", "2U", "3B")'),
    "a grade as a number": (f"{TOP}grade = 2", "acceptance.grade: is none of the accepted words (found 2;"),
    "a tolerance as a percentage without its mark": (f"{TOP}flow_tolerance = 8", "acceptance.flow_tolerance: number out of range (found 8; accepted: more than 0 to 1)"),
    "a tolerance of nothing": (f'{TOP}head_tolerance = "0 %"', "acceptance.head_tolerance: number out of range"),
    "a tolerance in amperes": (f'{TOP}current_tolerance = "2 A"', "acceptance.current_tolerance: text '2 A' where a number is needed (found \"2 A\"; accepted: a plain number or a share such as \"96 %\")"),
    "a speed tolerance in rpm": (f'{TOP}speed_tolerance = "20 rpm"', "acceptance.speed_tolerance: text '20 rpm' where a number is needed"),
    "a level tolerance as a part": (f'{TOP}level_tolerance = "1 %"', "acceptance.level_tolerance: unknown unit '%'; accepted: m, cm"),
    "a level tolerance of a man": (f'{TOP}level_tolerance = "1.8 m"', "acceptance.level_tolerance: length out of range (found \"1.8 m\"; accepted: more than 0 to 0.5 m)"),
    "a time tolerance of an hour": (f'{TOP}time_tolerance = "1 h"', "acceptance.time_tolerance: duration out of range (found \"1 h\"; accepted: from 0 to 600 s)"),
    "a part below nothing": (f"{TOP}time_part = -0.1", "acceptance.time_part: number out of range (found -0.1; accepted: from 0 to 1)"),
    "a slip in a key": (f'{TOP}dropp = "0.5 m"', "acceptance.dropp: unknown key 'dropp'"),
    "a slip in the table": ('[aceptance]\nwater = "9 L/s"', "unknown key 'aceptance'"),
    # gauges
    "a gauge of no level": (f'{HEADER}bore = "200 mm"', 'acceptance.header_gauge.level: is missing; add it, such as level = "1.50 m"'),
    "a gauge without a unit": (f"{PUMP}level = 5.4", "acceptance.pump_gauge.level: a plain number where a length with its unit is needed"),
    "a gauge as a value": (f'{TOP}header_gauge = "5 m"', "acceptance.header_gauge: a table is needed"),
    "a bore of a well": (f'{HEADER}level = "5 m"\nbore = "20 m"', "acceptance.header_gauge.bore: length out of range (found \"20 m\"; accepted: from 0.005 to 10 m)"),
    "a branch of the header": (f'{HEADER}level = "5 m"\nbranch_part = 0.5', "acceptance.header_gauge.branch_part: unknown key 'branch_part' (accepted: level, bore)"),
    "more than the branch": (f'{PUMP}level = "5 m"\nbranch_part = 1.5', "acceptance.pump_gauge.branch_part: number out of range (found 1.5; accepted: from 0 to 1)"),
    # uncertainty
    "a pressure as a head": (f'{OFF}pressure = "0.2 m"', "acceptance.uncertainty.pressure: 'm' is a unit of length, and a pressure is needed; accepted: kPa, Pa, MPa, bar, mbar, psi"),
    "a pressure without a unit": (f"{OFF}pressure = 2", "acceptance.uncertainty.pressure: a plain number where a pressure with its unit is needed (found 2; accepted: kPa, Pa, MPa, bar, mbar, psi); write it as text, such as \"2 kPa\""),
    "a pressure of the deep sea": (f'{OFF}pressure = "20 MPa"', "pressure out of range (found \"20 MPa\"; accepted: from 0 to 1000 kPa)"),
    "a meter that is off by twice": (f"{OFF}flow_meter = 2", "acceptance.uncertainty.flow_meter: number out of range (found 2; accepted: from 0 to 1)"),
    "a stopwatch of hours": (f'{OFF}time = "2 h"', "acceptance.uncertainty.time: duration out of range"),
    "an area in square metres": (f'{OFF}area = "0.1 m2"', "acceptance.uncertainty.area: text '0.1 m2' where a number is needed"),
    # the plate
    "a speed without a unit": (f"{MOTOR}rated_speed = 1455", "pump.P1.plate.rated_speed: a plain number where a rotation speed with its unit is needed (found 1455; accepted: rpm, 1/min, 1/s); write it as text, such as \"1450 rpm\""),
    "a speed in hertz": (f'{MOTOR}rated_speed = "24 Hz"', "pump.P1.plate.rated_speed: unknown unit 'Hz'; accepted: rpm, 1/min, 1/s"),
    "a speed of a turbine": (f'{MOTOR}rated_speed = "30000 rpm"', "rotation speed out of range (found \"30000 rpm\"; accepted: more than 0 to 12000 rpm)"),
    "a no-load current of nothing": (f'{MOTOR}no_load_current = "0 A"', "pump.P1.plate.no_load_current: current out of range"),
    "more with no load": (f'{MOTOR}current = "20 A"\nno_load_current = "20 A"', "pump.P1.plate.no_load_current: must be less than the full-load current (found 20.0 A; accepted: less than 20.0 A)"),
    # sin phi is 0.6 where cos phi is 0.8
    "more than the wattless part": (f'{MOTOR}current = "20 A"\npower_factor = 0.8\nno_load_current = "12.2 A"', "pump.P1.plate.no_load_current: does not go with 20.0 A at full load and a power factor of 0.8 (found 12.2 A; accepted: from 0 to 12 A)"),
    # what contradicts itself
    "a drop down to the floor": (f'{TOP}drop = "1.5 m"', "s.toml:30: acceptance.drop: is as much as from control.lead_start down to the floor: it leaves no water (found 1.50 m; accepted: less than 1.50 m); lower it; from the lead start to the stop level it is 0.80 m"),
    "levels without water": (f'{TOP}levels = ["0 m", "-0.2 m"]', "s.toml:30: acceptance.levels: holds a level that leaves no water in the well (found 0.00 m, -0.20 m; accepted: above 0.00 m); raise it"),
    "a level at the spill": (f'{TOP}levels = ["1.5 m", "4.2 m"]', "acceptance.levels: holds a level that does not lie below the spill (found 4.20 m; accepted: below 4.20 m); lower it"),
    "a level twice": (f'{TOP}levels = ["1.5 m", "150 cm"]', "acceptance.levels: holds a level that stands there twice (found 1.50 m; accepted: each level once); take one out"),
    "levels under every opening": (f'[pump.P1.inlet]\nlevel = "0.3 m"\n{TOP}levels = ["1.5 m", "0.3 m"]', "acceptance.levels: holds a level that leaves no water over the suction opening of any pump (found 0.30 m; accepted: above 0.30 m); raise it"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_wrong_is_refused_in_one_clear_line(tmp_path: Path, name: str) -> None:
    tail, said = REFUSED[name]
    told = refusal(tmp_path, f"{CURVED}{tail}\n")
    if said.startswith("s.toml:30: "):
        line = CURVED.count("\n") + 2
        said = said.replace("s.toml:30: ", f"s.toml:{line}: ")
    assert said in told
    assert "Traceback" not in told
    assert len(told.splitlines()) == 1


PLAIN_NUMBERS = [
    name
    for name, (tail, _) in REFUSED.items()
    if re.search(r"= (-?[\d.]+|\{|\[\]|\"half\")$", tail) or "is none of the accepted" in _
]


@pytest.mark.parametrize("name", PLAIN_NUMBERS)
def test_what_is_no_value_of_its_kind_is_reddened_by_the_schema_too(name: str) -> None:
    assert len(PLAIN_NUMBERS) >= 15
    places = reddened(f"{CURVED}{REFUSED[name][0]}\n")
    assert places
    assert all(place.startswith(("acceptance", "pump.P1")) for place in places)


def test_a_mistake_in_a_plate_that_is_taken_over_is_told_once(tmp_path: Path) -> None:
    told = refusal(tmp_path, changed('no_load_current = "9 A"', 'no_load_current = "19 A"', WHOLE))
    assert told.count("\n") == 0
    assert "pump.P1.plate.no_load_current" in told


def test_a_no_load_current_is_set_against_one_that_follows_from_the_supply(tmp_path: Path) -> None:
    # I = P / (sqrt(3) U eta cos phi) = 20.05 A, and 12.03 A of it are wattless: closed form
    plate = f'{MOTOR}rated_power = "10 kW"\nefficiency = 0.9\npower_factor = 0.8\nno_load_current = "<> A"\n'
    supply = '[service]\nvoltage = "400 V"\n'
    wattless = 10e3 / 0.9 / 0.8 / math.sqrt(3.0) / 400.0 * 0.6
    within = CURVED + plate.replace("<>", f"{wattless - 0.01:.3f}") + supply
    assert read(tmp_path, within).warnings == ()
    beyond = CURVED + plate.replace("<>", f"{wattless + 0.01:.3f}")
    assert "pump.P1.plate.no_load_current: does not go with 20.0 A" in refusal(
        tmp_path, beyond + supply
    )
    assert read(tmp_path, beyond).warnings == ()  # without the supply nobody knows


def test_levels_are_told_as_the_file_counts_them(tmp_path: Path) -> None:
    text = in_frame(f'levels_are = "elevation"\n{FLOOR}', ELEVATIONS)
    told = refusal(tmp_path, text + '[acceptance]\nlevels = ["98.2 m"]\n')
    assert "(found 98.20 m (elevation); accepted: above 98.20 m (elevation))" in told


WITHOUT_MAIN = '[acceptance.header_gauge]\nlevel = "5 m"\n'
WARNED: dict[str, tuple[str, str]] = {
    "a drop below the stop": (f'{CURVED}{TOP}drop = "0.9 m"', "acceptance.drop: is more than from control.lead_start to control.stop: the pump stops before its end (found 0.90 m; accepted: up to 0.80 m)"),
    "a header gauge without a main": (DUPLEX + WITHOUT_MAIN, "acceptance.header_gauge: is of no use without [force_main]"),
    "a pump gauge without a curve": (f'{DUPLEX}{PUMP}level = "5 m"', "acceptance.pump_gauge: is of no use: no pump has a curve"),
    "a branch that is none": (f'{CURVED}{PUMP}level = "5 m"\nbranch_part = 0.5', "acceptance.pump_gauge.branch_part: has no effect: no pump has a branch"),
    "a gauge over the end of the main": (f'{CURVED}{HEADER}level = "8 m"', "acceptance.header_gauge.level: does not lie below force_main.discharge: with the pumps at rest it would read less than the air (found 8.00 m; accepted: below 8.00 m)"),
    "a gauge deep in the ground": (f'{CURVED}{PUMP}level = "-93 m"', "acceptance.pump_gauge.level: lies far below the floor of the well (found -93.00 m; accepted: -5.00 m or above)"),
    "a level under one opening": (f'{CURVED}[pump.P2.inlet]\nlevel = "0.4 m"\n{TOP}levels = ["1.5 m", "0.4 m"]', "acceptance.levels: holds a level that leaves no water over the suction opening of P2 (found 0.40 m; accepted: above 0.40 m)"),
    "the synchronous speed": (f'{CURVED}[pump.P2.plate]\npoles = 4\nrated_speed = "1500 rpm"', "pump.P2.plate.rated_speed: is no speed at full load of a motor of 4 poles on the grid (found 1500 rpm; accepted: 1350 to less than 1500 rpm on 50 Hz, 1620 to less than 1800 rpm on 60 Hz)"),
    "a speed of two poles": (f'{CURVED}[pump.P2.plate]\npoles = 4\nrated_speed = "2920 rpm"', "pump.P2.plate.rated_speed: is no speed at full load"),
}  # fmt: skip


@pytest.mark.parametrize("name", WARNED)
def test_what_makes_no_sense_but_harms_nobody_is_a_warning(tmp_path: Path, name: str) -> None:
    text, said = WARNED[name]
    (warning,) = read(tmp_path, f"{text}\n").warnings
    assert said in warning.text()
    assert warning.fix
    assert warning.source


@pytest.mark.parametrize(
    "tail",
    [
        f'{TOP}drop = "0.8 m"',  # just down to the stop level
        f'{TOP}levels = ["4.19 m", "0.01 m"]',
        f'{HEADER}level = "7.99 m"',
        f'{HEADER}level = "-5 m"',
        f'{PUMP}level = "5 m"\nbranch_part = 0',
        f'{MOTOR}current = "20 A"\npower_factor = 0.8\nno_load_current = "11.99 A"',
        f'{MOTOR}poles = 4\nrated_speed = "1350 rpm"',
        f'{MOTOR}poles = 4\nrated_speed = "1799 rpm"',
        f'{MOTOR}poles = 4\nrated_speed = "1500 rpm"\nstarter = "variable speed"',
        f'{MOTOR}rated_speed = "2920 rpm"',
        f'{TOP}start = "00:00"\ntime_part = 0\ntime_tolerance = "0 s"',
        f'{OFF}flow_meter = 0\npressure = "0 Pa"\nlevel = "0 m"\ntime = "0 s"\narea = "0 %"',
    ],
)
def test_what_just_fits_is_taken(tmp_path: Path, tail: str) -> None:
    assert read(tmp_path, f"{CURVED}{tail}\n").warnings == ()
    assert reddened(f"{CURVED}{tail}\n") == []


def test_a_controller_of_ones_own_has_no_lead_start_to_measure_a_drop_from(tmp_path: Path) -> None:
    levels = 'kind = "staging"\nstop = "0.70 m"\nlead_start = "1.50 m"\nlag_start = "1.80 m"\n'
    text = changed(levels, 'kind = "plug_ins:Scanning"\n', CURVED)
    assert plan(tmp_path, f'{text}{TOP}drop = "4.1 m"\n').drop_m == 4.1
    told = refusal(tmp_path, f'{text}{TOP}drop = "4.2 m"\n')
    assert "acceptance.drop: is as much as the well is deep: it leaves no water" in told
    endless = changed('[spill]\nlevel = "4.20 m"\n', "", text)
    assert plan(tmp_path, f'{endless}{TOP}drop = "19 m"\n').drop_m == 19.0


def test_ranges_are_told_in_us_units_too_in_a_file_that_uses_them(tmp_path: Path) -> None:
    us = DUPLEX.replace("30 L/s", "475 gpm").replace("10 L/s", "160 gpm")
    us += (
        '[acceptance]\nlevel_tolerance = "30 in"\n[acceptance.uncertainty]\npressure = "500 psi"\n'
    )
    us += '[pump.P1.plate]\nrated_speed = "13000 rpm"\n'
    told = refusal(tmp_path, us)
    assert "accepted: more than 0 to 0.5 m (0 to 19.68 in)" in told
    assert "accepted: from 0 to 1000 kPa (0 to 145 psi)" in told
    assert "accepted: more than 0 to 12000 rpm)" in told


def test_the_command_line_says_it_without_a_traceback(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(f'{CURVED}[acceptance]\ndrop = "1.5 m"\n', encoding="utf-8")
    done = CliRunner().invoke(main, ["run", str(file), "--out", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "acceptance.drop: is as much as from control.lead_start" in done.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("system", ["si", "us"])
def test_the_starter_holds_a_day_that_only_waits_for_its_mark(tmp_path: Path, system: Any) -> None:
    lines = starter_text(system=system).splitlines()
    assert plan(tmp_path, "\n".join(lines)) == AcceptancePlan()
    waiting = re.compile(r"# (\[[\w.]+\]|\w+ = )")
    awake = "\n".join(line.removeprefix("# ") if waiting.match(line) else line for line in lines)
    loaded = read(tmp_path, awake)
    assert loaded.warnings == ()
    found, plate = loaded.station.ratings.acceptance, loaded.station.ratings.plates["P1"]
    assert None not in (found.water_m3s, found.drop_m, found.grade)
    assert found.header_gauge is not None
    assert found.pump_gauge is not None
    cover = loaded.station.cover_m
    assert cover is not None
    assert found.header_gauge.level_m > cover
    # what it says of readings is the default, and its motor fits its grid
    assert found.uncertainty.flow_meter == Uncertainties.flow_meter
    assert found.uncertainty.pressure_pa == pytest.approx(Uncertainties.pressure_pa, rel=0.05)
    assert plate.rated_speed is not None
    hertz = 50.0 if system == "si" else 60.0
    assert 0.95 < plate.rated_speed / (2.0 * hertz / 4.0) < 1.0
    assert reddened(awake) == []


def test_osier_wharf_has_what_the_day_of_acceptance_needs() -> None:
    station = load(SCENARIOS / "osier-wharf.toml").station
    found, plate = station.ratings.acceptance, station.ratings.plates["P1"]
    assert None not in (found.water_m3s, found.drop_m, found.grade)
    assert None not in (plate.no_load_a, plate.rated_speed)
    assert found.header_gauge is not None
    assert found.pump_gauge is not None
    assert station.force_main is not None
    # a pump's gauge shows more than that of the header, by the rest of its branch
    point = operating_point(station.pumps[:1], station.force_main, 1.4, None)
    curve, branch = station.pumps[0].curve_now(), station.pumps[0].branch
    assert curve is not None
    assert branch is not None
    flow = point.total_m3s
    head = 1.4 + curve.head_at(flow)
    lost, rest = (part * branch.loss_m(flow) for part in (0.7, 0.3))
    header = station.force_main.discharge_level_m + station.force_main.loss_m(flow)
    assert head - lost - rest == pytest.approx(header, abs=1e-3)
    at_pump = gauge_pa(head - lost, found.pump_gauge.level_m, flow, found.pump_gauge.bore_m)
    at_header = gauge_pa(header, found.header_gauge.level_m, flow, found.header_gauge.bore_m)
    # about 55 m of water over the dial of either
    assert 450e3 < at_header < 600e3
    assert 450e3 < at_pump < 600e3


def test_alder_lane_and_the_reference_station_have_a_day_too() -> None:
    alder = load(SCENARIOS / "alder-lane.toml").station
    assert alder.ratings.acceptance.header_gauge is not None
    assert set(alder.ratings.plates) == {"P1", "P2", "P3"}
    service, plate = alder.ratings.service, alder.ratings.plates["P2"]
    assert service is not None
    # I = P / (sqrt(3) U eta cos phi), a closed form
    at_full_load = 11e3 / (math.sqrt(3.0) * service.voltage_v * 0.89 * 0.83)
    assert plate.current_a == pytest.approx(at_full_load, rel=0.01)
    point = operating_point(alder.pumps[:1], alder.force_main, 1.1, None)
    curve = alder.pumps[0].curve
    assert curve is not None
    shaft_w = alder.pumps[0].input_w(point.total_m3s, curve.head_at(point.total_m3s)) * 0.89
    assert 0.6 * 11e3 < shaft_w < 11e3
    small = load(SCENARIOS / "reference-station.toml").station.ratings.acceptance
    assert (small.water_m3s, small.drop_m, small.header_gauge) == (0.010, 0.5, None)


@pytest.mark.parametrize(
    "word",
    ["gauge", "shut-off head", "drawdown test", "acceptance grade", "uncertainty", "no-load current",
     "rated speed", "direction of rotation", "baseline", "day of acceptance", "acceptance test"],
)  # fmt: skip
def test_its_words_are_explained(word: str) -> None:
    assert vocabulary.lookup(word) is not None
    done = CliRunner().invoke(main, ["explain", word])
    assert done.exit_code == 0
    assert "word" in done.output.splitlines()[0]

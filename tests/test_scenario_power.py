"""Standby power, exercise runs and what the panel does against trouble, as a scenario says it.

Loads are checked by the closed forms S = P / (eta cos phi) and S = sqrt(3) U I.
"""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from scenario_texts import CURVED, DUPLEX, changed

from stationsim.equipment.exercise import Exercise
from stationsim.equipment.power import GeneratorSet, StandbyPower, TransferSwitch
from stationsim.errors import ScenarioError
from stationsim.scenario.json_schema import json_schema
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.overrides import to_toml
from stationsim.station import AlarmSettings

PLATES = (
    '[service]\nvoltage = "400 V"\n'
    '[pump.P1.plate]\nrated_power = "18 kW"\nefficiency = "90 %"\npower_factor = 0.8\n'
    'run_up_time = "4 s"\n'
)
FIXED = '[generator]\nrated_power = "60 kW"\n'
WHOLE = PLATES + (
    '[generator]\nrated_power = "60 kW"\nrated_apparent_power = "75 kVA"\n'
    'start_apparent_power = "200 kVA"\nmost_running = 1\nmay_start = ["P1"]\ncrank_tries = 3\n'
    'crank_time = "10 s"\ncrank_rest = "15 s"\nrun_up = "6 s"\n'
    'fuel_loads = ["0 %", 0.5, "100 %"]\nfuel_rates = ["3 L/h", "9 L/h", "16 L/h"]\n'
    'tank = "300 L"\n'
    '[transfer]\nstart_delay = "3 s"\ntransfer_time = "2 s"\nreturn_after = "10 min"\n'
    'return_break = "1 s"\ncool_down = "5 min"\nboot_time = "20 s"\n'
    '[mobile_generator]\nrated_power = "40 kW"\nfuel_rate = "8 L/h"\ntank = "90 L"\n'
)


def loaded(folder: Path, text: str, **options: list[str]) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def refused(folder: Path, text: str, **options: list[str]) -> str:
    with pytest.raises(ScenarioError) as caught:
        loaded(folder, text, **options)
    return str(caught.value)


def warned(folder: Path, text: str) -> list[str]:
    return [one.text() for one in loaded(folder, text).warnings]


def per_h(litres: float) -> float:
    return litres / 3.6e6


# ------------------------------------------------------------------- generators


def test_all_of_standby_power_is_read(tmp_path: Path) -> None:
    made = loaded(tmp_path, DUPLEX + WHOLE)
    power = made.station.standby_power
    assert power is not None
    assert power.generator == GeneratorSet(
        60e3, 75e3, 200e3, 1, ("P1",), 3, 10.0, 15.0, 6.0, (0.0, 0.5, 1.0),
        pytest.approx((per_h(3), per_h(9), per_h(16))), pytest.approx(0.3),
    )  # fmt: skip
    assert power.transfer == TransferSwitch(3.0, 2.0, 600.0, 1.0, 300.0)
    assert power.boot_s == 20.0
    assert power.mobile == GeneratorSet(
        40e3, fuel_loads=(0.0, 1.0), fuel_rates_m3_per_s=pytest.approx((per_h(8), per_h(8))),
        tank_m3=pytest.approx(0.09),
    )  # fmt: skip
    assert list(Draft202012Validator(json_schema()).iter_errors(made.document)) == []
    (tmp_path / "s.toml").write_text(to_toml(made.document), encoding="utf-8")
    assert load(tmp_path / "s.toml").station == made.station


def test_loads_follow_from_the_plates(tmp_path: Path) -> None:
    power = loaded(tmp_path, DUPLEX + WHOLE).station.standby_power
    running = 18e3 / 0.9 / 0.8
    assert power is not None
    assert set(power.loads) == {"P1", "P2"}  # P2 is like P1
    load_of = power.loads["P2"]
    assert load_of.running_va == pytest.approx(running, rel=1e-12)
    assert load_of.start_va == pytest.approx(6.0 * running, rel=1e-12)
    assert load_of.start_s == 4.0


@pytest.mark.parametrize(
    ("plate", "service", "running", "start"),
    [
        ('current = "30 A"', '"400 V"', math.sqrt(3) * 400.0 * 30.0, 6.0),
        ('current = "30 A"\nstarter = "soft starter"', '"480 V"', math.sqrt(3) * 480.0 * 30.0, 3.0),
        ('current = "30 A"\nstart_ratio = 7.5', '"400 V"', math.sqrt(3) * 400.0 * 30.0, 7.5),
        ('current = "30 A"', '"230 V"\nphases = 1', 230.0 * 30.0, 6.0),
        ('rated_power = "9 kW"\nefficiency = 0.9\npower_factor = 0.8', "", 12.5e3, 6.0),
        ('rated_power = "9 kW"\nefficiency = 0.9\npower_factor = 0.8', '"690 V"', 12.5e3, 6.0),
    ],
)
def test_a_load_by_current_or_by_output(
    tmp_path: Path, plate: str, service: str, running: float, start: float
) -> None:
    text = DUPLEX + f"{FIXED}[transfer]\n[pump.P1.plate]\n{plate}\n"
    text += f"[service]\nvoltage = {service}\n" if service else ""
    power = loaded(tmp_path, text).station.standby_power
    assert power is not None
    found = power.loads["P1"]
    assert found.running_va == pytest.approx(running, rel=1e-12)
    assert found.start_va == pytest.approx(start * running, rel=1e-12)


def test_a_pump_without_a_plate_counts_nought_and_is_told(tmp_path: Path) -> None:
    made = loaded(tmp_path, DUPLEX + FIXED + "[transfer]\n")
    assert made.station.standby_power == StandbyPower(GeneratorSet(60e3))
    limits = 'start_apparent_power = "120 kVA"\n'
    told = [one.text() for one in made.warnings]
    assert not any("counts nought" in one for one in told)  # there is no limit to count towards
    told = warned(tmp_path, DUPLEX + FIXED + limits + "[transfer]\n")
    assert any("pump.P1.plate: says too little: P1 counts nought on the generator" in one
               for one in told)  # fmt: skip
    text = DUPLEX + f'{FIXED}{limits}[transfer]\n[pump.P1.plate]\ncurrent = "30 A"\n'
    assert any("service: is missing: P1 counts nought" in one for one in warned(tmp_path, text))


def test_a_generator_counts_in_a_run_only_with_a_transfer_switch(tmp_path: Path) -> None:
    station = loaded(tmp_path, DUPLEX + PLATES + FIXED).station
    assert station.standby_power is None
    assert station.ratings.generator is not None
    mobile = '[mobile_generator]\nrated_power = "40 kW"\n'
    power = loaded(tmp_path, DUPLEX + PLATES + FIXED + mobile).station.standby_power
    assert power is not None
    assert (power.generator, power.mobile) == (None, GeneratorSet(40e3))


@pytest.mark.parametrize(
    ("tail", "said"),
    [
        ("[transfer]\n", "transfer: switches to a generator, and there is none"),
        (
            f'{FIXED}[transfer]\n[grid]\nbreak_after = "10 min"\nbreak_length = "2 s"\n',
            "grid: and [transfer] are two answers",
        ),
        (f'{FIXED}fuel_loads = ["0 %", "100 %"]\n', "generator.fuel_rates: is missing"),
        (f'{FIXED}fuel_rates = ["3 L/h", "9 L/h"]\n', "generator.fuel_loads: is missing"),
        (
            f'{FIXED}fuel_loads = [0, 0.5, 1]\nfuel_rates = ["3 L/h", "9 L/h"]\n',
            "generator.fuel_rates: loads and rates are not as many",
        ),
        (
            f'{FIXED}fuel_loads = [0, 1, 0.5]\nfuel_rates = ["3 L/h", "9 L/h", "9 L/h"]\n',
            "generator.fuel_loads: do not rise all the way (found 100 %, then 50 %",
        ),
        (
            f'{FIXED}fuel_loads = [0, 1]\nfuel_rates = ["9 L/h", "3 L/h"]\n',
            "generator.fuel_rates: fall: a set burns no less at more load",
        ),
        (f'{FIXED}may_start = ["P3"]\n', "generator.may_start: no electric pump is called 'P3'"),
        (f'{FIXED}may_start = ["p1"]\n', "did you mean 'P1'?"),
        (f"{FIXED}crank_tries = 0\n", "generator.crank_tries: an engine is cranked once or a few"),
        (f'{FIXED}run_upp = "6 s"\n', "did you mean 'run_up'?"),
        (
            '[mobile_generator]\nrated_power = "40 kW"\ncrank_tries = 3\n',
            "unknown key 'crank_tries'",
        ),
        ("[mobile_generator]\n", "mobile_generator.rated_power: is missing"),
        (
            '[mobile_generator]\nrated_power = "40 kW"\nrated_apparent_power = "30 kVA"\n',
            "mobile_generator.rated_power: is more than mobile_generator.rated_apparent_power",
        ),
    ],
)
def test_standby_power_that_contradicts_itself_is_refused(
    tmp_path: Path, tail: str, said: str
) -> None:
    assert said in refused(tmp_path, DUPLEX + tail)


def test_a_generator_too_small_for_a_pump_is_told_with_its_number(tmp_path: Path) -> None:
    small = (
        '[generator]\nrated_power = "20 kW"\nrated_apparent_power = "24 kVA"\n'
        'start_apparent_power = "100 kVA"\n[transfer]\n'
    )
    told = warned(tmp_path, DUPLEX + PLATES + small)
    start = next(one for one in told if "generator.start_apparent_power" in one)
    assert "is too little to start P1: the set would trip" in start
    assert "100 kVA" in start
    assert "150 kVA or more" in start  # 6 x 25 kVA
    assert any("too little to carry P1" in one and "25 kVA or more" in one for one in told)
    enough = small.replace('"100 kVA"', '"150 kVA"').replace('"24 kVA"', '"25.0001 kVA"')
    assert not any("too little" in one for one in warned(tmp_path, DUPLEX + PLATES + enough))
    held = small.replace("[transfer]", 'may_start = ["P2"]\n[transfer]')
    assert any("to start P2" in one for one in warned(tmp_path, DUPLEX + PLATES + held))


def test_fuel_that_is_given_by_load_needs_no_plain_rate(tmp_path: Path) -> None:
    tank = f'{FIXED}tank = "90 L"\n'
    assert any("generator.tank: has no effect" in one for one in warned(tmp_path, DUPLEX + tank))
    by_load = 'fuel_loads = [0, 1]\nfuel_rates = ["3 L/h", "9 L/h"]\n[transfer]\n'
    told = warned(tmp_path, DUPLEX + PLATES + tank + by_load)
    assert not any("tank" in one for one in told)
    mobile = '[mobile_generator]\nrated_power = "40 kW"\ntank = "90 L"\nmost_running = 5\n'
    told = warned(tmp_path, DUPLEX + PLATES + mobile)
    assert any("mobile_generator.tank: has no effect" in one for one in told)
    assert any("mobile_generator.most_running: is more than there are" in one for one in told)


# ------------------------------------------------------------------- exercise


@pytest.mark.parametrize(
    ("at", "first_clock_s"),
    [
        ("Tue 10:00", 86400.0 + 36000.0),
        ("10:00", 36000.0),
        ("06:00", 7 * 86400.0 + 21600.0),  # the start is Monday 06:30
        ("after 26 h", 6.5 * 3600.0 + 26 * 3600.0),
        ("2027-03-04 09:00", 3 * 86400.0 + 32400.0),
    ],
)
def test_the_first_exercise_is_read(tmp_path: Path, at: str, first_clock_s: float) -> None:
    tail = f'[exercise]\nevery = "7 d"\nat = "{at}"\npump_time = "2 min"\n'
    made = loaded(tmp_path, DUPLEX + tail)
    assert made.station.exercise == Exercise(first_clock_s, 604800.0, 120.0)
    assert made.warnings == ()


def test_everything_can_be_exercised(tmp_path: Path) -> None:
    engine = '[engine_pump]\nstart = "2.2 m"\nstop = "0.9 m"\nflow = "30 L/s"\n'
    tail = (
        f'{PLATES}{FIXED}[transfer]\n{engine}[exercise]\nevery = "14 d"\nat = "day 1 12:00"\n'
        'pump_time = "2 min"\nengine_time = "15 min"\ngenerator_time = "30 min"\n'
    )
    found = loaded(tmp_path, DUPLEX + tail).station.exercise
    assert found == Exercise(43200.0, 1209600.0, 120.0, 900.0, 1800.0)


@pytest.mark.parametrize(
    ("tail", "said"),
    [
        ('every = "7 d"\n', "exercise.at: is missing"),
        ('at = "10:00"\n', "exercise.every: is missing"),
        ('every = "7 d"\nat = "noon"\n', "exercise.at: 'noon' does not begin with a time"),
        ('every = "7 d"\nat = "10:00 P1"\n', "'P1' is left over after the time"),
        ('every = "1 min"\nat = "10:00"\n', "exercise.every: duration out of range"),
        (
            'every = "7 d"\nat = "10:00"\nengine_time = "5 min"\n',
            "exercise.engine_time: needs an engine-driven pump",
        ),
        (
            'every = "7 d"\nat = "10:00"\ngenerator_time = "5 min"\n',
            "exercise.generator_time: needs a generator that a run uses",
        ),
    ],
)
def test_an_exercise_that_cannot_be_is_refused(tmp_path: Path, tail: str, said: str) -> None:
    assert said in refused(tmp_path, f"{DUPLEX}[exercise]\n{tail}")


def test_an_exercise_of_nothing_is_told(tmp_path: Path) -> None:
    (told,) = warned(tmp_path, DUPLEX + '[exercise]\nevery = "7 d"\nat = "10:00"\n')
    assert "nothing is exercised" in told


# ------------------------------------------------------------------- pumps, panel, main


def test_what_a_panel_does_for_a_pump_is_read(tmp_path: Path) -> None:
    keys = (
        'no_flow_after = "60 s"\nno_flow = "stop"\nair_bound_below = "0.4 m"\n'
        'vent_time = "10 min"\n'
        'overload_below = "50 %"\nreverse_tries = 3\nreverse_time = "20 s"\nreverse_clears = 0.6\n'
        'stop_clears = "20 %"\nrides_through = "0.15 s"\nafter_sag = "waits for reset"\n'
    )
    made = loaded(tmp_path, changed("[pump.P1]\n", f"[pump.P1]\n{keys}", DUPLEX))
    assert made.warnings == ()
    for pump in made.station.pumps:  # P2 is like P1
        assert (pump.no_flow_after_s, pump.no_flow) == (60.0, "stop")
        assert (pump.air_bound_below_m, pump.vent_s) == (0.4, 600.0)
        assert (pump.overload_below, pump.stop_clears) == (0.5, pytest.approx(0.2))
        assert (pump.reverse_tries, pump.reverse_s, pump.reverse_clears) == (3, 20.0, 0.6)
        assert (pump.rides_through_s, pump.after_sag) == (0.15, "waits for reset")
    plain = loaded(tmp_path, DUPLEX).station.pumps[0]
    assert (plain.no_flow_after_s, plain.air_bound_below_m, plain.vent_s) == (None, None, math.inf)
    assert (plain.overload_below, plain.reverse_tries, plain.after_sag) == (0.0, 0, "restarts")


def test_a_level_of_air_is_read_in_the_frame_of_the_file(tmp_path: Path) -> None:
    text = changed("[pump.P1]\n", '[pump.P1]\nair_bound_below = "4.6 m"\n', DUPLEX)
    for old, new in {
        'name = "Test duplex"\n': 'name = "T"\nlevels_are = "below cover"\ndepth = "5 m"\n',
        '"4.20 m"': '"0.80 m"', '"0.70 m"': '"4.30 m"', '"1.50 m"': '"3.50 m"',
        '"1.80 m"': '"3.20 m"', '"0.8 m"': '"4.2 m"',
    }.items():  # fmt: skip
        text = changed(old, new, text)
    assert loaded(tmp_path, text).station.pumps[0].air_bound_below_m == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (
            'air_bound_below = "0.7 m"',
            "at or above control.stop: the pump would be air-",
        ),
        (
            'air_bound_below = "1.6 m"',
            "at or above control.lead_start: the pump would",
        ),
        ('no_flow = "stop"', "pump.P1.no_flow: has no effect without no_flow_after"),
        ("reverse_tries = 2", "pump.P1.reverse_tries: has no effect without overload_below"),
        ('overload_below = 0.5\nreverse_time = "9 s"', "has no effect without reverse_tries"),
    ],
)
def test_settings_against_practice_are_told(tmp_path: Path, keys: str, said: str) -> None:
    told = warned(tmp_path, changed("[pump.P1]\n", f"[pump.P1]\n{keys}\n", DUPLEX))
    assert any(said in one for one in told)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('no_flow = "trip"', 'accepted: "alarm", "stop"'),
        ('after_sag = "never"', 'accepted: "restarts", "waits for reset"'),
        ('overload_below = "150 %"', "number out of range"),
        ('stop_clears = "often"', "where a number is needed"),
        ("reverse_tries = 60\noverload_below = 0.5", "a panel tries a few times"),
        ("reverse_tries = -1", "whole number out of range"),
        ('vent_tim = "3 min"', "did you mean 'vent_time'?"),
        ('rides_through = "150"', "has no unit"),
    ],
)
def test_settings_that_cannot_be_are_refused(tmp_path: Path, keys: str, said: str) -> None:
    assert said in refused(tmp_path, changed("[pump.P1]\n", f"[pump.P1]\n{keys}\n", DUPLEX))


def test_alarms_floats_scans_and_priming_are_read(tmp_path: Path) -> None:
    text = changed('name = "Test duplex"\n', 'name = "T"\nlevel_scan = "30 s"\n', DUPLEX) + (
        '[alarms]\ntelemetry_lost_delay = "15 min"\nsupply = "control"\n'
        '[backup_floats]\nstart = "2.0 m"\nstop = "0.5 m"\nsupply = "control"\n'
        '[engine_pump]\nstart = "2.2 m"\nstop = "0.9 m"\nflow = "30 L/s"\nprime_limit = "3 min"\n'
    )
    station = loaded(tmp_path, text).station
    assert station.scan_s == 30.0
    assert station.alarms == AlarmSettings(telemetry_lost_delay_s=900.0, supply="control")
    assert station.backup_floats is not None
    assert station.backup_floats.supply == "control"
    assert station.engine_pump is not None
    assert station.engine_pump.prime_limit_s == 180.0
    plain = loaded(tmp_path, DUPLEX).station
    assert (plain.scan_s, plain.alarms.supply) == (10.0, "own")


@pytest.mark.parametrize(
    ("text", "volume_m3"),
    [
        (CURVED, math.pi / 4.0 * 0.2**2 * 100.0),
        (changed('length = "100 m"', 'length = "100 m"\nruns_back = "1.5 m3"', CURVED), 1.5),
        (changed('length = "100 m"', 'length = "100 m"\nruns_back = "0 m3"', CURVED), 0.0),
        (DUPLEX, 0.0),
        (
            changed(
                'length = "100 m"\ndiameter = "200 mm"\nc_factor = 120\n',
                'pipe.A = {length = "50 m", diameter = "100 mm", c_factor = 120}\n'
                'pipe.B = {length = "80 m", diameter = "200 mm", c_factor = 120}\n',
                CURVED,
            ),
            math.pi / 4.0 * (0.1**2 * 50.0 + 0.2**2 * 80.0),
        ),
    ],
)
def test_what_runs_back_is_what_the_bore_holds(tmp_path: Path, text: str, volume_m3: float) -> None:
    assert loaded(tmp_path, text).station.main_water_m3 == pytest.approx(volume_m3, rel=1e-12)


@pytest.mark.parametrize("table", ["generator", "mobile_generator"])
def test_a_starting_limit_without_a_plate_is_told_to_have_no_effect(
    tmp_path: Path, table: str
) -> None:
    limits = f'[{table}]\nrated_power = "60 kW"\nstart_apparent_power = "1 VA"\n[transfer]\n'
    fixed = "" if table == "generator" else FIXED
    place = f"{table}.start_apparent_power: "
    told = [one for one in warned(tmp_path, DUPLEX + fixed + limits) if place in one]
    assert len(told) == 1
    assert "has no effect in a run: no pump that may run on it has a plate" in told[0]
    told = [one for one in warned(tmp_path, DUPLEX + PLATES + fixed + limits) if place in one]
    assert len(told) == 1
    assert "is too little to start P1: the set would trip" in told[0]


@pytest.mark.parametrize(
    ("below", "said"),
    [("9 m", "does not lie below the cover"), ("5 m", "does not lie below the cover")],
)
def test_a_pump_that_could_never_draw_water_is_refused(
    tmp_path: Path, below: str, said: str
) -> None:
    deep = changed('name = "Test duplex"\n', 'name = "T"\ndepth = "5 m"\n', DUPLEX)
    text = changed("[pump.P1]\n", f'[pump.P1]\nair_bound_below = "{below}"\n', deep)
    assert said in refused(tmp_path, text)
    lower = text.replace(f'air_bound_below = "{below}"', 'air_bound_below = "4.99 m"')
    assert any("air-bound as soon as it starts" in one for one in warned(tmp_path, lower))


@pytest.mark.parametrize(
    "text",
    [
        FIXED + 'tank = "0 L"\nfuel_rate = "8 L/h"\n[transfer]\n',
        '[mobile_generator]\nrated_power = "40 kW"\nfuel_rate = "8 L/h"\ntank = "0 L"\n',
        (
            '[engine_pump]\nstart = "2.2 m"\nstop = "0.9 m"\nflow = "30 L/s"\n'
            'fuel_rate = "8 L/h"\ntank = "0 L"\n'
        ),
    ],
)
def test_a_tank_that_holds_nothing_is_refused(tmp_path: Path, text: str) -> None:
    assert 'tank: volume out of range (found "0 L"; accepted: more than 0 to' in refused(
        tmp_path, DUPLEX + text
    )


@pytest.mark.parametrize(("after", "told"), [("9 s", True), ("10 s", False), ("2 min", False)])
def test_a_signal_that_is_read_seldom_cannot_be_frozen_sooner(
    tmp_path: Path, after: str, told: bool
) -> None:
    floats = f'[backup_floats]\nstart = "2.0 m"\nstop = "0.5 m"\nfrozen_after = "{after}"\n'
    found = [one for one in warned(tmp_path, DUPLEX + floats) if "frozen_after" in one]
    assert bool(found) is told
    assert all("is shorter than station.level_scan" in one for one in found)


SUCTION = (
    '[engine_pump]\nstart = "2.2 m"\nstop = "0.9 m"\nflow = "30 L/s"\n'
    '[engine_pump.suction]\neye_level = "{eye}"\nlength = "6 m"\ndiameter = "200 mm"\n'
    'c_factor = 120\nnpsh_required = "2.5 m"\nmost_priming_lift = "6 m"\n'
)


@pytest.mark.parametrize(
    ("eye", "start", "stop"),
    [("4.0 m", False, False), ("5.05 m", False, False), ("5.3 m", False, True),
     ("8.3 m", True, True)],
)  # fmt: skip
def test_a_lift_from_which_no_pump_primes_is_told(
    tmp_path: Path, eye: str, start: bool, stop: bool
) -> None:
    # 6.71 m less 2.5 m of head required leaves 4.2 m over the stop level of 0.9 m: an eye at 5.1 m
    told = warned(tmp_path, DUPLEX + SUCTION.replace("{eye}", eye))
    assert any("higher over the start level than this pump primes from" in one
               for one in told) is start  # fmt: skip
    assert any("lift, loss and head required at the stop level" in one for one in told) is stop


def test_a_file_in_us_units_reads_to_the_same_station(tmp_path: Path) -> None:
    text = changed("[pump.P1]\n", '[pump.P1]\nair_bound_below = "16 in"\n', DUPLEX) + (
        '[generator]\nrated_power = "80 hp"\nfuel_loads = ["0 %", "100 %"]\n'
        'fuel_rates = ["1 gal/h", "4 gal/h"]\ntank = "80 gal"\n[transfer]\n'
        '[random.rags]\nwhat = "level signal off by -8 in"\nrate = "2 per year"\n'
    )
    made = loaded(tmp_path, text)
    assert made.station.pumps[0].air_bound_below_m == pytest.approx(16 * 0.0254)
    power = made.station.standby_power
    assert power is not None
    assert power.generator is not None
    gallon = 231 * 0.0254**3
    assert power.generator.tank_m3 == pytest.approx(80 * gallon)
    assert power.generator.fuel_rates_m3_per_s[1] == pytest.approx(4 * gallon / 3600.0)
    assert made.episode.random[0].events[0].amount == pytest.approx(-8 * 0.0254)
    assert made.episode.start == datetime.fromisoformat("2027-03-01T06:30+01:00")

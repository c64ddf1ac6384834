"""Motors that heat, engines that crank, backup floats and the tariff, as a scenario gives them."""

# ruff: noqa: E501 - messages are kept whole
from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner
from scenario_texts import DUPLEX, changed

from stationsim import load_scenario, simulate, vocabulary
from stationsim.cli import main
from stationsim.control.backup import BackupSettings
from stationsim.physics.motor import MotorHeat
from stationsim.physics.tariff import Band, Tariff
from stationsim.scenario.load import load

MOTOR = """\
[pump.P1.motor]
ambient = "20 degC"
full_rise = "85 K"
heating_time = "40 min"
cooling_time = "100 min"
trip = "90 degC"
reset = "60 degC"
"""
FLOATS = '[backup_floats]\nstart = "2.10 m"\nstop = "0.45 m"\n'
NIGHT = '[tariff.night]\nfrom = "22:00"\nto = "06:00"\nprice = 0.11\n'
DAY = '[tariff.day]\nfrom = "06:00"\nto = "22:00"\nprice = 0.25\n'
ENGINE = '[engine_pump]\nflow = "30 L/s"\nstart = "2.2 m"\nstop = "0.8 m"\n'


def written(folder: Path, text: str) -> Path:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_motor_is_read_and_taken_over_by_a_pump_that_is_like_it(tmp_path: Path) -> None:
    text = DUPLEX + MOTOR.replace(
        'ambient = "20 degC"',
        'ambient = "68 degF"\nragged_factor = 1.5\nnot_submerged_factor = 1.25\n'
        'top = "0.9 m"\nmost_resets = 3',
    )
    text = changed("[pump.P2]", 'fail_to_start_time = "8 s"\n[pump.P2]', text)
    station, _ = load_scenario(written(tmp_path, text))
    for pump in station.pumps:
        assert pump.motor_heat == MotorHeat(20.0, 85.0, 2400.0, 6000.0, 90.0, 60.0, 1.5, 1.25)
        assert (pump.motor_top_m, pump.most_resets) == (0.9, 3)
        assert pump.fail_to_start_s == 8.0


def test_motor_left_out_has_no_heat_and_resets_left_out_are_always(tmp_path: Path) -> None:
    station, _ = load_scenario(written(tmp_path, DUPLEX))
    assert station.pumps[0].motor_heat is None
    station, _ = load_scenario(written(tmp_path, DUPLEX + MOTOR + "most_resets = 0\n"))
    assert station.pumps[0].most_resets == 0
    station, _ = load_scenario(written(tmp_path, DUPLEX + MOTOR))
    assert station.pumps[0].most_resets is None
    assert station.pumps[0].motor_top_m is None


def test_levels_of_floats_and_of_a_motor_are_in_the_reference_of_the_file(tmp_path: Path) -> None:
    text = DUPLEX + FLOATS + MOTOR + 'top = "0.9 m"\n'
    text = changed(
        'name = "Test duplex"', 'name = "T"\nlevels_are = "below cover"\ndepth = "5 m"', text
    )
    for old in ("4.20", "0.70", "1.50", "1.80", "0.8", "2.10", "0.45", "0.9"):
        text = text.replace(f'"{old} m"', f'"{5.0 - float(old):.2f} m"')
    station, _ = load_scenario(written(tmp_path, text))
    assert station.backup_floats == BackupSettings(2.10, 0.45, 0.0, None, 0.1)
    assert station.pumps[0].motor_top_m == 0.9


@pytest.mark.parametrize("rotation", ["fixed", "each cycle"])
def test_floats_lead_with_one_pump_unless_the_file_lets_them_take_turns(
    tmp_path: Path, rotation: str
) -> None:
    event = '[event.lost]\ntext = "06:40 level signal lost"\n'
    asked = "" if rotation == "fixed" else f'rotation = "{rotation}"\n'
    station, episode = load_scenario(written(tmp_path, DUPLEX + FLOATS + asked + event))
    assert station.backup_floats == BackupSettings(2.10, 0.45, 0.0, None, 0.1, rotation)
    runs = simulate(station, episode).trace.runs
    by_floats = [run.machine for run in runs if run.started_by == "backup start float"]
    assert len(by_floats) > 20
    turns = sum(one != other for one, other in pairwise(by_floats))
    assert turns == (0 if rotation == "fixed" else len(by_floats) - 1)


def test_engine_is_read_and_fails_after_its_tries(tmp_path: Path) -> None:
    engine = ENGINE + (
        'crank_tries = 3\ncrank_time = "10 s"\ncrank_rest = "20 s"\nwarm_up = "30 s"\nprime = "15 s"\n'
    )
    events = '[event]\na.text = "07:00 E1 fails to start"\nb.text = "08:00 grid loss for 6 h"\n'
    station, episode = load_scenario(written(tmp_path, DUPLEX + engine + events))
    what = station.engine_pump
    assert what is not None
    assert (what.crank_tries, what.crank_s, what.crank_rest_s) == (3, 10.0, 20.0)
    assert (what.warm_up_s, what.prime_s) == (30.0, 15.0)
    table = simulate(station, episode).events
    called = table.loc[table["event"] == "engine called", "t_s"].iloc[0]
    cranks = table.loc[table["event"] == "crank failed", "t_s"] - called
    assert cranks.tolist() == pytest.approx([10.0, 40.0, 70.0])


def test_tariff_is_read_with_its_days(tmp_path: Path) -> None:
    text = DUPLEX + NIGHT + DAY + 'days = "weekdays"\n' + DAY.replace("tariff.day", "tariff.rest")
    station, _ = load_scenario(written(tmp_path, text + 'days = "weekend"\n'))
    night = Band(79_200.0, 21_600.0, 0.11, "night")
    assert station.tariff == Tariff(
        (night, Band(21_600.0, 79_200.0, 0.25, "day")),
        (night, Band(21_600.0, 79_200.0, 0.25, "rest")),
    )


def test_frozen_signal_in_table_form_is_taken_over_by_the_floats(tmp_path: Path) -> None:
    event = '[event.ice]\nat = "day 2 00:00"\nwhat = "level signal frozen"\nfor = "5 h"\n'
    text = DUPLEX + FLOATS + 'frozen_after = "15 min"\n' + event
    station, episode = load_scenario(written(tmp_path, text))
    result = simulate(station, episode)
    told = result.events["event"].tolist()
    assert told.count("level signal distrusted") == 1
    assert told.count("level signal trusted") == 1
    assert "backup start float" in set(result.pump_runs["started_by"])
    assert not len(result.spills)


def test_a_run_with_all_of_it_says_only_words_of_the_vocabulary(tmp_path: Path) -> None:
    text = DUPLEX + FLOATS + ENGINE + "crank_tries = 2\n"
    text += MOTOR.replace('"85 K"', '"200 K"').replace('"40 min"', '"4 min"') + "most_resets = 1\n"
    told = (
        "07:00 P2 fails to start for 3 h",
        "10:00 P2 reset",
        "12:00 P1 clogged to 40 % for 5 h",
        "18:00 level signal lost for 2 h",
        "22:00 level signal frozen for 3 h",
        "23:30 E1 fails to start for 2 h",
        "day 2 00:00 grid loss for 3 h",
    )
    text += "[event]\n" + "".join(f'e{n}.text = "{one}"\n' for n, one in enumerate(told))
    result = simulate(*load_scenario(written(tmp_path, text)))
    events = set(result.events["event"])
    assert events <= {entry.word for entry in vocabulary.EVENTS}
    assert {"no run signal", "clogged", "crank failed", "level signal distrusted"} <= events
    assert (result.events["cause"] == "high temperature").any()
    causes = {*result.events["cause"], *result.pump_runs["started_by"], *result.power["cause"]}
    assert sorted(one for one in causes if vocabulary.cause_of(one) is None) == []
    assert result.sentences()


WRONG = {
    "reset above the trip": (
        DUPLEX + MOTOR.replace('"60 degC"', '"95 degC"'),
        "s.toml:30: pump.P1.motor.reset: must lie below the trip (found 95 degC; accepted: below 90 degC)",
    ),
    "reset below ambient": (
        DUPLEX + MOTOR.replace('"60 degC"', '"15 degC"'),
        "pump.P1.motor.reset: does not lie above ambient: the motor would never cool down to it",
    ),
    "temperature without unit": (
        DUPLEX + MOTOR.replace('"90 degC"', '"90"'),
        "pump.P1.motor.trip: '90' has no unit; accepted: degC, degF",
    ),
    "temperature in kelvin": (
        DUPLEX + MOTOR.replace('"90 degC"', '"363 K"'),
        "pump.P1.motor.trip: 'K' is a unit of temperature difference, and a temperature is needed",
    ),
    "temperature as a number": (
        DUPLEX + MOTOR.replace('"85 K"', "85"),
        "pump.P1.motor.full_rise: a plain number where a temperature difference with its unit is needed",
    ),
    "motor without its trip": (
        DUPLEX + MOTOR.replace('trip = "90 degC"\n', ""),
        'pump.P1.motor.trip: is missing; add it, such as trip = "20 degC"',
    ),
    "misspelt key of a motor": (
        DUPLEX + MOTOR + "ragged_facter = 2\n",
        "did you mean 'ragged_factor'?",
    ),
    "time constant of nought": (
        DUPLEX + MOTOR.replace('"40 min"', '"0 s"'),
        "pump.P1.motor.heating_time: duration out of range",
    ),
    "no tries": (
        DUPLEX + ENGINE + "crank_tries = 0\n",
        "engine_pump.crank_tries: an engine is cranked once or a few times (found 0; accepted: 1 to 50",
    ),
    "tries that are no whole number": (
        DUPLEX + ENGINE + "crank_tries = 2.5\n",
        "engine_pump.crank_tries: a plain number where a whole number is needed",
    ),
    "stop float above the stop level": (
        DUPLEX + FLOATS.replace("0.45", "0.75"),
        "s.toml:26: backup_floats.stop: must lie below control.stop, or it ends every pump-down (found 0.75 m; accepted: below 0.70 m",
    ),
    "stop float below the floor": (
        DUPLEX + FLOATS.replace("0.45", "-0.1"),
        "backup_floats.stop: does not lie above the floor",
    ),
    "start float below a start level": (
        DUPLEX + FLOATS.replace("2.10", "1.80"),
        "backup_floats.start: must lie above every start level, and control.lag_start is as high or higher",
    ),
    "start float above the spill": (
        DUPLEX + FLOATS.replace("2.10", "4.20"),
        "backup_floats.start: must lie below the spill",
    ),
    "floats with a rotation that they cannot have": (
        DUPLEX + FLOATS + 'rotation = "each cycel"\n',
        'backup_floats.rotation: is none of the accepted words (found "each cycel"; accepted: "fixed", "each cycle"); did you mean',
    ),
    "floats without a stop": (
        DUPLEX + FLOATS.replace('stop = "0.45 m"\n', ""),
        "backup_floats.stop: is missing",
    ),
    "tariff with a gap": (
        DUPLEX + NIGHT + DAY.replace("06:00", "07:00"),
        "tariff: weekday: the bands leave a gap at 06:00",
    ),
    "tariff that overlaps": (
        DUPLEX + NIGHT + DAY.replace("06:00", "05:00"),
        "tariff: weekday: the bands overlap at 05:00",
    ),
    "tariff without a weekend": (
        DUPLEX + NIGHT + 'days = "weekdays"\n' + DAY + 'days = "weekdays"\n',
        "tariff: no band holds on the weekend",
    ),
    "no time of the day": (
        DUPLEX + NIGHT + DAY.replace("06:00", "25:00"),
        "tariff.day.from: '25:00' is no time of the day",
    ),
    "price with its currency": (
        DUPLEX + NIGHT + DAY.replace("0.25", '"0.25 a kWh"'),
        "tariff.day.price: text '0.25 a kWh' where a number is needed",
    ),
    "clog of a station's total": (
        changed('flow = "30 L/s"\n', "").replace(
            "[well.shaft]", 'total_flow = ["30 L/s", "42 L/s"]\n[well.shaft]'
        )
        + '[event.rags]\ntext = "07:00 P1 clogged to 60 %"\n',
        "event.rags: P1 has no flow or curve of its own that rags could lessen: station.total_flow counts",
    ),
    "clog without a part": (
        DUPLEX + '[event.rags]\ntext = "07:00 P1 clogged for 2 h"\n',
        "event.rags: nothing is said to be left of the flow, in percent",
    ),
    "signal with a reset": (
        DUPLEX + '[event.ice]\ntext = "07:00 level signal lost"\nuntil_reset = true\n',
        "event.ice: 'text' says it all",
    ),
    "pump named like the level": (
        changed("pump.P2", "pump.level"),
        "pump.level: is no name for a pump",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_protection_is_refused_and_nothing_is_written(name: str, tmp_path: Path) -> None:
    text, said = WRONG[name]
    file = written(tmp_path, text)
    outcome = CliRunner().invoke(main, ["run", str(file), "--out", str(tmp_path / "out")])
    assert outcome.exit_code == 2, outcome.output
    assert said in outcome.output
    assert "Traceback" not in outcome.output
    assert not (tmp_path / "out").exists()


def test_what_a_pump_took_over_is_told_once(tmp_path: Path) -> None:
    file = written(tmp_path, DUPLEX + MOTOR.replace('"60 degC"', '"95 degC"'))
    outcome = CliRunner().invoke(main, ["run", str(file), "--out", str(tmp_path / "out")])
    assert outcome.output.count("must lie below the trip") == 1


@pytest.mark.parametrize(
    ("engine", "said"),
    [
        ('crank_time = "2 min"\n', "engine_pump.crank_time: is long for a starter"),
        (
            'crank_tries = 6\ncrank_time = "10 s"\ncrank_rest = "10 min"\n',
            "with every try used, takes very long",
        ),
    ],
)
def test_start_of_an_engine_that_takes_long_is_told(engine: str, said: str, tmp_path: Path) -> None:
    warnings = load(written(tmp_path, DUPLEX + ENGINE + engine)).warnings
    assert any(said in one.text() for one in warnings)


@pytest.mark.parametrize(
    ("word", "said"),
    [
        (
            "pump.P1.motor.full_rise",
            'temperature difference as text with its unit (K, degC, degF): "85 K"',
        ),
        ("backup_floats.frozen_after", "is not trusted any more"),
        ("backup_floats.rotation", "changes each time that the stop float has stopped pumps"),
        ("tariff.night.to", "24:00"),
        ("engine_pump.crank_tries", "cranks before it gives up"),
        ("event", "P2 clogged to 60 % for 3 h"),
    ],
)
def test_explain_knows_the_keys(word: str, said: str) -> None:
    outcome = CliRunner().invoke(main, ["explain", word])
    assert outcome.exit_code == 0
    assert said in " ".join(outcome.output.split())

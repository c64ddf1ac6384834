"""Wrong scenarios: one clear message for each thing, with its line; nothing runs."""

# ruff: noqa: E501 - messages are kept whole
from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from scenario_texts import CURVED, DAILY, DUPLEX, POINTS, changed

from stationsim.cli import main
from stationsim.errors import ScenarioError
from stationsim.scenario.load import load

FLOWS = ["1"] * 24
WRONG = {
    "unknown key": (
        changed("diameter", "diametre"),
        "s.toml:5: well.shaft.diametre: diameter is missing; did you mean it by 'diametre'?",
        "",
    ),
    "unknown table": (
        changed("[spill]", "[spil]"),
        "s.toml:6: spil: unknown key",
        "did you mean 'spill'?",
    ),
    "unknown control key": (
        changed("lag_start", "lag_strat"),
        "s.toml:16: control.lag_strat: unknown key",
        "did you mean 'lag_start'?",
    ),
    "missing unit": (
        changed('"3.0 m"', "3.0"),
        "s.toml:5: well.shaft.diameter: a plain number where a length with its unit is needed",
        'write it as text, such as "3.0 m"',
    ),
    "unit left out of text": (changed('"3.0 m"', '"3.0"'), "'3.0' has no unit", "accepted: m, cm"),
    "wrong kind of unit": (
        changed('"0.70 m"', '"0.70 L/s"'),
        "s.toml:14: control.stop",
        "a length is needed",
    ),
    "unknown unit": (
        changed('"2 d"', '"2 weeks"'),
        "episode.duration: unknown unit 'weeks'",
        "s, min, h, d",
    ),
    "stop above start": (
        changed('"0.70 m"', '"1.60 m"'),
        "s.toml:15: control.lead_start: must lie above control.stop (found 1.50 m; accepted: above 1.60 m)",
        "",
    ),
    "lag below lead": (
        changed('"1.80 m"', '"1.40 m"'),
        "control.lag_start: must lie above control.lead_start",
        "",
    ),
    "start above spill": (
        changed('"1.80 m"', '"4.50 m"'),
        "control.lag_start: must lie below the spill",
        "",
    ),
    "alarm above spill": (
        changed("[episode]", '[alarms]\nhigh_level = "4.3 m"\n[episode]'),
        "alarms.high_level: must lie below the spill",
        "",
    ),
    "alarm below lag": (
        changed("[episode]", '[alarms]\nhigh_level = "1.7 m"\n[episode]'),
        "alarms.high_level: must lie above control.lag_start",
        "",
    ),
    "rising curve": (
        changed(POINTS, POINTS.replace('"5 m"', '"21 m"'), CURVED),
        "s.toml:9: pump.P1.curve.head: the head does not fall between 0 L/s and 40 L/s",
        "20 m, then 21 m",
    ),
    "curve without shut-off": (
        changed('"0 L/s", "40', '"5 L/s", "40', CURVED),
        "pump.P1.curve.flow: does not begin at no flow",
        "shut-off head",
    ),
    "curve of unequal lists": (
        changed('"20 m", ', "", CURVED),
        "pump.P1.curve.head: too few values",
        "at least 2",
    ),
    "rising coefficients": (
        changed(POINTS, 'shutoff_head = "20 m", square = "90 m/(m3/s)^2"', CURVED),
        "pump.P1.curve.square: the head would rise with the flow",
        "nought or negative",
    ),
    "flat coefficients": (
        changed(POINTS, 'shutoff_head = "20 m"', CURVED),
        "does not fall with the flow",
        "",
    ),
    "pump that cannot lift": (
        changed('discharge = "8 m"', 'discharge = "30 m"', CURVED),
        "pump.P1: cannot lift the water",
        "shut-off head is below the static lift",
    ),
    "negative area": (
        changed(
            'shape = "cylinder"\ndiameter = "3.0 m"',
            'shape = "table"\nlevels = ["0 m", "4 m"]\nareas = ["7 m2", "-7 m2"]',
        ),
        "s.toml:6: well.shaft.areas: second value: area out of range",
        "from 0.002 to 1e+06 m2",
    ),
    "negative diameter": (
        changed('"3.0 m"', '"-3.0 m"'),
        "length out of range",
        "from 0.05 to 100 m",
    ),
    "well as thin as a hair": (
        changed('"3.0 m"', '"2.4 mm"'),
        's.toml:5: well.shaft.diameter: length out of range (found "2.4 mm"; accepted: from 0.05',
        "",
    ),
    "cycle that no motor makes": (
        changed('"1.50 m"', '"0.702 m"'),
        "s.toml:15: control.lead_start: the volume between control.stop and control.lead_start is tiny",
        "the shortest cycle is one that no motor makes (found 1.9 s; accepted: 2 s or more",
    ),
    "lag cycle that no motor makes": (
        changed("stop =", 'stop_policy = "last on, first off"\nlag_stop = "1.7995 m"\nstop ='),
        "control.lag_start: the volume between control.lag_stop and control.lag_start is tiny",
        "one that no motor makes",
    ),
    "engine cycle that no motor makes": (
        changed(
            "[control]",
            '[engine_pump]\nflow = "30 L/s"\nstart = "1.001 m"\nstop = "1 m"\n[control]',
        ),
        "engine_pump.start: the volume between engine_pump.stop and engine_pump.start is tiny",
        "",
    ),
    "text without its end": (
        changed('"3.0 m"', '"3.0 m'),
        "s.toml:5: is not TOML: a text lacks its closing quotation mark",
        "",
    ),
    "text in a list without its end": (
        changed('"40 L/s"', '"40 L/s', CURVED),
        "s.toml:9: is not TOML: a text lacks its closing quotation mark",
        "",
    ),
    "quantity without quotation marks": (
        changed('"3.0 m"', "3.0 m  # inside"),
        "s.toml:5: is not TOML: 3.0 m is no value; text and quantities stand in quotation marks",
        "",
    ),
    "episode of no time": (
        changed('"2 d"', '"0.5 s"'),
        "episode.duration: duration out of range",
        "accepted: from 1 s to 7305 d",
    ),
    "empty event": (
        DUPLEX + '[event.cut]\ntext = " "\n',
        "event.cut.text: an event text is empty",
        "day 3 07:10 grid loss for 4 h",
    ),
    "well with a gap": (
        changed('diameter = "3.0 m"', 'diameter = "3.0 m"\nfrom = "1 m"'),
        "s.toml:3: well: no plan area between 0 m and 1 m",
        "",
    ),
    "part upside down": (
        changed('diameter = "3.0 m"', 'diameter = "3.0 m"\nfrom = "3 m"\nto = "1 m"'),
        "well.shaft.to: must lie above its foot",
        "",
    ),
    "not a number": (
        changed('"30 L/s"', '"nan L/s"'),
        "s.toml:9: pump.P1.flow: 'nan L/s' is not a finite number",
        "",
    ),
    "bare nan": (changed('"2 d"', "nan"), "episode.duration: a plain number where", ""),
    "nan factor": (
        changed("[pump.P2]", "[pump.P2]\nspeed = nan"),
        "pump.P2.speed: 'nan' is not a finite number",
        "",
    ),
    "empty": ("", "s.toml: is empty", "stationsim new"),
    "only comments": ("# nothing\n", "station: is missing", "add it"),
    "not TOML": (changed("[control]", "[control"), "s.toml:12: is not TOML: expected ']'", ""),
    "twice": (DUPLEX + "[pump.P1]\n", "is not TOML", ""),
    "event after the end": (
        DUPLEX + '[event.cut]\ntext = "day 3 07:10 grid loss for 4 h"\n',
        "s.toml:24: event.cut: the moment lies 40 min after the end of the episode, which lasts 2 d",
        "",
    ),
    "event before the start": (
        DUPLEX + '[event.cut]\ntext = "06:00 P1 off"\n',
        "before the start",
        "such as 'day 2'",
    ),
    "unknown pump": (
        DUPLEX + '[event.hot]\nat = "day 2 07:10"\nwhat = "P3 fails"\n',
        "event.hot: no pump is called 'P3'; this station has P1, P2",
        '(found "day 2 07:10 P3 fails")',
    ),
    "event in both forms": (
        DUPLEX + '[event.x]\ntext = "07:10 P1 off"\nat = "07:10"\n',
        "event.x: 'text' says it all",
        "",
    ),
    "event without what": (DUPLEX + '[event.x]\nat = "07:10"\n', "event.x.what: is missing", ""),
    "absurd diameter": (
        changed('"3.0 m"', '"300 m"'),
        "well.shaft.diameter: length out of range",
        "to 100 m",
    ),
    "absurd flow": (
        changed('"30 L/s"', '"5000 m3/s"'),
        "pump.P1.flow: flow out of range",
        "to 1000 m3/s",
    ),
    "absurd duration": (
        changed('"2 d"', '"9000 d"'),
        "episode.duration: duration out of range",
        "7305 d",
    ),
    "absurd number": (changed('"2 d"', '"1e300 d"'), "beyond anything", ""),
    "huge whole number": (
        changed("[pump.P2]", "[pump.P2]\nspeed = " + "9" * 400),
        "pump.P2.speed",
        "",
    ),
    "too many rows": (
        changed('"2 d"', '"2000 d"\ntable_interval = "1 s"'),
        "too many rows of levels",
        "at most 3000000",
    ),
    "more calls than pumps": (
        changed('lag_start = "1.80 m"', 'lag_start = "1.80 m"\nstandby_start = "2.1 m"'),
        "control.standby_start: no pump is left",
        "2, one for each",
    ),
    "gap in the calls": (
        changed("lag_start", "second_lag_start"),
        "control.second_lag_start: is given, and control.lag_start is not",
        "",
    ),
    "staged stop above start": (
        changed("stop =", 'stop_policy = "last on, first off"\nlag_stop = "1.9 m"\nstop ='),
        "control.lag_stop: must lie below control.lag_start",
        "",
    ),
    "unknown policy": (
        changed("stop =", 'stop_policy = "all togther"\nstop ='),
        "control.stop_policy: is none of the accepted words",
        "did you mean 'all together'?",
    ),
    "unknown shape": (
        changed('"cylinder"', '"cylindre"'),
        "well.shaft.shape: is none of the accepted words",
        "did you mean 'cylinder'?",
    ),
    "no shape": (
        changed('shape = "cylinder"\n', ""),
        "well.shaft.shape: is missing",
        'add it, such as shape = "cylinder"',
    ),
    "unknown kind of inflow": (
        changed('"constant"', '"costant"'),
        "inflow.homes.kind: is none of",
        "did you mean 'constant'?",
    ),
    "unknown controller": (
        changed('"staging"', '"stage"'),
        "control.kind: no controller is called 'stage'",
        "'staging'",
    ),
    "controller not there": (
        changed('"staging"', '"no_such_module:Panel"'),
        "cannot be imported",
        "",
    ),
    "no pump": (
        changed('[pump.P1]\nflow = "30 L/s"\n[pump.P2]\nlike = "P1"\n', ""),
        "pump: is missing",
        "",
    ),
    "pump with no flow": (
        changed('flow = "30 L/s"\n', ""),
        "pump.P1: has neither flow nor curve",
        "",
    ),
    "like nobody": (
        changed('like = "P1"', 'like = "P7"'),
        "pump.P2.like: no pump is called 'P7'",
        "",
    ),
    "like in a circle": (changed('flow = "30 L/s"', 'like = "P2"'), "goes in a circle", ""),
    "curve without main": (
        changed('flow = "30 L/s"', "curve = {" + POINTS + "}"),
        "there is no [force_main]",
        "",
    ),
    "two answers": (
        changed('flow = "30 L/s"', 'flow = "30 L/s"\ncurve = {' + POINTS + "}"),
        "pump.P1.flow: a flow and a curve are two answers",
        "",
    ),
    "total and flow": (
        changed("[well.shaft]", 'total_flow = ["30 L/s", "42 L/s"]\n[well.shaft]'),
        "station.total_flow is given too",
        "",
    ),
    "total too short": (
        changed('flow = "30 L/s"\n', "").replace(
            "[well.shaft]", 'total_flow = ["30 L/s"]\n[well.shaft]'
        ),
        "station.total_flow: must have one value for each electric pump",
        "",
    ),
    "pump named like a word": (
        changed("pump.P2", "pump.grid"),
        "pump.grid: is no name for a pump",
        "",
    ),
    "start above spill level": (
        changed('"0.8 m"', '"4.8 m"'),
        "episode.start_level: lies above the spill",
        "",
    ),
    "start below floor": (
        changed('"0.8 m"', '"-0.8 m"'),
        "episode.start_level: lies below the floor",
        "",
    ),
    "elevation without floor": (
        changed('name = "Test duplex"', 'name = "T"\nlevels_are = "elevation"'),
        "station.floor_elevation: is missing",
        "",
    ),
    "cover and depth": (
        changed('name = "Test duplex"', 'name = "T"\ncover = "5 m"\ndepth = "5 m"'),
        "s.toml:3: station.cover: cover and depth are two answers",
        "",
    ),
    "no such date": (
        changed("2027-03-01T", "2027-02-30T"),
        "episode.start: '2027-02-30T06:30+01:00' is no date",
        "",
    ),
    "odd date": (
        changed("2027-03-01T06:30+01:00", "first of March"),
        "is no date and time",
        "offset from UTC",
    ),
    "no CSV": (
        changed('kind = "constant"\nflow = "10 L/s"', 'kind = "recorded"\nfile = "none.csv"'),
        "none.csv",
        "",
    ),
    "too few hours": (
        DAILY,
        "inflow.homes.weekday: too few values (found 2; accepted: at least 24)",
        "",
    ),
    "factors without mean": (
        DAILY.replace("[1, 2]", f"[{', '.join(FLOWS)}]"),
        "inflow.homes.mean: is missing",
        "",
    ),
    "flows and factors": (
        DAILY.replace("[1, 2]", f'["1 L/s", {", ".join(FLOWS[1:])}]'),
        "mixes flows and plain factors",
        "",
    ),
    "text for a table": (
        changed('[spill]\nlevel = "4.20 m"\n', "").replace(
            "[station]", 'spill = "4.2 m"\n[station]'
        ),
        "s.toml:1: spill: a table is needed",
        "",
    ),
    "clock that never rests": (
        changed("[episode]", '[rotation]\nkind = "clock"\nevery = "0 s"\n[episode]'),
        "rotation.every: is too short",
        "",
    ),
    "engine upside down": (
        changed(
            "[control]", '[engine_pump]\nflow = "30 L/s"\nstart = "1 m"\nstop = "2 m"\n[control]'
        ),
        "engine_pump.stop: must lie below engine_pump.start",
        "",
    ),
    "roughness for the other formula": (
        changed('length = "100 m"', 'length = "100 m"\nroughness = "1 mm"', CURVED),
        "force_main.roughness: has no effect with friction",
        "",
    ),
}


@pytest.mark.parametrize("case", WRONG, ids=WRONG)
def test_wrong_scenario_is_told_clearly(tmp_path: Path, case: str) -> None:
    text, said, also = WRONG[case]
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    message = str(refused.value)
    assert said in message
    assert also in message
    assert "Traceback" not in message
    assert "pydantic" not in message
    assert len(message.splitlines()) == max(1, len(refused.value.findings))


@pytest.mark.parametrize("case", WRONG, ids=WRONG)
def test_wrong_scenario_ends_the_command_with_2_and_writes_nothing(
    tmp_path: Path, case: str
) -> None:
    pytest.importorskip("stationsim.cli.run")
    (tmp_path / "s.toml").write_text(WRONG[case][0], encoding="utf-8")
    done = CliRunner().invoke(
        main, ["run", str(tmp_path / "s.toml"), "--out", str(tmp_path / "out")]
    )
    assert done.exit_code == 2
    assert WRONG[case][1] in done.stderr
    assert done.stdout == ""
    assert [path.name for path in tmp_path.iterdir()] == ["s.toml"]


def test_all_errors_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = DUPLEX.replace('"3.0 m"', "3").replace('"30 L/s"', '"30"').replace("lag_start", "lag")
    text = text.replace('duration = "2 d"', 'duratoin = "2 d"')
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    found = [(one.line, one.place) for one in refused.value.findings]
    assert found == [
        (5, "well.shaft.diameter"),
        (9, "pump.P1.flow"),
        (16, "control.lag"),
        (19, "episode.duratoin"),
    ]


def test_unknown_keys_do_not_hide_what_the_rules_find(tmp_path: Path) -> None:
    text = DUPLEX.replace('"0.70 m"', '"1.60 m"').replace("[spill]", 'colour = "grey"\n[spill]')
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    places = [one.place for one in refused.value.findings]
    assert places == ["well.shaft.colour", "control.lead_start"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe[\x00", "is not UTF-8 text"),
        (b"[station]\nname = \"\xe9\"\n", "s.toml:2: is not UTF-8 text"),
        (b"   \n\n", "is empty"),
        (b"a = " + b"[" * 5000, "s.toml"),
        (b"\x00", "is not TOML"),
        (b"a = " + b"9" * 5000, "has a value that cannot be read"),
    ],
)  # fmt: skip
def test_file_that_is_no_scenario_is_told(tmp_path: Path, content: bytes, said: str) -> None:
    (tmp_path / "s.toml").write_bytes(content)
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml")
    assert said in str(refused.value)


def test_file_with_a_byte_order_mark_and_crlf_loads(tmp_path: Path) -> None:
    text = DUPLEX.replace("\n", "\r\n")
    (tmp_path / "s.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert load(tmp_path / "s.toml").station.name == "Test duplex"


@pytest.mark.parametrize(("name", "said"), [("none.toml", "no such file"), (".", "is a folder")])
def test_file_that_is_not_there_is_told(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / name)
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        ("control.stop=1.60 m", "--set control.stop=1.60 m"),
        ("control.stop=0.7", "a plain number where"),
        ("control.stpo=0.7 m", "did you mean 'stop'?"),
        ("station.name.first=x", "is a value and holds no keys"),
        ("nonsense", "KEY=VALUE is needed"),
        ("=3", "KEY=VALUE is needed"),
        ("alarms.high_level=9 m", "alarms.high_level: must lie below the spill"),
    ],
)
def test_wrong_set_is_told(tmp_path: Path, sets: str, said: str) -> None:
    (tmp_path / "s.toml").write_text(DUPLEX, encoding="utf-8")
    if sets == "control.stop=1.60 m":
        said = "control.lead_start: must lie above control.stop"
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml", sets=[sets])
    assert said in str(refused.value)


def test_empty_event_from_outside_names_the_option_by_its_place(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(DUPLEX, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml", events=["day 2 07:00 P1 off", ""])
    assert str(refused.value).startswith("--event 2: an event text is empty")


def test_main_of_a_mile_is_read(tmp_path: Path) -> None:
    text = changed('length = "100 m"', 'length = "1 mi"', CURVED)
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    main_pipe = load(tmp_path / "s.toml").station.force_main
    assert main_pipe is not None
    assert main_pipe.pipes[0].length_m == 1609.344


def test_wrong_event_from_outside_names_the_option(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(DUPLEX, encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path / "s.toml", events=["day 2 07:00 P5 off"])
    assert str(refused.value) == (
        "--event 1: no pump is called 'P5'; this station has P1, P2 (found \"day 2 07:00 P5 off\")"
    )

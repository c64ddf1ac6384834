"""The catalogue of what can go wrong as text: each entry, each refusal, in either unit system."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from scenario_texts import CURVED, DUPLEX, changed

from stationsim import vocabulary
from stationsim.cli import main
from stationsim.episode import ScriptedEvent
from stationsim.equipment.faults import CATALOGUE, FLOATS, Fault
from stationsim.errors import ScenarioError
from stationsim.scenario.event_amounts import sample_of
from stationsim.scenario.events import (
    PHRASES,
    EventTextError,
    Names,
    read_event,
    read_events,
)
from stationsim.scenario.load import Loaded, load

MONDAY = datetime(2027, 3, 1, 6, 0, tzinfo=UTC)
NAMES = Names(("P1", "P2", "Engine"), "Engine", known=True)
KINDS = {one.kind: one for one in CATALOGUE}


SUBJECTS = {"pump": "P2", "machine": "P2", "engine": "Engine", "float": "start float",
            "alarm": "high level"}  # fmt: skip
LEFT = {"clogged": 0.6, "turning backwards": 0.5, "plug valve closed": 0.3, "main plugged": 0.3}
AMOUNTS = {
    "ragging": (0.1, 7200.0),
    "wearing": (0.05, 3.6e6),
    "check valve open": (0.4, 0.0),
    "check valve slow": (8.0, 0.0),
    "level signal off": (0.2, 0.0),
    "level signal drifting": (0.02, 86400.0),
    "level signal noisy": (0.03, 0.0),
    "level signal late": (40.0, 0.0),
    "float late": (60.0, 0.0),
    "generator late": (45.0, 0.0),
    "main air": (2.0, 0.0),
    "main leak": (0.08, 0.0),
    "main broken": (0.4, 0.0),
    "downstream limited": (1.0, 0.0),
    "tanker takes": (10.0, 480.0),
}


def read(text: str, system: str = "si") -> tuple[ScriptedEvent, ...]:
    return read_events(
        f"07:00 {text}", start=MONDAY, duration_s=7 * 86400.0, names=NAMES, system=system
    )


def refusal(text: str, system: str = "si") -> str:
    with pytest.raises(EventTextError) as refused:
        read(text, system)
    return str(refused.value)


def sample(fault: Fault) -> str:
    whose = {"reset": "P2 ", "put right": "P2 ", "refuelled": "generator "}.get(fault.kind, "")
    return f"{whose}{fault.sample}".replace("E1 ", "Engine ")


@pytest.mark.parametrize("fault", CATALOGUE, ids=lambda one: one.kind)
def test_every_entry_reads_back_to_its_event(fault: Fault) -> None:
    lasts = " for 90 min" if fault.lasts != "never" else ""
    (found,) = read(sample(fault) + lasts)
    amount, per_s = AMOUNTS.get(fault.kind, (0.0, 0.0))
    expected = ScriptedEvent(
        3600.0,
        fault.kind,
        SUBJECTS.get(
            fault.subject,
            {"reset": "P2", "put right": "P2", "refuelled": "generator"}.get(
                fault.kind, fault.subject
            ),
        ),
        None if fault.lasts == "never" else 5400.0,
        flow_left=LEFT.get(fault.kind, 1.0),
        amount=amount,
        per_s=per_s,
    )
    assert (found.flow_left, found.amount) == pytest.approx((expected.flow_left, expected.amount))
    assert found == expected
    assert (fault.amount is None) == (fault.kind not in (*LEFT, *AMOUNTS))


@pytest.mark.parametrize("fault", CATALOGUE, ids=lambda one: one.kind)
def test_every_entry_says_whether_it_lasts_and_waits_for_a_reset(fault: Fault) -> None:
    text = sample(fault)
    if fault.lasts == "must":
        assert "needs its duration" in refusal(text)
    else:
        assert read(text)[0].duration_s is None
    if fault.lasts == "never":
        assert "takes no duration" in refusal(f"{text} for 2 h")
    lasting = text if fault.lasts == "never" else f"{text} for 2 h"
    if fault.until_reset:
        assert read(f"{lasting} until reset")[0].resets_itself is False
        assert read(lasting)[0].resets_itself is True
        if fault.lasts == "may":
            assert read(text)[0].resets_itself is False
    else:
        assert "goes with 'fails', 'overload', 'high temperature' and 'generator fails' only" in (
            refusal(f"{lasting} until reset")
        )


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("level signal off by -8 in", "amount", -0.2032),
        ("level signal drifting -0.8 in in 24 h", "amount", -0.02032),
        ("level signal drifting 0.8 in in 24 h", "per_s", 86400.0),
        ("downstream limited to 2 pumps", "amount", 2.0),
        ("downstream limited to 3", "amount", 3.0),
        ("P2 plug valve closed", "flow_left", 0.0),
        ("P2 plug valve closed to 0 %", "flow_left", 0.0),
        ("P2 turning backwards", "flow_left", 0.5),
        ("P2 check valve open", "amount", 0.5),
        ("P2 check valve open to 100 %", "amount", 1.0),
        ("force main plugged", "flow_left", 0.0),
        ("Force Main Broken AT 0 %", "amount", 0.0),
        ("P2 clogged to 99.95 %", "flow_left", 0.9995),
        ("P2 ragging 2.5% in 1 h 30 min", "per_s", 5400.0),
        ("generator late by 1 min 30 s", "amount", 90.0),
    ],
)
def test_a_number_is_read(text: str, field: str, value: float) -> None:
    assert getattr(read(text)[0], field) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "subject"),
    [
        ("Engine put right", "put right", "Engine"),
        ("level signal put right", "put right", "level sensor"),
        ("start float put right", "put right", "start float"),
        ("low level float put right", "put right", "low level float"),
        ("force main put right", "put right", "force main"),
        ("transfer switch put right", "put right", "transfer switch"),
        ("generator put right", "put right", "generator"),
        ("controller put right", "put right", "panel"),
        ("control breaker put right", "put right", "panel"),
        ("telemetry put right", "put right", "telemetry"),
        ("downstream put right", "put right", "downstream station"),
        ("low level alarm put right", "put right", "low level"),
        ("generator reset", "reset", "generator"),
        ("mobile generator reset", "reset", "mobile generator"),
        ("panel put right", "put right", "panel"),
        ("Engine reset", "reset", "Engine"),
        ("pump failed alarm off", "alarm off", "pump failed"),
        ("Engine clogged to 50 %", "clogged", "Engine"),
        ("Engine high temperature for 1 h", "high temperature", "Engine"),
        *[(f"{one} stuck down", "float stuck down", one) for one in FLOATS],
    ],
)
def test_each_thing_has_its_subject(text: str, kind: str, subject: str) -> None:
    (found,) = read(text)
    assert (found.kind, found.subject) == (kind, subject)


def test_every_alarm_of_the_vocabulary_can_be_switched_off() -> None:
    for alarm in vocabulary.ALARMS:
        (found,) = read(f"{alarm.word} alarm off for 2 d")
        assert (found.kind, found.subject, found.duration_s) == ("alarm off", alarm.word, 172800.0)


def test_several_things_at_one_instant_each_with_its_own() -> None:
    found = read("control breaker open for 6 h and telemetry lost for 5 h AND P1 fails until reset")
    assert [(one.kind, one.subject, one.duration_s) for one in found] == [
        ("control breaker open", "panel", 21600.0),
        ("telemetry lost", "telemetry", 18000.0),
        ("fails", "P1", None),
    ]
    assert {one.at_s for one in found} == {3600.0}
    assert [one.resets_itself for one in found] == [True, True, False]
    with pytest.raises(EventTextError, match="tells of 2 things, and one is needed"):
        read_event("07:00 P1 off and P2 off", start=MONDAY, duration_s=None, machines=("P1", "P2"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("P1 off and 08:00 P2 off", "'08:00 P2 off' begins with a time: a text has one"),
        ("P1 off and", "nothing that happens to P1"),
        ("P1 off and P2 explodes", "'explodes' is nothing that happens to P2"),
        ("level signal off", "nothing is said to go with 'level signal off'; from -20 to 20 m"),
        ("level signal off by 0 m", "from -20 to 20 m, save nought, is accepted"),
        ("level signal off by 30 m", "'30 m' is said to go with 'level signal off'"),
        ("level signal off by 0.2", "has no unit"),
        ("level signal off by 20 s", "a length is needed"),
        ("level signal off 0.2 m", "such as 'level signal off by 0.20 m'"),
        ("level signal noisy by 6 m", "from 0.1 to 5000 mm is accepted"),
        ("level signal noisy by -1 mm", "such as 'level signal noisy by 30 mm'"),
        ("level signal drifting 20 mm", "lacks the time that it happens in"),
        ("level signal drifting 20 mm in 0 h", "'in 0 h' must be more than nought"),
        ("level signal drifting 20 mm in 30 years", "unknown unit 'years'"),
        ("level signal late by 2 d", "from 0.1 s to 24 h is accepted"),
        ("P2 ragging 60 % in 2 h", "from 1 % to 50 % is accepted"),
        ("P2 ragging 10 %", "write it as in 'ragging 10 % in 2 h'"),
        ("P2 wearing to 5 %", "lacks the time"),
        ("P2 wearing 95 % in 1000 h", "from 1 % to 90 % is accepted"),
        ("P2 check valve open to 0 %", "from 1 % to 100 % is accepted"),
        ("P2 check valve slow", "nothing is said to go with 'check valve slow'"),
        ("P2 check valve slow by 11 min", "from 0.1 s to 10 min is accepted"),
        ("P2 turning backwards to 100 %", "from 1 % to less than 100 % is accepted"),
        ("P2 plug valve closed by 30 %", "is said to be left of the flow, in percent"),
        ("force main with air", "nothing is said to go with 'force main with air'"),
        ("force main with air of 300 m", "from 0.01 to 200 m is accepted"),
        ("force main leaking 120 %", "from 0.1 % to 50 % is accepted"),
        ("force main leaking", "such as 'force main leaking 8 %'"),
        ("force main broken", "such as 'force main broken at 40 %'"),
        ("downstream limited to 0 pumps", "from 1 to 12 pumps is accepted"),
        ("downstream limited to 2 valves", "such as 'downstream limited to 1 pump'"),
        ("downstream limited to half", "'half' is said to go with"),
        ("grid sag", "a grid sag needs its duration, such as 'grid sag for 0.4 s'"),
        ("phase lost", "the loss of a phase needs its duration, such as 'phase lost for 1 h'"),
        ("mobile generator connected for 2 h", "until a later 'mobile generator disconnected'"),
        (
            "P2 fails to prime",
            "'fails to prime' happens to the engine-driven pump only, which is E",
        ),
        ("P1 battery flat", "happens to the engine-driven pump only, which is Engine"),
        ("Engine overload", "happens to an electric pump only, and Engine is engine-driven"),
        ("Engine check valve open", "accepted: P1, P2"),
        ("middle float stuck up", "did you mean 'high level float stuck up'?"),
        ("spill alarm off", "did you mean"),
        ("hight level alarm off", "did you mean 'high level alarm off'?"),
        ("P2 fails quickly", "'fails quickly' is nothing that happens to P2"),
        ("generator fails quickly", "did you mean 'generator fails'?"),
        ("generator putt right", "did you mean 'generator put right'?"),
        (
            "tanker takes",
            "nothing is said to go with 'tanker takes'; from 0.1 to 60 m3 is accepted",
        ),
        (
            "tanker takes 10 m3",
            "lacks the time that it happens in; write it as in 'tanker takes 10",
        ),
        ("tanker takes 10 m3 for 8 min", "write it as in 'tanker takes 10 m3 in 8 min'"),
        ("tanker takes 61 m3 in 8 min", "'61 m3' is said to go with 'tanker takes'"),
        ("tanker takes 10 in 8 min", "'10' has no unit"),
        ("tanker takes 10 m in 8 min", "a volume is needed"),
        ("tanker takes 10 m3 in 0 min", "'in 0 min' must be more than nought"),
        ("tanker takes 10 m3 in 8 min for 2 h", "'tanker takes' takes no duration"),
        ("P2 refuelled", "P2 is electric; try generator, mobile generator, Engine"),
        ("Engine refuelled for 2 h", "'refuelled' takes no duration"),
        ("E2 refuelled", "no pump is called 'E2'; this station has P1, P2, Engine"),
        ("Engine refueled", "did you mean 'refuelled'?"),
    ],
)
def test_what_cannot_be_is_refused_with_one_message(text: str, said: str) -> None:
    assert said in refusal(text)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("voltage dip for 1 s", "grid sag"),
        ("brownout", "grid sag"),
        ("single phasing", "phase lost"),
        ("power cut", "grid loss"),
        ("plc stopped", "controller stopped"),
        ("control fuse blown", "control breaker open"),
        ("comms lost", "telemetry lost"),
        ("ats fails", "transfer switch stuck"),
        ("generator does not start", "generator fails to start"),
        ("genset trips", "generator fails"),
        ("portable generator arrives", "mobile generator connected"),
        ("genset refueled", "generator refuelled"),
        ("fuel delivery", "generator refuelled"),
        ("towable genset filled", "mobile generator refuelled"),
        ("vacuum truck takes 10 m3", "tanker takes 10 m3 in 8 min"),
        ("tanker 10 m3 in 8 min", "tanker takes 10 m3 in 8 min"),
        ("hauling", "tanker takes 10 m3 in 8 min"),
        ("rising main burst", "force main broken at 40 %"),
        ("leak in the force main", "force main leaking 8 %"),
        ("air pocket in the main", "force main with air of 2 m"),
        ("force main blocked", "force main plugged to 30 %"),
        ("downstream station down", "downstream dark"),
        ("level sensor drifts", "level signal drifting 20 mm in 24 h"),
        ("level signal offset", "level signal off by 0.20 m"),
        ("float stuck", "start float stuck down"),
        ("float stuck up", "start float stuck up"),
        ("the float sticks", "start float stuck down"),
        ("float put right", "start float put right"),
        ("P2 worn impeller", "wearing 5 % in 1000 h"),
        ("P2 airlocked", "air-bound"),
        ("P2 non-return valve open", "check valve open"),
        ("P2 discharge valve closed", "plug valve closed"),
        ("P2 wrong rotation", "turning backwards"),
        ("P2 overcurrent", "overload"),
        ("P2 water in motor", "seal leak into motor"),
        ("P2 repaired", "put right"),
        ("P2 overlode", "overload"),
        ("Engine dead battery", "battery flat"),
        ("Engine won't prime", "fails to prime"),
    ],
)
def test_what_people_say_is_understood(said: str, meant: str) -> None:
    assert f"did you mean '{meant}'?" in refusal(said)
    whom = said.partition(" ")[0]
    suggested = f"{whom} {meant}" if whom in NAMES.machines else meant
    assert read(f"{suggested} for 2 h" if _lasts(suggested) else suggested)


def _lasts(text: str) -> bool:
    """Tell whether a suggestion takes a duration: then it is read with one."""
    return not text.endswith(("put right", "connected", "refuelled", "in 8 min"))


def test_a_file_in_us_units_is_told_ranges_and_samples_in_them_too() -> None:
    told = refusal("level signal off by 100 ft", "us")
    assert "from -20 to 20 m (-65.61 to 65.61 ft)" in told
    assert "such as 'level signal off by 8 in'" in told
    assert "(0.003938 to 196.8 in)" in refusal("level signal noisy by 300 in", "us")
    assert "(0.03281 to 656.1 ft)" in refusal("force main with air of 900 ft", "us")
    told = refusal("tanker takes 90000 gal in 8 min", "us")
    assert "from 0.1 to 60 m3 (26.42 to 15850 gal) is accepted" in told
    assert "such as 'tanker takes 2600 gal in 8 min'" in told
    for fault in CATALOGUE:
        if fault.amount is not None:
            number = sample_of(fault.amount, "us")
            text = f"{sample(fault).removesuffix(sample_of(fault.amount))}{number}"
            lasts = "" if fault.lasts == "never" else " for 1 h"
            si, us = read(f"{sample(fault)}{lasts}"), read(f"{text}{lasts}", "us")
            assert us[0].amount == pytest.approx(si[0].amount, rel=0.02), fault.kind
            assert us[0].per_s == si[0].per_s


def test_samples_call_the_engine_as_a_station_does() -> None:
    assert KINDS["fails to prime"].sample == "E1 fails to prime"
    engine = Names(("P1", "E1"), "E1", known=True)
    for kind in ("fails to prime", "battery flat"):
        text = f"07:00 {KINDS[kind].sample}"
        (found,) = read_events(text, start=MONDAY, duration_s=9e5, names=engine)
        assert (found.kind, found.subject) == (kind, "E1")


def test_a_float_without_a_name_is_answered_with_those_there_are(tmp_path: Path) -> None:
    told = refusal("float stuck up")
    assert "does not say which float; did you mean 'start float stuck up'?" in told
    assert told.endswith("start float, stop float, high level float, low level float")
    high = '[alarms]\nhigh_level = "2.4 m"\n[event.x]\ntext = "07:00 float stuck up"\n'
    assert "did you mean 'high level float stuck up'? this station has high level float" in (
        refused(tmp_path, CURVED + high)
    )
    none = '[event.x]\ntext = "07:00 float stuck up"\n'
    assert "this station has none that can fail" in refused(tmp_path, CURVED + none)


def test_a_mobile_set_is_reset_where_there_is_one(tmp_path: Path) -> None:
    text = '[event.x]\nat = "07:00"\nwhat = "mobile generator reset and P1 fails"\nfor = "1 h"\n'
    reset, fails = loaded(tmp_path, ALL + text).episode.events
    assert (reset.kind, reset.subject, reset.duration_s) == ("reset", "mobile generator", None)
    assert fails.duration_s == 3600.0
    assert "has no mobile generator" in refused(tmp_path, CURVED + text)


# ------------------------------------------------------------------- in a scenario

TOTAL = changed('[pump.P1]\nflow = "30 L/s"\n', "[pump.P1]\n", DUPLEX).replace(
    'name = "Test duplex"\n', 'name = "Test duplex"\ntotal_flow = ["30 L/s", "50 L/s"]\n'
)
ENGINE = (
    '[engine_pump]\nname = "Engine"\nstart = "2.2 m"\nstop = "0.9 m"\nflow = "30 L/s"\n'
    'fuel_rate = "8 L/h"\n'
)
ALL = CURVED + (
    ENGINE
    + '[backup_floats]\nstart = "2.0 m"\nstop = "0.5 m"\n'
    + '[alarms]\nhigh_level = "2.4 m"\nlow_level = "0.3 m"\n'
    + '[service]\nvoltage = "400 V"\n'
    + '[pump.P1.plate]\ncurrent = "20 A"\n'
    + '[generator]\nrated_power = "60 kW"\n[transfer]\n[mobile_generator]\nrated_power = "60 kW"\n'
)


def loaded(folder: Path, text: str, **options: list[str]) -> Loaded:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return load(file, **options)


def refused(folder: Path, text: str, **options: list[str]) -> str:
    with pytest.raises(ScenarioError) as caught:
        loaded(folder, text, **options)
    return str(caught.value)


def test_a_station_with_everything_takes_every_entry(tmp_path: Path) -> None:
    texts = [f"12:00 {phrase}" for phrase in PHRASES]
    named = ALL.replace('name = "Engine"', 'name = "E1"').replace(
        "[transfer]", 'fuel_rate = "12 L/h"\ntank = "200 L"\n[transfer]'
    )
    named += '[bypass_pump]\nflow = "30 L/s"\nstart = "2.2 m"\nstop = "0.9 m"\n'
    found = loaded(tmp_path, named, events=texts).episode.events
    assert [one.kind for one in found] == [one.kind for one in CATALOGUE]


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("start float stuck up", "this station has no start float: [backup_floats] is missing"),
        ("stop float late by 5 s", "this station has no stop float: [backup_floats] is missing"),
        ("high level float stuck up", "has no high level float: alarms.high_level is missing"),
        ("low level float put right", "has no low level float: alarms.low_level is missing"),
        ("high level alarm off", "has no high level alarm: alarms.high_level is missing"),
        ("transfer switch stuck", "this station has no transfer switch that feeds it in a run"),
        ("generator fails", "has no generator that feeds it in a run: [transfer] is missing"),
        ("generator reset", "[transfer] is missing"),
        ("generator put right", "[transfer] is missing"),
        ("mobile generator connected", "[mobile_generator] is missing"),
        ("generator refuelled", "[transfer] is missing"),
        ("mobile generator refuelled", "[mobile_generator] is missing"),
        ("P1 refuelled", "P1 is electric; try generator, mobile generator"),
        ("tanker takes 60 m3 in 1 min", "would have to take 1000 L/s, and 500 L/s is the most"),
        ("P1 battery flat", "'battery flat' happens to an engine-driven pump only, and this"),
        ("force main with air of 2 m", "air in the main changes the head, and the pumps"),
        ("force main broken at 40 %", "a broken main changes the head, and the pumps"),
        ("P1 off and generator late by 5 s", "[transfer] is missing"),
    ],
)
def test_what_does_not_fit_the_station_is_refused(tmp_path: Path, what: str, said: str) -> None:
    told = refused(tmp_path, DUPLEX + f'[event.x]\ntext = "12:00 {what}"\n')
    assert said in told
    assert told.count("\n") == 0
    assert "s.toml:24: event.x" in told
    assert said in refused(tmp_path, DUPLEX, events=[f"12:00 {what}"])
    assert said in refused(tmp_path, DUPLEX + f'[random.x]\nwhat = "{what}"\nrate = "2 per year"\n')


@pytest.mark.parametrize(
    "what",
    ["clogged to 60 %", "ragging 10 % in 2 h", "wearing 5 % in 1000 h", "plug valve closed",
     "turning backwards", "check valve open", "check valve slow by 8 s", "air-bound"],
)  # fmt: skip
def test_a_pump_without_a_flow_of_its_own_cannot_lose_any(tmp_path: Path, what: str) -> None:
    told = refused(tmp_path, TOTAL, events=[f"12:00 P1 {what}"])
    assert "P1 has no flow or curve of its own that" in told
    assert "station.total_flow counts" in told


def test_a_leak_and_a_plugged_main_are_fine_with_plain_flows(tmp_path: Path) -> None:
    for text in (DUPLEX, TOTAL):
        found = loaded(
            tmp_path, text, events=["12:00 force main leaking 8 % and force main plugged to 30 %"]
        ).episode.events
        assert [(one.kind, one.flow_left, one.amount) for one in found] == [
            ("main leak", 1.0, 0.08),
            ("main plugged", 0.3, 0.0),
        ]


def test_pieces_hold_several_things_and_each_takes_what_goes_with_it(tmp_path: Path) -> None:
    text = ALL + (
        '[event.night]\nat = "day 2 02:00"\nfor = "6 h"\nuntil_reset = true\n'
        'what = "control breaker open and P1 fails for 1 h and P2 seal leak and telemetry lost"\n'
    )
    found = loaded(tmp_path, text).episode.events
    assert [(one.kind, one.duration_s, one.resets_itself) for one in found] == [
        ("control breaker open", 21600.0, True),
        ("fails", 3600.0, False),
        ("seal leak", None, True),
        ("telemetry lost", 21600.0, True),
    ]


@pytest.mark.parametrize(
    ("pieces", "said"),
    [
        ('what = "P1 seal leak"\nfor = "2 h"', "'seal leak' takes no duration"),
        ('what = "P1 off"\nuntil_reset = true', "'until reset' goes with"),
        ('what = "P1 off for 2 h"\nfor = "3 h"', "cannot be read as a duration"),
        ('what = "P1 explodes"\nfor = "3 h"', "'explodes' is nothing that happens to P1"),
    ],
)
def test_pieces_that_contradict_are_refused(tmp_path: Path, pieces: str, said: str) -> None:
    told = refused(tmp_path, DUPLEX + f'[event.x]\nat = "12:00"\n{pieces}\n')
    assert said in told


def test_grid_losses_are_joined_wherever_they_stand(tmp_path: Path) -> None:
    text = DUPLEX + (
        '[event.a]\ntext = "12:00 P1 off and grid loss for 2 h"\n'
        '[event.b]\ntext = "13:00 grid loss for 3 h and P2 off"\n'
    )
    made = loaded(tmp_path, text)
    assert [(one.kind, one.at_s, one.duration_s) for one in made.episode.events] == [
        ("off", 19800.0, None),
        ("grid loss", 19800.0, 14400.0),
        ("off", 23400.0, None),
    ]
    (warning,) = made.warnings
    assert "overlaps or touches another grid loss" in warning.text()


# ------------------------------------------------------------------- explained


def explain(*words: str) -> str:
    done = CliRunner().invoke(main, ["explain", *words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return " ".join(done.output.split())


def test_the_whole_catalogue_is_explained_by_family() -> None:
    told = explain("event")
    for fault in CATALOGUE:
        assert fault.sample in told
        assert " ".join(fault.truth.split())[1:] in told
        assert fault.seen in told
    for family in ("Pumps:", "Instruments:", "Power:", "The force main:", "People:"):
        assert family in told
    assert told.index("Pumps:") < told.index("P2 overload") < told.index("Instruments:")
    assert told.endswith("local practice decides who may do what.")


@pytest.mark.parametrize("fault", CATALOGUE, ids=lambda one: one.kind)
def test_every_entry_is_explained_by_its_name(fault: Fault) -> None:
    told = explain(fault.kind)
    assert f"{fault.kind} (can happen)" in told
    assert fault.truth[1:] in told
    assert f"The panel sees: {fault.seen}" in told
    assert f"Cleared {fault.clears[0]}" in told
    assert ("is when a crew is taken to have mended it" in told) == fault.stays
    assert "a trip is reset only after its cause was looked for" in told


def test_an_entry_is_found_as_it_is_written_and_its_number_is_told() -> None:
    assert explain("force", "main", "leaking", "8", "%").startswith("main leak (can happen)")
    assert "main air (can happen)" in explain("force main with air")
    told = explain("check", "valve", "open")
    assert "Number: from 1 % to 100 %; may be left out" in told
    assert "Number: from 0.1 s to 24 h" in explain("float late")
    assert "'until reset' may stand behind it" in explain("overload")
    done = CliRunner().invoke(main, ["explain", "check valve opne"])
    assert done.exit_code == 2
    assert "near it: " in done.output
    assert "'check valve open'" in done.output


# ------------------------------------------------------------------- whatever is written

PIECES = sorted(
    {word for phrase in PHRASES for word in phrase.split()}
    | {
        "and",
        "for",
        "until",
        "reset",
        "in",
        "to",
        "by",
        "07:00",
        "-1",
        "60",
        "%",
        "P9",
        "",
        "²",
        "m",
    }
)


@given(words=st.lists(st.sampled_from(PIECES), max_size=9), system=st.sampled_from(["si", "us"]))
def test_whatever_is_written_is_read_or_refused_in_one_sentence(
    words: list[str], system: str
) -> None:
    found, told = (), "read"
    try:
        found = read(" ".join(words), system)
    except EventTextError as error:
        told = str(error)
    assert told
    assert "\n" not in told
    for one in found:
        amount = KINDS[one.kind].amount
        assert one.duration_s is None or one.duration_s > 0.0
        assert 0.0 <= one.flow_left <= 1.0
        assert amount is None or one.amount == 0.0 or amount.least <= one.amount <= amount.most


def test_a_tank_whose_fuel_is_not_counted_is_not_filled(tmp_path: Path) -> None:
    def told(what: str, more: str = "") -> str:
        text = ALL.replace("[transfer]", f"{more}\n[transfer]")
        return refused(tmp_path, text + f'[event.x]\ntext = "12:00 {what}"\n')

    both = "generator.tank and generator.fuel_rate are missing"
    assert f"the fuel of the generator is not counted, so there is nothing to fill: {both}" in told(
        "generator refuelled"
    )
    assert "generator.tank is missing" in told("generator refuelled", 'fuel_rate = "12 L/h"')
    assert "mobile_generator.tank and mobile_generator.fuel_rate are missing" in told(
        "mobile generator refuelled"
    )
    assert "the fuel of Engine is not counted" in told("Engine refuelled")
    assert "engine_pump.tank is missing" in told("Engine refuelled")


def test_a_tank_is_filled_and_a_tanker_takes_at_one_instant(tmp_path: Path) -> None:
    text = ALL.replace('fuel_rate = "8 L/h"\n', 'fuel_rate = "8 L/h"\ntank = "60 L"\n')
    what = (
        "12:00 Engine refuelled and Tanker takes 2000 gal in 0.2 h and tanker takes 5 m3 in 5 min"
    )
    fill, first, second = loaded(tmp_path, text, events=[what]).episode.events
    assert (fill.kind, fill.subject, fill.duration_s) == ("refuelled", "Engine", None)
    assert (first.kind, first.subject, first.per_s) == ("tanker takes", "tanker", 720.0)
    assert first.amount == pytest.approx(7.570823568)  # US gallons of 3.785411784 L
    assert (second.amount, second.per_s) == (5.0, 300.0)


@pytest.mark.parametrize(
    ("given", "battery_s"), [("", math.inf), ('battery = "8 h"', 28800.0), ('battery = "0 s"', 0.0)]
)
def test_an_alarm_battery_is_read(tmp_path: Path, given: str, battery_s: float) -> None:
    alarms = f'[alarms]\nhigh_level = "2.4 m"\n{given}\n'
    assert loaded(tmp_path, CURVED + alarms).station.alarms.battery_s == battery_s


def test_an_alarm_battery_must_feed_something(tmp_path: Path) -> None:
    shared = CURVED + '[alarms]\nsupply = "control"\nbattery = "8 h"\n'
    told = refused(tmp_path, shared)
    assert "alarms.battery: means nothing with alarms.supply = 'control'" in told
    assert "(found 8 h; accepted: alarms.battery with alarms.supply = 'own')" in told
    short = CURVED + '[alarms]\npower_failed_delay = "60 s"\nbattery = "1 min"\n'
    warnings = [one.text() for one in loaded(tmp_path, short).warnings]
    assert any("alarms.battery: is empty before 'power failed' is raised" in x for x in warnings)
    longer = short.replace('"1 min"', '"2 min"')
    assert not any("battery" in one.text() for one in loaded(tmp_path, longer).warnings)
    assert "alarms.battery" in refused(tmp_path, CURVED + '[alarms]\nbattery = "8"\n')

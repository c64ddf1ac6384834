"""Warnings: what practice would advise against, and what is left alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from scenario_texts import CURVED, DUPLEX, changed

from stationsim.scenario.load import load

ALARMS = '[alarms]\nhigh_level = "{}"\n[episode]'
ENGINE = (
    '[engine_pump]\nflow = "30 L/s"\nstart = "2.2 m"\nstop = "0.8 m"\ntank = "200 L"\n[control]'
)


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        (changed('"1.80 m"', '"1.60 m"'), "control.lag_start", "lies close above"),
        (changed("[episode]", ALARMS.format("1.9 m")), "alarms.high_level", "lies close above"),
        (
            changed("[episode]", ALARMS.format("2.8 m")).replace(
                "[well.shaft]", 'inlet_invert = "2.6 m"\n[well.shaft]'
            ),
            "alarms.high_level",
            "above the inlet invert",
        ),
        (
            changed("[episode]", '[alarms]\nlow_level = "0.7 m"\n[episode]'),
            "alarms.low_level",
            "every pump-down raises it",
        ),
        (changed('"10 L/s"', '"40 L/s"'), "inflow", "more than the firm capacity"),
        (changed('"10 L/s"', '"90 L/s"'), "inflow", "more than all pumps together"),
        (changed('"10 L/s"', '"0 L/s"'), "inflow", "no water arrives"),
        (changed('"3.0 m"', '"0.5 m"'), "control.lead_start", "the shortest cycle is very short"),
        (changed("stop =", 'lag_stop = "1 m"\nstop ='), "control.lag_stop", "has no effect"),
        (
            changed("stop =", 'stop_policy = "last on, first off"\nstop ='),
            "control.lag_stop",
            "ends at control.stop",
        ),
        (changed("[control]", ENGINE), "engine_pump.tank", "has no effect without"),
        (
            changed("[well.shaft]", 'depth = "4 m"\n[well.shaft]'),
            "spill.level",
            "lies above the cover",
        ),
        (
            changed('duration = "2 d"', 'duration = "2 min"'),
            "episode.table_interval",
            "longer than the episode",
        ),
        (
            CURVED.replace("curve = {", 'flow = "30 L/s" # {'),
            "force_main",
            "no pump has a curve",
        ),
        (
            changed('discharge = "8 m"', 'discharge = "20.75 m"', CURVED)
            .replace('like = "P1"', 'like = "P1"\nspeed = 1.3')
            .replace('"10 L/s"', '"1 L/s"'),
            "pump.P1",
            "cannot pump down to the stop level by itself",
        ),
        (
            DUPLEX + '[event.a]\ntext = "07:00 grid loss for 2 h"\n'
            '[event.b]\ntext = "08:00 grid loss for 3 h"\n',
            "event.b",
            "(found 2027-03-01 07:00 to 09:00, 2027-03-01 08:00 to 11:00)",
        ),
    ],
)
def test_practice_is_warned_about(tmp_path: Path, text: str, place: str, said: str) -> None:
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    warnings = load(tmp_path / "s.toml").warnings
    assert [one.place for one in warnings] == [place]
    assert said in warnings[0].text()
    assert warnings[0].file.endswith("s.toml")


def test_pipe_without_c_factor_is_told_which_one_is_taken(tmp_path: Path) -> None:
    single = CURVED.replace("c_factor = 120\n", "")
    named = single.replace('length = "100 m"', '[force_main.pipe.A]\nlength = "100 m"')
    for text, place in ((single, "force_main.c_factor"), (named, "force_main.pipe.A.c_factor")):
        (tmp_path / "s.toml").write_text(text, encoding="utf-8")
        found = load(tmp_path / "s.toml")
        (warning,) = found.warnings
        assert (warning.place, warning.reason) == (place, "is left out: 120 is taken")
        assert found.station.force_main is not None
        assert found.station.force_main.pipes[0].c_factor == 120.0


def test_branch_without_c_factor_is_not_warned_about(tmp_path: Path) -> None:
    branch = 'branch = {length = "5 m", diameter = "150 mm"}\n[pump.P2]'
    (tmp_path / "s.toml").write_text(changed("[pump.P2]", branch, CURVED), encoding="utf-8")
    assert load(tmp_path / "s.toml").warnings == ()


def test_plain_duplex_has_no_warnings(tmp_path: Path) -> None:
    for text in (DUPLEX, CURVED):
        (tmp_path / "s.toml").write_text(text, encoding="utf-8")
        assert load(tmp_path / "s.toml").warnings == ()


def test_spacing_of_just_six_inches_is_not_warned_about(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(changed('"1.80 m"', '"1.65 m"'), encoding="utf-8")
    assert load(tmp_path / "s.toml").warnings == ()


def test_overlapping_grid_losses_are_one(tmp_path: Path) -> None:
    text = DUPLEX + (
        '[event.b]\ntext = "08:00 grid loss for 3 h"\n[event.p]\ntext = "08:00 P1 off"\n'
        '[event.a]\ntext = "07:00 grid loss for 2 h"\n[event.c]\ntext = "15:00 grid loss for 1 h"\n'
    )
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    events = load(tmp_path / "s.toml").episode.events
    losses = [(one.at_s, one.duration_s) for one in events if one.kind == "grid loss"]
    assert losses == [(1800.0, 4 * 3600.0), (8.5 * 3600.0, 3600.0)]
    assert len(events) == 3


def test_messages_speak_in_the_units_of_the_file(tmp_path: Path) -> None:
    text = DUPLEX
    for si, us in (("0.70 m", "2.3 ft"), ("1.50 m", "4.9 ft"), ("1.80 m", "5.2 ft"),
                   ("30 L/s", "475 gpm"), ("10 L/s", "160 gpm"), ("3.0 m", "10 ft"),
                   ("4.20 m", "13.8 ft"), ("0.8 m", "2.6 ft")):  # fmt: skip
        text = text.replace(f'"{si}"', f'"{us}"')
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    (warning,) = load(tmp_path / "s.toml").warnings
    assert "(found 0.30 ft; accepted: 0.492 ft or more apart)" in warning.text()

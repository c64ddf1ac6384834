"""Small scenarios as text, for tests that read files."""

from __future__ import annotations

from pathlib import Path

import pytest

DUPLEX = """\
[station]
name = "Test duplex"
[well.shaft]
shape = "cylinder"
diameter = "3.0 m"
[spill]
level = "4.20 m"
[pump.P1]
flow = "30 L/s"
[pump.P2]
like = "P1"
[control]
kind = "staging"
stop = "0.70 m"
lead_start = "1.50 m"
lag_start = "1.80 m"
[episode]
start = "2027-03-01T06:30+01:00"
duration = "2 d"
start_level = "0.8 m"
[inflow.homes]
kind = "constant"
flow = "10 L/s"
"""


def changed(old: str, new: str, text: str = DUPLEX) -> str:
    assert text.count(old) == 1, old
    return text.replace(old, new)


CURVED = DUPLEX.replace(
    '[pump.P1]\nflow = "30 L/s"\n',
    '[pump.P1]\ncurve = {flow = ["0 L/s", "40 L/s"], head = ["20 m", "5 m"]}\n',
).replace(
    "[control]",
    '[force_main]\ndischarge = "8 m"\nlength = "100 m"\ndiameter = "200 mm"\nc_factor = 120\n'
    "[control]",
)
POINTS = 'flow = ["0 L/s", "40 L/s"], head = ["20 m", "5 m"]'
DAILY = DUPLEX.replace('kind = "constant"\nflow = "10 L/s"', 'kind = "daily"\nweekday = [1, 2]')


def nettle_bank(duration: str, flow: str) -> str:
    """Return a duplex of another name from midnight on, with an alternating lead."""
    text = DUPLEX
    for old, new in {
        "Test duplex": "Nettle Bank",
        "T06:30+01:00": "T00:00+00:00",
        '"0.8 m"': '"0.70 m"',
        "[episode]": '[rotation]\nkind = "each cycle"\n[episode]',
        '"2 d"': f'"{duration}"',
        '"10 L/s"': f'"{flow}"',
    }.items():
        text = changed(old, new, text)
    return text


def as_file(text: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the file ``nettle.toml`` of a folder that is made the current one."""
    monkeypatch.chdir(folder)
    path = folder / "nettle.toml"
    path.write_text(text, encoding="utf-8")
    return path


def in_frame(frame: str, levels: dict[str, str], text: str = DUPLEX) -> str:
    """Return a duplex with keys for [station] and each level written otherwise."""
    text = changed('name = "Test duplex"\n', f'name = "Test duplex"\n{frame}\n', text)
    for old, new in levels.items():
        text = changed(f'"{old}"', f'"{new}"', text)
    return text


ELEVATIONS = {
    "0.70 m": "98.90 m",
    "1.50 m": "99.70 m",
    "1.80 m": "100.00 m",
    "4.20 m": "102.40 m",
    "0.8 m": "99.0 m",
}
FLOOR = 'floor_elevation = "98.20 m"'

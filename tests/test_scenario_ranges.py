"""Ranges in messages: in SI, and in US units besides where the file is written in them.

The figures are own computation from the foot of 0.3048 m and the gallon of 231 cubic inches.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from scenario_texts import changed

from stationsim import units
from stationsim.errors import QuantityError, ScenarioError
from stationsim.scenario import quantities as q
from stationsim.scenario.load import load

QUANTITIES = {
    name: kind.__metadata__[0]
    for name, kind in vars(q).items()
    if isinstance(getattr(kind, "__metadata__", (None,))[0], q.Quantity)
}
QUARRY = (Path(__file__).parents[1] / "scenarios" / "quarry-row-us.toml").read_text("utf-8")
ALDER = (Path(__file__).parents[1] / "scenarios" / "alder-lane.toml").read_text("utf-8")


def refusal(folder: Path, text: str, **options: list[str]) -> str:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as caught:
        load(file, **options)
    return str(caught.value)


@pytest.mark.parametrize(
    ("key", "value", "accepted"),
    [
        ("well.shaft.diameter", "600 ft", "from 0.05 to 100 m (0.1641 to 328 ft)"),
        ("station.depth", "0 ft", "more than 0 to 200 m (0 to 656.1 ft)"),
        ("spill.level", "-4000 ft", "from -1000 to 10000 m (-3280 to 32800 ft)"),
        ("force_main.diameter", "0.1 in", "from 0.005 to 10 m (0.1969 to 393.7 in)"),
        ("force_main.roughness", "1 ft", "from 0 to 0.1 m (0 to 3.937 in)"),
        ("well.sewer.volume", "0 gal", "more than 0 to 1e+07 m3 (0 to 2.641e+09 gal)"),
        ("station.total_flow", ["-1 gpm", "2 gpm"], "from 0 to 1000 m3/s (0 to 15850000 gpm)"),
        ("inflow.homes.mean", "-42 gpm", "from 0 to 1000 m3/s (0 to 15850000 gpm)"),
        ("pump.P1.power", "-2 hp", "from 0 to 1e+08 W (0 to 134100 hp)"),
        ("pump.P1.min_off_time", "8 d", "from 0 to 604800 s"),
    ],
)
def test_a_file_in_us_units_is_told_its_ranges_in_them_too(
    tmp_path: Path, key: str, value: str | list[str], accepted: str
) -> None:
    written = str(value).replace("'", '"') if isinstance(value, list) else f'"{value}"'
    told = refusal(tmp_path, QUARRY, sets=[f"{key}={written}"])
    assert f"accepted: {accepted})" in told
    # the same in a file in SI units says it once
    in_si = refusal(tmp_path, ALDER, sets=[f"{key}={written}"])
    assert accepted.partition(" (")[0] in in_si
    assert not re.search(r"\d (ft|in|gal|gpm|hp)\)", in_si)


def test_a_flow_of_a_daily_pattern_is_told_so_too(tmp_path: Path) -> None:
    flows = ", ".join(['"5 gpm"'] * 23 + ['"-5 gpm"'])
    told = refusal(
        tmp_path,
        re.sub(r"weekday = \[.*?\]", f"weekday = [{flows}]", QUARRY, count=1, flags=re.DOTALL),
    )
    assert "24th value: flow out of range" in told
    assert "from 0 to 1000 m3/s (0 to 15850000 gpm)" in told


def test_a_setting_of_the_controller_and_a_temperature_are_told_so_too(tmp_path: Path) -> None:
    told = refusal(tmp_path, changed('stop = "2.0 ft"', 'stop = "40000 ft"', QUARRY))
    assert "control.stop: length out of range" in told
    assert "(-3280 to 32800 ft)" in told
    motor = (
        '[pump.P1.motor]\nambient = "-90 degF"\nfull_rise = "2000 degF"\nheating_time = "45 min"\n'
        'cooling_time = "110 min"\ntrip = "266 degF"\nreset = "176 degF"\n[pump.P2]\n'
    )
    told = refusal(tmp_path, changed("[pump.P2]\n", motor, QUARRY))
    assert "from -50 to 500 degC (-58 to 932 degF)" in told  # by hand: 9/5 x + 32
    assert "more than 0 to 500 K (0 to 900 degF)" in told  # a difference: 9/5 x


def test_rain_harder_than_any_is_told_in_the_units_of_the_file(tmp_path: Path) -> None:
    derived = (
        '[rain_derived]\narea = "100 acre"\n[rain_derived.quick]\nfraction = 0.02\n'
        'time_to_peak = "1 h"\nfall_ratio = 2.0\n[inflow.homes]\n'
    )
    told = refusal(
        tmp_path,
        changed("[inflow.homes]\n", derived, QUARRY),
        rains=["3 in in 1 min from day 2 14:00"],
    )
    assert "(found 180 in/h; accepted: up to 98.42 in/h" in told  # 2500 mm/h over 25.4


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=QUANTITIES)
def test_every_end_that_is_told_in_us_units_is_accepted(quantity: q.Quantity) -> None:
    told = quantity._in_us_units()
    if quantity.kind in ("duration", "current", "voltage", "apparent power", "rotation speed"):
        assert told == ""
        return
    low, high, unit = re.fullmatch(r" \((\S+) to (\S+) (.+)\)", told).groups()  # type: ignore[union-attr]
    assert quantity.read(f"{high} {unit}") == pytest.approx(quantity.high, rel=2e-3)
    if quantity.open_low:
        assert (low, quantity.low) == ("0", 0.0)
    else:
        read = quantity.read(f"{low} {unit}")
        assert read == pytest.approx(quantity.low, rel=2e-3, abs=1e-12)


@pytest.mark.parametrize(
    ("value", "unit", "least", "told"),
    [
        (0.05, "ft", True, "0.1641"),  # 0.164042
        (0.05, "ft", False, "0.164"),
        (-1000.0, "ft", True, "-3280"),  # -3280.84
        (-1000.0, "ft", False, "-3281"),
        (0.3048, "ft", True, "1"),
        (0.0, "ft", True, "0"),
        (1e-6, "ft", False, "3.28e-06"),
        (1e9, "in", False, "3.937e+10"),
    ],
)
def test_a_limit_is_rounded_to_the_side_that_is_accepted(
    value: float, unit: str, least: bool, told: str
) -> None:
    assert units.limit_text(value, unit, "length", least=least) == told


def test_what_is_too_large_to_be_read_is_told_in_the_unit_that_was_written() -> None:
    for text, most in (("1e9 ft", "3280000 ft"), ("1e9 m", "1000000 m"), ("1e9 in", "39370000 in")):
        with pytest.raises(QuantityError, match=f"at most {most} is read"):
            units.parse(text, "length")
        assert units.parse(most, "length") <= units.LARGEST["length"]
    with pytest.raises(QuantityError, match="at most 115700 d is read"):
        units.parse("999999 d 5 h", "duration")

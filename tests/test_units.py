"""Text to SI and back."""

from __future__ import annotations

import math
import subprocess
import sys
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim import units
from stationsim.errors import QuantityError

PAIRS = [(kind, name) for kind in get_args(units.Kind) for name in units.accepted(kind).split(", ")]


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        # exact by definition: inch 25.4 mm, gallon 231 in3 (NIST SP 811, appendix B)
        ("1 ft", "length", 0.3048),
        ("2 km", "length", 2000.0),
        ("1 mi", "length", 1609.344),  # 5280 feet
        ("0.5 miles", "length", 804.672),
        ("1 gal", "volume", 0.003785411784),
        ("1 gpm", "flow", 0.003785411784 / 60.0),
        ("1 MGD", "flow", 3785.411784 / 86400.0),
        ("1 cfs", "flow", 0.028316846592),
        ("1 hp", "power", 745.6998715822702),
        ("35 L/s", "flow", 0.035),
        ("35L/s", "flow", 0.035),
        ("12.5 m³/h", "flow", 12.5 / 3600.0),
        ("18446.33 m3/d", "flow", 18446.33 / 86400.0),
        ("4 h", "duration", 14400.0),
        ("1 h 30 min", "duration", 5400.0),
        ("1 d 2 h 3 min 4 s", "duration", 93784.0),
        ("-1 h 30 min", "duration", -5400.0),
        ("-0.0056 m/(L/s)^2", "head per flow squared", -5600.0),
        ("-5600 s2/m5", "head per flow squared", -5600.0),
        ("1.14e-6 m2/s", "viscosity", 1.14e-6),
        (".5 m", "length", 0.5),
        ("+5 mm", "length", 0.005),
        ("20 C", "temperature", 20.0),
        ("-4 °F", "temperature", -20.0),  # 0 degC is 32 degF, 100 degC is 212 degF: by definition
        ("212 degF", "temperature", 100.0),
        ("85 K", "temperature difference", 85.0),
        ("80 degC", "temperature difference", 80.0),
        ("144 degF", "temperature difference", 80.0),
        # a bar is 100 kPa, a psi a pound-force on a square inch: NIST SP 811, appendix B
        ("250 kPa", "pressure", 250e3),
        ("2.5 bar", "pressure", 250e3),
        ("35 mbar", "pressure", 3500.0),
        ("0.4 MPa", "pressure", 400e3),
        ("101325 Pa", "pressure", 101325.0),
        ("1 psi", "pressure", 0.45359237 * 9.80665 / 0.0254**2),
        ("10 psig", "pressure", 4.5359237 * 9.80665 / 0.0254**2),
        ("1455 rpm", "rotation speed", 24.25),
        ("1455 1/min", "rotation speed", 24.25),
        ("1455 min⁻¹", "rotation speed", 24.25),
        ("24.25 1/s", "rotation speed", 24.25),
    ],
)
def test_parse_known_values(text: str, kind: units.Kind, si: float) -> None:
    assert units.parse(text, kind) == pytest.approx(si, rel=4e-16, abs=0.0)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("1.9", "length", "has no unit; accepted: m, cm, mm, km, ft, in, mi"),
        ("1.9 L/s", "length", "is a unit of flow, and a length is needed"),
        ("1.9 parsec", "length", "unknown unit 'parsec'"),
        ("5 ftt", "length", "did you mean 'ft'?"),
        ("1,9 m", "length", "decimal point"),
        ("1,200 gpm", "flow", "no thousands separator"),
        ("nan m", "length", "not a finite number"),
        ("inf m", "length", "not a finite number"),
        ("-Infinity s", "duration", "not a finite number"),
        ("1e30 m", "length", "beyond anything"),
        ("1e999 m", "length", "beyond anything"),
        ("m", "length", "a number and a unit are needed"),
        ("", "flow", "a number and a unit are needed"),
        ("1 h 2 h", "duration", "cannot be read as a duration"),
        ("30 min 1 h", "duration", "cannot be read as a duration"),
        ("1 h -5 min", "duration", "cannot be read as a duration"),
        ("1 m; 2 m", "length", "unknown unit"),
        ("1 * m", "length", "unknown unit"),
        ("1 " + "m" * 100, "length", "too long"),
        ("293 K", "temperature", "'K' is a unit of temperature difference"),
        ("20", "temperature", "has no unit; accepted: degC, degF"),
        ("25 m", "pressure", "is a unit of length, and a pressure is needed; accepted: kPa, Pa"),
        ("24 Hz", "rotation speed", "unknown unit 'Hz'; accepted: rpm, 1/min, 1/s"),
        ("1455", "rotation speed", "has no unit; accepted: rpm, 1/min, 1/s, such as '1450 rpm'"),
    ],
)
def test_parse_refuses_what_is_not_clear(text: str, kind: units.Kind, said: str) -> None:
    with pytest.raises(QuantityError) as refused:
        units.parse(text, kind)
    assert said in str(refused.value)


# a scale whose nought lies elsewhere has no digits left for the smallest numbers
SCALES = [pair for pair in PAIRS if pair != ("temperature", "degF")]


@pytest.mark.parametrize(("kind", "name"), SCALES)
@given(value=st.floats(allow_nan=False, allow_infinity=False, width=64))
def test_text_round_trip_is_exact_in_every_unit(kind: units.Kind, name: str, value: float) -> None:
    small = math.fmod(value, units.LARGEST[kind] * 0.99)
    if abs(small) < 1e-290:  # below this a double has fewer digits
        small = 0.0
    assert units.parse(units.write(small, name, kind), kind) == small


@pytest.mark.parametrize(("kind", "name"), SCALES)
def test_numbers_go_to_si_and_back_in_every_unit(kind: units.Kind, name: str) -> None:
    there = units.to_si(12.25, name, kind)
    assert there == pytest.approx(12.25 * units.factor(name, kind), rel=4e-16)
    assert units.from_si(there, name, kind) == pytest.approx(12.25, rel=4e-16)


@given(tenths=st.integers(-4000, 99_000))
def test_fahrenheit_goes_to_celsius_and_back_by_its_definition(tenths: int) -> None:
    shown = tenths / 10.0
    celsius = units.to_si(shown, "degF", "temperature")
    assert celsius == pytest.approx((shown - 32.0) * 5.0 / 9.0, rel=1e-14, abs=1e-12)
    assert units.from_si(celsius, "degF", "temperature") == pytest.approx(shown, abs=1e-11)
    assert units.parse(units.write(celsius, "degF", "temperature"), "temperature") == celsius


def test_to_si_refuses_a_number_that_is_not_finite() -> None:
    with pytest.raises(QuantityError, match="finite"):
        units.to_si(math.nan, "m", "length")


@pytest.mark.parametrize(
    ("value", "kind", "si", "us"),
    [
        (1.5, "level", "1.50 m", "4.92 ft"),
        (-0.001, "level", "0.00 m", "0.00 ft"),
        (0.03, "flow", "30.0 L/s", "476 gpm"),
        (0.0, "flow", "0 L/s", "0 gpm"),
        (5.655, "volume", "5.66 m3", "1494 gal"),
        (123456.0, "volume", "123,456 m3", "32,613,625 gal"),
        (0.2, "diameter", "200 mm", "7.87 in"),
        (22000.0, "power", "22.0 kW", "29.5 hp"),
        (1.0, "velocity", "1.00 m/s", "3.28 ft/s"),
        (8.0 / 3.6e6, "fuel rate", "8.00 L/h", "2.11 gal/h"),
        (250e3, "pressure", "250 kPa", "36.3 psi"),
        (1500.0, "pressure", "1.50 kPa", "0.218 psi"),
        (24.25, "rotation speed", "1455 rpm", "1455 rpm"),
        (0.25, "duration", "0.25 s", "0.25 s"),
        (59.6, "duration", "60 s", "60 s"),
        (1860.0, "duration", "31 min", "31 min"),
        (4320.0, "duration", "1 h 12 min", "1 h 12 min"),
        (7.0 * 86400.0, "duration", "7 d", "7 d"),
        (math.inf, "duration", "never", "never"),
    ],
)
def test_show_rounds_for_people(value: float, kind: units.Shown, si: str, us: str) -> None:
    assert units.show(value, kind, "si") == si
    assert units.show(value, kind, "us") == us


def test_pint_is_imported_only_when_a_quantity_is_read() -> None:
    code = (
        "import sys, stationsim, stationsim.units\n"
        "heavy = {'pint', 'pandas', 'numpy', 'scipy', 'pydantic', 'matplotlib', 'simpy', 'click'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"

"""A generator set that is rated below what its smallest pump takes: told when the file is read.

What a motor takes is by hand: rated output over efficiency; the draw that the file gives; and
``rho g Q H`` over the efficiencies at the first start level.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from scenario_texts import DUPLEX, changed

from stationsim.scenario.load import load

PLATE = '[pump.P1.plate]\nrated_power = "9 kW"\nefficiency = "90 %"\n'  # takes 10 kW
MOBILE = '[mobile_generator]\nrated_power = "{}"\n'
FIXED = '[generator]\nrated_power = "{}"\n[transfer]\n'


def told(folder: Path, text: str) -> list[str]:
    file = folder / "s.toml"
    file.write_text(text, encoding="utf-8")
    return [one.text() for one in load(file).warnings if "rated_power: is less than" in one.text()]


@pytest.mark.parametrize("table", [MOBILE, FIXED])
def test_a_set_below_the_smallest_pump_is_told(tmp_path: Path, table: str) -> None:
    (said,) = told(tmp_path, DUPLEX + PLATE + table.format("9.9 kW"))
    where = "mobile_generator" if table == MOBILE else "generator"
    assert f"{where}.rated_power: is less than P1 alone takes: such a set carries no pump" in said
    assert "(found 9.90 kW; accepted: 10.0 kW or more); check the power of both, or bring" in said
    assert told(tmp_path, DUPLEX + PLATE + table.format("10 kW")) == []


def test_a_set_that_a_run_does_not_use_is_not_told_of(tmp_path: Path) -> None:
    alone = FIXED.format("1 kW").replace("[transfer]\n", "")
    assert told(tmp_path, DUPLEX + PLATE + alone) == []


def test_the_smallest_pump_that_may_run_on_it_counts(tmp_path: Path) -> None:
    small = '[pump.P2.plate]\nrated_power = "3.6 kW"\nefficiency = "90 %"\n'  # takes 4 kW
    both = changed('like = "P1"', 'flow = "20 L/s"') + PLATE + small
    assert told(tmp_path, both + MOBILE.format("4 kW")) == []
    (said,) = told(tmp_path, both + MOBILE.format("4 kW") + 'may_start = ["P1"]\n')
    assert "than P1 alone takes" in said
    (said,) = told(tmp_path, both + MOBILE.format("3.9 kW"))
    assert "than P2 alone takes" in said


def test_a_plate_that_says_no_efficiency_counts_with_its_output(tmp_path: Path) -> None:
    bare = PLATE.replace('efficiency = "90 %"\n', "")
    (said,) = told(tmp_path, DUPLEX + bare + MOBILE.format("8.9 kW"))
    assert "accepted: 9.00 kW or more" in said
    assert told(tmp_path, DUPLEX + bare + MOBILE.format("9 kW")) == []


def test_what_is_drawn_counts_where_it_is_less_than_the_plate_says(tmp_path: Path) -> None:
    drawn = changed("[pump.P1]\n", '[pump.P1]\npower = "6 kW"\n') + PLATE
    assert told(tmp_path, drawn + MOBILE.format("6 kW")) == []
    (said,) = told(tmp_path, drawn + MOBILE.format("5.9 kW"))
    assert "accepted: 6.00 kW or more" in said


def test_what_nothing_is_known_of_is_not_told_of(tmp_path: Path) -> None:
    assert told(tmp_path, DUPLEX + MOBILE.format("10 W")) == []


def test_what_follows_from_curve_and_efficiency_counts(tmp_path: Path) -> None:
    """20 L/s whatever the head, lifted by 3.5 m: 1000 * 9.80665 * 0.02 * 3.5 / 0.4 = 1716 W."""
    curve = (
        "[pump.P1]\nefficiency = 0.5\nmotor_efficiency = 0.8\n[pump.P1.curve]\n"
        'flow = ["0 L/s", "20 L/s", "20.001 L/s"]\nhead = ["15.002 m", "15.001 m", "0 m"]\n'
    )
    main = '[force_main]\ndischarge = "5 m"\nlength = "1 m"\ndiameter = "1 m"\n'
    text = changed('[pump.P1]\nflow = "30 L/s"\n', curve) + main
    (said,) = told(tmp_path, text + MOBILE.format("1.71 kW"))
    assert "than P1 alone takes" in said
    assert "accepted: 1.72 kW or more" in said
    assert told(tmp_path, text + MOBILE.format("1.72 kW")) == []

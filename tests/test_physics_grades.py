"""Grades of acceptance: what the table is made of, which one holds, and what is refused."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.equipment.acceptance import Grade
from stationsim.physics.grades import GRADES, SMALL, SMALL_NAME, GradeTolerance, default_grade


def test_grades_are_those_that_a_plan_can_name() -> None:
    assert sorted(GRADES) == sorted(get_args(Grade))
    assert SMALL_NAME not in GRADES


@given(st.sampled_from([*GRADES.values(), SMALL]), st.floats(0.0, 10.0), st.floats(0.0, 500.0))
def test_what_was_promised_is_accepted(grade: GradeTolerance, flow: float, head: float) -> None:
    low, high = grade.flow_limits_m3s(flow)
    assert low <= flow <= high
    low, high = grade.head_limits_m(head)
    assert low <= head <= high


def test_bilateral_grades_widen_and_unilateral_ones_have_no_below() -> None:
    one, two, three = GRADES["1B"], GRADES["2B"], GRADES["3B"]
    assert one.flow_low < two.flow_low < three.flow_low
    assert one.head_low < two.head_low < three.head_low
    for name, grade in GRADES.items():
        if name.endswith("U"):
            assert (grade.flow_low, grade.head_low) == (0.0, 0.0)
        else:
            assert (grade.flow_low, grade.head_low) == (grade.flow_high, grade.head_high)


def test_table_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        GRADES["2B"] = SMALL  # type: ignore[index]


@pytest.mark.parametrize(
    ("rated_w", "name", "says"),
    [
        (2.2e3, SMALL_NAME, "up to 10 kW"),
        (10e3, SMALL_NAME, "up to 10 kW"),
        (10.001e3, "2B", "above 10 kW"),
        (100e3, "2B", "up to 100 kW"),
        (100.001e3, "1B", "above 100 kW"),
        (None, "2B", "not known"),
    ],
)
def test_grade_goes_by_the_size_of_the_motor(rated_w: float | None, name: str, says: str) -> None:
    found, grade, source = default_grade(rated_w)
    assert found == name
    assert grade == (SMALL if name == SMALL_NAME else GRADES[name])
    assert says in source
    # what was not read must not look as if it had been
    assert "from memory" in source or "trade note" in source


@pytest.mark.parametrize("rated_w", [0.0, -1.0, math.nan])
def test_motor_of_no_size_has_no_grade(rated_w: float) -> None:
    with pytest.raises(ValueError, match="no grade"):
        default_grade(rated_w)

"""The station sheet read at night: who answers, what the peak is, which day a column is of."""

from __future__ import annotations

import dataclasses
import math
from datetime import timedelta
from typing import Any

import pytest
from station_sheets import fields, part, response

from stationsim.forms import Form
from stationsim.inflow.daily import Constant
from stationsim.inflow.storm import Hydrograph
from stationsim.people.response import Response
from stationsim.studies.rehearse.hours import HoursAsked
from stationsim.studies.rehearse.sheet import station_sheet
from stationsim.studies.rehearse.sheet_peaks import pumps_that_carry
from stationsim.testing import MONDAY, duplex, episode, triplex

DAY_S = 86_400.0


def sheet(asked: HoursAsked | None = None, **changes: Any) -> Form:
    """Return the sheet of a duplex at a steady 10 L/s."""
    what = dataclasses.replace(episode(14.0 * DAY_S, 0.010), **changes)
    return station_sheet(duplex(), what, "si", asked=asked)


def answering(**changes: Any) -> Response:
    """Return the response with its first person changed."""
    given = response()
    first = dataclasses.replace(given.people[0], **changes)
    return dataclasses.replace(given, people=(first, *given.people[1:]))


def test_who_does_not_hear_the_phone_does_not_answer() -> None:
    calls = part(sheet(response=answering(answers=False)), "Who is called")
    assert calls["1"] == {
        "who": "operator on call (22:00 to 06:30)", "phone": None, "answers": "does not answer",
        "to site": "-", "at night": "-",
    }  # fmt: skip
    assert calls["2"]["answers"] == "1-5-30"
    calls = part(sheet(response=answering(answers_at_night=False)), "Who is called")
    assert calls["1"]["answers"] == "1-5-30; at night: does not answer"
    assert calls["1"]["to site"] == "15-35-110"
    assert calls["1"]["at night"] == "-"


def test_the_wet_peak_is_what_the_storm_brings_after_the_cut() -> None:
    # a triangle of 20 L/s upon 10 L/s, highest 90 minutes after the power is gone
    storm = Hydrograph(0.0, (0.0, 1800.0, 3600.0), (0.0, 0.020, 0.0))
    form = sheet(HoursAsked(storm_peak_s=5400.0), inflow=(Constant(0.010), storm))
    spill = fields(form, "The spill")
    assert str(spill["spills at the dry peak"]).startswith("600 L/min ")
    wet = str(spill["spills at the wet peak"])
    assert wet.startswith("1,800 L/min (")
    assert wet.endswith(":30)")
    assert "at the wet peak of 30.0 L/s" in fields(form, "Starts")
    assert "Wet: the storm brings most 1 h 30 min after the power is lost." in form.notes


def test_in_the_dark_upstream_spills_less_and_pumps_must_carry_all() -> None:
    form = sheet(HoursAsked(upstream=0.25))
    assert str(fields(form, "The spill")["spills at the dry peak"]).startswith("450 L/min ")
    assert "at the dry peak of 10.0 L/s" in fields(form, "Starts")
    told = "25 % of the inflow counts as gone: stations upstream that go dark too."
    assert told in form.notes
    assert told not in sheet().notes


@pytest.mark.parametrize(
    ("lag_s", "told"),
    [
        (1800.0, "450 L/min "),  # 20 m3 at 10 L/s fill in 2000 s: the well is not yet full
        (3600.0, "600 L/min "),
    ],
)
def test_water_on_its_way_counts_if_it_finds_the_well_full(lag_s: float, told: str) -> None:
    form = sheet(HoursAsked(upstream=0.25, upstream_lag_s=lag_s))
    assert str(fields(form, "The spill")["spills at the dry peak"]).startswith(told)


def test_what_a_caller_needs_stands_above_the_list_and_the_steps() -> None:
    parts = sheet(response=response()).parts
    assert "Who is called, in order; next one after 15 min; list gone through 2 times" in parts
    assert (
        "Steps, in order; visit: second operator, 07:30, every day;"
        " who sees the spill rings after 20-45-120 min (06:30 to 22:00)"
    ) in parts
    alone = dataclasses.replace(
        response(), next_after_s=math.inf, rounds=1, visit=None, passer_by=None
    )
    parts = sheet(response=alone).parts
    calls = "Who is called, in order; the next one is not called; list gone through once"
    assert parts[calls] == "half"
    assert parts["Steps, in order"] == "across"


@pytest.mark.parametrize(
    ("next_s", "told"), [(900.0, "again after 15 min"), (math.inf, "not called again")]
)
def test_one_who_is_alone_on_the_list_is_called_again(next_s: float, told: str) -> None:
    alone = dataclasses.replace(
        response(), call_list=("supervisor",), next_after_s=next_s, rounds=3
    )
    head = f"Who is called, in order; {told}; list gone through 3 times"
    assert head in sheet(response=alone).parts


@pytest.mark.parametrize(
    ("arriving", "told"),
    [
        (0.029, "any one of the two pumps is enough"),
        (0.031, "both pumps are needed"),
        (0.061, "not even both pumps together are enough"),
    ],
)
def test_of_two_pumps_both_are_told(arriving: float, told: str) -> None:
    assert pumps_that_carry(triplex((0.03, 0.03)), arriving, 2.0) == told


def test_every_number_of_pumps_on_a_generator_has_its_line() -> None:
    form = station_sheet(triplex(), episode(DAY_S, 0.010), "si")
    loads = [name for name in part(form, "What a generator") if "at once" not in name]
    assert loads == ["1 pump", "2 pumps", "3 pumps"]


def test_two_dates_of_one_weekday_are_two_columns() -> None:
    dates = [(MONDAY + timedelta(days=n)).date().isoformat() for n in (1, 8)]
    form = sheet(HoursAsked(days=tuple(dates)))
    assert list(part(form, "Minutes")["05:00"]) == [
        f"{day} {what}" for day in dates for what in ("alarm", "spill")
    ]
    peak = str(fields(form, "The spill")["spills at the dry peak"])
    assert peak == f"600 L/min ({dates[0]} 00:00)"

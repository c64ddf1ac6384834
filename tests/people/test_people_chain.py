"""The chain from the alarm to the first pump, at the reference station.

The minutes of each link are from memory; what comes of them is own computation: the sum of the
links, and the volume that arrives between the crest and the first pump.
"""

from __future__ import annotations

import pytest
from crews import (
    ACKNOWLEDGES,
    CONNECTS,
    FETCHED,
    GETS_READY,
    HOUR,
    MINUTE,
    ON_PHONE,
    PICKED_UP,
    STARTS,
    TRAVELS,
    chain,
    moments,
    reference,
    rows_of,
)

from stationsim.inflow.daily import Daily
from stationsim.testing import reference_inflow

LINKS = (PICKED_UP, ON_PHONE, ACKNOWLEDGES, GETS_READY, FETCHED, TRAVELS, CONNECTS, STARTS)
WHOLE_MIN = {"low": 38.5, "typical": 78.0, "high": 235.0}


@pytest.mark.parametrize(("pace", "whole_min"), WHOLE_MIN.items())
@pytest.mark.parametrize("hour", [3.0, 7.0])
def test_the_chain_takes_the_sum_of_its_links(pace: str, whole_min: float, hour: float) -> None:
    assert sum(getattr(link, pace) for link in LINKS) / MINUTE == pytest.approx(whole_min)
    trace = reference(hour, chain(pace)).trace
    assert moments(trace, "mobile generator connected") == [pytest.approx(whole_min * MINUTE)]
    assert trace.runs[0].start_s == pytest.approx(whole_min * MINUTE)


@pytest.mark.parametrize(
    ("pace", "spilled_m3"), [("low", 0.0), ("typical", 38.6298), ("high", 161.0023)]
)
def test_what_the_chain_lets_spill_at_seven(pace: str, spilled_m3: float) -> None:
    # the crest is reached 2321.14 s after seven; from then until the first pump all is lost
    trace = reference(7.0, chain(pace)).trace
    assert trace.spilled_m3 == pytest.approx(spilled_m3, abs=5e-5)
    flow = reference_inflow()
    arriving = Daily(flow.weekday_m3s, flow.weekday_m3s).segments(
        reference(7.0, None).episode.start, 10 * HOUR
    )
    if spilled_m3:
        lost_m3 = arriving.volume_m3(WHOLE_MIN[pace] * MINUTE) - arriving.volume_m3(2321.1364366569)
        assert trace.spilled_m3 == pytest.approx(lost_m3, rel=1e-9)


def test_at_three_the_typical_chain_wins_by_58_minutes() -> None:
    alone = reference(3.0, None).trace
    (begins_s,) = moments(alone, "spill begins")
    assert begins_s / MINUTE == pytest.approx(136.0, abs=0.5)
    assert (begins_s / MINUTE - 78.0) == pytest.approx(57.6, abs=0.05)
    assert reference(3.0, chain()).trace.spilled_m3 == 0.0
    assert reference(3.0, chain("high")).trace.spilled_m3 > 0.0


def test_each_link_stands_in_the_table_of_the_crew() -> None:
    result = reference(7.0, chain())
    crew = result.crew
    assert crew.task.tolist() == [
        "called", "gets ready", "fetches", "travels", "connect mobile generator", "looks on",
        "disconnect mobile generator", "looks on",
    ]  # fmt: skip
    begins_min = (crew.start_s / MINUTE).tolist()
    assert begins_min[:6] == pytest.approx([3.0, 8.0, 18.0, 33.0, 58.0, 78.0])
    assert set(crew.person) == {"operator"}
    assert crew.planned_s.tolist()[:5] == pytest.approx([300.0, 600.0, 900.0, 1500.0, 1200.0])


def test_the_alarm_is_known_when_it_is_acknowledged_and_later_ones_when_they_are_told() -> None:
    trace = reference(7.0, chain()).trace
    reached = {row.alarm: (row.raised_s, row.reached_s) for row in trace.alarms}
    assert reached["power failed"] == (0.0, 8.0 * MINUTE)
    raised_s, reached_s = reached["high level"]
    assert raised_s == pytest.approx(333.0925, abs=1e-4)
    assert reached_s == pytest.approx(raised_s + 3.0 * MINUTE)  # a poll, and the way to a phone


def test_the_set_is_taken_off_at_the_first_look_after_the_grid_is_back() -> None:
    trace = reference(7.0, chain()).trace
    (off_s,) = moments(trace, "mobile generator disconnected")
    assert 8.0 * HOUR <= off_s < 8.0 * HOUR + 300.0
    (left_s,) = moments(trace, "crew leaves")
    assert left_s >= off_s
    assert rows_of(trace, "disconnect mobile generator")[0].outcome == "done"


def test_a_tree_on_the_road_delays_the_first_arrival_alone() -> None:
    late = reference(7.0, chain(late_s=1200.0)).trace
    (row,) = rows_of(late, "travels")
    assert row.stop_s - row.start_s == pytest.approx(25.0 * MINUTE + 1200.0)
    assert moments(late, "mobile generator connected") == [pytest.approx(98.0 * MINUTE)]

"""Tariff: energy split over bands of the day, against a sum over seconds."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationsim.physics.tariff import DAY_S, KWH_J, WEEK_S, Band, Tariff

H = 3600.0
NIGHT = Band(22 * H, 6 * H, 0.11, "night")
DAY = Band(6 * H, 17 * H, 0.19, "day")
PEAK = Band(17 * H, 22 * H, 0.34, "peak")
FLAT = Band(0.0, DAY_S, 0.10, "weekend")
OURS = Tariff((NIGHT, DAY, PEAK), (FLAT,))

moments = st.integers(-9 * 86400, 20 * 86400).map(float)
lasts = st.integers(1, 3 * 86400).map(float)


@given(moments, st.integers(1, 30_000))
def test_cost_is_the_sum_over_seconds(start_s: float, seconds: int) -> None:
    energy = 4.5 * KWH_J
    price = sum(OURS.band_at(start_s + n + 0.5).price_per_kwh for n in range(seconds))
    assert OURS.cost(energy, start_s, start_s + seconds) == pytest.approx(
        4.5 * price / seconds, rel=1e-9
    )


@given(moments, lasts)
def test_split_keeps_the_energy(start_s: float, for_s: float) -> None:
    split = OURS.split_j(7.2e6, start_s, start_s + for_s)
    assert math.fsum(energy for _, energy in split) == pytest.approx(7.2e6, rel=1e-12)
    assert all(energy > 0.0 for _, energy in split)
    assert len({band for band, _ in split}) == len(split)


@given(moments, lasts)
def test_cost_of_a_week_later_is_the_same(start_s: float, for_s: float) -> None:
    now = OURS.cost(1e7, start_s, start_s + for_s)
    later = OURS.cost(1e7, start_s + WEEK_S, start_s + WEEK_S + for_s)
    assert later == pytest.approx(now, rel=1e-9)


@given(moments, lasts, st.floats(0.05, 0.95))
def test_cost_of_a_run_is_the_sum_of_its_pieces(start_s: float, for_s: float, share: float) -> None:
    between, stop = start_s + share * for_s, start_s + for_s
    pieces = OURS.cost(share * 1e7, start_s, between) + OURS.cost(
        (1.0 - share) * 1e7, between, stop
    )
    assert pieces == pytest.approx(OURS.cost(1e7, start_s, stop), rel=1e-9)


def test_run_over_an_edge_pays_both_prices() -> None:
    # Monday 16:40 to 17:10: 20 min of day, 10 min of peak
    start = 16 * H + 2400.0
    split = dict(OURS.split_j(3.0 * KWH_J, start, start + 1800.0))
    assert split == {
        DAY: pytest.approx(2.0 * KWH_J, rel=1e-12),
        PEAK: pytest.approx(1.0 * KWH_J, rel=1e-12),
    }
    assert OURS.cost(3.0 * KWH_J, start, start + 1800.0) == pytest.approx(0.72, rel=1e-12)


def test_run_over_midnight_into_the_weekend_changes_its_tariff() -> None:
    midnight = 5 * DAY_S  # Friday to Saturday
    split = dict(OURS.split_j(4.0 * KWH_J, midnight - 1800.0, midnight + 1800.0))
    assert split == {
        NIGHT: pytest.approx(2.0 * KWH_J, rel=1e-12),
        FLAT: pytest.approx(2.0 * KWH_J, rel=1e-12),
    }


def test_band_over_midnight_belongs_to_one_calendar_day() -> None:
    assert OURS.band_at(3 * H) is NIGHT
    assert OURS.band_at(23 * H) is NIGHT
    assert OURS.band_at(4 * DAY_S + 23 * H) is NIGHT  # Friday
    assert OURS.band_at(6 * DAY_S + 23 * H) is FLAT  # Sunday
    assert OURS.band_at(7 * DAY_S) is NIGHT  # Monday
    assert OURS.band_at(-1.0) is FLAT  # the Sunday before


def test_band_that_begins_holds_at_its_edge() -> None:
    assert OURS.band_at(6 * H) is DAY
    assert OURS.band_at(17 * H) is PEAK
    assert OURS.cost(KWH_J, 17 * H, 17 * H) == pytest.approx(0.34, rel=1e-15)


def test_one_price_costs_the_energy_times_the_price() -> None:
    tariff = Tariff((FLAT,))
    assert tariff.cost(2.0 * KWH_J, 5.9 * DAY_S, 9.3 * DAY_S) == pytest.approx(0.20, rel=1e-12)


def test_time_that_rounds_onto_midnight_has_a_price() -> None:
    assert OURS.band_at(-1e-13) in (FLAT, NIGHT)
    assert OURS.band_at(math.nextafter(5 * DAY_S, 0.0)) is NIGHT


@pytest.mark.parametrize(
    ("bands", "message"),
    [
        ((), "leave a gap at 00:00"),
        ((DAY, PEAK), "leave a gap at 00:00"),
        ((NIGHT, PEAK), "leave a gap at 06:00"),
        ((NIGHT, DAY, Band(16.5 * H, 22 * H, 0.3)), "overlap at 16:30"),
        ((Band(0.0, 25 * H, 0.1),), "between 00:00 and 24:00"),
        ((Band(-H, DAY_S, 0.1),), "between 00:00 and 24:00"),
        ((Band(0.0, DAY_S, math.nan),), "price must be finite"),
    ],
)
def test_bands_that_do_not_cover_a_day_once_are_refused(
    bands: tuple[Band, ...], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        Tariff(bands)

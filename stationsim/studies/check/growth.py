"""Growth: in which year firm capacity, starts or the main is first outgrown.

All design flows grow by the same part each year. Firm capacity is outgrown when the peak of the
year passes it (old pipe); the starts when, up to that peak, a steady inflow makes more starts than
the limit; the main when it would carry that peak faster than the limit (constant-speed pumps do not
run faster because more arrives: it is the larger pumps that would be needed).
"""

from __future__ import annotations

from typing import NamedTuple

from stationsim.studies.check.capacity import ages, firm
from stationsim.studies.check.criterion import Case
from stationsim.studies.check.cycles import Rates

_YEARS = 40


class YearRow(NamedTuple):
    """One year."""

    year: int
    peak_m3s: float
    firm_m3s: float
    starts_per_hour: float
    most_starts_per_hour: float
    velocity_ms: float
    most_velocity_ms: float


class Growth(NamedTuple):
    """All years, and in which each thing is first outgrown (None: not within them)."""

    years: list[YearRow]
    firm: int | None
    starts: int | None
    main: int | None


def growth_of(case: Case, rates: Rates) -> Growth | None:
    """Return the years to come; None when growth or its year is not given.

    Parameters
    ----------
    case
        The station.
    rates
        Starts of each pump at steady inflows.
    """
    design, limits = case.ratings.design, case.ratings.limits
    if design.year is None or design.growth_per_year == 0.0:
        return None
    until = design.until_year if design.until_year is not None else design.year + _YEARS
    capacity = min(firm(case, age)[0] for age in ages(case))
    main = case.station.force_main
    area = min((pipe.area_m2 for pipe in main.pipes), default=0.0) if main is not None else 0.0
    rows = []
    for year in range(design.year, until + 1):
        peak = case.peak_m3s * (1.0 + design.growth_per_year) ** (year - design.year)
        starts = [
            rate
            for inflow, by_pump in rates.items()
            if inflow <= peak
            for rate, _rest in by_pump.values()
        ]
        rows.append(
            YearRow(
                year=year,
                peak_m3s=peak,
                firm_m3s=capacity,
                starts_per_hour=max(starts, default=0.0),
                most_starts_per_hour=limits.most_starts_per_hour,
                velocity_ms=peak / area if area > 0.0 else float("nan"),
                most_velocity_ms=limits.most_velocity_ms,
            )
        )
    return Growth(
        rows,
        _first([row.year for row in rows if row.peak_m3s > row.firm_m3s]),
        _first([row.year for row in rows if row.starts_per_hour > row.most_starts_per_hour]),
        _first([row.year for row in rows if row.velocity_ms > row.most_velocity_ms]),
    )


def _first(years: list[int]) -> int | None:
    return years[0] if years else None

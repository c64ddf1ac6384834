"""Growth: in which year firm capacity, starts or the main is first outgrown.

All design flows grow by the same part each year. Firm capacity is outgrown when the peak of the
year passes it (old pipe); the starts when, up to that peak, a steady inflow makes more starts than
the limit; the main when it would carry that peak faster than the limit (constant-speed pumps do not
run faster because more arrives: it is the larger pumps that would be needed).
"""

from __future__ import annotations

import math
from typing import NamedTuple

from stationsim.studies.check.capacity import ages, firm
from stationsim.studies.check.criterion import Case
from stationsim.studies.check.cycles import most_starts
from stationsim.studies.check.steady import Rates

_YEARS = 40


class YearRow(NamedTuple):
    """One year.

    Parameters
    ----------
    year
        Which year.
    peak_m3s, firm_m3s
        Peak of the year, and the firm capacity with old pipe [m3/s].
    starts_per_hour, most_starts_per_hour
        Starts of the pump that comes nearest to what it may make, at steady inflows up to the peak,
        and what it may make [1/h]; NaN when that is not known.
    velocity_ms, most_velocity_ms
        Velocity if the main carried that peak, and its limit [m/s]; NaN without a main.
    """

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
    if until < design.year:
        return None
    capacity = min(firm(case, age).flow_m3s for age in ages(case))
    main = case.station.force_main
    area = min((pipe.area_m2 for pipe in main.pipes), default=0.0) if main is not None else 0.0
    allowed = {pump.name: most_starts(case, pump.name).per_hour for pump in case.station.pumps}
    rows = []
    for year in range(design.year, until + 1):
        peak = case.peak_m3s * (1.0 + design.growth_per_year) ** (year - design.year)
        starts = [
            (count.per_hour / allowed[name], count.per_hour, allowed[name])
            for inflow, by_pump in rates.items()
            if inflow <= peak
            for name, count in by_pump.items()
            if not math.isnan(allowed[name])
        ]
        _part, rate, most = max(starts, default=(0.0, 0.0, min(allowed.values())))
        rows.append(
            YearRow(
                year=year,
                peak_m3s=peak,
                firm_m3s=capacity,
                starts_per_hour=rate,
                most_starts_per_hour=most,
                velocity_ms=peak / area if area > 0.0 else math.nan,
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

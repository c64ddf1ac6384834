"""Grades of acceptance: how far a pump may lie from what was promised.

References
----------
ISO 9906:2012 and ANSI/HI 14.6 share one table of six grades, from 1U, 1E and 1B (tightest) to 3B
(widest): a trade magazine says so; the standards were not read, and the figures of the table stand
here from memory. Those of 2B for flow, head and efficiency are the ones of class 2 in
ISO 9906:1999, as a reference text quotes them. Which grade holds when none is named, and the wider
tolerance of small drives: defaults of ANSI/HI 14.6 for municipal wastewater, as a trade note tells
them. A contract may say otherwise; then its tolerances count. Worked limits stand in
``tests/published/acceptance_grades.json``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class GradeTolerance:
    """How far a pump may lie from what was promised, each a part of that, above nought or nought.

    Of flow and head one is enough: by these grades a curve passes when, at the promised head, its
    flow is within the tolerance, or at the promised flow its head is (from memory).

    Parameters
    ----------
    flow_low, flow_high
        How far the flow may lie below and above [-].
    head_low, head_high
        How far the head may lie below and above [-].
    power_high
        How far the power may lie above, when power was promised [-]; None where no figure is known.
    efficiency_low
        How far the efficiency may lie below, as a part of the promised one, when efficiency was
        promised [-]; None where no figure is known.
    """

    flow_low: float
    flow_high: float
    head_low: float
    head_high: float
    power_high: float | None = None
    efficiency_low: float | None = None

    def flow_limits_m3s(self, flow_m3s: float) -> tuple[float, float]:
        """Return the least and the most flow that is accepted [m3/s].

        Parameters
        ----------
        flow_m3s
            Promised flow [m3/s].
        """
        return flow_m3s * (1.0 - self.flow_low), flow_m3s * (1.0 + self.flow_high)

    def head_limits_m(self, head_m: float) -> tuple[float, float]:
        """Return the least and the most head that is accepted [m].

        Parameters
        ----------
        head_m
            Promised head [m].
        """
        return head_m * (1.0 - self.head_low), head_m * (1.0 + self.head_high)


GRADES: Mapping[str, GradeTolerance] = MappingProxyType(
    {
        "1U": GradeTolerance(0.0, 0.10, 0.0, 0.06, 0.10, 0.0),
        "1E": GradeTolerance(0.05, 0.05, 0.03, 0.03, 0.04, 0.0),
        "1B": GradeTolerance(0.05, 0.05, 0.03, 0.03, 0.04, 0.03),
        "2B": GradeTolerance(0.08, 0.08, 0.05, 0.05, 0.08, 0.05),
        "2U": GradeTolerance(0.0, 0.16, 0.0, 0.10, 0.16, 0.05),
        "3B": GradeTolerance(0.09, 0.09, 0.07, 0.07, 0.09, 0.07),
    }
)
"""The six grades by name."""

SMALL = GradeTolerance(0.10, 0.10, 0.08, 0.08)
"""The tolerance of small drives, up to 10 kW."""

SMALL_NAME = "small drive"
"""What :data:`SMALL` is called where a grade is named."""

SOURCE = "table of ISO 9906:2012 and ANSI/HI 14.6, figures from memory"
"""Where the figures of :data:`GRADES` come from, in a line."""

_DEFAULT = "default of ANSI/HI 14.6 for municipal wastewater, as a trade note tells it"
_SMALL_W, _MIDDLE_W = 10e3, 100e3


def default_grade(rated_w: float | None) -> tuple[str, GradeTolerance, str]:
    """Return the grade that holds when none is named: its name, its tolerances, its source.

    Parameters
    ----------
    rated_w
        Rated output of the motor [W]; None when it is not known, and 2B is taken.

    Raises
    ------
    ValueError
        When the rated output is not above nought.
    """
    if rated_w is None:
        why = f"2B as the size of the motor is not known; {SOURCE}"
        return "2B", GRADES["2B"], why
    if not rated_w > 0.0:
        raise ValueError(f"a motor of {rated_w:g} W has no grade of acceptance")
    if rated_w <= _SMALL_W:
        return SMALL_NAME, SMALL, f"small drive, up to 10 kW: {_DEFAULT}"
    if rated_w <= _MIDDLE_W:
        return "2B", GRADES["2B"], f"2B above 10 kW, up to 100 kW: {_DEFAULT}; {SOURCE}"
    return "1B", GRADES["1B"], f"1B above 100 kW: {_DEFAULT}; {SOURCE}"

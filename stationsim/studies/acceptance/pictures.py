"""What the figures of the day are drawn from."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from stationsim.physics.gauge import column_m
from stationsim.plots import acceptance as drawn
from stationsim.plots.curves import at_header
from stationsim.studies.acceptance.drawn import DrawnFlow, at_level, drawdowns
from stationsim.studies.acceptance.lineups import middle_of, when_old
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from stationsim.plots.style import Floats
    from stationsim.station import Station
    from stationsim.studies.acceptance.day import Day
    from stationsim.studies.acceptance.judge import Verdict
    from stationsim.studies.acceptance.lineups import Lineup
    from stationsim.studies.acceptance.reading import Taken
    from stationsim.units import System

_POINTS = 160


def points_figure(day: Day, taken: Sequence[Taken], system: System) -> Figure:
    """Return the figure of working points: expected, accepted, and read.

    Parameters
    ----------
    day
        The day.
    taken
        The readings taken; none for the sheet alone.
    system
        ``si`` or ``us``.
    """
    level = middle_of(day.levels_m)
    flows = {one.test: one for one in drawdowns(taken, day.station)}
    working = [_working(day, lineup, level, taken, flows) for lineup in day.lineups]
    asked = []
    main = day.station.force_main
    if main is not None and any(one.curve_m3s.size for one in working):
        most = 1.15 * max(one.flow_high_m3s for one in working)
        q = np.linspace(0.0, most, _POINTS)
        mains = [("the main as on the day", main)]
        old = when_old(day.ordered)
        if old is not None and old.force_main is not None:
            mains.append(("the main when old", old.force_main))
        for name, pipe in mains:
            lift = pipe.discharge_level_m - level
            heads = lift + np.array([pipe.loss_m(float(x)) for x in q])
            asked.append(drawn.Asked(name, q, heads))
    at = show(day.station.shown_m(level), "level", system)
    return drawn.points_figure(
        f"{day.station.name}: where pumps should work on the day of acceptance",
        f"At a level of {at}; boxes and bars: what is accepted of each lineup.",
        working,
        asked,
        system,
    )


def _working(
    day: Day, lineup: Lineup, level_m: float, taken: Sequence[Taken], flows: dict[str, DrawnFlow]
) -> drawn.Working:
    rig, machines = day.rig, lineup.machines
    point, tolerance = rig.point(machines, level_m), day.expected.tolerance(machines)
    heads = [head for head in point.heads_m if not math.isnan(head)]
    head = point.header_m - level_m
    tops = max(heads) if heads else head
    curve_m3s, curve_m = _curve(day, machines)
    meter = _read(taken, lineup.name, "meter flow", level_m)
    gauge, found = _read(taken, lineup.name, "header pressure", level_m), flows.get(lineup.name)
    here = None if found is None else at_level(found, rig, level_m)
    by_fall = None if here is None else drawn.Read(*here)
    head_read = None
    if gauge is not None and not math.isnan(head):
        flow = (meter or by_fall or drawn.Read(point.total_m3s, 0.0)).value
        read = rig.header_head_m(gauge.value, flow) - level_m
        head_read = drawn.Read(read, column_m(gauge.off))
    return drawn.Working(
        lineup.name,
        len(machines),
        point.total_m3s,
        head,
        point.total_m3s * (1.0 - tolerance.flow_low),
        point.total_m3s * (1.0 + tolerance.flow_high),
        head - tops * tolerance.head_low,
        head + tops * tolerance.head_high,
        curve_m3s,
        curve_m,
        meter,
        by_fall,
        head_read,
    )


def _read(taken: Sequence[Taken], test: str, what: str, level_m: float) -> drawn.Read | None:
    for one in taken:
        reading = one.reading
        if (reading.test, reading.what, reading.level_m) == (test, what, level_m):
            return drawn.Read(one.value, one.uncertainty)
    return None


def _curve(day: Day, machines: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Return flows and heads of pumps together at the header; empty when one has no curve."""
    units = [day.rig.units[machine] for machine in machines]
    curves = [unit.curve_now() for unit in units]
    shutoffs = [curve.shutoff_m for curve in curves if curve is not None]
    if len(shutoffs) != len(units):
        return np.array([]), np.array([])
    heads = np.linspace(0.0, max(shutoffs), _POINTS)
    flows = np.zeros_like(heads)
    for unit in units:
        flows = flows + at_header(unit, heads)
    return flows, heads


def deviations_figure(found: Sequence[Verdict], station: Station) -> Figure:
    """Return the figure of deviations.

    Parameters
    ----------
    found
        The verdicts.
    station
        What stands there.
    """
    away = []
    for one in found:
        if one.standing == "not judged" or one.measure == "yes or no":
            continue
        above = one.value >= one.expected
        half = one.high - one.expected if above else one.expected - one.low
        if not math.isfinite(half) or half <= 0.0 or not math.isfinite(one.expected):
            continue
        away.append(
            drawn.Away(
                one.name,
                (one.value - one.expected) / half,
                one.uncertainty / half,
                one.standing,
            )
        )
    return drawn.deviations_figure(f"{station.name}: readings against what is expected", away)

"""Pump and system curves with the operating points of each lineup.

The system asks for the static lift from the level in the well and the losses of the main; it is
drawn at the stop level and at the start level of the lead, between which the station works. Pump
curves are those at the header: less the loss of each pump's own branch, where it has one. A station
whose flows are given plainly has no curves; its flows are shown by lineup.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from stationsim.outline import set_levels
from stationsim.physics.operating import OperatingPoint, operating_point
from stationsim.plots import style
from stationsim.units import show
from stationsim.wording import level_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.equipment.pumps import PumpUnit
    from stationsim.physics.forcemain import ForceMain
    from stationsim.physics.pumps import HeadCurve
    from stationsim.plots.style import Floats
    from stationsim.results import Result
    from stationsim.station import Station
    from stationsim.units import System

_WIDTH_IN, _HEIGHT_IN = 11.0, 6.0
_PLAIN_WIDTH_IN = 8.0
_MOST_LINEUPS = 9


@dataclass(frozen=True)
class LineupPoints:
    """Where one lineup works.

    Parameters
    ----------
    name
        Which pumps run.
    pumps
        The pumps.
    at_stop, at_start
        Operating points at the stop level and at the start level.
    """

    name: str
    pumps: tuple[PumpUnit, ...]
    at_stop: OperatingPoint
    at_start: OperatingPoint


def curves_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of curves and operating points.

    Parameters
    ----------
    result
        The run; only its station counts.
    system
        ``si`` or ``us``.
    """
    return station_curves_figure(result.station, working_levels(result), system)


def station_curves_figure(
    station: Station, levels_m: tuple[float, float], system: str = "si"
) -> Figure:
    """Return the figure of curves and operating points of a station.

    Parameters
    ----------
    station
        What stands there.
    levels_m
        Stop level and start level between which it works [m above floor].
    system
        ``si`` or ``us``.
    """
    units = cast("System", system)
    stop_m, start_m = levels_m
    points = lineups(station, stop_m, start_m)
    with style.styled():
        stop, start = (level_text(station, x, units) for x in (stop_m, start_m))
        if _has_curves(station):
            figure = style.new_figure(_WIDTH_IN, _HEIGHT_IN)
            axes = figure.add_axes((0.075, 0.13, 0.50, 0.73))
            assert station.force_main is not None  # noqa: S101  (pumps with curves need one)
            _draw_curves(axes, station.force_main, points, (stop_m, start_m), units)
            title = f"{station.name}: pump and system curves, and where they meet"
            note = (
                f"Open marks: at the stop level, {stop}; full marks: at the start level, {start}."
            )
            if any(pump.branch is not None for point in points for pump in point.pumps):
                note += " Pump curves at the header, less the loss of their own branches."
        else:
            tall = 1.75 + 0.5 * max(len(points), 2)
            figure = style.new_figure(_PLAIN_WIDTH_IN, tall)
            axes = figure.add_axes((0.22, 0.75 / tall, 0.72, 1.0 - 1.6 / tall))
            _draw_plain(axes, points, units)
            title = f"{station.name}: flow of each lineup"
            note = "The flows were given as fixed values: they do not depend on the level."
        _write_table(figure, points, units, curves=_has_curves(station))
        style.head(figure, title, note)
        return figure


def working_levels(result: Result) -> tuple[float, float]:
    """Return the stop level and the start level of the lead [m], or the like for other panels.

    Parameters
    ----------
    result
        The run.
    """
    between = levels_between(result.station)
    return between or (result.trace.least_level_m, result.trace.greatest_level_m)


def levels_between(station: Station) -> tuple[float, float] | None:
    """Return the stop level and the start level of the lead [m]; None when none are set.

    Parameters
    ----------
    station
        What stands there.
    """
    named = dict(set_levels(station))
    stop, start = named.get("stop"), named.get("lead start")
    return None if stop is None or start is None else (stop, start)


def lineups(station: Station, stop_m: float, start_m: float) -> list[LineupPoints]:
    """Return the lineups worth drawing: each unlike pump alone, then more and more together.

    Parameters
    ----------
    station
        What stands there.
    stop_m, start_m
        Levels [m above floor].
    """
    pumps = station.pumps
    alike = len({_likeness(pump) for pump in pumps}) == 1 or station.total_by_number_m3s is not None
    sets: list[tuple[str, tuple[PumpUnit, ...]]] = []
    if alike:
        numbers = range(1, len(pumps) + 1)
        sets = [("1 pump" if n == 1 else f"{n} pumps", pumps[:n]) for n in numbers]
    else:
        kinds: dict[tuple[object, ...], list[PumpUnit]] = {}
        for pump in pumps:
            kinds.setdefault(_likeness(pump), []).append(pump)
        sets = [(" or ".join(p.name for p in kind), (kind[0],)) for kind in kinds.values()]
        sets += [
            (" + ".join(p.name for p in pumps[:n]), pumps[:n]) for n in range(2, len(pumps) + 1)
        ]
    total = station.total_by_number_m3s
    found = []
    for name, running in sets[:_MOST_LINEUPS]:
        if total is not None and len(running) > len(total):
            continue
        at_stop, at_start = (
            operating_point(running, station.force_main, level, total)
            for level in (stop_m, start_m)
        )
        found.append(LineupPoints(name, running, at_stop, at_start))
    for engine, drive in (
        (station.engine_pump, "engine-driven"),
        (station.bypass_pump, "bypass"),
    ):
        if engine is None:
            continue
        pump = engine.pump
        at_stop, at_start = (
            operating_point((pump,), station.force_main, level) for level in (stop_m, start_m)
        )
        found.append(LineupPoints(f"{pump.name} ({drive})", (pump,), at_stop, at_start))
    return found


def _likeness(pump: PumpUnit) -> tuple[object, ...]:
    return (pump.curve_now(), pump.fixed_flow_m3s, pump.branch)


def _has_curves(station: Station) -> bool:
    if station.force_main is None or station.total_by_number_m3s is not None:
        return False
    return any(pump.curve is not None for pump in station.pumps)


def _draw_curves(
    axes: Axes,
    main: ForceMain,
    points: Sequence[LineupPoints],
    levels_m: tuple[float, float],
    units: System,
) -> None:
    head, flow = style.scale("head", units), style.scale("flow", units)
    most = 1.18 * max(p.at_start.total_m3s for p in points)
    drawn = [_curve(pump) for point in points for pump in point.pumps]
    shutoffs = [curve.shutoff_m for curve in drawn if curve is not None]
    top_m = 1.08 * max(shutoffs)
    q = np.linspace(0.0, most, 200)
    losses = np.array([main.loss_m(float(x)) for x in q])
    for level, dashes, name in zip(levels_m, ("-", (0, (6, 3))), ("stop", "start"), strict=True):
        asked = main.discharge_level_m - level + losses
        axes.plot(
            flow(q),
            head(asked),
            color=style.BLACK,
            linestyle=dashes,
            linewidth=1.5,
            label=f"system at the {name} level",
        )
    heads = np.unique(np.concatenate((np.linspace(0.0, top_m, 400), shutoffs)))
    for i, point in enumerate(points):
        colour, dashes = style.MACHINES[i % len(style.MACHINES)]
        total = sum((at_header(pump, heads) for pump in point.pumps), np.zeros_like(heads))
        own = max((c.shutoff_m for c in map(_curve, point.pumps) if c), default=top_m)
        shown = (heads <= own) & (total <= most)
        axes.plot(
            flow(total[shown]),
            head(heads[shown]),
            color=colour,
            linestyle=dashes,
            linewidth=1.5,
            label=point.name,
        )
        for at, face in ((point.at_stop, "white"), (point.at_start, colour)):
            if at.total_m3s > 0.0:
                axes.plot(
                    [flow(at.total_m3s)],
                    [head(at.header_m)],
                    marker="o",
                    markersize=6.0,
                    markerfacecolor=face,
                    markeredgecolor=style.BLACK,
                    zorder=4,
                )
    axes.set_xlim(0.0, float(flow(most)))
    axes.set_ylim(0.0, float(head(top_m)))
    axes.set_xlabel(f"flow of the station [{flow.unit}]")
    axes.set_ylabel(f"head at the header above the level in the well [{head.unit}]")
    axes.legend(loc="upper left", bbox_to_anchor=(1.03, 1.0), borderaxespad=0.0, handlelength=3.2)


def _curve(pump: PumpUnit) -> HeadCurve | None:
    return pump.curve_now()


def at_header(pump: PumpUnit, heads_m: Floats) -> Floats:
    """Return the flow of a pump at each head of the header [m3/s]; for the drawing only.

    Parameters
    ----------
    pump
        The pump.
    heads_m
        Heads at the header above the level in the well, rising [m].
    """
    curve = pump.curve_now()
    if curve is None:
        return np.full_like(heads_m, pump.fixed_flow_m3s or 0.0)
    last = curve.flow_at(0.0)
    flows = np.linspace(0.0, last, 300)
    given = np.array([curve.head_at(float(q)) for q in flows])
    if pump.branch is not None:
        given -= np.array([pump.branch.loss_m(float(q)) for q in flows])
    found: Floats = np.interp(heads_m, given[::-1], flows[::-1], right=0.0)
    return found


def _draw_plain(axes: Axes, points: Sequence[LineupPoints], units: System) -> None:
    flow = style.scale("flow", units)
    places = np.arange(len(points))
    values = [float(flow(point.at_start.total_m3s)) for point in points]
    axes.barh(places, values, height=0.5, color=style.SKY, edgecolor=style.DARK, linewidth=0.6)
    for y, point, value in zip(places, points, values, strict=True):
        axes.annotate(
            show(point.at_start.total_m3s, "flow", units),
            (value, y),
            xytext=(4.0, 0.0),
            textcoords="offset points",
            va="center",
            fontsize=9.0,
        )
    axes.set_yticks(places, [point.name for point in points])
    axes.set_ylim(max(len(points), 2) - 0.4, -0.6)
    axes.set_xlim(0.0, 1.18 * max(values) if max(values) > 0.0 else 1.0)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel(f"flow [{flow.unit}]")


def _write_table(
    figure: Figure,
    points: Sequence[LineupPoints],
    units: System,
    *,
    curves: bool,
) -> None:
    """Write flow and head of each lineup beside the plot."""
    if not curves:
        return
    x, y, step = 0.60, 0.60 - 0.035 * max(0, len(points) - 5), 0.040
    wide = (0.0, 0.150, 0.275)
    rows = [("running", "at the stop level", "at the start level")]
    rows += [(p.name, _met(p.at_stop, units), _met(p.at_start, units)) for p in points]
    for k, row in enumerate(rows):
        for dx, text in zip(wide, row, strict=True):
            figure.text(
                x + dx,
                y - k * step,
                text,
                fontsize=7.5,
                va="top",
                weight="bold" if k == 0 else "normal",
            )


def _met(point: OperatingPoint, units: System) -> str:
    if point.total_m3s <= 0.0:
        return "no flow"
    return f"{show(point.total_m3s, 'flow', units)}, {show(point.header_m, 'head', units)}"

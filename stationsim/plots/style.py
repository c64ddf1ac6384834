"""One look for all plots: colours, marks of the roles, axes of time and of units.

Colours are the set of eight of Okabe and Ito (from memory), made for colour-blind readers; no
meaning hangs on colour alone: roles also differ by height and hatching, lines by their dashes, and
everything is labelled in words. A running pump is neither green nor red.

Figures are made without pyplot, so nothing is shared between them and no window is opened.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, cast

import matplotlib as mpl
import matplotlib.dates as mdates
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter

from stationsim.units import factor, shown_unit
from stationsim.wording import date_of, day_of, month_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stationsim.station import Station
    from stationsim.units import Kind, Shown, System

    Floats = NDArray[np.float64]

BLACK = "#000000"
BLUE = "#0072B2"
SKY = "#56B4E9"
ORANGE = "#E69F00"
VERMILION = "#D55E00"
PURPLE = "#CC79A7"
DARK = "#333333"
GREY = "#8a8a8a"
PALE = "#dddddd"

DPI = 150
CAUTION = "For planning and teaching only; local codes and licensed practice decide."
DAY_S = 86400.0

_MOST_DATES, _MOST_DATES_NARROW = 10, 7
_A_MONDAY = 4.0
"""Day number of one: 1 January 1970, day 0, was a Thursday."""

_RC = {
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#e6e6e6",
    "grid.linewidth": 0.6,
    "legend.fontsize": 8.0,
    "legend.frameon": False,
    "hatch.linewidth": 0.7,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "text.parse_math": False,  # a name with two dollar signs is a name
    "svg.hashsalt": "stationsim",  # the same marks in the same figure, run after run
}


@dataclass(frozen=True)
class RoleLook:
    """How the runs of one role are drawn: face, hatching, and part of the row's height."""

    face: str
    hatch: str
    height: float


ROLES: dict[str, RoleLook] = {
    "lead": RoleLook(BLUE, "", 0.80),
    "lag": RoleLook(SKY, "////", 0.58),
    "second lag": RoleLook(SKY, "....", 0.48),
    "third lag": RoleLook("white", "....", 0.36),
    "standby": RoleLook("white", "////", 0.42),
    "hand": RoleLook("white", "xxxx", 0.66),
    "exercise": RoleLook("white", "++++", 0.54),
    "engine-driven": RoleLook(ORANGE, "\\\\\\\\", 0.80),
    "bypass": RoleLook(PURPLE, "||||", 0.80),
}
OTHER_ROLE = RoleLook(PALE, "", 0.58)

MACHINES: tuple[tuple[str, Any], ...] = (
    (BLUE, "-"),
    (VERMILION, (0, (5, 2))),
    (BLACK, (0, (1.2, 1.6))),
    (PURPLE, (0, (6, 1.6, 1.2, 1.6))),
    (SKY, "-"),
    (ORANGE, (0, (3, 3))),
)
"""Colour and dashes of each machine, in the order of the scenario."""


@dataclass(frozen=True)
class Scale:
    """From SI to the unit of an axis.

    Parameters
    ----------
    unit
        As the axis states it.
    per_unit
        SI over one unit.
    """

    unit: str
    per_unit: float

    def __call__(self, values: Any) -> Any:
        """Return values in the unit of the axis."""
        return np.asarray(values, dtype=float) / self.per_unit


def scale(kind: str, system: str) -> Scale:
    """Return the scale of an axis.

    Parameters
    ----------
    kind
        ``level``, ``head``, ``flow`` or ``volume``.
    system
        ``si`` or ``us``.
    """
    unit = shown_unit(cast("Shown", kind), cast("System", system))
    of = {"level": "length", "head": "length"}.get(kind, kind)
    return Scale(unit, factor(unit, cast("Kind", of)))


@dataclass(frozen=True)
class LevelAxis:
    """From a level above the floor to the axis on which the people of a station read it.

    Parameters
    ----------
    label
        What the axis says.
    at_floor_m
        What is read at the floor [m].
    upwards
        1 where numbers grow with the water, -1 where they are depths.
    scale
        Unit of the axis.
    """

    label: str
    at_floor_m: float
    upwards: float
    scale: Scale

    def __call__(self, levels_m: Any) -> Any:
        """Return levels above the floor [m] as numbers of the axis."""
        return self.scale(self.at_floor_m + self.upwards * np.asarray(levels_m, dtype=float))


def level_axis(station: Station, system: str) -> LevelAxis:
    """Return the axis of levels of a station: above the floor, as elevation, or below the cover.

    Depths below the cover grow downwards, so that the water rises upwards on every plot.

    Parameters
    ----------
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    """
    unit = scale("level", system)
    at_floor_m = station.shown_m(0.0)
    upwards = station.shown_m(1.0) - at_floor_m
    name = {
        "above floor": "level above floor",
        "elevation": "elevation",
        "below cover": "level below the cover",
    }[station.levels_shown]
    return LevelAxis(f"{name} [{unit.unit}]", at_floor_m, 1.0 if upwards > 0.0 else -1.0, unit)


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure that belongs to nobody else.

    Parameters
    ----------
    width_in, height_in
        Size [in].
    """
    figure = Figure(figsize=(width_in, height_in), dpi=DPI)
    FigureCanvasAgg(figure)
    return figure


def styled() -> Any:
    """Return a context in which axes take the look of this module."""
    return mpl.rc_context(cast("Any", _RC))


def save(figure: Figure, path: Path) -> None:
    """Write a figure as PNG.

    Parameters
    ----------
    figure
        What to write.
    path
        Where.
    """
    with styled():
        figure.savefig(path, dpi=DPI, metadata={"Software": "stationsim"})


def head(figure: Figure, title: str, below: str = "") -> None:
    """Put title, a line below it, and the caution on a figure.

    Parameters
    ----------
    figure
        Where.
    title
        What it shows.
    below
        What to know when reading it.
    """
    height = figure.get_size_inches()[1]
    left = 0.012
    figure.text(left, 1.0 - 0.10 / height, title, fontsize=12.0, weight="bold", va="top")
    figure.text(left, 1.0 - 0.36 / height, below, fontsize=8.5, color=DARK, va="top")
    figure.text(left, 0.06 / height, CAUTION, fontsize=7.0, color=GREY, va="bottom")


def day_numbers(start: datetime, t_s: Any) -> Floats:
    """Return moments as the day numbers of a time axis, in local time.

    Parameters
    ----------
    start
        Local time at which the episode begins.
    t_s
        Seconds since then [s].
    """
    first = _number(start.replace(tzinfo=None))
    return first + np.asarray(t_s, dtype=float) / DAY_S


def _number(when: datetime) -> float:
    return float(mdates.date2num(when))  # type: ignore[no-untyped-call]


def time_axis(
    axes: Axes, start: datetime, from_s: float, to_s: float, *, narrow: bool = False
) -> None:
    """Give an axis of time its ends, ticks and labels.

    Parameters
    ----------
    axes
        Where.
    start
        Local time at which the episode begins.
    from_s, to_s
        Ends [s].
    narrow
        True for an axis of half the page: fewer labels.
    """
    # day numbers resolve a microsecond or so: a run of less is drawn within a second
    low, high = (float(x) for x in day_numbers(start, [from_s, max(to_s, from_s + 1.0)]))
    axes.set_xlim(low, high)
    major, minor, label = _ticks(low, high, narrow=narrow)
    axes.xaxis.set_major_locator(FixedLocator(list(major)))
    axes.xaxis.set_minor_locator(FixedLocator(list(minor)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: label(_moment(x))))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _moment(day_number: float) -> datetime:
    # half a minute up and then down to the minute: a tick is never a microsecond early
    found: datetime = mdates.num2date(day_number)  # type: ignore[no-untyped-call]
    when = found.replace(tzinfo=None) + timedelta(seconds=30.0)
    return when.replace(second=0, microsecond=0)


def _ticks(
    low: float, high: float, *, narrow: bool
) -> tuple[Floats, Floats, Callable[[datetime], str]]:
    days = high - low
    if days > 100.0:
        first, last = _moment(low), _moment(high)
        months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month + 1)
        begins = [datetime(m // 12, m % 12 + 1, 1) for m in months]
        every = np.array([_number(b) for b in begins])
        inside = every[(every >= low) & (every <= high)]
        step = max(1, round(len(inside) / 14))
        return inside[::step], inside, _month_label
    if days > 4.0:
        most = _MOST_DATES_NARROW if narrow else _MOST_DATES
        whole = np.floor(high + 1e-9) - np.ceil(low - 1e-9) + 1.0
        step_d = next((n for n in (1.0, 2.0, 3.0, 7.0, 14.0) if whole / n <= most), 14.0)
        # weeks begin on a Monday; other steps at the first midnight that is shown
        from_day = _A_MONDAY if step_d >= 7.0 else float(np.ceil(low - 1e-9))
        within = 1.0 if step_d >= 7.0 else step_d / 4.0
        label = date_of if step_d >= 7.0 else _day_label
        return _marks(low, high, step_d, from_day), _marks(low, high, within, from_day), label
    hours = days * 24.0
    steps = (1 / 12, 1 / 6, 0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0)
    step_h = next((s for s in steps if hours / s <= 13.0), 12.0)
    return _marks(low, high, step_h / 24.0), _marks(low, high, step_h / 72.0), _clock_label


def _marks(low: float, high: float, step: float, of: float = 0.0) -> Floats:
    """Return the day numbers of an axis that lie whole steps from one of them."""
    first, last = np.ceil((low - of) / step - 1e-9), np.floor((high - of) / step + 1e-9)
    return of + np.arange(first, last + 1.0) * step


def _clock_label(when: datetime) -> str:
    if when.hour == 0 and when.minute == 0:
        return f"{day_of(when)}\n{date_of(when)}"
    return f"{when:%H:%M}"


def _day_label(when: datetime) -> str:
    return f"{day_of(when)} {date_of(when)}"


def _month_label(when: datetime) -> str:
    return f"{month_of(when)}\n{when.year}" if when.month == 1 else month_of(when)


def spread(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places moved apart so that neighbours keep a gap, as near to the old ones as may be.

    Parameters
    ----------
    places
        Where the labels would stand, in any order.
    gap
        Least distance.
    low, high
        Ends of the room; the gap shrinks when the labels would not fit.
    """
    if not places:
        return []
    order = sorted(range(len(places)), key=lambda i: places[i])
    if len(places) > 1:
        gap = min(gap, (high - low) / (len(places) - 1))
    # groups of labels that touch are moved as one, each about the mean of its places
    groups: list[tuple[float, int]] = []
    for i in order:
        middle, count = places[i], 1
        while groups:
            before, number = groups[-1]
            if before + gap * (number + count) / 2.0 <= middle:
                break
            groups.pop()
            middle = (before * number + middle * count) / (number + count)
            count += number
        half = gap * (count - 1) / 2.0
        middle = min(max(middle, low + half), high - half)
        groups.append((middle, count))
    placed: list[float] = []
    for middle, count in groups:
        placed += [middle + gap * (k - (count - 1) / 2.0) for k in range(count)]
    # ends of the room may have pushed groups into each other
    for k in range(1, len(placed)):
        placed[k] = max(placed[k], placed[k - 1] + gap)
    over = placed[-1] - high
    if over > 0.0:
        placed[-1] = high
        for k in range(len(placed) - 2, -1, -1):
            placed[k] = min(placed[k], placed[k + 1] - gap)
    result = [0.0] * len(places)
    for rank, i in enumerate(order):
        result[i] = placed[rank]
    return result


def right_labels(axes: Axes, labels: Sequence[tuple[float, str, str]], size: float = 8.0) -> None:
    """Write labels at the right edge of the axes, each led to its height, none over another.

    Parameters
    ----------
    axes
        Where; its limits must be final.
    labels
        Height in the axes' own numbers, text and colour.
    size
        Size of the letters [pt].
    """
    figure = axes.figure
    box = axes.get_position()
    tall_pt = box.height * float(figure.get_size_inches()[1]) * 72.0  # type: ignore[union-attr]
    low, high = axes.get_ylim()
    wanted = [(y - low) / (high - low) for y, _text, _colour in labels]
    placed = spread(wanted, 1.25 * size / tall_pt, 0.0, 1.0)
    for at, to, (_y, text, colour) in zip(wanted, placed, labels, strict=True):
        axes.annotate(
            text,
            xy=(1.0, at),
            xytext=(1.018, to),
            xycoords="axes fraction",
            textcoords="axes fraction",
            fontsize=size,
            color=colour,
            va="center",
            ha="left",
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": GREY,
                "linewidth": 0.6,
                "shrinkA": 0.0,
                "shrinkB": 0.0,
                "relpos": (0.0, 0.5),
            },
        )

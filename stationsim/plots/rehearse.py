"""Minutes to the alarm and to the spill over the hours of a day, with the response across."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, cast

import numpy as np

from stationsim.plots import style
from stationsim.wording import level_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stationsim.station import Station
    from stationsim.units import System

_HOURS = np.arange(25)
_LOOKS: dict[str, tuple[str, object]] = {
    "dry": (style.BLUE, "-"),
    "wet": (style.VERMILION, (0, (5, 2))),
}
_MARKS = ("o", "s", "^", "D", "v", "P", "X", "*")
_MOST_WIDE = 3.0
_NEAR = 0.25


class Hour(Protocol):
    """One row of the table."""

    @property
    def hour(self) -> int:
        """The hour [h]."""
        ...

    @property
    def day(self) -> str:
        """The day."""
        ...

    @property
    def weather(self) -> str:
        """Dry or wet."""
        ...

    @property
    def start_level_m(self) -> float:
        """Where the water stands when the power goes [m above floor]."""
        ...

    @property
    def alarm_s(self) -> float:
        """Time to the alarm [s]."""
        ...

    @property
    def spill_s(self) -> float:
        """Time to the spill [s]."""
        ...


class Hours(Protocol):
    """The rows of one station."""

    @property
    def station(self) -> Station:
        """What stands there."""
        ...

    @property
    def hours(self) -> Sequence[Hour]:
        """Its rows."""
        ...

    @property
    def blocks(self) -> Sequence[Sequence[Hour]]:
        """The rows of each day and weather."""
        ...


class Asked(Protocol):
    """What was asked."""

    @property
    def response_s(self) -> float | None:
        """Time until somebody pumps again [s]."""
        ...


def minutes_figure(found: Sequence[Hours], asked: Asked, system: str = "si") -> Figure:
    """Return the figure of the 24-hour table: one panel a day, or several stations in one.

    Parameters
    ----------
    found
        One station, or several.
    asked
        Says the response time.
    system
        ``si`` or ``us``.
    """
    with style.styled():
        days = list(dict.fromkeys(row.day for row in found[0].hours))
        several = len(found) > 1
        figure = style.new_figure(11.0, 5.2)
        panels = [figure.add_axes(box) for box in _boxes(len(days))]
        top = _top(found, asked)
        for day, axes in zip(days, panels, strict=True):
            for number, one in enumerate(found):
                blocks = [block for block in one.blocks if block[0].day == day]
                least = [min(row.spill_s for row in block) / 60.0 for block in blocks]
                near = len(least) > 1 and abs(least[0] - least[1]) < _NEAR * top
                for block in blocks:
                    _curves(axes, block, number, one, several=several, near=near)
            _frame(axes, day, top, first=axes is panels[0])
            _response(axes, asked, top)
        if several:
            title = "Time from power loss to spill, nothing pumped"
            below = "The station with the shortest time spills first. Solid: dry; dashed: wet."
        else:
            title = f"{found[0].station.name}: time from power loss to alarm and spill"
            below = _below(found[0], system, answered=asked.response_s is not None)
        if any(row.spill_s > 60.0 * top for one in found for row in one.hours):
            below += " Hours above the top stand in the table."
        panels[-1].legend(
            loc="upper left", bbox_to_anchor=(1.02, 1.0), handlelength=2.6, borderaxespad=0.0
        )
        style.head(figure, title, below)
        return figure


def _boxes(count: int) -> list[tuple[float, float, float, float]]:
    left, right, gap = 0.065, 0.815, 0.025
    width = (right - left - gap * (count - 1)) / count
    return [(left + n * (width + gap), 0.13, width, 0.705) for n in range(count)]


def _top(found: Sequence[Hours], asked: Asked) -> float:
    """Return the top of the axis [min]: high enough for the hours that matter."""
    spills = np.array([row.spill_s for one in found for row in one.hours]) / 60.0
    known = spills[np.isfinite(spills)]
    if not len(known):
        return 60.0
    top = 1.08 * float(known.max())
    if asked.response_s is not None:
        top = max(top, 1.15 * asked.response_s / 60.0)
    # a night that lasts for days must not flatten the morning
    return min(top, max(_MOST_WIDE * float(np.median(known)), 2.0 * (asked.response_s or 0) / 60.0))


def _curves(
    axes: Axes,
    block: Sequence[Hour],
    number: int,
    one: Hours,
    *,
    several: bool,
    near: bool,
) -> None:
    weather = block[0].weather
    spill = np.array([row.spill_s for row in block]) / 60.0
    alarm = np.array([row.alarm_s for row in block]) / 60.0
    spill = np.where(np.isfinite(spill), spill, np.nan)
    hours = [row.hour for row in block]
    colour, dashes = _LOOKS[weather]
    if several:
        colour = style.MACHINES[number % len(style.MACHINES)][0]
        axes.plot(
            hours, spill, color=colour, linestyle=cast("str", dashes), linewidth=1.6,
            marker=_MARKS[number % len(_MARKS)], markersize=4.0,
            label=f"{one.station.name}, {weather}",
        )  # fmt: skip
        return
    axes.plot(
        hours, spill, color=colour, linestyle=cast("str", dashes), linewidth=2.0, marker="o",
        markersize=4.0, label=f"to the spill, {weather}",
    )  # fmt: skip
    if np.any(np.isfinite(alarm)):
        axes.plot(
            hours, alarm, color=colour, linestyle=cast("str", dashes), linewidth=1.0, marker="_",
            markersize=6.0, label=f"to the alarm, {weather}",
        )  # fmt: skip
    if np.any(np.isfinite(spill)):
        worst = int(np.nanargmin(spill))
        above = (weather == "wet") != near
        axes.annotate(
            f"{spill[worst]:.0f} min at {hours[worst]:02d}:00",
            (hours[worst], spill[worst]),
            xytext=(0.0, 13.0 if above else -7.0),
            textcoords="offset points",
            ha="left" if worst < 2 else "right" if worst > 21 else "center",
            va="bottom" if above else "top",
            fontsize=8.5,
            weight="bold",
            color=colour,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
        )


def _frame(axes: Axes, day: str, top: float, *, first: bool) -> None:
    axes.set_xlim(-0.5, 23.5)
    axes.set_ylim(0.0, top)
    axes.set_xticks(_HOURS[0:24:3], [f"{hour:02d}:00" for hour in _HOURS[0:24:3]])
    axes.set_xticks(_HOURS[:24], minor=True)
    axes.set_title(day)
    axes.set_xlabel("power lost at")
    if first:
        axes.set_ylabel("minutes from power loss [min]")
    else:
        axes.tick_params(labelleft=False)


def _response(axes: Axes, asked: Asked, top: float) -> None:
    if asked.response_s is None:
        return
    minutes = asked.response_s / 60.0
    axes.axhline(
        minutes, color=style.BLACK, linewidth=1.2, linestyle=(0, (1.2, 1.6)),
        label=f"response, {minutes:.0f} min",
    )  # fmt: skip
    if minutes < top:
        axes.axhspan(0.0, minutes, facecolor=style.PALE, alpha=0.35, zorder=0)


def _below(one: Hours, system: str, *, answered: bool) -> str:
    levels = {row.start_level_m for row in one.hours}
    start = "the water where the routine has it at that hour"
    if len(levels) == 1:
        level = level_text(one.station, levels.pop(), cast("System", system))
        start = f"the water at {level} when the power goes"
    note = f"Nothing pumped, {start}."
    return f"{note} Below a response line it spills before anybody pumps." if answered else note

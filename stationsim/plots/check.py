"""Figures of criteria: how far each is from its limit, and when growth passes it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

import numpy as np

from stationsim.plots import style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from stationsim.station import Station

_MOST_PART = 1.0


class Judged(Protocol):
    """One criterion."""

    @property
    def criterion(self) -> str:
        """What is asked."""
        ...

    @property
    def subject(self) -> str:
        """Of what."""
        ...

    @property
    def verdict(self) -> str:
        """Pass, fail or not judged."""
        ...

    @property
    def value(self) -> float:
        """What was found, in SI."""
        ...

    @property
    def limit(self) -> float:
        """What is accepted, in SI."""
        ...

    @property
    def margin(self) -> float:
        """How far it is on the good side, in SI."""
        ...


class Year(Protocol):
    """One year."""

    @property
    def year(self) -> int:
        """The year."""
        ...

    @property
    def peak_m3s(self) -> float:
        """Peak flow [m3/s]."""
        ...

    @property
    def firm_m3s(self) -> float:
        """Firm capacity [m3/s]."""
        ...

    @property
    def starts_per_hour(self) -> float:
        """Most starts in an hour [1/h]."""
        ...

    @property
    def most_starts_per_hour(self) -> float:
        """Their limit [1/h]."""
        ...


class Growth(Protocol):
    """The years to come."""

    @property
    def years(self) -> Sequence[Year]:
        """All years."""
        ...

    @property
    def firm(self) -> int | None:
        """Year in which the firm capacity is outgrown."""
        ...

    @property
    def starts(self) -> int | None:
        """Year in which the starts are outgrown."""
        ...


class Case(Protocol):
    """The station that is looked at."""

    @property
    def station(self) -> Station:
        """What stands there."""
        ...


class Fitness(Protocol):
    """What came of all criteria."""

    @property
    def case(self) -> Case:
        """The station."""
        ...

    @property
    def judged(self) -> Sequence[Judged]:
        """Every criterion."""
        ...

    @property
    def growth(self) -> Growth | None:
        """The years to come."""
        ...


def margins_figure(fitness: Fitness, system: str = "si") -> Figure:
    """Return the figure of margins: each criterion's distance from its limit, as part of it.

    Parameters
    ----------
    fitness
        What came of all criteria.
    system
        ``si`` or ``us``; parts are the same in both.
    """
    del system
    shown = [
        one
        for one in fitness.judged
        if one.verdict != "not judged" and one.limit != 0.0 and math.isfinite(one.value)
    ]
    with style.styled():
        height = max(2.6, 1.35 + 0.23 * len(shown))
        figure = style.new_figure(11.0, height)
        axes = figure.add_axes((0.34, 0.62 / height, 0.62, 1.0 - 1.45 / height))
        title = f"{fitness.case.station.name}: margin of each criterion"
        left_out = sum(one.verdict == "not judged" for one in fitness.judged)
        style.head(
            figure,
            title,
            "Distance from the limit as part of the limit; to the right of the line it passes."
            f" {left_out} could not be judged.",
        )
        axes.set_xlim(-1.0, 1.0)
        axes.set_ylim(len(shown) - 0.5, -0.5)
        axes.axvline(0.0, color=style.BLACK, linewidth=1.0)
        for row, one in enumerate(shown):
            part = one.margin / abs(one.limit)
            drawn = min(max(part, -_MOST_PART), _MOST_PART)
            good = one.verdict == "pass"
            axes.barh(
                row,
                drawn,
                height=0.62,
                facecolor=style.SKY if good else "white",
                edgecolor=style.BLUE if good else style.VERMILION,
                hatch="" if good else "xxxx",
                linewidth=0.8,
            )
            beyond = " or more" if abs(part) > _MOST_PART else ""
            shown_part = 100.0 * drawn
            axes.text(
                drawn + (0.012 if drawn >= 0 else -0.012) if abs(drawn) < 0.8 else drawn * 0.98,
                row,
                f"{'pass' if good else 'fail'} {shown_part:+.0f} %{beyond}",
                ha=("left" if drawn >= 0 else "right")
                if abs(drawn) < 0.8
                else ("right" if drawn >= 0 else "left"),
                va="center",
                fontsize=7.5,
            )
        axes.set_yticks(
            range(len(shown)), [f"{one.criterion}, {one.subject}" for one in shown], fontsize=8.0
        )
        axes.set_xticks(
            np.linspace(-1.0, 1.0, 5),
            ["-100 %\nor less", "-50 %", "limit", "+50 %", "+100 %\nor more"],
        )
        axes.grid(visible=False, axis="y")
        return figure


def growth_figure(fitness: Fitness, system: str = "si") -> Figure:
    """Return the figure of growth: peak against firm capacity, and starts against their limit.

    Parameters
    ----------
    fitness
        What came of all criteria.
    system
        ``si`` or ``us``.

    Raises
    ------
    ValueError
        When no growth is given.
    """
    growth = fitness.growth
    if growth is None:
        raise ValueError("no growth is given, so there is nothing to draw")
    flow = style.scale("flow", system)
    years = [row.year for row in growth.years]
    with style.styled():
        figure = style.new_figure(11.0, 4.8)
        style.head(
            figure,
            f"{fitness.case.station.name}: as the area grows",
            "Firm capacity: the largest pump out, old pipe. Starts: worst steady inflow up to the"
            " peak of the year.",
        )
        left = figure.add_axes((0.07, 0.13, 0.42, 0.68))
        left.plot(
            years, flow([row.peak_m3s for row in growth.years]), color=style.BLUE, label="peak"
        )
        left.plot(
            years,
            flow([row.firm_m3s for row in growth.years]),
            color=style.BLACK,
            linestyle=(0, (5, 2)),
            label="firm capacity",
        )
        left.set_ylim(0.0, None)
        left.set_ylabel(f"flow [{flow.unit}]")
        right = figure.add_axes((0.56, 0.13, 0.42, 0.68))
        right.plot(
            years,
            [row.starts_per_hour for row in growth.years],
            color=style.BLUE,
            label="worst pump",
        )
        right.plot(
            years,
            [row.most_starts_per_hour for row in growth.years],
            color=style.BLACK,
            linestyle=(0, (5, 2)),
            label="limit",
        )
        right.set_ylim(0.0, None)
        right.set_ylabel("starts in an hour [1/h]")
        for axes, year in ((left, growth.firm), (right, growth.starts)):
            axes.set_xlim(years[0], max(years[-1], years[0] + 1))
            axes.legend(loc="lower right")
            if year is not None:
                axes.axvline(year, color=style.VERMILION, linewidth=1.0, linestyle=":")
                late = year > 0.5 * (years[0] + years[-1])
                axes.text(
                    year,
                    0.97 * axes.get_ylim()[1],
                    f" outgrown in {year} ",
                    ha="right" if late else "left",
                    va="top",
                    fontsize=9.0,
                    weight="bold",
                    color=style.VERMILION,
                )
        return figure

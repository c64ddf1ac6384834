"""Figures of criteria: how far each is from its limit, and when growth passes it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from matplotlib.ticker import MaxNLocator

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
    def of_the_run(self) -> bool:
        """Whether it is a check of the run, and none of the station."""
        ...

    @property
    def is_open(self) -> bool:
        """Whether it could not be judged for want of data."""
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

    @property
    def velocity_ms(self) -> float:
        """Velocity in the main at the peak [m/s]."""
        ...

    @property
    def most_velocity_ms(self) -> float:
        """Its limit [m/s]."""
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

    @property
    def main(self) -> int | None:
        """Year in which the force main is outgrown."""
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


class Bar(NamedTuple):
    """One bar of the figure of margins: pumps with the same margin share it."""

    label: str
    passes: bool
    part: float


def bars_of(judged: Sequence[Judged]) -> list[Bar]:
    """Return the bars: margins over their limits, of those criteria of which that says something.

    Parameters
    ----------
    judged
        Every criterion.
    """
    found: dict[tuple[str, str, float], list[str]] = {}
    for one in judged:
        told = one.verdict != "not judged" and not one.of_the_run
        if told and one.limit != 0.0 and math.isfinite(one.margin):
            key = (one.criterion, one.verdict, round(one.margin / abs(one.limit), 4))
            found.setdefault(key, []).append(one.subject)
    return [
        Bar(f"{criterion}, {', '.join(subjects)}", verdict == "pass", part)
        for (criterion, verdict, part), subjects in found.items()
    ]


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
    bars = bars_of(fitness.judged)
    left_out = sum(one.is_open and not one.of_the_run for one in fitness.judged)
    open_ones = f" {left_out} could not be judged." if left_out else ""
    with style.styled():
        height = max(2.6, 1.6 + 0.25 * len(bars))
        figure = style.new_figure(11.0, height)
        axes = figure.add_axes((0.34, 0.68 / height, 0.53, 1.0 - 1.5 / height))
        style.head(
            figure,
            f"{fitness.case.station.name}: margin of each criterion",
            "Distance from the limit as part of the limit; to the right of the line it passes."
            + open_ones,
        )
        axes.set_xlim(-_MOST_PART, _MOST_PART)
        axes.set_ylim(max(len(bars), 1) - 0.5, -0.5)
        axes.axvline(0.0, color=style.BLACK, linewidth=1.0)
        for row, bar in enumerate(bars):
            drawn = min(max(bar.part, -_MOST_PART), _MOST_PART)
            axes.barh(
                row,
                drawn,
                height=0.62,
                facecolor=style.SKY if bar.passes else "white",
                edgecolor=style.BLUE if bar.passes else style.VERMILION,
                hatch="" if bar.passes else "xxxx",
                linewidth=0.8,
            )
            beyond = " or more" if bar.part > _MOST_PART else ""
            beyond = " or less" if bar.part < -_MOST_PART else beyond
            right = drawn >= 0.0
            far = drawn < -0.7  # no room to the left of it
            axes.text(
                0.012 if far else drawn + (0.012 if right else -0.012),
                row,
                f"{'pass' if bar.passes else 'fail'} {100.0 * drawn:+.0f} %{beyond}",
                ha="left" if right or far else "right",
                va="center",
                fontsize=7.5,
                clip_on=False,
            )
        axes.set_yticks(range(len(bars)), [bar.label for bar in bars], fontsize=8.0)
        axes.set_xticks(
            np.linspace(-1.0, 1.0, 5),
            ["-100 %\nor less", "-50 %", "limit", "+50 %", "+100 %\nor more"],
        )
        axes.grid(visible=False, axis="y")
        return figure


class Panel(NamedTuple):
    """One panel of the figure of growth: what grows, its limit, and when it is outgrown."""

    label: str
    grows: list[float]
    grows_name: str
    limit: list[float]
    limit_name: str
    outgrown: int | None


def panels_of(growth: Growth, system: str) -> list[Panel]:
    """Return the panels: flow and starts, and the main where there is one.

    Parameters
    ----------
    growth
        The years to come.
    system
        ``si`` or ``us``.
    """
    flow, speed = style.scale("flow", system), style.scale("velocity", system)
    rows = growth.years
    found = [
        Panel(
            f"flow [{flow.unit}]",
            [float(flow(row.peak_m3s)) for row in rows],
            "peak of the year",
            [float(flow(row.firm_m3s)) for row in rows],
            "firm capacity",
            growth.firm,
        ),
        Panel(
            "starts in an hour [1/h]",
            [row.starts_per_hour for row in rows],
            "worst pump",
            [row.most_starts_per_hour for row in rows],
            "limit",
            growth.starts,
        ),
    ]
    if all(math.isfinite(row.velocity_ms) for row in rows):
        found.append(
            Panel(
                f"velocity in the main [{speed.unit}]",
                [float(speed(row.velocity_ms)) for row in rows],
                "at the peak",
                [float(speed(row.most_velocity_ms)) for row in rows],
                "limit",
                growth.main,
            )
        )
    return found


def growth_figure(fitness: Fitness, system: str = "si") -> Figure:
    """Return the figure of growth: what grows with the area, each against what the station has.

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
    years = [row.year for row in growth.years]
    panels = panels_of(growth, system)
    with style.styled():
        figure = style.new_figure(11.0, 4.4)
        style.head(
            figure,
            f"{fitness.case.station.name}: as the area grows",
            "Firm capacity: the largest pump out, old pipe. Starts: worst steady inflow up to the"
            " peak of the year.",
        )
        wide = 0.985 / len(panels)
        for n, panel in enumerate(panels):
            axes = figure.add_axes((n * wide + 0.065, 0.14, wide - 0.075, 0.66))
            axes.plot(years, panel.grows, color=style.BLUE, label=panel.grows_name)
            axes.plot(
                years, panel.limit, color=style.BLACK, linestyle=(0, (5, 2)), label=panel.limit_name
            )
            axes.set_ylim(0.0, 1.25 * max([*panel.grows, *panel.limit, 1e-9]))
            axes.set_ylabel(panel.label)
            axes.set_xlim(years[0], max(years[-1], years[0] + 1))
            axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
            axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)
            if panel.outgrown is not None:
                axes.axvline(panel.outgrown, color=style.VERMILION, linewidth=1.0, linestyle=":")
                late = panel.outgrown > 0.5 * (years[0] + years[-1])
                axes.text(
                    panel.outgrown,
                    0.98 * axes.get_ylim()[1],
                    " too small today "
                    if panel.outgrown == years[0]
                    else f" outgrown in {panel.outgrown} ",
                    ha="right" if late else "left",
                    va="top",
                    fontsize=9.0,
                    weight="bold",
                    color=style.VERMILION,
                )
        return figure

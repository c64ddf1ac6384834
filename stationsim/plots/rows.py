"""Who ran, and when: one row for each machine, and below it what else stood: grid, alarms, spills.

Roles differ by colour, hatching and height. Over long times single runs are too thin to be seen;
then a row shows the part of each span of time in which the pump ran.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Patch

from stationsim.handout import alarms_dead_spans, dark_spans
from stationsim.plots import people, standing, style

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from stationsim.plots.style import Floats
    from stationsim.results import Result
    from stationsim.station import Station

_LEAST_WIDTH = 0.0012
"""Narrowest mark, as a part of the axis: shorter spans are drawn this wide so that they show."""


_WIDTH_OF_LETTER = 0.011
"""Room for a letter, as a part of the axis."""


@dataclass(frozen=True)
class Row:
    """One row of states below the machines.

    Parameters
    ----------
    name
        What stands at its left.
    spans_s
        From and to of each span [s].
    face, hatch
        How it is drawn.
    reached_s
        Of an alarm: when a person came to know of it [s].
    """

    name: str
    spans_s: list[tuple[float, float]]
    face: str
    hatch: str
    reached_s: list[float] = field(default_factory=list)


def state_rows(
    result: Result, ends_s: tuple[float, float], *, seen_only: bool = False
) -> list[Row]:
    """Return the rows below the machines: only those that have anything to show.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is shown [s].
    seen_only
        True for only what the panel shows: no spill.
    """
    rows = [
        Row(row.name, row.spans_s, row.face, row.hatch)
        for row in standing.of_trouble(result)
        if row.seen or not seen_only
    ]
    lost = "phase lost"
    for name, out in (("grid out", outages_s(result)), (lost, outages_s(result, phase=True))):
        if out:
            rows.append(Row(name, out, style.PALE, "////"))
    rows += [Row(s.name, s.spans_s, s.face, s.hatch) for s in standing.of_supply(result)]
    alarms = result.alarms
    for alarm in alarms["alarm"].unique():
        own = alarms.loc[alarms["alarm"] == alarm]
        spans = _spans(own["raised_s"], own["cleared_s"].fillna(result.trace.end_s))
        reached = own["reached_s"].dropna().tolist()
        rows.append(Row(f"alarm: {alarm}", spans, style.ORANGE, "", reached))
    if seen_only:
        rows = _recorded(result, rows)
    spills = result.spills
    if len(spills) and not seen_only:
        spans = _spans(spills["start_s"], spills["stop_s"])
        rows.append(Row("spill", spans, style.VERMILION, "xxxx"))
    return [row for row in rows if _clipped(row.spans_s, *ends_s)]


def _recorded(result: Result, rows: list[Row]) -> list[Row]:
    """Return rows without what fell while the panel was dead; alarms may have gone on."""
    dark, dead = dark_spans(result), alarms_dead_spans(result)
    return [
        replace(
            row,
            spans_s=standing.less(row.spans_s, dead if row.name.startswith("alarm") else dark),
        )
        for row in rows
    ]


def outages_s(result: Result, *, phase: bool = False) -> list[tuple[float, float]]:
    """Return when the grid was out [s].

    Parameters
    ----------
    result
        The run.
    phase
        True for when it lacked one phase only.
    """
    power = result.power
    out = power.loc[(power["source"] == "grid") & (power["state"] == "out")]
    out = out.loc[(out["cause"] == "phase lost") == phase]
    return _spans(out["start_s"], out["stop_s"])


def row_names(result: Result, ends_s: tuple[float, float], *, seen_only: bool = False) -> list[str]:
    """Return the names of all rows: the machines, then what else stood.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is shown [s].
    seen_only
        True for only what the panel shows.
    """
    states = state_rows(result, ends_s, seen_only=seen_only)
    return [*result.station.machine_names(), *(row.name for row in states)]


def draw_runs(
    axes: Axes, result: Result, from_s: float, to_s: float, *, seen_only: bool = False
) -> None:
    """Draw each run as a bar.

    Parameters
    ----------
    axes
        Where.
    result
        The run.
    from_s, to_s
        Part of the run that is shown [s].
    seen_only
        True for only what the panel shows.
    """
    runs = result.pump_runs
    runs = runs.loc[(runs["stop_s"] >= from_s) & (runs["start_s"] <= to_s)]
    names = result.station.machine_names()
    dark = dark_spans(result) if seen_only else []
    for y, name in enumerate(names):
        own = runs.loc[runs["pump"] == name]
        _draw_marks(axes, result, y, (from_s, to_s), seen_only=seen_only)
        for role in own["role"].unique():
            look = style.ROLES.get(role, style.OTHER_ROLE)
            part = own.loc[own["role"] == role]
            spans = standing.less(_spans(part["start_s"], part["stop_s"]), dark)
            spans = _clipped(spans, from_s, to_s)
            _bars(axes, result, spans, y, look)
            for begin, end in spans:
                if end - begin > _WIDTH_OF_LETTER * len(role) * (to_s - from_s):
                    _write(axes, result, 0.5 * (begin + end), y, role)
    if seen_only:
        _blank(axes, result, len(names), (from_s, to_s))
    _draw_states(axes, result, len(names), (from_s, to_s), seen_only=seen_only)
    _finish(axes, row_names(result, (from_s, to_s), seen_only=seen_only))


def draw_shares(axes: Axes, result: Result, edges_s: Floats, *, seen_only: bool = False) -> None:
    """Draw for each machine the part of each span of time in which it ran.

    Parameters
    ----------
    axes
        Where.
    result
        The run.
    edges_s
        Edges of the spans [s].
    seen_only
        True for only what the panel shows.
    """
    names = result.station.machine_names()
    x = style.day_numbers(result.episode.start, edges_s)
    ends_s = (float(edges_s[0]), float(edges_s[-1]))
    for y, name in enumerate(names):
        _draw_marks(axes, result, y, ends_s, seen_only=seen_only)
        own = result.pump_runs.loc[result.pump_runs["pump"] == name]
        share = by_span(own, edges_s, own["duration_s"].to_numpy()) / np.diff(edges_s)
        look = _share_look(result.station, name)
        foot = y + 0.42
        axes.stairs(
            foot - 0.84 * share,
            x,
            baseline=foot,
            fill=True,
            facecolor=look.face,
            hatch=look.hatch,
            edgecolor="white" if look.hatch else look.face,
            linewidth=0.0,
        )
        axes.axhline(foot, color=style.GREY, linewidth=0.5)
    if seen_only:
        _blank(axes, result, len(names), ends_s)
    _draw_states(axes, result, len(names), ends_s, seen_only=seen_only)
    _finish(axes, row_names(result, ends_s, seen_only=seen_only))


def _share_look(station: Station, name: str) -> style.RoleLook:
    """Return how the parts of a machine are drawn: as the role that only it can have."""
    engine, bypass = station.engine_pump, station.bypass_pump
    if engine is not None and engine.pump.name == name:
        return style.ROLES["engine-driven"]
    if bypass is not None and bypass.pump.name == name:
        return style.ROLES["bypass"]
    return style.ROLES["lead"]


def by_span(runs: pd.DataFrame, edges_s: Floats, amounts: Floats) -> Floats:
    """Return how much of the amounts of runs falls into each span, spread evenly over each run.

    Parameters
    ----------
    runs
        Runs of one machine.
    edges_s
        Edges of the spans [s].
    amounts
        What each run amounts to.
    """
    if len(runs) == 0:
        return np.zeros(len(edges_s) - 1)
    knots = runs[["start_s", "stop_s"]].to_numpy(dtype=float).ravel()
    after = np.cumsum(amounts)
    totals = np.column_stack((after - amounts, after)).ravel()
    found: Floats = np.diff(np.interp(edges_s, knots, totals))
    return found


def role_patches(result: Result, ends_s: tuple[float, float]) -> list[Patch]:
    """Return what a legend needs to explain the roles that ran, in the order of the vocabulary.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is shown [s].
    """
    low, high = ends_s
    runs = result.pump_runs
    ran = set(runs.loc[(runs["stop_s"] >= low) & (runs["start_s"] <= high), "role"])
    looks = [(role, look) for role, look in style.ROLES.items() if role in ran]
    looks += [(role, style.OTHER_ROLE) for role in sorted(ran - set(style.ROLES))]
    return [
        Patch(
            facecolor=look.face, hatch=look.hatch, edgecolor=style.DARK, linewidth=0.6, label=role
        )
        for role, look in looks
    ]


def mark_patches(
    result: Result, ends_s: tuple[float, float], *, seen_only: bool = False
) -> list[Patch]:
    """Return what a legend needs to explain the marks of pumps that were out or in hand.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is shown [s].
    seen_only
        True for only what the panel shows.
    """
    patches = []
    spans = [
        (span.start_s, span.stop_s)
        for span in result.trace.unavailable
        if not (seen_only and span.cause == "out of service")
    ]
    if _clipped(spans, *ends_s):
        patches.append(Patch(**_CANNOT_RUN, label="cannot be run"))
    if any(_clipped(spans, *ends_s) for spans in in_hand_s(result).values()):
        patches.append(Patch(facecolor=style.BLACK, linewidth=0.0, label="selector in hand"))
    hidden = [row for row in standing.of_trouble(result) if not row.seen]
    if not seen_only and any(_clipped(row.spans_s, *ends_s) for row in hidden):
        face, hatch = standing.UNSEEN
        patches.append(
            Patch(
                facecolor=face,
                hatch=hatch,
                edgecolor=style.DARK,
                linewidth=0.6,
                label="trouble that stood",
            )
        )
    return patches


def in_hand_s(result: Result) -> dict[str, list[tuple[float, float]]]:
    """Return for each machine when its selector stood in hand [s].

    Parameters
    ----------
    result
        The run.
    """
    found: dict[str, list[tuple[float, float]]] = {}
    since: dict[str, float] = {}
    turned = [row for row in result.trace.events if row.event in ("in hand", "off", "in auto")]
    for row in sorted(turned, key=lambda row: row.t_s):
        if row.event == "in hand":
            since.setdefault(row.subject, row.t_s)
        elif row.subject in since:
            found.setdefault(row.subject, []).append((since.pop(row.subject), row.t_s))
    for name, begin in since.items():
        found.setdefault(name, []).append((begin, result.trace.end_s))
    return found


def shade_outages(axes: Axes, result: Result) -> None:
    """Hatch the time without grid behind whatever the axes show.

    Parameters
    ----------
    axes
        Where; its ends of time must be set.
    result
        The run.
    """
    for begin, end in (*outages_s(result), *outages_s(result, phase=True)):
        low, high = style.day_numbers(result.episode.start, [begin, end])
        axes.axvspan(
            low, high, facecolor="none", edgecolor="#c4c4c4", hatch="////", linewidth=0.0, zorder=0
        )


def _bars(
    axes: Axes, result: Result, spans: list[tuple[float, float]], y: float, look: style.RoleLook
) -> None:
    low, high = (float(e) for e in axes.get_xlim())
    least = _LEAST_WIDTH * (high - low)
    places = style.day_numbers(result.episode.start, spans).reshape(-1, 2)
    axes.broken_barh(
        [(a, max(b - a, least)) for a, b in places],
        (y - 0.5 * look.height, look.height),
        facecolor=look.face,
        hatch=look.hatch,
        edgecolor=style.DARK,
        linewidth=0.3,
    )


_CANNOT_RUN: dict[str, Any] = {
    "facecolor": "#f0f0f0",
    "edgecolor": style.GREY,
    "hatch": "---",
    "linewidth": 0.8,
}
_WORD_OF_CAUSE = {"selector in off": "off", "pump failed": "failed"}


def _blank(axes: Axes, result: Result, machines: int, ends_s: tuple[float, float]) -> None:
    """Cover the machines where the panel was dead and kept no record."""
    for begin, end in _clipped(dark_spans(result), *ends_s):
        low, high = style.day_numbers(result.episode.start, [begin, end])
        axes.broken_barh(
            [(low, high - low)],
            (-0.5, machines),
            facecolor="white",
            edgecolor=style.GREY,
            linewidth=0.6,
            zorder=4.0,
        )
        axes.text(
            0.5 * (low + high), 0.5 * machines - 0.5, "no record",
            fontsize=7.0, ha="center", va="center", color=style.DARK, zorder=4.1, clip_on=True,
        )  # fmt: skip


def _draw_marks(
    axes: Axes, result: Result, y: int, ends_s: tuple[float, float], *, seen_only: bool = False
) -> None:
    """Mark in a machine's row when it could not be run and why, and when it was in hand."""
    name = result.station.machine_names()[y]
    low, high = (float(e) for e in axes.get_xlim())
    least = _LEAST_WIDTH * (high - low)
    for span in result.trace.unavailable:
        clipped = _clipped([(span.start_s, span.stop_s)], *ends_s)
        if span.machine != y or not clipped or (seen_only and span.cause == "out of service"):
            continue
        begin, end = style.day_numbers(result.episode.start, clipped[0])
        box = [(begin, max(end - begin, least))]
        axes.broken_barh(box, (y - 0.45, 0.9), zorder=0.6, **_CANNOT_RUN)
        reason = _WORD_OF_CAUSE.get(span.cause, span.cause)
        if end - begin > _WIDTH_OF_LETTER * len(reason) * (high - low):
            _write(axes, result, 0.5 * sum(clipped[0]), y, reason)
    spans = _clipped(in_hand_s(result).get(name, []), *ends_s)
    places = style.day_numbers(result.episode.start, spans).reshape(-1, 2)
    axes.broken_barh(
        [(a, max(b - a, least)) for a, b in places],
        (y - 0.5, 0.09),
        facecolor=style.BLACK,
        linewidth=0.0,
        zorder=3.0,
    )


def _draw_states(
    axes: Axes,
    result: Result,
    first: int,
    ends_s: tuple[float, float],
    *,
    seen_only: bool = False,
) -> None:
    for k, row in enumerate(state_rows(result, ends_s, seen_only=seen_only)):
        spans = _clipped(row.spans_s, *ends_s)
        _bars(axes, result, spans, first + k, style.RoleLook(row.face, row.hatch, 0.55))
        people.draw_reached(axes, result, first + k, row.reached_s, ends_s)


def _finish(axes: Axes, names: list[str]) -> None:
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)


def _write(axes: Axes, result: Result, at_s: float, y: float, text: str) -> None:
    place = float(style.day_numbers(result.episode.start, at_s))
    axes.text(
        place,
        y,
        text,
        fontsize=7.0,
        ha="center",
        va="center",
        color=style.BLACK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
    )


def _spans(start: pd.Series[float], stop: pd.Series[float]) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in zip(start, stop, strict=True)]


def _clipped(
    spans: list[tuple[float, float]], from_s: float, to_s: float
) -> list[tuple[float, float]]:
    return [(max(a, from_s), min(b, to_s)) for a, b in spans if b >= from_s and a <= to_s]

"""What people did: a strip with a row for each person, and for each tool that comes by itself.

A word stands in each bar that is long enough for it. Shorter ones that follow each other are named
below them in their order, so a chain of minutes can be read in a plot of hours.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from stationsim.plots import style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

    from stationsim.plots.style import Floats
    from stationsim.results import Result
    from stationsim.trace import CrewRow

_LEAST_WIDTH = 0.0012
_WIDTH_OF_LETTER = 0.0066
"""Room for a letter of a word below the bars, as a part of the axis."""

_WIDTH_INSIDE = 0.0095
"""The same in a bar."""

_BAR_IN, _LINE_IN = 0.26, 0.15
_LEGEND_IN = 0.16
"""Room for a line of the legend [in]."""

_MOST_LINES = 3
_NO_GAP = 0.002
"""Bars that are nearer to each other than this part of the axis follow each other."""

_AT_WORK = "works"
LOOKS: dict[str, tuple[str, str]] = {
    "called": ("white", "...."),
    "gets ready": (style.PALE, ""),
    "fetches": (style.SKY, "\\\\\\\\"),
    "comes": (style.SKY, "xxxx"),
    "travels": (style.SKY, "////"),
    _AT_WORK: (style.BLUE, ""),
    "looks around": ("white", "////"),
    "looks on": ("white", ""),
    "visits": (style.PURPLE, "||||"),
    "stood down": (style.BLACK, ""),
    "is away with a load": (style.PALE, "////"),
}
"""Task -> face and hatching; every other task is work."""

_REACHED: dict[str, Any] = {
    "linestyle": "none",
    "marker": "v",
    "markersize": 5.5,
    "markerfacecolor": style.BLACK,
    "markeredgecolor": "white",
    "markeredgewidth": 0.5,
    "zorder": 3.2,
}
_OF_ALL = ("station", "to help")


class Lane(NamedTuple):
    """A row of the strip.

    Parameters
    ----------
    name
        Who, or which tool.
    rows
        What it did, in the order of time.
    words
        Lines of words below the bars: for each, where it begins and ends as a part of the axis, and
        what is written there.
    """

    name: str
    rows: list[CrewRow]
    words: list[list[tuple[float, float, str]]]


def lanes(result: Result, ends_s: tuple[float, float], *, words: bool = True) -> list[Lane]:
    """Return the rows of the strip: those that have anything to show.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is shown [s].
    words
        False for a long run: bars alone, and only of those who came.
    """
    low, high = ends_s
    own: dict[str, list[CrewRow]] = {}
    for row in sorted(result.trace.crew, key=lambda row: (row.start_s, row.stop_s)):
        if row.stop_s >= low and row.start_s <= high and (words or _at_it(row)):
            own.setdefault(row.person or row.tool or row.subject, []).append(row)
    response = result.episode.response
    known: list[str] = []
    if response is not None:
        known = [one.name for one in response.people] + [one.name for one in response.tools]
    names = [name for name in known if name in own] + [name for name in own if name not in known]
    return [
        Lane(name, own[name], _lines(own[name], ends_s) if words else [])
        for name in dict.fromkeys(names)
    ]


def tall_in(strip: list[Lane], *, words: bool = True) -> float:
    """Return how much room the strip takes [in].

    Parameters
    ----------
    strip
        Its rows.
    words
        As for :func:`lanes`; without, there is no legend.
    """
    legend = _LEGEND_IN * len(_tasks(strip)) if words else 0.0
    return 0.1 + max(sum(_lane_in(lane) for lane in strip), legend)


def _lane_in(lane: Lane) -> float:
    return _BAR_IN + _LINE_IN * len(lane.words)


def draw(axes: Axes, result: Result, ends_s: tuple[float, float], *, words: bool = True) -> None:
    """Draw the strip.

    Parameters
    ----------
    axes
        Where.
    result
        The run.
    ends_s
        From and to of what is shown [s].
    words
        False for a long run: bars alone, and only of those who came.
    """
    style.time_axis(axes, result.episode.start, *ends_s)
    strip = lanes(result, ends_s, words=words)
    middles, foot = [], 0.0
    for lane in strip:
        middle = foot + 0.5 * _BAR_IN
        _bars(axes, result, lane, ends_s, middle, words=words)
        for n, line in enumerate(lane.words):
            y = foot + _BAR_IN + (n + 0.35) * _LINE_IN
            for begin, _end, text in line:
                axes.text(
                    begin, y, text, transform=axes.get_yaxis_transform(),
                    fontsize=6.8, va="center", ha="left", color=style.BLACK,
                )  # fmt: skip
        middles.append(middle)
        foot += _lane_in(lane)
    axes.set_ylim(tall_in(strip, words=words) - 0.05, -0.05)
    axes.set_yticks(middles, [lane.name for lane in strip])
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    if not words:
        return
    tasks = _tasks(strip)
    patches = [
        Patch(facecolor=face, hatch=hatch, edgecolor=style.DARK, linewidth=0.6, label=name)
        for name, (face, hatch) in LOOKS.items()
        if name in tasks
    ]
    axes.legend(
        handles=patches,
        loc="upper left",
        bbox_to_anchor=(1.01, 1.03),
        borderpad=0.0,
        fontsize=7.5,
        labelspacing=0.25,
        handlelength=1.8,
        handleheight=1.0,
    )


def _tasks(strip: list[Lane]) -> set[str]:
    return {_look_of(row) for lane in strip for row in lane.rows}


def _look_of(row: CrewRow) -> str:
    return row.task if row.task in LOOKS else _AT_WORK


def _at_it(row: CrewRow) -> bool:
    """Return whether somebody was at work, or on the way: in a long run the rest is left out."""
    return row.task not in ("called", "stood down") and row.outcome != "all well"


def _text(row: CrewRow) -> str:
    """Return what was done in few words, with its subject where there could be several."""
    named = row.task not in LOOKS and row.subject not in _OF_ALL and row.subject not in row.task
    return f"{row.task}: {row.subject}" if named else row.task


def _bars(
    axes: Axes,
    result: Result,
    lane: Lane,
    ends_s: tuple[float, float],
    middle: float,
    *,
    words: bool,
) -> None:
    low, high = ends_s
    left, right = (float(e) for e in axes.get_xlim())
    least = _LEAST_WIDTH * (right - left)
    tall = 0.72 * _BAR_IN
    for row in lane.rows:
        span = max(row.start_s, low), min(row.stop_s, high)
        begin, end = _places(result, span)
        face, hatch = LOOKS[_look_of(row)] if words else LOOKS[_AT_WORK]
        axes.broken_barh(
            [(begin, max(end - begin, least))],
            (middle - 0.5 * tall, tall),
            facecolor=face,
            hatch=hatch,
            edgecolor=style.DARK if words else face,
            linewidth=0.5,
        )
        text = _text(row)
        if words and _fits(span, ends_s, text):
            axes.text(
                0.5 * (begin + end), middle, text, fontsize=7.0, ha="center", va="center",
                color=style.BLACK, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
            )  # fmt: skip


def _places(result: Result, span_s: tuple[float, float]) -> Floats:
    return style.day_numbers(result.episode.start, span_s)


def _fits(span_s: tuple[float, float], ends_s: tuple[float, float], text: str) -> bool:
    return span_s[1] - span_s[0] > _WIDTH_INSIDE * len(text) * (ends_s[1] - ends_s[0])


def _lines(
    rows: list[CrewRow], ends_s: tuple[float, float]
) -> list[list[tuple[float, float, str]]]:
    """Return the words for bars that are too short for one, laid out in lines, none over another.

    Parameters
    ----------
    rows
        What one person did, in the order of time.
    ends_s
        From and to of what is shown [s].
    """
    low, high = ends_s
    whole = high - low
    groups: list[tuple[float, float, list[str]]] = []
    for row in rows:
        span = max(row.start_s, low), min(row.stop_s, high)
        text = _text(row)
        if _fits(span, ends_s, text):
            continue
        begin, end = ((t - low) / whole for t in span)
        if groups and begin <= groups[-1][1] + _NO_GAP:
            first, last, words = groups[-1]
            groups[-1] = first, max(last, end), words if words[-1] == text else [*words, text]
        else:
            groups.append((begin, end, [text]))
    lines: list[list[tuple[float, float, str]]] = []
    for begin, _end, words in groups:
        text = _shortened(words)
        wide = _WIDTH_OF_LETTER * len(text)
        at = max(0.0, min(begin, 1.0 - wide))
        line = next((line for line in lines if line[-1][1] < at), None)
        if line is None and len(lines) < _MOST_LINES:
            line = []
            lines.append(line)
        if line is not None:
            line.append((at, at + wide, text))
    return lines


def _shortened(words: list[str]) -> str:
    """Return words joined in their order, as many as the axis is wide."""
    text = ", ".join(words)
    most = int(1.0 / _WIDTH_OF_LETTER)
    return text if len(text) <= most else f"{text[: most - 4]} ..."


# ---------------------------------------------------------------------- who knows


def draw_reached(
    axes: Axes, result: Result, y: float, reached_s: Sequence[float], ends_s: tuple[float, float]
) -> None:
    """Mark in the row of an alarm when a person came to know of it.

    Parameters
    ----------
    axes
        Where.
    result
        The run.
    y
        Middle of the row.
    reached_s
        When [s].
    ends_s
        From and to of what is shown [s].
    """
    known = [t_s for t_s in reached_s if ends_s[0] <= t_s <= ends_s[1]]
    if known:
        x = style.day_numbers(result.episode.start, known)
        axes.plot(x, [y - 0.12] * len(known), **_REACHED)


def reached_marks(result: Result, ends_s: tuple[float, float]) -> list[Artist]:
    """Return what a legend needs to explain when alarms reached a person; nothing when none did.

    Parameters
    ----------
    result
        The run.
    ends_s
        From and to of what is shown [s].
    """
    low, high = ends_s
    if not any(low <= row.reached_s <= high for row in result.trace.alarms):
        return []
    return [Line2D([], [], label="a person knows of it", **_REACHED)]

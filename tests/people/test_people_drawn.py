"""The strip of what people did: every state in words, none over another, all on the page."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from crews import HOUR, MINUTE, chain, reference, reference_station, with_mobile
from everything import day, event_of, everything
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from test_people_told import FULL
from test_plots import texts_outside as texts_of_a_drawn_one_outside

from stationsim import plots
from stationsim.episode import Episode, ScriptedEvent
from stationsim.people.response import Response, Visit
from stationsim.plots import levels_figure, people, rows, style
from stationsim.plots.busiest import busiest_day
from stationsim.plots.handout import handout_figure
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import MONDAY, reference_inflow


@functools.cache
def night(hour: float, pace: str) -> Result:
    return reference(hour, chain(pace))


@functools.cache
def many_hands() -> Result:
    """Two people, one tool that is delivered, at the station that has everything."""
    events = [event_of(kind, 600.0) for kind in ("seal leak into motor", "clogged")]
    what = day(*(replace(event, duration_s=None) for event in events), hours=8.0)
    return simulate(everything(), replace(what, response=FULL))


@functools.cache
def long_run(days: int, response: Response | None) -> Result:
    """A loss of the grid every 18 days, for a quarter of an hour to six hours."""
    lasts_h = (3.0, 0.25, 6.0, 1.0)
    count = max(2, days // 18)
    events = tuple(
        ScriptedEvent(
            (n + 0.31) * days * 24 * HOUR / count, "grid loss", "grid", lasts_h[n % 4] * HOUR
        )
        for n in range(count)
    )
    episode = Episode(
        MONDAY, days * 24 * HOUR, (reference_inflow(),), 1.0, events=events, response=response
    )
    return simulate(with_mobile(reference_station()), episode)


WEEKLY = chain("drawn", visit=Visit("operator", 9 * HOUR, 7 * 24 * HOUR))


def strips(figure: Figure, names: set[str]) -> list[Axes]:
    """Return the axes whose rows have the names of people and tools."""
    return [
        axes
        for axes in figure.axes
        if {label.get_text() for label in axes.get_yticklabels()} & names
    ]


def texts_outside(figure: Figure) -> list[str]:
    """Return the texts that do not lie wholly on a figure."""
    figure.canvas.draw()
    return texts_of_a_drawn_one_outside(figure)


def words_over_each_other(axes: Axes) -> list[tuple[str, str]]:
    """Return pairs of words of a strip that lie over each other."""
    renderer = axes.figure.canvas.get_renderer()  # type: ignore[union-attr]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in axes.texts]
    return [
        (one, other)
        for n, (one, a) in enumerate(boxes)
        for other, b in boxes[n + 1 :]
        if min(a.y1, b.y1) - max(a.y0, b.y0) > 2.0 and a.x0 < b.x1 and b.x0 < a.x1
    ]


# ---------------------------------------------------------------------- words


@pytest.mark.parametrize("hour", [7.0, 3.0])
@pytest.mark.parametrize("pace", ["low", "typical", "high"])
def test_every_state_of_the_chain_is_written_in_its_order(hour: float, pace: str) -> None:
    result = night(hour, pace)
    figure = levels_figure(result)
    (strip,) = strips(figure, {"operator"})
    text = " ".join(text.get_text() for text in strip.texts)
    for row in result.trace.crew:
        assert row.task in text
    (lane,) = people.lanes(result, (0.0, result.trace.end_s))
    for line in lane.words:
        for _begin, _end, words in line:
            places = [words.find(row.task) for row in lane.rows if row.task in words]
            assert places[0] == 0 or words.startswith(("looks on", "disconnect"))
    assert words_over_each_other(strip) == []
    assert texts_outside(figure) == []


def test_short_ones_that_follow_each_other_are_named_together_where_they_begin() -> None:
    result = night(7.0, "typical")
    (lane,) = people.lanes(result, (0.0, result.trace.end_s))
    first = lane.words[0][0]
    assert first[2] == "called, gets ready, fetches, travels, connect mobile generator"
    assert first[0] == pytest.approx(180.0 / result.trace.end_s)  # 07:03
    (strip,) = strips(levels_figure(result), {"operator"})
    assert "looks on" in [text.get_text() for text in strip.texts]  # long enough to hold its word


def test_a_close_look_writes_each_word_into_its_bar() -> None:
    result = night(7.0, "typical")
    figure = levels_figure(result, "si", 0.0, 80.0 * MINUTE)
    (strip,) = strips(figure, {"operator"})
    own = {text.get_text(): text for text in strip.texts}
    assert {"fetches", "travels", "gets ready"} <= set(own)
    middle = style.day_numbers(result.episode.start, 45.5 * MINUTE)  # 07:33 to 07:58
    assert own["travels"].get_position()[0] == pytest.approx(float(middle))
    assert words_over_each_other(strip) == []


def test_a_row_for_each_person_and_for_what_is_delivered() -> None:
    result = many_hands()
    names = [lane.name for lane in people.lanes(result, (0.0, result.trace.end_s))]
    assert names == ["operator", "A. Fitter", "lifting gear"]
    figure = levels_figure(result)
    (strip,) = strips(figure, set(names))
    legend = [text.get_text() for text in strip.get_legend().get_texts()]
    assert legend == ["called", "gets ready", "comes", "travels", "works", "looks around",
                      "looks on"]  # fmt: skip
    assert words_over_each_other(strip) == []
    assert texts_outside(figure) == []


def test_bars_differ_by_hatching_or_face_and_not_by_colour_alone() -> None:
    grey = {}
    for name, (face, hatch) in people.LOOKS.items():
        shown = {"white": 1.0, style.PALE: 0.87, style.BLACK: 0.0}.get(face, 0.5)
        grey.setdefault((shown, hatch), []).append(name)
    assert all(len(names) == 1 for names in grey.values()), grey


# ---------------------------------------------------------------------- where it stands


def test_no_strip_without_people_and_none_when_nothing_was_done() -> None:
    assert len(levels_figure(reference(7.0, None)).axes) == 3
    assert len(levels_figure(night(7.0, "typical")).axes) == 4
    quiet = Episode(MONDAY, 6 * HOUR, (reference_inflow(),), 1.0, response=chain())
    assert len(levels_figure(simulate(reference_station(), quiet)).axes) == 3


@pytest.mark.parametrize("days", [7, pytest.param(365, marks=pytest.mark.slow)])
def test_a_long_run_has_bars_alone_above_and_words_on_the_busiest_day(days: int) -> None:
    result = long_run(days, WEEKLY)
    figure = levels_figure(result)
    above, below = strips(figure, {"operator"})
    assert above.texts == [] or not any(text.get_text() for text in above.texts)
    assert above.get_legend() is None
    text = " ".join(text.get_text() for text in below.texts)
    low, high, _why = busiest_day(result)
    for row in result.trace.crew:
        if low < row.start_s and row.stop_s < high:
            assert row.task in text
    assert words_over_each_other(below) == []
    assert texts_outside(figure) == []
    # rounds that find nothing are no work
    idle = [row for row in result.trace.crew if row.outcome == "all well"]
    assert idle
    (lane,) = people.lanes(result, (0.0, result.trace.end_s), words=False)
    assert not [row for row in lane.rows if row in idle or row.task == "called"]


def test_people_make_no_other_day_the_busiest() -> None:
    assert busiest_day(long_run(7, WEEKLY))[:2] == busiest_day(long_run(7, chain("drawn")))[:2]


def test_every_plot_of_a_run_with_people_is_drawn() -> None:
    for name, figure in plots.draw_all(night(7.0, "typical"), "us").items():
        assert texts_outside(figure) == [], name


# ---------------------------------------------------------------------- who knows


def test_a_mark_stands_where_a_person_came_to_know_of_an_alarm() -> None:
    result = night(7.0, "typical")
    figure = levels_figure(result)
    runs = figure.axes[2]
    names = rows.row_names(result, (0.0, result.trace.end_s))
    marks = [line for line in runs.lines if line.get_marker() == "v"]
    found = {}
    for line in marks:
        (x,), (y,) = line.get_data()
        found[names[round(float(y) + 0.12)]] = float(x)
    start = result.episode.start
    assert set(found) == {"alarm: power failed", "alarm: high level"}
    assert found["alarm: power failed"] == pytest.approx(float(style.day_numbers(start, 480.0)))
    legend = [text.get_text() for text in runs.get_legend().get_texts()]
    assert "a person knows of it" in legend
    alone = levels_figure(reference(7.0, None)).axes[2]
    assert [line for line in alone.lines if line.get_marker() == "v"] == []


@pytest.mark.parametrize("days", [0, 7])
def test_a_hand_out_shows_what_people_did(days: int) -> None:
    result = night(7.0, "typical") if days == 0 else long_run(days, WEEKLY)
    figure = handout_figure(result)
    found = strips(figure, {"operator"})
    assert len(found) == (1 if days == 0 else 2)
    assert texts_outside(figure) == []
    marks = [line for axes in figure.axes for line in axes.lines if line.get_marker() == "v"]
    reached = np.isfinite(result.alarms["reached_s"].to_numpy()).sum()
    assert marks
    assert reached >= len(marks) // (1 if days == 0 else 2)

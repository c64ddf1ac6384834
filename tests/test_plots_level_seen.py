"""The level as the panel saw it, in the plot of levels: drawn where it is another, else not."""

from __future__ import annotations

from typing import Any

import handmade
import numpy as np
import pytest
from matplotlib.text import Text
from test_plots import annotations_over_each_other, counted_as, texts_outside

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.plots import level_seen, levels, style
from stationsim.results import Result

HOUR_S, DAY_S = 3600.0, 86_400.0
SEEN, NO_SIGNAL = "level as the panel saw it", "panel had no level signal"


def signal(kind: EventKind, at_h: float, for_h: float | None) -> ScriptedEvent:
    return ScriptedEvent(at_h * HOUR_S, kind, "level sensor", for_h and for_h * HOUR_S)


def run(hours: float, *events: ScriptedEvent, inflow: float = 0.012) -> Result:
    return handmade.real(handmade.station(2), handmade.constant(inflow), hours * HOUR_S, events)


def drawn(axes: Any, label: str) -> list[Any]:
    return [line for line in axes.lines if line.get_label() == label]


def legend_of(axes: Any) -> list[str]:
    legend = axes.get_legend()
    return [] if legend is None else [text.get_text() for text in legend.get_texts()]


def hours_of(line: Any, result: Result) -> list[float]:
    first = style.day_numbers(result.episode.start, 0.0)
    return [float(x) for x in (line.get_xdata() - first) * 24.0]


@pytest.fixture(scope="module")
def failing() -> Result:
    """A day in which the signal freezes twice and is lost once."""
    return run(
        24.0,
        signal("level signal frozen", 3.1, 1.5),
        signal("level signal lost", 8.0, 2.0),
        signal("level signal frozen", 20.0, 0.5),
    )


def test_a_right_signal_is_not_drawn_beside_the_level() -> None:
    for hours in (6.0, 24.0 * 8):
        for axes in levels.levels_figure(run(hours)).axes:
            assert not drawn(axes, SEEN)
            assert not drawn(axes, NO_SIGNAL)
            assert not {SEEN, NO_SIGNAL} & set(legend_of(axes))


@pytest.mark.parametrize("system", ["si", "us"])
def test_a_frozen_signal_is_drawn_at_the_level_where_it_froze(failing: Result, system: str) -> None:
    figure = levels.levels_figure(failing, system)
    level = figure.axes[0]
    first, second = drawn(level, SEEN)
    assert hours_of(first, failing) == pytest.approx([3.1, 4.6], abs=1e-4)
    assert hours_of(second, failing) == pytest.approx([20.0, 20.5], abs=1e-4)
    per_unit = {"si": 1.0, "us": 0.3048}[system]
    for line, at_h in ((first, 3.1), (second, 20.0)):
        (stood,) = failing.level_at(np.array([at_h * HOUR_S]))
        assert line.get_ydata() == pytest.approx([stood / per_unit] * 2, abs=1e-9)
    # and the table of levels says the same of the middle of it
    rows = failing.levels.set_index("t_s")
    seen = rows.loc[4.0 * HOUR_S, "level_seen_m"]
    assert first.get_ydata()[0] * per_unit == pytest.approx(seen, abs=1e-9)
    assert abs(seen - rows["level_m"]).loc[3.2 * HOUR_S : 4.5 * HOUR_S].max() > 0.1


def test_a_lost_signal_is_marked_at_the_foot_and_each_look_has_one_entry(failing: Result) -> None:
    figure = levels.levels_figure(failing)
    level = figure.axes[0]
    (lost,) = drawn(level, NO_SIGNAL)
    assert hours_of(lost, failing) == pytest.approx([8.0, 10.0], abs=1e-4)
    assert legend_of(level) == ["level", SEEN, NO_SIGNAL]
    figure.canvas.draw()
    assert texts_outside(figure) == []
    assert annotations_over_each_other(figure) == []
    # no legend lies over the axes or over another text
    box = level.get_legend().get_window_extent()
    for axes in figure.axes:
        assert not box.overlaps(axes.get_window_extent())
    others = [
        text
        for text in figure.findobj(Text)
        if text.get_text().strip() and text.get_text() not in legend_of(level)
    ]
    assert [t.get_text() for t in others if box.overlaps(t.get_window_extent())] == []


def test_the_two_looks_and_the_level_differ_by_more_than_colour(failing: Result) -> None:
    level = levels.levels_figure(failing).axes[0]
    looks = [drawn(level, name)[0] for name in ("level", SEEN, NO_SIGNAL)]
    assert len({(str(line._dash_pattern), line.get_linewidth()) for line in looks}) == 3
    assert len({str(line._dash_pattern) for line in looks}) == 3


def test_a_frozen_signal_that_the_water_never_leaves_is_not_drawn() -> None:
    still = run(6.0, signal("level signal frozen", 1.0, 3.0), inflow=0.0)
    assert level_seen.astray_s(still, (0.0, 6.0 * HOUR_S)) == []
    assert legend_of(levels.levels_figure(still).axes[0]) == []
    lost = run(6.0, signal("level signal lost", 1.0, 3.0), inflow=0.0)
    ((begin, until, seen),) = level_seen.astray_s(lost, (0.0, 6.0 * HOUR_S))
    assert (begin, until) == (HOUR_S, 4.0 * HOUR_S)
    assert np.isnan(seen)


def test_only_the_part_of_the_run_that_is_shown_speaks_of_it(failing: Result) -> None:
    before = levels.levels_figure(failing, "si", 0.0, 3.0 * HOUR_S).axes[0]
    assert legend_of(before) == []
    within = levels.levels_figure(failing, "si", 4.0 * HOUR_S, 7.0 * HOUR_S).axes[0]
    assert legend_of(within) == ["level", SEEN]
    (line,) = drawn(within, SEEN)
    assert hours_of(line, failing) == pytest.approx([4.0, 4.6], abs=1e-4)


@pytest.mark.parametrize("shown", ["above floor", "elevation", "below cover"])
def test_a_long_run_shows_it_in_the_whole_and_in_the_day(shown: str) -> None:
    result = counted_as(
        run(24.0 * 10, signal("level signal frozen", 100.0, 4.0), inflow=0.014), shown
    )
    figure = levels.levels_figure(result)
    assert len(figure.axes) == 6
    whole, day = figure.axes[0], figure.axes[3]
    assert legend_of(whole) == ["range of the level", SEEN]
    assert legend_of(day) == ["level", SEEN]
    (stood,) = result.level_at(np.array([100.0 * HOUR_S]))
    for axes in (whole, day):
        (line,) = drawn(axes, SEEN)
        assert hours_of(line, result) == pytest.approx([100.0, 104.0], abs=1e-4)
        assert line.get_ydata()[0] == pytest.approx(result.station.shown_m(float(stood)), abs=1e-9)
    figure.canvas.draw()
    assert texts_outside(figure) == []

from __future__ import annotations

import dataclasses
import subprocess
import sys
from itertools import pairwise

import handmade
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread
from matplotlib.legend import Legend
from matplotlib.patches import StepPatch
from matplotlib.text import Text

from stationsim import plots
from stationsim.episode import ScriptedEvent
from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import InputError
from stationsim.outline import set_levels
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve
from stationsim.plots import busiest, curves, levels, rows, style
from stationsim.results import Result

HOUR_S, DAY_S = 3600.0, 86_400.0


def outage(day: float, hours: float = 3.0) -> tuple[tuple[float, float], ...]:
    begin = day * DAY_S + 7.0 * HOUR_S
    return ((begin, begin + hours * HOUR_S),)


def hours() -> Result:
    return handmade.March(
        handmade.station(1, spill_m=None, high_alarm_m=None), handmade.constant(0.01), 4 * HOUR_S
    ).result(interval_s=60.0)


def day() -> Result:
    return handmade.March(
        handmade.station(3, 0.02, engine=True), handmade.daily(1, 0.01), DAY_S, outage(0)
    ).result()


def week() -> Result:
    return handmade.March(
        handmade.station(3, 0.012),
        handmade.daily(7, 0.010),
        7 * DAY_S,
        outage(4),
        out=((1, DAY_S, 1.5 * DAY_S),),
    ).result()


def quarter() -> Result:
    return handmade.March(
        handmade.station(2, 0.02), handmade.daily(120, 0.008), 120 * DAY_S, outage(70, 1.0)
    ).result()


def still() -> Result:
    return handmade.March(handmade.station(2), handmade.constant(0.0), DAY_S).result()


RUNS = {"hours": hours, "day": day, "week": week, "quarter": quarter, "still": still}


@pytest.fixture(scope="module")
def results() -> dict[str, Result]:
    return {name: make() for name, make in RUNS.items()}


def with_curves(result: Result, *, alike: bool) -> Result:
    curve = HeadCurve.from_points([0.0, 0.02, 0.04, 0.06], [32.0, 28.0, 21.0, 11.0])
    pumps = tuple(
        PumpUnit(
            f"P{i + 1}",
            curve=curve,
            flow_factor=1.0 if alike else 1.0 - 0.1 * i,
            branch=Pipe(8.0, 0.15, fittings_k=3.0),
        )
        for i in range(3)
    )
    main = ForceMain((Pipe(900.0, 0.2),), 14.0)
    station = dataclasses.replace(result.station, pumps=pumps, force_main=main)
    return Result(station, result.episode, result.trace)


def at(hour: float, kind: str, subject: str, hours: float | None = None) -> ScriptedEvent:
    return ScriptedEvent(hour * HOUR_S, kind, subject, hours and hours * HOUR_S)


@pytest.fixture(scope="module")
def troubled() -> Result:
    """A week of hands and trips that spills for a day."""
    return handmade.real(
        handmade.station(2),
        handmade.daily(7, 0.012),
        7 * DAY_S,
        (
            at(4.0, "out of service", "P2", 30.0),
            at(40.0, "hand", "P2"),
            at(60.0, "auto", "P2"),
            at(80.0, "high temperature", "P1", 1.0),
            at(100.0, "grid loss", "grid", 30.0),
            at(140.0, "off", "P1"),
        ),
    )


def counted_as(result: Result, shown: str) -> Result:
    station = dataclasses.replace(
        result.station, levels_shown=shown, floor_elevation_m=96.9, cover_m=5.4
    )
    return Result(station, result.episode, result.trace)


def texts_of(figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text)]


def texts_outside(figure) -> list[str]:
    """Return the texts that do not lie wholly on the figure."""
    renderer = figure.canvas.get_renderer()
    wide, tall = figure.canvas.get_width_height()
    found = []
    shown = [*figure.texts, *(t for legend in figure.findobj(Legend) for t in legend.get_texts())]
    for axes in figure.axes:
        shown += [*axes.texts, axes.title, axes._left_title]
        for axis in (axes.xaxis, axes.yaxis):
            # ticks beyond the ends of an axis exist, but are not drawn
            shown += [axis.label, *(tick.label1 for tick in axis._update_ticks())]
    for text in shown:
        if not text.get_visible() or not text.get_text().strip():
            continue
        box = text.get_window_extent(renderer)
        if box.width and not (box.x0 >= -1 and box.x1 <= wide + 1 and -1 <= box.y0 <= tall + 1):
            found.append(text.get_text())
    return found


def annotations_over_each_other(figure) -> list[tuple[str, str]]:
    """Return pairs of labels at the right of one plot that lie over each other."""
    renderer = figure.canvas.get_renderer()
    pairs = []
    for axes in figure.axes:
        boxes = [
            (t.get_text(), t.get_window_extent(renderer))
            for t in axes.texts
            if t.get_text() and t.get_ha() == "left"
        ]
        for i, (one, a) in enumerate(boxes):
            for other, b in boxes[i + 1 :]:
                if min(a.y1, b.y1) - max(a.y0, b.y0) > 2.0 and a.x0 < b.x1 and b.x0 < a.x1:
                    pairs.append((one, other))
    return pairs


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("plot", plots.FIGURES)
@pytest.mark.parametrize("name", RUNS)
def test_every_plot_of_every_length_has_all_its_text_on_the_page(results, name, plot, system):
    figure = plots.FIGURES[plot](results[name], system)
    figure.canvas.draw()
    assert texts_outside(figure) == []
    assert any("teaching only" in text.get_text() for text in figure.texts)
    if plot == "levels":
        assert annotations_over_each_other(figure) == []


def test_axes_state_the_unit_of_the_system(results):
    for system, depth, flow in (("si", "[m]", "[L/s]"), ("us", "[ft]", "[gpm]")):
        figure = levels.levels_figure(results["day"], system)
        told = [axes.get_ylabel() for axes in figure.axes]
        assert f"level above floor {depth}" in told
        assert f"flow {flow}" in told


@pytest.mark.parametrize(
    ("shown", "label", "bottom", "spill"),
    [
        ("above floor", "level above floor [m]", 0.0, "spill 2.90 m"),
        ("elevation", "elevation [m]", 96.9, "spill 99.80 m"),
        ("below cover", "level below the cover [m]", 5.4, "spill 2.50 m"),
    ],
)
def test_levels_are_drawn_as_the_people_of_the_station_count_them(
    results, shown, label, bottom, spill
):
    for name in ("day", "quarter"):
        result = counted_as(results[name], shown)
        figure = levels.levels_figure(result)
        figure.canvas.draw()
        assert texts_outside(figure) == []
        assert annotations_over_each_other(figure) == []
        for axes in figure.axes[::3]:
            assert axes.get_ylabel() == label
            assert axes.get_ylim()[0] == pytest.approx(bottom, abs=1e-12)
            assert spill in [text.get_text() for text in axes.texts]
    # the water rises upwards, whichever way the numbers go
    figure = levels.levels_figure(counted_as(results["day"], shown))
    line = max(figure.axes[0].lines, key=lambda one: len(one.get_xdata()))
    drawn = figure.axes[0].transData.transform(line.get_xydata())[:, 1]
    levels_m = results["day"].level_at(_moments(line, results["day"]))
    assert np.corrcoef(drawn, levels_m)[0, 1] > 0.999
    read = [counted_as(results["day"], shown).station.shown_m(float(z)) for z in levels_m]
    np.testing.assert_allclose(line.get_ydata(), read, atol=1e-4)  # of a moment read off the axis
    said = {"elevation": "elevation 99.80 m", "below cover": "2.50 m below the cover"}
    note = " ".join(texts_of(plots.time_to_spill_figure(counted_as(results["day"], shown))))
    assert f"Spill at {said.get(shown, '2.90 m')}." in note


def _moments(line, result: Result) -> np.ndarray:
    first = style.day_numbers(result.episode.start, 0.0)
    return np.clip((line.get_xdata() - first) * DAY_S, 0.0, result.trace.end_s)


def test_a_level_that_stands_for_hours_is_a_band_and_no_hole(troubled):
    figure = levels.levels_figure(troubled)
    level = figure.axes[0]
    (band,) = [p for p in level.patches if isinstance(p, StepPatch)]
    top, _edges, bottom = band.get_data()
    edges = levels.span_edges(troubled.trace.end_s)
    begin, end = troubled.spills["start_s"].iloc[0], troubled.spills["stop_s"].iloc[0]
    inside = (edges[:-1] > begin) & (edges[1:] < end)
    assert np.count_nonzero(inside) > 5
    tall_pt = 72.0 * level.get_position().height * figure.get_size_inches()[1]
    drawn_pt = (top - bottom) / (level.get_ylim()[1] - level.get_ylim()[0]) * tall_pt
    assert np.all(drawn_pt[inside] > 2.0 * 1.8)  # thicker than the line of the spill over it
    assert np.all(drawn_pt > 3.0)
    # and it holds every level of its span
    times = np.linspace(0.0, troubled.trace.end_s, 20_000)
    least, greatest = levels.ranges(times, troubled.level_at(times), edges)
    assert np.all(bottom <= least + 1e-9)
    assert np.all(top >= greatest - 1e-9)


def test_pumps_that_were_out_or_in_hand_are_marked_in_the_whole_run_too(troubled):
    figure = levels.levels_figure(troubled)
    figure.canvas.draw()
    told = [text.get_text() for text in figure.axes[2].findobj(Text)]
    assert {"cannot be run", "selector in hand"} <= set(told)
    assert {"off", "out of service"} <= set(told)
    assert rows.in_hand_s(troubled) == {"P2": [(40 * HOUR_S, 60 * HOUR_S)]}
    assert texts_outside(figure) == []


def test_a_week_without_hands_explains_no_hand(results):
    told = texts_of(levels.levels_figure(results["week"]))
    assert "cannot be run" in told
    assert "selector in hand" not in told


def test_a_selector_in_hand_at_the_end_is_in_hand_to_the_end():
    result = handmade.real(
        handmade.station(2), handmade.constant(0.01), DAY_S, (at(20.0, "hand", "P1"),)
    )
    assert rows.in_hand_s(result) == {"P1": [(20 * HOUR_S, DAY_S)]}


def test_a_chosen_span_of_a_long_run_is_drawn_in_detail(troubled):
    figure = levels.levels_figure(troubled, "si", 39 * HOUR_S, 42 * HOUR_S)
    figure.canvas.draw()
    assert len(figure.axes) == 3
    assert texts_outside(figure) == []
    line = max(figure.axes[0].lines, key=lambda one: len(one.get_xdata()))
    moments = _moments(line, troubled)
    assert moments[[0, -1]] == pytest.approx([39 * HOUR_S, 42 * HOUR_S], abs=1e-3)
    np.testing.assert_allclose(line.get_ydata(), troubled.level_at(moments), atol=1e-4)
    assert "(3 h)" in " ".join(text.get_text() for text in figure.texts)
    to_the_end = levels.levels_figure(troubled, from_s=160 * HOUR_S)
    assert to_the_end.axes[0].get_xlim()[1] == style.day_numbers(
        troubled.episode.start, troubled.trace.end_s
    )


@pytest.mark.parametrize(
    ("from_s", "to_s"), [(-1.0, 10.0), (10.0, 10.0), (20.0, 10.0), (0.0, 1e9), (float("nan"), 5.0)]
)
def test_a_span_that_is_no_part_of_the_run_is_refused(results, from_s, to_s):
    with pytest.raises(InputError, match="is no part of this run; accepted: from 0 s"):
        levels.levels_figure(results["day"], "si", from_s, to_s)


@pytest.mark.parametrize("days", [5, 8, 10, 14, 20, 31, 60, 99, 120, 365])
@pytest.mark.parametrize("narrow", [True, False])
def test_an_axis_of_days_has_enough_labels_and_not_too_many(days, narrow):
    figure = style.new_figure(10.0, 3.0)
    axes = figure.add_subplot()
    start = handmade.START.replace(hour=15)
    style.time_axis(axes, start, 0.0, days * DAY_S, narrow=narrow)
    figure.canvas.draw()
    labels = [t.label1.get_text() for t in axes.xaxis._update_ticks() if t.label1.get_text()]
    assert 4 <= len(labels) <= 15
    assert len(set(labels)) == len(labels)


@pytest.mark.parametrize("seconds", [1e-9, 1e-3, 2.0])
def test_a_run_of_next_to_no_time_is_drawn_without_a_warning(seconds):
    result = handmade.real(handmade.station(2), handmade.constant(0.01), seconds)
    for draw in plots.FIGURES.values():
        draw(result).canvas.draw()  # a warning would be an error here


def test_curves_speak_of_branches_only_where_there_are_some(results):
    result = with_curves(results["week"], alike=True)
    assert "of their own branches" in " ".join(texts_of(curves.curves_figure(result)))
    pumps = tuple(dataclasses.replace(p, branch=None) for p in result.station.pumps)
    station = dataclasses.replace(
        result.station, pumps=pumps, levels_shown="below cover", cover_m=5.4
    )
    text = " ".join(texts_of(curves.curves_figure(Result(station, result.episode, result.trace))))
    assert "branch" not in text
    assert "at the stop level, 4.70 m below the cover" in text


def test_all_plots_are_written_as_png_of_fair_size(results, tmp_path):
    files = plots.save_all(results["day"], tmp_path)
    assert [file.name for file in files] == [
        "levels.png",
        "pumps.png",
        "alternation.png",
        "curves.png",
        "time_to_spill.png",
    ]
    for file in files:
        picture = imread(file)
        assert picture.shape[1] >= 1000
        assert picture[..., :3].min() < 0.2  # there is ink on it
        assert file.stat().st_size < 600_000


def test_a_short_run_is_a_line_and_a_long_one_says_that_it_shows_ranges(results):
    assert len(levels.levels_figure(results["day"]).axes) == 3
    figure = levels.levels_figure(results["quarter"])
    assert len(figure.axes) == 6
    titles = [axes.get_title("left") for axes in figure.axes]
    assert "range of the level" in titles[0]
    assert "the busiest day" in titles[3]


def test_the_busiest_day_is_the_one_with_the_outage(results):
    low, high, why = busiest.busiest_day(results["week"])
    assert (low, high) == (4 * DAY_S, 5 * DAY_S)
    assert why.startswith("Sun 7 Mar")
    assert "grid lost" in why


def test_the_busiest_day_of_a_run_from_noon_lies_between_midnights():
    start = handmade.START.replace(hour=12)
    result = handmade.March(
        handmade.station(2, 0.02), handmade.daily(3, 0.01), 3 * DAY_S, outage(1)
    ).result(start=start)
    low, high, _ = busiest.busiest_day(result)
    assert (low, high) == (0.5 * DAY_S, 1.5 * DAY_S)


def test_ranges_hold_every_value():
    t = np.array([0.0, 1.0, 2.0, 5.0, 9.0, 10.0])
    low, high = levels.ranges(
        t, np.array([3.0, 1.0, 2.0, 7.0, 4.0, 5.0]), np.array([0.0, 2, 4, 10])
    )
    assert low.tolist()[0] == 1.0
    assert high.tolist() == [3.0, 2.0, 7.0]
    assert low.tolist()[2] == 4.0


@pytest.mark.parametrize(
    ("days", "span_h"), [(1, 1), (3, 1), (7, 2), (31, 6), (120, 24), (365, 24), (4000, 168)]
)
def test_spans_of_the_overview_grow_with_the_run(days, span_h):
    edges = levels.span_edges(days * DAY_S)
    assert edges[1] - edges[0] == span_h * HOUR_S
    assert (edges[0], edges[-1]) == (0.0, days * DAY_S)


def test_amounts_by_span_add_up(results):
    runs = results["week"].pump_runs
    own = runs[runs["pump"] == "P1"]
    edges = levels.span_edges(7 * DAY_S)
    spread = rows.by_span(own, edges, own["volume_m3"].to_numpy())
    assert spread.sum() == pytest.approx(own["volume_m3"].sum(), rel=1e-12)
    assert (spread >= 0.0).all()


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12), st.floats(0.01, 0.3))
def test_spread_labels_keep_their_gap_order_and_room(places, gap):
    placed = style.spread(places, gap, 0.0, 1.0)
    assert min(placed) >= -1e-9
    assert max(placed) <= 1.0 + 1e-9
    fits = min(gap, 1.0 / max(len(places) - 1, 1))
    ordered = sorted(placed)
    assert all(b - a >= fits - 1e-9 for a, b in pairwise(ordered))
    for (a, p), (b, q) in pairwise(sorted(zip(places, placed, strict=True))):
        assert a == b or p < q


def test_spread_leaves_labels_with_room_where_they_are():
    assert style.spread([0.9, 0.1, 0.5], 0.1, 0.0, 1.0) == [0.9, 0.1, 0.5]


def test_set_points_name_every_level_from_the_floor_up(results):
    names = [name for name, _level in set_levels(results["day"].station)]
    assert names == [
        "stop",
        "engine stop",
        "lead start",
        "lag start",
        "engine start",
        "standby start",
        "high-level alarm",
        "spill",
    ]


@pytest.mark.parametrize("alike", [True, False])
def test_operating_points_lie_on_the_system_curve(results, alike):
    result = with_curves(results["week"], alike=alike)
    stop, start = curves.working_levels(result)
    found = curves.lineups(result.station, stop, start)
    names = [point.name for point in found]
    if alike:
        assert names == ["1 pump", "2 pumps", "3 pumps"]
    else:
        assert names == ["P1", "P2", "P3", "P1 + P2", "P1 + P2 + P3"]
    main = result.station.force_main
    for point in found:
        for level, at in ((stop, point.at_stop), (start, point.at_start)):
            asked = main.discharge_level_m - level + main.loss_m(at.total_m3s)
            assert at.header_m == pytest.approx(asked, abs=1e-6)
            drawn = sum(curves.at_header(p, np.array([at.header_m]))[0] for p in point.pumps)
            # the drawn curve is a polyline of 300 points through the pump's own
            assert drawn == pytest.approx(at.total_m3s, rel=2e-3)
    figure = curves.curves_figure(result)
    figure.canvas.draw()
    assert texts_outside(figure) == []


def test_plain_flows_by_number_are_shown_as_given(results):
    base = results["week"].station
    pumps = tuple(dataclasses.replace(p, fixed_flow_m3s=None) for p in base.pumps)
    station = dataclasses.replace(base, pumps=pumps, total_by_number_m3s=(0.030, 0.042, 0.050))
    found = curves.lineups(station, 0.7, 1.5)
    assert [round(point.at_start.total_m3s, 9) for point in found] == [0.030, 0.042, 0.050]
    result = Result(station, results["week"].episode, results["week"].trace)
    told = [t.get_text() for t in curves.curves_figure(result).findobj(Text)]
    assert {"30.0 L/s", "42.0 L/s", "50.0 L/s"} <= set(told)


def test_time_to_spill_marks_the_least_and_says_when_there_is_none(results):
    told = {
        name: " ".join(
            t.get_text() for t in plots.time_to_spill_figure(results[name]).findobj(Text)
        )
        for name in RUNS
    }
    assert "least: " in told["day"]
    least = results["day"].value("least time to spill") / 60.0
    at_s = results["day"].value("time of least time to spill")
    axes = plots.time_to_spill_figure(results["day"]).axes[0]
    curve = max(axes.lines, key=lambda one: len(one.get_xdata()))
    assert np.nanmin(curve.get_ydata()) == pytest.approx(least, abs=1e-3)
    lowest = curve.get_xdata()[np.nanargmin(curve.get_ydata())]
    assert lowest == pytest.approx(style.day_numbers(handmade.START, at_s), abs=1.0 / DAY_S)
    assert "it spilled, first at Sun 07:" in told["week"]
    assert "No point of spill was given" in told["hours"]
    assert "would never bring a spill" in told["still"]


def test_machines_differ_by_more_than_colour():
    looks = {(str(dashes), i // 4) for i, (_colour, dashes) in enumerate(style.MACHINES)}
    assert len(looks) == len(style.MACHINES)
    roles = {(look.hatch, look.height) for look in style.ROLES.values()}
    assert len(roles) == len(style.ROLES)


def test_plots_share_no_state_with_pyplot():
    code = "import sys; import stationsim.plots; assert 'matplotlib.pyplot' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)

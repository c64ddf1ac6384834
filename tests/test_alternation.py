"""Where alternation stops: the sentence that tells of it, and the picture that shows it."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.patches import Polygon, Rectangle, StepPatch

from stationsim import load_scenario, simulate
from stationsim.episode import ScriptedEvent
from stationsim.inflow.storm import Hydrograph
from stationsim.plots import alternation, alternation_figure, style
from stationsim.results import Result
from stationsim.testing import duplex, episode, reference_inflow, reference_station, staging, tank
from stationsim.wording.work import of_alternation, spans_without_swap

ROOT = Path(__file__).parents[1]
HOUR_S, DAY_S = 3600.0, 86_400.0
STAGED = {"stop_policy": "last on, first off", "lag_stop_m": 1.5}


def reference(rotation: str = "each cycle", every_s: float = DAY_S, **settings: Any) -> Any:
    levels = {"stop_m": 0.70, "lead_start_m": 1.50, "lag_start_m": 1.80}
    return reference_station(control=staging(rotation, every_s, **levels, **settings))


def steady(hours: float = 240.0, station: Any = None, *events: ScriptedEvent) -> Result:
    """36 L/s: more than one pump gives (30), less than two (42)."""
    station = reference(**STAGED) if station is None else station
    return simulate(station, episode(hours * HOUR_S, 0.036, *events, start_level_m=1.5))


def storm_week(**settings: Any) -> Result:
    happens = episode(7.0 * DAY_S, reference_inflow())
    hours = np.array([0.0, 3.0, 6.0, 20.0, 30.0, 60.0])
    storm = Hydrograph(2.0 * DAY_S, hours * HOUR_S, (0.0, 0.024, 0.030, 0.024, 0.015, 0.0))
    happens = dataclasses.replace(happens, inflow=(*happens.inflow, storm))
    return simulate(reference(**settings), happens)


# ---------------------------------------------------------------------- the sentence


def test_at_a_steady_36_litres_the_lead_has_one_start_and_the_lag_all_the_others() -> None:
    # own closed form, checked by hand: 0.30 m of 7.0686 m2 are 2.12058 m3, filled by 6 L/s in
    # 353.43 s and drawn by as much: 3600 / 706.86 = 5.09296 starts per hour, half of the time
    result = steady()
    totals = result.pump_totals.set_index("pump")
    assert totals.loc["P1", "starts"] == 1
    assert totals.loc["P1", "hours_h"] == pytest.approx(240.0, abs=1e-9)
    assert totals.loc["P2", "hours_h"] == pytest.approx(120.0, abs=0.1)
    lag = result.pump_runs.loc[result.pump_runs["role"] == "lag", "start_s"].to_numpy()
    assert (len(lag) - 1) / (lag[-1] - lag[0]) * HOUR_S == pytest.approx(5.09296, abs=5e-6)
    (said,) = (s for s in result.sentences() if "lternation" in s)
    assert said == (
        "Alternation stopped from Mon 1 Mar 00:00 to the end (10 d): P1 led on, for the water did"
        " not come down to its stop level, and no swap is made before that; meanwhile P2 made"
        f" {len(lag):,} starts. Worth a try: a longest run with a forced swap (control.max_run),"
        ' the stop policy "all together" or "first on, first off"; each has its price.'
    )
    told = result.sentences()
    assert told.index(said) == 1 + next(n for n, s in enumerate(told) if s.startswith("P1 and P2"))


@pytest.mark.parametrize(
    "cure",
    [
        {},  # all together
        {"stop_policy": "first on, first off", "lag_stop_m": 1.5},
        {**STAGED, "max_run_s": 4.0 * HOUR_S},
    ],
)
def test_each_cure_that_is_named_ends_it(cure: dict[str, Any]) -> None:
    result = steady(72.0, reference(**cure))
    assert of_alternation(result, "si") == ""
    starts = result.pump_totals["starts"].to_numpy()
    assert abs(starts[0] - starts[1]) <= 0.1 * starts.sum()


def test_a_storm_is_told_with_its_times_and_both_spans_when_there_are_two() -> None:
    result = storm_week(**STAGED)
    (span,) = spans_without_swap(result)
    assert list(span.lag_starts) == [("P1" if span.lead == "P2" else "P2")]
    runs = result.pump_runs
    within = (runs["start_s"] > span.start_s) & (runs["start_s"] < span.stop_s)
    assert span.lag_starts == {runs.loc[within, "pump"].iloc[0]: int(within.sum())}
    said = of_alternation(result, "si")
    assert said.startswith("Alternation stopped from Wed 03:")
    assert "did not come down to its stop level before then, and" in said
    cut = ScriptedEvent(4.0 * DAY_S, "grid loss", "grid", 60.0)  # the lead is stopped by it
    twice = of_alternation(steady(240.0, None, cut), "us")
    assert twice.startswith(
        "Alternation stopped twice, for 10 d in all, the longest from Fri 5 Mar"
    )


@pytest.mark.parametrize("rotation", ["each cycle", "run hours", "clock"])
def test_it_is_told_under_every_rotation_at_stops(rotation: str) -> None:
    assert of_alternation(steady(30.0, reference(rotation, **STAGED)), "si")


def test_it_is_not_told_where_the_order_is_fixed_or_no_swap_was_due() -> None:
    assert of_alternation(steady(30.0, reference("fixed", **STAGED)), "si") == ""
    weekly = reference("clock", 7.0 * DAY_S, **STAGED)  # next set time after the end
    assert of_alternation(steady(30.0, weekly), "si") == ""


def test_a_pump_that_runs_long_alone_or_beside_a_hand_is_no_alarm() -> None:
    alone = simulate(duplex(), episode(2.0 * DAY_S, 0.0299))  # the lead runs for hours, no lag
    assert alone.pump_totals["longest_run_s"].max() > 2.0 * HOUR_S
    assert of_alternation(alone, "si") == ""
    assert of_alternation(simulate(tank(), episode(DAY_S, 0.0199)), "si") == ""


@pytest.mark.parametrize("name", ["reference-station", "quarry-row-us", "weir-bank-recorded"])
def test_no_false_alarm_in_the_dry_weather_of_shipped_scenarios(name: str) -> None:
    station, happens = load_scenario(ROOT / "scenarios" / f"{name}.toml")
    happens = dataclasses.replace(happens, duration_s=min(happens.duration_s, 14.0 * DAY_S))
    assert of_alternation(simulate(station, happens), "si") == ""


# ---------------------------------------------------------------------- the picture


def texts(figure: Any) -> list[str]:
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    return [*legend, *(text.get_text() for text in figure.texts)]


def test_a_day_shows_each_run_in_its_row_and_its_role() -> None:
    result = simulate(duplex(), episode(DAY_S, 0.04))  # both pumps in each cycle
    figure = alternation_figure(result)
    strip, hours, starts = figure.axes
    assert [label.get_text() for label in strip.get_yticklabels()] == ["P1", "P2"]
    bars = [
        path for c in strip.collections if isinstance(c, PolyCollection) for path in c.get_paths()
    ]
    assert len(bars) == len(result.pump_runs)
    assert texts(figure)[:2] == ["lead", "lag"]
    looks = {c.get_hatch() for c in strip.collections if isinstance(c, PolyCollection)}
    assert style.ROLES["lag"].hatch in looks  # not by colour alone
    for axes, column in ((hours, "hours_h"), (starts, "starts")):
        total = result.pump_totals[column].to_numpy(dtype=float)
        ends = [line.get_ydata()[-1] for line in axes.lines[:2]]
        assert ends == pytest.approx(list(total - total.mean()), abs=1e-9)
        assert {line.get_linestyle() for line in axes.lines[:2]} == {"-", "--"}
        assert [t.get_text()[:3] for t in axes.texts] == ["P1:", "P2:"]


def test_a_week_shows_shares_and_where_no_swap_came() -> None:
    result = storm_week(**STAGED)
    figure = alternation_figure(result)
    assert "no swap: the lead led on" in texts(figure)
    (span,) = spans_without_swap(result)
    ends = style.day_numbers(result.episode.start, [span.start_s, span.stop_s])
    for axes in figure.axes:
        shades = [p for p in axes.patches if isinstance(p, (Polygon, Rectangle))]
        spanned = [sorted({x for x, _y in p.get_path().vertices}) for p in shades]
        boxes = [(p.get_x(), p.get_x() + p.get_width()) for p in shades if isinstance(p, Rectangle)]
        assert any(np.allclose(one, ends) for one in [*boxes, *(s for s in spanned if len(s) == 2)])
    strip = figure.axes[0]
    shares = [p for p in strip.patches if isinstance(p, StepPatch)]
    area_h = 0.0
    for patch in shares:  # the area of the bars is the run hours
        data = patch.get_data()
        tall = np.abs(np.asarray(data.baseline) - data.values) / 0.84
        area_h += float(np.sum(tall * np.diff(data.edges) * 24.0))
    assert area_h == pytest.approx(result.pump_totals["hours_h"].sum(), rel=1e-9)
    plain = alternation_figure(storm_week())
    assert "no swap: the lead led on" not in texts(plain)


def test_means_of_spans_keep_the_first_and_the_last_value() -> None:
    ramp = np.arange(0.0, 2.0 * 16 + 2.0)
    assert list(alternation._means(ramp)) == [0.0, 8.5, 24.5, 33.0]


def test_one_pump_and_a_still_station_are_drawn_too() -> None:
    one = alternation_figure(simulate(tank(), episode(DAY_S, 0.01)))
    assert any("nothing to alternate" in text for text in texts(one))
    still = alternation_figure(simulate(duplex(), episode(DAY_S, 0.0)))
    assert len(still.axes) == 3

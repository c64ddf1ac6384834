"""Plots of runs in which much goes wrong: rows for what stood, water that runs back, two meters."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from everything import HOUR, KINDS, day, event_of, everything, sampled
from matplotlib.text import Text
from test_plots import annotations_over_each_other, texts_outside

from stationsim import plots
from stationsim.episode import ScriptedEvent
from stationsim.equipment.faults import BY_KIND
from stationsim.plots import meters, rows, standing, style
from stationsim.plots.busiest import busiest_day
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import duplex, episode
from stationsim.vocabulary import ROLES
from stationsim.wording.sayings import STANDING


def at(kind: str, t_s: float, subject: str, lasts_s: float | None, **more: float) -> ScriptedEvent:
    return ScriptedEvent(t_s, kind, subject, lasts_s, **more)  # type: ignore[arg-type]


@functools.cache
def alone(kind: str) -> Result:
    return simulate(everything(), day(event_of(kind, 1500.0), hours=1.0))


def names_of(result: Result, *, seen_only: bool = False) -> list[str]:
    names = rows.row_names(result, (0.0, result.trace.end_s), seen_only=seen_only)
    return names[len(result.station.machine_names()) :]


@pytest.mark.parametrize("kind", sampled(sorted(STANDING)))
def test_what_stood_has_a_row_of_its_own_for_as_long_as_it_stood(kind: str) -> None:
    fault = BY_KIND[kind]
    who = {"pump": "P1 ", "machine": "P1 ", "engine": "E1 "}.get(fault.subject, "")
    name = who + fault.phrase.format(float="start float", alarm="high level")
    if kind.startswith("level signal"):
        name = "level signal wrong"
    found = {row.name: row for row in rows.state_rows(alone(kind), (0.0, HOUR))}
    (span,) = found[name].spans_s
    assert span[0] == pytest.approx(1500.0)
    ends_early = kind == "air-bound"  # its air rises out while it stands
    assert ends_early or span[1] == pytest.approx(3000.0), span
    others = [row for row in names_of(alone(kind)) if not row.startswith(("alarm", "spill"))]
    assert others == [name] or kind in ("generator fails",), others


def test_a_run_without_trouble_has_no_row_but_the_machines() -> None:
    result = simulate(duplex(), episode(4 * HOUR, 0.01))
    assert rows.row_names(result, (0.0, 4 * HOUR)) == ["P1", "P2"]


def test_who_fed_the_pumps_and_what_was_out_is_shown() -> None:
    events = (
        at("generator fails", 3000.0, "generator", 300.0),
        at("phase lost", 1500.0, "grid", 2400.0),
    )
    result = simulate(everything(), day(*events, hours=2.0))
    found = {row.name: row.spans_s for row in rows.state_rows(result, (0.0, 2 * HOUR))}
    power = result.power
    fed = power.loc[(power["source"] == "busbar") & (power["state"] == "generator")]
    assert found["fed by the generator"] == [
        (a, b) for a, b in zip(fed["start_s"], fed["stop_s"], strict=True)
    ]
    assert found["generator out"] == [(3000.0, 3300.0)]
    assert found["phase lost"] == [(1500.0, 3900.0)]
    assert "grid out" not in found


def test_rows_of_what_is_seen_leave_out_what_is_not() -> None:
    for kind, seen in (("clogged", False), ("controller stopped", True), ("telemetry lost", False)):
        names = names_of(alone(kind), seen_only=True)
        name = f"P1 {kind}" if kind == "clogged" else kind
        assert (name in names) == seen
        assert name in names_of(alone(kind))


def test_many_troubles_of_pumps_have_one_row_for_each_pump() -> None:
    kinds = ("clogged", "wearing", "check valve slow", "turning backwards")
    events = []
    for n in (1, 2, 3):
        for kind in kinds:
            event = event_of(kind, 1500.0 + n)
            events.append(at(kind, event.at_s, f"P{n}", 600.0 * n, amount=event.amount,
                             per_s=event.per_s, flow_left=event.flow_left))  # fmt: skip
    result = simulate(everything(), day(*events, hours=1.0))
    names = [row.name for row in standing.of_trouble(result)]
    assert names == ["P1 not sound", "P2 not sound", "P3 not sound"]


def test_every_role_has_a_look_of_its_own() -> None:
    assert [role.word for role in ROLES if role.word not in style.ROLES] == []
    looks = [(look.face, look.hatch, look.height) for look in style.ROLES.values()]
    assert len(set(looks)) == len(looks)
    hatches = [look.hatch for look in style.ROLES.values() if look.face == "white"]
    assert len(set(hatches)) == len(hatches)


@pytest.mark.parametrize("hours", [6.0, 24.0 * 9])
def test_water_that_runs_back_is_drawn_below_nought_and_only_then(hours: float) -> None:
    event = at("check valve open", HOUR, "P2", 2 * HOUR, amount=0.4)
    station = duplex(main_water_m3=6.0)
    back = simulate(station, episode(hours * HOUR, 0.01, event))
    plain = simulate(station, episode(hours * HOUR, 0.01))
    for result, shown in ((back, True), (plain, False)):
        flows = plots.levels_figure(result).axes[1]
        names = [text.get_text() for text in flows.get_legend().get_texts()]
        assert ("runs back" in names) == shown
        assert (flows.get_ylim()[0] < 0.0) == shown
    if hours < 24.0:
        flows = plots.levels_figure(back).axes[1]
        (line,) = [one for one in flows.lines if one.get_label() == "runs back"]
        drawn = np.asarray(line.get_ydata(), dtype=float)
        assert np.nanmin(drawn) == pytest.approx(1000.0 * np.min(back.sampled(
            np.linspace(0.0, hours * HOUR, 20_000)).other_m3s))  # fmt: skip
        assert np.isnan(drawn).any()


def test_meters_are_drawn_only_where_they_disagree_with_the_percent_written() -> None:
    leak = at("main leak", 30 * HOUR, "force main", 40 * HOUR, amount=0.08)
    result = simulate(duplex(), episode(96 * HOUR, 0.01, leak))
    assert "meters" in plots.figures_of(result)
    figure = meters.meters_figure(result)
    figure.canvas.draw()
    axes = figure.axes[0]
    written = [text.get_text() for text in axes.texts]
    parts = 100.0 * result.meters["difference_part"].to_numpy()
    assert written == [f"{part:.1f}" if part >= 0.05 else "0" for part in parts]
    tall = np.array([bar.get_height() for bar in axes.patches])
    assert tall[:4] == pytest.approx(result.meters["station_meter_m3"])
    assert tall[4:8] == pytest.approx(result.meters["plant_meter_m3"])
    assert texts_outside(figure) == []
    assert annotations_over_each_other(figure) == []
    sound = simulate(duplex(), episode(48 * HOUR, 0.01))
    assert "meters" not in plots.figures_of(sound)


def test_meters_of_a_long_run_are_summed_over_several_days() -> None:
    leak = at("main leak", 0.0, "force main", None, amount=0.05)
    result = simulate(duplex(), episode(70 * 24 * HOUR, 0.004, leak))
    figure = meters.meters_figure(result, "us")
    axes = figure.axes[0]
    bars = [bar.get_height() for bar in axes.patches]
    assert len(bars) == 2 * 24
    gallons = result.meters["station_meter_m3"].sum() / 0.003785411784
    assert sum(bars[:24]) == pytest.approx(gallons)
    assert {text.get_text() for text in axes.texts} == {"5.0"}
    assert axes.get_ylabel() == "volume of each 3 days [gal]"


def test_the_busiest_day_names_trouble_in_plain_words() -> None:
    events = (
        at("float stuck up", 30 * HOUR, "start float", HOUR), at("alarm off", 31 * HOUR,
        "high level", HOUR), at("plug valve closed", 32 * HOUR, "P1", HOUR, flow_left=0.5),
        at("generator fails", 33 * HOUR, "generator", HOUR),
    )  # fmt: skip
    result = simulate(everything(), day(*events, hours=60.0))
    _low, _high, why = busiest_day(result)
    assert "start float stuck up" in why
    assert "high level alarm off" in why
    assert "P1 plug valve closed" in why
    assert "generator generator" not in why


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(n, marks=pytest.mark.slow) for n in range(1, 3))]
)
def test_no_text_is_cut_and_no_label_lies_over_another_when_all_goes_wrong(seed: int) -> None:
    kinds = [kind for kind in KINDS if BY_KIND[kind].trouble]
    chosen = np.random.default_rng(seed).permutation(len(kinds))[:9]
    events = [event_of(kinds[k], 1200.0 + 700.0 * n) for n, k in enumerate(chosen)]
    result = simulate(everything(), day(*events, hours=4.0))
    for name, figure in plots.draw_all(result).items():
        figure.canvas.draw()
        assert texts_outside(figure) == [], name
        assert annotations_over_each_other(figure) == [], name
        labels = [text.get_text() for text in figure.findobj(Text)]
        assert not any("nan" in label.split() for label in labels)

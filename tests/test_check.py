"""``check`` as a whole: what is judged and what is not, tables, sentences, lines and figures."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest
from rated_stations import DAY_S, case_of, fitness_of, named, only, rated

from stationsim import vocabulary
from stationsim.equipment.pumps import PumpUnit
from stationsim.equipment.ratings import BypassConnection, DesignFlows, MotorPlate
from stationsim.limits import Limits, key_of
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import HeadCurve, PowerDraw
from stationsim.plots.check import bars_of, growth_figure, margins_figure, panels_of
from stationsim.scenario.load import load_scenario
from stationsim.simulation.session import simulate
from stationsim.station import AlarmSettings
from stationsim.studies.check import CRITERIA, check, criteria_of
from stationsim.studies.check.criterion import Judged, Told, judge, limit_source, value_text
from stationsim.studies.check.sanity import balances
from stationsim.studies.check.text import margin_part, sentences
from stationsim.testing import (
    duplex,
    engine_pump,
    episode,
    reference_inflow,
    reference_station,
    tank,
)

SCENARIOS = Path(__file__).parents[1] / "scenarios"
WEEK = episode(7 * DAY_S, reference_inflow())
OPTIONAL = {
    "engine fuel",  # there may be no engine
}


def half_built(**changes: object) -> object:
    """Two pumps of fixed flow and a bypass connection: no engine-driven pump, no force main."""
    station = dataclasses.replace(duplex(), alarms=AlarmSettings(), spillway=None, **changes)
    return rated(station, bypass=BypassConnection(0.15))


# ---------------------------------------------------------------- what is judged


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*.toml")), ids=lambda path: path.stem)
def test_every_criterion_is_asked_of_every_shipped_scenario(path: Path) -> None:
    fitness = criteria_of(*load_scenario(path))
    asked = {one.criterion for one in fitness.judged}
    assert asked <= set(CRITERIA)
    assert set(CRITERIA) - asked <= OPTIONAL
    for one in fitness.judged:
        judged = one.verdict != "not judged"
        assert one.reason.startswith("not judged: needs ") == one.is_open, one
        assert one.reason.startswith("not needed: ") == (not judged and not one.is_open), one
        assert math.isnan(one.value) != judged, one
        assert math.isnan(one.limit) != judged, one
        if judged:
            assert one.source, one
            assert (one.verdict == "pass") == (one.margin >= -1e-9 * abs(one.limit)), one


def test_a_half_built_station_is_checked_and_passes_nothing_that_it_does_not_tell() -> None:
    fitness = fitness_of(half_built())
    judged = {one.criterion for one in fitness.judged if one.verdict != "not judged"}
    assert judged == {
        "firm capacity", "active volume", "starts in an hour", "fill time",
        "detention in the well", "order of levels", "spacing of levels", "water balance",
    }  # fmt: skip
    firm = only(fitness.judged, "firm capacity")
    assert firm.reason.startswith("P1 out, P2 runs at the highest start level")
    assert only(fitness.judged, "bypass flow").reason == "not judged: needs bypass.flow"


def test_an_empty_pump_hall_of_figures_is_no_traceback() -> None:
    for station in (tank(), duplex(), half_built(), reference_station(spillway=None)):
        for when in (episode(3600.0, 0.0), episode(600.0, 0.01), WEEK):
            result = check("it", station, when)
            assert result.sentences("us")
            assert result.lines("us")


def test_a_criterion_without_a_number_cannot_be_judged() -> None:
    for value, limit in ((math.nan, 1.0), (1.0, math.nan)):
        with pytest.raises(ValueError, match="cannot be judged"):
            judge("it", "P1", value, "at most", limit, "flow", "", "")


@pytest.mark.parametrize(
    ("value", "side", "limit", "verdict"),
    [
        (1.0, "at most", 1.0, "pass"),
        (1.0 + 1e-12, "at most", 1.0, "pass"),  # rounding
        (1.0 + 1e-6, "at most", 1.0, "fail"),
        (1.0 - 1e-6, "at least", 1.0, "fail"),
        (1.0 - 1e-12, "at least", 1.0, "pass"),
        (math.inf, "at least", 1.0, "pass"),
        (math.inf, "at most", 1.0, "fail"),
        (1.0, "at least", math.inf, "fail"),
        (0.0, "at least", 0.0, "pass"),
        (-1e-3, "at least", 0.0, "fail"),
    ],
)
def test_a_value_at_its_limit_is_good(value: float, side: str, limit: float, verdict: str) -> None:
    one = judge("it", "P1", value, side, limit, "flow", "", "")  # type: ignore[arg-type]
    assert one.verdict == verdict


def test_every_limit_names_its_source_until_the_file_sets_it() -> None:
    for field in dataclasses.fields(Limits):
        case = case_of(duplex())
        assert limit_source(case, field.name) == field.metadata["source"]
        own = case_of(duplex(), limits={field.name: field.default})
        assert limit_source(own, field.name) == f"limits.{key_of(field.name)} of the scenario"


def test_limits_of_the_file_are_used(tmp_path: Path) -> None:
    plain = load_scenario(SCENARIOS / "reference-station.toml")
    own = load_scenario(
        SCENARIOS / "reference-station.toml",
        sets=['limits.longest_detention="9 min"', "limits.most_starts_per_hour=2"],
    )
    before, after = (criteria_of(*one).judged for one in (plain, own))
    for name, subject in (("detention in the well", "wet well"), ("starts in an hour", "P1")):
        assert only(before, name, subject).verdict == "pass"
        one = only(after, name, subject)
        assert one.verdict == "fail"
        assert one.source.startswith("limits.")


# ---------------------------------------------------------------- the run


def with_power(input_w: float, **changes: object) -> object:
    """One pump of 20 L/s that lifts from at most 2 m to 22 m."""
    pump = PumpUnit("P1", fixed_flow_m3s=0.020, power=PowerDraw(input_w=input_w))
    main = ForceMain((Pipe(100.0, 0.15, "none"),), 22.0)
    return dataclasses.replace(tank(), pumps=(pump,), force_main=main, **changes)


@pytest.mark.parametrize(("part", "verdict"), [(1.5, "pass"), (1.0, "pass"), (0.99, "fail")])
def test_energy_below_what_the_lift_takes_fails(part: float, verdict: str) -> None:
    # own closed form: rho g 20 m x 20 L/s is what the lift alone draws
    least_w = 998.2 * 9.80665 * 20.0 * 0.020
    from stationsim.physics.pumps import RHO

    station = with_power(part * least_w * RHO / 998.2)
    case = case_of(station)
    one = only(balances(case, simulate(station, case.episode)), "energy")
    assert one.value == pytest.approx(100.0 / part, rel=1e-9)
    assert one.verdict == verdict


def test_energy_counts_what_the_electric_pumps_pumped_only() -> None:
    # the engine-driven pump carries an outage, and draws nothing from the grid
    from stationsim.episode import ScriptedEvent

    station = with_power(5e3, engine_pump=engine_pump())
    cut = ScriptedEvent(3600.0, "grid loss", "grid", duration_s=80_000.0)
    plain, dark = (
        balances(case_of(station, when), simulate(station, when))
        for when in (episode(DAY_S, 0.01), episode(DAY_S, 0.01, cut))
    )
    assert only(dark, "energy").value == pytest.approx(only(plain, "energy").value, rel=0.15)


def test_water_balance_of_a_run_that_does_not_close_fails() -> None:
    case = case_of(duplex())
    result = simulate(case.station, case.episode)
    assert only(balances(case, result), "water balance").verdict == "pass"
    result.trace.spilled_m3 += 1.0
    assert only(balances(case, result), "water balance").verdict == "fail"


def test_a_long_episode_is_run_for_a_week_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    from stationsim.studies.check import fitness

    ran = []

    def noted(station: object, when: object) -> object:
        ran.append(when.duration_s)
        return simulate(station, when)

    monkeypatch.setattr(fitness, "simulate", noted)
    for days in (1, 7, 30):
        criteria_of(duplex(), episode(days * DAY_S, 0.01))
    assert ran == [DAY_S, 7 * DAY_S, 7 * DAY_S]


# ---------------------------------------------------------------- tables and words


def test_tables_are_tidy_and_in_si() -> None:
    station = rated(duplex(), design=DesignFlows(growth_per_year=0.02, year=2027))
    tables = check("two", station, WEEK).tables
    assert set(tables) == {"criteria", "allowable_time", "growth"}
    criteria = tables["criteria"]
    assert list(criteria) == [
        "station", "criterion", "subject", "verdict", "value", "side", "limit", "margin", "unit",
        "reason", "source",
    ]  # fmt: skip
    assert set(criteria["unit"]) <= {"m3/s", "m/s", "s", "m", "m3", "W", "1/h", "A", "VA", "%", ""}
    assert set(criteria["station"]) == {"two"}
    assert not criteria.duplicated(["criterion", "subject"]).any()
    firm = criteria[criteria["criterion"] == "firm capacity"].iloc[0]
    assert (firm["value"], firm["unit"]) == (pytest.approx(0.03), "m3/s")
    missing = criteria[criteria["verdict"] == "not judged"]
    assert missing[["value", "limit", "margin"]].isna().all().all()
    assert set(missing["side"]) == {""}
    assert list(tables["growth"])[:3] == ["station", "year", "peak_m3s"]
    empty = check("two", reference_station(spillway=None), WEEK).tables
    assert (len(empty["allowable_time"]), len(empty["growth"])) == (0, 0)
    assert list(empty["growth"]) == list(tables["growth"])


def test_sentences_of_one_station_to_the_letter() -> None:
    ratings = {
        "design": DesignFlows(peak_m3s=0.032, growth_per_year=0.02, year=2027, until_year=2030),
        "limits": {"longest_detention_s": 500.0},
    }
    result = check("ref", rated(reference_station(), **ratings), WEEK)
    told = """
        7 of 9 criteria that could be judged pass, 2 fail; 29 could not be judged for want of data,
        and count as open.

        The run's own check of water holds.

        Fails: firm capacity (station) 30.0 L/s, at least 32.0 L/s; detention in the well (wet well)
        9.4 min, at most 8.3 min.

        Nearest to its limit of those that pass: starts in an hour (P1) 2.39 an hour, at most 6 an
        hour.

        Too small today (2027): the firm capacity.

        At 2 % a year from 2027, nothing else is outgrown by 2030, when the peak is 34.0 L/s.

        This is a screening. Limits are examples of published practice unless the scenario sets
        them: the rule of the place decides, and for supply and surge somebody licensed for them."""
    assert result.sentences() == [" ".join(part.split()) for part in told.split("\n\n")]
    in_us = result.sentences("us")[2]
    assert in_us.startswith("Fails: firm capacity (station) 476 gpm, at least 507 gpm;")


def test_lines_show_failures_first_and_fold_like_pumps_and_like_needs() -> None:
    station = rated(duplex((0.03, 0.03)), design=DesignFlows(peak_m3s=0.04))
    lines = check("two", station, WEEK).lines("us")
    assert lines[0] == "duplex: criteria, value against limit, and what was compared"
    assert lines[2].startswith("fail  firm capacity, station")
    assert "476 gpm" in lines[2]
    assert "at least 634 gpm" in lines[2]
    (starts,) = [line for line in lines if line.startswith("pass  starts in an hour")]
    assert starts.startswith("pass  starts in an hour, P1, P2")
    rest = lines[lines.index("not judged, for want of data:") :]
    assert (
        "  needs [service]: running current; starting current; starting current, all at once"
        in (rest)
    )
    assert "  needs pump.NAME.plate: rated_power, poles: motor starts by size (P1, P2)" in rest
    assert max(len(line) for line in rest) <= 100
    begins, ends = (
        lines.index(head)
        for head in ("where the limits come from:", "not judged, for want of data:")
    )
    sources = " ".join(line.strip() for line in lines[begins:ends])
    assert "firm capacity: MIL-HDBK-1005/9A (1997) 2.5.3.2" in sources
    assert "surge" not in sources
    # what the screen needs stands there in the units that were asked for
    told = lines[:begins] + lines[ends:]
    assert not any(" L/s" in line or " m3" in line for line in told)


def test_flows_that_shrink_outgrow_nothing_and_what_is_too_small_is_so_today() -> None:
    for growth, told in (
        (-0.01, "At -1 % a year from 2027, nothing else is outgrown by 2030, when the peak is"),
        (0.07, "At 7 % a year from 2027, nothing else is outgrown by 2030, when the peak is"),
    ):
        design = DesignFlows(peak_m3s=0.05, growth_per_year=growth, year=2027, until_year=2030)
        found = check("two", rated(duplex(), design=design), WEEK).sentences()
        (today,) = [n for n, line in enumerate(found) if line.startswith("Too small today")]
        assert found[today] == "Too small today (2027): the firm capacity."
        assert found[today + 1].startswith(told)
        fitness = fitness_of(duplex(), design=design)
        words = [text.get_text() for axes in growth_figure(fitness).axes for text in axes.texts]
        assert words == [" too small today "]
    later = DesignFlows(peak_m3s=0.029, growth_per_year=0.02, year=2027, until_year=2030)
    found = check("two", rated(duplex(), design=later), WEEK).sentences()
    # own closed form: 29 x 1.02^2 = 30.2 L/s, over the 30 that one pump carries
    assert "At 2 % a year from 2027, outgrown first: the firm capacity in 2029." in found


def test_checks_of_the_run_stand_apart_from_the_criteria_of_the_station() -> None:
    station = with_power(5e3)
    fitness = fitness_of(station)
    said = sentences(fitness, "si")
    assert "The run's own checks of water and energy hold." in said
    counted = sum(one.verdict != "not judged" for one in fitness.judged) - 2
    assert f" of {counted} criteria that could be judged pass" in said[0]
    broken = [
        one._replace(verdict="fail") if one.criterion == "energy" else one for one in fitness.judged
    ]
    said = sentences(dataclasses.replace(fitness, judged=tuple(broken)), "si")
    assert f" of {counted} criteria that could be judged pass" in said[0]
    assert "The run's own check of energy does not hold." in said
    assert "The run's own check of water holds." in said


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (115.0, "duration", "115 s"),
        (594.0, "duration", "9.9 min"),
        (600.0, "duration", "10 min"),
        (3600.0, "duration", "1 h"),
        (3598.0, "duration", "1 h"),
        (86_400.0, "duration", "24 h"),
        (math.inf, "duration", "never"),
        (-120.0, "duration", "-2 min"),
        (4.77465, "1/h", "4.77 an hour"),
        (6.0, "1/h", "6 an hour"),
        (235.4, "A", "235 A"),
        (132_000.0, "VA", "132 kVA"),
        (43.21, "%", "43 %"),
        (1e-15, "", "1e-15"),
        (0.0300, "flow", "30.0 L/s"),
    ],
)
def test_values_are_told_finely_enough(value: float, unit: str, text: str) -> None:
    assert value_text(value, unit, "si") == text  # type: ignore[arg-type]


def test_findings_carry_value_limit_margin_unit_and_source() -> None:
    result = check("ref", reference_station(), WEEK)
    (firm,) = [f for f in result.findings if f.place == "firm capacity, station"]
    assert (firm.verdict, firm.value, firm.limit) == ("pass", "30.0 L/s", "at least 17.0 L/s")
    assert (firm.margin, firm.unit) == (pytest.approx(0.013), "m3/s")
    assert firm.source.startswith("MIL-HDBK-1005/9A")
    (surge,) = [f for f in result.findings if f.place.startswith("surge")]
    assert (surge.verdict, surge.value, surge.limit, surge.margin) == ("not judged", "", "", None)


def test_every_criterion_and_column_stands_in_the_vocabulary() -> None:
    words = {entry.word: entry for entry in vocabulary.ENTRIES if entry.kind == "criterion"}
    assert set(words) == set(CRITERIA)
    station = rated(duplex(), design=DesignFlows(growth_per_year=0.02, year=2027))
    for name, table in check("two", station, WEEK).tables.items():
        assert any(entry.word == name for entry in vocabulary.TABLES), name
        for column in table:
            assert any(entry.word == column for entry in vocabulary.COLUMNS), (name, column)


# ---------------------------------------------------------------- figures


def _judged(criterion: str, subject: str, value: float, limit: float) -> Judged:
    return judge(criterion, subject, value, "at most", limit, "flow", ("x", Told(1.0, "flow")), "")


def test_bars_share_like_pumps_and_leave_out_what_says_nothing() -> None:
    found = bars_of(
        [
            _judged("starts in an hour", "P1", 3.0, 6.0),
            _judged("starts in an hour", "P2", 3.0, 6.0),
            _judged("starts in an hour", "P3", 9.0, 6.0),
            _judged("water balance", "run", 1e-15, 1e-9),
            judge("order of levels", "station", 0.3, "at least", 0.0, "level", "", ""),
            judge("storage", "station", math.inf, "at least", 60.0, "duration", "", ""),
        ]
    )
    assert [(bar.label, bar.passes, bar.part) for bar in found] == [
        ("starts in an hour, P1, P2", True, 0.5),
        ("starts in an hour, P3", False, -0.5),
    ]


def test_margin_over_the_limit_says_nothing_for_a_limit_of_nought() -> None:
    assert margin_part(_judged("it", "P1", 3.0, 6.0)) == 0.5
    none = judge("it", "P1", 3.0, "at least", 0.0, "flow", "", "")
    assert math.isnan(margin_part(none))


def test_figures_are_drawn_with_all_bars_and_panels() -> None:
    curve = HeadCurve.from_coefficients(30.0, 0.0, -9000.0)
    station = dataclasses.replace(
        duplex(), pumps=tuple(PumpUnit(f"P{n}", curve=curve) for n in (1, 2)),
        force_main=ForceMain((Pipe(300.0, 0.2),), 15.0),
    )  # fmt: skip
    design = DesignFlows(peak_m3s=0.03, growth_per_year=0.02, year=2027)
    fitness = fitness_of(station, design=design, plates={"P1": MotorPlate(rated_w=9e3, poles=4)})
    axes = margins_figure(fitness).axes[0]
    assert len(axes.patches) == len(bars_of(fitness.judged)) == len(axes.get_yticklabels())
    assert fitness.growth is not None
    assert [panel.label for panel in panels_of(fitness.growth, "us")] == [
        "flow [gpm]", "starts in an hour [1/h]", "velocity in the main [ft/s]",
    ]  # fmt: skip
    assert len(growth_figure(fitness, "us").axes) == 3
    bare = fitness_of(duplex())
    assert bare.growth is None
    assert len(margins_figure(bare, "us").axes) == 1
    with pytest.raises(ValueError, match="no growth is given"):
        growth_figure(bare)
    assert "growth" not in check("two", duplex(), WEEK).draw
    assert named(bare.judged, "energy")[0].verdict == "not judged"

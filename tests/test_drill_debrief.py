"""The end of a drill: litres for each decision by hand, chains that add up, truth beside seen."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from any_drill import played, scenario, scripted

from stationsim import vocabulary
from stationsim.episode import Episode, ScriptedEvent
from stationsim.metrics.spilled import spilled_by
from stationsim.physics.spill import Spillway
from stationsim.physics.well import Well, cylinder
from stationsim.scenario.load import load
from stationsim.simulation.session import simulate
from stationsim.station import AlarmSettings, Station
from stationsim.studies.drill import Drill, debrief, play
from stationsim.studies.drill.account.beside import truth_of
from stationsim.studies.drill.account.courses import NOBODY, PLAN, YOU, some_lines
from stationsim.study_result import StudyResult
from stationsim.testing import duplex, episode, tank

SCENARIOS = Path(__file__).parent.parent / "scenarios"

REFERENCE = (
    "wait", "send me for mobile generator", "wait until 08:05", "wait until 08:05",
    "wait until 08:05", "connect mobile generator", "haul", "wait 2h", "off P2",
    "wait 1h", "done",
)  # fmt: skip
QUAY = (
    "wait", "call second", "call tanker", "wait", "send me", "wait 2h", "look", "wait", "haul 2",
    "call bypass", "wait 2h", "haul 3", "send second", "wait 30 min", "connect bypass",
    "wait 50 min", "wait 50 min", "connect bypass", "wait 2h", "done",
)  # fmt: skip
HOLM = (
    "wait", "send me for bypass", "call second", "wait 2h", "wait", "send second", "wait 1h",
    "wait", "look", "haul", "connect bypass", "wait 4h", "done",
)  # fmt: skip
BY_HAND = ("wait 10 min", "hand P1", "wait 20 min", "off P1", "hand P2", "wait 1 h", "auto P2")


def without_people(what: Episode) -> Episode:
    return replace(what, response=None)


@pytest.fixture(scope="module")
def ended() -> dict[str, tuple[Drill, StudyResult]]:
    """Drills on shipped scenarios, each with a refused line, and one without people."""
    found = {}
    for name, lines in (
        ("reference-plan", REFERENCE),
        ("woad-quay", QUAY),
        ("madder-holm", HOLM),
    ):
        drill = scripted(Drill(*scenario(name)), lines)
        found[name] = drill, debrief(drill)
    station, what = scenario("reference-plan")
    drill = scripted(Drill(station, without_people(what)), BY_HAND)
    found["nobody to call"] = drill, debrief(drill)
    return found


def csvs(study: StudyResult | object, folder: Path) -> dict[str, bytes]:
    """Return every table as it is written."""
    if isinstance(study, StudyResult):
        study.save(folder, plots=False)
    else:
        study.save(folder)
    return {path.name: path.read_bytes() for path in sorted(folder.glob("*.csv"))}


# ---------------------------------------------------------------------------- by hand

INFLOW_M3S, PUMP_M3S, CREST_M, START_M, END_S = 0.012, 0.03, 4.0, 1.0, 4.0 * 3600.0
AREA_M2 = math.pi * 3.0**2 / 4.0
ON_S, OFF_S = 7200.0, 7500.0


def cylinder_case() -> tuple[Station, Episode]:
    """A cylinder of 3 m with plain loss above 4 m, whose pump stands in off from the start."""
    plain = tank(flow_m3s=PUMP_M3S, start_m=3.5, stop_m=0.5, spillway=Spillway(CREST_M))
    off = ScriptedEvent(0.0, "off", "P1")
    what = episode(END_S, INFLOW_M3S, off, start_level_m=START_M)
    return replace(plain, well=Well((cylinder(3.0),))), what


def test_litres_of_each_decision_are_those_of_the_sum_by_hand():
    drill = Drill(*cylinder_case())
    drill.wait_until(ON_S)
    drill.type("hand P1")
    drill.wait_until(OFF_S)
    drill.type("off P1")
    table = debrief(drill).tables["decisions"]

    full_s = AREA_M2 * (CREST_M - START_M) / INFLOW_M3S
    drawn_m3 = (PUMP_M3S - INFLOW_M3S) * (OFF_S - ON_S)
    assert full_s < ON_S  # it spills already
    assert drawn_m3 < AREA_M2 * CREST_M  # and does not fall dry
    full_again_s = OFF_S + drawn_m3 / INFLOW_M3S
    assert full_again_s < END_S
    nobody_m3 = INFLOW_M3S * (END_S - full_s)
    by_then_m3 = INFLOW_M3S * (ON_S - full_s)
    after_m3 = INFLOW_M3S * (END_S - full_again_s)

    near = {"rel": 1e-6}
    assert table["line"].tolist() == ["hand P1", "off P1"]
    assert table["spilled_before_m3"].to_numpy() == pytest.approx(by_then_m3, **near)
    assert table["left_m3"].tolist() == pytest.approx([by_then_m3, by_then_m3 + after_m3], **near)
    bought = [nobody_m3 - by_then_m3, -after_m3]
    assert table["bought_m3"].tolist() == pytest.approx(bought, **near)
    # 'off' without 'hand' finds the pump stopped; 'hand' without 'off' runs it to the end
    assert table["without_m3"].tolist() == pytest.approx([nobody_m3, by_then_m3], **near)
    also = [nobody_m3 - by_then_m3 - after_m3, -after_m3]
    assert table["also_m3"].tolist() == pytest.approx(also, **near)
    seen_m = CREST_M - drawn_m3 / AREA_M2
    assert table["level_seen_m"].tolist() == pytest.approx([CREST_M, seen_m], rel=1e-6)


def test_what_has_spilled_by_a_time_is_the_flow_times_the_time_with_plain_loss():
    result = simulate(*cylinder_case())
    full_s = AREA_M2 * (CREST_M - START_M) / INFLOW_M3S
    times = np.array([0.0, full_s - 1.0, full_s + 100.0, 9000.0, END_S])
    by_hand = INFLOW_M3S * np.maximum(times - full_s, 0.0)
    assert spilled_by(result.course, times) == pytest.approx(by_hand, rel=1e-6, abs=1e-9)


# ---------------------------------------------------------------------------- chains


@pytest.mark.parametrize("name", ["reference-plan", "woad-quay", "madder-holm", "nobody to call"])
def test_the_chain_adds_up_to_nobody_less_you(ended, name):
    drill, study = ended[name]
    table = study.tables["decisions"]
    nobody = simulate(drill.station, without_people(drill.episode)).trace.spilled_m3
    yours = drill.finish().trace.spilled_m3
    assert nobody > 1.0
    assert len(table) == len(drill.decided) >= 3
    assert table["bought_m3"].sum() == pytest.approx(nobody - yours, rel=1e-9, abs=1e-9)
    assert table["left_m3"].iloc[-1] == yours
    if name != "nobody to call":
        assert any(one.by == "refused" for one in drill.told)
        assert abs(nobody - yours) > 1.0


@pytest.mark.parametrize("seed", range(4))
def test_the_chain_adds_up_whatever_is_typed(seed):
    station, what = scenario("woad-quay", 48.0 * 3600.0)
    drill = Drill(station, what, on_site=True)
    drill.wait_until(33.9 * 3600.0)
    played(drill, seed, 24)
    table = debrief(drill).tables["decisions"]
    nobody = simulate(station, without_people(what)).trace.spilled_m3
    yours = drill.finish().trace.spilled_m3
    assert len(table) > 0
    assert table["bought_m3"].sum() == pytest.approx(nobody - yours, rel=1e-9, abs=1e-9)


def assert_links_are_whole_runs(drill: Drill, study: StudyResult) -> None:
    """Hold each link against all lines typed up to it: waits, looks and refused ones as well."""
    for one, left_m3 in zip(drill.decided, study.tables["decisions"]["left_m3"], strict=True):
        other = drill.again()
        play(other, drill.actions[: one.action + 1])
        assert other.finish().trace.spilled_m3 == pytest.approx(left_m3, rel=1e-12, abs=1e-12)


def test_each_link_is_the_run_in_which_all_lines_up_to_it_are_typed(ended):
    for name in ("reference-plan", "woad-quay"):
        assert_links_are_whole_runs(*ended[name])


@pytest.mark.parametrize(
    ("name", "from_h", "seed"), [("woad-quay", 33.9, 8), ("madder-holm", 62.0, 6)]
)
def test_so_it_is_whatever_is_typed(name, from_h, seed):
    station, what = scenario(name, (from_h + 14.0) * 3600.0)
    drill = Drill(station, what, on_site=True)
    drill.wait_until(from_h * 3600.0)
    played(drill, seed, 24)
    assert len(drill.decided) >= 3
    study = debrief(drill)
    assert_links_are_whole_runs(drill, study)
    assert study.tables["decisions"]["left_m3"].nunique() > 1


def test_what_is_left_out_alone_is_the_run_without_that_line(ended):
    drill, study = ended["woad-quay"]
    numbers = {one.action for one in drill.decided}
    yours = drill.finish().trace.spilled_m3
    table = study.tables["decisions"]
    for one, row in zip(drill.decided, table.to_dict("records"), strict=True):
        kept = [
            action
            for n, action in enumerate(drill.actions)
            if n != one.action and (n in numbers or action.line == "look")
        ]
        other = drill.again()
        play(other, kept)
        assert other.finish().trace.spilled_m3 == row["without_m3"]
        assert row["also_m3"] == row["without_m3"] - yours
    assert (table["also_m3"] > 1.0).any()


@pytest.mark.parametrize("name", ["reference-plan", "woad-quay", "madder-holm", "nobody to call"])
def test_waits_and_refused_lines_may_be_left_out(ended, name, tmp_path):
    drill, _study = ended[name]
    lines = some_lines(drill, range(len(drill.decided)))
    assert len(lines) < len(drill.actions)
    other = drill.again()
    play(other, lines)
    assert csvs(other.finish(), tmp_path / "some") == csvs(drill.finish(), tmp_path / "all")


# ---------------------------------------------------------------------------- the same bytes


@pytest.mark.parametrize("name", ["reference-plan", "hemp-staithe", "reed-corner", "woad-quay"])
def test_with_nobody_acting_the_tables_are_those_of_the_run_without_people(name, tmp_path):
    station, what = scenario(name)
    drill = Drill(station, what)
    while not drill.over:
        drill.type("wait")
    found = csvs(debrief(drill), tmp_path / "drill")
    plain = csvs(simulate(station, without_people(what)), tmp_path / "run")
    assert set(found) - set(plain) == {"decisions.csv", "told.csv", "truth.csv", "courses.csv"}
    assert {table: found[table] for table in plain} == plain
    assert len(drill.told) > 0


@pytest.mark.parametrize("name", ["reference-plan", "woad-quay", "madder-holm", "nobody to call"])
def test_played_again_it_ends_in_the_same_bytes(ended, name, tmp_path):
    drill, study = ended[name]
    other = drill.again()
    play(other, drill.actions)
    again = debrief(other)
    assert csvs(again, tmp_path / "again") == csvs(study, tmp_path / "once")
    assert again.lines() == study.lines()
    assert again.sentences("us") == study.sentences("us")


# ---------------------------------------------------------------------------- the courses


def test_the_courses_are_those_of_runs_of_their_own(ended):
    drill, study = ended["madder-holm"]
    nobody = simulate(drill.station, without_people(drill.episode))
    plan = simulate(drill.station, drill.episode)
    runs = {NOBODY: nobody, PLAN: plan, YOU: drill.finish()}
    table = study.tables["courses"].set_index(["course", "metric"])["value"]
    assert list(study.tables["courses"]["course"].unique()) == list(runs)
    for course, run in runs.items():
        assert table[course, "volume spilled"] == run.trace.spilled_m3
        for metric in ("spill hours", "hours above high-level alarm", "greatest level", "spills"):
            assert table[course, metric] == pytest.approx(run.value(metric), rel=1e-9)
        assert table[course, "time of first spill"] == run.trace.spills[0].start_s
    first_known = min(row.reached_s for row in plan.trace.alarms if row.reached_s > 0.0)
    assert table[PLAN, "time of first alarm known"] == first_known
    assert math.isnan(table[NOBODY, "time of first alarm known"])
    assert table[YOU, "time of first order"] == drill.decided[0].t_s
    on_site = next(one.t_s for one in drill.told if one.text.startswith("you stand on site"))
    assert table[YOU, "time of first on site"] == on_site


def test_without_people_in_the_file_there_is_no_plan(ended):
    _drill, study = ended["nobody to call"]
    assert set(study.tables["courses"]["course"]) == {NOBODY, YOU}
    assert not any("plan" in line for line in study.sentences())


def test_from_power_loss_to_pumping_is_the_length_of_the_outage_when_nobody_acts(ended):
    _drill, study = ended["reference-plan"]
    table = study.tables["courses"].set_index(["course", "metric"])["value"]
    assert table[NOBODY, "time from power loss to pumping"] == pytest.approx(8 * 3600.0, abs=1e-3)
    assert table[YOU, "time from power loss to pumping"] < 2 * 3600.0


# ---------------------------------------------------------------------------- truth beside seen


def test_truth_says_when_each_thing_came_to_be_known(ended):
    drill, study = ended["reference-plan"]
    rows = {(row["subject"], row["event"]): row for row in study.tables["truth"].to_dict("records")}
    told = {one.text.partition(",")[0]: one for one in drill.told}
    power = told["alarm power failed"]
    assert rows["grid", "grid lost"]["told_s"] == power.t_s
    assert rows["grid", "grid lost"]["told_by"] == "phone"
    spill = rows["station", "spill begins"]
    assert spill["told_s"] == told["you stand on site"].t_s > spill["t_s"]
    assert spill["told_by"] == "panel"
    after = [row for row in study.tables["truth"].to_dict("records") if row["t_s"] > drill.left_s]
    assert after
    assert all(row["told_by"] == "" for row in after)
    assert study.tables["truth"]["t_s"].is_monotonic_increasing


def test_whoever_is_done_comes_to_know_of_nothing_more():
    drill = scripted(Drill(*scenario("reference-plan")), ("send me", "wait 2 min", "done"))
    study = debrief(drill)
    assert len(drill.reached) > 0  # the phone rings all the same
    truth = study.tables["truth"]
    assert (truth["event"] == "alarm raised").any()
    assert (truth["told_by"] == "").all()
    assert "No alarm reached you before you were done." in study.sentences()
    assert any("you were done" in line for line in study.lines())


def test_trouble_that_nobody_could_notice_stays_unknown():
    loaded = load(SCENARIOS / "reference-plan.toml", events=("07:30 level signal frozen for 5 h",))
    drill = Drill(loaded.station, loaded.episode)
    while not drill.over:
        drill.type("wait")
    study = debrief(drill)
    rows = study.tables["truth"].set_index("event")
    assert rows.loc["level signal frozen", "told_by"] == ""
    assert math.isnan(rows.loc["level signal frozen", "told_s"])
    never = next(line for line in study.sentences() if "never came to know" in line)
    assert "level signal frozen" in never
    assert "grid lost" not in never


def test_what_is_found_by_looking_around_is_known_from_then_on():
    station = duplex()
    clogged = ScriptedEvent(600.0, "clogged", "P1", flow_left=0.5)
    drill = Drill(station, episode(7200.0, 0.02, clogged))
    drill.wait_until(1800.0)
    drill.type("look")
    drill.wait_until(3600.0)
    row = next(one for one in truth_of(drill) if one.event == "clogged")
    assert row.seen == "nobody"
    assert row.told_s == 1800.0  # a look around takes no time where nobody says how long
    assert row.told_by == "panel"
    blind = Drill(station, episode(7200.0, 0.02, clogged))
    blind.wait_until(3600.0)
    assert math.isnan(next(one for one in truth_of(blind) if one.event == "clogged").told_s)


def test_starts_and_stops_of_routine_are_no_truth_to_be_told(ended):
    for _drill, study in ended.values():
        assert not set(study.tables["truth"]["event"]) & {"start", "stop"}


def test_every_word_that_was_told_stands_in_its_table(ended):
    drill, study = ended["woad-quay"]
    table = study.tables["told"]
    assert table["text"].tolist() == [one.text for one in drill.told]
    assert table["t_s"].tolist() == [one.t_s for one in drill.told]


# ---------------------------------------------------------------------------- words


def test_every_table_column_and_metric_is_explained(ended):
    words = {(entry.kind, entry.word) for entry in (*vocabulary.TABLES, *vocabulary.COLUMNS)}
    metrics = {e.word: e.unit for e in (*vocabulary.METRICS, *vocabulary.DRILL_METRICS)}
    _drill, study = ended["woad-quay"]
    for name, table in study.tables.items():
        assert ("table", name) in words
        for column in table.columns:
            assert ("column", column) in words, column
    courses = study.tables["courses"]
    for metric, unit in zip(courses["metric"], courses["unit"], strict=True):
        assert metrics[metric] == unit


def test_the_screen_has_the_account_the_courses_and_the_decisions(ended):
    for drill, study in ended.values():
        lines = study.lines()
        assert len(lines) < 100
        assert max(len(line) for line in lines) < 80
        for n, one in enumerate(drill.decided, 1):
            right = " ".join(word for line in lines for word in line[41:].split())
            assert f" {n}. {one.line}" in right
        assert 3 <= len(study.sentences()) <= 6
        assert study.cautions
        assert study.asked["actions"] == len(drill.actions)


def test_where_nothing_spills_the_levels_are_compared():
    station = replace(duplex(), alarms=AlarmSettings(high_level_m=1.8))
    drill = scripted(Drill(station, episode(7200.0, 0.02)), ("wait 5 min", "hand P1"))
    first, *rest = debrief(drill).sentences()
    assert first.startswith("Nothing spilled, whoever acted: with you it rose to ")
    assert "stood above the alarm for" in first
    assert "No decision brought down what spilled." in rest


def test_nothing_ordered_is_said():
    drill = Drill(*scenario("reference-plan"))
    drill.type("done")
    study = debrief(drill)
    assert "You ordered nothing." in study.sentences()
    assert "Nothing was ordered" in study.lines()[-1]
    assert len(study.tables["decisions"]) == 0


def test_us_units_say_gallons_and_feet(ended):
    _drill, study = ended["madder-holm"]
    text = "\n".join([*study.sentences("us"), *study.lines("us")])
    assert " gal" in text
    assert " ft" in text
    assert " m3" not in text


# ---------------------------------------------------------------------------- the figure


@pytest.mark.parametrize(
    ("name", "courses"), [("reference-plan", 3), ("woad-quay", 3), ("nobody to call", 2)]
)
def test_the_figure_has_every_course_and_a_number_for_each_decision(ended, name, courses):
    drill, study = ended[name]
    figure = study.figure("drill", "us")
    level, spilled = figure.axes[:2]
    labels = [text.get_text() for text in level.get_legend().get_texts()]
    assert labels == list(study.tables["courses"]["course"].unique())
    assert len(labels) == courses
    numbers = [text.get_text() for text in level.texts if text.get_text().isdigit()]
    assert numbers == [str(n) for n in range(1, len(drill.decided) + 1)]
    yours = spilled.lines[-1].get_ydata()
    gallons = drill.finish().trace.spilled_m3 / 0.003785411784  # NIST SP 811
    assert yours[-1] == pytest.approx(gallons, rel=1e-6)


def test_a_level_that_the_panel_read_wrong_is_drawn():
    plain = load(SCENARIOS / "reference-plan.toml")
    wrong = load(SCENARIOS / "reference-plan.toml", events=("09:00 level signal frozen for 3 h",))
    drawn = []
    for loaded in (plain, wrong):
        drill = scripted(Drill(loaded.station, loaded.episode), ("wait", "send me for mobile"))
        for line in ("wait 2h", "wait 2h", "wait 2h"):
            drill.type(line)
        drill.type("connect mobile generator")
        drill.wait_until(7.0 * 3600.0)
        figure = debrief(drill).figure("drill")
        texts = [text.get_text() for axes in figure.axes for text in axes.texts]
        handles = [line.get_label() for axes in figure.axes for line in axes.lines]
        legends = [
            text.get_text()
            for axes in figure.axes
            if axes.get_legend() is not None
            for text in axes.get_legend().get_texts()
        ]
        drawn.append(
            any(
                "as the panel saw it" in one.replace("\n", " ")
                for one in (*texts, *handles, *legends)
            )
        )
    assert drawn == [False, True]


@pytest.mark.parametrize("seconds", [1.0, 60.0, 600.0, 3599.0])
@pytest.mark.parametrize("flow_m3s", [0.0113, 0.0207, 0.031])
def test_what_has_spilled_early_in_a_spill_is_told_to_the_litre(seconds, flow_m3s):
    """Constant inflow, nothing runs: flow times time from the first drop on."""
    station = duplex()
    case = episode(8 * 3600.0, flow_m3s, start_level_m=1.0)
    drill = Drill(station, case, on_site=True)
    for line in ("off P1", "off P2", "done"):
        drill.type(line)
    result = drill.finish()
    begins_s = result.trace.spills[0].start_s
    (spilled,) = spilled_by(result.course, np.array([begins_s + seconds]))
    assert spilled == pytest.approx(flow_m3s * seconds, rel=1e-6)


def test_a_look_that_was_refused_is_not_typed_again():
    """Without the order that kept hands busy it would be obeyed, and keep them from the next."""
    stands, case = scenario("sedge-hythe")
    case = replace(case, events=tuple(e for e in case.events if e.kind == "level signal frozen"))
    drill = Drill(stands, case, on_site=True)
    drill.wait_until(2.8 * 3600.0)
    for line in ("mend level sensor", "look"):
        drill.type(line)
    drill.wait_until(drill.now_s + 1500.0)  # the step takes 20 min
    drill.type("hand P1")
    assert len(drill.refused) == 1
    typed = [action.line for action in some_lines(drill, (1,))]
    assert typed == ["hand P1"]

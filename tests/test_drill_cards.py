"""Cards for a table-top: due times and costs by hand, and what may not stand on a card."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import pandas as pd
import pytest
from page_reading import read

from stationsim.chance import Range
from stationsim.episode import Episode, ScriptedEvent
from stationsim.errors import InputError, OutputError
from stationsim.pages.cards import cards_page_of, key_page_of, write_cards
from stationsim.people.response import Person, Response, Task, Tool
from stationsim.scenario.load import load
from stationsim.simulation.session import simulate
from stationsim.station import AlarmSettings, Station
from stationsim.studies.drill import said
from stationsim.studies.drill.cards import text
from stationsim.studies.drill.cards.deck import Pack, cards
from stationsim.studies.drill.cards.lateness import LATER_S, Lateness, Runs, lateness
from stationsim.studies.drill.cards.moments import plan_of
from stationsim.studies.drill.cards.supposed import supposed
from stationsim.study_result import Source
from stationsim.testing import duplex, episode
from stationsim.vocabulary import COLUMNS, TABLES

SCENARIOS = Path(__file__).parents[1] / "scenarios"
NAMES = sorted(file.stem for file in SCENARIOS.glob("*.toml"))
HEAVY = ("quarry-row-us", "hemp-staithe", "madder-holm")
TOLERANCE_S = 1.01
"""A due time is found to a second."""


def made(name: str, system: str = "si", **asked: object) -> Pack:
    loaded = load(SCENARIOS / f"{name}.toml")
    source = Source(name, loaded.digest, loaded.text, loaded.files)
    return cards(loaded.station, loaded.episode, [source], system=system, **asked)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plan() -> Pack:
    return made("reference-plan")


@pytest.fixture(scope="module")
def woad() -> Pack:
    return made("woad-quay")


def of(result: Pack, kind: str) -> pd.DataFrame:
    table = result.cards.tables["cards"].merge(
        result.key.tables["card_key"], on=["card", "time", "t_s", "clock"], validate="one_to_one"
    )
    return table[table.kind == kind].reset_index(drop=True)


# ---------------------------------------------------------------------- closed form


INFLOW_M3S, AREA_M2, CREST_M, DONE_S = 0.01, 10.0, 4.0, 1500.0
"""A tank of 10 m2 fills at 1 mm/s; its only pump is reset 1500 s after it has failed."""


def reset_in_time(start_m: float) -> tuple[Station, Episode]:
    station = dataclasses.replace(
        duplex((0.03,)), alarms=AlarmSettings(high_level_m=3.0, low_level_m=0.5)
    )
    response = Response(
        people=(Person("operator", travels=Range.point(1200.0)),),
        call_list=("operator",),
        tasks=(Task("reset", takes=Range.point(300.0)),),
    )
    fails = ScriptedEvent(0.0, "fails", "P1", duration_s=0.0, resets_itself=False)
    whole = episode(6.0 * 3600.0, INFLOW_M3S, fails, start_level_m=start_m)
    return station, dataclasses.replace(whole, response=response)


def by_hand_m3(start_m: float, late_s: float) -> float:
    """Inflow times the time for which it spills: until the pump runs, from the full tank on."""
    full_s = (CREST_M - start_m) * AREA_M2 / INFLOW_M3S
    return INFLOW_M3S * max(0.0, DONE_S + late_s - full_s)


@pytest.mark.parametrize("start_m", [1.5, 3.0, 2.2])
def test_due_times_and_costs_are_inflow_times_delay(start_m: float):
    # own computation: constant inflow, upright walls, all above the crest is lost at once
    result = cards(*reset_in_time(start_m))
    seen, there = of(result, "seen"), of(result, "on site")
    full_s = (CREST_M - start_m) * AREA_M2 / INFLOW_M3S
    slack_s = max(0.0, full_s - DONE_S)
    assert seen.t_s[0] == pytest.approx(0.0, abs=1e-5)
    for row, done_s in ((seen.iloc[0], 1200.0), (there.iloc[0], DONE_S)):
        assert row.plan_s == pytest.approx(done_s)
        assert row.due_s == pytest.approx(done_s + slack_s, abs=TOLERANCE_S)
        assert row.slack_s == pytest.approx(slack_s, abs=TOLERANCE_S)
        assert row.in_time_m3 == pytest.approx(by_hand_m3(start_m, 0.0), rel=1e-6, abs=1e-9)
        for minutes in (15, 30, 60):
            more_m3 = by_hand_m3(start_m, 60.0 * minutes) - by_hand_m3(start_m, 0.0)
            assert row[f"later_{minutes}_m3"] == pytest.approx(more_m3, rel=1e-5, abs=1e-6)


def test_what_is_too_late_is_said_to_be():
    due = cards(*reset_in_time(3.0)).cards.tables["cards"].due[0]
    assert due.startswith("at once. It is too late to lose no water at all")
    assert "5.00 m3 spill; the first 15 min later cost 9.00 m3 more" in due


def test_a_due_time_is_told_no_later_than_it_is():
    # due 2200 s after midnight for the way, 36 min and 40 s: the last full minute is 00:36
    table = cards(*reset_in_time(1.5)).cards.tables["cards"]
    assert table.due_s[0] == pytest.approx(2200.0, abs=TOLERANCE_S)
    assert "somebody on site by Mon 00:36, so that nothing spills" in table.due[0]


def test_lateness_of_a_known_curve():
    def spilled(late_s: float) -> float:
        return 2.0 + max(0.0, late_s - 5000.0) / 1000.0

    found = lateness(spilled)
    assert found.slack_s == pytest.approx(5000.0, abs=TOLERANCE_S)
    assert found.slack_s <= 5000.0 + 1e-2
    assert found.more_m3 == (0.0, 0.0, 0.0)
    assert not found.saves_all
    never = lateness(lambda _late_s: 0.0, 7200.0)
    assert never == Lateness(math.inf, 7200.0, 0.0, (0.0, 0.0, 0.0))


# ---------------------------------------------------------------------- hand-made runs


def later(response: Response, by_s: float, *ordered: str) -> Response:
    tools = tuple(
        dataclasses.replace(
            one,
            delivered=Range(*(by_s + value for value in dataclasses.astuple(one.delivered))),
        )
        if one.name in ordered and one.delivered is not None
        else one
        for one in response.tools
    )
    return dataclasses.replace(response, late_s=by_s, tools=tools)


@pytest.mark.parametrize(
    ("name", "ordered"),
    [("reference-plan", ()), ("woad-quay", ("tanker", "bypass pump"))],
)
def test_a_later_call_costs_what_a_run_with_it_spills(
    name: str, ordered: tuple[str, ...], request: pytest.FixtureRequest
):
    result = request.getfixturevalue({"reference-plan": "plan", "woad-quay": "woad"}[name])
    loaded = load(SCENARIOS / f"{name}.toml")
    response = loaded.episode.response
    assert response is not None

    def spilled_m3(by_s: float) -> float:
        whole = dataclasses.replace(loaded.episode, response=later(response, by_s, *ordered))
        return simulate(loaded.station, whole).trace.spilled_m3

    row = of(result, "seen").iloc[0]
    in_time_m3 = spilled_m3(0.0)
    assert row.in_time_m3 == pytest.approx(in_time_m3, rel=1e-12, abs=1e-12)
    costs = (row.later_15_m3, row.later_30_m3, row.later_60_m3)
    for late_s, more_m3 in zip(LATER_S, costs, strict=True):
        assert more_m3 == pytest.approx(spilled_m3(late_s) - in_time_m3, rel=1e-9, abs=1e-9)
    assert spilled_m3(float(row.slack_s)) <= in_time_m3 + 1e-6
    assert spilled_m3(float(row.slack_s) + 2.0) > in_time_m3 + 1e-6


def test_a_later_step_costs_what_a_run_with_it_spills(woad: Pack):
    loaded = load(SCENARIOS / "woad-quay.toml")
    response = loaded.episode.response
    assert response is not None
    row = next(r for r in of(woad, "on site").itertuples() if "connect bypass" in r.plan_does)

    def spilled_m3(by_s: float) -> float:
        tasks = tuple(
            dataclasses.replace(
                one, takes=Range(*(by_s + value for value in dataclasses.astuple(one.takes)))
            )
            if one.kind == "connect bypass pump"
            else one
            for one in response.tasks
        )
        whole = dataclasses.replace(
            loaded.episode, response=dataclasses.replace(response, tasks=tasks)
        )
        return simulate(loaded.station, whole).trace.spilled_m3

    assert row.later_60_m3 == pytest.approx(spilled_m3(3600.0), rel=1e-9)
    assert row.later_60_m3 > 1.0
    assert spilled_m3(float(row.slack_s)) <= 1e-6
    assert spilled_m3(float(row.slack_s) + 2.0) > 1e-6


def test_what_is_supposed_costs_what_a_run_with_it_spills(plan: Pack):
    loaded = load(SCENARIOS / "reference-plan.toml")
    response = loaded.episode.response
    assert response is not None
    alone = of(plan, "what if")
    nobody = dataclasses.replace(loaded.episode, response=None)
    spilled_m3 = simulate(loaded.station, nobody).trace.spilled_m3
    in_time_m3 = simulate(loaded.station, loaded.episode).trace.spilled_m3
    # the only one who is called does not answer, or there is no set: as if nobody came
    for words in ("nobody answers", "is not in the yard"):
        (row,) = (one for one in alone.itertuples() if words in one.you_see)
        assert f"{spilled_m3 - in_time_m3:.0f} m3 more than in time" in row.cost
        assert f"{spilled_m3:.0f} m3 in all" in row.cost
    # left in the yard: the way there and back, and collecting it
    (row,) = (one for one in alone.itertuples() if "was left in the yard" in one.you_see)
    task = dataclasses.replace(response.tasks[0], brought_for=())
    forgotten = dataclasses.replace(response, tasks=(task, *response.tasks[1:]))
    whole = dataclasses.replace(loaded.episode, response=forgotten)
    assert f"{simulate(loaded.station, whole).trace.spilled_m3:.1f} m3 in all" in row.cost


@pytest.mark.parametrize("name", ["reference-plan", "woad-quay", "hemp-staithe", "sedge-hythe"])
def test_where_no_alarm_leaves_nobody_is_called_by_one(name: str):
    loaded = load(SCENARIOS / f"{name}.toml")
    runs = Runs(loaded.station, loaded.episode)
    nobody, plan = runs.run(None), plan_of(runs)
    assert plan is not None
    (one,) = (each for each in supposed(plan, nobody, 0.0) if "no alarm leaves" in each.words)
    assert one.station is not None
    events = (*loaded.episode.events, *one.events)
    whole = dataclasses.replace(loaded.episode, response=one.response, events=events)
    trace = simulate(one.station, whole).trace
    assert any(row.alarm == "high level" for row in trace.alarms)
    assert not any(row.alarm == "telemetry lost" for row in trace.alarms)
    assert not any(row.task == "called" for row in trace.crew)
    # what is sent at all is sent once a round has come by and has put the telemetry right
    mended = [row.stop_s for row in trace.crew if row.subject == "telemetry"]
    for row in trace.alarms:
        assert math.isnan(row.sent_s) or row.sent_s >= min(mended, default=math.inf)
    # while with the far end of the file somebody is called for it at once
    as_it_is = simulate(loaded.station, whole).trace
    assert any(row.alarm == "telemetry lost" for row in as_it_is.alarms)
    assert any(row.task == "called" for row in as_it_is.crew)


def test_where_no_alarm_leaves_the_card_costs_what_nobody_loses():
    # own computation: nobody comes, so it spills from the full tank to the end of the six hours
    result = cards(*reset_in_time(1.5))
    (row,) = (one for one in of(result, "what if").itertuples() if "no alarm" in one.you_see)
    full_s = (CREST_M - 1.5) * AREA_M2 / INFLOW_M3S
    lost_m3 = INFLOW_M3S * (6.0 * 3600.0 - full_s)
    assert f"{lost_m3:.0f} m3 more than in time, {lost_m3:.0f} m3 in all" in row.cost


def test_less_by_accident_is_no_advice_to_be_late():
    found = Lateness(120.0, 900.0, 10.0, (2.0, -3.0, 5.0))
    assert found.by_accident
    later = text.later_text(found, "si")
    assert "30 min later: 3.00 m3 less, by the accident of when it comes; 60 min later: 5" in later
    due = text.due_text(found, episode(3600.0, 0.01), "si", 600.0, 300.0, "somebody on site")
    assert due.startswith("as soon as it can be done. No due time is told")
    steady = found._replace(more_m3=(0.0, 2.0, 5.0))
    assert not steady.by_accident
    due = text.due_text(steady, episode(3600.0, 0.01), "si", 600.0, 300.0, "somebody on site")
    assert "somebody on site by Mon 00:12" in due


def test_where_it_goes_up_and_down_no_due_time_stands_on_a_card():
    table = of(made("sedge-hythe"), "seen")
    row = table.iloc[0]
    assert min(row.later_15_m3, row.later_30_m3, row.later_60_m3) < 0.0 < row.later_15_m3
    assert math.isnan(row.due_s)
    assert math.isnan(row.slack_s)
    assert " by " not in row.due.split("No due time", maxsplit=1)[0]
    assert "less, by the accident of when it comes" in row.cost


# ---------------------------------------------------------------------- what stands on a card


def test_cards_tell_what_reaches_a_phone_and_when(woad: Pack):
    first = of(woad, "seen").iloc[0]
    assert first.clock == "Tue 10:08"
    assert first.you_see.splitlines() == [
        "by phone: alarm pump failed, P1",
        "by phone: alarm pump failed, P2",
    ]
    assert first.decide == "Whom do you call, who goes, and what do they bring?"


def test_cards_on_site_show_the_panel_at_that_moment(woad: Pack):
    first = of(woad, "on site").iloc[0]
    loaded = load(SCENARIOS / "woad-quay.toml")
    level_m = simulate(loaded.station, loaded.episode).level_at(pd.array([first.t_s]).to_numpy())
    assert f"level {level_m[0]:.2f} m by the panel" in first.you_see
    assert "mend NAME" not in first.you_see


def truths(result: Pack, loaded_events: tuple[ScriptedEvent, ...]) -> set[str]:
    """All that only the key may tell: flows, true levels, trouble that stands, the plan."""
    key = result.key.tables["card_key"]
    lines = {line for cell in key.truth for line in cell.split("\n")}
    lines |= {part for line in lines for part in line.split("; ") if "pumped" in part}
    words = {"inflow", "trouble that stands", "true level", "Truth", "scripted"}
    plan = {line for cell in key.plan_does for line in cell.split("\n") if line}
    return {*lines, *words, *plan, *(event.kind for event in loaded_events)}


@pytest.mark.parametrize(
    "name",
    [
        "reference-plan", "woad-quay", pytest.param("hemp-staithe", marks=pytest.mark.slow),
        "sallow-green", "heron-ditch",
    ],
)  # fmt: skip
def test_nothing_of_the_truth_stands_in_the_cards_files(name: str, tmp_path: Path):
    result = made(name)
    loaded = load(SCENARIOS / f"{name}.toml")
    folder = write_cards(result.cards, result.key, tmp_path / "pack")
    assert sorted(path.name for path in folder.iterdir()) == ["cards", "key", "manifest.json"]
    files = [folder / "manifest.json", *(folder / "cards").iterdir()]
    assert sorted(file.name for file in files[1:]) == [
        "cards.csv", "cards.html", "manifest.json", "sentences.txt", "table_sheet.csv",
    ]  # fmt: skip
    hidden = truths(result, loaded.episode.events)
    key = (folder / "key" / "key.html").read_text(encoding="utf-8")
    assert "true level" in key
    for file in files:
        written = file.read_text(encoding="utf-8")
        found = [words for words in hidden if words in written]
        assert not found, f"{file.name}: {found}"
    assert (folder / "key" / "scenario.toml").is_file()
    assert (folder / "key" / "card_key.csv").is_file()


@pytest.mark.slow
def test_a_sensor_that_lies_is_told_by_the_key_until_somebody_has_looked():
    loaded = load(SCENARIOS / "woad-quay.toml", events=["after 3600 s level signal frozen"])
    result = cards(loaded.station, loaded.episode)
    table, key = result.cards.tables["cards"], result.key.tables["card_key"]
    assert all("level signal frozen, level sensor" in cell for cell in key.truth)
    lines = table.drop(columns="card").apply(lambda row: " ".join(map(str, row)), axis=1)
    there = table.index[table.kind == "on site"]
    assert there[0] >= 1  # something is seen before somebody is there
    before = [*lines[: there[0]], *lines[table.kind == "what if"]]
    assert not any("sensor" in one or "signal" in one for one in before)
    # whoever has looked around knows of which thing, and nobody ever of which kind of fault
    assert "something is amiss with: level sensor" in lines[there[0]]
    assert not any("frozen" in one for one in lines)


def test_a_file_without_people_has_no_due_time_and_says_so():
    result = made("heron-ditch")
    table = result.cards.tables["cards"]
    assert len(table) > 3
    assert set(table.due) == {"none worked out: the file names nobody who could act"}
    assert table.due_s.isna().all()
    assert any(line.startswith("If nobody acts: ") for line in table.if_later)


def test_minutes_left_are_those_of_the_run_in_which_nobody_acts():
    result = made("bleach-field-manhole")
    loaded = load(SCENARIOS / "bleach-field-manhole.toml")
    first = result.cards.tables["cards"].iloc[0]
    trace = simulate(loaded.station, dataclasses.replace(loaded.episode, response=None)).trace
    left_min = (trace.spills[0].start_s - first.t_s) / 60.0
    assert left_min < 59.0
    assert f"the spill in {left_min:.0f} min" in first.if_later


def test_a_call_that_nobody_takes_is_taken_on_the_cards():
    result = made("hemp-staithe")
    assert "By the file nobody takes the call" in " ".join(result.key.sentences())
    loaded = load(SCENARIOS / "hemp-staithe.toml")
    by_file_m3 = simulate(loaded.station, loaded.episode).trace.spilled_m3
    (row,) = (one for one in of(result, "what if").itertuples() if "nobody answers" in one.you_see)
    assert f"{by_file_m3:.0f} m3 in all" in row.cost
    past = [due for due in result.cards.tables["cards"].due if due.startswith("past: ")]
    assert past


def test_who_is_not_in_the_file_is_refused():
    with pytest.raises(InputError, match="nobody in the file is called 'Nobody'"):
        made("reference-plan", who="Nobody")


def test_a_station_without_a_level_of_spill_has_no_due_time():
    station, whole = reset_in_time(1.5)
    result = cards(dataclasses.replace(station, spillway=None), whole)
    assert "none worked out: the file has no level of spill" in set(
        result.cards.tables["cards"].due
    )


def test_words_of_the_tables_stand_in_the_vocabulary(plan: Pack):
    names = {entry.word for entry in TABLES}
    words = {entry.word for entry in COLUMNS}
    tables = {**plan.cards.tables, **plan.key.tables}
    assert set(tables) == {"cards", "table_sheet", "card_key"}
    assert set(tables) <= names
    assert {column for table in tables.values() for column in table.columns} <= words


def test_us_units_are_told_in_gallons_and_feet():
    written = made("reference-plan", "us").cards.tables["cards"].to_csv(index=False)
    assert " gal more" in written
    assert " ft by the panel" in written
    assert " m3 " not in written


# ---------------------------------------------------------------------- pages and folders


def test_the_caution_stands_on_every_card(woad: Pack):
    page = read(cards_page_of(woad.cards))
    found = page.all("article")
    assert len(found) == len(woad.cards.tables["cards"])
    for card, row in zip(found, woad.cards.tables["cards"].itertuples(), strict=True):
        assert said.CARD_CAUTION in card.text
        assert f"Card {row.card}" in card.text
        assert row.clock in card.text
        assert row.decide in card.text
        for blank in ("We decide", "Who", "At"):
            assert blank in card.text


def test_the_sheet_for_the_table_has_cautions_in_full_levels_roles(woad: Pack):
    (sheet,) = (
        one for one in read(cards_page_of(woad.cards)).all("section")
        if one.attributes.get("class") == "sheet"
    )  # fmt: skip
    for line in (*said.CAUTIONS, "Objectives", "Rules", "Roles", "high-level alarm 2.20 m"):
        assert line in sheet.text
    assert "NAME" not in sheet.text
    assert ": call " not in sheet.text


def test_the_key_ends_with_blank_lines_for_what_was_learnt(woad: Pack):
    page = read(key_page_of(woad.cards, woad.key))
    learnt = page.all("section")[-1]
    assert learnt.text.strip().startswith("What was learnt")
    assert "By when" in learnt.text
    assert len(page.all("section")) == len(woad.cards.tables["cards"]) + 1


def test_the_key_tells_the_margin_in_whole_minutes(woad: Pack):
    sections = read(key_page_of(woad.cards, woad.key)).all("section")
    told = 0
    for section, row in zip(sections[:-1], woad.key.tables["card_key"].itertuples(), strict=True):
        if not math.isfinite(row.slack_s):
            assert "margin" not in section.text
            continue
        hours, minutes = divmod(int(row.slack_s // 60.0), 60)
        words = [f"{hours} h"] * (hours > 0) + [f"{minutes} min"] * (minutes > 0)
        assert f"margin {' '.join(words)}" in section.text if words else "no margin"
        told += 1
    assert told >= 2


MARKUP = "<script>alert(1)</script>\"&'<b>"


def test_nothing_of_a_scenario_becomes_markup():
    station, whole = reset_in_time(1.5)
    response = whole.response
    assert response is not None
    person = dataclasses.replace(response.people[0], name=MARKUP)
    tool = Tool(f"set {MARKUP}", fetched=Range.point(60.0))
    task = dataclasses.replace(response.tasks[0], tool=tool.name)
    hostile = Response(people=(person,), call_list=(MARKUP,), tools=(tool,), tasks=(task,))
    result = cards(
        dataclasses.replace(station, name=MARKUP), dataclasses.replace(whole, response=hostile)
    )
    for html in (cards_page_of(result.cards), key_page_of(result.cards, result.key)):
        page = read(html)
        assert not page.all("script", "b")
        assert MARKUP in page.text
        assert "default-src 'none'" in html


def test_a_folder_that_is_there_is_refused_or_replaced(plan: Pack, tmp_path: Path):
    folder = write_cards(plan.cards, plan.key, tmp_path / "pack")
    first = {file.name: file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    with pytest.raises(OutputError, match="already exists"):
        write_cards(plan.cards, plan.key, folder)
    write_cards(plan.cards, plan.key, folder, force=True)
    assert first == {f.name: f.read_bytes() for f in folder.rglob("*") if f.is_file()}
    facts = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    assert facts["study"] == "drill cards"
    assert facts["folders"] == ["cards", "key"]
    assert facts["warnings"] == []
    assert facts["caution"]
    told = (folder / "key" / "sentences.txt").read_text(encoding="utf-8")
    assert "Whoever has the scenario file can have this key made." in told


def test_made_twice_they_are_the_same(plan: Pack):
    again = made("reference-plan")
    for one, other in ((plan.cards, again.cards), (plan.key, again.key)):
        assert one.tables
        for name, table in one.tables.items():
            pd.testing.assert_frame_equal(table, other.tables[name])


@pytest.mark.parametrize(
    "name",
    [pytest.param(one, marks=pytest.mark.slow) if one in HEAVY else one for one in NAMES],
)
def test_every_scenario_has_its_cards(name: str, tmp_path: Path):
    result = made(name)
    table, key = result.cards.tables["cards"], result.key.tables["card_key"]
    assert list(table.card) == list(key.card)
    in_time = table[table.kind != "what if"]
    assert in_time.t_s.is_monotonic_increasing
    assert (table.due.str.len() > 0).all()
    folder = write_cards(result.cards, result.key, tmp_path / "pack")
    page = read((folder / "cards" / "cards.html").read_text(encoding="utf-8"))
    assert len(page.all("article")) == len(table)
    read((folder / "key" / "key.html").read_text(encoding="utf-8"))

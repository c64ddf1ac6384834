"""Exercises of a drill: what is drawn, whether it is worth playing, and who is told what.

The checks are our own computations: plain runs by hand, the reader of scenario texts, and the drill
itself, played by what the key says would help.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
import re
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest

from stationsim.chance import Streams
from stationsim.episode import Episode
from stationsim.errors import ActionError, InputError, OutputError
from stationsim.inflow.daily import Constant
from stationsim.inflow.segments import total_inflow
from stationsim.pages import write_sheets
from stationsim.scenario.load import Loaded, load
from stationsim.simulation.session import simulate
from stationsim.studies.drill import said
from stationsim.studies.drill.crew.hands import who_answers
from stationsim.studies.drill.drill import Drill
from stationsim.studies.drill.exercises import slips
from stationsim.studies.drill.exercises.practice import (
    Exercise,
    Practice,
    exercise,
    practice,
    write_practice,
)
from stationsim.studies.drill.exercises.tried import Figures, figures
from stationsim.studies.drill.exercises.troubles import MAINS, Draw, Place, Remedy
from stationsim.study_result import StudyResult
from stationsim.testing import duplex, episode

FOLDER = Path(__file__).parent.parent / "scenarios"
SCENARIOS = tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))
PLAN = "reference-plan"
HOUR = 3600.0


@functools.cache
def loaded(name: str) -> Loaded:
    return load(FOLDER / f"{name}.toml")


@functools.cache
def drawn(name: str, count: int = 4, seed: int = 42) -> Practice:
    it = loaded(name)
    return practice(it.station, it.episode, count, seed)


def as_plain(one: Exercise) -> dict[str, Any]:
    """Return an exercise without the inflow, which is compared by its flows."""
    times = np.linspace(0.0, one.episode.duration_s, 97)
    return {
        **{f.name: getattr(one, f.name) for f in dataclasses.fields(one) if f.name != "episode"},
        "episode": repr(dataclasses.replace(one.episode, inflow=())),
        "flows": total_inflow(one.episode).at(times).tolist(),
    }


# ---------------------------------------------------------------------- what is drawn


def test_the_same_number_and_seed_give_the_same_exercise_whatever_the_count() -> None:
    it = loaded(PLAN)
    seven = exercise(it.station, it.episode, 7, 42)
    for count in (12, 40):
        of_class = drawn(PLAN, count).exercises[6]
        assert as_plain(of_class) == as_plain(seven)


def test_another_number_and_another_seed_give_another_exercise() -> None:
    told = [one.truth() for one in drawn(PLAN, 40).exercises]
    assert len(set(told)) == 40
    other = drawn(PLAN, 4, 43).exercises
    assert all(one.truth() != told[n] for n, one in enumerate(other))


def test_two_stations_share_no_draw() -> None:
    kinds = {
        name: tuple(one.troubles[0].name for one in drawn(name, 12).exercises)
        for name in ("reference-station", "fulling-croft")
    }
    assert kinds["reference-station"] != kinds["fulling-croft"]


def test_a_class_of_forty_has_many_different_troubles() -> None:
    exercises = drawn(PLAN, 40).exercises
    mains = {wrong.event.kind for one in exercises for wrong in one.troubles[0].wrongs}
    assert len(mains) >= 5
    hidden = {trouble.name for one in exercises for trouble in one.troubles[1:]}
    assert len(hidden) >= 3
    times = {one.episode.start for one in exercises}
    assert len(times) >= 35


def test_first_kinds_are_spread_as_multiples_of_the_golden_ratio() -> None:
    # three gaps, of which a Fibonacci number of points, here 13, leaves two: phi**5 and phi**6
    marks = sorted(Draw(Streams(5, n), 0, "there").mark(0) for n in range(1, 14))
    gaps = np.diff([*marks, marks[0] + 1.0])
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    assert gaps.max() == pytest.approx(golden**5, abs=1e-9)
    assert gaps.min() == pytest.approx(golden**6, abs=1e-9)


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_shipped_station_can_have_what_is_drawn_for_it(name: str) -> None:
    for one in drawn(name).exercises:
        events = one.episode.events
        texts = [f"after {event.at_s:g} s {slips.event_words(event)}" for event in events]
        # what the file itself scripts stands before what is added
        read = load(FOLDER / f"{name}.toml", events=texts).episode.events
        keys = {dataclasses.replace(event, cause="") for event in read}
        for event in events:
            assert dataclasses.replace(event, cause="") in keys
        assert one.tried.acting == "acting counts"
        assert one.tried.worth


@pytest.mark.parametrize("name", [PLAN, "madder-holm", "hemp-staithe"])
def test_nothing_of_the_files_own_script_or_chance_is_left(name: str) -> None:
    for one in drawn(name).exercises:
        wrongs = tuple(wrong.event for trouble in one.troubles for wrong in trouble.wrongs)
        assert one.episode.events == wrongs
        assert one.episode.random == ()
        assert one.episode.start_level_m == loaded(name).episode.start_level_m


@pytest.mark.parametrize("name", ["mill-reach-rain", PLAN, "weir-bank-recorded", "quarry-row-us"])
def test_the_water_is_that_of_the_files_own_calendar(name: str) -> None:
    own = loaded(name).episode
    flows = total_inflow(own)
    seen = 0
    for one in drawn(name, 6).exercises:
        begins_s = (one.episode.start - own.start).total_seconds()
        surge = [trouble.surge for trouble in one.troubles if trouble.surge is not None]
        last_s = min(one.episode.duration_s, own.duration_s - begins_s)
        if last_s <= 0.0 or surge:
            continue
        times = np.linspace(0.0, last_s - 1.0, 50)
        got = total_inflow(one.episode).at(times)
        np.testing.assert_allclose(got, flows.at(times + begins_s), rtol=1e-9, atol=1e-12)
        seen += 1
    assert seen >= 2


def test_storms_of_the_file_are_met() -> None:
    own = loaded("madder-holm").episode
    flows = total_inflow(own)
    _, peak_s = flows.greatest(0.0, own.duration_s)
    starts = [
        (one.episode.start - own.start).total_seconds()
        for one in drawn("madder-holm", 20).exercises
    ]
    meets = [0.0 <= peak_s - start <= 5.0 * HOUR for start in starts]
    assert 5 <= sum(meets) <= 19  # without storms it would be about one in twenty


def test_a_long_file_and_a_short_one_begin_at_any_hour() -> None:
    for name in (PLAN, "quarry-row-us"):
        hours = {one.episode.start.hour for one in drawn(name, 40).exercises}
        assert len(hours) >= 12
        for one in drawn(name, 40).exercises:
            assert 1800.0 <= one.at_s <= 7200.0
            assert one.episode.start.minute % 5 == 0
            assert one.episode.duration_s == 24.0 * HOUR


def test_only_what_somebody_can_do_something_about_is_drawn() -> None:
    bare = Place(duplex(), None, 0.01)
    kinds = {
        wrong.event.kind
        for main in MAINS
        if main.fits(bare)
        for wrong in main.make(bare, Draw(Streams(1, 1), 0, "x"), 60.0).wrongs
    }
    # nobody has tools: no outage without a set, and nothing that has to be mended
    assert "grid loss" not in kinds
    assert not kinds & {"control breaker open", "air-bound", "clogged", "check valve open"}
    assert "level signal lost" in kinds
    hemp = loaded("hemp-staithe")
    mends = Place(hemp.station, hemp.episode.response, 0.01)
    fits = [main.make for main in MAINS if main.fits(mends)]
    assert len(fits) > sum(main.fits(bare) for main in MAINS)


# ---------------------------------------------------------------------- worth playing


@pytest.mark.parametrize("name", [PLAN, "woad-quay", "reed-corner", "alder-lane"])
def test_the_key_tells_what_runs_by_hand_come_to(name: str) -> None:
    found = drawn(name)
    table = found.key.tables[slips.OUTCOMES]
    station = loaded(name).station
    for one, row in zip(found.exercises, table.to_dict("records"), strict=True):
        alone = dataclasses.replace(one.episode, response=None)
        nobody = simulate(station, alone)
        assert row["nobody_spilled_m3"] == pytest.approx(nobody.spills["volume_m3"].sum())
        alarms = nobody.alarms
        raised = alarms["raised_s"][alarms["raised_s"] >= one.at_s]
        expected = raised.min() - one.at_s if len(raised) else math.nan
        assert row["to_alarm_s"] == pytest.approx(expected, nan_ok=True)
        starts = nobody.spills["start_s"]
        first = starts.min() - one.at_s if len(starts) else math.nan
        assert row["to_spill_s"] == pytest.approx(first, nan_ok=True)
        if one.episode.response is None:
            assert math.isnan(row["plan_spilled_m3"])
        else:
            plan = simulate(station, one.episode)
            assert row["plan_spilled_m3"] == pytest.approx(plan.spills["volume_m3"].sum())
        events = (*alone.events, *one.tried.acts)
        acted = simulate(station, dataclasses.replace(alone, events=events))
        assert row["acted_spilled_m3"] == pytest.approx(acted.spills["volume_m3"].sum())


def test_high_water_is_counted_from_the_trouble_on() -> None:
    one = next(
        each for each in drawn(PLAN, 40).exercises if math.isfinite(each.tried.nobody.high_s)
    )
    nobody = simulate(loaded(PLAN).station, dataclasses.replace(one.episode, response=None))
    high = nobody.alarms[nobody.alarms["alarm"] == "high level"]
    ends = high["cleared_s"].fillna(one.episode.duration_s)
    lasts = (ends - high["raised_s"].clip(lower=one.at_s)).clip(lower=0.0).sum()
    assert figures(nobody.trace, one.at_s).high_lasts_s == pytest.approx(lasts)
    assert one.tried.worth


def test_somebody_could_be_there_after_the_phone_and_the_way() -> None:
    # typical times of the file: poll 1, phone 2, acknowledges 5, ready 10, way 25; then 5 to think
    way_s = (1 + 2 + 5 + 10 + 25 + 5) * 60.0
    checked = 0
    for one in drawn(PLAN, 40).exercises:
        nobody = simulate(loaded(PLAN).station, dataclasses.replace(one.episode, response=None))
        sent = nobody.alarms["sent_s"]
        first_s = sent[sent >= one.at_s].min()
        if first_s <= one.at_s + 2.0 * HOUR:
            assert one.tried.there_s == pytest.approx(first_s + way_s)
            checked += 1
    assert checked >= 20


def test_a_station_at_which_nothing_can_go_wrong_runs_by_itself() -> None:
    # almost nothing arrives, so nothing fills the well within the day
    station, quiet = duplex(), episode(24.0 * HOUR, Constant(1e-6))
    exercises = [exercise(station, quiet, number, 1) for number in range(1, 5)]
    calm = [one for one in exercises if one.troubles[0].surge is None]
    assert len(calm) >= 2
    for one in calm:
        assert one.tried.nobody.spilled_m3 == 0.0
        assert one.tried.acting == "runs by itself"
        assert one.attempts == 12
        assert any(line.startswith("runs by itself: with nobody acting") for line in one.truth())


def play_by_the_key(one: Exercise, station: Any) -> Figures:
    """Play an exercise: go when the phone rings, and do what the key says helps."""
    drill = Drill(station, one.episode)
    tools = [tool.name for tool in drill.response.tools if tool.fetched is not None]
    while not drill.over and drill.place == "away" and not drill.crew.me.sent:
        if any(told.by == "phone" for told in drill.type("wait")):
            drill.type("send me" + (f" for {', '.join(tools)}" if tools else ""))
    while not drill.over and drill.place != "on site":
        drill.type("wait")
    for _ in range(20):  # some things happen only later
        for trouble in one.troubles:
            for event, remedy in trouble.wrongs:
                for line in lines_of(remedy, event.subject, station):
                    try:
                        drill.type(line)
                    except ActionError:
                        break
        if drill.over:
            break
        drill.type("wait 15 min")
    return figures(drill.finish().trace, one.at_s)


def lines_of(remedy: str, subject: str, station: Any) -> list[str]:
    pumps = [unit.name for unit in station.pumps]
    return {
        "reset": [f"reset {subject}"],
        "auto": [f"auto {subject}"],
        "set right": [f"mend {subject}"],
        "clear rags": [f"mend {subject}"],
        "hand": [f"hand {name}" for name in pumps],
        "mobile generator": ["connect mobile generator"],
        "bypass pump": ["connect bypass pump"],
    }.get(remedy, [])


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5, 6, 7, 8])
def test_who_does_in_the_drill_what_the_key_says_makes_it_less(number: int) -> None:
    one = drawn(PLAN, 12).exercises[number - 1]
    nobody = one.tried.nobody
    played = play_by_the_key(one, loaded(PLAN).station)
    if nobody.spilled_m3 > 0.0:
        assert played.spilled_m3 < 0.9 * nobody.spilled_m3
    else:
        assert played.high_lasts_s < 0.9 * nobody.high_lasts_s


# ---------------------------------------------------------------------- who is told what


def secrets_of(found: Practice) -> set[str]:
    """Return every word of the truth: kinds, subjects, texts, names of troubles, who is silent."""
    words: set[str] = set()
    for one in found.exercises:
        for trouble in one.troubles:
            words |= {trouble.name, trouble.silent}
            for event, _remedy in trouble.wrongs:
                words |= {event.kind, event.subject, slips.event_words(event)}
        words |= {one.tried.acting, *one.truth()}
    return words - {""}


def texts_in(folder: Path) -> dict[str, str]:
    """Return the text of every file of a folder, without the lines that are the same for all."""
    openpyxl = pytest.importorskip("openpyxl")
    found = {}
    for file in sorted(folder.rglob("*")):
        if file.suffix == ".xlsx":
            book = openpyxl.load_workbook(file)
            cells = [str(cell) for sheet in book for row in sheet.values for cell in row]
            text = "\n".join([*book.sheetnames, *cells])
        elif file.is_file():
            text = file.read_text(encoding="utf-8")
        else:
            continue
        if file.suffix == ".html":
            text = re.sub(r"<style>.*?</style>|<meta [^>]*>", "", text, flags=re.DOTALL)
        for line in (*said.CAUTIONS, said.CARD_CAUTION):
            text = text.replace(line, "")
        found[file.name] = text
    return found


@pytest.mark.parametrize("name", [PLAN, "hemp-staithe", "madder-holm", "reed-corner"])
def test_nothing_in_the_students_folder_tells_the_truth(name: str, tmp_path: Path) -> None:
    found = drawn(name, 12)

    def sheets(study: StudyResult, folder: Path) -> None:
        write_sheets(study.to_fill_in(), folder)

    write_practice(found, tmp_path / "class", ("csv", "xlsx"), besides=sheets)
    texts = texts_in(tmp_path / "class" / "students")
    assert {"exercises.csv", "sentences.txt", "manifest.json", "to_fill_in.xlsx"} <= set(texts)
    assert sum(file.endswith(".html") for file in texts) == 12
    secrets = secrets_of(found)
    assert len(secrets) > 20
    for file, text in texts.items():
        for secret in secrets:
            pattern = rf"(?<!\w){re.escape(secret)}(?!\w)"
            assert not re.search(pattern, text, re.IGNORECASE), (file, secret)
    # the same search finds it in the key, so that it can find anything
    key = "\n".join(texts_in(tmp_path / "class" / "key").values())
    for one in found.exercises:
        for event in one.episode.events:
            assert slips.event_words(event) in key


def test_a_slip_depends_on_nothing_but_the_moment_and_the_people() -> None:
    one, other = drawn(PLAN, 12).exercises[:2]
    swapped = dataclasses.replace(
        one,
        troubles=other.troubles,
        tried=other.tried,
        at_s=other.at_s,
        attempts=other.attempts,
        briefing=slips.briefing_of(
            loaded(PLAN).station, dataclasses.replace(one.episode, events=(), inflow=())
        ),
    )
    for made in (slips.exercise_table, slips.slip_lines, slips.slips):
        args = () if made is slips.exercise_table else ("si",)
        first, second = (made([each], "stationsim drill FILE", *args) for each in (one, swapped))
        assert str(first) == str(second)


def test_every_slip_has_its_caution_and_its_command() -> None:
    it = loaded(PLAN)
    found = practice(it.station, it.episode, 3, 9, command="stationsim drill here.toml")
    lines = found.students.lines()
    assert lines.count(said.CARD_CAUTION) == 3
    for one, form in zip(found.exercises, found.students.to_fill_in(), strict=True):
        command = f"stationsim drill here.toml --exercise {one.number} --seed 9"
        assert f"Type: {command}" in lines
        assert any(command in str(cell) for row in form.rows for cell in row)
        assert form.cautions == said.CAUTIONS
        assert form.footer == said.CARD_CAUTION
    assert found.students.tables["exercises"]["command"].iloc[1].endswith("--exercise 2 --seed 9")
    assert "operator on call" in found.exercises[0].briefing[1]


def test_texts_are_in_the_units_that_were_asked_for_and_columns_in_si(tmp_path: Path) -> None:
    # numbers at which something is off by a level, more arrives, and something spills
    found = drawn(PLAN, 40)
    si, us = ("\n".join([*found.key.sentences(u), *found.key.lines(u)]) for u in ("si", "us"))
    for unit, other in (("m3", "gal"), ("L/s", "gpm"), ("m", "ft")):
        for asked, text, left in ((unit, si, us), (other, us, si)):
            assert re.search(rf"\d {asked}\b", text)
            assert not re.search(rf"\d {asked}\b", left)
    for system in ("si", "us"):
        handed = "\n".join([*found.students.sentences(system), *found.students.lines(system)])
        forms = str(found.students.to_fill_in(system))
        assert not re.search(r"\d (m3|L/s|m|gal|gpm|ft)\b", handed + forms)
    write_practice(found, tmp_path / "us", system="us")
    told = (tmp_path / "us" / "key" / "sentences.txt").read_text(encoding="utf-8")
    assert us in told.replace("\n\n", "\n")
    write_practice(found, tmp_path / "si")
    for table in ("key.csv", "key_outcomes.csv"):
        one, other = ((tmp_path / u / "key" / table).read_bytes() for u in ("si", "us"))
        assert one == other


def test_the_key_says_that_number_and_seed_are_enough_to_look_it_up() -> None:
    assert slips.NOT_LOCKED in drawn(PLAN).key.sentences()
    assert slips.NOT_LOCKED not in drawn(PLAN).students.sentences()


def test_what_helps_is_told_with_its_care() -> None:
    for remedy, care in {
        "auto": "nobody works on it", "reset": "its cause", "set right": "locked off",
        "clear rags": "second person", "hand": "before they run dry",
        "mobile generator": "stopped before it is refuelled",
        "bypass pump": "stopped before it is refuelled", "haul": "clear of traffic",
    }.items():  # fmt: skip
        assert care in slips.REMEDIES[remedy]
    assert set(slips.REMEDIES) == set(get_args(Remedy))


def test_a_student_where_nobody_is_called_stands_on_site() -> None:
    one = drawn("reference-station").exercises[0]
    assert one.episode.response is None or not one.episode.response.people
    assert any("on site" in line for line in one.briefing)


def test_who_does_not_answer_is_never_who_plays() -> None:
    found = drawn("madder-holm", 20)
    silent = [t.silent for one in found.exercises for t in one.troubles if t.silent]
    assert silent
    own = loaded("madder-holm").episode.response
    assert own is not None
    player = who_answers(own)
    assert player.name == own.call_list[0]
    for one in found.exercises:
        response = one.episode.response
        assert response is not None
        for trouble in one.troubles:
            if trouble.silent:
                assert trouble.silent != player.name
                assert not response.person(trouble.silent).answers


# ---------------------------------------------------------------------- what is written


def test_two_folders_are_written_with_the_same_bytes_each_time(tmp_path: Path) -> None:
    it = loaded(PLAN)
    for name in ("one", "other"):
        write_practice(practice(it.station, it.episode, 3, 7), tmp_path / name)
    files = sorted(path.relative_to(tmp_path / "one") for path in (tmp_path / "one").rglob("*.*"))
    assert {str(file.parent) for file in files} == {".", "students", "key"}
    for file in files:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "other" / file).read_bytes()
    made = json.loads((tmp_path / "one" / "manifest.json").read_text(encoding="utf-8"))
    assert made["folders"] == ["students", "key"]
    assert made["asked"] == {"count": 3, "seed": 7}


def test_an_earlier_folder_is_refused_unless_it_may_be_replaced(tmp_path: Path) -> None:
    found = drawn(PLAN)
    write_practice(found, tmp_path / "class")
    with pytest.raises(OutputError, match="already exists"):
        write_practice(found, tmp_path / "class")
    write_practice(found, tmp_path / "class", force=True)
    assert (tmp_path / "class" / "key" / "key.csv").is_file()


def test_the_tables_have_a_row_for_each_thing(tmp_path: Path) -> None:
    found = drawn(PLAN, 12)
    key = found.key.tables[slips.KEY]
    for one in found.exercises:
        rows = key[key["exercise"] == one.number]
        surges = sum(trouble.surge is not None for trouble in one.troubles)
        silent = sum(bool(trouble.silent) for trouble in one.troubles)
        assert len(rows) == len(one.episode.events) + surges + silent
        at = [event.at_s for event in one.episode.events]
        assert set(at) <= set(rows["t_s"])
    words = {entry.word for entry in _vocabulary()}
    for study in (found.students, found.key):
        for name, table in study.tables.items():
            assert name in words
            assert set(table.columns) <= words


def _vocabulary() -> tuple[Any, ...]:
    from stationsim import vocabulary

    return (*vocabulary.TABLES, *vocabulary.COLUMNS)


@pytest.mark.parametrize(
    ("number", "seed", "names"),
    [(0, 1, "exercise"), (-3, 1, "exercise"), (10**9, 1, "exercise"), (1, -1, "seed"),
     (1, 2**40, "seed")],
)  # fmt: skip
def test_numbers_that_cannot_be_used_are_refused(number: int, seed: int, names: str) -> None:
    it = loaded(PLAN)
    with pytest.raises(InputError, match=f"^{names}: .* cannot be used; accepted: "):
        exercise(it.station, it.episode, number, seed)


@pytest.mark.parametrize("count", [0, -1, 10_000])
def test_a_class_of_no_size_is_refused(count: int) -> None:
    it = loaded(PLAN)
    with pytest.raises(InputError, match=r"practice: .* cannot be used"):
        practice(it.station, it.episode, count, 1)


def test_an_exercise_is_an_episode_as_any_other() -> None:
    one = drawn(PLAN).exercises[0]
    assert isinstance(one.episode, Episode)
    drill = Drill(loaded(PLAN).station, one.episode)
    drill.type("done")
    # nobody acts: the run of the episode without people, byte for byte
    alone = simulate(loaded(PLAN).station, dataclasses.replace(one.episode, response=None))
    assert drill.finish().tables["levels"].equals(alone.tables["levels"])

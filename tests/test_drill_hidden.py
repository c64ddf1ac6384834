"""What a person in a drill is told never shows a hidden fault before they could know of it.

Two judges. *Twins*: the same lines are typed in two drills, one with a trouble and one without;
until something differs that could be noticed where the person is (an alarm that was sent, a spill,
a round; on site an event that the vocabulary says can be noticed there, what the panel reads, a
float), both are told the very same. *The judge of words*: every line that was told is held against
the trace of the run. Both have to catch leaks that are planted on purpose. Own computation.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest
from any_drill import played
from everything import HOUR, event_of, everything, sampled
from hypothesis import given, settings
from hypothesis import strategies as st

from stationsim.chance import Range
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.faults import CATALOGUE
from stationsim.errors import ActionError
from stationsim.inflow.storm import Hydrograph
from stationsim.people.response import PasserBy, Person, Response, Task, Tool, Visit
from stationsim.results import Result
from stationsim.station import Station
from stationsim.studies.drill import Drill, said
from stationsim.studies.drill.crew.hands import SITE, Crew
from stationsim.studies.drill.news import Alarms
from stationsim.studies.drill.told import Told
from stationsim.testing import episode as plain_episode
from stationsim.trace import EventRow, seen_levels
from stationsim.vocabulary import ALARMS, EVENTS, seen_by

TROUBLES = tuple(fault.kind for fault in CATALOGUE if fault.trouble)
ALARM_WORDS = tuple(one.word for one in ALARMS)
NEVER = tuple(
    sorted(
        {one.word for one in EVENTS if one.seen == "nobody"}
        | {"by chance", "scripted", "by itself", "work done", "random", "rags gather", "dormant"}
        | {fault.kind for fault in CATALOGUE if fault.trouble and seen_by(fault.kind) == "nobody"}
    )
)
"""Words of the simulation's own, which no screen may show; but an alarm may be called so."""


def minutes(low: float, typical: float, high: float) -> Range:
    return Range(low * 60.0, typical * 60.0, high * 60.0)


def people(**changes: Any) -> Response:
    """Return two people with all tools and steps; anna plays."""
    fields: dict[str, Any] = {
        "people": (
            Person("anna", minutes(1, 2, 4), minutes(2, 4, 9), minutes(5, 10, 20)),
            Person("bert", minutes(1, 3, 5), minutes(2, 5, 9), minutes(5, 12, 20)),
        ),
        "call_list": ("anna", "bert"),
        "picked_up": minutes(0, 1, 2),
        "on_phone": minutes(1, 1, 2),
        "assesses": minutes(1, 2, 3),
        "tools": (
            Tool("tanker", delivered=minutes(5, 15, 30), holds_m3=4.0, round_trip=minutes(9, 9, 9)),
            Tool("lifting gear", fetched=minutes(3, 5, 9)),
        ),
        "tasks": (
            Task("reset", minutes(1, 1, 1)), Task("set right", minutes(3, 5, 9)),
            Task("clear rags", minutes(5, 9, 15)),
            Task("pull a pump", minutes(20, 30, 60), people=2, tool="lifting gear"),
            Task("connect mobile generator", minutes(5, 9, 15), takes_down=minutes(2, 3, 4)),
            Task("connect bypass pump", minutes(5, 9, 15), takes_down=minutes(2, 3, 4)),
            Task("refuel", minutes(3, 5, 9)),
            Task("haul", minutes(3, 5, 9), people=0, tool="tanker"),
        ),
    }  # fmt: skip
    return Response(**{**fields, **changes})


def night(*events: ScriptedEvent, **changes: Any) -> Episode:
    """Return four hours with a swell that calls all pumps, and what happens."""
    swell = Hydrograph(0.0, (0.0, HOUR, 2 * HOUR, 4 * HOUR), (0.01, 0.08, 0.02, 0.02))
    found = plain_episode(4.0 * HOUR, swell, *events)
    return replace(found, response=people(**changes))


# ---------------------------------------------------------------------- twins


def timetable(seed: int, *, on_site: bool) -> list[tuple[float, str]]:
    """Return lines for set times: on site nothing that finds trouble by looking closely."""
    draw = random.Random(seed)  # noqa: S311  (no secret)
    asks = ["ask alarms", "ask people", "ask plan", "ask", "ask bert"]
    works = [
        "reset P1", "reset E1", "reset generator", "hand P1", "auto P1", "hand E1", "off P2",
        "auto P2", "hand P2", "auto E1", "hand P3", "auto P3",
    ]  # fmt: skip
    vain = ["mend P1", "mend E1", "mend level sensor", "mend start float", "mend telemetry",
            "mend transfer switch", "mend force main", "look", "connect mobile generator",
            "refuel E1", "call bert", "call tanker", "haul"]  # fmt: skip
    at_s = sorted(draw.uniform(0.0, 4.0 * HOUR) for _ in range(24))
    return [(one, draw.choice(asks + works + ([] if on_site else vain))) for one in at_s]


def told_by_timetable(
    station: Station, case: Episode, lines: list[tuple[float, str]], *, on_site: bool
) -> tuple[Drill, Result, list[tuple[float, Any]]]:
    """Play lines at set times; return the drill, its run, and the floats seen at each line."""
    drill = Drill(station, case, on_site=on_site)
    floats = []
    for at_s, line in lines:
        drill.wait_until(at_s)
        if drill.over:
            break
        floats.append((drill.now_s, drill.session.shown().floats))
        drill.type(line)
    told = list(drill.told)  # finish tells no more
    drill.wait_until(case.duration_s - 60.0)
    assert drill.told[: len(told)] == told
    return drill, drill.finish(), floats


def signs(result: Result, *, on_site: bool) -> set[tuple[Any, ...]]:
    """Return everything that could be noticed, with its time first."""
    trace = result.trace
    found: set[tuple[Any, ...]] = set()
    for row in trace.alarms:
        if not math.isnan(row.sent_s):
            found.add((round(row.sent_s, 4), "sent", row.alarm, row.subject))
            if not math.isnan(row.cleared_s):
                found.add((round(row.cleared_s, 4), "over", row.alarm, row.subject))
    for spill in trace.spills:
        found |= {(round(spill.start_s, 4), "spill"), (round(spill.stop_s, 4), "no spill")}
    for happened in trace.events:
        if happened.event in ("telemetry back", "alarms live again"):
            found.add((round(happened.t_s, 4), "what waits is sent"))
        if on_site and seen_by(happened.event) != "nobody":
            found.add((round(happened.t_s, 4), happened.subject, happened.event))
    return found


def first_difference_s(one: tuple[Any, ...], other: tuple[Any, ...], *, on_site: bool) -> float:
    """Return when the first thing differs between two runs that could be noticed [s]."""
    at_s = [row[0] for row in signs(one[1], on_site=on_site) ^ signs(other[1], on_site=on_site)]
    if on_site:
        tables = [run.sample(20.0) for run in (one[1], other[1])]
        for column in ("level_m", "level_seen_m"):
            a, b = (table[column].to_numpy() for table in tables)
            apart = ~np.isclose(a, b, rtol=0.0, atol=1e-9, equal_nan=True)
            at_s += tables[0]["t_s"].to_numpy()[apart].tolist()[:1]
        at_s = [min(at_s, default=math.inf) - 20.0]  # of a table of every 20 s
        at_s += [a[0] for a, b in zip(one[2], other[2], strict=False) if a[1] != b[1]]
    return min(at_s, default=math.inf)


def same_until(kind: str, seed: int, *, on_site: bool, with_outage: bool) -> tuple[int, float]:
    """Fail when twins are told different things too soon; return how many agree, and until when."""
    station = everything()
    background = (ScriptedEvent(2.2 * HOUR, "grid loss", "grid", HOUR),) if with_outage else ()
    draw = random.Random(f"{kind} {seed}")  # noqa: S311  (no secret)
    trouble = event_of(kind, draw.uniform(0.2, 1.5) * HOUR, 2.0 * HOUR)
    lines = timetable(seed, on_site=on_site)
    passer = PasserBy(minutes(5, 9, 15))
    runs = [
        told_by_timetable(
            station, night(*background, *more, passer_by=passer), lines, on_site=on_site
        )
        for more in ((), (trouble,))
    ]
    until_s = first_difference_s(runs[0], runs[1], on_site=on_site)
    told = [[one for one in run[0].told if one.t_s < until_s - 0.01] for run in runs]
    # other rows lie between, and an instant more of the balance moves the last digits of a time
    plain = [[one._replace(event=-1, t_s=round(one.t_s, 4)) for one in some] for some in told]
    assert plain[0] == plain[1], (kind, until_s)
    return len(plain[0]), until_s


@pytest.mark.parametrize("on_site", [False, True])
@pytest.mark.parametrize("kind", sampled(TROUBLES))
def test_twins_are_told_the_same_until_something_could_be_noticed(
    kind: str,
    on_site: bool,
) -> None:
    count, until_s = same_until(kind, 1, on_site=on_site, with_outage=False)
    assert count >= 3
    assert until_s > 0.2 * HOUR - 20.0


@pytest.mark.parametrize(
    "kind", ["fails to prime", "generator late", "alarm off", "telemetry lost"]
)
def test_twins_in_an_outage_too(kind: str) -> None:
    for on_site in (False, True):
        same_until(kind, 2, on_site=on_site, with_outage=True)


def test_dormant_faults_stay_hidden_to_the_end_of_a_night() -> None:
    for kind in (
        "battery flat",
        "fails to prime",
        "transfer switch stuck",
        "generator fails to start",
    ):
        _count, until_s = same_until(kind, 3, on_site=False, with_outage=False)
        assert until_s > 2.4 * HOUR  # until its exercise finds it; nothing before


# ---------------------------------------------------------------------- the judge of words


class Watched(Drill):
    """A drill that writes down who stood where when each line was told."""

    def __init__(self, *args: Any, **fields: Any) -> None:
        super().__init__(*args, **fields)
        assert self.told == []  # nothing has been missed
        self.where: list[tuple[Told, str, tuple[str, ...], float, bool]] = []
        self._tell, self.log.tell = self.log.tell, self._tell_and_note  # type: ignore[method-assign]

    def _tell_and_note(self, *args: Any, **fields: Any) -> None:
        known = len(self.told)
        self._tell(*args, **fields)
        names = tuple(hand.name for hand in self.crew.on_site)
        for one in self.told[known:]:
            self.where.append((one, self.place, names, self.now_s, self.session.alarms_dead))


ALARM_LINE = re.compile(
    rf"alarm ({'|'.join(sorted(ALARM_WORDS, key=len, reverse=True))})(?:, (.+?))?(: over)?"
)
PANEL_LEVEL = re.compile(r"level (-?\d+\.\d+) m by the panel")
OWN_LEVEL = re.compile(r"the water stands at about (-?\d+\.\d+) m")
FROM_AFAR = re.compile(
    r"answers, and (sets out|stands by)|does not answer|there is no .* in the yard|"
    r"the .* is on site|the .* is back, empty|load \d+ of \d+ is on its way|"
    r"the round finds that something is wrong|no hands are free for the next load|"
    r"haul: .*|(dis)?connect .*: .*|you stand on site.*|on site.*|back on site.*"
)


def judged(drill: Watched, result: Result) -> int:
    """Fail when a line tells what could not be known; return how many lines were judged."""
    trace, station = result.trace, drill.station
    levels = result.sample(1.0)
    times, true_m = levels["t_s"].to_numpy(), levels["level_m"].to_numpy()

    def about(at_s: float, read_m: float) -> bool:
        near = slice(max(int(at_s) - 2, 0), int(at_s) + 3)
        seen = seen_levels(trace, times[near], true_m[near])
        return bool(np.any(np.abs(seen - read_m) < 0.03)) or bool(
            np.any(
                np.abs(
                    seen_levels(trace, np.array([at_s]), np.interp([at_s], times, true_m)) - read_m
                )
                < 0.03
            )
        )

    for one, place, names, now_s, _dead in getattr(drill, "where", []):
        where = (one, place, names)
        me_there = place == SITE
        text = (
            re.sub(r"alarms?:? .*", "", one.text)
            if one.by in ("phone", "panel", "crew")
            else one.text
        )
        if one.text.startswith(("alarm ", "alarms: ")):
            text = ""
        static = one.by == "answer" and one.text in STATIC(drill)
        if not static:
            for word in NEVER:
                assert word not in text, (word, *where)
        if one.event >= 0:
            row = trace.events[one.event]
            assert seen_by(row.event) != "nobody", where
            assert row.t_s == one.t_s, where
            assert names, where
            assert me_there == (one.by == "panel"), where
        alarm = ALARM_LINE.fullmatch(one.text)
        if one.text.startswith("alarm "):
            assert alarm is not None, where
            name, subject, over = alarm.group(1), alarm.group(2), alarm.group(3)
            rows = [
                row for row in trace.alarms
                if row.alarm == name and subject in (None, row.subject)
            ]  # fmt: skip
            if one.by == "phone":
                least_s = drill.response.picked_up.low + drill.response.on_phone.low
                times_s = [row.cleared_s if over else row.sent_s for row in rows]
                assert any(at_s + least_s <= now_s + 1e-6 for at_s in times_s), where
            elif one.by in ("panel", "crew"):
                assert names, where
                times_s = [row.cleared_s if over else row.raised_s for row in rows]
                assert any(at_s <= now_s for at_s in times_s), where
                assert name != "telemetry lost", where
            else:
                assert one.by == "answer", where
                heard = [told.text for told, *_ in drill.where if told.t_s <= one.t_s]
                assert any(name in told for told in heard if told is not one.text), where
        panel = PANEL_LEVEL.search(one.text)
        if panel is not None:
            assert names or drill.away_sees == "readings", where
            assert about(now_s, float(panel.group(1))), where
        own = OWN_LEVEL.search(one.text)
        if own is not None:
            assert (one.who or drill.crew.me.name) in names, where
            true = float(np.interp(now_s, times, true_m))
            assert abs(true - float(own.group(1))) < 0.06, where
        if one.by == "panel":
            assert me_there, where
        if one.by == "crew" and not FROM_AFAR.fullmatch(one.text):
            assert one.who in names or (not one.who and me_there), where
        if one.by == "passer-by":
            spills = any(row.start_s <= now_s <= row.stop_s for row in trace.spills)
            lights = any(
                row.raised_s <= now_s and not row.cleared_s <= now_s for row in trace.alarms
            )
            assert spills if "spill" in one.text else lights, where
        if one.by == "phone" and alarm is None:
            assert drill.away_sees == "readings", where
    assert station is drill.station
    return len(getattr(drill, "where", []))


def STATIC(drill: Drill) -> set[str]:  # noqa: N802
    """Return what is known beforehand: the plan and the station."""
    lines = said.plan_lines(drill.response, drill.crew.me.name)
    return {*lines, *said.station_lines(drill.station, drill.system)}


@st.composite
def nights(draw: st.DrawFn) -> Episode:
    """Draw a night of any troubles, and who would come by."""
    kinds = draw(st.lists(st.sampled_from((*TROUBLES, "grid loss")), min_size=1, max_size=6))
    events = [
        event_of(
            kind, float(draw(st.integers(0, int(3 * HOUR)))), draw(st.sampled_from((600.0, 7000.0)))
        )
        for kind in kinds
    ]
    sees: Literal["spill", "alarm light"] = draw(st.sampled_from(("spill", "alarm light")))
    return night(
        *events,
        passer_by=draw(st.sampled_from((None, PasserBy(minutes(2, 5, 9), sees)))),
        visit=draw(st.sampled_from((None, Visit("bert", 2 * HOUR, HOUR)))),
        alarms=draw(st.sampled_from((None, ("high level", "power failed")))),
        pace=draw(st.sampled_from(("typical", "drawn", "high"))),
    )


def watched(case: Episode, seed: int) -> Watched:
    sees = "readings" if seed % 5 == 0 else "alarms"
    drill = Watched(everything(), case, on_site=seed % 3 == 0, away_sees=sees)  # type: ignore[arg-type]
    played(drill, seed, 40)
    return drill


@given(case=nights(), seed=st.integers(0, 10**4))
@settings(max_examples=20)
def test_no_line_of_any_drill_shows_what_is_hidden(case: Episode, seed: int) -> None:
    drill = watched(case, seed)
    assert judged(drill, drill.finish()) > 0 or not drill.told


@pytest.mark.slow
@given(case=nights(), seed=st.integers(0, 10**6))
@settings(max_examples=250)
def test_no_line_of_very_many_drills_shows_what_is_hidden(case: Episode, seed: int) -> None:
    drill = watched(case, seed)
    judged(drill, drill.finish())


# ---------------------------------------------------------------------- planted leaks

FULL = night(
    *(event_of(kind, 600.0 + 60.0 * n, 9000.0) for n, kind in enumerate(
        ("clogged", "level signal off", "telemetry lost", "battery flat", "check valve open",
         "transfer switch stuck", "alarm off", "overload")
    )),
    event_of("grid loss", 2.0 * HOUR, HOUR),
)  # fmt: skip


def caught_by_words() -> bool:
    """Return whether the judge of words objects to any of a few drills."""
    for on_site in (True, False):
        drill = Watched(everything(), FULL, on_site=on_site)
        for line in (
            "wait 20 min",
            "ask",
            "ask alarms",
            "mend P1",
            "wait 90 min",
            "ask alarms",
            "wait",
        ):
            if not drill.over:
                drill.type(line)
        drill.wait_until(FULL.duration_s - 1.0)
        try:
            judged(drill, drill.finish())
        except AssertionError:
            return True
    return False


def caught_by_twins(kind: str) -> bool:
    """Return whether twins with a trouble, and without, are told different things too soon."""
    try:
        for seed in (1, 2):
            same_until(kind, seed, on_site=False, with_outage=False)
            same_until(kind, seed, on_site=True, with_outage=False)
    except AssertionError:
        return True
    return False


def tells_all(row: EventRow) -> str:
    return f"{row.subject}: {row.event}"


def rings_what_was_not_sent(alarms: Alarms) -> None:
    for row in alarms.session.alarms_so_far():
        if row[:3] not in alarms._sent:
            alarms._sent.add(row[:3])
            alarms.crew.table.begin(alarms._rings(row))


def refuses_with_the_truth(hand_for: Callable[..., Any]) -> Callable[..., Any]:
    def told(crew: Crew, by: str) -> Any:
        try:
            return hand_for(crew, by)
        except ActionError as error:
            amiss = crew.listener.looked()
            raise ActionError(f"{error} ({amiss})" if amiss else str(error)) from error

    return told


def test_without_a_leak_the_planted_drills_pass() -> None:
    assert not caught_by_words()
    assert not any(caught_by_twins(kind) for kind in ("clogged", "check valve open"))


def test_a_hidden_event_that_is_told_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(said, "event_text", tells_all)
    assert caught_by_words()


def test_the_true_level_on_a_panel_that_is_wrong_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "stationsim.simulation.looking.seen_levels", lambda _trace, _times, levels: levels
    )
    assert caught_by_words()


def test_an_alarm_that_was_not_sent_is_caught_on_the_phone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Alarms, "mind", rings_what_was_not_sent)
    assert caught_by_words()


def test_a_refusal_that_tells_the_truth_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Crew, "hand_for", refuses_with_the_truth(Crew.hand_for))
    assert caught_by_twins("check valve open")


def test_a_cause_in_brackets_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(said, "event_text", lambda row: f"{row.event} ({row.cause} {row.detail})")
    assert caught_by_words()

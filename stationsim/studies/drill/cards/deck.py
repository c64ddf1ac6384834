"""Cards for a table-top without a computer, and the key of the facilitator.

From a file come: a card for each moment at which something reaches a person, one for each step on
site by the plan, and a few that suppose that something goes wrong. What stands on a card is what
can be seen, what is to be decided, by when, and what it costs to be late; both are worked out by
runs. What truly is so stands in the key alone.

References
----------
Time, what is seen, the decision that is due and what it costs to be late, with the truth kept
apart: guides for facilitators of table-top exercises, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from stationsim.studies.drill import said
from stationsim.studies.drill.cards import text
from stationsim.studies.drill.cards.due import Due, DueTimes
from stationsim.studies.drill.cards.lateness import LATER_S, Runs
from stationsim.studies.drill.cards.moments import (
    DISCONNECTS,
    TASKS,
    Heard,
    Looker,
    Plan,
    heard_of,
    next_high_s,
    next_spill_s,
    plan_of,
)
from stationsim.studies.drill.cards.supposed import supposed
from stationsim.studies.drill.told import AwaySees
from stationsim.study_result import Source, StudyResult
from stationsim.units import show
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stationsim.episode import Episode
    from stationsim.station import Station
    from stationsim.units import System

_MOST_SEEN = 40
"""No more cards are made of what is seen; own choice [-]."""
_ACKNOWLEDGED_S = 60.0
"""What comes so soon after the call is taken is on its card; own choice [s]."""
_AS_BY_PLAN = "by the plan of the file: your crew is on site by now"


class CardRow(NamedTuple):
    """One card; what is more than one line has line ends in it."""

    card: str
    time: str
    t_s: float
    clock: str
    kind: str
    hand_out: str
    you_see: str
    decide: str
    due: str
    due_s: float
    if_later: str
    later_15_m3: float
    later_30_m3: float
    later_60_m3: float


class KeyRow(NamedTuple):
    """What is behind a card."""

    card: str
    time: str
    t_s: float
    clock: str
    truth: str
    level_m: float
    inflow_m3s: float
    plan_does: str
    plan_s: float
    slack_s: float
    in_time_m3: float
    cost: str
    ask: str


@dataclass(frozen=True)
class Pack:
    """Cards of a table-top and their key, each for a folder of its own.

    Parameters
    ----------
    cards
        What the group may see: tables ``cards`` and ``table_sheet``.
    key
        What the facilitator has besides: table ``card_key``, a row for each card.
    """

    cards: StudyResult
    key: StudyResult


def cards(
    station: Station,
    episode: Episode,
    sources: Sequence[Source] = (),
    *,
    who: str = "",
    away_sees: AwaySees = "alarms",
    system: System = "si",
) -> Pack:
    """Return the cards of a table-top with the sheet that lies on the table, and their key.

    ``pages.cards.write_cards`` writes them, a folder for each.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it; the response of the episode is the plan.
    sources
        The scenario that they came from; its text goes to the key, as it tells what happens.
    who
        Whom the alarms reach; empty for the first on the call list.
    away_sees
        What the far end shows to somebody who is away.
    system
        Units of what stands on cards and key.

    Raises
    ------
    InputError
        When the response does not know who that is.
    """
    deck = _Deck(station, episode, who, away_sees, system)
    rows = deck.rows()
    table = pd.DataFrame([card for card, _ in rows], columns=CardRow._fields)
    count = "1 card" if len(rows) == 1 else f"{len(rows)} cards"
    told = [f"{count} for {station.name}."]
    if not rows:
        told.append(
            "Nothing reaches anybody in this file: let something happen, such as"
            ' --event "07:00 grid loss for 2 h".'
        )
    asked = {"who": who, "away_sees": away_sees, "units": system}
    handed = StudyResult(
        study="drill cards",
        subject=station.name,
        tables={
            "cards": table,
            "table_sheet": pd.DataFrame(deck.sheet(), columns=["topic", "says"]),
        },
        tell=partial(_told, told),
        show=partial(_told, []),
        asked=asked,
        sources=tuple(Source(one.name, one.digest) for one in sources),
        cautions=said.CAUTIONS,
    )
    key = StudyResult(
        study="drill cards",
        subject=station.name,
        tables={"card_key": pd.DataFrame([key for _, key in rows], columns=KeyRow._fields)},
        tell=partial(_told, deck.sentences()),
        show=partial(_told, []),
        asked=asked,
        sources=tuple(sources),
        cautions=said.CAUTIONS,
    )
    return Pack(handed, key)


def _told(lines: list[str], _system: System) -> list[str]:
    return list(lines)


class _Deck:
    """The cards in the making."""

    def __init__(
        self, station: Station, episode: Episode, who: str, away_sees: AwaySees, system: System
    ) -> None:
        self.station, self.episode, self.system = station, episode, system
        self.heard = heard_of(station, episode, who, away_sees, system)
        self.runs = Runs(station, episode)
        self.nobody = self.runs.run(None)
        self.plan = plan = plan_of(self.runs)
        self.dues = None if plan is None else DueTimes(self.runs, plan, system)
        self.counts = dict.fromkeys(("seen", "on site", "what if"), 0)
        self.left_out = max(0, len(self.heard) - _MOST_SEEN)

    # ------------------------------------------------------------------ all cards

    def rows(self) -> list[tuple[CardRow, KeyRow]]:
        """Return all cards with their keys: by time, then what may be supposed besides."""
        seen = list(self._seen())
        there = [] if self.dues is None else list(self._on_site(self.dues))
        in_time = sorted([*seen, *there], key=lambda pair: pair[0].t_s)
        if self.plan is not None:
            in_time = self._with_plan(self.plan, in_time)
        numbered = [
            (card._replace(card=str(n)), key._replace(card=str(n)))
            for n, (card, key) in enumerate(in_time, start=1)
        ]
        aside = [] if self.plan is None else list(self._what_ifs(self.plan))
        numbered += [
            (card._replace(card=f"W{n}"), key._replace(card=f"W{n}"))
            for n, (card, key) in enumerate(aside, start=1)
        ]
        for card, _ in numbered:
            self.counts[card.kind] += 1
        return numbered

    def _with_plan(
        self, plan: Plan, pairs: list[tuple[CardRow, KeyRow]]
    ) -> list[tuple[CardRow, KeyRow]]:
        """Tell in each key what the plan does until the next card."""
        times = [card.t_s for card, _ in pairs]
        found = []
        for n, (card, key) in enumerate(pairs):
            from_s = -math.inf if n == 0 else card.t_s
            to_s = times[n + 1] if n + 1 < len(times) else math.inf
            rows = [row for row in plan.told if from_s <= row.start_s < to_s]
            found.append((card, key._replace(plan_does=text.plan_text(rows, self.episode))))
        return found

    def _pair(
        self,
        t_s: float,
        kind: str,
        see: Sequence[str],
        decide: str,
        due: Due,
        looker: Looker,
        hand_out: str = "",
        cost: str = "",
    ) -> tuple[CardRow, KeyRow]:
        truth = looker.truth()
        whose = (
            "as it goes if nobody acts"
            if looker.result is self.nobody
            else "as it goes by the plan"
        )
        lines = [f"{whose}:", *text.truth_lines(truth, self.station, self.system)]
        time = self.episode.moment(t_s).isoformat(timespec="seconds")
        clock = said.clock_text(self.episode, t_s)
        found = due.found
        more = (math.nan,) * len(LATER_S) if found is None else found.more_m3
        slack_s = math.nan if found is None or found.by_accident else found.slack_s
        if not cost and found is not None:
            cost = text.cost_text(found, self.system)
        card = CardRow(
            "", time, t_s, clock, kind, hand_out, "\n".join(see), decide,
            due.text, due.due_s, due.later, *more,
        )  # fmt: skip
        key = KeyRow(
            "", time, t_s, clock, "\n".join(lines), truth.level_m, truth.inflow_m3s,
            "", due.plan_s, slack_s,
            math.nan if found is None else found.in_time_m3,
            cost, "\n".join(text.asks_of(decide)),
        )  # fmt: skip
        return card, key

    # ------------------------------------------------------------------ what is seen from afar

    def _seen(self) -> Iterator[tuple[CardRow, KeyRow]]:
        plan, dues = self.plan, self.dues
        looker = Looker(self.station, self.episode, None, self.nobody)
        there_s = math.inf if plan is None else plan.first_there_s
        call_s = self._call_heard_s(plan)
        for heard in self.heard[:_MOST_SEEN]:
            looker.to(heard.t_s)
            see = text.seen_lines(heard)
            if plan is None or dues is None:
                left = text.left_text(
                    next_high_s(self.nobody, heard.t_s),
                    next_spill_s(self.nobody, heard.t_s),
                    has_alarm=self.station.alarms.high_level_m is not None,
                    can_spill=self.station.spillway is not None,
                )
                due = Due(text.NO_PEOPLE_DUE, later="" if heard.over else left)
                decide = text.STOP if heard.over else text.WOULD
                yield self._pair(heard.t_s, "seen", see, decide, due, looker)
                continue
            anew = not plan.there(heard.t_s) and plan.called_anew(heard.t_s)
            late = heard.t_s > there_s and not anew
            hand_out = "hand out only if nobody of yours is on site by now" if late else ""
            first = heard.t_s == call_s
            if anew and not heard.over and not first:
                due = Due("none worked out: that is done for the first call of a file alone")
                yield self._pair(heard.t_s, "seen", see, text.WHOM, due, looker)
                continue
            decide, due = self._asked(dues, heard, late=late, first=first)
            yield self._pair(heard.t_s, "seen", see, decide, due, looker, hand_out)

    def _call_heard_s(self, plan: Plan | None) -> float:
        """Return at which card the call is taken, by the plan: the last one by then."""
        if plan is None or not self.heard:
            return math.nan
        taken_s = math.inf if plan.taken is None else plan.taken.stop_s
        by_then = [one.t_s for one in self.heard if one.t_s <= taken_s + _ACKNOWLEDGED_S]
        first_s = self.heard[0].t_s
        return first_s if plan.taken is None else max(by_then, default=first_s)

    def _asked(self, dues: DueTimes, heard: Heard, *, late: bool, first: bool) -> tuple[str, Due]:
        if heard.over:
            return text.STOP, Due("no due time")
        due = dues.way(heard.t_s, call=first)
        if any(one.by == "passer-by" for one in heard.told):
            return text.REPORTED, due
        if any(one.by == "crew" and one.text == "on site" for one in heard.told):
            return text.SOMEBODY_THERE, due
        if late:
            return text.NOBODY_THERE, due
        return (text.WHOM if first else text.CHANGES), due

    # ------------------------------------------------------------------ on site

    def _on_site(self, by_plan: DueTimes) -> Iterator[tuple[CardRow, KeyRow]]:
        plan = by_plan.plan
        looker = Looker(self.station, self.episode, plan.response, plan.result)
        done: list[str] = []
        steps = plan.steps
        dues = [by_plan.step(row) for row in steps]
        first_s = min((row.start_s for row in steps), default=math.inf)
        if plan.looked_s + _ACKNOWLEDGED_S < first_s and plan.arrived is not None:
            looker.before(plan.looked_s)
            due = dues[0] if dues else Due("none worked out: the plan has no step for this")
            yield self._pair(
                plan.looked_s, "on site", looker.on_site(self.system),
                text.SITE_FIRST, due, looker, _AS_BY_PLAN,
            )  # fmt: skip
            done.append("first look around")
        for row, due in zip(steps, dues, strict=True):
            looker.before(row.start_s)
            see = looker.on_site(self.system)
            if here := plan.brought(row.start_s):
                see.insert(0, f"on site by now: {listed(here)}")
            if done:
                see.insert(0, f"done by now: {', '.join(done)}")
            if row.task in DISCONNECTS:
                decide = text.TAKE_OFF
            else:
                decide = text.SITE_NEXT if done else text.SITE_FIRST
            yield self._pair(row.start_s, "on site", see, decide, due, looker, _AS_BY_PLAN)
            done.append(row.task if row.subject == "station" else f"{row.task}, {row.subject}")

    # ------------------------------------------------------------------ what if

    def _what_ifs(self, plan: Plan) -> Iterator[tuple[CardRow, KeyRow]]:
        first_s = self.heard[0].t_s if self.heard else math.nan
        usual_m3 = self.runs.spilled_m3(plan.response)
        for one in supposed(plan, self.nobody, first_s):
            looker = Looker(self.station, self.episode, plan.response, plan.result)
            looker.to(one.t_s)
            runs = self.runs if one.station is None else Runs(one.station, self.episode)
            came = runs.run(one.response, one.events).trace
            more_m3 = came.spilled_m3 - usual_m3
            more = f"{text.more_text(more_m3, self.system)} than in time"
            all_m3 = show(came.spilled_m3, "volume", self.system)
            more += text.accident_text(more_m3)
            cost = f"as the rest of the plan goes: {more}, {all_m3} in all"
            if self.station.spillway is None:
                cost = "no level of spill in the file, so no volume"
            due = Due("no due time of its own: those of the other cards count", later=cost)
            card, key = self._pair(
                one.t_s, "what if", [one.words], one.decide, due, looker,
                "kept aside: hand it out when there is time for it", cost,
            )  # fmt: skip
            rows = [row for row in came.crew if row.task in TASKS]
            does = text.plan_text(rows[:3], self.episode) if rows else "nobody does a step on site"
            yield card, key._replace(plan_does=does, in_time_m3=usual_m3)

    # ------------------------------------------------------------------ beside the cards

    def sheet(self) -> list[tuple[str, str]]:
        """Return the lines of the sheet that lies on the table."""
        began = said.clock_text(self.episode, 0.0)
        lasts = show(self.episode.duration_s, "duration", "si")
        rows = text.sheet_rows(self.station, self.episode.response, self.system)
        return [
            ("when", f"from {began} on, for {lasts}"),
            ("on every card", said.CARD_CAUTION),
            *rows,
            *(("learnt", line) for line in text.LEARNT),
        ]

    def sentences(self) -> list[str]:
        """Return what the facilitator is told of the pack; called when the cards are made."""
        n = self.counts
        nobody = show(self.nobody.trace.spilled_m3, "volume", self.system)
        found = [
            (
                f"{n['seen']} cards of what reaches somebody away, {n['on site']} on site by the"
                f" plan, {n['what if']} that suppose that something goes wrong."
            ),
            f"If nobody acts {nobody} spill.",
        ]
        if self.plan is None:
            found.append("The file names nobody who could act, so no due time is worked out.")
        else:
            by_file = show(self.runs.spilled_m3(self.episode.response), "volume", self.system)
            found[-1] = f"If nobody acts {nobody} spill, by the plan of the file {by_file}."
            if self.plan.answered:
                in_time = show(self.runs.spilled_m3(self.plan.response), "volume", self.system)
                found.append(
                    "By the file nobody takes the call; on the cards somebody does, and then"
                    f" {in_time} spill."
                )
        if self.left_out:
            found.append(f"{self.left_out} later moments have no card: there are too many.")
        if not self.heard:
            found.append("Nothing reaches anybody in this file, so it has no cards of what is seen;"
                         " add an event.")  # fmt: skip
        found.append(text.NOT_LOCKED)
        return found

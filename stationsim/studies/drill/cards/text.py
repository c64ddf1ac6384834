"""The words of the cards: what to ask, by when, what it costs, and what the key tells.

A card holds what a person could see, a question, and by when; never why. All that is so behind it
stands in the key.

References
----------
Objectives, rules and roles of a table-top, and what a facilitator asks: common practice, no source.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.drill import said
from stationsim.studies.drill.cards.lateness import LATER_S
from stationsim.units import show
from stationsim.wording import level_text, listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.people.response import Response
    from stationsim.station import Station
    from stationsim.studies.drill.cards.lateness import Lateness
    from stationsim.studies.drill.cards.moments import Heard, Truth
    from stationsim.trace import CrewRow
    from stationsim.units import System

_MINUTE_S = 60.0
_SPILLED_M3 = 1e-6
_EACH_S = LATER_S[0]
_HALF_MINUTE_S = 30.0
_AN_INSTANT_S = 1e-3
_MOST_ROWS = 8

WHOM = "Whom do you call, who goes, and what do they bring?"
CHANGES = "Does this change who goes, or what they bring? Who else has to know?"
NOBODY_THERE = "Nobody of yours is on site yet. What do you do now, and who has to know?"
REPORTED = "Who is told, who keeps people away from the water, and what comes first?"
STOP = "May you stop here? What must be so before anybody goes home?"
SITE_FIRST = "You stand on site. What keeps you safe first, and what is the first step?"
SITE_NEXT = "What is the next step, who does it, and what must be safe before?"
SOMEBODY_THERE = "Somebody stands there now. What keeps them safe, and what is the first step?"
TAKE_OFF = "May what was connected be taken off? What must be so before, and who does it?"
WOULD = "What would you do now? Whom would you call, and what would they bring?"

OBJECTIVES = (
    "Find out who decides, and by when, with no more than what can be seen.",
    "Find the step that decides how much water is lost, and what stands in its way.",
    "Write down what is missing: names, numbers, keys, tools, fuel, agreements.",
)
RULES = (
    (
        "Cards are handed out one at a time, in order. The clock time on a card is the time now;"
        " nobody reads ahead."
    ),
    "The table decides and writes it down before the next card: what, who, at what time.",
    (
        "Cards of what reaches somebody away come as they would if nobody acted; cards on site come"
        " as they would by the plan of the file. Where your plan is another one, say so, and go on."
    ),
    (
        "Cards 'what if' are kept aside. The facilitator hands one out when there is time for it;"
        " each stands alone."
    ),
    "Nobody rings a real number, and nothing is touched at a real station.",
    (
        "Due times and volumes are worked out with the times of the file, each as it is there; your"
        " own drills decide how long things take."
    ),
)
ROLES = (
    "Facilitator: has the key, hands out the cards, keeps the time, decides nothing.",
    "Who answers the phone at this hour: decides first.",
    "Crew on site: says what is done there, and how long it takes.",
    "Electrician or mechanic who may be asked.",
    "Who speaks with neighbours, authorities and those in charge.",
    "Scribe: writes decisions and open questions down.",
)
_ASKS = {
    WHOM: (
        "What do you know by now, and what do you only suppose?",
        "Who goes if this one cannot? Whose number is missing?",
        "What is to be collected on the way, and who has the key of the yard?",
    ),
    CHANGES: ("What would make you call more people now?", "What is the next thing to be told?"),
    NOBODY_THERE: ("By when did somebody have to be on site?", "Who can still be reached?"),
    REPORTED: ("Which report is due, to whom, by when?", "Who photographs, samples, cleans up?"),
    STOP: ("How do you know that it is over?", "What is checked before you leave?"),
    SITE_FIRST: (
        "Permit, gas test, isolation, second person: who says that it may begin?",
        "What do you look at first, and what would you do if it were not as expected?",
    ),
    SITE_NEXT: ("What if this step fails?", "Who tells the others that it is done?"),
    SOMEBODY_THERE: (
        "Why was nobody there before, and who should have been told?",
        "Who comes to help, and with what?",
    ),
    TAKE_OFF: ("What if the grid goes again?", "Is there fuel for staying longer?"),
    WOULD: ("Who would be on the call list?", "What is not on site, and where does it stand?"),
}
_ASKS_OF_WHAT_IF = (
    "Who notices, after how long?",
    "What is the way out, and is it written down anywhere?",
)

NO_PEOPLE_DUE = "none worked out: the file names nobody who could act"

NOT_LOCKED = "Whoever has the scenario file can have this key made."
"""How well the key is kept; on the key, and told to whoever has it made."""

LEARNT = ("What went well", "What was missing", "What we change", "Who", "By when")
"""Blank lines at the end of the key."""


def floor_clock(episode: Episode, t_s: float) -> str:
    """Return the last full minute at or before a moment: a due time is never told too late.

    Parameters
    ----------
    episode
        The episode.
    t_s
        Seconds since its start [s].
    """
    return said.clock_text(episode, t_s + _AN_INSTANT_S - _HALF_MINUTE_S)  # it rounds by that


def seen_lines(heard: Heard) -> list[str]:
    """Return what reached somebody who is away, a line each.

    Parameters
    ----------
    heard
        What was told.
    """
    ways = {"phone": "by phone: ", "passer-by": "", "crew": "", "panel": "", "answer": ""}
    return [
        f"{ways.get(one.by, '')}{f'{one.who}: ' if one.who else ''}"
        f"{one.text.replace(' (mend NAME)', '')}"
        for one in heard.told
    ]


def asks_of(question: str) -> tuple[str, ...]:
    """Return what the facilitator may ask beside a card's own question.

    Parameters
    ----------
    question
        What stands on the card.
    """
    return _ASKS.get(question, _ASKS_OF_WHAT_IF)


def due_text(
    found: Lateness, episode: Episode, system: System, done_s: float, called_s: float, what: str
) -> str:
    """Return by when something must be done, as the card says it.

    Parameters
    ----------
    found
        What comes of being late.
    episode
        The episode.
    system
        ``si`` or ``us``.
    done_s
        When it is done by the plan [s].
    called_s
        When the call for it is taken by the plan [s]; NaN where there is none.
    what
        What must be so by then: ``somebody on site``, ``done``.
    """
    if found.by_accident:
        in_time = show(found.in_time_m3, "volume", system)
        return (
            f"as soon as it can be done. No due time is told: what spills goes up and down with the"
            f" minute at which it comes; with {what} at {said.clock_text(episode, done_s)},"
            f" {in_time} spill"
        )
    if math.isinf(found.slack_s):
        return (
            f"no due time: nothing more spills, however late it is, up to"
            f" {show(found.looked_s, 'duration', 'si')} later"
        )
    if found.slack_s < _MINUTE_S and not found.saves_all:
        each = show(max(found.more_m3[0], 0.0), "volume", system)
        in_time = show(found.in_time_m3, "volume", system)
        return (
            f"at once. It is too late to lose no water at all: with {what} at"
            f" {said.clock_text(episode, done_s)}, {in_time} spill;"
            f" the first {_EACH_S / 60.0:.0f} min later cost {each} more"
        )
    call = ""
    if not math.isnan(called_s):
        call = f"call taken by {floor_clock(episode, called_s + found.slack_s)}, "
    due = f"{call}{what} by {floor_clock(episode, done_s + found.slack_s)}"
    if found.saves_all:
        return f"{due}, so that nothing spills"
    in_time = show(found.in_time_m3, "volume", system)
    return f"{due}, so that no more spills than in time: {in_time}"


def past_text(episode: Episode, due_s: float, *, saves_all: bool) -> str:
    """Return that something was due before the moment of the card.

    Parameters
    ----------
    episode
        The episode.
    due_s
        When it was due [s].
    saves_all
        Whether nothing would have spilled then.
    """
    why = "nothing spilled" if saves_all else "no more spilled than in time"
    return f"past: somebody had to be on site by {floor_clock(episode, due_s)}, so that {why}"


def later_text(found: Lateness, system: System) -> str:
    """Return what spills more when it is done later.

    Parameters
    ----------
    found
        What comes of being late.
    system
        ``si`` or ``us``.
    """
    parts = [
        f"{late_s / 60.0:.0f} min later: {more_text(more_m3, system)}{accident_text(more_m3)}"
        for late_s, more_m3 in zip(LATER_S, found.more_m3, strict=True)
    ]
    return "; ".join(parts)


def cost_text(found: Lateness, system: System) -> str:
    """Return what the key tells of the cost of delay.

    Parameters
    ----------
    found
        What comes of being late.
    system
        ``si`` or ``us``.
    """
    in_time = "in time nothing spills"
    if not found.saves_all:
        in_time = f"in time {show(found.in_time_m3, 'volume', system)} spill in all"
    return f"{in_time}; {later_text(found, system)}"


def more_text(more_m3: float, system: System) -> str:
    """Return how much more or less is lost.

    Parameters
    ----------
    more_m3
        How much more [m3].
    system
        ``si`` or ``us``.
    """
    if abs(more_m3) <= _SPILLED_M3:
        return "no more"
    if more_m3 < 0.0:
        return f"{show(-more_m3, 'volume', system)} less"
    return f"{show(more_m3, 'volume', system)} more"


def accident_text(more_m3: float) -> str:
    """Return what keeps a lesser spill from reading as advice to be late; empty for no less.

    Parameters
    ----------
    more_m3
        How much more is lost [m3].
    """
    return ", by the accident of when it comes" if more_m3 < -_SPILLED_M3 else ""


def left_text(high_s: float, spill_s: float, *, has_alarm: bool, can_spill: bool) -> str:
    """Return the time that is left if nobody acts.

    Parameters
    ----------
    high_s, spill_s
        Until the high-level alarm, and until water is lost; nought: now [s].
    has_alarm, can_spill
        Whether the station has such an alarm, and a level of spill.
    """
    parts = []
    if has_alarm:
        parts.append(_until(high_s, "high-level alarm", "stands"))
    if can_spill:
        parts.append(_until(spill_s, "spill", "goes on"))
    return "If nobody acts: " + ", ".join(parts) if parts else ""


def _until(left_s: float, what: str, now: str) -> str:
    if left_s <= 0.0:
        return f"the {what} {now}"
    if math.isinf(left_s):
        return f"no {what} to come"
    return f"the {what} in {show(left_s, 'duration', 'si')}"


def truth_lines(truth: Truth, station: Station, system: System) -> list[str]:
    """Return how it stands behind a card.

    Parameters
    ----------
    truth
        How it stands.
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    """
    fed = "pumps have no supply" if truth.fed_by == "dead" else f"pumps fed by the {truth.fed_by}"
    lines = [
        (
            f"true level {level_text(station, truth.level_m, system)},"
            f" inflow {show(truth.inflow_m3s, 'flow', system)},"
            f" pumped {show(truth.pumped_m3s, 'flow', system)}; {fed}"
        ),
        f"{_spilling(truth, system)}; {show(truth.spilled_m3, 'volume', system)} lost so far",
        "trouble that stands: " + ("; ".join((*truth.standing, *truth.stopped)) or "none"),
    ]
    found = listed(truth.found) if truth.found else "nothing more than is shown"
    lines.append(f"a look around on site would find: {found}")
    return lines


def _spilling(truth: Truth, system: System) -> str:
    if truth.spill_m3s > 0.0:
        return f"spilling {show(truth.spill_m3s, 'flow', system)}"
    return "no spill at this moment"


def plan_text(rows: Sequence[CrewRow], episode: Episode) -> str:
    """Return what the people of the plan do from a card to the next.

    Parameters
    ----------
    rows
        What they begin meanwhile.
    episode
        The episode.
    """
    if not rows:
        return "nothing new is begun before the next card"
    more = [f"{len(rows) - _MOST_ROWS} more"] if len(rows) > _MOST_ROWS else []
    return "\n".join([*(_row_text(row, episode) for row in rows[:_MOST_ROWS]), *more])


def _row_text(row: CrewRow, episode: Episode) -> str:
    who = row.person or row.tool
    whom = "" if row.subject in ("station", who) else f" {row.subject}"
    word = {"called": "is called for", "comes": "is ordered"}.get(row.task, row.task)
    begun = f"{said.clock_text(episode, row.start_s)} {who}: {word}{whom}"
    until = said.clock_text(episode, row.stop_s)
    return f"{begun}, until {until} ({row.outcome})"


def _on_paper(line: str) -> str:
    """Return a line without what would be typed."""
    for order in (": call ", ": send NAME"):
        line = line.partition(order)[0]
    return line


def sheet_rows(
    station: Station, response: Response | None, system: System
) -> list[tuple[str, str]]:
    """Return what lies on the table from the start: topic, and line.

    Parameters
    ----------
    station
        What stands there.
    response
        Who answers; None where the file names nobody.
    system
        ``si`` or ``us``.
    """
    plan = [] if response is None else said.plan_lines(response, me="")
    return [
        *(("objectives", line) for line in OBJECTIVES),
        *(("rules", line) for line in RULES),
        *(("roles", line) for line in ROLES),
        *(("station", line) for line in said.station_lines(station, system)),
        *(
            ("people, tools and steps", _on_paper(line))
            for line in plan or ["the file names nobody: say who would come, and with what"]
        ),
        *(("cautions", line) for line in said.CAUTIONS),
    ]

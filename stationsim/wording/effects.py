"""What came of a kind of trouble: how often rags tripped a pump, which alarms were not sent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.metrics.meters import lost_m3
from stationsim.units import show
from stationsim.wording.sayings import CAN_WAIT, MISLEADS, OUT
from stationsim.wording.spells import Told
from stationsim.wording.standing import stood
from stationsim.wording.words import listed, times

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stationsim.trace import AlarmRow, EventRow
    from stationsim.wording.spells import Happened, Spell

_WORTH_TELLING_M3 = 0.005
_DAY_S = 86_400.0
_AT_THE_LEVEL_M = 1e-9


def reversed_clear(spell: Spell) -> bool:
    """Return whether a trip ended by reversing the pump: it is told with the rags.

    Parameters
    ----------
    spell
        For how long it was out.
    """
    return spell.ended is not None and spell.ended.event == "reversed and clear"


def _within(rows: Sequence[EventRow], spells: Sequence[Spell]) -> list[EventRow]:
    return [row for row in rows if any(s.start_s <= row.t_s <= s.stop_s for s in spells)]


def _counted(happened: Happened, subject: str, spells: Sequence[Spell], event: str) -> int:
    return len(_within(happened.of(event, subject=subject), spells))


# ---------------------------------------------------------------------- pumps


def _of_rags(happened: Happened, subject: str, spells: list[Spell]) -> str:
    """Return how often rags tripped a pump, were reversed out, and fell off."""
    trips = [r for r in happened.of("trip", subject=subject) if r.cause == "overload"]
    tripped = len(_within(trips, spells))
    said = []
    if tripped:
        said.append(f"the overload tripped it {times(tripped)}")
    for event, words in (
        ("reversed and clear", "reversing cleared it"),
        ("reversed in vain", "it was reversed in vain"),
        ("reversing given up", "reversing was given up"),
        ("rags fell off", "they fell off at a stop"),
    ):
        count = _counted(happened, subject, spells, event)
        if count:
            said.append(f"{words} {times(count)}")
    return f", and {listed(said)}" if said else ""


def _of_wear(happened: Happened, subject: str, spells: list[Spell]) -> str:
    rows = _within(happened.of("worn", subject=subject), spells)
    return f", down to {rows[-1].detail}" if rows else ", by less than one hundredth"


def _of_check_valve(happened: Happened, subject: str, _spells: list[Spell]) -> str:
    """Return how much ran back through a check valve, when it was the only one."""
    others = {row.subject for row in happened.of("check valve open", "check valve slow")} - {
        subject
    }
    back = happened.result.trace.run_back_m3
    if others or back < _WORTH_TELLING_M3:
        return ""
    return f", and {show(back, 'volume', happened.units)} ran back through it"


def no_flow_told(happened: Happened, name: str) -> list[Told]:
    """Return that the panel saw no flow through a pump that it let run on.

    Parameters
    ----------
    happened
        What happened in the run.
    name
        The pump.
    """
    stops = {r.t_s for r in happened.of("trip", subject=name) if r.cause == "no flow"}
    rows = [
        row
        for row in happened.of("alarm raised", subject=name)
        if row.cause.startswith("no flow:") and row.t_s not in stops
    ]
    if not rows:
        return []
    said = f"{name} ran and the panel saw no flow {happened.often(rows)}"
    return [Told(rows[0].t_s, OUT, said)]


# ---------------------------------------------------------------------- alarms


def _of_telemetry(happened: Happened, _subject: str, spells: list[Spell]) -> str:
    """Return which alarms were not sent while telemetry was lost."""
    unsent = [
        row
        for row in happened.result.trace.alarms
        if row.alarm != "telemetry lost"
        and not row.sent_s <= row.raised_s
        and any(spell.start_s <= row.raised_s <= spell.stop_s for spell in spells)
    ]
    if not unsent:
        return ""
    names = listed(list(dict.fromkeys(_alarm_text(row) for row in unsent)))
    late = [row for row in unsent if row.sent_s > row.raised_s]
    never = "" if len(late) == len(unsent) else " then, or ever" if not late else " then"
    one = len(unsent) == 1
    word, verb = ("alarm", "was") if one else ("alarms", "were")
    return f", and the {word} {names} {verb} not sent{never}"


def _alarm_text(row: AlarmRow) -> str:
    whose = "" if row.subject in ("station", "panel") else f" of {row.subject}"
    return f"'{row.alarm}'{whose}"


def _of_alarm_off(happened: Happened, subject: str, spells: list[Spell]) -> str:
    """Return that the level came to an alarm that had been switched off."""
    result = happened.result
    high_m = result.station.alarms.high_level_m
    if subject != "high level" or high_m is None:
        return ""
    peak_m = max(result.course.greatest_level_m(s.start_s, s.stop_s) for s in spells)
    missed = " while the water stood above it" if peak_m > high_m + _AT_THE_LEVEL_M else ""
    return missed and f",{missed}"


# ---------------------------------------------------------------------- force main


def _of_leak(happened: Happened, _subject: str, spells: list[Spell]) -> str:
    """Return what left the main through a leak: nothing does while it is broken before that."""
    spans = [(spell.start_s, spell.stop_s) for spell in spells]
    for broken in (spell for own in stood(happened, "main broken").values() for spell in own):
        low, high = broken.start_s, broken.stop_s
        cut = [part for a, b in spans for part in ((a, min(b, low)), (max(a, high), b))]
        spans = [(a, b) for a, b in cut if b > a]
    return _not_arrived(happened, spans)


def _of_break(happened: Happened, _subject: str, spells: list[Spell]) -> str:
    return _not_arrived(happened, [(spell.start_s, spell.stop_s) for spell in spells])


def _not_arrived(happened: Happened, spans: list[tuple[float, float]]) -> str:
    lost = lost_m3(happened.result.course, spans) if spans else 0.0
    if lost < _WORTH_TELLING_M3:
        return ""
    return f": {show(lost, 'volume', happened.units)} did not arrive"


OF_KIND: Mapping[str, Callable[[Happened, str, list[Spell]], str]] = {
    "ragging": _of_rags,
    "wearing": _of_wear,
    "check valve open": _of_check_valve,
    "check valve slow": _of_check_valve,
    "telemetry lost": _of_telemetry,
    "alarm off": _of_alarm_off,
    "main leak": _of_leak,
    "main broken": _of_break,
}
"""Kind of trouble -> what more there is to say of it."""


def of_battery(happened: Happened) -> list[Told]:
    """Return when the battery of alarms and telemetry was empty, and which alarms that kept back.

    Parameters
    ----------
    happened
        What happened in the run.
    """
    spells = happened.spells(
        happened.of("alarm battery empty"), happened.of("alarms live again"), lambda _r, _e: True
    )
    if not spells:
        return []
    said = f"the alarm battery was empty, and the station silent, from {happened.since(spells)}"
    return [Told(spells[0].start_s, MISLEADS, said)]


# ---------------------------------------------------------------------- what the panel did


def of_floats(happened: Happened) -> list[Told]:
    """Return when the backup floats ran the station, for whichever reason.

    Parameters
    ----------
    happened
        What happened in the run.
    """
    spells = happened.spells(
        happened.of("level signal distrusted", "floats take over"),
        happened.of("level signal trusted", "floats hand back"),
        lambda _row, _end: True,
    )
    if not spells:
        return []
    said = f"the backup floats ran the station from {happened.since(spells)}"
    return [Told(spells[0].start_s, OUT, said)]


def of_exercises(happened: Happened) -> list[Told]:
    """Return what exercise runs found out, and what they proved.

    Parameters
    ----------
    happened
        What happened in the run.
    """
    rows = happened.of("exercise ends")
    found = []
    failed = [row for row in rows if row.cause == "failed"]
    for name in dict.fromkeys(row.subject for row in failed):
        own = [row for row in failed if row.subject == name]
        whom = name if name != "generator" else "the generator"
        text = f"an exercise found that {whom} did not run ({happened.often(own)})"
        found.append(Told(own[0].t_s, OUT, text))
    dry = {(row.t_s, row.subject) for row in happened.of("moved nothing")}
    vain = [row for row in rows if row.cause == "ran" and (row.t_s, row.subject) in dry]
    for name in dict.fromkeys(row.subject for row in vain):
        own = [row for row in vain if row.subject == name]
        text = f"{name} ran for its exercise and moved nothing ({happened.often(own)})"
        found.append(Told(own[0].t_s, OUT, text))
    proved = [row for row in rows if row.cause == "ran" and row not in vain]
    if proved:
        names = dict.fromkeys(row.subject for row in proved)
        whom = listed([name if name != "generator" else "the generator" for name in names])
        found.append(
            Told(proved[0].t_s, CAN_WAIT, f"exercise runs proved {whom} ({times(len(proved))})")
        )
    short = [row for row in rows if row.cause.startswith(("cut short", "left out"))]
    if short and not proved and not failed and not vain:
        causes = listed(list(dict.fromkeys(f"{row.subject} {row.cause}" for row in short))[:3])
        found.append(Told(short[0].t_s, CAN_WAIT, f"an exercise proved nothing ({causes})"))
    return found

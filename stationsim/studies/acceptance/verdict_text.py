"""The verdict in words: lines for the screen, and what a person would say about the readings."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING

from stationsim.studies.acceptance.causes.fits import SOUND
from stationsim.studies.acceptance.judge import BASELINE, NOT_READ
from stationsim.studies.acceptance.paper.repairs import in_kinds
from stationsim.studies.acceptance.text import quantity
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.station import Station
    from stationsim.studies.acceptance.causes.ranked import Cause
    from stationsim.studies.acceptance.judge import Verdict
    from stationsim.studies.acceptance.outcome import Outcome
    from stationsim.studies.acceptance.panel.panel_log import LogLine
    from stationsim.units import System

_MOST_NAMED, _MOST_UNREAD, _WIDTH = 4, 30, 100
AS_EXPECTED = "as expected"
NOT_DONE = "not done"
NOT_ASKED = "not asked for"


def fails_in_log(line: LogLine) -> bool:
    """Return whether a line of the comparison with a log is against the station.

    Parameters
    ----------
    line
        A line of the comparison.
    """
    return line.verdict not in (AS_EXPECTED, NOT_DONE, NOT_ASKED)


def lines(outcome: Outcome, system: System) -> list[str]:
    """Return the verdict for the screen: what fails first, then what is unclear, then the rest.

    Parameters
    ----------
    outcome
        What came of the readings.
    system
        ``si`` or ``us``.
    """
    told: list[str] = []
    if outcome.found:
        told += _of_readings(outcome, system)
    if outcome.causes:
        told += ["", "what the pattern suggests, the likeliest first; none of it is certain:", ""]
        for rank, cause in enumerate(outcome.causes, 1):
            told += _of_cause(rank, cause, system)
    if outcome.log:
        told += ["", *_of_log(outcome)]
    if outcome.repairs:
        told += ["", "read otherwise than written:"]
        told += [f"  {kind}" for kind in in_kinds(outcome.repairs)]
    if outcome.notes:
        told += ["", "noted by the crew:"]
        told += [f"  {one.name or f'line {one.line}'}: {one.note}" for one in outcome.notes]
    return told[1:] if told and not told[0] else told


def _of_readings(outcome: Outcome, system: System) -> list[str]:
    station, found = outcome.day.station, outcome.found
    told = [f"{station.name}: readings against what is accepted", ""]
    rows = [
        (
            one.standing,
            one.name,
            one.text(one.value, station, system),
            one.accepted(station, system),
            f"+- {_off(one, system)}" if one.uncertainty > 0.0 else "",
            one.why,
        )
        for standing in ("fail", "unclear")
        for one in found
        if one.standing == standing
    ]
    wide = [max((len(row[n]) for row in rows), default=0) for n in range(6)]
    told += [
        "  ".join(
            f"{cell:>{wide[n]}}" if n == 2 else f"{cell:<{wide[n]}}" for n, cell in enumerate(row)
        ).rstrip()
        for row in rows
    ]
    passed = Counter(one.test for one in found if one.standing == "pass")
    if passed:
        told += ["", f"pass: {sum(passed.values())}, each in verdicts.csv"]
        told += _folded(", ".join(f"{test} {count}" for test, count in passed.items()))
    baselines = [one for one in found if one.is_baseline and one.why.startswith(BASELINE)]
    if baselines:
        told += ["", f"{BASELINE}:"]
        told += [f"  {one.name}: {one.text(one.value, station, system)}" for one in baselines]
    unread = [one for one in found if one.why.startswith(NOT_READ)]
    if unread:
        told += ["", f"not read: {len(unread)}"]
        told += _folded("; ".join(one.name for one in unread[:_MOST_UNREAD]))
        if len(unread) > _MOST_UNREAD:
            told.append(f"  and {len(unread) - _MOST_UNREAD} more; all stand in verdicts.csv")
    return told


def _of_log(outcome: Outcome) -> list[str]:
    log = outcome.log
    wrong = [line for line in log if fails_in_log(line)]
    # two lines may tell of one event; it counts once, and not when one of them is against it
    against = {(line.sequence, line.n) for line in wrong}
    good = len({(one.sequence, one.n) for one in log if one.verdict == AS_EXPECTED} - against)
    told = [f"the panel's log: {good} events as expected, {len(wrong)} not"]
    told += [f"  {line.sequence}: {line.verdict}: {line.reason}" for line in wrong]
    absent = [line.sequence for line in log if line.verdict == NOT_DONE]
    if absent:
        told += _folded(f"not in the log: {', '.join(absent)}")
    return told


def _off(one: Verdict, system: System) -> str:
    if one.measure == "part":
        return f"{100.0 * one.uncertainty:.1f} %"
    if one.measure == "duration" and one.uncertainty < 600.0:
        return f"{one.uncertainty:.0f} s" if one.uncertainty >= 1.0 else f"{one.uncertainty:.1g} s"
    if one.measure == "yes or no":
        return ""
    kind = "length" if one.measure == "level" else one.measure
    return quantity(one.uncertainty, kind, system)


def _folded(text: str) -> list[str]:
    return textwrap.wrap(text, width=_WIDTH, initial_indent="  ", subsequent_indent="  ")


def _of_cause(rank: int, cause: Cause, system: System) -> list[str]:
    standing = "goes least badly" if rank == 1 and cause.leaves_much else cause.standing
    told = [f"{rank}. {_called(cause)}{_sized(cause, system)} ({standing})"]
    if cause.explains:
        told.append(f"   explains {_named(cause.explains)}")
    if cause.leaves:
        told.append(f"   leaves open {_named(cause.leaves)}")
    told += [f"   told apart by {apart.told(system)}" for apart in cause.apart[:2]]
    if cause.look_first:
        told.append(f"   look first: {cause.look_first}")
    return told


def _called(cause: Cause) -> str:
    """Return a cause with its subject, where that says more."""
    return f"{cause.cause}, {cause.subject}" if cause.subject else cause.cause


def _sized(cause: Cause, system: System) -> str:
    size = cause.told(system)
    return f": {size}" if size else ""


def _named(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMED
    shown = "; ".join(names[:_MOST_NAMED])
    return f"{shown}; and {more} more" if more > 0 else shown


def sentences(outcome: Outcome, system: System) -> list[str]:
    """Return what a person would say about the readings.

    Parameters
    ----------
    outcome
        What came of the readings.
    system
        ``si`` or ``us``.
    """
    station, found = outcome.day.station, outcome.found
    told = []
    if found:
        counts = Counter(one.standing for one in found)
        unread = sum(one.why.startswith(NOT_READ) for one in found)
        judged = counts["pass"] + counts["unclear"] + counts["fail"]
        told.append(
            f"{judged} verdicts: {counts['pass']} pass, {counts['unclear']} unclear,"
            f" {counts['fail']} fail; {_counted(unread)}."
        )
    failing = [one for one in found if one.standing == "fail"]
    if failing:
        told.append(f"Outside what is accepted: {_short(failing, station, system)}.")
    unclear = [one for one in found if one.standing == "unclear"]
    if unclear:
        told.append(f"To be read again: {_short(unclear, station, system)}.")
    left_out = [one for one in found if one.why.startswith("no rise")]
    if left_out:
        names = listed([one.subject for one in left_out])
        told.append(
            f"No rise was timed for {names}:"
            f" {left_out[0].why.removeprefix('no rise was timed, so ')}."
        )
    if outcome.causes:
        told.append(_of_causes(outcome.causes, failing, system))
    if outcome.log:
        told.append(_log_sentence(outcome))
    if outcome.repairs:
        told.append(f"Read otherwise than written: {len(outcome.repairs)}, each in repairs.csv.")
    told.append(
        "A verdict here is arithmetic on what was entered and read: whoever is licensed and"
        " contracted for it accepts the station, or does not."
    )
    return told


def _counted(unread: int) -> str:
    if unread == 0:
        return "every reading was taken"
    return f"{unread} reading{' was' if unread == 1 else 's were'} not taken"


def _log_sentence(outcome: Outcome) -> str:
    done = {line.sequence for line in outcome.log if line.verdict != NOT_DONE}
    wrong = [line for line in outcome.log if fails_in_log(line)]
    whole = len(outcome.day.sequences)
    holds = f"The panel's log holds {len(done)} of {whole} sequences"
    if not wrong:
        return f"{holds}, and every event that these ask for."
    kinds = Counter(line.verdict for line in wrong)
    said = listed([f"{count} {kind}" for kind, count in kinds.items()])
    return f"{holds}; it differs from the expected events: {said}."


def _short(found: Sequence[Verdict], station: Station, system: System) -> str:
    parts = [
        f"{one.name} ({one.text(one.value, station, system)}, accepted"
        f" {one.accepted(station, system)})"
        for one in found[:_MOST_NAMED]
    ]
    more = len(found) - len(parts)
    return "; ".join(parts) + (f"; and {more} more" if more > 0 else "")


def _of_causes(causes: Sequence[Cause], failing: Sequence[Verdict], system: System) -> str:
    first = causes[0]
    near = [one for one in causes[1:] if one.standing == "fits nearly as well"]
    named = f"'{_called(first)}'{_sized(first, system)}"
    if first.leaves_much:
        least = "a sound station" if first.cause == SOUND else named
        return (
            "No single fault that is known here explains these readings: two things may be wrong,"
            " or something that all pumps share, such as frequency, voltage or what stands in the"
            f" suction. Least badly goes {least}, and it leaves {len(first.leaves)} readings open."
        )
    if first.cause == SOUND:
        said = "As a whole the readings fit a sound station, read with instruments as they are"
        if failing:
            said += ", and no fault known here explains what is outside: read that again first"
    else:
        said = f"The pattern of the readings fits best with {named}"
    if near:
        others = listed([f"'{_called(one)}'" for one in near[:2]])
        said += f"; {others} fit{'s' if len(near) == 1 else ''} nearly as well"
    if first.apart:
        said += f"; told apart by {first.apart[0].told(system)}"
    return said + ". That is a lead to follow, not a finding."

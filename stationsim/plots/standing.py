"""What stood at a station and is shown as rows of time: trouble by subject, and who fed the pumps.

Trouble that nobody could see at the time looks different from trouble that the panel told of.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stationsim import vocabulary
from stationsim.equipment.faults import BY_KIND, ENGINE, MACHINE, PUMP
from stationsim.plots import style
from stationsim.wording.sayings import STANDING, begins
from stationsim.wording.spells import Happened
from stationsim.wording.standing import stood

if TYPE_CHECKING:
    from stationsim.results import Result

_MOST_OF_MACHINES = 8
"""With more rows of trouble with machines than this, each machine has one row for all."""

_SIGNAL = "level signal"
_SEEN = ("panel", "alarm")

UNSEEN = ("white", "....")
"""Face and hatching of what nobody could see, or only somebody on site."""

TOLD = (style.PALE, "\\\\\\\\")
"""Face and hatching of what the panel or an alarm told of."""

_FED = {
    "generator": ("fed by the generator", (style.SKY, "||||")),
    "mobile generator": ("fed by a mobile set", (style.SKY, "----")),
}
_DOWN = ("failed", "tripped", "out of fuel")


class Stood(NamedTuple):
    """A row: its name, from when to when [s], face and hatching, whether the panel shows it."""

    name: str
    spans_s: list[tuple[float, float]]
    face: str
    hatch: str
    seen: bool


def of_trouble(result: Result) -> list[Stood]:
    """Return a row for each trouble that stood, that of the machines first.

    Parameters
    ----------
    result
        The run.
    """
    happened = Happened(result, "si")
    machines: list[tuple[str, Stood]] = []
    others: list[tuple[str, Stood]] = []
    for kind in STANDING:
        if kind.startswith(_SIGNAL):
            continue
        seen = any(vocabulary.seen_by(word) in _SEEN for word in begins(kind))
        for subject, spells in stood(happened, kind).items():
            spans = [(spell.start_s, spell.stop_s) for spell in spells]
            row = Stood(_name(kind, subject), spans, *(TOLD if seen else UNSEEN), seen=seen)
            (machines if _of_machine(kind) else others).append((subject, row))
    if len(machines) > _MOST_OF_MACHINES:
        names = dict.fromkeys(subject for subject, _row in machines)
        merged = []
        for name in names:
            spans = sorted(s for subject, row in machines if subject == name for s in row.spans_s)
            merged.append((name, Stood(f"{name} not sound", spans, *UNSEEN, seen=False)))
        machines = merged
    found = [row for _subject, row in (*machines, *others)]
    wrong = _signal_wrong(result)
    if wrong:
        found.append(Stood("level signal wrong", wrong, *UNSEEN, seen=False))
    sags = [(row.t_s, row.t_s) for row in happened.of("grid sag")]
    if sags:
        found.append(Stood("grid sag", sags, *UNSEEN, seen=False))
    return found


def of_supply(result: Result) -> list[Stood]:
    """Return a row for each generator that fed the pumps, and for when one was out.

    Parameters
    ----------
    result
        The run.
    """
    found = []
    power = result.trace.power
    for name, (said, look) in _FED.items():
        fed = [
            (row.start_s, row.stop_s)
            for row in power
            if row.source == "busbar" and row.state == name
        ]
        down = [
            (row.start_s, row.stop_s) for row in power if row.source == name and row.state in _DOWN
        ]
        if fed:
            found.append(Stood(said, sorted(fed), *look, seen=True))
        if down:
            found.append(Stood(f"{name} out", sorted(down), *TOLD, seen=True))
    return found


def less(
    spans: list[tuple[float, float]], without: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Return spans without the parts that lie in others [s].

    Parameters
    ----------
    spans, without
        From and to of each [s].
    """
    for low, high in without:
        cut = [part for a, b in spans for part in ((a, min(b, low)), (max(a, high), b))]
        spans = [(a, b) for a, b in cut if b > a] + [
            (a, b) for a, b in spans if a == b and not low <= a < high
        ]
    return spans


def _of_machine(kind: str) -> bool:
    return BY_KIND[kind].subject in (PUMP, MACHINE, ENGINE)


def _name(kind: str, subject: str) -> str:
    fault = BY_KIND[kind]
    if _of_machine(kind):
        return f"{subject} {fault.phrase}"
    return fault.phrase.format(float=subject, alarm=subject)


def _signal_wrong(result: Result) -> list[tuple[float, float]]:
    """Return when the level signal told no truth, neighbours as one [s]."""
    rows = result.trace.signal
    found: list[tuple[float, float]] = []
    for n, (begin, mode, _value) in enumerate(rows):
        until = rows[n + 1][0] if n + 1 < len(rows) else result.trace.end_s
        if mode == "right" or until <= begin:
            continue
        if found and found[-1][1] >= begin:
            found[-1] = (found[-1][0], until)
        else:
            found.append((begin, until))
    return found
